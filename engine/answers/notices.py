"""What is wrong, odd or dangerous in a household as described: stop, check or note, each with its remedy.

A check is never an approval: nothing found does not mean that the installation is safe.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterator
from functools import lru_cache
from math import ceil

from engine.answers.answer import Notice, Remedy, gravest_first
from engine.answers.charging_current import clear_noon_w, sun_over_limits
from engine.answers.coming import LEAST_MEAN_W
from engine.answers.notices_bank import board_current_notices, cell_notices, mend, pack_notices, window_notices
from engine.answers.notices_bus import bus_notices
from engine.answers.notices_charge import cured
from engine.answers.notices_cold import unstated_notices
from engine.answers.notices_generator import generator_notices
from engine.answers.notices_lead import lead_notices
from engine.answers.notices_sky import sky_notices
from engine.answers.notices_wiring import wiring_notices
from engine.balance.forcing import mean_day_hours, mean_dc_w
from engine.errors import InputError
from engine.house.bank import Bank, floor
from engine.house.household import Household, Supply, read, write
from engine.house.loads import Load, daily_kwh, notes


@lru_cache(maxsize=32)
def household_notices(household: Household, month: int) -> tuple[Notice, ...]:
    """Every notice about the household as it is described, the gravest first.

    Parameters
    ----------
    month : int
        Month whose mean load is taken for volts under load, 1..12.
    """
    found = _found(household, month)
    return gravest_first(_with_proven_remedies(household, month, found, notice) for notice in found)


@lru_cache(maxsize=32)
def running_notices(household: Household, month: int) -> tuple[Notice, ...]:
    """The notices of the house as it runs, for answers about it, the gravest first.

    A stop of a bank that is joined to no inverter holds up nothing that runs: one check names the bank and where its
    stop stands whole. Where no bank is joined, everything.
    """
    joined = tuple(bank for supply in household.supplies() for bank in supply.banks)
    idle = [bank for bank in household.banks if bank not in joined]
    if not joined or not idle:
        return household_notices(household, month)
    running = household_notices(dataclasses.replace(household, banks=joined), month)
    told = {one.text for one in running}
    beside = (
        Notice(
            level="check",
            code="idle-bank-stop",
            page="banks",
            text=f"{bank.name} is joined to no inverter and has a stop of its own, which stands on Banks: mend that "
            "before it is used or clipped to anything.",
        )
        for bank in idle
        if any(one.level == "stop" and one.text not in told for one in _own(bank))
    )
    return gravest_first((*running, *beside))


def _own(bank: Bank) -> list[Notice]:
    """Notices of a bank by itself, joined or not."""
    return [*cell_notices(bank), *unstated_notices(bank), *window_notices(bank)]


def _found(household: Household, month: int) -> list[Notice]:
    found: list[Notice] = []
    supplies = household.supplies()
    on = {bank.id: supply.inverter for supply in supplies for bank in supply.banks}
    for bank in household.banks:
        found += (cured(one, bank, on.get(bank.id)) for one in _own(bank))
    for supply in supplies:
        noon_w = clear_noon_w(household, supply.inverter, month)
        for bank in supply.banks:
            found += (cured(one, bank, supply.inverter) for one in pack_notices(bank, supply.inverter))
            found += _over_current(supply, bank, noon_w)
            found += lead_notices(bank, supply.inverter, max(mean_dc_w(household, supply, month), LEAST_MEAN_W))
        if not supply.beside:
            found += _under_load(household, supply, month)
        found += _over_rated(household, supply, month)
    found += bus_notices(household)
    found += wiring_notices(household)
    found += sky_notices(household)
    for load in household.loads:
        found += _load(household, load)
    found += _stranded(household)
    found += generator_notices(household, month)
    return found


def _with_proven_remedies(household: Household, month: int, found: list[Notice], notice: Notice) -> Notice:
    """The notice with those remedies only that can be saved, mend it, and bring no new stop."""
    before = Counter((one.code, one.level) for one in found)
    kept = []
    for remedy in notice.remedies:
        changed = _remedied(household, remedy)
        if changed is None:
            continue
        after = Counter((one.code, one.level) for one in _found(changed, month))
        more_stops = any(level == "stop" and count > before[code, level] for (code, level), count in after.items())
        if after[notice.code, notice.level] < before[notice.code, notice.level] and not more_stops:
            kept.append(remedy)
    return dataclasses.replace(notice, remedies=tuple(kept))


def _remedied(household: Household, remedy: Remedy) -> Household | None:
    """The household as the remedy would leave it; None if it would be refused."""
    document = write(household)
    things = document["sun"]["arrays"] if remedy.section == "arrays" else document[remedy.section]
    thing = things if isinstance(things, dict) else next(one for one in things if one["id"] == remedy.item_id)
    for name, value in remedy.values.items():
        *outer, last = name.split(".")
        place = thing
        for part in outer:
            place = place[part]
        place[last] = value
    try:
        return read(document)
    except InputError:
        return None


def _over_current(supply: Supply, bank: Bank, noon_w: float) -> list[Notice]:
    """The stop of a charge current at a clear noon [W] that is above what the bank may take."""
    found = sun_over_limits(bank, supply.inverter, noon_w)
    return [one for one in found if one.level == "stop"]


def _under_load(household: Household, supply: Supply, month: int) -> Iterator[Notice]:
    bank, inverter = supply.bank, supply.inverter
    end = floor(bank, inverter, max(mean_dc_w(household, supply, month), LEAST_MEAN_W))
    if bank.reserve_v is None and end.cutoff_soc > bank.reserve_soc + 0.005:
        sure = min(ceil(end.cutoff_soc * 100.0) / 100.0, bank.top_soc - 0.01)
        yield Notice(
            level="check",
            code="reserve-under-cutoff",
            page="banks",
            text=f"{bank.name}: under your mean load it is cut off at about {end.cutoff_soc * 100:.0f} %, before it "
            f"reaches your reserve of {bank.reserve_soc * 100:g} %.",
            remedies=(mend(bank, f"Keep {sure * 100:.0f} % in reserve", {"reserve_soc": sure}),),
        )
    ac_w, dc_w = mean_day_hours(household, supply, month)
    yield from board_current_notices(bank, inverter, (ac_w + dc_w).tolist())


def _over_rated(household: Household, supply: Supply, month: int) -> Iterator[Notice]:
    inverter = supply.inverter
    ac_w, _ = mean_day_hours(household, supply, month)
    if ac_w.size and float(ac_w.max()) > inverter.rated_w:
        yield Notice(
            level="check",
            code="over-rated",
            page="loads",
            text=f"Your loads come to {float(ac_w.max()):,.0f} W in their highest hour; {inverter.name} gives "
            f"{inverter.rated_w:,.0f} W. Was a load typed in the wrong unit, or do two run at once?",
        )


def _stranded(household: Household) -> Iterator[Notice]:
    """Loads and panels on an inverter that no bank is joined to: they are in no answer."""
    alive = {bank.inverter for bank in household.banks}
    names = {inverter.id: inverter.name for inverter in household.inverters}
    for load in household.loads:
        if load.inverter and load.inverter not in alive:
            yield Notice(
                level="stop",
                code="load-without-bank",
                page="loads",
                text=f"{load.name} is fed by {names[load.inverter]}, which has no bank: it is in no answer. Choose "
                "another inverter for it on Loads, or join a bank on Banks.",
            )
    for array in household.sun.arrays:
        if array.inverter and array.inverter not in alive:
            yield Notice(
                level="check",
                code="panels-without-bank",
                page="sun",
                text=f"{array.name} charges through {names[array.inverter]}, which has no bank: "
                "its sun is not counted.",
            )


def _load(household: Household, load: Load) -> Iterator[Notice]:
    feeding = [i for i in household.inverters if i.id == (load.inverter or household.first_inverter)]
    rest_kwh = sum(daily_kwh(other, load.months[0], household.south) for other in household.loads if other is not load)
    for note in notes(load, rated_w=feeding[0].rated_w if feeding else None, others_kwh=rest_kwh):
        mend = note.remedy
        cure = () if mend is None else (Remedy(section="loads", item_id=load.id, **mend),)
        yield Notice(level="check", code=note.code, text=note.text, page="loads", remedies=cure)
