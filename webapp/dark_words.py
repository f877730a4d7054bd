"""The causes of a dark night and the measurements that tell them apart, in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from engine.answers import dark as answers
from engine.answers import dark_causes as causes
from engine.answers import dark_measure, dark_volts, dark_weights
from engine.answers.dark import CauseFound, Dark
from engine.answers.dark_causes import (
    COLD,
    CURRENT,
    DRIFT,
    EMPTY,
    IDLE,
    OVERLOAD,
    SAG,
    UNFULL,
    UNSEEN,
    WEAK,
)
from engine.answers.dark_measure import (
    AGAIN,
    CELLS_C,
    CLAMP,
    COUNTED_IN,
    COUNTED_OUT,
    KETTLE,
    REST,
    TOP_UP,
    Measurement,
)
from engine.answers.dark_seen import AFTER, BEFORE
from engine.answers.dark_weights import CANNOT, COULD, HARDLY, WELL
from webapp.cold_words import degrees
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.words import in_sentence, mid_sentence

FITS = {WELL: "fits well", COULD: "could be", HARDLY: "would need much", CANNOT: "cannot be"}
LIMITS = {
    "inverter": "the inverter’s low-voltage cut-off",
    "board": "the board’s lowest cell volts",
    "current": "a limit of current",
    "overload": "the inverter’s power",
    "cold": "cells too cold to be used",
    "cold or rate": "what cold and a fast discharge leave out of reach",
}
"""What ended it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseWords:
    """A cause: its name, a clause of what happened, and what it would have to be."""

    title: str
    short: str
    clause: str
    needs: Callable[[float, Dark], str]


def _times(factor: float, _: Dark) -> str:
    return f"{fixed(factor, 1)} times the cells’ own resistance, in cells, cables and joints"


def _colder(by_c: float, answer: Dark) -> str:
    if by_c < 0.05:
        return f"no colder than told, {degrees(answer.seen.cell_c)}"
    return f"cells at {degrees(round(answer.seen.cell_c - by_c, 1))}, {fixed(by_c, 1)}{NO_BREAK}°C colder than told"


def _watts(watts: float, _: Dark) -> str:
    return f"{figures(watts)}{NO_BREAK}W day and night"


def _points(share: float) -> str:
    return f"{fixed(share * 100.0, 0 if share >= 0.095 else 1)} points"


CAUSES: Mapping[str, CauseWords] = {
    EMPTY: CauseWords(
        title="It was empty by then",
        short="empty",
        clause="it was empty by then",
        needs=lambda _, answer: "no fault: this is where it ends under the evening’s loads, with warm cells",
    ),
    DRIFT: CauseWords(
        title="The monitor had drifted",
        short="drift",
        clause="the monitor had drifted and read too much",
        needs=lambda share, _: f"a monitor that reads {_points(share)} too much",
    ),
    SAG: CauseWords(
        title="The volts sagged under the load",
        short="sag",
        clause="the volts sagged under the load",
        needs=_times,
    ),
    IDLE: CauseWords(
        title="A draw nobody knew of, through the monitor",
        short="hidden",
        clause="something drew more than your loads, and the monitor counted it",
        needs=_watts,
    ),
    UNSEEN: CauseWords(
        title="A draw the monitor does not see",
        short="unseen",
        clause="something draws past the monitor",
        needs=_watts,
    ),
    COLD: CauseWords(
        title="Cold cells",
        short="cold",
        clause="the cells were cold and gave less",
        needs=_colder,
    ),
    WEAK: CauseWords(
        title="Less capacity than tested: a weak cell or string",
        short="weak",
        clause="a weak cell or string has less in it than tested",
        needs=lambda share, _: f"{fixed(share * 100.0)}{NO_BREAK}% less than its tested Ah",
    ),
    UNFULL: CauseWords(
        title="Not full when it was called full",
        short="not full",
        clause="it was not full when it was called full",
        needs=lambda share, _: f"a charge that ended {_points(share)} short of full",
    ),
    OVERLOAD: CauseWords(
        title="More load than the inverter bears",
        short="overload",
        clause="the load was more than the inverter bears",
        needs=lambda share, _: f"about a tenth more than its power; this was {percent(share)} of it",
    ),
    CURRENT: CauseWords(
        title="More current than the board lets through",
        short="board current",
        clause="the current was more than the board lets through",
        needs=lambda share, _: f"about a tenth more than its limit; this was {percent(share)} of it",
    ),
}


def once_warm(text: str, answer: Dark) -> str:
    """Put before what charges the bank how warm its cells must be, where they are or may be colder."""
    if not answer.warm_first:
        return text
    return f"Only once its cells are at {degrees(answer.charge_min_c)} or warmer: {mid_sentence(text)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureWords:
    """A measurement: its name, how it is done, and what its reading is called."""

    title: str
    how: Callable[[Measurement, Dark], str]
    reads: str
    digits: int
    charges: bool = False


