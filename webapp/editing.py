"""Changing the household: one part at a time, each change a version, never over someone else's.

Shared by the pages that describe the household. A change is made from the version its form was opened
from (hidden fields `household` and `revision`); if a newer one stands, or another household is open, the
form comes back with everything typed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from http import HTTPStatus
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import Depends, Request
from starlette.responses import RedirectResponse, Response

from engine.errors import InputError
from engine.house import household
from engine.house.household import Household
from webapp.autosave import LEFT, Autosaves, Left
from webapp.forms import Card, Parsed, Values, parse
from webapp.households import household_of
from webapp.meanwhile import meanwhile
from webapp.numbers import whole
from webapp.parts import SINGLES, new_id, put, things, with_values, without
from webapp.readings import with_readings
from webapp.render import mark_of
from webapp.shown_in import as_typed_now
from webapp.store import Conflict, Document, Saved, Store
from webapp.store_schema import StoreFault
from webapp.units import tell

Typed = dict[str, str]
ABOUT = ("household", "revision", "mark")
"""Fields by which a form says from which version of which household it was opened."""
Show = Callable[[dict[str, str], int], Response]
"""Shows the page again with what to mend, by field, and a status."""


async def typed(request: Request) -> Typed:
    """Return what a form sent; several values of one name are joined by commas."""
    async with request.form(max_files=0, max_fields=400) as form:
        return with_readings({name: ",".join(str(v) for v in form.getlist(name)) for name in form})


Sent = Annotated[Typed, Depends(typed)]
"""What a form sent, as a parameter of a route."""


def opened(request: Request) -> tuple[Saved, Household]:
    """Return the open household as stored and as read; the frame of the page shows the same version."""
    if not hasattr(request.state, "saved"):
        request.state.saved = store_of(request).current()
    saved: Saved = request.state.saved
    house = household_of(saved.text)
    tell(house.units)
    return saved, house


def local_now(request: Request, house: Household) -> datetime:
    """Return the time now on the household's clock."""
    now: datetime = request.app.state.clock()
    return now.astimezone(ZoneInfo(house.site.time_zone))


def save(
    request: Request, sent: Typed, change: Callable[[Document], Document], what: str, back: str, show: Show
) -> Response:
    """Save a change of the open household and go back to the page, or show what stands against it.

    What says the same household as before is no version.

    Parameters
    ----------
    sent : dict
        What the form sent, the version it was opened from among it.
    change : callable
        Document to changed document; may raise `InputError`.
    what : str
        The change in a few words.
    back : str
        Address to go to when it is saved.
    show : callable
        Shows the form again with errors by field and a status.
    """
    saved, _ = opened(request)
    against = _against(request, saved, sent)
    if against:
        return show(against, HTTPStatus.CONFLICT)
    try:
        left = Left(page=sent.get(LEFT, ""), form=back)
        with autosaves_of(request).alone:
            saved = _on_top_of_its_own(request, saved, sent)
            document = change(saved.document)
            if household.read(document) == household_of(saved.text):
                made = saved
            else:
                made = autosaves_of(request).save(store_of(request), saved, document, what, left)
    except StoreFault as fault:
        return show({"": fault.message}, fault.status)
    except InputError as fault:
        return show({_last(e.field): e.message for e in reversed(fault.every())}, HTTPStatus.UNPROCESSABLE_ENTITY)
    except Conflict as fault:
        request.state.saved = fault.newer
        return show({"": conflict_sentence(fault.newer)}, HTTPStatus.CONFLICT)
    return RedirectResponse(_told(back, made) if left.page else back, HTTPStatus.SEE_OTHER)


def _on_top_of_its_own(request: Request, saved: Saved, sent: Typed) -> Saved:
    """The version to save on: the newest, where the very page saved another of its forms since this one was read."""
    if not sent.get(LEFT):
        return saved
    newest = store_of(request).latest(saved.household_id)
    if newest.revision == saved.revision or not _is_own(request, newest, sent):
        return saved
    request.state.saved = newest
    return newest


def _is_own(request: Request, saved: Saved, sent: Typed) -> bool:
    return autosaves_of(request).own(saved, sent.get(LEFT, ""), whole(sent.get("revision", "")))


