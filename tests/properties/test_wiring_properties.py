"""Wiring: what must hold for any cable, any length, any number of strings and any cut-off."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.answers.wiring_parts import BankWiring, wired
from engine.house.household import read
from engine.house.wiring import leg_ohm

H = json.loads((Path(__file__).parents[1] / "households" / "h.json").read_text(encoding="utf-8"))
lengths = st.floats(0.05, 200.0)
areas = st.floats(0.2, 2000.0)
copper = st.floats(-40.0, 150.0)
cutoffs = st.floats(40.0, 55.0)
strings = st.integers(1, 50)


def bank_wiring(
    cutoff_v: float = 44.0, parallel: int = 1, length_m: float = 2.0, area_mm2: float = 35.0, **more: Any
) -> BankWiring:
    """Household H wired so."""
    house = copy.deepcopy(H)
    house["inverters"][0].update(dc_min_v=cutoff_v, restart_v=cutoff_v + 1.0)
    leg = {"length_m": length_m, "area_mm2": area_mm2}
    house["banks"][0].update(parallel=parallel, wiring={"main": leg, "string": leg, "cell_mohm": 0.2, **more})
    one = read(house)
    (supply,) = one.supplies()
    return wired(one, supply, supply.bank)


@given(lengths, areas, areas, copper)
def test_thicker_never_drops_more(length_m: float, one: float, other: float, conductor_c: float) -> None:
    thin, thick = sorted((one, other))
    assert leg_ohm(length_m, thick, conductor_c) <= leg_ohm(length_m, thin, conductor_c)


@given(lengths, lengths, areas, copper)
def test_longer_never_drops_less(one: float, other: float, area_mm2: float, conductor_c: float) -> None:
    short, long = sorted((one, other))
    assert leg_ohm(long, area_mm2, conductor_c) >= leg_ohm(short, area_mm2, conductor_c) > 0.0


@given(lengths, areas, copper, copper)
def test_hotter_never_drops_less(length_m: float, area_mm2: float, one: float, other: float) -> None:
    cold, hot = sorted((one, other))
    assert leg_ohm(length_m, area_mm2, hot) >= leg_ohm(length_m, area_mm2, cold)


@given(strings, strings)
def test_more_strings_never_short_with_less_nor_load_one_more(one: int, other: int) -> None:
    few, many = (bank_wiring(parallel=n) for n in sorted((one, other)))
    assert few.fault.bus_a is not None
    assert many.fault.bus_a is not None
    assert many.fault.bus_a >= few.fault.bus_a
    assert many.even_a <= few.even_a
    assert many.one_out_a <= few.one_out_a
    assert many.even_a <= many.one_out_a <= many.ruling_a


@given(cutoffs, cutoffs)
def test_a_lower_cut_off_never_draws_less(one: float, other: float) -> None:
    low, high = (bank_wiring(cutoff_v=volts) for volts in sorted((one, other)))
    assert low.discharge_a >= high.discharge_a
    assert low.ruling_a >= high.ruling_a


@given(cutoffs, strings, st.floats(0.05, 20.0), st.floats(1.5, 240.0))
def test_power_lost_is_that_of_the_current_and_thicker_sizes_reach_further(
    cutoff_v: float, parallel: int, length_m: float, area_mm2: float
) -> None:
    one = bank_wiring(cutoff_v, parallel, length_m, area_mm2)
    for run in one.runs:
        assert run.lost_w == pytest.approx(run.current_a**2 * run.ohm)
        assert run.drop_v == pytest.approx(run.drop_a * run.ohm)
        assert run.drop_a <= run.current_a
    reach = [size.longest_m for size in one.sizes]
    assert reach == sorted(reach)
    kept = [size.keeps for size in one.sizes]
    assert kept == sorted(kept, key=bool)


@given(st.floats(0.01, 100.0), st.floats(0.01, 100.0))
def test_more_milliohms_never_short_with_more(one: float, other: float) -> None:
    low, high = (bank_wiring(cell_mohm=mohm).fault.bus_a for mohm in sorted((one, other)))
    assert low is not None
    assert high is not None
    assert low >= high > 0.0
