"""The sheet: every input and assumption with its origin, the same answers as the JSON, and nothing hidden."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from bs4 import BeautifulSoup, Tag

from engine.answers.sheet import STANDARDS
from engine.cells import catalogue
from engine.fields import quantities
from engine.house.bank import Bank, Board
from engine.house.household import read
from engine.house.inverter import Inverter, losses_from_full_load
from engine.house.load_kinds import KINDS
from engine.house.loads import SIDES
from engine.house.units import CHOICES
from engine.sky.local import sky_name
from engine.sky.site import Array, Site
from tests.conftest import Client, Clock, form_of, soup
from webapp import __version__
from webapp.app import create_app
from webapp.facts import amount, plain_number
from webapp.render import figures, fixed
from webapp.words import MONTHS

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


def grouped(words: str) -> str:
    """The words of an answer with their large numbers as a page groups them, spaces made plain."""
    return re.sub(r"(\d),(?=\d{3})", r"\1 ", words)


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
                origin = " worked out from the full-load efficiency" if name in ("k1", "k2") else ""
                assert shown[meaning.label] == value + origin, (title, name)
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
            f"{row['strings']} ({plain(figures(row['whole_label_kwh'], 3))})",
        ]
    week = section(article, "week").select("tbody tr")
    for one, shown in zip(answer["comparison"]["contenders"], week, strict=True):
        assert text(shown.th) == one["name"]
        assert fixed(one["unserved_kwh"], 1) in text(shown)
    worked = answer["autonomy"]["banks"][0]["worked"] + answer["sizing"]["worked"] + answer["comparison"]["worked"]
    worked += [line for bank in answer["wiring"]["banks"] for line in bank["worked"]]
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
    assert [text(row.th) for row in asked] == ["6 (chosen)"]
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
    for words in ("Test croft", "25 November 2026, 17:30", f"Greyspell {__version__}"):
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
    assert [f"{one['level'].capitalize()} {grouped(one['text'])}" for one in answer["notices"]] == [
        note for note in notes if "These dull days belong to" not in note
    ]
    assert not article.find_all(["form", "button", "input", "select"])


def test_the_risk_of_the_size_is_that_of_winters(client: Client) -> None:
    _, article, answer = sheet_of(client)
    winters = client.get("/winters.json").json()["winters"]
    rows = {row["strings"]: row for row in [winters["own"], *winters["rows"]]}
    told = answer["riding"]
    strings = answer["sizing"]["rows"][answer["sizing"]["days"] - 1]["strings"]
    assert told["asked"]["strings"] == strings
    assert told["own"] == winters["own"]
    if strings in rows:
        assert told["asked"] == rows[strings]
    assert told["asked"]["dark_spells"] <= told["own"]["dark_spells"] or strings < told["own"]["strings"]
    assert "Its risk:" in text(section(article, "size"))


def test_every_setting_stands_on_it(client: Client) -> None:
    _, article, answer = sheet_of(client)
    rows = section(article, "settings").select("tbody tr")
    listed = [one for bank in answer["settings"]["banks"] for one in bank["rows"]]
    assert [text(row.th) for row in rows] == [one["label"] for one in listed]
    for row, one in zip(rows, listed, strict=True):
        if one["pack_v"] is not None:
            assert f"{one['pack_v']:.1f} V" in text(row)


def test_a_setting_that_contradicts_the_bank_is_a_stop_on_it(opened: Opener, small_house: dict[str, Any]) -> None:
    small_house["inverters"][0]["charge_limit_a"] = 4000.0
    _, article, answer = sheet_of(opened(small_house))
    assert "charger-over-bank" in [one["code"] for one in answer["notices"] if one["level"] == "stop"]
    said = [one["text"] for one in answer["notices"] if one["code"] == "charger-over-bank"]
    assert len(said) == 1
    assert said[0] in text(article.select(".note.stop")[0])


def test_the_size_can_be_followed_with_a_pocket_calculator(client_of: Any) -> None:
    """From the printed digits alone: each line of the sum comes to the next within what its digits leave open."""
    article = soup(client_of(None).get("/sheet?days=3&month=12")).find("article")
    table = next(t for t in article.select("table.worked") if "Size for 3 days" in text(t))
    rows = {text(row.th): text(row.select("td")[-1]) for row in table.select("tbody tr")}
    value = {name: float(shown.split()[0]) for name, shown in rows.items()}
    usable = 3 * (value["Load of a day, DC"] - value["Yield of a dull day, DC"])
    assert usable == pytest.approx(value["Usable"], abs=3 * 0.0055 + 0.005)
    assert value["Usable"] / value["Share of the label that is usable"] == pytest.approx(value["Label"], rel=3e-4)
    string_kwh = 24 * 2.0 * 420 / 1000
    assert -(-value["Label"] // string_kwh) == value["Strings"]


def test_the_readmes_worked_case_is_the_sheets(client_of: Any) -> None:
    article = soup(client_of(None).get("/sheet?days=3&month=12")).find("article")
    table = next(t for t in article.select("table.worked") if "Size for 3 days" in text(t))
    shown = [[text(cell) for cell in row.select("th, td")] for row in table.select("tbody tr")]
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
    case = readme.split("## A worked case")[1].split("##")[0]
    lines = [
        [cell.strip() for cell in line.strip("|").split("|")] for line in case.splitlines() if line.startswith("| ")
    ]
    assert lines[1:] == shown


def test_it_defers_to_the_standards(client: Client) -> None:
    _, article, _ = sheet_of(client)
    rules = text(section(article, "standards"))
    assert "check the edition adopted where you live" in rules
    assert all(one.text in rules and one.governs in rules and one.region in rules for one in STANDARDS)


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


KWH = (31.0, None, 77.0, None, None, None, None, None, None, None, None, 18.5)
KC = tuple(0.31 + month / 100 for month in range(12))
SPELL = {
    "id": "own_2d_1in1",
    "title": "Worst two days of a usual year",
    "kc": [0.11, 0.13],
    "after_kc": [0.47, 0.53],
    "month": 6,
    "ended": "2019-06-17",
    "years": 23,
    "log_strength": 0.87,
    "log_clear_kwh": 8.41,
}


def full_house(house: dict[str, Any]) -> dict[str, Any]:
    """The small household with every field filled in, each number unlike its default."""
    house["sun"].update(
        clear_day_kwh=9.37, clear_day_month=5, dull_day_kwh=0.73, dull_day_month=6, covered_days=3,
        charger_efficiency=0.93, system_losses=0.123, monthly_kwh=KWH, monthly_kc=KC, spells=[SPELL],
        sky_file="hill.csv",
    )  # fmt: skip
    house["sun"]["arrays"][0].update(
        inverter=house["inverters"][0]["id"], winter_tilt_deg=61, losses=0.07, charger_limit_w=1930, start_w=29
    )
    house["inverters"][0].update(charge_limit_a=87, absorb_max_v=58.7, lowest_v=40.3)
    house["banks"][0].update(
        tested_ah=97, tested_c=21, rated_h=10, stated_kwh=5.1, charge_efficiency=0.987, self_discharge_per_month=0.017,
        charge_v=3.51, hold=True, top_soc=0.97, top_v=3.47, reserve_soc=0.17, reserve_v=3.03,
        charge_limit_a=43, cold_charge_a=11, cell_spread_mv=12, parallel=2,
    )  # fmt: skip
    house["banks"][0]["board"].update(charge_min_c=4, contactor=True, balance_v=3.42, balance_a=0.19)
    leg = {"length_m": 2.3, "area_mm2": 53.7, "carries_a": 161, "fuse_a": 159, "fuse_v": 83, "breaking_ka": 21}
    house["banks"][0]["wiring"] = {
        "main": leg, "string": {name: value / 2 for name, value in leg.items()}, "cell_mohm": 0.26, "fault_ka": 13.7,
        "drop_share": 0.017, "conductor_c": 63,
    }  # fmt: skip
    house["generators"] = [
        {
            "id": "g", "name": "Shed engine", "inverter": house["inverters"][0]["id"], "by_itself": True,
            "rated_w": 2900, "charger_w": 1400, "charger_efficiency": 0.88, "full_l_per_h": 1.7, "idle_l_per_h": 0.6,
            "start_soc": 0.31, "stop_soc": 0.84, "least_run_h": 1.5, "quiet_from_h": 21, "quiet_to_h": 8,
        }
    ]  # fmt: skip
    house["prices"] = {"currency": "kr", "bank_per_kwh": 1870, "panels_per_kwp": 6300, "fuel_per_litre": 21.5}
    house["loads"][0].update(months=[1, 2, 11], inverter=house["inverters"][0]["id"])
    house["loads"] += [
        {
            "id": "tub", "name": "Tub", "kind": "water",
            "values": {
                "daily_kwh": 6.3, "litres": 143,
                "hot_c": 61, "cold_c": 9.5, "tank_litres": 187, "standing_kwh": 1.7, "cop": 2.7,
                "heater_kw": 1.3, "start_h": 11.5, "run_h": 5.5,
            },
        },
        {
            "id": "wash", "name": "Wash", "kind": "runs",
            "values": {"run_kwh": 0.83, "runs": 4.5, "power_w": 2130, "start_h": 10.5, "end_h": 16.5},
        },
    ]  # fmt: skip
    house["loads"].append(
        {
            "id": "seen", "name": "Seen by the meter", "kind": "measured", "measured": "battery",
            "values": {"scale": 1.3}, "inverter": house["inverters"][0]["id"], "months": [3, 4],
            "profile": {
                "month_w": [[month * 17 + hour for hour in range(24)] for month in range(12)],
                "weekday_share": [0.91, 0.92, 0.93, 0.94, 0.95, 1.02, 1.33], "days": 419, "title": "the hall meter",
            },
        }
    )  # fmt: skip
    return house


TOLD_ELSEWHERE = {
    "Inverter": {"proposed"},  # as the origin of the volts that it names
    "Household": {"name", "note", "example", "format"},  # head and first lines of the sheet; the format is the file's
    "Chemistry": None,  # with the assumptions: see test_cell_data_stands_with_its_values
}


def leaves(thing: Any, names: dict[str, str]) -> Iterator[tuple[str, str]]:
    """Where each field of a household is declared, and the text it must have on paper."""
    elsewhere = TOLD_ELSEWHERE.get(type(thing).__name__, set())
    if elsewhere is None:
        return
    known = quantities(type(thing))
    for field in dataclasses.fields(thing):
        value, place = getattr(thing, field.name), f"{type(thing).__name__}.{field.name}"
        if field.name in elsewhere or field.name == "id" or (field.name == "profile" and thing.kind != "measured"):
            continue
        assert value is not None, f"{place} is empty: fill it in full_house"
        if field.name in known:
            is_month = field.name.endswith("month") and not known[field.name].unit
            shown = MONTHS[value - 1] if is_month else plain_number(value * known[field.name].scale)
            yield f"{place}|{known[field.name].label}", shown
        elif isinstance(value, tuple) and value and dataclasses.is_dataclass(value[0]):
            yield from (leaf for one in value for leaf in leaves(one, names))
        elif dataclasses.is_dataclass(value):
            yield from leaves(value, names)
        elif isinstance(value, tuple):
            yield from ((place, as_shown(field.name, one)) for one in value if one is not None)
        elif isinstance(value, dict):
            yield from ((place, plain_number(KINDS[thing.kind].fields[k].quantity.scale * v)) for k, v in value.items())
        else:
            yield place, names.get(f"{field.name}:{value}", str(value))


def as_shown(name: str, value: Any) -> str:
    """One of several numbers as the sheet writes it."""
    if name == "months":
        return MONTHS[int(value) - 1]
    if name == "month_w":
        return f"{sum(value) / 1000.0:.4g}"
    if name == "weekday_share":
        return f"{value * 100.0:.4g}"
    return f"{value:.2f}" if name.endswith("kc") else plain_number(value)


def test_no_field_of_the_document_is_forgotten(opened: Opener, small_house: dict[str, Any]) -> None:
    document = full_house(small_house)
    house = read(json.dumps(document))
    names = {f"inverter:{one.id}": one.name for one in house.inverters}
    names |= {"inverter:": house.inverters[0].name, f"climate:{house.site.climate}": sky_name(house.site)}
    names |= {f"measured:{key}": value for key, value in SIDES.items()}
    names |= {f"kind:{key}": kind.name for key, kind in KINDS.items()}
    names |= {f"chemistry:{one.chemistry}": one.cell.name for one in house.banks}
    names |= {f"{name}:{key}": text for name, (_, known) in CHOICES.items() for key, text in known.items()}
    flags = {"hold:True": "Hold at the end of charge yes", "contactor:True": "Board: opens a contactor yes"}
    flags |= {"own_fuse:True": "A DC fuse of its own yes", "own_disconnect:True": "A DC disconnect of its own yes"}
    flags |= {"by_itself:True": "Starts by itself yes", "can_wait:True": "can wait", "never_off:True": "never off"}
    flags |= {"can_shed:True": "can be switched off"}
    flags |= {f"{one}:False": "" for one in ("hold", "contactor", "by_itself", "can_wait", "can_shed", "never_off")}
    flags |= {f"{one}:False": "" for one in ("own_fuse", "own_disconnect")}
    words = text(section(sheet_of(opened(document), "")[1], "inputs"))
    for place, shown in leaves(house, names | flags):
        label = place.partition("|")[2]
        wanted = plain(f"{label} {shown}")
        assert wanted in words, place


def test_an_origin_is_only_claimed_where_it_is_known(opened: Opener, small_house: dict[str, Any]) -> None:
    # A reserve of 20 % may be typed or the form's own, 91 % at full load gives the loss factors.
    small_house["banks"][0]["reserve_soc"] = 0.2
    inverter = small_house["inverters"][0]
    inverter["k1"], inverter["k2"] = losses_from_full_load(0.91, inverter["idle_w"], inverter["rated_w"])
    _, article, _ = sheet_of(opened(small_house))
    assert inputs(article, "Store-room bank")["Keep in reserve"] == "20 %"
    shown = inputs(article, inverter["name"])
    assert shown["Full-load efficiency"] == "91 %"
    assert shown["Loss in step with power"].endswith("worked out from the full-load efficiency")
    assert shown["Loss with the square of power"].endswith("worked out from the full-load efficiency")
    assert "usual value" not in text(article)


@pytest.mark.parametrize(
    ("own", "told"),
    [
        ({"monthly_kc": KC, "sky_file": "hill.csv"}, "own clearness of the months, from “hill.csv”"),
        ({"monthly_kwh": (50.0,) * 12}, "own kWh of all twelve months"),
        ({"monthly_kwh": KWH}, "own kWh of January, March, December; the other months: "),
    ],
)
def test_its_sky_is_the_one_that_counts(
    opened: Opener, small_house: dict[str, Any], own: dict[str, Any], told: str
) -> None:
    house = {**small_house, "sun": {**small_house["sun"], **own}}
    _, article, _ = sheet_of(opened(house))
    assert told in text(article.find(class_="told"))
    assert told in inputs(article, "Place")["What its months go by"]


def test_a_week_of_a_month_lies_in_that_month_and_keeps_its_notice(opened: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"].update(spells=[SPELL], sky_file="hill.csv")
    client = opened(small_house)
    _, in_june, answer = sheet_of(client, "week=own_2d_1in1&month=6")
    assert answer["comparison"] == client.get("/week.json?sky=own_2d_1in1&month=6").json()
    assert "These dull days belong to" not in text(section(in_june, "week"))
    assert answer["at"].startswith("2026-11-25")
    _, now, _ = sheet_of(client, "week=own_2d_1in1")
    assert "These dull days belong to June" in text(section(now, "week"))
    link = soup(client.get("/week?sky=own_2d_1in1&month=6")).find("a", href=re.compile(r"^/sheet\?"))["href"]
    assert "month=6" in link
    assert "at=" not in link


def test_hours_of_another_date_say_so(client: Client) -> None:
    _, dated, _ = sheet_of(client, "at=2026-12-21T12:00")
    assert "Counted from 21 December 2026, 12:00" in text(section(dated, "hours"))
    assert "Counted from" not in text(section(sheet_of(client)[1], "hours"))


def test_the_charge_table_has_no_empty_column(client: Client) -> None:
    # Asked at seven in the evening, none of the four hours of that day is left.
    _, article, _ = sheet_of(client, "at=2026-11-25T19:00")
    table = article.find("table", class_="clock")
    assert isinstance(table, Tag)
    rows = [[text(cell) for cell in row.find_all("td")] for row in table.select("tbody tr")]
    assert all(any(column) for column in zip(*rows, strict=True))
    assert text(table.select("thead th")[1]) == "Thu 26"


@pytest.mark.parametrize(
    ("wiring", "code"),
    [
        ({"main": {"length_m": 3.0, "area_mm2": 50.0, "carries_a": 20.0, "fuse_a": 15.0}}, "wiring-cable-thin"),
        ({"main": {"length_m": 3.0, "area_mm2": 50.0, "carries_a": 200.0, "fuse_a": 250.0}}, "wiring-fuse-over-cable"),
    ],
)
def test_a_cable_too_thin_and_a_fuse_above_it_cannot_be_left_off(
    opened: Opener, small_house: dict[str, Any], wiring: dict[str, Any], code: str
) -> None:
    small_house["banks"][0]["wiring"] = wiring
    _, article, answer = sheet_of(opened(small_house))
    stops = [one for one in answer["notices"] if one["level"] == "stop"]
    shown = [text(note) for note in article.select(".note.stop")]
    assert code in [one["code"] for one in stops]
    assert shown == [f"Stop {one['text']}" for one in stops]


def test_care_and_wiring_stand_on_it_once(client: Client) -> None:
    _, article, answer = sheet_of(client)
    assert "must carry" in text(section(article, "wiring"))
    assert section(article, "care").select(".care-reminders dt")
    texts = [one["text"] for one in answer["notices"]]
    assert len(texts) == len(set(texts))


NUMBER = re.compile(r"[−-]?\d[\d\u202f]*(?:\.\d+)?")
SCALES = (1.0, 100.0, 0.001, 60.0, 1.0 / 60.0)
"""As stored, as percent, as kilo, as minutes and as hours."""
LONGEST_LIST = 60
"""A longer list is a curve, of which only the ends count: almost any number stands somewhere inside it."""


def written(words: str) -> list[str]:
    """Every number in some words, with a plain minus and no spaces inside."""
    return [one.replace("\u202f", "").replace("−", "-") for one in NUMBER.findall(words)]


def every_value(thing: Any) -> Iterator[str | float]:
    """Every text and number inside an answer or document, of curves the ends."""
    if isinstance(thing, dict):
        thing = list(thing.values())
    if isinstance(thing, list | tuple):
        for one in thing if len(thing) <= LONGEST_LIST else (thing[0], thing[-1]):
            yield from every_value(one)
    elif isinstance(thing, str):
        yield thing
    elif isinstance(thing, int | float) and not isinstance(thing, bool):
        yield abs(float(thing))
        yield float(thing)


def stands(number: str, values: set[float]) -> bool:
    """Whether one of the values, as stored or on another scale, is written so at these digits."""
    digits = len(number.split(".")[1]) if "." in number else 0
    near = 0.5 * 10**-digits + 1e-9
    return any(abs(value * scale - float(number)) <= near for value in values for scale in SCALES)


def test_every_number_on_it_is_of_an_answer_an_entry_or_an_assumption(client_of: Any) -> None:
    client = client_of(None)
    _, article, answer = sheet_of(client, f"{QUESTION}&at=2026-11-25T18:00")
    house = read(json.dumps(client.document()))
    cells = [bank.cell for bank in house.banks] + [catalogue.load(name) for name in catalogue.COMPARED]
    known = list(every_value([answer, client.document(), [dataclasses.asdict(cell) for cell in cells]]))
    values = {one for one in known if isinstance(one, float)} | {bank.label_kwh for bank in house.banks}
    texts = {number for one in known if isinstance(one, str) for number in written(one)}
    for drawn in article.select("header, .plot, #sheet-standards"):
        drawn.decompose()
    told = [number for part in article.select("section") for number in written(part.get_text(" "))]
    assert len(told) > 500
    assert [number for number in told if number not in texts and not stands(number, values)] == []
    assert not stands("777.77", values)


@pytest.mark.parametrize(
    ("path", "form", "name", "value", "figure"),
    [
        ("/loads?edit=cold", "load-cold-form", "values.power_w", "390", ("sizing", "daily_load_kwh")),
        ("/loads?edit=cold", "load-cold-form", "values.power_w", "390", ("comparison", "demand_kwh")),
        ("/banks", "bank-store-form", "charge_limit_a", "21", ("settings", "banks")),
        ("/inverter", "inverter-main-form", "rated_w", "2900", ("wiring", "banks")),
        ("/banks", "bank-store-form", "tested_ah", "201", ("steps",)),
    ],
)
def test_a_saved_change_is_in_the_next_answer(
    client: Client, path: str, form: str, name: str, value: str, figure: tuple[str, ...]
) -> None:
    def told() -> Any:
        found = client.get(f"/sheet.json?{QUESTION}").json()
        for key in figure:
            found = found[key]
        return found

    before = told()
    sent = form_of(soup(client.get(path)), form)
    assert client.post(path, sent | {name: value}).status_code == 303
    after = told()
    assert after != before
    client.post("/undo", {"revision": "2", "back": "/banks"})
    assert told() == before


def test_the_contents_lead_to_every_section_and_stay_off_the_paper(client: Client) -> None:
    page, article, _ = sheet_of(client)
    contents = page.select_one("details.asking nav.contents")
    assert contents is not None
    listed = [(link["href"], link.get_text()) for link in contents.select("a")]
    assert listed == [(f"#{one['id']}", one.h2.get_text()) for one in article.select("section[id^=sheet-]")]
