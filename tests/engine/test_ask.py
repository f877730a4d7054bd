"""Many households from the command line: the function's and the page's own answers, in order, whatever goes wrong."""

from __future__ import annotations

import copy
import json
import os
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from engine.__main__ import main
from engine.answers.risks import SHARE
from engine.answers.winters import many_winters
from engine.asking import spread
from engine.asking.document import Document, Line, answered
from engine.asking.questions import QUESTIONS, Asked, Question
from engine.asking.spread import Halted, in_order, on_cluster, on_cores
from engine.house.household import read
from engine.json_answer import json_text
from engine.sky.averages import darkest_month
from engine.sky.made import made_years
from tests.conftest import Client
from webapp.app import create_app

ROOT = Path(__file__).resolve().parents[2]
FILES = [str(ROOT / "data" / "example.json"), *sorted(str(path) for path in (ROOT / "tests/households").glob("*.json"))]
Say = Callable[..., tuple[int, list[str], str]]


def answer_line(file: str) -> str:
    """What the function itself answers for a file, as its line."""
    house = read(Path(file).read_bytes())
    month = darkest_month(house.site, house.sun)
    answer = many_winters(house, house.supplies()[0], made_years(house.site, house.sun), month)
    return json_text({"file": file, "answer": answer})


@pytest.fixture(scope="module")
def right() -> list[str]:
    """The function's own lines for all files."""
    return [answer_line(file) for file in FILES]


@pytest.fixture
def ask(capsys: pytest.CaptureFixture[str]) -> Say:
    """Ask about sizes; the exit status, the lines and what was said on stderr."""

    def said(*argv: str) -> tuple[int, list[str], str]:
        status = main(["ask", "size", *argv])
        out, err = capsys.readouterr()
        return status, out.splitlines(), err

    return said


@pytest.mark.parametrize("processes", ["1", "2"])
def test_each_line_is_the_functions_own_answer_in_order(ask: Say, right: list[str], processes: str) -> None:
    assert ask("--processes", processes, *FILES) == (0, right, "")


@pytest.mark.parametrize("file", FILES, ids=lambda file: Path(file).stem)
def test_a_line_is_what_the_page_gives_as_json(tmp_path: Path, ask: Say, file: str) -> None:
    page = Client(create_app(tmp_path / "data", Path(file)))
    told = page.get("/winters.json?share=3").json()["winters"]
    page.close()
    _, (line,), _ = ask("--share", "3", file)
    assert line == json_text({"file": file, "answer": told})


def test_bank_month_and_share_are_those_asked_for(tmp_path: Path, ask: Say) -> None:
    document = json.loads(Path(FILES[2]).read_text(encoding="utf-8"))
    document["inverters"].append(document["inverters"][0] | {"id": "second"})
    document["banks"].append(document["banks"][0] | {"id": "other", "inverter": "second"})
    document["sun"]["arrays"].append(document["sun"]["arrays"][0] | {"id": "more", "inverter": "second"})
    document["loads"].append(document["loads"][0] | {"id": "also", "inverter": "second"})
    (tmp_path / "two.json").write_text(json.dumps(document), encoding="utf-8")
    _, (line,), _ = ask("--bank", "other", "--month", "3", "--share", "5", str(tmp_path / "two.json"))
    told = json.loads(line)["answer"]
    assert (told["bank_id"], told["month"]) == ("other", 3)
    assert [size["risk"]["share"] for size in told["sizes"] if size["risk"]["id"] == SHARE] == [0.05]


