"""What is wrong or dangerous about several banks on one DC bus, and what the pages do not work out of it."""

from __future__ import annotations

from collections.abc import Iterator

from engine.answers.answer import Notice
from engine.house.bus import NEAR_V, are_unlike, clash_sentence, common_end_v, setting_v
from engine.house.household import Household, Supply


def bus_notices(household: Household) -> Iterator[Notice]:
    """Every notice about banks that share a bus."""
    for supply in household.supplies():
        if supply.beside:
            yield from _shared(supply)
            yield from _generator(household, supply)


def _shared(supply: Supply) -> Iterator[Notice]:
    banks, inverter = supply.banks, supply.inverter
    if said := clash_sentence(banks, inverter):
        gas = ", and hydrogen from lead-acid" if any(bank.cell.vents_hydrogen for bank in banks) else ""
        yield Notice(
            level="stop",
            code="bus-clash",
            page="banks",
            text=f"{said} Joined all the same, a hard current flows between them as soon as they touch, and one may be "
            f"charged or emptied past its limits: fire{gas}.",
        )
        return
    end_v = common_end_v(banks)
    apart = [bank for bank in banks if setting_v(bank) > end_v + NEAR_V]
    if apart:
        names = ", ".join(f"{bank.name} {setting_v(bank):.1f} V" for bank in apart)
        yield Notice(
            level="check",
            code="bus-settings",
            page="banks",
            text=f"{supply.name} share the bus of {inverter.name}, whose charger has one setting. {end_v:.1f} V, the "
            f"lowest of theirs, is taken; {names} would not be reached.",
        )
    unguarded = [bank.name for bank in banks if not (bank.own_fuse and bank.own_disconnect)]
    if unguarded:
        yield Notice(
            level="check",
            code="bus-no-fuse",
            page="banks",
            text=f"{', '.join(unguarded)}: no fuse and disconnect of its own is entered. On a shared bus each bank "
            "needs both, or a fault in one is fed by all the others.",
        )
    kind = "unlike banks" if are_unlike(banks) else "banks"
    yield Notice(
        level="check",
        code="bus-joining",
        page="banks",
        text=f"{supply.name} are {kind} on one bus. They may only be joined at nearly equal volts, through a means "
        "that limits the current, by someone qualified; a check here is no approval.",
    )
    yield Notice(
        level="note",
        code="bus-apart",
        page="banks",
        text=f"Today and what goes on from it take {supply.name} together. Bank size, Rainy week, Winters and Charge "
        "volts take one of them at a time, as if it stood alone on the inverter.",
    )


def _generator(household: Household, supply: Supply) -> Iterator[Notice]:
    for one in household.generators:
        if (one.inverter or household.first_inverter) == supply.inverter.id:
            charger = ", but the current of its charger is counted in Wiring" if one.charger_w > 0.0 else ""
            yield Notice(
                level="check",
                code="bus-generator",
                page="inverter",
                text=f"{one.name} stands beside banks that share a bus, {supply.name}: what it would do there is not "
                f"worked out. No answer of hours or fuel has it{charger}. Generator run says what to do by hand, and "
                "answers for one bank alone.",
            )
