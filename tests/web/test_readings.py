"""A slip that was refused is offered again in the sense it may have had, by one click, and never taken unasked."""

from __future__ import annotations

import json
from typing import Any

import pytest

from engine.errors import InputError
from engine.fields import Quantity
from tests.conftest import Client, form_of, soup
from tests.web.conftest import Opener
from webapp.numbers import number
from webapp.readings import readings

WATTS = Quantity(label="Power", unit="W", low=10, high=9000)
KILOWATTS = Quantity(label="Power", unit="kW", low=0.5, high=100)
KILOWATT_HOURS = Quantity(label="Energy", unit="kWh a day", low=0.1, high=200)
CELL_V = Quantity(label="Charge ends at", unit="V per cell", low=1, high=4.5)
DEGREES = Quantity(label="Cell temperature", unit="°C", low=-40, high=60)
SHARE = Quantity(label="Full-load efficiency", unit="%", low=0.5, high=1, percent=True)
CELLS = Quantity(label="Cells", unit="cells", low=1, high=4000, whole=True)


@pytest.mark.parametrize(
    ("typed", "meaning", "offered"),
    [
        ("1,234", Quantity(label="x", unit="", low=0, high=9000), ["1.234", "1234"]),
        ("6.000", WATTS, ["6000"]),
        ("1.234", CELLS, ["1234"]),
        ("6 kW", WATTS, []),
        ("6 kVA", WATTS, ["4800", "6000"]),
        ("0,5 kVA", WATTS, ["400", "500"]),
        ("3450 mV", CELL_V, ["3.45"]),
        ("55,2", CELL_V, ["3.45"]),
        ("68", DEGREES, ["20"]),
        ("0,93", SHARE, ["93"]),
        ("0.93", SHARE, ["93"]),
        ("abc", WATTS, []),
        ("60", WATTS, []),
        ("2e9", WATTS, []),
        ("1500", KILOWATTS, ["1.5"]),
        ("1500 kW", KILOWATTS, ["1.5"]),
        ("5", WATTS, ["5000"]),
        ("12 Wh", KILOWATT_HOURS, ["12"]),
        ("1500", KILOWATT_HOURS, ["1.5"]),
        ("12 V", KILOWATT_HOURS, []),
        ("280000", Quantity(label="Label capacity", unit="Ah", low=0.1, high=20_000), ["280"]),
        ("3450", CELL_V, ["3.45"]),
    ],
)
def test_what_may_have_been_meant(typed: str, meaning: Quantity, offered: list[str]) -> None:
    assert [one.text for one in readings(typed, meaning, "16")] == offered


def test_a_point_before_three_digits_is_a_decimal_sign_where_that_fits() -> None:
    assert number("3.345", CELL_V) == 3.345
    assert number("52.123", Quantity(label="Latitude", unit="°", low=-90, high=90)) == 52.123
    with pytest.raises(InputError, match="in two ways"):
        number("6.000", WATTS)


def test_two_mistakes_keep_everything_typed_and_one_click_mends_one(client: Client) -> None:
    before = client.document()
    sent = form_of(soup(client.get("/banks")), "bank-store-form") | {"charge_v": "55,2", "cell_c": "140"}
    response = client.post("/banks", sent)
    page = soup(response)
    assert response.status_code == 422
    assert page.title is not None
    assert page.title.get_text().startswith("Error")
    (summary,) = page.select(".summary[data-focus]")
    assert {link["href"] for link in summary.select("a")} == {"#bank-store-charge_v", "#bank-store-cell_c"}
    typed = form_of(page, "bank-store-form")
    assert (typed["charge_v"], typed["cell_c"]) == ("55,2", "140")
    buttons = {str(one["name"]): str(one["value"]) for one in page.select(".readings button.second")}
    assert buttons == {"instead.charge_v": "3.45", "instead.cell_c": "60"}
    assert client.document() == before
    mended = client.post("/banks", sent | {"cell_c": "12"} | {"instead.charge_v": buttons["instead.charge_v"]})
    assert mended.status_code == 303
    assert client.document()["banks"][0]["charge_v"] == 3.45


def test_a_click_on_a_reading_answers_a_question_too(client: Client) -> None:
    refused = client.get("/today", params={"charge": "0,8 Ah", "sky": "dark"})
    assert refused.status_code == 422
    taken = client.get("/today.json", params={"charge": "1,234", "instead.charge": "80", "sky": "dark"})
    plain = client.get("/today.json", params={"charge": "80", "sky": "dark"})
    assert taken.status_code == 200
    assert taken.json() == plain.json()


@pytest.mark.parametrize(
    ("section", "name", "text"),
    [("banks", "reserve_soc", "[" * 9000), ("banks", "name.x", "1"), ("sun", "arrays.0.kwp", "1")],
)
def test_a_remedy_that_fits_nothing_is_refused(client: Client, section: str, name: str, text: str) -> None:
    before = client.document()
    sent = {"revision": str(client.store.current().revision), "section": section, "item_id": "store"}
    response = client.post("/apply", sent | {"back": "/banks", f"value.{name}": text})
    assert response.status_code == 422
    assert client.document() == before