def test_what_fails_is_said_and_skipped_in_its_place(tmp_path: Path, ask: Say, right: list[str]) -> None:
    document = json.loads(Path(FILES[0]).read_text(encoding="utf-8"))
    bad: dict[str, Any] = {
        "torn": '{"name": ',
        "strange": document | {"colour": "blue"},
        "sunless": document | {"sun": document["sun"] | {"arrays": []}},
        "bankless": document | {"banks": []},
        "two": copy.deepcopy(document),
    }
    for bank in bad["two"]["banks"][:2]:
        bank["parallel"] = 0
    for name, content in bad.items():
        text = content if isinstance(content, str) else json.dumps(content)
        (tmp_path / f"{name}.json").write_text(text, encoding="utf-8")
    files = [
        FILES[0],
        *(str(tmp_path / f"{name}.json") for name in bad),
        str(tmp_path / "none"),
        str(tmp_path),
        FILES[1],
    ]
    status, lines, said = ask("--processes", "2", *files)
    assert status == 1
    assert [json.loads(line)["file"] for line in lines] == files
    assert [lines[0], lines[-1]] == right[:2]
    errors = [json.loads(line)["error"] for line in lines[1:-1]]
    assert said.splitlines() == [f"{file}: {error}" for file, error in zip(files[1:-1], errors, strict=True)]
    for error, words in zip(
        errors,
        (
            "no JSON text",
            "“colour” is not known",
            "no panels",
            "bank",
            "And 1 more fault",
            "cannot be read",
            "cannot be read",
        ),
        strict=True,
    ):
        assert words in error


def test_a_fault_of_ours_stops_no_other_household(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(house: object, values: object) -> object:
        raise ZeroDivisionError("by nothing")

    monkeypatch.setitem(QUESTIONS, "broken", Question(says="breaks", options=(), answer=broken))
    line = answered(Asked(name="broken", values={}), Document(file="a", content=Path(FILES[1]).read_bytes()))
    assert "ZeroDivisionError: by nothing" in line.error


def test_one_more_entry_is_one_more_question(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    named = Question(says="what it is called", options=(), answer=lambda house, values: house.name)
    monkeypatch.setitem(QUESTIONS, "name", named)
    with pytest.raises(SystemExit) as done:
        main(["ask", "--help"])
    assert done.value.code == 0
    listed = capsys.readouterr().out
    assert all(name in listed for name in ("size", "what it is called"))
    assert main(["ask", "name", FILES[1]]) == 0
    assert json.loads(capsys.readouterr().out)["answer"] == read(Path(FILES[1]).read_bytes()).name


@pytest.mark.parametrize(
    ("argv", "why"),
    [
        ([], "QUESTION"),
        (["weather", "x"], "weather"),
        (["size"], "FILES"),
        (["size", "--month", "13", "x"], "Month must be a whole number from 1 to 12; got 13."),
        (["size", "--month", "June", "x"], "got “June”"),
        (["size", "--share", "0", "x"], "from 0.01 to 50 %; got 0."),
        (["size", "--processes", "0", "x"], "Processes must be a whole number"),
        (["size", "--processes", "2", "--scheduler", "tcp://127.0.0.1:1", "x"], "not allowed with"),
    ],
)
def test_wrong_use_is_two_and_a_reason(capsys: pytest.CaptureFixture[str], argv: list[str], why: str) -> None:
    with pytest.raises(SystemExit) as done:
        main(["ask", *argv])
    assert done.value.code == 2
    assert why in capsys.readouterr().err


def test_few_documents_are_held_at_once(tmp_path: Path) -> None:
    (tmp_path / "one").write_bytes(b"{}")
    held: list[Document] = []
    most = 0

    class Kept:
        def __init__(self, document: Document) -> None:
            nonlocal most
            self.document = document
            held.append(document)
            most = max(most, len(held))

        def result(self) -> Line:
            held.remove(self.document)
            return Line(file=self.document.file, text="")

    files = [str(tmp_path / "one")] * 1000
    assert [promise.result().file for _, promise in in_order(Kept, files, 8)] == files
    assert most == 8


class Ends:
    """A question that ends each other process it comes to."""

    def __reduce__(self) -> tuple[Any, ...]:
        return end_unless, (os.getpid(),)


def end_unless(process: int) -> Ends:
    if os.getpid() != process:
        os._exit(1)
    return Ends()


def test_a_process_that_is_ended_ends_the_asking_in_a_sentence() -> None:
    with pytest.raises(Halted, match="One of the processes was ended"):
        list(on_cores(Ends(), FILES * 5, 2))  # type: ignore[arg-type]


def command(*argv: str) -> list[str]:
    return [sys.executable, "-W", "error", "-m", "engine", "ask", "size", *argv]


@pytest.mark.skipif(os.name != "posix", reason="pipes as on POSIX")
def test_a_pipe_closed_early_ends_it_quietly(right: list[str]) -> None:
    with subprocess.Popen(
        command("--processes", "2", *FILES[1:] * 20),
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8",
    ) as asking:  # fmt: skip
        assert asking.stdout is not None
        assert asking.stderr is not None
        assert asking.stdout.readline() == right[1] + "\n"
        asking.stdout.close()
        assert asking.stderr.read() == ""
        assert asking.wait(timeout=60) == 1


@pytest.mark.skipif(os.name != "posix", reason="a terminal as on POSIX")
def test_a_bar_is_drawn_on_a_terminal_only(right: list[str]) -> None:
    import termios

    screen, terminal = os.openpty()
    termios.tcsetwinsize(terminal, (24, 80))
    run = subprocess.run(command(FILES[1]), cwd=ROOT, stdout=subprocess.PIPE, stderr=terminal, timeout=60, check=True)
    os.close(terminal)
    drawn = os.read(screen, 100_000).decode()
    os.close(screen)
    assert "1/1" in drawn
    assert run.stdout.decode() == right[1] + "\n"


@contextmanager
def dask_cluster(workers: int) -> Iterator[str]:
    """The address of a Dask cluster of so many processes here, on ports that are free."""
    distributed = pytest.importorskip("distributed", reason="needs the extra `cluster`")
    import dask

    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 0}),
        distributed.LocalCluster(
            n_workers=workers, threads_per_worker=1, processes=True, dashboard_address="127.0.0.1:0"
        ) as one,
    ):
        yield one.scheduler_address


