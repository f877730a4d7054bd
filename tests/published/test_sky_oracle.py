"""Sun and dull days against pvlib and against the stations' own kWh.

The fixtures hold what pvlib gave (`tests/fixtures/make_pvlib_fixtures.py`); where the extra `oracle` is
installed the same is computed again. Limits are those of the design: sun within 0.3 degrees, dull days within 2 %,
all days within 5 % below 55 degrees.
"""

from __future__ import annotations

import importlib.util
import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine.sky.climate import presets
from engine.sky.position import track
from engine.sky.site import Array, Site, Sun
from engine.sky.sun import clear_day_kwh_m2, light, month_of_day, on_plane_w_m2, yield_kwh

ROOT = Path(__file__).parents[2]
FIXTURES = ROOT / "tests" / "fixtures"
ZONES = {-5.0: "Etc/GMT+5", -9.0: "Etc/GMT+9", 0.0: "UTC"}
DAYS = np.arange(1, 366)


def fixture(name: str) -> dict[str, Any]:
    return json.loads((FIXTURES / name).read_text(encoding="utf-8"))


def degrees_apart(place: dict[str, Any]) -> np.ndarray:
    """Angle between our sun and pvlib's NREL algorithm [deg] at the steps of one fixture line."""
    zenith, azimuth = np.radians(place["zenith_deg"]), np.radians(place["azimuth_deg"])
    theirs = np.array([np.cos(zenith), np.sin(zenith) * np.cos(azimuth), np.sin(zenith) * np.sin(azimuth)])
    days = [place["doy"]]
    whole_day = track(place["latitude_deg"], place["longitude_deg"], place["utc_offset_h"], days)
    ours = np.array([part[0, place["steps"]] for part in whole_day])
    return np.degrees(np.arccos(np.clip((ours * theirs).sum(axis=0), -1.0, 1.0)))


SUNS = fixture("pvlib_sun.json")["places"]
YEARS = fixture("pvlib_tilt.json")["years"]
WINDOWS = fixture("station_windows.json")["windows"]
CLEARS = fixture("pvlib_clear.json")["places"]


def clear_months(place: dict[str, Any]) -> np.ndarray:
    """Our clear days of each month [kWh/m2], (12,), of one fixture line."""
    site = Site(latitude_deg=place["latitude_deg"], longitude_deg=place["longitude_deg"], time_zone="UTC")
    return np.bincount(month_of_day(DAYS), clear_day_kwh_m2(site, DAYS), minlength=13)[1:]


@pytest.mark.parametrize("place", SUNS, ids=lambda place: f"{place['place']} {place['date']}")
def test_sun_is_within_0_3_degrees_of_the_nrel_algorithm(place: dict[str, Any]) -> None:
    assert degrees_apart(place).max() < 0.3


class TestClearDay:
    """Ineichen and Perez in pvlib, with its turbidity map and its altitude of the place, sums of months.

    The eight places were chosen before anything was measured: 55 S to 65 N, sea and 1,700 m, clean and hazy air.
    """

    @pytest.mark.parametrize("place", CLEARS, ids=lambda place: place["place"])
    def test_a_months_clear_days_are_within_3_percent(self, place: dict[str, Any]) -> None:
        # Months whose noon sun stands above 10 degrees. Measured when written: worst month of each place 0.7 to 2.6 %.
        ours, theirs = clear_months(place), np.array(place["clear_kwh_m2"])
        known = np.array(place["noon_deg"]) > 10.0
        assert known.sum() >= 9
        assert ours[known] == pytest.approx(theirs[known], rel=0.03)

    def test_a_sun_that_hardly_rises_gives_hardly_anything(self) -> None:
        # Fairbanks in December, noon sun at 2 degrees: neither model holds there, both are near nothing.
        fairbanks = next(place for place in CLEARS if place["place"] == "Fairbanks")
        assert clear_months(fairbanks)[11] == pytest.approx(fairbanks["clear_kwh_m2"][11], abs=0.2 * 31)