MEASURES: Mapping[str, MeasureWords] = {
    REST: MeasureWords(
        title="Pack volts at rest, tomorrow before the sun",
        how=lambda _, answer: (
            f"Leave {in_sentence(answer.name)} without load and without charge for three hours or more, then read its "
            "volts on a meter with two decimals, insulated probes, at the terminals made for it."
        ),
        reads="at rest",
        digits=1,
    ),
    CLAMP: MeasureWords(
        title="The current with everything off",
        how=lambda _, answer: (
            "Switch off every load and leave the inverter on. Put a clamp meter for direct current round one insulated "
            f"main cable of {in_sentence(answer.name)}, at the bank, before anything branches off."
        ),
        reads="out of the bank",
        digits=1,
    ),
    KETTLE: MeasureWords(
        title="The kettle test",
        how=lambda one, answer: (
            f"With {in_sentence(answer.name)} more than half full: read its volts, switch on "
            f"{fixed(one.load_w)}{NO_BREAK}W for two minutes, read them again."
        ),
        reads="the drop",
        digits=2,
    ),
    CELLS_C: MeasureWords(
        title="The temperature between the cells",
        how=lambda _, answer: "Put a thermometer between the cells, at the coldest hour, and wait until it stands.",
        reads="between the cells",
        digits=0,
    ),
    COUNTED_IN: MeasureWords(
        title="A counted full charge",
        how=lambda _, answer: (
            f"Charge {in_sentence(answer.name)} from where it went dark to a true full, at its usual charge volts "
            "until the current has fallen to its tail, and count the Ah that go in. It also sets the monitor right."
        ),
        reads="until full",
        digits=0,
        charges=True,
    ),
    TOP_UP: MeasureWords(
        title="What still goes in after “full”",
        how=lambda _, answer: (
            "After a true full has set the monitor right, wait for the next day on which it says full by itself. Then "
            "keep charging at the usual volts until the current has fallen to its tail, and count the Ah that still "
            "go in."
        ),
        reads="after “full”",
        digits=0,
        charges=True,
    ),
    COUNTED_OUT: MeasureWords(
        title="A counted discharge",
        how=lambda _, answer: (
            "From a true full, count the Ah that come out under small loads until inverter or board ends it. Lithium "
            "cells only with their board. Charge it again at once."
        ),
        reads="until it ends",
        digits=0,
        charges=True,
    ),
    AGAIN: MeasureWords(
        title="The same load with a full bank",
        how=lambda one, answer: (
            f"When {in_sentence(answer.name)} is full, switch on the same {fixed(one.load_w)}{NO_BREAK}W one thing "
            "after the other, with somebody beside the inverter."
        ),
        reads="",
        digits=0,
        charges=True,
    ),
}


def how_text(one: Measurement, answer: Dark) -> str:
    """Say how a measurement is done; one that charges the bank begins with how warm its cells must be."""
    words = MEASURES[one.code]
    text = words.how(one, answer)
    return once_warm(text, answer) if words.charges else text


def reading_text(one: Measurement, value: float) -> str:
    """Write a reading with its unit and the digits it is good for."""
    words = MEASURES[one.code]
    return f"{fixed(value, words.digits)}{NO_BREAK}{one.unit}"


def needs_text(found: CauseFound, answer: Dark) -> str:
    """Say what a cause would have to be, or how far even the most of it would go."""
    words = CAUSES[found.code]
    if found.needed is not None:
        return words.needs(found.needed, answer)
    return f"no value does it: the monitor could then show {percent(found.most_soc)} at most"


def dark_widths() -> dict[str, Any]:
    """Return every judgement that the weights rest on, for “How it is worked out”: as the engine has them."""
    names = ("DRIFT_SOC", "DRIFT_PER_WEEK_SOC", "SAG_MIDDLE", "SAG_FACTOR", "IDLE_MIDDLE_W", "IDLE_FACTOR", "COLD_C")
    more = ("WEAK_SHARE", "UNFULL_SOC", "TRIPS_AT", "TRIP_SHARE")
    found: dict[str, Any] = {name: getattr(causes, name) for name in (*names, *more)}
    found |= {name: getattr(answers, name) for name in ("DROP_ERROR_SOC", "DROP_TOLD_SHARE", "DROP_LOADS_SHARE")}
    found |= {
        "READING_SOC": dark_weights.READING_SOC,
        "TELLS_APART": dark_measure.TELLS_APART,
        "LEADING_WEIGHT": dark_measure.LEADING_WEIGHT,
        "BEFORE_CELL_V": dark_volts.VOLTS_ERROR_CELL_V[BEFORE],
        "AFTER_CELL_V": dark_volts.VOLTS_ERROR_CELL_V[AFTER],
        "tails": (dark_weights.WELL_TAIL, dark_weights.COULD_TAIL, dark_weights.HARDLY_TAIL),
        "odds": [(CAUSES[code].short, f"{odds:g}") for code, odds in causes.ODDS.items()],
    }
    return found
