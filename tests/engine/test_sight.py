"""Where a balancer can see, and whether it ever starts."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from engine.cells import catalogue
from engine.cells.sight import balancer_reached, sight
from engine.errors import InputError
from tests.engine.test_cells import LINE

SODIUM, LFP, NMC = (catalogue.load(id) for id in ("sodium_layered", "lfp", "nmc"))


def at(view, low, high):
    """Slopes between two charges [mV per 0.01]."""
    return view.mv_per_point[round(low * 1000) : round(high * 1000) + 1]


def test_a_straight_line_by_hand():
    # OCV 3 to 4 V over the whole charge: 10 mV per 0.01. Of 50 Ah a hundredth is 0.5 Ah: 20 mV per Ah. R is constant.
    view = sight(LINE, 0.5, 50.0)
    assert view.mv_per_point == pytest.approx(np.full(1001, 10.0))
    assert view.mv_per_ah == pytest.approx(np.full(1001, 20.0))
    (only,) = view.stretches
    assert (only.word, only.low_soc, only.high_soc) == ("clear", 0.0, 1.0)
    # Under 0.5C of 0.5 V per C: 0.25 V above rest.
    assert (only.low_v, only.high_v) == pytest.approx((3.25, 4.25))
    assert view.clear_share == 1.0


@pytest.mark.parametrize(
    ("resolution_mv", "word"),
    [
        # 10 mV per 0.01: clear while one resolution is an imbalance of 0.01 or less, blind above 0.025.
        (9.9, "clear"),
        (10.1, "faint"),
        (24.9, "faint"),
        (25.1, "blind"),
    ],
)
def test_words_follow_from_the_boards_resolution(resolution_mv, word):
    assert [part.word for part in sight(LINE, 0.5, 50.0, resolution_mv=resolution_mv).stretches] == [word]


def test_resistance_that_falls_turns_the_volts_round():
    # 10 mV per 0.01 from OCV, less 0.5C of a resistance that falls by 0.4 V per C over the charge: 20 mV; -10 in all.
    falling = dataclasses.replace(LINE, r_slow_v_per_c=(4.5, 0.5))
    (only,) = sight(falling, 0.5, 50.0).stretches
    assert only.word == "backwards"
    assert (only.least_mv, only.most_mv) == pytest.approx((-10.0, -10.0))


def test_sodium_on_its_slope():
    # Common practice, no source: 16-20 mV per 0.01 on the slope. The catalogue's measured cell gives that on average
    # and 15.2 (near 77 %) to 21.8 (at 95 %) at its ends, 1 and 2 mV outside.
    slope = at(sight(SODIUM, 0.1, 100.0), 0.5, 0.95)
    assert 16.0 <= slope.mean() <= 20.0
    assert slope.min() > 15.0
    assert slope.max() < 22.0


def test_sodium_on_its_flat_step():
    # Common practice, no source: 5-6 mV per 0.01 on the flat step. The catalogue's measured cell has it from 30 to
    # 35 % (mean 5.9); below 25 % its step is steeper than practice says (20-35 %).
    step = at(sight(SODIUM, 0.1, 100.0), 0.30, 0.35)
    assert 5.0 <= step.mean() <= 6.0
    assert step.min() == at(sight(SODIUM, 0.1, 100.0), 0.0, 1.0).min()


def test_lfp_only_near_the_top():
    # Common practice, no source: LFP shows an imbalance only near its top (and its bottom, where nothing balances).
    view = sight(LFP, 0.1, 100.0)
    upper = [part for part in view.stretches if part.low_soc >= 0.3]
    assert [part.word for part in upper if part.word == "clear"] == ["clear"]
    assert upper[-1].word == "clear"
    assert upper[-1].low_soc > 0.94
    assert at(view, 0.42, 0.65).max() < 2.0
    assert at(view, 0.80, 0.93).max() < 2.0


def test_sodium_sees_everywhere_nmc_nearly():
    assert sight(SODIUM, 0.1, 100.0).clear_share == 1.0
    assert sight(NMC, 0.1, 100.0).clear_share > 0.9
    assert sight(LFP, 0.1, 100.0).clear_share < 0.3


@pytest.mark.parametrize(
    ("hold", "end_v", "start_v", "reached", "start_soc", "end_soc", "hours"),
    [
        # LINE at 0.5C stands 0.25 V above rest: 3.75 V at s = 0.5, 3.85 V at 0.6. 0.1 of charge at 0.5C: 0.2 h.
        (False, 3.85, 3.75, True, 0.5, 0.6, 0.2),
        # A hold to 0.08C at 3.85 V ends where 3 + s + 0.04 = 3.85.
        (True, 3.85, 3.75, True, 0.5, 0.81, 0.2),
        # At the end volts themselves: a moment.
        (False, 3.85, 3.85, True, 0.6, 0.6, 0.0),
        # Above the end volts: never, held or not.
        (False, 3.85, 3.9, False, None, 0.6, 0.0),
        (True, 3.85, 3.9, False, None, 0.81, 0.0),
        # A full cell under 0.5C stands at 4.25 V: 4.3 V is never met.
        (False, 4.4, 4.3, False, None, 1.0, 0.0),
    ],
)
def test_balancer_reached_by_hand(hold, end_v, start_v, reached, start_soc, end_soc, hours):
    reach = balancer_reached(LINE, start_v, end_v, hold, 0.5)
    assert reach.reached is reached
    assert reach.start_soc == (None if start_soc is None else pytest.approx(start_soc))
    assert reach.end_soc == pytest.approx(end_soc)
    assert reach.hours == pytest.approx(hours)


@pytest.mark.parametrize(("start_v", "reached"), [(4.4497, True), (4.4503, False)])
def test_the_highest_volts_met_are_those_of_the_full_cell(start_v, reached):
    # 4 V at rest and 0.5C of 0.9 V per C: 4.45 V; two thousandths of the charge below it are 2.4 mV less
    rising = dataclasses.replace(LINE, r_slow_v_per_c=(0.5, 0.9))
    assert balancer_reached(rising, start_v, 4.5, False, 0.5).reached is reached


def test_slow_charge_starts_later_in_the_charge():
    # 0.1C stands 0.05 V above rest: 3.75 V at s = 0.7.
    assert balancer_reached(LINE, 3.75, 3.85, False, 0.1).start_soc == pytest.approx(0.7)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"c_rate": -0.1}, "c_rate"),
        ({"ah": 0.0}, "ah"),
        ({"ah": float("nan")}, "ah"),
        ({"resolution_mv": 0.0}, "resolution_mv"),
    ],
)
def test_bad_numbers_are_refused(change, field):
    with pytest.raises(InputError) as error:
        sight(LINE, **{"c_rate": 0.1, "ah": 100.0, **change})
    assert error.value.field == field


def test_balancer_needs_a_current():
    with pytest.raises(InputError, match="above 0 C"):
        balancer_reached(LINE, 3.4, 3.5, False, 0.0)
