"""The household card: what the % on the bank's meter allows, for whoever stands before the socket.

Charge is a share of tested Ah, as a bank monitor shows it; energy is kWh at the sockets. "Rides" means that the bank
stays above its reserve through the dull days asked about, from an evening on. Not modelled: what is plugged in later;
peaks shorter than an hour; a meter that has drifted.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime
from math import ceil, inf

from engine.answers.answer import Assumption, Notice, assumptions_of
from engine.answers.coming import Coming, coming
from engine.answers.notices import running_notices
from engine.answers.shedding import Candidate, by_gain
from engine.answers.wiring_parts import lowest_pack_v, most_beside_w
from engine.balance.bus_plant import BusState
from engine.balance.forcing import Forcing
from engine.balance.planned import Plan, PlannedGeneration
from engine.balance.step import State
from engine.house.bank import Bank
from engine.house.cold import takes_none
from engine.house.generator import Generator
from engine.house.household import Household
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sky.days import Sky

EVENING_H = 18
"""Hour of the day the card counts from: the whole night is still to come (choice)."""
MORNING_H = 10
"""Hour of the next day by which the panels begin to carry the house (judgement)."""
EXTRAS_KWH = (0.1, 0.5, 1.0, 2.0, 5.0)
"""Energies that may be asked about [kWh] (choice)."""
SPREAD_W = 2000.0
"""Power at which something plugged in is taken to draw, less where the inverter gives less [W] (judgement)."""
LEAST_WH = 1e-6
"""Less energy than this is none [Wh]."""
METER_SOCS = (1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1)
"""Readings of the meter whose hours are told."""
HEAVY_TIMES = 2.0
"""An hour that takes so many times the day's mean is a heavy one (judgement)."""
HEAVY_SHARE = 0.25
"""A load that takes so much of the heavy hours is named (judgement)."""
_STEPS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Extra:
    """Something plugged in: its energy, and the least charges that allow it; None where not even a full bank does.

    `from_soc` rides the dull days, `night_soc` the night alone, to `MORNING_H` [-].
    """

    kwh: float
    from_soc: float | None
    night_soc: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A reading of the meter and how long the house lasts from it without any sun [h]; None past a fortnight.

    `end_w` is what the loads ask for where it ends, both sides together [W], `end_names` those that take most of it.
    """

    soc: float
    hours: float | None
    end_names: tuple[str, ...] = ()
    end_w: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Heavy:
    """The heaviest hours of a day from the card's evening on [h], the loads that make them, and their most [W]."""

    names: tuple[str, ...]
    start_h: int
    stop_h: int
    most_w: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """A generator by its rules: the charge it is started at and stopped at, and what such a run takes.

    Its quiet hours are local standard time, as all hours of the engine.
    """

    name: str
    by_itself: bool
    start_soc: float
    stop_soc: float
    run_h: float
    litres: float
    reached_soc: float
    quiet_from_h: float
    quiet_to_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSupply:
    """What the card says of one bank, or of those on one bus.

    Attributes
    ----------
    top_soc, floor_soc : float
        Charge it is charged to, and where it ends under its mean load [-].
    most_w, most_by : float, str
        Most power at once [W], and what sets it, as `most_at_once`.
    charged_by : tuple of str
        ``sun`` and ``generator`` where there are any.
    uncharged : str
        Why nothing may charge its cells, too cold or too warm, with their temperature; empty where they may be.
    rides_soc : float or None
        Least charge in the evening that rides the days with nothing more plugged in; None where none does.
    night_soc : float or None
        The same for the night alone.
    extras : tuple of Extra
        By rising energy; the charge they ask for never falls.
    order : tuple of Candidate
        What to switch off, what gains most by itself first, at `order_soc`.
    """

    bank_id: str
    name: str
    inverter_name: str
    most_w: float
    most_by: str
    restart_v: float
    charged_by: tuple[str, ...]
    uncharged: str
    top_soc: float
    floor_soc: float
    rides_soc: float | None
    night_soc: float | None
    extras: tuple[Extra, ...]
    readings: tuple[Reading, ...]
    heavy: Heavy | None
    order_soc: float
    order: tuple[Candidate, ...]
    never_off: tuple[str, ...]
    start: Start | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """The household card of one supply for a season."""

    at: datetime
    month: int
    days: int
    sky_title: str
    supply: CardSupply
    notices: tuple[Notice, ...]
    assumptions: tuple[Assumption, ...]


