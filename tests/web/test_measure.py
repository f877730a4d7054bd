"""Measure: the ranking, the three pages with and without readings, what is refused, the use and its undo, the paper."""

from __future__ import annotations

import json
import re
from typing import Any
from urllib.parse import urlencode

import pytest

from engine.house import household
from tests.conftest import Client, soup
from tests.engine.test_bus import LFP, SODIUM, house_of
from tests.web.conftest import HOUSEHOLDS, Opener

NIGHT = {"meter": "kwh", "first": "100", "second": "100.4", "began": "2026-11-24 22:00", "ended": "2026-11-25 06:00"}
DRAWN = {"unit": "ah", "amount": "500", "hours": "20", "stop": "volts", "end_v": "42.5"}
GREY = {"day_1": "2026-11-20", "kwh_1": "1.4", "day_2": "2026-11-21", "kwh_2": "2.6"}
ASKED = {"idle": NIGHT, "capacity": DRAWN, "dull": GREY}


@pytest.fixture
def client(client_of: Opener, small_house: dict[str, Any]) -> Client:
    return client_of(small_house)


def text_of(node: Any) -> str:
    return re.sub(r"\s+", " ", node.get_text(" ").replace("\u00a0", " ")).strip()


def page_of(client: Client, name: str, asked: dict[str, str] | None = None, status: int = 200) -> Any:
    response = client.get(f"/measure/{name}" + (f"?{urlencode(asked)}" if asked else ""))
    assert response.status_code == status
    return soup(response)


def told(client: Client, name: str, asked: dict[str, str]) -> Any:
    return client.get(f"/measure/{name}.json?{urlencode(asked)}").json()


def sent_of(page: Any) -> dict[str, str]:
    form = page.select_one("form.use-measured")
    return {control["name"]: control["value"] for control in form.select("input")}


def undo_of(page: Any) -> dict[str, str]:
    form = page.select_one("#saved form[action='/undo']")
    assert form is not None
    return {control["name"]: control["value"] for control in form.select("input")}


def test_the_index_begins_with_what_moves_most_hours(client: Client) -> None:
    found = client.get("/measure.json").json()["candidates"]
    page = soup(client.get("/measure"))
    assert [one["moves_h"] for one in found] == sorted((one["moves_h"] for one in found), reverse=True)
    links = [link["href"] for link in page.select(".measure-choice h2 a")]
    assert links == [f"/measure/{one['id']}" for one in found]
    names = {"capacity": "the capacity", "dull": "what a dull day gives", "idle": "the idle draw"}
    assert f"Measure {names[found[0]['id']]} first" in text_of(page.h1)
    assert all(client.get(link).status_code == 200 for link in links)


@pytest.mark.parametrize("name", ["idle", "capacity", "dull"])
def test_before_any_reading_there_are_steps_and_cautions_and_nothing_to_use(client: Client, name: str) -> None:
    page = page_of(client, name)
    assert len(page.select("#steps li")) >= 6
    assert page.select_one(".cautions li") is not None
    assert page.select_one("form.use-measured") is None
    assert page.select_one(".summary") is None


@pytest.mark.parametrize(("name", "folded"), [("idle", "step"), ("capacity", "step"), ("dull", "kwh_8")])
def test_what_is_seldom_asked_is_folded_away_and_asked_once(client: Client, name: str, folded: str) -> None:
    page = page_of(client, name)
    (control,) = page.select(f"input[name={folded}]")
    fold = control.find_parent("details")
    assert fold is not None
    assert not fold.has_attr("open")
    names = [one["name"] for one in page.select("form.measure input, form.measure select")]
    assert len(names) == len(set(names))


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("idle", ("medical device", "freezer", "aquarium", "alarm", "DC connector")),
        ("capacity", ("breathing", "generator", "do not leave it alone", "Never below", "Charge it again at once")),
        ("dull", ("holds the panels back", "snow", "before the charger")),
    ],
)
def test_the_cautions_stand_in_the_steps(client: Client, name: str, words: tuple[str, ...]) -> None:
    said = text_of(page_of(client, name).select_one("#steps"))
    assert [word for word in words if word not in said] == []


