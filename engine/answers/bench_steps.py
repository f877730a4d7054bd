"""What one does on a bench, step by step, and how long and how many ampere-hours each takes.

A cell of `full_ah` is charged at a constant current, held where the tail is below it, rested and drawn to its
empty volts. Shares here are of what the bench gets back after a full charge (0 where its discharge ends, 1 after a hold
at the full volts), so that they are what a bench table calls percent. Hours, amperes, Ah at the terminals, 25 degC.
Not modelled: heat, a charger that needs a pause between two holds, the minutes of changing cells.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from engine.cells import curve
from engine.cells.chemistry import STEPS, Chemistry, capacity_share, table
from engine.cells.hold import taper

REST_H = 0.5
"""Rest after each charge and each discharge [h] (assumed: common on benches is a quarter of an hour to an hour)."""
SWEEP_STEP_V = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step: `kind` is charge, hold, discharge or rest; Ah through the terminals; `at_h` is when it ends."""

    kind: str
    text: str
    hours: float
    ah: float
    at_h: float
    end_v: float | None = None
    current_a: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """The cell on the bench and its currents; built by `bench_of`."""

    cell: Chemistry
    full_ah: float
    charge_a: float
    discharge_a: float
    tail_a: float
    bottom_soc: float
    """Charge of the model's scale that stays in the cell at this discharge current [-]."""

    @property
    def charge_c(self) -> float:
        """Charge current as a multiple of the capacity [1/h]."""
        return self.charge_a / self.full_ah

    @property
    def tail_c(self) -> float:
        """Tail current as a multiple of the capacity [1/h]."""
        return self.tail_a / self.full_ah

    @property
    def holds(self) -> bool:
        """Whether there is a hold at all: the tail is below the charge current."""
        return self.tail_a < self.charge_a

    def share(self, soc: float) -> float:
        """Bench share of a charge on the model's scale [-]."""
        return min(max((soc - self.bottom_soc) / (1.0 - self.bottom_soc), 0.0), 1.0)

    def soc(self, share: float) -> float:
        """Charge on the model's scale of a bench share [-]."""
        return self.bottom_soc + share * (1.0 - self.bottom_soc)

    def no_hold(self, volts: float, current_a: float | None = None) -> float:
        """Share reached at `volts` without a hold, at the charge current or another [-]."""
        rate = self.charge_c if current_a is None else current_a / self.full_ah
        return self.share(curve.soc_without_hold(self.cell, volts, rate))

    def held(self, volts: float) -> float:
        """Share reached after a hold at `volts` down to the tail [-]; without one where there is none."""
        return self.no_hold(volts, min(self.tail_a, self.charge_a))


def bench_of(cell: Chemistry, full_ah: float, charge_a: float, discharge_a: float, tail_a: float) -> Bench:
    """Put a cell on the bench; its empty is where its discharge current meets the empty volts."""
    rate = discharge_a / full_ah
    left = max(1.0 - capacity_share(cell, 25.0, rate), curve.soc_at_cutoff(cell, cell.v_low, rate))
    return Bench(
        cell=cell,
        full_ah=full_ah,
        charge_a=charge_a,
        discharge_a=discharge_a,
        tail_a=tail_a,
        bottom_soc=min(left, 0.9),
    )


def put_in_ah(bench: Bench, low: float, high: float) -> float:
    """Ah through the terminals for a rise from share `low` to `high`: those kept over the charge efficiency."""
    cells = table(bench.cell)
    first, last = round(bench.soc(low) * STEPS), max(round(bench.soc(high) * STEPS), round(bench.soc(low) * STEPS) + 1)
    inside = cells.coulombic[first : last + 1]
    return bench.full_ah * max(high - low, 0.0) * sum(1.0 / kept for kept in inside) / len(inside)


def discharge(bench: Bench, share: float, why: str = "") -> Step:
    """Draw `share` of the capacity down to the empty volts."""
    ah = share * bench.full_ah
    text = f"Discharge at {bench.discharge_a:g} A down to {bench.cell.v_low:g} V{why}."
    return Step(
        kind="discharge",
        text=text,
        hours=ah / bench.discharge_a,
        ah=ah,
        at_h=0.0,
        end_v=bench.cell.v_low,
        current_a=bench.discharge_a,
    )


