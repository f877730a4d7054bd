"""Dull spells: rows against a plain count, what rarer and longer must do, the load, both hemispheres, no sun at all."""

from __future__ import annotations

import copy
import dataclasses
import math
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from engine.answers.spell_windows import FILE, MADE
from engine.answers.spells import Spells, bases, spells
from engine.errors import InputError
from engine.house.household import Household, read
from engine.quantities import mean_day_of_year
from engine.sky import climate as climates
from engine.sky.facing import facings, own_facings
from engine.sky.made import made_years
from engine.sky.season import worst_by_month
from engine.sky.site import Sun
from engine.sky.sun import yield_kwh
from tests.conftest import SMALL_HOUSE


def house(**changes: Any) -> Household:
    """The small house with parts replaced, the place by its fields."""
    document = copy.deepcopy(SMALL_HOUSE)
    document["site"] |= changes.pop("site", {})
    document["sun"] |= changes.pop("sun", {})
    return read(document | changes)


SOUTH = {"latitude_deg": -42.0, "longitude_deg": 147.0, "time_zone": "Australia/Hobart"}
FAR_NORTH = {"latitude_deg": 78.2, "longitude_deg": 15.6, "time_zone": "Europe/Oslo"}
ON_THE_EQUATOR = {"latitude_deg": 0.0, "longitude_deg": -78.0, "time_zone": "America/Bogota"}
FACING_NORTH = {"arrays": [{"id": "a", "name": "A", "kwp": 6.2, "tilt_deg": 35.0, "azimuth_deg": 0.0}]}
OWN_WEEK = {
    "id": "own_7d_1in1",
    "title": "Worst week of a typical year",
    "kc": [0.1, 0.2, 0.3, 0.1, 0.2, 0.3, 0.2],
    "after_kc": [0.5, 0.6],
    "month": 11,
    "ended": "2014-11-20",
    "years": 4,
}


def kwh_of(answer: Spells) -> dict[tuple[int, int], float]:
    found = {}
    for row in answer.rows:
        assert row.kwh is not None
        found[row.days, row.risk_years] = row.kwh
    return found


def test_the_worst_week_is_what_a_plain_count_finds() -> None:
    # Day by day with the daily yields of another way through the model; years run from July to June (52 degrees
    # north).
    home = house()
    series = made_years(home.site, home.sun)
    days = [series.first + timedelta(days=n) for n in range(series.kc.size)]
    years = [day.year - (day.month < 7) for day in days]
    kwh = yield_kwh(home.site, home.sun, series.kc, [day.timetuple().tm_yday for day in days])
    worst: dict[int, float] = {}
    for end in range(6, len(days)):
        mean = float(sum(kwh[end - 6 : end + 1])) / 7
        worst[years[end]] = min(worst.get(years[end], math.inf), mean)
    answer = spells(home)
    assert answer.made_years == len(worst) == 30
    for risk, percent in ((1, 50), (5, 20), (10, 10)):
        assert kwh_of(answer)[7, risk] == pytest.approx(np.percentile(list(worst.values()), percent), rel=1e-9)


@pytest.mark.parametrize("site", [{}, SOUTH, ON_THE_EQUATOR])
def test_rarer_years_are_duller_and_whole_multiples_of_days_kinder(site: dict[str, Any]) -> None:
    found = kwh_of(spells(house(site=site)))
    for days in (1, 2, 3, 5, 7, 10, 14):
        assert found[days, 10] <= found[days, 5] <= found[days, 1]
    for risk in (1, 5, 10):
        # Twice as many days are the mean of two windows, and neither is duller than the dullest.
        for short, long in ((1, 2), (1, 3), (1, 7), (5, 10), (7, 14)):
            assert found[short, risk] <= found[long, risk] + 1e-12


@pytest.mark.parametrize(
    ("site", "sun", "season"),
    [({}, {}, {11, 12, 1}), (SOUTH, FACING_NORTH, {5, 6, 7})],
)
def test_the_worst_week_lies_in_the_winter_of_its_hemisphere(
    site: dict[str, Any], sun: dict[str, Any], season: set[int]
) -> None:
    answer = spells(house(site=site, sun=sun))
    assert answer.asked.month in season
    assert sum(answer.months) == answer.made_years
    assert sum(answer.months[month - 1] for month in season) > 0.8 * answer.made_years
    assert answer.hardest_month in season


def test_no_month_is_worse_than_the_year_and_none_better_than_its_own_average() -> None:
    answer = spells(house())
    worst = [one.worst_kwh for one in answer.year]
    # The year's quantile is over each year's worst of all months: no month's own can lie below it.
    assert answer.asked.kwh is not None
    assert min(worst) >= answer.asked.kwh - 1e-9
    for one in answer.year:
        assert one.worst_kwh < one.average_kwh
        assert one.worst_in_bank_kwh / one.worst_kwh == pytest.approx(one.in_bank_kwh / one.average_kwh)