def test_the_idle_page_says_what_the_json_says(client: Client) -> None:
    """0.4 kWh in 8 h are 50 W."""
    answer = told(client, "idle", NIGHT)
    assert answer["result"]["value"] == pytest.approx(50.0)
    page = page_of(client, "idle", NIGHT)
    assert "draws 50 W , give or take 11 W" in text_of(page.h1)
    assert "Inverter now says 38.0 W: less than this" in text_of(page.select_one("#answer"))
    assert text_of(page.select_one("#answer dl.figures")).count("1.2 kWh") == 1
    assert [text_of(row.th) for row in page.select("table.measured tr") if row.th][:1]


def test_the_capacity_page_says_what_the_json_says(client: Client) -> None:
    answer = told(client, "capacity", DRAWN)
    result, found = answer["result"], answer["found"]
    assert result["value"] == pytest.approx(500 / (found["start_soc"] - found["end_soc"]) / 2)
    assert f"{result['value']:.0f}" in text_of(page_of(client, "capacity", DRAWN).h1)
    assert answer["label_ah"] == 280.0


def test_kwh_of_a_dull_day_are_worked_back_to_before_the_charger(client: Client) -> None:
    """The charger gives 95 %: 1.4 kWh after it are 1.4737 before."""
    plain, after = (told(client, "dull", GREY | {"read_at": side}) for side in ("panels", "charger"))
    assert [one["kwh"] for one in plain["days"]] == [1.4, 2.6]
    assert [one["kwh"] for one in after["days"]] == pytest.approx([1.4 / 0.95, 2.6 / 0.95])
    assert after["result"]["value"] > plain["result"]["value"]
    page = page_of(client, "dull", GREY)
    assert "A dull day in November gives" in text_of(page.h1)
    held = page_of(client, "dull", GREY | {"kind_2": "full"})
    assert "21 November does not count: it had the bank full" in text_of(held.select_one("#answer"))


@pytest.mark.parametrize(
    ("name", "section", "field", "shown"),
    [
        ("idle", "inverters", "idle_w", "Inverter"),
        ("capacity", "banks", "tested_ah", "Banks"),
        ("dull", "sun", "dull_day_kwh", "Sun"),
    ],
)
def test_it_is_used_by_one_press_and_undone_by_another(
    client: Client, name: str, section: str, field: str, shown: str
) -> None:
    before = client.document()
    page = page_of(client, name, ASKED[name])
    assert client.document() == before
    sent = sent_of(page)
    saved = client.post("/apply", sent)
    assert saved.status_code == 303
    part = client.document()[section]
    value = (part if isinstance(part, dict) else part[0])[field]
    answer = told(client, name, ASKED[name])["result"]["value"]
    assert value == pytest.approx(answer, rel=0.01)
    if name == "dull":
        assert client.document()["sun"]["dull_day_month"] == 11
    after = soup(client.get(saved.headers["location"]))
    assert f"stand on {shown}" in text_of(after.select_one("#answer"))
    assert saved.headers["location"].count("set=1") == 1
    assert "set=1" not in undo_of(after)["back"]
    assert after.select_one("form.use-measured") is None
    back = client.post("/undo", undo_of(after))
    assert back.status_code == 303
    assert client.document()[section] == before[section]
    assert client.get(back.headers["location"]).status_code == 200


def test_readings_stay_in_the_address_over_night(client: Client) -> None:
    evening = {"meter": "percent", "first": "62", "began": "2026-11-24 22:00"}
    page = page_of(client, "idle", evening)
    assert "Still to be typed: second reading and then read at" in text_of(page.select_one("#answer"))
    assert page.select_one("[name=first]")["value"] == "62"
    assert page.select_one("form.use-measured") is None


