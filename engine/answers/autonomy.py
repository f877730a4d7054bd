"""How long have I got: hours and clock time until a bank reaches its reserve or is cut off.

Times are local standard time, hours from the moment asked about. The range repeats the question with
the loads a tenth lower and higher, each day's light at the two ends of what its word may mean, days that
nobody said as in the dullest and the brightest tenth of many years (`fan`), and a charge that rested volts
leave open at both ends of its span. It may be asked for wider than that (`widening`), where earlier answers turned out
too sure.
A generator is never counted in the hours: the same days with it stand beside them.
Not modelled: short peaks inside an hour, loads that change with the weather.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import Assumption, Lever, Notice, Worked, assumptions_of, clock, gravest_first
from engine.answers.autonomy_worked import levers, worked
from engine.answers.bus_parts import BusPart, bus_parts, reach_kwh
from engine.answers.coming import LEAST_MEAN_W, Coming, coming, marks_of
from engine.answers.fan import Band, Fan, band_of, fanned
from engine.answers.generating import WithGenerator, with_generator
from engine.answers.notices import running_notices
from engine.answers.notices_lead import frozen_now_notices
from engine.answers.widening import Range, widened
from engine.balance.bus_plant import BusState
from engine.balance.forcing import Forcing, mean_day_hours
from engine.balance.step import State
from engine.balance.trajectory import Trajectory
from engine.cells.chemistry import at
from engine.house.bank import c_rate, floor
from engine.house.charge_scales import ChargeScales, shown
from engine.house.household import Household
from engine.house.loads import Load
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sky.days import Sky

Floats = NDArray[np.float64]

LOAD_SPREAD_SHARE = 0.1
"""Loads of the range: a tenth under and over (assumed)."""
PEAK_SHARE = 1.2
"""An hour that draws so many times the mean draw is called a high one (judgement)."""
EARLIER_SOC = 0.01
"""A cut-off this much charge before that of the mean draw comes of the high hour (judgement)."""
Span = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class EndsBy:
    """The draw at which a bank ends, beside its mean.

    Attributes
    ----------
    drawn_w, mean_w : float
        Drawn from the bank in the hour it ends, and on a mean hour of the month [W].
    volts_v : float or None
        Of the pack under that draw [V]; not told of several banks on one bus.
    soc, mean_cutoff_soc : float
        Charge left at the end, and at which the mean draw would be cut off [-].
    by_peak : bool
        Whether the draw of that hour ended it, where the mean draw would have gone on.
    """

    drawn_w: float
    mean_w: float
    volts_v: float | None
    soc: float
    mean_cutoff_soc: float | None
    by_peak: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BankCharge:
    """One bank's charge now on every scale, and the span that it may lie in [-]."""

    bank_id: str
    name: str
    soc: float
    low_soc: float
    high_soc: float
    scales: ChargeScales


@dataclass(frozen=True, slots=True, kw_only=True)
class BankAutonomy:
    """One bank's part of the answer.

    `usable_now_kwh` is what is left down to `usable_to_soc`, the first limit met at the mean draw, as on Banks.
    `end_soc` is the charge at which the range ends, by whatever ends it. Where `widened` is above 1 the low and high
    hours and the band are so many times as wide as `own_range`, the model's.
    """

    bank_id: str
    name: str
    start_soc: float
    charges: tuple[BankCharge, ...]
    reserve_soc: float
    end_soc: float
    hours: float | None
    low_hours: float | None
    high_hours: float | None
    ends_at: datetime | None
    low_ends_at: datetime | None
    high_ends_at: datetime | None
    ended_by: str
    end: EndsBy | None
    fan: Fan | None
    band: Band
    usable_now_kwh: float
    usable_to_soc: float
    sun_kwh: float
    load_kwh_per_day: float
    idle_kwh_per_day: float
    margin_v: float | None
    cell_c: float
    times_h: Floats
    soc: Floats
    worked: tuple[Worked, ...]
    levers: tuple[Lever, ...]
    with_generator: WithGenerator | None = None
    parts: tuple[BusPart, ...] = ()
    widened: float = 1.0
    own_range: Range | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Autonomy:
    """The answer: the soonest of the banks, and each of them."""

    at: datetime
    hours_to_reserve: float | None
    low_hours: float | None
    high_hours: float | None
    ends_at: datetime | None
    ended_by: str
    bank_id: str
    off: tuple[str, ...]
    horizon_h: float
    sky_basis: str
    sky_title: str
    sky_days: tuple[tuple[date, str, float], ...]
    banks: tuple[BankAutonomy, ...]
    levers: tuple[Lever, ...]
    notices: tuple[Notice, ...]
    assumptions: tuple[Assumption, ...]


