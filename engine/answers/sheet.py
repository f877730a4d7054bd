"""Everything on paper: the household in words, the answers, every input and every assumption.

The sheet gathers what the other answers worked out; it computes nothing of its own. Values are as
stored; `shown` says how people read them. A check is never an approval.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from engine.answers.answer import Assumption, Notice, supplies_of, supply_of
from engine.answers.autonomy import Autonomy, autonomy
from engine.answers.comparing import Comparison, comparing
from engine.answers.inputs import Section, sections
from engine.answers.notices import household_notices
from engine.answers.sizing import Sizing, sizing
from engine.balance.forcing import load_hours, mean_dc_w
from engine.house.bank import StepDown, step_down
from engine.house.household import Household, Supply
from engine.sky.days import Sky


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
    month: int | None = None,
    week_from: datetime | None = None,
    by_days: Sequence[Sky] = (),
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
    month : int or None
        Month the bank is sized for, 1..12; None for that of `at`.
    week_from : datetime or None
        Midnight the comparison starts at; None for that of `at`.
    by_days : sequence of Sky
        Dull days of their own for each number of days of the size; empty: `spell` for all.

    Raises
    ------
    InputError, Unreachable
        As the answers it gathers.
    """
    supply = supply_of(household, bank_id)
    midnight = at.replace(hour=0, minute=0, second=0, microsecond=0)
    answers = (
        autonomy(household, charges, coming, at),
        sizing(household, supply, days, at.month if month is None else month, spell, by_days),
        comparing(household, supply, week, midnight if week_from is None else week_from),
    )
    found = {item.name: item for answer in answers for item in answer.assumptions}
    return Sheet(
        at=at,
        household=household.name,
        note=household.note,
        autonomy=answers[0],
        sizing=answers[1],
        comparison=answers[2],
        steps=tuple(bank_steps(household, alone, at.month) for one in supplies_of(household) for alone in one.apart),
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