@pytest.mark.parametrize(
    ("name", "changes", "field", "said"),
    [
        ("idle", {"ended": "2026-11-24 21:00"}, "ended", "must be later than the first"),
        ("idle", {"ended": "2026-12-24 21:00"}, "ended", "has not come yet"),
        ("idle", {"began": "yesterday"}, "began", "must be now, or a moment such as"),
        ("idle", {"second": "99"}, "second", "only rises"),
        ("idle", {"meter": "percent", "first": "60", "second": "64"}, "second", "rose from 60 to 64 %"),
        ("idle", {"meter": "percent", "first": "160"}, "first", "from 0 to 100 %"),
        ("idle", {"volts": "12"}, "volts", "Volts of the bank must be from 32 to 58.4 V for 16 cells"),
        ("idle", {"meter": "ah", "first": "-10", "second": "-5"}, "second", "that was put into the bank"),
        ("idle", {"meter": "watts", "first": "-40", "second": "38"}, "second", "the sign changes"),
        ("idle", {"left_on": "100000"}, "left_on", "W from the bank; the readings tell of 50 W in all"),
        ("idle", {"left_on": "900"}, "left_on", "One of them is wrong"),
        ("idle", {"meter": "ohm"}, "meter", "You read cannot be “ohm”"),
        ("capacity", {"end_v": "3.1"}, "end_v", "The pack’s volts are asked"),
        ("capacity", {"hours": "0"}, "hours", "Hours it took must be a number from 0.2"),
        ("capacity", {"cell_c": "-39"}, "cell_c", "may be discharged from"),
        ("capacity", {"stop": "percent", "left_soc": "92"}, "amount", "it tells too little"),
        ("dull", {"day_1": "20 November"}, "day_1", "must be a day such as 2026-11-25"),
        ("dull", {"day_1": "2026-11-26"}, "day_1", "to today"),
        ("dull", {"kwh_1": ""}, "kwh_1", "is missing"),
        ("dull", {"day_2": "2026-11-20"}, "day_2", "is there twice"),
        ("dull", {"kwh_2": "80"}, "kwh_2", "cannot be a dull day"),
    ],
)
def test_each_field_has_its_sentence_and_keeps_what_was_typed(
    client: Client, name: str, changes: dict[str, str], field: str, said: str
) -> None:
    asked = ASKED[name] | changes
    page = page_of(client, name, asked, status=422)
    error = page.select_one(f"#{field}-error")
    assert error is not None
    assert said in text_of(error)
    control = page.select_one(f"[name={field}]")
    if control.name == "input":
        assert control["value"] == asked[field]
    assert client.get(f"/measure/{name}.json?{urlencode(asked)}").status_code == 422


def test_a_share_typed_for_a_percent_is_asked_about(client: Client) -> None:
    asked = NIGHT | {"meter": "percent", "first": "0.8", "second": "0.77"}
    assert "Was 80 % meant?" in text_of(page_of(client, "idle", asked).select_one("#answer"))


def test_sun_between_the_readings_is_said_and_nothing_is_offered(client: Client) -> None:
    late = NIGHT | {"ended": "2026-11-25 12:00"}
    page = page_of(client, "idle", late)
    assert "The sun was up for" in text_of(page.select_one(".note.check"))
    assert page.select_one("form.use-measured") is None
    assert page_of(client, "idle", late | {"dark": "1"}).select_one("form.use-measured") is not None


def test_volts_below_the_lowest_are_a_stop_and_not_offered(client: Client) -> None:
    page = page_of(client, "capacity", DRAWN | {"end_v": "36"})
    assert "below the lowest these cells and their board" in text_of(page.select_one(".note.stop"))
    assert page.select_one("form.use-measured") is None