def charge(bench: Bench, volts: float, low: float = 0.0, current_a: float | None = None) -> Step:
    """Charge at constant current from share `low` until `volts` are met."""
    amps = bench.charge_a if current_a is None else current_a
    ah = put_in_ah(bench, low, max(low, bench.no_hold(volts, amps)))
    text = f"Charge at {amps:g} A until {volts:g} V, logging time, volts and amperes."
    return Step(kind="charge", text=text, hours=ah / amps, ah=ah, at_h=0.0, end_v=volts, current_a=amps)


def hold(bench: Bench, volts: float, low: float = 0.0) -> Step:
    """Hold `volts` until the current has come down to the tail; from share `low` where the charge began above it."""
    followed = taper(bench.cell, volts, bench.charge_c, bench.tail_c)
    begins = max(low, bench.no_hold(volts))
    passed_h = float(np.interp(bench.soc(begins), followed.soc, followed.hours))
    text = f"Hold {volts:g} V until the current has fallen to {bench.tail_a:g} A."
    return Step(
        kind="hold",
        text=text,
        hours=(float(followed.hours[-1]) - passed_h) / (1.0 - bench.bottom_soc),
        ah=put_in_ah(bench, begins, bench.held(volts)),
        at_h=0.0,
        end_v=volts,
        current_a=bench.tail_a,
    )


def rest() -> Step:
    """Leave the cell alone for `REST_H`."""
    text = f"Rest {REST_H * 60:.0f} minutes with nothing connected but the meter; keep logging."
    return Step(kind="rest", text=text, hours=REST_H, ah=0.0, at_h=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """The full sweep a plan is compared with: every 0.1 V, without and with a hold, each with its own discharge."""

    points: int
    charges: int
    hours: float
    days: float
    low_v: float
    high_v: float
    text: str


def sweep(bench: Bench, cells: int) -> Sweep:
    """Add up the full sweep of `cells` cells one after the other.

    Notes
    -----
    From the first 0.1 V step at which even a hold leaves something, to the full volts themselves. Each point is a
    charge from empty, a hold in the held column, a rest, a discharge and a rest; the first discharge to empty is
    counted as from full.
    """
    ends = sweep_volts(bench)
    methods = (False, True) if bench.holds else (False,)
    each = [_point_h(bench, volts, held) for volts in ends for held in methods]
    hours = cells * (math.fsum(each) + discharge(bench, 1.0).hours + REST_H)
    text = (
        f"Every {SWEEP_STEP_V:g} V from {ends[0]:g} to {ends[-1]:g} V, "
        f"{'without and with a hold' if bench.holds else 'without a hold'}: {len(each)} charges from empty, each with "
        f"its rest, its discharge and its rest{'' if cells == 1 else f', for each of {cells} cells'}."
    )
    return Sweep(
        points=len(ends),
        charges=len(each) * cells,
        hours=hours,
        days=hours / 24.0,
        low_v=ends[0],
        high_v=ends[-1],
        text=text,
    )


def sweep_volts(bench: Bench) -> list[float]:
    """The charge-end volts of a full sweep, rising to the full volts."""
    first, last = math.ceil(bench.cell.v_low / SWEEP_STEP_V), math.ceil(bench.cell.v_full / SWEEP_STEP_V - 1e-9)
    steps = [round(k * SWEEP_STEP_V, 3) for k in range(first, last)]
    return [*(v for v in steps if bench.held(v) > 0.0), bench.cell.v_full]


def _point_h(bench: Bench, volts: float, held: bool) -> float:
    """Hours of one point of the sweep."""
    share = bench.held(volts) if held else bench.no_hold(volts)
    holding = hold(bench, volts).hours if held else 0.0
    return charge(bench, volts).hours + holding + discharge(bench, share).hours + 2.0 * REST_H
