"""Where the owner read what the panels give: brought to the side that the household counts on, and said so."""

from __future__ import annotations

from collections.abc import Mapping
from math import isclose
from typing import Any

from engine.errors import InputError
from engine.house.household import Household
from webapp.forms import Field
from webapp.render import figures

PANELS, CHARGER, SOCKETS = "panels", "charger", "sockets"
SIDES = {
    PANELS: "before the solar charger",
    CHARGER: "after it, at the battery side",
    SOCKETS: "at the sockets",
}
WORDS = {CHARGER: "after the charger", SOCKETS: "at the sockets"}
DECIMALS = 3
AT_SHARE = 0.5
"""Power, of the inverter's rated one, at which its efficiency is taken (choice: what is read is a day in the sun)."""
FIELD = Field(
    name="read_at",
    label="The kWh typed here were read",
    kind="choice",
    choices=tuple(SIDES.items()),
    default=PANELS,
    hint="What is new or changed in this form is worked back to before the charger, once, when you save",
)


def before_charger(house: Household, side: str) -> float:
    """Return what a kWh read at a side was before the solar charger [kWh].

    Raises
    ------
    InputError
        If it was read at the sockets of a house without an inverter.
    """
    share = 1.0 if side == PANELS else house.sun.charger_efficiency
    if side != SOCKETS:
        return 1.0 / share
    inverter = next((one for one in house.inverters if one.id == house.first_inverter), None)
    if inverter is None:
        raise InputError(
            FIELD.name, "What was read at the sockets needs an inverter to be worked back through: enter it first."
        )
    return 1.0 / (share * inverter.efficiency(AT_SHARE * inverter.rated_w))


def worked_back(
    house: Household, values: Mapping[str, Any], stored: Mapping[str, Any], names: tuple[str, ...]
) -> tuple[dict[str, Any], str]:
    """Bring what is new among some fields to before the charger.

    Parameters
    ----------
    values, stored : mapping
        The form's values by name, its side under `FIELD.name`, and what is saved now.
    names : tuple of str
        Fields that hold kWh.

    Returns
    -------
    dict, str
        The values, and what was done in words; empty if nothing.

    Raises
    ------
    InputError
        If it was read elsewhere and nothing is new.
    """
    side = values[FIELD.name]
    found = dict(values)
    new = [name for name in names if values[name] is not None and not _same(values[name], stored.get(name))]
    if side == PANELS:
        return found, ""
    times = before_charger(house, side)
    if not new:
        raise InputError(FIELD.name, _nothing_new(values, names, side, times))
    for name in new:
        found[name] = round(values[name] * times, DECIMALS)
    first = new[0]
    more = f", and {len(new) - 1} more" if len(new) > 1 else ""
    return (
        found,
        f"{figures(values[first], 3)} kWh read {WORDS[side]} kept as {figures(found[first], 3)} kWh before it{more}",
    )


def _nothing_new(values: Mapping[str, Any], names: tuple[str, ...], side: str, times: float) -> str:
    """Say that what is saved is not worked back unasked, and what to type for it."""
    said = "Nothing typed here is new, so nothing was worked back."
    kept = [values[name] for name in names if values[name] is not None]
    if not kept:
        return said
    read, before = (figures(kwh, 3) for kwh in (kept[0], kept[0] * times))
    return f"{said} {read} kWh read {WORDS[side]} are {before} kWh before it: type that where it is meant."


def _same(typed: float, stored: float | None) -> bool:
    """Whether a number is the one that is saved, as a form writes it."""
    return stored is not None and isclose(typed, stored, rel_tol=1e-9)
