"""A bench file with the choices by which it is read, and what comes of it.

The choices are kept with the test, so that the same bytes always give the same result; results are worked out anew
when asked for, the last few are remembered. Nothing here knows a page. What reads files is loaded with the first file,
so that a start need not wait for it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from engine.bench import analysis
from engine.bench.cell_of_log import cell_of
from engine.bench.cycles import BenchResult, Cycle, fullest, tested_at_c
from engine.bench.limits import fitting, outside, span_of
from engine.bench.measured import MeasuredCell, from_table, nothing_below_v
from engine.bench.records import BenchLog, ChargeTable, TestedCell
from engine.cells import catalogue
from engine.cells.chemistry import TABLE_C, Chemistry
from engine.errors import InputError, Unreachable
from engine.house.grouping import SERIES, Grouping, grouped
from engine.house.household import Household
from engine.text.finding import Finding
from webapp import bench_store
from webapp.bench_store import CellTest
from webapp.kept_choices import KeptChoices
from webapp.store import Store

if TYPE_CHECKING:
    from engine.bench.columns import Meaning
    from engine.bench.files import Reading

REMEMBERED = 3
"""Results kept at hand: a long log is tens of megabytes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices(KeptChoices):
    """How a file is read, and what it does not say itself.

    What does not matter to the kind is None or as it was; volts and amperes are of the bench.
    """

    current_sign: str = "as written"
    chemistry: str = ""
    label_ah: float | None = None
    series: int = 1
    parallel: int = 1
    charge_a: float | None = None
    tail_a: float | None = None
    test_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Warmth:
    """Cell temperature in a test [degC], and whether it was ``typed``, in the ``log`` or ``assumed``."""

    degrees_c: float
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LogReport:
    """What a log tells; without a cell where it holds no charge to read, and then `why_no_cell` says so.

    `foreign` says that its volts are not those of the chemistry it was read as.
    """

    result: BenchResult
    base: Chemistry
    cell: MeasuredCell | None
    cycle: Cycle | None
    warmth: Warmth
    why_no_cell: str = ""
    foreign: Finding | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TableReport:
    """What a table of charge ends tells."""

    table: ChargeTable
    base: Chemistry
    cell: MeasuredCell
    nothing_below_v: float | None
    warmth: Warmth
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CellsReport:
    """What a list of cells tells: who is weak, and which go side by side."""

    cells: tuple[TestedCell, ...]
    base: Chemistry
    grouping: Grouping
    warmth: Warmth
    findings: tuple[Finding, ...]


Report = LogReport | TableReport | CellsReport


def first_choices(
    content: bytes, reading: Reading, house: Household, chemistry: str = "", label_ah: float | None = None
) -> dict[str, Any]:
    """Return the choices a new test begins with: our guess, and what the household says where it leaves no doubt."""
    series, parallel = _in_string(content, reading, house) if reading.kind == "cells" else (1, 1)
    return Choices(
        kind=reading.kind,
        columns=dict(reading.columns),
        current_sign=reading.current_sign,
        chemistry=chemistry or _kind_of_cell(reading, house),
        label_ah=label_ah,
        series=series,
        parallel=parallel,
    ).stored()


def _kind_of_cell(reading: Reading, house: Household) -> str:
    """The kind of cell of the household's banks if the volts can be its; else the one whose limits lie closest."""
    owned = {bank.cell.base_id for bank in house.banks} & catalogue.names().keys()
    span = span_of(reading)
    if span is None or span.of_pack:
        return owned.pop() if len(owned) == 1 else ""
    held = fitting(span, high_alone=reading.kind == "table")
    own = [id for id in held if id in owned]
    return own[0] if len(own) == 1 else next(iter(() if own else held), "")


def own_id(base: Chemistry, test_id: int) -> str:
    """Return the id of the chemistry that a test gives a bank.

    Examples
    --------
    >>> catalogue.load("lfp").base_id, own_id(catalogue.load("lfp"), 7)
    ('lfp', 'lfp/test-7')
    """
    return f"{base.base_id}/test-{test_id}"


def _in_string(content: bytes, reading: Reading, house: Household) -> tuple[int, int]:
    """Series and parallel of the first bank that so many cells could make, else all of them in series."""
    from engine.bench import files

    try:
        count = len(files.read_cells(content, reading))
    except InputError:
        return 1, 1
    fitting = (bank for bank in house.banks if bank.series * bank.parallel <= count < 2 * bank.series * bank.parallel)
    bank = next(fitting, None)
    return (bank.series, bank.parallel) if bank else (min(count, int(SERIES.high)), 1)


