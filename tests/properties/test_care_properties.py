"""The care of cells: what must hold whatever the bank."""

from __future__ import annotations

import dataclasses

from hypothesis import given
from hypothesis import strategies as st

from engine.answers.care_bank import air, cold_limit, equalise, lead_volts
from engine.cells import catalogue
from engine.cells.cold_limits import FULL_C
from engine.cells.lead_acid import air_m3_h, density, freezes_at_c, opening_cm2, water_g
from engine.house.cold import allowed_charge_c
from tests.engine.plants import bank, inverter

LEAD = st.sampled_from(["lead_flooded", "lead_sealed", "lead_gel"])
BOARDED = st.sampled_from(["lfp", "nmc", "sodium_layered"])
SOC = st.floats(0.0, 1.0)
CELLS = st.integers(1, 400)
GAS = st.floats(0.0, 200.0)
AH = st.floats(1.0, 5000.0)


@given(SOC, SOC)
def test_fuller_never_freezes_sooner(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert density(low) <= density(high)
    assert freezes_at_c(high) <= freezes_at_c(low) < 0.0


@given(CELLS, CELLS, GAS, AH)
def test_more_cells_never_less_air(one: int, other: int, gas: float, ah: float) -> None:
    few, many = sorted((one, other))
    assert air_m3_h(few, gas, ah) <= air_m3_h(many, gas, ah)
    assert opening_cm2(air_m3_h(few, gas, ah)) <= opening_cm2(air_m3_h(many, gas, ah))


@given(CELLS, GAS, AH, st.floats(0.0, 200.0), st.floats(0.0, 200.0))
def test_water_of_two_spans_is_that_of_both(cells: int, gas: float, ah: float, first_h: float, then_h: float) -> None:
    parts = water_g(cells, gas, ah, first_h) + water_g(cells, gas, ah, then_h)
    assert abs(parts - water_g(cells, gas, ah, first_h + then_h)) <= 1e-9 * max(parts, 1.0)


@given(LEAD, st.integers(1, 20), st.integers(1, 20))
def test_more_strings_never_less_air_and_charging_never_less_than_float(id: str, one: int, other: int) -> None:
    few, many = (air(bank(id, parallel=count)) for count in sorted((one, other)))
    assert few is not None
    assert many is not None
    assert few.boost_m3_h <= many.boost_m3_h
    assert few.float_m3_h <= few.boost_m3_h <= (few.equalise_m3_h or few.boost_m3_h)


@given(LEAD, st.floats(-15.0, 45.0), st.floats(-15.0, 45.0))
def test_colder_cells_never_want_less_volts(id: str, one: float, other: float) -> None:
    cold, warm = (lead_volts(bank(id, cell_c=cell_c)) for cell_c in sorted((one, other)))
    assert cold.here_pack_v >= warm.here_pack_v
    assert cold.highest_here_cell_v >= warm.highest_here_cell_v
    assert cold.set_cell_v == warm.set_cell_v


@given(LEAD, st.floats(40.5, 200.0))
def test_only_cells_with_caps_are_equalised_and_only_where_the_inverter_bears_it(id: str, dc_max_v: float) -> None:
    found = equalise(bank(id), inverter(dc_max_v=dc_max_v, restart_v=40.2))
    assert (found is not None) is catalogue.load(id).waters
    assert found is None or found.fits is (found.here_pack_v <= dc_max_v + 1e-9)


@given(BOARDED, st.floats(-30.0, 60.0), st.none() | st.floats(0.0, 200.0))
def test_a_cold_limit_is_that_of_the_bank_or_none_at_all(id: str, cell_c: float, amps: float | None) -> None:
    one = bank(id, cell_c=cell_c, cold_charge_a=amps)
    limit = cold_limit(one)
    if limit.now_a is None:
        assert id == "sodium_layered"
        assert cell_c < (FULL_C if amps is None else 0.0)
    else:
        assert limit.now_a == allowed_charge_c(one, cell_c) * one.ah <= limit.full_a


@given(st.floats(-30.0, 9.99), st.floats(-30.0, 0.0))
def test_no_other_chemistrys_limit_stands_in(cell_c: float, charge_min_c: float) -> None:
    """Whatever the simulation assumes for sodium-ion, nobody sees it as allowed."""
    cell = dataclasses.replace(catalogue.load("sodium_layered"), charge_min_c=charge_min_c)
    assert cold_limit(bank(cell, series=15, cell_c=cell_c)).now_a is None
