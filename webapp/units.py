"""What a person reads and types in: the units of a household, for the request that is being answered, and the sums.

The engine, every document and every file stay in °C, mm², metres, litres and kilometres, with a point and 24 hours.
`chosen` says what the page around it is to be read in. It is asked where a field is shown or read and where a page is
sent; a request holds it in a context variable, which the threads that answer it inherit.
Exact by definition (published: NIST Special Publication 811): foot, mile, US gallon, degree Fahrenheit.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass, replace

from engine.fields import Quantity
from engine.house.units import Units

M_PER_FOOT = 0.3048
M_PER_INCH = 0.0254
KM_PER_MILE = 1.609344
LITRES_PER_GALLON = 3.785411784
W_PER_HP = 746.0
"""The horsepower of electric motors [W] (published: NIST Special Publication 811, exact)."""
HORSEPOWER = "hp"
F_PER_C = 1.8
F_AT_0_C = 32.0
MM2_PER_KCMIL = 0.5067074790974977
"""Area of a circle of 1000 mils across, over 1000: π/4 × 25.4² ÷ 1000 [mm²]."""
FIGURES = 5
"""Significant figures of a converted number in a field; one that was not touched keeps its stored value anyhow."""

SI = Units()
FOR_PROGRAMS = (".json", ".csv")
"""Ends of addresses that are asked and answered in the units of the engine."""
AS_SHOWN = ("units", "shown")
"""What a link to one of them says where its question was typed in the units of the household."""


class Wished:
    """The units of one request: read when they are first asked for, unless they are told before; without `read` SI."""

    def __init__(self, read: Callable[[], Units] | None) -> None:
        self._read = read
        self._units = SI if read is None else None

    def told(self, units: Units) -> None:
        """Take the units of a household that was read anyhow."""
        if self._read is not None:
            self._units = units

    @property
    def units(self) -> Units:
        """The units of the request."""
        if self._units is None:
            assert self._read is not None
            self._units = self._read()
        return self._units


WISHED: ContextVar[Wished | None] = ContextVar("wished", default=None)


def tell(units: Units) -> None:
    """Say what the household of the request reads in, which saves reading it once more."""
    wished = WISHED.get()
    if wished is not None:
        wished.told(units)


def chosen() -> Units:
    """Return the units that the request being answered is read and typed in; those of the engine outside of any."""
    wished = WISHED.get()
    return SI if wished is None else wished.units


def other_measures() -> bool:
    """Whether the household reads any unit but those of the engine, whatever its signs and its clock."""
    return replace(chosen(), decimal=SI.decimal, clock=SI.clock) != SI


@dataclass(frozen=True, slots=True)
class Scale:
    """A unit that people read: shown = stored × times + plus."""

    unit: str
    times: float
    plus: float = 0.0

    def shown(self, stored: float) -> float:
        """Turn a stored number into the one shown."""
        return stored * self.times + self.plus

    def stored(self, shown: float) -> float:
        """Turn a number as shown into the one stored, clean of the last digits of the sum."""
        return round((shown - self.plus) / self.times, 10)


FAHRENHEIT = Scale("°F", F_PER_C, F_AT_0_C)
_SCALES: dict[str, tuple[str, str, Scale]] = {
    "°C": ("temperature", "f", FAHRENHEIT),
    "W for each °C": ("temperature", "f", Scale("W for each °F", 1 / F_PER_C)),
    "m": ("length", "ft", Scale("ft", 1 / M_PER_FOOT)),
    "km": ("distance", "mi", Scale("miles", 1 / KM_PER_MILE)),
    "km a day": ("distance", "mi", Scale("miles a day", 1 / KM_PER_MILE)),
    "kWh per 100 km": ("distance", "mi", Scale("kWh per 100 miles", KM_PER_MILE)),
    "litres": ("volume", "gal", Scale("gallons", 1 / LITRES_PER_GALLON)),
    "litres a day": ("volume", "gal", Scale("gallons a day", 1 / LITRES_PER_GALLON)),
    "l/h": ("volume", "gal", Scale("gallons/h", 1 / LITRES_PER_GALLON)),
    "for each litre": ("volume", "gal", Scale("for each gallon", LITRES_PER_GALLON)),
}
"""Units as fields are declared: the setting they follow, its other choice, and what then stands in their place."""


def scale_of(unit: str, units: Units) -> Scale | None:
    """Return what a declared unit is shown in; None where it stays.

    Examples
    --------
    >>> scale_of("°C", Units(temperature="f")).shown(20.0), scale_of("°C", SI)
    (68.0, None)
    """
    setting, choice, scale = _SCALES.get(unit, ("", "", None))
    return scale if scale is not None and getattr(units, setting) == choice else None


def shown_unit(unit: str, units: Units) -> str:
    """Return the unit that stands at a field."""
    if unit == "mm²" and units.wire == "awg":
        return "AWG"
    scale = scale_of(unit, units)
    return unit if scale is None else scale.unit


def shown_meaning(meaning: Quantity, units: Units) -> Quantity:
    """Return a quantity as people read it: label, unit and limits; the limits rounded inwards.

    Examples
    --------
    >>> shown_meaning(Quantity(label="Cells at", unit="°C", low=-40, high=60), Units(temperature="f")).high
    140.0
    """
    scale = scale_of(meaning.unit, units)
    if scale is None:
        return meaning
    low, high = (figures(scale.shown(end), inwards=way) for end, way in ((meaning.low, 1), (meaning.high, -1)))
    label = meaning.label.replace("Kilometres", "Miles")
    return replace(meaning, label=label, unit=scale.unit, low=low, high=high)


def figures(number: float, inwards: int = 0) -> float:
    """Return a number to `FIGURES` figures; never beyond it on the side that `inwards` points away from."""
    found = float(f"{number:.{FIGURES}g}")
    if inwards and (found - number) * inwards < 0 and abs(found - number) > 1e-9 * abs(number):
        step = 10.0 ** (math.floor(math.log10(abs(number))) + 1 - FIGURES)
        found = float(f"{found + inwards * step:.{FIGURES}g}")
    return found


def point_text(number: float) -> str:
    """Write a number without exponent and needless digits, with a point.

    Examples
    --------
    >>> point_text(18.6411), point_text(1e6), point_text(68.0)
    ('18.6411', '1000000', '68')
    """
    text = f"{number:.10f}"
    return text.rstrip("0").rstrip(".")


def notation(text: str, units: Units) -> str:
    """Write a number that has a point with the person's decimal sign, as it would be typed."""
    return text.replace(".", ",") if units.decimal == "comma" else text


