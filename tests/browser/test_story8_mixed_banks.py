"""Story 8, mixed banks: a stop with its reason on one bus; both answered on two inverters, or where they may share."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from engine.house import household
from engine.house.bank import Bank
from tests.engine.test_bus import LEAD, LFP, SODIUM, house_of

Opener = Callable[..., Page]


def written(tmp_path: Path, document: dict[str, Any]) -> Path:
    path = tmp_path / "two.json"
    path.write_text(json.dumps(document | {"name": "Two banks", "example": False}), encoding="utf-8")
    return path


@pytest.fixture
def today_of(serve: Callable[..., str], open_page: Opener, tmp_path: Path) -> Callable[..., Page]:
    """Today of a household in which some banks share one bus."""

    def opened(*banks: Bank) -> Page:
        return open_page(f"{serve(written(tmp_path, household.write(house_of(*banks))))}/today?sky=none")

    return opened


def test_lfp_and_lead_acid_on_one_bus_are_a_stop_with_reason_and_volts(today_of: Callable[..., Page]) -> None:
    page = today_of(LFP, LEAD)
    stop = page.locator("#answer .note.stop")
    expect(stop).to_contain_text("may not share the DC bus")
    expect(stop).to_contain_text(re.compile(r"Only \d+\.\d to \d+\.\d V suit them all"))
    expect(page.locator("#answer h1")).to_have_text("No answer: this must not be joined.")
    page.get_by_role("link", name="Look over the banks").click()
    expect(page.locator(".note.stop").first).to_contain_text("may not share the DC bus")


def test_on_separate_inverters_both_are_answered(serve: Callable[..., str], open_page: Opener, tmp_path: Path) -> None:
    document = household.write(house_of(LFP))
    second = document["inverters"][0] | {"id": "second", "name": "Second inverter"}
    document["inverters"].append(second)
    document["banks"].append(household.write(house_of(LEAD))["banks"][0] | {"inverter": "second"})
    page = open_page(f"{serve(written(tmp_path, document))}/today?sky=none")
    expect(page.locator("#answer h2.each")).to_have_text(["LFP bank", "Lead-acid bank"])
    expect(page.locator("#answer .note.stop")).to_have_count(0)


def test_lfp_and_sodium_ion_share_where_all_four_conditions_hold(today_of: Callable[..., Page]) -> None:
    page = today_of(LFP, SODIUM)
    expect(page.locator("#answer [role=status]")).to_contain_text("LFP bank and Sodium-ion bank")
    rows = page.locator("table.bus tbody tr")
    expect(rows).to_have_count(2)
    shares = [int(row.locator("td").nth(2).inner_text().rstrip("%\u00a0 ")) for row in rows.all()]
    assert abs(sum(shares) - 100) <= 1
    expect(page.locator("#answer")).to_contain_text("out of reach")


def test_one_condition_that_fails_is_a_stop(today_of: Callable[..., Page]) -> None:
    page = today_of(LFP, dataclasses.replace(SODIUM, own_disconnect=False))
    expect(page.locator("#answer .note.stop")).to_contain_text("has no disconnect of its own")
