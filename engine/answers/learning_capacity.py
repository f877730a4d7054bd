"""What the bank really holds, from ampere-hours counted since it was full and volts that tell the charge by themselves.

After a full charge the ampere-hours drawn are counted; later, with next to no current, the volts tell what share is
left, by the chemistry's curve. Ampere-hours over the share that is gone is the capacity. It needs a curve that slopes
there: on the flat of LFP volts tell nothing, so only deep discharges count. A monitor's percent is not used: it is
counted by the capacity it was told. Not modelled: hysteresis, cells of one string that differ.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.answers.learning_charge import needs_one_bank
from engine.answers.learning_fulls import LEAST_FULLS, MOST_UNKNOWN_SHARE, Counted
from engine.answers.learning_parts import (
    DRAWS,
    METER_SHARE,
    SHUNT_ZERO_A,
    VOLTS_SHARE,
    Change,
    Effect,
    Evidence,
    Floats,
    Lesson,
    Missing,
    draws,
    in_blocks,
    together,
)
from engine.cells.chemistry import TABLE_C, arrays
from engine.house.bank import Bank
from engine.quantities import HOURS_PER_DAY
from engine.text.clocks import DAY_S

CAPACITY, TITLE = "capacity", "Capacity of the bank"
CURVE_V = 0.010
"""Rested volts of a cell may differ so much from the chemistry's curve, 95 % (judgement: cells of one chemistry)."""
RESISTANCE_SHARE = 0.4
"""The cells' resistance may differ by so much, 95 % (judgement)."""
_REST_C = 0.08
_REST_H = 2.0
_MOST_DAYS = 4.0
_LEAST_GONE_SOC = 0.25
_WIDEST_OF_GONE = 0.08
_WIDEST_SHARE = 0.15
_FARTHER = 1.5
_LEAST_OPEN_SOC = 0.01
_MEAN_S = 3600.0
_GIVEN_BACK = 0.01
_FULL_SOC = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Points:
    """Rows at which volts can tell a charge, (m,): ampere-hours drawn since full, volts and current of one cell [V, C],
    the same of the row it was full at, days since, charge that volts leave open, and which full it follows."""

    ah: Floats
    cell_v: Floats
    c_rate: Floats
    full_v: Floats
    full_c: Floats
    days: Floats
    in_ah: Floats
    open_soc: Floats
    span: NDArray[np.int64]


def capacity_lesson(e: Evidence, found: Counted | None) -> tuple[tuple[Lesson, ...], tuple[Missing, ...]]:
    """Return the capacity a log tells, or why it cannot."""
    why = needs_one_bank(e)
    if not why and found is None:
        why = "It takes the current and the volts of the bank."
    if why or found is None:
        return (), (Missing(id=CAPACITY, title=TITLE, text=why),)
    points = _points(e, found)
    if np.unique(points.span).size < LEAST_FULLS:
        return (), (Missing(id=CAPACITY, title=TITLE, text=_too_few(e, found, np.unique(points.span).size)),)
    ah, half = _told(e, points)
    if not half <= _WIDEST_SHARE * ah:
        text = (
            f"Volts and counted ampere-hours give about {ah:.0f} Ah, but leave {half / ah * 100:.0f} % open: "
            f"rested volts of {e.supply.bank.cell.name} change too little with the charge. A test of a cell tells "
            "it better."
        )
        return (), (Missing(id=CAPACITY, title=TITLE, text=text),)
    return (_lesson(e, points, ah, half),), ()


def _too_few(e: Evidence, c: Counted, found: int) -> str:
    return (
        f"It takes {LEAST_FULLS} times that the bank came from full down to where its volts tell the charge, within "
        f"{_MOST_DAYS:.0f} days; the log shows {found}, and {c.full.size} days on which it was full. The curve of "
        f"{e.supply.bank.cell.name} must slope there: on its flat parts volts tell nothing, and a monitor’s percent is "
        "counted by what it was told. A test of a cell, or one discharge from full to the cut-off, would tell."
    )


