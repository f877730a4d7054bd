"""When to start the generator, in words, tables and a chart. Times are on the household's clock."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from engine.answers.answer import Notice
from engine.answers.starting import LATEST, LEAST, NOTHING_KWH, RULES, RunTold, Starting, Way
from engine.house.generator import Generator
from engine.sky.site import Site
from engine.text.dates import clock_hour
from webapp import car_chart
from webapp.chart_parts import Curve, Figure
from webapp.generator_view import litres
from webapp.questions import civil_times, to_civil, to_standard
from webapp.render import percent
from webapp.words import counted, duration, energy, in_sentence, short_date, stamp, until

NOW_H = 1.0 / 60.0
NAMES = {LATEST: "As late as it may be", LEAST: "Least fuel", RULES: "By its own rules"}


@dataclass(frozen=True, slots=True, kw_only=True)
class RunView:
    """The answer as the page shows it; `ways` and `runs` are cells of tables, `numbers` those of the chart."""

    sentence: Markup
    range: str
    brief: str
    first: str
    ways: tuple[tuple[str, str, str, str, str, str, str], ...]
    runs: tuple[tuple[str, str, str, str, str, str], ...]
    runs_of: str
    figure: Figure
    numbers: tuple[tuple[str, str, str], ...]
    span: str
    notices: tuple[Notice, ...]


def on_the_clock(answer: Starting, site: Site) -> Starting:
    """Return the answer with its moments on the household's clock, aware."""
    return dataclasses.replace(
        answer,
        at=to_civil(site, answer.at),
        until=to_civil(site, answer.until),
        latest_at=None if answer.latest_at is None else to_civil(site, answer.latest_at),
        without=_way(answer.without, site),
        ways=tuple(_way(way, site) for way in answer.ways),
    )


def _way(way: Way, site: Site) -> Way:
    runs = tuple(dataclasses.replace(run, start_at=to_civil(site, run.start_at)) for run in way.runs)
    lasts_at = None if way.lasts_at is None else to_civil(site, way.lasts_at)
    return dataclasses.replace(way, runs=runs, lasts_at=lasts_at)


def run_view(answer: Starting, generator: Generator, site: Site) -> RunView:
    """Return the view of an answer that is on the household's clock."""
    best = answer.way(answer.best or RULES)
    assert best is not None
    start = to_standard(site, answer.at)
    times_h = np.union1d(answer.without.times_h, best.times_h if answer.needed else answer.without.times_h)
    times = civil_times(site, start, times_h.tolist())
    before, after = (
        Curve(name=name, times=times, percent=tuple((100.0 * np.interp(times_h, way.times_h, way.soc)).tolist()))
        for name, way in (("without it", answer.without), ("with it", best))
    )
    said = sentence(answer)
    return RunView(
        sentence=said,
        range=_range(answer, best),
        brief=said.striptags(),
        first=_first(answer, best),
        ways=tuple(_row(way, answer) for way in _shown(answer)),
        runs=tuple(_run(run) for run in best.runs) if answer.needed else (),
        runs_of=NAMES[best.key],
        figure=car_chart.charge(
            before,
            after if answer.needed else None,
            answer.floor_soc * 100.0,
            f"lowest to use {percent(answer.floor_soc)}",
        ),
        numbers=tuple(
            (stamp(time), f"{a:.1f}", f"{b:.1f}")
            for time, a, b in zip(times, before.percent, after.percent, strict=True)
        ),
        span=f"{short_date(times[0].date())} to {short_date(times[-1].date())}",
        notices=_notices(answer, best, generator),
    )


def sentence(answer: Starting) -> Markup:
    """Say when it has to be started at the latest, or that it need not run."""
    moment = _until(answer)
    name = in_sentence(answer.generator)
    if not answer.needed:
        return Markup("To last until {} <strong>{} need not run</strong>.").format(moment, name)
    if answer.latest_at is None or answer.latest_h is None:
        return Markup("To last until {} {} would have to run <strong>in its quiet hours</strong>.").format(moment, name)
    when = "now" if answer.latest_h < NOW_H else f"by {stamp(answer.latest_at)}"
    return Markup("To last until {} start {} <strong>{}</strong>.").format(moment, name, when)


def _until(answer: Starting) -> str:
    return until(answer.until.replace(tzinfo=None), answer.at.replace(tzinfo=None), answer.until_h)


