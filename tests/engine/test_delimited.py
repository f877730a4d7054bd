"""Delimited text of any make: what was written comes back, whatever stands around it; what is no text is refused.

All files here are invented for the tests.
"""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from engine.errors import InputError
from engine.text import delimited
from engine.text.clocks import clock_s, date_s, dates_s, over_midnight
from engine.text.delimited import columns, numbers, preview, sniff, spread, texts

ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "cp1252")
SEPARATED = [
    (",", "."),
    (";", "."),
    (";", ","),
    ("\t", "."),
    ("\t", ","),
    ("|", "."),
    ("|", ","),
    ("  ", "."),
    ("  ", ","),
]


def _read(content: bytes, *wanted: int) -> list[list[float]]:
    return numbers(content, sniff(content), wanted).tolist()


@settings(deadline=None, max_examples=150)
@given(
    table=st.integers(2, 5).flatmap(
        lambda wide: st.lists(
            st.lists(st.floats(-9999, 9999).map(lambda x: round(x, 4)), min_size=wide, max_size=wide),
            min_size=2,
            max_size=12,
        )
    ),
    signs=st.sampled_from(SEPARATED),
    encoding=st.sampled_from(ENCODINGS),
    line_end=st.sampled_from(["\n", "\r\n", "\r"]),
    preamble=st.sampled_from([[], ["Bench of Küche"], ["# made by hand", "", "Room: 21 °C"]]),
    trailing=st.booleans(),
    quoted=st.booleans(),
)
def test_numbers_written_are_numbers_read(table, signs, encoding, line_end, preamble, trailing, quoted):
    delimiter, decimal = signs
    trailing = trailing and delimiter != "  "
    names = [f"Größe_{letter}" for letter in "abcde"[: len(table[0])]]
    cells = [[f"{x:.4f}".replace(".", decimal) for x in row] for row in table]
    lines = [delimiter.join(f'"{cell}"' if quoted else cell for cell in row) for row in [names, *cells]]
    text = line_end.join([*preamble, *(line + delimiter * trailing for line in lines)]) + line_end
    content = text.encode(encoding)

    layout = sniff(content)
    assert layout.header == tuple(names)
    assert (layout.decimal, layout.columns) == (decimal, len(names))
    # The fast parser of numbers may miss the last bit.
    np.testing.assert_allclose(numbers(content, layout, range(len(names))), np.array(table), rtol=1e-14, atol=0)


@settings(deadline=None, max_examples=300)
@given(st.binary(max_size=400))
@example(b"")
@example(b"\xff\xfe")
@example(b"\xff\xfea")
@example(b'"\n1,"2\n3,4')
@example(b"1,2")
@example(b"1 2\n\n\n3")
def test_any_bytes_are_read_or_refused_in_words(content):
    refusal = None
    try:
        layout = sniff(content)
        numbers(content, layout, range(layout.columns))
        preview(content, layout, 5)
    except InputError as fault:
        refusal = fault
    assert refusal is None or (refusal.field == "file" and refusal.message.endswith("."))


@settings(deadline=None, max_examples=300)
@given(st.text(alphabet='0123456789.,;:|\t -+"#eEaVh/\n\r', max_size=200))
def test_any_scrap_of_a_table_is_read_or_refused_in_words(text):
    content = text.encode()
    try:
        layout = sniff(content)
        found = columns(content, layout, [(at, None) for at in range(layout.columns)])
    except InputError:
        return
    assert found.values.shape == (len(found.lines), layout.columns)
    assert not np.isinf(found.values).any()
    assert len(texts(content, layout, 0)) == len(found.lines)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b" \n\n\t\n", "blank"),
        (b"PK\x03\x04rest", "spreadsheet workbook"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1rest", "spreadsheet workbook"),
        (b"\x1f\x8bpacked", "not a text file"),
        (b"a,b\n1,2\n\x00\x01\n", "not a text file"),
        (bytes(range(1, 32)) * 20, "not a text file"),
        (b"time\n1\n2\n3\n", "only one column"),
        (b"time,volts\nlate,high\n", "no rows of numbers"),
        (b"just words", "no rows of numbers"),
        (b",".join([b"1"] * 201) + b"\n", "201 columns; the most that are read are 200"),
        (b"a,b\n1,2\n3," + b"4" * 100_001 + b"\n", "Line 3 is 100,003 characters long"),
    ],
)
def test_what_is_no_table_is_refused(content, words):
    with pytest.raises(InputError, match=words) as refusal:
        sniff(content)
    assert refusal.value.field == "file"


