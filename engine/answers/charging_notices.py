"""What is wrong, dangerous or worth knowing about a charge that is asked about: its volts, hold, current and window.

Builds on what is said of the bank as it is set, read here as if the asked setting were saved.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

from engine.answers.answer import Notice, gravest_first
from engine.answers.charging_current import ChargeCurrent, over_limits, sun_over_limits
from engine.answers.charging_parts import Balancing, HoldWorth
from engine.answers.charging_targets import Narrow, put_in_ah
from engine.answers.notices_bank import cell_notices, mend, pack_notices
from engine.answers.notices_charge import cured, lower
from engine.answers.notices_lead import cold_lead_notices
from engine.cells import curve
from engine.cells.lead_acid import LEAD_C, LEAD_V_PER_C, lead_cell_v
from engine.house.bank import Bank
from engine.house.cold import is_lead
from engine.house.inverter import Inverter

SURE_STOPS = frozenset({"board-below-charge", "highest-cell-over-board"})
"""Checks of a household as it stands that are a stop in a setting somebody is about to choose."""
LEAST_HOLD_H = 0.1
"""A shorter hold is not held against the sun's hours [h] (engineering choice)."""
LEAD_APART_C = 5.0
"""How far from the temperature that lead-acid volts are stated for a word is due [K] (judgement)."""
_EPS = 1e-9


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What the notices are read from; `asked` is the bank as if the asked setting were saved."""

    asked: Bank
    inverter: Inverter | None
    cell_v: float
    load_w: float
    current: ChargeCurrent
    worth: HoldWorth
    reached_soc: float
    hold_hours: float
    balancing: Balancing | None
    narrow: Narrow | None


def charging_notices(facts: Facts) -> tuple[Notice, ...]:
    """Every notice about a charge, the gravest first."""
    return gravest_first((*_limits(facts), *_current(facts), *_hold(facts), *_balancer(facts), *_window(facts)))


def _limits(facts: Facts) -> Iterator[Notice]:
    """The volts against cell, board and inverter; a one-click cure lowers the setting below all of them."""
    asked, inverter, cell = facts.asked, facts.inverter, facts.asked.cell
    if facts.cell_v > cell.v_max + _EPS:
        yield Notice(
            level="stop",
            code="over-cell",
            page="charge",
            text=f"{asked.name}: {facts.cell_v:.2f} V per cell is above the {cell.v_max:g} V at which {cell.name} "
            "ends: it can be ruined or catch fire. Nothing above that is worked out.",
            remedies=lower(asked, inverter),
        )
    yield from (_as_stop(cured(one, asked, inverter)) for one in cell_notices(asked))
    if inverter is None:
        return
    yield from (_as_stop(cured(one, asked, inverter)) for one in pack_notices(asked, inverter))
    if is_lead(asked):
        yield from cold_lead_notices(asked, inverter, facts.load_w)
    full_v = asked.full_v
    if asked.charge_end_cell_v * asked.series <= inverter.dc_max_v + _EPS < full_v:
        yield Notice(
            level="check",
            code="full-over-inverter",
            page="charge",
            text=f"{asked.name} would stand at {full_v:.1f} V if it were ever charged full; {inverter.name} ends at "
            f"{inverter.dc_max_v:g} V and can be damaged. Only this lower setting keeps within: every charger, a "
            "generator’s too, must keep to it. Fewer cells in series would be safe by themselves.",
        )


def _as_stop(notice: Notice) -> Notice:
    return dataclasses.replace(notice, level="stop") if notice.code in SURE_STOPS else notice


def _current(facts: Facts) -> Iterator[Notice]:
    """A current above what cells, bank, board or charger allow: the one typed, or what panels and charger can give."""
    asked, current = facts.asked, facts.current
    if current.limit == "typed":
        yield from over_limits(asked, facts.inverter, current.charge_a, f"{current.charge_a:g} A is")
    else:
        yield from sun_over_limits(asked, facts.inverter, current.noon_w)


def _hold(facts: Facts) -> Iterator[Notice]:
    asked, cell = facts.asked, facts.asked.cell
    if cell.needs_board:
        yield Notice(
            level="note",
            code="no-float",
            page="charge",
            text=f"{cell.name}: no float, and a hold only until the current has fallen. To be kept at their end volts "
            "ages these cells (typical, from memory); the cell maker’s sheet rules.",
        )
    if cell.vents_hydrogen:
        yield Notice(
            level="check",
            code="hydrogen",
            page="charge",
            text=f"{cell.name} can give off hydrogen at its end volts: it can explode. Air the room as your code asks, "
            "and keep flames and sparks away.",
        )
        yield from lead_temperature_notices(asked, facts.inverter)
    told = curve.told(cell, asked.charge_end_cell_v, facts.current.charge_c, asked.cell_c)
    if not asked.hold and not told:
        yield Notice(
            level="check",
            code="volts-do-not-decide",
            page="charge",
            text=f"{asked.name}: stopped near {facts.cell_v:.2f} V, {curve.METER_V:g} V more or less moves the charge "
            f"by more than {curve.METER_RISE * 100:.0f} points: the volts do not decide it. Count ampere-hours.",
        )
    if not asked.hold:
        return
    if not curve.controllable(cell, asked.charge_end_cell_v, asked.cell_c):
        yield Notice(
            level="check",
            code="volts-do-not-decide",
            page="charge",
            text=f"{asked.name}: held near {facts.cell_v:.2f} V the charge rises by more than "
            f"{curve.PLAIN_RISE * 100:.0f} points within 0.05 V: the volts do not decide it. Count ampere-hours.",
        )
    yield from _sun(facts)


def lead_temperature_notices(asked: Bank, inverter: Inverter | None) -> Iterator[Notice]:
    """Lead-acid charge volts at another temperature than their own, as far as the inverter takes them."""
    if abs(asked.cell_c - LEAD_C) < LEAD_APART_C:
        return
    there_v = lead_cell_v(asked.charge_end_cell_v, asked.cell_c)
    pack_v = there_v * asked.series
    end = (
        f" {inverter.name} takes {inverter.charge_max_v:g} V at most: no higher than that."
        if (inverter is not None and inverter.charge_max_v + _EPS < pack_v)
        else ""
    )
    yield Notice(
        level="check",
        code="lead-temperature",
        page="charge",
        text=f"{asked.name}: these volts are for {LEAD_C:g} °C. At {asked.cell_c:g} °C the charger should be at about "
        f"{there_v:.2f} V per cell, {pack_v:.1f} V for the pack ({LEAD_V_PER_C * 1000:g} mV per degree and cell; "
        f"typical, from memory).{end} Use its temperature sensor; a hot sealed battery that is not lowered can run "
        "away. The maker’s sheet rules.",
    )


def _sun(facts: Facts) -> Iterator[Notice]:
    """A hold that the sun of a clear day of this month is too short for."""
    asked, current = facts.asked, facts.current
    if not current.noon_w > 0.0 or facts.hold_hours < LEAST_HOLD_H:
        return
    held_w = facts.worth.tail_a * facts.cell_v * asked.series
    sun_h = float((current.clear_day_w >= held_w).sum())
    fill_h = put_in_ah(asked, min(asked.reserve_soc, facts.worth.from_soc), facts.worth.from_soc) / current.charge_a
    if fill_h + facts.hold_hours <= sun_h:
        return
    hold_too_long = facts.hold_hours > sun_h
    yield Notice(
        level="check" if hold_too_long else "note",
        code="hold-over-sun",
        page="charge",
        text=f"A clear day of this month gives {sun_h:.0f} hours in which the panels carry {facts.worth.tail_a:.1f} A. "
        + (
            f"The hold alone takes {facts.hold_hours:.1f}."
            if hold_too_long
            else f"From your reserve the charge takes {fill_h:.1f} hours and the hold {facts.hold_hours:.1f}: "
            "it will not end the same day."
        ),
    )


def _balancer(facts: Facts) -> Iterator[Notice]:
    asked, balancing = facts.asked, facts.balancing
    if balancing is None:
        return
    if not balancing.reached:
        yield Notice(
            level="check",
            code="balancer-never-starts",
            page="charge",
            text=f"{asked.name}: its balancer starts at {balancing.start_v:g} V per cell and the charge ends at "
            f"{facts.cell_v:.2f} V: the cells are never evened out. Let it start lower if the board can, or charge "
            "higher now and then by hand, watching the highest cell.",
        )
    elif not asked.hold and balancing.no_hold_min < 10.0 < balancing.hold_min:
        yield Notice(
            level="note",
            code="balancer-hardly-works",
            page="charge",
            text=f"{asked.name}: without a hold its balancer works {balancing.no_hold_min:.0f} minutes a charge, with "
            f"one {balancing.hold_min:.0f}.",
            remedies=(mend(asked, "Hold at the end of the charge", {"hold": True}),),
        )


def _window(facts: Facts) -> Iterator[Notice]:
    narrow = facts.narrow
    if narrow is not None and narrow.low_soc + 0.005 < narrow.widest_low_soc:
        yield Notice(
            level="check",
            code="window-under-cutoff",
            page="charge",
            text=f"The window begins at {narrow.low_soc * 100:g} %; under this load the discharge ends at about "
            f"{narrow.widest_low_soc * 100:.0f} % already, by the inverter’s cut-off, the cold or the current.",
        )
    if narrow is not None and narrow.high_soc > facts.reached_soc + 0.005:
        yield Notice(
            level="check",
            code="window-over-charge",
            page="charge",
            text=f"The window ends at {narrow.high_soc * 100:g} %; this charge stops at "
            f"{facts.reached_soc * 100:.0f} %.",
        )