_KINDS: tuple[tuple[tuple[str, ...], dict[str, Scale]], ...] = (
    (
        ("°C",),
        {"c degc celsius °c": Scale("°C", 1.0), "f degf fahrenheit °f": FAHRENHEIT},
    ),
    (
        ("m",),
        {
            "m metre metres meter meters": Scale("m", 1.0),
            "cm": Scale("cm", 100.0),
            "ft foot feet ' ′": Scale("ft", 1 / M_PER_FOOT),
            'in inch inches " ″': Scale("in", 1 / M_PER_INCH),
        },
    ),
    (
        ("km", "km a day"),
        {
            "km kilometre kilometres kilometer kilometers": Scale("km", 1.0),
            "mi mile miles": Scale("miles", 1 / KM_PER_MILE),
        },
    ),
    (
        ("litres", "litres a day", "l/h"),
        {
            "l litre litres liter liters": Scale("l", 1.0),
            "gal gallon gallons": Scale("gallons", 1 / LITRES_PER_GALLON),
        },
    ),
    (
        ("mm²",),
        {
            "mm² mm2 mm^2 sqmm qmm": Scale("mm²", 1.0),
            "kcmil mcm": Scale("kcmil", 1 / MM2_PER_KCMIL),
        },
    ),
    (
        ("W",),
        {
            "w watt watts": Scale("W", 1.0),
            "kw kilowatt kilowatts": Scale("kW", 0.001),
            "hp horsepower": Scale(HORSEPOWER, 1 / W_PER_HP),
        },
    ),
    (
        ("kW",),
        {
            "kw kilowatt kilowatts": Scale("kW", 1.0),
            "w watt watts": Scale("W", 1000.0),
            "hp horsepower": Scale(HORSEPOWER, 1000 / W_PER_HP),
        },
    ),
    (("kWp",), {"kwp kw": Scale("kWp", 1.0), "wp w watt watts": Scale("W", 1000.0)}),
    (("kWh", "kWh a day"), {"kwh": Scale("kWh", 1.0), "wh": Scale("Wh", 1000.0)}),
    (("h", "h a day"), {"h hr hrs hour hours": Scale("h", 1.0), "min mins minute minutes": Scale("min", 60.0)}),
    (("degrees",), {"° deg degree degrees": Scale("degrees", 1.0)}),
    (
        ("kWh per 100 km",),
        {
            "kwh/100km kwhper100km": Scale("kWh per 100 km", 1.0),
            "kwh/100mi kwh/100miles kwhper100mi kwhper100miles": Scale("kWh per 100 miles", KM_PER_MILE),
        },
    ),
    (
        ("W for each °C",),
        {
            "wforeach°c wforeachc wper°c wperc w/°c w/c w/k wperk": Scale("W for each °C", 1.0),
            "wforeach°f wforeachf wper°f wperf w/°f w/f": Scale("W for each °F", 1 / F_PER_C),
        },
    ),
    (
        ("for each litre",),
        {
            "foreachlitre foreachliter perlitre perliter perl /litre /liter /l alitre aliter": Scale(
                "for each litre", 1.0
            ),
            "foreachgallon pergallon pergal /gallon /gal agallon": Scale("for each gallon", LITRES_PER_GALLON),
        },
    ),
)
_A_DAY = ("aday", "/day", "/d", "perday")
_BEHIND = {
    **dict.fromkeys(("km a day", "litres a day", "kWh a day", "h a day"), _A_DAY),
    "l/h": ("/h", "/hr", "/hour", "anhour", "perhour"),
}
"""What may follow the unit, spaces left out."""


