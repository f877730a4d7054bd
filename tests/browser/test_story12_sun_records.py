"""Sun records: years of measured sunshine, or the panels' own days, brought, looked over and used, in a browser."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.bringing import bring_to
from tests.browser.conftest import Opener
from tests.browser.looking import NARROW, fits
from tests.web.sun_files import kc_of_years, radiation, roof_log


@pytest.fixture
def site(serve: Callable[..., str], tmp_path: Path, small_house: dict[str, Any]) -> str:
    """A server with the small household open."""
    path = tmp_path / "household.json"
    path.write_text(json.dumps(small_house), encoding="utf-8")
    return serve(path)


def test_twelve_measured_years_change_the_rainy_week_and_undo_restores(
    open_page: Opener, site: str, tmp_path: Path
) -> None:
    page = open_page(site)
    before = page.request.get(f"{site}/week.json").json()
    bring_to(page, f"{site}/records", tmp_path, radiation(kc_of_years(12)), "Hilltop.csv")
    expect(page.locator("[role=status]")).to_contain_text("12.0 years from 1 Jan 2010 to 31 Dec 2021")
    expect(page.locator("table.reads tbody tr")).to_have_count(2)
    page.get_by_role("button", name="Yes, read it like this").click()
    expect(page.locator(".sentence")).to_contain_text("The worst week of 1 year in 10")
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    expect(page.locator(".plot.drawn")).to_have_count(1)
    expect(page.locator("#use-sky")).to_contain_text("the month that gives least with it")
    page.get_by_role("button", name="Use it: Its months and its dull spells").click()
    expect(page.locator("#use [role=status]")).to_contain_text("now stand")
    page.goto(f"{site}/week")
    expect(page.locator("#answer")).to_contain_text("your file, 11 years")
    assert page.request.get(f"{site}/week.json").json()["contenders"] != before["contenders"]
    page.goto(f"{site}/records/1?used=sky")
    page.locator("#use").get_by_role("button", name="Undo").click()
    expect(page.get_by_role("button", name="Use it: Its months and its dull spells")).to_be_visible()
    assert page.request.get(f"{site}/week.json").json() == before


def test_the_whole_way_works_without_scripts(open_page: Opener, site: str) -> None:
    page = open_page(f"{site}/records", java_script_enabled=False)
    page.locator("#pasted").fill(roof_log(kc_of_years(1)))
    page.get_by_role("button", name="Look at it").click()
    page.get_by_label("yield kWh").select_option("value:Wh")
    page.get_by_role("button", name="Look again first").click()
    expect(page.locator("[role=status]")).to_contain_text("at most 0.0")
    page.get_by_label("yield kWh").select_option("value:kWh")
    page.get_by_role("button", name="Yes, read it like this").click()
    page.get_by_role("button", name="Use it: Its clear days").click()
    expect(page.locator("#use [role=status]")).to_be_visible()
    page.get_by_role("button", name="Take it out again: Its clear days").click()
    expect(page.get_by_role("button", name="Use it: Its clear days")).to_be_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_of_a_record_fits_a_phone(open_page: Opener, site: str, tmp_path: Path, scheme: str) -> None:
    page = open_page(f"{site}/records", viewport=NARROW, color_scheme=scheme)
    for content in (radiation(kc_of_years(5)), roof_log(kc_of_years(1))):
        bring_to(page, f"{site}/records", tmp_path, content, "sun.csv")
        fits(page)
        page.get_by_role("button", name="Yes, read it like this").click()
        expect(page.locator(".sentence")).to_be_visible()
        fits(page)
        page.locator("#use button").first.click()
        fits(page)
    page.goto(f"{site}/records")
    fits(page)
