"""Texts of clocks and dates to seconds, whole columns at once.

Clocks are read from the right: seconds, minutes, hours, days, whatever stands between them. Not modelled: offsets
from universal time, summer time, leap seconds.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Codes = NDArray[np.uint32]

DAY_S = 86_400.0
_WIDTH = 40
_GROUPS = 7
_SECONDS = np.array([DAY_S, 3600.0, 60.0, 1.0])
_NEAR_MIDNIGHT_S = 3600.0


def clock_s(texts: Sequence[str] | NDArray[np.object_]) -> Array:
    """Seconds of clocks written ``m:s``, ``h:m:s`` or ``d h:m:s``, with or without a fraction; ``h:m`` before AM or PM.

    Parameters
    ----------
    texts : (n,) of str

    Returns
    -------
    (n,) array
        Seconds [s]; NaN where a text is no clock.

    Examples
    --------
    >>> [float(s) for s in clock_s(["00:00:01.5", "1 02:03:04", "59:59", "late"])]
    [1.5, 93784.0, 3599.0, nan]
    >>> [float(s) / 3600 for s in clock_s(["12:59:59 AM", "1:00:00 PM", "1:30 pm"])]
    [0.9997222222222222, 13.0, 13.5]
    """
    codes = _codes(texts)
    groups, count, fraction = _groups(codes)
    colons = np.count_nonzero(codes == ord(":"), axis=1)
    right = np.take_along_axis(groups, np.clip(count[:, None] - 4 + np.arange(4), 0, _GROUPS - 1), axis=1)
    right[np.arange(4) < 4 - count[:, None]] = 0.0
    of_half = _is_half_day(codes)
    hour_minute = of_half & (count == 2)
    right[hour_minute] = np.roll(right[hour_minute], -1, axis=1)
    right[:, 1] = np.where(of_half, _half_days(codes, right[:, 1]), right[:, 1])
    seconds = right @ _SECONDS + fraction
    fit = (colons >= 1) & (colons <= 3) & (count >= 2) & (count <= 4) & (right[:, 3] < 60)
    fit &= (right[:, 2] < 60) | (count == 2)
    fit &= ~(codes == ord("-")).any(axis=1) | (count == 4)
    return np.where(fit, seconds, np.nan)


def date_s(texts: Sequence[str] | NDArray[np.object_], order: str) -> Array:
    """Seconds since 1970 of dates, with or without a time of day.

    Parameters
    ----------
    texts : (n,) of str
    order : str
        Of year, month and day: ``ymd``, ``dmy`` or ``mdy``.

    Returns
    -------
    (n,) array
        Seconds [s]; NaN where a text is no date in that order.

    Examples
    --------
    >>> [float(s) for s in date_s(["02.01.1970 00:00:01,25", "1.1.70 1:00"], "dmy")]
    [86401.25, 3600.0]
    """
    return dates_s(texts, (order,))[0]


def dates_s(texts: Sequence[str] | NDArray[np.object_], orders: Sequence[str]) -> list[Array]:
    """Seconds since 1970 of dates as `date_s` gives them, in each of several orders.

    Parameters
    ----------
    texts : (n,) of str
    orders : sequence of str
        Of year, month and day, each as in `date_s`.

    Returns
    -------
    list of (n,) array
        Seconds [s], an array an order; NaN where a text is no date in that order.
    """
    codes = _codes(texts)
    groups, count, fraction = _groups(codes)
    hour, minute, second = (np.where(count > at, groups[:, at], 0.0) for at in (3, 4, 5))
    hour = _half_days(codes, hour)
    of_day_s = hour * 3600 + minute * 60 + second + np.where(count > 5, fraction, 0.0)
    fit = (count >= 3) & (hour <= 24) & (minute < 60) & (second < 61)
    return [np.where(fit, _day_s(groups, order) + of_day_s, np.nan) for order in orders]


def _day_s(groups: Array, order: str) -> Array:
    """Seconds since 1970 at which each day begins; NaN where the first three numbers are no date in that order."""
    year, month, day = (groups[:, order.index(part)] for part in "ymd")
    year = np.where(year < 100, year + np.where(year < 70, 2000, 1900), year)
    fit = (year >= 1900) & (year < 2200) & (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)
    days = _days(np.where(fit, year, 1970), np.where(fit, month, 1), np.where(fit, day, 1))
    return np.where(fit, days * DAY_S, np.nan)


def over_midnight(clock: Array) -> Array:
    """Count on where a clock of the day passes midnight.

    Parameters
    ----------
    clock : (n,) array
        Seconds [s], NaN where missing.

    Returns
    -------
    (n,) array
        Seconds [s]; a fall that is not one from the day's last hour into its first stays.

    Examples
    --------
    >>> [float(s) for s in over_midnight(np.array([86390.0, 10.0, 20.0]))]
    [86390.0, 86410.0, 86420.0]
    """
    known = np.flatnonzero(np.isfinite(clock))
    before, after = clock[known[:-1]], clock[known[1:]]
    passed = (before <= DAY_S) & (before > DAY_S - _NEAR_MIDNIGHT_S) & (after < _NEAR_MIDNIGHT_S)
    counted = clock.copy()
    counted[known[1:]] += DAY_S * np.cumsum(passed)
    return counted


def _codes(texts: Sequence[str] | NDArray[np.object_]) -> Codes:
    """Characters of the texts as numbers, (n, width): zeros from the end of each text, `_WIDTH` of them at most."""
    fixed = np.asarray(texts, dtype=object).astype(f"U{_WIDTH}")
    codes: Codes = fixed.view(np.uint32).reshape(len(fixed), _WIDTH)
    last = int(np.flatnonzero(np.count_nonzero(codes, axis=0)).max(initial=0))
    return codes[:, : last + 2]


def _groups(codes: Codes) -> tuple[Array, NDArray[np.int64], Array]:
    """Whole numbers in each text, how many, and the fraction that follows the last colon's seconds."""
    rows = np.arange(len(codes))
    groups = np.zeros((len(codes), _GROUPS))
    fraction, scale = np.zeros(len(codes)), np.ones(len(codes))
    at, colons = np.full(len(codes), -1), np.zeros(len(codes), dtype=np.int64)
    inside, decimals = np.zeros(len(codes), dtype=bool), np.zeros(len(codes), dtype=bool)
    for code in codes.T:
        digit = (code >= 48) & (code <= 57)
        value = np.where(digit, code, 48) - 48.0
        colons += code == ord(":")
        decimals = np.where(digit, decimals, ((code == ord(".")) | (code == ord(","))) & (colons > 0) & inside)
        scale = np.where(digit & decimals, scale / 10, scale)
        fraction += np.where(digit & decimals, value * scale, 0.0)
        whole = digit & ~decimals
        at += whole & ~inside
        slot = np.clip(at, 0, _GROUPS - 1)
        groups[rows, slot] = np.where(whole, groups[rows, slot] * 10 + value, groups[rows, slot])
        inside = digit
    return groups, at + 1, fraction


def _half_days(codes: Codes, hour: Array) -> Array:
    """Hours of the day where a text ends in AM or PM."""
    lower, half = codes | 32, _is_half_day(codes)
    late, early = half & (lower == ord("p")).any(axis=1), half & (lower == ord("a")).any(axis=1)
    return np.where(late & (hour < 12), hour + 12, np.where(early & (hour == 12), 0.0, hour))


def _is_half_day(codes: Codes) -> NDArray[np.bool_]:
    """Whether a text ends in AM or PM."""
    lower = codes | 32
    letters = (lower[:, :-1] == ord("a")) | (lower[:, :-1] == ord("p"))
    return np.asarray((lower[:, 1:] == ord("m")).any(axis=1) & letters.any(axis=1))


def _days(year: Array, month: Array, day: Array) -> Array:
    """Days since 1970 of the Gregorian calendar."""
    months = (year - 1970).astype(np.int64) * 12 + month.astype(np.int64) - 1
    first = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    result: Array = first + day - 1
    return result
