"""How a bench file would be read: our guess, or what was chosen, as a form; and what stands against it."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from engine.bench.cycles import BENCH_C
from engine.bench.limits import fitting, span_of
from engine.cells import catalogue
from engine.errors import InputError
from engine.fields import Quantity
from engine.house.grouping import PARALLEL, SERIES
from engine.house.household import Household
from webapp.bench_reading import Choices, first_choices, first_rows, guessed, meanings, reading_of, unread
from webapp.bench_store import CellTest
from webapp.bench_words import KIND_WORDS
from webapp.forms import Field, Parsed, filled, number_field, parse
from webapp.kept_columns import ROWS, Choosable, Column, choosable, columns_of, columns_sent, refusals
from webapp.numbers import whole
from webapp.render import SHOWN_IN
from webapp.shown_in import as_typed_now
from webapp.words import listed

if TYPE_CHECKING:
    from engine.bench.files import Reading

LABEL_AH = Quantity(label="Label of the cell", unit="Ah", low=0.05, high=5000.0, optional=True)
IN_TEST = Quantity(label="Cells in series in this test", unit="cells", low=1, high=400, whole=True)
CHARGE_A = Quantity(label="Charge current on the bench", unit="A", low=0.001, high=5000.0)
TAIL_A = Quantity(label="Current that ended a hold", unit="A", low=0.0005, high=5000.0, optional=True)
TEST_C = Quantity(label="Temperature of the test", unit="°C", low=BENCH_C[0], high=BENCH_C[1], optional=True)
KINDS = tuple((kind, words) for kind, words in KIND_WORDS.items())
ABOUT = {
    "log": "Rows over time: it needs the time, volts and amperes of one cell.",
    "table": "A row for each voltage at which a charge ended: it needs the volts, and the ampere-hours that came out "
    "afterwards, without a hold, with one, or both.",
    "cells": "A row for each cell: it needs the ampere-hours.",
}
UNIT_WORDS = {"degC": "°C", "degF": "°F", "mOhm": "milliohm", "Ohm": "ohm"}
DECIMALS = ((".", "a point"), (",", "a comma"))
SIGNS = (("as written", "is positive"), ("flip", "is negative"))
CHOOSING = ("kind", "was_kind", "act", SHOWN_IN)
SHARED = ("chemistry", "label_ah", "decimal")
"""What is the same of every kind of file; everything else that is chosen for one kind is kept apart for it."""
DELIMITERS = {"\t": "tabs", " ": "spaces", ";": "semicolons", ",": "commas", "|": "bars"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """The form; `choices` is set exactly when there is nothing to mend.

    `unread` says what of the file cannot be read so; `carried` is what was chosen for another kind, by hidden field.
    """

    kind: str
    about: str
    kinds: tuple[tuple[str, str], ...]
    signs: tuple[tuple[str, str], ...]
    sign: str
    decimals: tuple[tuple[str, str], ...]
    decimal: str
    columns: tuple[Column, ...]
    meanings: Choosable
    rows: tuple[tuple[str, ...], ...]
    layout: str
    doubts: tuple[str, ...]
    unread: tuple[str, ...]
    carried: tuple[tuple[str, str], ...]
    fields: tuple[Field, ...]
    form: Parsed[Any]
    choices: Choices | None = None

    @property
    def checks(self) -> tuple[str, ...]:
        """What to check before it is accepted, without what is to be mended anyway."""
        mend = " ".join(self.form.errors.values())
        return tuple(one for one in (*self.unread, *self.doubts) if one not in mend)

    def unblamed(self) -> Draft:
        """Return it without what is to be mended: it was only asked to look again."""
        return dataclasses.replace(self, form=self.form.refused({}))

    def refused(self, fault: InputError) -> Draft:
        """Return it with what the reading refused, beside the fields it is about."""
        errors = refusals(fault, self.fields, self.columns)
        return dataclasses.replace(self, form=self.form.refused(errors), choices=None)


def draft_of(content: bytes, test: CellTest) -> Draft:
    """Return the form of a test as it was stored: our guess, or what was accepted."""
    choices = Choices.of(test.choices)
    fields = _fields(choices.kind)
    return _draft(content, reading_of(content, choices), fields, filled(fields, choices.stored()))


def drafted(content: bytes, test: CellTest, house: Household, sent: Mapping[str, str]) -> Draft:
    """Return the form as it was sent; where the kind was changed, with our guess for what was not chosen of it yet."""
    kind = sent.get("kind", "")
    if kind not in KIND_WORDS:
        raise InputError("kind", f"A file is one of {', '.join(KIND_WORDS.values())}; got “{kind}”.")
    before = Choices.of(test.choices)
    was = sent.get("was_kind", before.kind)
    if was in KIND_WORDS and was != kind:
        return _as_another(content, kind, _moved(sent, was, kind), house)
    return _as_sent(content, kind, sent)


def _moved(sent: Mapping[str, str], was: str, kind: str) -> dict[str, str]:
    """What was sent, once the kind is another: what is the old kind's own put aside, what is the new one's brought out.

    Examples
    --------
    >>> _moved({"label_ah": "3", "series": "2", "cells.series": "8"}, "log", "cells")
    {'label_ah': '3', 'log.series': '2', 'series': '8'}
    """
    own = {name for name in sent if name not in SHARED and name not in CHOOSING and "." not in name}
    there = {name for name in sent if name.startswith(f"{kind}.")}
    kept = {f"{was}.{name}" if name in own else name: text for name, text in sent.items() if name not in there}
    return kept | {name.removeprefix(f"{kind}."): sent[name] for name in sorted(there)}


def _as_another(content: bytes, kind: str, sent: Mapping[str, str], house: Household) -> Draft:
    """The form of a kind just chosen: what was sent for it over our guess."""
    decimal = sent.get("decimal")
    reading = guessed(content, kind, decimal if decimal in dict(DECIMALS) else None)
    fields = _fields(kind)
    form = filled(fields, first_choices(content, reading, house))
    typed = {one.name: sent[one.name] for one in fields if one.name in sent}
    return _draft(content, reading, fields, dataclasses.replace(form, raw={**form.raw, **typed}), sent)


def _as_sent(content: bytes, kind: str, sent: Mapping[str, str]) -> Draft:
    """The form of an unchanged kind, read."""
    fields = _fields(kind)
    columns, errors = columns_sent(sent)
    sign = sent.get("current_sign", SIGNS[0][0])
    chosen = Choices(kind=kind, columns=columns, current_sign=sign, decimal=sent.get("decimal", ""))
    sent, unturned = as_typed_now(fields, sent)
    form: Parsed[Any] = parse(fields, sent, build=lambda values: dataclasses.replace(chosen, **values))
    try:
        reading = reading_of(content, chosen)
    except InputError as fault:
        reading = guessed(content, kind)
        errors.setdefault("", fault.message)
    every = {**errors, **form.errors, **unturned}
    draft = _draft(content, reading, fields, form.refused(every) if every else form, sent)
    return draft if every else dataclasses.replace(draft, choices=form.value)


def _fields(kind: str) -> tuple[Field, ...]:
    """What a file of this kind does not say."""
    chemistry = Field(
        name="chemistry",
        label="Kind of cell",
        kind="choice",
        choices=tuple(catalogue.names().items()),
        optional=True,
        hint="What the test does not show, such as limits and cold, is borrowed from it",
    )
    label = number_field("label_ah", LABEL_AH, hint="To compare with; may be left empty")
    told = "In the cells. " + ("Empty: from the log’s own column, else 25 °C" if kind == "log" else "Empty: 25 °C")
    warmth = number_field("test_c", TEST_C, hint=f"{told}. A bank’s cold is counted from there")
    if kind == "log":
        return chemistry, label, number_field("series", IN_TEST, default=1, hint="1 for a single cell"), warmth
    if kind == "table":
        held = "Empty: nothing was held"
        return chemistry, number_field("charge_a", CHARGE_A), number_field("tail_a", TAIL_A, hint=held), label, warmth
    return (
        chemistry,
        number_field("series", SERIES),
        number_field("parallel", PARALLEL, hint="Side by side in each place"),
        warmth,
    )


def _draft(
    content: bytes,
    reading: Reading,
    fields: tuple[Field, ...],
    form: Parsed[Any],
    sent: Mapping[str, str] | None = None,
) -> Draft:
    sent = sent or {}
    rows = first_rows(content, reading, ROWS)
    fields = tuple(_by_volts(one, reading, form.raw) if one.name == "chemistry" else one for one in fields)
    return Draft(
        kind=reading.kind,
        about=ABOUT[reading.kind],
        kinds=KINDS,
        signs=SIGNS if reading.kind == "log" else (),
        sign=sent.get("current_sign", reading.current_sign),
        decimals=DECIMALS,
        decimal=sent.get("decimal", reading.layout.decimal),
        columns=columns_of(reading.layout, reading.columns, rows, sent),
        meanings=choosable(meanings(reading.kind), UNIT_WORDS),
        rows=rows,
        layout=_layout(reading),
        doubts=reading.doubts,
        unread=unread(content, reading),
        carried=_carried(sent, fields),
        fields=fields,
        form=form,
    )


def _by_volts(field: Field, reading: Reading, raw: Mapping[str, str]) -> Field:
    """The choice of the kind of cell, its hint saying whose limits hold the volts of the file."""
    series = raw.get("series", "")
    span = span_of(reading, whole(series) or 1)
    if span is None:
        return field
    if span.of_pack:
        said = f"Its volts reach {span.high_v:.1f} V, more than any one cell: say below how many are in series"
        return dataclasses.replace(field, hint=f"{said}. {field.hint}")
    names = [catalogue.load(id).name for id in fitting(span, high_alone=reading.kind == "table")]
    volts = f"up to {span.high_v:.2f} V" if reading.kind == "table" else f"{span.low_v:.2f} to {span.high_v:.2f} V"
    whose = f"lie within the limits of {listed(names)}" if names else "lie within the limits of none of these alone"
    return dataclasses.replace(field, hint=f"By its volts: {volts} a cell {whose}. {field.hint}")


def _carried(sent: Mapping[str, str], fields: tuple[Field, ...]) -> tuple[tuple[str, str], ...]:
    """What was sent for other kinds than the one shown, so that it is there again when they are chosen."""
    shown = {"decimal", *(one.name for one in fields)}
    return tuple(
        (name, text)
        for name, text in sent.items()
        if (name in SHARED and name not in shown) or name.partition(".")[0] in KIND_WORDS
    )


def _layout(reading: Reading) -> str:
    layout = reading.layout
    comma = "a decimal comma" if layout.decimal == "," else "a decimal point"
    between = DELIMITERS.get(layout.delimiter, layout.delimiter)
    return f"Read as text in {layout.encoding}, {between} between the columns, {comma}, {layout.columns} columns."
