"""Time a log of 200,000 rows from its text to the cell's curve, and the charge volts of a bank."""

from __future__ import annotations

import numpy as np

from benchmarks.timing import report
from engine.answers.charging import charging
from engine.bench.analysis import analyse
from engine.bench.cell_of_log import cell_of
from engine.bench.files import guess, read_log
from engine.cells import catalogue
from engine.cells.chemistry import table
from engine.house.household import Household


def bench_lines(home: Household) -> None:
    """Time what is done with a tester's log."""
    content = long_log(200_000)
    read = guess(content)
    report("guess and read a log of 200,000 rows", lambda: read_log(content, guess(content)))
    log = read_log(content, read)
    report("analyse it", lambda: analyse(log))
    result = analyse(log)
    report("its cell's curve", lambda: cell_of(result, catalogue.load("sodium_layered")), 3000.0)
    supply = home.supplies()[0]
    report("charge volts", lambda: charging(home, supply.bank, supply.inverter, cell_v=2.4, hold=True, month=12))


def long_log(rows: int) -> bytes:
    """Make a log of one sodium-ion cell of 1.5 Ah, charged at 0.5C and drawn again, with `rows` rows."""
    cell, half = table(catalogue.load("sodium_layered")), rows // 2
    soc = np.linspace(0.02, 0.98, half)
    grid = np.linspace(0.0, 1.0, len(cell.ocv_v))
    ocv, ohms = np.interp(soc, grid, cell.ocv_v), np.interp(soc, grid, cell.r_slow)
    volts = np.concatenate((ocv + 0.5 * ohms, (ocv - 0.5 * ohms)[::-1]))
    amps = np.repeat((0.75, -0.75), half)
    hours = np.concatenate(((soc - 0.02) / 0.5, 1.92 + (soc - 0.02) / 0.5))
    lines = (f"{3600 * t:.2f},{v:.4f},{a:.3f}" for t, v, a in zip(hours, volts, amps, strict=True))
    return ("time s,voltage V,current A\n" + "\n".join(lines)).encode()
