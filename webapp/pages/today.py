"""Today: how long have I got, from the charge now and the days as you see them coming."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.background import BackgroundTask
from starlette.responses import Response

from engine.answers.answer import Notice
from engine.answers.autonomy import Autonomy, autonomy
from engine.answers.cold_bank import cold_matters
from engine.answers.spares import unjoined
from engine.errors import Unreachable
from engine.house.charge_scales import FLAT_SOC
from engine.house.household import Household
from engine.house.loads import daily_kwh
from webapp.applied import APPLIED
from webapp.autonomy_view import BankView, bank_views, on_the_clock
from webapp.autonomy_words import OVER_BUS_SOC, apart_sentence, flat_sentence, over_bus_sentence, weakest_sentence
from webapp.carried import FIRST, TOLD
from webapp.cold_line import lines_now
from webapp.dull_days import month_notice, spell_choices
from webapp.facts import lines
from webapp.forms import Field
from webapp.inputs import inputs_used
from webapp.now_question import (
    DAY_BY_DAY_CHOICE,
    KWH_CHOICE,
    Question,
    form_days,
    kwh_text,
    read_question,
    sky_chosen,
)
from webapp.problems import problems
from webapp.promise_notes import Keeping, factors_of, keep_quietly, keeping, wide_lines
from webapp.questions import (
    Blocked,
    Tile,
    first_step,
    json_reply,
    no_loads_note,
    plain_query,
    share_checks,
    tiles,
    to_standard,
)
from webapp.render import Page, is_partial, render
from webapp.standing import standing_notices
from webapp.sun_view import kinds_of_day

PAGE = Page("Ask", "Today", "/today", "How long have I got, and what ends it?")
router = APIRouter()


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer."""
    question = read_question(request)
    errors = question.form.errors
    if errors and is_partial(request):
        return problems(request, errors, question.fields)
    answer, blocked = (None, None) if errors else worked_out(question, factors_of(request))
    kept = Keeping() if answer is None else keeping(request, question, answer)
    response = render(
        request,
        "today.html",
        "answer",
        status=422 if errors else 200,
        form=question.form,
        charges=_paired(question.fields),
        others=[one for one in question.fields if not one.name.startswith("charge")],
        query=plain_query(question.typed),
        applied=request.query_params.get(APPLIED, ""),
        told=question.typed.get(TOLD, ""),
        sky_choices=spell_choices(
            question.house.site,
            question.house.sun,
            sky_chosen(question.sky_text),
            (DAY_BY_DAY_CHOICE, *((KWH_CHOICE,) if question.house.sun.arrays else ())),
        ),
        sky_chosen=sky_chosen(question.sky_text),
        kwh_text=kwh_text(question.sky_text),
        first=question.first.isoformat(),
        sky_days=form_days(question),
        blocked=blocked,
        answer=answer,
        keeping=kept,
        wide={} if answer is None else wide_lines(request, answer),
        **({} if answer is None else _shown(question, answer, [one.path for one in request.app.state.nav])),
    )
    if kept.state == "kept":
        response.background = BackgroundTask(keep_quietly, request, kept.notes)
    return response


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded, with times on the household's clock."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: worked_out(question, factors_of(request)))


def worked_out(question: Question, factors: Mapping[str, float]) -> tuple[Autonomy | None, Blocked | None]:
    """Return the answer on the household's clock, or why there is none.

    Parameters
    ----------
    factors : mapping of str to float
        How many times as wide as the model's own each bank's range is to be, by bank id.
    """
    assert question.sky is not None
    at = to_standard(question.house.site, question.moment)
    try:
        answer = autonomy(
            question.house,
            question.charges,
            question.sky,
            at,
            off=[load for load in question.whole.loads if load.id in question.off],
            spans=question.spans,
            factors=factors,
        )
    except Unreachable as fault:
        return None, first_step(question.house, str(fault))
    return on_the_clock(answer, question.house.site), None


def _for_the_sheet(question: Question) -> dict[str, str]:
    """What was typed of the question, by the names that the sheet has for it: the same ones."""
    names = [*(field.name for field in question.fields), "sky", FIRST, "off"]
    return {name: question.typed[name] for name in names if name in question.typed}


