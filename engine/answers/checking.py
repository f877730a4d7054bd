"""A meter’s log held against the model, day by day: yield, draw and charge, with the worst days and what they were.

An error is measured less predicted. Days are those of the house’s standard time; energies kWh a day at the battery
side unless a side is named; charges shares as the monitor counts them. Nothing is fitted here and nothing changed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

import numpy as np

from engine.answers.answer import Assumption, Worked, assumptions_of, supplies_of
from engine.answers.checking_bank import bank_cause, growth, pace, worst_charges
from engine.answers.checking_charge import (
    FILLED_H,
    LEAST_RUN_H,
    ChargeCheck,
    ChargeDays,
    ChargeHours,
    EnergyCheck,
    Powers,
    bank_power,
    charge_check,
    charge_days,
    charge_hours,
    energy_check,
    powers,
    why_no_run,
)
from engine.answers.checking_load import (
    LoadCheck,
    LoadDays,
    load_causes,
    load_check,
    load_days,
    worst_loads,
)
from engine.answers.checking_notes import notes_of, worked_of
from engine.answers.checking_parts import Floats, Likely, WorstDay, by_day, day_of, known, unit_cause
from engine.answers.checking_shade import covered, shade, worst_yields, yield_causes
from engine.answers.checking_yield import YieldCheck, YieldDays, clear_hours, yield_check, yield_days
from engine.balance.forcing import load_hours
from engine.errors import InputError
from engine.house.bus import clash_sentence
from engine.house.generator import CHARGER_EFFICIENCY
from engine.house.household import Household, Supply
from engine.meter.hours import MeterHours, by_hour
from engine.meter.log import MeterLog
from engine.sky.series import KcSeries


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedDay:
    """One day of the log beside the model; None where a number is not known.

    Energies are kWh; `draw_kwh` is on the first side of `Checking.loads`. `monitor` and `rerun` are the charges at the
    hour at which the monitor was lowest [-].
    """

    day: date
    yield_kwh: float | None
    clear_kwh: float | None
    average_kwh: float | None
    dull_kwh: float | None
    same_day_kwh: float | None
    draw_kwh: float | None
    draw_model_kwh: float | None
    monitor: float | None
    rerun: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Checking:
    """The answer: each part is None or empty where the log does not have what it takes, which `left_out` says.

    Attributes
    ----------
    first, last : date
        The days looked at.
    days : int
        How many of them have a known yield or draw.
    loads : tuple of LoadCheck
        One for each side the log has: sockets, then battery.
    energy : EnergyCheck or None
        Where the log has the bank’s power or current.
    causes : tuple of Likely
        What the log points to as a whole.
    """

    first: date
    last: date
    days: int
    yields: YieldCheck | None
    loads: tuple[LoadCheck, ...]
    charge: ChargeCheck | None
    energy: EnergyCheck | None
    causes: tuple[Likely, ...]
    worst: tuple[WorstDay, ...]
    left_out: tuple[str, ...]
    each: tuple[CheckedDay, ...]
    worked: tuple[Worked, ...]
    assumptions: tuple[Assumption, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Bank:
    """What the bank’s part of the log comes to, and why a part of it does not."""

    hours: ChargeHours | None = None
    days: ChargeDays | None = None
    check: ChargeCheck | None = None
    energy: EnergyCheck | None = None
    said: tuple[str, ...] = ()


def checking(
    household: Household,
    log: MeterLog,
    kc: KcSeries | None = None,
    first: date | None = None,
    last: date | None = None,
) -> Checking:
    """Hold a log against the model.

    Parameters
    ----------
    kc : KcSeries, optional
        The sky of the very days, from a record of radiation; without it the yield is held against average days.
    first, last : date, optional
        The days to look at, both counted; the whole log where left out.

    Raises
    ------
    InputError
        On ``first`` if the log has no row between these days, on ``log`` if it has none at all.
    Unreachable
        If no bank is joined to an inverter.
    """
    supplies = supplies_of(household)
    hours = _with_nights(household, _between(by_hour_of(household, log), first, last))
    bank = _bank(household, supplies, hours)
    panels = _yields(household, hours, supplies, kc, bank)
    sides = load_days(household, hours, float(np.median(log.step_s)))
    yields = None if panels is None else yield_check(panels)
    checks = [(side, load_check(side)) for side in sides]
    loads = tuple(one for _, one in checks if one is not None)
    units = [unit_cause("The yield", None if yields is None else yields.errors)]
    units += [unit_cause("The draw", None if one is None else one.errors) for _, one in checks]
    causes = [one for one in units if one is not None]
    worst: list[WorstDay] = []
    if panels is not None and units[0] is None:
        out, shaded = covered(panels), shade(panels)
        causes += yield_causes(panels, out, shaded)
        worst += worst_yields(panels, out, shaded)
    right = [side for side, wrong in zip(sides, units[1:], strict=True) if wrong is None]
    for side in right:
        causes += [one for one in load_causes(side) if one.code not in {cause.code for cause in causes}]
    worst += worst_loads(right[0]) if right else ()
    if bank.hours is not None and bank.days is not None and bank.check is not None and not any(units):
        cause = bank_cause(pace(bank.hours), growth(bank.hours, bank.days), bank.check.days)
        causes += [] if cause is None else [cause]
        worst += worst_charges(bank.hours, bank.days, cause)
    return Checking(
        first=day_of(hours.dates, 0),
        last=day_of(hours.dates, hours.days - 1),
        days=_counted(panels, sides),
        yields=yields,
        loads=loads,
        charge=bank.check,
        energy=bank.energy,
        causes=tuple(causes),
        worst=tuple(worst),
        left_out=(*notes_of(household, hours, yields, loads), *bank.said),
        each=_each(hours, panels, sides, bank.days),
        worked=worked_of(yields, loads, bank.check),
        assumptions=assumptions_of(household, (one.cell for supply in supplies for one in supply.banks)),
    )


def by_hour_of(household: Household, log: MeterLog) -> MeterHours:
    """Return a household’s log by the hour of its standard time.

    Raises
    ------
    InputError
        On ``log`` if it has no rows.
    """
    if not log.rows:
        raise InputError("log", "The log has no rows: bring a file of the meter on Log.")
    return by_hour(log, household.site.utc_offset_h)


def _between(hours: MeterHours, first: date | None, last: date | None) -> MeterHours:
    begin, end = day_of(hours.dates, 0), day_of(hours.dates, hours.days - 1)
    low, high = max(first or begin, begin), min(last or end, end)
    if low > high:
        raise InputError(
            "first",
            f"The log has no day from {first or begin} to {last or end}: it goes from {begin} to {end}.",
        )
    kept = slice((low - begin).days, (high - begin).days + 1)
    return MeterHours(first=low, values={key: values[kept] for key, values in hours.values.items()})


def _with_nights(household: Household, hours: MeterHours) -> MeterHours:
    """The same hours, a yield that is not known in an hour without any sun being none."""
    given = hours.values.get("yield_w")
    if given is None or not household.sun.arrays:
        return hours
    night = clear_hours(household, hours.dates) <= 0.0
    known_w = np.where(np.isnan(given) & night & np.isfinite(given).any(axis=1, keepdims=True), 0.0, given)
    return MeterHours(first=hours.first, values={**hours.values, "yield_w": known_w})


def _yields(
    household: Household, hours: MeterHours, supplies: Sequence[Supply], kc: KcSeries | None, found: _Bank
) -> YieldDays | None:
    """The yield beside the model; the bank counts as full where the monitor or the run says so."""
    there = "yield_w" in hours.values and np.isfinite(hours.values["yield_w"]).any()
    if not there or not household.sun.arrays:
        return None
    top = min(bank.top_reached_soc for supply in supplies for bank in supply.banks)
    charge = hours.values.get("charge")
    if charge is not None and found.hours is not None:
        charge = np.fmax(charge, by_day(found.hours.rerun))
    return yield_days(household, hours, kc, charge, top)


def _bank(household: Household, supplies: tuple[Supply, ...], hours: MeterHours) -> _Bank:
    """Run the one supply’s bank on what was measured, as far as the log has it."""
    supply = supplies[0]
    if said := why_no_run(household, supplies, hours, clash_sentence(supply.banks, supply.inverter)):
        return _Bank(said=(said,))
    given = _powers(household, supply, hours)
    nominal_v = supply.bank.series * supply.bank.cell.v_nominal
    into_w, taken = bank_power(hours, nominal_v)
    energy = None if into_w is None else energy_check(into_w, given)
    told = [f"The bank’s volts are not in the log: its energy is taken at {nominal_v:.3g} V."] if taken else []
    if "charge" not in hours.values or not np.isfinite(hours.values["charge"]).any():
        instead = "" if energy is None else "; the bank’s energy is compared instead"
        told.append(f"The charge was not worked out: the log does not have what the monitor showed{instead}.")
        return _Bank(energy=energy, said=tuple(told))
    run, short = charge_hours(supply, hours, given)
    days = charge_days(run)
    if short:
        told.append(
            f"{short} hours of yield and draw stand in stretches of less than {LEAST_RUN_H} hours in a row, or without "
            f"the monitor’s charge to begin at, and were not run; holes of up to {FILLED_H} hours were bridged."
        )
    if np.nanmax(run.monitor) > run.top_soc + 0.02:
        told.append(
            f"The monitor shows up to {np.nanmax(run.monitor) * 100:.0f} %; in the model this bank’s charge ends at "
            f"{run.top_soc * 100:.0f} % of its tested ampere-hours. So much of the difference near full is the scale."
        )
    return _Bank(hours=run, days=days, check=charge_check(run, days), energy=energy, said=tuple(told))


def _powers(household: Household, supply: Supply, hours: MeterHours) -> Powers:
    """The powers to run on; loads at the battery side stand beside the sockets’ where the house has both."""
    ac_w, dc_w = load_hours(household, supply, datetime.combine(hours.first, time.min), hours.days)
    dc_w = dc_w if ac_w.any() else np.zeros(dc_w.size)
    generators = household.generators
    through = generators[0].charger_efficiency if generators else CHARGER_EFFICIENCY
    return powers(supply, hours, dc_w, through)


def _counted(panels: YieldDays | None, sides: Sequence[LoadDays]) -> int:
    known_days = [one.daily for one in sides] + ([] if panels is None else [panels.measured])
    return int(np.isfinite(np.array(known_days)).any(axis=0).sum()) if known_days else 0


def _each(
    hours: MeterHours, panels: YieldDays | None, sides: Sequence[LoadDays], charge: ChargeDays | None
) -> tuple[CheckedDay, ...]:
    nothing: Floats = np.full(hours.days, np.nan)
    side = sides[0] if sides else None
    columns = {
        "yield_kwh": nothing if panels is None else panels.measured,
        "clear_kwh": nothing if panels is None else panels.clear,
        "average_kwh": nothing if panels is None else panels.average,
        "dull_kwh": nothing if panels is None else panels.dull,
        "same_day_kwh": nothing if panels is None else panels.same_day,
        "draw_kwh": nothing if side is None else side.daily,
        "draw_model_kwh": nothing if side is None else side.model_daily,
        "monitor": nothing if charge is None else charge.monitor,
        "rerun": nothing if charge is None else charge.rerun,
    }
    return tuple(
        CheckedDay(
            day=day_of(hours.dates, place),
            **{name: known(values[place]) for name, values in columns.items()},
        )
        for place in range(hours.days)
    )
