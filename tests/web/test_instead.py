"""Trying the other bank: one button, undone like any change; what is not in use is not asked about first."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from tests.conftest import Client, form_of, soup
from tests.web.conftest import Opener
from tests.web.test_first_hour import next_link, text


@pytest.fixture
def two(client_of: Opener, small_house: dict[str, Any]) -> Client:
    """The small household with a second bank, listed before the one in use and joined to nothing."""
    other = copy.deepcopy(small_house["banks"][0]) | {"id": "van", "name": "Van bank", "inverter": ""}
    small_house["banks"].insert(0, other)
    return client_of(small_house)


def joined(client: Client) -> dict[str, str]:
    return {bank["id"]: bank["inverter"] for bank in client.document()["banks"]}


def test_one_button_puts_a_bank_in_the_place_of_another_and_undo_takes_it_back(two: Client) -> None:
    page = soup(two.get("/banks"))
    forms = page.select("form[action='/banks/instead']")
    assert [text(form.button) for form in forms] == ["Use this one instead of Store-room bank"]
    sent = {field["name"]: field.get("value", "") for field in forms[0].select("input[name]")}
    assert two.post("/banks/instead", sent).status_code == 303
    assert joined(two) == {"van": "main", "store": ""}
    after = soup(two.get("/banks"))
    assert "Van bank in use instead of Store-room bank" in text(after.select_one("#saved p"))
    undo = after.select_one("#saved form")
    assert undo is not None
    two.post("/undo", {field["name"]: field.get("value", "") for field in undo.select("input[name]")})
    assert joined(two) == {"van": "", "store": "main"}


def test_what_was_set_for_the_other_bank_is_said_after_the_swap(client_of: Opener, small_house: dict[str, Any]) -> None:
    first = small_house["banks"][0]
    wrong = copy.deepcopy(first) | {"id": "low", "name": "Low bank", "inverter": "", "series": 8}
    small_house["banks"].append(wrong)
    other = copy.deepcopy(first) | {"id": "van", "name": "Van bank", "inverter": "", "chemistry": "sodium_layered"}
    small_house["banks"].append(other | {"reserve_soc": 0.1, "board": None})
    client = client_of(small_house)
    sent = form_of(soup(client.get("/banks")), "add-bank-form") | {"item_id": "van", "inverter": "main"}
    landed = client.post("/banks/instead", sent).headers["Location"].split("#")[0]
    said = soup(client.get(landed)).select_one("#bank-van .note")
    inverter = client.document()["inverters"][0]
    assert f"restart {inverter['restart_v']:.1f} V, where " in text(said)
    assert "cut-off" not in text(said), "without its lowest volts the cut-off that is set stays the proposal"
    assert soup(client.get(landed)).select_one('#bank-van .note a[href="/inverter#inverter-main"]')
    assert soup(client.get("/banks")).select_one("#bank-van .note") is None
    assert client.get("/banks?swapped=gone").status_code == 200
    (bank,) = client.get("/commissioning.json").json()["banks"]
    proposed = {one["key"]: one["pack_v"] for one in bank["rows"]}
    assert f"where Charge volts proposes {proposed['restart']:.1f} V for Van bank" in text(said)
    sent = form_of(soup(client.get("/banks")), "add-bank-form") | {"item_id": "low", "inverter": "main"}
    landed = client.post("/banks/instead", sent).headers["Location"].split("#")[0]
    assert "none fits Low bank" in text(soup(client.get(landed)).select_one("#bank-low .note"))


def test_the_hint_of_a_cold_charge_says_what_is_counted_for_these_cells(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    first = small_house["banks"][0]
    for name, chemistry in (("van", "sodium_layered"), ("lead", "lead_sealed")):
        small_house["banks"].append(first | {"id": name, "name": name, "chemistry": chemistry, "inverter": ""})
    page = soup(client_of(small_house).get("/banks"))
    hints = {name: text(page.select_one(f"#bank-{name}-cold_charge_a-hint")) for name in ("store", "van", "lead")}
    assert "Empty: 0.1C is counted" in hints["store"]
    assert "Empty: none is counted below 10 °C" in hints["van"]
    assert "0.1C" not in hints["van"]
    assert "the highest at any temperature" in hints["lead"]


@pytest.mark.parametrize("typed", ["C10", "c/10", "0.1C", "0,1 c", "10 hours", "10"])
def test_rated_hours_are_taken_as_printed_on_the_cell_and_shown_with_its_temperature(
    client_of: Opener, small_house: dict[str, Any], typed: str
) -> None:
    lead = {"chemistry": "lead_sealed", "series": 24, "reserve_soc": 0.5, "board": None, "cell_c": 9.0}
    small_house["banks"][0] |= lead
    client = client_of(small_house)
    page = soup(client.get("/banks"))
    assert "cells at 9 °C" in text(page.select_one("#bank-store-facts header"))
    assert "taken for 20 hours" in text(page.select_one("#bank-store-facts"))
    sent = form_of(page, "bank-store-form") | {"rated_h": typed}
    assert client.post("/banks", sent).status_code == 303
    assert client.document()["banks"][0]["rated_h"] == 10.0
    assert ", for 10 hours" in text(soup(client.get("/banks")).select_one("#bank-store-facts"))
    refused = client.post("/banks", form_of(soup(client.get("/banks")), "bank-store-form") | {"rated_h": "C9000"})
    assert refused.status_code == 422


def test_a_bank_that_is_gone_or_an_inverter_that_is_not_there_changes_nothing(two: Client) -> None:
    base = form_of(soup(two.get("/banks")), "add-bank-form")
    for sent in ({"item_id": "gone", "inverter": "main"}, {"item_id": "van", "inverter": "gone"}):
        assert two.post("/banks/instead", base | sent).status_code == 422
    assert joined(two) == {"van": "", "store": "main"}


def test_charge_volts_and_the_capacity_test_begin_with_the_bank_in_use(two: Client) -> None:
    for path in ("/charge", "/measure/capacity"):
        chosen = soup(two.get(path)).select_one("#bank option[selected]")
        assert chosen is not None, path
        assert chosen["value"] == "store", path


def test_today_is_not_the_next_step_where_it_would_refuse(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"].append(
        small_house["banks"][0]
        | {"id": "lead", "name": "Lead bank", "chemistry": "lead_sealed", "series": 24, "board": None}
    )
    client = client_of(small_house)
    assert "must not be joined" in text(soup(client.get("/today")).select_one("h1"))
    words, address = next_link(client)
    assert "ask Today" not in words
    assert address == "/banks#notices"
