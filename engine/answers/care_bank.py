"""What one bank asks of its keeper: volts by temperature, equalising, water, acid that freezes, air; or a cold limit.

Volts are per cell or of the whole pack as named, currents A of the whole bank, temperatures degC of the cells.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.answers.care_full import FullCharge
from engine.cells import lead_acid
from engine.cells.cold_limits import COLD_C, FULL_C, coldest_stated
from engine.cells.lead_acid import lead_cell_v
from engine.house.bank import Bank
from engine.house.cold import (
    allowed_charge_c,
    cold_charge_a,
    cold_limit_stated,
    full_charge_c,
)
from engine.house.inverter import Inverter

WATER_EVERY_DAYS = 30
"""How often flooded cells are looked into (typical, from memory: monthly)."""
EQUALISE_EVERY_DAYS = (30, 90)
EQUALISE_H = (1, 3)
"""How often flooded cells are equalised and for how long (typical, from memory; makers' sheets differ)."""
DAYS_PER_MONTH = 30.4
NEAR_FREEZING_K = 5.0
"""Closer to the freezing point than this is a check (judgement: sensors, and a table joined by straight lines)."""
COLD_STEPS_C = (COLD_C, 5.0, FULL_C)
"""Cell temperatures of the table of cold charge currents [degC] (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadVolts:
    """Charge volts as set for 25 degC, and what the charger should give at the cells' temperature.

    `float_cell_v` is the chemistry's own; `highest_cell_v` what it may have at 25 degC.
    """

    set_cell_v: float
    usual_cell_v: float
    highest_cell_v: float
    here_cell_v: float
    here_pack_v: float
    highest_here_cell_v: float
    float_cell_v: float | None
    float_here_pack_v: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Equalise:
    """Volts of an equalising charge at the cells' temperature, against the highest DC volts of the inverter."""

    cell_v: float
    here_pack_v: float
    inverter: str
    inverter_max_v: float

    @property
    def fits(self) -> bool:
        """Whether the inverter bears it."""
        return self.here_pack_v <= self.inverter_max_v + 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Water:
    """Water that a flooded bank loses in the days [g]: by the usual gassing, and with the safety factor.

    The monthly numbers carry these days on [l].
    """

    low_g: float
    high_g: float
    days: float

    @property
    def low_l_per_month(self) -> float:
        """A month like these days at the usual gassing [l]."""
        return self.low_g / 1000.0 / self.days * DAYS_PER_MONTH

    @property
    def high_l_per_month(self) -> float:
        """A month like these days with the safety factor for old and faulty cells [l]."""
        return self.high_g / 1000.0 / self.days * DAYS_PER_MONTH


@dataclass(frozen=True, slots=True, kw_only=True)
class FreezePoint:
    """Density of the acid and where it freezes at one charge: `when` is now, lowest or reserve."""

    when: str
    soc: float
    density: float
    freezes_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """Air that carries the hydrogen off [m3/h], at float and at charge, and equalising where that is done.

    The openings are those of inlet and of outlet, each [cm2].
    """

    float_m3_h: float
    boost_m3_h: float
    equalise_m3_h: float | None
    boost_cm2: float
    equalise_cm2: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadCare:
    """Everything a lead-acid bank asks; `equalise` and `water` are None where it must not have them."""

    full: FullCharge
    volts: LeadVolts
    equalise: Equalise | None
    water: Water | None
    freezing: tuple[FreezePoint, ...]
    air: Air | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ColdLimit:
    """What a bank with a board may be charged with when cold, by its maker's sheet.

    Attributes
    ----------
    stated : bool
        Whether anybody has said.
    entered : bool
        Whether a cold current is entered.
    counted : bool
        Whether one is counted, entered or not; without one the whole current counts from the lowest temperature on.
    full_a : float
        Limit of warm cells [A].
    now_a : float or None
        Limit at the cells' temperature [A]; None where it is not stated.
    rows : tuple of (float, float or None)
        Cell temperature [degC] and the limit there [A].
    """

    stated: bool
    entered: bool
    counted: bool
    full_a: float
    now_a: float | None
    rows: tuple[tuple[float, float | None], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BankCare:
    """One bank: `lead` or `cold` is set, by what its cells are; `told` is whether anybody said its charge."""

    bank_id: str
    name: str
    chemistry: str
    cell_c: float
    series: int
    ah: float
    soc: float
    told: bool
    lead: LeadCare | None
    cold: ColdLimit | None


def lead_volts(bank: Bank) -> LeadVolts:
    """Return the charge volts of a lead-acid bank and what they should be at its temperature."""
    cell, set_v = bank.cell, bank.charge_end_cell_v
    here_v = lead_cell_v(set_v, bank.cell_c)
    floats = None if cell.v_float is None else lead_cell_v(cell.v_float, bank.cell_c) * bank.series
    return LeadVolts(
        set_cell_v=set_v,
        usual_cell_v=cell.v_charge,
        highest_cell_v=cell.v_max,
        here_cell_v=here_v,
        here_pack_v=here_v * bank.series,
        highest_here_cell_v=lead_cell_v(cell.v_max, bank.cell_c),
        float_cell_v=cell.v_float,
        float_here_pack_v=floats,
    )


def equalise(bank: Bank, inverter: Inverter) -> Equalise | None:
    """Return the equalising charge of a bank; None where its cells must not have one."""
    volts = bank.cell.equalise_v
    if volts is None:
        return None
    return Equalise(
        cell_v=volts,
        here_pack_v=lead_cell_v(volts, bank.cell_c) * bank.series,
        inverter=inverter.name,
        inverter_max_v=inverter.dc_max_v,
    )


def rated_ah(bank: Bank) -> float:
    """Capacity that gas is reckoned by: the label's, of all strings [Ah]."""
    return bank.label_ah * bank.parallel


def water(bank: Bank, full: FullCharge, days: float) -> Water | None:
    """Return the water that flooded cells lose in the hours at absorption volts and at full; None for other cells."""
    cell = bank.cell
    if not cell.waters or cell.gas_boost_ma_per_ah is None or cell.gas_float_ma_per_ah is None:
        return None
    parts = ((cell.gas_boost_ma_per_ah, full.absorb_h), (cell.gas_float_ma_per_ah, full.held_h))
    high_g = sum(lead_acid.water_g(bank.series, gas, rated_ah(bank), hours) for gas, hours in parts)
    return Water(low_g=high_g / lead_acid.GAS_SAFETY, high_g=high_g, days=days)


def freezing(now_soc: float, lowest_soc: float, reserve_soc: float) -> tuple[FreezePoint, ...]:
    """Return where the acid freezes: at the charge now, at the lowest of the days and at the reserve."""
    charges = (("now", now_soc), ("lowest", lowest_soc), ("reserve", reserve_soc))
    return tuple(freeze_point(when, soc) for when, soc in charges)


def freeze_point(when: str, soc: float) -> FreezePoint:
    """Return where the acid freezes at one charge [-]."""
    return FreezePoint(when=when, soc=soc, density=lead_acid.density(soc), freezes_c=lead_acid.freezes_at_c(soc))


def air(bank: Bank) -> Air | None:
    """Return the air for a bank; None where its gassing currents are not stated."""
    cell = bank.cell
    if cell.gas_float_ma_per_ah is None or cell.gas_boost_ma_per_ah is None:
        return None
    ah = rated_ah(bank)
    boost = lead_acid.air_m3_h(bank.series, cell.gas_boost_ma_per_ah, ah)
    most = None if cell.equalise_v is None else lead_acid.air_m3_h(bank.series, lead_acid.UNLIMITED_GAS_MA_PER_AH, ah)
    return Air(
        float_m3_h=lead_acid.air_m3_h(bank.series, cell.gas_float_ma_per_ah, ah),
        boost_m3_h=boost,
        equalise_m3_h=most,
        boost_cm2=lead_acid.opening_cm2(boost),
        equalise_cm2=None if most is None else lead_acid.opening_cm2(most),
    )


def cold_limit(bank: Bank, temperatures_c: Sequence[float] = COLD_STEPS_C) -> ColdLimit:
    """Return what cold cells may be charged with, by what their maker's sheet says.

    Where nobody has stated it there is no number, and none of another chemistry stands in. A stated current at 0 degC
    says nothing of colder cells whose own lowest temperature is only assumed.
    """
    stated, sourced = cold_limit_stated(bank), coldest_stated(bank.cell)

    def limit_a(cell_c: float) -> float | None:
        known = sourced or (stated and cell_c >= COLD_C)
        return allowed_charge_c(bank, cell_c) * bank.ah if known or cell_c >= FULL_C else None

    return ColdLimit(
        stated=stated,
        entered=bank.cold_charge_a is not None,
        counted=cold_charge_a(bank) is not None,
        full_a=full_charge_c(bank) * bank.ah,
        now_a=limit_a(bank.cell_c),
        rows=tuple((cell_c, limit_a(cell_c)) for cell_c in temperatures_c),
    )
