"""Words and figures that the pages about bench tests share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.answers.charging_current import charge_current
from engine.bench.cycles import Cycle
from engine.bench.limits import FOREIGN
from engine.house.bank import MEAN_CHARGE_C, Bank
from engine.house.household import Household
from engine.text.finding import Finding
from webapp.bench_store import CellTest
from webapp.kept_words import Row, day
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.words import in_sentence, listed

KIND_WORDS = {"log": "A log", "table": "A table of charge ends", "cells": "A list of cells"}
_AGAINST = {
    "charged_below_zero": "it was charged below 0 °C",
    "too_hot": "the cell grew too hot",
    FOREIGN: "the volts are not those of the kind of cell it is read as",
    "volts_of_a_pack": "the volts are no single cell’s",
    "gap": "the log was silent while current flowed",
    "rows_sparse": "the rows lie too far apart",
    "rows_unreadable": "many rows cannot be read",
    "counter_disagrees": "the tester’s own count differs",
    "current_offset": "the amperes do not rest at 0",
    "current_noisy": "the amperes jitter",
    "current_dropouts": "rows within a run read 0 A",
    "current_unlikely": "the amperes do not suit the label",
    "leads_drop": "the volts seem measured through the leads that carry the current",
    "volts_coarse": "the volts are written in coarse steps",
    "incomplete_charge": "a charge was not finished",
    "charge_started_part_full": "a charge began with something in the cell",
    "charge_before_not_complete": "a charge was not finished",
    "incomplete_discharge": "a discharge did not reach empty",
    "ah_balance": "ampere-hours out and in do not agree",
    "capacity_against_label": "the ampere-hours do not suit the label",
}
"""What speaks against a log, by the code of its finding."""
_OTHER = "What else speaks against it stands among the stops and checks of this page."
_FROM_THERE = "What it gave is from that charge end down: charged further, the cell may give more."
_NOT_FULL = frozenset({"charge_without_hold", "charge_before_unknown", "charge_start_unknown"})


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


def believable(cycle: Cycle | None, findings: Sequence[Finding]) -> str:
    """Say whether what a log gave can be believed, and why; empty where it has no cycle."""
    if cycle is None:
        return ""
    against = [one for one in findings if one.level in ("stop", "check")]
    if against:
        reasons = list(dict.fromkeys(_AGAINST[one.code] for one in against if one.code in _AGAINST))
        never = any(one.level == "stop" for one in against)
        said = [f"{'no' if never else 'not as it stands'}{', because ' + listed(reasons) if reasons else ''}."]
        if any(one.code not in _AGAINST for one in against):
            said.append(_OTHER if reasons else _OTHER.replace("What else", "What"))
        return " ".join(said)
    if cycle.discharge_ah is None or cycle.charge_ah is None:
        return "only in part, because a charge and a discharge are needed to judge each other."
    share = cycle.coulombic_efficiency
    back = "" if share is None else f"{percent(share, 1)} of the ampere-hours came back, "
    of = f" {_FROM_THERE}" if any(one.code in _NOT_FULL for one in findings) else ""
    own = any(one.code == "temperature_outside" for one in findings) and cycle.temperature_c is not None
    at = f" for cells at {fixed(cycle.temperature_c)}{NO_BREAK}°C" if own else ""
    return f"yes{at}, because the discharge reached empty, {back}and nothing was found against it.{of}"
