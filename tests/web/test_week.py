"""Rainy week: four chemistries through the same days, in words, table, chart and balance."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from bs4 import BeautifulSoup

from tests.conftest import Client, soup

Opener = Callable[[str | dict[str, Any] | None], Client]
FOUR = {"lfp", "nmc", "sodium_layered", "lead_sealed"}


def words(page: BeautifulSoup, selector: str) -> str:
    found = page.select_one(selector)
    assert found is not None
    return " ".join(found.get_text().split())


@pytest.mark.parametrize("query", ["", "month=6", "basis=usable&sky=dark,dark,dull", "sky=none&at=2026-02-01"])
def test_energy_is_accounted_for(client: Client, query: str) -> None:
    answer = client.get(f"/week.json?{query}").json()
    assert {one["chemistry"] for one in answer["contenders"]} == FOUR
    for one in answer["contenders"]:
        out = one["served_kwh"] + one["losses_kwh"] + one["stored_change_kwh"]
        turnover = max(one["sun_kwh"], one["served_kwh"])
        assert abs(one["sun_kwh"] - out) <= 0.001 * turnover
        assert one["served_kwh"] + one["unserved_kwh"] == pytest.approx(answer["demand_kwh"], rel=1e-6)
        assert 0 <= one["lowest_soc"] <= one["top_soc"] <= 1


def test_the_table_equals_the_chart(client: Client) -> None:
    page = soup(client.get("/week?month=3"))
    figure = json.loads(str(page.select_one("[data-figure]")["data-figure"]))  # type: ignore[index]
    rows = [[cell.get_text() for cell in row.select("td")] for row in page.select(".chart tbody tr")]
    columns = list(zip(*rows, strict=True))
    assert len(figure["data"]) == 4
    for trace, column in zip(figure["data"], columns[1:], strict=True):
        assert [float(cell) for cell in column] == trace["y"]
        assert [time[-5:] for time in columns[0]] == [x[11:16] for x in trace["x"]]
    heads = [head.get_text() for head in page.select(".chart thead th")][1:]
    notes = [note["text"] for note in figure["layout"]["annotations"]]
    assert [head.removesuffix(", %") for head in heads] == notes


def test_the_page_tells_what_the_answer_holds(client: Client) -> None:
    answer = client.get("/week.json?month=3").json()
    page = soup(client.get("/week?month=3"))
    for one, row in zip(answer["contenders"], page.select(".sides tbody tr"), strict=True):
        cells = [cell.get_text() for cell in row.select("td")]
        assert one["name"] in row.select_one("th").get_text()  # type: ignore[union-attr]
        assert int(cells[0]) == one["series"]
        assert float(cells[3]) == round(one["unserved_kwh"], 1)
        assert cells[5] == f"{one['lowest_soc'] * 100:.0f}\u00a0%"
        assert float(cells[6]) == round(one["losses_kwh"], 1)
        again = one["full_again_at"]
        told = "not within these days" if again is None else datetime.fromisoformat(again).strftime("%H:%M")
        assert told in cells[7]
        assert f"{one['charge_v']:.2f}\u00a0V per cell" in row.get_text()


@pytest.mark.parametrize(
    ("watts", "said"),
    [(5.0, "All four carry the loads"), (900.0, "None of them carries the loads"), (250.0, "carry the loads through")],
)
def test_the_sentence_says_who_carries_it(
    client_of: Opener, small_house: dict[str, Any], watts: float, said: str
) -> None:
    small_house["loads"] = [{"id": "a", "name": "A", "kind": "steady", "values": {"power_w": watts}}]
    client = client_of(small_house)
    page = soup(client.get("/week?month=3"))
    answer = client.get("/week.json?month=3").json()
    text = words(page, ".sentence")
    assert said in text
    short = [one for one in answer["contenders"] if one["unserved_kwh"] >= 0.005]
    assert ("short" in text) == bool(short)


def test_equal_usable_is_what_the_own_bank_gives(client: Client) -> None:
    answer = client.get("/week.json?basis=usable").json()
    usable = [one["usable_kwh"] for one in answer["contenders"]]
    assert max(usable) - min(usable) < 1e-3 * max(usable)
    labels = client.get("/week.json?basis=label").json()
    assert len({round(one["label_kwh"], 6) for one in labels["contenders"]}) == 1


def test_the_usual_days_are_the_climates_worst_week_and_what_followed(client: Client) -> None:
    answer = client.get("/week.json").json()
    assert answer["sky_title"].startswith("Worst week of 1 year in 10")
    assert len(answer["sky_days"]) == 14
    assert answer["week_days"] == 7
    assert answer["at"] == "2026-11-25T00:00:00+00:00"


def test_a_month_begins_at_its_middle_and_a_date_at_its_midnight(client: Client) -> None:
    assert client.get("/week.json?month=12").json()["at"].startswith("2026-12-10T00:00")
    assert client.get("/week.json?month=3").json()["at"].startswith("2027-03-16T00:00")
    assert client.get("/week.json?at=2026-12-24T15:30").json()["at"].startswith("2026-12-24T00:00")


def test_a_spell_of_another_month_is_said_with_a_remedy(client: Client) -> None:
    page = soup(client.get("/week?month=8"))
    assert "belong to March; you ask about August" in words(page, ".note.check")
    remedy = page.select_one(".note.check a")
    assert remedy is not None
    assert not soup(client.get(str(remedy["href"]))).select(".note.check a")


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("month", "0"),
        ("month", ""),
        ("at", "banana"),
        ("at", ""),
        ("at", "1e9"),
        ("basis", "price"),
        ("sky", "rain"),
        ("sky", ""),
    ],
)
def test_bad_questions_are_refused_and_kept(client: Client, name: str, text: str) -> None:
    response = client.get("/week", params={name: text})
    assert response.status_code == 422
    page = soup(response)
    assert page.title is not None
    assert page.title.get_text().startswith("Error: Rainy week")
    assert page.select_one(f".summary a[href='#{name}']") is not None
    assert list(client.get("/week.json", params={name: text}).json()["errors"]) == [name]


def test_an_inverter_no_chemistry_fits_is_said_plainly(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["inverters"][0] |= {"dc_min_v": 8.1, "dc_max_v": 8.5, "restart_v": 8.3}
    page = soup(client_of(small_house).get("/week"))
    assert "No chemistry of the catalogue fits" in words(page, ".empty")


def test_cautions_stand_on_the_page(client: Client) -> None:
    text = words(soup(client.get("/week")), ".cautions")
    for caution in ("hydrogen", "below 0 °C", "not a listed product", "not an approval"):
        assert caution in text
