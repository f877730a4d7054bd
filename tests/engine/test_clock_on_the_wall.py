"""Loads go by the clock on the wall: summer time moves them in standard time, and takes or gives no energy."""

from __future__ import annotations

import dataclasses
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from engine.answers.coming import coming
from engine.balance.forcing import load_hours, mean_day_hours
from engine.balance.winters import winters
from engine.house.household import Household, read
from engine.house.load_profile import Profile
from engine.house.loads import Load
from engine.paths import data_dir
from engine.sky.days import parse_sky
from engine.sky.series import KcSeries

KETTLE = Load(id="k", name="Supper", kind="timed", values={"power_w": 1000.0, "start_h": 19.0, "run_h": 2.0})
MEASURED = Load(
    id="m", name="Meter", kind="measured", profile=Profile(month_w=(tuple(float(hour) for hour in range(24)),) * 12)
)
PLACES = {
    "Europe/Amsterdam": 52.1,
    "America/Chicago": 41.9,
    "Europe/Dublin": 53.3,
    "Australia/Sydney": -33.9,
    "Asia/Manila": 14.6,
}


def home(time_zone: str, *loads: Load) -> Household:
    example = read((data_dir() / "example.json").read_text(encoding="utf-8"))
    site = dataclasses.replace(example.site, time_zone=time_zone, latitude_deg=PLACES.get(time_zone, 52.1))
    inverter = example.supplies()[0].inverter.id
    mine = tuple(dataclasses.replace(load, inverter=inverter) for load in loads)
    return dataclasses.replace(example, site=site, loads=mine)


def by_day(house: Household, start: datetime, days: int) -> np.ndarray:
    return load_hours(house, house.supplies()[0], start, days)[0].reshape(days, 24)


@pytest.mark.parametrize("time_zone", PLACES)
def test_supper_at_seven_is_at_seven_on_the_clock_of_every_day_of_the_year(time_zone: str) -> None:
    house, start = home(time_zone, KETTLE), datetime(2026, 1, 1)
    found = by_day(house, start, 365)
    for day, hours in enumerate(found):
        first = start + timedelta(days=day, hours=int(np.flatnonzero(hours)[0]))
        wall = (first - timedelta(hours=house.site.utc_offset_h)).replace(tzinfo=UTC).astimezone(ZoneInfo(time_zone))
        assert (wall.hour, wall.minute) == (19, 0)
    assert found.sum(axis=1).tolist() == [2000.0] * 365


def test_the_days_of_change_have_the_clock_of_their_noon() -> None:
    # In the European Union summer time of 2026 is from Sunday 29 March to Sunday 25 October (Directive 2000/84/EC).
    house = home("Europe/Amsterdam", KETTLE)
    assert np.flatnonzero(by_day(house, datetime(2026, 3, 28), 2)[0])[0] == 19
    assert np.flatnonzero(by_day(house, datetime(2026, 3, 28), 2)[1])[0] == 18
    assert np.flatnonzero(by_day(house, datetime(2026, 10, 24), 2)[0])[0] == 18
    assert np.flatnonzero(by_day(house, datetime(2026, 10, 24), 2)[1])[0] == 19


def test_half_an_hour_of_summer_time_shares_the_hours() -> None:
    hours = by_day(home("Australia/Lord_Howe", KETTLE), datetime(2026, 1, 10), 1)[0]
    assert {int(h): float(hours[h]) for h in np.flatnonzero(hours)} == {18: 500.0, 19: 1000.0, 20: 500.0}


def test_what_a_meter_measured_is_in_standard_time_and_stays() -> None:
    hours = by_day(home("Europe/Amsterdam", MEASURED), datetime(2026, 6, 1), 1)[0]
    assert hours.tolist() == pytest.approx([float(hour) for hour in range(24)])


def test_a_mean_day_has_the_clock_of_its_month() -> None:
    north, south = home("Europe/Amsterdam", KETTLE), home("Australia/Sydney", KETTLE)
    starts = [
        int(np.flatnonzero(mean_day_hours(house, house.supplies()[0], month)[0])[0])
        for house in (north, south)
        for month in (6, 12)
    ]
    assert starts == [18, 19, 19, 18]


def test_many_years_have_the_clock_of_each_day() -> None:
    house = home("Europe/Amsterdam", KETTLE)
    days = 3 * 365 + 1
    series = KcSeries(first=date(2017, 7, 1), kc=np.full(days, 0.5), basis="made", title="even")
    found = winters(house, house.supplies()[0], series)
    first = found.ac_w[found.kind].argmax(axis=1)
    kept = found.month.size
    assert set(first[found.month == 0]) == {19}
    assert set(first[found.month == 6]) == {18}
    assert set(first[found.month == 2]) == {18, 19}
    ac_w, dc_w = found.loads(0, kept)
    assert ac_w.reshape(-1, 24).sum(axis=1).tolist() == [2000.0] * kept
    assert not dc_w.any()
    assert found.sockets_kwh == pytest.approx(2.0 * kept)


def test_the_days_to_come_have_it_from_the_moment_on() -> None:
    house, at = home("Europe/Amsterdam", KETTLE), datetime(2026, 6, 10, 17, 30)
    _, (one, *_) = coming(house, {}, parse_sky("dull", house.site, house.sun, 6, 2), at)
    assert one.given.from_hour == 17
    assert np.flatnonzero(one.given.ac_w).tolist()[:3] == [1, 2, 25]
    later = one.with_loads(
        (dataclasses.replace(one.supply.loads[0], values={**KETTLE.values, "start_h": 21.0}),),
    )
    assert np.flatnonzero(later.given.ac_w).tolist()[:3] == [3, 4, 27]
