"""Files of sunshine and of yield become days: each format, and what real files have wrong with them.

All files are made for the tests (`sky_files`), so that the days they should give are known beforehand. Where the extra
`oracle` is installed, pvlib's own readers of its own files are a second witness.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from engine.errors import InputError
from engine.sky.files.formats import Reading
from engine.sky.files.reading import guess, preview, read, with_choices
from engine.sky.series import DailySeries
from engine.text.meanings import EVER, INTERVAL, OF_DAY
from tests.engine.sky_files import day_sums, days_from, epw, hours, other_years, pvgis, table, tmy3

YEARS = (1988, 1996, 1980, 1994, 2001, 1981, 1989, 1990, 1986, 2003, 1988, 1990)
EXACT = {"abs": 1e-9}


def _read(content: bytes, utc_offset_h: float = 1.0) -> DailySeries:
    return read(content, guess(content), utc_offset_h)


def _codes(series: DailySeries) -> list[str]:
    return [one.code for one in series.findings]


def _asked(reading: Reading) -> list[str]:
    return [key for key, _ in reading.asked]


# The formats, whole


@pytest.mark.parametrize("make", [epw, tmy3])
def test_a_year_of_pieces_is_a_typical_year(make):
    stamps, w_m2 = hours(365)
    content = make(other_years(stamps, YEARS), w_m2)
    reading = guess(content)
    series = read(content, reading, 1.0)
    assert (reading.typical, reading.quantity, reading.asked) == (True, "radiation", ())
    assert (series.typical, series.latitude_deg, series.longitude_deg) == (True, 52.0, 5.0)
    assert (series.first, series.findings) == (date(2001, 1, 1), ())
    assert series.values == pytest.approx(day_sums(w_m2), **EXACT)
    assert series.noon_h == pytest.approx(12.0, abs=0.01)


def test_an_epw_of_one_real_year_with_a_leap_day_keeps_its_calendar():
    stamps, w_m2 = hours(366, date(2024, 1, 1))
    series = _read(epw(other_years(stamps, (2024,) * 12), w_m2))
    assert (series.typical, series.first, series.last) == (False, date(2024, 1, 1), date(2024, 12, 31))
    assert series.values == pytest.approx(day_sums(w_m2), **EXACT)


def test_an_epw_that_says_so_is_typical_though_its_years_are_one():
    stamps, w_m2 = hours(365)
    assert _read(epw(other_years(stamps, (2005,) * 12), w_m2, source="TMYx")).typical


def test_a_pvgis_typical_year_in_universal_time_comes_round_to_the_houses_days():
    # The house keeps UTC - 8: the first eight hours of the file are the last of its year.
    stamps, w_m2 = hours(365)
    universal = np.roll(_moved_years((stamps + 8).astype("datetime64[s]")), 8)
    content = pvgis(universal, {"G(h)": np.roll(w_m2, 8)}, ("month,year", "1,2018"), minute=0)
    series = _read(content, -8.0)
    assert (series.typical, series.values.size, series.findings) == (True, 365, ())
    assert series.values == pytest.approx(day_sums(w_m2), **EXACT)


def _moved_years(stamps: np.ndarray) -> np.ndarray:
    """The same hours, each month in the year of its place in YEARS."""
    parts = [one.astype(object) for one in stamps]
    return np.array([one.replace(year=YEARS[one.month - 1]) for one in parts], dtype="datetime64[s]")


def test_pvgis_radiation_in_parts_is_added_up_and_moved_to_the_houses_days():
    stamps, w_m2 = hours(30, date(2016, 2, 15))
    beam, diffuse = np.round(0.6 * w_m2), w_m2 - np.round(0.6 * w_m2)
    above = ("Radiation database:\tPVGIS-SARAH", "Slope: 0 deg. ", "Azimuth: 0 deg. ")
    parts = {"Gb(i)": beam, "Gd(i)": diffuse, "Gr(i)": 0.0 * beam, "H_sun": 0.0 * beam}
    series = _read(pvgis(stamps - 10, parts, above), 10.0)
    assert (series.first, series.latitude_deg, series.longitude_deg) == (date(2016, 2, 15), 45.0, 8.0)
    assert series.values == pytest.approx(day_sums(w_m2), **EXACT)
    assert series.values.size == 30  # 29 February among them


def test_pvgis_radiation_on_tilted_panels_is_refused_and_its_yield_taken_with_a_note():
    stamps, w_m2 = hours(10)
    with pytest.raises(InputError, match=r"tilted by 35°.*slope of 0"):
        guess(pvgis(stamps, {"G(i)": w_m2}, ("Slope: 35 deg. (optimum)",)))
    content = pvgis(stamps - 1, {"P": w_m2, "G(i)": w_m2}, ("Slope: 35 deg.",))
    series = _read(content)
    assert (series.quantity, _codes(series)) == ("yield", ["as_written"])
    assert series.values == pytest.approx(day_sums(w_m2), **EXACT)


# Tables


@pytest.mark.parametrize(
    ("unit", "written"),
    [
        # kWh/m2 to the unit: by definition (1 kWh = 3.6 MJ, 1 m2 = 10^4 cm2, a day has 24 h)
        ("kWh/m2", 1.0),
        ("Wh/m^2", 1000.0),
        ("MJ m-2", 3.6),
        ("J/cm2", 360.0),
        ("kJ/m²", 3600.0),
        ("W/m2", 1000.0 / 24.0),
    ],
)
def test_a_table_of_days_in_any_unit(unit, written):
    sums = day_sums(hours(40)[1])
    content = table(f"Day;Global radiation [{unit}]", days_from(date(2021, 1, 1), 40), sums * written)
    reading = guess(content)
    series = read(content, reading, 1.0)
    assert (reading.kind, reading.quantity, reading.doubts) == ("table", "radiation", ())
    assert (series.first, series.noon_h) == (date(2021, 1, 1), None)
    assert series.values == pytest.approx(sums)


@pytest.mark.parametrize(
    ("scale", "unit"), [(1.0, "kWh/m2"), (3.6, "MJ/m2"), (1000 / 24, "W/m2"), (360.0, "J/cm2"), (1000.0, "Wh/m2")]
)
def test_a_unit_that_is_not_written_is_told_by_size_and_asked(scale, unit):
    sums = np.random.default_rng(5).permutation(np.linspace(0.4, 8.0, 60))
    reading = guess(table("date;GHI", days_from(date(2021, 4, 1), 60), sums * scale))
    assert (reading.unit, _asked(reading)) == (unit, ["value"])


def test_a_log_of_kilowatt_hours_with_a_decimal_comma_and_days_first():
    kwh = [3.25, 0.4, 12.75, 8.0]
    dates = ["30.01.24", "31.01.24", "01.02.24", "02.02.24"]
    content = table(
        "Datum;Ertrag (kWh);Verbrauch (kWh)", dates, [str(one).replace(".", ",") for one in kwh], [1, 2, 3, 4]
    )
    series = _read(content)
    assert (series.quantity, series.first) == ("yield", date(2024, 1, 30))
    assert series.values.tolist() == kwh


@pytest.mark.parametrize(
    ("header", "dates", "unit"),
    [
        ("date,kWh", ["01/30/2024", "01/31/2024", "02/01/2024"], "m/d/y"),
        # Every part may be a day or a month: only by the second order each follows the day before.
        ("date,kWh", ["1/2/2024", "1/3/2024", "1/4/2024"], "m/d/y"),
        ("date,kWh", ["1/2/2024", "2/2/2024", "3/2/2024"], "d.m.y"),
        ("date,kWh", ["20240130", "20240131", "20240201"], "yyyymmdd"),
        ("date,kWh", ["30-jan-2024", "31-jan-2024", "01-feb-2024"], "d mon y"),
    ],
)
def test_the_spelling_of_dates_is_found(header, dates, unit):
    content = table(header, dates, [1.0, 2.0, 3.5], delimiter=",")
    reading = guess(content)
    assert (reading.columns["date"], reading.asked) == ((0, unit), ())
    assert read(content, reading, 0.0).values.tolist() == [1.0, 2.0, 3.5]


def test_an_order_of_dates_that_cannot_be_told_is_asked_and_can_be_set():
    content = table("date,kWh", ["03/04/2024"], [5.0], delimiter=",")
    reading = guess(content)
    assert "date" in _asked(reading)
    assert read(content, reading, 0.0).first == date(2024, 4, 3)
    other = with_choices(reading, columns=dict(reading.columns) | {"date": (0, "m/d/y")})
    assert "date" not in _asked(other)
    assert read(content, other, 0.0).first == date(2024, 3, 4)


@pytest.mark.parametrize(
    "rows",
    ["YEAR,DOY,{name}\n2024,59,3.6\n2024,60,7.2\n2024,61,-999\n2024,62,1.8\n", "YEAR,MO,DY,{name}\n"
     "2024,2,28,3.6\n2024,2,29,7.2\n2024,3,1,-999\n2024,3,2,1.8\n"],
)  # fmt: skip
def test_year_and_day_in_columns_apart_and_the_unit_in_the_preamble(rows):
    head = "-BEGIN HEADER-\nNASA/POWER daily\nLocation: Latitude  -34.5   Longitude 150.25\n"
    head += "ALLSKY_SFC_SW_DWN   All Sky (MJ/m^2/day)\n-END HEADER-\n"
    content = (head + rows.format(name="ALLSKY_SFC_SW_DWN")).encode()
    reading = guess(content)
    series = read(content, reading, 10.0)
    assert (reading.unit, series.latitude_deg, series.longitude_deg) == ("MJ/m2", -34.5, 150.25)
    assert series.first == date(2024, 2, 28)
    assert series.values == pytest.approx([1.0, 2.0, np.nan, 0.5], nan_ok=True)
    assert {"missing_codes", "missing_days", "as_written"} <= set(_codes(series))


def test_hours_with_their_own_offset_fall_into_the_houses_days():
    stamps, w_m2 = hours(20)
    written = [f"{stamp!s}:00:00+02:00" for stamp in stamps + 1]
    content = table("time,GHI [W/m2]", written, w_m2, delimiter=",")
    reading = guess(content)
    assert (reading.zone_written, reading.asked) == (True, ())
    assert read(content, reading, 1.0).values == pytest.approx(day_sums(w_m2), **EXACT)
    # Somebody says that the clock is the house's own: the offsets count no more, the light comes at 7:00.
    assert read(content, with_choices(reading, utc_offset_h=None), 1.0).noon_h == pytest.approx(13.0, abs=0.01)


def test_seconds_since_1970_are_universal_time():
    stamps, w_m2 = hours(20)
    seconds = (stamps - 3).astype("datetime64[s]").astype(np.int64)
    for scale in (1, 1000):
        reading = guess(content := table("timestamp;power [W]", seconds * scale, w_m2))
        assert (reading.columns["date"], reading.utc_offset_h, reading.asked) == ((0, "unix time"), 0.0, ())
        assert read(content, reading, 3.0).values == pytest.approx(day_sums(w_m2), **EXACT)


def test_the_clock_of_a_table_is_asked_for_and_can_be_set():
    stamps, w_m2 = hours(20)
    content = table("time,GHI [W/m2]", [f"{stamp}:00" for stamp in stamps - 9], w_m2, delimiter=",")
    reading = guess(content)
    assert _asked(reading) == ["utc_offset_h"]
    chosen = with_choices(reading, utc_offset_h=0.0)
    series = read(content, chosen, 9.0)
    assert chosen.asked == ()
    assert series.values == pytest.approx(day_sums(w_m2), **EXACT)
    assert series.noon_h == pytest.approx(12.0, abs=0.01)
    assert read(content, reading, 9.0).noon_h == pytest.approx(3.0, abs=0.01)


def test_date_and_clock_in_columns_apart():
    stamps, w_m2 = hours(5)
    dates, clocks = [str(s)[:10] for s in stamps], [f"{int(str(s)[11:13]) % 12 or 12}:00 {_half(s)}" for s in stamps]
    series = _read(table("date,time,W/m2 global", dates, clocks, w_m2, delimiter=","))
    assert series.values == pytest.approx(day_sums(w_m2), **EXACT)


def _half(stamp: np.datetime64) -> str:
    return "AM" if int(str(stamp)[11:13]) < 12 else "PM"


# Intervals and totals


def test_power_every_five_minutes_and_energy_every_five_minutes_come_to_the_same_days():
    stamps = np.datetime64("2024-06-01", "m") + 5 * np.arange(4 * 288)
    kw = np.maximum(0.0, np.sin((np.arange(4 * 288) % 288 - 72) * np.pi / 144)) * 3.0
    power = _read(table("time;PV power [kW]", stamps, kw))
    energy = _read(table("time;PV yield [Wh]", stamps, kw * 1000 / 12))
    # Half a sine of 12 hours: 2/pi of its peak on average.
    assert power.values == pytest.approx(np.full(4, 3.0 * 12.0 * 2.0 / np.pi), rel=1e-4)
    assert energy.values == pytest.approx(power.values)


@pytest.mark.parametrize("totals", [EVER, OF_DAY])
def test_running_totals_give_the_same_days_as_their_intervals(totals):
    stamps, w_m2 = hours(30)
    kwh = w_m2 / 1000.0
    rising = np.cumsum(kwh) if totals == EVER else np.cumsum(kwh.reshape(-1, 24), axis=1).ravel()
    when = [str(stamp).replace("T", " ") for stamp in (stamps + 1).astype("datetime64[m]") - 1]
    content = table("time;Yield kWh", when, rising + (250.0 if totals == EVER else 0.0))
    reading = guess(content)
    series = read(content, reading, 1.0)
    assert (reading.totals, _asked(reading)) == (totals, ["totals"])
    assert series.values == pytest.approx(day_sums(w_m2), abs=0.01)


def test_a_counter_of_the_day_that_is_set_back_late_counts_nothing_twice():
    # Yesterday's total stands until the panels wake at 6:00.
    stamps, w_m2 = hours(6)
    rising = np.cumsum((w_m2 / 1000.0).reshape(-1, 24), axis=1)
    rising[1:, :6] = rising[:-1, -1:]
    reading = with_choices(
        guess(content := table("time;Yield kWh", stamps.astype("datetime64[m]"), rising.ravel())), totals=OF_DAY
    )
    assert read(content, reading, 1.0).values == pytest.approx(day_sums(w_m2))


def test_a_counter_of_the_day_that_sleeps_at_night_begins_anew_each_morning():
    # A dark day ends at 0.2 kWh; the bright one after it is first seen at 0.5 kWh.
    times = [f"2024-05-0{day} {hour:02}:00" for day in (1, 2, 3) for hour in range(8, 19)]
    dark, bright = np.linspace(0.02, 0.2, 11), np.linspace(0.5, 6.0, 11)
    content = table("time;Yield kWh", times, np.concatenate((bright, dark, bright)))
    reading = with_choices(guess(content), totals=OF_DAY)
    assert read(content, reading, 1.0).values == pytest.approx([6.0, 0.2, 6.0])


def test_a_meter_read_once_a_day_gives_differences_and_loses_the_day_it_was_exchanged():
    meter = [100.0, 104.0, 104.5, 112.0, 3.0, 5.0, 9.0, 10.0, 11.0]
    content = table("day;Yield kWh", days_from(date(2024, 5, 1), 9), meter)
    reading = with_choices(guess(content), totals=EVER)
    series = read(content, reading, 1.0)
    assert series.first == date(2024, 5, 2)
    assert series.values == pytest.approx([4.0, 0.5, 7.5, np.nan, 2.0, 4.0, 1.0, 1.0], nan_ok=True)


def test_days_are_not_taken_for_a_meter():
    kwh = np.random.default_rng(3).uniform(1.0, 9.0, 40)
    assert guess(table("day;Yield kWh", days_from(date(2024, 5, 1), 40), kwh)).totals == INTERVAL


# What is wrong with files


def test_a_file_cut_short_reads_as_far_as_it_goes():
    stamps, w_m2 = hours(365)
    whole = tmy3(other_years(stamps, YEARS), w_m2)
    series = _read(whole[: len(whole) // 2])
    known = np.isfinite(series.values)
    assert 175 < known.sum() < 190
    assert series.values[known] == pytest.approx(day_sums(w_m2)[: known.sum()], **EXACT)


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (epw([], []), "EPW file is cut short"),
        (tmy3([], []), "TMY3 file is cut short"),
        (pvgis(np.array([], dtype="datetime64[h]"), {"G(h)": []}), "holds no|No row"),
        (b'{"outputs": {}}', "JSON"),
        (b"", "empty"),
        (b"hello\nworld\n", "no rows of numbers"),
        (table("month;kWh", ["2024-01-01", "2024-02-01", "2024-03-01"], [90, 120, 200]), "30 days apart.*Sun page"),
    ],
)
def test_what_cannot_be_read_is_refused_in_a_sentence(content, sentence):
    with pytest.raises(InputError, match=sentence):
        _read(content)


def test_codes_and_empty_cells_are_days_not_known():
    written = ["1.0", "-999", "", "nan", "2.0", "-9999", "9999", "3.0"]
    series = _read(table("day,radiation [kWh/m2]", days_from(date(2023, 3, 1), 8), written, delimiter=","))
    assert series.values == pytest.approx([1, np.nan, np.nan, np.nan, 2, np.nan, np.nan, 3], nan_ok=True)
    assert _codes(series) == ["missing_codes", "missing_days"]
    assert "3 values" in series.findings[0].text


def test_a_night_below_zero_is_nothing_and_far_below_zero_is_not_known():
    stamps, w_m2 = hours(10)
    sensor = np.where(w_m2 == 0, -3.0, w_m2)
    sensor[24 * 4 + 11 : 24 * 4 + 14] = -500.0
    series = _read(table("time;GHI [W/m2]", stamps.astype("datetime64[m]"), sensor))
    expected = day_sums(w_m2)
    expected[4] = np.nan
    assert series.values == pytest.approx(expected, nan_ok=True, **EXACT)
    assert "negative" in _codes(series)


def test_a_missing_day_stays_missing_and_the_others_stand_on_their_dates():
    dates = days_from(date(2024, 2, 26), 6)
    del dates[3]  # 29 February
    series = _read(table("day;kWh", dates, [1.0, 2.0, 3.0, 5.0, 6.0]))
    assert series.values == pytest.approx([1, 2, 3, np.nan, 5, 6], nan_ok=True)
    assert "first 2024-02-29" in series.findings[-1].text


def test_the_same_day_twice_is_taken_once_and_said():
    dates = days_from(date(2024, 2, 1), 4)
    same = _read(table("day;kWh", [*dates, dates[1]], [1.0, 2.0, 3.0, 4.0, 2.0]))
    other = _read(table("day;kWh", [*dates, dates[1]], [1.0, 2.0, 3.0, 4.0, 7.0]))
    assert same.values.tolist() == other.values.tolist() == [1.0, 2.0, 3.0, 4.0]
    assert [(one.level, one.code) for one in same.findings] == [("note", "disorder"), ("note", "duplicates")]
    assert [one.level for one in other.findings if one.code == "duplicates"] == ["check"]
    assert "2024-02-02" in other.findings[-1].text


def test_hours_whose_clock_was_not_found_are_refused_instead_of_thrown_away():
    stamps, w_m2 = hours(5)
    content = table("day;GHI [W/m2]", [str(stamp)[:10] for stamp in stamps], w_m2)
    with pytest.raises(InputError, match="which column is their clock"):
        _read(content)


def test_rows_without_a_date_are_counted_and_too_many_refused():
    dates = days_from(date(2024, 2, 1), 20)
    one_bad = table("day;kWh", [*dates[:9], "Sunday", *dates[10:]], np.arange(20.0))
    finding = next(one for one in _read(one_bad).findings if one.code == "unreadable_rows")
    assert "line 11" in finding.text
    reading = guess(one_bad)
    with pytest.raises(InputError, match="right order"):
        read(one_bad, with_choices(reading, columns=dict(reading.columns) | {"date": (0, "d.m.y")}), 1.0)


def test_hours_missing_in_the_dark_cost_no_day_and_in_the_light_they_do():
    stamps, w_m2 = hours(30)
    day, hour = np.arange(720) // 24, np.arange(720) % 24
    lit = (hour >= 6) & (hour < 18)
    drop = ~lit | ((day == 12) & (hour >= 10) & (hour < 14)) | ((day == 20) & (hour == 11))
    series = _read(table("time;GHI [W/m2]", stamps.astype("datetime64[m]")[~drop], w_m2[~drop]))
    expected = day_sums(w_m2)
    expected[12] = np.nan
    kept = np.delete(np.arange(30), 20)
    assert series.values[kept] == pytest.approx(expected[kept], nan_ok=True, **EXACT)
    # One hour missing is filled by the one before it.
    assert series.values[20] == pytest.approx(expected[20], rel=0.02)
    assert "partial_days" in _codes(series)


def test_a_day_that_the_file_begins_or_ends_in_is_not_taken_for_a_whole_one():
    stamps, w_m2 = hours(10)
    cut = slice(11, -11)
    series = _read(table("time;GHI [W/m2]", stamps.astype("datetime64[m]")[cut], w_m2[cut]))
    assert (series.first, series.values.size) == (date(2021, 1, 2), 8)
    assert series.values == pytest.approx(day_sums(w_m2)[1:-1], **EXACT)


def test_half_a_million_rows():
    minutes = 500_000
    stamps = np.datetime64("2020-01-01T00:00") + np.arange(minutes)
    kw = np.maximum(0.0, np.sin((np.arange(minutes) % 1440 - 360) * np.pi / 720))
    content = table("time;GHI [kW/m2]", stamps, np.round(kw, 4))
    series = _read(content)
    assert (series.first, series.last) == (date(2020, 1, 1), date(2020, 12, 12))
    assert series.values == pytest.approx(np.full(347, 24.0 / np.pi), rel=1e-4)


# Choices


@pytest.mark.parametrize(
    ("choice", "field"),
    [
        ({"columns": {"date": (0, "y-m-d"), "value": (7, "kWh")}}, "value"),
        ({"columns": {"date": (0, "y-m-d"), "value": (1, "Ah")}}, "value"),
        ({"columns": {"date": (1, "y-m-d"), "value": (1, "kWh")}}, "value"),
        ({"columns": {"colour": (1, "kWh")}}, "colour"),
        ({"totals": "weekly"}, "totals"),
        ({"columns": {"date": (0, "y-m-d"), "value": (1, "kW")}, "totals": EVER}, "totals"),
        ({"utc_offset_h": 15.0}, "utc_offset_h"),
        ({"decimal": "'"}, "decimal"),
    ],
)
def test_choices_that_cannot_be_are_refused_by_name(choice, field):
    reading = guess(table("day;kWh", days_from(date(2024, 1, 1), 3), [1, 2, 3]))
    with pytest.raises(InputError) as caught:
        with_choices(reading, **choice)
    assert caught.value.field == field


def test_a_file_without_a_header_asks_and_reads_as_chosen():
    content = table("2024-01-01;7;11", days_from(date(2024, 1, 2), 3), [8, 9, 10], [12, 13, 14])
    reading = guess(content)
    assert _asked(reading) == ["value"]
    with pytest.raises(InputError, match="no column yet"):
        read(content, reading, 1.0)
    chosen = with_choices(reading, columns={"date": (0, "y-m-d"), "value": (2, "kWh")})
    assert read(content, chosen, 1.0).values.tolist() == [11.0, 12.0, 13.0, 14.0]
    assert preview(content, chosen, 2) == (("2024-01-01", "7", "11"), ("2024-01-02", "8", "12"))


def test_a_decimal_sign_can_be_set():
    content = table("day;kWh", days_from(date(2024, 1, 1), 3), ["1,250", "2,500", "3,125"])
    reading = guess(content)
    assert "decimal" in _asked(reading)
    assert read(content, reading, 1.0).values.tolist() == [1.25, 2.5, 3.125]
    assert read(content, with_choices(reading, decimal="."), 1.0).values.tolist() == [1250.0, 2500.0, 3125.0]


# A second witness


@pytest.mark.oracle
@pytest.mark.parametrize(("name", "utc_offset_h"), [("703165TY.csv", -9.0), ("723170TYA.CSV", -5.0)])
def test_the_typical_years_of_pvlib_as_pvlib_reads_them(name, utc_offset_h):
    pvlib = pytest.importorskip("pvlib")
    path = Path(pvlib.__file__).parent / "data" / name
    theirs, about = pvlib.iotools.read_tmy3(path, coerce_year=2001, map_variables=True)
    hours_kwh = theirs["ghi"].to_numpy() / 1000.0
    series = _read(path.read_bytes(), utc_offset_h)
    assert (series.typical, series.findings) == (True, ())
    assert (series.latitude_deg, series.longitude_deg) == (about["latitude"], about["longitude"])
    assert series.values == pytest.approx(hours_kwh.reshape(365, 24).sum(axis=1), **EXACT)


# What a second reading found


@pytest.mark.parametrize("name", ["Power (W)", "Production (kWh)", "PV energy (kWh)", "P"])
def test_a_column_that_begins_with_p_is_no_pvgis_file(name):
    stamps, w_m2 = hours(40)
    told = [str(one).replace("T", " ") for one in stamps.astype("datetime64[m]")]
    reading = guess(table(f"time,{name}", told, w_m2, delimiter=","))
    assert (reading.kind, reading.quantity) == ("table", "yield")


def test_a_log_that_changes_its_step_gives_each_day_what_its_rows_say():
    # Ten days of hours, then ten of quarters of an hour; each day has 24 kWh, all rows alike.
    first = np.datetime64("2023-05-01T00:00") + np.arange(240) * np.timedelta64(60, "m")
    then = np.datetime64("2023-05-11T00:00") + np.arange(960) * np.timedelta64(15, "m")
    stamps = [str(one).replace("T", " ") for one in (*first, *then)]
    series = _read(table("time;PV yield (kWh)", stamps, [1.0] * 240 + [0.25] * 960))
    assert series.values == pytest.approx(np.full(20, 24.0))


def test_a_word_inside_a_word_makes_no_year_typical():
    stamps, w_m2 = hours(730, date(2021, 1, 1))
    times = [_parts(one) for one in stamps.astype("datetime64[s]")]
    series = _read(epw(times, w_m2, source="weather of the country, an army station"))
    assert (series.typical, series.values.size) == (False, 730)


def test_what_the_panels_gave_is_taken_and_not_what_the_bank_took():
    days = days_from(date(2023, 5, 1), 30)
    content = table("date;Charge (kWh);Discharge (kWh);PV (kWh)", days, [9.0] * 30, [8.0] * 30, [12.0] * 30)
    assert _read(content).values == pytest.approx(np.full(30, 12.0))


def test_watts_of_a_day_are_asked_about():
    reading = guess(table("date;PV power (W)", days_from(date(2023, 5, 1), 30), [500.0] * 30))
    assert "value" in _asked(reading)


# Rows that stand for a day each, and the clock they are stamped by


def _midnights(first: str, days: int, zone: str, late_s: int = 0) -> list[datetime]:
    """Local midnights of days in a row, some seconds late."""
    start = datetime.fromisoformat(first)
    return [(start + timedelta(days=n)).replace(tzinfo=ZoneInfo(zone)) + timedelta(seconds=late_s) for n in range(days)]


@pytest.mark.parametrize("late_s", [0, 20, -60])
@pytest.mark.parametrize(
    ("first", "days", "zone", "utc_offset_h"),
    [
        ("2023-01-01", 400, "Europe/Amsterdam", 1.0),
        ("2023-05-01", 90, "Europe/Amsterdam", 1.0),
        ("2023-10-20", 40, "Europe/London", 0.0),
        ("2023-01-01", 400, "America/New_York", -5.0),
    ],
)
def test_midnights_of_the_houses_clock_are_its_days_in_summer_too(first, days, zone, utc_offset_h, late_s):
    when = _midnights(first, days, zone, late_s)
    kwh = 1.0 + np.arange(days) % 7
    # A minute before midnight ends a day: the first of them is the day before.
    starts = date.fromisoformat(first) - timedelta(days=late_s < 0)
    written = table("time;PV yield (kWh)", [one.isoformat() for one in when], kwh)
    seconds = table("time;PV yield (kWh)", [int(one.timestamp()) for one in when], kwh)
    for content in (written, seconds):
        series = _read(content, utc_offset_h)
        assert (series.first, series.values.tolist()) == (starts, kwh.tolist())
        assert _codes(series) == []


@pytest.mark.parametrize("clock", ["20:00", "23:00", "23:30", "23:59", "00:00", "00:20"])
def test_days_stamped_by_the_houses_own_clock_stay_where_they_are(clock):
    dates = [f"{day} {clock}" for day in days_from(date(2023, 5, 1), 60)]
    series = _read(table("time;PV yield (kWh)", dates, np.arange(60) % 7))
    assert (series.first, series.values.size, _codes(series)) == (date(2023, 5, 1), 60, [])


def test_stamps_that_now_and_then_slip_over_midnight_end_their_day():
    slipped = [f"{day} 23:59:58" for day in days_from(date(2023, 5, 1), 40)]
    slipped[9], slipped[20] = "2023-05-11 00:00:03", "2023-05-22 00:00:01"
    series = _read(table("time;PV yield (kWh)", slipped, np.arange(40) % 7))
    assert (series.first, series.values.tolist()) == (date(2023, 5, 1), (np.arange(40) % 7).tolist())


def test_one_row_with_a_clock_moves_no_dates_to_another_clock():
    dates = days_from(date(2023, 5, 1), 30)
    dates[7] += " 12:00"
    content = table("date;Global radiation (kWh/m2)", dates, np.arange(30) % 7)
    series = read(content, with_choices(guess(content), utc_offset_h=0.0), -5.0)
    assert (series.first, series.values.tolist()) == (date(2023, 5, 1), (np.arange(30) % 7).tolist())


def test_two_rows_of_one_day_are_said_and_the_first_counts():
    dates = [f"{day} 20:00" for day in days_from(date(2023, 5, 1), 30)]
    dates.insert(4, "2023-05-04 21:30")
    series = _read(table("time;PV yield (kWh)", dates, [*range(1, 5), 99.0, *range(5, 31)]))
    assert series.values.tolist() == list(range(1, 31))
    (found,) = series.findings
    assert (found.level, found.code) == ("check", "duplicates")
    assert "first 2023-05-04" in found.text


# Columns that speak of something else


@pytest.mark.parametrize(
    "other",
    [
        "Specific yield (kWh/kWp)",
        "House load (kWh)",
        "Home energy (kWh)",
        "Discharging energy (kWh)",
        "EV (kWh)",
        "Netzbezug (kWh)",
        "Eigenverbrauch (kWh)",
        "Einspeisung (kWh)",
        "Geladen energie (kWh)",
    ],
)
def test_a_column_of_something_else_is_not_taken_for_the_panels(other):
    days = days_from(date(2023, 5, 1), 30)
    alone = guess(table(f"date;{other}", days, [9.0] * 30))
    assert ("value" in alone.columns, _asked(alone)) == (False, ["value"])
    for name in ("PV (kWh)", "Solar (kWh)", "Energy (kWh)", "PV 3 kWp roof (kWh)"):
        series = _read(table(f"date;{other};{name}", days, [9.0] * 30, [12.0] * 30))
        assert series.values == pytest.approx(np.full(30, 12.0))


def test_a_plain_name_goes_before_one_that_a_bank_may_have_too():
    days = days_from(date(2023, 5, 1), 30)
    reading = guess(table("date;Total energy (kWh);Solar (kWh)", days, [9.0] * 30, [12.0] * 30))
    assert (reading.columns["value"], reading.asked) == ((2, "kWh"), ())


# Steps that change, and years that are not what they are called


@pytest.mark.parametrize("unit", ["kWh", "W"])
@pytest.mark.parametrize("minutes", [(5, 60), (60, 5), (5, 10, 15, 20)])
def test_a_hole_is_filled_by_the_steps_near_it_not_by_those_of_the_whole_file(minutes, unit):
    # Ten days at each step, 1 kW all the time; each day lacks the rows of two hours at noon, if they are hours, or one.
    stamps, amounts = [], []
    for part, step in enumerate(minutes):
        of_part = np.datetime64("2023-05-01T00:00") + 14400 * part + np.arange(14400 // step) * step
        of_day = (of_part - of_part.astype("datetime64[D]")).astype(int)
        kept = of_part[(of_day < 720) | (of_day >= 720 + (120 if step == 60 else step))]
        stamps += [str(one).replace("T", " ") for one in kept]
        amounts += [1000.0 if unit == "W" else step / 60.0] * kept.size
    series = _read(table(f"time;PV ({unit})", stamps, amounts))
    assert series.values == pytest.approx(np.full(10 * len(minutes), 24.0))


@pytest.mark.parametrize(("years", "typical"), [((2005,) * 12, True), ((2020, 2021), False)])
def test_a_file_that_calls_itself_typical_is_so_for_one_year_only(years, typical):
    stamps, w_m2 = hours(365 if typical else 731, date(2021 if typical else 2020, 1, 1))
    times = other_years(stamps, years) if typical else [_parts(one) for one in stamps.astype("datetime64[s]")]
    series = _read(epw(times, w_m2, source="TMY"))
    assert (series.typical, series.values.size) == (typical, 365 if typical else 731)
    said = [one.level for one in series.findings if "calls itself a typical year" in one.text]
    assert said == ([] if typical else ["check"])


def _parts(stamp: np.datetime64) -> tuple[int, int, int, int]:
    when = stamp.astype(object)
    return when.year, when.month, when.day, when.hour


def test_a_clock_of_24_minutes_past_is_no_end_of_a_day() -> None:
    rows = "".join(f"2024-06-01 10:{minute:02}:00,{minute}\n" for minute in range(60))
    assert not guess(f"Time,GHI (W/m2)\n{rows}".encode()).ends
    assert guess(f"Time,GHI (W/m2)\n{rows}2024-06-01 24:00:00,0\n".encode()).ends
