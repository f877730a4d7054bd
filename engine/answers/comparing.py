"""Which chemistry through a rainy week: the same days and loads on each, hour by hour.

Each chemistry gets the number of cells in series that this inverter's DC window suits best, by the rule of Charge volts
(a count whose full volts exceed the inverter's highest only where every count does), its own usual
charge setting (lowered where the window asks for it) and its own usual reserve, at equal label kWh or at
equal usable kWh. The inverter keeps its cut-off and restart volts. A generator is not counted in the ranking: its hours
and fuel stand beside it.
Energy is kWh. Not modelled: price, space, life; the cells are the catalogue's, or your own where a bank has a measured
one of that chemistry, at your bank's temperature; charged in the cold with the share of the label that is stated of
one of your banks of that chemistry, else as anybody's (`engine.house.cold`).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import KEPT_ANSWERS, Assumption, Lever, Notice, Worked, assumptions_of, clock
from engine.answers.generating import GeneratorWeek, generator_week
from engine.answers.notices import running_notices
from engine.answers.scaling import scale_for
from engine.balance.forcing import forcing, mean_dc_w, sun_hours
from engine.balance.step import State, plant
from engine.balance.trajectory import Trajectory, run
from engine.cells import catalogue
from engine.cells.chemistry import Chemistry
from engine.errors import InputError, Unreachable
from engine.fields import quantities
from engine.house.bank import Bank, delivered, floor
from engine.house.cold import allowed_charge_c, cold_limit_stated, full_charge_c
from engine.house.household import Household, Supply
from engine.house.inverter import Inverter
from engine.house.sizes import MOST_STRINGS
from engine.house.span import TIE_SHARE, over_highest
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sky.averages import average_day_kc
from engine.sky.days import Sky, equivalent_dark_days

Floats = NDArray[np.float64]

BASES = ("label", "usable")
COLD_CODE = "cold-comparison"
"""Of what cold takes from a contender's charge."""
_CELL_AH = 100.0
_MOST_TIMES = 64.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Contender:
    """One chemistry's week; `stop` where its full volts, `full_v`, exceed the inverter's highest."""

    chemistry: str
    name: str
    series: int
    full_v: float
    stop: bool
    usual_charge_v: float
    charge_v: float
    hold: bool
    reserve_soc: float
    top_soc: float
    label_kwh: float
    usable_kwh: float
    reach_share: float
    unserved_kwh: float
    dark_hours: float
    lowest_soc: float
    losses_kwh: float
    cell_losses_kwh: float
    sun_kwh: float
    spare_kwh: float
    served_kwh: float
    stored_change_kwh: float
    balance_error_share: float
    ended_h: float | None
    ended_by: str
    full_again_h: float | None
    full_again_at: datetime | None
    times_h: Floats
    soc: Floats
    with_generator: GeneratorWeek | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """The answer: every contender, the steadiest first."""

    at: datetime
    basis: str
    bank_id: str
    bank_name: str
    hours: float
    week_days: int
    demand_kwh: float
    sky_basis: str
    sky_title: str
    sky_month: int | None
    dark_days: float | None
    sky_days: tuple[tuple[date, str, float], ...]
    contenders: tuple[Contender, ...]
    levers: tuple[Lever, ...]
    worked: tuple[Worked, ...]
    notices: tuple[Notice, ...]
    assumptions: tuple[Assumption, ...]


