"""The charger or converter between two banks, and a spare as what it draws from: what it may give, and what forbids it.

Powers W, volts of whole packs, charge a share of tested Ah.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from engine.answers.coming import Coming
from engine.answers.notices_bank import cell_notices
from engine.balance.bus_plant import BusPlant
from engine.balance.forcing import drawn_hours
from engine.balance.step import Plant, State, plant
from engine.cells.chemistry import STEPS
from engine.fields import check, quantity
from engine.house.bank import Bank
from engine.house.bus import lowest_v
from engine.house.household import Supply
from engine.house.inverter import Inverter

DEVICE_W = 500.0
"""A charger or converter that two people carry about (typical, from memory)."""
DEVICE_EFFICIENCY = 0.90
"""From the spare's terminals to the bank's, an inverter and a charger in one (typical, from memory)."""
LEAST_V, MOST_V = 5.0, 1000.0
"""Rested volts of a full spare that a converter is taken to work from (judgement)."""

UNDER_LIMIT = 0.99
"""Share of a spare's limit of current that is drawn at most: at the limit itself a board may open (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Means:
    """The charger or converter between two banks."""

    power_w: float = quantity(
        "Charger or converter gives",
        "W",
        10,
        20_000,
        default=DEVICE_W,
        hint="At the bank, from its plate; 500 W is usual",
    )
    efficiency: float = quantity(
        "Its efficiency",
        "%",
        0.3,
        1.0,
        default=DEVICE_EFFICIENCY,
        percent=True,
        hint="From spare to bank, inverter and charger together; 90 % is usual",
    )

    def __post_init__(self) -> None:
        check(self)


def alone(one: Coming, bank: Bank, soc: float, means: Means) -> Coming:
    """A bank that is joined to nothing, as the days of another would find it: no sun, no loads, no inverter's draw.

    Its reserve is read at the current the device draws. The device stops at its cells' or its board's lowest volts.
    """
    nothing = np.zeros_like(one.given.sun_w)
    hours = dataclasses.replace(one.given, sun_w=nothing, ac_w=nothing, dc_w=nothing)
    drawn_w = means.power_w / means.efficiency
    bare = Inverter(
        id=f"{bank.id} device",
        name="Charger or converter",
        dc_min_v=min(max(lowest_v(bank), LEAST_V), MOST_V),
        dc_max_v=MOST_V + 1.0,
        restart_v=MOST_V + 1.0,
        rated_w=drawn_w,
        idle_w=0.0,
        k1=0.0,
        k2=0.0,
    )
    return Coming(
        household=one.household,
        supply=Supply(bank=bank, inverter=bare, arrays=(), loads=()),
        plant=plant(bank, bare, drawn_w),
        start=State(soc),
        at=one.at,
        kc=one.kc,
        skies=(hours,),
        mean_w=drawn_w,
    )


def hindrance(one: Coming, spare: Coming) -> str:
    """Why nothing can be moved: ``stop``, ``bank cold``, ``spare cold``, ``volts``, ``empty``; nothing where it can.

    ``stop`` is one of the cells and board of a spare that is joined to nothing: what must not be used charges nothing.
    A bank that runs has its stop on every page.
    """
    if is_loose(spare) and any(notice.level == "stop" for notice in cell_notices(spare.supply.bank)):
        return "stop"
    if any(p.charge_c_max <= 0.0 for p in plants_of(one)):
        return "bank cold"
    if all(p.discharge_c_max <= 0.0 for p in plants_of(spare)):
        return "spare cold"
    full_v = min(p.series * p.cells.ocv_v[-1] for p in plants_of(spare))
    if not LEAST_V <= full_v <= MOST_V:
        return "volts"
    return "empty" if spare.start_soc <= spare.plant.floor_soc else ""


def most_w(spare: Coming, means: Means) -> float:
    """What the device may give so that the spare, with loads of its own, stays within its limit of current [W]."""
    able_w = UNDER_LIMIT * sum(p.series_ah * _least_v(p) for p in plants_of(spare))
    hours = spare.given
    own_w = drawn_hours(spare.supply.inverter, hours.ac_w, hours.dc_w) - hours.sun_w
    return min(means.power_w, max(able_w - max(float(own_w.max()), 0.0), 0.0) * means.efficiency)


def _least_v(p: Plant) -> float:
    """Least power of a bank at its limit of current, from its floor up, per ampere-hour of its cells [V per h]."""
    floor = int(p.floor_soc * STEPS)
    sagged_v = np.array(p.cells.ocv_v[floor:]) - p.discharge_c_max * np.array(p.cells.r_drawn[floor:])
    return float(p.discharge_c_max * max(sagged_v.min(), 0.0))


def is_loose(spare: Coming) -> bool:
    """Whether a spare is joined to no inverter, so that it carries nothing and no sun charges it."""
    return not spare.supply.bank.inverter


def plants_of(one: Coming) -> tuple[Plant, ...]:
    """Every bank of a supply with its limits."""
    return one.plant.plants if isinstance(one.plant, BusPlant) else (one.plant,)
