"""What the page of a sun record shows: a sentence, its months against ours, its dull spells; rounded for reading."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from engine.errors import InputError
from engine.house.household import Household
from engine.quantities import mean_day_of_year
from engine.sky import local
from engine.sky.averages import average_day_kwh
from engine.sky.series import DailySeries, dates_of
from engine.sky.spells import LEAST_YEARS, RISK_YEARS, SpellTable
from engine.sky.sun import clear_day_kwh_m2
from webapp.chart_parts import KWH_DIGITS, PERCENT_GAP, STYLES, Figure, end_label, spaced
from webapp.forms import MONTHS as SHORT_MONTHS
from webapp.records_reading import Report
from webapp.records_words import QUANTITY_WORDS, UNITS, length, on
from webapp.render import figures, percent
from webapp.words import MONTHS

ALIKE = 0.02
"""A record this near to ours is called as much (choice of words)."""
MONTH_NUMBERS = range(1, 13)
RISK_WORDS = {1: "a typical year", 5: "1 year in 5", 10: "1 year in 10"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Month:
    """The mean day of a month [kWh or kWh/m2]: of a record's known days, how many, and by us; None if unknown."""

    mean: float | None
    days: int
    ours: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Months:
    """The months of a record beside ours; `kc` are theirs and ours in percent, empty for a record of yield."""

    unit: str
    ours_name: str
    rows: tuple[tuple[str, str, str, str], ...]
    kc: tuple[tuple[str, str], ...]
    figure: Figure


@dataclass(frozen=True, slots=True, kw_only=True)
class Spells:
    """The dull spells of a record: its risks as columns, its lengths as rows."""

    years: str
    risks: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    missing: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordView:
    """The page of one record."""

    sentence: Markup
    range: str
    facts: tuple[tuple[str, str], ...]
    months: Months
    spells: Spells | None


def record_view(found: Report, house: Household) -> RecordView:
    """Return what a record comes to at a house."""
    series = found.series
    known = int(np.isfinite(series.values).sum())
    gaps = series.values.size - known
    months = months_of(series, house)
    return RecordView(
        sentence=_sentence(found, known, _share(months)),
        range=f"{QUANTITY_WORDS[series.quantity].capitalize()}, from {on(series.first)} to {on(series.last)}.",
        facts=(
            ("Days that are known", f"{known:,}".replace(",", "\u202f")),
            ("Days missing between them", f"{gaps:,}".replace(",", "\u202f") if gaps else "none"),
            *_where(series),
        ),
        months=_months(found, house, months),
        spells=_spells(found.table) if found.table and found.table.years else None,
    )


def _sentence(found: Report, known: int, against: float | None) -> Markup:
    """The worst week where the record is long enough to tell it, else its days against ours."""
    table = found.table
    rarest = max((one.risk_years for one in table.spells), default=0) if table else 0
    worst = table.spell(7, rarest) if table and rarest else None
    if found.series.quantity == "radiation" and worst is not None and table is not None:
        return Markup(
            "The worst week of <strong>{}</strong> brought <strong>{}</strong> of the sun of clear days, by {}."
        ).format(RISK_WORDS[rarest], percent(worst.mean), _years(table))
    whose = "sunshine" if found.series.quantity == "radiation" else "your panels"
    return Markup("{} of {}{}.").format(length(known), whose, _against(against))


def _against(share: float | None) -> Markup:
    """How a record's days compare with ours, over the months that it has."""
    if share is None:
        return Markup()
    if abs(share - 1.0) < ALIKE:
        return Markup(", <strong>as much as we expect</strong>")
    less = "less" if share < 1.0 else "more"
    return Markup(", <strong>{} {}</strong> than we expect").format(percent(abs(share - 1.0)), less)


def _years(table: SpellTable) -> str:
    return f"{table.years} whole year{'' if table.years == 1 else 's'}"


def _where(series: DailySeries) -> tuple[tuple[str, str], ...]:
    if series.latitude_deg is None or series.longitude_deg is None:
        return ()
    return (("Measured at", f"{figures(series.latitude_deg, 4)}°, {figures(series.longitude_deg, 4)}°"),)


def months_of(series: DailySeries, house: Household) -> tuple[Month, ...]:
    """Return the months of a record beside ours, January first."""
    month = dates_of(series.first, series.values.size).astype("datetime64[M]").astype(np.int64) % 12
    known = np.isfinite(series.values)
    picked = (series.values[known & (month == n)] for n in range(12))
    ours = _ours(series.quantity, house)
    return tuple(
        Month(mean=float(days.mean()) if days.size else None, days=int(days.size), ours=our)
        for days, our in zip(picked, ours, strict=True)
    )


