"""Files oddly made, and odd things said of them: each is read or refused in words, and its page opens again.

Long runs of blanks, tabs, dashes or brackets are as long as a file may have them: what tries every way to divide one
would stand still for hours. No speed is judged by it.
"""

from __future__ import annotations

import faulthandler
import tracemalloc
from collections.abc import Iterator

import numpy as np
import pytest

from engine.bench.clean import running_median
from engine.bench.columns import name_and_unit
from engine.bench.files import guess
from engine.meter.counting import came_in
from engine.sky.files.names import place_in
from engine.sky.files.reading import guess as sky_guess
from engine.text.layouts import lay_out
from engine.text.meanings import EVER
from tests.conftest import Client, form_of, soup
from tests.web.bringing import CELL_TESTS, LOG, RECORDS, Pages
from tests.web.fuzzing import HUNG_S

LONG = 50_000
DAYS = "Date;Yield [kWh]\n" + "".join(f"{day}.01.2024;{day / 10}\n" for day in range(13, 31))
EPW = "LOCATION,Here,-,-,typed,0,{place},10\nDATA PERIODS,1,1\n2024,1,1,1,0" + ",0" * 30 + "\n"
CHARGE = "t [h];U [V];I [A]\n" + "".join(f"{n / 4000:.5f};{3.0 + n / 8000:.5f};1.0\n" for n in range(4000))
NOTHING = "t [ms];U [V];I [A]\n" + "".join(f"{n}e-5;{3 + n / 100};{0 if n < 9 else '1e-321'}\n" for n in range(24))
LATE_DATES = "Date;Load [kWh];x\n" + ";1.5;2\n" * 2100 + "02.02.2024;1.5;2\n" * 2000
BROUGHT: dict[str, tuple[Pages, str]] = {
    "blanks behind a place": (RECORDS, f"latitude{' ' * LONG}x\n{DAYS}"),
    "blanks behind many places": (RECORDS, f"latitude{' ' * 900}x\n" * 200 + DAYS),
    "places without end": (RECORDS, f"{'latitude(' * (LONG // 9)}\n{DAYS}"),
    "a place nowhere": (RECORDS, f"Latitude: {'9' * 400}\nLongitude: 200\n{DAYS}"),
    "dashes in a name": (CELL_TESTS, f"cell;a{'-' * LONG}/;Ah\n" + "A1;3;1.3\n" * 20),
    "brackets in a name": (CELL_TESTS, f"cell;{'(' * (LONG // 2)}{' ' * (LONG // 2)}x;Ah\n" + "A1;3;1.3\n" * 20),
    "tabs in a row": (LOG, "a b;c\n" + f"1{chr(9) * LONG}x;3\n" * 3 + "1;2\n" * 20),
    "blanks in a header": (LOG, f"a{' ' * LONG}x b\n" + "1 2\n" * 20),
    "no date in the first rows of a log": (LOG, LATE_DATES),
    "no date in the first rows of a record": (RECORDS, LATE_DATES.replace("Load", "Yield")),
    "an endless first line": (RECORDS, f"LOCATION,{'x' * 140_000}\n1;2\n"),
    "an endless second line": (RECORDS, f"1,2\nDate (MM/DD/YYYY),{'x' * 140_000}\n"),
    "two columns of a typical year": (RECORDS, "1,2,3,0,45,10\nDate (MM/DD/YYYY),GHI (W/m^2)\n01/01/2024,3\n"),
    "a name that ends as a unit does": (CELL_TESTS, "Rack A;Cap [mAh]\nA1;1310\nA2;1290\nA3;1300\n"),
    **{
        f"a place of {place}": (RECORDS, EPW.format(place=place))
        for place in ("nan,1,0", "45,inf,0", "45,1,nan", "45,1,20")
    },
}


@pytest.fixture(autouse=True)
def _ends() -> Iterator[None]:
    faulthandler.dump_traceback_later(HUNG_S, exit=True)
    yield
    faulthandler.cancel_dump_traceback_later()


