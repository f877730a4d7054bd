"""What may be asked of many households, each with its options and the answer it gives.

Percent is only what is typed; a new question is one more entry of `QUESTIONS`.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from engine.answers.answer import supply_of
from engine.answers.risks import SHARE_FIELD
from engine.answers.winters import USUAL_SHARE, ManyWinters, many_winters
from engine.fields import Quantity
from engine.house.household import Household
from engine.sky.averages import darkest_month
from engine.sky.made import made_years


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One option of a question: `settings` are those of an argument of argparse."""

    name: str
    settings: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A question: what it says in the list of them, its options, and what answers it for one household."""

    says: str
    options: tuple[Option, ...]
    answer: Callable[[Household, Mapping[str, Any]], object]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A question by its name with the values of its options; it can be sent to another process or machine."""

    name: str
    values: Mapping[str, Any]

    def answer(self, household: Household) -> object:
        """Answer it for one household."""
        return QUESTIONS[self.name].answer(household, self.values)


def number_of(meaning: Quantity) -> Callable[[str], float]:
    """Return what reads an option as a declared number, and refuses it in the field's own words."""

    def read(text: str) -> float:
        try:
            typed = float(text) / meaning.scale
        except ValueError:
            raise argparse.ArgumentTypeError(meaning.refuse(text)) from None
        if refusal := meaning.refuse(typed):
            raise argparse.ArgumentTypeError(refusal)
        return int(typed) if meaning.whole else typed

    return read


def _size(household: Household, values: Mapping[str, Any]) -> ManyWinters:
    site, sun = household.site, household.sun
    supply = supply_of(household, values["bank"])
    return many_winters(
        household, supply, made_years(site, sun), values["month"] or darkest_month(site, sun), values["share"]
    )


MONTH = Quantity(label="Month", unit="", low=1, high=12, whole=True)

_BANK = Option(name="bank", settings={"metavar": "ID", "help": "id of the bank (usual: that of the first inverter)"})
_MONTH = Option(
    name="month",
    settings={
        "type": number_of(MONTH),
        "metavar": "N",
        "help": "month whose draw counts, 1 to 12 (usual: the darkest)",
    },
)
_SHARE = Option(
    name="share",
    settings={
        "type": number_of(SHARE_FIELD),
        "default": USUAL_SHARE,
        "metavar": "PERCENT",
        "help": f"load unserved that the last size allows (usual: {USUAL_SHARE * 100:g})",
    },
)

QUESTIONS: Mapping[str, Question] = {
    "size": Question(
        says="how often the lights go out in made winters, for every size: the “winters” of /winters.json",
        options=(_BANK, _MONTH, _SHARE),
        answer=_size,
    ),
}
