"""The last step of every reading of a test: put the curve together, compare it with its holds, say what was borrowed.

Volts per cell, currents in C of the full charge, charge as a share of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.bench.measured_cell import HeldCheck, MeasuredCell
from engine.bench.measured_curve import assemble
from engine.bench.resistance import GRID, Held, Line, Resistance
from engine.cells.chemistry import Chemistry, first_crossing, table
from engine.errors import InputError
from engine.text.finding import Finding

OVER_V = 0.02
"""How far a tester's reading may lie above the chemistry's highest volts (assumed: its accuracy)."""
BELIEVABLE_SHARE = (0.6, 1.1)
"""Capacity a test may find, as a share of the label, before it is doubted (assumed)."""
STRANGE_V = 0.8
"""Rested volts further than this from the chemistry's, on average over the middle, are refused [V] (assumed: more
than LFP lies from NMC, so that it catches what is no cell of any of them, not a chemistry chosen by mistake)."""
MIDDLE = slice(200, 901)
"""Where on `GRID` they are compared: 20 to 90 % of the charge."""
FULL_ENOUGH_SHARE = 0.9
"""Share of the chemistry's own charge below which the highest measured volts are no full charge."""
BORROWED_TOP = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What a test gave before its curve is put together.

    `used` are the held points that the resistance was fitted to.
    """

    line: Line
    held: tuple[Held, ...]
    resistance: Resistance
    full_ah: float
    top_v: float
    charge_c: float
    tail_c: float
    measured_c: tuple[float, ...]
    method: str
    used: tuple[Held, ...] = ()
    efficiency: float | None = None
    v_low: float | None = None
    findings: tuple[Finding, ...] = ()


def finish(reading: Reading, base: Chemistry, label_ah: float | None) -> MeasuredCell:
    """Put the curve of a test together and compare it with the holds that were measured."""
    line, held = reading.line, reading.held
    curve = assemble(line, held, reading.top_v, reading.resistance, base)
    _refuse_strange(curve.ocv_v, base)
    checks = held_check(reading, base)
    misses = [row.difference_share for row in checks if row.used_for_resistance]
    first_v = min([float(line.volts[0]), *(h.volts for h in held)])
    return MeasuredCell(
        full_ah=reading.full_ah,
        charge_c=reading.charge_c,
        tail_c=reading.tail_c,
        soc=GRID,
        ocv_v=curve.ocv_v,
        r_v_per_c=curve.r_v_per_c,
        resistance=reading.resistance,
        v_low=base.v_low if reading.v_low is None else reading.v_low,
        first_v=first_v,
        v_top=reading.top_v,
        measured_c=reading.measured_c,
        measured_from_soc=curve.measured_from_soc,
        measured_to_soc=curve.measured_to_soc,
        method=reading.method,
        residual_share=float(np.sqrt(np.mean(np.square(misses)))) if misses else 0.0,
        coulombic_efficiency=reading.efficiency,
        held_check=checks,
        findings=(
            *reading.findings,
            *_borrowed(curve.measured_from_soc, curve.measured_to_soc, first_v, reading, base),
            *_believable(reading, base, label_ah),
        ),
    )


def _refuse_strange(ocv_v: NDArray[np.float64], base: Chemistry) -> None:
    """Refuse rested volts that no cell of this chemistry has: a log of one value, another unit, no full charge."""
    own = np.array(table(base).ocv_v)
    off_v = float(np.mean(np.abs(ocv_v - own)[MIDDLE]))
    if off_v > STRANGE_V:
        raise InputError(
            "volts",
            f"Rested volts read from this test lie {off_v:.1f} V from those of {base.name} in the middle of the "
            f"charge; up to {STRANGE_V:g} V is believable. Check the chemistry and the units, and that a charge from "
            "empty is in it.",
        )


def held_check(reading: Reading, base: Chemistry) -> tuple[HeldCheck, ...]:
    """Derive every measured hold from the charges without one and the resistance alone, and set both side by side.

    The highest hold is left out: it only carries the curve on above the charges without one.
    """
    if not reading.held:
        return ()
    top = reading.held[-1:] if reading.held[-1].volts >= reading.top_v else ()
    plain = assemble(reading.line, top, reading.top_v, reading.resistance, base)
    rows = []
    for point in reading.held[: len(reading.held) - len(top)]:
        climbing = np.maximum.accumulate(plain.ocv_v + point.c_rate * plain.r_v_per_c)
        rows.append(
            HeldCheck(
                volts=point.volts,
                derived_share=float(first_crossing(climbing, point.volts)),
                measured_share=point.soc,
                used_for_resistance=point in reading.used,
            )
        )
    return tuple(rows)


def check_test(top_v: float, base: Chemistry) -> None:
    """Refuse a test above what the chemistry may be charged to, one that never left its foot, and lead-acid."""
    if base.acceptance_tau_h is not None:
        raise InputError(
            "chemistry",
            f"{base.name} does not keep to rested volts plus resistance, so no charge curve can be read from its test; "
            "its tested ampere-hours can still be used.",
        )
    if top_v > base.v_max + OVER_V:
        raise InputError(
            "volts",
            f"This test charged to {top_v:g} V per cell, above the highest of {base.name}, {base.v_max:g} V. "
            "Check the chemistry and the maker’s sheet; for a pack, divide its volts by its cells in series.",
        )
    if not top_v > base.v_low + 0.2:
        raise InputError(
            "volts",
            f"This test charged only to {top_v:g} V per cell, hardly above the empty volts of {base.name}, "
            f"{base.v_low:g} V: there is no curve to read. Check the chemistry and the unit of the volts.",
        )


def _borrowed(start: float, end: float, first_v: float, reading: Reading, base: Chemistry) -> list[Finding]:
    """What of the curve is the chemistry's and not the test's."""
    found = []
    if reading.resistance.kind == "borrowed":
        text = f"This test does not show the cell’s resistance; that of {base.name} in our catalogue is used."
        found.append(Finding(level="check", code="resistance_borrowed", text=text))
    if start > 0.01:
        text = f"Below {first_v:.2f} V nothing was measured: the foot is that of {base.name}, joined on."
        found.append(Finding(level="note", code="foot_borrowed", text=text))
    if end < 1.0 - BORROWED_TOP:
        text = (
            f"Nothing was held at {reading.top_v:g} V, so the last {100 * (1 - end):.0f} % of the charge follow "
            f"{base.name} in our catalogue. One hold at the end of the next charge would measure it."
        )
        found.append(Finding(level="check", code="top_borrowed", text=text))
    return found


def _believable(reading: Reading, base: Chemistry, label_ah: float | None) -> list[Finding]:
    """Doubt a capacity far from the label, and a full charge that is none."""
    found = []
    low, high = BELIEVABLE_SHARE
    if label_ah is not None and not low <= reading.full_ah / label_ah <= high:
        text = (
            f"{reading.full_ah:.3g} Ah is {100 * reading.full_ah / label_ah:.0f} % of the label’s {label_ah:g} Ah; "
            f"{100 * low:.0f} to {100 * high:.0f} % is usual. Check the units and the label."
        )
        found.append(Finding(level="check", code="capacity_against_label", text=text))
    reached = first_crossing(_held_v(base), reading.top_v)
    if reached < FULL_ENOUGH_SHARE:
        text = (
            f"The test ended at {reading.top_v:g} V; {base.name} in our catalogue goes to {base.v_full:g} V. "
            f"All shares count from what {reading.top_v:g} V gives, and that is no full charge."
        )
        found.append(Finding(level="check", code="incomplete_charge", text=text))
    return found


def _held_v(base: Chemistry) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Volts of the chemistry's own hold along its charge."""
    held_v = np.interp(GRID, base.soc, base.ocv_v) + base.tail_c * np.interp(GRID, base.soc, base.r_slow_v_per_c)
    return np.maximum.accumulate(held_v)
