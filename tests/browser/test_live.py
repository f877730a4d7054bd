"""What app.js adds: live answers that never take the field away, charts on screen and on paper."""

from __future__ import annotations

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.browser.conftest import Opener

CHARGE = "input[name^=charge]"
DRAWN = "html[data-charts=drawn]"
LINE_COLOUR = """() => [...document.querySelectorAll('.plot path.js-line')].map((p) => getComputedStyle(p).stroke)"""


def until(page: Page, holds: Callable[[], bool]) -> None:
    """Wait until something holds, up to ten seconds; the page's own security forbids evaluating text inside it."""
    for _ in range(200):
        if holds():
            return
        page.wait_for_timeout(50)
    raise AssertionError("It did not come to hold within ten seconds.")


def test_an_answer_follows_the_typing_and_the_field_keeps_focus_and_caret(page: Page) -> None:
    charge = page.locator(CHARGE).first
    before = page.locator("#answer [role=status]").first.inner_text()
    charge.fill("")
    charge.press_sequentially("61")
    charge.press("ArrowLeft")
    expect(page.locator("#answer [role=status]").first).not_to_have_text(before)
    expect(charge).to_be_focused()
    assert charge.evaluate("(field) => field.selectionStart") == 1
    expect(page).to_have_url(re.compile("charge[^=]*=61"))


def test_an_incomplete_question_keeps_the_last_answer_marked_and_blames_nobody_yet(page: Page) -> None:
    charge = page.locator(CHARGE).first
    before = page.locator("#answer [role=status]").first.inner_text()
    charge.fill("x")
    expect(page.locator("#answer[data-stale] .stale")).to_be_visible()
    expect(page.locator("#answer [role=status]").first).to_have_text(before)
    expect(page.locator("#problems")).to_be_hidden()
    page.locator("h1").first.click()
    expect(page.locator("#problems")).to_contain_text("“x”")
    page.locator("#problems a").first.click()
    expect(charge).to_be_focused()
    charge.fill("50")
    expect(page.locator("#answer")).not_to_have_attribute("data-stale", re.compile(".*"))
    expect(page.locator("#problems")).to_be_empty()


def test_a_fault_of_ours_leaves_form_and_answer_and_says_so(open_page: Opener, site: str) -> None:
    page = open_page(site, may_log="status of 503")
    before = page.locator("#answer").inner_text()
    page.route(
        "**/today?*", lambda route: route.fulfill(status=503, content_type="text/plain", body="A fault in Greyspell.")
    )
    with page.expect_console_message(lambda said: "503" in said.text):
        page.locator(CHARGE).first.fill("44")
    expect(page.locator("#trouble")).to_have_text("A fault in Greyspell.")
    assert page.locator("#answer").inner_text() == before
    expect(page.locator(CHARGE).first).to_have_value("44")


def test_charts_follow_the_theme_and_the_paper(open_page: Opener, site: str) -> None:
    page = open_page(site, color_scheme="light")
    page.wait_for_selector(DRAWN)
    light = page.evaluate(LINE_COLOUR)
    assert light
    page.emulate_media(color_scheme="dark")
    until(page, lambda: page.evaluate(LINE_COLOUR) not in ([], light))
    width = "document.querySelector('.plot svg').getBoundingClientRect().width"
    assert page.evaluate(width) > 700
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    until(page, lambda: page.evaluate(width) == 640)
    assert page.locator("main details:not([open])").count() == page.locator("main .chart details").count()
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    until(page, lambda: page.evaluate(width) > 700)


def test_every_chart_has_its_numbers_as_a_table(open_page: Opener, site: str) -> None:
    page = open_page(site, java_script_enabled=False)
    for chart in page.locator("figure.chart").all():
        expect(chart.locator("details table")).to_have_count(1)
        expect(chart.locator(".plot")).to_be_hidden()
