"""Hours of several banks on one DC bus put end to end: what `trajectory.run` is for one bank.

Energies are kWh in totals, Wh in series; the balance is closed from the flows and from each bank's own curve.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from engine.balance.bus_plant import AT_SOC, BusPlant, BusState
from engine.balance.sharing import Split, bus_step, has_ended, restarts
from engine.balance.step import LEAST_H, MOST_STEPS_AN_HOUR, Flow, is_short
from engine.balance.trajectory import Book, Floats, Parted, Totals, Trajectory, leaked_in
from engine.cells.chemistry import energy_at
from engine.quantities import WH_PER_KWH

Hour = tuple[BusState, list[Flow], list[Split]]


def bus_hour(
    b: BusPlant,
    state: BusState,
    sun_w: float,
    ac_w: float,
    dc_w: float,
    hours: float = 1.0,
    *,
    until_short: bool = False,
) -> Hour:
    """Advance through one interval of constant powers, as `trajectory.hour` does for one bank."""
    if not state.on and restarts(b, state, sun_w):
        state = state._replace(on=True)
    flows: list[Flow] = []
    splits: list[Split] = []
    left_h = hours
    for _ in range(MOST_STEPS_AN_HOUR):
        after, flow, split = bus_step(b, state, sun_w, ac_w, dc_w, left_h)
        flows.append(flow)
        if until_short and is_short(flow):
            return state, flows, splits
        splits.append(split)
        state = after
        left_h -= flow.hours
        if left_h <= LEAST_H:
            return state, flows, splits
    raise ArithmeticError("An hour did not end: the limits of these banks contradict each other.")


def bus_run(
    b: BusPlant,
    start: BusState,
    sun_w: Sequence[float],
    ac_w: Sequence[float],
    dc_w: Sequence[float],
    *,
    first_h: float = 1.0,
    until_ended: bool = False,
) -> Trajectory:
    """Run banks on one bus through a series of hours.

    Parameters
    ----------
    sun_w, ac_w, dc_w, first_h, until_ended
        As for `trajectory.run`.
    """
    state, book = start, Book(until_ended)
    socs, charged = [start.socs], [has_ended(b, start)]
    floors: list[float | None] = [
        0.0 if s <= p.floor_soc + AT_SOC else None for p, s in zip(b.plants, start.socs, strict=True)
    ]
    into: list[list[float]] = []
    for index in range(len(sun_w)):
        length_h = first_h if index == 0 else 1.0
        state, leaked_wh = _leaked(b, state, length_h)
        powers = sun_w[index], ac_w[index], dc_w[index]
        state, flows, splits = bus_hour(b, state, *powers, length_h, until_short=until_ended)
        book.enter(flows, leaked_wh, length_h)
        socs.append(state.socs)
        charged.append(has_ended(b, state))
        into.append([sum(split.into_wh[k] for split in splits) for k in range(len(b.plants))])
        for k, (p, soc) in enumerate(zip(b.plants, state.socs, strict=True)):
            if floors[k] is None and soc <= p.floor_soc + AT_SOC:
                floors[k] = book.elapsed_h
        if book.closed:
            break
    each = np.array(socs)
    parted = Parted(
        soc=each,
        into_wh=np.array(into, dtype=np.float64).reshape(-1, len(b.plants)),
        at_floor_h=tuple(floors),
    )
    totals = _totals(b, start.socs, state.socs, book.series())
    found = book.trajectory(each @ np.array(b.weights), np.array(charged), totals)
    return dataclasses.replace(found, parted=parted)


def _leaked(b: BusPlant, state: BusState, hours: float) -> tuple[BusState, float]:
    """Self-discharge of every bank in an interval: the state after it and the energy [Wh]."""
    leaks = [leaked_in(p, soc, hours) for p, soc in zip(b.plants, state.socs, strict=True)]
    socs = tuple(soc - share for soc, (share, _) in zip(state.socs, leaks, strict=True))
    return state._replace(socs=socs), sum(wh for _, wh in leaks)


def _totals(b: BusPlant, start: Sequence[float], end: Sequence[float], series: Floats) -> Totals:
    sums = (series.sum(axis=0) / WH_PER_KWH).tolist()
    change_wh = sum(
        p.series_ah * (energy_at(p.cells, last) - energy_at(p.cells, first))
        for p, first, last in zip(b.plants, start, end, strict=True)
    )
    return Totals(
        sun_kwh=sums[0],
        spare_kwh=sums[1],
        served_kwh=sums[2],
        unserved_kwh=sums[3],
        cell_loss_kwh=sums[4],
        inverter_loss_kwh=sums[5],
        stored_change_kwh=change_wh / WH_PER_KWH,
    )
