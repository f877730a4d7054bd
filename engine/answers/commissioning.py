"""What to set on the day a bank is commissioned: every volt, ampere, degree and minute, each with why.

Volts per cell and of the whole pack, currents of the whole bank, temperatures of the cells. What contradicts the cells,
the board or the inverter is a stop. A check is never an approval: the makers' sheets rule.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass

from engine.answers.answer import Assumption, Notice, gravest_first
from engine.answers.charging import Charging, charging
from engine.answers.charging_current import current_limits
from engine.answers.notices_cold import unstated_notices
from engine.house.bank import Bank
from engine.house.cold import FULL_C, cold_limit_stated, full_from_c
from engine.house.household import Household, Supply
from engine.house.inverter import Inverter

NAMED = {"end": "Absorption", "reserve": "Reserve, under load"}
SURE_STOPS = frozenset({"charger-over-bank", "restart-above-charge"})
"""Checks of a household that are a stop on the day it is all switched on."""
LEAST_MIN = 0.5
"""A shorter hold is none [min]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToSet:
    """One thing to set.

    Attributes
    ----------
    cell_v, pack_v : float or None
        Where it is a voltage [V].
    value : float or None
        Where it is something else, in `unit`.
    now : float or None
        What is set now where the household says so, in pack volts or in `unit`.
    """

    key: str
    label: str
    why: str
    cell_v: float | None = None
    pack_v: float | None = None
    value: float | None = None
    unit: str = ""
    now: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BankSettings:
    """Everything to set for one bank, and what is wrong with it."""

    bank_id: str
    bank_name: str
    chemistry: str
    series: int
    inverter_name: str
    rows: tuple[ToSet, ...]
    notices: tuple[Notice, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Commissioning:
    """The settings of every bank that is joined to an inverter."""

    month: int
    banks: tuple[BankSettings, ...]
    notices: tuple[Notice, ...]
    assumptions: tuple[Assumption, ...]


def commissioning(household: Household, supplies: tuple[Supply, ...], month: int) -> Commissioning:
    """List what to set for each bank, as it is charged in the household.

    Parameters
    ----------
    supplies : tuple of Supply
        The supplies whose banks are listed.
    month : int
        Month of the loads and the sun that the settings are read at, 1..12.

    Raises
    ------
    InputError
        If the charge of a bank is outside its limits.
    """
    asked = [(alone, _as_set(household, alone, month)) for supply in supplies for alone in supply.apart]
    found = {one.name: one for _, answer in asked for one in answer.assumptions}
    banks = tuple(_bank(household, alone, answer) for alone, answer in asked)
    return Commissioning(
        month=month,
        banks=banks,
        notices=gravest_first(notice for bank in banks for notice in bank.notices),
        assumptions=tuple(found.values()),
    )


def _as_set(household: Household, alone: Supply, month: int) -> Charging:
    bank = alone.bank
    return charging(household, bank, alone.inverter, cell_v=bank.charge_end_cell_v, hold=bank.hold, month=month)


def _bank(household: Household, alone: Supply, answer: Charging) -> BankSettings:
    bank, inverter = alone.bank, alone.inverter
    rows = (*_volts(answer), *_currents(bank, inverter), *_temperatures(bank), *_board(bank))
    found = (dataclasses.replace(one, level="stop") if one.code in SURE_STOPS else one for one in answer.notices)
    return BankSettings(
        bank_id=bank.id,
        bank_name=bank.name,
        chemistry=bank.cell.name,
        series=bank.series,
        inverter_name=inverter.name,
        rows=rows,
        notices=gravest_first((*found, *_cold_limit(bank))),
    )


def _volts(answer: Charging) -> Iterator[ToSet]:
    """The volts of the charge answer, with hold and tail after the end of the charge."""
    for one in answer.settings:
        yield ToSet(
            key=one.key,
            label=NAMED.get(one.key, one.label) if one.key != "end" or answer.hold else one.label,
            why=one.why,
            cell_v=one.cell_v,
            pack_v=one.pack_v,
            now=one.now_pack_v,
        )
        if one.key == "end":
            yield from _hold(answer)


def _hold(answer: Charging) -> Iterator[ToSet]:
    worth = answer.hold_worth
    if not answer.hold:
        why = "none: the charge stops as soon as the volts are reached"
        yield ToSet(key="hold", label="Hold", why=why, value=0.0, unit="min")
        return
    never = worth.minutes < LEAST_MIN
    yield ToSet(
        key="hold",
        label="Hold, at most",
        why="this charge current is below the tail already: no time to hold"
        if never
        else "about what the taper takes at this charge current, for a charger that counts time only; the tail current "
        "ends it sooner",
        value=worth.minutes,
        unit="min",
    )
    yield ToSet(
        key="tail",
        label="Tail current that ends the hold",
        why=f"{answer.tail_c:g}C of tested Ah; measured on the bank, with the loads’ share taken off",
        value=answer.tail_c * answer.ah,
        unit="A",
    )


def _currents(bank: Bank, inverter: Inverter) -> Iterator[ToSet]:
    charge_a, _, words = min(current_limits(bank, None))
    yield ToSet(
        key="charge-current",
        label="Highest charge current",
        why=f"the lowest of what is known: {words}; all chargers together",
        value=charge_a,
        unit="A",
        now=inverter.charge_limit_a,
    )
    by_cell_a = bank.cell.discharge_c_max * bank.ah
    by_board_a = None if bank.board is None else bank.board.current_limit_a
    lowest_a = by_cell_a if by_board_a is None else min(by_cell_a, by_board_a)
    who = (
        "the board’s limit"
        if lowest_a == by_board_a
        else f"{bank.cell.discharge_c_max:g}C, the limit of {bank.cell.name}"
    )
    yield ToSet(key="discharge-current", label="Highest discharge current", why=who, value=lowest_a, unit="A")


def _temperatures(bank: Bank) -> Iterator[ToSet]:
    cell = bank.cell
    if cold_limit_stated(bank):
        why = "below it no charge at all"
        if bank.cold_charge_a is not None:
            why += f"; {bank.cold_charge_a:g} A there, and the whole current from {full_from_c(bank):g} °C on"
        yield ToSet(key="charge-cold", label="No charge below", why=why, value=bank.charge_min_c, unit="°C")
    else:
        why = "not stated: ask the maker of these cells, no other chemistry’s limit may stand in for it"
        yield ToSet(key="charge-cold", label="No charge below", why=why, unit="°C")
    for key, label, value in (
        ("charge-warm", "No charge above", cell.charge_max_c),
        ("discharge-cold", "No discharge below", cell.discharge_min_c),
        ("discharge-warm", "No discharge above", cell.discharge_max_c),
    ):
        yield ToSet(key=key, label=label, why=f"for {cell.name}; the cells’ own sheet rules", value=value, unit="°C")


def _board(bank: Bank) -> Iterator[ToSet]:
    board = bank.board
    if board is None:
        return
    for key, label, volts in (
        ("board-high", "Board: highest cell volts", board.cell_high_v),
        ("board-low", "Board: lowest cell volts", board.cell_low_v),
    ):
        yield ToSet(
            key=key,
            label=label,
            why="the last line of defence, beyond every other setting; it must never do the daily work",
            cell_v=volts,
            pack_v=volts * bank.series,
        )
    if board.balance_v is None:
        yield ToSet(key="balancer", label="Balancer starts at", why="not entered: look it up in the board’s app")
        return
    yield ToSet(
        key="balancer",
        label="Balancer starts at",
        why="below the end of the charge, or the cells are never evened out",
        cell_v=board.balance_v,
        pack_v=board.balance_v * bank.series,
    )


def _cold_limit(bank: Bank) -> Iterator[Notice]:
    """Cells whose coldest charge nobody has stated: a stop at any temperature on the day they are commissioned."""
    if bank.cell_c < FULL_C or cold_limit_stated(bank):
        yield from unstated_notices(bank)
        return
    yield Notice(
        level="stop",
        code="cold-limit-not-stated",
        page="banks",
        text=f"{bank.name}: how cold {bank.cell.name} may be charged is not stated. Ask the maker and enter the charge "
        f"current at 0 °C on Banks; until then do not charge below {FULL_C:g} °C.",
    )
