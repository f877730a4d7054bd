"""The household card: thresholds by hand for household H, never a yes that a run does not bear out, and limits."""

from __future__ import annotations

import dataclasses
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from engine.answers.card import EXTRAS_KWH, Card, at_charge, card, with_extra
from engine.answers.coming import Coming, coming
from engine.house import household
from engine.house.generator import Generator
from engine.house.household import Household
from engine.sky.days import Sky, parse_sky

H = household.read((Path(__file__).resolve().parent.parent / "households" / "h.json").read_text(encoding="utf-8"))
THREE = household.read(
    (Path(__file__).resolve().parent.parent / "households" / "three_banks.json").read_text(encoding="utf-8")
)
DAY = datetime(2026, 12, 10, 9, 30)
EVENING = datetime(2026, 12, 10, 18, 0)
BANK_KWH = 16 * 280 * 3.2 / 1000.0
DRAW_KW = (300.0 / 0.93 + 40.0) / 1000.0
FINE = 0.8 / 2**12
"""The least step of the search over a window of 80 points."""
PETROL = Generator(
    id="g", name="Petrol set", rated_w=3000, charger_w=2000, full_l_per_h=1.6, idle_l_per_h=0.5, start_soc=0.3,
    stop_soc=0.8, quiet_from_h=22, quiet_to_h=7,
)  # fmt: skip


def sky_of(house: Household, text: str = "none") -> Sky:
    return parse_sky(text, house.site, house.sun, 12, 14)


def of_h(days: int = 1, text: str = "none", house: Household = H) -> Card:
    return card(house, DAY, days, sky_of(house, text))


def evening(house: Household, text: str = "none") -> Coming:
    return coming(house, {}, sky_of(house, text), EVENING)[1][0]


def test_without_sun_the_least_charges_are_those_of_a_pocket_calculator() -> None:
    """From 18:00 it is 16 h to 10:00 and 30 h to the end of one day; 1 kWh more takes 1 / 0.93 kWh of the bank."""
    supply = of_h().supply
    assert supply.floor_soc == pytest.approx(0.2)
    assert supply.night_soc == pytest.approx(0.2 + 16 * DRAW_KW / BANK_KWH, abs=FINE)
    assert supply.rides_soc == pytest.approx(0.2 + 30 * DRAW_KW / BANK_KWH, abs=FINE)
    one = next(extra for extra in supply.extras if extra.kwh == 1.0)
    assert one.night_soc == pytest.approx(0.2 + (16 * DRAW_KW + 1 / 0.93) / BANK_KWH, abs=FINE)
    five = next(extra for extra in supply.extras if extra.kwh == 5.0)
    assert five.from_soc is None
    assert 30 * DRAW_KW + 5 / 0.93 > 0.8 * BANK_KWH


def test_a_reading_lasts_as_long_as_story_2_says() -> None:
    """Household H at 80 %, reserve 20 %, no sun: 23.7 h."""
    hours = {reading.soc: reading.hours for reading in of_h(text="bright,bright").supply.readings}
    assert hours[0.8] == pytest.approx(0.6 * BANK_KWH / DRAW_KW, rel=1e-9)
    assert round(hours[0.8] or 0.0, 1) == 23.7
    assert min(hours) == 0.3


@pytest.mark.parametrize(("kwh", "rated_w"), [(0.1, 5000.0), (5.0, 5000.0), (3.3, 750.0)])
def test_what_is_plugged_in_takes_its_energy_beside_the_loads(kwh: float, rated_w: float) -> None:
    hours = dataclasses.replace(evening(H).given, first_h=0.25)
    more = with_extra(hours, kwh, rated_w)
    assert more is not None
    more_w = more.ac_w - hours.ac_w
    assert float(np.sum(more_w * hours.lengths_h)) == pytest.approx(kwh * 1000.0)
    assert float(more_w.max()) <= 2000.0 + 1e-9
    assert float(more.ac_w.max()) <= rated_w + 1e-9
    assert np.all(more_w >= 0.0)


