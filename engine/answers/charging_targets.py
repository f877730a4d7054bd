"""The volts that stop a charge at a wanted share, where volts can, and the ampere-hours to count where they cannot.

A voltage cannot where the charge rises by more than about 30 points within 0.05 V (no resistance is known that well)
or moves by more than 10 within 0.01 V to either side (no charger is that exact), where a chemistry's charge acceptance
decides, or where cell or inverter does not allow the volts.
Volts per cell unless the name says `pack_v`; shares of tested Ah; kWh at the bank's terminals under a steady load.
"""

from __future__ import annotations

from dataclasses import dataclass

from engine.answers.notices_charge import setting_limits
from engine.cells import curve
from engine.cells.chemistry import Chemistry, at, capacity_share, soc_at_ocv
from engine.cells.curve import NEAR_V
from engine.errors import InputError
from engine.fields import Quantity
from engine.house.bank import Bank, c_rate, delivered
from engine.house.inverter import Inverter
from engine.house.span import cutoff_soc

OFF_V = 0.005
"""Volts by which a reading of the table may pass a limit and still count as at it [V] (engineering choice)."""
LOW_SOC = Quantity(label="Window from", unit="%", low=0.0, high=0.95, percent=True, optional=True)
HIGH_SOC = Quantity(label="Window to", unit="%", low=0.05, high=1.0, percent=True, optional=True)
PRINTED_DIGITS = 2
"""What is said of volts is worked out at the volts per cell that are printed, so that the same volts say the same."""
COUNT = "not controllable by voltage; count ampere-hours"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """Volts that stop at a share, or None and the reason in words."""

    cell_v: float | None
    pack_v: float | None
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """One wanted share: the volts without and with a hold, and the ampere-hours to count from empty."""

    soc: float
    no_hold: Stop
    hold: Stop
    count_ah: float
    put_in_ah: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Narrow:
    """A narrower window than the widest this cell, inverter and load allow, and what it costs."""

    low_soc: float
    high_soc: float
    usable_kwh: float
    widest_low_soc: float
    widest_high_soc: float
    widest_kwh: float
    cost_kwh: float
    cost_share: float
    low: Stop
    low_count_ah: float
    high: Target


@dataclass(frozen=True, slots=True, kw_only=True)
class Charger:
    """What the answers about volts are read at: C-rate, tail and the highest volts allowed per cell."""

    charge_c: float
    tail_c: float
    highest_cell_v: float
    highest_words: str


def charger(bank: Bank, inverter: Inverter | None, charge_c: float, tail_c: float) -> Charger:
    """Say how high a bank may be charged, by cells, board or inverter, and at what currents it is read."""
    limits = setting_limits(bank, inverter)
    highest_v, words = min(limits, key=lambda one: one[0])
    return Charger(charge_c=charge_c, tail_c=tail_c, highest_cell_v=highest_v, highest_words=words)


def target(bank: Bank, to: Charger, soc: float) -> Target:
    """Find the volts that stop a charge at `soc` [-] without and with a hold, and the Ah to count from empty."""
    return Target(
        soc=soc,
        no_hold=_stop(bank, to, soc, to.charge_c),
        hold=_stop(bank, to, soc, min(to.tail_c, to.charge_c)),
        count_ah=soc * bank.ah,
        put_in_ah=put_in_ah(bank, 0.0, soc),
    )


def put_in_ah(bank: Bank, low_soc: float, high_soc: float) -> float:
    """Ampere-hours to put in for a rise of charge: those kept over the charge efficiency on the way [Ah]."""
    steps = 200
    width = (high_soc - low_soc) / steps
    kept = (at(bank.table.coulombic, low_soc + (k + 0.5) * width) for k in range(steps))
    return bank.ah * sum(width / share for share in kept)


def narrow(
    bank: Bank, inverter: Inverter | None, to: Charger, power_w: float, low_soc: float | None, high_soc: float | None
) -> Narrow | None:
    """Weigh a narrow window against the widest; None where neither end is given.

    Raises
    ------
    InputError
        If an end is outside its limits or the window is empty.
    """
    if low_soc is None and high_soc is None:
        return None
    low, high = 0.0 if low_soc is None else low_soc, 1.0 if high_soc is None else high_soc
    _check_window(low_soc, high_soc, low, high)
    bottom, top = widest(bank, inverter, to, power_w)
    most_kwh, _ = delivered(bank, top, bottom, power_w)
    left_kwh, _ = delivered(bank, min(high, top), max(low, bottom), power_w)
    return Narrow(
        low_soc=low,
        high_soc=high,
        usable_kwh=left_kwh,
        widest_low_soc=bottom,
        widest_high_soc=top,
        widest_kwh=most_kwh,
        cost_kwh=most_kwh - left_kwh,
        cost_share=(most_kwh - left_kwh) / most_kwh if most_kwh > 0.0 else 0.0,
        low=low_stop(bank, low, power_w),
        low_count_ah=low * bank.ah,
        high=target(bank, to, high),
    )


