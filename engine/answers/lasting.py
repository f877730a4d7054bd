"""How banks of whole strings wear through the years, what they cost, and the map for a bank that has worn.

Use is taken from the winters: what a bank gives a year over what its cells hold makes its full cycles, a mean night's
share of it their depth. Shares are of the first capacity; money is in the household's own currency, and None where a
price was not typed.
Not modelled: a window that shrinks as resistance grows; years that differ.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.answers.costs import BankCost, FuelCost, bank_cost, fuel_cost, panels_price
from engine.answers.winters import BankRow, ManyWinters
from engine.answers.winters_map import Line
from engine.cells.ageing import Left, Life, Use, ageing_of, life_years, share_left
from engine.house.household import Household, Supply
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sources import Source

YEARS = (0, 5, 10, 15)
"""Ages that are shown [years]."""
NIGHT_SHARE = 0.6
"""Share of a day's draw that a bank gives in a usual night (judgement)."""
_ROUNDS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class LastingRow:
    """One bank of whole strings: capacity left at each of `YEARS`, life, cost, and fuel for what it leaves unserved."""

    strings: int
    use: Use
    left: tuple[Left, ...]
    life: Life
    cost: BankCost
    fuel: FuelCost | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cheapest:
    """The pair of panels and bank that costs least for one risk, more panels than the own being bought [kWp, kWh]."""

    risk_id: str
    kwp: float
    bank_kwh: float
    price: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Lasting:
    """Banks through the years; `lines` are those of the map at `age_years`, `cheapest` where both prices are known."""

    age_years: int
    currency: str
    source: Source
    spread: str
    rows: tuple[LastingRow, ...]
    lines: tuple[Line, ...]
    cheapest: tuple[Cheapest, ...]


def lasting(household: Household, supply: Supply, answer: ManyWinters, age_years: int = 0) -> Lasting:
    """Work out wear and cost of the banks of an answer.

    Parameters
    ----------
    answer : ManyWinters
        Of this supply.
    age_years : int
        Age of the bank for which the lines are drawn [years].
    """
    rows = tuple(_row(household, supply, answer, row) for row in answer.rows)
    model = ageing_of(supply.bank.cell)
    lines = answer.map.lines if age_years == 0 else _aged(supply, answer, age_years)
    return Lasting(
        age_years=age_years,
        currency=household.prices.currency,
        source=model.source,
        spread=model.spread,
        rows=rows,
        lines=lines,
        cheapest=_cheapest(household, answer, lines),
    )


def use_of(supply: Supply, answer: ManyWinters, bank_kwh: float, given_kwh_a_year: float) -> Use:
    """Return how a bank of a size is used.

    Parameters
    ----------
    bank_kwh : float
        Usable [kWh].
    given_kwh_a_year : float
        What it gives itself [kWh a year].
    """
    bank, share = supply.bank, answer.own.usable_kwh / answer.own.label_kwh
    held_kwh = bank_kwh / share * (1.0 if bank.tested_ah is None else bank.tested_ah / bank.label_ah)
    night_kwh = NIGHT_SHARE * answer.mean_draw_w * HOURS_PER_DAY / WH_PER_KWH
    depth = min(night_kwh, bank_kwh) / held_kwh
    return Use(
        cell_c=bank.cell_c,
        mean_soc=float(np.clip(bank.top_reached_soc - 0.5 * depth, 0.0, 1.0)),
        depth=min(depth, 1.0),
        cycles_a_year=min(given_kwh_a_year / held_kwh, 5000.0),
        c_rate=min(answer.mean_draw_w / WH_PER_KWH / held_kwh, 5.0),
    )


def _row(household: Household, supply: Supply, answer: ManyWinters, row: BankRow) -> LastingRow:
    use = use_of(supply, answer, row.usable_kwh, row.given_kwh_a_year)
    life = life_years(supply.bank.cell, use)
    generator, unserved = supply.generator, row.short_kwh_a_year
    fuel = None
    if generator is not None:
        fuel = fuel_cost(household.prices, generator, unserved, answer.mean_draw_w, answer.charge_efficiency)
    return LastingRow(
        strings=row.strings,
        use=use,
        left=tuple(share_left(supply.bank.cell, years, use) for years in YEARS),
        life=life,
        cost=bank_cost(household.prices, row.label_kwh, row.usable_kwh, row.given_kwh_a_year, life),
        fuel=fuel,
    )


def _aged(supply: Supply, answer: ManyWinters, age_years: int) -> tuple[Line, ...]:
    """The lines of banks that are still enough at an age."""
    return tuple(
        Line(risk=line.risk, bank_kwh=tuple(_bought(supply, answer, kwh, age_years) for kwh in line.bank_kwh))
        for line in answer.map.lines
    )


def _bought(supply: Supply, answer: ManyWinters, needed_kwh: float | None, age_years: int) -> float | None:
    """The bank to buy that likely still has `needed_kwh` at an age; None where none that can be built has."""
    if not needed_kwh:
        return needed_kwh
    bought = needed_kwh
    for _ in range(_ROUNDS):
        use = use_of(supply, answer, bought, answer.own.given_kwh_a_year)
        bought = needed_kwh / share_left(supply.bank.cell, age_years, use).likely
    return bought if bought <= answer.most_kwh else None


def _cheapest(household: Household, answer: ManyWinters, lines: tuple[Line, ...]) -> tuple[Cheapest, ...]:
    """For each risk the pair of the map that costs least; none where a price is missing."""
    prices = household.prices
    if prices.bank_per_kwh is None or prices.panels_per_kwp is None:
        return ()
    found = (_cheapest_of(household, answer, line) for line in lines)
    return tuple(one for one in found if one is not None)


def _cheapest_of(household: Household, answer: ManyWinters, line: Line) -> Cheapest | None:
    per_label = household.prices.bank_per_kwh or 0.0
    label_per_usable = answer.own.label_kwh / answer.own.usable_kwh
    pairs = []
    for kwp, kwh in zip(answer.map.kwp, line.bank_kwh, strict=True):
        if kwh is not None:
            panels = panels_price(household.prices, max(kwp - answer.own_kwp, 0.0)) or 0.0
            pairs.append((panels + per_label * label_per_usable * kwh, kwp, kwh))
    if not pairs:
        return None
    price, kwp, kwh = min(pairs)
    return Cheapest(risk_id=line.risk.id, kwp=kwp, bank_kwh=kwh, price=price)
