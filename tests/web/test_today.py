"""Today: the question as typed, the sentence, and that sentence, chart, range and figures agree."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from bs4 import BeautifulSoup

from engine.house import household
from engine.sky.site import Site
from tests.conftest import NOW, Client, Clock, soup
from tests.web.conftest import HOUSEHOLDS
from webapp.questions import joined_sky, read_moment, to_civil, to_standard

LIVE = {"HX-Request": "true", "HX-Request-Type": "partial"}
Opener = Callable[[str | dict[str, Any] | None], Client]
BERLIN = Site(latitude_deg=52.5, longitude_deg=13.4, time_zone="Europe/Berlin", climate="continental")
SYDNEY = Site(latitude_deg=-33.9, longitude_deg=151.2, time_zone="Australia/Sydney", climate="subtropical")


def sentence(page: BeautifulSoup) -> str:
    found = page.select_one("#answer [role=status] h1")
    assert found is not None
    return " ".join(found.get_text().split())


def words(page: BeautifulSoup) -> str:
    return " ".join(page.get_text(" ").split())


def figure(page: BeautifulSoup, place: int = 0) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(str(page.select("[data-figure]")[place]["data-figure"]))
    return found


def trace(chart: dict[str, Any], name: str) -> dict[str, Any]:
    return next(one for one in chart["data"] if one["name"] == name)


def two_banks(small_house: dict[str, Any]) -> dict[str, Any]:
    """The small household with a second bank on an inverter of its own."""
    house = copy.deepcopy(small_house)
    house["inverters"].append({**house["inverters"][0], "id": "shed", "name": "Shed inverter"})
    house["banks"].append({**house["banks"][0], "id": "shed", "name": "Shed bank", "inverter": "shed", "parallel": 1})
    house["loads"].append(
        {"id": "lamp", "name": "Shed lamps", "kind": "steady", "inverter": "shed", "values": {"power_w": 400.0}}
    )
    return house


# Household H: 16 cells of 280 Ah at 3.2 V, 80 % down to 20 %, 300 W / 0.93 + 40 W:
# 8.602 kWh / 362.6 W = 23.7 h (by hand).
def test_household_h_lasts_23_7_hours(client_of: Opener) -> None:
    answer = client_of("h.json").get("/today.json?charge=80&sky=none").json()
    assert round(answer["hours_to_reserve"], 1) == 23.7
    assert answer["ended_by"] == "reserve"


def test_the_sentence_gives_hours_and_clock_time(client_of: Opener) -> None:
    page = soup(client_of("h.json").get("/today?charge=80&sky=none&at=2026-11-25T18:00"))
    assert sentence(page) == (
        "About 24 hours: until Thursday, six in the evening, when the bank reaches your 20 % reserve."
    )


@pytest.mark.parametrize(
    "query",
    ["charge=80&sky=none", "charge=61.5&sky=dark,dull", "", "charge=30&sky=dark,dark&at=2026-07-01T18:20"],
)
def test_sentence_chart_range_and_figures_agree(client: Client, query: str) -> None:
    page = soup(client.get(f"/today?{query}"))
    answer = client.get(f"/today.json?{query}").json()
    ends = datetime.fromisoformat(answer["ends_at"])
    said = page.select_one(".sentence time")
    assert said is not None
    assert str(said["datetime"]) == ends.strftime("%Y-%m-%dT%H:%M")
    chart = figure(page)
    crossing, line = trace(chart, "ends"), trace(chart, "charge")
    assert abs(datetime.fromisoformat(crossing["x"][0]) - ends.replace(tzinfo=None)) <= timedelta(seconds=1)
    assert (crossing["x"][0], crossing["y"][0]) == (line["x"][-1], line["y"][-1])
    assert crossing["y"][0] == round(answer["banks"][0]["reserve_soc"] * 100, 1) == trace(chart, "floor")["y"][0]
    first = datetime.fromisoformat(line["x"][0])
    span = [(datetime.fromisoformat(x) - first).total_seconds() / 3600 for x in trace(chart, "range")["x"]]
    assert span == pytest.approx([answer["low_hours"], answer["high_hours"]], abs=0.001)
    assert answer["low_hours"] <= answer["hours_to_reserve"] <= answer["high_hours"]
    figures = " ".join(page.select_one(".figures").get_text(" ").split())  # type: ignore[union-attr]
    assert f"{ends:%a} {ends.day} {ends:%b}, {ends:%H:%M}" in figures
    assert answer["ended_by"] in figures
    hours = round(answer["hours_to_reserve"])
    days, rest = divmod(hours, 24)
    told = f"{hours} hours" if hours < 48 else f"{days} days" + (f" and {rest} hour" if rest else "")
    assert told in sentence(page)
    low = round(answer["low_hours"])
    assert (f"{low} " if low < 48 else f"{low // 24} days") in page.select_one(".range").get_text()  # type: ignore[union-attr]


def test_the_table_equals_the_chart(client: Client) -> None:
    page = soup(client.get("/today?charge=80&sky=dark,dull"))
    rows = [[cell.get_text() for cell in row.select("td")] for row in page.select(".chart tbody tr")]
    chart = figure(page)
    before, after = trace(chart, "charge"), trace(chart, "after that")
    drawn = [*zip(before["x"], before["y"], strict=True), *zip(after["x"][1:], after["y"][1:], strict=True)]
    assert len(rows) == len(drawn)
    for (time, percent, low, high), (x, y) in zip(rows, drawn, strict=True):
        assert float(percent) == y
        assert low == high == "–" or x > before["x"][-1] or float(low) <= y <= float(high)
        assert time.endswith(x[11:16])
    assert sum(low != "–" for _, _, low, _ in rows) > 12
    assert page.select_one(".chart tbody tr.total").select("td")[1].get_text() == str(before["y"][-1])  # type: ignore[union-attr]


def test_the_high_column_comes_down_to_the_reserve_at_the_end_that_the_range_states(client_of: Opener) -> None:
    client = client_of(None)
    bank = client.get("/today.json").json()["banks"][0]
    rows = [
        [cell.get_text() for cell in row.select("td")] for row in soup(client.get("/today")).select(".chart tbody tr")
    ]
    high = [float(row[3]) for row in rows if row[3] != "–"]
    # The table is of full hours: at the last one before the end at most one hour's draw is left above the reserve.
    hour_kwh = (bank["load_kwh_per_day"] / 24 + 0.5) * 2
    label_kwh = 24 * 2 * 2 * 330 / 1000
    assert bank["high_hours"] is not None
    assert high[-1] <= 100 * (bank["reserve_soc"] + hour_kwh / label_kwh)
    # It was over the "after that" line: after the likely end that line leaves the range.
    assert any(float(row[1]) > float(row[3]) for row in rows if row[3] != "–")


def test_usable_now_is_what_banks_says_and_the_band_ends_where_the_bank_is_cut_off(client_of: Opener) -> None:
    document = json.loads((HOUSEHOLDS / "first_hour.json").read_text(encoding="utf-8"))
    document["banks"][0]["inverter"], document["banks"][1]["inverter"] = "", "main"
    client = client_of(document)
    answer = client.get("/today.json").json()["banks"][0]
    told = words(soup(client.get("/banks")))
    usable = f"Usable {answer['usable_now_kwh']:.2g} kWh at the sockets"
    assert usable in told
    today = words(soup(client.get("/today")))
    assert (
        f"Usable now {answer['usable_now_kwh']:.2g} kWh at the sockets, 15 °C, down to 60 %, where it is cut off"
        in today
    )
    # 45 V over 14 cells is 3.21 V a cell: by the measured curve 60 %, far above the reserve of 10 %.
    assert answer["ended_by"] == "inverter"
    low = answer["band"]["low_soc"]
    assert min(low) == pytest.approx(0.6, abs=0.01)
    assert answer["low_hours"] < answer["hours"]


def test_nothing_typed_says_from_full_and_that_nobody_said_these_days(client: Client) -> None:
    page = soup(client.get("/today"))
    assert " from full: " in sentence(page)
    assert "Nobody has said these days" in page.select_one(".range").get_text()  # type: ignore[union-attr]
    assert "from full" not in sentence(soup(client.get("/today?charge=70")))
    bank = household.read(client.document()).banks[0]
    assert client.get("/today.json").json()["banks"][0]["start_soc"] == bank.top_reached_soc


@pytest.mark.parametrize("query", ["", "?charge=70&sky=season", "?charge=70&sky=days&sky=&sky=&sky=&sky=&sky="])
def test_days_that_nobody_said_are_made_also_among_the_assumptions(client: Client, query: str) -> None:
    def days(asked: str) -> tuple[str, str]:
        assumed = client.get(f"/today.json{asked}").json()["assumptions"]
        return next((one["value"], one["kind"]) for one in assumed if one["name"] == "Days to come")

    value, kind = days(query)
    assert value.startswith("As in the middle one of")
    assert kind != "typed"
    assert "Nobody has said these days" in soup(client.get(f"/today{query}")).select_one(".range").get_text()  # type: ignore[union-attr]
    said = days("?sky=dark,dull")
    assert "as typed" in said[0]


@pytest.mark.parametrize(
    ("zone", "summer"), [("Europe/Dublin", True), ("Australia/Sydney", True), ("Asia/Manila", False)]
)
def test_summer_time_is_told_only_where_the_clock_has_it(
    client_of: Opener, small_house: dict[str, Any], zone: str, summer: bool
) -> None:
    small_house["site"]["time_zone"] = zone
    said = client_of(small_house).get("/loads?add=timed").text
    assert ("By the clock on the wall, in winter and in summer" in said) == summer
    assert "By the clock on the wall" in said


@pytest.mark.parametrize(
    ("sky", "said"),
    [
        ("none", "No sun at all is assumed"),
        ("oceanic_3d_1in10", "records from elsewhere, not a forecast: Worst three days of 1 year in 10"),
        ("dark,dull", "yours, not a forecast: 2 days as typed"),
        ("kc:.1,.2", "yours, not a forecast: 2 days as typed"),
    ],
)
def test_the_range_says_whose_days_they_are(client: Client, sky: str, said: str) -> None:
    assert said in soup(client.get(f"/today?sky={sky}")).select_one(".range").get_text()  # type: ignore[union-attr]


def test_five_choices_of_a_form_are_the_same_as_one_text(client: Client) -> None:
    together = client.get("/today.json?charge=50&sky=dark,dull,bright").json()
    apart = client.get("/today.json?charge=50&sky=days&sky=dark&sky=dull&sky=bright&sky=&sky=").json()
    assert together == apart


def test_what_values_of_sky_mean_together() -> None:
    assert joined_sky(["days", "dark", "", ""]) == "dark"
    assert joined_sky(["none", "dark", "dull"]) == "none"
    assert joined_sky(["oceanic_3d_1in10", "dark"]) == "oceanic_3d_1in10"
    assert joined_sky(["dark", "", "dull"]) == "dark,,dull"


def test_the_form_shows_the_days_asked(client: Client) -> None:
    page = soup(client.get("/today?sky=bright,dull"))
    chosen = [one.select_one("option[selected]")["value"] for one in page.select(".pick select")]  # type: ignore[index]
    assert chosen == ["bright", "dull", "", "", ""]
    assert page.select_one("#sky option[selected]")["value"] == "days"  # type: ignore[index]
    typed = soup(client.get("/today?sky=kc:.1,.2"))
    assert typed.select_one("#sky option[selected]")["value"] == "kc:.1,.2"  # type: ignore[index]


def test_days_begin_tomorrow_once_the_sun_is_over(client: Client) -> None:
    page = soup(client.get("/today?at=2026-11-25T20:00"))
    assert [one.get_text() for one in page.select(".pick b")] == ["Thu", "Fri", "Sat", "Sun", "Mon"]
    page = soup(client.get("/today?at=2026-11-25T08:00"))
    assert page.select_one(".answered b").get_text() == "Wed"  # type: ignore[union-attr]


def test_a_share_is_taken_as_typed_and_asked_about(client: Client) -> None:
    response = client.get("/today?charge=0.8&sky=days&sky=dark&sky=dull")
    page = soup(response)
    assert response.status_code == 200
    check = page.select_one(".note.check")
    assert check is not None
    assert "0.8 %, as typed" in check.get_text()
    link = check.select_one("a")
    assert link is not None
    assert "charge=80" in str(link["href"])
    mended = client.get(str(link["href"]))
    assert mended.status_code == 200
    assert not soup(mended).select(".note.check a")
    assert (
        client.get("/today.json?charge=80&sky=dark,dull").json()["hours_to_reserve"]
        == (client.get(str(link["href"]).replace("/today?", "/today.json?")).json()["hours_to_reserve"])
    )
    as_typed = client.get("/today.json?charge=0.8&sky=none").json()
    assert as_typed["banks"][0]["start_soc"] == pytest.approx(0.008)


@pytest.mark.parametrize("name", ["charge", "reserve"])
@pytest.mark.parametrize("text", ["eighty", "", "-5", "nan", "1e9", "1,234", "80 kWh"])
def test_a_bad_number_is_refused_in_a_sentence_and_kept(client: Client, name: str, text: str) -> None:
    response = client.get("/today", params={name: text, "sky": "none"})
    page = soup(response)
    assert response.status_code == 422
    assert page.title is not None
    assert page.title.get_text().startswith("Error: Today")
    summary = page.select_one(f".summary a[href='#{name}']")
    assert summary is not None
    assert ("Charge now" if name == "charge" else "Keep in reserve") in summary.get_text()
    control = page.select_one(f"#{name}")
    assert control is not None
    assert control["value"] == text
    assert control["aria-invalid"] == "true"
    assert page.select_one(f"#{name}-error").get_text() == summary.get_text()  # type: ignore[union-attr]
    assert client.get("/today.json", params={name: text}).json()["errors"][name] == summary.get_text()


def test_limits_and_unit_stand_in_the_sentence(client: Client) -> None:
    errors = client.get("/today.json?charge=101").json()["errors"]
    assert errors == {"charge": "Charge now must be a number from 0 to 100 %; got 101."}


@pytest.mark.parametrize("sky", ["sunny", "", "dark,,murky", "kc:a", "kc:1.2", "kc:nan", "oktas:9", "-1", "1e9"])
def test_a_bad_sky_is_refused_and_kept(client: Client, sky: str) -> None:
    response = client.get("/today", params={"sky": sky})
    assert response.status_code == 422
    page = soup(response)
    assert page.select_one(".summary a[href='#sky']") is not None
    assert page.select_one("#sky option[selected]")["value"] == sky  # type: ignore[index]


@pytest.mark.parametrize("at", ["banana", "", "2026-13-01", "1999-01-01", "1e9", "-1", "25:00"])
def test_a_bad_moment_is_refused_and_kept(client: Client, at: str) -> None:
    response = client.get("/today", params={"at": at})
    assert response.status_code == 422
    assert soup(response).select_one("#at")["value"] == at  # type: ignore[index]
    assert client.get("/today.json", params={"at": at}).json()["errors"]["at"].startswith("From must be now, or")


def test_two_faults_are_told_at_once(client: Client) -> None:
    page = soup(client.get("/today?charge=x&sky=sunny&at=banana"))
    assert [str(link["href"]) for link in page.select(".summary a")] == ["#charge", "#at", "#sky"]


def test_a_live_question_with_faults_gets_only_what_to_mend(client: Client) -> None:
    response = client.get("/today?charge=x", headers=LIVE)
    assert response.status_code == 422
    assert response.text.startswith('<ul><li><a id="charge-problem" href="#charge">')
    block = client.get("/today?charge=60", headers=LIVE)
    assert block.text.lstrip().startswith('<section id="answer"')
    assert '<form class="ask' not in block.text


def test_a_decimal_comma_is_a_decimal_point(client: Client) -> None:
    assert client.get("/today.json?charge=62,5").json() == client.get("/today.json?charge=62.5").json()


def test_a_reserve_typed_for_this_answer_changes_it_and_nothing_else(client: Client) -> None:
    before = client.document()
    usual, lower = (client.get(f"/today.json?charge=80&sky=none&reserve={r}").json() for r in (15, 10))
    assert lower["hours_to_reserve"] > usual["hours_to_reserve"]
    assert usual == client.get("/today.json?charge=80&sky=none").json()
    assert client.document() == before


def test_a_reserve_above_the_window_is_refused_at_its_field(client_of: Opener) -> None:
    response = client_of("story5.json").get("/today.json?reserve=92")
    assert response.status_code == 422
    assert "below Charge up to, 90 %; got 92 %" in response.json()["errors"]["reserve"]


def test_more_load_or_less_sun_never_lengthens_it(client_of: Opener, small_house: dict[str, Any]) -> None:
    hours = []
    for watts in (140.0, 300.0, 600.0):
        house = copy.deepcopy(small_house)
        house["loads"][0]["values"]["power_w"] = watts
        hours.append(client_of(house).get("/today.json?charge=60&sky=dark,dark").json()["hours_to_reserve"])
    assert hours == sorted(hours, reverse=True)
    client = client_of(small_house)
    lit = [
        client.get(f"/today.json?charge=60&sky={sky}").json()["hours_to_reserve"]
        for sky in ("none", "dark,dark,dark", "dull,dull,dull", "bright,bright,bright")
    ]
    assert [x or 1e9 for x in lit] == sorted(x or 1e9 for x in lit)


def test_each_bank_has_its_own_charge_and_the_soonest_leads(client_of: Opener, small_house: dict[str, Any]) -> None:
    client = client_of(two_banks(small_house))
    page = soup(client.get("/today?charge=90&charge_shed=40&sky=none"))
    assert [str(one["name"]) for one in page.select(".ask input")] == [
        "charge",
        "charge_shed",
        "first",
        "kwh",
        "reserve",
        "reserve_shed",
        "at",
    ]
    answer = client.get("/today.json?charge=90&charge_shed=40&sky=none").json()
    assert answer["bank_id"] == "shed"
    assert "when the shed bank reaches" in sentence(page)
    assert [one.get_text() for one in page.select("h2.each")] == ["Store-room bank", "Shed bank"]
    assert len(page.select("[data-figure]")) == 2
    assert [bank["start_soc"] for bank in answer["banks"]] == pytest.approx([0.9, 0.4])
    assert client.get("/today?charge_attic=40").status_code == 422


def test_a_reserve_in_volts_stays_unless_percent_are_typed(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"][0]["reserve_v"] = 3.2
    client = client_of(small_house)
    page = soup(client.get("/today?charge=80&reserve=&sky=none"))
    assert "3.2 V per cell reserve" in sentence(page)
    assert "your 40 % reserve" in sentence(soup(client.get("/today?charge=80&reserve=40&sky=none")))


def test_a_bank_that_lasts_says_so_plainly(client: Client) -> None:
    bright = ",".join(["bright"] * 10)
    query = f"at=2026-06-01T06:00&charge=95&sky={bright}"
    assert client.get(f"/today.json?{query}").json()["hours_to_reserve"] is None
    page = soup(client.get(f"/today?{query}"))
    assert sentence(page) == (
        "It lasts beyond these ten days: the store-room bank does not run out before Thursday, 11 June."
    )


def test_a_bank_at_its_reserve_says_nothing_is_left(client: Client) -> None:
    assert "Nothing is left to use now" in sentence(soup(client.get("/today?charge=10&sky=none")))


def test_an_empty_household_names_the_first_thing_to_enter(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house |= {"banks": [], "loads": []}
    client = client_of(small_house)
    for path in ("/today", "/size", "/week"):
        response = client.get(path)
        page = soup(response)
        assert response.status_code == 200
        assert page.select_one("#answer .empty").get_text().startswith("There is no bank yet")  # type: ignore[union-attr]
        assert page.select_one("#answer a.button")["href"] == "/banks"  # type: ignore[index]
        assert client.get(f"{path}.json").status_code == 422


def test_banks_that_feed_nothing_say_what_to_do(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"][0]["inverter"] = ""
    page = soup(client_of(small_house).get("/today"))
    assert page.select_one("#answer a.button").get_text() == "Join a bank to the inverter"  # type: ignore[union-attr]


def test_a_household_without_loads_is_told_so(client_of: Opener, small_house: dict[str, Any]) -> None:
    page = soup(client_of(small_house | {"loads": []}).get("/today"))
    assert "carries no load yet" in page.select_one(".note").get_text()  # type: ignore[union-attr]


def test_the_other_banks_change_nothing_in_the_first(client_of: Opener, small_house: dict[str, Any]) -> None:
    alone = client_of(small_house).get("/today.json?charge=80&sky=none").json()["banks"][0]
    both = client_of(two_banks(small_house)).get("/today.json?charge=80&sky=none").json()["banks"][0]
    assert alone == both


def test_no_generator_is_named_without_its_caution(client: Client) -> None:
    answer = soup(client.get("/today")).select_one("#answer")
    assert answer is not None
    assert "generator" not in answer.get_text().lower() or "carbon monoxide" in answer.get_text()


def test_inputs_used_link_to_where_they_are_changed(client: Client) -> None:
    page = soup(client.get("/today"))
    assert {str(link["href"]) for link in page.select(".proof .facts a")} == {"/banks", "/inverter", "/loads", "/sun"}


def test_the_clock_decides_now(client: Client, clock: Clock) -> None:
    assert client.get("/today.json").json()["at"] == "2026-11-25T17:30:00+00:00"
    clock.now = NOW + timedelta(hours=1)
    assert client.get("/today.json").json()["at"] == "2026-11-25T18:30:00+00:00"


@pytest.mark.parametrize(
    ("site", "civil", "standard"),
    [
        (BERLIN, "2026-07-01T12:00+02:00", "2026-07-01T11:00"),
        (BERLIN, "2026-12-01T12:00+01:00", "2026-12-01T12:00"),
        (SYDNEY, "2026-01-10T12:00+11:00", "2026-01-10T11:00"),
        (SYDNEY, "2026-07-10T12:00+10:00", "2026-07-10T12:00"),
    ],
)
def test_the_engine_steps_in_standard_time(site: Site, civil: str, standard: str) -> None:
    moment = datetime.fromisoformat(civil)
    assert to_standard(site, moment) == datetime.fromisoformat(standard)
    assert to_civil(site, datetime.fromisoformat(standard)) == moment


def test_a_moment_may_be_said_in_several_ways() -> None:
    now = datetime(2026, 11, 25, 17, 30, tzinfo=UTC)
    assert read_moment("now", now) == now
    assert read_moment("18:00", now) == now.replace(hour=18, minute=0)
    assert read_moment("2026-12-01", now) == datetime(2026, 12, 1, tzinfo=UTC)
    assert read_moment("2026-12-01 06:15", now) == read_moment("2026-12-01T06:15", now)


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("15 June 2027", "2027-06-15T00:00"),
        ("15 Jun 2027 14:30", "2027-06-15T14:30"),
        ("15th of June 2027", "2027-06-15T00:00"),
        ("15th June 2027, 2:30 pm", "2027-06-15T14:30"),
        ("June 15, 2027 at 9:05", "2027-06-15T09:05"),
        ("Tuesday 15 june 2027 14:30", "2027-06-15T14:30"),
        ("14:30, 15 June 2027", "2027-06-15T14:30"),
        ("15.6.2027 14:30", "2027-06-15T14:30"),
        ("15.6.2027 14.30", "2027-06-15T14:30"),
        ("9.05 on 15 June 2027", ""),
        ("9.05, 15 June 2027", "2027-06-15T09:05"),
        ("2027-06-15 6.30 pm", "2027-06-15T18:30"),
        ("15.6.2027 14.5", ""),
        ("15.6.2027 14,30", ""),
        ("2027-06-15T14.30", ""),
        ("5.6.2027", "2027-06-05T00:00"),
        ("15. Juni 2027", ""),
        ("2027-6-15 14:30", "2027-06-15T14:30"),
        ("2027/06/05", "2027-06-05T00:00"),
        ("15/6/2027", "2027-06-15T00:00"),
        ("6/15/2027 14:30", "2027-06-15T14:30"),
        ("6/6/2027", "2027-06-06T00:00"),
        ("31 June 2027", ""),
        ("15.6.27", ""),
        ("15 June", ""),
        ("13/13/2027", ""),
        ("15 June 2027 late", ""),
    ],
)
def test_a_date_is_read_as_people_write_it_and_refused_as_typed(client: Client, text: str, moment: str) -> None:
    answer = client.get("/today.json", params={"at": text}).json()
    if moment:
        assert answer["at"] == f"{moment}:00+{'01' if moment > '2027-03-28' else '00'}:00"
    else:
        assert answer["errors"]["at"].endswith(f"; got “{text}”.")


@pytest.mark.parametrize("text", ["5/6/2027", "5-6-2027 14:30"])
def test_a_date_that_may_be_two_days_is_asked_back(client: Client, text: str) -> None:
    said = client.get("/today.json", params={"at": text}).json()["errors"]["at"]
    assert f"“{text[:8]}” may be 5 June or 6 May. Write the month as a word, such as 5 June 2027." in said
    page = soup(client.get("/today", params={"at": text}))
    assert page.select_one("#at")["value"] == text  # type: ignore[index]


def test_summer_time_ends_within_the_answer(client_of: Opener, small_house: dict[str, Any]) -> None:
    """Clocks go back on 25 October 2026: hours count true hours, the clock shows one less."""
    small_house["site"]["time_zone"] = "Europe/Berlin"
    answer = client_of(small_house).get("/today.json?at=2026-10-24T18:00&charge=90&sky=none").json()
    ends = datetime.fromisoformat(answer["ends_at"])
    begins = datetime.fromisoformat(answer["at"])
    assert begins.utcoffset() == timedelta(hours=2)
    assert ends.utcoffset() == timedelta(hours=1)
    assert (ends - begins) / timedelta(hours=1) == pytest.approx(answer["hours_to_reserve"], abs=1e-6)


def test_a_dull_day_of_ones_own_that_no_sky_gives_says_where_to_mend_it(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    small_house["sun"]["dull_day_kwh"] = 500.0
    told = {notice["code"]: notice["text"] for notice in client_of(small_house).get("/today.json").json()["notices"]}
    assert told["dull-day-impossible"].startswith("Dull day cannot be 500 kWh: these panels give at most")
    assert told["dull-day-impossible"].endswith("The usual dull day is taken instead; mend it on Sun.")


def test_the_dotted_line_says_what_it_is(client: Client) -> None:
    chart = figure(soup(client.get("/today?charge=60&sky=dull,bright")))
    (note,) = [one for one in chart["layout"]["annotations"] if one["text"] == "if everything stays on"]
    after = trace(chart, "after that")
    assert note["y"] == dict(zip(after["x"], after["y"], strict=True))[note["x"]]


def test_the_name_of_a_flat_dotted_line_stands_away_from_the_end(client: Client) -> None:
    chart = figure(soup(client.get("/today?charge=60&sky=none")))
    (note,) = [one for one in chart["layout"]["annotations"] if one["text"] == "if everything stays on"]
    assert note["x"] == trace(chart, "after that")["x"][-1]
    assert note["xanchor"] == "right"


def test_loads_never_off_are_named_where_the_bank_ends(client_of: Opener, small_house: dict[str, Any]) -> None:
    told = "After that the load you marked never off, Cold room, is without power too."
    assert told in soup(client_of(small_house).get("/today?charge=60&sky=none")).select_one("#answer").get_text()  # type: ignore[union-attr]
    small_house["loads"][0]["never_off"] = False
    assert "never off" not in client_of(small_house).get("/today?charge=60&sky=none").text.split("<table>")[0]
    small_house["loads"][0] |= {"never_off": True, "months": [6]}
    assert "marked never off" not in client_of(small_house).get("/today?charge=60&sky=none").text


def test_a_bank_that_lasts_leaves_no_load_without_power(client: Client) -> None:
    bright = ",".join(["bright"] * 10)
    assert "marked never off" not in client.get(f"/today?at=2026-06-01T06:00&charge=95&sky={bright}").text


def test_every_lever_is_a_change_in_the_table(client: Client) -> None:
    page = soup(client.get("/today?charge=60&sky=none"))
    table = page.select_one(".two table")
    assert table is not None
    assert table.select_one("thead th").get_text() == "Change"  # type: ignore[union-attr]
    levers = client.get("/today.json?charge=60&sky=none").json()["banks"][0]["levers"]
    worth = [one["name"] for one in levers if one["gained_h"] is None or one["gained_h"] >= 0.05]
    assert worth
    assert [row.get_text().strip() for row in table.select("tbody th")] == worth


def test_without_a_tick_the_levers_say_where_to_set_one(client_of: Opener, small_house: dict[str, Any]) -> None:
    hint = "Tick on Loads what can wait or be switched off, and it is listed here."
    assert hint not in soup(client_of(small_house).get("/today?charge=60&sky=none")).get_text()
    small_house["loads"][1]["can_shed"] = False
    page = soup(client_of(small_house).get("/today?charge=60&sky=none"))
    assert hint in page.get_text()
    assert page.select_one(".two a")["href"] == "/loads"  # type: ignore[index]


@pytest.mark.parametrize(
    ("query", "hours"),
    [("charge=20&sky=none", (48.0, 48.0)), ("charge=100&sky=none", (60.0, 240.0))],
)
def test_the_chart_shows_a_day_and_a_half_past_the_range(
    client: Client, query: str, hours: tuple[float, float]
) -> None:
    answer = client.get(f"/today.json?{query}").json()
    chart = figure(soup(client.get(f"/today?{query}")))
    first, last = (datetime.fromisoformat(moment) for moment in chart["layout"]["xaxis"]["range"])
    span = (last - first).total_seconds() / 3600
    assert hours[0] <= span + 1.0
    assert span <= hours[1]
    wanted = max(48.0, answer["high_hours"] + 36.0)
    assert span == pytest.approx(min(wanted, 240.0, answer["horizon_h"]), abs=1.0)


def test_a_bank_whose_better_end_lasts_shows_every_day(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["loads"] = [{"id": "a", "name": "A", "kind": "steady", "values": {"power_w": 150.0}}]
    client = client_of(small_house)
    query = "charge=60&at=2026-11-25T06:00&sky=" + ",".join(["dull"] * 10)
    answer = client.get(f"/today.json?{query}").json()
    assert answer["hours_to_reserve"] is not None
    assert answer["high_hours"] is None
    first, last = (
        datetime.fromisoformat(moment)
        for moment in figure(soup(client.get(f"/today?{query}")))["layout"]["xaxis"]["range"]
    )
    assert (last - first).total_seconds() / 3600 == pytest.approx(answer["horizon_h"], abs=0.01)


@pytest.mark.parametrize("at", ["2026-06-01T06:00", "2026-06-01T15:00"])
def test_days_ahead_are_the_days_listed(client: Client, at: str) -> None:
    bright = ",".join(["bright"] * 10)
    page = soup(client.get(f"/today?at={at}&charge=95&sky={bright}"))
    assert len(page.select(".answered li")) == 10
    assert "beyond these ten days" in sentence(page)
    assert "in these 10 days" in page.select_one(".figures").get_text()  # type: ignore[union-attr]
    assert "Mon 1 Jun to " in page.select_one("figcaption").get_text()  # type: ignore[union-attr]


def test_the_range_says_what_its_ends_are(client: Client) -> None:
    text = soup(client.get("/today?charge=60&sky=dark,dull")).select_one(".range").get_text()  # type: ignore[union-attr]
    assert "and each day as dark or as bright as its word allows" in text


def test_a_stop_stands_before_the_sentence(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"][0]["series"] = 18
    client = client_of(small_house)
    for path in ("/today", "/size", "/week"):
        page = soup(client.get(path))
        stops = page.select("#answer .note.stop")
        assert stops, path
        assert all(stop.find_next("h1", class_="sentence") is not None for stop in stops), path


@pytest.mark.parametrize("query", ["", "charge=61.5&reserve=20&sky=dark,dull&at=2026-07-01T18:00"])
def test_the_link_puts_the_question_on_the_sheet(client: Client, query: str) -> None:
    link = soup(client.get(f"/today?{query}")).find("a", string="Put this on the sheet")
    assert link is not None
    sheet = client.get(str(link["href"]).replace("/sheet", "/sheet.json")).json()  # type: ignore[index]
    assert sheet["autonomy"] == client.get(f"/today.json?{query}").json()


def test_small_numbers_are_worked_without_false_digits(client: Client) -> None:
    page = soup(client.get("/today?charge=30&sky=none"))
    shown = [cell.get_text() for cell in page.select(".proof details")[0].select("td.n")]
    assert shown
    assert not [text for text in shown if text.startswith("0.0") and len(text.split("\u00a0")[0]) > 4]


@pytest.mark.parametrize(
    ("query", "told"), [("", True), ("?sky=days&sky=dark&sky=&sky=&sky=&sky=", True), ("?sky=none", False)]
)
def test_why_another_bank_has_other_days_stands_where_a_year_was_chosen_for_it(
    client: Client, query: str, told: bool
) -> None:
    strips = [words(one) for one in soup(client.get(f"/today{query}")).select(".strip")]
    assert any("another year, with other days" in text for text in strips) is told


def test_what_is_spoken_of_an_answer_has_its_low_likely_and_high_hours(client: Client) -> None:
    """The headline may stay the same while the range moves: the live region says all three."""
    page = soup(client.get("/today?charge=60&sky=dull"))
    spoken = page.select_one("#answer [role=status]")
    assert spoken is not None
    found = page.select("#answer table.fan tbody tr")[:3]
    rows = [[" ".join(cell.get_text().split()) for cell in row.select("th, td")][:2] for row in found]
    assert len(rows) == 3
    said = " ".join(spoken.get_text(" ").split())
    for name, hours in rows:
        assert f"{name}: {hours}" in said


FRIDAY_SKY = "charge=80&sky=days&sky=dark&sky=dull&sky=bright&sky=&sky=&first=2026-11-27"


def picked(page: BeautifulSoup) -> list[tuple[str, str]]:
    """Weekday and word of each day of the strip; what was not said is empty."""
    return [
        (str(one["aria-label"]).split(", ")[1], str(one.select_one("option[selected]")["value"]))  # type: ignore[index]
        for one in page.select(".sky.pick select")
    ]


def used(page: BeautifulSoup) -> list[str]:
    """Weekday and word of each day that the answer was worked out with."""
    return [" ".join(one.get_text(" ").split()) for one in page.select("#answer .strip .sky li")]


def test_days_that_were_said_stay_with_their_dates_when_the_moment_moves(client_of: Opener) -> None:
    client = client_of("h.json")
    noon = soup(client.get(f"/today?{FRIDAY_SKY}&at=2026-11-27T12:00"))
    assert picked(noon)[:3] == [("Friday", "dark"), ("Saturday", "dull"), ("Sunday", "bright")]
    evening = soup(client.get(f"/today?{FRIDAY_SKY}&at=2026-11-27T18:00"))
    assert picked(evening)[:3] == [("Saturday", "dull"), ("Sunday", "bright"), ("Monday", "")]
    assert used(evening)[:2] == ["Sat dull", "Sun bright"]
    day_before = soup(client.get(f"/today?{FRIDAY_SKY}&at=2026-11-26T12:00"))
    assert picked(day_before)[:4] == [("Thursday", ""), ("Friday", "dark"), ("Saturday", "dull"), ("Sunday", "bright")]
    assert evening.select_one("form.now input[name=first]")["value"] == "2026-11-28"  # type: ignore[index]
    moved = client.get(f"/today.json?{FRIDAY_SKY}&at=2026-11-27T18:00").json()["sky_days"]
    assert [day[:2] for day in moved[:2]] == [["2026-11-28", "dull"], ["2026-11-29", "bright"]]
    unsaid = client.get("/today.json?charge=80&sky=dark,dull&at=2026-11-27T18:00").json()["sky_days"]
    assert [day[:2] for day in unsaid[:2]] == [["2026-11-28", "dark"], ["2026-11-29", "dull"]]


def test_all_days_over_are_those_of_other_years_and_kwh_stay_with_their_dates_too(client_of: Opener) -> None:
    client = client_of("h.json")
    over = soup(client.get(f"/today?{FRIDAY_SKY}&at=2026-12-05T12:00"))
    assert {word for _, word in picked(over)} == {""}
    asked = "/today?charge=80&sky=kwh:1.5,0.8&first=2026-11-27&at=2026-11-2"
    assert soup(client.get(f"{asked}7T18:00")).select_one("#kwh")["value"] == "0.8"  # type: ignore[index]
    assert soup(client.get(f"{asked}6T12:00")).select_one("#kwh")["value"] == "usual, 1.5, 0.8"  # type: ignore[index]


def test_the_days_go_to_switch_off_with_their_dates_and_are_named_there(client_of: Opener) -> None:
    client = client_of("h.json")
    page = soup(client.get(f"/off?{FRIDAY_SKY}&at=2026-11-27T18:00"))
    assert page.select_one("#sky option[selected]").get_text() == "As typed: Sat dull, Sun bright"  # type: ignore[union-attr]
    assert page.select_one("input[name=first]")["value"] == "2026-11-28"  # type: ignore[index]
    assert used(page)[:2] == ["Sat dull", "Sun bright"]
    for href in [str(one["href"]) for one in page.select("#answer a[href^='/today?']")]:
        assert "first=2026-11-28" in href


def test_a_date_of_the_first_day_that_is_none_is_one_sentence(client: Client) -> None:
    page = client.get("/today?charge=80&sky=dark,dull&first=soon")
    assert page.status_code == 422
    assert "The date of the first day must be like" in soup(page).select_one("#sky-error").get_text()  # type: ignore[union-attr]


@pytest.mark.parametrize("idle_w", [0.0, 38.0])
def test_less_switched_on_leaves_more_of_what_is_usable_to_the_idle_and_it_says_so(
    client_of: Opener, small_house: dict[str, Any], idle_w: float
) -> None:
    """Without an idle draw the same charge gives a lighter load no less: a lower current loses less on the way."""
    small_house["inverters"][0] |= {"idle_w": idle_w, "k2": 0.0}
    client = client_of(small_house)
    ask = "charge=80&sky=none"
    (all_on,), (less_on,) = (client.get(f"/today.json?{ask}{off}").json()["banks"] for off in ("", "&off=van"))
    assert less_on["load_kwh_per_day"] < all_on["load_kwh_per_day"]
    assert (less_on["usable_now_kwh"] < all_on["usable_now_kwh"]) == (idle_w > 0.0)
    basis = soup(client.get(f"/today?{ask}")).select_one(".figures .basis")
    assert basis is not None
    assert ("the less is on, the longer the inverter’s idle takes its share" in basis.get_text()) == (idle_w > 0.0)


def test_a_remedy_taken_on_today_says_what_it_changed_and_can_be_undone(client: Client) -> None:
    opened = soup(client.get("/banks")).select_one("form[id^=bank-][id$=-form]")
    assert opened is not None
    sent = {
        name: str(opened.select_one(f"input[name={name}]")["value"])  # type: ignore[index]
        for name in ("household", "revision", "mark", "item_id")
    }
    before = client.get("/today.json?charge=70").json()["hours_to_reserve"]
    remedy = sent | {"section": "banks", "value.reserve_soc": "0.3", "what": "Use 30 %", "back": "/today?charge=70"}
    answer = client.post("/apply", remedy)
    assert answer.status_code == 303, answer.text[:200]
    page = soup(client.get(answer.headers["location"]))
    line = page.select_one("#saved-line")
    assert line is not None
    assert "Use 30 %" in line.get_text()
    assert page.select_one("#charge")["value"] == "70"  # type: ignore[index]
    assert client.get("/today.json?charge=70").json()["hours_to_reserve"] != before
    undo = page.select("form[action='/undo'] input")
    back = client.post("/undo", {str(one["name"]): str(one["value"]) for one in undo}).headers["location"]
    undone = soup(client.get(back))
    assert "undid: Use 30 %" in undone.select_one("#saved-line").get_text()  # type: ignore[union-attr]
    assert undone.select_one("#charge")["value"] == "70"  # type: ignore[index]
    assert client.get("/today.json?charge=70").json()["hours_to_reserve"] == before
    assert soup(client.get("/today?charge=70")).select_one("#saved-line") is None


def test_what_a_day_of_each_kind_gives_is_what_sun_says(example: Client) -> None:
    line = soup(example.get("/today?at=2026-11-25T18:00")).find(string=lambda text: "a bright day gives" in text)
    assert line is not None
    row = next(one for one in soup(example.get("/sun")).select("tbody tr") if one.th.get_text() == "November")
    bright, average, dull, dark = (cell.get_text() for cell in row.select("td"))
    said = " ".join(line.split())
    assert said == (
        f"In November a bright day gives about {bright} kWh, an average one {average}, a dull one {dull}, "
        f"a dark one {dark}, before the solar charger."
    )


def test_nothing_is_said_of_days_without_panels(client_of: Callable[..., Client], small_house: dict[str, Any]) -> None:
    small_house["sun"]["arrays"] = []
    assert "a bright day gives" not in client_of(small_house).get("/today").text


def test_nothing_is_said_of_days_where_a_typed_day_cannot_be_in_another_month(
    client_of: Callable[..., Client], small_house: dict[str, Any]
) -> None:
    small_house["sun"]["arrays"][0]["charger_limit_w"] = 1500.0
    small_house["sun"]["clear_day_kwh"] = 16.0  # twelve hours of June, not the eight of December
    client = client_of(small_house)
    answer = client.get("/today?at=2026-06-15T18:00&sky=dark")
    assert answer.status_code == 200
    assert "a bright day gives" not in answer.text
    assert "pass at most" in client.get("/sun").text
