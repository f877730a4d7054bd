"""Measured against predicted: logs of a known truth must give back what was changed in them, and name it."""

from __future__ import annotations

import dataclasses
from datetime import date, timedelta

import numpy as np
import pytest

from engine.answers.checking import Checking, checking
from engine.answers.checking_charge import RUN_DAYS
from engine.answers.checking_parts import CAPACITY, COVERED, DRIFT, FULL, IDLE, OFF, SHADE, UNIT, UNSEEN, WEATHER
from engine.errors import InputError, Unreachable
from engine.house.household import read
from engine.json_answer import json_text
from engine.meter.log import MeterLog, no_rows
from tests.engine.checked_logs import DAYS, FIRST, Truth, changed, document, rows, truth


def checked(found: Truth, *, sky: bool = True, **columns: object) -> Checking:
    log = changed(found.log, **columns) if columns else found.log  # type: ignore[arg-type]
    return checking(found.house, log, found.sky if sky else None)


def codes(answer: Checking) -> set[str]:
    return {one.code for one in answer.causes}


def test_a_house_as_entered_has_no_errors_and_no_cause() -> None:
    answer = checked(truth())
    assert truth().run.soc.max() < 0.95, "the bank of this test must never hold the panels back"
    assert answer.yields is not None
    assert answer.charge is not None
    assert answer.energy is not None
    assert (answer.first, answer.last, answer.days) == (FIRST, FIRST + timedelta(days=DAYS - 1), DAYS)
    assert answer.yields.reference == "same day"
    assert answer.yields.errors.bias_share == pytest.approx(0.0, abs=1e-6)
    assert answer.yields.errors.mean_error_kwh == pytest.approx(0.0, abs=1e-6)
    for load in answer.loads:
        assert load.errors.bias_kwh == pytest.approx(0.0, abs=1e-9)
        assert load.always_on_w == pytest.approx(load.model_always_on_w)
    assert answer.charge.days >= DAYS - DAYS // RUN_DAYS - 2
    assert answer.charge.mean_error_soc < 1e-6, "a run from the middle of an hour, hour by hour"
    assert abs(answer.charge.drift_per_day) < 1e-8
    assert answer.energy.into.bias_kwh == pytest.approx(0.0, abs=1e-9)
    assert answer.energy.out_of.bias_kwh == pytest.approx(0.0, abs=1e-9)
    assert not answer.causes
    assert not answer.worst
    assert not answer.left_out


def test_a_tenth_less_yield_is_a_bias_of_a_tenth() -> None:
    answer = checked(truth(times=0.9))
    assert answer.yields is not None
    assert answer.yields.errors.bias_share == pytest.approx(-0.1, abs=1e-6)
    assert answer.yields.told.bias_share == pytest.approx(-0.1, abs=1e-6)
    assert sum(month.days for month in answer.yields.months) == answer.yields.errors.days
    for month in answer.yields.months:
        assert month.errors is not None
        assert month.errors.bias_share == pytest.approx(-0.1, abs=1e-6)
    assert not codes(answer)


def test_sixty_watts_more_are_a_load_bias_by_the_hour_and_named() -> None:
    answer = checked(truth(idle_w=60.0))
    sockets, battery = answer.loads
    assert sockets.errors.bias_kwh == pytest.approx(24 * 0.060)
    for hour in sockets.hours:
        assert hour.measured_w is not None
        assert hour.model_w is not None
        assert hour.measured_w - hour.model_w == pytest.approx(60.0)
    assert sockets.always_on_w is not None
    assert sockets.model_always_on_w is not None
    assert sockets.always_on_w - sockets.model_always_on_w == pytest.approx(60.0)
    assert battery.errors.bias_kwh > sockets.errors.bias_kwh, "the inverter loses some of it, too"
    assert codes(answer) == {IDLE}
    assert [one.code for one in answer.causes] == [IDLE], "one steady draw is named once, not once a side"
    assert {day.cause for day in answer.worst if day.kind == "load"} == {IDLE}
    assert answer.charge is not None
    assert answer.charge.mean_error_soc < 1e-6, "what was drawn was measured: the charge is as it should be"


def test_days_without_any_draw_are_an_inverter_that_was_off() -> None:
    found = truth()
    load = np.array(found.log.values["load_w"]).reshape(-1, 24)
    load[10:13] = 0.0
    answer = checked(found, load_w=load.ravel(), load_dc_w=None, bank_w=None, charge=None)
    assert [(cause.code, cause.days) for cause in answer.causes] == [(OFF, 3)]
    off = {FIRST + timedelta(days=day) for day in (10, 11, 12)}
    assert {day.day for day in answer.worst if day.cause == OFF} == off


