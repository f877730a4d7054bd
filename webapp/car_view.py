"""May the car be charged, in words, figures and a chart; all from the one answer.

Energies are what the charger takes, distances are rounded down, times are on the household's clock.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from markupsafe import Markup

from engine.answers.car_parts import CarAnswer, Course, Start
from engine.answers.surplus import HeatDay, Surplus
from engine.sky.site import Site
from webapp import car_chart
from webapp.car_words import amount, brief, distance, naive, range_words, row_words, sentence
from webapp.chart_parts import Curve, Figure
from webapp.questions import civil_times, to_civil, to_standard
from webapp.render import NO_BREAK, fixed, percent
from webapp.words import day_name, duration, short_date, stamp


@dataclass(frozen=True, slots=True, kw_only=True)
class CarView:
    """What the page says of the answer."""

    sentence: Markup
    brief: str
    range: str
    most: str
    most_basis: str
    lowest_basis: str
    refill: str
    refill_basis: str
    starts: tuple[tuple[str, str, str], ...]
    rows: tuple[tuple[str, str, str], ...]
    figure: Figure
    columns: tuple[str, ...]
    numbers: tuple[tuple[str, tuple[str, ...]], ...]
    span: str
    water: str
    water_rows: tuple[tuple[str, str, str, str, str], ...]
    water_basis: str


def on_the_clock(answer: CarAnswer, site: Site) -> CarAnswer:
    """Return the answer with its moments on the household's clock, aware."""

    def there(moment: datetime | None) -> datetime | None:
        return None if moment is None else to_civil(site, moment)

    def course(one: Course) -> Course:
        return dataclasses.replace(
            one,
            lowest_at=to_civil(site, one.lowest_at),
            refill_at=there(one.refill_at),
            short_at=there(one.short_at),
        )

    return dataclasses.replace(
        answer,
        at=to_civil(site, answer.at),
        start_at=there(answer.start_at),
        refused_at=there(answer.refused_at),
        starts=tuple(
            dataclasses.replace(one, start_at=to_civil(site, one.start_at), end_at=to_civil(site, one.end_at))
            for one in answer.starts
        ),
        rows=tuple(dataclasses.replace(one, start_at=there(one.start_at)) for one in answer.rows),
        without=course(answer.without),
        with_car=course(answer.with_car),
        surplus=None if answer.surplus is None else _water_on_the_clock(answer.surplus, site),
    )


def _water_on_the_clock(found: Surplus, site: Site) -> Surplus:
    def day(one: HeatDay) -> HeatDay:
        hours = tuple(dataclasses.replace(hour, start_at=to_civil(site, hour.start_at)) for hour in one.hours)
        return dataclasses.replace(one, hours=hours)

    return dataclasses.replace(found, days=tuple(day(one) for one in found.days))


def car_view(answer: CarAnswer, site: Site) -> CarView:
    """Return what the page says of an answer that is on the household's clock."""
    chart, columns, numbers, span = _chart(answer, site)
    return CarView(
        sentence=sentence(answer),
        brief=brief(answer),
        range=range_words(answer),
        most=amount(answer.most_kwh),
        most_basis=_most_basis(answer),
        lowest_basis=f"{stamp(naive(answer.with_car.lowest_at))}; reserve {percent(answer.floor_soc)}, "
        f"without the car {percent(answer.without.lowest_soc)}",
        refill="not in these days" if answer.with_car.refill_at is None else stamp(naive(answer.with_car.refill_at)),
        refill_basis=_refill_basis(answer),
        starts=tuple(_start(one, answer) for one in answer.starts),
        rows=tuple((f"{one.km:g}", fixed(one.kwh, 1), row_words(one, answer)) for one in answer.rows),
        figure=chart,
        columns=columns,
        numbers=numbers,
        span=span,
        water="" if answer.surplus is None else _water(answer.surplus, answer),
        water_rows=() if answer.surplus is None else tuple(_water_row(day) for day in answer.surplus.days),
        water_basis="" if answer.surplus is None else _water_basis(answer.surplus),
    )


def _most_basis(answer: CarAnswer) -> str:
    more = ", and no more was looked at" if answer.limit_km else ""
    return f"{distance(answer.most_km)}, from now on at {answer.car.charger_kw:g}{NO_BREAK}kW without a break{more}"


