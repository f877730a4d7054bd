"""Files: the households kept here, their versions, and taking a copy in or out."""

from __future__ import annotations

import json
import re
from collections.abc import Collection
from dataclasses import asdict
from http import HTTPStatus

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from engine.answers.changes import changes
from engine.errors import InputError
from engine.house import household
from engine.house.bounds import refuse_long
from webapp.applied import with_applied
from webapp.editing import (
    Sent,
    Show,
    Typed,
    conflict_sentence,
    elsewhere,
    opened,
    save,
    store_of,
)
from webapp.households import household_of
from webapp.numbers import whole
from webapp.parts import with_values
from webapp.render import Page, render
from webapp.standing import next_step
from webapp.store import Conflict, Document, Saved, example_document
from webapp.store_copies import copies
from webapp.uploads import Upload

PAGE = Page("", "Files", "/files", "Start your own, open, copy, undo, keep safe")
router = APIRouter()

SHOWN_VERSIONS = 30
SHOWN_FAULTS = 20
COPY = " (copy)"
LONGEST_NAME = 80


def _show(
    request: Request,
    errors: dict[str, str] | None = None,
    status: int = 200,
    lead: str = "",
    typed: Typed | None = None,
) -> Response:
    """Show the page, with name and note as `typed` where they were refused."""
    store = store_of(request)
    saved, house = opened(request)
    versions = store.versions(saved.household_id, SHOWN_VERSIONS + 1)
    return render(
        request,
        "files.html",
        status=status,
        house=house,
        households=store.households(),
        deleted=store.households(deleted=True),
        versions=[
            {"saved": one, "changed": _between(before, one), "back": _between(saved, one)}
            for one, before in zip(versions[:SHOWN_VERSIONS], (*versions[1:], None), strict=False)
        ],
        before_all=copies(store.folder, "before"),
        replaced="replaced" in request.query_params,
        folder=store.folder,
        errors=errors or {},
        lead=lead,
        named={"name": house.name, "note": house.note} | (typed or {}),
        taken_in=saved.revision == 1 and "taken" in request.query_params,
        step=next_step(house),
    )


def _between(before: Saved | None, after: Saved) -> tuple[str, ...] | None:
    """Say what differs between two versions; None where there is no earlier one or one of them cannot be read."""
    if before is None:
        return None
    try:
        return tuple(one.sentence for one in changes(household_of(before.text), household_of(after.text)))
    except InputError:
        return None


def free_name(name: str, taken: Collection[str]) -> str:
    """Return the name, with a number behind it where a household of that name is kept already.

    Examples
    --------
    >>> free_name("Croft", ["Croft", "Croft (2)"]), free_name("Croft (2)", ["Croft (2)"]), free_name("Croft", [])
    ('Croft (3)', 'Croft (3)', 'Croft')
    """
    if name not in taken:
        return name
    found = re.fullmatch(r"(.*) \((\d{1,9})\)", name)
    stem, first = (found[1], int(found[2]) + 1) if found else (name, 2)
    numbered = (f"{stem[: LONGEST_NAME - 5]} ({number})" for number in range(first, first + len(taken) + 1))
    return next(one for one in numbered if one not in taken)


def _create(request: Request, document: Document, what: str) -> Saved:
    """Keep a document as a household of its own, under a name no other has; `what` may speak of {name}."""
    store = store_of(request)
    name = free_name(document["name"], [saved.name for saved in store.households()])
    return store.create({**document, "name": name}, what.replace("{name}", name))


def _back(path: str) -> Response:
    return RedirectResponse(path, HTTPStatus.SEE_OTHER)


def _id(sent: Typed) -> int:
    text = sent.get("household", "")
    number = whole(text)
    if number is None:
        raise InputError("household", f"The number of a household must be a whole number; got “{text[:20]}”.")
    return number


def own_page(path: str) -> str:
    """Return the path if it is one of ours, else the page of files.

    Examples
    --------
    >>> own_page("/banks"), own_page("//elsewhere.example/x")
    ('/banks', '/files')
    """
    return path if re.match(r"/(?![/\\])", path) else PAGE.path


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the households and the versions of the open one."""
    return _show(request)


@router.post("/files/open")
def open_one(request: Request, sent: Sent) -> Response:
    """Open another household."""
    store_of(request).open(_id(sent))
    return _back("/")


@router.post("/files/new")
def new(request: Request, sent: Sent) -> Response:
    """Start an empty household, with the units and the place of the open one; Sun leaves the example's place open."""
    saved, house = opened(request)
    carried = {"site": saved.document["site"], "units": asdict(house.units)}
    document: Document = {"format": household.FORMAT, "name": "My household", **carried}
    _create(request, household.write(household.read(document)), "started empty")
    return _back("/banks")


@router.post("/files/example")
def restore_example(request: Request, sent: Sent) -> Response:
    """Bring the example back as it shipped, beside everything else."""
    _create(request, example_document(), "the example, as shipped")
    return _back("/")


@router.post("/files/duplicate")
def duplicate(request: Request, sent: Sent) -> Response:
    """Copy a household and open the copy."""
    document = store_of(request).latest(_id(sent)).document
    copy = {**document, "name": f"{document['name'][: LONGEST_NAME - len(COPY)]}{COPY}", "example": False}
    _create(request, copy, f"copied from {document['name']}")
    return _back(PAGE.path)


