"""The hours left in words, figures and a chart: one view of each bank of an answer.

Sentence, range, figures and chart are made from the same numbers here, so that they cannot disagree.
Times are on the household's clock.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from markupsafe import Markup

from engine.answers.answer import Lever
from engine.answers.autonomy import Autonomy, BankAutonomy
from engine.answers.generating import WithGenerator
from engine.house.household import Household, Supply
from engine.house.loads import daily_kwh
from engine.sky.days import Sky
from engine.sky.site import Site
from webapp import charts
from webapp.chart_parts import Curve, Figure
from webapp.generator_view import GeneratorView, generator_view
from webapp.questions import civil_times, to_civil, to_standard
from webapp.render import NO_BREAK, fixed, percent
from webapp.words import between, duration, in_sentence, listed, long_date, number, short_date, stamp, until, weekday

FULL_WITHIN = 0.005
"""A charge this close below where charging ends is called full."""
NOTHING_H = 0.02
LEAST_GAIN_H = 0.05
"""A change worth less than this is not listed."""
LEAST_SPAN_H, LONGEST_SPAN_H = 48.0, 240.0
AFTER_END_H = 36.0
"""The chart shows so much after the better end of the range."""
AFTER_START_H = 72.0
"""And so much after a generator's first start."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BankView:
    """One bank's answer as the page shows it."""

    bank: BankAutonomy
    name: str
    sentence: Markup
    range: str
    ends: str
    ends_basis: str
    sun_basis: str
    floor_name: str
    figure: Figure
    levers: tuple[Lever, ...]
    rows: tuple[tuple[str, str], ...]
    ends_row: int | None
    span: str
    never_off: str
    unticked: bool
    generator: GeneratorView | None


def on_the_clock(answer: Autonomy, site: Site) -> Autonomy:
    """Return the answer with its moments on the household's clock, aware."""

    def there(moment: datetime | None) -> datetime | None:
        return None if moment is None else to_civil(site, moment)

    def clocked(one: WithGenerator | None) -> WithGenerator | None:
        if one is None:
            return None
        return dataclasses.replace(one, ends_at=there(one.ends_at), first_start_at=there(one.first_start_at))

    banks = tuple(
        dataclasses.replace(bank, ends_at=there(bank.ends_at), with_generator=clocked(bank.with_generator))
        for bank in answer.banks
    )
    return dataclasses.replace(answer, at=to_civil(site, answer.at), ends_at=there(answer.ends_at), banks=banks)


def bank_views(
    house: Household, supplies: tuple[Supply, ...], answer: Autonomy, guessed: bool, sky: Sky
) -> tuple[BankView, ...]:
    """Return the view of every bank of an answer that is on the household's clock.

    Parameters
    ----------
    guessed : bool
        Whether nobody has said yet what the coming days are like.
    sky : Sky
        The days the answer was worked out with.
    """
    by_id = {supply.bank.id: supply for supply in supplies}
    return tuple(_view(house.site, by_id[bank.bank_id], bank, answer, guessed, sky) for bank in answer.banks)


def _view(site: Site, supply: Supply, bank: BankAutonomy, answer: Autonomy, guessed: bool, sky: Sky) -> BankView:
    whole, row = _curve(site, bank, answer.at)
    curve, span_h = _shown_part(site, whole, bank, answer.at)
    floor = _floor_name(bank, supply)
    ending = None
    if row is not None:
        moment = curve.times[row]
        label = f"{weekday(moment.date())[:3]} {moment:%H:%M}"
        beyond = bank.high_hours is None or bank.high_hours > span_h
        low, high = (_after(answer.at, hours) for hours in (bank.low_hours, None if beyond else bank.high_hours))
        ending = charts.Ending(row=row, label=label, low=low, high=high)
    helped = _generator(site, supply, bank, answer, curve)
    spell = "until then" if bank.hours is not None else f"in these {days_ahead(answer, site)} days"
    return BankView(
        bank=bank,
        name=in_sentence(bank.name),
        sentence=sentence(bank, supply, answer, site),
        range=range_sentence(bank, answer, guessed, sky, site),
        ends=_ENDS.get(bank.ended_by, bank.ended_by),
        ends_basis=_ends_basis(bank, supply, answer.at),
        sun_basis=f"taken from the panels {spell}, DC",
        floor_name=floor,
        figure=charts.charge(curve, bank.reserve_soc * 100.0, floor, ending, None if helped is None else helped.line),
        levers=tuple(lever for lever in bank.levers if lever.gained_h is None or lever.gained_h >= LEAST_GAIN_H),
        rows=tuple((stamp(time), f"{share:.1f}") for time, share in zip(curve.times, curve.percent, strict=True)),
        ends_row=row,
        span=f"{short_date(curve.times[0].date())} to {short_date(curve.times[-1].date())}",
        never_off=never_off_sentence(bank, supply, site, answer.at.month),
        unticked=not any(load.can_shed or load.can_wait for load in supply.loads),
        generator=helped,
    )


