"""Many winters in words, figures, tables and charts, all from the same numbers."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from engine.answers.autonomy_days import LONG_DAYS, AutonomyDays, days_on_end
from engine.answers.lasting import Lasting
from engine.answers.winters import ManyWinters
from engine.answers.winters_map import OWN, TWICE
from engine.house.household import Supply
from engine.house.sizes import MOST_STRINGS
from engine.sky.spells import LEAST_YEARS
from webapp import winters_charts
from webapp.chart_parts import Figure
from webapp.render import figures, percent
from webapp.winters_tables import (
    Row,
    bank_row,
    bank_size,
    cheapest_text,
    cost_row,
    daily_kwh,
    days_cell,
    kwh_cell,
    kwp_text,
    risk_name,
    size_row,
    unserved_text,
    wear_row,
    winter_names,
    winter_row,
)
from webapp.words import counted, number

_COLUMNS = (2, 4, 6, 9, 11, 14, 19, 24, 29, 39)
"""Columns of the map that its table prints."""
RAREST_YEARS = max(LEAST_YEARS)
_EXACT = 20
"""Counts above are said as “about”: one efficiency for all charges does not tell them closer (choice)."""
_DEEP_DAYS = 10.0
"""From so many days' load unserved a year on, a count of dark spells says too little by itself (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WintersView:
    """The answer as the page shows it."""

    sentence: Markup
    unserved: str
    panels: str
    basis: str
    band: str
    map: Figure
    map_heads: tuple[str, ...]
    map_rows: tuple[Row, ...]
    needed: Figure
    winter_rows: tuple[Row, ...]
    size_rows: tuple[Row, ...]
    none_enough: str
    bank_rows: tuple[Row, ...]
    rule: str
    beside_size: str
    map_basis: str
    map_edges: str
    wear_rows: tuple[Row, ...]
    cost_rows: tuple[Row, ...]
    cheapest: tuple[str, ...]
    fuel: bool


def winters_view(answer: ManyWinters, rule: AutonomyDays, worn: Lasting, supply: Supply) -> WintersView:
    """Return the view of an answer."""
    lines = [
        winters_charts.RiskLine(
            name=risk_name(line.risk), counted=line.risk.share is None, kwp=answer.map.kwp, kwh=line.bank_kwh
        )
        for line in worn.lines
    ]
    near = answer.sizes[1]
    marks = [("your bank", answer.own.usable_kwh)]
    if near.bank_kwh is not None:
        marks.append((risk_name(near.risk), near.bank_kwh))
    return WintersView(
        sentence=sentence(answer),
        unserved=unserved(answer),
        panels=panels(answer),
        basis=basis(answer),
        band=band(answer),
        map=winters_charts.risk_map(
            lines, (answer.own_kwp, answer.own.usable_kwh), answer.map.bank_kwh[-1], cheapest_point(worn)
        ),
        map_heads=tuple(kwp_text(answer.map.kwp[column]) for column in _COLUMNS),
        map_rows=tuple((line.name, tuple(kwh_cell(line.kwh[column]) for column in _COLUMNS)) for line in lines),
        needed=winters_charts.needed(
            winter_names(answer),
            [one.needed_kwh for one in answer.winters],
            marks,
        ),
        winter_rows=tuple(
            winter_row(name, one) for name, one in zip(winter_names(answer), answer.winters, strict=True)
        ),
        size_rows=tuple(size_row(one, answer) for one in answer.sizes),
        none_enough=none_enough(answer),
        bank_rows=tuple(bank_row(one, answer, supply.bank.parallel) for one in answer.rows),
        rule=rule_sentence(rule, answer),
        beside_size=beside_size(rule, answer),
        map_basis=map_basis(answer, worn),
        map_edges=map_edges(answer, worn),
        wear_rows=tuple(wear_row(one, supply.bank.parallel) for one in worn.rows),
        cost_rows=tuple(cost_row(one, worn.currency, supply.bank.parallel) for one in worn.rows),
        cheapest=tuple(cheapest_text(one, answer, worn.currency) for one in worn.cheapest),
        fuel=any(one.fuel is not None for one in worn.rows),
    )


def winters_of(answer: ManyWinters) -> str:
    """Return the winters behind the counts: “30 made winters”."""
    return f"{answer.years} {'measured' if answer.basis == 'measured' else 'made'} winters"


def sentence(answer: ManyWinters) -> Markup:
    """Say how often the own bank runs empty, and what it takes."""
    if not answer.refills:
        return Markup("On these panels <strong>no bank of any size is full again within a year</strong>.")
    own, never = answer.own, answer.sizes[0].bank_kwh
    yours = Markup("A bank of {} usable, as yours, ").format(bank_size(own.usable_kwh))
    if not own.dark_spells:
        return yours + Markup("would <strong>never</strong> have run empty in {}.").format(winters_of(answer))
    often = Markup("would have run empty <strong>{}</strong> in {}").format(times(own.dark_spells), winters_of(answer))
    if never is None:
        most = bank_size(answer.most_kwh)
        return yours + often + Markup("; on these panels no bank of up to {} never does.").format(most)
    return yours + often + Markup("; <strong>{}</strong> never.").format(bank_size(never))


def times(count: int) -> str:
    """Write how often.

    Examples
    --------
    >>> times(1), times(2), times(7), times(478)
    ('once', 'twice', 'seven times', 'about 478 times')
    """
    about = "about " if count > _EXACT else ""
    return {0: "never", 1: "once", 2: "twice"}.get(count, f"{about}{number(count)} times")


