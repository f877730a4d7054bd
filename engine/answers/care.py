"""Care of the cells: what each bank asks of its keeper in the days to come, and since when and until when.

Lead-acid: a full charge now and then, volts by temperature, equalising and water where its cells have caps, acid that
freezes, air against hydrogen. Cells with a board: what they may be charged with when cold. Moments are local standard
time, hours count from the moment asked about.
Not modelled: what the cells have been through, acid in layers, the room they stand in.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from engine.answers.answer import Assumption, Notice, Worked, assumptions_of, gravest_first
from engine.answers.care_bank import (
    EQUALISE_EVERY_DAYS,
    EQUALISE_H,
    NEAR_FREEZING_K,
    WATER_EVERY_DAYS,
    BankCare,
    LeadCare,
    air,
    cold_limit,
    equalise,
    freezing,
    lead_volts,
    water,
)
from engine.answers.care_full import FULL_EVERY_DAYS, bank_course, full_charge
from engine.answers.care_notices import care_notices
from engine.answers.care_worked import care_worked
from engine.answers.coming import Coming
from engine.balance.trajectory import Trajectory
from engine.cells import lead_acid
from engine.cells.cold_limits import COLD_C, FULL_C
from engine.errors import InputError
from engine.house.bank import Bank
from engine.house.cold import is_lead
from engine.house.inverter import Inverter
from engine.quantities import HOURS_PER_DAY
from engine.sky.days import Sky

EARLIEST_YEAR = 2000
READ = "published"
MEMORY = "typical, from memory"
Row = tuple[str, str, str, str]
"""Name, value, kind and source of an assumption."""
COLD_LINE: Row = (
    "Whole charge current from",
    f"{FULL_C:g} °C on",
    "assumed",
    f"a judgement, as makers’ sheets step between 5 and 15 °C; from the current at {COLD_C:g} °C up to it a straight "
    "line. Where the sheet of your cells says less, it rules",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Care:
    """The answer for every joined bank.

    Attributes
    ----------
    days_h : float
        How far the days reach [h].
    air_m3_h, air_cm2 : float or None
        Air for all lead-acid banks together where none is equalised, and the opening for it, inlet and outlet each;
        None where there is none to air or one does not state its gas.
    """

    at: datetime
    days_h: float
    banks: tuple[BankCare, ...]
    air_m3_h: float | None
    air_cm2: float | None
    notices: tuple[Notice, ...]
    worked: tuple[Worked, ...]
    assumptions: tuple[Assumption, ...]


def care(
    found: Sequence[Coming], sky: Sky, last_on: date | None = None, *, told: Collection[str] | None = None
) -> Care:
    """Work out the care of every bank.

    Parameters
    ----------
    found : sequence of Coming
        The days to come of every supply, at least one.
    last_on : date, optional
        Day on which the lead-acid banks were last full.
    told : collection of str, optional
        Ids of the banks whose charge now somebody said, every other is taken as full; None: of all of them.

    Raises
    ------
    InputError
        If that day lies after the moment asked about, or long before.
    """
    at = found[0].at
    if last_on is not None and not date(EARLIEST_YEAR, 1, 1) <= last_on <= at.date():
        raise InputError(
            "full",
            f"Last full on must be a day from {EARLIEST_YEAR}-01-01 to {at:%Y-%m-%d}, the day asked about; "
            f"got {last_on:%Y-%m-%d}.",
        )
    banks: list[tuple[Bank, BankCare, Inverter]] = []
    for one in found:
        as_is = one.run()
        banks += (
            (bank, _bank(one, place, as_is, last_on, told), one.supply.inverter)
            for place, bank in enumerate(one.supply.banks)
        )
    cared = tuple(each for _, each, _ in banks)
    total = _air(cared)
    return Care(
        at=at,
        days_h=found[0].given.length_h,
        banks=cared,
        air_m3_h=total,
        air_cm2=None if total is None else lead_acid.opening_cm2(total),
        notices=gravest_first(notice for bank, each, on in banks for notice in care_notices(bank, each, on)),
        worked=tuple(row for bank, each, _ in banks for row in care_worked(bank, each, len(banks) > 1)),
        assumptions=(
            *_assumed(cared),
            *assumptions_of(found[0].household, (bank.cell for bank, _, _ in banks), sky),
        ),
    )


def _bank(one: Coming, place: int, as_is: Trajectory, last_on: date | None, told: Collection[str] | None) -> BankCare:
    bank, (p, socs) = one.supply.banks[place], bank_course(one, place, as_is)
    lead = None
    if is_lead(bank):
        full = full_charge(one, place, as_is, last_on)
        lead = LeadCare(
            full=full,
            volts=lead_volts(bank),
            equalise=equalise(bank, one.supply.inverter),
            water=water(bank, full, one.given.length_h / HOURS_PER_DAY),
            freezing=freezing(float(socs[0]), float(socs.min()), p.floor_soc),
            air=air(bank),
        )
    return BankCare(
        bank_id=bank.id,
        name=bank.name,
        chemistry=bank.cell.name,
        cell_c=bank.cell_c,
        series=bank.series,
        ah=bank.ah,
        soc=float(socs[0]),
        told=told is None or bank.id in told,
        lead=lead,
        cold=None if lead is not None else cold_limit(bank),
    )


def _air(banks: Iterable[BankCare]) -> float | None:
    """Air of all lead-acid banks while they are charged [m3/h]."""
    each = [bank.lead.air for bank in banks if bank.lead is not None]
    known = [one.boost_m3_h for one in each if one is not None]
    return sum(known) if known and len(known) == len(each) else None


def _assumed(banks: Sequence[BankCare]) -> tuple[Assumption, ...]:
    """The rules of care that the answer goes by, where a bank has them."""
    leads = [bank.lead for bank in banks if bank.lead is not None]
    rows = [] if len(leads) == len(banks) else [COLD_LINE]
    return tuple(
        Assumption(name=name, value=value, kind=kind, source=text)
        for name, value, kind, text in (*rows, *(_of_lead(leads) if leads else ()))
    )


def _of_lead(leads: Sequence[LeadCare]) -> list[Row]:
    low, high = EQUALISE_EVERY_DAYS
    rows: list[Row] = [
        ("Full charge of lead-acid", f"every {FULL_EVERY_DAYS} days", MEMORY, "makers’ handbooks: once a week or so"),
        (
            "Freezing point of the acid",
            "",
            READ,
            "density by charge from a battery maker’s support page, freezing "
            "point by density from an owner’s manual; joined by straight lines",
        ),
        ("Close to freezing", f"{NEAR_FREEZING_K:g} K", "assumed", "a judgement, for sensors and the straight lines"),
        (
            "Air against hydrogen",
            "",
            READ,
            "formula and gassing currents of EN 50272-2 (IEC 62485-2), read on makers’ "
            "pages, not in the standard; capacity by the label",
        ),
    ]
    if any(lead.water is not None for lead in leads):
        rows += [
            ("Water looked at", f"every {WATER_EVERY_DAYS} days", MEMORY, "makers’ handbooks: monthly"),
            (
                "Equalising",
                f"every {low} to {high} days, {EQUALISE_H[0]} to {EQUALISE_H[1]} h",
                MEMORY,
                "makers’ handbooks differ widely",
            ),
            (
                "Gas while equalising",
                f"{lead_acid.UNLIMITED_GAS_MA_PER_AH:g} mA/Ah",
                READ,
                "EN 50272-3 for chargers without a limit of volts, read on a maker’s page",
            ),
        ]
    return rows
