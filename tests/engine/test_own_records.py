"""What the household's own records teach: months, clear days, the dullest week, and what each changes."""

from __future__ import annotations

import dataclasses
from datetime import date

import numpy as np
import pytest

from engine.errors import InputError
from engine.quantities import mean_day_of_year
from engine.sky.averages import DAYS_IN_MONTH, average_day_kwh, mean_kc
from engine.sky.darkest import quarter
from engine.sky.days import parse_sky
from engine.sky.glance import array_years, month_yields
from engine.sky.own import as_strong_as, effect, kc_of_log, read_log, taught
from engine.sky.own_spells import read_by
from engine.sky.series import DailySeries, Floats, dates_of, days_of_year
from engine.sky.site import Array, Site, Sun
from engine.sky.spells import own_spells
from engine.sky.sun import yield_kwh

HERE = Site(latitude_deg=52.0, longitude_deg=5.0, time_zone="Europe/Amsterdam")
DOWN_UNDER = Site(latitude_deg=-35.0, longitude_deg=149.0, time_zone="Australia/Sydney")
ROOF = Array(id="roof", name="Roof", kwp=5.0, tilt_deg=35.0, azimuth_deg=180.0)
SHED = Array(id="shed", name="Shed", kwp=2.0, tilt_deg=10.0, azimuth_deg=270.0)
SUN = Sun(arrays=(ROOF, SHED))
FIRST = date(2021, 1, 1)


def typed_month(site: Site, kc: float, month: int) -> Sun:
    """A household whose kWh of one month are those of a mean kc."""
    kwh: list[float | None] = [None] * 12
    like = dataclasses.replace(SUN, monthly_kc=(kc,) * 12)
    kwh[month - 1] = average_day_kwh(site, like, month) * DAYS_IN_MONTH[month - 1]
    return dataclasses.replace(SUN, monthly_kwh=tuple(kwh))


def skies(days: int, seed: int = 4) -> Floats:
    """Made-up clearness: a tenth of the days clear, the rest anything below."""
    random = np.random.default_rng(seed)
    return np.where(random.random(days) < 0.2, 1.0, random.uniform(0.08, 0.9, days))


def log_of_skies(kc: Floats, scale: float = 1.0, sun: Sun = SUN, site: Site = HERE) -> DailySeries:
    doy = days_of_year(dates_of(FIRST, kc.size))
    return DailySeries(quantity="yield", first=FIRST, values=scale * yield_kwh(site, sun, kc, doy))


class TestMonthlyKwh:
    @pytest.mark.parametrize("month", [1, 4, 7, 12])
    @pytest.mark.parametrize("kc", [0.25, 0.5, 0.8])
    @pytest.mark.parametrize("site", [HERE, DOWN_UNDER], ids=["north", "south"])
    def test_they_give_back_the_kc_they_were_made_with(self, site: Site, kc: float, month: int) -> None:
        # 0.001: days between the places of a table of 111 skies.
        assert mean_kc(site, typed_month(site, kc, month), month) == pytest.approx(kc, abs=0.001)

    def test_the_average_day_is_the_typed_one_and_other_months_stay(self) -> None:
        owned = dataclasses.replace(SUN, monthly_kwh=(93.0,) + (None,) * 11)
        assert average_day_kwh(HERE, owned, 1) == pytest.approx(3.0)
        assert average_day_kwh(HERE, owned, 2) == average_day_kwh(HERE, SUN, 2)
        assert mean_kc(HERE, owned, 2) == mean_kc(HERE, SUN, 2)

    def test_they_go_before_typed_kc(self) -> None:
        owned = dataclasses.replace(SUN, monthly_kwh=(93.0,) + (None,) * 11, monthly_kc=(0.9,) * 12)
        assert mean_kc(HERE, owned, 1) < 0.6
        assert mean_kc(HERE, owned, 2) == 0.9

    def test_a_month_above_clear_days_counts_as_clear_and_no_more(self) -> None:
        owned = dataclasses.replace(SUN, monthly_kwh=(5000.0,) + (None,) * 11)
        clear = yield_kwh(HERE, SUN, [1.0], [mean_day_of_year(1)])[0]
        assert mean_kc(HERE, owned, 1) == 1.0
        assert average_day_kwh(HERE, owned, 1) < 1.05 * clear

    def test_a_month_of_next_to_nothing_stays_as_little_as_typed(self) -> None:
        owned = dataclasses.replace(SUN, monthly_kwh=(0.31,) + (None,) * 11)
        assert average_day_kwh(HERE, owned, 1) == pytest.approx(0.01)
        assert mean_kc(HERE, owned, 1) < 0.1

    def test_a_polar_night_stays_dark_whatever_is_typed(self) -> None:
        polar = Site(latitude_deg=80.0, longitude_deg=0.0, time_zone="UTC")
        owned = dataclasses.replace(SUN, monthly_kwh=(100.0,) + (None,) * 11)
        assert average_day_kwh(polar, owned, 1) == 0.0

    def test_without_panels_they_say_nothing(self) -> None:
        assert mean_kc(HERE, Sun(monthly_kwh=(10.0,) * 12), 1) == mean_kc(HERE, Sun(), 1)


