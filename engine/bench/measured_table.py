"""From a table of charge ends to a cell's curve: one resistance and one rising curve fitted to both columns.

Volts per cell, ampere-hours delivered on the discharge after each charge. Not modelled: errors of the volts.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from engine.bench import resistance as resistances
from engine.bench.measured_build import Reading, check_test, finish
from engine.bench.measured_cell import MeasuredCell
from engine.bench.measured_curve import full_with_head, line_of_table
from engine.bench.records import ChargeTable
from engine.bench.resistance import GRID, Held, Line, Resistance
from engine.cells.chemistry import Chemistry
from engine.errors import InputError
from engine.text.finding import Finding

Array = NDArray[np.float64]

ROUNDS = 4
"""Times the full charge and the resistance are worked out in turn where the highest charge was not held."""
MANY_HELD = 4
"""Held points from which the resistance is one number; with fewer it follows the chemistry's along the charge."""
FALL_SHARE = 0.05
"""A column whose last row gives so much less than its first is no charge column (assumed)."""
SLIP_SHARE = 0.01
"""Fall between neighbours, as a share of the full charge, from which a table is doubted."""


def from_table(
    table: ChargeTable,
    base: Chemistry,
    label_ah: float | None = None,
    *,
    as_base: bool | None = None,
    v_low: float | None = None,
) -> MeasuredCell:
    """Read a table of charge ends: a column without a hold, with all, some or none of its holds beside it.

    Parameters
    ----------
    table : ChargeTable
        Rows by rising volts.
    base : Chemistry
        From which the shape of the resistance, the foot and, if nothing was held, the top are borrowed.
    label_ah : float or None
        Label of the cell [Ah], to judge the result against.
    as_base : bool or None
        Whether the resistance follows the chemistry's along the charge; None does so with few held points.
    v_low : float or None
        Where the test's discharges ended [V]; None takes the chemistry's.

    Returns
    -------
    MeasuredCell

    Raises
    ------
    InputError
        If the rows are too few, not by rising volts, or not of this chemistry.
    """
    no_hold, holds = _column(table, "no_hold_ah"), _column(table, "hold_ah")
    _check(table, no_hold, holds)
    column, amps = (no_hold, table.charge_a) if len(no_hold) >= 2 else (holds, table.tail_a)
    if len(no_hold) < 2:
        no_hold = no_hold[:0]
    top_v = float(max(column[-1, 0], holds[-1, 0] if len(holds) else 0.0))
    check_test(top_v, base)
    reading = _settled(table, column, amps, holds if len(no_hold) else holds[:0], top_v, base, as_base)
    tail_c = table.tail_a / reading.full_ah if len(holds) else base.tail_c
    return finish(_said(reading, table, no_hold, holds, tail_c, v_low), base, label_ah)


def _settled(
    table: ChargeTable, column: Array, amps: float, holds: Array, top_v: float, base: Chemistry, as_base: bool | None
) -> Reading:
    """Work out the full charge, which a hold at the top gives or the chemistry's top must, and with it the rest."""
    measured_ah = float(max(column[:, 1].max(), holds[:, 1].max() if len(holds) else 0.0))
    at_top = column[-1, 0] >= top_v and not (len(holds) and holds[-1, 0] >= top_v) and amps > table.tail_a
    full_ah = measured_ah
    reading = _read(table, column, amps, holds, top_v, full_ah, base, as_base)
    for _ in range(ROUNDS if at_top else 0):
        end_r = float(np.interp(reading.line.soc[-1], GRID, reading.resistance.v_per_c))
        full_ah = max(full_with_head(float(column[-1, 1]), top_v, amps, base, end_r), measured_ah)
        reading = _read(table, column, amps, holds, top_v, full_ah, base, as_base)
    return reading


def _read(
    table: ChargeTable,
    column: Array,
    amps: float,
    holds: Array,
    top_v: float,
    full_ah: float,
    base: Chemistry,
    as_base: bool | None,
) -> Reading:
    """Read the columns for one guess of the full charge."""
    line = line_of_table(column[:, 0], column[:, 1], full_ah, amps / full_ah, base)
    held = tuple(Held(soc=float(ah) / full_ah, volts=float(v), c_rate=table.tail_a / full_ah) for v, ah in holds)
    resistance, used, refused = _resistance(line, held, top_v, base, as_base)
    return Reading(
        line=line,
        held=held,
        resistance=resistance,
        used=used,
        full_ah=full_ah,
        top_v=top_v,
        charge_c=table.charge_a / full_ah,
        tail_c=table.tail_a / full_ah,
        measured_c=(amps / full_ah,),
        method="",
        findings=refused,
    )


