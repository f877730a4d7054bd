"""Which runs of a generator bring a bank through some days: the latest start, and the plan that burns least.

Times are hours from the moment asked about. Runs begin on the clock and last whole quarters of an hour; each is just
long enough, found by bisection over runs of the days themselves. None of them lies in quiet hours.
Not looked at: runs that begin at another hour on each day, loads moved under the generator.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from math import ceil, floor, inf
from typing import NamedTuple

import numpy as np

from engine.answers.coming import Coming
from engine.balance.forcing import Forcing
from engine.balance.planned import Plan, PlannedGeneration, Run
from engine.balance.step import State
from engine.balance.trajectory import Trajectory
from engine.house.generator import Generator
from engine.quantities import HOURS_PER_DAY

QUARTER_H = 0.25
TINY_H = 1e-6
AHEAD = (1, 2)
"""Days that one run may carry the bank over (choice)."""
EVERY_H = 4
"""Starts that are tried lie so far apart (choice)."""
LONG_H, EVERY_LONG_H = 120.0, 6
"""Over more hours than this they lie further apart (choice)."""


class Begun(NamedTuple):
    """Where the days have got to: whole intervals gone, the time after them [h], and the state then."""

    gone: int
    at_h: float
    state: State


class Window(NamedTuple):
    """A time in which it may run [h]."""

    begin_h: float
    end_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RunDays:
    """The days until a moment, and the generator that may run in them.

    Attributes
    ----------
    until_h : float
        The moment the bank is to last to [h].
    margin_h : float
        How much longer than to the next start a run is to carry it [h].
    """

    one: Coming
    generator: Generator
    until_h: float
    margin_h: float

    @property
    def clock_h(self) -> float:
        """Time of day at the moment asked about [h]."""
        return self.one.at.hour + self.one.at.minute / 60.0

    @property
    def windows(self) -> tuple[Window, ...]:
        """The times in which it may run, in their order."""
        quiet_h = self.generator.quiet_hours
        if not quiet_h:
            return (Window(0.0, self.until_h),)
        begins_h = np.arange(-1, self.until_h // HOURS_PER_DAY + 2) * HOURS_PER_DAY
        found = [
            Window(max(begin, 0.0), min(begin + HOURS_PER_DAY - quiet_h, self.until_h))
            for begin in (begins_h + self.generator.quiet_to_h - self.clock_h).tolist()
        ]
        return tuple(window for window in found if window.end_h - window.begin_h > TINY_H)

    def window(self, at_h: float) -> Window | None:
        """Return the window that a moment lies in."""
        return next((w for w in self.windows if w.begin_h - TINY_H <= at_h < w.end_h - TINY_H), None)

    def on_the_clock(self, at_h: float) -> float:
        """Return the last quarter of an hour on the clock before a moment, at the soonest now [h]."""
        return max(floor((self.clock_h + at_h) / QUARTER_H + TINY_H) * QUARTER_H - self.clock_h, 0.0)

    def daily(self, hour: float) -> list[float]:
        """Return the moments at an hour of the day at which it may be started for its shortest run [h]."""
        begin_h = (hour - self.clock_h) % HOURS_PER_DAY
        count = max(ceil((self.until_h - begin_h) / HOURS_PER_DAY), 0)
        starts = [begin_h + HOURS_PER_DAY * day for day in range(count)]
        return [start for start in starts if self._has_room(start)]

    def least_h(self, window: Window) -> float:
        """Return its shortest run, or all of a window that is shorter [h]."""
        return min(self.generator.least_run_h, window.end_h - window.begin_h)

    def _has_room(self, start_h: float) -> bool:
        window = self.window(start_h)
        return window is not None and window.end_h - start_h >= self.least_h(window) - TINY_H

    def followed(self, runs: Sequence[Run] | None, hours: Forcing | None = None) -> Trajectory:
        """Run the days to their end with planned runs; None leaves it to its rules."""
        plan = Plan(generator=self.generator, runs=None if runs is None else tuple(runs))
        return self.one.run((hours or self.one.given).until(self.until_h), generator=plan)

    @property
    def beginning(self) -> Begun:
        """The moment asked about."""
        return Begun(0, 0.0, self.one.single[1])

    def reached(self, begun: Begun, runs: Sequence[Run], at_h: float) -> Begun:
        """Return the state at the last edge of an interval before a moment, as planned runs leave it."""
        first_h = self.one.given.first_h
        gone = 0 if at_h < first_h - TINY_H else 1 + floor(at_h - first_h + TINY_H)
        if gone <= begun.gone:
            return begun
        state = self._from(begun, runs, self.one.given.first(gone), until_ended=False).end
        assert state is not None
        return Begun(gone, first_h + gone - 1.0, state)

    def _from(self, begun: Begun, runs: Sequence[Run], hours: Forcing, *, until_ended: bool) -> Trajectory:
        shifted = (Run(run.start_h - begun.at_h, run.hours) for run in runs)
        plan = Plan(generator=self.generator, runs=tuple(run for run in shifted if run.start_h + run.hours > TINY_H))
        one = dataclasses.replace(self.one, start=begun.state)
        return one.run(hours.after(begun.gone), until_ended=until_ended, generator=plan)

    def lasts_h(
        self,
        runs: Sequence[Run],
        to_h: float | None = None,
        *,
        begun: Begun | None = None,
        hours: Forcing | None = None,
    ) -> float:
        """When load is first short for want of charge [h]; infinite if not before `to_h`, else the end of the days."""
        to_h = self.until_h if to_h is None else to_h
        begun = self.beginning if begun is None else begun
        given = (hours or self.one.given).until(to_h)
        ended_h = self._from(begun, runs, given, until_ended=True).ended_h
        return inf if ended_h is None or begun.at_h + ended_h >= to_h - TINY_H else begun.at_h + ended_h

    def just_enough(self, begun: Begun, runs: Sequence[Run], start_h: float, to_h: float) -> Run:
        """Return the shortest run from a start that lasts to a moment, or as far as the longest would."""
        window = self.window(start_h)
        assert window is not None
        longest_h = window.end_h - start_h

        def run(quarters: int) -> Run:
            return Run(start_h, min(max(quarters * QUARTER_H, self.generator.least_run_h), longest_h))

        high = max(ceil(longest_h / QUARTER_H - TINY_H), 1)
        far_h = self.lasts_h((*runs, run(high)), to_h, begun=begun)
        wanted_h = to_h if far_h == inf else far_h - 1.0 / 60.0

        def lasts(one: Run) -> bool:
            return self.lasts_h((*runs, one), wanted_h, begun=begun) == inf

        low = 0
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if lasts(run(middle)) else (middle, high)
        return run(high)


def latest_start(days: RunDays, ended_h: float) -> float | None:
    """Return the latest moment it may be started [h]; None where quiet hours leave none before the bank is out.

    A start that quiet hours would cut off too soon is moved forward, until what may be run before them lasts to the
    time after them.

    Parameters
    ----------
    ended_h : float
        When the bank ends without it [h].
    """
    wanted_h = days.on_the_clock(ended_h - days.margin_h)
    before = [window for window in days.windows if window.begin_h <= wanted_h + TINY_H]
    if not before:
        return None
    window = before[-1]
    after_h = next((w.begin_h + days.margin_h for w in days.windows if w.begin_h > window.begin_h), days.until_h)
    to_h = min(after_h, days.until_h)
    last_h = min(wanted_h, window.end_h - max(days.least_h(window), min(QUARTER_H, window.end_h - window.begin_h)))
    quarters = int((last_h - window.begin_h) / QUARTER_H + TINY_H)

    def held(back: int) -> bool:
        start_h = last_h - back * QUARTER_H
        return days.lasts_h((Run(start_h, window.end_h - start_h),), to_h) == inf

    if held(0):
        return last_h
    if not held(quarters):
        return window.begin_h
    low, high = 0, quarters
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if held(middle) else (middle, high)
    return last_h - high * QUARTER_H


def plans(days: RunDays, first_h: float | None) -> Iterator[tuple[Run, ...]]:
    """Yield a plan for each hour of the day it may start at and number of days a run may carry it over.

    Each hour is also tried with a second start a day, at the end of the quiet time.

    Parameters
    ----------
    first_h : float or None
        A start to be taken where the bank would be out before the first of those hours [h].
    """
    seen = set()
    every_h = EVERY_LONG_H if days.until_h > LONG_H else EVERY_H
    first = days.generator.quiet_to_h % HOURS_PER_DAY
    hours = sorted({*range(0, HOURS_PER_DAY, every_h), first})
    once = [((hour,), ahead) for hour, ahead in product(hours, AHEAD)]
    for at_hours, ahead in (*once, *(((first, hour), 1) for hour in hours)):
        starts = sorted({start for hour in at_hours for start in days.daily(hour)})
        if first_h is not None and (not starts or days.lasts_h((), starts[0]) != inf):
            starts = sorted({first_h, *starts})
        runs = planned(days, starts, ahead)
        if runs not in seen:
            seen.add(runs)
            yield runs


def planned(days: RunDays, starts: Sequence[float], ahead: int = 1) -> tuple[Run, ...]:
    """Return a run at each start at which the next would be too late, just long enough for `ahead` of them."""
    runs: tuple[Run, ...] = ()
    begun = days.beginning
    for place, (start_h, next_h) in enumerate(pairwise([*starts, days.until_h])):
        running = bool(runs) and start_h < runs[-1].start_h + runs[-1].hours - TINY_H
        if running or days.lasts_h(runs, min(next_h + days.margin_h, days.until_h), begun=begun) == inf:
            continue
        begun = days.reached(begun, runs, start_h)
        to_h = starts[place + ahead] + days.margin_h if place + ahead < len(starts) else days.until_h
        runs = (*runs, days.just_enough(begun, runs, start_h, min(to_h, days.until_h)))
    return runs


def generation_of(run: Trajectory) -> PlannedGeneration:
    """Return what the generator of a trajectory did, run by run."""
    assert isinstance(run.generation, PlannedGeneration)
    return run.generation
