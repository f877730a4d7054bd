"""Whether the charges and discharges of a bench test were whole, and whether their ampere-hours make sense.

Volts of one cell, amperes, ampere-hours. Not modelled: what the person at the bench meant; a charge stopped at a
voltage on purpose looks like one that was cut short, so that alone is only a note.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from engine.bench.cycles import Cycle
from engine.text.finding import Finding

_LEAST_BACK = 0.9
_LEAST_LABEL, _MOST_LABEL = 0.6, 1.1
_LEAST_C, _MOST_C = 0.01, 3.0
_DIGITS = "{:.3g}".format


def judged(
    cycles: tuple[Cycle, ...], label_ah: float | None, gap_cycles: frozenset[int]
) -> tuple[tuple[Cycle, ...], tuple[Finding, ...]]:
    """Return the cycles with their flags, and one finding for each kind of fault.

    Parameters
    ----------
    cycles : tuple of Cycle
    label_ah : float or None
        What the cell's label says [Ah].
    gap_cycles : frozenset of int
        Numbers of the cycles with a gap while current flowed.
    """
    of_cycle = [(cycle, tuple(_faults(cycle, cycles, label_ah))) for cycle in cycles]
    flagged = []
    for cycle, faults in of_cycle:
        codes = [fault.code for fault in faults] + ["gap"] * (cycle.number in gap_cycles)
        flagged.append(replace(cycle, flags=tuple(dict.fromkeys(codes))))
    findings = _gathered([(cycle.number, fault) for cycle, faults in of_cycle for fault in faults])
    return tuple(flagged), findings + tuple(_against_label(cycles, label_ah))


def _gathered(faults: list[tuple[int, Finding]]) -> tuple[Finding, ...]:
    """Keep the first finding of each code and level, and say in which other cycles it was found."""
    numbers: dict[tuple[str, str], list[int]] = {}
    firsts: dict[tuple[str, str], Finding] = {}
    for number, fault in faults:
        key = (fault.level, fault.code)
        firsts.setdefault(key, fault)
        numbers.setdefault(key, []).append(number)
    return tuple(replace(fault, text=fault.text + _others(numbers[key][1:])) for key, fault in firsts.items())


def _others(numbers: list[int]) -> str:
    if not numbers:
        return ""
    listed = ", ".join(str(n) for n in numbers[:8]) + (" and more" if len(numbers) > 8 else "")
    return f" The same in cycle {listed}."


def _faults(cycle: Cycle, cycles: tuple[Cycle, ...], label_ah: float | None) -> Iterator[Finding]:
    """Yield what is wrong with one cycle."""
    cut_short = tuple(_charge_end(cycle, cycles, label_ah))
    yield from cut_short
    yield from _charge_start(cycle)
    yield from _discharge(cycle, any(fault.level == "check" for fault in cut_short))
    yield from _balance(cycle)


def _charge_end(cycle: Cycle, cycles: tuple[Cycle, ...], label_ah: float | None) -> Iterator[Finding]:
    """Say how a charge ended if not at its tail current."""
    if cycle.charge_ah is None or cycle.charge_complete:
        return
    name, end_v = f"The charge of cycle {cycle.number}", f"{cycle.charge_end_v or 0:.3f} V"
    if cycle.tail_a is not None:
        text = (
            f"{name} was held at {end_v} but ended with {_DIGITS(cycle.tail_a)} A still flowing, "
            f"of {_DIGITS(cycle.charge_a or 0)} A: it was not finished."
        )
        yield Finding(level="check", code="incomplete_charge", text=text)
        return
    most_ah = max(other.charge_ah or 0.0 for other in cycles)
    if label_ah and cycle.charge_ah == most_ah < _LEAST_LABEL * label_ah:
        text = (
            f"{name} ended at {end_v}, neither held nor at a tail current, after {_DIGITS(cycle.charge_ah)} Ah of the "
            f"{_DIGITS(label_ah)} Ah on the label: it looks cut short, or began with much in the cell."
        )
        yield Finding(level="check", code="incomplete_charge", text=text)
        return
    text = (
        f"{name} ended at {end_v} without a hold: what came out after it belongs to that charge end, "
        "not to a full cell."
    )
    yield Finding(level="note", code="charge_without_hold", text=text)


def _charge_start(cycle: Cycle) -> Iterator[Finding]:
    """Say whether a charge began with something in the cell."""
    if cycle.charge_ah is None or cycle.starts_empty:
        return
    name = f"The charge of cycle {cycle.number}"
    if cycle.excess_ah:
        text = (
            f"{name} began with something in the cell: {_DIGITS(cycle.discharge_ah or 0)} Ah came out of "
            f"{_DIGITS(cycle.charge_ah)} Ah put in. Its curve does not start at empty."
        )
        yield Finding(level="check", code="charge_started_part_full", text=text)
        return
    text = f"{name} does not follow a discharge to empty in this log: if the cell was not empty, its curve is shifted."
    yield Finding(level="note", code="charge_start_unknown", text=text)


def _discharge(cycle: Cycle, after_part_charge: bool) -> Iterator[Finding]:
    """Say whether a discharge went from full to empty."""
    if cycle.discharge_ah is None:
        return
    name = f"The discharge of cycle {cycle.number}"
    if not cycle.ends_empty:
        text = (
            f"{name} ended at {cycle.discharge_end_v or 0:.3f} V with no sign of empty: at its end the volts fell no "
            "faster than before. Its ampere-hours are not the capacity."
        )
        yield Finding(level="check", code="incomplete_discharge", text=text)
    if cycle.charge_ah is None:
        text = f"{name} has no charge before it in this log: it is the capacity only if the cell was full."
        yield Finding(level="note", code="charge_before_unknown", text=text)
    elif after_part_charge:
        text = f"{name} follows a charge that was not finished: its ampere-hours are not the capacity."
        yield Finding(level="check", code="charge_before_not_complete", text=text)


def _balance(cycle: Cycle) -> Iterator[Finding]:
    """Ampere-hours out against in."""
    share = cycle.coulombic_efficiency
    if share is None or (share >= _LEAST_BACK and not cycle.excess_ah):
        return
    text = (
        f"In cycle {cycle.number} {100 * share:.0f} % of the ampere-hours put in came out; from 90 to 102 % is "
        "believable for a whole cycle."
    )
    yield Finding(level="check", code="ah_balance", text=text)


def _against_label(cycles: tuple[Cycle, ...], label_ah: float | None) -> Iterator[Finding]:
    """Ampere-hours and amperes against the label."""
    if not label_ah:
        return
    best_ah = max((c.discharge_ah for c in cycles if c.discharge_ah), default=0.0)
    if best_ah and not _LEAST_LABEL <= best_ah / label_ah <= _MOST_LABEL:
        text = (
            f"The most that came out is {_DIGITS(best_ah)} Ah, {100 * best_ah / label_ah:.0f} % of the "
            f"{_DIGITS(label_ah)} Ah on the label. From 60 to 110 % is believable: check the unit of the amperes, the "
            "label, and whether the discharge was whole."
        )
        yield Finding(level="check", code="capacity_against_label", text=text)
    rates = [a / label_ah for c in cycles for a in (c.charge_a, c.discharge_a) if a]
    odd = [rate for rate in rates if not _LEAST_C <= rate <= _MOST_C]
    if odd:
        text = (
            f"A current of {_DIGITS(odd[0] * label_ah)} A is {_DIGITS(odd[0])} times the ampere-hours on the label; "
            "tests run at 0.01 to 3 times. Check whether the column is in A or mA."
        )
        yield Finding(level="check", code="current_unlikely", text=text)
