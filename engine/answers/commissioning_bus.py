"""What one charger and one inverter are set to for several banks on their bus: never beyond what any bank bears.

Volts are of the whole bus, currents of all banks together [A].
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from engine.answers.charging import Charging
from engine.answers.charging_current import current_limits
from engine.answers.commissioning_parts import LEAST_MIN, ToSet, volts_rows
from engine.house.bank import Bank
from engine.house.bus import common_end_v, setting_v
from engine.house.household import Supply

OF_ALL = {
    "float": (min, "the lowest that any of them asks for"),
    "again": (min, "the lowest of theirs, so that none is charged again before its time"),
    "reserve": (max, "the highest of theirs, each read as if it carried the house alone"),
    "cutoff": (max, "the highest of theirs, so that none is emptied too far"),
    "restart": (max, "the highest of theirs"),
}
"""Which of the banks' own volts holds for all, and why (judgement: the careful end of each)."""


def bus_rows(supply: Supply, answers: Sequence[Charging]) -> tuple[ToSet, ...]:
    """List what is set once for all banks of a bus.

    Parameters
    ----------
    answers : sequence of Charging
        Each bank as charged to the bus's volts, in the order of the banks.
    """
    banks = supply.banks
    found = [{row.key: row for row in volts_rows(answer)} for answer in answers]
    return (
        _end(banks, found),
        *_hold(banks, answers, found),
        *(_of_all(key, banks, found) for key in OF_ALL),
        _current(supply),
    )


def own_end(bank: Bank, end_v: float) -> ToSet:
    """What the bus's end of charge [V] comes to for one bank's cells."""
    alone = f"alone it would be charged to {setting_v(bank):.1f} V" if setting_v(bank) > end_v else "as set for it"
    return ToSet(
        key="bus-end",
        label="Charged on this bus to",
        why=f"the charger’s one setting for all banks; {alone}",
        cell_v=end_v / bank.series,
        pack_v=end_v,
    )


def _each(banks: Sequence[Bank], found: Sequence[Mapping[str, ToSet]], key: str) -> Iterator[tuple[Bank, ToSet]]:
    return ((bank, rows[key]) for bank, rows in zip(banks, found, strict=True) if key in rows)


def _end(banks: Sequence[Bank], found: Sequence[Mapping[str, ToSet]]) -> ToSet:
    theirs = ", ".join(f"{bank.name} {setting_v(bank):.1f} V" for bank in banks)
    first = found[0]["end"]
    return ToSet(
        key="end",
        label=first.label,
        why=f"one charger has one setting, the lowest of what its banks are set to: {theirs}",
        pack_v=common_end_v(banks),
    )


def _hold(banks: Sequence[Bank], answers: Sequence[Charging], found: Sequence[Mapping[str, ToSet]]) -> Iterator[ToSet]:
    without = [bank.name for bank in banks if not bank.hold]
    minutes = min(answer.hold_worth.minutes if answer.hold else 0.0 for answer in answers)
    if without:
        why = f"none: {' and '.join(without)} {'is' if len(without) == 1 else 'are'} not to be held"
        yield ToSet(key="hold", label="Hold", why=why, value=0.0, unit="min")
        return
    why = "the shortest of theirs; the tail current ends it sooner"
    if minutes < LEAST_MIN:
        minutes, why = 0.0, "none: one of them is below its tail already at this charge current"
    yield ToSet(key="hold", label="Hold, at most", why=why, value=minutes, unit="min")
    tails = [row.value for _, row in _each(banks, found, "tail") if row.value is not None]
    yield ToSet(
        key="tail",
        label="Tail current that ends the hold",
        why="theirs together, measured on the bus with the loads’ share taken off",
        value=sum(tails),
        unit="A",
    )


def _of_all(key: str, banks: Sequence[Bank], found: Sequence[Mapping[str, ToSet]]) -> ToSet:
    theirs = list(_each(banks, found, key))
    label, now_v = theirs[0][1].label, theirs[0][1].now
    unset = next(((bank, row) for bank, row in theirs if row.pack_v is None), None)
    if unset is not None:
        return ToSet(key=key, label=label, why=f"by {unset[0].name}: {unset[1].why}", now=now_v)
    rule, why = OF_ALL[key]
    volts = rule(row.pack_v for _, row in theirs if row.pack_v is not None)
    said = ", ".join(f"{bank.name} {row.pack_v:.1f} V" for bank, row in theirs)
    return ToSet(key=key, label=label, why=f"{why}: {said}", pack_v=volts, now=now_v)


def _current(supply: Supply) -> ToSet:
    charge_a, name = min((min(current_limits(bank, None))[0], bank.name) for bank in supply.banks)
    return ToSet(
        key="charge-current",
        label="Highest charge current, all chargers together",
        why=f"what {name} takes alone: the others may be full, or their boards open, and then it takes all",
        value=charge_a,
        unit="A",
        now=supply.inverter.charge_limit_a,
    )
