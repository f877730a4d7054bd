"""Story 12, beside the bank at four in the morning: three fields, then the answer, on a small phone, with one thumb."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

SENTENCE = "#answer [role=status] h1"
PHONE = {"width": 360, "height": 740}
SMALL = (
    "() => [...document.querySelectorAll('form.ask input, form.ask select, form.ask button, #answer label,"
    " #answer a.press, main summary')].filter(one => one.offsetParent).filter(one => one.type !== 'hidden')"
    ".filter(one => one.getBoundingClientRect().height < 44).map(one => one.outerHTML)"
)
Opener = Callable[..., Page]


def drawn(page: Page) -> None:
    page.wait_for_selector("html[data-charts=drawn]", state="attached")


@pytest.mark.parametrize("query", ["", "?charge=52.9&charge_as=volts", "?charge=61&sky=kwh:1.5,.8", "?off=van,tank"])
def test_nothing_is_wider_than_the_phone_or_too_small_for_a_thumb(open_page: Opener, site: str, query: str) -> None:
    page = open_page(f"{site}/today{query}", viewport=PHONE)
    drawn(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    outside = page.evaluate(
        "() => [...document.querySelectorAll('form.ask *, #answer h1, .fan *, .ticked *')]"
        ".filter(one => one.offsetParent)"
        ".filter(one => one.getBoundingClientRect().right > 360).map(one => one.outerHTML)"
    )
    assert outside == []
    assert page.evaluate(SMALL) == []


def test_three_fields_and_the_answer_stand_above_the_fold(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today", viewport=PHONE)
    for name in ("#charge", "#charge_as", "#sky", "#reserve", ".pick", SENTENCE):
        assert page.locator(name).evaluate("one => one.getBoundingClientRect().bottom") < 740, name


def test_typing_slowly_never_loses_the_caret(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today?at=2026-11-25T18:00", viewport=PHONE)
    field = page.locator("#charge")
    field.fill("")
    field.focus()
    for typed, so_far in (("8", "8"), ("2", "82"), (".", "82."), ("5", "82.5")):
        page.keyboard.type(typed)
        if not so_far.endswith("."):
            expect(page).to_have_url(re.compile(rf"charge={re.escape(so_far)}(&|$)"))
        assert field.evaluate("one => [one.value, one.selectionStart, document.activeElement.id]") == [
            so_far,
            len(so_far),
            "charge",
        ]
    expect(page.locator("#answer .scales").first).to_contain_text("82.5")


def test_the_scale_is_chosen_beside_the_charge(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today?sky=none&at=2026-11-25T18:00", viewport=PHONE)
    page.locator("#charge").fill("50")
    expect(page).to_have_url(re.compile("charge=50"))
    before = page.locator(SENTENCE).inner_text()
    page.locator("#charge_as").select_option("usable")
    expect(page.locator(SENTENCE)).not_to_have_text(before)
    expect(page.locator(".scales").first).to_contain_text(re.compile(r"is 50\s% of what is usable"))


def test_the_days_kwh_have_a_field_where_they_are_chosen(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today?charge=80", viewport=PHONE)
    expect(page.locator("#kwh")).to_be_hidden()
    page.locator("#kwh").evaluate("one => { one.value = '1.5, 0.8, 9'; }")
    page.locator("#sky").select_option("kwh")
    expect(page.locator("#kwh")).to_be_visible()
    expect(page.locator(".pick")).to_be_hidden()
    expect(page.locator(".answered li")).to_have_count(3)


def test_pages_that_go_on_ask_once_for_the_last_question(open_page: Opener, site: str) -> None:
    """Only where the page is there: a block asks again when the question changes, and not while figures are typed."""
    page = open_page(f"{site}/today?charge=80&at=2026-11-25T18:00")
    asked: list[str] = []
    page.on("request", lambda request: "within=today" in request.url and asked.append(request.url))
    if not page.locator("#within-off").count():
        pytest.skip("no page goes on from Today in this version")
    page.wait_for_timeout(2500)
    asked.clear()
    page.locator("#charge").press_sequentially("5", delay=100)
    page.locator("#charge").fill("61")
    page.locator("#charge").fill("62")
    expect(page).to_have_url(re.compile("charge=62"))
    page.wait_for_timeout(3000)
    off = [url for url in asked if "/off?" in url]
    assert len(off) == 1
    assert "charge=62" in off[0]
