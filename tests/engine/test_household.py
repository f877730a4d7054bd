"""The household document: read, written, and refused in the householder's words."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest

from engine.errors import InputError
from engine.house import household
from engine.paths import data_dir

HOUSEHOLDS = Path(__file__).parents[1] / "households"


def document(name: str = "h") -> dict[str, Any]:
    found: dict[str, Any] = json.loads((HOUSEHOLDS / f"{name}.json").read_text(encoding="utf-8"))
    return found


def changed(path: str, value: object) -> dict[str, Any]:
    found = copy.deepcopy(document())
    place: Any = found
    *parents, last = path.split(".")
    for part in parents:
        place = place[int(part)] if part.isdigit() else place[part]
    place[last] = value
    return found


@pytest.mark.parametrize(
    "path", [*sorted(HOUSEHOLDS.glob("*.json")), data_dir() / "example.json"], ids=lambda p: p.stem
)
def test_document_comes_back_the_same(path: Path) -> None:
    house = household.read(path.read_text(encoding="utf-8"))
    written = household.write(house)
    assert household.read(json.dumps(written)) == house
    assert household.write(household.read(written)) == written


def test_example_says_that_it_is_invented() -> None:
    house = household.read((data_dir() / "example.json").read_text(encoding="utf-8"))
    assert house.example
    assert "invented" in house.note


@pytest.mark.parametrize(
    ("path", "value", "field", "words"),
    [
        ("banks.0.series", 0, "banks.0.series", ("Cells in series", "1 to 400", "got 0")),
        ("banks.0.series", 2.5, "banks.0.series", ("whole number", "got 2.5")),
        ("banks.0.series", "many", "banks.0.series", ("Cells in series", "“many”")),
        ("banks.0.label_ah", 1e9, "banks.0.label_ah", ("Label capacity of one cell", "20,000 Ah", "1e+09")),
        ("banks.0.label_ah", "1,234", "banks.0.label_ah", ("Label capacity of one cell", "1,234")),
        ("banks.0.label_ah", "", "banks.0.label_ah", ("Label capacity of one cell", "nothing")),
        ("banks.0.label_ah", float("nan"), "banks.0.label_ah", ("Label capacity of one cell", "nan")),
        ("banks.0.label_ah", -5, "banks.0.label_ah", ("-5",)),
        ("banks.0.reserve_soc", 1.2, "banks.0.reserve_soc", ("Keep in reserve", "0 to 95 %", "120")),
        ("banks.0.charge_v", 4.4, "banks.0.charge_v", ("3.65 V per cell", "4.4 V")),
        ("banks.0.board.cell_high_v", 2.4, "banks.0.board.cell_high_v", ("2.5 V", "2.4 V")),
        ("banks.0.colour", "blue", "banks.0.colour", ("“banks.0.colour”", "not known")),
        ("banks.0.chemistry", "unobtainium", "banks.0.chemistry", ("unobtainium", "lfp")),
        ("banks.0.inverter", "shed", "banks.0.inverter", ("shed", "main")),
        ("site.latitude_deg", 91, "site.latitude_deg", ("Latitude", "-90 to 90 degrees", "got 91")),
        ("site.time_zone", "Mars/Base", "site.time_zone", ("Mars/Base",)),
        ("inverters.0.restart_v", 39, "inverters.0.restart_v", ("Restart volts", "40 V", "39 V")),
        ("loads.0.values.power_w", -1, "loads.0.values.power_w", ("got -1",)),
        ("loads.0.values.kilowatts", 3, "loads.0.values.kilowatts", ("kilowatts", "not known")),
        ("prices", {"bank_per_kwh": -1}, "prices.bank_per_kwh", ("Price of a bank", "0 to 1,000,000,000", "got -1")),
        ("prices", {"fuel_per_litre": "dear"}, "prices.fuel_per_litre", ("Price of fuel", "“dear”")),
        ("prices", {"currency": "euros"}, "prices.currency", ("symbol", "at most 4 characters", "has 5")),
        ("prices", {"currency": "€ 2"}, "prices.currency", ("symbol only", "no digits")),
        ("prices", {"gold": 1}, "prices.gold", ("“prices.gold”", "not known")),
        ("loads.0.kind", "disco", "loads.0.kind", ("disco", "steady")),
        ("format", 2, "format", ("newer", "format 2")),
        ("format", "one", "format", ("'one'",)),
        ("favourite", 1, "favourite", ("“favourite”", "not known")),
    ],
)
def test_bad_document_is_refused_by_name(path: str, value: object, field: str, words: tuple[str, ...]) -> None:
    with pytest.raises(InputError) as fault:
        household.read(changed(path, value))
    assert fault.value.field == field
    for word in words:
        assert word in fault.value.message


def test_prices_come_back_as_typed_and_none_is_made_up() -> None:
    plain = household.read(document()).prices
    assert (plain.currency, plain.bank_per_kwh, plain.panels_per_kwp, plain.fuel_per_litre) == ("", None, None, None)
    assert not plain.known
    typed = {"currency": "R$", "bank_per_kwh": 900.5, "panels_per_kwp": None, "fuel_per_litre": 0.0}
    house = household.read({**document(), "prices": typed})
    assert house.prices.known
    assert household.write(house)["prices"] == typed


def test_every_fault_is_found_at_once() -> None:
    bad = changed("banks.0.series", 0)
    bad["banks"][0]["parallel"] = 0
    bad["site"]["latitude_deg"] = 100
    with pytest.raises(InputError) as fault:
        household.read(bad)
    assert {e.field for e in fault.value.every()} == {
        "banks.0.series",
        "banks.0.parallel",
        "site.latitude_deg",
    }


def test_two_banks_on_one_inverter_share_its_bus() -> None:
    two = document()
    two["banks"].append({**two["banks"][0], "id": "second", "name": "Second"})
    (supply,) = household.read(two).supplies()
    assert [bank.id for bank in supply.banks] == [two["banks"][0]["id"], "second"]
    two["banks"][1]["inverter"] = ""
    (supply,) = household.read(two).supplies()
    assert supply.beside == ()


def test_loads_follow_the_first_inverter_that_has_a_bank() -> None:
    moved = document()
    moved["inverters"].insert(0, {**moved["inverters"][0], "id": "spare", "name": "Spare"})
    (supply,) = household.read(moved).supplies()
    assert [load.id for load in supply.loads] == ["all"]
    assert [array.id for array in supply.arrays] == ["roof"]


@pytest.mark.parametrize(
    "text",
    [
        '{"name": ' * 5000,
        '{"name": "x", "format": ' + "9" * 5000 + "}",
        '{"name": "\\ud800"}',
        json.dumps(document()).replace("280.0", "1" + "0" * 400),
        json.dumps(document()).replace("280.0", "Infinity"),
        json.dumps({**document(), "note": "x" * 5001}),
        json.dumps(document()).replace("[3.2, 3.2]", "[3.2, 1e308]"),
        json.dumps(document()).replace('"soc": [0.0, 1.0]', '"soc": [0.0, 1e-320, 1.0]'),
    ],
    ids=["deep", "long", "surrogate", "large", "infinite", "note", "volts", "twin-soc"],
)
def test_hostile_documents_are_refused_not_crashed_on(text: str) -> None:
    with pytest.raises(InputError):
        household.read(text)


def test_twin_ids_are_refused() -> None:
    bad = document()
    bad["loads"].append(bad["loads"][0])
    with pytest.raises(InputError, match="“all”"):
        household.read(bad)


def test_loads_and_panels_without_an_inverter_belong_to_the_first() -> None:
    two = document()
    two["inverters"].append({**two["inverters"][0], "id": "shed", "name": "Shed"})
    two["banks"].append({**two["banks"][0], "id": "b2", "name": "Shed bank", "inverter": "shed"})
    two["loads"].append({"id": "saw", "name": "Saw", "kind": "steady", "inverter": "shed", "values": {"power_w": 50}})
    main, shed = household.read(two).supplies()
    assert [load.id for load in main.loads] == ["all"]
    assert [array.id for array in main.arrays] == ["roof"]
    assert [load.id for load in shed.loads] == ["saw"]
    assert shed.arrays == ()


@pytest.mark.parametrize("text", ["", "[]", "{", "null", "12"])
def test_what_is_no_household_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="not a household"):
        household.read(text)


@pytest.mark.parametrize(
    ("part", "named"),
    [
        ('"loads":[' + "{}," * 1000 + "{}]", "“loads” has 1,001 entries"),
        ('"sun":{"spells":[' + "{}," * 1000 + "{}]}", "“spells” has 1,001 entries"),
        ('"loads":[{"months":[' + '"x",' * 1000 + "1]}]", "“months” has 1,001 entries"),
        (",".join(f'"a{n}":1' for n in range(1001)), "“the document” has 1,004 entries"),
        ('"loads":[' + ",".join(["[" + "1," * 900 + "1]"] * 70) + "]", "more than 60,000 values"),
        ('"note":"' + "x" * 4 * 1024**2 + '"', "its text is 4.0 MB long; the most that is read is 4 MB"),
    ],
)
def test_a_document_without_end_is_refused_at_once_in_one_sentence(part: str, named: str) -> None:
    with pytest.raises(InputError, match=named) as refused:
        household.read('{"format":1,"name":"x","site":{},' + part + "}")
    assert len(refused.value.every()) == 1
