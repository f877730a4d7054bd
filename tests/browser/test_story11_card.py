"""Story 11, the household card: exactly one page of A4 or Letter, however much stands on it; nothing to press on it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser.test_story11_sheet import BOXES, SHOWN, contrast_on_white, pages_of, pdf_of, printable_px

Opener = Callable[..., Page]
THREE = Path(__file__).resolve().parent.parent / "households" / "three_banks.json"


@pytest.fixture
def full_house(tmp_path: Path) -> Path:
    """Three banks, stops, a dozen long-named loads that may be switched off and a generator with quiet hours."""
    house: dict[str, Any] = json.loads(THREE.read_text(encoding="utf-8"))
    house["name"] = "A household with a name that is long enough to run far over one line of its card"
    model = next(load for load in house["loads"] if load["inverter"] == "house" and not load.get("never_off"))
    house["loads"] += [
        {**model, "id": f"more-{n}", "name": f"A load with a rather long name, number {n}", "can_shed": True}
        for n in range(12)
    ]
    house["generators"] = [
        {
            "id": "set", "name": "Petrol set in the yard", "inverter": "house", "rated_w": 3000, "charger_w": 2000,
            "full_l_per_h": 1.6, "idle_l_per_h": 0.5, "start_soc": 0.3, "stop_soc": 0.8, "quiet_from_h": 22,
            "quiet_to_h": 7,
        }
    ]  # fmt: skip
    path = tmp_path / "full.json"
    path.write_text(json.dumps(house), encoding="utf-8")
    return path


def on_paper(open_page: Opener, address: str, paper: str, **options: Any) -> Page:
    width, height = printable_px(paper)
    page = open_page(address, viewport={"width": width, "height": height}, **options)
    page.emulate_media(media="print")
    return page


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_is_exactly_one_page(open_page: Opener, site: str, paper: str, tmp_path: Path) -> None:
    page = on_paper(open_page, f"{site}/card?month=12", paper)
    assert pages_of(pdf_of(page, paper, tmp_path)) == 1
    width, _ = printable_px(paper)
    boxes = page.evaluate(BOXES, ".door table, .door section, .door ol")
    assert boxes
    assert all(box["left"] >= -0.5 and box["right"] <= width + 0.5 for box in boxes)
    assert page.evaluate(SHOWN, "button, input, select, form, summary, nav, .asking") == []


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_stays_one_page_with_everything_on_it(
    open_page: Opener, serve: Callable[..., str], full_house: Path, paper: str, tmp_path: Path
) -> None:
    page = on_paper(open_page, f"{serve(full_house)}/card?month=12&days=3", paper)
    expect(page.locator(".door .note.stop")).to_have_count(2)
    expect(page.locator(".door-order li")).to_have_count(8)
    expect(page.get_by_role("heading", name="The generator")).to_be_visible()
    assert pages_of(pdf_of(page, paper, tmp_path)) == 1


def test_a_dark_theme_prints_black_on_white(open_page: Opener, site: str) -> None:
    page = on_paper(open_page, f"{site}/card", "A4", color_scheme="dark")
    colours = page.evaluate(
        "() => [...new Set([...document.querySelectorAll('.door p, .door td, .door th, .door li, .door h1, .door h2')]"
        ".map(e => getComputedStyle(e).color))]"
    )
    assert colours
    assert all(contrast_on_white(colour) >= 4.5 for colour in colours)
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"


def test_another_season_is_asked_for_without_scripts(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/card", java_script_enabled=False)
    page.locator("details.asking summary").first.click()
    page.locator("#month").select_option("6")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".title-block")).to_contain_text("June")
    expect(page.locator(".door-table tbody tr")).to_have_count(5)


def test_on_a_phone_the_hours_stand_whole_in_two_columns(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/card?month=12", viewport={"width": 360, "height": 800})
    table = page.locator(".door-hours")
    assert table.evaluate("e => e.scrollWidth <= e.parentElement.clientWidth")
    says, lasts = ([cell.bounding_box() for cell in row.locator("td").all()] for row in table.locator("tr").all())
    assert len(says) == len(lasts) > 3
    for one, other in zip(says, lasts, strict=True):
        assert one is not None
        assert other is not None
        assert abs(one["y"] - other["y"]) < 1.0
        assert one["x"] + one["width"] <= other["x"] + 0.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_table_that_slides_sideways_is_shaded_where_there_is_more(open_page: Opener, site: str, scheme: str) -> None:
    page = open_page(f"{site}/loads", viewport={"width": 360, "height": 800}, color_scheme=scheme)
    box = page.locator("#loads-table")
    style = box.evaluate("e => { const s = getComputedStyle(e); return [s.backgroundAttachment, s.backgroundImage]; }")
    assert style[0].split(", ")[:4] == ["local", "local", "scroll", "scroll"]
    assert style[1].count("linear-gradient") == 4
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert style[1].count(ground) == 2, "the covers are of the ground’s own colour"
    page.emulate_media(media="print")
    assert box.evaluate("e => getComputedStyle(e).backgroundImage") == "none"
