"""What to switch off, in words, tables and a chart. Times are on the household's clock."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from engine.answers.answer import Notice
from engine.answers.coming import Coming
from engine.answers.shedding import Candidate, Shedding
from engine.answers.shedding_times import SwitchOff
from engine.sky.site import Site
from webapp import car_chart
from webapp.chart_parts import Curve, Figure
from webapp.questions import civil_times, to_civil, to_standard
from webapp.render import fixed, percent
from webapp.words import duration, energy, listed, mid_sentence, short_date, stamp, until

NOW_H = 0.02
COLD_TANK_H = 24.0
"""A tank off for longer may stand lukewarm for days (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OffView:
    """The answer as the page shows it."""

    sentence: Markup
    range: str
    brief: str
    offs: tuple[tuple[str, str, str], ...]
    gains: tuple[tuple[Candidate, str, str], ...]
    moves: tuple[str, ...]
    surplus: str
    figure: Figure
    numbers: tuple[tuple[str, str, str], ...]
    span: str
    notices: tuple[Notice, ...]


def on_the_clock(answer: Shedding, site: Site) -> Shedding:
    """Return the answer with its moments on the household's clock, aware."""
    offs = tuple(dataclasses.replace(off, off_at=to_civil(site, off.off_at)) for off in answer.offs)
    return dataclasses.replace(answer, at=to_civil(site, answer.at), until=to_civil(site, answer.until), offs=offs)


def off_view(answer: Shedding, one: Coming, site: Site, *, on_again: bool = False) -> OffView:
    """Return the view of an answer that is on the household's clock; `on_again` where Today had loads switched off."""
    times = civil_times(site, to_standard(site, answer.at), answer.times_h.tolist())
    before = Curve(name="as it is", times=times, percent=tuple((answer.soc * 100.0).tolist()))
    after = Curve(name="switched off", times=times, percent=tuple((answer.soc_then * 100.0).tolist()))
    shown = after if answer.offs else None
    said = sentence(answer)
    return OffView(
        sentence=said,
        range=_range(answer, "With everything on" if on_again else "As it is"),
        brief=said.striptags(),
        offs=tuple((_what(off), _when(off, answer), energy(off.saved_kwh)) for off in answer.offs),
        gains=tuple((row, _hours(row.gained_h), _lasts(row.after_h)) for row in answer.candidates),
        moves=tuple(_move(answer, place) for place in range(len(answer.moves))),
        surplus=_surplus(answer, one),
        figure=car_chart.charge(before, shown, answer.floor_soc * 100.0, f"lowest to use {percent(answer.floor_soc)}"),
        numbers=tuple(
            (stamp(time), f"{a:.1f}", f"{b:.1f}")
            for time, a, b in zip(times, before.percent, after.percent, strict=True)
        ),
        span=f"{short_date(times[0].date())} to {short_date(times[-1].date())}",
        notices=tuple(_notices(answer)),
    )


def sentence(answer: Shedding) -> Markup:
    """Say what to switch off and when, or that nothing needs to be, or that it is not enough."""
    moment = _until(answer)
    if answer.enough:
        return Markup("To last until {} <strong>nothing has to be switched off</strong>.").format(moment)
    if not answer.candidates:
        return Markup("To last until {} <strong>nothing may be switched off</strong>: see Loads.").format(moment)
    if not answer.offs:
        far = answer.all_off_h
        assert far is not None
        return Markup("Even with all of it off it <strong>does not last until {}</strong>, but {}.").format(
            moment, duration(far)
        )
    return Markup("To last until {} switch off <strong>{}</strong>.").format(moment, _grouped(answer))


def _until(answer: Shedding) -> str:
    return until(answer.until.replace(tzinfo=None), answer.at.replace(tzinfo=None), answer.until_h)


def _grouped(answer: Shedding) -> str:
    """The loads by the time they must be off: “the van now, the tank by Thu 26 Nov, 18:00”."""
    groups: dict[str, list[str]] = {}
    for off in answer.offs:
        groups.setdefault(_when(off, answer), []).append(_what(off))
    return ", ".join(f"{listed(names)} {when}" for when, names in groups.items())


def _what(off: SwitchOff) -> str:
    name = f"the {mid_sentence(off.name)}"
    return f"{name} down to {off.kept_h:g} h a day" if off.kept_h else name


def _when(off: SwitchOff, answer: Shedding) -> str:
    return "now" if off.off_h < NOW_H else f"by {stamp(off.off_at)}"


def _range(answer: Shedding, how: str) -> str:
    if answer.enough:
        lasts = "beyond these days" if answer.hours is None else duration(answer.hours)
        return f"{how}, it lasts {lasts}."
    assert answer.hours is not None
    as_is = f"{how}, it lasts {duration(answer.hours)}"
    if not answer.offs:
        return f"{as_is}. Loads marked never off were not touched."
    sure = (
        "and you would mind none of the others less"
        if answer.proven
        else "the best that was found; one that you would mind less was not ruled out"
    )
    return f"{as_is}. {answer.sets_run} choices were run through these days; this one lasts, {sure}."


def _hours(gained_h: float | None) -> str:
    if gained_h is None:
        return "past these days"
    return f"+ {fixed(gained_h, 1 if gained_h < 10.0 else 0)}"


def _lasts(after_h: float | None) -> str:
    return "past these days" if after_h is None else duration(after_h)


def _move(answer: Shedding, place: int) -> str:
    move = answer.moves[place]
    gains = "lasts past these days" if move.gained_h is None else f"gains {duration(move.gained_h)}"
    return f"{move.name} begun at {move.to_h:g} o’clock instead of {move.from_h:g} runs under more sun and {gains}."


def _surplus(answer: Shedding, one: Coming) -> str:
    if not any(row.kind == "water" for row in answer.candidates):
        return ""
    left = energy(answer.spare_kwh) if answer.spare_kwh >= 0.05 else "nothing"
    return (
        "A tank that is off may still be heated when the bank is full and sun is left over: in these days, with "
        f"everything on, {left}. Car and water tells the hours and degrees."
    )


def _notices(answer: Shedding) -> Iterator[Notice]:
    for off in answer.offs:
        if off.kind == "water" and answer.until_h - off.off_h > COLD_TANK_H:
            yield Notice(
                level="check",
                code="tank-cold",
                page="loads",
                text=f"{off.name} would be off for {duration(answer.until_h - off.off_h)}. Water kept for days between "
                "25 and 50 °C can grow legionella: heat it through to 60 °C before it is used again, mind that water "
                "of 60 °C scalds, and follow local guidance.",
            )
    if any(off.kind == "pump" for off in answer.offs):
        yield Notice(
            level="note",
            code="pump-least",
            page="loads",
            text="A pool pump is cut to the least it must run, not stopped. Whether the water stands that is for "
            "whoever looks after it to say.",
        )
    if not answer.enough and answer.never_off:
        yield Notice(
            level="note",
            code="never-off",
            page="loads",
            text=f"Marked never off and not touched: {listed(list(answer.never_off))}.",
        )
