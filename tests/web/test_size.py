"""Bank size: the sentence, the own bank, the point where more bank no longer helps, and bad questions."""

from __future__ import annotations

import copy
import itertools
import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from bs4 import BeautifulSoup

from engine.answers.sizing import sizing
from engine.errors import InputError
from engine.house import household
from engine.sky.averages import darkest_month
from engine.sky.climate import presets
from tests.conftest import Client, soup
from webapp.dull_days import read_sky, skies_by_days, usual_spell

LIVE = {"HX-Request": "true", "HX-Request-Type": "partial"}
Opener = Callable[[str | dict[str, Any] | None], Client]


def words(page: BeautifulSoup, selector: str) -> str:
    found = page.select_one(selector)
    assert found is not None
    return " ".join(found.get_text().split())


def sunny(small_house: dict[str, Any], kwp: float = 14.0) -> dict[str, Any]:
    """The small household under a roof that gives a little more than is used in December."""
    house = copy.deepcopy(small_house)
    house["sun"]["arrays"][0]["kwp"] = kwp
    return house


# By hand: 12 kWh / 0.93 + 0.96 kWh idle - 3 kWh x 95 % = 11.01 kWh a day, three days 33.0 kWh; window 90 to
# 20 % of ideal cells: 33.0 / 0.7 = 47.2 kWh; cells of 16 x 280 Ah x 3.2 V = 14.34 kWh: 4 strings.
def test_story_five_by_hand(client_of: Opener) -> None:
    answer = client_of("story5.json").get("/size.json?days=3").json()
    assert round(answer["usable_kwh"], 1) == 33.0
    assert round(answer["label_kwh"], 1) == 47.2
    assert answer["strings"] == 4


def test_the_sentence_and_the_own_bank(client_of: Opener) -> None:
    page = soup(client_of("story5.json").get("/size?days=3&month=12"))
    assert words(page, ".sentence") == (
        "Three dull days in December ask for 33 kWh usable at the terminals: 57 kWh on the label, "
        "4 strings of 16 cells."
    )
    assert words(page, ".range") == "Yours, 1 string, holds 10 kWh usable there and carries about 0.91 such days."


def test_one_day_is_said_in_the_singular(client_of: Opener) -> None:
    page = soup(client_of("story5.json").get("/size?days=1&sky=none"))
    assert words(page, ".sentence").startswith("One day without sun in December asks for")


def test_days_never_ask_for_less(client: Client) -> None:
    for month in range(1, 13):
        rows = client.get(f"/size.json?month={month}").json()["rows"]
        for name in ("usable_kwh", "label_kwh", "strings"):
            values = [row[name] for row in rows]
            assert values == sorted(values), (month, name)


def test_short_panels_are_said_with_their_kwh(client_of: Opener) -> None:
    client = client_of("story5.json")
    short = client.get("/size.json?days=3&month=12").json()["panels_short_kwh"]
    assert short > 0
    page = soup(client.get("/size?days=3&month=12"))
    assert [link["href"] for link in page.select(".panels.short a.press")] == ["/sun", "/loads"]
    text = words(page, ".panels.short")
    assert text.startswith("The panels are short")
    assert f"{short:.2g} kWh too little every day" in text


def test_the_point_where_more_bank_no_longer_helps(client_of: Opener, small_house: dict[str, Any]) -> None:
    client = client_of(sunny(small_house))
    answer = client.get("/size.json?month=12").json()
    assert answer["panels_short_kwh"] == 0
    page = soup(client.get("/size?month=12"))
    text = words(page, ".panels")
    assert "short" not in text
    assert not page.select(".panels a")
    figure = json.loads(str(page.select_one("[data-figure]")["data-figure"]))  # type: ignore[index]
    hatched = [trace for trace in figure["data"] if trace["name"] == "not refilled"]
    if answer["useful_limit_days"] is None:
        assert "refill every bank" in text
        assert hatched == []
    else:
        assert "more bank no longer helps" in text
        assert hatched[0]["x"][0] == answer["useful_limit_days"] - 0.5


