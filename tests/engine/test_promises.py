"""Answers held against what came: by hand, and books made from a truth that is known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.answers.promise_book import (
    CLAIM_SHARE,
    LEAST_SCORED,
    MOST_WIDE,
    Spanned,
    at_most,
    calibration,
    conformal,
    counts,
    interval,
)
from engine.answers.promise_log import seen_in
from engine.answers.promises import (
    MOST_RATIO,
    READ_SOC,
    Came,
    Promise,
    Score,
    at,
    best_that_tells,
    read,
    scored,
    written,
)
from engine.answers.widening import sooner_h
from engine.errors import InputError
from engine.meter.log import MeterLog

DAY_S = 86400.0
BY_HAND = Promise(
    hours=30.0,
    low_hours=24.0,
    high_hours=40.0,
    floor_soc=0.2,
    low_soc=tuple(max(0.8 - 0.025 * hour, 0.2) for hour in range(49)),
    likely_soc=tuple(max(0.8 - 0.02 * hour, 0.2) for hour in range(49)),
    high_soc=tuple(max(0.8 - 0.015 * hour, 0.2) for hour in range(49)),
)
"""From 80 %, 2 points an hour, 2.5 at worst and 1.5 at best, to 20 %: after 10 hours 55, 60 and 65 %."""


@pytest.mark.parametrize(
    ("came_soc", "within", "ratio", "error_soc"),
    [(0.60, True, 0.0, 0.0), (0.55, True, 1.0, -0.05), (0.53, False, 1.4, -0.07), (0.70, False, 2.0, 0.10)],
)
def test_a_charge_is_scored_by_hand(came_soc: float, within: bool, ratio: float, error_soc: float) -> None:
    score = scored(BY_HAND, Came(kind="charge", after_h=10.0, soc=came_soc))
    assert score is not None
    assert (score.within, score.side) == (within, (error_soc > 0) - (error_soc < 0))
    assert score.ratio == pytest.approx(ratio)
    assert score.error_soc == pytest.approx(error_soc)
    assert (score.low_soc, score.likely_soc, score.high_soc) == pytest.approx((0.55, 0.60, 0.65))


@pytest.mark.parametrize("after_h", [2.9, 40.5, 48.5])
def test_a_charge_too_soon_or_after_all_of_the_range_has_ended_tells_nothing(after_h: float) -> None:
    assert scored(BY_HAND, Came(kind="charge", after_h=after_h, soc=0.2)) is None


def narrow_by(half: float) -> Promise:
    return Promise(
        hours=None,
        low_hours=None,
        high_hours=None,
        floor_soc=0.1,
        low_soc=(0.5 - half,) * 25,
        likely_soc=(0.5,) * 25,
        high_soc=(0.5 + half,) * 25,
    )


def test_what_is_no_further_off_than_a_reading_is_within() -> None:
    narrow = narrow_by(0.0)
    # Whole percents, read twice: a point is no fault; two are.
    near, far = (scored(narrow, Came(kind="charge", after_h=12.0, soc=soc)) for soc in (0.49, 0.52))
    assert near is not None
    assert far is not None
    assert (near.within, far.within) == (True, False)
    assert far.ratio == MOST_RATIO


@pytest.mark.parametrize("half", [0.0025, 0.005, 0.02])
@pytest.mark.parametrize("error", [0.004, 0.009, 0.011, 0.03])
def test_a_range_so_many_times_as_wide_holds_what_came(half: float, error: float) -> None:
    """The ratio is what the shown range has to be widened by, also where it is narrower than a reading."""
    score = scored(narrow_by(half), Came(kind="charge", after_h=12.0, soc=0.5 + error))
    assert score is not None
    if error <= READ_SOC:
        assert score.within
    else:
        assert score.ratio * half == pytest.approx(error)


def test_what_lies_below_the_reserve_is_all_the_reserve() -> None:
    score = scored(BY_HAND, Came(kind="charge", after_h=35.0, soc=0.12))
    assert score is not None
    assert score.within
    assert score.error_soc == 0.0


@pytest.mark.parametrize(
    ("after_h", "side", "ratio"),
    # 30 h likely, 24 to 40: sooner by the share of the likely ones, 30 × 0.8^1.5 = 21.466 h; later by hours.
    [(24.0, -1, 1.0), (30.0 * 0.8**1.5, -1, 1.5), (30.0, 0, 0.0), (40.0, 1, 1.0), (45.0, 1, 1.5)],
)
def test_an_end_is_scored_in_hours(after_h: float, side: int, ratio: float) -> None:
    score = scored(BY_HAND, Came(kind="ended", after_h=after_h))
    assert score is not None
    assert (score.side, score.within) == (side, ratio <= 1.0)
    assert score.ratio == pytest.approx(ratio)
    if side < 0:
        assert sooner_h(30.0, 24.0, score.ratio) == pytest.approx(after_h)


def test_not_ended_yet_tells_only_once_it_contradicts() -> None:
    assert scored(BY_HAND, Came(kind="lasted", after_h=39.0)) is None
    late = scored(BY_HAND, Came(kind="lasted", after_h=45.0))
    assert late is not None
    assert (late.side, late.within) == (1, False)
    assert late.ratio == pytest.approx(1.5)


def test_an_end_where_none_was_promised_is_below_and_lasting_holds() -> None:
    endless = Promise(
        hours=None,
        low_hours=None,
        high_hours=None,
        floor_soc=0.2,
        low_soc=tuple(0.8 - 0.01 * hour for hour in range(49)),
        likely_soc=tuple(0.8 - 0.005 * hour for hour in range(49)),
        high_soc=(0.8,) * 49,
    )
    ended = scored(endless, Came(kind="ended", after_h=40.0))
    assert ended is not None
    assert (ended.side, ended.within, ended.error_soc) == (-1, False, pytest.approx(-0.4))
    assert ended.ratio == pytest.approx(2.0)
    assert scored(endless, Came(kind="lasted", after_h=30.0)) is None
    lasted = scored(endless, Came(kind="lasted", after_h=48.0))
    assert lasted is not None
    assert lasted.within


def test_what_cannot_have_come_is_refused() -> None:
    with pytest.raises(InputError, match="0 to 100"):
        scored(BY_HAND, Came(kind="charge", after_h=10.0, soc=1.2))
    with pytest.raises(InputError, match="guess"):
        scored(BY_HAND, Came(kind="guess", after_h=10.0))


def test_a_promise_comes_back_as_it_was_kept() -> None:
    assert read(written(BY_HAND)) == BY_HAND
    assert at(BY_HAND, 41.0) is None


def test_the_charge_nearest_to_a_day_later_scores() -> None:
    seen = [Came(kind="charge", after_h=hours, soc=0.5) for hours in (4.0, 13.0, 26.0, 47.0)]
    found = best_that_tells(BY_HAND, seen)
    assert found is not None
    assert found[0].after_h == 26.0
    # 26 h: 15 to 41 %; nothing that tells.
    assert best_that_tells(BY_HAND, [Came(kind="charge", after_h=47.0, soc=0.2)]) is None


# -- a meter's log


def log(generator: bool) -> MeterLog:
    """Every hour of two days, 80 % falling by a point, with a gap from hour 11 to 13; a generator from hour 20 on."""
    hours = np.array([hour for hour in range(48) if hour not in (11, 12)], dtype=float)
    values = {"charge": 0.8 - 0.01 * hours}
    if generator:
        values["generator_w"] = np.where(hours >= 20.0, 2000.0, 0.0)
    return MeterLog(start_s=hours * 3600.0, step_s=np.full(hours.size, 3600.0), values=values)


def test_a_log_tells_the_charge_at_the_marks_it_covers() -> None:
    found = seen_in(log(False), 0.0, (10.5, 12.0, 24.0, 60.0), generator=False)
    assert [(one.after_h, one.soc) for one in found] == [(10.5, pytest.approx(0.7)), (24.0, pytest.approx(0.56))]


def test_what_follows_a_run_of_the_generator_tells_nothing() -> None:
    assert [one.after_h for one in seen_in(log(True), 0.0, (10.0, 24.0), generator=True)] == [10.0]
    assert seen_in(log(False), 0.0, (10.0, 24.0), generator=True) == ()
    assert seen_in(MeterLog(start_s=np.zeros(0), step_s=np.zeros(0), values={}), 0.0, (10.0,), generator=False) == ()


# -- the book


def of(ratio: float, side: int = -1, error_soc: float | None = None) -> Score:
    return Score(after_h=24.0, ratio=ratio, side=side, within=ratio <= 1.0, error_soc=error_soc)


def spanned(scores: list[Score]) -> list[Spanned]:
    """One answer a day, each scored before the next is asked."""
    return [
        Spanned(asked_s=day * DAY_S, came_s=day * DAY_S + score.after_h * 3600.0, score=score)
        for day, score in enumerate(scores)
    ]


@pytest.mark.parametrize(
    ("hits", "tries", "sure", "low", "high"),
    [
        # C. J. Clopper and E. S. Pearson, Biometrika 26 (1934), as tabled in Documenta Geigy, Scientific Tables,
        # 7th ed., exact binomial limits, 95 %, to four digits (from memory; the ends by hand below are exact).
        (5, 10, 0.95, 0.1871, 0.8129),
        (0, 10, 0.95, 0.0, 0.3085),
        (10, 10, 0.95, 0.6915, 1.0),
    ],
)
def test_the_interval_against_tables(hits: int, tries: int, sure: float, low: float, high: float) -> None:
    assert interval(hits, tries, sure) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.parametrize(("hits", "tries"), [(0, 7), (3, 12), (33, 40), (59, 60)])
def test_the_interval_by_its_definition(hits: int, tries: int) -> None:
    low, high = interval(hits, tries, 0.9)
    # Each end leaves 5 in 100 beyond what was seen; at no hits the upper end is 1 - 0.05^(1/n).
    assert at_most(hits, tries, high) == pytest.approx(0.05, abs=1e-9)
    assert hits == 0 or 1.0 - at_most(hits - 1, tries, low) == pytest.approx(0.05, abs=1e-9)
    assert hits or high == pytest.approx(1.0 - 0.05 ** (1.0 / tries))


def test_answers_that_overlap_count_once() -> None:
    book = [
        Spanned(asked_s=a, came_s=b, score=of(0.5)) for a, b in ((0.0, 50.0), (10.0, 50.0), (40.0, 90.0), (60.0, 99.0))
    ]
    assert counts(book) == (1, 3)
    assert calibration(book).counted == 2


def test_fewer_than_ten_never_widen_and_more_do() -> None:
    few = calibration(spanned([of(3.0)] * (LEAST_SCORED - 1)))
    assert (few.overconfident, few.factor) == (False, 1.0)
    found = calibration(spanned([of(1.6)] * 5 + [of(0.4)] * 5))
    # 5 of 10: chance reaches to 0.778 (Clopper and Pearson, 90 %), short of 0.8; ceil(11 x 0.8) = 9th smallest.
    assert found.high_share == pytest.approx(0.7776, abs=5e-5)
    assert (found.overconfident, found.factor, found.below) == (True, 1.6, 5)
    assert not calibration(spanned([of(1.6)] * 4 + [of(0.4)] * 6)).overconfident


def test_no_range_is_widened_beyond_the_cap_and_it_says_so() -> None:
    found = calibration(spanned([of(9.0)] * 12))
    assert (found.factor, found.capped) == (MOST_WIDE, True)


def test_only_the_newest_sixty_tell() -> None:
    assert calibration(spanned([of(3.0)] * 60 + [of(0.2)] * 60)).within == 60


def test_the_steady_error_is_that_of_a_day() -> None:
    # 2 points low after each whole day, and 1 after each half one: 2 a day.
    half = Score(after_h=12.0, ratio=0.5, side=-1, within=True, error_soc=-0.01)
    found = calibration(spanned([of(0.5, error_soc=-0.02), half] * 3))
    assert found.bias_per_day == pytest.approx(-0.02)
    assert calibration([]).bias_per_day is None


@given(st.lists(st.floats(0.0, 5.0), min_size=1, max_size=40), st.integers(0, 39), st.floats(0.0, 3.0))
def test_a_larger_error_never_narrows(ratios: list[float], place: int, more: float) -> None:
    worse = list(ratios)
    worse[place % len(ratios)] += more
    assert conformal(worse, CLAIM_SHARE) >= conformal(ratios, CLAIM_SHARE)
    before, after = (calibration(spanned([of(ratio) for ratio in one])) for one in (ratios, worse))
    assert after.factor >= before.factor >= 1.0
    assert after.within <= before.within


BOOKS, ANSWERS, NEW = 400, 40, 25
WITHIN_SD = 1.2815515655
"""Eight of ten draws of a normal lie within so many of its standard deviations (its 90 % quantile, tabled)."""


def drawn(rng: np.random.Generator, wider: float, count: int) -> list[Score]:
    """Scores of answers whose truth is normal, `wider` times as wide as eight of ten of the range would have it."""
    found = []
    for half, z in zip(rng.uniform(0.03, 0.08, count), rng.standard_normal(count), strict=True):
        promise = Promise(
            hours=None,
            low_hours=None,
            high_hours=None,
            floor_soc=0.0,
            low_soc=(0.5 - half,) * 25,
            likely_soc=(0.5,) * 25,
            high_soc=(0.5 + half,) * 25,
        )
        came_soc = min(max(0.5 + half * wider * z / WITHIN_SD, 0.0), 1.0)
        score = scored(promise, Came(kind="charge", after_h=24.0, soc=came_soc))
        assert score is not None
        found.append(score)
    return found


@pytest.mark.parametrize("wider", [1.6, 2.2])
def test_a_widened_range_holds_new_answers_as_it_claims(wider: float) -> None:
    rng = np.random.default_rng(20261127)
    held, widened = [], 0
    for _ in range(BOOKS):
        found = calibration(spanned(drawn(rng, wider, ANSWERS)))
        widened += found.overconfident
        if found.overconfident:
            held.append(np.mean([score.ratio <= found.factor for score in drawn(rng, wider, NEW)]))
    # Of the truth too wide by 1.6 the range holds 2 Φ(1.2816/1.6) − 1 = 0.577; chance alone seldom hides that.
    assert widened > 0.8 * BOOKS
    error = 3.0 * np.std(held) / math.sqrt(len(held))
    assert CLAIM_SHARE - error <= np.mean(held) <= 0.9


def test_a_range_that_is_right_is_seldom_widened() -> None:
    rng = np.random.default_rng(4)
    widened = sum(calibration(spanned(drawn(rng, 1.0, ANSWERS))).overconfident for _ in range(BOOKS)) / BOOKS
    # The most hits of 40 at which it is widened, and the chance of so few where eight of ten hold: 28 or fewer would be
    # 8.8 in 100, 27 or fewer 4.3.
    most = max(hits for hits in range(ANSWERS) if interval(hits, ANSWERS, 0.9)[1] < CLAIM_SHARE)
    chance = at_most(most, ANSWERS, CLAIM_SHARE)
    assert chance < 0.05
    assert abs(widened - chance) < 3.0 * math.sqrt(chance * (1.0 - chance) / BOOKS)
