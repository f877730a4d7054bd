"""The care of cells: full charges, volts, equalising, water, freezing, air and cold limits, against sums by hand."""

from __future__ import annotations

import dataclasses
import json
from datetime import date, datetime, timedelta

import numpy as np
import pytest

from engine.answers.answer import Notice
from engine.answers.care import Care, care
from engine.answers.care_bank import LeadCare, cold_limit, equalise
from engine.answers.care_full import absorbing
from engine.answers.coming import Coming, coming
from engine.answers.notices import household_notices
from engine.answers.starting import starting
from engine.balance.step import plant
from engine.cells import catalogue
from engine.cells.hold import taper
from engine.errors import InputError
from engine.house import household
from engine.house.cold import cold_limit_stated, is_lead, takes_none
from engine.house.household import Household
from engine.json_answer import json_text
from engine.sky.days import Sky, parse_sky
from engine.sources import Source
from tests.conftest import SMALL_HOUSE
from tests.engine.plants import IDEAL, bank, inverter

AT = datetime(2026, 5, 25, 18, 0)
GENERATOR = {
    "id": "gen",
    "name": "Generator",
    "inverter": "main",
    "rated_w": 3000,
    "charger_w": 2000,
    "full_l_per_h": 1.2,
    "idle_l_per_h": 0.4,
    "start_soc": 0.5,
    "stop_soc": 0.8,
}


def house(
    chemistry: str = "lead_flooded", generator: bool = False, load_w: float = 100.0, **changes: object
) -> Household:
    """A lead-acid bank of 24 cells and 400 Ah with 6.2 kW of panels, or another."""
    document = json.loads(json.dumps(SMALL_HOUSE))
    lead = {"chemistry": chemistry, "series": 24, "parallel": 1, "label_ah": 400.0, "board": None, "hold": True}
    document["banks"][0].update(lead | {"cell_c": 25.0, "reserve_soc": 0.5} | changes)
    document["inverters"][0]["dc_max_v"] = 66.0
    document["loads"] = [{"id": "base", "name": "Base", "kind": "steady", "values": {"power_w": load_w}}]
    document["generators"] = [GENERATOR] if generator else []
    return household.read(document)


def days(home: Household, text: str = "bright,bright,bright", soc: float = 0.6) -> tuple[tuple[Coming, ...], Sky]:
    sky = parse_sky(text, home.site, home.sun, AT.month, 5)
    return coming(home, {bank.id: soc for bank in home.banks}, sky, AT)[1], sky


def answer(home: Household, text: str = "bright,bright,bright", soc: float = 0.6, last_on: date | None = None) -> Care:
    return care(*days(home, text, soc), last_on)


def lead(found: Care) -> LeadCare:
    (one,) = found.banks
    assert one.lead is not None
    return one.lead


def codes(notices: tuple[Notice, ...]) -> dict[str, str]:
    return {notice.code: notice.level for notice in notices}


def test_days_since_are_counted_from_the_day_told() -> None:
    """15 to 25 May are 10 days; the next was due on the 22nd."""
    found = answer(house(), last_on=date(2026, 5, 15))
    full = lead(found).full
    assert (full.days_since, full.due_on) == (10, date(2026, 5, 22))
    assert codes(found.notices)["not-full-lately"] == "check"


def test_a_week_is_soon_enough_and_nothing_told_is_said() -> None:
    assert "not-full-lately" not in codes(answer(house(), last_on=date(2026, 5, 18)).notices)
    assert codes(answer(house()).notices)["full-unknown"] == "note"
    assert "full-unknown" not in codes(answer(house(), last_on=date(2026, 5, 18)).notices)


@pytest.mark.parametrize("day", [date(2026, 5, 26), date(1999, 12, 31)])
def test_a_day_to_come_and_one_long_ago_are_refused(day: date) -> None:
    with pytest.raises(InputError, match="Last full on must be a day from 2000-01-01 to 2026-05-25") as caught:
        answer(house(), last_on=day)
    assert caught.value.field == "full"


def test_bright_days_fill_it_when_the_trajectory_says_so() -> None:
    (one,), sky = days(house())
    full = lead(care((one,), sky)).full
    course = one.run()
    assert full.full_at_h is not None
    before = course.soc[course.hours < full.full_at_h - 1e-9]
    assert float(before.max()) < 0.975 <= float(np.interp(full.full_at_h, course.hours, course.soc)) + 1e-6
    assert full.absorb_h > 0.0
    assert not full.run_due


