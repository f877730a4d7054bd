"""What the simulated cells do: the runs that the curves and the test fixture are both made from.

Needs the extra `oracle` (PyBaMM); never imported by the engine. Doyle-Fuller-Newman model, isothermal at
25 degC, published parameter sets. C-rates are multiples of the cell's own capacity: what it gives at
0.05C down to `v_low` after being held at `v_full` to 0.08C. Volts per cell.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pybamm
from numpy.typing import NDArray

Array = NDArray[np.float64]

TAIL_C = 0.08
SLOW_C = 0.05
"""Discharge that finds a cell's capacity: about the mean current of a home."""
PERIOD = "20 seconds"


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """A parameter set of PyBaMM and the window it is read in."""

    parameters: str
    v_low: float
    v_full: float


RECIPES = {
    "lfp": Recipe(parameters="Prada2013", v_low=2.5, v_full=3.65),
    "nmc": Recipe(parameters="Chen2020", v_low=3.0, v_full=4.2),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One step of an experiment: ampere-hours put in since its start, and volts, all (n,) arrays."""

    charged_ah: Array
    volts: Array
    rested_v: Array
    amps: Array


def experiment(recipe: Recipe, steps: list[str]) -> list[Run]:
    """Run `steps` from a half-full cell; charging is positive in what is returned."""
    values = pybamm.ParameterValues(recipe.parameters)
    values["Upper voltage cut-off [V]"] = recipe.v_full + 0.05
    values["Lower voltage cut-off [V]"] = min(values["Lower voltage cut-off [V]"], recipe.v_low - 0.05)
    values["Ambient temperature [K]"] = values["Initial temperature [K]"] = 298.15
    simulation = pybamm.Simulation(
        pybamm.lithium_ion.DFN(),
        parameter_values=values,
        experiment=pybamm.Experiment(steps, period=PERIOD),
        solver=pybamm.IDAKLUSolver(),
    )
    return [_run(cycle) for cycle in simulation.solve(initial_soc=0.5).cycles]


def _run(cycle: Any) -> Run:
    drawn = cycle["Discharge capacity [A.h]"].entries
    return Run(
        charged_ah=drawn[0] - drawn,
        volts=cycle["Voltage [V]"].entries,
        rested_v=cycle["Bulk open-circuit voltage [V]"].entries,
        amps=-cycle["Current [A]"].entries,
    )


def charge(recipe: Recipe, ah: float, c_rate: float) -> list[str]:
    """Charge at `c_rate` and hold to the tail."""
    return [
        f"Charge at {ah * c_rate} A until {recipe.v_full} V",
        f"Hold at {recipe.v_full} V until {ah * TAIL_C} A",
    ]


def discharge(recipe: Recipe, ah: float, c_rate: float) -> list[str]:
    """Discharge to the low volts at `c_rate`."""
    return [f"Discharge at {ah * c_rate} A until {recipe.v_low} V"]


REST = ["Rest for 6 hours"]


def capacity_ah(recipe: Recipe) -> float:
    """What the cell gives slowly from full, with the currents as multiples of that capacity [Ah]."""
    ah = float(pybamm.ParameterValues(recipe.parameters)["Nominal cell capacity [A.h]"])
    for _ in range(3):
        runs = experiment(recipe, charge(recipe, ah, 0.5) + REST + discharge(recipe, ah, SLOW_C))
        ah = float(-runs[-1].charged_ah[-1])
    return ah
