"""The days to come run with a car on the charger: what may go in, and when, by simulation alone.

Nothing here is estimated from a charge and a capacity: each energy is put into the hours and the whole cell model is
run through them. Energies are kWh at the charger, powers W, places are intervals of the days, hours count from the
moment asked about.
Not modelled: a charger that begins with less current, a car that is full before the energy is in, a pause.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.answers.car_parts import Car
from engine.answers.coming import Coming
from engine.balance.forcing import Forcing
from engine.balance.trajectory import Trajectory
from engine.quantities import WH_PER_KWH

Floats = NDArray[np.float64]

STEP_KWH = 0.1
"""Energies are tried in steps of this, from below (choice)."""
SAME_SOC = 1e-4
"""Charges this close are the same [-]."""
_TINY_WH = 1e-6


class Charge(NamedTuple):
    """So much energy into the car [kWh] from the beginning of an interval on."""

    kwh: float
    place: int = 0


class Placed(NamedTuple):
    """Hours with the car in them: its own power [W], and the edge from which on all of it is in."""

    hours: Forcing
    car_w: Floats
    done: int


class Ran(NamedTuple):
    """A run with the car: `refill` is the edge at which the bank is next charged, None if it never is."""

    placed: Placed
    run: Trajectory
    refill: int | None

    @property
    def end(self) -> int:
        """The last edge that counts: the refill, or the end of what was run."""
        return self.run.soc.size - 1 if self.refill is None else self.refill


@dataclass(frozen=True, slots=True, kw_only=True)
class CarDays:
    """One supply without its car, and the hours it must hold in, each of them.

    Attributes
    ----------
    rated_w : float
        What the inverter gives; the car gets what the other loads leave of it [W].
    scenarios : tuple of (Coming, Forcing)
        The days of the risk taken, all beginning at the same moment.
    alone : tuple of Trajectory
        The same days without the car.
    """

    car: Car
    rated_w: float
    scenarios: tuple[tuple[Coming, Forcing], ...]
    alone: tuple[Trajectory, ...]

    @property
    def floor_soc(self) -> float:
        """Lowest charge to use [-]."""
        return self.scenarios[0][0].plant.floor_soc

    @property
    def lengths_h(self) -> Floats:
        """Length of each interval [h]."""
        return self.scenarios[0][1].lengths_h

    @property
    def edges_h(self) -> Floats:
        """The moments between the intervals, the first and the last one too [h]."""
        return self.scenarios[0][1].edges_h

    @property
    def short_h(self) -> float | None:
        """When load first goes short without the car in any of the days [h]."""
        return min((run.ended_h for run in self.alone if run.ended_h is not None), default=None)

    @property
    def last_refill(self) -> int:
        """Last edge at which the bank is charged without the car in all of the days; with it that is never later."""
        return min(int(max(refills(run), default=0)) for run in self.alone)

    def free_w(self, hours: Forcing, car_w: Floats) -> Floats:
        """Return what more than `car_w` the charger may take in each interval beside the other loads (n,) [W]."""
        free_w = np.full(car_w.size, self.car.charger_w) - car_w
        if self.car.side != "ac":
            return free_w
        return np.minimum(free_w, np.maximum(self.rated_w - hours.ac_w - car_w, 0.0))

    def placed(self, hours: Forcing, charges: Sequence[Charge]) -> Placed | None:
        """Put charges in their order into hours; None where the days have no room for them."""
        lengths_h, car_w, done = self.lengths_h, np.zeros(hours.sun_w.size), 0
        for kwh, place in charges:
            free_w = self.free_w(hours, car_w)
            free_w[:place] = 0.0
            wanted_wh = kwh * WH_PER_KWH
            reached_wh = np.minimum(np.cumsum(free_w * lengths_h), wanted_wh)
            if not reached_wh.size or reached_wh[-1] < wanted_wh - _TINY_WH:
                return None
            if wanted_wh > 0.0:
                car_w = car_w + np.diff(reached_wh, prepend=0.0) / lengths_h
                done = max(done, int(np.searchsorted(reached_wh, wanted_wh - _TINY_WH)) + 1)
        if self.car.side == "ac":
            return Placed(dataclasses.replace(hours, ac_w=hours.ac_w + car_w), car_w, done)
        return Placed(dataclasses.replace(hours, dc_w=hours.dc_w + car_w), car_w, done)

    def followed(self, charges: Sequence[Charge]) -> tuple[Ran, ...] | None:
        """Run the days with charges to their end, once for each of their readings; None where there is no room."""
        found = []
        for one, hours in self.scenarios:
            placed = self.placed(hours, charges)
            if placed is None:
                return None
            run = one.run(placed.hours)
            found.append(Ran(placed, run, refill(run, placed.done)))
        return tuple(found)

    def worst(self, charges: Sequence[Charge]) -> Ran:
        """The run with charges, known to have room, in the reading of the days that draws the bank lowest."""
        found = self.followed(charges)
        assert found is not None
        return min(found, key=lambda ran: float(ran.run.soc[: ran.end + 1].min()))

    def allows(self, charges: Sequence[Charge], *, refilled: bool = False) -> bool:
        """Whether charges leave the bank at or above its floor and no load short until it is next charged.

        Parameters
        ----------
        charges : sequence of Charge
            From their first place on it is looked at.
        refilled : bool
            Whether the bank must be charged again within the days.
        """
        begin = min((place for _, place in charges), default=0)
        whole = self.short_h is not None and begin > 0 and float(self.edges_h[begin]) > self.short_h
        return all(self._allows(one, hours, charges, refilled, whole) for one, hours in self.scenarios)

    def _allows(self, one: Coming, hours: Forcing, charges: Sequence[Charge], refilled: bool, whole: bool) -> bool:
        placed = self.placed(hours, charges)
        if placed is None:
            return False
        run = one.run(placed.hours, until_ended=not whole)
        found = refill(run, placed.done)
        if found is None and (refilled or (not whole and run.ended_h is not None)):
            return False
        begin = min((place for _, place in charges), default=0)
        end = run.soc.size - 1 if found is None else found
        if any(run.limits[begin:end]):
            return False
        return float(run.soc[begin : end + 1].min()) >= self.floor_soc - 1e-9

    def most(self, limit_kwh: float) -> float:
        """Most energy that may go in from now on without a break [kWh], in steps, at most `limit_kwh`."""
        low, high = 0, int(limit_kwh / STEP_KWH + 1e-9) + 1
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if self.allows((Charge(in_steps(middle)),)) else (low, middle)
        return in_steps(low)

    def sunny(self, after: int = 0) -> Iterator[int]:
        """Yield the intervals after one that have any sun: the starts that are looked at beside now."""
        sun_w = np.max([hours.sun_w for _, hours in self.scenarios], axis=0)
        yield from (int(place) for place in np.flatnonzero(sun_w > 0.0) if place > after)

    def first_start(self, kwh: float, after: int = 0, before: Sequence[Charge] = ()) -> int | None:
        """First interval with sun, after one, from which on an energy may go in and the bank is charged again."""
        last = self.last_refill
        for place in self.sunny(after):
            if place >= last:
                return None
            if self.allows((*before, Charge(kwh, place)), refilled=True):
                return place
        return None


def in_steps(count: int) -> float:
    """Energy of so many steps [kWh]."""
    return round(count * STEP_KWH, 6)


def refill(run: Trajectory, done: int) -> int | None:
    """First edge, the first or not before `done`, at which the bank is charged again."""
    return next((edge for edge in refills(run) if edge >= max(done, 1)), None)


def refills(run: Trajectory) -> list[int]:
    """Edges at which the bank is charged and sun was left over until then.

    A bank that is still nearly full an hour after the sun went is not charged again, and without sun left over the
    charger has not ended it.
    """
    ended = run.charged[1:] & (run.spare_wh > _TINY_WH)
    return [int(place) + 1 for place in np.flatnonzero(ended)]
