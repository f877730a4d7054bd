"""Start the server as a person would; time its first answer, its pages and its memory."""

from __future__ import annotations

import contextlib
import itertools
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

from benchmarks.timing import report, seconds, tell, tell_at_most

PAGES = dict.fromkeys(("today", "size", "week", "charge", "cell-tests", "sheet"), 30.0) | dict.fromkeys(
    ("sun", "spells", "sky", "records"), 150.0
)
"""Pages that are timed, with the goal for each [ms]."""
ROOT = Path(__file__).parents[1]
THREE_BANKS = ROOT / "tests" / "households" / "three_banks.json"
NEARLY_EMPTY = "charge=45&charge_shed=40&charge_mill=75"
OF_THE_MOMENT = {"today": 300.0, "off": 2000.0, "car": 2000.0, "cold": 2000.0, "spares": 2000.0}
"""Pages of the moment with the goal for each [ms]; the days are those of the season, ten of them with their fan."""
WINTERS_MS = 1000.0
"""Goal of Winters at first, seen again, and after a change [ms]."""


def server_lines() -> None:
    """Time a server of its own with an empty folder."""
    begin = time.perf_counter()
    with served() as (base, pid):
        tell_at_most("start-up to first answer", time.perf_counter() - begin, "s", 2.0, 3)
        _page_lines(base)
        _report_memory("server memory before Winters", pid)
        _winters_lines(f"{base}/winters")
        _report_memory("server memory after use", pid)
    with served("--household", str(THREE_BANKS)) as (base, _):
        for page, goal_ms in OF_THE_MOMENT.items():
            report(f"three banks, twelve loads: /{page}", lambda p=page: fetched(f"{base}/{p}?{NEARLY_EMPTY}"), goal_ms)  # type: ignore[misc]


@contextlib.contextmanager
def served(*options: str) -> Iterator[tuple[str, int]]:
    """A server that has answered once: its address and the number of its process."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    base = f"http://127.0.0.1:{port}"
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "webapp", "--no-browser", "--port", str(port), "--data-dir", folder, *options]
        server = subprocess.Popen(command, stdout=subprocess.DEVNULL, cwd=ROOT)
        try:
            _until_answered(f"{base}/today")
            yield base, server.pid
        finally:
            server.terminate()
            server.wait(5)


def _page_lines(base: str) -> None:
    for page, goal_ms in PAGES.items():
        report(f"server time of /{page}", lambda p=page: fetched(f"{base}/{p}"), goal_ms)  # type: ignore[misc]


def _winters_lines(url: str) -> None:
    first_s = seconds(lambda: fetched(url))
    tell_at_most("server time of /winters, first", first_s * 1000, "ms", WINTERS_MS, 2)
    report("server time of /winters, warm", lambda: fetched(url), WINTERS_MS)
    shares = (f"{step / 10:.1f}" for step in itertools.count(11))
    report("server time of /winters, after a change", lambda: fetched(f"{url}?share={next(shares)}"), WINTERS_MS)


def _until_answered(url: str) -> None:
    for _ in range(400):
        try:
            fetched(url)
        except OSError:
            time.sleep(0.02)
        else:
            return
    raise TimeoutError(f"No answer from {url}.")


def fetched(url: str) -> bytes:
    """GET a page; what is no success is an `OSError`."""
    with urllib.request.urlopen(url, timeout=20) as response:
        body: bytes = response.read()
    return body


def with_file(content: bytes, name: str) -> tuple[bytes, str]:
    """Return a form that brings a file, and its kind."""
    edge = "edge-of-a-part"
    head = (
        f'--{edge}\r\nContent-Disposition: form-data; name="pasted"\r\n\r\n\r\n'
        f'--{edge}\r\nContent-Disposition: form-data; name="file"; filename="{name}"\r\n'
        "Content-Type: text/csv\r\n\r\n"
    )
    return head.encode() + content + f"\r\n--{edge}--\r\n".encode(), f"multipart/form-data; boundary={edge}"


def resident_mib(pid: int) -> float | None:
    """Return a process's resident memory [MiB]; None where the system does not tell it."""
    return _told_mib(pid, "VmRSS")


def peak_mib(pid: int) -> float | None:
    """Return the most memory a process has held so far [MiB]; None where the system does not tell it."""
    return _told_mib(pid, "VmHWM")


def _told_mib(pid: int, name: str) -> float | None:
    status = Path(f"/proc/{pid}/status")
    if not status.exists():
        return None
    return next(int(line.split()[1]) for line in status.read_text().splitlines() if line.startswith(name)) / 1024


def _report_memory(name: str, pid: int) -> None:
    mib = resident_mib(pid)
    if mib is None:
        tell(name, None, "MiB", 130.0, note="not told by this system")
    else:
        tell_at_most(name, mib, "MiB", 130.0)