def card(household: Household, at: datetime, days: int, dull: Sky, bank_id: str = "") -> Card:
    """Work out the household card for the sockets of one inverter.

    Parameters
    ----------
    at : datetime
        A moment of the day it is made for, local standard time; it counts from `EVENING_H` of that day.
    days : int
        Dull days to ride, from the next morning on.
    dull : Sky
        What those days are like, at least `days` of them; they begin the next morning. Sun that is left on the
        evening itself is not counted: nobody has said what sky it has.
    bank_id : str
        A bank of the supply asked about; the first where none is named.

    Raises
    ------
    InputError, Unreachable
        As `coming`.
    """
    evening = at.replace(hour=EVENING_H, minute=0, second=0, microsecond=0)
    _, found = coming(household, {}, dull, evening, from_tomorrow=True)
    one = next((one for one in found if bank_id in [bank.id for bank in one.supply.banks]), found[0])
    cells = [bank.cell for bank in one.supply.banks]
    return Card(
        at=evening,
        month=evening.month,
        days=days,
        sky_title=dull.title,
        supply=_supply(one, days),
        notices=running_notices(household, evening.month),
        assumptions=(*assumptions_of(household, cells, dull), *_own()),
    )


def _own() -> tuple[Assumption, ...]:
    chosen = (
        ("Evening the card counts from", f"{EVENING_H}:00 standard time", "the whole night is still to come"),
        ("Sun left on that evening", "none", "the days said begin the next morning"),
        ("Morning the panels carry the house", f"{MORNING_H}:00 standard time", "what “ask first” reaches"),
        ("Power of what is plugged in", f"{SPREAD_W:g} W", "less where the inverter gives less"),
    )
    return tuple(Assumption(name=name, value=value, kind="assumed", source=why) for name, value, why in chosen)


def _supply(one: Coming, days: int) -> CardSupply:
    supply = one.supply
    until_h, night_h = 24.0 * (days + 1) - EVENING_H, 24.0 - EVENING_H + MORNING_H
    top, floor = one.start_soc, one.plant.floor_soc
    rides = least_charge(one, until_h, 0.0)
    order_soc = top if rides is None else rides
    most_w, most_by = most_at_once(one)
    uncharged = next((_uncharged(bank) for bank in supply.banks if takes_none(bank)), "")
    return CardSupply(
        bank_id=supply.bank.id,
        name=supply.name,
        inverter_name=supply.inverter.name,
        most_w=most_w,
        most_by=most_by,
        restart_v=supply.inverter.restart_v,
        charged_by=(*(("sun",) if supply.arrays else ()), *(("generator",) if supply.generator is not None else ())),
        uncharged=uncharged,
        top_soc=top,
        floor_soc=floor,
        rides_soc=rides,
        night_soc=least_charge(one, night_h, 0.0),
        extras=tuple(
            Extra(kwh=kwh, from_soc=least_charge(one, until_h, kwh), night_soc=least_charge(one, night_h, kwh))
            for kwh in EXTRAS_KWH
        ),
        readings=tuple(_reading(one, soc) for soc in METER_SOCS if floor < soc <= top),
        heavy=_heavy(one),
        order_soc=order_soc,
        order=_by_own_gain(by_gain(at_charge(one, order_soc))),
        never_off=tuple(load.name for load in supply.loads if load.never_off),
        start=None if supply.generator is None or uncharged else _start(one, supply.generator),
    )


def _uncharged(bank: Bank) -> str:
    hot = bank.cell_c > bank.cell.charge_max_c
    limit = f"above {bank.cell.charge_max_c:g}" if hot else f"below {bank.charge_min_c:g}"
    return f"the cells of {bank.name} are at {bank.cell_c:g} °C, and none is counted {limit} °C"


def at_charge(one: Coming, soc: float) -> Coming:
    """The same days from another charge [-], the same of every bank on the bus."""
    start = BusState((soc,) * len(one.start.socs)) if isinstance(one.start, BusState) else State(soc)
    return dataclasses.replace(one, start=start)


def least_charge(one: Coming, until_h: float, kwh: float) -> float | None:
    """Find the least charge that lasts to a moment with some energy plugged in at the start.

    Parameters
    ----------
    until_h : float
        How long it must last [h].
    kwh : float
        Energy plugged in [kWh at the sockets], drawn at up to `SPREAD_W` from the start.

    Returns
    -------
    float or None
        Charge [-], to 0.03 points or less above the true one; None where a full bank does not last, or the inverter
        cannot give that much beside the loads by then.
    """
    hours = with_extra(one.given.until(until_h), kwh, one.supply.inverter.rated_w)
    if hours is None:
        return None

    def lasts(soc: float) -> bool:
        ended_h = at_charge(one, soc).run(hours, until_ended=True).ended_h
        return ended_h is None or ended_h >= until_h

    low, high = one.plant.floor_soc, one.start_soc
    if not lasts(high):
        return None
    for _ in range(_STEPS):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if lasts(middle) else (middle, high)
    return high


