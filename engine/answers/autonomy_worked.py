"""How long have I got, by hand: the hours once more as a sum, and what each change would add to them."""

from __future__ import annotations

import dataclasses

import numpy as np

from engine.answers.answer import Lever, Worked
from engine.answers.coming import Coming
from engine.balance.trajectory import Trajectory
from engine.house.loads import Load, daily_kwh
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH


def worked(ended: Trajectory) -> tuple[Worked, ...]:
    """The hours once more, as a sum and a division that can be followed by hand."""
    totals = ended.totals
    hours = float(ended.hours[-1])
    drawn_kwh = totals.served_kwh + totals.inverter_loss_kwh
    from_bank_kwh = -totals.stored_change_kwh
    lines = [
        Worked(
            label="Taken from the bank",
            how=f"({ended.soc[0] * 100:.4g} % − {ended.soc[-1] * 100:.4g} %) of its tested Ah at its own volts",
            value=from_bank_kwh,
            unit="kWh",
        ),
        Worked(
            label="Sun put in until then",
            how="panels × charger, less what did not fit",
            value=totals.sun_kwh,
            unit="kWh",
        ),
        Worked(
            label="Lost inside the cells",
            how="resistance, charge efficiency, self-discharge",
            value=totals.cell_loss_kwh,
            unit="kWh",
        ),
        Worked(
            label="Drawn by the loads and the inverter",
            how="bank + sun − lost inside the cells",
            value=from_bank_kwh + totals.sun_kwh - totals.cell_loss_kwh,
            unit="kWh",
        ),
        Worked(
            label="Mean draw",
            how="sockets + inverter's losses and idle, over these hours",
            value=drawn_kwh * WH_PER_KWH / hours if hours > 0.0 else 0.0,
            unit="W",
        ),
        Worked(label="Hours", how="drawn ÷ mean draw", value=hours, unit="h"),
    ]
    return tuple(lines)


def levers(one: Coming, hours: float | None, off: tuple[Load, ...]) -> tuple[Lever, ...]:
    """What each change alone would add, the most first; of a bank that does not run out what is switched off only.

    Each is worked out anew from the changed household, as if it had been typed.
    """
    found = _switched_off(one, hours, off)
    if hours is not None:
        found += _changes(one, hours)
    return tuple(sorted(found, key=lambda lever: -np.inf if lever.gained_h is None else -lever.gained_h))


def _switched_off(one: Coming, hours: float | None, off: tuple[Load, ...]) -> list[Lever]:
    """What each load that is off already gives: the hours that would be lost if it were on again."""
    found = []
    for load in off:
        again_h = one.with_loads((*one.supply.loads, load)).run(until_ended=True).ended_h
        gained = None if again_h is not None and hours is None else (hours or 0.0) - (again_h or 0.0)
        kwh = daily_kwh(load, one.at.month, one.household.south)
        found.append(Lever(name=load.name, gained_h=gained, kwh_per_day=kwh, load_id=load.id, off=True))
    return found


def _changes(one: Coming, hours: float) -> list[Lever]:
    """What each change that is not made yet would add."""
    household, supply, at = one.household, one.supply, one.at

    def gained_h(changed: Coming) -> float | None:
        ended_h = changed.run(until_ended=True).ended_h
        return None if ended_h is None else ended_h - hours

    found = []
    for load in supply.loads:
        kwh = daily_kwh(load, at.month, household.south)
        if kwh and not load.never_off and (load.can_shed or load.can_wait):
            gained = gained_h(one.without({load.id}))
            found.append(Lever(name=load.name, gained_h=gained, kwh_per_day=kwh, load_id=load.id))
    vital = tuple(load for load in supply.loads if load.never_off)
    if vital and len(vital) < len(supply.loads):
        alone = gained_h(one.with_loads(vital))
        found.append(Lever(name="Everything off but what is never off", gained_h=alone))
    bank = supply.bank
    if not supply.beside and bank.reserve_v is None and bank.reserve_soc - 0.1 >= bank.cell.reserve_soc - 1e-9:
        lower = dataclasses.replace(supply, bank=dataclasses.replace(bank, reserve_soc=bank.reserve_soc - 0.1))
        found.append(Lever(name="Reserve 10 points lower", gained_h=gained_h(one.changed(lower))))
    if supply.inverter.idle_w > 0.0:
        quiet = dataclasses.replace(supply, inverter=dataclasses.replace(supply.inverter, idle_w=0.0))
        idle_kwh = supply.inverter.idle_w * HOURS_PER_DAY / WH_PER_KWH
        found.append(
            Lever(
                name="What the inverter’s idle draw costs", gained_h=gained_h(one.changed(quiet)), kwh_per_day=idle_kwh
            )
        )
    return found
