"""What cold takes from a bank in the days to come: current, energy, hours and capacity, and what a heater wins back.

Hours count from the moment asked about, moments are local standard time. What cold refuses is the difference of two
runs of the same days: as they are, and with the charge current that warm cells may take, all else equal.
Not modelled: cells that warm or cool through the days by themselves, a limit that also falls with the charge.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import Assumption, Notice, Worked, assumptions_of
from engine.answers.cold_bank import ColdBank, cold_banks, table_temperatures
from engine.answers.coming import Coming
from engine.answers.heating import CELL_HEAT_J_PER_KG_K, Heated, Heater, heated, heater_assumptions
from engine.balance.bus_plant import BusPlant
from engine.balance.step import Plant
from engine.cells.cold_limits import COLD_C, FULL_C
from engine.house.bank import Bank
from engine.house.cold import UNSTATED_C, cold_charge_a, full_charge_c, full_from_c
from engine.sky.days import Sky

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cold:
    """The answer for one bank, or those on one bus.

    Attributes
    ----------
    days_h : float
        How far these days reach [h].
    refused_kwh : float
        Sun that would go into warm cells and does not into these [kWh].
    hours, hours_warm : float or None
        How long it lasts as it is, and were the cells warm to charge; None past the days.
    heated : Heated or None
        The days with a heater; None where the cells are at its aim already, or several banks share the bus.
    times_h, soc, soc_warm : (n + 1,) arrays
        Edges [h] and charge at them [-], as it is and were the cells warm to charge.
    """

    at: datetime
    bank_id: str
    name: str
    banks: tuple[ColdBank, ...]
    days_h: float
    refused_kwh: float
    hours: float | None
    hours_warm: float | None
    heater: Heater | None
    heated: Heated | None
    floor_soc: float
    times_h: Floats
    soc: Floats
    soc_warm: Floats
    notices: tuple[Notice, ...]
    worked: tuple[Worked, ...]
    assumptions: tuple[Assumption, ...]

    @property
    def lost_h(self) -> float | None:
        """Hours that cold costs; None where warm cells would last past the days and these do not."""
        if self.hours is None:
            return 0.0
        return None if self.hours_warm is None else max(self.hours_warm - self.hours, 0.0)


def lifted(one: Coming) -> Coming:
    """The same days with the charge current that warm cells may take, all else as it is."""
    p = one.plant
    if isinstance(p, Plant):
        return dataclasses.replace(one, plant=_lifted(p, one.supply.bank))
    assert isinstance(p, BusPlant)
    plants = [_lifted(each, bank) for each, bank in zip(p.plants, one.supply.banks, strict=True)]
    if any(each.charge_c_max <= 0.0 for each in plants):
        return one
    return dataclasses.replace(one, plant=dataclasses.replace(p, plants=tuple(plants)))


def _lifted(p: Plant, bank: Bank) -> Plant:
    """A bank's limits without cold; one that is not cold is left as it is, also where it is too hot."""
    alone_cold = bank.cell_c < full_from_c(bank)
    held_by_others = p.charge_c_max <= 0.0 and bank.cell_c <= bank.cell.charge_max_c
    return dataclasses.replace(p, charge_c_max=full_charge_c(bank)) if alone_cold or held_by_others else p


def refused_kwh(one: Coming) -> float:
    """Sun that warm cells would take in these days and these do not [kWh].

    Never below 0: a slower charge that is not held may end fuller, which is then no refusal.
    """
    if not any(bank.cell_c < full_from_c(bank) for bank in one.supply.banks):
        return 0.0
    return max(lifted(one).run().totals.sun_kwh - one.run().totals.sun_kwh, 0.0)


def cold(one: Coming, sky: Sky, heater: Heater | None = None) -> Cold:
    """Work out what cold takes from a supply in the days to come.

    Parameters
    ----------
    heater : Heater, optional
        Warms the cells for the hours of charge; of one bank on its bus only.

    Raises
    ------
    InputError
        If the heater cannot hold the cells at its aim.
    """
    as_is, warm = one.run(), lifted(one).run()
    cells = one.supply.banks
    warmed = None
    if heater is not None and not one.supply.beside and heater.to_c > one.supply.bank.cell_c:
        warmed = heated(one, heater)
    banks = cold_banks(one.household, one.supply, one.at.month, table_temperatures())
    refused = refused_kwh(one)
    return Cold(
        at=one.at,
        bank_id=one.supply.bank.id,
        name=one.supply.name,
        banks=banks,
        days_h=one.given.length_h,
        refused_kwh=refused,
        hours=one.run(until_ended=True).ended_h,
        hours_warm=lifted(one).run(until_ended=True).ended_h,
        heater=heater,
        heated=warmed,
        floor_soc=one.plant.floor_soc,
        times_h=as_is.hours,
        soc=as_is.soc,
        soc_warm=warm.soc,
        notices=_notices(one, warmed),
        worked=(*_worked_charge(cells, banks, as_is.totals.sun_kwh, refused), *_worked_heater(one, warmed)),
        assumptions=(
            *_assumed_line(cells),
            *(() if warmed is None else heater_assumptions(one.supply.bank, warmed.heater)),
            *assumptions_of(one.household, (bank.cell for bank in cells), sky),
        ),
    )


