"""The step and the trajectory: limits reached where the cell model puts them, by hand and by circuit laws."""

from __future__ import annotations

import dataclasses
import itertools

import pytest

from engine.balance import step as stepping
from engine.balance.step import Plant, State, plant, step
from engine.balance.trajectory import Totals, Trajectory, leaked_in, run
from engine.cells import curve
from engine.cells.chemistry import at
from engine.house.bank import Board
from tests.engine.plants import IDEAL, SERIES, bank, inverter
from tests.engine.test_cells import LINE

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
    assert rate * (at(p.cells.ocv_v, 0.6) - rate * at(p.cells.r_drawn, 0.6)) == pytest.approx(power_v, rel=1e-12)


@pytest.mark.parametrize(
    ("chemistry", "cell_c", "load_w"),
    [
        ("lead_flooded", 10.0, 3000.0),
        ("lead_flooded", 25.0, 3500.0),
        ("lead_sealed", 10.0, 4000.0),
        ("lead_gel", 10.0, 3500.0),
    ],
)
def test_a_full_lead_acid_bank_lasts_longer_than_one_less_full(chemistry: str, cell_c: float, load_w: float) -> None:
    p = plant(bank(chemistry, label_ah=200.0, cell_c=cell_c, reserve_soc=0.5), inverter(dc_min_v=42), load_w)
    hours = [until_end(p, soc, load_w).ended_h for soc in (0.7, 0.8, 0.9, 0.95, 1.0)]
    assert all(fuller is not None and less is not None and fuller > less for less, fuller in itertools.pairwise(hours))


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


@pytest.mark.parametrize("chemistry", ["sodium_layered", "lfp", "nmc"])
@pytest.mark.parametrize("limit_a", [14.0, 56.0, 140.0])
def test_a_hold_goes_on_after_a_charge_at_the_current_limit(chemistry: str, limit_a: float) -> None:
    # more sun than the bank may take: constant current to the end volts, then the same hold as after any other charge
    b = bank(chemistry, hold=True, charge_limit_a=limit_a)
    held = curve.soc_with_hold(b.cell, b.charge_end_cell_v, temperature_c=b.cell_c)
    p = dataclasses.replace(plant(b, inverter(), MEAN_W), self_discharge_per_h=0.0)
    end = run(p, State(0.3), [9000.0] * 48, [0.0] * 48, [0.0] * 48)
    assert end.soc[-1] == pytest.approx(held, abs=1e-4)
    assert abs(end.totals.balance_error_share) < 1e-4


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


@pytest.mark.parametrize(
    ("sun_w", "ac_w", "dc_w", "share"),
    [
        # idle 40 W, 2 % in step with the power, 4 % of its square at the rated 1000 W, by solving for the given share:
        # 40 + 1.02 x 400 + 0.04 x 400^2 / 1000 + 50 = 504.4 W carry half of 800 W at the sockets and 100 W beside
        (504.4, 800.0, 100.0, 0.5),
        # 40 + 1.02 x 200 + 0.04 x 200^2 / 1000 = 245.6 W a quarter of 800 W at the sockets alone
        (245.6, 800.0, 0.0, 0.25),
        # no loss at the battery side: 40 + 0.2 x 300 W
        (100.0, 0.0, 300.0, 0.2),
        # of more than the rated 1000 W only these are carried: 40 + 1.02 x 500 + 0.04 x 500^2 / 1000 = 560 W are half
        (560.0, 1500.0, 0.0, 0.5),
        # not even the idle draw
        (40.0, 100.0, 10.0, 0.0),
        (30.0, 100.0, 10.0, 0.0),
    ],
)
def test_the_sun_alone_serves_the_share_of_both_loads_that_it_can_carry(
    sun_w: float, ac_w: float, dc_w: float, share: float
) -> None:
    unit = inverter(rated_w=1000, k1=0.02, k2=0.04)
    p = plant(bank("lfp", cell_c=-2.0), unit, MEAN_W)
    after, flow = step(p, State(p.floor_soc), sun_w, ac_w, dc_w, 0.5)
    carried_w = min(ac_w, 1000.0)
    assert flow.served_wh == pytest.approx(share * (carried_w + dc_w) * 0.5)
    assert flow.served_wh + flow.unserved_wh == pytest.approx((ac_w + dc_w) * 0.5)
    assert (flow.hours, flow.limit) == (0.5, "reserve")
    assert after.soc == p.floor_soc
    if share:
        assert (flow.sun_wh, flow.spare_wh) == pytest.approx((sun_w * 0.5, 0.0))
        assert flow.inverter_loss_wh == pytest.approx(sun_w * 0.5 - flow.served_wh)
    else:
        assert (flow.sun_wh, flow.spare_wh) == pytest.approx((0.0, sun_w * 0.5))


