"""Times of a meter's file to seconds of universal time, whichever clock it keeps.

Not modelled: a clock that runs fast or slow, or was set by hand.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from engine.meter.formats import OFFSET, WALL, Reading
from engine.text.finding import Finding

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

HOUR_S = 3600.0
_BLOCK_S = 900.0
"""Clocks change at whole quarter hours."""
_EPOCH = datetime(1970, 1, 1)


def standard_offset_h(zone: ZoneInfo, year: int) -> float:
    """Return the offset of a zone's standard time from universal time [h]: the lesser of January's and July's."""
    each = (datetime(year, month, 1, tzinfo=zone).utcoffset() or timedelta() for month in (1, 7))
    return min(each).total_seconds() / HOUR_S


def standard_clock(zone: ZoneInfo, utc_s: Floats) -> tzinfo:
    """Return a zone's standard time in the year of the middle of some times [s since 1970, universal time]."""
    year = datetime.fromtimestamp(float(np.median(utc_s)), UTC).year
    return timezone(timedelta(hours=standard_offset_h(zone, year)))


def universal_s(local_s: Floats, reading: Reading, zone: ZoneInfo, step_s: float) -> tuple[Floats, tuple[Finding, ...]]:
    """Return seconds of universal time since 1970.

    Parameters
    ----------
    local_s : (n,) array
        Seconds since 1970 on the file's own clock, oldest first as the file has them.
    step_s : float
        Usual step between rows [s].
    """
    if reading.zone_written:
        return local_s, ()
    if reading.clock == OFFSET:
        return local_s - reading.utc_offset_h * HOUR_S, ()
    if reading.clock != WALL:
        year = (datetime(1970, 1, 1) + timedelta(seconds=float(np.median(local_s)))).year
        return local_s - standard_offset_h(zone, year) * HOUR_S, ()
    first_s, second_s = _offsets_s(local_s, zone)
    doubled = first_s > second_s
    later = _second_pass(local_s, doubled, step_s)
    skipped = first_s < second_s
    return local_s - np.where(later, second_s, first_s), _said(doubled, later, skipped)


def _offsets_s(local_s: Floats, zone: ZoneInfo) -> tuple[Floats, Floats]:
    """Offsets of each time [s], as the first and as the second of a doubled hour."""
    block, which = np.unique(np.floor(local_s / _BLOCK_S), return_inverse=True)
    found = np.empty((2, block.size))
    for k, one in enumerate(block):
        local = (_EPOCH + timedelta(seconds=float(one) * _BLOCK_S)).replace(tzinfo=zone)
        for fold in (0, 1):
            found[fold, k] = (local.replace(fold=fold).utcoffset() or timedelta()).total_seconds()
    return found[0][which], found[1][which]


def _second_pass(local_s: Floats, doubled: Flags, step_s: float) -> Flags:
    """Which rows of doubled hours are of the second: those after the clock fell back.

    Where it did not fall in a run of such rows, there is only one pass, taken for the first.
    """
    later = np.zeros(local_s.size, dtype=bool)
    at = np.flatnonzero(doubled)
    for run in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1) if at.size else ():
        step = np.diff(local_s[run])
        fell = np.flatnonzero((step < 0) if step_s < HOUR_S else (step <= 0))
        if fell.size:
            later[run[fell[0] + 1] : run[-1] + 1] = True
    return later


def _said(doubled: Flags, later: Flags, skipped: Flags) -> tuple[Finding, ...]:
    findings = []
    if doubled.any():
        text = f"The clock went back in autumn: {_rows(int(doubled.sum()))} in a doubled hour, "
        text += (
            f"{int(later.sum()):,} of them taken as of its second time."
            if later.any()
            else "which the file has only once; it is taken as the first, and the second is not known."
        )
        findings.append(Finding(level="note", code="doubled_hour", text=text))
    if skipped.any():
        text = (
            f"{_rows(int(skipped.sum()))} in the hour that the clock on the wall leaves out in spring: "
            "does the meter keep standard time all year? Those rows are read as if it did."
        )
        findings.append(Finding(level="check", code="missing_hour", text=text))
    return tuple(findings)


def _rows(count: int) -> str:
    return "1 row is" if count == 1 else f"{count:,} rows are"


def written(utc_s: float, zone: tzinfo) -> str:
    """Return a time as a clock shows it."""
    return datetime.fromtimestamp(utc_s, tz=UTC).astimezone(zone).strftime("%Y-%m-%d %H:%M")
