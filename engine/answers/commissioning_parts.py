"""One thing to set on the day a bank is commissioned, and the rows that follow from its charge."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from engine.answers.charging import Charging

NAMED = {"end": "Absorption", "reserve": "Reserve, under load"}
LEAST_MIN = 0.5
"""A shorter hold is none [min]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToSet:
    """One thing to set.

    Attributes
    ----------
    cell_v, pack_v : float or None
        Where it is a voltage [V].
    value : float or None
        Where it is something else, in `unit`.
    now : float or None
        What is set now where the household says so, in pack volts or in `unit`.
    """

    key: str
    label: str
    why: str
    cell_v: float | None = None
    pack_v: float | None = None
    value: float | None = None
    unit: str = ""
    now: float | None = None


def volts_rows(answer: Charging) -> Iterator[ToSet]:
    """The volts of the charge answer, with hold and tail after the end of the charge."""
    for one in answer.settings:
        yield ToSet(
            key=one.key,
            label=NAMED.get(one.key, one.label) if one.key != "end" or answer.hold else one.label,
            why=one.why,
            cell_v=one.cell_v,
            pack_v=one.pack_v,
            now=one.now_pack_v,
        )
        if one.key == "end":
            yield from _hold(answer)


def _hold(answer: Charging) -> Iterator[ToSet]:
    worth = answer.hold_worth
    if not answer.hold:
        why = "none: the charge stops as soon as the volts are reached"
        yield ToSet(key="hold", label="Hold", why=why, value=0.0, unit="min")
        return
    never = worth.minutes < LEAST_MIN
    yield ToSet(
        key="hold",
        label="Hold, at most",
        why="none at this charge current, which is below the tail already as the volts are reached"
        if never
        else "about what the taper takes at this charge current, for a charger that counts time only; the tail current "
        "ends it sooner",
        value=0.0 if never else worth.minutes,
        unit="min",
    )
    yield ToSet(
        key="tail",
        label="Tail current that ends the hold",
        why=f"{answer.tail_c:g}C of tested Ah; measured on the bank, with the loads’ share taken off",
        value=answer.tail_c * answer.ah,
        unit="A",
    )