def test_more_than_both_loads_need_carries_all_of_them() -> None:
    assert stepping.carried_share(inverter(), 100.0, 50.0, 1000.0) == 1.0


def test_only_a_load_above_the_inverters_power_is_an_overload() -> None:
    for sun_w in (0.0, 9000.0):
        limits = [step(ready("lfp"), State(0.9), sun_w, ac_w, 0.0, 0.1)[1].limit for ac_w in (4999.0, 5000.0, 5001.0)]
        assert limits == ["", "", "overload"]


def test_a_short_step_is_ohms_law() -> None:
    # LINE at half charge: 3.5 V behind 0.5 V per C. 100 Ah, 14 cells: 1400 W at the bus are 1 V per ampere-hour of all
    # cells; charging c (3.5 + 0.5 c) = 1, discharging c (3.5 - 0.5 c) = 1.
    p = straight(idle_w=0.0)
    into, out = (-3.5 + (3.5**2 + 2) ** 0.5), (3.5 - (3.5**2 - 2) ** 0.5)
    hours = 1e-4
    charged, flow = step(p, State(0.5), 1400.0, 0.0, 0.0, hours)
    assert charged.soc - 0.5 == pytest.approx(into * hours, rel=1e-3)
    assert (flow.sun_wh, flow.spare_wh) == pytest.approx((1400.0 * hours, 0.0), rel=1e-6, abs=1e-9)
    assert flow.cell_loss_wh == pytest.approx(1400.0 * 0.5 * into**2 * hours, rel=1e-3)
    drawn, flow = step(p, State(0.5), 0.0, 0.0, 1400.0, hours)
    assert 0.5 - drawn.soc == pytest.approx(out * hours, rel=1e-3)
    assert flow.cell_loss_wh == pytest.approx(1400.0 * 0.5 * out**2 * hours, rel=1e-3)
    assert (flow.served_wh, flow.inverter_loss_wh) == pytest.approx((1400.0 * hours, 0.0))
    assert (flow.sun_wh, flow.spare_wh, flow.unserved_wh) == (0.0, 0.0, 0.0)


def straight(coulombic: float = 1.0, **changes: object) -> Plant:
    """14 cells of 100 Ah whose volts rise by 1 V from 3 V, behind 0.5 V per C, held at 4 V, on a loss-free inverter."""
    cell = dataclasses.replace(LINE, coulombic_efficiency=coulombic, charge_c_max=2.0, discharge_c_max=2.0)
    one = bank(cell, series=14, label_ah=100, reserve_soc=0.0)
    return plant(one, inverter(**{"k1": 0.0, "dc_min_v": 35, "restart_v": 40, **changes}), MEAN_W)


def test_ampere_hours_that_do_not_come_back_are_lost_at_the_rested_volts() -> None:
    whole, leaky = straight(idle_w=0.0), straight(0.8, idle_w=0.0)
    (full, one), (part, other) = (step(p, State(0.5), 1400.0, 0.0, 0.0, 1e-4) for p in (whole, leaky))
    assert part.soc - 0.5 == pytest.approx(0.8 * (full.soc - 0.5), rel=1e-3)
    into = (full.soc - 0.5) / 1e-4
    assert other.cell_loss_wh - one.cell_loss_wh == pytest.approx(1400.0 * 0.2 * 3.5 * into * 1e-4, rel=1e-3)


def test_hours_of_constant_power_of_a_straight_cell_are_those_of_its_circuit() -> None:
    # c (3 + s - 0.5 c) = P: integrated by small steps of time with the exact current of each; from 0.9 to the cut-off
    # where 3 + s - 0.2 c falls to 35 / 14 V is never reached, so it ends empty.
    p = straight(idle_w=0.0)
    power_v, s, hours, dt = 0.8, 0.9, 0.0, 2e-4
    while s > p.floor_soc:
        volts = 3.0 + s
        s -= dt * (volts - (volts**2 - 2.0 * power_v) ** 0.5)
        hours += dt
    ended = run(p, State(0.9), [0.0] * 9, [0.0] * 9, [power_v * 1400.0] * 9, until_ended=True)
    assert ended.ended_h == pytest.approx(hours, rel=0.002)