def unserved(answer: ManyWinters) -> str:
    """Say what goes unserved with the own bank, in days' worth of use."""
    own = answer.own
    if not answer.refills:
        share = percent(own.short_share, 1)
        return f"With yours, {unserved_text(own.short_kwh_a_year)} a year go unserved, {share} of what is used."
    if not own.dark_spells:
        return "Nothing goes unserved in them; rarer winters than these they cannot tell."
    days = own.short_kwh_a_year / daily_kwh(answer)
    in_days = days_cell(own.short_kwh_a_year, answer)
    text = f"{unserved_text(own.short_kwh_a_year)} a year go unserved, as much as {in_days} days’ use, in "
    text += f"{counted(own.dark_winters, 'winter')} of {answer.years}."
    if days >= _DEEP_DAYS:
        text += " A dark spell may last for weeks: the count alone says too little."
    return text


def panels(answer: ManyWinters) -> str:
    """Say what more panels would do."""
    near, name, first = answer.map.lines[1], risk_name(answer.map.lines[1].risk), answer.map.refilled_from
    if first == len(answer.map.kwp):
        return f"Not even {kwp_text(answer.map.kwp[-1])} of panels like yours would fill one again within a year."
    if not answer.refills:
        kwp = kwp_text(answer.map.kwp[first])
        return f"From {kwp} of panels like yours on there are sizes that ride winters out."
    own_kwh, twice_kwh = near.bank_kwh[OWN], near.bank_kwh[TWICE]
    twice = kwp_text(answer.map.kwp[TWICE])
    have = kwp_text(answer.own_kwp)
    if twice_kwh is None:
        return f"Even with twice the panels, {twice}, no bank that can be built here runs empty no more than {name}."
    if own_kwh is None:
        return (
            f"For {name} no bank is large enough on {have}; with twice the panels, {twice}, {bank_size(twice_kwh)} do."
        )
    return (
        f"For {name} it takes {bank_size(own_kwh)} on {have}; with twice the panels, {twice}, {bank_size(twice_kwh)}."
    )


def basis(answer: ManyWinters) -> str:
    """Say which winters these are."""
    if answer.basis == "measured":
        return f"In the {answer.years} whole winters of {answer.title}."
    return (
        f"In {number(answer.years)} made winters with your place’s averages ({answer.title.split('made from ')[-1]}): "
        "not a forecast, and not years that were measured."
    )


def band(answer: ManyWinters) -> str:
    """Say how far chance alone moves the numbers, and what they cannot tell."""
    if not answer.refills:
        return ""
    near, low, high = answer.sizes[1], round(answer.own_low_spells), round(answer.own_high_spells)
    often = times(high) if low == high else f"{low} to {high} times"
    text = f"So picked, your bank ran empty {often}"
    if near.low_kwh is not None and near.high_kwh is not None:
        text += f", and {risk_name(near.risk)} took {kwh_cell(near.low_kwh)} to {bank_size(near.high_kwh)}"
    text += " (nine of ten picks). How well the averages of your place are known is not in it."
    if near.risk.years < RAREST_YEARS:
        text += f" {answer.years} winters are too few to tell 1 in {RAREST_YEARS} years."
    return text


def none_enough(answer: ManyWinters) -> str:
    """Say what a row without a bank means; empty where there is none."""
    if all(one.bank_kwh is not None for one in answer.sizes):
        return ""
    return f"None is enough: banks up to {bank_size(answer.most_kwh)} were tried; more panels or less use come before."


def rule_sentence(rule: AutonomyDays, answer: ManyWinters) -> str:
    """Set the rule of thumb beside the winters."""
    text = (
        f"{counted(round(rule.steps.days), 'day')} of autonomy ask for {bank_size(rule.steps.label_kwh)} on the label"
    )
    if rule.winters_label_kwh is None or rule.winters_days is None:
        return f"{text}; the winters for {risk_name(answer.sizes[1].risk)} for more than {MOST_STRINGS} strings."
    return (
        f"{text}; the winters, for {risk_name(answer.sizes[1].risk)}, for {bank_size(rule.winters_label_kwh)}, "
        f"as much as {figures(rule.winters_days)} days’ use."
    )


def beside_size(rule: AutonomyDays, answer: ManyWinters) -> str:
    """Say on Bank size why the winters ask for another bank than so many days in a row do."""
    if not answer.refills or rule.longest_away_days <= LONG_DAYS:
        return ""
    away = days_on_end(rule.longest_away_days)
    return (
        "The answer above is for one run of dull days that begins with a full bank. In these winters the panels leave "
        f"a bank short of full {away}, so that one dull spell is added to the last before it is made good."
    )


def map_basis(answer: ManyWinters, worn: Lasting) -> str:
    """Say what the lines of the map mean."""
    text = f"above a line a bank runs empty no more often than it says; {answer.years} winters"
    if not worn.age_years:
        return text
    return f"{text}; sizes bought new that are likely still enough at {worn.age_years} years"


def map_edges(answer: ManyWinters, worn: Lasting) -> str:
    """Say where the lines leave the map, and why."""
    first, top_kwh, said = answer.map.refilled_from, answer.map.bank_kwh[-1], []
    if any(kwh is not None and kwh > top_kwh for line in worn.lines for kwh in line.bank_kwh):
        said.append(f"A line that leaves at the top asks for more than {bank_size(top_kwh)}: the numbers have it.")
    if 0 < first < len(answer.map.kwp):
        said.append(
            f"Under {kwp_text(answer.map.kwp[first])} the panels do not fill a bank again within a year: a dark "
            "spell there lasts for years, and no size helps."
        )
    return " ".join(said)


def cheapest_point(worn: Lasting) -> tuple[float, float] | None:
    """Return the cheapest pair [kWp, kWh] for the second line, where prices are known."""
    return (worn.cheapest[1].kwp, worn.cheapest[1].bank_kwh) if len(worn.cheapest) > 1 else None