@router.post("/files/delete")
def delete(request: Request, sent: Sent) -> Response:
    """Delete a household; it stays below, to be brought back."""
    store_of(request).delete(_id(sent))
    return _back(f"{PAGE.path}#deleted")


@router.post("/files/undelete")
def undelete(request: Request, sent: Sent) -> Response:
    """Bring a deleted household back."""
    store_of(request).undelete(_id(sent))
    return _back(PAGE.path)


@router.post("/files/rename")
def rename(request: Request, sent: Sent) -> Response:
    """Give the open household another name and note."""
    name, note = sent.get("name", "").strip(), sent.get("note", "").strip()

    def show(errors: dict[str, str], status: int) -> Response:
        return _show(request, errors, status, typed={one: sent.get(one, "") for one in ("name", "note")})

    if not 1 <= len(name) <= LONGEST_NAME and name != opened(request)[0].name.strip():
        return show({"name": f"The name must be 1 to {LONGEST_NAME} characters long; got {len(name)}."}, 422)
    return save(
        request,
        sent,
        lambda document: {**document, "name": name, "note": note},
        f"named {name}",
        PAGE.path,
        show,
    )


@router.get("/files/household.json")
def download(request: Request) -> Response:
    """Give the open household as a JSON document."""
    saved = store_of(request).current()
    name = re.sub(r"[^A-Za-z0-9]+", "-", saved.name).strip("-").lower() or "household"
    headers = {"Content-Disposition": f'attachment; filename="{name}.json"', "Cache-Control": "no-store"}
    text = json.dumps(saved.document, indent=2, ensure_ascii=False)
    return Response(text, media_type="application/json", headers=headers)


@router.post("/files/upload")
def upload(request: Request, sent: Upload) -> Response:
    """Take a household's JSON document in as a household of its own."""
    name = sent.file_name
    if not name:
        return _show(request, {"file": "No file was chosen: choose a household's JSON file first."}, 422)
    try:
        document = household.write(household.read(_json_object(sent.content)))
    except InputError as fault:
        told = " ".join(part.message for part in fault.every()[:SHOWN_FAULTS])
        return _show(request, {"file": told}, 422, f"{name} was not taken in and nothing was changed.")
    _create(request, document, f"taken in as {{name}}, from {name}")
    return _back(f"{PAGE.path}?taken")


def _json_object(content: bytes) -> Document:
    """Read the text of a file as JSON, saying in our own words what it is not."""
    refuse_long(content)
    try:
        found = json.loads(content)
    except (ValueError, RecursionError) as fault:
        line = f" (line {fault.lineno})" if isinstance(fault, json.JSONDecodeError) else ""
        raise InputError("file", f"This is no household file: it is no JSON text{line}.") from None
    if not isinstance(found, dict):
        raise InputError("file", "This is no household file: its JSON holds no object at the top.")
    return found


@router.post("/files/version")
def restore_version(request: Request, sent: Sent) -> Response:
    """Bring an earlier version of the open household back."""
    chosen = whole(sent.get("version", "")) or 0
    return _restore(
        request,
        sent,
        chosen,
        f"version {chosen} restored",
        PAGE.path,
        lambda errors, status: _show(request, errors, status),
    )


@router.post("/undo")
def undo(request: Request, sent: Sent) -> Response:
    """Bring back what stood before the last save."""
    saved, _ = opened(request)
    mark = next((m for m in ("undid: ", "redid: ") if saved.what.startswith(m)), "")
    what = ("redid: " if mark == "undid: " else "undid: ") + saved.what.removeprefix(mark)
    before = store_of(request).before(saved.household_id, saved.revision).revision
    return _restore(request, sent, before, what, own_page(sent.get("back", "")), _refusal(request, sent))


def _restore(request: Request, sent: Typed, revision: int, what: str, back: str, show: Show) -> Response:
    saved, _ = opened(request)
    against = elsewhere(saved, sent)
    if against:
        return show(against, HTTPStatus.CONFLICT)
    try:
        store_of(request).restore(saved.household_id, revision, saved.revision, what)
    except Conflict as fault:
        request.state.saved = fault.newer
        return show({"": conflict_sentence(fault.newer)}, HTTPStatus.CONFLICT)
    return _back(back)


def _refusal(request: Request, sent: Typed) -> Show:
    """Show what stands against a click, with the way back to the page it was made on and all that was asked there."""
    back = own_page(sent.get("from") or sent.get("back", ""))
    return lambda errors, status: render(request, "refused.html", status=status, errors=errors, back=back)


@router.post("/apply")
def apply(request: Request, sent: Sent) -> Response:
    """Carry out the one-click remedy of a notice: set some values of one part of the household."""
    values = {n.removeprefix("value."): _json(n, text) for n, text in sent.items() if n.startswith("value.")}
    return save(
        request,
        sent,
        lambda document: with_values(document, sent.get("section", ""), sent.get("item_id", ""), values),
        sent.get("what", "a remedy")[:80],
        with_applied(own_page(sent.get("back", "")), sent.get("revision", "")),
        _refusal(request, sent),
    )


def _json(name: str, text: str) -> object:
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        raise InputError(name, f"The value of {name} must be a number or a quoted text; got “{text[:80]}”.") from None
