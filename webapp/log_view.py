"""What the pages of a meter's log show: a sentence, its days and months, what is missing; rounded for reading."""

from __future__ import annotations

from calendar import monthrange
from dataclasses import dataclass
from typing import Any

import numpy as np
from markupsafe import Markup

from engine.text.finding import Finding
from webapp.chart_parts import Figure
from webapp.downloads import Cell
from webapp.forms import MONTHS
from webapp.kept_words import sorted_findings
from webapp.log_charts import charge_figure, kwh_figure
from webapp.log_days import ENERGIES, LogDays, Table
from webapp.log_reading import Known
from webapp.log_words import WORDS, every, moment, quantities
from webapp.records_words import length, on
from webapp.render import NO_BREAK, figures, fixed, percent

FIRST_ROWS = 6
DRAWN_DAYS = 3 * 366
"""The last days that are drawn, and of them those whose numbers stand on the page (choice); all are in the CSV."""
LISTED_DAYS = 92


@dataclass(frozen=True, slots=True, kw_only=True)
class LogView:
    """The page of one file, or of all."""

    sentence: Markup
    facts: tuple[tuple[str, str], ...]
    months: Table
    days: Table
    basis: str
    kwh: Figure | None
    charge: Figure | None
    first: Table


def log_view(days: LogDays) -> LogView:
    """Return what a log comes to."""
    drawn = slice(max(0, len(days.dates) - DRAWN_DAYS), None)
    short = drawn.start > 0
    return LogView(
        sentence=Markup("<strong>{}</strong> of {}, from {} to {}.").format(
            length(len(days.dates)), quantities(WORDS[key] for key in days.known), on(days.dates[0]), on(days.dates[-1])
        ),
        facts=(
            ("Rows", f"{fixed(days.rows)}, {every(days.step_s)}"),
            ("The first begins", moment(days.begin_s, days.clock)),
            ("The last ends", moment(days.end_s, days.clock)),
            ("Without rows between", _gaps(days)),
        ),
        months=_months(days),
        days=_days(days),
        basis="A day counts where three quarters of its hours are known; what is missing of it is taken as on the days "
        f"around.{' The last three years are drawn; the table to save has all days.' if short else ''}",
        kwh=kwh_figure(days, drawn),
        charge=charge_figure(days, drawn),
        first=days.first,
    )


def _gaps(days: LogDays) -> str:
    if not days.gaps:
        return "nothing"
    hours = sum(length_s for _, length_s in days.gaps) / 3600.0
    begin_s, longest_s = max(days.gaps, key=lambda gap: gap[1])
    longest = f"{figures(longest_s / 3600.0)}{NO_BREAK}h from {moment(begin_s, days.clock)}"
    if len(days.gaps) == 1:
        return f"1 gap of {longest}"
    return f"{fixed(len(days.gaps))} gaps of {figures(hours)}{NO_BREAK}h in all; the longest {longest}"


def _names(days: LogDays) -> tuple[str, ...]:
    return tuple(f"{ENERGIES[key][0].upper()}{ENERGIES[key][1:]}, kWh" for key in days.kwh)


def _months(days: LogDays) -> Table:
    """The kWh of each month, with how many of its days are known where that is not all of them."""
    which = np.array([(day.year, day.month) for day in days.dates])
    rows = []
    for year, month in dict.fromkeys((day.year, day.month) for day in days.dates):
        own = (which == (year, month)).all(axis=1)
        cells = tuple(_sum(values[own], monthrange(year, month)[1]) for values in days.kwh.values())
        rows.append((f"{MONTHS[month - 1]} {year}", cells))
    return Table(header=_names(days), rows=tuple(rows))


def _sum(values: np.ndarray[Any, np.dtype[np.float64]], whole: int) -> str:
    known = values[np.isfinite(values)]
    if not known.size:
        return "–"
    days = "" if known.size == whole else f" ({known.size} day{'' if known.size == 1 else 's'})"
    return f"{figures(float(known.sum()), 3)}{days}"


def _days(days: LogDays) -> Table:
    """The last days with their numbers, the newest first."""
    header = (*_names(days), *(("Lowest charge", "Highest charge") if days.charge is not None else ()))
    rows = []
    for n in range(len(days.dates) - 1, max(-1, len(days.dates) - 1 - LISTED_DAYS), -1):
        cells = [figures(_or_none(values[n]), 3) for values in days.kwh.values()]
        if days.charge is not None:
            cells += [percent(_or_none(days.charge[at, n])) for at in (0, 2)]
        rows.append((on(days.dates[n]), tuple(cells)))
    return Table(header=header, rows=tuple(rows))


def _or_none(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def added_sentence(rows: int, added: int | None) -> str:
    """Say how many rows of a file are new to the log; None where it counts for nothing.

    Examples
    --------
    >>> added_sentence(10080, 8640)
    'It adds 8\u202f640 rows; 1\u202f440 were there already.'
    >>> added_sentence(2, 2)
    'All of its 2 rows are new.'
    >>> added_sentence(3, 0)
    'It adds no row: all 3 were there already; only what they did not know yet is taken.'
    """
    if added is None:
        return "It is deleted and counts for nothing until it is brought back."
    if added == rows:
        return f"All of its {fixed(rows)} rows are new."
    there = fixed(rows - added)
    if not added:
        return f"It adds no row: all {there} were there already; only what they did not know yet is taken."
    return f"It adds {fixed(added)} rows; {there} were there already."


def findings_of(known: Known, zone: str) -> tuple[Finding, ...]:
    """Return what the reading of a file said, and that the house has another clock by now, if it has."""
    moved: tuple[Finding, ...] = ()
    if known.zone and known.zone != zone:
        text = (
            f"This file was read by the clock of {known.zone}; the house’s is now that of {zone}. Read it again if "
            "its times are of the clock there."
        )
        moved = (Finding(level="check", code="other_zone", text=text),)
    return sorted_findings((*known.said, *moved))


def daily_table(days: LogDays) -> tuple[tuple[str, ...], list[list[Cell]]]:
    """Return header and rows of all days as a table to save, unrounded; what is not known is empty."""
    header = ["date", *(f"{ENERGIES[key]} kWh" for key in days.kwh)]
    columns = list(days.kwh.values())
    if days.charge is not None:
        header += ["lowest charge %", "mean charge %", "highest charge %"]
        columns += list(days.charge * 100.0)
    rows: list[list[Cell]] = [
        [str(day), *(_or_none(column[n]) for column in columns)] for n, day in enumerate(days.dates)
    ]
    return tuple(header), rows


def as_data(days: LogDays) -> dict[str, Any]:
    """Return a log by the day as JSON gives it, unrounded; what is not known is null."""
    charge = days.charge
    return {
        "rows": days.rows,
        "begin_s": days.begin_s,
        "end_s": days.end_s,
        "step_s": days.step_s,
        "known": days.known,
        "gaps": [{"begin_s": begin_s, "length_h": length_s / 3600.0} for begin_s, length_s in days.gaps],
        "dates": days.dates,
        "kwh": {key.removesuffix("_w"): [_or_none(one) for one in values] for key, values in days.kwh.items()},
        "charge": None
        if charge is None
        else {name: [_or_none(one) for one in charge[at]] for at, name in enumerate(("lowest", "mean", "highest"))},
    }
