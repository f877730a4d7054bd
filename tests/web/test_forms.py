"""What people type becomes a number, or a sentence they can act on."""

from __future__ import annotations

import pytest

from engine.errors import InputError
from engine.fields import Quantity
from webapp.forms import Field, number_field, parse, text_of
from webapp.numbers import looks_like_share, number

VOLTS = Quantity(label="Low-voltage cut-off", unit="V", low=5, high=1000)
KELVIN_FREE = Quantity(label="Cell temperature", unit="°C", low=-40, high=60)
CHARGE = Quantity(label="Charge now", unit="%", low=0, high=1, percent=True)
CELLS = Quantity(label="Cells in series", unit="cells", low=1, high=400, whole=True)
POWER = Quantity(label="Continuous power", unit="W", low=10, high=1_000_000)
PER_CELL = Quantity(label="Charge ends at", unit="V per cell", low=1, high=4.5, optional=True)


@pytest.mark.parametrize(
    ("typed", "meaning", "stored"),
    [
        ("48", VOLTS, 48.0),
        (" 51.2 ", VOLTS, 51.2),
        ("51,2", VOLTS, 51.2),
        ("51,2 V", VOLTS, 51.2),
        ("51.2v", VOLTS, 51.2),
        ("0,93", Quantity(label="x", unit="", low=0, high=1), 0.93),
        ("0,125", Quantity(label="x", unit="", low=0, high=1), 0.125),
        ("3.45 V", PER_CELL, 3.45),
        ("3,45 V per cell", PER_CELL, 3.45),
        ("", PER_CELL, None),
        ("-5", KELVIN_FREE, -5.0),
        ("−5 °C", KELVIN_FREE, -5.0),
        ("12 C", KELVIN_FREE, 12.0),
        ("80", CHARGE, 0.8),
        ("80 %", CHARGE, 0.8),
        ("0.8", CHARGE, 0.008),
        ("16", CELLS, 16),
        ("6 000", POWER, 6000.0),
        ("6\u202f000 W", POWER, 6000.0),
        ("12,345,678", Quantity(label="x", unit="", low=0, high=1e9), 12_345_678.0),
        ("1,234.5", POWER, 1234.5),
        ("1.234,5", POWER, 1234.5),
        ("1.234", Quantity(label="x", unit="", low=0, high=9), 1.234),
        ("6e3", POWER, 6000.0),
    ],
)
def test_understood(typed: str, meaning: Quantity, stored: float | None) -> None:
    assert number(typed, meaning) == (pytest.approx(stored) if stored is not None else None)


@pytest.mark.parametrize(
    ("typed", "meaning", "says"),
    [
        ("", VOLTS, "Low-voltage cut-off must be a number from 5 to 1,000 V; got nothing."),
        ("   ", VOLTS, "got nothing"),
        ("abc", VOLTS, "got “abc”"),
        ("12 or 13", VOLTS, "carries “or 13”"),
        ("1.2.3", VOLTS, "got “1.2.3”"),
        ("--5", VOLTS, "got “--5”"),
        ("nan", VOLTS, "got nan"),
        ("NaN", VOLTS, "from 5 to 1,000 V"),
        ("inf", VOLTS, "got inf"),
        ("-inf", VOLTS, "got -inf"),
        ("-12", VOLTS, "got -12"),
        ("1e9", VOLTS, "from 5 to 1,000 V; got 1e+09"),
        ("1e999", VOLTS, "got inf"),
        ("120", CHARGE, "Charge now must be a number from 0 to 100 %; got 120."),
        ("16.5", CELLS, "a whole number from 1 to 400 cells; got 16.5"),
        ("6 kVA", POWER, "“6 kVA” are volt-amperes, and watts are usually less, 0.8 to 1.0 of them"),
        ("500 VA", POWER, "Look on the type plate for the figure in W."),
        ("40 psi", KELVIN_FREE, "type it in °C"),
        ("0x10", VOLTS, "carries “x10”"),
    ],
)
def test_refused_in_a_sentence(typed: str, meaning: Quantity, says: str) -> None:
    with pytest.raises(InputError) as fault:
        number(typed, meaning)
    assert says in fault.value.message
    assert meaning.label in fault.value.message


