"""A bench test read by us against the cell it was made on: PyBaMM's, charged to one end voltage after another.

`pybamm_charges.json` holds, per cell, PyBaMM's own stepped tables (every row a charge from empty and the discharge
after it: without a hold at 0.5C, 0.2C and 0.1C, and held to 0.08C) and one log (a charge at 0.5C with its hold, and
the discharge after it). We are given the 0.5C column and the held one, or the log; the judge is the rest.
`simulated_charge_ends.json` is an older run of the same kind whose script is not kept; see `test_cells_oracle.py`.
"""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine.bench.measured import (
    Hold,
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

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
CELLS = json.loads((FIXTURES / "pybamm_charges.json").read_text("utf-8"))["cells"]
COLUMN = {0.5: 1, 0.2: 2, 0.1: 3, "held": 4}
BASE = {"lfp": "nmc", "nmc": "nmc"}
"""The chemistry to borrow from. LFP is not lent the LFP of our catalogue, which is this simulation's own cell; NMC
charges higher than any other we have, so it must be, and borrows nothing here but the guide between its rows."""


def bench_table(id):
    cell = CELLS[id]
    ends = tuple(ChargeEnd(volts=row[0], no_hold_ah=row[1], hold_ah=row[4]) for row in cell["rows"])
    return ChargeTable(ends=ends, charge_a=0.5 * cell["nominal_ah"], tail_a=0.08 * cell["nominal_ah"])


def logged(id):
    """The log as a bench would hand it on: the charge, its hold and the discharge."""
    cell, log = CELLS[id], CELLS[id]["log"]
    amps = 0.5 * cell["nominal_ah"]
    up, held, down = (
        {key: np.array(row) for key, row in log[part].items()} for part in ("charge", "hold", "discharge")
    )
    return (
        Trace(ah=up["ah"], volts=up["volts"], current_a=amps, starts_empty=True),
        Hold(volts=cell["rows"][-1][0], ah=up["ah"][-1] + held["ah"], current_a=held["amps"]),
        Trace(ah=down["ah"], volts=down["volts"], current_a=amps, starts_empty=True),
    )


def errors(id, cell, current):
    """Ours less the simulation's charge, in points of the charge held at the highest volts, per row."""
    judge = CELLS[id]
    rows, amps = np.array(judge["rows"]), judge["nominal_ah"] * (0.08 if current == "held" else current)
    ours = [share_at(cell, v, amps / cell.full_ah) * cell.full_ah for v in rows[:, 0]]
    return 100 * (np.array(ours) - rows[:, COLUMN[current]]) / rows[-1, 4]


@pytest.mark.parametrize("id", list(CELLS))
@pytest.mark.parametrize(("current", "mean", "worst"), [(0.1, 0.5, 3.0), (0.2, 1.5, 100.0), ("held", 0.5, 0.5)])
def test_a_table_is_translated_to_other_currents(id, current, mean, worst):
    # Limits as agreed before the work. Every row is judged, LFP's flat stretch (3.30 to 3.34 V) included. Mean
    # (worst), LFP then NMC: 0.1C 0.3 (2.2), 0.2 (0.5); 0.2C 0.6 (3.4), 0.4 (1.1); held 0.0 (0.0) both, since a hold
    # is measured at that very tail. Using the 0.5C column as it is would be 8.8 (43) and 13.5 (19) at 0.1C.
    found = np.abs(errors(id, from_table(bench_table(id), catalogue.load(BASE[id])), current))
    assert found.mean() <= mean
    assert found.max() <= worst


@pytest.mark.parametrize("id", list(CELLS))
def test_a_table_untranslated_is_far_off(id):
    # What the test above is worth: the bench's own column read at 0.1C.
    rows = np.array(CELLS[id]["rows"])
    assert 100 * np.abs(rows[:, COLUMN[0.5]] - rows[:, COLUMN[0.1]]).mean() / rows[-1, 4] > 8


@pytest.mark.parametrize("id", list(CELLS))
def test_a_table_is_given_back_at_the_bench_current(id):
    # LFP 0.5 (2.3, at 3.36 V on its flat stretch), NMC 0.0 (0.0): two columns that differ by less than their error
    # share one resistance. Regression pin.
    found = np.abs(errors(id, from_table(bench_table(id), catalogue.load(BASE[id])), 0.5))
    assert found.mean() < 0.6
    assert found.max() < 3


@pytest.mark.parametrize("id", list(CELLS))
@pytest.mark.parametrize("held", [False, True])
def test_one_logged_charge_gives_the_column_without_a_hold(id, held):
    # Stepping to an end voltage and passing it are one trajectory. Both as shares of their own highest row, because
    # a charge alone does not show what it gives back. Limits as agreed before: 0.3 points mean, 1 worst.
    charge, hold, _ = logged(id)
    cell = from_charge(charge, catalogue.load(BASE[id]), hold=hold if held else None)
    rows = np.array(CELLS[id]["rows"])
    ours = np.array([share_at(cell, v, cell.charge_c) for v in rows[:, 0]])
    off = 100 * np.abs(ours / ours[-1] - rows[:, 1] / rows[-1, 1])
    assert off.mean() <= 0.3
    assert off.max() <= 1.0


@pytest.mark.parametrize("id", list(CELLS))
def test_a_charge_and_its_discharge_give_the_held_column(id):
    # Half the gap as resistance: LFP 0.5 (3.5), NMC 0.8 (3.0) points. To expect on measured sodium-ion logs, where
    # there is hysteresis: 1.1 (5.1). Regression pin.
    charge, hold, discharge = logged(id)
    cell = from_charge_and_discharge(charge, discharge, catalogue.load(BASE[id]), hold=hold)
    found = np.abs(errors(id, cell, "held"))
    assert found.mean() < 1.1
    assert found.max() < 5.1
    # Nothing is lost in a simulated cell.
    assert cell.coulombic_efficiency == pytest.approx(1.0, abs=0.001)
    assert cell.full_ah == pytest.approx(CELLS[id]["rows"][-1][4], rel=0.002)


@pytest.mark.parametrize("id", list(CELLS))
def test_the_resistance_is_of_a_cell(id):
    # Over most of the charge 0.08 to 0.17 (LFP) and 0.24 to 0.30 V per C (NMC) in our own curves of these cells,
    # which were made from other runs.
    slow = np.interp(np.linspace(0.2, 0.9, 100), catalogue.load(id).soc, catalogue.load(id).r_slow_v_per_c)
    fitted = from_table(bench_table(id), catalogue.load(BASE[id])).resistance
    assert fitted.kind == "two columns"
    assert slow.min() * 0.9 < fitted.middle_v_per_c < slow.max()


@pytest.mark.parametrize("id", list(CELLS))
@pytest.mark.parametrize("current", [0.1, 0.2])
def test_most_errors_lie_within_two_bands(id, current):
    cell = from_table(bench_table(id), catalogue.load(BASE[id]))
    volts, amps = [row[0] for row in CELLS[id]["rows"]], current * CELLS[id]["nominal_ah"]
    bands = 100 * np.array([band_at(cell, v, amps / cell.full_ah) for v in volts])
    assert np.mean(np.abs(errors(id, cell, current)) < 2 * bands) >= 0.9
    assert np.all(bands >= 0.1)


def test_the_holds_gain_is_even_for_nmc_and_local_for_lfp():
    # "Small and even" was expected of NMC, common practice, no source. Even it is: 12 to 15 points up to 4.1 V;
    # small it is not at this current, and on the simulated cell's last flat stretch, 4.13 to 4.16 V, it is 20.
    # LFP: more than 25 points at 3.34 V and 0.5C, common practice, no source; under 1 from 3.45 V up.
    gains = {}
    for id in CELLS:
        rows = bench_rows(
            from_table(bench_table(id), catalogue.load(BASE[id])), volts=tuple(r[0] for r in CELLS[id]["rows"])
        )
        gains[id] = {row.volts: 100 * (row.hold_share - row.no_hold_share) for row in rows}
    low_nmc = [gain for volts, gain in gains["nmc"].items() if volts <= 4.1]
    assert max(low_nmc) - min(low_nmc) < 4
    assert gains["lfp"][3.34] > 25
    assert max(gain for volts, gain in gains["lfp"].items() if volts >= 3.45) < 1


def test_where_the_volts_cannot_tell_the_charge():
    flat = {row.volts: row for row in bench_rows(from_table(bench_table("lfp"), catalogue.load("nmc")))}
    for volts in (3.30, 3.32, 3.34):
        assert flat[volts].no_hold_cannot_tell
        assert flat[volts].hold_cannot_tell
    assert not flat[3.45].no_hold_cannot_tell
    assert not flat[3.45].hold_cannot_tell
    steep = bench_rows(from_table(bench_table("nmc"), catalogue.load("nmc")))
    assert not any(row.no_hold_cannot_tell or row.hold_cannot_tell for row in steep)


@pytest.mark.parametrize("id", list(CELLS))
@pytest.mark.parametrize("every", [1, 2])
def test_noise_of_a_percent_stays_noise(id, every):
    # Every row, or every second, 1 % random error on each: 0.6 to 1.6 % mean was found for six rows when the method
    # was tried. Over the useful window (LFP from 3.36, NMC from 3.8 V), at 0.1C and 0.2C.
    rng, truth = np.random.default_rng(7), np.array(CELLS[id]["rows"])
    useful = truth[:, 0] >= (3.36 if id == "lfp" else 3.8)
    means = []
    for _ in range(20):
        noisy = truth[::every].copy()
        noisy[:, 1:] *= 1 + 0.01 * rng.standard_normal(noisy[:, 1:].shape)
        ends = tuple(ChargeEnd(volts=row[0], no_hold_ah=row[1], hold_ah=row[4]) for row in noisy)
        ah = CELLS[id]["nominal_ah"]
        cell = from_table(ChargeTable(ends=ends, charge_a=0.5 * ah, tail_a=0.08 * ah), catalogue.load(BASE[id]))
        judged = useful & (truth[:, 0] <= cell.v_top)
        means += [np.abs(errors(id, cell, current))[judged].mean() for current in (0.1, 0.2)]
    assert np.mean(means) < 1.6


@pytest.mark.parametrize("id", list(CELLS))
def test_the_chemistry_of_a_test_charges_as_the_test_says(id):
    # The curve is kept on fewer points in a bank: half a point for that, which only LFP's flat stretch needs.
    cell = from_table(bench_table(id), catalogue.load(BASE[id]))
    own = chemistry_of(cell, catalogue.load(BASE[id]), "mine", "My cell")
    for row in CELLS[id]["rows"]:
        for c_rate in (0.1, cell.charge_c):
            ours = curve.soc_without_hold(own, row[0], c_rate)
            assert ours == pytest.approx(share_at(cell, row[0], c_rate), abs=0.005)
        assert curve.soc_with_hold(own, row[0]) == pytest.approx(share_at(cell, row[0], cell.tail_c), abs=0.005)


@pytest.mark.oracle
@pytest.mark.filterwarnings("default")
@pytest.mark.parametrize("id", list(CELLS))
def test_pybamm_still_gives_what_the_fixture_holds(id):
    pytest.importorskip("pybamm")
    script: Any = load_script()
    recipe, kept = script.RECIPES[id], CELLS[id]
    volts = tuple(row[0] for row in kept["rows"][-2:])
    assert script.nominal_ah(recipe) == kept["nominal_ah"]
    column = script.column(recipe, kept["nominal_ah"], 0.2, volts)
    assert column == pytest.approx([row[2] for row in kept["rows"][-2:]], rel=0.001)


def load_script():
    """The script that made the fixture, as a module."""
    spec = importlib.util.spec_from_file_location("make_pybamm_charges", FIXTURES / "make_pybamm_charges.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
