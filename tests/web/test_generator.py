"""A generator on the pages: entered, changed, refused; beside the answers and never inside them."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from bs4 import BeautifulSoup

from tests.conftest import Client, form_of, soup

Opener = Callable[[str | dict[str, Any] | None], Client]
HOUSEHOLD_H = Path(__file__).parent.parent / "households" / "h.json"
TYPED = {
    "name": "Red engine",
    "rated_w": "3000",
    "charger_w": "2000",
    "charger_efficiency": "90",
    "inverter": "",
    "full_l_per_h": "1,2",
    "idle_l_per_h": "0,4",
    "start_soc": "50",
    "stop_soc": "80",
    "least_run_h": "0",
    "quiet_from_h": "0",
    "quiet_to_h": "0",
}
GENERATOR = {
    "id": "gen",
    "name": "Red engine",
    "rated_w": 3000,
    "charger_w": 2000,
    "full_l_per_h": 1.2,
    "idle_l_per_h": 0.4,
    "start_soc": 0.5,
    "stop_soc": 0.8,
    "least_run_h": 0,
}


def with_generator(house: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """The household with a generator."""
    return {**copy.deepcopy(house), "generators": [{**GENERATOR, **changes}]}


def household_h(**changes: Any) -> dict[str, Any]:
    """Household H with a generator."""
    return with_generator(json.loads(HOUSEHOLD_H.read_text(encoding="utf-8")), **changes)


def text(page: BeautifulSoup) -> str:
    return " ".join(page.get_text().split())


def test_a_generator_is_added_changed_and_removed(client: Client) -> None:
    added = client.post("/inverter/generator", {**TYPED, "revision": "1"})
    assert added.status_code == 303
    assert added.headers["location"] == "/inverter#generator-red-engine"
    (stored,) = client.app.app.state.store.current().document["generators"]
    assert stored["start_soc"] == 0.5
    assert stored["full_l_per_h"] == 1.2
    assert stored["by_itself"] is False
    sent = form_of(soup(client.get("/inverter")), "generator-red-engine-form")
    again = client.post("/inverter/generator", {**sent, "stop_soc": "90", "by_itself": "1"})
    assert again.status_code == 303
    (changed,) = client.app.app.state.store.current().document["generators"]
    assert changed == {**stored, "stop_soc": 0.9, "by_itself": True}
    assert "It starts without warning" in text(soup(client.get("/inverter")))
    gone = client.post("/inverter/generator/remove", {"item_id": "red-engine", "revision": "3"})
    assert gone.status_code == 303
    assert client.app.app.state.store.current().document["generators"] == []


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"stop_soc": "52"}, "at least 5 points above the start, 50 %; got 52 %."),
        ({"idle_l_per_h": "2"}, "at most that at full load, 1.2 l/h; got 2 l/h."),
        ({"rated_w": "3 kVA"}, "“3 kVA” are volt-amperes, and watts are usually less"),
        (
            {"quiet_to_h": "7 bells"},
            "does not take; type it in hours of the day, such as 7 or 18:30.",
        ),
        ({"quiet_from_h": "7.3"}, "must be a whole or half hour from 0 to 24 o’clock; got 7.3."),
        ({"quiet_to_h": "24:30"}, "must be a whole or half hour from 0 to 24 o’clock; got 24.5."),
        ({"quiet_from_h": "0", "quiet_to_h": "24"}, "leave no hour in which it may run."),
    ],
)
def test_what_is_wrong_is_said_and_nothing_typed_is_lost(client: Client, changes: dict[str, str], said: str) -> None:
    response = client.post("/inverter/generator", {**TYPED, **changes, "revision": "1"})
    assert response.status_code == 422
    page = soup(response)
    assert said in text(page)
    assert {**TYPED, **changes}.items() <= form_of(page, "add-generator-form").items()
    opened = page.select_one("#add-generator details[open]")
    assert opened is not None
    assert page.select_one("#add-inverter details[open]") is None


def test_an_unknown_inverter_is_refused(client: Client) -> None:
    response = client.post("/inverter/generator", {**TYPED, "inverter": "other", "revision": "1"})
    assert response.status_code == 422
    assert "cannot be “other”; choose from: Byre inverter." in text(soup(response))


def test_a_second_generator_on_one_inverter_is_refused(client_of: Opener, small_house: dict[str, Any]) -> None:
    client = client_of(with_generator(small_house))
    response = client.post("/inverter/generator", {**TYPED, "inverter": "main", "revision": "1"})
    assert response.status_code == 422
    assert "already has Red engine. Two generators on one inverter are not worked out" in text(soup(response))


# Household H: 30 % of 14.336 kWh at 300 W / 0.93 + 40 W is 11.9 h (by hand)
def test_today_says_when_it_starts_and_keeps_the_hours_without_it(client_of: Opener) -> None:
    answer = client_of(household_h()).get("/today.json?charge=80&sky=none").json()
    assert round(answer["hours_to_reserve"], 1) == 23.7
    (bank,) = answer["banks"]
    helped = bank["with_generator"]
    assert round(helped["first_start_h"], 1) == 11.9
    assert helped["unserved_kwh"] == 0
    assert helped["unserved_without_kwh"] > 0
    assert helped["litres_low"] <= helped["litres"] <= helped["litres_high"]
    assert helped["first_start_at"].startswith("2026-11-26T0")


def test_today_shows_its_course_in_chart_and_table(client_of: Opener) -> None:
    client = client_of(household_h())
    page = soup(client.get("/today?charge=80&sky=none"))
    assert "Red engine first starts in 12 hours" in text(page)
    assert "With it nothing goes unserved." in text(page)
    assert "Somebody has to be there to start it" in text(page)
    figure = json.loads(str(page.select_one("[data-figure]")["data-figure"]))  # type: ignore[index]
    line = next(one for one in figure["data"] if one["name"] == "with the generator")
    assert min(line["y"]) >= 50
    heads = [head.get_text() for head in page.select(".chart thead th")]
    assert heads == ["Time", "Charge, %", "low, %", "high, %", "with the generator, %"]
    # it turns at its start charge of 50 %, and at its stop charge of 80 %
    assert line["y"][0] == 50
    assert max(line["y"]) == 80
    rows = [[cell.get_text() for cell in row.select("td")] for row in page.select(".chart tbody tr")]
    drawn = dict(zip(line["x"], line["y"], strict=True))
    later = [(time, float(share)) for time, *_, share in rows if time == "Fri 27 Nov, 12:00"]
    assert later == [("Fri 27 Nov, 12:00", drawn["2026-11-27 12:00:00"])]
    assert "carbon monoxide" in text(page)


def test_one_that_is_not_due_says_so(client_of: Opener, small_house: dict[str, Any]) -> None:
    client = client_of(with_generator(small_house))
    page = soup(client.get("/today?charge=100&sky=bright,bright&at=2026-06-20T08:00"))
    assert "Red engine is not due in these ten days." in text(page)
    figure = json.loads(str(page.select_one("[data-figure]")["data-figure"]))  # type: ignore[index]
    assert "with the generator" not in [one["name"] for one in figure["data"]]


def test_without_a_generator_nothing_speaks_of_one(client: Client) -> None:
    for path in ("/today", "/week", "/sheet"):
        assert "with the generator" not in text(soup(client.get(path))).lower()
    assert client.get("/today.json").json()["banks"][0]["with_generator"] is None


def test_rainy_week_puts_it_beside_each_chemistry(client_of: Opener, small_house: dict[str, Any]) -> None:
    plain = client_of(small_house).get("/week.json?sky=dark,dark,dark,dark").json()
    client = client_of(with_generator(small_house))
    helped = client.get("/week.json?sky=dark,dark,dark,dark").json()
    for without, one in zip(plain["contenders"], helped["contenders"], strict=True):
        week = one.pop("with_generator")
        without.pop("with_generator")
        assert one == without
        assert week["unserved_kwh"] <= one["unserved_kwh"]
        assert abs(week["balance_error_share"]) < 1e-3
        assert week["litres"] > 0
    page = soup(client.get("/week?sky=dark,dark,dark,dark"))
    assert "It burns least with" in text(page) or "with any of them" in text(page)
    assert len(page.select(".sides")) == 2


def test_bank_size_says_that_it_is_not_counted(client_of: Opener, small_house: dict[str, Any]) -> None:
    client = client_of(with_generator(small_house))
    codes = [notice["code"] for notice in client.get("/size.json").json()["notices"]]
    assert codes.count("generator-not-counted") == 1
    bare = client_of(small_house).get("/size.json").json()
    assert client.get("/size.json").json()["label_kwh"] == bare["label_kwh"]


def test_the_sheet_lists_it(client_of: Opener, small_house: dict[str, Any]) -> None:
    page = text(soup(client_of(with_generator(small_house)).get("/sheet")))
    for said in ("Red engine", "Fuel at full load", "efficiency of its charger", "carbon monoxide", "Hours run"):
        assert said.lower() in page.lower(), said


def test_a_remedy_for_it_can_be_clicked(client_of: Opener, small_house: dict[str, Any]) -> None:
    client = client_of(with_generator(small_house, start_soc=0.05))
    page = soup(client.get("/inverter"))
    form = next(f for f in page.find_all("form", action="/apply") if "Start it at 15 %" in f.get_text())
    sent = {field["name"]: field.get("value", "") for field in form.find_all("input")}
    assert client.post("/apply", sent).status_code == 303
    assert client.app.app.state.store.current().document["generators"][0]["start_soc"] == 0.15
    assert "below the 15 %" not in text(soup(client.get("/inverter")))


def test_removing_its_inverter_leaves_it_with_the_first(client_of: Opener, small_house: dict[str, Any]) -> None:
    house = with_generator(small_house, inverter="shed")
    house["inverters"].append({**house["inverters"][0], "id": "shed", "name": "Shed inverter"})
    client = client_of(house)
    assert "joined to no inverter that has a bank" in text(soup(client.get("/inverter")))
    assert client.post("/inverter/remove", {"item_id": "shed", "revision": "1"}).status_code == 303
    assert client.app.app.state.store.current().document["generators"][0]["inverter"] == ""


@pytest.mark.parametrize("typed", ["22:30", "22.5", "22,5"])
def test_quiet_hours_begin_and_end_at_half_hours(client: Client, typed: str) -> None:
    sent = {**TYPED, "quiet_from_h": typed, "quiet_to_h": "7:00", "revision": "1"}
    assert client.post("/inverter/generator", sent).status_code == 303
    (stored,) = client.app.app.state.store.current().document["generators"]
    assert (stored["quiet_from_h"], json.dumps(stored["quiet_to_h"])) == (22.5, "7")
    page = soup(client.get("/inverter"))
    assert "not from 22:30 to 7 o’clock" in text(page)
    assert form_of(page, "generator-red-engine-form")["quiet_from_h"] == "22:30"
    assert form_of(page, "generator-red-engine-form")["quiet_to_h"] == "7"
    today = text(soup(client.get("/today?charge=55&sky=none")))
    assert "never from 22:30 to 7 o’clock" in today
    assert "quiet 22:30 to 7 o’clock" in today
    sheet = text(soup(client.get("/sheet")))
    assert "Quiet from22:30 o’clock" in sheet
    assert "Quiet until7 o’clock" in sheet


def test_numbers_without_a_default_say_what_is_usual(client: Client) -> None:
    page = soup(client.get("/inverter"))
    for name in ("rated_w", "charger_w", "full_l_per_h", "idle_l_per_h"):
        hint = page.select_one(f"#add-generator-{name}-hint")
        assert hint is not None
        assert "typical, from memory" in hint.get_text()
