"""What is wrong or dangerous about how high a bank is charged: charger, board, cells, and the highest of the cells.

Volts per cell unless the name says otherwise. A check is never an approval.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import floor

from engine.answers.answer import Notice, Remedy
from engine.house.bank import Bank
from engine.house.inverter import Inverter

BOARD_ROOM_V = 0.05
"""Room left under a board's highest cell volts where no spread of the cells is entered [V per cell] (assumed)."""


def spread_v(bank: Bank) -> float:
    """Highest cell above the mean at the end of a charge [V], 0 where nothing is entered."""
    return 0.0 if bank.cell_spread_mv is None else bank.cell_spread_mv / 1000.0


def highest_setting_v(bank: Bank, inverter: Inverter | None) -> float | None:
    """Highest charge setting within cell, board and inverter, the spread of the cells taken off [V per cell].

    Returns
    -------
    float or None
        To 0.01 V downwards; None where that lies at or below the cell's nominal volts.
    """
    lowest_v, _ = min(setting_limits(bank, inverter), key=lambda one: one[0])
    highest = floor(lowest_v * 100.0 + 1e-6) / 100.0
    return highest if highest > bank.cell.v_nominal else None


def setting_limits(bank: Bank, inverter: Inverter | None) -> list[tuple[float, str]]:
    """What limits a charge setting, the spread of the cells taken off: volts per cell, and the limit in words."""
    spread, cell, board = spread_v(bank), bank.cell, bank.board
    less = f", less {bank.cell_spread_mv:g} mV for its highest cell" if bank.cell_spread_mv else ""
    limits = [(cell.v_max - spread, f"{cell.name} ends at {cell.v_max:g} V per cell{less}")]
    if board is not None:
        room = BOARD_ROOM_V if bank.cell_spread_mv is None else spread
        words = less or f", less {room:g} V of room"
        limits.append((board.cell_high_v - room, f"its board opens at {board.cell_high_v:g} V per cell{words}"))
    if inverter is not None:
        by_inverter = inverter.charge_max_v / bank.series
        words = f"{inverter.name} charges to {inverter.charge_max_v:g} V at most, {by_inverter:.3f} V per cell"
        limits.append((by_inverter, words))
    return limits


def lower(bank: Bank, inverter: Inverter | None) -> tuple[Remedy, ...]:
    """One click that ends the charge at the highest setting allowed; none where there is no such setting."""
    highest = highest_setting_v(bank, inverter)
    if highest is None:
        return ()
    values: dict[str, float | str] = {"charge_v": highest, "hold": bank.hold}
    return (
        Remedy(label=f"End the charge at {highest:.2f} V per cell", section="banks", item_id=bank.id, values=values),
    )


CURED_BY_LOWER = frozenset(
    {"over-inverter", "over-charge-setting", "board-below-charge", "highest-cell-over-board", "highest-cell-over-max"}
)
"""Notices of a charge setting that is too high for something; `cured` gives them their remedy."""


def cured(notice: Notice, bank: Bank, inverter: Inverter | None) -> Notice:
    """Give a notice of too high a charge setting the one cure that is within cell, board and inverter at once."""
    return replace(notice, remedies=lower(bank, inverter)) if notice.code in CURED_BY_LOWER else notice


def highest_cell_notices(bank: Bank) -> Iterator[Notice]:
    """The highest cell at the charge setting, from the entered spread, against its own limit and the board's."""
    if bank.cell_spread_mv is None:
        return
    cell_v = bank.charge_end_cell_v
    highest_v = cell_v + spread_v(bank)
    words = (
        f"{bank.name}: at a mean of {cell_v:.2f} V its highest cell, {bank.cell_spread_mv:g} mV above, stands at "
        f"{highest_v:.2f} V per cell"
    )
    if highest_v > bank.cell.v_max + 1e-9:
        yield Notice(
            level="stop",
            code="highest-cell-over-max",
            page="banks",
            text=f"{words}, above the {bank.cell.v_max:g} V at which {bank.cell.name} ends. End the charge lower, and "
            "even the cells out.",
        )
    elif bank.board is not None and cell_v <= bank.board.cell_high_v < highest_v - 1e-9:
        yield Notice(
            level="check",
            code="highest-cell-over-board",
            page="banks",
            text=f"{words}; the board opens at {bank.board.cell_high_v:g} V, in the middle of a charge. End the charge "
            "lower, and even the cells out.",
        )


def charger_notices(bank: Bank, inverter: Inverter) -> Iterator[Notice]:
    """A charge setting that the inverter's charger cannot be set to."""
    charge_v, most_v = bank.charge_end_cell_v * bank.series, inverter.charge_max_v
    if most_v + 1e-9 < charge_v <= inverter.dc_max_v + 1e-9:
        yield Notice(
            level="stop",
            code="over-charge-setting",
            page="banks",
            text=f"{bank.name} would be charged to {charge_v:.1f} V; the charger of {inverter.name} can be set to "
            f"{most_v:g} V at most. Lower the charge setting, or use fewer cells in series.",
        )
