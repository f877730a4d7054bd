"""Planned runs of a generator: energy is kept, quiet hours too, and the plan that is offered lasts."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from engine.answers.starting import LEAST, RULES, START_LITRES, starting
from engine.balance.planned import Plan, PlannedGeneration, Run
from engine.balance.step import State, plant
from engine.balance.trajectory import run
from tests.engine.plants import SERIES, bank, generator, inverter
from tests.engine.test_starting import days_of


@settings(max_examples=120, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.sampled_from(sorted(SERIES)),
    st.floats(0.1, 1.0),
    st.booleans(),
    st.lists(st.floats(0.0, 2500.0), min_size=24, max_size=24),
    st.lists(st.floats(0.0, 1500.0), min_size=24, max_size=24),
    st.lists(st.tuples(st.floats(0.0, 5.0), st.floats(0.1, 4.0)), min_size=1, max_size=3),
    st.floats(0.2, 1.0),
)
def test_energy_is_conserved_and_runs_are_as_planned(
    chemistry: str,
    soc: float,
    hold: bool,
    sun_w: list[float],
    ac_w: list[float],
    gaps: list[tuple[float, float]],
    first_h: float,
) -> None:
    rules = generator()
    runs, at_h = [], 0.0
    for gap_h, hours in gaps:
        runs.append(Run(at_h + gap_h + 0.01, hours))
        at_h = runs[-1].start_h + hours
    p = plant(bank(chemistry, hold=hold), inverter(), 400.0)
    plan = Plan(generator=rules, runs=tuple(runs))
    day = run(p, State(soc), sun_w, ac_w, [0.0] * 24, first_h=first_h, generator=plan, from_hour=5)
    assert abs(day.totals.balance_error_share) < 1e-3
    done = day.generation
    assert isinstance(done, PlannedGeneration)
    end_h = float(day.hours[-1])
    planned = [Run(one.start_h, min(one.hours, end_h - one.start_h)) for one in runs if one.start_h < end_h]
    assert len(done.runs) == len(planned)
    for told, one in zip(done.runs, planned, strict=True):
        assert abs(told.start_h - one.start_h) < 1e-6
        assert abs(told.hours - one.hours) < 1e-6
        assert abs(told.litres - rules.litres(told.given_wh, told.hours)) < 1e-9
    assert abs(sum(told.litres for told in done.runs) - done.litres) < 1e-9
    assert np.all(done.burnt[:, 0] >= -1e-12)


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.floats(0.25, 0.9),
    st.integers(0, 23),
    st.sampled_from([0, 20]),
    st.integers(0, 47),
    st.floats(0.0, 10.0),
    st.integers(14, 80),
    st.floats(0.0, 3.0),
)
def test_what_is_offered_lasts_and_is_never_quiet(
    soc: float, hour: int, minute: int, quiet_from: int, quiet_h: float, until_h: int, margin_h: float
) -> None:
    at = datetime(2026, 11, 25, hour, minute)
    quiet_to_h = (quiet_from / 2 + round(quiet_h * 2) / 2) % 24
    one = days_of(soc, at, quiet_from_h=quiet_from / 2, quiet_to_h=quiet_to_h)
    found = starting(one, at + timedelta(hours=until_h), margin_h)
    rules_of = one.supply.generator
    assert rules_of is not None
    for way in found.ways:
        for told in way.runs:
            for share in (0.001, 0.5, 0.999):
                middle = at + timedelta(hours=told.start_h + share * told.hours)
                assert not rules_of.is_quiet(middle.hour + middle.minute / 60.0 + middle.second / 3600.0)
    if not found.needed:
        return
    best, rules = found.way(found.best), found.way(RULES)
    assert best is not None
    assert rules is not None
    if rules.lasts_h is None:
        assert best.lasts_h is None
        assert best.litres <= rules.litres + START_LITRES
    least = found.way(LEAST)
    if least is not None and least.lasts_h is None:
        assert least.unserved_kwh < 1e-6
        assert least.lowest_soc >= found.floor_soc - 1e-6