def small_inverter(rated_w: float) -> Household:
    """Household H, 300 W of loads, with another inverter and six strings."""
    inverter, bank = H.inverters[0], dataclasses.replace(H.banks[0], parallel=6)
    return dataclasses.replace(H, inverters=(dataclasses.replace(inverter, rated_w=rated_w),), banks=(bank,))


def test_a_small_inverter_takes_longer_and_never_gives_less_than_was_asked() -> None:
    """500 W beside 300 W of loads leave 200 W: 3.2 kWh to ten o'clock, 6 kWh in the 30 hours."""
    supply = of_h(house=small_inverter(500.0)).supply
    night = {extra.kwh: extra.night_soc for extra in supply.extras}
    whole = {extra.kwh: extra.from_soc for extra in supply.extras}
    bank_kwh = 6 * BANK_KWH
    assert night[2.0] == pytest.approx(0.2 + (16 * DRAW_KW + 2 / 0.93) / bank_kwh, abs=FINE)
    assert night[5.0] is None
    assert whole[5.0] == pytest.approx(0.2 + (30 * DRAW_KW + 5 / 0.93) / bank_kwh, abs=FINE)
    assert all(extra.from_soc is None for extra in of_h(house=small_inverter(300.0)).supply.extras)


def test_the_most_at_once_is_what_board_and_cells_pass_when_the_bank_is_low() -> None:
    """30 A at the 40 V of the cut-off are 1,200 W; less 40 W idle and 7 % loss 1,078.8 W at the sockets."""
    board = H.banks[0].board
    assert board is not None
    weak = dataclasses.replace(H.banks[0], board=dataclasses.replace(board, current_limit_a=30.0))
    supply = of_h(house=dataclasses.replace(H, banks=(weak,))).supply
    assert supply.most_by == "bank"
    assert supply.most_w == pytest.approx((30 * 40 - 40) * 0.93)
    assert (of_h().supply.most_w, of_h().supply.most_by) == (5000.0, "inverter")


@pytest.mark.parametrize("text", ["none", "dark,dull,bright", "dull,dull,dull"])
@pytest.mark.parametrize("place", range(3))
def test_a_yes_is_borne_out_and_a_little_less_is_a_no(text: str, place: int) -> None:
    bank = THREE.supplies()[place].bank
    found = card(THREE, DAY, 2, sky_of(THREE, text), bank.id)
    one = coming(THREE, {}, sky_of(THREE, text), EVENING)[1][place]
    told = 0
    for extra in found.supply.extras:
        hours = with_extra(one.given, extra.kwh, one.supply.inverter.rated_w)
        assert hours is not None
        for soc, until_h in ((extra.from_soc, 54.0), (extra.night_soc, 16.0)):
            if soc is None:
                continue
            told += 1
            ended = at_charge(one, soc).run(hours, until_ended=True).ended_h
            assert ended is None or ended >= until_h - 1e-9
            if soc - 0.01 > found.supply.floor_soc:
                less = at_charge(one, soc - 0.01).run(hours, until_ended=True).ended_h
                assert less is not None
                assert less < until_h
    assert told >= 5


def test_the_dull_day_is_the_next_one_in_a_month_whose_evenings_are_light_too() -> None:
    """At 18:00 in June the sun shines on: a dull and then a bright day ride no better than two dull days."""
    june = datetime(2026, 6, 11, 9, 30)
    once, twice = (card(THREE, june, 1, sky_of(THREE, text)).supply for text in ("dark,bright,bright", "dark,dark"))
    assert once.rides_soc == twice.rides_soc
    assert [one.from_soc for one in once.extras] == [one.from_soc for one in twice.extras]
    assert once.rides_soc is not None
    bright = card(THREE, june, 1, sky_of(THREE, "bright,bright")).supply.rides_soc
    assert bright is not None
    assert bright < once.rides_soc