def test_the_table_equals_the_answer_and_the_chart(client: Client) -> None:
    page = soup(client.get("/size?days=2"))
    answer = client.get("/size.json?days=2").json()
    figure = json.loads(str(page.select_one("[data-figure]")["data-figure"]))  # type: ignore[index]
    drawn = {trace["name"]: trace["y"] for trace in figure["data"]}
    rows = [[cell.get_text() for cell in row.select("td")] for row in page.select(".chart tbody tr")][:7]
    for place, (row, cells) in enumerate(zip(answer["rows"], rows, strict=True)):
        assert [float(cell) for cell in cells] == [row["days"], round(row["label_kwh"], 1), round(row["usable_kwh"], 1)]
        assert drawn["label"][place] == pytest.approx(row["label_kwh"], abs=0.001)
        assert drawn["usable"][place] == pytest.approx(row["usable_kwh"], abs=0.001)
    assert set(drawn["your bank, usable"]) == {round(answer["own_usable_kwh"], 3)}
    asked = page.select_one("table.sizes tr.asked")
    assert asked is not None
    assert asked.select_one("th").get_text() == "2"  # type: ignore[union-attr]


def test_more_strings_than_the_sum_is_said(client_of: Opener, small_house: dict[str, Any]) -> None:
    """A board that lets little current through makes the hours ask for more than the days do."""
    small_house["banks"][0]["board"]["current_limit_a"] = 10.0
    small_house["loads"][0]["values"]["power_w"] = 1500.0
    client = client_of(small_house)
    answer = client.get("/size.json?days=1&sky=none").json()
    bank = household.read(small_house).banks[0]
    by_sum = -(-answer["label_kwh"] // (bank.label_kwh / bank.parallel))
    assert answer["strings"] > by_sum
    told = [note.get_text() for note in soup(client.get("/size?days=1&sky=none")).select(".note")]
    assert any(f"By the sum of the days {by_sum:.0f} string" in text for text in told)
    rows = soup(client.get("/size?days=1&sky=none")).select("table.sizes tbody tr")
    assert answer["rows"][0]["strings_by_kwh"] == by_sum
    for row, shown in zip(answer["rows"], rows, strict=True):
        why = shown.select_one("[data-label^=strings] small")
        assert (row["strings"] > row["strings_by_kwh"]) == (why is not None)
    first = rows[0].select_one("[data-label^=strings] small")
    assert first is not None
    fewer = answer["strings"] - 1
    assert first.get_text().startswith(f"{by_sum:.0f} by the kWh alone; {fewer} string")
    assert first.get_text().endswith("may not give the current")


def test_where_the_label_goes_ends_at_the_sockets(client: Client) -> None:
    page = soup(client.get("/size?days=3"))
    rows = [
        (row.select_one("th").get_text(), row.select("td")[-1].get_text()) for row in page.select(".steps tbody tr")
    ]  # type: ignore[union-attr]
    assert rows[0][0].startswith("Label")
    assert rows[-1][0].startswith("Usable at the sockets")
    kwh = [float(value) for _, value in rows]
    assert kwh[-1] < kwh[0]
    assert any(label.startswith("Lost inside the cells") for label, _ in rows)


def test_without_days_of_their_own_the_climate_decides(client: Client) -> None:
    assert client.get("/size.json?days=3").json()["sky_title"].startswith("Worst three days of 1 year in 10")
    assert client.get("/size.json?days=5").json()["sky_title"].startswith("Worst week of 1 year in 10")


def test_the_owners_dull_day_goes_first(client_of: Opener) -> None:
    client = client_of("story5.json")
    assert client.get("/size.json").json()["sky_basis"] == "owner's dull day"
    assert client.get("/size.json?sky=own").json() == client.get("/size.json").json()


def test_another_month_than_the_spells_is_said_with_a_remedy(client: Client) -> None:
    page = soup(client.get("/size?days=3&month=6&sky=oceanic_3d_1in1"))
    assert "belong to January; you ask about June" in words(page, ".note.check")
    remedy = page.select_one(".note.check a")
    assert remedy is not None
    mended = soup(client.get(str(remedy["href"])))
    assert not mended.select(".note.check a")
    assert "in January" in words(mended, ".sentence")


def test_the_darkest_month_is_the_usual_one(small_house: dict[str, Any]) -> None:
    house = household.read(small_house)
    assert darkest_month(house.site, house.sun) == 12
    small_house["site"] |= {"latitude_deg": -43.0}
    south = household.read(small_house)
    assert darkest_month(south.site, south.sun) == 6
    small_house["sun"] = {"arrays": []}
    bare = household.read(small_house)
    assert darkest_month(bare.site, bare.sun) == 6


def test_every_climate_has_its_usual_spells(small_house: dict[str, Any]) -> None:
    for climate in ("temperate_maritime", "continental", "subtropical", "monsoon", "humid_tropics"):
        small_house["site"]["climate"] = climate
        home = household.read(small_house)
        assert presets()[usual_spell(home.site, home.sun, 3)].climate == climate
        assert usual_spell(home.site, home.sun, 3).endswith("_3d_1in10")
        assert usual_spell(home.site, home.sun, 4).endswith("_7d_1in10")


def test_own_days_that_are_not_typed_are_refused(small_house: dict[str, Any]) -> None:
    with pytest.raises(InputError, match="no dull day of your own"):
        read_sky("own", household.read(small_house), 12)


@pytest.mark.parametrize("text", ["three", "", "0", "-2", "8", "2.5", "nan", "1e9", "1,234"])
def test_bad_days_are_refused_and_kept(client: Client, text: str) -> None:
    response = client.get("/size", params={"days": text})
    page = soup(response)
    assert response.status_code == 422
    assert page.select_one("#days")["value"] == text  # type: ignore[index]
    assert words(page, ".summary a[href='#days']").startswith("How many days")
    assert client.get("/size", params={"days": text}, headers=LIVE).text.startswith("<ul><li>")


@pytest.mark.parametrize(
    ("name", "text"), [("month", "13"), ("month", ""), ("sky", ""), ("sky", "rain"), ("bank", "attic")]
)
def test_other_bad_questions_are_refused(client: Client, name: str, text: str) -> None:
    errors = client.get("/size.json", params={name: text}).json()["errors"]
    assert list(errors) == [name]


def test_a_month_without_load_says_what_to_enter(client_of: Opener, small_house: dict[str, Any]) -> None:
    page = soup(client_of(small_house | {"loads": []}).get("/size"))
    assert "no load on this bank" in words(page, ".empty")
    assert page.select_one("#answer a.button")["href"] == "/loads"  # type: ignore[index]


def test_cautions_stand_on_the_page(client: Client) -> None:
    text = words(soup(client.get("/size")), ".cautions")
    for caution in ("Mains wiring can kill", "DC arcs", "below 0 °C", "not a listed product", "not an approval"):
        assert caution in text


def chosen(page: BeautifulSoup) -> str:
    option = page.select_one("#sky option[selected]")
    assert option is not None
    return str(option["value"])


@pytest.mark.parametrize("days", [2, 3, 4, 7])
def test_the_usual_spell_follows_the_days_asked(client: Client, days: int) -> None:
    """The form keeps its choice of days while the number of days is typed anew."""
    page = soup(client.get(f"/size?days={days}&month=12"))
    assert chosen(page) == "usual"
    asked = client.get(f"/size.json?days={days}&month=12").json()
    assert client.get(f"/size.json?days={days}&month=12&sky={chosen(page)}").json() == asked
    assert client.get("/size.json?sky=oceanic_3d_1in10&days=4").json() != client.get("/size.json?days=4").json()


@pytest.mark.parametrize("climate", ["oceanic_west", "world"])
def test_a_row_is_the_same_whatever_number_of_days_is_asked(
    client: Client, small_house: dict[str, Any], climate: str
) -> None:
    small_house["site"]["climate"] = climate
    home = household.read(json.dumps(small_house))
    supply = home.supplies()[0]
    rows = []
    for days in (1, 3, 5, 7):
        by_days = skies_by_days("usual", home, 12)
        asked = read_sky(usual_spell(home.site, home.sun, days), home, 12)
        rows.append([row.usable_kwh for row in sizing(home, supply, days, 12, asked, by_days).rows])
    assert rows[0] == rows[1] == rows[2] == rows[3]
    assert len(rows[0]) == 7
    assert rows[0] == sorted(rows[0])
    pages = [client.get(f"/size.json?days={days}&month=12&sky=usual").json()["rows"] for days in (2, 6)]
    assert [row["usable_kwh"] for row in pages[0]] == [row["usable_kwh"] for row in pages[1]]


def test_own_dull_day_taken_unasked_is_said_with_a_way_to_one_year_in_ten(client_of: Opener) -> None:
    client = client_of("story5.json")
    page = soup(client.get("/size?days=3"))
    assert "your own dull day, 3 kWh" in words(page, "#answer")
    link = next(str(a["href"]) for a in page.select("#answer .hint a"))
    assert chosen(soup(client.get(link))) == "usual"
    assert "your own dull day, 3 kWh" in words(soup(client.get("/size?days=4&month=12&sky=own")), "#answer")
    assert "your own dull day" not in words(soup(client.get("/size?days=3&sky=usual")), "#answer .range + *")
    assert "no row asks for less than the one above" in words(page, "#answer")


def test_the_owners_day_stays_the_first_choice(client_of: Opener) -> None:
    assert chosen(soup(client_of("story5.json").get("/size?days=3"))) == "own"


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("days=3&sky=dark", "Three dark days in December ask"),
        ("days=3&sky=dull,dull", "Three dull days in December ask"),
        ("days=1&sky=dark", "One dark day in December asks"),
        ("days=3&sky=dark,dull", "Three such days in December ask"),
        ("days=3&sky=kc:.1,.2", "Three such days in December ask"),
        ("days=3", "Three of the worst days of 1 year in 10 in December ask"),
        ("days=1", "One of the worst days of 1 year in 10 in December asks"),
        ("days=2&sky=oceanic_3d_1in1", "Two of the worst days of a typical year in December ask"),
        ("days=2&sky=none", "Two days without sun in December ask"),
    ],
)
def test_the_sentence_names_the_days_as_they_were_chosen(client: Client, query: str, said: str) -> None:
    assert words(soup(client.get(f"/size?month=12&{query}")), ".sentence").startswith(said)


