"""A size tried on the full cell model: both sizes, how far it is, what cannot be, and one trial for one question."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from starlette.requests import Request

from engine.answers.confirming import Progress
from tests.conftest import Client, soup
from tests.web.bringing import RECORDS
from tests.web.conftest import Opener
from tests.web.sun_files import kc_of_years, radiation
from tests.web.test_size import words
from webapp.pages import tried

LONG_S = 30
HTMX = {"HX-Request": "true"}


def tried_at(client: Client, query: str) -> dict[str, Any]:
    response = client.get(f"/winters/tried.json?{query}")
    assert response.status_code == 200, response.text
    found: dict[str, Any] = response.json()
    return found


def test_both_sizes_stand_side_by_side_with_what_tells_them_apart(client: Client) -> None:
    told = tried_at(client, "risk=never&times=2")
    line = client.get("/winters.json").json()["winters"]["map"]["lines"][0]["bank_kwh"][19]
    assert told["spectrum_kwh"] == pytest.approx(line, rel=0.01)
    assert abs(told["confirmed_kwh"] / told["spectrum_kwh"] - 1) < 0.05
    page = soup(client.get("/winters/tried?risk=never&times=2"))
    assert "full cell model" in words(page, "h1")
    rows = [[cell.get_text() for cell in row.select("td")] for row in page.select("#tried-now tbody tr")]
    assert [row[2] for row in rows] == [str(told["spectrum_strings"]), str(told["confirmed_strings"])]
    for row, name in zip(rows, ("spectrum", "confirmed"), strict=True):
        assert float(row[0]) == pytest.approx(told[f"{name}_kwh"], rel=0.005)
        assert float(row[1]) == pytest.approx(told[f"{name}_label_kwh"], rel=0.005)
    more = told["confirmed_kwh"] / told["spectrum_kwh"] - 1
    apart = (
        f"{abs(more) * 100:.1f}\u00a0% {'more' if more > 0 else 'less'} than"
        if abs(more) >= 0.0005
        else "as worked out"
    )
    assert apart in page.select_one("#tried-now").text  # type: ignore[union-attr]
    assert "2 times your panels" in words(page, "#tried-now")


@pytest.mark.parametrize("chemistry", ["lead_sealed", "sodium_layered"])
def test_other_cells_are_tried_in_the_same_way(client_of: Opener, small_house: dict[str, Any], chemistry: str) -> None:
    bank = small_house["banks"][0]
    bank.update(chemistry=chemistry, series=24 if chemistry == "lead_sealed" else 15)
    del bank["board"]
    client = client_of(small_house)
    told = tried_at(client, "risk=1in5&times=3")
    assert told["spells_run"] > 0
    page = words(soup(client.get("/winters/tried?risk=1in5&times=3")), "#tried-now")
    apart = abs(told["confirmed_kwh"] / told["spectrum_kwh"] - 1) >= 0.0005
    assert ("What real cells do that the size worked out at once leaves out" in page) == apart
    assert ("ever more slowly as they fill" in page) == (apart and chemistry == "lead_sealed")


def test_how_far_it_is_stands_in_words_and_in_a_bar_and_is_asked_again(client: Client) -> None:
    held = holding(client, Progress(done_share=0.4, sizes_tried=3, low_kwh=41.0, high_kwh=44.0), "")
    block = soup(client.get("/winters/tried", headers=HTMX)).select_one("#tried-now")
    assert block is not None
    assert "3 tried, between 41.0 and 44.0 kWh usable" in block.get_text()
    bar = block.select_one("progress")
    assert bar is not None
    assert (bar["value"], bar["max"]) == ("0.4", "1")
    again = block.select_one("[hx-get]")
    assert again is not None
    assert str(again["hx-trigger"]).startswith("load delay:")
    assert client.get(str(again["hx-get"]), headers=HTMX).status_code == 200
    held.set()


def test_one_short_line_is_spoken_of_a_trial_and_neither_its_progress_nor_its_table(client: Client) -> None:
    held = holding(client, Progress(done_share=0.4, sizes_tried=3, low_kwh=41.0, high_kwh=44.0), "")
    running = soup(client.get("/winters/tried", headers=HTMX))
    held.set()
    done = soup(client.get("/winters/tried?risk=1in5&times=3"))
    for page, said in ((running, "A size is being tried"), (done, "By the full cell model “1 in 5 years” takes")):
        (live,) = page.select("[role=status], [aria-live]")
        assert live.get_text().startswith(said)
        assert len(live.get_text()) < 100


def test_a_page_without_scripts_says_how_far_it_is_and_leads_on(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tried, "PAGE_WAITS_S", 0.0)
    held = holding(client, Progress(done_share=0.4, sizes_tried=3, low_kwh=41.0, high_kwh=44.0), "risk=1in5")
    page = soup(client.get("/winters/tried?risk=1in5"))
    assert "3 tried" in words(page, "#tried-now")
    link = page.select_one("#tried-now a")
    assert link is not None
    assert "risk=1in5" in str(link["href"])
    held.set()


def test_json_of_a_trial_that_runs_on_is_not_called_its_result(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tried, "JSON_WAITS_S", 0.0)
    held = holding(client, Progress(done_share=0.4, sizes_tried=3, low_kwh=41.0, high_kwh=44.0), "")
    response = client.get("/winters/tried.json")
    assert response.status_code == 202
    assert response.json()["sizes_tried"] == 3
    held.set()


def test_what_cannot_be_is_said_in_words(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"]["arrays"][0]["kwp"] = 0.6
    client = client_of(small_house)
    assert "no bank of any size is full again within a year" in words(
        soup(client.get("/winters/tried?risk=never")), "#tried-now .note"
    )
    refused = client.get("/winters/tried.json?risk=never")
    assert refused.status_code == 422
    assert "no bank of any size is full again within a year" in refused.json()["errors"]["household"]


def test_without_a_bank_it_says_so(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"] = []
    response = client_of(small_house).get("/winters/tried")
    assert response.status_code == 200
    assert "bank" in words(soup(response), "#tried-now .note")


@pytest.mark.parametrize(
    ("query", "said"),
    [("risk=1in7", "Runs empty"), ("times=9", "Panels"), ("share=70", "Load that may"), ("skies=y", "Winters")],
)
def test_bad_questions_are_said_on_a_whole_page(client: Client, query: str, said: str) -> None:
    response = client.get(f"/winters/tried?{query}")
    assert response.status_code == 422
    page = soup(response)
    assert said in words(page, ".summary")
    assert page.select_one("nav") is not None
    assert said in words(soup(client.get(f"/winters/tried?{query}", headers=HTMX)), "#tried-now")
    assert client.get(f"/winters/tried.json?{query}").status_code == 422


@pytest.mark.parametrize(
    ("years", "offered"),
    [
        (13, ["never", "1in10", "1in5", "1in1", "share"]),
        (6, ["never", "1in5", "1in1", "share"]),
        (5, ["never", "1in1", "share"]),
    ],
)
def test_only_risks_that_the_winters_can_tell_are_offered_and_the_first_of_them_is_tried(
    client: Client, years: int, offered: list[str]
) -> None:
    """So many calendar years hold one winter less; the risks are those of the answer itself."""
    skies = f"skies=file-{RECORDS.read_so(client, radiation(kc_of_years(years))).rsplit('/', 1)[1]}"
    sizes = client.get(f"/winters.json?{skies}").json()["winters"]["sizes"]
    assert [one["risk"]["id"] for one in sizes] == offered
    page = soup(client.get(f"/winters/tried?{skies}&times=3"))
    assert [str(one["value"]) for one in page.select("#risk option")] == offered
    assert [str(one["value"]) for one in page.select("#risk option[selected]")] == [offered[1]]
    assert tried_at(client, f"{skies}&times=3")["risk"]["id"] == offered[1]


def test_a_risk_too_rare_for_the_winters_is_said_to_be(client: Client) -> None:
    number = RECORDS.read_so(client, radiation(kc_of_years(6))).rsplit("/", 1)[1]
    response = client.get(f"/winters/tried?skies=file-{number}&risk=1in10")
    assert response.status_code == 422
    assert "5 winters cannot tell 1 in 10 years" in words(soup(response), ".summary")
    refused = client.get(f"/winters/tried.json?skies=file-{number}&risk=1in10")
    assert "5 winters cannot tell 1 in 10 years" in refused.json()["errors"]["risk"]


def test_a_record_read_anew_is_another_question(client: Client) -> None:
    first, second = (RECORDS.read_so(client, radiation(kc_of_years(years))).rsplit("/", 1)[1] for years in (12, 13))
    told = [tried_at(client, f"skies=file-{number}&times=2&risk=1in5")["years"] for number in (first, second)]
    assert told == [11, 12]


def test_the_key_of_a_trial_follows_the_days_and_not_the_name_of_the_record(client: Client) -> None:
    question = asked_of(client, "")
    series = question.winters.series
    assert series is not None
    same = replace(question, winters=replace(question.winters, series=replace(series, kc=series.kc.copy())))
    other = replace(question, winters=replace(question.winters, series=replace(series, kc=series.kc * 0.99)))
    assert tried._key(same) == tried._key(question)
    assert tried._key(other) != tried._key(question)


def asked_of(client: Client, query: str) -> tried.Question:
    """The question that a query asks of this client's household."""
    scope = {"type": "http", "app": client.app.app, "query_string": query.encode(), "headers": [], "state": {}}
    return tried.read_question(Request(scope))


def holding(client: Client, step: Progress, query: str) -> threading.Event:
    """Put a trial under this question that gives one step and then stands still; returns what lets it go."""
    go, given = threading.Event(), threading.Event()

    def work() -> Iterator[object]:
        yield step
        given.set()
        assert go.wait(LONG_S)

    client.app.app.state.jobs.ask(tried._key(asked_of(client, query)), work)
    assert given.wait(LONG_S)
    return go
