"""Winters: the sentence and its counts, the map, records as winters, a size tried beside the pages, bad questions."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from engine.errors import Unreachable
from tests.conftest import Client, soup
from tests.web.bringing import RECORDS
from tests.web.sun_files import kc_of_years, radiation
from tests.web.test_size import words
from webapp.jobs import IDLE_S, KEPT, Jobs

Opener = Callable[[Path | None], Client]


def answer_of(client: Client, query: str = "") -> dict[str, Any]:
    response = client.get(f"/winters.json{query}")
    assert response.status_code == 200
    found: dict[str, Any] = response.json()["winters"]
    return found


def test_page_says_what_the_answer_holds(client: Client) -> None:
    told, page = answer_of(client), soup(client.get("/winters"))
    sentence = words(page, "#answer h1")
    never = told["sizes"][0]["bank_kwh"]
    assert f"{told['own']['dark_spells']} times in 30 made winters" in sentence
    assert sentence.endswith(" never.")
    assert f"{never:.2g}" in sentence or f"{never:.0f}" in sentence
    assert f"in {told['own']['dark_winters']} winters of 30" in words(page, ".lead")
    assert "not a forecast" in words(page, ".range")
    rows = page.select("table.stacked tbody tr")
    assert sum("yours" in row.get_text() for row in rows) == 2


def test_every_count_of_the_map_stands_in_the_json(client: Client) -> None:
    told = answer_of(client)["map"]
    assert len(told["times"]) == len(told["dark_spells"]) == len(told["short_share"]) == 40
    assert all(len(column) == 60 for column in told["dark_spells"])
    for line in told["lines"][:-1]:
        allowed = 0 if not line["risk"]["years"] else 30 // line["risk"]["years"]
        for column, kwh in enumerate(line["bank_kwh"]):
            if kwh is None:
                continue
            for bank, dark in zip(told["bank_kwh"], told["dark_spells"][column], strict=True):
                assert (dark <= allowed) == (bank >= kwh), (line["risk"]["id"], column, bank)


def test_winters_of_a_record_are_called_measured(client: Client) -> None:
    assert answer_of(client)["basis"] == "made"
    address = RECORDS.read_so(client, radiation(kc_of_years(12)))
    number = address.rsplit("/", 1)[1]
    told, page = answer_of(client, f"?skies=file-{number}"), soup(client.get(f"/winters?skies=file-{number}"))
    assert told["basis"] == "measured"
    assert told["years"] == 11
    assert "11 measured winters" in words(page, "#answer h1")
    assert "11 whole winters of your file" in words(page, ".range")
    assert told["winters"][0]["year"] == 2010
    assert [size["risk"]["id"] for size in told["sizes"]] == ["never", "1in10", "1in5", "1in1", "share"]


def test_a_record_unfit_for_spells_is_refused_with_a_sentence(client: Client) -> None:
    address = RECORDS.read_so(client, radiation(kc_of_years(2)))
    response = client.get(f"/winters?skies=file-{address.rsplit('/', 1)[1]}")
    assert response.status_code == 422
    assert "not fit for dull spells" in words(soup(response), ".summary")


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("days=0", "Days of autonomy"),
        ("share=70", "Load that may go unserved"),
        ("share=x", "Load"),
        ("skies=y", "Winters"),
    ],
)
def test_bad_questions_are_said(client: Client, query: str, said: str) -> None:
    response = client.get(f"/winters?{query}")
    assert response.status_code == 422
    assert said in words(soup(response), ".summary")
    assert client.get(f"/winters.json?{query}").status_code == 422
    assert client.get(f"/winters/tried?{query}").status_code == 422


def test_bank_size_leads_to_its_winters(client: Client) -> None:
    page = soup(client.get("/size"))
    block = page.select_one(".riding [hx-get]")
    assert block is not None
    part = soup(client.get(str(block["hx-get"]), headers={"HX-Request": "true", "HX-Request-Type": "partial"}))
    riding = part.select_one("#riding")
    assert riding is not None
    assert riding.find("h1") is None
    assert "made winters" in riding.get_text()


def test_no_panels_is_a_step_to_take(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"]["arrays"] = []
    page = soup(client_of(small_house).get("/winters"))  # type: ignore[arg-type]
    assert "without sun every bank runs empty" in words(page, "#answer")


def test_small_panels_are_called_too_small(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"]["arrays"][0]["kwp"] = 0.6
    page = soup(client_of(small_house).get("/winters"))  # type: ignore[arg-type]
    assert "no bank of any size is full again within a year" in words(page, "#answer h1")
    assert "kWp of panels like yours" in words(page, ".panels")


def test_a_size_tried_tells_both_sizes(client: Client) -> None:
    told = client.get("/winters/tried.json?risk=never&times=2").json()
    assert told["spells_run"] > 0
    line = answer_of(client)["map"]["lines"][0]["bank_kwh"][19]
    assert told["spectrum_kwh"] == pytest.approx(line, rel=0.01)
    assert abs(told["confirmed_kwh"] / told["spectrum_kwh"] - 1) < 0.05
    page = soup(client.get("/winters/tried?risk=never&times=2"))
    assert f"{told['confirmed_strings']} string" in words(page, "#tried-now")
    assert "full cell model" in words(page, "h1")


class TestJobs:
    """Work beside the pages."""

    @pytest.fixture
    def jobs(self) -> Iterator[Jobs]:
        self.now_s = 0.0
        made = Jobs(lambda: self.now_s)
        yield made
        made.close()

    def test_the_same_question_is_one_piece_of_work_and_gives_its_last_step(self, jobs: Jobs) -> None:
        begun: list[int] = []

        def work() -> Iterator[object]:
            begun.append(1)
            yield "half"
            yield "whole"

        first = jobs.ask("q", work)
        self.wait(first)
        assert jobs.ask("q", work) is first
        assert (first.last, first.done, begun) == ("whole", True, [1])

    def test_what_cannot_be_reached_is_a_sentence(self, jobs: Jobs) -> None:
        def work() -> Iterator[object]:
            yield 1
            raise Unreachable("No bank does it.")

        job = jobs.ask("q", work)
        self.wait(job)
        assert job.refused == "No bank does it."

    def test_a_fault_of_ours_ends_the_work_and_not_the_next(self, jobs: Jobs) -> None:
        def broken() -> Iterator[object]:
            yield 1
            raise ZeroDivisionError

        job = jobs.ask("q", broken)
        self.wait(job)
        assert "fault of ours" in job.refused
        other = jobs.ask("p", lambda: iter(["fine"]))
        self.wait(other)
        assert other.last == "fine"

    def test_what_nobody_asks_after_stops_at_its_next_step(self, jobs: Jobs) -> None:
        go, steps = threading.Event(), []

        def work() -> Iterator[object]:
            for step in range(1000):
                steps.append(step)
                yield step
                go.wait(10)

        job = jobs.ask("q", work)
        while not steps:
            pass
        self.now_s = IDLE_S + 1.0
        go.set()
        last = jobs.ask("other", lambda: iter(["after"]))
        self.wait(last)
        assert job.stopped
        assert not job.done
        assert len(steps) < 1000

    def test_no_more_than_so_many_are_remembered(self, jobs: Jobs) -> None:
        first = jobs.ask(0, lambda: iter([0]))
        for number in range(1, KEPT + 2):
            self.wait(jobs.ask(number, lambda: iter([1])))
        assert jobs.ask(0, lambda: iter([0])) is not first

    def test_pages_answer_while_a_trial_runs(self, client: Client) -> None:
        held, begun = threading.Event(), threading.Event()

        def work() -> Iterator[object]:
            begun.set()
            held.wait(30)
            yield "done"

        jobs = client.app.app.state.jobs
        job = jobs.ask("held", work)
        assert begun.wait(10)
        assert client.get("/today").status_code == 200
        assert (
            client.get("/winters/tried", headers={"HX-Request": "true", "HX-Request-Type": "partial"}).status_code
            == 200
        )
        assert not job.done
        held.set()
        self.wait(job)

    def wait(self, job: Any) -> None:
        pause = threading.Event()
        for _ in range(1000):
            if job.done or job.refused:
                return
            pause.wait(0.01)
        raise TimeoutError("The work did not end.")
