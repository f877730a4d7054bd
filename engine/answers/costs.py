"""What a bank, its panels and the fuel beside them cost, from the prices a person typed and nothing else.

Money in the household's currency, energy kWh, panels kWp, fuel litres. Whatever needs a price that was not typed is
None. A bank's price is that of its label; usable and delivered kWh are at its terminals.
Not modelled: interest, inflation, work, prices to come, what old cells fetch; a generator that starts before it must
burns more than stands here.
"""

from __future__ import annotations

from dataclasses import dataclass

from engine.cells.ageing import MOST_YEARS, Life
from engine.house.generator import Generator
from engine.house.prices import Prices
from engine.quantities import WH_PER_KWH

LOOKED_AHEAD_YEARS = 20.0
"""Years that replacements are listed for (choice, as far as lives are told)."""
_SAME = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class PerKwh:
    """Money for each kWh delivered over a life: `low` where it lasts long, `high` where it does not."""

    low: float
    likely: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Replacements:
    """Years from new in which the bank is bought again: with a long life, the likely one and a short one."""

    long: tuple[float, ...]
    likely: tuple[float, ...]
    short: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BankCost:
    """What one bank costs.

    Attributes
    ----------
    price : float or None
        Of its label kWh.
    per_usable_kwh : float or None
        That price for each usable kWh.
    per_delivered_kwh : PerKwh or None
        That price for each kWh delivered until the end of its life, the same kWh every year.
    replacements : Replacements
        Within `LOOKED_AHEAD_YEARS`.
    lives_held : bool
        Whether a life stands at the longest that is told: its cost for each kWh is then at most this.
    """

    price: float | None
    per_usable_kwh: float | None
    per_delivered_kwh: PerKwh | None
    replacements: Replacements
    lives_held: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FuelCost:
    """What a generator burns in a year for the kWh that the bank does not give.

    Attributes
    ----------
    power_w : float
        What it gives at its sockets while it runs.
    served_kwh_per_litre : float
        Unserved kWh made good for each litre, the loss of charging taken off.
    run_h_a_year, litres_a_year : float
        Hours run and litres burnt.
    price_a_year : float or None
        Of those litres.
    """

    power_w: float
    served_kwh_per_litre: float
    run_h_a_year: float
    litres_a_year: float
    price_a_year: float | None


def bank_cost(prices: Prices, label_kwh: float, usable_kwh: float, kwh_a_year: float, life: Life) -> BankCost:
    """Work out what a bank costs.

    Parameters
    ----------
    prices : Prices
    label_kwh, usable_kwh : float
        Size on the label and at the terminals [kWh].
    kwh_a_year : float
        What it delivers a year [kWh]; with 0 there is no price for each kWh.
    life : Life
        Years to the end, from `engine.cells.ageing.life_years`.
    """
    price = None if prices.bank_per_kwh is None else prices.bank_per_kwh * label_kwh
    return BankCost(
        price=price,
        per_usable_kwh=None if price is None or usable_kwh <= 0.0 else price / usable_kwh,
        per_delivered_kwh=_per_delivered(price, kwh_a_year, life),
        replacements=Replacements(
            long=replacement_years(life.high),
            likely=replacement_years(life.likely),
            short=replacement_years(life.low),
        ),
        lives_held=life.beyond,
    )


def _per_delivered(price: float | None, kwh_a_year: float, life: Life) -> PerKwh | None:
    """The price over the kWh of a long, the likely and a short life."""
    if price is None or kwh_a_year <= 0.0 or life.low <= 0.0:
        return None
    low, likely, high = (price / (kwh_a_year * years) for years in (life.high, life.likely, life.low))
    return PerKwh(low=low, likely=likely, high=high)


def replacement_years(life_years: float) -> tuple[float, ...]:
    """Return the years from new in which a bank is bought again, before `LOOKED_AHEAD_YEARS` are over.

    Parameters
    ----------
    life_years : float
        Above 0; at `MOST_YEARS` or more nothing is bought again.

    Examples
    --------
    >>> replacement_years(8.0), replacement_years(20.0)
    ((8.0, 16.0), ())
    """
    if not 0.0 < life_years < MOST_YEARS:
        return ()
    times = int((LOOKED_AHEAD_YEARS - _SAME) / life_years)
    return tuple(life_years * time for time in range(1, times + 1))


def panels_price(prices: Prices, kwp: float) -> float | None:
    """Return what panels of `kwp` [kWp] cost; None where their price was not typed."""
    return None if prices.panels_per_kwp is None else prices.panels_per_kwp * kwp


def fuel_cost(
    prices: Prices, generator: Generator, unserved_kwh_a_year: float, load_w: float, charge_efficiency: float
) -> FuelCost | None:
    """Work out the least fuel that makes good what a bank leaves unserved.

    Parameters
    ----------
    generator : Generator
        It carries the load and charges with the rest, up to what its charger and its rating give.
    unserved_kwh_a_year : float
        At the bank's terminals [kWh], >= 0.
    load_w : float
        Mean draw at the terminals while it runs [W]; what it carries of that is made good at once.
    charge_efficiency : float
        Share of what is put into the bank that comes back [-].

    Returns
    -------
    FuelCost or None
        None where it has nothing to give: no load and no charger.
    """
    carried_w = min(load_w, generator.rated_w)
    into_w = generator.charging_w(carried_w)
    served_w = carried_w + into_w * charge_efficiency
    if served_w <= 0.0:
        return None
    power_w = carried_w + into_w / generator.charger_efficiency
    run_h = unserved_kwh_a_year * WH_PER_KWH / served_w
    litres = generator.litres(power_w * run_h, run_h)
    an_hour = generator.litres(power_w, 1.0)
    return FuelCost(
        power_w=power_w,
        served_kwh_per_litre=served_w / WH_PER_KWH / an_hour,
        run_h_a_year=run_h,
        litres_a_year=litres,
        price_a_year=None if prices.fuel_per_litre is None else prices.fuel_per_litre * litres,
    )
