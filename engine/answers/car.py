"""May I charge the car: what may go in now, from when on all of it may, and which hours are best for it.

A yes is a simulated one: with the car's energy in the hours, at the risk taken, the bank stays at or above its floor
and no load goes short until the bank is next charged in that very run; the car puts that off. Where the bank is not
charged again within the days, they are looked at to their end. A start later than now must see it charged again. The
car's own times on Loads are taken out first. Energies are kWh at the charger, moments local standard time.
Not modelled: what the car itself holds, a charger that begins with less current, short peaks inside an hour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from engine.answers.answer import Worked, assumptions_of, clock
from engine.answers.car_days import car_days
from engine.answers.car_notices import car_assumptions, car_notices
from engine.answers.car_parts import PART, YES, Car, CarAnswer, Course
from engine.answers.car_runs import STEP_KWH, CarDays, Charge, Ran
from engine.answers.car_starts import asked_rows, best_starts, put_in
from engine.answers.surplus import Surplus, Tank, surplus
from engine.balance.trajectory import Trajectory
from engine.house.household import Household
from engine.house.loads import daily_kwh
from engine.quantities import WH_PER_KWH
from engine.sky.days import Sky

MOST_KM = 500.0
"""No more than this is looked at."""
ROWS_KM = (10.0, 20.0, 40.0, 60.0, 100.0)
"""Distances of the table."""


def car_answer(
    household: Household,
    car: Car,
    charges: Mapping[str, float],
    sky: Sky,
    at: datetime,
    *,
    km: float,
    risk: str,
    tank: Tank | None = None,
    bank_id: str = "",
    brief: bool = False,
) -> CarAnswer:
    """Work out whether, how much and when the car may be charged.

    Parameters
    ----------
    charges : mapping of str to float
        State of charge now by bank id, a share of tested Ah [-]; a bank left out is full.
    km : float
        Distance wanted [km].
    risk : str
        ``likely``, ``cautious`` or ``careful`` (`car_parts`).
    tank : Tank, optional
        The tank that takes what a full bank leaves over, after the car.
    bank_id : str
        The bank to charge from where no load describes the car; else that of its inverter.
    brief : bool
        Leave out the table, the best hours and the water.

    Raises
    ------
    InputError
        If a charge is outside 0..1 or names no joined bank.
    Unreachable
        If no bank is joined to an inverter, or the car is on one without.
    """
    first, own, days = car_days(household, car, charges, sky, at, risk=risk, bank_id=bank_id)
    most_kwh = days.most(min(car.kwh(MOST_KM), float(days.lengths_h.sum()) * car.charger_kw))
    rows = asked_rows(days, most_kwh, (km,) if brief else (*ROWS_KM, km), at)
    asked = next(row for row in rows if row.km == km)
    part_kwh = most_kwh if asked.verdict == PART else 0.0
    start_h, put = put_in(days, asked, part_kwh)
    ran = days.worst(put)
    refused = None if asked.verdict == YES else _refused(days, Charge(asked.kwh))
    answer = CarAnswer(
        at=at,
        horizon_h=float(ran.run.hours[-1]),
        bank_id=own.supply.bank.id,
        bank_name=own.supply.name,
        car=car,
        risk=risk,
        km=km,
        kwh=asked.kwh,
        verdict=asked.verdict,
        most_kwh=most_kwh,
        most_km=car.km(most_kwh),
        limit_km=most_kwh > car.kwh(MOST_KM) - STEP_KWH - 1e-9,
        part_kwh=part_kwh,
        part_km=car.km(part_kwh),
        start_h=start_h,
        start_at=clock(at, start_h),
        refused_at=None if refused is None else clock(at, refused.ended_h),
        refused_by="" if refused is None else refused.ended_by,
        starts=() if brief else best_starts(days, asked, at),
        rows=tuple(row for row in rows if row.km in ROWS_KM),
        start_soc=own.start_soc,
        floor_soc=days.floor_soc,
        own_day_kwh=_own_day_kwh(household, car, at),
        generator="" if own.supply.generator is None else own.supply.generator.name,
        without=_course(days.worst(()), at, ran.end),
        with_car=_course(ran, at, ran.end),
        charging_w=ran.placed.car_w,
        over_rated_w=_over_rated_w(days, ran),
        surplus=None if tank is None or brief else _water(days, put, tank, at),
        sky_basis=sky.basis,
        sky_title=sky.title,
        sky_days=tuple((first + timedelta(days=n), sky.labels[n], float(sky.kc[n])) for n in range(sky.listed_days)),
        notices=(),
        assumptions=assumptions_of(household, (bank.cell for bank in own.supply.banks), sky),
        worked=() if brief else _worked(days, ran, put, km),
    )
    told = (*car_assumptions(answer), *answer.assumptions)
    return replace(answer, notices=car_notices(answer), assumptions=told)


def _refused(days: CarDays, charge: Charge) -> Trajectory | None:
    """The first run with all of it from now on that leaves load short; None where none does, or there is no room."""
    found = days.followed((charge,)) or ()
    return next((ran.run for ran in found if ran.run.ended_h is not None), None)


def _course(ran: Ran, at: datetime, end: int) -> Course:
    """A run, with its lowest charge of the hours up to `end`."""
    run = ran.run
    lowest = int(run.soc[: end + 1].argmin())
    refill_h = None if ran.refill is None else float(run.hours[ran.refill])
    return Course(
        times_h=run.hours,
        soc=run.soc,
        lowest_soc=float(run.soc[lowest]),
        lowest_at=at + timedelta(hours=float(run.hours[lowest])),
        refill_h=refill_h,
        refill_at=clock(at, refill_h),
        short_at=clock(at, run.ended_h),
        short_by=run.ended_by,
    )


def _own_day_kwh(household: Household, car: Car, at: datetime) -> float:
    """What the car takes on a day by its own times on Loads [kWh]."""
    load = next((one for one in household.loads if one.id == car.load_id), None)
    return 0.0 if load is None else daily_kwh(load, at.month, household.south)


def _over_rated_w(days: CarDays, ran: Ran) -> float:
    """By how much the charger at its own power and the other loads go over the inverter's power, at most [W]."""
    if days.car.side != "ac":
        return 0.0
    used = ran.placed.car_w > 0.0
    others_w = ran.placed.hours.ac_w[used] - ran.placed.car_w[used]
    return max(float(others_w.max(initial=0.0)) + days.car.charger_w - days.rated_w, 0.0)


