"""Measured against predicted as the page shows it: figures, charts and tables, all of the same numbers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from engine.answers.checking import CheckedDay, Checking
from engine.answers.checking_load import LoadCheck
from engine.answers.checking_parts import TELLS, TITLES, WorstDay
from engine.answers.checking_yield import YieldCheck, YieldMonth
from webapp import compared_charts
from webapp.chart_parts import Figure
from webapp.compared_words import REFERENCES, SIDES, points, range_sentence, sentence, signed
from webapp.downloads import Cell
from webapp.forms import MONTHS
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.words import counted, short_date

Row = tuple[str, tuple[str, ...]]
_DAYS_BASIS = {
    "same day": "at the battery side, after the solar charger; the model’s line is what the very days’ sky gives",
    "average days": "at the battery side, after the solar charger; the model’s line is the average day of each month",
}
KINDS = {"yield": "Panels", "load": "House", "charge": "Charge"}
CSV_HEADER = (
    "day",
    "yield measured, kWh",
    "clear day, kWh",
    "average day, kWh",
    "dull day, kWh",
    "the very day, kWh",
    "draw measured, kWh",
    "draw by the loads, kWh",
    "monitor at its lowest, %",
    "worked out then, %",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One figure: its name, the number, and what it rests on."""

    name: str
    number: str
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Worst:
    """One of the worst days in words."""

    kind: str
    day: str
    measured: str
    model: str
    title: str
    why: str
    tells: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadShown:
    """One side’s hours of the day: its picture and rows, none where no hour is known, and its days in words."""

    side: str
    words: str
    figure: Figure | None
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedView:
    """The answer as the page shows it; a picture is None where there is nothing to draw."""

    sentence: Markup
    range: str
    figures: tuple[Shown, ...]
    days: Figure | None
    days_basis: str
    day_rows: tuple[Row, ...]
    month_rows: tuple[Row, ...]
    yield_words: str
    loads: tuple[LoadShown, ...]
    charge: Figure | None
    charge_words: str
    charge_rows: tuple[Row, ...]
    energy_rows: tuple[Row, ...]
    worst: tuple[Worst, ...]


def compared_view(answer: Checking) -> ComparedView:
    """Return the view of an answer."""
    return ComparedView(
        sentence=sentence(answer),
        range=range_sentence(answer),
        figures=tuple(_figures(answer)),
        days=None if answer.yields is None else _days_chart(answer, answer.yields),
        days_basis="" if answer.yields is None else _DAYS_BASIS[answer.yields.reference],
        day_rows=() if answer.yields is None else tuple(_day_row(day) for day in answer.each),
        month_rows=() if answer.yields is None else tuple(_month_row(one) for one in answer.yields.months),
        yield_words="" if answer.yields is None else _yield_words(answer.yields),
        loads=tuple(_load_shown(one) for one in answer.loads),
        charge=_charge_chart(answer),
        charge_words=_charge_words(answer),
        charge_rows=tuple(_charge_row(day) for day in answer.each if day.monitor is not None),
        energy_rows=_energy_rows(answer),
        worst=tuple(_worst(one) for one in answer.worst),
    )


def _figures(answer: Checking) -> Iterator[Shown]:
    if answer.yields is not None:
        e, what = answer.yields.told, REFERENCES[answer.yields.reference]
        yield Shown(
            name="Panels against the model",
            number=_share(e.bias_share),
            basis=f"{kwh(e.measured_kwh)} a day, the model {kwh(e.model_kwh)} {what}",
        )
        yield Shown(name="A day’s yield is out by", number=kwh(e.mean_error_kwh), basis="mean, whichever way")
    if answer.loads:
        load = answer.loads[0]
        yield Shown(
            name="House against its loads",
            number=_share(load.errors.bias_share),
            basis=f"{kwh(load.errors.measured_kwh)} a day {SIDES[load.side]}, the loads {kwh(load.errors.model_kwh)}",
        )
        if load.always_on_w is not None and load.model_always_on_w is not None:
            yield Shown(
                name="Always on",
                number=f"{fixed(load.always_on_w)}{NO_BREAK}W",
                basis=f"mean of each day’s lowest hour {SIDES[load.side]}; the loads {fixed(load.model_always_on_w)} W",
            )
    if answer.charge is not None:
        yield Shown(
            name="Charge is out by",
            number=points(answer.charge.mean_error_soc),
            basis=f"of %, on {counted(answer.charge.days, 'day')}; the monitor {_reads(answer.charge.bias_soc)}",
        )


def _reads(bias_soc: float) -> str:
    if abs(bias_soc) < 0.0005:
        return "neither higher nor lower"
    return f"{points(abs(bias_soc))} {'higher' if bias_soc > 0.0 else 'lower'} on the mean"


def kwh(value: float | None) -> str:
    """Write kWh of a day."""
    return f"{figures(value, 3) if value is not None and abs(value) >= 0.005 else '0'}{NO_BREAK}kWh"


def _share(share: float | None) -> str:
    return "–" if share is None else f"{signed(share * 100.0)}{NO_BREAK}%"


