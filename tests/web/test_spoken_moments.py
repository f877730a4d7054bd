"""Moments to come as people say them: a weekday, tomorrow, noon; what may be two is asked back."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from engine.errors import InputError
from tests.conftest import Client, soup
from webapp.questions import read_coming

WEDNESDAY = datetime(2026, 11, 25, 17, 30, tzinfo=UTC)


# By the calendar of 2026: 25 November is a Wednesday.
@pytest.mark.parametrize(
    ("text", "day", "hour"),
    [
        ("Sunday 8 am", 29, 8),
        ("sun. at 8:00", 29, 8),
        ("Wednesday 18:00", 25, 18),
        ("Thurs noon", 26, 12),
        ("tomorrow 18:00", 26, 18),
        ("tonight 10 pm", 25, 22),
        ("noon", 25, 12),
        ("midnight", 26, 0),
        ("today", 25, 17),
        ("6 pm", 25, 18),
    ],
)
def test_a_moment_to_come_is_read_as_it_is_said(text: str, day: int, hour: int) -> None:
    found = read_coming(text, WEDNESDAY)
    assert (found.month, found.day, found.hour) == (11, day, hour)


def test_a_weekday_whose_time_is_over_today_is_that_of_next_week() -> None:
    assert read_coming("Wednesday 8 am", WEDNESDAY).date().isoformat() == "2026-12-02"


@pytest.mark.parametrize("text", ["Sunday", "tonight", "tomorrow", "Sunday midnight", "Sunday 8", "tomorrow 25:00"])
def test_what_is_unclear_is_asked_back_on_the_page(client: Client, text: str) -> None:
    with pytest.raises(InputError):
        read_coming(text, WEDNESDAY)
    answer = client.get("/off", params={"charge": "80", "until": text})
    assert answer.status_code == 422
    said = soup(answer).select_one("#until-error")
    assert said is not None
    assert text in said.get_text()
    assert "to last until" in said.get_text().replace("To", "to")


def test_until_is_shown_as_the_app_writes_moments(client: Client) -> None:
    shown = str(soup(client.get("/off?charge=80")).select_one("#until")["value"])  # type: ignore[index]
    assert datetime.strptime(shown, "%d %b %Y %H:%M").year == 2026
    assert client.get("/off", params={"charge": "80", "until": "tomorrow 8 am"}).status_code == 200
