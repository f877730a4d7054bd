"""Story 8, spare banks: the page answers as the charge is typed, keeps the caret, and fits a telephone."""

from __future__ import annotations

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

Opener = Callable[..., Page]
ASK = "charge=80&sky=bright,dark&at=2026-11-25%2018:00"
LEAST_TARGET_PX = 44.0


def test_a_typed_charge_changes_the_answer_and_the_caret_stays(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/spares?{ASK}")
    answer = page.locator("#answer")
    expect(answer).to_contain_text("Nobody said the charge of Sodium-ion bank")
    before = answer.locator("h1").inner_text()
    page.locator("#spare_new").fill("20")
    expect(answer.locator("h1")).not_to_have_text(before)
    expect(answer).not_to_contain_text("Nobody said the charge")
    assert page.evaluate("document.activeElement.id") == "spare_new"
    expect(page).to_have_url(re.compile("spare_new=20"))


def test_a_charge_that_cannot_be_is_said_and_the_last_answer_stands(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/spares?{ASK}&spare_new=40")
    said = page.locator("#answer h1").inner_text()
    page.locator("#spare_new").fill("140")
    expect(page.locator("#problems")).to_contain_text("Charge of Sodium-ion bank")
    expect(page.locator("#answer h1")).to_have_text(said)


def test_it_fits_a_telephone_and_can_be_pressed(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/spares?{ASK}", viewport={"width": 360, "height": 740})
    for summary in page.locator("details.field > summary").all():
        if summary.evaluate("one => !one.parentElement.open"):
            summary.click()
    page.wait_for_selector("#answer h1")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    pressed = page.locator("form.ask input:visible, form.ask select:visible, form.ask button, form.ask summary, .press")
    assert pressed.count() > 10
    for one in pressed.all():
        box = one.bounding_box()
        assert box is not None
        assert box["height"] >= LEAST_TARGET_PX - 0.5, one.evaluate("one => one.outerHTML")
