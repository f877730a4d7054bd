"""A meter's file, made from a known truth, is read back to that truth."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.errors import InputError
from engine.meter.formats import DISCHARGING, OFFSET, STANDARD, WALL, Reading
from engine.meter.hours import by_hour, days_of
from engine.meter.log import MeterLog, joined
from engine.meter.names import meaning_of
from engine.meter.reading import guess, preview, read, read_head, read_in_steps, with_choices
from engine.text.finding import Finding
from engine.text.meanings import EVER, INTERVAL, OF_DAY

DUBLIN = ZoneInfo("Europe/Dublin")
BERLIN = ZoneInfo("Europe/Berlin")
HOUR_S = 3600.0


def at(*when: int) -> float:
    return datetime(*when, tzinfo=UTC).timestamp()  # type: ignore[misc,arg-type]


WINTER_S = at(2024, 1, 15)


def truth_w(utc_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Yield and load at each time [W]."""
    hour = utc_s / HOUR_S % 24.0
    sun = np.maximum(0.0, 3000.0 * np.sin(np.pi * (hour - 6.0) / 12.0))
    return sun, 350.0 + 250.0 * np.sin(2 * np.pi * hour / 5.0) ** 2


def stamps(begin_s: float, step_s: float, rows: int) -> np.ndarray:
    return begin_s + step_s * np.arange(rows)


def written(utc_s: np.ndarray, zone: tzinfo, form: str = "%Y-%m-%d %H:%M:%S") -> list[str]:
    return [datetime.fromtimestamp(float(one), tz=zone).strftime(form) for one in utc_s]


def csv(header: str, times: Sequence[str], *columns: np.ndarray, sep: str = ",", comma: bool = False) -> bytes:
    cells = [[f"{value:.6f}" if np.isfinite(value) else "" for value in column] for column in columns]
    if comma:
        cells = [[cell.replace(".", ",") for cell in column] for column in cells]
    return "\n".join([header, *(sep.join(row) for row in zip(times, *cells, strict=True))]).encode() + b"\n"


def kwh(log: MeterLog, key: str) -> float:
    return float(np.nansum(log.values[key] * log.step_s) / HOUR_S / 1000.0)


def codes(findings: Sequence[Finding]) -> set[str]:
    return {one.code for one in findings}


def asked(reading: Reading) -> set[str]:
    return {key for key, _ in reading.asked}


@pytest.mark.parametrize("step_s", [1.0, 60.0, 300.0, 3600.0])
def test_powers_of_any_step_give_their_energy(step_s: float) -> None:
    rows = int(min(4 * 86400 / step_s, 6000))
    utc_s = stamps(WINTER_S, step_s, rows)
    sun, load = truth_w(utc_s)
    content = csv("Time,PV power [W],Load [kW]", written(utc_s, DUBLIN), sun, load / 1000.0)
    log, findings = read(content, guess(content), DUBLIN)
    assert log.rows == rows
    assert np.array_equal(log.start_s, utc_s)
    assert (log.step_s == step_s).all()
    assert kwh(log, "yield_w") == pytest.approx(sun.sum() * step_s / 3.6e6, rel=1e-3)
    assert kwh(log, "load_w") == pytest.approx(load.sum() * step_s / 3.6e6, rel=1e-3)
    assert not findings


def test_semicolons_decimal_commas_and_german_names() -> None:
    utc_s = stamps(WINTER_S, 300.0, 600)
    sun, load = truth_w(utc_s)
    content = csv(
        "Zeit;Ertrag [Wh];Verbrauch [Wh];Batteriespannung [V];Ladezustand [%]",
        written(utc_s, BERLIN, "%d.%m.%Y %H:%M"),
        sun / 12.0,
        load / 12.0,
        np.full(600, 51.25),
        np.full(600, 81.5),
        sep=";",
        comma=True,
    )
    reading = guess(content)
    assert reading.totals == {"yield": INTERVAL, "load": INTERVAL}
    log, _ = read(content, reading, BERLIN)
    assert np.array_equal(log.start_s, utc_s)
    assert kwh(log, "yield_w") == pytest.approx(sun.sum() / 12e3, rel=1e-3)
    assert kwh(log, "load_w") == pytest.approx(load.sum() / 12e3, rel=1e-3)
    assert log.values["bank_v"][0] == 51.25
    assert log.values["charge"][0] == pytest.approx(0.815)
    assert len(preview(content, reading, 3)) == 3