def guessed(content: bytes, kind: str | None = None, decimal: str | None = None) -> Reading:
    """Return how a file would be read, as what it seems to be or as a kind or decimal sign that was chosen.

    Raises
    ------
    InputError
        If it is no delimited text with numbers in it.
    """
    from engine.bench import files

    return files.with_choices(files.guess(content), kind=kind, decimal=decimal)


def meanings(kind: str) -> tuple[Meaning, ...]:
    """Return what the columns of a kind of file may mean."""
    from engine.bench import files

    return tuple(files.MEANINGS[kind])


def first_rows(content: bytes, reading: Reading, rows: int) -> tuple[tuple[str, ...], ...]:
    """Return the first rows of a file as they are written."""
    from engine.text.delimited import preview

    return preview(content, reading.layout, rows)


def unread(content: bytes, reading: Reading) -> tuple[str, ...]:
    """Say how many rows of a file cannot be read and where the first is; nothing where columns are still to choose."""
    from engine.bench import files
    from engine.bench.rows import needed

    try:
        needed(reading, reading.kind)
    except InputError:
        return ()
    try:
        return tuple(one.text for one in files.left_out(content, reading))
    except InputError as fault:
        return (fault.message,)


def reading_of(content: bytes, choices: Choices) -> Reading:
    """Return how the file is read by these choices."""
    from engine.bench import files

    return files.with_choices(
        files.guess(content),
        kind=choices.kind,
        columns=choices.columns,
        current_sign=choices.current_sign,
        decimal=choices.decimal or None,
    )


def report_of(content: bytes, choices: Choices) -> Report:
    """Read a file and work out what it tells.

    Raises
    ------
    InputError
        If it cannot be read by these choices.
    """
    from engine.bench import files

    reading = reading_of(content, choices)
    base = catalogue.load(choices.chemistry)
    if choices.kind == "log":
        return _log(files.read_log(content, reading), choices, base)
    if choices.kind == "table":
        return _table(content, reading, choices, base)
    cells = files.read_cells(content, reading)
    found = grouped(cells, choices.series, choices.parallel)
    findings = (*files.left_out(content, reading), *found.findings)
    return CellsReport(cells=cells, base=base, grouping=found, warmth=_warmth(choices), findings=findings)


def report(store: Store, test: CellTest) -> Report:
    """Return what a kept test tells."""
    return report_by(store, test.id, Choices.of(test.choices))


def report_by(store: Store, test_id: int, choices: Choices) -> Report:
    """Return what the file of a test tells by some choices, and remember it.

    Raises
    ------
    InputError
        If it cannot be read by these choices.
    """
    return _report(store, test_id, json.dumps(choices.stored(), sort_keys=True))


@lru_cache(maxsize=REMEMBERED)
def _report(store: Store, test_id: int, choices: str) -> Report:
    return report_of(bench_store.content(store, test_id), Choices.of(json.loads(choices)))


def _log(log: BenchLog, choices: Choices, base: Chemistry) -> LogReport:
    result = analysis.analyse(log, choices.label_ah, choices.series)
    cell, cycle, why_no_cell = None, None, ""
    try:
        cell, cycle = cell_of(result, base, choices.label_ah)
    except (InputError, Unreachable) as fault:
        why_no_cell = str(fault)
    return LogReport(
        result=result,
        base=base,
        cell=cell,
        cycle=cycle,
        warmth=_warmth(choices, cycle or fullest(result.cycles)),
        why_no_cell=why_no_cell,
        foreign=outside(result, base),
    )


def _warmth(choices: Choices, cycle: Cycle | None = None) -> Warmth:
    """The temperature of a test: as typed, else what the log has of the cycle, else 25 °C."""
    if choices.test_c is not None:
        return Warmth(degrees_c=choices.test_c, by="typed")
    seen_c = tested_at_c(cycle)
    return Warmth(degrees_c=TABLE_C, by="assumed") if seen_c is None else Warmth(degrees_c=round(seen_c, 1), by="log")


def _table(content: bytes, reading: Reading, choices: Choices, base: Chemistry) -> TableReport:
    from engine.bench import files

    if choices.charge_a is None:
        raise InputError("charge_a", "The charge current on the bench is missing.")
    if choices.tail_a is None and choices.columns.keys() & {"hold_ah", "cut_off_a"}:
        raise InputError("tail_a", "Some rows were held: say at which current the hold ended.")
    table = files.read_table(content, reading, choices.charge_a, choices.tail_a or choices.charge_a)
    cell = from_table(table, base, choices.label_ah)
    return TableReport(
        table=table,
        base=base,
        cell=cell,
        nothing_below_v=nothing_below_v(table),
        warmth=_warmth(choices),
        findings=cell.findings,
    )
