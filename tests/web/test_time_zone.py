"""Time zone on Sun: loosely written names are taken, names of no place are asked back, what is stored stays."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

import pytest
from bs4 import BeautifulSoup

from tests.conftest import Client, form_of, soup
from tests.web.conftest import Opener
from webapp.zone_words import _LETTERS, _OLD, zone_of, zones, zones_meant


def saved_as(client: Client, zone: str) -> tuple[str, BeautifulSoup]:
    """The stored zone after typing one on Sun, and the page that answers."""
    sent = form_of(soup(client.get("/sun")), "site-form") | {"time_zone": zone}
    page = soup(client.post("/sun/site", sent))
    return client.document()["site"]["time_zone"], page


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("new york", "America/New_York"),
        ("New York", "America/New_York"),
        ("NEWYORK", "America/New_York"),
        ("america/new york", "America/New_York"),
        ("America / Los Angeles", "America/Los_Angeles"),
        ("buenos-aires", "America/Argentina/Buenos_Aires"),
        ("Louisville", "America/Kentucky/Louisville"),
        ("calcutta", "Asia/Calcutta"),
        ("US/Central", "America/Chicago"),
        ("us/pacific", "America/Los_Angeles"),
        ("GB", "Europe/London"),
        ("EST5EDT", "America/New_York"),
        ("UTC", "UTC"),
        ("Etc/GMT+5", "Etc/GMT+5"),
    ],
)
def test_a_city_or_zone_written_loosely_is_taken(client: Client, typed: str, meant: str) -> None:
    assert saved_as(client, typed)[0] == meant


@pytest.mark.parametrize(
    ("typed", "says", "offered"),
    [
        ("EST", "names a clock but no place, and so no summer time", "America/New_York"),
        ("mst", "names a clock but no place", "America/Phoenix"),
        ("CET", "names a clock but no place", "Europe/Berlin"),
        ("york", "Was America/New_York meant?", "America/New_York"),
        ("Amsterdm", "Was Europe/Amsterdam meant?", "Europe/Amsterdam"),
        ("america/arg", "America/Argentina/Salta", "America/Argentina/Salta"),
    ],
)
def test_what_may_be_meant_is_asked_back_and_taken_by_one_click(
    client: Client, typed: str, says: str, offered: str
) -> None:
    before = client.document()["site"]["time_zone"]
    stored, page = saved_as(client, typed)
    assert stored == before
    said = page.find(id="site-time_zone-error")
    assert said is not None
    assert typed in said.get_text()
    assert says in said.get_text()
    button = page.find("button", attrs={"name": "instead.time_zone", "value": offered})
    assert button is not None
    sent = form_of(page, "site-form") | {"instead.time_zone": offered}
    client.post("/sun/site", sent)
    assert client.document()["site"]["time_zone"] == offered


@pytest.mark.parametrize("typed", ["Boston", "Factory", "localtime", "UTC+2", "٣", "/", "Mars/Base"])
def test_what_is_no_zone_is_refused_with_what_to_type(client: Client, typed: str) -> None:
    before = client.document()["site"]["time_zone"]
    stored, page = saved_as(client, typed)
    assert stored == before
    assert page.find(id="site-time_zone-error") is not None


def test_a_document_keeps_the_zone_it_has(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["site"]["time_zone"] = "EST"
    client = client_of(small_house)
    assert client.get("/today").status_code == 200
    sent = form_of(soup(client.get("/sun")), "site-form") | {"latitude_deg": "41"}
    assert client.post("/sun/site", sent).status_code == 303
    assert (client.document()["site"]["time_zone"], client.document()["site"]["latitude_deg"]) == ("EST", 41)


def test_an_old_name_is_the_same_clock_as_the_place_it_is_taken_for() -> None:
    """The rules of the data base itself: offsets through 2025 are alike."""
    hours = [datetime(2025, month, 15, 12) for month in range(1, 13)]
    for old, place in _OLD.items():
        assert old in available_timezones(), old
        assert [one.replace(tzinfo=ZoneInfo(old)).utcoffset() for one in hours] == [
            one.replace(tzinfo=ZoneInfo(place)).utcoffset() for one in hours
        ], old
        assert zone_of(old) == place
    for places in _LETTERS.values():
        assert set(places) <= set(zones())


def test_every_zone_is_itself_and_no_text_breaks_the_offers() -> None:
    assert all(zone_of(zone) == zone for zone in zones())
    for text in ("(", "[a", "\\", "*", "a" * 80, "é", "\x00"):
        assert isinstance(zones_meant(text), tuple)