def autonomy(
    household: Household,
    charges: Mapping[str, float],
    sky: Sky,
    at: datetime,
    *,
    off: Sequence[Load] = (),
    spans: Mapping[str, Span] | None = None,
    factors: Mapping[str, float] | None = None,
) -> Autonomy:
    """Work out how long each joined bank lasts from a moment on.

    Parameters
    ----------
    charges : mapping of str to float
        State of charge now by bank id, a share of tested Ah [-]; a bank left out is full.
    sky : Sky
        The days to come; they begin today, or tomorrow once today's sun is over.
    at : datetime
        The moment, local standard time.
    off : sequence of Load
        Loads that the household has and that are switched off from now on; `household` is without them.
    spans : mapping of str to (float, float)
        Lowest and highest charge that a bank's may be [-], by bank id, where it is not known better.
    factors : mapping of str to float
        How many times as wide as the model's own the range of a bank is to be, 1 or more, by the id of the (first) bank
        of its supply; a bank left out keeps the model's.

    Raises
    ------
    InputError
        If a charge is outside 0..1 or names no joined bank, or a factor is below 1.
    Unreachable
        If no bank is joined to an inverter.
    """
    first, found = coming(household, charges, sky, at)
    found_banks = (_bank(*fanned(one, sky), _off_of(one, off), spans or {}) for one in found)
    banks = tuple(_widened(bank, (factors or {}).get(bank.bank_id, 1.0), at) for bank in found_banks)
    soonest = min(banks, key=lambda bank: np.inf if bank.hours is None else bank.hours)
    days = tuple(
        (first + timedelta(days=index), sky.labels[index], float(sky.kc[index])) for index in range(sky.listed_days)
    )
    return Autonomy(
        at=at,
        hours_to_reserve=soonest.hours,
        low_hours=soonest.low_hours,
        high_hours=soonest.high_hours,
        ends_at=soonest.ends_at,
        ended_by=soonest.ended_by,
        bank_id=soonest.bank_id,
        off=tuple(load.id for load in off),
        horizon_h=float(soonest.times_h[-1]),
        sky_basis=sky.basis,
        sky_title=sky.title,
        sky_days=days,
        banks=banks,
        levers=soonest.levers,
        notices=gravest_first((*frozen_now_notices(household, charges), *running_notices(household, at.month))),
        assumptions=(
            *assumptions_of(household, (bank.cell for one in found for bank in one.supply.banks), sky),
            *(_wide_assumption(bank) for bank in banks if bank.widened > 1.0),
        ),
    )


def _widened(bank: BankAutonomy, factor: float, at: datetime) -> BankAutonomy:
    """The bank with its range so many times as wide; as it is where that is once."""
    if factor == 1.0:
        return bank
    own = Range(low_hours=bank.low_hours, high_hours=bank.high_hours, band=bank.band)
    wide = widened(own, run_h=bank.times_h, run_soc=bank.soc, hours=bank.hours, floor_soc=bank.end_soc, factor=factor)
    return dataclasses.replace(
        bank,
        low_hours=wide.low_hours,
        high_hours=wide.high_hours,
        low_ends_at=clock(at, wide.low_hours),
        high_ends_at=clock(at, wide.high_hours),
        band=wide.band,
        widened=factor,
        own_range=own,
    )


