"""Numbers as people type them: either notation, thousands, units, times of the clock; and what else one may mean.

Labels, units and limits come from `engine.fields`; here is only how a text becomes a number. A comma before three
digits is never guessed at; a point there is the decimal sign, unless only the other reading is within the limits.
Where the household chose the comma for its decimal sign, a comma is that, and a point before three digits is asked
about. In a field of the clock a point before two digits may part hours from minutes, and is asked about, too. A number
without a unit is in the one the household reads; a unit behind it goes before that (`units`).
"""

from __future__ import annotations

import re

from engine.errors import InputError
from engine.fields import Quantity, whole_if_so
from engine.house.wiring import awg_mm2
from engine.quantities import HOURS_PER_DAY
from webapp.shown_numbers import refusal
from webapp.spelt_numbers import spelt_out
from webapp.units import Scale, chosen, energy_scale, notation, scale_of, shown_unit, typed_scale, with_24_hours

LONGEST_WHOLE = 9
"""Digits of the longest number that we count things with."""
_SPACES = re.compile(r"[\s\u00a0\u2009\u202f]+")
_CLOCK = re.compile(r"(\d{1,2}):([0-5]\d)")
_DOTTED_CLOCK = re.compile(r"([01]?\d|2[0-3])\.(?!00)([0-5]\d)")
CLOCK_UNITS = ("h", "o’clock")
"""Units of fields of a day’s hours, which take a time of the clock as well."""
SPLIT_NUMBER = re.compile(
    r"([-+−]?)([\d.,]*\d[\d.,]*(?:[eE][-+]?\d+)?|nan|inf(?:inity)?)(.*)", re.IGNORECASE | re.DOTALL
)
"""Sign, digits with their marks, and what stands behind."""
_MADE_PLAIN = (
    (re.compile(r"\d{1,3}(?:,\d{3})+\.\d+|\d{1,3}(?:,\d{3}){2,}"), ","),
    (re.compile(r"\d{1,3}(?:\.\d{3})+,\d+|\d{1,3}(?:\.\d{3}){2,}"), "."),
)
_AMBIGUOUS = re.compile(r"[1-9]\d{0,2},\d{3}")
POINT_AND_THREE = re.compile(r"[1-9]\d{0,2}\.\d{3}")
VOLT_AMPERES = ("va", "kva")
_AWG = re.compile(r"(?:awg|#)\s*\S+|\S+\s*awg|[1-4]\s*/\s*0|0{2,4}", re.IGNORECASE)
"""What can only be an AWG size."""
_AWG_NUMBER = re.compile(r"0|[1-9]|[1-3]\d|40")


def whole(text: str) -> int | None:
    """Return the whole number that a hidden field or a tick holds; None for anything else and for endless digits.

    Examples
    --------
    >>> whole("12"), whole("²"), whole("-1"), whole(""), whole("9" * 5000)
    (12, None, None, None, None)
    """
    return int(text) if text.isdecimal() and len(text) <= LONGEST_WHOLE else None


