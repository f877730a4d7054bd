"""A meter's file with the choices by which it is read, and its reading, step by step.

What was read is kept beside the file (`meter_store`), with what there is to say of it and the time zone it was read by.
A short file is read at once, a long one beside the pages (`jobs`). Nothing here knows a page. What reads files is
loaded with the first file, so that a start need not wait for it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Self
from zoneinfo import ZoneInfo

from engine.errors import InputError
from engine.meter.formats import WALL, Reading
from engine.meter.log import MeterLog
from engine.text.finding import Finding
from webapp import meter_store
from webapp.kept_choices import KeptChoices
from webapp.store import Store

KIND = "table"
AT_ONCE_BYTES = 1024**2
"""A file no longer than this, some 20,000 rows, is read while its page is asked for: a tenth of a second."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices(KeptChoices):
    """How a file is read; `totals` and `signs` by the key of a column, as `engine.meter.formats` has them."""

    kind: str = KIND
    totals: dict[str, str] = field(default_factory=dict)
    signs: dict[str, str] = field(default_factory=dict)
    clock: str = WALL
    utc_offset_h: float = 0.0
    ends: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What is kept of a file beside its bytes and rows.

    Attributes
    ----------
    choices : Choices
    header : tuple of str
        Names of its columns; another file of the same names begins with the same choices.
    like : str
        Name of the file whose choices a draft began with; empty where they are our guess.
    zone : str
        Time zone of the house when it was read; empty while it is a draft.
    said : tuple of Finding
        What the reading had to say.
    """

    choices: Choices
    header: tuple[str, ...] = ()
    like: str = ""
    zone: str = ""
    said: tuple[Finding, ...] = ()

    def stored(self) -> dict[str, Any]:
        """Return it as JSON holds it."""
        return dataclasses.asdict(self)

    @classmethod
    def of(cls, stored: dict[str, Any]) -> Self:
        """Read it from what `stored` gave."""
        return cls(
            choices=Choices.of(stored["choices"]),
            header=tuple(stored["header"]),
            like=stored["like"],
            zone=stored["zone"],
            said=tuple(Finding(**one) for one in stored["said"]),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A file was read and its rows are kept."""

    rows: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """Why a file cannot be read so: field and sentence of each fault."""

    faults: tuple[tuple[str, str], ...]

    def fault(self) -> InputError:
        """Return it as the reading raised it."""
        (first, *more) = (InputError(field, text) for field, text in self.faults)
        return InputError(first.field, first.message, tuple(more))


def guessed(content: bytes) -> Reading:
    """Return how a file would be read.

    Raises
    ------
    InputError
        If it holds no rows of numbers.
    """
    from engine.meter import reading

    return reading.guess(content)


def chosen(reading_: Reading, choices: Choices) -> Reading:
    """Return a reading as these choices have it.

    Raises
    ------
    InputError
        Naming the choice that cannot be.
    """
    from engine.meter import reading

    return reading.with_choices(
        reading_,
        columns=choices.columns,
        totals=choices.totals,
        signs=choices.signs,
        clock=choices.clock,
        utc_offset_h=choices.utc_offset_h,
        ends=choices.ends,
        decimal=choices.decimal or None,
    )


def choices_of(reading_: Reading, decimal: str = "") -> Choices:
    """Return the choices that a reading is made by."""
    return Choices(
        columns=dict(reading_.columns),
        decimal=decimal,
        totals=dict(reading_.totals),
        signs=dict(reading_.signs),
        clock=reading_.clock,
        utc_offset_h=reading_.utc_offset_h,
        ends=reading_.ends,
    )


def first_known(store: Store, household_id: int, content: bytes, zone: ZoneInfo) -> Known:
    """Return what a new file begins with: the choices of the last file of the same columns, else our guess.

    Raises
    ------
    InputError
        As `guessed`.
    """
    reading_ = guessed(content)
    header = tuple(reading_.layout.header)
    for kept in meter_store.accepted(store, household_id):
        known = Known.of(kept.choices)
        if any(header) and known.header == header and _fits(content, reading_, known.choices, zone):
            return Known(choices=known.choices, header=header, like=kept.name)
    return Known(choices=choices_of(reading_), header=header)


def _fits(content: bytes, reading_: Reading, choices: Choices, zone: ZoneInfo) -> bool:
    """Whether the first rows of a file can be read by the choices of another."""
    try:
        return first_read(content, chosen(reading_, choices), zone).rows > 0
    except InputError:
        return False


def first_rows(content: bytes, reading_: Reading, rows: int) -> tuple[tuple[str, ...], ...]:
    """Return the first rows of a file as they are written."""
    from engine.meter import reading

    return reading.preview(content, reading_, rows)


def first_read(content: bytes, reading_: Reading, zone: ZoneInfo) -> MeterLog:
    """Return the first rows of a file as they would be read.

    Raises
    ------
    InputError
        If they cannot be read so.
    """
    from engine.meter import reading

    return reading.read_head(content, reading_, zone)


def lacking(reading_: Reading) -> InputError | None:
    """Return which columns are missing for a file to be read at all, if any."""
    from engine.meter import reading

    try:
        reading.check(reading_)
    except InputError as fault:
        return fault
    return None


def taking(store: Store, file_id: int, known: Known, zone: ZoneInfo) -> Iterator[object]:
    """Read a whole file and keep its rows and how it was read; `known` but for what the reading says.

    Yields how many rows are read (`engine.text.steps.RowsRead`), at the end `Taken` or `Refused`; where it is refused
    nothing is changed.
    """
    from engine.meter import reading

    try:
        content = meter_store.content(store, file_id)
        log, said = yield from reading.read_in_steps(content, chosen(guessed(content), known.choices), zone)
        del content
        read = dataclasses.replace(known, zone=zone.key, said=said)
        meter_store.accept(store, file_id, KIND, read.stored(), log)
    except InputError as fault:
        yield Refused(faults=tuple((one.field, one.message) for one in fault.every()))
        return
    yield Taken(rows=log.rows)
