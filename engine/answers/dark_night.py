"""The night run again: at which charge a bank goes dark under a draw, and its charge from the evening on.

Powers are W drawn from the bus, hours count from the evening's reading, charges are shares of tested Ah. No sun
shines from the evening to the dark. Not modelled: surges of a second, cells that warm by their own current.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from math import sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.answers.coming import LEAST_MEAN_W
from engine.answers.dark_seen import Seen
from engine.balance.forcing import load_hours
from engine.balance.step import Plant, State, first_short, plant
from engine.balance.trajectory import hour, leaked_in
from engine.cells.chemistry import CellTable, arrays, capacity_share
from engine.house.bank import Bank, c_rate, cutoff_cell_v
from engine.house.household import Household, Supply
from engine.house.inverter import Inverter

Floats = NDArray[np.float64]

EVENING_HOUR = 18
"""Where nobody read the charge in the evening the night begins here, local standard time (choice)."""
LEAST_NIGHT_H = 1.0
TOO_COLD = "cold"
"""The limit that ends it where the cells are too cold to give any current, whatever their charge."""
LAST_H = 3.0
"""How long the load of the last moment goes on in a rerun, to see whether it ends at all [h] (choice)."""
_MOST_SCALE = 20.0


class GoesDark(NamedTuple):
    """The charge at which it goes dark [-] and the limit that ends it; 1 where not even a full bank carries it."""

    soc: float
    limit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """How a bank may differ from what the household says of it.

    Attributes
    ----------
    cell_c : float
        Temperature of the cells [degC].
    resistance : float
        Factor of its resistance [-].
    capacity : float
        Share of its tested Ah that is there [-].
    """

    cell_c: float
    resistance: float = 1.0
    capacity: float = 1.0


class Loaded(NamedTuple):
    """A cell under a draw: rested volts, what the current takes off them within minutes [V], and the current [C]."""

    ocv_v: float
    sag_v: float
    rate_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rerun:
    """One rerun of the night: hours from the evening [h], charge at them [-], and when it ended; None if not."""

    times_h: tuple[float, ...]
    soc: tuple[float, ...]
    ended_h: float | None
    limit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """The night of one bank.

    Attributes
    ----------
    bank : Bank
        At the temperature told and without its reserve, which no inverter and no board knows.
    inverter : Inverter
        As entered, for its limits.
    lengths_h, draws_w : tuple of float
        Intervals from the evening to the dark [h], and what the loads as told draw from the bus in each [W].
    power_w, mean_w : float
        Drawn from the bus at the last moment, and on the mean of the evening [W].
    start_at : datetime
        The evening's reading, or the hour that stands for it.
    start_soc : float
        What the monitor showed then, or would have [-].
    expected_drop : float
        Points that the loads as told take from then to the dark [-].
    """

    bank: Bank
    inverter: Inverter
    seen: Seen
    lengths_h: tuple[float, ...]
    draws_w: tuple[float, ...]
    power_w: float
    mean_w: float
    start_at: datetime
    start_soc: float
    expected_drop: float

    @property
    def hours(self) -> float:
        """From the evening's reading to the dark [h]."""
        return sum(self.lengths_h)

    @property
    def told_body(self) -> Body:
        """The bank as the household says, at the temperature told."""
        return Body(cell_c=self.seen.cell_c)

    def goes_dark(self, power_w: float, body: Body | None = None) -> GoesDark:
        """Return the charge at which it goes dark under a draw [W]."""
        return goes_dark(self.bank, self.inverter, power_w, self.mean_w, body or self.told_body)

    def loaded(self, soc: float, power_w: float, body: Body | None = None) -> Loaded:
        """Return what a cell shows at a charge [-] under a draw of the bank [W]."""
        body = body or self.told_body
        curve = arrays(self.bank.cell, body.cell_c)
        ocv_v, slow, fast = (float(np.interp(soc, curve.soc, c)) for c in (curve.ocv_v, curve.r_drawn, curve.r_fast))
        power_v = power_w / (self.bank.series * self.bank.ah * body.capacity)
        rate = 2.0 * power_v / (ocv_v + sqrt(max(ocv_v**2 - 4.0 * slow * body.resistance * power_v, 0.0)))
        return Loaded(ocv_v, rate * fast * body.resistance, rate)

    def plant(self, body: Body) -> Plant:
        """Return what a step needs, for a bank that differs so; its inverter passes draws of the bus as they are."""
        p = plant(dataclasses.replace(self.bank, cell_c=body.cell_c), self.inverter, self.mean_w)
        through = dataclasses.replace(self.inverter, idle_w=0.0, k1=0.0, k2=0.0, rated_w=1_000_000.0)
        return dataclasses.replace(
            p,
            series_ah=p.series_ah * body.capacity,
            cells=_resisting(p.cells, body.resistance),
            floor_soc=_out_of_reach(self.bank, self.mean_w, body),
            floor_name="cold or rate",
            discharge_c_max=_most_c(self.bank, body),
            inverter=through,
        )

    def counted(self, start_soc: float, body: Body, scale: float = 1.0) -> float:
        """Charge that the evening's draws take with no limit in their way, of what is there [-]."""
        soc = start_soc
        for length_h, draw_w in zip(self.lengths_h, self.draws_w, strict=True):
            half = 0.5 * length_h * self.loaded(soc, draw_w * scale, body).rate_c
            soc -= length_h * self.loaded(soc - half, draw_w * scale, body).rate_c
        return start_soc - soc

    def rerun(self, start_soc: float, body: Body, more_w: float = 0.0) -> Rerun:
        """Run the evening's draws from a charge on, then the load of the last moment, to where it ends.

        The draws are scaled to what the monitor counted from the evening on.
        """
        start = min(max(start_soc, 0.0), 1.0)
        scale = self._scale(start, body)
        intervals = [*((h, w * scale) for h, w in zip(self.lengths_h, self.draws_w, strict=True))]
        return _run(self.plant(body), start, [(h, w + more_w) for h, w in (*intervals, (LAST_H, self.power_w))])

    def _scale(self, start_soc: float, body: Body) -> float:
        """Factor of the evening's draws with which the monitor counts from its first reading to its last."""
        wanted, scale = (self.start_soc - self.seen.soc) / body.capacity, 1.0
        for _ in range(4):
            found = self.counted(start_soc, body, scale)
            scale = min(scale * wanted / found, _MOST_SCALE) if found > 0.0 else scale
        return scale

    def points_of(self, watts: float, hours: float) -> float:
        """Charge that a steady draw takes in some hours, at the volts of the night [-]."""
        curve = arrays(self.bank.cell, self.seen.cell_c)
        volts = float(np.interp(0.5 * (self.start_soc + self.seen.soc), curve.soc, curve.ocv_v))
        return watts * hours / (self.bank.series * self.bank.ah * volts)


