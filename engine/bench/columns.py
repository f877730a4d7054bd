"""What the columns of a bench file may mean, and what their names and units say of it.

Three kinds of file: a log over time, a table of charge ends, a list of cells. Names are looked for in English and
German. Factors lead to the units the records hold: s, V, A, Ah, Wh, degC, milliohm. Not modelled: units of force of
habit (C-rates, percent).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from engine.text.layouts import Layout

Doubt = tuple[str, str]
"""The key of what is in doubt, and the question."""

KINDS = ("log", "table", "cells")

VOLTS = {"V": 1.0, "mV": 1e-3}
AMPERES = {"A": 1.0, "mA": 1e-3}
AMPERE_HOURS = {"Ah": 1.0, "mAh": 1e-3}
WATT_HOURS = {"Wh": 1.0, "mWh": 1e-3}
CLOCK, HOUR_MINUTE = "h:m:s", "h:m"
DATES = {"date y-m-d": "ymd", "date d.m.y": "dmy", "date m/d/y": "mdy"}
TIMES = {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0, "d": 86_400.0, CLOCK: 1.0, HOUR_MINUTE: 60.0}
TIMES |= dict.fromkeys(DATES, 1.0)
FAHRENHEIT = "degF"
CELSIUS = {"degC": 1.0, FAHRENHEIT: 5.0 / 9.0}
ZERO_C_IN_F = 32.0
MILLIOHMS = {"mOhm": 1.0, "Ohm": 1e3}
NO_UNIT = {"": 1.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """One thing a column may be: units with their factors, and how large [in the first unit] it can sensibly get."""

    key: str
    label: str
    units: Mapping[str, float]
    required: bool = False
    most: float = 1e9
    words: tuple[str, ...] = ()
    letters: tuple[str, ...] = ()
    not_words: tuple[str, ...] = ()
    best_words: tuple[str, ...] = ()

    @property
    def first_unit(self) -> str:
        """The unit the records hold."""
        return next(iter(self.units))


_SET = ("set", "soll", "cut", "cutoff", "limit", "target", "max", "min", "end", "ende", "delta", "diff", "tail")
_STEP = ("step", "schritt", "cycle", "zyklus", "cycles")
_TIME = Meaning(
    key="time",
    label="Time",
    units=TIMES,
    required=True,
    most=1e10,
    words=("time", "zeit", "elapsed", "laufzeit", "datum", "date", "timestamp"),
    letters=("t", "clock", "uhr"),
    not_words=_STEP,
    best_words=("test", "total", "elapsed", "gesamt"),
)
_VOLTAGE = Meaning(
    key="voltage",
    label="Voltage",
    units=VOLTS,
    required=True,
    most=2000.0,
    words=("volt", "spannung"),
    letters=("u", "v"),
    not_words=_SET,
)
_CURRENT = Meaning(
    key="current",
    label="Current",
    units=AMPERES,
    required=True,
    most=1e5,
    words=("current", "strom", "amper", "amps"),
    letters=("i", "a", "amp"),
    not_words=_SET,
)
_CAPACITY_WORDS, _CAPACITY_LETTERS = (
    ("capacit", "kapazit", "ladung"),
    ("cap", "q", "kap", "ah", "mah", "charge", "discharge"),
)
_AH = Meaning(
    key="ah",
    label="Capacity counter",
    units=AMPERE_HOURS,
    most=1e6,
    words=_CAPACITY_WORDS,
    letters=_CAPACITY_LETTERS,
    not_words=("state", "soc", "nominal", "nenn", "label"),
)
_WH = Meaning(key="wh", label="Energy", units=WATT_HOURS, most=1e8, words=("energ",), letters=("wh", "mwh", "e"))
_STATE = Meaning(
    key="step",
    label="Step",
    units=NO_UNIT,
    words=("step", "schritt", "status", "state", "mode", "modus"),
    letters=("ns",),
    not_words=("time", "zeit", "charge", "health", "soc"),
)
_TEMPERATURE = Meaning(
    key="temperature", label="Temperature", units=CELSIUS, most=300.0, words=("temp",), letters=("t1", "ntc")
)
_DATE = Meaning(key="date", label="Date, where time is a clock", units=dict.fromkeys(DATES, 1.0), most=1e10)
_HOLD_WORDS = ("hold", "held", "halt", "cv", "cccv", "absor")
_NONE_WORDS = ("no", "without", "ohne", "w/o", "nohold", "unheld")
_WITH_WORDS = ("with", "mit")
"""Held, where the name says no more than that and a capacity: mit [mAh]."""
_END_V = Meaning(
    key="volts",
    label="Charge-end volts",
    units=VOLTS,
    required=True,
    most=2000.0,
    words=("volt", "spannung"),
    letters=("u", "v"),
    not_words=("start", "rest", "low", "discharge"),
    best_words=("end", "charge", "lade", "schluss"),
)
_HOLD_AH = Meaning(
    key="hold_ah", label="Capacity with a hold", units=AMPERE_HOURS, most=1e6, words=_HOLD_WORDS, not_words=_NONE_WORDS
)
_NO_HOLD_AH = Meaning(key="no_hold_ah", label="Capacity without a hold", units=AMPERE_HOURS, most=1e6)
_CUT_OFF = Meaning(
    key="cut_off_a",
    label="Cut-off current of the charge",
    units=AMPERES,
    most=1e5,
    words=("current", "strom", "cut", "tail", "taper", "abbruch"),
    letters=("i", "a", "end"),
    not_words=("charge", "discharge"),
    best_words=("cut", "cutoff", "tail", "taper", "abbruch"),
)
_TABLE_AH = Meaning(
    key="ah",
    label="Capacity, held or not as the cut-off says",
    units=AMPERE_HOURS,
    most=1e6,
    words=_CAPACITY_WORDS,
    letters=_CAPACITY_LETTERS,
)
_NAME = Meaning(
    key="name",
    label="Name or number",
    units=NO_UNIT,
    words=("name", "zelle", "serial", "nummer", "number"),
    letters=("cell", "id", "nr", "no", "mark", "n", "label"),
    not_words=("voltage", "ocv", "hold", "cv"),
)
_CELL_AH = Meaning(
    key="ah",
    label="Capacity",
    units=AMPERE_HOURS,
    required=True,
    most=1e6,
    words=_CAPACITY_WORDS,
    letters=_CAPACITY_LETTERS,
    not_words=("nominal", "nenn", "label"),
)
_MILLIOHM = Meaning(
    key="milliohm",
    label="Resistance",
    units=MILLIOHMS,
    most=1e6,
    words=("resist", "widerstand", "impedan"),
    letters=("ir", "esr", "dcir", "acir", "r", "ri"),
)

MEANINGS: dict[str, tuple[Meaning, ...]] = {
    "log": (_TIME, _VOLTAGE, _CURRENT, _AH, _WH, _STATE, _TEMPERATURE, _DATE),
    "table": (_END_V, _NO_HOLD_AH, _HOLD_AH, _CUT_OFF, _TABLE_AH),
    "cells": (_NAME, _CELL_AH, _WH, _MILLIOHM),
}

_SPELLINGS = {
    "V": "v volt volts",
    "mV": "mv millivolt millivolts",
    "A": "a amp amps ampere amperes",
    "mA": "ma milliamp milliamps milliampere",
    "s": "s sec secs second seconds sek sekunden",
    "ms": "ms msec millisecond milliseconds",
    "min": "min mins minute minutes minuten",
    "h": "h hr hrs hour hours std stunden",
    "d": "d day days tage",
    CLOCK: "h:m:s hh:mm:ss hms h:mm:ss hh:mm:ss.ms hh:mm:ss.sss",
    HOUR_MINUTE: "h:m hh:mm",
    "Ah": "ah a.h a·h a*h",
    "mAh": "mah ma.h ma·h ma*h",
    "Wh": "wh w.h w·h w*h",
    "mWh": "mwh mw.h mw·h mw*h",
    "degC": "degc °c ºc deg.c celsius c",
    FAHRENHEIT: "degf °f ºf deg.f fahrenheit f",
    "mOhm": "mohm mω milliohm milliohms",
    "Ohm": "ohm ohms ω",
}
UNITS = {spelt: unit for unit, all_spelt in _SPELLINGS.items() for spelt in all_spelt.split()}
_WORD_IS_UNIT = frozenset(
    ("v", "volts", "mv", "a", "amps", "ma", "ah", "mah", "wh", "mwh", "mohm", "milliohm", "°c", "°f", "ohm")
)
_LEADS = frozenset(("mah", "ah", "mwh", "wh"))
"""Units that also stand before what they count: mAh without a hold."""
_PART = 4
"""Letters from which on a word counts inside a longer one too."""
_BRACKET = re.compile(r"[\[({<]([^\])}>]{0,40})[\])}>]")
_TAIL = re.compile(r"^(.*?)(?:\s{0,9}/\s{0,9}|\s{1,9}in\s{1,9}|[\s_,.:-]{1,9})([^\s/_,]{1,20})$")
"""Each reaches so far and no further: the name of a column may be as long as a file's maker likes."""


