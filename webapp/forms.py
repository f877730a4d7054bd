"""What people type, read once: numbers in either notation, percent, units, and what to say of the rest.

How a text becomes a number stands in `numbers`. Percent exists only on this side: a field that is a share in the
engine is typed and shown in %. Everything typed is kept in `Parsed.raw`, so that a form can always be shown again as
it was.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, dataclass, field, fields, replace
from typing import Any, Generic, TypeVar

from engine.errors import InputError
from engine.fields import Quantity, quantities, whole_if_so
from engine.text.dates import clock_hour
from webapp.numbers import SPLIT_NUMBER, number, read_number, whole
from webapp.readings import Reading, readings
from webapp.shown_numbers import refusal, shown_text
from webapp.units import HORSEPOWER, SI, Scale, chosen, point_text, scale_of, shown_meaning, shown_unit, typed_scale

T = TypeVar("T")
LONGEST_TEXT = 80
LONGEST_UNGROUPED = 10_000
"""From here on a whole number is grouped in threes, as the engine writes it."""
LEAST_SPELT_UNIT = 4
"""Letters of the shortest unit that a label may say itself: cells, days, strings."""
OF_THE_SHAFT = " at the shaft (the motor draws more: type amperes × volts of its plate)"
"""What is said of horsepower."""
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One control of a form.

    `kind` is number, text, choice, tick, months or hidden. `default` is the text shown where nothing was
    asked yet; `optional` lets it be left empty. `known` are the numbers that its text may stand for exactly: what is
    stored, and the default. A text left as it was shown is that number, however it was rounded to be read. Of a choice
    they are what it may hold though it is not offered.
    `stand_in` is the number that is taken where it is left empty, which its hint says. `reads` turns a text that was
    typed anew into the one that is kept, or refuses it; `offers` are then the texts it may have meant.
    """

    name: str
    label: str
    kind: str = "number"
    quantity: Quantity | None = None
    choices: tuple[tuple[str, str], ...] = ()
    suggestions: tuple[str, ...] = ()
    hint: str = ""
    default: str = ""
    optional: bool = False
    known: tuple[Any, ...] = ()
    stand_in: float | None = None
    reads: Callable[[str], str] = str
    offers: Callable[[str], tuple[str, ...]] = lambda typed: ()

    @property
    def needed(self) -> bool:
        """Whether a form cannot be saved with it left empty, and begins with it empty."""
        typed = self.kind in ("number", "text") or (self.kind == "choice" and self.optional)
        may_be_empty = self.stand_in is not None or (self.optional and self.kind != "choice")
        return typed and not may_be_empty and not self.default

    def stands_in(self, raw: Mapping[str, str]) -> str:
        """Say which number was taken for a field left empty; nothing where it was typed."""
        if self.stand_in is None or self.quantity is None or raw.get(self.name, "").strip():
            return ""
        text = f"{shown_text_of(self.stand_in, self.quantity)} {shown_unit(self.quantity.unit, chosen())}".strip()
        return f"{self.label[:1].lower()}{self.label[1:]} {text}"

    def read_as(self, raw: Mapping[str, str]) -> str:
        """Say what a number with another unit behind it was read as; nothing where it stands in the field's own."""
        typed = raw.get(self.name, "").strip()
        found = SPLIT_NUMBER.fullmatch(typed)
        if self.quantity is None or found is None or self.quantity.clock:
            return ""
        unit = self.quantity.unit
        behind, own = typed_scale(found[3], unit), scale_of(unit, chosen()) or Scale(unit, 1.0)
        if behind is None or (behind.times, behind.plus) == (own.times, own.plus):
            return ""
        value = own.shown(read_number(typed, self.quantity))
        said = f"{self.label[:1].lower()}{self.label[1:]} “{typed}” read as {_plainly(value)} {own.unit}"
        return f"{said}{OF_THE_SHAFT}" if behind.unit == HORSEPOWER else said

    @property
    def caption(self) -> str:
        """The label with its unit, unless the label says it already."""
        unit = shown_unit(self.quantity.unit, chosen()) if self.quantity else ""
        if self.quantity and self.quantity.clock and chosen().clock == "12":
            unit = ""
        label = self._label
        words = label.lower().split()
        said = len(unit) >= LEAST_SPELT_UNIT and any(unit.lower() in (word, f"{word}s") for word in words)
        return label if not unit or said else f"{label}, {unit}"

    @property
    def _label(self) -> str:
        """The label, its unit in it as the household reads it."""
        meaning = self.quantity
        if meaning is None or self.label != meaning.label:
            return self.label
        return shown_meaning(meaning, chosen()).label

    @property
    def inputmode(self) -> str:
        """The phone keyboard; the plain one where a minus may be needed, which decimal pads lack."""
        units = chosen()
        if self.quantity is None or shown_meaning(self.quantity, units).low < 0:
            return ""
        spelt = (self.quantity.clock and units.clock == "12") or (self.quantity.unit == "mm²" and units.wire == "awg")
        return "" if spelt or self.quantity.mean else "numeric" if self.quantity.whole else "decimal"

    def readings(self, raw: Mapping[str, str]) -> tuple[Reading, ...]:
        """What a text that was refused here may have meant, each to be taken by one click."""
        if self.quantity is None:
            return tuple(Reading(f"Take {text}", text) for text in self.offers(raw.get(self.name, "").strip()))
        return readings(raw.get(self.name, ""), self.quantity, raw.get("series", ""))


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Fields that belong together; a folded group opens when something in it is to be mended.

    `narrow` puts many short fields side by side, also on a telephone.
    """

    legend: str
    fields: tuple[Field, ...]
    hint: str = ""
    folded: bool = False
    narrow: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Parsed(Generic[T]):
    """A form as read: `value` is set exactly when `errors` is empty; `raw` always refills the form."""

    raw: Mapping[str, str]
    value: T | None = None
    errors: Mapping[str, str] = field(default_factory=dict)
    stored: Mapping[str, Any] = field(default_factory=dict)
    """What is stored by field, where the form was filled from that."""
    partly: Mapping[str, Any] = field(default_factory=dict)
    """What could be read by field, where not all could."""

    def refused(self, errors: Mapping[str, str]) -> Parsed[T]:
        """Return the same form with what to mend."""
        return replace(self, value=None, errors=dict(errors))


def _plainly(value: float) -> str:
    """Write a number to four figures, its whole part in full.

    Examples
    --------
    >>> _plainly(32.18688), _plainly(12_000.0), _plainly(0.00001)
    ('32.19', '12,000', '0.00001')
    """
    return f"{value:,.0f}" if abs(value) >= LONGEST_UNGROUPED else point_text(float(f"{value:.4g}"))


Values = dict[str, Any]


def text_of(value: Any, meaning: Quantity | None = None) -> str:
    """Write a stored value as it would be typed in its declared unit, whatever the household reads in.

    Examples
    --------
    >>> text_of(0.155, Quantity(label="Reserve", unit="%", low=0, high=1, percent=True)), text_of(None), text_of(280.0)
    ('15.5', '', '280')
    >>> text_of(22.5, Quantity(label="Quiet from", unit="o’clock", low=0, high=24, halves=True))
    '22:30'
    """
    if value is None or value is False:
        return ""
    if value is True:
        return "1"
    if meaning is not None and meaning.halves:
        return clock_hour(value)
    if isinstance(value, float):
        scaled = value * (meaning.scale if meaning else 1.0)
        return f"{scaled:.10f}".rstrip("0").rstrip(".") if math.isfinite(scaled) else str(scaled)
    if isinstance(value, tuple | list):
        return ",".join(str(item) for item in value)
    return str(value)


def shown_text_of(value: Any, meaning: Quantity | None = None) -> str:
    """Write a stored value as a form shows it, in the units of the household."""
    if chosen() == SI or meaning is None or isinstance(value, bool) or not isinstance(value, int | float):
        return text_of(value, meaning)
    return shown_text(value, meaning) if math.isfinite(value) else text_of(value, meaning)


def number_field(
    name: str, meaning: Quantity, *, default: Any = None, optional: bool | None = None, hint: str = ""
) -> Field:
    """Return the field of one declared quantity."""
    return Field(
        name=name,
        label=meaning.label,
        quantity=meaning,
        hint=hint or meaning.hint,
        default=shown_text_of(default, meaning),
        optional=meaning.optional if optional is None else optional,
        known=() if default is None else (default,),
    )


def number_fields(kind: type, *names: str) -> tuple[Field, ...]:
    """Return the fields of a dataclass's declared quantities, all of them or those named, in order."""
    meanings = quantities(kind)
    defaults = {f.name: None if f.default is MISSING else f.default for f in fields(kind)}
    return tuple(number_field(n, meanings[n], default=defaults[n]) for n in (names or meanings))