def read_number(text: str, meaning: Quantity) -> float:
    """Read a number as a person types it: decimal point or comma, spaces between thousands, its unit behind.

    Parameters
    ----------
    text : str
        What was typed.
    meaning : Quantity
        The field's label, unit and limits.

    Returns
    -------
    float
        The number in the unit the field is declared in (shares in %), limits not yet checked.

    Raises
    ------
    InputError
        If it is no number, if it could be two, or if it carries another unit.

    Examples
    --------
    >>> volts = Quantity(label="Volts", unit="V", low=0, high=100)
    >>> read_number(" 51,2 V", volts), read_number("1 234.5", volts), read_number("1.234,5", volts)
    (51.2, 1234.5, 1234.5)
    >>> read_number("18:30", Quantity(label="Starts at", unit="h", low=0, high=24))
    18.5
    >>> read_number("50 °F", Quantity(label="Cells at", unit="°C", low=-40, high=60))
    10.0
    """
    typed = _SPACES.sub(" ", text).strip()
    spelt = _spelt(typed, meaning)
    if spelt is not None:
        return spelt
    found = SPLIT_NUMBER.fullmatch(re.sub(r"(?<=\d) (?=\d{3}(?!\d))", "", typed))
    if found is None:
        raise InputError("", refusal(typed, meaning) or f"{meaning.label} cannot be “{typed}”.")
    sign, digits, unit = found.groups()
    if meaning.unit == "mm²" and chosen().wire == "awg" and not unit.strip():
        raise InputError("", refusal(typed, meaning) or f"{meaning.label} cannot be “{typed}”.")
    scale = _scale_behind(unit.strip(), typed, meaning)
    if meaning.clock and clock_in_two_ways(typed):
        raise _two_times(typed, meaning)
    if _read_in_two_ways(digits):
        raise _two_ways(typed, digits, meaning)
    try:
        number = float(plain_digits(digits))
    except ValueError:
        raise InputError("", refusal(typed, meaning) or f"{meaning.label} cannot be “{typed}”.") from None
    number = -number if sign in ("-", "−") else number

    def declared(one: float) -> float:
        return one if scale is None else scale.stored(one)

    if POINT_AND_THREE.fullmatch(digits) and _only_thousands(declared(number), declared(number * 1000), meaning):
        raise _two_ways(typed, digits, meaning)
    return declared(number)


def _scale_behind(unit: str, typed: str, meaning: Quantity) -> Scale | None:
    """The scale of what stands behind a number: the household's where that is nothing, or only a unit's first word."""
    if meaning.mean and (scale := energy_scale(unit)) is not None:
        return scale
    scale = typed_scale(unit, meaning.unit)
    if scale is not None and not (meaning.clock and scale.times != 1.0):
        return scale
    _refuse_unit(unit, typed, meaning)
    return scale_of(meaning.unit, chosen())


def _spelt(typed: str, meaning: Quantity) -> float | None:
    """What is no number by itself: a time of the clock, an AWG size, so many panels of so many W, a direction."""
    if meaning.unit in CLOCK_UNITS and meaning.high == HOURS_PER_DAY:
        clock = _CLOCK.fullmatch(with_24_hours(typed))
        if clock is not None:
            return int(clock[1]) + int(clock[2]) / 60.0
    size = _awg_typed(typed) if meaning.unit == "mm²" else ""
    return awg_mm2(size) if size else spelt_out(typed, meaning, read_number)


def _awg_typed(typed: str) -> str:
    """The AWG size that a text is; empty for any other, a bare number only being one where these are read."""
    if _AWG.fullmatch(typed) or (chosen().wire == "awg" and _AWG_NUMBER.fullmatch(typed)):
        return "1/0" if typed == "0" else typed
    return ""


def _read_in_two_ways(digits: str) -> bool:
    """Whether the mark before three digits may part thousands, by what the household chose."""
    return bool((POINT_AND_THREE if chosen().decimal == "comma" else _AMBIGUOUS).fullmatch(digits))


def plain_digits(digits: str) -> str:
    """Return digits with a decimal point and without marks between thousands.

    Examples
    --------
    >>> plain_digits("1.234,5"), plain_digits("1,234,567"), plain_digits("0,93")
    ('1234.5', '1234567', '0.93')
    """
    for pattern, mark in _MADE_PLAIN:
        if pattern.fullmatch(digits):
            digits = digits.replace(mark, "")
    return digits.replace(",", ".")


def in_two_ways(typed: str) -> tuple[str, ...]:
    """Return both readings of a number whose comma or point may part thousands, without its unit; else nothing.

    Examples
    --------
    >>> in_two_ways("1,234 W"), in_two_ways("-6.000"), in_two_ways("0,125"), in_two_ways("12,5")
    (('1.234', '1234'), ('-6.000', '-6000'), (), ())
    """
    found = SPLIT_NUMBER.fullmatch(typed.strip())
    if found is None or not (_AMBIGUOUS.fullmatch(found[2]) or POINT_AND_THREE.fullmatch(found[2])):
        return ()
    sign = "-" if found[1] in ("-", "−") else ""
    return sign + found[2].replace(",", "."), sign + re.sub("[.,]", "", found[2])


