"""Why it went dark: the night run again under each cause, ranked, and the measurement that would decide."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import gravest_first, supplies_of
from engine.answers.dark import Dark, dark
from engine.answers.dark_seen import Seen
from engine.answers.dark_volts import check_volts
from engine.errors import Unreachable
from engine.house.household import Household, Supply
from webapp.dark_form import asked_from, dark_fields, nothing_asked, seen_of
from webapp.dark_view import dark_view, on_the_clock
from webapp.editing import local_now, opened
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, parse
from webapp.inputs import inputs_used
from webapp.problems import problems
from webapp.questions import Blocked, asked, first_step, json_reply, plain_query, share_checks, to_standard
from webapp.render import Page, is_partial, render

PAGE = Page("Check", "Why it went dark", "/dark", "Why did it go dark with charge still shown?")
router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The question as read: its fields, those that help folded, and the supply; `answer` where all is typed."""

    house: Household
    now: datetime
    fields: tuple[Field, ...]
    more: tuple[Field, ...]
    form: Parsed[Seen]
    typed: Mapping[str, str]
    supply: Supply | None
    answer: Dark | None
    blocked: Blocked | None


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer, or what to type where nothing was asked yet."""
    question = read_question(request)
    errors = question.form.errors
    if errors and is_partial(request):
        return problems(request, errors, (*question.fields, *question.more))
    more_named = [one.name for one in question.more]
    return render(
        request,
        "dark.html",
        "answer",
        status=422 if errors else 200,
        fields=question.fields,
        more=question.more,
        more_open=any(name in errors or question.typed.get(name, "").strip() for name in more_named),
        form=question.form,
        blocked=question.blocked,
        answer=question.answer,
        example=_example(question),
        asked=plain_query(question.typed),
        **_shown(question),
    )


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded, with its moments on the household's clock."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: (question.answer, question.blocked or _nothing(question)))


def read_question(request: Request) -> Question:
    """Read the query over the open household; faults are in the form's errors."""
    _, house = opened(request)
    now = local_now(request, house).replace(second=0, microsecond=0)
    typed = asked(request)
    try:
        supplies = supplies_of(house)
    except Unreachable as fault:
        nothing: Parsed[Seen] = Parsed(raw={})
        return Question(
            house=house,
            now=now,
            fields=(),
            more=(),
            form=nothing,
            typed=typed,
            supply=None,
            answer=None,
            blocked=first_step(house, str(fault)),
        )
    return _over(house, supplies, typed, now)


def _over(house: Household, supplies: tuple[Supply, ...], typed: Mapping[str, str], now: datetime) -> Question:
    bank_id = typed.get("bank", "")
    fields, more = dark_fields(supplies, bank_id, now)
    supply = next((one for one in supplies if one.bank.id == bank_id), supplies[0])

    def seen(values: Values) -> Seen:
        found = seen_of(values, house.site, now)
        check_volts(supply.bank, supply.inverter, found)
        return found

    if nothing_asked(typed):
        raw = {one.name: typed.get(one.name, one.default) for one in (*fields, *more)}
        form: Parsed[Seen] = Parsed(raw=raw)
    else:
        form = parse((*fields, *more), typed, build=seen)
    answer, blocked = None, None
    if form.value is not None:
        try:
            answer = on_the_clock(dark(house, supply, form.value), house.site)
        except Unreachable as fault:
            blocked = Blocked(sentence=str(fault), path="/banks", label="Look over the banks")
    return Question(
        house=house,
        now=now,
        fields=fields,
        more=more,
        form=form,
        typed=typed,
        supply=supply,
        answer=answer,
        blocked=blocked,
    )


def _nothing(question: Question) -> Blocked | None:
    """What JSON says where nothing was asked."""
    if question.answer is not None or question.supply is None:
        return None
    sentence = "Nothing was asked: say when it went dark (at), the charge then (soc, %) and the load (load_w)."
    return Blocked(sentence=sentence, path=PAGE.path, label="Ask")


def _example(question: Question) -> str:
    """The query of a night made up for the bank asked about: last night at 23:40, at 25 % with a kettle on."""
    supply = question.supply
    if supply is None:
        return ""
    at = (question.now - timedelta(days=1)).replace(hour=23, minute=40)
    seen = Seen(
        at=to_standard(question.house.site, at),
        soc=0.25,
        load_w=round(min(3000.0, 0.8 * supply.inverter.rated_w)),
        cell_c=supply.bank.cell_c,
        evening_at=to_standard(question.house.site, at.replace(hour=18, minute=0)),
        evening_soc=0.4,
        full_at=to_standard(question.house.site, (at - timedelta(days=5)).replace(hour=14, minute=0)),
    )
    return plain_query(asked_from(seen, question.house.site, question.typed.get("bank", "")))


def _shown(question: Question) -> dict[str, Any]:
    answer, supply = question.answer, question.supply
    if answer is None or supply is None:
        return {}
    cell = supply.bank.cell
    shares = share_checks((*question.fields, *question.more), question.form)
    kind = "lithium" if cell.needs_board else "hydrogen"
    return {
        "view": dark_view(answer, question.house.site),
        "notices": gravest_first((*answer.notices, *shares)),
        "proof": [("", lines(answer.worked))],
        "inputs": inputs_used(question.house, (supply,), answer.seen.at.month),
        "cautions": ("mains", "dc", kind, "fire", "check"),
    }