@pytest.mark.parametrize(("limit_a", "amps"), [(20.0, 20.0), (None, 1120.0 / 56.0 * 2)])
def test_the_solar_chargers_limit_is_a_current_at_the_rested_volts(limit_a: float | None, amps: float) -> None:
    # 16 cells of 3.2 V: 51.2 V; without a limit 2048 W are 40 A
    p = plant(bank(IDEAL), inverter(idle_w=0.0, charge_limit_a=limit_a), MEAN_W)
    filled = run(p, State(0.3), [2048.0], [0.0], [0.0])
    assert (filled.soc[-1] - 0.3) * 280 == pytest.approx(amps, rel=1e-6)
    assert filled.totals.sun_kwh == pytest.approx(amps * 51.2 / 1000)


@pytest.mark.parametrize(
    ("soc", "sun_w", "on"),
    # rested 14 x 3.5 V = 49 V; 1400 W at half charge lift it by 0.5 c with c (3.5 + 0.5 c) = 1: by 1.9 V
    [(0.5, 0.0, True), (0.499, 0.0, False), (0.4, 1400.0, True), (0.3, 1400.0, False)],
)
def test_an_inverter_comes_back_at_its_restart_volts(soc: float, sun_w: float, on: bool) -> None:
    p = straight(restart_v=49.0, idle_w=0.0)
    assert stepping.restarts(p, State(soc, on=False), sun_w) is on
    cold = dataclasses.replace(p, charge_c_max=0.0)
    assert stepping.restarts(cold, State(soc, on=False), sun_w) is (soc == 0.5)


def test_charging_has_ended_within_half_a_point_of_the_top() -> None:
    p = dataclasses.replace(ready(IDEAL), top_soc=0.9)
    ended = [stepping.has_ended(p, State(soc)) for soc in (0.5, 0.8949, 0.8951, 0.9, 0.95)]
    assert ended == [False, False, True, True, True]
    assert stepping.has_ended(p, State(0.5, full=True))


def test_what_limits_a_plant_is_named() -> None:
    # 16 cells that their board cuts at 2.6 V are 41.6 V, above the inverter's 40 V; at 2.5 V they are at it
    by_board = {
        low: bank(IDEAL, board=Board(cell_low_v=low, cell_high_v=3.6, current_limit_a=70)) for low in (2.5, 2.6)
    }
    assert [plant(one, inverter(), MEAN_W).cut_name for one in by_board.values()] == ["inverter", "board"]
    assert [plant(one, inverter(), MEAN_W).cut_v for one in by_board.values()] == pytest.approx([2.5, 2.6])
    assert plant(by_board[2.6], inverter(), MEAN_W).discharge_c_max == pytest.approx(70 / 280)
    assert ready("lfp").floor_name == "reserve"
    assert ready("lfp", reserve_soc=0.0, cell_c=-15.0).floor_name == "cold or rate"
    # a floor of both names the reserve
    assert ready(IDEAL, reserve_soc=0.0).floor_name == "reserve"


@pytest.mark.parametrize(("cell_c", "gives"), [(-20.0, True), (-20.1, False)])
def test_cells_give_down_to_their_coldest_and_say_so_below(cell_c: float, gives: bool) -> None:
    cold = run(ready(IDEAL, cell_c=cell_c), State(0.9), [0.0], [500.0], [0.0])
    assert (cold.totals.unserved_kwh == 0.0) is gives
    assert cold.limits == (("",) if gives else ("cold",))


def test_a_balance_that_does_not_close_says_by_how_much() -> None:
    # 5 in, 3 served, 1 + 0.4 + 0.2 lost and 0.3 more stored leave 0.1 of a turnover of 5
    found = Totals(
        sun_kwh=4.0,
        spare_kwh=9.0,
        served_kwh=3.0,
        unserved_kwh=9.0,
        cell_loss_kwh=1.0,
        inverter_loss_kwh=0.4,
        stored_change_kwh=0.3,
        generator_kwh=1.0,
        charger_loss_kwh=0.2,
    )
    assert found.balance_error_share == pytest.approx(0.1 / 5.0)
    drained = dataclasses.replace(found, sun_kwh=0.0, generator_kwh=0.0, served_kwh=0.0, stored_change_kwh=-8.0)
    assert drained.balance_error_share == pytest.approx((8.0 - 1.6) / 8.0)


