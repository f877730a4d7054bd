"""What to switch off: gains that two answers give, the least minded set, and the latest times that still reach."""

from __future__ import annotations

import dataclasses
from datetime import datetime, timedelta

import pytest

from engine.answers.autonomy import autonomy
from engine.answers.coming import Coming, coming
from engine.answers.shedding import Shedding, shedding, usual_until
from engine.answers.shedding_search import cheapest_set
from engine.errors import InputError
from engine.house import household
from engine.house.household import Household
from engine.house.loads import Load
from engine.paths import data_dir
from engine.sky.days import Sky, parse_sky

EVENING = datetime(2026, 11, 25, 18, 0)
SUMMER = datetime(2026, 7, 14, 18, 20)
CHARGE = {"old": 0.8}


def home(*loads: Load) -> Household:
    example = household.read((data_dir() / "example.json").read_text(encoding="utf-8"))
    return dataclasses.replace(example, loads=loads) if loads else example


def dull(house: Household, month: int = 11) -> Sky:
    return parse_sky("dark,dark,dull,dull,bright", house.site, house.sun, month, 10)


def days(house: Household, at: datetime = EVENING) -> Coming:
    return coming(house, CHARGE, dull(house, at.month), at)[1][0]


def timed(load_id: str, power_w: float, **flags: bool) -> Load:
    values = {"power_w": power_w, "run_h": 6.0, "start_h": 19.0}
    return Load(id=load_id, name=load_id.capitalize(), kind="timed", values=values, **flags)


BASE = Load(id="base", name="Base", kind="steady", never_off=True, values={"power_w": 200})


def test_every_gain_is_the_difference_of_two_answers() -> None:
    house = home()
    found = shedding(days(house))
    before = autonomy(house, CHARGE, dull(house), EVENING).hours_to_reserve
    assert before == found.hours
    for row in found.candidates:
        without = dataclasses.replace(house, loads=tuple(load for load in house.loads if load.id != row.load_id))
        after = autonomy(without, CHARGE, dull(house), EVENING).hours_to_reserve
        assert row.gained_h == (None if after is None else pytest.approx(after - before, abs=1e-9))


def test_a_load_marked_never_off_is_never_touched() -> None:
    found = shedding(days(home(BASE, timed("oven", 900, can_shed=True))))
    assert [row.load_id for row in found.candidates] == ["oven"]
    assert found.never_off == ("Base",)


def test_the_schedule_reaches_the_moment_and_a_later_hour_does_not() -> None:
    one = days(home(), SUMMER)
    found = shedding(one)
    assert found.offs
    assert found.lasts_h is None or found.lasts_h >= found.until_h - 1e-6
    assert found.hours is not None
    assert found.hours < found.until_h
    assert all(0.0 <= off.off_h < found.until_h for off in found.offs)
    first = found.offs[0]
    late = dataclasses.replace(one.supply, loads=tuple(x for x in one.supply.loads if x.id != first.load_id))
    rest = {off.load_id for off in found.offs[1:]}
    left_on = one.without(rest).run(until_ended=True).ended_h
    assert late.loads
    assert left_on is not None
    assert left_on < found.until_h


def test_what_is_minded_most_stays_on_longest() -> None:
    always = {"power_w": 150.0, "run_h": 24.0, "start_h": 0.0}
    kiln, lathe = (dataclasses.replace(timed(one, 150, can_shed=True), values=always) for one in ("kiln", "lathe"))
    one = days(home(BASE, kiln, lathe))
    until = EVENING + timedelta(hours=(shedding(one).all_off_h or 0.0) - 4.0)
    by_id = {off.load_id: off.off_h for off in shedding(one, until, {"kiln": 5.0, "lathe": 1.0}).offs}
    other = {off.load_id: off.off_h for off in shedding(one, until, {"kiln": 1.0, "lathe": 5.0}).offs}
    assert by_id["kiln"] > by_id["lathe"]
    assert other["kiln"] < other["lathe"]


def test_of_two_ways_the_one_minded_less_is_taken() -> None:
    house = home(BASE, timed("kiln", 700, can_shed=True), timed("lathe", 720, can_shed=True))
    one = days(house)
    lasts = shedding(one).hours
    assert lasts is not None
    until = EVENING + timedelta(hours=lasts + 3.0)
    assert [off.load_id for off in shedding(one, until, {"kiln": 1.0, "lathe": 5.0}).offs] == ["kiln"]
    assert [off.load_id for off in shedding(one, until, {"kiln": 5.0, "lathe": 1.0}).offs] == ["lathe"]


def test_a_moment_that_comes_by_itself_asks_for_nothing() -> None:
    found = shedding(days(home()), EVENING + timedelta(hours=2))
    assert found.enough
    assert found.offs == ()


def test_a_moment_beyond_reach_is_said_with_how_far_it_goes() -> None:
    found = shedding(days(home(BASE, timed("kiln", 300, can_shed=True))), EVENING + timedelta(hours=200))
    assert not found.reached
    assert found.all_off_h is not None
    assert found.hours is not None
    assert found.hours < found.all_off_h < found.until_h


def test_a_pool_pump_is_cut_to_its_least_and_not_stopped() -> None:
    pool = Load(id="pool", name="Pool", kind="pump", can_shed=True, values={"power_w": 600, "run_h": 8, "start_h": 20})
    (row,) = shedding(days(home(BASE, pool))).candidates
    assert row.kept_h == 2.0
    assert row.kwh_per_day == pytest.approx(0.6 * 6)
    still = dataclasses.replace(pool, values={**pool.values, "least_run_h": 0.0})
    (row,) = shedding(days(home(BASE, still))).candidates
    assert row.kwh_per_day == pytest.approx(0.6 * 8)


def test_a_pump_that_runs_by_night_is_moved_under_the_sun() -> None:
    pool = Load(id="pool", name="Pool", kind="pump", can_wait=True, values={"power_w": 900, "run_h": 4, "start_h": 20})
    (move,) = shedding(days(home(BASE, pool))).moves
    assert 9.0 <= move.to_h <= 13.0
    assert move.gained_h is None or move.gained_h > 0.0


@pytest.mark.parametrize("hours", [-1.0, 0.0, 9999.0])
def test_a_moment_outside_the_days_is_refused_by_name(hours: float) -> None:
    with pytest.raises(InputError, match="The moment to last until must be after 25 Nov 18:00") as refused:
        shedding(days(home()), EVENING + timedelta(hours=hours))
    assert refused.value.field == "until"


def test_the_usual_moment_lies_within_the_days() -> None:
    one = days(home())
    found: Shedding = shedding(one)
    assert found.until == usual_until(one)
    assert found.until.hour == 12


def test_a_search_cut_short_says_that_it_proved_nothing() -> None:
    costs = {f"l{k}": 1.0 + 0.1 * k for k in range(10)}
    whole = cheapest_set(costs, lambda off: len(off) >= 5)
    short = cheapest_set(costs, lambda off: len(off) >= 5, most_runs=3)
    assert whole.proven
    assert not short.proven
    assert short.off is not None
    assert len(short.off) >= 5
    assert short.least_cost <= whole.cost <= short.cost
