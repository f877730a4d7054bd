"""How much charge current cells may take when they are cold.

Currents are A of the whole bank or C of its tested Ah, temperatures degC of the cells. Not modelled: how the limit
also falls with the charge, and cells of one bank at different temperatures.
"""

from __future__ import annotations

from math import inf

from engine.cells import lead_acid
from engine.cells.cold_limits import COLD_C, FULL_C, coldest_stated
from engine.house.bank import Bank

UNSTATED_C = 0.1
"""Charge current counted at 0 degC where none is entered, for cells that need a board: lithium plates in the cold [C]
(typical, from memory: sheets of large lithium cells allow 0.05 to 0.2C there; the cells' own sheet rules)."""


def is_lead(bank: Bank) -> bool:
    """Whether the cells are lead-acid: they give off hydrogen and need no board."""
    return bank.cell.vents_hydrogen and not bank.cell.needs_board


def first_charge_c(bank: Bank) -> float:
    """Charge current that the cells take as they are, or too cold ones as soon as they take any [C].

    What is colder than `Bank.charge_min_c` takes none; this is what a charger must be held to when it thaws.
    """
    if bank.cell_c >= bank.charge_min_c:
        return allowed_charge_c(bank, bank.cell_c)
    return allowed_charge_c(bank, max(bank.charge_min_c, COLD_C))


def acid_frozen(bank: Bank, soc: float) -> bool:
    """Whether the acid of a lead-acid bank freezes at a charge [-]: frozen cells must not be charged."""
    return is_lead(bank) and bank.cell_c <= lead_acid.freezes_at_c(soc)


def takes_none(bank: Bank) -> bool:
    """Whether a bank may not be charged at the temperature of its cells, whatever its charge."""
    return allowed_charge_c(bank, bank.cell_c) <= 0.0


def cold_limit_stated(bank: Bank) -> bool:
    """Whether anybody has stated what the cells may be charged with when cold: the bank, or a source of its cells."""
    return bank.cold_charge_a is not None or coldest_stated(bank.cell)


def full_charge_c(bank: Bank) -> float:
    """Charge current that warm cells may take: the lowest limit of chemistry, bank and board [C]."""
    board_c = inf if bank.board is None else bank.board.current_limit_a / bank.ah
    bank_c = inf if bank.charge_limit_a is None else bank.charge_limit_a / bank.ah
    return min(bank.cell.charge_c_max, bank_c, board_c)


def cold_charge_a(bank: Bank) -> float | None:
    """Charge current counted at 0 °C [A]: the one entered, else `UNSTATED_C`; None for lead-acid."""
    if bank.cold_charge_a is not None:
        return bank.cold_charge_a
    return UNSTATED_C * bank.ah if bank.cell.needs_board else None


def full_from_c(bank: Bank) -> float:
    """Lowest cell temperature at which the whole charge current is allowed [degC]."""
    cold_a = cold_charge_a(bank)
    if cold_a is None or cold_a / bank.ah >= full_charge_c(bank):
        return bank.charge_min_c
    return max(FULL_C, bank.charge_min_c)


def allowed_charge_c(bank: Bank, temperature_c: float) -> float:
    """Charge current that the cells may take at a temperature [C].

    Parameters
    ----------
    temperature_c : float
        Cell temperature [degC].

    Returns
    -------
    float
        0 below `Bank.charge_min_c` and above the chemistry's warmest. Of lead-acid the whole limit between these; of
        other cells a line from `cold_charge_a` at 0 degC, or at `charge_min_c` where that is higher, to the whole limit
        at `FULL_C`. Cells that may be charged below 0 degC: a line on down to nothing at `charge_min_c` (judgement, on
        the safe side).
    """
    if not bank.charge_min_c <= temperature_c <= bank.cell.charge_max_c:
        return 0.0
    full, cold_a = full_charge_c(bank), cold_charge_a(bank)
    if cold_a is None or temperature_c >= full_from_c(bank):
        return full
    cold = min(cold_a / bank.ah, full)
    start_c = max(COLD_C, bank.charge_min_c)
    if temperature_c < start_c:
        return cold * (temperature_c - bank.charge_min_c) / (start_c - bank.charge_min_c)
    return cold + (full - cold) * (temperature_c - start_c) / (FULL_C - start_c)
