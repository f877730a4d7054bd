"""When to start the generator, for how long, and what it burns: the latest start, the least fuel, and its own rules.

Every way is a run of the same days hour by hour until a moment; none runs in quiet hours. Least fuel is the plan, of
those looked at and the generator's own rules, that lasts for the fewest litres: runs in bulk, each just
long enough, which leave room in the bank for the sun. Times are local standard time, energies kWh, fuel litres.
Not modelled: starting that fails, warming up, what a fuller bank at the end is worth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from math import inf

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import Worked, clock
from engine.answers.autonomy import LOAD_SPREAD_SHARE
from engine.answers.coming import Coming
from engine.answers.generating import with_points
from engine.answers.starting_runs import TINY_H, RunDays, generation_of, latest_start, planned, plans
from engine.balance.planned import Run
from engine.balance.trajectory import Trajectory
from engine.errors import InputError, Unreachable

Floats = NDArray[np.float64]

LATEST, LEAST, RULES = "latest", "least", "rules"
USUAL_DAYS = 3
USUAL_MARGIN_H = 1.0
"""How much sooner than needed it is to run, where nobody says (judgement)."""
NOTHING_KWH = 0.005
START_LITRES = 0.5
"""Fewer starts are taken before fuel where they cost no more than this above the least (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunTold:
    """One run: when, charge at both ends [-], what it gave at the sockets and to its charger [kWh], its fuel [l]."""

    start_at: datetime
    start_h: float
    hours: float
    start_soc: float
    end_soc: float
    given_kwh: float
    litres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """The days run one way; `lasts_h` is when load is first short for want of charge, None if it is not [h]."""

    key: str
    runs: tuple[RunTold, ...]
    run_h: float
    litres: float
    given_kwh: float
    charger_loss_kwh: float
    lasts_h: float | None
    lasts_at: datetime | None
    unserved_kwh: float
    lowest_soc: float
    end_soc: float
    times_h: Floats
    soc: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Starting:
    """The answer for one bank and its generator.

    Attributes
    ----------
    without : Way
        The days without it.
    needed : bool
        Whether the bank is out before the moment without it.
    latest_h : float or None
        Latest start [h]; None where it is not needed, or where quiet hours leave no start before the bank is out.
    moved : bool
        Whether quiet hours made the latest start sooner than the margin asks.
    best : str
        Which way burns least: ``least``, ``latest`` or ``rules``; empty where it is not needed.
    sure_h : float or None
        How long the best way lasts with loads a tenth higher and the darkest reading of the days; None: to the end.
    """

    at: datetime
    bank_id: str
    name: str
    generator_id: str
    generator: str
    until: datetime
    until_h: float
    margin_h: float
    without: Way
    needed: bool
    latest_h: float | None
    latest_at: datetime | None
    moved: bool
    ways: tuple[Way, ...]
    best: str
    sure_h: float | None
    cold: bool
    floor_soc: float
    worked: tuple[Worked, ...]

    def way(self, key: str) -> Way | None:
        """Return a way by its key."""
        return next((way for way in self.ways if way.key == key), None)


def usual_run_until(one: Coming) -> datetime:
    """Noon some days on, within the days."""
    noon = datetime.combine((one.at + timedelta(days=USUAL_DAYS)).date(), time(12))
    return min(noon, one.at + timedelta(hours=int(one.given.length_h) - 1.0))


def starting(one: Coming, until: datetime, margin_h: float = USUAL_MARGIN_H) -> Starting:
    """Work out when the generator of a supply is to run.

    Parameters
    ----------
    until : datetime
        The moment the bank is to last to, local standard time.
    margin_h : float
        How much sooner than at the last minute it is to run [h].

    Raises
    ------
    InputError
        If the moment is not within the days.
    Unreachable
        If the supply has no generator, or several banks share its bus.
    """
    generator = one.supply.generator
    if generator is None:
        raise Unreachable(f"No generator is joined to {one.supply.inverter.name}.")
    p, _ = one.single
    until_h = (until - one.at).total_seconds() / 3600.0
    if not 1.0 <= until_h <= one.given.length_h:
        last = one.at + timedelta(hours=one.given.length_h)
        raise InputError(
            "until",
            f"The moment to last until must be an hour from now to {last:%Y-%m-%d %H:%M}, the end of the days; "
            f"got {until:%Y-%m-%d %H:%M}.",
        )
    days = RunDays(one=one, generator=generator, until_h=until_h, margin_h=margin_h)
    without = _way(days, "", ())
    needed = without.lasts_h is not None
    latest_h = None if without.lasts_h is None else latest_start(days, without.lasts_h)
    rules = _way(days, RULES, None)
    ways = (rules,) if without.lasts_h is None else (*_by_hand(days, latest_h), rules)
    best = _least(ways) if needed else None
    return Starting(
        at=one.at,
        bank_id=one.supply.bank.id,
        name=one.supply.name,
        generator_id=generator.id,
        generator=generator.name,
        until=until,
        until_h=until_h,
        margin_h=margin_h,
        without=without,
        needed=needed,
        latest_h=latest_h,
        latest_at=clock(one.at, latest_h),
        moved=latest_h is not None and latest_h < days.on_the_clock((without.lasts_h or 0.0) - margin_h) - TINY_H,
        ways=ways,
        best="" if best is None else best.key,
        sure_h=None if best is None else _sure_h(days, best),
        cold=p.charge_c_max <= 0.0,
        floor_soc=one.plant.floor_soc,
        worked=() if best is None else _worked(best),
    )


def _by_hand(days: RunDays, latest_h: float | None) -> tuple[Way, ...]:
    """The runs from the latest start on, and of all plans the one that burns least."""
    found = []
    if latest_h is not None:
        later = (*days.daily(days.clock_h + latest_h), *(window.begin_h for window in days.windows))
        starts = sorted({latest_h, *(start for start in later if start > latest_h + TINY_H)})
        found.append(_way(days, LATEST, planned(days, starts)))
    tried = [_way(days, LEAST, runs) for runs in plans(days, latest_h)]
    return (*found, _least(tried)) if tried else tuple(found)


def _least(ways: Sequence[Way]) -> Way:
    """The way that lasts, or lasts longest, for the least fuel; one with fewer starts where that costs next to none."""

    def lasts(way: Way) -> float:
        return inf if way.lasts_h is None else way.lasts_h

    longest_h = max(lasts(way) for way in ways)
    lasting = [way for way in ways if lasts(way) == longest_h]
    litres = min(way.litres for way in lasting)
    near = [way for way in lasting if way.litres <= litres + START_LITRES]
    return min(near, key=lambda way: (len(way.runs), way.litres))


def _way(days: RunDays, key: str, runs: tuple[Run, ...] | None) -> Way:
    at, until_h = days.one.at, days.until_h
    run = days.followed(runs)
    done = generation_of(run)
    times_h, soc = with_points(run.hours, run.soc, done.switched)
    kept = times_h <= until_h + TINY_H
    end_soc = float(np.interp(until_h, times_h, soc))
    ended_h = None if run.ended_h is None or run.ended_h >= until_h - TINY_H else run.ended_h
    return Way(
        key=key,
        runs=tuple(
            RunTold(
                start_at=at + timedelta(hours=one.start_h),
                start_h=one.start_h,
                hours=one.hours,
                start_soc=one.start_soc,
                end_soc=one.end_soc,
                given_kwh=one.given_wh / 1000.0,
                litres=one.litres,
            )
            for one in done.runs
        ),
        run_h=done.run_h,
        litres=done.litres,
        given_kwh=run.totals.generator_kwh,
        charger_loss_kwh=run.totals.charger_loss_kwh,
        lasts_h=ended_h,
        lasts_at=clock(at, ended_h),
        unserved_kwh=_unserved_kwh(run, until_h),
        lowest_soc=min(float(soc[kept].min()), end_soc),
        end_soc=end_soc,
        times_h=np.append(times_h[kept], until_h) if times_h[kept][-1] < until_h - TINY_H else times_h[kept],
        soc=np.append(soc[kept], end_soc) if times_h[kept][-1] < until_h - TINY_H else soc[kept],
    )


def _unserved_kwh(run: Trajectory, until_h: float) -> float:
    """What goes unserved in the whole intervals before a moment [kWh]."""
    return float(run.unserved_wh[run.hours[1:] <= until_h + TINY_H].sum()) / 1000.0


def _sure_h(days: RunDays, way: Way) -> float | None:
    """How long a way lasts with heavier loads on the darkest reading of the days."""
    heavier = days.one.varied(LOAD_SPREAD_SHARE)[1::2]
    if way.key == RULES:
        ended = [days.followed(None, hours).ended_h for hours in heavier]
        lasts = [inf if one is None or one >= days.until_h - TINY_H else one for one in ended]
    else:
        runs = [Run(run.start_h, run.hours) for run in way.runs]
        lasts = [days.lasts_h(runs, hours=hours.until(days.until_h)) for hours in heavier]
    return None if min(lasts) == inf else min(lasts)


def _worked(way: Way) -> tuple[Worked, ...]:
    """Fuel once more, run by run, as a sum that can be followed by hand."""
    rows = [
        Worked(
            label=f"Run {place}",
            how=f"{run.hours:.3g} h, {run.given_kwh:.4g} kWh given at its sockets and to its charger",
            value=run.litres,
            unit="l",
        )
        for place, run in enumerate(way.runs, 1)
    ]
    return (*rows, Worked(label="Fuel", how="sum of the runs", value=way.litres, unit="l"))