def test_a_total_set_back_goes_on_from_its_new_reading() -> None:
    utc_s = stamps(WINTER_S, 300.0, 1500)
    wh = truth_w(utc_s)[1] / 12.0
    total = 4321.0 + np.concatenate(([0.0], np.cumsum(wh)[:-1])) / 1000.0
    total[700:] -= total[699]
    content = csv("Time,Load total [kWh]", written(utc_s, DUBLIN), total)
    reading = guess(content)
    assert reading.totals == {"load": EVER}
    assert "totals.load" in asked(reading)
    log, findings = read(content, reading, DUBLIN)
    assert "counter_reset" in codes(findings)
    assert log.values["load_w"][:-1] == pytest.approx(wh[:-1] * 12.0, abs=0.1)
    assert kwh(log, "load_w") == pytest.approx(wh[:-1].sum() / 1000.0, rel=1e-3)


def test_a_total_that_jumps_to_nothing_and_back_is_unknown_there() -> None:
    utc_s = stamps(WINTER_S, 300.0, 1000)
    wh = truth_w(utc_s)[1] / 12.0
    total = 1.5 + np.concatenate(([0.0], np.cumsum(wh)[:-1])) / 1000.0
    total[50] = 0.0
    content = csv("Time,Load total [kWh]", written(utc_s, DUBLIN), total)
    log, findings = read(content, guess(content), DUBLIN)
    assert {"counter_reset", "counter_jump"} <= codes(findings)
    assert kwh(log, "load_w") == pytest.approx((wh[:-1].sum() - wh[49:51].sum()) / 1000.0, rel=1e-3)
    assert np.isnan(log.values["load_w"][50])


def test_an_exchanged_meter_that_begins_high_is_unknown_for_one_row() -> None:
    utc_s = stamps(WINTER_S, 300.0, 1000)
    wh = truth_w(utc_s)[1] / 12.0
    total = 4321.0 + np.concatenate(([0.0], np.cumsum(wh)[:-1])) / 1000.0
    total[500:] -= 4000.0
    content = csv("Time,Load total [kWh]", written(utc_s, DUBLIN), total)
    log, findings = read(content, guess(content), DUBLIN)
    assert "but for 1 too large" in next(one.text for one in findings if one.code == "counter_reset")
    assert np.flatnonzero(np.isnan(log.values["load_w"])).tolist() == [499, 999]


def test_totals_of_the_day_begin_again_at_midnight() -> None:
    utc_s = stamps(WINTER_S, 300.0, 5 * 288)
    sun, load = truth_w(utc_s)
    today = [(np.cumsum(wh.reshape(5, 288), axis=1) - wh.reshape(5, 288)).ravel() / 12e3 for wh in (sun, load)]
    content = csv("Time,PV today [kWh],Load today [kWh]", written(utc_s, DUBLIN), *today)
    reading = guess(content)
    assert reading.totals == {"yield": OF_DAY, "load": OF_DAY}
    log, findings = read(content, reading, DUBLIN)
    assert kwh(log, "yield_w") == pytest.approx(sun[:-1].sum() / 12e3, rel=1e-3)
    lost = np.isnan(log.values["load_w"])
    assert np.flatnonzero(lost).tolist() == [287, 575, 863, 1151, 1439]
    assert kwh(log, "load_w") == pytest.approx(load[~lost].sum() / 12e3, rel=1e-3)
    assert "day_ends" in codes(findings)


def day_counter(zone: ZoneInfo, first: date, days: int, step_s: float, watts: np.ndarray) -> tuple[np.ndarray, ...]:
    """Times of some days, and a total that begins again at midnight on the wall [Wh]; watts by the hour there."""
    begin_s, end_s = (datetime.combine(first + timedelta(days=n), time(), tzinfo=zone).timestamp() for n in (0, days))
    utc_s = np.arange(begin_s, end_s, step_s)
    there = [datetime.fromtimestamp(one, tz=zone) for one in utc_s]
    total = np.zeros(utc_s.size)
    for n in range(1, utc_s.size):
        same = there[n].date() == there[n - 1].date()
        total[n] = total[n - 1] + watts[there[n - 1].hour] * step_s / HOUR_S if same else 0.0
    return utc_s, total


def rewritten(utc_s: np.ndarray, zone: ZoneInfo) -> dict[str, list[str]]:
    """The same times in every clock that a file may keep, by the name of the column."""
    return {
        "Time": written(utc_s, zone),
        "When": written(utc_s, UTC, "%Y-%m-%dT%H:%M:%SZ"),
        "Date": [datetime.fromtimestamp(one, tz=zone).isoformat() for one in utc_s],
        "Timestamp": [f"{one:.0f}" for one in utc_s],
        "Time (UTC)": written(utc_s, UTC),
    }


