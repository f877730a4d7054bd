"""Hand a measured cell to a bank as its own chemistry: what was measured, and from where the rest is borrowed.

Volts per cell, charge as a share of the measured full charge, which is the tested capacity to give the bank.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from engine.bench.measured_cell import MeasuredCell
from engine.bench.resistance import GRID, middle
from engine.cells.chemistry import TABLE_C, Chemistry, Pairs, interpolated, table
from engine.sources import Source

Array = NDArray[np.float64]

NODES: Array = (
    np.concatenate((np.arange(0, 50, 5), np.arange(50, 900, 10), np.arange(900, 980, 5), np.arange(980, 1001, 2)))
    / 1000.0
)
"""Charges at which the curve is kept: closer at both ends, where it bends."""
_CURVE = "soc ocv_v r_slow_v_per_c r_fast_v_per_c"
_OWN = ("soc", "ocv_v", "r_slow_v_per_c", "r_fast_v_per_c", "v_full", "v_charge", "tail_c")


def chemistry_of(cell: MeasuredCell, base: Chemistry, id: str, name: str, tested_c: float = TABLE_C) -> Chemistry:
    """Return a chemistry with the measured curve and the rest from `base`.

    Parameters
    ----------
    cell : MeasuredCell
    base : Chemistry
        Same kind of cell; limits, temperature tables, reserve and life stay its.
    id, name : str
        Of the new chemistry.
    tested_c : float
        Cell temperature in the test [degC]: there a measured resistance is as it was measured.

    Returns
    -------
    Chemistry
        Its full charge is `cell.full_ah`: give the bank that as its tested capacity, and `tested_c` beside it.

    Notes
    -----
    The resistance over minutes is the base's, multiplied by measured over the base's resistance over hours: the
    test shows the slow one only. The lowest and the highest cell volts are limits, which a test
    does not change.
    """
    v_full = min(cell.v_top, base.v_max)
    slow = np.interp(NODES, GRID, cell.r_v_per_c)
    ocv = np.interp(NODES, GRID, cell.ocv_v)
    own: dict[str, object] = {
        "soc": _rounded(NODES),
        "ocv_v": _rounded(ocv),
        "r_slow_v_per_c": _rounded(slow),
        "r_fast_v_per_c": _rounded(_fast(cell, base)),
        "v_full": v_full,
        "v_charge": min(base.v_charge, v_full),
        "tail_c": round(min(max(cell.tail_c, 0.001), 1.0), 4),
        "coulombic_efficiency": _efficiency(cell, base),
        "resistance_temperature": _against_temperature(cell, base, tested_c),
    }
    nominal_is_base = base.v_nominal < v_full
    own["v_nominal"] = base.v_nominal if nominal_is_base else float(np.trapezoid(cell.ocv_v, GRID))
    sources = _sources(cell, base, nominal_is_base)
    return dataclasses.replace(base, id=id, name=name, sources=sources, **own)  # type: ignore[arg-type]


def _rounded(values: Array) -> tuple[float, ...]:
    """Keep a tenth of a millivolt."""
    return tuple(round(float(v), 4) for v in values)


def _fast(cell: MeasuredCell, base: Chemistry) -> Array:
    """The base's resistance over minutes, scaled as its resistance over hours was."""
    cells = table(base)
    usual = middle(np.array(cells.r_slow))
    factor = middle(cell.r_v_per_c) / usual if usual > 0.0 else 1.0
    return np.interp(NODES, GRID, factor * np.array(cells.r_fast))


def _against_temperature(cell: MeasuredCell, base: Chemistry, tested_c: float) -> Pairs:
    """The base's resistance against temperature, with 1 where this cell's own was measured."""
    pairs = base.resistance_temperature
    there = 1.0 if cell.resistance.kind == "borrowed" else interpolated(pairs, tested_c)
    return tuple((c, factor / there) for c, factor in pairs)


def _efficiency(cell: MeasuredCell, base: Chemistry) -> tuple[float, ...] | float:
    """Measured, or the base's at the new charges."""
    if cell.coulombic_efficiency is not None:
        return cell.coulombic_efficiency
    if isinstance(base.coulombic_efficiency, tuple):
        return _rounded(np.interp(NODES, GRID, table(base).coulombic))
    return base.coulombic_efficiency


def _sources(cell: MeasuredCell, base: Chemistry, nominal_is_base: bool) -> dict[str, Source]:
    """The base's sources for what stays its, the test's for what was measured."""
    own = [*_OWN, *([] if nominal_is_base else ["v_nominal"])]
    own += [] if cell.coulombic_efficiency is None else ["coulombic_efficiency"]
    kept: dict[str, Source] = {}
    for key, source in base.sources.items():
        left = " ".join(word for word in key.split() if word not in own)
        if left:
            kept[left] = _of_the_base(source, base)
    return _measured(cell, base, nominal_is_base) | kept


def _of_the_base(source: Source, base: Chemistry) -> Source:
    """Say of a number measured on another cell that it is not this one's."""
    if source.kind != "measured":
        return source
    return Source(kind=source.kind, text=f"Of {base.name} in our catalogue, not of your cell. {source.text}")


def _measured(cell: MeasuredCell, base: Chemistry, nominal_is_base: bool) -> dict[str, Source]:
    """What the test says, in words."""
    charge_from = "The lower of the usual daily charge volts and the highest this test measured"
    scaled = "" if cell.resistance.kind == "borrowed" else ", scaled by measured over its resistance over hours"
    said = {
        _CURVE: f"Your own test: {cell.method} ({cell.charge_c:.2g}C of {cell.full_ah:.4g} Ah). "
        f"Resistance over hours: {cell.resistance.source}. Resistance over minutes: that of {base.name}"
        f"{scaled}. {_borrowed(cell, base)}".rstrip(),
        "v_full tail_c": f"The window of your test: full is held at {cell.v_top:g} V to {cell.tail_c:.2g}C, and empty "
        f"is where its discharge ended, {cell.v_low:g} V. How far it went is no limit: the lowest volts allowed stay.",
    }
    measured = {key: Source(kind="measured", text=text) for key, text in said.items()}
    usual = base.source_of("v_charge")
    kind = "measured" if usual is None or base.v_charge > cell.v_top else usual.kind
    measured["v_charge"] = Source(kind=kind, text=f"{charge_from}." + (f" {usual.text}" if usual else ""))
    if not nominal_is_base:
        measured["v_nominal"] = Source(kind="measured", text="Mean of the measured curve over the charge.")
    if cell.coulombic_efficiency is not None:
        text = "Ampere-hours out over in of your own test."
        measured["coulombic_efficiency"] = Source(kind="measured", text=text)
    return measured


def _borrowed(cell: MeasuredCell, base: Chemistry) -> str:
    """Which parts of the curve are the base's."""
    parts = []
    if cell.measured_from_soc > 0.01:
        parts.append(f"below {cell.first_v:.2f} V (the first {100 * cell.measured_from_soc:.0f} %)")
    if cell.measured_to_soc < 0.999:
        parts.append(f"the last {100 * (1 - cell.measured_to_soc):.0f} %, which was not held")
    return f"Borrowed from {base.name}, joined on: {' and '.join(parts)}." if parts else ""