class TestLog:
    def test_clear_days_give_back_how_strong_the_panels_are(self) -> None:
        for scale in (0.7, 1.2):
            lesson = next(
                one for one in read_log(log_of_skies(skies(730), scale), HERE, SUN).lessons if one.id == "clear_day"
            )
            owned = taught(SUN, lesson)
            clear = yield_kwh(HERE, owned, [1.0], [mean_day_of_year(6)])[0]
            # Three figures of the kWh; mean days of the months against the days themselves.
            assert clear == pytest.approx(scale * yield_kwh(HERE, SUN, [1.0], [mean_day_of_year(6)])[0], rel=0.006)
            assert lesson.days == 73

    def test_a_log_says_the_same_whatever_was_typed_before(self) -> None:
        series = log_of_skies(skies(365), 0.9)
        plain = read_log(series, HERE, SUN)
        typed = dataclasses.replace(SUN, clear_day_kwh=12.0, clear_day_month=6, dull_day_kwh=0.5, dull_day_month=12)
        assert read_log(series, HERE, typed) == plain

    def test_months_are_the_means_of_the_years(self) -> None:
        series = log_of_skies(skies(730))
        lesson = next(one for one in read_log(series, HERE, SUN).lessons if one.id == "monthly_kwh")
        january = np.concatenate([series.values[:31], series.values[365:396]]).mean() * 31
        assert lesson.changes["monthly_kwh"][0] == pytest.approx(january, rel=0.005)
        assert lesson.days == 730

    def test_months_with_too_few_days_stay_as_they_were(self) -> None:
        before = dataclasses.replace(SUN, monthly_kwh=(None,) * 5 + (700.0,) + (None,) * 6)
        lesson = next(one for one in read_log(log_of_skies(skies(59)), HERE, before).lessons if one.id == "monthly_kwh")
        kwh = lesson.changes["monthly_kwh"]
        assert kwh[5] == 700.0
        assert [n for n, one in enumerate(kwh) if one is not None] == [0, 1, 5]
        assert "March" in lesson.text

    def test_the_dullest_week_is_the_least_mean_of_seven_known_days(self) -> None:
        kc = np.full(120, 0.8)
        kc[40:47] = 0.15
        series = log_of_skies(kc)
        lesson = next(one for one in read_log(series, HERE, SUN).lessons if one.id == "dull_day")
        assert lesson.changes["dull_day_kwh"] == pytest.approx(series.values[40:47].mean(), rel=0.005)
        assert lesson.changes["dull_day_month"] == 2
        assert "16 February 2021" in lesson.text

    def test_of_three_years_it_is_the_middle_ones(self) -> None:
        kc = np.full(3 * 365 + 190, 0.7)
        for year, dull in enumerate((0.3, 0.1, 0.2)):
            start = 190 + 365 * year + 150
            kc[start : start + 7] = dull
        series = log_of_skies(kc)
        lesson = next(one for one in read_log(series, HERE, SUN).lessons if one.id == "dull_day")
        start = 190 + 365 * 2 + 150
        assert lesson.changes["dull_day_kwh"] == pytest.approx(series.values[start : start + 7].mean(), rel=0.005)

    def test_of_four_years_it_is_the_duller_of_the_two_in_the_middle(self) -> None:
        kc = np.full(4 * 365 + 191, 0.7)
        for year, dull in enumerate((0.3, 0.1, 0.2, 0.25)):
            start = 190 + 365 * year + 150
            kc[start : start + 7] = dull
        series = log_of_skies(kc)
        lesson = next(one for one in read_log(series, HERE, SUN).lessons if one.id == "dull_day")
        start = 190 + 365 * 2 + 150
        assert lesson.changes["dull_day_kwh"] == pytest.approx(series.values[start : start + 7].mean(), rel=0.005)

    def test_a_dullest_week_without_the_darkest_month_says_which_months_the_log_knows(self) -> None:
        def check(series: DailySeries) -> str:
            return next(one for one in read_log(series, HERE, SUN).lessons if one.id == "dull_day").check

        assert "knows January and February, not December" in check(log_of_skies(skies(59)))
        assert check(log_of_skies(skies(365))) == ""

    def test_a_day_of_nothing_is_no_dull_day_but_said(self) -> None:
        series = log_of_skies(skies(365))
        values = series.values.copy()
        values[100:110] = 0.0
        reading = read_log(dataclasses.replace(series, values=values), HERE, SUN)
        dull = next(one for one in reading.lessons if one.id == "dull_day")
        assert dull.changes["dull_day_kwh"] > 0.0
        nothing = next(one for one in reading.findings if one.code == "log-nothing")
        assert nothing.text.startswith("10 of its days")

    def test_a_bank_that_is_full_all_summer_is_noticed(self) -> None:
        series = log_of_skies(skies(365))
        summer = np.isin(np.arange(365), np.arange(90, 270))
        capped = dataclasses.replace(series, values=np.where(summer, np.minimum(series.values, 8.0), series.values))
        codes = {one.code for one in read_log(capped, HERE, SUN).findings}
        assert "log-held-back" in codes
        assert "log-held-back" not in {one.code for one in read_log(series, HERE, SUN).findings}

    def test_a_log_without_december_says_so(self) -> None:
        codes = {one.code for one in read_log(log_of_skies(skies(200)), HERE, SUN).findings}
        assert "log-no-dark-season" in codes
        south = log_of_skies(skies(200), site=DOWN_UNDER)
        assert "log-no-dark-season" not in {one.code for one in read_log(south, DOWN_UNDER, SUN).findings}

    def test_gaps_are_no_days(self) -> None:
        series = log_of_skies(skies(365))
        values = series.values.copy()
        values[::3] = np.nan
        reading = read_log(dataclasses.replace(series, values=values), HERE, SUN)
        assert reading.days == int(np.isfinite(values).sum())

    def test_refusals_name_what_is_wrong(self) -> None:
        series = log_of_skies(skies(365))
        with pytest.raises(InputError, match="Describe your panels on Sun first"):
            read_log(series, HERE, Sun())
        with pytest.raises(InputError, match="holds sunshine on the level"):
            read_log(dataclasses.replace(series, quantity="radiation"), HERE, SUN)
        with pytest.raises(InputError, match="has 20 days with a number; it takes 30"):
            read_log(log_of_skies(skies(20)), HERE, SUN)

    def test_clearness_comes_back_day_by_day(self) -> None:
        kc = skies(400)
        found = kc_of_log(log_of_skies(kc), HERE, SUN, "Log")
        assert found.first == FIRST
        # Below kc 0.08 of a December day the chargers stand still; 0.02 is a step of the table of skies.
        assert found.kc == pytest.approx(kc, abs=0.02)

    def test_clearness_of_a_day_of_nothing_and_of_a_missing_one_is_not_known(self) -> None:
        series = log_of_skies(skies(60))
        values = series.values.copy()
        values[3], values[4] = 0.0, np.nan
        found = kc_of_log(dataclasses.replace(series, values=values), HERE, SUN, "Log").kc
        assert np.flatnonzero(~np.isfinite(found)).tolist() == [3, 4]


