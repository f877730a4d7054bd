"""Several banks on one bus are commissioned with one setting of the charger, which none of them is hurt by."""

from __future__ import annotations

import dataclasses

import pytest

from engine.answers.commissioning import BankSettings, Commissioning, commissioning
from engine.answers.commissioning_parts import ToSet
from engine.house.bank import Bank
from engine.house.bus import setting_v
from engine.house.household import Household
from tests.engine.test_bus import LEAD, LFP, SODIUM, house_of

TWIN = dataclasses.replace(LFP, id="twin", name="Twin", hold=True, charge_v=3.5)
LOWER = dataclasses.replace(SODIUM, charge_v=3.3)
HELD = dataclasses.replace(LFP, hold=True, charge_v=3.45)


def settings(*banks: Bank) -> tuple[Household, Commissioning]:
    home = house_of(*banks)
    return home, commissioning(home, home.supplies(), 12)


def rows(one: BankSettings) -> dict[str, ToSet]:
    return {row.key: row for row in one.rows}


def test_the_charger_is_set_once_to_the_lowest_of_the_banks() -> None:
    home, found = settings(LFP, LOWER)
    bus, *banks = found.banks
    lowest_v = min(setting_v(bank) for bank in home.banks)
    assert lowest_v < max(setting_v(bank) for bank in home.banks)
    assert rows(bus)["end"].pack_v == pytest.approx(lowest_v)
    assert bus.series is None
    for one, bank in zip(banks, home.banks, strict=True):
        own = rows(one)
        assert own["bus-end"].pack_v == pytest.approx(lowest_v)
        assert own["bus-end"].cell_v == pytest.approx(lowest_v / bank.series)
        assert not {"end", "hold", "tail", "float", "again", "cutoff", "restart", "charge-current"} & set(own)


def test_what_differs_between_the_banks_is_said_as_a_check() -> None:
    _, found = settings(LFP, LOWER)
    assert "bus-settings" in {notice.code for notice in found.notices}
    _, alike = settings(HELD, dataclasses.replace(TWIN, charge_v=3.45))
    assert "bus-settings" not in {notice.code for notice in alike.notices}


def test_the_weakest_bank_limits_all_chargers_together() -> None:
    strong, weak = dataclasses.replace(HELD, charge_limit_a=90.0), dataclasses.replace(TWIN, charge_limit_a=40.0)
    (bus, *_) = settings(strong, weak)[1].banks
    assert rows(bus)["charge-current"].value == 40.0


def test_one_bank_that_must_not_be_held_ends_the_hold_for_all() -> None:
    (bus, *_) = settings(HELD, dataclasses.replace(TWIN, hold=False))[1].banks
    assert rows(bus)["hold"].value == 0.0
    assert "tail" not in rows(bus)


def test_the_hold_is_the_shortest_and_the_tails_add_up() -> None:
    home, found = settings(HELD, TWIN)
    alone = [
        {row.key: row for row in commissioning(one, one.supplies(), 12).banks[0].rows}
        for one in (house_of(dataclasses.replace(bank, charge_v=3.45)) for bank in home.banks)
    ]
    bus = rows(found.banks[0])
    assert bus["tail"].value == pytest.approx(sum(one["tail"].value or 0.0 for one in alone))
    assert bus["hold"].value == pytest.approx(min(one["hold"].value or 0.0 for one in alone))


def test_a_hold_too_short_to_be_one_says_why() -> None:
    small = dataclasses.replace(TWIN, charge_limit_a=1.0, charge_v=3.45)
    bus = rows(settings(HELD, small)[1].banks[0])
    assert bus["hold"].value == 0.0
    assert "below its tail already" in bus["hold"].why
    assert bus["tail"].value is not None


def test_a_bank_says_what_it_would_have_alone() -> None:
    _, first, second = settings(LFP, LOWER)[1].banks
    assert "alone it would be charged to 55.2 V" in rows(first)["bus-end"].why
    assert "as set for it" in rows(second)["bus-end"].why


def test_volts_of_the_discharge_are_the_highest_of_the_banks() -> None:
    high = dataclasses.replace(TWIN, reserve_soc=0.5)
    low = dataclasses.replace(HELD, reserve_soc=0.1)
    bus, first, second = settings(low, high)[1].banks
    assert (first.bank_id, second.bank_id) == (low.id, high.id)
    one = rows(settings(high)[1].banks[0])["reserve"].pack_v
    other = rows(settings(low)[1].banks[0])["reserve"].pack_v
    assert one is not None
    assert other is not None
    assert one > other
    found = rows(bus)["reserve"].pack_v
    assert found is None or found == pytest.approx(one)


def test_banks_that_may_not_share_a_bus_are_a_stop_here_too() -> None:
    _, found = settings(LFP, LEAD)
    assert {"bus-clash"} <= {notice.code for notice in found.notices if notice.level == "stop"}
    assert all(one.series is not None for one in found.banks)
