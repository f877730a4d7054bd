"""Time a year of a meter's minutes from its text to the whole log, in a process of its own and through the server.

`python -m benchmarks.log_lines FILE` is what runs in the process of its own: it prints seconds and peak memory.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.parse
import urllib.request
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from benchmarks.server_lines import ROOT, fetched, peak_mib, served, with_file
from benchmarks.timing import tell, tell_at_most

ROWS = 525_600
IMPORT_S, IMPORT_MB = 10.0, 400.0
"""Goals."""
CHOICES = {
    "column_0": "date:y-m-d",
    "column_1": "yield:W",
    "column_2": "load:kWh",
    "totals.load": "ever",
    "column_3": "bank:W",
    "signs.bank": "charging",
    "column_4": "volts:V",
    "column_5": "charge:%",
    "clock": "wall",
    "utc_offset_h": "0",
    "ends": "begin",
    "decimal": "",
    "act": "read",
}
"""What the form of such a file sends."""


def log_lines(*, server: bool = True) -> None:
    """Time the import of a year of minutes with six columns."""
    content = meter_year()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "year.csv"
        file.write_bytes(content)
        command = [sys.executable, "-m", "benchmarks.log_lines", str(file)]
        done = subprocess.run(command, check=True, capture_output=True, text=True, cwd=ROOT)
    took = json.loads(done.stdout)
    rows, size_mb = took["rows"], round(len(content) / 1e6, 1)
    tell_at_most("a year of a meter’s minutes brought in", took["s"], "s", IMPORT_S, 2, rows=rows, mb=size_mb)
    if took["peak_mb"] is None:
        tell("the same: peak memory", None, "MB", note="not told by this system")
    else:
        tell_at_most("the same: peak memory", took["peak_mb"], "MB", IMPORT_MB)
    if server:
        _server_lines(content)


def meter_year() -> bytes:
    """Make a year of minutes: yield, a counter of the load, the bank, its volts and the charge shown."""
    chance = np.random.default_rng(3)
    utc = np.datetime64("2023-01-01T00:00") + np.arange(ROWS) * np.timedelta64(1, "m")
    hour = np.arange(ROWS) / 60.0 % 24.0
    sun_w = np.maximum(0.0, 3000.0 * np.sin(np.pi * (hour - 6.0) / 12.0))
    load_w = 350.0 + 100.0 * chance.random(ROWS)
    columns = (sun_w, 100.0 + np.cumsum(load_w) / 60e3, sun_w - load_w, 52.0 + chance.random(ROWS), 50.0 + 20.0 * hour)
    digits = (1, 3, 1, 2, 1)
    cells = (np.char.mod(f"%.{count}f", column) for column, count in zip(columns, digits, strict=True))
    times = np.char.replace(utc.astype(str), "T", " ")
    head = "Time,PV power [W],Load total [kWh],Battery power [W],Battery volts [V],SOC [%]\n"
    return (head + "\n".join(map(",".join, zip(times, *cells, strict=True))) + "\n").encode()


def _imported(file: Path) -> None:
    """Bring a file into a store of its own as its pages do, and print what that took."""
    from webapp import meter_store
    from webapp.log_reading import KIND, Taken, first_known, taking
    from webapp.store import Store, example_document

    content, zone = file.read_bytes(), ZoneInfo("Europe/Dublin")
    with tempfile.TemporaryDirectory() as folder:
        store = Store(Path(folder), lambda: datetime.now(UTC))
        house = store.create(example_document(), "made").household_id
        begin = time.perf_counter()
        known = first_known(store, house, content, zone)
        kept = meter_store.add(store, house, "year", KIND, content, known.stored())
        *_, last = taking(store, kept.id, known, zone)
        rows = meter_store.whole(store, house).log.rows
        took_s = time.perf_counter() - begin
        assert isinstance(last, Taken)
        assert last.rows == rows
        store.close()
    print(json.dumps({"s": took_s, "peak_mb": _own_peak_mb(), "rows": rows}))


def _own_peak_mb() -> float | None:
    try:
        import resource
    except ImportError:
        return None
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / 1e6 if sys.platform == "darwin" else most * 1024 / 1e6


def _server_lines(content: bytes) -> None:
    """Bring the same through the pages of a server; how long each waits, and the most memory it holds."""
    with served() as (base, pid):
        begin = time.perf_counter()
        draft = _led_to(f"{base}/log", *with_file(content, "year.csv"))
        upload_s = time.perf_counter() - begin
        begin = time.perf_counter()
        body = urllib.parse.urlencode(CHOICES).encode()
        where = _led_to(f"{draft}/read", body, "application/x-www-form-urlencoded")
        steps = set()
        while "/reading?" in where:
            page = fetched(where)
            steps |= {line for line in page.decode().splitlines() if line.startswith("<p>Reading:")}
            if b"<progress" not in page:
                break
            time.sleep(0.1)
        read_s = time.perf_counter() - begin
        peak = peak_mib(pid)
        told = {"upload_s": round(upload_s, 2), "steps_seen": len(steps)}
        tell_at_most("the same through the server", read_s, "s", IMPORT_S, 2, **told)
        if peak is not None:
            tell_at_most("the same: the server’s peak memory", peak * 2**20 / 1e6, "MB", IMPORT_MB)


class _Stay(urllib.request.HTTPRedirectHandler):
    """Says where an answer leads and does not go there."""

    def redirect_request(self, *asked: object) -> None:
        return None


def _led_to(url: str, body: bytes, kind: str) -> str:
    """Send a form and return where its answer leads."""
    request = urllib.request.Request(url, body, {"Content-Type": kind, "Sec-Fetch-Site": "same-origin"})
    try:
        urllib.request.build_opener(_Stay).open(request, timeout=300).close()
    except urllib.error.HTTPError as answer:
        with answer:
            return str(urllib.parse.urljoin(url, answer.headers["Location"]))
    raise RuntimeError(f"{url} shows the form again")


if __name__ == "__main__":
    _imported(Path(sys.argv[1]))
