"""Sun: where the house stands, what is on its roof, and what the owner has seen the panels give."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import available_timezones

import numpy as np
from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.notices import household_notices
from engine.errors import InputError
from engine.fields import quantities
from engine.house.household import Household
from engine.quantities import mean_day_of_year
from engine.sky import climate as climates
from engine.sky.averages import average_day_kc
from engine.sky.days import WORDS, owner_dull_day
from engine.sky.site import Array, Site, Sun
from engine.sky.sun import clear_day_scale, yield_kwh
from webapp.editing import (
    Sent,
    Shelf,
    Typed,
    change_thing,
    elsewhere,
    local_now,
    opened,
    remove_thing,
    save,
    with_values,
)
from webapp.forms import MONTHS, Card, Field, Group, Parsed, Values, filled, number_fields, parse, text_of
from webapp.render import Page, fixed, render
from webapp.standing import next_step, place_is_the_examples, standing_notices
from webapp.store import Document

PAGE = Page("Describe", "Sun", "/sun")
router = APIRouter()

DIRECTIONS = (
    "north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west",
)  # fmt: skip
SEEN_MONTHS = (("", "Any month"), *((str(number), name) for number, name in enumerate(MONTHS, 1)))
MONTH_CHOICES = ("clear_day_month", "dull_day_month")


def direction_words(azimuth_deg: float) -> str:
    """Name the direction that degrees clockwise from north look to.

    Examples
    --------
    >>> direction_words(170), direction_words(350)
    ('south', 'north')
    """
    return DIRECTIONS[round(azimuth_deg / 45.0) % 8]


def _site_card(house: Household) -> Card:
    """The form of the place; empty while the place is the example's, so that none of it is kept unread."""
    borrowed = place_is_the_examples(house)
    zones = tuple(sorted(zone for zone in available_timezones() if "/" in zone and not zone.startswith("Etc/")))
    fields = (
        *number_fields(Site, "latitude_deg", "longitude_deg"),
        Field(name="time_zone", label="Time zone", kind="text", suggestions=zones, hint="Such as Europe/Lisbon"),
        Field(
            name="climate",
            label="Sky like that of",
            kind="choice",
            choices=tuple(climates.names().items()),
            optional=borrowed,
            hint="How clear its months are, until you type your own",
        ),
    )
    values = {name: getattr(house.site, name) for name in (*quantities(Site), "time_zone", "climate")}
    group = Group(legend="Where the house stands", fields=fields, hint=_borrowed_words(house.site) if borrowed else "")
    return Card(
        id="site",
        prefix="site-",
        groups=(group,),
        form=filled(fields, {} if borrowed else values),
        button="Save the place",
    )


def _borrowed_words(site: Site) -> str:
    return (
        f"Until you enter your own, the answers stand where the example does: {fixed(site.latitude_deg, 1)}°, "
        f"{fixed(site.longitude_deg, 1)}°, {site.time_zone}, {climates.load(site.climate).name}."
    )


def _month_field(name: str) -> Field:
    meaning = quantities(Sun)[name]
    return Field(name=name, label=meaning.label, kind="choice", choices=SEEN_MONTHS)


def _seen_card(house: Household) -> Card:
    seen = (
        *number_fields(Sun, "clear_day_kwh"),
        _month_field("clear_day_month"),
        *number_fields(Sun, "dull_day_kwh"),
        _month_field("dull_day_month"),
    )
    losses = number_fields(Sun, "system_losses", "charger_efficiency")
    groups = (
        Group(
            legend="What you have seen them give",
            fields=seen,
            hint="kWh of one day, all panels, before the solar charger. Two days of your own beat any model.",
        ),
        Group(legend="Snow", fields=number_fields(Sun, "covered_days"), hint="Panels under snow give nothing."),
        Group(legend="What is lost on the way", fields=losses, folded=True),
    )
    fields = [f for group in groups for f in group.fields]
    values = {name: getattr(house.sun, name) for name in quantities(Sun)}
    return Card(id="seen", prefix="seen-", groups=groups, form=filled(fields, values), button="Save what you have seen")


