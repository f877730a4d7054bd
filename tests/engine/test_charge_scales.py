"""One charge on every scale, by hand on constant volts and on the shipped curves."""

from __future__ import annotations

import dataclasses
import itertools

import pytest

from engine.cells import catalogue
from engine.errors import InputError
from engine.house.charge_scales import SCALES, Marks, marks, on_scale, shown, told
from tests.engine.plants import bank, inverter

SIXTEEN = Marks(
    ah=280.0, series=16, top_soc=0.95, reserve_soc=0.2, cutoff_soc=0.05, cells=bank("lfp").table
)  # fmt: skip


def test_each_scale_by_hand() -> None:
    found = shown(SIXTEEN, 0.5)
    assert found.monitor == 0.5
    assert found.usable == pytest.approx(0.3 / 0.75)
    assert found.inverter == pytest.approx(0.45 / 0.9)
    assert found.ah_out == pytest.approx(140.0)
    assert told(SIXTEEN, "usable", 0.4).soc == pytest.approx(0.5)
    assert told(SIXTEEN, "inverter", 0.5).soc == pytest.approx(0.5)
    assert told(SIXTEEN, "ah", 140.0).soc == pytest.approx(0.5)
    assert told(SIXTEEN, "monitor", 0.5).soc == 0.5


@pytest.mark.parametrize(
    ("scale", "soc"), list(itertools.product(("monitor", "inverter", "usable", "ah"), (0.2, 0.61, 0.95)))
)
def test_what_is_shown_is_read_back(scale: str, soc: float) -> None:
    assert told(SIXTEEN, scale, on_scale(SIXTEEN, scale, soc)).soc == pytest.approx(soc, abs=1e-12)


def test_below_and_above_its_marks_a_scale_says_nothing_and_all() -> None:
    assert shown(SIXTEEN, 0.1).usable == 0.0
    assert shown(SIXTEEN, 0.99).inverter == 1.0


@pytest.mark.parametrize("chemistry", ["sodium_layered", "nmc", "lead_sealed"])
def test_rested_volts_of_a_sloping_curve_tell_the_charge(chemistry: str) -> None:
    m = dataclasses.replace(SIXTEEN, cells=bank(chemistry).table)
    for soc in (0.3, 0.5, 0.7):
        found = told(m, "volts", on_scale(m, "volts", soc))
        assert found.soc == pytest.approx(soc, abs=0.02)
        assert found.low_soc <= soc <= found.high_soc
        assert not found.flat


def test_rested_volts_of_a_flat_curve_leave_it_open() -> None:
    found = told(SIXTEEN, "volts", on_scale(SIXTEEN, "volts", 0.5))
    assert found.low_soc < 0.5 < found.high_soc
    assert found.flat
    assert found.high_soc - found.low_soc > 0.1


def test_a_higher_charge_is_a_higher_number_except_what_was_taken_out() -> None:
    for scale in SCALES:
        values = [on_scale(SIXTEEN, scale, soc / 20.0) for soc in range(4, 19)]
        steps = [after - before for before, after in itertools.pairwise(values)]
        assert all(step < 0.0 for step in steps) if scale == "ah" else all(step >= 0.0 for step in steps)


def test_the_marks_are_those_of_the_bank() -> None:
    one = bank("lfp")
    m = marks(one, inverter(), 400.0)
    assert (m.ah, m.series) == (one.ah, one.series)
    assert m.top_soc == one.top_reached_soc
    assert m.reserve_soc == one.reserve_soc
    assert 0.0 <= m.cutoff_soc < 0.3
    assert m.cells == one.table
    assert catalogue.load("lfp").v_nominal == one.cell.v_nominal


def test_a_scale_without_room_is_refused() -> None:
    narrow = dataclasses.replace(SIXTEEN, reserve_soc=0.94)
    with pytest.raises(InputError, match="no room between its reserve and the top"):
        told(narrow, "usable", 0.5)
    assert shown(narrow, 0.5).usable is None
    assert on_scale(narrow, "usable", 0.5) == 0.5
