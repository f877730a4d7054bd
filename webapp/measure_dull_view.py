"""Dull days of the charger's counter in words: what to write down, what they came to, how many more are needed."""

from __future__ import annotations

from markupsafe import Markup

from engine.answers.measuring_dull import AIM_SHARE, DayRead, DullDay
from webapp import measure_chart
from webapp.forms import Field, Parsed, Values
from webapp.measure_view import (
    Chart,
    Key,
    MeasureView,
    Table,
    Use,
    against,
    give_or_take,
    lasts_sentence,
    paper_rows,
    parts_table,
    span,
)
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.words import MONTHS, counted, in_sentence, short_date

KIND_NAMES = {
    "dull": "grey all day: counts",
    "bright": "bright hours in it",
    "full": "bank full, held back",
    "snow": "snow on the panels",
    "part": "not a whole day",
    "brighter": "brighter than dull",
    "nothing": "next to nothing",
}
STEPS = (
    "Find where the charger shows the kWh of the day: “yield today” or “PV today” on its display or app. Write down on "
    "which side it counts: before the charger, after it, or at the sockets.",
    "On a day that is grey from morning to evening look after sunset, before it goes back to nothing at midnight. "
    "Where it only counts on, read it at the same hour on two evenings and take the difference.",
    "Look whether the bank was full by then, in absorption or in float. A full bank holds the panels back: such a day "
    "says what you used, not what the sun gave, and does not count. To make such days count, put a load on by noon.",
    "Write down the date, the kWh, the sky in a word, and snow. Leave snow on a roof where it is: nobody should climb "
    "for a reading.",
    "Not only the darkest days: every grey one, as they come, or the mean is darker than your dull days are.",
    "Type them here. A handful of days from a few weeks is enough to begin with; they are brought to one month.",
)


def dull_view(answer: DullDay, fields: tuple[Field, ...], form: Parsed[Values], bank_name: str) -> MeasureView:
    """Return the view of an answer, with days or before there are any."""
    result = answer.result
    ranges = (
        (_expect(answer),)
        if result is None
        else (against(result, _where(answer)), lasts_sentence(answer.lasts, in_sentence(bank_name)), _more(answer))
    )
    return MeasureView(
        sentence=_sentence(answer),
        ranges=tuple(text for text in ranges if text),
        keys=_keys(answer),
        steps=STEPS,
        chart=_chart(answer),
        tables=() if not answer.days else (_days(answer.days),),
        parts=None if result is None else parts_table(result.parts, "kWh"),
        use=_use(answer),
        no_use="" if result is None or answer.to_use_kwh is not None else "These days are not fit to be used.",
        paper=paper_rows(fields, form),
        cautions=("panels", "check"),
        tables_first=result is None,
    )


def _month(answer: DullDay) -> str:
    return MONTHS[answer.month - 1]


def _where(answer: DullDay) -> str:
    return "Sun" if answer.now_own else "The word “dull”"


def _sentence(answer: DullDay) -> Markup:
    if answer.result is None:
        kwh = f"{figures(answer.now_kwh)}{NO_BREAK}kWh"
        if answer.now_own:
            return Markup("A dull day in {} is taken as <strong>{}</strong>, your own.").format(_month(answer), kwh)
        return Markup(
            "A dull day in {} is taken as <strong>{}</strong> by the word alone; <strong>some grey days</strong> tell "
            "yours."
        ).format(_month(answer), kwh)
    value, half = give_or_take(answer.result)
    return Markup("A dull day in {} gives <strong>{}</strong>, give or take <strong>{}</strong>.").format(
        _month(answer), value, half
    )


def _expect(answer: DullDay) -> str:
    told = [(n, error) for n, error in answer.expected if n in (1, 4, 8)]
    if not told:
        return f"In {_month(answer)} these panels give next to nothing on a dull day."
    said = ", ".join(f"{counted(n, 'day')} to ± {percent(error)}" for n, error in told)
    return f"As far as can be told beforehand: {said}."


def _more(answer: DullDay) -> str:
    aim = percent(AIM_SHARE)
    if answer.more_days is None:
        return (
            f"No number of days brings its error to {aim}: the days differ too much, or the counter moves too little."
        )
    if not answer.more_days:
        return f"Its error is within {aim} already."
    return (
        f"For an error of {aim} it takes about {counted(answer.more_days, 'more dull day')}, if they scatter as these."
    )


def _keys(answer: DullDay) -> tuple[Key, ...]:
    result = answer.result
    if result is None or answer.kc is None or answer.low_kc is None or answer.high_kc is None:
        return ()
    return (
        Key(name="A dull day", value=give_or_take(result)[0], basis=span(result)),
        Key(
            name="Of a clear day’s light",
            value=percent(answer.kc),
            basis=f"kc {fixed(answer.kc, 2)}; {fixed(answer.low_kc, 2)} to {fixed(answer.high_kc, 2)} within the error",
        ),
        Key(
            name="Days that count",
            value=str(len(answer.counted)),
            basis=f"of {len(answer.days)} written down, brought to the middle of {_month(answer)}",
        ),
    )


def _days(days: tuple[DayRead, ...]) -> Table:
    return Table(
        caption="The days, one by one",
        columns=("Day", "kWh before the charger", "of a clear day’s light", "counts"),
        rows=tuple(
            (
                short_date(one.day),
                figures(one.kwh, 3),
                percent(one.kc),
                "yes" if one.counts else f"no: {KIND_NAMES[one.kind]}",
            )
            for one in days
        ),
    )


def _chart(answer: DullDay) -> Chart | None:
    if not answer.expected:
        return None
    days = [float(n) for n, _ in answer.expected]
    error = [share * 100.0 for _, share in answer.expected]
    now = float(len(answer.counted)) if answer.counted else None
    told = [(n, share) for n, share in answer.expected if n in (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48)]
    return Chart(
        id="days",
        caption="How the error falls with more dull days",
        figure=measure_chart.falling(days, error, AIM_SHARE * 100.0, "%", "dull days written down", now, "yours"),
        basis="of the dull day, on either side",
        table=Table(
            caption="",
            columns=("Dull days", "error, %"),
            rows=tuple((str(n), f"± {fixed(share * 100.0)}") for n, share in told),
        ),
    )


def _use(answer: DullDay) -> Use | None:
    kwh = answer.to_use_kwh
    if kwh is None:
        return None
    return Use(
        section="sun",
        item_id="",
        values={"dull_day_kwh": kwh, "dull_day_month": answer.month},
        label=f"Use {kwh:g}{NO_BREAK}kWh in {_month(answer)} as your dull day",
        what=f"Dull day measured, {kwh:g} kWh in {_month(answer)}",
        told=f"{kwh:g}{NO_BREAK}kWh in {_month(answer)} stand on Sun as your dull day.",
        held=answer.now_own and answer.result is not None and abs(answer.now_kwh - kwh) < 0.01 * kwh,
    )
