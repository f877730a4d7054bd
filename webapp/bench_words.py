"""Words and figures that the pages about bench tests share."""

from __future__ import annotations

from dataclasses import dataclass

from engine.answers.charging_current import charge_current
from engine.house.bank import MEAN_CHARGE_C, Bank
from engine.house.household import Household
from webapp.bench_store import CellTest
from webapp.kept_words import Row, day
from webapp.render import NO_BREAK, figures, percent
from webapp.words import in_sentence

KIND_WORDS = {"log": "A log", "table": "A table of charge ends", "cells": "A list of cells"}


def row(test: CellTest, zone: str) -> Row:
    """Return a test as the list shows it."""
    return Row(id=test.id, name=test.name, what=KIND_WORDS[test.kind], day=day(test.made_at, zone), thing="test")


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
