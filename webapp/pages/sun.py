"""Sun: where the house stands, what is on its roof, and what the owner has seen the panels give."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.notices import household_notices
from engine.answers.panel_year import panel_year
from engine.errors import InputError
from engine.sky.local import sky_name, sky_source
from engine.sky.regions import region, regions
from webapp.editing import (
    Sent,
    Shelf,
    change_part,
    change_thing,
    local_now,
    opened,
    remove_thing,
)
from webapp.forms import Card, Values
from webapp.panel_words import charger_words, faces
from webapp.place_form import site_card
from webapp.render import Page, json_answer, json_errors, render
from webapp.standing import next_step, standing_notices
from webapp.store import Document
from webapp.sun_forms import array_card, seen_card, seen_values, worked_back
from webapp.sun_view import year_view
from webapp.words import MONTHS

PAGE = Page("Describe", "Sun", "/sun", "Your place, its sky and your panels")
router = APIRouter()


def _array_thing(values: Values, old: Document) -> Document:
    return {**old, **values}


def _show(request: Request, changed: Card | None = None, status: int = 200) -> Response:
    _, house = opened(request)
    picked = region(request.query_params.get("region", ""))
    cards = {card.prefix: card for card in (site_card(house, picked), seen_card(house), array_card(house, ""))}
    arrays = {array.id: array_card(house, array.id) for array in house.sun.arrays}
    if changed is not None and changed.id in arrays:
        arrays[changed.id] = changed
    elif changed is not None:
        cards[changed.prefix] = changed
    year, trouble = None, ""
    if house.sun.arrays:
        try:
            year = panel_year(house)
        except InputError as fault:
            trouble = fault.message
    notices = household_notices(house, local_now(request, house).month)
    return render(
        request,
        "sun.html",
        status=status,
        site=cards["site-"],
        seen=cards["seen-"],
        adding=cards["add-array-"],
        arrays=[
            (array, faces(array, house.site), charger_words(array), arrays[array.id]) for array in house.sun.arrays
        ],
        year=year,
        view=None if year is None else year_view(year, house),
        months=MONTHS,
        trouble=trouble,
        sky_name=sky_name(house.site),
        sky_source=sky_source(house.site),
        regions=regions(),
        region=picked.name if picked else "",
        step=next_step(house),
        changed=changed,
        warnings=[*standing_notices(house), *(notice for notice in notices if notice.page == "sun")],
    )


SHELF = Shelf(
    section="arrays",
    path=PAGE.path,
    anchor="array",
    card=lambda house, item_id, sent: array_card(house, item_id),
    thing=_array_thing,
    show=_show,
)


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the place and the panels."""
    return _show(request)


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer what the panels give through the year as JSON, unrounded."""
    _, house = opened(request)
    if not house.sun.arrays:
        return json_errors({"arrays": "There are no panels yet: enter them on Sun."})
    try:
        return json_answer(panel_year(house))
    except InputError as fault:
        return json_errors({fault.field: fault.message})


@router.post(f"{PAGE.path}/arrays")
def change_array(request: Request, sent: Sent) -> Response:
    """Add panels or save changed ones."""
    return change_thing(request, SHELF, sent)


@router.post(f"{PAGE.path}/arrays/remove")
def remove_array(request: Request, sent: Sent) -> Response:
    """Remove panels."""
    return remove_thing(request, SHELF, sent)


@router.post(f"{PAGE.path}/site")
def change_site(request: Request, sent: Sent) -> Response:
    """Save where the house stands."""
    return change_part(request, "site", site_card(opened(request)[1]), sent, "place changed", PAGE.path, _show)


@router.post(f"{PAGE.path}/seen")
def change_seen(request: Request, sent: Sent) -> Response:
    """Save what the owner has seen the panels give."""
    _, house = opened(request)
    done = ""

    def build(values: Values) -> Values:
        nonlocal done
        brought, done = worked_back(values, house)
        return seen_values(brought, house.sun)

    def what() -> str:
        return "what the panels give changed" + (f": {done}" if done else "")

    return change_part(request, "sun", seen_card(house), sent, what, PAGE.path, _show, build)