def _resistance(
    line: Line, held: tuple[Held, ...], top_v: float, base: Chemistry, as_base: bool | None
) -> tuple[Resistance, tuple[Held, ...], tuple[Finding, ...]]:
    """Fit the resistance to the holds that can tell it, or borrow it; and say which were refused."""
    top = held[-1] if held and held[-1].volts >= top_v else None
    inner = held[:-1] if top else held
    follows = len(inner) < MANY_HELD if as_base is None else as_base
    judged = [(point, resistances.refusal(line, point, base, follows)) for point in inner]
    used = tuple(point for point, refused in judged if refused is None)
    findings = _refused([text for _, text in judged if text], bool(used))
    if not used:
        return resistances.borrowed(base), (), findings
    return resistances.from_hold(line, used, top, resistances.shape_of(base, follows)), used, findings


def _refused(reasons: list[str], others: bool) -> tuple[Finding, ...]:
    """Say which holds told nothing of the resistance: a note where others did."""
    if not reasons:
        return ()
    rest = len(reasons) - 1
    more = f" {rest} more {'hold is' if rest == 1 else 'holds are'} left out likewise." if rest else ""
    return (Finding(level="note" if others else "check", code="anchor_refused", text=reasons[0] + more),)


def _said(
    reading: Reading, table: ChargeTable, no_hold: Array, holds: Array, tail_c: float, v_low: float | None
) -> Reading:
    """Add the words, the currents that were measured, and the doubts about the table itself."""
    full_ah = reading.full_ah
    columns = ((table.charge_a, no_hold), (table.tail_a, holds))
    held = f", held down to {table.tail_a:g} A" if len(holds) else ", nothing held"
    return dataclasses.replace(
        reading,
        tail_c=tail_c,
        measured_c=tuple(amps / full_ah for amps, rows in columns if len(rows) >= 3) or reading.measured_c,
        method=f"a table of charge ends at {table.charge_a:g} A{held}",
        v_low=v_low,
        findings=(*table.findings, *reading.findings, *_doubts(no_hold, holds, full_ah)),
    )


def _column(table: ChargeTable, name: str) -> Array:
    """Volts and ampere-hours (n, 2) of one column, where it has any."""
    rows = [(end.volts, getattr(end, name)) for end in table.ends if getattr(end, name) is not None]
    return np.array(rows, dtype=np.float64).reshape(-1, 2)


def _check(table: ChargeTable, no_hold: Array, holds: Array) -> None:
    """Refuse a table that cannot be read as a curve."""
    if max(len(no_hold), len(holds)) < 2:
        raise InputError("ends", "A table of charge ends needs two or more volts with ampere-hours beside them.")
    volts = [end.volts for end in table.ends]
    if not np.all(np.diff(volts) > 0):
        raise InputError("ends", "The volts of a table of charge ends must rise from row to row.")
    if not table.charge_a > 0 or not table.tail_a > 0:
        raise InputError("charge_a", "The charge current and the current that ends a hold must be above 0 A.")
    everything = np.concatenate((no_hold[:, 1], holds[:, 1]))
    if not (np.all(np.isfinite(everything)) and everything.min() >= 0 and everything.max() > 0):
        raise InputError("ends", "The ampere-hours of a table must be numbers from 0 up, and one above 0.")
    main = no_hold if len(no_hold) >= 2 else holds
    for rows, words in ((no_hold, "without a hold"), (holds, "with a hold")):
        least_ah = rows[0, 1] if rows is main else (1.0 - FALL_SHARE) * rows[:1, 1].sum()
        if len(rows) >= 2 and not rows[-1, 1] > least_ah:
            raise InputError(
                "ends",
                f"More volts never give less: {words}, {rows[0, 0]:g} V gave {rows[0, 1]:g} Ah and {rows[-1, 0]:g} V "
                f"{rows[-1, 1]:g} Ah. Check which column holds the volts.",
            )


def _doubts(no_hold: Array, holds: Array, full_ah: float) -> list[Finding]:
    """Rows that fall though the volts rise, and holds that give less than no hold."""
    found = []
    for rows, words in ((no_hold, "without a hold"), (holds, "with a hold")):
        falls = np.flatnonzero(np.diff(rows[:, 1]) < -SLIP_SHARE * full_ah)
        if len(falls):
            text = f"{words.capitalize()}, {rows[falls[0] + 1, 0]:g} V gave less than {rows[falls[0], 0]:g} V."
            found.append(Finding(level="check", code="not_rising", text=f"{text} The curve takes their middle."))
    plain = {float(v): float(ah) for v, ah in no_hold}
    less = [float(v) for v, ah in holds if float(v) in plain and ah < plain[float(v)] - SLIP_SHARE * full_ah]
    if less:
        text = f"At {less[0]:g} V the hold gave less than no hold, which cannot be: check that row."
        found.append(Finding(level="check", code="hold_gives_less", text=text))
    return found
