"""Work beside the pages: one question is one piece of work, what nobody asks after stops, pages answer meanwhile."""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator

import pytest

from engine.errors import Unreachable
from tests.conftest import Client
from webapp.jobs import ASIDE_S, IDLE_S, KEPT, Job, Jobs
from webapp.pages import tried

LONG_S = 30
"""Longer than any of this takes; no test measures time."""
HTMX = {"HX-Request": "true"}


class Hand:
    """A clock that is moved by hand."""

    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


class Held:
    """Work that stands still after its first step until it is let go."""

    def __init__(self) -> None:
        self.begun, self.go, self.steps = threading.Event(), threading.Event(), 0

    def __call__(self) -> Iterator[object]:
        for step in range(1000):
            self.steps = step + 1
            yield f"step {step}"
            self.begun.set()
            assert self.go.wait(LONG_S)


@pytest.fixture
def clock_s() -> Hand:
    return Hand()


@pytest.fixture
def jobs(clock_s: Hand) -> Iterator[Jobs]:
    made = Jobs(clock_s)
    yield made
    made.close()


def ended(job: Job) -> Job:
    assert job.ended.wait(LONG_S)
    return job


def test_the_same_question_is_one_piece_of_work_and_gives_its_last_step(jobs: Jobs) -> None:
    begun: list[int] = []

    def work() -> Iterator[object]:
        begun.append(1)
        yield "half"
        yield "whole"

    first = ended(jobs.ask("q", work))
    assert jobs.ask("q", work) is first
    assert (first.last, first.done, begun) == ("whole", True, [1])


def test_a_question_that_runs_is_joined_and_tells_how_far_it_is(jobs: Jobs) -> None:
    held = Held()
    first = jobs.ask("q", held)
    assert held.begun.wait(LONG_S)
    second = jobs.ask("q", lambda: iter(["another"]))
    assert second is first
    assert (second.last, second.done) == ("step 0", False)
    first.stop()
    held.go.set()


def test_what_cannot_be_reached_is_a_sentence(jobs: Jobs) -> None:
    def work() -> Iterator[object]:
        yield 1
        raise Unreachable("No bank does it.")

    job = ended(jobs.ask("q", work))
    assert (job.refused, job.done) == ("No bank does it.", True)


def test_a_fault_of_ours_is_logged_and_ends_the_work_but_not_the_next(
    jobs: Jobs, caplog: pytest.LogCaptureFixture
) -> None:
    def broken() -> Iterator[object]:
        yield 1
        raise ZeroDivisionError

    with caplog.at_level(logging.ERROR):
        job = ended(jobs.ask("q", broken))
    assert "fault of ours" in job.refused
    assert "ZeroDivisionError" in caplog.text
    assert ended(jobs.ask("p", lambda: iter(["fine"]))).last == "fine"


def test_what_nobody_asks_after_stops_at_its_next_step_and_begins_anew_when_asked(jobs: Jobs, clock_s: Hand) -> None:
    held = Held()
    job = jobs.ask("q", held)
    assert held.begun.wait(LONG_S)
    clock_s.now_s = IDLE_S + 1.0
    held.go.set()
    ended(job)
    ended(jobs.ask("other", lambda: iter(["after"])))
    assert (job.stopped, job.done, held.steps) == (True, False, 2)
    again = ended(jobs.ask("q", lambda: iter(["anew"])))
    assert (again.last, again.done) == ("anew", True)


def test_what_is_asked_after_goes_on_however_long_it_takes(jobs: Jobs, clock_s: Hand) -> None:
    first, second = threading.Event(), threading.Event()

    def work() -> Iterator[object]:
        yield "half"
        first.set()
        assert second.wait(LONG_S)
        yield "whole"

    job = jobs.ask("q", work)
    assert first.wait(LONG_S)
    clock_s.now_s = IDLE_S - 1.0
    jobs.ask("q", work)
    clock_s.now_s = 2.0 * IDLE_S - 2.0
    second.set()
    assert ended(job).last == "whole"
    assert job.done


def test_what_waited_too_long_for_its_turn_is_not_begun(jobs: Jobs, clock_s: Hand) -> None:
    held, begun = Held(), []

    def late() -> Iterator[object]:
        begun.append(1)
        yield "late"

    running = jobs.ask("q", held)
    assert held.begun.wait(LONG_S)
    waiting = jobs.ask("late", late)
    clock_s.now_s = IDLE_S + 1.0
    running.stop()
    held.go.set()
    ended(jobs.ask("last", lambda: iter(["last"])))
    assert (waiting.stopped, begun) == (True, [])


class Steps:
    """Work that waits before each of its steps until it is let go, and writes down what was taken."""

    def __init__(self, name: str, taken: list[str], count: int = 3) -> None:
        self.name, self.taken, self.count, self.go = name, taken, count, threading.Semaphore(0)
        self.stands = threading.Semaphore(0)

    def __call__(self) -> Iterator[object]:
        for number in range(self.count):
            self.stands.release()
            assert self.go.acquire(timeout=LONG_S)
            self.taken.append(f"{self.name}{number}")
            yield number


