"""Greyspell never goes online: every page and answer is asked of a process that may not, and does not even try.

Python tells an audit hook of every connection, datagram, name that is looked up and program that is started, whatever
library does it.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import Client
from tests.web.starting import ROOT, get, started
from webapp.app import PAGES

WATCHED = """
import ipaddress, os, sys
REFUSED = {"socket.connect", "socket.sendto", "socket.sendmsg", "socket.getaddrinfo", "socket.gethostbyname",
           "socket.gethostbyaddr", "socket.getnameinfo", "urllib.Request", "subprocess.Popen", "os.system",
           "os.posix_spawn", "os.fork", "os.exec", "ftplib.connect", "smtplib.connect", "webbrowser.open"}
def local(args):
    text = str(args[1][0] if len(args) > 1 and isinstance(args[1], tuple) else args[0])
    try:
        return ipaddress.ip_address(text).is_loopback
    except ValueError:
        return False
def hook(event, args):
    if event in REFUSED and not (event.startswith("socket.") and local(args)):
        with open(os.environ["ATTEMPTS"], "a") as file:
            file.write(f"{event} {args}\\n")
        raise OSError(f"refused: {event}")
sys.addaudithook(hook)
"""
SERVE = f"{WATCHED}\nfrom webapp.__main__ import main\nsys.exit(main(sys.argv[1:]))"
ANSWERS = [f"{module.PAGE.path}.json" for module in PAGES]


def test_no_page_and_no_answer_tries_to_leave_this_machine(tmp_path: Path, client: Client) -> None:
    attempts = tmp_path / "attempts.txt"
    phrase = tmp_path / "phrase.txt"
    phrase.write_text("five words of our own", encoding="utf-8")
    options = ("--port", "0", "--lan", "--pass-phrase-file", str(phrase))
    asked = [module.PAGE.path for module in PAGES] + [path for path in ANSWERS if client.get(path).status_code == 200]
    assert len(asked) > 40
    with started(tmp_path / "kept", *options, command=("-c", SERVE), ATTEMPTS=str(attempts)) as (_, address):
        for path in (*asked, "/sign-in", "/nothing", "/health"):
            assert get(address, path)[0] in (200, 303, 404), path
    assert not attempts.exists(), attempts.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "tried",
    [
        "import socket; socket.socket().connect(('192.0.2.9', 80))",
        "import socket; socket.socket(type=socket.SOCK_DGRAM).sendto(b'', ('192.0.2.9', 80))",
        "import socket; socket.getaddrinfo('elsewhere.example', 80)",
        "import urllib.request; urllib.request.urlopen('http://elsewhere.example/')",
        "import subprocess; subprocess.Popen(['true'])",
    ],
)
def test_what_would_leave_it_is_seen(tmp_path: Path, tried: str) -> None:
    attempts = tmp_path / "attempts.txt"
    done = subprocess.run(
        [sys.executable, "-c", f"{WATCHED}\n{tried}"],
        cwd=ROOT, env={"ATTEMPTS": str(attempts)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "refused: " in done.stderr
    assert attempts.exists()
