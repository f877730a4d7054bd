"""Spare banks in words, tables and a chart. Times are on the household's clock."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime, timedelta

from markupsafe import Markup

from engine.answers.answer import Notice, gravest_first
from engine.answers.coming import Coming
from engine.answers.spares_moving import Move
from engine.answers.spares_parts import Spare, Spares
from engine.sky.site import Site
from webapp import car_chart
from webapp.chart_parts import Curve, Figure
from webapp.questions import civil_times, to_civil, to_standard
from webapp.render import fixed, percent
from webapp.spares_words import even_line, join_row, spare_notices
from webapp.words import duration, energy, in_sentence, short_date, stamp, until

LEAST_GAIN_H = 0.125
"""A gain that is less is called none."""
NOW_H = 0.02
"""What lasts no longer is over now."""
LEAST_SERVED_KWH = 0.05
"""Load carried that is less is not told."""
WAITED_H = 0.5
"""From here on it is said that the device waits for room in the bank."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartRow:
    """One start of the best spare: when, until when, and what it gains."""

    when: str
    why: str
    done: str
    into: str
    displaced: str
    gained: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SparesView:
    """The answer as the page shows it."""

    sentence: Markup
    range: str
    brief: str
    moved: str
    reading: str
    ranks: tuple[tuple[str, str, str, str, str, str, str], ...]
    starts: tuple[StartRow, ...]
    joins: tuple[tuple[str, str, str, str, str, str, str], ...]
    even: tuple[str, ...]
    figure: Figure
    numbers: tuple[tuple[str, str, str], ...]
    span: str
    notices: tuple[Notice, ...]


def on_the_clock(answer: Spares, site: Site) -> Spares:
    """Return the answer with its moment on the household's clock, aware."""
    return dataclasses.replace(answer, at=to_civil(site, answer.at))


def spares_view(answer: Spares, one: Coming, site: Site) -> SparesView:
    """Return the view of an answer that is on the household's clock."""
    times = civil_times(site, to_standard(site, answer.at), answer.times_h.tolist())
    before = Curve(name="as it is", times=times, percent=tuple((answer.soc * 100.0).tolist()))
    after = Curve(name="with spare", times=times, percent=tuple((answer.soc_then * 100.0).tolist()))
    words = _Words(answer, site)
    said = words.sentence()
    return SparesView(
        sentence=said,
        range=words.range(),
        brief=f"{said.striptags()} {words.guessed()}".strip(),
        moved=words.moved(),
        reading=_reading(answer),
        ranks=tuple(words.rank(spare) for spare in answer.spares),
        starts=tuple(words.start(move) for move in sorted(words.tried, key=lambda move: move.start_h)),
        joins=tuple(join_row(spare.name, spare.joining) for spare in answer.spares if spare.joining is not None),
        even=tuple(filter(None, (even_line(spare, answer) for spare in answer.spares))),
        figure=car_chart.charge(
            before,
            after if answer.best is not None else None,
            answer.floor_soc * 100.0,
            f"lowest to use {percent(answer.floor_soc)}",
        ),
        numbers=tuple(
            (stamp(time), f"{a:.1f}", f"{b:.1f}")
            for time, a, b in zip(times, before.percent, after.percent, strict=True)
        ),
        span=f"{short_date(times[0].date())} to {short_date(times[-1].date())}",
        notices=gravest_first(spare_notices(answer, one)),
    )


