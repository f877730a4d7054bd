"""Why it went dark in words, tables and a chart. Times are on the household's clock."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime

from markupsafe import Markup

from engine.answers.dark import CauseFound, Dark
from engine.answers.dark_measure import AGAIN, Measurement, Outcome
from engine.answers.dark_night import TOO_COLD
from engine.answers.dark_weights import CANNOT, HARDLY
from engine.sky.site import Site
from webapp import dark_chart
from webapp.chart_parts import Curve, Figure
from webapp.cold_words import degrees
from webapp.dark_words import CAUSES, FITS, LIMITS, MEASURES, how_text, needs_text, once_warm, reading_text
from webapp.questions import civil_times, to_civil, to_standard
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.words import duration, mid_sentence, short_date, stamp

LEAST_WEIGHT = 0.005
"""A weight that is less is told as none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A measurement as the page shows it: how it is done, what each cause says, and what each outcome means."""

    title: str
    how: str
    expected: tuple[tuple[str, str], ...]
    outcomes: tuple[tuple[str, str], ...]
    good_to: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DarkView:
    """The answer as page and paper show it."""

    sentence: Markup
    range: str
    figures: tuple[tuple[str, str, str], ...]
    rows: tuple[tuple[str, str, str, str], ...]
    figure: Figure
    columns: tuple[str, ...]
    numbers: tuple[tuple[str, tuple[str, ...]], ...]
    span: str
    deciding: Measured | None
    undecided: str
    others: tuple[tuple[str, str], ...]
    typed: tuple[tuple[str, str], ...]


def on_the_clock(answer: Dark, site: Site) -> Dark:
    """Return the answer with its moments on the household's clock, aware."""

    def moved(moment: datetime | None) -> datetime | None:
        return None if moment is None else to_civil(site, moment)

    seen = answer.seen
    there = dataclasses.replace(
        seen, at=to_civil(site, seen.at), evening_at=moved(seen.evening_at), full_at=moved(seen.full_at)
    )
    return dataclasses.replace(answer, seen=there, start_at=to_civil(site, answer.start_at))


def dark_view(answer: Dark, site: Site) -> DarkView:
    """Return the view of an answer that is on the household's clock."""
    figure, columns, numbers = _chart(answer, site)
    deciding = answer.deciding
    return DarkView(
        sentence=_sentence(answer),
        range=_range(answer),
        figures=_figures(answer),
        rows=tuple(_row(found, answer) for found in answer.causes),
        figure=figure,
        columns=columns,
        numbers=numbers,
        span=f"{stamp(answer.start_at)} to {stamp(answer.seen.at)}",
        deciding=None if deciding is None else _measured(deciding, answer),
        undecided=_undecided(answer),
        others=tuple((MEASURES[one.code].title, _tells(one)) for one in answer.measurements if one is not deciding),
        typed=_typed(answer),
    )


def _seen_clause(answer: Dark) -> str:
    seen = answer.seen
    return f"at {percent(seen.soc)} with {figures(seen.load_w)}{NO_BREAK}W on and cells at {degrees(seen.cell_c)}"


def _sentence(answer: Dark) -> Markup:
    first = answer.first
    if answer.usual:
        return Markup("Nothing unusual: <strong>it was empty by then</strong>, {}.").format(_seen_clause(answer))
    clause = CAUSES[first.code].clause
    if first.fits in (HARDLY, CANNOT):
        return Markup("<strong>Nothing here fits well</strong>. The least unlikely: {}, {}.").format(
            clause, _seen_clause(answer)
        )
    return Markup("Most likely <strong>{}</strong>, {}.").format(clause, _seen_clause(answer))


