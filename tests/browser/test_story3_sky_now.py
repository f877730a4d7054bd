"""Story: a grey morning before the charger's display; what it shows becomes kWh and hours while it is typed."""

from __future__ import annotations

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

SENTENCE = "#answer [role=status] h1"
QUERY = "charge=55&at=2026-11-25T10:40"
Opener = Callable[..., Page]


def test_a_reading_is_answered_while_it_is_typed(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/sky?{QUERY}")
    expect(page.locator(SENTENCE)).to_contain_text("Type what the solar charger shows")
    field = page.locator("#read_barn")
    field.focus()
    page.keyboard.type("24")
    expect(page.locator(SENTENCE)).to_have_text(re.compile(r"kWh more is likely today\."))
    first = page.locator(SENTENCE).inner_text()
    page.keyboard.type("0")
    expect(page.locator(SENTENCE)).not_to_have_text(first)
    assert field.evaluate("one => [one.value, one.selectionStart]") == ["240", 3]
    assert page.evaluate("document.activeElement.id") == "read_barn"
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    expect(page.locator("#day-plot svg").first).to_be_visible()


def test_amps_ask_for_volts_and_keep_the_last_answer(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/sky?read_barn=240&{QUERY}")
    before = page.locator(SENTENCE).inner_text()
    with page.expect_response(lambda response: response.status == 422):
        page.locator("#shows").select_option("a")
    expect(page.locator(SENTENCE)).to_have_text(before)
    expect(page.locator("#problems")).to_contain_text("Amps need the bank’s volts")
    page.locator("#read_barn").fill("4.5")
    page.locator("#volts").fill("50.1")
    expect(page.locator("#problems")).to_be_hidden()
    expect(page).to_have_url(re.compile(r"volts=50\.1"))


def test_the_sky_goes_to_today_and_the_link_comes_back(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today?{QUERY}")
    page.get_by_role("link", name="Read it off the solar charger").click()
    expect(page).to_have_url(re.compile("/sky\\?"))
    page.locator("#read_barn").fill("240")
    link = page.get_by_role("link", name="Ask Today with this sky")
    expect(link).to_have_attribute("href", re.compile("sky=kc:"))
    link.click()
    expect(page).to_have_url(re.compile("/today\\?.*sky=kc:"))
    expect(page.locator(SENTENCE)).to_be_visible()


def test_it_fits_a_phone(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/sky?read_barn=240&{QUERY}", viewport={"width": 360, "height": 740})
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
