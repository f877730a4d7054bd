"""How a meter's file would be read: our guess, an earlier file's choices, or what was chosen, as a form."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from engine.errors import InputError
from engine.fields import Quantity
from engine.meter.formats import CLOCKS, COUNTED, MEANINGS, SIGNED, SIGNS, Reading
from engine.text.meanings import TOTALS
from webapp.forms import Field, Parsed, Values, filled, number_field, parse
from webapp.kept_columns import (
    DECIMAL,
    ROWS,
    Choosable,
    Column,
    choosable,
    columns_of,
    columns_sent,
    refusals,
)
from webapp.log_days import Table, clock_of, first_table, usual_step_s
from webapp.log_reading import Choices, Known, chosen, first_read, first_rows, guessed, lacking
from webapp.log_words import WORDS, every, moment, quantities
from webapp.meter_store import MeterFile

BEGINS, ENDS = "begin", "end"
_CLOCK = Field(
    name="clock",
    label="Its clock",
    kind="choice",
    choices=tuple(CLOCKS.items()),
    hint="A clock that was set once and never again keeps standard time",
)
_OFFSET = number_field(
    "utc_offset_h",
    Quantity(label="The fixed offset is ahead of UTC by", unit="h", low=-14, high=14),
    default=0.0,
    hint="Only for a fixed offset; 0 is UTC itself",
)
_ENDS = Field(
    name="ends",
    label="The time of a row is",
    kind="choice",
    choices=((BEGINS, "where it begins"), (ENDS, "where it ends")),
    hint="A row at 10:05 of five minutes lasts until 10:10, or from 10:00",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """The form; `choices` is set exactly when nothing in it is to be mended.

    `like` names the file whose choices it began with, `asked` is what is in doubt, `unseen` whether some of that comes
    of a choice just made and stood in no form yet. `comes_to` says what the first rows come to, which `first` lists;
    `against` why they cannot be read so; `lacks` which columns are missing for any row to be read.
    """

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    fields: tuple[Field, ...]
    form: Parsed[Any]
    like: str = ""
    asked: tuple[str, ...] = ()
    unseen: bool = False
    choices: Choices | None = None
    comes_to: str = ""
    first: Table | None = None
    lacks: InputError | None = None
    against: str = ""

    @property
    def checks(self) -> tuple[str, ...]:
        """What to check before it is accepted, without what is to be mended anyway."""
        mend = " ".join(self.form.errors.values())
        return tuple(one for one in (*self.asked, self.against) if one and one not in mend)

    def refused(self, fault: InputError) -> Draft:
        """Return it with what the reading refused, beside the fields it is about."""
        errors = refusals(fault, self.fields, self.columns)
        return dataclasses.replace(self, form=self.form.refused(errors), choices=None)


def draft_of(content: bytes, kept: MeterFile, zone: ZoneInfo) -> Draft:
    """Return the form of a file as it is stored: our guess, another file's choices, or what was accepted."""
    known = Known.of(kept.choices)
    reading = guessed(content)
    if kept.accepted or known.like:
        reading = chosen(reading, known.choices)
    fields = _fields_of(reading)
    form: Parsed[Any] = filled(fields, _values(known.choices))
    draft = dataclasses.replace(_draft(content, reading, fields, form), choices=known.choices)
    return _tried(draft, content, reading, zone, "" if kept.accepted else known.like)


def drafted(content: bytes, sent: Mapping[str, str], zone: ZoneInfo) -> Draft:
    """Return the form as it was sent."""
    guess = guessed(content)
    columns, errors = columns_sent(sent)
    decimal = sent.get("decimal", "") if sent.get("decimal", "") in dict(DECIMAL.choices) else ""
    try:
        # What the new columns are by their numbers; what else was chosen of them follows below.
        base = _with_columns(guess, columns, decimal)
    except InputError as fault:
        return _sent_in_vain(content, guess, sent, fault, errors)
    fields = _fields_of(base)
    form: Parsed[Any] = parse(fields, sent, build=lambda values: _choices(base, columns, values))
    every_error = {**errors, **form.errors}
    if every_error or form.value is None:
        return _draft(content, base, fields, form.refused(every_error), sent)
    choices: Choices = form.value
    shown = _draft(content, base, fields, form, sent)
    try:
        reading = chosen(guess, choices)
    except InputError as fault:
        return shown.refused(fault)
    unseen = tuple(text for key, text in base.asked if key.partition(".")[1] and key not in sent)
    draft = dataclasses.replace(shown, asked=(*reading.doubts, *unseen), unseen=bool(unseen), choices=choices)
    return _tried(draft, content, reading, zone, "")


