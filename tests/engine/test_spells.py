"""The worst days in a row of a series: windows, years, quantiles, gaps and runs, on series whose answer is known."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from engine.sky.climate import presets
from engine.sky.elsewhere import station_spells
from engine.sky.series import Floats, KcSeries, dates_of
from engine.sky.site import Array, Site, Sun
from engine.sky.spells import (
    AFTER_DAYS,
    RISK_YEARS,
    WINDOW_DAYS,
    filled,
    own_spells,
    spell_table,
    spell_title,
    yield_spells,
)
from engine.sky.sun import yield_kwh
from engine.sky.years import daily_kwh, first_month, hours_by_year, year_of_day

NORTH, TROPICS = 52.0, 10.0
HERE = Site(latitude_deg=NORTH, longitude_deg=5.0, time_zone="Europe/Amsterdam", climate="temperate_maritime")
ROOF = Array(id="roof", name="Roof", kwp=5.0, tilt_deg=35.0, azimuth_deg=180.0)
SUN = Sun(arrays=(ROOF,))


def series(first: date, kc: Floats) -> KcSeries:
    return KcSeries(first=first, kc=kc, basis="measured", title="made up for a test")


def years_of(dull: dict[date, float], first: date, end: date, otherwise: float = 0.8) -> KcSeries:
    """Days of one clearness from `first` up to `end`, but for the dull ones."""
    kc = np.full((end - first).days, otherwise)
    for day, value in dull.items():
        kc[(day - first).days] = value
    return series(first, kc)


def one_dull_day_a_year(values: list[float]) -> KcSeries:
    """Calendar years at the tropics, each with one dull day, on 15 August."""
    dull = {date(2001 + place, 8, 15): value for place, value in enumerate(values)}
    return years_of(dull, date(2001, 1, 1), date(2001 + len(values), 1, 1))


class TestYears:
    def test_winter_is_not_cut_in_two_in_the_north(self) -> None:
        assert first_month(52.0) == 7
        assert first_month(25.0) == first_month(-52.0) == 1
        winter = dates_of(date(2023, 12, 31), 2)
        assert year_of_day(winter, NORTH).tolist() == [2023, 2023]
        assert year_of_day(winter, TROPICS).tolist() == [2023, 2024]

    def test_every_hour_of_a_series_comes_once_with_its_leap_days(self) -> None:
        days = (date(2005, 1, 1) - date(2003, 3, 10)).days
        kc = np.random.default_rng(3).uniform(0.05, 1.0, days)
        months = list(hours_by_year(HERE, SUN, series(date(2003, 3, 10), kc)))
        assert [first for first, _ in months] == [date(2003, 3, 10), date(2003, 7, 1), date(2004, 7, 1)]
        assert [arrays["roof"].size for _, arrays in months] == [24 * days for days in (113, 366, 184)]

    def test_the_days_are_those_of_each_day_alone(self) -> None:
        # 29 February 2004 is day 60 of its year, 31 December 2004 is day 366 and 1 March 2005 is day 60 again.
        days = (date(2005, 7, 1) - date(2003, 7, 1)).days
        kc = np.random.default_rng(4).uniform(0.05, 1.0, days)
        kwh = daily_kwh(HERE, SUN, series(date(2003, 7, 1), kc))
        for day, doy in ((date(2004, 2, 29), 60), (date(2004, 12, 31), 366), (date(2005, 3, 1), 60)):
            place = (day - date(2003, 7, 1)).days
            assert kwh[place] == pytest.approx(yield_kwh(HERE, SUN, [kc[place]], [doy])[0])

    def test_snow_of_a_spell_does_not_cover_every_summer(self) -> None:
        snowed = Sun(arrays=(ROOF,), covered_days=5)
        year = series(date(2003, 7, 1), np.full(366, 0.8))
        assert daily_kwh(HERE, snowed, year) == pytest.approx(daily_kwh(HERE, SUN, year))

    def test_a_day_that_is_not_known_has_no_yield(self) -> None:
        kc = np.full(30, 0.5)
        kc[7] = np.nan
        kwh = daily_kwh(HERE, SUN, series(date(2003, 7, 1), kc))
        assert np.flatnonzero(~np.isfinite(kwh)).tolist() == [7]

    def test_without_panels_there_is_nothing(self) -> None:
        assert not daily_kwh(HERE, Sun(), series(date(2003, 7, 1), np.full(366, 0.8))).any()


class TestQuantiles:
    def test_the_percentiles_are_those_of_the_years(self) -> None:
        # Eleven years of 0.10, 0.11 ... 0.20: the median is the sixth, the 20th percentile the third (0.2 x 10 = 2
        # steps above the first), the 10th the second. By hand.
        table = spell_table(one_dull_day_a_year([0.10 + 0.01 * place for place in range(11)]), TROPICS)
        assert table.years == 11
        found = [table.spell(1, risk) for risk in RISK_YEARS]
        assert [round(spell.mean, 6) for spell in found if spell] == [0.15, 0.12, 0.11]
        assert [spell.window.first.year for spell in found if spell] == [2006, 2003, 2002]

    def test_the_days_shown_are_never_brighter_than_what_they_stand_for(self) -> None:
        # Ten years: the 10th percentile lies nine tenths of a step above the darkest year, so the darkest is shown.
        table = spell_table(one_dull_day_a_year([0.10 + 0.01 * place for place in range(10)]), TROPICS)
        for spell in table.spells:
            assert spell.window.mean <= spell.mean + 1e-9
            assert np.mean(spell.window.kc) == pytest.approx(spell.window.mean)
        darkest = table.spell(1, 10)
        assert darkest is not None
        assert darkest.mean == pytest.approx(0.109)
        assert darkest.window.mean == pytest.approx(0.10)

    @pytest.mark.parametrize(
        ("years", "risks"), [(2, []), (3, [1]), (4, [1]), (5, [1, 5]), (9, [1, 5]), (10, [1, 5, 10])]
    )
    def test_a_risk_is_told_only_where_there_are_years_enough(self, years: int, risks: list[int]) -> None:
        table = spell_table(one_dull_day_a_year([0.1] * years), TROPICS)
        assert table.years == years
        assert [spell.risk_years for spell in table.spells if spell.days == 7] == risks
        assert len(table.worst) == years * len(WINDOW_DAYS)

    def test_a_window_is_found_where_it_lies_with_its_days_and_those_after(self) -> None:
        first = date(2001, 1, 1)
        dull = {date(2003, 8, 10) + timedelta(days=day): 0.2 + 0.01 * day for day in range(7)}
        dull[date(2003, 8, 19)] = 0.3
        table = spell_table(years_of(dull, first, date(2004, 1, 1)), TROPICS)
        week = next(window for window in table.worst if (window.days, window.year) == (7, 2003))
        assert (week.first, week.last, week.month) == (date(2003, 8, 10), date(2003, 8, 16), 8)
        assert week.mean == pytest.approx(0.23)
        assert week.kc == pytest.approx([0.2 + 0.01 * day for day in range(7)])
        assert week.after_kc == pytest.approx([0.8, 0.8, 0.3, 0.8, 0.8, 0.8, 0.8])
        assert len(week.after_kc) == AFTER_DAYS

    def test_a_spell_over_new_year_is_one_spell_of_a_northern_winter(self) -> None:
        spell = {date(2002, 12, 29) + timedelta(days=day): 0.1 for day in range(7)}
        north = spell_table(years_of(spell, date(2000, 7, 1), date(2004, 7, 1)), NORTH)
        week = next(window for window in north.worst if (window.days, window.year) == (7, 2002))
        assert week.mean == pytest.approx(0.1)
        assert week.first == date(2002, 12, 29)
        assert north.months(7)[0] == 1
        assert sum(north.months(7)) == 4

    def test_longer_windows_and_commoner_years_are_never_duller(self) -> None:
        rng = np.random.default_rng(5)
        table = spell_table(series(date(2001, 7, 1), rng.uniform(0.05, 1.0, 365 * 20)), NORTH)
        for days in WINDOW_DAYS:
            means = [spell.mean for spell in table.spells if spell.days == days]
            assert means == sorted(means, reverse=True)
        for risk in RISK_YEARS:
            one, fourteen = table.spell(1, risk), table.spell(14, risk)
            assert one is not None
            assert fourteen is not None
            assert one.mean < fourteen.mean

    def test_in_kwh_the_worst_days_are_those_of_the_short_days(self) -> None:
        # kc 0.3 in June gives these panels more than kc 0.5 in December.
        days = (date(2004, 7, 1) - date(2001, 7, 1)).days
        dates = dates_of(date(2001, 7, 1), days)
        months = dates.astype("datetime64[M]").astype(int) % 12 + 1
        sky = series(date(2001, 7, 1), np.where(months == 12, 0.5, np.where(months == 6, 0.3, 0.9)))
        assert spell_table(sky, NORTH).months(7)[5] == 3
        by_kwh = yield_spells(HERE, SUN, sky)
        assert by_kwh.months(7)[11] == 3
        week = by_kwh.spell(7, 1)
        assert week is not None
        assert by_kwh.quantity == "kwh"
        assert week.window.kc == (0.5,) * 7
        given = yield_kwh(HERE, SUN, week.window.kc, _doys(week.window.first, 7))
        assert week.window.mean == pytest.approx(given.mean())


class TestGaps:
    def test_short_gaps_are_filled_on_a_straight_line_and_long_ones_stay(self) -> None:
        nan = np.nan
        short = filled(np.array([nan, 0.2, nan, nan, nan, 0.6, 0.4, nan, nan, nan, nan, 0.4, nan]))
        assert short == pytest.approx([nan, 0.2, 0.3, 0.4, 0.5, 0.6, 0.4, nan, nan, nan, nan, 0.4, nan], nan_ok=True)

    @pytest.mark.parametrize(("missing", "years"), [(9, 3), (10, 2)])
    def test_a_year_counts_from_356_days(self, missing: int, years: int) -> None:
        kc = np.full(3 * 365, 0.8)
        kc[400 : 400 + missing] = np.nan
        assert spell_table(series(date(2001, 1, 1), kc), TROPICS).years == years

    def test_no_window_reaches_over_days_that_are_not_known(self) -> None:
        kc = np.full(3 * 365, 0.8)
        kc[400:406] = np.nan
        kc[[399, 406]] = 0.0
        table = spell_table(series(date(2001, 1, 1), kc), TROPICS)
        week = next(window for window in table.worst if (window.days, window.year) == (7, 2002))
        assert week.mean == pytest.approx(6 * 0.8 / 7)
        assert table.spell(1, 1) is not None
        before = next(window for window in table.worst if (window.days, window.year) == (1, 2002))
        assert before.after_kc == ()

    def test_a_series_too_short_for_a_year_says_nothing(self) -> None:
        table = spell_table(series(date(2001, 1, 1), np.full(10, 0.3)), TROPICS)
        assert (table.years, table.spells, table.worst, table.runs) == (0, (), (), ())
        assert own_spells(series(date(2001, 1, 1), np.full(3, 0.3)), TROPICS) == ()


class TestRuns:
    def test_runs_are_counted_and_the_longest_told(self) -> None:
        # Three calendar years: runs of 4 and 2 days in 2001, of 6 in 2002, of 1 in 2003; 13 of 1095 days. By hand.
        dull: dict[date, float] = {}
        for first, days in ((date(2001, 3, 1), 4), (date(2001, 9, 1), 2), (date(2002, 3, 1), 6), (date(2003, 5, 1), 1)):
            dull |= {first + timedelta(days=day): 0.25 for day in range(days)}
        sky = years_of(dull, date(2001, 1, 1), date(2004, 1, 1))
        (runs,) = spell_table(sky, TROPICS, (0.3,)).runs
        assert runs.days_share == pytest.approx(13 / 1095)
        assert runs.longest_days == {1: 4.0}
        assert runs.longest_ever_days == 6
        assert [runs.a_year[days] for days in (2, 3, 5, 7)] == pytest.approx([1.0, 2 / 3, 1 / 3, 0.0])

    def test_one_year_in_five_has_a_longer_run_than_a_typical_one(self) -> None:
        # Longest runs of five years: 1, 2, 3, 4, 5 days. The median is the third; the 80th percentile lies
        # 0.8 x 4 = 3.2 steps above the first. By hand.
        dull = {date(2001 + year, 5, 1 + day): 0.1 for year in range(5) for day in range(year + 1)}
        (runs,) = spell_table(years_of(dull, date(2001, 1, 1), date(2006, 1, 1)), TROPICS, (0.3,)).runs
        assert runs.longest_days == pytest.approx({1: 3.0, 5: 4.2})

    def test_runs_of_a_part_of_a_year_are_not_counted(self) -> None:
        dull = {date(2001, 5, 1 + day): 0.1 for day in range(2)} | {date(2004, 1, 1 + day): 0.1 for day in range(9)}
        (runs,) = spell_table(years_of(dull, date(2001, 1, 1), date(2004, 3, 1)), TROPICS, (0.3,)).runs
        assert runs.longest_ever_days == 2
        assert runs.days_share == pytest.approx(2 / 1095)
        assert runs.a_year[2] == pytest.approx(1 / 3)

    def test_where_no_day_is_below_there_are_none(self) -> None:
        (runs,) = spell_table(one_dull_day_a_year([0.4] * 5), TROPICS, (0.3,)).runs
        assert (runs.days_share, runs.longest_ever_days, runs.longest_days) == (0.0, 0, {1: 0.0, 5: 0.0})


class TestOwnSpells:
    def test_a_household_keeps_three_lengths_with_the_days_after(self) -> None:
        rng = np.random.default_rng(6)
        sky = series(date(2010, 7, 1), rng.uniform(0.05, 1.0, (date(2022, 7, 1) - date(2010, 7, 1)).days))
        kept = {spell.id: spell for spell in own_spells(sky, NORTH)}
        assert set(kept) == {f"own_{days}d_1in{risk}" for days in (3, 7, 14) for risk in (1, 5, 10)}
        week = kept["own_7d_1in10"]
        assert week.title == "Worst week of 1 year in 10"
        assert week.years == 12
        end = date.fromisoformat(week.ended)
        last = (end - date(2010, 7, 1)).days
        assert week.kc == pytest.approx(sky.kc[last - 6 : last + 1], abs=0.0005)
        assert week.after_kc == pytest.approx(sky.kc[last + 1 : last + 8], abs=0.0005)
        assert week.month == (end - timedelta(days=3)).month

    def test_five_years_bring_no_one_in_ten(self) -> None:
        kept = own_spells(one_dull_day_a_year([0.1] * 5), TROPICS)
        assert {spell.id for spell in kept} == {f"own_{days}d_1in{risk}" for days in (3, 7, 14) for risk in (1, 5)}


def test_names_of_spells() -> None:
    assert spell_title(3, 1) == "Worst three days of a typical year"
    assert spell_title(14, 5) == "Worst two weeks of 1 year in 5"


def test_the_spells_shipped_are_those_of_their_stations() -> None:
    # Windows and quantiles were found apart, the windows ranked against another clear sky: within 0.04.
    by_station = {(one.station, one.risk_years): one for one in station_spells()}
    compared = 0
    for preset in presets().values():
        risk = int(preset.id.rsplit("in", 1)[1])
        station = by_station.get((preset.station, risk))
        if station is not None:
            assert preset.mean_kc == pytest.approx(station.kc[WINDOW_DAYS.index(preset.days)], abs=0.04)
            compared += 1
    assert compared >= 9


def test_the_stations_say_how_their_numbers_were_found() -> None:
    assert {one.kind for one in station_spells()} == {"measured", "derived earlier, not reproducible here"}
    for one in station_spells():
        assert list(one.kc) == sorted(one.kc)
        assert one.years >= 10


def _doys(first: date, days: int) -> list[int]:
    return [(first + timedelta(days=day)).timetuple().tm_yday for day in range(days)]
