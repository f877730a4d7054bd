"""Story: somebody who reads °F and writes a comma says so once, types in them, and gets the same answers."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import Opener
from tests.browser.test_story9_typing import UNFOLD

ASKED = "/today?charge=60&sky=dark&at=2026-11-25+18:00"


def test_fahrenheit_and_comma_from_the_first_choice_to_the_sheet(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/banks")
    form = page.locator("form[id^=bank-][id$=-form]").first
    form.evaluate(UNFOLD)
    prefix = (form.get_attribute("id") or "").removesuffix("form")
    page.fill(f"#{prefix}cell_c", "7.5")
    page.locator(f"#{prefix}cell_c").blur()
    expect(form.locator(".kept")).to_contain_text("Saved")
    before = page.request.get(f"{site}{ASKED.replace('/today', '/today.json')}").json()

    page.goto(f"{site}/units")
    expect(page.locator("#units-example")).to_contain_text("20.5 °C")
    page.select_option("#units-temperature", "f")
    page.select_option("#units-decimal", "comma")
    expect(page.locator("#units-example")).to_contain_text("68,9 °F")
    expect(page.locator("#units-at-once button").first).to_have_text("Metric, 12.5")

    page.emulate_media(media="print")
    expect(page.locator("#units-example")).to_be_visible()
    expect(page.locator("#units-at-once")).to_be_hidden()
    page.emulate_media(media="screen")

    page.goto(f"{site}/banks")
    form = page.locator("form[id^=bank-][id$=-form]").first
    form.evaluate(UNFOLD)
    expect(page.locator(f"#{prefix}cell_c")).to_have_value("45,5")
    expect(page.locator(f"label[for='{prefix}cell_c']")).to_have_text("Cell temperature, °F")
    page.fill(f"#{prefix}cell_c", "200")
    page.locator(f"#{prefix}cell_c").blur()
    expect(page.locator(f"#{prefix}cell_c-error")).to_contain_text("from -40 to 140 °F; got 200.")
    page.fill(f"#{prefix}cell_c", "50")
    page.locator(f"#{prefix}cell_c").blur()
    expect(form.locator(".kept")).to_contain_text("Saved")
    page.fill(f"#{prefix}cell_c", "7,5 °C")
    page.locator(f"#{prefix}form button").last.click()
    expect(page.locator(f"#{prefix}cell_c")).to_have_value("45,5")

    assert page.request.get(f"{site}{ASKED.replace('/today', '/today.json')}").json() == before
    page.goto(f"{site}{ASKED}")
    expect(page.locator("#answer")).to_contain_text("45,5\u00a0°F")
    expect(page.locator("main")).not_to_contain_text(re.compile("\\d\\s?°C"))
    page.goto(f"{site}/sheet")
    page.emulate_media(media="print")
    expect(page.locator("article.sheet")).to_contain_text("°F")
    assert "°C" not in page.locator("article.sheet > section:not(#sheet-worked)").all_inner_texts()


@pytest.mark.parametrize("width", [1280, 360])
def test_a_moment_of_a_12_hour_clock_is_seen_whole_in_its_field(open_page: Opener, site: str, width: int) -> None:
    page = open_page(f"{site}/units", viewport={"width": width, "height": 800})
    page.select_option("#units-clock", "12")
    expect(page.locator("#units-example")).to_contain_text("2:30 pm")
    page.goto(f"{site}/off?charge=70")
    expect(page.locator("#until")).to_have_value(re.compile(r"^\d+ [A-Z][a-z]{2} 20\d\d \d+:\d\d [ap]m$"))
    page.fill("#until", "29 Nov 2026 12:00 pm")
    assert page.locator("#until").evaluate("field => field.scrollWidth <= field.clientWidth")
