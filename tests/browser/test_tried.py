"""A size tried while one looks: how far it is, its result, and a choice that no late answer overtakes."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Error, Page, Route, expect

from tests.browser.looking import faults

Opener = Callable[..., Page]

pytestmark = pytest.mark.browser


def test_progress_is_seen_before_the_result(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/winters")
    now = page.locator("#tried-now")
    expect(now.locator("progress")).to_be_visible(timeout=60_000)
    expect(now).to_contain_text("tried, between", timeout=120_000)
    spoken = page.locator("#tried-said")
    expect(spoken).to_have_text("A size is being tried on the full cell model.")
    spoken.evaluate("(e) => { e.stayed = true; }")
    expect(now).to_contain_text("found to within half a percent", timeout=240_000)
    expect(now.locator("tbody tr")).to_have_count(2)
    expect(now.locator("progress")).to_have_count(0)
    expect(spoken).to_contain_text("By the full cell model “1 in 10 years” takes")
    assert spoken.evaluate("(e) => e.stayed")
    assert faults(page) == []


def test_no_answer_about_the_last_choice_stands_under_a_new_one(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/today")
    held: list[Route] = []
    page.route(
        re.compile("/winters/tried.*times="), lambda route: held.append(route) if len(held) < 2 else route.continue_()
    )
    page.goto(f"{site}/winters")
    now = page.locator("#tried-now")
    expect(now.locator("progress")).to_be_visible(timeout=60_000)
    page.wait_for_timeout(1200)
    page.select_option("#times", "3")
    page.wait_for_timeout(300)
    assert [route.request.url.rsplit("times=")[-1] for route in held] == ["1", "3"]
    for route in held:
        with contextlib.suppress(Error):
            route.continue_()
        page.wait_for_timeout(500)
    expect(now).to_contain_text("3 times your panels", timeout=240_000)
    expect(page.locator("#times")).to_have_value("3")


def test_the_button_tries_it_without_leaving_the_page(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/winters")
    expect(page.locator("#tried-now progress")).to_be_visible(timeout=60_000)
    page.select_option("#risk", "1in5")
    page.locator("#tried button").click()
    expect(page.locator("#tried-now")).to_contain_text("“1 in 5 years”", timeout=240_000)
    assert page.url.endswith("/winters")


def test_a_phone_without_scripts_gets_the_result_on_a_page_of_its_own(open_page: Opener, site: str) -> None:
    options = {"viewport": {"width": 360, "height": 740}, "java_script_enabled": False}
    page = open_page(f"{site}/winters/tried?risk=1in5&times=3", **options)
    now = page.locator("#tried-now")
    expect(now).to_contain_text("full cell model")
    while now.get_by_text("Look again").count():
        now.get_by_text("Look again").click()
    expect(now).to_contain_text("3 times your panels")
    page.select_option("#times", "2")
    page.get_by_role("button", name="Try it").click()
    expect(page.locator("#times")).to_have_value("2")