def _range(answer: Dark) -> str:
    """Say what the likeliest cause needs, and what else may be."""
    first, *others = answer.causes
    near = [CAUSES[one.code] for one in others if one.code in answer.leading and one.weight >= 0.05]
    needs = "" if answer.usual else f"It takes {needs_text(first, answer)}. "
    expects = f"As entered, the bank goes dark at {percent(answer.expected_soc)} under that load. "
    if answer.expected_limit == TOO_COLD:
        expects = "As entered, cells that cold give no current at any charge. "
    alone = "The other causes fit worse still." if first.fits in (HARDLY, CANNOT) else "Nothing else comes near."
    also = f"Not ruled out: {'; or '.join(words.clause for words in near)}." if near else alone
    return f"{needs}{expects}{also}"


def _figures(answer: Dark) -> tuple[tuple[str, str, str], ...]:
    seen = answer.seen
    gap = seen.soc - answer.expected_soc
    return (
        ("As entered it ends at", percent(answer.expected_soc), f"under that load, by {LIMITS[answer.expected_limit]}"),
        (
            "Left to explain",
            f"{fixed(max(gap, 0.0) * 100.0)} points",
            f"from there to the {percent(seen.soc)} that the monitor showed",
        ),
        (
            "Pack volts under the load",
            f"{fixed(answer.expected_v, 1)}{NO_BREAK}V",
            f"at {percent(seen.soc)}, sound cells; it ends at {fixed(answer.cut_v, 1)}{NO_BREAK}V",
        ),
    )


def _row(found: CauseFound, answer: Dark) -> tuple[str, str, str, str]:
    """A cause as a row of the table; no share where nothing fits well, nor of a cause that cannot be."""
    share = "under 1" if found.weight < LEAST_WEIGHT else fixed(found.weight * 100.0)
    untold = answer.first.fits in (HARDLY, CANNOT) or found.fits == CANNOT
    weight = "–" if untold else f"{share}{NO_BREAK}%"
    return CAUSES[found.code].title, FITS[found.fits], needs_text(found, answer), weight


def _chart(answer: Dark, site: Site) -> tuple[Figure, tuple[str, ...], tuple[tuple[str, tuple[str, ...]], ...]]:
    """The night under the leading causes, and its numbers at the monitor's ends and each hour between."""
    start = to_standard(site, answer.start_at)
    led = [one for one in answer.causes if one.code in answer.leading and one.rerun is not None]
    reruns = [one.rerun for one in led if one.rerun is not None]
    dark_h = answer.night_h
    shown = Curve(
        name="monitor",
        times=civil_times(site, start, (0.0, dark_h)),
        percent=(answer.start_soc * 100.0, answer.seen.soc * 100.0),
    )
    curves = [
        Curve(
            name=CAUSES[one.code].short,
            times=civil_times(site, start, run.times_h),
            percent=tuple(soc * 100.0 for soc in run.soc),
        )
        for one, run in zip(led, reruns, strict=True)
    ]
    figure = dark_chart.night(
        (shown, *curves), shown.times[-1], answer.expected_soc * 100.0, f"ends here {percent(answer.expected_soc)}"
    )
    hours = sorted({*range(int(dark_h) + 1), dark_h})
    times = civil_times(site, start, hours)
    rows = tuple(
        (stamp(time), tuple(f"{value:.1f}" for value in _at_hour(answer, hour)))
        for time, hour in zip(times, hours, strict=True)
    )
    return figure, ("monitor, %", *(f"{curve.name}, %" for curve in curves)), rows


def _at_hour(answer: Dark, hour: float) -> list[float]:
    """Charge of the monitor and of each leading cause at an hour of the night [%]."""
    part = hour / answer.night_h
    monitor = 100.0 * (answer.start_soc + (answer.seen.soc - answer.start_soc) * part)
    reruns = [one.rerun for one in answer.causes if one.code in answer.leading and one.rerun is not None]
    return [monitor, *(100.0 * _between(rerun.times_h, rerun.soc, hour) for rerun in reruns)]


def _between(times: tuple[float, ...], values: tuple[float, ...], at: float) -> float:
    for place in range(1, len(times)):
        if at <= times[place]:
            step = times[place] - times[place - 1]
            part = (at - times[place - 1]) / step if step > 0.0 else 1.0
            return values[place - 1] + (values[place] - values[place - 1]) * part
    return values[-1]


