"""Tested cells into strings: who is weak, who is better left out, and which cells go side by side.

A string holds what its smallest parallel group holds. Ah, Wh, milliohm; shares as fractions; resistances are only
compared with each other, so any tester will do. How the cells are dealt is in `engine.house.dealing`. The answer is
arithmetic on a test, never an approval: a cell that was hot, swollen, damaged or below its maker's lowest volts is
out whatever it holds. Not modelled: ageing, self-discharge, sharing of current inside a group.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import median

import numpy as np

from engine.bench.records import TestedCell
from engine.errors import InputError
from engine.fields import Quantity
from engine.house.dealing import Order, evened, in_list_order
from engine.text.finding import Finding

SERIES = Quantity(label="Groups in series", unit="", low=1, high=200, whole=True)
PARALLEL = Quantity(label="Cells in each group", unit="", low=1, high=500, whole=True)
REJECT_BELOW = Quantity(label="Leave out below", unit="% of the middle cell", low=0.0, high=1.0, percent=True)
MILLIOHM_ABOVE = Quantity(label="Leave out above", unit="times the middle resistance", low=1.0, high=100.0)
BLEED = Quantity(label="Balancer bleeds", unit="A", low=0.001, high=50.0)
SHARE_OF_DAY = Quantity(label="Share of the day it works", unit="%", low=0.0001, high=1.0, percent=True)
MOST_CELLS = 5000
ODD_VOLTS_SHARE = 0.03
"""Wh over Ah is a cell's mean volts; further from the middle cell's than this it is odd (assumed: about 0.1 V of 3 V,
twice what a doubled resistance does at 0.5C)."""
RESIDUE_SHARE = 1e-12
"""Sums this near each other are the same: thousands of times what adding a group's cells leaves in floating point."""
METHOD = (
    "Largest cell first, each to the group that has least so far and still has room; then two cells of two groups "
    "change places as long as that brings the groups nearer to each other."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reject:
    """A cell better left out; `codes` are low, resistance or odd, `reasons` the same in words."""

    cell: TestedCell
    codes: tuple[str, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Cells side by side; `over_ah` is what the group holds beyond the smallest one."""

    cells: tuple[TestedCell, ...]
    ah: float
    over_ah: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """All groups of a string, what the string holds (its smallest group) and how far the groups are apart."""

    groups: tuple[Group, ...]
    string_ah: float
    imbalance_ah: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Grouping:
    """The answer; `listed` and `even` are the same cells, as they stand in the list and after evening."""

    series: int
    parallel: int
    tested: int
    median_ah: float
    lowest_ah: float
    highest_ah: float
    spread_ah: float
    spread_share: float
    weakest: TestedCell
    median_milliohm: float | None
    rejects: tuple[Reject, ...]
    listed: Arrangement
    even: Arrangement
    bound_ah: float
    """No arrangement of these cells holds more: their sum over the number of groups."""
    gained_ah: float
    swaps: int
    spares: tuple[TestedCell, ...]
    findings: tuple[Finding, ...]
    method: str = METHOD


def grouped(
    cells: tuple[TestedCell, ...],
    series: int,
    parallel: int,
    *,
    reject_below: float = 0.9,
    milliohm_above: float = 1.5,
) -> Grouping:
    """Choose and arrange tested cells for `series` groups of `parallel` cells.

    Parameters
    ----------
    cells : tuple of TestedCell
        What was measured [Ah, Wh, milliohm]; Wh and milliohm where known.
    series : int
        Groups in series, 1 to 200.
    parallel : int
        Cells side by side in each, 1 to 500.
    reject_below : float
        A cell under this share of the middle (median) cell's Ah is better left out [-].
    milliohm_above : float
        So is one above this many times the middle resistance.

    Returns
    -------
    Grouping
        Of more cells than needed the best are used: those not rejected by falling Ah, rejected ones only
        where the others do not suffice, with a finding that says so.

    Raises
    ------
    InputError
        Fewer cells than needed, a number outside its limits, or an Ah that is no number.

    Examples
    --------
    >>> cells = tuple(TestedCell(name=name, ah=ah) for name, ah in zip("abcd", (100, 99, 97, 96)))
    >>> answer = grouped(cells, series=2, parallel=2)
    >>> answer.listed.string_ah, answer.even.string_ah, answer.bound_ah
    (193.0, 196.0, 196.0)
    """
    _check_numbers(series, parallel, reject_below, milliohm_above)
    _check_cells(cells, series, parallel)
    middle_ah = median(cell.ah for cell in cells)
    if not middle_ah > 0.0:
        raise InputError("cells", f"The middle cell of a list must hold more than 0 Ah; got {middle_ah:g} Ah.")
    rejects = _rejects(cells, middle_ah, reject_below, milliohm_above)
    used, spares = _chosen(cells, rejects, series * parallel)
    ah = np.array([cell.ah for cell in used])
    order, swaps = evened(ah, series)
    listed, even = _arranged(used, in_list_order(len(used), series)), _arranged(used, order)
    lowest, highest = min(cell.ah for cell in cells), max(cell.ah for cell in cells)
    return Grouping(
        series=series,
        parallel=parallel,
        tested=len(cells),
        median_ah=middle_ah,
        lowest_ah=lowest,
        highest_ah=highest,
        spread_ah=highest - lowest,
        spread_share=(highest - lowest) / middle_ah,
        weakest=min(cells, key=lambda cell: cell.ah),
        median_milliohm=_median([cell.milliohm for cell in cells]),
        rejects=rejects,
        listed=listed,
        even=even,
        bound_ah=math.fsum(cell.ah for cell in used) / series,
        gained_ah=_beyond(even.string_ah, listed.string_ah),
        swaps=swaps,
        spares=spares,
        findings=_findings(used, rejects, even),
    )


def hours_to_balance(imbalance_ah: float, bleed_a: float, share_of_day: float = 1.0) -> float:
    """Return the hours on the clock until a bleeding balancer has evened an imbalance.

    Parameters
    ----------
    imbalance_ah : float
        Charge between the fullest and the emptiest group [Ah], >= 0. For a string put together at equal volts
        near empty it is at most the difference of what the groups hold.
    bleed_a : float
        Current taken from a high group [A].
    share_of_day : float
        Share of the day the volts stand high enough for it to work [-].

    Raises
    ------
    InputError
        If a number is outside its limits.

    Examples
    --------
    >>> hours_to_balance(2.0, 0.1)
    20.0
    >>> hours_to_balance(2.0, 0.1, share_of_day=1 / 12)
    240.0
    """
    if not (math.isfinite(imbalance_ah) and imbalance_ah >= 0.0):
        raise InputError("imbalance_ah", f"Imbalance must be a number from 0 Ah up; got {imbalance_ah:g}.")
    for name, meaning, value in (("bleed_a", BLEED, bleed_a), ("share_of_day", SHARE_OF_DAY, share_of_day)):
        _refuse(name, meaning, value)
    return imbalance_ah / bleed_a / share_of_day


def _refuse(name: str, meaning: Quantity, value: float) -> None:
    if (text := meaning.refuse(value)) is not None:
        raise InputError(name, text)


def _check_numbers(series: int, parallel: int, reject_below: float, milliohm_above: float) -> None:
    """Refuse a number outside its limits."""
    _refuse("series", SERIES, series)
    _refuse("parallel", PARALLEL, parallel)
    _refuse("reject_below", REJECT_BELOW, reject_below)
    _refuse("milliohm_above", MILLIOHM_ABOVE, milliohm_above)


def _check_cells(cells: tuple[TestedCell, ...], series: int, parallel: int) -> None:
    """Refuse too few cells, too many, and a measurement that is no number."""
    needed = series * parallel
    if len(cells) > MOST_CELLS:
        raise InputError("cells", f"A list may have at most {MOST_CELLS:,} cells; got {len(cells):,}.")
    if len(cells) < needed:
        raise InputError(
            "cells",
            f"{series} groups in series of {parallel} cells each need {needed} cells; "
            f"the list has {len(cells)}, {needed - len(cells)} too few.",
        )
    for cell in cells:
        for what, value, unit in (("Ah", cell.ah, "Ah"), ("Wh", cell.wh, "Wh"), ("resistance", cell.milliohm, "mΩ")):
            if value is not None and not (math.isfinite(value) and value >= 0.0):
                raise InputError("cells", f"The {what} of cell “{cell.name}” must be 0 {unit} or more; got {value:g}.")


def _median(values: list[float | None]) -> float | None:
    """Middle of those known, or None where none is."""
    known = [value for value in values if value is not None]
    return median(known) if known else None


def _mean_v(cell: TestedCell) -> float | None:
    return cell.wh / cell.ah if cell.wh is not None and cell.ah > 0.0 else None


def _rejects(
    cells: tuple[TestedCell, ...], middle_ah: float, reject_below: float, milliohm_above: float
) -> tuple[Reject, ...]:
    """Every cell with a reason to leave it out, in the order of the list."""
    middle_mohm, middle_v = _median([cell.milliohm for cell in cells]), _median([_mean_v(cell) for cell in cells])
    rejects = []
    for cell in cells:
        found = _low(cell, middle_ah, reject_below)
        found |= _resistive(cell, middle_mohm, milliohm_above) | _odd(cell, middle_v)
        if found:
            rejects.append(Reject(cell=cell, codes=tuple(found), reasons=tuple(found.values())))
    return tuple(rejects)


def _low(cell: TestedCell, middle_ah: float, reject_below: float) -> dict[str, str]:
    if cell.ah >= reject_below * middle_ah:
        return {}
    share = cell.ah / middle_ah
    return {
        "low": f"holds {cell.ah:.4g} Ah, {share * 100:.1f} % of the middle cell’s {middle_ah:.4g} Ah; the limit is "
        f"{reject_below:.3g} of it"
    }


def _resistive(cell: TestedCell, middle: float | None, above: float) -> dict[str, str]:
    if cell.milliohm is None or not middle or cell.milliohm <= above * middle:
        return {}
    return {
        "resistance": f"has {cell.milliohm:.4g} mΩ, {cell.milliohm / middle:.2f} times the middle cell’s "
        f"{middle:.4g} mΩ; the limit is {above:g} times"
    }


def _odd(cell: TestedCell, middle_v: float | None) -> dict[str, str]:
    mean_v = _mean_v(cell)
    if mean_v is None or not middle_v or abs(mean_v / middle_v - 1.0) <= ODD_VOLTS_SHARE:
        return {}
    return {
        "odd": f"its Wh over Ah is {mean_v:.3f} V and the middle cell’s {middle_v:.3f} V; it is another kind of cell, "
        "was drawn otherwise, or a number is wrong"
    }


def _chosen(
    cells: tuple[TestedCell, ...], rejects: tuple[Reject, ...], needed: int
) -> tuple[tuple[TestedCell, ...], tuple[TestedCell, ...]]:
    """Those used and those spare, both in the order of the list; rejected cells come last."""
    out = {id(reject.cell) for reject in rejects}
    best = sorted(range(len(cells)), key=lambda k: (id(cells[k]) in out, -cells[k].ah))
    used = set(best[:needed])
    return (
        tuple(cell for k, cell in enumerate(cells) if k in used),
        tuple(cell for k, cell in enumerate(cells) if k not in used),
    )


def _arranged(cells: tuple[TestedCell, ...], order: Order) -> Arrangement:
    rows = [tuple(cells[k] for k in row) for row in order.tolist()]
    sums = [math.fsum(cell.ah for cell in row) for row in rows]
    least = min(sums)
    groups = tuple(Group(cells=row, ah=ah, over_ah=_beyond(ah, least)) for row, ah in zip(rows, sums, strict=True))
    return Arrangement(groups=groups, string_ah=least, imbalance_ah=_beyond(max(sums), least))


def _beyond(ah: float, least_ah: float) -> float:
    """How much one sum is above another, or nothing where they differ by what floating point leaves."""
    return 0.0 if math.isclose(ah, least_ah, rel_tol=RESIDUE_SHARE) else ah - least_ah


def _findings(used: tuple[TestedCell, ...], rejects: tuple[Reject, ...], even: Arrangement) -> tuple[Finding, ...]:
    """What a reader should know of the cells that are used."""
    inside = {id(cell) for cell in used}
    forced = [reject.cell.name for reject in rejects if id(reject.cell) in inside]
    found = []
    if forced:
        text = (
            f"Without cells better left out there are too few: {', '.join(forced)} "
            f"{'is' if len(forced) == 1 else 'are'} used all the same. Replace before you build."
        )
        found.append(Finding(level="check", code="rejects_used", text=text))
    if even.string_ah <= 0.0:
        text = "One group holds nothing, so the string holds nothing."
        found.append(Finding(level="stop", code="dead_group", text=text))
    if all(cell.milliohm is None for cell in used):
        text = "No resistances in the list: a cell that warms up under load cannot be told from these numbers."
        found.append(Finding(level="note", code="no_resistance", text=text))
    return tuple(found)