@lru_cache(maxsize=512)
def name_and_unit(header: str) -> tuple[str, str | None]:
    """Return what a column is called, in small letters, and its unit where the name says one.

    Examples
    --------
    >>> name_and_unit("Cap. [mAh]"), name_and_unit("Voltage_V"), name_and_unit("I in A"), name_and_unit("Step Time")
    (('cap.', 'mAh'), ('voltage', 'V'), ('i', 'A'), ('step time', None))
    >>> name_and_unit("mAh no hold"), name_and_unit("milliohm")
    (('no hold', 'mAh'), ('milliohm', 'mOhm'))
    """
    lower = header.strip().lower()
    for found in _BRACKET.finditer(lower):
        if (spelt := found[1].strip()) in UNITS:
            return f"{lower[: found.start()]} {lower[found.end() :]}".strip(), UNITS[spelt]
    tail = _TAIL.match(lower)
    if tail and tail[1].strip() and tail[2] in UNITS:
        return tail[1].strip(), UNITS[tail[2]]
    first, _, rest = lower.partition(" ")
    if rest and first in _LEADS:
        return rest.strip(), UNITS[first]
    return lower, UNITS[lower] if lower in _WORD_IS_UNIT else None


def fit(header: str, meaning: Meaning) -> float:
    """Return how well a column's name and unit fit a meaning: 0 not at all, from 1 on they do.

    Examples
    --------
    >>> fit("Step Time (s)", MEANINGS["log"][0]), fit("Test Time / s", MEANINGS["log"][0])
    (0.0, 4.0)
    """
    name, unit = name_and_unit(header)
    if unit is not None and unit not in meaning.units:
        return 0.0
    words = _words(name)
    if any(
        word == barred or (barred in word and len(barred) >= _PART) for word in words for barred in meaning.not_words
    ):
        return 0.0
    named = any(part in name for part in meaning.words) or any(word in meaning.letters for word in words)
    score = 2.0 * named + (unit is not None) + any(word in meaning.best_words for word in words) * named
    return score if named or unit is not None else 0.0


