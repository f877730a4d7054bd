"""The care of the cells: the answer follows the day that is typed, a telephone has room, and paper has the answer."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

Opener = Callable[..., Page]
ASK = "charge=60&sky=bright,bright,dull&at=2026-11-25%2018:00"


@pytest.fixture
def shed(serve: Callable[..., str], tmp_path: Path, small_house: dict[str, Any]) -> str:
    lead = {"chemistry": "lead_flooded", "series": 24, "parallel": 1, "label_ah": 400.0, "board": None, "hold": True}
    small_house["banks"][0].update(lead | {"reserve_soc": 0.5})
    small_house["loads"] = small_house["loads"][:1]
    path = tmp_path / "shed.json"
    path.write_text(json.dumps(small_house), encoding="utf-8")
    return serve(path)


def test_the_answer_follows_the_day_and_the_caret_stays(open_page: Opener, shed: str) -> None:
    page = open_page(f"{shed}/care?{ASK}&full=2026-11-15")
    expect(page.locator("#answer h1")).to_contain_text("10 days ago")
    page.locator("#full").fill("2026-11-20")
    expect(page.locator("#answer h1")).to_contain_text("5 days ago")
    assert page.evaluate("document.activeElement.id") == "full"
    page.locator("#full").fill("2026-11-")
    expect(page.locator("#problems")).to_contain_text("Last full on must be a day")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_telephone_has_room(open_page: Opener, shed: str, scheme: str) -> None:
    page = open_page(f"{shed}/care?{ASK}", viewport={"width": 360, "height": 740}, color_scheme=scheme)
    expect(page.locator("table.care-rows").first).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_it_works_without_javascript(open_page: Opener, shed: str) -> None:
    page = open_page(f"{shed}/care?{ASK}", java_script_enabled=False)
    page.locator("#full").fill("2026-11-15")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator("#answer h1")).to_contain_text("was last full")
    assert "full=2026-11-15" in page.url
    assert "charge=60" in page.url


def test_paper_has_the_answer_and_no_form(open_page: Opener, shed: str) -> None:
    page = open_page(f"{shed}/care?{ASK}")
    page.emulate_media(media="print")
    expect(page.locator("#answer h1")).to_be_visible()
    expect(page.locator("table.care-rows").first).to_be_visible()
    expect(page.get_by_role("button", name="Work it out")).not_to_be_visible()
