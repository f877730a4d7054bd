"""What the page of a cell test shows of a log or a table: sentences, tables and pictures, rounded for reading."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from engine.bench.cycles import BenchResult, Cycle, fullest
from engine.bench.log_traces import charge_trace, discharge_trace, thinned
from engine.bench.measured import BenchRow, HeldCheck, MeasuredCell, bench_rows, share_at, share_of
from engine.bench.records import ChargeEnd, ChargeTable
from engine.errors import Unreachable
from engine.text.finding import Finding
from webapp import bench_charts
from webapp.bench_charts import AT_BANK, THIN, THIN_CURRENT, Line
from webapp.bench_reading import LogReport, TableReport
from webapp.bench_words import Current, believable, in_ah, in_c
from webapp.chart_parts import STYLES, Figure
from webapp.kept_words import sorted_findings
from webapp.render import NO_BREAK, figures, fixed, percent

STRETCHES_OF_TIME, STRETCHES_OF_AH = 700, 250
"""A drawn line has at most two points for each: more than the pixels it is drawn on."""
NOT_BY_VOLTS = "not by volts"
TABLE_STEP_V = 0.1
LEAST_ROWS_V = 0.01
"""Nearer than this to the last row the highest volts have no row of their own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleRow:
    """One cycle as its table shows it."""

    number: int
    put_ah: str
    hold: str
    drawn_ah: str
    drawn_wh: str
    coulombic: str
    energy: str
    current: str
    temperature: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveRow:
    """One end voltage as the table of the curve shows it, with what was measured there if anything was."""

    volts: str
    no_hold: str
    hold: str
    at_bank: str
    measured_no_hold: str = ""
    measured_hold: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveView:
    """The usable-capacity curve of one cell at the bench's current and at a bank's."""

    figure: Figure
    rows: tuple[CurveRow, ...]
    flat: bool
    bench_current: str
    tail_current: str
    bank_c: str
    bank_name: str
    resistance: str
    source: str
    band: str
    held_check: tuple[HeldCheck, ...]
    worst_check: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TestView:
    """What a log or a table comes to."""

    __test__ = False

    sentence: str
    range: str
    findings: tuple[Finding, ...]
    curve: CurveView | None
    believable: str = ""
    offered: str = ""
    cycles: tuple[CycleRow, ...] = ()
    over_time: Figure | None = None
    over_ah: Figure | None = None
    parts: tuple[tuple[str, str, str, str], ...] = ()


def log_view(report: LogReport, label_ah: float | None, current: Current) -> TestView:
    """Return what a log comes to, its curve read at a bank's current."""
    result = report.result
    cycle = report.cycle or fullest(result.cycles)
    cell = report.cell
    foreign = () if report.foreign is None else (report.foreign,)
    findings = (*foreign, *result.findings, *(cell.findings if cell else ()))
    return TestView(
        sentence=_gave(cycle, _drawn_before(result, cycle), label_ah),
        range=report.why_no_cell if cell is None else _stops_at(cell, report.base.v_charge, label_ah, current),
        believable=believable(cycle, findings),
        offered=_offered(result, cycle, cell),
        findings=sorted_findings(findings),
        curve=None if cell is None else curve_view(cell, label_ah, current, None, result.unseen_share),
        cycles=tuple(_cycle_row(one) for one in result.cycles),
        over_time=_over_time(result),
        over_ah=None if cycle is None else _over_ah(result, cycle),
        parts=_parts(result),
    )


def table_view(report: TableReport, label_ah: float | None, current: Current) -> TestView:
    """Return what a table of charge ends comes to."""
    cell = report.cell
    said = f"This cell holds {in_ah(cell.full_ah, 4)}{_of_label(cell.full_ah, label_ah)}."
    if report.nothing_below_v is not None:
        said += f" There is nothing below {report.nothing_below_v:.1f}{NO_BREAK}V."
    return TestView(
        sentence=said,
        range=_stops_at(cell, report.base.v_charge, label_ah, current),
        findings=sorted_findings(report.findings),
        curve=curve_view(cell, label_ah, current, report.table),
    )


