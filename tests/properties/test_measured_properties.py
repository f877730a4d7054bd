"""What must hold for any measured cell, whatever its test."""

from __future__ import annotations

import dataclasses

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from engine.bench.isotonic import rising
from engine.bench.measured import (
    Trace,
    band_at,
    bench_rows,
    chemistry_of,
    from_charge,
    from_charge_and_discharge,
    from_table,
    share_at,
)
from engine.bench.records import ChargeEnd, ChargeTable
from engine.cells import catalogue, curve
from engine.cells.chemistry import table
from engine.errors import InputError

BASES = st.sampled_from([catalogue.load(id) for id in ("sodium_layered", "lfp", "nmc")])
SHARES = st.floats(0.0, 1.0)
RATES = st.floats(0.02, 1.0)
FULL_AH = 50.0


@st.composite
def tables(draw):
    """A cell of the catalogue with another resistance, charged to a few volts, read with errors; some holds missing."""
    base = draw(BASES)
    factor, noise = draw(st.floats(0.0, 2.0)), draw(st.floats(0.0, 0.03))
    truth = dataclasses.replace(base, r_slow_v_per_c=tuple(factor * r for r in base.r_slow_v_per_c))
    rows = draw(st.integers(3, 10))
    rng = np.random.default_rng(draw(st.integers(0, 999)))
    low = base.v_low + draw(st.floats(0.3, 0.7)) * (base.v_full - base.v_low)
    ends = []
    for volts in np.linspace(low, base.v_full, rows):
        plain = curve.soc_without_hold(truth, volts, 0.5) * (1 + noise * rng.standard_normal())
        held = curve.soc_with_hold(truth, volts) * (1 + noise * rng.standard_normal())
        kept = volts == base.v_full or rng.random() < 0.6
        ends.append(ChargeEnd(volts=float(volts), no_hold_ah=plain * FULL_AH, hold_ah=held * FULL_AH if kept else None))
    if draw(st.booleans()):
        ends[-1] = dataclasses.replace(ends[-1], hold_ah=None)
    return ChargeTable(ends=tuple(ends), charge_a=0.5 * FULL_AH, tail_a=base.tail_c * FULL_AH), base


@st.composite
def cells(draw):
    bench, base = draw(tables())
    try:
        return from_table(bench, base), base
    except InputError as refused:  # scattered so far that its ends fall: that is not asked about here
        assume(not refused.message.startswith("More volts never give less"))
        raise


@st.composite
def logs(draw):
    """A logged charge of such a cell with noisy volts, alone or with its discharge."""
    base, factor = draw(BASES), draw(st.floats(0.0, 2.0))
    rng = np.random.default_rng(draw(st.integers(0, 999)))
    s, ocv, r = np.linspace(0, 1, 501), np.array(table(base).ocv_v)[::2], factor * np.array(table(base).r_slow)[::2]
    error = draw(st.floats(0.0, 0.005)) * rng.standard_normal(len(s))
    up, down = ocv + 0.4 * r + error, ocv - 0.4 * r + error
    stop = max(int(np.argmax(up >= base.v_full)) if np.any(up >= base.v_full) else len(s), 60)
    charge = Trace(
        ah=s[:stop] * FULL_AH,
        volts=np.minimum(up[:stop], base.v_full),
        current_a=0.4 * FULL_AH,
        starts_empty=True,
    )
    start = s[stop - 1]
    drawn = (start - s[:stop][::-1]) * FULL_AH
    discharge = Trace(ah=drawn, volts=down[:stop][::-1], current_a=0.4 * FULL_AH, starts_empty=True)
    if draw(st.booleans()):
        return from_charge(charge, base), base
    return from_charge_and_discharge(charge, discharge, base), base


MEASURED = st.one_of(cells(), logs())


def volts_of(cell, share):
    return cell.v_low + share * (cell.v_top + 0.1 - cell.v_low)


@settings(deadline=None, max_examples=40)
@given(MEASURED, SHARES, SHARES, RATES)
def test_higher_charge_volts_never_give_less(measured, a, b, c_rate):
    cell, _ = measured
    low, high = sorted((volts_of(cell, a), volts_of(cell, b)))
    assert 0.0 <= share_at(cell, low, c_rate) <= share_at(cell, high, c_rate) <= 1.0


@settings(deadline=None, max_examples=40)
@given(MEASURED, SHARES, RATES)
def test_a_hold_never_gives_less(measured, share, c_rate):
    cell, _ = measured
    row = bench_rows(cell, c_rate, (volts_of(cell, share),))[0]
    assert row.hold_share >= row.no_hold_share


@settings(deadline=None, max_examples=40)
@given(MEASURED, SHARES, RATES, RATES)
def test_a_lower_current_without_a_hold_never_gives_less(measured, share, a, b):
    cell, _ = measured
    slow, fast = sorted((a, b))
    volts = volts_of(cell, share)
    assert share_at(cell, volts, slow) >= share_at(cell, volts, fast)


@settings(deadline=None, max_examples=40)
@given(BASES, st.integers(4, 12), SHARES, RATES)
def test_where_a_hold_added_nothing_there_is_no_resistance(base, rows, share, c_rate):
    ends = []
    for volts in np.linspace(0.5 * (base.v_low + base.v_full), base.v_full, rows):
        ah = curve.soc_with_hold(base, volts, 0.0) * FULL_AH
        ends.append(ChargeEnd(volts=float(volts), no_hold_ah=ah, hold_ah=ah))
    cell = from_table(ChargeTable(ends=tuple(ends), charge_a=0.5 * FULL_AH, tail_a=0.08 * FULL_AH), base)
    if cell.resistance.kind == "two columns":
        volts = volts_of(cell, share)
        assert abs(share_at(cell, volts, c_rate) - share_at(cell, volts, cell.tail_c)) < 1e-6


@settings(deadline=None, max_examples=40)
@given(MEASURED, SHARES, RATES)
def test_the_band_is_at_least_the_measurements_own(measured, share, c_rate):
    cell, _ = measured
    volts = volts_of(cell, share)
    assert 0.01 * share_at(cell, volts, c_rate) <= band_at(cell, volts, c_rate) < 1.5


@settings(deadline=None, max_examples=40)
@given(MEASURED, SHARES, RATES)
def test_every_measured_cell_is_a_chemistry_that_charges_alike(measured, share, c_rate):
    # The chemistry keeps fewer points: its charge is met within 5 mV of the same volts.
    cell, base = measured
    own = chemistry_of(cell, base, "mine", "Mine")
    volts = min(volts_of(cell, share), cell.v_top, own.v_full)
    reached = curve.soc_without_hold(own, volts, c_rate)
    assert share_at(cell, volts - 0.005, c_rate) - 0.011 <= reached
    assert reached <= share_at(cell, volts + 0.005, c_rate) + 0.011
    assert own.v_max == base.v_max
    assert own.v_charge <= base.v_charge


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=30))
def test_pooling_keeps_the_mean_and_never_falls(values):
    pooled = rising(np.array(values))
    assert np.all(np.diff(pooled) >= 0)
    assert abs(pooled.mean() - np.mean(values)) < 1e-6
    # Pooling once is enough.
    assert np.array_equal(rising(pooled), pooled)