class TestEffect:
    def test_it_is_what_the_answers_take(self) -> None:
        after = dataclasses.replace(SUN, clear_day_kwh=40.0, clear_day_month=6, dull_day_kwh=1.0, dull_day_month=12)
        found = effect(HERE, SUN, after)
        june, december = found.months[5], found.months[11]
        assert june.clear_kwh == pytest.approx((yield_kwh(HERE, SUN, [1.0], [162])[0], 40.0))
        assert december.dull_kwh[1] == pytest.approx(1.0)
        assert december.average_kwh == (average_day_kwh(HERE, SUN, 12), average_day_kwh(HERE, after, 12))
        assert found.darkest == december

    def test_the_month_that_changes_most_is_told_beside_the_darkest(self) -> None:
        kwh: list[float | None] = [None] * 12
        kwh[5] = 300.0
        found = effect(HERE, SUN, dataclasses.replace(SUN, monthly_kwh=tuple(kwh)))
        assert (found.most.month, found.darkest.month) == (6, 12)

    def test_nothing_changed_is_no_effect(self) -> None:
        assert all(one.average_kwh[0] == one.average_kwh[1] for one in effect(HERE, SUN, SUN).months)

    def test_it_takes_panels(self) -> None:
        with pytest.raises(InputError, match="Describe your panels"):
            effect(HERE, Sun(), SUN)


