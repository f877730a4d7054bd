"""Dates as people write them, turned into ISO text before they are read as a moment or a day.

A day with its month as a word, year first, or with dots day first says one thing only. With slashes or dashes and both
numbers up to 12 it may be two days, and is asked back. A time beside a day may have a dot.
Not modelled: years of two digits, months of other languages.
"""

from __future__ import annotations

import re
from datetime import datetime, time, timedelta

from engine.errors import InputError
from engine.text.dates import MONTH_NAMES
from webapp.units import with_24_hours

_MONTH = "|".join(rf"{name[:3]}(?:{name[3:]})?" for name in MONTH_NAMES) + "|Sept"
_WEEKDAY = r"(?:(?:Mon|Tues?|Wed(?:nes)?|Thu(?:rs?)?|Fri|Sat(?:ur)?|Sun)(?:day)?\.?,?\s+)?"
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_NAMED_DAY = re.compile(
    r"(?:(?P<day>today|tomorrow|tonight|mon(?:day)?|tue(?:s|sday)?|wed(?:nesday)?|thu(?:rs|rsday)?|fri(?:day)?"
    r"|sat(?:urday)?|sun(?:day)?)\b[.,]?\s*)?(?:at\s+)?(?P<time>noon|midday|midnight|\d{1,2}:\d\d)?"
)
_COUNTED = r"(?:st|nd|rd|th|\.)?"
_DAY_FIRST = re.compile(rf"{_WEEKDAY}(\d{{1,2}}){_COUNTED}(?:\s+of)?\s*({_MONTH})\.?,?\s*(\d{{4}})", re.IGNORECASE)
_MONTH_FIRST = re.compile(rf"{_WEEKDAY}({_MONTH})\.?\s*(\d{{1,2}}){_COUNTED},?\s+(\d{{4}})", re.IGNORECASE)
_YEAR_FIRST = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})(?!\d)")
_YEAR_LAST = re.compile(r"(?<!\d)(\d{1,2})([-/.])(\d{1,2})\2(\d{4})(?!\d)")
_ONE_DIGIT = re.compile(r"(^|[ T])(\d:)")
_DOTTED_TIME = re.compile(r"(?<![\d:.])(\d{1,2})\.([0-5]\d)$")
_NUMBERS = tuple(name[:3].lower() for name in MONTH_NAMES)


def iso_text(text: str, field: str, label: str) -> str:
    """Return a text with the day in it as ISO writes it and its time of 24 hours behind it; any other as it stands.

    Parameters
    ----------
    text : str
        What was typed: a day, a time, both, or something else.
    field, label : str
        Name of the field, and what it is called in the sentence.

    Raises
    ------
    InputError
        On `field`, where the day may be two.

    Examples
    --------
    >>> [iso_text(text, "at", "From") for text in ("15 June 2027", "15.6.2027 9.05", "18:00")]
    ['2027-06-15', '2027-06-15 09:05', '18:00']
    """
    typed = " ".join(with_24_hours(text.strip().replace("\u2011", "-")).split())
    for pattern in (_DAY_FIRST, _MONTH_FIRST, _YEAR_FIRST, _YEAR_LAST):
        found = pattern.search(typed)
        if found:
            return _with_time(_iso(pattern, found, field, label), typed[: found.start()], typed[found.end() :])
    return _ONE_DIGIT.sub(r"\g<1>0\2", typed)


def coming_text(text: str, now: datetime, field: str, label: str) -> str:
    """Return a moment to come that names its day or noon or midnight as ISO writes it; any other text as it stands.

    A weekday is the coming one, today only where its time is still to come; midnight alone is that which ends today.

    Raises
    ------
    InputError
        On `field`, where a day is named without its time, or its midnight may be that before or after it.

    Examples
    --------
    >>> friday = datetime(2026, 11, 27, 19, 0)
    >>> [coming_text(text, friday, "at", "From") for text in ("Sunday 8 am", "tomorrow 18:00", "noon", "18:00")]
    ['2026-11-29 08:00', '2026-11-28 18:00', '2026-11-27 12:00', '18:00']
    """
    found = _NAMED_DAY.fullmatch(" ".join(with_24_hours(text.strip()).lower().split()))
    if found is None or (found["day"] is None and (found["time"] or "0")[0].isdigit()):
        return text
    day, at = found["day"] or "today", found["time"]
    if at is None or (day == "tonight" and at in ("noon", "midday")):
        raise InputError(field, f"{label}: at what time? Write it with the day, such as {_example(day)}; got “{text}”.")
    if at == "midnight":
        if found["day"] not in (None, "today", "tonight"):
            raise InputError(field, f"{label}: “{text}” may be where that day begins or ends. Write 00:00 or 23:59.")
        return f"{now.date() + timedelta(days=1)} 00:00"
    hour, minute = (12, 0) if at in ("noon", "midday") else (int(part) for part in at.split(":"))
    if hour > 23 or minute > 59:
        return text
    ahead = {"today": 0, "tonight": 0, "tomorrow": 1}.get(day)
    if ahead is None:
        ahead = (_WEEKDAYS.index(day[:3]) - now.weekday()) % 7
        ahead += 7 if not ahead and time(hour, minute) < now.time() else 0
    return f"{now.date() + timedelta(days=ahead)} {hour:02}:{minute:02}"


def _example(day: str) -> str:
    return "today 22:00" if day in ("today", "tonight") else f"{day.capitalize()} 18:00"


def _iso(pattern: re.Pattern[str], found: re.Match[str], field: str, label: str) -> str:
    if pattern is _DAY_FIRST:
        day, month, year = int(found[1]), _number(found[2]), found[3]
    elif pattern is _MONTH_FIRST:
        day, month, year = int(found[2]), _number(found[1]), found[3]
    elif pattern is _YEAR_FIRST:
        day, month, year = int(found[4]), int(found[3]), found[1]
    else:
        day, month, year = int(found[1]), int(found[3]), found[4]
        if found[2] != ".":
            day, month = _told_apart(day, month, found[0], field, label)
    return f"{year}-{month:02}-{day:02}"


def _told_apart(first: int, second: int, text: str, field: str, label: str) -> tuple[int, int]:
    """The day and the month of two numbers in an order that nobody said."""
    if max(first, second) <= len(MONTH_NAMES) and first != second and min(first, second) >= 1:
        one, other = (f"{a} {MONTH_NAMES[b - 1]}" for a, b in ((first, second), (second, first)))
        year = text[-4:]
        raise InputError(
            field, f"{label}: “{text}” may be {one} or {other}. Write the month as a word, such as {one} {year}."
        )
    return (second, first) if second > len(MONTH_NAMES) else (first, second)


def _number(month: str) -> int:
    return _NUMBERS.index(month[:3].lower()) + 1


def _with_time(day: str, before: str, after: str) -> str:
    """The day with the time that stood before or behind it."""
    if after.startswith("T"):
        return day + after
    time = re.sub(r"^at |\bat$", "", f"{before}{after}".strip(" ,")).strip(" ,")
    time = _ONE_DIGIT.sub(r"\g<1>0\2", _DOTTED_TIME.sub(r"\1:\2", time))
    return f"{day} {time}".strip()
