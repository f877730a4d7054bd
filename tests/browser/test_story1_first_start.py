"""Story 1, first start: a marked example with an answer at once, and the way to a household of one's own."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect


def test_the_example_answers_at_once_and_is_marked(page: Page) -> None:
    expect(page).to_have_url(re.compile(r"/today$"))
    expect(page.locator(".tag")).to_have_text("example")
    expect(page.locator("#answer [role=status] h1")).to_have_text(
        re.compile(r"About .+ (hours|days).*: until .+(morning|afternoon|evening|night|noon|midnight)")
    )
    expect(page.locator(".chart .plot.drawn .scatterlayer")).to_have_count(1)


def test_my_own_household_begins_on_a_page_that_names_the_first_thing_to_enter(page: Page) -> None:
    page.locator(".house a").click()
    page.get_by_role("button", name="Start my own").click()
    expect(page).to_have_url(re.compile(r"/banks"))
    expect(page.locator(".empty")).to_contain_text("First say what cells you have")
    page.goto(re.sub(r"/banks.*", "/today", page.url))
    expect(page.locator("#answer .empty")).to_contain_text("There is no bank yet")
    page.get_by_role("link", name="Enter your first bank").click()
    expect(page).to_have_url(re.compile(r"/banks"))


def test_the_example_can_be_had_again(page: Page) -> None:
    page.locator(".house a").click()
    page.get_by_role("button", name="Start my own").click()
    page.locator(".house a").click()
    page.get_by_role("button", name=re.compile("example", re.IGNORECASE)).first.click()
    page.goto(re.sub(r"(https?://[^/]+).*", r"\1/today", page.url))
    expect(page.locator(".tag")).to_have_text("example")
    expect(page.locator("#answer [role=status] h1")).to_contain_text("About")


def test_every_page_that_asks_is_reached_from_the_list(page: Page) -> None:
    for name, heading in (("Bank size", "days in"), ("Rainy week", "the loads through"), ("Today", "About")):
        page.locator(".rail").get_by_role("link", name=name).click()
        expect(page.locator("#answer .sentence")).to_contain_text(heading)
