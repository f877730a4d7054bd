"""What must hold for any cell at any volts, current and temperature."""

from __future__ import annotations

import dataclasses

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from engine.cells import catalogue, curve
from engine.cells.chemistry import capacity_share, table

CELLS = st.sampled_from([catalogue.load(id) for id in catalogue.names()])
RATES = st.floats(0.01, 1.0)
DEGREES = st.floats(-20.0, 45.0)
SHARES = st.floats(0.0, 1.0)


def volts(cell, share):
    return cell.v_low + share * (cell.v_max - cell.v_low)


@given(CELLS, SHARES, SHARES, RATES, DEGREES)
def test_higher_charge_volts_never_give_less(cell, a, b, c_rate, degrees):
    low, high = sorted((volts(cell, a), volts(cell, b)))
    for reached in (
        lambda v: curve.soc_without_hold(cell, v, c_rate, degrees),
        lambda v: curve.soc_with_hold(cell, v, None, degrees),
    ):
        assert 0.0 <= reached(low) <= reached(high) <= 1.0


@given(CELLS, SHARES, RATES, DEGREES)
def test_a_hold_never_gives_less(cell, share, c_rate, degrees):
    # A current below the tail is never held.
    v_end, current = volts(cell, share), max(c_rate, cell.tail_c)
    held = curve.soc_with_hold(cell, v_end, None, degrees)
    assert held >= curve.soc_without_hold(cell, v_end, current, degrees)


@given(CELLS, SHARES, RATES, RATES, DEGREES)
def test_a_lower_current_without_a_hold_never_gives_less(cell, share, a, b, degrees):
    slow, fast = sorted((a, b))
    v_end = volts(cell, share)
    slowly = curve.soc_without_hold(cell, v_end, slow, degrees)
    assert slowly >= curve.soc_without_hold(cell, v_end, fast, degrees)


@given(CELLS, SHARES, RATES)
def test_without_resistance_a_hold_makes_no_difference(cell, share, c_rate):
    none = (0.0,) * len(cell.soc)
    ideal = dataclasses.replace(cell, r_slow_v_per_c=none, acceptance_tau_h=None)
    v_end = volts(cell, share)
    assert curve.soc_with_hold(ideal, v_end) == curve.soc_without_hold(ideal, v_end, c_rate)


@given(CELLS, SHARES, RATES, DEGREES, st.booleans())
def test_volts_for_soc_inverts_the_charge(cell, soc, c_rate, degrees, hold):
    cell = dataclasses.replace(cell, acceptance_tau_h=None)
    v_end = curve.volts_for_soc(cell, soc, c_rate, hold, degrees)
    reached = (
        curve.soc_with_hold(cell, v_end, None, degrees)
        if hold
        else curve.soc_without_hold(cell, v_end, c_rate, degrees)
    )
    again = curve.volts_for_soc(cell, reached, c_rate, hold, degrees)
    # On a stretch where the volts of a charge do not rise, the lower end is meant: same volts, less charge.
    assert abs(again - v_end) < 1e-9
    assert reached <= soc + 1e-9
    above = curve.volts_for_soc(cell, soc + 1e-3, c_rate, hold, degrees)
    assert reached > soc - 1e-6 or above - v_end < 1e-3


@given(CELLS, DEGREES)
def test_the_energy_table_rises(cell, degrees):
    cells = table(cell, degrees)
    assert np.all(np.diff(cells.energy_v) > 0)
    assert np.all(np.diff(cells.ocv_v) >= 0)
    assert cells.ocv_v[0] < cells.energy_v[-1] < cells.ocv_v[-1]


@given(CELLS, st.floats(-60.0, 80.0), st.floats(0.0, 20.0), st.floats(0.0, 20.0))
def test_capacity_share_is_a_share_and_falls_with_the_current(cell, degrees, a, b):
    slow, fast = sorted((a, b))
    assert 0.0 < capacity_share(cell, degrees, fast) <= capacity_share(cell, degrees, slow) <= 1.0


@given(CELLS, SHARES, SHARES, RATES, RATES, DEGREES)
def test_a_higher_cut_off_or_a_heavier_load_leaves_more_behind(cell, a, b, c, d, degrees):
    (low, high), (light, heavy) = sorted((volts(cell, a), volts(cell, b))), sorted((c, d))
    left = curve.soc_at_cutoff(cell, low, light, degrees)
    assert left <= curve.soc_at_cutoff(cell, high, light, degrees)
    assert left <= curve.soc_at_cutoff(cell, low, heavy, degrees)
