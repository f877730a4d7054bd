"""A bank of another size: strings of the same cells, their usable energy, and what a charge of it takes.

Strings may be a fraction of one where a size is compared; limits of current grow with the strings. Energy is kWh at
the bank's terminals.
"""

from __future__ import annotations

import dataclasses
from math import ceil

import numpy as np

from engine.cells.chemistry import arrays
from engine.house.bank import Bank, delivered, floor
from engine.house.inverter import Inverter
from engine.quantities import WH_PER_KWH

MOST_STRINGS = 200
"""Strings in parallel a bank may have in this tool."""
MOST_A = 5000.0
"""Largest limit of current a bank may state [A]."""
LEAST_BOARD_A, LEAST_CHARGE_A = 1.0, 0.5
_PARTS = 401


def with_strings(bank: Bank, strings: float) -> Bank:
    """Return the bank with so many strings, its limits of current in proportion.

    Parameters
    ----------
    strings : float
        Above 0; of a fraction, every string's cells are smaller by the same share.
    """
    times, whole = strings / bank.parallel, max(ceil(strings - 1e-9), 1)
    share, board, limit_a = strings / whole, bank.board, bank.charge_limit_a
    if board is not None:
        amps = min(max(board.current_limit_a * times, LEAST_BOARD_A), MOST_A)
        board = dataclasses.replace(board, current_limit_a=amps)
    if limit_a is not None:
        limit_a = min(max(limit_a * times, LEAST_CHARGE_A), MOST_A)
    cold_a = None if bank.cold_charge_a is None else min(bank.cold_charge_a * times, MOST_A)
    tested_ah = None if bank.tested_ah is None else bank.tested_ah * share
    return dataclasses.replace(
        bank,
        parallel=whole,
        label_ah=bank.label_ah * share,
        tested_ah=tested_ah,
        board=board,
        charge_limit_a=limit_a,
        cold_charge_a=cold_a,
    )


def usable_kwh(bank: Bank, inverter: Inverter, strings: float, power_w: float) -> float:
    """Return what so many strings give from the top of their window to its end at a constant power [kWh].

    Parameters
    ----------
    power_w : float
        Power at the terminals of the whole bank [W], > 0.
    """
    one, each_w = with_strings(bank, 1), power_w / strings
    kwh, _ = delivered(one, one.top_reached_soc, floor(one, inverter, each_w).soc, each_w)
    return kwh * strings


def taken_kwh(bank: Bank, low_soc: float, high_soc: float, power_w: float) -> float:
    """Return what a charge between two states takes at the terminals [kWh], at a constant power or the current limit.

    Parameters
    ----------
    low_soc, high_soc : float
        Start and end [-].
    power_w : float
        Power at the bank's terminals [W], > 0.
    """
    edges = np.linspace(low_soc, high_soc, _PARTS)
    middle = (edges[1:] + edges[:-1]) / 2.0
    cells = arrays(bank.cell, bank.cell_c)
    ocv_v, r_v, coulombic = (
        np.interp(middle, cells.soc, values) for values in (cells.ocv_v, cells.r_slow, cells.coulombic)
    )
    per_ah_w = power_w / (bank.series * bank.ah)
    rate = np.minimum(2.0 * per_ah_w / (ocv_v + np.sqrt(ocv_v**2 + 4.0 * r_v * per_ah_w)), bank.cell.charge_c_max)
    per_ah_wh = float(np.sum(np.diff(edges) * (ocv_v + r_v * rate) / coulombic))
    return bank.series * bank.ah * per_ah_wh / WH_PER_KWH


def charge_efficiency(bank: Bank, inverter: Inverter, charge_w: float, discharge_w: float) -> float:
    """Return the share of what is put into a bank at one power that it gives back at another [-], over its window."""
    low, high = floor(bank, inverter, discharge_w).soc, bank.top_reached_soc
    given, _ = delivered(bank, high, low, discharge_w)
    return given / taken_kwh(bank, low, high, charge_w)
