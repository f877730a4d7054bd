"""Learn: a log teaches numbers, each used by a press of its own, undone, and taken out again."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest
from bs4 import BeautifulSoup

from engine.answers.learning import learn, taught
from engine.house.household import Household, read, write
from engine.meter.log import MeterLog
from tests.conftest import Client, soup
from tests.engine.meter_year import drawn, lived, logged
from tests.web.bringing import text_of
from webapp import meter_store
from webapp.learn_view import used
from webapp.pages.log import FURTHER
from webapp.render import figures

PATH = "/log/learn"
Opener = Callable[[str | dict[str, Any] | None], Client]


@pytest.fixture(scope="module")
def year() -> tuple[Household, MeterLog]:
    made = lived([drawn(2)])[0]
    return made.truth.described, logged(made)


@pytest.fixture
def client(client_of: Opener, year: tuple[Household, MeterLog]) -> Client:
    one = client_of(write(year[0]))
    given(one, year[1])
    return one


def given(client: Client, log: MeterLog) -> None:
    store, house = client.store, client.store.current().household_id
    file_id = meter_store.add(store, house, "meter.csv", "table", b"rows", {}).id
    meter_store.accept(store, file_id, "table", {"columns": {}}, log)


def sent(page: BeautifulSoup, lesson: str) -> dict[str, str]:
    form = page.select_one(f"#learnt-{lesson} form")
    assert form is not None
    return {str(one["name"]): str(one["value"]) for one in form.select("input")}


def household(client: Client) -> Household:
    return read(client.store.current().text)


def test_without_a_log_it_says_what_to_bring(client_of: Opener, year: tuple[Household, MeterLog]) -> None:
    client = client_of(write(year[0]))
    page = soup(client.get(PATH))
    assert "bring a file" in text_of(page)
    assert client.get(f"{PATH}.json").status_code == 422
    before = client.store.current()
    assert client.post(f"{PATH}/use", {"lesson": "idle"}).status_code == 409
    assert client.store.current() == before


def test_every_lesson_has_its_number_its_interval_and_its_days(
    client: Client, year: tuple[Household, MeterLog]
) -> None:
    found = learn(*year)
    page = soup(client.get(PATH))
    assert len(page.select("h1")) == 1
    for one in found.lessons:
        card = page.select_one(f"#learnt-{one.id}")
        assert card is not None
        text = " ".join(card.get_text(" ").replace("\u00a0", " ").split())
        assert "95 %" in text
        assert "Use this value" in text
        assert f"{one.days} " in text
    said = text_of(page)
    for absent in found.missing:
        assert absent.title in said
    data = client.get(f"{PATH}.json").json()
    assert [one["value"] for one in data["lessons"]] == pytest.approx([one.value for one in found.lessons])
    assert PATH in [address for address, *_ in FURTHER]


def test_nothing_counts_before_it_is_said_and_undo_brings_back(client: Client) -> None:
    before = client.store.current()
    page = soup(client.get(PATH))
    assert client.store.current().revision == before.revision
    response = client.post(f"{PATH}/use", sent(page, "capacity"))
    assert response.status_code == 303
    bank = household(client).banks[0]
    lesson = next(one for one in client.get(f"{PATH}.json").json()["lessons"] if one["id"] == "capacity")
    assert bank.tested_ah == pytest.approx(lesson["value"], abs=0.06)
    shown = soup(client.get(response.headers["Location"].partition("#")[0]))
    note = shown.select_one("#used")
    assert note is not None
    assert "Capacity" in note.get_text()
    undo = note.select_one("form")
    assert undo is not None
    client.post("/undo", {str(one["name"]): str(one["value"]) for one in undo.select("input")})
    assert household(client) == read(before.text)


def test_each_is_written_as_the_engine_teaches_it(year: tuple[Household, MeterLog]) -> None:
    house, log = year
    for lesson in learn(house, log).lessons:
        document = write(house)
        assert read(used(document, house, lesson)) == taught(house, lesson) != house
        assert document == write(house), lesson.id


def test_a_self_discharge_is_told_in_percent_on_card_sheet_and_form(
    client_of: Opener, year: tuple[Household, MeterLog]
) -> None:
    house, log = year
    bank = dataclasses.replace(house.banks[0], self_discharge_per_month=0.9)
    client = client_of(write(dataclasses.replace(house, banks=(bank,))))
    given(client, log)
    assert "Self-discharge a month" in text_of(soup(client.get("/sheet")))
    assert "90 % self-discharge a month" in text_of(soup(client.get("/today")))
    field = soup(client.get("/banks")).select_one("input[name=self_discharge_per_month]")
    assert field is not None
    assert field["value"] == "90"
    lesson = learn(household(client), log).lesson("self_discharge")
    assert lesson is not None
    assert lesson.high < 0.9
    facts = text_of(soup(client.get(PATH)))
    assert f"Self-discharge a month {figures(lesson.value * 100.0, 4)} %" in facts
    surer = [one for one in soup(client.get(PATH)).select("section.card") if ", 99\u00a0%" in one.get_text()]
    assert [one["id"] for one in surer] == ["learnt-self_discharge"]
    form = sent(soup(client.get(PATH)), "self_discharge")
    assert client.post(f"{PATH}/use", form).status_code == 303
    assert household(client).banks[0].self_discharge_per_month == lesson.value


def test_what_was_used_is_taken_out_again(client: Client) -> None:
    before = household(client)
    client.post(f"{PATH}/use", sent(soup(client.get(PATH)), "monthly_kwh"))
    assert household(client).sun.monthly_kwh is not None
    page = soup(client.get(PATH))
    card = page.select_one("#learnt-monthly_kwh")
    assert card is not None
    assert "in use" in card.get_text()
    assert client.post(f"{PATH}/out", sent(page, "monthly_kwh")).status_code == 303
    assert household(client) == before
    assert client.post(f"{PATH}/out", sent(page, "monthly_kwh") | fresh(client)).status_code == 422


def fresh(client: Client) -> dict[str, str]:
    page = soup(client.get(PATH))
    return {name: value for name, value in sent(page, "idle").items() if name != "lesson"}


def test_an_older_page_overwrites_nothing(client: Client) -> None:
    page = soup(client.get(PATH))
    client.post(f"{PATH}/use", sent(page, "idle"))
    after = client.store.current().text
    response = client.post(f"{PATH}/use", sent(page, "capacity"))
    assert response.status_code == 409
    assert "saved elsewhere" in text_of(soup(response))
    assert client.store.current().text == after


def test_of_two_inverters_the_log_is_of_the_one_chosen(client_of: Opener, year: tuple[Household, MeterLog]) -> None:
    house, log = year
    second = dataclasses.replace(house.inverters[0], id="shed", name="Shed inverter", idle_w=1.0)
    bank = dataclasses.replace(house.banks[0], id="shed-bank", name="Shed bank", inverter="shed")
    two = dataclasses.replace(house, inverters=(*house.inverters, second), banks=(*house.banks, bank))
    client = client_of(write(two))
    given(client, log)
    page = soup(client.get(f"{PATH}?inverter=shed"))
    client.post(f"{PATH}/use", sent(page, "idle"))
    first, other = household(client).inverters
    assert first.idle_w == house.inverters[0].idle_w
    assert other.idle_w > 30.0
    assert client.get(f"{PATH}?inverter=nowhere").status_code == 422


def test_a_few_days_say_what_is_missing(client_of: Opener, year: tuple[Household, MeterLog]) -> None:
    house, log = year
    client = client_of(write(house))
    begin_s = float(log.start_s[0])
    given(client, log.between(begin_s, begin_s + 5 * 86_400.0))
    page = soup(client.get(PATH))
    assert not page.select("#answer form, .card form")
    assert "nothing yet" in text_of(page)
    assert "it takes 14" in text_of(page)
