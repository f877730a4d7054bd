"""Wiring: the page, its form, its JSON, what is refused, and its stops on other pages."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.conftest import Client, form_of, soup
from tests.web.conftest import HOUSEHOLDS, Opener

MAIN = {
    "main.length_m": "2,5",
    "main.awg": "2/0",
    "main.carries_a": "175",
    "main.fuse_a": "150",
    "main.fuse_v": "80",
    "main.breaking_ka": "20",
}
SUITS = {"main.breaking_ka": "50", "main.fuse_a": "160"}
"""A fuse a quarter above the highest current, for any short of these cells."""


@pytest.fixture
def household_h() -> dict[str, Any]:
    """Household H with a cut-off of 44 V."""
    house: dict[str, Any] = json.loads((HOUSEHOLDS / "h.json").read_text(encoding="utf-8"))
    house["inverters"][0].update(dc_min_v=44.0, restart_v=46.0)
    return house


@pytest.fixture
def h_client(client_of: Opener, household_h: dict[str, Any]) -> Client:
    return client_of(household_h)


def sent(client: Client, bank: str = "bank", **typed: str) -> dict[str, str]:
    """What the form of a bank sends with some of it typed."""
    return form_of(soup(client.get("/wiring")), f"wiring-{bank}-form") | typed


def words(client: Client, path: str = "/wiring") -> str:
    return " ".join(soup(client.get(path)).get_text(" ").split())


def test_the_highest_current_is_answered_before_anything_is_entered(h_client: Client) -> None:
    page = soup(h_client.get("/wiring"))
    assert "must carry 123.1\xa0A" in page.select_one("#answer .sentence").get_text()
    assert page.find("details", open=True).find("form", id="wiring-bank-form")
    told = h_client.get("/wiring.json").json()
    assert round(told["banks"][0]["wiring"]["discharge_a"], 1) == 123.1
    assert "fuse must" not in words(h_client, "/today")


def test_what_is_saved_is_kept_in_mm2_and_shown_again_as_typed(h_client: Client) -> None:
    reply = h_client.post("/wiring", sent(h_client, **MAIN))
    assert reply.status_code == 303
    assert reply.headers["Location"] == "/wiring#wiring-bank"
    main = h_client.document()["banks"][0]["wiring"]["main"]
    assert main == {
        "length_m": 2.5,
        "area_mm2": 67.431,
        "carries_a": 175,
        "fuse_a": 150,
        "fuse_v": 80,
        "breaking_ka": 20,
    }
    again = sent(h_client)
    assert (again["main.awg"], again["main.area_mm2"], again["main.length_m"]) == ("2/0", "", "2.5")
    assert "wiring of Bank changed" in words(h_client)


def test_the_page_shows_the_numbers_of_its_json(h_client: Client) -> None:
    h_client.post("/wiring", sent(h_client, **MAIN, cell_mohm="0,2"))
    one = h_client.get("/wiring.json").json()["banks"][0]["wiring"]
    page = soup(h_client.get("/wiring"))
    shown = {part.dt.get_text(): part.dd.get_text() for part in page.select("#answer .figures > div")}
    assert shown["Voltage drop"] == f"{one['total_drop_v']:.2f} V"
    assert shown["In a short"] == f"{one['fault']['bus_a'] / 1000:.1f} kA"
    assert shown["Highest pack volts"] == f"{one['highest_v']:.1f} V"
    rows = page.select("table.cable-sizes tbody tr")
    assert len(rows) == len(one["sizes"]) == 28
    kept = {row.th.get_text() for row in rows if row.select("td")[3].get_text() == "yes"}
    assert kept == {size["name"].removeprefix("AWG ").removesuffix(" mm²") for size in one["sizes"] if size["keeps"]}


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        ({"main.length_m": "-1", "main.area_mm2": "35"}, "main.length_m", "Length one way must be a number from 0.05"),
        ({"main.length_m": "2"}, "main.area_mm2", "Copper cross-section must be a number from 0.2 to 2\u202f000 mm²"),
        ({"main.area_mm2": "35"}, "main.length_m", "Length one way must be a number"),
        ({"main.length_m": "2", "main.awg": "5/0"}, "main.awg", "AWG size must be from 40 to 1"),
        ({"main.length_m": "2", "main.awg": "4", "main.area_mm2": "25"}, "main.awg", "not both"),
        ({"cell_mohm": "0,2 V"}, "cell_mohm", "carries “V”"),
        ({"drop_share": "50"}, "drop_share", "Wanted highest voltage drop must be a number from 0.1 to 20 %; got 50."),
    ],
)
def test_what_cannot_be_is_refused_and_kept_as_typed(
    h_client: Client, typed: dict[str, str], field: str, sentence: str
) -> None:
    before = h_client.document()
    reply = h_client.post("/wiring", sent(h_client, **typed))
    assert reply.status_code == 422
    page = soup(reply)
    error = page.find(id=f"wiring-bank-{field}-error")
    assert error is not None
    assert sentence in error.get_text()
    assert sentence in page.select_one(".summary").get_text()
    for name, text in typed.items():
        assert page.find(id=f"wiring-bank-{name}")["value"] == text
    assert h_client.document() == before


def test_the_cable_of_a_string_is_asked_only_where_there_are_strings(h_client: Client, client: Client) -> None:
    assert "string.length_m" not in sent(h_client)
    typed = {"string.length_m": "0.8", "string.area_mm2": "35"}
    assert client.post("/wiring", sent(client, "store", **MAIN, **typed)).status_code == 303
    assert client.document()["banks"][0]["wiring"]["string"]["area_mm2"] == 35
    assert "Store-room bank: the cable of each string has no fuse" in words(client)


def test_a_string_cable_that_is_not_asked_stays(client_of: Opener, household_h: dict[str, Any]) -> None:
    household_h["banks"][0]["wiring"] = {"string": {"length_m": 1.0, "area_mm2": 16.0}}
    client = client_of(household_h)
    client.post("/wiring", sent(client, **MAIN))
    wired = client.document()["banks"][0]["wiring"]
    assert (wired["string"]["length_m"], wired["string"]["area_mm2"]) == (1.0, 16.0)
    assert wired["main"]["fuse_a"] == 150


def test_emptied_again_it_is_not_entered(h_client: Client) -> None:
    h_client.post("/wiring", sent(h_client, **MAIN))
    h_client.post("/wiring", sent(h_client) | dict.fromkeys(MAIN, ""))
    assert h_client.document()["banks"][0]["wiring"]["main"] is None


@pytest.mark.parametrize("path", ["/today", "/wiring", "/sheet"])
def test_a_fuse_above_its_cable_is_a_stop_on_every_page(h_client: Client, path: str) -> None:
    assert "the cable burns before the fuse blows" not in words(h_client, path)
    h_client.post("/wiring", sent(h_client, **(MAIN | {"main.carries_a": "140"})))
    stops = [note.get_text() for note in soup(h_client.get(path)).select(".note.stop")]
    assert any("the cable burns before the fuse blows" in text for text in stops)


def test_it_is_a_check_and_says_so(h_client: Client) -> None:
    h_client.post("/wiring", sent(h_client, **MAIN))
    said = words(h_client)
    assert "A check, never an approval" in said
    assert "approved" not in said.lower()
    for caution in ("DC arcs do not go out by themselves", "The capacitors of an inverter", "Local codes"):
        assert caution in said


def test_what_is_not_known_is_never_called_fine(h_client: Client) -> None:
    h_client.post("/wiring", sent(h_client, **(MAIN | {"main.carries_a": ""})))
    assert "but not all of it is known" in words(h_client)
    assert "Nothing entered is found to be against it" not in words(h_client)


def test_what_suits_it_is_told_as_a_check(client_of: Opener, household_h: dict[str, Any]) -> None:
    household_h["inverters"][0]["charge_limit_a"] = 100.0
    client = client_of(household_h)
    client.post("/wiring", sent(client, **(MAIN | SUITS), cell_mohm="0.2"))
    assert "Nothing entered is found to be against it. That is a check, no approval." in words(client)


def test_what_is_known_and_does_not_suit_is_not_called_fine(client_of: Opener, household_h: dict[str, Any]) -> None:
    household_h["inverters"][0]["charge_limit_a"] = 100.0
    client = client_of(household_h)
    client.post("/wiring", sent(client, **(MAIN | SUITS | {"main.fuse_a": "150"}), cell_mohm="0.2"))
    assert "does not suit it in all" in words(client)
    assert "Nothing entered is found to be against it" not in words(client)


def test_a_bank_without_its_board_is_not_called_fine_by_its_cables(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    small_house["banks"][0]["wiring"] = {
        "cell_mohm": 0.2,
        "main": {"length_m": 2.0, "area_mm2": 120.0, "carries_a": 900, "fuse_a": 800, "fuse_v": 80, "breaking_ka": 500},
    }
    guarded = words(client_of(small_house))
    small_house["banks"][0]["board"] = None
    bare = words(client_of(small_house))
    assert "but the house has: see above" not in guarded
    assert "but the house has: see above" in bare


def test_a_newer_version_is_never_overwritten(h_client: Client) -> None:
    old = sent(h_client, **MAIN)
    h_client.post("/wiring", sent(h_client, cell_mohm="0.3"))
    reply = h_client.post("/wiring", old)
    assert reply.status_code == 409
    assert soup(reply).find(id="wiring-bank-main.awg")["value"] == "2/0"
    assert h_client.document()["banks"][0]["wiring"]["main"] is None


def test_a_bank_that_is_gone_is_said(h_client: Client) -> None:
    reply = h_client.post("/wiring", sent(h_client) | {"item_id": "gone"})
    assert reply.status_code == 404
    assert "no longer in the household" in reply.text


def test_without_a_bank_it_says_where_to_begin(client_of: Opener, household_h: dict[str, Any]) -> None:
    client = client_of(household_h | {"banks": []})
    assert soup(client.get("/wiring")).find("a", href="/banks", class_="button") is not None
    assert client.get("/wiring.json").status_code == 422


def test_other_pages_keep_the_wiring(h_client: Client) -> None:
    h_client.post("/wiring", sent(h_client, **MAIN))
    kept = h_client.document()["banks"][0]["wiring"]
    typed = form_of(soup(h_client.get("/banks")), "bank-bank-form") | {"name": "Other"}
    assert h_client.post("/banks", typed).status_code == 303
    assert h_client.document()["banks"][0]["wiring"] == kept


def test_several_banks_each_have_an_answer_and_a_form(client_of: Opener) -> None:
    page = soup(client_of(None).get("/wiring"))
    forms = [form["id"] for form in page.select(".card form[id]")]
    assert len(page.select("#answer .wired")) == len(forms) >= 1
    ids = [tag["id"] for tag in page.find_all(id=True)]
    assert len(ids) == len(set(ids))


AMERICAN = {"wire": "awg", "length": "ft"}


@pytest.mark.parametrize(("size", "feet"), [("2/0", "6"), ("4", "3.5"), ("1/0", "12.5"), ("4/0", "25")])
def test_a_chosen_awg_size_and_its_feet_stand_as_they_were_typed(h_client: Client, size: str, feet: str) -> None:
    h_client.post("/units", form_of(soup(h_client.get("/units")), "units-form") | AMERICAN)
    typed = {"main.length_m": feet, "main.area_mm2": size, "main.fuse_a": "150"}
    assert h_client.post("/wiring", sent(h_client, **typed)).status_code == 303
    table = soup(h_client.get("/wiring")).find("h3", string="As entered").find_next("table")
    cells = {row.th.get_text(): row.td.get_text() for row in table.select("tbody tr")}
    assert cells["Copper"] == f"AWG {size}"
    value, unit = cells["One way"].split()
    assert (float(value), unit) == (float(feet), "ft")
    assert len(value.replace(".", "")) <= 3


def test_the_call_to_enter_the_cable_leads_to_its_form(h_client: Client) -> None:
    page = soup(h_client.get("/wiring"))
    link = page.find("a", string="Enter the cable and its fuse")
    assert link["href"] == "/wiring#wiring-bank"
    assert page.select_one("#wiring-bank form") is not None
