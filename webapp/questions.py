"""What the pages that ask share: the moment, the coming days, the bank, and what an answer rests on.

`at` is civil time in the household's zone; the engine steps in local standard time, without summer time.
The days of a question come as one text or as several values of `sky`, which are joined here, so that a
form of five small choices works without JavaScript.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, TypeVar
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import Request
from starlette.responses import Response

from engine.answers.answer import Notice, Remedy
from engine.answers.notices_bus import bus_notices
from engine.errors import InputError
from engine.fields import Quantity
from engine.house.household import Household, Supply
from engine.sky.days import SEASON, WORDS
from engine.sky.site import Site
from webapp.forms import Field, Parsed
from webapp.numbers import looks_like_share
from webapp.readings import with_readings
from webapp.render import json_answer, json_errors
from webapp.words import MONTHS, weekday
from webapp.written_dates import coming_text, iso_text

T = TypeVar("T")

DAY_BY_DAY = "days"
"""Value of `sky` that says: the choices after it are the days."""
FIRST_YEAR, LAST_YEAR = 2000, 2100
MONTH_CHOICES = tuple((str(number), name) for number, name in enumerate(MONTHS, 1))
_PART_OF_A_SECOND = re.compile(r"[ T]\d\d[.,]")
"""Behind an hour alone, which ISO takes for one, and nobody who types means."""
CLOUDY_KC, CLEAR_KC = 0.17, 0.60
"""Marks of a measured day in the strip: up to the first close lines, from the second the disc (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocked:
    """Why there is no answer yet, and the page where the first thing is to be entered; `stop` where it is dangerous.

    `others` are further ways on, each a path and a label.
    """

    sentence: str
    path: str
    label: str
    stop: bool = False
    others: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """One day of the sky strip: its name, the mark drawn, and what is said; `share` of a clear day, not a word."""

    day: str
    mark: str
    word: str
    share: bool


def asked(request: Request) -> dict[str, str]:
    """Return the query as typed, the values of `sky` joined into the one text it means, those of `off` by commas."""
    typed = with_readings(request.query_params)
    if "off" in typed:
        typed["off"] = ",".join(request.query_params.getlist("off"))
    if "sky" in typed:
        typed["sky"] = joined_sky(request.query_params.getlist("sky"))
    return typed


def joined_sky(values: Sequence[str]) -> str:
    """Return the text that several values of `sky` mean.

    Examples
    --------
    >>> joined_sky(["days", "dark", "dull", ""]), joined_sky(["dark", "dull"]), joined_sky(["none", "dark"])
    ('dark,dull', 'dark,dull', 'none')
    """
    first = values[0].strip()
    if len(values) == 1 and first != DAY_BY_DAY:
        return first
    if first != DAY_BY_DAY and first not in WORDS:
        return first
    words = [value.strip() for value in values if value.strip() != DAY_BY_DAY]
    while words and not words[-1]:
        words.pop()
    return ",".join(words) or SEASON


def plain_query(typed: Mapping[str, str]) -> str:
    """Return the query string of a question, one value a name."""
    return urlencode(dict(typed), safe=",:")


def read_moment(text: str, now: datetime, label: str = "From") -> datetime:
    """Read a moment: now, today, a time of today, a date as people write it, or both.

    Parameters
    ----------
    text : str
        What was typed.
    now : datetime
        The app's clock in the household's zone.
    label : str
        What the field is called.

    Returns
    -------
    datetime
        Aware, in the household's zone.

    Raises
    ------
    InputError
        On the field ``at``; also where a date may be two days.
    """
    if text.strip().lower() in ("now", "today"):
        return now
    typed = iso_text(text, "at", label)
    try:
        if _PART_OF_A_SECOND.search(typed):
            raise ValueError
        found = datetime.fromisoformat(f"{now:%Y-%m-%d} {typed}" if 4 <= len(typed) <= 5 and ":" in typed else typed)
        if not FIRST_YEAR <= found.year <= LAST_YEAR:
            raise ValueError
    except ValueError:
        shown = f"“{text.strip()}”" if typed else "nothing"
        raise InputError(
            "at",
            f"{label} must be now, or a moment such as {now:%Y-%m-%d %H}:00 or {_written(now)} {now:%H}:00, "
            f"from the year {FIRST_YEAR} to {LAST_YEAR}; got {shown}.",
        ) from None
    return found.astimezone(now.tzinfo) if found.tzinfo else found.replace(tzinfo=now.tzinfo)


def read_coming(text: str, now: datetime, label: str = "From") -> datetime:
    """Read a moment as `read_moment`, or one to come: Sunday 8 am, tomorrow 18:00, noon, midnight."""
    if text.strip().lower() == "today":
        return now
    return read_moment(coming_text(text, now, "at", label), now, label)


def read_day(text: str, field: str, label: str, example: date, otherwise: str = "") -> date:
    """Read a day as people write it.

    Parameters
    ----------
    field, label : str
        Name of the field, and what it is called in the sentence.
    example : date
        A day that the sentence shows.
    otherwise : str
        What else may be typed, behind the example.

    Raises
    ------
    InputError
        On `field`; also where a date may be two days.
    """
    typed = iso_text(text, field, label)
    try:
        return date.fromisoformat(typed)
    except ValueError:
        raise InputError(
            field, f"{label} must be a day such as {example} or {_written(example)}{otherwise}; got “{text.strip()}”."
        ) from None


def _written(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


def to_standard(site: Site, moment: datetime) -> datetime:
    """Turn an aware moment into local standard time, naive, as the engine steps."""
    return (moment.astimezone(UTC) + timedelta(hours=site.utc_offset_h)).replace(tzinfo=None)


def to_civil(site: Site, moment: datetime) -> datetime:
    """Turn local standard time into the time on the household's clock, aware."""
    there = (moment - timedelta(hours=site.utc_offset_h)).replace(tzinfo=UTC)
    return there.astimezone(ZoneInfo(site.time_zone))


def civil_times(site: Site, start: datetime, hours: Iterable[float]) -> tuple[datetime, ...]:
    """Return the clock times, naive, of hours after a start in local standard time."""
    return tuple(to_civil(site, start + timedelta(seconds=round(hour * 3600.0))).replace(tzinfo=None) for hour in hours)


def tried(errors: dict[str, str], name: str, read: Callable[[], T], otherwise: T) -> T:
    """Return what `read` gives; where it refuses, note the sentence at the field and return `otherwise`."""
    try:
        return read()
    except InputError as fault:
        errors.setdefault(name, fault.message)
        return otherwise


def bank_field(supplies: Sequence[Supply]) -> tuple[Field, ...]:
    """Return the choice of a bank, or of those that share a bus, where any is joined."""
    choices = tuple((supply.bank.id, supply.name) for supply in supplies)
    if not choices:
        return ()
    return (Field(name="bank", label="Bank", kind="choice", choices=choices, default=choices[0][0]),)


def every_bank(supplies: Sequence[Supply]) -> tuple[Supply, ...]:
    """Return each joined bank as if it were alone on its inverter."""
    return tuple(alone for supply in supplies for alone in supply.apart)


def json_reply(errors: Mapping[str, str], work: Callable[[], tuple[object, Blocked | None]]) -> Response:
    """Answer a question as JSON, unrounded; what to mend, or why there is no answer yet, as 422."""
    if errors:
        return json_errors(errors)
    answer, blocked = work()
    return json_answer(answer) if blocked is None else json_errors({"household": blocked.sentence})


def strangers(typed: Mapping[str, str], known: Sequence[str]) -> dict[str, str]:
    """Return a sentence for each charge or reserve of a bank that is not there."""
    wanted = [name for name in typed if name.startswith(("charge_", "reserve_"))]
    return {
        name: f"“{name}” asks about a bank that is not joined to an inverter here; this page takes: {', '.join(known)}."
        for name in wanted
        if name not in known
    }


def strange_readings(typed: Mapping[str, str], known: Sequence[str]) -> dict[str, str]:
    """Return a sentence for each reading of panels that are not there."""
    return {
        name: f"“{name}” is a reading of panels that are not here; this page takes: {', '.join(known)}."
        for name in typed
        if name.startswith("read_") and name not in known
    }


def share_checks(fields: Sequence[Field], form: Parsed[Any]) -> tuple[Notice, ...]:
    """Return a check for every percent field in which a share seems to have been typed."""
    return tuple(
        _share_check(one, one.quantity, form.raw[one.name]) for one in fields if one.quantity and _share_of(one, form)
    )


def _share_of(one: Field, form: Parsed[Any]) -> float | None:
    return looks_like_share(form.raw[one.name], one.quantity) if one.quantity and one.name in form.raw else None


def _share_check(one: Field, meaning: Quantity, text: str) -> Notice:
    likely = looks_like_share(text, meaning)
    return Notice(
        level="check",
        code="share-for-percent",
        text=f"{one.label} is read as {text.strip()} %, as typed. Was {likely:g} % meant?",
        remedies=(Remedy(label=f"{likely:g} % was meant", query={one.name: f"{likely:g}"}),),
    )


def tiles(days: Sequence[tuple[date, str, float]]) -> tuple[Tile, ...]:
    """Return the strip of an answer's days: their words, or the share of a clear day."""
    return tuple(
        Tile(day=weekday(day)[:3], mark=word or mark_of(kc), word=word or f"{kc * 100:.0f} %", share=not word)
        for day, word, kc in days
    )


def mark_of(kc: float) -> str:
    """Return the mark of a day that no word was said of."""
    return "dark" if kc <= CLOUDY_KC else "bright" if kc >= CLEAR_KC else "dull"


def first_step(house: Household, sentence: str) -> Blocked:
    """Return the empty state that goes with what the engine said, and the first thing to enter."""
    for notice in bus_notices(house):
        if notice.level == "stop" and notice.text.startswith(sentence):
            return Blocked(sentence=notice.text, path="/banks", label="Look over the banks", stop=True)
    if not house.banks:
        return Blocked(sentence=sentence, path="/banks", label="Enter your first bank")
    if not house.inverters:
        return Blocked(sentence=sentence, path="/inverter", label="Enter the inverter")
    if not house.supplies():
        return Blocked(sentence=sentence, path="/banks", label="Join a bank to the inverter")
    if not any(supply.loads for supply in house.supplies()):
        return Blocked(sentence=sentence, path="/loads", label="Enter your first load")
    return Blocked(sentence=sentence, path="/banks", label="Look over the banks")


def no_loads_note(supplies: Sequence[Supply]) -> tuple[Notice, ...]:
    """Return a note where a bank carries nothing but its inverter."""
    return tuple(
        Notice(
            level="note",
            code="no-loads",
            page="loads",
            text=f"{supply.bank.name} carries no load yet: this is {supply.inverter.name}’s idle draw alone. Enter on "
            "Loads what it is to carry.",
        )
        for supply in supplies
        if not supply.loads
    )
