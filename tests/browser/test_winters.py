"""Winters in a browser: the block on Bank size, and a size tried on the full cell model while one looks."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

Opener = Callable[..., Page]

pytestmark = pytest.mark.browser


def test_bank_size_brings_its_winters_and_keeps_them_while_days_are_typed(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/size")
    riding = page.locator(".riding")
    expect(riding).to_contain_text("made winters", timeout=60_000)
    expect(riding.locator(".plot svg").first).to_be_visible(timeout=60_000)
    page.fill("#days", "5")
    expect(page.locator("#answer h1")).to_have_text(re.compile("^Five "))
    expect(riding).to_contain_text("made winters")
    assert page.locator("h1").count() == 1


def test_a_size_is_tried_and_its_form_keeps_what_is_chosen(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/winters")
    now = page.locator("#tried-now")
    expect(now).to_contain_text("full cell model", timeout=60_000)
    expect(now).to_contain_text("found to within half a percent", timeout=240_000)
    page.select_option("#times", "2")
    expect(now).to_contain_text("2 times your panels", timeout=240_000)
    expect(page.locator("#times")).to_have_value("2")


def test_on_a_phone_nothing_is_wider_than_the_screen(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/winters", viewport={"width": 360, "height": 740})
    expect(page.locator("#map-plot svg").first).to_be_visible(timeout=60_000)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.goto("about:blank")
