"""The promise book as its page, its table and its JSON show it, with times on the household's clock."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Any

from markupsafe import Markup

from engine.answers.promise_book import Calibration, counts
from engine.answers.promises import MARK_H, Promise, Score, at, marks
from engine.json_answer import plain_data
from webapp import promise_chart
from webapp.chart_parts import Figure
from webapp.downloads import Cell
from webapp.promise_store import OUT, Kept
from webapp.promise_words import bias, judged, sentence, verdict
from webapp.render import NO_BREAK, fixed, percent
from webapp.words import stamp

MOST_ROWS, MOST_DRAWN = 30, 100
"""Answers listed and drawn on the page, the newest; the table for a spreadsheet has all (choice)."""
HOW = {"typed": "you typed it", "asked": "your next question", "log": "your meter’s log"}
CSV_HEADER = (
    "asked at",
    "bank",
    "charge then, %",
    "likely, h",
    "low, h",
    "high, h",
    "range shown, times the model’s own",
    *(
        f"{name} after {hours}, %"
        for hours in ("the next dawn", "12 h", "24 h", "48 h")
        for name in ("low", "likely", "high")
    ),
    "next dawn, h",
    "days",
    "came at",
    "what came",
    "charge that came, %",
    "low then, %",
    "likely then, %",
    "high then, %",
    "came less likely, points",
    "verdict",
    "told by",
    "version",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One answer in the list."""

    id: int
    asked: str
    bank: str
    charge: str
    until: str
    range: str
    mark: str
    came: str
    how: str
    verdict: str
    outside: bool
    open: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BankCard:
    """What the book says of one bank's range."""

    name: str
    sentence: str
    figures: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Book:
    """The book as the page shows it."""

    sentence: Markup
    banks: tuple[BankCard, ...]
    rows: tuple[Row, ...]
    more: int
    figure: Figure | None
    numbers: tuple[tuple[str, str, str, str, str], ...]


def book(kept: Sequence[Kept], found: Mapping[str, Calibration], widening: bool, zone: tzinfo) -> Book:
    """Return the view of the kept answers, the newest first.

    Parameters
    ----------
    found : mapping
        What they say of each bank's range.
    widening : bool
        Whether ranges are widened.
    """
    scores = [(one, one.score()) for one in kept]
    known = [(one, score) for one, score in scores if score is not None]
    drawn = sorted(((one, score) for one, score in known[:MOST_DRAWN] if score.came_soc is not None), key=_when)
    points = [_point(one, score, zone) for one, score in drawn]
    names = {one.bank_id: one.asked["bank"] for one in reversed(kept)}
    return Book(
        sentence=sentence([score for _, score in known]),
        banks=tuple(_card(names[bank_id], one, widening) for bank_id, one in found.items() if bank_id in names),
        rows=tuple(_row(one, score, zone) for one, score in scores[:MOST_ROWS]),
        more=max(len(kept) - MOST_ROWS, 0),
        figure=promise_chart.errors(points) if points else None,
        numbers=tuple(
            (stamp(row.at), fixed(row.low, 1), fixed(row.high, 1), fixed(row.came, 1), _verdict(one, score))
            for row, (one, score) in zip(points, drawn, strict=True)
        ),
    )


def _verdict(one: Kept, score: Score | None) -> str:
    return "" if score is None else verdict(score, one.promise.widened)


def _when(pair: tuple[Kept, Score]) -> datetime:
    return pair[0].asked_at + timedelta(hours=pair[1].after_h)


def there(moment: datetime, zone: tzinfo) -> datetime:
    """Return a moment on the household's clock, naive."""
    return moment.astimezone(zone).replace(tzinfo=None)


def _point(one: Kept, score: Score, zone: tzinfo) -> promise_chart.Scored:
    assert score.low_soc is not None
    assert score.likely_soc is not None
    assert score.high_soc is not None
    assert score.error_soc is not None
    wide, likely = one.promise.widened, score.likely_soc
    low = max(likely - wide * (likely - score.low_soc), min(one.promise.floor_soc, score.low_soc))
    high = min(likely + wide * (score.high_soc - likely), 1.0)
    return promise_chart.Scored(
        at=there(_when((one, score)), zone),
        low=(low - likely) * 100.0,
        high=(high - likely) * 100.0,
        came=score.error_soc * 100.0,
        within=score.within,
    )


def _card(name: str, one: Calibration, widening: bool) -> BankCard:
    error, means = bias(one)
    share = percent(one.within / one.counted) if one.counted else "–"
    return BankCard(
        name=name,
        sentence=judged(one, widening),
        figures=(
            ("Within", share, f"{one.within} of the {one.counted} that count, by the model’s own range"),
            ("Below it", str(one.below), "less charge, or empty sooner"),
            ("Above it", str(one.above), "more charge, or empty later"),
            ("Steady error", error, means),
        ),
    )


