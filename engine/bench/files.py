"""Bench files read: a log over time, a table of charge ends or a list of cells, from delimited text of any make.

`guess` says how we would read a file and what we would ask; `with_choices` puts in what a person said instead; the
rest read. Seconds, volts, amperes (into the cell positive), ampere-hours, watt-hours, milliohm, degC. Rows that cannot
be read are left out and counted; more than a fifth of them is refused. Not modelled: clocks that stop, several cells
in one log.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from itertools import chain

import numpy as np

from engine.bench.columns import CLOCK, DATES, HOUR_MINUTE, KINDS, MEANINGS, Meaning
from engine.bench.guess import Places, Sample, falls_while_charging, kind_of, places, sample_of
from engine.bench.records import Array, BenchLog, TestedCell
from engine.bench.rows import SIGNS, Reading, Rows, needed, read_rows
from engine.bench.table_rows import read_table
from engine.errors import InputError
from engine.text import delimited
from engine.text.clocks import over_midnight
from engine.text.finding import Finding
from engine.text.formulas import unguarded
from engine.text.layouts import Layout, parts_thousands

__all__ = [
    "KINDS",
    "MEANINGS",
    "BenchLog",
    "Meaning",
    "Reading",
    "guess",
    "left_out",
    "read_cells",
    "read_log",
    "read_table",
    "with_choices",
]

MOST_CELLS = 10_000
_FLIPPED = "The volts fall where the current is positive, so it is turned round: is the current into the cell negative?"


def guess(content: bytes) -> Reading:
    """Return how a file would be read, and what is in doubt.

    Parameters
    ----------
    content : bytes
        The whole file.

    Returns
    -------
    Reading

    Raises
    ------
    InputError
        If it is no delimited text with numbers in it.

    Examples
    --------
    >>> reading = guess(b"t [s];U [V];I [mA]\\n0;3,60;650\\n1;3,61;650\\n")
    >>> reading.kind, reading.columns["current"], reading.doubts
    ('log', (2, 'mA'), ())
    """
    layout = delimited.sniff(content)
    sample = sample_of(content, layout)
    return _guessed(kind_of(sample), sample)


def _guessed(kind: str, sample: Sample) -> Reading:
    found, asked = places(kind, sample)
    flip = kind == "log" and falls_while_charging(sample, found)
    asked += (("current_sign", _FLIPPED),) if flip else ()
    asked += (("decimal", sample.layout.sign_doubt),) if sample.layout.sign_doubt else ()
    return Reading(kind=kind, layout=sample.layout, columns=found, current_sign=SIGNS[flip], asked=asked, sample=sample)


def with_choices(
    reading: Reading,
    *,
    kind: str | None = None,
    columns: Mapping[str, tuple[int, str]] | None = None,
    current_sign: str | None = None,
    decimal: str | None = None,
) -> Reading:
    """Return the reading as a person would have it; questions about what they changed are gone.

    Parameters
    ----------
    reading : Reading
        As `guess` returned it.
    kind : str, optional
        One of `KINDS`.
    columns : mapping of str to (int, str), optional
        Column, from 0, and unit of each meaning that has one; what is not named has none.
    current_sign : str, optional
        ``as written`` or ``flip``.
    decimal : str, optional
        ``.`` or ``,``.

    Returns
    -------
    Reading

    Raises
    ------
    InputError
        Naming the choice that cannot be.
    """
    kind = kind or reading.kind
    if kind not in KINDS:
        raise InputError("kind", f"A bench file is one of {', '.join(KINDS)}; got “{kind}”.")
    sample = _with_decimal(reading.sample, decimal)
    before = reading if kind == reading.kind and sample is reading.sample else _guessed(kind, sample)
    chosen = before.columns if columns is None else _checked(kind, before.layout, columns)
    sign = before.current_sign if current_sign is None else current_sign
    if sign not in SIGNS:
        raise InputError("current_sign", f"The current is taken {' or '.join(SIGNS)}; got “{sign}”.")
    settled = {key for key, place in before.columns.items() if chosen.get(key) != place}
    settled |= {key for key in chosen if key not in before.columns}
    settled |= {"current_sign"} if sign != before.current_sign else set()
    asked = tuple((key, text) for key, text in before.asked if key not in settled)
    return dataclasses.replace(before, columns=chosen, current_sign=sign, asked=asked)


def _with_decimal(sample: Sample, decimal: str | None) -> Sample:
    if decimal is None or decimal == sample.layout.decimal:
        return sample
    if decimal not in (".", ","):
        raise InputError("decimal", f"The decimal sign is a point or a comma; got “{decimal}”.")
    other = "," if decimal == "." else "."
    grouped = other != sample.layout.delimiter and parts_thousands(chain.from_iterable(sample.rows), other)
    layout = dataclasses.replace(sample.layout, decimal=decimal, thousands=other if grouped else "", sign_doubt="")
    return Sample(layout, sample.rows)


def _checked(kind: str, layout: Layout, columns: Mapping[str, tuple[int, str]]) -> Places:
    known = {meaning.key: meaning for meaning in MEANINGS[kind]}
    for key, (at, unit) in columns.items():
        if key not in known:
            raise InputError(key, f"A column of this kind of file is one of {_labels(known)}; got “{key}”.")
        if not 0 <= at < layout.columns:
            raise InputError(key, f"{known[key].label} must be one of columns 1 to {layout.columns}; got {at + 1}.")
        if unit not in known[key].units:
            units = ", ".join(known[key].units)
            raise InputError(key, f"{known[key].label} must be in one of {units or 'no unit'}; got “{unit}”.")
    taken: dict[int, str] = {}
    for key, (at, _) in columns.items():
        if at in taken:
            both = f"{known[taken[at]].label} and {known[key].label.lower()}"
            raise InputError(key, f"{both} cannot be the same column, “{layout.name(at)}”.")
        taken[at] = key
    return dict(columns)


def _labels(meanings: Mapping[str, Meaning]) -> str:
    return ", ".join(one.label.lower() for one in meanings.values())


def read_log(content: bytes, reading: Reading) -> BenchLog:
    """Read a log over time.

    Parameters
    ----------
    content : bytes
    reading : Reading
        Of kind ``log``.

    Returns
    -------
    BenchLog
        In the order of the file; dates become seconds from the first.

    Raises
    ------
    InputError
        If time, voltage or current have no column, or more than a fifth of the rows cannot be read.

    Examples
    --------
    >>> content = b"t [min];U [V];I [mA]\\n0;3,60;650\\n1;3,61;650\\n"
    >>> log = read_log(content, guess(content))
    >>> [column.tolist() for column in (log.time_s, log.voltage_v, log.current_a)]
    [[0.0, 60.0], [3.6, 3.61], [0.65, 0.65]]
    """
    rows, findings = read_rows(content, reading, needed(reading, "log"))
    current = rows.columns["current"]
    return BenchLog(
        time_s=_from_first(rows, reading),
        voltage_v=rows.columns["voltage"],
        current_a=-current if reading.current_sign == "flip" else current,
        ah=_optional(rows, "ah"),
        wh=_optional(rows, "wh"),
        step=_optional(rows, "step"),
        temperature_c=_optional(rows, "temperature"),
        findings=findings,
    )


def _from_first(rows: Rows, reading: Reading) -> Array:
    """Seconds; from the first row where the file writes dates, over midnight where it writes clocks."""
    time, unit = rows.columns["time"], reading.columns["time"][1]
    if "date" in rows.columns:
        time = time + rows.columns["date"]
    elif unit in (CLOCK, HOUR_MINUTE):
        time = over_midnight(time)
    return time - time[0] if "date" in rows.columns or unit in DATES else time


def _optional(rows: Rows, key: str) -> Array | None:
    values = rows.columns.get(key)
    return None if values is None or np.isnan(values).all() else values


def read_cells(content: bytes, reading: Reading) -> tuple[TestedCell, ...]:
    """Read a list of cells, in the order of the file; a cell without a name gets its number.

    Parameters
    ----------
    content : bytes
    reading : Reading
        Of kind ``cells``.

    Returns
    -------
    tuple of TestedCell

    Raises
    ------
    InputError
        If the capacity has no column, or more than a fifth of the rows cannot be read.

    Examples
    --------
    >>> content = b"Cell,mAh\\nA1,1310\\nA2,1295\\n"
    >>> [(cell.name, cell.ah) for cell in read_cells(content, guess(content))]
    [('A1', 1.31), ('A2', 1.295)]
    """
    rows, _ = read_rows(content, reading, needed(reading, "cells"), MOST_CELLS)
    names = _names(content, reading, rows)
    return tuple(
        TestedCell(name=name, ah=float(ah), wh=wh, milliohm=milliohm)
        for name, ah, wh, milliohm in zip(
            names, rows.columns["ah"], _or_none(rows, "wh"), _or_none(rows, "milliohm"), strict=True
        )
    )


def _names(content: bytes, reading: Reading, rows: Rows) -> list[str]:
    if "name" not in reading.columns:
        return [str(n + 1) for n in range(len(rows.lines))]
    at = reading.columns["name"][0]
    every = delimited.columns(content, reading.layout, [(at, None)]).lines
    written = dict(zip(every.tolist(), delimited.texts(content, reading.layout, at), strict=True))
    return [unguarded(written[line]) or str(n + 1) for n, line in enumerate(rows.lines.tolist())]


def _or_none(rows: Rows, key: str) -> list[float | None]:
    values = rows.columns.get(key, np.full(len(rows.lines), np.nan))
    return [float(value) if np.isfinite(value) and value > 0 else None for value in values]


def left_out(content: bytes, reading: Reading) -> tuple[Finding, ...]:
    """Return what is said of rows that could not be read, for any kind of file."""
    return read_rows(content, reading, needed(reading, reading.kind))[1]
