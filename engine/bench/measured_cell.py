"""A cell as it was measured: its charge for any end volts and current, how sure that is, and the arithmetic of shares.

Charge is a share of `full_ah`, what the cell delivers after a hold at the highest measured volts; currents are in
C of it, volts per cell. Above the highest measured volts the answer is that of the highest: nothing is carried on.
Not modelled: temperature, hysteresis.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.bench.records import ChargeTable
from engine.bench.resistance import Resistance
from engine.cells.chemistry import first_crossing
from engine.cells.curve import PLAIN_RISE, PLAIN_STEPS, VOLT_STEP
from engine.text.finding import Finding

Array = NDArray[np.float64]

MEASURED_SHARE = 0.01
"""Standard error of a measured charge as a share of itself (assumed: meter, temperature, one cell for all)."""
BORROWED_SHARE = 0.5
"""Standard error of what is borrowed from the chemistry, as a share of it (assumed)."""
NO_HOLD_SHARE = 0.98
NOTHING_SHARE = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldCheck:
    """One measured hold against what the charges without a hold and the resistance say of it, as shares."""

    volts: float
    derived_share: float
    measured_share: float
    used_for_resistance: bool

    @property
    def difference_share(self) -> float:
        """Derived less measured [-]."""
        return self.derived_share - self.measured_share


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredCell:
    """What a test says of one cell; curves on s = 0, 0.001, ..., 1.

    `measured_c` are the currents at which a line was measured, `measured_from_soc` and `measured_to_soc` the
    charges between which the curve is measured and not borrowed, `first_v` the lowest measured volts.
    `residual_share` is the root mean square of `held_check` over the points that the resistance was fitted to.
    `coulombic_efficiency` is None where the test does not show it.
    """

    full_ah: float
    charge_c: float
    tail_c: float
    soc: Array
    ocv_v: Array
    r_v_per_c: Array
    resistance: Resistance
    v_low: float
    first_v: float
    v_top: float
    measured_c: tuple[float, ...]
    measured_from_soc: float
    measured_to_soc: float
    method: str
    residual_share: float = 0.0
    coulombic_efficiency: float | None = None
    held_check: tuple[HeldCheck, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchRow:
    """One end voltage: charge without a hold at one current and with a hold, each with its standard error.

    `no_hold_cannot_tell` and `hold_cannot_tell` mark volts so flat that they do not decide the charge; `borrowed`
    marks charges below the lowest measured one, `above_measured` volts above the highest, where nothing is added.
    """

    volts: float
    no_hold_share: float
    no_hold_band: float
    hold_share: float
    hold_band: float
    no_hold_cannot_tell: bool
    hold_cannot_tell: bool
    borrowed: bool
    above_measured: bool


def share_at(cell: MeasuredCell, volts: float, c_rate: float) -> float:
    """Return the charge at which a constant current from empty first meets `volts`.

    Parameters
    ----------
    cell : MeasuredCell
    volts : float
        Charge-end voltage [V per cell]; above `cell.v_top` it counts as that.
    c_rate : float
        Charge current, or with a hold the current that ends it [1/h].

    Returns
    -------
    float
        Share of `cell.full_ah` [-].
    """
    return float(_shares(cell, np.array([volts]), c_rate)[0])


def _shares(cell: MeasuredCell, volts: Array, c_rate: float) -> Array:
    """`share_at` for many volts."""
    climbing = np.maximum.accumulate(cell.ocv_v + c_rate * cell.r_v_per_c)
    return np.array([first_crossing(climbing, min(float(v), cell.v_top)) for v in volts])


def above_measured(cell: MeasuredCell, volts: float) -> Finding | None:
    """Say that `volts` [V per cell] are above everything the test measured, or return None."""
    if volts <= cell.v_top:
        return None
    text = (
        f"Nothing was measured above {cell.v_top:g} V, so {volts:g} V counts as {cell.v_top:g} V here. "
        "Charge a cell that far on the bench to know more, if its maker allows it."
    )
    return Finding(level="check", code="above_measured", text=text)


def band_at(cell: MeasuredCell, volts: float, c_rate: float) -> float:
    """Return the standard error of `share_at` [-].

    Notes
    -----
    Added in squares: a hundredth of the charge for the measurement; the misfit of the fit; the charge between the
    volts that the resistance's own error moves, over the step from the nearest measured current; and half of what
    is borrowed from the chemistry (below the lowest measured volts, and above a charge that was not held).
    """
    return float(_bands(cell, np.array([volts]), c_rate)[0])


def _bands(cell: MeasuredCell, volts: Array, c_rate: float) -> Array:
    """`band_at` for many volts."""
    share = _shares(cell, volts, c_rate)
    moved_v = min(abs(c_rate - c) for c in cell.measured_c) * cell.resistance.spread_v_per_c
    by_resistance = (_shares(cell, volts + moved_v, c_rate) - _shares(cell, volts - moved_v, c_rate)) / 2.0
    misfit = cell.residual_share if moved_v > 0.0 else 0.0
    top = BORROWED_SHARE * (1.0 - cell.measured_to_soc) * share
    foot = BORROWED_SHARE * np.clip(np.minimum(share, cell.measured_from_soc - share), 0.0, None)
    squares = (MEASURED_SHARE * share) ** 2 + misfit**2 + by_resistance**2 + top**2 + foot**2
    return np.sqrt(squares)


def bench_rows(
    cell: MeasuredCell, c_rate: float | None = None, volts: tuple[float, ...] | None = None
) -> tuple[BenchRow, ...]:
    """Tabulate the charge for many end volts, without a hold at one current and with a hold to the test's tail.

    Parameters
    ----------
    cell : MeasuredCell
    c_rate : float or None
        Charge current [1/h]; None takes the bench's.
    volts : tuple of float or None
        End volts [V per cell]; None takes every 0.01 V that was measured.
    """
    current = cell.charge_c if c_rate is None else c_rate
    if volts is None:
        first, last = round(cell.first_v / VOLT_STEP), int(cell.v_top / VOLT_STEP + 1e-6)
        volts = tuple(round(k * VOLT_STEP, 2) for k in range(first, last + 1)) or (cell.v_top,)
    places = np.array(volts)
    # A current below the tail is never held: it goes on to the end of its own.
    held_c = min(cell.tail_c, current)
    columns = [column(cell, places, c) for column in (_shares, _bands, _cannot_tell) for c in (current, held_c)]
    return tuple(
        BenchRow(
            volts=v,
            no_hold_share=float(columns[0][k]),
            hold_share=float(columns[1][k]),
            no_hold_band=float(columns[2][k]),
            hold_band=float(columns[3][k]),
            no_hold_cannot_tell=bool(columns[4][k]),
            hold_cannot_tell=bool(columns[5][k]),
            borrowed=bool(columns[0][k] < cell.measured_from_soc),
            above_measured=v > cell.v_top,
        )
        for k, v in enumerate(volts)
    )


def _cannot_tell(cell: MeasuredCell, volts: Array, c_rate: float) -> NDArray[np.bool_]:
    """Whether the charge rises by more than 30 points within some 0.05 V around each of `volts`."""
    steps = np.arange(-PLAIN_STEPS, PLAIN_STEPS + 1) * VOLT_STEP
    near = np.array([_shares(cell, v + steps, c_rate) for v in volts])
    rises = near[:, PLAIN_STEPS:] - near[:, : PLAIN_STEPS + 1]
    return np.asarray((rises > PLAIN_RISE).any(axis=1))


def share_of(ah: float, full_ah: float) -> float:
    """Return ampere-hours as a share of the full charge.

    Examples
    --------
    >>> round(100 * share_of(0.560, 1.315), 1)
    42.6
    """
    return ah / full_ah


def c_rate_of(amps: float, ah: float) -> float:
    """Return a current in C of a capacity.

    Examples
    --------
    >>> c_rate_of(0.65, 1.3)
    0.5
    """
    return amps / ah


def is_no_hold(cutoff_a: float, charge_a: float) -> bool:
    """Whether a tester's cut-off current ends the charge as soon as its volts are reached.

    Examples
    --------
    >>> is_no_hold(0.65, 0.65), is_no_hold(0.1, 0.65)
    (True, False)
    """
    return cutoff_a >= NO_HOLD_SHARE * charge_a


def nothing_below_v(table: ChargeTable) -> float | None:
    """Return the highest volts up to which a charge gives under 1 % of the full one, or None if every row gives more.

    Notes
    -----
    Ratios between such rows mean nothing: say "nothing below" these volts.
    """
    given = [[ah for ah in (end.no_hold_ah, end.hold_ah) if ah is not None] for end in table.ends]
    full_ah = max((ah for row in given for ah in row), default=0.0)
    found = None
    for end, row in zip(table.ends, given, strict=True):
        if not all(ah < NOTHING_SHARE * full_ah for ah in row):
            break
        found = end.volts
    return found
