"""What to set on charger and inverter: end of charge, float, charge again, reserve, cut-off and restart, each with why.

Volts per cell and of the whole pack. A check is never an approval: the cell maker's sheet and the board rule.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from engine.answers.charging_targets import COUNT, near_socs, rested_tells
from engine.cells.chemistry import Chemistry, at
from engine.cells.curve import NEAR_V
from engine.house.bank import Bank, c_rate
from engine.house.inverter import Inverter
from engine.house.span import cutoff_soc, least_cutoff_cell_v

STEP_SOC = 0.10
"""Charge between cut-off or reserve and restart, and between full and charging again [-] (assumed)."""
PACK_STEP_V = 0.1
"""What inverters' menus are set in [V] (assumed)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One setting: volts or None where there is none to set, what is set now where that is known, and why."""

    key: str
    """``end``, ``float``, ``again``, ``reserve``, ``cutoff`` or ``restart``."""
    label: str
    cell_v: float | None
    pack_v: float | None
    now_pack_v: float | None
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The charge asked about: volts per cell, hold or none, and the share it reaches."""

    cell_v: float
    hold: bool
    reached_soc: float


def settings(bank: Bank, inverter: Inverter | None, asked: Asked, power_w: float) -> tuple[Setting, ...]:
    """Every volts setting for a bank, from the end of charge down to the cut-off and back up to the restart.

    Parameters
    ----------
    inverter : Inverter or None
        Its window and what is set on it now; without one the cells and the board alone decide.
    power_w : float
        Load at which volts under load are read [W], > 0.
    """
    cut_v, cut_why = advised_cutoff(bank, inverter)
    reserve = _reserve(bank, power_w)
    if reserve.cell_v is not None and cut_v > reserve.cell_v:
        cut_why += f"; it lies above your reserve under load, {reserve.cell_v * bank.series:.1f} V, and ends it sooner"
    return (
        _row(bank, "end", "Charge ends at", asked.cell_v, _end_words(bank, asked), _stored_end_v(bank)),
        _float(bank, inverter, asked),
        _again(bank, asked),
        reserve,
        _row(bank, "cutoff", "Low cut-off", cut_v, cut_why, inverter.dc_min_v if inverter else None),
        _restart(bank, inverter, asked, cut_v, power_w),
    )


def _row(bank: Bank, key: str, label: str, cell_v: float | None, why: str, now_pack_v: float | None = None) -> Setting:
    pack_v = None if cell_v is None else cell_v * bank.series
    return Setting(key=key, label=label, cell_v=cell_v, pack_v=pack_v, now_pack_v=now_pack_v, why=why)


def _stored_end_v(bank: Bank) -> float:
    return bank.charge_end_cell_v * bank.series


def _end_words(bank: Bank, asked: Asked) -> str:
    how = "held until the current falls" if asked.hold else "stopped as soon as the volts are reached"
    return (
        f"{how}; usual for {bank.cell.name}: {bank.cell.v_charge:g} V, {'held' if bank.cell.holds else 'not held'}; "
        f"at most {bank.cell.v_max:g} V per cell. Your cell maker’s sheet rules"
    )


def _float(bank: Bank, inverter: Inverter | None, asked: Asked) -> Setting:
    cell = bank.cell
    if cell.v_float is not None:
        why = "keeps the cells full against self-discharge; at 25 °C, and about 4 mV per degree and cell lower when "
        why += "warmer (typical, from memory)"
        highest_v = asked.cell_v if inverter is None else min(asked.cell_v, inverter.charge_max_v / bank.series)
        if cell.v_float > highest_v:
            why += f"; usual would be {cell.v_float:g} V per cell, which this charge or this inverter does not reach"
        return _row(bank, "float", "Float", min(cell.v_float, highest_v), why)
    rested_v = at(bank.table.ocv_v, max(asked.reached_soc - STEP_SOC, 0.0))
    return _row(
        bank,
        "float",
        "Float",
        None,
        "none: these cells hardly discharge themselves, and to be kept at their end volts ages them (typical, from "
        f"memory). A charger that must have one: {rested_v:.2f} V per cell or less, the rested volts "
        f"{STEP_SOC * 100:.0f} points below the end of charge, so that it carries loads and does not charge",
    )


def _again(bank: Bank, asked: Asked) -> Setting:
    soc = max(asked.reached_soc - STEP_SOC, 0.0)
    rested_v = at(bank.table.ocv_v, soc)
    label = "Charge again below"
    if rested_tells(bank.cell, rested_v):
        return _row(
            bank,
            "again",
            label,
            rested_v,
            f"rested volts at {soc * 100:.0f} %, so that a few ampere-hours do not start a charge",
        )
    return _row(
        bank,
        "again",
        label,
        None,
        f"{COUNT}: begin again after {STEP_SOC * bank.ah:.0f} Ah have been drawn. A charger that must have volts: "
        f"{rested_v:.2f} V per cell, {_or(bank.cell, rested_v)}",
    )


def _or(cell: Chemistry, rested_v: float) -> str:
    low, high = near_socs(cell, rested_v)
    return f"which give or take {NEAR_V:g} V may mean anything from {low * 100:.0f} to {high * 100:.0f} %"


def _reserve(bank: Bank, power_w: float) -> Setting:
    if bank.reserve_v is not None:
        return _row(bank, "reserve", "Reserve, under load", bank.reserve_v, "as you set it for this bank")
    rested_v = at(bank.table.ocv_v, bank.reserve_soc)
    volts = rested_v - c_rate(bank, power_w) * at(bank.table.r_fast, bank.reserve_soc)
    why = f"{bank.reserve_soc * 100:g} % kept back, read under {power_w:,.0f} W"
    if not rested_tells(bank.cell, rested_v):
        why += f"; the volts alone do not tell it, {_or(bank.cell, rested_v)}: count ampere-hours"
    return _row(bank, "reserve", "Reserve, under load", volts, why)


def advised_cutoff(bank: Bank, inverter: Inverter | None) -> tuple[float, str]:
    """The lowest cut-off that board, cells and inverter allow [V per cell], and which of them decides."""
    limits = [least_cutoff_cell_v(bank)]
    if inverter is not None and inverter.lowest_v is not None:
        limits.append((inverter.lowest_v / bank.series, f"the lowest {inverter.name} can be set to"))
    elif inverter is not None:
        words = f"what {inverter.name} is set to; enter its lowest DC volts to see whether it may be lower"
        limits.append((inverter.dc_min_v / bank.series, words))
    volts, why = max(limits, key=lambda one: one[0])
    return _up(volts, bank.series), why + ". A safety net below the reserve, not where the bank is meant to stop"


def _restart(bank: Bank, inverter: Inverter | None, asked: Asked, cut_v: float, power_w: float) -> Setting:
    empty = cutoff_soc(bank, cut_v * bank.series, power_w)
    soc = min(max(empty, bank.reserve_soc) + STEP_SOC, 1.0)
    rested_v = at(bank.table.ocv_v, soc)
    volts = _up(max(rested_v, cut_v + PACK_STEP_V / bank.series), bank.series)
    why = (
        f"rested volts at {soc * 100:.0f} %, {STEP_SOC * 100:.0f} points above reserve and cut-off, so that it does "
        "not switch on and off as the volts come back without the load"
    )
    if not rested_tells(bank.cell, rested_v):
        why += f"; volts hardly tell here, {_or(bank.cell, rested_v)}"
    now_v = None if inverter is None else inverter.restart_v
    ceiling = asked.cell_v if inverter is None else min(asked.cell_v, inverter.dc_max_v / bank.series)
    if volts >= ceiling:
        return _row(
            bank,
            "restart",
            "Restart",
            None,
            f"none fits: it would take {volts:.2f} V per cell, and the charge ends at {ceiling:.2f} V",
            now_v,
        )
    return _row(bank, "restart", "Restart", volts, why, now_v)


def _up(cell_v: float, series: int) -> float:
    """Volts per cell of the pack volts rounded up to what a menu takes."""
    return ceil(cell_v * series / PACK_STEP_V - 1e-6) * PACK_STEP_V / series