def night(household: Household, supply: Supply, seen: Seen) -> Night:
    """Put together the night of the one bank of a supply.

    Where nobody read the charge in the evening, it starts at what the loads would have led on from.
    """
    inverter = supply.inverter
    bank = dataclasses.replace(supply.bank, cell_c=seen.cell_c, reserve_soc=0.0, reserve_v=None)
    start_at = seen.evening_at or _evening(seen.at)
    lengths_h, asked_w, battery_w = _loads(household, supply, seen, start_at)
    mean_w = max(float(np.average(asked_w, weights=lengths_h)), LEAST_MEAN_W)
    night_of = Night(
        bank=bank,
        inverter=inverter,
        seen=seen,
        lengths_h=lengths_h,
        draws_w=asked_w,
        power_w=inverter.dc_w(min(seen.load_w, inverter.rated_w)) + battery_w,
        mean_w=mean_w,
        start_at=start_at,
        start_soc=1.0,
        expected_drop=0.0,
    )
    if seen.evening_soc is None:
        drop = night_of.counted(seen.soc, night_of.told_body)
        drop = night_of.counted(min(seen.soc + drop, 1.0), night_of.told_body)
        return dataclasses.replace(night_of, start_soc=min(seen.soc + drop, 1.0), expected_drop=drop)
    drop = night_of.counted(seen.evening_soc, night_of.told_body)
    return dataclasses.replace(night_of, start_soc=seen.evening_soc, expected_drop=drop)


def goes_dark(bank: Bank, inverter: Inverter, power_w: float, mean_w: float, body: Body) -> GoesDark:
    """Return the highest charge at which a bank on its way down goes dark under a draw.

    Parameters
    ----------
    power_w : float
        Drawn at that moment [W].
    mean_w : float
        Drawn on the mean of the hours before [W], at which cold and rate are read.

    Notes
    -----
    As `engine.balance.step`: the current from the resistance of hours, the sagging volts from that of minutes.
    """
    curve = arrays(bank.cell, body.cell_c)
    most_c = _most_c(bank, body)
    if most_c <= 0.0:
        return GoesDark(1.0, TOO_COLD)
    power_v = power_w / (bank.series * bank.ah * body.capacity)
    under_root = curve.ocv_v**2 - 4.0 * body.resistance * curve.r_drawn * power_v
    rate = 2.0 * power_v / (curve.ocv_v + np.sqrt(np.maximum(under_root, 0.0)))
    cut_v = cutoff_cell_v(bank, inverter)
    margin_v = np.where(under_root < 0.0, -cut_v, curve.ocv_v - rate * body.resistance * curve.r_fast - cut_v)
    floor = _out_of_reach(bank, mean_w, body)
    volts, current = _last_bad(curve.soc, margin_v), _last_bad(curve.soc, most_c - rate)
    by_board = bank.board is not None and bank.board.cell_low_v * bank.series > inverter.dc_min_v
    limits = ((floor, "cold or rate"), (volts, "board" if by_board else "inverter"), (current, "current"))
    return GoesDark(*max(limits, key=lambda pair: pair[0]))


