"""Sky now: readings as people type them, the sentence, the table, and the way to Today and back."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from bs4 import BeautifulSoup

from engine.house import household
from engine.sky.moment import moment
from tests.conftest import Client, Clock, soup

LIVE = {"HX-Request": "true", "HX-Request-Type": "partial"}
AT = "at=2026-11-25T10:40"
GREY = f"read_barn=240&charge=55&{AT}"
Opener = Callable[[str | dict[str, Any] | None], Client]


def text(page: BeautifulSoup, selector: str) -> str:
    found = page.select_one(selector)
    assert found is not None
    return " ".join(found.get_text(" ").split())


def reading(client: Client, query: str) -> dict[str, Any]:
    found: dict[str, Any] = client.get(f"/sky.json?{query}").json()["found"]
    return found


@pytest.fixture
def two_roofs(client_of: Opener, small_house: dict[str, Any]) -> Client:
    small_house["sun"]["arrays"].append(
        {"id": "wall", "name": "South wall", "kwp": 3.0, "tilt_deg": 80.0, "azimuth_deg": 190.0}
    )
    return client_of(small_house)


@pytest.mark.parametrize("query", ["", AT, GREY, f"read_barn=9000&{AT}", f"read_barn=0&{AT}", "at=2026-11-25T22:00"])
def test_the_page_stands_without_a_script_and_can_be_read_aloud(client: Client, query: str) -> None:
    response = client.get(f"/sky?{query}")
    page = soup(response)
    assert response.status_code == 200
    assert len(page.find_all("h1")) == 1
    ids = [tag["id"] for tag in page.find_all(id=True)]
    assert len(ids) == len(set(ids))
    labels = {label.get("for") for label in page.find_all("label")}
    for control in page.find_all(["input", "select"]):
        if control.get("type") != "hidden":
            assert control.get("id") in labels or control.find_parent("label"), control
    for tag in page.find_all(attrs={"aria-describedby": True}):
        assert set(str(tag["aria-describedby"]).split()) <= set(ids)
    assert not page.find_all(style=True)
    assert {link["href"] for link in page.find_all("a", attrs={"aria-current": "page"})} == {"/sky"}


def test_a_reading_becomes_a_sentence_with_its_range_and_hours(client: Client) -> None:
    page = soup(client.get(f"/sky?{GREY}"))
    found = reading(client, GREY)
    kwh = f"{found['rest']['kwh']:.2g}"
    assert text(page, "#answer h1") == f"About {kwh} kWh more is likely today."
    assert "eight of ten days" in text(page, ".range")
    assert "than with the usual day of the season" in text(page, ".lead")
    gained_h = found["banks"][0]["gained_h"]
    assert gained_h != 0.0
    assert ("longer" if gained_h > 0.0 else "shorter") in text(page, ".lead")
    assert f"{found['reading']['kc'] * 100:.0f}" in text(page, ".figures")


def test_nothing_typed_shows_what_the_displays_would_show(client: Client) -> None:
    page = soup(client.get(f"/sky?{AT}"))
    answer = client.get(f"/sky.json?{AT}").json()
    assert answer["found"] is None
    rows = [[cell.get_text() for cell in row.select("td")] for row in page.select(".skies tbody tr")]
    assert len(rows) == len(answer["what_if"]) == 4
    for row, one in zip(rows, answer["what_if"], strict=True):
        assert float(row[0].replace("\u202f", "")) == pytest.approx(one["total_w"], rel=0.05)


def test_the_table_of_displays_is_read_back_as_its_skies(client: Client) -> None:
    for one in client.get(f"/sky.json?{AT}").json()["what_if"]:
        assert reading(client, f"read_barn={one['total_w']}&{AT}")["reading"]["kc"] == pytest.approx(
            one["kc"], abs=0.01
        )


@pytest.mark.parametrize(
    "query",
    [
        "read_barn=640",
        "read_barn=640 W",
        "read_barn=0.64&shows=kw",
        "read_barn=0,64 kW",
        # 640 W of panels x 0.95 of the charger = 608 W into 50 V.
        "read_barn=12.16&shows=a&volts=50",
        "read_barn=12.16A&volts=50",
    ],
)
def test_watts_kilowatts_and_amps_are_the_same_reading(client: Client, query: str) -> None:
    (shown,) = reading(client, f"{query}&{AT}")["displays"]
    assert shown["shown_w"] == pytest.approx(640.0)


@pytest.mark.parametrize(
    ("query", "field", "said"),
    [
        ("read_barn=12 A", "volts", "Amps need the bank’s volts"),
        ("read_barn=bright", "read_barn", "Barn roof"),
        ("read_barn=-5", "read_barn", "from 0"),
        ("read_barn=12 F", "read_barn", "carries “F”"),
        ("read_barn=3000 VA", "read_barn", "“3000 VA” carries “VA”; type it in watts (W), kilowatts (kW) or amps (A)"),
        ("read_barn=3 kWh", "read_barn", "carries “kWh”"),
        ("read_barn=100&volts=1", "volts", "from 5"),
        ("made=-1", "made", "from 0"),
        ("at=noonish", "at", "must be now"),
        ("charge=120", "charge", "0 to 100"),
        ("sky=foggy", "sky", "foggy"),
    ],
)
def test_what_cannot_be_read_is_said_at_its_field(client: Client, query: str, field: str, said: str) -> None:
    query = query if query.startswith("at=") else f"{query}&{AT}"
    response = client.get(f"/sky?{query}")
    page = soup(response)
    assert response.status_code == 422
    assert said in text(page, f"#{field}-error")
    assert said in client.get(f"/sky.json?{query}").json()["errors"][field]
    assert client.get(f"/sky?{query}", headers=LIVE).status_code == 422


def test_what_was_typed_stays(client: Client) -> None:
    page = soup(client.get(f"/sky?read_barn=0.3 kW&shows=a&volts=51.2&made=0.4&held=1&{AT}"))
    kept = {name: page.select_one(f"#{name}")["value"] for name in ("read_barn", "volts", "made")}  # type: ignore[index]
    assert kept == {"read_barn": "0.3 kW", "volts": "51.2", "made": "0.4"}
    assert page.select_one("#held").has_attr("checked")  # type: ignore[union-attr]
    assert page.select_one("#shows option[selected]")["value"] == "a"  # type: ignore[index]


def test_two_roofs_are_read_each_or_together_but_not_both(two_roofs: Client) -> None:
    each = reading(two_roofs, f"read_barn=300&read_wall=90&{AT}")
    assert [one["shown_w"] for one in each["displays"]] == [300.0, 90.0]
    assert each["reading"]["told_apart"]
    together = reading(two_roofs, f"read_all=390&{AT}")
    assert len(together["displays"]) == 1
    assert together["reading"]["kc"] == pytest.approx(each["reading"]["usual_kc"], abs=0.05)
    both = two_roofs.get(f"/sky?read_all=390&read_barn=300&{AT}")
    assert both.status_code == 422
    assert "not both" in text(soup(both), "#read_all-error")


def test_a_reading_of_panels_that_are_not_here_is_refused(client: Client, two_roofs: Client) -> None:
    for query in ("read_shed=100", "read_all=100"):
        response = client.get(f"/sky?{query}&{AT}")
        name = query.split("=")[0]
        assert response.status_code == 422
        assert "panels that are not here; this page takes: read_barn" in response.text
        assert name in client.get(f"/sky.json?{query}&{AT}").json()["errors"]
    assert two_roofs.get(f"/sky?read_all=100&{AT}").status_code == 200


def test_displays_that_contradict_each_other_are_said_to(two_roofs: Client) -> None:
    page = soup(two_roofs.get(f"/sky?read_barn=0&read_wall=500&{AT}"))
    assert "contradict each other" in text(page, "#answer h1")
    assert "Barn roof alone (0 W) says at most" in text(page, ".range")
    assert "Leave out the reading that is wrong" in text(page, "#answer")
    assert not page.select(".figures")
    assert page.select(".skies")


@pytest.mark.parametrize("query", ["", "&sky=season", "&sky=days&sky=&sky=&sky=&sky=&sky="])
def test_days_that_nobody_said_stay_the_seasons_when_a_form_sends_them_back(client: Client, query: str) -> None:
    page = soup(client.get(f"/sky?{GREY}{query}", headers=LIVE))
    assert "the usual day of the season" in text(page, ".lead")
    assert "the others are as usual for the season" in page.get_text()


@pytest.mark.parametrize(
    "query",
    [
        "at=2026-11-25T12:00&charge=30&read_barn=3000",
        "at=2026-11-25T09:10&charge=80&read_barn=900",
        "at=2026-11-25T12:00&charge=30&read_barn=900&sky=kc:0.1,0.9",
    ],
)
def test_today_asked_with_this_sky_gives_the_hours_that_were_told(
    client_of: Opener, small_house: dict[str, Any], query: str
) -> None:
    small_house["banks"][0]["parallel"] = 1
    small_house["sun"]["arrays"].append(
        {"id": "west", "name": "West wall", "kwp": 1.5, "tilt_deg": 80.0, "azimuth_deg": 280.0}
    )
    client = client_of(small_house)
    told = reading(client, query)
    asked = "&".join(part for part in query.split("&") if part.startswith(("at=", "charge=")))
    today = client.get(f"/today.json?{asked}&sky={told['day_sky']}").json()
    assert told["banks"][0]["after_h"] == pytest.approx(today["hours_to_reserve"], abs=0.05)
    assert told["banks"][0]["after_high_h"] == pytest.approx(today["high_hours"], abs=0.05)


def test_days_as_typed_are_compared_with_the_first_of_them(client: Client) -> None:
    page = soup(client.get(f"/sky?{GREY}&sky=dark,dark,dull"))
    assert "than with the dark day" in text(page, ".lead")
    assert "the others are as assumed" in page.get_text()


def test_the_table_names_the_households_own_dull_day(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"] |= {"dull_day_kwh": 1.2, "dull_day_month": 12}
    names = [head.get_text() for head in soup(client_of(small_house).get(f"/sky?{AT}")).select(".skies tbody th")]
    assert any(name.startswith("dull, your own day") for name in names)


def test_night_and_polar_night_are_said(client: Client, client_of: Opener, small_house: dict[str, Any]) -> None:
    page = soup(client.get("/sky?read_barn=5&at=2026-11-25T22:00"))
    assert "below the horizon" in text(page, "#answer h1")
    assert "higher from" in text(page, ".range")
    small_house["site"] |= {"latitude_deg": 69.65, "longitude_deg": 18.96, "time_zone": "Europe/Oslo"}
    page = soup(client_of(small_house).get("/sky?read_barn=5&at=2026-12-21T12:00"))
    assert "No sky can be read today" in text(page, "#answer h1")
    assert not page.select(".skies, .plot")


def test_summer_time_moves_the_clock_not_the_sun(client: Client) -> None:
    # 09:40 standard time is 10:40 on the clock in June; the same moment said in UTC must give the same sky.
    clock = client.get("/sky.json?read_barn=2000&at=2026-06-21T10:40").json()
    universal = client.get("/sky.json?read_barn=2000&at=2026-06-21T09:40Z").json()
    assert clock["found"]["reading"]["kc"] == universal["found"]["reading"]["kc"]
    site = household.read(client.document()).site
    assert clock["height_deg"] == pytest.approx(moment(site, datetime(2026, 6, 21, 9, 40)).height_deg)
    # 9.9 degrees west the sun is south at about 12:42 standard time: 13:42 on the clock, within the hour of 13:30.
    rows = soup(client.get("/sky?at=2026-06-21T10:40")).select("#day tbody tr")
    brightest = max(rows, key=lambda row: float(row.select("td")[1].get_text()))
    assert brightest.select("td")[0].get_text() == "13:30"


def test_the_chart_has_its_numbers_beside_it(client: Client) -> None:
    page = soup(client.get(f"/sky?{GREY}"))
    figure = json.loads(str(page.select_one("#day-plot")["data-figure"]))  # type: ignore[index]
    traces = {one["name"]: one["y"] for one in figure["data"]}
    columns = [head.get_text().removesuffix(", kW") for head in page.select("#day thead th")][1:]
    assert columns == ["a clear day", "this sky, then likely", "as assumed", "low end", "high end"]
    rows = [[float(cell.get_text()) for cell in row.select("td")[1:]] for row in page.select("#day tbody tr")]
    for name, column in zip(columns, zip(*rows, strict=True), strict=True):
        assert list(column) == traces[name]


def test_today_leads_here_and_gets_its_day_back(client: Client) -> None:
    there = soup(client.get(f"/today?charge=55&sky=dark,dull,bright&{AT}"))
    link = next(a["href"] for a in there.select("#answer a") if str(a["href"]).startswith("/sky"))
    assert "charge=55" in str(link)
    assert "sky=dark,dull,bright" in str(link)
    page = soup(client.get(f"{link}&read_barn=240"))
    back = next(str(a["href"]) for a in page.select("#answer a") if str(a["href"]).startswith("/today"))
    found = reading(client, f"{link.split('?')[1]}&read_barn=240")
    assert f"sky={found['day_sky']}" in back
    answer = client.get(back.replace("/today", "/today.json")).json()
    assert answer["hours_to_reserve"] == pytest.approx(found["banks"][0]["after_h"], abs=0.05)
    # The days after today are as they were typed.
    assert found["day_sky"].split(",")[2] == "0.95"


def test_a_charge_that_was_not_typed_is_said_to_be_full(client: Client) -> None:
    assert " from full, until " in text(soup(client.get(f"/sky?read_barn=240&{AT}")), ".lead")
    assert "from full" not in text(soup(client.get(f"/sky?{GREY}")), ".lead")
    # A form sends the field that was left empty: nobody said the bank is full, so nothing is held back.
    untouched = client.get(f"/sky.json?read_barn=240&charge=&{AT}").json()
    assert untouched["found"]["reading"]["bound"] == ""
    assert untouched["found"]["banks"][0]["from_full"]
    assert soup(client.get(f"/sky?{AT}")).select_one("#charge")["value"] == ""  # type: ignore[index]


def test_a_reserve_of_the_question_is_kept(client: Client) -> None:
    page = soup(client.get(f"/sky?{GREY}&reserve=30"))
    assert page.select_one("input[type=hidden][name=reserve]")["value"] == "30"  # type: ignore[index]
    low = reading(client, f"{GREY}&reserve=30")["banks"][0]["after_h"]
    assert low < reading(client, GREY)["banks"][0]["after_h"]


def test_without_panels_the_first_step_is_named(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"]["arrays"] = []
    page = soup(client_of(small_house).get("/sky"))
    assert "no panels yet" in text(page, ".empty")
    assert page.select_one('#answer a.button[href="/sun"]')


def test_now_is_the_apps_clock(client: Client, clock: Clock) -> None:
    clock.now = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
    assert client.get("/sky.json?read_barn=300").json()["at"].startswith("2026-11-25T12:00")


def test_more_than_a_clear_morning_so_far_is_asked_about(client: Client) -> None:
    # 500 kWh by 10:40 is the counter of years, not of today.
    codes = [one["code"] for one in client.get(f"/sky.json?{GREY}&made=500").json()["notices"]]
    assert "made-too-much" in codes
    codes = [one["code"] for one in client.get(f"/sky.json?{GREY}&made=0.4").json()["notices"]]
    assert "made-too-much" not in codes