def test_full_again_is_the_first_edge_after_the_moment_asked_for() -> None:
    p = plant(bank(IDEAL, top_soc=0.9), inverter(idle_w=0.0), MEAN_W)
    # 0.2 of 14.336 kWh by 1433.6 W: full after two hours, and no more after an hour of twice as much
    week = run(p, State(0.7), [1433.6] * 3 + [0.0] * 2 + [2000.0] * 2, [0.0] * 3 + [2666.0] * 2 + [0.0] * 2, [0.0] * 7)
    assert week.charged.tolist() == [False, False, True, True, False, False, False, False]
    assert week.full_again_h() == 2.0
    assert week.full_again_h(1.9) == 2.0
    assert week.full_again_h(2.0) == 3.0
    assert week.full_again_h(3.0) is None


def test_a_first_interval_shorter_than_an_hour_moves_all_edges() -> None:
    p = ready(IDEAL)
    week = run(p, State(0.9), [0.0] * 3, [300.0] * 3, [0.0] * 3, first_h=0.25)
    assert week.hours.tolist() == [0.0, 0.25, 1.25, 2.25]
    assert week.served_wh.tolist() == pytest.approx([75.0, 300.0, 300.0])
    drawn = (300 / 0.93 + 40) / (280 * 51.2)
    assert (0.9 - week.soc).tolist() == pytest.approx([0.0, 0.25 * drawn, 1.25 * drawn, 2.25 * drawn])


def test_an_end_within_an_hour_is_told_once_and_the_hours_after_it_are_not_short_again() -> None:
    # 0.01 of 14.336 kWh above the reserve at 800 / 0.93 + 40 W: 9.6 minutes into the second hour
    p = ready(IDEAL)
    power_w = 800 / 0.93 + 40
    start = 0.2 + (power_w + 143.36) / (280 * 51.2)
    week = run(p, State(start), [0.0] * 4, [800.0] * 4, [0.0] * 4)
    assert week.ended_h == pytest.approx(1.0 + 143.36 / power_w, rel=1e-6)
    assert week.limits == ("", "reserve", "reserve", "reserve")
    assert week.unserved_wh.tolist() == pytest.approx([0.0, 800 * (1 - 143.36 / power_w), 800.0, 800.0])
    stopped = run(p, State(start), [0.0] * 4, [800.0] * 4, [0.0] * 4, until_ended=True)
    assert stopped.hours.tolist() == pytest.approx([0.0, 1.0, week.ended_h])
    assert (stopped.limits, stopped.unserved_wh.tolist()) == (("", ""), [0.0, 0.0])
    assert stopped.served_wh.sum() == pytest.approx(800.0 * week.ended_h)
    assert stopped.end == State(0.2)


@pytest.mark.parametrize("load_w", [20.0, 1500.0, 4500.0])
def test_what_leaks_is_lost_whether_an_hour_takes_one_step_or_many(load_w: float) -> None:
    # constant volts, no resistance: all that is lost in the cells is what leaks, a twentieth of the bank each hour
    p = dataclasses.replace(ready(IDEAL), self_discharge_per_h=0.05, top_soc=1.0)
    for sun_w in (0.0, 3000.0):
        week = run(p, State(0.95), [sun_w] * 3, [load_w] * 3, [0.0] * 3, first_h=0.5)
        assert week.totals.cell_loss_kwh == pytest.approx((0.5 + 1 + 1) * 0.05 * 14.336, rel=1e-9)
        assert week.totals.balance_error_share == pytest.approx(0.0, abs=1e-9)


def test_no_more_leaks_than_is_left() -> None:
    p = dataclasses.replace(ready(IDEAL), self_discharge_per_h=0.05, floor_soc=0.0)
    week = run(p, State(0.08), [0.0] * 4, [0.0] * 4, [0.0] * 4)
    assert week.soc.min() == 0.0
    assert week.totals.balance_error_share == pytest.approx(0.0, abs=1e-9)
    assert leaked_in(p, 0.9, 0.5) == pytest.approx((0.025, 0.025 * 280 * 51.2))
    # of a straight cell at the volts of the middle of what leaks: 1400 Ah of all cells x 0.1 x (3 + 0.45) V
    one = dataclasses.replace(straight(), self_discharge_per_h=0.1)
    assert leaked_in(one, 0.5, 1.0) == pytest.approx((0.1, 1400 * 0.1 * 3.45))


