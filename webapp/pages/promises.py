"""Promise book: what Today answered, what came of it, and whether the range is as wide as it has to be."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from engine.answers.promise_book import (
    CLAIM_SHARE,
    LEAST_SCORED,
    MOST_WIDE,
    NEWEST,
    SURE_SHARE,
)
from engine.answers.promises import BEST_H, FIRST_H, LAST_H, READ_SOC
from engine.errors import InputError
from engine.fields import Quantity
from webapp import promise_store
from webapp.downloads import csv_text, file_response
from webapp.editing import ABOUT, Sent, Typed, local_now, meant, opened, store_of
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.now_question import read_question
from webapp.numbers import whole
from webapp.pages.today import worked_out
from webapp.promise_log import score_by_log, waiting
from webapp.promise_notes import notes_of
from webapp.promise_store import KEEP, MOST_KEPT, OUT, WIDEN, Kept
from webapp.promise_view import CSV_HEADER, as_data, book, csv_rows, label_of
from webapp.questions import read_moment
from webapp.readings import with_readings
from webapp.render import Page, json_answer, mark_of, render
from webapp.store import Saved

PAGE = Page("Check", "Promise book", "/promises", "How often was Today right?")
router = APIRouter()

MOST_CHOICES = 50
"""Answers that may be chosen to say what came of them, the newest beside the one that was clicked (choice)."""
AGAIN = "again"
CAME = (
    ("charge", "The monitor showed a charge"),
    ("ended", "It reached its reserve, or went off"),
    ("lasted", "It had not reached its reserve yet"),
    (OUT, "Leave it out: something else happened"),
    (AGAIN, "Forget what is entered of it"),
)
SHOWED = Quantity(label="Charge it showed", unit="%", low=0.0, high=1.0, percent=True)


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the book; `of` names an answer to say what came of."""
    fields, kept = _fields(request, whole(request.query_params.get("of", "")))
    return _show(request, Parsed(raw={one.name: one.default for one in fields}), fields, kept)


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Give the whole book as JSON, unrounded, with times on the household's clock."""
    saved, _ = opened(request)
    store, household_id = store_of(request), saved.household_id
    kept, found = promise_store.answers(store, household_id), promise_store.calibrations(store, household_id)
    return json_answer(as_data(kept, found, _zone(request)))


@router.get(f"{PAGE.path}.csv")
def as_csv(request: Request) -> Response:
    """Give the whole book as a table for a spreadsheet, with times on the household's clock."""
    kept = promise_store.answers(store_of(request), opened(request)[0].household_id)
    return file_response(csv_text(CSV_HEADER, csv_rows(kept, _zone(request))), "promise book.csv", "text/csv")


@router.post(f"{PAGE.path}/keep")
def keep(request: Request, sent: Sent) -> Response:
    """Keep the answer to a question of Today, worked out anew as it was asked."""
    saved = meant(request, sent.get("household", ""))
    typed = {name: text for name, text in sent.items() if name not in ABOUT}
    question = read_question(request, with_readings(typed))
    if question.form.errors:
        raise InputError("", " ".join(question.form.errors.values()))
    answer, blocked = worked_out(question, promise_store.factors(store_of(request), saved.household_id))
    if answer is None:
        raise InputError("", blocked.sentence if blocked else "There is no answer to keep.")
    notes = notes_of(question, answer, mark_of(saved))
    if not notes:
        raise InputError("", "Only an answer for about now is kept, from a charge that was read: type it on Today.")
    promise_store.keep(store_of(request), saved.household_id, notes, anew=True)
    return RedirectResponse(f"{PAGE.path}#answers", HTTPStatus.SEE_OTHER)


@router.post(f"{PAGE.path}/came")
def came(request: Request, sent: Sent) -> Response:
    """Take what came of an answer."""
    saved = meant(request, sent.get("household", ""))
    fields, kept = _fields(request, whole(sent.get("answer", "")))
    form: Parsed[Values] = parse(fields, sent, build=lambda values: values)
    if form.value is not None:
        try:
            _take(request, saved, form.value)
        except InputError as fault:
            form = form.refused({fault.field: fault.message})
    if form.errors:
        return _show(request, form, fields, kept, HTTPStatus.UNPROCESSABLE_ENTITY)
    return RedirectResponse(f"{PAGE.path}#answers", HTTPStatus.SEE_OTHER)


@router.post(f"{PAGE.path}/delete")
def delete(request: Request, sent: Sent) -> Response:
    """Delete an answer, or all of them where none is named; they can be brought back."""
    saved = meant(request, sent.get("household", ""))
    promise_store.delete(store_of(request), saved.household_id, _id_of(sent))
    return RedirectResponse(f"{PAGE.path}#deleted", HTTPStatus.SEE_OTHER)


@router.post(f"{PAGE.path}/undelete")
def undelete(request: Request, sent: Sent) -> Response:
    """Bring a deleted answer back, or all of them where none is named."""
    saved = meant(request, sent.get("household", ""))
    promise_store.undelete(store_of(request), saved.household_id, _id_of(sent))
    return RedirectResponse(f"{PAGE.path}#answers", HTTPStatus.SEE_OTHER)


@router.post(f"{PAGE.path}/log")
def by_log(request: Request, sent: Sent) -> Response:
    """Look in the household's meter files for what came of its answers."""
    saved = meant(request, sent.get("household", ""))
    count = score_by_log(store_of(request), saved.household_id)
    return RedirectResponse(f"{PAGE.path}?looked={count}#came", HTTPStatus.SEE_OTHER)


