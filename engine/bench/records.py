"""What a bench leaves behind: a log over time, a table of charge ends, a list of cells; and what is found about them.

Volts and amperes are of the cell under test, current into it positive where the log says which way it flows.
Missing numbers are NaN in arrays and None in rows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.text.finding import Finding

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchLog:
    """One log of one cell, rows in the order of the file; all arrays (n,), optional ones None where absent."""

    time_s: Array
    voltage_v: Array
    current_a: Array
    ah: Array | None = None
    wh: Array | None = None
    step: Array | None = None
    temperature_c: Array | None = None
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeEnd:
    """One row of a bench table: ampere-hours delivered on the discharge after a charge that ended at `volts`."""

    volts: float
    no_hold_ah: float | None = None
    hold_ah: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeTable:
    """A bench table of one cell, by rising volts; currents as they were set on the bench."""

    ends: tuple[ChargeEnd, ...]
    charge_a: float
    tail_a: float
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TestedCell:
    """One cell of a list: its mark and what was measured of it."""

    __test__ = False

    name: str
    ah: float
    wh: float | None = None
    milliohm: float | None = None