TILT = Quantity(label="Tilt", unit="degrees", low=0, high=90)
AZIMUTH = Quantity(label="Direction", unit="degrees", low=0, high=360)
LATITUDE = Quantity(label="Latitude", unit="degrees", low=-90, high=90)
LONGITUDE = Quantity(label="Longitude", unit="degrees", low=-180, high=180)
PANELS = Quantity(label="Peak power", unit="kWp", low=0.01, high=1000)
RUN = Quantity(label="Runs for", unit="h a day", low=0, high=24)
CLOCK = Quantity(label="Starts at", unit="h", low=0, high=24, clock=True)


@pytest.mark.parametrize(
    ("typed", "meaning", "stored"),
    [
        ("2 kW", POWER, 2000.0),
        ("5,6 kW", POWER, 5600.0),
        ("150 watts", POWER, 150.0),
        ("20°", TILT, 20.0),
        ("20 deg", TILT, 20.0),
        ("south-west", AZIMUTH, 225.0),
        ("south", AZIMUTH, 180.0),
        ("SSE", AZIMUTH, 157.5),
        ("South East", AZIMUTH, 135.0),
        ("north", AZIMUTH, 0.0),
        ("45 N", LATITUDE, 45.0),
        ("33.4° south", LATITUDE, -33.4),
        ("94 W", LONGITUDE, -94.0),
        ("W 94,25", LONGITUDE, -94.25),
        ("147 E", LONGITUDE, 147.0),
        ("10 x 430 W", PANELS, 4.3),
        ("12×0.405 kWp", PANELS, 4.86),
        ("4300 Wp", PANELS, 4.3),
        ("30 min", RUN, 0.5),
        ("2 h", RUN, 2.0),
        ("1.5 hours a day", RUN, 1.5),
        ("5 PM", CLOCK, 17.0),
        ("12 am", CLOCK, 0.0),
    ],
)
def test_a_unit_or_a_word_that_can_mean_one_thing_only_is_taken(typed: str, meaning: Quantity, stored: float) -> None:
    assert number(typed, meaning) == pytest.approx(stored)


@pytest.mark.parametrize(
    ("typed", "meaning"),
    [
        ("94 W", LATITUDE),
        ("45 N", LONGITUDE),
        ("-45 S", LATITUDE),
        ("45 N", TILT),
        ("south", TILT),
        ("sideways", AZIMUTH),
        ("10 x", PANELS),
        ("30 min", CLOCK),
        ("2 MW", POWER),
        ("95 N", LATITUDE),
    ],
)
def test_what_could_mean_another_thing_is_refused(typed: str, meaning: Quantity) -> None:
    with pytest.raises(InputError):
        number(typed, meaning)


def test_one_comma_before_three_digits_is_asked_about() -> None:
    with pytest.raises(InputError) as fault:
        number("1,234", POWER)
    for part in ("Continuous power", "“1,234”", "1.234", "1234"):
        assert part in fault.value.message


@pytest.mark.parametrize(
    ("typed", "likely"),
    [("0.8", 80.0), ("0,15", 15.0), ("1", 100.0), ("80", None), ("0", None), ("x", None), ("", None)],
)
def test_a_share_typed_for_percent_is_noticed(typed: str, likely: float | None) -> None:
    assert looks_like_share(typed, CHARGE) == likely
    assert looks_like_share(typed, POWER) is None


FIELDS = (
    number_field("volts", VOLTS, default=48.0),
    number_field("charge", CHARGE, default=0.5),
    Field(name="name", label="Name", kind="text"),
    Field(name="sky", label="Sky", kind="choice", choices=(("none", "No sun"), ("dark", "Dark")), default="none"),
    Field(name="held", label="Held", kind="tick"),
)


def test_everything_typed_is_kept_and_every_fault_named() -> None:
    typed = {"volts": "abc", "charge": "1,234", "name": "", "sky": "storm", "held": "1"}
    form = parse(FIELDS, typed, build=lambda values: values)
    assert form.value is None
    assert form.raw == typed
    assert set(form.errors) == {"volts", "charge", "name", "sky"}
    assert "No sun, Dark" in form.errors["sky"]