def with_extra(hours: Forcing, kwh: float, rated_w: float) -> Forcing | None:
    """Add some energy at the sockets [kWh], drawn from the start on with what the inverter gives beside the loads.

    Parameters
    ----------
    rated_w : float
        Continuous power of the inverter [W]; no more than `SPREAD_W` of it is drawn.

    Returns
    -------
    Forcing or None
        The same hours with it; None where it cannot all be given within them.
    """
    ac_w, left_wh = hours.ac_w.copy(), kwh * WH_PER_KWH
    for place, length_h in enumerate(hours.lengths_h):
        spare_w = min(max(rated_w - ac_w[place], 0.0), SPREAD_W)
        taken_wh = min(left_wh, spare_w * length_h)
        ac_w[place] += taken_wh / length_h
        left_wh -= taken_wh
    return None if left_wh > LEAST_WH else dataclasses.replace(hours, ac_w=ac_w)


def most_at_once(one: Coming) -> tuple[float, str]:
    """Most power at the sockets [W] and what sets it: ``inverter``, or ``bank`` for its boards and cells.

    Boards and cells are read at the lowest volts, where a power takes the most current, beside loads at the battery.
    """
    supply, inverter = one.supply, one.supply.inverter
    given_w = 0.0
    for bank in supply.banks:
        cells_a = bank.cell.discharge_c_max * bank.ah
        most_a = cells_a if bank.board is None else min(cells_a, bank.board.current_limit_a)
        given_w += most_a * lowest_pack_v(bank, inverter)
    by_bank_w = inverter.ac_w(given_w - most_beside_w(supply))
    return (by_bank_w, "bank") if by_bank_w < inverter.rated_w else (inverter.rated_w, "inverter")


def _by_own_gain(order: tuple[Candidate, ...]) -> tuple[Candidate, ...]:
    """The hours that stand beside each load fall from line to line; of equal ones what takes most a day is first."""

    def gain(load: Candidate) -> tuple[float, float]:
        return (inf if load.gained_h is None else load.gained_h, load.kwh_per_day)

    return tuple(sorted(order, key=gain, reverse=True))


def _reading(one: Coming, soc: float) -> Reading:
    """How long the house lasts from a charge without any sun, and what is on where that ends."""
    ended_h = at_charge(one, soc).run(_dark(one.given), until_ended=True).ended_h
    if ended_h is None:
        return Reading(soc=soc, hours=None)
    hour = min(int(ended_h + 1e-9), one.given.ac_w.size - 1)
    names, watts = _takers(one, slice(hour, hour + 1))
    return Reading(soc=soc, hours=ended_h, end_names=names, end_w=watts)


def _takers(one: Coming, hours: slice) -> tuple[tuple[str, ...], float]:
    """The loads that take `HEAVY_SHARE` of some hours or more, and the mean of all of them [W]."""
    takes = {load.name: float(sum(side[hours].mean() for side in one.hours_of((load,)))) for load in one.supply.loads}
    whole_w = sum(takes.values())
    return tuple(name for name, watts in takes.items() if 0.0 < HEAVY_SHARE * whole_w <= watts), whole_w


def _heavy(one: Coming) -> Heavy | None:
    """The hours round the heaviest of the first day that take over `HEAVY_TIMES` its mean, None where none does."""
    day_w = (one.given.ac_w + one.given.dc_w)[:HOURS_PER_DAY]
    high = day_w > HEAVY_TIMES * float(day_w.mean())
    start = stop = int(day_w.argmax())
    if not high[start]:
        return None
    while start > 0 and high[start - 1]:
        start -= 1
    while stop < len(high) and high[stop]:
        stop += 1
    names, _ = _takers(one, slice(start, stop))
    return Heavy(names=names, start_h=start, stop_h=stop, most_w=float(day_w.max())) if names else None


def _dark(hours: Forcing) -> Forcing:
    return dataclasses.replace(hours, sun_w=0.0 * hours.sun_w)


def _start(one: Coming, generator: Generator) -> Start | None:
    """Its first run by its rules from when it may first run, without sun; None where it does not start."""
    low = at_charge(one, min(generator.start_soc, one.start_soc))
    wait_h = ceil((generator.quiet_to_h - EVENING_H) % HOURS_PER_DAY) if generator.quiet_hours else 0
    done = low.run(_dark(one.given).after(wait_h), generator=Plan(generator=generator)).generation
    assert isinstance(done, PlannedGeneration)
    if not done.runs:
        return None
    first = done.runs[0]
    return Start(
        name=generator.name,
        by_itself=generator.by_itself,
        start_soc=generator.start_soc,
        stop_soc=generator.stop_soc,
        run_h=first.hours,
        litres=first.litres,
        reached_soc=first.end_soc,
        quiet_from_h=generator.quiet_from_h,
        quiet_to_h=generator.quiet_to_h,
    )
