"""What the pages share that go on from the question of the moment: /off, /run, /spares, /car and /cold.

Each takes Today's query with fields of its own, works on the days to come of one supply, and shows its short answer
inside Today.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Generic, TypeVar

from fastapi import Request
from starlette.responses import Response

from engine.answers.answer import Notice, gravest_first
from engine.answers.coming import Coming, coming
from engine.answers.notices import household_notices, running_notices
from engine.answers.notices_lead import frozen_now_notices
from engine.errors import Unreachable
from webapp.carried import FIRST, GOES_ON, TOLD
from webapp.dull_days import SEASON_NAME, spell_choices
from webapp.forms import Field, Parsed, Values
from webapp.now_question import AT, OFF, USUAL_SKY, typed_choice
from webapp.now_question import Question as Moment
from webapp.problems import problems
from webapp.questions import Blocked, first_step, plain_query, share_checks, tiles, to_civil, to_standard
from webapp.render import is_partial, render
from webapp.run_alone import ALONE
from webapp.standing import standing_notices

A = TypeVar("A")

KEPT = ("reserve", "skies", OFF, ALONE, TOLD, FIRST)
"""What of the question these pages pass on without asking for it, unless it is refused: names that begin so."""
UNTIL, UNTIL_LABEL, UNTIL_SAID = "until", "To last until", "The moment to last until"


@dataclass(frozen=True, slots=True, kw_only=True)
class Question(Generic[A]):
    """Today's question, the days found for it, the supply that is asked about and what was worked out of it."""

    now: Moment
    fields: tuple[Field, ...]
    form: Parsed[Values]
    first: date | None
    found: tuple[Coming, ...]
    one: Coming | None
    answer: A | None
    blocked: Blocked | None


def days_to_come(base: Moment) -> tuple[date | None, tuple[Coming, ...], Blocked | None]:
    """Return the first day and the days to come of every supply, or why there are none."""
    if base.form.errors or base.sky is None:
        return None, (), None
    try:
        return *coming(base.house, base.charges, base.sky, to_standard(base.house.site, base.moment)), None
    except Unreachable as fault:
        return None, (), first_step(base.house, str(fault))


def merged(base: Moment, form: Parsed[Values], errors: dict[str, str]) -> Parsed[Values]:
    """Return the form of a page together with Today's, and the faults of both."""
    return Parsed(raw={**base.form.raw, **form.raw}, value=None if errors else form.value, errors=errors)


def until_field(base: Moment, usual: datetime) -> Field:
    """Ask for the moment that the bank is to last to; `usual` is in local standard time."""
    until = to_civil(base.house.site, usual)
    text = f"{until.day} {until:%b %Y %H:%M}"
    return Field(name=UNTIL, label=UNTIL_LABEL, kind="text", default=text, hint=f"Sunday 8:00, or like {text}")


def asking(
    request: Request, base: Moment, form: Parsed[Values], fields: Iterable[Field], own: tuple[str, ...] = ()
) -> dict[str, Any]:
    """Return what the form of such a page takes.

    Parameters
    ----------
    fields : iterable of Field
        The page's own.
    own : tuple of str
        Beginnings of their names, to be passed on where a fault elsewhere leaves no field for them.
    """
    errors, typed = form.errors, base.typed
    refused = {name for name in errors if name.startswith(KEPT)}
    charges = [one for one in base.fields if one.name.startswith("charge") or one.name in refused]
    passed_on = (*KEPT, *own, "bank") if errors else KEPT
    asked_for = {one.name for one in (*charges, *fields)} | refused
    house, sky = base.house, base.sky_text
    choices = ((USUAL_SKY, SEASON_NAME), *typed_choice(base))
    return {
        "form": form,
        "charges": charges,
        "at": AT,
        "more_open": not base.guessed or "at" in errors or "sky" in errors,
        "kept": {name: text for name, text in typed.items() if name.startswith(passed_on) and name not in asked_for},
        "within": bool(request.query_params.get("within")),
        "own_query": plain_query({name: text for name, text in typed.items() if name != "within"}),
        "query": plain_query(typed),
        "sky_choices": spell_choices(house.site, house.sun, sky, choices),
        "sky_chosen": sky,
    }


def answered(
    request: Request, template: str, question: Question[A], shown: dict[str, Any], own: tuple[str, ...] = ()
) -> Response:
    """Show a page with its question and answer, or only what to mend.

    Parameters
    ----------
    shown : dict
        What the template takes beside `asking`.
    """
    errors = question.form.errors
    if errors and is_partial(request):
        return problems(request, errors, question.fields)
    asked = asking(request, question.now, question.form, question.fields, own)
    answer = {"blocked": question.blocked, "answer": question.answer}
    days = {} if question.answer is None else _days_shown(question)
    return render(request, template, "answer", status=422 if errors else 200, **(asked | answer | days | shown))


def on_query(base: Moment) -> str:
    """Return the query that goes on to other pages."""
    return plain_query(going_on(base))


def going_on(base: Moment) -> dict[str, str]:
    """Return what of the question goes on to other pages."""
    return {name: text for name, text in base.typed.items() if name.startswith(GOES_ON)}


def notices_of(
    base: Moment, month: int, own: Sequence[Notice], asked: Question[A] | None = None, *, idle_too: bool = False
) -> tuple[Notice, ...]:
    """Return everything to mind about an answer, what is grave first.

    Parameters
    ----------
    asked : Question, optional
        Where the fields of the page are shares too.
    idle_too : bool
        Whether banks that are joined to nothing are what the page is about.
    """
    fields, form = (base.fields, base.form) if asked is None else ((*base.fields, *asked.fields), asked.form)
    found = household_notices(base.house, month) if idle_too else running_notices(base.house, month)
    frozen = frozen_now_notices(base.house, base.charges)
    return gravest_first((*share_checks(fields, form), *standing_notices(base.house), *own, *frozen, *found))


def _days_shown(question: Question[A]) -> dict[str, Any]:
    """What the days are called, and the strip of those that were listed."""
    first, sky = question.first, question.now.sky
    assert first is not None
    assert sky is not None
    listed = range(sky.listed_days)
    days = tuple((date.fromordinal(first.toordinal() + n), sky.labels[n], float(sky.kc[n])) for n in listed)
    return {"tiles": tiles(days), "sky_title": sky.title}