def curve_view(
    cell: MeasuredCell,
    label_ah: float | None,
    current: Current,
    table: ChargeTable | None,
    unseen_share: float = 0.0,
) -> CurveView:
    """Return the curve as drawn and listed, with the measured points of a table beside it.

    Parameters
    ----------
    unseen_share : float
        Share of a log's ampere-hours that no row saw [-]; it widens what is uncertain.
    """
    bank_c = current.c_rate
    rows, at_bank = bench_rows(cell), _widened(bench_rows(cell, bank_c), unseen_share)
    listed = _listed_volts(cell, table)
    checks = cell.held_check
    worst = max((abs(one.difference_share) for one in checks), default=None)
    return CurveView(
        figure=_curve_figure(cell, rows, at_bank, bank_c, table),
        rows=_curve_rows(cell, bank_c, listed, table),
        flat=any(one.no_hold_cannot_tell or one.hold_cannot_tell for one in (*rows, *at_bank)),
        bench_current=_on_bench(cell, cell.charge_c, label_ah),
        tail_current=_on_bench(cell, cell.tail_c, label_ah),
        bank_c=in_c(bank_c),
        bank_name=current.whose,
        resistance=f"{cell.resistance.middle_v_per_c * 1000:.0f}{NO_BREAK}mV per C, "
        f"{cell.resistance.middle_v_per_c / cell.full_ah * 1000:.3g}{NO_BREAK}milliohm for this cell",
        source=cell.resistance.source,
        band=percent(max(one.no_hold_band for one in at_bank), 1),
        held_check=checks,
        worst_check="" if worst is None else fixed(worst * 100, 1),
    )


def _widened(rows: tuple[BenchRow, ...], unseen_share: float) -> tuple[BenchRow, ...]:
    """The rows with what was not seen among what is uncertain: two errors that know nothing of each other."""
    return tuple(
        replace(one, no_hold_band=float(np.hypot(one.no_hold_band, unseen_share * one.no_hold_share))) for one in rows
    )


def _drawn_before(result: BenchResult, cycle: Cycle | None) -> Cycle | None:
    """The discharge down to empty that the log begins with, where nothing was drawn after the charge that followed."""
    first = result.cycles[0] if result.cycles else None
    if cycle is None or first is None or cycle.discharge_ah is not None or cycle.number != first.number + 1:
        return None
    return first if first.charge_ah is None and first.ends_empty else None


def _offered(result: BenchResult, cycle: Cycle | None, cell: MeasuredCell | None) -> str:
    """Say which of two capacities a bank is offered, and why, where a log begins with a discharge."""
    before = _drawn_before(result, cycle)
    if before is None or before.discharge_ah is None or cell is None or cycle is None:
        return ""
    return (
        f"Two numbers speak of this cell. Cycle {before.number} drew {in_ah(before.discharge_ah, 4)} down to empty: "
        f"its capacity if it was full when the log began, which the log does not show. Cycle {cycle.number} put "
        f"{in_ah(cycle.charge_ah or 0.0, 4)} back in from empty; what comes out of a full charge by it is "
        f"{in_ah(cell.full_ah, 4)}. A bank is offered that one, because its curve is from the same charge. If you know "
        f"that the cell was full, {in_ah(before.discharge_ah, 4)} is the plainer measurement: type it on Banks."
    )


def _gave(cycle: Cycle | None, before: Cycle | None, label_ah: float | None) -> str:
    if cycle is None:
        return "This log holds neither a charge nor a discharge."
    at = "" if cycle.temperature_c is None else f", at {cycle.temperature_c:.0f}{NO_BREAK}°C"
    if before is not None and before.discharge_ah is not None:
        drawn = f"{in_ah(before.discharge_ah)}{_of_label(before.discharge_ah, label_ah)}"
        return f"This cell gave {drawn}, down to empty, and then took {in_ah(cycle.charge_ah or 0.0)}{at}."
    if cycle.discharge_ah is None:
        return f"This cell took {in_ah(cycle.charge_ah or 0.0)}{at}; nothing was drawn after it."
    return f"This cell gave {in_ah(cycle.discharge_ah)}{_of_label(cycle.discharge_ah, label_ah)}{at}."


