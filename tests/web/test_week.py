"""Rainy week: four chemistries through the same days, in words, table, chart and balance."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from types import SimpleNamespace
from typing import Any

import pytest
from bs4 import BeautifulSoup

from engine.cells import catalogue
from tests.conftest import Client, soup
from webapp.chart_parts import STYLES
from webapp.comparing_view import sentence

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


def contender(name: str, unserved_kwh: float, **more: Any) -> SimpleNamespace:
    return SimpleNamespace(name=name, unserved_kwh=unserved_kwh, **more)


@pytest.mark.parametrize(("most", "alike"), [(44.9, True), (45.1, False)])
def test_alike_shortfalls_name_no_winner(most: float, alike: bool) -> None:
    # 5 % of 100 kWh asked for: 5 kWh between the best and the worst.
    answer = SimpleNamespace(hours=336.0, demand_kwh=100.0, contenders=(contender("A", 40.0), contender("B", most)))
    text = " ".join(sentence(answer, ["A", "B"]).striptags().split())  # type: ignore[arg-type]
    assert ("too small for any of them to make a difference: they fall short by 40 kWh to 45 kWh." in text) is alike
    assert ("A falls short least" in text) is not alike


def test_where_one_carries_the_loads_it_is_still_named() -> None:
    answer = SimpleNamespace(hours=336.0, demand_kwh=100.0, contenders=(contender("A", 0.0), contender("B", 2.0)))
    assert "A carries the loads" in sentence(answer, ["A", "B"]).striptags()  # type: ignore[arg-type]


def test_a_chemistry_keeps_its_colour_and_dash_whatever_its_rank(client: Client) -> None:
    assert len(STYLES) >= len(catalogue.COMPARED)
    order, drawn = set(), []
    for query in ("month=3", "month=6", "month=12&sky=none", "basis=usable&sky=none", "sky=dull"):
        answer = client.get(f"/week.json?{query}").json()
        order.add(tuple(one["chemistry"] for one in answer["contenders"]))
        page = soup(client.get(f"/week?{query}"))
        data = json.loads(str(page.select_one("[data-figure]")["data-figure"]))["data"]  # type: ignore[index]
        for one, line, stroke in zip(answer["contenders"], data, page.select(".stroke"), strict=True):
            drawn.append((one["chemistry"], str(line["line"]), str(stroke["class"])))
            assert line["name"] == one["name"]
    page = soup(client.get("/sheet?charge=60"))
    week = json.loads(str(page.select_one("#week-chart [data-figure]")["data-figure"]))["data"]  # type: ignore[index]
    ids = {one["name"]: one["chemistry"] for one in answer["contenders"]}
    on_sheet = {(ids[line["name"]], str(line["line"])) for line in week}
    assert len(order) > 1
    assert len(set(drawn)) == 4
    assert on_sheet == {(chemistry, line) for chemistry, line, _ in drawn}


def test_lowered_volts_and_a_cut_off_are_said_with_the_inverters_numbers(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    client = client_of(small_house)
    told = {}
    for one, row in zip(
        client.get("/week.json?sky=none").json()["contenders"],
        soup(client.get("/week?sky=none")).select(".sides tbody tr"),
        strict=True,
    ):
        text = " ".join(row.select_one("small").get_text().split())  # type: ignore[union-attr]
        told[one["chemistry"]] = text
        usual_v = catalogue.load(one["chemistry"]).v_charge
        assert ("lowered to" in text) == (one["charge_v"] < usual_v - 0.005)
        assert ("cut off at 42 V under load; waits for 48 V to restart" in text) == (one["ended_by"] == "inverter")
    assert any("cut off" in text for text in told.values())
    assert not all("cut off" in text for text in told.values())


@pytest.mark.parametrize("bank", ["sodium", "shed"])
def test_rainy_week_and_charge_volts_name_the_same_cells_in_series(client_of: Opener, bank: str) -> None:
    client = client_of("first_hour.json")
    best = client.get(f"/charge.json?bank={bank}").json()["best_series"]["series"]
    week = client.get("/week.json?sky=none").json()["contenders"]
    kind = {"sodium": "sodium_layered", "shed": "lfp"}[bank]
    assert next(one["series"] for one in week if one["chemistry"] == kind) == best


@pytest.mark.parametrize("path", ["/week?sky=none", "/sheet?week=none"])
def test_only_where_no_number_of_cells_stays_within_the_volts_does_one_stand_there_and_that_is_a_stop(
    client_of: Opener, small_house: dict[str, Any], path: str
) -> None:
    small_house["inverters"][0] |= {"dc_min_v": 21.0, "dc_max_v": 28.0, "restart_v": 22.0}
    small_house["banks"][0]["series"] = 8
    client = client_of(small_house)
    text = words(soup(client.get(path)), "main")
    # Lead-acid comes in blocks of 6 cells: 12 of them alone are about 24 V, and full, at 12 °C, they stand at
    # 12 x (2.40 + 13 x 0.004) V.
    assert "12 in series stand at 29.4 V when full, above 28 V; only while every charger keeps to 28.0 V" in text
    assert text.count("in series stand at") == 1
    # 8 LFP cells would stand at 8 x 3.65 V; 7 are 22.4 V and stand at 25.6 V; 7 sodium-ion cells 7 x 3.95 V.
    found = client.get("/week.json?sky=none").json()["contenders"]
    told = {one["chemistry"]: (one["series"], one["stop"]) for one in found}
    assert told == {"lead_sealed": (12, True), "lfp": (7, False), "nmc": (6, False), "sodium_layered": (7, False)}


def test_what_the_spell_is_worth_stands_under_the_answer(client: Client) -> None:
    worth = client.get("/week.json").json()["dark_days"]
    days = f"{worth:.2g}"
    assert f"This spell is worth about {days} days without any sun." in words(soup(client.get("/week")), ".range")
    assert "is worth about" not in client.get("/week?sky=none").text


@pytest.mark.parametrize(
    "query", ["", "sky=dark,dull", "month=7", "at=2026-07-10", "month=2&sky=oceanic_14d_1in5", "at=2026-12-24T15:30"]
)
def test_the_link_puts_the_question_on_the_sheet(client: Client, query: str) -> None:
    asked = soup(client.get(f"/week?{query}"))
    link = asked.find("a", string="Put this on the sheet")
    assert link is not None
    assert [one["href"] for one in asked.select("nav a[href^='/sheet']")] == 2 * [link["href"]]  # type: ignore[index]
    sheet = client.get(str(link["href"]).replace("/sheet", "/sheet.json")).json()  # type: ignore[index]
    assert sheet["comparison"] == client.get(f"/week.json?{query}").json()


def test_a_row_of_the_own_chemistry_in_another_count_says_that_it_is_not_the_own_bank(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    bank = small_house["banks"][0]
    page = soup(client_of(small_house).get("/week?sky=dark,dull"))
    assert "not your bank" not in page.get_text()
    # 18 cells of 3.45 V stand at 62.1 V, above the 60 V of the inverter: the comparison takes fewer
    changed = small_house | {"banks": [bank | {"chemistry": "lfp", "series": 18}]}
    said = soup(client_of(changed).get("/week?sky=dark,dull")).get_text(" ")
    assert "not your bank, which has 18 in series" in said
