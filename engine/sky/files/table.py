"""A first guess at a table of days or hours of no known format: where its time and its value are, and what to ask.

Names and units of the header come first, with what the lines above it explain. Where they are silent, the size of the
numbers is looked at: of radiation on earth and of a house's panels. Every guess by size is also a question.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from engine.sky.files.formats import POWERS, RADIATION_KWH_M2, YIELD_KWH, Reading
from engine.sky.files.names import (
    barred,
    described,
    modelled,
    place_in,
    says_power,
    says_yield,
    unit_in,
    value_score,
)
from engine.text.clocks import DAY_S
from engine.text.meanings import EVER, INTERVAL, OF_DAY
from engine.text.sample import Sample, pieced_together, times_of, value_of
from engine.text.time_guess import ends_its_rows, mostly, says_universal, time_columns_of
from engine.text.time_units import (
    UNIX,
    Doubt,
    Places,
)
from engine.text.times import ZONE

Floats = NDArray[np.float64]

_DAILY_STEP_S = 20 * 3600.0
_BY_SIZE = {
    "daily radiation": (
        (13.0, "kWh/m2"),
        (45.0, "MJ/m2"),
        (520.0, "W/m2"),
        (4500.0, "J/cm2"),
        (13e3, "Wh/m2"),
        (np.inf, "kJ/m2"),
    ),
    "hourly radiation": ((1.7, "kWh/m2"), (5.0, "MJ/m2"), (500.0, "J/cm2"), (1700.0, "W/m2"), (np.inf, "kJ/m2")),
    "power": ((50.0, "kW"), (np.inf, "W")),
    "yield": ((1000.0, "kWh"), (np.inf, "Wh")),
}
"""Assumed: the largest numbers of a series in each unit (the sun above the air gives 12.6 kWh/m2 on its best day)."""


def table(sample: Sample, name: str) -> Reading:
    """Return how a table is read, and what is in doubt; the name of its file may tell radiation from yield."""
    columns, asked = time_columns_of(sample)
    at, doubt = _value_column(sample, {place for place, _ in columns.values()})
    zoned = "date" in columns and mostly(sample.words(columns["date"][0]), lambda word: bool(ZONE.search(word)))
    time_s = times_of(sample.spread, sample.layout, columns, zoned=zoned) if columns else np.zeros(0)
    first_s = times_of(sample.first, sample.layout, columns, zoned=zoned) if columns else np.zeros(0)
    daily = _daily(first_s)
    if at is not None:
        unit, unasked = _unit(sample, at, name, daily=daily)
        columns["value"] = (at, unit)
        asked += [one for one in (doubt, unasked) if one]
    else:
        asked.append(("value", "Which column is the radiation, or what the panels gave?"))
    totals = _totals(sample, at, columns, first_s, time_s, daily)
    if totals != INTERVAL:
        asked.append(("totals", _COUNTS[totals]))
    offset_h, clock_doubt = _offset(sample, columns, zoned=zoned, daily=daily)
    asked += [clock_doubt] if clock_doubt else []
    asked += [("decimal", sample.layout.sign_doubt)] if sample.layout.sign_doubt else []
    latitude_deg, longitude_deg = place_in(sample.above)
    return Reading(
        kind="table",
        layout=sample.layout,
        columns=columns,
        totals=totals,
        utc_offset_h=offset_h,
        zone_written=zoned,
        ends=ends_its_rows(sample, columns),
        typical=pieced_together(time_s),
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        asked=tuple(asked),
        notes=(_MODELLED,) if modelled(sample.above) else (),
        sample=sample.spread,
    )


_MODELLED = (
    "The file is of a weather model or a satellite’s grid, not of an instrument. Dull days of such a grid can be too "
    "bright: those of one were 1.3 to 2 times as bright as ten stations measured them. Trust its averages before its "
    "spells."
)
_COUNTS = {
    OF_DAY: "The values count up through each day and begin again: does each row hold the day’s total so far? "
    "They are read so.",
    EVER: "The values never fall: are they a meter’s total, which counts up all the time? They are read so.",
}


def _value_column(sample: Sample, taken: set[int]) -> tuple[int | None, Doubt | None]:
    free = [at for at in range(sample.layout.columns) if at not in taken]
    numeric = [at for at in free if np.isfinite(sample.values(at)).mean() > 0.05]
    scores = {at: value_score(_told(sample, at)) for at in numeric}
    best = max(scores.values(), default=0.0)
    rivals = [at for at in numeric if scores[at] == best]
    if best > 0.0 and len(rivals) == 1:
        return rivals[0], None
    if best == 0.0 and (len(numeric) != 1 or barred(_told(sample, numeric[0]))):
        return None, None
    name = f"“{sample.layout.name(rivals[0])}”"
    if len(rivals) > 1:
        others = " and ".join(f"“{sample.layout.name(at)}”" for at in rivals[1:3])
        return rivals[0], ("value", f"{name} is read; {others} could be meant too: is {name} the right one?")
    return rivals[0], ("value", f"Is {name} the radiation, or what the panels gave?")


def _told(sample: Sample, at: int) -> str:
    name = sample.layout.header[at] if at < len(sample.layout.header) else ""
    return described(name, sample.above)


def _unit(sample: Sample, at: int, file_name: str, *, daily: bool) -> tuple[str, Doubt | None]:
    """The unit a column names, else the one its largest numbers fit, and a question."""
    told = _told(sample, at)
    unit = unit_in(told)
    if unit in YIELD_KWH and not says_yield(told) and _speaks_of_radiation(told) and f"{unit}/m2" in RADIATION_KWH_M2:
        doubt = f"“{sample.layout.name(at)}” is in {unit}: is it {unit}/m2 of radiation, or {unit} of the panels?"
        return f"{unit}/m2", ("value", doubt)
    if unit in ("W", "kW") and daily:
        ask = f"“{sample.layout.name(at)}” is in {unit}, one number a day: is it the mean of 24 hours? It is read so."
        return unit, ("value", ask)
    if unit:
        return unit, None
    values = sample.values(at)
    values = values[values > -1.0]
    values = values[~np.isin(values, (9999.0, 99999.0, 999999.0))]
    largest = float(np.percentile(values, 99.5)) if values.size else 0.0
    panels = not any(_speaks_of_radiation(text) for text in ([told] if says_yield(told) else [told, file_name]))
    kind = ("power" if says_power(told) else "yield") if panels else f"{'daily' if daily else 'hourly'} radiation"
    unit = next(unit for most, unit in _BY_SIZE[kind] if largest < most)
    return unit, ("value", f"“{sample.layout.name(at)}” has no unit: is it in {unit}? It is read so, by its size.")


def _speaks_of_radiation(told: str) -> bool:
    return value_score(told) > 0.0 and not says_yield(told)


def _daily(time_s: Floats) -> bool:
    known = np.unique(time_s[np.isfinite(time_s)])
    return known.size < 2 or float(np.median(np.diff(known))) >= _DAILY_STEP_S


def _totals(sample: Sample, at: int | None, columns: Places, first_s: Floats, spread_s: Floats, daily: bool) -> str:
    """Whether the values count up, and from when, by the first rows and by rows from all over the file."""
    if at is None or not first_s.size or columns["value"][1] in POWERS:
        return INTERVAL
    runs = []
    for rows, time_s in ((sample.first, first_s), (sample.spread, spread_s)):
        value = value_of(rows, sample.layout, at)
        known = np.isfinite(value) & np.isfinite(time_s)
        runs.append((time_s[known], value[known]))
    if all(_never_falls(value) for _, value in runs):
        return EVER
    return OF_DAY if not daily and any(_begins_again(*run) for run in runs) else INTERVAL


def _never_falls(value: Floats) -> bool:
    """Whether a value rises throughout; an exchange of the meter or two are let pass."""
    steps = np.diff(value)
    return value.size >= 8 and bool((steps < 0).sum() <= 0.002 * steps.size) and float(value[-1]) > float(value[0])


def _begins_again(time_s: Floats, value: Floats) -> bool:
    """Whether a value hardly ever falls but about once a day, and by most of what it was."""
    day = np.floor(time_s / DAY_S)
    step = np.diff(value)
    falls = np.flatnonzero(step < 0)
    days = np.unique(day).size
    if days < 2 or value.size < 6 * days or not falls.size:
        return False
    deep = value[falls + 1] <= 0.2 * value[falls]
    return bool(deep.mean() > 0.9 and falls.size <= 1.2 * days and (step > 0).sum() >= 2 * falls.size)


def _offset(sample: Sample, columns: Places, *, zoned: bool, daily: bool) -> tuple[float | None, Doubt | None]:
    """Offset of the file's clock, and a question where hours of radiation say nothing of it."""
    if zoned or columns.get("date", (0, ""))[1] == UNIX:
        return 0.0, None
    if says_universal(sample.layout.name(at) for key, (at, _) in columns.items() if key != "value"):
        return 0.0, None
    radiation = columns.get("value", (0, ""))[1] in RADIATION_KWH_M2
    if daily or not radiation:
        return None, None
    doubt = "Which clock does the file keep? Its times are read as the standard time of your house."
    return None, ("utc_offset_h", doubt)
