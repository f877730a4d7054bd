"""A charge on any scale: read back as it was, rising as the charge does, and within 0 to 100 % whatever was typed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.cells import catalogue
from engine.house.bank import Bank
from engine.house.charge_scales import SCALES, Marks, marks, on_scale, shown, told, volts_span
from tests.engine.plants import IDEAL, SERIES, bank, inverter

COUNTED = ("monitor", "inverter", "usable", "ah")
"""Scales that tell every charge between their marks exactly."""
SURE_V, FLAT_V = 0.006, 0.05
UNIT = st.floats(0.0, 1.0)


@st.composite
def places(draw: st.DrawFn) -> Marks:
    """Marks of any chemistry, with room for every scale."""
    chemistry = draw(st.sampled_from(sorted(SERIES)))
    top = draw(st.floats(0.7, 1.0))
    return Marks(
        ah=draw(st.floats(20.0, 3000.0)),
        series=SERIES[chemistry],
        top_soc=top,
        reserve_soc=draw(st.floats(0.0, top - 0.05)),
        cutoff_soc=draw(st.floats(0.0, top - 0.05)),
        cells=bank(chemistry).table,
    )


@st.composite
def banks(draw: st.DrawFn) -> Bank:
    """A bank of any chemistry, warm or cold, and any reserve."""
    chemistry = draw(st.sampled_from(sorted(SERIES)))
    return bank(
        chemistry,
        cell_c=draw(st.floats(0.0, 35.0)),
        parallel=draw(st.integers(1, 4)),
        label_ah=draw(st.floats(80.0, 600.0)),
        reserve_soc=draw(st.floats(0.5 if chemistry.startswith("lead") else 0.1, 0.6)),
    )


def ocv_v(m: Marks, soc: float) -> float:
    """Rested volts of a cell, read off the table here."""
    return float(np.interp(soc, np.linspace(0.0, 1.0, len(m.cells.ocv_v)), m.cells.ocv_v))


@given(m=places(), scale=st.sampled_from(COUNTED), share=UNIT)
def test_what_a_scale_says_is_read_back(m: Marks, scale: str, share: float) -> None:
    empty = {"inverter": m.cutoff_soc, "usable": m.reserve_soc}.get(scale, 0.0)
    soc = empty + share * (m.top_soc - empty)
    found = told(m, scale, on_scale(m, scale, soc))
    assert found.soc == pytest.approx(soc, abs=1e-9)
    assert (found.low_soc, found.high_soc) == (found.soc, found.soc)


@given(one=banks(), scale=st.sampled_from(COUNTED), share=UNIT)
def test_what_a_bank_of_ones_own_says_is_read_back(one: Bank, scale: str, share: float) -> None:
    m = marks(one, inverter(), 400.0)
    lowest = max(m.reserve_soc, m.cutoff_soc)
    soc = lowest + share * (m.top_soc - lowest)
    assert told(m, scale, on_scale(m, scale, soc)).soc == pytest.approx(soc, abs=1e-9)


@given(m=places(), scale=st.sampled_from(COUNTED), share=UNIT)
def test_a_number_typed_is_the_number_shown(m: Marks, scale: str, share: float) -> None:
    value = share * m.ah if scale == "ah" else share
    found = on_scale(m, scale, told(m, scale, value).soc)
    assert found == pytest.approx(value, abs=1e-9 * max(m.ah, 1.0))


@given(m=places(), scale=st.sampled_from(SCALES), ends=st.tuples(UNIT, UNIT))
def test_more_charge_is_never_a_lower_number_and_never_more_ah_out(
    m: Marks, scale: str, ends: tuple[float, float]
) -> None:
    less, more = sorted(ends)
    before, after = on_scale(m, scale, less), on_scale(m, scale, more)
    assert after <= before if scale == "ah" else after >= before


@given(m=places(), scale=st.sampled_from(SCALES), ends=st.tuples(UNIT, UNIT))
def test_a_higher_number_is_never_less_charge(m: Marks, scale: str, ends: tuple[float, float]) -> None:
    low, high = {"volts": volts_span(m), "ah": (m.ah, 0.0)}.get(scale, (0.0, 1.0))
    less, more = (told(m, scale, low + share * (high - low)) for share in sorted(ends))
    for name in ("low_soc", "soc", "high_soc"):
        assert getattr(less, name) <= getattr(more, name) + 1e-12


@given(m=places(), scale=st.sampled_from(SCALES), value=st.floats(-1e4, 1e4))
def test_any_number_is_a_charge_from_empty_to_full(m: Marks, scale: str, value: float) -> None:
    found = told(m, scale, value)
    assert 0.0 <= found.low_soc <= found.soc <= found.high_soc <= 1.0


@given(m=places(), soc=UNIT)
def test_rested_volts_leave_open_what_the_curve_has_within_six_millivolts_or_fifty_where_it_is_flat(
    m: Marks, soc: float
) -> None:
    cell_v = ocv_v(m, soc)
    assert shown(m, soc).rested_v == pytest.approx(m.series * cell_v)
    found = told(m, "volts", m.series * cell_v)
    assert found.low_soc <= soc + 1e-9
    assert found.high_soc >= soc - 1e-9
    off_v = [abs(ocv_v(m, end) - cell_v) for end in (found.low_soc, found.high_soc)]
    flat = max(off_v) > SURE_V + 1e-6
    near_v = FLAT_V if flat else SURE_V
    assert max(off_v) <= near_v + 1e-9
    assert found.low_soc == 0.0 or off_v[0] == pytest.approx(near_v, abs=1e-6)
    assert found.high_soc == 1.0 or off_v[1] == pytest.approx(near_v, abs=1e-6)
    if flat:  # more than 30 points to one side: volts do not tell
        assert max(soc - found.low_soc, found.high_soc - soc) > 0.3 - 1e-6


@given(soc=st.floats(0.3, 0.8))
def test_sodium_ion_is_told_by_its_volts_and_constant_volts_tell_nothing(soc: float) -> None:
    sodium = marks(bank("sodium_layered"), inverter(), 400.0)
    found = told(sodium, "volts", on_scale(sodium, "volts", soc))
    assert found.high_soc - found.low_soc < 0.05
    constant = marks(bank(IDEAL), inverter(), 400.0)
    flat = told(constant, "volts", on_scale(constant, "volts", soc))
    assert (flat.low_soc, flat.high_soc, flat.flat) == (0.0, 1.0, True)


@given(low=st.floats(100.0, 2000.0), more=st.floats(1.0, 3.0), soc=UNIT)
def test_a_heavier_draw_cuts_off_sooner_so_the_inverter_says_less(low: float, more: float, soc: float) -> None:
    light, heavy = (marks(bank("sodium_layered"), inverter(), watts) for watts in (low, low * more))
    assert heavy.cutoff_soc >= light.cutoff_soc - 1e-9
    ends = [shown(m, soc).inverter for m in (light, heavy)]
    assert ends[0] is not None
    assert ends[1] is not None
    assert ends[1] <= ends[0] + 1e-9


def test_every_chemistry_that_ships_is_tried() -> None:
    assert set(catalogue.names()) == set(SERIES)