def _generator(site: Site, supply: Supply, bank: BankAutonomy, answer: Autonomy, curve: Curve) -> GeneratorView | None:
    """The days with the generator at the moments of the bank's own curve."""
    if supply.generator is None or bank.with_generator is None:
        return None
    hours = [(time - curve.times[0]).total_seconds() / 3600.0 for time in curve.times]
    return generator_view(
        bank.with_generator, supply.generator, site, to_standard(site, answer.at), hours, days_ahead(answer, site)
    )


_ENDS = {
    "": "nothing",
    "inverter": "cut-off",
    "board": "board",
    "cold or rate": "cold, draw",
    "current": "current limit",
}


def _after(at: datetime, hours: float | None) -> datetime | None:
    """The clock time, naive, some hours after an aware moment."""
    if hours is None:
        return None
    moment = at.astimezone(UTC) + timedelta(seconds=round(hours * 3600.0))
    return moment.astimezone(at.tzinfo).replace(tzinfo=None)


def _curve(site: Site, bank: BankAutonomy, at: datetime) -> tuple[Curve, int | None]:
    """The charge hour by hour with the moment it ends put in, and the row of that moment."""
    hours, soc = bank.times_h.tolist(), bank.soc.tolist()
    row = None
    if bank.hours is not None:
        row = sum(hour < bank.hours - 1e-6 for hour in hours)
        if row == len(hours) or hours[row] > bank.hours + 1e-6:
            at_floor = bank.ended_by in ("reserve", "cold or rate")
            soc.insert(row, bank.reserve_soc if at_floor else soc[min(row, len(soc) - 1)])
            hours.insert(row, bank.hours)
    times = civil_times(site, to_standard(site, at), hours)
    return Curve(name="charge", times=times, percent=tuple(100.0 * share for share in soc)), row


def _shown_part(site: Site, curve: Curve, bank: BankAutonomy, at: datetime) -> tuple[Curve, float]:
    """The part of a curve that the chart shows, and its length [h]: past the range, so that a short answer is read."""
    horizon_h = float(bank.times_h[-1])
    if bank.hours is None or bank.high_hours is None:
        wanted_h = horizon_h
    else:
        wanted_h = max(LEAST_SPAN_H, bank.high_hours + AFTER_END_H)
        if bank.with_generator is not None and bank.with_generator.first_start_h is not None:
            wanted_h = max(wanted_h, bank.with_generator.first_start_h + AFTER_START_H)
    span_h = min(wanted_h, horizon_h)
    if bank.hours is not None:
        span_h = min(span_h, max(LONGEST_SPAN_H, bank.hours + AFTER_END_H))
    (last,) = civil_times(site, to_standard(site, at), [span_h])
    count = sum(time <= last for time in curve.times)
    return Curve(name=curve.name, times=curve.times[:count], percent=curve.percent[:count]), span_h


def days_ahead(answer: Autonomy, site: Site) -> int:
    """Return how many days the answer touches, today among them."""
    start = to_standard(site, answer.at)
    last = start + timedelta(hours=answer.horizon_h, seconds=-1)
    return (last.date() - start.date()).days + 1


def never_off_sentence(bank: BankAutonomy, supply: Supply, site: Site, month: int) -> str:
    """Say which loads marked never off are without power after the end; empty where there is no end or none."""
    names = [load.name for load in supply.loads if load.never_off and daily_kwh(load, month, site.south)]
    if bank.hours is None or not names:
        return ""
    loads, verb = ("loads", "are") if len(names) > 1 else ("load", "is")
    return f"After that the {loads} you marked never off, {listed(names)}, {verb} without power too."


