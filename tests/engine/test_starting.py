"""When to start a generator: by hand on constant draws, and never into quiet hours."""

from __future__ import annotations

import copy
import dataclasses
import json
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine.answers.coming import Coming, coming
from engine.answers.starting import LATEST, LEAST, RULES, Starting, starting, usual_run_until
from engine.answers.starting_runs import RunDays, plans
from engine.balance.planned import Run
from engine.errors import InputError, Unreachable
from engine.house import household
from engine.sky.days import parse_sky

HOUSE = Path(__file__).parent.parent / "households" / "h.json"
GENERATOR: dict[str, Any] = {
    "id": "red", "name": "Red engine", "rated_w": 3000, "charger_w": 2000, "full_l_per_h": 1.2, "idle_l_per_h": 0.4,
    "start_soc": 0.3, "stop_soc": 0.8, "least_run_h": 0.5,
}  # fmt: skip
AT = datetime(2026, 11, 25, 18, 0)


def days_of(soc: float, at: datetime = AT, **generator: Any) -> Coming:
    """Household H without sun and with a generator."""
    document = copy.deepcopy(json.loads(HOUSE.read_text(encoding="utf-8")))
    home = household.read({**document, "generators": [{**GENERATOR, **generator}]})
    (supply,) = home.supplies()
    _, (one,) = coming(home, {supply.bank.id: soc}, parse_sky("none", home.site, home.sun, at.month, 10), at)
    return one


def asked(soc: float, until: datetime, margin_h: float = 1.0, **generator: Any) -> Starting:
    return starting(days_of(soc, **generator), until, margin_h)


def test_it_need_not_run_where_the_bank_lasts() -> None:
    found = asked(0.9, datetime(2026, 11, 25, 22))
    assert not found.needed
    assert (found.latest_h, found.best, found.without.lasts_h) == (None, "", None)


def test_the_latest_start_is_the_margin_before_the_end_on_the_quarter() -> None:
    one = days_of(0.5)
    ended_h = one.run(until_ended=True).ended_h
    assert ended_h is not None
    for margin_h in (0.0, 1.0, 2.5):
        found = starting(one, datetime(2026, 11, 28, 12), margin_h)
        assert found.latest_h is not None
        assert 0.0 <= ended_h - margin_h - found.latest_h < 0.25
        assert (found.latest_h * 4.0) % 1.0 == pytest.approx(0.0)
        assert not found.moved


def test_a_run_started_then_is_in_time_and_one_not_begun_is_not() -> None:
    one = days_of(0.5)
    found = starting(one, datetime(2026, 11, 26, 18), 1.0)
    assert found.latest_h is not None
    assert one.supply.generator is not None
    days = RunDays(one=one, generator=one.supply.generator, until_h=24.0, margin_h=1.0)
    assert days.lasts_h((Run(found.latest_h, 24.0),)) == np.inf
    assert days.lasts_h(()) == pytest.approx(found.without.lasts_h)


def test_quiet_hours_make_the_latest_start_sooner() -> None:
    # it would end at night; quiet from 22 to 7, so it must be charged before 22 for the hours to 8 o'clock
    one = days_of(0.32, quiet_from_h=22, quiet_to_h=7)
    ended_h = one.run(until_ended=True).ended_h
    assert ended_h is not None
    assert 4.0 < ended_h < 13.0
    found = starting(one, datetime(2026, 11, 28, 12), 1.0)
    assert found.moved
    assert found.latest_at is not None
    assert found.latest_at.hour < 22
    days = RunDays(one=one, generator=one.supply.generator, until_h=66.0, margin_h=1.0)  # type: ignore[arg-type]
    assert found.latest_h is not None
    held = Run(found.latest_h, 4.0 - found.latest_h)
    later_run = Run(found.latest_h + 0.25, 3.75 - found.latest_h)
    assert days.lasts_h((held,), 14.0) == np.inf
    assert days.lasts_h((later_run,), 14.0) < 14.0


def test_no_run_lies_in_quiet_hours() -> None:
    found = asked(0.4, datetime(2026, 11, 29, 12), quiet_from_h=21.5, quiet_to_h=7.5)
    assert found.needed
    for way in found.ways:
        for run in way.runs:
            begin = (18.0 + run.start_h) % 24.0
            assert 7.5 - 1e-6 <= begin < 21.5
            assert begin + run.hours <= 21.5 + 1e-6


@pytest.mark.parametrize(
    ("hour", "starts"),
    # From 18:00 on it may run for 3 h, from 8:00 for 13 h, and for the last 4 h before the moment; four at least, or
    # all of the first 3.
    [(20, []), (18, [0.0]), (17, [23.0, 47.0]), (8, [14.0, 38.0, 62.0]), (10, [16.0, 40.0]), (22, [])],
)
def test_no_start_is_offered_that_quiet_hours_cut_off_before_its_shortest_run(hour: int, starts: list[float]) -> None:
    one = days_of(0.3, quiet_from_h=21, quiet_to_h=8, least_run_h=4)
    assert one.supply.generator is not None
    days = RunDays(one=one, generator=one.supply.generator, until_h=66.0, margin_h=1.0)
    assert days.daily(hour) == pytest.approx(starts)


def test_each_planned_run_is_the_shortest_at_least_or_all_of_a_shorter_window() -> None:
    found = asked(0.35, datetime(2026, 11, 29, 12), quiet_from_h=21, quiet_to_h=8, least_run_h=4)
    runs = [run for key in (LEAST, LATEST) for run in found.way(key).runs]  # type: ignore[union-attr]
    assert runs
    for run in runs:
        assert run.hours >= (3.0 if run.start_h < 3.0 else 4.0) - 1e-6


