"""The depth spectrum against stepping through, for any hours and any bank."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from engine.balance.depths import Constant, net_kwh, outings, spectrum

Floats = NDArray[np.float64]

whole = st.integers(-3, 4).map(float)
real = st.floats(-5.0, 5.0, allow_subnormal=False).filter(lambda kwh: kwh == 0.0 or abs(kwh) > 1e-6)
hours = st.one_of(st.lists(whole, min_size=1, max_size=80), st.lists(real, min_size=1, max_size=80))
sizes = st.floats(0.01, 30.0)


def stepped(net: list[float], bank_kwh: float) -> tuple[float, int]:
    """Step a full bank through the hours: what it fails to give, and how often it runs empty from full."""
    drawn = short = 0.0
    spells, dark = 0, False
    for kwh in net:
        drawn = max(drawn - kwh, 0.0)
        dark = dark and drawn > 0.0
        if drawn > bank_kwh:
            short, drawn = short + drawn - bank_kwh, bank_kwh
            spells, dark = spells + (not dark), True
    return short, spells


@settings(max_examples=400, deadline=None)
@given(hours, sizes)
def test_spectrum_is_what_stepping_gives(net: list[float], bank_kwh: float) -> None:
    found = spectrum(np.array(net))
    short_kwh, spells = stepped(net, bank_kwh)
    assert float(found.short_kwh(bank_kwh)) == pytest.approx(short_kwh, rel=1e-9, abs=1e-9)
    near = np.abs(found.depth_kwh - bank_kwh) < 1e-9
    assert near.any() or int(found.dark_spells(bank_kwh)) == spells


@pytest.mark.parametrize("seed", range(8))
def test_two_thousand_cells_of_twenty_years_are_what_stepping_gives(seed: int) -> None:
    rng = np.random.default_rng(seed)
    days, hour = 20 * 365, np.arange(24)
    sun_w = np.maximum(np.sin((hour - 6) / 12 * np.pi), 0.0) * rng.gamma(2.0, 700.0, (days, 1))
    drawn_w = rng.uniform(100.0, 900.0, 24) + np.zeros((days, 24))
    net = net_kwh(sun_w.ravel(), drawn_w.ravel(), Constant(charge_efficiency=0.95, discharge_efficiency=0.97))
    banks = np.linspace(1.0, 40.0, 250)
    found = spectrum(net)
    short_kwh, spells = stepped_together(net, banks)
    assert found.short_kwh(banks) == pytest.approx(short_kwh, rel=1e-9)
    assert found.dark_spells(banks).tolist() == spells.tolist()


def stepped_together(net: Floats, banks: Floats) -> tuple[Floats, NDArray[np.int64]]:
    drawn, short = np.zeros(banks.size), np.zeros(banks.size)
    spells, dark = np.zeros(banks.size, dtype=np.int64), np.zeros(banks.size, dtype=bool)
    for kwh in net.tolist():
        drawn = np.maximum(drawn - kwh, 0.0)
        dark &= drawn > 0.0
        over = np.maximum(drawn - banks, 0.0)
        short += over
        empty = over > 0.0
        spells += empty & ~dark
        dark |= empty
        drawn -= over
    return short, spells


@settings(max_examples=200, deadline=None)
@given(hours, sizes, sizes)
def test_a_larger_bank_never_fails_more_and_its_inverse_brings_it_back(
    net: list[float], one_kwh: float, other_kwh: float
) -> None:
    found = spectrum(np.array(net))
    small, large = sorted((one_kwh, other_kwh))
    assert found.dark_spells(large) <= found.dark_spells(small)
    assert float(found.short_kwh(large)) <= float(found.short_kwh(small)) + 1e-12
    spells, short_kwh = int(found.dark_spells(small)), float(found.short_kwh(small))
    assert found.bank_for_spells(spells) <= small
    assert found.dark_spells(found.bank_for_spells(spells)) <= spells
    if short_kwh > 1e-6:
        assert found.bank_for_short(short_kwh) == pytest.approx(small, rel=1e-6)
    assert float(found.short_kwh(found.bank_for_spells(0))) == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=200, deadline=None)
@given(hours)
def test_times_away_from_full_hold_the_deepest_cycle_and_do_not_overlap(net: list[float]) -> None:
    away, found = outings(np.array(net)), spectrum(np.array(net))
    assert max((one.depth_kwh for one in away), default=0.0) == pytest.approx(found.bank_for_spells(0), abs=1e-9)
    for one in away:
        assert one.begin_h < one.lowest_h <= one.end_h
        assert -sum(net[one.begin_h : one.lowest_h]) == pytest.approx(one.depth_kwh, abs=1e-9)
    ends = [(one.begin_h, one.end_h) for one in away]
    assert all(before[1] <= after[0] for before, after in pairwise(ends))


def test_an_hour_that_is_not_a_number_is_refused() -> None:
    with pytest.raises(ValueError, match="finite"):
        spectrum(np.array([1.0, np.nan, 2.0]))
