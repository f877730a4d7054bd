"""Car and water: the page, its block inside Today, its JSON, and what is refused."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any

import pytest

from tests.conftest import Client, soup
from tests.web.conftest import Opener

ASK = "charge=85&sky=dull,dull,bright&at=2026-11-25%2018:00"
SUNNY = "sky=bright,bright,bright&at=2026-06-03%2018:00"
TANK = {"id": "tank", "name": "Heat tank", "kind": "water", "can_wait": True, "values": {"heater_kw": 1.0}}


@pytest.fixture
def with_tank(client_of: Opener, small_house: dict[str, Any]) -> Client:
    small_house["loads"].append(TANK)
    return client_of(small_house)


def answer(client: Client, query: str = ASK) -> Any:
    return soup(client.get(f"/car?{query}")).select_one("#answer")


def words(found: Any) -> str:
    return " ".join(found.get_text(" ").split())


def figures(page: Any) -> dict[str, tuple[str, str]]:
    """Value and basis of each figure by its name."""
    rows = page.select("dl.figures > div")
    return {words(row.dt): (words(row.select("dd")[0]), words(row.select("dd")[1])) for row in rows}


def rounded_down(kwh: float) -> str:
    return f"{math.floor(kwh * 10.0 + 1e-6) / 10.0:.1f} kWh" if 0.0 < kwh < 10.0 else f"{math.floor(kwh + 1e-6)} kWh"


@pytest.mark.parametrize(
    ("charge", "km", "verdict"), [(85, 10, "yes"), (60, 400, "part"), (17, 60, "wait"), (16, 500, "no")]
)
def test_the_sentence_is_the_json(client: Client, charge: int, km: int, verdict: str) -> None:
    query = f"charge={charge}&km={km}&" + (SUNNY if verdict != "no" else "sky=dark,dark&at=2026-12-03%2018:00")
    told = client.get(f"/car.json?{query}").json()
    assert told["verdict"] == verdict
    said = words(answer(client, query).select_one("h1"))
    start = {
        "yes": f"Yes, all {km} km : {told['kwh']:.1f} kWh may go",
        "part": f"{rounded_down(told['part_kwh'])} ({math.floor(told['part_km'] + 1e-6)} km) now",
        "wait": f"Not today: wait until {datetime.fromisoformat(told['start_at'] or '2000-01-01'):%A}",
        "no": "No : at no hour",
    }
    assert said.startswith(start[verdict])


def test_a_rest_that_does_not_go_in_without_a_break_is_not_said_to_go_in_at_no_time(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    # what is to spare later carries 40 km, so a part of 45 km goes in then, too
    small_house["inverters"][0].update(dc_min_v=51.0, restart_v=53.0)
    small_house["banks"][0]["reserve_soc"] = 0.05
    client = client_of(small_house)
    ask = "charge=60&sky=dull,bright,bright&risk=likely"
    less, more = (client.get(f"/car.json?{ask}&km={km}").json() for km in (40, 45))
    assert (less["verdict"], more["verdict"]) == ("part", "part")
    assert less["kwh"] > less["part_kwh"] + 1.0
    assert (less["start_at"] is None, more["start_at"] is None) == (False, True)
    said = words(answer(client, f"{ask}&km=45").select_one("h1"))
    assert "; the rest of it not in one go in these days." in said
    assert "no more of it" not in said


def test_the_figures_are_the_json(client: Client) -> None:
    query = f"charge=60&km=400&{SUNNY}"
    told, shown = client.get(f"/car.json?{query}").json(), figures(answer(client, query))
    assert shown["Most that may go in now"][0] == rounded_down(told["most_kwh"])
    assert f"{math.floor(told['most_km'] + 1e-6)} km," in shown["Most that may go in now"][1]
    assert shown["Wanted"][0] == f"{told['kwh']:.1f} kWh"
    lowest, without = (told[name]["lowest_soc"] * 100.0 for name in ("with_car", "without"))
    assert without - lowest > 10.0
    assert shown["Lowest until charged again"][0] == f"{lowest:.0f} %"
    assert shown["Lowest until charged again"][1].endswith(f"without the car {without:.0f} %")
    again, sooner = (datetime.fromisoformat(told[name]["refill_at"]) for name in ("with_car", "without"))
    assert again > sooner
    assert f"{again:%H:%M}" in shown["Charged again"][0]
    assert f"{sooner:%H:%M}" in shown["Charged again"][1]


@pytest.mark.parametrize("query", [f"charge=60&{SUNNY}", f"charge=17&{SUNNY}", f"charge=95&{SUNNY}", ASK])
def test_the_table_has_the_verdict_of_each_distance(client: Client, query: str) -> None:
    told = client.get(f"/car.json?{query}").json()
    rows = answer(client, query).select("table.distances tbody tr")
    assert len(rows) == len(told["rows"]) == 5
    for row, one in zip(rows, told["rows"], strict=True):
        km, kwh, said = (words(cell) for cell in row.select("td"))
        assert (km, kwh) == (f"{one['km']:g}", f"{one['kwh']:.1f}")
        if one["start_at"] and one["verdict"] != "yes":
            assert f"{datetime.fromisoformat(one['start_at']):%A}" in said
        begun = {"yes": "yes, now", "part": rounded_down(told["most_kwh"]), "wait": "not now; all of it", "no": "no"}
        assert said.startswith(begun[one["verdict"]])
        assert (said == "no") == (one["verdict"] == "no")


def test_a_more_careful_answer_allows_no_more(client: Client) -> None:
    query = f"charge=60&{SUNNY}"
    most = [
        client.get(f"/car.json?{query}&risk={risk}").json()["most_kwh"] for risk in ("likely", "cautious", "careful")
    ]
    assert most == sorted(most, reverse=True)
    assert most[0] > most[1] > 0.0


@pytest.mark.parametrize(
    ("query", "name", "said"),
    [
        ("km=5", "km", "Kilometres wanted must be a number from 10 to 500 km; got 5."),
        ("km=far", "km", "Kilometres wanted must be a number"),
        ("risk=brave", "risk", "How careful"),
        ("tank_litres=2", "tank_litres", "The tank holds must be a number from 10 to 10,000 litres; got 2."),
        ("tank_c=120", "tank_c", "Tank now must be a number from 1 to 95 °C; got 120."),
        ("charge=120", "charge", "from 0 to 100 %; got 120."),
        ("reserve=400", "reserve", "must be a number from 0 to 95 %; got 400."),
    ],
)
def test_what_is_wrong_is_said_and_all_is_kept(with_tank: Client, query: str, name: str, said: str) -> None:
    typed = {"charge": "85", "at": "2026-11-25 18:00", "sky": "dull", "km": "35", "risk": "careful"}
    typed |= {"tank_litres": "150", "tank_c": "33", "off": "van", name: query.split("=")[1]}
    refused = with_tank.get("/car", params=typed)
    assert refused.status_code == 422
    page = soup(refused)
    assert said.replace(",000", "\u202f000") in page.get_text()
    assert page.select_one(f"#{name}-error") is not None
    shown = {one["name"]: one["value"] for one in page.select("form.ask input[name][value]")}
    chosen = {one["name"]: one.select_one("[selected]") for one in page.select("form.ask select[name]")}
    shown |= {select: one["value"] for select, one in chosen.items() if one is not None}
    assert {one: text for one, text in typed.items() if one != "risk" or name != "risk"}.items() <= shown.items()
    told = with_tank.get("/car.json", params=typed)
    assert told.status_code == 422
    assert said in told.text


def test_a_refused_reserve_or_load_can_be_mended_on_the_page(client: Client) -> None:
    page = soup(client.get(f"/car?{ASK}&reserve=400&off=gone"))
    assert page.select_one("form.ask #reserve:not([type=hidden])")["value"] == "400"  # type: ignore[index]
    assert not page.select("form.ask [type=hidden][name=reserve], form.ask [name=off]")
    assert "“gone”, which is no load here" in page.get_text()


def test_without_a_car_on_loads_its_numbers_are_asked_here(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["loads"] = small_house["loads"][:1]
    client = client_of(small_house)
    page = soup(client.get(f"/car?{ASK}"))
    assert "no car is entered on Loads" in words(page.select_one("form.ask"))
    for name in ("kwh_per_100km", "charge_efficiency", "charger_kw"):
        assert page.select_one(f"form.ask [name={name}]") is not None
    kwh = [client.get(f"/car.json?{ASK}&km=50&kwh_per_100km={use}").json()["kwh"] for use in (15, 30)]
    assert kwh[1] == pytest.approx(2.0 * kwh[0])
    refused = client.get(f"/car?{ASK}&charger_kw=-3")
    assert refused.status_code == 422
    assert soup(refused).select_one("form.ask [name=charger_kw]")["value"] == "-3"  # type: ignore[index]
    assert words(soup(client.get(f"/car?within=today&{ASK}")).select_one("#brief")) == ""
    assert "The car may take" in words(soup(client.get(f"/car?within=today&{ASK}&km=20")).select_one("#brief"))


def test_the_block_inside_today_is_short_and_leads_here(client: Client) -> None:
    whole = client.get(f"/car.json?charge=60&km=400&{SUNNY}").json()
    brief = soup(client.get(f"/car?within=today&charge=60&km=400&{SUNNY}")).select_one("#brief")
    assert brief is not None
    assert f"may take {rounded_down(whole['part_kwh'])}" in words(brief)
    assert len(brief.get_text()) < 300
    assert brief.a["href"].startswith("/car?charge=60&km=400")  # type: ignore[index, union-attr]
    assert "within" not in brief.a["href"]  # type: ignore[index]
    block = soup(client.get(f"/today?{ASK}")).select_one("#within-car")
    assert block["hx-get"].startswith("/car?within=today&charge=85")  # type: ignore[index, union-attr]


def test_what_is_switched_off_on_today_is_off_here(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["loads"].append({"id": "fan", "name": "Fan", "kind": "steady", "values": {"power_w": 200.0}})
    client = client_of(small_house)
    on, off = (client.get(f"/car.json?charge=60&{SUNNY}{more}").json() for more in ("", "&off=fan"))
    # 13 hours of the fan and a tenth, before the sun carries the house, are about 2.9 kWh
    assert 2.0 < off["most_kwh"] - on["most_kwh"] < 4.0
    page = soup(client.get(f"/car?charge=60&{SUNNY}&off=fan"))
    assert page.select_one("form.ask [name=off]")["value"] == "fan"  # type: ignore[index]
    van_off = client.get(f"/car.json?charge=60&{SUNNY}&off=van").json()
    assert van_off["most_kwh"] == on["most_kwh"]


def test_a_charge_off_a_vague_scale_counts_at_its_low_end_but_for_the_likely(client: Client) -> None:
    most = {}
    for risk in ("likely", "cautious"):
        told = client.get(f"/car.json?charge=52.9&charge_as=volts&{SUNNY}&risk={risk}").json()
        most[risk] = told["start_soc"]
    assert most["cautious"] < most["likely"] - 0.005


def test_water_takes_what_a_full_bank_leaves_over(with_tank: Client) -> None:
    sunny = "charge=90&sky=bright,bright&at=2026-06-03%2006:00&tank_litres=150&tank_c=40"
    water = with_tank.get(f"/car.json?{sunny}").json()["surplus"]
    assert water["kwh"] > 1.0
    rows = answer(with_tank, sunny).select("table.surplus tbody tr")
    assert [words(row.select("td")[1]) for row in rows] == [f"{day['kwh']:.1f}" for day in water["days"]]
    for row, day in zip(rows, water["days"], strict=True):
        assert words(row.select("td")[2]) == f"{day['gained_k']:.0f} °C warmer, to {day['reached_c']:.0f} °C"
        assert day["reached_c"] == pytest.approx(40.0 + day["gained_k"])
    dark = "charge=50&sky=dark,dark&at=2026-12-03%2006:00"
    assert with_tank.get(f"/car.json?{dark}").json()["surplus"]["kwh"] == 0.0
    assert "Nothing is left over for Heat tank" in words(answer(with_tank, dark).select_one("#water"))


def test_without_hot_water_the_page_says_where_to_enter_it(client: Client) -> None:
    water = answer(client).select_one("#water")
    assert "No hot water is entered." in words(water)
    assert water.a["href"] == "/loads#add-load"


def test_without_a_bank_the_page_leads_to_one(client_of: Opener, small_house: dict[str, Any]) -> None:
    empty = client_of(small_house | {"banks": []})
    page = answer(empty, "")
    assert "first bank" in words(page)
    assert page.select_one("a.button")["href"].startswith("/banks")
    assert "bank" in empty.get("/car.json").text
