"""How a sun record would be read: our guess, or what was chosen, as a form; and what comes of it."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np

from engine.errors import InputError
from engine.fields import Quantity
from engine.sky.files.formats import MEANINGS, TOTALS, Reading
from engine.sky.series import DailySeries
from engine.text.finding import Finding
from webapp.forms import Field, Parsed, filled, number_field, parse, whole
from webapp.records_reading import Choices, first_rows, reading_of
from webapp.records_words import KIND_WORDS, QUANTITY_WORDS, UNIT_WORDS, UNITS, length, on
from webapp.render import NO_BREAK, figures
from webapp.sky_store import SkyFile

ROWS, SAMPLED = 6, 4
COLUMN = "column_"
DECIMALS = (("", "as it seems to be"), (".", "a point"), (",", "a comma"))
OFFSET = Quantity(label="The file’s clock is ahead of UTC by", unit="h", low=-12, high=14, optional=True)
FIELDS = (
    Field(
        name="totals",
        label="How its rows count",
        kind="choice",
        choices=tuple(TOTALS.items()),
        hint="A meter that only counts up is turned into days",
    ),
    number_field(
        "utc_offset_h",
        OFFSET,
        hint="0 for UTC; empty for your own standard time. It decides where a day ends if rows are hours",
    ),
    Field(name="decimal", label="Decimal sign", kind="choice", choices=DECIMALS, hint="As the file writes its numbers"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of the file: its form field, name, first rows, and the meaning and unit chosen, empty for none."""

    field: str
    name: str
    sample: str
    chosen: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """The form; `choices` is set exactly when nothing in it is to be mended.

    `comes_to` says in a sentence what the file comes to when it is read so, with the first `days` in `unit`; `against`
    why it cannot be. Columns of a kind that says itself what they are stand `folded`.
    """

    kind: str
    kind_words: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    doubts: tuple[str, ...]
    notes: tuple[str, ...]
    folded: bool
    form: Parsed[Any]
    choices: Choices | None = None
    comes_to: str = ""
    against: str = ""
    findings: tuple[Finding, ...] = ()
    days: tuple[tuple[str, str], ...] = ()
    unit: str = ""

    @property
    def checks(self) -> tuple[str, ...]:
        """What to check before it is accepted, without what is to be mended anyway."""
        mend = " ".join(self.form.errors.values())
        return tuple(one for one in (*self.doubts, self.against) if one and one not in mend)

    @property
    def fields(self) -> tuple[Field, ...]:
        """What can be chosen beside the columns."""
        return FIELDS

    def refused(self, fault: InputError) -> Draft:
        """Return it with what the reading refused, beside the fields it is about."""
        known = {one.name: one.name for one in FIELDS}
        known |= {one.chosen.partition(":")[0]: one.field for one in self.columns if one.chosen}
        errors: dict[str, str] = {}
        for part in fault.every():
            name = known.get(part.field, "")
            errors[name] = f"{errors[name]} {part.message}" if name in errors else part.message
        return dataclasses.replace(self, form=self.form.refused(errors), choices=None)

    def coming_to(self, series: DailySeries, findings: tuple[Finding, ...]) -> Draft:
        """Return it with what the file comes to when it is read so, and what stands against that."""
        unit = UNITS[series.quantity]
        return dataclasses.replace(
            self, comes_to=_sentence(series), findings=findings, days=_first_days(series), unit=unit
        )


def draft_of(content: bytes, kept: SkyFile) -> Draft:
    """Return the form of a record as it was stored: our guess, or what was accepted."""
    choices = Choices.of(kept.choices)
    reading = reading_of(content, choices)
    return dataclasses.replace(_draft(content, reading, filled(FIELDS, choices.stored())), choices=choices)


def drafted(content: bytes, kept: SkyFile, sent: Mapping[str, str]) -> Draft:
    """Return the form as it was sent."""
    columns, errors = _columns_sent(sent)
    before = Choices.of(kept.choices)
    chosen = Choices(kind=before.kind, columns=columns)
    form: Parsed[Any] = parse(FIELDS, sent, build=lambda values: dataclasses.replace(chosen, **values))
    choices = form.value or chosen
    every = {**errors, **form.errors}
    try:
        reading = reading_of(content, choices)
    except InputError as fault:
        shown = _draft(content, reading_of(content, before), form, sent)
        return shown.refused(fault) if not every else dataclasses.replace(shown, form=form.refused(every))
    draft = _draft(content, reading, form.refused(every) if every else form, sent)
    return draft if every else dataclasses.replace(draft, choices=choices)


def _columns_sent(sent: Mapping[str, str]) -> tuple[dict[str, tuple[int, str]], dict[str, str]]:
    """What each column was said to be, and where two were said to be the same."""
    columns: dict[str, tuple[int, str]] = {}
    errors: dict[str, str] = {}
    for name, text in sent.items():
        number = whole(name.removeprefix(COLUMN)) if name.startswith(COLUMN) else None
        if number is None or not text:
            continue
        key, _, unit = text.partition(":")
        if key in columns:
            errors[name] = "Another column is read as this already: set one of the two to “not used”."
        columns.setdefault(key, (number, unit))
    return columns, errors


def _draft(content: bytes, reading: Reading, form: Parsed[Any], sent: Mapping[str, str] | None = None) -> Draft:
    sent = sent or {}
    rows = first_rows(content, reading, ROWS)
    at = {place: f"{key}:{unit}" for key, (place, unit) in reading.columns.items()}
    columns = tuple(
        Column(
            field=f"{COLUMN}{place}",
            name=reading.layout.name(place),
            sample="  ·  ".join(row[place] for row in rows[:SAMPLED] if place < len(row)),
            chosen=sent.get(f"{COLUMN}{place}", at.get(place, "")),
        )
        for place in range(reading.layout.columns)
    )
    return Draft(
        kind=reading.kind,
        kind_words=KIND_WORDS[reading.kind],
        columns=columns,
        rows=rows,
        doubts=reading.doubts,
        notes=reading.notes,
        folded=reading.kind != "table",
        form=form,
    )


def meanings() -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """Return what a column may be, each in every unit it may have."""
    return tuple(
        (
            meaning.label,
            tuple(
                (f"{meaning.key}:{unit}", f"{meaning.label}, {UNIT_WORDS.get(unit, unit)}" if unit else meaning.label)
                for unit in meaning.units
            ),
        )
        for meaning in MEANINGS
    )


def _sentence(series: DailySeries) -> str:
    known = series.values[np.isfinite(series.values)]
    unit = UNITS[series.quantity]
    if not known.size:
        return "Read so, it holds no day that is known."
    return (
        f"Read so, it holds {QUANTITY_WORDS[series.quantity]}: {length(known.size)} from {on(series.first)} to "
        f"{on(series.last)}, on average {figures(float(known.mean()))}{NO_BREAK}{unit} a day, at most "
        f"{figures(float(known.max()))}{NO_BREAK}{unit}."
    )


def _first_days(series: DailySeries) -> tuple[tuple[str, str], ...]:
    """The first days as they would be read."""
    values = series.values[:ROWS].tolist()
    return tuple(
        (on(series.first + timedelta(days=n)), figures(value, 3) if math.isfinite(value) else "–")
        for n, value in enumerate(values)
    )
