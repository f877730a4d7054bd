"""What a refused number may have meant: each reading in words and as it would be typed, for one click; none is taken.

A comma or point that may part thousands, a point that may part hours from minutes, a share for percent, another prefix
of the same unit, volts of the pack for volts per cell, degrees Fahrenheit. A reading that the field would refuse too
is not offered.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from engine.errors import InputError
from engine.fields import Quantity
from engine.quantities import celsius_from_fahrenheit
from webapp.numbers import (
    SPLIT_NUMBER,
    VOLT_AMPERES,
    clock_in_two_ways,
    in_two_ways,
    number,
    plain_digits,
    read_number,
)
from webapp.units import chosen, notation, shown_unit

PREFIXES = {"": 1.0, "k": 1000.0, "m": 0.001}
WATTS_PER_VA = ((" at 0.8", 0.8), (" at 1.0", 1.0))
"""Power factors that an inverter's volt-amperes are read at, each as it is written (typical, from memory)."""
UNITS = ("Wh", "W", "VA", "V", "Ah", "A")
"""Units that people write with k and m; VA stands for W."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One meaning of a text: how it is offered, and what is then typed."""

    label: str
    text: str


INSTEAD = "instead."
"""Begins the name of the button that takes a reading in place of what was typed in a field."""


def with_readings(typed: Mapping[str, str]) -> dict[str, str]:
    """Return what a form sent, with the reading that was clicked in place of what was typed.

    Examples
    --------
    >>> with_readings({"charge": "1,234", "at": "now", "instead.charge": "1234"})
    {'charge': '1234', 'at': 'now'}
    """
    found = {name: text for name, text in typed.items() if not name.startswith(INSTEAD)}
    chosen = {name.removeprefix(INSTEAD): text for name, text in typed.items() if name.startswith(INSTEAD)}
    return found | chosen


def readings(typed: str, meaning: Quantity, series: str = "") -> tuple[Reading, ...]:
    """Return what a refused text may have meant.

    Parameters
    ----------
    typed : str
        As it was typed.
    meaning : Quantity
        Of the field.
    series : str
        Cells in series as typed in the same form, where it has them.

    Returns
    -------
    tuple of Reading
        Only such as the field takes; empty where the text was not refused.

    Examples
    --------
    >>> watts = Quantity(label="Power", unit="W", low=0.5, high=9000)
    >>> [one.text for one in readings("1,234", watts)], [one.label for one in readings("6 kVA", watts)]
    (['1.234', '1234'], ['6 kVA at 0.8 is 4800 W', '6 kVA at 1.0 is 6000 W'])
    """
    if not typed.strip() or _taken(typed, meaning):
        return ()
    found = [
        *_thousands(typed),
        *_times(typed, meaning),
        *_other_unit(typed, meaning),
        *_other_size(typed, meaning, series),
        *_other_prefix(typed, meaning),
    ]
    units = chosen()
    spelt = (Reading(one.label, notation(one.text, units)) for one in found)
    by_text: dict[str, Reading] = {}
    for one in spelt:
        if _taken(one.text, meaning):
            by_text.setdefault(one.text, one)
    return tuple(by_text.values())


def _taken(typed: str, meaning: Quantity) -> bool:
    try:
        number(typed, meaning)
    except InputError:
        return False
    return True


def _thousands(typed: str) -> Iterator[Reading]:
    for text in in_two_ways(typed):
        yield Reading(f"Read it as {text}", text)


def _times(typed: str, meaning: Quantity) -> Iterator[Reading]:
    for text in clock_in_two_ways(typed) if meaning.clock else ():
        yield Reading(f"Read it as {text}", text)


def _other_unit(typed: str, meaning: Quantity) -> Iterator[Reading]:
    """The same unit with another prefix, written behind the number."""
    found = SPLIT_NUMBER.fullmatch(typed.strip())
    unit = found[3].strip() if found else ""
    if found and not unit and meaning.unit == "mm²" and chosen().wire == "awg":
        yield Reading(f"Read it as {found[2]} square millimetres", f"{found[2]} mm²")
    if found is None or not unit:
        return
    try:
        value = float(plain_digits(found[2])) * (-1.0 if found[1] else 1.0)
    except ValueError:
        return
    times, base = _scale(unit), _scale(meaning.unit.split(" ")[0])
    if times and base and times[1] == base[1]:
        for at, factor in WATTS_PER_VA if unit.lower() in VOLT_AMPERES else (("", 1.0),):
            text = f"{value * factor * times[0] / base[0]:.10g}"
            yield Reading(f"{value:g} {unit}{at} is {text} {shown_unit(meaning.unit, chosen())}", text)


def _other_prefix(typed: str, meaning: Quantity) -> Iterator[Reading]:
    """The same number with another prefix before its unit, as where watts stand in a field of kW, or Wh for kWh."""
    found, base = SPLIT_NUMBER.fullmatch(typed.strip()), _scale(meaning.unit.split(" ")[0])
    if found is None or base is None or in_two_ways(typed):
        return
    unit = found[3].strip()
    behind = _scale(unit) if unit else base
    if unit.lower() in VOLT_AMPERES or behind is None or behind[1] != base[1]:
        return
    try:
        value = float(plain_digits(found[2])) * (-1.0 if found[1] else 1.0)
    except ValueError:
        return
    own = shown_unit(meaning.unit, chosen())
    for prefix, times in PREFIXES.items():
        if times == behind[0]:
            continue
        text = f"{value * times / base[0]:.10g}"
        label = f"{value:g} {prefix}{base[1]}"
        yield Reading(f"Read it as {label}" if times == base[0] else f"{label} is {text} {own}", text)


def _scale(unit: str) -> tuple[float, str] | None:
    """Factor and base of a unit that may have a prefix; VA counts as W."""
    for base in UNITS:
        for prefix, times in PREFIXES.items():
            if unit.lower() == (prefix + base).lower():
                return times, "W" if base == "VA" else base
    return None


def _other_size(typed: str, meaning: Quantity, series: str) -> Iterator[Reading]:
    """A share for percent, volts of the pack, degrees Fahrenheit without a unit."""
    try:
        value = read_number(typed, meaning)
    except InputError:
        return
    if meaning.percent and 0.0 < value <= 1.0:
        yield Reading(f"{value:g} as a share is {value * 100:.6g} %", f"{value * 100:.6g}")
    if meaning.unit == "°C" and chosen().temperature == "c" and value > meaning.high:
        yield _fahrenheit(value)
    cells = int(series) if series.strip().isdecimal() and len(series.strip()) <= 3 else 0
    if meaning.unit == "V per cell" and cells > 1:
        text = f"{value / cells:.4g}"
        yield Reading(f"{value:g} V of the pack is {text} V per cell", text)


def _fahrenheit(degrees_f: float) -> Reading:
    text = f"{celsius_from_fahrenheit(degrees_f):.3g}"
    return Reading(f"{degrees_f:g} °F is {text} °C", text)
