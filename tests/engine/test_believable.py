"""A sound series is believed, and each way a series can be wrong is named; what it then may be used for follows.

The sound ones are thirty made years (`made_years`) times our clear day: their dark days are as the published
distribution of clearness has them. Three series of pyranometers were judged by hand when the limits were set.
"""

from __future__ import annotations

import dataclasses
from datetime import date, timedelta

import numpy as np
import pytest

from engine.errors import InputError
from engine.sky import local
from engine.sky.believable import fit_for_averages, fit_for_spells, judge, kc_series, monthly_kc
from engine.sky.darkest import quarter, quarter_kc
from engine.sky.made import made_years
from engine.sky.series import DailySeries, dates_of, days_of_year
from engine.sky.site import Site, Sun
from engine.sky.spells import own_spells
from engine.sky.sun import clear_day_kwh_m2

HUPSEL = Site(latitude_deg=52.07, longitude_deg=6.66, time_zone="Europe/Amsterdam", climate="world")
SOUTH = Site(latitude_deg=-41.3, longitude_deg=174.8, time_zone="Pacific/Auckland", climate="world")
SITES = (HUPSEL, SOUTH, dataclasses.replace(HUPSEL, latitude_deg=2.0), dataclasses.replace(HUPSEL, latitude_deg=63.0))


def _sound(site: Site, years: int = 12) -> DailySeries:
    """Radiation of made years."""
    made = made_years(site, Sun(), years)
    return DailySeries(quantity="radiation", first=made.first, values=made.kc * _clear(made.first, made.kc.size, site))


def _clear(first: date, days: int, site: Site) -> np.ndarray:
    of_year = clear_day_kwh_m2(site, np.arange(1, 367))
    return of_year[days_of_year(dates_of(first, days)) - 1]


def _with(series: DailySeries, values: np.ndarray) -> DailySeries:
    return dataclasses.replace(series, values=values)


def _codes(series: DailySeries, site: Site = HUPSEL) -> dict[str, str]:
    return {one.code: one.level for one in judge(series, site)}


@pytest.mark.parametrize("site", SITES)
def test_a_sound_series_is_believed_and_gives_back_its_clearness(site):
    series = _sound(site)
    kc = kc_series(series, site)
    findings = judge(series, site)
    assert findings == ()
    assert fit_for_averages(findings)
    assert fit_for_spells(findings)
    assert kc.kc == pytest.approx(made_years(site, Sun(), 12).kc, abs=1e-9)
    assert (kc.first, kc.basis) == (series.first, "measured")


def test_monthly_means_are_those_of_the_days_and_none_where_few_are_known():
    series = _sound(HUPSEL, 3)
    month = dates_of(series.first, series.values.size).astype("datetime64[M]").astype(int) % 12 + 1
    values = np.where((month == 5) | (month == 2), np.nan, series.values)
    for few, days in ((5, 20), (2, 19)):
        values[np.flatnonzero(month == few)[:days]] = series.values[month == few][:days]
    kc = kc_series(_with(series, values), HUPSEL)
    means = monthly_kc(kc)
    assert means[1] is None
    assert means[4] == pytest.approx(kc.kc[np.flatnonzero(month == 5)[:20]].mean())
    assert means[6] == pytest.approx(kc.kc[month == 7].mean())


@pytest.mark.parametrize(
    ("factor", "code"),
    # kWh/m2 taken for MJ/m2 and the other way round; J/cm2 for Wh/m2.
    [(3.6, "above_air"), (1 / 3.6, "too_dim"), (360 / 1000, "too_dim"), (1.3, "too_bright")],
)
def test_another_unit_or_another_plane_is_refused_for_every_use(factor, code):
    findings = judge(_with(series := _sound(HUPSEL), series.values * factor), HUPSEL)
    assert code in {one.code for one in findings if one.level == "stop"}
    assert not fit_for_averages(findings)
    assert not fit_for_spells(findings)


def test_a_few_days_above_the_air_are_left_out_and_the_rest_is_used():
    series = _sound(HUPSEL)
    values = series.values.copy()
    values[[100, 2000]] = 20.0
    assert _codes(_with(series, values)) == {"above_air": "check"}
    assert np.flatnonzero(np.isnan(kc_series(_with(series, values), HUPSEL).kc)).tolist() == [100, 2000]


