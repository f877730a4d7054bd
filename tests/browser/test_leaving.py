"""What a save by leaving a field brings up is said where one is; what is not saved is not lost without a word."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Dialog, Page, expect

from tests.browser.conftest import Opener
from tests.browser.test_autosave import leave
from tests.browser.test_story9_typing import UNFOLD, bank_form

SAME_PX = 2.0


def form_at(open_page: Opener, address: str, form: str) -> Page:
    page = open_page(address)
    page.locator(form).first.evaluate(UNFOLD)
    return page


def top_of_focus(page: Page) -> float:
    return float(page.evaluate("document.activeElement.getBoundingClientRect().top"))


def asked_on_leaving(page: Page) -> list[str]:
    """Stay on the page whenever it asks; returns what it asked."""
    asked: list[str] = []

    def stay(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.dismiss()

    page.on("dialog", stay)
    return asked


def test_a_stop_that_a_save_brings_is_said_in_the_saved_line_with_a_link_to_it(open_page: Opener, site: str) -> None:
    page, prefix = bank_form(open_page, site)
    leave(page, f"#{prefix}series", "30")
    status = page.locator(f"#{prefix}form .kept")
    expect(status).to_have_text(
        re.compile(r"^Saved \d\d:\d\d: .+ (One|\d+) stops?( and (one|\d+) checks?)? on this page now: ")
    )
    assert status.get_attribute("role") == "status"
    stops = page.locator("#notices .note.stop")
    assert page.locator("#notices .note.stop").count() >= 1
    link = status.locator("a")
    assert (link.text_content() or "") in (stops.first.text_content() or "")
    link.click()
    expect(page.locator("#notices")).to_be_focused()
    expect(stops.first).to_be_in_viewport()


def test_the_focused_field_stays_on_its_place_while_the_page_above_grows(open_page: Opener, site: str) -> None:
    page, prefix = bank_form(open_page, site)
    leave(page, f"#{prefix}series", "30")
    before, height = top_of_focus(page), page.evaluate("document.body.scrollHeight")
    expect(page.locator("#notices .note.stop").first).to_be_attached()
    page.wait_for_timeout(300)
    assert page.evaluate("document.body.scrollHeight") > height + 40
    assert abs(top_of_focus(page) - before) <= SAME_PX


def test_a_half_typed_new_bank_is_asked_about_before_it_is_left(open_page: Opener, site: str) -> None:
    page = form_at(open_page, f"{site}/banks", "#add-bank-form")
    asked = asked_on_leaving(page)
    page.fill("#add-bank-series", "16")
    page.locator(".rail a", has_text="Loads").click()
    page.wait_for_timeout(300)
    assert asked == ["beforeunload"]
    expect(page.locator("#add-bank-series")).to_have_value("16")
    page.fill("#add-bank-series", "")
    page.locator(".rail a", has_text="Loads").click()
    expect(page).to_have_url(re.compile("/loads"))
    assert asked == ["beforeunload"]


def test_what_is_not_saved_yet_is_asked_about_and_what_is_saved_is_not(open_page: Opener, site: str) -> None:
    page, prefix = bank_form(open_page, site)
    asked = asked_on_leaving(page)
    leave(page, f"#{prefix}cell_c", "140")
    expect(page.locator(f"#{prefix}form .kept")).to_have_text("Not saved yet: one thing to mend.")
    page.locator(".rail a", has_text="Loads").click()
    page.wait_for_timeout(300)
    assert asked == ["beforeunload"]
    leave(page, f"#{prefix}cell_c", "14")
    expect(page.locator(f"#{prefix}form .kept")).to_have_text(re.compile("^Saved"))
    page.locator(".rail a", has_text="Loads").click()
    expect(page).to_have_url(re.compile("/loads"))
    assert asked == ["beforeunload"]


@pytest.mark.parametrize(
    ("path", "field"), [("/files", "#note"), ("/cell-tests", "#pasted"), ("/records", "#pasted"), ("/log", "#pasted")]
)
def test_a_typed_note_and_pasted_rows_are_asked_about(open_page: Opener, site: str, path: str, field: str) -> None:
    page = open_page(f"{site}{path}")
    asked = asked_on_leaving(page)
    before = page.input_value(field)
    page.fill(field, "volts,Ah\n3.1,0.5\n")
    page.locator(".rail a", has_text="Loads").click()
    page.wait_for_timeout(300)
    assert asked == ["beforeunload"]
    expect(page.locator(field)).to_have_value("volts,Ah\n3.1,0.5\n")
    page.fill(field, before)
    page.locator(".rail a", has_text="Loads").click()
    expect(page).to_have_url(re.compile("/loads"))
    assert asked == ["beforeunload"]


@pytest.mark.parametrize(
    ("path", "field", "text", "button"),
    [("/files", "#note", "Ours", "Save the name"), ("/records", "#pasted", "no rows", "Look at it")],
)
def test_sending_a_note_or_pasted_rows_asks_nothing(
    open_page: Opener, site: str, path: str, field: str, text: str, button: str
) -> None:
    page = open_page(f"{site}{path}", may_log="the server responded with a status of 422")
    asked = asked_on_leaving(page)
    page.fill(field, text)
    with page.expect_response(re.compile(path)):
        page.get_by_role("button", name=button).click()
    page.wait_for_timeout(300)
    assert asked == []


@pytest.mark.parametrize("by", ["button", "enter"])
def test_adding_asks_nothing(open_page: Opener, site: str, by: str) -> None:
    page = open_page(f"{site}/loads?add=steady")
    asked = asked_on_leaving(page)
    page.fill("#add-load-name", "Router")
    if by == "enter":
        page.press("#add-load-name", "Enter")
    else:
        page.locator("#add-load-form .row button").click()
    expect(page.locator("#saved p").first).to_have_text(re.compile("Router added"))
    assert asked == []


def test_a_refused_new_thing_is_not_left_unasked(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/loads?add=steady")
    asked = asked_on_leaving(page)
    page.fill("#add-load-values\\.power_w", "many")
    page.locator("#add-load-form .row button").click()
    expect(page.locator(".summary")).to_be_visible()
    page.locator(".rail a", has_text="Sun").first.click()
    page.wait_for_timeout(300)
    assert asked == ["beforeunload"]
