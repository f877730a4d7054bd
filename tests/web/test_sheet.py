"""The sheet: every input and assumption with its origin, the same answers as the JSON, and nothing hidden."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from bs4 import BeautifulSoup, Tag

from engine.answers.sheet import STANDARDS
from engine.fields import quantities
from engine.house.bank import Bank, Board
from engine.house.inverter import Inverter
from engine.house.load_kinds import KINDS
from engine.sky.site import Array, Site
from tests.conftest import Client, Clock, soup
from webapp.app import create_app
from webapp.facts import amount, plain_number
from webapp.render import figures, fixed

QUESTION = "charge=60&sky=dark,dark,dull&days=4"
Opener = Callable[[dict[str, Any]], Client]


@pytest.fixture
def opened(tmp_path: Path, clock: Clock) -> Iterator[Opener]:
    """Open the app with a household of the test's own."""
    clients: list[Client] = []

    def open_one(document: dict[str, Any]) -> Client:
        folder = tmp_path / str(len(clients))
        folder.mkdir()
        (folder / "house.json").write_text(json.dumps(document), encoding="utf-8")
        clients.append(Client(create_app(folder / "data", folder / "house.json", clock)))
        return clients[-1]

    yield open_one
    for client in clients:
        client.close()


def sheet_of(client: Client, query: str = QUESTION) -> tuple[BeautifulSoup, Tag, dict[str, Any]]:
    """The page, the sheet on it, and the JSON of the same question."""
    response = client.get(f"/sheet?{query}")
    assert response.status_code == 200
    page = soup(response)
    article = page.find("article", class_="sheet")
    assert isinstance(article, Tag)
    return page, article, client.get(f"/sheet.json?{query}").json()


def section(article: Tag, section_id: str) -> Tag:
    """One section of the sheet."""
    found = article.find(id=f"sheet-{section_id}")
    assert isinstance(found, Tag), section_id
    return found


def text(tag: Tag) -> str:
    """The words of a part, spaces made plain."""
    return plain(tag.get_text(" "))


def plain(words: str) -> str:
    """The same words with every space made a plain one."""
    return " ".join(words.split())


def inputs(article: Tag, title: str) -> dict[str, str]:
    """Label and shown value of one thing's inputs."""
    table = next(t for t in article.select("table.inputs") if t.caption and text(t.caption) == title)
    return {text(row.th): text(row.td) for row in table.select("tbody tr")}


def test_every_number_of_the_household_stands_on_it_with_its_unit(client: Client, small_house: dict[str, Any]) -> None:
    _, article, _ = sheet_of(client)
    bank = small_house["banks"][0]
    things = (
        ("Place", Site, small_house["site"]),
        ("Barn roof", Array, small_house["sun"]["arrays"][0]),
        ("Byre inverter", Inverter, small_house["inverters"][0]),
        ("Store-room bank", Bank, bank),
        ("Store-room bank", Board, bank["board"]),
    )
    for title, kind, document in things:
        shown = inputs(article, title)
        for name, meaning in quantities(kind).items():
            if name in document:
                value = plain(f"{plain_number(document[name] * meaning.scale)} {meaning.unit}")
                assert shown[meaning.label] == value, (title, name)
    for load in small_house["loads"]:
        shown = inputs(article, load["name"])
        for name, field in KINDS[load["kind"]].fields.items():
            value = load["values"].get(name, field.default) * field.quantity.scale
            assert shown[field.quantity.label].startswith(plain(plain_number(value))), (load["id"], name)
    words = inputs(article, "Place") | inputs(article, "Store-room bank")
    assert words["Time zone"] == "Europe/Dublin"
    assert words["Joined to"] == "Byre inverter"
    assert words["Cells"] == "LFP (lithium iron phosphate) catalogue"


def test_a_default_says_that_nobody_typed_it(client: Client) -> None:
    _, article, _ = sheet_of(client)
    van = inputs(article, "Works van")
    assert van["Distance driven"] == "30 km a day"
    assert van["Charger power"] == "2.3 kW typical, from memory"


def test_every_assumption_stands_on_it_with_kind_and_source(client: Client) -> None:
    _, article, answer = sheet_of(client)
    lines = [text(item) for item in section(article, "taken").find_all("li")]
    assert len(answer["assumptions"]) > 40
    assert len(lines) == len(answer["assumptions"])
    for one in answer["assumptions"]:
        wanted = plain(f"{one['kind']} : {one['source']}")
        assert any(wanted in line for line in lines), one["name"]