@pytest.mark.parametrize("step_s", [300.0, 3600.0])
@pytest.mark.parametrize("name", ["Europe/Berlin", "Australia/Brisbane", "America/Denver", "Asia/Kolkata"])
def test_totals_of_the_day_are_told_whichever_clock_the_file_keeps(name: str, step_s: float) -> None:
    zone, hour = ZoneInfo(name), np.arange(24)
    # In March clocks of two of these places are put on.
    for first in (date(2024, 6, 1), date(2024, 3, 5)):
        utc_s, sun = day_counter(zone, first, 28, step_s, np.where((hour >= 8) & (hour < 20), 1000.0, 0.0))
        load = day_counter(zone, first, 28, step_s, np.full(24, 400.0))[1]
        unread = []
        for head, times in rewritten(utc_s, zone).items():
            content = csv(f"{head},PV energy [kWh],Consumption today [kWh]", times, sun / 1e3, load / 1e3)
            reading = guess(content)
            assert reading.totals == {"yield": OF_DAY, "load": OF_DAY}, head
            assert {"totals.yield", "totals.load"} <= asked(reading)
            log, _ = read(content, reading, zone)
            # Twelve hours of 1 kW each day; the load but for the last row of each day, which no reading ends.
            assert kwh(log, "yield_w") == pytest.approx(28 * 12.0, rel=1e-6)
            unread.append(np.flatnonzero(np.isnan(log.values["load_w"])).tolist())
            assert np.nanmax(np.abs(log.values["load_w"] - 400.0)) < 1.0
        assert len(unread[0]) == 28
        assert unread == [unread[0]] * 5


def test_totals_of_the_day_are_told_in_a_file_of_years() -> None:
    days = 1200
    utc_s = stamps(WINTER_S, HOUR_S, days * 24)
    sun, load = (watts / 1e3 for watts in truth_w(utc_s))
    today = (np.cumsum(load.reshape(days, 24), axis=1) - load.reshape(days, 24)).ravel()
    for later_s, form in ((0.0, "%Y-%m-%d %H:%M"), (5 * HOUR_S, "%Y-%m-%dT%H:%M:%SZ")):
        reading = guess(csv("Time,PV [kWh],Load [kWh]", written(utc_s + later_s, UTC, form), sun, today))
        assert reading.totals == {"yield": INTERVAL, "load": OF_DAY}
        assert "totals.load" in asked(reading)


def test_what_falls_once_a_day_and_is_no_total_is_not_taken_for_one() -> None:
    utc_s = stamps(WINTER_S, 900.0, 20 * 96)
    hour = utc_s / HOUR_S % 24.0
    heater = np.where((hour >= 13.0) & (hour < 15.0), 0.5, 0.02)
    sun = truth_w(utc_s)[0] / 4e3
    times = written(utc_s, ZoneInfo("UTC"), "%Y-%m-%dT%H:%M:%SZ")
    until_full = np.where(hour < 12.0, sun, 0.0)
    head = "Time,PV [kWh],Load [kWh],Battery charged [kWh],Battery discharged [kWh]"
    content = csv(head, times, sun, heater, until_full, heater)
    assert set(guess(content).totals.values()) == {INTERVAL}
    # Three days of a counter that was set back once in the afternoon.
    total = np.cumsum(heater)[: 3 * 96]
    total[150:] -= total[149]
    content = csv("Time,Load [kWh]", times[: 3 * 96], total)
    assert guess(content).totals == {"load": EVER}


def test_a_name_that_says_total_where_the_numbers_do_not_is_asked_about() -> None:
    utc_s = stamps(WINTER_S, 900.0, 20 * 96)
    sun, load = (watts / 4e3 for watts in truth_w(utc_s))
    reading = guess(csv("Time,PV today [kWh],Load total [kWh]", written(utc_s, DUBLIN), sun, load))
    assert reading.totals == {"yield": INTERVAL, "load": INTERVAL}
    assert {"totals.yield", "totals.load"} <= asked(reading)
    dates = [f"2024-07-{day:02}" for day in range(1, 29)]
    assert "totals.yield" not in asked(guess(csv("Date,Daily PV [kWh]", dates, np.tile([10.0, 2.0], 14))))


@settings(max_examples=15, deadline=None)
@given(
    wh=st.lists(st.integers(1, 400), min_size=30, max_size=120),
    step_s=st.sampled_from([60.0, 300.0, 900.0, 3600.0]),
    first=st.integers(0, 100_000),
)
def test_counters_give_what_intervals_give(wh: list[int], step_s: float, first: int) -> None:
    utc_s = stamps(WINTER_S, step_s, len(wh) + 1)
    own = np.array([*wh, 0.0])
    total = first + np.concatenate(([0.0], np.cumsum(wh)))
    times = written(utc_s, DUBLIN)
    logs = []
    for column, counts in ((own, INTERVAL), (total, EVER)):
        content = csv("Time,Load [Wh]", times, column)
        logs.append(read(content, with_choices(guess(content), totals={"load": counts}), DUBLIN)[0])
    one, other = (log.values["load_w"][:-1] for log in logs)
    rose = np.isfinite(other)
    assert one[rose] == pytest.approx(other[rose], rel=1e-6)
    usual = np.percentile(wh, 95)
    assert rose.all() or np.array(wh)[~rose].min() > 20 * usual


