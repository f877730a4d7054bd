"""A rainy week on each chemistry in words, figures, a table and a chart, all from the same numbers.

Times are on the household's clock.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime

from markupsafe import Markup

from engine.answers.comparing import Comparison, Contender
from engine.cells import catalogue
from engine.house.bank import Bank
from engine.house.household import Supply
from engine.house.inverter import Inverter
from engine.quantities import DAYS_PER_YEAR
from engine.sky.site import Site
from webapp import charts
from webapp.chart_parts import STYLES, Curve, Figure
from webapp.facts import tidy
from webapp.generator_view import litres
from webapp.questions import civil_times, to_civil, to_standard
from webapp.render import NO_BREAK, fixed, percent
from webapp.words import energy, listed, long_date, mid_sentence, number, stamp

NOTHING_KWH = 0.005
NO_DIFFERENCE_SHARE = 0.05
"""Shortfalls closer to each other than this share of the demand name no winner (judgement)."""
LOWERED_V = 0.005
STYLE_PLACES = {chemistry: place for place, chemistry in enumerate(catalogue.COMPARED)}
"""Each chemistry keeps its colour and dash, whatever its rank."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ContenderView:
    """One chemistry as the page shows it."""

    contender: Contender
    short_name: str
    settings: str
    own_count: str
    stop: str
    full_again: str
    style: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekView:
    """A comparison as the page shows it."""

    sentence: Markup
    basis: str
    contenders: tuple[ContenderView, ...]
    worth: str
    generator: str
    figure: Figure
    rows: tuple[tuple[str, tuple[str, ...]], ...]


def on_the_clock(answer: Comparison, site: Site) -> Comparison:
    """Return the answer with its moments on the household's clock, aware."""
    contenders = tuple(
        dataclasses.replace(one, full_again_at=None if one.full_again_at is None else to_civil(site, one.full_again_at))
        for one in answer.contenders
    )
    return dataclasses.replace(answer, at=to_civil(site, answer.at), contenders=contenders)


def week_view(answer: Comparison, site: Site, supply: Supply) -> WeekView:
    """Return the view of a comparison that is on the household's clock; `supply` is the one that is compared."""
    inverter = supply.inverter
    short = short_names([one.name for one in answer.contenders])
    start = to_standard(site, answer.at)
    times = civil_times(site, start, answer.contenders[0].times_h.tolist())
    curves = [Curve(name=one.name, times=times, percent=tuple((one.soc * 100.0).tolist())) for one in answer.contenders]
    columns = [[f"{value:.1f}" for value in curve.percent] for curve in curves]
    return WeekView(
        sentence=sentence(answer, short),
        basis=basis_sentence(answer),
        contenders=tuple(
            ContenderView(
                contender=one,
                short_name=name,
                settings=settings(one, inverter),
                own_count=own_count(one, supply.bank),
                stop=stop_sentence(one, inverter),
                full_again=full_again(one.full_again_at),
                style=STYLE_PLACES[one.chemistry],
            )
            for one, name in zip(answer.contenders, short, strict=True)
        ),
        worth=worth_sentence(answer),
        generator=generator_sentence(answer, short),
        figure=charts.week(curves, short, [STYLES[STYLE_PLACES[one.chemistry]] for one in answer.contenders]),
        rows=tuple(zip(map(stamp, times), zip(*columns, strict=True), strict=True)),
    )


def short_names(names: list[str]) -> list[str]:
    """Return the names for the ends of lines: without what stands in brackets or after a comma, if still unlike.

    Examples
    --------
    >>> short_names(["LFP (lithium iron phosphate)", "Lead-acid, sealed"])
    ['LFP', 'Lead-acid']
    >>> short_names(["Lead-acid, sealed", "Lead-acid, flooded"])
    ['Lead-acid, sealed', 'Lead-acid, flooded']
    """
    short = [name.split(" (")[0].split(",")[0] for name in names]
    return short if len(set(short)) == len(names) else names


def sentence(answer: Comparison, short: list[str]) -> Markup:
    """Say who carries the days and who goes short, by how much."""
    carried = [name for name, one in zip(short, answer.contenders, strict=True) if one.unserved_kwh < NOTHING_KWH]
    lacking = [
        (name, one) for name, one in zip(short, answer.contenders, strict=True) if one.unserved_kwh >= NOTHING_KWH
    ]
    days = f"these {number(round(answer.hours / 24))} days"
    if not lacking:
        return Markup("<strong>{}</strong> {} the loads through {}.").format(_all(carried), _carry(carried), days)
    if carried:
        return Markup("<strong>{}</strong> {} the loads through {}; <strong>{}</strong> {} short by {}.").format(
            listed([carried[0], *map(mid_sentence, carried[1:])]),
            _carry(carried),
            days,
            listed([mid_sentence(name) for name, _ in lacking]),
            "falls" if len(lacking) == 1 else "fall",
            _shortfalls(lacking),
        )
    (best, least), (worst, most) = lacking[0], lacking[-1]
    if len(lacking) > 1 and most.unserved_kwh - least.unserved_kwh < NO_DIFFERENCE_SHARE * answer.demand_kwh:
        return Markup(
            "None of them carries the loads through {}, and the bank is <strong>too small for any of them to make a "
            "difference</strong>: they fall short by <strong>{}</strong>."
        ).format(days, _shortfalls(lacking))
    others = f", {mid_sentence(worst)} most, by {energy(most.unserved_kwh)}" if len(lacking) > 1 else ""
    return Markup(
        "None of them carries the loads through {}. <strong>{}</strong> falls short least, by <strong>{}</strong>{}."
    ).format(days, best, energy(least.unserved_kwh), others)


