"""The household card in words: whoever stands before a socket reads the meter and finds a yes, an ask or a no.

Charges are rounded up to whole five percent: a card on a door is read from a step away, and errs on the careful side.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor

from engine.answers.card import SPREAD_W, Card, CardSupply, Extra, Start
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sky.site import Site
from engine.text.dates import clock_hour
from webapp.render import NO_BREAK, fixed, percent
from webapp.words import counted, duration, in_sentence, listed

STEP = 5
"""Charges are told in steps of this many percent."""
THINGS = {
    0.1: "A lamp, a telephone, a laptop for the evening",
    0.5: "A kettle boiled four times, an hour of ironing on and off",
    1.0: "A wash at 40 °C, half an hour of a 2 kW heater",
    2.0: "An hour of oven or of a 2 kW heater",
    5.0: "A dryer twice, 25 to 30 km of driving for an electric car",
}
"""What such an energy is in a house (typical, from memory), by kWh at the sockets."""
SMALL_THINGS = {
    0.1: "A lamp, a telephone, a laptop for the evening",
    0.5: "A television of 100 W for five hours",
    1.0: "A computer of 200 W for five hours",
    2.0: "A refrigerator for two days",
    5.0: "200 W for a day and a night",
}
"""The same where the house gives less than `SPREAD_W` at once (typical, from memory)."""
THINGS_SOURCE = "What a thing takes is typical, from memory: read its own plate, watts times hours."
MOST_LOADS = 8
"""Loads that are listed: the card is one page."""
FULL = "full only"
NEVER = "no"


@dataclass(frozen=True, slots=True, kw_only=True)
class CardRow:
    """Something to plug in, what it takes, and the charges of a yes, of asking first and of a no."""

    thing: str
    takes: str
    yes: str
    ask: str
    no: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CardView:
    """What is printed."""

    counted_from: str
    sentence: str
    verdicts: str
    rows: tuple[CardRow, ...]
    never_yes: str
    readings: tuple[tuple[str, str], ...]
    ends_alike: str
    as_it_is: str
    most: str
    order_from: str
    order_counted: str
    order: tuple[tuple[str, str], ...]
    more: str
    never_off: str
    generator: tuple[str, ...]
    uncharged: str
    restart: str


def card_view(answer: Card, site: Site) -> CardView:
    """Return the card in words, its times by the clock on the wall of its month."""
    one, ahead_h = answer.supply, site.clock_ahead_h(answer.at.date())
    return CardView(
        counted_from=f"{_on_the_wall(answer.at.hour, ahead_h)} o’clock",
        sentence=f"Read the battery monitor of {in_sentence(one.name)} first, then find the line.",
        verdicts=_verdicts(one, answer),
        rows=tuple(_row(extra, one) for extra in one.extras),
        never_yes=_never_yes(one, answer),
        readings=tuple((percent(reading.soc), _lasts(reading.hours)) for reading in one.readings),
        ends_alike=_ends_alike(one, answer.at.hour + ahead_h) or _same_hours(one, answer.at.hour + ahead_h),
        as_it_is=_as_it_is(one, answer),
        most=_most(one),
        order_from=_order_from(one),
        order_counted=_order_counted(one, answer, ahead_h),
        order=tuple((load.name, _gain(load.gained_h)) for load in one.order[:MOST_LOADS]),
        more="Then the rest, as the page Switch off lists it." if len(one.order) > MOST_LOADS else "",
        never_off=f"These may always run, leave them on: {listed(list(one.never_off))}." if one.never_off else "",
        generator=() if one.start is None else _generator(one.start, ahead_h),
        uncharged=f"Do not charge: {one.uncharged}. No generator and no charger until that is mended."
        if one.uncharged
        else "",
        restart=_restart(one),
    )


def from_percent(soc: float | None, top_soc: float) -> str:
    """Write the charge from which something is allowed, rounded up to five percent.

    Examples
    --------
    >>> from_percent(0.61, 1.0), from_percent(0.97, 0.985), from_percent(None, 1.0)
    ('65\\xa0%', 'full only', 'no')
    """
    if soc is None:
        return NEVER
    rounded = ceil(soc * 100.0 / STEP - 1e-9) * STEP
    return FULL if rounded > floor(top_soc * 100.0) else f"{rounded}{NO_BREAK}%"


def _verdicts(one: CardSupply, answer: Card) -> str:
    never = _never_yes(one, answer)
    yes = never or f"Yes: the house still rides {_night_and(answer)}."
    return f"{yes} Ask first: it reaches the morning and then needs the sun. Else no."


def _never_yes(one: CardSupply, answer: Card) -> str:
    """Say once that no charge rides the days with anything more, where none does; the column is then left out."""
    if any(extra.from_soc is not None for extra in one.extras):
        return ""
    return f"Nothing more without asking: with any of these even a full bank does not ride {_night_and(answer)}."


def _night_and(answer: Card) -> str:
    """What is to be ridden, from the evening on that the card counts from."""
    return f"the night and {counted(answer.days, 'dull day')} after it"


def _row(extra: Extra, one: CardSupply) -> CardRow:
    yes, ask = (from_percent(soc, one.top_soc) for soc in (extra.from_soc, extra.night_soc))
    things = THINGS if one.most_w >= SPREAD_W else SMALL_THINGS
    return CardRow(
        thing=things[extra.kwh],
        takes=f"{extra.kwh:g}{NO_BREAK}kWh",
        yes=_and_up(yes),
        ask=_between(ask, yes),
        no={NEVER: "always", FULL: "unless full"}.get(ask, f"under {ask}"),
    )


def _and_up(told: str) -> str:
    """Write a charge from which something holds."""
    return {NEVER: "never", FULL: FULL}.get(told, f"{told} and up")


def _between(ask: str, yes: str) -> str:
    """Write the charges of asking first: up to those of a yes, all from there on where there is none.

    Examples
    --------
    >>> _between("40 %", "75 %"), _between("40 %", "no"), _between("75 %", "75 %"), _between("40 %", "full only")
    ('40 to 75 %', '40 % and up', 'never', '40 % to full')
    """
    if ask in (yes, NEVER):
        return "never"
    if yes == NEVER:
        return _and_up(ask)
    return f"{ask} to full" if yes == FULL else f"{ask.removesuffix('%').rstrip()} to {yes}"


def _most(one: CardSupply) -> str:
    power = f"Never more than {fixed(one.most_w / WH_PER_KWH, 1)}{NO_BREAK}kW at once"
    if one.most_by == "inverter":
        return f"{power}, all that {one.inverter_name} gives."
    return f"{power}, all that the boards and cells of {in_sentence(one.name)} give when it is low."


def _restart(one: CardSupply) -> str:
    """When it comes back, by what there is to charge it with."""
    if not one.charged_by or one.uncharged:
        return "It may stay off: nothing charges it now. Ring."
    means = " or ".join({"sun": "by sun", "generator": "by the generator’s charger"}[name] for name in one.charged_by)
    return (
        f"It may come back by itself once the bank is up at {fixed(one.restart_v, 1)}{NO_BREAK}V, {means}; a board "
        "that has opened may have to be reset. If it stays off, ring."
    )


def _as_it_is(one: CardSupply, answer: Card) -> str:
    """What the house rides with nothing more plugged in."""
    days = _night_and(answer)
    night = from_percent(one.night_soc, one.top_soc)
    if one.night_soc is None:
        return "Not even a full bank reaches the morning with all of it on: switch off first."
    if one.rides_soc is None:
        return f"With nothing more, {night} reaches the morning; it does not last {days}, whatever the meter says."
    rides = from_percent(one.rides_soc, one.top_soc)
    return f"With nothing more, {rides} rides {days}, {night} reaches the morning."


def _order_from(one: CardSupply) -> str:
    if one.rides_soc is None:
        return "Before dull days, and as soon as the meter falls, switch off, what gains most first:"
    return f"Below {from_percent(one.rides_soc, one.top_soc)} switch off, what gains most first:"


def _order_counted(one: CardSupply, answer: Card, ahead_h: float) -> str:
    """Say from what charge and for which days the hours of the list are counted, which are not those of Today."""
    return (
        f"Hours gained by each alone, from {percent(one.order_soc)}, not rounded, at "
        f"{_on_the_wall(answer.at.hour, ahead_h)} o’clock and in the days named at the foot. "
        "From another charge or sky they are others: ask Today."
    )


def _gain(hours: float | None) -> str:
    if hours is None:
        return "enough for a fortnight"
    return f"+ {fixed(hours)}{NO_BREAK}h" if hours >= 1.0 else "under an hour"


def _lasts(hours: float | None) -> str:
    return "days" if hours is None else f"{floor(hours):d}{NO_BREAK}h"


def _ends_alike(one: CardSupply, from_h: float) -> str:
    """Say which loads end several charges in their hours, where they do: a much higher charge then lasts no longer."""
    heavy = one.heavy
    if heavy is None:
        return ""
    ended = [reading.soc for reading in one.readings if reading.hours is not None]
    alike = [r.soc for r in one.readings if r.hours is not None and heavy.start_h <= r.hours <= heavy.stop_h]
    if len(alike) < 2 or len(alike) < len(ended) / 3.0:
        return ""
    clock = _on_the_wall(from_h, heavy.start_h)
    begins = "begins" if len(heavy.names) == 1 else "begin"
    return (
        f"From {percent(min(alike))} to {percent(max(alike))} it ends in the same hours: {listed(list(heavy.names))} "
        f"{begins} at {clock} o’clock, up to {fixed(heavy.most_w / WH_PER_KWH, 1)}{NO_BREAK}kW with the "
        "rest. Off then, it lasts longer."
    )


def _same_hours(one: CardSupply, from_h: float) -> str:
    """Say why neighbouring charges show the same hours, where any do."""
    ended = [reading for reading in one.readings if reading.hours is not None]
    told = []
    for high, low in pairwise(ended):
        if low.hours is None or _lasts(high.hours) != _lasts(low.hours):
            continue
        takes = "take" if len(low.end_names) > 1 else "takes"
        loads = f"{listed(list(low.end_names))} {takes} most" if low.end_names else "the loads together make"
        told.append(
            f"{percent(high.soc)} and {percent(low.soc)} both end in the hour from "
            f"{_on_the_wall(floor(low.hours + 1e-9), from_h)} o’clock, when {loads} of "
            f"{fixed(low.end_w / WH_PER_KWH, 1)}{NO_BREAK}kW"
        )
    if not told:
        return ""
    return f"{'; '.join(told)}: what the higher charge has more is used up, or cannot be given, in that same hour."


def _generator(start: Start, ahead_h: float) -> tuple[str, ...]:
    """Its steps, in order, with the caution each needs."""
    at, to = percent(start.start_soc), percent(start.reached_soc)
    begins = f"{start.name} starts by itself at {at}" if start.by_itself else f"At {at} start {in_sentence(start.name)}"
    quiet = (
        f" Not from {_on_the_wall(start.quiet_from_h, ahead_h)} to {_on_the_wall(start.quiet_to_h, ahead_h)} o’clock."
        if start.quiet_from_h != start.quiet_to_h
        else ""
    )
    return (
        f"{begins}; about {duration(start.run_h)} and {fixed(start.litres, 1)}{NO_BREAK}l bring it to {to}.{quiet}",
        "Outdoors only, away from doors, windows and vents; its exhaust kills without a smell.",
        "Look at oil and fuel while it is cold. Never refuel it running or hot.",
        "Only by its changeover switch, never by a lead into a house socket.",
        "Let it run warm a minute, then load it; let it cool a few minutes before you stop it.",
    )


def _on_the_wall(hour: float, later_h: float) -> str:
    """An hour of the day so many hours later."""
    return clock_hour((hour + later_h) % HOURS_PER_DAY)