def test_the_sign_is_told_from_the_yield_and_may_be_turned() -> None:
    utc_s = stamps(WINTER_S, 60.0, 3000)
    sun, load = truth_w(utc_s)
    content = csv(
        "Time,PV [W],Battery power [W],Battery current [A]", written(utc_s, DUBLIN), sun, load - sun, sun / 50
    )
    reading = guess(content)
    assert reading.signs == {"bank": DISCHARGING, "current": "charging"}
    log, _ = read(content, reading, DUBLIN)
    assert kwh(log, "bank_w") == pytest.approx((sun - load).sum() / 60e3, rel=1e-3)
    turned, _ = read(content, with_choices(reading, signs={"bank": "charging"}), DUBLIN)
    assert kwh(turned, "bank_w") == pytest.approx((load - sun).sum() / 60e3, rel=1e-3)


def test_the_sign_alone_is_asked_for() -> None:
    utc_s = stamps(WINTER_S, 60.0, 100)
    content = csv("Time,Battery power [W]", written(utc_s, DUBLIN), np.linspace(-100, 100, 100))
    reading = guess(content)
    assert {"signs.bank", "clock"} <= asked(reading)
    assert asked(with_choices(reading, signs={"bank": "charging"}, clock=WALL)) == set()


def test_into_and_out_of_the_bank_in_two_columns() -> None:
    utc_s = stamps(WINTER_S, 300.0, 600)
    sun, load = truth_w(utc_s)
    into, out = np.maximum(sun - load, 0.0), np.maximum(load - sun, 0.0)
    totals = [np.concatenate(([0.0], np.cumsum(one)[:-1])) / 12e3 for one in (into, out)]
    content = csv("Time,Battery charged [kWh],Battery discharged [kWh]", written(utc_s, DUBLIN), *totals)
    reading = guess(content)
    assert set(reading.totals.items()) == {("bank_in", EVER), ("bank_out", EVER)}
    log, _ = read(content, reading, DUBLIN)
    assert log.values["bank_w"][:-1] == pytest.approx((sun - load)[:-1], abs=0.1)
    with pytest.raises(InputError, match="Out of the bank"):
        read(content, with_choices(reading, columns={"date": reading.columns["date"], "bank_in": (1, "kWh")}), DUBLIN)


def test_amperes_and_ampere_hours_with_volts_give_watts() -> None:
    utc_s = stamps(WINTER_S, 300.0, 400)
    sun, load = truth_w(utc_s)
    volts = 50.0 + np.arange(400) / 200.0
    content = csv(
        "Time,PV current [A],Battery current [Ah],Battery [mV],Cell temperature (F)",
        written(utc_s, DUBLIN),
        sun / volts,
        (sun - load) / volts / 12.0,
        volts * 1000.0,
        np.full(400, 50.0),
    )
    reading = guess(content)
    assert {reading.columns[key][1] for key in ("yield", "current", "volts", "cell")} == {"A", "Ah", "mV", "°F"}
    log, _ = read(content, with_choices(reading, signs={"current": "charging"}), DUBLIN)
    assert log.values["yield_w"] == pytest.approx(sun, abs=0.01)
    assert log.values["bank_w"] == pytest.approx(sun - load, abs=0.01)
    assert log.values["cell_c"][0] == pytest.approx(10.0)
    with pytest.raises(InputError, match="volts of the bank"):
        read(content, with_choices(reading, columns={"date": reading.columns["date"], "yield": (1, "A")}), DUBLIN)


@pytest.mark.parametrize("step_s", [60.0, 300.0, 1800.0, 3600.0])
@pytest.mark.parametrize("newest_first", [False, True])
def test_the_doubled_hour_of_autumn_is_both_hours(step_s: float, newest_first: bool) -> None:
    utc_s = stamps(at(2024, 10, 26), step_s, int(3 * 86400 / step_s))
    sun, load = truth_w(utc_s)
    times = written(utc_s, DUBLIN)
    order = slice(None, None, -1 if newest_first else 1)
    content = csv("Time,PV [W],Load [W]", times[order], sun[order], load[order])
    log, findings = read(content, guess(content), DUBLIN)
    assert np.array_equal(log.start_s, utc_s)
    assert log.values["load_w"] == pytest.approx(load, abs=1e-5)
    assert codes(findings) == {"doubled_hour"}