def test_a_day_under_snow_is_the_next_one_in_a_month_whose_evenings_are_light_too() -> None:
    """One day under snow that lies at the evening gives as much as a day without any sun."""
    june = datetime(2026, 6, 11, 9, 30)
    snowed = dataclasses.replace(THREE, sun=dataclasses.replace(THREE.sun, covered_days=1))
    rides = card(snowed, june, 1, sky_of(THREE, "bright,bright")).supply.rides_soc
    assert rides is not None
    assert rides == card(THREE, june, 1, sky_of(THREE)).supply.rides_soc


def test_more_energy_and_more_days_never_ask_for_less() -> None:
    before: list[float] = []
    for days in (1, 2, 3):
        supply = card(THREE, DAY, days, sky_of(THREE, "dull,dull,dull,dull")).supply
        asked = [np.inf if extra.from_soc is None else extra.from_soc for extra in supply.extras]
        assert asked == sorted(asked)
        nights = [np.inf if extra.night_soc is None else extra.night_soc for extra in supply.extras]
        assert all(night <= whole for night, whole in zip(nights, asked, strict=True))
        if before:
            assert all(now >= then for now, then in zip(asked, before, strict=True))
        before = asked
    assert [extra.kwh for extra in supply.extras] == list(EXTRAS_KWH)


def test_the_order_begins_with_what_gains_most_and_leaves_the_rest_on() -> None:
    supply = card(THREE, DAY, 1, sky_of(THREE, "dull,dull")).supply
    gains = [np.inf if load.gained_h is None else load.gained_h for load in supply.order]
    assert gains
    assert gains[0] == max(gains)
    assert not {load.name for load in supply.order} & set(supply.never_off)
    assert supply.order_soc == supply.rides_soc


def test_a_run_of_the_generator_begins_after_quiet_hours_and_takes_what_the_bank_lacks() -> None:
    """Half of 14.336 kWh at 2 kW less the inverter's 40 W; the generator carries the loads meanwhile."""
    start = of_h(house=dataclasses.replace(H, generators=(PETROL,))).supply.start
    assert start is not None
    assert start.run_h == pytest.approx(0.5 * BANK_KWH / 1.96, rel=1e-6)
    assert start.reached_soc == pytest.approx(0.8)
    given_wh = (300.0 + 2000.0 / 0.9) * start.run_h
    assert start.litres == pytest.approx(PETROL.litres(given_wh, start.run_h), rel=1e-6)
    loud = dataclasses.replace(PETROL, quiet_from_h=0, quiet_to_h=0)
    without = of_h(house=dataclasses.replace(H, generators=(loud,))).supply.start
    assert without is not None
    assert without.run_h == pytest.approx(start.run_h, rel=1e-6)


def test_banks_on_one_bus_are_read_at_one_charge() -> None:
    document = household.write(THREE)
    document["banks"] = [document["banks"][0], {**document["banks"][0], "id": "twin", "name": "Twin bank"}]
    shared = household.read(document)
    supply = card(shared, DAY, 1, sky_of(shared, "dull,dull")).supply
    assert supply.name == "House bank and Twin bank"
    assert supply.rides_soc is not None
    alone = card(THREE, DAY, 1, sky_of(THREE, "dull,dull")).supply.rides_soc
    assert alone is not None
    assert supply.rides_soc < alone


@pytest.mark.parametrize(("cell_c", "why"), [(-5.0, "below 0 °C"), (70.0, "above"), (15.0, "")])
def test_cells_that_must_not_be_charged_are_never_to_be_charged_by_the_generator(cell_c: float, why: str) -> None:
    (bank,), (inverter,) = H.banks, H.inverters
    cold = dataclasses.replace(bank, chemistry="lfp", cell_c=min(cell_c, 60.0), cold_charge_a=28.0)
    home = dataclasses.replace(H, banks=(cold,), generators=(dataclasses.replace(PETROL, inverter=inverter.id),))
    supply = of_h(house=home).supply
    assert why in supply.uncharged
    assert (supply.start is None) is bool(supply.uncharged)
    assert bool(supply.uncharged) is bool(why)
