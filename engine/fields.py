"""What a field of the household is called, its unit and its limits: said once, used everywhere.

A dataclass declares a number with `quantity(...)`; `check(self)` in its ``__post_init__`` refuses
values outside the limits. Forms, error texts, the sheet and the JSON document read the same
`Quantity`, so a limit is never written twice. Shares are fractions here; `percent=True` only says
that people read and type them as percent.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Hashable
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from engine.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One number a person may type: its label, unit and limits (both allowed)."""

    label: str
    unit: str
    low: float
    high: float
    hint: str = ""
    percent: bool = False
    whole: bool = False
    optional: bool = False
    halves: bool = False
    clock: bool = False
    """Whether it is a time of the day, not so many hours."""
    mean: bool = False
    """Whether it is a mean power [W] that energy for a time, such as kWh a year on a label, says as well."""

    @property
    def scale(self) -> float:
        """Factor from the stored number to the one people read."""
        return 100.0 if self.percent else 1.0

    def refuse(self, value: object) -> str | None:
        """Return the sentence that refuses `value`, or None if it may stand."""
        if value is None and self.optional:
            return None
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if number and self.low <= value <= self.high and not self._between_steps(value):  # type: ignore[operator]
            return None
        kind = "a whole number" if self.whole else "a whole or half hour" if self.halves else "a number"
        shown = self._shown(value) if number else ("nothing" if value in (None, "") else f"“{value}”")
        span = f"from {plain(self.low * self.scale)} to {plain(self.high * self.scale)}"
        return f"{self.label} must be {kind} {span} {self.unit}".rstrip() + f"; got {shown}."

    def _between_steps(self, number: Any) -> bool:
        """Whether a number lies between those that are allowed: whole ones, or the halves of an hour."""
        return bool(number % 1 if self.whole else self.halves and 2 * number % 1)

    def _shown(self, number: Any) -> str:
        """Write a number as it was typed, however large."""
        try:
            return f"{number * self.scale:g}"
        except OverflowError:
            return "a number of too many digits"


def plain(number: float) -> str:
    """Write a limit without an exponent or needless digits."""
    return f"{number:,.0f}" if number == int(number) else f"{number:g}"


def whole_if_so(number: float) -> float:
    """Return a whole number as one, any other as it is.

    Examples
    --------
    >>> whole_if_so(22.0), whole_if_so(22.5)
    (22, 22.5)
    """
    return int(number) if number == int(number) else number


def quantity(
    label: str,
    unit: str,
    low: float,
    high: float,
    *,
    default: Any = dataclasses.MISSING,
    hint: str = "",
    percent: bool = False,
    whole: bool = False,
    optional: bool = False,
    halves: bool = False,
    clock: bool = False,
) -> Any:
    """Declare a dataclass field that holds a number with a label, a unit and limits."""
    meaning = Quantity(
        label=label,
        unit=unit,
        low=low,
        high=high,
        hint=hint,
        percent=percent,
        whole=whole,
        optional=optional,
        halves=halves,
        clock=clock,
    )
    return dataclasses.field(default=default, metadata={"quantity": meaning})


def quantities(kind: type) -> MappingProxyType[str, Quantity]:
    """Return the declared quantities of a dataclass by field name, in order."""
    return _quantities(kind)


@lru_cache
def _quantities(kind: Hashable) -> MappingProxyType[str, Quantity]:
    assert isinstance(kind, type)
    found = {f.name: f.metadata["quantity"] for f in dataclasses.fields(kind) if "quantity" in f.metadata}
    return MappingProxyType(found)


def check(instance: Any) -> None:
    """Refuse every declared quantity of `instance` that is outside its limits.

    Raises
    ------
    InputError
        Naming the first such field; the rest are in its `others`.
    """
    faults = [
        InputError(name, text)
        for name, meaning in quantities(type(instance)).items()
        if (text := meaning.refuse(getattr(instance, name))) is not None
    ]
    if faults:
        raise InputError(faults[0].field, faults[0].message, tuple(faults[1:]))
