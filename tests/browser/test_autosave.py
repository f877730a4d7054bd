"""What is changed in a form is saved as its field is left, in place, with the caret where it was."""

from __future__ import annotations

import re

import httpx
import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.conftest import Opener
from tests.browser.test_story9_typing import UNFOLD, bank_form
from tests.conftest import form_of, soup

REFUSED = "the server responded with a status of 409"


def leave(page: Page, field: str, text: str) -> None:
    page.fill(field, text)
    page.press(field, "Tab")


def test_leaving_a_field_saves_it_and_renews_all_but_the_forms(open_page: Opener, site: str) -> None:
    page, prefix = bank_form(open_page, site)
    facts = page.locator(f"#{prefix}facts .figures")
    before = facts.inner_text()
    page.evaluate("window.stayed = true")
    leave(page, f"#{prefix}label_ah", "150,5")
    expect(page.locator(f"#{prefix}form .kept")).to_have_text(re.compile(r"^Saved \d\d:\d\d: .+ changed"))
    expect(page.locator("#saved p").first).to_have_text(re.compile(r"^Saved \d\d:\d\d: .+ changed"))
    expect(facts).not_to_have_text(before)
    expect(page.locator(f"#{prefix}label_ah")).to_have_value("150,5")
    expect(page.locator(f"#{prefix}tested_ah")).to_be_focused()
    assert page.evaluate("window.stayed")
    leave(page, f"#{prefix}cell_c", "9")
    page.locator("#add-bank summary").first.focus()
    expect(page.locator(f"#{prefix}form .kept")).to_have_text(re.compile("^Saved"))
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#saved p").first).to_have_text(re.compile("undid"))
    assert page.input_value(f"#{prefix}label_ah") != "150,5"
    assert page.input_value(f"#{prefix}cell_c") != "9"


def test_what_cannot_be_saved_is_said_at_its_field_and_mended_in_place(open_page: Opener, site: str) -> None:
    page, prefix = bank_form(open_page, site)
    leave(page, f"#{prefix}cell_c", "140")
    status = page.locator(f"#{prefix}form .kept")
    expect(status).to_have_text("Not saved yet: one thing to mend.")
    expect(page.locator(f"#{prefix}cell_c-error")).to_be_visible()
    expect(page.locator(f"#{prefix}cell_c")).to_have_attribute("aria-invalid", "true")
    expect(page.locator(f"#{prefix}cell_c")).to_have_value("140")
    leave(page, f"#{prefix}cell_c", "14")
    expect(status).to_have_text(re.compile("^Saved"))
    expect(page.locator(f"#{prefix}cell_c-error")).to_have_count(0)
    assert page.locator(f"#{prefix}cell_c").get_attribute("aria-invalid") is None
    leave(page, f"#{prefix}cell_c", "140")
    page.locator(".readings button", has_text="140 °F is 60 °C").click()
    expect(page.locator("#saved p").first).to_have_text(re.compile("changed"))
    page.reload()
    expect(page.locator(f"#{prefix}cell_c")).to_have_value("60")


@pytest.mark.parametrize("after", ["link", "button", "enter"])
def test_going_on_at_once_loses_nothing(open_page: Opener, site: str, after: str) -> None:
    page, prefix = bank_form(open_page, site)
    page.fill(f"#{prefix}cell_c", "9")
    if after == "link":
        page.locator(".rail a", has_text="Loads").click()
        expect(page).to_have_url(re.compile("/loads"))
    elif after == "button":
        page.locator(f"#{prefix}form .row button").click()
        expect(page.locator("#saved p").first).to_have_text(re.compile("changed"))
    else:
        page.press(f"#{prefix}cell_c", "Enter")
        expect(page.locator("#saved p").first).to_have_text(re.compile("changed"))
    page.goto(f"{site}/banks")
    expect(page.locator(f"#{prefix}cell_c")).to_have_value("9")


def test_undo_pressed_before_a_field_is_saved_undoes_that_field(open_page: Opener, site: str) -> None:
    page, prefix = bank_form(open_page, site)
    before = page.input_value(f"#{prefix}cell_c")
    leave(page, f"#{prefix}label_ah", "150")
    expect(page.locator(f"#{prefix}form .kept")).to_have_text(re.compile("^Saved"))
    page.goto(f"{site}/banks")
    page.locator(f"#{prefix}form").evaluate(UNFOLD)
    page.fill(f"#{prefix}cell_c", "9")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#saved p").first).to_have_text(re.compile("undid"))
    expect(page.locator(f"#{prefix}cell_c")).to_have_value(before)
    expect(page.locator(f"#{prefix}label_ah")).to_have_value("150")