def test_one_thing_is_never_told_in_the_plural(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"][0]["parallel"] = 1
    small_house["loads"][0]["values"]["power_w"] = 60.0
    small_house["loads"][1]["values"]["distance_km"] = 1.0
    client = client_of(small_house)
    assert client.get("/size.json?days=1&sky=dull").json()["strings"] == 1
    for path in (
        "/size?days=1&sky=dull",
        "/sheet?days=1&spell=dull&charge=60&sky=dark",
        "/today?sky=dark",
        "/week?sky=dark",
    ):
        text = " ".join(soup(client.get(path)).get_text(" ").split())
        assert re.findall(r"(?<![\d.,/])1 (?:strings|cells|days|hours)\b", text) == [], path


def test_worked_counts_are_whole(client_of: Opener) -> None:
    page = soup(client_of("story5.json").get("/size?days=3&month=12"))
    shown = [cell.get_text() for cell in page.select(".proof details")[0].select("td.n")]
    assert "4\u00a0strings" in shown
    assert not [text for text in shown if ".000" in text]


def test_a_spell_from_the_north_says_that_it_is_moved(client_of: Opener, small_house: dict[str, Any]) -> None:
    assert "moved by half a year" not in client_of(small_house).get("/size?month=1&sky=oceanic_3d_1in1").text
    small_house["site"] |= {"latitude_deg": -43.0, "longitude_deg": 171.0, "time_zone": "Pacific/Auckland"}
    client = client_of(small_house)
    asked = soup(client.get("/size?month=12&sky=oceanic_3d_1in1"))
    assert "belong to July (moved by half a year for the south); you ask about December" in words(asked, ".note.check")
    assert ", moved by half a year for the south)" in words(asked, "figcaption small")
    assert "belong to" not in client.get("/size?month=7&sky=oceanic_3d_1in1").text


@pytest.mark.parametrize("query", ["", "days=4&month=2", "days=5&sky=dark,dull&month=11", "days=2&sky=none"])
def test_the_link_puts_the_question_on_the_sheet(client: Client, query: str) -> None:
    asked = soup(client.get(f"/size?{query}"))
    link = asked.find("a", string="Put this on the sheet")
    assert link is not None
    assert [one["href"] for one in asked.select("nav a[href^='/sheet']")] == 2 * [link["href"]]  # type: ignore[index]
    sheet = client.get(str(link["href"]).replace("/sheet", "/sheet.json")).json()  # type: ignore[index]
    assert sheet["sizing"] == client.get(f"/size.json?{query}").json()


@pytest.mark.parametrize(("sky", "said"), [("dull", "Every day dull"), ("kc:0.2", "Every day like the one typed")])
def test_days_that_are_all_alike_are_not_called_one_day(client: Client, sky: str, said: str) -> None:
    assert client.get(f"/size.json?sky={sky}").json()["sky_title"] == said
    for path in (f"/size?sky={sky}", f"/sheet?spell={sky}"):
        text = client.get(path).text
        assert said in text
        assert "One day as typed" not in text


def test_a_bank_for_more_days_is_never_smaller_nor_emptied_less(client_of: Opener) -> None:
    """Hour by hour the worst five days of this house ask for a second string; its worst six and seven alone do not."""
    client = client_of("flooded_24v.json")
    for month in (5, 6, 7):
        rows = client.get(f"/size.json?month={month}&days=4").json()["rows"]
        assert len(rows) == 7
        for name in ("usable_kwh", "label_kwh", "whole_label_kwh", "strings"):
            values = [row[name] for row in rows]
            assert values == sorted(values), (month, name)
        for one, next_one in itertools.pairwise(rows):
            if one["strings"] == next_one["strings"]:
                assert next_one["lowest_soc"] <= one["lowest_soc"] + 1e-9, month
    assert client.get("/size.json?month=6&days=6").json()["strings"] == 2


def test_the_own_bank_carries_no_days_that_ask_for_more_strings_than_it_has(client_of: Opener) -> None:
    answer = client_of("flooded_24v.json").get("/size.json?month=6&days=4").json()
    carried = [row["days"] for row in answer["rows"] if row["strings"] <= answer["own_strings"]]
    assert answer["own_usable_kwh"] > answer["rows"][-1]["usable_kwh"]
    assert answer["own_days"] == max(carried) == 4


def test_a_bank_that_such_days_do_not_empty_is_said_to_hold_more(client_of: Opener) -> None:
    """May's days give less than is used, so the panels are not why: 2.9 kWh a day against about 1."""
    client = client_of("flooded_24v.json")
    answer = client.get("/size.json?month=5&days=3").json()
    assert answer["own_days"] is None
    assert answer["dull_yield_kwh"] < answer["daily_load_kwh"]
    text = words(soup(client.get("/size?month=5&days=3")), ".range")
    assert text.endswith("such days do not empty it, because it holds more than they ask for.")


def test_which_spell_stands_in_for_the_days_asked_is_said(client_of: Opener) -> None:
    client = client_of("flooded_24v.json")
    page = soup(client.get("/size?month=6&days=4"))
    assert words(page, ".range + .hint") == (
        "Four days are taken as the darkest four in a row of the worst five days of 1 year in 10. The worst three in a "
        "row ask for more, and a bank for four must carry that, too: the answer is that of three."
    )
    three, four = client.get("/size.json?month=6&days=4").json()["rows"][2:4]
    assert (four["usable_kwh"], four["hardest_days"]) == (three["usable_kwh"], 3)
    assert page.select_one("figcaption small").get_text().startswith("Worst five days")  # type: ignore[union-attr]
    assert not soup(client.get("/size?month=6&days=3")).select(".range + .hint")
    one = words(soup(client.get("/size?month=6&days=1&sky=made_3d_1in10")), ".range + .hint")
    assert one == "One day is taken as the darkest of the worst three days of 1 year in 10."
    five = words(soup(client.get("/size?month=6&days=5&sky=made_3d_1in10")), ".range + .hint")
    assert "the worst three days of 1 year in 10, and after them days like their mean" in five


def test_the_label_of_the_headline_is_that_of_whole_strings(client_of: Opener) -> None:
    """By hand: 4 strings of 16 cells of 280 Ah at 3.2 V are 57.3 kWh, of which 47.2 are asked."""
    client = client_of("story5.json")
    answer = client.get("/size.json?days=3&month=12").json()
    assert answer["whole_label_kwh"] == pytest.approx(4 * 16 * 280 * 3.2 / 1000)
    page = soup(client.get("/size?days=3&month=12"))
    assert "57 kWh on the label, 4 strings" in words(page, ".sentence")
    assert words(page, "table.sizes tr.asked td[data-label^=strings]") == "4 (57.3)"
    assert words(page, ".steps tbody tr td.n:last-child").startswith("57.3")


def test_the_kwh_of_an_average_day_say_on_which_side_of_the_charger_they_are(client_of: Opener) -> None:
    """Sun tells an average December day before the solar charger, Bank size behind it: the charger is between them."""
    client = client_of("story5.json")
    behind_kwh = client.get("/size.json?days=3&month=12").json()["average_yield_kwh"]
    assert "counted behind the solar charger (Sun counts before it)" in words(
        soup(client.get("/size?month=12&days=3")), ".panels"
    )
    december = soup(client.get("/sun")).select("table.months tbody tr")[11].find_all("td")
    assert behind_kwh == pytest.approx(float(december[1].get_text()) * 0.95, abs=0.06)


def test_days_that_ask_for_no_bank_are_a_row_of_nothing_before_those_that_do(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    """Two hours at noon on 25 kWp: only a day of 3 % of the clear sky draws on a bank, for 400 W over two hours."""
    small_house["inverters"][0]["idle_w"] = 0.0
    small_house["sun"]["arrays"][0]["kwp"] = 25.0
    noon = {"power_w": 400.0, "start_h": 12.0, "run_h": 2.0}
    small_house["loads"] = [{"id": "noon", "name": "Noon", "kind": "timed", "measured": "battery", "values": noon}]
    spell = {"after_kc": [0.5] * 4, "month": 12, "ended": "2010-12-20", "years": 20}
    small_house["sun"]["spells"] = [
        spell | {"id": "own_3d_1in10", "title": "Worst 3 days of 1 year in 10", "kc": [0.15] * 3},
        spell | {"id": "own_7d_1in10", "title": "Worst 7 days of 1 year in 10", "kc": [0.3, 0.3, 0.03] + [0.3] * 4},
    ]
    client = client_of(small_house)
    answer = client.get("/size.json?days=7&month=12").json()
    assert [row["strings"] for row in answer["rows"]] == [0, 0, 0, 1, 1, 1, 1]
    assert {row["usable_kwh"] for row in answer["rows"][:3]} == {0.0}
    assert 0.0 < answer["usable_kwh"] <= 0.8 + 1e-9
    rows = soup(client.get("/size?days=7&month=12")).select("table.sizes tbody tr")
    assert [row.th.get_text() for row in rows] == list("1234567")
    for page in ("/sheet", "/sheet.json"):
        assert client.get(f"{page}?days=7&month=12").status_code == 200
        assert "no bank is asked for" in client.get(f"{page}?days=3&month=12").text
    assert client.get("/size.json?days=3&month=12").status_code == 422
