"""A range made wider: by hand on a straight course, and on real answers."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest

from engine.answers.autonomy import autonomy
from engine.answers.fan import Band
from engine.answers.promises import promise_of
from engine.answers.widening import Range, widened
from engine.errors import InputError
from engine.sky.days import parse_sky
from tests.engine.test_car import house_h

AT = datetime(2026, 11, 25, 18, 0)
RUN_H = np.arange(101.0)


def straight(per_h: float) -> np.ndarray:
    return np.maximum(0.8 - per_h * RUN_H, 0.2)


def own(high_per_h: float = 0.015) -> Range:
    """From 80 % to 20 %: 2 points an hour, between 2.5 (24 h) and the one given (1.5: 40 h)."""
    high_h = 0.6 / high_per_h if high_per_h > 0.006 else None
    return Range(
        low_hours=24.0,
        high_hours=high_h,
        band=Band(times_h=RUN_H, low_soc=straight(0.025), high_soc=straight(high_per_h)),
    )


def wide(factor: float, one: Range | None = None) -> Range:
    return widened(one or own(), run_h=RUN_H, run_soc=straight(0.02), hours=30.0, floor_soc=0.2, factor=factor)


def test_once_as_wide_is_the_same_range() -> None:
    one = own()
    assert wide(1.0, one) is one
    with pytest.raises(InputError, match="1 or more"):
        wide(0.9)


def test_hours_and_charge_are_as_many_times_as_far_from_the_likely_ones() -> None:
    found = wide(1.5)
    # 30 × (24 ÷ 30)^1.5 = 21.466 h; 30 + 1.5 × 10 = 45 h; after 10 h 60 % ∓ 1.5 × 5 points.
    assert (found.low_hours, found.high_hours) == pytest.approx((21.466, 45.0), abs=0.0005)
    low, high = (np.interp(10.0, found.band.times_h, soc) for soc in (found.band.low_soc, found.band.high_soc))
    assert (low, high) == pytest.approx((0.525, 0.675))
    assert np.interp([21.4663, 45.0], found.band.times_h, found.band.low_soc) == pytest.approx([0.2, 0.2])
    # The high end falls from its charge at 30 h, drawn out so that it meets the floor at 45 h.
    assert np.interp([44.0, 45.0, 46.0], found.band.times_h, found.band.high_soc) == pytest.approx(
        [0.2 + 0.015 / 1.5, 0.2, 0.2]
    )


def test_the_low_hours_are_never_later_than_where_its_own_band_meets_the_floor() -> None:
    # Charge by 3 times falls 2 + 3 × 0.5 = 3.5 points an hour: at 20 % after 17.14 h; hours: 30 × 0.8³ = 15.36, sooner.
    assert wide(3.0).low_hours == pytest.approx(15.36)
    # By 20 times: 60 points at 12 an hour are 5 h; hours: 30 × 0.8^20 = 0.346 h.
    assert wide(20.0).low_hours == pytest.approx(0.346, abs=0.0005)


def test_what_is_past_the_days_stays_so_and_what_comes_to_be_is() -> None:
    assert wide(2.0, own(0.005)).high_hours is None
    assert wide(8.0).high_hours is None
    endless = Range(
        low_hours=None,
        high_hours=None,
        band=Band(times_h=RUN_H, low_soc=0.8 - 0.005 * RUN_H, high_soc=np.full(RUN_H.size, 0.8)),
    )
    for factor, low_h in ((1.2, 100.0), (2.0, 60.0)):
        found = widened(
            endless, run_h=RUN_H, run_soc=np.full(RUN_H.size, 0.8), hours=None, floor_soc=0.2, factor=factor
        )
        # 0.5 points an hour times the factor, from 80 to 20 %.
        assert found.low_hours == pytest.approx(low_h)
        assert found.high_hours is None


@pytest.mark.parametrize("sky", ["dull", "dark,dark,dull,dull"])
def test_a_real_answer_is_only_ever_wider_and_stays_within_floor_and_full(sky: str) -> None:
    house = house_h()
    days = parse_sky(sky, house.site, house.sun, 11, 8)
    plain = autonomy(house, {"bank": 0.7}, days, AT).banks[0]
    assert (plain.widened, plain.own_range) == (1.0, None)
    before = plain
    for factor in (1.3, 2.0, 4.0):
        answer = autonomy(house, {"bank": 0.7}, days, AT, factors={"bank": factor})
        bank = answer.banks[0]
        assert bank.hours == plain.hours
        assert bank.widened == factor
        assert (before.low_hours or np.inf) >= (bank.low_hours or np.inf)
        assert bank.high_hours is None or (before.high_hours is not None and bank.high_hours >= before.high_hours)
        at_h = before.band.times_h
        assert np.all(np.interp(at_h, bank.band.times_h, bank.band.low_soc) <= before.band.low_soc + 1e-9)
        assert np.all(np.interp(at_h, bank.band.times_h, bank.band.high_soc) >= before.band.high_soc - 1e-9)
        assert bank.band.low_soc.min() >= min(bank.reserve_soc, plain.band.low_soc.min()) - 1e-9
        assert bank.band.high_soc.max() <= 1.0
        assert any("range" in one.name and f"{factor:.2g} times" in one.value for one in answer.assumptions)
        # What is promised is the model's own range, with the factor beside it: errors of a wider one are not chased.
        kept, kept_plain = promise_of(bank), promise_of(plain)
        assert kept.widened == factor
        assert (kept.low_soc, kept.high_soc, kept.low_hours) == (
            kept_plain.low_soc,
            kept_plain.high_soc,
            kept_plain.low_hours,
        )
        before = bank
