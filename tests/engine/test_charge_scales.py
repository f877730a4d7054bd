"""One charge on every scale, by hand on constant volts and on the shipped curves."""

from __future__ import annotations

import dataclasses
import itertools

import pytest

from engine.answers.autonomy import autonomy
from engine.answers.coming import marks_of
from engine.cells import catalogue
from engine.cells.chemistry import soc_at_ocv
from engine.errors import InputError
from engine.house.charge_scales import SCALES, Marks, marks, on_scale, shown, told, volts_span
from engine.house.household import Household
from engine.sky.days import parse_sky
from tests.engine.plants import IDEAL, bank, inverter
from tests.engine.test_car import LATE, house_h

SLOPE = dataclasses.replace(IDEAL, id="slope", ocv_v=(2.4, 3.4), v_low=2.4)
"""Volts that rise by 10 mV with every 1 % of charge, without resistance."""

SIXTEEN = Marks(ah=280.0, series=16, top_soc=0.95, reserve_soc=0.2, cutoff_soc=0.05, cells=bank("lfp").table)


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


def test_volts_on_a_flat_stretch_leave_as_much_open_as_charge_volts_says() -> None:
    # What it says of 3.30 V at rest: 0.05 V to either side may be anything from ... to ... %.
    found = told(SIXTEEN, "volts", 16 * 3.30)
    cell = catalogue.load("lfp")
    assert (found.low_soc, found.high_soc) == pytest.approx((soc_at_ocv(cell, 3.25), soc_at_ocv(cell, 3.35)), abs=0.02)
    assert found.flat
    # Near empty the same curve is steep: there the last digit of a display is all that is open.
    assert not told(SIXTEEN, "volts", 16 * 3.0).flat


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


def test_a_bank_of_constant_volts_by_hand() -> None:
    one = bank(IDEAL, parallel=2, label_ah=100)
    m = marks(one, inverter(), 400.0)
    # 16 x 3.2 V = 51.2 V are above 40 V to the last ampere-hour: the inverter's empty is empty
    assert (m.ah, m.cutoff_soc, m.reserve_soc, m.top_soc) == (200.0, 0.0, 0.2, 1.0)
    found = shown(m, 0.5)
    assert found.usable == pytest.approx(0.3 / 0.8)
    assert found.inverter == pytest.approx(0.5)
    assert found.ah_out == pytest.approx(100.0)
    assert found.rested_v == pytest.approx(51.2)
    assert volts_span(m) == pytest.approx((51.2, 51.2))


def test_volts_that_rise_evenly_by_hand() -> None:
    m = marks(bank(SLOPE, board=None, label_ah=100), inverter(), 400.0)
    # 40 V over 16 cells are 2.5 V: 0.1 V of the 1 V from empty to full
    assert m.cutoff_soc == pytest.approx(0.1)
    assert shown(m, 0.55).inverter == pytest.approx(0.5)
    assert told(m, "inverter", 0.5).soc == pytest.approx(0.55)
    assert volts_span(m) == pytest.approx((38.4, 54.4))
    found = told(m, "volts", 46.4)
    assert (found.low_soc, found.soc, found.high_soc) == pytest.approx((0.494, 0.5, 0.506))
    assert told(m, "volts", 54.4).low_soc == pytest.approx(0.994)
    assert told(m, "volts", 54.4).high_soc == 1.0
    assert (told(m, "volts", 60.0).low_soc, told(m, "volts", 30.0).high_soc) == (1.0, 0.0)


@pytest.mark.parametrize(("chemistry", "narrow"), [("lfp", False), ("sodium_layered", True)])
def test_a_flat_curve_leaves_more_than_five_points_open_and_sodium_ion_fewer(chemistry: str, narrow: bool) -> None:
    m = marks(bank(chemistry), inverter(), 400.0)
    for soc in (0.45, 0.5, 0.55):
        found = told(m, "volts", on_scale(m, "volts", soc))
        assert (found.high_soc - found.low_soc < 0.05) == narrow


def two_on_one_inverter() -> Household:
    """Household H, its steady 300 W only, with two sodium-ion banks of three strings and of one."""
    home = house_h()
    first = bank("sodium_layered", parallel=3)
    small = dataclasses.replace(first, id="small", name="Small", parallel=1)
    return dataclasses.replace(home, banks=(first, small), loads=home.loads[:1])


def test_banks_on_one_inverter_share_its_draw_by_their_size() -> None:
    home = two_on_one_inverter()
    (supply,) = home.supplies()
    found = marks_of(home, supply, 11)
    assert {one: m.ah for one, m in found.items()} == {"bank": 840.0, "small": 280.0}
    drawn_w = 40.0 + 300.0 / 0.93
    for one, share in zip(home.banks, (0.75, 0.25), strict=True):
        assert found[one.id] == marks(one, home.inverters[0], share * drawn_w)
        assert found[one.id].cutoff_soc < marks(one, home.inverters[0], drawn_w).cutoff_soc


def test_what_is_switched_off_moves_no_scale() -> None:
    home = dataclasses.replace(house_h(), banks=(bank("sodium_layered"),))
    heavy = dataclasses.replace(home.loads[0], id="heavy", values={**home.loads[0].values, "power_w": 1500.0})
    whole = dataclasses.replace(home, loads=(*home.loads, heavy))
    sky = parse_sky("none", home.site, home.sun, LATE.month, 3)
    before, after = (
        autonomy(house, {"bank": 0.5}, sky, LATE, off=off) for house, off in ((whole, ()), (home, (heavy,)))
    )
    assert before.banks[0].charges[0].scales == after.banks[0].charges[0].scales
    bare = autonomy(home, {"bank": 0.5}, sky, LATE)
    assert bare.banks[0].charges[0].scales.inverter != before.banks[0].charges[0].scales.inverter
