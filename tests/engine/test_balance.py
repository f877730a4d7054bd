"""The step and the trajectory: limits reached where the cell model puts them, by hand and by circuit laws."""

from __future__ import annotations

import dataclasses
import itertools

import pytest

from engine.balance import step as stepping
from engine.balance.step import Plant, State, plant, step
from engine.balance.trajectory import Trajectory, run
from engine.cells import curve
from engine.cells.chemistry import at
from tests.engine.plants import IDEAL, SERIES, bank, inverter

MEAN_W = 400.0


def ready(chemistry: object = "lfp", **changes: object) -> Plant:
    return plant(bank(chemistry, **changes), inverter(), MEAN_W)  # type: ignore[arg-type]


def until_end(p: Plant, soc: float, load_w: float, sun_w: float = 0.0) -> Trajectory:
    return run(p, State(soc), [sun_w] * 2000, [load_w] * 2000, [0.0] * 2000, until_ended=True)


def test_household_h_by_hand() -> None:
    # product.md story 2: 60 % of 280 Ah x 51.2 V = 8.602 kWh over (300 / 0.93 + 40) W; arithmetic.
    ended = until_end(ready(IDEAL), 0.8, 300.0)
    assert ended.ended_h == pytest.approx(0.6 * 280 * 51.2 / (300 / 0.93 + 40), rel=1e-9)
    assert ended.ended_by == "reserve"


@pytest.mark.parametrize("chemistry", SERIES)
def test_constant_power_solves_the_circuit(chemistry: str) -> None:
    # Ohm and Kirchhoff: the power at the terminals is (OCV - c R) c per ampere-hour.
    p = ready(chemistry)
    power_v = 1.1
    rate = stepping._discharge_c(p, 0.6, power_v)
    assert rate is not None
    assert rate * (at(p.cells.ocv_v, 0.6) - rate * at(p.cells.r_slow, 0.6)) == pytest.approx(power_v, rel=1e-12)