def parse(wanted: Iterable[Field], typed: Mapping[str, str], *, build: Callable[[Values], T]) -> Parsed[T]:
    """Read a form and build what it describes.

    Parameters
    ----------
    wanted : iterable of Field
        The fields of the form.
    typed : mapping
        What was sent; a field that is missing takes its default, except a tick, which is then off
        if anything was sent at all.
    build : callable
        Makes the value from the fields' values by name; an `InputError` it raises is shown at its field.

    Returns
    -------
    Parsed
        With `value`, or with `errors` by field name.
    """
    wanted = tuple(wanted)
    raw = {f.name: _sent(f, typed) for f in wanted}
    values: Values = {}
    errors: dict[str, str] = {}
    for one in wanted:
        try:
            values[one.name] = _read(one, raw[one.name])
        except InputError as fault:
            errors[one.name] = fault.message
    if not errors:
        try:
            return Parsed(raw=raw, value=build(values))
        except InputError as fault:
            for part in fault.every():
                errors.setdefault(part.field if part.field in raw else "", part.message)
    return Parsed(raw=raw, errors=errors, partly=values)


def _sent(one: Field, typed: Mapping[str, str]) -> str:
    if one.kind in ("tick", "months") and typed:
        return typed.get(one.name, "")
    return typed.get(one.name, one.default)


