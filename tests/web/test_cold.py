"""Cold: the page, its block and its line in every answer, its JSON, the bank's field, and what is refused."""

from __future__ import annotations

import dataclasses
import json
import re
from typing import Any

import pytest

from engine.house import household
from tests.conftest import Client, form_of, soup
from tests.engine.test_bus import LFP, SODIUM, house_of
from tests.web.conftest import HOUSEHOLDS, Opener

ASK = "charge=40&sky=bright,bright,dull&at=2026-11-25%2018:00"
LINE = "At 3 °C the store-room bank takes 26.2 A instead of 140 A and holds 92 % of its 20 °C capacity"
"""10 A at the board's 2 °C, 140 A at 10 °C: 10 + 130 / 8 = 26.25 A; LFP's table gives 0.8988 / 0.977."""
ANSWERS = (f"/today?{ASK}", "/week", "/size", "/charge", "/sheet")


def cold_house(house: dict[str, Any], cell_c: float = 3.0, amps: float | None = 10.0) -> dict[str, Any]:
    house["banks"][0].update(cell_c=cell_c, cold_charge_a=amps, charge_limit_a=140.0)
    return house


@pytest.fixture
def cool(client_of: Opener, small_house: dict[str, Any]) -> Client:
    return client_of(cold_house(small_house))


def text_of(node: Any) -> str:
    return re.sub(r"\s+", " ", node.get_text().replace("\u00a0", " ")).strip()


def answer(client: Client, query: str = ASK) -> Any:
    return soup(client.get(f"/cold?{query}")).select_one("#answer")


def test_the_page_says_what_the_json_says(cool: Client) -> None:
    told = cool.get(f"/cold.json?{ASK}").json()
    page = answer(cool)
    assert told["refused_kwh"] > 0.05
    assert f"cold refuses {told['refused_kwh']:.1f} kWh" in text_of(page.h1)
    assert told["banks"][0]["now"]["charge_a"] == pytest.approx(26.25)
    own = page.select_one("table.cold-rows tr.total")
    assert [text_of(cell) for cell in own.select("th, td")][:3] == ["3 °C, now", "26.2", "92"]
    assert len(page.select("table.cold-rows tbody tr")) == 12
    assert page.select_one("#temperatures-1-plot") is not None
    assert told["at"].startswith("2026-11-25T18:00")


def test_the_heater_takes_what_is_typed(cool: Client) -> None:
    """100 kg × 1000 J × (13 − 3) K = 0.2778 kWh; 3 W/K × (13 − 1) K = 36 W."""
    query = f"{ASK}&to_c=13&ambient_c=1&mass_kg=100&loss_w_per_k=3&heater_w=250"
    told = cool.get(f"/cold.json?{query}").json()["heated"]
    assert told["lift_kwh"] == pytest.approx(1e6 / 3.6e6)
    assert told["hold_kwh_per_day"] == pytest.approx(0.036 * told["sun_h_per_day"])
    assert "A heater" in text_of(answer(cool, query).select_one("#heater"))


