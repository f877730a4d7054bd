"""What the page of a cell test shows of a list of cells: the weakest, the groups, and what a balancer makes of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from engine.bench.records import TestedCell
from engine.cells.sight import RESOLUTION_MV, balancer_reached, sight
from engine.house.bank import Bank
from engine.house.grouping import Grouping, hours_to_balance
from engine.text.finding import Finding
from webapp import bench_charts
from webapp.bench_charts import Line
from webapp.bench_reading import CellsReport
from webapp.bench_words import Current, in_ah, in_c
from webapp.chart_parts import STYLES, Figure
from webapp.kept_words import sorted_findings
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.words import duration, in_sentence

SIGHT_WORDS = {
    "clear": "sees it",
    "faint": "hardly sees it",
    "blind": "sees nothing",
    "backwards": "sees it the wrong way round",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupRow:
    """One parallel group of a string."""

    number: int
    cells: str
    ah: str
    over_ah: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SightView:
    """What a balancer sees along a charge: share, volts, word, millivolts per 1 % and per Ah."""

    figure: Figure
    tenths: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, str, str, str, str], ...]
    current: str
    whose: str
    chemistry: str
    clear: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CellsView:
    """What a list of cells comes to."""

    sentence: str
    range: str
    findings: tuple[Finding, ...]
    figure: Figure
    groups: tuple[GroupRow, ...]
    weakest_first: tuple[TestedCell, ...]
    balance: tuple[str, ...]
    sight: SightView


def cells_view(report: CellsReport, bank: Bank | None, current: Current) -> CellsView:
    """Return what a list of cells comes to."""
    found = report.grouping
    places = {id(cell): place for place, cell in enumerate(report.cells)}
    string = f"a string of {found.series}" + (f", {found.parallel} side by side," if found.parallel > 1 else "")
    said = (
        f"The weakest of {found.tested} cells is “{found.weakest.name}” with {in_ah(found.weakest.ah)}; "
        f"{string} holds {in_ah(found.even.string_ah)}."
    )
    return CellsView(
        sentence=said,
        range=_evened(found),
        findings=sorted_findings(report.findings),
        figure=bench_charts.cells(
            [one.name for one in report.cells],
            [one.ah for one in report.cells],
            [places[id(found.weakest)]],
            [places[id(one.cell)] for one in found.rejects],
        ),
        groups=tuple(
            GroupRow(
                number=number,
                cells=", ".join(one.name for one in group.cells),
                ah=figures(group.ah, 4),
                over_ah=fixed(group.over_ah, _places(found)),
            )
            for number, group in enumerate(found.even.groups, 1)
        ),
        weakest_first=tuple(sorted(report.cells, key=lambda one: one.ah)),
        balance=_balance(report, bank, current),
        sight=_sight(report, bank, current),
    )


def _places(found: Grouping) -> int:
    """Decimals in which a ten-thousandth of a group still shows: more than a tester tells."""
    most = max(group.ah for group in found.even.groups)
    return max(0, 4 - math.floor(math.log10(most))) if most > 0 else 0


def _evened(found: Grouping) -> str:
    if found.parallel == 1:
        return "In series the smallest cell decides: what the others hold beyond it is never used."
    gained = f"{in_ah(found.gained_ah)} more than in the order of the list" if found.gained_ah > 0 else "as in the list"
    return f"With the cells dealt out as below, {gained}; no arrangement gives more than {in_ah(found.bound_ah)}."


def _balance(report: CellsReport, bank: Bank | None, current: Current) -> tuple[str, ...]:
    """How far the groups are apart, how long a balancer takes, and whether it ever starts."""
    apart_ah = report.grouping.even.imbalance_ah
    said = [
        f"The fullest group holds {in_ah(apart_ah)} more than the smallest. Put together empty, at equal volts, they "
        "are as far apart at the top of the first charge."
    ]
    board = bank.board if bank is not None else None
    if bank is None or board is None:
        return (*said, "Choose or enter a bank of these cells to see how long its balancer takes.")
    if board.balance_a is None:
        said.append(f"How much the balancer of {in_sentence(bank.name)} bleeds is not entered on Banks.")
    else:
        hours = hours_to_balance(apart_ah, board.balance_a)
        said.append(
            f"At the {board.balance_a:g}{NO_BREAK}A that the balancer of {in_sentence(bank.name)} bleeds, evening that "
            f"takes {duration(hours)} of balancing, spread over as many charges as it needs."
        )
    if board.balance_v is not None:
        said.append(_reached(bank, board.balance_v, current))
    return tuple(said)


def _reached(bank: Bank, start_v: float, current: Current) -> str:
    end_v = bank.charge_end_cell_v
    met = balancer_reached(bank.cell, start_v, end_v, bank.hold, current.c_rate, bank.cell_c)
    if not met.reached:
        return (
            f"It starts at {start_v:g}{NO_BREAK}V per cell, and a charge to {end_v:g}{NO_BREAK}V never "
            "gets there: it never works. Set its start lower, or the charge higher."
        )
    return (
        f"It starts at {start_v:g}{NO_BREAK}V per cell; a charge to {end_v:g}{NO_BREAK}V at {in_c(current.c_rate)} is "
        f"above that for {duration(met.hours)}{', and through its hold' if bank.hold else ''}."
    )


def _sight(report: CellsReport, bank: Bank | None, current: Current) -> SightView:
    """Where along a charge a balancer sees that one cell is ahead of another."""
    cell = report.base if bank is None or bank.cell.base_id != report.base.id else bank.cell
    seen = sight(cell, current.c_rate, report.grouping.even.string_ah)
    per_ah = 100.0 / report.grouping.even.string_ah
    rows = tuple(
        (
            f"{100 * part.low_soc:.0f} to {100 * part.high_soc:.0f}{NO_BREAK}%",
            f"{part.low_v:.2f} to {part.high_v:.2f}",
            SIGHT_WORDS[part.word],
            f"{part.least_mv:.1f} to {part.most_mv:.1f}",
            f"{figures(part.least_mv * per_ah)} to {figures(part.most_mv * per_ah)}",
        )
        for part in seen.stretches
    )
    points, mv = (100.0 * seen.soc[::4]).tolist(), seen.mv_per_point[::4].tolist()
    line = Line(name="mV for 1 %", x=points, y=mv, style=STYLES[0])
    return SightView(
        figure=bench_charts.sight(line, RESOLUTION_MV),
        tenths=tuple((f"{tenth * 10}{NO_BREAK}%", f"{seen.mv_per_point[tenth * 100]:.1f}") for tenth in range(11)),
        rows=rows,
        current=in_c(current.c_rate),
        whose=current.whose,
        chemistry=cell.name,
        clear=percent(seen.clear_share),
    )
