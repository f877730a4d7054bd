"""A measured load on the page Loads: its mean days, month by month and hour by hour, as they were measured."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from engine.house.load_profile import Profile
from webapp import load_chart
from webapp.chart_parts import Figure
from webapp.render import NO_BREAK, figures
from webapp.words import MONTHS, WEEKDAYS, counted


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileView:
    """A profile as the page shows it: a sentence, what it rests on, a chart and the numbers.

    `months` are kWh a day, `weekdays` shares of the mean day, `hours` the W of each month in an hour.
    """

    sentence: Markup
    basis: str
    figure: Figure
    months: tuple[tuple[str, float], ...]
    weekdays: tuple[tuple[str, float], ...]
    hours: tuple[tuple[str, tuple[float, ...]], ...]


def profile_view(profile: Profile) -> ProfileView:
    """Put a profile in words, a chart and tables."""
    kwh = profile.daily_kwh()
    most, least = kwh.index(max(kwh)), kwh.index(min(kwh))
    named = [most] if most == least else [most, least]
    by_hour = zip(*profile.month_w, strict=True)
    return ProfileView(
        sentence=_sentence(kwh, most, least),
        basis=_basis(profile),
        figure=load_chart.mean_days(tuple(zip(MONTHS, profile.month_w, strict=True)), named),
        months=tuple(zip(MONTHS, kwh, strict=True)),
        weekdays=tuple((name, profile.share_of(day)) for day, name in enumerate(WEEKDAYS)),
        hours=tuple((f"{hour}:00", watts) for hour, watts in enumerate(by_hour)),
    )


def _sentence(kwh: tuple[float, ...], most: int, least: int) -> Markup:
    """What it takes on a mean day of the months with most and least."""
    if most == least:
        return Markup("It takes <strong>{}</strong> on a mean day of every month.").format(_energy(kwh[0]))
    return Markup("It takes <strong>{}</strong> on a mean day of {} and <strong>{}</strong> on one of {}.").format(
        _energy(kwh[most]), MONTHS[most], _energy(kwh[least]), MONTHS[least]
    )


def _basis(profile: Profile) -> str:
    """Which log it is from, and on how many days it rests."""
    rests = f"on {counted(profile.days, 'whole day')}" if profile.days else "on days nobody counted"
    return f"From {profile.title}; it rests {rests}." if profile.title else f"It rests {rests}."


def _energy(kwh: float) -> str:
    return f"{figures(kwh, 3)}{NO_BREAK}kWh"
