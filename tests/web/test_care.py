"""Cell care: the page says what its JSON says, keeps what is typed, and never calls an unstated limit allowed."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Any

import pytest

from tests.conftest import Client, soup
from tests.web.conftest import Opener

ASK = "charge=60&sky=bright,bright,bright&at=2026-11-25%2018:00"


def flooded(house: dict[str, Any], chemistry: str = "lead_flooded", **changes: Any) -> dict[str, Any]:
    lead = {"chemistry": chemistry, "series": 24, "parallel": 1, "label_ah": 400.0, "board": None, "hold": True}
    house["banks"][0].update(lead | {"cell_c": 12.0, "reserve_soc": 0.5} | changes)
    house["loads"] = house["loads"][:1]
    return house


def sodium(house: dict[str, Any], cell_c: float, **changes: Any) -> dict[str, Any]:
    board = {"cell_low_v": 1.5, "cell_high_v": 4.1, "charge_min_c": 0.0, "current_limit_a": 200.0}
    cells = {"chemistry": "sodium_layered", "series": 15, "parallel": 1, "label_ah": 200.0, "board": board}
    house["banks"][0].update(cells | {"cell_c": cell_c} | changes)
    return house


@pytest.fixture
def lead(client_of: Opener, small_house: dict[str, Any]) -> Client:
    return client_of(flooded(small_house))


def text_of(node: Any) -> str:
    return re.sub(r"\s+", " ", node.get_text().replace("\u00a0", " ")).strip()


def answer(client: Client, query: str = ASK) -> Any:
    return soup(client.get(f"/care?{query}")).select_one("#answer")


def rows(page: Any) -> dict[str, str]:
    told = page.select("table.care-rows tbody tr")
    return {next(row.th.stripped_strings).replace("\u00a0", " "): text_of(row.td) for row in told}


def test_the_page_says_what_the_json_says(lead: Client) -> None:
    told = lead.get(f"/care.json?{ASK}&full=2026-11-15").json()
    page = answer(lead, f"{ASK}&full=2026-11-15")
    (bank,) = told["banks"]
    full, air = bank["lead"]["full"], bank["lead"]["air"]
    assert full["days_since"] == 10
    assert full["last_on"] == "2026-11-15"
    assert full["due_on"] == "2026-11-22"
    assert "was last full 10 days ago" in text_of(page.h1)
    assert page.select_one("[role=status] h1") is not None
    shown = rows(page)
    assert shown["Air while charged"] == f"{air['boost_m3_h']:.1f} m³/h" == "9.6 m³/h"
    assert shown["Absorption at 12 °C"] == f"{bank['lead']['volts']['here_pack_v']:.1f} V"
    assert f"free opening {air['boost_cm2']:.0f} cm²" in text_of(page)
    assert told["at"].startswith("2026-11-25T18:00")


def test_it_is_in_the_list_of_pages_under_check(lead: Client) -> None:
    page = soup(lead.get("/care"))
    here = page.select_one('nav a[href="/care"]')
    assert here is not None
    assert text_of(here) == "Cell care"


@pytest.mark.parametrize("typed", ["yesterday", "2026-13-01", "2026-11-26", "1999-01-01", "26.11.2026"])
def test_a_day_that_cannot_be_is_refused_and_kept(lead: Client, typed: str) -> None:
    response = lead.get(f"/care?{ASK}&full={typed}")
    assert response.status_code == 422
    page = soup(response)
    field = page.select_one("input[name=full]")
    assert field is not None
    assert field["value"] == typed
    assert "Last full on must be" in text_of(page)
    assert lead.get(f"/care.json?{ASK}&full={typed}").status_code == 422


def test_a_fault_of_the_question_keeps_the_day(lead: Client) -> None:
    response = lead.get("/care?charge=170&full=2026-11-15")
    assert response.status_code == 422
    assert soup(response).select_one('input[name=full][value="2026-11-15"]') is not None


def test_a_charge_that_nobody_typed_is_not_called_a_fact(lead: Client) -> None:
    page = answer(lead, "at=2026-11-25%2018:00")
    assert "taken as full now" in text_of(page.h1)
    assert "nobody typed its charge" in text_of(page)
    assert "nobody typed its charge" not in text_of(answer(lead))


def test_an_empty_day_is_not_known(lead: Client) -> None:
    page = answer(lead, f"{ASK}&full=")
    assert "not told" in text_of(page.select_one("dl.figures"))
    assert "nobody has said when it was last full" in text_of(page)


@pytest.mark.parametrize(("chemistry", "word"), [("lead_sealed", "Lead-acid, sealed"), ("lead_gel", "Lead-acid, gel")])
def test_equalising_is_refused_in_words_on_sealed_and_gel(
    client_of: Opener, small_house: dict[str, Any], chemistry: str, word: str
) -> None:
    page = answer(client_of(flooded(small_house, chemistry)))
    told = text_of(page.select_one(".care-reminders"))
    assert f"{word} must not be equalised" in told
    assert "never open them" in told
    assert not any("Equalising" in what for what in rows(page))


def test_flooded_cells_are_told_of_water_and_equalising(lead: Client) -> None:
    told = text_of(answer(lead).select_one(".care-reminders"))
    assert "Only deionised water" in told
    assert "goggles" in told
    assert "after a full charge" in told


def test_an_inverter_that_does_not_bear_it_is_a_stop(lead: Client) -> None:
    """The small household's inverter ends at 60 V; 24 × (2.58 + 0.052) V is 63.2."""
    page = answer(lead)
    stops = " ".join(text_of(note) for note in page.select(".note.stop"))
    assert "do not equalise it on Byre inverter: at 12 °C that takes 63.2 V" in stops
    assert "Not on this inverter" in text_of(page.select_one(".care-reminders"))


