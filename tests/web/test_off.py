"""Switch off: the page, its block inside Today, its JSON, and what is refused."""

from __future__ import annotations

from typing import Any

import pytest

from tests.conftest import Client, soup
from tests.web.conftest import Opener

ASK = "charge=80&sky=dark,dark,dull,dull,bright&at=2026-11-25%2018:00"


@pytest.fixture
def example(client_of: Opener) -> Client:
    return client_of(None)


def answer(client: Client, query: str = ASK) -> Any:
    return soup(client.get(f"/off?{query}")).select_one("#answer")


def test_the_sentence_names_loads_and_times_that_the_table_has(example: Client) -> None:
    found = answer(example, f"{ASK}&until=2026-11-26%2018:00")
    sentence = found.select_one("h1").get_text()
    assert "switch off" in sentence
    rows = found.select("table.offs tbody tr")
    assert rows
    for row in rows:
        assert row.th.get_text() in sentence


def test_the_json_is_the_page(example: Client) -> None:
    query = f"{ASK}&until=2026-11-26%2018:00"
    told = example.get(f"/off.json?{query}").json()
    assert told["proven"]
    assert len(told["offs"]) == len(answer(example, query).select("table.offs tbody tr"))
    assert told["until"].startswith("2026-11-26T18:00")


def test_all_of_it_off_on_today_lasts_as_long_or_longer(example: Client) -> None:
    told = example.get(f"/off.json?{ASK}&until=2026-11-26%2018:00").json()
    off = ",".join(row["load_id"] for row in told["offs"])
    hours = example.get(f"/today.json?{ASK}&off={off}").json()["hours_to_reserve"]
    assert hours is None or hours >= told["until_h"] - 1e-6


def test_the_block_inside_today_is_short_and_leads_here(example: Client) -> None:
    brief = soup(example.get(f"/off?within=today&{ASK}")).select_one("#brief")
    assert brief is not None
    assert brief.a["href"].startswith("/off?charge=80")
    assert "within" not in brief.a["href"]
    assert len(brief.get_text()) < 300


def test_what_is_ticked_on_today_is_off_in_the_block_inside_it_and_open_again_on_the_page(example: Client) -> None:
    query = f"{ASK}&until=2026-11-26%2018:00"
    told = example.get(f"/off.json?{query}").json()
    first = told["offs"][0]
    name = first["name"].lower()

    def brief(more: str = "") -> str:
        return soup(example.get(f"/off?within=today&{query}{more}")).get_text().lower()

    assert f"the {name} by" in brief()
    assert f"the {name} by" not in brief(f"&off={first['load_id']}")
    assert example.get(f"/off.json?{query}&off={first['load_id']}").json() == told


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("until=2036-01-01", "The moment to last until must be after"),
        ("until=soon", "The moment to last until must be now, or a moment such as"),
        ("mind_tank=9", "Heat-pump tank must be a number from 1 to 5"),
    ],
)
def test_what_is_wrong_is_said_and_kept(example: Client, query: str, said: str) -> None:
    refused = example.get(f"/off?{ASK}&{query}")
    assert refused.status_code == 422
    page = soup(refused)
    assert said in page.get_text()
    name, text = query.split("=")
    assert page.select_one(f"[name={name}]")["value"] == text


def test_nothing_has_to_be_off_for_an_hour_from_now(example: Client) -> None:
    found = answer(example, f"{ASK}&until=2026-11-25%2019:00")
    assert "nothing has to be switched off" in found.get_text()
    assert not found.select("table.offs")


def test_a_household_without_a_bank_is_told_what_to_enter(client_of: Opener, small_house: dict[str, Any]) -> None:
    empty = client_of(small_house | {"banks": [], "loads": []})
    assert "Enter your first bank" in answer(empty, "").get_text()


@pytest.mark.parametrize(("charge", "cold"), [(90, True), (100, False)])
def test_a_tank_off_for_days_has_its_caution(example: Client, charge: int, cold: bool) -> None:
    query = f"charge={charge}&sky=dark,dark,dull,dull,bright&at=2026-11-25%2018:00&until=2026-11-27%2012:00"
    (tank,) = [off for off in example.get(f"/off.json?{query}").json()["offs"] if off["load_id"] == "tank"]
    assert (42.0 - tank["off_h"] > 24.0) == cold
    assert ("Heat-pump tank would be off for" in answer(example, query).get_text()) == cold


def test_of_loads_minded_alike_the_first_of_the_household_stays_on_longest(example: Client) -> None:
    query = "charge=100&sky=dark,dark,dull,dull,bright&at=2026-11-25%2018:00&until=2026-11-27%2012:00"
    off_h = {off["load_id"]: off["off_h"] for off in example.get(f"/off.json?{query}").json()["offs"]}
    places = [load["id"] for load in example.document()["loads"]]
    alike = sorted(off_h, key=places.index)
    assert set(alike) == {"tank", "van"}
    assert off_h[alike[0]] > off_h[alike[1]]


def test_where_nothing_was_worked_out_no_empty_table_says_how(example: Client) -> None:
    found = answer(example, "charge=70&sky=dark,dark&at=2026-11-25%2018:00&until=2026-11-28%2012:00")
    assert "does not last until" in found.get_text()
    assert [table for table in found.select(".proof table") if not table.select("tbody tr")] == []


def test_what_was_ticked_off_on_today_is_said_to_be_on_again(client_of: Opener) -> None:
    client = client_of(None)
    page = soup(client.get("/today?charge=80"))
    ticks = [str(one["value"]) for one in page.select("#answer input.off")]
    for tick in ticks:
        again = soup(client.get(f"/today?charge=80&off={tick}"))
        assert [str(one["value"]) for one in again.select("#answer input.off")] == ticks
    assert "With everything on, it lasts" in client.get(f"/off?charge=80&off={ticks[0]}").text
    assert "As it is, it lasts" in client.get("/off?charge=80").text


@pytest.mark.parametrize("typed", ["60", "60 %", "60%"])
def test_the_charge_that_was_taken_along_is_said_with_its_unit_once(example: Client, typed: str) -> None:
    page = soup(example.get("/off", params={"charge": typed, "told": f"2026-11-25T17:00~{typed}"}))
    said = page.select_one("#answer .typed-at")
    assert said is not None
    assert said.get_text().strip() == "With the charge typed at 17:00 on 25 Nov: 60 %."
