"""The shortest useful bench plan: hours and ampere-hours by hand, the sweep it replaces, and the score afterwards."""

from __future__ import annotations

import dataclasses
import json
import math

import pytest
from pydantic import TypeAdapter

from engine.answers.bench_plan import QUESTIONS, BenchPlan, bench_plan, score
from engine.answers.bench_steps import bench_of, hold, sweep, sweep_volts
from engine.cells import catalogue
from engine.errors import InputError
from tests.engine.test_cells import LINE

SODIUM, LFP = catalogue.load("sodium_layered"), catalogue.load("lfp")
SMALL = {"label_ah": 1.3, "charge_a": 0.65, "discharge_a": 0.65, "tail_a": 0.1}


def line_plan(question, **change):
    """A plan for 10 Ah of LINE: 5 A in, 5 A out, 0.8 A tail (0.5C, 0.5C, 0.08C)."""
    return bench_plan(
        question, LINE, **{"label_ah": 10.0, "charge_a": 5.0, "discharge_a": 5.0, "tail_a": 0.8, **change}
    )


def shape(plan):
    return [(step.kind, step.end_v) for step in plan.steps]


# LINE: OCV 3 + s, 0.5 V per C on the way up, 0.2 V per C down, empty at 2.9 V: 3 - 0.1 = 2.9, so s = 0 is met at 0.5C.
# Full is 4.04 V. At 0.5C without a hold: 3 + s + 0.25 = 4.04, s = 0.79: 7.9 Ah, 1.58 h. The hold ends at
# 3 + s + 0.04 = 4.04, s = 1: 2.1 Ah. The current decays with R / (dV/ds) = 0.5 h: 0.5 ln(0.5 / 0.08) = 0.91629 h.
HOLD_H = 0.5 * math.log(0.5 / 0.08)


def test_volts_for_share_by_hand():
    plan = line_plan("volts_for_share")
    kinds = ["discharge", "rest", "charge", "hold", "rest", "discharge"]
    assert [step.kind for step in plan.steps] == kinds
    assert [step.hours for step in plan.steps] == pytest.approx([2.0, 0.5, 1.58, HOLD_H, 0.5, 2.0], abs=1e-4)
    assert [step.ah for step in plan.steps] == pytest.approx([10.0, 0.0, 7.9, 2.1, 0.0, 10.0], abs=1e-6)
    assert plan.hours == pytest.approx(6.58 + HOLD_H, abs=1e-4)
    assert (plan.charged_ah, plan.discharged_ah) == pytest.approx((10.0, 20.0))
    assert (plan.charges, plan.discharges) == (1, 2)
    # 80 % without a hold at 0.5C would take 3 + 0.8 + 0.25 = 4.05 V, above full: no number, a reason.
    row = plan.forecasts[1]
    assert row.value is None
    assert "4.04 V at 79 %" in row.reason
    # 50 %: 3.75 V. The bar is 10 points, 0.1 V on this line, and the meter's 10 mV.
    row = line_plan("volts_for_share", wanted=(0.5,)).forecasts[1]
    assert (row.key, row.value) == ("volts_for_0.5", pytest.approx(3.75))
    assert row.bar == pytest.approx(math.hypot(0.1, 0.01), abs=1e-6)
    assert row.points_per_unit == pytest.approx(100.0)


def test_hold_worth_by_hand():
    # The first 0.05 V step below 4.04 V that passes 88 % without a hold: none does, so the last, 4.00 V: s = 0.75,
    # held 0.96: 2.1 Ah in the same 0.916 h. Then from 0.96 the current meets 4.04 V at once (0.79 is passed): 0 Ah,
    # and the second hold begins at (4.04 - 3.96) / 0.5 = 0.16C: 0.4 Ah more, 0.5 ln(0.16 / 0.08) h.
    plan = line_plan("hold_worth")
    assert plan.hold_v == 4.0
    assert shape(plan)[2:6] == [("charge", 4.0), ("hold", 4.0), ("charge", 4.04), ("hold", 4.04)]
    assert [step.ah for step in plan.steps[2:6]] == pytest.approx([7.5, 2.1, 0.0, 0.4], abs=1e-6)
    assert plan.steps[3].hours == pytest.approx(HOLD_H, abs=1e-4)
    assert plan.steps[5].hours == pytest.approx(0.5 * math.log(2.0), abs=1e-3)
    assert plan.charged_ah == pytest.approx(10.0)
    assert plan.charges == 1
    gain, reached = plan.forecasts[1:]
    assert (gain.value, reached.value) == pytest.approx((0.21, 0.75))
    # With the resistance of minutes, 0.2 instead of 0.5 V per C: 0.42 x 0.2 = 0.084.
    assert gain.bar == pytest.approx(math.hypot(0.21 - 0.084, 0.04 * 0.21, 0.005), abs=1e-6)


