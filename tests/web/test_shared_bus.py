"""Banks that share a DC bus on the pages: refused with the reason, or answered together."""

from __future__ import annotations

from typing import Any

import pytest

from engine.house import household
from engine.house.bank import Bank
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