def clock_in_two_ways(typed: str) -> tuple[str, ...]:
    """Return both times that a point before two digits may mean, minutes behind it or a part of an hour; else nothing.

    Examples
    --------
    >>> clock_in_two_ways("18.30"), clock_in_two_ways("6.25 h"), clock_in_two_ways("18.5"), clock_in_two_ways("18.00")
    (('18:30', '18:18'), ('6:25', '6:15'), (), ())
    """
    found = SPLIT_NUMBER.fullmatch(typed.strip())
    parts = None if found is None or found[1] else _DOTTED_CLOCK.fullmatch(found[2])
    if parts is None:
        return ()
    return f"{parts[1]}:{parts[2]}", f"{parts[1]}:{round(int(parts[2]) * 0.6):02}"


def _two_times(typed: str, meaning: Quantity) -> InputError:
    clock, part = clock_in_two_ways(typed)
    return InputError(
        "",
        f"{meaning.label}: “{typed}” can be read in two ways. "
        f"Write {clock} for the time of the clock, or {part} if the point is a decimal sign.",
    )


def _only_thousands(number: float, thousandfold: float, meaning: Quantity) -> bool:
    """Whether a number with a point before three digits fits its field only where the point parts thousands."""
    return meaning.refuse(number / meaning.scale) is not None and meaning.refuse(thousandfold / meaning.scale) is None


def _two_ways(typed: str, digits: str, meaning: Quantity) -> InputError:
    mark = "comma" if "," in digits else "point"
    decimal, whole = in_two_ways(digits)
    return InputError(
        "",
        f"{meaning.label}: “{typed}” can be read in two ways. "
        f"Write {_quoted(decimal)} if the {mark} is a decimal sign, or {whole} for the whole number.",
    )


def _quoted(decimal: str) -> str:
    """A number to be typed: in quotes where the page would write its point otherwise."""
    return f"“{notation(decimal, chosen())}”" if chosen().decimal == "comma" else decimal


def _refuse_unit(unit: str, typed: str, meaning: Quantity) -> None:
    """Refuse a unit behind the number that is not the field's own."""
    own = meaning.unit
    if unit.lower() in ("", own.lower(), own.split(" ")[0].lower(), own.lower().removeprefix("°")):
        return
    own = shown_unit(own, chosen())
    if meaning.unit == "W" and unit.lower() in VOLT_AMPERES:
        raise InputError(
            "",
            f"{meaning.label}: “{typed}” are volt-amperes, and watts are usually less, 0.8 to 1.0 of them (typical, "
            "from memory). Look on the type plate for the figure in W.",
        )
    if meaning.unit in CLOCK_UNITS and meaning.high == HOURS_PER_DAY:
        own = "hours of the day, such as 7 or 18:30"
    advice = f"type it in {own}" if own and not own.startswith("for each ") else "type the number alone"
    raise InputError("", f"{meaning.label}: “{typed}” carries “{unit}”, which this field does not take; {advice}.")


def number(text: str, meaning: Quantity, optional: bool | None = None) -> float | int | None:
    """Read and check one number; the result is as the engine stores it (shares, not percent).

    Raises
    ------
    InputError
        With the sentence that names field, value, limit and unit.
    """
    text = text.strip()
    if not text:
        if meaning.optional if optional is None else optional:
            return None
        raise InputError("", refusal("", meaning) or f"{meaning.label} is missing.")
    stored = read_number(text, meaning) / meaning.scale
    refused = refusal(stored, meaning)
    if refused is not None:
        raise InputError("", refused)
    return int(stored) if meaning.whole else whole_if_so(stored) if meaning.halves else stored


def looks_like_share(text: str, meaning: Quantity) -> float | None:
    """Return the percent probably meant where a percent field was given 0 < x <= 1, else None.

    Examples
    --------
    >>> charge = Quantity(label="Charge now", unit="%", low=0, high=1, percent=True)
    >>> looks_like_share("0,8", charge), looks_like_share("80", charge)
    (80.0, None)
    """
    if not meaning.percent or not text.strip():
        return None
    try:
        typed = read_number(text, meaning)
    except InputError:
        return None
    likely = round(typed * 100, 6)
    return likely if 0 < typed <= 1 and meaning.refuse(likely / 100) is None else None
