"""The causes for which a bank may go dark though its monitor shows charge: each with its one unknown.

Charges are shares of tested Ah. Each cause makes a `Grid`: what the monitor would have shown at the dark for every
value of its unknown, all else being as the household says. Odds before anything was seen and widths of the priors are
judgements (see `engine.answers.dark_weights`).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.answers.cold_bank import ROOM_C
from engine.answers.dark_night import TOO_COLD, Body, GoesDark, Night
from engine.answers.dark_weights import LEAST_SHARE_SOC, Grid, above, half_normal, log_normal

Floats = NDArray[np.float64]

EMPTY, DRIFT, SAG, IDLE, UNSEEN, COLD, WEAK, UNFULL, OVERLOAD, CURRENT = (
    "empty",
    "drift",
    "sag",
    "idle",
    "unseen",
    "cold",
    "weak",
    "unfull",
    "overload",
    "current",
)

ODDS = {
    EMPTY: 3.0,
    SAG: 2.0,
    DRIFT: 2.0,
    COLD: 1.0,
    WEAK: 1.0,
    UNFULL: 1.0,
    IDLE: 0.7,
    UNSEEN: 0.5,
    OVERLOAD: 30.0,
    CURRENT: 30.0,
}
"""Odds before anything was seen (judgement): no fault at all is commonest, and what is past its limit seldom holds.
Such a limit ends it at any charge alike, where the others name one within some points: hence the large figure."""
DRIFT_SOC, DRIFT_PER_WEEK_SOC = 0.02, 0.03
"""Width of a monitor's drift: at once, and for each week since it last showed full (judgement: 1 to 5 points)."""
UNKNOWN_WEEKS = 3.0
"""Weeks since full where nobody said (assumed)."""
SAG_MIDDLE, SAG_FACTOR = 1.2, 1.5
"""Resistance over that of the cells alone: joints, cables and age add a fifth, and it is not known better than by half
(judgement)."""
IDLE_MIDDLE_W, IDLE_FACTOR = 40.0, 2.0
"""An unseen steady draw: most are between 10 and 160 W (judgement)."""
COLD_C = 4.0
"""How much colder than told the cells may be (judgement: a thermometer beside them, not between)."""
WEAK_SHARE, WEAK_STRING_SHARE, WEAK_STRING_ODDS = 0.10, 0.015, 0.3
"""Capacity that is not there: its width; how sharp one string of several is, and how often it is that (judgement)."""
UNFULL_SOC = 0.08
"""Width of how far short of full a bank is that was called full (judgement), round what its own settings leave."""
FULL_LATELY_H = 48.0
UNFULL_LATELY, UNFULL_LONG_AGO = 1.5, 0.3
"""Its odds where the monitor showed full within these hours, and where it did long before (judgement)."""
TRIPS_AT, TRIP_SHARE = 1.1, 0.1
"""Load over a limit at which one in two trips, as a tenth more is borne for a while, and the standard error of that:
how the load was read, and how sharp the limit is (judgement)."""

_VALUES = {
    DRIFT: np.linspace(0.0, 1.0, 201),
    SAG: np.geomspace(0.3, 20.0, 91),
    UNSEEN: np.geomspace(1.0, 3000.0, 121),
    WEAK: np.linspace(0.0, 0.85, 86),
    UNFULL: np.linspace(0.0, 1.0, 201),
}
_COLD_STEPS, _COLDEST_C = 41, -40.0
_BISECTIONS = 14


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One cause: its odds, its grid, the limit that ends it and the points its loads would have taken.

    Attributes
    ----------
    trips : bool
        Whether a limit of power or current ends it, at any charge.
    drop_soc : (n,) array or None
        Points that it has the monitor count from the evening on; None where the loads as told say so.
    usual : float
        Row of the grid that is usual: its first, or where there is one on either side of it.
    shows : callable or None
        What the monitor would show at the dark at a value between the rows; None where the rows are straight.
    """

    code: str
    odds: float
    grid: Grid
    limit: str
    trips: bool = False
    drop_soc: Floats | None = None
    usual: float = 0.0
    shows: Callable[[float], float] | None = None

    def refined(self, place: float, shown_soc: float) -> float:
        """Return a row with its fraction more exactly, where the rows are not straight between."""
        k = int(place)
        if self.shows is None or place == k or place <= self.usual:
            return place
        low, high = self.grid.at("values", k), self.grid.at("values", k + 1)
        first, last = low, high
        for _ in range(_BISECTIONS):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.shows(middle) < shown_soc else (low, middle)
        return k + (high - first) / (last - first)


class _Base:
    """What the night takes without any fault: where it goes dark, and what load and cold add to that."""

    def __init__(self, night: Night) -> None:
        self.night = night
        self.body = night.told_body
        self.warm = Body(cell_c=max(night.seen.cell_c, ROOM_C))
        self.dark = night.goes_dark(night.power_w)
        self.quiet = min(night.goes_dark(night.mean_w, self.warm), self.dark)
        self.low_soc = min(night.goes_dark(night.mean_w).soc, self.dark.soc)
        self.cold_soc = max(self.dark.soc - night.goes_dark(night.power_w, self.warm).soc, 0.0)

    def share(self, added: Floats) -> Floats:
        """Part of the points that a cause adds beside those of load and cold."""
        other = max(self.dark.soc - self.quiet.soc, 0.0)
        return _part(added, np.full(added.size, other))

    def grid(self, values: Floats, mass: Floats, **more: Floats | float) -> Grid:
        """A grid of the bank as it is, but for what is given."""
        usual: dict[str, Floats | float] = {
            "low_soc": self.low_soc,
            "high_soc": self.dark.soc,
            "offset_soc": 0.0,
            "scale": 1.0,
            "share": 1.0,
            "resistance": 1.0,
            "capacity": 1.0,
            "cell_c": self.body.cell_c,
            "hidden_w": 0.0,
            "short_soc": 0.0,
        }
        columns = {name: np.broadcast_to(value, (values.size,)) for name, value in {**usual, **more}.items()}
        return Grid(values=values, mass=mass, **columns)


def causes(night: Night) -> tuple[Cause, ...]:
    """Return every cause that a night can be asked about."""
    base = _Base(night)
    found = [_empty(base), _drift(base), _sag(base), _cold(base), _weak(base), _unfull(base), *_idle(base)]
    return (*found, *_trips(base))


def drift_width(night: Night) -> float:
    """Width of the monitor's drift by the weeks since it last showed full [-]."""
    hours = since_full_h(night)
    weeks = UNKNOWN_WEEKS if hours is None else hours / (24.0 * 7.0)
    return DRIFT_SOC + DRIFT_PER_WEEK_SOC * weeks


