"""A test on its way into a bank: what it would set there, where it fits, and whether a bank holds it already."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from engine.bench.cycles import NOT_THE_CAPACITY, fullest
from engine.bench.measured import chemistry_of
from engine.errors import InputError
from engine.house.bank import Bank
from engine.json_answer import plain_data
from webapp.bench_reading import CellsReport, LogReport, Report, own_id
from webapp.bench_store import CellTest
from webapp.bench_words import in_ah
from webapp.render import percent

OWN_CELL_SHARE = (0.6, 1.1)
"""Capacity found, as a share of the bank's label, between which the test is of the bank's own cells (assumed)."""


def _ah_alone(found: Report) -> float | None:
    """The ampere-hours of a cell that a test without a curve sets, or None where it has a curve."""
    if isinstance(found, CellsReport):
        return round(found.grouping.even.string_ah / found.grouping.parallel, 6)
    if isinstance(found, LogReport) and found.cell is None:
        drawn = fullest(found.result.cycles)
        return round(drawn.discharge_ah or 0.0, 6) if drawn is not None else 0.0
    return None


def holds(bank: Bank, found: Report, test: CellTest) -> bool:
    """Tell whether a bank holds what a test found: its curve, or of a test without one its ampere-hours."""
    each_ah = _ah_alone(found)
    return bank.tested_ah == each_ah if each_ah is not None else bank.cell.id == own_id(found.base, test.id)


def given(found: Report, bank: Bank, test: CellTest) -> dict[str, Any]:
    """The values of a bank that a test sets."""
    if bank.cell.base_id != found.base.id:
        raise InputError(
            "bank",
            f"{bank.name} is described as {bank.cell.name}, and this test was read as {found.base.name}: its limits "
            "and its board’s volts would not fit. Change the bank’s chemistry on Banks first, or read the test again.",
        )
    each_ah = _ah_alone(found)
    if each_ah is not None or isinstance(found, CellsReport):
        return {"tested_ah": each_ah, "tested_c": found.warmth.degrees_c}
    cell = found.cell
    assert cell is not None
    name, tested_c = f"{found.base.name}, your test “{test.name}”", found.warmth.degrees_c
    own = chemistry_of(cell, found.base, own_id(found.base, test.id), name, tested_c)
    values: dict[str, Any] = {"chemistry": plain_data(own)}
    if of_own_cells(cell.full_ah, bank):
        values |= {"tested_ah": round(cell.full_ah, 6), "tested_c": tested_c}
    return values


def of_own_cells(full_ah: float, bank: Bank) -> bool:
    """Tell whether a test's ampere-hours are those of a cell of this bank, or of another size of cell."""
    low, high = OWN_CELL_SHARE
    return low <= full_ah / bank.label_ah <= high


def doubt(found: Report, bank: Bank) -> str:
    """Say why what a test found can hardly be of this bank's cells, with both numbers; empty where nothing says so."""
    if isinstance(found, LogReport) and found.foreign is not None:
        return f"{found.foreign.text} {bank.name} is described as {bank.cell.name}."
    each_ah = _ah_alone(found)
    if each_ah is None:
        return ""
    if of_own_cells(each_ah, bank):
        return _no_capacity(found) if isinstance(found, LogReport) else ""
    low, high = (percent(share) for share in OWN_CELL_SHARE)
    return (
        f"This test found {in_ah(each_ah)} a cell, and the label of {bank.name} says {in_ah(bank.label_ah)}: "
        f"{percent(each_ah / bank.label_ah)} of it, where {low} to {high} is believable. Is it a test of its cells?"
    )


def _no_capacity(found: LogReport) -> str:
    """What the test itself says against its ampere-hours as a capacity; empty where nothing does."""
    drawn = fullest(found.result.cycles)
    flags = set() if drawn is None else NOT_THE_CAPACITY & set(drawn.flags)
    against = next((one.text for one in found.result.findings if one.code in flags), "")
    return against and f"{against} Is it to be the bank’s capacity all the same?"


def uses(found: Report, banks: Sequence[Bank]) -> tuple[tuple[str, str], ...]:
    """Return the banks a test can be used in, by id, each with what would change in words."""
    each_ah = _ah_alone(found)
    fitting = [bank for bank in banks if bank.cell.base_id == found.base.id]
    if each_ah is not None or isinstance(found, CellsReport):
        return tuple((bank.id, f"{bank.name}: tested {in_ah(each_ah or 0.0)} a cell") for bank in fitting)
    assert found.cell is not None
    full_ah = found.cell.full_ah
    return tuple(
        (
            bank.id,
            f"{bank.name}: curve and {in_ah(full_ah)} a cell"
            if of_own_cells(full_ah, bank)
            else f"{bank.name}: curve alone",
        )
        for bank in fitting
    )


def unlisted(found: Report, banks: Sequence[Bank]) -> tuple[str, ...]:
    """Say of each bank of other cells why it is not listed."""
    return tuple(
        f"{bank.name} is not listed: it is described as {bank.cell.name}, and this test was read as {found.base.name}."
        for bank in banks
        if bank.cell.base_id != found.base.id
    )
