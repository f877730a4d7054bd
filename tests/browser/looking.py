"""What tests of several stories look at: the pages of the menu, and whether a page fits a phone."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from playwright.sync_api import Page, expect

NARROW = {"width": 360, "height": 740}
AXE = (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
RULES = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
LOOKING = (Path(__file__).parent / "looking.js").read_text(encoding="utf-8")


def addresses(page: Page) -> list[str]:
    """Every page in the list of pages, without the question that a link takes along once an answer is there."""
    links = page.eval_on_selector_all("nav.rail a, nav.corner a", "(all) => all.map((link) => link.pathname)")
    return sorted(set(links))


def faults(page: Page) -> list[str]:
    """What axe finds wrong with a page as it stands, contrast included."""
    page.evaluate(AXE)
    page.evaluate(LOOKING)
    found: list[str] = page.evaluate(
        "async (rules) => [...await looking.axe(rules), ...await looking.contrasts('as it stands')]", RULES
    )
    return found


def fits(page: Page) -> None:
    """Nothing sticks out on a phone, and everything that is pressed is as high as a thumb."""
    page.wait_for_load_state()
    expect(page.locator("h1")).to_be_visible()
    page.evaluate(LOOKING)
    assert page.evaluate("() => [...looking.reflow(), ...looking.targets()]") == [], page.url
