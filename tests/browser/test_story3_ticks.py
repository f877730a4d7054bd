"""Story 3, what to switch off: ticking a load moves the answer by its hours and keeps the focus where it is."""

from __future__ import annotations

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

SENTENCE = "#answer [role=status] h1"
QUESTION = "charge=90&sky=dark,dark,dull&at=2026-11-25T18:00"
Opener = Callable[..., Page]


def hours(page: Page, site: str, off: str = "") -> float:
    found = page.request.get(f"{site}/today.json?{QUESTION}{'&off=' + off if off else ''}").json()
    return float(found["hours_to_reserve"])


def test_a_tick_moves_the_answer_by_what_it_said_and_keeps_the_focus(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today?{QUESTION}")
    before = page.locator(SENTENCE).inner_text()
    listed = page.request.get(f"{site}/today.json?{QUESTION}").json()["levers"]
    said = {one["load_id"]: one["gained_h"] for one in listed if one["load_id"]}
    place = "van"
    tick = page.locator(f"#off-{place}")
    tick.focus()
    page.keyboard.press("Space")
    expect(page.locator(SENTENCE)).not_to_have_text(before)
    expect(page).to_have_url(re.compile(rf"off={place}"))
    assert page.evaluate("document.activeElement.id") == f"off-{place}"
    expect(tick).to_be_checked()
    assert abs(hours(page, site, place) - hours(page, site) - said[place]) < 1e-9
    page.keyboard.press("Space")
    expect(page.locator(SENTENCE)).to_have_text(before)
    assert page.evaluate("document.activeElement.id") == f"off-{place}"
    expect(tick).not_to_be_checked()


def test_several_ticks_stay_and_the_field_keeps_what_is_typed(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today?{QUESTION}")
    for place in ("van", "tank"):
        page.locator(f"#off-{place}").check()
        expect(page).to_have_url(re.compile(rf"off={place}"))
    expect(page.locator("input.off:checked")).to_have_count(2)
    page.locator("#charge").fill("70")
    expect(page).to_have_url(re.compile("charge=70.*off=.*off="))
    expect(page.locator("input.off:checked")).to_have_count(2)


def test_without_javascript_the_ticks_go_with_the_button(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today?{QUESTION}", java_script_enabled=False)
    before = page.locator(SENTENCE).inner_text()
    page.locator("#off-van").check()
    page.get_by_role("button", name="Work it out").click()
    expect(page).to_have_url(re.compile("off=van"))
    expect(page.locator("#off-van")).to_be_checked()
    assert page.locator(SENTENCE).inner_text() != before


def test_a_load_that_is_never_off_cannot_be_ticked(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today?{QUESTION}")
    ids = page.locator("input.off").evaluate_all("all => all.map(one => one.value)")
    loads = page.request.get(f"{site}/files/household.json").json()["loads"]
    never = [load["id"] for load in loads if load["never_off"]]
    assert never
    assert not set(ids) & set(never)