def test_a_series_brighter_than_our_clear_day_is_scaled_to_its_own_and_says_so():
    series = _sound(HUPSEL)
    envelope = np.percentile(made_years(HUPSEL, Sun(), 12).kc, 95)
    values = series.values * (1.18 / envelope)
    kc = kc_series(_with(series, values), HUPSEL)
    assert _codes(_with(series, values)) == {"scaled": "note"}
    assert np.percentile(kc.kc, 95) == pytest.approx(1.1, abs=1e-3)
    assert kc.kc.max() <= 1.1
    assert "scaled by 0.93" in kc.title


def test_radiation_estimated_from_hours_of_sunshine_is_refused_for_spells_only():
    # Angström's line in its common form: 0.25 + 0.50 of the share of sunshine, over 0.75 of a clear day.
    series = _sound(HUPSEL)
    made = made_years(HUPSEL, Sun(), 12).kc
    sunshine = np.clip((made - 0.2) / 0.8, 0.0, 1.0)
    estimated = _with(series, (0.25 + 0.50 * sunshine) / 0.75 * series.values / made)
    findings = judge(estimated, HUPSEL)
    assert {one.code for one in findings if one.level == "stop"} == {"floor"}
    assert fit_for_averages(findings)
    assert not fit_for_spells(findings)


def test_dark_days_that_are_all_alike_are_refused_for_spells():
    series = _sound(HUPSEL)
    floored = np.maximum(series.values, 0.22 * _clear(series.first, series.values.size, HUPSEL))
    assert _codes(_with(series, floored)) == {"flat": "stop"}


def test_months_on_end_below_half_a_clear_day_are_refused_for_spells():
    series = _sound(HUPSEL)
    values = series.values.copy()
    values[400:470] *= 0.4 / np.maximum(0.4, kc_series(series, HUPSEL).kc[400:470])
    assert _codes(_with(series, values)) == {"endless": "stop"}


def test_a_typical_year_serves_averages_and_not_spells():
    series = dataclasses.replace(_sound(HUPSEL, 1), typical=True)
    findings = judge(series, HUPSEL)
    assert [(one.level, one.code) for one in findings] == [("stop", "typical_year")]
    assert fit_for_averages(findings)
    assert not fit_for_spells(findings)


@pytest.mark.parametrize(("years", "codes"), [(2, {"too_few_years": "stop"}), (5, {"few_years": "note"}), (11, {})])
def test_spells_need_years_and_what_is_said_agrees_with_what_is_given(years, codes):
    series = _sound(HUPSEL, years)
    assert _codes(series) == codes
    spells = own_spells(kc_series(series, HUPSEL), HUPSEL.latitude_deg)
    assert bool(spells) == ("too_few_years" not in codes)
    assert any(one.id.endswith("1in10") for one in spells) == (not codes)


def test_polar_night_is_not_counted_and_the_sentence_says_why():
    site = dataclasses.replace(HUPSEL, latitude_deg=69.0)
    series = _sound(site, 5)
    kc = kc_series(series, site)
    assert np.isnan(kc.kc).mean() > 0.1
    assert monthly_kc(kc)[11] is None
    stop = next(one for one in judge(series, site) if one.code == "too_few_years")
    assert "hardly rises" in stop.text


