"""What to switch off, and when, so that the bank lasts to a moment that was asked for.

Hours count from the moment asked about, energy is kWh a day, charge a share of tested Ah; moments are local standard
time. A load marked never off is not touched; a pool pump is not stopped but cut to the least it must run. Every gain is
the difference of two runs of the same days. Not modelled: what people do instead of what is switched off.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import Worked
from engine.answers.coming import Coming
from engine.answers.shedding_search import Cheapest, Loads, cheapest_set
from engine.answers.shedding_times import TINY_H, SwitchOff, kept, reaches, schedule, scheduled, with_off
from engine.errors import InputError
from engine.house.load_shapes import window_w
from engine.house.loads import Load, daily_kwh
from engine.quantities import HOURS_PER_DAY

Floats = NDArray[np.float64]

WAITS, SHEDS = 2.0, 3.0
"""How much a load that can wait, or be switched off, is minded where nobody says (judgement), of 1 to 5."""
LEAST_MIND, MOST_MIND = 1.0, 5.0
NOON = time(12)
LEAST_MOVE_H = 0.1
"""A move worth less is not told (choice)."""
_STARTS_H = tuple(float(hour) for hour in range(HOURS_PER_DAY))


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A load that may be switched off, and what that is worth.

    Attributes
    ----------
    kept_h : float
        Hours a day it must run all the same [h].
    gained_h : float or None
        Hours by it alone; None where the bank then lasts past the days.
    after_h : float or None
        Hours the bank lasts with it and all before it in the list switched off.
    minded : float
        How much it is minded, 1 to 5.
    """

    load_id: str
    name: str
    kind: str
    kwh_per_day: float
    kept_h: float
    gained_h: float | None
    after_h: float | None
    minded: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """A load that runs by the clock, moved to the start that makes the bank last longest, hours on the wall [h]."""

    load_id: str
    name: str
    from_h: float
    to_h: float
    gained_h: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Shedding:
    """The answer for one bank or those on one bus.

    Attributes
    ----------
    hours, lasts_h : float or None
        How long it lasts as it is, and with the schedule; None past the days.
    enough : bool
        Whether the moment is reached with nothing switched off.
    all_off_h : float or None
        How long it lasts with every candidate off from now; None past the days.
    offs : tuple of SwitchOff
        The least inconvenient set that reaches the moment, by the time each must be off; none if none can or none need.
    proven : bool
        Whether no set is minded less.
    """

    at: datetime
    bank_id: str
    name: str
    until: datetime
    until_h: float
    hours: float | None
    enough: bool
    all_off_h: float | None
    lasts_h: float | None
    candidates: tuple[Candidate, ...]
    offs: tuple[SwitchOff, ...]
    moves: tuple[Move, ...]
    cost: float
    proven: bool
    sets_run: int
    spare_kwh: float
    never_off: tuple[str, ...]
    floor_soc: float
    times_h: Floats
    soc: Floats
    soc_then: Floats
    worked: tuple[Worked, ...]

    @property
    def reached(self) -> bool:
        """Whether the moment can be reached."""
        return self.enough or bool(self.offs)


def usual_until(one: Coming) -> datetime:
    """Noon of the day after the bank runs out; of the last day but one where it does not."""
    ended_h = one.run(until_ended=True).ended_h
    last = one.at + timedelta(hours=one.given.length_h - 24.0 if ended_h is None else ended_h)
    return min(
        datetime.combine(last.date() + timedelta(days=1), NOON), one.at + timedelta(hours=one.given.length_h - 1.0)
    )


def minded_of(load: Load) -> float:
    """How much a load is minded where nobody says."""
    return WAITS if load.can_wait else SHEDS


def sheddable(one: Coming) -> tuple[Load, ...]:
    """Loads of a supply that may be switched off and take anything this month."""
    return tuple(
        load
        for load in one.supply.loads
        if (load.can_shed or load.can_wait)
        and not load.never_off
        and daily_kwh(load, one.at.month, one.household.south) > daily_kwh_of(kept(load), one)
    )


def daily_kwh_of(loads: Sequence[Load], one: Coming) -> float:
    """Energy of some loads in the month of the answer [kWh a day]."""
    return sum(daily_kwh(load, one.at.month, one.household.south) for load in loads)


def shedding(one: Coming, until: datetime | None = None, minded: Mapping[str, float] | None = None) -> Shedding:
    """Find what to switch off so that a supply lasts to a moment.

    Parameters
    ----------
    until : datetime, optional
        The moment, local standard time; `usual_until` where None.
    minded : mapping of str to float, optional
        How much each load is minded, 1 to 5, by its id; `minded_of` where left out.

    Raises
    ------
    InputError
        If the moment is not within the days to come, or a load is minded less than 1 or more than 5.
    """
    until = usual_until(one) if until is None else until
    until_h = (until - one.at).total_seconds() / 3600.0
    if not 0.0 < until_h <= one.given.length_h:
        last = one.at + timedelta(hours=one.given.length_h)
        span = f"after {one.at:%d %b %H:%M} and by {last:%d %b %H:%M}"
        raise InputError("until", f"The moment to last until must be {span}.")
    loads = sheddable(one)
    costs = _costs(loads, minded or {})
    as_is = one.run(until_ended=True)
    enough = as_is.ended_h is None or as_is.ended_h >= until_h - TINY_H
    candidates = _candidates(one, loads, as_is.ended_h, costs)
    ordered = {row.load_id: costs[row.load_id] for row in candidates}
    found = Cheapest(off=None, cost=0.0, proven=True, least_cost=0.0, runs=0)
    if not enough and loads:
        found = cheapest_set(ordered, lambda off: reaches(with_off(one, off), until_h))
    offs = () if found.off is None else schedule(one, found.off, costs, until_h)
    whole = one.run()
    then, hours_then = (one, one.given) if not offs else scheduled(one, {off.load_id: off.off_h for off in offs})
    return Shedding(
        at=one.at,
        bank_id=one.supply.bank.id,
        name=one.supply.name,
        until=until,
        until_h=until_h,
        hours=as_is.ended_h,
        enough=enough,
        all_off_h=with_off(one, frozenset(ordered)).run(until_ended=True).ended_h if loads else as_is.ended_h,
        lasts_h=then.run(hours_then, until_ended=True).ended_h,
        candidates=candidates,
        offs=offs,
        moves=() if as_is.ended_h is None else _moves(one, as_is.ended_h),
        cost=found.cost,
        proven=found.proven,
        sets_run=found.runs,
        spare_kwh=whole.totals.spare_kwh,
        never_off=tuple(load.name for load in one.supply.loads if load.never_off),
        floor_soc=one.plant.floor_soc,
        times_h=whole.hours,
        soc=whole.soc,
        soc_then=then.run(hours_then).soc,
        worked=_worked(offs, as_is.ended_h, until_h),
    )