class TestGlance:
    def test_days_stand_in_their_order_and_arrays_make_up_the_year(self) -> None:
        months = month_yields(HERE, SUN)
        for one in months:
            assert one.dark_kwh < one.dull_kwh < one.average_kwh < one.bright_kwh < one.clear_kwh
        years = array_years(HERE, SUN, months)
        year_kwh = sum(one.average_kwh * days for one, days in zip(months, DAYS_IN_MONTH, strict=True))
        assert sum(one.year_kwh for one in years) == pytest.approx(year_kwh)
        assert all(one.held_back_kwh == 0.0 for one in years)

    def test_the_owners_months_are_shared_among_the_arrays(self) -> None:
        owned = dataclasses.replace(SUN, monthly_kwh=(93.0,) * 12)
        years = array_years(HERE, owned, month_yields(HERE, owned))
        assert sum(one.year_kwh for one in years) == pytest.approx(12 * 93.0)

    def test_what_a_limit_costs_is_told(self) -> None:
        limited = Sun(arrays=(dataclasses.replace(ROOF, charger_limit_w=2500.0), SHED))
        roof, shed = array_years(HERE, limited, month_yields(HERE, limited))
        free, _ = array_years(HERE, SUN, month_yields(HERE, SUN))
        assert roof.held_back_kwh == pytest.approx(free.year_kwh - roof.year_kwh)
        assert roof.held_back_kwh > 100.0
        assert shed.held_back_kwh == 0.0

    def test_a_polar_night_is_an_honest_nothing(self) -> None:
        polar = Site(latitude_deg=78.2, longitude_deg=15.6, time_zone="Arctic/Longyearbyen")
        months = month_yields(polar, SUN)
        assert months[11].bright_kwh == months[11].average_kwh == 0.0
        assert months[5].average_kwh > 5.0
        assert all(np.isfinite(one.year_kwh) for one in array_years(polar, SUN, months))

    def test_a_dull_day_that_cannot_be_is_left_out(self) -> None:
        owned = dataclasses.replace(SUN, dull_day_kwh=500.0, dull_day_month=12)
        assert month_yields(HERE, owned)[11].dull_kwh == month_yields(HERE, SUN)[11].dull_kwh


