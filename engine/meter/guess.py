"""A first guess at a meter's file: what its columns are, how they count and which way they point; and what to ask."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from engine.meter.counting import how_counts
from engine.meter.formats import CELSIUS, CHARGING, COUNTED, DISCHARGING, OFFSET, SIGNED, WALL, Reading, meanings_by_key
from engine.meter.names import counts_in, meaning_of, unit_in
from engine.text.clocks import DAY_S
from engine.text.meanings import INTERVAL, OF_DAY, TIME_KEYS
from engine.text.sample import SAMPLE_ROWS, Sample, times_of, value_of
from engine.text.time_guess import ends_its_rows, mostly, says_universal, time_columns_of
from engine.text.time_units import UNIX, Doubt, Places
from engine.text.times import ZONE

Floats = NDArray[np.float64]

_KW_BELOW, _SURE = 50.0, 0.3
_COUNTS = {
    "day": "“{name}” counts up through each day and begins again: is it the day’s total so far? It is read so.",
    "ever": "“{name}” never falls: is it a total that counts up all the time? It is read so.",
}
_OWN = (
    "“{name}” sounds like a total that counts up, and its numbers do not look so: does each row have its own? "
    "It is read so."
)
_OFTEN_S = 0.75 * DAY_S
"""Rows nearer than this are parts of a day; of a day's row, its total is its own."""
_ALIKE = "“{name}” could be {label} as well, which “{first}” is read as. Is “{first}” the right one?"
_SIGN = "“{name}”: is a positive number charging or discharging? It is read as {sign}."
_CLOCK = "Does the file keep the clock on the wall, with summer time? It is read so."


def table(sample: Sample) -> Reading:
    """Return how a meter's file is read, and what is in doubt."""
    columns, asked = time_columns_of(sample)
    zoned = "date" in columns and mostly(sample.words(columns["date"][0]), lambda word: bool(ZONE.search(word)))
    time_s, first_s = (
        times_of(rows, sample.layout, columns, zoned=zoned) if columns else np.zeros(0)
        for rows in (sample.spread, sample.first)
    )
    asked += _add_quantities(sample, columns)
    totals, signs, doubts = ways(sample, columns, columns, time_s, first_s)
    asked += doubts
    clock, doubts = _clock(sample, columns, zoned=zoned)
    asked += doubts
    asked += [("decimal", sample.layout.sign_doubt)] if sample.layout.sign_doubt else []
    return Reading(
        layout=sample.layout,
        columns=columns,
        totals=totals,
        signs=signs,
        clock=clock,
        zone_written=zoned,
        ends=ends_its_rows(sample, columns),
        asked=tuple(asked),
        sample=sample.spread,
    )


def ways(
    sample: Sample, columns: Places, which: Collection[str], time_s: Floats, first_s: Floats | None = None
) -> tuple[dict[str, str], dict[str, str], list[Doubt]]:
    """Return how some of the columns count and which way they point, as their numbers tell, and what is in doubt.

    Parameters
    ----------
    sample : Sample
    columns : dict of str to (int, str)
        Column and unit of each meaning.
    which : collection of str
        Keys of `columns` to be told of.
    time_s : (n,) array
        Times of the rows from all over the file [s since 1970].
    first_s : (m,) array, optional
        Those of the first rows: of a file of years the others lie too far apart to show a day.
    """
    totals, asked = _totals(sample, {key: columns[key] for key in columns if key in which}, time_s, first_s)
    signs, doubts = _signs(sample, columns, which)
    return totals, signs, asked + doubts


def _add_quantities(sample: Sample, columns: Places) -> list[Doubt]:
    """Put in the columns that the header names, and ask where two name the same."""
    taken = {at for at, _ in columns.values()}
    asked: list[Doubt] = []
    for at in range(sample.layout.columns):
        name = sample.layout.name(at)
        key = meaning_of(name)
        if at in taken or not key or not np.isfinite(sample.values(at)).mean() > 0.02:
            continue
        if key in columns:
            label, first = meanings_by_key()[key].label.lower(), sample.layout.name(columns[key][0])
            asked.append((key, _ALIKE.format(name=name, label=label, first=first)))
            continue
        unit, doubt = _unit(sample, at, key)
        columns[key] = (at, unit)
        asked += [(key, doubt)] if doubt else []
    if not any(key not in TIME_KEYS for key in columns):
        asked.append(("yield", "Which columns are yield, load or the bank? Choose at least one."))
    return asked


