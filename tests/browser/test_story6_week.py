"""Story 6, rainy week: four lines told apart without colour, a table that equals them, and a closed balance."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

Opener = Callable[..., Page]
NAMES = ["LFP", "Lead-acid", "NMC", "Sodium-ion"]


@pytest.fixture
def week(open_page: Opener, site: str) -> Page:
    """The page with its chart drawn."""
    page = open_page(f"{site}/week?month=3")
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    return page


def test_every_line_has_its_own_dash_width_and_name(week: Page) -> None:
    lines = week.evaluate("() => document.querySelector('.plot').data.map(t => [t.line.dash, t.line.width])")
    assert len({tuple(line) for line in lines}) == 4
    assert len({dash for dash, _ in lines}) == 4
    assert sorted(week.locator(".plot .annotation-text").all_text_contents()) == NAMES


def test_in_grey_each_line_is_still_named_beside_its_end(week: Page) -> None:
    week.add_style_tag(content="html { filter: grayscale(1) }")
    boxes = [one.bounding_box() for one in week.locator(".plot .annotation-text").all()]
    plot = week.locator(".plot").bounding_box()
    assert plot is not None
    tops = []
    for box in boxes:
        assert box is not None
        assert plot["x"] <= box["x"]
        assert box["x"] + box["width"] <= plot["x"] + plot["width"]
        tops.append((box["y"], box["y"] + box["height"]))
    tops.sort()
    assert all(below[0] >= above[1] - 1 for above, below in itertools.pairwise(tops))
    assert len(week.locator(".chart").screenshot()) > 5000


def test_names_fit_a_phone(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/week", viewport={"width": 360, "height": 740})
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    plot = page.locator(".plot").bounding_box()
    assert plot is not None
    for name in page.locator(".plot .annotation-text").all():
        box = name.bounding_box()
        assert box is not None
        assert box["x"] + box["width"] <= plot["x"] + plot["width"]


def test_the_table_equals_what_is_drawn(week: Page) -> None:
    drawn = week.evaluate("() => document.querySelector('.plot').data.map(t => t.y)")
    table = week.evaluate(
        "() => [...document.querySelectorAll('.chart tbody tr')]"
        ".map(row => [...row.cells].slice(1).map(cell => +cell.textContent))"
    )
    assert [list(column) for column in zip(*table, strict=True)] == drawn


def test_the_balance_closes(week: Page) -> None:
    week.get_by_text("Where the energy went").click()
    rows = week.locator("details[open] table tbody tr").all()
    assert len(rows) == 4
    for row in rows:
        cells = [text.replace("−", "-").replace("\u202f", "") for text in row.locator("td").all_inner_texts()]
        taken, served, cells_lost, inverter_lost, change = map(float, cells[:5])
        assert abs(taken - served - cells_lost - inverter_lost - change) <= 0.001 * max(taken, served) + 0.03
        assert abs(float(cells[5].removesuffix("%").strip())) <= 0.1


def test_choices_answer_live(week: Page) -> None:
    week.locator("#basis").select_option("usable")
    expect(week.locator(".range")).to_contain_text("as much as yours gives")
    week.locator("#sky").select_option("none")
    expect(week.locator(".range")).to_contain_text("No sun at all is assumed")
    expect(week).to_have_url(re.compile("sky=none"))


def test_without_javascript(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/week", java_script_enabled=False)
    page.locator("#month").select_option("7")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".sentence")).to_contain_text("fourteen days")
    expect(page.locator(".sides tbody tr")).to_have_count(4)
    page.locator(".chart summary").click()
    expect(page.locator(".chart thead th")).to_have_count(5)
    assert page.locator(".chart tbody tr").count() == 14 * 24 + 1


def test_on_paper_it_takes_six_pages_at_most(week: Page, tmp_path: Path) -> None:
    path = tmp_path / "week.pdf"
    week.pdf(path=path, format="A4", print_background=True)
    assert 2 <= len(re.findall(rb"/Type\s*/Page\b(?!s)", path.read_bytes())) <= 6
    week.emulate_media(media="print")
    assert not week.locator(".chart details table").is_visible()
    assert week.locator(".assumed").evaluate("one => getComputedStyle(one).columnCount") == "2"


def test_fourteen_days_stand_in_two_rows_on_a_phone(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/week", viewport={"width": 360, "height": 740})
    strip = page.locator(".sky.answered")
    tops = strip.locator("li").evaluate_all("all => all.map(one => Math.round(one.getBoundingClientRect().top))")
    assert [tops.count(top) for top in sorted(set(tops))] == [7, 7]
    assert strip.evaluate("one => one.scrollWidth <= one.clientWidth")
    cut = strip.locator("li").evaluate_all("all => all.filter(one => one.scrollWidth > one.clientWidth).length")
    assert cut == 0