def _array_card(house: Household, item_id: str, sent: Typed) -> Card:
    array = next((a for a in house.sun.arrays if a.id == item_id), None)
    south = house.site.latitude_deg >= 0
    feeds = (("", "The first inverter"), *((i.id, i.name) for i in house.inverters))
    kwp, tilt, azimuth = number_fields(Array, "kwp", "tilt_deg", "azimuth_deg")
    fields = (
        Field(name="name", label="Name", kind="text", default="Roof"),
        kwp,
        tilt,
        replace(azimuth, default=text_of(180.0 if south else 0.0)),
        Field(name="inverter", label="Feeds the bank of", kind="choice", choices=feeds),
    )
    values = {name: getattr(array, name) for name in (*quantities(Array), "name", "inverter")} if array else {}
    return Card(
        id=array.id if array else "",
        prefix=f"array-{array.id}-" if array else "add-array-",
        groups=(Group(legend=array.name if array else "Panels of one tilt and direction", fields=fields),),
        form=filled(fields, values),
        button="Save these panels" if array else "Add these panels",
    )


def _array_thing(values: Values, old: Document) -> Document:
    return {**old, **values}


def monthly_yields(house: Household) -> list[tuple[str, tuple[float, ...]]]:
    """Return kWh a day of all panels by month for a bright, an average, a dull and a dark day, DC before the charger.

    Raises
    ------
    InputError
        If the owner's days cannot be reached by any sky.
    """
    site, sun, rows = house.site, house.sun, []
    for month in range(1, 13):
        own = owner_dull_day(site, sun, month)
        dull = float(own.kc[0]) if own is not None else WORDS["dull"][1]
        kc = [WORDS["bright"][1], average_day_kc(site, sun, month), dull, WORDS["dark"][1]]
        days = np.full(len(kc), mean_day_of_year(month))
        given = yield_kwh(site, sun, kc, days) * clear_day_scale(site, sun, month)
        rows.append((MONTHS[month - 1], tuple(given.tolist())))
    return rows


def _show(request: Request, changed: Card | None = None, status: int = 200) -> Response:
    _, house = opened(request)
    cards = {card.prefix: card for card in (_site_card(house), _seen_card(house), _array_card(house, "", {}))}
    arrays = {array.id: _array_card(house, array.id, {}) for array in house.sun.arrays}
    if changed is not None and changed.id in arrays:
        arrays[changed.id] = changed
    elif changed is not None:
        cards[changed.prefix] = changed
    rows, trouble = [], ""
    if house.sun.arrays:
        try:
            rows = monthly_yields(house)
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
        arrays=[(array, direction_words(array.azimuth_deg), arrays[array.id]) for array in house.sun.arrays],
        rows=rows,
        trouble=trouble,
        climate=climates.load(house.site.climate),
        step=next_step(house),
        changed=changed,
        warnings=[*standing_notices(house), *(notice for notice in notices if notice.page == "sun")],
    )


SHELF = Shelf(section="arrays", path=PAGE.path, anchor="array", card=_array_card, thing=_array_thing, show=_show)


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the place and the panels."""
    return _show(request)


@router.post(f"{PAGE.path}/arrays")
def change_array(request: Request, sent: Sent) -> Response:
    """Add panels or save changed ones."""
    return change_thing(request, SHELF, sent)


@router.post(f"{PAGE.path}/arrays/remove")
def remove_array(request: Request, sent: Sent) -> Response:
    """Remove panels."""
    return remove_thing(request, SHELF, sent)


def _change_single(request: Request, section: str, card: Card, sent: Typed, what: str) -> Response:
    """Save the place, or what the owner has seen."""
    form: Parsed[Values] = parse(card.fields, sent, build=lambda values: values)
    card = replace(card, form=form)
    against = elsewhere(opened(request)[0], sent)
    if against:
        return _show(request, card.refused(against), 409)
    if form.value is None:
        return _show(request, card, 422)
    values = {name: (int(v) if v else None) if name in MONTH_CHOICES else v for name, v in form.value.items()}
    return save(
        request,
        sent,
        lambda document: with_values(document, section, "", values),
        what,
        f"{PAGE.path}#{card.id}",
        lambda errors, status: _show(request, card.refused(errors), status),
    )


@router.post(f"{PAGE.path}/site")
def change_site(request: Request, sent: Sent) -> Response:
    """Save where the house stands."""
    return _change_single(request, "site", _site_card(opened(request)[1]), sent, "place changed")


@router.post(f"{PAGE.path}/seen")
def change_seen(request: Request, sent: Sent) -> Response:
    """Save what the owner has seen the panels give."""
    return _change_single(request, "sun", _seen_card(opened(request)[1]), sent, "what the panels give changed")
