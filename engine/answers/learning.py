"""What a household's own meter log teaches: each number offered with how sure it is, none applied by itself.

One module a lesson: the inverter, the loads, the panels, ampere-hours given back and lost, the capacity. Not learnt,
for the log does not hold it: the efficiency of the solar charger (its other side is not metered), the resistance of
cells, what a single cell of a string does, what the house would have drawn while it was dark.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from engine.answers.learning_capacity import capacity_lesson
from engine.answers.learning_charge import charge_lessons
from engine.answers.learning_fulls import counted
from engine.answers.learning_inverter import inverter_lessons
from engine.answers.learning_loads import load_lessons, with_loads
from engine.answers.learning_panels import panel_lesson
from engine.answers.learning_parts import Change, Effect, Evidence, Lesson, Missing
from engine.answers.learning_sun import sun_lessons
from engine.errors import InputError, Unreachable
from engine.house.household import Household, Supply
from engine.meter.hours import HOUR_S, by_hour
from engine.meter.log import MeterLog
from engine.sky.series import KcSeries
from engine.text.clocks import DAY_S

__all__ = ["Change", "Effect", "Learning", "Lesson", "Missing", "learn", "taught"]

Told = tuple[tuple[Lesson, ...], tuple[Missing, ...]]
_HOURLY = ("yield_w", "load_w", "load_dc_w")
"""What is asked for by the hour; the rest is taken row by row."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Learning:
    """What a log teaches.

    Attributes
    ----------
    first, last : date
        Between which days the log lies, in the house's standard time.
    days : int
        Days of it that have rows.
    inverter : str
        Id of the inverter whose supply the log is taken to be of.
    lessons : tuple of Lesson
    missing : tuple of Missing
        What it does not give, each with why.
    """

    first: date
    last: date
    days: int
    inverter: str
    lessons: tuple[Lesson, ...]
    missing: tuple[Missing, ...]

    def lesson(self, which: str) -> Lesson | None:
        """Return a lesson by its id, or None where it is not given."""
        return next((one for one in self.lessons if one.id == which), None)


def learn(household: Household, log: MeterLog, *, inverter: str = "", kc: KcSeries | None = None) -> Learning:
    """Return what a log teaches a household.

    Parameters
    ----------
    inverter : str
        Id of the inverter whose supply the log is of; empty for the first.
    kc : KcSeries, optional
        The sky of the same days from another source, by which the panels can be told from the weather.

    Raises
    ------
    Unreachable
        If the log has no rows, or the household no bank on an inverter.
    """
    supply = _supply(household, inverter)
    if not log.rows:
        raise Unreachable("The log has no rows yet.")
    day = ((log.start_s + household.site.utc_offset_h * HOUR_S) // DAY_S).astype(np.int64)
    day -= day[0]
    hourly = {key: values for key, values in log.values.items() if key in _HOURLY}
    hours = by_hour(dataclasses.replace(log, values=hourly), household.site.utc_offset_h)
    e = Evidence(household=household, supply=supply, log=log, hours=hours, day=day)
    found = None if supply.beside else counted(e)
    parts = (
        _tried("inverter", "The inverter", lambda: inverter_lessons(e)),
        _tried("loads", "The loads", lambda: load_lessons(e)),
        _tried("sun", "The panels", lambda: sun_lessons(e, found)),
        _tried("panels", "The panels by the sky", lambda: ((), ()) if kc is None else panel_lesson(e, found, kc)),
        _tried("capacity", "The capacity", lambda: capacity_lesson(e, found)),
        _tried("charge", "What the bank loses", lambda: charge_lessons(e, found)),
    )
    return Learning(
        first=hours.first,
        last=hours.first + timedelta(days=int(day[-1])),
        days=int(np.unique(day).size),
        inverter=supply.inverter.id,
        lessons=tuple(one for lessons, _ in parts for one in lessons),
        missing=tuple(one for _, missing in parts for one in missing),
    )


def _tried(which: str, title: str, lessons: Callable[[], Told]) -> Told:
    """Lessons of one module; where they come to a number that no household can have, that is said."""
    try:
        return lessons()
    except InputError as fault:
        text = f"What the log comes to cannot be: {fault.message} Are its columns and units read right?"
        return (), (Missing(id=which, title=title, text=text),)


def _supply(household: Household, inverter: str) -> Supply:
    supplies = household.supplies()
    if not supplies:
        raise Unreachable("There is no bank on an inverter yet: a log is read against them.")
    wanted = inverter or supplies[0].inverter.id
    found = next((one for one in supplies if one.inverter.id == wanted), None)
    if found is None:
        raise Unreachable(f"No bank is on an inverter “{wanted}”.")
    return found


def taught(household: Household, lesson: Lesson) -> Household:
    """Return the household with a lesson used.

    Raises
    ------
    InputError
        If the household cannot take one of its numbers.
    """
    for change in lesson.changes:
        household = _changed(household, change)
    return household


def _changed(household: Household, change: Change) -> Household:
    if change.part == "loads":
        return with_loads(household, change)
    if change.part == "sun":
        return dataclasses.replace(household, sun=dataclasses.replace(household.sun, **change.fields))
    if change.part == "banks":
        banks = tuple(dataclasses.replace(b, **change.fields) if b.id == change.id else b for b in household.banks)
        return dataclasses.replace(household, banks=banks)
    inverters = tuple(dataclasses.replace(i, **change.fields) if i.id == change.id else i for i in household.inverters)
    return dataclasses.replace(household, inverters=inverters)