def test_a_bank_that_holds_less_is_named() -> None:
    answer = checked(truth(capacity=0.85, strings=6))
    assert CAPACITY in codes(answer)
    (cause,) = (one for one in answer.causes if one.code == CAPACITY)
    # 1 / 0.85 - 1 = 17.6 %: less by what a smaller bank loses more at the same power, and the volts of its charge
    assert "falls 17 %" in cause.why or "falls 18 %" in cause.why
    assert not codes(answer) - {CAPACITY}


def test_a_covered_week_is_named_and_its_days_alone() -> None:
    for sky in (True, False):
        answer = checked(truth(covered=(30, 37)), sky=sky)
        (cause,) = (one for one in answer.causes if one.code == COVERED)
        assert cause.days == 7
        week = {FIRST + timedelta(days=day) for day in range(30, 37)}
        assert {one.day for one in answer.worst if one.cause == COVERED} <= week
        assert next(one for one in answer.worst if one.kind == "yield").cause == COVERED
        assert answer.yields is not None
        assert answer.yields.near_zero_days == 7


@pytest.mark.parametrize("days", [20, 50])
def test_dark_weeks_without_a_lit_day_on_either_side_are_not_called_covered(days: int) -> None:
    found = truth()
    dark = np.array(found.log.values["yield_w"]).reshape(-1, 24)
    dark[:days] = 0.0
    answer = checking(found.house, changed(found.log, yield_w=dark.ravel()))
    assert COVERED not in codes(answer)


def drifted(found: Truth, per_day: float) -> np.ndarray:
    """A monitor that counts off by so much a day and is set right when the bank is full."""
    charge = found.log.values["charge"]
    top = found.house.supplies()[0].bank.top_reached_soc
    out = np.zeros(charge.size)
    off = 0.0
    for hour, soc in enumerate(charge.tolist()):
        off = 0.0 if soc > top - 0.005 else off + per_day / 24.0
        out[hour] = min(max(soc + off, 0.0), 1.0)
    return out


@pytest.mark.parametrize("per_day", [-0.01, 0.01])
def test_a_monitor_that_drifts_is_named_and_not_taken_for_a_bank_or_a_draw(per_day: float) -> None:
    found = truth(kwp=7.5, strings=3)
    answer = checked(found, charge=drifted(found, per_day))
    assert DRIFT in codes(answer)
    assert not codes(answer) & {CAPACITY, UNSEEN, IDLE, SHADE}
    assert not codes(checked(found)) - {FULL}, "the same log with a monitor that counts rightly"


def test_a_draw_that_no_meter_saw_is_told_from_a_bank_that_holds_less() -> None:
    found = truth(kwp=7.5, strings=3, idle_w=60.0)
    answer = checked(found, load_w=found.log.values["load_w"] - 60.0, load_dc_w=None, bank_w=None)
    assert UNSEEN in codes(answer)
    assert not codes(answer) & {CAPACITY, DRIFT, IDLE}
    assert answer.charge is not None
    assert answer.charge.bias_soc < -0.02, "the monitor shows less than the run"


def test_a_full_bank_that_holds_the_panels_back_is_no_weaker_panel() -> None:
    found = truth(kwp=10.0, strings=2)
    answer = checked(found)
    assert answer.yields is not None
    assert answer.yields.held_days is not None
    assert answer.yields.held_days > 20
    assert answer.yields.errors.bias_share is not None
    assert answer.yields.errors.bias_share < -0.1
    assert answer.yields.told.bias_share == pytest.approx(0.0, abs=1e-6), "on the days without a full bank"
    assert answer.yields.told.days < answer.yields.errors.days
    assert codes(answer) == {FULL}
    assert sum(day.cause == FULL for day in answer.worst) == 2


@pytest.mark.parametrize(("hours", "part"), [((0, 10), "morning"), ((15, 24), "afternoon")])
def test_a_time_of_day_that_is_missing_for_weeks_is_likely_shade(hours: tuple[int, int], part: str) -> None:
    found = truth()
    gave = np.array(found.log.values["yield_w"]).reshape(-1, 24)
    gave[:, slice(*hours)] *= 0.2
    answer = checked(found, yield_w=gave.ravel(), charge=None)
    (cause,) = (one for one in answer.causes if one.code == SHADE)
    assert part in cause.why
    assert ("full bank" in cause.why) == (part == "afternoon"), "without the charge these look alike"


def test_without_the_sky_the_months_average_and_the_weather_are_said() -> None:
    answer = checked(truth(), sky=False)
    assert answer.yields is not None
    assert answer.yields.reference == "average days"
    assert answer.yields.free is None
    assert {day.cause for day in answer.worst} == {WEATHER}


