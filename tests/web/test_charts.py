"""Every figure is one that plotly itself accepts, and its lines can be told apart without colour."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import plotly.graph_objects as go
import pytest

from tests.conftest import Client, soup
from webapp import charts
from webapp.chart_parts import PERCENT_GAP, STYLES, Curve, spaced

LINE_PERCENT = 100.0 * 15.0 / 236.0
"""A line of text on the lowest chart: 15 px of the 236 px between its margins."""
START = datetime(2026, 11, 25, 18, 0)
PAGES = (
    "/today?charge=80&sky=none",
    "/today",
    "/today?charge=100&sky=bright,bright,bright,bright,bright,bright,bright,bright,bright,bright&at=2026-06-10",
    "/size?days=3",
    "/size?days=3&month=5",
    "/week",
    "/week?basis=usable&month=4",
    "/winters",
)


def as_plotly(figure: dict[str, Any]) -> go.Figure:
    """Let plotly check a figure, its colours named as the style sheet names them."""
    plain = json.loads(json.dumps(figure), object_hook=lambda d: {k: colour(v) for k, v in d.items()})
    narrow = plain.pop("narrow")
    checked = go.Figure(plain)
    checked.update_layout(narrow)
    return checked


def colour(value: Any) -> Any:
    return "#123456" if isinstance(value, str) and value.startswith("--") else value


def figures(client: Client, path: str) -> list[dict[str, Any]]:
    found = soup(client.get(path)).select("[data-figure]")
    return [json.loads(str(one["data-figure"])) for one in found]


@pytest.mark.parametrize("path", PAGES)
def test_plotly_accepts_every_figure(client: Client, path: str) -> None:
    found = figures(client, path)
    assert found
    for figure in found:
        as_plotly(figure)


def test_plotly_refuses_a_figure_with_an_unknown_attribute() -> None:
    with pytest.raises(ValueError, match="nonsense"):
        as_plotly({"data": [{"type": "scatter", "nonsense": 1}], "layout": {}, "narrow": {}})


def test_styles_differ_without_colour() -> None:
    assert len({(style.dash, style.width) for style in STYLES}) == len(STYLES)
    assert len({style.dash for style in STYLES}) == len(STYLES)


def test_every_line_of_a_week_is_named_at_its_end(client: Client) -> None:
    (figure,) = figures(client, "/week")
    names = [note["text"] for note in figure["layout"]["annotations"]]
    assert sorted(names) == ["LFP", "Lead-acid", "NMC", "Sodium-ion"]
    places = sorted(note["ay"] for note in figure["layout"]["annotations"])
    assert min(b - a for a, b in itertools.pairwise(places)) >= LINE_PERCENT
    for note, line in zip(figure["layout"]["annotations"], figure["data"], strict=True):
        assert note["y"] == pytest.approx(line["y"][-1], abs=0.06)


@pytest.mark.parametrize(
    "values",
    [[50.0, 51.0, 90.0], [99.0, 100.0, 100.0, 100.0], [0.0, 0.0, 0.0, 3.0], [10.0, 16.0, 22.0, 29.0], [40.0]],
)
def test_labels_keep_apart_in_order_and_on_the_chart(values: list[float]) -> None:
    places = spaced(values, PERCENT_GAP, 0.0, 100.0)
    ordered = sorted(places)
    assert all(b - a >= LINE_PERCENT for a, b in itertools.pairwise(ordered))
    assert ordered[0] >= -1e-9
    assert ordered[-1] <= 100.0 + 1e-9
    assert sorted(range(len(values)), key=lambda i: (values[i], places[i])) == sorted(
        range(len(values)), key=lambda i: places[i]
    )


def test_labels_with_room_stay_at_their_lines() -> None:
    assert spaced([10.0, 50.0, 90.0], PERCENT_GAP, 0.0, 100.0) == [10.0, 50.0, 90.0]


def curve(values: list[float]) -> Curve:
    times = tuple(START + timedelta(hours=n) for n in range(len(values)))
    return Curve(name="charge", times=times, percent=tuple(values))


def test_the_range_is_open_where_the_better_end_never_meets_the_limit() -> None:
    ending = charts.Ending(row=2, label="x", low=START + timedelta(hours=1), high=None)
    figure = charts.charge(curve([60.0, 40.0, 20.0, 20.0]), 20.0, "reserve 20 %", ending)
    bar = next(trace for trace in figure["data"] if trace["name"] == "range")
    assert bar["x"] == ["2026-11-25 19:00:00", "2026-11-25 21:00:00"]
    ends = next(trace for trace in figure["data"] if trace["name"] == "ends of the range")
    assert ends["marker"]["line"]["width"] == [2, 0]


def test_a_bank_that_lasts_has_no_crossing() -> None:
    figure = charts.charge(curve([60.0, 61.0, 62.0]), 20.0, "reserve 20 %", None)
    assert [trace["name"] for trace in figure["data"]] == ["floor", "charge"]


@pytest.mark.parametrize(("first", "hatched", "said"), [(None, 0, 0), (1, 0, 1), (4, 1, 1)])
def test_sizes_the_panels_do_not_refill_are_hatched(first: int | None, hatched: int, said: int) -> None:
    figure = charts.sizes([10.0, 20.0, 30.0, 40.0, 50.0], [7.0, 14.0, 21.0, 28.0, 35.0], 10.0, first)
    as_plotly(figure)
    assert sum(trace["name"] == "not refilled" for trace in figure["data"]) == hatched
    assert sum("panels" in note["text"] for note in figure["layout"]["annotations"]) == said


def test_a_figure_stays_small(client_of: Callable[[str | None], Client]) -> None:
    client = client_of(None)
    for path in ("/today", "/size"):
        for figure in figures(client, path):
            assert len(json.dumps(figure)) < 20_000
