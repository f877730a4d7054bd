"""Starting with --lan and without: who gets an answer, which pass phrase holds, one start for one data folder."""

from __future__ import annotations

import http.client
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from contextlib import ExitStack, closing
from pathlib import Path
from threading import Thread
from urllib.parse import urlsplit

import pytest

from tests.web.starting import LONG_S, ROOT, get, started
from webapp.__main__ import StartError, bind, join, main, show
from webapp.addresses import own_addresses
from webapp.first_phrase import VARIABLE, NoPhrase, agree
from webapp.one_start import LOCK_FILE, Running, first, forget, note, running, sole
from webapp.sign_in import FILE_NAME, SignIn

PHRASE = "five words of our own"
OTHERS = [*own_addresses(), *(["127.0.0.2"] if sys.platform == "linux" else [])]
"""Addresses of this machine beside the one of loopback that is always bound."""
posix = pytest.mark.skipif(os.name != "posix", reason="signals as on POSIX")


@pytest.fixture
def phrase_file(tmp_path: Path) -> Path:
    path = tmp_path / "phrase.txt"
    path.write_text(f"{PHRASE}\n", encoding="utf-8")
    return path


def port_of(address: str) -> int:
    port = urlsplit(address).port
    assert port is not None
    return port


@posix
def test_with_lan_other_devices_are_told_where_and_asked_for_the_pass_phrase(tmp_path: Path, phrase_file: Path) -> None:
    folder = tmp_path / "kept"
    options = ("--port", "0", "--lan", "--pass-phrase-file", str(phrase_file))
    with started(folder, *options) as (server, address):
        port = port_of(address)
        assert get(address, "/devices")[0] == 200
        for other in OTHERS:
            assert get(f"http://{other}:{port}", "/devices")[0] == 303
            assert get(f"http://{other}:{port}", "/today.json")[0] == 401
        first_one = running(folder)
        assert first_one is not None
        assert (first_one.port, first_one.lan) == (port, True)
        for more in ((), ("--lan",)):
            second = again(folder, *more)
            assert second.returncode == 0
            assert second.stdout.startswith(f"Greyspell is at {address}\nOn other devices of this network: ")
        assert server.stdout is not None
        said = "".join(server.stdout.readline() for _ in range(3))
        server.terminate()
        assert server.communicate(timeout=LONG_S) == ("", "")
        assert server.returncode == 0
    for other in own_addresses():
        assert f"http://{other}:{port}/" in said
    assert f"http://{socket.gethostname().lower()}:{port}/" in said
    assert "Plain http" in said
    assert "without --lan" in said
    assert PHRASE not in said


def again(folder: Path, *more: str) -> subprocess.CompletedProcess[str]:
    """A second start with the same data folder."""
    return subprocess.run(
        [sys.executable, "-m", "webapp", "--no-browser", "--data-dir", str(folder), *more],
        cwd=ROOT, capture_output=True, text=True, timeout=LONG_S, check=False, stdin=subprocess.DEVNULL,
    )  # fmt: skip


def test_without_lan_no_other_address_answers(tmp_path: Path) -> None:
    assert OTHERS or sys.platform != "linux"
    with started(tmp_path / "kept", "--port", "0") as (_, address):
        assert get(address, "/devices")[0] == 200
        for other in OTHERS:
            with pytest.raises(ConnectionRefusedError):
                socket.create_connection((other, port_of(address)), timeout=LONG_S)
        second = again(tmp_path / "kept", "--lan")
        assert second.returncode == 2
        assert f"already runs at {address} without --lan. Stop it, then start with --lan." in second.stderr


def test_only_loopback_is_bound_unless_asked_otherwise() -> None:
    with bind(0) as one, bind(0, "0.0.0.0") as everywhere:
        assert one.getsockname()[0] == "127.0.0.1"
        assert everywhere.getsockname()[0] == "0.0.0.0"


