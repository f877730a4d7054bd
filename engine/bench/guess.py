"""A first guess at a bench file: which kind it is, what each column is and in what unit, and what to ask.

Names and units of the header come first (`columns`). Where they are silent, sizes are looked at: rows from all
over the file are enough. Every guess by size is also a question. Thresholds are assumed: of one cell of a home or a
hand tool, neither a thousand volts nor a microampere.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from engine.bench.columns import AMPERE_HOURS, CLOCK, MEANINGS, TIMES, Doubt, Meaning, assign, name_and_unit
from engine.bench.records import Array
from engine.text.delimited import as_numbers, spread
from engine.text.layouts import Layout, is_clock, is_date

SAMPLE_ROWS = 2000
MILLI_ABOVE = {"V": 100.0, "A": 100.0, "Ah": 400.0, "Wh": 1500.0}
"""Assumed: without a unit, numbers above this are milli-units."""
ABSURD = {"V": 1000.0, "A": 2000.0, "Ah": 5000.0}
"""Assumed: with a unit, numbers above this make us ask whether it is right."""
_LEAST_SHARE = 0.5
_TURN_A = 0.05

Places = dict[str, tuple[int, str]]


@dataclass(frozen=True, slots=True)
class Sample:
    """Rows from all over the file, as they are written."""

    layout: Layout
    rows: tuple[tuple[str, ...], ...]

    def words(self, column: int) -> list[str]:
        """Return one column's texts that are not empty."""
        return [row[column] for row in self.rows if row[column]]

    def values(self, column: int) -> Array:
        """Return one column as numbers, NaN where they are none."""
        return as_numbers(pd.Series([row[column] for row in self.rows], dtype="str"), self.layout)


def sample_of(content: bytes, layout: Layout) -> Sample:
    """Return rows from all over the file."""
    return Sample(layout, spread(content, layout, SAMPLE_ROWS))


def kind_of(sample: Sample) -> str:
    """Return which kind of file the columns make: log, table or cells."""
    if not sample.layout.header:
        return "log" if len(_without_names(sample)) == 3 else ("cells" if _numbers_rows(sample) else "table")
    log, table, cells = (set(assign(kind, sample.layout)[0]) for kind in ("log", "table", "cells"))
    ends = "volts" in table and bool(table & {"no_hold_ah", "hold_ah"} or table >= {"ah", "cut_off_a"})
    if {"time", "voltage", "current"} <= log:
        return "log"
    if ends or ({"volts", "ah"} <= table and not cells & {"name", "milliohm"} and "time" not in log):
        return "table"
    return "cells" if "ah" in cells and "time" not in log else "log"


def places(kind: str, sample: Sample) -> tuple[Places, tuple[Doubt, ...]]:
    """Return the column and unit of each meaning of `kind`, and what to ask about them."""
    named, doubts = assign(kind, sample.layout)
    asked = list(doubts)
    if not sample.layout.header:
        named = _by_place(kind, sample)
        asked += [(key, _nameless(sample, at, _meaning(kind, key))) for key, at in named.items()]
    if kind == "table":
        shared = _share_out(named, sample)
        asked = [(key, text) for key, text in asked if key != "ah" or not shared] + shared
    if kind == "cells" and "name" not in named:
        named |= _first_words(named, sample)
    if kind == "log" and (beside := _date_beside(named, sample)):
        named |= beside
        asked = [(key, text) for key, text in asked if key != "time"]
    found: Places = {}
    for meaning in MEANINGS[kind]:
        if meaning.key in named:
            unit, doubt = _unit(sample, named[meaning.key], meaning)
            found[meaning.key] = (named[meaning.key], unit)
            asked += [(meaning.key, doubt)] if doubt else []
        elif meaning.required:
            asked.append((meaning.key, f"Which column is the {meaning.label.lower()}?"))
    if kind == "table" and not found.keys() & {"no_hold_ah", "hold_ah", "ah"}:
        asked.append(("no_hold_ah", "Which column is the capacity?"))
    if kind == "table":
        asked += _unused(found, sample, [text for _, text in asked])
    return found, tuple(asked)