def _told(back: str, made: Saved) -> str:
    """The address with which version was made: the page it leads to may show a later one, of another device."""
    path, _, anchor = back.partition("#")
    return f"{path}{'&' if '?' in path else '?'}kept={made.revision}-{mark_of(made)}#{anchor}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """One list of things with a form each: how its page shows, reads and writes them.

    `card` makes the form of the thing with an id (of a new one where it is unknown) from the household
    and what was sent; `thing` turns the form's values and the thing as stored into the new thing;
    `show` shows the page, one card on it with what to mend; `also` may change other things of the document
    in the same save, and says so in words that follow the name of the change.
    """

    section: str
    path: str
    anchor: str
    card: Callable[[Household, str, Typed], Card]
    thing: Callable[[Values, Document], Document]
    show: Callable[[Request, Card | None, int], Response]
    also: Callable[[Document, str], tuple[Document, str]] = lambda document, thing_id: (document, "")


def change_part(
    request: Request,
    section: str,
    card: Card,
    sent: Typed,
    what: str | Callable[[], str],
    path: str,
    show: Callable[[Request, Card, int], Response],
    build: Callable[[Values], Values] = lambda values: values,
) -> Response:
    """Save one of `SINGLES` from what its form sent; `build` makes fields of the document of what was typed.

    `what` may wait for it, to tell what was made of it.
    """
    saved = opened(request)[0]
    sent, unread = as_typed_now(card.fields, sent)
    form: Parsed[Values] = parse(card.fields, sent, build=build)
    stands, card = card, _without(replace(card, form=form), unread)
    against = _against(request, saved, sent)
    if against:
        if not unread:
            request.state.meanwhile = meanwhile(store_of(request), saved, sent, card, stands, path)
        return show(request, card.refused(against | unread), HTTPStatus.CONFLICT)
    values = card.form.value
    if values is None:
        return show(request, card, HTTPStatus.UNPROCESSABLE_ENTITY)
    return save(
        request,
        sent,
        lambda document: with_values(document, section, "", values),
        (what if isinstance(what, str) else what()) + _read_as(card),
        f"{path}#{card.id}",
        lambda errors, status: show(request, card.refused(errors), status),
    )


def change_thing(request: Request, shelf: Shelf, sent: Typed) -> Response:
    """Add a thing or save a changed one, from what its form sent."""
    saved, house = opened(request)
    blank = shelf.card(house, sent.get("item_id", ""), sent)
    sent, unread = as_typed_now(blank.fields, sent)
    card = _without(replace(blank, form=parse(blank.fields, sent, build=lambda values: values)), unread)
    values = card.form.value
    against = _against(request, saved, sent)
    if against:
        stands, there = shelf.card(house, card.id, {}), f"{shelf.path}#{card.id}"
        if not unread:
            request.state.meanwhile = meanwhile(store_of(request), saved, sent, card, stands, there)
        return shelf.show(request, card.refused(against | unread), HTTPStatus.CONFLICT)
    if values is None:
        return shelf.show(request, _with_the_rest(shelf, saved.document, blank, card), HTTPStatus.UNPROCESSABLE_ENTITY)
    thing_id = card.id or new_id(values["name"], shelf.section, saved.document)
    also = shelf.also(saved.document, thing_id)[1]
    taken = [text for one in card.fields if (text := one.stands_in(card.form.raw))]
    also += f", {' and '.join(taken)} taken for what was left empty" if taken else ""
    also += _read_as(card)
    return save(
        request,
        sent,
        lambda document: _with_thing(shelf, document, thing_id, values),
        f"{values['name']} {'changed' if card.id else 'added'}{also}",
        f"{shelf.path}#{shelf.anchor}-{thing_id}",
        lambda errors, status: shelf.show(request, card.refused(errors), status),
    )


def _with_thing(shelf: Shelf, document: Document, thing_id: str, values: Values) -> Document:
    """The document with a thing as the form has it, and with what changes of other things along with it."""
    stored = next((old for old in things(document, shelf.section) if old["id"] == thing_id), {"id": thing_id})
    return put(shelf.also(document, thing_id)[0], shelf.section, shelf.thing(values, stored))


def _without(card: Card, unread: dict[str, str]) -> Card:
    """The card, refused where something on it was typed in other units and could not be read."""
    return card.refused({**card.form.errors, **unread}) if unread else card


def _read_as(card: Card) -> str:
    """Say which numbers were read from another unit than their field's, behind the name of the change."""
    said = [text for one in card.fields if (text := one.read_as(card.form.raw))]
    return "".join(f", {text}" for text in said)