def _wide_assumption(bank: BankAutonomy) -> Assumption:
    return Assumption(
        name=f"{bank.name}: how wide its range is",
        value=f"{bank.widened:.2g} times the model’s own",
        kind="measured",
        source="the promise book: what came of earlier answers",
    )


def _off_of(one: Coming, off: Sequence[Load]) -> tuple[Load, ...]:
    """The loads switched off that this supply would carry."""
    first = one.household.first_inverter
    return tuple(load for load in off if (load.inverter or first) == one.supply.inverter.id)


def _bank(one: Coming, fan: Fan | None, off: tuple[Load, ...], spans: Mapping[str, Span]) -> BankAutonomy:
    household, supply, at = one.household, one.supply, one.at
    ended = one.run(until_ended=True)
    whole = ended if ended.ended_h is None else one.run()
    times_h, soc_then = _curve(whole, ended)
    varied = one.varied(LOAD_SPREAD_SHARE)
    charged = _charges(one, off, spans)
    runs = [begun.run(hours, until_ended=True) for begun in _begun(one, charged) for hours in _around(varied, fan)]
    low_h, high_h = _ends([ended, *runs])
    mean_used_w = float(np.mean(sum(mean_day_hours(household, supply, at.month))))
    reach, usable_to_soc = reach_kwh(one)
    end_soc = _end_soc([ended, *runs], one.plant.floor_soc, usable_to_soc)
    return BankAutonomy(
        bank_id=supply.bank.id,
        name=supply.name,
        start_soc=one.start_soc,
        charges=charged,
        reserve_soc=one.plant.floor_soc,
        end_soc=end_soc,
        hours=ended.ended_h,
        low_hours=low_h,
        high_hours=high_h,
        ends_at=clock(at, ended.ended_h),
        low_ends_at=clock(at, low_h),
        high_ends_at=clock(at, high_h),
        ended_by=ended.ended_by,
        end=_end(one, ended),
        fan=fan,
        band=band_of([(run.hours, run.soc) for run in (ended, *runs)], end_soc),
        usable_now_kwh=reach * mean_used_w / one.mean_w if one.mean_w > 0.0 and ended.ended_h != 0.0 else 0.0,
        usable_to_soc=usable_to_soc,
        sun_kwh=ended.totals.sun_kwh,
        load_kwh_per_day=mean_used_w * HOURS_PER_DAY / WH_PER_KWH,
        idle_kwh_per_day=supply.inverter.idle_w * HOURS_PER_DAY / WH_PER_KWH,
        margin_v=_margin_v(one, ended),
        cell_c=min(bank.cell_c for bank in supply.banks),
        times_h=times_h,
        soc=soc_then,
        worked=worked(ended),
        levers=levers(one, ended.ended_h, off),
        with_generator=None
        if supply.generator is None
        else with_generator(one, supply.generator, varied, whole.totals.unserved_kwh),
        parts=bus_parts(one, ended, whole),
    )


def _around(varied: Sequence[Forcing], fan: Fan | None) -> Sequence[Forcing]:
    """The hours at the ends of the range; of a fan the dull year with heavier loads and the bright one with lighter."""
    if fan is None:
        return varied
    *_, heavy_dull, light_bright, _ = varied
    return heavy_dull, light_bright


def _charges(one: Coming, off: tuple[Load, ...], spans: Mapping[str, Span]) -> tuple[BankCharge, ...]:
    """The charge of each bank of a supply; what is switched off moves no mark of a scale."""
    banks = one.supply.banks
    socs = one.start.socs if isinstance(one.start, BusState) else (one.start.soc,)
    described = dataclasses.replace(one.supply, loads=(*one.supply.loads, *off))
    scales = marks_of(one.household, described, one.at.month)
    return tuple(
        BankCharge(
            bank_id=bank.id,
            name=bank.name,
            soc=soc,
            low_soc=spans.get(bank.id, (soc, soc))[0],
            high_soc=spans.get(bank.id, (soc, soc))[1],
            scales=shown(scales[bank.id], soc),
        )
        for bank, soc in zip(banks, socs, strict=True)
    )


