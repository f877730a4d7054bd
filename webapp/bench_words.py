"""Words and figures that the pages about bench tests share; times on the household's clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from engine.answers.charging_current import charge_current
from engine.house.bank import MEAN_CHARGE_C, Bank
from engine.house.household import Household
from engine.text.finding import Finding
from webapp.bench_store import CellTest
from webapp.render import NO_BREAK, figures, percent
from webapp.words import in_sentence

KIND_WORDS = {"log": "A log", "table": "A table of charge ends", "cells": "A list of cells"}
LEVEL_ORDER = ("stop", "check", "note")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One test in the list."""

    id: int
    name: str
    what: str
    day: str

    @property
    def label(self) -> str:
        """What tells it from others of its name, read aloud."""
        return f"{self.name}, test {self.id}, brought {self.day}"


def row(test: CellTest, zone: str) -> Row:
    """Return a test as the list shows it."""
    return Row(id=test.id, name=test.name, what=KIND_WORDS[test.kind], day=day(test.made_at, zone))


def day(moment: datetime, zone: str) -> str:
    """Write the day and time of a moment on the household's clock.

    Examples
    --------
    >>> from datetime import UTC
    >>> day(datetime(2026, 11, 25, 17, 30, tzinfo=UTC), "Europe/Dublin")
    '25 Nov 2026, 17:30'
    """
    there = moment.astimezone(ZoneInfo(zone))
    return f"{there.day} {there:%b %Y, %H:%M}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Current:
    """A charge current at which a curve is read, in C, and whose it is."""

    c_rate: float
    whose: str


def bank_current(house: Household, bank: Bank | None, month: int) -> Current:
    """Return the charge current of a bank, from its panels and charger as on Charge volts."""
    if bank is None:
        return Current(c_rate=MEAN_CHARGE_C, whose="a bank charged in ten hours")
    inverter = next((one for one in house.inverters if one.id == (bank.inverter or house.first_inverter)), None)
    pack_v = bank.charge_end_cell_v * bank.series
    found = charge_current(house, bank, inverter, pack_v, month, None)
    return Current(c_rate=found.charge_c, whose=in_sentence(bank.name))


def sorted_findings(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return findings, the gravest first, none twice."""
    return tuple(sorted(dict.fromkeys(findings), key=lambda one: LEVEL_ORDER.index(one.level)))


def in_ah(ah: float, count: int = 3) -> str:
    """Write ampere-hours with their unit."""
    return f"{figures(ah, count)}{NO_BREAK}Ah"


def in_c(rate: float) -> str:
    """Write a current in C."""
    return f"{rate:.2g}C"


def in_unit(value: float | None, unit: str) -> str:
    """Write a number of a plan with its unit, a share as percent, a dash for None.

    Examples
    --------
    >>> in_unit(0.8, "share"), in_unit(3.604, "V"), in_unit(None, "V")
    ('80.0\\xa0%', '3.60\\xa0V', '–')
    """
    if value is None:
        return "–"
    return percent(value, 1) if unit == "share" else f"{figures(value, 3)}{NO_BREAK}{unit}"


def bar_in_unit(bar: float | None, unit: str) -> str:
    """Write how uncertain a number of a plan is: two figures, as it is no better known itself.

    Examples
    --------
    >>> bar_in_unit(0.0798, "V"), bar_in_unit(22.6, "Ah"), bar_in_unit(0.1234, "share"), bar_in_unit(None, "V")
    ('0.080\\xa0V', '23\\xa0Ah', '12\\xa0%', '–')
    """
    if bar is None:
        return "–"
    return f"{figures(100 * bar)}{NO_BREAK}%" if unit == "share" else f"{figures(bar)}{NO_BREAK}{unit}"
