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
from engine.sky.files.formats import MEANINGS, Reading
from engine.sky.series import DailySeries
from engine.text.finding import Finding
from engine.text.meanings import TOTALS
from webapp.forms import Field, Parsed, filled, number_field, parse
from webapp.kept_columns import DECIMAL, ROWS, Choosable, Column, choosable, columns_of, columns_sent, refusals
from webapp.records_reading import Choices, first_rows, reading_of
from webapp.records_words import KIND_WORDS, QUANTITY_WORDS, UNIT_WORDS, UNITS, length, on
from webapp.render import NO_BREAK, figures
from webapp.sky_store import SkyFile

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
    DECIMAL,
)


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
        errors = refusals(fault, FIELDS, self.columns)
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
    columns, errors = columns_sent(sent)
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


def _draft(content: bytes, reading: Reading, form: Parsed[Any], sent: Mapping[str, str] | None = None) -> Draft:
    sent = sent or {}
    rows = first_rows(content, reading, ROWS)
    return Draft(
        kind=reading.kind,
        kind_words=KIND_WORDS[reading.kind],
        columns=columns_of(reading.layout, reading.columns, rows, sent),
        rows=rows,
        doubts=reading.doubts,
        notes=reading.notes,
        folded=reading.kind != "table",
        form=form,
    )


def meanings() -> Choosable:
    """Return what a column may be, each in every unit it may have."""
    return choosable(MEANINGS, UNIT_WORDS)


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
