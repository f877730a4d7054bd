"""When the bank was full, by volts and current alone, and the ampere-hours that were counted between.

A monitor's percent is not used: it is counted by the capacity it was told, so it cannot tell that capacity. Full is
where a charge at the volts it ends at has run down to its last current; of each day the last such row.
Not modelled: a charger that ends below its usual volts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.answers.learning_parts import Evidence, Flags, Floats
from engine.text.clocks import DAY_S

_END_SHARE = 0.9
"""Of the days' highest volts so many lie below those a charge ends at, where one day in ten is full (choice)."""
_NEAR_SHARE = 0.006
_LEAST_TAIL_C = 0.02
MOST_UNKNOWN_SHARE = 0.005
"""Of a span between two fulls, that may be unknown (choice)."""
LEAST_FULLS = 5
_LEAST_OUT_SHARE = 0.05
_REST_C = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Counted:
    """Ampere-hours in and out and seconds unknown up to each edge of the rows, (n + 1,), and where the bank was full.

    A gap counts to the row after it. `full` are rows: the last of each day at which it was; `held_days` those on which
    a charge came to its end volts, so that the panels may have been held back; `end_v` the pack volts charges end at.
    """

    in_ah: Floats
    out_ah: Floats
    unknown_s: Floats
    edge_s: Floats
    full: NDArray[np.int64]
    held_days: NDArray[np.int64]
    end_v: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spans:
    """Spans from one full bank to the next, (m,): ampere-hours in and out at the terminals, days, and first day."""

    in_ah: Floats
    out_ah: Floats
    days: Floats
    first_day: NDArray[np.int64]


def counted(e: Evidence) -> Counted | None:
    """Return what the shunt counted; None where the log has no current or no volts of the bank."""
    current, volts = e.column("bank_a"), e.column("bank_v")
    if current is None or volts is None:
        return None
    known = np.isfinite(current)
    hours = e.log.step_s / 3600.0
    amps = np.where(known, current, 0.0)
    before_s = np.concatenate(([0.0], e.log.start_s[1:] - e.log.start_s[:-1] - e.log.step_s[:-1]))
    unknown_s = before_s + np.where(known, 0.0, e.log.step_s)
    end_v = _end_v(e, volts)
    return Counted(
        in_ah=_summed(np.maximum(amps, 0.0) * hours),
        out_ah=_summed(np.maximum(-amps, 0.0) * hours),
        unknown_s=_summed(unknown_s),
        edge_s=np.concatenate((e.log.start_s[:1], e.log.start_s + e.log.step_s)),
        full=_last_of_days(e, _full_rows(e, volts, current, end_v)),
        held_days=np.unique(e.day[(current > 0.0) & (volts >= (1.0 - _NEAR_SHARE) * end_v)]),
        end_v=end_v,
    )


def _summed(parts: Floats) -> Floats:
    return np.concatenate(([0.0], np.cumsum(parts)))


def _end_v(e: Evidence, volts: Floats) -> float:
    """Volts of the pack that charges end at: what the highest volts of a day come to on the fullest days."""
    highest = np.full(int(e.day[-1]) + 1, -np.inf)
    known = np.isfinite(volts)
    np.maximum.at(highest, e.day[known], volts[known])
    return float(np.quantile(highest[np.isfinite(highest)], _END_SHARE))


def _full_rows(e: Evidence, volts: Floats, current: Floats, end_v: float) -> Flags:
    """Rows at the end volts whose current has run down; without a hold, those that are the last before it stops."""
    bank = e.supply.bank
    tail_a = max(bank.cell.tail_c, _LEAST_TAIL_C) * bank.ah
    at_end = volts >= (1.0 - _NEAR_SHARE) * end_v
    low = (current >= -_REST_C * bank.ah) & (current <= tail_a)
    if bank.hold:
        return np.asarray(at_end & low)
    stops = np.append(current[1:] <= tail_a, False)
    return np.asarray(at_end & (current > 0.0) & stops)


def _last_of_days(e: Evidence, full: Flags) -> NDArray[np.int64]:
    rows = np.flatnonzero(full)
    last = np.append(np.diff(e.day[rows]) > 0, True) if rows.size else np.zeros(0, dtype=bool)
    return np.asarray(rows[last])


def spans(e: Evidence, c: Counted) -> Spans:
    """Return the spans between fulls that are known throughout and in which the bank was used."""
    begin, end = c.full[:-1] + 1, c.full[1:] + 1
    lasted_s = c.edge_s[end] - c.edge_s[begin]
    out_ah = c.out_ah[end] - c.out_ah[begin]
    known = (c.unknown_s[end] - c.unknown_s[begin]) <= MOST_UNKNOWN_SHARE * lasted_s
    fit = known & (out_ah >= _LEAST_OUT_SHARE * e.supply.bank.ah)
    return Spans(
        in_ah=(c.in_ah[end] - c.in_ah[begin])[fit],
        out_ah=out_ah[fit],
        days=(lasted_s / DAY_S)[fit],
        first_day=e.day[c.full[:-1]][fit],
    )