def test_the_hour_left_out_in_spring_is_no_gap() -> None:
    utc_s = stamps(at(2024, 3, 30), 300.0, 2 * 288)
    content = csv("Time,Load [W]", written(utc_s, DUBLIN), truth_w(utc_s)[1])
    log, findings = read(content, guess(content), DUBLIN)
    assert np.array_equal(log.start_s, utc_s)
    assert not findings


def test_rows_in_the_hour_left_out_are_said_and_standard_time_reads_them() -> None:
    utc_s = stamps(at(2024, 3, 30), 300.0, 2 * 288)
    content = csv("Time,Load [W]", written(utc_s, ZoneInfo("UTC")), truth_w(utc_s)[1])
    reading = guess(content)
    assert "missing_hour" in codes(read(content, reading, DUBLIN)[1])
    log, findings = read(content, with_choices(reading, clock=STANDARD), DUBLIN)
    assert np.array_equal(log.start_s, utc_s)
    assert not findings
    moved, _ = read(content, with_choices(reading, clock=OFFSET, utc_offset_h=2.0), DUBLIN)
    assert np.array_equal(moved.start_s, utc_s - 7200.0)


def test_offsets_beside_the_dates_are_obeyed() -> None:
    utc_s = stamps(at(2024, 10, 26), 300.0, 3 * 288)
    content = csv("Time,Load [W]", written(utc_s, DUBLIN, "%Y-%m-%dT%H:%M:%S%z"), truth_w(utc_s)[1])
    reading = guess(content)
    assert reading.zone_written
    assert np.array_equal(read(content, reading, DUBLIN)[0].start_s, utc_s)


def test_gaps_are_unknown_and_said() -> None:
    utc_s = stamps(WINTER_S, 60.0, 3000)
    kept = np.r_[0:1000, 1240:3000]
    load = truth_w(utc_s)[1]
    total = np.concatenate(([0.0], np.cumsum(load)[:-1])) / 60e3
    content = csv("Time,Load [W],PV total [kWh]", written(utc_s[kept], DUBLIN), load[kept], total[kept])
    log, findings = read(content, guess(content), DUBLIN)
    assert codes(findings) == {"gaps"}
    assert log.step_s.max() == 60.0
    assert kwh(log, "load_w") == pytest.approx(load[kept].sum() / 60e3, rel=1e-3)
    assert kwh(log, "yield_w") == pytest.approx(load[np.r_[0:999, 1240:2999]].sum() / 60e3, rel=1e-3)
    assert np.isnan(by_hour(log, 0.0).values["load_w"]).sum() == 5 + 22


def test_a_power_lasts_over_one_missing_row_and_an_interval_does_not() -> None:
    utc_s = np.delete(stamps(WINTER_S, 300.0, 100), 50)
    times = written(utc_s, DUBLIN)
    power = csv("Time,Load [W]", times, np.full(99, 600.0))
    own = csv("Time,Load [Wh]", times, np.full(99, 50.0))
    assert read(power, guess(power), DUBLIN)[0].step_s.max() == 600.0
    log, findings = read(own, with_choices(guess(own), totals={"load": INTERVAL}), DUBLIN)
    assert log.step_s.max() == 300.0
    assert log.values["load_w"] == pytest.approx(600.0)
    assert codes(findings) == {"gaps"}


def test_disorder_repeats_unreadable_rows_and_spikes_are_said() -> None:
    utc_s = stamps(WINTER_S, 60.0, 500)
    load = truth_w(utc_s)[1]
    times = written(utc_s, DUBLIN)
    load_file = load.copy()
    load_file[20] = 5e6
    rows = [f"{time},{value:.4f}" for time, value in zip(times, load_file, strict=True)]
    rows = [*rows[:300], "lost,1.0", rows[100], *rows[310:], *rows[300:310]]
    content = "\n".join(["Time,Load [W]", *rows]).encode()
    log, findings = read(content, guess(content), DUBLIN)
    assert codes(findings) == {"unreadable_rows", "disorder", "duplicates", "spikes"}
    assert "line 302" in next(one.text for one in findings if one.code == "unreadable_rows")
    assert np.array_equal(log.start_s, utc_s)
    assert np.flatnonzero(np.isnan(log.values["load_w"])).tolist() == [20]