def test_lan_without_a_pass_phrase_does_not_start_where_nobody_can_be_asked(tmp_path: Path) -> None:
    done = again(tmp_path, "--lan", "--port", "0")
    assert done.returncode == 2
    assert "--pass-phrase-file FILE" in done.stderr
    assert VARIABLE in done.stderr
    assert running(tmp_path) is None


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"short\n", "12 to 200 characters long"), (b"\xff\xfe\x00", "no text in UTF-8"), (None, "cannot be read")],
)
def test_a_pass_phrase_file_that_will_not_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: bytes | None, said: str
) -> None:
    path = tmp_path / "phrase.txt"
    if content is not None:
        path.write_bytes(content)
    options = ["--lan", "--port", "0", "--no-browser", "--data-dir", str(tmp_path / "kept")]
    assert main([*options, "--pass-phrase-file", str(path)]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--pass-phrase-file", "x"], "goes with --lan"),
        (["--allow-host", "http://croft"], "takes the name or address of a host"),
        (["--allow-host", ""], "takes the name or address of a host"),
    ],
)
def test_options_that_will_not_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], options: list[str], said: str
) -> None:
    assert main([*options, "--port", "0", "--no-browser", "--data-dir", str(tmp_path)]) == 2
    assert said in capsys.readouterr().err


