"""Household card: one page for the door of the fridge. What may be plugged in, what goes off first, whom to call."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.card import Card, CardSupply, card
from engine.balance.forcing import mean_day_hours
from engine.cells import catalogue
from engine.errors import InputError, Unreachable
from engine.fields import Quantity
from engine.house.bank import Bank
from engine.house.household import Household
from engine.quantities import WH_PER_KWH
from engine.sky.averages import average_day_kc
from engine.sky.days import Sky, extend, lengthened
from webapp.card_view import THINGS_SOURCE, card_view
from webapp.dull_days import chosen_spell, read_sky, spell_choices, usual_dull_days
from webapp.editing import local_now, opened
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.pages.size import WORDS
from webapp.pages.week import start_of
from webapp.questions import MONTH_CHOICES, Blocked, asked, bank_field, first_step, json_reply, plain_query, tried
from webapp.render import Page, render
from webapp.sheet_view import date_and_time, fingerprint
from webapp.words import MONTHS, in_sentence, listed

PAGE = Page("Check", "Household card", "/card", "May I plug this in? One page for the door")
router = APIRouter()

MOST_DAYS = 5
DAYS = Quantity(label="Dull days to ride", unit="days", low=1, high=MOST_DAYS, whole=True, hint=f"1 to {MOST_DAYS}")
USUAL_DAYS = 1
EASY = 2
"""More than this beside the table, in stops, and the card is set in smaller type to stay one page."""
LISTED_DAYS = 14
"""Days that are run, beyond those that are to be ridden: what is switched off then gains hours that can be told."""
MOST_STOPS = 2
"""Stops that are printed in full: the card is one page, the sheet has them all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The question as read; `at` is a midnight of local standard time."""

    house: Household
    fields: tuple[Field, ...]
    form: Parsed[Values]
    typed: Mapping[str, str]
    sky: Sky | None
    days: int
    bank_id: str
    at: datetime
    now: datetime


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the card."""
    question = read_question(request)
    errors = question.form.errors
    answer, blocked = (None, None) if errors else worked_out(question)
    saved, _ = opened(request)
    return render(
        request,
        "card.html",
        status=422 if errors else 200,
        fields=question.fields,
        form=question.form,
        query=plain_query(question.typed),
        made_text=date_and_time(question.now),
        fingerprint=fingerprint(saved.text),
        blocked=blocked,
        answer=answer,
        **({"others": ()} if answer is None else _shown(question.house, answer)),
    )


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Give the same card as JSON, unrounded."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: worked_out(question))


def read_question(request: Request) -> Question:
    """Read the query over the open household; faults are in the form's errors."""
    _, house = opened(request)
    now = local_now(request, house)
    typed = asked(request)
    in_month = Field(name="month", label="For", kind="choice", choices=MONTH_CHOICES, default=str(now.month))
    days_field = number_field("days", DAYS, default=USUAL_DAYS)
    values: Values = parse((days_field, in_month), typed, build=lambda found: found).value or {}
    month, days = int(values.get("month", now.month)), int(values.get("days", USUAL_DAYS))
    text = typed.get("spell") or usual_dull_days(house, month)
    choices = spell_choices(house.site, house.sun, text, WORDS)
    spell = Field(name="spell", label="Days like", kind="choice", choices=choices, default=text)
    fields = (days_field, spell, in_month, *bank_field(house.supplies()))
    form: Parsed[Values] = parse(fields, {**typed, "spell": text}, build=lambda found: found)
    errors = dict(form.errors)
    sky = tried(errors, "spell", lambda: _dull(text, house, month, days), None)
    return Question(
        house=house,
        fields=fields,
        form=form.refused(errors) if errors else form,
        typed=typed,
        sky=sky,
        days=days,
        bank_id=str((form.value or {}).get("bank", "")),
        at=start_of(str(month), now, now),
        now=now,
    )


def _dull(text: str, house: Household, month: int, days: int) -> Sky:
    """The dull days, as many as are to be ridden; after them average ones, or more of your own, to a fortnight."""
    asked = chosen_spell(text, house.site, house.sun, days)
    sky = read_sky(asked, house, month, LISTED_DAYS)
    if sky.listed_days >= days:
        return sky
    average_kc = average_day_kc(house.site, house.sun, month)
    return extend(lengthened(read_sky(asked, house, month), days), average_kc, LISTED_DAYS)


def worked_out(question: Question) -> tuple[Card | None, Blocked | None]:
    """Return the card, or why there is none."""
    assert question.sky is not None
    try:
        return card(question.house, question.at, question.days, question.sky, question.bank_id), None
    except (Unreachable, InputError) as fault:
        return None, first_step(question.house, str(fault))


def _shown(house: Household, answer: Card) -> dict[str, Any]:
    mine = next(one for one in house.supplies() if one.bank.id == answer.supply.bank_id)
    own = (answer.supply.inverter_name, *(bank.name for bank in mine.banks))
    stops = sorted(
        (notice for notice in answer.notices if notice.level == "stop"),
        key=lambda notice: not any(name in notice.text for name in own),
    )
    families = [catalogue.names().get(bank.cell.base_id, bank.cell.name) for bank in mine.banks]
    return {
        "ah_text": _ah_text(mine.banks),
        "kinds": listed(list(dict.fromkeys(families))),
        "month": MONTHS[answer.month - 1],
        "day_kwh": sum(float(part.sum()) for part in mean_day_hours(house, mine, answer.month)) / WH_PER_KWH,
        "view": card_view(answer, house.site),
        "others": [(one.bank.id, one.name) for one in house.supplies() if one.bank.id != answer.supply.bank_id],
        "things_source": THINGS_SOURCE,
        "stops": stops[:MOST_STOPS],
        "dense": _beside_the_table(answer.supply, len(stops[:MOST_STOPS])) > EASY,
        "more_stops": max(len(stops) - MOST_STOPS, 0),
    }


def _beside_the_table(one: CardSupply, stops: int) -> float:
    """How much stands beside the table, in stops."""
    return stops + bool(one.uncharged) + len(one.order) / 4 + (one.start is not None) * 3


def _ah_text(banks: Sequence[Bank]) -> str:
    """The ampere-hours that a monitor is set to, tested or the label’s: of each bank its own, which are never added."""
    if len(banks) == 1:
        return _its_ah(banks[0])
    return listed([f"{_its_ah(bank)} of {in_sentence(bank.name)}" for bank in banks])


def _its_ah(bank: Bank) -> str:
    told = f"{bank.ah:,.0f}\u00a0Ah"
    return f"the label’s {told} (nobody has tested them)" if bank.tested_ah is None else f"the tested {told}"
