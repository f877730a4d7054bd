"""Days picked one by one stay with their dates while the moment asked about moves."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Opener

FRIDAY_NOON = "/today?charge=80&sky=days&sky=dark&sky=dull&sky=bright&first=2026-11-27&at=2026-11-27+12:00"
PICKS = """() => [...document.querySelectorAll(".sky.pick li")].map((day) => {
  const pick = day.querySelector("select");
  return [day.querySelector("b").textContent, pick.ariaLabel.split(", ")[1], pick.value];
})"""
FRIDAY = [["Fri", "Friday", "dark"], ["Sat", "Saturday", "dull"], ["Sun", "Sunday", "bright"], ["Mon", "Monday", ""]]
SATURDAY = [["Sat", "Saturday", "dull"], ["Sun", "Sunday", "bright"], ["Mon", "Monday", ""], ["Tue", "Tuesday", ""]]


def settled(page: Page, picked: list[list[str]], used: str) -> None:
    """The picks, and the days that the answer was worked out with."""
    expect(page.locator("#answer .strip .sky li").first).to_have_text(re.compile(rf"\s*{used}\s*"))
    assert page.evaluate(PICKS)[: len(picked)] == picked


def test_words_follow_their_dates_live_and_come_back(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}{FRIDAY_NOON}")
    settled(page, FRIDAY, r"Fri\s*dark")
    page.fill("#at", "27 Nov 2026 6 pm")
    settled(page, SATURDAY, r"Sat\s*dull")
    page.fill("#at", "27 Nov 2026 12 pm")
    settled(page, FRIDAY, r"Fri\s*dark")
    expect(page).to_have_url(re.compile("sky=dark&sky=dull&sky=bright.*first=2026-11-27"))


@pytest.mark.parametrize("scripts", [True, False])
def test_words_follow_their_dates_by_the_button(open_page: Opener, site: str, scripts: bool) -> None:
    page = open_page(f"{site}{FRIDAY_NOON}", java_script_enabled=scripts)
    page.fill("#at", "27 Nov 2026 18:00")
    page.get_by_role("button", name="Work it out").click()
    expect(page).to_have_url(re.compile("18%3A00|18:00"))
    expect(page.locator(".sky.pick b").first).to_have_text("Sat")
    assert [one.input_value() for one in page.locator(".sky.pick select").all()[:3]] == ["dull", "bright", ""]
