"""A bank through a series of hours whose charge limit changes from hour to hour, as a heater warms its cells.

A heater warms with what sun and bank serve of it: where load goes unserved, so does as large a part of the heat.
Energies are kWh. Only the limit of charge current changes: the cells' resistance and capacity stay those of the
entered temperature, which is on the safe side.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np

from engine.balance.step import Flow, Plant, State, is_short
from engine.balance.trajectory import Book, Floats, hour, leaked_in
from engine.cells.chemistry import energy_at
from engine.quantities import WH_PER_KWH


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmedRun:
    """What the hours came to.

    Attributes
    ----------
    soc : (n + 1,) array
        State of charge at each edge [-].
    sun_kwh, served_kwh, loss_kwh, stored_change_kwh : float
        Taken from the charger, served (a heater too), lost in cells and inverter, more in the cells than at the start.
    ended_h : float or None
        When load first went unserved for want of charge [h]; None if it never did.
    """

    soc: Floats
    sun_kwh: float
    served_kwh: float
    loss_kwh: float
    stored_change_kwh: float
    ended_h: float | None


class WarmBox(Protocol):
    """Cells in a box with a heater, hour by hour, lengths in h and mean powers of the heater in W."""

    def asked_w(self, index: int, hours: float) -> float:
        """Return what the heater asks for in an interval."""

    def charge_c(self, hours: float, given_w: float) -> float:
        """Return the charge limit of an interval with so much heat, at the lower temperature in it [C]."""

    def warm(self, hours: float, given_w: float) -> None:
        """Let an interval with so much heat pass."""


def warmed_run(
    p: Plant,
    start: State,
    sun_w: Sequence[float],
    ac_w: Sequence[float],
    dc_w: Sequence[float],
    charge_c: Sequence[float],
    *,
    first_h: float = 1.0,
) -> WarmedRun:
    """Run a bank through a series of hours, each with its own charge limit.

    Parameters
    ----------
    sun_w, ac_w, dc_w : (n,) sequences
        As for `trajectory.run` [W].
    charge_c : (n,) sequence
        Highest charge current of each hour [C].
    first_h : float
        Length of the first interval [h], 0..1.
    """
    course = _Course(p, start)
    for index, limit_c in enumerate(charge_c):
        length_h = first_h if index == 0 else 1.0
        course.enter(course.passed(sun_w[index], ac_w[index], dc_w[index], limit_c, length_h), length_h)
    return course.run()


def heated_run(
    p: Plant,
    start: State,
    sun_w: Sequence[float],
    ac_w: Sequence[float],
    dc_w: Sequence[float],
    box: WarmBox,
    *,
    first_h: float = 1.0,
) -> WarmedRun:
    """Run a bank and the box its cells are warmed in through a series of hours, each making the other.

    In an hour that cannot serve the whole heater the charge limit is that of cells without it, on the safe side.

    Parameters
    ----------
    sun_w, ac_w, dc_w : (n,) sequences
        As for `trajectory.run`, the heater left out [W].
    first_h : float
        Length of the first interval [h], 0..1.
    """
    course = _Course(p, start)
    for index, (sun, ac, dc) in enumerate(zip(sun_w, ac_w, dc_w, strict=True)):
        length_h = first_h if index == 0 else 1.0
        asked_w = box.asked_w(index, length_h)
        passed = course.passed(sun, ac, dc + asked_w, box.charge_c(length_h, asked_w), length_h)
        if asked_w > 0.0 and passed.served_share < 1.0:
            passed = course.passed(sun, ac, dc + asked_w, box.charge_c(length_h, 0.0), length_h)
        course.enter(passed, length_h)
        box.warm(length_h, asked_w * passed.served_share)
    return course.run()


class _Passed(NamedTuple):
    """An interval as it went: the state after it, what was moved and what leaked away [Wh]."""

    state: State
    flows: list[Flow]
    leaked_wh: float

    @property
    def served_share(self) -> float:
        """Part of a load on the battery side that was served, over time [-]."""
        parts = ((flow.hours, _served_share(flow)) for flow in self.flows if flow.hours > 0.0)
        hours, served_h = np.sum([(hours, hours * share) for hours, share in parts] or [(0.0, 0.0)], axis=0)
        return float(served_h / hours) if hours > 0.0 else 1.0


def _served_share(flow: Flow) -> float:
    return flow.served_wh / (flow.served_wh + flow.unserved_wh) if is_short(flow) else 1.0


class _Course:
    """A bank on its way through the hours."""

    def __init__(self, p: Plant, start: State) -> None:
        self._p, self._start, self._state = p, start, start
        self._book, self._soc = Book(until_ended=False), [start.soc]

    def passed(self, sun_w: float, ac_w: float, dc_w: float, limit_c: float, length_h: float) -> _Passed:
        """Return how an interval with this charge limit would go."""
        now = dataclasses.replace(self._p, charge_c_max=limit_c)
        leaked, leaked_wh = leaked_in(now, self._state.soc, length_h)
        begun = State(self._state.soc - leaked, self._state.on, self._state.full)
        after, flows = hour(now, begun, sun_w, ac_w, dc_w, length_h)
        return _Passed(after, flows, leaked_wh)

    def enter(self, passed: _Passed, length_h: float) -> None:
        """Let it go so."""
        self._state = passed.state
        self._book.enter(passed.flows, passed.leaked_wh, length_h)
        self._soc.append(passed.state.soc)

    def run(self) -> WarmedRun:
        """Return what all of it came to."""
        sums = self._book.series().sum(axis=0) / WH_PER_KWH
        cells = self._p.cells
        change_wh = self._p.series_ah * (energy_at(cells, self._state.soc) - energy_at(cells, self._start.soc))
        return WarmedRun(
            soc=np.array(self._soc),
            sun_kwh=float(sums[0]),
            served_kwh=float(sums[2]),
            loss_kwh=float(sums[4] + sums[5]),
            stored_change_kwh=change_wh / WH_PER_KWH,
            ended_h=self._book.ended_h,
        )
