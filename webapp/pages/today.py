"""Today: how long have I got, from the charge now and the days as you see them coming."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.autonomy import Autonomy, autonomy
from engine.errors import Unreachable
from engine.fields import Quantity, quantities
from engine.house.bank import Bank
from engine.house.household import Household, Supply
from engine.sky.days import WORDS, Sky, guessed
from webapp.autonomy_view import BankView, bank_views, on_the_clock
from webapp.dull_days import month_notice, read_sky, spell_choices
from webapp.editing import local_now, opened
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.inputs import inputs_used
from webapp.questions import (
    DAY_BY_DAY,
    Blocked,
    Tile,
    asked,
    first_step,
    json_reply,
    no_loads_note,
    plain_query,
    read_moment,
    share_checks,
    strangers,
    tiles,
    to_standard,
    tried,
)
from webapp.render import Page, is_partial, problems, render
from webapp.standing import standing_notices
from webapp.words import long_date

PAGE = Page("Ask", "Today", "/today")
router = APIRouter()

DAYS = 10
"""Days the answer looks ahead, more where a longer spell is chosen."""
USUAL_SKY = "dark,dark,dull,dull,bright"
"""The guess that a page opened without days begins with; a form sends it back with every figure that is typed."""
CHARGE = Quantity(label="Charge now", unit="%", low=0.0, high=1.0, percent=True, hint="As the bank monitor shows it")
RESERVE = dataclasses.replace(quantities(Bank)["reserve_soc"], hint="For this answer only")
DAY_BY_DAY_CHOICE = (DAY_BY_DAY, "Day by day, as chosen here")
AT = Field(name="at", label="From", kind="text", default="now", optional=True, hint="now, or like 2026‑11‑25 18:00")


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The question as read."""

    house: Household
    supplies: tuple[Supply, ...]
    now: datetime
    moment: datetime
    fields: tuple[Field, ...]
    form: Parsed[Values]
    typed: Mapping[str, str]
    sky_text: str
    sky: Sky | None
    charges: Mapping[str, float]

    @property
    def guessed(self) -> bool:
        """Whether the days are still the guess that the page began with."""
        return self.sky_text == USUAL_SKY


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer."""
    question = read_question(request)
    errors = question.form.errors
    if errors and is_partial(request):
        return problems(errors)
    answer, blocked = (None, None) if errors else worked_out(question)
    return render(
        request,
        PAGE.path[1:] + ".html",
        "answer",
        status=422 if errors else 200,
        form=question.form,
        fields=question.fields,
        query=plain_query(question.typed),
        partial=is_partial(request),
        sky_choices=spell_choices(
            question.house.site, question.house.sun, _chosen(question.sky_text), (DAY_BY_DAY_CHOICE,)
        ),
        sky_chosen=_chosen(question.sky_text),
        sky_days=_form_days(question, answer),
        blocked=blocked,
        answer=answer,
        **({} if answer is None else _shown(question, answer)),
    )


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded, with times on the household's clock."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: worked_out(question))


def read_question(request: Request, typed: Mapping[str, str] | None = None) -> Question:
    """Read the query, or what another page took of it, over the open household; faults are in the form's errors."""
    _, house = opened(request)
    now = local_now(request, house)
    typed = asked(request) if typed is None else typed
    supplies = house.supplies()
    fields = (*_bank_fields(supplies), AT)
    form: Parsed[Values] = parse(fields, typed, build=lambda values: values)
    errors = {**form.errors, **strangers(typed, list(form.raw))}
    moment = tried(errors, "at", lambda: read_moment(form.raw["at"], now), now)
    sky_text = typed.get("sky", USUAL_SKY)
    month = to_standard(house.site, moment).month
    sky = tried(errors, "sky", lambda: read_sky(sky_text, house, month, DAYS), None)
    sky = guessed(sky) if sky is not None and sky_text == USUAL_SKY else sky
    values = form.value or {}
    house = _with_reserves(house, supplies, values, form.raw, errors)
    return Question(
        house=house,
        supplies=house.supplies(),
        now=now,
        moment=moment,
        fields=fields,
        form=form.refused(errors) if errors else form,
        typed=typed,
        sky_text=sky_text,
        sky=sky,
        charges={s.bank.id: values[n] for n, s in _named("charge", supplies) if n in typed and n in values},
    )