def test_a_cut_off_below_the_lowest_is_never_proposed_or_used(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["inverters"][0] |= {"dc_min_v": 30.0, "restart_v": 40.0}
    small_house["banks"][0]["board"] = None
    client = client_of(small_house)
    asked = {"unit": "ah", "amount": "560", "hours": "20"}
    steps = text_of(page_of(client, "capacity").select_one("#steps"))
    assert "30.0 V" not in steps
    assert "Do not leave it to the cut-off" in steps
    assert "Never below 40.0 V" in steps
    assert page_of(client, "capacity").select_one("[name=stop] option[selected]")["value"] == "volts"
    for ended in ({"stop": "cutoff"}, {"stop": "rested", "end_v": "33"}):
        page = page_of(client, "capacity", asked | ended)
        assert "below the lowest these cells" in " ".join(text_of(one) for one in page.select(".note.stop"))
        assert page.select_one("form.use-measured") is None


@pytest.mark.parametrize("amount", ["1680", "20"])
def test_a_capacity_far_from_the_label_is_said_and_not_offered(client: Client, amount: str) -> None:
    page = page_of(client, "capacity", DRAWN | {"amount": amount})
    assert "not offered to be used" in text_of(page.select_one(".note.check"))
    assert page.select_one("form.use-measured") is None


@pytest.mark.parametrize("changes", [{"second": "116"}, {"meter": "percent", "first": "0.8", "second": "0.79"}])
def test_no_idle_draw_is_said_and_not_offered(client: Client, changes: dict[str, str]) -> None:
    page = page_of(client, "idle", NIGHT | changes)
    assert "offered to be used" in " ".join(text_of(one) for one in page.select(".note.check"))
    assert "These readings are not fit to be used" in text_of(page.select_one("#answer"))
    assert page.select_one("form.use-measured") is None


@pytest.mark.parametrize(
    ("days", "said"),
    [
        ({"day_1": "2026-11-20", "kwh_1": "12"}, "20 November (12 kWh, "),
        ({"day_1": "2026-11-20", "kwh_1": "1.6"}, "so nothing is offered to be used"),
    ],
)
def test_days_that_tell_no_dull_day_are_not_offered(client: Client, days: dict[str, str], said: str) -> None:
    page = page_of(client, "dull", days)
    assert said in " ".join(text_of(one) for one in page.select(".note.check"))
    assert page.select_one("form.use-measured") is None


def test_an_idle_draw_is_never_told_as_less_than_nothing(client: Client) -> None:
    """55 W left on take more from the bank than the 50 W counted, within their error."""
    assert told(client, "idle", NIGHT | {"left_on": "55"})["result"]["value"] < 0.0
    page = page_of(client, "idle", NIGHT | {"left_on": "55"})
    assert "the byre inverter draws less than" in text_of(page.h1)
    assert not re.search(r"[−-]\d", text_of(page.h1) + text_of(page.select_one("#answer dl.figures")))
    refused = text_of(page_of(client, "idle", NIGHT | {"left_on": "100000"}, status=422).select_one("#left_on-error"))
    assert "e+" not in refused


def test_an_hour_may_be_written_with_one_digit(client: Client) -> None:
    plain, short = (
        told(client, "idle", NIGHT | {"began": began, "ended": ended})
        for began, ended in (("2026-11-25 01:30", "06:00"), ("2026-11-25 1:30", "6:00"))
    )
    assert plain["result"] == short["result"]
    assert client.get("/week?at=9:30").status_code == 200


def test_banks_on_one_bus(client_of: Opener) -> None:
    shared = client_of(household.write(house_of(LFP, SODIUM)) | {"name": "Two banks", "example": False})
    refused = page_of(shared, "idle", NIGHT | {"meter": "percent", "first": "80", "second": "77"}, status=422)
    assert "share one bus" in text_of(refused.select_one("#meter-error"))
    assert page_of(shared, "idle", NIGHT).select_one("form.use-measured") is not None
    by_kwh = {"bank": LFP.id, "unit": "kwh", "amount": "12", "hours": "20", "stop": "volts", "end_v": "44"}
    page = page_of(shared, "capacity", by_kwh, status=422)
    assert f"{SODIUM.name} shares the bus of {LFP.name}" in text_of(page.select_one("#alone-error"))
    alone = page_of(shared, "capacity", by_kwh | {"alone": "1"})
    assert "shares the bus: only with them disconnected" in text_of(alone.select_one("#steps"))
    assert shared.get("/measure").status_code == 200


def test_several_banks_are_asked_one_by_one(client_of: Opener) -> None:
    document = json.loads((HOUSEHOLDS / "three_banks.json").read_text(encoding="utf-8"))
    client = client_of(document)
    for bank in document["banks"]:
        found = told(
            client, "capacity", {"bank": bank["id"], "amount": "60", "hours": "5", "stop": "percent", "left_soc": "50"}
        )
        assert found["name"] == bank["name"]
    assert page_of(client, "idle").select_one("select[name=bank]") is not None
    assert client.get("/measure.json?bank=mill").json()["bank_id"] == "mill"
    assert client.get("/measure?bank=none").status_code == 422


def test_a_bank_joined_to_nothing(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"][0]["inverter"] = ""
    client = client_of(small_house)
    assert "No answer yet" in text_of(page_of(client, "idle").h1)
    assert "No answer yet" in text_of(soup(client.get("/measure")).h1)
    refused = page_of(client, "capacity", DRAWN | {"unit": "sockets"}, status=422)
    assert "joined to no inverter here" in text_of(refused.select_one("#unit-error"))
    assert page_of(client, "capacity", DRAWN).select_one("form.use-measured") is not None


@pytest.mark.parametrize(
    ("without", "name", "first"),
    [
        ("banks", "capacity", "Enter your first bank"),
        ("banks", "idle", "Enter your first bank"),
        ("sun", "dull", "Enter your panels"),
    ],
)
def test_what_is_missing_is_said_first(
    client_of: Opener, small_house: dict[str, Any], without: str, name: str, first: str
) -> None:
    empty: dict[str, Any] = {"banks": [], "loads": []} if without == "banks" else {"sun": {"arrays": []}}
    client = client_of(small_house | empty)
    page = page_of(client, name)
    assert text_of(page.select_one("#answer a.button")) == first
    assert client.get(f"/measure/{name}.json").status_code == 422
    assert client.get("/measure").status_code == 200


def test_on_paper_each_field_has_a_line_to_write_on(client: Client) -> None:
    rows = {text_of(row.th): text_of(row.td) for row in page_of(client, "idle").select(".onpaper tr")}
    assert rows["First reading, %"] == rows["Second reading, %"] == rows["First read at"] == ""
    typed = {text_of(row.th): text_of(row.td) for row in page_of(client, "idle", NIGHT).select(".onpaper tr")}
    assert typed["First reading, kWh"] == "100"
    assert typed["You read"] == "kWh counted out of the bank"


def test_lead_acid_is_stopped_at_half_and_read_after_a_rest(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"][0] |= {"chemistry": "lead_flooded", "series": 24, "board": None, "reserve_soc": 0.5}
    page = page_of(client_of(small_house), "capacity")
    steps = text_of(page.select_one("#steps"))
    assert "Stop when about half is drawn" in steps
    assert "rest four hours" in steps
    assert "28.0 A for Ah stated at 20 hours" in steps
    assert page.select_one("[name=stop] option[selected]")["value"] == "rested"


def test_banks_that_must_not_be_joined_are_not_measured(client_of: Opener, small_house: dict[str, Any]) -> None:
    gel = small_house["banks"][0] | {"id": "gel", "name": "Gel", "chemistry": "lead_gel", "series": 24, "board": None}
    small_house["banks"].append(gel)
    client = client_of(small_house)
    for page in (page_of(client, "idle", NIGHT), soup(client.get("/measure"))):
        assert "this must not be joined" in text_of(page.h1)
        assert page.select_one("form.use-measured") is None
    assert "may not share the DC bus" in text_of(page_of(client, "capacity", DRAWN).select_one(".note.stop"))
