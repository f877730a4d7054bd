"""Household card: the page says what its JSON says, keeps what was typed, names what is wrong, approves nothing."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest

from engine.cells import catalogue
from engine.house import household
from engine.json_answer import plain_data
from tests.conftest import Client, soup
from tests.web.conftest import HOUSEHOLDS, Opener
from webapp.card_view import SMALL_THINGS, THINGS, from_percent
from webapp.pages.card import _dull


def text_of(node: Any) -> str:
    return " ".join(node.get_text(" ").replace("\u00a0", " ").split())


def card_of(client: Client, query: str = "") -> Any:
    return soup(client.get(f"/card?{query}")).select_one(".door")


def test_the_table_is_the_json(client: Client) -> None:
    told = client.get("/card.json?month=12&days=2").json()["supply"]
    rows = card_of(client, "month=12&days=2").select(".door-table tbody tr")
    assert len(rows) == len(told["extras"]) == len(THINGS)
    for row, extra in zip(rows, told["extras"], strict=True):
        yes, ask, no = (text_of(cell) for cell in row.select("td"))
        assert text_of(row.th.small) == f"{extra['kwh']:g} kWh"
        yes_from, ask_from = (
            from_percent(extra[key], told["top_soc"]).replace("\u00a0", " ") for key in ("from_soc", "night_soc")
        )
        assert yes.removesuffix(" and up") == {"no": "never"}.get(yes_from, yes_from)
        assert ask == "never" or ask.startswith(ask_from.removesuffix(" %"))
        assert ask_from in no or (ask_from, no) in {("no", "always"), ("full only", "unless full")}
    hours = [text_of(cell) for cell in card_of(client, "month=12&days=2").select(".door-hours tr")[1].select("td")]
    assert hours == [
        "days" if reading["hours"] is None else f"{int(reading['hours'])} h" for reading in told["readings"]
    ]


@pytest.mark.parametrize(
    ("soc", "top", "told"),
    [(0.6, 1.0, "60\u00a0%"), (0.601, 1.0, "65\u00a0%"), (1.0, 1.0, "100\u00a0%"), (0.96, 0.985, "full only")],
)
def test_charges_are_rounded_up(soc: float, top: float, told: str) -> None:
    assert from_percent(soc, top) == told


def test_a_season_and_the_days_are_asked_for(client: Client) -> None:
    winter = client.get("/card.json?month=12&days=3").json()
    summer = client.get("/card.json?month=6&days=3").json()
    assert (winter["month"], summer["month"], winter["days"]) == (12, 6, 3)
    in_winter = winter["supply"]["rides_soc"]
    assert in_winter is None or in_winter >= summer["supply"]["rides_soc"]
    assert "December" in text_of(card_of(client, "month=12").select_one(".title-block"))


@pytest.mark.parametrize(
    ("few", "all_days", "said"),
    [
        ("dark", "dark,dark,dark", "One day as typed, repeated to 3 days"),
        ("kc:.2,.4", "kc:.2,.4,.3", "2 days as typed, its mean day repeated to 3 days"),
    ],
)
@pytest.mark.parametrize("month", [6, 12])
def test_fewer_days_than_are_to_be_ridden_are_filled_with_their_mean_day(
    client: Client, month: int, few: str, all_days: str, said: str
) -> None:
    """As on Bank size: three days like one dark day are three dark days, and three of .2 and .4 end with .3."""
    short, long = (client.get(f"/card.json?month={month}&days=3&spell={text}").json() for text in (few, all_days))
    for key in ("rides_soc", "night_soc"):
        assert short["supply"][key] == pytest.approx(long["supply"][key])
    assert [one["from_soc"] for one in short["supply"]["extras"]] == pytest.approx(
        [one["from_soc"] for one in long["supply"]["extras"]]
    )
    assert short["sky_title"] == f"{said}, then 11 days average for the month"


def test_a_spell_shorter_than_what_is_to_be_ridden_goes_on_as_its_mean_day(small_house: dict[str, Any]) -> None:
    """The days after it are brighter, and come after the days that are to be ridden."""
    house = household.read(json.dumps(small_house))
    short, whole = (_dull("made_3d_1in10", house, 12, days) for days in (3, 5))
    assert list(whole.kc[:3]) == list(short.kc[:3])
    assert list(whole.kc[3:5]) == pytest.approx([sum(short.kc[:3]) / 3] * 2)
    assert list(whole.kc[5:9]) == list(short.kc[3:7])
    assert (whole.listed_days, len(whole.kc)) == (5, 14)


@pytest.mark.parametrize(
    ("query", "words"), [("days=9", "from 1 to 5"), ("spell=grey", "is not a day"), ("month=13", "month")]
)
def test_bad_input_is_named_and_kept(client: Client, query: str, words: str) -> None:
    reply = client.get(f"/card?{query}")
    assert reply.status_code == 422
    page = soup(reply)
    assert page.select_one(".summary")
    assert words.lower() in reply.text.lower()
    assert page.title.get_text().startswith("Error: ")
    assert client.get(f"/card.json?{query}").status_code == 422
    assert page.select_one(".door") is None


def test_each_inverter_has_a_card_of_its_own(client_of: Opener) -> None:
    three = client_of("three_banks.json")
    page = soup(three.get("/card?bank=shed"))
    assert "shed bank" in text_of(page.select_one(".door .sentence"))
    links = [link["href"] for link in page.select(".hint a") if link["href"].startswith("/card?bank=")]
    assert links == ["/card?bank=house", "/card?bank=mill"]
    assert three.get("/card.json?bank=mill").json()["supply"]["bank_id"] == "mill"


def test_stops_stand_on_it(client_of: Opener) -> None:
    three = client_of("three_banks.json")
    stops = [notice for notice in three.get("/card.json").json()["notices"] if notice["level"] == "stop"]
    told = text_of(card_of(three))
    assert len(stops) >= 2
    assert all(notice["text"] in told for notice in stops[:2])
    if len(stops) > 2:
        assert f"{len(stops) - 2} more on the sheet" in told


def test_a_generator_has_its_steps_and_cautions(client_of: Opener, small_house: dict[str, Any]) -> None:
    assert "generator kills" not in text_of(card_of(client_of(small_house)))
    small_house["generators"] = [
        {
            "id": "g", "name": "Petrol set", "rated_w": 3000, "charger_w": 2000, "full_l_per_h": 1.6,
            "idle_l_per_h": 0.5, "start_soc": 0.4, "stop_soc": 0.8,
        }
    ]  # fmt: skip
    client = client_of(small_house)
    told = text_of(card_of(client))
    start = client.get("/card.json").json()["supply"]["start"]
    assert "At 40 % start Petrol set; about" in told.replace("petrol", "Petrol")
    assert f"{start['litres']:.1f} l bring it to 80 %" in told
    for words in ("Outdoors only", "Never refuel it running or hot", "changeover switch"):
        assert words in told


def test_it_has_room_for_numbers_and_approves_nothing(client: Client) -> None:
    page = card_of(client)
    assert text_of(page.select_one(".door-call dt")) == "Emergency"
    assert "not an approval" in text_of(page)
    assert "approved" not in text_of(page).lower()
    assert page.select("button, input, select, a") == []


def test_an_empty_household_is_told_where_to_begin(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"] = []
    reply = client_of(small_house).get("/card")
    assert reply.status_code == 200
    assert "There is no bank yet" in reply.text


def test_it_promises_no_power_back_where_nothing_charges(client_of: Opener, small_house: dict[str, Any]) -> None:
    assert "may come back by itself once" in text_of(card_of(client_of(small_house)))
    small_house["banks"][0]["cell_c"] = -5.0
    assert "It may stay off: nothing charges it now" in text_of(card_of(client_of(small_house)))


def test_without_panels_and_generator_it_stays_off(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"]["arrays"] = []
    assert "It may stay off: nothing charges it now" in text_of(card_of(client_of(small_house)))


def test_a_small_inverter_is_asked_about_small_things(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["inverters"][0]["rated_w"] = 800.0
    rows = card_of(client_of(small_house)).select(".door-table tbody tr")
    things = [text_of(row.th).rsplit(" ", 2)[0] for row in rows]
    assert things == list(SMALL_THINGS.values())
    assert not any("heater" in thing or "oven" in thing for thing in things)


def test_stops_of_its_own_banks_come_first(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["inverters"].append(small_house["inverters"][0] | {"id": "two", "name": "Second inverter"})
    first = small_house["banks"][0] | {"name": "House bank", "board": None}
    small_house["banks"] = [first, first | {"id": "more", "name": "Barn bank", "inverter": "two"}]
    client = client_of(small_house)
    for bank, name in ((first["id"], "House bank"), ("more", "Barn bank")):
        stops = [
            text_of(one) for one in card_of(client, f"bank={bank}").find_all(string=re.compile("protection board"))
        ]
        assert len(stops) == 2
        assert name in stops[0]


def test_a_load_that_ends_several_charges_in_the_same_hours_is_named(client_of: Opener) -> None:
    client = client_of("first_hour.json")
    page, supply = text_of(soup(client.get("/card"))), client.get("/card.json").json()["supply"]
    # 6 kWh at 2.3 kW from 10 o'clock on: 16 hours after the card's 18:00.
    assert (supply["heavy"]["names"], supply["heavy"]["start_h"]) == (["Electric car"], 16)
    ends = {one["soc"]: one["hours"] for one in supply["readings"]}
    assert all(16.0 <= ends[soc] <= supply["heavy"]["stop_h"] for soc in (0.6, 0.7, 0.8, 0.9))
    assert "From 60 % to 90 % it ends in the same hours: Electric car begins at 10 o’clock" in page
    document = json.loads((HOUSEHOLDS / "first_hour.json").read_text(encoding="utf-8"))
    document["loads"] = [one for one in document["loads"] if one["id"] != "car"]
    bare = client_of(document)
    assert "Electric car" not in text_of(soup(bare.get("/card")).select_one(".door"))
    longer = {one["soc"]: one["hours"] for one in bare.get("/card.json").json()["supply"]["readings"]}
    assert longer[0.9] - longer[0.6] > ends[0.9] - ends[0.6] + 1.0


def test_a_column_of_nothing_but_no_is_one_sentence(client_of: Opener) -> None:
    client = client_of("first_hour.json")
    page, extras = soup(client.get("/card")), client.get("/card.json").json()["supply"]["extras"]
    assert all(one["from_soc"] is None for one in extras)
    heads = [one.get_text() for one in page.select(".door-table thead th")]
    assert "Yes" not in heads
    assert {len(row.select("th, td")) for row in page.select(".door-table tbody tr")} == {len(heads)}
    said = "with any of these even a full bank does not ride the night and 1 dull day after it. Ask first"
    assert said in text_of(page)


def test_what_is_to_be_switched_off_falls_by_the_hours_that_stand_beside_it(client_of: Opener) -> None:
    client = client_of("three_banks.json")
    for month in (1, 4, 7, 11):
        order = client.get(f"/card.json?month={month}").json()["supply"]["order"]
        gains = [float("inf") if one["gained_h"] is None else one["gained_h"] for one in order]
        assert gains == sorted(gains, reverse=True)


def test_the_same_hours_for_two_charges_are_explained(client_of: Opener, small_house: dict[str, Any]) -> None:
    """A bread oven from 8 to 11 takes more in an hour than a tenth of the bank holds: two readings end in one hour."""
    mine = {"inverter": small_house["inverters"][0]["id"]}
    small_house["banks"][0] |= {"label_ah": small_house["banks"][0]["label_ah"] / 2, "tested_ah": None}
    oven = {"id": "oven", "name": "Bread oven", "kind": "timed"}
    router = {"id": "base", "name": "Router", "kind": "steady", "values": {"power_w": 60.0}}
    small_house["loads"] = [
        mine | oven | {"values": {"power_w": 2500.0, "run_h": 3.0, "start_h": 8.0}},
        mine | router,
    ]
    client = client_of(small_house)
    readings = client.get("/card.json?month=12").json()["supply"]["readings"]
    hours = [int(one["hours"]) for one in readings if one["hours"] is not None]
    told = text_of(card_of(client, "month=12"))
    assert len(set(hours)) < len(hours)
    assert "Bread oven takes most of 2.6 kW" in told or "ends in the same hours: Bread oven begins at 8" in told


def test_the_fire_service_is_told_the_family_and_not_the_name_of_a_test(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    own = plain_data(catalogue.load("lfp")) | {
        "id": "lfp/test-7",
        "name": "LFP (lithium iron phosphate), your test “s”",
    }
    small_house["banks"][0]["chemistry"] = own
    said = text_of(card_of(client_of(small_house)))
    assert "which kind: LFP (lithium iron phosphate)." in said
    assert "your test" not in said


def test_the_hours_gained_say_from_what_charge_and_hour_they_are(client: Client) -> None:
    told = client.get("/card.json?month=12&days=2").json()["supply"]
    card = card_of(client, "month=12&days=2")
    said = text_of(card.select_one(".door-order").find_next("p"))
    assert f"from {told['order_soc'] * 100:.0f} %, not rounded, at 18 o’clock" in said
    assert "days named at the foot" in said
    assert "days: " in text_of(card.select(".door-fine")[-1])


def test_the_monitors_ampere_hours_are_the_labels_where_nobody_tested(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    small_house["banks"][0] |= {"tested_ah": None, "label_ah": 800.0, "parallel": 1}
    assert "a monitor set to the label’s 800 Ah (nobody has tested them)." in text_of(card_of(client_of(small_house)))
    small_house["banks"][0]["tested_ah"] = 780.0
    assert "a monitor set to the tested 780 Ah." in text_of(card_of(client_of(small_house)))


def test_the_hours_say_from_when_and_with_whose_loads_they_are(client_of: Opener, small_house: dict[str, Any]) -> None:
    """100 W always, 300 W more in June: 2.4 and 9.6 kWh a day; Dublin’s clock is an hour ahead in June."""
    small_house["loads"] = [
        {"id": "base", "name": "Router", "kind": "steady", "values": {"power_w": 100.0}},
        {"id": "fan", "name": "Fan", "kind": "steady", "months": [6], "values": {"power_w": 300.0}},
    ]
    client = client_of(small_house)
    november, june = (text_of(card_of(client, f"month={month}")) for month in (11, 6))
    assert "Without sun, from 18 o’clock, it lasts" in november
    assert "with the loads of November, 2.4 kWh a day" in november
    assert "Without sun, from 19 o’clock, it lasts" in june
    assert "with the loads of June, 9.6 kWh a day" in june


def test_dull_days_that_even_a_full_bank_does_not_ride_are_said_plainly(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    client = client_of(small_house)
    assert client.get("/card.json?month=12&days=5").json()["supply"]["rides_soc"] is None
    said = "reaches the morning; it does not last the night and 5 dull days after it, whatever the meter says."
    assert said in text_of(card_of(client, "month=12&days=5"))
