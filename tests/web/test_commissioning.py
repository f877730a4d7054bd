"""Commissioning: the page is its JSON, stops come first, there is room for a pen, nothing is approved."""

from __future__ import annotations

import re
from typing import Any

from tests.conftest import Client, soup
from tests.web.conftest import Opener


def text_of(node: Any) -> str:
    return " ".join(node.get_text(" ").replace("\u00a0", " ").split())


def test_every_row_is_the_json(client_of: Opener) -> None:
    three = client_of("three_banks.json")
    told = three.get("/commissioning.json?month=12").json()["banks"]
    cards = soup(three.get("/commissioning?month=12")).select(".setting-card")
    assert len(cards) == len(told) == 3
    volts = 0
    for card, bank in zip(cards, told, strict=True):
        rows = card.select("tbody tr")
        assert [text_of(row.th) for row in rows] == [one["label"] for one in bank["rows"]]
        for row, one in zip(rows, bank["rows"], strict=True):
            cells = [text_of(cell) for cell in row.select("td")]
            if one["pack_v"] is not None:
                volts += 1
                assert cells[0] == f"{one['pack_v']:.1f} V"
                assert cells[1] == f"{one['cell_v']:.2f} V"
            if one["unit"] == "°C":
                expected = "–" if one["value"] is None else f"{one['value']:.0f} °C".replace("-", "−")
                assert cells[0] == expected
            assert cells[3].lower() == f"{one['why']}.".lower()
            assert cells[4:] == ["", ""]
    assert volts == 15


def test_a_stop_stands_before_the_sentence(client_of: Opener) -> None:
    page = soup(client_of("three_banks.json").get("/commissioning")).select_one("#answer")
    assert "Do not switch on" in text_of(page.h1)
    first = page.select_one(".note.stop")
    assert first is not None
    assert first in page.h1.find_all_previous()
    assert "not stated: ask the maker" in text_of(page).lower()


def test_what_is_set_otherwise_now_is_marked(client: Client, small_house: dict[str, Any]) -> None:
    told = client.get("/commissioning.json").json()["banks"][0]["rows"]
    apart = [one for one in told if one["now"] and one["pack_v"] and abs(one["now"] - one["pack_v"]) > 0.05]
    rows = soup(client.get("/commissioning")).select(".setting-card tbody tr")
    marked = [text_of(row.th) for row in rows if row.select_one("b")]
    assert apart
    assert marked == [one["label"] for one in apart]


def test_the_loads_of_a_month_move_the_volts_under_load(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["loads"][0]["months"] = [12]
    client = client_of(small_house)

    def reserve(month: int) -> float:
        rows = client.get(f"/commissioning.json?month={month}").json()["banks"][0]["rows"]
        return float(next(one["pack_v"] for one in rows if one["key"] == "reserve"))

    assert reserve(12) < reserve(6)


def test_bad_input_and_an_empty_household(client_of: Opener, client: Client, small_house: dict[str, Any]) -> None:
    assert client.get("/commissioning?month=0").status_code == 422
    assert client.get("/commissioning.json?month=0").status_code == 422
    small_house["banks"] = []
    assert "There is no bank yet" in client_of(small_house).get("/commissioning").text


def test_it_approves_nothing(client: Client) -> None:
    text = text_of(soup(client.get("/commissioning")))
    assert "approved" not in text.lower()
    assert "the makers’ sheets rule" in text


def test_a_house_without_a_stop_has_nothing_against_it(client_of: Opener, small_house: dict[str, Any]) -> None:
    assert "Nothing found stands" in text_of(soup(client_of(small_house).get("/commissioning")).h1)


def test_a_cable_without_a_fuse_holds_everything_up(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"][0]["wiring"] = {"main": {"length_m": 2.0, "area_mm2": 70.0}}
    page = soup(client_of(small_house).get("/commissioning")).select_one("#answer")
    assert "Do not switch on anything yet" in text_of(page.h1)
    assert "has no fuse" in text_of(page.select_one(".note.stop"))


def test_lead_acid_volts_stand_for_25_degrees_and_for_now_and_a_long_hold_in_hours(client_of: Opener) -> None:
    """12 × 2.4 V = 28.8 V at 25 °C; at 12 °C 13 K × 4 mV more in each cell: 29.4 V."""
    page = soup(client_of("flooded_24v.json").get("/commissioning"))
    labels = [row.get_text() for row in page.select("th[scope=row]")]
    assert "Absorption, at 25 °C; now 29.4 V" in labels
    hold = next(row.parent for row in page.select("th[scope=row]") if row.get_text() == "Hold, at most")
    value = hold.select_one("td.value")
    assert value is not None
    assert re.fullmatch(r"\d+\s?h\s\d+\s?min", value.get_text().replace("\u00a0", " "))
