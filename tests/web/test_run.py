"""Generator run: the page, its block inside Today, its JSON, and what is refused."""

from __future__ import annotations

import copy
from datetime import datetime
from typing import Any

import pytest

from engine.house import household
from tests.conftest import Client, soup
from tests.web.conftest import Opener
from tests.web.test_generator import GENERATOR, household_h, with_generator

ASK = "charge=50&sky=none&at=2026-11-25%2018:00"


@pytest.fixture
def house_h(client_of: Opener) -> Client:
    return client_of(household_h())


def answer(client: Client, query: str = ASK) -> Any:
    return soup(client.get(f"/run?{query}")).select_one("#answer")


def words(found: Any) -> str:
    return " ".join(found.get_text(" ").split())


def test_the_table_is_the_json(house_h: Client) -> None:
    told = house_h.get(f"/run.json?{ASK}").json()
    page = answer(house_h)
    best = next(way for way in told["ways"] if way["key"] == told["best"])
    rows = page.select("table.runs tbody tr")
    assert len(rows) == len(best["runs"]) > 0
    litres = [float(row.select("td")[-1].get_text().split("\xa0")[0]) for row in rows]
    assert litres == pytest.approx([run["litres"] for run in best["runs"]], abs=0.5)
    assert told["until"].startswith("2026-11-28T12:00")
    latest = datetime.fromisoformat(told["latest_at"])
    assert f"{latest:%H:%M}" in words(page.select_one("h1"))


def test_more_time_to_spare_is_a_sooner_start(house_h: Client) -> None:
    starts = [house_h.get(f"/run.json?{ASK}&margin={margin}").json()["latest_h"] for margin in (0, 1, 3)]
    assert starts[0] - starts[1] == pytest.approx(1.0)
    assert starts[0] - starts[2] == pytest.approx(3.0)


def test_the_end_without_it_is_todays(house_h: Client) -> None:
    told = house_h.get(f"/run.json?{ASK}").json()
    assert told["without"]["lasts_h"] == pytest.approx(house_h.get(f"/today.json?{ASK}").json()["hours_to_reserve"])


def test_its_rules_are_those_of_today(client_of: Opener) -> None:
    client = client_of(household_h())
    told = client.get(f"/run.json?{ASK}&until=2026-12-05%2023:00").json()
    rules = next(way for way in told["ways"] if way["key"] == "rules")
    today = client.get(f"/today.json?{ASK}").json()["banks"][0]["with_generator"]
    assert rules["runs"][0]["start_h"] == pytest.approx(today["first_start_h"])
    assert rules["litres"] == pytest.approx(today["litres"], rel=0.03)


def test_what_is_switched_off_on_today_is_off_here(client_of: Opener, small_house: dict[str, Any]) -> None:
    client = client_of(with_generator(small_house))
    loads = [load for load in client.document()["loads"] if not load.get("never_off")]
    lasts = [
        client.get(f"/run.json?charge=40&sky=none{more}").json()["without"]["lasts_h"]
        for more in ("", f"&off={loads[0]['id']}")
    ]
    assert lasts[1] is None or lasts[1] > lasts[0]


def test_the_block_inside_today_is_short_and_leads_here(house_h: Client) -> None:
    brief = soup(house_h.get(f"/run?within=today&{ASK}")).select_one("#brief")
    assert brief is not None
    assert brief.a["href"].startswith("/run?charge=50")  # type: ignore[index, union-attr]
    assert "within" not in brief.a["href"]  # type: ignore[index, union-attr]
    assert len(brief.get_text()) < 400
    assert soup(house_h.get(f"/today?{ASK}")).select_one("#within-run") is not None


def test_it_need_not_run_for_an_evening(house_h: Client) -> None:
    page = answer(house_h, "charge=95&sky=none&at=2026-11-25%2018:00&until=2026-11-25%2021:00")
    assert "need not run" in words(page)
    assert not page.select("table.runs")


def test_quiet_hours_without_a_start_are_a_stop(client_of: Opener) -> None:
    client = client_of(household_h(quiet_from_h=17, quiet_to_h=7))
    page = answer(client, "charge=22&sky=none&at=2026-11-25%2018:00")
    assert "would have to run in its quiet hours" in words(page)
    assert "Stop" in words(page.select_one(".note.stop"))


@pytest.mark.parametrize(
    ("query", "name", "said"),
    [
        ("until=2036-01-01%2010:00", "until", "The moment to last until must be"),
        ("until=soon", "until", "The moment to last until must be now, or a moment such as"),
        ("margin=13", "margin", "Time to spare must be a number from 0 to 12 h; got 13."),
        ("margin=x", "margin", "Time to spare must be a number"),
        ("charge=120", "charge", "from 0 to 100 %; got 120."),
    ],
)
def test_what_is_wrong_is_said_and_kept(house_h: Client, query: str, name: str, said: str) -> None:
    asked = f"{query}&sky=none" if name == "charge" else f"{ASK}&{query}"
    refused = house_h.get(f"/run?{asked}")
    assert refused.status_code == 422
    page = soup(refused)
    assert said in page.get_text()
    typed = query.split("=")[1].replace("%20", " ")
    assert page.select_one(f"[name={name}]")["value"] == typed  # type: ignore[index]


def test_without_a_generator_the_page_says_where_to_enter_one(client: Client) -> None:
    page = soup(client.get("/run"))
    assert "There is no generator yet." in page.get_text()
    assert page.select_one("#answer a.button")["href"] == "/inverter"  # type: ignore[index]
    assert "no generator" in client.get("/run.json").text