def _water(days: CarDays, put: tuple[Charge, ...], tank: Tank, at: datetime) -> Surplus:
    """What the answer's own run leaves over after the car, in the reading of the days that leaves least."""
    one = days.scenarios[0][0]
    mine = [load for load in one.supply.loads if load.id == tank.load_id]
    ac_w, dc_w = one.hours_of(mine)
    found = days.followed(put)
    assert found is not None
    each = [surplus(ran.run, ran.placed.hours, at, one.supply.inverter, tank, ac_w + dc_w) for ran in found]
    return min(each, key=lambda water: water.kwh)


def _worked(days: CarDays, ran: Ran, put: tuple[Charge, ...], km: float) -> tuple[Worked, ...]:
    """The lowest charge once more, as sums that can be followed by hand, from now to its hour."""
    car = days.car
    how = f"{km:g} km × {car.kwh_per_100km:g} kWh per 100 km ÷ {car.charge_efficiency * 100:g} % kept while charging"
    lines = [Worked(label="Into the charger for all of it", how=how, value=car.kwh(km), unit="kWh")]
    lowest = int(ran.run.soc[: ran.end + 1].argmin())
    if not lowest:
        return tuple(lines)
    totals = days.scenarios[0][0].run(ran.placed.hours.first(lowest)).totals
    car_kwh = float((ran.placed.car_w * days.lengths_h)[:lowest].sum()) / WH_PER_KWH
    named = "into the car" if sum(charge.kwh for charge in put) else "no car"
    lost_kwh = totals.inverter_loss_kwh + totals.cell_loss_kwh
    return (
        *lines,
        Worked(label="Taken by the car until the charge is lowest", how=named, value=car_kwh, unit="kWh"),
        Worked(
            label="Taken by the other loads",
            how="hour by hour, at the risk taken",
            value=totals.served_kwh - car_kwh,
            unit="kWh",
        ),
        Worked(label="Lost in inverter and cells", how="idle draw and resistance too", value=lost_kwh, unit="kWh"),
        Worked(label="Sun put in", how="panels × charger, less what did not fit", value=totals.sun_kwh, unit="kWh"),
        Worked(
            label="Out of the bank",
            how="car + other loads + lost − sun",
            value=totals.served_kwh + lost_kwh - totals.sun_kwh,
            unit="kWh",
        ),
        Worked(
            label="Lowest charge",
            how=f"{ran.run.soc[0] * 100:.4g} % less what that is of its tested Ah at its own volts",
            value=float(ran.run.soc[lowest]) * 100.0,
            unit="%",
        ),
    )