def test_a_heater_with_which_it_runs_out_sooner_is_not_called_worth_it(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    small_house["banks"][0].update(cell_c=-5.0, parallel=1)
    small_house["sun"]["arrays"][0]["kwp"] = 3.0
    small_house["loads"] = [{"id": "cold", "name": "Cold room", "kind": "steady", "values": {"power_w": 100.0}}]
    client = client_of(small_house)
    weak = "charge=60&sky=dull,bright,bright&heater_w=200&loss_w_per_k=10"
    told = client.get(f"/cold.json?{weak}").json()
    assert told["heated"]["net_kwh"] > 1.0
    assert told["heated"]["hours"] < told["hours"] - 12.0
    page, block = (soup(client.get(f"/cold?{weak}{within}")) for within in ("", "&within=1"))
    for said in (text_of(page.select_one("#heater .lead")), text_of(block.select_one("#brief"))):
        assert "worth it" not in said
        assert "With a heater it runs out sooner: it lasts 34 hours, 2 days and 11 hours without it." in said
    strong = "charge=60&sky=dull,bright,bright&heater_w=2000"
    assert "A heater is worth it" in text_of(soup(client.get(f"/cold?{strong}")).select_one("#heater .lead"))


@pytest.mark.parametrize("path", ANSWERS)
def test_the_line_stands_in_every_answer(cool: Client, path: str) -> None:
    line = soup(cool.get(path)).select_one(".cold-line")
    assert line is not None
    assert LINE in text_of(line)
    if path != "/sheet":
        assert line.a["href"].startswith("/cold")


@pytest.mark.parametrize("path", ANSWERS)
def test_a_warm_bank_has_no_line(client_of: Opener, small_house: dict[str, Any], path: str) -> None:
    warm = client_of(cold_house(small_house, cell_c=20.0))
    page = soup(warm.get(path))
    assert page.select_one("#answer, #sheet-hours") is not None
    assert page.select_one(".cold-line") is None
    assert page.select_one("#within-cold") is None


def test_today_tells_the_energy_and_leads_on(cool: Client) -> None:
    refused = cool.get(f"/cold.json?{ASK}").json()["refused_kwh"]
    page = soup(cool.get(f"/today?{ASK}"))
    assert f"cold refuses {refused:.1f} kWh in these days" in text_of(page.select_one(".cold-line"))
    block = page.select_one("#within-cold")
    assert block is not None
    brief = soup(cool.get(block["hx-get"])).select_one("#brief")
    assert brief is not None
    assert f"Cold refuses {refused:.1f} kWh in these days" in text_of(brief)
    assert "within" not in brief.a["href"]
    assert len(brief.get_text()) < 300


@pytest.mark.parametrize("several", [False, True])
def test_the_block_on_today_names_the_bank_where_there_are_several(
    client_of: Opener, small_house: dict[str, Any], several: bool
) -> None:
    small_house["banks"][0].update(cell_c=-5.0)
    small_house["sun"]["arrays"][0]["kwp"] = 2.0
    small_house["loads"] = [{"id": "cold", "name": "Cold room", "kind": "steady", "values": {"power_w": 400.0}}]
    if several:
        shed = small_house["banks"][0] | {"id": "b2", "name": "Shed bank", "inverter": "two", "parallel": 1}
        small_house["banks"][0]["cell_c"] = 12.0
        small_house["banks"].append(shed)
        small_house["inverters"].append(small_house["inverters"][0] | {"id": "two", "name": "Second inverter"})
        roof = small_house["sun"]["arrays"][0] | {"id": "shed", "name": "Shed roof", "inverter": "two"}
        small_house["sun"]["arrays"][0]["inverter"] = "main"
        small_house["sun"]["arrays"].append(roof)
        hut = {"id": "hut", "name": "Hut", "kind": "steady", "inverter": "two", "values": {"power_w": 60.0}}
        small_house["loads"] = [small_house["loads"][0] | {"inverter": "main"}, hut]
    client = client_of(small_house)
    ask = f"{'charge=40&charge_b2=80' if several else 'charge=80'}&sky=dull,bright,bright"
    page = soup(client.get(f"/today?{ask}"))
    assert "store-room bank" in text_of(page.h1)
    told = text_of(soup(client.get(page.select_one("#within-cold")["hx-get"])).select_one("#brief"))
    assert ("kWh of the shed bank in these days" in told) is several
    assert ("with warm cells the shed bank would last" in told) is several
    assert ("with warm cells it would last" in told) is not several


@pytest.mark.parametrize("path", ANSWERS)
def test_no_charge_is_said_once(client_of: Opener, small_house: dict[str, Any], path: str) -> None:
    page = soup(client_of(cold_house(small_house, cell_c=-3.0)).get(path))
    assert "takes no charge (it may from 2 °C on)" in text_of(page.select_one(".cold-line"))
    assert "no charge goes in" not in text_of(page)


def test_cells_without_a_board_below_freezing_are_a_stop(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"][0]["board"] = None
    page = answer(client_of(cold_house(small_house, cell_c=-3.0)))
    assert "metal plates inside the cells" in " ".join(text_of(note) for note in page.select(".note.stop"))


def test_a_warm_bank_still_has_its_table_and_is_refused_nothing(client_of: Opener, small_house: dict[str, Any]) -> None:
    page = answer(client_of(cold_house(small_house, cell_c=21.0)))
    assert "cold refuses nothing" in text_of(page.h1)
    assert page.select("table.cold-rows tbody tr")
    assert "none is needed" in text_of(page.select_one("#heater"))


def test_without_a_joined_bank_it_says_what_to_enter(client_of: Opener, small_house: dict[str, Any]) -> None:
    empty = client_of(small_house | {"banks": [], "loads": []})
    assert "Enter your first bank" in answer(empty, "").get_text()
    assert empty.get("/cold.json").status_code == 422


def test_banks_on_one_bus_have_a_card_each_and_no_heater(client_of: Opener) -> None:
    """One bank below its board's lowest: none on the bus is charged, and both have a sentence in Today."""
    frozen = dataclasses.replace(LFP, cell_c=-2.0)
    shared = client_of(household.write(house_of(frozen, SODIUM)) | {"name": "Two banks", "example": False})
    ask = "charge=50&sky=bright,bright"
    page = answer(shared, ask)
    assert len(page.select("table.cold-rows")) == 2
    assert "share one bus" in text_of(page.select_one("#heater"))
    told = shared.get(f"/cold.json?{ask}").json()
    assert told["refused_kwh"] > 0.05
    assert told["heated"] is None
    line = text_of(soup(shared.get(f"/today?{ask}")).select_one(".cold-line"))
    assert "takes no charge" in line
    assert f"kWh of {LFP.name} and {SODIUM.name} in these days" in line


def test_of_several_supplies_the_coldest_is_answered_unless_one_is_chosen(client_of: Opener) -> None:
    document = json.loads((HOUSEHOLDS / "three_banks.json").read_text(encoding="utf-8"))
    document["banks"][1]["cell_c"] = 4.0
    client = client_of(document)
    names = [client.get(f"/cold.json{query}").json()["name"] for query in ("?bank=mill", "?bank=house", "")]
    assert names == ["Mill bank", "House bank", "Shed bank"]


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("to_c=90", "Warm the cells to must be a number from -20 to 40 °C; got 90"),
        ("mass_kg=heavy", "Mass of the cells must be a number from"),
        ("heater_w=5", "Heater power must be above the 14 W that the box loses at 10 °C; got 5 W"),
        ("ambient_c=8", "Around the box must not be warmer than the cells of Store-room bank, 3 °C"),
        ("charge=190", "Charge now must be a number from 0 to 100 %"),
    ],
)
def test_what_is_wrong_is_said_and_kept(cool: Client, query: str, said: str) -> None:
    name, typed = query.split("=")
    asked = ASK.replace("charge=40&", "") if name == "charge" else ASK
    refused = cool.get(f"/cold?{asked}&{query}")
    assert refused.status_code == 422
    page = soup(refused)
    assert said in page.get_text()
    assert page.select_one(f"[name={name}]")["value"] == typed
    assert cool.get(f"/cold.json?{asked}&{query}").status_code == 422


