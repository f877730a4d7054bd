"""Ampere-hours the bank gives back, and what it loses standing, from spans between two full charges.

From full to full the charge is the same, so out = efficiency x in - leak x days. A shunt counts in and out alike, so
its scale does not matter; its zero does, and cannot be told from self-discharge.
Not modelled: an efficiency that changes with the charge (lead-acid: a mean of the cycles in the log).
"""

from __future__ import annotations

import numpy as np

from engine.answers.learning_fulls import LEAST_FULLS, Counted, Spans, spans
from engine.answers.learning_parts import (
    LEAST_DAYS,
    SHUNT_ZERO_A,
    Change,
    Effect,
    Evidence,
    Floats,
    Lesson,
    Missing,
    half_width,
    together,
)
from engine.quantities import HOURS_PER_DAY, HOURS_PER_MONTH

GIVEN_BACK, LEAK = "charge_efficiency", "self_discharge"
TITLES = {GIVEN_BACK: "Ampere-hours given back", LEAK: "Self-discharge"}
BOTH_WAYS_SHARE = 0.002
"""A shunt may count one way so much more than the other, 95 % (typical, from memory)."""
_LEAK_TIMES = 2.0
"""Self-discharge may lie from nothing to three times what the household has, 95 % (judgement)."""
BOARD_A = 0.03
"""A protection board may draw so much past the shunt, 95 % (typical, from memory)."""
_WIDEST = 0.03
_WORTH_SAYING = 0.2
_UNSURE_AH = 0.1
_SURER = 2.576 / 1.96
"""Self-discharge is offered only where it stands out, which chance makes it do as well: so by 99 % (choice)."""
_SPANS_TOGETHER = 5
_DAYS_PER_MONTH = HOURS_PER_MONTH / HOURS_PER_DAY


def needs_one_bank(e: Evidence) -> str:
    """Return why nothing can be told of one bank; empty where it can."""
    if e.supply.beside:
        return "Several banks share this bus: the log’s current is of all of them, and tells nothing of one."
    return ""


def charge_lessons(e: Evidence, found: Counted | None) -> tuple[tuple[Lesson, ...], tuple[Missing, ...]]:
    """Return what a log tells of ampere-hours lost, and what it does not."""
    why = needs_one_bank(e)
    if not why and found is None:
        why = "It takes the current and the volts of the bank."
    if why or found is None:
        return (), tuple(Missing(id=one, title=TITLES[one], text=why) for one in (GIVEN_BACK, LEAK))
    s = spans(e, found)
    if s.days.size < LEAST_FULLS or s.days.sum() < LEAST_DAYS:
        why = (
            f"The bank was seen full on {found.full.size} days, and {s.days.size} spans between two of them are known "
            f"throughout, of {s.days.sum():.0f} days; it takes {LEAST_FULLS} of {LEAST_DAYS} days or more."
        )
        return (), tuple(Missing(id=one, title=TITLES[one], text=why) for one in (GIVEN_BACK, LEAK))
    lessons, missing = _given_back(e, found, s)
    more, other = _leak(e, s)
    return (*lessons, *more), (*missing, *other)


def given_back(e: Evidence, s: Spans) -> tuple[float, float]:
    """Return the ampere-hours given back of those put in, and half its interval [-]."""
    bank = e.supply.bank
    per_day_ah = bank.cell.self_discharge_per_month * bank.ah / _DAYS_PER_MONTH
    parts = np.stack([s.out_ah + per_day_ah * s.days, s.in_ah], axis=1)
    in_ah, days = s.in_ah.sum(), s.days.sum()
    share = float(parts[:, 0].sum() / in_ah)
    by_chance = half_width(parts, lambda one: float(one[0] / one[1]), _SPANS_TOGETHER)
    by_leak = _LEAK_TIMES * per_day_ah * days / in_ah
    by_board, by_zero = (amps * HOURS_PER_DAY * days / in_ah for amps in (BOARD_A, SHUNT_ZERO_A))
    return share, together(by_chance, float(by_leak), float(by_board), float(by_zero), BOTH_WAYS_SHARE)


def _given_back(e: Evidence, c: Counted, s: Spans) -> tuple[tuple[Lesson, ...], tuple[Missing, ...]]:
    bank = e.supply.bank
    share, half = given_back(e, s)
    now = float(np.mean(bank.table.coulombic))
    if half > _WIDEST or share - half > 1.0:
        text = (
            f"In {s.days.size} spans between full charges {share * 100:.1f} % of the ampere-hours put in were counted "
            f"out, but {half * 100:.1f} points either way are open: a shunt whose zero is off by "
            f"{SHUNT_ZERO_A * 1000:.0f} mA, and self-discharge, weigh too much beside what flowed."
        )
        return (), (Missing(id=GIVEN_BACK, title=TITLES[GIVEN_BACK], text=text),)
    used = round(min(share, 1.0), 4)
    days = round(float(s.days.sum()))
    lost_ah = float(s.in_ah.sum() / s.days.sum())
    lesson = Lesson(
        id=GIVEN_BACK,
        title=TITLES[GIVEN_BACK],
        text=f"Of the ampere-hours put into {bank.name}, {min(share, 1.0) * 100:.1f} % came out again, over "
        f"{s.days.size} spans between full charges.{_energy(e, c)}",
        value=min(share, 1.0),
        low=min(share - half, 1.0),
        high=min(share + half, 1.0),
        unit="share",
        days=days,
        how="From full to full what came in and what went out are counted apart; out, and what leaks by the "
        "self-discharge you have now, over in. The interval is from drawing the spans again; from self-discharge of "
        f"none to three times that; from a protection board that draws 30 mA past the shunt; from a shunt whose "
        f"zero is off by {SHUNT_ZERO_A * 1000:.0f} mA, and which counts "
        "one way 0.2 % more than the other (typical, from memory).",
        caveats=(
            "It is the mean of the cycles in the log, and then counts the same at any charge.",
            "Full is where the charge ended at its usual volts with its last current, not the monitor’s 100 %.",
        ),
        changes=(Change(part="banks", id=bank.id, fields={"charge_efficiency": used}),),
        now=now,
        effect=Effect(
            label="Ampere-hours lost in charging on a mean day",
            unit="Ah",
            before=lost_ah * (1.0 - now),
            after=lost_ah * (1.0 - used),
        ),
    )
    return (lesson,), ()