def test_worst_of_a_month_counted_by_hand() -> None:
    # Two Januaries: the worst two days 1.5 and 3.5 in a row; the median of two is their middle.
    daily = np.full(365 * 2, 9.0)
    daily[10:12] = [1.0, 2.0]
    daily[365 + 4 : 365 + 6] = [3.0, 4.0]
    found = worst_by_month(date(2001, 1, 1), daily, 2, 50.0)
    assert found == pytest.approx((2.5, *([9.0] * 11)))


def test_days_over_the_end_of_a_month_count_where_their_middle_lies() -> None:
    daily = np.full(365, 9.0)
    daily[30:33] = 3.0  # 31 January to 2 February
    january, february, *_ = worst_by_month(date(2001, 1, 1), daily, 3, 50.0)
    assert (january, february) == pytest.approx((5.0, 3.0))


def test_the_load_is_the_inverters_formula() -> None:
    # 140 W all day through idle 38 W, k1 0.02, k2 0.04 of 6 kW: 38 + 1.02 x 140 + 0.04 x 140^2 / 6000 = 180.931 W.
    home = house(loads=[SMALL_HOUSE["loads"][0]])
    for one in spells(home).year:
        assert one.load_kwh == pytest.approx(180.931 * 24 / 1000, rel=1e-5)
        assert one.covered_share == pytest.approx(one.in_bank_kwh / (180.931 * 24 / 1000), rel=1e-5)


def test_the_hardest_month_is_the_one_with_the_load() -> None:
    pump = {"id": "p", "name": "P", "kind": "steady", "values": {"power_w": 3000.0}, "months": [7]}
    assert spells(house()).hardest_month == 12
    answer = spells(house(loads=[pump]))
    assert answer.hardest_month == 7
    assert answer.below_load is not None
    assert answer.below_load.below == pytest.approx(answer.year[6].load_kwh / house().sun.charger_efficiency)


def test_days_below_the_load_are_more_for_a_larger_load() -> None:
    def share(power_w: float) -> float:
        load = {"id": "x", "name": "X", "kind": "steady", "values": {"power_w": power_w}}
        runs = spells(house(loads=[load])).below_load
        assert runs is not None
        return runs.days_share

    assert 0.0 < share(50.0) < share(200.0) < share(800.0) <= 1.0


def test_snow_is_not_in_the_statistics() -> None:
    covered = house(sun={"covered_days": 5})
    assert kwh_of(spells(covered)) == kwh_of(spells(house()))


def test_without_panels_there_is_clearness_alone() -> None:
    answer = spells(house(sun={"arrays": []}))
    assert all(row.kwh is None for row in answer.rows)
    assert answer.below_load is None
    assert answer.own_facing == ()
    assert 0.05 < answer.asked.kc < 0.5


def test_without_a_bank_there_is_no_load() -> None:
    answer = spells(house(banks=[], inverters=[], loads=[]))
    assert {one.load_kwh for one in answer.year} == {None}
    assert answer.hardest_month == 12


def test_where_the_sun_stays_down_the_answer_is_nothing() -> None:
    answer = spells(house(site=FAR_NORTH))
    assert answer.asked.kwh == 0.0
    assert answer.average_kwh == 0.0
    assert not answer.made_gives_any
    assert {one.clear_kwh_per_kwp for one in answer.facing} == {0.0}
    assert "high-latitude" in {one.code for one in answer.notices}
    assert max(one.average_kwh for one in answer.year) > 10.0


def test_measured_windows_are_laid_on_the_darkest_month() -> None:
    home = house()
    answer = spells(home, "temperate_maritime", 7, 5)
    preset = climates.presets()["maritime_7d_1in5"]
    day = mean_day_of_year(12)
    laid = yield_kwh(home.site, home.sun, preset.kc, [day] * 7).mean()
    assert answer.asked.kwh == pytest.approx(laid)
    assert (answer.asked.month, answer.asked.came_month) == (12, 2)
    assert {(row.days, row.risk_years) for row in answer.rows} == {(n, r) for n in (3, 7, 14) for r in (1, 5, 10)}
    south = spells(house(site=SOUTH, sun=FACING_NORTH), "temperate_maritime", 7, 5)
    assert (south.asked.month, south.asked.came_month) == (6, 8)


def test_the_own_file_answers_with_what_it_has_and_says_so() -> None:
    home = house(sun={"spells": [OWN_WEEK], "sky_file": "barn.csv"})
    answer = spells(home, FILE, 10, 10)
    assert (answer.asked.days, answer.asked.risk_years, answer.years) == (7, 1, 4)
    assert answer.asked.kc == pytest.approx(0.2)
    assert answer.asked.sky == "own_7d_1in1"
    assert {one.code for one in answer.notices} >= {"other-days", "too-few-years"}