def _last_bad(soc: Floats, margin: Floats) -> float:
    """Highest charge at which a margin is below 0, linear between the points; 0 if it never is."""
    bad = np.flatnonzero(margin < 0.0)
    if not bad.size:
        return 0.0
    k = int(bad[-1])
    if k + 1 == soc.size:
        return 1.0
    below, above = float(margin[k]), float(margin[k + 1])
    return float(soc[k] + (soc[k + 1] - soc[k]) * below / (below - above))


def _most_c(bank: Bank, body: Body) -> float:
    """Highest discharge current, of what is there [C]."""
    if body.cell_c < bank.cell.discharge_min_c:
        return 0.0
    board_c = np.inf if bank.board is None else bank.board.current_limit_a / (bank.ah * body.capacity)
    return float(min(bank.cell.discharge_c_max, board_c))


def _out_of_reach(bank: Bank, mean_w: float, body: Body) -> float:
    return 1.0 - capacity_share(bank.cell, body.cell_c, c_rate(bank, mean_w) / body.capacity)


def _resisting(cells: CellTable, factor: float) -> CellTable:
    if factor == 1.0:
        return cells
    return dataclasses.replace(
        cells,
        r_slow=[r * factor for r in cells.r_slow],
        r_drawn=[r * factor for r in cells.r_drawn],
        r_fast=[r * factor for r in cells.r_fast],
    )


def _evening(at: datetime) -> datetime:
    """The evening before a moment."""
    start = at.replace(hour=EVENING_HOUR, minute=0, second=0, microsecond=0)
    return start if (at - start).total_seconds() >= LEAST_NIGHT_H * 3600.0 else start - timedelta(days=1)


def _loads(
    household: Household, supply: Supply, seen: Seen, start: datetime
) -> tuple[tuple[float, ...], tuple[float, ...], float]:
    """Lengths of the intervals up to the dark [h], draws in them, and what the battery side took at last [W]."""
    ac_w, dc_w = load_hours(household, supply, start, (seen.at.date() - start.date()).days + 1)
    edges = [start, *_whole_hours(start, seen.at), seen.at]
    lengths, draws = [], []
    for begin, end in pairwise(edges):
        place = (begin.date() - start.date()).days * 24 + begin.hour
        asked_w = float(ac_w[place]) if seen.evening_w is None else seen.evening_w
        lengths.append((end - begin).total_seconds() / 3600.0)
        draws.append(supply.inverter.dc_w(min(asked_w, supply.inverter.rated_w)) + float(dc_w[place]))
    last = (seen.at.date() - start.date()).days * 24 + seen.at.hour
    return tuple(lengths), tuple(draws), float(dc_w[last])


def _whole_hours(start: datetime, end: datetime) -> list[datetime]:
    at = start.replace(minute=0, second=0, microsecond=0) + timedelta(hours=1)
    found = []
    while at < end:
        found.append(at)
        at += timedelta(hours=1)
    return found


def _run(p: Plant, start_soc: float, intervals: list[tuple[float, float]]) -> Rerun:
    state, elapsed_h = State(start_soc), 0.0
    times, soc = [0.0], [start_soc]
    for length_h, draw_w in intervals:
        leaked, _ = leaked_in(p, state.soc, length_h)
        state, flows = hour(
            p, State(state.soc - leaked, state.on, state.full), 0.0, draw_w, 0.0, length_h, until_short=True
        )
        short = first_short(flows)
        lasted_h = length_h if short is None else sum(flow.hours for flow in flows[:short])
        elapsed_h += lasted_h
        times.append(elapsed_h)
        soc.append(state.soc)
        if short is not None:
            return Rerun(times_h=tuple(times), soc=tuple(soc), ended_h=elapsed_h, limit=flows[short].limit)
    return Rerun(times_h=tuple(times), soc=tuple(soc), ended_h=None, limit="")