def _with_the_rest(shelf: Shelf, document: Document, blank: Card, card: Card) -> Card:
    """A card with a number that cannot be read, and with what would be refused next: all of it is said at once."""
    read = card.form.partly
    unread = [one for one in card.fields if one.name not in read]
    if any(one.kind != "number" for one in unread):
        return card
    stored = next((old for old in things(document, shelf.section) if old["id"] == card.id), {"id": card.id or "new"})
    values = {**read, **{one.name: blank.form.stored.get(one.name) for one in unread}}
    try:
        household.read(put(document, shelf.section, shelf.thing(values, stored)))
    except InputError as fault:
        further = {_last(one.field): one.message for one in reversed(fault.every()) if _last(one.field) in read}
        return card.refused({**card.form.errors, **further})
    return card


def remove_thing(request: Request, shelf: Shelf, sent: Typed) -> Response:
    """Remove a thing; undo brings it back."""
    saved, house = opened(request)
    item_id = sent.get("item_id", "")
    names = {thing["id"]: thing["name"] for thing in things(saved.document, shelf.section)}
    return save(
        request,
        sent,
        lambda document: without(document, shelf.section, item_id),
        f"{names.get(item_id, item_id)} removed",
        shelf.path,
        lambda errors, status: shelf.show(request, shelf.card(house, item_id, sent).refused(errors), status),
    )


def _against(request: Request, saved: Saved, sent: Typed) -> dict[str, str]:
    """What stands against a form, as `elsewhere`; not what the very page that it stands on has saved meanwhile."""
    against = elsewhere(saved, sent)
    if against and whole(sent.get("household", "")) == saved.household_id:
        return {} if _is_own(request, saved, sent) else against
    return against


def elsewhere(saved: Saved, sent: Typed) -> dict[str, str]:
    """Say why a form cannot be saved in the open household: it is another one, or a newer version; empty if neither.

    A form that names no household is taken as one of the open household.
    """
    meant = sent.get("household", "")
    if meant and whole(meant) != saved.household_id:
        return {
            "": f"“{saved.name}” was opened elsewhere after this page, which is of another household. Nothing you "
            f"typed is lost and nothing was changed: open the household you meant on Files, or look over what you "
            f"typed and save it in “{saved.name}”."
        }
    if sent.get("mark", mark_of(saved)) == mark_of(saved) and whole(sent.get("revision", "")) == saved.revision:
        return {}
    return {"": conflict_sentence(saved)}


def meant(request: Request, household: str) -> Saved:
    """Return the open household, which has to be the one that a form was of; one that names none is of the open one.

    For what is kept beside the versions of a household.

    Raises
    ------
    InputError
        If another household was opened meanwhile.
    """
    saved, _ = opened(request)
    if household and whole(household) != saved.household_id:
        raise InputError(
            "household",
            f"“{saved.name}” was opened elsewhere after this page, which is of another household; nothing was changed.",
        )
    return saved


def conflict_sentence(newer: Saved) -> str:
    """Say that somebody else saved meanwhile, and that nothing is lost."""
    return (
        f"The household was saved elsewhere after this page was opened ({newer.what}). Nothing you typed is lost "
        "and nothing of the other change was overwritten: look over what you typed and save again."
    )


def _last(name: str) -> str:
    """The name a form knows a field of the document by: without the list and the place in it."""
    parts = name.split(".")
    numbers = [i for i, part in enumerate(parts) if part.isdigit()]
    if numbers:
        return ".".join(parts[numbers[0] + 1 :])
    return ".".join(parts[1:]) if parts[0] in SINGLES else name


def autosaves_of(request: Request) -> Autosaves:
    """Return what the app remembers of saves made by leaving a field."""
    autosaves: Autosaves = request.app.state.autosaves
    return autosaves


def store_of(request: Request) -> Store:
    """Return the store that the app answers from."""
    store: Store = request.app.state.store
    return store