def _days_chart(answer: Checking, found: YieldCheck) -> Figure:
    days = answer.each
    same = found.reference == "same day"
    model = [day.same_day_kwh if same else day.average_kwh for day in days]
    return compared_charts.days(
        [day.day for day in days],
        [day.yield_kwh for day in days],
        ([day.dull_kwh for day in days], [day.clear_kwh for day in days]),
        ("model", model),
    )


def _day_row(day: CheckedDay) -> Row:
    numbers = (day.yield_kwh, day.clear_kwh, day.average_kwh, day.dull_kwh, day.same_day_kwh)
    return day.day.isoformat(), tuple(fixed(one, 1) for one in numbers)


def _month_row(one: YieldMonth) -> Row:
    error = one.errors
    means = (one.measured_kwh, one.clear_kwh, one.average_kwh, one.dull_kwh)
    out = (
        "–" if error is None else fixed(error.mean_error_kwh, 1),
        "–" if error is None else signed(error.bias_kwh),
        "–" if error is None or error.bias_share is None else signed(error.bias_share * 100.0, 0),
    )
    return f"{MONTHS[one.month - 1]} {one.year}", (str(one.days), *(fixed(mean, 1) for mean in means), *out)


def _yield_words(found: YieldCheck) -> str:
    text = (
        f"{counted(found.above_clear_days, 'day')} gave more than a tenth above a clear day, "
        f"{counted(found.near_zero_days, 'day')} next to nothing."
    )
    if found.reference == "same day":
        text += f" Against average days of the months the yield is {_share(found.average.bias_share)}."
    if found.held_days is not None:
        text += f" A full bank likely held the panels back on {counted(found.held_days, 'day')}."
    return text


def _load_shown(found: LoadCheck) -> LoadShown:
    e = found.errors
    return LoadShown(
        side=SIDES[found.side],
        words=f"{kwh(e.measured_kwh)} a day against {kwh(e.model_kwh)} over {counted(e.days, 'day')}: "
        f"{signed(e.bias_kwh, 2)}{NO_BREAK}kWh a day; a day is out by {kwh(e.mean_error_kwh)}.",
        figure=compared_charts.hours([hour.measured_w for hour in found.hours], [hour.model_w for hour in found.hours])
        if any(hour.days for hour in found.hours)
        else None,
        rows=tuple(
            (
                f"{hour.hour:02}:00",
                (
                    fixed(hour.measured_w),
                    fixed(hour.model_w),
                    "–"
                    if hour.measured_w is None or hour.model_w is None
                    else signed(hour.measured_w - hour.model_w, 0),
                    str(hour.days),
                ),
            )
            for hour in found.hours
        ),
    )


def _charge_chart(answer: Checking) -> Figure | None:
    if answer.charge is None:
        return None
    days = answer.each
    return compared_charts.charge(
        [day.day for day in days], [_percent(day.monitor) for day in days], [_percent(day.rerun) for day in days]
    )


def _percent(share: float | None) -> float | None:
    return None if share is None else share * 100.0


def _charge_words(answer: Checking) -> str:
    found = answer.charge
    if found is None:
        return ""
    return (
        f"The bank as entered was run on the yield and draw of the log, begun anew at the monitor’s charge "
        f"{counted(found.runs, 'time')}, every {figures(found.run_days)} days on the mean. Each day, when the monitor "
        f"was lowest, it showed {signed(found.bias_soc * 100.0)} points against the run, out by "
        f"{points(found.mean_error_soc)} whichever way; the difference grows by "
        f"{signed(found.drift_per_day * 100.0, 2)} points a day from each beginning."
    )


def _charge_row(day: CheckedDay) -> Row:
    assert day.monitor is not None
    assert day.rerun is not None
    points_ = signed((day.monitor - day.rerun) * 100.0)
    return day.day.isoformat(), (fixed(day.monitor * 100.0, 1), fixed(day.rerun * 100.0, 1), points_)


def _energy_rows(answer: Checking) -> tuple[Row, ...]:
    if answer.energy is None:
        return ()
    named = (("Into the bank", answer.energy.into), ("Out of the bank", answer.energy.out_of))
    return tuple(
        (
            name,
            (
                fixed(e.measured_kwh, 2),
                fixed(e.model_kwh, 2),
                signed(e.bias_kwh, 2),
                fixed(e.mean_error_kwh, 2),
                str(e.days),
            ),
        )
        for name, e in named
    )


def _worst(one: WorstDay) -> Worst:
    shares = one.kind == "charge"
    measured, model = (percent(value) if shares else kwh(value) for value in (one.measured, one.model))
    return Worst(
        kind=KINDS[one.kind],
        day=f"{short_date(one.day)} {one.day.year}",
        measured=measured,
        model=model,
        title=TITLES[one.cause],
        why=one.why,
        tells=TELLS[one.cause],
    )


def csv_rows(answer: Checking) -> Iterator[Sequence[Cell]]:
    """Return the days of an answer for a spreadsheet, unrounded; percent for charges."""
    for day in answer.each:
        yield (
            day.day.isoformat(),
            day.yield_kwh,
            day.clear_kwh,
            day.average_kwh,
            day.dull_kwh,
            day.same_day_kwh,
            day.draw_kwh,
            day.draw_model_kwh,
            _percent(day.monitor),
            _percent(day.rerun),
        )
