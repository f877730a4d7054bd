"""Units as people have them: typed, stored and shown, against their definitions, on every form and every page."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from bs4 import BeautifulSoup, Tag
from hypothesis import given
from hypothesis import strategies as st

from engine.cells import catalogue
from engine.errors import InputError
from engine.fields import Quantity, quantities
from engine.house import household
from engine.house.units import CHOICES, Units
from engine.house.wiring import AWG_NAMES, Leg, awg_mm2
from tests.conftest import SMALL_HOUSE, Client, form_of, soup
from tests.web.bringing import CELL_TESTS, LOG, RECORDS
from tests.web.conftest import Opener
from tests.web.fuzzing import CELLS, KNOWN
from tests.web.meter_files import meter_csv
from tests.web.sun_files import kc_of_years, roof_log
from tests.web.test_sheet import full_house
from webapp import bench_example, bench_store
from webapp.as_shown import AsShown
from webapp.facts import shown as fact_shown
from webapp.forms import Field, number_field, parse
from webapp.numbers import number, read_number
from webapp.render import mark_of
from webapp.shown_numbers import shown_text
from webapp.units import _SCALES, WISHED, Wished, shown_unit

OTHER = {"temperature": "f", "wire": "awg", "length": "ft", "volume": "gal", "distance": "mi"}
OTHER |= {"decimal": "comma", "clock": "12"}
EVERY = Units(**OTHER)
PREFERENCES = [Units(), EVERY, *(Units(**{name: choice}) for name, choice in OTHER.items())]
NAMES = [", ".join(f"{name}={choice}" for name, choice in OTHER.items() if getattr(one, name) == choice) or "default"
         for one in PREFERENCES]  # fmt: skip

DEGREES = Quantity(label="Cell temperature", unit="°C", low=-40, high=60)
LOSS = Quantity(label="Loss of the box", unit="W for each °C", low=0.1, high=100)
METRES = quantities(Leg)["length_m"]
AREA = quantities(Leg)["area_mm2"]
LITRES = Quantity(label="The tank holds", unit="litres", low=10, high=10_000)
AN_HOUR = Quantity(label="Fuel at full load", unit="l/h", low=0, high=100)
KM = Quantity(label="Kilometres wanted", unit="km", low=1, high=2000)
A_DAY = Quantity(label="Distance driven", unit="km a day", low=0, high=2000)
USE = Quantity(label="Car's use", unit="kWh per 100 km", low=5, high=100)
A_LITRE = Quantity(label="Price of fuel", unit="for each litre", low=0, high=1e9)
QUIET = Quantity(label="Quiet from", unit="o’clock", low=0, high=24, halves=True, clock=True)
VOLTS = Quantity(label="Volts", unit="V", low=0, high=5000)


@contextmanager
def reading(units: Units) -> Iterator[None]:
    """Read and type in some units, as inside a request."""
    token = WISHED.set(Wished(lambda: units))
    try:
        yield
    finally:
        WISHED.reset(token)


def house_in(units: dict[str, str]) -> dict[str, Any]:
    """The household with every field filled, a tank, a timer and a car, read in some units."""
    house = full_house(copy.deepcopy(SMALL_HOUSE))
    house["loads"] += [
        {"id": "tank", "name": "Tank", "kind": "water", "values": {}},
        {"id": "laundry", "name": "Wash 1.5 kW", "kind": "timed", "values": {"power_w": 500.0, "start_h": 18.5}},
    ]
    return {**house, "units": units}


# -- typed


@pytest.mark.parametrize("units", PREFERENCES, ids=NAMES)
@pytest.mark.parametrize(
    ("typed", "meaning", "stored"),
    [
        ("50 °F", DEGREES, 10.0),
        ("50F", DEGREES, 10.0),
        ("-40 f", DEGREES, -40.0),
        ("12 °C", DEGREES, 12.0),
        ("10 ft", METRES, 3.048),
        ("30 in", METRES, 0.762),
        ("3 m", METRES, 3.0),
        ("5 gal", LITRES, 18.92705892),
        ("200 l", LITRES, 200.0),
        ("1 gal/h", AN_HOUR, 3.785411784),
        ("2 l/h", AN_HOUR, 2.0),
        ("30 mi", KM, 48.28032),
        ("12 km", KM, 12.0),
        ("30 miles a day", A_DAY, 48.28032),
        ("25 kWh per 100 km", USE, 25.0),
        ("40 kWh per 100 miles", USE, 24.854848),
        ("9 W for each °F", LOSS, 16.2),
        ("9 W/°F", LOSS, 16.2),
        ("9 W for each °C", LOSS, 9.0),
        ("9 w/k", LOSS, 9.0),
        ("3.785411784 for each gallon", A_LITRE, 1.0),
        ("3.785411784 per gallon", A_LITRE, 1.0),
        ("2 for each litre", A_LITRE, 2.0),
        ("1 gal/hour", AN_HOUR, 3.785411784),
        ("2 litres per hour", AN_HOUR, 2.0),
        ("4 AWG", AREA, 21.151),
        ("2/0", AREA, 67.431),
        ("awg 00", AREA, 67.431),
        ("35 mm²", AREA, 35.0),
        ("35mm2", AREA, 35.0),
        ("250 kcmil", AREA, 126.6768697744),
        ("10:30 pm", QUIET, 22.5),
        ("9 PM", QUIET, 21),
        ("12:00 am", QUIET, 0),
        ("22:30", QUIET, 22.5),
    ],
)
def test_a_unit_behind_the_number_is_understood_whatever_is_chosen(
    typed: str, meaning: Quantity, stored: float, units: Units
) -> None:
    """NIST SP 811: 1 ft = 0.3048 m, 1 mi = 1.609344 km, 1 US gal = 3.785411784 l; AWG by ASTM B258."""
    with reading(units):
        assert number(typed, meaning) == pytest.approx(stored, rel=1e-6)


@pytest.mark.parametrize(
    ("typed", "meaning", "stored"),
    [
        ("50", DEGREES, 10.0),
        ("9", LOSS, 16.2),
        ("10", METRES, 3.048),
        ("50", LITRES, 189.2705892),
        ("20", KM, 32.18688),
        ("40", USE, 24.854848),
        ("3.785411784", A_LITRE, 1.0),
        ("4", AREA, 21.151),
        ("0", AREA, 53.475),
    ],
)
def test_a_bare_number_is_in_the_chosen_unit(typed: str, meaning: Quantity, stored: float) -> None:
    """A difference of temperature takes 1.8 and no 32: 9 W for each °F are 16.2 W for each °C."""
    with reading(EVERY):
        assert number(typed.replace(".", ","), meaning) == pytest.approx(stored, rel=1e-5)


@pytest.mark.parametrize(
    ("typed", "meaning", "stored"),
    [("40 kWh", USE, 24.854848), ("9 W", LOSS, 16.2), ("3.785411784 for", A_LITRE, 1.0)],
)
def test_the_first_word_of_a_unit_leaves_open_what_the_household_reads(
    typed: str, meaning: Quantity, stored: float
) -> None:
    """40 kWh per 100 miles are 40 / 1.609344 kWh per 100 km."""
    with reading(EVERY):
        assert number(typed, meaning) == pytest.approx(stored, rel=1e-6)
    bare, word = typed.split(" ")
    assert number(f"{bare} {word}", meaning) == number(bare, meaning) == float(bare)


@pytest.mark.parametrize("units", PREFERENCES, ids=NAMES)
def test_the_unit_that_stands_at_a_field_may_be_typed_behind_its_number(units: Units) -> None:
    """But of cables: AWG sizes are names, with a test of their own."""
    every = {name: one for name, one in {**KNOWN, "loss": LOSS, "wanted": KM}.items() if one.unit != "mm²"}
    assert {meaning.unit for meaning in every.values()} >= set(_SCALES)
    for name, meaning in every.items():
        with reading(units):
            bare = shown_text((meaning.low + meaning.high) / 2, replace(meaning, whole=False, clock=False))
            read = read_number(bare, meaning)
            assert read_number(f"{bare} {shown_unit(meaning.unit, units)}", meaning) == read, (name, bare)
            assert read_number(f"{read:.10f} {meaning.unit}", meaning) == pytest.approx(read), (name, bare)


def test_a_reading_is_offered_in_the_unit_in_which_it_is_then_typed() -> None:
    """40,000 Wh per 100 miles are 40 kWh per 100 miles."""
    with reading(Units(distance="mi")):
        (one,) = number_field("use", USE).readings({"use": "40000 Wh"})
        assert one.label.endswith(f"{one.text} kWh per 100 miles")
        assert number(one.text, USE) == pytest.approx(24.854848)


@pytest.mark.parametrize("typed", ["40 psi", "40 °F"])
def test_a_foreign_unit_is_refused_by_name(typed: str) -> None:
    with pytest.raises(InputError, match="carries"):
        number(typed, VOLTS)


def test_the_comma_chosen_is_the_decimal_sign_and_a_point_before_three_digits_is_asked_about() -> None:
    with reading(Units(decimal="comma")):
        assert number("1,234", VOLTS) == 1.234
        assert number("12.5", VOLTS) == 12.5
        assert number("1.234,5", VOLTS) == 1234.5
        with pytest.raises(InputError, match="“1,234” if the point is a decimal sign, or 1234"):
            number("1.234", VOLTS)
        one = number_field("volts", VOLTS)
        offered = one.readings({"volts": "1.234"})
        assert [number(each.text, VOLTS) for each in offered] == [1.234, 1234]
    with pytest.raises(InputError, match="two ways"):
        number("1,234", VOLTS)


@pytest.mark.parametrize(
    ("typed", "meaning", "said"),
    [
        ("300", DEGREES, "Cell temperature must be a number from -40 to 140 °F; got 300."),
        ("0.1", METRES, "Length one way must be a number from 0.16405 to 656.16 ft; got 0.1."),
        ("50 °C", DEGREES, ""),
        ("70 °C", DEGREES, "from -40 to 140 °F; got 158."),
        ("abc", KM, "Miles wanted must be a number from 0.62138 to 1242.7 miles; got “abc”."),
        ("3000", AREA, "must be an AWG size such as 4 or 2/0, or from 0.2 to 2000 mm² with the unit; got “3000”."),
        ("10:40 pm", QUIET, "must be a whole or half hour of the day, such as 10:30 pm"),
        ("5 V", KM, "“5 V” carries “V”, which this field does not take; type it in miles."),
    ],
)
def test_a_refusal_speaks_the_units_of_the_household(typed: str, meaning: Quantity, said: str) -> None:
    with reading(Units(**{**OTHER, "decimal": "point"})):
        if not said:
            assert number(typed, meaning) == 50.0
            return
        with pytest.raises(InputError) as fault:
            number(typed, meaning)
    assert said in fault.value.message


@pytest.mark.parametrize("typed", ["2026-11-25 6:00 pm", "6 pm", "06:00 PM", "18:00"])
def test_a_moment_is_understood_on_either_clock(client: Client, typed: str) -> None:
    asked = {"charge": "60", "sky": "dark"}
    meant = client.get("/today.json", params={**asked, "at": "2026-11-25T18:00"})
    assert meant.status_code == 200
    assert client.get("/today.json", params={**asked, "at": typed}).json() == meant.json()


@pytest.mark.parametrize(("listed", "shown"), [("1,5", "1,5"), ("1.5, 2,3", "1,5; 2,3"), ("1, 2,3", "1; 2,3")])
def test_the_days_of_one_number_are_one_number(client_of: Opener, listed: str, shown: str) -> None:
    page = soup(client_of(house_in({"decimal": "comma"})).get("/today", params={"sky": "kwh", "kwh": listed}))
    assert page.select_one("input[name=kwh]")["value"] == shown  # type: ignore[index]


@pytest.mark.parametrize(
    ("listed", "days"),
    [
        ("1.5, 2,3", "1.5,2,3"),
        ("1, 2,3", "1,2,3"),
        ("1.5 2,3", "1.5,2,3"),
        ("1,2,3", "1,2,3"),
        ("1,5 2,3", "1.5,2.3"),
        ("1,5; 2,3", "1.5,2.3"),
        ("1.5; 2,3;", "1.5,2.3"),
    ],
)
def test_a_comma_in_a_list_of_days_is_a_decimal_sign_only_where_something_else_parts_them(
    client: Client, listed: str, days: str
) -> None:
    meant = client.get("/today.json", params={"charge": "60", "sky": f"kwh:{days}"}).json()
    assert client.get("/today.json", params={"charge": "60", "sky": "kwh", "kwh": listed}).json() == meant


# -- there and back


@pytest.mark.parametrize("units", PREFERENCES, ids=NAMES)
@given(data=st.data())
def test_what_is_shown_is_read_back_as_it_is_stored(units: Units, data: st.DataObject) -> None:
    """Exactly where nothing was touched; to five figures where somebody types what he sees."""
    meaning = KNOWN[data.draw(st.sampled_from(sorted(KNOWN)))]
    stored = data.draw(st.floats(meaning.low, meaning.high))
    if meaning.whole or meaning.halves:
        stored = round(stored)
    with reading(units):
        field = number_field("x", meaning, default=stored)
        left = parse([field], {"x": field.default}, build=lambda values: values)
        assert left.errors == {}
        assert left.value == {"x": stored}
        shown = shown_text(stored, meaning)
        if stored and meaning.low < stored < meaning.high and (abs(stored) > 1e-3 or not meaning.clock):
            one = Field(name="x", label="x", quantity=meaning)
            typed = parse([one], {"x": shown}, build=lambda values: values)
            span = abs(stored) + (32.0 / 1.8 if meaning.unit == "°C" else 0.0)  # five figures are of °F / 1.8
            far = 1 / 60 if meaning.clock else 6e-5 * span + 1e-9
            if typed.value is not None:
                assert abs(float(typed.value["x"]) - stored) <= far


@pytest.mark.parametrize("size", AWG_NAMES)
def test_every_awg_size_goes_there_and_back(size: str) -> None:
    with reading(EVERY):
        assert shown_text(awg_mm2(size), AREA) == size
        assert number(size, AREA) == awg_mm2(size)


FORMS = (
    "/banks?edit=store",
    "/wiring",
    "/inverter?edit=main",
    "/inverter?edit=g",
    "/sun",
    "/prices",
    "/units",
    *(f"/loads?edit={one}" for one in ("cold", "van", "tank", "wash", "laundry")),
)


def each_saved_as_it_stands(client: Client, page: BeautifulSoup, path: str) -> Iterator[str]:
    """Save every form of a page that holds something stored, one after the other, and give its id once it is saved."""
    for form in page.find_all("form", id=re.compile("-form$")):
        if not form.find("input", attrs={"name": "item_id", "value": re.compile(".")}):
            continue
        saved = client.store.current()
        typed = form_of(page, str(form["id"])) | {"revision": str(saved.revision), "mark": mark_of(saved)}
        response = client.post(str(form["action"]), typed)
        assert response.status_code == 303, (path, form["id"], soup(response).select(".error"))
        yield str(form["id"])


@pytest.mark.parametrize("units", [{}, OTHER, *({name: choice} for name, choice in OTHER.items())], ids=NAMES)
def test_every_form_saved_as_it_stands_changes_nothing(client_of: Opener, units: dict[str, str]) -> None:
    house = house_in(units)
    house["banks"][0] |= {"cell_c": 100 / 9, "label_ah": 100.123456789}
    house["banks"][0]["wiring"]["main"] |= {"length_m": 2.9876543, "area_mm2": 67.431}
    house["prices"]["fuel_per_litre"] = 1.7
    house["loads"][1]["values"] = {"distance_km": 30.1, "kwh_per_100km": 17.3}
    house["loads"][-1]["values"]["start_h"] = 18.25
    client = client_of(house)
    before = household.write(household.read(client.document()))
    sent = 0
    for path in FORMS:
        for form in each_saved_as_it_stands(client, soup(client.get(path)), path):
            assert household.write(household.read(client.document())) == before, (path, form)
            sent += 1
    assert sent >= len(FORMS)


def test_a_temperature_typed_in_fahrenheit_is_the_one_typed_in_celsius(client_of: Opener) -> None:
    client = client_of(house_in({"temperature": "f", "decimal": "comma"}))
    form = form_of(soup(client.get("/banks?edit=store")), "bank-store-form")
    assert form["cell_c"] == "53,6"
    assert client.post("/banks", form | {"cell_c": "45,5"}).status_code == 303
    assert client.document()["banks"][0]["cell_c"] == 7.5
    refused = client.post(
        "/banks", form_of(soup(client.get("/banks?edit=store")), "bank-store-form") | {"cell_c": "200"}
    )
    assert refused.status_code == 422
    assert "Cell temperature must be a number from -40 to 140 °F; got 200." in soup(refused).get_text()
    assert soup(refused).find(id="bank-store-cell_c")["value"] == "200"  # type: ignore[index]


def chosen_elsewhere(client: Client, **units: str) -> None:
    """Another tab chooses units."""
    form = form_of(soup(client.get("/units")), "units-form")
    assert client.post("/units", form | units).status_code == 303


@pytest.mark.parametrize("by_leaving", [False, True], ids=["without scripts", "by leaving a field"])
def test_a_form_shown_in_other_units_is_read_in_those(client_of: Opener, by_leaving: bool) -> None:
    client = client_of(house_in({}))
    opened = form_of(soup(client.get("/banks?edit=store")), "bank-store-form")
    before = client.document()
    assert (opened["cell_c"], opened["board.charge_min_c"]) == ("12", "4")
    chosen_elsewhere(client, temperature="f", decimal="comma", clock="12")
    refused = soup(client.post("/banks", opened | {"label_ah": "300.5", "tested_c": "26"}))
    rows = [[cell.get_text() for cell in row.select("th, td")] for row in refused.select(".meanwhile tbody tr")]
    assert [row[1:] for row in rows] == [["300,5", "280"], ["78,8", "69,8"]]
    again = form_of(refused, "bank-store-form")
    if by_leaving:  # the fields stay as they are on the screen, and only take the version that stands now
        again = opened | {"label_ah": "300.5", "tested_c": "26"} | {name: again[name] for name in ("revision", "mark")}
    assert client.post("/banks", again).status_code == 303
    bank = client.document()["banks"][0]
    assert bank == before["banks"][0] | {"label_ah": 300.5, "tested_c": 26.0}


@pytest.mark.parametrize("choice", list(OTHER.items()), ids=[f"{n}={c}" for n, c in OTHER.items()])
@pytest.mark.parametrize("back", [False, True], ids=["to it", "from it"])
def test_every_form_shown_in_other_units_and_kept_changes_nothing(
    client_of: Opener, choice: tuple[str, str], back: bool
) -> None:
    name, other = choice
    usual = next(iter(CHOICES[name][1]))
    then, now = (other, usual) if back else (usual, other)
    house = household.write(household.read(house_in({name: then})))
    client = client_of(house)
    before = client.document()
    shown = {path: soup(client.get(path)) for path in FORMS if path != "/units"}
    chosen_elsewhere(client, **{name: now})
    for path, page in shown.items():
        for form in each_saved_as_it_stands(client, page, path):
            after = household.write(household.read(client.document()))
            assert {**after, "units": before["units"]} == before, (path, form)


def test_what_could_not_be_read_in_the_units_it_was_typed_in_is_to_be_typed_anew(client_of: Opener) -> None:
    client = client_of(house_in({}))
    opened = form_of(soup(client.get("/banks?edit=store")), "bank-store-form")
    chosen_elsewhere(client, temperature="f")
    refused = soup(client.post("/banks", opened | {"cell_c": "70"}))
    assert refused.select_one(".meanwhile") is None
    assert "type it anew" in refused.find(id="bank-store-cell_c-error").get_text()  # type: ignore[union-attr]
    saved = client.store.current()
    late = opened | {"cell_c": "70", "revision": str(saved.revision), "mark": mark_of(saved)}
    assert client.post("/banks", late).status_code == 422
    assert client.document()["banks"][0]["cell_c"] == 12.0


def test_an_awg_size_of_its_own_field_goes_into_the_one_that_takes_both(client_of: Opener) -> None:
    client = client_of(house_in({}))
    opened = form_of(soup(client.get("/wiring")), "wiring-store-form")
    chosen_elsewhere(client, wire="awg")
    sent = opened | {"main.area_mm2": "", "main.awg": "awg 4/0"}
    again = form_of(soup(client.post("/wiring", sent)), "wiring-store-form")
    assert again["main.area_mm2"] == "4/0"
    assert client.post("/wiring", again).status_code == 303
    assert client.document()["banks"][0]["wiring"]["main"]["area_mm2"] == awg_mm2("4/0")


def test_a_draft_of_a_cell_test_shown_in_other_units_is_read_in_those(client_of: Opener) -> None:
    client = client_of(house_in({}))
    address = CELL_TESTS.draft_at(client, bench_example.log())
    opened = form_of(soup(client.get(address)), "read-form") | {"test_c": "12"}
    chosen_elsewhere(client, temperature="f")
    assert client.post(f"{address}/read", opened | {"act": "read"}).status_code == 303
    assert bench_store.accepted(client.store, 1)[0].choices["test_c"] == 12.0


# -- documents and programs


def test_a_document_without_units_opens_as_ever(client: Client) -> None:
    assert household.read(client.document()).units == Units()
    assert "units" not in SMALL_HOUSE
    assert "°C" in soup(client.get("/banks")).get_text()


def test_units_that_are_none_are_refused_in_a_sentence(small_house: dict[str, Any]) -> None:
    with pytest.raises(InputError) as fault:
        household.read(small_house | {"units": {"temperature": "k", "clock": "13"}})
    assert [one.field for one in fault.value.every()] == ["units.temperature", "units.clock"]
    assert fault.value.message == "Temperatures must be one of c, f; got “k”."


@pytest.mark.parametrize(
    "path", ["/today.json", "/car.json?km=20", "/cold.json?to_c=10", "/charge.csv", "/wiring.json"]
)
def test_answers_for_programs_stay_as_they_are(client_of: Opener, path: str) -> None:
    client = client_of(house_in({}))
    before = client.get(path)
    assert before.status_code == 200
    saved = client.store.current()
    client.store.save(saved.household_id, saved.revision, house_in(OTHER), "units")
    assert client.get(path).content == before.content


def test_the_link_to_json_asks_what_the_page_asked(client_of: Opener) -> None:
    client = client_of(house_in(OTHER))
    asked = "at=11:40+pm&soc=20&load_w=500&cell_c=41,9"
    link = soup(client.get(f"/dark?{asked}")).find("a", href=re.compile(r"^/dark\.json"))
    assert isinstance(link, Tag)
    there = client.get(str(link["href"]))
    assert there.status_code == 200
    assert there.json() == client.get("/dark.json?at=23:40&soc=20&load_w=500&cell_c=5.5").json()


# -- shown


@pytest.mark.parametrize(
    ("engine", "read"),
    [
        ("between 25 and 50 °C", "between 77 and 122 °F"),
        ("−5\xa0°C", "23\xa0°F"),
        ("10 to 20 °C", "50 to 68 °F"),
        ("9 °C warmer, to 54 °C", "16 °F warmer, to 129 °F"),
        ("cell temperature 12 → 15 °C", "cell temperature 54 → 59 °F"),
        ("Close to freezing, 5 K", "Close to freezing, 9 °F"),
        ("CC BY 4.0; NEC 690.8; 4.0 V", "CC BY 4.0; NEC 690.8; 4,0 V"),
        ("0.6 to 2 l/h", "0,16 to 0,53 gallons/h"),
        ("200 litres", "52,8 gallons"),
        ("30 km at 17.5 kWh per 100 km", "19 miles at 28,2 kWh per 100 miles"),
        ("3 m of 67.431 mm² (AWG 2/0)", "9,8 ft of AWG 2/0"),
        ("35 mm²", "35 mm² (between AWG 2 and 1)"),
        ("120 mm²", "120 mm² (237 kcmil)"),
        ("7 m², 4 W/m²", "7 m², 4 W/m²"),
        ("1,234.5 W, 1 234.5 W", "1 234,5 W, 1 234,5 W".replace(" 234", "\u202f234", 1)),
        ("quiet 22 to 6 o’clock", "quiet 10:00 pm to 6:00 am"),
        ("quiet from 21 → 22 o’clock", "quiet from 9:00 pm → 10:00 pm"),
        ("quiet until 6:30 → 7 o’clock", "quiet until 6:30 am → 7:00 am"),
        ("earliest start 10.5 → 11 h", "earliest start 10:30 am → 11:00 am"),
        ("done by 16.5 → 17 h; runs for 2 → 3 h", "done by 4:30 pm → 5:00 pm; runs for 2 → 3 h"),
        ("starts at empty → 10 h", "starts at empty → 10:00 am"),
        ("starts at 18.5 h → empty", "starts at 6:30 pm → empty"),
        ("cross-section 53.7 → 67.431 mm²", "cross-section 53,7 mm² (between AWG 1/0 and 2/0) → AWG 2/0"),
        ("cross-section 67.431 → 107.219 mm² (AWG 4/0)", "cross-section AWG 2/0 → AWG 4/0"),
        ("copper cross-section 53.7 is not section 5.7", "copper cross-section 53,7 is not section 5.7"),
        ("Saved 15:35: bank changed", "Saved 3:35 pm: bank changed"),
        ("00:00, 12:05, 24:00", "12:00 am, 12:05 pm, 12:00 am"),
        ("2026-11-25 18:00, UTC+05:30", "2026-11-25 6:00 pm, UTC+05:30"),
        ("Greyspell 0.9.1 at 127.0.0.1:8437, AS/NZS 5139:2019", "Greyspell 0.9.1 at 127.0.0.1:8437, AS/NZS 5139:2019"),
        ("“Shed 2.5 m” is 2.5 m wide", "“Shed 2.5 m” is 8,2 ft wide"),
    ],
)
def test_a_sentence_is_turned(engine: str, read: str) -> None:
    assert AsShown(EVERY).text(engine) == read


@pytest.mark.parametrize("name", catalogue.names())
def test_a_table_over_the_temperature_keeps_its_factors(name: str) -> None:
    cell = catalogue.load(name)
    for field in ("capacity_temperature", "resistance_temperature"):
        told = AsShown(Units(temperature="f")).text(fact_shown(cell, field)).replace("−", "-")
        pairs = getattr(cell, field)
        read = [(float(f), float(factor)) for f, factor in re.findall(r"(-?[\d.]+) °F × ([\d.]+)", told)]
        ends = pairs if len(read) == len(pairs) else (pairs[0], pairs[-1])
        for (degrees_f, read_factor), (degrees_c, factor) in zip(read, ends, strict=True):
            assert degrees_f == pytest.approx(degrees_c * 1.8 + 32.0, abs=0.6)
            assert read_factor == pytest.approx(factor, rel=5e-3)


def test_a_caution_names_a_field_as_it_is_called_and_counts_degrees_in_its_own(client_of: Opener) -> None:
    """Ten degrees Celsius are 18 °F apart."""
    house = house_in({"temperature": "f"})
    house["banks"][0]["cell_c"] = -6.0
    client = client_of(house)
    text = " ".join(soup(client.get("/week?sky=dark")).get_text().split())
    (named,) = set(re.findall(r"enter it on Banks as (.*?), of a bank of such cells", text))
    labels = [" ".join(one.get_text().split()) for one in soup(client.get("/banks")).select("label")]
    assert f"{named}, A" in labels
    assert "At 77 °F; about twice that for every 18 °F warmer." in text


def test_what_somebody_typed_is_not_turned(client_of: Opener) -> None:
    house = house_in(OTHER)
    name = "Shed 5.5 m, 20 °C & <18:00>"
    house["name"] = house["banks"][0]["name"] = house["loads"][0]["name"] = name
    house["note"] = "Cable of 3 m, done at 14:30"
    client = client_of(house)
    for path in ("/today", "/banks", "/loads", "/sheet", "/files"):
        assert name in soup(client.get(path)).get_text(), path
    assert house["note"] in soup(client.get("/sheet")).get_text()


STILL = re.compile(
    r"°C|mm²|degC"
    r"|(?<![\w.])\d[\d.,]*[\s\u00a0]?(?:l|litres?|km|m|cm)\b(?![²³])"
    r"|\b(?:litres?|kilometres?|metres)\b|(?:^|, )(?:l|l/h|km|m)$"
    r"|(?<![\w.,:/])\d+\.\d+(?![\d.])"
    r"|(?<![\w:.+])(?:[01]?\d|2[0-4]):[0-5]\d(?!\d|:\d)(?![\s\u00a0][ap]m)|o’clock"
)
SPOKEN = ("title", "aria-label", "alt", "data-label", "data-before", "data-foot")
LEFT: dict[str, str] = {
    r"CC BY 4\.0": "the name of a licence",
    r"Wash 1\.5 kW": "a name that somebody typed",
    r"mm² \((?:between|thinner than) AWG|mm² \(\d+ kcmil": "no AWG size: told in mm² with the sizes beside it",
    r"^\d+,\d+ mm²$": "the same in its field, with its unit",
    r"“2/0”, or square millimetres with their unit, “35 mm²”": "what may be typed, in quotes",
}
"""What may stand on a page all the same, and why. Left out beside: what is marked as left (`data-as-is`: /method, whose
formulas are in SI, the form and words of /units, rows of a file) and the sums (`data-si`)."""
MORE = (
    "/banks?edit=store",
    "/loads?edit=wash",
    "/loads?add=car",
    "/loads?add=water",
    "/loads?add=timed",
    "/inverter?edit=g",
    "/cold?to_c=500",
    "/car?km=20",
    "/today?sky=kwh&kwh=1,5;2,5",
    "/today?at=2026-11-25T18:00",
    "/measure/capacity",
    "/measure/idle",
    "/measure/dull",
    "/charge/alone.html",
    "/log/compared",
    "/log/learn",
    "/cell-tests/plan",
    "/winters/tried",
)


def kept_pages(client: Client) -> list[str]:
    """The page of a cell test, of a sun record and of a log, each kept and each as a draft."""
    brought = ((CELL_TESTS, CELLS), (RECORDS, roof_log(kc_of_years(1))), (LOG, meter_csv(2)))
    kept = [CELL_TESTS.read_so(client, CELLS, chemistry="lfp", label_ah="280")]
    kept += [files.read_so(client, content) for files, content in brought[1:]]
    return kept + [files.draft_at(client, content) for files, content in brought]


def spoken(page: BeautifulSoup) -> Iterator[str]:
    """Every text of a page that is read, seen or heard."""
    for left in page.select("script, style, [data-as-is], [data-si]"):
        left.decompose()
    yield from (" ".join(text.split()) for text in page.find_all(string=True))
    for one in page.find_all(True):
        yield from (str(one[name]) for name in SPOKEN if one.has_attr(name))
        if one.name == "input" and one.get("type") == "text":
            yield str(one.get("value", ""))


def figures_of(page: BeautifulSoup) -> Iterator[str]:
    """Words of the charts, and how their axes are written."""

    def words(part: Any, name: str = "") -> Iterator[str]:
        for key, one in part.items() if isinstance(part, dict) else ((name, x) for x in part):
            if isinstance(one, dict | list):
                yield from words(one, key)
            elif isinstance(one, str) and key not in ("x", "y", "range", "tickvals", "x0", "x1", "y0", "y1"):
                yield one

    for plot in page.select("[data-figure]"):
        yield from words(json.loads(str(plot["data-figure"])))


def test_no_page_shows_what_was_not_chosen(client_of: Opener) -> None:
    client = client_of(house_in(OTHER))
    allowed = re.compile("|".join(LEFT))
    found: list[tuple[str, str]] = []
    for path in (*kept_pages(client), *(page.path for page in client.app.app.state.nav), *MORE):
        response = client.get(path)
        assert response.status_code in (200, 422), path
        page = soup(response)
        texts = [*figures_of(page), *spoken(page)]
        found += [(path, text[:160]) for text in texts if STILL.search(allowed.sub("", text))]
    assert found == []


COMMA_IN_THOUSANDS = re.compile(r"(?<![\w.,])\d{1,3},\d{3}(?!,?\d)")


def test_large_numbers_are_grouped_one_way_on_every_page(client_of: Opener) -> None:
    client = client_of(house_in({}))
    found: list[tuple[str, str]] = []
    thin: set[str] = set()
    for path in (*(page.path for page in client.app.app.state.nav), *MORE, "/car?tank_litres=2"):
        response = client.get(path)
        thin |= {path} if re.search(r"\d\u202f\d{3}", response.text) else set()
        page = soup(response)
        for left in page.select("script, style, #units-example ~ div"):
            left.decompose()
        texts = [*page.find_all(string=True), *spoken(page)]
        found += [(path, text[:160]) for text in texts if COMMA_IN_THOUSANDS.search(text)]
    assert found == []
    assert {"/method", "/car?tank_litres=2", "/inverter"} <= thin


def test_the_walk_finds_what_was_not_turned(client_of: Opener) -> None:
    client = client_of(house_in({}))
    for path, sign in (("/banks", "°C"), ("/wiring", "mm²"), ("/week", "fuel, l"), ("/car", "km"), ("/today", ":")):
        assert any(STILL.search(text) and sign in text for text in spoken(soup(client.get(path)))), path


def column(page: BeautifulSoup, name: str) -> list[float]:
    """Numbers under the first head of a column that is called so."""
    head = next(one for one in page.select("thead th") if one.get_text(strip=True) == name)
    table, place = head.find_parent("table"), len(head.find_previous_siblings())
    assert isinstance(table, Tag)
    cells = [row.find_all(["th", "td"])[place].get_text(strip=True) for row in table.select("tbody tr")]
    return [float(cell.replace("\u202f", "").replace(",", ".")) for cell in cells]


@pytest.mark.parametrize(
    ("path", "before", "after", "times"),
    [
        ("/car?km=20", "km", "miles", 1 / 1.609344),
        ("/week?sky=dark", "fuel, l", "fuel, gallons", 1 / 3.785411784),
        ("/wiring", "longest, m", "longest, ft", 1 / 0.3048),
    ],
)
def test_a_column_is_turned_with_its_head(client_of: Opener, path: str, before: str, after: str, times: float) -> None:
    house = house_in({"wire": "awg"})
    house["banks"][0]["inverter"] = house["generators"][0]["inverter"] = "main"
    client = client_of(house)
    stored = column(soup(client.get(path)), before)
    saved = client.store.current()
    client.store.save(saved.household_id, saved.revision, {**house, "units": OTHER}, "units")
    assert column(soup(client.get(path)), after) == pytest.approx([one * times for one in stored], rel=0.05)
    assert any(stored)


def test_a_chart_over_the_temperature_is_in_fahrenheit(client_of: Opener) -> None:
    def over(units: dict[str, str]) -> dict[str, Any]:
        plot = soup(client_of(house_in(units)).get("/cold")).select_one("[data-figure]")
        assert plot is not None
        figure: dict[str, Any] = json.loads(str(plot["data-figure"]))
        return figure

    before, after = over({}), over({"temperature": "f", "decimal": "comma"})
    celsius, fahrenheit = ([x for x in one["data"][0]["x"] if x is not None] for one in (before, after))
    assert fahrenheit == pytest.approx([c * 1.8 + 32 for c in celsius])
    assert after["layout"]["separators"].startswith(",")


@pytest.mark.parametrize(("path", "plot"), [("/loads?edit=seen", "#measured"), ("/log/compared", "[id^=hours-]")])
@pytest.mark.parametrize(("chosen", "read"), [("24", "%H:%M"), ("12", "%-I:%M %p")])
def test_a_chart_over_the_hours_of_a_day_is_on_the_clock_of_the_household(
    client_of: Opener, path: str, plot: str, chosen: str, read: str
) -> None:
    client = client_of(house_in({"clock": chosen}))
    LOG.read_so(client, meter_csv(3))
    drawn = soup(client.get(path)).select_one(f"{plot}[data-figure], {plot} [data-figure]")
    assert drawn is not None
    figure = json.loads(str(drawn["data-figure"]))
    axis = figure["layout"]["xaxis"]
    assert (axis["type"], axis["tickformat"], axis["hoverformat"]) == ("date", read, f"from {read}")
    begin, end = (datetime.fromisoformat(one) for one in axis["range"])
    assert (begin.hour, end - begin) == (0, timedelta(days=1))
    for trace in figure["data"]:
        assert [datetime.fromisoformat(x) - begin for x in trace["x"]] == [timedelta(hours=h) for h in range(25)]


def test_the_sheet_states_the_units_and_a_change_is_told_in_them(client_of: Opener) -> None:
    client = client_of(house_in(OTHER))
    rows = soup(client.get("/sheet")).select_one("#sheet-inputs")
    assert rows is not None
    assert "stay in °C, mm²" in soup(client.get("/sheet")).select_one("#sheet-worked").get_text()  # type: ignore[union-attr]
    for label, _ in CHOICES.values():
        assert label in rows.get_text()
    for name, choice in OTHER.items():
        assert CHOICES[name][1][choice] in rows.get_text()
    saved = client.store.current()
    document = client.document()
    document["banks"][0]["cell_c"] = 20.0
    client.store.save(saved.household_id, saved.revision, document, "warmer")
    text = " ".join(soup(client.get("/files")).get_text().split())
    assert "cell temperature 54 → 68 °F" in text


def test_every_change_on_files_is_told_in_the_units_of_the_household(client_of: Opener) -> None:
    """53.475 mm² are AWG 1/0 and 67.431 are 2/0 by ASTM B258."""
    client = client_of(house_in({}))
    document = client.document()
    document["generators"][0] |= {"quiet_from_h": 22, "quiet_to_h": 6.5}
    document["banks"][0]["wiring"]["main"]["area_mm2"] = 67.431
    next(load for load in document["loads"] if load["id"] == "wash")["values"] |= {"start_h": 11.25, "end_h": 17.0}
    saved = client.store.current()
    client.store.save(saved.household_id, saved.revision, document | {"units": OTHER}, "other")
    said = {" ".join(one.get_text().split()) for one in soup(client.get("/files")).select("li")}
    for change in (
        "Store-room bank: main cable: copper cross-section 53,7 mm² (between AWG 1/0 and 2/0) → AWG 2/0",
        "Wash: earliest start 10:30 am → 11:15 am",
        "Wash: done by 4:30 pm → 5:00 pm",
        "Shed engine: quiet from 9:00 pm → 10:00 pm",
        "Shed engine: quiet until 8:00 am → 6:30 am",
        "Units to read in: decimal sign point, as in “12.5” → comma, as in “12,5”",
        "Units to read in: clock 24 hours, as in “14:30” → 12 hours, as in “2:30 pm”",
    ):
        assert change in said


def test_the_page_says_how_it_reads_and_what_stays(client: Client) -> None:
    assert "20.5 °C" in soup(client.get("/units")).select_one("#units-example").get_text()  # type: ignore[union-attr]
    form = form_of(soup(client.get("/units")), "units-form")
    assert client.post("/units", form | OTHER).status_code == 303
    assert client.document()["units"] == OTHER
    page = soup(client.get("/units"))
    told = page.select_one("#units-example").get_text()  # type: ignore[union-attr]
    assert "At 2:30 pm on 21 June the shed was at 68,9 °F; 9,8 ft of" in told
    assert "19 miles" in told
    assert "answers as JSON, tables as CSV" in page.get_text()


def test_all_units_of_a_country_are_chosen_at_once(client: Client) -> None:
    def offered() -> dict[str, dict[str, str]]:
        forms = soup(client.get("/units")).select("form:not(#units-form)[action='/units']")
        return {
            one.get_text(strip=True): {str(kept["name"]): str(kept["value"]) for kept in one.select("input")}
            for one in forms
        }

    american = OTHER | {"decimal": "point"}
    assert list(offered()) == ["Metric, 12,5", "As in the United States"]
    assert client.post("/units", offered()["As in the United States"]).status_code == 303
    assert client.document()["units"] == american
    assert list(offered()) == ["Metric, 12.5", "Metric, 12,5"]
    assert client.post("/units", offered()["Metric, 12,5"]).status_code == 303
    assert client.document()["units"] == {name: next(iter(of)) for name, (_, of) in CHOICES.items()} | {
        "decimal": "comma"
    }


def test_a_rule_of_thumb_has_two_figures_in_any_unit() -> None:
    gallons = AsShown(Units(volume="gal", distance="mi"))
    assert gallons.text("a bath takes about 100 litres") == "a bath takes about 26 gallons"
    assert gallons.text("tanks hold 150 to 300 litres") == "tanks hold 40 to 79 gallons"
    assert gallons.text("about 13,000 km a year") == "about 8\u202f100 miles a year"
    assert gallons.text("100 litres were burnt") == "26.4 gallons were burnt"
