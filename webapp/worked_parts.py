"""Cells, inverter, loads and sun one by one for “How it is worked out”: small calculations of the engine.

Every number is asked of the engine with few and round inputs; the text beside it says which numbers go in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.answers.answer import Worked
from engine.balance.step import plant
from engine.cells import catalogue, curve
from engine.cells.chemistry import at, capacity_share, interpolated, ocv_at, r_fast_at, r_slow_at
from engine.house.bank import Bank, floor
from engine.house.inverter import Inverter, losses_from_full_load
from engine.house.loads import Load, daily_kwh
from engine.quantities import WATER_KWH_PER_LITRE_K, mean_day_of_year
from engine.sky.days import WORDS
from engine.sky.site import Array, Site, Sun
from engine.sky.sun import clear_day_kwh_m2, yield_kwh

ROOM_C = 25.0
RATED = Bank(id="rated", name="100 Ah", chemistry="lead_flooded", series=6, label_ah=100.0)
NARROW = Inverter(
    id="narrow",
    name="48 V inverter",
    dc_min_v=42.0,
    dc_max_v=60.0,
    restart_v=47.0,
    rated_w=5000.0,
    idle_w=40.0,
    k1=0.02,
    k2=0.04,
)
CURVED = Inverter(
    id="curved",
    name="5 kW",
    dc_min_v=42.0,
    dc_max_v=60.0,
    restart_v=47.0,
    rated_w=5000.0,
    idle_w=50.0,
    k1=0.02,
    k2=0.04,
)
SITE = Site(latitude_deg=53.5, longitude_deg=-6.7, time_zone="Europe/Dublin", climate="oceanic_west")
TILTS_DEG = (10.0, 35.0, 60.0)
SKY_MONTHS = (("December", 12), ("March", 3), ("June", 6))
CHARGE_VOLTS = {
    "sodium_layered": (2.8, 3.0, 3.4, 3.6, 3.8, 3.95),
    "lfp": (3.30, 3.34, 3.38, 3.42, 3.45),
    "nmc": (3.8, 3.9, 4.0, 4.1, 4.2),
}


def charge_end(key: str = "sodium_layered", volts: float = 3.6, rate: float = 0.2) -> tuple[Worked, ...]:
    """Where a charge ends at a voltage, without and with a hold, and the sum that makes it so."""
    cell = catalogue.load(key)
    found = []
    for label, soc, c in (
        (f"Charged at {rate:g}C, stopped at {volts:g} V", curve.soc_without_hold(cell, volts, rate), rate),
        (f"Held at {volts:g} V until {cell.tail_c:g}C", curve.soc_with_hold(cell, volts), cell.tail_c),
    ):
        ocv_v, r_v = ocv_at(cell, soc), r_slow_at(cell, soc)
        how = f"OCV {ocv_v:.3f} V + {c:g} × R {r_v:.3f} V = {ocv_v + c * r_v:.3f} V"
        found.append(Worked(label=label, how=how, value=soc * 100.0, unit="%"))
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeRow:
    """Charge reached at one end voltage [-]; `plain` is False where volts do not decide it."""

    volts: float
    fast: float
    slow: float
    held: float
    plain: bool


def charge_tables() -> dict[str, tuple[ChargeRow, ...]]:
    """Charge against end voltage of the lithium and sodium cells: without a hold at 0.5C and 0.1C, and held."""
    found = {}
    for key, volts in CHARGE_VOLTS.items():
        cell = catalogue.load(key)
        usable = curve.usable_curve(cell, 0.5)
        found[cell.name] = tuple(
            ChargeRow(
                volts=v,
                fast=curve.soc_without_hold(cell, v, 0.5),
                slow=curve.soc_without_hold(cell, v, 0.1),
                held=curve.soc_with_hold(cell, v),
                plain=not bool(usable.uncontrollable[int(np.argmin(np.abs(usable.volts - v)))]),
            )
            for v in volts
        )
    return found


def cut_off() -> tuple[Worked, ...]:
    """A sodium-ion pack on an inverter that stops at 42 V: sag, and what stays out of reach."""
    bank = Bank(id="na", name="Sodium-ion", chemistry="sodium_layered", series=16, label_ah=200.0, cell_c=ROOM_C)
    drawn_w, rate = 2000.0, 2000.0 / (16 * bank.cell.v_nominal * bank.ah)
    end = floor(bank, NARROW, drawn_w)
    ocv_v, r_v = ocv_at(bank.cell, end.cutoff_soc), r_fast_at(bank.cell, end.cutoff_soc)
    return (
        Worked(label="Current", how=f"2\u202f000 W ÷ (16 × {bank.cell.v_nominal:g} V × 200 Ah)", value=rate, unit="C"),
        Worked(label="Cut-off per cell", how=f"{NARROW.dc_min_v:g} V ÷ 16", value=NARROW.dc_min_v / 16, unit="V"),
        Worked(
            label="Reached at",
            how=f"OCV {ocv_v:.3f} V − {rate:.3f} × R {r_v:.3f} V = {ocv_v - rate * r_v:.3f} V",
            value=end.cutoff_soc * 100.0,
            unit="%",
        ),
    )


def restart() -> tuple[Worked, ...]:
    """The charge at which the same pack, at rest and without sun, lets its inverter start again."""
    bank = Bank(id="na", name="Sodium-ion", chemistry="sodium_layered", series=16, label_ah=200.0, cell_c=ROOM_C)
    p = plant(bank, NARROW, 2000.0)
    soc = next(k / 1000.0 for k in range(1001) if at(p.cells.ocv_v, k / 1000.0) >= p.restart_v)
    return (
        Worked(label="Restart per cell", how=f"{NARROW.restart_v:g} V ÷ 16", value=p.restart_v, unit="V"),
        Worked(label="At rest without sun, from", how=f"OCV reaches {p.restart_v:.3f} V", value=soc * 100.0, unit="%"),
    )


def peukert() -> tuple[Worked, ...]:
    """A flooded lead-acid bank of 100 Ah at twenty hours, asked for 5, 10 and 20 A."""
    cell = RATED.cell
    return tuple(
        Worked(
            label=f"{amps:g} A",
            how=f"100 Ah × (100 Ah ÷ ({amps:g} A × {cell.rated_h:g} h))^({cell.peukert_k:g} − 1)",
            value=100.0 * capacity_share(cell, ROOM_C, amps / 100.0),
            unit="Ah",
        )
        for amps in (5.0, 10.0, 20.0)
    )


def acceptance() -> tuple[Worked, ...]:
    """What the same bank still takes at 80, 90 and 95 %."""
    tau_h = RATED.cell.acceptance_tau_h or 1.0
    return tuple(
        Worked(
            label=f"At {soc:.0%}".replace("%", " %"),
            how=f"(1 − {soc:g}) × 100 Ah ÷ {tau_h:g} h",
            value=(1.0 - soc) * RATED.ah / tau_h,
            unit="A",
        )
        for soc in (0.8, 0.9, 0.95)
    )


def cold() -> tuple[tuple[str, tuple[tuple[float, float, float], ...]], ...]:
    """Capacity within reach [-] and resistance factor [-] of each chemistry at 25, 10, 0 and -10 degC."""
    cells = [catalogue.load(key) for key in catalogue.names()]
    degrees = (25.0, 10.0, 0.0, -10.0)
    return tuple(
        (cell.name, tuple((c, capacity_share(cell, c), interpolated(cell.resistance_temperature, c)) for c in degrees))
        for cell in cells
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SunRow:
    """One month's average day: clear on the flat [kWh/m2], then kWh of 1 kWp at each tilt and sky."""

    month: str
    clear_kwh_m2: float
    tilt_deg: float
    bright_kwh: float
    dull_kwh: float
    dark_kwh: float