def test_whole_curve_by_hand():
    # Second charge at the tail, 0.8 A: 3 + s + 0.04 = 4.04, s = 1: 10 Ah in 12.5 h.
    plan = line_plan("whole_curve")
    slow = plan.steps[7]
    assert (slow.kind, slow.current_a) == ("charge", 0.8)
    assert (slow.ah, slow.hours) == pytest.approx((10.0, 12.5))
    assert (plan.charges, plan.discharges) == (2, 3)
    # A tail far below: an eighth of 5 A, 0.625 A.
    assert line_plan("whole_curve", tail_a=0.1).steps[7].current_a == 0.625


def test_capacity_is_of_every_cell():
    # By hand: 1.58 h + hold + 0.5 h + 2 h, four times.
    plan = line_plan("capacity", cells=4)
    assert plan.cells_tested == 4
    assert plan.hours == pytest.approx(4 * (4.08 + HOLD_H), abs=1e-3)
    assert (plan.charges, plan.discharges, plan.discharged_ah) == (4, 4, pytest.approx(40.0))
    assert [row.key for row in plan.forecasts] == ["full_ah", "spread_share"]
    assert [row.key for row in line_plan("capacity").forecasts] == ["full_ah"]


def test_balancer_by_hand():
    # 10 mV per 0.01 everywhere on a line: only the sensor's 4 % is left of the bar.
    rows = line_plan("balancer").forecasts[1:]
    assert [row.value for row in rows] == pytest.approx([10.0] * 6)
    assert [row.bar for row in rows] == pytest.approx([0.4] * 6)


def test_no_hold_where_the_tail_is_the_charge_current():
    # A cut-off current equal to the charge current is "no hold": 7.9 Ah come back, in 1.58 h.
    plan = line_plan("volts_for_share", tail_a=5.0)
    assert "hold" not in [step.kind for step in plan.steps]
    assert plan.steps[-1].hours == pytest.approx(1.58)
    with pytest.raises(InputError, match="below the charge current, 5 A; got 5 A"):
        line_plan("hold_worth", tail_a=5.0)


def test_charge_efficiency_lengthens_the_charge():
    # 90 % come back: 7.9 / 0.9 Ah at 5 A.
    plan = bench_plan(
        "capacity",
        dataclasses.replace(LINE, coulombic_efficiency=0.9),
        label_ah=10.0,
        charge_a=5.0,
        discharge_a=5.0,
        tail_a=0.8,
    )
    assert plan.steps[0].hours == pytest.approx(7.9 / 0.9 / 5.0)
    assert plan.steps[1].ah == pytest.approx(2.1 / 0.9, rel=1e-3)
    assert plan.steps[3].ah == pytest.approx(10.0)


def test_what_a_fast_discharge_leaves_is_not_charged_again():
    # 0.25 of capacity lost per C, at 0.4C a tenth: the bench's empty is s = 0.1 and 10 Ah are what lies above it.
    # 3 + s + 0.25 = 3.8 V is met at s = 0.55: bench share (0.55 - 0.1) / 0.9 = 0.5.
    bench = bench_of(dataclasses.replace(LINE, rate_loss_per_c=0.25), 10.0, 5.0, 4.0, 0.8)
    assert bench.bottom_soc == pytest.approx(0.1)
    assert bench.no_hold(3.8) == pytest.approx(0.5)
    # From s = 0.55 to 0.76: 0.21 / 0.9 of 10 Ah.
    assert hold(bench, 3.8).ah == pytest.approx(2.1 / 0.9)


