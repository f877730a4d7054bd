"""What Today says of days that nobody said: made or measured, how many years, and that few years tell no tenth."""

from __future__ import annotations

import re

import pytest

from tests.conftest import Client, soup
from tests.web.bringing import RECORDS
from tests.web.sun_files import kc_of_years, radiation

ASKED = "charge=60&at=2026-11-25%2018:00"


def said(client: Client, query: str) -> str:
    found = soup(client.get(f"/today?{query}")).select_one("#answer .range")
    assert found is not None
    return " ".join(found.get_text().split())


def record(client: Client, years: int) -> str:
    """Query that asks for the years of a record, which is read in first."""
    RECORDS.read_so(client, radiation(kc_of_years(years)), "Hilltop.csv")
    (choice,) = soup(client.get("/today")).select("#skies option[value^=file-]")
    return f"{ASKED}&skies={choice['value']}"


def test_made_years_are_called_made(client: Client) -> None:
    text = said(client, ASKED)
    assert "from the dullest tenth to the brightest tenth of 30 made years of this place" in text
    assert "they are made from monthly means, not a forecast" in text
    assert "measured" not in text


def test_measured_years_are_called_measured(client: Client) -> None:
    text = said(client, record(client, 14))
    assert re.search(r"from the dullest tenth to the brightest tenth of 1[2-4] measured years of your sun record", text)
    assert "they are your sun record’s, not a forecast" in text
    assert "made" not in text


def test_few_years_are_told_as_all_of_them(client: Client) -> None:
    text = said(client, record(client, 6))
    assert re.search(r"as in any of the only [4-6] measured years of your sun record", text)
    assert "tenth of" not in text


@pytest.mark.parametrize("days", ["dark,dull", "dark,usual,bright"])
def test_days_said_are_yours_and_the_others_the_years(client: Client, days: str) -> None:
    text = said(client, f"{ASKED}&sky={days}")
    assert "the other days from the dullest tenth to the brightest tenth of 30 made years" in text
    assert "The days are yours, not a forecast: 2 days as typed." in text
    assert "Nobody has said" not in text


def test_low_likely_and_high_stand_in_their_order(client: Client) -> None:
    page = soup(client.get(f"/today?{ASKED}"))
    assert [row.th.get_text() for row in page.select("#answer .fan tbody tr")] == ["Low", "Likely", "High"]  # type: ignore[union-attr]
    answer = client.get(f"/today.json?{ASKED}").json()
    assert answer["low_hours"] < answer["hours_to_reserve"] < answer["high_hours"]
