"""The same days once more with a generator run by its rules: what it does beside an answer that leaves it out.

Times are local standard time; energies kWh, fuel litres.
Not modelled: an owner who starts it before its rules ask for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import clock
from engine.answers.coming import Coming
from engine.balance.backup import Generation
from engine.balance.forcing import Forcing
from engine.balance.step import Plant, State
from engine.balance.trajectory import Trajectory, run
from engine.house.generator import Generator

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class WithGenerator:
    """The same days with the generator run by its rules, to the end of them.

    `hours` is when load first goes unserved for want of charge all the same; `litres_low` and `litres_high` are
    those of the range's skies and loads.
    """

    generator_id: str
    name: str
    hours: float | None
    ends_at: datetime | None
    ended_by: str
    first_start_h: float | None
    first_start_at: datetime | None
    starts: int
    run_h: float
    litres: float
    litres_low: float
    litres_high: float
    given_kwh: float
    unserved_kwh: float
    unserved_without_kwh: float
    lowest_soc: float
    times_h: Floats
    soc: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class GeneratorWeek:
    """What the generator would do through one chemistry's week, and what is unserved all the same."""

    run_h: float
    litres: float
    starts: int
    given_kwh: float
    unserved_kwh: float
    lowest_soc: float
    balance_error_share: float


def with_generator(
    one: Coming,
    generator: Generator,
    varied: Sequence[Forcing],
    without_kwh: float,
) -> WithGenerator:
    """Run the same days beside a generator, and its fuel over the range.

    Parameters
    ----------
    one : Coming
        The days of the answer.
    varied : sequence of Forcing
        The days and loads of its range.
    without_kwh : float
        What goes unserved without it [kWh].
    """
    at = one.at
    p, start = one.single
    week, done = _followed(p, generator, start, one.given)
    litres = [done.litres, *(_followed(p, generator, start, hours)[1].litres for hours in varied)]
    times_h, soc = with_points(week.hours, week.soc, done.switched)
    first_h = done.starts_h[0] if done.starts_h else None
    return WithGenerator(
        generator_id=generator.id,
        name=generator.name,
        hours=week.ended_h,
        ends_at=clock(at, week.ended_h),
        ended_by=week.ended_by,
        first_start_h=first_h,
        first_start_at=clock(at, first_h),
        starts=len(done.starts_h),
        run_h=done.run_h,
        litres=done.litres,
        litres_low=min(litres),
        litres_high=max(litres),
        given_kwh=week.totals.generator_kwh,
        unserved_kwh=week.totals.unserved_kwh,
        unserved_without_kwh=without_kwh,
        lowest_soc=float(soc.min()),
        times_h=times_h,
        soc=soc,
    )


def generator_week(p: Plant, generator: Generator, start: State, given: Forcing) -> GeneratorWeek:
    """Run the same days beside a generator, in sums."""
    week, done = _followed(p, generator, start, given)
    return GeneratorWeek(
        run_h=done.run_h,
        litres=done.litres,
        starts=len(done.starts_h),
        given_kwh=week.totals.generator_kwh,
        unserved_kwh=week.totals.unserved_kwh,
        lowest_soc=float(with_points(week.hours, week.soc, done.switched)[1].min()),
        balance_error_share=week.totals.balance_error_share,
    )


def _followed(p: Plant, generator: Generator, start: State, given: Forcing) -> tuple[Trajectory, Generation]:
    week = run(p, start, *given.lists(), first_h=given.first_h, generator=generator, from_hour=given.from_hour)
    assert week.generation is not None
    return week, week.generation


def with_points(times_h: Floats, soc: Floats, points: Sequence[tuple[float, float]]) -> tuple[Floats, Floats]:
    """Times [h] and charge [-] with some moments between them put in."""
    inner = [(hour, share) for hour, share in points if not np.any(np.abs(times_h - hour) < 1e-6)]
    places = np.searchsorted(times_h, [hour for hour, _ in inner])
    return (
        np.insert(times_h, places, [hour for hour, _ in inner]),
        np.insert(soc, places, [share for _, share in inner]),
    )