def _unit(sample: Sample, at: int, key: str) -> tuple[str, str]:
    """The unit a column names, else the one its numbers fit, and a question."""
    if unit := unit_in(sample.layout.name(at)):
        return unit, ""
    values = np.abs(sample.values(at))
    values = values[np.isfinite(values)]
    largest = float(np.percentile(values, 99.0)) if values.size else 0.0
    units = meanings_by_key()[key].units
    unit = units[0]
    if key == "charge":
        unit = "share" if largest <= 1.0 else "%"
    elif key == "cell":
        unit = CELSIUS if largest < 60.0 else units[1]
    elif key == "volts":
        unit = "V" if largest < 1500.0 else "mV"
    elif "kW" in units:
        unit = "kW" if largest < _KW_BELOW else "W"
    return unit, f"“{sample.layout.name(at)}” has no unit: is it in {unit}? It is read so, by its size."


def _totals(
    sample: Sample, columns: Places, time_s: Floats, first_s: Floats | None
) -> tuple[dict[str, str], list[Doubt]]:
    """How each column of energy counts, by what its numbers do, else by its name."""
    totals: dict[str, str] = {}
    asked: list[Doubt] = []
    for key, (at, unit) in columns.items():
        if key in TIME_KEYS or unit not in COUNTED:
            continue
        name = sample.layout.name(at)
        counts = _in_order(sample.values(at), time_s)
        if counts == INTERVAL and first_s is not None:
            early = _in_order(value_of(sample.first, sample.layout, at), first_s)
            counts = early if early == OF_DAY else INTERVAL
        if counts != INTERVAL and counts_in(name):
            counts = counts_in(name)
        totals[key] = counts
        if counts != INTERVAL:
            asked.append((f"totals.{key}", _COUNTS[counts].format(name=name)))
        elif counts_in(name) and _parts_of_days(time_s):
            asked.append((f"totals.{key}", _OWN.format(name=name)))
    return totals, asked


def _in_order(value: Floats, time_s: Floats) -> str:
    """How a column counts by rows in any order."""
    fit = np.flatnonzero(np.isfinite(time_s))
    order = fit[np.argsort(time_s[fit], kind="stable")]
    return how_counts(value[order], time_s[order])


def _parts_of_days(time_s: Floats) -> bool:
    """Whether rows are parts of days; of a long file's, which the sample has far apart, it cannot be told."""
    step_s = np.diff(np.sort(time_s[np.isfinite(time_s)]))
    return time_s.size >= SAMPLE_ROWS or (step_s.size > 0 and float(np.median(step_s)) < _OFTEN_S)


def _signs(sample: Sample, columns: Places, which: Collection[str]) -> tuple[dict[str, str], list[Doubt]]:
    """Which way signed columns point, by what goes with them: yield less load is what charges."""
    signs: dict[str, str] = {}
    asked: list[Doubt] = []
    for key in SIGNED:
        if key not in columns or key not in which:
            continue
        alike = _likeness(sample, columns, columns[key][0])
        signs[key] = DISCHARGING if alike < -_SURE else CHARGING
        if abs(alike) < _SURE:
            name = sample.layout.name(columns[key][0])
            asked.append((f"signs.{key}", _SIGN.format(name=name, sign=signs[key])))
    return signs, asked


def _likeness(sample: Sample, columns: Places, at: int) -> float:
    """Correlation of a column with yield, or else with load turned round; 0 where neither tells."""
    own = sample.values(at)
    for key, way in (("yield", 1.0), ("load", -1.0), ("load_dc", -1.0)):
        if key not in columns or columns[key][1] in COUNTED:
            continue
        other = sample.values(columns[key][0])
        fit = np.isfinite(own) & np.isfinite(other)
        if fit.sum() >= 24 and np.ptp(own[fit]) > 0 and np.ptp(other[fit]) > 0:
            return way * float(np.corrcoef(own[fit], other[fit])[0, 1])
    return 0.0


def _clock(sample: Sample, columns: Places, *, zoned: bool) -> tuple[str, list[Doubt]]:
    if zoned or columns.get("date", (0, ""))[1] == UNIX:
        return OFFSET, []
    if says_universal(sample.layout.name(at) for key, (at, _) in columns.items() if key in TIME_KEYS):
        return OFFSET, []
    return WALL, [("clock", _CLOCK)] if columns else []
