"""The current a bank is charged with: what its panels give at a clear noon, and the first limit that cuts it.

Amperes are of the whole bank, C is of its tested Ah. Loads that run at noon take their share first: not taken
off here, so the current is the highest to expect and the charge read at it without a hold the lowest.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from math import floor

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import Notice
from engine.cells.chemistry import at
from engine.errors import InputError
from engine.fields import Quantity
from engine.house.bank import MEAN_CHARGE_C, Bank
from engine.house.cold import first_charge_c, full_from_c
from engine.house.household import Household
from engine.house.inverter import Inverter
from engine.quantities import HOURS_PER_DAY, mean_day_of_year
from engine.sky.sun import array_hours

Floats = NDArray[np.float64]

_EPS_A = 1e-9

CHARGE_CURRENT = Quantity(
    label="Charge current",
    unit="A",
    low=0.01,
    high=5000,
    optional=True,
    hint="Of the whole bank; empty: from its panels and charger",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeCurrent:
    """The bank's charge current, what decides it, and the sun it is read from."""

    charge_a: float
    charge_c: float
    limit: str
    """``typed``, ``panels``, ``inverter``, ``bank``, ``board``, ``cell``, ``cold`` or ``assumed``."""
    words: str
    noon_w: float
    clear_day_w: Floats
    """Power at the bank by hour of a clear day of the month, (24,) [W]; all 0 without panels."""


def charge_current(
    household: Household, bank: Bank, inverter: Inverter | None, pack_v: float, month: int, typed_a: float | None
) -> ChargeCurrent:
    """Find the current a bank is charged with at `pack_v` [V].

    Parameters
    ----------
    inverter : Inverter or None
        Its panels and its charger are taken; without one, or without panels, a usual current is assumed.
    typed_a : float or None
        The person's own figure for the whole bank [A]: goes before the rest.

    Raises
    ------
    InputError
        If the typed current is outside its limits.
    """
    if (text := CHARGE_CURRENT.refuse(typed_a)) is not None:
        raise InputError("charge_a", text)
    day_w = clear_day_w(household, inverter, month)
    noon_w = float(day_w.max())
    if typed_a is not None:
        found_a, limit, words = typed_a, "typed", "as you typed it"
    else:
        found_a, limit, words = _lowest(bank, inverter, noon_w, pack_v)
    return ChargeCurrent(
        charge_a=found_a, charge_c=found_a / bank.ah, limit=limit, words=words, noon_w=noon_w, clear_day_w=day_w
    )


def current_limits(bank: Bank, inverter: Inverter | None) -> tuple[tuple[float, str, str], ...]:
    """What limits a bank's charge current: amperes, key and words of each limit that is stated."""
    limits = [(bank.cell.charge_c_max * bank.ah, "cell", f"the cells, at most {bank.cell.charge_c_max:g}C")]
    if bank.charge_limit_a is not None:
        limits.append((bank.charge_limit_a, "bank", "the highest charge current set for this bank"))
    if bank.board is not None:
        limits.append((bank.board.current_limit_a, "board", "the protection board's highest current"))
    cold_a = first_charge_c(bank) * bank.ah
    if bank.cell_c < full_from_c(bank) and cold_a > 0.0:
        none_yet = f"once they are warm enough, none at {bank.cell_c:g} °C"
        words = none_yet if bank.cell_c < bank.charge_min_c else f"at {bank.cell_c:g} °C"
        limits.append((cold_a, "cold", f"what the cells may take {words}"))
    if inverter is not None and inverter.charge_limit_a is not None:
        limits.append((inverter.charge_limit_a, "inverter", f"the charger of {inverter.name}"))
    return tuple(limits)


def sun_over_limits(bank: Bank, inverter: Inverter | None, noon_w: float) -> Iterator[Notice]:
    """What panels and charger can give at a clear noon above what cells, bank, board or charger allow.

    The same power is most current where the volts are lowest: rested at the reserve, after dull days.

    Parameters
    ----------
    noon_w : float
        Power at the bank at a clear noon [W].
    """
    pack_v = at(bank.table.ocv_v, bank.reserve_soc) * bank.series
    chargers = [limit_a for limit_a, key, _ in current_limits(bank, inverter) if key == "inverter"]
    given_a = min([noon_w / pack_v, *chargers])
    words = (
        f"at a clear noon panels and charger can give {given_a:.1f} A at {pack_v:.1f} V, down at its reserve, which is"
    )
    yield from over_limits(bank, inverter, given_a, words)


def over_limits(bank: Bank, inverter: Inverter | None, given_a: float, words: str) -> Iterator[Notice]:
    """A charge current [A], told by `words`, above what cells, bank, board or charger allow."""
    over = [one for one in current_limits(bank, inverter) if given_a > one[0] + _EPS_A]
    if not over:
        return
    only_charger = all(key == "inverter" for _, key, _ in over)
    safe_a = floor(min(over)[0] * 10.0) / 10.0
    advice = "" if only_charger else f" Set the charger to {safe_a:g} A or less: nothing else holds it back."
    named = " and above ".join(f"{limit_words} ({limit_a:.1f} A)" for limit_a, _, limit_words in sorted(over))
    yield Notice(
        level="check" if only_charger else "stop",
        code="over-charge-current",
        page="banks",
        text=f"{bank.name}: {words} above {named}.{advice}",
    )


def clear_noon_w(household: Household, inverter: Inverter, month: int) -> float:
    """Highest of `clear_day_w` [W]; by the model's own sun where these panels cannot have given the typed clear day."""
    try:
        return float(clear_day_w(household, inverter, month).max())
    except InputError:
        modelled = dataclasses.replace(household.sun, clear_day_kwh=None)
        return float(clear_day_w(dataclasses.replace(household, sun=modelled), inverter, month).max())


def clear_day_w(household: Household, inverter: Inverter | None, month: int) -> Floats:
    """Power of an inverter's panels at the bank by hour of a clear day, (24,) [W], panels bare of snow.

    Raises
    ------
    InputError
        On ``sun.clear_day_kwh`` if these panels cannot have given the clear day that was typed.
    """
    if inverter is None:
        return np.zeros(HOURS_PER_DAY)
    first = household.first_inverter
    mine = [one.id for one in household.sun.arrays if (one.inverter or first) == inverter.id]
    if not mine:
        return np.zeros(HOURS_PER_DAY)
    bare = dataclasses.replace(household.sun, covered_days=0)
    every = array_hours(household.site, bare, [1.0], [mean_day_of_year(month)])
    return np.asarray(np.sum([every[one] for one in mine], axis=0) * bare.charger_efficiency, dtype=np.float64)


def _lowest(bank: Bank, inverter: Inverter | None, noon_w: float, pack_v: float) -> tuple[float, str, str]:
    limits = current_limits(bank, inverter)
    if noon_w > 0.0:
        sun_a = noon_w / pack_v
        given = (sun_a, "panels", f"the panels: {noon_w:,.0f} W at a clear noon over {pack_v:.1f} V")
    else:
        why = "no panels charge it" if inverter is not None else "it is joined to no inverter"
        given = (MEAN_CHARGE_C * bank.ah, "assumed", f"assumed {MEAN_CHARGE_C:g}C, as {why}")
    found_a, limit, words = min((given, *limits), key=lambda one: one[0])
    return found_a, limit, f"limited by {words}" if limit != "assumed" else words
