"""One bank at its temperature and at others: the charge current it takes and the capacity it keeps.

Currents are A of the whole bank, temperatures degC of the cells, energy kWh at the bank's terminals.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from engine.answers.coming import LEAST_MEAN_W
from engine.balance.forcing import mean_dc_w
from engine.cells.chemistry import capacity_share
from engine.house.bank import Bank, c_rate, delivered, floor
from engine.house.cold import allowed_charge_c, cold_limit_stated, full_charge_c, full_from_c
from engine.house.household import Household, Supply
from engine.house.inverter import Inverter

ROOM_C = 20.0
"""Temperature that cold cells are compared with [degC] (choice: a heated room)."""
LEAST_LOST_SHARE = 0.02
"""Usable energy lost to cold that is worth a sentence: what cold keeps may lie below the reserve (judgement)."""
COLDEST_C, WARMEST_C, STEP_C = -20, 30, 5
"""Temperatures of the table [degC] (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AtTemperature:
    """A bank at one cell temperature.

    Attributes
    ----------
    charge_a : float
        Charge current that it may take [A].
    capacity_share : float
        Ah that can be drawn, of those at 20 degC [-]; 0 where it may not be discharged.
    usable_kwh : float
        Energy from the top of its window to where it ends at its mean draw [kWh].
    """

    cell_c: float
    charge_a: float
    capacity_share: float
    usable_kwh: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ColdBank:
    """A bank at its own temperature, and over those of a shed.

    Attributes
    ----------
    full_a : float
        Charge current that it may take when warm [A].
    charge_min_c, full_from_c : float
        Lowest cell temperature for any charge, and for the whole current [degC].
    stated : bool
        Whether anybody has stated how cold its cells may be charged; where not, no charge is counted below 10 degC.
    warm_kwh : float
        Usable energy at 20 degC [kWh].
    known_from_c : float
        Coldest temperature of which the capacity is known; colder cells are counted as if at that one [degC].
    """

    bank_id: str
    name: str
    now: AtTemperature
    full_a: float
    charge_min_c: float
    full_from_c: float
    stated: bool
    warm_kwh: float
    known_from_c: float
    rows: tuple[AtTemperature, ...] = ()

    @property
    def charge_share(self) -> float:
        """Charge current now, of the whole [-]."""
        return self.now.charge_a / self.full_a

    @property
    def too_cold(self) -> bool:
        """Whether it may not be charged at all."""
        return self.now.cell_c < self.charge_min_c

    @property
    def beyond_known(self) -> bool:
        """Whether it is colder than anything known of its capacity, and may still be discharged."""
        return self.now.cell_c < self.known_from_c and self.now.capacity_share > 0.0

    @property
    def held_back(self) -> bool:
        """Whether cold keeps charge current out."""
        return self.now.cell_c < self.full_from_c

    @property
    def matters(self) -> bool:
        """Whether the cells are cold enough to be spoken of."""
        shrunk = self.now.cell_c < ROOM_C and self.now.usable_kwh < (1.0 - LEAST_LOST_SHARE) * self.warm_kwh
        return self.too_cold or self.held_back or shrunk


def at_temperature(bank: Bank, inverter: Inverter, drawn_w: float, cell_c: float) -> AtTemperature:
    """Return what a bank takes and gives at a cell temperature.

    Parameters
    ----------
    drawn_w : float
        Mean power drawn from it [W], > 0.
    cell_c : float
        Cell temperature [degC].
    """
    there = dataclasses.replace(bank, cell_c=cell_c)
    rate = c_rate(bank, drawn_w)
    gives = cell_c >= bank.cell.discharge_min_c
    kwh, _ = delivered(there, there.top_reached_soc, floor(there, inverter, drawn_w).soc, drawn_w)
    share = capacity_share(bank.cell, cell_c, rate) / capacity_share(bank.cell, ROOM_C, rate)
    return AtTemperature(
        cell_c=cell_c,
        charge_a=allowed_charge_c(bank, cell_c) * bank.ah,
        capacity_share=share if gives else 0.0,
        usable_kwh=kwh if gives else 0.0,
    )


def cold_bank(bank: Bank, inverter: Inverter, drawn_w: float, temperatures_c: Sequence[float] = ()) -> ColdBank:
    """Return a bank at its temperature, at 20 degC and at some others.

    Parameters
    ----------
    drawn_w : float
        Mean power drawn from it [W], > 0.
    temperatures_c : sequence of float, optional
        Cell temperatures of its `rows` [degC].
    """
    return ColdBank(
        bank_id=bank.id,
        name=bank.name,
        now=at_temperature(bank, inverter, drawn_w, bank.cell_c),
        full_a=full_charge_c(bank) * bank.ah,
        charge_min_c=bank.charge_min_c,
        full_from_c=full_from_c(bank),
        stated=cold_limit_stated(bank),
        warm_kwh=at_temperature(bank, inverter, drawn_w, ROOM_C).usable_kwh,
        known_from_c=bank.cell.cold_known_c,
        rows=tuple(at_temperature(bank, inverter, drawn_w, float(cell_c)) for cell_c in temperatures_c),
    )


def table_temperatures() -> tuple[float, ...]:
    """Cell temperatures of the table [degC]."""
    return tuple(np.arange(COLDEST_C, WARMEST_C + 1, STEP_C, dtype=np.float64).tolist())


def drawn_shares(supply: Supply, mean_w: float) -> tuple[float, ...]:
    """Mean power drawn from each bank of a supply by its share of their energy [W], never nothing."""
    sizes = [bank.series * bank.ah * bank.cell.v_nominal for bank in supply.banks]
    return tuple(max(mean_w * size / sum(sizes), LEAST_MEAN_W) for size in sizes)


def cold_banks(
    household: Household, supply: Supply, month: int, temperatures_c: Sequence[float] = ()
) -> tuple[ColdBank, ...]:
    """Return every bank of a supply at its temperature, read at the mean load of a month."""
    drawn = drawn_shares(supply, mean_dc_w(household, supply, month))
    return tuple(
        cold_bank(bank, supply.inverter, drawn_w, temperatures_c)
        for bank, drawn_w in zip(supply.banks, drawn, strict=True)
    )


def cold_matters(household: Household, month: int) -> bool:
    """Whether the cells of any joined bank are cold enough to be spoken of."""
    return any(bank.matters for supply in household.supplies() for bank in cold_banks(household, supply, month))