@pytest.mark.parametrize("sun_w", [0.0, 600.0, 2500.0])
def test_the_inverter_loses_its_idle_draw_and_its_share_of_the_sockets_alone(sun_w: float) -> None:
    # 2 % of the power and 4 % of its square at the rated 1000 W, from 500 W at the sockets; nothing of the 200 W beside
    p = plant(bank("lfp"), inverter(rated_w=1000, k1=0.02, k2=0.04), MEAN_W)
    week = run(p, State(0.6), [sun_w] * 4, [500.0] * 4, [200.0] * 4)
    assert week.totals.inverter_loss_kwh == pytest.approx(4 * (40 + 10 + 0.04 * 250) / 1000)
    assert week.totals.served_kwh == pytest.approx(2.8)
    assert week.totals.sun_kwh + week.totals.spare_kwh == pytest.approx(4 * sun_w / 1000)
    assert week.totals.balance_error_share == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("name", ["inverter", "board"])
def test_a_load_that_pulls_the_volts_under_the_cut_off_at_once_gets_nothing(name: str) -> None:
    # LINE at 0.4: 3.4 V, under a current of 1.0C (14 x 3.4 V x 100 A less what the resistance takes) 0.2 V less.
    low_v = 3.25 if name == "board" else 2.9
    board = Board(cell_low_v=low_v, cell_high_v=4.05, current_limit_a=300)
    cell = dataclasses.replace(LINE, charge_c_max=2.0, discharge_c_max=2.0)
    one = bank(cell, series=14, label_ah=100, reserve_soc=0.0, board=board)
    p = plant(one, inverter(k1=0.0, idle_w=0.0, dc_min_v=40 if name == "board" else 3.25 * 14, restart_v=50), MEAN_W)
    power_w = 14 * 100 * (3.4 - 0.5)
    after, flow = step(p, State(0.4), 0.0, 0.0, power_w, 1.0)
    assert (after.soc, after.on, flow.hours, flow.limit) == (0.4, False, 0.0, name)
    # of half that current the sag is 0.1 V: it runs until the rested volts less the sag are at the cut-off
    light_w = 14 * 100 * 0.5 * (3.4 - 0.25)
    after, flow = step(p, State(0.4), 0.0, 0.0, light_w, 0.01)
    assert after.on
    assert flow.hours == 0.01
    ended = run(p, State(0.4), [0.0] * 3, [0.0] * 3, [light_w] * 3, until_ended=True)
    low = float(ended.soc[-1])
    rate = stepping._discharge_c(p, low, light_w / 1400)
    assert rate is not None
    assert 3.0 + low - 0.2 * rate == pytest.approx(3.25, abs=1e-3)
    assert ended.ended_by == name


def test_any_want_of_charge_is_short_and_a_want_of_inverter_is_not() -> None:
    flows = [
        stepping.Flow(1.0, unserved_wh=0.0, limit="reserve"),
        stepping.Flow(1.0, unserved_wh=500.0, limit="overload"),
        stepping.Flow(1.0, unserved_wh=0.001, limit="reserve"),
        stepping.Flow(1.0, unserved_wh=900.0, limit="cold"),
    ]
    assert [stepping.is_short(flow) for flow in flows] == [False, False, True, True]
    assert stepping.first_short(flows) == 2
    assert stepping.first_short(flows[:2]) is None


def test_a_step_that_moves_nothing_says_nothing() -> None:
    assert stepping.Flow(1.0) == (1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, "")
    assert State(0.5) == (0.5, True, False)
    idle, flow = step(ready(IDEAL, top_soc=0.9), State(0.9), 500.0, 100.0, 0.0, 0.7)
    wanted_w = 100 / 0.93 + 40
    assert (idle, flow.hours) == (State(0.9), 0.7)
    assert (flow.sun_wh, flow.spare_wh) == pytest.approx((0.7 * wanted_w, 0.7 * (500 - wanted_w)))


