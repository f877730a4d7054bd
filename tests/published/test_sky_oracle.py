"""Sun and dull days against pvlib and against the stations' own kWh.

The fixtures hold what pvlib gave (`tests/fixtures/make_pvlib_fixtures.py`); where the extra `oracle` is
installed the same is computed again. Limits are those of the design: sun within 0.3 degrees, dull days
within 3 %.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine.sky.climate import presets
from engine.sky.position import track
from engine.sky.site import Array, Site, Sun
from engine.sky.sun import clear_day_kwh_m2, light, on_plane_w_m2, yield_kwh

FIXTURES = Path(__file__).parents[1] / "fixtures"
ZONES = {-5.0: "Etc/GMT+5", -9.0: "Etc/GMT+9"}
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


@pytest.mark.parametrize("place", SUNS, ids=lambda place: f"{place['place']} {place['date']}")
def test_sun_is_within_0_3_degrees_of_the_nrel_algorithm(place: dict[str, Any]) -> None:
    assert degrees_apart(place).max() < 0.3


class TestTypicalYears:
    """TMY3 723170 Greensboro and 703165 Sand Point (NREL for the US Department of Energy), tilted south.

    In: the day's horizontal kWh/m2 alone. Reference: measured beam and diffuse hours with Perez's model.
    Dull: below 0.4 of Ineichen's clear day.
    """

    @staticmethod
    def ours(year: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
        """Radiation on the plane and DC yield of 1 kWp without losses, by day."""
        site = Site(
            latitude_deg=year["latitude_deg"],
            longitude_deg=year["longitude_deg"],
            time_zone=ZONES[year["utc_offset_h"]],
            climate="subtropical",
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
    def test_dull_days_on_the_plane_are_within_3_percent(self, year: dict[str, Any]) -> None:
        # Measured when written: Greensboro +1.4 % (32 days), Sand Point +2.7 % (128 days).
        dull = self.dull(year)
        plane, _ = self.ours(year)
        assert dull.sum() >= 30
        assert plane[dull].sum() == pytest.approx(np.array(year["plane_kwh_m2"])[dull].sum(), rel=0.03)

    @pytest.mark.parametrize("year", YEARS, ids=lambda year: year["place"])
    def test_dull_days_yield_is_within_3_percent(self, year: dict[str, Any]) -> None:
        # Ours starts at 10 W/kWp and knows no weather but kc; pvlib's cells are at the measured
        # air temperature. Measured when written: Greensboro -2.1 %, Sand Point -2.9 %.
        dull = self.dull(year)
        _, dc = self.ours(year)
        assert dc[dull].sum() == pytest.approx(np.array(year["dc_kwh_per_kwp"])[dull].sum(), rel=0.03)

    @pytest.mark.parametrize("year", YEARS, ids=lambda year: year["place"])
    def test_the_whole_year_errs_on_the_careful_side(self, year: dict[str, Any]) -> None:
        plane, dc = self.ours(year)
        assert plane.sum() < sum(year["plane_kwh_m2"])
        assert dc.sum() < sum(year["dc_kwh_per_kwp"])


@pytest.mark.parametrize("window", WINDOWS, ids=lambda window: window["preset"])
def test_a_preset_gives_its_stations_own_kwh(window: dict[str, Any]) -> None:
    # Sum of the station's daily radiation over the window (KNMI, CC0; Met Éireann, CC BY 4.0); 3 %.
    # The shipped kc were made from the same days: this holds the clear day to the one they were made with.
    preset = presets()[window["preset"]]
    site = Site(
        latitude_deg=window["latitude_deg"],
        longitude_deg=window["longitude_deg"],
        time_zone="UTC",
        climate=window["climate"],
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

    @pytest.mark.parametrize("number", [0, 1])
    def test_typical_year(self, number: int) -> None:
        pytest.importorskip("pvlib")
        from tests.fixtures import make_pvlib_fixtures as make

        fresh, kept = make.tilted_year(*make.YEARS[number]), YEARS[number]
        for name in ("ghi_kwh_m2", "clear_kwh_m2", "plane_kwh_m2", "dc_kwh_per_kwp"):
            assert fresh[name] == pytest.approx(kept[name], rel=0.005, abs=0.005)