def test_more_than_a_clear_day_is_counted() -> None:
    answer = checked(truth(times=2.0, kwp=3.0))
    assert answer.yields is not None
    bright = int((truth(times=2.0, kwp=3.0).sky.kc * 2.0 > 1.3).sum())
    assert 0 < bright <= answer.yields.above_clear_days


def test_energies_of_the_days_add_up_to_the_log() -> None:
    found = truth()
    answer = checked(found)
    given = sum(day.yield_kwh for day in answer.each if day.yield_kwh is not None)
    drawn = sum(day.draw_kwh for day in answer.each if day.draw_kwh is not None)
    assert given == pytest.approx(float(found.log.values["yield_w"].sum()) / 1000.0)
    assert drawn == pytest.approx(float(found.log.values["load_w"].sum()) / 1000.0)
    by_hour = sum(one.measured_w * one.days for one in answer.loads[0].hours if one.measured_w is not None)
    assert by_hour / 1000.0 == pytest.approx(drawn)
    assert answer.yields is not None
    months = sum(month.measured_kwh * month.days for month in answer.yields.months)
    assert months == pytest.approx(given)


def test_the_banks_energy_stands_in_for_a_charge_that_is_not_there() -> None:
    found = truth()
    answer = checked(found, charge=None, bank_w=found.log.values["bank_w"] * 1.1)
    assert answer.charge is None
    assert answer.energy is not None
    assert answer.energy.into.bias_share == pytest.approx(0.1)
    assert answer.energy.out_of.bias_share == pytest.approx(0.1)
    assert any("energy is compared instead" in said for said in answer.left_out)


def test_current_without_volts_is_taken_at_the_nominal_ones_and_said() -> None:
    found = truth()
    amps = found.log.values["bank_w"] / (16 * 3.2)
    answer = checked(found, charge=None, bank_w=None, bank_a=amps)
    assert answer.energy is not None
    assert answer.energy.into.bias_kwh == pytest.approx(0.0, abs=1e-9)
    assert any("51.2 V" in said for said in answer.left_out)


def test_holes_are_bridged_or_end_a_run_and_are_said() -> None:
    found = truth()
    load = np.array(found.log.values["load_w"])
    load[500:502] = np.nan
    whole = checked(found, load_w=load, load_dc_w=None, bank_w=None)
    assert whole.charge is not None
    assert not whole.left_out
    load[100:110] = np.nan
    load[140:150] = np.nan
    load[500:510] = np.nan
    parted = checked(found, load_w=load, load_dc_w=None, bank_w=None)
    assert parted.charge is not None
    assert parted.charge.days < whole.charge.days
    assert parted.charge.mean_error_soc < 1e-6
    assert any("30 hours of yield and draw" in said for said in parted.left_out)
    assert any("days do not count for the draw at the sockets" in said for said in parted.left_out)


def test_a_night_without_a_yield_row_is_a_night_without_sun() -> None:
    found = truth()
    day_only = np.where(found.log.values["yield_w"] > 0.0, found.log.values["yield_w"], np.nan)
    answer = checked(found, yield_w=day_only)
    assert answer.yields is not None
    assert answer.yields.errors.days == DAYS
    assert answer.charge is not None
    assert answer.charge.mean_error_soc < 0.001, "only the hours of dawn, too dim for the charger, are bridged"


def test_a_generator_at_the_sockets_spares_the_bank_and_charges_it() -> None:
    """Three evenings of 2 kW: the load is served by it, and the rest goes through the charger into the bank."""
    found = truth()
    generator = np.zeros(DAYS * 24)
    for day in (20, 35, 50):
        generator[day * 24 + 18 : day * 24 + 21] = 2000.0
    without = checked(found, load_dc_w=None, bank_w=None)
    answer = checked(found, load_dc_w=None, bank_w=None, generator_w=generator)
    assert without.charge is not None
    assert answer.charge is not None
    assert answer.charge.bias_soc < without.charge.bias_soc, "the run is fuller than the monitor, which had none"
    unseen = checked(found, load_w=None, bank_w=None, generator_w=generator)
    assert unseen.charge is not None
    assert unseen.charge.days == without.charge.days - 3, "what a charger took is not known on the battery side"


