"""Everything on paper: the household in words, the answers, every input and every assumption.

The sheet gathers what the other answers worked out; it computes nothing of its own. Values are as
stored; `shown` says how people read them. A check is never an approval.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from engine.answers.answer import KEPT_ANSWERS, Assumption, Notice, said_once, supplies_of, supply_of
from engine.answers.autonomy import Autonomy, autonomy
from engine.answers.care import Care, care
from engine.answers.coming import coming as days_to_come
from engine.answers.commissioning import Commissioning, commissioning
from engine.answers.comparing import Comparison, comparing
from engine.answers.inputs import Section, sections
from engine.answers.notices import household_notices
from engine.answers.riding import Riding, riding
from engine.answers.sizing import Sizing, sizing
from engine.answers.winters import Fitted
from engine.answers.wiring import WiringAnswer, wiring
from engine.balance.forcing import mean_day_hours, mean_dc_w
from engine.house.household import Household, Supply
from engine.house.step_down import StepDown, step_down
from engine.sky.days import Sky


@dataclass(frozen=True, slots=True, kw_only=True)
class BankSteps:
    """A bank's way from its label to the sockets."""

    bank_id: str
    name: str
    steps: tuple[StepDown, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """A text the sheet defers to, where, and what it governs."""

    region: str
    text: str
    governs: str


_TEXTS = {
    "Australia and New Zealand": (
        ("AS/NZS 5139:2019", "safety of battery installations with power conversion, banks built on site included"),
        ("AS/NZS 4509.1 and .2", "stand-alone power systems: safety and installation, design"),
    ),
    "Europe and other IEC countries": (
        ("IEC 62485-2", "stationary lead-acid batteries: electricity, gas, electrolyte"),
        ("IEC 62485-5", "stationary lithium-ion batteries: safe operation (from memory)"),
        ("IEC 62619:2022", "safety of lithium cells and batteries in stationary use"),
        ("IEC 62109, 62509, 62124", "converters, charge controllers, stand-alone systems (from memory)"),
    ),
    "United Kingdom": (("BS 7671", "wiring (from memory)"),),
    "United States": (
        ("NFPA 855", "home storage: how much, and where it may stand"),
        ("NEC 706, 480, 690", "storage, batteries and panels (from memory)"),
        ("UL 9540, 9540A, 1973", "listing of systems and batteries; 9540A is a fire test, not a listing"),
    ),
}
STANDARDS = tuple(
    Standard(region=region, text=text, governs=governs) for region, texts in _TEXTS.items() for text, governs in texts
)
"""Standards by region; the edition adopted where you live rules."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The printable summary."""

    at: datetime
    household: str
    note: str
    autonomy: Autonomy
    sizing: Sizing
    comparison: Comparison
    riding: Riding | None
    settings: Commissioning
    wiring: WiringAnswer
    care: Care
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
    by_days: tuple[Sky, ...] = (),
    fit: Fitted | None = None,
    factors: Mapping[str, float] | None = None,
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
    by_days : tuple of Sky
        Dull days of their own for each number of days of the size; empty: `spell` for all.
    fit : Fitted or None
        The sized supply on its winters, for the risk of the size; None where there is no such count.
    factors : mapping of str to float
        How many times as wide as the model's own the range of each bank's hours is to be, as of `autonomy`.

    Raises
    ------
    InputError, Unreachable
        As the answers it gathers.
    """
    supply = supply_of(household, bank_id)
    midnight = at.replace(hour=0, minute=0, second=0, microsecond=0)
    answers = (
        autonomy(household, charges, coming, at, factors=factors),
        sizing(household, supply, days, at.month if month is None else month, spell, by_days),
        comparing(household, supply, week, midnight if week_from is None else week_from),
    )
    settings = commissioning(household, supplies_of(household), at.month)
    wired = wiring(household, at.month)
    cared = care(days_to_come(household, charges, coming, at)[1], coming, told=charges)
    found = {item.name: item for answer in (*answers, settings, wired, cared) for item in answer.assumptions}
    own = (*(one for one in settings.notices if one.level == "stop"), *wired.notices, *cared.notices)
    return Sheet(
        at=at,
        household=household.name,
        note=household.note,
        autonomy=answers[0],
        sizing=answers[1],
        comparison=answers[2],
        riding=None if fit is None else riding(fit, answers[1].strings),
        settings=settings,
        wiring=wired,
        care=cared,
        steps=tuple(bank_steps(household, alone, at.month) for one in supplies_of(household) for alone in one.apart),
        sections=sections(household),
        notices=said_once((*household_notices(household, at.month), *own)),
        assumptions=tuple(found.values()),
        standards=STANDARDS,
    )


@lru_cache(maxsize=KEPT_ANSWERS)
def bank_steps(household: Household, supply: Supply, month: int) -> BankSteps:
    """The way from label to sockets of a joined bank, at the mean load of a month."""
    ac_w, dc_w = mean_day_hours(household, supply, month)
    drawn_w = max(mean_dc_w(household, supply, month), 1.0)
    steps = step_down(supply.bank, supply.inverter, float((ac_w + dc_w).mean()), drawn_w)
    return BankSteps(bank_id=supply.bank.id, name=supply.bank.name, steps=steps)