def test_what_was_not_asked_takes_its_default() -> None:
    form = parse(FIELDS, {"name": "Byre"}, build=lambda values: values)
    assert form.value == {"volts": 48.0, "charge": 0.5, "name": "Byre", "sky": "none", "held": False}
    assert form.raw["charge"] == "50"


def test_an_engine_fault_stands_at_its_field() -> None:
    def build(values: dict[str, object]) -> object:
        raise InputError("volts", "too low for this bank", (InputError("elsewhere", "and this"),))

    form = parse(FIELDS, {"name": "x"}, build=build)
    assert form.errors == {"volts": "too low for this bank", "": "and this"}


@pytest.mark.parametrize("share", [0.114, 0.1, 0.155, 1 / 3, 0.07])
def test_a_stored_share_comes_back_as_typed(share: float) -> None:
    assert number(text_of(share, CHARGE), CHARGE) == pytest.approx(share, abs=1e-11)
    assert "e" not in text_of(share, CHARGE)


def test_unit_stands_in_the_label_once() -> None:
    assert number_field("volts", VOLTS).caption == "Low-voltage cut-off, V"
    assert number_field("cells", Quantity(label="Days, days", unit="days", low=0, high=9)).caption == "Days, days"


def test_phone_keyboard_has_a_minus_where_one_may_be_needed() -> None:
    assert number_field("t", KELVIN_FREE).inputmode == ""
    assert number_field("v", VOLTS).inputmode == "decimal"
    assert number_field("n", CELLS).inputmode == "numeric"


@pytest.mark.parametrize(("typed", "stored"), [("18:30", 18.5), ("6:00", 6.0), ("22", 22.0), ("24:00", 24.0)])
def test_hours_of_the_day_take_a_time_of_the_clock(typed: str, stored: float) -> None:
    starts = Quantity(label="Starts at", unit="h", low=0, high=24)
    assert number(typed, starts) == stored


@pytest.mark.parametrize(
    ("typed", "as_clock", "as_hours"),
    [("18.30", 18.5, 18.3), ("6.25 h", 6 + 25 / 60, 6.25), ("23.05", 23 + 1 / 12, 23.05)],
)
def test_a_point_in_a_time_is_asked_about_and_both_readings_are_offered(
    typed: str, as_clock: float, as_hours: float
) -> None:
    with pytest.raises(InputError, match=f"Starts at: “{typed}” can be read in two ways"):
        number(typed, CLOCK)
    offered = number_field("start_h", CLOCK).readings({"start_h": typed})
    assert [number(one.text, CLOCK) for one in offered] == pytest.approx([as_clock, as_hours])


def test_a_point_in_a_time_that_says_one_thing_is_taken() -> None:
    for typed, hour in (("18.5", 18.5), ("18.00", 18.0), ("18.75", 18.75), ("18,25", 18.25)):
        assert number(typed, CLOCK) == hour
    assert number("18.30", RUN) == 18.3
    halves = Quantity(label="Quiet from", unit="o’clock", low=0, high=24, halves=True, clock=True)
    (one,) = number_field("quiet", halves).readings({"quiet": "22.30"})
    assert number(one.text, halves) == 22.5


def test_a_time_is_no_number_elsewhere_and_no_broken_hour_where_hours_are_whole() -> None:
    with pytest.raises(InputError, match="Volts"):
        number("18:30", Quantity(label="Volts", unit="V", low=0, high=100))
    quiet = Quantity(label="Quiet from", unit="o’clock", low=0, high=24, whole=True)
    assert number("22:00", quiet) == 22
    with pytest.raises(InputError, match="whole"):
        number("22:30", quiet)
    halves = Quantity(label="Quiet from", unit="o’clock", low=0, high=24, halves=True)
    assert number("22:30", halves) == 22.5
    assert isinstance(number("22", halves), int)
    with pytest.raises(InputError, match=r"a whole or half hour from 0 to 24 o’clock; got 22\.25\."):
        number("22:15", halves)
    with pytest.raises(InputError, match="Quiet from"):
        number("25:00", quiet)
