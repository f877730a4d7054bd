"""Rows and names of the tables of Winters."""

from __future__ import annotations

from engine.answers.lasting import Cheapest, LastingRow
from engine.answers.risks import NEVER, Risk
from engine.answers.winters import BankRow, ManyWinters, RiskSize
from engine.answers.winters_years import Winter
from engine.cells.ageing import LEAST_SHARE, MOST_YEARS, Left
from engine.quantities import DAYS_PER_YEAR
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.words import MONTHS

Row = tuple[str, tuple[str, ...]]


def risk_name(risk: Risk) -> str:
    """Return what a risk is called on a line and in a table.

    Examples
    --------
    >>> risk_name(Risk(id="never")), risk_name(Risk(id="1in10", years=10)), risk_name(Risk(id="1in1", years=1))
    ('never', '1 in 10 years', 'once a year')
    """
    if risk.share is not None:
        return f"{risk.share * 100:g} % unserved"
    if risk.id == NEVER:
        return "never"
    return "once a year" if risk.years == 1 else f"1 in {risk.years} years"


def kwh_cell(kwh: float | None) -> str:
    """Write a size of bank, the same in sentences, tables and bands.

    Examples
    --------
    >>> kwh_cell(17.46), kwh_cell(660.8), kwh_cell(None)
    ('17.5', '661', '–')
    """
    return figures(kwh, 3)


def bank_size(kwh: float) -> str:
    """Write a size of bank with its unit, in a sentence."""
    return f"{kwh_cell(kwh)}{NO_BREAK}kWh"


def unserved_cell(kwh: float) -> str:
    """Write what goes unserved, the same in sentences and tables.

    Examples
    --------
    >>> unserved_cell(0.004), unserved_cell(9.81), unserved_cell(412.3)
    ('0', '9.8', '412')
    """
    return "0" if abs(kwh) < 0.005 else figures(kwh)


def unserved_text(kwh: float) -> str:
    """Write what goes unserved with its unit, in a sentence."""
    return f"{unserved_cell(kwh)}{NO_BREAK}kWh"


def days_cell(kwh: float, answer: ManyWinters) -> str:
    """Write an energy in days’ use, the same in sentences and tables."""
    return figures(kwh / daily_kwh(answer))


def kwp_text(kwp: float) -> str:
    """Write a size of panels with its unit, the same in sentences and tables."""
    return f"{figures(kwp, 3)}{NO_BREAK}kWp"


def daily_kwh(answer: ManyWinters) -> float:
    """Return what a mean day of the year draws [kWh]."""
    return answer.load_kwh_a_year / DAYS_PER_YEAR


def winter_names(answer: ManyWinters) -> list[int]:
    """Return the year each winter begins in; made winters, which belong to no year, are numbered from 1."""
    if answer.basis == "measured":
        return [one.year for one in answer.winters]
    return list(range(1, answer.years + 1))


def winter_row(name: int, winter: Winter) -> Row:
    """Return a winter with the bank it asks for, its month, and how yours came through."""
    month = MONTHS[winter.month - 1] if winter.month else "–"
    asked = "none does" if winter.needed_kwh is None else kwh_cell(winter.needed_kwh)
    cells = (asked, month, str(winter.dark_spells), unserved_cell(winter.short_kwh))
    return str(name), cells


def size_row(one: RiskSize, answer: ManyWinters) -> Row:
    """Return the bank for a risk on the own panels, with its band."""
    if one.bank_kwh is None:
        return risk_name(one.risk), ("none is enough", "", "", "")
    between = "–" if one.low_kwh is None else _between(one.low_kwh, one.high_kwh)
    cells = (kwh_cell(one.bank_kwh), between, kwh_cell(one.label_kwh), str(one.strings))
    return risk_name(one.risk), cells


def _between(low_kwh: float, high_kwh: float | None) -> str:
    """Write a band; one without an upper end is “from”."""
    return f"from {kwh_cell(low_kwh)}" if high_kwh is None else f"{kwh_cell(low_kwh)} to {kwh_cell(high_kwh)}"


def bank_row(one: BankRow, answer: ManyWinters, own_strings: int) -> Row:
    """Return a bank of whole strings with what it leaves dark."""
    cells = (
        kwh_cell(one.usable_kwh),
        kwh_cell(one.label_kwh),
        str(one.dark_spells),
        str(one.dark_winters),
        unserved_cell(one.short_kwh_a_year),
        percent(one.short_share, 1),
        days_cell(one.short_kwh_a_year, answer),
    )
    return _named(one.strings, own_strings), cells


def cheapest_text(one: Cheapest, answer: ManyWinters, currency: str) -> str:
    """Say the cheapest pair for a risk."""
    name = next(risk_name(line.risk) for line in answer.map.lines if line.risk.id == one.risk_id)
    price = money(one.price, currency)
    text = f"{name}: {bank_size(one.bank_kwh)} usable and {kwp_text(one.kwp)}, {price} for bank and further panels"
    return f"{text}; the map ends there" if one.kwp == answer.map.kwp[-1] else text


def money(amount: float | None, currency: str) -> str:
    """Write an amount with its symbol.

    Examples
    --------
    >>> money(1234.5, "€"), money(0.1234, ""), money(None, "€")
    ('1\u202f234\xa0€', '0.12', '–')
    """
    if amount is None:
        return "–"
    text = figures(amount) if amount < 10.0 else fixed(amount)
    return f"{text}\u00a0{currency}" if currency else text


def _named(strings: int, own_strings: int) -> str:
    return f"{strings}, yours" if strings == own_strings else str(strings)


def _left(age: Left) -> str:
    """Write a share left with its range; what is held at the least that is told is “or less”."""
    if age.likely <= LEAST_SHARE:
        return f"{percent(LEAST_SHARE)} or less"
    return f"{percent(age.likely)} ({fixed(age.low * 100)} to {fixed(age.high * 100)})"


def wear_row(one: LastingRow, own_strings: int) -> Row:
    """Return what is left of a bank through the years."""
    left = (_left(age) for age in one.left[1:])
    most = "over " if one.life.high >= MOST_YEARS else ""
    life = f"{fixed(one.life.likely, 0)} ({fixed(one.life.low, 0)} to {most}{fixed(one.life.high, 0)})"
    bought = ", ".join(fixed(year, 0) for year in one.cost.replacements.likely) or "not in 20 years"
    return _named(one.strings, own_strings), (fixed(one.use.cycles_a_year, 0), *left, life, bought)


def cost_row(one: LastingRow, currency: str, own_strings: int) -> Row:
    """Return what a bank costs."""
    cost, fuel = one.cost, one.fuel
    each = cost.per_delivered_kwh
    between = "–" if each is None else f"{money(each.low, currency)} to {money(each.high, currency)}"
    cells = [money(cost.price, currency), money(cost.per_usable_kwh, currency), between]
    if fuel is not None:
        cells += [fixed(fuel.litres_a_year, 0), fixed(fuel.run_h_a_year, 0), money(fuel.price_a_year, currency)]
    return _named(one.strings, own_strings), tuple(cells)
