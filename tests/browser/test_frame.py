"""The frame in a real browser: every page, wide and narrow, light and dark, with and without scripts."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Opener

WIDE = {"width": 1280, "height": 900}
NARROW = {"width": 360, "height": 740}
SMALL_TARGETS = """() => [...document.querySelectorAll('a, button, select, summary, input:not([type=hidden])')]
  .map((e) => e.matches('input[type=checkbox]') ? e.closest('label') : e)
  .filter((e) => { const r = e.getBoundingClientRect(); return r.width && r.height && r.height < 43.5; })
  .filter((e) => !e.closest('p, li a, .skip') && !e.matches('.skip'))
  .map((e) => e.outerHTML.slice(0, 90))"""


def addresses(page: Page) -> list[str]:
    """Every page in the list of pages."""
    links = page.locator("nav.rail a, nav.corner a")
    return sorted({str(link.get_attribute("href")) for link in links.all()})


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_fits_a_phone_with_targets_for_a_thumb(open_page: Opener, site: str, scheme: str) -> None:
    page = open_page(site, viewport=NARROW, color_scheme=scheme)
    for address in addresses(page):
        page.goto(site + address)
        assert page.evaluate("document.documentElement.scrollWidth") <= 360, address
        assert page.evaluate(SMALL_TARGETS) == [], address


def test_every_page_works_with_scripts_off(open_page: Opener, site: str) -> None:
    page = open_page(site, java_script_enabled=False)
    found = addresses(page)
    assert len(found) >= 5
    for address in found:
        answer = page.goto(site + address)
        assert answer is not None
        assert answer.status == 200
        expect(page.locator("h1")).to_be_visible()


def test_every_page_is_quiet_and_local(open_page: Opener, site: str) -> None:
    page = open_page(site)
    for address in addresses(page):
        page.goto(site + address, wait_until="networkidle")
        expect(page.locator("main")).to_be_visible()


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