def _begun(one: Coming, charged: Sequence[BankCharge]) -> tuple[Coming, ...]:
    """The days from the charge as taken, or from both ends of its span where it has one."""
    ends = [tuple(bank.low_soc for bank in charged), tuple(bank.high_soc for bank in charged)]
    if ends[0] == ends[1]:
        return (one,)
    several = isinstance(one.start, BusState)
    return tuple(dataclasses.replace(one, start=BusState(socs) if several else State(socs[0])) for socs in ends)


def _end(one: Coming, ended: Trajectory) -> EndsBy | None:
    """The draw of the hour in which it ends; None where it does not."""
    if ended.ended_h is None:
        return None
    inverter, mean_w = one.supply.inverter, max(one.mean_w, LEAST_MEAN_W)
    hour = min(len(ended.hours) - 2, len(one.given.ac_w) - 1)
    asked_w = inverter.dc_w(min(float(one.given.ac_w[hour]), inverter.rated_w)) + float(one.given.dc_w[hour])
    drawn_w = max(asked_w - float(one.given.sun_w[hour]), 0.0)
    soc, high = float(ended.soc[-1]), drawn_w > PEAK_SHARE * one.mean_w
    if one.supply.beside:
        by_peak = high and ended.ended_by == "current"
        return EndsBy(drawn_w=drawn_w, mean_w=one.mean_w, volts_v=None, soc=soc, mean_cutoff_soc=None, by_peak=by_peak)
    bank, (p, _) = one.supply.bank, one.single
    mean_soc = floor(bank, inverter, mean_w).cutoff_soc
    sagged_v = at(p.cells.ocv_v, soc) - c_rate(bank, drawn_w) * at(p.cells.r_fast, soc)
    by_sag = ended.ended_by in ("inverter", "board") and soc > mean_soc + EARLIER_SOC
    return EndsBy(
        drawn_w=drawn_w,
        mean_w=one.mean_w,
        volts_v=sagged_v * p.series,
        soc=soc,
        mean_cutoff_soc=mean_soc,
        by_peak=high and (by_sag or ended.ended_by == "current"),
    )


def _ends(runs: Sequence[Trajectory]) -> tuple[float | None, float | None]:
    """Soonest and latest hours of the answer and the runs around it; None where it does not end.

    All skies are tried with both loads: panels that face away from the sun can give more on the duller day.
    """
    ended = [run.ended_h for run in runs if run.ended_h is not None]
    return min(ended, default=None), max(ended) if len(ended) == len(runs) else None


def _end_soc(runs: Sequence[Trajectory], floor_soc: float, cutoff_soc: float) -> float:
    """Charge at which runs end: the lowest of those that do; where none does, the first limit of the mean draw [-]."""
    ended = [float(run.soc[-1]) for run in runs if run.ended_h is not None]
    lowest = min(ended) if ended else min(cutoff_soc, *(float(run.soc.min()) for run in runs))
    return max(floor_soc, lowest)


def _curve(whole: Trajectory, ended: Trajectory) -> tuple[Floats, Floats]:
    """Times [h] and charge [-] of the whole run, with the moment it ended as a point of its own."""
    if ended.ended_h is None:
        return whole.hours, whole.soc
    place = int(np.searchsorted(whole.hours, ended.ended_h))
    return np.insert(whole.hours, place, ended.ended_h), np.insert(whole.soc, place, ended.soc[-1])


def _margin_v(one: Coming, ended: Trajectory) -> float | None:
    """Pack volts under the mean load at the end, above the cut-off [V]; not told of several banks on one bus."""
    if ended.ended_h is None or one.supply.beside:
        return None
    p, _ = one.single
    soc = float(ended.soc[-1])
    sagged_v = at(p.cells.ocv_v, soc) - c_rate(one.supply.bank, one.mean_w) * at(p.cells.r_fast, soc)
    return (sagged_v - p.cut_v) * p.series
