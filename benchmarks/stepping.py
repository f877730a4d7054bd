"""The map the long way, to hold the depth spectrum against: every pair of panels and bank stepped hour by hour.

All three take the same hours and give, by array and bank, what goes unserved [kWh] and the dark spells. A bank starts
full; a dark spell ends where it is full again.
"""

from __future__ import annotations

import ctypes
import shutil
import subprocess
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.balance.equivalent import Equivalent
from engine.quantities import WH_PER_KWH

Floats = NDArray[np.float64]
Cells = tuple[Floats, Floats]
"""Unserved [kWh] and dark spells, each (arrays, banks)."""

C_SOURCE = """
void grid(long hours, long arrays, const double *sun_w, const double *drawn_w, double limit_w, const double *times,
          const double *bank_kwh, double into, double out, double *short_kwh, double *spells)
{
    double bank[BANKS], drawn[BANKS], dark[BANKS], lost[BANKS], count[BANKS];
    for (long b = 0; b < BANKS; b++) bank[b] = bank_kwh[b];
    for (long a = 0; a < arrays; a++) {
        for (long b = 0; b < BANKS; b++) drawn[b] = dark[b] = lost[b] = count[b] = 0.0;
        for (long h = 0; h < hours; h++) {
            double given_w = times[a] * sun_w[h];
            double over_w = (given_w < limit_w ? given_w : limit_w) - drawn_w[h];
            double net_kwh = over_w * (over_w > 0.0 ? into : out);
            for (long b = 0; b < BANKS; b++) {
                double level = drawn[b] - net_kwh;
                level = level > 0.0 ? level : 0.0;
                double was = level > 0.0 ? dark[b] : 0.0;
                double beyond = level - bank[b];
                beyond = beyond > 0.0 ? beyond : 0.0;
                double now = beyond > 0.0 ? 1.0 : was;
                lost[b] += beyond;
                count[b] += now - was;
                dark[b] = now;
                drawn[b] = level - beyond;
            }
        }
        for (long b = 0; b < BANKS; b++) short_kwh[a * BANKS + b] = lost[b], spells[a * BANKS + b] = count[b];
    }
}
"""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """A supply on many years, with panels in times of its own and banks [kWh], self-discharge left out."""

    found: Equivalent
    times: tuple[float, ...]
    bank_kwh: Floats

    def net_kwh(self, hours: int) -> Floats:
        """Return the net energy of the first hours by array [kWh], (arrays, hours)."""
        return np.array([self.found.net_kwh(times, 0.0)[:hours] for times in self.times])


def by_numpy(grid: Grid, hours: int) -> Cells:
    """Step the first hours with numpy, all pairs of panels and bank together."""
    nets, banks = grid.net_kwh(hours), np.tile(grid.bank_kwh, (len(grid.times), 1))
    drawn, short, spells, over = (np.zeros(banks.shape) for _ in range(4))
    dark, empty, new = (np.zeros(banks.shape, dtype=bool) for _ in range(3))
    for net in np.ascontiguousarray(nets.T)[:, :, None]:
        np.subtract(drawn, net, out=drawn)
        np.maximum(drawn, 0.0, out=drawn)
        np.greater(drawn, 0.0, out=empty)
        np.logical_and(dark, empty, out=dark)
        np.subtract(drawn, banks, out=over)
        np.maximum(over, 0.0, out=over)
        np.subtract(drawn, over, out=drawn)
        np.add(short, over, out=short)
        np.greater(over, 0.0, out=empty)
        np.greater(empty, dark, out=new)
        np.add(spells, new, out=spells)
        np.logical_or(dark, empty, out=dark)
    return short, spells


def by_python(net: Sequence[float], bank_kwh: float) -> tuple[float, int]:
    """Step one pair in plain Python."""
    drawn = short = 0.0
    spells, dark = 0, False
    for kwh in net:
        drawn -= kwh
        if drawn <= 0.0:
            drawn, dark = 0.0, False
        elif drawn > bank_kwh:
            short += drawn - bank_kwh
            drawn, spells, dark = bank_kwh, spells + (not dark), True
    return short, spells


def c_compiler() -> str | None:
    """Return the C compiler of this machine, if it has one."""
    return shutil.which("gcc")


def by_c(compiler: str, folder: Path, banks: int, flags: Sequence[str] = ("-march=native",)) -> Callable[[Grid], Cells]:
    """Build the C loop over the full grid, with vector instructions over the banks.

    Parameters
    ----------
    folder : Path
        Where source and library go.
    banks : int
        How many banks, known when it is built.
    flags : sequence of str
        Beside -O3.
    """
    source, library = folder / "grid.c", folder / f"grid{len(flags)}.so"
    source.write_text(C_SOURCE, encoding="ascii")
    command = [compiler, "-O3", *flags, f"-DBANKS={banks}", "-shared", "-fPIC", "-o", str(library), str(source)]
    subprocess.run(command, check=True)
    loop = ctypes.CDLL(str(library)).grid
    long, number = ctypes.c_long, ctypes.c_double
    array: Any = np.ctypeslib.ndpointer(np.float64, flags="C_CONTIGUOUS")
    loop.argtypes = [long, long, array, array, number, array, array, number, number, array, array]
    loop.restype = None

    def stepped(grid: Grid) -> Cells:
        years, bank, times = grid.found.winters, grid.found.bank, np.array(grid.times)
        short, spells = np.zeros((times.size, banks)), np.zeros((times.size, banks))
        into, out = bank.charge_efficiency / WH_PER_KWH, 1.0 / (bank.discharge_efficiency * WH_PER_KWH)
        hours = years.sun_w.size, times.size, years.sun_w, years.drawn_w, years.sun_limit_w
        loop(*hours, times, grid.bank_kwh, into, out, short, spells)
        return short, spells

    return stepped