def since_full_h(night: Night) -> float | None:
    """Hours from the monitor's last full to the dark; None where nobody said."""
    full_at = night.seen.full_at
    return None if full_at is None else (night.seen.at - full_at).total_seconds() / 3600.0


def unseen_h(night: Night) -> float:
    """Hours in which a draw that the monitor does not see has emptied the bank: since full, else since the evening."""
    hours = since_full_h(night)
    return night.hours if hours is None else max(hours, night.hours)


def settings_short(night: Night) -> float:
    """Points of the cells that the bank's own charge volts leave unfilled [-]."""
    return max(1.0 - dataclasses.replace(night.bank, top_soc=1.0).top_reached_soc, 0.0)


def _empty(base: _Base) -> Cause:
    """No fault: the charge at which it goes dark with neither the load of that moment nor the cold."""
    grid = base.grid(np.zeros(1), np.ones(1), low_soc=base.quiet.soc, high_soc=base.quiet.soc)
    return Cause(code=EMPTY, odds=ODDS[EMPTY], grid=grid, limit=base.quiet.limit)


def _drift(base: _Base) -> Cause:
    values = _VALUES[DRIFT]
    mass = half_normal(values, drift_width(base.night))
    grid = base.grid(values, mass, offset_soc=values, share=base.share(values))
    return Cause(code=DRIFT, odds=ODDS[DRIFT], grid=grid, limit=base.dark.limit)


def _sag(base: _Base) -> Cause:
    """Resistance so many times that of the cells; what the load adds is counted for it, what the cold adds is not."""
    values, night = _VALUES[SAG], base.night

    def body(factor: float) -> Body:
        return Body(cell_c=base.body.cell_c, resistance=factor)

    ends, low, high = _ends(night, [body(float(f)) for f in values])
    share = _part(high - night.goes_dark(night.mean_w).soc, np.full(values.size, base.cold_soc))
    mass = log_normal(values, SAG_MIDDLE, SAG_FACTOR)
    grid = base.grid(values, mass, low_soc=low, high_soc=high, resistance=values, share=share)
    usual = float(np.interp(1.0, values, np.arange(values.size)))
    return Cause(
        code=SAG,
        odds=ODDS[SAG],
        grid=grid,
        limit=_limit_at(ends, grid, night),
        usual=usual,
        shows=lambda factor: night.goes_dark(night.power_w, body(factor)).soc,
    )


def _cold(base: _Base) -> Cause:
    """Cells colder than told by so many degrees; what the load adds is not counted for it.

    Cells too cold to give any current end it at any charge, as a limit of power does.
    """
    night, told_c = base.night, base.body.cell_c
    if base.dark.limit == TOO_COLD:
        at_any = base.grid(np.zeros(1), np.ones(1), low_soc=0.0, high_soc=1.0)
        return Cause(code=COLD, odds=ODDS[COLD], grid=at_any, limit=TOO_COLD, trips=True)
    values = np.linspace(0.0, max(told_c - _COLDEST_C, 1.0), _COLD_STEPS)
    bodies = [Body(cell_c=told_c - float(by)) for by in values]
    ends, low, high = _ends(night, bodies)
    share = _part(high - night.goes_dark(night.power_w, base.warm).soc, high - low)
    low = np.where([end.limit == TOO_COLD for end in ends], 0.0, low)
    cell_c = np.array([body.cell_c for body in bodies])
    mass = half_normal(values, COLD_C)
    grid = base.grid(values, mass, low_soc=low, high_soc=high, cell_c=cell_c, share=share)

    def shows(by_c: float) -> float:
        return night.goes_dark(night.power_w, Body(cell_c=told_c - by_c)).soc

    return Cause(code=COLD, odds=ODDS[COLD], grid=grid, limit=_limit_at(ends, grid, night), shows=shows)


