"""Write the curves of the simulated cells: `python data/build/build_cells.py` (extra `oracle`).

Rested volts are the equilibrium volts of the electrodes' mean fillings. `r_slow` is what charges at 0.1C,
0.2C and 0.5C add to them at equal charge, per C, constant current and hold alike, mean of the three;
`r_fast` what discharges at 0.05C to 0.5C take away, mean of those that reach so low. Every charge starts
from the rested empty cell, every discharge from the rested full one; the first 0.5 % of each is left out.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from cell_runs import (
    RECIPES,
    REST,
    SLOW_C,
    TAIL_C,
    Array,
    Recipe,
    Run,
    capacity_ah,
    charge,
    discharge,
    experiment,
)

CURVES = Path(__file__).resolve().parent.parent / "curves"
CHARGES_C = (0.1, 0.2, 0.5)
DISCHARGES_C = (SLOW_C, 0.1, 0.2, 0.5)
SETTLING = 0.005
SOC = np.array([0, 5, 10, 15, 20, 25, 30, 35, 40, 45, *range(50, 980, 10), 980, 985, 990, 995, 1000]) / 1000


def main() -> None:
    """Run every recipe and write its curve."""
    for name, recipe in RECIPES.items():
        ah = capacity_ah(recipe)
        rested, slow = charging(recipe, ah)
        columns = np.column_stack((SOC, rested, slow, discharging(recipe, ah)))
        head = "\n".join((*provenance(recipe, ah), "soc,ocv_v,r_slow_v_per_c,r_fast_v_per_c"))
        np.savetxt(CURVES / f"{name}.csv", columns, "%.4f", ",", header=head, comments="", encoding="utf-8")


def charging(recipe: Recipe, ah: float) -> tuple[Array, Array]:
    """Rested volts and slow resistance on `SOC`, from charges out of the rested empty cell."""
    rested, slow = [], []
    for c_rate in CHARGES_C:
        to_empty = charge(recipe, ah, 0.5) + REST + discharge(recipe, ah, SLOW_C) + REST
        *_, up, hold = experiment(recipe, to_empty + charge(recipe, ah, c_rate))
        s, volts, rested_v, current_c = joined(up, hold, ah)
        settled = s >= SETTLING
        rested.append(np.interp(SOC, s, rested_v))
        slow.append(np.interp(SOC, s[settled], ((volts - rested_v) / current_c)[settled]))
    return np.mean(rested, axis=0), np.mean(slow, axis=0)


def joined(up: Run, hold: Run, ah: float) -> tuple[Array, Array, Array, Array]:
    """One charge from empty to the tail: s, volts, rested volts and current in C."""
    charged = np.concatenate((up.charged_ah, up.charged_ah[-1] + hold.charged_ah))
    return (
        charged / charged[-1],
        np.concatenate((up.volts, hold.volts)),
        np.concatenate((up.rested_v, hold.rested_v)),
        np.concatenate((up.amps, hold.amps)) / ah,
    )


def discharging(recipe: Recipe, ah: float) -> Array:
    """Fast resistance on `SOC`, from discharges out of the rested full cell."""
    fast = []
    for c_rate in DISCHARGES_C:
        *_, down = experiment(recipe, charge(recipe, ah, 0.5) + REST + discharge(recipe, ah, c_rate))
        s = 1 + down.charged_ah / ah
        settled = s <= 1 - SETTLING
        drop = (down.rested_v - down.volts) / c_rate
        below = None if c_rate == SLOW_C else np.nan
        fast.append(np.interp(SOC, s[settled][::-1], drop[settled][::-1], left=below))
    return np.nanmean(np.vstack(fast), axis=0)  # type: ignore[no-any-return]


def provenance(recipe: Recipe, ah: float) -> tuple[str, ...]:
    """Lines that say where a curve is from."""
    return (
        "# Simulated from published parameters: Doyle-Fuller-Newman model of PyBaMM, parameter set",
        f"# {recipe.parameters}, isothermal 25 degC. Capacity {ah:.4f} Ah. soc 0: {recipe.v_low:g} V reached "
        f"at {SLOW_C:g}C; 1: held at {recipe.v_full:g} V to {TAIL_C:g}C.",
        "# Written by data/build/build_cells.py.",
    )


if __name__ == "__main__":
    main()
