"""From when on the car may be charged: each distance asked, what is left after a part, and the best hours.

Starts are looked at now and at each interval with sun: an evening start is no better than one in the sun before it.
Hours count from the moment asked about; charge is a share of tested Ah.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np

from engine.answers.answer import clock
from engine.answers.car_parts import NO, PART, WAIT, YES, Asked, Start
from engine.answers.car_runs import SAME_SOC, STEP_KWH, CarDays, Charge

LEAST_KM = 1.0
"""A part that carries less than this is no part (choice)."""


def asked_rows(days: CarDays, most_kwh: float, distances: Sequence[float], at: datetime) -> tuple[Asked, ...]:
    """Return the answer for each distance, the shortest first; a longer one does not begin before a shorter one."""
    found: list[Asked] = []
    place: int | None = 0
    part = days.car.km(most_kwh) >= LEAST_KM
    for km in sorted(set(distances)):
        kwh = days.car.kwh(km)
        if kwh <= most_kwh + STEP_KWH and days.allows((Charge(kwh),)):
            found.append(Asked(km=km, kwh=kwh, verdict=YES, start_h=0.0, start_at=at))
            continue
        place = None if place is None else days.first_start(kwh, max(place - 1, 0))
        start_h = None if place is None else float(days.edges_h[place])
        verdict = PART if part else NO if place is None else WAIT
        found.append(Asked(km=km, kwh=kwh, verdict=verdict, start_h=start_h, start_at=clock(at, start_h)))
    return tuple(found)


def put_in(days: CarDays, asked: Asked, part_kwh: float) -> tuple[float | None, tuple[Charge, ...]]:
    """Return when what does not go in now may begin [h], and all that the answer puts in."""
    if asked.verdict == YES:
        return 0.0, (Charge(asked.kwh),)
    if asked.verdict == PART:
        part = Charge(part_kwh)
        placed = days.placed(days.scenarios[0][1], (part,))
        assert placed is not None
        rest_kwh = asked.kwh - part_kwh
        place = days.first_start(rest_kwh, placed.done, (part,))
        if place is None:
            return None, (part,)
        return float(days.edges_h[place]), (part, Charge(rest_kwh, place))
    if asked.start_h is None:
        return None, ()
    return asked.start_h, (Charge(asked.kwh, _place(days, asked.start_h)),)


def best_starts(days: CarDays, asked: Asked, at: datetime) -> tuple[Start, ...]:
    """Return the earliest start for all of it, and the one that leaves the lowest charge of the days highest."""
    if asked.start_h is None:
        return ()
    first = _place(days, asked.start_h)
    alone_soc = _lowest_soc(days, ())
    tried: list[tuple[int, float]] = []
    last = days.last_refill
    for place in (first, *(one for one in days.sunny(first) if one < last)):
        charge = Charge(asked.kwh, place)
        if place != first and not days.allows((charge,), refilled=True):
            continue
        tried.append((place, _lowest_soc(days, (charge,))))
        if tried[-1][1] >= alone_soc - SAME_SOC:
            break
    highest_soc = max(soc for _, soc in tried)
    gentlest = next(one for one in tried if one[1] >= highest_soc - SAME_SOC)
    chosen = (tried[0],) if gentlest == tried[0] else (tried[0], gentlest)
    return tuple(
        _start(days, Charge(asked.kwh, place), soc, at, place == first, place == gentlest[0]) for place, soc in chosen
    )


def _place(days: CarDays, start_h: float) -> int:
    return int(np.searchsorted(days.edges_h, start_h - 1e-9))


def _lowest_soc(days: CarDays, charges: Sequence[Charge]) -> float:
    """Lowest charge of the days to their end, in the reading that draws the bank lowest [-]."""
    found = days.followed(charges)
    assert found is not None
    return float(min(ran.run.soc.min() for ran in found))


def _start(days: CarDays, charge: Charge, soc: float, at: datetime, earliest: bool, gentlest: bool) -> Start:
    hours = days.scenarios[0][1]
    placed = days.placed(hours, (charge,))
    assert placed is not None
    last, start_h = placed.done - 1, float(days.edges_h[charge.place])
    share = float(placed.car_w[last] / days.free_w(hours, np.zeros_like(placed.car_w))[last])
    end_h = float(days.edges_h[last]) + share * float(days.lengths_h[last])
    return Start(
        start_h=start_h,
        hours=end_h - start_h,
        start_at=at + timedelta(hours=start_h),
        end_at=at + timedelta(hours=end_h),
        lowest_soc=soc,
        earliest=earliest,
        gentlest=gentlest,
    )
