"""The longest files a person could bring, broken in the ways that cost most: a real server's memory stays bounded."""

from __future__ import annotations

import http.client
import random
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.web.starting import LONG_S, started
from tests.web.test_malformed_uploads import KINDS
from webapp.guard import MAX_BODY_BYTES
from webapp.uploads import MOST_PASTED_MB

MOST_MIB = 300
LENGTH = MAX_BODY_BYTES - 1024
LONGEST: dict[str, Callable[[], bytes]] = {
    "one line": lambda: b"1;2" * (LENGTH // 3),
    "very many columns": lambda: b"1;" * (LENGTH // 2),
    "very many rows": lambda: b"1;2\n" * (LENGTH // 4),
    "empty rows": lambda: b"\n" * LENGTH,
    "a million rows": lambda: (b"2026-01-01 00:00:00;3,215;12,5;25,1;0,123;55;1\n" * 1_000_000)[:LENGTH],
    "quotation marks": lambda: b'"' * LENGTH,
    "Western European": lambda: "ä;1;2\n".encode("cp1252") * (LENGTH // 6),
    "brackets": lambda: b"[" * LENGTH,
    "a long list": lambda: b"[" + b"1," * (LENGTH // 2 - 2) + b"1]",
    "things without a field": lambda: b'{"format":1,"loads":[' + b"{}," * (LENGTH // 3 - 20) + b"{}]}",
}
EDGE = b"edge-of-a-part"

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="the peak is read from /proc")


def peak_mib(pid: int) -> float:
    """The most memory a process has held so far."""
    lines = Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines()
    return int(next(line for line in lines if line.startswith("VmHWM")).split()[1]) / 1024


def bring(address: str, path: str, content: bytes, pasted_rows: bytes = b"") -> int:
    """Send a file and pasted rows as a form does, and return the status."""
    pasted, file = (
        b"--%s\r\nContent-Disposition: form-data; name=%s\r\n\r\n" % (EDGE, name)
        for name in (b'"pasted"', b'"file"; filename="%s"' % (b"broken.csv" if content else b""))
    )
    body = pasted + pasted_rows + b"\r\n" + file + content + b"\r\n--" + EDGE + b"--\r\n"
    line = http.client.HTTPConnection(address.removeprefix("http://").rstrip("/"), timeout=LONG_S)
    line.request(
        "POST",
        path,
        body,
        {"Content-Type": f"multipart/form-data; boundary={EDGE.decode()}", "Sec-Fetch-Site": "same-origin"},
    )
    answer = line.getresponse()
    answer.read()
    line.close()
    return answer.status


@pytest.mark.parametrize("path", ["/cell-tests", "/records", "/files/upload", "/files/everything"])
def test_the_longest_broken_files_leave_memory_bounded(tmp_path: Path, path: str) -> None:
    chance = random.Random(path)
    with started(tmp_path / "data", "--port", "0") as (server, address):
        for kind in KINDS:
            assert bring(address, path, kind(chance)) in (303, 422)
        before_mib = peak_mib(server.pid)
        for name, make in LONGEST.items():
            assert bring(address, path, make()) in (303, 422), name
            assert peak_mib(server.pid) < MOST_MIB, name
        assert peak_mib(server.pid) > before_mib


@pytest.mark.parametrize("path", ["/cell-tests", "/records"])
@pytest.mark.parametrize("length", [LENGTH, MOST_PASTED_MB * 1024**2])
def test_the_longest_pasted_rows_leave_memory_bounded(tmp_path: Path, path: str, length: int) -> None:
    rows = [b"1;2" * (length // 3), b"1;2\n" * (length // 4), "ä;1;2\n".encode() * (length // 7)]
    with started(tmp_path / "data", "--port", "0") as (server, address):
        for pasted in rows:
            assert bring(address, path, b"", pasted) in (303, 422)
            assert peak_mib(server.pid) < MOST_MIB, pasted[:20]
