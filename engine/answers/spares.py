"""Which spare bank to charge from when a bank runs low, by what means and when.

A spare is a bank that is joined to no inverter, or to another one. For each: what would happen if its leads were
clipped to the bank's, and what a charger or converter between them gains. They stand in the order of the hours gained,
then of the least loss. Hours count from the moment asked about, energy is kWh, charge a share of tested Ah; moments are
local standard time. Every gain is the difference of two runs of the same days.
Not modelled: two spares one after the other; loads moved to a spare on an inverter of its own.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from math import inf

import numpy as np
from numpy.typing import NDArray

from engine.answers.coming import Coming
from engine.answers.spares_joining import Joining, Leads, joining
from engine.answers.spares_moving import Course, Move, course, moved, starts
from engine.answers.spares_parts import Reading, Spare, Spares, moving_lines
from engine.answers.spares_sources import Means, alone, hindrance, is_loose, most_w, plants_of
from engine.balance.bus_plant import BusState
from engine.errors import InputError
from engine.fields import Quantity
from engine.house.bank import Bank
from engine.house.household import Household

Floats = NDArray[np.float64]

SPARE_CHARGE = Quantity(label="Charge of the spare", unit="%", low=0.0, high=1.0, percent=True)
GUESS_SOC = 0.5
"""Charge of a spare of which nobody said it (judgement: half)."""
SAME_H = 0.25
"""Starts whose gains are this close are as good as each other (judgement)."""


def unjoined(household: Household) -> tuple[Bank, ...]:
    """Banks that are joined to no inverter."""
    return tuple(bank for bank in household.banks if not bank.inverter)


def spares(
    found: Sequence[Coming],
    one: Coming,
    charges: Mapping[str, float],
    means: Means | None = None,
    leads: Leads | None = None,
) -> Spares:
    """Work out what each spare is worth to a bank.

    Parameters
    ----------
    found : sequence of Coming
        Every supply of the household; those other than `one` are spares too.
    one : Coming
        The bank that needs charge.
    charges : mapping of str to float
        Charge of each bank that is joined to nothing, by its id [-]; `GUESS_SOC` where left out.

    Raises
    ------
    InputError
        If a charge is outside 0..1 or names no such bank.
    """
    means, leads = means or Means(), leads or Leads(cell_mohm={})
    loose = unjoined(one.household)
    _refuse(charges, loose)
    before = course(one)
    sources = [(alone(one, bank, charges.get(bank.id, GUESS_SOC), means), bank.id not in charges) for bank in loose]
    sources += [(other, False) for other in found if other.supply.bank.id != one.supply.bank.id]
    by_id = {source.supply.bank.id: source for source, _ in sources}
    ranked = sorted((_spare(one, before, source, means, leads, guess) for source, guess in sources), key=_rank)
    best = ranked[0].best if ranked else None
    return Spares(
        at=one.at,
        bank_id=one.supply.bank.id,
        name=one.supply.name,
        hours=before.lasts_h,
        means=means,
        leads=leads,
        spares=tuple(ranked),
        readings=() if best is None else _readings(one, by_id[ranked[0].bank_id], means, best),
        floor_soc=one.plant.floor_soc,
        times_h=before.whole.hours,
        soc=before.whole.soc,
        soc_then=before.whole.soc if best is None else best.soc,
        worked=() if best is None else moving_lines(before, ranked[0], best, means),
    )


def _refuse(charges: Mapping[str, float], loose: Sequence[Bank]) -> None:
    names = {bank.id: bank.name for bank in loose}
    for bank_id, soc in charges.items():
        if bank_id not in names:
            raise InputError(f"spare_{bank_id}", f"No bank “{bank_id}” stands unjoined; there is: {', '.join(names)}.")
        meaning = dataclasses.replace(SPARE_CHARGE, label=f"Charge of {names[bank_id]}")
        if said := meaning.refuse(soc):
            raise InputError(f"spare_{bank_id}", said)


def _spare(one: Coming, before: Course, source: Coming, means: Means, leads: Leads, guessed: bool) -> Spare:
    why = hindrance(one, source)
    moves = () if why else _moves(one, before, source, means)
    return Spare(
        bank_id=source.supply.bank.id,
        name=source.supply.name,
        joined_to="" if is_loose(source) else source.supply.inverter.name,
        soc=source.start_soc,
        guessed=guessed,
        above_kwh=_above_kwh(source),
        hindrance=why,
        power_w=most_w(source, means),
        moves=moves,
        matters=len(moves) > 1 and _past(moves[0].gained_h) - min(_past(move.gained_h) for move in moves) > SAME_H,
        joining=_joining(one, source, leads),
        own_h=None if is_loose(source) else source.run(until_ended=True).ended_h,
    )


def _moves(one: Coming, before: Course, source: Coming, means: Means) -> tuple[Move, ...]:
    """The starts that were tried, the best first; the earliest of those as good as each other."""
    now = moved(one, before, source, means, 0, "now")
    others = (moved(one, before, source, means, k, name) for name, k in starts(one, before, now.ran_h).items() if k > 0)
    tried = sorted((now, *others), key=lambda move: move.start_h)
    most = max(_past(move.gained_h) for move in tried)
    best = next(move for move in tried if _past(move.gained_h) == most or most - _past(move.gained_h) <= SAME_H)
    return (best, *(move for move in tried if move is not best))


def _joining(one: Coming, source: Coming, leads: Leads) -> Joining | None:
    if one.supply.beside or source.supply.beside:
        return None
    spare, bank = source.supply.bank, one.supply.bank
    return joining(spare, source.start_soc, bank, one.start_soc, one.supply.inverter, leads)


def _readings(one: Coming, source: Coming, means: Means, best: Move) -> tuple[Reading, ...]:
    """The best start under the darker and the brighter reading of the days."""
    found = []
    start = int(np.flatnonzero(np.isclose(_edges(one), best.start_h))[0])
    for place in range(1, len(one.skies)):
        days = dataclasses.replace(one, skies=(one.skies[place],))
        theirs = source.skies[place] if len(source.skies) > place else source.given
        before = course(days)
        move = moved(days, before, dataclasses.replace(source, skies=(theirs,)), means, start, best.name)
        found.append(Reading(lasts_h=before.lasts_h, with_it_h=move.lasts_h, gained_h=move.gained_h))
    return tuple(found)


def _edges(one: Coming) -> Floats:
    """When each interval begins, (n,) [h]."""
    begins = one.given.first_h - 1.0 + np.arange(one.given.sun_w.size)
    return np.where(begins < 0.0, 0.0, begins)


def _above_kwh(source: Coming) -> float:
    """Energy stored above the floor of every bank of a spare [kWh]."""
    socs = source.start.socs if isinstance(source.start, BusState) else (source.start.soc,)
    return sum(
        bank.stored_kwh(p.floor_soc, soc)
        for bank, p, soc in zip(source.supply.banks, plants_of(source), socs, strict=True)
        if soc > p.floor_soc
    )


def _past(hours: float | None) -> float:
    return inf if hours is None else hours


def _rank(spare: Spare) -> tuple[float, float]:
    best = spare.best
    return (inf, 0.0) if best is None else (-_past(best.gained_h), best.lost_kwh)