def _points(e: Evidence, c: Counted) -> Points:
    """Rows near rest, some time after a full charge, at volts that tell the charge well enough."""
    bank, log = e.supply.bank, e.log
    current, volts = log.values["bank_a"], log.values["bank_v"]
    rows = np.flatnonzero(np.isfinite(volts) & (current <= 0.0) & (current >= -_REST_C * bank.ah))
    charging = np.flatnonzero(current > 1e-3 * bank.ah)
    if not (c.full.size and charging.size):
        return _none()
    since = np.searchsorted(c.full, rows, side="left") - 1
    rows, since = rows[since >= 0], since[since >= 0]
    full = c.full[since]
    before = np.searchsorted(charging, rows) - 1
    ended_s = log.start_s[charging[np.maximum(before, 0)]] + log.step_s[charging[np.maximum(before, 0)]]
    days = (log.start_s[rows] - c.edge_s[full + 1]) / DAY_S
    lost_s = c.unknown_s[rows + 1] - c.unknown_s[full + 1]
    fit = (log.start_s[rows] - ended_s >= _REST_H * 3600.0) & (days <= _MOST_DAYS)
    fit &= lost_s <= MOST_UNKNOWN_SHARE * np.maximum(days, 0.1) * DAY_S
    rows, full, since, days = rows[fit], full[fit], since[fit], days[fit]
    efficiency = float(np.mean(bank.table.coulombic))
    since_row = np.searchsorted(log.start_s, log.start_s[rows] + log.step_s[rows] - _MEAN_S - 1.0)
    since_row = np.maximum(since_row, full + 1)
    out_ah = 0.5 * (c.out_ah[rows + 1] + c.out_ah[since_row]) - c.out_ah[full + 1]
    in_ah = c.in_ah[rows] - c.in_ah[full + 1]
    leak_ah = bank.cell.self_discharge_per_month * bank.ah / 30.4 * days
    found = Points(
        ah=out_ah - efficiency * in_ah + leak_ah,
        cell_v=_mean(volts, since_row, rows) / bank.series,
        c_rate=_mean(current, since_row, rows) / bank.ah,
        full_v=volts[full] / bank.series,
        full_c=np.maximum(current[full], 0.0) / bank.ah,
        days=days,
        in_ah=in_ah,
        open_soc=np.full(rows.size, np.nan),
        span=since,
    )
    return _telling(e, found)


def _mean(values: Floats, begin: NDArray[np.int64], end: NDArray[np.int64]) -> Floats:
    """Mean of what is known from row `begin` to row `end`, both included."""
    known = np.isfinite(values)
    total = np.concatenate(([0.0], np.cumsum(np.where(known, values, 0.0))))
    count = np.concatenate(([0], np.cumsum(known)))
    return np.asarray((total[end + 1] - total[begin]) / np.maximum(count[end + 1] - count[begin], 1))


def _none() -> Points:
    nothing = np.zeros(0)
    fields = dict.fromkeys(("ah", "cell_v", "c_rate", "full_v", "full_c", "days", "in_ah", "open_soc"), nothing)
    return Points(**fields, span=np.zeros(0, dtype=np.int64))


def _unsure_v(e: Evidence) -> float:
    return together(VOLTS_SHARE * e.supply.bank.cell.v_nominal, CURVE_V)


def _telling(e: Evidence, p: Points) -> Points:
    """Those points whose volts leave little of the charge open, and of each full the most telling one.

    Volts are tried half as far again as they are unsure: beyond the end of a slope a flat may begin.
    """
    off_v = _FARTHER * _unsure_v(e)
    soc, low, high = (_soc(e, p.cell_v + way, p.c_rate) for way in (0.0, -off_v, off_v))
    gone = _full_soc(e, p.full_v, p.full_c) - soc
    open_soc = np.maximum(np.maximum(high - soc, soc - low) / _FARTHER, _LEAST_OPEN_SOC)
    p = dataclasses.replace(p, open_soc=open_soc)
    fit = (gone >= _LEAST_GONE_SOC) & (open_soc <= _WIDEST_OF_GONE * gone) & (soc > 0.0)
    worth = np.where(fit, gone / open_soc, 0.0)
    order = np.argsort(worth, kind="stable")
    best = {int(p.span[k]): int(k) for k in order if fit[k]}
    kept = np.array(sorted(best.values()), dtype=np.int64)
    return Points(**{f.name: getattr(p, f.name)[kept] for f in dataclasses.fields(p)})


def _soc(e: Evidence, cell_v: Floats, c_rate: Floats, resistance: float = 1.0) -> Floats:
    """Charge at volts under a small current: the volts at rest are those and what the resistance takes."""
    bank = e.supply.bank
    cells = arrays(bank.cell, bank.cell_c)
    rising = np.maximum.accumulate(cells.ocv_v) + 1e-9 * np.arange(cells.ocv_v.size)
    soc = np.interp(cell_v, rising, cells.soc)
    for _ in range(3):
        slow, drawn = (np.interp(soc, cells.soc, values) for values in (cells.r_slow, cells.r_drawn))
        rest_v = cell_v - c_rate * resistance * np.where(c_rate < 0.0, drawn, slow)
        soc = np.interp(rest_v, rising, cells.soc)
    return np.asarray(soc)