def _ours(quantity: str, house: Household) -> Sequence[float | None]:
    """What an average day of each month brings by us; None where there are no panels to say it of.

    Without what the owner measured: a record that is in use would be compared with itself.
    """
    if quantity == "radiation":
        clear = clear_day_kwh_m2(house.site, [mean_day_of_year(month) for month in MONTH_NUMBERS])
        return [float(kc * day) for kc, day in zip(local.monthly_kc(house.site), clear, strict=True)]
    plain = dataclasses.replace(house.sun, clear_day_kwh=None, clear_day_month=None, monthly_kwh=None)
    try:
        return [average_day_kwh(house.site, plain, n) if plain.arrays else None for n in MONTH_NUMBERS]
    except InputError:
        return [None] * 12


def _share(months: Sequence[Month]) -> float | None:
    """A record's days over ours, each month with as many days as the record has of it."""
    theirs = sum((one.mean or 0.0) * one.days for one in months)
    ours = sum((one.ours or 0.0) * one.days for one in months)
    return theirs / ours if ours else None


def _months(found: Report, house: Household, months: Sequence[Month]) -> Months:
    unit, measured = UNITS[found.series.quantity], found.series.quantity == "radiation"
    pairs = zip(found.monthly_kc, local.monthly_kc(house.site), strict=True) if found.monthly_kc else ()
    rows = (
        (name, figures(one.mean, 3), figures(one.ours, 3), f"{one.days}")
        for name, one in zip(MONTHS, months, strict=True)
    )
    return Months(
        unit=unit,
        ours_name=local.sky_name(house.site)
        if measured
        else "your panels as described on Sun, without your own clear day and months",
        rows=tuple(rows),
        kc=tuple((percent(own) if own is not None else "–", percent(our)) for own, our in pairs),
        figure=months_figure([one.mean for one in months], [one.ours for one in months], unit),
    )


def months_figure(theirs: Sequence[float | None], ours: Sequence[float | None], unit: str) -> Figure:
    """Draw the months of a record beside ours."""
    lines = (("the record", theirs, STYLES[0], "circle"), ("ours", ours, STYLES[1], "square"))
    known = [[value for value in values if value is not None] for _, values, _, _ in lines]
    top = max((max(values) for values in known if values), default=1.0) * 1.12
    ends = [values[-1] if values else 0.0 for values in known]
    places = spaced(ends, top * PERCENT_GAP / 100.0, 0.0, top)
    return {
        "data": [
            {
                "type": "scatter",
                "mode": "lines+markers",
                "x": list(MONTH_NUMBERS),
                "y": [None if value is None else round(value, KWH_DIGITS) for value in values],
                "name": name,
                "line": style.line(),
                "marker": {"size": 7, "symbol": symbol, "color": style.color},
                "hovertemplate": f"%{{y:.3g}} {unit}",
            }
            for name, values, style, symbol in lines
        ],
        "layout": {
            "xaxis": {"tickvals": list(MONTH_NUMBERS), "ticktext": list(SHORT_MONTHS), "range": [0.6, 12.2]},
            "yaxis": {"range": [0, top], "title": {"text": f"{unit} a day", "font": {"color": "--soft"}}},
            "annotations": [
                end_label(_last(values), end, place, name, style)
                for (name, values, style, _), end, place in zip(lines, ends, places, strict=True)
                if any(value is not None for value in values)
            ],
            "margin": {"r": 92},
        },
        "narrow": {"margin": {"r": 84}, "xaxis": {"ticktext": [name[0] for name in SHORT_MONTHS]}},
    }


def _last(values: Sequence[float | None]) -> int:
    """The last month that has a value."""
    return max((n for n, value in zip(MONTH_NUMBERS, values, strict=True) if value is not None), default=1)


def _spells(table: SpellTable) -> Spells:
    risks = [risk for risk in RISK_YEARS if any(one.risk_years == risk for one in table.spells)]
    lengths = sorted({one.days for one in table.spells})
    found = {(one.days, one.risk_years): one.mean for one in table.spells}
    rows = tuple(
        (f"{days} day{'s' if days > 1 else ''}", tuple(percent(found.get((days, risk))) for risk in risks))
        for days in lengths
    )
    lacking = [f"{RISK_WORDS[risk]} ({LEAST_YEARS[risk]} years)" for risk in RISK_YEARS if risk not in risks]
    missing = f"Too few whole years for {' and '.join(lacking)}." if lacking else ""
    return Spells(years=_years(table), risks=tuple(RISK_WORDS[risk] for risk in risks), rows=rows, missing=missing)