def test_dark_days_never_fill_it_and_give_no_hour() -> None:
    found = answer(house(), "none")
    full = lead(found).full
    assert full.full_at_h is None
    assert full.absorb_h == full.held_h == full.best_day_h == 0.0
    assert codes(found.notices)["full-run-due"] == "check"


def test_the_sun_is_waited_for_two_days_however_late_it_is() -> None:
    soon = lead(answer(house(), last_on=date(2026, 4, 1))).full
    assert soon.full_at_h is not None
    assert soon.full_at_h <= 48.0
    assert not soon.run_due


def test_a_full_bank_is_full_now() -> None:
    full = lead(answer(house(), soc=0.98, last_on=date(2026, 1, 1))).full
    assert full.full_at_h == 0.0
    assert full.missing_kwh == 0.0
    assert not full.run_due


def test_the_last_part_takes_hours_whatever_the_current() -> None:
    """Acceptance alone, (1 − s) / 2 h, from 80 to 98 %: 2 h × ln(0.2 / 0.02) = 4.6 h were every Ah kept.

    The curve keeps 0.90 to 0.50 of them up there, so it takes 5.1 to 9.2 h. More current only begins it sooner.
    """
    slow = lead(answer(house(charge_limit_a=40.0))).full
    fast = lead(answer(house(charge_limit_a=60.0))).full
    assert 4.6 / 0.90 < slow.finish_h < 4.6 / 0.50
    assert slow.finish_from_soc == pytest.approx(0.8)
    assert slow.full_soc == pytest.approx(0.98)
    assert fast.finish_from_soc == pytest.approx(0.7)
    shared = taper(catalogue.load("lead_flooded"), 2.4, 0.15, 0.01)
    from_80_h = float(shared.hours[-1] - np.interp(0.8, shared.soc, shared.hours))
    assert slow.finish_h == pytest.approx(from_80_h, rel=1e-3)


def test_what_is_missing_is_put_in_over_the_efficiency() -> None:
    """From 60 to 80 % the flooded curve keeps 0.97 and less; 152 Ah kept need more than 157 and less than 276 Ah."""
    full = lead(answer(house())).full
    assert 0.38 * 400 / 0.97 < full.missing_ah < 0.38 * 400 / 0.55
    assert full.missing_kwh == pytest.approx(full.missing_ah * 2.4 * 24 / 1000.0)


def test_a_generator_run_fills_it_and_its_fuel_lies_on_its_line() -> None:
    """Litres between no load and full load for the hours it runs."""
    found = answer(house(generator=True), "none", last_on=date(2026, 5, 20))
    run = lead(found).full.run
    assert run is not None
    assert run.reaches
    assert run.end_soc >= 0.975 - 1e-6
    assert run.hours % 0.25 == pytest.approx(0.0)
    assert 0.4 * run.hours < run.litres < 1.2 * run.hours
    assert run.hours >= 0.8 * lead(found).full.finish_h


def test_quiet_hours_are_kept_and_a_window_too_short_is_told() -> None:
    document = household.write(house(generator=True))
    document["generators"][0] |= {"quiet_from_h": 12, "quiet_to_h": 10}
    run = lead(answer(household.read(document), "none")).full.run
    assert run is not None
    assert not run.reaches
    # asked at six by standard time; quiet until ten by the clock on the wall of May, an hour ahead
    assert run.start_h == pytest.approx(15.0)
    assert run.hours == pytest.approx(2.0)


def test_no_hold_never_fills_it() -> None:
    found = answer(house(hold=False))
    assert not lead(found).full.fills
    assert codes(found.notices)["never-full"] == "check"


@pytest.mark.parametrize(("soc", "spare_w", "at_volts"), [(0.9, 500.0, True), (0.9, 0.0, False), (0.5, 500.0, False)])
def test_absorbing_is_taking_less_than_the_sun_gives_near_the_top(soc: float, spare_w: float, at_volts: bool) -> None:
    """At 50 % the acceptance, 0.5 / 2 h = 0.25C, is above the highest current, 0.15C: that holds it back."""
    one = bank("lead_flooded", reserve_soc=0.5)
    p = plant(one, inverter(), 100.0)
    assert absorbing(p, np.array([soc, soc + 0.01]), np.array([spare_w])).tolist() == [at_volts]