def typed_scale(behind: str, unit: str) -> Scale | None:
    """Return the scale of a unit that somebody typed behind a number of a field declared in `unit`; None for others.

    Examples
    --------
    >>> typed_scale("F", "°C").unit, typed_scale("miles a day", "km a day").unit, typed_scale("°F", "V")
    ('°F', 'miles', None)
    """
    text = re.sub(r"\s", "", behind).lower()
    for end in _BEHIND.get(unit, ()):
        text = text.removesuffix(end)
    for declared, scales in _KINDS:
        if unit in declared:
            return next((scale for names, scale in scales.items() if text in names.split(" ")), None)
    return None


_ENERGY_FOR_A_TIME = re.compile(r"(k?)wh(?:/|per|a|p\.)?(year|yr|y|annum|a|p?\.?a\.?|month|week|wk|day|24h|24hours|d)")
_HOURS_OF = {"y": 8760.0, "a": 8760.0, "p": 8760.0, "m": 730.0, "w": 168.0, "d": 24.0, "2": 24.0}
"""Hours of a time by its first letter; a month is a twelfth of a year."""


def energy_scale(behind: str) -> Scale | None:
    """Return the scale of energy for a time behind a number that is a mean power in W; None for others.

    Examples
    --------
    >>> round(energy_scale("kWh/year").stored(185), 2), round(energy_scale(" kWh a day").stored(0.51), 2)
    (21.12, 21.25)
    >>> energy_scale("kWh/annum").times == energy_scale("kwh p.a.").times, energy_scale("kWh")
    (True, None)
    """
    found = _ENERGY_FOR_A_TIME.fullmatch(re.sub(r"\s", "", behind).lower())
    if found is None:
        return None
    return Scale(behind.strip(), _HOURS_OF[found[2].lstrip(".")[0]] / (1000.0 if found[1] else 1.0))


_NOON = re.compile(r"(\d{1,2})(?:[:.]([0-5]\d))?\s*([ap])\.?\s?m\.?(?![a-z])", re.IGNORECASE)


def with_24_hours(text: str) -> str:
    """Return a text with each time of a clock of 12 hours as one of 24.

    Examples
    --------
    >>> with_24_hours("2:30 pm"), with_24_hours("2026-11-25 12:00 am"), with_24_hours("9 pm"), with_24_hours("13 pm")
    ('14:30', '2026-11-25 00:00', '21:00', '13 pm')
    """

    def turned(found: re.Match[str]) -> str:
        hour = int(found[1])
        if not 1 <= hour <= 12:
            return found[0]
        return f"{hour % 12 + 12 * (found[3] in 'pP'):02}:{found[2] or '00'}"

    return _NOON.sub(turned, text)


def with_12_hours(hour: int, minute: int) -> str:
    """Write a time as a clock of 12 hours shows it.

    Examples
    --------
    >>> with_12_hours(14, 30), with_12_hours(0, 0), with_12_hours(24, 0), with_12_hours(12, 5)
    ('2:30 pm', '12:00 am', '12:00 am', '12:05 pm')
    """
    return f"{(hour - 1) % 12 + 1}:{minute:02} {'pm' if 12 <= hour < 24 else 'am'}"
