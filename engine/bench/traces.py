"""One constant-current charge or discharge of one cell: its volts against the ampere-hours that went through.

Volts of one cell, amperes as a positive number whichever way they flow. Not modelled: anything; this is a record.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """A charge (volts rise) or a discharge (volts fall) at one current, without its hold.

    `ah` rises from 0: put in by a charge, drawn by a discharge. `current_a` is the median current, above 0.
    `starts_empty` (of a discharge: full) says whether the run before it ended there; if not, `offset_ah` is
    what the cell held (of a discharge: lacked) at the first point, as far as it is known.
    """

    ah: Array
    volts: Array
    current_a: float
    starts_empty: bool
    offset_ah: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """The hold that followed a charge: its volts, and its current against ampere-hours since the charge began.

    `ah` rises from what the constant current had put in; `current_a` falls and stays above 0.
    """

    volts: float
    ah: Array
    current_a: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class CurrentStep:
    """A change of current or the first seconds of a rest: how far the volts moved, both as positive numbers."""

    volts: float
    current_a: float
    seconds: float