def test_cell_data_stands_with_its_values(client: Client) -> None:
    _, article, _ = sheet_of(client)
    taken = text(section(article, "taken"))
    assert "Nominal cell volts 3.2 V typical, from memory" in taken
    assert "Self-discharge a month 2 % typical, from memory" in taken


def test_the_page_says_what_the_json_says(client: Client) -> None:
    _, article, answer = sheet_of(client)
    hours = answer["autonomy"]["hours_to_reserve"]
    assert f"About {round(hours)} hours" in text(section(article, "hours"))
    assert answer["autonomy"]["ends_at"][:16] == section(article, "hours").find("time")["datetime"]
    rows = section(article, "size").select("tbody tr")
    for row, shown in zip(answer["sizing"]["rows"], rows, strict=True):
        cells = [text(cell) for cell in shown.find_all("td")]
        assert cells[:4] == [
            plain(figures(row["usable_kwh"], 3)),
            plain(figures(row["at_sockets_kwh"], 3)),
            plain(figures(row["label_kwh"], 3)),
            str(row["strings"]),
        ]
    week = section(article, "week").select("tbody tr")
    for one, shown in zip(answer["comparison"]["contenders"], week, strict=True):
        assert text(shown.th) == one["name"]
        assert fixed(one["unserved_kwh"], 1) in text(shown)
    worked = answer["autonomy"]["banks"][0]["worked"] + answer["sizing"]["worked"] + answer["comparison"]["worked"]
    sums = [text(cell) for cell in section(article, "worked").select("td:last-child")]
    assert sums == [plain(amount(line["value"], line["unit"])) for line in worked]


def test_the_charge_table_is_the_curve(client: Client) -> None:
    # Asked at half past five in the afternoon: 18:00 of that day is half an hour on.
    _, article, answer = sheet_of(client)
    bank = answer["autonomy"]["banks"][0]
    table = article.find("table", class_="clock")
    assert isinstance(table, Tag)
    days = [text(day) for day in table.select("thead th")[1:]]
    rows = {text(row.th): [text(cell) for cell in row.find_all("td")] for row in table.select("tbody tr")}
    assert days[0] == "Wed 25"
    assert rows["12:00"][0] == ""
    at_18 = bank["soc"][bank["times_h"].index(0.5)]
    assert rows["18:00"][0] == fixed(at_18 * 100)


def test_the_sheet_answers_the_days_and_the_bank_asked_for(client: Client) -> None:
    _, article, answer = sheet_of(client, "days=6")
    asked = article.select("tr.asked")
    assert [text(row.th) for row in asked] == ["6 (asked)"]
    assert answer["sizing"]["days"] == 6


def test_its_answers_are_those_of_the_pages_that_ask(client: Client) -> None:
    _, _, answer = sheet_of(client)
    today = client.get("/today.json?charge=60&sky=dark,dark,dull").json()
    assert answer["autonomy"] == today
    size = client.get("/size.json?days=4").json()
    assert answer["sizing"] == size
    assert answer["comparison"] == client.get("/week.json").json()
    assert len(answer["comparison"]["sky_days"]) == 14


def test_its_head_and_foot_name_household_moment_and_version(client: Client) -> None:
    page, article, _ = sheet_of(client)
    head = text(article.find("header"))
    foot = page.html["data-foot"]
    for words in ("Test croft", "25 November 2026, 17:30", "Greyspell 0."):
        assert words in head
        assert words in foot
    assert "version 1" in foot
    assert "example" not in head + foot


def test_the_fingerprint_follows_the_document(opened: Opener, small_house: dict[str, Any]) -> None:
    def fingerprint(client: Client) -> str:
        head = text(sheet_of(client)[1].find("header"))
        return head.split("Document ")[1].split()[0]

    first = fingerprint(opened(small_house))
    assert first == fingerprint(opened(small_house))
    small_house["banks"][0]["cell_c"] = 11.0
    assert fingerprint(opened(small_house)) != first


def test_an_example_is_marked(opened: Opener, small_house: dict[str, Any]) -> None:
    page, article, _ = sheet_of(opened({**small_house, "example": True}))
    assert "example, invented" in text(article.find("header"))
    assert "(example)" in page.html["data-foot"]