@pytest.fixture(scope="module")
def cluster() -> Iterator[str]:
    """A cluster of two workers."""
    with dask_cluster(2) as address:
        yield address


def test_both_workers_of_a_cluster_give_the_functions_own_lines(
    cluster: str, ask: Say, right: list[str], tmp_path: Path
) -> None:
    from distributed import Client as Dask

    none = str(tmp_path / "none.json")
    status, lines, said = ask("--scheduler", cluster, *FILES, none, *FILES)
    assert status == 1
    assert lines == [*right, lines[len(right)], *right]
    assert said == f"{none}: The file cannot be read: No such file or directory.\n"
    with Dask(cluster, set_as_default=False) as client:
        loaded = client.run(lambda: "engine.asking.document" in sys.modules)
    assert list(loaded.values()) == [True, True]


def test_a_household_that_ends_workers_is_skipped(cluster: str) -> None:
    lines = list(on_cluster(Ends(), FILES[:1], cluster))  # type: ignore[arg-type]
    assert [(line.file, "was ended" in line.error) for line in lines] == [(FILES[0], True)]


def test_no_scheduler_is_said_within_a_bound(monkeypatch: pytest.MonkeyPatch, ask: Say) -> None:
    pytest.importorskip("distributed", reason="needs the extra `cluster`")
    monkeypatch.setattr(spread, "CONNECT_S", 0.5)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
        status, lines, said = ask("--scheduler", address, *FILES)
    assert (status, lines) == (1, [])
    assert said.startswith(f"No Dask scheduler answers at {address} within 0.5 s")


def test_a_scheduler_without_workers_is_said(monkeypatch: pytest.MonkeyPatch, ask: Say) -> None:
    monkeypatch.setattr(spread, "CONNECT_S", 2.0)
    with dask_cluster(0) as address:
        status, lines, said = ask("--scheduler", address, FILES[1])
    assert (status, lines) == (1, [])
    assert "has no worker" in said


def test_without_the_extra_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch, ask: Say) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    status, lines, said = ask("--scheduler", "tcp://127.0.0.1:1", *FILES)
    assert (status, lines) == (1, [])
    assert "greyspell[cluster]" in said
