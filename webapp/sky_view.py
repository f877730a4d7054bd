"""The sky of now in words and figures, and today's hours as a chart; all from the one answer.

Times are on the household's clock.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from engine.answers.sky_parts import Alone, BankGain, Found, SkyNow, WhatIf
from engine.quantities import WH_PER_KWH
from engine.sky.moment import LEAST_SUN_DEG
from engine.sky.site import Site
from webapp import sky_charts
from webapp.chart_parts import Figure
from webapp.questions import to_civil, to_standard
from webapp.render import figures, fixed, percent
from webapp.sky_charts import ASSUMED, CLEAR, NOW, DayLine
from webapp.words import between, duration, energy, in_sentence, until

SAME_H = 0.125
"""Hours gained or lost that are not worth a word."""
KINDS = {
    "grey": "grey all over, nothing throws a shadow",
    "veiled": "thin or broken cloud, faint shadows",
    "sunny": "sun, sharp shadows",
}
_OWN = {"dark": "dark, no brighter than your own dull day", "dull": "dull, your own day"}
SKIES = {"dark": "dark", "dull": "dull", "half": "thin or broken cloud", "bright": "bright"}
_BOUNDS = {"least": "At least ", "most": "At most ", "": "About "}


@dataclass(frozen=True, slots=True, kw_only=True)
class SkyView:
    """What the page says of the answer; `columns` and `rows` are the chart's numbers [kW]."""

    sentence: Markup
    range: str
    kind: str
    hours: tuple[Markup, ...]
    at: str
    guessed: bool
    assumed: str
    figure: Figure | None
    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[float, ...]], ...]


def on_the_clock(answer: SkyNow, site: Site) -> SkyNow:
    """Return the answer with its moments on the household's clock, aware; hours of the day stay standard time."""

    def there(moment: datetime | None) -> datetime | None:
        return None if moment is None else to_civil(site, moment)

    found = answer.found
    if found is not None:
        banks = tuple(
            dataclasses.replace(one, before_ends_at=there(one.before_ends_at), after_ends_at=there(one.after_ends_at))
            for one in found.banks
        )
        found = dataclasses.replace(found, banks=banks)
    return dataclasses.replace(
        answer,
        at=to_civil(site, answer.at),
        readable_from=there(answer.readable_from),
        readable_to=there(answer.readable_to),
        found=found,
    )


def sky_view(answer: SkyNow, site: Site, *, guessed: bool) -> SkyView:
    """Return what the page says of an answer that is on the household's clock.

    Parameters
    ----------
    guessed : bool
        Whether nobody has said yet what the coming days are like.
    """
    found = answer.found
    hours = _lit_hours(answer, site)
    lines = _lines(answer)
    ends = () if found is None else (_kw(answer, found.hours.low_w), _kw(answer, found.hours.high_w))
    columns = (*(one.kw for one in lines), *ends)
    return SkyView(
        sentence=_empty_sentence(answer) if found is None else _sentence(found),
        range=_empty_range(answer) if found is None else _range(found, answer.at),
        kind="" if found is None else _kind(found),
        hours=() if found is None else tuple(_bank(one, found, answer, guessed) for one in found.banks),
        at=f"{answer.at:%H:%M}",
        guessed=guessed,
        assumed="" if found is None else _assumed(found, guessed),
        figure=sky_charts.day(hours, lines, ends, _reading_mark(answer, hours, lines)) if hours else None,
        columns=(*(one.name for one in lines), *(("low end", "high end") if ends else ())),
        rows=tuple((_clock(hour), tuple(column[place] for column in columns)) for place, hour in enumerate(hours)),
    )


def sky_name(one: WhatIf) -> str:
    """Return what a sky of the table of displays is called."""
    return _OWN[one.word] if one.own else SKIES[one.word]


def _empty_sentence(answer: SkyNow) -> Markup:
    if answer.apart:
        return Markup("The displays <strong>contradict each other</strong>: no sky is read off them.")
    if answer.readable_from is None:
        return Markup("<strong>No sky can be read today</strong>: the sun does not rise {}° above the horizon.").format(
            fixed(LEAST_SUN_DEG)
        )
    if answer.height_deg < LEAST_SUN_DEG:
        where = "below the horizon" if answer.height_deg < 0.0 else "too low"
        return Markup("The sun is {}: <strong>no sky can be read</strong> from the panels now.").format(where)
    return Markup("Type what the solar charger shows, and <strong>the sky is read off it</strong>.")


def _empty_range(answer: SkyNow) -> str:
    if answer.apart:
        told = (f"{one.name} alone ({figures(one.shown_w)} W) says {_told(one)}" for one in answer.apart)
        return f"{'; '.join(told)} of a clear sky’s light."
    if answer.readable_from is None or answer.readable_to is None:
        return "The panels give nothing to speak of until it does."
    if answer.height_deg >= LEAST_SUN_DEG:
        return f"At {answer.at:%H:%M} your panels would show what stands in the table."
    span = f"{answer.readable_from:%H:%M} to {answer.readable_to:%H:%M}"
    return f"On this day it stands {fixed(LEAST_SUN_DEG)}° or higher from {span}."


def _told(one: Alone) -> str:
    return f"{_BOUNDS[one.bound].lower()}{percent(one.kc)}"


