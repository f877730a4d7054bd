"""Bench files of any make become logs, tables and lists of cells; what is in doubt is asked, what is wrong refused.

All files here are invented for the tests. Numbers that a file should give are written out beside it.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.bench.files import (
    KINDS,
    MEANINGS,
    Reading,
    guess,
    left_out,
    read_cells,
    read_log,
    read_table,
    with_choices,
)
from engine.bench.records import BenchLog, ChargeTable
from engine.errors import InputError


def _log(text: str) -> tuple[Reading, BenchLog]:
    reading = guess(text.encode())
    return reading, read_log(text.encode(), reading)


def _table(text: str, charge_a: float = 0.65, tail_a: float = 0.1) -> tuple[Reading, ChargeTable]:
    reading = guess(text.encode())
    return reading, read_table(text.encode(), reading, charge_a, tail_a)


def _ends(table: ChargeTable) -> list[tuple[float, float | None, float | None]]:
    return [(end.volts, end.no_hold_ah, end.hold_ah) for end in table.ends]


@pytest.mark.parametrize(
    "header",
    [
        "Time (s),Voltage (V),Current (mA)",
        "Time [s],Voltage [V],Current [mA]",
        "Time / s,Voltage / V,Current / mA",
        "time_s,voltage_V,current_mA",
        "Test Time / s,Voltage / V,Current / mA",
        "Zeit in s,Spannung in V,Strom in mA",
        "Prüfzeit (s),Zellspannung (V),Strom (mA)",
        "Elapsed s,Volts,Amps mA",
        "t/s,U/V,I/mA",
        "t [s],V,mA",
        '"Total Time, (Seconds)",Volt(V),Cur. current {mA}',
        "Laufzeit Sekunden,U [Volt],I [Milliampere]",
    ],
)
def test_columns_are_known_by_their_names_and_units(header):
    reading, log = _log(f"{header}\n0,3.60,650\n10,3.61,-650\n")
    assert reading.kind == "log"
    assert reading.columns == {"time": (0, "s"), "voltage": (1, "V"), "current": (2, "mA")}
    assert reading.doubts == ()
    assert log.time_s.tolist() == [0.0, 10.0]
    assert log.voltage_v.tolist() == [3.60, 3.61]
    assert log.current_a.tolist() == [0.65, -0.65]
    assert (log.ah, log.wh, log.step, log.temperature_c, log.findings) == (None, None, None, None, ())


def test_all_columns_of_a_log_whatever_their_order_and_size():
    _, log = _log(
        "Step Time (min);Mode;Test Time (min);Capacity (mAh);Energy (mWh);Current (A);Voltage (mV);Temp (°C)\n"
        "0;rest;0;0;0;0;2900,5;21,5\n0;charge;1;0;0;0,65;3000;21,5\n1;charge;2;10,8;32,4;0,65;3050;\n"
    )
    assert log.time_s.tolist() == [0.0, 60.0, 120.0]
    assert log.voltage_v.tolist() == pytest.approx([2.9005, 3.0, 3.05], rel=1e-15)
    assert log.current_a.tolist() == [0.0, 0.65, 0.65]
    assert log.ah is not None
    assert log.ah.tolist() == pytest.approx([0.0, 0.0, 0.0108], rel=1e-15)
    assert log.wh is not None
    assert log.wh.tolist() == pytest.approx([0.0, 0.0, 0.0324], rel=1e-15)
    assert log.step is not None
    assert log.step.tolist() == [0.0, 1.0, 1.0]
    assert log.temperature_c is not None
    np.testing.assert_array_equal(log.temperature_c, [21.5, 21.5, np.nan])


@pytest.mark.parametrize("name", ["Step Time [s]", "Schrittzeit [s]", "step_time_s", "StepTime (s)", "Cycle time / s"])
def test_the_time_of_a_step_is_not_the_time_of_the_test(name):
    reading = guess(f"{name},U [V],I [A]\n0,3.6,1\n1,3.6,1\n0,3.6,1\n".encode())
    assert "time" not in reading.columns
    assert reading.doubts == ("Which column is the time?",)


def test_open_battery_data_names_are_known():
    reading = guess(
        b"Test Time / s,Voltage / V,Current / A,Unix Time / s,Cycle Count / 1,Step Count / 1,"
        b"Ambient Temperature / degC,Step Index / 1\n0,3.6,0.5,1,1,1,25,1\n1,3.6,0.5,2,1,1,25,1\n"
    )
    found = {key: at for key, (at, _) in reading.columns.items() if key != "step"}
    assert found == {"time": 0, "voltage": 1, "current": 2, "temperature": 6}


@pytest.mark.parametrize(
    ("times", "seconds"),
    [
        (("00:00:00.0", "00:00:00.5", "00:01:01.25"), [0.0, 0.5, 61.25]),
        (("0:59:59", "1:00:00", "100:00:00"), [3599.0, 3600.0, 360_000.0]),
        (("0 23:59:59", "1 00:00:00", "2 01:00:00"), [86_399.0, 86_400.0, 176_400.0]),
        (("23:59:50", "23:59:59", "00:00:05"), [86_390.0, 86_399.0, 86_405.0]),
        (("2026-02-28 23:59:59", "2026-03-01 00:00:00", "2026-03-01T00:00:00.250"), [0.0, 1.0, 1.25]),
        (("28.02.2026 23:59:59", "01.03.2026 00:00:00", "01.03.2026 00:01:00"), [0.0, 1.0, 61.0]),
        (("28/02/2026 23:59", "01/03/2026 00:00", "01/03/2026 00:01"), [0.0, 60.0, 120.0]),
        (("02/28/2026 11:59:59 PM", "03/01/2026 12:00:00 AM", "03/01/2026 12:00:00 PM"), [0.0, 1.0, 43_201.0]),
    ],
)
def test_clocks_and_dates(times, seconds):
    rows = "".join(f"{time};3.6;0.5\n" for time in times)
    reading, log = _log(f"Time;Voltage [V];Current [A]\n{rows}")
    assert log.time_s.tolist() == pytest.approx(seconds, abs=1e-6)
    assert reading.doubts == ()


def test_a_date_beside_a_clock_belongs_to_it():
    reading, log = _log(
        "Date;Time;U [V];I [A]\n28.02.2026;23:59:00;3,6;0,5\n28.02.2026;23:59:30;3,6;0,5\n01.03.2026;00:00:00;3,6;0,5\n"
    )
    assert reading.columns["time"] == (1, "h:m:s")
    assert reading.doubts == ()
    assert log.time_s.tolist() == [0.0, 30.0, 60.0]


def test_day_and_month_that_cannot_be_told_apart_are_asked_and_may_be_changed():
    text = b"Time,Voltage [V],Current [A]\n02/03/2026 00:00:00,3.6,0.5\n03/03/2026 00:00:00,3.6,0.5\n"
    reading = guess(text)
    assert ["begin with the day" in doubt for doubt in reading.doubts] == [True]
    assert read_log(text, reading).time_s.tolist() == [0.0, 86_400.0]
    other = with_choices(reading, columns=reading.columns | {"time": (0, "date m/d/y")})
    # From 3 February to 3 March.
    assert read_log(text, other).time_s.tolist() == [0.0, 28 * 86_400.0]
    assert other.doubts == ()


@pytest.mark.parametrize(
    ("header", "rows", "units", "asked"),
    [
        ("Time,Voltage,Current", "0,3.6,0.65\n1,3.61,0.65", ("s", "V", "A"), 3),
        ("Time,Voltage,Current", "0,3600,650\n1,3610,650", ("s", "mV", "mA"), 3),
        ("Time [h],Voltage [V],Current", "0,3.6,-1300\n1,3.61,650", ("h", "V", "mA"), 1),
        ("Time [ms],U,I [A]", "0,48.1,20\n1,48.2,20", ("ms", "V", "A"), 1),
    ],
)
def test_a_missing_unit_is_guessed_by_size_and_always_asked(header, rows, units, asked):
    reading = guess(f"{header}\n{rows}\n".encode())
    assert tuple(reading.columns[key][1] for key in ("time", "voltage", "current")) == units
    assert len(reading.doubts) == asked
    assert all("has no unit" in doubt and doubt.endswith(".") for doubt in reading.doubts)


def test_a_capacity_without_a_unit_asks_in_plain_words():
    reading = guess(b"Cell,Capacity\nA,1310\nB,1290\n")
    assert reading.kind == "cells"
    assert reading.doubts == ("The column “Capacity” has no unit: Ah or mAh? It is read as mAh.",)


def test_a_unit_that_cannot_be_is_asked_about():
    assert guess(b"t [s],U [V],I [A]\n0,3600,1\n1,3610,1\n").doubts == (
        "“U [V]” goes up to 3,610 V: is that the right unit?",
    )


def test_two_columns_that_fit_alike_are_asked_about():
    reading = guess(b"Time [s],Voltage 1 [V],Voltage 2 [V],Current [A]\n0,3.6,3.7,1\n1,3.6,3.7,1\n")
    assert reading.columns["voltage"] == (1, "V")
    assert len(reading.doubts) == 1
    assert "“Voltage 1 [V]” and “Voltage 2 [V]” could each be the voltage" in reading.doubts[0]


def test_counters_that_count_one_way_each_are_not_used_unasked():
    reading = guess(b"t [s],U [V],I [A],Charge Ah,Discharge Ah\n0,3.6,1,0,0\n1,3.6,1,0.1,0\n")
    assert set(reading.columns) == {"time", "voltage", "current"}
    assert reading.doubts == ("“Charge Ah” and “Discharge Ah” could each be the capacity counter: none is used.",)


def test_percent_is_asked_about():
    reading = guess(b"V,no hold %,hold %\n2.4,6,9.5\n3.0,42.6,46.1\n")
    assert reading.kind == "table"
    assert all("percent, where Ah is needed" in doubt for doubt in reading.doubts)
    assert len(reading.doubts) == 2


@pytest.mark.parametrize(
    ("content", "kind", "columns"),
    [
        (b"A1 1310\nA2 1290\n", "cells", {"name": (0, ""), "ah": (1, "mAh")}),
        (b"1;1310\n2;1290\n3;1305", "cells", {"name": (0, ""), "ah": (1, "mAh")}),
        (b"2.4;79;125\n3.0;560;606\n", "table", {"volts": (0, "V"), "no_hold_ah": (1, "mAh"), "hold_ah": (2, "mAh")}),
        (b"| Cell | Ah |\n|---|---|\n| A | 1.3 |\n| B | 1.2 |\n", "cells", {"name": (1, ""), "ah": (2, "Ah")}),
    ],
)
def test_rows_pasted_without_names_or_with_rules(content, kind, columns):
    reading = guess(content)
    assert (reading.kind, reading.columns) == (kind, columns)


def test_a_file_without_a_header_is_guessed_by_its_numbers_and_asked():
    reading = guess(b"0,0.65,3.60\n10,0.65,3.61\n20,0.65,3.62\n")
    assert {key: at for key, (at, _) in reading.columns.items()} == {"time": 0, "voltage": 2, "current": 1}
    assert sum("The file names no columns" in doubt for doubt in reading.doubts) == 3


def test_a_current_written_the_other_way_is_turned_round_and_asked():
    text = "t [s],U [V],I [A]\n" + "".join(f"{n},{3 + n / 100},-0.5\n" for n in range(50))
    text += "".join(f"{50 + n},{3.5 - n / 100},0.5\n" for n in range(50))
    reading, log = _log(text)
    assert reading.current_sign == "flip"
    assert ["turned round" in doubt for doubt in reading.doubts] == [True]
    assert log.current_a[[0, 99]].tolist() == [0.5, -0.5]
    as_written = with_choices(reading, current_sign="as written")
    assert as_written.doubts == ()
    assert read_log(text.encode(), as_written).current_a[[0, 99]].tolist() == [-0.5, 0.5]


def test_a_discharge_alone_is_left_as_it_is_written():
    text = b"t [s],U [V],I [A]\n" + b"".join(b"%d,%.2f,0.5\n" % (n, 4 - n / 100) for n in range(50))
    assert guess(text).current_sign == "as written"


def _long_log(bad: dict[int, str]) -> bytes:
    """8,004 rows under one header line; row n stands on line n + 2."""
    rows = [bad.get(n, f"{n},3.6,0.5") for n in range(8004)]
    return "\n".join(["Time [s],Voltage [V],Current [A]", *rows, ""]).encode()


def test_rows_that_cannot_be_read_are_left_out_and_counted():
    content = _long_log({231 + 300 * n: "paused by hand,,," for n in range(12)})
    log = read_log(content, guess(content))
    assert len(log.time_s) == 8004 - 12
    assert [finding.code for finding in log.findings] == ["unreadable_rows"]
    assert log.findings[0].text == "12 of 8,004 rows could not be read and were left out, the first at line 233."
    one = _long_log({231: "231,nan,0.5"})
    assert left_out(one, guess(one))[0].text == "1 of 8,004 rows could not be read and was left out: line 233."


def test_absurd_and_endless_numbers_are_no_numbers():
    content = _long_log({5: "5,1e300,0.5", 6: "6,3.6,inf", 7: "1e300,3.6,0.5", 8: "8,3.6,-1e9"})
    log = read_log(content, guess(content))
    assert len(log.time_s) == 8000
    assert log.findings[0].text.startswith("4 of 8,004 rows")


def test_a_file_of_which_a_fifth_cannot_be_read_is_refused_with_its_line():
    fifth = _long_log({n: f"{n},broken,0.5" for n in range(100, 1700)})
    assert len(read_log(fifth, guess(fifth)).time_s) == 8004 - 1600
    more = _long_log({n: f"{n},broken,0.5" for n in range(100, 1701)})
    with pytest.raises(InputError, match=r"1,601 of 8,004 rows .*“Voltage \[V\]” .* line 102\.") as refusal:
        read_log(more, guess(more))
    assert refusal.value.field == "voltage"


def test_a_temperature_that_is_missing_leaves_its_row():
    _, log = _log("t [s],U [V],I [A],T1 [degC]\n0,3.6,1,--\n1,3.6,1,21\n2,3.6,1,9999\n")
    assert log.temperature_c is not None
    np.testing.assert_array_equal(log.temperature_c, [np.nan, 21.0, np.nan])


def test_a_wide_table():
    reading, table = _table("Charge end / V;no hold / mAh;hold / mAh\n3,0;560;606\n3,8;1212;1245\n3,6;1052;\n")
    assert (reading.kind, reading.doubts) == ("table", ())
    assert _ends(table) == [(3.0, 0.56, 0.606), (3.6, 1.052, None), (3.8, 1.212, 1.245)]
    assert (table.charge_a, table.tail_a, table.findings) == (0.65, 0.1, ())


@pytest.mark.parametrize(
    "header",
    [
        "Voltage [V],Capacity without hold [Ah],Capacity with hold [Ah]",
        "Ladeschlussspannung (V),Kapazität ohne Halten (Ah),Kapazität mit Halten (Ah)",
        "charge_voltage_V,q_nohold_Ah,q_hold_Ah",
        "U/V,CC [Ah],CC-CV [Ah]",
        "U [V],ohne [Ah],mit [Ah]",
        "V,without Ah,with Ah",
        "Volts,Capacity without (Ah),Capacity with (Ah)",
    ],
)
def test_names_of_a_wide_table(header):
    reading, table = _table(f"{header}\n3.0,0.56,0.606\n3.8,1.212,1.245\n")
    assert reading.kind == "table"
    assert reading.doubts == ()
    assert _ends(table) == [(3.0, 0.56, 0.606), (3.8, 1.212, 1.245)]


def test_mit_and_ohne_alone_say_held_or_not():
    reading, table = _table("U [V];ohne [mAh];mit [mAh]\n3,0;560;606\n3,8;1212;1245\n")
    assert (reading.kind, reading.doubts) == ("table", ())
    assert _ends(table) == [(3.0, 0.56, 0.606), (3.8, 1.212, 1.245)]


@pytest.mark.parametrize(
    ("header", "key", "doubt"),
    [
        (
            "V,Capacity [mAh],hold [mAh]",
            "no_hold_ah",
            "“Capacity [mAh]” is a capacity and is not used: is it one without",
        ),
        (
            "V,no hold [mAh],second run [mAh]",
            "hold_ah",
            "“second run [mAh]” is a capacity and is not used: is it one with",
        ),
    ],
)
def test_a_capacity_that_is_not_used_is_asked_about(header, key, doubt):
    reading = guess(f"{header}\n3.0,560,606\n3.8,1212,1245\n".encode())
    assert reading.asked == ((key, f"{doubt} a hold?"),)
    assert with_choices(reading, columns=reading.columns | {key: (1 if key == "no_hold_ah" else 2, "mAh")}).asked == ()


def test_a_third_capacity_is_asked_about():
    reading = guess(b"V,no hold [mAh],hold [mAh],last year [mAh]\n3.0,560,606,610\n3.8,1212,1245,1300\n")
    assert reading.asked == (("hold_ah", "“last year [mAh]” is a capacity and is not used: is it one with a hold?"),)


def test_a_long_table_tells_a_hold_by_its_cut_off_current():
    reading, table = _table(
        "Charge voltage (V)\tCut-off current (mA)\tCapacity (mAh)\n"
        "3.0\t650\t560\n3.0\t100\t606\n3.8\t640\t1212\n3.8\t100\t1245\n"
    )
    assert reading.kind == "table"
    assert _ends(table) == [(3.0, 0.56, 0.606), (3.8, 1.212, 1.245)]
    assert table.findings == ()


def test_a_hold_to_another_current_is_said():
    _, table = _table("Voltage (V),Cut-off current (A),Capacity (Ah)\n3.0,0.65,0.6\n3.4,0.05,0.9\n")
    assert [finding.code for finding in table.findings] == ["other_tail"]
    assert table.findings[0].text == "Line 3 was held to another current than 0.1 A, and used as if held to it."


def test_holds_to_several_currents_are_refused_not_mixed():
    with pytest.raises(InputError, match=r"at 0\.65 A were held to different currents, 0\.1 A and 0\.05 A") as refusal:
        _table("Voltage (V),Cut-off current (A),Capacity (Ah)\n3.0,0.65,0.56\n3.0,0.1,0.6\n3.4,0.05,0.9\n")
    assert refusal.value.field == "cut_off_a"
    _, near = _table("Voltage (V),Cut-off current (A),Capacity (Ah)\n3.0,0.1,0.6\n3.4,0.096,0.9\n")
    assert _ends(near) == [(3.0, None, 0.6), (3.4, None, 0.9)]


def test_rows_of_the_same_volts_that_are_unlike_are_refused_not_averaged():
    with pytest.raises(
        InputError, match=r"^Rows at 3 V give 0\.56 Ah and 0\.606 Ah: were some of the charges held\?"
    ) as one:
        _table("Volts,mAh\n3.0,560\n3.0,606\n3.8,1212\n3.8,1245\n")
    assert one.value.field == "cut_off_a"
    assert "the current that ended each charge" in one.value.message
    with pytest.raises(InputError, match=r"^Rows at 3\.8 V give 1\.245 Ah and 1\.3 Ah: were some") as wide:
        _table("Volts,no hold Ah,hold Ah\n3.0,0.56,0.606\n3.8,1.212,1.245\n3.8,1.212,1.3\n")
    assert wide.value.field == "hold_ah"
    with pytest.raises(
        InputError, match=r"^Rows at 3 V give 0\.5 Ah and 0\.56 Ah, though .* charges ended alike"
    ) as long:
        _table("Volts (V),Cut-off current (A),Capacity (Ah)\n3.0,0.65,0.56\n3.0,0.65,0.5\n3.0,0.1,0.6\n")
    assert long.value.field == "ah"


def test_a_table_that_was_refused_is_read_when_its_currents_are_given():
    content = b"Volts,mAh,x\n3.0,560,650\n3.0,606,100\n3.8,1212,650\n3.8,1245,100\n"
    reading = with_choices(guess(content), columns={"volts": (0, "V"), "ah": (1, "mAh"), "cut_off_a": (2, "mA")})
    assert _ends(read_table(content, reading, 0.65, 0.1)) == [(3.0, 0.56, 0.606), (3.8, 1.212, 1.245)]


def test_capacities_that_do_not_say_whether_they_were_held_are_asked_about():
    reading, table = _table("End volts,Run A [Ah],Run B [Ah]\n3.0,0.606,0.56\n3.8,1.245,1.212\n")
    assert _ends(table) == [(3.0, 0.56, 0.606), (3.8, 1.212, 1.245)]
    assert reading.doubts == ("“Run A [Ah]” is read as the capacity with a hold, “Run B [Ah]” without: is it so?",)


def test_equal_volts_of_like_capacity_are_averaged_and_falling_rows_found():
    _, table = _table("Volts,no hold Ah,hold Ah\n3.0,0.5,0.7\n3.0,0.504,0.7\n3.2,0.4,0.8\n3.4,0.9,0.85\n")
    assert _ends(table) == [(3.0, pytest.approx(0.502), pytest.approx(0.7)), (3.2, 0.4, 0.8), (3.4, 0.9, 0.85)]
    assert [finding.code for finding in table.findings] == ["same_volts", "falls", "hold_gives_less"]
    assert "3.2 V" in table.findings[1].text
    assert "3.4 V" in table.findings[2].text


@pytest.mark.parametrize(
    ("charge_a", "tail_a", "field"),
    [(0.0, 0.1, "charge_a"), (np.nan, 0.1, "charge_a"), (0.65, 0.0, "tail_a"), (0.65, 0.66, "tail_a")],
)
def test_currents_of_the_bench_that_cannot_be_are_refused(charge_a, tail_a, field):
    with pytest.raises(InputError) as refusal:
        _table("Volts,no hold Ah\n3.0,0.5\n3.2,0.6\n", charge_a, tail_a)
    assert refusal.value.field == field


def test_a_list_of_cells():
    header = "Nr.;Kapazität (mAh);Energie (mWh);Innenwiderstand (mΩ)"
    content = f"{header}\n01;1310,5;3930;24,5\nblau;1295;;\n;1300;3900;0\n".encode()
    reading = guess(content)
    assert (reading.kind, reading.doubts) == ("cells", ())
    cells = read_cells(content, reading)
    assert [cell.name for cell in cells] == ["01", "blau", "3"]
    assert [cell.ah for cell in cells] == pytest.approx([1.3105, 1.295, 1.3], rel=1e-15)
    assert [cell.wh for cell in cells] == [pytest.approx(3.93), None, pytest.approx(3.9)]
    assert [cell.milliohm for cell in cells] == [24.5, None, None]


def test_cells_with_their_volts_are_no_table():
    content = b"Cell,OCV [V],Ah,Ohm\nA,3.1,1.31,0.0245\nB,3.0,1.29,0.025\n"
    reading = guess(content)
    assert reading.kind == "cells"
    assert [cell.milliohm for cell in read_cells(content, reading)] == pytest.approx([24.5, 25.0])


def test_a_cell_without_a_capacity_is_left_out_and_said():
    content = b"Cell,Ah\n" + b"".join(b"c%d,1.3\n" % n for n in range(9)) + b"c9,dead\n"
    reading = guess(content)
    assert [cell.name for cell in read_cells(content, reading)] == [f"c{n}" for n in range(9)]
    assert left_out(content, reading)[0].text == "1 of 10 rows could not be read and was left out: line 11."


NAMES = ("Time", "t [s]", "U", "I [mA]", "Ah", "mAh", "no hold", "hold", "Cell", "Ohm", "Date", "T", "x")
LOG = b"t [s],U [V],I [A],X\n0,3.6,1,3600\n1,3.6,1,3601\n"


@pytest.mark.parametrize(
    ("choices", "field"),
    [
        ({"kind": "photo"}, "kind"),
        ({"current_sign": "sideways"}, "current_sign"),
        ({"decimal": "x"}, "decimal"),
        ({"columns": {"time": (0, "V")}}, "time"),
        ({"columns": {"time": (4, "s")}}, "time"),
        ({"columns": {"time": (-1, "s")}}, "time"),
        ({"columns": {"colour": (0, "s")}}, "colour"),
        ({"columns": {"time": (0, "s"), "voltage": (0, "V")}}, "voltage"),
    ],
)
def test_choices_that_cannot_be_are_refused_by_name(choices, field):
    with pytest.raises(InputError) as refusal:
        with_choices(guess(LOG), **choices)
    assert refusal.value.field == field
    assert refusal.value.message.endswith(".")


def test_choices_take_the_place_of_the_guess():
    reading = with_choices(
        guess(LOG), columns={"time": (0, "min"), "voltage": (3, "mV"), "current": (2, "mA")}, current_sign="flip"
    )
    log = read_log(LOG, reading)
    assert log.time_s.tolist() == [0.0, 60.0]
    assert log.voltage_v.tolist() == pytest.approx([3.6, 3.601])
    assert log.current_a.tolist() == [-0.001, -0.001]


def test_questions_stay_until_they_are_settled():
    reading = guess(b"Time,Voltage,Current [A]\n0,3.6,1\n1,3.6,1\n")
    assert len(reading.doubts) == 2
    same = with_choices(reading, kind=reading.kind, columns=reading.columns, current_sign=reading.current_sign)
    assert same.doubts == reading.doubts
    settled = with_choices(reading, columns=reading.columns | {"time": (0, "h")})
    assert [key for key, _ in settled.asked] == ["voltage"]


def test_another_kind_guesses_anew():
    content = b"Volts,Ah\n3.0,0.56\n3.8,1.2\n"
    reading = guess(content)
    assert reading.kind == "table"
    cells = with_choices(reading, kind="cells")
    assert cells.columns == {"ah": (1, "Ah")}
    assert [cell.ah for cell in read_cells(content, cells)] == [0.56, 1.2]


def test_a_comma_of_thousands_may_be_chosen():
    content = b"t [s];U [mV];I [A]\n0;3,600;1\n1;3,601;1\n"
    reading = guess(content)
    assert [key for key, _ in reading.asked] == ["decimal"]
    assert read_log(content, reading).voltage_v.tolist() == pytest.approx([0.0036, 0.003601])
    assert read_log(content, with_choices(reading, decimal=".")).voltage_v.tolist() == pytest.approx([3.6, 3.601])


def test_a_point_of_thousands_beside_decimal_commas_is_read_so_and_asked():
    reading, table = _table("Charge end / V;no hold / mAh;hold / mAh\n3,0;560;606\n3,8;1.212;1.245\n")
    assert [key for key, _ in reading.asked] == ["decimal"]
    assert _ends(table) == [(3.0, 0.56, 0.606), (3.8, 1.212, 1.245)]
    content = b"Nr;mAh;mOhm\n1;1.310;24,5\n2;104.500;25,0\n"
    cells = read_cells(content, guess(content))
    assert [(cell.ah, cell.milliohm) for cell in cells] == [(1.31, 24.5), (104.5, 25.0)]


def test_a_point_of_thousands_may_be_chosen_where_all_points_may_be_that():
    content = b"Cell;mAh\nA;1.310\nB;1.295\n"
    chosen = with_choices(guess(content), decimal=",")
    assert [cell.ah for cell in read_cells(content, chosen)] == [1.31, 1.295]
    other = b"Cell;mAh\nA;1310.5\nB;1295.5\n"
    assert [cell.ah for cell in read_cells(other, with_choices(guess(other), decimal=","))] == [1.3105, 1.2955]


def test_a_decimal_comma_never_loses_its_comma():
    content = b"Nr;mAh;mOhm\n1;1.310;24,5\n2;1.295;25,0\n"
    cells = read_cells(content, with_choices(guess(content), decimal="."))
    assert [cell.milliohm for cell in cells] == [None, None]


def test_a_file_that_lacks_a_column_says_which_and_refuses_to_be_read():
    content = b"Time [s],Note [V]\n0,3.6\n1,3.7\n"
    reading = guess(content)
    assert "Which column is the current?" in reading.doubts
    with pytest.raises(InputError) as refusal:
        read_log(content, reading)
    assert [fault.field for fault in refusal.value.every()] == ["current"]


@pytest.mark.parametrize("kind", KINDS)
def test_a_file_is_not_read_as_what_it_was_not_taken_for(kind):
    content = {"log": b"V,Ah\n3,1\n4,2\n", "table": LOG, "cells": LOG}[kind]
    read = {"log": read_log, "table": lambda c, r: read_table(c, r, 1.0, 0.1), "cells": read_cells}[kind]
    with pytest.raises(InputError) as refusal:
        read(content, guess(content))
    assert refusal.value.field == "kind"


@settings(deadline=None, max_examples=200)
@given(
    kind=st.sampled_from(KINDS),
    names=st.lists(st.sampled_from(NAMES), min_size=2, max_size=6),
    rows=st.lists(
        st.lists(
            st.sampled_from(["1", "2.5", "1e300", "-3", "", "x", "1:02:03", "2026-01-02", "nan"]),
            min_size=1,
            max_size=6,
        ),
        max_size=8,
    ),
)
def test_whatever_stands_in_a_file_it_is_read_or_refused_in_words(kind, names, rows):
    content = "\n".join(",".join(row) for row in [names, *rows]).encode()
    read = {"log": read_log, "table": lambda c, r: read_table(c, r, 1.0, 0.1), "cells": read_cells}[kind]
    known = {meaning.key for meaning in MEANINGS[kind]} | {"file", "kind"}
    refusal = None
    try:
        read(content, with_choices(guess(content), kind=kind))
    except InputError as fault:
        refusal = fault
    assert refusal is None or (refusal.field in known and refusal.message.endswith((".", "?")))


@settings(deadline=None, max_examples=60)
@given(
    volts=st.lists(st.floats(1.5, 4.3), min_size=2, max_size=30),
    amperes=st.floats(-3, 3),
    volt_unit=st.sampled_from([("V", 1.0), ("mV", 1e3)]),
    ampere_unit=st.sampled_from([("A", 1.0), ("mA", 1e3)]),
    time_unit=st.sampled_from([("s", 1.0), ("ms", 1e-3), ("min", 60.0), ("h", 3600.0), ("d", 86_400.0)]),
)
def test_every_unit_leads_to_the_same_log(volts, amperes, volt_unit, ampere_unit, time_unit):
    (v, per_v), (a, per_a), (t, t_s) = volt_unit, ampere_unit, time_unit
    text = f"Time [{t}];Voltage [{v}];Current [{a}]\n"
    text += "".join(f"{n * 90 / t_s!r};{one * per_v!r};{amperes * per_a!r}\n" for n, one in enumerate(volts))
    reading = guess(text.encode())
    log = read_log(text.encode(), with_choices(reading, current_sign="as written"))
    np.testing.assert_allclose(log.time_s, np.arange(len(volts)) * 90.0, rtol=1e-14)
    np.testing.assert_allclose(log.voltage_v, volts, rtol=1e-14)
    np.testing.assert_allclose(log.current_a, amperes, rtol=1e-14)


@pytest.mark.parametrize("name", ["Temp(F)", "Temp (°F)", "Cell temp [degF]", "temp_f"])
def test_a_temperature_in_fahrenheit_is_brought_to_celsius(name: str) -> None:
    """44 °F is (44 − 32) × 5 / 9 = 6.67 °C, and −40 is both."""
    reading, log = _log(f"Time (s),Volts (V),Amps (A),{name}\n0,3.30,-20,44\n60,3.29,-20,32\n120,3.28,-20,-40\n")
    assert reading.columns["temperature"] == (3, "degF")
    assert log.temperature_c is not None
    assert log.temperature_c.tolist() == pytest.approx([20 / 3, 0.0, -40.0])


def test_a_temperature_without_a_unit_may_be_told_to_be_fahrenheit() -> None:
    text = "Time (s),Volts (V),Amps (A),Temp\n0,3.30,-20,44\n60,3.29,-20,44\n120,3.28,-20,50\n"
    reading = guess(text.encode())
    assert reading.columns["temperature"] == (3, "degC")
    told = with_choices(reading, columns={**reading.columns, "temperature": (3, "degF")})
    log = read_log(text.encode(), told)
    assert log.temperature_c is not None
    assert log.temperature_c.tolist() == pytest.approx([20 / 3, 20 / 3, 10.0])


def test_a_twelve_hour_clock_without_a_date_goes_on_past_noon() -> None:
    rows = "".join(f"{clock},3.30,-20\n" for clock in ("11:59:00 AM", "12:00:00 PM", "12:59:00 PM", "1:00:00 PM"))
    _, log = _log(f"Time,Volts (V),Amps (A)\n{rows}")
    assert log.time_s.tolist() == [43140.0, 43200.0, 46740.0, 46800.0]
    assert not [one for one in log.findings if "again" in one.text]
    _, short = _log("Time,Volts (V),Amps (A)\n12:30 pm,3.30,-20\n1:00 PM,3.29,-20\n1:30 PM,3.28,-20\n")
    assert np.diff(short.time_s).tolist() == [1800.0, 1800.0]