def test_the_file_is_offered_only_where_there_is_one() -> None:
    assert FILE not in bases(house().sun)
    assert bases(house(sun={"spells": [OWN_WEEK]}).sun)[:2] == (MADE, FILE)


@pytest.mark.parametrize(
    ("asked", "field"),
    [({"basis": "rain"}, "basis"), ({"basis": FILE}, "basis"), ({"days": 4}, "days"), ({"risk_years": 3}, "risk")],
)
def test_what_there_is_not_is_refused(asked: dict[str, Any], field: str) -> None:
    with pytest.raises(InputError) as fault:
        spells(house(), **asked)
    assert fault.value.field == field


@pytest.mark.parametrize("tilt_deg", [15.0, 30.0, 45.0, 60.0, 75.0, 90.0])
def test_a_dark_day_gives_by_how_much_sky_the_panels_see(tilt_deg: float) -> None:
    # What a tilted plane sees of an even sky is (1 + cos t) / 2 (B. Y. H. Liu and R. C. Jordan, Solar Energy 7 (1963)
    # 53-74); of a heavy overcast one, three times as bright overhead as at the horizon, less: upright 0.396 (the sky
    # of Moon and Spencer 1942, integrated here). The ground adds 0.2 (1 - cos t) / 2. A dull day lies between the two;
    # 2 % are for the last beam and for the start of the charger.
    tilt = math.radians(tilt_deg)
    even = (1 + math.cos(tilt)) / 2
    heavy = even + 4 / (7 * math.pi) * (math.sin(tilt) - tilt * math.cos(tilt) - math.pi * (1 - math.cos(tilt)) / 2)
    ground = 0.2 * (1 - math.cos(tilt)) / 2
    given = {(one.azimuth_deg, one.tilt_deg): one for one in facings(house().site, Sun(), 0.2, 6)}
    for azimuth_deg in (180.0, 90.0, 0.0):
        share = given[azimuth_deg, tilt_deg].dull_kwh_per_kwp / given[azimuth_deg, 0.0].dull_kwh_per_kwp
        assert 0.98 * (heavy + ground) <= share <= 1.02 * (even + ground)


@pytest.mark.parametrize(("site", "toward_deg"), [({}, 180.0), (SOUTH, 0.0)])
def test_a_clear_winter_day_wants_panels_turned_to_the_sun(site: dict[str, Any], toward_deg: float) -> None:
    home = house(site=site)
    month = 6 if home.south else 12
    given = facings(home.site, home.sun, 0.2, month)
    best = max(given, key=lambda one: one.clear_kwh_per_kwp)
    assert best.azimuth_deg == given[0].azimuth_deg == toward_deg
    # Noon sun at 90 - |latitude| - 23 degrees wants that much less than upright; the best tilt lies near it.
    assert best.tilt_deg == pytest.approx(abs(home.site.latitude_deg) + 23.0, abs=15.0)


def test_the_own_panels_are_compared_by_the_model_alone() -> None:
    plain = spells(house()).own_facing
    typed = spells(house(sun={"clear_day_kwh": 5.0, "clear_day_month": 12})).own_facing
    assert [one.clear_kwh_per_kwp for one in typed] == pytest.approx([one.clear_kwh_per_kwp for one in plain])


@pytest.mark.parametrize("more", [{"kwp": 9.0}, {"kwp": 9.0, "charger_limit_w": 1000.0}])
def test_a_kilowatt_is_a_kilowatt_however_many_share_a_charger(more: dict[str, Any]) -> None:
    def per_kwp(changes: dict[str, Any]) -> tuple[float, float]:
        home = house(sun={"arrays": [SMALL_HOUSE["sun"]["arrays"][0] | changes]})
        one = own_facings(home.site, home.sun, 0.2, 12)[0]
        return one.clear_kwh_per_kwp, one.dull_kwh_per_kwp

    assert per_kwp(more) == pytest.approx(per_kwp({"kwp": 1.0}))


def test_levels_of_the_runs_rise_together() -> None:
    dark, dim, dull = spells(house()).runs
    assert dark.below < dim.below < dull.below
    assert dark.days_share < dim.days_share < dull.days_share
    assert dark.longest_ever_days <= dim.longest_ever_days <= dull.longest_ever_days


def test_a_clearer_place_has_kinder_spells() -> None:
    grey, clear = (house(sun={"monthly_kc": (kc,) * 12}) for kc in (0.45, 0.7))
    assert dataclasses.replace(grey, sun=clear.sun) == clear
    for key, kwh in kwh_of(spells(clear)).items():
        assert kwh > kwh_of(spells(grey))[key]
