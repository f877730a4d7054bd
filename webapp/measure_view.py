"""What the pages of a measurement share: a result in words, its parts of error, the sheet to write on, the use."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from engine.answers.answer import Notice
from engine.answers.measuring import DULL_DAYS, SURE, Lasts, Measured, Part
from engine.answers.notices import household_notices
from engine.house.household import Household
from webapp.chart_parts import Figure
from webapp.forms import Field, Parsed, Values
from webapp.render import NO_BREAK, figures, fixed
from webapp.words import duration

HALF_FIGURES = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key figure with its basis."""

    name: str
    value: str
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A small table: what it is, its columns and its rows; numbers in all but the first column where `numbers`."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A chart with its basis and the table of its numbers."""

    id: str
    caption: str
    figure: Figure
    basis: str
    table: Table


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """What would be written into the household: where, which fields, in which words; `held` if it stands there."""

    section: str
    item_id: str
    values: Mapping[str, float | int]
    label: str
    what: str
    told: str
    held: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureView:
    """One measurement as its page shows it; `steps` is what to do, `paper` what a sheet has room for."""

    sentence: Markup
    ranges: tuple[str, ...]
    keys: tuple[Key, ...]
    steps: tuple[str, ...]
    chart: Chart | None
    tables: tuple[Table, ...]
    parts: Table | None
    use: Use | None
    no_use: str
    paper: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    tables_first: bool = field(default=False)


def give_or_take(result: Measured) -> tuple[str, str]:
    """Return a result and its error with their unit, the result to no more places than its error has.

    Examples
    --------
    >>> from engine.answers.measuring import Measured
    >>> give_or_take(Measured(value=40.123, half=8.72, now=None, unit="W", parts=()))
    ('40.1\\xa0W', '8.7\\xa0W')
    """
    half = figures(result.half, HALF_FIGURES)
    places = len(half.partition(".")[2])
    return f"{fixed(result.value, places)}{NO_BREAK}{result.unit}", f"{half}{NO_BREAK}{result.unit}"


def span(result: Measured) -> str:
    """Say in which interval the truth lies, and how often that is right."""
    half = figures(result.half, HALF_FIGURES)
    places = len(half.partition(".")[2])
    return f"{fixed(result.low, places)} to {fixed(result.high, places)}{NO_BREAK}{result.unit}, {SURE}"


def lasting(hours: float | None) -> str:
    """Write how long a bank lasts through dull days."""
    return f"more than {DULL_DAYS} days" if hours is None else duration(hours)


def lasts_sentence(lasts: Lasts | None, name: str) -> str:
    """Say what a result does to how long a full bank lasts; empty where nothing is told."""
    if lasts is None:
        return ""
    now, then = lasting(lasts.now), lasting(lasts.then)
    low, high = sorted((lasts.low, lasts.high), key=lambda hours: float("inf") if hours is None else hours)
    ends = "" if lasting(low) == lasting(high) else f"; within its error {lasting(low)} to {lasting(high)}"
    if now == then:
        return f"From full and through dull days {name} lasts {now}, with this as without it{ends}."
    return f"From full and through dull days {name} lasts {now} as described, {then} with this{ends}."


def against(result: Measured, where: str) -> str:
    """Say how a result stands to what is described now."""
    if result.now is None:
        return ""
    now = f"{figures(result.now, 3)}{NO_BREAK}{result.unit}"
    if result.agrees:
        return f"{where} now says {now}: within the error, so nothing speaks against it."
    side = "more" if result.now > result.value else "less"
    return f"{where} now says {now}: {side} than this, and outside its error."


def parts_table(parts: Sequence[Part], unit: str) -> Table:
    """List where the error comes from, each as it stands on either side."""
    rows = tuple((part.label, part.how, f"± {figures(2.0 * part.u)}{NO_BREAK}{unit}") for part in parts)
    return Table(caption="Where the error comes from", columns=("What", "taken as", "alone"), rows=rows, numbers=False)


def paper_rows(fields: Iterable[Field], form: Parsed[Values]) -> tuple[tuple[str, str], ...]:
    """Return each field with what is typed in it, for a sheet of paper; empty ones are left to a pen."""
    rows = []
    for one in fields:
        text = form.raw.get(one.name, "")
        if one.kind == "choice":
            text = dict(one.choices).get(text, "")
        if one.kind == "tick":
            text = "yes" if text else ""
        rows.append((one.caption, text))
    return tuple(rows)


def stops_of(house: Household, month: int) -> tuple[Notice, ...]:
    """Return what is dangerous about a household as described: nothing is measured on it before that is mended."""
    return tuple(notice for notice in household_notices(house, month) if notice.level == "stop")