def _range(answer: Starting, best: Way) -> str:
    if answer.without.lasts_h is None:
        return f"Without it the charge is {percent(answer.without.lowest_soc)} at the lowest."
    lasts = f"Without it the bank lasts {duration(answer.without.lasts_h)}"
    if answer.latest_at is None:
        return f"{lasts}, and no hour in which it may run comes before that."
    moved = " The start is sooner for its quiet hours." if answer.moved else _spare(answer)
    return f"{lasts}.{moved}{_sure(answer, best)}"


def _spare(answer: Starting) -> str:
    """How much sooner than at the last minute the latest start is; nothing where it is now."""
    assert answer.without.lasts_h is not None
    assert answer.latest_h is not None
    if answer.latest_h < NOW_H:
        return ""
    return f" The start leaves {duration(answer.without.lasts_h - answer.latest_h)} to spare."


def _sure(answer: Starting, best: Way) -> str:
    if best.lasts_h is not None:
        return ""
    if answer.sure_h is None:
        return " The runs below are enough also with your loads a tenth more on the darkest reading of these days."
    return (
        f" With your loads a tenth more on the darkest reading of these days the runs below last "
        f"{duration(answer.sure_h)}: look again each morning."
    )


def _first(answer: Starting, best: Way) -> str:
    """Hours, litres and the first run of the way that burns least."""
    if not answer.needed:
        return ""
    if not best.runs:
        return "No run that its hours allow is of any help: switch loads off, or charge from a spare."
    run = best.runs[0]
    when = "now" if run.start_h < NOW_H else stamp(run.start_at)
    short = "" if best.lasts_h is None else f" Even so it lasts {duration(best.lasts_h)} only."
    return (
        f"{NAMES[best.key]}: {litres(best.litres)} in {duration(best.run_h)} of running and "
        f"{counted(len(best.runs), 'start')}. The first begins {when} and takes {duration(run.hours)}.{short}"
    )


def _shown(answer: Starting) -> tuple[Way, ...]:
    """The ways worth a row: the one that runs late only where it lasts."""
    if not answer.needed:
        return ()
    return tuple(way for way in answer.ways if way.key != LATEST or way.lasts_h is None or way.key == answer.best)


def _row(way: Way, answer: Starting) -> tuple[str, str, str, str, str, str, str]:
    lasts = "to the end" if way.lasts_h is None else duration(way.lasts_h)
    name = NAMES[way.key] + (" (least of these)" if way.key == answer.best and way.key != LEAST else "")
    return (
        name,
        litres(way.litres),
        duration(way.run_h) if way.run_h else "none",
        str(len(way.runs)),
        percent(way.lowest_soc),
        percent(way.end_soc),
        lasts,
    )


def _run(run: RunTold) -> tuple[str, str, str, str, str, str]:
    return (
        "now" if run.start_h < NOW_H else stamp(run.start_at),
        duration(run.hours),
        percent(run.start_soc),
        percent(run.end_soc),
        energy(run.given_kwh),
        litres(run.litres),
    )


def _notices(answer: Starting, best: Way, generator: Generator) -> tuple[Notice, ...]:
    found = []
    if answer.needed and answer.latest_at is None:
        quiet = f"{clock_hour(generator.quiet_from_h)} to {clock_hour(generator.quiet_to_h)} o’clock"
        found.append(
            Notice(
                level="stop",
                code="run-quiet",
                page="inverter",
                text=f"{answer.name} is out before {in_sentence(answer.generator)} may run: it is quiet from {quiet}. "
                "Switch loads off now, or decide yourself whether those hours hold tonight.",
            )
        )
    elif answer.needed and best.lasts_h is not None:
        found.append(
            Notice(
                level="stop",
                code="run-short",
                page="inverter",
                text=f"No plan that was looked at lasts until the moment asked for: {energy(best.unserved_kwh)} stay "
                "unserved with the best of them. Switch loads off as well.",
            )
        )
    if answer.cold and answer.needed:
        found.append(
            Notice(
                level="check",
                code="run-cold",
                page="banks",
                text=f"{answer.name} may not be charged at its temperature: {answer.generator} feeds the sockets and "
                "puts nothing into it.",
            )
        )
    if answer.needed and not generator.by_itself:
        found.append(
            Notice(
                level="note",
                code="run-by-hand",
                page="inverter",
                text=f"Somebody has to be there to start {in_sentence(answer.generator)} and to stop it.",
            )
        )
    rules = answer.way(RULES)
    if answer.needed and rules is not None and rules.unserved_kwh > NOTHING_KWH and best.key != RULES:
        found.append(
            Notice(
                level="note",
                code="run-rules-short",
                page="inverter",
                text=f"By its own rules {energy(rules.unserved_kwh)} would stay unserved in these days.",
            )
        )
    return tuple(found)
