"""A house's own meter: a file with a counter that was set back, looked over, accepted, deleted and brought back."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.bringing import bring_to
from tests.browser.conftest import Opener
from tests.browser.looking import NARROW, fits
from tests.web.meter_files import A_DAY, meter_csv


@pytest.fixture
def site(serve: Callable[..., str], tmp_path: Path, small_house: dict[str, Any]) -> str:
    """A server with the small household open."""
    path = tmp_path / "household.json"
    path.write_text(json.dumps(small_house), encoding="utf-8")
    return serve(path)


def test_a_counter_that_was_set_back_is_seen_and_a_deleted_file_comes_back(
    open_page: Opener, site: str, tmp_path: Path
) -> None:
    page = open_page(site, viewport=NARROW)
    bring_to(page, f"{site}/log", tmp_path, meter_csv(20, reset=3000), "Shed.csv")
    expect(page.locator("[role=status]")).to_contain_text("hold yield, load at the sockets and volts of the bank")
    expect(page.locator("table.reads tbody tr")).to_have_count(4)
    expect(page.get_by_label("How “Load total [kWh]” counts")).to_have_value("ever")
    fits(page)
    page.get_by_role("button", name="Yes, read it like this").click()
    expect(page.locator(".sentence")).to_contain_text("20 days of yield")
    expect(page.locator(".note.check")).to_contain_text("“Load total [kWh]” was set back once")
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    expect(page.locator(".plot.drawn")).to_have_count(1)
    fits(page)
    before = page.request.get(f"{site}/log.json").json()
    assert before["rows"] == 20 * A_DAY
    page.get_by_role("button", name="Delete it").click()
    expect(page.locator("#deleted")).to_contain_text("Shed")
    assert page.request.get(f"{site}/log.json").json()["rows"] == 0
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".sentence")).to_contain_text("20 days of yield")
    assert page.request.get(f"{site}/log.json").json() == before
    page.goto(f"{site}/log")
    fits(page)


def test_what_was_measured_is_held_against_the_model_day_by_day(open_page: Opener, site: str, tmp_path: Path) -> None:
    page = open_page(site, viewport=NARROW)
    bring_to(page, f"{site}/log", tmp_path, meter_csv(20), "Shed.csv")
    page.get_by_role("button", name="Yes, read it like this").click()
    page.goto(f"{site}/log")
    page.get_by_role("link", name="Measured against predicted").click()
    expect(page.locator(".sentence").first).to_contain_text("Over 20 days the panels gave")
    expect(page.locator(".figures")).to_contain_text("A day’s yield is out by")
    page.wait_for_selector("html[data-charts=drawn]", state="attached")
    expect(page.locator(".plot.drawn")).to_have_count(2)
    fits(page)
    # 3 kW at noon, as a half sine of twelve hours: 72 / pi = 22.9 kWh a day; 0.5 kW all day: 12 kWh.
    found = page.request.get(f"{site}/log/compared.json").json()
    assert found["yields"]["errors"]["measured_kwh"] == pytest.approx(72.0 / math.pi, rel=1e-3)
    assert found["loads"][0]["errors"]["measured_kwh"] == pytest.approx(12.0, rel=1e-3)
    page.fill("#from", "2024-01-20")
    page.fill("#to", "2024-01-18")
    page.get_by_role("button", name="Compare").click()
    expect(page.locator(".summary")).to_be_visible()
    expect(page.locator("#from")).to_have_value("2024-01-20")


def test_a_value_of_the_log_is_used_by_a_press_and_undo_restores(open_page: Opener, site: str, tmp_path: Path) -> None:
    page = open_page(f"{site}/today", viewport=NARROW)
    said = page.locator("#answer [role=status]").first.text_content() or ""
    bring_to(page, f"{site}/log", tmp_path, meter_csv(20), "Shed.csv")
    page.get_by_role("button", name="Yes, read it like this").click()
    page.goto(f"{site}/log")
    page.get_by_role("link", name="Learn").click()
    # The counter of the file rises by 12 kWh each day.
    card = page.locator("#learnt-loads")
    expect(card).to_contain_text("12.0 kWh")
    fits(page)
    card.get_by_role("button", name="Use this value").click()
    expect(page.locator("#used")).to_contain_text("12.0 kWh")
    page.goto(f"{site}/today")
    expect(page.locator("#answer [role=status]").first).not_to_have_text(said)
    page.goto(f"{site}/loads")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#saved p").first).to_have_text(re.compile("undid"))
    page.goto(f"{site}/today")
    expect(page.locator("#answer [role=status]").first).to_have_text(said)


@pytest.mark.parametrize("scripts", [True, False])
def test_a_long_file_shows_its_progress_and_goes_on_to_what_it_holds(
    open_page: Opener, site: str, tmp_path: Path, scripts: bool
) -> None:
    page = open_page(f"{site}/log", java_script_enabled=scripts)
    bring_to(page, f"{site}/log", tmp_path, meter_csv(120), "Long.csv")
    page.get_by_role("button", name="Yes, read it like this").click()
    page.wait_for_url(re.compile(r"/log/\d+(/reading\?.*)?$"))
    if not scripts:
        while page.get_by_role("link", name="Look again").count():
            page.get_by_role("link", name="Look again").click()
    expect(page.locator(".sentence")).to_contain_text("120 days of yield")