def by_gain(one: Coming) -> tuple[Candidate, ...]:
    """Return the loads that may be switched off in the order that gains most at each place."""
    loads = sheddable(one)
    return _candidates(one, loads, _lasts_h(one), _costs(loads, {}))


def _costs(loads: Sequence[Load], minded: Mapping[str, float]) -> dict[str, float]:
    costs = {load.id: minded.get(load.id, minded_of(load)) for load in loads}
    for load in loads:
        if not LEAST_MIND <= costs[load.id] <= MOST_MIND:
            raise InputError(
                f"mind_{load.id}",
                f"How much you mind {load.name} must be from {LEAST_MIND:g} to {MOST_MIND:g}; got {costs[load.id]:g}.",
            )
    return costs


def _candidates(
    one: Coming, loads: Sequence[Load], hours: float | None, costs: Mapping[str, float]
) -> tuple[Candidate, ...]:
    """The loads in the order that gains most at each place."""
    rows: list[Candidate] = []
    off: Loads = frozenset()
    left = {load.id: load for load in loads}
    alone = {load.id: _gain(hours, _lasts_h(with_off(one, frozenset({load.id})))) for load in loads}
    while left:
        lasts = {load_id: _lasts_h(with_off(one, off | {load_id})) for load_id in left}
        best = max(lasts, key=lambda load_id: (_past(lasts[load_id]), _past(alone[load_id])))
        load, off = left.pop(best), off | {best}
        rows.append(
            Candidate(
                load_id=best,
                name=load.name,
                kind=load.kind,
                kwh_per_day=daily_kwh_of((load,), one) - daily_kwh_of(kept(load), one),
                kept_h=sum(part.filled()["run_h"] for part in kept(load)),
                gained_h=alone[best],
                after_h=lasts[best],
                minded=costs[best],
            )
        )
    return tuple(rows)


def _lasts_h(one: Coming) -> float | None:
    return one.run(until_ended=True).ended_h


def _gain(before_h: float | None, after_h: float | None) -> float | None:
    """Hours gained; None where it then lasts past the days, nothing where it did already."""
    if before_h is None:
        return 0.0
    return None if after_h is None else after_h - before_h


def _past(hours: float | None) -> float:
    return np.inf if hours is None else hours


def _moves(one: Coming, hours: float) -> tuple[Move, ...]:
    """Pumps and other loads by the clock under more sun at another hour, where that makes it last longer."""
    sunny_w = _by_hour(one)
    found = []
    for load in one.supply.loads:
        values = load.filled()
        if load.kind not in ("pump", "timed") or load.never_off or not load.can_wait:
            continue
        under_w = {start: float((sunny_w * window_w(1.0, start, values["run_h"])).sum()) for start in _STARTS_H}
        best = max(under_w, key=lambda start: (under_w[start], -abs(start - values["start_h"])))
        gained = _gain(hours, _lasts_h(_started(one, load, best)))
        if gained is None or gained > LEAST_MOVE_H:
            found.append(Move(load_id=load.id, name=load.name, from_h=values["start_h"], to_h=best, gained_h=gained))
    return tuple(found)


def _by_hour(one: Coming) -> Floats:
    """Sun of the days by hour of the clock on the wall, (24,) [W]; whole hours of summer time."""
    from_hour = one.given.from_hour + round(one.household.site.clock_ahead_h(one.at.date()))
    hour = (from_hour + np.arange(one.given.sun_w.size)) % HOURS_PER_DAY
    return np.asarray(np.bincount(hour, weights=one.given.sun_w, minlength=HOURS_PER_DAY))


def _started(one: Coming, load: Load, start_h: float) -> Coming:
    moved = dataclasses.replace(load, values={**load.values, "start_h": start_h})
    return one.with_loads(tuple(moved if other.id == load.id else other for other in one.supply.loads))


def _worked(offs: Sequence[SwitchOff], hours: float | None, until_h: float) -> tuple[Worked, ...]:
    if hours is None or not offs:
        return ()
    rows = [Worked(label="It lasts as it is", how="from now to the reserve or a cut-off", value=hours, unit="h")]
    rows += [
        Worked(
            label=f"{off.name} off",
            how="what it would take from then to the moment asked for",
            value=off.saved_kwh,
            unit="kWh",
        )
        for off in offs
    ]
    rows.append(Worked(label="Saved", how="sum of the above", value=sum(off.saved_kwh for off in offs), unit="kWh"))
    rows.append(Worked(label="Asked for", how="from now to the moment", value=until_h, unit="h"))
    return tuple(rows)
