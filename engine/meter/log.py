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

    A row of the later log counts where none of the earlier begins at its second; of the others only what the earlier
    row does not know is taken, so that a file of another meter of the same house may be joined as well.

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
    start_s = np.union1d(before.start_s, later.start_s)
    at_before, at_later = np.searchsorted(start_s, before.start_s), np.searchsorted(start_s, later.start_s)
    step_s = np.zeros(start_s.size)
    step_s[at_later] = later.step_s
    step_s[at_before] = before.step_s
    until_next = np.diff(start_s, append=np.inf)
    values = {}
    for key in QUANTITIES:
        if key not in before.values and key not in later.values:
            continue
        column = np.full(start_s.size, np.nan)
        if key in later.values:
            column[at_later] = later.values[key]
        if key in before.values:
            known = np.isfinite(before.values[key])
            column[at_before[known]] = before.values[key][known]
        values[key] = column
    whole = MeterLog(start_s=start_s, step_s=np.minimum(step_s, until_next), values=values)
    return whole, start_s.size - before.start_s.size


def no_rows() -> MeterLog:
    """Return a log without rows, to join the first file to."""
    return MeterLog(start_s=np.zeros(0), step_s=np.zeros(0), values={})