def test_two_windows_the_later_is_shown_both_sides_and_overwrites_nothing_unasked(open_page: Opener, site: str) -> None:
    mine, prefix = bank_form(open_page, site)
    theirs, _ = bank_form(open_page, site)
    leave(theirs, f"#{prefix}cell_c", "7")
    expect(theirs.locator(f"#{prefix}form .kept")).to_have_text(re.compile("^Saved"))
    open_page(f"{site}/banks", may_log=REFUSED)
    leave(mine, f"#{prefix}cell_c", "5")
    expect(mine.locator(f"#{prefix}form .kept")).to_have_text(re.compile("^Not saved"))
    expect(mine.locator(".meanwhile")).to_contain_text("7")
    leave(mine, f"#{prefix}label_ah", "99")
    mine.wait_for_timeout(1500)  # longer than a form waits before it is sent
    theirs.reload()
    expect(theirs.locator(f"#{prefix}cell_c")).to_have_value("7")
    mine.get_by_role("button", name="Keep mine").click()
    expect(mine.locator("#saved p").first).to_have_text(re.compile("changed"))
    theirs.reload()
    expect(theirs.locator(f"#{prefix}cell_c")).to_have_value("5")
    expect(theirs.locator(f"#{prefix}label_ah")).to_have_value("99")


def test_another_device_that_saves_between_two_fields_is_not_overwritten(open_page: Opener, site: str) -> None:
    mine, prefix = bank_form(open_page, site)
    open_page(f"{site}/banks", may_log=REFUSED)
    other: list[int] = []

    def between(route: Route) -> None:
        """Save as another device would, after the first field was saved and before its page is fetched anew."""
        if not other:
            saved = route.fetch(max_redirects=0)
            with httpx.Client(base_url=site, headers={"Sec-Fetch-Site": "same-origin"}) as device:
                form = form_of(soup(device.get("/banks")), f"{prefix}form")
                other.append(device.post("/banks", data=form | {"cell_c": "7", "left": "another page"}).status_code)
            route.fulfill(response=saved)
        else:
            route.continue_()

    mine.route(re.compile(r"/banks$"), between)
    leave(mine, f"#{prefix}label_ah", "150")
    expect(mine.locator(f"#{prefix}form .kept")).to_have_text(re.compile("^Saved"))
    assert other == [303]
    leave(mine, f"#{prefix}tested_ah", "140")
    expect(mine.locator(f"#{prefix}form .kept")).to_have_text(re.compile("^Not saved"))
    expect(mine.locator(".meanwhile")).to_contain_text("7")
    theirs = open_page(f"{site}/banks", may_log=REFUSED)
    expect(theirs.locator(f"#{prefix}cell_c")).to_have_value("7")
    expect(theirs.locator(f"#{prefix}label_ah")).to_have_value("150")
    expect(theirs.locator(f"#{prefix}tested_ah")).not_to_have_value("140")


@pytest.mark.parametrize(
    ("status", "kind", "told", "said"),
    [
        (
            200,
            "text/html",
            "<main><p id='trouble'></p><p>Sign in.</p></main>",
            "Sign in. What you typed is still here.",
        ),
        (503, "text/html", "<main><p>No room.</p></main>", "No room. What you typed is still here."),
        (401, "text/plain", "Sign in first.", "Sign in first."),
    ],
)
def test_an_answer_of_another_kind_is_never_taken_for_saved(
    open_page: Opener, site: str, status: int, kind: str, told: str, said: str
) -> None:
    page = open_page(f"{site}/banks", may_log=f"the server responded with a status of {status}")
    form = page.locator("form[id^=bank-][id$=-form]").first
    form.evaluate(UNFOLD)
    prefix = (form.get_attribute("id") or "").removesuffix("form")
    page.route("**/banks", lambda asked: asked.fulfill(status=status, content_type=kind, body=told))
    leave(page, f"#{prefix}cell_c", "9")
    expect(page.locator(f"#{prefix}form .kept")).to_have_text(f"Not saved: {said}")
    page.locator(".rail a", has_text="Loads").click()
    expect(page).to_have_url(re.compile("/loads"))


def test_without_scripts_the_button_saves_and_nothing_is_promised(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/prices", java_script_enabled=False)
    expect(page.locator(".scripted")).to_be_hidden()
    page.fill("#prices-bank_per_kwh", "99")
    page.locator(".card button").click()
    expect(page.locator("#saved p").first).to_have_text(re.compile("changed|set"))


def test_a_cable_half_typed_is_named_as_to_come_until_its_group_was_gone_through(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/wiring")
    form = page.locator("form[data-autosave]").first
    form.evaluate("one => one.closest('details').open = true")
    status, length = form.locator(".kept"), form.locator("[id$='main.length_m']")
    length.fill("6")
    length.press("Tab")
    expect(status).to_have_text("Not saved yet. Still to be typed: Copper cross-section, mm².")
    assert form.locator(".error").count() == 0
    for _ in range(6):
        page.keyboard.press("Tab")
    expect(status).to_have_text("Not saved yet: one thing to mend.")
    expect(form.locator(".error")).to_contain_text("Copper cross-section must be a number")
    form.locator("[id$='main.area_mm2']").fill("35")
    form.locator("[id$='main.area_mm2']").press("Tab")
    expect(status).to_have_text(re.compile("^Saved"))