@pytest.mark.parametrize("path", ["/care", "/today", "/cold"])
def test_a_cold_sodium_bank_is_stopped_wherever_it_is_asked_of(
    client_of: Opener, small_house: dict[str, Any], path: str
) -> None:
    page = answer_of(client_of(sodium(small_house, 4.0)), path)
    stops = [text_of(note) for note in page.select(".note.stop")]
    assert len([text for text in stops if "nobody has stated how they may be charged below 10 °C" in text]) == 1


def answer_of(client: Client, path: str) -> Any:
    return soup(client.get(f"{path}?{ASK}")).select_one("#answer")


@pytest.mark.parametrize("cell_c", [-5.0, 4.0, 15.0])
def test_an_unstated_limit_is_never_a_number(client_of: Opener, small_house: dict[str, Any], cell_c: float) -> None:
    """100 A, half of 200 Ah, is LFP's; at 0 and 5 °C it must not stand there."""
    page = answer(client_of(sodium(small_house, cell_c)))
    shown = rows(page)
    assert shown["At 0 °C"] == shown["At 5 °C"] == "not stated: ask the maker"
    assert "not stated: ask the maker" in text_of(page.h1)
    assert "not stated: ask the maker" in text_of(page.select_one("dl.figures"))
    assert ("100 A" in text_of(page.select_one("dl.figures dd"))) is (cell_c >= 10.0)


def test_a_stated_limit_is_told_and_ends_the_stop(client_of: Opener, small_house: dict[str, Any]) -> None:
    house = sodium(small_house, 5.0, cold_charge_a=20.0)
    house["inverters"][0]["charge_limit_a"] = 60.0
    page = answer(client_of(house))
    assert not page.select(".note.stop")
    assert "up to 60.0 A" in text_of(page.h1)


def test_lithium_is_not_asked_when_it_was_full(client: Client) -> None:
    page = soup(client.get(f"/care?{ASK}"))
    assert page.select_one("input[name=full]") is None
    assert "at 12 °c the store-room bank may be charged with" in text_of(page.h1).lower()
    assert "not equalised, not kept on float" in text_of(page)


def test_a_generator_run_is_told_with_its_fuel(client_of: Opener, small_house: dict[str, Any]) -> None:
    house = flooded(small_house)
    house["generators"] = [
        {"id": "gen", "name": "Set", "inverter": "main", "rated_w": 3000, "charger_w": 2000, "full_l_per_h": 1.2,
         "idle_l_per_h": 0.4, "start_soc": 0.5, "stop_soc": 0.8}
    ]  # fmt: skip
    one = client_of(house)
    query = "charge=60&sky=none&at=2026-11-25%2018:00&full=2026-11-15"
    run = one.get(f"/care.json?{query}").json()["banks"][0]["lead"]["full"]["run"]
    page = answer(one, query)
    assert run["reaches"]
    assert f"{run['litres']:.1f} l" in text_of(page.select_one(".range"))
    assert "carbon monoxide" in text_of(page)


def test_it_says_where_its_rules_are_from_and_what_to_beware_of(lead: Client) -> None:
    page = answer(lead)
    assert "EN 50272-2" in text_of(page.select_one(".assumed"))
    cautions = text_of(page.select_one(".cautions"))
    assert "hydrogen" in cautions
    assert "not an approval" in cautions


def test_without_a_joined_bank_it_says_what_to_enter(client_of: Opener, small_house: dict[str, Any]) -> None:
    empty = client_of(small_house | {"banks": [], "loads": []})
    assert "Enter your first bank" in answer(empty, "").get_text()
    assert empty.get("/care.json").status_code == 422


def test_headings_go_down_one_step_at_a_time(lead: Client) -> None:
    levels = [int(one.name[1]) for one in answer(lead).select("h1, h2, h3, h4")]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_one_truth_of_a_cold_charge_that_nobody_stated_stands_on_every_page(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    """At 5 °C: no page counts a charge, none names a number that allows it, and the page it is mended on says so."""
    client = client_of(sodium(small_house, 5.0))
    said = "takes no charge that is counted (below 10 °C its limit is not stated: ask the maker)"
    for path in ("/cold", "/today"):
        text = text_of(answer_of(client, path))
        assert said in text, path
        assert "the whole of it" not in text
        assert "refuses nothing" not in text
        assert "refuses no charge" not in text
    assert client.get(f"/cold.json?{ASK}").json()["banks"][0]["now"]["charge_a"] == 0.0
    banks = text_of(soup(client.get("/banks")))
    assert "nobody has stated how they may be charged below 10 °C" in banks
    assert "no charge is counted below 10 °C" in banks
    for path in ("/commissioning", "/sheet"):
        row = soup(client.get(path)).find("th", string=re.compile("No charge below"))
        assert row is not None, path
        assert "10 °C" in text_of(row.parent), path
        assert "not stated" in text_of(row.parent), path


def test_a_day_that_may_be_two_is_asked_back(lead: Client) -> None:
    response = lead.get(f"/care?{ASK}&full=5/6/2026")
    assert response.status_code == 422
    assert "may be 5 June or 6 May" in text_of(soup(response))