@lru_cache(maxsize=KEPT_ANSWERS)
def comparing(
    household: Household,
    supply: Supply,
    sky: Sky,
    start: datetime,
    basis: str = "label",
    chemistries: tuple[str, ...] = catalogue.COMPARED,
) -> Comparison:
    """Run the same days and loads on a bank of each chemistry, each charged as full as it is set.

    Parameters
    ----------
    supply : Supply
        The bank that is replaced; its label kWh and temperature, inverter, panels and loads are kept.
    sky : Sky
        The days, the first being that of `start`.
    start : datetime
        Local standard time; midnight lets the days and the sky agree.
    basis : str
        ``label`` for equal label kWh, ``usable`` for equal usable kWh at the mean load.

    Raises
    ------
    InputError
        If `basis` is neither.
    Unreachable
        If no chemistry fits the inverter's window.
    """
    if basis not in BASES:
        raise InputError("basis", f"Compare at equal must be label or usable; got “{basis}”.")
    given = forcing(household, supply, start, sky.kc)
    power_w = max(mean_dc_w(household, supply, start.month), 1.0)
    own_kwh, _ = _usable_kwh(supply.bank, supply.inverter, power_w)
    contenders, banks = [], []
    cells = compared_cells(household, supply, chemistries)
    for cell in cells:
        bank = best_bank(cell, supply.bank, supply.inverter, power_w)
        if bank is None:
            continue
        bank = _cold_as_stated(bank, (supply.bank, *household.banks))
        if basis == "usable":
            bank = _with_usable(bank, supply.inverter, power_w, own_kwh)
        banks.append(bank)
        p = plant(bank, supply.inverter, power_w)
        week = run(p, State(bank.top_reached_soc), *given.lists(), first_h=given.first_h)
        contender = _contender(bank, supply.inverter, power_w, week, start, sky.listed_days)
        if supply.generator is not None:
            standard = supply.generator.on_standard_clock(household.site.clock_ahead_h(start))
            helped = generator_week(p, standard, State(bank.top_reached_soc), given)
            contender = dataclasses.replace(contender, with_generator=helped)
        contenders.append(contender)
    if not contenders:
        raise Unreachable(
            f"No chemistry of the catalogue fits {supply.inverter.name}: {supply.inverter.dc_min_v:g} to "
            f"{supply.inverter.dc_max_v:g} V DC holds no whole number of cells with anything to use between them, or "
            f"none of a size that can be entered for {supply.bank.label_kwh:.3g} kWh."
        )
    ranked = tuple(sorted(contenders, key=lambda one: (one.unserved_kwh, -one.lowest_soc)))
    demand_kwh = float((given.ac_w + given.dc_w)[1:].sum() + (given.ac_w + given.dc_w)[0] * given.first_h) / WH_PER_KWH
    days = tuple(
        (start.date() + timedelta(days=index), sky.labels[index], float(sky.kc[index])) for index in range(len(sky.kc))
    )
    return Comparison(
        at=start,
        basis=basis,
        bank_id=supply.bank.id,
        bank_name=supply.bank.name,
        hours=float(ranked[0].times_h[-1]),
        week_days=sky.listed_days,
        demand_kwh=demand_kwh,
        sky_basis=sky.basis,
        sky_title=sky.title,
        sky_month=sky.month,
        dark_days=_dark_days(household, supply, sky, start),
        sky_days=days,
        contenders=ranked,
        levers=(),
        worked=_worked(ranked[0]),
        notices=(*running_notices(household, start.month), *cold_notices(banks)),
        assumptions=assumptions_of(household, cells, sky),
    )


def _cold_as_stated(bank: Bank, own: Sequence[Bank]) -> Bank:
    """The bank with the charge current at 0 °C that is stated of one of `own` of its chemistry, by label."""
    stated_c = (
        one.cold_charge_a / (one.label_ah * one.parallel)
        for one in own
        if one.cell.base_id == bank.cell.base_id and one.cold_charge_a is not None
    )
    share_c = next(stated_c, None)
    if share_c is None:
        return bank
    return dataclasses.replace(bank, cold_charge_a=share_c * bank.label_ah * bank.parallel)


def cold_notices(banks: Iterable[Bank]) -> Iterator[Notice]:
    """Contenders that cold keeps from being charged, or lets be charged only slowly."""
    for bank in banks:
        allowed_c, full_c = allowed_charge_c(bank, bank.cell_c), full_charge_c(bank)
        if allowed_c >= full_c or bank.cell_c > bank.cell.charge_max_c:
            continue
        at = f"At {bank.cell_c:g} °C {bank.name}"
        if allowed_c > 0.0:
            text = f"{at} takes at most {allowed_c:.2g}C here, not its {full_c:.2g}C: cold limits it."
        elif cold_limit_stated(bank):
            text = f"{at} is not charged at all here: its cells take nothing below {bank.charge_min_c:g} °C."
        else:
            text = (
                f"{at} is not charged at all here, for nobody has stated what its cells take below "
                f"{bank.charge_min_c:g} °C. Where their sheet does, enter it on Banks as Charge current at 0 °C, of a "
                "bank of such cells, joined or not: it counts here too."
            )
        level = "note" if allowed_c > 0.0 else "check"
        yield Notice(level=level, code=COLD_CODE, page="banks", text=text)


