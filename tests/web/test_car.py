"""Car and water: the page, its block inside Today, its JSON, and what is refused."""

from __future__ import annotations

from typing import Any

import pytest

from tests.conftest import Client, soup
from tests.web.conftest import Opener

ASK = "charge=85&sky=dull,dull,bright&at=2026-11-25%2018:00"
TANK = {"id": "tank", "name": "Heat tank", "kind": "water", "can_wait": True, "values": {"heater_kw": 1.0}}


def answer(client: Client, query: str = ASK) -> Any:
    return soup(client.get(f"/car?{query}")).select_one("#answer")


def words(found: Any) -> str:
    return " ".join(found.get_text(" ").split())


def test_the_sentence_is_the_json(client: Client) -> None:
    seen = set()
    sunny = "charge=85&sky=bright,bright,bright&at=2026-06-03%2018:00"
    for km in (10, 60, 400):
        told = client.get(f"/car.json?{sunny}&km={km}").json()
        said = words(answer(client, f"{sunny}&km={km}").select_one("h1"))
        seen.add(told["verdict"])
        assert said.startswith("Yes") == (told["verdict"] == "yes")
        if told["verdict"] == "yes":
            assert f"{km} km" in said
    assert len(seen) > 1


def test_the_table_has_the_verdict_of_each_distance(client: Client) -> None:
    rows = answer(client).select("table tbody tr")
    told = client.get(f"/car.json?{ASK}").json()["rows"]
    distances = [row["km"] for row in told]
    shown = [row.select("td, th")[0].get_text().strip() for row in rows[: len(told)]]
    assert shown == [f"{km:g}" for km in distances]


def test_a_more_careful_answer_allows_no_more(client: Client) -> None:
    most = [client.get(f"/car.json?{ASK}&risk={risk}").json()["most_kwh"] for risk in ("likely", "cautious", "careful")]
    assert most == sorted(most, reverse=True)


@pytest.mark.parametrize(
    ("query", "name", "said"),
    [
        ("km=5", "km", "Kilometres wanted must be a number from 10 to 500 km; got 5."),
        ("km=far", "km", "Kilometres wanted must be a number"),
        ("risk=brave", "risk", "How careful"),
        ("tank_litres=2", "tank_litres", "The tank holds must be a number from 10 to 10,000 litres; got 2."),
        ("tank_c=120", "tank_c", "Tank now must be a number from 1 to 95 °C; got 120."),
        ("charge=120", "charge", "from 0 to 100 %; got 120."),
    ],
)
def test_what_is_wrong_is_said_and_all_is_kept(
    client_of: Opener, small_house: dict[str, Any], query: str, name: str, said: str
) -> None:
    small_house["loads"].append(TANK)
    rest = "" if name == "km" else "&km=35"
    asked = f"{query}{rest}&sky=dull" if name == "charge" else f"{ASK}&{query}{rest}"
    refused = client_of(small_house).get(f"/car?{asked}")
    assert refused.status_code == 422
    page = soup(refused)
    assert said in page.get_text()
    assert page.select_one(f"#{name}-error") is not None
    if name != "risk":
        assert page.select_one(f"[name={name}]")["value"] == query.split("=")[1]  # type: ignore[index]
    if rest:
        assert page.select_one("[name=km]")["value"] == "35"  # type: ignore[index]


def test_without_a_car_on_loads_its_numbers_are_asked_here(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["loads"] = small_house["loads"][:1]
    client = client_of(small_house)
    page = soup(client.get(f"/car?{ASK}"))
    for name in ("kwh_per_100km", "charge_efficiency", "charger_kw"):
        assert page.select_one(f"[name={name}]") is not None
    kwh = [client.get(f"/car.json?{ASK}&km=50&kwh_per_100km={use}").json()["kwh"] for use in (15, 30)]
    assert kwh[1] == pytest.approx(2.0 * kwh[0])


def test_the_block_inside_today_is_short_and_leads_here(client: Client) -> None:
    brief = soup(client.get(f"/car?within=today&{ASK}")).select_one("#brief")
    assert brief is not None
    assert brief.a["href"].startswith("/car?charge=85")  # type: ignore[index, union-attr]
    assert "within" not in brief.a["href"]  # type: ignore[index, union-attr]
    assert len(brief.get_text()) < 300
    assert soup(client.get(f"/today?{ASK}")).select_one("#within-car") is not None


def test_water_takes_what_a_full_bank_leaves_over(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["loads"].append(TANK)
    client = client_of(small_house)
    sunny = "charge=90&sky=bright,bright&at=2026-06-03%2006:00"
    water = client.get(f"/car.json?{sunny}").json()["surplus"]
    assert water["kwh"] > 1.0
    assert "°C" in words(answer(client, sunny).select_one("#water").parent)
    dark = client.get("/car.json?charge=50&sky=dark,dark&at=2026-12-03%2006:00").json()["surplus"]
    assert dark["kwh"] == 0.0


def test_without_a_bank_the_page_leads_to_one(client_of: Opener, small_house: dict[str, Any]) -> None:
    empty = client_of(small_house | {"banks": []})
    assert "first bank" in words(answer(empty, ""))