def _sentence(found: Found) -> Markup:
    how = " more today, if the sky stays as it is." if found.reading.bound == "most" else " more is likely today."
    return Markup("{}<strong>{}</strong>{}").format(_BOUNDS[found.reading.bound], energy(found.rest.kwh), how)


def _range(found: Found, at: datetime) -> str:
    """What the middle and its band are, in words."""
    between_them = f"between {figures(found.rest.low_kwh)} and {energy(found.rest.high_kwh)}"
    if found.reading.bound == "most":
        return f"On eight of ten days what came after such an hour lay {between_them}."
    return (
        f"That is the middle of what came after such an hour; on eight of ten days it lay {between_them}. "
        f"If the sky of {at:%H:%M} stays as it is: {energy(found.rest_unchanged_kwh)}."
    )


def _kind(found: Found) -> str:
    usual = "" if found.reading.told_apart else "most often "
    return f"of a clear sky’s light; {usual}{KINDS[found.kind]}"


def _assumed(found: Found, guessed: bool) -> str:
    if found.assumed_rest_kwh is None:
        return "today’s sun is nearly over"
    return f"{energy(found.assumed_rest_kwh)} on {_day_before(found, guessed, 'a')}"


def _day_before(found: Found, guessed: bool, article: str) -> str:
    """The day that stood in the answer before the reading: the season’s, where nobody said one."""
    if guessed:
        return f"{article} usual day of the season"
    return f"{article} {found.assumed_word} day" if found.assumed_word else "the day assumed"


def _bank(bank: BankGain, found: Found, answer: SkyNow, guessed: bool) -> Markup:
    """What the reading is worth to one bank, against the day that was assumed."""
    name = in_sentence(bank.name)
    begin = name[:1].upper() + name[1:]
    day = _day_before(found, guessed, "the")
    if bank.after_h is None:
        before = "it did not either" if bank.before_h is None else f"it lasted {duration(bank.before_h)}"
        return Markup(
            "With that sun today {} <strong>does not run out</strong> in the days looked at; with {} {}."
        ).format(name, day, before)
    assert bank.after_ends_at is not None
    end = until(bank.after_ends_at.replace(tzinfo=None), answer.at.replace(tzinfo=None), bank.after_h)
    start = " from full" if bank.from_full else ""
    lasts = Markup("{} lasts <strong>{}</strong>{}, until {}").format(begin, duration(bank.after_h), start, end)
    if found.assumed_kc is None:
        return lasts + Markup(": today’s sun is nearly over.")
    if bank.gained_h is None:
        return lasts + Markup(": with {} it did not run out in the days looked at.").format(day)
    if abs(bank.gained_h) < SAME_H:
        return lasts + Markup(": the same as with {}.").format(day)
    more = "longer" if bank.gained_h > 0.0 else "shorter"
    return lasts + Markup(": {} {} than with {}.{}").format(duration(abs(bank.gained_h)), more, day, _ends(bank))


def _ends(bank: BankGain) -> str:
    """The range of the hours, from that of the light and from loads a tenth more or less, wider if the book says so."""
    wider = (
        f" It is {fixed(bank.widened, 1)} times as wide as the model’s own, by your promise book."
        if bank.widened > 1.0
        else ""
    )
    if bank.after_low_h is None:
        return ""
    if bank.after_high_h is None:
        return f" From {duration(bank.after_low_h)} to beyond the days looked at.{wider}"
    text = between(bank.after_low_h, bank.after_high_h)
    return f" {text[0].upper()}{text[1:]} with that range of light and your loads a tenth more or less.{wider}"


def _lit(answer: SkyNow) -> list[int]:
    """The hours of local standard time that have any sun."""
    return [hour for hour, watts in enumerate(answer.clear_w.tolist()) if watts > 0.0]


def _lit_hours(answer: SkyNow, site: Site) -> tuple[float, ...]:
    """The middles of those hours on the clock [h]."""
    ahead_h = (answer.at.replace(tzinfo=None) - to_standard(site, answer.at)).total_seconds() / 3600.0
    return tuple(hour + 0.5 + ahead_h for hour in _lit(answer))


def _kw(answer: SkyNow, watts: NDArray[np.float64]) -> tuple[float, ...]:
    return tuple((watts[_lit(answer)] / WH_PER_KWH).tolist())


def _lines(answer: SkyNow) -> tuple[DayLine, ...]:
    found = answer.found
    clear = DayLine(name="a clear day", kw=_kw(answer, answer.clear_w), style=CLEAR)
    if found is None:
        return (clear,)
    now = DayLine(name="this sky, then likely", kw=_kw(answer, found.hours.now_w), style=NOW)
    if found.hours.assumed_w is None:
        return clear, now
    return clear, now, DayLine(name="as assumed", kw=_kw(answer, found.hours.assumed_w), style=ASSUMED)


def _reading_mark(answer: SkyNow, hours: tuple[float, ...], lines: tuple[DayLine, ...]) -> tuple[float, float] | None:
    """The moment of the reading on the line of its sky."""
    if answer.found is None:
        return None
    hour = answer.at.hour + answer.at.minute / 60.0
    return hour, float(np.interp(hour, hours, lines[1].kw))


def _clock(hour: float) -> str:
    minutes = round(hour * 60.0)
    return f"{minutes // 60 % 24:02}:{minutes % 60:02}"