def falls_while_charging(sample: Sample, found: Mapping[str, tuple[int, str]]) -> bool:
    """Whether volts fall where the current is positive and rise where it is negative: it is written the other way."""
    if not found.keys() >= {"voltage", "current"}:
        return False
    volts, amperes = (sample.values(found[key][0]) for key in ("voltage", "current"))
    known = np.isfinite(volts) & np.isfinite(amperes)
    volts, amperes = volts[known], amperes[known]
    if len(volts) < 3:
        return False
    least = _TURN_A * float(np.max(np.abs(amperes)))
    steps = np.diff(volts)
    into = (amperes[1:] > least) & (amperes[:-1] > least)
    out = (amperes[1:] < -least) & (amperes[:-1] < -least)
    return bool(into.any() and out.any() and steps[into].sum() < 0 < steps[out].sum())


def _meaning(kind: str, key: str) -> Meaning:
    return next(one for one in MEANINGS[kind] if one.key == key)


def _unit(sample: Sample, column: int, meaning: Meaning) -> tuple[str, str]:
    """The unit of a column and the question about it, if any."""
    said = name_and_unit(sample.layout.name(column))[1]
    if meaning.key in ("time", "date"):
        return _time_unit(sample, column, said)
    top = float(np.max(np.abs(values))) if len(values := _finite(sample, column)) else 0.0
    first, name = meaning.first_unit, sample.layout.name(column)
    if said is not None and said in meaning.units:
        doubt = said == first and top > ABSURD.get(first, np.inf)
        return said, f"“{name}” goes up to {top:,.6g} {said}: is that the right unit?" if doubt else ""
    if len(meaning.units) == 1 or meaning.key == "temperature":
        return first, ""
    if "%" in name:
        return first, f"“{name}” seems to be in percent, where {first} is needed: is it?"
    unit = list(meaning.units)[1] if top > MILLI_ABOVE.get(first, np.inf) else first
    return unit, f"The column “{name}” has no unit: {' or '.join(meaning.units)}? It is read as {unit}."


def _finite(sample: Sample, column: int) -> Array:
    values = sample.values(column)
    return values[np.isfinite(values)]


def _time_unit(sample: Sample, column: int, said: str | None) -> tuple[str, str]:
    words, name = sample.words(column), sample.layout.name(column)
    if _most(words, is_date):
        return _date_unit(words, name)
    if _most(words, is_clock):
        short = sum(word.count(":") == 1 for word in words) > len(words) / 2
        question = f"Are the times in “{name}” minutes and seconds? They are read so."
        return (said, "") if said == "h:m" else (CLOCK, question if short else "")
    if said in TIMES and said not in (CLOCK, "h:m"):
        return said, ""
    return "s", f"The column “{name}” has no unit: s, ms, min or h? It is read as s."


def _most(words: Sequence[str], fits: Callable[[str], bool]) -> bool:
    return bool(words) and sum(map(fits, words)) > _LEAST_SHARE * len(words)


def _date_unit(words: Sequence[str], name: str) -> tuple[str, str]:
    """The order of a date's parts; a question where day and month cannot be told apart."""
    parts = [
        word.replace("-", "/").replace(".", "/").replace("T", " ").split()[0].split("/")
        for word in words
        if is_date(word)
    ]
    if any(len(part[0]) == 4 for part in parts):
        return "date y-m-d", ""
    first, second = (max(int(part[at]) for part in parts) for at in (0, 1))
    if second > 12:
        return "date m/d/y", ""
    question = f"Do the dates in “{name}”, such as {words[0].split()[0]}, begin with the day? They are read so."
    dotted = "." in words[0].split()[0]
    return "date d.m.y", "" if first > 12 or dotted else question


def _without_names(sample: Sample) -> dict[str, int]:
    """Time, volts and current of a file without a header, by how their numbers run."""
    rising = [at for at in range(sample.layout.columns) if _rises(sample, at)]
    if not rising:
        return {}
    others = [at for at in range(sample.layout.columns) if at != rising[0]]
    likely = [at for at in others if _within(_finite(sample, at), 0.5, 5.0)]
    volts = max(likely, key=lambda at: float(_finite(sample, at).mean()), default=None)
    current = next((at for at in others if at != volts and len(_finite(sample, at))), None)
    found = {"time": rising[0], "voltage": volts, "current": current}
    return {key: at for key, at in found.items() if at is not None}


