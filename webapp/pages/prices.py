"""Prices: what the household pays, in its own currency; what needs a price that is not typed is left out."""

from __future__ import annotations

import re
from collections.abc import Mapping

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
PRICED = tuple(quantities(Prices))
_SYMBOL, _FIGURE = rf"[^\d\s.,+/*−-]{{1,{LONGEST_SYMBOL}}}", r"\d[\d.,\s]*"
_PRICED = re.compile(rf"(?P<before>{_SYMBOL})\s*(?P<one>{_FIGURE})|(?P<other>{_FIGURE}?)\s*(?P<after>{_SYMBOL})")
_NO_CURRENCY = frozenset({"k", "m", "kwh", "wh", "kwp", "l"})
"""What may stand behind a price and is none."""


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the prices."""
    return _show(request, prices_card(opened(request)[1]))


@router.post(PAGE.path)
def change(request: Request, sent: Sent) -> Response:
    """Save what was typed."""
    card = prices_card(opened(request)[1])
    return change_part(request, "prices", card, without_currency(sent), "prices changed", PAGE.path, _show, _values)


def without_currency(sent: Mapping[str, str]) -> dict[str, str]:
    """Return what was sent with a currency typed beside a price taken off, and put into its own field where it fits.

    A price in another currency than the household's stays as it was typed, and is refused.

    Examples
    --------
    >>> without_currency({"currency": "", "bank_per_kwh": "AUD 400"})
    {'currency': 'AUD', 'bank_per_kwh': '400'}
    >>> without_currency({"currency": "€", "bank_per_kwh": "400 €", "fuel_per_litre": "$2", "panels_per_kwp": "5 kWp"})
    {'currency': '€', 'bank_per_kwh': '400', 'fuel_per_litre': '$2', 'panels_per_kwp': '5 kWp'}
    """
    found = dict(sent)
    for name in PRICED:
        typed = _PRICED.fullmatch(sent.get(name, "").strip())
        if typed is None:
            continue
        symbol = typed["before"] or typed["after"]
        if symbol.lower() not in _NO_CURRENCY and found.get("currency", "").strip() in ("", symbol):
            found |= {"currency": symbol, name: typed["one"] or typed["other"]}
    return found


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
