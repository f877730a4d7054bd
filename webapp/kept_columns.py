"""How the columns of a brought file stand in a form: what each may be, what was chosen, and what is refused of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

from engine.errors import InputError
from engine.text.layouts import Layout
from webapp.forms import Field
from webapp.numbers import whole

ROWS, SAMPLED = 6, 4
"""How many rows of a file its draft shows, and how many of them stand beside the name of a column."""
COLUMN = "column_"
DECIMAL = Field(
    name="decimal",
    label="Decimal sign",
    kind="choice",
    choices=(("", "as it seems to be"), (".", "a point"), (",", "a comma")),
    hint="As the file writes its numbers",
)
Places = dict[str, tuple[int, str]]
"""Column, from 0, and unit of each meaning that has one."""
Choosable = tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
"""Each meaning with the values and words of its choices."""


class Meaning(Protocol):
    """One thing a column may be, and the units it may be in."""

    @property
    def key(self) -> str: ...
    @property
    def label(self) -> str: ...
    @property
    def units(self) -> Iterable[str]: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of the file: its form field, name, first rows, and the meaning and unit chosen, empty for none."""

    field: str
    name: str
    sample: str
    chosen: str


def columns_of(
    layout: Layout, places: Mapping[str, tuple[int, str]], rows: tuple[tuple[str, ...], ...], sent: Mapping[str, str]
) -> tuple[Column, ...]:
    """Return the columns of a file.

    Parameters
    ----------
    layout : Layout
    places : mapping of str to (int, str)
        Column and unit of each meaning, as the file is read now.
    rows : tuple of tuple of str
        First rows as they are written.
    sent : mapping
        What the form sent; it goes before how the file is read. Empty where nothing was sent.
    """
    at = {place: f"{key}:{unit}" for key, (place, unit) in places.items()}
    return tuple(
        Column(
            field=f"{COLUMN}{place}",
            name=layout.name(place),
            sample="  ·  ".join(row[place] for row in rows[:SAMPLED] if place < len(row)),
            chosen=sent.get(f"{COLUMN}{place}", at.get(place, "")),
        )
        for place in range(layout.columns)
    )


def columns_sent(sent: Mapping[str, str]) -> tuple[Places, dict[str, str]]:
    """Return what each column was said to be, and by field where two were said to be the same.

    Examples
    --------
    >>> columns_sent({"column_0": "date:y-m-d", "column_1": "", "act": "read"})
    ({'date': (0, 'y-m-d')}, {})
    """
    columns: Places = {}
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


def choosable(meanings: Iterable[Meaning], unit_words: Mapping[str, str]) -> Choosable:
    """Return what a column may be, each in every unit it may have."""
    return tuple(
        (
            meaning.label,
            tuple(
                (f"{meaning.key}:{unit}", f"{meaning.label}, {unit_words.get(unit, unit)}" if unit else meaning.label)
                for unit in meaning.units
            ),
        )
        for meaning in meanings
    )


def refusals(fault: InputError, fields: Iterable[Field], columns: Iterable[Column]) -> dict[str, str]:
    """Return what a reading refused, beside the form fields it is about; what is about none stands at the empty one.

    Examples
    --------
    >>> column = Column(field="column_2", name="U", sample="3.31", chosen="volts:V")
    >>> refusals(InputError("volts", "Volts must rise."), (), (column,))
    {'column_2': 'Volts must rise.'}
    """
    known = {one.name: one.name for one in fields}
    known |= {one.chosen.partition(":")[0]: one.field for one in columns if one.chosen}
    errors: dict[str, str] = {}
    for part in fault.every():
        name = known.get(part.field, "")
        errors[name] = f"{errors[name]} {part.message}" if name in errors else part.message
    return errors
