"""How deep dull spells draw a bank down over many years: every bank size at once, exactly, without stepping through.

Net energy is kWh an hour at the battery side: what flows into it, or out of it where negative. The drawdown cycles of
its running sum, each spell nested in a longer one counted once, hold the answer for every size of a bank that starts
full, gives and takes at one efficiency each, and meets no limit that grows with its size:

    unserved(E) = discharge efficiency x sum of (depth - E) over the cycles deeper than E
    dark spells(E) = number of cycles deeper than E, a full bank between them

Not modelled, so a preview for a real cell: efficiency, acceptance and current limits that go by its charge, its
self-discharge, a cut-off that stays off; `trajectory` has them.

References
----------
Rainflow counting of ASTM E1049; the deepest cycle is the mass curve of W. Rippl, The capacity of storage reservoirs
for water supply, Proc. Inst. Civil Engineers 71 (1883). Both from memory; checked against stepping through.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.quantities import WH_PER_KWH

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_FEW = 32
"""Cycles found in one sweep below which a walk with a stack goes on (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Constant:
    """A bank as the spectrum takes it: one efficiency each way [-], 0 to 1."""

    charge_efficiency: float = 1.0
    discharge_efficiency: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spectrum:
    """The drawdown cycles of a walk, deepest first.

    Attributes
    ----------
    depth_kwh : (m,) array
        Depth of each below the charge it started from [kWh, battery side], > 0.
    lowest_h : (m,) array
        Hours from the start of the walk to the bottom of each.
    deeper_kwh : (m + 1,) array
        Sum of the first k depths, from 0 [kWh].
    """

    depth_kwh: Floats
    lowest_h: Whole
    deeper_kwh: Floats

    def dark_spells(self, bank_kwh: Floats | float) -> Whole:
        """Return how often banks of these sizes [kWh] run empty, a full bank between two times."""
        return np.searchsorted(-self.depth_kwh, -np.asarray(bank_kwh, dtype=np.float64), side="left")

    def short_kwh(self, bank_kwh: Floats | float) -> Floats:
        """Return what banks of these sizes fail to give [kWh, battery side]: what is unserved over the efficiency."""
        spells = self.dark_spells(bank_kwh)
        return np.asarray(self.deeper_kwh[spells] - spells * np.asarray(bank_kwh))

    def bank_for_spells(self, spells: int) -> float:
        """Return the smallest bank [kWh] that runs empty at most so many times; 0 where the sun is never so short."""
        return float(self.depth_kwh[spells]) if spells < self.depth_kwh.size else 0.0

    def bank_for_short(self, short_kwh: float) -> float:
        """Return the smallest bank [kWh] that fails to give at most `short_kwh` [kWh, battery side, >= 0]."""
        at_depths = self.short_kwh(self.depth_kwh)
        over = int(np.searchsorted(at_depths, short_kwh, side="right"))
        return max((float(self.deeper_kwh[over]) - short_kwh) / over, 0.0) if over else 0.0


def net_kwh(sun_w: Floats, drawn_w: Floats, bank: Constant) -> Floats:
    """Return the net energy of each hour at the battery side [kWh].

    Parameters
    ----------
    sun_w, drawn_w : (n,) arrays
        Mean power at the bus of each hour [W]: after the charger and its limit; drawn by the loads and the inverter,
        up to what it is rated for.

    Notes
    -----
    With efficiencies up to 1 the lesser of what would go in and what would come out is the right one for either sign.
    """
    over_w = sun_w - drawn_w
    into_kwh = over_w * (bank.charge_efficiency / WH_PER_KWH)
    over_w /= bank.discharge_efficiency * WH_PER_KWH
    return np.minimum(into_kwh, over_w, out=over_w)


def spectrum(net: Floats) -> Spectrum:
    """Return the drawdown cycles of the running sum of `net`, (n,) [kWh an hour], from a full bank.

    Raises
    ------
    ValueError
        If a value is not a finite number.

    Examples
    --------
    >>> found = spectrum(np.array([-4.0, 3.0, -5.0, 9.0, -2.0]))
    >>> found.depth_kwh.tolist(), found.lowest_h.tolist()
    ([6.0, 3.0, 2.0], [3, 1, 5])
    >>> found.short_kwh(2.5).item(), found.dark_spells(2.5).item(), found.bank_for_short(4.0)
    (4.0, 2, 2.5)
    """
    level = np.zeros(net.size + 1)
    np.cumsum(net, out=level[1:])
    if not np.isfinite(level[-1]):
        raise ValueError("The net energy of every hour must be a finite number.")
    at, cycles = _without_cycles(level, _turning(net))
    falls = np.flatnonzero(np.diff(level[at]) < 0.0)
    cycles.append((level[at[falls]] - level[at[falls + 1]], at[falls + 1]))
    depth, lowest = (np.concatenate(parts) for parts in zip(*cycles, strict=True))
    order = np.argsort(-depth, kind="stable")[: np.count_nonzero(depth)]
    depth = depth[order]
    return Spectrum(depth_kwh=depth, lowest_h=lowest[order], deeper_kwh=np.concatenate(([0.0], np.cumsum(depth))))


def _turning(net: Floats) -> Whole:
    """Where the running sum turns, its first and last value included; an hour of nothing counts as falling."""
    up = net > 0.0
    turns = np.flatnonzero(up[1:] != up[:-1]) + 1
    return np.concatenate(([0], turns, [net.size]))


def _without_cycles(level: Floats, at: Whole) -> tuple[Whole, list[tuple[Floats, Whole]]]:
    """Take out every cycle: turning points that no longer hold one, and the depth and bottom of those taken out."""
    cycles: list[tuple[Floats, Whole]] = []
    while True:
        size = np.abs(np.diff(level[at]))
        inner = np.zeros(size.size, dtype=bool)
        inner[1:-1] = (size[1:-1] <= size[:-2]) & (size[1:-1] <= size[2:])
        inner[1:] &= ~inner[:-1]
        first = np.flatnonzero(inner)
        if first.size < _FEW:
            return _by_stack(level, at, cycles)
        cycles.append((size[first], _lower(level, at[first], at[first + 1])))
        kept = np.ones(at.size, dtype=bool)
        kept[first] = kept[first + 1] = False
        at = at[kept]


def _lower(level: Floats, one: Whole, other: Whole) -> Whole:
    return np.where(level[one] < level[other], one, other)


def _by_stack(level: Floats, at: Whole, cycles: list[tuple[Floats, Whole]]) -> tuple[Whole, list[tuple[Floats, Whole]]]:
    """Take out what is left of the cycles, one turning point after the other."""
    kept: list[int] = []
    depths: list[float] = []
    lowest: list[int] = []
    value = level[at].tolist()
    for index in range(len(value)):
        kept.append(index)
        while len(kept) >= 4:
            a, b, c, d = (value[one] for one in kept[-4:])
            inside = abs(c - b)
            if inside > abs(b - a) or inside > abs(d - c):
                break
            depths.append(inside)
            lowest.append(kept[-3] if b < c else kept[-2])
            del kept[-3:-1]
    cycles.append((np.array(depths), at[np.array(lowest, dtype=np.int64)]))
    return at[np.array(kept, dtype=np.int64)], cycles


@dataclass(frozen=True, slots=True, kw_only=True)
class Outing:
    """A time away from full, however large the bank: hours from the start of the walk, and how deep it went [kWh].

    At `lowest_h` it is deepest; `end_h` is where the bank would be full again, or the end of the walk.
    """

    begin_h: int
    lowest_h: int
    end_h: int
    depth_kwh: float


def longest_away_h(net: Floats) -> int:
    """Return the longest run of hours that end with a bank without a bottom short of full [h].

    Examples
    --------
    >>> longest_away_h(np.array([-4.0, 3.0, -5.0, 9.0, -2.0]))
    3
    """
    edges = _edges(_below(net))
    return int((edges[1::2] - edges[::2]).max(initial=0))


def outings(net: Floats) -> tuple[Outing, ...]:
    """Return every time away from full of a bank without a bottom, in order; smaller banks are full there too.

    Examples
    --------
    >>> [(one.begin_h, one.lowest_h, one.end_h) for one in outings(np.array([-4.0, 3.0, -5.0, 9.0, -2.0]))]
    [(0, 3, 4), (4, 5, 5)]
    """
    below = _below(net)
    edges = _edges(below)
    return tuple(
        _outing(below, begin, end) for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    )


def _below(net: Floats) -> Floats:
    """How far a bank without a bottom is below full at each hour's edge [kWh], (n + 1,)."""
    level = np.zeros(net.size + 1)
    np.cumsum(net, out=level[1:])
    return np.asarray(np.maximum.accumulate(level) - level)


def _edges(below: Floats) -> Whole:
    """Where it leaves full and comes back, in turn."""
    away = np.concatenate(([False], below > 0.0, [False]))
    return np.flatnonzero(away[1:] != away[:-1])


def _outing(below: Floats, begin: int, end: int) -> Outing:
    lowest = begin + int(np.argmax(below[begin:end]))
    return Outing(begin_h=begin - 1, lowest_h=lowest, end_h=min(end, below.size - 1), depth_kwh=float(below[lowest]))
