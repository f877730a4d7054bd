"""What a full bank leaves over for hot water, by hand."""

from __future__ import annotations

import dataclasses
from datetime import datetime

import numpy as np
import pytest
from numpy.typing import NDArray

from engine.answers.car import car_answer
from engine.answers.car_parts import CAREFUL, CAUTIOUS, LIKELY, YES, plain_car
from engine.answers.coming import Coming, coming
from engine.answers.surplus import Surplus, Tank, surplus, tank_of
from engine.house.loads import Load
from engine.sky.days import parse_sky
from tests.engine.test_car import house_h

TANK = Tank(name="Tank", litres=200.0, now_c=40.0, hot_c=60.0, cop=1.0, heater_w=1000.0, standing_kwh=0.0)
KWH_PER_K = 200.0 * 4.186 / 3600.0
"""200 litres, 4.186 kJ/(kg K)."""
AT = datetime(2026, 6, 3, 4, 0)


def bright(sky: str = "bright,bright", at: datetime = AT, soc: float = 0.8, days: int = 2) -> Coming:
    home = house_h()
    bare = dataclasses.replace(home, loads=home.loads[:1])
    return coming(bare, {"bank": soc}, parse_sky(sky, bare.site, bare.sun, at.month, days), at)[1][0]


def left(one: Coming, tank: Tank) -> Surplus:
    return surplus(one.run(), one.given, one.at, one.supply.inverter, tank)


def by_place(found: Surplus, count: int) -> NDArray[np.float64]:
    """Energy of each interval [Wh]."""
    taken_wh = np.zeros(count)
    for hour in (hour for day in found.days for hour in day.hours):
        taken_wh[hour.place] = hour.power_w * hour.hours
    return taken_wh


def test_degrees_are_the_energy_over_the_heat_of_the_water() -> None:
    found = left(bright(), dataclasses.replace(TANK, litres=2000.0))
    assert found.days
    for day in found.days:
        assert day.kwh > 0.5
        assert day.gained_k == pytest.approx(day.kwh / (10.0 * KWH_PER_K), rel=1e-3)
        assert day.reached_c == pytest.approx(40.0 + day.gained_k)


def test_a_heat_pump_gains_as_many_times_the_degrees() -> None:
    plain = left(bright(), dataclasses.replace(TANK, litres=5000.0))
    pump = left(bright(), dataclasses.replace(TANK, litres=5000.0, cop=3.0))
    assert pump.kwh == pytest.approx(plain.kwh)
    assert pump.days[0].gained_k == pytest.approx(3.0 * plain.days[0].gained_k)


def test_the_thermostat_ends_it() -> None:
    found = left(bright(), dataclasses.replace(TANK, litres=50.0))
    day = found.days[0]
    assert day.reached_c == pytest.approx(60.0)
    assert day.kwh == pytest.approx(20.0 * 50.0 * 4.186 / 3600.0, rel=1e-3)


def test_what_stands_there_is_lost_meanwhile() -> None:
    # 2.4 kWh a day is 0.1 kW; the tank is warmest before an hour that brings less than that
    found = left(bright(), dataclasses.replace(TANK, litres=2000.0, standing_kwh=2.4))
    for day in found.days:
        places = [hour.place for hour in day.hours]
        assert places == list(range(places[0], places[0] + len(places)))
        warm_kwh = np.cumsum([hour.power_w / 1000.0 - 0.1 for hour in day.hours])
        assert warm_kwh[-1] < day.kwh - 0.3
        assert day.gained_k == pytest.approx(warm_kwh.max() / (10.0 * KWH_PER_K), rel=1e-3)


@pytest.mark.parametrize("standing_kwh", [0.0, 2.4])
def test_no_day_goes_over_the_hot_temperature(standing_kwh: float) -> None:
    found = left(bright(), dataclasses.replace(TANK, litres=30.0, standing_kwh=standing_kwh, heater_w=3000.0))
    assert len(found.days) == 2
    for day in found.days:
        assert day.reached_c == pytest.approx(60.0)
        assert day.reached_c <= 60.0 + 1e-9


def test_a_tank_that_is_hot_takes_nothing() -> None:
    assert left(bright(), dataclasses.replace(TANK, now_c=60.0)).days == ()


