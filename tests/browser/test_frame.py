"""The frame in a real browser: the list of pages on a phone, and a form that is refused."""

from __future__ import annotations

import re

from playwright.sync_api import expect

from tests.browser.conftest import Opener
from tests.browser.looking import NARROW


def test_the_list_of_pages_unfolds_on_a_phone(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/banks", viewport=NARROW)
    page.locator(".menu > summary").click()
    page.locator("details.menu").get_by_role("link", name="Sun", exact=True).click()
    expect(page).to_have_url(re.compile("/sun$"))


def test_a_refused_form_takes_the_focus_to_its_summary_and_links_to_the_field(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/files")
    page.get_by_role("button", name="Start my own").click()
    expect(page).to_have_url(re.compile("/banks$"))
    page.get_by_label("Chemistry").select_option("lfp")
    page.get_by_label("Cells in series").fill("many")
    page.get_by_label("Label capacity of one cell, Ah").fill("280,5")
    with page.expect_response(lambda answer: answer.status == 422):
        page.get_by_role("button", name="Add this bank").click()
    expect(page).to_have_title(re.compile("^Error: "))
    expect(page.locator(".summary")).to_be_focused()
    page.locator(".summary a").first.press("Enter")
    expect(page.get_by_label("Cells in series")).to_be_focused()
    expect(page.get_by_label("Cells in series")).to_have_value("many")
    page.get_by_label("Cells in series").fill("16")
    page.get_by_label("Board: highest current, A").fill("200")
    page.get_by_role("button", name="Add this bank").click()
    expect(page.get_by_role("heading", name="Bank", exact=True)).to_be_visible()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".empty")).to_be_visible()
