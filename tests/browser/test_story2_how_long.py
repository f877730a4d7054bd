"""Story 2, how long have I got: live answers while typing, on a phone and without JavaScript."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Page, expect

HOUSEHOLDS = Path(__file__).resolve().parent.parent / "households"
SENTENCE = "#answer [role=status] h1"
Opener = Callable[..., Page]
Server = Callable[..., str]


def drawn(page: Page) -> None:
    page.wait_for_selector("html[data-charts=drawn]", state="attached")


def test_household_h_has_24_hours(open_page: Opener, serve: Server) -> None:
    page = open_page(f"{serve(HOUSEHOLDS / 'h.json')}/today?charge=80&sky=none&at=2026-11-25T18:00")
    expect(page.locator(SENTENCE)).to_have_text(
        re.compile(r"About 24 hours: until Thursday, six in the evening, when the bank reaches your 20\s% reserve\.")
    )


def test_typing_changes_the_status_and_leaves_focus_and_caret(page: Page) -> None:
    field = page.locator("#charge")
    field.fill("7.5")
    expect(page).to_have_url(re.compile(r"charge=7\.5"))
    before = page.locator(SENTENCE).inner_text()
    region = page.locator("#answer [role=status]").element_handle()
    assert region is not None
    field.evaluate("one => { one.focus(); one.setSelectionRange(1, 1); }")
    page.keyboard.type("2")
    expect(page.locator(SENTENCE)).not_to_have_text(before)
    assert field.evaluate("one => [one.value, one.selectionStart, one.selectionEnd]") == ["72.5", 2, 2]
    assert page.evaluate("document.activeElement.id") == "charge"
    assert region.evaluate("one => one.isConnected")


def test_an_incomplete_question_keeps_the_last_answer_and_says_so(page: Page) -> None:
    field = page.locator("#charge")
    field.fill("60")
    expect(page).to_have_url(re.compile("charge=60"))
    before = page.locator(SENTENCE).inner_text()
    with page.expect_response(lambda response: response.status == 422):
        field.fill("60x")
    expect(page.locator("#answer")).to_have_attribute("data-stale", "")
    expect(page.locator(SENTENCE)).to_have_text(before)
    expect(page.locator("#problems")).to_be_hidden()
    page.keyboard.press("Tab")
    expect(page.locator("#problems")).to_contain_text("Charge now")
    field.fill("61")
    expect(page.locator("#answer")).not_to_have_attribute("data-stale", "")
    expect(page.locator("#problems")).to_be_hidden()


def test_two_errors_on_submit_take_the_focus_and_lead_to_their_fields(page: Page) -> None:
    page.locator("#charge").evaluate("one => { one.value = 'lots'; }")
    page.locator("#at").evaluate("one => { one.value = 'soon'; }")
    page.get_by_role("button", name="Work it out").click()
    expect(page).to_have_title(re.compile("^Error: Today"))
    assert page.evaluate("document.activeElement.className") == "summary"
    expect(page.locator("#charge")).to_have_value("lots")
    expect(page.locator("#at")).to_have_value("soon")
    page.locator(".summary a").nth(1).click()
    assert page.evaluate("document.activeElement.id") == "at"


def test_choosing_a_brighter_day_never_shortens_it_and_renames_no_field(page: Page) -> None:
    page.locator("#charge").fill("80")
    expect(page).to_have_url(re.compile("charge=80"))
    hours = "#answer [role=status] h1"
    before = page.locator(hours).inner_text()
    for place in range(5):
        page.locator(".pick select").nth(place).select_option("bright")
    expect(page.locator(".answered li.bright")).to_have_count(5)
    expect(page.locator(hours)).not_to_have_text(before)


def test_days_of_the_form_follow_the_moment(page: Page) -> None:
    for moment, days in (
        ("2026-12-01 23:00", ["Wed", "Thu", "Fri", "Sat", "Sun"]),
        ("2026-12-04 06:00", ["Fri", "Sat", "Sun", "Mon", "Tue"]),
    ):
        page.locator("#at").fill(moment)
        expect(page).to_have_url(re.compile(f"at={moment[:10]}"))
        expect(page.locator(".answered b").first).to_have_text(days[0])
        assert page.locator(".answered b").all_inner_texts()[:5] == days
        expect(page.locator(".pick b")).to_have_text(days)


def test_what_is_drawn_is_what_is_said(open_page: Opener, serve: Server) -> None:
    page = open_page(f"{serve(HOUSEHOLDS / 'h.json')}/today?charge=80&sky=none&at=2026-11-25T18:00")
    drawn(page)
    crossing = page.evaluate(
        "() => { const [t] = document.querySelector('.plot').data.filter(t => t.name === 'ends');"
        " return [t.x[0], t.y[0]]; }"
    )
    assert crossing == ["2026-11-26 17:43:24", 20]
    assert page.locator(".sentence time").get_attribute("datetime") == "2026-11-26T17:43"
    expect(page.locator(".figures")).to_contain_text("Thu 26 Nov, 17:43")
    expect(page.locator(".plot .annotation-text", has_text="Thu 17:43")).to_have_count(1)
    expect(page.locator(".plot .annotation-text", has_text="reserve 20")).to_have_count(1)


def test_a_phone_beside_the_bank(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today", viewport={"width": 360, "height": 740})
    drawn(page)
    for path in ("/today", "/size", "/week"):
        page.goto(f"{site}{path}")
        drawn(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        low = page.evaluate(
            "() => [...document.querySelectorAll('form.ask input, form.ask select, form.ask button, main summary')]"
            ".filter(one => one.offsetParent && one.getBoundingClientRect().height < 44).map(one => one.outerHTML)"
        )
        assert low == []
    page.goto(f"{site}/today")
    for name in ("#charge", "#reserve", "#sky"):
        assert page.locator(name).evaluate("one => one.getBoundingClientRect().bottom") < 740


def test_without_javascript(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today", java_script_enabled=False)
    page.locator("#charge").fill("55")
    page.locator(".pick select").nth(0).select_option("bright")
    page.get_by_role("button", name="Work it out").click()
    expect(page).to_have_url(re.compile(r"charge=55.*sky=days&sky=bright&sky=&"))
    expect(page.locator(SENTENCE)).to_contain_text("About")
    expect(page.locator("#charge")).to_have_value("55")
    expect(page.locator(".answered li").first).to_have_class("bright")
    page.locator(".chart summary").click()
    assert page.locator(".chart tbody tr").count() > 48
    page.locator("#charge").fill("0.8")
    page.get_by_role("button", name="Work it out").click()
    page.get_by_role("link", name="80 % was meant").click()
    expect(page.locator("#charge")).to_have_value("80")


def test_a_chart_offers_nothing_to_press_or_to_tab_to(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today")
    for path in ("/today", "/size", "/week"):
        page.goto(f"{site}{path}")
        drawn(page)
        page.locator(".plot").first.hover()
        assert page.locator(".modebar, .modebar-btn").count() == 0, path
        reached = page.locator(".plot").evaluate_all(
            "all => all.flatMap(plot => [plot, ...plot.querySelectorAll('*')]).filter(one => one.tabIndex >= 0).length"
        )
        assert reached == 0, path


FIELDS_CUT = """() => [...document.querySelectorAll('form.ask select')].filter((one) => {
  if (!one.offsetParent) return false;
  const style = getComputedStyle(one), pen = document.createElement('canvas').getContext('2d');
  pen.font = `${style.fontSize} ${style.fontFamily}`;
  const wide = pen.measureText(one.selectedOptions[0].text).width;
  const arrow = style.appearance === 'none' ? 0 : 16;
  return wide > one.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight) - arrow + 1;
}).map((one) => one.selectedOptions[0].text)"""


def test_choices_are_wide_enough_to_be_read(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today")
    paths = (
        "/today",
        "/today?sky=oceanic_14d_1in10",
        "/size",
        "/size?sky=oceanic_7d_1in10",
        "/size?sky=usual",
        "/week",
    )
    for path in paths:
        page.goto(f"{site}{path}")
        assert page.evaluate(FIELDS_CUT) == [], path


def test_from_shows_a_whole_moment(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today")
    field = page.locator("#at")
    expect(field).to_have_value("now")
    field.fill("2026-11-25 18:00")
    assert field.evaluate("one => one.scrollWidth <= one.clientWidth")


def test_the_focus_ring_of_a_day_is_whole(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today")
    day = page.locator(".pick select").first
    day.focus()
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Tab")
    assert day.evaluate("one => getComputedStyle(one).outlineStyle") == "solid"
    clipping = day.evaluate(
        "one => { const found = []; for (let box = one.parentElement; box; box = box.parentElement)"
        " if (box !== document.documentElement && getComputedStyle(box).overflowX !== 'visible')"
        " found.push(box.className); return found; }"
    )
    assert clipping == []
