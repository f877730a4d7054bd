"""Panels against bank: dark spells and load unserved of every pair, and the lines of equal risk between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.answers.risks import Risk
from engine.balance.equivalent import Equivalent
from engine.balance.leaking import Leaking

Floats = NDArray[np.float64]

TIMES = tuple(step / 10 for step in range(1, 41))
"""Panels of the map, in times of the household's own."""
OWN = TIMES.index(1.0)
TWICE = TIMES.index(2.0)
BANKS = 60
_ROOM = 1.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """The smallest bank of each column for one risk [usable kWh]; None where no bank that can be built is enough."""

    risk: Risk
    bank_kwh: tuple[float | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Map:
    """Panels against bank.

    Attributes
    ----------
    times, kwp : tuple
        Panels of each column, in times of the own and in kWp.
    bank_kwh : tuple
        Usable kWh of each row.
    dark_spells, short_share : tuple of tuples
        By column, then by row: dark spells over all years, share of the load unserved.
    lines : tuple of Line
        One for each risk, the rarest first.
    refilled_from : int
        First column whose panels fill any bank again within a year; before it no line is drawn, because one dark
        spell there lasts for years. As many as there are columns if none does.
    """

    times: tuple[float, ...]
    kwp: tuple[float, ...]
    bank_kwh: tuple[float, ...]
    dark_spells: tuple[tuple[int, ...], ...]
    short_share: tuple[tuple[float, ...], ...]
    lines: tuple[Line, ...]
    refilled_from: int


def refilled_from(found: Equivalent) -> int:
    """Return the first column whose panels fill any bank again within a year."""
    return next((column for column, times in enumerate(TIMES) if found.refills(times)), len(TIMES))


def columns_of(found: Equivalent, near: Risk) -> tuple[Leaking, ...]:
    """Return the cycles of each number of panels; their leak is exact near the bank for one risk."""
    spells = near.spells(found.winters.years.size)
    return tuple(found.leaking(times, spells) for times in TIMES)


def map_of(
    found: Equivalent,
    columns: tuple[Leaking, ...],
    allowed: tuple[Risk, ...],
    own_kwp: float,
    own_kwh: float,
    most_kwh: float,
) -> Map:
    """Return the map of some columns.

    Parameters
    ----------
    own_kwp, own_kwh : float
        The household's own panels [kWp] and bank [usable kWh].
    most_kwh : float
        The largest bank that can be built [usable kWh].
    """
    years, load_kwh = found.winters.years.size, found.winters.load_kwh
    first = refilled_from(found)
    lines = tuple(
        Line(
            risk=risk,
            bank_kwh=(None,) * first
            + tuple(within(risk.bank_kwh(one, years, load_kwh), most_kwh) for one in columns[first:]),
        )
        for risk in allowed
    )
    banks = np.linspace(0.0, _top_kwh(lines, own_kwh), BANKS + 1)[1:]
    return Map(
        times=TIMES,
        kwp=tuple(own_kwp * times for times in TIMES),
        bank_kwh=tuple(banks.tolist()),
        dark_spells=tuple(tuple(one.dark_spells(banks).tolist()) for one in columns),
        short_share=tuple(tuple(_never_rising(one.short_kwh(banks) / load_kwh).tolist()) for one in columns),
        lines=lines,
        refilled_from=first,
    )


def _never_rising(short_share: Floats) -> Floats:
    """No larger bank leaves more unserved: where its leak as a steady load says so, it would stand empty."""
    return np.minimum.accumulate(short_share)


def within(bank_kwh: float, most_kwh: float) -> float | None:
    """Return a size, or None where it is more than can be built."""
    return bank_kwh if bank_kwh <= most_kwh else None


def _top_kwh(lines: tuple[Line, ...], own_kwh: float) -> float:
    """The largest bank of the map: the own one twice over, with room for a rare risk at twice the panels."""
    rare, often = lines[min(1, len(lines) - 1)].bank_kwh[TWICE], lines[-2].bank_kwh[OWN]
    return _ROOM * max(2.0 * own_kwh, rare or 0.0, min(often or 0.0, 10.0 * own_kwh))
