"""What is odd or cannot work about a generator beside its bank, its inverter and its loads.

A check is never an approval.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil

from engine.answers.answer import Notice, Remedy
from engine.balance.forcing import mean_day_hours, mean_dc_w
from engine.balance.step import NEARLY_FULL_SOC, plant
from engine.house.cold import first_charge_c
from engine.house.generator import LEAST_RISE_SOC, Generator
from engine.house.household import Household, Supply

SLOW_SOC = 0.95
"""Above this share of where charging ends the current mostly has to fall (judgement)."""


def generator_notices(household: Household, month: int) -> Iterator[Notice]:
    """Every notice about the generators of a household.

    Parameters
    ----------
    month : int
        Month whose loads are taken, 1..12.
    """
    joined = [supply for supply in household.supplies() if supply.generator is not None]
    at_work = {supply.generator.id for supply in joined if supply.generator is not None}
    shared = {supply.inverter.id for supply in household.supplies() if supply.beside}
    for one in household.generators:
        if one.id not in at_work and (one.inverter or household.first_inverter) not in shared:
            yield _check(
                "generator-without-bank", f"{one.name} is joined to no inverter that has a bank: it is in no answer."
            )
    for supply in joined:
        assert supply.generator is not None
        yield from _rules(household, supply, supply.generator, month)
        yield from _charging(supply, supply.generator)
        yield from _load(household, supply, supply.generator, month)


def _rules(household: Household, supply: Supply, one: Generator, month: int) -> Iterator[Notice]:
    """Starts and stops that the bank never meets."""
    bank = supply.bank
    p = plant(bank, supply.inverter, max(mean_dc_w(household, supply, month), 1.0))
    least = max(ceil(p.floor_soc * 100.0 - 1e-6) / 100.0, bank.reserve_soc)
    if one.start_soc < p.floor_soc - 1e-6:
        cure: dict[str, float | str] = {"start_soc": least}
        yield _check(
            "generator-starts-late",
            f"{one.name} is to start at {one.start_soc * 100:g} %, below the {p.floor_soc * 100:.0f} % at which "
            f"{bank.name} has given what it may: it is taken to start there, with nothing in hand if it fails to.",
            *(_cure(one, f"Start it at {least * 100:g} %", cure) if least + LEAST_RISE_SOC <= one.stop_soc else ()),
        )
    top = bank.top_reached_soc
    if one.start_soc >= top - NEARLY_FULL_SOC:
        yield _check(
            "generator-starts-full",
            f"{one.name} is to start at {one.start_soc * 100:g} %, where {bank.name} is charged already "
            f"({top * 100:.0f} %): it would run all the time.",
        )
    elif one.stop_soc > SLOW_SOC * top:
        stop = round(SLOW_SOC * top - 0.05, 2)
        yield Notice(
            level="note",
            code="generator-stops-late",
            page="inverter",
            text=f"{one.name} runs until {one.stop_soc * 100:g} %: near the end of charge {bank.name} takes less and "
            "less, and the engine burns fuel for little. Leave the last part to the sun.",
            remedies=_cure(one, f"Stop it at {stop * 100:g} %", {"stop_soc": stop})
            if stop >= one.start_soc + LEAST_RISE_SOC
            else (),
        )


def _charging(supply: Supply, one: Generator) -> Iterator[Notice]:
    """A charger too big for the cells or for the engine, and a bank too cold for it."""
    bank, cell = supply.bank, supply.bank.cell
    if one.charger_w > 0.0 and not bank.charge_min_c <= bank.cell_c <= cell.charge_max_c:
        yield _check(
            "generator-cold",
            f"{bank.name} is at {bank.cell_c:g} °C and may be charged from {bank.charge_min_c:g} to "
            f"{cell.charge_max_c:g} °C: {one.name} would carry the loads and charge nothing, and run on and on. Bring "
            "the cells to a temperature at which they may be charged first; never force a charge.",
        )
    pack_v = cell.v_nominal * bank.series
    limits_a = [cell.charge_c_max * bank.ah]
    limits_a += [] if bank.charge_limit_a is None else [bank.charge_limit_a]
    limits_a += [] if bank.board is None else [bank.board.current_limit_a]
    limits_a += [cold_a] if (cold_a := first_charge_c(bank) * bank.ah) > 0.0 else []
    charger_a = one.charger_w / pack_v
    if charger_a > min(limits_a) * 1.005:
        yield _check(
            "generator-charger-over-bank",
            f"{one.name}’s charger can give about {charger_a:.0f} A; {bank.name} takes at most {min(limits_a):.0f} A. "
            "Set the charger itself to that: only its own setting keeps the cells from more.",
            *_cure(one, f"Count {min(limits_a) * pack_v:.0f} W", {"charger_w": round(min(limits_a) * pack_v)}),
        )
    elif (solar_a := supply.inverter.charge_limit_a) is not None and solar_a + charger_a > min(limits_a) * 1.005:
        yield _check(
            "generator-and-sun-over-bank",
            f"{one.name}’s charger with about {charger_a:.0f} A and {supply.inverter.name} with up to {solar_a:g} A "
            f"of sun together give more than the {min(limits_a):.0f} A that {bank.name} takes. The answers count no "
            "more than that; see that something in the plant holds both to it.",
        )
    most_w = one.rated_w * one.charger_efficiency
    if one.charger_w > most_w + 1.0:
        yield Notice(
            level="note",
            code="generator-charger-over-engine",
            page="inverter",
            text=f"{one.name} gives {one.rated_w:,.0f} W: its charger can put in {most_w:,.0f} W of the "
            f"{one.charger_w:,.0f} W typed, and less beside loads. Set the charger so that the engine does not stall.",
        )


def _load(household: Household, supply: Supply, one: Generator, month: int) -> Iterator[Notice]:
    """Loads above what the engine gives."""
    ac_w, _ = mean_day_hours(household, supply, month)
    highest_w = float(ac_w.max()) if ac_w.size else 0.0
    if highest_w > one.rated_w:
        yield _check(
            "generator-overloaded",
            f"Your loads come to {highest_w:,.0f} W in their highest hour; {one.name} gives {one.rated_w:,.0f} W. The "
            "answers let the inverter add the rest from the bank: not every inverter can, and then it trips.",
        )


def _check(code: str, text: str, *remedies: Remedy) -> Notice:
    return Notice(level="check", code=code, page="inverter", text=text, remedies=remedies)


def _cure(one: Generator, label: str, values: dict[str, float | str]) -> tuple[Remedy, ...]:
    return (Remedy(label=label, section="generators", item_id=one.id, values=values),)
