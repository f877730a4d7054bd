"""Several banks on one DC bus: how they share its current, and which of them must not be there.

Volts are of whole packs, currents A with charging positive, resistances ohm. Current between banks is not wanted by
anybody: it follows from their volts. Adding ampere-hours is right for twins only.
Not modelled: the resistance of bars and cables between the banks, contact trouble, cells of one bank that differ.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf, sqrt
from operator import itemgetter
from typing import NamedTuple

from engine.house.bank import Bank, Board
from engine.house.inverter import Inverter

MOST_BANKS = 6
"""Banks that one bus may have here (choice)."""
_SETTLED_V = 1e-9
"""Rounding, not volts that differ."""
NEAR_V = 0.05
"""Two settings of one charger this close are the same setting (choice)."""


class Shared(NamedTuple):
    """Volts of a bus and the current of each bank on it."""

    volts: float
    amps: tuple[float, ...]


def shared_by_current(
    emf_v: Sequence[float],
    ohm: Sequence[float],
    low_a: Sequence[float],
    high_a: Sequence[float],
    bus_a: float,
    giving_ohm: Sequence[float] | None = None,
) -> Shared:
    """Divide a bus current among banks by their volts and resistances, each within its limits.

    Parameters
    ----------
    emf_v, ohm : sequences of float
        Open-circuit volts [V] and resistance [ohm] of each bank.
    low_a, high_a : sequences of float
        Most a bank may give (as a negative number) and take [A].
    bus_a : float
        Current into all banks together [A]; must lie between the sums of the limits.
    giving_ohm : sequence of float or None
        Resistance of each bank while it gives [ohm]; None where it is that of a bank that takes.

    Raises
    ------
    ArithmeticError
        If the limits do not allow it.

    References
    ----------
    J. Millman, A Useful Network Theorem, Proc. IRE 28 (1940), 413-417: volts of a bus fed by sources in parallel. A
    bank at a limit is a fixed current; between the volts at which one comes to a limit the theorem holds as it stands.

    Examples
    --------
    >>> by_current = shared_by_current([52.0, 50.0], [0.02, 0.03], [-300.0] * 2, [300.0] * 2, -50.0)
    >>> by_current.volts, [round(amps, 9) for amps in by_current.amps]
    (50.6, [-70.0, 20.0])
    """
    giving = ohm if giving_ohm is None else giving_ohm
    for span in _spans(emf_v, ohm, giving, low_a, high_a):
        if span.siemens > 0.0 and span.has(volts := (span.drive_a + bus_a) / span.siemens):
            return at_volts(emf_v, ohm, low_a, high_a, volts, giving)
    raise ArithmeticError(f"{bus_a:g} A cannot be divided among these banks within their limits.")


def shared_by_power(
    emf_v: Sequence[float],
    ohm: Sequence[float],
    low_a: Sequence[float],
    high_a: Sequence[float],
    bus_w: float,
    giving_ohm: Sequence[float] | None = None,
) -> Shared | None:
    """Divide a power into the bus (negative: out of it) among banks; None where the banks cannot give or take it.

    A power out of the bus may be met at several volts. Taken are the highest: a load comes to them from rest.

    Parameters
    ----------
    emf_v, ohm, low_a, high_a, giving_ohm : sequences of float
        As for `shared_by_current`.
    bus_w : float
        Power into all banks together [W].

    Examples
    --------
    >>> by_power = shared_by_power([52.0, 50.0], [0.02, 0.03], [-300.0] * 2, [300.0] * 2, -50.0 * 50.6)
    >>> [round(amps, 9) for amps in by_power.amps]
    [-70.0, 20.0]
    """
    giving = ohm if giving_ohm is None else giving_ohm
    for span in _spans(emf_v, ohm, giving, low_a, high_a):
        volts = span.volts_at(bus_w)
        if volts is not None and span.has(volts):
            return at_volts(emf_v, ohm, low_a, high_a, volts, giving)
    return None


def at_volts(
    emf_v: Sequence[float],
    ohm: Sequence[float],
    low_a: Sequence[float],
    high_a: Sequence[float],
    volts: float,
    giving_ohm: Sequence[float] | None = None,
) -> Shared:
    """Return the currents of banks on a bus that is held at some volts."""
    giving = ohm if giving_ohm is None else giving_ohm
    amps = tuple(
        min(max((volts - e) / (out if volts < e else r), low), high)
        for e, r, out, low, high in zip(emf_v, ohm, giving, low_a, high_a, strict=True)
    )
    return Shared(volts, amps)


class _Span(NamedTuple):
    """Volts between which no bank comes to a limit or turns from taking to giving.

    There the bus takes `siemens` times its volts less `drive_a`.
    """

    low_v: float
    high_v: float
    siemens: float
    drive_a: float

    def has(self, volts: float) -> bool:
        return self.low_v - _SETTLED_V <= volts <= self.high_v + _SETTLED_V

    def volts_at(self, bus_w: float) -> float | None:
        """Volts at which the bus takes a power, the higher of two."""
        if self.siemens == 0.0:
            return -bus_w / self.drive_a if self.drive_a < 0.0 else None
        under_root = self.drive_a * self.drive_a + 4.0 * self.siemens * bus_w
        return None if under_root < 0.0 else (self.drive_a + sqrt(under_root)) / (2.0 * self.siemens)


def _spans(
    emf_v: Sequence[float],
    ohm: Sequence[float],
    giving_ohm: Sequence[float],
    low_a: Sequence[float],
    high_a: Sequence[float],
) -> Iterator[_Span]:
    """From the volts at which every bank takes the most it may down to those at which each gives the most it may."""
    edges: list[tuple[float, int, float, float]] = []
    free, siemens, drive_a = 0, 0.0, 0.0
    for e, r, out, low, high in zip(emf_v, ohm, giving_ohm, low_a, high_a, strict=True):
        if high == inf:
            free, siemens, drive_a = free + 1, siemens + 1.0 / r, drive_a + e / r
        else:
            drive_a -= high
            edges.append((e + r * high, 1, 1.0 / r, e / r + high))
        if out != r:
            edges.append((e, 0, 1.0 / out - 1.0 / r, e / out - e / r))
        edges.append((e + out * low, -1, -1.0 / out, -e / out - low))
    edges.sort(key=itemgetter(0), reverse=True)
    high_v = inf if free else edges[0][0]
    for low_v, more, more_siemens, more_a in edges:
        yield _Span(low_v, high_v, siemens if free else 0.0, drive_a)
        high_v, free = low_v, free + more
        siemens, drive_a = siemens + more_siemens, drive_a + more_a


@dataclass(frozen=True, slots=True, kw_only=True)
class Clash:
    """Why some banks may not share a bus: a short code and the sentence."""

    code: str
    text: str


def are_unlike(banks: Sequence[Bank]) -> bool:
    """Whether banks differ in chemistry or in the number of cells in series."""
    first = banks[0]
    return any(bank.chemistry != first.chemistry or bank.series != first.series for bank in banks[1:])


def lowest_v(bank: Bank) -> float:
    """Lowest pack volts of a bank: those of its cells, or its board's if these are higher [V]."""
    cell_v = bank.cell.v_low if bank.board is None else max(bank.cell.v_low, bank.board.cell_low_v)
    return cell_v * bank.series