def _words(name: str) -> list[str]:
    return re.findall(r"w/o|[^\W_]+", name)


def hold_said(header: str) -> bool | None:
    """Whether a column's name says its charges were held: True, False, or None where it says neither.

    Examples
    --------
    >>> hold_said("Ah, no hold"), hold_said("Ah with hold"), hold_said("CC-CV [Ah]"), hold_said("CC [Ah]")
    (False, True, True, False)
    >>> hold_said("mit [mAh]"), hold_said("ohne [mAh]"), hold_said("Ah with load")
    (True, False, None)
    """
    name, _ = name_and_unit(header)
    words = _words(name)
    held = any(word.startswith(_HOLD_WORDS) or word.endswith("halten") for word in words)
    held |= any(word in _WITH_WORDS for word in words) and all(
        word in _WITH_WORDS + _CAPACITY_LETTERS or word.startswith(_CAPACITY_WORDS) for word in words
    )
    if any(word in _NONE_WORDS for word in words) or ("cc" in words and not held):
        return False
    return True if held else None


def assign(kind: str, layout: Layout) -> tuple[dict[str, int], tuple[Doubt, ...]]:
    """Return which column each meaning of `kind` fits best by name, and what is in doubt about that.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    layout : Layout

    Returns
    -------
    dict of str to int, tuple of Doubt
    """
    columns: dict[str, int] = {}
    doubts: list[Doubt] = []
    if kind == "table":
        columns |= _held_columns(layout)
    for meaning in MEANINGS[kind]:
        if meaning.key in columns or (kind == "table" and meaning.key.endswith("hold_ah")):
            continue
        if meaning.key == "ah" and kind == "table" and columns.keys() & {"no_hold_ah", "hold_ah"}:
            continue
        free = [at for at in range(len(layout.header)) if at not in columns.values()]
        best = _best(free, [fit(layout.header[at], meaning) for at in free])
        if best and (meaning.required or len(best) == 1 or kind == "table"):
            columns[meaning.key] = best[0]
        if len(best) > 1:
            doubts.append((meaning.key, _rivals(layout, best, meaning, meaning.key in columns)))
    return columns, tuple(doubts)


def _best(free: Sequence[int], scores: Sequence[float]) -> list[int]:
    top = max(scores, default=0.0)
    return [at for at, score in zip(free, scores, strict=True) if score == top >= 1.0]


def _rivals(layout: Layout, rivals: Sequence[int], meaning: Meaning, used: bool) -> str:
    text = f"{' and '.join(f'“{layout.name(at)}”' for at in rivals[:3])} could each be the {meaning.label.lower()}"
    return f"{text}: is “{layout.name(rivals[0])}” the right one?" if used else f"{text}: none is used."


def _held_columns(layout: Layout) -> dict[str, int]:
    """The capacity columns whose names say held or not held."""
    columns: dict[str, int] = {}
    for at, header in enumerate(layout.header):
        said, unit = hold_said(header), name_and_unit(header)[1]
        key = "" if said is None else ("hold_ah" if said else "no_hold_ah")
        if key and key not in columns and (unit is None or unit in AMPERE_HOURS):
            columns[key] = at
    return columns
