"""Sentences in °C, mm², metres, litres and kilometres, with a point and 24 hours, as a household reads them.

A converted number has no more figures than it had (two to five), whole degrees where it was whole. What stands in
quotes was typed by somebody, or is to be typed, and stays; so does every name that is given as `kept`.
Not modelled: numbers in words; a unit that stands in another sentence than its number.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import lru_cache

from engine.house.load_kinds import CLOCK_LABELS
from engine.house.units import Units
from engine.house.wiring import AWG_NAMES, awg_mm2, awg_name
from engine.quantities import HOURS_PER_DAY
from webapp.units import (
    F_AT_0_C,
    F_PER_C,
    FIGURES,
    KM_PER_MILE,
    LITRES_PER_GALLON,
    M_PER_FOOT,
    M_PER_INCH,
    MM2_PER_KCMIL,
    Scale,
    with_12_hours,
)

THIN = "\u202f"
OPEN_SMALL, CLOSE_SMALL = "\ue000", "\ue001"
"""Stand for the tags of small print, between a number and its unit, while a page is turned."""
_HELD, _END = "\ue002", "\ue003"
_NUMBER = rf"[−-]?(?:\d{{1,3}}(?:[,{THIN}]\d{{3}})+|\d+)(?:\.\d+)?"
_BEFORE = r"(?<![\w.,:/^])(?<!\w-)"
_GAP = rf"(?:&nbsp;|[ \u00a0{THIN}{OPEN_SMALL}])?{OPEN_SMALL}?"
_BETWEEN = r"(?:&nbsp;|[ \u00a0])(?:to|and|or|→|–)(?:&nbsp;|[ \u00a0])|–"
_DIFFERENCE = re.compile(rf"{_GAP}(?:warmer|colder|cooler|either way|apart)")
_WITHIN = re.compile(r"(?:within|rises by|falls by|warms by)[ \u00a0]$")
_ROUGH = re.compile(r"(?:\babout|\bCount|\bhold)[ \u00a0]$")
"""What stands before a rule of thumb: two figures of it are enough in any unit."""
_LIKE = r"(?![\w²³])"
_MASKED = re.compile(f"{_HELD}(\\d+){_END}")
_QUOTED = re.compile(
    r"“[^”]*”"
    r"|(?<!-)\b(?:CC BY(?:-[A-Z]+)*|NEC|article|section|clause|chapter|[Tt]able|version)[ \u00a0]\d+(?:\.\d+)+"
)
"""What is said in somebody's own words, and numbers that are names: of a licence, of a place in a standard."""
_MM2 = re.compile(rf"{_BEFORE}(?:({_NUMBER})({_BETWEEN}))?({_NUMBER}){_GAP}mm²(?: \(AWG ([^)]*)\))?")
_DECIMAL = re.compile(rf"(?<![\w.,:/])(?<![a-zA-Z]-)((?:\d{{1,3}}(?:[,{THIN}]\d{{3}})+|\d+))\.(\d+)(?!\.?\d)")
_THOUSANDS = re.compile(r"(?<![\w.,])\d{1,3}(?:,\d{3})+(?!,?\d)")
"""How the engine writes large numbers; on every page a thin space stands there, as a comma may be a decimal sign."""
_SPACE = "(?:&nbsp;|[ \u00a0])"
_CLOCK = r"(?<![\w:.+−])(?<![\d+]-)(2[0-4]|[01]?\d):([0-5]\d)(?!\d|:\d|[ \u00a0][ap]m)"
_HOUR = r"(\d{1,2})(?::(\d\d))?"
_TIMES = re.compile(
    rf"\b(?P<label>(?i:{'|'.join(CLOCK_LABELS)}) )(?:(\d+(?:\.\d+)?)(?: h)?|empty)( → )(?:(\d+(?:\.\d+)?) h|empty)\b"
    rf"|\b{_HOUR}( to | and | or | → |–){_HOUR}{_SPACE}o’clock\b"
    rf"|\b{_HOUR}{_SPACE}o’clock\b"
    rf"|{_CLOCK}"
)
"""Every way a time of the day is written: in a change, from and to o’clock, o’clock, with minutes."""

Rule = tuple[re.Pattern[str], Callable[[re.Match[str]], str]]


def has_thousands(text: str) -> bool:
    """Whether a large number stands in a text as the engine writes it."""
    return _THOUSANDS.search(text) is not None


def grouped(text: str) -> str:
    """Return a text of the engine with its large numbers in groups of three, and nothing else turned.

    Examples
    --------
    >>> grouped("4,800 W of 12,345.6 W")
    '4\u202f800 W of 12\u202f345.6 W'
    """
    return _THOUSANDS.sub(lambda one: one[0].replace(",", THIN), text)