@pytest.mark.parametrize("ends", [False, True])
def test_an_overlapping_file_adds_only_its_new_rows(ends: bool) -> None:
    utc_s = stamps(WINTER_S, 300.0, 900)
    load = truth_w(utc_s)[1]
    total = 100.0 + np.concatenate(([0.0], np.cumsum(load)[:-1])) / 12e3
    logs = []
    for part in (slice(0, 600), slice(500, 900)):
        content = csv("Time,Load total [kWh],PV [W]", written(utc_s[part], DUBLIN), total[part], load[part])
        logs.append(read(content, with_choices(guess(content), ends=ends), DUBLIN)[0])
    whole, added = joined(*logs)
    assert np.array_equal(whole.start_s, utc_s - (300.0 if ends else 0.0))
    assert added == 300
    assert whole.rows == 900
    assert kwh(whole, "load_w") == pytest.approx(load[:-1].sum() / 12e3, rel=1e-3)
    assert kwh(whole, "yield_w") == pytest.approx(load.sum() / 12e3, rel=1e-3)


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("Solar yield (kWh)", "yield"),
        ("PV-Ertrag [kWh]", "yield"),
        ("Opbrengst zonnepanelen [kWh]", "yield"),
        ("AC Load (W)", "load"),
        ("Hausverbrauch [W]", "load"),
        ("DC load (W)", "load_dc"),
        ("Batterie Entladung [kWh]", "bank_out"),
        ("Batterie Ladung [kWh]", "bank_in"),
        ("Accu ontladen [kWh]", "bank_out"),
        ("Accustroom [A]", "current"),
        ("Accuspanning [V]", "volts"),
        ("SOC (%)", "charge"),
        ("Zelltemperatur [°C]", "cell"),
        ("Netzbezug [kWh]", "generator"),
        ("Generator (W)", "generator"),
        ("Price [ct]", ""),
        ("PV voltage [V]", ""),
    ],
)
def test_names(name: str, key: str) -> None:
    assert meaning_of(name) == key


def test_refusals_name_what_to_change() -> None:
    content = csv("Time,Load [W]", written(stamps(WINTER_S, 60.0, 50), DUBLIN), np.ones(50))
    reading = guess(content)
    date = reading.columns["date"]
    for choices, field in (
        ({"columns": {"date": date, "load": (7, "W")}}, "load"),
        ({"columns": {"date": date, "load": (1, "V")}}, "load"),
        ({"totals": {"load": EVER}}, "totals.load"),
        ({"signs": {"load": "charging"}}, "signs.load"),
        ({"clock": "sun"}, "clock"),
        ({"clock": OFFSET, "utc_offset_h": 20.0}, "utc_offset_h"),
    ):
        with pytest.raises(InputError) as fault:
            with_choices(reading, **choices)  # type: ignore[arg-type]
        assert fault.value.field == field
    with pytest.raises(InputError) as fault:
        read(content, with_choices(reading, columns={"date": date}), DUBLIN)
    assert fault.value.field == "yield"


def test_a_column_chosen_anew_is_guessed_by_its_numbers_and_asked_about() -> None:
    utc_s = stamps(WINTER_S, 300.0, 900)
    sun, load = truth_w(utc_s)
    total = 100.0 + np.concatenate(([0.0], np.cumsum(load)[:-1])) / 12e3
    content = csv("Time,PV [W],x1,x2", written(utc_s, DUBLIN), sun, total, load - sun)
    reading = guess(content)
    assert set(reading.columns) == {"date", "yield"}
    columns = reading.columns | {"load": (2, "kWh"), "bank": (3, "W")}
    chosen = with_choices(reading, columns=columns)
    assert (chosen.totals, chosen.signs) == ({"load": EVER}, {"bank": DISCHARGING})
    assert "totals.load" in asked(chosen)
    assert "totals.load" not in asked(with_choices(reading, columns=columns, totals={"load": EVER}))
    log, _ = read(content, chosen, DUBLIN)
    assert log.values["load_w"][:-1] == pytest.approx(load[:-1], abs=0.1)
    assert log.values["bank_w"] == pytest.approx(sun - load, abs=1e-5)


def test_rows_of_a_clock_that_was_never_set_are_left_out_and_said() -> None:
    utc_s = stamps(WINTER_S, 60.0, 100)
    times = [*written(stamps(0.0, 60.0, 5), DUBLIN), *written(utc_s, DUBLIN)]
    log, findings = read(content := csv("Time,Load [W]", times, np.full(105, 50.0)), guess(content), DUBLIN)
    assert codes(findings) == {"unset_clock"}
    assert "5 rows are dated before 1990" in findings[0].text
    assert np.array_equal(log.start_s, utc_s)
    content = csv("Time,Load [W]", times[:5], np.full(5, 50.0))
    with pytest.raises(InputError, match="before 1990") as fault:
        read(content, guess(content), DUBLIN)
    assert fault.value.field == "date"