def test_a_series_of_the_other_half_of_the_earth_is_refused():
    assert _codes(_sound(SOUTH), HUPSEL)["wrong_season"] == "stop"
    half_a_year = dataclasses.replace(series := _sound(HUPSEL), first=series.first + timedelta(days=183))
    assert _codes(half_a_year)["wrong_season"] == "stop"


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "level"), [(52.5, 7.0, None), (54.0, 8.0, "check"), (40.4, -3.7, "stop")]
)
def test_a_place_far_away_is_said_and_a_place_very_far_away_refused(latitude_deg, longitude_deg, level):
    series = dataclasses.replace(_sound(HUPSEL), latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    assert _codes(series).get("far") == level


@pytest.mark.parametrize(
    ("quantity", "late_h", "level"),
    [
        ("radiation", 1.0, None),
        ("radiation", -2.0, "check"),
        ("radiation", 9.0, "stop"),
        ("yield", 2.5, None),
        ("yield", -3.5, "check"),
        ("yield", 12.0, "stop"),
    ],
)
def test_a_clock_that_is_off_is_told_by_the_middle_of_the_light(quantity, late_h, level):
    # Noon of the sun at 6.66 E in UTC + 1: 12 h - 6.66 / 15 h + 1 h = 12.556 h.
    series = dataclasses.replace(_sound(HUPSEL), quantity=quantity, noon_h=(12.556 + late_h) % 24.0)
    assert _codes(series).get("clock") == level


def test_a_sensor_that_hung_and_missing_days_are_said():
    series = _sound(HUPSEL)
    values = series.values.copy()
    values[500:507] = values[500]
    values[1000:2200] = np.nan
    assert {"stuck", "gaps"} <= _codes(_with(series, values)).keys()


def test_a_month_is_too_short_to_use():
    series = _sound(HUPSEL)
    findings = judge(_with(series, series.values[:20]), HUPSEL)
    assert "too_short" in {one.code for one in findings}
    assert not fit_for_averages(findings)


def test_yield_has_no_clearness():
    series = dataclasses.replace(_sound(HUPSEL), quantity="yield")
    with pytest.raises(InputError, match="what panels gave"):
        kc_series(series, HUPSEL)
    assert judge(series, HUPSEL) == ()


@pytest.mark.parametrize("site", SITES)
def test_gaps_filled_with_zeros_are_not_known_and_said(site):
    series = _sound(site)
    gaps = slice(2000, 2010)
    zeroed, unknown = (
        np.concatenate((series.values[:2000], [held] * 10, series.values[2010:])) for held in (0.0, np.nan)
    )
    clear = _clear(series.first, series.values.size, site)[gaps]
    lit = int((clear >= 0.05).sum())
    (found,) = (one for one in judge(_with(series, zeroed), site) if one.code == "zeros")
    assert found.level == "check"
    assert found.text.startswith(f"{lit} days have next to no light, first {series.first + timedelta(days=2000)}")
    expected = kc_series(_with(series, unknown), site).kc
    assert kc_series(_with(series, zeroed), site).kc == pytest.approx(expected, nan_ok=True)


def test_a_dark_day_of_a_file_of_few_digits_may_be_a_zero():
    series = _sound(HUPSEL)
    whole = np.round(series.values)
    winter = np.isin(dates_of(series.first, whole.size).astype("datetime64[M]").astype(int) % 12, (0, 11))
    assert (whole[winter] == 0.0).any()
    assert "zeros" not in _codes(_with(series, whole))


def test_nights_of_the_polar_winter_are_no_gaps():
    polar = dataclasses.replace(HUPSEL, latitude_deg=69.0)
    series = _sound(polar)
    clear = _clear(series.first, series.values.size, polar)
    assert (clear < 0.05).any()
    assert "zeros" not in _codes(_with(series, np.where(clear < 0.05, 0.0, series.values)), polar)


@pytest.mark.parametrize("site", [HUPSEL, SITES[2]])
@pytest.mark.parametrize(("factor", "told"), [(0.5, True), (0.8, False), (1.1, False), (4.0, True)])
def test_a_darkest_quarter_unlike_the_world_table_is_said_with_both_numbers(site, factor, told):
    series = _sound(site)
    month = dates_of(series.first, series.values.size).astype("datetime64[M]").astype(int) % 12 + 1
    clear = _clear(series.first, series.values.size, site)
    other = np.minimum(factor * series.values, clear)
    changed = _with(series, np.where(np.isin(month, quarter(site)), other, series.values))
    said = [one for one in judge(changed, site) if one.code == "unlike_table"]
    assert (said != []) is told
    own = quarter_kc(site, monthly_kc(kc_series(changed, site)))
    table = quarter_kc(site, local.monthly_kc(site))
    for one in said:
        assert (one.level, abs(own / table - 1.0) > 0.4) == ("check", True)
        assert f"it brings {own:.0%} of clear days; the world table says {table:.0%} here" in one.text


def test_the_darkest_quarter_is_lit_and_of_the_dark_half_of_the_year():
    assert [quarter(one) for one in (HUPSEL, SOUTH)] == [(11, 12, 1), (5, 6, 7)]
    polar = dataclasses.replace(HUPSEL, latitude_deg=75.0)
    assert quarter(polar) in {(2, 3, 4), (9, 10, 11), (8, 9, 10)}
    assert quarter_kc(HUPSEL, (None,) + (0.4,) * 11) is None
    assert quarter_kc(HUPSEL, (0.4,) * 12) == pytest.approx(0.4)
