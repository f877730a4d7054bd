"""What is dangerous or lost about a bank that is too cold to be charged, or to be charged fast."""

from __future__ import annotations

from collections.abc import Iterator

from engine.answers.answer import Notice
from engine.cells.cold_limits import FULL_C
from engine.house.bank import Bank
from engine.house.cold import cold_limit_stated, first_charge_c, full_from_c
from engine.house.inverter import Inverter

TOO_COLD = "too-cold-to-charge"
UNSTATED = "cold-limit-unstated"
LATE_CUT_OFF = "board-charges-below-cells"


def frozen_notices(bank: Bank) -> Iterator[Notice]:
    """Cells that no board keeps a charge out of below their chemistry's coldest: now, or once they are as cold."""
    cell, board = bank.cell, bank.board
    stops_c = None if board is None else board.charge_min_c
    if not cell.needs_board or (stops_c is not None and stops_c >= cell.charge_min_c):
        return
    if bank.cell_c >= cell.charge_min_c:
        if stops_c is not None:
            yield _late_cut_off(bank, stops_c)
        return
    lets_in = "its board still lets a charge in"
    if stops_c is None:
        lets_in = "no board stops a charge" if board is None else "its board has no cold cut-off that is entered"
    yield Notice(
        level="stop",
        code="board-charges-frozen",
        page="banks",
        text=f"{bank.name}: at {bank.cell_c:g} °C {lets_in}; {cell.name} must not be charged below "
        f"{cell.charge_min_c:g} °C: metal plates inside the cells, which ruins them unseen and can start a fire. Stop "
        "the charge by hand or warm the cells.",
    )


def _late_cut_off(bank: Bank, stops_c: float) -> Notice:
    """A board of warm cells that will let a charge in when they are too cold for one."""
    cell = bank.cell
    return Notice(
        level="check",
        code=LATE_CUT_OFF,
        page="banks",
        text=f"{bank.name}: its board lets a charge in down to {stops_c:g} °C; {cell.name} must not be charged below "
        f"{cell.charge_min_c:g} °C. Set its cold cut-off to that or higher before the cells are as cold.",
    )


def cold_charge_notices(bank: Bank) -> Iterator[Notice]:
    """Cells that no charge is counted for."""
    if bank.cell_c < bank.charge_min_c and cold_limit_stated(bank):
        yield Notice(
            level="check",
            code=TOO_COLD,
            page="banks",
            text=f"{bank.name}: at {bank.cell_c:g} °C no charge goes in; charging is refused below "
            f"{bank.charge_min_c:g} °C. Warm the cells first; the maker's sheet rules.",
        )


def charger_cold_notices(bank: Bank, inverter: Inverter) -> Iterator[Notice]:
    """A charger that may give more than cold cells take; a board stops a charge but does not lessen it."""
    allowed_a = first_charge_c(bank) * bank.ah
    if bank.cell_c >= full_from_c(bank) or allowed_a <= 0.0:
        return
    set_a = inverter.charge_limit_a
    if set_a is not None and set_a <= allowed_a:
        return
    gives = "has no limit entered for its charge" if set_a is None else f"may charge with {set_a:g} A"
    takes = f"at {bank.cell_c:g} °C {bank.name} takes {allowed_a:.0f} A at most, and no more is counted."
    if bank.cell_c < bank.charge_min_c:
        takes = (
            f"at {bank.cell_c:g} °C {bank.name} takes nothing, and {allowed_a:.0f} A at most once it may be charged."
        )
    yield Notice(
        level="check",
        code="charger-over-cold",
        page="inverter",
        text=f"{inverter.name} {gives}; {takes} Set the charger itself to that while the cells are so cold: a board "
        "stops a charge, it does not lessen it.",
    )


def unstated_notices(bank: Bank) -> Iterator[Notice]:
    """Cold cells whose limit for a cold charge nobody has stated."""
    if bank.cell_c >= FULL_C or cold_limit_stated(bank):
        return
    yield Notice(
        level="stop",
        code=UNSTATED,
        page="banks",
        text=f"{bank.name}: its cells are at {bank.cell_c:g} °C, and nobody has stated how they may be charged below "
        f"{FULL_C:g} °C. No other chemistry’s limit holds for {bank.cell.name}: do not charge them so cold until the "
        "cell maker says with how many amperes, and enter that on Banks as the charge current at 0 °C; or warm them. "
        "Until then no answer counts a charge below that.",
    )