class _Words:
    """The answer's moments and sentences."""

    def __init__(self, answer: Spares, site: Site) -> None:
        self.answer = answer
        self.best = answer.best
        self.tried = answer.spares[0].moves if answer.spares else ()
        self._site = site
        self._start = to_standard(site, answer.at)

    def sentence(self) -> Markup:
        """Say from which spare to charge and when, or that none helps."""
        name, best = in_sentence(self.answer.name), self.best
        if self.answer.hours is None:
            return Markup("{} <strong>lasts past these days</strong> without any spare.").format(_upper(name))
        if best is None:
            return Markup("<strong>No spare can charge {}</strong>: {}.").format(name, self._why(self.answer.spares[0]))
        if best.gained_h is not None and best.gained_h < LEAST_GAIN_H:
            return self._no_longer(name, best)
        gains = "lasts past these days" if best.gained_h is None else f"gains {duration(best.gained_h)}"
        return Markup("Charge {} from <strong>{} {}</strong>: it <strong>{}</strong>.").format(
            name, in_sentence(self.answer.spares[0].name), self._when(best), gains
        )

    def guessed(self) -> str:
        """Say that the charge of the spare that was named is a guess; empty where it was typed or none is named."""
        if self.best is None or self.answer.hours is None or not self.answer.spares[0].guessed:
            return ""
        spare = self.answer.spares[0]
        return f"The {percent(spare.soc)} in {in_sentence(spare.name)} are a guess: type what it holds."

    def _no_longer(self, name: str, best: Move) -> Markup:
        """The moment it first runs short does not move; loads of later hours may be carried all the same."""
        if best.served_more_kwh < LEAST_SERVED_KWH:
            return Markup("<strong>No spare makes {} last longer</strong> in these days.").format(name)
        return Markup("No spare makes {} last longer, but <strong>{} {}</strong> carries {} more of its loads.").format(
            name, in_sentence(self.answer.spares[0].name), self._when(best), energy(best.served_more_kwh)
        )

    def range(self) -> str:
        """Say how long it lasts without and with, and whether it matters when."""
        answer, best = self.answer, self.best
        if answer.hours is None:
            return ""
        said = f"As it is, it lasts {duration(answer.hours)}, until {self._until(answer.hours)}."
        if answer.hours < NOW_H:
            said = "It is down to its reserve or a cut-off already."
        if best is None or (best.gained_h is not None and best.gained_h < LEAST_GAIN_H):
            return said
        if best.lasts_h is not None:
            said += f" With it, {duration(best.lasts_h)}, until {self._until(best.lasts_h)}."
        return f"{said} {self._matters()}".strip()

    def moved(self) -> str:
        """Say how long the device runs and what goes over."""
        best, spare = self.best, self.answer.spares[0]
        if best is None or best.begins_h is None or best.ends_h is None:
            return ""
        said = (
            f"At {fixed(spare.power_w)} W it runs for {duration(best.ran_h)} and is done on "
            f"{stamp(self._clock(best.ends_h))}: {energy(best.taken_kwh)} out of {in_sentence(spare.name)}, "
            f"{energy(best.into_kwh)} into {in_sentence(self.answer.name)}, {energy(best.lost_kwh)} lost on the way."
        )
        if best.cell_loss_kwh is None:
            own = "lasts past these days all the same" if best.own_h is None else f"then lasts {duration(best.own_h)}"
            said += f" With its own loads {in_sentence(spare.name)} {own}."
        waits_h = best.ends_h - best.begins_h - best.ran_h
        if waits_h > WAITED_H:
            said += f" For {duration(waits_h)} of that time it waits for room in the bank."
        return said

    def rank(self, spare: Spare) -> tuple[str, str, str, str, str, str, str]:
        """One row of the ranking."""
        charge = f"{percent(spare.soc)}{', a guess' if spare.guessed else ''}"
        if spare.best is None:
            return spare.name, charge, energy(spare.above_kwh), "", "", "", _upper(self._why(spare))
        best = spare.best
        return (
            spare.name,
            charge,
            energy(spare.above_kwh),
            self._when(best),
            energy(best.into_kwh),
            energy(best.lost_kwh),
            self._gained(best),
        )

    def start(self, move: Move) -> StartRow:
        """One start of the best spare."""
        return StartRow(
            when=_upper(self._when(move)),
            why="as late as all of it still goes over before the bank runs out" if move.name == "late" else "",
            done="–" if move.ends_h is None else stamp(self._clock(move.ends_h)),
            into=energy(move.into_kwh),
            displaced=energy(max(move.displaced_kwh, 0.0)),
            gained=self._gained(move),
        )

    def _gained(self, move: Move) -> str:
        if self.answer.hours is None:
            return "–"
        if move.gained_h is None:
            return "past these days"
        return f"{'+ ' if move.gained_h > 0.0 else ''}{fixed(move.gained_h, 1 if abs(move.gained_h) < 10.0 else 0)}"

    def _when(self, move: Move) -> str:
        if move.name == "now":
            return "from now on"
        dark = "after dark, " if move.name == "dark" else ""
        return f"{dark}from {stamp(self._clock(move.start_h))}"

    def _matters(self) -> str:
        if len(self.tried) < 2 or self.best is None or self.best.gained_h is None:
            return ""
        if not self.answer.spares[0].matters:
            return "When it is begun hardly matters."
        worst = min((move for move in self.tried if move.gained_h is not None), key=lambda move: move.gained_h or 0.0)
        gains = "nothing" if (worst.gained_h or 0.0) < LEAST_GAIN_H else f"only {duration(worst.gained_h or 0.0)}"
        return f"When it is begun matters: {self._when(worst)} it gains {gains}."

    def _why(self, spare: Spare) -> str:
        name = in_sentence(spare.name)
        return {
            "stop": f"{name} has a stop, which is to be mended before it is used",
            "bank cold": f"{in_sentence(self.answer.name)} is too cold or too warm to be charged",
            "spare cold": f"{name} is too cold to be discharged",
            "volts": f"{name} has volts that a converter is not taken to work from",
            "empty": f"{name} is at or below its reserve",
        }[spare.hindrance]

    def _clock(self, hours: float) -> datetime:
        there = to_civil(self._site, self._start + timedelta(seconds=round(hours * 3600.0)))
        return there.replace(tzinfo=None)

    def _until(self, hours: float) -> str:
        return until(self._clock(hours), self.answer.at.replace(tzinfo=None), hours)


def _reading(answer: Spares) -> str:
    """What the same start gains where the days are darker or brighter than they were said to be."""
    if answer.hours is None or not answer.readings:
        return ""
    gains = [_gains(reading.gained_h) for reading in answer.readings]
    if answer.best is None or set(gains) == {_gains(answer.best.gained_h)}:
        return ""
    told = [f"{gain} if they are {word}" for gain, word in zip(gains, ("darker", "brighter"), strict=False)]
    return f"Days may be other than their word: the same start gains {' and '.join(told)}."


def _gains(hours: float | None) -> str:
    if hours is None:
        return "more than these days"
    return "nothing" if hours < LEAST_GAIN_H else duration(hours)


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