def _energy(e: Evidence, c: Counted) -> str:
    """What came back of the kWh, which has no number of its own: volts and resistance say it already."""
    power = e.column("bank_w")
    if power is None or c.full.size < 2:
        return ""
    rows = slice(int(c.full[0]) + 1, int(c.full[-1]) + 1)
    wh = np.nan_to_num(power[rows]) * e.log.step_s[rows] / 3600.0
    into, out = float(wh[wh > 0].sum()), float(-wh[wh < 0].sum())
    return f" Of the kWh it was {out / into * 100:.0f} %, for what is lost in volts is in that too." if into > 0 else ""


def leak_of(parts: Floats) -> float:
    """Return the ampere-hours lost a day of sums of out², out x days, days², out x in and days x in; NaN if none.

    Least squares of in = out / efficiency + leak / efficiency x days: what makes one full charge a little fuller than
    another is in what went in, while what went out is as the house drew it.
    """
    oo, odays, dd, oi, di = parts
    determinant = oo * dd - odays * odays
    if not determinant > 1e-9 * oo * dd:
        return float("nan")
    per_out, per_day = (dd * oi - odays * di) / determinant, (oo * di - odays * oi) / determinant
    return float(per_day / per_out)


def _leak(e: Evidence, s: Spans) -> tuple[tuple[Lesson, ...], tuple[Missing, ...]]:
    bank = e.supply.bank
    coulombic = bank.table.coulombic
    if max(coulombic) - min(coulombic) > 0.005:
        text = (
            f"{bank.cell.name} gives back less of what comes in near full, day after day; that cannot be told from "
            "what it loses standing."
        )
        return (), (Missing(id=LEAK, title=TITLES[LEAK], text=text),)
    i, o, d = s.in_ah, s.out_ah, s.days
    parts = np.stack([o * o, o * d, d * d, o * i, d * i], axis=1)
    ah_day = leak_of(parts.sum(axis=0))
    by_chance = half_width(parts, leak_of, _SPANS_TOGETHER)
    by_zero = SHUNT_ZERO_A * HOURS_PER_DAY
    half_ah = _SURER * together(by_chance, by_zero, _UNSURE_AH * abs(ah_day))
    to_share = _DAYS_PER_MONTH / bank.ah
    value, half = ah_day * to_share, half_ah * to_share
    now = bank.cell.self_discharge_per_month
    if not np.isfinite(half) or (value - half <= 0.0 and now <= value + half):
        return (), (_not_told(by_zero * to_share, value + half),)
    low, high = max(value - half, 0.0), min(max(value + half, 0.0), 1.0)
    used = round(min(max(value, 0.0), 1.0), 4)
    stored_kwh = bank.stored_kwh(0.0, 1.0) / _DAYS_PER_MONTH
    lesson = Lesson(
        id=LEAK,
        title=TITLES[LEAK],
        text=f"Standing, {bank.name} loses {used * 100:.1f} % of its ampere-hours a month, its board’s draw included, "
        f"give or take {half * 100:.1f} points.",
        value=used,
        low=low,
        high=high,
        unit="share a month",
        days=round(float(d.sum())),
        how="Spans between full charges differ in days and in what flowed: in is fitted by out ÷ efficiency and "
        "leak × days. The interval is from drawing the spans again, and from a shunt whose zero is off by "
        f"{SHUNT_ZERO_A * 1000:.0f} mA (typical, from memory). It is one of 99 %, not 95, for it is offered only "
        "where it stands out.",
        caveats=(
            "Set the shunt to zero with the bank disconnected before you believe it: its zero reads as self-discharge.",
            "What draws past the shunt, as a protection board does, is in it.",
        ),
        changes=(Change(part="banks", id=bank.id, fields={"self_discharge_per_month": used}),),
        now=now,
        sure=0.99,
        effect=Effect(
            label="Lost on a day by a full bank", unit="kWh", before=stored_kwh * now, after=stored_kwh * used
        ),
    )
    return (lesson,), ()


def _not_told(zero_share: float, high: float) -> Missing:
    text = (
        f"A shunt whose zero is off by {SHUNT_ZERO_A * 1000:.0f} mA looks like {zero_share * 100:.1f} % a month on "
        "this bank, and the log does not show more than that."
    )
    if high < _WORTH_SAYING:
        text += f" It is at most {max(high, 0.0) * 100:.0f} % a month."
    return Missing(
        id=LEAK,
        title=TITLES[LEAK],
        text=f"{text} A full bank left standing for weeks, its rested volts read at both ends, would tell.",
    )
