"""What an answer took from the household, in words, each with the page where it is changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.answers.inputs import months_from
from engine.cells.chemistry import TABLE_C
from engine.house.bank import Bank
from engine.house.generator import Generator
from engine.house.household import Household, Supply
from engine.house.loads import daily_kwh
from engine.quantities import WH_PER_KWH
from engine.sky.own_days import MONTHS as ALL_MONTHS
from engine.sky.site import Array
from engine.text.dates import clock_hour
from webapp.panel_words import charger_words, own_words
from webapp.words import MONTHS, counted


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """Something of the household that an answer used, and where it is changed."""

    label: str
    text: str
    path: str


def inputs_used(house: Household, supplies: Sequence[Supply], month: int) -> tuple[Input, ...]:
    """List what an answer took from the household, in words."""
    found: list[Input] = []
    for supply in supplies:
        found += (Input(label=bank.name, text=bank_text(bank), path="/banks") for bank in supply.banks)
        inverter = supply.inverter
        found.append(
            Input(
                label=inverter.name,
                text=f"{inverter.dc_min_v:g} to {inverter.dc_max_v:g} V DC, {inverter.rated_w / WH_PER_KWH:g} kW, "
                f"idle {inverter.idle_w:g} W, {inverter.efficiency(inverter.rated_w) * 100:.0f} % at full load",
                path="/inverter",
            )
        )
        if supply.generator is not None:
            found.append(Input(label=supply.generator.name, text=generator_text(supply.generator), path="/inverter"))
        kwh = sum(daily_kwh(load, month, house.south) for load in supply.loads)
        text = f"{counted(len(supply.loads), 'load')}, {kwh:.3g} kWh a day in {MONTHS[month - 1]}"
        found.append(Input(label=f"Loads on {inverter.name}", text=text, path="/loads"))
    return (*found, _panels(house, (month,)), _place(house))


def sun_inputs(house: Household) -> tuple[Input, ...]:
    """List what an answer about the sun alone took from the household: its panels and its place."""
    return (_panels(house, ALL_MONTHS), _place(house))


def bank_text(bank: Bank) -> str:
    """Describe a bank in one line."""
    strings = f" × {bank.parallel} in parallel" if bank.parallel > 1 else ""
    at = "" if bank.tested_c in (None, TABLE_C) else f" at {bank.tested_c:g} °C"
    tested = "" if bank.tested_ah is None else f"{bank.tested_ah:.5g} Ah tested{at} of "
    reserve = f"{bank.reserve_soc * 100:g} %" if bank.reserve_v is None else f"{bank.reserve_v:g} V per cell"
    cold = "" if bank.cold_charge_a is None else f", charged with {bank.cold_charge_a:g} A at 0 °C"
    own = [
        f"{share * 100:.3g} % {what}"
        for share, what in (
            (bank.charge_efficiency, "of ampere-hours given back"),
            (bank.self_discharge_per_month, "self-discharge a month"),
        )
        if share is not None
    ]
    return (
        f"{bank.cell.name}, {bank.series} in series{strings}, {tested}{bank.label_ah:g} Ah, {bank.cell_c:g} °C, "
        f"charged to {bank.charge_end_cell_v:g} V per cell{', held' if bank.hold else ''}{cold}, reserve {reserve}"
        + "".join(f", {one}" for one in own)
    )


def generator_text(one: Generator) -> str:
    """Describe a generator in one line."""
    hours = f"{clock_hour(one.quiet_from_h)} to {clock_hour(one.quiet_to_h)}"
    quiet = f", quiet {hours} o’clock" if one.quiet_hours else ""
    return (
        f"{one.rated_w / WH_PER_KWH:g} kW, charges with up to {one.charger_w / WH_PER_KWH:g} kW, "
        f"{one.idle_l_per_h:g} to {one.full_l_per_h:g} l/h, from {one.start_soc * 100:g} to {one.stop_soc * 100:g} %, "
        f"at least {one.least_run_h:g} h{quiet}"
    )


def _panels(house: Household, months: Sequence[int]) -> Input:
    if not house.sun.arrays:
        return Input(label="Panels", text="none", path="/sun")
    faces = "; ".join(_array_text(array) for array in house.sun.arrays)
    charger = f"solar charger {house.sun.charger_efficiency * 100:g} %"
    covered = f"; covered for {counted(house.sun.covered_days, 'day')}" if house.sun.covered_days else ""
    words = own_words(house.site, house.sun, months)
    own = f"; set right by {words}" if words else ""
    return Input(label="Panels", text=f"{faces}; {charger}{covered}{own}", path="/sun")


def _array_text(array: Array) -> str:
    winter = "" if array.winter_tilt_deg is None else f", in winter {array.winter_tilt_deg:g}°"
    more = f", {charger_words(array)}" if charger_words(array) else ""
    return f"{array.name} {array.kwp:g} kWp, tilt {array.tilt_deg:g}°{winter}, direction {array.azimuth_deg:g}°{more}"


def _place(house: Household) -> Input:
    site = house.site
    north = f"{abs(site.latitude_deg):g}° {'south' if site.south else 'north'}"
    east = f"{abs(site.longitude_deg):g}° {'west' if site.longitude_deg < 0 else 'east'}"
    sky = months_from(site, house.sun)
    return Input(label="Place", text=f"{north}, {east}; sky: {sky}; clock: {site.time_zone}", path="/sun")
