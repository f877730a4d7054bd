"""Steps put end to end: charge hour by hour, totals, and when the load first went unserved.

Energies are kWh in totals, Wh in series. The balance is closed from two independent sides: what flowed
and what was lost inside the steps against the change of stored energy read off the cell's curve.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from engine.balance.backup import Generation
from engine.balance.planned import Plan, beside
from engine.balance.step import (
    LEAST_H,
    MOST_STEPS_AN_HOUR,
    Flow,
    Plant,
    State,
    first_short,
    has_ended,
    is_short,
    restarts,
    step,
)
from engine.cells.chemistry import at, energy_at
from engine.house.generator import Generator
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Totals:
    """What a whole trajectory moved [kWh]; `balance_error_share` is what does not add up, of the turnover.

    `generator_kwh` is what a generator gave at its own sockets, `charger_loss_kwh` what its charger lost of it.
    """

    sun_kwh: float
    spare_kwh: float
    served_kwh: float
    unserved_kwh: float
    cell_loss_kwh: float
    inverter_loss_kwh: float
    stored_change_kwh: float
    generator_kwh: float = 0.0
    charger_loss_kwh: float = 0.0

    @property
    def balance_error_share(self) -> float:
        """(in - out - losses - change of store) / turnover [-]."""
        given = self.sun_kwh + self.generator_kwh
        turnover = max(given, self.served_kwh, abs(self.stored_change_kwh), 1e-12)
        losses = self.cell_loss_kwh + self.inverter_loss_kwh + self.charger_loss_kwh
        return (given - self.served_kwh - losses - self.stored_change_kwh) / turnover


@dataclass(frozen=True, slots=True, kw_only=True)
class Parted:
    """What each of k banks on one bus did.

    Attributes
    ----------
    soc : (n + 1, k) array
        State of charge at each edge [-].
    into_wh : (n, k) array
        Energy each took from the bus in each interval, negative where it gave [Wh].
    at_floor_h : tuple of float or None
        When each first reached its floor [h]; None where it did not.
    """

    soc: Floats
    into_wh: Floats
    at_floor_h: tuple[float | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trajectory:
    """One bank's charge over time.

    Attributes
    ----------
    hours : (n + 1,) array
        Time from the start at each edge [h].
    soc : (n + 1,) array
        State of charge at each edge [-].
    sun_wh, spare_wh, served_wh, unserved_wh : (n,) arrays
        Energy in each interval [Wh]: taken from the charger, left over, served, not served.
    charged : (n + 1,) array of bool
        Whether charging had ended at each edge: by the end volts without a hold, or at the top of the window.
    limits : tuple of str
        The limit that kept load unserved in each interval; empty where none did.
    ended_h : float or None
        When load first went unserved [h] for want of charge; None if it never did.
    ended_by : str
        The limit that ended it: reserve, cold or rate, inverter, board, current, cold; empty if none.
    generation : Generation or None
        What a generator did; None where there is none.
    parted : Parted or None
        What each bank did where several share a bus; `soc` is then the charge of all of them.
    end : State or None
        What the one bank stands at where it ends, to go on from; None of several on one bus.
    """

    hours: Floats
    soc: Floats
    sun_wh: Floats
    spare_wh: Floats
    served_wh: Floats
    unserved_wh: Floats
    charged: NDArray[np.bool_]
    limits: tuple[str, ...]
    ended_h: float | None
    ended_by: str
    totals: Totals
    generation: Generation | None = None
    parted: Parted | None = None
    end: State | None = None

    def full_again_h(self, after_h: float = 0.0) -> float | None:
        """First edge after `after_h` [h] at which the charge had ended, as the charger ends it; None if never."""
        reached = np.flatnonzero(self.charged & (self.hours > after_h))
        return float(self.hours[reached[0]]) if reached.size else None


@dataclass(slots=True)
class Book:
    """What flowed in each interval of a run, kept as it goes, and the moment load first went unserved.

    With `until_ended` it is closed at that moment.
    """

    until_ended: bool
    elapsed_h: float = 0.0
    ended_h: float | None = None
    ended_by: str = ""
    hours: list[float] = field(default_factory=lambda: [0.0])
    limits: list[str] = field(default_factory=list)
    moved: list[tuple[float, ...]] = field(default_factory=list)

    @property
    def closed(self) -> bool:
        """Whether the run is at its end before its hours are."""
        return self.until_ended and self.ended_h is not None

    def enter(self, flows: list[Flow], leaked_wh: float, length_h: float) -> None:
        """Enter an interval of `length_h` [h]; of the one that closes the book only what flowed before that moment."""
        short = first_short(flows)
        self.limits.append("" if short is None or self.until_ended else flows[short].limit)
        if short is not None and self.ended_h is None:
            ended_h = self.elapsed_h + sum(flow.hours for flow in flows[:short])
            self.ended_h, self.ended_by = ended_h, flows[short].limit
            if self.until_ended:
                flows, length_h = flows[:short], ended_h - self.elapsed_h
        self.elapsed_h += length_h
        self.hours.append(self.elapsed_h)
        self.moved.append(summed(flows, leaked_wh))

    def series(self) -> Floats:
        """Return an interval a row, its columns as `summed` gives them, (n, 6) [Wh]."""
        return np.array(self.moved, dtype=np.float64).reshape(-1, 6)

    def trajectory(self, soc: Floats, charged: NDArray[np.bool_], totals: Totals) -> Trajectory:
        """Return what was entered, with charge and whether it had ended at each edge, (n + 1,)."""
        series = self.series()
        return Trajectory(
            hours=np.array(self.hours),
            soc=soc,
            sun_wh=series[:, 0],
            spare_wh=series[:, 1],
            served_wh=series[:, 2],
            unserved_wh=series[:, 3],
            charged=charged,
            limits=tuple(self.limits),
            ended_h=self.ended_h,
            ended_by=self.ended_by,
            totals=totals,
        )


def hour(
    p: Plant,
    state: State,
    sun_w: float,
    ac_w: float,
    dc_w: float,
    hours: float = 1.0,
    *,
    until_short: bool = False,
) -> tuple[State, list[Flow]]:
    """Advance through one interval of constant powers in as many steps as its limits ask for.

    With `until_short` it ends before the first step that would leave load unserved for want of charge;
    that step is the last of the list, and the state is the one before it.
    """
    if not state.on and restarts(p, state, sun_w):
        state = State(state.soc, True, state.full)
    flows: list[Flow] = []
    left_h = hours
    for _ in range(MOST_STEPS_AN_HOUR):
        after, flow = step(p, state, sun_w, ac_w, dc_w, left_h)
        flows.append(flow)
        if until_short and is_short(flow):
            return state, flows
        state = after
        left_h -= flow.hours
        if left_h <= LEAST_H:
            return state, flows
    raise ArithmeticError("An hour did not end: the limits of this bank contradict each other.")


def run(
    p: Plant,
    start: State,
    sun_w: Sequence[float],
    ac_w: Sequence[float],
    dc_w: Sequence[float],
    *,
    first_h: float = 1.0,
    until_ended: bool = False,
    generator: Generator | Plan | None = None,
    from_hour: int = 0,
) -> Trajectory:
    """Run a bank through a series of hours.

    Parameters
    ----------
    sun_w, ac_w, dc_w : (n,) sequences
        Mean power of each hour [W]: at the bus after the charger, at the sockets, at the battery side.
    first_h : float
        Length of the first interval [h], 0..1, where the start is not on the hour.
    until_ended : bool
        Stop at the moment load first goes unserved for want of charge.
    generator : Generator or Plan, optional
        Runs beside the bank, by its rules or as planned.
    from_hour : int
        Hour of the day of the first interval, 0..23, for a generator's quiet hours.

    Returns
    -------
    Trajectory
    """
    backup = None if generator is None else beside(p, generator)
    state, book = start, Book(until_ended)
    soc, charged = [start.soc], [has_ended(p, start)]
    for index in range(len(sun_w)):
        length_h = first_h if index == 0 else 1.0
        leaked, leaked_wh = leaked_in(p, state.soc, length_h)
        state = State(state.soc - leaked, state.on, state.full)
        powers = sun_w[index], ac_w[index], dc_w[index]
        if backup is None:
            state, flows = hour(p, state, *powers, length_h, until_short=until_ended)
        else:
            state, flows = backup.hour(
                state,
                *powers,
                length_h,
                elapsed_h=book.elapsed_h,
                hour_of_day=(from_hour + index) % HOURS_PER_DAY,
                until_short=until_ended,
            )
        book.enter(flows, leaked_wh, length_h)
        soc.append(state.soc)
        charged.append(has_ended(p, state))
        if book.closed:
            break
    generation = None if backup is None else backup.generation()
    totals = _totals(p, start.soc, state.soc, book.series(), generation)
    found = book.trajectory(np.array(soc), np.array(charged), totals)
    return dataclasses.replace(found, generation=generation, end=state)


def leaked_in(p: Plant, soc: float, hours: float) -> tuple[float, float]:
    """Charge [-] and energy [Wh] that leak away in an interval."""
    leaked = min(p.self_discharge_per_h * hours, soc)
    return leaked, leaked * p.series_ah * at(p.cells.ocv_v, soc - 0.5 * leaked)


def summed(flows: list[Flow], leaked_wh: float) -> tuple[float, ...]:
    """Sun, spare, served, unserved, loss in cells and in the inverter of an interval [Wh]."""
    if len(flows) == 1:
        one = flows[0]
        return (
            one.sun_wh,
            one.spare_wh,
            one.served_wh,
            one.unserved_wh,
            one.cell_loss_wh + leaked_wh,
            one.inverter_loss_wh,
        )
    return (
        sum(flow.sun_wh for flow in flows),
        sum(flow.spare_wh for flow in flows),
        sum(flow.served_wh for flow in flows),
        sum(flow.unserved_wh for flow in flows),
        sum(flow.cell_loss_wh for flow in flows) + leaked_wh,
        sum(flow.inverter_loss_wh for flow in flows),
    )


def _totals(p: Plant, start_soc: float, end_soc: float, series: Floats, generation: Generation | None) -> Totals:
    sums = series.sum(axis=0) / WH_PER_KWH
    change_wh = p.series_ah * (energy_at(p.cells, end_soc) - energy_at(p.cells, start_soc))
    burnt = np.zeros(4) if generation is None else generation.burnt.sum(axis=0) / WH_PER_KWH
    return Totals(
        sun_kwh=float(sums[0]),
        spare_kwh=float(sums[1]),
        served_kwh=float(sums[2]),
        unserved_kwh=float(sums[3]),
        cell_loss_kwh=float(sums[4]),
        inverter_loss_kwh=float(sums[5]),
        stored_change_kwh=change_wh / WH_PER_KWH,
        generator_kwh=float(burnt[1]),
        charger_loss_kwh=float(burnt[2]),
    )
