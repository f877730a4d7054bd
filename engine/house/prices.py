"""What a household pays: its currency by its symbol, and the prices it knows.

Money in that currency, energy kWh, panels kWp, fuel litres. A price that nobody typed is None, and what would need it
is not worked out: none is made up here.
Not modelled: work, transport, interest, inflation, what old cells fetch.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from engine.errors import InputError
from engine.fields import check, quantity

LONGEST_SYMBOL = 4
MOST = 1e9
"""Highest price: room for any currency."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """Prices as typed; all may be left empty."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    currency: str = ""
    bank_per_kwh: float | None = quantity(
        "Price of a bank",
        "for each kWh on the label",
        0,
        MOST,
        default=None,
        optional=True,
        hint="Cells, boards, case and cables together, divided by the kWh on the label",
    )
    panels_per_kwp: float | None = quantity(
        "Price of panels",
        "for each kWp",
        0,
        MOST,
        default=None,
        optional=True,
        hint="Panels, frames and solar chargers together, divided by their kWp",
    )
    fuel_per_litre: float | None = quantity(
        "Price of fuel", "for each litre", 0, MOST, default=None, optional=True, hint="As you pay it, brought home"
    )

    def __post_init__(self) -> None:
        check(self)
        if len(self.currency) > LONGEST_SYMBOL:
            raise InputError(
                "currency",
                f"The currency is its symbol, at most {LONGEST_SYMBOL} characters; it has {len(self.currency):,}.",
            )
        if not all(sign.isprintable() and not sign.isspace() and not sign.isdigit() for sign in self.currency):
            raise InputError("currency", "The currency is its symbol only, such as € or kr: no digits and no spaces.")

    @property
    def known(self) -> bool:
        """Whether any price was typed."""
        return not (self.bank_per_kwh is None and self.panels_per_kwp is None and self.fuel_per_litre is None)