@pytest.mark.parametrize(("cell_c", "pack_v"), [(25.0, 57.6), (5.0, 59.52), (40.0, 56.16)])
def test_volts_by_temperature(cell_c: float, pack_v: float) -> None:
    """2.40 V × 24 = 57.6 V; 4 mV × 24 × 20 K = 1.92 V more when cold, 4 mV × 24 × 15 K = 1.44 V less when hot."""
    assert lead(answer(house(cell_c=cell_c))).volts.here_pack_v == pytest.approx(pack_v)


def test_a_charge_above_what_the_kind_is_usually_given_is_a_check() -> None:
    assert codes(answer(house("lead_gel", charge_v=2.39)).notices)["over-usual-volts"] == "check"
    assert "over-usual-volts" not in codes(answer(house("lead_gel", charge_v=2.35)).notices)
    assert codes(answer(house("lead_gel", charge_v=2.35, cell_c=40.0)).notices)["over-when-warm"] == "check"


def test_gel_does_not_take_the_volts_of_the_others() -> None:
    with pytest.raises(InputError, match=r"at most 2\.4 V per cell for Lead-acid, gel"):
        house("lead_gel", charge_v=2.42)


def test_a_charge_above_the_end_of_its_kind_is_a_stop() -> None:
    """A bank that says so is not read; one whose cells were told lower later is still told."""
    home = house("lead_sealed", charge_v=2.45)
    low = dataclasses.replace(catalogue.load("lead_sealed"), v_max=2.42)
    (old,) = home.banks
    object.__setattr__(old, "chemistry", low)
    assert codes(answer(home).notices)["over-kind"] == "stop"


@pytest.mark.parametrize(("dc_max_v", "fits"), [(60.0, False), (66.0, True)])
def test_equalising_is_held_against_the_inverter(dc_max_v: float, fits: bool) -> None:
    """2.58 V × 24 = 61.92 V."""
    charge = equalise(bank("lead_flooded"), inverter(dc_max_v=dc_max_v))
    assert charge is not None
    assert charge.here_pack_v == pytest.approx(61.92)
    assert charge.fits is fits


def test_equalising_above_the_inverter_is_a_stop_and_only_flooded_cells_are() -> None:
    document = household.write(house())
    document["inverters"][0]["dc_max_v"] = 60.0
    assert codes(answer(household.read(document)).notices)["equalise-over-inverter"] == "stop"
    for other in ("lead_sealed", "lead_gel"):
        one = lead(answer(house(other)))
        assert (one.equalise, one.water) == (None, None)


def test_cold_asks_for_volts_that_the_inverter_does_not_bear() -> None:
    """At −5 °C (2.4 + 0.12) × 24 = 60.48 V on an inverter of 60 V, for which the set 57.6 V is fine."""
    document = household.write(house(cell_c=-5.0))
    document["inverters"][0]["dc_max_v"] = 60.0
    assert codes(answer(household.read(document)).notices)["compensated-over-inverter"] == "stop"


def test_water_goes_by_the_hours_at_the_top() -> None:
    """24 × 400 Ah × (20 mA × h + 5 mA × h) × 0.336 g; a fifth of that is usual."""
    found = lead(answer(house()))
    assert found.water is not None
    amp_hours = 24 * 400 * (0.020 * found.full.absorb_h + 0.005 * found.full.held_h)
    assert found.water.high_g == pytest.approx(amp_hours * 0.336, rel=1e-3)
    assert found.water.low_g == pytest.approx(found.water.high_g / 5.0)
    assert found.water.low_l_per_month == pytest.approx(found.water.low_g / 1000 / found.water.days * 30.4)


@pytest.mark.parametrize(("cell_c", "level"), [(-12.0, "stop"), (-9.0, "check"), (0.0, None)])
def test_acid_that_freezes_is_a_stop(cell_c: float, level: str | None) -> None:
    """At 5 % the density is 1.128 and the acid freezes at (18 − 0.56 × 13 − 32) / 1.8 = −11.8 °C."""
    found = codes(answer(house(cell_c=cell_c, reserve_soc=0.05), "none", soc=0.05).notices)
    assert found.get("acid-freezes", found.get("acid-near-freezing")) == level


@pytest.mark.parametrize(("cell_c", "level"), [(-35.0, "stop"), (-26.0, "check"), (0.0, None)])
def test_acid_that_freezes_at_the_reserve_is_told_on_every_page_whatever_the_charge(
    cell_c: float, level: str | None
) -> None:
    """At 62.5 % the density is 1.2075, between 1.200 (−17 °F) and 1.225 (−35 °F): −22.4 °F, −30.2 °C."""
    found = codes(household_notices(house(cell_c=cell_c, reserve_soc=0.625, reserve_v=None), 5))
    assert found.get("acid-freezes", found.get("acid-near-freezing")) == level


