"""By keyboard alone: the way through a page, the folded list, and what a live answer leaves where it was."""

from __future__ import annotations

import itertools

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Opener
from tests.browser.looking import NARROW, addresses

WHERE = """() => {
  const e = document.activeElement;
  if (!e || e === document.body) return ["", -1];
  const part = e.matches(".skip") ? "skip" : e.closest("header.top") ? "top" : e.closest("nav.rail") ? "pages"
    : e.closest("form") && !e.closest("#answer") ? "form" : "page";
  return [part, [...document.querySelectorAll("*")].indexOf(e)];
}"""
REACHABLE = """() => [...document.querySelectorAll("a[href], button, input, select, textarea, summary")]
  .filter((e) => e.type !== "hidden" && e.tabIndex >= 0 && !e.disabled)
  .filter((e) => e.checkVisibility({ visibilityProperty: true, contentVisibilityAuto: true }))
  .filter((e) => e.type !== "radio").map((e) => [...document.querySelectorAll("*")].indexOf(e))"""


WHOLE = """() => !document.querySelector(".within:not(:has(#brief))")
  && [...document.querySelectorAll(".plot")].every((e) => e.matches(".drawn"))"""
"""The short answers of other pages, asked for a while after the page came, are in, and every chart is drawn."""


def walk(page: Page) -> list[tuple[str, int]]:
    """Press Tab from the top until the page is left; where each press led."""
    seen: list[tuple[str, int]] = []
    for _ in range(400):
        page.keyboard.press("Tab")
        part, place = page.evaluate(WHERE)
        if place < 0:
            return seen
        seen.append((part, place))
    raise AssertionError("the focus never leaves the page")


@pytest.mark.parametrize("path", ["/today", "/banks", "/sheet", "/files", "/cell-tests"])
def test_tab_leads_through_the_whole_page_in_its_order(open_page: Opener, site: str, path: str) -> None:
    page = open_page(site + path)
    page.wait_for_function(WHOLE)
    steps = walk(page)
    places = [place for _, place in steps]
    assert places == sorted(places)
    assert len(set(places)) == len(places)
    assert set(page.evaluate(REACHABLE)) <= set(places)
    parts = [part for part, _ in itertools.groupby(steps, key=lambda step: step[0])]
    assert parts[:3] == ["skip", "top", "pages"]
    assert parts[3:]


def test_the_skip_link_leads_past_the_pages_to_the_question(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today")
    page.keyboard.press("Tab")
    expect(page.locator(".skip")).to_be_focused()
    expect(page.locator(".skip")).to_be_in_viewport()
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_be_focused()
    page.keyboard.press("Tab")
    expect(page.locator("main form.ask input").first).to_be_focused()


def test_the_folded_list_opens_and_closes_by_keyboard(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/banks", viewport=NARROW)
    page.locator("details.menu summary").focus()
    page.keyboard.press("Enter")
    links = page.locator("details.menu a")
    expect(links.first).to_be_visible()
    page.keyboard.press("Tab")
    expect(links.first).to_be_focused()
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Space")
    expect(links.first).to_be_hidden()
    expect(page.locator("details.menu summary")).to_be_focused()


@pytest.mark.parametrize("scripts", [True, False])
def test_the_end_of_a_page_leads_back_to_the_menu(open_page: Opener, site: str, scripts: bool) -> None:
    page = open_page(f"{site}/units", java_script_enabled=scripts)
    back = page.get_by_role("link", name="Back to the menu")
    assert back.evaluate(
        "(e) => [...document.querySelectorAll('a, button, summary')].filter((one) => "
        "one.checkVisibility()).at(-1) === e"
    )
    back.focus()
    page.keyboard.press("Enter")
    expect(page.locator("nav.rail")).to_be_focused()
    page.keyboard.press("Tab")
    expect(page.locator("nav.rail a").first).to_be_focused()
    expect(page.locator("nav.rail a").first).to_be_in_viewport()


def test_the_end_of_a_page_on_a_phone_opens_the_folded_menu(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/units", viewport=NARROW)
    page.get_by_role("link", name="Back to the menu").click()
    expect(page.locator("details.menu summary")).to_be_focused()
    expect(page.locator("details.menu a").first).to_be_visible()
    page.keyboard.press("Tab")
    expect(page.locator("details.menu a").first).to_be_focused()


def test_a_live_answer_moves_neither_the_focus_nor_the_page(open_page: Opener, site: str) -> None:
    page = open_page(site)
    asked = 0
    for address in addresses(page):
        page.goto(site + address)
        field = page.locator("form.ask[hx-get] input[type=text]:visible").first
        if not field.count():
            continue
        field.focus()
        before = field.bounding_box()
        with page.expect_response(lambda answer, path=address: f"{path}?" in answer.url):
            page.keyboard.press("End")
            page.keyboard.type("1")
            page.keyboard.press("Backspace")
        page.wait_for_function("() => !document.querySelector('.htmx-request:not(.within)')")
        expect(field).to_be_focused()
        assert field.bounding_box() == before, address
        asked += 1
    assert asked > 10


def test_the_answer_that_changed_is_announced(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today")
    status = page.locator("#answer [role=status]")
    before = status.inner_text()
    status.evaluate("(e) => { e.stayed = true; }")
    page.locator("form.ask input").first.fill("35")
    expect(status).not_to_have_text(before)
    assert status.evaluate("(e) => e.stayed")
    assert len(status.inner_text()) < 200


def test_the_short_answers_inside_a_page_leave_its_title(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today")
    with page.expect_response(lambda answer: "within=today" in answer.url):
        pass
    page.wait_for_function("() => !document.querySelector('.within.htmx-request')")
    expect(page).to_have_title("Today · Greyspell")
