"""Which of three measurements would tell a household most: that whose number, as far as it is open, moves most hours.

Each number is tried at both ends of what it may be when nobody measured it, all else as described, on a full bank
through dull days; without any sun where it outlasts those. Hours past `DULL_DAYS` count as that many days.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from engine.answers.measuring import DULL_DAYS, lasting_h
from engine.answers.measuring_changes import with_dull_day, with_idle, with_tested
from engine.answers.measuring_dull import dull_day
from engine.errors import InputError, Unreachable
from engine.fields import quantities
from engine.house.household import Household, Supply
from engine.house.inverter import Inverter, suggested_losses
from engine.quantities import HOURS_PER_DAY
from engine.sky.days import WORDS

IDLE_SPAN, SUGGESTED_SPAN = (0.7, 1.5), (0.5, 2.0)
"""What an idle draw may be of the one typed, and of the one that we suggested (judgement)."""
LABEL_SPAN, TESTED_SPAN = (0.75, 1.02), (0.95, 1.03)
"""What a capacity may be of the label, and of a test (judgement: used and aged cells on the low side)."""
OWN_SPAN = (0.75, 1.25)
"""What a dull day may be of one that the owner typed (judgement)."""
DULL, NONE = "dull", "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One measurement: what its number may be now, and how long the bank lasts at both ends.

    Attributes
    ----------
    id : str
        ``idle``, ``capacity`` or ``dull``.
    now, low, high : float
        The number as described, and the ends of what it may be, in `unit`.
    low_h, high_h : float or None
        How long the bank lasts with each end [h]; None past `DULL_DAYS`.
    moves_h : float
        Between both [h].
    """

    id: str
    now: float
    low: float
    high: float
    unit: str
    why: str
    low_h: float | None
    high_h: float | None
    moves_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class First:
    """The measurements of one supply, the one that moves most hours first; a dull day only where there are panels.

    `days` is ``dull`` or ``none``: what the bank was followed through.
    """

    bank_id: str
    name: str
    days: str
    now_h: float | None
    candidates: tuple[Candidate, ...]


def measure_first(household: Household, supply: Supply, at: datetime) -> First:
    """Rank the three measurements for one supply.

    Raises
    ------
    Unreachable
        If its banks share a bus that must not.
    """
    found = _ranked(household, supply, at, DULL)
    if all(one.moves_h <= 0.0 for one in found.candidates):
        return _ranked(household, supply, at, NONE)
    return found


def _ranked(household: Household, supply: Supply, at: datetime, days: str) -> First:
    spans = [_idle(household, supply), _capacity(household, supply), _dull(household, supply, at)]
    candidates = []
    for one_id, unit, why, now, low, high, households in [one for one in spans if one is not None]:
        hours = [lasting_h(house, supply.bank.id, at, days) for house in households]
        ends = [DULL_DAYS * float(HOURS_PER_DAY) if one is None else one for one in hours]
        candidates.append(
            Candidate(
                id=one_id,
                now=now,
                low=low,
                high=high,
                unit=unit,
                why=why,
                low_h=hours[0],
                high_h=hours[1],
                moves_h=abs(ends[1] - ends[0]),
            )
        )
    return First(
        bank_id=supply.bank.id,
        name=supply.name,
        days=days,
        now_h=lasting_h(household, supply.bank.id, at, days),
        candidates=tuple(sorted(candidates, key=lambda one: -one.moves_h)),
    )


_Span = tuple[str, str, str, float, float, float, tuple[Household, Household]]


def _idle(household: Household, supply: Supply) -> _Span:
    inverter, field = supply.inverter, quantities(Inverter)["idle_w"]
    suggested = abs(inverter.idle_w - suggested_losses(inverter.rated_w)["idle_w"][0]) < 0.5
    low, high = SUGGESTED_SPAN if suggested else IDLE_SPAN
    ends = (inverter.idle_w * low, min(inverter.idle_w * high, field.high))
    why = "as suggested here, not measured" if suggested else "as typed; a data sheet’s figure is often not yours"
    houses = (with_idle(household, inverter.id, ends[0]), with_idle(household, inverter.id, ends[1]))
    return "idle", "W", why, inverter.idle_w, *ends, houses


def _capacity(household: Household, supply: Supply) -> _Span:
    bank = supply.bank
    now = bank.ah / bank.parallel
    low, high = LABEL_SPAN if bank.tested_ah is None else TESTED_SPAN
    why = "the label; never tested" if bank.tested_ah is None else "your own test"
    if supply.beside:
        why = f"of {bank.name} alone: {why}"
    houses = (with_tested(household, bank.id, now * low), with_tested(household, bank.id, now * high))
    return "capacity", "Ah a cell", why, now, now * low, now * high, houses


def _dull(household: Household, supply: Supply, at: datetime) -> _Span | None:
    try:
        found = dull_day(household, supply, at)
    except (Unreachable, InputError):
        return None
    lowest, taken, highest = WORDS["dull"]
    low, high = OWN_SPAN if found.now_own else (lowest / taken, highest / taken)
    ends = (found.now_kwh * low, found.now_kwh * high)
    if not found.now_kwh > 0.0 or not supply.arrays:
        return None
    why = "your own dull day" if found.now_own else "what the word “dull” may mean; no day of your own"
    houses = (with_dull_day(household, ends[0], found.month), with_dull_day(household, ends[1], found.month))
    return "dull", "kWh a day", why, found.now_kwh, *ends, houses