def test_the_first_rows_are_read_as_all_of_them_are() -> None:
    utc_s = stamps(WINTER_S, 60.0, 3000)
    load = truth_w(utc_s)[1]
    for coding in ("utf-8", "utf-16", "cp1252"):
        content = (
            csv("Zeit (höher);Last [W]", written(utc_s, BERLIN), load, sep=";", comma=True).decode().encode(coding)
        )
        reading = guess(content)
        head, whole = read_head(content, reading, BERLIN), read(content, reading, BERLIN)[0]
        assert 100 < head.rows < 500
        assert np.array_equal(head.start_s, whole.start_s[: head.rows])
        assert np.array_equal(head.values["load_w"], whole.values["load_w"][: head.rows])


def test_a_long_file_says_how_far_it_is_read() -> None:
    utc_s = stamps(WINTER_S, 60.0, 130_000)
    clock = np.datetime_as_string((utc_s * 1e3).astype("datetime64[ms]"), unit="s")
    content = ("Time,Load [W]\n" + "".join(f"{when}Z,5\n" for when in clock)).encode()
    steps = list(read_in_steps(content, guess(content), DUBLIN))
    assert len(steps) > 5
    assert [step.rows for step in steps] == sorted(step.rows for step in steps)
    assert {step.of for step in steps} == {130_000}
    assert steps[-1].rows == 130_000


@pytest.mark.parametrize(("step_s", "late_s"), [(300.0, 3.0), (HOUR_S, 0.0), (900.0, 450.0)])
@pytest.mark.parametrize("swapped", [False, True])
def test_two_meters_that_write_at_other_times_keep_all_that_either_says(
    step_s: float, late_s: float, swapped: bool
) -> None:
    day = 86_400.0
    fine_s, coarse_s = stamps(WINTER_S, 300.0, 2 * 288), stamps(WINTER_S + late_s, step_s, round(2 * day / step_s))
    panels = MeterLog(start_s=fine_s, step_s=np.full(fine_s.size, 300.0), values={"yield_w": truth_w(fine_s)[0]})
    house = MeterLog(start_s=coarse_s, step_s=np.full(coarse_s.size, step_s), values={"load_w": truth_w(coarse_s)[1]})
    whole, added = joined(house, panels) if swapped else joined(panels, house)
    assert kwh(whole, "yield_w") == pytest.approx(kwh(panels, "yield_w"))
    assert kwh(whole, "load_w") == pytest.approx(kwh(house, "load_w"))
    assert (whole.start_s[1:] >= whole.start_s[:-1] + whole.step_s[:-1] - 1e-6).all()
    assert added == np.setdiff1d(fine_s if swapped else coarse_s, coarse_s if swapped else fine_s).size


def test_a_day_said_as_one_row_is_not_mixed_with_its_own_hours() -> None:
    days = MeterLog(
        start_s=stamps(WINTER_S, 86_400.0, 3), step_s=np.full(3, 86_400.0), values={"yield_w": np.full(3, 900.0)}
    )
    hours_s = stamps(WINTER_S, HOUR_S, 72)
    hours = MeterLog(start_s=hours_s, step_s=np.full(72, HOUR_S), values={"yield_w": truth_w(hours_s)[0]})
    assert kwh(joined(days, hours)[0], "yield_w") == pytest.approx(kwh(days, "yield_w"))
    assert kwh(joined(hours, days)[0], "yield_w") == pytest.approx(kwh(hours, "yield_w"))


def dated(first: int, *kwh: float, name: str = "PV") -> MeterLog:
    """A log of dates in June, as a file of them is read."""
    dates = [f"2024-06-{first + n:02}" for n in range(len(kwh))]
    content = csv(f"Date,{name} [kWh]", dates, np.array(kwh))
    return read(content, guess(content), DUBLIN)[0]


def test_a_day_half_over_as_a_file_was_saved_is_told_by_the_file_that_goes_on_past_it() -> None:
    half, on = dated(1, *[10.0] * 14, 2.3), dated(5, *[10.0] * 10, 8.0, *[9.0] * 13)
    true = [10.0] * 14 + [8.0] + [9.0] * 13
    for order, added in (((half, on), 13), ((on, half), 4)):
        whole, new = joined(*order)
        assert by_hour(whole, 0.0).daily_kwh("yield_w") == pytest.approx(true)
        assert new == added
    # A third file, where the log has hours of another meter in between: the day lies there in 24 pieces.
    hours_s = stamps(at(2024, 6, 1), HOUR_S, 20 * 24)
    house = MeterLog(start_s=hours_s, step_s=np.full(480, HOUR_S), values={"load_w": np.full(480, 500.0)})
    for before in (joined(half, house)[0], joined(house, half)[0]):
        days = by_hour(joined(before, on)[0], 0.0)
        assert days.daily_kwh("yield_w") == pytest.approx(true)
        assert days.daily_kwh("load_w")[:20] == pytest.approx([12.0] * 20)