def test_within_quiet_hours_there_may_be_no_start_at_all() -> None:
    found = asked(0.22, datetime(2026, 11, 27, 12), quiet_from_h=17, quiet_to_h=7)
    assert found.needed
    assert found.latest_h is None
    assert found.way(LATEST) is None
    best = found.way(found.best)
    assert best is not None
    assert best.lasts_h is not None


def test_litres_are_those_of_the_hours_and_the_energy() -> None:
    found = asked(0.5, datetime(2026, 11, 28, 12))
    for way in found.ways:
        for run in way.runs:
            assert run.litres == pytest.approx(0.4 * run.hours + 0.8 * run.given_kwh / 3.0)
        assert way.litres == pytest.approx(sum(run.litres for run in way.runs))
        assert way.run_h == pytest.approx(sum(run.hours for run in way.runs))


def test_the_least_lasts_and_a_quarter_less_of_its_last_run_does_not() -> None:
    one = days_of(0.5)
    found = starting(one, datetime(2026, 11, 28, 12), 0.0)
    least = found.way(LEAST)
    assert least is not None
    assert least.lasts_h is None
    assert least.unserved_kwh == pytest.approx(0.0, abs=1e-9)
    runs = [Run(run.start_h, run.hours) for run in least.runs]
    assert all(run.hours > 0.5 for run in runs)
    days = RunDays(one=one, generator=one.supply.generator, until_h=66.0, margin_h=0.0)  # type: ignore[arg-type]
    assert days.lasts_h(runs) == np.inf
    shorter = [*runs[:-1], Run(runs[-1].start_h, runs[-1].hours - 0.25)]
    assert days.lasts_h(shorter) < 66.0


def test_the_least_burns_no_more_than_its_own_rules_do() -> None:
    found = asked(0.5, datetime(2026, 11, 29, 12))
    rules, best = found.way(RULES), found.way(found.best)
    assert rules is not None
    assert best is not None
    assert rules.lasts_h is None
    assert best.litres <= rules.litres + 0.5


def test_of_all_that_lasts_the_least_fuel_is_taken_and_fewer_starts_for_next_to_none() -> None:
    one = days_of(0.5, quiet_from_h=22, quiet_to_h=7)
    found = starting(one, datetime(2026, 11, 28, 12))
    least, until_h = found.way(LEAST), 66.0
    assert least is not None
    days = RunDays(one=one, generator=one.supply.generator, until_h=until_h, margin_h=1.0)  # type: ignore[arg-type]
    tried = [days.followed(runs) for runs in plans(days, found.latest_h) if days.lasts_h(runs) == np.inf]
    burnt = [(run.generation.litres, len(run.generation.starts_h)) for run in tried if run.generation is not None]
    assert len({round(litres, 1) for litres, _ in burnt}) > 2
    near = [(starts, litres) for litres, starts in burnt if litres <= min(burnt)[0] + 0.5]
    assert (len(least.runs), least.litres) == pytest.approx(min(near))


def test_days_gone_on_with_are_the_days_in_one() -> None:
    one = days_of(0.5, datetime(2026, 11, 25, 18, 20))
    days = RunDays(one=one, generator=one.supply.generator, until_h=60.0, margin_h=0.0)  # type: ignore[arg-type]
    runs = (Run(2.0, 3.0), Run(30.0, 1.5))
    begun = days.reached(days.beginning, runs, 20.5)
    whole = days.followed(runs)
    assert begun.at_h == pytest.approx(40.0 / 60.0 + 19.0)
    assert begun.state.soc == pytest.approx(float(np.interp(begun.at_h, whole.hours, whole.soc)), abs=1e-9)
    assert days.lasts_h(runs, begun=begun) == pytest.approx(days.lasts_h(runs), abs=1e-6)


def test_hours_are_cut_and_gone_on_with_at_whole_intervals() -> None:
    given = days_of(0.5, datetime(2026, 11, 25, 18, 20)).given
    first = given.until(5.0)
    assert first.sun_w.size == 6
    left = given.after(6)
    assert (left.first_h, left.from_hour, left.ac_w.size) == (1.0, 0, given.ac_w.size - 6)


def test_the_usual_moment_is_noon_three_days_on() -> None:
    assert usual_run_until(days_of(0.5)) == datetime(2026, 11, 28, 12)


def test_what_cannot_be_asked_is_refused() -> None:
    one = days_of(0.5)
    with pytest.raises(InputError, match="last until must be an hour from now to 2026-12-06 00:00") as fault:
        starting(one, datetime(2027, 1, 1))
    assert fault.value.field == "until"
    bare = dataclasses.replace(one, supply=dataclasses.replace(one.supply, generator=None))
    with pytest.raises(Unreachable, match="No generator"):
        starting(bare, datetime(2026, 11, 27))


def test_the_hours_of_a_forcing_add_up_in_every_cut() -> None:
    given = days_of(0.5, datetime(2026, 11, 25, 18, 20)).given
    assert given.edges_h[-1] == pytest.approx(given.lengths_h.sum())
    assert given.length_h == pytest.approx(given.lengths_h.sum())
    assert np.diff(given.edges_h) == pytest.approx(given.lengths_h)
    assert given.first(6).length_h + given.after(6).length_h == pytest.approx(given.length_h)
    assert [given.until(at_h).length_h >= at_h for at_h in (0.1, given.first_h, 5.0, 30.25)] == [True] * 4
