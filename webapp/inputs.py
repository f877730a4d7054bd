"""What an answer took from the household, in words, each with the page where it is changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.house.bank import Bank
from engine.house.household import Household, Supply
from engine.house.loads import daily_kwh
from engine.quantities import WH_PER_KWH
from engine.sky import climate as climates
from webapp.words import MONTHS, counted


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """Something of the household that an answer used, and where it is changed."""

    label: str
    text: str
    path: str


def inputs_used(house: Household, supplies: Sequence[Supply], month: int) -> tuple[Input, ...]:
    """List what an answer took from the household, in words."""
    found = []
    for supply in supplies:
        found.append(Input(label=supply.bank.name, text=bank_text(supply.bank), path="/banks"))
        inverter = supply.inverter
        found.append(
            Input(
                label=inverter.name,
                text=f"{inverter.dc_min_v:g} to {inverter.dc_max_v:g} V DC, {inverter.rated_w / WH_PER_KWH:g} kW, "
                f"idle {inverter.idle_w:g} W, {inverter.efficiency(inverter.rated_w) * 100:.0f} % at full load",
                path="/inverter",
            )
        )
        kwh = sum(daily_kwh(load, month, house.south) for load in supply.loads)
        text = f"{counted(len(supply.loads), 'load')}, {kwh:.3g} kWh a day in {MONTHS[month - 1]}"
        found.append(Input(label=f"Loads on {inverter.name}", text=text, path="/loads"))
    return (*found, _panels(house), _place(house))


def bank_text(bank: Bank) -> str:
    """Describe a bank in one line."""
    strings = f" × {bank.parallel} in parallel" if bank.parallel > 1 else ""
    tested = "" if bank.tested_ah is None else f"{bank.tested_ah:g} Ah tested of "
    reserve = f"{bank.reserve_soc * 100:g} %" if bank.reserve_v is None else f"{bank.reserve_v:g} V per cell"
    return (
        f"{bank.cell.name}, {bank.series} in series{strings}, {tested}{bank.label_ah:g} Ah, {bank.cell_c:g} °C, "
        f"charged to {bank.charge_end_cell_v:g} V per cell{', held' if bank.hold else ''}, reserve {reserve}"
    )


def _panels(house: Household) -> Input:
    if not house.sun.arrays:
        return Input(label="Panels", text="none", path="/sun")
    faces = "; ".join(
        f"{a.name} {a.kwp:g} kWp, tilt {a.tilt_deg:g}°, direction {a.azimuth_deg:g}°" for a in house.sun.arrays
    )
    charger = f"solar charger {house.sun.charger_efficiency * 100:g} %"
    covered = f"; covered for {counted(house.sun.covered_days, 'day')}" if house.sun.covered_days else ""
    return Input(label="Panels", text=f"{faces}; {charger}{covered}", path="/sun")


def _place(house: Household) -> Input:
    site = house.site
    north = f"{abs(site.latitude_deg):g}° {'south' if site.south else 'north'}"
    east = f"{abs(site.longitude_deg):g}° {'west' if site.longitude_deg < 0 else 'east'}"
    sky = climates.load(site.climate).name
    return Input(label="Place", text=f"{north}, {east}; sky: {sky}; clock: {site.time_zone}", path="/sun")