def test_more_rows_or_bytes_than_are_read_are_refused():
    with pytest.raises(InputError, match=r"1,000,001 rows; the most that are read are 1,000,000"):
        sniff(b"a,b\n" + b"1,2\n" * 1_000_001)
    with pytest.raises(InputError, match="80 MB long; the most that is read is 64 MB"):
        sniff(b"1,2\n" * (20 * 1024**2))


def test_the_last_row_that_is_allowed_is_read():
    content = b"a,b\n" + b"1,2\n" * 999_999 + b"3,4\n"
    values = numbers(content, sniff(content), (0, 1))
    assert values.shape == (1_000_000, 2)
    assert values[-1].tolist() == [3.0, 4.0]


def test_a_units_row_goes_to_the_names_and_a_preamble_to_nobody():
    content = b"Operator;nobody\nRated;1,5;Ah\n\nTime;Volt;Curr;\n[s];(V);mA;\n0,0;3,65;650;\n0,5;3,66;650;\n"
    layout = sniff(content)
    assert layout.header == ("Time [s]", "Volt [V]", "Curr [mA]")
    assert layout.first_row == 5
    assert _read(content, 0, 1, 2) == [[0.0, 3.65, 650.0], [0.5, 3.66, 650.0]]


def test_a_header_between_spaces_keeps_its_units():
    content = b"Time / s   Voltage [V]  Current (A)\n 0   3.1  0.65\n 10  3.2  0.65\n"
    layout = sniff(content)
    assert layout.header == ("Time / s", "Voltage [V]", "Current (A)")
    assert _read(content, 1) == [[3.1], [3.2]]
    assert sniff(content.replace(b"  ", b" ")).header == ("Time/s", "Voltage[V]", "Current(A)")


@pytest.mark.parametrize(
    ("rows", "read"),
    [
        ("1.234,5;2\n10,25;3", [[1234.5, 2.0], [10.25, 3.0]]),
        ("1,234.5;2\n10.25;3", [[1234.5, 2.0], [10.25, 3.0]]),
        ('"1,234.5",2\n10.25,3', [[1234.5, 2.0], [10.25, 3.0]]),
        ("1 234,5;2\n10,25;3", [[1234.5, 2.0], [10.25, 3.0]]),
        ("1'234.5;2\n10.25;3", [[1234.5, 2.0], [10.25, 3.0]]),
        ("1\u00a0234,5;2\n10,25;3", [[1234.5, 2.0], [10.25, 3.0]]),
        ("\u22121,5;2\n10,25;3", [[-1.5, 2.0], [10.25, 3.0]]),
        ("1,5E-3;2\n10,25;3", [[0.0015, 2.0], [10.25, 3.0]]),
        (".5 2\n-.25 3", [[0.5, 2.0], [-0.25, 3.0]]),
        ("0.5, 2\n0.25, 3", [[0.5, 2.0], [0.25, 3.0]]),
        ("1e400;2\nnan;3\ninf;4\nTrue;5", [[np.nan, 2.0], [np.nan, 3.0], [np.nan, 4.0], [np.nan, 5.0]]),
    ],
)
def test_numbers_as_people_write_them(rows, read):
    np.testing.assert_allclose(_read(f"{rows}\n".encode(), 0, 1), read, rtol=1e-15)


def test_a_comma_that_may_part_thousands_is_asked_about():
    assert "3,456" in sniff(b"a;b\n3,456;1\n3,457;2\n").sign_doubt
    assert sniff(b"a;b\n3,456;1\n3,45;2\n").sign_doubt == ""


