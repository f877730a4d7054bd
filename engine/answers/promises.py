"""One answer with a time as it was given, and how it is scored against what came.

A promise is the likely charge of a bank hour by hour and its range, as the model gave it, before any widening. What
came of it is one thing: a charge that was seen, the moment at which the bank was at its floor, or that it was not yet.
Times are hours from the question, charges shares of tested Ah. Not known here: what somebody did in between that the
question did not say; who knows of it leaves the answer out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from math import log
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.answers.autonomy import BankAutonomy
from engine.answers.widening import middle_soc
from engine.errors import InputError

Floats = NDArray[np.float64]

KEPT_H = 48
"""Hours of charge that are kept of an answer, one number an hour (choice)."""
FIRST_H, LAST_H = 3.0, 48.0
"""Only what comes between tells: sooner the range is no wider than a reading, later it is nearly all (choice)."""
BEST_H = 24.0
"""Of several charges that are known the one nearest to this scores an answer (choice): a night tells of the loads only,
a whole day of the sun as well."""
READ_SOC = 0.01
"""No further off than this is within any range: charges are read in whole percents, half a one each (judgement)."""
READ_H = 0.5
"""The same of the time at which a bank was empty (judgement)."""
MOST_RATIO = 100.0
"""An error of more widths than this says no more (choice): no range is ever made so wide."""
MARK_H = (12.0, 24.0, 48.0)
"""Hours of the marks that are listed, beside the next dawn (choice)."""
KINDS = ("charge", "ended", "lasted")


@dataclass(frozen=True, slots=True, kw_only=True)
class Promise:
    """What an answer promised of one bank.

    Attributes
    ----------
    hours, low_hours, high_hours : float or None
        Until its floor [h]; None where that is past the days asked about.
    floor_soc : float
        Charge at which it ends [-].
    low_soc, likely_soc, high_soc : tuple of float
        Charge after 0, 1, 2, ... hours [-].
    widened : float
        How many times as wide the range was shown.
    """

    hours: float | None
    low_hours: float | None
    high_hours: float | None
    floor_soc: float
    low_soc: tuple[float, ...]
    likely_soc: tuple[float, ...]
    high_soc: tuple[float, ...]
    widened: float = 1.0

    @property
    def told_h(self) -> float:
        """Until when the charge is promised [h]: until all of the range has ended."""
        last_h = float(len(self.likely_soc) - 1)
        return last_h if self.high_hours is None else min(last_h, self.high_hours)


@dataclass(frozen=True, slots=True, kw_only=True)
class Came:
    """What came of it after `after_h` hours: `kind` is charge (then `soc` says which), ended or lasted."""

    kind: str
    after_h: float
    soc: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """How a promise came out.

    Attributes
    ----------
    after_h : float
        When it was scored [h].
    ratio : float
        How far from the likely one it came, in widths of that side of the model's own range; up to 1 is within, and
        so is what lies no further off than a reading.
    side : int
        Below the likely one (-1), above it (1), or as it (0).
    within : bool
        Whether it came within the range as it was shown.
    error_soc : float or None
        Charge that came less the likely one [-]; None where no charge is known.
    low_soc, likely_soc, high_soc, came_soc : float or None
        Of the model's own range, at that time.
    """

    after_h: float
    ratio: float
    side: int
    within: bool
    error_soc: float | None
    low_soc: float | None = None
    likely_soc: float | None = None
    high_soc: float | None = None
    came_soc: float | None = None


def promise_of(bank: BankAutonomy) -> Promise:
    """Return what an answer promises of a bank: the model's own range, and how wide it was shown."""
    own = bank.own_range
    low_h, high_h = (bank.low_hours, bank.high_hours) if own is None else (own.low_hours, own.high_hours)
    band = bank.band if own is None else own.band
    at_h = np.arange(min(KEPT_H, int(bank.times_h[-1])) + 1, dtype=float)
    likely = middle_soc(at_h, bank.times_h, bank.soc, bank.hours, bank.end_soc)
    low = np.minimum(np.interp(at_h, band.times_h, band.low_soc), likely)
    high = np.maximum(np.interp(at_h, band.times_h, band.high_soc), likely)
    return Promise(
        hours=bank.hours,
        low_hours=low_h,
        high_hours=high_h,
        floor_soc=bank.end_soc,
        low_soc=_rounded(low),
        likely_soc=_rounded(likely),
        high_soc=_rounded(high),
        widened=bank.widened,
    )