def _weak(base: _Base) -> Cause:
    """Less capacity than tested by so large a part: from full on the monitor counts Ah that are not there."""
    values, night = _VALUES[WEAK], base.night
    there = 1.0 - values
    ends, low, high = _ends(night, [Body(cell_c=base.body.cell_c, capacity=float(share)) for share in there])
    mass, strings = half_normal(values, WEAK_SHARE), night.bank.parallel
    if strings > 1:
        lost = half_normal(values, WEAK_STRING_SHARE, 1.0 / strings)
        mass = (1.0 - WEAK_STRING_ODDS) * mass + WEAK_STRING_ODDS * lost
    added = values + there * high - base.dark.soc
    grid = base.grid(
        values,
        mass,
        low_soc=low,
        high_soc=high,
        offset_soc=values,
        scale=there,
        capacity=there,
        share=base.share(added),
    )

    def shows(lacking: float) -> float:
        body = Body(cell_c=base.body.cell_c, capacity=1.0 - lacking)
        return lacking + (1.0 - lacking) * night.goes_dark(night.power_w, body).soc

    return Cause(code=WEAK, odds=ODDS[WEAK], grid=grid, limit=_limit_at(ends, grid, night), shows=shows)


def _unfull(base: _Base) -> Cause:
    """Called full so many points short of it."""
    values, hours = _VALUES[UNFULL], since_full_h(base.night)
    recent = 1.0 if hours is None else UNFULL_LATELY if hours <= FULL_LATELY_H else UNFULL_LONG_AGO
    mass = half_normal(values, UNFULL_SOC, settings_short(base.night))
    grid = base.grid(values, mass, offset_soc=values, short_soc=values, share=base.share(values))
    return Cause(code=UNFULL, odds=ODDS[UNFULL] * recent, grid=grid, limit=base.dark.limit)


def _idle(base: _Base) -> list[Cause]:
    """A steady draw nobody knows of: past the monitor, and, where the evening's charge was read, through it."""
    values, night = _VALUES[UNSEEN], base.night
    mass = log_normal(values, IDLE_MIDDLE_W, IDLE_FACTOR)
    taken = np.array([night.points_of(float(w), unseen_h(night)) for w in values])
    past = base.grid(values, mass, offset_soc=taken, hidden_w=values, share=base.share(taken))
    found = [Cause(code=UNSEEN, odds=ODDS[UNSEEN], grid=past, limit=base.dark.limit)]
    if night.seen.evening_soc is not None:
        more = np.array([night.points_of(float(w), night.hours) for w in values])
        through = base.grid(values, mass, hidden_w=values, share=base.share(more))
        drop = night.expected_drop + more
        found.append(Cause(code=IDLE, odds=ODDS[IDLE], grid=through, limit=base.dark.limit, drop_soc=drop))
    return found


def _trips(base: _Base) -> list[Cause]:
    """Limits of power and current: whatever the charge, one value each, the load as a share of the limit."""
    night = base.night
    found = [_trip(base, OVERLOAD, night.seen.load_w / night.inverter.rated_w)]
    board = night.bank.board
    if board is not None:
        volts = night.bank.series * night.bank.cell.v_nominal
        found.append(_trip(base, CURRENT, night.power_w / volts / board.current_limit_a))
    return found


def _trip(base: _Base, code: str, of_limit: float) -> Cause:
    chance = above((TRIPS_AT - of_limit) / TRIP_SHARE)
    grid = base.grid(np.array([of_limit]), np.array([chance]), low_soc=0.0, high_soc=1.0)
    return Cause(code=code, odds=ODDS[code], grid=grid, limit=code, trips=True)


def _ends(night: Night, bodies: list[Body]) -> tuple[list[GoesDark], Floats, Floats]:
    """Where each of some bodies ends under the load, and the lowest and highest charge of that [-], never falling."""
    ends = [night.goes_dark(night.power_w, body) for body in bodies]
    high = np.maximum.accumulate(np.array([end.soc for end in ends]))
    low = np.maximum.accumulate(np.array([night.goes_dark(night.mean_w, body).soc for body in bodies]))
    return ends, np.minimum(low, high), high


def _part(added: Floats, other: Floats) -> Floats:
    """Points of a cause over all that is added, a hundredth never being told apart."""
    mine, rest = np.maximum(added, 0.0), np.maximum(other, 0.0)
    return mine / (mine + rest + LEAST_SHARE_SOC)


def _limit_at(ends: list[GoesDark], grid: Grid, night: Night) -> str:
    """The limit that ends it where the monitor shows what was seen, or at the last value."""
    reached = np.flatnonzero(grid.shown_soc >= night.seen.soc)
    return ends[int(reached[0]) if reached.size else -1].limit