class TestSpellsOfALog:
    """What a log measured as its worst days is promised, whatever clear day is taken besides, before or after."""

    @pytest.mark.parametrize("strength", [0.7, 1.0, 1.25])
    def test_the_order_of_what_is_taken_changes_nothing(self, strength: float) -> None:
        log = log_of_skies(skies(6 * 365), strength)
        strong = as_strong_as(log, HERE, SUN)
        spells = read_by(own_spells(kc_of_log(log, HERE, strong, "log"), HERE.latitude_deg), HERE, strong)
        clear_day = next(one for one in read_log(log, HERE, SUN).lessons if one.id == "clear_day")
        alone = dataclasses.replace(SUN, spells=spells)
        given = []
        for sun in (alone, taught(alone, clear_day)):
            days = parse_sky("own_7d_1in5", HERE, sun, 12).kc[:7]
            given.append(yield_kwh(HERE, sun, days, np.full(7, mean_day_of_year(12))).mean())
        # A clear day is kept to three figures.
        assert given[1] == pytest.approx(given[0], rel=0.01)

    @pytest.mark.parametrize("times", [0.5, 1.0, 2.0])
    @pytest.mark.parametrize("clear_day", [False, True], ids=["modelled", "own clear day"])
    def test_panels_described_anew_never_promise_more_than_the_log_measured(
        self, times: float, clear_day: bool
    ) -> None:
        log = log_of_skies(skies(6 * 365), 1.25)
        strong = as_strong_as(log, HERE, SUN)
        spells = read_by(own_spells(kc_of_log(log, HERE, strong, "log"), HERE.latitude_deg), HERE, strong)
        spell = next(one for one in spells if one.id == "own_7d_1in5")
        end = (date.fromisoformat(spell.ended) - FIRST).days + 1
        measured = log.values[end - 7 : end].mean()
        taken = next(one for one in read_log(log, HERE, SUN).lessons if one.id == "clear_day")
        before = taught(SUN, taken) if clear_day else SUN
        arrays = tuple(dataclasses.replace(one, kwp=times * one.kwp) for one in SUN.arrays)
        sun = dataclasses.replace(before, spells=spells, arrays=arrays)
        kc = parse_sky("own_7d_1in5", HERE, sun, spell.month).kc[:7]
        given = yield_kwh(HERE, sun, kc, days_of_year(dates_of(FIRST, end)[-7:])).mean()
        # The kc are kept to 0.001 and read off a table of 56 skies.
        assert given < 1.02 * measured
        if times == 1.0:
            assert given == pytest.approx(measured, rel=0.02)


@pytest.mark.parametrize("strength", [0.5, 1.0])
@pytest.mark.parametrize(("share", "told"), [(0.3, True), (1.0, False), (1.9, True)])
def test_a_darkest_quarter_unlike_the_world_table_is_said_whatever_the_panels(
    share: float, strength: float, told: bool
) -> None:
    doy = days_of_year(dates_of(FIRST, 365))
    gave = np.array([average_day_kwh(HERE, SUN, one.astype(object).month) for one in dates_of(FIRST, 365)])
    clear = yield_kwh(HERE, SUN, np.ones(365), doy)
    month = dates_of(FIRST, 365).astype("datetime64[M]").astype(int) % 12 + 1
    dark = np.isin(month, quarter(HERE))
    # Half the days of summer clear, so that the log knows its clear days; the others as its months have them.
    kwh = np.where(dark, share * gave, np.where(np.arange(365) % 2 == 0, clear, gave))
    log = DailySeries(quantity="yield", first=FIRST, values=strength * kwh)
    found = [one for one in read_log(log, HERE, SUN).findings if one.code == "unlike_table"]
    assert [one.level for one in found] == (["check"] if told else [])
