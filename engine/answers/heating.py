"""What it costs to warm cold cells for the hours of charge, and what that wins, hour by hour through the days.

Temperatures degC of the cells, power W from the bus, energy kWh, heat capacity J/K. The heater starts so many whole
hours before the first hour of a day with sun to spare as lifting the cells takes, and holds them warm to the last such
hour; days without sun to spare are not heated. What neither sun nor bank serves of the heater warms nothing. Left alone
the cells cool towards the temperature they were entered at.
Not modelled: heat made by the current, cores that warm later than the sides, capacity and resistance of warm cells.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, expm1

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import Assumption
from engine.answers.coming import Coming
from engine.balance.forcing import Forcing, drawn_hours
from engine.balance.warmed import WarmedRun, heated_run, warmed_run
from engine.errors import InputError
from engine.fields import Quantity
from engine.house.bank import Bank
from engine.house.cold import allowed_charge_c, full_from_c
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH

Floats = NDArray[np.float64]

CELL_HEAT_J_PER_KG_K = 1000.0
"""Heat that 1 kg of cells takes for 1 K (typical, from memory: lithium-ion 800 to 1,100, lead-acid about the same)."""
WH_PER_KG: Mapping[str, float] = {
    "lfp": 150.0,
    "nmc": 200.0,
    "sodium_layered": 120.0,
    "lead_flooded": 30.0,
    "lead_sealed": 33.0,
    "lead_gel": 32.0,
}
"""Energy of a bare cell on its label for its mass, by chemistry [Wh/kg] (typical, from memory)."""
OTHER_WH_PER_KG = (120.0, 30.0)
"""The same for a chemistry of the household's own: one that needs a board, any other (assumed)."""
BOX_W_PER_K = 2.0
"""Loss of the box for each K (typical, from memory: 5 cm of foam with 0.035 W/(m K) round some 3 square metres)."""
ABOVE_COLDEST_K = 5.0
"""Room kept above the coldest charge, for sensors and cores that lag (judgement)."""
LIFT_H = 3.0
"""Hours in which the usual heater lifts the cells (choice)."""
HEATER_STEP_W = 10.0
LEAST_NET_KWH = 0.05
"""A gain that is smaller is told as none (choice)."""

TO = Quantity(label="Warm the cells to", unit="°C", low=-20.0, high=40.0)
AMBIENT = Quantity(label="Around the box", unit="°C", low=-50.0, high=50.0, hint="Mean of the shed in these days")
MASS = Quantity(label="Mass of the cells", unit="kg", low=0.5, high=50_000.0, hint="From label and chemistry; or weigh")
LOSS = Quantity(
    label="Loss of the box",
    unit="W for each °C",
    low=0.0,
    high=500.0,
    hint="2 W for each °C: foam of 5 cm all round, typical, from memory; bare cells lose several times as much",
)
POWER = Quantity(label="Heater power", unit="W", low=1.0, high=20_000.0, hint="On its type plate")


@dataclass(frozen=True, slots=True, kw_only=True)
class Heater:
    """A heater and the box it works in, as asked: see `TO`, `AMBIENT`, `MASS`, `LOSS` and `POWER`."""

    to_c: float
    ambient_c: float
    mass_kg: float
    loss_w_per_k: float
    power_w: float

    @property
    def heat_j_per_k(self) -> float:
        """Heat that the cells take for 1 K [J/K]."""
        return self.mass_kg * CELL_HEAT_J_PER_KG_K

    @property
    def hold_w(self) -> float:
        """Power that holds the cells at their aim [W]."""
        return self.loss_w_per_k * max(self.to_c - self.ambient_c, 0.0)

    def lift_kwh(self, from_c: float) -> float:
        """Heat that lifts the cells to their aim, losses meanwhile left out [kWh]."""
        return self.heat_j_per_k * max(self.to_c - from_c, 0.0) / 3600.0 / WH_PER_KWH