class TestTypicalYears:
    """TMY3 723170 Greensboro and 703165 Sand Point (NREL for the US Department of Energy), and PVGIS at 45 N 8 E
    (European Union), tilted south.

    In: the day's horizontal kWh/m2 alone. Reference: the file's hours of beam and diffuse with Perez's model (its
    continuous form) and PVWatts DC. Dull: below 0.4 of Ineichen's clear day.
    """

    @staticmethod
    def ours(year: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
        """Radiation on the plane and DC yield of 1 kWp without losses, by day."""
        site = Site(
            latitude_deg=year["latitude_deg"],
            longitude_deg=year["longitude_deg"],
            time_zone=ZONES[year["utc_offset_h"]],
        )
        array = Array(id="a", name="a", kwp=1.0, tilt_deg=year["tilt_deg"], azimuth_deg=180.0)
        kc = np.array(year["ghi_kwh_m2"]) / clear_day_kwh_m2(site, DAYS)
        steps_w_m2 = on_plane_w_m2(light(site, kc, DAYS), year["tilt_deg"], 180.0)
        plane_kwh_m2 = steps_w_m2.mean(axis=1) * 24.0 / 1000.0
        return plane_kwh_m2, yield_kwh(site, Sun(arrays=(array,), system_losses=0.0), kc, DAYS)

    @staticmethod
    def dull(year: dict[str, Any]) -> np.ndarray:
        return np.array(year["ghi_kwh_m2"]) < 0.4 * np.array(year["clear_kwh_m2"])

    @pytest.mark.parametrize("year", YEARS, ids=lambda year: year["place"])
    def test_dull_days_are_within_2_percent(self, year: dict[str, Any]) -> None:
        # Measured when written, plane and DC: Greensboro +1.6 and +1.5 % (32 days), Sand Point +1.3 and +1.3 % (128),
        # Po valley -1.4 and -1.3 % (51). Air at 20 degC in both: its temperature is not modelled.
        dull = self.dull(year)
        plane, dc = self.ours(year)
        assert dull.sum() >= 30
        assert plane[dull].sum() == pytest.approx(np.array(year["plane_kwh_m2"])[dull].sum(), rel=0.02)
        assert dc[dull].sum() == pytest.approx(np.array(year["dc_20c_kwh_per_kwp"])[dull].sum(), rel=0.02)

    @pytest.mark.parametrize("year", YEARS, ids=lambda year: year["place"])
    def test_all_days_are_within_5_percent_below_55_degrees(self, year: dict[str, Any]) -> None:
        # Measured when written, plane and DC: Greensboro -0.4 and +0.2 %, Po valley -1.3 and -0.6 %. Sand Point at
        # 55.3 N: -5.8 and -4.6 %, its four darkest months -12 and -11 %; the page warns above 55 degrees.
        plane, dc = self.ours(year)
        off = plane.sum() / sum(year["plane_kwh_m2"]) - 1.0
        dc_off = dc.sum() / sum(year["dc_20c_kwh_per_kwp"]) - 1.0
        if year["latitude_deg"] < 55.0:
            assert abs(off) < 0.05
            assert abs(dc_off) < 0.05
        else:
            assert -0.10 < off < 0.0
            assert -0.10 < dc_off < 0.0

    @pytest.mark.parametrize("year", YEARS, ids=lambda year: year["place"])
    def test_dull_days_against_perezs_table_of_1990(self, year: dict[str, Any]) -> None:
        # Its steps from one kind of sky to the next move dull days by a percent. Measured when written: Greensboro
        # +0.3 %, Sand Point -0.4 %, Po valley -2.4 %; on the bright side no more than 2 %, on the careful side 3 %.
        dull = self.dull(year)
        plane, _ = self.ours(year)
        off = plane[dull].sum() / np.array(year["plane_1990_kwh_m2"])[dull].sum() - 1.0
        assert -0.03 < off < 0.02

    @pytest.mark.parametrize("year", YEARS, ids=lambda year: year["place"])
    def test_cold_cells_are_on_the_careful_side(self, year: dict[str, Any]) -> None:
        # With the file's own air temperature pvlib's cold winter cells give more. Measured when written, dull days:
        # Greensboro -1.8 %, Sand Point -4.1 %, Po valley -4.3 %.
        dull = self.dull(year)
        _, dc = self.ours(year)
        assert dc.sum() < sum(year["dc_kwh_per_kwp"])
        assert -0.08 < dc[dull].sum() / np.array(year["dc_kwh_per_kwp"])[dull].sum() - 1.0 < 0.0


@pytest.mark.parametrize("window", WINDOWS, ids=lambda window: window["preset"])
def test_a_preset_gives_its_stations_own_kwh(window: dict[str, Any]) -> None:
    # Sum of the station's daily radiation over the window (KNMI, CC0; Met Éireann, CC BY 4.0); 3 %.
    # The shipped kc were made from the same days: this holds the clear day to the one they were made with.
    preset = presets()[window["preset"]]
    site = Site(
        latitude_deg=window["latitude_deg"],
        longitude_deg=window["longitude_deg"],
        time_zone="UTC",
    )
    clear = clear_day_kwh_m2(site, window["first_doy"] + np.arange(preset.days))
    assert (np.array(preset.kc) * clear).sum() == pytest.approx(window["ghi_kwh_m2"], rel=0.03)


@pytest.mark.oracle
class TestPvlibHere:
    """The fixtures are what pvlib gives."""

    pytestmark = pytest.mark.filterwarnings("ignore:.*dayofyear is deprecated")

    def test_sun(self) -> None:
        pytest.importorskip("pvlib")
        from tests.fixtures import make_pvlib_fixtures as make

        for fresh, kept in zip(make.sun_places(), SUNS, strict=True):
            assert fresh["zenith_deg"] == pytest.approx(kept["zenith_deg"], abs=0.002)
            assert degrees_apart(fresh).max() < 0.3

    def test_clear_day(self) -> None:
        pytest.importorskip("pvlib")
        from tests.fixtures import make_pvlib_fixtures as make

        for fresh, kept in zip(make.clear_places(), CLEARS, strict=True):
            assert fresh["clear_kwh_m2"] == pytest.approx(kept["clear_kwh_m2"], rel=0.002, abs=0.02)
            known = np.array(fresh["noon_deg"]) > 10.0
            assert clear_months(fresh)[known] == pytest.approx(np.array(fresh["clear_kwh_m2"])[known], rel=0.03)

    @pytest.mark.parametrize("number", [0, 1, 2])
    def test_typical_year(self, number: int) -> None:
        pytest.importorskip("pvlib")
        from tests.fixtures import make_pvlib_fixtures as make

        more_data = os.environ.get("GREYSPELL_PVLIB_TEST_DATA", "")
        if number == 2 and not more_data:
            pytest.skip("the PVGIS year is in tests/data of pvlib's source package: GREYSPELL_PVLIB_TEST_DATA names it")
        fresh, kept = make.tilted_year(*make.YEARS[number], Path(more_data)), YEARS[number]
        for name in ("ghi_kwh_m2", "clear_kwh_m2", "plane_kwh_m2", "plane_1990_kwh_m2", "dc_kwh_per_kwp"):
            assert fresh[name] == pytest.approx(kept[name], rel=0.005, abs=0.005)


@pytest.mark.oracle
class TestMapsHere:
    """The shipped maps are what the build script makes of pvlib's and of gsee-climate-data."""

    @staticmethod
    def build() -> Any:
        for needed in ("pvlib", "gsee_climate_data"):
            pytest.importorskip(needed)
        spec = importlib.util.spec_from_file_location("build_world", ROOT / "data" / "build" / "build_world.py")
        assert spec is not None
        assert spec.loader is not None
        made = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(made)
        return made

    def test_months(self) -> None:
        fresh = np.loadtxt(self.build().clearness(), delimiter=",")
        kept = np.loadtxt(ROOT / "data" / "climate" / "world.csv", delimiter=",", comments=("#", "latitude"))
        assert fresh == pytest.approx(kept, abs=0.011)

    def test_air(self) -> None:
        fresh = self.build().clear_air()
        with np.load(ROOT / "data" / "climate" / "clear_air.npz") as kept:
            assert set(kept.files) == set(fresh)
            for name, values in fresh.items():
                assert np.abs(kept[name].astype(int) - values).max() <= 1
