"""Story 7, wiring: the highest current stands before anything is typed, a form is saved, and a telephone has room."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

Opener = Callable[..., Page]
H = Path(__file__).parents[1] / "households" / "h.json"
LEAST_TARGET_PX = 44.0


@pytest.fixture
def cut_off_44(tmp_path: Path) -> Path:
    """Household H with a cut-off of 44 V, as a file."""
    house = json.loads(H.read_text(encoding="utf-8"))
    house["inverters"][0].update(dc_min_v=44.0, restart_v=46.0)
    path = tmp_path / "h44.json"
    path.write_text(json.dumps(house), encoding="utf-8")
    return path


def test_the_current_is_answered_and_a_cable_is_saved(
    open_page: Opener, serve: Callable[..., str], cut_off_44: Path
) -> None:
    page = open_page(f"{serve(cut_off_44)}/wiring")
    expect(page.locator("#answer .sentence")).to_contain_text("must carry 123.1")
    for label, text in (
        ("Length one way", "2"),
        ("Or its AWG size", "2/0"),
        ("It may carry", "120"),
        ("Fuse, A", "150"),
    ):
        page.get_by_label(label).first.fill(text)
    page.get_by_role("button", name="Save the wiring of Bank").click()
    expect(page.locator("#answer .note.stop").first).to_contain_text("It gets too hot")
    expect(page.locator("#answer")).to_contain_text("the cable burns before the fuse blows")
    page.goto(page.url.split("#")[0].replace("/wiring", "/today"))
    expect(page.locator("main")).to_contain_text("the cable burns before the fuse blows")


def test_it_works_without_scripts(open_page: Opener, serve: Callable[..., str], cut_off_44: Path) -> None:
    page = open_page(f"{serve(cut_off_44)}/wiring", java_script_enabled=False)
    page.locator("[id='wiring-bank-main.length_m']").fill("2 V")
    page.get_by_role("button", name="Save the wiring of Bank").click()
    expect(page.locator(".summary")).to_contain_text("Length one way")
    expect(page.locator("[id='wiring-bank-main.length_m']")).to_have_value("2 V")


def test_it_fits_a_telephone_and_can_be_pressed(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/wiring", viewport={"width": 360, "height": 740})
    page.evaluate("document.querySelectorAll('main details').forEach(one => one.open = true)")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    pressed = page.locator("main input:visible, main button, main summary, main .press")
    assert pressed.count() > 10
    for one in pressed.all():
        box = one.bounding_box()
        assert box is not None
        assert box["height"] >= LEAST_TARGET_PX - 0.5, one.evaluate("one => one.outerHTML")


def test_every_field_has_a_name_of_its_own_and_a_table_its_heads(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/wiring")
    unnamed = page.evaluate(
        "[...document.querySelectorAll('main input:not([type=hidden])')].filter(one => !one.labels.length).length"
    )
    assert unnamed == 0
    headless = "[...document.querySelectorAll('main table')].filter(one => !one.querySelector('th[scope=col]')).length"
    assert page.evaluate(headless) == 0
    assert page.locator("h1").count() == 1