@pytest.mark.parametrize(("pages", "content"), BROUGHT.values(), ids=BROUGHT)
def test_an_odd_file_is_refused_in_words_or_its_draft_opens(example: Client, pages: Pages, content: str) -> None:
    answer = pages.bring(example, content)
    assert answer.status_code in (303, 422)
    if answer.status_code == 303:
        assert example.get(answer.headers["Location"]).status_code == 200


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (CHARGE, {"column_0": "time:ms"}),
        (CHARGE, {"series": "1" + "0" * 399}),
        (CHARGE, {"series": "9" * 5000}),
        ("U [V];no hold [Ah];hold [Ah]\n3.40;0.5004;\n3.50;0.5006;1.0\n", {}),
        ("U [V];no hold [Ah]\n3.40;0.9999\n3.50;1.0000\n", {}),
        (NOTHING, {}),
        ("U [V];no hold [Ah];hold [Ah]\n3.396;0.5;0.6\n3.398;0.8;1.0\n", {}),
    ],
    ids=["another time", "packs of any length", "digits of any length", "between two points", "all in the last point",
         "a current of nothing", "within a hundredth of a volt"],
)  # fmt: skip
def test_odd_things_said_of_a_cell_test_are_refused_or_its_page_opens(
    example: Client, content: str, said: dict[str, str]
) -> None:
    address = CELL_TESTS.draft_at(example, content)
    known = {"chemistry": "lfp", "label_ah": "1", "charge_a": "0.5", "tail_a": "0.05"}
    sent = form_of(soup(example.get(address)), "read-form") | known | said | {"act": "read"}
    answer = example.post(f"{address}/read", sent)
    assert answer.status_code in (303, 422)
    assert example.get(address).status_code == 200


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("a place of nan,1,0", "The latitude of the EPW must be a number from -90 to 90; got “nan”."),
        ("a place of 45,inf,0", "The longitude of the EPW must be a number from -180 to 180; got “inf”."),
        ("a place of 45,1,20", "The time zone of the EPW must be a number from -14 to 14; got “20”."),
        ("two columns of a typical year", "has no column of the time of day between its date and its radiation."),
    ],
)
def test_what_a_weather_file_lacks_is_said(example: Client, name: str, sentence: str) -> None:
    assert sentence in soup(BROUGHT[name][0].bring(example, BROUGHT[name][1])).get_text()


def test_what_is_said_plainly_is_still_understood() -> None:
    assert place_in(["Latitude (deg)\t45.5", "longitude; -8"]) == (45.5, -8.0)
    assert name_and_unit("Cap (  mAh )") == ("cap", "mAh")
    assert name_and_unit("pack-voltage / mV") == ("pack-voltage", "mV")
    assert guess(b"Rack A;Cap [mAh]\nA1;1310\nA2;1290\nA3;1300\n").columns["name"] == (0, "")
    assert lay_out(["t [s] U [V]", "1 3.0", "2 3.1"], [], "utf-8").header == ("t[s]", "U[V]")


def test_a_clock_that_says_universal_time_in_its_name_is_taken_at_its_word() -> None:
    rows = "".join(f"2024-06-{day:02d} {hour:02d}:00;{hour * 30}\n" for day in (1, 2, 3) for hour in range(24))
    assert sky_guess(f"time_utc;GHI [W/m2]\n{rows}".encode()).utc_offset_h == 0.0


def test_a_wide_median_takes_no_more_memory_than_a_narrow_one() -> None:
    peaks = []
    for width in (1001, 4001):
        tracemalloc.start()
        running_median(np.arange(20_000.0), width)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.5 * peaks[0]


def test_two_readings_of_one_moment_have_no_usual_rise() -> None:
    came = came_in(np.array([10.0, 11.0]), np.array([60.0, 60.0]), EVER, ends=False)
    assert came.amount[0] == 1.0
