"""The sentences about cold that stand in every answer whose cells are cold enough to matter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from engine.answers.cold import refused_kwh
from engine.answers.cold_bank import cold_banks
from engine.answers.coming import coming
from engine.answers.notices import household_notices
from engine.answers.notices_cold import TOO_COLD
from engine.errors import Unreachable
from engine.house.household import Household, Supply
from engine.sky.days import Sky
from webapp.cold_words import cold_sentence, together
from webapp.now_question import Question
from webapp.questions import to_standard


@dataclass(frozen=True, slots=True, kw_only=True)
class ColdLines:
    """The sentences, where they lead, and the texts of notices that say no more than they do."""

    sentences: tuple[str, ...] = ()
    href: str = ""
    said: tuple[str, ...] = ()


def cold_lines(
    house: Household,
    supplies: Sequence[Supply],
    month: int,
    query: str = "",
    refused: Mapping[str, float] | None = None,
) -> ColdLines:
    """Return a sentence for each bank that is cold enough to matter.

    Parameters
    ----------
    supplies : sequence of Supply
        Those that the answer is about.
    month : int
        Month whose mean load the capacity is read at, 1..12.
    query : str
        Question that the link to the page goes on with.
    refused : mapping of str to float, optional
        Energy that cold refuses in the days of the answer by the id of each supply's first bank [kWh].
    """
    told: list[str] = []
    too_cold: list[str] = []
    for supply in supplies:
        cells = [bank for bank in cold_banks(house, supply, month) if bank.matters]
        kwh = (refused or {}).get(supply.bank.id, 0.0)
        told += [cold_sentence(bank, 0.0 if supply.beside else kwh) for bank in cells]
        told += [said for said in (together(supply.name, kwh),) if said and supply.beside]
        too_cold += [bank.name for bank in cells if bank.too_cold]
    notices = household_notices(house, month) if too_cold else ()
    said = (n.text for n in notices if n.code == TOO_COLD and n.text.startswith(tuple(f"{name}:" for name in too_cold)))
    href = f"/cold{'?' + query if query else ''}" if told else ""
    return ColdLines(sentences=tuple(told), href=href, said=tuple(said))


def lines_now(question: Question, query: str) -> ColdLines:
    """Return the sentences of the question of the moment, with what cold refuses in its days."""
    house = question.house
    at = to_standard(house.site, question.moment)
    refused = {} if question.sky is None else refused_by_cold(house, question.charges, question.sky, at)
    return cold_lines(house, house.supplies(), at.month, query, refused)


def refused_by_cold(house: Household, charges: Mapping[str, float], sky: Sky, at: datetime) -> dict[str, float]:
    """Return what cold refuses in some days by the id of each supply's first bank [kWh]; none where none can be run.

    Parameters
    ----------
    charges : mapping of str to float
        State of charge at the start by bank id [-]; a bank left out is full.
    at : datetime
        The start, local standard time.
    """
    try:
        return {one.supply.bank.id: refused_kwh(one) for one in coming(house, charges, sky, at)[1]}
    except Unreachable:
        return {}
