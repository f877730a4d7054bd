"""Slips of typing: said in one sentence, kept as typed, mended by one click, never unasked."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Opener

CHARGE = "input[name^=charge]"
UNFOLD = """(form) => {
  for (let one = form.closest('details'); one; one = one.parentElement.closest('details')) one.open = true;
  for (const part of form.querySelectorAll('details')) part.open = true;
}"""


def bank_form(open_page: Opener, site: str) -> tuple[Page, str]:
    """The form of the example's first bank, unfolded, and what its fields' names begin with."""
    page = open_page(f"{site}/banks")
    form = page.locator("form[id^=bank-][id$=-form]").first
    form.evaluate(UNFOLD)
    return page, (form.get_attribute("id") or "").removesuffix("form")


def test_two_slips_are_listed_and_one_click_mends_each(open_page: Opener, site: str) -> None:
    page, prefix = bank_form(open_page, site)
    page.fill(f"#{prefix}charge_v", "55,2")
    page.fill(f"#{prefix}cell_c", "140")
    page.locator(f"#{prefix}form button").last.click()
    expect(page).to_have_title(re.compile("^Error"))
    expect(page.locator(".summary")).to_be_focused()
    expect(page.locator(".summary a")).to_have_count(2)
    page.locator(".summary a").last.click()
    focused = page.evaluate("document.activeElement.id")
    assert focused in (f"{prefix}charge_v", f"{prefix}cell_c")
    expect(page.locator(f"#{prefix}charge_v")).to_have_value("55,2")
    expect(page.locator(f"#{prefix}cell_c")).to_have_value("140")
    page.locator(".readings button", has_text="140 °F is 60 °C").click()
    expect(page.locator(".summary a")).to_have_count(1)
    expect(page.locator(f"#{prefix}cell_c")).to_have_value("60")
    expect(page.locator(f"#{prefix}charge_v")).to_have_value("55,2")


def test_series_and_parallel_typed_the_wrong_way_round_are_swapped_by_one_click(open_page: Opener, site: str) -> None:
    page, prefix = bank_form(open_page, site)
    series = page.input_value(f"#{prefix}series")
    page.fill(f"#{prefix}series", "2")
    page.fill(f"#{prefix}parallel", series)
    page.locator(f"#{prefix}form button").last.click()
    swap = page.locator("button", has_text=re.compile(rf"{series} in series"))
    swap.first.click()
    expect(page.locator(f"#{prefix}series")).to_have_value(series)
    expect(page.locator(f"#{prefix}parallel")).to_have_value("2")


def test_either_decimal_sign_gives_the_same_answer_and_a_share_is_asked_about(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today?charge=60,5&sky=dark")
    comma = page.locator("#answer [role=status]").first.inner_text()
    page.goto(f"{site}/today?charge=60.5&sky=dark")
    assert page.locator("#answer [role=status]").first.inner_text() == comma
    page.goto(f"{site}/today?charge=0,8&sky=dark")
    expect(page.locator(CHARGE).first).to_have_value("0,8")
    expect(page.locator("#answer .note.check", has_text="Was 80 % meant?")).to_be_visible()


@pytest.mark.parametrize(
    ("path", "field", "typed", "label", "then"),
    [
        ("/today?charge=60&sky=dark", CHARGE, "1,234", "1.234", "1.234"),
        ("/winters", "#share", "1,234", "1.234", "1.234"),
        ("/charge", "#minutes", "1,234", "1234", "1234"),
    ],
)
def test_readings_are_offered_while_a_question_is_live(
    open_page: Opener, site: str, path: str, field: str, typed: str, label: str, then: str
) -> None:
    page = open_page(f"{site}{path}")
    page.locator("form.ask").first.evaluate(UNFOLD)
    page.locator(field).first.fill(typed)
    reading = page.locator("#problems a.button", has_text=re.compile(rf"{re.escape(label)}$"))
    expect(reading).to_have_count(1)
    expect(reading).to_be_hidden()
    expect(page.locator(field).first).to_be_focused()
    page.locator(field).first.press("Tab")
    expect(reading).to_be_visible()
    expect(page.locator(field).first).to_have_value(typed)
    reading.click()
    expect(page.locator(field).first).to_have_value(then)
    expect(page.locator("#problems a")).to_have_count(0)
