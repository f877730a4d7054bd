"""Where the sun stands and what the panels make of it: exact cases, edges and refusals."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from engine.errors import InputError
from engine.quantities import mean_day_of_year
from engine.sky import climate as climates
from engine.sky.glance import month_yields
from engine.sky.irradiance import erbs_daily
from engine.sky.perez import perez_w_m2
from engine.sky.position import extraterrestrial_kwh_m2, orbit, sunset_hour_angle_deg, track
from engine.sky.site import SYSTEM_LOSSES_SHARE, Array, OwnSpell, Site, Sun
from engine.sky.sun import (
    array_hours,
    array_kwh,
    clear_day_kwh_m2,
    clear_day_scale,
    light,
    month_of_day,
    on_plane_w_m2,
    panels_w,
    passed_w,
    yield_kwh,
)

HERE = Site(latitude_deg=52.0, longitude_deg=5.0, time_zone="Europe/Amsterdam", climate="temperate_maritime")
ROOF = Array(id="roof", name="Roof", kwp=5.0, tilt_deg=35.0, azimuth_deg=180.0)
SHED = Array(id="shed", name="Shed", kwp=2.0, tilt_deg=10.0, azimuth_deg=270.0)


def place(latitude_deg: float, longitude_deg: float = 0.0, time_zone: str = "UTC") -> Site:
    return Site(
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        time_zone=time_zone,
        climate="temperate_maritime",
    )


class TestPosition:
    def test_orbit_at_the_turning_points_of_the_year(self) -> None:
        # Any almanac: declination 0 near 20.6 March, +-23.44 at the solstices; equation of time +16.4 min on
        # 3 November, -14.2 min on 11 February; the sun is nearest on about 3 January.
        assert np.degrees(orbit(172.5).declination_rad) == pytest.approx(23.44, abs=0.01)
        assert np.degrees(orbit(355.9).declination_rad) == pytest.approx(-23.44, abs=0.01)
        assert orbit(307.5).equation_of_time_h * 60.0 == pytest.approx(16.4, abs=0.1)
        assert orbit(42.5).equation_of_time_h * 60.0 == pytest.approx(-14.2, abs=0.1)
        assert np.argmax(orbit(np.arange(1, 366)).eccentricity) in (1, 2, 3)

    def test_the_sun_is_highest_at_solar_noon_by_the_local_clock(self) -> None:
        # 5 E in a zone of +1 h: solar noon at 12:40 less the equation of time (about 0 on 15 April).
        up, north, east = track(52.0, 5.0, 1.0, [105])
        noon = int(np.argmax(up[0]))
        assert noon / 3.0 == pytest.approx(12 + 2 / 3, abs=1 / 3)
        assert north[0, noon] < 0.0
        assert abs(east[0, noon]) < 0.1

    def test_day_366_and_the_days_after_a_year_go_on(self) -> None:
        for site in (HERE, place(-35.0, -70.0), place(45.0, -150.0)):
            kwh = clear_day_kwh_m2(site, [365, 366, 367, 1, 2])
            assert kwh[1] == pytest.approx(kwh[0], rel=0.03)
            assert kwh[1] == pytest.approx(kwh[3], rel=0.03)
            assert kwh[2] == pytest.approx(kwh[4], rel=0.03)

    def test_the_midnight_sun_and_the_polar_night(self) -> None:
        assert sunset_hour_angle_deg(80.0, 23.0) == pytest.approx(180.0)
        assert sunset_hour_angle_deg(80.0, -23.0) == pytest.approx(0.0, abs=1e-6)
        assert extraterrestrial_kwh_m2(80.0, -23.0, 1.0) == pytest.approx(0.0, abs=1e-6)
        # At the pole the sun's height is its declination all day: 24 h x 1.367 kW x sin 23 deg.
        assert extraterrestrial_kwh_m2(90.0, 23.0, 1.0) == pytest.approx(24 * 1.367 * np.sin(np.radians(23)))


class TestIrradiance:
    def test_a_flat_plane_gets_what_falls_on_the_level(self) -> None:
        sky = light(HERE, [0.2, 0.6, 1.0], [20, 110, 200])
        high = sky.up > np.sin(np.radians(5.0))
        flat = on_plane_w_m2(sky, 0.0, 77.0)
        assert flat[high] == pytest.approx(sky.global_w_m2[high])
        # Below five degrees the light round the sun is not made stronger any more (Perez): a little is missing.
        assert (flat[~high] <= sky.global_w_m2[~high] + 1e-3).all()
        assert flat.sum() == pytest.approx(sky.global_w_m2.sum(), rel=0.002)

    def test_an_overcast_plane_sees_its_part_of_the_sky_and_of_the_ground(self) -> None:
        # All diffuse and even: half of the sky and half of the ground for an upright plane.
        found = perez_w_m2(
            global_w_m2=np.array(100.0),
            diffuse_w_m2=np.array(100.0),
            around_sun=np.array(0.0),
            at_horizon=np.array(0.0),
            cos_zenith=np.array(0.5),
            cos_incidence=np.array(0.9),
            tilt_deg=90.0,
            albedo_share=0.2,
        )
        assert float(found) == pytest.approx(50.0 + 10.0)

    def test_daily_diffuse_share_runs_from_all_to_little_without_a_jump_in_winter(self) -> None:
        clearness = np.linspace(0.0, 1.0, 2001)
        for sunset in (60.0, 100.0):
            share = erbs_daily(clearness, sunset)
            assert share[0] == pytest.approx(1.0)
            assert share.min() > 0.14
            assert np.diff(share).max() < 0.001
        assert np.abs(np.diff(erbs_daily(clearness, 60.0))).max() < 0.003

    def test_the_day_keeps_its_energy(self) -> None:
        days = np.array([10, 100, 200, 366])
        kc = np.array([0.1, 0.5, 0.9, 1.1])
        level_kwh = light(HERE, kc, days).global_w_m2.mean(axis=1) * 24.0 / 1000.0
        assert level_kwh == pytest.approx(kc * clear_day_kwh_m2(HERE, days))

    def test_kc_is_taken_as_0_to_1_1(self) -> None:
        sky = light(HERE, [-0.5, 1.1, 3.0], [100, 100, 100])
        assert sky.global_w_m2[0].max() == 0.0
        assert sky.global_w_m2[2] == pytest.approx(sky.global_w_m2[1])


class TestPanels:
    def test_pvwatts_at_the_label_conditions(self) -> None:
        # 1000 W/m2 with the cells at 25 degC: the label, less the losses (air 25 - 1000/31.84 degC).
        found = panels_w(np.array([1000.0]), 3.0, 0.1, ambient_c=25.0 - 1000.0 / 31.84)
        assert found == pytest.approx([3000.0 * 0.9])

    def test_each_degree_costs_0_44_percent(self) -> None:
        cool, warm = (panels_w(np.array([500.0]), 1.0, 0.0, ambient_c=c)[0] for c in (10.0, 11.0))
        assert (cool - warm) / 500.0 == pytest.approx(0.0044)

    def test_nothing_below_10_w_per_kwp_and_all_from_11(self) -> None:
        found = passed_w(SHED, np.array([0.0, 19.0, 20.0, 21.0, 22.0, 500.0]))
        assert found == pytest.approx([0.0, 0.0, 0.0, 10.5, 22.0, 500.0])

    def test_the_losses_are_those_of_the_table_without_availability(self) -> None:
        kept = 0.98 * 0.97 * 0.98 * 0.98 * 0.995 * 0.985 * 0.99
        assert pytest.approx(1.0 - kept, abs=0.0005) == SYSTEM_LOSSES_SHARE

    def test_hours_are_local_standard_time_and_sum_to_the_day(self) -> None:
        watts = array_hours(HERE, Sun(arrays=(ROOF,)), [1.0, 0.3], [172, 173])["roof"]
        assert watts.shape == (48,)
        assert int(np.argmax(watts[:24])) == 12
        assert watts[[0, 1, 2, 22, 23]].max() == 0.0
        daily = yield_kwh(HERE, Sun(arrays=(ROOF,)), [1.0, 0.3], [172, 173])
        assert watts.reshape(2, 24).sum(axis=1) / 1000.0 == pytest.approx(daily)

    def test_south_of_the_equator_the_roof_faces_north_and_summer_is_in_january(self) -> None:
        site = place(-35.0, 149.0, "Australia/Sydney")
        facing = {a: yield_kwh(site, Sun(arrays=(array_to(a),)), [1.0] * 2, [15, 196]) for a in (0.0, 180.0)}
        assert facing[0.0][1] > 2.0 * facing[180.0][1]
        assert clear_day_kwh_m2(site, [15])[0] > 2.0 * clear_day_kwh_m2(site, [196])[0]

    def test_poles_and_polar_night_give_numbers(self) -> None:
        for latitude in (-90.0, -75.0, 75.0, 90.0):
            for doy in (1, 80, 172, 355, 366):
                watts = array_hours(place(latitude), Sun(arrays=(ROOF, SHED)), [0.0, 0.3, 1.1], doy + np.arange(3))
                assert all(np.isfinite(hours).all() and hours.min() >= 0.0 for hours in watts.values())
        assert array_hours(place(75.0), Sun(arrays=(ROOF,)), [1.0], [355])["roof"].sum() == 0.0
        assert array_hours(place(75.0), Sun(arrays=(ROOF,)), [1.0], [172])["roof"].sum() > 0.0

    def test_month_of_day(self) -> None:
        assert month_of_day([1, 31, 32, 59, 60, 334, 335, 365, 366, 367, 732]) == [
            1,
            1,
            2,
            2,
            3,
            11,
            12,
            12,
            12,
            1,
            1,
        ]


class TestOwnersClearDay:
    def test_it_scales_every_array_and_month(self) -> None:
        plain = Sun(arrays=(ROOF, SHED))
        owned = dataclasses.replace(plain, clear_day_kwh=30.0, clear_day_month=6)
        day = mean_day_of_year(6)
        hours = array_hours(HERE, owned, [1.0], [day])
        assert sum(watts.sum() for watts in hours.values()) / 1000.0 == pytest.approx(30.0)
        # Panels as strong by the same factor give the same: the charger's start is at watts, not at light.
        scale = clear_day_scale(HERE, owned, 1)
        stronger = [dataclasses.replace(one, kwp=one.kwp * scale, start_w=10.0 * one.kwp) for one in (ROOF, SHED)]
        bright = array_hours(HERE, Sun(arrays=tuple(stronger)), [0.9], [15])
        for name, hours in array_hours(HERE, owned, [0.9], [15]).items():
            running = hours > 150.0
            assert running.sum() >= 5
            assert hours[running] == pytest.approx(bright[name][running])

    def test_without_a_month_it_is_one_of_the_month_asked_for(self) -> None:
        owned = Sun(arrays=(ROOF,), clear_day_kwh=12.0)
        for month in (1, 7):
            watts = array_hours(HERE, owned, [1.0], [mean_day_of_year(month)])["roof"]
            assert watts.sum() / 1000.0 == pytest.approx(12.0)

    def test_no_panels_or_no_sun_cannot_have_one(self) -> None:
        with pytest.raises(InputError, match="get no sun at this place in June") as caught:
            clear_day_scale(HERE, Sun(clear_day_kwh=5.0, clear_day_month=6), 1)
        assert caught.value.field == "sun.clear_day_kwh"
        with pytest.raises(InputError, match="in December"):
            clear_day_scale(place(80.0), Sun(arrays=(ROOF,), clear_day_kwh=5.0, clear_day_month=12), 12)

    def test_without_a_month_it_tells_nothing_of_months_without_sun(self) -> None:
        tromso, owned = place(69.6), Sun(arrays=(ROOF,), clear_day_kwh=12.0)
        assert clear_day_scale(tromso, owned, 12) == 1.0
        months = month_yields(tromso, owned)
        assert (months[11].clear_kwh, months[5].clear_kwh) == (0.0, pytest.approx(12.0))


def test_covered_days_give_nothing_and_the_next_day_gives_all() -> None:
    covered = array_hours(HERE, Sun(arrays=(ROOF,), covered_days=2), [0.5] * 4, [40, 41, 42, 43])["roof"]
    free = array_hours(HERE, Sun(arrays=(ROOF,)), [0.5] * 4, [40, 41, 42, 43])["roof"]
    assert covered[:48].max() == 0.0
    assert covered[48:] == pytest.approx(free[48:])
    assert free[:48].max() > 0.0


class TestSite:
    @pytest.mark.parametrize(
        ("zone", "offset_h"),
        [
            ("Europe/Amsterdam", 1.0),
            ("Europe/Dublin", 0.0),
            ("America/St_Johns", -3.5),
            ("Australia/Sydney", 10.0),
            ("Asia/Kathmandu", 5.75),
            ("America/Santiago", -4.0),
            ("UTC", 0.0),
        ],
    )
    def test_standard_time_has_no_summer_time(self, zone: str, offset_h: float) -> None:
        assert place(10.0, 0.0, zone).utc_offset_h == offset_h

    @pytest.mark.parametrize("zone", ["Mars/Olympus", "", "../../etc/passwd"])
    def test_an_unknown_time_zone_is_refused_by_name(self, zone: str) -> None:
        with pytest.raises(InputError, match="is not known") as caught:
            place(10.0, 0.0, zone)
        assert caught.value.field == "time_zone"
        assert zone in caught.value.message

    def test_limits_are_told_with_the_field_and_unit(self) -> None:
        with pytest.raises(InputError, match="Latitude must be a number from -90 to 90 degrees; got 91"):
            place(91.0)
        with pytest.raises(InputError, match="Tilt must be"):
            dataclasses.replace(ROOF, tilt_deg=float("nan"))

    def test_an_unknown_climate_is_refused_with_those_there_are(self) -> None:
        with pytest.raises(InputError, match=r"“tundra” is not known; there is: .*monsoon"):
            dataclasses.replace(HERE, climate="tundra")
        with pytest.raises(InputError, match="“tundra” is not known"):
            climates.load("tundra")

    @pytest.mark.parametrize(
        ("kc", "sentence"),
        [
            ((0.5,) * 11, "Mean kc must be 12 numbers, January first; got 11"),
            ((0.5,) * 11 + (1.2,), "Mean kc in December must be a number from 0.01 to 1.1; got 1.2"),
            ((0.0,) + (0.5,) * 11, "Mean kc in January must be a number from 0.01 to 1.1; got 0"),
            ((float("nan"),) + (0.5,) * 11, "Mean kc in January must be a number"),
        ],
    )
    def test_monthly_kc_are_twelve_shares(self, kc: tuple[float, ...], sentence: str) -> None:
        with pytest.raises(InputError, match=sentence) as caught:
            Sun(monthly_kc=kc)
        assert caught.value.field == "monthly_kc"


def array_to(azimuth_deg: float) -> Array:
    return dataclasses.replace(ROOF, azimuth_deg=azimuth_deg)


class TestArrays:
    """Seasonal tilt, losses, start and limit of each array."""

    def test_the_winter_tilt_holds_in_the_darker_half_of_the_year(self) -> None:
        seasonal = dataclasses.replace(ROOF, winter_tilt_deg=65.0)
        steep = dataclasses.replace(ROOF, tilt_deg=65.0)
        days = [mean_day_of_year(month) for month in range(1, 13)]
        set_twice, low, high = (
            yield_kwh(HERE, Sun(arrays=(one,)), [0.8] * 12, days) for one in (seasonal, ROOF, steep)
        )
        winter = np.isin(np.arange(1, 13), [10, 11, 12, 1, 2, 3])
        assert set_twice == pytest.approx(np.where(winter, high, low))
        assert (set_twice >= low).all()

    def test_south_of_the_equator_winter_is_april_to_september(self) -> None:
        site = place(-35.0, 149.0, "Australia/Sydney")
        seasonal = dataclasses.replace(array_to(0.0), winter_tilt_deg=70.0)
        steep = dataclasses.replace(array_to(0.0), tilt_deg=70.0)
        june, january = mean_day_of_year(6), mean_day_of_year(1)
        found = yield_kwh(site, Sun(arrays=(seasonal,)), [1.0, 1.0], [june, january])
        assert found[0] == pytest.approx(yield_kwh(site, Sun(arrays=(steep,)), [1.0], [june])[0])
        assert found[1] == pytest.approx(yield_kwh(site, Sun(arrays=(array_to(0.0),)), [1.0], [january])[0])

    def test_losses_of_one_array_replace_those_of_all(self) -> None:
        shaded = dataclasses.replace(ROOF, losses=0.4, start_w=0.0)
        free = dataclasses.replace(SHED, start_w=0.0)
        kwh = array_kwh(HERE, Sun(arrays=(shaded, free), system_losses=0.1), [0.7], [150])
        none = array_kwh(
            HERE, Sun(arrays=(dataclasses.replace(shaded, losses=0.0), free), system_losses=0.0), [0.7], [150]
        )
        # 1 W/kWp of the start is a ramp, so a little is lost beside the losses.
        assert kwh["roof"] / none["roof"] == pytest.approx(0.6, rel=0.001)
        assert kwh["shed"] / none["shed"] == pytest.approx(0.9, rel=0.001)

    def test_a_charger_never_passes_more_than_its_limit_and_all_below_it(self) -> None:
        limited = dataclasses.replace(ROOF, charger_limit_w=2000.0)
        free_w = array_hours(HERE, Sun(arrays=(ROOF,)), [1.0], [172])["roof"]
        held_w = array_hours(HERE, Sun(arrays=(limited,)), [1.0], [172])["roof"]
        assert free_w.max() > 3000.0
        assert held_w.max() == pytest.approx(2000.0)
        low = free_w < 1500.0
        assert held_w[low] == pytest.approx(free_w[low])

    def test_clipping_costs_nothing_on_a_dull_day(self) -> None:
        limited = dataclasses.replace(ROOF, charger_limit_w=2000.0)
        for kc, month, loses in ((1.0, 6, True), (0.2, 12, False)):
            days = [mean_day_of_year(month)]
            free, held = (yield_kwh(HERE, Sun(arrays=(one,)), [kc], days)[0] for one in (ROOF, limited))
            assert (held < 0.8 * free) if loses else (held == pytest.approx(free))

    def test_a_higher_start_takes_the_ends_of_the_day_and_a_very_dull_day_whole(self) -> None:
        late = dataclasses.replace(ROOF, start_w=400.0)
        clear = [array_hours(HERE, Sun(arrays=(one,)), [1.0], [172])["roof"] for one in (ROOF, late)]
        assert clear[1].sum() < clear[0].sum()
        assert clear[1][12] == pytest.approx(clear[0][12])
        assert yield_kwh(HERE, Sun(arrays=(ROOF,)), [0.1], [344])[0] > 0.1
        assert yield_kwh(HERE, Sun(arrays=(late,)), [0.1], [344])[0] == 0.0

    def test_the_whole_is_the_sum_of_its_arrays(self) -> None:
        sun = Sun(
            arrays=(dataclasses.replace(ROOF, charger_limit_w=1500.0), SHED), clear_day_kwh=20.0, clear_day_month=6
        )
        kc, days = [0.2, 1.0, 0.6], [10, 172, 250]
        parts = array_kwh(HERE, sun, kc, days)
        assert yield_kwh(HERE, sun, kc, days) == pytest.approx(parts["roof"] + parts["shed"])

    def test_a_charger_that_starts_above_its_limit_is_refused(self) -> None:
        with pytest.raises(InputError, match="starts at 500 W and passes at most 400 W") as caught:
            dataclasses.replace(ROOF, start_w=500.0, charger_limit_w=400.0)
        assert caught.value.field == "start_w"


class TestClearDayWithChargers:
    LIMITED = dataclasses.replace(ROOF, charger_limit_w=3000.0)

    @pytest.mark.parametrize("kwh", [8.0, 20.0, 25.0])
    def test_the_typed_clear_day_comes_back_through_the_limit(self, kwh: float) -> None:
        sun = Sun(arrays=(self.LIMITED, SHED), clear_day_kwh=kwh, clear_day_month=6)
        assert yield_kwh(HERE, sun, [1.0], [mean_day_of_year(6)])[0] == pytest.approx(kwh)

    def test_a_day_cut_off_by_the_charger_makes_panels_no_stronger_than_its_kwh_show(self) -> None:
        # A tenth more kWh of a day that is cut off at noon may be half as much again of panels: too much for one day.
        free = yield_kwh(HERE, Sun(arrays=(self.LIMITED,)), [1.0], [mean_day_of_year(6)])[0]
        scales = [
            clear_day_scale(HERE, Sun(arrays=(self.LIMITED,), clear_day_kwh=share * free, clear_day_month=6), 6)
            for share in (1.1, 0.8)
        ]
        assert scales[0] == pytest.approx(1.1)
        assert scales[1] < 0.8

    def test_more_than_the_chargers_can_pass_is_refused_with_what_they_can(self) -> None:
        sun = Sun(arrays=(self.LIMITED,), clear_day_kwh=60.0, clear_day_month=6)
        with pytest.raises(InputError, match=r"solar chargers of these panels pass at most \d+(\.\d)? kWh") as caught:
            clear_day_scale(HERE, sun, 6)
        assert caught.value.field == "sun.clear_day_kwh"


class TestMonths:
    @pytest.mark.parametrize(
        ("kwh", "sentence"),
        [
            ((1.0,) * 13, "Panel energy must be 12 numbers"),
            ((-1.0,) + (None,) * 11, "Panel energy in January must be a number from 0 to 10,000,000 kWh; got -1"),
            ((None,) * 11 + (float("nan"),), "Panel energy in December must be a number"),
        ],
    )
    def test_monthly_kwh_are_twelve_or_empty(self, kwh: tuple[float | None, ...], sentence: str) -> None:
        with pytest.raises(InputError, match=sentence) as caught:
            Sun(monthly_kwh=kwh)
        assert caught.value.field == "monthly_kwh"

    def test_two_spells_of_one_name_and_a_spell_of_no_days_are_refused(self) -> None:
        spell = OwnSpell(
            id="own_3d_1in5", title="Three days", kc=(0.1, 0.2, 0.1), month=12, ended="2020-12-03", years=9
        )
        with pytest.raises(InputError, match="Two dull spells have the id “own_3d_1in5”"):
            Sun(spells=(spell, spell))
        for faulty in ({"kc": ()}, {"kc": (0.1, 1.4)}, {"month": 13}, {"title": ""}, {"after_kc": (float("nan"),)}):
            with pytest.raises(InputError):
                dataclasses.replace(spell, **faulty)
