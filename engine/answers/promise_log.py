"""What a meter's own log says of an answer: the charge its monitor showed at the marks.

Times are seconds since 1970 of universal time. A row tells of the time it covers; a gap tells nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from engine.answers.promises import Came
from engine.meter.log import MeterLog

GENERATOR_W = 1.0
"""A generator that gives more than this ran (choice: above what a meter shows of nothing)."""


def seen_in(log: MeterLog, asked_s: float, after_h: Sequence[float], *, generator: bool) -> tuple[Came, ...]:
    """Return the charges that a log shows some hours after a question.

    Parameters
    ----------
    after_h : sequence of float
        The marks [h].
    generator : bool
        Whether a generator is joined: what follows a run of it tells nothing, nor a log that does not say whether it
        ran.
    """
    charge = log.values.get("charge")
    if charge is None:
        return ()
    found = []
    for hours in after_h:
        at_s = asked_s + hours * 3600.0
        row = int(np.searchsorted(log.start_s, at_s, side="right")) - 1
        if row < 0 or at_s >= log.start_s[row] + log.step_s[row] or not 0.0 <= charge[row] <= 1.0:
            continue
        if not generator or _stood(log, asked_s, at_s):
            found.append(Came(kind="charge", after_h=hours, soc=float(charge[row])))
    return tuple(found)


def _stood(log: MeterLog, begin_s: float, end_s: float) -> bool:
    """Whether a log says that no generator ran in a span."""
    given_w = log.values.get("generator_w")
    if given_w is None:
        return False
    low, high = np.searchsorted(log.start_s, (begin_s, end_s))
    part = given_w[max(int(low) - 1, 0) : int(high)]
    return bool(len(part)) and bool(np.all(part <= GENERATOR_W))
