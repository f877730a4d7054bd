"""Dates as people write them, turned into ISO text before they are read as a moment or a day.

A day with its month as a word, year first, or with dots day first says one thing only. With slashes or dashes and both
numbers up to 12 it may be two days, and is asked back. Not modelled: years of two digits, months of other languages.
"""

from __future__ import annotations

import re

from engine.errors import InputError
from engine.text.dates import MONTH_NAMES
from webapp.units import with_24_hours

_MONTH = "|".join(rf"{name[:3]}(?:{name[3:]})?" for name in MONTH_NAMES) + "|Sept"
_WEEKDAY = r"(?:(?:Mon|Tues?|Wed(?:nes)?|Thu(?:rs?)?|Fri|Sat(?:ur)?|Sun)(?:day)?\.?,?\s+)?"
_COUNTED = r"(?:st|nd|rd|th|\.)?"
_DAY_FIRST = re.compile(rf"{_WEEKDAY}(\d{{1,2}}){_COUNTED}(?:\s+of)?\s*({_MONTH})\.?,?\s*(\d{{4}})", re.IGNORECASE)
_MONTH_FIRST = re.compile(rf"{_WEEKDAY}({_MONTH})\.?\s*(\d{{1,2}}){_COUNTED},?\s+(\d{{4}})", re.IGNORECASE)
_YEAR_FIRST = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})(?!\d)")
_YEAR_LAST = re.compile(r"(?<!\d)(\d{1,2})([-/.])(\d{1,2})\2(\d{4})(?!\d)")
_ONE_DIGIT = re.compile(r"(^|[ T])(\d:)")
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
    >>> [iso_text(text, "at", "From") for text in ("15 June 2027", "15.6.2027 9:05", "18:00")]
    ['2027-06-15', '2027-06-15 09:05', '18:00']
    """
    typed = " ".join(with_24_hours(text.strip().replace("\u2011", "-")).split())
    for pattern in (_DAY_FIRST, _MONTH_FIRST, _YEAR_FIRST, _YEAR_LAST):
        found = pattern.search(typed)
        if found:
            return _with_time(_iso(pattern, found, field, label), typed[: found.start()], typed[found.end() :])
    return _ONE_DIGIT.sub(r"\g<1>0\2", typed)


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
    time = _ONE_DIGIT.sub(r"\g<1>0\2", re.sub(r"^at |\bat$", "", f"{before}{after}".strip(" ,")).strip(" ,"))
    return f"{day} {time}".strip()
