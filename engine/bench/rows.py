"""The rows of a bench file by a reading of it, in the units of the records.

Rows without what their kind needs are left out and counted; more than a fifth of them is refused.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from engine.bench.columns import CLOCK, DATES, FAHRENHEIT, HOUR_MINUTE, MEANINGS, ZERO_C_IN_F, Doubt
from engine.bench.guess import Places, Sample
from engine.bench.records import Array
from engine.errors import InputError
from engine.text import delimited
from engine.text.clocks import clock_s, date_s
from engine.text.delimited import Parser
from engine.text.finding import Finding
from engine.text.layouts import Layout

SIGNS = ("as written", "flip")
MOST_UNREADABLE_SHARE = 0.2
_ABOVE_NOTHING = {"log": (), "table": ("volts", "cut_off_a"), "cells": ("ah", "wh", "milliohm")}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How a file is read: its layout, and for each meaning its column and unit; `asked` is what is in doubt, by key."""

    kind: str
    layout: Layout
    columns: Places
    current_sign: str = SIGNS[0]
    asked: tuple[Doubt, ...] = ()
    sample: Sample = dataclasses.field(repr=False, compare=False)

    @property
    def doubts(self) -> tuple[str, ...]:
        """What we would ask, in sentences."""
        return tuple(text for _, text in self.asked)


@dataclass(frozen=True, slots=True)
class Rows:
    """Columns of a file in the records' units, and the lines they stand on."""

    columns: dict[str, Array]
    lines: NDArray[np.int64]

    def kept(self, fit: NDArray[np.bool_]) -> Rows:
        """Return the rows that are marked, (n,)."""
        return Rows({key: values[fit] for key, values in self.columns.items()}, self.lines[fit])


def needed(reading: Reading, kind: str) -> tuple[tuple[str, ...], ...]:
    """The columns a row must have: all of each group's, or one of them; refuses what has no column."""
    if reading.kind != kind:
        raise InputError("kind", f"The file is read as one of kind “{reading.kind}”, not “{kind}”.")
    missing = [
        InputError(one.key, f"{one.label} has no column yet: choose it.")
        for one in MEANINGS[kind]
        if one.required and one.key not in reading.columns
    ]
    capacities = tuple(key for key in ("no_hold_ah", "hold_ah", "ah") if key in reading.columns)
    if kind == "table" and not capacities:
        missing.append(InputError("no_hold_ah", "Capacity has no column yet: choose the one without or with a hold."))
    if missing:
        raise InputError(missing[0].field, missing[0].message, tuple(missing[1:]))
    groups = [(one.key,) for one in MEANINGS[kind] if one.required]
    groups += [("date",)] if kind == "log" and "date" in reading.columns else []
    groups += [("cut_off_a",)] if "cut_off_a" in reading.columns and "ah" in reading.columns else []
    return (*groups, capacities) if kind == "table" else tuple(groups)


def read_rows(
    content: bytes, reading: Reading, required: Sequence[Sequence[str]], most: int | None = None
) -> tuple[Rows, tuple[Finding, ...]]:
    """The rows that can be read, in the records' units, and what is said of the others."""
    rows = _scaled(content, reading)
    if most is not None and len(rows.lines) > most:
        raise InputError("kind", f"The file has {len(rows.lines):,} rows; a file of this kind has at most {most:,}.")
    fit = np.ones(len(rows.lines), dtype=bool)
    worst: tuple[int, str] = (0, required[0][0])
    for group in required:
        known = np.any([np.isfinite(rows.columns[key]) for key in group], axis=0)
        worst = max(worst, (int((~known).sum()), group[0]))
        fit &= known
    bad = len(fit) - int(fit.sum())
    if not fit.any() or bad > MOST_UNREADABLE_SHARE * len(fit):
        raise _unreadable(reading, rows, fit, worst[1])
    return rows.kept(fit), _counted(rows, fit) if bad else ()


def _unreadable(reading: Reading, rows: Rows, fit: NDArray[np.bool_], key: str) -> InputError:
    label = next(one.label for one in MEANINGS[reading.kind] if one.key == key)
    column = reading.layout.name(reading.columns[key][0])
    if not len(fit):
        return InputError("file", "The file holds no rows under its header.")
    text = f"{_rows_of(rows, fit)} could not be read, mostly in “{column}” as {label.lower()}; the first is line"
    return InputError(key, f"{text} {rows.lines[~fit][0]:,}. Is it the right column, in the right unit?")


def _counted(rows: Rows, fit: NDArray[np.bool_]) -> tuple[Finding, ...]:
    first, one = rows.lines[~fit][0], (~fit).sum() == 1
    tail = f"was left out: line {first:,}." if one else f"were left out, the first at line {first:,}."
    text = f"{_rows_of(rows, fit)} could not be read and {tail}"
    return (Finding(level="check", code="unreadable_rows", text=text),)


def _rows_of(rows: Rows, fit: NDArray[np.bool_]) -> str:
    return f"{int((~fit).sum()):,} of {len(rows.lines):,} rows"


def _scaled(content: bytes, reading: Reading) -> Rows:
    """Every chosen column of numbers, in the first unit of its meaning, NaN where it is absurd."""
    meanings = {one.key: one for one in MEANINGS[reading.kind]}
    keys = [key for key in reading.columns if key != "name"]
    wanted = [(reading.columns[key][0], _parser(key, reading.columns[key][1])) for key in keys]
    read = delimited.columns(content, reading.layout, wanted)
    columns: dict[str, Array] = {}
    for k, key in enumerate(keys):
        unit = reading.columns[key][1]
        zero = ZERO_C_IN_F if unit == FAHRENHEIT else 0.0
        values = (read.values[:, k] - zero) * meanings[key].units[unit]
        values[np.abs(values) > meanings[key].most] = np.nan
        if reading.kind != "log":
            values[values < 0] = np.nan
        if key in _ABOVE_NOTHING[reading.kind]:
            values[values == 0] = np.nan
        columns[key] = values
    return Rows(columns, read.lines)


def _parser(key: str, unit: str) -> Parser | None:
    if unit in DATES:
        return lambda texts: date_s(texts, DATES[unit])
    if unit in (CLOCK, HOUR_MINUTE):
        return clock_s
    return _Codes() if key == "step" else None


class _Codes:
    """Steps: numbers as they are, words numbered as they come."""

    def __init__(self) -> None:
        self._codes: dict[str, float] = {}

    def __call__(self, texts: NDArray[np.object_]) -> Array:
        numbers = pd.to_numeric(pd.Series(texts, dtype="str"), errors="coerce").to_numpy(dtype=float, na_value=np.nan)
        if not np.isnan(numbers).all():
            return numbers
        at, words = pd.factorize(texts)
        codes = [self._codes.setdefault(str(word), float(len(self._codes))) for word in words]
        result: Array = np.array(codes)[at]
        return result
