"""What a full bank leaves over for hot water, by hand."""

from __future__ import annotations

import dataclasses
from datetime import datetime

import numpy as np
import pytest

from engine.answers.coming import Coming, coming
from engine.answers.surplus import Surplus, Tank, surplus
from engine.sky.days import parse_sky
from tests.engine.test_car import house_h

TANK = Tank(name="Tank", litres=200.0, now_c=40.0, hot_c=60.0, cop=1.0, heater_w=1000.0, standing_kwh=0.0)
KWH_PER_K = 200.0 * 4.186 / 3600.0
"""200 litres, 4.186 kJ/(kg K)."""
AT = datetime(2026, 6, 3, 4, 0)


def bright(sky: str = "bright,bright", at: datetime = AT, soc: float = 0.8) -> Coming:
    home = house_h()
    bare = dataclasses.replace(home, loads=home.loads[:1])
    return coming(bare, {"bank": soc}, parse_sky(sky, bare.site, bare.sun, at.month, 2), at)[1][0]


def left(one: Coming, tank: Tank) -> Surplus:
    return surplus(one.run(), one.given, one.at, one.supply.inverter, tank)


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


def test_only_hours_of_a_full_bank_count_and_no_more_than_is_left_over() -> None:
    one = bright()
    run = one.run()
    found = surplus(run, one.given, one.at, one.supply.inverter, dataclasses.replace(TANK, litres=5000.0))
    spare_wh = np.where(run.charged[:-1] & run.charged[1:], run.spare_wh, 0.0)
    assert found.spare_kwh == pytest.approx(spare_wh.sum() / 1000.0)
    for day in found.days:
        for hour in day.hours:
            assert hour.power_w <= 1000.0 + 1e-9
            # through the inverter, 0.93 at any load beside its idle
            assert hour.power_w * hour.hours <= 0.93 * spare_wh[hour.place] + 1e-6


def test_what_the_heater_takes_already_is_not_counted_twice() -> None:
    one = bright()
    run, tank = one.run(), dataclasses.replace(TANK, litres=5000.0)
    own_w = np.full(one.given.ac_w.size, 600.0)
    found = surplus(run, one.given, one.at, one.supply.inverter, tank, own_w)
    assert found.days
    assert max(hour.power_w for day in found.days for hour in day.hours) == pytest.approx(400.0)


def test_dark_days_leave_nothing() -> None:
    found = left(bright("dark,dark", datetime(2026, 12, 3, 4, 0), 0.5), TANK)
    assert (found.kwh, found.days) == (0.0, ())
