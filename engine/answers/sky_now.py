"""What the sky is doing now, read off the solar chargers, and what it means for today and for the hours left.

Energies are kWh of the panels before their solar charger, as on the Sun page; times are local standard time. The rest
of the day is the middle of what came after such hours elsewhere, its range what eight of ten of them stayed within. Not
modelled: a forecast, clouds that come and go within minutes (read a mean of some minutes).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from engine.answers.autonomy import Autonomy, autonomy
from engine.answers.fan import with_first_day
from engine.answers.notices_reading import apart_notice, reading_notices
from engine.answers.sky_parts import (
    FULL_WITHIN_SOC,
    Alone,
    BankGain,
    DayHours,
    Display,
    Expected,
    Found,
    SkyNow,
    WhatIf,
)
from engine.answers.sky_proof import reading_assumptions, worked_lines
from engine.errors import Unreachable
from engine.house.household import Household
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sky.averages import average_day_kwh
from engine.sky.climate import KC_MAX
from engine.sky.days import SEASON, WORDS, Sky, parse_sky
from engine.sky.moment import LEAST_SUN_DEG, Moment, day_hours_w, expected_w, moment, readable_span
from engine.sky.reading import Shown, SkyReading, read_off
from engine.sky.rest_of_day import rest_of_day
from engine.sky.sun import array_hours

Floats = NDArray[np.float64]

LEAST_KWH = 0.01
"""Less than this until now, under the brightest sky, tells nothing of the hours before."""
GREY_SHARE, SUNNY_SHARE = 0.9, 0.5
"""Diffuse share from which on nothing throws a shadow, and below which shadows are sharp (judgement)."""
_STEPS = np.linspace(0.0, KC_MAX, 23)
_HALF_KC = 0.6
"""Thin or broken cloud in the table of displays, between a dull and a bright day (judgement)."""


def panel_w_from_amps(amps: float, bank_v: float, charger_efficiency: float) -> float:
    """Return the panels' power behind amps into the bank [W].

    Examples
    --------
    >>> panel_w_from_amps(19.0, 50.0, 0.95)
    1000.0
    """
    return amps * bank_v / charger_efficiency


def sky_now(
    household: Household,
    displays: Sequence[Shown],
    at: datetime,
    sky: Sky,
    charges: Mapping[str, float],
    *,
    made_kwh: float | None = None,
    held: bool = False,
    factors: Mapping[str, float] | None = None,
) -> SkyNow:
    """Read the sky off the displays and say what it means.

    Parameters
    ----------
    displays : sequence of Shown
        What the displays show; empty where nothing was typed.
    at : datetime
        The moment of the reading, local standard time.
    sky : Sky
        The days assumed so far; the first is today.
    charges : mapping of str to float
        State of charge now by bank id [-]; a bank left out is full.
    made_kwh : float or None
        What the panels gave today until now [kWh], where a counter tells.
    held : bool
        Whether the bank takes less than the panels could give.
    factors : mapping of str to float
        How many times as wide as the model's own the range of each bank's hours is to be, as of `autonomy`.

    Raises
    ------
    Unreachable
        If there are no panels.
    """
    if not household.sun.arrays:
        raise Unreachable("There are no panels yet: enter them on Sun, then their charger can tell the sky.")
    uncovered = _uncovered(household)
    site, sun = uncovered.site, uncovered.sun
    now, span = moment(site, at), readable_span(site, at.date())
    full = tuple(
        bank.name
        for supply in household.supplies()
        for bank in supply.banks
        if _is_full(bank.top_reached_soc, charges.get(bank.id))
    )
    reading = read_off(site, sun, displays, now, held=held or bool(full))
    days = day_hours_w(site, sun, at.date(), _STEPS)
    asked = _Asked(
        household=household,
        displays=tuple(displays),
        now=now,
        sky=sky,
        charges=charges,
        made_kwh=made_kwh,
        factors=factors,
    )
    apart = _apart(asked, uncovered) if reading is not None and reading.contradict else ()
    found = None if reading is None or apart else _found(asked, reading, days, _todays_w(uncovered, at))
    return SkyNow(
        at=at,
        height_deg=now.height_deg,
        readable_from=None if span is None else span[0],
        readable_to=None if span is None else span[1],
        found=found,
        apart=apart,
        what_if=_what_ifs(uncovered, now, days) if now.height_deg >= LEAST_SUN_DEG else (),
        clear_w=_between(days, 1.0),
        clear_day_kwh=float(_between(days, 1.0).sum()) / WH_PER_KWH,
        average_day_kwh=average_day_kwh(site, sun, at.month),
        notices=(apart_notice(),) if apart else () if found is None else tuple(reading_notices(household, full, found)),
        worked=() if found is None else tuple(worked_lines(found)),
        assumptions=reading_assumptions(household),
    )


def _uncovered(household: Household) -> Household:
    """The household with nothing on its panels: they show what they give."""
    return dataclasses.replace(household, sun=dataclasses.replace(household.sun, covered_days=0))


def _is_full(top_soc: float, charge: float | None) -> bool:
    return charge is not None and charge >= top_soc - FULL_WITHIN_SOC


def _todays_w(household: Household, at: datetime) -> Floats:
    """Power of all panels in each hour at `_STEPS` as Today works it out: one diffuse share all day, (23, 24) [W]."""
    doy = at.timetuple().tm_yday
    days = (array_hours(household.site, household.sun, [kc], [doy]) for kc in _STEPS)
    return np.array([np.sum(list(hours.values()), axis=0) for hours in days])


def _between(by_kc: Floats, kc: float) -> Floats:
    """Values at a kc of what is known at `_STEPS`, (23,) or (23, n)."""
    place = float(np.clip(kc, 0.0, KC_MAX)) / KC_MAX * (len(_STEPS) - 1)
    below = min(int(place), len(_STEPS) - 2)
    return np.asarray(by_kc[below] + (place - below) * (by_kc[below + 1] - by_kc[below]))


def _parts_kwh(days_w: Floats, at: datetime) -> tuple[Floats, Floats]:
    """Energy until a moment and after it, of each day of `days_w` (n, 24) [kWh]."""
    gone = (at.minute + at.second / 60.0) / 60.0
    hour = days_w[:, at.hour]
    before = days_w[:, : at.hour].sum(axis=1) + gone * hour
    return before / WH_PER_KWH, (days_w.sum(axis=1) - before) / WH_PER_KWH


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """The question, as `sky_now` was given it."""

    household: Household
    displays: tuple[Shown, ...]
    now: Moment
    sky: Sky
    charges: Mapping[str, float]
    made_kwh: float | None
    factors: Mapping[str, float] | None


def _apart(asked: _Asked, uncovered: Household) -> tuple[Alone, ...]:
    """What each display tells by itself."""
    alone = ((one, read_off(uncovered.site, uncovered.sun, [one], asked.now)) for one in asked.displays)
    return tuple(
        Alone(name=one.name, shown_w=one.panel_w, kc=told.kc, bound=told.bound)
        for one, told in alone
        if told is not None
    )


def _found(asked: _Asked, reading: SkyReading, days_w: Floats, todays_w: Floats) -> Found:
    """What follows from a reading; days by their kc as read here, and as Today works them out."""
    before_kwh, after_kwh = _parts_kwh(days_w, asked.now.at)
    todays_kwh = _parts_kwh(todays_w, asked.now.at)[1]
    low_kc, likely_kc, high_kc = _rest_kc(reading)
    rest = _expected(after_kwh, likely_kc, low_kc, high_kc)
    made_kwh = asked.made_kwh
    so_far_kwh = float(_between(before_kwh, reading.usual_kc)) if made_kwh is None else made_kwh
    day_low_kc, day_taken_kc, day_high_kc = (_kc_of(todays_kwh, kwh) for kwh in (rest.low_kwh, rest.kwh, rest.high_kwh))
    before, after, no_hours = _autonomies(asked, (day_low_kc, day_taken_kc, day_high_kc))
    same_day = before is None or before.sky_days[0][0] == asked.now.at.date()
    assumed_kc = float(asked.sky.kc[0]) if same_day else None
    return Found(
        reading=reading,
        kind=_kind(reading),
        displays=tuple(_display(asked.household, one, asked.now, reading) for one in asked.displays),
        rest=rest,
        rest_unchanged_kwh=float(_between(after_kwh, reading.usual_kc)),
        so_far_kwh=so_far_kwh,
        so_far_counted=made_kwh is not None,
        so_far_kc=None if made_kwh is None or before_kwh[-1] < LEAST_KWH else _kc_of(before_kwh, made_kwh),
        today=Expected(
            kwh=so_far_kwh + rest.kwh, low_kwh=so_far_kwh + rest.low_kwh, high_kwh=so_far_kwh + rest.high_kwh
        ),
        assumed_kc=assumed_kc,
        assumed_word=asked.sky.labels[0] if same_day else "",
        assumed_rest_kwh=None if assumed_kc is None else float(_between(todays_kwh, assumed_kc)),
        hours=DayHours(
            now_w=_from_now(asked.now, days_w, reading.usual_kc, likely_kc),
            low_w=_from_now(asked.now, days_w, reading.usual_kc, low_kc),
            high_w=_from_now(asked.now, days_w, reading.usual_kc, high_kc),
            assumed_w=None if assumed_kc is None else _between(todays_w, assumed_kc),
        ),
        day_sky=_handed_back(asked.sky, day_taken_kc, same_day),
        days=() if after is None else _shown_days(after, reading.kc if same_day else None),
        banks=() if before is None or after is None else _gains(before, after, asked.charges),
        no_hours=no_hours,
    )


def _expected(kwh_by_kc: Floats, kc: float, low_kc: float, high_kc: float) -> Expected:
    """Energy at a kc and at the ends of its range; panels that face away may give less under the brighter sky."""
    taken, *ends = (float(_between(kwh_by_kc, one)) for one in (kc, low_kc, high_kc))
    return Expected(kwh=taken, low_kwh=min(taken, *ends), high_kwh=max(taken, *ends))


def _rest_kc(reading: SkyReading) -> tuple[float, float, float]:
    """The rest of the day, low, likely and high: what followed such hours, and what the display itself may be out.

    After 0 W, which snow or a switched-off charger shows too, nothing is promised beyond the sky of now.
    """
    low, middle, high = rest_of_day(reading.usual_kc)
    brightest = reading.usual_kc if reading.other_kc is None else rest_of_day(reading.other_kc)[2]
    likely = reading.usual_kc if reading.bound == "most" else middle
    return min(low, reading.low_kc), likely, min(max(high, reading.high_kc, brightest), KC_MAX)


def _from_now(now: Moment, days_w: Floats, kc: float, after_kc: float) -> Floats:
    """Hours of a day at one sky until a moment and at another after it, its own hour in parts of both [W]."""
    before = np.clip(now.at.hour + now.at.minute / 60.0 - np.arange(HOURS_PER_DAY), 0.0, 1.0)
    return np.asarray(before * _between(days_w, kc) + (1.0 - before) * _between(days_w, after_kc))


def _kc_of(kwh_by_kc: Floats, kwh: float) -> float:
    """The kc at which an energy known at `_STEPS` is reached; the brightest where none reaches it."""
    return float(np.interp(kwh, np.maximum.accumulate(kwh_by_kc), _STEPS))


def _kind(reading: SkyReading) -> str:
    if reading.diffuse_share >= GREY_SHARE:
        return "grey"
    return "sunny" if reading.diffuse_share < SUNNY_SHARE else "veiled"


def _display(household: Household, one: Shown, now: Moment, reading: SkyReading) -> Display:
    site, sun = household.site, household.sun
    skies = (
        expected_w(site, sun, one.arrays, now, [1.0]),
        expected_w(site, sun, one.arrays, now, [reading.kc], [reading.diffuse_share]),
    )
    return Display(name=one.name, shown_w=one.panel_w, clear_w=float(skies[0][0]), found_w=float(skies[1][0]))


def _what_ifs(household: Household, now: Moment, days_w: Floats) -> tuple[WhatIf, ...]:
    site, sun = household.site, household.sun
    skies = _skies(household, now.at.month)
    kc = [one for _, one in skies]
    each = [expected_w(site, sun, (array,), now, kc) for array in sun.arrays]
    rest = _parts_kwh(days_w, now.at)[1]
    return tuple(
        WhatIf(
            word=word,
            own=word in WORDS and share != WORDS[word][1],
            kc=share,
            total_w=float(sum(one[place] for one in each)),
            array_w=tuple(float(one[place]) for one in each),
            rest_kwh=float(_between(rest, share)),
        )
        for place, (word, share) in enumerate(skies)
    )


def _skies(household: Household, month: int) -> list[tuple[str, float]]:
    """The words of days with the kc that they have in this household, and thin cloud between dull and bright."""
    words = ("dark", "dull", "bright")
    own = parse_sky(",".join(words), household.site, household.sun, month).kc.tolist()
    return sorted([*zip(words, own, strict=True), ("half", _HALF_KC)], key=lambda one: one[1])


def _autonomies(asked: _Asked, day_kc: tuple[float, float, float]) -> tuple[Autonomy | None, Autonomy | None, str]:
    """Today's answer as assumed and with this sky in the place of today's; or why there is none.

    Once today's sun is over for Today the days begin tomorrow, and this sky changes none of them.
    """
    at, sky = asked.now.at, asked.sky
    try:
        before = autonomy(asked.household, asked.charges, sky, at)
    except Unreachable as fault:
        return None, None, str(fault)
    if before.sky_days[0][0] != at.date():
        return before, before, ""
    uncovered = _uncovered(asked.household)
    seen = with_first_day(uncovered, asked.charges, sky, at, day_kc)
    seen = dataclasses.replace(seen, labels=("", *sky.labels[1:]))
    return before, autonomy(uncovered, asked.charges, seen, at, factors=asked.factors), ""


def _with_today(days_kc: Floats, kc: float) -> Floats:
    return np.concatenate([[kc], days_kc[1:]])


def _gains(before: Autonomy, after: Autonomy, charges: Mapping[str, float]) -> tuple[BankGain, ...]:
    return tuple(
        BankGain(
            bank_id=old.bank_id,
            name=old.name,
            start_soc=old.start_soc,
            from_full=old.bank_id not in charges,
            before_h=old.hours,
            after_h=new.hours,
            after_low_h=new.low_hours,
            after_high_h=new.high_hours,
            widened=new.widened,
            gained_h=None if old.hours is None or new.hours is None else new.hours - old.hours,
            before_ends_at=old.ends_at,
            after_ends_at=new.ends_at,
        )
        for old, new in zip(before.banks, after.banks, strict=True)
    )


def _shown_days(answer: Autonomy, kc: float | None) -> tuple[tuple[date, str, float], ...]:
    """The days of an answer, the first by the sky that was read; it differs a little from what Today calls the day."""
    (first, label, assumed), *rest = answer.sky_days
    return ((first, label, assumed if kc is None else kc), *rest)


def _handed_back(sky: Sky, kc: float, today: bool) -> str:
    """The days as Today reads them, with the sky of now in the place of today's."""
    if sky.basis.endswith(SEASON):
        if not today:
            return SEASON
        listed = sky.kc[:1]
    else:
        listed = sky.kc if sky.spell_id and sky.years is None else sky.kc[: sky.listed_days]
    days = _with_today(listed, kc) if today else listed
    return "kc:" + ",".join(f"{max(one, 0.0):.3f}".rstrip("0").rstrip(".") for one in days.tolist())