def test_the_pass_phrase_comes_from_file_environment_or_a_person(
    tmp_path: Path, phrase_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from webapp.app import utc_now

    sign_in = SignIn(tmp_path, utc_now)
    agree(sign_in, phrase_file)
    assert sign_in.is_phrase(PHRASE)
    token = sign_in.token()
    agree(sign_in, phrase_file)
    agree(sign_in, None)
    assert sign_in.holds(token)
    monkeypatch.setenv(VARIABLE, "quite another phrase")
    agree(sign_in, None)
    assert sign_in.is_phrase("quite another phrase")
    assert not sign_in.holds(token)
    assert VARIABLE not in os.environ
    (tmp_path / FILE_NAME).unlink()
    fresh = SignIn(tmp_path, utc_now)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    typed = iter(["one phrase of mine", "another of mine", "one phrase of mine", "one phrase of mine"])
    monkeypatch.setattr("getpass.getpass", lambda prompt: next(typed))
    with pytest.raises(NoPhrase, match="not the same"):
        agree(fresh, None)
    assert not fresh.is_set
    agree(fresh, None)
    assert fresh.is_phrase("one phrase of mine")


# -- one start for one data folder


def test_two_starts_at_the_same_moment_are_one(tmp_path: Path) -> None:
    line = [sys.executable, "-m", "webapp", "--no-browser", "--data-dir", str(tmp_path / "kept")]
    both = [subprocess.Popen(line, cwd=ROOT, stdout=subprocess.PIPE, text=True) for _ in range(2)]
    try:
        said = [one.stdout.readline() for one in both if one.stdout is not None]
        assert said[0].startswith("Greyspell is at http://127.0.0.1:")
        assert said[0] == said[1]
        ended_at = time.monotonic() + LONG_S
        while all(one.poll() is None for one in both):
            assert time.monotonic() < ended_at, "both serve the same folder"
            time.sleep(0.05)
        assert sorted(one.poll() is None for one in both) == [False, True]
        found = running(tmp_path / "kept")
        assert found is not None
        assert said[0].strip().endswith(found.address)
    finally:
        for one in both:
            one.kill()
            one.communicate()


def test_the_lock_is_one_persons_and_ends_with_them(tmp_path: Path) -> None:
    with sole(tmp_path) as mine:
        assert mine
        with sole(tmp_path) as theirs:
            assert not theirs
    with sole(tmp_path) as later:
        assert later
    assert (tmp_path / LOCK_FILE).exists()


def test_a_start_that_was_killed_stands_in_nobodys_way(tmp_path: Path) -> None:
    with started(tmp_path, "--port", "0") as (server, address):
        server.kill()
        server.communicate()
        with started(tmp_path, "--port", "0") as (_, another):
            assert get(another, "/devices")[0] == 200
            assert another != address


def test_a_second_start_waits_for_a_first_that_has_only_begun(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = Running(port=1, lan=False)
    answers = iter([None, None, found])
    monkeypatch.setattr("webapp.one_start.running", lambda folder: next(answers))
    monkeypatch.setattr("webapp.one_start.AGAIN_S", 0.0)
    assert first(tmp_path) == found


def test_a_folder_that_is_held_but_silent_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("webapp.one_start.FIRST_ANSWERS_S", 0.0)
    with sole(tmp_path) as mine:
        assert mine
        assert main(["--no-browser", "--data-dir", str(tmp_path)]) == 2
    assert "holds the data folder" in capsys.readouterr().err


def test_a_data_folder_that_cannot_be_one_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert main(["--no-browser", "--data-dir", str(tmp_path / "file")]) == 2
    assert f"The data folder {tmp_path / 'file'} cannot be used" in capsys.readouterr().err


def test_the_note_tells_whether_it_is_shared(tmp_path: Path) -> None:
    note(tmp_path, Running(port=1, lan=True))
    assert '"lan": true' in (tmp_path / "running.json").read_text(encoding="utf-8")
    forget(tmp_path)
    forget(tmp_path)
    assert list(tmp_path.iterdir()) == []


# -- anywhere


@posix
def test_it_runs_from_folders_with_spaces_and_letters_of_any_language(tmp_path: Path, house_file: Path) -> None:
    checkout = tmp_path / "Grüne Hütte – вода 水"
    for name in ("engine", "webapp", "data", "templates", "static"):
        shutil.copytree(ROOT / name, checkout / name, ignore=shutil.ignore_patterns("__pycache__"))
    household = tmp_path / "Ćuk ’n’ croft.json"
    house_file.rename(household)
    options = ("--port", "0", "--household", str(household))
    with started(tmp_path / "Dáta фолдер", *options, root=checkout) as (server, address):
        status, body = get(address, "/files")
        assert status == 200
        assert "Dáta фолдер" in body.decode()
        assert get(address, "/static/app.css")[0] == 200
        server.terminate()
        assert server.communicate(timeout=LONG_S)[1] == ""


# -- the end


STUCK = """
import os, sys, threading
from webapp import app
from webapp.__main__ import main
usual = app.create_app
def stuck():
    os.write(1, b"begun\\n")
    threading.Event().wait()
def work():
    stuck()
    yield 1
def create_app(*given, **named):
    made = usual(*given, **named)
    made.app.add_api_route("/stuck", stuck, methods=["GET"])
    made.app.add_api_route("/job", lambda: made.app.state.jobs.ask("job", work) and "", methods=["GET"])
    return made
app.create_app = create_app
sys.exit(main(sys.argv[1:]))
"""
"""A server with a page and a piece of work beside the pages that never end."""


@posix
@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGTERM])
def test_it_ends_whatever_is_worked_out_and_whoever_is_connected(tmp_path: Path, stop: signal.Signals) -> None:
    with started(tmp_path, "--port", "0", command=("-c", STUCK)) as (server, address), ExitStack() as stack:
        place = urlsplit(address)
        kept = stack.enter_context(closing(http.client.HTTPConnection(place.netloc, timeout=LONG_S)))
        kept.request("GET", "/job")
        kept.getresponse().read()
        line = stack.enter_context(socket.create_connection((place.hostname, place.port), timeout=LONG_S))
        line.sendall(f"GET /stuck HTTP/1.1\r\nHost: {place.netloc}\r\n\r\n".encode())
        assert server.stdout is not None
        assert [server.stdout.readline() for _ in range(2)] == ["begun\n"] * 2
        began_s = time.monotonic()
        server.send_signal(stop)
        _, errors = server.communicate(timeout=LONG_S)
        took = f"it took {time.monotonic() - began_s:.2f} s"
        assert (server.returncode, errors) == (0, ""), took
        assert running(tmp_path) is None
        assert not (tmp_path / "running.json").exists(), took
    with started(tmp_path, "--port", "0") as (_, again_at):
        assert get(again_at, "/devices")[0] == 200


def test_a_second_start_asks_for_what_the_first_is_not(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from webapp.__main__ import arguments

    plain = Running(port=1, lan=False)
    with pytest.raises(StartError, match="without --lan"):
        join(plain, arguments(["--lan"]), tmp_path)
    with pytest.raises(StartError, match="give --data-dir"):
        join(plain, arguments(["--port", "2"]), tmp_path)
    join(plain, arguments(["--no-browser"]), tmp_path)
    assert capsys.readouterr().out == "Greyspell is at http://127.0.0.1:1/\n"


def test_the_browser_is_opened_at_this_machines_own_address(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []
    monkeypatch.setattr("webbrowser.open", opened.append)
    monkeypatch.setattr("threading.Thread.start", Thread.run)
    show(Running(port=8437, lan=True), no_browser=False)
    assert opened == ["http://127.0.0.1:8437/"]