@pytest.mark.parametrize("sun_w", [500.0, 3000.0, 9000.0])
@pytest.mark.parametrize("chemistry", ["nmc", "lead_sealed"])
def test_charge_taken_from_the_sun_is_power_at_the_terminals_or_the_end_volts(chemistry: str, sun_w: float) -> None:
    """By another method: seconds of explicit steps, each with the current that power, cells and end volts allow."""
    p = dataclasses.replace(ready(chemistry, hold=True), self_discharge_per_h=0.0)
    unit_w = inverter().dc_w(0.0)
    s, dt, taken_wh = 0.5, 2.0 / 3600.0, 0.0
    for _ in range(round(5.0 / dt)):
        ocv, r_slow = at(p.cells.ocv_v, s), at(p.cells.r_slow, s)
        power_v = (sun_w - unit_w) / p.series_ah
        rate = min((-ocv + (ocv**2 + 4 * r_slow * power_v) ** 0.5) / (2 * r_slow), (p.end_v - ocv) / r_slow)
        rate = max(min(rate, p.charge_c_max), 0.0)
        if p.acceptance_tau_h is not None:
            rate = min(rate, (1.0 - s) / p.acceptance_tau_h)
        if s >= p.top_soc:
            rate = 0.0
        taken_wh += p.series_ah * rate * (ocv + rate * r_slow) * dt
        s += rate * at(p.cells.coulombic, s) * dt
    week = run(p, State(0.5), [sun_w] * 5, [0.0] * 5, [0.0] * 5)
    assert week.soc[-1] == pytest.approx(s, abs=0.01)
    assert week.totals.sun_kwh == pytest.approx((taken_wh + 5 * unit_w) / 1000, rel=0.015)


@pytest.mark.parametrize(("sun_w", "dc_w"), [(1400.0, 0.0), (2600.0, 300.0), (0.0, 700.0), (300.0, 1500.0)])
def test_steps_of_a_straight_cell_keep_their_energy_to_the_last(sun_w: float, dc_w: float) -> None:
    # volts in a line: what is booked at the middle of a step is what lies between its ends; a discharge takes its
    # current at the middle as first reckoned
    for coulombic in (1.0, 0.8):
        p = straight(coulombic, idle_w=0.0)
        week = run(p, State(0.45), [sun_w] * 2, [0.0] * 2, [dc_w] * 2)
        assert abs(week.soc[-1] - 0.45) > 0.1
        assert week.totals.balance_error_share == pytest.approx(0.0, abs=2e-5 if dc_w > sun_w else 1e-9)


@pytest.mark.parametrize("coulombic", [1.0, 0.8])
def test_a_step_of_a_hold_ends_at_no_more_than_the_cells_still_accept(coulombic: float) -> None:
    # Held at 4.04 V behind 0.5 V per C the straight cell takes 2 (1.04 - s), from 84 % on no more than (1 - s) / 0.4 h.
    cell = dataclasses.replace(
        LINE, v_charge=4.04, acceptance_tau_h=0.4, charge_c_max=2.0, coulombic_efficiency=coulombic
    )
    one = bank(cell, series=14, label_ah=100, reserve_soc=0.0, hold=True, top_soc=1.0)
    p = plant(one, inverter(k1=0.0, idle_w=0.0, dc_min_v=35, restart_v=40), MEAN_W)
    after, flow = step(p, State(0.8), 1e5, 0.0, 0.0, 0.25)
    assert flow.hours == 0.25
    # implicit in time: s = 0.8 + 0.25 (1 - s) / 0.4 times what is kept
    part = 0.625 * coulombic
    assert after.soc == pytest.approx((0.8 + part) / (1 + part), abs=1e-4)


@pytest.mark.parametrize("chemistry", ["sodium_layered", "nmc"])
def test_finer_steps_near_empty_move_the_end_by_less_than_half_a_percent(
    chemistry: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    p = plant(bank(chemistry, reserve_soc=0.0), inverter(dc_min_v=30, restart_v=44), MEAN_W)
    whole = until_end(p, 0.05, 700.0)
    monkeypatch.setattr(stepping, "MAX_SOC_STEP", stepping.MAX_SOC_STEP / 16)
    finer = until_end(p, 0.05, 700.0)
    assert whole.ended_h == pytest.approx(finer.ended_h, rel=0.005)
    assert whole.totals.cell_loss_kwh == pytest.approx(finer.totals.cell_loss_kwh, rel=0.02)
