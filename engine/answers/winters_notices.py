"""What is to be minded of an answer over many winters."""

from __future__ import annotations

from engine.answers.answer import Notice
from engine.answers.notices import running_notices
from engine.balance.winters import Winters
from engine.house.household import Household, Supply


def winters_notices(household: Household, supply: Supply, hours: Winters, month: int) -> tuple[Notice, ...]:
    """Return the notices of the household and those of these winters."""
    return (*_panels_short(hours), *running_notices(household, month), *_not_counted(supply, household, hours))


def _panels_short(hours: Winters) -> tuple[Notice, ...]:
    years = hours.years.size
    sun_kwh, load_kwh = hours.sun_kwh / years, hours.load_kwh / years
    if sun_kwh >= load_kwh:
        return ()
    text = (
        f"The panels give {sun_kwh:,.0f} kWh a year and {load_kwh:,.0f} kWh are used: no bank lasts on that. More "
        "panels or less use come before more cells."
    )
    return (Notice(level="check", code="panels-short-year", page="sun", text=text),)


def _not_counted(supply: Supply, household: Household, hours: Winters) -> tuple[Notice, ...]:
    found = []
    if supply.generator is not None:
        text = f"{supply.generator.name} is not counted in these winters: what it would have to give is what is short."
        found.append(Notice(level="note", code="generator-not-counted", text=text))
    if household.sun.covered_days:
        text = f"The {household.sun.covered_days} days under snow are not counted in these winters."
        found.append(Notice(level="note", code="snow-not-counted", text=text))
    if hours.filled_days:
        text = f"{hours.filled_days:,} days that the file does not know were given the mean of their month."
        found.append(Notice(level="note", code="days-filled", text=text))
    return tuple(found)