def _all(names: list[str]) -> str:
    return f"All {number(len(names))}" if len(names) > 2 else listed([names[0], *map(mid_sentence, names[1:])])


def _carry(names: list[str]) -> str:
    return "carries" if len(names) == 1 else "carry"


def _shortfalls(lacking: list[tuple[str, Contender]]) -> str:
    low, high = energy(lacking[0][1].unserved_kwh), energy(lacking[-1][1].unserved_kwh)
    return low if low == high else f"{low} to {high}"


def basis_sentence(answer: Comparison) -> str:
    """Say what is the same for all, and whose days these are."""
    first = answer.contenders[0]
    same = (
        f"each with {energy(first.label_kwh)} on its label"
        if answer.basis == "label"
        else f"each with {energy(first.usable_kwh)} usable, as much as yours gives"
    )
    days = {
        "none": "No sun at all is assumed.",
        "measured elsewhere": f"The days are records from elsewhere: {answer.sky_title}.",
        "made": f"The days are made for your place, not measured: {answer.sky_title}.",
        "own file": f"The days are out of your own file: {answer.sky_title}.",
    }.get(answer.sky_basis, f"The days are yours: {answer.sky_title}.")
    return f"The same {energy(answer.demand_kwh)} of loads, {same}, full on {long_date(answer.at.date())}. {days}"


def worth_sentence(answer: Comparison) -> str:
    """Say how many days without any sun the spell is worth; empty where that says nothing."""
    if answer.dark_days is None or answer.sky_basis == "none":
        return ""
    if answer.dark_days > DAYS_PER_YEAR:
        return "This spell is worth more than a year without any sun."
    days = tidy(answer.dark_days, 2)
    return f"This spell is worth about {days} {'day' if days == '1' else 'days'} without any sun."


def generator_sentence(answer: Comparison, short: list[str]) -> str:
    """Say with which cells the generator burns least and most, and who goes short all the same; empty without one."""
    helped = [
        (name, one.with_generator) for name, one in zip(short, answer.contenders, strict=True) if one.with_generator
    ]
    if not helped:
        return ""
    if all(week.starts == 0 for _, week in helped):
        return "It is not due with any of them."
    ordered = sorted(helped, key=lambda pair: pair[1].litres)
    (least, low), (most, high) = ordered[0], ordered[-1]
    lacking = [name for name, week in helped if week.unserved_kwh >= NOTHING_KWH]
    short_still = (
        f"{listed([mid_sentence(name) for name in lacking])} still {_fall(lacking)} short"
        if lacking
        else "nothing goes unserved"
    )
    if litres(low.litres) == litres(high.litres):
        return f"It burns {litres(high.litres)} with any of them, and {short_still}."
    return (
        f"It burns least with {mid_sentence(least)}, {litres(low.litres)}, and most with {mid_sentence(most)}, "
        f"{litres(high.litres)}; {short_still}."
    )


def _fall(names: list[str]) -> str:
    return "falls" if len(names) == 1 else "fall"


def settings(one: Contender, inverter: Inverter) -> str:
    """Say how the cells of a contender are set, what lowered it, and how the inverter cut it off."""
    hold = "held" if one.hold else "not held"
    volts = f"to {fixed(one.charge_v, 2)}{NO_BREAK}V per cell"
    if one.charge_v < one.usual_charge_v - LOWERED_V:
        volts = f"lowered {volts} by this inverter’s {inverter.charge_max_v:g}{NO_BREAK}V"
    told = f"{volts}, {hold}, reserve {percent(one.reserve_soc)}"
    if one.ended_by != "inverter":
        return told
    return (
        f"{told}; cut off at {inverter.dc_min_v:g}{NO_BREAK}V under load; waits for "
        f"{inverter.restart_v:g}{NO_BREAK}V to restart"
    )


def own_count(one: Contender, bank: Bank) -> str:
    """Say where one's own bank of that chemistry has another number of cells in series; nothing elsewhere."""
    if one.chemistry != bank.cell.base_id or one.series == bank.series:
        return ""
    return f"not your bank, which has {bank.series} in series"


def stop_sentence(one: Contender, inverter: Inverter) -> str:
    """Say that a contender's full cells stand above the inverter's volts, and what alone keeps them within; or nothing.

    Only where no number of such cells stays within does one stand in the comparison.
    """
    if not one.stop:
        return ""
    return (
        f"{one.series} in series stand at {fixed(one.full_v, 1)}{NO_BREAK}V when full, above {inverter.dc_max_v:g}"
        f"{NO_BREAK}V; only while every charger keeps to {fixed(one.charge_v * one.series, 1)}{NO_BREAK}V"
    )


def full_again(moment: datetime | None) -> str:
    """Say when a bank is full again after its lowest point."""
    return "not within these days" if moment is None else stamp(moment)
