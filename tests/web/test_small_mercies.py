"""Small things that cost minutes: all faults at once, no version of nothing, one name for one thing."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.conftest import Client, form_of, soup
from tests.web.conftest import HOUSEHOLDS, Opener
from tests.web.test_first_hour import saved, text


def test_what_cannot_be_read_and_what_is_missing_are_said_at_once(client: Client) -> None:
    sent = form_of(soup(client.get("/banks")), "add-bank-form")
    typed = {"chemistry": "lfp", "series": "16", "label_ah": "280", "cell_c": "300", "board.current_limit_a": ""}
    page = soup(client.post("/banks", sent | typed))
    links = {link["href"] for link in page.select(".summary a")}
    assert links == {"#add-bank-cell_c", "#add-bank-board.current_limit_a"}
    missing = soup(client.post("/banks", sent | typed | {"cell_c": "12"}))
    assert {link["href"] for link in missing.select(".summary a")} == {"#add-bank-board.current_limit_a"}


def test_saving_without_a_change_makes_no_version(client: Client) -> None:
    before = client.store.current().revision
    saved(client, "/banks", "bank-store-form")
    assert client.store.current().revision == before
    saved(client, "/banks", "bank-store-form", cell_c="9")
    assert client.store.current().revision == before + 1


def test_a_bank_that_was_never_tested_says_nothing_of_a_test(client: Client) -> None:
    facts = text(soup(client.get("/banks")).select_one("#bank-store-facts"))
    assert "test" not in facts.lower()
    saved(client, "/banks", "bank-store-form", tested_ah="270")
    facts = text(soup(client.get("/banks")).select_one("#bank-store-facts"))
    assert "Your own test" in facts
    assert "of tested Ah" in facts


def test_the_list_of_loads_shows_the_times_that_were_typed(client_of: Opener, small_house: dict[str, Any]) -> None:
    values = {"power_w": 800.0, "start_h": 22.5, "run_h": 2.0}
    small_house["loads"] += [
        {"id": "bore", "name": "Borehole pump", "kind": "timed", "values": values},
        {"id": "wash", "name": "Wash", "kind": "runs", "values": {"start_h": 10.0, "end_h": 15.5}},
    ]
    page = soup(client_of(small_house).get("/loads"))
    assert "22:30 to 00:30" in text(page.select_one("#load-bore"))
    assert "10:00 to 15:30" in text(page.select_one("#load-wash"))
    assert "from 10:00" in text(page.select_one("#load-van"))


def test_the_only_inverter_is_offered_once_and_by_its_own_name(client: Client) -> None:
    for path, field in (
        ("/loads?add=steady", "add-load-inverter"),
        ("/sun", "add-array-inverter"),
        ("/inverter", "add-generator-inverter"),
    ):
        names = [text(one) for one in soup(client.get(path)).select(f"#{field} option")]
        assert names == ["Byre inverter"], path
    names = [text(one) for one in soup(client.get("/banks")).select("#add-bank-inverter option")]
    assert "Byre inverter" in names


def test_two_inverters_are_both_offered(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["inverters"].append(small_house["inverters"][0] | {"id": "two", "name": "Second"})
    page = soup(client_of(small_house).get("/loads?add=steady"))
    names = [text(one) for one in page.select("#add-load-inverter option")]
    assert names == ["The first inverter", "Byre inverter", "Second"]


@pytest.mark.parametrize("path", ["/off", "/run", "/spares", "/car", "/cold", "/care"])
def test_pages_that_go_on_say_where_their_days_are_from(client_of: Opener, path: str) -> None:
    document = json.loads((HOUSEHOLDS / "first_hour.json").read_text(encoding="utf-8"))
    document["generators"] = [
        {
            "id": "g", "name": "Petrol set", "rated_w": 3000, "charger_w": 2000, "full_l_per_h": 1.6,
            "idle_l_per_h": 0.5, "start_soc": 0.4, "stop_soc": 0.8,
        }
    ]  # fmt: skip
    strip = soup(client_of(document).get(f"{path}?charge=60&sky=dull,dull,bright")).select_one(".strip")
    assert strip is not None
    link = next(one for one in strip.select("a") if "choose other days" in one.get_text())
    assert str(link["href"]).startswith("/today?")
    assert "sky=dull,dull,bright" in str(link["href"])