class AsShown:
    """The turning of texts for one choice of units.

    Parameters
    ----------
    units : Units
        What is to be read.
    kept : iterable of str
        Names that somebody typed, as they stand in the text.
    """

    def __init__(self, units: Units, kept: Iterable[str] = ()) -> None:
        self.units = units
        names = sorted({name for name in kept if name.strip()}, key=len, reverse=True)
        every = "|".join(re.escape(name) for name in names)
        self._kept = re.compile(rf"(?<!\w)(?:{every})(?!\w)", re.IGNORECASE) if names else None

    def text(self, text: str, *, only_signs: bool = False) -> str:
        """Return a text as it is read; with `only_signs` its units stay and only signs and times are turned."""
        held: list[str] = []

        def hold(found: re.Match[str]) -> str:
            held.append(found[0])
            return f"{_HELD}{len(held) - 1}{_END}"

        if self._kept is not None:
            text = self._kept.sub(hold, text)
        text = _QUOTED.sub(hold, text)
        for pattern, turned in rules(self.units, only_signs):
            text = pattern.sub(turned, text)
        while _HELD in text:
            text = _MASKED.sub(lambda found: held[int(found[1])], text)
        return text

    def number(self, text: str, scale: Scale) -> str:
        """Return the numbers of a text whose unit stands elsewhere, such as at the head of its column."""
        found = re.compile(rf"{_BEFORE}{_NUMBER}(?![\w.:])")
        return found.sub(lambda one: scaled(one[0], scale), text)

    def heads(self) -> dict[str, Scale]:
        """Units that may stand alone at the head of a column, and what they become."""
        return {unit: scale for unit, scale, setting, choice in _UNITS if getattr(self.units, setting) == choice}


_PER_MILE, _PER_GALLON = 1 / KM_PER_MILE, 1 / LITRES_PER_GALLON
_UNITS: tuple[tuple[str, Scale, str, str], ...] = (
    ("kWh per 100 km", Scale("kWh per 100 miles", KM_PER_MILE), "distance", "mi"),
    ("kWh per 100&nbsp;km", Scale("kWh per 100 miles", KM_PER_MILE), "distance", "mi"),
    ("W for each °C", Scale("W for each °F", 1 / F_PER_C), "temperature", "f"),
    ("W per °C", Scale("W per °F", 1 / F_PER_C), "temperature", "f"),
    ("°C", Scale("°F", F_PER_C, F_AT_0_C), "temperature", "f"),
    ("K", Scale("°F", F_PER_C), "temperature", "f"),
    ("degC", Scale("°F", F_PER_C, F_AT_0_C), "temperature", "f"),
    ("kilometres", Scale("miles", _PER_MILE), "distance", "mi"),
    ("km", Scale("miles", _PER_MILE), "distance", "mi"),
    ("litres", Scale("gallons", _PER_GALLON), "volume", "gal"),
    ("litre", Scale("gallons", _PER_GALLON), "volume", "gal"),
    ("l/h", Scale("gallons/h", _PER_GALLON), "volume", "gal"),
    ("l", Scale("gallons", _PER_GALLON), "volume", "gal"),
    ("kWh for each litre", Scale("kWh for each gallon", LITRES_PER_GALLON), "volume", "gal"),
    ("for each litre", Scale("for each gallon", LITRES_PER_GALLON), "volume", "gal"),
    ("a litre", Scale("a gallon", LITRES_PER_GALLON), "volume", "gal"),
    ("metres", Scale("ft", 1 / M_PER_FOOT), "length", "ft"),
    ("m", Scale("ft", 1 / M_PER_FOOT), "length", "ft"),
    ("cm", Scale("in", 0.01 / M_PER_INCH), "length", "ft"),
    ("litres a year", Scale("gallons a year", _PER_GALLON), "volume", "gal"),
    ("litres a day", Scale("gallons a day", _PER_GALLON), "volume", "gal"),
    ("km a day", Scale("miles a day", _PER_MILE), "distance", "mi"),
)
_WORDS: tuple[tuple[str, str, str, str], ...] = (
    (r"\bper degree\b(?! C)", "per degree Celsius", "temperature", "f"),
    (r"\bKilometres wanted\b", "Miles wanted", "distance", "mi"),
    (r"\b(?<=the fewest )litres\b", "gallons", "volume", "gal"),
)


@lru_cache(maxsize=64)
def rules(units: Units, only_signs: bool = False) -> tuple[Rule, ...]:
    """Return what is turned, in order: units, then times, then signs."""
    found: list[Rule] = []
    if not only_signs:
        for unit, scale, setting, choice in sorted(_UNITS, key=lambda one: -len(one[0])):
            if getattr(units, setting) == choice:
                found.append(_unit_rule(unit, scale))
        if units.wire == "awg":
            found.append((_MM2, _awgs))
        found += [
            (re.compile(words), lambda _, other=other: other)  # type: ignore[misc]
            for words, other, setting, choice in _WORDS
            if getattr(units, setting) == choice
        ]
    if units.clock == "12":
        found.append((_TIMES, _time))
    found.append((_THOUSANDS, lambda one: grouped(one[0])))
    if units.decimal == "comma":
        found.append((_DECIMAL, _with_comma))
    return tuple(found)


