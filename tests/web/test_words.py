"""Durations, clock times and energies in words."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest

from webapp import words

NOW = datetime(2026, 11, 25, 21, 0)


@pytest.mark.parametrize(
    ("hours", "text"),
    [
        (0.0, "less than a quarter of an hour"),
        (0.24, "a quarter of an hour"),
        (0.5, "half an hour"),
        (1.0, "1 hour"),
        (1.24, "1¼ hours"),
        (5.9, "6 hours"),
        (23.72, "24 hours"),
        (47.4, "47 hours"),
        (47.6, "2 days"),
        (49.0, "2 days and 1 hour"),
        (75.2, "3 days and 3 hours"),
        (30 * 24 - 1, "29 days and 23 hours"),
        (30 * 24 + 5, "30 days"),
        (8766.0, "365 days"),
        (8768.0, "more than a year"),
    ],
)
def test_duration(hours: float, text: str) -> None:
    assert words.duration(hours) == text


@pytest.mark.parametrize(
    ("clock", "text"),
    [
        ("00:00", "midnight"),
        ("00:40", "one in the morning"),
        ("04:10", "four in the morning"),
        ("11:29", "eleven in the morning"),
        ("12:20", "noon"),
        ("13:00", "one in the afternoon"),
        ("17:43", "six in the evening"),
        ("21:00", "nine in the evening"),
        ("22:31", "eleven at night"),
        ("23:40", "midnight"),
    ],
)
def test_time_of_day_to_the_hour(clock: str, text: str) -> None:
    assert words.clock_time(datetime.fromisoformat(f"2026-11-25 {clock}")) == text


@pytest.mark.parametrize(
    ("clock", "text"),
    [
        ("00:20", "a quarter past twelve at night"),
        ("11:40", "a quarter to twelve in the morning"),
        ("12:47", "a quarter to one in the afternoon"),
        ("20:28", "half past eight in the evening"),
        ("23:52", "a quarter to twelve at night"),
        ("23:53", "midnight"),
    ],
)
def test_time_of_day_to_the_quarter(clock: str, text: str) -> None:
    assert words.clock_time(datetime.fromisoformat(f"2026-11-25 {clock}"), 15) == text


@pytest.mark.parametrize(
    ("hours", "text"),
    [
        (1.5, "today, half past ten at night"),
        (31.2, "Friday, four in the morning"),
        (26.9, "midnight after Thursday"),
        (2.98, "midnight after today"),
        (240.0, "Saturday, 5 December, nine in the evening"),
    ],
)
def test_until(hours: float, text: str) -> None:
    assert words.until(NOW + timedelta(hours=hours), NOW, hours) == text


def test_every_day_within_a_week_has_only_its_weekday() -> None:
    names = [words.day_name(NOW.date() + timedelta(days=n), NOW.date()) for n in range(8)]
    assert names[0] == "today"
    assert names[1:7] == ["Thursday", "Friday", "Saturday", "Sunday", "Monday", "Tuesday"]
    assert names[7] == "Wednesday, 2 December"


def test_range_says_its_unit_once() -> None:
    assert words.between(22.1, 25.8) == "between 22 and 26 hours"
    assert words.between(30.0, 75.0) == "between 30 hours and 3 days and 3 hours"
    assert words.between(21.9, 22.1) == "about 22 hours at either end"


def test_energies_carry_their_unit_and_no_false_digits() -> None:
    assert words.energy(33.04) == "33\u00a0kWh"
    assert words.energy(0.962) == "0.96\u00a0kWh"
    assert words.energy(0.001) == "0\u00a0kWh"


def test_names_within_a_sentence() -> None:
    assert words.in_sentence("Sealed bank") == "the sealed bank"
    assert words.in_sentence("Bank A") == "Bank A"
    assert words.mid_sentence("Sodium-ion") == "sodium-ion"
    assert words.mid_sentence("NMC") == "NMC"
    assert words.listed(["LFP", "NMC", "lead-acid"]) == "LFP, NMC and lead-acid"
    assert words.long_date(date(2026, 11, 26)) == "Thursday, 26 November"
