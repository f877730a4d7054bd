"""Some rows of a file, as they are written, and what they tell without reading all of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from engine.text import delimited
from engine.text.delimited import as_numbers
from engine.text.layouts import Layout
from engine.text.plain_text import plain
from engine.text.time_units import MOST, Places
from engine.text.times import parser, stamps_s, time_columns

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

SAMPLE_ROWS = 2000
_HEAD_BYTES = 256 * 1024


@dataclass(frozen=True, slots=True)
class Sample:
    """Rows as they are written, and the lines above them."""

    layout: Layout
    above: tuple[str, ...]
    first: tuple[tuple[str, ...], ...]
    spread: tuple[tuple[str, ...], ...]

    def words(self, column: int) -> list[str]:
        """Return one column's texts from all over the file that are not empty."""
        return [row[column] for row in self.spread if row[column]]

    def values(self, column: int) -> Floats:
        """Return one column as numbers from all over the file; NaN where they are none."""
        return _numbers(self.spread, column, self.layout)


def sample_of(content: bytes, layout: Layout) -> Sample:
    """Return the first rows, and rows from all over the file."""
    return Sample(
        layout=layout,
        above=tuple(head_lines(content, layout.encoding)[: layout.first_row]),
        first=delimited.preview(content, layout, SAMPLE_ROWS),
        spread=delimited.spread(content, layout, SAMPLE_ROWS),
    )


def head_lines(content: bytes, encoding: str) -> list[str]:
    """Return the first lines of a file, whole ones or cut where very much text stands in them."""
    cut = content[: _HEAD_BYTES if encoding != "utf-16" else 2 * (_HEAD_BYTES // 2)]
    end = cut.rfind(b"\n")
    whole = cut if len(content) <= _HEAD_BYTES or end < 0 or encoding == "utf-16" else cut[: end + 1]
    return plain(whole, encoding).decode("utf-8", "replace").splitlines()


def times_of(rows: tuple[tuple[str, ...], ...], layout: Layout, columns: Places, *, zoned: bool = False) -> Floats:
    """Return the time of each of some rows [s since 1970]; NaN where it is none."""
    values = {}
    for key in time_columns(columns):
        at, unit = columns[key]
        parse = parser(key, unit, zone_written=zoned)
        texts = np.array([row[at] for row in rows], dtype=object)
        values[key] = parse(texts) if parse else _numbers(rows, at, layout)
    return stamps_s(values, columns)


def value_of(rows: tuple[tuple[str, ...], ...], layout: Layout, column: int) -> Floats:
    """Return one column of some rows as numbers."""
    return _numbers(rows, column, layout)


def pieced_together(time_s: Floats) -> bool:
    """Whether rows run once through the months of a year, or a part of it, but the months are of different years.

    Examples
    --------
    >>> months = np.arange("1990-01", "1991-01", dtype="datetime64[M]")
    >>> seconds = months.astype("datetime64[s]").astype(float)
    >>> moved = seconds + 86400.0 * 1461 * np.array([0, 1, 0, 2, 2, 0, 1, 0, 0, 1, 2, 0])
    >>> pieced_together(seconds), pieced_together(moved)
    (False, True)
    """
    year, month = _years_and_months(time_s)
    in_order = bool((np.diff(_blocks(month)[:12]) == 1).all())
    return once_through(time_s) and in_order and np.unique(year[:-1]).size > 2


def once_through(time_s: Floats) -> bool:
    """Whether rows run through the months of a year no more than once, whatever years they say.

    Examples
    --------
    >>> months = np.arange("2020-01", "2022-01", dtype="datetime64[M]").astype("datetime64[s]").astype(float)
    >>> once_through(months[:12]), once_through(months)
    (True, False)
    """
    return _blocks(_years_and_months(time_s)[1]).size <= 13


def _years_and_months(time_s: Floats) -> tuple[Whole, Whole]:
    """Year since 1970, and month from 0, of the times that are known."""
    known = time_s[np.isfinite(time_s)].astype(np.int64)
    months = known.astype("datetime64[s]").astype("datetime64[M]").astype(np.int64)
    return months // 12, months % 12


def _blocks(month: Whole) -> Whole:
    """Months as they follow each other, each run of one month once."""
    return np.asarray(month[np.diff(month, prepend=-1) != 0])


def _numbers(rows: tuple[tuple[str, ...], ...], column: int, layout: Layout) -> Floats:
    value = as_numbers(pd.Series([row[column] for row in rows], dtype="str"), layout)
    return np.where(np.abs(value) < MOST, value, np.nan)
