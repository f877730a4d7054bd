"""What could be measured to tell the causes apart, and what each cause says it would read.

Readings are in the unit of their measurement. Each has a standard error: of the instrument, and of what the model
knows of the place it is put to. All are judgements unless said otherwise.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot, inf

import numpy as np

from engine.answers.dark_night import Body, Night
from engine.cells.chemistry import arrays
from engine.house.charge_scales import UNSURE_CELL_V

REST, CLAMP, KETTLE, CELLS_C, COUNTED_IN, TOP_UP, COUNTED_OUT, AGAIN = (
    "rest",
    "clamp",
    "kettle",
    "cells_c",
    "counted_in",
    "top_up",
    "counted_out",
    "again",
)
CLAMP_A = 0.3
"""A clamp on direct current at a few amperes (judgement)."""
THERMOMETER_C = 1.0
"""A thermometer between the cells (judgement)."""
COUNTED_SHARE = 0.03
"""Ah counted over a whole charge or discharge, of tested Ah (judgement: shunt, temperature, where full is)."""
SAG_METER_V, SAG_MODEL_SHARE = 0.05, 0.25
"""A drop of pack volts read twice, and how well the resistance of a sound bank with its cables is known (judgement)."""
KETTLE_W, KETTLE_RATED_SHARE, KETTLE_SOC = 2000.0, 0.5, 0.6
"""The load of the kettle test, at most half of what inverter and board bear, and the charge it is done at (choice)."""
TELLS_APART = 2.0
"""Standard errors by which two readings must differ to decide between two causes (choice)."""
ENOUGH = 4.0
"""More than this decides no better: the easier measurement is then taken (choice)."""
LEADING_WEIGHT = 0.1
MOST_LEADING = 3
"""Causes that a measurement is chosen to decide between: the likeliest, from that weight on (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What would be so under a cause at one value of its unknown, beside its chance."""

    chance: float
    true_soc: float
    body: Body
    hidden_w: float = 0.0
    short_soc: float = 0.0
    trips: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What one cause says a measurement reads: mean, and how far it is open [its unit]."""

    code: str
    reading: float
    spread: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a reading from `low` up to `high` would mean; the codes of the causes that it speaks for."""

    low: float | None
    high: float | None
    codes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One measurement, what the leading causes say it reads, and what each outcome means.

    Attributes
    ----------
    error : float
        Standard error of the reading [its unit].
    apart : float
        How far the leading causes are apart in it, in standard errors, weighted by their chances.
    load_w : float
        The load to put on, where it asks for one [W].
    """

    code: str
    unit: str
    error: float
    apart: float
    expected: tuple[Expected, ...]
    outcomes: tuple[Outcome, ...]
    load_w: float = 0.0

    @property
    def decides(self) -> bool:
        """Whether it tells the leading causes apart well enough to be worth doing."""
        return len(self.outcomes) > 1


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kind:
    """A measurement before it is put to a night."""

    code: str
    unit: str
    reading: Callable[[Night, Truth], float]
    error: Callable[[Night], float]
    load_w: Callable[[Night], float] = lambda night: 0.0
    offered: Callable[[Night], bool] = lambda night: True


def kettle_w(night: Night) -> float:
    """Load of the kettle test [W at the sockets]."""
    return min(KETTLE_W, KETTLE_RATED_SHARE * min(night.inverter.rated_w, _board_w(night)))


def _board_w(night: Night) -> float:
    """Power at the board's limit of current and nominal volts [W]; infinite where there is none."""
    bank = night.bank
    return inf if bank.board is None else bank.board.current_limit_a * bank.series * bank.cell.v_nominal


def _within_limits(night: Night) -> bool:
    """Whether the load of that moment may be put on again: within what inverter and board bear."""
    return night.seen.load_w <= night.inverter.rated_w and night.power_w <= _board_w(night)


def _may_be_emptied(night: Night) -> bool:
    """Whether the cells may be taken to where it ends: lead-acid is harmed by it, and stopped at half when tested."""
    return night.bank.cell.acceptance_tau_h is None


def reading(code: str, night: Night, truth: Truth) -> float:
    """Return what a measurement would read were that the truth."""
    return next(kind for kind in _KINDS if kind.code == code).reading(night, truth)


def measurements(
    night: Night, truths: Mapping[str, Sequence[Truth]], weights: Mapping[str, float]
) -> tuple[Measurement, ...]:
    """Return the measurements that this bank bears, by how well they tell the leading causes apart, the best first.

    Parameters
    ----------
    truths : mapping of str to sequence of Truth
        Of each leading cause what may be so, with chances.
    weights : mapping of str to float
        Chance of each leading cause [-].
    """
    found = [_measured(kind, night, truths, weights) for kind in _KINDS if kind.offered(night)]
    order = sorted(range(len(found)), key=lambda place: (-found[place].apart, place))
    return tuple(found[place] for place in order)


def picked(measurement: Measurement, read: float) -> tuple[str, ...]:
    """Return the causes that a reading speaks for."""
    for outcome in measurement.outcomes:
        if (outcome.high is None or read < outcome.high) and (outcome.low is None or read >= outcome.low):
            return outcome.codes
    return ()


def _measured(
    kind: _Kind, night: Night, truths: Mapping[str, Sequence[Truth]], weights: Mapping[str, float]
) -> Measurement:
    expected = tuple(_expected(kind, night, code, of) for code, of in truths.items())
    error = kind.error(night)
    return Measurement(
        code=kind.code,
        unit=kind.unit,
        error=error,
        apart=_apart(expected, error, weights),
        expected=expected,
        outcomes=_outcomes(expected, error),
        load_w=kind.load_w(night),
    )


def _expected(kind: _Kind, night: Night, code: str, truths: Sequence[Truth]) -> Expected:
    read = np.array([kind.reading(night, truth) for truth in truths])
    chance = np.array([truth.chance for truth in truths])
    mean = float(np.average(read, weights=chance))
    return Expected(code=code, reading=mean, spread=float(np.sqrt(np.average((read - mean) ** 2, weights=chance))))


def _z(one: Expected, other: Expected, error: float) -> float:
    """Standard errors between two readings."""
    width = hypot(error, one.spread, other.spread)
    return abs(one.reading - other.reading) / width if width > 0.0 else 0.0


def _apart(expected: Sequence[Expected], error: float, weights: Mapping[str, float]) -> float:
    """Mean over the pairs of how far apart they read, by their chances; more than enough counts as enough."""
    total = found = 0.0
    for place, one in enumerate(expected):
        for other in expected[place + 1 :]:
            pair = weights[one.code] * weights[other.code]
            total += pair
            found += pair * min(_z(one, other, error), ENOUGH)
    return found / total if total > 0.0 else 0.0


def _outcomes(expected: Sequence[Expected], error: float) -> tuple[Outcome, ...]:
    """Spans of the reading, the lowest first: causes that read alike share one, between others stands a limit."""
    order = sorted(expected, key=lambda one: one.reading)
    groups: list[list[Expected]] = []
    for one in order:
        if groups and any(_z(one, other, error) < TELLS_APART for other in groups[-1]):
            groups[-1].append(one)
        else:
            groups.append([one])
    limits = [_between(below[-1], over[0], error) for below, over in pairwise(groups)]
    edges: list[float | None] = [None, *limits, None]
    return tuple(
        Outcome(low=low, high=high, codes=tuple(one.code for one in group))
        for low, high, group in zip(edges[:-1], edges[1:], groups, strict=True)
    )


def _between(below: Expected, over: Expected, error: float) -> float:
    """The reading between two that is as many standard errors from the one as from the other."""
    low, high = hypot(error, below.spread), hypot(error, over.spread)
    return below.reading + (over.reading - below.reading) * low / (low + high)


def _rest(night: Night, truth: Truth) -> float:
    """Pack volts at rest, next morning, with everything off [V]."""
    return night.bank.series * night.loaded(truth.true_soc, 0.0, truth.body).ocv_v


def _clamp(night: Night, truth: Truth) -> float:
    """Current out of the bank with every load off and the inverter on [A]."""
    return (night.inverter.idle_w + truth.hidden_w) / (night.bank.series * night.bank.cell.v_nominal)


def _kettle(night: Night, truth: Truth) -> float:
    """Pack volts that the kettle test takes off, within the first minutes [V]."""
    return _drop_v(night, truth.body)


def _drop_v(night: Night, body: Body) -> float:
    return night.bank.series * night.loaded(KETTLE_SOC, night.inverter.dc_w(kettle_w(night)), body).sag_v


def _counted_in(night: Night, truth: Truth) -> float:
    """Ah that go in from where it went dark to a true full: held until the current has fallen to its tail."""
    bank = night.bank
    curve = arrays(bank.cell, truth.body.cell_c)
    given_back = float(np.mean(curve.coulombic[curve.soc >= min(truth.true_soc, 0.99)]))
    return (1.0 - truth.true_soc) * bank.ah * truth.body.capacity / given_back


def _counted_out(night: Night, truth: Truth) -> float:
    """Ah that come out from a true full down to where it goes dark, under the small loads of an evening."""
    end = night.goes_dark(night.mean_w, truth.body).soc
    return (1.0 - end) * night.bank.ah * truth.body.capacity


def _top_up(night: Night, truth: Truth) -> float:
    """Ah that still go in after the monitor says full, the day after a true full set it right."""
    return truth.short_soc * night.bank.ah


def _again(night: Night, truth: Truth) -> float:
    """1 where the same load makes it dark again with a full bank, else 0."""
    return 1.0 if truth.trips or night.goes_dark(night.power_w, truth.body).soc > 1.0 - COUNTED_SHARE else 0.0


_KINDS = (
    _Kind(code=REST, unit="V", reading=_rest, error=lambda night: night.bank.series * UNSURE_CELL_V),
    _Kind(code=CELLS_C, unit="°C", reading=lambda night, truth: truth.body.cell_c, error=lambda night: THERMOMETER_C),
    _Kind(code=CLAMP, unit="A", reading=_clamp, error=lambda night: CLAMP_A),
    _Kind(
        code=KETTLE,
        unit="V",
        reading=_kettle,
        error=lambda night: hypot(SAG_METER_V, SAG_MODEL_SHARE * _drop_v(night, night.told_body)),
        load_w=kettle_w,
    ),
    _Kind(
        code=AGAIN,
        unit="",
        reading=_again,
        error=lambda night: 0.2,
        load_w=lambda night: night.seen.load_w,
        offered=_within_limits,
    ),
    _Kind(code=COUNTED_IN, unit="Ah", reading=_counted_in, error=lambda night: COUNTED_SHARE * night.bank.ah),
    _Kind(code=TOP_UP, unit="Ah", reading=_top_up, error=lambda night: COUNTED_SHARE * night.bank.ah),
    _Kind(
        code=COUNTED_OUT,
        unit="Ah",
        reading=_counted_out,
        error=lambda night: COUNTED_SHARE * night.bank.ah,
        offered=_may_be_emptied,
    ),
)
"""The measurements, the easiest first."""