def _rounded(soc: Floats) -> tuple[float, ...]:
    """To a hundredth of a percent, so that a book of thousands stays small."""
    return tuple(round(float(one), 4) for one in soc)


def written(promise: Promise) -> dict[str, Any]:
    """Return a promise as JSON keeps it."""
    found = {one.name: getattr(promise, one.name) for one in fields(Promise)}
    return {name: list(value) if isinstance(value, tuple) else value for name, value in found.items()}


def read(kept: dict[str, Any]) -> Promise:
    """Return a promise that was kept."""
    found: dict[str, Any] = {name: tuple(value) if isinstance(value, list) else value for name, value in kept.items()}
    return Promise(**found)


def at(promise: Promise, after_h: float) -> tuple[float, float, float] | None:
    """Return low, likely and high charge after some hours [-]; None past what is promised.

    Examples
    --------
    >>> day = Promise(hours=None, low_hours=None, high_hours=None, floor_soc=0.2, low_soc=(0.8, 0.7),
    ...               likely_soc=(0.8, 0.75), high_soc=(0.8, 0.8))
    >>> at(day, 0.5), at(day, 2.0)
    ((0.75, 0.775, 0.8), None)
    """
    if not 0.0 <= after_h <= promise.told_h:
        return None
    hours = np.arange(len(promise.likely_soc), dtype=float)
    courses = (promise.low_soc, promise.likely_soc, promise.high_soc)
    low, likely, high = (float(round(np.interp(after_h, hours, course), 9)) for course in courses)
    return low, likely, high


def scored(promise: Promise, came: Came) -> Score | None:
    """Return how a promise came out, or None where what came does not tell.

    A charge tells between `FIRST_H` and `LAST_H`, as far as the charge is promised; at the floor or below it all is
    the floor. An end tells whenever it is; that there was none tells once it contradicts the range, or nothing can any
    more.

    Raises
    ------
    InputError
        On ``kind`` or ``soc`` if it is none of the three, or a charge that is none.
    """
    if came.kind not in KINDS:
        raise InputError("kind", f"What came is one of {', '.join(KINDS)}; got “{came.kind}”.")
    if came.kind == "charge":
        return _by_charge(promise, came)
    return _by_end(promise, came.after_h) if came.kind == "ended" else _by_lasting(promise, came.after_h)


def _by_charge(promise: Promise, came: Came) -> Score | None:
    if came.soc is None or not 0.0 <= came.soc <= 1.0:
        raise InputError("soc", "A charge that came must be from 0 to 100 %.")
    found = at(promise, came.after_h)
    if found is None or not FIRST_H <= came.after_h <= LAST_H:
        return None
    low, likely, high = found
    seen = max(came.soc, promise.floor_soc) if low <= promise.floor_soc else came.soc
    error = round(seen - likely, 9)
    ratio = _ratio(abs(error), high - likely if error > 0.0 else likely - low, READ_SOC)
    return Score(
        after_h=came.after_h,
        ratio=ratio,
        side=_sign(error),
        within=ratio <= promise.widened,
        error_soc=error,
        low_soc=low,
        likely_soc=likely,
        high_soc=high,
        came_soc=came.soc,
    )