@pytest.mark.parametrize(
    ("rows", "read", "doubt"),
    [
        (
            "3,0;560;606\n3,8;1.212;1.245",
            [[3.0, 560.0, 606.0], [3.8, 1212.0, 1245.0]],
            "Does the point in “1.212” part thousands, as the comma in “3,0” is the decimal sign? It is read as 1212.",
        ),
        (
            "1,310;3.456;1\n1,311;3.457;2",
            [[1310.0, 3.456, 1.0], [1311.0, 3.457, 2.0]],
            "Does the comma in “1,310” part thousands, and is the point in “3.456” the decimal sign? They are read so.",
        ),
        (
            "3,0;560.5;606\n3,8;1.212;1245",
            [[3.0, 560.5, 606.0], [3.8, 1.212, 1245.0]],
            "The file has commas (“3,0”) and points (“560.5”): is each a decimal sign? They are read so.",
        ),
        ("1,310;3.45;1\n1,311;3.46;2", [[1310.0, 3.45, 1.0], [1311.0, 3.46, 2.0]], ""),
        ("3,65;00:00:00.5;.\n3,66;00:00:01.0;.", [[3.65, np.nan, np.nan], [3.66, np.nan, np.nan]], ""),
    ],
)
def test_points_beside_commas_are_asked_about_and_no_decimal_comma_is_dropped(rows, read, doubt):
    content = f"{rows}\n".encode()
    np.testing.assert_allclose(_read(content, 0, 1, 2), read, rtol=1e-15)
    assert sniff(content).sign_doubt == doubt


def test_a_point_in_the_preamble_says_nothing_of_the_rows():
    content = b"Bench;version;1.2\nt;U;I\n0;3,65;0,5\n1;3,66;0,5\n"
    assert (sniff(content).decimal, sniff(content).sign_doubt) == (",", "")
    assert _read(content, 1) == [[3.65], [3.66]]


def test_blank_lines_and_comments_are_no_rows_and_lines_keep_their_number():
    content = b"a,b\n1,2\n\n# paused\n ,,\n3,x\n4,5,6,7\n8\n9,10"
    found = columns(content, sniff(content), [(0, None), (1, None)])
    np.testing.assert_array_equal(found.values, [[1, 2], [3, np.nan], [4, 5], [8, np.nan], [9, 10]])
    assert found.lines.tolist() == [2, 6, 7, 8, 9]


def test_line_ends_of_two_signs_are_one_line():
    content = b"a,b\r\n1,2\r\n\r\n3,4\r\n"
    assert columns(content, sniff(content), [(0, None)]).lines.tolist() == [2, 4]


def test_truth_is_no_number():
    np.testing.assert_array_equal(_read(b"a,on\n1,True\n2,False\n", 0, 1), [[1, np.nan], [2, np.nan]])


def test_a_line_of_the_preamble_with_few_numbers_is_no_row():
    content = b"Made;on;1;a;bench\nby;nobody;2;at;all\nt;U;I;Ah;T\n0;3,5;1;0;20\n1;3,6;1;0;20\n2;3,7;1;0;20\n"
    assert sniff(content).header == ("t", "U", "I", "Ah", "T")
    assert len(_read(content, 0)) == 3


def test_a_quotation_mark_left_open_swallows_no_rows():
    content = b'a,b\n1,"2\n3,4\n5,6"\n7,8\n'
    assert _read(content, 0, 1) == [[1.0, 2.0], [3.0, 4.0], [5.0, 6.0], [7.0, 8.0]]


def test_words_and_delimiters_inside_quotes_stay_one_cell():
    content = b'name,Ah,note\n"Cell 1, blue",1.3,"a ""b"""\n02,1.2,\n'
    layout = sniff(content)
    assert texts(content, layout, 0) == ("Cell 1, blue", "02")
    assert preview(content, layout, 1) == (("Cell 1, blue", "1.3", 'a "b"'),)
    assert _read(content, 1) == [[1.3], [1.2]]


