"""Everything on paper: the household in words, the answers, every input and every assumption.

The sheet gathers what the other answers worked out; it computes nothing of its own. Values are as
stored; `shown` says how people read them. A check is never an approval.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from engine.answers.answer import Assumption, Notice, supplies_of, supply_of
from engine.answers.autonomy import Autonomy, autonomy
from engine.answers.comparing import Comparison, comparing
from engine.answers.notices import household_notices
from engine.answers.sizing import Sizing, sizing
from engine.balance.forcing import load_hours, mean_dc_w
from engine.fields import Quantity, quantities
from engine.house.bank import Bank, StepDown, step_down
from engine.house.household import Household, Supply
from engine.house.loads import SIDES, Load
from engine.sky import climate as climates
from engine.sky.days import Sky


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One input: what it is called, its value as people read it, its unit, and where it is from."""

    label: str
    value: str | float
    unit: str
    origin: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """The inputs of one thing in the house."""

    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BankSteps:
    """A bank's way from its label to the sockets."""

    bank_id: str
    name: str
    steps: tuple[StepDown, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """A text the sheet defers to, and what it governs."""

    text: str
    governs: str


STANDARDS = (
    Standard(
        text="AS/NZS 5139:2019",
        governs="Safety of battery installations with power conversion, banks built on site included",
    ),
    Standard(text="AS/NZS 4509.1 and .2", governs="Stand-alone power systems: safety and installation, design"),
    Standard(text="IEC 62485-2", governs="Stationary lead-acid batteries: electricity, gas, electrolyte"),
    Standard(text="IEC 62485-5", governs="Stationary lithium-ion batteries: safe operation (from memory)"),
    Standard(text="IEC 62619:2022", governs="Safety of lithium cells and batteries in stationary use"),
    Standard(
        text="NFPA 855 and NEC 706, 480, 690",
        governs="United States: home storage, batteries, panels (NEC from memory)",
    ),
    Standard(
        text="BS 7671, IEC 62109, IEC 62124",
        governs="United Kingdom wiring; converters; stand-alone systems (from memory)",
    ),
)
"""Standards by name; the edition adopted where you live rules."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The printable summary."""

    at: datetime
    household: str
    note: str
    autonomy: Autonomy
    sizing: Sizing
    comparison: Comparison
    steps: tuple[BankSteps, ...]
    sections: tuple[Section, ...]
    notices: tuple[Notice, ...]
    assumptions: tuple[Assumption, ...]
    standards: tuple[Standard, ...]


def sheet(
    household: Household,
    at: datetime,
    charges: Mapping[str, float],
    coming: Sky,
    spell: Sky,
    week: Sky,
    days: int,
    bank_id: str | None = None,
) -> Sheet:
    """Gather the printable summary.

    Parameters
    ----------
    at : datetime
        The moment of the answers, local standard time.
    charges : mapping of str to float
        Charge now by bank id [-]; a bank left out is full.
    coming, spell, week : Sky
        Days to come for the hours left, dull days for the size, days of the comparison.
    days : int
        Days the bank is to ride out, 1..7.
    bank_id : str or None
        Bank that is sized and compared; None for the first.

    Raises
    ------
    InputError, Unreachable
        As the answers it gathers.
    """
    supply = supply_of(household, bank_id)
    midnight = at.replace(hour=0, minute=0, second=0, microsecond=0)
    answers = (
        autonomy(household, charges, coming, at),
        sizing(household, supply, days, at.month, spell),
        comparing(household, supply, week, midnight),
    )
    found = {item.name: item for answer in answers for item in answer.assumptions}
    return Sheet(
        at=at,
        household=household.name,
        note=household.note,
        autonomy=answers[0],
        sizing=answers[1],
        comparison=answers[2],
        steps=tuple(bank_steps(household, one, at.month) for one in supplies_of(household)),
        sections=sections(household),
        notices=household_notices(household, at.month),
        assumptions=tuple(found.values()),
        standards=STANDARDS,
    )


def bank_steps(household: Household, supply: Supply, month: int) -> BankSteps:
    """The way from label to sockets of a joined bank, at the mean load of a month."""
    ac_w, dc_w = load_hours(household, supply, datetime(2001, month, 1), 1)
    drawn_w = max(mean_dc_w(household, supply, month), 1.0)
    steps = step_down(supply.bank, supply.inverter, float((ac_w + dc_w).mean()), drawn_w)
    return BankSteps(bank_id=supply.bank.id, name=supply.bank.name, steps=steps)


def sections(household: Household) -> tuple[Section, ...]:
    """Every input of the household, thing by thing."""
    joined = {inverter.id: inverter.name for inverter in household.inverters}
    site = household.site
    place = (
        *_rows(site),
        Row(label="Time zone", value=site.time_zone, unit="", origin="typed"),
        Row(label="Climate", value=climates.names()[site.climate], unit="", origin="chosen"),
    )
    return (
        Section(title="Place", rows=place),
        Section(title="Panels", rows=_rows(household.sun)),
        *(Section(title=array.name, rows=_rows(array)) for array in household.sun.arrays),
        *(Section(title=inverter.name, rows=_rows(inverter)) for inverter in household.inverters),
        *(_bank_section(bank, joined) for bank in household.banks),
        *(_load_section(load) for load in household.loads),
    )


def _rows(thing: Any) -> tuple[Row, ...]:
    """The declared quantities of a dataclass; an empty optional one is left out."""
    values = {name: getattr(thing, name) for name in quantities(type(thing))}
    return tuple(
        _row(meaning, values[name], "typed")
        for name, meaning in quantities(type(thing)).items()
        if values[name] is not None
    )


def _row(meaning: Quantity, value: float, origin: str) -> Row:
    return Row(label=meaning.label, value=value * meaning.scale, unit=meaning.unit, origin=origin)


def _bank_section(bank: Bank, joined: Mapping[str, str]) -> Section:
    where = joined[bank.inverter] if bank.inverter else "not joined"
    origin = "catalogue" if isinstance(bank.chemistry, str) else "the household's own"
    rows = (
        Row(label="Cells", value=bank.cell.name, unit="", origin=origin),
        Row(label="Joined to", value=where, unit="", origin="chosen"),
        *_rows(dataclasses.replace(bank, charge_v=bank.charge_end_cell_v)),
        Row(label="Hold at the end of charge", value="yes" if bank.hold else "no", unit="", origin="chosen"),
        *(_rows(bank.board) if bank.board else (Row(label="Protection board", value="none", unit="", origin="typed"),)),
    )
    return Section(title=bank.name, rows=rows)


def _load_section(load: Load) -> Section:
    fields = load.meaning.fields
    marks = [
        text
        for text, is_so in (
            ("can wait", load.can_wait),
            ("can be switched off", load.can_shed),
            ("never off", load.never_off),
        )
        if is_so
    ]
    numbers = (
        _row(field.quantity, load.filled()[name], "typed" if name in load.values else field.source.kind)
        for name, field in fields.items()
    )
    rows = (
        Row(label="Kind", value=load.meaning.name, unit="", origin="chosen"),
        Row(label="Measured", value=SIDES[load.measured], unit="", origin="chosen"),
        *numbers,
        Row(
            label="Months",
            value="all year" if len(load.months) == 12 else ", ".join(map(str, load.months)),
            unit="",
            origin="chosen",
        ),
        Row(label="When the bank is low", value=", ".join(marks) or "stays on", unit="", origin="chosen"),
    )
    return Section(title=load.name, rows=rows)
