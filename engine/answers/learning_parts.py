"""What the household's log teaches, in the shape that page, JSON and tests read; and how sure it is.

Every interval is a 95 % one, but that of self-discharge (99 %). What chance does is found by drawing the days of the
log again (in weeks, because days near one another are alike); what the meters may all along be wrong by is added to it
as independent parts are, by the root of the sum of squares.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import hypot
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.house.household import Household, Supply
from engine.meter.hours import MeterHours
from engine.meter.log import MeterLog

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

METER_SHARE = 0.01
"""A house's meter may count so much too many or too few, 95 % (typical, from memory: class 1 meters, good shunts)."""
SHUNT_ZERO_A = 0.02
"""A shunt that was set to zero may still show so much with nothing flowing, 95 % (typical, from memory)."""
VOLTS_SHARE = 0.003
"""Volts of a pack may be read wrong by so much, 95 % (typical, from memory)."""
QUIET_W = 5.0
"""Below this nothing comes from the panels or a generator (judgement)."""
LEAST_DAYS = 14
"""Days that a number of the house needs behind it (judgement)."""
WEEK = 7
DRAWS = 400
SEED = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """Fields that a lesson would set.

    Attributes
    ----------
    part : str
        ``sun``, ``inverters``, ``banks`` or ``loads``.
    id : str
        Of which inverter or bank; of loads, the inverter whose loads they are; empty for the sun.
    fields : mapping
        Names and values; of loads ``profile`` and ``measured``, what one measured load takes their place with.
    """

    part: str
    id: str
    fields: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What a lesson means, before and after it is used."""

    label: str
    unit: str
    before: float
    after: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesson:
    """One number a log teaches; offered, never applied by itself.

    Attributes
    ----------
    id, title, text : str
        What it is, and what was found, in a sentence.
    value, low, high : float
        The number and its interval, in `unit`; a `unit` of ``share`` is a fraction.
    sure : float
        Probability that the interval holds the truth [-].
    days : int
        Days of the log it rests on.
    how : str
        How it was found.
    caveats : tuple of str
        What it takes for granted, and what it cannot tell.
    changes : tuple of Change
        What using it would set; empty where it is only told.
    now : float or None
        The number the household has now; None where it has none.
    effect : Effect or None
    """

    id: str
    title: str
    text: str
    value: float
    low: float
    high: float
    unit: str
    days: int
    how: str
    caveats: tuple[str, ...] = ()
    changes: tuple[Change, ...] = ()
    now: float | None = None
    effect: Effect | None = None
    sure: float = 0.95

    @property
    def fits(self) -> bool:
        """Whether the number the household has now lies within the interval."""
        return self.now is not None and self.low <= self.now <= self.high


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """A lesson that this log does not give, and what it would take."""

    id: str
    title: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """What the lessons are drawn from: the household, the supply the log is of, its rows and its hours.

    `day` is the day of each row since that of the first, in the house's standard time; (n,).
    """

    household: Household
    supply: Supply
    log: MeterLog
    hours: MeterHours
    day: NDArray[np.int64]

    def column(self, key: str) -> Floats | None:
        """Return the rows of a quantity, or None where the log does not know it."""
        values = self.log.values.get(key)
        return values if values is not None and np.isfinite(values).any() else None

    def quiet(self, key: str) -> Flags:
        """Return the rows in which nothing came from the panels or a generator; all, where the log has no such."""
        values = self.column(key)
        return np.ones(self.log.rows, dtype=bool) if values is None else np.abs(values) < QUIET_W


def pack_v(e: Evidence) -> float:
    """Return the usual volts of the pack: the middle of the log's, else what its charge ends at."""
    volts = e.column("bank_v")
    bank = e.supply.bank
    return bank.series * bank.charge_end_cell_v if volts is None else float(np.nanmedian(volts))


def draws(blocks: int, seed: int = SEED) -> Floats:
    """Return how often each block is drawn in each of `DRAWS` samples of as many blocks; (DRAWS, blocks)."""
    chance = np.random.default_rng(seed)
    return chance.multinomial(blocks, np.full(blocks, 1.0 / blocks), size=DRAWS).astype(np.float64)


def in_blocks(parts: Floats, length: int = WEEK) -> Floats:
    """Return the sums of so many rows in a row, (ceil(n / length), ...)."""
    starts = np.arange(0, parts.shape[0], length)
    return np.add.reduceat(parts, starts, axis=0)


def half_width(parts: Floats, figure: Callable[[Floats], float], length: int = WEEK) -> float:
    """Return half the 95 % interval that chance leaves of a figure, by drawing weeks of days again.

    Parameters
    ----------
    parts : (days, k) array
        Sums of each day, zero where a day is not known.
    figure : callable
        The figure, of the (k,) sums of all days.
    length : int
        Rows that are drawn together.
    """
    blocks = in_blocks(parts, length)
    found = np.array([figure(one) for one in draws(blocks.shape[0]) @ blocks])
    found = found[np.isfinite(found)]
    return float(1.96 * found.std(ddof=1)) if found.size > 1 else float("inf")


def together(*halves: float) -> float:
    """Return half the interval of independent parts together."""
    return float(hypot(*halves))
