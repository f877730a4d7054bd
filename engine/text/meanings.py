"""What the columns of any table of rows in time may be: those of its times, and the ways its energies count.

Nothing here reads a file, nor loads what does.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from engine.text.time_units import (
    CLOCK,
    COMPACT,
    DATES,
    HOUR,
    HOUR_FROM_1,
    HOUR_MINUTE,
    MONTH_WORDS,
    OF_MONTH,
    OF_YEAR,
    UNIX,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """One thing a column may be, and the units it may be in."""

    key: str
    label: str
    units: tuple[str, ...]


TIME_MEANINGS = (
    Meaning(key="date", label="Date", units=(*DATES, COMPACT, MONTH_WORDS, UNIX)),
    Meaning(key="time", label="Time of day, where it stands apart", units=(CLOCK, HOUR, HOUR_FROM_1, HOUR_MINUTE)),
    Meaning(key="year", label="Year, where it stands apart", units=("",)),
    Meaning(key="month", label="Month, where it stands apart", units=("",)),
    Meaning(key="day", label="Day, where it stands apart", units=(OF_MONTH, OF_YEAR)),
    Meaning(key="minute", label="Minute, where it stands apart", units=("",)),
)
TIME_KEYS = tuple(one.key for one in TIME_MEANINGS)

INTERVAL, OF_DAY, EVER = "interval", "day", "ever"
TOTALS = {
    INTERVAL: "Each row has its own",
    OF_DAY: "Counts up, and begins again each day",
    EVER: "Counts up all the time, as a meter does",
}


def by_key(meanings: Iterable[Meaning]) -> Mapping[str, Meaning]:
    """Return meanings by their key."""
    return {one.key: one for one in meanings}