def _unit_rule(unit: str, scale: Scale) -> Rule:
    """Numbers with a unit behind, alone, as a range or as a list."""
    several = rf"{_BEFORE}((?:{_NUMBER}(?:{_BETWEEN}))?{_NUMBER})({_GAP}){re.escape(unit)}{_LIKE}"
    if unit in ("l", "litre", "litres", "m", "km"):
        several += r"(?!/)"
    number = re.compile(rf"{_BEFORE}{_NUMBER}")

    def turned(found: re.Match[str]) -> str:
        end, text = found.end(), found.string
        is_difference = bool(scale.plus) and (
            _DIFFERENCE.match(text, end) is not None or _WITHIN.search(text, 0, found.start()) is not None
        )
        used = Scale(scale.unit, scale.times) if is_difference else scale
        is_rough = _ROUGH.search(text, 0, found.start()) is not None
        numbers = number.sub(lambda one: scaled(one[0], used, is_rough), found[1])
        name = _singular(used.unit) if numbers in ("1", "−1") else used.unit
        return f"{numbers}{found[2] or ' '}{name}"

    return re.compile(several), turned


def _singular(unit: str) -> str:
    return {"miles": "mile", "gallons": "gallon", "miles a day": "mile a day"}.get(unit, unit)


def scaled(text: str, scale: Scale, is_rough: bool = False) -> str:
    """Turn a number as written, with no more figures than it had; degrees to whole ones, or to tenths if it had any.

    One that is rough has two figures.

    Examples
    --------
    >>> scaled("−5", Scale("°F", 1.8, 32.0)), scaled("12.5", Scale("°F", 1.8, 32.0)), scaled("30", Scale("miles", 0.62))
    ('23', '54.5', '19')
    """
    plain = text.replace(",", "").replace(THIN, "").replace("−", "-")
    value = scale.shown(float(plain))
    decimals = len(plain.partition(".")[2])
    if scale.plus:
        shown = f"{value:.{min(decimals, 1)}f}"
    else:
        count = 2 if is_rough else min(max(2, len(plain.replace(".", "").lstrip("-0") or "0")), FIGURES)
        shown = f"{float(f'{value:.{count}g}'):,.6f}" if value else "0"
    if "." in shown and (decimals == 0 or scale.plus or len(plain) > 5 or abs(value) < 1):
        shown = shown.rstrip("0").rstrip(".")
    elif "." in shown:
        whole = len(shown.partition(".")[0].lstrip("-0").replace(",", ""))
        shown = f"{value:,.{max(0, count - whole)}f}"
    shown = "0" if shown == "-0" else shown
    return shown.replace(",", THIN).replace("-", "−")


def _awgs(found: re.Match[str]) -> str:
    """One cross-section or two of them, the last by the AWG name that is said behind it."""
    first, between, last, name = found.groups()
    shown = f"AWG {name}" if name else _awg(last)
    return f"{_awg(first)}{between}{shown}" if between else shown


def _awg(number: str) -> str:
    """A cross-section by its AWG name; one between two sizes with both, else in kcmil."""
    area = float(number.replace(",", "").replace(THIN, "").replace("−", "-"))
    if name := awg_name(area):
        return f"AWG {name}"
    thinner = [name for name in AWG_NAMES if awg_mm2(name) < area]
    thicker = [name for name in AWG_NAMES if awg_mm2(name) > area]
    if thinner and thicker:
        near = f"between AWG {thinner[-1]} and {thicker[0]}"
    elif thicker:
        near = f"thinner than AWG {thicker[0]}"
    else:
        near = f"{area / MM2_PER_KCMIL:.0f} kcmil"
    return f"{number} mm² ({near})"


def _with_comma(found: re.Match[str]) -> str:
    return f"{found[1].replace(',', THIN)},{found[2]}"


def _time(found: re.Match[str]) -> str:
    """A time, or two of them, on the clock of 12 hours; what cannot be one stays."""
    label, first, arrow, last, *rest = found.groups()
    if label:
        both = (with_12_hours(*divmod(round(float(hour) * 60), 60)) if hour else "empty" for hour in (first, last))
        return label + arrow.join(both)
    from_h, from_m, between, to_h, to_m, at_h, at_m, hour, minute = rest
    times = [(from_h, from_m), (to_h, to_m)] if between else [(at_h or hour, at_m or minute)]
    if any(int(h) * 60 + int(m or 0) > HOURS_PER_DAY * 60 for h, m in times):
        return found[0]
    return (between or "").join(with_12_hours(int(h), int(m or 0)) for h, m in times)
