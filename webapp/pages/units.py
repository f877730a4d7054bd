"""Units: in what the household reads and types temperatures, cables, fuel, distances, numbers and times."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.house.household import Household
from engine.house.units import CHOICES, Units
from webapp.as_shown import AsShown
from webapp.editing import Sent, change_part, opened
from webapp.forms import Card, Field, Group, Values, filled
from webapp.render import Page, render
from webapp.standing import next_step

PAGE = Page("Describe", "Units", "/units", "How you read and type: degrees, cables, numbers")
router = APIRouter()

EXAMPLE = (
    "At 14:30 on 21 June the shed was at 20.5 °C; 3 m of 33.631 mm² cable; the generator burnt 2.5 l; the car drove "
    "30 km; 1,234.5 kWh so far."
)
"""A sentence of the program as the engine writes it, to see how it reads."""


AT_ONCE = (
    ("Metric, 12.5", Units()),
    ("Metric, 12,5", Units(decimal="comma")),
    (
        "As in the United States",
        Units(temperature="f", wire="awg", length="ft", volume="gal", distance="mi", clock="12"),
    ),
)
"""What is usual together, for one press."""


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the units."""
    return _show(request, units_card(opened(request)[1]))


@router.post(PAGE.path)
def change(request: Request, sent: Sent) -> Response:
    """Save what was chosen."""
    return change_part(
        request, "units", units_card(opened(request)[1]), sent, "units changed", PAGE.path, _show, _values
    )


def units_card(house: Household) -> Card:
    """Return the form of the units."""
    fields = tuple(
        Field(name=name, label=label, kind="choice", choices=tuple(choices.items()), default=next(iter(choices)))
        for name, (label, choices) in CHOICES.items()
    )
    group = Group(legend="How you read and type", fields=fields)
    values = {name: getattr(house.units, name) for name in CHOICES}
    return Card(id="units", prefix="units-", groups=(group,), form=filled(fields, values), button="Save units")


def _values(values: Values) -> Values:
    Units(**values)
    return values


def _show(request: Request, card: Card, status: int = 200) -> Response:
    house = opened(request)[1]
    example = AsShown(house.units).text(EXAMPLE)
    at_once = [(name, asdict(units)) for name, units in AT_ONCE if units != house.units]
    return render(
        request, "units.html", status=status, card=card, example=example, at_once=at_once, step=next_step(house)
    )
