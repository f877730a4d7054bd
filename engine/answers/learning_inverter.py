"""What the inverter draws: its idle draw and its losses, from what it took and what the sockets got.

Taken in at the battery side is `idle + (1 + k1) ac + k2 ac^2 / rated`; the three are fitted to all hours that know both
sides, each counted by its own size, because meters are wrong in proportion; the square is the mean of that of its rows.
Where only the battery side is known the quietest hours bound the idle draw from above, and no more is claimed.
Not modelled: a sleep mode, losses that change
with volts or warmth, loads that come and go within a row.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from engine.answers.learning_parts import (
    LEAST_DAYS,
    METER_SHARE,
    QUIET_W,
    SHUNT_ZERO_A,
    Change,
    Effect,
    Evidence,
    Flags,
    Floats,
    Lesson,
    Missing,
    half_width,
    pack_v,
    together,
)
from engine.balance.forcing import mean_dc_w
from engine.house.inverter import Inverter
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH

IDLE, LOSSES = "idle", "losses"
TITLES = {IDLE: "Idle draw of the inverter", LOSSES: "Losses of the inverter"}
LEAST_ON_W = 1.0
"""Below this at the battery side the inverter is off (judgement)."""
_FAR = 6.0
"""Rows so many times the usual miss away are faults of a meter, and left out (choice)."""
_QUIETEST = 0.05
_WIDEST_W, _WIDEST_SHARE = 10.0, 0.5
_NIGHT_FROM, _NIGHT_TO = 0, 6
_HOW = (
    "Taken at the battery side is laid against given at the sockets, hour by hour, and fitted by idle + (1 + k1) P + "
    "k2 P² ÷ rated power. The idle draw is where the line meets no load. The interval is from drawing the weeks of the "
    "log again, from taking either side’s meter for the exact one, from meters that may each be wrong by 1 %, and "
    "from a zero that may be off by 20 mA at the battery side "
    "(typical, from memory)."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Draw:
    """What was drawn at the battery side in each row [W], NaN where it is not known; `by_night` only there."""

    watts: Floats
    by_night: bool


def drawn(e: Evidence) -> Draw | None:
    """Return what the inverter drew: as a meter says it, else what the bank gave while the panels gave nothing."""
    no_generator = e.quiet("generator_w")
    direct = e.column("load_dc_w")
    if direct is not None:
        return Draw(watts=np.where(no_generator & (direct > LEAST_ON_W), direct, np.nan), by_night=False)
    bank, panels = e.column("bank_w"), e.column("yield_w")
    if bank is None or panels is None:
        return None
    dark = no_generator & (np.abs(panels) < QUIET_W) & (-bank > LEAST_ON_W)
    return Draw(watts=np.where(dark, -bank, np.nan), by_night=True)


def inverter_lessons(e: Evidence) -> tuple[tuple[Lesson, ...], tuple[Missing, ...]]:
    """Return what a log tells of the inverter, and what it does not."""
    draw, given = drawn(e), e.column("load_w")
    if draw is None:
        text = "It takes what the inverter drew at the battery side; or, to know it by night, yield and bank power."
        return (), _missing((IDLE, LOSSES), text)
    if given is None:
        text = "It takes the load at the sockets beside what the inverter drew at the battery side."
        bound, missing = _bound(e, draw)
        return bound, (*missing, *_missing((LOSSES,), text))
    both = np.isfinite(draw.watts) & np.isfinite(given) & (given >= 0.0)
    days = np.unique(e.day[both]).size
    if days < LEAST_DAYS:
        text = f"Both sides of the inverter are known on {days} days; it takes {LEAST_DAYS}."
        return (), _missing((IDLE, LOSSES), text)
    return _fitted(e, draw, given, both)


def _missing(which: tuple[str, ...], text: str) -> tuple[Missing, ...]:
    return tuple(Missing(id=one, title=TITLES[one], text=text) for one in which)


def _fitted(e: Evidence, draw: Draw, given: Floats, both: Flags) -> tuple[tuple[Lesson, ...], tuple[Missing, ...]]:
    inverter = e.supply.inverter
    parts = _sums(e, draw.watts, given, both)
    idle, k1, k2 = _solved(parts.sum(axis=0))
    if not np.isfinite(idle):
        text = "The load at the sockets never changes, so what the inverter adds to it cannot be told apart."
        return (), _missing((IDLE, LOSSES), text)
    miss = draw.watts / _curve(given, idle, k1, k2, inverter.rated_w) - 1.0
    usual = 1.4826 * float(np.median(np.abs(miss[both])))
    both = both & (np.abs(miss) <= _FAR * max(usual, 1e-3))
    parts = _sums(e, draw.watts, given, both)
    idle, k1, k2 = _solved(parts.sum(axis=0))
    days = int((parts[:, 0] > 0.0).sum())
    other = _solved(parts.sum(axis=0), by_drawn=True)[0]
    by_chance_w, by_way_w = half_width(parts, lambda one: _solved(one)[0]), 0.5 * abs(other - idle)
    idle = 0.5 * (idle + other)
    half_w = together(by_chance_w, by_way_w, METER_SHARE * abs(idle), SHUNT_ZERO_A * pack_v(e))
    lessons: list[Lesson] = []
    missing: list[Missing] = []
    on_dc = any(load.measured == "battery" for load in e.supply.loads) and draw.by_night
    if half_w > max(_WIDEST_W, _WIDEST_SHARE * idle) or idle + half_w <= 0.0:
        text = f"Its rows leave it open by {half_w:.0f} W either way: the load at the sockets hardly changes, or never "
        missing += _missing((IDLE,), text + "comes down to little.")
    elif on_dc:
        text = f"What is drawn with nothing at the sockets is {idle:.0f} W, but loads on DC are in that as well."
        missing += _missing((IDLE,), text)
    else:
        lessons.append(_idle(e, draw, max(idle, 0.0), half_w, days))
    lessons.append(_losses(e, draw, parts, (max(idle, 0.0), k1, k2), days))
    return tuple(lessons), tuple(missing)


def _sums(e: Evidence, draw: Floats, given: Floats, both: Flags) -> Floats:
    """Sums of each day, (days, 18): equations of the fit, energies, hours, equations by what was drawn."""
    rated = e.supply.inverter.rated_w
    row_h, row_p = e.log.step_s[both] / 3600.0, given[both]
    _, first, which = np.unique(e.log.start_s[both] // 3600.0, return_index=True, return_inverse=True)
    hours = np.bincount(which, weights=row_h)
    p, y, square = (
        np.bincount(which, weights=row_h * one) / hours for one in (row_p, draw[both], row_p * row_p / rated)
    )
    day = e.day[both][first]
    weight = hours / np.square(np.maximum(y, QUIET_W))
    drawn_square = y * y / rated
    columns = (
        weight,
        weight * p,
        weight * square,
        weight * p * p,
        weight * p * square,
        weight * square * square,
        weight * y,
        weight * p * y,
        weight * square * y,
        hours * p,
        hours * y,
        hours,
        weight * y * square,
        weight * y * y,
        weight * drawn_square,
        weight * drawn_square * p,
        weight * drawn_square * square,
        weight * drawn_square * y,
    )
    count = int(e.day[-1]) + 1
    return np.stack([np.bincount(day, weights=one, minlength=count) for one in columns], axis=1)


def _solved(s: Floats, *, by_drawn: bool = False) -> tuple[float, float, float]:
    """Idle [W], k1 and k2 of sums; no k2 below zero, and none where the loads do not tell it.

    Least squares take the sockets' meter for exact, and put the idle draw too high where it is coarse; `by_drawn` takes
    the battery side's for exact, and errs the other way.
    """
    if by_drawn:
        normal = np.array([[s[0], s[1], s[2]], [s[6], s[7], s[12]], [s[14], s[15], s[16]]])
        right = np.array([s[6], s[13], s[17]])
    else:
        normal = np.array([[s[0], s[1], s[2]], [s[1], s[3], s[4]], [s[2], s[4], s[5]]])
        right = np.array([s[6], s[7], s[8]])
    scale = np.sqrt(np.maximum([s[0], s[3], s[5]], 1e-12))
    scaled = normal / np.outer(scale, scale)
    if np.linalg.cond(scaled) < 1e8:
        idle, slope, square = np.linalg.solve(scaled, right / scale) / scale
        if square >= 0.0:
            return float(idle), float(slope - 1.0), float(square)
    if not abs(np.linalg.det(scaled[:2, :2])) > 1e-9:
        return float("nan"), float("nan"), 0.0
    idle, slope = np.linalg.solve(scaled[:2, :2], right[:2] / scale[:2]) / scale[:2]
    return float(idle), float(slope - 1.0), 0.0


def _curve(p: Floats, idle: float, k1: float, k2: float, rated: float) -> Floats:
    return np.maximum(idle + (1.0 + k1) * p + k2 * p * p / rated, QUIET_W)


def _day_kwh(e: Evidence, inverter: Inverter) -> float:
    """Drawn from the bank on the mean day of a year with another inverter [kWh]."""
    supply = dataclasses.replace(e.supply, inverter=inverter)
    mean_w = np.mean([mean_dc_w(e.household, supply, month) for month in range(1, 13)])
    return float(mean_w) * HOURS_PER_DAY / WH_PER_KWH


def _effect(e: Evidence, **fields: float) -> Effect:
    inverter = e.supply.inverter
    after = dataclasses.replace(inverter, **fields)  # type: ignore[arg-type]
    return Effect(
        label="Drawn from the bank on a mean day of the year",
        unit="kWh",
        before=_day_kwh(e, inverter),
        after=_day_kwh(e, after),
    )


def _where(draw: Draw) -> str:
    return "by night, from what the bank gave" if draw.by_night else "by day and night"


def _idle(e: Evidence, draw: Draw, idle: float, half_w: float, days: int) -> Lesson:
    inverter = e.supply.inverter
    used = round(idle, 1)
    return Lesson(
        id=IDLE,
        title=TITLES[IDLE],
        text=f"With nothing at the sockets {inverter.name} draws {idle:.1f} W, give or take {half_w:.1f} W.",
        value=idle,
        low=max(idle - half_w, 0.0),
        high=idle + half_w,
        unit="W",
        days=days,
        how=f"{_HOW} Rows were taken {_where(draw)}.",
        caveats=("What hangs on the battery side all the time, such as the monitor or a router on DC, is in it.",),
        changes=(Change(part="inverters", id=inverter.id, fields={"idle_w": used}),),
        now=inverter.idle_w,
        effect=_effect(e, idle_w=used),
    )


def _losses(e: Evidence, draw: Draw, parts: Floats, fit: tuple[float, float, float], days: int) -> Lesson:
    inverter = e.supply.inverter
    sums = parts.sum(axis=0)
    share = float(sums[9] / sums[10])
    by_chance = half_width(parts, lambda one: float(one[9] / one[10]))
    half = together(by_chance, share * METER_SHARE * 2.0**0.5)
    idle, k1, k2 = (round(max(fit[0], 0.0), 1), round(min(max(fit[1], 0.0), 1.0), 4), round(min(fit[2], 1.0), 4))
    mean_w = float(sums[9] / sums[11])
    fields = {"idle_w": idle, "k1": k1, "k2": k2}
    return Lesson(
        id=LOSSES,
        title=TITLES[LOSSES],
        text=f"Of what it drew at the battery side {share * 100:.1f} % came out at the sockets, {_where(draw)}, at a "
        f"mean load of {mean_w:.0f} W.",
        value=share,
        low=max(share - half, 0.0),
        high=min(share + half, 1.0),
        unit="share",
        days=days,
        how=_HOW,
        caveats=(
            "Two meters, each 1 % wrong, move it by 1.4 % together: a k1 below zero is taken as zero.",
            "Losses near full power are an extrapolation where the house seldom asks for it.",
            "It sets idle draw, loss in step with power and loss with its square together, for they belong together.",
        ),
        changes=(Change(part="inverters", id=inverter.id, fields=fields),),
        now=inverter.efficiency(mean_w),
        effect=_effect(e, **fields),
    )


def _bound(e: Evidence, draw: Draw) -> tuple[tuple[Lesson, ...], tuple[Missing, ...]]:
    """What the quietest hours draw: the idle draw and all that is always on, so at least the idle draw."""
    hour = ((e.log.start_s / 3600.0 + e.household.site.utc_offset_h) % HOURS_PER_DAY).astype(np.int64)
    there = np.isfinite(draw.watts) & (hour >= _NIGHT_FROM) & (hour < _NIGHT_TO)
    days = np.unique(e.day[there]).size
    if days < LEAST_DAYS:
        return (), _missing((IDLE,), f"The draw by night is known on {days} days; it takes {LEAST_DAYS}.")
    quietest = float(np.quantile(draw.watts[there], _QUIETEST))
    high, inverter = quietest * (1.0 + METER_SHARE), e.supply.inverter
    if inverter.idle_w <= high:
        text = (
            f"The quietest rows by night draw {quietest:.0f} W, idle draw and all that is always on together. Your "
            f"{inverter.idle_w:g} W may well be right. To part the two, the load at the sockets must be in the log."
        )
        return (), _missing((IDLE,), text)
    used = round(quietest, 1)
    lesson = Lesson(
        id=IDLE,
        title=TITLES[IDLE],
        text=f"The quietest rows by night draw {quietest:.0f} W with all that is always on: idle, at most that.",
        value=quietest,
        low=0.0,
        high=high,
        unit="W",
        days=days,
        how="The draw at the battery side that one row in twenty between midnight and six stays below.",
        caveats=("It is an upper bound, not the idle draw itself.",),
        changes=(Change(part="inverters", id=inverter.id, fields={"idle_w": used}),),
        now=inverter.idle_w,
        effect=_effect(e, idle_w=used),
    )
    return (lesson,), ()