def test_only_hours_of_a_full_bank_count_and_all_that_is_left_over_goes_through_the_inverter() -> None:
    # 0.93 at any load beside its idle; 5 kW is more than is ever left over
    one = bright()
    run = one.run()
    large = dataclasses.replace(TANK, litres=50_000.0, heater_w=5000.0)
    found, direct = left(one, large), left(one, dataclasses.replace(large, side="battery"))
    full = run.charged[:-1] & run.charged[1:]
    assert 0 < full.sum() < full.size
    assert run.spare_wh[~full].max() > 10.0
    spare_wh = np.where(full, run.spare_wh, 0.0)
    assert found.spare_kwh == pytest.approx(spare_wh.sum() / 1000.0)
    assert by_place(found, spare_wh.size) == pytest.approx(0.93 * spare_wh)
    assert by_place(direct, spare_wh.size) == pytest.approx(spare_wh)


def test_the_heater_takes_its_own_power_and_says_in_which_hours_it_is_whole() -> None:
    one = bright()
    found = left(one, dataclasses.replace(TANK, litres=5000.0))
    spare_wh = one.run().spare_wh
    hours = [hour for day in found.days for hour in day.hours]
    assert {hour.whole for hour in hours} == {True, False}
    for hour in hours:
        assert hour.power_w == pytest.approx(min(1000.0, 0.93 * spare_wh[hour.place]))
        assert hour.whole == (0.93 * spare_wh[hour.place] >= 990.0)


def test_the_inverter_carries_no_more_than_its_rating_less_the_other_loads() -> None:
    one = bright()
    small = dataclasses.replace(one.supply.inverter, rated_w=1000.0)
    found = surplus(one.run(), one.given, one.at, small, dataclasses.replace(TANK, litres=5000.0, heater_w=3000.0))
    assert max(hour.power_w for day in found.days for hour in day.hours) == pytest.approx(700.0)


def test_what_the_heater_takes_already_is_not_counted_twice() -> None:
    one = bright()
    run, tank = one.run(), dataclasses.replace(TANK, litres=5000.0)
    own_w = np.full(one.given.ac_w.size, 600.0)
    found = surplus(run, one.given, one.at, one.supply.inverter, tank, own_w)
    assert found.days
    assert max(hour.power_w for day in found.days for hour in day.hours) == pytest.approx(400.0)


def test_a_question_leaves_the_heater_of_a_load_its_own_hours() -> None:
    home = house_h()
    load = Load(id="tank", name="Tank", kind="water", values={"heater_kw": 1.0, "hot_c": 60.0, "litres": 100.0})
    home = dataclasses.replace(home, loads=(*home.loads, load))
    tank, sky = tank_of(load, 5000.0, 40.0), parse_sky("bright,bright", home.site, home.sun, 6, 2)
    own_w, _ = coming(home, {"bank": 0.9}, sky, AT)[1][0].hours_of([load])
    answer = car_answer(home, plain_car({}), {"bank": 0.9}, sky, AT, km=10.0, risk=LIKELY, tank=tank)
    assert answer.surplus is not None
    hours = [hour for day in answer.surplus.days for hour in day.hours]
    assert max(own_w[hour.place] for hour in hours) > 100.0
    for hour in hours:
        assert hour.power_w <= 1000.0 - own_w[hour.place] + 1e-6


def test_the_car_and_a_darker_reading_come_first() -> None:
    # five kWh more in the car are so many less left over, but for the two hours in which the bank fills
    home = house_h()
    sky = parse_sky("bright,bright", home.site, home.sun, 6, 5)

    def spare_kwh(km: float, risk: str) -> float:
        found = car_answer(home, plain_car({}), {"bank": 0.9}, sky, AT, km=km, risk=risk, tank=TANK)
        assert found.verdict == YES
        assert found.surplus is not None
        return found.surplus.spare_kwh

    few, many = spare_kwh(10.0, LIKELY), spare_kwh(35.0, LIKELY)
    assert few - many == pytest.approx(5.0 / 0.93, abs=3.0)
    assert few > spare_kwh(10.0, CAUTIOUS) > spare_kwh(10.0, CAREFUL)


def test_a_dark_week_leaves_nothing_even_to_a_bank_that_begins_full() -> None:
    one = bright(",".join(["dark"] * 7), datetime(2026, 12, 3, 4, 0), 1.0, 7)
    assert one.given.sun_w.max() > 10.0
    found = left(one, TANK)
    assert (found.kwh, found.full_hours, found.days) == (0.0, 0.0, ())