def test_a_bank_of_the_largest_size_is_compared(client: Client) -> None:
    document = client.document()
    document["banks"][0] |= {"parallel": 200, "label_ah": 2000.0}
    client.store.create(document, "made")
    assert client.get("/week?sky=dark").status_code == 200
    own_kwh = 16 * 200 * 2000 * 3.2 / 1000
    for one in client.get("/week.json?sky=dark").json()["contenders"]:
        assert one["label_kwh"] == pytest.approx(own_kwh, rel=0.01)


MARK = '<script>alert(1)</script>"><img src=x onerror=alert(1)>{{7*7}}'


def test_no_text_of_a_household_becomes_markup(client: Client) -> None:
    document = client.document()
    document |= {"name": MARK, "note": MARK}
    for things in (document["banks"], document["loads"], document["inverters"], document["sun"]["arrays"]):
        for thing in things:
            thing["name"] = MARK
    client.store.create(document, "made " + MARK)
    paths = [page.path for page in client.app.app.state.nav]
    for path in [*paths, f"/files?x={MARK}", f"/today?charge={MARK}", f"/{MARK}"]:
        page = soup(client.get(path))
        assert not page.find_all(attrs={"onerror": True}), path
        assert not page.find_all("img", src="x"), path
        assert not [one for one in page.find_all("script") if "alert(1)" in one.get_text()], path
        assert "49" not in page.title.get_text(), path  # type: ignore[union-attr]
        assert not page.find_all(href=lambda href: bool(href) and href.lower().startswith("javascript:")), path


@pytest.mark.parametrize(("section", "most"), [("banks", 40), ("loads", 200), ("arrays", 40)])
def test_a_household_of_endless_things_is_refused_in_a_sentence(client: Client, section: str, most: int) -> None:
    document = client.document()
    holder = document["sun"] if section == "arrays" else document
    one = holder[section][0]
    holder[section] = [{**one, "id": f"n{n}"} for n in range(1000)]
    sent = {"file": ("many.json", json.dumps(document).encode(), "application/json")}
    response = client.post("/files/upload", files=sent)
    assert response.status_code == 422
    assert f"A household may have {most} {section}; this has 1\u202f000." in soup(response).get_text()


def what_was_saved(client: Client, path: str) -> str:
    said = soup(client.get(path)).select_one("#saved p")
    assert said is not None
    return " ".join(said.get_text().split())


def test_a_number_in_another_unit_is_said_as_it_was_read(client: Client) -> None:
    """20 miles are 32.19 km, by definition of the mile; a number in the field's own unit needs no words."""
    sent = form_of(soup(client.get("/loads?edit=van")), "load-van-form")
    assert client.post("/loads", sent | {"values.distance_km": "20 miles"}).status_code == 303
    assert "distance driven “20 miles” read as 32.19 km a day" in what_was_saved(client, "/loads")
    sent = form_of(soup(client.get("/loads?edit=van")), "load-van-form")
    assert client.post("/loads", sent | {"values.distance_km": "40 km"}).status_code == 303
    assert "read as" not in what_was_saved(client, "/loads")


@pytest.mark.parametrize(("typed", "said"), [("12 kW", "12 000 W"), ("12.345 kW", "12 345 W"), ("2.5 kW", "2500 W")])
def test_a_large_number_in_another_unit_is_said_in_full(client: Client, typed: str, said: str) -> None:
    sent = form_of(soup(client.get("/inverter?edit=main")), "inverter-main-form")
    assert client.post("/inverter", sent | {"rated_w": typed}).status_code == 303
    told = what_was_saved(client, "/inverter").replace("\u202f", " ")
    assert f"“{typed}” read as {said}" in told


def test_a_number_in_another_unit_is_said_in_that_of_the_household(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    """3 for each litre are 3 × 3.785411784 for each gallon."""
    client = client_of(small_house | {"units": {"volume": "gal", "decimal": "comma"}})
    sent = form_of(soup(client.get("/prices")), "prices-form")
    assert client.post("/prices", sent | {"fuel_per_litre": "3 for each litre"}).status_code == 303
    assert "“3 for each litre” read as 11,36 for each gallon" in what_was_saved(client, "/prices")


def test_horsepower_is_taken_as_watts_at_the_shaft_and_that_is_said(client: Client) -> None:
    """The horsepower of electric motors is 746 W (NIST SP 811)."""
    sent = form_of(soup(client.get("/loads?add=steady")), "add-load-form")
    assert client.post("/loads", sent | {"name": "Pump", "values.power_w": "1 hp"}).status_code == 303
    assert client.document()["loads"][-1]["values"]["power_w"] == 746
    said = what_was_saved(client, "/loads")
    assert "“1 hp” read as 746 W at the shaft" in said
    assert "the motor draws more" in said