def test_sweep_by_hand():
    # LINE held to 0.08C leaves something from 3.1 V up (3.04 V is empty); no hold at 0.5C from 3.3 V up (3.25 V).
    bench = bench_of(LINE, 10.0, 5.0, 5.0, 0.8)
    ends = sweep_volts(bench)
    assert ends == pytest.approx([3.1, 3.2, 3.3, 3.4, 3.5, 3.6, 3.7, 3.8, 3.9, 4.0, 4.04])
    # No hold: V - 3.25 of charge, in and out, each at 0.5C: 4 h times it; held: charge the same, hold of
    # 0.5 ln((V - 3 - s0) / 0.04 ...): current at its start is (V - 3) / 0.5 C where 0.5C is too much at once.
    no_hold = [max(v - 3.25, 0.0) for v in ends]
    held = [v - 3.04 for v in ends]
    starts = [min(0.5, (v - 3.0) / 0.5) for v in ends]
    holds = [0.5 * math.log(c / 0.08) for c in starts]
    hours = sum(2 * s + 2 * s + 1.0 for s in no_hold)
    hours += sum(2 * s + h + 2 * f + 1.0 for s, f, h in zip(no_hold, held, holds, strict=True))
    answer = sweep(bench, 1)
    assert answer.charges == 22
    # And once at first to empty: 2 h and a rest.
    assert answer.hours == pytest.approx(hours + 2.5, abs=1e-3)
    assert answer.days == pytest.approx(answer.hours / 24)


def test_sweep_of_a_small_sodium_cell_takes_about_five_days():
    # Common practice, no source: about five days for 1.3 Ah at 0.5C; our sum, with half-hour rests, is 5.1.
    plan = bench_plan("volts_for_share", SODIUM, **SMALL)
    assert plan.sweep.days == pytest.approx(5.0, abs=0.5)
    assert plan.hours < 8.0


def test_the_hold_of_sodium_is_tried_at_3_8_v():
    # Common practice, no source: off the steep foot, 3.8 V.
    assert bench_plan("hold_worth", SODIUM, **SMALL).hold_v == 3.8


def test_the_forecast_stands_against_common_practice():
    # Common practice, no source, of another cell than the catalogue's: no hold / hold 42.6 / 46.1 % at 3.0 V,
    # 80 / 84 % at 3.6 V, 92.2 / 94.7 % at 3.8 V; all within the forecast's own bars.
    result = score(bench_plan("volts_for_share", SODIUM, **SMALL), {"volts_for_0.8": 3.6})
    assert result.inside_share == 1.0
    # 0.06 V on a slope of about 64 points per volt.
    assert 3.0 < result.mean_miss_points < 5.0
    hold_worth = bench_plan("hold_worth", SODIUM, **SMALL)
    result = score(hold_worth, {"hold_gain_3.8": 0.947 - 0.922, "share_no_hold_3.8": 0.922})
    assert result.inside_share == 1.0


def test_lfp_on_its_flat_part_gets_a_reason_instead_of_volts():
    plan = bench_plan("volts_for_share", LFP, label_ah=100, charge_a=50, discharge_a=50, tail_a=8, wanted=(0.5, 0.8))
    for row in plan.forecasts[1:]:
        assert row.value is None
        assert row.reason.startswith("Not controllable by voltage; count ampere-hours")
    with pytest.raises(InputError, match="no forecast"):
        score(plan, {"volts_for_0.5": 3.3})


@pytest.mark.parametrize(
    ("id", "question"), [(id, q) for id in catalogue.names() for q in QUESTIONS if q == "capacity" or "lead" not in id]
)
def test_every_plan_adds_up_and_beats_the_sweep(question, id):
    cell = catalogue.load(id)
    c = cell.charge_c_max
    plan = bench_plan(question, cell, label_ah=100, charge_a=100 * c, discharge_a=100 * c, tail_a=100 * cell.tail_c)
    assert plan.steps[-1].at_h == pytest.approx(math.fsum(step.hours for step in plan.steps))
    assert plan.hours == pytest.approx(plan.steps[-1].at_h)
    assert plan.hours < plan.sweep.hours
    assert all(row.source.text and row.bar >= 0 for row in plan.forecasts)
    assert {"cold", "limits", "attend", "fuse"} <= {finding.code for finding in plan.cautions}


