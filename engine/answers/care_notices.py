"""What is wrong, dangerous or due about the care of a bank's cells."""

from __future__ import annotations

from collections.abc import Iterator

from engine.answers.answer import Notice
from engine.answers.care_bank import BankCare, ColdLimit, LeadCare
from engine.answers.care_full import FULL_EVERY_DAYS, FullCharge
from engine.answers.charging_notices import lead_temperature_notices
from engine.answers.notices_cold import unstated_notices
from engine.answers.notices_lead import bears_notices, equalise_notices, freezing_notices
from engine.cells.cold_limits import FULL_C
from engine.house.bank import Bank
from engine.house.cold import UNSTATED_C
from engine.house.inverter import Inverter

_EPS = 1e-9


def care_notices(bank: Bank, found: BankCare, inverter: Inverter) -> Iterator[Notice]:
    """Every notice about one bank."""
    if found.lead is not None:
        yield from _full(bank, found.lead.full)
        if not found.told:
            yield Notice(
                level="note",
                code="charge-not-told",
                text=f"{bank.name} is taken as full, as nobody typed its charge. Type above what it is at: when it is "
                "full again and where its acid freezes both go by that.",
            )
        yield from _volts(bank, found.lead)
        yield from lead_temperature_notices(bank, inverter)
        yield from bears_notices(bank, found.lead.volts, inverter)
        yield from equalise_notices(bank, found.lead.equalise)
        yield from freezing_notices(bank, found.lead.freezing)
        yield from _air(bank, found.lead)
    if found.cold is not None:
        yield from unstated_notices(bank)
        yield from _cold(bank, found.cold)


def _full(bank: Bank, full: FullCharge) -> Iterator[Notice]:
    if not full.fills:
        why = "stopped without a hold" if not bank.hold else f"ended at {bank.top_reached_soc * 100:.0f} %"
        yield Notice(
            level="check",
            code="never-full",
            page="charge",
            text=f"{bank.name}: its charge is {why}, so it is never full; full would be about "
            f"{full.full_soc * 100:.0f} %. Lead-acid that is never filled hardens and loses capacity for good.",
        )
    if full.last_on is None and full.full_at_h != 0.0:
        yield Notice(
            level="note",
            code="full-unknown",
            text=f"{bank.name}: nobody has said when it was last full. Type the day above: lead-acid wants it once a "
            "week or so (typical, from memory).",
        )
    if full.days_since is not None and full.days_since > FULL_EVERY_DAYS and full.full_at_h != 0.0:
        yield Notice(
            level="check",
            code="not-full-lately",
            text=f"{bank.name} was last full {full.days_since} days ago; lead-acid wants it once a week or so "
            "(typical, from memory).",
        )
    if full.run_due:
        waits = (
            "does not fill it in these days"
            if full.full_at_h is None
            else "fills it more than a week after the last time"
        )
        yield Notice(
            level="check",
            code="full-run-due",
            text=f"{bank.name}: the sun {waits}. Use less until it is full, or fill it with a generator run.",
        )


def _volts(bank: Bank, lead: LeadCare) -> Iterator[Notice]:
    volts = lead.volts
    if volts.set_cell_v > volts.highest_cell_v + _EPS:
        yield Notice(
            level="stop",
            code="over-kind",
            page="charge",
            text=f"{bank.name}: {volts.set_cell_v:.2f} V per cell is above the {volts.highest_cell_v:g} V at which "
            f"{bank.cell.name} ends. It gasses hard, dries out and can run away with heat: lower it now.",
        )
    elif volts.set_cell_v > volts.usual_cell_v + _EPS:
        yield Notice(
            level="check",
            code="over-usual-volts",
            page="charge",
            text=f"{bank.name}: {volts.set_cell_v:.2f} V per cell is above the {volts.usual_cell_v:g} V usual for "
            f"{bank.cell.name} at 25 °C (typical, from memory). Only the maker’s sheet allows more.",
        )
    elif volts.set_cell_v > volts.highest_here_cell_v + _EPS:
        yield Notice(
            level="check",
            code="over-when-warm",
            page="charge",
            text=f"{bank.name}: at {bank.cell_c:g} °C no more than {volts.highest_here_cell_v:.2f} V per cell is right "
            f"for {bank.cell.name}; it is set to {volts.set_cell_v:.2f} V. Without a temperature sensor that lowers "
            "it, lower it by hand.",
        )


def _air(bank: Bank, lead: LeadCare) -> Iterator[Notice]:
    if lead.air is None:
        yield Notice(
            level="check",
            code="gas-unstated",
            page="banks",
            text=f"{bank.name}: how much gas its cells make is not stated, so no air is worked out. Ask the maker.",
        )


def _cold(bank: Bank, cold: ColdLimit) -> Iterator[Notice]:
    if not cold.stated and bank.cell_c >= FULL_C:
        yield Notice(
            level="note",
            code="cold-limit-not-stated",
            page="banks",
            text=f"{bank.name}: how {bank.cell.name} may be charged below {FULL_C:g} °C is not stated: ask the maker "
            "before the cells get so cold.",
        )
    elif cold.stated and cold.now_a is None:
        yield Notice(
            level="stop",
            code="colder-than-stated",
            page="banks",
            text=f"{bank.name}: a charge current is entered for 0 °C, none for colder cells, and they are at "
            f"{bank.cell_c:g} °C. Do not charge them until the maker says how, or warm them.",
        )
    elif cold.stated and not cold.entered and bank.cell_c < FULL_C and cold.now_a:
        yield Notice(
            level="check",
            code="cold-current-not-entered",
            page="banks",
            text=f"{bank.name}: at {bank.cell_c:g} °C {_counted(cold.now_a, counted=cold.counted)}, as none is entered "
            "for 0 °C. The cells’ sheet may allow less so cold: read it and enter it on Banks.",
        )


def _counted(now_a: float, *, counted: bool) -> str:
    """Words for the charge current of cold cells whose own nobody entered."""
    if not counted:
        return "the whole current is counted"
    return f"{now_a:.0f} A are counted, on a line from {UNSTATED_C:g}C at 0 °C (typical, from memory)"