def test_what_nobody_asks_after_lets_a_newer_question_go_first_and_loses_nothing(jobs: Jobs, clock_s: Hand) -> None:
    taken: list[str] = []
    old = Steps("old", taken)
    left = jobs.ask("old", old)
    assert old.stands.acquire(timeout=LONG_S)
    clock_s.now_s = ASIDE_S + 0.1
    newer = Steps("new", taken)
    newer.go.release(3)
    asked = jobs.ask("new", newer)
    old.go.release(3)
    assert ended(asked).done
    assert ended(left).done
    assert taken == ["old0", "new0", "new1", "new2", "old1", "old2"]


@pytest.mark.parametrize("way", ["asks", "waits"])
def test_who_asks_or_waits_keeps_the_turn(jobs: Jobs, clock_s: Hand, way: str) -> None:
    taken: list[str] = []
    first = Steps("first", taken)
    job = jobs.ask("first", first)
    assert first.stands.acquire(timeout=LONG_S)
    waiter = threading.Thread(target=jobs.wait, args=(job, LONG_S))
    if way == "waits":
        waiter.start()
        while not job.waiting:
            pass
    clock_s.now_s = IDLE_S + 1.0
    if way == "asks":
        jobs.ask("first", first)
    second = Steps("second", taken)
    second.go.release(3)
    later = jobs.ask("second", second)
    first.go.release(3)
    assert ended(later).done
    assert job.done
    assert taken == ["first0", "first1", "first2", "second0", "second1", "second2"]
    if way == "waits":
        waiter.join(LONG_S)
    assert job.waiting == 0


def test_who_waited_counts_as_asking_until_the_wait_was_over(jobs: Jobs, clock_s: Hand) -> None:
    held = Held()
    job = jobs.ask("q", held)
    assert held.begun.wait(LONG_S)
    clock_s.now_s = 30.0
    jobs.wait(job, 0.0)
    assert (job.asked_s, job.waiting) == (30.0, 0)
    job.stop()
    held.go.set()


def test_what_nobody_asks_after_goes_on_where_nothing_else_waits(jobs: Jobs, clock_s: Hand) -> None:
    taken: list[str] = []
    work = Steps("q", taken)
    job = jobs.ask("q", work)
    assert work.stands.acquire(timeout=LONG_S)
    clock_s.now_s = IDLE_S - 1.0
    work.go.release(3)
    assert ended(job).done


def test_two_that_nobody_asks_after_do_not_keep_each_other_from_going_on(jobs: Jobs, clock_s: Hand) -> None:
    taken: list[str] = []
    one, two = Steps("one", taken), Steps("two", taken)
    first = jobs.ask("one", one)
    assert one.stands.acquire(timeout=LONG_S)
    second = jobs.ask("two", two)
    clock_s.now_s = ASIDE_S + 1.0
    one.go.release(3)
    two.go.release(3)
    assert ended(first).done
    assert ended(second).done


def test_no_more_than_so_many_are_remembered(jobs: Jobs) -> None:
    first = jobs.ask(0, lambda: iter([0]))
    for number in range(1, KEPT + 2):
        ended(jobs.ask(number, lambda: iter([1])))
    assert jobs.ask(0, lambda: iter([0])) is not first


def test_a_close_lets_go_who_waits_and_is_not_held_up_by_a_step_that_stands_still(clock_s: Hand) -> None:
    jobs, held = Jobs(clock_s), Held()
    running, waiting = jobs.ask("q", held), jobs.ask("p", lambda: iter(["never"]))
    assert held.begun.wait(LONG_S)
    jobs.close()
    ended(running)
    ended(waiting)
    assert all(thread.daemon for thread in threading.enumerate() if thread.name == "jobs")
    held.go.set()
    assert (running.stopped, running.done, waiting.last) == (True, False, None)


def test_pages_answer_while_work_runs_and_a_block_does_not_wait_for_it(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tried, "PAGE_WAITS_S", "a block that used this would answer 500")
    held = Held()
    job = client.app.app.state.jobs.ask("held", held)
    assert held.begun.wait(LONG_S)
    assert client.get("/today").status_code == 200
    block = client.get("/winters/tried", headers=HTMX)
    assert block.status_code == 200
    assert "The trial on the full cell model begins" in block.text
    assert not job.ended.is_set()
    job.stop()
    held.go.set()


def test_no_two_apps_share_their_work(client: Client) -> None:
    other = Jobs()
    assert client.app.app.state.jobs is not other
    mine = ended(client.app.app.state.jobs.ask("q", lambda: iter(["mine"])))
    yours = ended(other.ask("q", lambda: iter(["yours"])))
    other.close()
    assert (mine.last, yours.last) == ("mine", "yours")