def test_two_supplies_are_compared_in_total_and_the_charge_left_out_in_words() -> None:
    paper = document(6.0, 16)
    paper["inverters"].append({**paper["inverters"][0], "id": "second", "name": "Second"})
    paper["banks"].append({**paper["banks"][0], "id": "other", "name": "Other", "inverter": "second"})
    paper["loads"].append({**paper["loads"][0], "id": "more", "inverter": "second", "values": {"power_w": 100.0}})
    found = truth()
    answer = checking(read(paper), found.log, found.sky)
    assert answer.charge is None
    assert any("2 supplies" in said for said in answer.left_out)
    assert answer.loads[0].errors.bias_kwh == pytest.approx(-2.4), "100 W of the second are in the model, too"


def test_banks_on_one_bus_are_run_as_one() -> None:
    """Two like banks of eight strings beside each other are the one of sixteen."""
    paper = document(6.0, 8)
    paper["banks"].append({**paper["banks"][0], "id": "twin", "name": "Twin"})
    found = truth()
    log = found.log.between(found.log.start_s[0], found.log.start_s[24 * 20])
    shared, alone = checking(read(paper), log, found.sky), checking(found.house, log, found.sky)
    assert shared.charge is not None
    assert alone.charge is not None
    assert shared.charge.days == alone.charge.days
    assert shared.charge.mean_error_soc < 0.003


def test_a_period_is_cut_out_and_a_wrong_one_refused() -> None:
    found = truth()
    first, last = date(2025, 3, 20), date(2025, 4, 10)
    answer = checking(found.house, found.log, found.sky, first, last)
    assert (answer.first, answer.last, len(answer.each)) == (first, last, 22)
    whole = {day.day: day for day in checked(found).each}
    assert all(day.yield_kwh == whole[day.day].yield_kwh for day in answer.each)
    with pytest.raises(InputError, match="2025-03-01 to 2025-04-29"):
        checking(found.house, found.log, None, date(2026, 1, 1), date(2026, 2, 1))
    with pytest.raises(InputError, match="no rows"):
        checking(found.house, no_rows())


def test_a_house_without_a_bank_says_what_to_enter() -> None:
    bare = dataclasses.replace(truth().house, banks=())
    with pytest.raises(Unreachable, match="no bank yet"):
        checking(bare, truth().log)


def test_a_log_of_one_column_leaves_the_rest_out_in_words() -> None:
    found = truth()
    only = rows(found.house, FIRST, {"yield_w": found.log.values["yield_w"]})
    answer = checking(found.house, only)
    assert answer.yields is not None
    assert not answer.loads
    assert answer.charge is None
    assert any("The draw was not compared" in said for said in answer.left_out)
    assert any("what the house drew" in said for said in answer.left_out)


def test_the_answer_is_plain_json_with_nothing_that_is_no_number() -> None:
    found = truth()
    load = np.array(found.log.values["load_w"])
    load[:400] = np.nan
    text = json_text(checked(found, load_w=load, yield_w=np.where(np.arange(load.size) < 200, np.nan, 100.0)))
    assert '"draw_kwh":null' in text


def test_a_monitor_seen_in_the_runs_first_hours_alone_drifts_by_a_number() -> None:
    log = truth().log.between(0.0, truth().log.start_s[72])
    shown = np.full(72, np.nan)
    shown[:24] = np.linspace(0.3, 0.6, 24)
    answer = checking(truth().house, changed(log, charge=shown), truth().sky)
    assert answer.charge is not None
    assert answer.charge.days == 1
    assert answer.charge.drift_per_day == 0.0


def test_days_in_one_row_each_say_nothing_of_nights() -> None:
    values = {key: truth().log.values[key].reshape(-1, 24).mean(axis=1) for key in ("yield_w", "load_w")}
    log = MeterLog(start_s=truth().log.start_s[::24], step_s=np.full(DAYS, 86_400.0), values=values)
    answer = checking(truth().house, log, truth().sky)
    (load,) = answer.loads
    assert load.errors.bias_kwh == pytest.approx(0.0, abs=1e-9)
    assert load.always_on_w is None
    assert not answer.causes
    assert any("rows of many hours" in said for said in answer.left_out)


@pytest.mark.parametrize("times", [1e-3, 1e3])
@pytest.mark.parametrize("sky", [True, False])
def test_watts_for_kilowatts_are_a_unit_and_neither_snow_nor_an_inverter_that_was_off(times: float, sky: bool) -> None:
    columns = {key: truth().log.values[key] * times for key in ("yield_w", "load_w", "load_dc_w")}
    answer = checked(truth(), sky=sky, **columns)
    assert codes(answer) == {UNIT}
    assert not answer.worst


def test_what_is_the_same_but_for_the_last_digit_is_worked_out_as_none() -> None:
    differences = [one.value for one in checked(truth()).worked if one.label.startswith("Difference")]
    assert len(differences) == 3
    assert all(value == 0.0 or abs(value) > 1e-9 for value in differences)
