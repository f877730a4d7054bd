"""Days that nobody said: the same calendar days of many years, each year's hours sorted here anew."""

from __future__ import annotations

import dataclasses
from datetime import date, datetime

import numpy as np
import pytest

from engine.answers.autonomy import autonomy
from engine.answers.coming import coming
from engine.answers.fan import Years, band_of, fanned, season_sky
from engine.house.household import Household
from engine.sky.days import Sky, parse_sky
from engine.sky.made import made_years
from engine.sky.same_days import same_days
from engine.sky.series import KcSeries
from tests.engine.test_car import house_h

AT = datetime(2026, 11, 25, 8, 0)
CHARGE = {"bank": 0.6}
DAYS = 8


def home() -> Household:
    found = house_h()
    return dataclasses.replace(found, loads=found.loads[:1])


def asked(series: KcSeries, said: Sky | None = None, is_said: tuple[bool, ...] = ()) -> Sky:
    found = season_sky(home(), CHARGE, said, is_said, series, AT, DAYS)
    assert found is not None
    return found


def hours_of(kc: np.ndarray, load_share: float = 1.0) -> float:
    """Hours of one year's days, run by themselves, with the loads times a share."""
    house = home()
    (load,) = house.loads
    watts = {**load.values, "power_w": 300.0 * load_share}
    house = dataclasses.replace(house, loads=(dataclasses.replace(load, values=watts),))
    dry = parse_sky("dull", house.site, house.sun, 11, DAYS)
    sky = dataclasses.replace(dry, kc=kc, low_kc=kc, high_kc=kc)
    ended_h = coming(house, CHARGE, sky, AT)[1][0].run(until_ended=True).ended_h
    return np.inf if ended_h is None else ended_h


def made() -> KcSeries:
    return made_years(home().site, home().sun)


