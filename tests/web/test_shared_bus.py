"""Banks that share a DC bus on the pages: refused with the reason, or answered together."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from engine.house import household
from engine.house.bank import Bank
from engine.house.bus import common_end_v
from tests.conftest import Client, form_of, soup
from tests.engine.test_bus import LEAD, LFP, SODIUM, house_of
from tests.web.conftest import Opener


def home(*banks: Bank) -> dict[str, Any]:
    return household.write(house_of(*banks)) | {"name": "Two banks", "example": False}


@pytest.fixture
def shared(client_of: Opener) -> Client:
    return client_of(home(LFP, SODIUM))


@pytest.mark.parametrize("path", ["/today", "/today.json"])
def test_lead_acid_beside_lfp_has_no_answer_but_a_stop(client_of: Opener, path: str) -> None:
    told = client_of(home(LFP, LEAD)).get(path)
    assert "may not share the DC bus" in told.text
    assert "V suit them all" in told.text
    if path == "/today":
        page = soup(told)
        stop = page.select_one("#answer .note.stop")
        assert stop is not None
        assert stop.text.startswith("Stop")
        assert "hours" not in page.select_one("#answer h1").text
    else:
        assert told.status_code == 422


def test_where_the_four_conditions_hold_both_banks_are_answered_together(shared: Client) -> None:
    page = soup(shared.get("/today?sky=none&charge=80"))
    assert "LFP bank and Sodium-ion bank" in page.select_one("#answer h1").text
    rows = page.select("#answer table.bus tbody tr")
    assert [row.th.text for row in rows] == ["LFP bank", "Sodium-ion bank"]


def test_the_parts_of_the_json_sum_to_all_that_is_given(shared: Client) -> None:
    (bank,) = shared.get("/today.json?sky=none").json()["banks"]
    assert sum(part["given_share"] for part in bank["parts"]) == pytest.approx(1.0)
    assert len(bank["parts"][0]["soc"]) > 100


def test_each_bank_has_a_charge_and_a_reserve_of_its_own(shared: Client) -> None:
    names = {field["name"] for field in soup(shared.get("/today")).select("form.ask input")}
    assert {"charge", "reserve", f"charge_{SODIUM.id}", f"reserve_{SODIUM.id}"} <= names
    low = shared.get(f"/today.json?sky=none&charge=50&charge_{SODIUM.id}=50").json()["hours_to_reserve"]
    high = shared.get(f"/today.json?sky=none&charge=50&charge_{SODIUM.id}=60").json()["hours_to_reserve"]
    assert low < high


@pytest.mark.parametrize(
    "path", ["/size", "/week", "/winters", "/sheet", "/charge", "/banks", "/loads", "/sun", "/sky"]
)
def test_every_other_page_stands(shared: Client, path: str) -> None:
    assert shared.get(path).status_code == 200


def test_bank_size_says_that_it_takes_one_of_them(shared: Client) -> None:
    page = soup(shared.get(f"/size?bank={SODIUM.id}"))
    assert "take one of them at a time" in page.text


def test_what_a_bank_has_of_its_own_is_saved(shared: Client) -> None:
    """A tick taken away leaves the bus unguarded, and the answer ends."""
    path = f"bank-{SODIUM.id}-form"
    sent = form_of(soup(shared.get("/banks")), path)
    assert sent["own_fuse"] == "1"
    shared.post("/banks", sent | {"own_fuse": ""})
    assert shared.document()["banks"][1]["own_fuse"] is False
    assert "has no fuse of its own" in shared.get("/today").text


def text_of(client: Client, path: str, selector: str = "main") -> str:
    found = soup(client.get(path)).select_one(selector)
    assert found is not None
    return " ".join(found.get_text(" ").split())


def test_a_shared_bus_is_told_as_it_is_on_every_page(shared: Client) -> None:
    """Sheet and Inverter name both banks, Banks tells what the bus gives, and no ampere-hours are added up."""
    feeding = next(part for part in text_of(shared, "/sheet").split(". ") if "the house through" in part)
    assert "LFP bank (" in feeding
    assert "Sodium-ion bank (" in feeding
    assert "together feed the house" in feeding
    assert "carries LFP bank and Sodium-ion bank" in text_of(shared, "/inverter")
    end_v = common_end_v((LFP, SODIUM))
    assert text_of(shared, "/banks").count(f"On the bus it shares the charge ends at {end_v:.1f} V") == 2
    size = text_of(shared, "/size", "#answer")
    assert "as if it stood alone. What LFP bank and Sodium-ion bank need together" in size
    card = text_of(shared, "/card")
    assert "Ah (nobody has tested them) of LFP bank and the label’s" in card
    assert "490 Ah" not in card


def test_volts_that_cannot_stand_on_one_bus_and_a_charge_it_overrules_are_said(client_of: Opener) -> None:
    high = dataclasses.replace(SODIUM, series=15, charge_v=3.8)
    client = client_of(home(LFP, high))
    far = text_of(client, f"/today?charge=98&charge_{high.id}=12&sky=dull", "#answer")
    assert "at rest cannot stand on one bus" in far
    assert "must not be joined now" in far
    assert "cannot stand on one bus" not in text_of(client, "/today?sky=dull", "#answer")
    over = text_of(client, f"/today?charge_{high.id}=95&sky=dull", "#answer")
    most = client.get("/today.json?sky=dull").json()["banks"][0]["parts"][1]["top_soc"]
    assert most < 0.94
    said = f"you typed 95 % of tested Ah; the volts of this bus fill it to {most * 100:.1f} % at most"
    assert said.replace(".0 %", " %") in over


def test_the_charge_that_stands_in_the_form_of_a_shared_bus_is_the_one_that_is_taken(client_of: Opener) -> None:
    client = client_of(home(LFP, dataclasses.replace(SODIUM, series=15, charge_v=3.8)))
    field = soup(client.get("/today")).select_one(f"input[name=charge_{SODIUM.id}]")
    assert field is not None
    taken = client.get("/today.json").json()["banks"][0]["charges"][1]["soc"]
    assert float(str(field["value"])) == pytest.approx(taken * 100.0, abs=0.06)
