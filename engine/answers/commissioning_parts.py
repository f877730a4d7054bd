"""One thing to set on the day a bank is commissioned, and the rows that follow from its charge."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass

from engine.answers.charging import Charging
from engine.house.inverter import Inverter

NAMED = {"end": "Absorption", "reserve": "Reserve, under load"}
INVERTER_FIELDS = {"cutoff": "dc_min_v", "restart": "restart_v"}
"""Where the inverter holds what is set."""
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
    proposed_as : str
        Field of the inverter that holds `now`, where nobody typed it: it was proposed for the bank as it was then.
    """

    key: str
    label: str
    why: str
    cell_v: float | None = None
    pack_v: float | None = None
    value: float | None = None
    unit: str = ""
    now: float | None = None
    proposed_as: str = ""


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


def marked_as_proposed(inverter: Inverter, row: ToSet) -> ToSet:
    """Return a row, marked where what is set now was proposed and nobody typed it."""
    field = INVERTER_FIELDS.get(row.key, "")
    return dataclasses.replace(row, proposed_as=field) if field in inverter.proposed else row


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