def measured(years: int, gap: int | None = None) -> KcSeries:
    """A series of some years that begin with January, one November day of a year perhaps unknown."""
    kc = np.random.default_rng(7).uniform(0.05, 1.0, years * 365 + years // 4)
    if gap is not None:
        kc[(date(2001 + gap, 11, 28) - date(2001, 1, 1)).days] = np.nan
    return KcSeries(first=date(2001, 1, 1), kc=kc, basis="measured", title="A record")


def test_the_middle_year_is_the_one_by_its_hours() -> None:
    sky = asked(made())
    rows = same_days(made(), AT.date(), DAYS)
    assert len(rows) == 30 == len(sky.years.kc)  # type: ignore[attr-defined]
    hours = sorted(hours_of(row) for row in rows)
    assert hours_of(sky.kc) == pytest.approx(hours[14])
    assert sky.basis == "made season"
    assert sky.title.startswith("As in the middle one of 30 made years of this place, 25 November to 2 December")


def test_the_range_is_the_dullest_and_the_brightest_tenth() -> None:
    sky = asked(made())
    (one,) = coming(home(), CHARGE, sky, AT)[1]
    _, fan = fanned(one, sky)
    assert fan is not None
    assert fan.tenths
    rows = same_days(made(), AT.date(), DAYS)
    hours = [hours_of(row) for row in rows]
    assert hours[fan.dull_year] == pytest.approx(sorted(hours)[2])
    assert hours[fan.bright_year] == pytest.approx(sorted(hours)[27])


def test_hours_of_the_answer_lie_in_their_order_and_the_band_around_its_course() -> None:
    answer = autonomy(home(), CHARGE, asked(made()), AT)
    (bank,) = answer.banks
    low, likely, high = (np.inf if h is None else h for h in (bank.low_hours, bank.hours, bank.high_hours))
    assert low < likely < high
    before = bank.times_h <= min(likely, float(bank.times_h[-1]))
    edges = [np.interp(bank.times_h[before], bank.band.times_h, soc) for soc in (bank.band.low_soc, bank.band.high_soc)]
    assert np.all(edges[0] <= bank.soc[before] + 1e-9)
    assert np.all(edges[1] >= bank.soc[before] - 1e-9)


def test_days_that_were_said_are_the_same_in_every_year() -> None:
    house = home()
    said = parse_sky("dark,dull", house.site, house.sun, 11)
    sky = asked(made(), said, (True, True))
    years = sky.years
    assert isinstance(years, Years)
    assert np.ptp(years.kc[:, :2]) == pytest.approx(np.ptp(said.kc[:2]))
    assert np.all(years.kc[:, :2] == said.kc[:2])
    assert np.all(years.low_kc[:, :2] == said.low_kc[:2])
    assert np.all(np.ptp(years.kc[:, 2:], axis=0) > 0.0)
    assert sky.labels[:3] == ("dark", "dull", "")
    assert ", then as in the middle one of 30 made years" in sky.title


def test_a_measured_record_is_called_one_and_a_year_with_a_gap_is_left_out() -> None:
    whole, gap = asked(measured(12)), asked(measured(12, gap=3))
    assert whole.basis == "measured season"
    assert "12 measured years of your sun record" in whole.title
    assert "11 measured years of your sun record" in gap.title


def test_too_few_years_tell_no_tenth() -> None:
    sky = asked(measured(5))
    (one,) = coming(home(), CHARGE, sky, AT)[1]
    _, fan = fanned(one, sky)
    assert fan is not None
    assert (fan.years, fan.tenths) == (5, False)
    hours = [hours_of(row) for row in same_days(measured(5), AT.date(), DAYS)]
    assert hours[fan.dull_year] == min(hours)
    assert hours[fan.bright_year] == max(hours)


def test_a_record_without_these_days_gives_none() -> None:
    short = KcSeries(first=date(2001, 2, 1), kc=np.full(60, 0.4), basis="measured", title="A record")
    assert season_sky(home(), CHARGE, None, (), short, AT, DAYS) is None


def test_days_all_said_have_no_fan() -> None:
    house = home()
    sky = parse_sky("dark,dull", house.site, house.sun, 11, DAYS)
    (one,) = coming(house, CHARGE, sky, AT)[1]
    assert fanned(one, sky) == (one, None)


def test_a_band_is_what_its_courses_fill() -> None:
    hours = np.array([0.0, 1.0, 2.0, 3.0])
    band = band_of([(hours, np.array([0.9, 0.8, 0.7, 0.6])), (hours[:3], np.array([0.9, 0.5, 0.2]))], 0.2)
    assert np.interp([1.0, 2.0, 3.0], band.times_h, band.low_soc) == pytest.approx([0.5, 0.2, 0.2])
    assert np.interp([1.0, 2.0, 3.0], band.times_h, band.high_soc) == pytest.approx([0.8, 0.7, 0.6])


def test_the_twenty_ninth_of_february_is_the_first_of_march() -> None:
    rows = same_days(measured(4), date(2028, 2, 29), 1)
    kc = measured(4).kc
    assert rows[:, 0].tolist() == [kc[(date(year, 3, 1) - date(2001, 1, 1)).days] for year in range(2001, 2005)]


def test_the_days_of_a_year_are_those_of_its_calendar() -> None:
    series = measured(12, gap=3)
    known = [year for year in range(2001, 2013) if year != 2004]
    begins = [(date(year, 11, 25) - date(2001, 1, 1)).days for year in known]
    assert same_days(series, AT.date(), DAYS).tolist() == [series.kc[n : n + DAYS].tolist() for n in begins]


def test_a_gap_outside_these_days_leaves_no_year_out() -> None:
    series = measured(12)
    series.kc[[(date(2004, 11, 24) - date(2001, 1, 1)).days, (date(2004, 12, 3) - date(2001, 1, 1)).days]] = np.nan
    assert len(same_days(series, AT.date(), DAYS)) == 12
    series.kc[(date(2004, 12, 2) - date(2001, 1, 1)).days] = np.nan
    assert len(same_days(series, AT.date(), DAYS)) == 11


def test_the_ends_of_the_range_are_these_years_with_a_tenth_more_and_less_load() -> None:
    rows = sorted(same_days(made(), AT.date(), DAYS), key=hours_of)
    (bank,) = autonomy(home(), CHARGE, asked(made()), AT).banks
    assert bank.low_hours == pytest.approx(hours_of(rows[2], 1.1), abs=0.01)
    assert bank.high_hours == pytest.approx(hours_of(rows[27], 0.9), abs=0.01)
    assert hours_of(rows[2], 1.1) < hours_of(rows[2]) < hours_of(rows[27]) < hours_of(rows[27], 0.9)


@pytest.mark.parametrize(("years", "tenths"), [(9, False), (10, True), (19, True), (20, True)])
def test_ten_years_tell_a_tenth_and_twenty_leave_the_outermost_out(years: int, tenths: bool) -> None:
    sky = asked(measured(years))
    (one,) = coming(home(), CHARGE, sky, AT)[1]
    _, fan = fanned(one, sky)
    assert fan is not None
    assert (fan.years, fan.tenths) == (years, tenths)
    hours = [hours_of(row) for row in same_days(measured(years), AT.date(), DAYS)]
    out = 1 if years == 20 else 0
    assert hours[fan.dull_year] == sorted(hours)[out]
    assert hours[fan.bright_year] == sorted(hours)[-1 - out]


def test_a_day_left_open_between_said_ones_is_each_years_own() -> None:
    house = home()
    said = parse_sky("dark,dark,bright", house.site, house.sun, 11)
    sky = asked(made(), said, (True, False, True))
    years, rows = sky.years, same_days(made(), AT.date(), DAYS)
    assert isinstance(years, Years)
    assert np.all(years.kc[:, [0, 2]] == said.kc[[0, 2]])
    assert np.all(years.kc[:, [1, 3, 4, 5, 6, 7]] == rows[:, [1, 3, 4, 5, 6, 7]])
    assert sky.labels == ("dark", "", "bright", "", "", "", "", "")
    assert sky.listed_days == 3


def test_without_panels_every_year_is_alike_and_only_the_loads_make_the_range() -> None:
    house = dataclasses.replace(home(), sun=dataclasses.replace(home().sun, arrays=()))
    sky = season_sky(house, CHARGE, None, (), made(), AT, DAYS)
    assert sky is not None
    (one,) = coming(house, CHARGE, sky, AT)[1]
    shaded, fan = fanned(one, sky)
    assert fan is not None
    # 0.4 of 16 x 3.2 V x 280 Ah down to the reserve at 300 W / 0.93 + 40 W
    assert shaded.run(until_ended=True).ended_h == pytest.approx(0.4 * 16 * 3.2 * 280 / (300 / 0.93 + 40), abs=0.02)
    (bank,) = autonomy(house, CHARGE, sky, AT).banks
    assert bank.low_hours == pytest.approx(0.4 * 16 * 3.2 * 280 / (330 / 0.93 + 40), abs=0.02)
    assert bank.high_hours == pytest.approx(0.4 * 16 * 3.2 * 280 / (270 / 0.93 + 40), abs=0.02)
