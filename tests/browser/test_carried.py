"""A charge typed on one page of the moment goes along through the menu, and the next page says when it was typed."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Opener
from tests.browser.test_story9_typing import CHARGE


def follow(page: Page, name: str) -> None:
    page.locator(".rail a", has_text=re.compile(f"^{name}$")).click()


def test_a_charge_typed_live_goes_to_switch_off_and_back(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today")
    page.fill(CHARGE, "60")
    expect(page).to_have_url(re.compile("charge=60"))
    expect(page.locator("#carried")).to_have_attribute("data-query", re.compile("told="))
    assert page.locator("#answer .typed-at").count() == 0
    follow(page, "Switch off")
    expect(page.locator(CHARGE).first).to_have_value("60")
    expect(page.locator("#answer .typed-at")).to_have_text(
        re.compile(r"^With the charge typed at \d\d:\d\d on \d+ \w+: 60 %\.$")
    )
    follow(page, "Today")
    expect(page.locator(CHARGE).first).to_have_value("60")
    expect(page.locator("#answer .typed-at")).to_be_visible()
    page.fill(CHARGE, "55")
    expect(page.locator("#answer .typed-at")).to_have_count(0)
    follow(page, "Loads")
    expect(page).to_have_url(f"{site}/loads")


@pytest.mark.parametrize("scripts", [True, False])
def test_a_page_opened_with_a_charge_passes_it_on(open_page: Opener, site: str, scripts: bool) -> None:
    page = open_page(f"{site}/off?charge=48&sky=dark&sky=dull", java_script_enabled=scripts)
    for name in ("Car and water", "Cold", "Today", "Switch off"):
        follow(page, name)
        expect(page.locator("h1").first).to_be_visible()
        assert "charge=48" in page.url, name
        assert page.url.count("sky=") == 2, name
        expect(page.locator("#answer .typed-at").first).to_contain_text("48 %")
    assert page.context.cookies() == []


def test_a_question_whose_answer_is_not_there_yet_goes_along_as_typed(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today")
    expect(page.locator(".rail a[data-carries]").first).to_be_visible()
    page.route("**/today?*", lambda route: None)
    page.fill(CHARGE, "45")
    page.locator(".sky.pick select").first.select_option("dark")
    page.fill("#at", "6 pm")
    page.locator(".rail a", has_text=re.compile("^Switch off$")).press("Enter")
    expect(page).to_have_url(re.compile(r"/off\?charge=45&.*sky=days&sky=dark&.*at=6\+pm"))
    expect(page.locator(CHARGE).first).to_have_value("45")
    expect(page.locator("#answer .strip")).to_contain_text("those that were asked about")
    follow(page, "Sheet")
    expect(page.locator("#sheet-hours .typed-at")).to_contain_text("45 %")
    follow(page, "Switch off")
    expect(page.locator(CHARGE).first).to_have_value("45")


def test_the_sheet_of_the_menu_asks_what_the_answer_beside_it_does(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/size")
    page.fill("#days", "5")
    expect(page.locator("#for-sheet")).to_have_attribute("href", re.compile("days=5"))
    follow(page, "Sheet")
    expect(page.locator("#days")).to_have_value("5")
    page.goto(f"{site}/today")
    page.locator(".sky.pick select").first.select_option("dark")
    expect(page.locator("#for-sheet")).to_have_attribute("href", re.compile("sky=dark"))
    follow(page, "Sheet")
    expect(page).to_have_url(re.compile(r"/sheet\?.*sky=dark"))


def test_what_nobody_typed_goes_nowhere_and_the_days_are_said_to_be_nobody_s(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today")
    follow(page, "Switch off")
    assert "?" not in page.url
    expect(page.locator("#answer .strip")).to_contain_text("Nobody has said yet how the days will be")
