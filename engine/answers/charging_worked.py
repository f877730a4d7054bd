"""The charge answer by pocket calculator, and what would change it most."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

from engine.answers.answer import Lever, Worked
from engine.answers.charging_current import ChargeCurrent
from engine.answers.charging_parts import HoldWorth, Reached, reached
from engine.answers.charging_targets import Charger
from engine.cells.chemistry import at, energy_at
from engine.house.bank import Bank, delivered, floor
from engine.house.inverter import Inverter
from engine.house.span import Span
from engine.quantities import WH_PER_KWH

LEAST_H = 0.05
"""A change worth less than this is not listed [h]."""


def levers(
    bank: Bank, inverter: Inverter | None, to: Charger, reached_soc: float, power_w: float, own: Span | None
) -> tuple[Lever, ...]:
    """Changes of the setting and the hours at the load that each alone would gain, the largest first."""

    def hours(top: float, on: Inverter | None) -> float:
        bottom = bank.reserve_soc if on is None else floor(bank, on, power_w).soc
        return delivered(bank, top, bottom, power_w)[1]

    now = hours(reached_soc, inverter)
    end_v, high_v = bank.charge_end_cell_v, min(bank.cell.v_full, to.highest_cell_v)
    found = []
    if not bank.hold:
        held = reached(bank, end_v, to.charge_c, True, to.tail_c).soc
        found.append(Lever(name=f"Hold the volts to {to.tail_c:g}C", gained_h=hours(held, inverter) - now))
    if high_v > end_v:
        higher = reached(bank, high_v, to.charge_c, bank.hold, to.tail_c).soc
        name = f"End the charge at {high_v:.2f} V per cell, the highest allowed; not every day"
        found.append(Lever(name=name, gained_h=hours(higher, inverter) - now))
    if inverter is not None and own is not None and own.lowest_v is not None and own.lowest_v < inverter.dc_min_v:
        lowered = dataclasses.replace(inverter, dc_min_v=own.lowest_v)
        found.append(Lever(name=f"Set the cut-off to {own.lowest_v:g} V", gained_h=hours(reached_soc, lowered) - now))
    worth = [one for one in found if one.gained_h is not None and one.gained_h > LEAST_H]
    return tuple(sorted(worth, key=lambda one: -(one.gained_h or 0.0)))


def worked(
    bank: Bank,
    inverter: Inverter | None,
    current: ChargeCurrent,
    worth: HoldWorth,
    got: Reached,
    power_w: float,
    own: Span | None,
) -> tuple[Worked, ...]:
    """The lines of the calculation, from the pack volts to the shares of the window."""
    lines = [*_charge_lines(bank, current, worth, got)]
    if inverter is not None and own is not None:
        lines += _window_lines(bank, inverter, power_w, own)
    return tuple(lines)


def _charge_lines(bank: Bank, current: ChargeCurrent, worth: HoldWorth, got: Reached) -> Iterator[Worked]:
    end_v, n = bank.charge_end_cell_v, bank.series
    yield Worked(label="Pack volts", how=f"{end_v:g} V × {n} cells", value=end_v * n, unit="V")
    yield Worked(label="Charge current", how=current.words, value=current.charge_a, unit="A")
    how = f"{current.charge_a:.1f} A ÷ {bank.ah:g} Ah"
    yield Worked(label="Charge current in C", how=how, value=current.charge_c, unit="C")
    yield Worked(
        label="Without a hold it stops at",
        how=_volts_words(bank, worth.from_soc, current.charge_c, end_v),
        value=worth.from_soc * 100.0,
        unit="%",
    )
    if bank.hold:
        yield Worked(
            label="The hold ends at",
            how=_volts_words(bank, worth.to_soc, min(worth.tail_c, current.charge_c), end_v),
            value=worth.to_soc * 100.0,
            unit="%",
        )
        how = f"{worth.put_in_ah:.2f} Ah put in; ÷ these hours is the mean current of the hold"
        yield Worked(label="The hold takes", how=how, value=worth.minutes / 60.0, unit="h")
    mean_v = energy_at(bank.table, got.soc) / got.soc if got.soc > 0.0 else 0.0
    how = f"{got.soc * 100:.1f} % × {bank.ah:g} Ah × {n} cells × {mean_v:.3f} V mean rested volts ÷ {WH_PER_KWH:g}"
    yield Worked(label="Stored from empty", how=how, value=got.kwh, unit="kWh")


def _volts_words(bank: Bank, soc: float, rate: float, end_v: float) -> str:
    """Rested volts and current times resistance at a charge, and what they add up to."""
    rested, r_v = at(bank.table.ocv_v, soc), at(bank.table.r_slow, soc)
    tau_h, total = bank.cell.acceptance_tau_h, rested + rate * r_v
    if tau_h is not None and rate * tau_h >= 1.0 - soc - 1e-9:
        return f"the cells take at most (1 − charge) ÷ {tau_h:g} h: 1 − {rate:.3g} × {tau_h:g}"
    met = f"which meets {end_v:.3f} V" if total > end_v - 0.005 else f"full before {end_v:.3f} V is met"
    return f"rested {rested:.3f} V + {rate:.3g}C × {r_v:.3f} V per C = {total:.3f} V, {met}"


def _window_lines(bank: Bank, inverter: Inverter, power_w: float, own: Span) -> Iterator[Worked]:
    cut_v, low = inverter.dc_min_v, own.below_share
    rate = power_w / (cut_v * bank.ah)
    rested, r_v = at(bank.table.ocv_v, low), at(bank.table.r_fast, low)
    yield Worked(
        label="Current at the cut-off",
        how=f"{power_w:,.0f} W ÷ {cut_v:g} V ÷ {bank.ah:g} Ah",
        value=rate,
        unit="C",
    )
    under = f"{rested:.3f} V − {rate:.3g}C × {r_v:.3f} V per C = {rested - rate * r_v:.3f} V per cell"
    where = "even empty, rested" if low <= 0.0 else "even full, rested" if low >= 1.0 else "there rested"
    yield Worked(
        label="Below the cut-off",
        how=f"{where} {under}; {cut_v:g} V ÷ {bank.series} = {cut_v / bank.series:.3f} V",
        value=low * 100.0,
        unit="%",
    )
    yield Worked(
        label="Above the setting",
        how=f"100 % − what is reached at {own.setting_v:.1f} V",
        value=own.above_share * 100.0,
        unit="%",
    )
    yield Worked(
        label="Inside the window",
        how=f"100 % − {low * 100:.1f} % − {own.above_share * 100:.1f} %",
        value=own.inside_share * 100.0,
        unit="%",
    )