def meanings() -> Choosable:
    """Return what a column may be, each in every unit it may have."""
    return choosable(MEANINGS, {})


def _with_columns(guess: Reading, columns: Mapping[str, tuple[int, str]], decimal: str) -> Reading:
    from engine.meter import reading

    return reading.with_choices(guess, columns=columns, decimal=decimal or None)


def _sent_in_vain(
    content: bytes, guess: Reading, sent: Mapping[str, str], fault: InputError, errors: dict[str, str]
) -> Draft:
    """The form with columns that cannot be: everything else stands as it was sent."""
    fields = _fields_of(guess)
    form: Parsed[Any] = Parsed(raw={one.name: sent.get(one.name, one.default) for one in fields})
    shown = _draft(content, guess, fields, form, sent)
    return dataclasses.replace(shown, form=form.refused(errors)) if errors else shown.refused(fault)


def _fields_of(reading: Reading) -> tuple[Field, ...]:
    """What is to be chosen beside the columns: of each energy, of each sign, of its times and its numbers."""
    clock = () if reading.zone_written else (dataclasses.replace(_CLOCK, default=reading.clock), _OFFSET)
    ends = dataclasses.replace(_ENDS, default=ENDS if reading.ends else BEGINS)
    return (*_of_columns(reading), *clock, ends, DECIMAL)


def _of_columns(reading: Reading) -> Iterator[Field]:
    for key, (at, unit) in reading.columns.items():
        name = reading.layout.name(at)
        if unit in COUNTED:
            yield Field(
                name=f"totals.{key}",
                label=f"How “{name}” counts",
                kind="choice",
                choices=tuple(TOTALS.items()),
                default=reading.totals[key],
            )
        if key in SIGNED:
            yield Field(
                name=f"signs.{key}",
                label=f"The sign of “{name}”",
                kind="choice",
                choices=tuple(SIGNS.items()),
                default=reading.signs[key],
            )


def _values(choices: Choices) -> Values:
    values: Values = {f"totals.{key}": one for key, one in choices.totals.items()}
    values |= {f"signs.{key}": one for key, one in choices.signs.items()}
    values |= {"clock": choices.clock, "utc_offset_h": choices.utc_offset_h, "decimal": choices.decimal}
    return values | {"ends": ENDS if choices.ends else BEGINS}


def _choices(base: Reading, columns: dict[str, tuple[int, str]], values: Values) -> Choices:
    return Choices(
        columns=columns,
        decimal=values["decimal"],
        totals={key.partition(".")[2]: one for key, one in values.items() if key.startswith("totals.")},
        signs={key.partition(".")[2]: one for key, one in values.items() if key.startswith("signs.")},
        clock=values.get("clock", base.clock),
        utc_offset_h=values.get("utc_offset_h", base.utc_offset_h),
        ends=values["ends"] == ENDS,
    )


def _draft(
    content: bytes,
    reading: Reading,
    fields: tuple[Field, ...],
    form: Parsed[Any],
    sent: Mapping[str, str] | None = None,
) -> Draft:
    rows = first_rows(content, reading, ROWS)
    columns = columns_of(reading.layout, reading.columns, rows, sent or {})
    return Draft(columns=columns, rows=rows, fields=fields, form=form, asked=reading.doubts)


def _tried(draft: Draft, content: bytes, reading: Reading, zone: ZoneInfo, like: str) -> Draft:
    """The draft with what its first rows come to, or what stands against it."""
    draft = dataclasses.replace(draft, like=like)
    if fault := lacking(reading):
        return dataclasses.replace(draft, lacks=fault, against=" ".join(one.message for one in fault.every()))
    try:
        log = first_read(content, reading, zone)
    except InputError as fault:
        return dataclasses.replace(draft, against=fault.message)
    step, first = every(usual_step_s(log)), moment(float(log.start_s[0]), clock_of(log, zone))
    held = quantities(WORDS[key] for key in log.values)
    comes_to = f"Read so, its rows begin at {first}, {step}, and hold {held}."
    return dataclasses.replace(draft, comes_to=comes_to, first=first_table(log, zone, ROWS))
