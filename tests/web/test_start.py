"""Starting, starting twice, and stopping: what the command line promises.

With other devices: test_start_lan.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from tests.web.starting import ROOT, get, started
from webapp import __version__
from webapp.__main__ import StartError, bind, main
from webapp.one_start import LOCK_FILE, running


@pytest.mark.skipif(os.name != "posix", reason="signals as on POSIX")
@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGTERM])
def test_start_answer_second_start_and_clean_stop(tmp_path: Path, house_file: Path, stop: signal.Signals) -> None:
    folder = tmp_path / "kept"
    with started(folder, "--household", str(house_file), "--port", "0") as (server, address):
        assert get(address, "/health") == (200, f'{{"greyspell":"{__version__}"}}'.encode())
        status, body = get(address, "/files")
        assert status == 200
        assert "Test croft" in body.decode()
        found = running(folder)
        assert found is not None
        assert (found.address, found.lan) == (address, False)
        second = subprocess.run(
            [sys.executable, "-m", "webapp", "--no-browser", "--data-dir", str(folder)],
            cwd=ROOT, capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip
        assert second.returncode == 0
        assert second.stdout.strip() == f"Greyspell is at {address}"
        server.send_signal(stop)
        _, errors = server.communicate(timeout=20)
        assert (server.returncode, errors) == (0, "")
    assert sorted(path.name for path in folder.iterdir()) == [LOCK_FILE, "greyspell.sqlite3"]
    assert running(folder) is None


def test_the_version_is_said_and_nothing_is_started(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["--version", "--no-browser", "--data-dir", str(tmp_path / "none")])
    assert (left.value.code, capsys.readouterr().out) == (0, f"greyspell {__version__}\n")
    assert not (tmp_path / "none").exists()


def test_a_busy_port_that_was_asked_for_is_an_error(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        assert main(["--port", str(port), "--no-browser", "--data-dir", str(tmp_path)]) == 2
    assert f"Port {port} cannot be used" in capsys.readouterr().err


def test_the_usual_port_moves_on_when_busy() -> None:
    first = bind(None)
    second = bind(None)
    assert second.getsockname()[1] > first.getsockname()[1]
    first.close()
    second.close()


def test_a_port_out_of_range_is_refused() -> None:
    with pytest.raises(StartError, match="from 0 to 65535; got 70000"):
        bind(70000)


def test_a_household_that_cannot_be_read_is_a_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    missing = str(tmp_path / "none.json")
    assert main(["--household", missing, "--port", "0", "--no-browser", "--data-dir", str(tmp_path)]) == 2
    assert "cannot be read" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["", "{}", '{"port": "x"}', '{"port": 1}', "[]"])
def test_a_stale_note_of_a_first_start_is_no_hindrance(tmp_path: Path, text: str) -> None:
    (tmp_path / "running.json").write_text(text, encoding="utf-8")
    assert running(tmp_path) is None


def test_something_else_on_the_noted_port_is_not_taken_for_us(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        (tmp_path / "running.json").write_text(json.dumps({"port": other.getsockname()[1]}), encoding="utf-8")
        assert running(tmp_path) is None


def test_starting_reads_nothing_heavy_that_no_page_needs_yet() -> None:
    code = (
        "import sys, webapp.app, webapp.__main__; print({'pandas', 'plotly', 'tqdm', 'distributed'} & set(sys.modules))"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "set()"
