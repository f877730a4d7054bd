"""A size of Winters tried on the full cell model: a block that asks again until it is done."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass
from hashlib import blake2b

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.confirming import Confirmed, Progress, confirming
from engine.answers.risks import risks
from engine.answers.winters import Fitted
from engine.answers.winters_limits import Limit, limits_of
from engine.balance.winters import whole_years
from engine.sky.averages import darkest_month
from engine.sky.spells import LEAST_YEARS
from webapp.forms import Field, Parsed, Values, parse
from webapp.jobs import Job, Jobs
from webapp.pages.winters import PAGE as WINTERS
from webapp.pages.winters import Question as Winters
from webapp.pages.winters import read_question as read_winters
from webapp.pages.winters import supply_asked
from webapp.questions import plain_query
from webapp.render import json_answer, json_errors, render
from webapp.winters_answer import fit_of
from webapp.winters_tables import risk_name
from webapp.words import counted

PATH = f"{WINTERS.path}/tried"
router = APIRouter()

TIMES = ("1", "1.5", "2", "3")
_MOST_YEARS = max(LEAST_YEARS.values())
PAGE_WAITS_S, JSON_WAITS_S = 8.0, 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The question as read: that of Winters, and which size of it is tried."""

    winters: Winters
    fields: tuple[Field, ...]
    form: Parsed[Values]


@router.get(PATH)
def page(request: Request) -> Response:
    """Show how far the trial is, or what it found; a page loaded by itself waits for it a while."""
    question = read_question(request)
    job = None if question.form.errors else _job(request, question)
    if job is not None and "HX-Request" not in request.headers:
        _jobs(request).wait(job, PAGE_WAITS_S)
    last = None if job is None else job.last
    confirmed = last if isinstance(last, Confirmed) else None
    return render(
        request,
        "tried.html",
        "tried",
        status=422 if job is None else 200,
        form=question.form,
        fields=question.fields,
        again=plain_query({**question.winters.typed, **question.form.raw}),
        kept={name: text for name, text in question.winters.typed.items() if name not in question.form.raw},
        refused="" if job is None else job.refused,
        progress=last if isinstance(last, Progress) else None,
        confirmed=confirmed,
        risk=None if confirmed is None else risk_name(confirmed.risk),
        times=question.form.raw.get("times"),
        limits=() if confirmed is None else _limits(question),
    )


@router.get(f"{PATH}.json")
def as_json(request: Request) -> Response:
    """Wait for the trial and answer it as JSON, unrounded."""
    question = read_question(request)
    if question.form.errors:
        return json_errors(question.form.errors)
    job = _job(request, question)
    _jobs(request).wait(job, JSON_WAITS_S)
    if job.refused:
        return json_errors({"household": job.refused})
    return json_answer(job.last, 200 if job.done else 202)


def read_question(request: Request) -> Question:
    """Read the question of Winters and the size of it; faults are in the form's errors.

    Only risks that these winters can tell may be chosen, the rarest of them that runs empty at all first.
    """
    winters = read_winters(request)
    years = _years(winters)
    allowed = risks(years, (winters.form.value or {}).get("share", 0.0))
    fields = (
        Field(
            name="risk",
            label="Runs empty",
            kind="choice",
            choices=tuple((one.id, risk_name(one).capitalize()) for one in allowed),
            default=allowed[1].id,
        ),
        Field(
            name="times",
            label="Panels",
            kind="choice",
            choices=tuple((text, "yours" if text == "1" else f"{text} times yours") for text in TIMES),
            default=TIMES[0],
        ),
    )
    form: Parsed[Values] = parse(fields, winters.typed, build=lambda values: values)
    errors = {**winters.form.errors, **form.errors}
    rarer = [one for one in risks(_MOST_YEARS, 0.0) if one.id == form.raw["risk"]]
    if "risk" in errors and rarer:
        errors["risk"] = (
            f"{counted(years, 'winter')} cannot tell {risk_name(rarer[0])}: choose a risk that is less rare."
        )
    return Question(winters=winters, fields=fields, form=form.refused(errors) if errors else form)


def _years(winters: Winters) -> int:
    """How many winters there are to try a size on; as many as any risk asks for where the question has none."""
    return _MOST_YEARS if winters.series is None else whole_years(winters.series, winters.house.site.latitude_deg)


def _jobs(request: Request) -> Jobs:
    jobs: Jobs = request.app.state.jobs
    return jobs


def _job(request: Request, question: Question) -> Job:
    return _jobs(request).ask(_key(question), _work(question))


def _key(question: Question) -> Hashable:
    """What makes two trials the same: not the name of a record but its days, which may be read anew."""
    asked, values, series = question.winters.form.value or {}, question.form.value or {}, question.winters.series
    assert series is not None
    days = blake2b(series.kc.tobytes()).digest(), series.first, series.basis
    return (question.winters.house, asked.get("bank"), days, asked["share"], values["risk"], values["times"])


def _work(question: Question) -> Callable[[], Iterator[object]]:
    def work() -> Iterator[object]:
        fit, values = _fit(question), question.form.value or {}
        risk = next(one for one in fit.allowed if one.id == values["risk"])
        yield from confirming(fit, risk, float(values["times"]))

    return work


def _fit(question: Question) -> Fitted:
    winters = question.winters
    assert winters.series is not None
    month = darkest_month(winters.house.site, winters.house.sun)
    return fit_of(winters.house, supply_asked(winters), winters.series, month, (winters.form.value or {})["share"])


def _limits(question: Question) -> tuple[Limit, ...]:
    fit = _fit(question)
    return limits_of(fit.supply, fit.hours, fit.found.power_w, float((question.form.value or {})["times"]))
