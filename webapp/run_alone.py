"""A generator beside several banks on one bus: why it has no answer, what to do by hand, one bank asked about alone."""

from __future__ import annotations

from collections.abc import Mapping

from engine.house.bank import Bank
from engine.house.cold import allowed_charge_c, full_charge_c
from engine.house.generator import Generator
from engine.house.household import Household, Supply
from webapp.questions import Blocked, plain_query
from webapp.words import in_sentence, listed

ALONE = "alone"
"""Name of the id of a bank that a question takes as alone on its bus."""


def generators_on_a_bus(house: Household) -> list[tuple[Generator, Supply]]:
    """Return each generator that stands beside several banks on one bus, with their supply."""
    shared = {supply.inverter.id: supply for supply in house.supplies() if supply.beside}
    found = [(one, shared.get(one.inverter or house.first_inverter)) for one in house.generators]
    return [(one, supply) for one, supply in found if supply is not None]


def beside_several(one: Generator, supply: Supply, typed: Mapping[str, str]) -> Blocked:
    """Return why there is no answer, what to do by hand, and a way to ask about each bank alone."""
    least = min(supply.banks, key=lambda bank: full_charge_c(bank) * bank.ah)
    cold = [bank for bank in supply.banks if allowed_charge_c(bank, bank.cell_c) <= 0.0]
    refused = "".join(
        f" {bank.name} may not be charged at {bank.cell_c:g} °C: warm it, or take it off the bus by its own disconnect "
        "before anything charges the bus."
        for bank in cold
    )
    sentence = (
        f"{one.name} charges several banks on one bus, {supply.name}, and how a run divides between them is not worked "
        f"out, so no answer of hours or fuel has it. By hand: start it while each of them is still above your start of "
        f"{one.start_soc * 100:g} %, set its charger to no more than the {full_charge_c(least) * least.ah:.0f} A that "
        f"{in_sentence(least.name)} takes, for all of it may flow into one of them, and stop it when the first of them "
        f"is at your {one.stop_soc * 100:g} %.{refused}"
    )
    ways = tuple((_path(typed, bank), f"Ask for {in_sentence(bank.name)} alone") for bank in supply.banks)
    (path, label), *others = ways
    return Blocked(sentence=sentence, path=path, label=label, others=tuple(others))


def alone_sentence(supply: Supply, bank: Bank) -> str:
    """Say what an answer for one bank of a bus holds for."""
    others = listed([in_sentence(one.name) for one in supply.banks if one.id != bank.id])
    return (
        f"This is {in_sentence(bank.name)} alone, carrying every load, with {others} off the bus by an own disconnect. "
        "It does not hold while they are joined."
    )


def _path(typed: Mapping[str, str], bank: Bank) -> str:
    return f"/run?{plain_query({**typed, ALONE: bank.id})}"
