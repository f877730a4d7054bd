"""Story 7, cold cells in a shed: the charts are drawn, the answer follows what is typed, a telephone has room."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

Opener = Callable[..., Page]
ASK = "charge=40&sky=bright,bright,dull&at=2026-11-25%2018:00"


@pytest.fixture
def shed(serve: Callable[..., str], tmp_path: Path, small_house: dict[str, Any]) -> str:
    small_house["banks"][0].update(cell_c=3.0, cold_charge_a=10.0, charge_limit_a=140.0)
    path = tmp_path / "shed.json"
    path.write_text(json.dumps(small_house), encoding="utf-8")
    return serve(path)


def test_a_warmer_aim_costs_more_and_the_caret_stays(open_page: Opener, shed: str) -> None:
    page = open_page(f"{shed}/cold?{ASK}&to_c=8")
    expect(page.locator("#temperatures-1-plot svg.main-svg").first).to_be_visible()
    expect(page.locator("#course-plot svg.main-svg").first).to_be_visible()
    lift = page.locator("table.cold-heater tbody tr").first
    expect(lift).to_contain_text("to 8")
    page.locator("#to_c").fill("20")
    expect(lift).to_contain_text("to 20")
    assert page.evaluate("document.activeElement.id") == "to_c"


def test_a_telephone_has_room(open_page: Opener, shed: str) -> None:
    page = open_page(f"{shed}/cold?{ASK}", viewport={"width": 360, "height": 740})
    expect(page.locator("#temperatures-1-plot svg.main-svg").first).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_today_shows_it_inside(open_page: Opener, shed: str) -> None:
    page = open_page(f"{shed}/today?{ASK}")
    expect(page.locator(".cold-line")).to_contain_text("instead of 140")
    block = page.locator("#within-cold")
    expect(block).to_contain_text("Cold refuses")
    block.get_by_role("link", name="Cold").click()
    expect(page.locator("#answer h1")).to_contain_text("cold refuses")