@pytest.mark.parametrize(
    ("path", "name", "typed"),
    [
        ("/run", "until", "2026-11-27 10:00"),
        ("/off", "until", "2026-11-27 10:00"),
        ("/cold", "to_c", "8"),
        ("/spares", "power_w", "700"),
        ("/car", "km", "35"),
    ],
)
def test_a_fault_in_the_charge_keeps_what_else_was_typed(client_of: Opener, path: str, name: str, typed: str) -> None:
    client = client_of(None if path == "/spares" else household_h())
    page = soup(client.get(path, params={"charge": "120", name: typed, "sky": "none"}))
    assert page.select_one("#charge")["value"] == "120"  # type: ignore[index]
    assert page.select_one(f"form.ask [name={name}]")["value"] == typed  # type: ignore[index]


def test_the_page_warns_of_carbon_monoxide(house_h: Client) -> None:
    assert "carbon monoxide" in words(answer(house_h))


@pytest.mark.parametrize("path", ["/today", "/off", "/run", "/car", "/spares", "/cold"])
def test_pages_of_the_moment_can_be_read_aloud(house_h: Client, client_of: Opener, path: str) -> None:
    for client in (house_h, client_of(None)):
        page = soup(client.get(f"{path}?charge=60&sky=dark,dull"))
        assert len(page.find_all("h1")) == 1
        ids = [tag["id"] for tag in page.find_all(id=True)]
        assert len(ids) == len(set(ids))
        labels = {label.get("for") for label in page.find_all("label")}
        for control in page.find_all(["input", "select"]):
            named = control.get("id") in labels or control.find_parent("label") or control.get("aria-label")
            assert named or control.get("type") == "hidden", control
        for tag in page.find_all(attrs={"aria-describedby": True}):
            assert set(str(tag["aria-describedby"]).split()) <= set(ids)
        assert not page.find_all(style=True)


@pytest.mark.parametrize("path", ["/run", "/off", "/cold", "/spares", "/car"])
def test_a_refused_reserve_can_be_mended_on_the_page(client_of: Opener, path: str) -> None:
    client = client_of(None if path == "/spares" else household_h())
    assert soup(client.get(f"{path}?reserve=30")).select_one("form.ask [name=reserve]")["type"] == "hidden"  # type: ignore[index]
    page = soup(client.get(f"{path}?reserve=400&off=nothing"))
    (asked,) = page.select("form.ask [name=reserve]")
    assert (asked["value"], asked["type"]) == ("400", "text")
    assert page.select_one("#reserve-error") is not None
    assert not page.select("form.ask [name=off]")


def two_banks(small_house: dict[str, Any], cell_c: float = 20.0) -> dict[str, Any]:
    """Two alike banks on the bus of the household's inverter, its generator beside them."""
    house = with_generator(small_house)
    house["banks"][0].update(cell_c=cell_c, own_fuse=True, own_disconnect=True)
    house["banks"].append({**copy.deepcopy(house["banks"][0]), "id": "second", "name": "Second bank"})
    return house


def test_a_generator_on_a_shared_bus_has_the_true_reason_what_to_do_by_hand_and_one_bank_alone(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    house = two_banks(small_house)
    client = client_of(house)
    page = soup(client.get(f"/run?{ASK}"))
    said = words(page.select_one("#answer"))
    assert "charges several banks on one bus" in said
    assert "joined to no inverter" not in said
    assert "By hand: start it while each of them is still above your start of" in said
    link = next(str(a["href"]) for a in page.select("#answer a.button") if "second bank alone" in a.get_text())
    alone = soup(client.get(link))
    assert "with the store-room bank off the bus" in words(alone.select_one("#answer .note.check"))
    kept = alone.select_one("input[type=hidden][name=alone]")
    assert kept is not None
    assert kept["value"] == "second"
    told = client.get(f"/run.json?{ASK}&alone=second").json()
    assert told["bank_id"] == "second"
    taken_off = copy.deepcopy(house)
    taken_off["banks"][0]["inverter"] = ""
    (by_itself,) = household.read(taken_off).supplies()
    assert household.read(house).with_bank_alone("second").supplies() == (by_itself,)
    assert by_itself.generator is not None


def test_a_shared_bus_too_cold_to_charge_is_said_before_the_generator(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    said = words(soup(client_of(two_banks(small_house, cell_c=-6.0)).get(f"/run?{ASK}")).select_one("#answer"))
    assert "may not be charged at -6 °C" in said


@pytest.mark.parametrize("day", ["2026-11-25", "2026-06-25"])
def test_quiet_hours_go_by_the_clock_on_the_wall_in_summer_too(client_of: Opener, day: str) -> None:
    # the bank is due at once: it starts when the quiet hours end
    client = client_of(household_h(quiet_from_h=17, quiet_to_h=7))
    page = soup(client.get(f"/today?charge=22&sky=none&at={day}%2018:00"))
    assert "first starts in 13 hours" in words(page)


def test_a_frozen_bank_is_a_stop_wherever_its_charge_is_asked(client_of: Opener, small_house: dict[str, Any]) -> None:
    """At 10 % the acid freezes at −13 °C: Today and all that goes on from it say so before anything is started."""
    lead = {"chemistry": "lead_flooded", "series": 24, "parallel": 1, "board": None, "hold": True, "reserve_soc": 0.3}
    small_house["banks"][0] |= lead | {"cell_c": -14.0}
    small_house["inverters"][0]["dc_max_v"] = 66.0
    client = client_of(small_house | {"generators": [GENERATOR]})
    for path in ("/today", "/run", "/off", "/car", "/cold", "/care"):
        stops = [words(one) for one in soup(client.get(f"{path}?charge=10&sky=dark,dull")).select(".note.stop")]
        assert any("at its charge now, 10 %, its acid freezes at -13 °C" in stop for stop in stops), path
        warm = soup(client.get(f"{path}?charge=40&sky=dark,dull")).select(".note.stop")
        assert not any("its charge now" in words(one) for one in warm), path
