"""A made-up log to try the page with: one charge, its hold, a rest and a discharge of our own cell model.

Nobody measured it, and its first line says so. Volts are the rested volts plus current times the resistance that
hours see; not modelled: recovery at rest, heat, noise.
"""

from __future__ import annotations

from functools import lru_cache

from engine.cells import catalogue
from engine.cells.chemistry import Chemistry, at, ocv_at, r_slow_at, table

NAME = "made-up-log.csv"
CHEMISTRY = "sodium_layered"
LABEL_AH = 1.5
HELD_AH = 1.42
"""Invented: a small round cell that holds a little less than its label says."""
CURRENT_C = 0.5
ROW_S = 20.0
REST_S = 1800.0
ROOM_C = 22.0
HEAD = ("# Made up from Greyspell's own cell model; nobody measured it", "Time [s],Voltage [V],Current [A],Temp [C]")

Row = tuple[float, float]
"""Volts and amperes, into the cell positive."""


@lru_cache(maxsize=1)
def log() -> bytes:
    """Return the log as delimited text.

    Examples
    --------
    >>> print(log().decode().splitlines()[1])
    Time [s],Voltage [V],Current [A],Temp [C]
    """
    cell = catalogue.load(CHEMISTRY)
    rows = _rest(cell, 0.0, 300.0)
    charged, full = _charge(cell)
    rows += charged + _rest(cell, full, REST_S)
    drawn, left = _discharge(cell, full)
    rows += drawn + _rest(cell, left, REST_S)
    lines = [f"{n * ROW_S:.0f},{v:.4f},{a:.4f},{ROOM_C:.1f}" for n, (v, a) in enumerate(rows)]
    return "\n".join((*HEAD, *lines, "")).encode()


def _rest(cell: Chemistry, soc: float, seconds: float) -> list[Row]:
    return [(ocv_at(cell, soc), 0.0)] * int(seconds / ROW_S)


def _charge(cell: Chemistry) -> tuple[list[Row], float]:
    """Constant current up to the full volts, held there down to the tail: the rows and the charge reached."""
    rows: list[Row] = []
    soc, rate = 0.0, CURRENT_C
    while rate > cell.tail_c and soc < 1.0:
        rate = min(CURRENT_C, (cell.v_full - ocv_at(cell, soc)) / r_slow_at(cell, soc))
        rows.append((ocv_at(cell, soc) + rate * r_slow_at(cell, soc), rate * HELD_AH))
        soc += rate * ROW_S / 3600.0 * at(table(cell).coulombic, soc)
    return rows, min(soc, 1.0)


def _discharge(cell: Chemistry, soc: float) -> tuple[list[Row], float]:
    """Constant current down to the empty volts: the rows and the charge left."""
    rows: list[Row] = []
    volts = cell.v_full
    while volts > cell.v_low and soc > 0.0:
        volts = ocv_at(cell, soc) - CURRENT_C * r_slow_at(cell, soc)
        rows.append((volts, -CURRENT_C * HELD_AH))
        soc -= CURRENT_C * ROW_S / 3600.0
    return rows, max(soc, 0.0)
