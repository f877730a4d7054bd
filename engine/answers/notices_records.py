"""What is odd about the owner's months, and how far the model can be trusted at the place."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from engine.answers.answer import Notice
from engine.errors import InputError
from engine.house.household import Household
from engine.quantities import mean_day_of_year
from engine.sky import climate as climates
from engine.sky.averages import CLEAREST_MONTH_KC, DARKEST_MONTH_KC, DAYS_IN_MONTH, mixed_kwh
from engine.sky.days import owner_dull_day
from engine.sky.sun import yield_kwh

HIGH_LATITUDE_DEG = 55.0
"""From here on mixed winter days are rated low: measured against one typical year at 55.3 degrees north."""
ROOM_SHARE = 0.02
"""A month may be so much above a month of clear days before it is questioned (choice)."""


def record_notices(household: Household) -> Iterator[Notice]:
    """Every notice about typed months, and about the model far from the equator."""
    try:
        yield from _months(household)
    except InputError:
        # The clear day is impossible; Sun says so itself.
        return
    yield from _high_latitude(household)


def _months(household: Household) -> Iterator[Notice]:
    site, sun = household.site, household.sun
    if not (sun.arrays and sun.monthly_kwh):
        return
    a_day = {n: own / days for n, (own, days) in _known(sun.monthly_kwh).items()}
    bright = [n for n, own in a_day.items() if own > (1.0 + ROOM_SHARE) * mixed_kwh(site, sun, n, CLEAREST_MONTH_KC)]
    dark = [n for n, own in a_day.items() if own < mixed_kwh(site, sun, n, DARKEST_MONTH_KC)]
    if bright:
        yield Notice(
            level="check",
            code="months-too-bright",
            page="sun",
            text=f"Your kWh of {_listed(bright)} are more than these panels give with nothing but clear days, and "
            "count as that. Type the kWh of one clear day, or is it another unit, or are panels missing here?",
        )
    if dark:
        yield Notice(
            level="check",
            code="months-too-dark",
            page="sun",
            text=f"Your kWh of {_listed(dark)} are less than the darkest sky gives. Was the bank full, or were the "
            "panels covered or off? They are taken as they are, and the days of such months made darker in step.",
        )
    yield from _below_dull_day(household, {n: own for n, own in a_day.items() if n not in dark})


def _below_dull_day(household: Household, a_day: dict[int, float]) -> Iterator[Notice]:
    """Months whose mean day gives less than the owner's own dull day would give in them: a digit lost, most likely."""
    site, sun = household.site, household.sun
    try:
        dull = {n: owner_dull_day(site, sun, n) for n in a_day}
    except InputError:
        # The dull day is impossible; Sun says so itself.
        return
    duller = [n for n, sky in dull.items() if sky and a_day[n] < yield_kwh(site, sun, sky.kc, [mean_day_of_year(n)])[0]]
    if duller:
        yield Notice(
            level="check",
            code="months-below-dull-day",
            page="sun",
            text=f"Your kWh of {_listed(duller)} are less than if every day had been like your own dull day. Was a "
            "digit lost, or was the bank full? They are taken as they are, which is the safe side.",
        )


def _known(monthly_kwh: Sequence[float | None]) -> dict[int, tuple[float, float]]:
    """The kWh and the days of each month that is known, by its number."""
    pairs = zip(range(1, 13), monthly_kwh, DAYS_IN_MONTH, strict=True)
    return {n: (own, days) for n, own, days in pairs if own is not None}


def _high_latitude(household: Household) -> Iterator[Notice]:
    sun = household.sun
    if abs(household.site.latitude_deg) <= HIGH_LATITUDE_DEG or not sun.arrays or sun.monthly_kwh:
        return
    yield Notice(
        level="note",
        code="high-latitude",
        page="sun",
        text=f"Beyond {HIGH_LATITUDE_DEG:g}° from the equator the average winter day is rated low: about an eighth in "
        "the four darkest months where it could be held against measured hours. Dull days are right, so answers err on "
        "the safe side. Your own monthly kWh put it right.",
    )


def _listed(months: Sequence[int]) -> str:
    *most, last = [climates.MONTH_NAMES[n - 1] for n in months]
    return f"{', '.join(most)} and {last}" if most else last
