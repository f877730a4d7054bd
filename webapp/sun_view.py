"""The panels on the page Sun: the year at a glance, what each array brings, and what the owner's own numbers change."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from engine.answers.panel_year import PanelYear
from engine.errors import InputError
from engine.house.household import Household
from engine.sky.glance import month_yields
from webapp import sun_charts
from webapp.chart_parts import Figure
from webapp.panel_words import own_words
from webapp.render import NO_BREAK, figures
from webapp.words import MONTHS


@dataclass(frozen=True, slots=True, kw_only=True)
class YearView:
    """The year of the panels as the page shows it."""

    sentence: Markup
    basis: str
    figure: Figure
    rows: tuple[tuple[str, tuple[float, ...]], ...]
    best: str
    darkest: str
    own: str


def year_view(year: PanelYear, house: Household) -> YearView:
    """Put the year of the panels in words, a chart and its table."""
    best, darkest = MONTHS[year.best.month - 1], MONTHS[year.darkest.month - 1]
    lines = [
        ("bright day", [one.bright_kwh for one in year.months]),
        ("average", [one.average_kwh for one in year.months]),
        ("dull day", [one.dull_kwh for one in year.months]),
    ]
    return YearView(
        sentence=Markup("An average {} day gives <strong>{}</strong>, a dull one <strong>{}</strong>.").format(
            darkest, _energy(year.darkest.average_kwh), _energy(year.darkest.dull_kwh)
        ),
        basis=f"In {best}, the best month, an average day gives {_energy(year.best.average_kwh)}; an average year "
        f"{_energy(year.year_kwh, 3)}. All panels, DC before the solar charger.",
        figure=sun_charts.year(lines),
        rows=tuple(
            (MONTHS[one.month - 1], (one.bright_kwh, one.average_kwh, one.dull_kwh, one.dark_kwh))
            for one in year.months
        ),
        best=best,
        darkest=darkest,
        own=own_words(house.site, house.sun),
    )


def kinds_of_day(house: Household, month: int) -> str:
    """Say what a day of each kind gives in a month: nothing without panels, or where they cannot reach a typed day."""
    try:
        one = month_yields(house.site, house.sun)[month - 1] if house.sun.arrays else None
    except InputError:
        one = None
    if one is None:
        return ""
    return (
        f"In {MONTHS[month - 1]} a bright day gives about {_energy(one.bright_kwh)}, an average one "
        f"{figures(one.average_kwh, 2)}, a dull one {figures(one.dull_kwh, 2)}, a dark one {figures(one.dark_kwh, 2)}, "
        "before the solar charger."
    )


def _energy(kwh: float, count: int = 2) -> str:
    return f"{figures(kwh, count)}{NO_BREAK}kWh"