def _refill_basis(answer: CarAnswer) -> str:
    again = answer.without.refill_at
    return (
        "nor without the car"
        if again is None and answer.with_car.refill_at is None
        else ("without the car not either" if again is None else f"without the car {stamp(naive(again))}")
    )


def _start(one: Start, answer: CarAnswer) -> tuple[str, str, str]:
    """What a start is, its hours, and the lowest charge with it."""
    name = "earliest, and gentlest" if one.earliest and one.gentlest else "earliest" if one.earliest else "gentlest"
    begin, end = naive(one.start_at), naive(one.end_at)
    until = f"{end:%H:%M}" if end.date() == begin.date() else stamp(end)
    return name, f"{stamp(begin)} to {until}, {duration(one.hours)}", percent(one.lowest_soc)


def _chart(
    answer: CarAnswer, site: Site
) -> tuple[Figure, tuple[str, ...], tuple[tuple[str, tuple[str, ...]], ...], str]:
    """The charge with and without the car, the chart's numbers, and the days it shows."""
    start = to_standard(site, answer.at)
    times = civil_times(site, start, answer.without.times_h.tolist())
    without = Curve(name="without car", times=times, percent=_shares(answer.without))
    put = bool(np.any(answer.charging_w > 0.0))
    with_car = Curve(name="with car", times=times, percent=_shares(answer.with_car)) if put else None
    floor = f"reserve {percent(answer.floor_soc)}"
    figure = car_chart.charge(without, with_car, answer.floor_soc * 100.0, floor)
    kw = [*(answer.charging_w / 1000.0).tolist(), 0.0]
    columns = ("without the car, %", *(("with the car, %", "into the car, kW") if put else ()))
    rows = tuple(
        (
            stamp(time),
            (
                f"{without.percent[row]:.1f}",
                *((f"{with_car.percent[row]:.1f}", f"{kw[row]:.2f}") if with_car is not None else ()),
            ),
        )
        for row, time in enumerate(times)
    )
    return figure, columns, rows, f"{short_date(times[0].date())} to {short_date(times[-1].date())}"


def _shares(course: Course) -> tuple[float, ...]:
    return tuple((course.soc * 100.0).tolist())


def _water(found: Surplus, answer: CarAnswer) -> str:
    """What the surplus does for the tank, in a sentence."""
    name = found.tank.name
    if found.tank.now_c >= found.tank.hot_c:
        return f"{name} is at its thermostat already: there is nothing to gain."
    if not found.days:
        full = (
            "the bank is not full at any hour of these days" if found.full_hours <= 0.0 else "too little is left over"
        )
        return f"Nothing is left over for {name}: {full}."
    best = max(found.days, key=lambda day: day.gained_k)
    return (
        f"{name} can take {amount(found.kwh)} that a full bank leaves over in these days; most on "
        f"{day_name(best.day, answer.at.date())}: {fixed(best.gained_k)}{NO_BREAK}°C warmer, to "
        f"{fixed(best.reached_c)}{NO_BREAK}°C."
    )


def _water_row(day: HeatDay) -> tuple[str, str, str, str, str]:
    first, last = naive(day.hours[0].start_at), naive(day.hours[-1].start_at)
    end_h = last.hour + last.minute / 60.0 + day.hours[-1].hours
    end = f"{int(end_h + 1e-6):02}:{round(end_h % 1.0 * 60.0) % 60:02}"
    whole = sum(hour.hours for hour in day.hours if hour.whole)
    return (
        short_date(day.day),
        f"{first:%H:%M} to {end}",
        fixed(day.kwh, 1),
        f"{fixed(day.gained_k)}{NO_BREAK}°C warmer, to {fixed(day.reached_c)}{NO_BREAK}°C",
        duration(whole) if whole else "never",
    )


def _water_basis(found: Surplus) -> str:
    tank = found.tank
    return (
        f"{tank.litres:g} litres from {tank.now_c:g}{NO_BREAK}°C on each day, up to {tank.hot_c:g}{NO_BREAK}°C, "
        f"{tank.cop:g} kWh of heat for each kWh, less the standing loss meanwhile. Only hours in which the simulated "
        "bank is full count, after the car, so that it costs nothing in a dull spell; the tank’s own heating stays as "
        "it is. A heater that is only on or off should run in those hours alone that carry its whole power: in others "
        "it would draw on the bank."
    )
