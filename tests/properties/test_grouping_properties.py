"""What must hold for any list of cells, any bench plan and any score."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.answers.bench_plan import QUESTIONS, bench_plan, score
from engine.bench.records import TestedCell
from engine.cells import catalogue
from engine.cells.sight import balancer_reached, sight
from engine.house.dealing import evened, in_list_order
from engine.house.grouping import grouped

CELLS = st.sampled_from([catalogue.load(id) for id in catalogue.names()])
AH = st.floats(1.0, 500.0)


@st.composite
def strings(draw):
    """A string's two counts and enough cells, some to spare."""
    series, parallel = draw(st.integers(1, 6)), draw(st.integers(1, 5))
    needed = series * parallel
    ah = draw(st.lists(AH, min_size=needed, max_size=needed + 4))
    return series, parallel, tuple(TestedCell(name=str(k), ah=a) for k, a in enumerate(ah))


@given(strings())
def test_evening_never_gives_less_and_never_more_than_the_bound(string):
    series, parallel, cells = string
    answer = grouped(cells, series, parallel)
    assert answer.even.string_ah >= answer.listed.string_ah - 1e-9 * answer.bound_ah
    assert answer.even.string_ah <= answer.bound_ah * (1 + 1e-12)


@given(strings())
def test_every_cell_is_used_once_or_spare(string):
    series, parallel, cells = string
    answer = grouped(cells, series, parallel)
    for arrangement in (answer.listed, answer.even):
        assert [len(group.cells) for group in arrangement.groups] == [parallel] * series
        names = [cell.name for group in arrangement.groups for cell in group.cells]
        assert sorted(names + [cell.name for cell in answer.spares]) == sorted(cell.name for cell in cells)


@given(strings())
def test_no_further_swap_helps(string):
    series, _, cells = string
    ah = np.array([cell.ah for cell in cells[: len(cells) // series * series]])
    order, _ = evened(ah, series)
    sums = ah[order].sum(axis=1)
    least = int(np.argmin(sums))
    for other in range(series):
        gap = sums[other] - sums[least]
        moved = ah[order[other]][:, None] - ah[order[least]][None, :]
        assert np.all(moved * (gap - moved) <= 1e-8 * np.mean(ah**2))


@given(strings(), st.floats(1.001, 3.0))
def test_a_better_cell_in_the_list_never_lowers_the_bound(string, factor):
    series, parallel, cells = string
    better = (TestedCell(name=cells[0].name, ah=cells[0].ah * factor), *cells[1:])
    before, after = (grouped(list_, series, parallel, reject_below=0.0) for list_ in (cells, better))
    assert after.bound_ah >= before.bound_ah * (1 - 1e-12)


@given(st.lists(AH, min_size=4, max_size=12))
def test_list_order_is_the_list(ah):
    assert in_list_order(len(ah), 1).ravel().tolist() == list(range(len(ah)))


@given(CELLS, st.floats(0.0, 1.0), st.floats(1.0, 1000.0), st.floats(0.5, 50.0))
def test_stretches_cover_the_charge_and_a_coarser_board_sees_less(cell, c_rate, ah, resolution):
    view = sight(cell, c_rate, ah, resolution_mv=resolution)
    ends = [(part.low_soc, part.high_soc) for part in view.stretches]
    assert ends[0][0] == 0.0
    assert ends[-1][1] == 1.0
    assert all(before[1] == after[0] for before, after in pairwise(ends))
    coarser = sight(cell, c_rate, ah, resolution_mv=2.0 * resolution)
    # A stretch under a hundredth is counted with the one before it: that much per stretch.
    assert coarser.clear_share <= view.clear_share + 0.01 * len(view.stretches) + 1e-9


@given(CELLS, st.floats(0.02, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.booleans())
def test_a_higher_end_never_keeps_a_balancer_from_starting(cell, c_rate, a, b, hold):
    low, high = sorted(cell.v_low + x * (cell.v_max - cell.v_low) for x in (a, b))
    start = (low + high) / 2.0
    at_low, at_high = (balancer_reached(cell, start, end, hold, c_rate) for end in (low, high))
    assert at_high.reached >= at_low.reached
    assert at_high.end_soc >= at_low.end_soc
    assert at_high.hours >= at_low.hours >= 0.0


@st.composite
def plans(draw):
    cell = draw(CELLS)
    question = draw(st.sampled_from(list(QUESTIONS))) if cell.acceptance_tau_h is None else "capacity"
    label, charge_c = draw(st.floats(0.5, 400.0)), draw(st.floats(0.1, 1.0))
    tail_c = draw(st.floats(0.02, 0.95)) * charge_c
    return bench_plan(
        question,
        cell,
        label_ah=label,
        charge_a=charge_c * label,
        discharge_a=draw(st.floats(0.1, 1.0)) * label,
        tail_a=tail_c * label,
        wanted=tuple(draw(st.lists(st.floats(0.1, 0.95), min_size=1, max_size=3))),
        cells=draw(st.integers(1, 30)),
    )


@settings(max_examples=60, deadline=None)
@given(plans())
def test_a_plan_is_the_sum_of_its_steps_and_shorter_than_the_sweep(plan):
    assert plan.hours == pytest.approx(plan.cells_tested * math.fsum(step.hours for step in plan.steps))
    assert plan.steps[-1].at_h * plan.cells_tested == pytest.approx(plan.hours)
    assert all(step.hours >= 0.0 and step.ah >= 0.0 for step in plan.steps)
    assert plan.hours < plan.sweep.hours
    assert plan.charges < plan.sweep.charges
    # What goes in is at least what comes back, less the first discharge to empty.
    emptied = 0.0 if plan.question == "capacity" else plan.label_ah
    assert plan.charged_ah >= (plan.discharged_ah - emptied) * (1 - 1e-6)


@settings(max_examples=60, deadline=None)
@given(plans(), st.floats(0.0, 0.99), st.floats(1.01, 50.0))
def test_a_result_inside_its_bar_counts_and_one_outside_does_not(plan, near, far):
    known = [row for row in plan.forecasts if row.value is not None]
    inside = score(plan, {row.key: row.value + near * row.bar for row in known})
    assert inside.inside_share == 1.0
    outside = score(plan, {row.key: row.value - far * row.bar for row in known})
    assert outside.inside_share == 0.0
    assert outside.mean_miss_points >= 0.0
