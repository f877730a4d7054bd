"""Conservation, monotony and limits of the balance, for any chemistry, sun and load."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from engine.balance.step import LEAST_H, State, plant
from engine.balance.trajectory import Trajectory, run
from engine.house.bank import Board
from tests.engine.plants import SERIES, bank, generator, inverter

chemistries = st.sampled_from(sorted(SERIES))
power_w = st.floats(0.0, 4000.0)
day = st.lists(power_w, min_size=24, max_size=24)


def followed(chemistry: str, soc: float, sun_w: list[float], load_w: list[float], **changes: object) -> Trajectory:
    p = plant(bank(chemistry, **changes), inverter(), 400.0)
    return run(p, State(soc), sun_w, load_w, [0.0] * len(sun_w))


@settings(max_examples=120, deadline=None)
@example("sodium_layered", 0.21875, [0.0] * 24, [2794.0] + [0.0] * 23, False, 0.0)
@given(chemistries, st.floats(0.0, 1.0), day, day, st.booleans(), st.floats(-10.0, 40.0))
def test_energy_is_conserved(
    chemistry: str, soc: float, sun_w: list[float], load_w: list[float], hold: bool, cell_c: float
) -> None:
    week = followed(chemistry, soc, sun_w, load_w, hold=hold, cell_c=cell_c)
    assert abs(week.totals.balance_error_share) < 1e-3
    asked_kwh = sum(load_w) / 1000
    assert week.totals.served_kwh + week.totals.unserved_kwh == pytest.approx(asked_kwh, abs=1e-6)
    assert week.totals.sun_kwh + week.totals.spare_kwh == pytest.approx(sum(sun_w) / 1000, abs=1e-6)


@settings(max_examples=120, deadline=None)
@given(chemistries, st.floats(0.0, 1.0), day, day, st.booleans())
def test_charge_stays_within_its_limits(
    chemistry: str, soc: float, sun_w: list[float], load_w: list[float], hold: bool
) -> None:
    week = followed(chemistry, soc, sun_w, load_w, hold=hold)
    assert week.soc.min() >= min(soc, 0.2) - 0.01
    assert week.soc.max() <= max(soc, 1.0) + 1e-12
    assert np.all(week.served_wh >= -1e-9)
    assert np.all(week.unserved_wh >= -1e-9)
    assert np.all(week.spare_wh >= -1e-9)


@settings(max_examples=60, deadline=None)
@given(chemistries, st.floats(0.3, 1.0), st.floats(50.0, 2500.0), st.floats(1.0, 1.5))
def test_more_load_never_lasts_longer(chemistry: str, soc: float, load_w: float, factor: float) -> None:
    p = plant(bank(chemistry), inverter(), 400.0)
    light, heavy = (
        run(p, State(soc), [0.0] * 800, [w] * 800, [0.0] * 800, until_ended=True).ended_h or np.inf
        for w in (load_w, load_w * factor)
    )
    assert heavy <= light * (1 + 1e-6)


@settings(max_examples=60, deadline=None)
@given(chemistries, st.floats(0.3, 0.9), st.floats(100.0, 2500.0), st.floats(0.0, 600.0))
def test_sun_never_shortens(chemistry: str, soc: float, load_w: float, sun_w: float) -> None:
    p = plant(bank(chemistry), inverter(), 400.0)
    dark, lit = (
        run(p, State(soc), [w] * 400, [load_w] * 400, [0.0] * 400, until_ended=True).ended_h or np.inf
        for w in (0.0, sun_w)
    )
    assert lit >= dark * (1 - 1e-6)


@settings(max_examples=60, deadline=None)
@given(chemistries, st.floats(0.3, 0.9), st.floats(0.0, 0.1), st.floats(100.0, 2000.0))
def test_more_charge_never_lasts_shorter(chemistry: str, soc: float, more: float, load_w: float) -> None:
    p = plant(bank(chemistry), inverter(), 400.0)
    less, fuller = (
        run(p, State(s), [0.0] * 400, [load_w] * 400, [0.0] * 400, until_ended=True).ended_h or np.inf
        for s in (soc, soc + more)
    )
    assert fuller >= less * (1 - 1e-6)


@settings(max_examples=100, deadline=None)
@example("lead_flooded", 1.0, 0.05, 3000.0, 10.0)
@example("lead_gel", 1.0, 0.1, 3500.0, 10.0)
@given(
    st.sampled_from(["lead_flooded", "lead_sealed", "lead_gel"]),
    st.floats(0.5, 1.0),
    st.floats(0.0, 0.3),
    st.floats(500.0, 5000.0),
    st.floats(-10.0, 40.0),
)
def test_more_charge_never_lasts_shorter_in_lead_acid_up_to_full(
    chemistry: str, soc: float, less: float, load_w: float, cell_c: float
) -> None:
    p = plant(bank(chemistry, label_ah=200.0, cell_c=cell_c), inverter(dc_min_v=42.0), load_w)
    fuller_h, less_h = (
        run(p, State(s), [0.0] * 24, [load_w] * 24, [0.0] * 24, until_ended=True).ended_h for s in (soc, soc - less)
    )
    assert (np.inf if fuller_h is None else fuller_h) >= (np.inf if less_h is None else less_h) * (1 - 1e-6)


@settings(max_examples=120, deadline=None)
@given(chemistries, st.floats(0.0, 1.0), day, day, st.floats(5.0, 60.0), st.floats(0.0, 0.3))
def test_energy_is_conserved_at_the_current_limit(
    chemistry: str, soc: float, sun_w: list[float], load_w: list[float], limit_a: float, reserve: float
) -> None:
    cell = bank(chemistry).cell
    board = Board(cell_low_v=cell.v_low, cell_high_v=cell.v_max, current_limit_a=limit_a)
    week = followed(chemistry, soc, sun_w, load_w, board=board, reserve_soc=reserve)
    assert abs(week.totals.balance_error_share) < 1e-3
    assert week.soc.min() >= min(soc, reserve) - 0.01


def test_year_closes_its_balance_for_every_chemistry() -> None:
    rng = np.random.default_rng(4)
    sun = np.clip(1500 * np.sin((np.arange(8760) % 24 - 6) / 12 * np.pi), 0, None) * rng.uniform(0.05, 1, 365).repeat(
        24
    )
    load = rng.uniform(100, 700, 8760)
    for chemistry in SERIES:
        year = followed(chemistry, 0.7, sun.tolist(), load.tolist())
        assert abs(year.totals.balance_error_share) < 1e-4, chemistry


@settings(max_examples=150, deadline=None)
@given(
    chemistries,
    st.floats(0.0, 1.0),
    day,
    day,
    st.booleans(),
    st.floats(-30.0, 40.0),
    st.floats(0.0, 0.95),
    st.floats(0.05, 0.6),
    st.floats(0.0, 6000.0),
    st.integers(0, 47),
    st.integers(0, 47),
    st.floats(0.0, 5.0),
    st.floats(0.0, 600.0),
)
def test_energy_is_conserved_with_a_generator(
    chemistry: str,
    soc: float,
    sun_w: list[float],
    load_w: list[float],
    hold: bool,
    cell_c: float,
    start_soc: float,
    rise: float,
    charger_w: float,
    quiet_from: int,
    quiet_to: int,
    least_run_h: float,
    dc_w: float,
) -> None:
    rules = generator(
        start_soc=start_soc,
        stop_soc=min(start_soc + rise, 1.0),
        charger_w=charger_w,
        quiet_from_h=quiet_from / 2,
        quiet_to_h=quiet_to / 2,
        least_run_h=least_run_h,
    )
    p = plant(bank(chemistry, hold=hold, cell_c=cell_c), inverter(), 400.0)
    week = run(p, State(soc), sun_w, load_w, [dc_w] * 24, generator=rules, from_hour=5)
    done = week.generation
    assert done is not None
    assert abs(week.totals.balance_error_share) < 1e-3
    asked_kwh = sum(load_w) / 1000 + 24 * dc_w / 1000
    assert week.totals.served_kwh + week.totals.unserved_kwh == pytest.approx(asked_kwh, abs=1e-6)
    assert week.totals.sun_kwh + week.totals.spare_kwh == pytest.approx(sum(sun_w) / 1000, abs=1e-6)
    ran_h, given_wh, loss_wh, litres = done.burnt.T
    # An hour's steps, up to a hundred here, are timed to LEAST_H each.
    slack_h = 100 * LEAST_H
    assert np.all(given_wh <= rules.rated_w * (ran_h + slack_h))
    assert np.all(litres <= rules.full_l_per_h * (ran_h + slack_h))
    assert np.all(litres >= rules.idle_l_per_h * (ran_h - slack_h))
    assert np.all(loss_wh >= -1e-9)
    for hour in range(24):
        loud = sum(not rules.is_quiet((5 + hour) % 24 + half) for half in (0.0, 0.5))
        assert ran_h[hour] <= (loud / 2 + slack_h if loud else 0.0)
    if cell_c < 0.0 and bank(chemistry).board is not None:
        assert np.all(np.diff(week.soc) <= 1e-12)


@settings(max_examples=150, deadline=None)
@given(
    chemistries,
    st.floats(30.0, 280.0),
    st.floats(0.0, 1.0),
    st.lists(st.floats(0.0, 6000.0), min_size=24, max_size=24),
    st.floats(500.0, 6000.0),
    st.floats(-15.0, 30.0),
)
def test_a_small_bank_under_a_heavy_load_ends_its_day_with_a_generator(
    chemistry: str, label_ah: float, soc: float, load_w: list[float], rated_w: float, cell_c: float
) -> None:
    rules = generator(rated_w=rated_w, charger_w=0.8 * rated_w)
    p = plant(bank(chemistry, label_ah=label_ah, cell_c=cell_c), inverter(restart_v=46), 400.0)
    day = run(p, State(soc), [0.0] * 24, load_w, [0.0] * 24, generator=rules)
    assert day.hours[-1] == pytest.approx(24.0)
    assert abs(day.totals.balance_error_share) < 2e-3
    assert day.totals.served_kwh + day.totals.unserved_kwh == pytest.approx(sum(load_w) / 1000, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(chemistries, st.floats(0.3, 1.0), day, st.floats(0.2, 0.7))
def test_a_generator_never_leaves_more_unserved(
    chemistry: str, soc: float, load_w: list[float], start_soc: float
) -> None:
    p = plant(bank(chemistry), inverter(), 400.0)
    rules = generator(start_soc=start_soc, stop_soc=start_soc + 0.2)
    series = [0.0] * 72, load_w * 3, [0.0] * 72
    with_it = run(p, State(soc), *series, generator=rules)
    assert with_it.totals.unserved_kwh <= run(p, State(soc), *series).totals.unserved_kwh + 1e-9
