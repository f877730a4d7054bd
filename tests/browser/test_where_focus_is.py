"""After a button the focus is on what was done or is to be mended; Enter in a question keeps it where it is."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Opener
from tests.browser.test_story9_typing import CHARGE

SAVED = "#saved-line"


def add_load(page: Page, site: str) -> None:
    page.goto(f"{site}/loads?add=steady")
    page.fill("#add-load-name", "Router")
    page.press("#add-load-name", "Enter")


def test_adding_undoing_and_restoring_lead_to_the_line_that_says_so(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/loads")
    add_load(page, site)
    expect(page.locator(SAVED)).to_be_focused()
    expect(page.locator(SAVED)).to_contain_text("Router added")
    expect(page.locator(SAVED)).to_be_in_viewport()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator(SAVED)).to_contain_text("undid")
    expect(page.locator(SAVED)).to_be_focused()
    page.goto(f"{site}/files")
    expect(page.locator(SAVED)).not_to_be_focused()
    page.get_by_role("button", name=re.compile("Restore version")).first.press("Enter")
    expect(page.locator(SAVED)).to_contain_text("restored")
    expect(page.locator(SAVED)).to_be_focused()
    page.reload()
    expect(page.locator(SAVED)).not_to_be_focused()


@pytest.mark.parametrize("scripts", [True, False])
def test_an_error_is_said_in_the_form_it_is_of_and_has_the_focus(open_page: Opener, site: str, scripts: bool) -> None:
    page = open_page(f"{site}/sun", java_script_enabled=scripts)
    page.locator("#add-array summary").first.click()
    page.fill("#add-array-kwp", "many")
    page.press("#add-array-kwp", "Enter")
    summary = page.locator("#add-array-form .summary")
    expect(summary).to_be_focused()
    expect(summary).to_be_in_viewport()
    assert page.locator(".summary").count() == 1


def test_enter_in_a_live_question_reloads_nothing_and_keeps_the_caret(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today")
    page.evaluate("window.stayed = true")
    page.fill(CHARGE, "61")
    page.press(CHARGE, "Enter")
    expect(page).to_have_url(re.compile("charge=61"))
    expect(page.locator(CHARGE).first).to_be_focused()
    page.press(CHARGE, "Enter")
    page.wait_for_timeout(500)
    assert page.evaluate("window.stayed")
    expect(page.locator(CHARGE).first).to_be_focused()
    expect(page.locator("#answer .sentence").first).to_be_visible()


def test_a_file_brought_and_read_leads_to_the_heading_of_what_came_of_it(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/cell-tests")
    page.get_by_role("button", name=re.compile("made-up")).press("Enter")
    page.wait_for_url(re.compile(r"/cell-tests/\d+$"))
    expect(page.locator("h1")).to_be_focused()
    page.get_by_role("button", name="Yes, read it like this").press("Enter")
    expect(page.locator("h1.sentence")).to_be_focused()
    page.reload()
    expect(page.locator("h1.sentence")).not_to_be_focused()


@pytest.mark.parametrize("path", ["/today?charge=70", "/off?charge=70", "/size"])
@pytest.mark.parametrize("size", [(1280, 900), (360, 640)])
def test_the_button_of_a_question_leads_to_its_answer(
    open_page: Opener, site: str, path: str, size: tuple[int, int]
) -> None:
    page = open_page(f"{site}{path}", viewport={"width": size[0], "height": size[1]})
    in_view = page.locator("#answer h1").bounding_box()
    page.get_by_role("button", name="Work it out").press("Enter")
    heading = page.locator("#answer h1")
    expect(heading).to_be_focused()
    expect(heading).to_be_in_viewport(ratio=0.9)
    assert "#" not in page.url
    if in_view and in_view["y"] + in_view["height"] < size[1]:
        assert page.evaluate("scrollY") == 0


def test_without_scripts_the_button_leads_to_the_answer_and_to_what_is_to_mend(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today?charge=70", java_script_enabled=False, viewport={"width": 360, "height": 640})
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator("#answer h1")).to_be_in_viewport()
    page.fill(CHARGE, "x")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".summary")).to_be_in_viewport()
    expect(page.locator(".summary")).to_be_focused()