def _dark_days(household: Household, supply: Supply, sky: Sky, start: datetime) -> float | None:
    """Days without any sun that the spell is worth, against the month's average day; None without panels."""
    average_kc = average_day_kc(household.site, household.sun, start.month)
    usual_kwh = float(sun_hours(household, supply, start, np.full(1, average_kc)).sum()) / WH_PER_KWH
    if not usual_kwh > 0.0:
        return None
    spell_w = sun_hours(household, supply, start, sky.kc[: sky.listed_days])
    daily_kwh = spell_w.reshape(-1, HOURS_PER_DAY).sum(axis=1) / WH_PER_KWH
    return equivalent_dark_days(daily_kwh, usual_kwh, sky.listed_days)


def best_bank(cell: Chemistry, like: Bank, inverter: Inverter, power_w: float) -> Bank | None:
    """A bank of `cell` with the label kWh of `like`, in the series count that this window suits best.

    A count whose full volts exceed the inverter's highest is left out, unless all of them do. Of the others the one
    with the largest reachable share wins; within `TIE_SHARE` of it that of `like` where it is of the same cells, else
    the one whose nominal volts lie nearest the middle of the window. None where no count leaves anything to use.
    """
    middle_v = 0.5 * (inverter.dc_min_v + inverter.dc_max_v)
    counts = range(cell.series_step, 401, cell.series_step)
    fitting = [n for n in counts if inverter.dc_min_v <= n * cell.v_nominal <= inverter.dc_max_v]
    built = [bank for series in fitting if (bank := _bank(cell, like, inverter, series)) is not None]
    safe = [bank for bank in built if not over_highest(bank, inverter)]
    usable = [(share, bank) for bank in safe or built if (share := _reach(bank, inverter, power_w)) > 0.0]
    if not usable:
        return None
    most = max(share for share, _ in usable)
    near = [bank for share, bank in usable if share >= most - TIE_SHARE]
    own = like.series if like.cell.base_id == cell.base_id else 0
    return min(near, key=lambda bank: (bank.series != own, abs(bank.series * cell.v_nominal - middle_v)))


def _bank(cell: Chemistry, like: Bank, inverter: Inverter, series: int) -> Bank | None:
    """A bank of `series` cells with the label kWh of `like`, of cells of about `_CELL_AH` or of larger ones.

    None if the window stops it below nominal volts, or if no bank that may be entered has so much or so little.
    """
    charge_v = min(cell.v_charge, inverter.charge_max_v / series)
    if charge_v <= cell.v_nominal:
        return None
    cell_ah = like.label_kwh * WH_PER_KWH / (series * cell.v_nominal)
    parallel = min(max(1, int(np.ceil(cell_ah / _CELL_AH))), MOST_STRINGS)
    if quantities(Bank)["label_ah"].refuse(cell_ah / parallel) is not None:
        return None
    return Bank(
        id=cell.id,
        name=cell.name,
        chemistry=cell,
        inverter=inverter.id,
        series=series,
        parallel=parallel,
        label_ah=cell_ah / parallel,
        cell_c=like.cell_c,
        charge_v=charge_v,
        hold=cell.holds,
        reserve_soc=cell.reserve_soc,
    )


def _reach(bank: Bank, inverter: Inverter, power_w: float) -> float:
    """Share of the charge between the end of charge and the cut-off, reserve left out."""
    low = floor(bank, inverter, power_w)
    return bank.top_reached_soc - max(low.cutoff_soc, low.reach_soc)


def _usable_kwh(bank: Bank, inverter: Inverter, power_w: float) -> tuple[float, float]:
    return delivered(bank, bank.top_reached_soc, floor(bank, inverter, power_w).soc, power_w)