@pytest.mark.parametrize("query", ["", QUESTION, "days=1&sky=none", "charge=20&notices=none&stop=0"])
def test_a_stop_stands_before_every_answer_and_cannot_be_hidden(
    opened: Opener, small_house: dict[str, Any], query: str
) -> None:
    small_house["banks"][0]["series"] = 18
    _, article, answer = sheet_of(opened(small_house), query)
    stops = [one["text"] for one in answer["notices"] if one["level"] == "stop"]
    assert stops
    shown = article.select(".note.stop")
    assert [text(note) for note in shown] == [f"Stop {stop}" for stop in stops]
    after = [tag.get("id") for tag in shown[0].find_all_next("section")]
    assert "sheet-hours" in after


def test_every_notice_stands_on_it_without_anything_to_press(client: Client, small_house: dict[str, Any]) -> None:
    _, article, answer = sheet_of(client)
    notes = [text(note) for note in article.select(".note")]
    assert notes == [f"{one['level'].capitalize()} {one['text']}" for one in answer["notices"]]
    assert not article.find_all(["form", "button", "input", "select"])


def test_it_defers_to_the_standards(client: Client) -> None:
    _, article, _ = sheet_of(client)
    rules = text(section(article, "standards"))
    assert "check the edition adopted where you live" in rules
    assert all(one.text in rules and one.governs in rules for one in STANDARDS)


def test_it_has_a_line_to_sign_and_approves_nothing(client: Client) -> None:
    _, article, _ = sheet_of(client)
    seen = article.find("section", class_="seen")
    assert isinstance(seen, Tag)
    assert [text(one) for one in seen.find_all("dt")] == ["Name", "Date", "Signature"]
    assert "is not to have approved anything" in text(seen)
    assert "help for thinking, not an approval" in text(article)


@pytest.mark.parametrize(
    ("change", "key", "belongs"),
    [
        ({}, "Never charge lithium cells below 0 °C", True),
        ({}, "hydrogen", False),
        ({"chemistry": "lead_sealed", "series": 24, "board": None}, "hydrogen", True),
        ({}, "carbon monoxide", False),
        ({}, "Mains wiring can kill", True),
        ({}, "DC arcs do not go out by themselves", True),
        ({}, "normally not a listed product", True),
    ],
)
def test_its_cautions_are_those_of_the_household(
    opened: Opener, small_house: dict[str, Any], change: dict[str, Any], key: str, belongs: bool
) -> None:
    small_house["banks"][0].update(change)
    _, article, _ = sheet_of(opened(small_house))
    cautions = article.find("section", class_="cautions")
    assert isinstance(cautions, Tag)
    assert (key in text(cautions)) is belongs


def test_a_generator_brings_its_caution(opened: Opener, small_house: dict[str, Any]) -> None:
    small_house["note"] = "The generator stands behind the barn."
    _, article, _ = sheet_of(opened(small_house))
    assert "carbon monoxide" in text(article.find("section", class_="cautions"))


def test_bad_input_keeps_what_was_typed_and_says_what_to_mend(client: Client) -> None:
    response = client.get("/sheet?charge=lots&days=9")
    page = soup(response)
    assert response.status_code == 422
    assert page.title.get_text().startswith("Error: ")
    assert page.find("input", id="charge")["value"] == "lots"
    assert page.find("input", id="days")["value"] == "9"
    summary = text(page.find(class_="summary"))
    assert "Charge now must be a number from 0 to 100 %; got “lots”." in summary
    assert "from 1 to 7" in summary
    errors = client.get("/sheet.json?charge=lots&days=9&bank=other&spell=rain&week=")
    assert errors.status_code == 422
    assert set(errors.json()["errors"]) == {"charge", "days", "bank", "spell"}


def test_an_empty_household_is_told_where_to_begin(opened: Opener, small_house: dict[str, Any]) -> None:
    client = opened({**small_house, "banks": []})
    page = soup(client.get("/sheet"))
    assert page.find("article", class_="sheet") is None
    assert page.find("a", href="/banks", class_="button") is not None


def test_it_is_fit_to_be_read_aloud(client: Client) -> None:
    page, article, _ = sheet_of(client)
    ids = [tag["id"] for tag in page.find_all(id=True)]
    assert len(ids) == len(set(ids))
    assert len(page.find_all("h1")) == 1
    assert not page.find_all(style=True)
    assert not page.find_all("style")
    assert all(table.find("th", scope="col") for table in article.find_all("table"))