def test_frozen_acid_takes_no_charge_by_sun_or_generator_and_stays_frozen() -> None:
    """At 10 % the density is 1.136 and the acid freezes at (18 − 0.72 × 13 − 32) / 1.8 = −13.0 °C."""
    cold = house(generator=True, cell_c=-14.0, reserve_soc=0.3)
    assert not takes_none(cold.banks[0])
    for soc, taken in ((0.1, False), (0.4, True)):
        (one,), _ = days(cold, soc=soc)
        run = one.run(generator=cold.generators[0])
        assert (float(run.soc.max()) > soc + 0.01) is taken
        assert starting(one, AT + timedelta(days=2)).cold is not taken


def test_a_line_of_our_own_for_cold_cells_is_among_the_assumptions() -> None:
    assert "Whole charge current from" not in {one.name for one in answer(house()).assumptions}
    board = {"cell_low_v": 2.5, "cell_high_v": 3.65, "charge_min_c": 0.0, "current_limit_a": 200.0}
    lithium = house("lfp", series=16, board=board)
    (line,) = [one for one in answer(lithium).assumptions if one.name == "Whole charge current from"]
    assert (line.value, line.kind) == ("10 °C on", "assumed")


def test_a_charge_is_told_for_its_own_bank_alone() -> None:
    document = household.write(house())
    document["inverters"].append(document["inverters"][0] | {"id": "two", "name": "Two"})
    document["banks"].append(document["banks"][0] | {"id": "more", "name": "More", "inverter": "two"})
    home = household.read(document)
    found, sky = days(home)
    told = {one.bank_id: one.told for one in care(found, sky, told={"more"}).banks}
    assert told == {home.banks[0].id: False, "more": True}


def test_air_is_summed_over_the_banks() -> None:
    """0.05 × 24 × 20 × 400 / 1000 = 9.6 m³/h; two banks beside each other 19.2 m³/h through 537.6 cm²."""
    document = household.write(house())
    document["banks"].append(document["banks"][0] | {"id": "more", "name": "More"})
    found = answer(household.read(document))
    assert len(found.banks) == 2
    assert all(one.lead is not None and one.lead.air is not None for one in found.banks)
    assert found.air_m3_h == pytest.approx(19.2)
    assert found.air_cm2 == pytest.approx(537.6)


def test_cells_that_do_not_say_their_gas_have_no_air() -> None:
    old = dataclasses.replace(
        catalogue.load("lead_flooded"),
        gas_float_ma_per_ah=None,
        gas_boost_ma_per_ah=None,
        equalise_v=None,
        waters=False,
    )
    document = household.write(house())
    document["banks"][0]["chemistry"] = json.loads(json_text(old))
    for new in ("gas_float_ma_per_ah", "gas_boost_ma_per_ah", "equalise_v", "waters"):
        del document["banks"][0]["chemistry"][new]
    found = answer(household.read(document))
    assert lead(found).air is None
    assert found.air_m3_h is None
    assert codes(found.notices)["gas-unstated"] == "check"


def cold_house(cell_c: float, chemistry: str = "sodium_layered", **changes: object) -> Household:
    board = {"cell_low_v": 2.0, "cell_high_v": 4.1, "charge_min_c": -20.0, "current_limit_a": 200.0}
    if chemistry == "lfp":
        board |= {"cell_low_v": 2.6, "cell_high_v": 3.6}
    return house(
        chemistry, series=15, label_ah=200.0, board=board, hold=False, reserve_soc=0.1, cell_c=cell_c, **changes
    )


@pytest.mark.parametrize(("cell_c", "stops"), [(-5.0, True), (5.0, True), (9.9, True), (10.0, False), (25.0, False)])
def test_sodium_without_a_stated_limit_is_a_stop_when_cold(cell_c: float, stops: bool) -> None:
    home = cold_house(cell_c)
    found = answer(home)
    assert (codes(found.notices).get("cold-limit-unstated") == "stop") is stops
    told = [one for one in household_notices(home, 5) if one.code == "cold-limit-unstated"]
    assert [(one.level, one.page) for one in told] == ([("stop", "banks")] if stops else [])
    if not stops:
        assert codes(found.notices)["cold-limit-not-stated"] == "note"


