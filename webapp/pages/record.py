"""One sun record: how its file is read, what it tells, and its ways into the household."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.errors import InputError
from engine.house.household import Household
from webapp import sky_store
from webapp.editing import Sent, Typed, save, store_of
from webapp.kept_pages import KeptPages, add_keeping
from webapp.kept_words import day
from webapp.parts import with_values
from webapp.records_draft import Draft, draft_of, drafted, meanings
from webapp.records_reading import against, report, series_by
from webapp.records_use import Use, unset, uses
from webapp.records_view import months_of, record_view
from webapp.render import json_answer, render
from webapp.sky_store import SkyFile
from webapp.store import Document
from webapp.uploads import ONE
from webapp.words import MONTHS

KEPT = KeptPages(files=sky_store.FILES, path="/records")
router = APIRouter(prefix=KEPT.path)


@router.get(ONE)
def page(request: Request, file_id: int) -> Response:
    """Show how a draft would be read, or what a record tells."""
    kept, house = KEPT.find(request, file_id)
    if not kept.accepted or "read" in request.query_params:
        kept, _ = KEPT.standing(request, file_id)
        draft = draft_of(KEPT.content(request, kept), kept)
        return _show_draft(request, kept, _tried(request, kept, house, draft))
    return _show_result(request, kept, house)


@router.post(f"{ONE}/read")
def read(request: Request, file_id: int, sent: Sent) -> Response:
    """Look again with other choices, or accept them."""
    kept, house = KEPT.standing(request, file_id)
    draft = drafted(KEPT.content(request, kept), kept, sent)
    if draft.choices is None or sent.get("act") != "read":
        return _show_draft(request, kept, _tried(request, kept, house, draft))
    try:
        series_by(store_of(request), kept.id, draft.choices, house.site)
    except InputError as fault:
        return _show_draft(request, kept, draft.refused(fault))
    return KEPT.accept(request, kept, draft.choices.kind, draft.choices.stored())


@router.post(f"{ONE}/use")
def use(request: Request, file_id: int, sent: Sent) -> Response:
    """Write what a record found into the household; undo brings back what stood there."""
    kept, house = KEPT.accepted(request, file_id)
    one = _asked(uses(report(store_of(request), kept, house), house, kept.name), sent)

    def change(document: Document) -> Document:
        if one is None:
            raise InputError("", "This record has no such thing to use; it may be read another way now.")
        return with_values(document, "sun", "", one.values)

    what = f"{one.title if one else ''} used, of “{kept.name}”"
    return _save(request, sent, kept, house, change, what, {"used": one.id} if one else {})


@router.post(f"{ONE}/out")
def out(request: Request, file_id: int, sent: Sent) -> Response:
    """Take what a record gave out of the household again; undo brings it back."""
    kept, house = KEPT.accepted(request, file_id)
    one = _asked(uses(report(store_of(request), kept, house), house, kept.name), sent)

    def change(document: Document) -> Document:
        if one is None or not one.held:
            raise InputError("", "The household does not hold this any more; nothing is to be taken out.")
        return with_values(document, "sun", "", unset(*one.values))

    what = f"{one.title if one else ''} taken out, of “{kept.name}”"
    return _save(request, sent, kept, house, change, what, {})


@router.get(f"{ONE}.json")
def as_json(request: Request, file_id: int) -> Response:
    """Give what a record tells as JSON, unrounded, with how it was read; without its days."""
    kept, house = KEPT.accepted(request, file_id)
    found = report(store_of(request), kept, house)
    series = found.series
    return json_answer(
        {
            "name": kept.name,
            "choices": kept.choices,
            "quantity": series.quantity,
            "first": series.first,
            "last": series.last,
            "typical": series.typical,
            "findings": found.findings,
            "months": months_of(series, house),
            "monthly_kc": found.monthly_kc or None,
            "spells": found.table and {"years": found.table.years, "spells": found.table.spells},
            "uses": [dataclasses.asdict(one) for one in uses(found, house, kept.name)],
        }
    )


def _asked(offered: tuple[Use, ...], sent: Typed) -> Use | None:
    return next((one for one in offered if one.id == sent.get("use")), None)


def _save(
    request: Request,
    sent: Typed,
    kept: SkyFile,
    house: Household,
    change: Callable[[Document], Document],
    what: str,
    then: dict[str, str],
) -> Response:
    return save(
        request,
        sent,
        change,
        what[:120],
        f"{KEPT.address(kept)}?{urlencode(then)}#use",
        lambda errors, status: _show_result(request, kept, house, {"": " ".join(errors.values())}, status),
    )


def _tried(request: Request, kept: SkyFile, house: Household, draft: Draft) -> Draft:
    """Return the draft with what it comes to; where it cannot be read so, with what stands against it."""
    if draft.choices is None:
        return draft
    try:
        series = series_by(store_of(request), kept.id, draft.choices, house.site)
    except InputError as fault:
        return dataclasses.replace(draft, against=fault.message)
    return draft.coming_to(series, against(series, house))


def _show_draft(request: Request, kept: SkyFile, draft: Draft) -> Response:
    return render(
        request,
        "record_draft.html",
        status=422 if draft.form.errors else 200,
        here=KEPT.path,
        kept=kept,
        draft=draft,
        meanings=meanings(),
    )


def _show_result(
    request: Request,
    kept: SkyFile,
    house: Household,
    errors: dict[str, str] | None = None,
    status: int = 200,
    sent: Typed | None = None,
) -> Response:
    try:
        found = report(store_of(request), kept, house)
    except InputError as fault:
        draft = draft_of(KEPT.content(request, kept), kept)
        return _show_draft(request, kept, draft.refused(fault))
    offered = uses(found, house, kept.name)
    asked = request.query_params.get("used")
    return render(
        request,
        "record.html",
        status=status,
        here=KEPT.path,
        address=KEPT.address(kept),
        kept=kept,
        found=found,
        view=record_view(found, house),
        uses=offered,
        used=next((one for one in offered if one.id == asked and one.held), None),
        made=day(kept.made_at, house.site.time_zone),
        months=MONTHS,
        errors=errors or {},
        typed=sent or {},
    )


add_keeping(router, KEPT, _show_result)
