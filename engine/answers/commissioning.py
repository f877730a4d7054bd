"""What to set on the day a bank is commissioned: every volt, ampere, degree and minute, each with why.

Volts per cell and of the whole pack, currents of the whole bank, temperatures of the cells. What contradicts the cells,
the board or the inverter is a stop. A check is never an approval: the makers' sheets rule.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from engine.answers.answer import KEPT_ANSWERS, Assumption, Notice, gravest_first, said_once
from engine.answers.care_bank import EQUALISE_EVERY_DAYS, equalise
from engine.answers.charging import Charging, charging
from engine.answers.charging_current import current_limits
from engine.answers.charging_notices import LEAD_APART_C
from engine.answers.commissioning_bus import bus_rows, own_end
from engine.answers.commissioning_parts import ToSet, marked_as_proposed, volts_rows
from engine.answers.notices import running_notices
from engine.answers.notices_cold import LATE_CUT_OFF, unstated_notices
from engine.cells.cold_limits import FULL_C
from engine.cells.lead_acid import LEAD_C, lead_cell_v
from engine.house.bank import Bank
from engine.house.bus import clash_sentence, common_end_v
from engine.house.cold import UNSTATED_C, cold_charge_a, cold_limit_stated, full_from_c, is_lead
from engine.house.household import Household, Supply
from engine.house.inverter import Inverter

SURE_STOPS = frozenset({"charger-over-bank", "restart-above-charge", LATE_CUT_OFF})
"""Checks of a household that are a stop on the day it is all switched on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BankSettings:
    """Everything to set for one bank, or once for all on one bus (`series` None), and what is wrong with it."""

    bank_id: str
    bank_name: str
    chemistry: str
    series: int | None
    inverter_id: str
    inverter_name: str
    rows: tuple[ToSet, ...]
    notices: tuple[Notice, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Commissioning:
    """The settings of every bank that is joined to an inverter; those of a shared bus stand before its banks.

    `notices` are theirs and those of the whole house, each once.
    """

    month: int
    banks: tuple[BankSettings, ...]
    notices: tuple[Notice, ...]
    assumptions: tuple[Assumption, ...]


@lru_cache(maxsize=KEPT_ANSWERS)
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
    asked = [(supply, [_charging(household, alone, supply, month) for alone in supply.apart]) for supply in supplies]
    banks = tuple(one for supply, answers in asked for one in _supply(supply, answers))
    found = {one.name: one for _, answers in asked for answer in answers for one in answer.assumptions}
    own = (notice for bank in banks for notice in bank.notices)
    return Commissioning(
        month=month,
        banks=banks,
        notices=said_once((*own, *running_notices(household, month))),
        assumptions=tuple(found.values()),
    )


def _has_one_setting(supply: Supply) -> bool:
    """Whether several banks share one charger's setting; banks that may not share a bus have none in common."""
    return bool(supply.beside) and not clash_sentence(supply.banks, supply.inverter)


def _charging(household: Household, alone: Supply, on: Supply, month: int) -> Charging:
    """A bank's charge as it is set, or on a shared bus to the volts of all."""
    bank = alone.bank
    end_v = common_end_v(on.banks) / bank.series if _has_one_setting(on) else bank.charge_end_cell_v
    return charging(household, bank, alone.inverter, cell_v=end_v, hold=bank.hold, month=month)


def _supply(supply: Supply, answers: Sequence[Charging]) -> Iterator[BankSettings]:
    if not _has_one_setting(supply):
        for bank, answer in zip(supply.banks, answers, strict=True):
            yield _bank(bank, supply.inverter, answer, (*volts_rows(answer), *_currents(bank, supply.inverter)))
        return
    yield BankSettings(
        bank_id=f"bus-{supply.inverter.id}",
        bank_name=supply.name,
        chemistry=" and ".join(dict.fromkeys(bank.cell.name for bank in supply.banks)),
        series=None,
        inverter_id=supply.inverter.id,
        inverter_name=supply.inverter.name,
        rows=tuple(marked_as_proposed(supply.inverter, one) for one in bus_rows(supply, answers)),
        notices=(),
    )
    for bank, answer in zip(supply.banks, answers, strict=True):
        _, discharge = _currents(bank, supply.inverter)
        yield _bank(bank, supply.inverter, answer, (own_end(bank, answer.pack_v), discharge))


def _bank(bank: Bank, inverter: Inverter, answer: Charging, rows: Iterable[ToSet]) -> BankSettings:
    found = (dataclasses.replace(one, level="stop") if one.code in SURE_STOPS else one for one in answer.notices)
    return BankSettings(
        bank_id=bank.id,
        bank_name=bank.name,
        chemistry=bank.cell.name,
        series=bank.series,
        inverter_id=inverter.id,
        inverter_name=inverter.name,
        rows=(
            *(marked_as_proposed(inverter, _at_its_temperature(bank, inverter, one)) for one in rows),
            *_equalising(bank, inverter),
            *_temperatures(bank),
            *_board(bank),
        ),
        notices=gravest_first((*found, *_cold_limit(bank))),
    )


def _at_its_temperature(bank: Bank, inverter: Inverter, row: ToSet) -> ToSet:
    """The end of a lead-acid charge with what it is at the cells' own temperature, where that is far from 25 degC."""
    if row.key != "end" or row.cell_v is None or not is_lead(bank) or abs(bank.cell_c - LEAD_C) < LEAD_APART_C:
        return row
    there_v = lead_cell_v(row.cell_v, bank.cell_c) * bank.series
    over = there_v > inverter.charge_max_v + 1e-9
    now = f"no more than {inverter.charge_max_v:g} V" if over else f"{there_v:.1f} V"
    return dataclasses.replace(row, label=f"{row.label}, at {LEAD_C:g} °C; now {now}")


def _equalising(bank: Bank, inverter: Inverter) -> Iterator[ToSet]:
    """Lead-acid alone: volts of an equalising charge at 25 degC, or why there must be none."""
    if not is_lead(bank):
        return
    charge = equalise(bank, inverter)
    if charge is None or not charge.fits:
        why = (
            f"never: {bank.cell.name} must not be equalised"
            if charge is None
            else f"not on {inverter.name}: it would take {charge.here_pack_v:.1f} V at {bank.cell_c:g} °C, and it ends "
            f"at {charge.inverter_max_v:g} V"
        )
        yield ToSet(key="equalise", label="Equalising: off", why=why)
        return
    yield ToSet(
        key="equalise",
        label="Equalising, at 25 °C",
        why=f"by hand, watched and aired, every {EQUALISE_EVERY_DAYS[0]} to {EQUALISE_EVERY_DAYS[1]} days (typical, "
        f"from memory); {charge.here_pack_v:.1f} V at {bank.cell_c:g} °C; never by a timer",
        cell_v=charge.cell_v,
        pack_v=charge.cell_v * bank.series,
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
    cell, now_c = bank.cell, None if bank.board is None else bank.board.charge_min_c
    if cold_limit_stated(bank):
        why = "below it no charge at all"
        cold_a = cold_charge_a(bank)
        if cold_a is not None:
            said = "" if bank.cold_charge_a is not None else f", {UNSTATED_C:g}C as none is entered,"
            why += f"; {cold_a:g} A there{said} and the whole current from {full_from_c(bank):g} °C on"
        label = "No charge below"
    else:
        why = "not stated: ask the maker of these cells, no other chemistry’s limit may stand in for it; until then no "
        why += "charge is counted below this"
        label = "No charge below (limit not stated)"
    if cell.needs_board and now_c is None:
        why += "; no cold cut-off of a board is entered: see that it has one and set it"
    yield ToSet(key="charge-cold", label=label, why=why, value=bank.charge_min_c, unit="°C", now=now_c)
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
