"""A generator run by hand at planned times: what each run gives, burns and leaves in the bank.

Beside `engine.balance.backup`, whose steps it takes: sun first, the sockets up to its rating, charging with the rest
and within the cells' own limits. A planned run begins and ends when it is said to, whatever the charge; without
planned runs the generator keeps its rules, and each run is told just the same. Hours count from the start of the
trajectory. Quiet hours are for whoever makes the plan: nothing here refuses a run in them.
Powers are W, energies Wh, fuel litres, charge a share of tested Ah.
Not modelled: a run that begins late, starting that fails, stopping early because the bank is full.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, NamedTuple

from engine.balance.backup import Backup, Burn, Generation
from engine.balance.step import LEAST_H, Flow, Plant, State, is_short
from engine.house.generator import Generator


class Run(NamedTuple):
    """A run as planned: when it starts, from the beginning of the trajectory, and how long it lasts [h]."""

    start_h: float
    hours: float


class RunDone(NamedTuple):
    """A run as it went: start and length [h], charge at both ends [-], what it gave and its charger lost [Wh], fuel."""

    start_h: float
    hours: float
    start_soc: float
    end_soc: float
    given_wh: float
    loss_wh: float
    litres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A generator and the runs that are planned for it, in their order and apart; None leaves it to its rules."""

    generator: Generator
    runs: tuple[Run, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedGeneration(Generation):
    """What a generator did, run by run."""

    runs: tuple[RunDone, ...]


def beside(p: Plant, generator: Generator | Plan) -> Backup:
    """Return what runs a generator through a trajectory: its rules, or a plan."""
    return Planned(p, generator) if isinstance(generator, Plan) else Backup(p, generator)


class Planned(Backup):
    """The generator of one plant run by a plan while a trajectory is run."""

    def __init__(self, p: Plant, plan: Plan) -> None:
        by_hand = plan.runs is not None
        free = {"start_soc": 0.0, "stop_soc": 1.0, "least_run_h": 0.0}
        super().__init__(p, replace(plan.generator, **free) if by_hand else plan.generator)  # type: ignore[arg-type]
        self._runs = plan.runs
        self._due = False
        self._done: list[RunDone] = []

    def hour(
        self, state: State, sun_w: float, ac_w: float, dc_w: float, hours: float, **when: Any
    ) -> tuple[State, list[Flow]]:
        """Advance through one interval as `Backup.hour` does, in parts where a run begins or ends inside it."""
        if self._runs is None:
            return super().hour(state, sun_w, ac_w, dc_w, hours, **when)
        begin_h: float = when["elapsed_h"]
        flows: list[Flow] = []
        kept = len(self._burnt)
        for part_h, length_h, due in self._parts(begin_h, begin_h + hours):
            self._due = due
            state, part = super().hour(state, sun_w, ac_w, dc_w, length_h, **(when | {"elapsed_h": part_h}))
            flows += part
            if when["until_short"] and is_short(part[-1]):
                break
        burnt = self._burnt[kept:]
        self._burnt[kept:] = [Burn(*(sum(parts) for parts in zip(*burnt, strict=True)))]
        return state, flows

    def generation(self) -> PlannedGeneration:
        """What it did so far."""
        done = super().generation()
        return PlannedGeneration(
            burnt=done.burnt, starts_h=done.starts_h, switched=done.switched, runs=tuple(self._done)
        )

    def _parts(self, begin_h: float, end_h: float) -> list[tuple[float, float, bool]]:
        """Begin and length [h] of the parts of an interval, and whether it runs in each."""
        assert self._runs is not None
        edges = {edge for run in self._runs for edge in (run.start_h, run.start_h + run.hours)}
        inner = sorted(edge for edge in edges if begin_h + LEAST_H < edge < end_h - LEAST_H)
        places = [begin_h, *inner, end_h]
        return [
            (low, high - low, any(run.start_h <= (low + high) / 2.0 < run.start_h + run.hours for run in self._runs))
            for low, high in pairwise(places)
        ]

    def _switch(self, state: State, quiet: bool, at_h: float) -> None:
        """Start or stop it as planned, or by its rules."""
        starts = len(self._starts_h)
        if self._runs is None:
            super()._switch(state, quiet, at_h)
        elif self._due != (self._run_h is not None):
            self._run_h = 0.0 if self._due else None
            self._switched.append((at_h, state.soc))
            if self._due:
                self._starts_h.append(at_h)
        if len(self._starts_h) > starts:
            self._done.append(RunDone(at_h, 0.0, state.soc, state.soc, 0.0, 0.0, 0.0))

    def _step(self, state: State, sun_w: float, ac_w: float, dc_w: float, hours: float) -> tuple[State, Flow, Burn]:
        """Take one step with it running, and add it to its run."""
        after, flow, burn = super()._step(state, sun_w, ac_w, dc_w, hours)
        run = self._done[-1]
        self._done[-1] = RunDone(
            start_h=run.start_h,
            hours=run.hours + burn.hours,
            start_soc=run.start_soc,
            end_soc=after.soc,
            given_wh=run.given_wh + burn.given_wh,
            loss_wh=run.loss_wh + burn.loss_wh,
            litres=run.litres + burn.litres,
        )
        return after, flow, burn
