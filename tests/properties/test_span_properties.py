"""What must hold for any hold, and for any pack on any inverter's window."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.answers.charging_parts import hold_worth, reached
from engine.cells import catalogue
from engine.cells.chemistry import at, table
from engine.cells.hold import soc_after_hold, taper
from engine.house.span import Way, best, other_counts, span
from tests.engine.plants import SERIES, bank, inverter

NAMES = st.sampled_from(sorted(catalogue.names()))
SHARES = st.floats(0.0, 1.0)
RATES = st.floats(0.02, 1.0)
TAILS = st.floats(0.005, 0.3)
DEGREES = st.floats(-20.0, 45.0)
POWERS = st.floats(10.0, 8000.0)
WINDOWS = st.tuples(st.floats(20.0, 50.0), st.floats(0.0, 10.0), st.floats(52.0, 70.0), st.floats(0.0, 10.0))


def volts(cell, share):
    return cell.v_low + share * (cell.v_max - cell.v_low)


def way(cell, share, hold, c_rate=0.1, tail_c=0.08):
    return Way(cell_v=volts(cell, share), hold=hold, charge_c=c_rate, tail_c=tail_c)


def on(low_v, high_v, **changes):
    return inverter(dc_min_v=low_v, dc_max_v=high_v, restart_v=(low_v + high_v) / 2.0, **changes)


@given(NAMES, st.integers(-3, 3), SHARES, st.booleans(), WINDOWS, POWERS)
def test_the_shares_of_a_window_sum_to_one(name, more, share, hold, window, power_w):
    pack = bank(name, series=SERIES[name] + more)
    found = span(pack, on(window[0], window[2]), power_w, way(pack.cell, share, hold))
    parts = (found.below_share, found.inside_share, found.above_share)
    assert sum(parts) == pytest.approx(1.0, abs=1e-12)
    assert all(-1e-12 <= part <= 1.0 for part in parts)


@given(NAMES, st.integers(-3, 3), SHARES, st.booleans(), WINDOWS, POWERS)
def test_a_wider_window_never_leaves_less_to_use(name, more, share, hold, window, power_w):
    low_v, down_v, high_v, up_v = window
    pack = bank(name, series=SERIES[name] + more)
    asked = way(pack.cell, share, hold)
    narrow = span(pack, on(low_v, high_v, lowest_v=low_v - down_v), power_w, asked)
    wide = span(pack, on(low_v - down_v, high_v + up_v), power_w, asked)
    assert wide.inside_share >= narrow.inside_share - 1e-12
    # Never below what the cells themselves allow.
    lowered = span(pack, on(min(low_v, narrow.lowest_v), high_v), power_w, asked)
    assert lowered.inside_share == pytest.approx(narrow.inside_share + narrow.lowered_gain_share, abs=1e-12)


@given(NAMES, SHARES, SHARES, RATES, TAILS, DEGREES)
def test_higher_volts_and_a_hold_never_give_less(name, a, b, c_rate, tail_c, degrees):
    pack = bank(name, cell_c=degrees)
    low, high = sorted((volts(pack.cell, a), volts(pack.cell, b)))
    for hold, hold_h in ((False, None), (True, None), (True, 1.5)):
        less = reached(pack, low, c_rate, hold, tail_c, hold_h)
        more = reached(pack, high, c_rate, hold, tail_c, hold_h)
        # A hold of hours is followed along a table of 1000 steps cut in 8: as near as that.
        assert more.soc >= less.soc - (0.0 if hold_h is None else 1e-4)
    bare = reached(pack, low, c_rate, False, tail_c)
    assert reached(pack, low, c_rate, True, tail_c).soc >= bare.soc
    assert reached(pack, low, c_rate, True, tail_c, 0.5).soc >= bare.soc


@given(NAMES, SHARES, RATES, TAILS, TAILS, DEGREES)
def test_the_minutes_of_a_hold_are_finite_and_fewer_with_a_larger_tail(name, share, c_rate, a, b, degrees):
    pack = bank(name, cell_c=degrees)
    small, large = sorted((a, b))
    long = hold_worth(pack, volts(pack.cell, share), c_rate, small, None)
    short = hold_worth(pack, volts(pack.cell, share), c_rate, large, None)
    assert np.isfinite(long.minutes)
    assert 0.0 <= short.minutes <= long.minutes + 1e-6
    assert short.gain_soc <= long.gain_soc + 1e-12


@given(NAMES, SHARES, RATES, TAILS)
def test_a_longer_hold_never_gives_less_and_ends_where_the_tail_does(name, share, c_rate, tail_c):
    cell = catalogue.load(name)
    v_end = volts(cell, share)
    held = taper(cell, v_end, c_rate, tail_c)
    hours = float(held.hours[-1])
    assert soc_after_hold(cell, v_end, c_rate, hours / 2.0) <= soc_after_hold(cell, v_end, c_rate, hours) + 1e-12
    # The current at an hour, found by following the hold, is the current at which the tail stops it; the table's
    # steps leave the two within a part of one.
    if tail_c < c_rate and held.gained_soc > 0.001:
        assert soc_after_hold(cell, v_end, c_rate, hours) == pytest.approx(float(held.soc[-1]), abs=5e-4)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(["sodium_layered", "nmc", "lead_sealed"]), st.floats(0.6, 0.9), st.floats(0.2, 0.5))
def test_the_current_followed_in_time_brings_the_charge_gained(name, share, c_rate):
    """Conservation, by another method: small steps of time, I from the volts at each, Ah summed."""
    cell = catalogue.load(name)
    v_end, tail_c = volts(cell, share), 0.05
    held = taper(cell, v_end, c_rate, tail_c)
    cells, s, put_in, hours, dt = table(cell), float(held.soc[0]), 0.0, 0.0, 1.0 / 3600.0
    while True:
        rate = min((v_end - at(cells.ocv_v, s)) / at(cells.r_slow, s), c_rate)
        if cell.acceptance_tau_h is not None:
            rate = min(rate, (1.0 - s) / cell.acceptance_tau_h)
        if rate <= tail_c or s >= 1.0:
            break
        s += rate * dt * at(cells.coulombic, s)
        put_in, hours = put_in + rate * dt, hours + dt
    # One second of 0.5C is 0.00014 of the charge; explicit steps err by less than a few of them.
    assert s - float(held.soc[0]) == pytest.approx(held.gained_soc, abs=5e-4)
    assert put_in == pytest.approx(float(held.put_in_share[-1]), abs=1e-3)
    assert hours == pytest.approx(float(held.hours[-1]), rel=0.02, abs=0.01)


@given(NAMES, st.integers(-2, 2), SHARES, st.booleans(), WINDOWS, POWERS)
def test_a_stop_is_the_best_count_only_where_no_other_leaves_anything_to_use(name, more, share, hold, window, power_w):
    pack = bank(name, series=SERIES[name] + more)
    found = other_counts(pack, on(window[0], window[2]), power_w, way(pack.cell, share, hold))
    chosen = best(found, pack.series)
    one = next(x for x in found if x.series == chosen.series)
    assert not one.stop or all(x.stop or not x.inside_share for x in found)
    rivals = [x for x in found if x.stop == one.stop]
    assert one.inside_share >= max(x.inside_share for x in rivals) - 0.01
    assert all(x.stop == (x.series * pack.cell.v_full > window[2] + 1e-9) for x in found)


@given(NAMES, SHARES, RATES)
def test_without_resistance_a_hold_is_worth_nothing(name, share, c_rate):
    cell = catalogue.load(name)
    ideal = dataclasses.replace(cell, r_slow_v_per_c=(0.0,) * len(cell.soc), acceptance_tau_h=None)
    worth = hold_worth(bank(ideal), volts(cell, share), c_rate, 0.01, None)
    assert (worth.gain_soc, worth.minutes) == (0.0, 0.0)