@dataclass(frozen=True, slots=True, kw_only=True)
class Heated:
    """The days with the heater beside the same days without it.

    Attributes
    ----------
    lift_kwh, hold_kwh_per_day : float
        To lift the cells once, and to hold them through a day's hours with sun to spare [kWh].
    sun_h_per_day : float
        Mean hours with sun to spare of the days that have any [h].
    heated_days : int
        Days of these that are heated.
    spent_kwh, won_kwh, net_kwh : float
        What the heater gets from the bus; what more is taken from the sun; what more is served, the heater left out,
        or left in the cells at the end [kWh].
    hours : float or None
        How long the bank lasts with it [h]; None past the days.
    cell_c, heater_w : (n + 1,) and (n,) arrays
        Cell temperature at each edge, heater in each hour as far as it was served.
    """

    heater: Heater
    lift_kwh: float
    hold_kwh_per_day: float
    sun_h_per_day: float
    heated_days: int
    spent_kwh: float
    won_kwh: float
    net_kwh: float
    hours: float | None
    cell_c: Floats
    heater_w: Floats
    soc: Floats

    @property
    def worth(self) -> bool:
        """Whether more is served or left than without it."""
        return self.net_kwh > LEAST_NET_KWH


def usual_aim_c(bank: Bank) -> float:
    """Lowest temperature with the whole charge current, and some room above the coldest charge [degC]."""
    return max(full_from_c(bank), bank.charge_min_c + ABOVE_COLDEST_K)


def usual_mass_kg(bank: Bank) -> float:
    """Mass of a bank's cells by its label and chemistry [kg]."""
    own = OTHER_WH_PER_KG[0 if bank.cell.needs_board else 1]
    return bank.label_kwh * WH_PER_KWH / WH_PER_KG.get(bank.cell.base_id, own)


def usual_power_w(lift_kwh: float, hold_w: float) -> float:
    """Power that lifts the cells in `LIFT_H`, the losses at their aim made good, in steps of 10 W [W]."""
    return max(ceil((lift_kwh * WH_PER_KWH / LIFT_H + hold_w) / HEATER_STEP_W) * HEATER_STEP_W, HEATER_STEP_W)


def heated(one: Coming, heater: Heater) -> Heated:
    """Run the days with a heater.

    Raises
    ------
    InputError
        If the heater cannot hold the cells at their aim, or it is warmer round the box than in it.
    Unreachable
        If several banks share the bus.
    """
    p, start = one.single
    bank, hours = one.supply.bank, one.given
    if heater.ambient_c > bank.cell_c:
        raise InputError(
            "ambient_c",
            f"{AMBIENT.label} must not be warmer than the cells of {bank.name}, {bank.cell_c:g} °C, which would then "
            f"warm by themselves: enter what they reach on Banks; got {heater.ambient_c:g} °C.",
        )
    if heater.power_w <= heater.hold_w:
        raise InputError(
            "heater_w",
            f"{POWER.label} must be above the {heater.hold_w:g} W that the box loses at {heater.to_c:g} °C; "
            f"got {heater.power_w:g} W.",
        )
    spare = hours.sun_w > drawn_hours(one.supply.inverter, hours.ac_w, hours.dc_w)
    wanted, days = _windows(hours, spare, _lead_h(heater, bank.cell_c))
    box = _Box(heater, bank, wanted.tolist())
    sun_w, ac_w, dc_w = hours.lists()
    ran = heated_run(p, start, sun_w, ac_w, dc_w, box, first_h=hours.first_h)
    bare = warmed_run(p, start, sun_w, ac_w, dc_w, [p.charge_c_max] * len(dc_w), first_h=hours.first_h)
    heater_w = np.array(box.heater_w)
    spent_kwh = float(heater_w @ hours.lengths_h) / WH_PER_KWH
    sun_h = float(spare @ hours.lengths_h) / days if days else 0.0
    return Heated(
        heater=heater,
        lift_kwh=heater.lift_kwh(bank.cell_c),
        hold_kwh_per_day=heater.hold_w * sun_h / WH_PER_KWH,
        sun_h_per_day=sun_h,
        heated_days=days if spent_kwh > 0.0 else 0,
        spent_kwh=spent_kwh,
        won_kwh=ran.sun_kwh - bare.sun_kwh,
        net_kwh=_useful_kwh(ran) - spent_kwh - _useful_kwh(bare),
        hours=ran.ended_h,
        cell_c=np.array(box.cell_c),
        heater_w=heater_w,
        soc=ran.soc,
    )


def _useful_kwh(ran: WarmedRun) -> float:
    return ran.served_kwh + ran.stored_change_kwh