def test_a_last_row_stands_where_the_later_file_does_not_know_it_better() -> None:
    before = dated(1, *[10.0] * 14, 8.0)
    for later in (dated(10, *[10.0] * 5, 2.3), dated(15, 2.3, 9.0, 9.0)):
        # Its last row may be half over, and its first may begin in the midst of the day.
        assert by_hour(joined(before, later)[0], 0.0).daily_kwh("yield_w")[14] == pytest.approx(8.0)


@pytest.mark.parametrize("step_s", [300.0, HOUR_S])
@pytest.mark.parametrize("ends", [False, True])
def test_a_row_half_over_as_a_file_was_saved_is_mended_and_a_counter_loses_nothing(step_s: float, ends: bool) -> None:
    utc_s = stamps(WINTER_S, step_s, 300)
    wh = truth_w(utc_s)[1] * step_s / HOUR_S
    total = 100.0 + np.concatenate(([0.0], np.cumsum(wh)[:-1])) / 1e3
    cut = wh / 1e3
    cut[199] *= 0.25
    logs = []
    for part, own in ((slice(0, 200), cut), (slice(100, 300), wh / 1e3)):
        content = csv("Time,Load total [kWh],PV [kWh]", written(utc_s[part], DUBLIN), total[part], own[part])
        logs.append(read(content, with_choices(guess(content), ends=ends), DUBLIN)[0])
    for order in (logs, logs[::-1]):
        whole, _ = joined(*order)
        # The file has six digits of a kWh in each of 300 rows.
        assert kwh(whole, "yield_w") == pytest.approx(wh.sum() / 1e3, abs=300 * 0.5e-6)
        assert kwh(whole, "load_w") == pytest.approx(total[-1] - total[0], abs=1e-6)


@pytest.mark.parametrize(("offset_h", "begins_h"), [(5.5, -5.5), (-9.0, 9.0), (12.75, -12.75)])
def test_the_days_of_a_log_are_those_of_the_house(offset_h: float, begins_h: float) -> None:
    # Two whole days from the house's own midnight on, which is at another hour of universal time.
    begin_s = at(2024, 3, 4) + begins_h * HOUR_S
    log = MeterLog(
        start_s=stamps(begin_s, HOUR_S, 48),
        step_s=np.full(48, HOUR_S),
        values={"load_w": np.repeat([1000.0, 500.0], 24)},
    )
    assert days_of(log, offset_h) == (date(2024, 3, 4), 2)
    assert by_hour(log, offset_h).daily_kwh("load_w").tolist() == [24.0, 12.0]


def test_a_file_of_which_nothing_can_be_believed_is_refused() -> None:
    times = written(stamps(WINTER_S, HOUR_S, 24), DUBLIN)
    content = csv("Time,Load [W]", times, np.full(24, -900.0))
    with pytest.raises(InputError, match=r"no row of it says anything.*24 values of load at the sockets beyond belief"):
        read(content, guess(content), DUBLIN)


def test_two_counters_in_turn_in_one_table_lose_nothing() -> None:
    times_s = stamps(WINTER_S, 300.0, 2 * 288)
    every = [np.cumsum(watts) / 12e3 for watts in truth_w(times_s)]
    sparse = [np.where(np.arange(times_s.size) % 2 == n, one, np.nan) for n, one in enumerate(every)]
    content = csv("Time,PV total [kWh],Load total [kWh]", written(times_s, DUBLIN), *sparse)
    log, _ = read(content, guess(content), DUBLIN)
    for key, one in zip(("yield_w", "load_w"), sparse, strict=True):
        assert kwh(log, key) == pytest.approx(np.nanmax(one) - np.nanmin(one), abs=1e-5)
        assert np.isfinite(by_hour(log, 0.0).values[key]).all()


def test_a_date_keeps_its_own_kwh_in_summer() -> None:
    dates = [f"2024-07-{day:02}" for day in range(1, 11)]
    content = csv("Date,PV [kWh]", dates, np.array([10.0, 2.0] * 5))
    days = by_hour(read(content, guess(content), DUBLIN)[0], 0.0)
    assert days.dates.astype(str).tolist() == dates
    assert days.daily_kwh("yield_w") == pytest.approx([10.0, 2.0] * 5)


def test_rows_a_moment_after_the_minute_begin_no_further_day() -> None:
    start_s = stamps(WINTER_S + 0.123, HOUR_S, 48)
    log = MeterLog(start_s=start_s, step_s=np.full(48, HOUR_S), values={"load_w": np.full(48, 500.0)})
    hours = by_hour(log, 0.0)
    assert hours.days == 2
    assert hours.daily_kwh("load_w") == pytest.approx([12.0, 12.0])