def widest(bank: Bank, inverter: Inverter | None, to: Charger, power_w: float) -> tuple[float, float]:
    """The widest window [-]: from the cut-off, or what cold and rate leave, to a hold at the highest volts allowed."""
    reach = 1.0 - capacity_share(bank.cell, bank.cell_c, c_rate(bank, power_w))
    cutoff = 0.0 if inverter is None else cutoff_soc(bank, inverter.dc_min_v, power_w)
    highest_v = min(bank.cell.v_full, to.highest_cell_v)
    top = curve.soc_with_hold(bank.cell, highest_v, min(to.tail_c, to.charge_c), bank.cell_c)
    bottom = max(reach, cutoff)
    return bottom, max(top, bottom)


def low_stop(bank: Bank, soc: float, power_w: float) -> Stop:
    """Volts under a load of `power_w` [W] at a charge, or None where they do not tell the charge."""
    rate = c_rate(bank, power_w)
    volts = at(bank.table.ocv_v, soc) - rate * at(bank.table.r_fast, soc)
    if rested_tells(bank.cell, at(bank.table.ocv_v, soc)):
        return Stop(cell_v=volts, pack_v=volts * bank.series, reason=f"under {power_w:,.0f} W")
    return Stop(cell_v=None, pack_v=None, reason=f"{COUNT}: {_spread_words(bank.cell, at(bank.table.ocv_v, soc))}")


def rested_tells(cell: Chemistry, rested_v: float) -> bool:
    """Whether rested volts tell the charge: it moves by at most `curve.PLAIN_RISE` within `NEAR_V` to either side."""
    here = soc_at_ocv(cell, rested_v)
    below, above = soc_at_ocv(cell, rested_v - NEAR_V), soc_at_ocv(cell, rested_v + NEAR_V)
    return here - below <= curve.PLAIN_RISE and above - here <= curve.PLAIN_RISE


def near_socs(cell: Chemistry, rested_v: float) -> tuple[float, float]:
    """The lowest and highest charge [-] that rested volts may mean, `NEAR_V` to either side of them as they print."""
    printed_v = round(rested_v, PRINTED_DIGITS)
    return soc_at_ocv(cell, printed_v - NEAR_V), soc_at_ocv(cell, printed_v + NEAR_V)


def _spread_words(cell: Chemistry, rested_v: float) -> str:
    low, high = near_socs(cell, rested_v)
    return (
        f"{NEAR_V:g} V to either side of {rested_v:.2f} V rested may be anything from {low * 100:.0f} to "
        f"{high * 100:.0f} %"
    )


def _stop(bank: Bank, to: Charger, soc: float, c_end: float) -> Stop:
    """Volts at which a current that has come down to `c_end` [1/h] stops at `soc`."""
    cell, cell_c = bank.cell, bank.cell_c
    volts = curve.volts_for_soc(cell, soc, c_end, temperature_c=cell_c)
    if cell.acceptance_tau_h is not None:
        down_to_c = max((1.0 - soc) / cell.acceptance_tau_h, cell.tail_c)
        then = (1.0 - down_to_c * cell.acceptance_tau_h) * 100.0
        return _none(
            f"{COUNT}: what the cells accept decides, whatever the volts; held at {cell.v_charge:g} V till the current "
            f"is down to {down_to_c:.2g}C they are at about {then:.0f} %"
        )
    if volts > to.highest_cell_v + OFF_V:
        return _none(f"would take {volts:.2f} V per cell; {to.highest_words}")
    near = [curve.soc_without_hold(cell, volts + k * NEAR_V, c_end, cell_c) for k in (-1, 0, 1)]
    if max(near[1] - near[0], near[2] - near[1]) > curve.PLAIN_RISE:
        ends_v = [round(volts, PRINTED_DIGITS) + k * NEAR_V for k in (-1, 1)]
        ends = [curve.soc_without_hold(cell, one_v, c_end, cell_c) for one_v in ends_v]
        return _none(
            f"{COUNT}: from {ends_v[0]:.2f} to {ends_v[1]:.2f} V the charge goes from "
            f"{ends[0] * 100:.0f} to {ends[1] * 100:.0f} %"
        )
    low, high = (curve.soc_without_hold(cell, volts + k * curve.METER_V, c_end, cell_c) for k in (-1, 1))
    if high - low > curve.METER_RISE:
        return _none(
            f"{COUNT}: {curve.METER_V:g} V more or less, as much as a charger is off, ends it anywhere from "
            f"{low * 100:.0f} to {high * 100:.0f} %"
        )
    return Stop(cell_v=volts, pack_v=volts * bank.series)


def _none(reason: str) -> Stop:
    return Stop(cell_v=None, pack_v=None, reason=reason)


def _check_window(low_soc: float | None, high_soc: float | None, low: float, high: float) -> None:
    for name, meaning, value in (("low_soc", LOW_SOC, low_soc), ("high_soc", HIGH_SOC, high_soc)):
        if (text := meaning.refuse(value)) is not None:
            raise InputError(name, text)
    if not low < high:
        raise InputError("high_soc", f"Window to must be above Window from, {low * 100:g} %; got {high * 100:g} %.")