@router.post(f"{PAGE.path}/settings")
def settings(request: Request, sent: Sent) -> Response:
    """Keep answers or not; widen ranges or not."""
    saved = meant(request, sent.get("household", ""))
    if sent.get("what") not in (KEEP, WIDEN) or sent.get("on") not in ("0", "1"):
        raise InputError("what", "This form says whether answers are kept, or ranges widened; nothing was changed.")
    promise_store.allow(store_of(request), saved.household_id, sent["what"], sent["on"] == "1")
    return RedirectResponse(f"{PAGE.path}#settings", HTTPStatus.SEE_OTHER)


def _id_of(sent: Typed) -> int | None:
    """The answer a form names; None where it names none, so that all are meant."""
    if "answer" not in sent:
        return None
    found = whole(sent["answer"])
    if found is None:
        raise InputError("answer", "This form names no answer of the book; nothing was changed.")
    return min(found, 2**62)


def _zone(request: Request) -> Any:
    return local_now(request, opened(request)[1]).tzinfo


def _fields(request: Request, chosen: int | None) -> tuple[tuple[Field, ...], list[Kept]]:
    """The form of what came: the answers nothing is known of yet, and the one that was clicked."""
    saved, house = opened(request)
    kept = promise_store.answers(store_of(request), saved.household_id)
    waits = [one for one in kept if one.came is None][:MOST_CHOICES]
    clicked = [one for one in kept if one.id == chosen and one not in waits]
    zone = local_now(request, house).tzinfo
    assert zone is not None
    choices = tuple((str(one.id), label_of(one, zone)) for one in (*clicked, *waits))
    known = {value for value, _ in choices}
    first = str(chosen) if str(chosen) in known else _ripe(request, waits)
    return (
        Field(name="answer", label="Answer", kind="choice", choices=choices, default=first),
        Field(name="kind", label="What came", kind="choice", choices=CAME, default="charge"),
        Field(name="at", label="When", kind="text", default="now", hint="now, 07:10 of today, or 26 Nov 2026 07:10"),
        number_field("soc", SHOWED, optional=True, hint="On the bank monitor, where it showed one"),
    ), kept


def _ripe(request: Request, waits: Sequence[Kept]) -> str:
    """The newest answer that may be told of now; else the newest."""
    before = request.app.state.clock() - timedelta(hours=FIRST_H)
    ripe = [one for one in waits if one.asked_at <= before] or list(waits)
    return str(ripe[0].id) if ripe else ""


def _take(request: Request, saved: Saved, values: Values) -> None:
    store = store_of(request)
    kept = promise_store.find(store, saved.household_id, int(values["answer"]))
    if values["kind"] == OUT:
        promise_store.leave_out(store, kept)
    elif values["kind"] == AGAIN:
        promise_store.open_again(store, kept)
    else:
        moment = _moment(request, kept, values)
        soc = values["soc"] if values["kind"] == "charge" else None
        if values["kind"] == "charge" and soc is None:
            raise InputError("soc", "Type the charge that the monitor showed, from 0 to 100 %.")
        if not promise_store.take(store, kept, values["kind"], moment, soc, "typed"):
            raise InputError("at", _why_not(values["kind"]))


def _moment(request: Request, kept: Kept, values: Values) -> datetime:
    """When it came: after the question, and not yet to come."""
    now = local_now(request, opened(request)[1])
    found = read_moment(values["at"], now, "When").astimezone(UTC)
    if found > now:
        raise InputError("at", "When must not lie ahead of now: what came is told once it came.")
    if found <= kept.asked_at:
        raise InputError("at", "When must be after the answer was asked for.")
    return found


def _why_not(kind: str) -> str:
    if kind == "charge":
        return (
            f"A charge at that time tells nothing of this answer: it has to be {FIRST_H:g} to {LAST_H:g} hours after "
            "it, and before all of its range has run out."
        )
    if kind == "ended":
        return (
            f"An end at that time tells nothing of this answer: it promised none, {FIRST_H:g} to {LAST_H:g} hours on."
        )
    return "That tells nothing yet: it may still end within the range. Say when it ended, or what the monitor shows."


def _show(
    request: Request, form: Parsed[Any], fields: tuple[Field, ...], kept: list[Kept], status: int = HTTPStatus.OK
) -> Response:
    saved, _ = opened(request)
    store, household_id = store_of(request), saved.household_id
    found = promise_store.calibrations(store, household_id)
    widening = promise_store.allowed(store, household_id, WIDEN)
    looked = whole(request.query_params.get("looked", ""))
    return render(
        request,
        "promises.html",
        status=status,
        form=form,
        fields=fields,
        kept=kept,
        view=book(kept, found, widening, _zone(request)),
        deleted=promise_store.deleted_count(store, household_id),
        keeping=promise_store.allowed(store, household_id, KEEP),
        widening=widening,
        loggable=bool(waiting(store, household_id, kept)),
        looked=looked,
        numbers={
            "claim": CLAIM_SHARE,
            "sure": SURE_SHARE,
            "least": LEAST_SCORED,
            "newest": NEWEST,
            "most_wide": MOST_WIDE,
            "most_kept": MOST_KEPT,
            "first_h": FIRST_H,
            "last_h": LAST_H,
            "best_h": BEST_H,
            "read": READ_SOC,
        },
    )