def _of_label(ah: float, label_ah: float | None) -> str:
    return "" if label_ah is None else f", {percent(ah / label_ah)} of its label"


def _stops_at(cell: MeasuredCell, usual_v: float, label_ah: float | None, current: Current) -> str:
    """How full the usual charge voltage leaves it, at the bench's current and at a bank's."""
    volts = min(usual_v, cell.v_top)
    plain, held, there = (share_at(cell, volts, c) for c in (cell.charge_c, cell.tail_c, current.c_rate))
    return (
        f"A charge that stops at {volts:.2f}{NO_BREAK}V leaves it {percent(plain)} full at the bench’s "
        f"{_on_bench(cell, cell.charge_c, label_ah)}, and {percent(there)} at the {in_c(current.c_rate)} of "
        f"{current.whose}; held there to {_on_bench(cell, cell.tail_c, label_ah)}, {percent(held)}."
    )


def _on_bench(cell: MeasuredCell, c_rate: float, label_ah: float | None) -> str:
    """Write a current of the bench in amperes, and in C of the label, or of what the cell held where it has none."""
    amps = c_rate * cell.full_ah
    return f"{figures(amps, 2)}{NO_BREAK}A ({in_c(amps / (label_ah or cell.full_ah))})"


def _cycle_row(cycle: Cycle) -> CycleRow:
    hold = "none" if not cycle.hold_min else f"{figures(cycle.hold_ah, 3)} Ah in {cycle.hold_min:.0f} min"
    return CycleRow(
        number=cycle.number,
        put_ah=figures(cycle.charge_ah, 4),
        hold=hold if cycle.charge_ah is not None else "–",
        drawn_ah=figures(cycle.discharge_ah, 4),
        drawn_wh=figures(cycle.discharge_wh, 4),
        coulombic=percent(cycle.coulombic_efficiency, 1) if cycle.coulombic_efficiency else "–",
        energy=percent(cycle.energy_efficiency, 1) if cycle.energy_efficiency else "–",
        current=" / ".join(figures(a, 3) for a in (cycle.charge_a, cycle.discharge_a)),
        temperature=fixed(cycle.temperature_c),
    )


def _parts(result: BenchResult) -> tuple[tuple[str, str, str, str], ...]:
    """Kind, hours, Ah and ending volts of every part of the log."""
    return tuple((one.kind, f"{one.hours:.2f}", fixed(one.ah, 3), f"{one.end_v:.3f}") for one in result.segments)


def _over_time(result: BenchResult) -> Figure:
    hours_v, volts = thinned(result.time_h, result.voltage_v, STRETCHES_OF_TIME)
    hours_a, amps = thinned(result.time_h, result.current_a, STRETCHES_OF_TIME)
    return bench_charts.over_time(
        Line(name="volts", x=hours_v.tolist(), y=volts.tolist(), style=THIN),
        Line(name="amperes", x=hours_a.tolist(), y=amps.tolist(), style=THIN_CURRENT),
    )


def _over_ah(result: BenchResult, cycle: Cycle) -> Figure | None:
    lines = []
    for name, trace_of, style in (("charge", charge_trace, STYLES[0]), ("discharge", discharge_trace, STYLES[1])):
        try:
            trace = trace_of(result, cycle)
        except Unreachable:
            continue
        ah, volts = thinned(trace.ah, trace.volts, STRETCHES_OF_AH)
        lines.append(Line(name=name, x=ah.tolist(), y=volts.tolist(), style=style))
    return bench_charts.over_ah(lines) if lines else None


