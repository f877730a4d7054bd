"""A meter's own rows, in order of time, and how a later file is joined to them without doubling any.

Powers are means over a row, W; into the bank is positive. Times are seconds since 1970 of universal time. What a row
does not know is NaN. A row lasts until the next one, at most `step_s`: what lies beyond is a gap, not a long row.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

QUANTITIES = {
    "yield_w": "What the panels gave, at the battery side",
    "load_w": "What the house drew at the sockets",
    "load_dc_w": "What the inverter drew from the battery side",
    "bank_w": "Into the bank, at its terminals; out of it is negative",
    "bank_a": "Current into the bank; out of it is negative",
    "bank_v": "Volts of the bank",
    "charge": "Charge the monitor showed, as a share",
    "cell_c": "Temperature of the cells",
    "generator_w": "What a generator or the grid gave, at the sockets",
}
"""What a column of a log may come to be, and the order they stand in."""
_LEAST_SHARE = 0.75
"""A row that begins with another and lasts so much of it is the same one (judgement); days differ by an hour."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeterLog:
    """Rows of one meter.

    Attributes
    ----------
    start_s : (n,) array
        When each row begins, rising strictly [s since 1970, universal time].
    step_s : (n,) array
        How long each lasts [s]; it ends where the next begins, or before.
    values : mapping of str to (n,) array
        By the keys of `QUANTITIES`; NaN where a row does not know it.
    """

    start_s: Floats
    step_s: Floats
    values: Mapping[str, Floats]

    @property
    def rows(self) -> int:
        """How many rows there are."""
        return self.start_s.size

    def between(self, begin_s: float, end_s: float) -> MeterLog:
        """Return the rows that begin within a span of time."""
        low, high = np.searchsorted(self.start_s, (begin_s, end_s))
        kept = slice(int(low), int(high))
        return MeterLog(
            start_s=self.start_s[kept],
            step_s=self.step_s[kept],
            values={key: values[kept] for key, values in self.values.items()},
        )


def joined(before: MeterLog, later: MeterLog) -> tuple[MeterLog, int]:
    """Return both logs as one, and how many rows the later one added.

    At each moment the earlier log says what it knows, and the later one the rest; so a file of another meter of the
    same house may be joined as well, whenever and however often that one writes. But the last row that the earlier log
    knows was perhaps half over when it was written: where the later one has it among others, that one says it. Rows are
    cut where either log has one begin or end. A row of the later log is new where none of the earlier begins at its
    second.

    Examples
    --------
    >>> def log(*start_s, volts):
    ...     step_s = np.full(len(start_s), 60.0)
    ...     return MeterLog(start_s=np.array(start_s), step_s=step_s, values={"bank_v": np.array(volts)})
    >>> one, two = log(0.0, 60.0, volts=[51.0, 52.0]), log(60.0, 120.0, volts=[9.0, 53.0])
    >>> whole, added = joined(one, two)
    >>> whole.values["bank_v"].tolist(), added
    ([51.0, 52.0, 53.0], 1)
    """
    edges_s = np.unique(np.concatenate([edge_s for one in (before, later) for edge_s in _edges_s(one)]))
    places = [(one, _covering(one, edges_s[:-1])) for one in (before, later)]
    there = np.logical_or.reduce([at >= 0 for _, at in places])
    values = {}
    for key in QUANTITIES:
        if key not in before.values and key not in later.values:
            continue
        said, anew = (_said(one, key, at) for one, at in places)
        first = np.isfinite(said) & ~(np.isfinite(anew) & (edges_s[:-1] >= _said_better_from_s(before, later, key)))
        values[key] = np.where(first, said, anew)[there]
    whole = MeterLog(start_s=edges_s[:-1][there], step_s=np.diff(edges_s)[there], values=values)
    return whole, int((~np.isin(_edges_s(later)[0], _edges_s(before)[0])).sum())


def _said(log: MeterLog, key: str, at: NDArray[np.int64]) -> Floats:
    """What some rows of a log say; NaN where there is no row, or nothing is said."""
    return np.where(at >= 0, log.values[key][at], np.nan) if key in log.values else np.full(at.size, np.nan)


def _said_better_from_s(before: MeterLog, later: MeterLog, key: str) -> float:
    """When the last row begins that the earlier log knows, if the later one has it and others on both sides; or never.

    The earlier log has it in pieces where it is of several files itself. A log's first row may be half as well, and
    many short rows of another meter are not that row.
    """
    column = before.values.get(key, np.zeros(0))
    known, anew = (np.flatnonzero(np.isfinite(one.values.get(key, np.zeros(0)))) for one in (before, later))
    if not known.size or not anew.size:
        return np.inf
    (begin_s, end_s), (begins_s, ends_s), last = _edges_s(before), _edges_s(later), known[-1]
    at = _covering(later, begin_s[last : last + 1])[0]
    from_s = begins_s[at]
    if not anew[0] < at < anew[-1] or ends_s[at] - from_s < _LEAST_SHARE * (end_s[last] - from_s):
        return np.inf
    first = np.searchsorted(begin_s, from_s)
    one_row = begin_s[first] == from_s and (column[first : last + 1] == column[last]).all()
    return float(from_s) if one_row else np.inf


def _edges_s(log: MeterLog) -> tuple[Floats, Floats]:
    """When rows begin and end, to the millisecond: none shorter is cut off where one ends as the next begins."""
    return np.round(log.start_s, 3), np.round(log.start_s + log.step_s, 3)


def _covering(log: MeterLog, times_s: Floats) -> NDArray[np.int64]:
    """Which row lasts at each time; -1 where none does."""
    begin_s, end_s = _edges_s(log)
    at = np.searchsorted(begin_s, times_s, side="right") - 1
    return np.where((at >= 0) & (times_s < end_s[at]), at, -1)


def no_rows() -> MeterLog:
    """Return a log without rows, to join the first file to."""
    return MeterLog(start_s=np.zeros(0), step_s=np.zeros(0), values={})