def _row(one: Kept, score: Score | None, zone: tzinfo) -> Row:
    promise, came = one.promise, one.came
    return Row(
        id=one.id,
        asked=stamp(there(one.asked_at, zone)),
        bank=one.asked["bank"],
        charge=percent(one.asked["soc"]),
        until=_end(one, promise.hours, zone),
        range=_range(one, zone),
        mark=_mark(one, zone),
        came=_came(one, zone),
        how="" if came is None else HOW[came["how"]],
        verdict=_verdict(one, score),
        outside=score is not None and not score.within,
        open=came is None,
    )


def _range(one: Kept, zone: tzinfo) -> str:
    """Between which moments it ends; nothing where even the sooner lies past the days."""
    low_h, high_h = one.promise.low_hours, one.promise.high_hours
    return "" if low_h is None else f"{_end(one, low_h, zone)} to {_end(one, high_h, zone)}"


def _end(one: Kept, hours: float | None, zone: tzinfo) -> str:
    return "past the days" if hours is None else stamp(there(one.asked_at + timedelta(hours=hours), zone))


def _mark(one: Kept, zone: tzinfo) -> str:
    """The first mark at which a charge is promised."""
    for hours in marks(one.asked["dawn_h"]):
        found = at(one.promise, hours)
        if found is not None:
            low, likely, high = (fixed(share * 100.0) for share in found)
            moment = stamp(there(one.asked_at + timedelta(hours=hours), zone))
            return f"{moment}: {low} to {high}{NO_BREAK}%, likely {likely}"
    return "–"


def _came(one: Kept, zone: tzinfo) -> str:
    came = one.came
    if came is None:
        return "nothing yet"
    if came["kind"] == OUT:
        return "left out"
    moment = stamp(there(datetime.fromisoformat(came["at"]), zone))
    said = {"ended": "at its reserve", "lasted": "not at its reserve yet"}
    return f"{moment}: {said.get(came['kind']) or percent(came['soc'])}"


def label_of(one: Kept, zone: tzinfo) -> str:
    """Name an answer in a list to choose from."""
    return f"{stamp(there(one.asked_at, zone))}, {one.asked['bank']} at {percent(one.asked['soc'])}"


def csv_rows(kept: Sequence[Kept], zone: tzinfo) -> Iterable[tuple[Cell, ...]]:
    """Return every answer as a row of the table for a spreadsheet."""
    return (_csv_row(one, zone) for one in kept)


def _csv_row(one: Kept, zone: tzinfo) -> tuple[Cell, ...]:
    promise, came, score = one.promise, one.came, one.score()
    then: Sequence[float | None] = (None,) * 4
    if score is not None:
        then = (score.low_soc, score.likely_soc, score.high_soc, score.error_soc)
    return (
        f"{there(one.asked_at, zone):%Y-%m-%d %H:%M}",
        one.asked["bank"],
        _points(one.asked["soc"]),
        *(
            None if hours is None else round(hours, 3)
            for hours in (promise.hours, promise.low_hours, promise.high_hours)
        ),
        promise.widened,
        *(share for hours in (one.asked["dawn_h"], *MARK_H) for share in _at(promise, hours)),
        one.asked["dawn_h"],
        one.asked["sky"],
        None
        if came is None or "at" not in came
        else f"{there(datetime.fromisoformat(came['at']), zone):%Y-%m-%d %H:%M}",
        "" if came is None else came["kind"],
        None if came is None else _points(came.get("soc")),
        *map(_points, then),
        _verdict(one, score),
        "" if came is None else HOW[came["how"]],
        one.asked["hash"],
    )


def _points(share: float | None) -> float | None:
    return None if share is None else round(share * 100.0, 2)


def _at(promise: Promise, hours: float | None) -> tuple[float | None, ...]:
    found = None if hours is None else at(promise, hours)
    return (None,) * 3 if found is None else tuple(map(_points, found))


def as_data(kept: Sequence[Kept], found: Mapping[str, Calibration], zone: tzinfo) -> dict[str, Any]:
    """Return the book as plain data: every answer with its score, and what they say of each bank."""
    spans = {one.id: span for one in kept if (span := one.spanned()) is not None}
    by_bank: dict[str, list[int]] = {}
    for one in kept:
        if one.id in spans:
            by_bank.setdefault(one.bank_id, []).append(one.id)
    counting = set()
    for mine in by_bank.values():
        counting |= {mine[place] for place in counts([spans[number] for number in mine])}
    return {
        "answers": [
            {
                "id": one.id,
                "bank_id": one.bank_id,
                "asked_at": one.asked_at.astimezone(zone).isoformat(),
                "asked": one.asked,
                "promised": plain_data(one.promise),
                "came": one.came,
                "score": plain_data(spans[one.id].score if one.id in spans else None),
                "counts": one.id in counting,
            }
            for one in kept
        ],
        "banks": {bank_id: plain_data(one) for bank_id, one in found.items()},
    }