def _full_soc(e: Evidence, cell_v: Floats, c_rate: Floats, resistance: float = 1.0) -> Floats:
    """Charge at the end of a charge: by volts, or where the cells' acceptance rules, by the current they still took."""
    tau_h = e.supply.bank.cell.acceptance_tau_h
    if tau_h is not None:
        return np.clip(1.0 - tau_h * c_rate, 0.0, 1.0)
    return _soc(e, cell_v, c_rate, resistance)


def _capacity(e: Evidence, p: Points, off_v: float = 0.0, resistance: float = 1.0) -> tuple[Floats, Floats]:
    """Numerator and denominator of each point: a line through nothing, each point by how sure its charge is."""
    gone = _full_soc(e, p.full_v + off_v, p.full_c, resistance) - _soc(e, p.cell_v + off_v, p.c_rate, resistance)
    weight = 1.0 / np.square(p.open_soc)
    return weight * p.ah * gone, weight * gone * gone


def _told(e: Evidence, p: Points) -> tuple[float, float]:
    """Capacity of the bank [Ah], and half its interval."""

    def ah(off_v: float = 0.0, resistance: float = 1.0) -> float:
        top, bottom = _capacity(e, p, off_v, resistance)
        return float(top.sum() / bottom.sum())

    value, off_v = ah(), _unsure_v(e)
    by_volts = max(abs(ah(way * off_v) - value) for way in (1.0, -1.0))
    by_resistance = max(abs(ah(0.0, 1.0 + way * RESISTANCE_SHARE) - value) for way in (1.0, -1.0))
    top, bottom = _capacity(e, p)
    gone = bottom / np.sqrt(bottom * np.square(p.open_soc))
    blocks = in_blocks(np.stack([top, bottom], axis=1), 3)
    drawn = draws(blocks.shape[0]) @ blocks
    ratio = drawn[:, 0] / drawn[:, 1]
    by_chance = 1.96 * float(ratio.std(ddof=1)) if DRAWS > 1 else 0.0
    by_zero = SHUNT_ZERO_A * HOURS_PER_DAY * float((p.days * gone).sum() / bottom.sum())
    by_charging = _GIVEN_BACK * float((p.in_ah * gone).sum() / bottom.sum())
    by_full = value * _FULL_SOC * float(gone.sum() / bottom.sum())
    return value, together(by_volts, by_resistance, by_chance, by_zero, by_charging, by_full, METER_SHARE * value)


def _lesson(e: Evidence, p: Points, ah: float, half: float) -> Lesson:
    bank = e.supply.bank
    used = round(ah / bank.parallel, 1)
    after = dataclasses.replace(bank, tested_ah=used, tested_c=TABLE_C)
    times = int(np.unique(p.span).size)
    return Lesson(
        id=CAPACITY,
        title=TITLE,
        text=f"{bank.name} holds {ah:.0f} Ah, give or take {half:.0f} Ah, by {times} discharges from full.",
        value=ah,
        low=ah - half,
        high=ah + half,
        unit="Ah",
        days=times,
        how="Ampere-hours counted since a full charge, over the share of charge that volts near rest say is gone. The "
        f"interval is from drawing the discharges again; volts that may be {VOLTS_SHARE * 100:.1f} % wrong; a curve "
        f"that may differ by {CURVE_V * 1000:.0f} mV a cell and a resistance by {RESISTANCE_SHARE * 100:.0f} %; and "
        f"a shunt "
        "that may be 1 % wrong, its zero by 20 mA (typical, from memory, and judgement).",
        caveats=(
            f"It trusts the curve of {bank.cell.name} and a cell temperature of {bank.cell_c:g} °C.",
            "It is of the whole string. Where one cell is weaker, the string ends with that cell: test it by itself.",
        ),
        changes=(Change(part="banks", id=bank.id, fields={"tested_ah": used, "tested_c": TABLE_C}),),
        now=bank.ah,
        effect=Effect(
            label="Stored from reserve to full",
            unit="kWh",
            before=_window_kwh(bank),
            after=_window_kwh(after),
        ),
    )


def _window_kwh(bank: Bank) -> float:
    return bank.stored_kwh(min(bank.reserve_soc, bank.top_reached_soc), bank.top_reached_soc)