def highest_v(bank: Bank) -> float:
    """Highest pack volts of a bank: those of its cells, or its board's if these are lower [V]."""
    cell_v = bank.cell.v_max if bank.board is None else min(bank.cell.v_max, bank.board.cell_high_v)
    return cell_v * bank.series


def setting_v(bank: Bank) -> float:
    """Pack volts a bank's charge is set to end at [V]."""
    return bank.charge_end_cell_v * bank.series


def common_end_v(banks: Sequence[Bank]) -> float:
    """Volts a bus is charged to: the lowest of its banks' settings, as one charger has one setting [V]."""
    return min(setting_v(bank) for bank in banks)


def overlap_v(banks: Sequence[Bank]) -> tuple[float, float]:
    """Lowest and highest pack volts that every bank allows [V]; the first is above the second where there are none."""
    return max(lowest_v(bank) for bank in banks), min(highest_v(bank) for bank in banks)


def clashes(banks: Sequence[Bank], inverter: Inverter) -> tuple[Clash, ...]:
    """Return why unlike banks may not share this inverter's bus; empty for twins and where all four conditions hold.

    The conditions: the highest bus volts within every bank's maximum; the bus cut-off at or above every bank's minimum;
    a fuse, a disconnect and a protection board of its own for each; each board refusing a charge below its own cells'
    lowest temperature. (Judgement, from common warnings against unlike banks on one bus; no standard at hand.)
    """
    if len(banks) < 2 or not are_unlike(banks):
        return ()
    highest = max(banks, key=setting_v)
    found = []
    for bank in banks:
        if setting_v(highest) > highest_v(bank) + NEAR_V:
            found.append(
                Clash(
                    code="bus-above-bank",
                    text=f"{highest.name} is charged to {setting_v(highest):.1f} V and {bank.name} may stand "
                    f"{highest_v(bank):.1f} V at most",
                )
            )
        if inverter.dc_min_v < bank.cell.v_low * bank.series - NEAR_V:
            found.append(
                Clash(
                    code="bus-under-bank",
                    text=f"{inverter.name} cuts off at {inverter.dc_min_v:g} V and {bank.name} must not go under "
                    f"{bank.cell.v_low * bank.series:.1f} V",
                )
            )
        lacking = [
            name
            for name, there in (
                ("fuse", bank.own_fuse),
                ("disconnect", bank.own_disconnect),
                ("protection board", bank.board is not None),
            )
            if not there
        ]
        if lacking:
            found.append(Clash(code="bus-unguarded", text=f"{bank.name} has no {' or '.join(lacking)} of its own"))
        elif bank.board is not None and bank.cell.needs_board:
            found += _cold_clash(bank, bank.board)
    return tuple(found)


def _cold_clash(bank: Bank, board: Board) -> Iterator[Clash]:
    """A board that does not keep a charge out of cells that are too cold for it."""
    stops_c, least_c = board.charge_min_c, bank.cell.charge_min_c
    if stops_c is not None and stops_c >= least_c:
        return
    lets_in = "has no cold cut-off entered" if stops_c is None else f"lets a charge in down to {stops_c:g} °C"
    yield Clash(code="bus-cold", text=f"the board of {bank.name} {lets_in}, its cells take none below {least_c:g} °C")


def clash_sentence(banks: Sequence[Bank], inverter: Inverter) -> str:
    """Say why banks may not share a bus, with the volts they have in common; empty where they may."""
    found = clashes(banks, inverter)
    if not found:
        return ""
    names = " and ".join(bank.name for bank in banks)
    low, high = overlap_v(banks)
    common = f"Only {low:.1f} to {high:.1f} V suit them all" if low < high else "No volts suit them all"
    reasons = "; ".join(clash.text for clash in found)
    return (
        f"{names} may not share the DC bus of {inverter.name}: {reasons}. {common}. Give each bank its own inverter, "
        "or list all but one as not joined."
    )
