"""Hours, clock times, dates and energies in words, the same on every page and on paper.

Hours and clock time of one answer are rounded alike: to the hour, or to the quarter where the answer is
shorter than six hours. Nothing here knows a question or a household.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from engine.quantities import DAYS_PER_YEAR, HOURS_PER_DAY
from engine.text.dates import MONTH_NAMES
from webapp.render import NO_BREAK, figures

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = MONTH_NAMES
NUMBERS = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
)
_DIRECTIONS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
SHORT_H = 6.0
"""Below this, quarters of an hour are told."""
DAYS_FROM_H = 48.0
"""From here on hours are told as days and hours."""
WHOLE_DAYS_FROM_H = 30 * 24
"""From here on in days alone: an hour more or less is lost in what nobody knows of the weather."""
_THINGS = ("bank", "battery", "pack", "inverter")
_QUARTERS = {15: "a quarter past", 30: "half past", 45: "a quarter to"}
_PARTS = ((1, "at night"), (12, "in the morning"), (18, "in the afternoon"), (22, "in the evening"), (24, "at night"))


def number(count: int) -> str:
    """Write a small count in words, a large one in figures.

    Examples
    --------
    >>> number(3), number(40)
    ('three', '40')
    """
    return NUMBERS[count] if 0 <= count < len(NUMBERS) else str(count)


def counted(count: int, thing: str) -> str:
    """Write a count with its thing, in the plural where it is one.

    Examples
    --------
    >>> counted(1, "string"), counted(4, "string")
    ('1 string', '4 strings')
    """
    return f"{count} {thing}" + ("" if count == 1 else "s")


def listed(words: Sequence[str]) -> str:
    """Write a list as people say it.

    Examples
    --------
    >>> listed(["LFP"]), listed(["LFP", "NMC", "sodium-ion"])
    ('LFP', 'LFP, NMC and sodium-ion')
    """
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def facing(azimuth_deg: float) -> str:
    """Name the direction that degrees clockwise from north look to.

    Examples
    --------
    >>> facing(170), facing(350)
    ('south', 'north')
    """
    return _DIRECTIONS[round(azimuth_deg / 45.0) % 8]


def in_sentence(name: str) -> str:
    """Write the name of a thing as it stands within a sentence.

    Examples
    --------
    >>> in_sentence("Store-room bank"), in_sentence("Bank A")
    ('the store-room bank', 'Bank A')
    """
    common = name.lower().endswith(_THINGS) and name == name.capitalize()
    return f"the {name.lower()}" if common else name


def mid_sentence(name: str) -> str:
    """Write a name that begins with a capital as it stands within a sentence; letters of an acronym stay.

    Examples
    --------
    >>> mid_sentence("Lead-acid"), mid_sentence("LFP")
    ('lead-acid', 'LFP')
    """
    return name if name[:2].isupper() else name[:1].lower() + name[1:]


def duration(hours: float) -> str:
    """Write a duration as a householder says it.

    Parameters
    ----------
    hours : float
        Duration [h], 0 or more.

    Examples
    --------
    >>> duration(0.1), duration(1.1), duration(2.6), duration(31.2), duration(48.4), duration(75.0)
    ('less than a quarter of an hour', '1 hour', '2½ hours', '31 hours', '2 days', '3 days and 3 hours')
    >>> duration(1000.0), duration(22000.0)
    ('42 days', 'more than a year')
    """
    if hours < 0.125:
        return "less than a quarter of an hour"
    if hours < SHORT_H:
        return _quarters(round(hours * 4))
    whole = round(hours)
    if whole < DAYS_FROM_H:
        return f"{whole} hours"
    if whole > DAYS_PER_YEAR * HOURS_PER_DAY:
        return "more than a year"
    if whole >= WHOLE_DAYS_FROM_H:
        return f"{round(whole / 24)} days"
    days, rest = divmod(whole, 24)
    return f"{days} days" + (f" and {counted(rest, 'hour')}" if rest else "")


def _quarters(quarters: int) -> str:
    whole, part = divmod(quarters, 4)
    mark = ("", "¼", "½", "¾")[part]
    if not whole:
        return {1: "a quarter of an hour", 2: "half an hour", 3: "three quarters of an hour"}[part]
    return f"{whole}{mark} hour{'' if quarters == 4 else 's'}"


def between(low_h: float, high_h: float) -> str:
    """Write a range of durations, the unit once where it is the same.

    Examples
    --------
    >>> between(21.8, 26.0), between(30.0, 75.0), between(21.9, 22.1)
    ('between 22 and 26 hours', 'between 30 hours and 3 days and 3 hours', 'about 22 hours at either end')
    """
    low, high = duration(low_h), duration(high_h)
    if low == high:
        return f"about {low} at either end"
    if low.endswith(" hours") and high.endswith(" hours") and "days" not in low + high:
        return f"between {low.removesuffix(' hours')} and {high}"
    return f"between {low} and {high}"


def clock_time(moment: datetime, step_minutes: int = 60) -> str:
    """Write a time of day in words, rounded to the hour or the quarter.

    Examples
    --------
    >>> clock_time(datetime(2026, 11, 26, 3, 50)), clock_time(datetime(2026, 11, 26, 12, 10))
    ('four in the morning', 'noon')
    >>> clock_time(datetime(2026, 11, 26, 20, 28), 15)
    'half past eight in the evening'
    """
    at = rounded(moment, step_minutes)
    if not at.minute and at.hour % 12 == 0:
        return "noon" if at.hour else "midnight"
    spoken = at.hour + (at.minute == 45)
    part = next(text for end, text in _PARTS if at.hour < end)
    named = "twelve" if spoken % 12 == 0 else NUMBERS[spoken % 12]
    return f"{_QUARTERS[at.minute]} {named} {part}" if at.minute else f"{named} {part}"


def rounded(moment: datetime, step_minutes: int) -> datetime:
    """Round a moment to the nearest multiple of some minutes."""
    into = timedelta(minutes=moment.minute % step_minutes, seconds=moment.second, microseconds=moment.microsecond)
    step = timedelta(minutes=step_minutes)
    return moment - into + (step if into >= step / 2 else timedelta(0))


def until(moment: datetime, now: datetime, hours: float) -> str:
    """Write when something ends: the day by its name and the time of day.

    Parameters
    ----------
    moment, now : datetime
        On the same clock.
    hours : float
        How long it lasts [h], which decides the rounding.

    Examples
    --------
    >>> now = datetime(2026, 11, 25, 21, 0)
    >>> until(datetime(2026, 11, 27, 4, 10), now, 31.2), until(datetime(2026, 11, 25, 22, 31), now, 1.5)
    ('Friday, four in the morning', 'today, half past ten at night')
    >>> until(datetime(2026, 11, 26, 23, 50), now, 26.8), until(datetime(2026, 12, 5, 9, 0), now, 228.0)
    ('midnight after Thursday', 'Saturday, 5 December, nine in the morning')
    """
    step = 15 if hours < SHORT_H else 60
    at = rounded(moment, step)
    if at.hour == at.minute == 0:
        return f"midnight after {day_name(at.date() - timedelta(days=1), now.date())}"
    return f"{day_name(at.date(), now.date())}, {clock_time(at, step)}"


def day_name(day: date, today: date) -> str:
    """Name a day: today, its weekday within a week, else weekday and date."""
    away = (day - today).days
    if away == 0:
        return "today"
    return weekday(day) if 0 < away < 7 else long_date(day)


def weekday(day: date) -> str:
    """Name the weekday of a date."""
    return WEEKDAYS[day.weekday()]


def long_date(day: date) -> str:
    """Write a date with its weekday.

    Examples
    --------
    >>> long_date(date(2026, 11, 26))
    'Thursday, 26 November'
    """
    return f"{weekday(day)}, {day.day} {MONTHS[day.month - 1]}"


def stamp(moment: datetime) -> str:
    """Write a moment short and exact, for figures and tables.

    Examples
    --------
    >>> stamp(datetime(2026, 11, 26, 17, 43, 24))
    'Thu 26 Nov, 17:43'
    """
    return f"{short_date(moment.date())}, {moment.hour:02}:{moment.minute:02}"


def short_date(day: date) -> str:
    """Write a date short.

    Examples
    --------
    >>> short_date(date(2026, 11, 26))
    'Thu 26 Nov'
    """
    return f"{weekday(day)[:3]} {day.day} {MONTHS[day.month - 1][:3]}"


def energy(kwh: float) -> str:
    """Write an energy with its unit, in as many figures as it is good for.

    Examples
    --------
    >>> energy(33.04), energy(0.962), energy(110.1), energy(0.004)
    ('33\\xa0kWh', '0.96\\xa0kWh', '110\\xa0kWh', '0\\xa0kWh')
    """
    return f"{'0' if abs(kwh) < 0.005 else figures(kwh)}{NO_BREAK}kWh"
