"""Our one-way cell against PyBaMM's: energy given, and charge reached by voltage.

Both sides come from one model and one pair of parameter sets, so this judges the step down to OCV + c R, not
how near either is to a cell on the shelf.
"""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine.cells import catalogue, curve
from engine.cells.chemistry import STEPS, capacity_share, table

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
DISCHARGES = json.loads((FIXTURES / "pybamm_discharge.json").read_text("utf-8"))["cells"]
CHARGE_ENDS = json.loads((FIXTURES / "simulated_charge_ends.json").read_text("utf-8"))["cells"]
ONE_WAY = [(id, row) for id, cell in DISCHARGES.items() for row in cell["discharges"]]


def energy_v(id, c_rate):
    """Energy from full to the low volts at `c_rate` [Wh per Ah of capacity]: OCV - c r_slow over s."""
    cell = catalogue.load(id)
    cells = table(cell)
    bottom = max(curve.soc_at_cutoff(cell, cell.v_low, c_rate), 1 - capacity_share(cell, 25.0, c_rate))
    s = np.linspace(bottom, 1.0, 4 * STEPS)
    terminal_v = np.array(cells.ocv_v) - c_rate * np.array(cells.r_slow)
    return np.trapezoid(np.interp(s, np.arange(STEPS + 1) / STEPS, terminal_v), s)


@pytest.mark.parametrize(("id", "row"), ONE_WAY)
def test_discharge_energy_against_pybamm(id, row):
    # Ours against theirs at 0.05C, 0.1C, 0.2C, 0.5C: LFP -0.3, 0.0, +0.7, +2.7 %; NMC -0.1, 0.0, -0.1,
    # -0.7 %. The resistance used is from charges, so these discharges were not fitted, but the scale is
    # theirs: s = 0 is where the 0.05C discharge ends, and the 0.05C row tests only the volts. Were s = 0
    # where 0.5C ends, 0.1C would be 5.7 % (LFP) and 2.1 % (NMC) short. 3 % is asked at 0.1C and 0.2C.
    assert energy_v(id, row["c_rate"]) == pytest.approx(row["energy_v"], rel=0.03)


@pytest.mark.parametrize(("id", "row"), ONE_WAY)
def test_charge_out_of_reach_against_pybamm(id, row):
    # The bottom that a discharge leaves behind; ours less theirs, in points, at 0.05C to 0.5C: LFP -0.5,
    # -0.2, +0.5, +2.4; NMC up to -0.3. Regression pin.
    cell = catalogue.load(id)
    left = max(curve.soc_at_cutoff(cell, cell.v_low, row["c_rate"]), 1 - capacity_share(cell, 25.0, row["c_rate"]))
    assert 1 - left == pytest.approx(row["share"], abs=0.03)


def charge_end_errors(id):
    """Ours less the simulation's share of a held full charge, in points: (rows, 0.1C 0.2C 0.5C held)."""
    cell, judge, ah = catalogue.load(id), CHARGE_ENDS[id], DISCHARGES[id]["capacity_ah"]
    current_c, held_ah = judge["nominal_ah"] / ah, judge["held_full_ah"]
    empty = 1 - held_ah / ah
    reached = [
        [
            *(curve.soc_without_hold(cell, v_end, c_rate * current_c) for c_rate in (0.1, 0.2, 0.5)),
            curve.soc_with_hold(cell, v_end, 0.08 * current_c),
        ]
        for v_end, *_ in judge["rows"]
    ]
    shares = (np.array(reached) - empty) * ah / held_ah
    return 100 * (shares - np.array(judge["rows"])[:, 1:])


@pytest.mark.parametrize(
    ("id", "column", "mean", "worst"),
    [
        # Errors to expect of a translated table, in points: at 0.1C 0.2 (1.9) for LFP, 0.2 (0.6) for NMC; at
        # 0.2C 1.1 (6.7) and 0.6 (4.3). Ours, from the curve: 0.1 (0.6), 0.2 (0.4); 0.1 (0.5), 0.1 (0.4).
        ("lfp", 0, 0.2, 1.9),
        ("nmc", 0, 0.2, 0.6),
        ("lfp", 1, 1.1, 6.7),
        ("nmc", 1, 0.6, 4.3),
        # Held, to expect: 0.1 (0.4). Ours 0.1 (0.7) for LFP, the worst at 3.30 V on its flat stretch, and 0.2
        # (0.4) for NMC: not as good as expected. Regression pin, a point.
        ("lfp", 3, 1.0, 1.0),
        ("nmc", 3, 1.0, 1.0),
    ],
)
def test_charge_reached_by_voltage_against_pybamm(id, column, mean, worst):
    errors = np.abs(charge_end_errors(id)[:, column])
    assert errors.mean() <= mean
    assert errors.max() <= worst


def test_charge_reached_at_half_c_is_known_above_the_flat_stretch():
    # At 0.5C without a hold LFP is up to 13 points too low at 3.36 V, on its flat stretch, where no voltage
    # tells the charge; above it 0.1. NMC is 0.2 to 0.8 too low, and 4.3 at 4.2 V, at the very top.
    # Regression pins.
    lfp, nmc = charge_end_errors("lfp")[:, 2], charge_end_errors("nmc")[:, 2]
    above_flat = np.array([row[0] for row in CHARGE_ENDS["lfp"]["rows"]]) >= 3.38
    assert np.abs(lfp[above_flat]).max() < 0.2
    assert np.abs(lfp).mean() < 2
    assert np.abs(nmc[:-1]).max() < 1
    assert abs(nmc[-1]) < 5


@pytest.mark.oracle
@pytest.mark.filterwarnings("default")
@pytest.mark.parametrize("id", list(DISCHARGES))
def test_pybamm_still_gives_what_the_fixture_holds(id):
    pytest.importorskip("pybamm")
    script: Any = load_script()
    recipe, kept = script.RECIPES[id], DISCHARGES[id]
    assert script.capacity_ah(recipe) == pytest.approx(kept["capacity_ah"], rel=0.001)
    for row in kept["discharges"][1:3]:
        assert script.one_discharge(recipe, kept["capacity_ah"], row["c_rate"]) == pytest.approx(row, rel=0.001)


def load_script():
    """The script that made the fixture, as a module."""
    spec = importlib.util.spec_from_file_location("make_pybamm_discharge", FIXTURES / "make_pybamm_discharge.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
