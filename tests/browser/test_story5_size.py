"""Story 5, size for N days: the hand-worked household in a browser, and panels that are short said in words."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

STORY = Path(__file__).resolve().parent.parent / "households" / "story5.json"
Opener = Callable[..., Page]


@pytest.fixture
def address(serve: Callable[..., str]) -> str:
    """A server with the hand-worked household."""
    return f"{serve(STORY)}/size?days=3&month=12"


def test_three_days_ask_for_33_kwh_usable_and_four_strings(open_page: Opener, address: str) -> None:
    page = open_page(address)
    expect(page.locator("#answer [role=status]")).to_have_text(
        re.compile(
            r"Three dull days in December ask for 33\s?kWh usable at the terminals: 57\s?kWh on the label, "
            r"4 strings of 16 cells\."
        )
    )
    figures = page.locator(".figures")
    expect(figures).to_contain_text("33.0")
    expect(figures).to_contain_text("47.2")
    expect(page.locator(".panels.short")).to_contain_text("too little every day")


def test_more_days_never_ask_for_less(open_page: Opener, address: str) -> None:
    page = open_page(address)
    rows = page.locator("table.sizes tbody tr").all()
    assert len(rows) == 7
    for column in (0, 2, 3):
        values = [float(row.locator("td").nth(column).inner_text().split()[0]) for row in rows]
        assert values == sorted(values)


def test_days_typed_answer_live(open_page: Opener, address: str) -> None:
    page = open_page(address)
    page.locator("#days").fill("5")
    expect(page.locator("#answer [role=status]")).to_contain_text("Five dull days")
    assert page.evaluate("document.activeElement.id") == "days"
    expect(page.locator("table.sizes tr.asked th")).to_have_text("5")
    expect(page).to_have_url(re.compile("days=5"))


def test_the_table_equals_what_is_drawn(open_page: Opener, address: str) -> None:
    page = open_page(address)
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    lines = page.evaluate("() => Object.fromEntries(document.querySelector('.plot').data.map(t => [t.name, t.y]))")
    page.locator("#sizes summary").click()
    for place, row in enumerate(page.locator("#sizes tbody tr").all()[:7]):
        cells = [float(cell) for cell in row.locator("td").all_inner_texts()]
        assert cells == [place + 1, round(lines["label"][place], 1), round(lines["usable"][place], 1)]
    names = page.locator(".plot .annotation-text").all_text_contents()
    assert {"label", "usable", "your bank"} <= set(names)


def test_without_javascript(open_page: Opener, address: str) -> None:
    page = open_page(address, java_script_enabled=False)
    page.locator("#days").fill("2")
    page.locator("#month").select_option("6")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".sentence")).to_contain_text("Two dull days in June ask")
    page.locator("#days").fill("eight")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".summary")).to_contain_text("How many days must be a whole number from 1 to 7 days")
    expect(page.locator("#days")).to_have_value("eight")


def test_nothing_of_the_table_is_cut_on_a_phone(open_page: Opener, address: str) -> None:
    page = open_page(address, viewport={"width": 360, "height": 740})
    table = page.locator("table.sizes")
    assert table.evaluate("one => one.parentElement.scrollWidth <= one.parentElement.clientWidth")
    for cell in table.locator("tr.asked td").all():
        box = cell.bounding_box()
        assert box is not None
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= 360
    said = table.locator("tr.asked td").evaluate_all("all => all.map(one => getComputedStyle(one, '::before').content)")
    assert said[:2] == ['"usable, kWh DC"', '"at the sockets, kWh"']
    assert len(set(said)) == 6


def test_the_choice_of_days_follows_the_number_of_days(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/size?sky=usual&days=3&month=12")
    spell = page.locator("#sizes figcaption small")
    expect(spell).to_contain_text("Worst three days of 1 year in 10")
    page.locator("#days").fill("5")
    expect(spell).to_contain_text("Worst week of 1 year in 10")
    expect(page.locator("#sky")).to_have_value("usual")