def _listed_volts(cell: MeasuredCell, table: ChargeTable | None) -> tuple[float, ...]:
    """The volts of the bench where it has a table, else every tenth of a volt, and the highest."""
    if table is not None:
        return tuple(end.volts for end in table.ends)
    first = int(np.ceil(round(cell.first_v / TABLE_STEP_V, 6)))
    last = int(np.floor(round(cell.v_top / TABLE_STEP_V, 6)))
    tenths = [round(k * TABLE_STEP_V, 1) for k in range(first, last + 1)]
    return tuple(tenths) if tenths and abs(tenths[-1] - cell.v_top) < LEAST_ROWS_V else (*tenths, round(cell.v_top, 3))


def _curve_rows(
    cell: MeasuredCell, bank_c: float, volts: tuple[float, ...], table: ChargeTable | None
) -> tuple[CurveRow, ...]:
    ends = {end.volts: end for end in table.ends} if table is not None else {}
    pairs = zip(bench_rows(cell, volts=volts), bench_rows(cell, bank_c, volts), strict=True)
    return tuple(
        CurveRow(
            volts=_row_volts(own.volts),
            no_hold=_share(own.no_hold_share, own.no_hold_cannot_tell),
            hold=_share(own.hold_share, own.hold_cannot_tell),
            at_bank=_share(there.no_hold_share, there.no_hold_cannot_tell),
            measured_no_hold=_measured(ends, own.volts, "no_hold_ah", cell.full_ah),
            measured_hold=_measured(ends, own.volts, "hold_ah", cell.full_ah),
        )
        for own, there in pairs
    )


def _row_volts(volts: float) -> str:
    """Write the volts of a row to a hundredth, to a thousandth where they have one, so that no two rows are alike.

    Examples
    --------
    >>> _row_volts(3.6), _row_volts(3.605)
    ('3.60', '3.605')
    """
    text = f"{volts:.3f}"
    return text.removesuffix("0")


def _measured(ends: Mapping[float, ChargeEnd], volts: float, name: str, full_ah: float) -> str:
    """What a table's row says, and its share of the full charge."""
    ah = getattr(ends[volts], name) if volts in ends else None
    return "" if ah is None else f"{fixed(ah, _ah_digits(full_ah))}{NO_BREAK}Ah, {percent(share_of(ah, full_ah), 1)}"


def _ah_digits(full_ah: float) -> int:
    """Decimals that give the full charge four figures."""
    return max(0, 3 - int(np.floor(np.log10(full_ah))))


def _share(share: float, cannot_tell: bool) -> str:
    return NOT_BY_VOLTS if cannot_tell else percent(share)


def _curve_figure(
    cell: MeasuredCell,
    rows: tuple[BenchRow, ...],
    at_bank: tuple[BenchRow, ...],
    bank_c: float,
    table: ChargeTable | None,
) -> Figure:
    volts = [one.volts for one in rows]
    own = [100 * one.no_hold_share for one in rows]
    no_hold = Line(name="on the bench", x=volts, y=own, style=STYLES[0])
    hold = Line(name="held", x=volts, y=[100 * one.hold_share for one in rows], style=STYLES[1])
    there = Line(name=f"at {in_c(bank_c)}", x=volts, y=[100 * one.no_hold_share for one in at_bank], style=AT_BANK)
    edges = [
        Line(
            name="",
            x=volts,
            y=[float(np.clip(100 * (r.no_hold_share + way * r.no_hold_band), 0, 101)) for r in at_bank],
            style=AT_BANK,
        )
        for way in (-1, 1)
    ]
    flat = [one.volts for one in rows if one.hold_cannot_tell]
    return bench_charts.usable(
        (no_hold, hold, there),
        (edges[0], edges[1]),
        None if table is None else _measured_points(table, cell.full_ah),
        (flat[0], flat[-1]) if flat else None,
    )


def _measured_points(table: ChargeTable, full_ah: float) -> Line:
    """Every measured ampere-hour of a table as a share of the full charge."""
    points = [(end.volts, ah) for end in table.ends for ah in (end.no_hold_ah, end.hold_ah) if ah is not None]
    return Line(
        name="measured", x=[volts for volts, _ in points], y=[100 * ah / full_ah for _, ah in points], style=STYLES[0]
    )
