"""Which of the three measurements tells a household most, in words, a chart and a table."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from engine.answers.measuring import DULL_DAYS
from engine.answers.measuring_first import NONE, Candidate, First
from engine.quantities import HOURS_PER_DAY
from webapp import measure_chart
from webapp.chart_parts import Figure
from webapp.measure_chart import Span
from webapp.measure_view import Table, lasting
from webapp.render import NO_BREAK, figures
from webapp.words import duration, in_sentence, listed

TITLES = {"idle": "The idle draw", "capacity": "The capacity", "dull": "A dull day"}
TAKES = {
    "idle": "A night with everything off, or two looks at a meter in watts.",
    "capacity": "A full charge, and a day or two of one steady load down to where you stop, with a help at hand.",
    "dull": "A minute on each of some grey days: the charger’s kWh of the day.",
}
FIRST = {"idle": "the idle draw", "capacity": "the capacity", "dull": "what a dull day gives"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One measurement: its page, what it moves and what it takes."""

    title: str
    path: str
    moves: str
    takes: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstView:
    """The answer as the page shows it."""

    sentence: Markup
    range: str
    choices: tuple[Choice, ...]
    figure: Figure
    basis: str
    table: Table
    how: str


def first_view(answer: First, without_panels: bool, several: bool) -> FirstView:
    """Return the view of a ranking.

    Parameters
    ----------
    without_panels : bool
        Whether no panels are described, so that a dull day cannot be read.
    several : bool
        Whether the household has several supplies, so that the links say which.
    """
    days = "without any sun" if answer.days == NONE else "through dull days"
    return FirstView(
        sentence=_sentence(answer, days),
        range=_range(answer, without_panels),
        choices=tuple(_choice(one, answer, several) for one in answer.candidates),
        figure=measure_chart.spans([_span(one) for one in answer.candidates], DULL_DAYS * HOURS_PER_DAY),
        basis=f"{answer.name}, {days}; a line is as long as what is open",
        table=Table(
            caption="",
            columns=("Number", "now", "may be", "lasts at the ends"),
            rows=tuple(_row(one) for one in answer.candidates),
        ),
        how="Each number alone is tried at both ends of what it may be when nobody measured it, all else as described. "
        "These ends are judgements: an idle draw 0.7 to 1.5 times the one typed, or half to twice ours; a capacity 75 "
        "to 102 % of the label, or 95 to 103 % of a test; a dull day 17 to 50 % of a clear one’s light, or three to "
        "five quarters of your own.",
    )


def _sentence(answer: First, days: str) -> Markup:
    first, name = answer.candidates[0], in_sentence(answer.name)
    if first.moves_h <= 0.0:
        return Markup("<strong>None of them moves anything</strong>: {} lasts {} {}.").format(
            name, lasting(answer.now_h), days
        )
    low, high = _ends(first)
    return Markup("Measure <strong>{}</strong> first: by what it may be, {} lasts <strong>{}</strong> {}.").format(
        FIRST[first.id], name, f"{low} or {high}" if low != high else f"about {low}", days
    )


def _ends(one: Candidate) -> tuple[str, str]:
    low, high = sorted((one.low_h, one.high_h), key=lambda hours: float("inf") if hours is None else hours)
    return lasting(low), lasting(high)


def _range(answer: First, without_panels: bool) -> str:
    others = [f"{FIRST[one.id]} ({duration(one.moves_h)} between its ends)" for one in answer.candidates[1:]]
    then = f"Then {listed(others)}." if others else ""
    now = f"As described it lasts {lasting(answer.now_h)} from full."
    panels = " A dull day is read against panels: describe them on Sun first." if without_panels else ""
    return f"{now} {then}{panels}"


def _choice(one: Candidate, answer: First, several: bool) -> Choice:
    low, high = _ends(one)
    told = f"{low} or {high}" if low != high else f"about {low}, whatever it is"
    return Choice(
        title=TITLES[one.id],
        path=f"/measure/{one.id}" + (f"?bank={answer.bank_id}" if several and one.id != "dull" else ""),
        moves=f"{_number(one.now, one)} now ({one.why}). It may be {_number(one.low, one)} to "
        f"{_number(one.high, one)}: the bank lasts {told}.",
        takes=TAKES[one.id],
    )


def _number(value: float, one: Candidate) -> str:
    return f"{figures(value, 2 if one.id == 'dull' else 3)}{NO_BREAK}{one.unit}"


def _span(one: Candidate) -> Span:
    return Span(name=TITLES[one.id], low=one.low_h, high=one.high_h)


def _row(one: Candidate) -> tuple[str, ...]:
    low, high = lasting(one.low_h), lasting(one.high_h)
    may = f"{figures(one.low, 3)} to {figures(one.high, 3)}{NO_BREAK}{one.unit}"
    return TITLES[one.id], _number(one.now, one), may, f"{low}; {high}"
