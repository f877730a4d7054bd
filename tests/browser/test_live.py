"""What app.js adds: live answers that never take the field away, charts on screen and on paper."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route, expect

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
    before = page.locator("#answer [role=status]").first.text_content() or ""
    charge.fill("")
    charge.press_sequentially("61")
    charge.press("ArrowLeft")
    expect(page.locator("#answer [role=status]").first).not_to_have_text(before)
    expect(charge).to_be_focused()
    assert charge.evaluate("(field) => field.selectionStart") == 1
    expect(page).to_have_url(re.compile("charge[^=]*=61"))


def test_an_incomplete_question_keeps_the_last_answer_marked_and_blames_nobody_yet(page: Page) -> None:
    charge = page.locator(CHARGE).first
    before = page.locator("#answer [role=status]").first.text_content() or ""
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


def test_a_link_to_a_fault_stays_where_it_is_while_the_fault_is_answered_again(page: Page) -> None:
    charge = page.locator(CHARGE).first
    charge.fill("x")
    page.locator("h1").first.click()
    link = page.locator("#problems a").first.element_handle()
    assert link is not None
    with page.expect_response(lambda response: response.status == 422):
        charge.dispatch_event("change")
    page.wait_for_timeout(300)
    expect(page.locator("#problems")).to_contain_text("“x”")
    assert link.evaluate("one => one.isConnected")


def test_a_fault_of_ours_leaves_form_and_answer_and_says_so(open_page: Opener, site: str) -> None:
    page = open_page(site, may_log="status of 503")
    told = page.locator("#answer h1, #answer .range, #answer .figures, #answer .ticked")
    before = told.all_inner_texts()
    page.route(
        "**/today?*", lambda route: route.fulfill(status=503, content_type="text/plain", body="A fault in Greyspell.")
    )
    with page.expect_console_message(lambda said: "503" in said.text):
        page.locator(CHARGE).first.fill("44")
    expect(page.locator("#trouble")).to_have_text("A fault in Greyspell.")
    assert told.all_inner_texts() == before
    expect(page.locator(CHARGE).first).to_have_value("44")
    expect(page.locator("#answer[data-stale] .stale")).to_be_visible()


LIVE_FORMS = [
    ("/today", CHARGE),
    ("/size", "input[name=days]"),
    ("/week", "#at"),
    ("/charge", "#volts"),
    ("/cell-tests/plan", "#label_ah"),
]


def answers_with(page: Page, status: int) -> None:
    """Let live questions be answered with a whole page of some status, or with no connection at all for 0."""
    whole = "<!doctype html><title>No such page</title><h1>Not an answer</h1>"

    def reply(route: Route) -> None:
        if route.request.headers.get("hx-request") is None:
            route.continue_()
        elif status:
            route.fulfill(status=status, content_type="text/html", body=whole)
        else:
            route.abort("connectionrefused")

    page.route("**/*", reply)


@pytest.mark.parametrize(
    ("path", "field", "statuses"),
    [(path, field, (0, 403, 404, 500) if path == "/today" else (0, 404)) for path, field in LIVE_FORMS],
)
def test_no_answer_is_never_taken_for_one(
    open_page: Opener, site: str, path: str, field: str, statuses: tuple[int, ...]
) -> None:
    page = open_page(f"{site}{path}", may_log="Failed to")
    typing = page.locator(field).first
    was, asked = typing.input_value(), page.url
    for status in statuses:
        answers_with(page, status)
        typing.fill("3.3")
        expect(page.locator("#trouble")).to_contain_text(f"error {status}" if status else "does not answer")
        expect(page.locator("#trouble")).to_contain_text("What you typed is still here")
        expect(page.locator("#trouble *")).to_have_count(0)
        expect(page.locator("#answer[data-stale] .stale")).to_be_visible()
        expect(page.locator("#answer .sentence")).to_be_visible()
        expect(page.get_by_text("Not an answer")).to_have_count(0)
        assert page.url == asked
        page.unroute_all()
        typing.fill(was)
        expect(page.locator("#trouble")).to_be_empty()
        expect(page.locator("#answer")).not_to_have_attribute("data-stale", re.compile(".*"))
        expect(page).to_have_url(re.compile(r"\?"))
        asked = page.url


def test_a_server_that_is_gone_is_said(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/charge", may_log="Failed to")
    page.context.set_offline(True)
    page.locator("#volts").fill("3.3")
    expect(page.locator("#trouble")).to_contain_text("Greyspell does not answer")
    page.context.set_offline(False)
    page.locator("#volts").fill("x")
    expect(page.locator("#problems")).to_contain_text("“x”")
    expect(page.locator("#trouble")).to_be_empty()


@pytest.mark.parametrize(("path", "field"), LIVE_FORMS)
def test_what_is_to_be_mended_is_announced(open_page: Opener, site: str, path: str, field: str) -> None:
    page = open_page(f"{site}{path}")
    page.locator(field).first.fill("x")
    page.locator(field).first.blur()
    expect(page.get_by_role("alert").filter(has_text="“x”")).to_be_visible()


def test_a_turned_page_draws_its_charts_the_other_way(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/charge")
    page.wait_for_selector(DRAWN)
    height = "document.querySelector('#reached .plot svg').getBoundingClientRect().height"
    wide = page.evaluate(height)
    page.set_viewport_size({"width": 390, "height": 800})
    until(page, lambda: page.evaluate(height) < wide)
    page.set_viewport_size({"width": 1280, "height": 900})
    until(page, lambda: page.evaluate(height) == wide)


@pytest.mark.parametrize("pointed", [True, False])
def test_a_choice_goes_by_itself_for_the_pointer_alone(open_page: Opener, site: str, pointed: bool) -> None:
    page = open_page(f"{site}/charge")
    bank = page.locator("select[data-go]")
    first, second = bank.locator("option").evaluate_all("all => all.map((one) => one.value)")
    assert bank.input_value() == first
    if pointed:
        bank.dispatch_event("pointerdown")
        bank.select_option(second)
        expect(page).to_have_url(re.compile(f"bank={second}"))
        return
    bank.focus()
    page.keyboard.press("ArrowDown")
    expect(bank).to_have_value(second)
    page.wait_for_timeout(300)
    assert page.url == f"{site}/charge"
    page.keyboard.press("Tab")
    expect(page.get_by_role("button", name="Take this bank")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile(f"bank={second}"))


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


@pytest.mark.parametrize(
    ("path", "field", "typed"),
    [("/today", "#charge", "x"), ("/size", "#days", "three"), ("/off", "#until", "soonish")],
)
@pytest.mark.parametrize("by", ["Enter", "a rest"])
def test_what_is_to_mend_is_shown_on_enter_and_after_a_rest(
    open_page: Opener, site: str, path: str, field: str, typed: str, by: str
) -> None:
    page = open_page(f"{site}{path}")
    was = page.input_value(field)
    page.fill(field, typed)
    if by == "Enter":
        page.press(field, "Enter")
    said = page.get_by_role("alert").filter(has_text=f"“{typed}”")
    expect(said).to_be_visible()
    expect(page.locator(field)).to_be_focused()
    expect(page.locator(field)).to_have_attribute("aria-invalid", "true")
    described = (page.locator(field).get_attribute("aria-describedby") or "").split()
    assert any(f"“{typed}”" in (page.locator(f"[id='{one}']").text_content() or "") for one in described)
    page.fill(field, was)
    expect(page.locator(field)).not_to_have_attribute("aria-invalid", "true")
    for one in (page.locator(field).get_attribute("aria-describedby") or "").split():
        expect(page.locator(f"[id='{one}']")).to_have_count(1)
