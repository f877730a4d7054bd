"""Dates and times of the clock as people write them, for titles and sentences of engine and pages alike.

Hours of the day are decimal, 22.5 for half past ten in the evening. Not modelled: other languages.
"""

from __future__ import annotations

from datetime import date

MONTH_NAMES = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def written_date(text: str) -> str:
    """Write an ISO date as people do; any other text stays as it is.

    Examples
    --------
    >>> written_date("1998-01-12"), written_date("some winter")
    ('12 January 1998', 'some winter')
    """
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return text
    return f"{day.day} {MONTH_NAMES[day.month - 1]} {day.year}"


def clock_hour(hour: float) -> str:
    """Write an hour of the day, with its minutes where it has some.

    Examples
    --------
    >>> clock_hour(22), clock_hour(22.5), clock_hour(7.0)
    ('22', '22:30', '7')
    """
    minutes = round(hour * 60.0)
    return f"{minutes // 60}:{minutes % 60:02}" if minutes % 60 else f"{minutes // 60}"