def sun_rows() -> tuple[SunRow, ...]:
    """What 1 kWp facing south gives at 53.5 N under bright, dull and dark days."""
    skies = [WORDS[word][1] for word in ("bright", "dull", "dark")]
    found = []
    for name, month in SKY_MONTHS:
        days = [mean_day_of_year(month)] * 3
        for tilt in TILTS_DEG:
            array = Array(id="a", name="a", kwp=1.0, tilt_deg=tilt, azimuth_deg=180.0)
            bright, dull, dark = yield_kwh(SITE, Sun(arrays=(array,)), skies, days).tolist()
            clear = float(clear_day_kwh_m2(SITE, days[:1])[0])
            found.append(
                SunRow(month=name, clear_kwh_m2=clear, tilt_deg=tilt, bright_kwh=bright, dull_kwh=dull, dark_kwh=dark)
            )
    return tuple(found)


def inverter_rows() -> tuple[tuple[float, float, float], ...]:
    """Load at the sockets [W], draw from the bank [W] and efficiency [-] of a 5 kW inverter with 50 W idle."""
    return tuple((w, CURVED.dc_w(w), CURVED.efficiency(w)) for w in (0.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0))


def from_data_sheet() -> tuple[Worked, ...]:
    """Both loss factors of a 5 kW inverter from 94 % at full load and 30 W idle."""
    k1, k2 = losses_from_full_load(0.94, 30.0, 5000.0)
    return (
        Worked(label="k1", how="usual value, unless the efficiency leaves less", value=k1, unit=""),
        Worked(label="k2", how=f"1 ÷ 0.94 − 30 W ÷ 5\u202f000 W − 1 − {k1:g}", value=k2, unit=""),
    )


def loads() -> tuple[Worked, ...]:
    """A day's energy of hot water, a car and a pump, from their own numbers."""
    water = Load(
        id="w",
        name="Water",
        kind="water",
        values={"litres": 150, "hot_c": 60, "cold_c": 15, "standing_kwh": 1.5, "cop": 3, "heater_kw": 1},
    )
    car = Load(
        id="c", name="Car", kind="car", values={"distance_km": 35, "kwh_per_100km": 18, "charge_efficiency": 0.9}
    )
    pump = Load(id="p", name="Pump", kind="pump", values={"power_w": 1100, "run_h": 8})
    heat = f"(150 litres × {WATER_KWH_PER_LITRE_K * 1000:.3f} Wh × (60 − 15) K + 1.5 kWh) ÷ COP 3"
    lines = (
        ("Hot water by heat pump", heat, water),
        ("Car", "35 km × 18 kWh ÷ 100 km ÷ 0.90", car),
        ("Pool pump", "1\u202f100 W × 8 h", pump),
    )
    return tuple(Worked(label=label, how=how, value=daily_kwh(load, 7), unit="kWh") for label, how, load in lines)