def _lead_h(heater: Heater, from_c: float) -> int:
    """Whole hours that lifting the cells takes at most, the losses counted as at their aim."""
    lift_kwh = heater.lift_kwh(from_c)
    return ceil(lift_kwh * WH_PER_KWH / (heater.power_w - heater.hold_w)) if lift_kwh > 0.0 else 0


def _windows(hours: Forcing, spare: NDArray[np.bool_], lead_h: int) -> tuple[NDArray[np.bool_], int]:
    """Hours in which the cells are to be warm or on the way to it, (n,), and how many days have sun to spare."""
    day = (hours.from_hour + np.arange(spare.size)) // HOURS_PER_DAY
    wanted = np.zeros(spare.size, dtype=np.bool_)
    lit = np.unique(day[spare])
    for one in lit.tolist():
        sunny = np.flatnonzero(spare & (day == one))
        wanted[max(int(sunny[0]) - lead_h, 0) : int(sunny[-1]) + 1] = True
    return wanted, int(lit.size)


class _Box:
    """One lump of cells in its box, hour by hour: temperature at each edge [degC], heater in each interval [W]."""

    def __init__(self, heater: Heater, bank: Bank, wanted: list[bool]) -> None:
        self._heater, self._bank, self._wanted = heater, bank, wanted
        self.cell_c, self.heater_w = [bank.cell_c], list[float]()

    def asked_w(self, index: int, hours: float) -> float:
        """Return the mean power that brings the cells to their aim by the end, as far as the heater has it [W]."""
        alone_c, warming_k_per_w = self._alone(hours)
        if not self._wanted[index] or warming_k_per_w <= 0.0:
            return 0.0
        return min(max((self._heater.to_c - alone_c) / warming_k_per_w, 0.0), self._heater.power_w)

    def charge_c(self, hours: float, given_w: float) -> float:
        """Return the charge limit at the lower temperature of an interval [C]."""
        return allowed_charge_c(self._bank, min(self.cell_c[-1], self._after_c(hours, given_w)))

    def warm(self, hours: float, given_w: float) -> None:
        """Let an interval pass."""
        self.cell_c.append(self._after_c(hours, given_w))
        self.heater_w.append(given_w)

    def _after_c(self, hours: float, given_w: float) -> float:
        """Temperature after an interval of one mean power, never below the one that was entered [degC]."""
        alone_c, warming_k_per_w = self._alone(hours)
        return max(alone_c + given_w * warming_k_per_w, self._bank.cell_c)

    def _alone(self, hours: float) -> tuple[float, float]:
        """Temperature after an interval without heat [degC], and by how much each W of heat lifts it [K/W]."""
        heater, now_c, seconds = self._heater, self.cell_c[-1], hours * 3600.0
        share = heater.loss_w_per_k * seconds / heater.heat_j_per_k
        lost = -expm1(-share)
        warming_k_per_w = seconds / heater.heat_j_per_k * (lost / share if share > 0.0 else 1.0)
        return now_c - (now_c - heater.ambient_c) * lost, warming_k_per_w


def heater_assumptions(bank: Bank, heater: Heater) -> tuple[Assumption, ...]:
    """What the heater's figures take for granted."""
    per_kg = WH_PER_KG.get(bank.cell.base_id)
    return (
        Assumption(
            name="Cells: heat for each kg and °C",
            value=f"{CELL_HEAT_J_PER_KG_K:,.0f} J",
            kind="typical, from memory",
            source="lithium-ion 800 to 1,100; lead-acid about the same",
        ),
        Assumption(
            name=f"{bank.cell.name}: label energy for each kg of cells",
            value=f"{per_kg or bank.label_kwh * WH_PER_KWH / usual_mass_kg(bank):g} Wh",
            kind="typical, from memory" if per_kg else "assumed",
            source="gives the mass unless you type it; you may have weighed a cell or have its sheet",
        ),
        Assumption(
            name="Box: loss for each °C",
            value=f"{heater.loss_w_per_k:g} W",
            kind="typical, from memory" if heater.loss_w_per_k == BOX_W_PER_K else "assumed",
            source="5 cm of foam round some 3 m² loses about 2 W" if heater.loss_w_per_k == BOX_W_PER_K else "as typed",
        ),
    )