def _paired(fields: tuple[Field, ...]) -> list[tuple[Field, Field]]:
    """Each charge with the field that says on which scale it was read."""
    charged = [one for one in fields if one.name.startswith("charge")]
    return list(zip(charged[::2], charged[1::2], strict=True))


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A part of another page inside this answer; `text` is what its link says until it is there."""

    name: str
    path: str
    text: str


def _blocks(house: Household, month: int, paths: Sequence[str]) -> tuple[Block, ...]:
    """The pages that go on from this answer, as far as they concern this household and are there."""
    car = any(load.kind == "car" and daily_kwh(load, month, house.south) for load in house.loads)
    wanted = (
        (Block(name="off", path="/off", text="What to switch off to last until a time you choose"), bool(house.loads)),
        (Block(name="run", path="/run", text="When to run the generator, and how long"), bool(house.generators)),
        (Block(name="spares", path="/spares", text="Which spare bank to charge from, and when"), bool(unjoined(house))),
        (Block(name="car", path="/car", text="Whether the car may charge now"), car),
        (Block(name="cold", path="/cold", text="What cold cells refuse and give"), cold_matters(house, month)),
    )
    return tuple(block for block, yes in wanted if yes and block.path in paths)


def _flat(answer: Autonomy) -> tuple[Notice, ...]:
    """A check for every charge that rested volts leave open."""
    charged = [one for bank in answer.banks for one in bank.charges]
    return tuple(
        Notice(level="check", code="volts-flat", text=flat_sentence(one))
        for one in charged
        if one.high_soc - one.low_soc > FLAT_SOC
    )


def _on_one_bus(question: Question, answer: Autonomy) -> tuple[Notice, ...]:
    """What was typed of banks on one bus that cannot be: a charge above what the bus fills to, volts far apart."""
    found = []
    for supply, bank in zip(question.house.supplies(), answer.banks, strict=True):
        if not supply.beside:
            continue
        for one, part in zip(bank.charges, bank.parts, strict=True):
            if one.bank_id in question.told and one.soc > part.top_soc + OVER_BUS_SOC:
                found.append(Notice(level="check", code="charge-over-bus", text=over_bus_sentence(one, part.top_soc)))
        if (said := apart_sentence(bank.charges, supply)) and question.told:
            found.append(Notice(level="stop", code="bus-volts-apart", text=said))
    return tuple(found)


def _in_the_order_of_all_on(question: Question, views: tuple[BankView, ...]) -> tuple[BankView, ...]:
    """The views with their changes in the order in which they stand with everything on, so that a tick moves no row."""
    on, _ = worked_out(dataclasses.replace(question, house=question.whole, off=()), {})
    places = {} if on is None else {lever.name: n for bank in on.banks for n, lever in enumerate(bank.levers)}
    return tuple(
        dataclasses.replace(view, levers=tuple(sorted(view.levers, key=lambda one: places.get(one.name, len(places)))))
        for view in views
    )


def _shown(question: Question, answer: Autonomy, paths: Sequence[str]) -> dict[str, Any]:
    assert question.sky is not None
    month = answer.at.month
    lacking = (
        *standing_notices(question.house),
        *no_loads_note(question.supplies),
        *month_notice(question.house.site, question.sky, month, remedy=False),
    )
    notices = (
        *share_checks(question.fields, question.form),
        *_flat(answer),
        *_on_one_bus(question, answer),
        *lacking,
        *answer.notices,
    )
    views: tuple[BankView, ...] = bank_views(question.house, question.supplies, answer, question.guessed, question.sky)
    if question.off:
        views = _in_the_order_of_all_on(question, views)
    strip: tuple[Tile, ...] = tiles(answer.sky_days)
    return {
        "views": views,
        "weakest": weakest_sentence(answer),
        "cold": lines_now(question, plain_query(question.typed)),
        "blocks": _blocks(question.whole, month, paths),
        "soonest": next(view for view in views if view.bank.bank_id == answer.bank_id),
        "tiles": strip,
        "sky_caption": answer.sky_title,
        "kinds_of_day": kinds_of_day(question.house, month),
        "notices": notices,
        "proof": [(view.bank.name if len(views) > 1 else "", lines(view.bank.worked)) for view in views],
        "inputs": inputs_used(question.house, question.supplies, month),
        "sheet_query": plain_query(_for_the_sheet(question)),
    }