def test_a_plan_survives_being_kept():
    kind = TypeAdapter(BenchPlan)
    for question in QUESTIONS:
        plan = bench_plan(question, SODIUM, **SMALL, cells=3)
        kept = json.loads(json.dumps(dataclasses.asdict(plan)))
        assert kind.validate_python(kept) == plan


@pytest.mark.parametrize("question", [one for one in QUESTIONS if one != "capacity"])
def test_no_curve_is_promised_of_lead_acid(question):
    with pytest.raises(InputError, match="does not keep to rested volts") as fault:
        bench_plan(question, catalogue.load("lead_sealed"), label_ah=100, charge_a=20, discharge_a=10, tail_a=2)
    assert fault.value.field == "question"


def test_cautions_follow_the_cell_and_the_currents():
    flooded = catalogue.load("lead_flooded")
    plan = bench_plan("capacity", flooded, label_ah=100, charge_a=50, discharge_a=10, tail_a=1)
    codes = {finding.code for finding in plan.cautions}
    assert {"gas", "long", "charge_current"} <= codes
    assert "discharge_current" not in codes
    cold = next(f.text for f in plan.cautions if f.code == "cold")
    # Lead-acid may be charged in frost by its sheet; on a bench nothing is.
    assert "below 0 °C" in cold


def test_score_of_a_perfect_and_of_a_far_result():
    plan = line_plan("hold_worth")
    perfect = score(plan, {row.key: row.value for row in plan.forecasts})
    assert (perfect.inside_share, perfect.mean_miss_points) == (1.0, 0.0)
    assert perfect.sentence.startswith("3 of 3 results lie inside")
    far = score(plan, {row.key: row.value + 2 * row.bar for row in plan.forecasts})
    assert far.inside_share == 0.0
    assert "Farthest out" in far.sentence


def test_score_in_points_by_hand():
    # 50 % forecast at 3.75 V, measured 3.80: 0.05 V on 100 points per volt are 5; 10 Ah against 9.7: 3 points; mean 4.
    plan = line_plan("volts_for_share", wanted=(0.5,))
    result = score(plan, {"volts_for_0.5": 3.80, "full_ah": 9.7})
    assert [row.miss_points for row in result.rows] == pytest.approx([3.0, 5.0])
    assert result.mean_miss_points == pytest.approx(4.0)
    assert [row.inside for row in result.rows] == [True, True]
    # 1.1 Ah off; the bar is 10.77 % of 10 Ah, from 10 % for the label and 4 % for the sensor.
    assert score(plan, {"full_ah": 11.1}).inside_share == 0.0


def test_score_without_points():
    result = score(line_plan("balancer"), {"mv_per_point_0.5": 12.0})
    assert result.mean_miss_points is None
    assert result.inside_share == 0.0


@pytest.mark.parametrize("results", [{}, {"full_ah": float("nan")}, {"nothing": 1.0}])
def test_score_refuses_what_is_no_result(results):
    with pytest.raises(InputError) as error:
        score(line_plan("volts_for_share"), results)
    assert error.value.field == "results"


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"label_ah": 0.0}, "label_ah"),
        ({"charge_a": 50.0}, "charge_a"),
        ({"discharge_a": 0.05}, "discharge_a"),
        ({"tail_a": 0.01}, "tail_a"),
        ({"wanted": (1.5,)}, "wanted"),
        ({"cells": 0}, "cells"),
        ({"charge_a": float("nan")}, "charge_a"),
    ],
)
def test_bad_numbers_are_refused(change, field):
    with pytest.raises(InputError) as error:
        line_plan("volts_for_share", **change)
    assert error.value.field == field


def test_an_unknown_question_is_refused():
    with pytest.raises(InputError, match="one of volts_for_share"):
        line_plan("weather")
