"""A table of charge ends read: volts against the ampere-hours that came out after a charge to them.

Wide, with a column without and a column with a hold; or long, with the current at which each charge was cut off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np

from engine.bench.columns import MEANINGS
from engine.bench.records import Array, ChargeEnd, ChargeTable
from engine.bench.rows import Reading, Rows, needed, read_rows
from engine.errors import InputError
from engine.text.finding import Finding

MOST_ENDS = 500
SAME_CURRENT_SHARE = 0.95
"""Assumed: a cut-off current at least this share of the charge current means no hold."""
SAME_CAPACITY_SHARE = 0.01
"""Assumed: two runs of one charge agree as near as this; further apart they were not charged alike."""


def read_table(content: bytes, reading: Reading, charge_a: float, tail_a: float) -> ChargeTable:
    """Read a table of charge ends, wide (a column without, a column with a hold) or long (a cut-off current a row).

    Parameters
    ----------
    content : bytes
    reading : Reading
        Of kind ``table``.
    charge_a, tail_a : float
        Current of the charge, and the one that ended a hold [A]; a row cut off at the charge current had no hold.

    Returns
    -------
    ChargeTable

    Raises
    ------
    InputError
        If volts or capacity have no column, or more than a fifth of the rows cannot be read; if rows of the same volts
        differ by more than a hundredth; or if charges were held to several currents.
    """
    _sensible(charge_a, tail_a)
    rows, findings = read_rows(content, reading, needed(reading, "table"), MOST_ENDS)
    no_hold, hold, found = _held(rows, charge_a, tail_a)
    _refuse_unlike(rows, {"no_hold_ah": no_hold, "hold_ah": hold})
    ends, twice = _ends(rows.columns["volts"], no_hold, hold)
    return ChargeTable(
        ends=ends, charge_a=charge_a, tail_a=tail_a, findings=(*findings, *found, *twice, *_falling(ends))
    )


def _sensible(charge_a: float, tail_a: float) -> None:
    if not 0 < charge_a < 1e5:
        raise InputError("charge_a", f"The charge current must be above 0 A and below 100,000 A; got {charge_a:g}.")
    if not 0 < tail_a <= charge_a:
        text = f"The current that ended a hold must be above 0 A and at most the charge current, {charge_a:g} A"
        raise InputError("tail_a", f"{text}; got {tail_a:g}.")


def _held(rows: Rows, charge_a: float, tail_a: float) -> tuple[Array, Array, tuple[Finding, ...]]:
    """Capacities without and with a hold, row by row, and what does not agree with the bench's currents."""
    none = np.full(len(rows.lines), np.nan)
    if "ah" not in rows.columns:
        return rows.columns.get("no_hold_ah", none), rows.columns.get("hold_ah", none), ()
    ah, cut_off = rows.columns["ah"], rows.columns.get("cut_off_a", np.full(len(rows.lines), charge_a))
    held = cut_off < SAME_CURRENT_SHARE * charge_a
    _refuse_several_tails(cut_off[held], charge_a)
    other = held & ~np.isclose(cut_off, tail_a, rtol=1 - SAME_CURRENT_SHARE)
    found: tuple[Finding, ...] = ()
    if other.any():
        count, line = int(other.sum()), rows.lines[other][0]
        which = f"Line {line:,} was" if count == 1 else f"{count:,} rows, the first at line {line:,}, were"
        text = f"{which} held to another current than {tail_a:g} A, and used as if held to it."
        found = (Finding(level="check", code="other_tail", text=text),)
    return np.where(held, np.nan, ah), np.where(held, ah, np.nan), found


def _refuse_several_tails(cut_off: Array, charge_a: float) -> None:
    """Refuse charges that were held to more than one current: each current makes a curve of its own."""
    if len(cut_off) and cut_off.min() < SAME_CURRENT_SHARE * cut_off.max():
        text = f"Charges at {charge_a:g} A were held to different currents, {cut_off.max():g} A and {cut_off.min():g} A"
        raise InputError("cut_off_a", f"{text}: a table can have one. Bring the rows held to one current at a time.")


def _refuse_unlike(rows: Rows, capacities: Mapping[str, Array]) -> None:
    """Refuse rows of the same volts and method whose capacities are too far apart to be the same charge twice."""
    volts = np.round(rows.columns["volts"], 6)
    for key, ah in capacities.items():
        for at in np.unique(volts[np.isfinite(ah)]):
            same = ah[(volts == at) & np.isfinite(ah)]
            if same.min() < (1 - SAME_CAPACITY_SHARE) * same.max():
                text = f"Rows at {at:g} V give {same.min():.6g} Ah and {same.max():.6g} Ah"
                raise InputError(*_what_to_do("cut_off_a" in rows.columns and "ah" in rows.columns, key, text))


def _what_to_do(has_cut_off: bool, key: str, text: str) -> tuple[str, str]:
    """The field, and how rows that are unlike may be told apart."""
    if has_cut_off:
        alike = "though by their cut-off currents the charges ended alike: is the charge current given the right one"
        return "ah", f"{text}, {alike}? If it is, keep the row you trust."
    column, capacity = (next(one.label for one in MEANINGS["table"] if one.key == k) for k in ("cut_off_a", "ah"))
    give = f"give the column with the current that ended each charge as “{column}”, the capacity as “{capacity}”"
    field = "cut_off_a" if key == "no_hold_ah" else key
    return field, f"{text}: were some of the charges held? Then {give}. If none was, keep the row you trust."


def _ends(volts: Array, no_hold: Array, hold: Array) -> tuple[tuple[ChargeEnd, ...], tuple[Finding, ...]]:
    """Rows by rising volts; rows of the same volts made one, and said where they were several of one method."""
    ends: list[ChargeEnd] = []
    twice: list[float] = []
    rounded = np.round(volts, 6)
    for at in np.unique(rounded):
        same = rounded == at
        if max(np.isfinite(no_hold[same]).sum(), np.isfinite(hold[same]).sum()) > 1:
            twice.append(float(at))
        ends.append(ChargeEnd(volts=float(at), no_hold_ah=_mean(no_hold[same]), hold_ah=_mean(hold[same])))
    if not twice:
        return tuple(ends), ()
    text = f"{_listed(twice)} stand in more than one row: their capacities are averaged."
    return tuple(ends), (Finding(level="note", code="same_volts", text=text),)


def _mean(values: Array) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else None


def _listed(volts: Sequence[float]) -> str:
    shown = ", ".join(f"{one:g}" for one in volts[:5])
    return f"{shown} V" + (f" and {len(volts) - 5} more" if len(volts) > 5 else "")


def _falling(ends: Sequence[ChargeEnd]) -> tuple[Finding, ...]:
    """Where a higher end gave less, or a hold gave less than none."""
    found: list[Finding] = []
    for key, words in (("no_hold_ah", "without a hold"), ("hold_ah", "with a hold")):
        known = [(end.volts, getattr(end, key)) for end in ends if getattr(end, key) is not None]
        down = [high[0] for low, high in pairwise(known) if high[1] < low[1]]
        if down:
            text = f"Charges {words} to {_listed(down)} gave less than one to lower volts: look at those rows again."
            found.append(Finding(level="check", code="falls", text=text))
    less = [e.volts for e in ends if e.no_hold_ah is not None and e.hold_ah is not None and e.hold_ah < e.no_hold_ah]
    if less:
        text = f"At {_listed(less)} the hold gave less than no hold: are the two columns the right way round?"
        found.append(Finding(level="check", code="hold_gives_less", text=text))
    return tuple(found)