def _by_end(promise: Promise, after_h: float) -> Score | None:
    """An end that came: by the hours where the likely ones are known, else by the charge promised then."""
    if promise.hours is None:
        found = at(promise, after_h)
        if found is None or after_h < FIRST_H:
            return None
        low, likely, _ = found
        ratio = _ratio(likely - promise.floor_soc, likely - low, READ_SOC)
        error = round(promise.floor_soc - likely, 9)
        return _ended(promise, after_h, ratio, -1, error)
    late = after_h - promise.hours
    if late > 0.0:
        high_h = promise.high_hours
        ratio = 0.0 if high_h is None else _ratio(late, high_h - promise.hours, READ_H)
    else:
        ratio = _sooner_ratio(promise.hours, promise.low_hours, after_h)
    found = at(promise, after_h)
    error_soc = None if late > 0.0 or found is None else round(promise.floor_soc - found[1], 9)
    return _ended(promise, after_h, ratio, _sign(late), error_soc)


def _by_lasting(promise: Promise, after_h: float) -> Score | None:
    """That it had not ended yet: tells only where the end is later than all of the range, or no later one is."""
    if promise.high_hours is not None:
        if promise.hours is None or after_h <= promise.high_hours:
            return None
        ratio = _ratio(after_h - promise.hours, promise.high_hours - promise.hours, READ_H)
        return _ended(promise, after_h, ratio, 1, None)
    told_h = promise.low_hours if promise.low_hours is not None else float(len(promise.likely_soc) - 1)
    return _ended(promise, after_h, 0.0, 0, None) if after_h >= max(told_h, FIRST_H) else None


def _ended(promise: Promise, after_h: float, ratio: float, side: int, error_soc: float | None) -> Score:
    return Score(after_h=after_h, ratio=ratio, side=side, within=ratio <= promise.widened, error_soc=error_soc)


def _sooner_ratio(hours: float, low_h: float | None, after_h: float) -> float:
    """The same of an end that came sooner than the likely one, by the share of it (`widening.sooner_h`)."""
    if hours - after_h <= READ_H:
        return _ratio(hours - after_h, hours - (hours if low_h is None else low_h), READ_H)
    if low_h is None or not low_h < hours:
        return MOST_RATIO
    if min(low_h, after_h) <= 0.0:
        return 1.0 if low_h <= 0.0 else MOST_RATIO
    return round(min(log(after_h / hours) / log(low_h / hours), MOST_RATIO), 9)


def _ratio(error: float, half: float, as_read: float) -> float:
    """How many times as wide its side of the range has to be to hold an error; one within a reading is held as it is.

    Past a reading it is the range as shown that counts: a wider one that scores said to hold would not, were the
    narrow side counted as wide as a reading there as well.
    """
    error = max(error, 0.0)
    wide = max(half, as_read) if error <= as_read else half
    return round(min(error / wide, MOST_RATIO), 9) if wide > 0.0 else MOST_RATIO


def _sign(error: float) -> int:
    return int(error > 0.0) - int(error < 0.0)


def better(one: float, other: float) -> bool:
    """Tell whether a charge after `one` hours scores an answer better than one after `other` hours."""
    return abs(one - BEST_H) < abs(other - BEST_H)


def best_that_tells(promise: Promise, seen: Sequence[Came]) -> tuple[Came, Score] | None:
    """Return what of all that was seen scores a promise best, with its score; the sooner of two alike."""
    for came in sorted(seen, key=lambda one: (abs(one.after_h - BEST_H), one.after_h)):
        score = scored(promise, came)
        if score is not None:
            return came, score
    return None


def marks(dawn_h: float | None) -> tuple[float, ...]:
    """Return the hours of the marks of an answer, rising: the next dawn from `FIRST_H` on, 12, 24 and 48 hours.

    Examples
    --------
    >>> marks(13.5), marks(None), marks(1.0)
    ((12.0, 13.5, 24.0, 48.0), (12.0, 24.0, 48.0), (12.0, 24.0, 25.0, 48.0))
    """
    if dawn_h is None:
        return MARK_H
    return tuple(sorted({*MARK_H, dawn_h if dawn_h >= FIRST_H else dawn_h + 24.0}))