def _read(one: Field, text: str) -> Any:
    text = text.strip()
    if one.kind == "number":
        assert one.quantity is not None
        if not text and one.stand_in is not None:
            return _exactly(one.stand_in, one.quantity)
        left = [value for value in one.known if text == shown_text_of(value, one.quantity)]
        return _exactly(left[0], one.quantity) if left else number(text, one.quantity, one.optional)
    if one.kind == "tick":
        return bool(text)
    if one.kind == "months":
        return tuple(month for month in map(whole, text.split(",")) if month is not None)
    if one.kind == "choice":
        if not text and "" not in dict(one.choices):
            raise InputError(one.name, f"{one.label} is missing: choose one.")
        if text not in dict(one.choices) and text not in one.known:
            has = ", ".join(name for _, name in one.choices)
            raise InputError(one.name, f"{one.label} cannot be “{text}”; choose from: {has}.")
        return text
    if not text and not one.optional:
        raise InputError(one.name, f"{one.label} is missing: enter a text of up to {LONGEST_TEXT} characters.")
    if len(text) > LONGEST_TEXT:
        raise InputError(one.name, f"{one.label} must be up to {LONGEST_TEXT} characters long; got {len(text)}.")
    return text if text in one.known else one.reads(text)


def _exactly(value: float, meaning: Quantity) -> float | int:
    """A number that was left as it was shown, refused like one that was typed."""
    refused = refusal(value, meaning)
    if refused is not None:
        raise InputError("", refused)
    return int(value) if meaning.whole else whole_if_so(value) if meaning.halves else float(value)


def filled(wanted: Iterable[Field], values: Mapping[str, Any]) -> Parsed[Any]:
    """Return a form filled with stored values; a field without one shows its default."""
    raw = {f.name: shown_text_of(values[f.name], f.quantity) if f.name in values else f.default for f in wanted}
    return Parsed(raw=raw, stored=values)


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One form of a page that has several: its groups, what is typed, and ids of its own.

    `by_button` keeps it from saving itself as a field is left, where its fields mean something together alone.
    """

    id: str
    prefix: str
    groups: tuple[Group, ...]
    form: Parsed[Any]
    button: str
    cancel: str = ""
    by_button: bool = False

    @property
    def fields(self) -> tuple[Field, ...]:
        """Every field of the card, each knowing the number that is stored for it."""
        return tuple(self._knowing(one) for group in self.groups for one in group.fields)

    def _knowing(self, one: Field) -> Field:
        stored = self.form.stored.get(one.name) if one.kind == "number" else None
        return one if stored is None or isinstance(stored, str) else replace(one, known=(stored, *one.known))

    def refused(self, errors: Mapping[str, str]) -> Card:
        """Return the card with what to mend; what fits no field stands at its head."""
        known = {one.name for one in self.fields}
        kept = {name: text for name, text in errors.items() if name in known}
        other = " ".join(text for name, text in errors.items() if name not in known)
        return replace(self, form=self.form.refused(({"": other} if other else {}) | kept))
