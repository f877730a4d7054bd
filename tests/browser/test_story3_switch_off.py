"""Story 3, switching off: the page answers as it is typed, keeps the caret, and hands its set over to Today."""

from __future__ import annotations

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

Opener = Callable[..., Page]
ASK = "charge=80&sky=dark,dark,dull,dull,bright&at=2026-11-25%2018:00"


def test_a_later_moment_asks_for_more_and_the_caret_stays(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/off?{ASK}&until=2026-11-25%2019:00")
    expect(page.locator("#answer h1")).to_contain_text("nothing has to be switched off")
    field = page.locator("#until")
    field.fill("2026-11-26 18:00")
    expect(page.locator("#answer h1")).to_contain_text("switch off")
    assert page.evaluate("document.activeElement.id") == "until"
    expect(page.locator("table.offs tbody tr").first).to_be_visible()
    expect(page).to_have_url(re.compile("until="))


def test_its_set_goes_over_to_today_ticked(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/off?{ASK}&until=2026-11-26%2018:00")
    count = page.locator("table.offs tbody tr").count()
    page.get_by_role("link", name="see Today with all of it off").click()
    expect(page.locator("input.off:checked")).to_have_count(count)


def test_today_shows_it_inside(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today?{ASK}")
    block = page.locator("#within-off")
    expect(block).to_contain_text("last until Friday, noon")
    block.get_by_role("link", name="Switch off").click()
    expect(page).to_have_url(re.compile(r"/off\?charge=80"))