def test_no_number_stands_in_for_what_is_not_stated() -> None:
    """LFP's 20 A at 0 °C and 100 A from 10 °C on, of 200 Ah, must not be seen below 10 °C; at 4 °C they are 52 A."""
    (one,) = answer(cold_house(4.0)).banks
    assert one.cold is not None
    assert (one.cold.stated, one.cold.now_a) == (False, None)
    assert [amps for _, amps in one.cold.rows] == [None, None, 100.0]
    (iron,) = answer(cold_house(4.0, "lfp")).banks
    assert iron.cold is not None
    assert iron.cold.now_a == pytest.approx(20.0 + 0.4 * 80.0)


def test_a_stated_current_is_a_line_and_says_nothing_of_colder_cells() -> None:
    """20 A at 0 °C and 100 A from 10 °C on: 60 A at 5 °C; below 0 °C nobody has said."""
    stated = cold_house(5.0, cold_charge_a=20.0)
    (one,) = answer(stated).banks
    assert one.cold is not None
    assert one.cold.now_a == pytest.approx(60.0)
    assert "cold-limit-unstated" not in codes(answer(stated).notices)
    assert "cold-limit-unstated" not in codes(household_notices(stated, 5))
    colder = answer(cold_house(-5.0, cold_charge_a=20.0))
    assert codes(colder.notices)["colder-than-stated"] == "stop"


def test_lfp_without_a_cold_current_is_a_check_when_cold() -> None:
    found = answer(cold_house(5.0, "lfp")).notices
    (said,) = [notice for notice in found if notice.code == "cold-current-not-entered"]
    assert said.level == "check"
    assert "A are counted, on a line from 0.1C at 0 °C" in said.text
    assert "cold-current-not-entered" not in codes(answer(cold_house(12.0, "lfp")).notices)
    assert "cold-limit-unstated" not in codes(household_notices(cold_house(5.0, "lfp"), 5))


def test_a_measured_sodium_cell_without_a_source_goes_by_the_catalogues() -> None:
    own = dataclasses.replace(catalogue.load("sodium_layered"), id="sodium_layered/mine", sources={})
    assert not cold_limit_stated(bank(own, series=15))
    sure = {"charge_min_c": Source(kind="published", text="the maker's sheet, page 3")}
    assert cold_limit_stated(bank(dataclasses.replace(own, sources=sure), series=15))
    assert cold_limit_stated(bank(IDEAL))


def test_lead_is_told_from_cells_with_a_board() -> None:
    kinds = {id: is_lead(bank(id)) for id in catalogue.names()}
    assert {id for id, is_it in kinds.items() if is_it} == {"lead_flooded", "lead_sealed", "lead_gel"}


def test_every_bank_has_either_kind_of_care_and_the_worst_comes_first() -> None:
    document = household.write(house())
    other = household.write(cold_house(4.0))["banks"][0]
    document["inverters"].append(document["inverters"][0] | {"id": "two", "name": "Two"})
    document["banks"].append(other | {"id": "sodium", "name": "Sodium", "inverter": "two"})
    found = answer(household.read(document), "none")
    assert [one.lead is None for one in found.banks] == [False, True]
    assert [one.cold is None for one in found.banks] == [True, False]
    levels = [notice.level for notice in found.notices]
    assert levels == sorted(levels, key=("stop", "check", "note").index)
    assert json.loads(json_text(found))["banks"][1]["cold"]["now_a"] is None


def test_worked_lines_give_what_the_answer_says() -> None:
    found = answer(house())
    rows = {row.label: row.value for row in found.worked}
    assert rows["Air while charged"] == pytest.approx(9.6)
    assert rows["Opening"] == pytest.approx(268.8)
    assert rows["Absorption volts at 25 °C"] == pytest.approx(57.6)
    assert rows["Hours to finish"] == lead(found).full.finish_h


def test_a_cold_limit_is_that_of_the_bank() -> None:
    assert cold_limit(bank("lfp", cold_charge_a=14.0, cell_c=5.0)).now_a == pytest.approx(77.0)


def test_equalising_volts_below_the_daily_charge_are_refused() -> None:
    with pytest.raises(InputError, match=r"at least the daily charge volts, 2\.4 V per cell; got 2\.3 V") as caught:
        dataclasses.replace(catalogue.load("lead_flooded"), equalise_v=2.3)
    assert caught.value.field == "equalise_v"
