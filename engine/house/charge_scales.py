"""What a charge is called on other scales: the bank monitor, the inverter, what is usable, Ah taken out, rested volts.

State of charge is a share of tested Ah, as a bank monitor counts it; volts are those of the whole pack. Not modelled: a
monitor or an inverter that counts wrongly, volts of cells that have not rested.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.cells.chemistry import CellTable, at, first_crossing
from engine.cells.curve import NEAR_V, PLAIN_RISE
from engine.errors import InputError
from engine.house.bank import Bank, floor
from engine.house.inverter import Inverter

SCALES = ("monitor", "inverter", "usable", "ah", "volts")
"""Ways of saying a charge; the first is the one the engine counts in."""
UNSURE_CELL_V = 0.006
"""Rested volts of a cell may be out by this much either way: 0.1 V on a pack of 16, the last digit of most displays
(judgement). On a flat stretch `NEAR_V` counts instead."""
FLAT_SOC = 0.1
"""A span of charge wider than this means that volts cannot tell the charge (judgement)."""
_LEAST_SPAN_SOC = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """Where the scales of one bank begin and end.

    Attributes
    ----------
    ah : float
        Tested Ah of the whole bank.
    top_soc, reserve_soc, cutoff_soc : float
        Where charging ends, the reserve, and where the inverter (or board) cuts off under the mean load [-].
    """

    ah: float
    series: int
    top_soc: float
    reserve_soc: float
    cutoff_soc: float
    cells: CellTable


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A charge as it was told: the one taken, and the lowest and highest that it may mean [-]."""

    soc: float
    low_soc: float
    high_soc: float

    @property
    def flat(self) -> bool:
        """Whether what was told leaves the charge open."""
        return self.high_soc - self.low_soc > FLAT_SOC


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeScales:
    """One charge on every scale: shares, Ah out since the monitor last said 100 %, and pack volts at rest.

    `inverter` is an estimate, counted from the inverter's cut-off under the mean load to where charging ends; None
    where these two leave no room for a scale.
    """

    monitor: float
    usable: float | None
    inverter: float | None
    ah_out: float
    rested_v: float


def marks(bank: Bank, inverter: Inverter, mean_dc_w: float) -> Marks:
    """Find where a bank's scales begin and end.

    Parameters
    ----------
    mean_dc_w : float
        Mean power drawn from the bank [W], > 0.
    """
    end = floor(bank, inverter, mean_dc_w)
    return Marks(
        ah=bank.ah,
        series=bank.series,
        top_soc=bank.top_reached_soc,
        reserve_soc=end.reserve_soc,
        cutoff_soc=end.cutoff_soc,
        cells=bank.table,
    )


def volts_span(m: Marks) -> tuple[float, float]:
    """Pack volts at rest, empty and full [V]."""
    return m.series * m.cells.ocv_v[0], m.series * m.cells.ocv_v[-1]


def told(m: Marks, scale: str, value: float) -> Told:
    """Read a charge told on one of the `SCALES`.

    Parameters
    ----------
    value : float
        A share [-] of the monitor, the inverter or what is usable; Ah taken out since the monitor said 100 %; or the
        volts of the rested pack.

    Raises
    ------
    InputError
        If the bank leaves that scale no room.
    """
    if scale == "volts":
        return _by_volts(m, value / m.series)
    if scale == "ah":
        soc = 1.0 - value / m.ah
    elif scale == "monitor":
        soc = value
    else:
        empty = _empty(m, scale)
        if empty is None:
            raise InputError("charge", f"This bank has no room between {_EMPTY[scale]} and the top of its charge.")
        soc = empty + value * (m.top_soc - empty)
    soc = min(max(soc, 0.0), 1.0)
    return Told(soc=soc, low_soc=soc, high_soc=soc)


def shown(m: Marks, soc: float) -> ChargeScales:
    """Return one charge [-] on every scale; a share is 0 below its empty mark and 1 above its full one."""
    usable, inverter = (_share(m, scale, soc) for scale in ("usable", "inverter"))
    return ChargeScales(
        monitor=soc,
        usable=usable,
        inverter=inverter,
        ah_out=(1.0 - soc) * m.ah,
        rested_v=m.series * at(m.cells.ocv_v, soc),
    )


def on_scale(m: Marks, scale: str, soc: float) -> float:
    """Return a charge [-] as one of the `SCALES` tells it; the share of the monitor where the scale has no room."""
    found = shown(m, soc)
    told_as = {"inverter": found.inverter, "usable": found.usable, "ah": found.ah_out, "volts": found.rested_v}
    value = told_as.get(scale)
    return soc if value is None else value


_EMPTY = {"usable": "its reserve", "inverter": "the inverter’s cut-off"}


def _empty(m: Marks, scale: str) -> float | None:
    """Empty mark of a scale that ends at the top of charge; None where there is no room."""
    mark = m.reserve_soc if scale == "usable" else m.cutoff_soc
    return mark if m.top_soc - mark > _LEAST_SPAN_SOC else None


def _share(m: Marks, scale: str, soc: float) -> float | None:
    empty = _empty(m, scale)
    return None if empty is None else min(max((soc - empty) / (m.top_soc - empty), 0.0), 1.0)


def _by_volts(m: Marks, cell_v: float) -> Told:
    """The charges whose rested volts cannot be told from those of a cell, and the middle of them.

    On a flat stretch what a cell of another make, or one charged before it rested, stands higher or lower moves the
    charge more than the last digit of a display does: there they are all within `NEAR_V`, as on Charge volts.
    """
    here, (low, high) = _within(m, cell_v, 0.0), _within(m, cell_v, NEAR_V)
    if here[0] - low <= PLAIN_RISE and high - here[1] <= PLAIN_RISE:
        low, high = _within(m, cell_v, UNSURE_CELL_V)
    return Told(soc=(low + high) / 2.0, low_soc=low, high_soc=high)


def _within(m: Marks, cell_v: float, near_v: float) -> tuple[float, float]:
    """The lowest and the highest charge whose rested volts lie within `near_v` of some [-]."""
    curve = np.array(m.cells.ocv_v)
    return first_crossing(curve, cell_v - near_v), 1.0 - first_crossing(-curve[::-1], -(cell_v + near_v))