def _notices(one: Coming, warmed: Heated | None) -> tuple[Notice, ...]:
    if warmed is None or not warmed.heated_days:
        return ()
    bank = one.supply.bank
    notes = [
        Notice(
            level="check",
            code="heater-fire",
            text="A heater beside cells can set them alight: use one made for batteries, with a thermostat of its own, "
            "a cut-out and a fuse, and see that it cannot stay on. Local codes rule.",
        )
    ]
    if bank.cell.vents_hydrogen:
        notes.append(
            Notice(
                level="check",
                code="heater-hydrogen",
                text=f"{bank.name} gives off hydrogen: no heater under or in one box with lead-acid cells that is not "
                "made for it, and the box stays aired.",
            )
        )
    return tuple(notes)


def _worked_charge(
    cells: tuple[Bank, ...], banks: tuple[ColdBank, ...], taken_kwh: float, refused: float
) -> tuple[Worked, ...]:
    rows = []
    for bank, found in zip(cells, banks, strict=True):
        named = f" of {bank.name}" if len(cells) > 1 else ""
        rows.append(
            Worked(
                label=f"Charge current of warm cells{named}",
                how="lowest limit of cells, bank and board",
                value=found.full_a,
                unit="A",
            )
        )
        rows.append(
            Worked(label=f"At {bank.cell_c:g} °C{named}", how=_how(bank, found), value=found.now.charge_a, unit="A")
        )
    rows.append(
        Worked(
            label="Sun taken as it is", how="into loads, inverter and cells in these days", value=taken_kwh, unit="kWh"
        )
    )
    rows.append(
        Worked(
            label="Refused by cold", how="what the same days give with warm cells, less that", value=refused, unit="kWh"
        )
    )
    return tuple(rows)


def _how(bank: Bank, found: ColdBank) -> str:
    """How the current now follows from the line."""
    if found.too_cold:
        return f"no charge below {bank.charge_min_c:g} °C"
    if not found.held_back:
        return f"the whole current from {found.full_from_c:g} °C on"
    cold_a, start_c = min(cold_charge_a(bank) or 0.0, found.full_a), max(COLD_C, bank.charge_min_c)
    if bank.cell_c < start_c:
        return f"{cold_a:g} A × ({bank.cell_c:g} − {bank.charge_min_c:g}) ÷ ({start_c:g} − {bank.charge_min_c:g})"
    of_line = f"({bank.cell_c:g} − {start_c:g}) ÷ ({FULL_C:g} − {start_c:g})"
    return f"{cold_a:g} A + ({found.full_a:g} − {cold_a:g}) A × {of_line}"


def _worked_heater(one: Coming, warmed: Heated | None) -> tuple[Worked, ...]:
    if warmed is None:
        return ()
    heater, from_c = warmed.heater, one.supply.bank.cell_c
    return (
        Worked(
            label="To lift the cells once",
            how=f"{heater.mass_kg:.4g} kg × {CELL_HEAT_J_PER_KG_K:g} J × ({heater.to_c:g} − {from_c:g}) °C ÷ 3,600,000",
            value=warmed.lift_kwh,
            unit="kWh",
        ),
        Worked(
            label="To hold them for a day’s charge",
            how=f"{heater.loss_w_per_k:g} W × ({heater.to_c:g} − {heater.ambient_c:g}) °C × "
            f"{warmed.sun_h_per_day:.3g} h with sun to spare ÷ 1,000",
            value=warmed.hold_kwh_per_day,
            unit="kWh",
        ),
        Worked(
            label="Heater in these days",
            how="hour by hour, as the cells cool by night",
            value=warmed.spent_kwh,
            unit="kWh",
        ),
        Worked(
            label="More sun taken with it", how="the run with it less the run without", value=warmed.won_kwh, unit="kWh"
        ),
        Worked(
            label="Left of that",
            how="more served or in the cells at the end, heater and losses taken off",
            value=warmed.net_kwh,
            unit="kWh",
        ),
    )


def _assumed_line(cells: tuple[Bank, ...]) -> tuple[Assumption, ...]:
    lines = []
    for bank in cells:
        start_c, cold_a = max(COLD_C, bank.charge_min_c), cold_charge_a(bank)
        if cold_a is None or start_c >= FULL_C:
            continue
        if bank.cold_charge_a is None:
            lines.append(
                Assumption(
                    name=f"{bank.name}: charge current at {start_c:g} °C",
                    value=f"{UNSTATED_C:g}C, {cold_a:g} A",
                    kind="typical, from memory",
                    source="none is entered; sheets of large lithium cells allow 0.05 to 0.2C there. Your cells’ rules",
                )
            )
        lines.append(
            Assumption(
                name=f"{bank.name}: charge current between {start_c:g} and {FULL_C:g} °C",
                value="a straight line",
                kind="assumed",
                source="a judgement: makers’ sheets step between 5 and 15 °C; type less where the cells’ sheet does",
            )
        )
    return tuple(lines)
