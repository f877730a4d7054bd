"""Wiring: what cables and fuses of each bank have to carry, and whether those entered suit it; never an approval."""

from __future__ import annotations

from dataclasses import dataclass, replace
from http import HTTPStatus

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import Response

from engine.answers.wiring import WiringAnswer, wiring
from engine.errors import Unreachable
from engine.house.household import Household
from webapp.editing import Sent, elsewhere, local_now, opened, save
from webapp.forms import Card, Parsed, parse
from webapp.inputs import inputs_used
from webapp.parts import with_values
from webapp.questions import Blocked, first_step, json_reply
from webapp.render import Page, render
from webapp.shown_in import as_typed_now
from webapp.standing import next_step
from webapp.store import Document
from webapp.wiring_form import in_the_fields_of_now, wiring_card, wiring_of
from webapp.wiring_view import wiring_view

PAGE = Page("Check", "Wiring", "/wiring", "Which currents, losses and fuses are to be checked?")
router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The open household, its wiring as worked out, or why there is none."""

    house: Household
    month: int
    answer: WiringAnswer | None
    blocked: Blocked | None


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the wiring of each bank and its form."""
    return _show(request)


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same as JSON, unrounded."""
    question = _question(request)
    return json_reply({}, lambda: (question.answer, question.blocked))


@router.post(PAGE.path)
def change(request: Request, sent: Sent) -> Response:
    """Save the wiring of a bank."""
    saved, house = opened(request)
    bank = next((one for one in house.banks if one.id == sent.get("item_id", "")), None)
    if bank is None:
        raise HTTPException(HTTPStatus.NOT_FOUND, "That bank is no longer in the household; it was removed meanwhile.")
    stored = next(one for one in saved.document["banks"] if one["id"] == bank.id).get("wiring")
    card = wiring_card(bank)
    sent, unread = as_typed_now(card.fields, in_the_fields_of_now(sent))
    form: Parsed[Document] = parse(card.fields, sent, build=lambda values: wiring_of(values, stored))
    if unread:
        form = form.refused({**form.errors, **unread})
    card = replace(card, form=form)
    against = elsewhere(saved, sent)
    if against:
        return _show(request, card.refused(against | unread), HTTPStatus.CONFLICT)
    if form.value is None:
        return _show(request, card, HTTPStatus.UNPROCESSABLE_ENTITY)
    entered = {"wiring": form.value}
    return save(
        request,
        sent,
        lambda document: with_values(document, "banks", bank.id, entered),
        f"wiring of {bank.name} changed",
        f"{PAGE.path}#wiring-{bank.id}",
        lambda errors, status: _show(request, card.refused(errors), status),
    )


def _question(request: Request) -> Question:
    _, house = opened(request)
    month = local_now(request, house).month
    try:
        return Question(house=house, month=month, answer=wiring(house, month), blocked=None)
    except Unreachable as fault:
        return Question(house=house, month=month, answer=None, blocked=first_step(house, str(fault)))


def _show(request: Request, changed: Card | None = None, status: int = 200) -> Response:
    question = _question(request)
    house, answer = question.house, question.answer
    joined = [bank for supply in house.supplies() for bank in supply.banks]
    cards = [changed if changed is not None and changed.id == bank.id else wiring_card(bank) for bank in joined]
    return render(
        request,
        "wiring.html",
        status=status,
        blocked=question.blocked,
        answer=answer,
        wiring=None if answer is None else wiring_view(answer),
        cards=cards,
        names={bank.id: bank.name for bank in joined},
        entered={bank.id: bank.wiring is not None for bank in joined},
        open_id=changed.id if changed is not None else next((b.id for b in joined if b.wiring is None), ""),
        loose=[bank.name for bank in house.banks if not bank.inverter],
        changed=changed,
        inputs=inputs_used(house, house.supplies(), question.month),
        step=next_step(house),
    )
