"""Winters: the sentence and its counts, the map, records as winters, bad questions."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import Client, soup
from tests.web.bringing import RECORDS
from tests.web.sun_files import kc_of_years, radiation
from tests.web.test_size import words

Opener = Callable[[Path | None], Client]


def answer_of(client: Client, query: str = "") -> dict[str, Any]:
    response = client.get(f"/winters.json{query}")
    assert response.status_code == 200
    found: dict[str, Any] = response.json()["winters"]
    return found


def test_page_says_what_the_answer_holds(client: Client) -> None:
    told, page = answer_of(client), soup(client.get("/winters"))
    sentence = words(page, "#answer h1")
    assert f"{told['own']['dark_spells']} times in 30 made winters" in sentence
    assert sentence.endswith(" never.")
    assert f"in {told['own']['dark_winters']} winters of 30" in words(page, ".lead")
    assert "not a forecast" in words(page, ".range")
    rows = page.select(".wide table tbody tr")
    assert sum("yours" in row.get_text() for row in rows) == 2


def cells_of(page: Any, title: str, row: str) -> list[str]:
    """The cells of a row in the table under a heading; a row is found by how its name begins or ends."""
    heading = next(one for one in page.select("h2") if one.get_text() == title)
    rows = heading.find_next("table").select("tbody tr")
    mine = next(one for one in rows if row in one.select_one("th").get_text())
    return [cell.get_text() for cell in mine.select("td")]


def test_a_number_is_written_alike_in_sentence_table_and_trial(client_of: Opener, small_house: dict[str, Any]) -> None:
    """A bank of two figures before the point tells one rounding from another."""
    small_house["sun"]["arrays"][0]["kwp"] *= 2.0
    client = client_of(small_house)  # type: ignore[arg-type]
    told, page = answer_of(client), soup(client.get("/winters"))
    assert 10.0 < told["own"]["usable_kwh"] < 100.0
    own, never = (
        cells_of(page, "Banks of whole strings", "yours"),
        cells_of(page, "The bank for each risk, on your panels", "never"),
    )
    sentence, lead = words(page, "#answer h1"), words(page, ".lead")
    assert f"A bank of {own[0]} kWh usable" in sentence
    assert f"; {never[0]} kWh never." in sentence
    assert lead.startswith(f"{own[4]} kWh a year go unserved, as much as {own[6]} days’ use")
    near = cells_of(page, "The bank for each risk, on your panels", "1 in 10 years")
    assert f"it takes {near[0]} kWh on" in words(page, ".panels")
    assert f"1 in 10 years took {near[1]} kWh (nine" in words(page, "main")
    tried = soup(client.get("/winters/tried?risk=1in10")).select("#tried-now tbody td")
    assert tried[0].get_text() == near[0]
    heads = {" ".join(head.get_text().split()) for head in page.select("#riding table thead th")[1:]}
    said = re.findall(r"[\d.]+ kWp", words(page, ".panels"))
    assert len(said) == 2
    assert set(said) <= heads
    deepest = max(told["winters"], key=lambda one: one["needed_kwh"])["needed_kwh"]
    asked = [
        cells[0].get_text()
        for row in page.select("#answer table.banks")[1].select("tbody tr")
        if (cells := row.select("td"))
    ]
    assert f"{deepest:.3g}" in asked


def test_every_count_of_the_map_stands_in_the_json(client: Client) -> None:
    told = answer_of(client)["map"]
    assert len(told["times"]) == len(told["dark_spells"]) == len(told["short_share"]) == 40
    assert all(len(column) == 60 for column in told["dark_spells"])
    for line in told["lines"][:-1]:
        allowed = 0 if not line["risk"]["years"] else 30 // line["risk"]["years"]
        for column, kwh in enumerate(line["bank_kwh"]):
            if kwh is None:
                continue
            for bank, dark in zip(told["bank_kwh"], told["dark_spells"][column], strict=True):
                assert (dark <= allowed) == (bank >= kwh), (line["risk"]["id"], column, bank)


def map_figure(page: Any) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(str(page.select_one("#map-plot")["data-figure"]))
    return found


def test_bands_of_the_map_lie_between_its_lines(client: Client) -> None:
    traces = map_figure(soup(client.get("/winters")))["data"]
    bands, lines = [one for one in traces if one.get("fill")], [one for one in traces if one["mode"] == "lines"][4:]
    assert [line["name"] for line in lines[:4]] == ["never", "1 in 10 years", "1 in 5 years", "once a year"]
    assert len({band["fillcolor"] for band in bands}) == len(bands) == 4
    for band, upper, lower in zip(bands, lines, [*lines[1:4], None], strict=False):
        columns = len(upper["x"])
        for column, (high, low) in enumerate(zip(band["y"][:columns], reversed(band["y"][columns:]), strict=True)):
            assert high >= low
            if upper["y"][column] is not None:
                assert high == upper["y"][column]
            if lower is not None and lower["y"][column] is not None:
                assert low == lower["y"][column]
        assert lower is not None or set(band["y"][columns:]) == {0.0}


def test_where_lines_leave_the_map_is_said(client: Client) -> None:
    told, page = answer_of(client)["map"], soup(client.get("/winters"))
    first = told["refilled_from"]
    assert 0 < first < len(told["kwp"])
    said = words(page, "#riding > .hint")
    assert f"Under {told['kwp'][first]:.3g} kWp the panels do not fill a bank again" in said
    assert f"asks for more than {told['bank_kwh'][-1]:.0f} kWh" in said


def test_cheapest_pair_is_marked_and_the_end_of_the_map_is_said(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["prices"] = {"currency": "€", "bank_per_kwh": 100000.0, "panels_per_kwp": 1.0}
    client = client_of(small_house)  # type: ignore[arg-type]
    page, told = soup(client.get("/winters")), client.get("/winters.json").json()
    (point,) = [one for one in map_figure(page)["data"] if one.get("name") == "cheapest"]
    cheapest = told["lasting"]["cheapest"][1]
    assert point["x"] == [pytest.approx(cheapest["kwp"], abs=0.006)]
    assert point["y"] == [pytest.approx(cheapest["bank_kwh"], abs=0.0006)]
    assert cheapest["kwp"] == told["winters"]["map"]["kwp"][-1]
    assert "the map ends there" in words(page, "#answer")


def test_winters_of_a_record_are_called_measured(client: Client) -> None:
    assert answer_of(client)["basis"] == "made"
    address = RECORDS.read_so(client, radiation(kc_of_years(12)))
    number = address.rsplit("/", 1)[1]
    told, page = answer_of(client, f"?skies=file-{number}"), soup(client.get(f"/winters?skies=file-{number}"))
    assert told["basis"] == "measured"
    assert told["years"] == 11
    assert "11 measured winters" in words(page, "#answer h1")
    assert "11 whole winters of your file" in words(page, ".range")
    assert told["winters"][0]["year"] == 2010
    assert [size["risk"]["id"] for size in told["sizes"]] == ["never", "1in10", "1in5", "1in1", "share"]


def test_a_record_unfit_for_spells_is_refused_with_a_sentence(client: Client) -> None:
    address = RECORDS.read_so(client, radiation(kc_of_years(2)))
    response = client.get(f"/winters?skies=file-{address.rsplit('/', 1)[1]}")
    assert response.status_code == 422
    assert "not fit for dull spells" in words(soup(response), ".summary")


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("days=0", "Days of autonomy"),
        ("share=70", "Load that may go unserved"),
        ("share=x", "Load"),
        ("skies=y", "Winters"),
    ],
)
def test_bad_questions_are_said(client: Client, query: str, said: str) -> None:
    response = client.get(f"/winters?{query}")
    assert response.status_code == 422
    assert said in words(soup(response), ".summary")
    assert client.get(f"/winters.json?{query}").status_code == 422
    assert client.get(f"/winters/tried?{query}").status_code == 422


def test_bank_size_leads_to_its_winters(client: Client) -> None:
    page = soup(client.get("/size"))
    block = page.select_one(".riding [hx-get]")
    assert block is not None
    part = soup(client.get(str(block["hx-get"]), headers={"HX-Request": "true", "HX-Request-Type": "partial"}))
    riding = part.select_one("#riding")
    assert riding is not None
    assert riding.find("h1") is None
    assert "made winters" in riding.get_text()
    away = round(client.get("/winters.json").json()["autonomy"]["longest_away_days"])
    assert away > 21
    assert f"short of full for up to {away} days on end" in riding.get_text()
    assert "The answer above" not in client.get("/winters").text


def test_bank_size_says_nothing_of_long_dull_times_where_there_are_none(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    small_house["sun"]["arrays"][0]["kwp"] *= 8.0
    client = client_of(small_house)  # type: ignore[arg-type]
    assert client.get("/winters.json").json()["autonomy"]["longest_away_days"] <= 21
    assert "short of full" not in words(soup(client.get("/winters?within=size")), "#riding")


def test_no_panels_is_a_step_to_take(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"]["arrays"] = []
    page = soup(client_of(small_house).get("/winters"))  # type: ignore[arg-type]
    assert "without sun every bank runs empty" in words(page, "#answer")


def test_small_panels_are_called_too_small(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"]["arrays"][0]["kwp"] = 0.6
    page = soup(client_of(small_house).get("/winters"))  # type: ignore[arg-type]
    assert "no bank of any size is full again within a year" in words(page, "#answer h1")
    assert "kWp of panels like yours" in words(page, ".panels")