def test_rows_from_all_over_the_file_in_order():
    content = b"a,b\n" + b"".join(b"%d,0\n" % n for n in range(10_000))
    found = [int(row[0]) for row in spread(content, sniff(content), 100)]
    assert found == sorted(found)
    assert (found[0], found[-1], len(found)) == (0, 9999, 100)


def test_pieces_of_a_long_file_join_without_a_seam(monkeypatch):
    content = b"t,n\n" + b"".join(b"%d:%02d:%02d,%d\n" % (n // 3600, n // 60 % 60, n % 60, n) for n in range(5000))
    monkeypatch.setattr(delimited, "_CHUNK", 7)
    found = columns(content, sniff(content), [(0, clock_s), (1, None)])
    np.testing.assert_array_equal(found.values, np.arange(5000.0)[:, None] * [1, 1])


@given(st.integers(0, 99), st.integers(0, 23), st.integers(0, 59), st.integers(0, 59_999))
def test_clocks(days, hours, minutes, milliseconds):
    seconds = f"{milliseconds // 1000:02d}.{milliseconds % 1000:03d}"
    whole = hours * 3600 + minutes * 60 + milliseconds / 1000
    written = [
        f"{hours}:{minutes:02d}:{seconds}",
        f"{hours:02d}:{minutes:02d}:{seconds.replace('.', ',')}",
        f"{minutes}:{seconds}",
        f"{days} {hours:02d}:{minutes:02d}:{seconds}",
        f"{days}d {hours:02d}:{minutes:02d}:{seconds}",
        f"{days}-{hours:02d}:{minutes:02d}:{seconds}",
    ]
    with_days = days * 86400 + whole
    expected = [whole, whole, whole - hours * 3600, with_days, with_days, with_days]
    np.testing.assert_allclose(clock_s(written), expected, rtol=0, atol=1e-6)


def test_what_is_no_clock_is_none():
    texts = ["", "12", "1:2:3:4:5", "00:61:00", "00:00:75", "-0:00:01", "noon"]
    assert np.isnan(clock_s(texts)).all()


@given(st.lists(st.text("0123456789:.,-/ apmAPM", max_size=60), max_size=6))
@example(["1:02:03", "1:2:3:4:5:6:7:8"])
@example(["1:2ma", "00:00:00 "])
def test_whatever_stands_beside_it_a_text_is_read_as_if_it_stood_alone(texts):
    orders = ("ymd", "dmy", "mdy")
    together = [clock_s(texts), *dates_s(texts, orders)]
    alone = [[clock_s([text])[0] for text in texts], *([date_s([text], one)[0] for text in texts] for one in orders)]
    np.testing.assert_array_equal(together, alone)


@given(st.datetimes(min_value=datetime(1971, 1, 1), max_value=datetime(2170, 12, 31)))
def test_dates(moment):
    expected = np.datetime64(moment.replace(microsecond=0), "us").astype(np.int64) / 1e6
    half = moment.strftime("%m/%d/%Y %I:%M:%S %p")
    assert date_s([f"{moment:%d.%m.}{moment.year} {moment:%H:%M:%S}"], "dmy")[0] == expected
    assert date_s([moment.replace(microsecond=0).isoformat()], "ymd")[0] == expected
    assert date_s([half], "mdy")[0] == expected


def test_fractions_of_dates_and_what_is_no_date():
    assert date_s(["1970-01-01T00:00:01.125Z", "1970-01-01 00:00:00,5"], "ymd").tolist() == [1.125, 0.5]
    assert np.isnan(date_s(["", "13.13.2020", "2020", "31/12/20 25:00:00"], "dmy")).all()


def test_only_a_fall_at_midnight_counts_as_a_day():
    clock = np.array([86_399.0, 1.0, np.nan, 50.0, 86_390.0, 5.0, 3.0])
    np.testing.assert_array_equal(over_midnight(clock), [86_399, 86_401, np.nan, 86_450, 172_790, 172_805, 172_803])
