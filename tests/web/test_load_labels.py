"""Loads as their labels have them: energy for a year or a day, a run and its week, what a tank holds."""

from __future__ import annotations

from typing import Any

import pytest

from tests.conftest import Client, form_of, soup
from tests.web.conftest import Opener
from tests.web.test_first_hour import saved, text

WATER = {"id": "tank", "name": "Heat tank", "kind": "water", "can_wait": True, "values": {"heater_kw": 1.0}}


@pytest.mark.parametrize(
    ("typed", "watts"),
    [
        ("185 kWh/year", 185_000 / 8760),
        ("185 kWh/a", 185_000 / 8760),
        ("185kWh/annum", 185_000 / 8760),
        ("400 kWh/yr", 400_000 / 8760),
        ("0,51 kWh/day", 510 / 24),
        ("510 Wh a day", 510 / 24),
        ("25 W", 25.0),
    ],
)
def test_an_always_on_load_takes_what_its_label_says(client: Client, typed: str, watts: float) -> None:
    saved(client, "/loads?add=steady", "add-load-form", **{"name": "Fridge", "values.power_w": typed})
    assert client.document()["loads"][-1]["values"]["power_w"] == pytest.approx(watts)


def test_a_load_by_the_clock_does_not_take_energy_for_its_power(client: Client) -> None:
    sent = form_of(soup(client.get("/loads?add=timed")), "add-load-form")
    refused = client.post("/loads?add=timed", sent | {"name": "Oven", "values.power_w": "185 kWh/year"})
    assert refused.status_code == 422


def test_runs_a_week_are_typed_and_counted(client: Client) -> None:
    typed = {"values.run_kwh": "0.9", "values.runs": "4", "values.power_w": "2100", "values.end_h": "16:30"}
    saved(client, "/loads?add=runs", "add-load-form", **{"name": "Washing machine"} | typed)
    row = soup(client.get("/loads")).select_one("#load-washing-machine")
    assert "0.51" in text(row)


def test_what_the_tank_holds_is_a_field_of_the_load_and_car_and_water_takes_it(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    small_house["loads"].append(WATER)
    client = client_of(small_house)
    tank = soup(client.get("/car")).select_one("#tank_litres")
    assert tank is not None
    assert tank["value"] == "200"
    sunny = "charge=90&sky=bright,bright&at=2026-06-03%2006:00&tank_c=40"
    assert client.get(f"/car.json?{sunny}").json()["surplus"]["tank"]["litres_assumed"]
    saved(client, "/loads", "load-tank-form", "/loads?edit=tank", **{"values.tank_litres": "80"})
    water = client.get(f"/car.json?{sunny}").json()["surplus"]["tank"]
    assert (water["litres"], water["litres_assumed"]) == (80.0, False)
    page = soup(client.get(f"/car?{sunny}"))
    assert "80 is as entered on Loads" in text(page.select_one("#tank_litres-hint"))