@pytest.mark.parametrize("chemistry", SERIES)
@pytest.mark.parametrize("load_w", [250.0, 900.0])
def test_halving_the_step_moves_the_hours_by_less_than_half_a_percent(
    chemistry: str, load_w: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    p = ready(chemistry)
    whole = until_end(p, 0.9, load_w, sun_w=60.0).ended_h
    halves = run(p, State(0.9), [60.0] * 4000, [load_w] * 4000, [0.0] * 4000, first_h=0.5, until_ended=True).ended_h
    monkeypatch.setattr(stepping, "MAX_SOC_STEP", stepping.MAX_SOC_STEP / 2)
    finer = until_end(p, 0.9, load_w, sun_w=60.0).ended_h
    assert whole is not None
    assert halves is not None
    assert finer is not None
    assert finer == pytest.approx(whole, rel=0.005)
    assert halves == pytest.approx(whole, rel=0.005)


def test_halving_the_taper_step_moves_the_charge_by_less_than_half_a_percent(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    p = ready("nmc")
    coarse = run(p, State(0.5), [3000.0] * 6, [0.0] * 6, [0.0] * 6)
    monkeypatch.setattr(stepping, "MAX_TAPER_H", stepping.MAX_TAPER_H / 2)
    fine = run(p, State(0.5), [3000.0] * 6, [0.0] * 6, [0.0] * 6)
    assert fine.soc == pytest.approx(coarse.soc, rel=0.005)


@pytest.mark.parametrize("chemistry", ["sodium_layered", "nmc"])
def test_charge_without_a_hold_stops_where_the_volts_say(chemistry: str) -> None:
    p = ready(chemistry, hold=False)
    end = run(p, State(0.3), [1500.0] * 24, [0.0] * 24, [0.0] * 24)
    soc = float(end.soc.max())
    rate = stepping._charge_c(p, soc, (1500.0 - 40.0) / p.series_ah)
    assert at(p.cells.ocv_v, soc) + rate * at(p.cells.r_slow, soc) == pytest.approx(p.end_v, abs=1e-3)
    assert soc < run(ready(chemistry, hold=True), State(0.3), [1500.0] * 24, [0.0] * 24, [0.0] * 24).soc[-1]


@pytest.mark.parametrize("chemistry", ["sodium_layered", "lfp", "nmc"])
def test_a_hold_ends_at_the_tail(chemistry: str) -> None:
    b = bank(chemistry, hold=True)
    held = curve.soc_with_hold(b.cell, b.charge_end_cell_v, temperature_c=b.cell_c)
    end = run(plant(b, inverter(), MEAN_W), State(0.3), [4000.0] * 48, [0.0] * 48, [0.0] * 48)
    assert end.soc.max() == pytest.approx(held, abs=1e-4)


def test_cut_off_under_load_is_where_the_sagging_volts_meet_it() -> None:
    b = bank("sodium_layered", reserve_soc=0.0)
    p = plant(b, inverter(), MEAN_W)
    ended = until_end(p, 0.9, 1500.0)
    soc = float(ended.soc[-1])
    rate = stepping._discharge_c(p, soc, inverter().dc_w(1500.0) / p.series_ah)
    assert ended.ended_by == "inverter"
    assert rate is not None
    assert (at(p.cells.ocv_v, soc) - rate * at(p.cells.r_fast, soc)) * 15 == pytest.approx(40.0, abs=0.02)


def test_a_heavier_load_is_cut_off_at_a_higher_charge() -> None:
    p = ready("sodium_layered", reserve_soc=0.0)
    ends = [float(until_end(p, 0.9, load_w).soc[-1]) for load_w in (200.0, 1000.0, 3000.0)]
    assert ends == sorted(ends)
    assert ends[0] < ends[-1]


def test_off_inverter_waits_for_its_restart_volts() -> None:
    p = ready("sodium_layered", reserve_soc=0.0)
    hours = 24
    week = run(p, State(0.3), [0.0] * 8 + [900.0] * (hours - 8), [1000.0] * 8 + [100.0] * (hours - 8), [0.0] * hours)
    off = [index for index, limit in enumerate(week.limits) if limit == "inverter"]
    assert off
    last_off = week.soc[off[-1] + 1]
    assert at(p.cells.ocv_v, float(last_off)) * 15 > 40.0
    assert week.limits[-1] == ""
    back = next(index for index in range(off[0], hours) if week.limits[index] == "")
    charged_c = stepping._charge_c(p, float(week.soc[back]), 900.0 / p.series_ah)
    restart_v = (at(p.cells.ocv_v, float(week.soc[back])) + charged_c * at(p.cells.r_slow, float(week.soc[back]))) * 15
    assert restart_v >= 44.0


def test_no_charge_below_freezing_for_lithium() -> None:
    p = ready("lfp", cell_c=-2.0)
    cold = run(p, State(0.5), [2000.0] * 12, [100.0] * 12, [0.0] * 12)
    assert cold.soc.max() == 0.5
    assert cold.totals.spare_kwh > 20.0


def test_board_may_be_stricter_about_the_cold_than_the_chemistry() -> None:
    strict = bank("lfp", cell_c=4.0)
    board = dataclasses.replace(strict.board, charge_min_c=5.0)  # type: ignore[type-var]
    p = plant(dataclasses.replace(strict, board=board), inverter(), MEAN_W)
    assert run(p, State(0.5), [2000.0] * 3, [0.0] * 3, [0.0] * 3).soc.max() == 0.5
    assert run(plant(strict, inverter(), MEAN_W), State(0.5), [2000.0] * 3, [0.0] * 3, [0.0] * 3).soc[-1] > 0.6


def test_current_limit_holds_in_both_directions() -> None:
    limited = dataclasses.replace(bank("lfp").board, current_limit_a=28.0)  # type: ignore[type-var]
    p = dataclasses.replace(ready("lfp", board=limited), self_discharge_per_h=0.0)
    charging = run(p, State(0.3), [5000.0], [0.0], [0.0])
    assert charging.soc[-1] - 0.3 == pytest.approx(0.1 * at(p.cells.coulombic, 0.35), rel=1e-6)
    asked = run(p, State(0.8), [0.0], [4000.0], [0.0])
    assert asked.soc[-1] == 0.8
    assert asked.totals.unserved_kwh == pytest.approx(4.0)
    assert asked.ended_by == "current"


def test_halving_the_step_does_not_move_the_hour_at_which_the_board_opens(monkeypatch: pytest.MonkeyPatch) -> None:
    limited = dataclasses.replace(bank("sodium_layered").board, current_limit_a=27.0)  # type: ignore[type-var]
    p = ready("sodium_layered", board=limited)
    whole = until_end(p, 0.99, 1300.0)
    monkeypatch.setattr(stepping, "MAX_SOC_STEP", stepping.MAX_SOC_STEP / 8)
    finer = until_end(p, 0.99, 1300.0)
    assert whole.ended_by == finer.ended_by == "current"
    assert whole.ended_h == pytest.approx(finer.ended_h, rel=0.005)


@pytest.mark.parametrize("short_w", [1e-5, 1e-4, 1e-3])
def test_sun_that_all_but_meets_the_load_ends_its_hour(short_w: float) -> None:
    p = ready("nmc")
    wanted_w = inverter().dc_w(500.0)
    for soc in (0.31, 0.52, 0.77, 0.9):
        week = run(p, State(soc), [wanted_w - short_w] * 4, [500.0] * 4, [0.0] * 4)
        assert week.totals.unserved_kwh == 0.0


def test_more_than_the_inverter_gives_is_unserved_but_does_not_end_the_bank() -> None:
    over = run(ready("lfp"), State(0.9), [0.0], [6000.0], [0.0])
    assert over.totals.unserved_kwh == pytest.approx(1.0)
    assert over.ended_h is None


def test_battery_side_load_has_no_inverter_loss_twice() -> None:
    p = ready(IDEAL)
    at_sockets = run(p, State(0.9), [0.0] * 4, [300.0] * 4, [0.0] * 4)
    at_battery = run(p, State(0.9), [0.0] * 4, [0.0] * 4, [300.0] * 4)
    drawn = [-t.totals.stored_change_kwh for t in (at_sockets, at_battery)]
    assert drawn == pytest.approx([4 * (300 / 0.93 + 40) / 1000, 4 * (300 + 40) / 1000])


def test_at_the_reserve_the_sun_still_serves_what_it_can() -> None:
    p = ready(IDEAL)
    shared = run(p, State(0.2), [200.0], [300.0], [0.0])
    assert shared.totals.served_kwh == pytest.approx((200 - 40) * 0.93 / 1000)
    assert shared.soc[-1] == 0.2


def test_charge_acceptance_of_lead_acid_slows_the_end() -> None:
    p = ready("lead_sealed")
    filled = run(p, State(0.5), [6000.0] * 12, [0.0] * 12, [0.0] * 12)
    gains = [b - a for a, b in itertools.pairwise(filled.soc)]
    assert p.acceptance_tau_h is not None
    assert all(gain <= (1.0 - soc) / p.acceptance_tau_h for gain, soc in zip(gains, filled.soc[:-1], strict=True))
    assert gains[8] < 0.2 * gains[0]


def test_self_discharge_leaks_what_the_chemistry_says() -> None:
    p = ready("lead_sealed", inverter="")
    month_h = int(24 * 365.25 / 12)
    idle = dataclasses.replace(p, inverter=inverter(idle_w=0.0))
    kept = run(idle, State(0.9), [0.0] * month_h, [0.0] * month_h, [0.0] * month_h)
    assert 0.9 - kept.soc[-1] == pytest.approx(bank("lead_sealed").cell.self_discharge_per_month, rel=0.01)


def test_a_step_never_takes_longer_than_asked() -> None:
    _, flow = step(ready("lfp"), State(0.5), 500.0, 200.0, 50.0, 0.3)
    assert 0.0 < flow.hours <= 0.3