def _with_usable(bank: Bank, inverter: Inverter, power_w: float, wanted_kwh: float) -> Bank:
    """The bank scaled so that it gives `wanted_kwh` at the mean load.

    Raises
    ------
    Unreachable
        If no size gives it.
    """

    def scaled(factor: float) -> Bank:
        cold_a = None if bank.cold_charge_a is None else bank.cold_charge_a * factor
        return dataclasses.replace(bank, label_ah=bank.label_ah * factor, cold_charge_a=cold_a)

    try:
        factor = scale_for(lambda scale: _usable_kwh(scaled(scale), inverter, power_w)[0], wanted_kwh, _MOST_TIMES)
        if factor is not None:
            return scaled(factor)
    except InputError:
        pass
    raise Unreachable(f"{bank.name} cannot give the {wanted_kwh:.1f} kWh that your bank gives on this inverter.")


def _contender(
    bank: Bank, inverter: Inverter, power_w: float, week: Trajectory, start: datetime, spell_days: int
) -> Contender:
    totals = week.totals
    again_h = week.full_again_h(_emptiest_h(week, spell_days))
    return Contender(
        chemistry=bank.cell.base_id,
        name=bank.name,
        series=bank.series,
        full_v=bank.full_v,
        stop=over_highest(bank, inverter),
        usual_charge_v=bank.cell.v_charge,
        charge_v=bank.charge_end_cell_v,
        hold=bank.hold,
        reserve_soc=bank.reserve_soc,
        top_soc=bank.top_reached_soc,
        label_kwh=bank.label_kwh,
        usable_kwh=_usable_kwh(bank, inverter, power_w)[0],
        reach_share=_reach(bank, inverter, power_w),
        unserved_kwh=totals.unserved_kwh,
        dark_hours=float(np.diff(week.hours)[week.unserved_wh > 0.0].sum()),
        lowest_soc=float(week.soc.min()),
        losses_kwh=totals.cell_loss_kwh + totals.inverter_loss_kwh,
        cell_losses_kwh=totals.cell_loss_kwh,
        sun_kwh=totals.sun_kwh,
        spare_kwh=totals.spare_kwh,
        served_kwh=totals.served_kwh,
        stored_change_kwh=totals.stored_change_kwh,
        balance_error_share=totals.balance_error_share,
        ended_h=week.ended_h,
        ended_by=week.ended_by,
        full_again_h=again_h,
        full_again_at=clock(start, again_h),
        times_h=week.hours,
        soc=week.soc,
    )


def _emptiest_h(week: Trajectory, spell_days: int) -> float:
    """Hour of the lowest charge of the spell, after which the bank may be called full again."""
    within = week.hours <= spell_days * HOURS_PER_DAY
    return float(week.hours[int(np.argmin(week.soc[within]))])


def compared_cells(household: Household, supply: Supply, chemistries: tuple[str, ...]) -> tuple[Chemistry, ...]:
    """The catalogue's cells, each replaced by one of the household's own measured of it, the asked bank's first."""
    own = [bank.cell for bank in (supply.bank, *household.banks) if not isinstance(bank.chemistry, str)]
    return tuple(next((one for one in own if one.base_id == key), catalogue.load(key)) for key in chemistries)


def _worked(best: Contender) -> tuple[Worked, ...]:
    lines = (
        ("Sun taken", "what the charger put in", best.sun_kwh, "kWh"),
        ("Served", "at the sockets", best.served_kwh, "kWh"),
        ("Lost", "in cells and inverter, idle included", best.losses_kwh, "kWh"),
        ("Change of store", "charge at the end less charge at the start", best.stored_change_kwh, "kWh"),
        (
            "Left over",
            "sun − served − lost − change of store: should be nothing",
            best.sun_kwh - best.served_kwh - best.losses_kwh - best.stored_change_kwh,
            "kWh",
        ),
    )
    return tuple(
        Worked(label=f"{best.name}: {label.lower()}", how=how, value=value, unit=unit)
        for label, how, value, unit in lines
    )
