"""What each page answers: every page of the menu with a line of its own, and the ways to it."""

from __future__ import annotations

from tests.conftest import Client, soup
from webapp.app import PAGES
from webapp.pages import finding


def test_every_page_of_the_menu_is_there_with_its_line_and_its_group(client: Client) -> None:
    page = soup(client.get("/pages"))
    told = {
        row.a["href"]: (row.find_previous("h2").get_text(), row.a.get_text(), row.span.get_text())
        for row in page.select(".answering li")
    }
    others = [module.PAGE for module in PAGES if module is not finding]
    assert told == {one.path: (one.group or "Around it", one.title, one.answers) for one in others}


def test_a_line_is_short_and_no_two_are_alike() -> None:
    lines = [module.PAGE.answers for module in PAGES]
    assert len(set(lines)) == len(lines)
    assert [line for line in lines if not 4 <= len(line.split()) <= 11] == []


def test_the_menu_and_the_first_page_lead_to_it(example: Client) -> None:
    page = soup(example.get("/today"))
    last = page.select("nav.rail a")[-1]
    assert (last["href"], last.get_text()) == ("/pages", "What each page answers")
    assert page.select_one(".first a[href='/pages']")
    assert page.select("details.menu > nav > ul a[href='/pages']")
