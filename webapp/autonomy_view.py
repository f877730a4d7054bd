"""The hours left in words, figures and a chart: one view of each bank of an answer.

Sentence, range, figures and chart are made from the same numbers here, so that they cannot disagree.
Times are on the household's clock.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from markupsafe import Markup

from engine.answers.answer import Lever
from engine.answers.autonomy import Autonomy, BankAutonomy
from engine.answers.generating import WithGenerator
from engine.house.household import Household, Supply
from engine.sky.days import Sky
from engine.sky.site import Site
from webapp import charts
from webapp.autonomy_words import (
    after,
    days_ahead,
    ends_basis,
    fan_rows,
    floor_name,
    never_off_sentence,
    range_sentence,
    scales_sentence,
    sentence,
    what_ends,
)
from webapp.bus_view import bus_sentences
from webapp.chart_parts import Curve, Figure
from webapp.generator_view import GeneratorView, generator_view
from webapp.questions import civil_times, to_civil, to_standard
from webapp.words import in_sentence, short_date, stamp, weekday

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
    fan: tuple[tuple[str, str, str], ...]
    scales: tuple[str, ...]
    ends: str
    ends_basis: str
    sun_basis: str
    floor_name: str
    figure: Figure
    levers: tuple[Lever, ...]
    rows: tuple[tuple[str, str], ...]
    band: tuple[tuple[str, str], ...]
    ends_row: int | None
    span: str
    never_off: str
    unticked: bool
    generator: GeneratorView | None
    shared: tuple[str, ...]


def on_the_clock(answer: Autonomy, site: Site) -> Autonomy:
    """Return the answer with its moments on the household's clock, aware."""

    def there(moment: datetime | None) -> datetime | None:
        return None if moment is None else to_civil(site, moment)

    def clocked(one: WithGenerator | None) -> WithGenerator | None:
        if one is None:
            return None
        return dataclasses.replace(one, ends_at=there(one.ends_at), first_start_at=there(one.first_start_at))

    banks = tuple(
        dataclasses.replace(
            bank,
            ends_at=there(bank.ends_at),
            low_ends_at=there(bank.low_ends_at),
            high_ends_at=there(bank.high_ends_at),
            with_generator=clocked(bank.with_generator),
            parts=tuple(dataclasses.replace(part, at_floor_at=there(part.at_floor_at)) for part in bank.parts),
        )
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
    whole, row, hours = _curve(site, bank, answer.at)
    curve, span_h = _shown_part(site, whole, bank, answer.at)
    floor = floor_name(bank, supply)
    ending = None
    if row is not None:
        moment = curve.times[row]
        label = f"{weekday(moment.date())[:3]} {moment:%H:%M}"
        beyond = bank.high_hours is None or bank.high_hours > span_h
        low, high = (after(answer.at, hours) for hours in (bank.low_hours, None if beyond else bank.high_hours))
        ending = charts.Ending(row=row, label=label, low=low, high=high)
    band = _band(bank, curve, hours)
    helped = _generator(site, supply, bank, answer, curve)
    spell = "until then" if bank.hours is not None else f"in these {days_ahead(answer, site)} days"
    return BankView(
        bank=bank,
        name=in_sentence(bank.name),
        sentence=sentence(bank, supply, answer, site),
        range=range_sentence(bank, answer, guessed, sky, site),
        fan=fan_rows(bank, answer),
        scales=tuple(scales_sentence(one, sum(len(b.charges) for b in answer.banks) > 1) for one in bank.charges),
        ends=what_ends(bank),
        ends_basis=ends_basis(bank, answer.at),
        sun_basis=f"taken from the panels {spell}, DC",
        floor_name=floor,
        figure=charts.charge(
            curve, bank.reserve_soc * 100.0, floor, ending, None if helped is None else helped.line, band
        ),
        levers=tuple(
            lever for lever in bank.levers if lever.off or lever.gained_h is None or lever.gained_h >= LEAST_GAIN_H
        ),
        rows=tuple((stamp(time), f"{share:.1f}") for time, share in zip(curve.times, curve.percent, strict=True)),
        band=_band_cells(band, len(curve.times)),
        ends_row=row,
        span=f"{short_date(curve.times[0].date())} to {short_date(curve.times[-1].date())}",
        never_off=never_off_sentence(bank, supply, site, answer.at.month),
        unticked=not any(load.can_shed or load.can_wait for load in supply.loads),
        generator=helped,
        shared=bus_sentences(bank.parts, bank.ends_at),
    )


def _generator(site: Site, supply: Supply, bank: BankAutonomy, answer: Autonomy, curve: Curve) -> GeneratorView | None:
    """The days with the generator at the moments of the bank's own curve."""
    if supply.generator is None or bank.with_generator is None:
        return None
    hours = [(time - curve.times[0]).total_seconds() / 3600.0 for time in curve.times]
    return generator_view(
        bank.with_generator, supply.generator, site, to_standard(site, answer.at), hours, days_ahead(answer, site)
    )


def _band(bank: BankAutonomy, curve: Curve, hours: list[float]) -> charts.Band:
    """The range of the charge at the moments of its curve [%], until all of the range has ended.

    Until it ends the curve lies within. After that it is a bank gone dark and filled again by the sun, no part of the
    range, which is of days in which it goes on.
    """
    last_h = np.inf if bank.high_hours is None else bank.high_hours
    ends_h = np.inf if bank.hours is None else bank.hours
    told = sum(hour <= last_h + 1e-6 for hour in hours[: len(curve.times)])
    low, high = (
        100.0 * np.interp(hours[:told], bank.band.times_h, soc) for soc in (bank.band.low_soc, bank.band.high_soc)
    )
    drawn, lit = np.array(curve.percent[:told]), np.array(hours[:told]) <= ends_h + 1e-6
    return charts.Band(
        times=curve.times[:told],
        low=tuple(np.where(lit, np.minimum(low, drawn), low).tolist()),
        high=tuple(np.where(lit, np.maximum(high, drawn), high).tolist()),
    )


def _band_cells(band: charts.Band, rows: int) -> tuple[tuple[str, str], ...]:
    """Low and high of each row of the table; a dash where all of the range has ended."""
    told = tuple((f"{low:.1f}", f"{high:.1f}") for low, high in zip(band.low, band.high, strict=True))
    return told + (("–", "–"),) * (rows - len(told))


def _curve(site: Site, bank: BankAutonomy, at: datetime) -> tuple[Curve, int | None, list[float]]:
    """The charge hour by hour with the moment it ends put in, the row of that moment, and the hours."""
    hours, soc = bank.times_h.tolist(), bank.soc.tolist()
    row = None
    if bank.hours is not None:
        row = sum(hour < bank.hours - 1e-6 for hour in hours)
        if row == len(hours) or hours[row] > bank.hours + 1e-6:
            at_floor = bank.ended_by in ("reserve", "cold or rate")
            soc.insert(row, bank.reserve_soc if at_floor else soc[min(row, len(soc) - 1)])
            hours.insert(row, bank.hours)
    times = civil_times(site, to_standard(site, at), hours)
    return Curve(name="charge", times=times, percent=tuple(100.0 * share for share in soc)), row, hours


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
