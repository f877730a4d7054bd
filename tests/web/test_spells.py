"""Dull spells: what the page says, its tables and charts, and the way on to the pages that ask."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from bs4 import BeautifulSoup

from engine.sky.world import ROUGH
from tests.conftest import Client, soup
from tests.engine.test_spell_answer import FAR_NORTH, OWN_WEEK
from webapp.spells_view import part_words
from webapp.words import MONTHS, energy

Opener = Callable[[str | dict[str, Any] | None], Client]
EVERY_SKY = ["", "skies=temperate_maritime&days=3", "days=1&often=1", "days=14&often=5"]


def words(page: BeautifulSoup, selector: str) -> str:
    found = page.select_one(selector)
    assert found is not None
    return " ".join(found.get_text().split())


def cells(page: BeautifulSoup, selector: str) -> list[list[str]]:
    return [[cell.get_text() for cell in row.select("th, td")] for row in page.select(f"{selector} tbody tr")]


@pytest.mark.parametrize("query", EVERY_SKY)
def test_the_sentence_says_what_the_answer_holds(client: Client, query: str) -> None:
    answer = client.get(f"/spells.json?{query}").json()
    said = words(soup(client.get(f"/spells?{query}")), ".sentence")
    asked = answer["asked"]
    assert " ".join(energy(asked["kwh"]).split()) in said
    assert f"{part_words(asked['kwh'] / answer['average_kwh'])} an average {MONTHS[asked['month'] - 1]} day" in said


@pytest.mark.parametrize("query", EVERY_SKY)
def test_every_table_equals_its_chart(client: Client, query: str) -> None:
    page = soup(client.get(f"/spells?{query}"))
    assert [figure["id"] for figure in page.select(".chart")] == ["worst", "months", "load", "facing"]
    for figure in page.select(".chart"):
        drawn = json.loads(str(figure.select_one("[data-figure]")["data-figure"]))  # type: ignore[index]
        columns = list(zip(*cells(figure, "table"), strict=True))[1:]
        assert len(columns) == len(drawn["data"])
        for trace, column in zip(drawn["data"], columns, strict=True):
            for number, text in zip(trace["y"], column, strict=True):
                digits = len(text.partition(".")[2])
                assert float(text) == pytest.approx(number, abs=0.51 * 10.0**-digits)
        heads = [head.get_text() for head in figure.select("thead th")][1:]
        if drawn["data"][0]["type"] == "scatter":
            names = [note["text"].lower() for note in drawn["layout"]["annotations"]]
            assert [head.lower() for head in heads] == names


def test_the_windows_are_those_of_the_answer(client: Client) -> None:
    answer = client.get("/spells.json").json()
    found = {(row["days"], row["risk_years"]): row for row in answer["rows"]}
    page = soup(client.get("/spells"))
    lengths = sorted({days for days, _ in found})
    for days, row in zip(lengths, page.select(".windows tbody tr"), strict=True):
        for risk, cell in zip((1, 5, 10), row.select("td.n"), strict=True):
            kwh, share = found[days, risk]["kwh"], found[days, risk]["kc"]
            assert cell.get_text() == f"{energy(kwh)}{share * 100:.0f}\u00a0% of a clear day"
    marked = page.select(".windows tr.own th")
    assert [one.get_text() for one in marked] == ["Week"]


@pytest.mark.parametrize("query", ["", "skies=oceanic_west&days=14", "days=3&often=5"])
def test_the_links_ask_with_these_very_days(client: Client, query: str) -> None:
    asked = client.get(f"/spells.json?{query}").json()["asked"]
    page = soup(client.get(f"/spells?{query}"))
    links = {link.get_text(): str(link["href"]) for link in page.select(".asking a")}
    assert list(links) == ["Today", "Bank size", "Rainy week"]
    for path in links.values():
        assert client.get(path).status_code == 200
    week = client.get(links["Rainy week"].replace("/week?", "/week.json?")).json()
    assert [kc for _, _, kc in week["sky_days"]][: asked["days"]] == pytest.approx(asked["day_kc"])
    assert int(week["at"][5:7]) == asked["month"]


def test_every_row_has_its_links(client: Client) -> None:
    rows = soup(client.get("/spells")).select(".windows tbody tr")
    assert len(rows) == 7
    for row in rows:
        for link in row.select("a"):
            assert client.get(str(link["href"])).status_code == 200


def test_the_own_file_comes_first_and_says_its_years(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"] |= {"spells": [OWN_WEEK], "sky_file": "barn.csv"}
    client = client_of(small_house)
    page = soup(client.get("/spells"))
    assert "Measured: your file barn.csv, 4 years; the days came in November." in words(page, ".range")
    assert "4 years are too few to tell 1 year in 10" in words(page, ".note.check")
    assert client.get("/spells.json").json()["basis"] == "file"
    assert client.get("/spells.json?skies=made").json()["basis"] == "made"
    assert "those made for this place" in page.get_text()
    for link in page.select(".asking a"):
        assert client.get(str(link["href"])).status_code == 200


def test_made_days_are_said_to_be_made(client: Client) -> None:
    assert words(soup(client.get("/spells")), ".range").startswith("Not measured: 30 years made from ")
    elsewhere = words(soup(client.get("/spells?skies=monsoon")), ".range")
    assert elsewhere.startswith("Measured at Hyderabad, India")
    assert "laid on the sun of December" in elsewhere


def test_months_of_ones_own_are_said_to_be_better(client_of: Opener, small_house: dict[str, Any]) -> None:
    assert ROUGH in words(soup(client_of(small_house).get("/spells")), ".range")
    small_house["sun"]["monthly_kc"] = [0.5] * 12
    told = words(soup(client_of(small_house).get("/spells")), ".range")
    assert told.startswith("Not measured: 30 years made from your own months")
    assert "2 to 21 % less than the real ones" in told


def test_an_impossible_clear_day_is_to_be_mended_first(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["site"] |= FAR_NORTH
    small_house["sun"] |= {"clear_day_kwh": 5.0, "clear_day_month": 12}
    client = client_of(small_house)
    page = soup(client.get("/spells"))
    assert "Clear day cannot be 5 kWh" in words(page, ".empty")
    assert page.select_one(".button[href='/sun']") is not None
    assert list(client.get("/spells.json").json()["errors"]) == ["household"]


def test_without_panels_the_page_tells_of_light(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"]["arrays"] = []
    page = soup(client_of(small_house).get("/spells"))
    assert "of a clear day’s light" in words(page, ".sentence")
    assert [figure["id"] for figure in page.select(".chart")] == ["worst", "months", "facing"]
    assert "kWh" not in words(page, ".windows")
    assert "the answer counts no sun" not in page.get_text()


def test_snow_on_the_panels_is_said_not_to_be_counted(client_of: Opener, small_house: dict[str, Any]) -> None:
    assert "Snow is not in these numbers" not in soup(client_of(small_house).get("/spells")).get_text()
    small_house["sun"]["covered_days"] = 5
    assert "Snow is not in these numbers: the 5 days" in soup(client_of(small_house).get("/spells")).get_text()


def test_polar_night_is_an_honest_nothing(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["site"] |= FAR_NORTH
    page = soup(client_of(small_house).get("/spells"))
    assert "gives nothing: in January the sun does not rise." in words(page, ".sentence")
    assert "no tilt and no direction gives anything" in page.get_text()


def test_a_month_of_nothing_by_own_kwh_is_answered(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"]["monthly_kwh"] = [0.0, *[None] * 10, 0.0]
    page = soup(client_of(small_house).get("/spells"))
    assert "gives nothing: in " in words(page, ".sentence")
    assert "does not rise" not in words(page, ".sentence")


def test_some_months_of_ones_own_leave_the_others_rough(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"]["monthly_kwh"] = [*[None] * 5, 300.0, *[None] * 6]
    told = words(soup(client_of(small_house).get("/spells")), ".range")
    assert "one month of your own and the others of" in told
    assert ROUGH in told


def test_a_household_of_nothing_but_a_place_is_answered(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house |= {"banks": [], "inverters": [], "loads": []}
    page = soup(client_of(small_house).get("/spells"))
    assert "No bank carries a load." in page.get_text()


@pytest.mark.parametrize(("name", "text"), [("skies", "rain"), ("skies", "file"), ("days", "4"), ("often", "100")])
def test_bad_questions_are_refused_and_kept(client: Client, name: str, text: str) -> None:
    response = client.get("/spells", params={name: text})
    assert response.status_code == 422
    page = soup(response)
    assert page.title is not None
    assert page.title.get_text().startswith("Error: Dull spells")
    assert page.select_one(f".summary a[href='#{name}']") is not None
    assert list(client.get("/spells.json", params={name: text}).json()["errors"]) == [name]
    partial = client.get("/spells", params={name: text}, headers={"HX-Request-Type": "partial"})
    assert partial.status_code == 422
    assert not soup(partial).select("form")


def test_a_live_answer_is_the_answer_alone(client: Client) -> None:
    partial = client.get("/spells?days=3", headers={"HX-Request-Type": "partial"})
    page = soup(partial)
    assert page.select("#answer")
    assert not page.select(".ask")
    assert words(page, "#answer .sentence") == words(soup(client.get("/spells?days=3")), "#answer .sentence")


def test_cautions_and_sources_stand_on_the_page(client: Client) -> None:
    page = soup(client.get("/spells"))
    assert "cannot be switched off" in words(page, ".cautions")
    assert "not an approval" in words(page, ".cautions")
    assert "Graham" in words(page, ".assumed")
    assert "Hyderabad" not in words(page, ".assumed")
    assert "Hyderabad" in words(soup(client.get("/spells?skies=monsoon")), ".assumed")


@pytest.mark.parametrize(
    ("share", "said"),
    [(1.3, "about as much as"), (0.5, "half of"), (1 / 3, "a third of"), (1 / 6, "a sixth of"), (0.1, "a tenth of"),
     (0.05, "a twentieth of"), (0.0, "hardly anything of")],
)  # fmt: skip
def test_parts_in_words(share: float, said: str) -> None:
    assert part_words(share) == said


def test_at_the_equator_the_side_is_that_of_the_sun(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["site"] |= {
        "latitude_deg": 0.2,
        "longitude_deg": 36.8,
        "time_zone": "Africa/Nairobi",
        "climate": "world",
    }
    client = client_of(small_house)
    told = client.get("/spells.json").json()
    clear = {
        azimuth: max(one["clear_kwh_per_kwp"] for one in told["facing"] if one["azimuth_deg"] == azimuth)
        for azimuth in (0.0, 180.0)
    }
    side = "north" if clear[0.0] > clear[180.0] else "south"
    heads = [head.get_text() for head in soup(client.get("/spells")).select("#facing thead th")]
    assert f"clear, {side}" in heads