def _numbers_rows(sample: Sample) -> bool:
    """Whether the first column names or numbers the rows."""
    values = _finite(sample, 0)
    counted = len(values) > 1 and not (values % 1).any() and (np.diff(values) == 1).all()
    return bool(counted) or not len(values)


def _within(values: Array, low: float, high: float) -> bool:
    return len(values) > 0 and low <= float(values.min()) and float(values.max()) <= high


def _rises(sample: Sample, column: int) -> bool:
    words, values = sample.words(column), _finite(sample, column)
    if words and (_most(words, is_clock) or _most(words, is_date)):
        return True
    return len(values) > 2 and len(values) >= len(words) / 2 and bool((np.diff(values) > 0).all())


def _by_place(kind: str, sample: Sample) -> dict[str, int]:
    if kind == "log":
        return _without_names(sample)
    keys = ("volts", "no_hold_ah", "hold_ah") if kind == "table" else ("name", "ah")
    return dict(zip(keys, range(sample.layout.columns), strict=False))


def _nameless(sample: Sample, column: int, meaning: Meaning) -> str:
    return f"The file names no columns: is “{sample.layout.name(column)}” the {meaning.label.lower()}?"


def _share_out(named: dict[str, int], sample: Sample) -> list[Doubt]:
    """Make of bare capacity columns those without and with a hold, where no cut-off current tells; and ask."""
    if "ah" not in named or "cut_off_a" in named:
        return []
    first = named.pop("ah")
    free = [at for at in range(len(sample.layout.header)) if at not in (*named.values(), first)]
    second = next((at for at in free if name_and_unit(sample.layout.header[at])[1] in ("Ah", "mAh")), None)
    if second is None:
        named["no_hold_ah"] = first
        return [("no_hold_ah", f"“{sample.layout.name(first)}” is read as the capacity without a hold: is it?")]
    low, high = sorted((first, second), key=lambda at: float(np.nanmean([*_finite(sample, at), 0.0])))
    named |= {"no_hold_ah": low, "hold_ah": high}
    held, unheld = sample.layout.name(high), sample.layout.name(low)
    return [("hold_ah", f"“{held}” is read as the capacity with a hold, “{unheld}” without: is it so?")]


def _unused(found: Places, sample: Sample, asked: Sequence[str]) -> list[Doubt]:
    """A question for each capacity column of a table that is not used and not asked about yet."""
    used = {at for at, _ in found.values()}
    key, method = ("no_hold_ah", "out") if "hold_ah" in found and "no_hold_ah" not in found else ("hold_ah", "")
    doubts: list[Doubt] = []
    for at, header in enumerate(sample.layout.header):
        name = f"“{sample.layout.name(at)}”"
        if at not in used and name_and_unit(header)[1] in AMPERE_HOURS and not any(name in text for text in asked):
            doubts.append((key, f"{name} is a capacity and is not used: is it one with{method} a hold?"))
    return doubts


def _first_words(named: Mapping[str, int], sample: Sample) -> dict[str, int]:
    """The first column of words that means nothing else, as names."""
    for at in range(sample.layout.columns):
        words = sample.words(at)
        if at not in named.values() and words and not len(_finite(sample, at)):
            return {"name": at}
    return {}


def _date_beside(named: Mapping[str, int], sample: Sample) -> dict[str, int]:
    """A column of dates beside one of clocks."""
    if "time" not in named:
        return {}
    time, columns = named["time"], range(sample.layout.columns)
    dates = [at for at in columns if _most(sample.words(at), is_date)]
    clocks = [at for at in columns if _most(sample.words(at), is_clock)]
    if time in clocks:
        beside = [at for at in dates if at not in named.values()]
        return {"date": beside[0]} if beside else {}
    bare = time in dates and not any(":" in word for word in sample.words(time)[:20])
    return {"date": time, "time": clocks[0]} if bare and clocks and clocks[0] not in named.values() else {}
