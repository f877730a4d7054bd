"""What drives a trajectory, cut and counted by hand."""

from __future__ import annotations

import dataclasses
from datetime import datetime

import numpy as np
import pytest

from engine.balance.forcing import Forcing, drawn_hours, forcing, load_hours, mean_day_hours, mean_dc_w
from engine.house.household import Household, read
from tests.engine.plants import inverter
from tests.engine.test_household import document


def hours(count: int = 5) -> Forcing:
    """Hours from twenty to ten in the evening on, each with its number as sun."""
    number = np.arange(count, dtype=np.float64)
    return Forcing(sun_w=number, ac_w=10.0 + number, dc_w=20.0 + number, first_h=1 / 3, from_hour=21)


def test_edges_begin_at_the_moment_and_go_on_by_the_clock() -> None:
    one = hours()
    assert one.lengths_h.tolist() == pytest.approx([1 / 3, 1, 1, 1, 1])
    assert one.edges_h.tolist() == pytest.approx([0, 1 / 3, 4 / 3, 7 / 3, 10 / 3, 13 / 3])
    assert one.length_h == pytest.approx(13 / 3) == pytest.approx(one.lengths_h.sum())
    assert one.lists()[1] == [10, 11, 12, 13, 14]


@pytest.mark.parametrize(
    ("at_h", "count"),
    # in the first interval, at its end, just after it, at the end of the second, beyond all
    [(0.0, 1), (0.2, 1), (1 / 3, 1), (0.34, 2), (4 / 3, 2), (1.34, 3), (99.0, 5)],
)
def test_until_a_moment_ends_with_the_interval_it_lies_in(at_h: float, count: int) -> None:
    cut = hours().until(at_h)
    assert [part.size for part in (cut.sun_w, cut.ac_w, cut.dc_w)] == [count] * 3
    assert (cut.first_h, cut.from_hour) == (1 / 3, 21)


def test_what_is_left_begins_on_the_hour_of_the_day() -> None:
    one = hours()
    assert one.after(0) is one
    left = one.after(3)
    assert (left.first_h, left.from_hour) == (1.0, 0)
    assert [left.sun_w.tolist(), left.ac_w.tolist(), left.dc_w.tolist()] == [[3, 4], [13, 14], [23, 24]]
    assert one.after(2).from_hour == 23
    assert one.first(2).sun_w.tolist() == [0, 1]


def house() -> Household:
    """Household H with 100 W at the sockets and 5 W at the battery side throughout."""
    return read(document("h") | {"loads": house_loads()})


def house_loads() -> list[dict[str, object]]:
    return [
        {"id": "on", "name": "On", "kind": "steady", "values": {"power_w": 100.0}},
        {"id": "low", "name": "Low", "kind": "steady", "measured": "battery", "values": {"power_w": 5.0}},
    ]


def test_a_day_begins_at_its_midnight_and_the_forcing_at_the_moment() -> None:
    home = house()
    (supply,) = home.supplies()
    start = datetime(2026, 6, 30, 18, 45, 36)
    one = forcing(home, supply, start, np.array([0.5, 0.5]))
    assert (one.first_h, one.from_hour) == (pytest.approx(0.24), 18)
    assert one.sun_w.size == one.ac_w.size == one.dc_w.size == 30
    ac_w, dc_w = load_hours(home, supply, start, 2)
    assert ac_w.size == dc_w.size == 48
    assert one.ac_w.tolist() == ac_w[18:].tolist()
    assert set(ac_w.tolist()) == {100.0}
    assert set(dc_w.tolist()) == {5.0}
    assert [part.size for part in load_hours(home, supply, start, 0)] == [0, 0]


def test_each_day_has_the_loads_of_its_own_month() -> None:
    found = document("h")
    month = {"id": "july", "name": "July", "kind": "pump", "months": [7], "values": {"power_w": 70.0, "run_h": 24.0}}
    found["loads"] = [*house_loads(), month]
    home = read(found)
    ac_w, dc_w = load_hours(home, home.supplies()[0], datetime(2026, 6, 30, 12), 3)
    assert ac_w.tolist() == [100.0] * 24 + [170.0] * 48
    assert dc_w.tolist() == [5.0] * 72


def test_days_without_panels_have_no_sun() -> None:
    home = house()
    (supply,) = home.supplies()
    bare = dataclasses.replace(supply, arrays=())
    assert forcing(home, bare, datetime(2026, 6, 30), np.array([0.5, 0.5])).sun_w.tolist() == [0.0] * 48


def test_what_is_drawn_is_what_the_inverter_takes_for_no_more_than_its_rating() -> None:
    unit = inverter(rated_w=1000, k1=0.1, k2=0.0)
    drawn = drawn_hours(unit, np.array([0.0, 500.0, 1000.0, 3000.0]), np.array([1.0, 2.0, 3.0, 4.0]))
    assert drawn.tolist() == pytest.approx([41.0, 592.0, 1143.0, 1144.0])


def test_the_mean_drawn_is_that_of_the_mean_day() -> None:
    home = house()
    (supply,) = home.supplies()
    ac_w, dc_w = mean_day_hours(home, supply, 6)
    assert (ac_w.tolist(), dc_w.tolist()) == ([100.0] * 24, [5.0] * 24)
    assert mean_dc_w(home, supply, 6) == pytest.approx(supply.inverter.dc_w(100.0) + 5.0)