def _measured(one: Measurement, answer: Dark) -> Measured:
    words = MEASURES[one.code]
    if one.code == AGAIN:
        expected = tuple(
            (CAUSES[of.code].title, "goes dark again" if of.reading > 0.5 else "carries it") for of in one.expected
        )
        good_to = ""
    else:
        expected = tuple((CAUSES[of.code].title, f"about {reading_text(one, of.reading)}") for of in one.expected)
        good_to = f"Taken as good to about {fixed(one.error, max(words.digits, 1))}{NO_BREAK}{one.unit}."
    return Measured(
        title=words.title,
        how=how_text(one, answer),
        expected=expected,
        outcomes=tuple((_outcome(one, outcome), _means(outcome)) for outcome in one.outcomes),
        good_to=good_to,
    )


def _outcome(one: Measurement, outcome: Outcome) -> str:
    if one.code == AGAIN:
        return "It carries it" if outcome.low is None else "It goes dark again"
    reads = MEASURES[one.code].reads
    if outcome.low is None and outcome.high is not None:
        return f"Under {reading_text(one, outcome.high)} {reads}"
    if outcome.high is None and outcome.low is not None:
        return f"{reading_text(one, outcome.low)} or more {reads}"
    if outcome.low is None or outcome.high is None:
        return "Any reading"
    return f"{reading_text(one, outcome.low)} to {reading_text(one, outcome.high)} {reads}"


def _means(outcome: Outcome) -> str:
    first, *rest = [CAUSES[code].title for code in outcome.codes]
    return f"{'; or '.join([first, *map(mid_sentence, rest)])}: this reading does not part them" if rest else first


def _tells(one: Measurement) -> str:
    """How far the leading causes are apart in a measurement."""
    if not one.decides:
        return "reads alike under each of them"
    return f"{fixed(one.apart, 1)} times what it is good to, on the mean"


def _undecided(answer: Dark) -> str:
    if answer.deciding is not None:
        return ""
    if answer.usual:
        soon = once_warm("Charge it soon, as an empty bank should not stand, and to a true full now and then.", answer)
        return f"Nothing needs deciding: the night needs no fault. {soon}"
    if answer.alone and answer.first.fits not in (HARDLY, CANNOT):
        return "Nothing needs deciding: this cause is far ahead of every other here."
    if answer.alone:
        return (
            "No measurement is named, as nothing here fits well. Read again what you typed, above all the charge shown "
            "and the load, and have fuses, joints and the inverter itself looked at."
        )
    return once_warm(
        "Charge the bank to a true full, which sets the monitor right, and see whether it happens again. "
        "None of the measurements here would tell the likeliest causes apart, as small as each would have to be.",
        answer,
    )


def _typed(answer: Dark) -> tuple[tuple[str, str], ...]:
    """What was typed, as it was understood."""
    seen = answer.seen
    found = [
        ("Went dark", stamp(seen.at)),
        ("The monitor showed", percent(seen.soc, 1)),
        ("Running just then", f"{fixed(seen.load_w)}{NO_BREAK}W at the sockets"),
        ("Cells", degrees(seen.cell_c)),
        (
            "Mean load of the evening",
            "by your loads" if seen.evening_w is None else f"{fixed(seen.evening_w)}{NO_BREAK}W",
        ),
    ]
    if seen.evening_at is not None and seen.evening_soc is not None:
        hours = duration(answer.night_h)
        found.append(("In the evening", f"{percent(seen.evening_soc, 1)} on {stamp(seen.evening_at)}, {hours} before"))
    if seen.full_at is not None:
        found.append(("Last full", f"{short_date(seen.full_at.date())}, {seen.full_at:%H:%M}"))
    if seen.volts_v is not None:
        when = "just before" if seen.volts_when == "before" else "some minutes after"
        found.append(("Pack volts", f"{fixed(seen.volts_v, 1)}{NO_BREAK}V {when}"))
    return tuple(found)
