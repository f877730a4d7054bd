"""Prices: what the household pays, in its own currency; what needs a price that is not typed is left out."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.fields import quantities
from engine.house.household import Household
from engine.house.prices import LONGEST_SYMBOL, Prices
from webapp.editing import Sent, change_part, opened
from webapp.forms import Card, Field, Group, Values, filled, number_fields
from webapp.render import Page, render
from webapp.standing import next_step

PAGE = Page("Describe", "Prices", "/prices", "What bank, panels and fuel cost you")
router = APIRouter()


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the prices."""
    return _show(request, prices_card(opened(request)[1]))


@router.post(PAGE.path)
def change(request: Request, sent: Sent) -> Response:
    """Save what was typed."""
    return change_part(
        request, "prices", prices_card(opened(request)[1]), sent, "prices changed", PAGE.path, _show, _values
    )


def prices_card(house: Household) -> Card:
    """Return the form of the prices."""
    symbol = Field(
        name="currency",
        label="Currency",
        kind="text",
        default=house.prices.currency,
        hint=f"Its symbol, up to {LONGEST_SYMBOL} characters",
        optional=True,
    )
    fields = (
        symbol,
        *number_fields(Prices, "bank_per_kwh"),
        *number_fields(Prices, "panels_per_kwp"),
        *number_fields(Prices, "fuel_per_litre"),
    )
    group = Group(legend="What you pay", fields=fields, hint="Leave empty what you do not know: nothing is made up.")
    values = {name: getattr(house.prices, name) for name in quantities(Prices)}
    return Card(id="prices", prefix="prices-", groups=(group,), form=filled(fields, values), button="Save prices")


def _values(values: Values) -> Values:
    Prices(**values)
    return values


def _show(request: Request, card: Card, status: int = 200) -> Response:
    return render(request, "prices.html", status=status, card=card, step=next_step(opened(request)[1]))
