"""The cell, its table, its charge curve and the catalogue."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from pydantic import TypeAdapter, ValidationError

from engine.cells import catalogue, curve
from engine.cells.chemistry import (
    STEPS,
    Chemistry,
    Source,
    arrays,
    at,
    capacity_share,
    energy_at,
    interpolated,
    ocv_at,
    r_fast_at,
    r_slow_at,
    soc_at_ocv,
    table,
    volts_at,
)
from engine.cells.pchip import pchip
from engine.errors import InputError
from engine.fields import quantities
from engine.paths import data_dir

LINE = Chemistry(
    id="line",
    name="A cell on a straight line",
    soc=(0.0, 1.0),
    ocv_v=(3.0, 4.0),
    r_slow_v_per_c=(0.5, 0.5),
    r_fast_v_per_c=(0.2, 0.2),
    v_nominal=3.5,
    v_low=2.9,
    v_full=4.04,
    v_charge=4.0,
    v_max=4.1,
)


def test_table_of_a_straight_line():
    cells = table(LINE)
    assert len(cells.ocv_v) == STEPS + 1
    assert cells.ocv_v[250] == pytest.approx(3.25)
    # Integral of 3 + s from 0 to 1.
    assert cells.energy_v[-1] == pytest.approx(3.5)
    assert cells.energy_v[500] == pytest.approx(3.0 * 0.5 + 0.125)
    assert cells.coulombic == [1.0] * (STEPS + 1)
    assert table(LINE, 25.0) is table(LINE, 25.0)


@pytest.mark.parametrize("s", [-1.0, 0.0, 0.00025, 0.12345, 0.7, 1.0, 2.0])
def test_volts_and_both_resistances_at_once_are_those_read_one_by_one(s):
    cells = table(dataclasses.replace(LINE, r_slow_v_per_c=(0.5, 0.9), r_fast_v_per_c=(0.1, 0.4)))
    held = min(max(s, 0.0), 1.0)
    by_hand = (3.0 + held, 0.5 + 0.4 * held, 0.1 + 0.3 * held)
    assert volts_at(cells, s) == pytest.approx(by_hand)
    assert tuple(at(line, s) for line in (cells.ocv_v, cells.r_slow, cells.r_fast)) == pytest.approx(by_hand)
    # integral of 3 + s
    assert energy_at(cells, s) == pytest.approx(3.0 * held + held**2 / 2, abs=1e-12)


def test_only_a_charge_meets_the_resistance_that_rises_towards_full_in_lead_acid() -> None:
    # Twice as much in the cold; falling to the middle and rising from there, as lines between the points.
    rising = dataclasses.replace(
        LINE,
        soc=(0.0, 0.5, 1.0),
        ocv_v=(3.0, 3.5, 4.0),
        r_slow_v_per_c=(0.9, 0.5, 1.5),
        r_fast_v_per_c=(0.2,) * 3,
        resistance_temperature=((0.0, 2.0), (25.0, 1.0)),
    )
    lead = dataclasses.replace(rising, acceptance_tau_h=2.0)
    socs = (0.0, 0.25, 0.5, 0.8, 1.0)
    for cell, factor, temperature_c in ((lead, 1.0, 25.0), (lead, 2.0, 0.0)):
        cells = table(cell, temperature_c)
        charged, drawn = ([volts_at(cells, s, one)[1] for s in socs] for one in (False, True))
        assert charged == pytest.approx([factor * r for r in (0.9, 0.7, 0.5, 1.1, 1.5)])
        assert drawn == pytest.approx([factor * r for r in (0.9, 0.7, 0.5, 0.5, 0.5)])
    assert table(rising).r_drawn == table(rising).r_slow
    assert min(arrays(lead, 25.0).r_drawn) == pytest.approx(0.5)
    assert volts_at(table(lead), 0.8, drawn=True)[::2] == volts_at(table(lead), 0.8)[::2]


def test_resistance_follows_its_temperature_table():
    cold = dataclasses.replace(LINE, resistance_temperature=((0.0, 2.0), (25.0, 1.0)))
    assert r_slow_at(cold, 0.5, 12.5) == pytest.approx(0.75)
    assert r_fast_at(cold, 0.5, -40.0) == pytest.approx(0.4)
    assert r_fast_at(cold, 0.5, 40.0) == pytest.approx(0.2)


def test_reading_a_cell_at_and_beyond_its_ends():
    assert [ocv_at(LINE, s) for s in (-1.0, 0.0, 0.12345, 1.0, 2.0)] == pytest.approx([3, 3, 3.12345, 4, 4])
    assert [soc_at_ocv(LINE, v) for v in (2.0, 3.0, 3.7, 4.0, 5.0)] == pytest.approx([0, 0, 0.7, 1, 1])


def test_charge_and_cut_off_of_a_straight_line():
    # OCV + 0.4 x 0.5 V = 3.7 V at s = 0.5; the 0.08C tail takes 0.04 V.
    assert curve.soc_without_hold(LINE, 3.7, 0.4) == pytest.approx(0.5)
    assert curve.soc_with_hold(LINE, 3.7) == pytest.approx(0.66)
    assert curve.soc_with_hold(LINE, 3.7, tail_c=0.02) == pytest.approx(0.69)
    assert curve.volts_for_soc(LINE, 0.5, 0.4) == pytest.approx(3.7)
    assert curve.volts_for_soc(LINE, 0.66, 0.4, hold=True) == pytest.approx(3.7)
    # OCV - 1 x 0.2 V = 3.1 V at s = 0.3.
    assert curve.soc_at_cutoff(LINE, 3.1, 1.0) == pytest.approx(0.3)
    assert curve.soc_at_cutoff(LINE, 2.0, 1.0) == 0.0
    assert curve.soc_at_cutoff(LINE, 3.9, 1.0) == 1.0


def test_a_charge_stops_at_the_first_touch_and_a_discharge_too():
    hump = dataclasses.replace(
        LINE,
        soc=(0.0, 0.2, 0.4, 1.0),
        ocv_v=(3.0, 3.2, 3.4, 4.0),
        r_slow_v_per_c=(0.0, 1.0, 0.0, 0.0),
        r_fast_v_per_c=(0.0, 0.0, 0.0, 0.0),
    )
    # At 0.5C the volts rise to 3.7 at s = 0.2 and fall back to 3.4: 3.6 V is first met on the way up.
    assert curve.soc_without_hold(hump, 3.6, 0.5) < 0.2
    dip = dataclasses.replace(hump, r_fast_v_per_c=(0.0, 0.0, 1.0, 0.0))
    # Going down at 0.5C the volts sink to 2.9 at s = 0.4, before the resting 3.2 V.
    assert curve.soc_at_cutoff(dip, 3.0, 0.5) > 0.4


def test_capacity_share_multiplies_its_three_losses():
    cell = dataclasses.replace(
        LINE,
        capacity_temperature=((0.0, 0.8), (25.0, 1.0)),
        peukert_k=1.2,
        rated_h=20.0,
        rate_loss_per_c=0.1,
    )
    assert capacity_share(cell, 25.0, 0.05) == pytest.approx(0.995)
    assert capacity_share(cell, 0.0, 0.1) == pytest.approx(0.8 * 2**-0.2 * 0.99)
    assert capacity_share(cell, 25.0, 0.01) == pytest.approx(0.999)
    assert capacity_share(LINE, -30.0, 3.0) == 1.0


def test_acceptance_time_stops_a_charge_before_its_volts():
    slow = dataclasses.replace(LINE, acceptance_tau_h=2.0, tail_c=0.01)
    assert curve.soc_without_hold(slow, 4.1, 0.1) == pytest.approx(0.8)
    assert curve.soc_with_hold(slow, 4.1) == pytest.approx(0.98)
    assert curve.soc_without_hold(slow, 4.1, 0.6) == 0.0


def test_usable_curve_marks_where_voltage_cannot_stop_a_charge():
    lfp = curve.usable_curve(catalogue.load("lfp"), 0.5)
    marked = lfp.volts[lfp.uncontrollable]
    # Held at 3.30 V it already takes about 70 %, so 3.30 V is no way to stop at 50 or at 80 %.
    assert marked.min() < 3.295 < marked.max()
    assert marked.max() < 3.40
    assert not curve.usable_curve(catalogue.load("sodium_layered"), 0.5).uncontrollable.any()
    held = [curve.soc_with_hold(catalogue.load("lfp"), volts) for volts in lfp.volts.tolist()]
    assert np.all(np.array(held) >= lfp.soc_no_hold)
    assert lfp.volts[0] == pytest.approx(2.5)
    assert lfp.volts[-1] == pytest.approx(3.65)


@pytest.mark.parametrize(("volts", "practice"), [(2.4, 0.06), (2.8, 0.19), (3.0, 0.426), (3.6, 0.80), (3.8, 0.922)])
def test_sodium_against_common_practice(volts, practice):
    # Common practice, no source, another cell than ours: charge stopped at these volts without a hold at
    # 0.5C, as a share of the charge held at 3.95 V. Ours less theirs, in points, in the same order:
    # -0.45, -0.6, -3.3, -3.9, -3.6. All are below: r_slow is half the gap and includes hysteresis.
    cell = catalogue.load("sodium_layered")
    full = curve.soc_with_hold(cell, 3.95, tail_c=0.08)
    assert curve.soc_without_hold(cell, volts, 0.5) / full == pytest.approx(practice, abs=0.05)


@pytest.mark.parametrize("id", ["sodium_layered", "lfp", "nmc"])
def test_held_at_full_volts_is_full(id):
    cell = catalogue.load(id)
    assert curve.soc_with_hold(cell, cell.v_full) == pytest.approx(1.0, abs=0.002)


@pytest.mark.parametrize(
    ("id", "over_a_full_charge"), [("lead_flooded", 0.85), ("lead_sealed", 0.90), ("lead_gel", 0.90)]
)
def test_lead_acid_takes_more_than_it_gives(id, over_a_full_charge):
    # The curves were drawn to give these, which are typical, from memory: this holds the files to their text
    # and proves nothing about lead-acid.
    cells = table(catalogue.load(id))
    assert 1 / np.trapezoid(1 / np.array(cells.coulombic), dx=1 / STEPS) == pytest.approx(over_a_full_charge, abs=0.005)
    assert cells.coulombic[0] >= 0.97


def test_catalogue_lists_what_lies_in_the_folder():
    assert set(catalogue.names()) == {path.stem for path in (data_dir() / "chemistries").glob("*.toml")}
    assert {"lead_flooded", "lead_gel", *catalogue.COMPARED} <= set(catalogue.names())
    assert catalogue.load("lfp") is catalogue.load("lfp")
    with pytest.raises(InputError, match=r"“lpf” is not in the catalogue; it has: .*lfp") as caught:
        catalogue.load("lpf")
    assert caught.value.field == "chemistry"


@pytest.mark.parametrize("id", list(catalogue.names()))
def test_a_chemistry_written_out_reads_back_the_same(id):
    adapter = TypeAdapter(Chemistry)
    cell = catalogue.load(id)
    again = adapter.validate_json(adapter.dump_json(cell))
    assert again == cell
    assert hash(again) == hash(cell)
    with pytest.raises(ValidationError, match="colour"):
        adapter.validate_python(adapter.dump_python(cell) | {"colour": "red"})


def test_source_of_reads_groups():
    source = Source(kind="assumed", text="for a test")
    cell = dataclasses.replace(LINE, sources={"v_low v_full": source})
    assert cell.source_of("v_full") is source
    assert cell.source_of("v_max") is None


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"soc": (0.1, 1.0)}, "soc", "from 0 to 1"),
        ({"soc": (0.0, 0.0)}, "soc", "from 0 to 1"),
        ({"ocv_v": (4.0, 3.0)}, "ocv_v", "must not fall"),
        ({"ocv_v": (3.0, 3.5, 4.0)}, "ocv_v", "each of its 2 rows; got 3"),
        ({"r_fast_v_per_c": (0.1, float("nan"))}, "r_fast_v_per_c", "a number from 0 to 50"),
        ({"coulombic_efficiency": 1.2}, "coulombic_efficiency", "5 to 100 %"),
        ({"coulombic_efficiency": (1.0, 0.0)}, "coulombic_efficiency", "5 to 100 %"),
        ({"v_low": 3.6}, "v_low", "3.6, 3.5, 4.04 and 4.1 V"),
        ({"v_charge": 4.2}, "v_charge", "got 4.2 V"),
        ({"v_float": 4.2}, "v_float", "got 4.2 V"),
        ({"tail_c": 0.0}, "tail_c", "from 0.001 to 1 C"),
        ({"capacity_temperature": ()}, "capacity_temperature", "rising temperatures"),
        ({"resistance_temperature": ((25.0, 0.0),)}, "resistance_temperature", "above 0"),
    ],
)
def test_impossible_cells_are_refused(change, field, words):
    with pytest.raises(InputError, match=words) as caught:
        dataclasses.replace(LINE, **change)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("change", "field"),
    [
        # each pair at the limit that the refusing sentence names, and a little beyond
        ({"soc": (0.0, 1e-4, 1.0)}, None),
        ({"soc": (0.0, 0.9e-4, 1.0)}, "soc"),
        ({"soc": (0.0, 0.5, 0.999)}, "soc"),
        ({"soc": (0.001, 0.5, 1.0)}, "soc"),
        ({"ocv_v": (0.0, 3.0, 6.0)}, None),
        ({"ocv_v": (3.0, 3.0, 3.0)}, None),
        ({"ocv_v": (3.0, 4.0, 6.01)}, "ocv_v"),
        ({"r_slow_v_per_c": (0.0, 50.0, 0.1)}, None),
        ({"r_slow_v_per_c": (0.0, 50.1, 0.1)}, "r_slow_v_per_c"),
        ({"r_fast_v_per_c": (0.0, 50.0, 0.1)}, None),
        ({"r_fast_v_per_c": (0.0, 50.1, 0.1)}, "r_fast_v_per_c"),
        ({"r_fast_v_per_c": (0.0, -0.1, 0.1)}, "r_fast_v_per_c"),
        ({"coulombic_efficiency": (0.05, 1.0, 1.0)}, None),
        ({"coulombic_efficiency": (0.049, 1.0, 1.0)}, "coulombic_efficiency"),
        ({"coulombic_efficiency": (0.9, 1.0, 1.01)}, "coulombic_efficiency"),
        ({"coulombic_efficiency": 0.05}, None),
        ({"coulombic_efficiency": 0.049}, "coulombic_efficiency"),
        ({"coulombic_efficiency": 1.001}, "coulombic_efficiency"),
        ({"v_full": 4.1}, None),
        ({"v_full": 4.11}, "v_low"),
        ({"v_full": 3.5}, "v_low"),
        ({"v_low": 3.5}, "v_low"),
        ({"v_float": 4.1}, None),
        ({"v_float": 4.11}, "v_float"),
        ({"v_float": 2.91}, None),
        ({"v_float": 2.9}, "v_float"),
        ({"equalise_v": 4.0}, None),
        ({"equalise_v": 3.99}, "equalise_v"),
        ({"v_charge": 4.1}, None),
        ({"v_charge": 4.11}, "v_charge"),
        ({"v_charge": 2.91}, None),
        ({"v_charge": 2.9}, "v_charge"),
        ({"capacity_temperature": ((-100.0, 0.001), (150.0, 1000.0))}, None),
        ({"capacity_temperature": ((-101.0, 1.0),)}, "capacity_temperature"),
        ({"capacity_temperature": ((151.0, 1.0),)}, "capacity_temperature"),
        ({"capacity_temperature": ((0.0, 0.0),)}, "capacity_temperature"),
        ({"capacity_temperature": ((0.0, 1000.1),)}, "capacity_temperature"),
        ({"resistance_temperature": ((0.0, 1.0), (0.0, 1.1))}, "resistance_temperature"),
        ({"resistance_temperature": ((1.0, 1.0), (0.0, 1.1))}, "resistance_temperature"),
    ],
)
def test_a_cell_is_refused_beyond_its_limit_and_not_at_it(change, field):
    three = dataclasses.replace(
        LINE, soc=(0.0, 0.5, 1.0), ocv_v=(3.0, 3.5, 4.0), r_slow_v_per_c=(0.5,) * 3, r_fast_v_per_c=(0.2,) * 3
    )
    if field is None:
        dataclasses.replace(three, **change)
        return
    with pytest.raises(InputError) as caught:
        dataclasses.replace(three, **change)
    assert caught.value.field == field


LIMITS = {
    "v_nominal": (0.5, 6),
    "v_low": (0.1, 6),
    "v_full": (0.5, 6),
    "v_charge": (0.5, 6),
    "v_max": (0.5, 6),
    "v_float": (0.5, 6),
    "tail_c": (0.001, 1),
    "charge_min_c": (-60, 60),
    "charge_max_c": (-20, 100),
    "discharge_min_c": (-60, 60),
    "discharge_max_c": (-20, 100),
    "charge_c_max": (0.01, 100),
    "discharge_c_max": (0.01, 100),
    "rate_loss_per_c": (0, 0.5),
    "peukert_k": (1, 2),
    "rated_h": (0.5, 200),
    "acceptance_tau_h": (0.01, 100),
    "self_discharge_per_month": (0, 1),
    "reserve_soc": (0, 0.95),
    "equalise_v": (0.5, 6),
    "gas_float_ma_per_ah": (0, 200),
    "gas_boost_ma_per_ah": (0, 200),
    "series_step": (1, 24),
}


def test_cells_of_saved_households_are_still_read():
    """Regression pin: a file that was saved may hold any of these numbers and may leave any of these fields out."""
    found = quantities(Chemistry)
    assert {name: (one.low, one.high) for name, one in found.items()} == LIMITS
    left_out = {name: getattr(LINE, name) for name in LIMITS if name not in ("v_nominal", "v_low", "v_full")}
    assert left_out == {
        "v_charge": 4.0,
        "v_max": 4.1,
        "v_float": None,
        "tail_c": 0.08,
        "charge_min_c": 0.0,
        "charge_max_c": 45.0,
        "discharge_min_c": -20.0,
        "discharge_max_c": 60.0,
        "charge_c_max": 0.5,
        "discharge_c_max": 1.0,
        "rate_loss_per_c": 0.0,
        "peukert_k": 1.0,
        "rated_h": 20.0,
        "acceptance_tau_h": None,
        "self_discharge_per_month": 0.0,
        "reserve_soc": 0.0,
        "equalise_v": None,
        "gas_float_ma_per_ah": None,
        "gas_boost_ma_per_ah": None,
        "series_step": 1,
    }
    # without a table and an efficiency temperature changes nothing and every ampere-hour comes back
    assert capacity_share(LINE, -40.0) == 1.0
    assert r_slow_at(LINE, 0.5, -40.0) == r_slow_at(LINE, 0.5, 60.0) == 0.5
    assert LINE.coulombic_efficiency == 1.0


def test_unknown_kind_of_source_is_refused():
    with pytest.raises(InputError, match="guessed"):
        Source(kind="guessed", text="")


def test_pchip_keeps_to_its_points_and_never_overshoots():
    x, y = np.array([0.0, 1.0, 2.0, 5.0]), np.array([0.0, 0.0, 3.0, 3.1])
    read = pchip(x, y, np.linspace(0.0, 5.0, 501))
    assert pchip(x, y, x) == pytest.approx(y)
    assert np.all(np.diff(read) >= -1e-12)
    assert read[:100] == pytest.approx(np.zeros(100))
    assert pchip(x, y, np.array([-1.0, 9.0])) == pytest.approx([0.0, 3.1])


def test_pchip_slopes_by_hand():
    # Steps 1 and 2, rises 1 and 3. Inner slope (5 + 4) / (5 / 1 + 4 / 3) = 27 / 19; end slopes
    # ((2 x 1 + 2) x 1 - 1 x 3) / 3 = 1 / 3 and ((2 x 2 + 1) x 3 - 2 x 1) / 3 = 13 / 3. In the middle of a
    # piece a cubic is the mean of its ends plus an eighth of its step times the fall of its slope.
    x, y = np.array([0.0, 1.0, 3.0]), np.array([0.0, 1.0, 7.0])
    by_hand = [0.5 + (1 / 3 - 27 / 19) / 8, 4.0 + 2 * (27 / 19 - 13 / 3) / 8]
    assert pchip(x, y, np.array([0.5, 2.0])) == pytest.approx(by_hand)


@pytest.mark.parametrize(
    ("rises", "first_slope", "inner_slope"),
    [
        # Steps of 1. Three-point slope at the end (3 r - s) / 2 of rises r and s (Fritsch and Carlson): of 1 and 9 it
        # is -3 and would fall, so 0; the inner slope is their harmonic mean, 2 / (1 + 1/9).
        ((1.0, 9.0), 0.0, 1.8),
        # of 1 and -10 it is 6.5, past three times the rise; where the points turn the curve is level
        ((1.0, -10.0), 3.0, 0.0),
        # of 1 and -1 it is 2
        ((1.0, -1.0), 2.0, 0.0),
        # of 1 and 2 it is 1/2
        ((1.0, 2.0), 0.5, 4 / 3),
        # of 1 and -3 it is 3, three times the rise itself
        ((1.0, -3.0), 3.0, 0.0),
        # falling as rising
        ((-1.0, 10.0), -3.0, 0.0),
        ((-1.0, -2.0), -0.5, -4 / 3),
    ],
)
def test_pchip_at_its_ends_by_hand(rises, first_slope, inner_slope):
    x, y = np.array([0.0, 1.0, 2.0]), np.array([0.0, rises[0], sum(rises)])
    middle = rises[0] / 2 + (first_slope - inner_slope) / 8
    assert pchip(x, y, np.array([0.5])) == pytest.approx([middle])
    assert pchip(x, y[::-1], np.array([1.5])) == pytest.approx([middle])
    # a quarter along a cubic: 27 + 5 of 32 parts of its ends, and 9 and -3 of 64 of its slopes
    quarter = rises[0] * 5 / 32 + (9 * first_slope - 3 * inner_slope) / 64
    assert pchip(x, y, np.array([0.25])) == pytest.approx([quarter])


def test_pchip_of_two_points_is_their_line():
    assert pchip(np.array([0.0, 2.0]), np.array([1.0, 2.0]), np.array([0.5, 1.0, 1.5])) == pytest.approx(
        [1.25, 1.5, 1.75]
    )


def of_slope(v_per_share):
    """A cell without resistance whose volts rise evenly by so much from empty to full."""
    return dataclasses.replace(LINE, ocv_v=(3.3, 3.3 + v_per_share), r_slow_v_per_c=(0.0, 0.0))


def test_volts_tell_the_charge_where_it_rises_by_a_tenth_at_most_within_what_a_meter_shows():
    # 0.01 V to either side of 3.35 V is 0.02 V: of 0.21 V from empty to full 0.095 of the charge, of 0.19 V 0.105.
    assert curve.told(of_slope(0.21), 3.35, 0.1)
    assert not curve.told(of_slope(0.19), 3.35, 0.1)


def test_a_hold_decides_the_charge_where_it_rises_by_less_than_three_tenths_in_five_steps():
    # 0.05 V of 0.17 V are 0.294 of the charge, of 0.16 V 0.3125; at its very ends less of the cell lies near.
    for slope, decides in ((0.17, True), (0.16, False)):
        cell = of_slope(slope)
        assert curve.controllable(cell, 3.3 + slope / 2) is decides
        marked = curve.usable_curve(cell, 0.5)
        assert marked.uncontrollable.any() != decides
        # volts from which five steps reach the cell: from 3.25 V to five steps above its full
        if not decides:
            volts = marked.volts[marked.uncontrollable]
            assert (volts[0], volts[-1]) == pytest.approx((3.3, 3.46))
        assert curve.controllable(cell, 3.2)
        assert curve.controllable(cell, 3.6)


def test_charges_a_volt_step_apart_are_told_apart_where_they_rise_by_a_tenth_at_most_over_both_neighbours():
    charges = np.array([0.0, 0.04, 0.09, 0.15, 0.20, 0.20])
    # over both neighbours: 0.04, 0.09, 0.11, 0.11, 0.05 and 0
    assert curve.told_apart(LINE, charges).tolist() == [True, True, False, False, True, True]
    slow = dataclasses.replace(LINE, acceptance_tau_h=2.0)
    assert curve.told_apart(slow, charges).all()


def test_interpolated_holds_its_ends():
    pairs = ((0.0, 0.8), (25.0, 1.0))
    assert [interpolated(pairs, t) for t in (-9.0, 12.5, 40.0)] == pytest.approx([0.8, 0.9, 1.0])
