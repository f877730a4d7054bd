"""Charge moved from a spare bank into another by a charger or converter that limits the current, and what it gains.

The device gives its watts at the bank's bus, beside sun and loads, and draws them over its efficiency from the spare.
It holds back where the bank takes no more, sun first, and stops where the spare comes to its reserve or cut-off; both
banks are followed by the same steps as every answer. A spare that carries loads of its own goes on carrying them.
Powers W, energies kWh, hours from the moment asked about, charge a share of tested Ah. A gain is the difference of two
runs of the same days.
In the hour in which it stops, its mean over that hour is what the bank gets.
Not modelled: a device that draws while it waits, losses that change with its load, its own volts window.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.answers.coming import Coming
from engine.answers.spares_sources import Means, is_loose, most_w, plants_of
from engine.balance.forcing import Forcing
from engine.balance.trajectory import Trajectory
from engine.cells.chemistry import energy_at
from engine.quantities import WH_PER_KWH

Floats = NDArray[np.float64]

_ROOM_PASSES = 3
"""Times the device is turned down to what the bank takes; the first does it but for the tapering of one hour."""
_TINY_W = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Charge moved from one start on.

    Attributes
    ----------
    name : str
        ``now``, ``dark`` (after the next sunset) or ``late`` (so late that all of it just goes over).
    begins_h, ends_h : float or None
        When the device first and last gives anything [h]; None where it never does.
    ran_h : float
        Hours it gave anything.
    taken_kwh : float
        Out of the spare: of its cells where it carries nothing else, else at its terminals.
    cell_loss_kwh : float or None
        Of that lost in the spare's own cells and by leaking; None where it carries loads of its own.
    device_loss_kwh, into_kwh : float
        Lost in the device, and given at the bank's terminals.
    displaced_kwh : float
        Sun left over because the bank was fuller.
    served_more_kwh : float
        Load served in these days that else would not be.
    lasts_h : float or None
        Hours the bank lasts with it; None past the days.
    gained_h : float or None
        Hours more than without; None where it lasts past the days with it only.
    spare_soc : float
        Charge of the spare when the device has stopped.
    own_h : float or None
        Hours the spare's own loads last; None past the days, or where it has none.
    """

    name: str
    start_h: float
    begins_h: float | None
    ends_h: float | None
    ran_h: float
    taken_kwh: float
    cell_loss_kwh: float | None
    device_loss_kwh: float
    into_kwh: float
    displaced_kwh: float
    served_more_kwh: float
    lasts_h: float | None
    gained_h: float | None
    spare_soc: float
    own_h: float | None
    soc: Floats

    @property
    def lost_kwh(self) -> float:
        """Everything lost on the way."""
        return self.device_loss_kwh + (self.cell_loss_kwh or 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """A bank without any spare: the whole days, and how long it lasts."""

    whole: Trajectory
    lasts_h: float | None


def course(one: Coming) -> Course:
    """Run a bank through its days as they are."""
    return Course(whole=one.run(), lasts_h=one.run(until_ended=True).ended_h)


def moved(one: Coming, before: Course, spare: Coming, means: Means, start: int, name: str) -> Move:
    """Run a bank with a spare emptied into it from the interval `start` on.

    Parameters
    ----------
    before : Course
        The bank without it.
    spare : Coming
        The spare through the same intervals, of `alone` or with loads and sun of its own.
    """
    given = one.given
    lengths_h = given.lengths_h
    room_w = np.where(np.arange(lengths_h.size) >= start, most_w(spare, means), 0.0)
    for _ in range(_ROOM_PASSES):
        whole = one.run(_beside(given, room_w))
        taken_w = whole.sun_wh / lengths_h
        room_w = np.maximum(room_w - np.maximum(given.sun_w + room_w - taken_w, 0.0), 0.0)
    room_w[room_w < _TINY_W] = 0.0
    gives_w, source, drawn_wh = _drawn(spare, room_w, means.efficiency, lengths_h)
    whole = one.run(_beside(given, gives_w))
    lasts_h = one.run(_beside(given, gives_w), until_ended=True).ended_h
    ran = np.flatnonzero(drawn_wh > 0.0)
    drawn_kwh = float(drawn_wh.sum()) / WH_PER_KWH
    drawn_w = drawn_wh / lengths_h[: drawn_wh.size]
    bare = is_loose(spare)
    return Move(
        name=name,
        start_h=float(given.edges_h[start]),
        begins_h=float(source.hours[ran[0]]) if ran.size else None,
        ends_h=float(source.hours[ran[-1] + 1]) if ran.size else None,
        ran_h=float(np.diff(source.hours)[ran].sum()),
        taken_kwh=_out_kwh(spare, source) if bare else drawn_kwh,
        cell_loss_kwh=source.totals.cell_loss_kwh if bare else None,
        device_loss_kwh=drawn_kwh * (1.0 - means.efficiency),
        into_kwh=drawn_kwh * means.efficiency,
        displaced_kwh=float(whole.spare_wh.sum() - before.whole.spare_wh.sum()) / WH_PER_KWH,
        served_more_kwh=whole.totals.served_kwh - before.whole.totals.served_kwh,
        lasts_h=lasts_h,
        gained_h=gain(before.lasts_h, lasts_h),
        spare_soc=float(source.soc[-1]),
        own_h=None if bare else spare.run(_drawing(spare.given, drawn_w), until_ended=True).ended_h,
        soc=whole.soc,
    )


def starts(one: Coming, before: Course, ran_h: float) -> dict[str, int]:
    """Intervals at which it may be begun, by name: now, when it is next dark, and so late that it just goes over.

    Parameters
    ----------
    ran_h : float
        How long the device runs if it is begun now [h].
    """
    sun_w = one.given.sun_w
    found = {"now": 0}
    dusk = np.flatnonzero((sun_w[1:] <= 0.0) & (sun_w[:-1] > 0.0)) + 1
    if dusk.size:
        found["dark"] = int(dusk[0])
    if before.lasts_h is not None:
        last = int(np.floor(before.lasts_h - ran_h - one.given.first_h)) + 1
        if last > 0:
            found["late"] = last
    return {
        name: k
        for name, k in found.items()
        if before.lasts_h is None or k == 0 or one.given.edges_h[k] < before.lasts_h
    }


def gain(before_h: float | None, after_h: float | None) -> float | None:
    """Hours gained; None where it then lasts past the days, nothing where it did already."""
    if before_h is None:
        return 0.0
    return None if after_h is None else after_h - before_h


def _beside(hours: Forcing, device_w: Floats) -> Forcing:
    """The hours with what a device gives at the bus."""
    return dataclasses.replace(hours, sun_w=hours.sun_w + device_w)


def _drawing(hours: Forcing, drawn_w: Floats) -> Forcing:
    """The hours with what a device draws, up to the end of `drawn_w`."""
    more = np.zeros_like(hours.dc_w)
    more[: drawn_w.size] = drawn_w
    return dataclasses.replace(hours, dc_w=hours.dc_w + more)


def _drawn(spare: Coming, room_w: Floats, efficiency: float, lengths_h: Floats) -> tuple[Floats, Trajectory, Floats]:
    """What the spare lets the device give in each interval [W], its own course, and what is drawn of it [Wh]."""
    busy = np.flatnonzero(room_w)
    last = int(busy[-1]) + 1 if busy.size else 1
    whole = _drawing(spare.given, room_w / efficiency)
    source = spare.run(whole.first(last), until_ended=True)
    hours = np.diff(source.hours)
    drawn_wh = room_w[: hours.size] / efficiency * hours
    gives_w = np.zeros_like(room_w)
    gives_w[: hours.size] = drawn_wh * efficiency / lengths_h[: hours.size]
    return gives_w, source, drawn_wh


def _out_kwh(spare: Coming, source: Trajectory) -> float:
    """What left the cells of a spare that carries nothing else, read off its curve [kWh]."""
    (p,) = plants_of(spare)
    return p.series_ah * (energy_at(p.cells, source.soc[0]) - energy_at(p.cells, source.soc[-1])) / WH_PER_KWH
