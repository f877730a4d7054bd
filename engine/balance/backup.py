"""A generator beside a bank: it starts, stops and keeps quiet by its rules, inside the hour to the minute it is due.

While it runs it carries the sockets up to its rating and charges with the rest; the sun is taken first. It starts at
its start charge, at the latest where the bank reaches its floor, is cut off or may give nothing, and stops at its
stop charge or where charging ends, not before its shortest run; in quiet hours it does not run at all. Charging obeys
the cells' own limits: a bank too cold to be charged is not. What it cannot carry of the sockets, the inverter adds.
Powers are W, energies Wh, fuel litres.
Not modelled: starting that fails, warming up, a charge volts setting of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.balance.step import LEAST_H, MOST_STEPS_AN_HOUR, Flow, Plant, State, has_ended, is_short, restarts, step
from engine.cells.chemistry import at
from engine.house.generator import LEAST_RISE_SOC, Generator

Floats = NDArray[np.float64]
_TINY = 1e-9


class Burn(NamedTuple):
    """What a generator did: hours run, energy at its own sockets, loss in its charger [Wh], fuel [l]."""

    hours: float = 0.0
    given_wh: float = 0.0
    loss_wh: float = 0.0
    litres: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Generation:
    """A generator through a trajectory.

    Attributes
    ----------
    burnt : (n, 4) array
        A `Burn` for each interval.
    starts_h : tuple of float
        Each start, from the beginning of the trajectory [h].
    switched : tuple of (float, float)
        Time [h] and state of charge [-] of each start and stop, in their order.
    """

    burnt: Floats
    starts_h: tuple[float, ...]
    switched: tuple[tuple[float, float], ...]

    @property
    def run_h(self) -> float:
        """Hours run in all [h]."""
        return float(self.burnt[:, 0].sum())

    @property
    def litres(self) -> float:
        """Fuel burnt in all [l]."""
        return float(self.burnt[:, 3].sum())


class Backup:
    """The generator of one plant while a trajectory is run: whether it runs, since when, and what it burnt."""

    def __init__(self, p: Plant, generator: Generator) -> None:
        self.generator = generator
        self.start_soc = max(generator.start_soc, p.floor_soc)
        self.stop_soc = max(generator.stop_soc, self.start_soc + LEAST_RISE_SOC)
        self._plant = p
        self._waiting = replace(p, floor_soc=self.start_soc)
        self._warming = replace(p, sun_a_max=inf)
        self._filling = replace(self._warming, top_soc=min(p.top_soc, self.stop_soc))
        self._run_h: float | None = None
        self._burnt: list[Burn] = []
        self._starts_h: list[float] = []
        self._switched: list[tuple[float, float]] = []

    def hour(
        self,
        state: State,
        sun_w: float,
        ac_w: float,
        dc_w: float,
        hours: float,
        *,
        elapsed_h: float,
        hour_of_day: int,
        until_short: bool,
    ) -> tuple[State, list[Flow]]:
        """Advance through one interval as `trajectory.hour` does, the generator obeying its rules.

        An interval shorter than an hour is the last part of its hour of the day. One that quiet time begins or ends in
        is cut there, and each part is an interval of its own.
        """
        flows: list[Flow] = []
        burns: list[Burn] = []
        for length_h, quiet in self.generator.stretches(hour_of_day, hours):
            state, more, burnt = self._stretch(
                state, sun_w, ac_w, dc_w, length_h, quiet=quiet, elapsed_h=elapsed_h, until_short=until_short
            )
            flows += more
            burns += burnt
            if until_short and is_short(flows[-1]):
                break
            elapsed_h += length_h
        self._burnt.append(Burn(*(sum(parts) for parts in zip(*burns, strict=True))))
        return state, flows

    def _stretch(
        self,
        state: State,
        sun_w: float,
        ac_w: float,
        dc_w: float,
        hours: float,
        *,
        quiet: bool,
        elapsed_h: float,
        until_short: bool,
    ) -> tuple[State, list[Flow], list[Burn]]:
        """Advance through a part of an interval that is quiet throughout or nowhere."""
        if not state.on and restarts(self._plant, state, sun_w):
            state = State(state.soc, True, state.full)
        flows: list[Flow] = []
        burns: list[Burn] = []
        left_h = hours
        restarted = False
        for _ in range(MOST_STEPS_AN_HOUR):
            self._switch(state, quiet, elapsed_h + hours - left_h)
            if self._run_h is None:
                after, flow = step(self._plant if quiet else self._waiting, state, sun_w, ac_w, dc_w, left_h)
                burn = Burn()
            else:
                if not state.on and not restarted and self._restarts(state, sun_w, ac_w):
                    state, restarted = State(state.soc, True, state.full), True
                after, flow, burn = self._step(state, sun_w, ac_w, dc_w, left_h)
            flows.append(flow)
            if until_short and is_short(flow):
                return state, flows, burns
            burns.append(burn)
            state = after
            left_h -= flow.hours
            if left_h <= LEAST_H:
                return state, flows, burns
        raise ArithmeticError("An hour did not end: the limits of this bank and generator contradict each other.")

    def generation(self) -> Generation:
        """What it did so far."""
        return Generation(
            burnt=np.array(self._burnt, dtype=np.float64).reshape(-1, len(Burn._fields)),
            starts_h=tuple(self._starts_h),
            switched=tuple(self._switched),
        )

    def _switch(self, state: State, quiet: bool, at_h: float) -> None:
        """Start or stop it by its rules."""
        p, was = self._plant, self._run_h
        needed = state.soc <= self.start_soc + _TINY or not state.on or p.discharge_c_max <= 0.0
        if quiet:
            self._run_h = None
        elif was is None:
            self._run_h = 0.0 if needed else None
        elif not needed and was >= self.generator.least_run_h - _TINY:
            filled = state.soc >= self.stop_soc - _TINY or has_ended(p, state)
            self._run_h = None if filled else was
        if (was is None) != (self._run_h is None):
            self._switched.append((at_h, state.soc))
            if was is None:
                self._starts_h.append(at_h)

    def _restarts(self, state: State, sun_w: float, ac_w: float) -> bool:
        """Whether it charges hard enough for the inverter to find its restart volts; asked once an interval only,
        or a load that cuts it off again at once would do so without end."""
        one = self.generator
        return restarts(self._warming, state, sun_w + one.charging_w(min(ac_w, one.rated_w)))

    def _step(self, state: State, sun_w: float, ac_w: float, dc_w: float, hours: float) -> tuple[State, Flow, Burn]:
        """Take one step with it running."""
        assert self._run_h is not None
        p, one = self._plant, self.generator
        sun_w = min(sun_w, p.sun_a_max * p.series * at(p.cells.ocv_v, state.soc))
        carried_w = min(ac_w, one.rated_w)
        given_w = sun_w + one.charging_w(carried_w)
        warming_h = one.least_run_h - self._run_h
        driven, most_h = (self._warming, min(hours, warming_h)) if warming_h > _TINY else (self._filling, hours)
        after, flow = step(driven, state, given_w, ac_w - carried_w, dc_w, most_h)
        self._run_h += flow.hours
        from_sun_wh = min(sun_w * flow.hours, flow.sun_wh)
        into_wh = flow.sun_wh - from_sun_wh
        sockets_wh = carried_w * flow.hours + into_wh / one.charger_efficiency
        burn = Burn(
            hours=flow.hours,
            given_wh=sockets_wh,
            loss_wh=into_wh / one.charger_efficiency - into_wh,
            litres=one.litres(sockets_wh, flow.hours),
        )
        flow = flow._replace(
            sun_wh=from_sun_wh,
            spare_wh=sun_w * flow.hours - from_sun_wh,
            served_wh=flow.served_wh + carried_w * flow.hours,
        )
        return after, flow, burn
