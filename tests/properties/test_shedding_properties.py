"""Switching more off never shortens the hours, and the exact search agrees with trying every subset."""

from __future__ import annotations

import dataclasses
from datetime import datetime, timedelta
from itertools import chain, combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from engine.answers.coming import Coming, coming
from engine.answers.shedding import shedding
from engine.answers.shedding_search import Loads, cheapest_set
from engine.house.loads import Load
from engine.sky.days import parse_sky
from tests.engine.test_shedding import BASE, home

EVENING = datetime(2026, 11, 25, 18, 0)
Spec = tuple[float, int, int, int]
specs = st.lists(
    st.tuples(st.floats(60.0, 900.0), st.integers(1, 6), st.integers(0, 23), st.integers(1, 5)), min_size=2, max_size=5
)


def days(spec: list[Spec], soc: float) -> Coming:
    loads = tuple(
        Load(
            id=f"l{k}",
            name=f"L{k}",
            kind="timed",
            can_shed=True,
            values={"power_w": power_w, "run_h": run_h, "start_h": start_h},
        )
        for k, (power_w, run_h, start_h, _) in enumerate(spec)
    )
    house = home(BASE, *loads)
    return coming(house, {"old": soc}, parse_sky("dark,dull", house.site, house.sun, 11, 4), EVENING)[1][0]


def subsets(ids: list[str]) -> list[Loads]:
    return [frozenset(one) for one in chain.from_iterable(combinations(ids, n) for n in range(len(ids) + 1))]


@settings(max_examples=25, deadline=None)
@given(specs, st.floats(0.55, 0.95), st.floats(0.1, 1.1))
def test_the_exact_search_agrees_with_every_subset(spec: list[Spec], soc: float, part: float) -> None:
    """On the simulation itself: the least inconvenience of all subsets that last to the moment."""
    one = days(spec, soc)
    minded = {f"l{k}": float(mind) for k, (_, _, _, mind) in enumerate(spec)}
    as_is = shedding(one, EVENING + timedelta(hours=1), minded)
    if as_is.hours is None or as_is.hours < 1.0 or as_is.all_off_h is None:
        return
    until_h = min(as_is.hours + part * (as_is.all_off_h - as_is.hours), as_is.all_off_h + 2.0)
    if until_h <= as_is.hours + 1e-3 or abs(until_h - as_is.all_off_h) < 1e-3:
        return
    found = shedding(one, EVENING + timedelta(hours=until_h), minded)
    lasts = {off: one.without(off).run(until_ended=True).ended_h for off in subsets(sorted(minded))}
    reaching = [off for off, hours in lasts.items() if hours is None or hours >= found.until_h - 1e-6]
    if not reaching:
        assert found.offs == ()
        return
    least = min(sum(minded[one_id] for one_id in off) for off in reaching)
    assert found.proven
    assert sum(minded[off.load_id] for off in found.offs) == least == found.cost
    assert found.lasts_h is None or found.lasts_h >= found.until_h - 1e-6


@settings(max_examples=25, deadline=None)
@given(specs, st.floats(0.5, 0.95))
def test_switching_more_off_never_shortens_the_hours(spec: list[Spec], soc: float) -> None:
    one = days(spec, soc)
    ids = [f"l{k}" for k in range(len(spec))]
    before = one.run(until_ended=True).ended_h
    for count in range(1, len(ids) + 1):
        after = one.without(ids[:count]).run(until_ended=True).ended_h
        if before is None:
            assert after is None
        assert after is None or before is None or after >= before - 1e-6
        before = after


weights = st.lists(st.tuples(st.integers(1, 5), st.integers(0, 12)), min_size=1, max_size=12)


@settings(max_examples=150, deadline=None)
@given(weights, st.integers(0, 80))
def test_the_search_agrees_with_brute_force_for_up_to_twelve_loads(rows: list[tuple[int, int]], goal: int) -> None:
    costs = {f"l{k}": float(cost) for k, (cost, _) in enumerate(rows)}
    gains = {f"l{k}": gain for k, (_, gain) in enumerate(rows)}

    def reaches(off: Loads) -> bool:
        return sum(gains[one] for one in off) >= goal

    found = cheapest_set(costs, reaches)
    possible = [off for off in subsets(list(costs)) if reaches(off)]
    if not possible:
        assert found.off is None
        return
    assert found.off is not None
    assert found.proven
    best = min((sum(costs[one] for one in off), len(off)) for off in possible)
    assert (found.cost, len(found.off)) == best


def test_the_spec_is_what_runs() -> None:
    one = days([(500.0, 3, 19, 2)], 0.8)
    assert [load.id for load in one.supply.loads] == ["base", "l0"]
    assert dataclasses.asdict(one.supply.loads[1])["values"]["power_w"] == 500.0