def worked_out(question: Question) -> tuple[Autonomy | None, Blocked | None]:
    """Return the answer on the household's clock, or why there is none."""
    assert question.sky is not None
    at = to_standard(question.house.site, question.moment)
    try:
        answer = autonomy(question.house, question.charges, question.sky, at)
    except Unreachable as fault:
        return None, first_step(question.house, str(fault))
    return on_the_clock(answer, question.house.site), None


def _named(name: str, supplies: tuple[Supply, ...]) -> list[tuple[str, Supply]]:
    """The supplies with the name of their field: plain for the first, with the bank's id for the others."""
    return [(f"{name}_{supply.bank.id}" if place else name, supply) for place, supply in enumerate(supplies)]


def _bank_fields(supplies: tuple[Supply, ...]) -> tuple[Field, ...]:
    fields = []
    for (charge, supply), (reserve, _) in zip(_named("charge", supplies), _named("reserve", supplies), strict=True):
        bank = supply.bank
        several = len(supplies) > 1
        meaning = dataclasses.replace(CHARGE, label=f"Charge of {bank.name}" if several else CHARGE.label)
        fields.append(number_field(charge, meaning, default=round(bank.top_reached_soc, 3)))
        by_volts = bank.reserve_v is not None
        kept = dataclasses.replace(RESERVE, label=f"Reserve of {bank.name}" if several else RESERVE.label)
        fields.append(
            number_field(
                reserve,
                kept,
                default=None if by_volts else bank.reserve_soc,
                optional=by_volts,
                hint=f"Empty: {bank.reserve_v:g} V per cell, as set" if by_volts else "",
            )
        )
    return tuple(fields)


def _with_reserves(
    house: Household, supplies: tuple[Supply, ...], values: Values, raw: Mapping[str, str], errors: dict[str, str]
) -> Household:
    """The household with the reserves typed for this answer; one left as it is stays as it is set."""
    changed: dict[str, Bank] = {}
    defaults = {one.name: one.default for one in _bank_fields(supplies)}
    for name, supply in _named("reserve", supplies):
        kept, bank = values.get(name), supply.bank
        if kept is not None and raw[name].strip() != defaults[name]:
            changed[bank.id] = tried(
                errors, name, partial(dataclasses.replace, bank, reserve_soc=kept, reserve_v=None), bank
            )
    return dataclasses.replace(house, banks=tuple(changed.get(bank.id, bank) for bank in house.banks))


def _words(text: str) -> list[str] | None:
    """The words of a sky said in words; None of any other."""
    words = text.split(",")
    return words if set(words) <= set(WORDS) else None


def _chosen(text: str) -> str:
    return text if _words(text) is None else DAY_BY_DAY


def _form_days(question: Question, answer: Autonomy | None) -> list[tuple[str, str]]:
    """Name and word of each day of the form's strip; a day beyond the list is an average one."""
    usual = USUAL_SKY.split(",")
    words = _words(question.sky_text) or usual
    words += [""] * (len(usual) - len(words))
    first = answer.sky_days[0][0] if answer is not None else question.moment.date()
    return [(long_date(first.fromordinal(first.toordinal() + n)), word) for n, word in enumerate(words)]


def _for_the_sheet(question: Question) -> dict[str, str]:
    """What was typed of the question, by the names that the sheet has for it: the same ones."""
    names = [*(field.name for field in question.fields), "sky"]
    return {name: question.typed[name] for name in names if name in question.typed}


def _shown(question: Question, answer: Autonomy) -> dict[str, Any]:
    assert question.sky is not None
    month = answer.at.month
    lacking = (
        *standing_notices(question.house),
        *no_loads_note(question.supplies),
        *month_notice(question.house.site, question.sky, month, remedy=False),
    )
    notices = (*share_checks(question.fields, question.form), *lacking, *answer.notices)
    views: tuple[BankView, ...] = bank_views(question.house, question.supplies, answer, question.guessed, question.sky)
    strip: tuple[Tile, ...] = tiles(answer.sky_days)
    return {
        "views": views,
        "soonest": next(view for view in views if view.bank.bank_id == answer.bank_id),
        "tiles": strip,
        "sky_caption": answer.sky_title,
        "notices": notices,
        "proof": [(view.bank.name if len(views) > 1 else "", lines(view.bank.worked)) for view in views],
        "inputs": inputs_used(question.house, question.supplies, month),
        "sheet_query": plain_query(_for_the_sheet(question)),
    }