def sentence(bank: BankAutonomy, supply: Supply, answer: Autonomy, site: Site) -> Markup:
    """Say how long the bank lasts, until when, and what ends it."""
    full = bank.start_soc >= supply.bank.top_reached_soc - FULL_WITHIN
    start = " from full" if full else ""
    if bank.hours is None:
        last = _after(answer.at, answer.horizon_h)
        assert last is not None
        return Markup(
            "It <strong>lasts beyond these {} days</strong>{}: {} does not run out before <strong>{}</strong>."
        ).format(number(days_ahead(answer, site)), start, in_sentence(bank.name), long_date(last.date()))
    if bank.hours < NOTHING_H:
        return Markup("<strong>Nothing is left to use now</strong>: {}.").format(_why(bank, supply, standing=True))
    moment = _after(answer.at, bank.hours)
    assert moment is not None
    return Markup('About <strong>{}</strong>{}: until <strong><time datetime="{}">{}</time></strong>, when {}.').format(
        duration(bank.hours),
        start,
        moment.isoformat(timespec="minutes"),
        until(moment, answer.at.replace(tzinfo=None), bank.hours),
        _why(bank, supply),
    )


def _why(bank: BankAutonomy, supply: Supply, standing: bool = False) -> str:
    """What ends it, as a clause; `standing` where it is so already."""
    name, inverter = in_sentence(bank.name), in_sentence(supply.inverter.name)
    if bank.ended_by == "reserve":
        return f"{name} {'stands at or under' if standing else 'reaches'} your {_reserve(supply)} reserve"
    if bank.ended_by == "inverter":
        return f"{inverter} cuts {name} off at {supply.inverter.dc_min_v:g}{NO_BREAK}V under load"
    if bank.ended_by == "board":
        low_v = supply.bank.board.cell_low_v if supply.bank.board else 0.0
        return f"the protection board of {name} opens at {low_v:g}{NO_BREAK}V per cell"
    if bank.ended_by == "current":
        return f"{name} may not give the current that is asked of it"
    if bank.ended_by == "cold":
        return f"at {bank.cell_c:g}{NO_BREAK}°C {name} may give nothing at all"
    return f"{name} has no more within reach at {bank.cell_c:g}{NO_BREAK}°C and this draw"


def _reserve(supply: Supply) -> str:
    bank = supply.bank
    if bank.reserve_v is not None:
        return f"{bank.reserve_v:g}{NO_BREAK}V per cell"
    return f"{bank.reserve_soc * 100:g}{NO_BREAK}%"


def _floor_name(bank: BankAutonomy, supply: Supply) -> str:
    if supply.bank.reserve_v is None and bank.reserve_soc > supply.bank.reserve_soc + 1e-6:
        return f"out of reach below {percent(bank.reserve_soc)}"
    return f"reserve {percent(bank.reserve_soc)}"


def _ends_basis(bank: BankAutonomy, supply: Supply, at: datetime) -> str:
    moment = _after(at, bank.hours)
    if moment is None:
        return "within these days"
    if bank.ended_by in ("inverter", "board") or bank.margin_v is None:
        return stamp(moment)
    over = "above" if bank.margin_v >= 0.0 else "below"
    return f"{stamp(moment)}; {fixed(abs(bank.margin_v), 1)}{NO_BREAK}V {over} the cut-off"


def range_sentence(bank: BankAutonomy, answer: Autonomy, guessed: bool, sky: Sky, site: Site) -> str:
    """Say the range, what it is made of, and whose days these are."""
    if bank.hours is not None and bank.hours < NOTHING_H:
        return f"What the sun brings after that is in the chart. {_whose_days(answer, guessed)}"
    light = " and each day as dark or as bright as its word allows" if (sky.low_kc < sky.high_kc).any() else ""
    return f"{_range(bank, answer, site)}, with your loads a tenth more or less{light}. {_whose_days(answer, guessed)}"


def _range(bank: BankAutonomy, answer: Autonomy, site: Site) -> str:
    beyond = f"beyond these {number(days_ahead(answer, site))} days"
    if bank.low_hours is None:
        return f"It lasts {beyond} at either end"
    if bank.high_hours is None:
        return f"From {duration(bank.low_hours)} to {beyond}"
    text = between(bank.low_hours, bank.high_hours)
    return text[0].upper() + text[1:]


def _whose_days(answer: Autonomy, guessed: bool) -> str:
    if answer.sky_basis == "none":
        return "No sun at all is assumed."
    if answer.sky_basis == "measured elsewhere":
        return f"The days are records from elsewhere, not a forecast: {answer.sky_title}."
    if answer.sky_basis == "made":
        return f"The days are made for your place, not measured and not a forecast: {answer.sky_title}."
    if answer.sky_basis == "own file":
        return f"The days are out of your own file, not a forecast: {answer.sky_title}."
    if guessed:
        return "The days are our guess, not a forecast: set them as you see them."
    return f"The days are yours, not a forecast: {answer.sky_title}."
