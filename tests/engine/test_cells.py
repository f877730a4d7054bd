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
    capacity_share,
    interpolated,
    ocv_at,
    r_fast_at,
    r_slow_at,
    soc_at_ocv,
    table,
)
from engine.cells.pchip import pchip
from engine.errors import InputError
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
    assert np.all(lfp.soc_hold >= lfp.soc_no_hold)
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


def test_interpolated_holds_its_ends():
    pairs = ((0.0, 0.8), (25.0, 1.0))
    assert [interpolated(pairs, t) for t in (-9.0, 12.5, 40.0)] == pytest.approx([0.8, 0.9, 1.0])
