"""What a charge reaches, what its hold is worth, and how long a balancer works during it.

Shares are of tested Ah; kWh are stored at the bank's open-circuit volts, from empty; volts are per cell.
"""

from __future__ import annotations

from dataclasses import dataclass

from engine.answers.charging_targets import put_in_ah
from engine.cells import curve
from engine.cells.hold import REST_C, soc_after_hold, taper
from engine.house.bank import Bank

SLOW_TAIL_C = 0.02
"""A tail so small that a day of slow sun, not a charger, reaches it [1/h] (engineering choice)."""
SLIGHT_SOC = 0.01
_FULL = " Nothing above 100 % of the tested Ah is counted: a test of your own cells would say."


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """The charge a setting reaches: at which current, held or not, as a share and in kWh stored from empty."""

    charge_c: float
    hold: bool
    soc: float
    kwh: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldWorth:
    """What the hold adds at the bank's current, how long it takes, and what it leaves."""

    from_soc: float
    to_soc: float
    gain_soc: float
    gain_kwh: float
    gain_ah: float
    put_in_ah: float
    minutes: float
    tail_c: float
    tail_a: float
    slow_tail_c: float
    slow_soc: float
    slow_kwh: float
    slow_minutes: float
    rest_soc: float
    rest_kwh: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Balancing:
    """Minutes of one charge above a balancer's start, and what it takes from a high cell meanwhile [Ah]."""

    start_v: float
    reached: bool
    no_hold_min: float
    hold_min: float
    no_hold_ah: float | None
    hold_ah: float | None


def reached(
    bank: Bank, cell_v: float, charge_c: float, hold: bool, tail_c: float, hold_h: float | None = None
) -> Reached:
    """Charge reached at an end voltage, from empty.

    Parameters
    ----------
    cell_v : float
        End of charge [V per cell].
    charge_c : float
        Charge current [1/h].
    hold : bool
        Whether the volts are held, down to `tail_c` or for `hold_h`.
    tail_c : float
        Current that ends the hold [1/h].
    hold_h : float or None
        Hours of the hold [h]; goes before the tail.
    """
    cell, cell_c = bank.cell, bank.cell_c
    soc = curve.soc_without_hold(cell, cell_v, charge_c, cell_c)
    if hold and hold_h is not None:
        soc = max(soc, soc_after_hold(cell, cell_v, charge_c, hold_h, cell_c))
    elif hold:
        soc = max(soc, curve.soc_with_hold(cell, cell_v, tail_c, cell_c))
    return Reached(charge_c=charge_c, hold=hold, soc=soc, kwh=bank.stored_kwh(0.0, soc))


def hold_worth(bank: Bank, cell_v: float, charge_c: float, tail_c: float, hold_h: float | None) -> HoldWorth:
    """Weigh a hold at the bank's own current, and what a slower tail and rest at these volts would add.

    Parameters
    ----------
    tail_c : float
        Current that ends the hold [1/h]; where `hold_h` is given, the current it has then fallen to is used.
    hold_h : float or None
        Hours of the hold [h].
    """
    if hold_h is None:
        held = taper(bank.cell, cell_v, charge_c, tail_c, bank.cell_c)
    else:
        held = taper(bank.cell, cell_v, charge_c, REST_C, bank.cell_c).until(hold_h)
        tail_c = float(held.rate_c[-1])
    slow = taper(bank.cell, cell_v, charge_c, min(SLOW_TAIL_C, tail_c), bank.cell_c)
    start, end = float(held.soc[0]), float(held.soc[-1])
    slow_end = max(end, float(slow.soc[-1]))
    rest = max(slow_end, curve.soc_with_hold(bank.cell, cell_v, 0.0, bank.cell_c))
    return HoldWorth(
        from_soc=start,
        to_soc=end,
        gain_soc=held.gained_soc,
        gain_kwh=bank.stored_kwh(start, end),
        gain_ah=held.gained_soc * bank.ah,
        put_in_ah=float(held.put_in_share[-1]) * bank.ah,
        minutes=float(held.hours[-1]) * 60.0,
        tail_c=tail_c,
        tail_a=tail_c * bank.ah,
        slow_tail_c=min(SLOW_TAIL_C, tail_c),
        slow_soc=slow_end - end,
        slow_kwh=bank.stored_kwh(end, slow_end),
        slow_minutes=max(0.0, float(slow.hours[-1] - held.hours[-1])) * 60.0,
        rest_soc=rest - end,
        rest_kwh=bank.stored_kwh(end, rest),
        words=_gain_words(held.gained_soc, charge_c, tail_c, hold_h)
        + _left_words(tail_c, slow_end - end, rest - end)
        + (_FULL if rest >= 1.0 else ""),
    )


def balancing(bank: Bank, cell_v: float, charge_c: float, worth: HoldWorth) -> Balancing | None:
    """How long a charge to `cell_v` [V per cell] keeps the mean cell above the balancer's start; None without one."""
    board = bank.board
    if board is None or board.balance_v is None:
        return None
    reached_it = cell_v >= board.balance_v - 1e-9
    minutes = 0.0
    if reached_it:
        begins = curve.soc_without_hold(bank.cell, board.balance_v, charge_c, bank.cell_c)
        minutes = put_in_ah(bank, begins, max(worth.from_soc, begins)) / (charge_c * bank.ah) * 60.0
    held = minutes + worth.minutes if reached_it else 0.0
    bleed_a = board.balance_a
    return Balancing(
        start_v=board.balance_v,
        reached=reached_it,
        no_hold_min=minutes,
        hold_min=held,
        no_hold_ah=None if bleed_a is None else bleed_a * minutes / 60.0,
        hold_ah=None if bleed_a is None else bleed_a * held / 60.0,
    )


def _gain_words(gain: float, charge_c: float, tail_c: float, hold_h: float | None) -> str:
    what = f"the hold to {tail_c:.2g}C" if hold_h is None else f"a hold of {hold_h:g} h"
    at_bank = f"At the bank’s {charge_c:.2g}C {what}"
    if charge_c <= tail_c:
        return f"{at_bank} is worth nothing by definition: the current is at or below that already"
    if gain >= SLIGHT_SOC:
        return f"{at_bank} adds {gain * 100:.1f} points"
    why = ": the current is close to that already" if tail_c > charge_c / 2.0 else ""
    return f"{at_bank} is worth next to nothing, {gain * 100:.1f} points{why}"


def _left_words(tail_c: float, slow: float, rest: float) -> str:
    slower = f"; a tail of {SLOW_TAIL_C:g}C would add {slow * 100:.1f} more" if tail_c > SLOW_TAIL_C else ""
    return f"{slower}; rest at these volts, which a day of slow sun comes to, {rest * 100:.1f}."