def test_the_field_goes_through_the_form_of_the_bank(cool: Client) -> None:
    sent = form_of(soup(cool.get("/banks?edit=store")), "bank-store-form")
    assert sent["cold_charge_a"] == "10"
    assert cool.post("/banks", sent | {"cold_charge_a": "12,5"}).status_code == 303
    assert cool.document()["banks"][0]["cold_charge_a"] == 12.5
    sent = form_of(soup(cool.get("/banks?edit=store")), "bank-store-form")
    assert cool.post("/banks", sent | {"cold_charge_a": ""}).status_code == 303
    assert cool.document()["banks"][0]["cold_charge_a"] is None
    sent = form_of(soup(cool.get("/banks?edit=store")), "bank-store-form")
    refused = cool.post("/banks", sent | {"cold_charge_a": "-1"})
    assert refused.status_code == 422
    assert "Charge current at 0 °C must be a number from 0 to 5\u202f000 A" in refused.text


def test_why_the_usable_energy_of_a_lead_bank_does_not_fall_is_said_below_the_table(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    lead = {"chemistry": "lead_sealed", "series": 24, "reserve_soc": 0.5, "board": None}
    small_house["banks"][0] |= lead | {"cell_c": 5.0}
    client = client_of(small_house)
    bank = client.get(f"/cold.json?{ASK}").json()["banks"][0]
    assert bank["now"]["capacity_share"] < 0.95
    assert bank["now"]["usable_kwh"] == pytest.approx(bank["warm_kwh"], rel=0.01)
    assert "on, what cold keeps of the capacity lies below the reserve of Store-room bank" in text_of(answer(client))
    small_house["banks"][0]["reserve_soc"] = 0.0
    assert "lies below the reserve" not in text_of(answer(client_of(small_house)))
