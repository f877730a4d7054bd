"""What is said of dull days that were written down: notices, the sum that can be followed, and what was assumed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Protocol

from engine.answers.answer import Assumption, Notice, Worked
from engine.answers.measuring import Measured
from engine.sky import climate as climates
from engine.sky.days import WORDS

_WHY_NOT = {
    "bright": "had bright hours",
    "full": "had the bank full: the charger held the panels back, so its kWh say what was used, not what the sun gave",
    "snow": "had snow on the panels",
    "part": "is not a whole day",
    "brighter": "gave more than a dull day does: it had bright hours, or the panels on Sun or the counter’s side are "
    "not as described",
    "nothing": "gave next to nothing: no sky does that, so the panels were off or covered, or it was not read",
}


class Read(Protocol):
    """A day as it was read, as `measuring_dull.DayRead`."""

    @property
    def day(self) -> date: ...
    @property
    def kwh(self) -> float: ...
    @property
    def kind(self) -> str: ...
    @property
    def kc(self) -> float: ...
    @property
    def month_kwh(self) -> float: ...
    @property
    def counts(self) -> bool: ...


def _named(day: date) -> str:
    return f"{day.day} {climates.MONTH_NAMES[day.month - 1]}"


def dull_notices(days: Sequence[Read], result: Measured | None, month: int, own: bool) -> tuple[Notice, ...]:
    """What to mind about the days."""
    found = []
    lowest, _, highest = WORDS["dull"]
    for one in days:
        if not one.counts:
            gave = (
                f" ({one.kwh:.4g} kWh, {one.kc * 100:.0f} % of a clear day’s light)" if one.kind == "brighter" else ""
            )
            text = f"{_named(one.day)}{gave} does not count: it {_WHY_NOT[one.kind]}."
            found.append(Notice(level="check" if gave else "note", code="dull-left-out", text=text))
        elif one.kc > highest:
            text = (
                f"{_named(one.day)} gave {one.kwh:g} kWh, {one.kc * 100:.0f} % of a clear day’s light: brighter than "
                f"what is called dull here, {lowest * 100:.0f} to {highest * 100:.0f} %. Was it grey all day?"
            )
            found.append(Notice(level="check", code="dull-bright", text=text))
        elif one.kc < lowest:
            text = (
                f"{_named(one.day)} gave {one.kwh:g} kWh, {one.kc * 100:.0f} % of a clear day’s light: darker than "
                "what is called dull here. Were all panels free and joined?"
            )
            found.append(Notice(level="check", code="dull-dark", text=text))
    if days and result is None:
        found.append(
            Notice(
                level="check",
                code="dull-none",
                text="None of these days counts. Write down days that were grey all day with a bank that was not full.",
            )
        )
    if result is not None and result.low <= 0.0:
        text = (
            f"An error of {result.half:.2g} kWh is no smaller than the dull day itself, so nothing is offered to be "
            "used. Write down more dull days."
        )
        found.append(Notice(level="check", code="dull-unsure", text=text))
    if result is not None and own:
        name = climates.MONTH_NAMES[month - 1]
        text = f"What stands on Sun now as your dull day would be replaced; {name} is its month."
        found.append(Notice(level="note", code="dull-replaced", text=text))
    return tuple(found)


def dull_worked(
    days: Sequence[Read], result: Measured, kc: float, spread: tuple[float, float], month: int
) -> tuple[Worked, ...]:
    """The sum, to be followed with a pocket calculator."""
    name = climates.MONTH_NAMES[month - 1]
    counted = [one for one in days if one.counts]
    lines = [
        Worked(
            label=_named(one.day),
            how=f"{one.kwh:.4g} kWh are {one.kc:.3f} of a clear day’s light; the same sky in the middle of {name}",
            value=one.month_kwh,
            unit="kWh",
        )
        for one in counted
    ]
    scatter, freedom = spread
    half = result.half
    return (
        *lines,
        Worked(label="A dull day", how=f"mean of {len(counted)}", value=result.value, unit="kWh"),
        Worked(label="Of a clear day’s light", how="the sky that gives it", value=kc * 100.0, unit="%"),
        Worked(
            label="Scatter from day to day",
            how=f"of the word and of these days together, {freedom:.0f} degrees of freedom",
            value=scatter,
            unit="kWh",
        ),
        Worked(label="Error on either side", how="all parts in squares, times Student’s t", value=half, unit="kWh"),
    )


def dull_assumptions(side: str, side_share: float, meter_share: float, known_days: int) -> tuple[Assumption, ...]:
    """What was taken because nobody measured it."""
    found = [
        Assumption(
            name="What the charger’s counter may be off by",
            value=f"{meter_share * 100:g} %, steps of 0.1 kWh",
            kind="typical, from memory",
            source="chargers print no accuracy for it, or 2 to 5 %",
        ),
        Assumption(
            name="Scatter of dull days, before any was written down",
            value=f"the span of the word, worth {known_days} days",
            kind="assumed",
            source="a judgement: “dull” may mean 17 to 50 % of a clear day’s light here",
        ),
    ]
    if side_share > 0.0:
        found.append(
            Assumption(
                name="Worked back to before the charger",
                value=f"± {side_share * 100:g} %",
                kind="assumed",
                source="a judgement: efficiency of the solar charger"
                + (" and of the inverter at half its power" if side == "sockets" else ""),
            )
        )
    return tuple(found)
