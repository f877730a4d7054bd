"""What a person chose for a table's columns and decimal sign, taken into how it is read, or refused in words."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from itertools import chain
from typing import Protocol

from engine.errors import InputError
from engine.text.layouts import Layout, parts_thousands
from engine.text.time_units import Places


class Meaning(Protocol):
    """One thing a column may be, and the units it may be in."""

    @property
    def label(self) -> str: ...
    @property
    def units(self) -> Sequence[str]: ...


def with_decimal(layout: Layout, sample: Sequence[Sequence[str]], decimal: str | None) -> Layout:
    """Return a layout with the decimal sign that was chosen; the other sign parts thousands where the rows say so.

    The very layout where none was chosen, or the sign it has.

    Raises
    ------
    InputError
        On the field ``decimal`` if it is neither a point nor a comma.
    """
    if decimal in (None, layout.decimal):
        return layout
    if decimal not in (".", ","):
        raise InputError("decimal", f"The decimal sign is a point or a comma; got “{decimal}”.")
    other = "," if decimal == "." else "."
    grouped = other != layout.delimiter and parts_thousands(chain.from_iterable(sample), other)
    return dataclasses.replace(layout, decimal=decimal, thousands=other if grouped else "", sign_doubt="")


def checked_columns(layout: Layout, columns: Mapping[str, tuple[int, str]], meanings: Mapping[str, Meaning]) -> Places:
    """Return the columns as they were chosen.

    Raises
    ------
    InputError
        On the field of a meaning if it is none of `meanings`, its column is not in the file, its unit is none of its
        own, or two have one column.
    """
    taken: dict[int, str] = {}
    for key, (at, unit) in columns.items():
        if key not in meanings:
            raise InputError(key, f"A column is one of {', '.join(meanings)}; got “{key}”.")
        label = meanings[key].label
        if not 0 <= at < layout.columns:
            raise InputError(key, f"{label} must be one of columns 1 to {layout.columns}; got {at + 1}.")
        if unit not in meanings[key].units:
            raise InputError(key, f"{label} must be in one of {', '.join(meanings[key].units)}; got “{unit}”.")
        if at in taken:
            both = f"{meanings[taken[at]].label} and {label.lower()}"
            raise InputError(key, f"{both} cannot be the same column, “{layout.name(at)}”.")
        taken[at] = key
    return dict(columns)
