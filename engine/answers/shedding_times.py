"""When each load of a set must be off at the latest, and the days with it off from then on.

Hours count from the moment asked about; what stays of a load that is switched off goes on.
Not modelled: a run by the clock that is cut short still counts as it was begun.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from engine.answers.answer import clock
from engine.answers.coming import Coming
from engine.answers.shedding_search import Loads
from engine.balance.forcing import Forcing
from engine.house.loads import Load
from engine.quantities import WH_PER_KWH

TINY_H = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchOff:
    """A load of the chosen set and the latest moment it must be off."""

    load_id: str
    name: str
    kind: str
    kept_h: float
    off_h: float
    off_at: datetime
    saved_kwh: float


def kept(load: Load) -> tuple[Load, ...]:
    """What stays of a load that is switched off: a pump's least circulation, else nothing."""
    values = load.filled()
    least_h = values.get("least_run_h", 0.0)
    if load.kind != "pump" or not least_h:
        return ()
    return (dataclasses.replace(load, values={**load.values, "run_h": min(least_h, values["run_h"])}),)


def with_off(one: Coming, off: Loads) -> Coming:
    """The days with some loads off from now on, but for what must stay of them."""
    return one.with_loads(
        tuple(part for load in one.supply.loads for part in (kept(load) if load.id in off else (load,)))
    )


def reaches(one: Coming, until_h: float) -> bool:
    """Whether the bank lasts for so many hours from now [h]."""
    return _reaches_by(one, one.given, until_h)


def schedule(one: Coming, off: Loads, costs: Mapping[str, float], until_h: float) -> tuple[SwitchOff, ...]:
    """The latest each load of a set must be off, those minded most left on longest; every step is run.

    Of loads that are minded alike, the one the household names first is left on longest.
    """
    base = with_off(one, off)
    places = [edge for edge in one.given.edges_h.tolist() if edge < until_h]
    named = [load.id for load in one.supply.loads if load.id in off]
    on_until = dict.fromkeys(sorted(named, key=lambda load_id: -costs[load_id]), 0.0)
    for load_id in on_until:
        low, high = 0, len(places) - 1
        while low < high:
            middle = (low + high + 1) // 2
            hours = _partly(one, base, on_until | {load_id: places[middle]})
            low, high = (middle, high) if _reaches_by(base, hours, until_h) else (low, middle - 1)
        on_until[load_id] = places[low]
    loads = {load.id: load for load in one.supply.loads}
    offs = [_switch_off(one, loads[load_id], off_h, until_h) for load_id, off_h in on_until.items()]
    return tuple(sorted(offs, key=lambda row: row.off_h))


def _reaches_by(base: Coming, hours: Forcing, until_h: float) -> bool:
    ended_h = base.run(hours.until(until_h), until_ended=True).ended_h
    return ended_h is None or ended_h >= until_h - TINY_H


def _partly(one: Coming, base: Coming, on_until: Mapping[str, float]) -> Forcing:
    """The hours with the loads of a set on until their times, on top of what stays of them."""
    ac_w, dc_w = base.given.ac_w.astype(np.float64), base.given.dc_w.astype(np.float64)
    begins_h = base.given.edges_h[:-1]
    for load in one.supply.loads:
        if load.id in on_until:
            more, less = one.hours_of((load,)), one.hours_of(kept(load))
            on = begins_h < on_until[load.id] - TINY_H
            ac_w += np.where(on, more[0] - less[0], 0.0)
            dc_w += np.where(on, more[1] - less[1], 0.0)
    return dataclasses.replace(base.given, ac_w=ac_w, dc_w=dc_w)


def scheduled(one: Coming, on_until: Mapping[str, float]) -> tuple[Coming, Forcing]:
    """The days with some loads off, and their hours with each of them on until its time [h from now]."""
    base = with_off(one, frozenset(on_until))
    return base, _partly(one, base, on_until)


def _switch_off(one: Coming, load: Load, off_h: float, until_h: float) -> SwitchOff:
    more, less = one.hours_of((load,)), one.hours_of(kept(load))
    begins_h = one.given.edges_h[:-1]
    saved_w = (more[0] - less[0] + more[1] - less[1]) * one.given.lengths_h
    off = (begins_h >= off_h - TINY_H) & (begins_h < until_h)
    moment = clock(one.at, off_h)
    assert moment is not None
    return SwitchOff(
        load_id=load.id,
        name=load.name,
        kind=load.kind,
        kept_h=sum(part.filled()["run_h"] for part in kept(load)),
        off_h=off_h,
        off_at=moment,
        saved_kwh=float(saved_w[off].sum()) / WH_PER_KWH,
    )
