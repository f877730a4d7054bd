"""When a lead-acid bank is full: by the sun of the days to come, by a generator run just for that, and since when not.

Hours count from the moment asked about, moments are local standard time, energies kWh at the terminals.
Not modelled: a charger that ends its absorption by a clock of its own, acid that lies in layers.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import ceil

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import clock
from engine.answers.charging_targets import put_in_ah
from engine.answers.coming import Coming
from engine.answers.starting_runs import QUARTER_H, RunDays, generation_of
from engine.balance.bus_plant import BusPlant
from engine.balance.planned import Run
from engine.balance.step import NEARLY_FULL_SOC, Plant
from engine.balance.trajectory import Trajectory
from engine.cells import curve
from engine.cells.chemistry import STEPS
from engine.cells.hold import taper
from engine.house.bank import Bank
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH

Floats = NDArray[np.float64]

FULL_EVERY_DAYS = 7
"""A lead-acid bank is to be full about this often (typical, from memory: once a week or so)."""
LEAST_SPARE_W = 1.0
"""Sun left over that counts as such [W] (choice)."""
PATIENCE_H = 48.0
"""The sun is waited for so long however late it is (judgement) [h]."""
RUN_WITHIN_H, LONGEST_RUN_H = 72.0, 24.0
"""A generator run to full begins in so many hours and is looked at for so many [h] (choice)."""
_EPS = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class FullRun:
    """A generator run until the bank is full; `reaches` is false where its hours do not let it."""

    generator: str
    start_h: float
    start_at: datetime
    hours: float
    end_soc: float
    given_kwh: float
    litres: float
    reaches: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class AbsorbDay:
    """Hours of one day in which the sun can hold the bank at its absorption volts, and at full after that [h]."""

    on: date
    absorb_h: float
    full_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FullCharge:
    """When a lead-acid bank was and will be full.

    Attributes
    ----------
    full_soc : float
        Charge that counts as full: its usual charge volts held down to the tail current [-].
    fills : bool
        Whether its charge setting reaches that.
    last_on, days_since, due_on
        Day of the last full charge as told, days since, and the day the next is due; None where nobody told.
    full_at_h, full_at
        When the sun fills it [h]; 0 where it is full now, None where it does not in these days.
    finish_from_soc, finish_h : float
        Charge at which its current begins to fall, and the hours from there to full, whatever the current [-, h].
    missing_ah, missing_kwh : float
        To put in until it is full, charge losses in it.
    run_due : bool
        Whether the sun fills it too late.
    """

    full_soc: float
    fills: bool
    last_on: date | None
    days_since: int | None
    due_on: date | None
    full_at_h: float | None
    full_at: datetime | None
    finish_from_soc: float
    finish_h: float
    missing_ah: float
    missing_kwh: float
    days: tuple[AbsorbDay, ...]
    run_due: bool
    run: FullRun | None

    @property
    def absorb_h(self) -> float:
        """Hours at absorption volts in all of the days [h]."""
        return sum(day.absorb_h for day in self.days)

    @property
    def held_h(self) -> float:
        """Hours at full with sun to hold it in all of the days [h]."""
        return sum(day.full_h for day in self.days)

    @property
    def best_day_h(self) -> float:
        """Most hours that one day gives, at absorption volts and at full [h]."""
        return max((day.absorb_h + day.full_h for day in self.days), default=0.0)


def full_soc(bank: Bank) -> float:
    """Charge that counts as full: the usual charge volts of its chemistry held down to the tail current [-]."""
    return curve.soc_with_hold(bank.cell, bank.cell.v_charge, temperature_c=bank.cell_c)


def full_charge(one: Coming, place: int, as_is: Trajectory, last_on: date | None) -> FullCharge:
    """Work out when one bank of a supply is full.

    Parameters
    ----------
    place : int
        Which of the supply's banks.
    as_is : Trajectory
        The days as said, without a generator.
    last_on : date or None
        Day of the last full charge as told.
    """
    bank, (p, socs) = one.supply.banks[place], bank_course(one, place, as_is)
    goal = full_soc(bank)
    enough = goal - NEARLY_FULL_SOC
    there = np.flatnonzero(socs >= enough - _EPS)
    full_at_h = float(as_is.hours[there[0]]) if there.size else None
    days_since = None if last_on is None else (one.at.date() - last_on).days
    held = taper(bank.cell, p.end_v, min(bank.charge_c, p.charge_c_max or bank.charge_c), bank.cell.tail_c, bank.cell_c)
    missing_ah = put_in_ah(bank, float(socs[0]), goal) if socs[0] < enough else 0.0
    fills = bank.hold and bank.top_reached_soc >= enough - _EPS
    due = _late(days_since, full_at_h, one.given.length_h)
    return FullCharge(
        full_soc=goal,
        fills=fills,
        last_on=last_on,
        days_since=days_since,
        due_on=None if last_on is None else last_on + timedelta(days=FULL_EVERY_DAYS),
        full_at_h=full_at_h,
        full_at=clock(one.at, full_at_h),
        finish_from_soc=float(held.soc[0]),
        finish_h=float(held.hours[-1]),
        missing_ah=missing_ah,
        missing_kwh=missing_ah * p.end_v * bank.series / WH_PER_KWH,
        days=absorb_days(one, p, as_is, socs, enough),
        run_due=due,
        run=_run_to_full(one, enough) if due and fills and p.charge_c_max > 0.0 else None,
    )


def bank_course(one: Coming, place: int, as_is: Trajectory) -> tuple[Plant, Floats]:
    """Return the limits of one bank of a supply, and its charge at each edge, (n + 1,) [-]."""
    if isinstance(one.plant, BusPlant):
        assert as_is.parted is not None
        return one.plant.plants[place], as_is.parted.soc[:, place]
    return one.plant, as_is.soc


def absorbing(p: Plant, socs: Floats, spare_w: Floats) -> NDArray[np.bool_]:
    """Whether the bank takes less than the sun could give because its volts or its acceptance hold it back, (n,).

    Parameters
    ----------
    socs : (n + 1,) array
        Charge at the edges [-].
    spare_w : (n,) array
        Sun left over [W].
    """
    if not p.holds or p.charge_c_max <= 0.0:
        return np.zeros(spare_w.shape, dtype=np.bool_)
    middle, grid = (socs[1:] + socs[:-1]) / 2.0, np.arange(STEPS + 1) / STEPS
    taken_c = (p.end_v - np.interp(middle, grid, p.cells.ocv_v)) / np.interp(middle, grid, p.cells.r_slow)
    if p.acceptance_tau_h is not None:
        taken_c = np.minimum(taken_c, (1.0 - middle) / p.acceptance_tau_h)
    return np.asarray((spare_w > LEAST_SPARE_W) & (np.diff(socs) >= -_EPS) & (taken_c < p.charge_c_max))


def absorb_days(one: Coming, p: Plant, as_is: Trajectory, socs: Floats, enough: float) -> tuple[AbsorbDay, ...]:
    """Hours at absorption volts and at full, day by day; intervals count whole, on the day of their middle."""
    lengths_h = np.diff(as_is.hours)
    at_volts = absorbing(p, socs, as_is.spare_wh / lengths_h)
    full = at_volts & (socs[:-1] >= enough - _EPS)
    middle_h = (as_is.hours[1:] + as_is.hours[:-1]) / 2.0
    on = np.array([(one.at + timedelta(hours=hour)).toordinal() for hour in middle_h.tolist()])
    return tuple(
        AbsorbDay(
            on=date.fromordinal(int(day)),
            absorb_h=float(lengths_h[at_volts & ~full & (on == day)].sum()),
            full_h=float(lengths_h[full & (on == day)].sum()),
        )
        for day in np.unique(on)
    )


def _late(days_since: int | None, full_at_h: float | None, length_h: float) -> bool:
    """Whether the sun fills it too late: not soon, and over a week after the last time; or not at all, if not told."""
    if full_at_h is not None and full_at_h <= PATIENCE_H:
        return False
    if full_at_h is None and days_since is None:
        return True
    waits_days = (length_h if full_at_h is None else full_at_h) / HOURS_PER_DAY
    return (days_since or 0) + waits_days > FULL_EVERY_DAYS


def _run_to_full(one: Coming, enough: float) -> FullRun | None:
    """The first run outside quiet hours that fills the bank; the first one at all where none does."""
    generator = one.supply.generator
    if generator is None or one.supply.beside or generator.charger_w <= 0.0:
        return None
    days = RunDays(one=one, generator=generator, until_h=min(RUN_WITHIN_H, one.given.length_h), margin_h=0.0)
    first: FullRun | None = None
    for window in days.windows:
        longest_h = min(window.end_h - window.begin_h, LONGEST_RUN_H)
        if longest_h < QUARTER_H:
            continue
        found = _run(days, generator.name, Run(window.begin_h, longest_h), enough)
        if found.reaches:
            return found
        first = first or found
    return first


def _run(days: RunDays, name: str, longest: Run, enough: float) -> FullRun:
    """One run, ended at the quarter of an hour after the bank is full."""
    course = days.followed([longest])
    edges = np.flatnonzero((course.soc >= enough - _EPS) & (course.hours >= longest.start_h - _EPS))
    reaches = bool(edges.size) and float(course.hours[edges[0]]) <= longest.start_h + longest.hours + _EPS
    hours = longest.hours
    if reaches:
        k = int(edges[0])
        part = 1.0 if k == 0 else float(np.interp(enough, course.soc[k - 1 : k + 1], [0.0, 1.0]))
        there_h = float(course.hours[k]) if k == 0 else float(np.interp(part, [0.0, 1.0], course.hours[k - 1 : k + 1]))
        hours = min(max(ceil((there_h - longest.start_h) / QUARTER_H - _EPS), 1) * QUARTER_H, longest.hours)
    (done, *_) = generation_of(days.followed([Run(longest.start_h, hours)])).runs
    return FullRun(
        generator=name,
        start_h=longest.start_h,
        start_at=days.one.at + timedelta(hours=longest.start_h),
        hours=done.hours,
        end_soc=done.end_soc,
        given_kwh=done.given_wh / WH_PER_KWH,
        litres=done.litres,
        reaches=reaches,
    )
