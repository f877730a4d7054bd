"""Learn: what the household's own log teaches, number by number, and the way of each into the household."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.learning import Learning, Lesson, learn
from engine.errors import InputError, Unreachable
from engine.house.household import Household
from engine.meter.log import MeterLog
from engine.sky.series import KcSeries
from webapp import meter_store, records_reading, sky_store
from webapp.editing import Sent, Typed, opened, save, store_of
from webapp.forms import Field, Parsed, Values, parse
from webapp.learn_view import learn_view, taken_out, used
from webapp.pages.log import PAGE as LOG
from webapp.pages.log import made_up
from webapp.questions import asked
from webapp.render import json_answer, json_errors, render
from webapp.store import Document

PATH = f"{LOG.path}/learn"
router = APIRouter()


@router.get(PATH)
def page(request: Request) -> Response:
    """Show what the log of the open household teaches."""
    return _show(request, asked(request))


@router.get(f"{PATH}.json")
def as_json(request: Request) -> Response:
    """Give what the log teaches as JSON, unrounded."""
    _, house = opened(request)
    form = _form(house, asked(request))
    if form.errors:
        return json_errors(form.errors)
    found, why = _learnt(request, house, form)
    return json_answer(found) if found is not None else json_errors({"log": why})


@router.post(f"{PATH}/use")
def use(request: Request, sent: Sent) -> Response:
    """Write a number that the log taught into the household; undo brings back what stood there."""
    return _change(request, sent, used, "used")


@router.post(f"{PATH}/out")
def out(request: Request, sent: Sent) -> Response:
    """Empty the fields that a number of the log set; undo brings it back."""
    return _change(request, sent, taken_out, "taken out")


def _change(
    request: Request, sent: Typed, changed: Callable[[Document, Household, Lesson], Document], done: str
) -> Response:
    _, house = opened(request)
    form = _form(house, sent)
    found, _ = (None, "") if form.errors else _learnt(request, house, form)
    lesson = None if found is None else found.lesson(sent.get("lesson", ""))

    def change(document: Document) -> Document:
        if lesson is None or not lesson.changes:
            raise InputError("", "The log does not teach this any more; it may have other rows now.")
        return changed(document, house, lesson)

    query = urlencode({**_query(form), **({"used": lesson.id} if lesson is not None and done == "used" else {})})
    return save(
        request,
        sent,
        change,
        f"{lesson.title if lesson else ''} {done}, of the log",
        f"{PATH}{'?' if query else ''}{query}{f'#learnt-{lesson.id}' if lesson else ''}",
        lambda errors, status: _show(request, sent, {"": " ".join(errors.values())}, status),
    )


def _show(request: Request, typed: Typed, errors: dict[str, str] | None = None, status: int = 200) -> Response:
    _, house = opened(request)
    form = _form(house, typed)
    found, why = (None, "") if form.errors else _learnt(request, house, form)
    view = None if found is None else learn_view(found, house)
    return render(
        request,
        "log_learn.html",
        status=422 if form.errors and status == 200 else status,
        here=LOG.path,
        address=PATH,
        form=form,
        fields=_fields(house),
        query=_query(form),
        made_up=made_up(request),
        summer_time=house.site.summer_time,
        view=view,
        why=why,
        used=next((card for card in view.cards if card.held and card.id == typed.get("used")), None) if view else None,
        errors={**form.errors, **(errors or {})},
    )


def _fields(house: Household) -> tuple[Field, ...]:
    """Which inverter the log is of, where there are several."""
    choices = tuple((supply.inverter.id, supply.inverter.name) for supply in house.supplies())
    if len(choices) < 2:
        return ()
    return (Field(name="inverter", label="The log is of", kind="choice", choices=choices, default=choices[0][0]),)


def _form(house: Household, typed: Typed) -> Parsed[Values]:
    return parse(_fields(house), typed, build=lambda values: values)


def _query(form: Parsed[Values]) -> dict[str, str]:
    return {name: text for name, text in (form.value or {}).items() if text}


def _learnt(request: Request, house: Household, form: Parsed[Values]) -> tuple[Learning | None, str]:
    """What the log teaches, or why nothing."""
    saved, _ = opened(request)
    log = meter_store.whole(store_of(request), saved.household_id).log
    if not log.rows:
        return None, "The log has no rows yet: bring a file of your meter on Log."
    try:
        inverter = (form.value or {}).get("inverter", "")
        return _remembered(house, log, inverter, _sky(request, saved.household_id, house)), ""
    except Unreachable as fault:
        return None, str(fault)


@lru_cache(maxsize=2)
def _remembered(house: Household, log: MeterLog, inverter: str, kc: KcSeries | None) -> Learning:
    """What a log teaches, kept for the version that is looked at and the one before it."""
    return learn(house, log, inverter=inverter, kc=kc)


def _sky(request: Request, household_id: int, house: Household) -> KcSeries | None:
    """The days of the first sun record that tells them, by which panels and weather are told apart."""
    store = store_of(request)
    for kept in sky_store.accepted(store, household_id):
        try:
            found = records_reading.report(store, kept, house)
        except InputError:
            continue
        if found.kc is not None and found.series.quantity == "radiation":
            return found.kc
    return None
