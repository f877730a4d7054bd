"""The made-up log: said to be made up wherever it counts, read in one click, and the page finds its faults."""

from __future__ import annotations

import csv
import io
from datetime import date
from typing import Any

import pytest

from engine.errors import Unreachable
from engine.house import household
from tests.conftest import Client, soup
from tests.web.conftest import Opener
from webapp import log_example


def text_of(page: Any) -> str:
    return " ".join(page.get_text(" ").replace("\u00a0", " ").split())


def test_an_empty_log_offers_one_and_one_click_takes_it_in(client: Client) -> None:
    page = soup(client.get("/log"))
    assert page.select_one("form[action='/log/example'] button")
    assert "nobody measured it" in text_of(page)
    assert client.post("/log/example", {}).headers["Location"] == "/log"
    after = soup(client.get("/log"))
    assert "Made-up log" in text_of(after)
    assert "The log holds a made-up log, which nobody measured" in text_of(after)
    assert after.select_one("form[action='/log/example']") is None
    for path in ("/log/compared", "/log/learn"):
        assert "The log holds a made-up log, which nobody measured" in text_of(soup(client.get(path)))


def test_what_the_page_finds_is_what_was_put_in(client: Client) -> None:
    client.post("/log/example", {})
    told = client.get("/log/compared.json").json()
    (load,) = [one for one in told["loads"] if one["side"] == "sockets"]
    assert 1.0 + load["errors"]["bias_share"] == pytest.approx(log_example.MORE_LOAD, abs=0.06)


def test_the_file_says_that_it_is_made_up_and_is_the_same_each_time(client: Client) -> None:
    reply = client.get("/log/example.csv")
    lines = reply.text.splitlines()
    assert lines[0].startswith("# Made up by Greyspell")
    assert reply.content == client.get("/log/example.csv").content
    rows = list(csv.reader(io.StringIO("\n".join(lines[1:]))))
    assert all(log_example.MARK in name for name in rows[0][1:])
    assert len(rows) == 1 + 24 * log_example.DAYS
    charge = [float(row[3]) for row in rows[1:]]
    assert 0.0 <= min(charge) <= max(charge) <= 100.0


def test_without_a_joined_bank_it_says_what_is_lacking(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"] = []
    client = client_of(small_house)
    with pytest.raises(Unreachable):
        log_example.log(household.read(small_house), date(2026, 3, 2))
    for reply in (client.post("/log/example", {}), client.get("/log/example.csv")):
        assert reply.status_code == 422
        assert soup(reply).select_one(".summary")


@pytest.mark.parametrize(("time_zone", "said"), [("Europe/Dublin", True), ("Asia/Manila", False)])
def test_days_of_standard_time_are_said_where_the_clock_has_another(
    client_of: Opener, small_house: dict[str, Any], time_zone: str, said: bool
) -> None:
    small_house["site"]["time_zone"] = time_zone
    client = client_of(small_house)
    client.post("/log/example", {})
    for path in ("/log/compared", "/log/learn"):
        assert ("midnight of standard (winter) time" in text_of(soup(client.get(path)))) is said
