"""Time what people wait for, one JSON line each.

Every time stands beside a yardstick timed in turn with it in the same run, so that the ratio holds on a fast
and on a slow machine: a pure-Python loop of floating-point sums (`yardstick`). Medians of the repeats.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import tracemalloc
import urllib.request
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import numpy as np

from engine.answers.autonomy import autonomy
from engine.answers.charging import charging
from engine.answers.comparing import comparing
from engine.answers.sizing import sizing
from engine.balance.forcing import forcing, mean_dc_w
from engine.balance.step import State, plant
from engine.balance.trajectory import run
from engine.bench.analysis import analyse
from engine.bench.cell_of_log import cell_of
from engine.bench.files import guess, read_log
from engine.cells import catalogue
from engine.cells.chemistry import table
from engine.house import household
from engine.house.household import Household
from engine.paths import data_dir
from engine.sky.days import parse_sky
from engine.sky.made import made_years
from engine.sky.spells import yield_spells
from engine.sky.years import hours_by_year

REPEATS = 9
START = datetime(2026, 12, 1)
PAGES = dict.fromkeys(("today", "size", "week", "charge", "cell-tests", "sheet"), 30.0) | dict.fromkeys(
    ("sun", "spells", "sky", "records"), 150.0
)
"""Pages that are timed, with the goal for each [ms]."""


def yardstick() -> float:
    """Do a million floating-point additions and multiplications in plain Python."""
    total = 0.0
    for index in range(1_000_000):
        total += index * 0.5
    return total


def seconds(work: Callable[[], object]) -> float:
    """Time one call [s]."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def report(name: str, work: Callable[[], object], goal_ms: float | None = None) -> None:
    """Print the median time of `work`, of the yardstick timed in turn with it, and their ratio."""
    work()
    pairs = [(seconds(work), seconds(yardstick)) for _ in range(REPEATS)]
    ms = statistics.median(own for own, _ in pairs) * 1000
    ratio = statistics.median(own / other for own, other in pairs)
    line = {"name": name, "median_ms": round(ms, 2), "ratio_to_yardstick": round(ratio, 4), "goal_ms": goal_ms}
    print(json.dumps(line), flush=True)


def engine_lines(home: Household) -> None:
    """Time the answers and the year trajectory inside one process."""
    supply = home.supplies()[0]
    week = parse_sky("kc:.37,.46,.18,.13,.17,.29,.43", home.site, home.sun, 12, 7)
    report("rainy week x 4 chemistries", lambda: comparing(home, supply, week, START), 16.0)
    coming = parse_sky("dark,dark,dull,dull,bright", home.site, home.sun, 12, 14)
    report("hours left with range and levers", lambda: autonomy(home, {supply.bank.id: 0.8}, coming, START))
    report("size for 1 to 7 days", lambda: sizing(home, supply, 3, 12, coming))
    rng = np.random.default_rng(1)
    year = forcing(home, supply, datetime(2026, 1, 1), rng.uniform(0.1, 1.0, 365)).lists()
    p = plant(supply.bank, supply.inverter, mean_dc_w(home, supply, 12))
    report("year trajectory, one bank", lambda: run(p, State(0.9), *year), 150.0)


def sky_lines(home: Household) -> None:
    """Time made years: twenty of them hour by hour for one array, their spells, and the memory held."""
    site, sun = home.site, dataclasses.replace(home.sun, arrays=home.sun.arrays[:1])
    twenty = made_years(site, sun, 20)

    def hour_by_hour() -> float:
        return sum(float(watts.sum()) for _, arrays in hours_by_year(site, sun, twenty) for watts in arrays.values())

    def spells_anew() -> object:
        fresh = dataclasses.replace(twenty, kc=twenty.kc)
        return yield_spells(site, sun, fresh)

    report("twenty hourly years of one array", hour_by_hour, 500.0)
    report("spells of twenty years by kWh, nothing kept", spells_anew, 150.0)
    tracemalloc.start()
    hour_by_hour()
    peak_mib = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    print(
        json.dumps({"name": "twenty hourly years, most held", "mib": round(peak_mib, 1), "goal_mib": 150}), flush=True
    )


def bench_lines(home: Household) -> None:
    """Time a log of 200,000 rows from its text to the cell's curve, and the charge volts of a bank."""
    content = long_log(200_000)
    read = guess(content)
    report("guess and read a log of 200,000 rows", lambda: read_log(content, guess(content)))
    log = read_log(content, read)
    report("analyse it", lambda: analyse(log))
    result = analyse(log)
    report("its cell's curve", lambda: cell_of(result, catalogue.load("sodium_layered")), 3000.0)
    supply = home.supplies()[0]
    report("charge volts", lambda: charging(home, supply.bank, supply.inverter, cell_v=2.4, hold=True, month=12))


def long_log(rows: int) -> bytes:
    """Make a log of one sodium-ion cell of 1.5 Ah, charged at 0.5C and drawn again, with `rows` rows."""
    cell, half = table(catalogue.load("sodium_layered")), rows // 2
    soc = np.linspace(0.02, 0.98, half)
    grid = np.linspace(0.0, 1.0, len(cell.ocv_v))
    ocv, ohms = np.interp(soc, grid, cell.ocv_v), np.interp(soc, grid, cell.r_slow)
    volts = np.concatenate((ocv + 0.5 * ohms, (ocv - 0.5 * ohms)[::-1]))
    amps = np.repeat((0.75, -0.75), half)
    hours = np.concatenate(((soc - 0.02) / 0.5, 1.92 + (soc - 0.02) / 0.5))
    lines = (f"{3600 * t:.2f},{v:.4f},{a:.3f}" for t, v, a in zip(hours, volts, amps, strict=True))
    return ("time s,voltage V,current A\n" + "\n".join(lines)).encode()


def server_lines() -> None:
    """Start the server as a person would; time its first answer, its answer pages and its memory."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "webapp", "--no-browser", "--port", str(port), "--data-dir", folder]
        begin = time.perf_counter()
        server = subprocess.Popen(command, stdout=subprocess.DEVNULL, cwd=Path(__file__).parents[1])
        try:
            _until_answered(f"http://127.0.0.1:{port}/today")
            first_s = time.perf_counter() - begin
            print(json.dumps({"name": "start-up to first answer", "s": round(first_s, 3), "goal_s": 2.0}), flush=True)
            for page, goal_ms in PAGES.items():
                report(f"server time of /{page}", lambda p=page: _get(f"http://127.0.0.1:{port}/{p}"), goal_ms)  # type: ignore[misc]
            _report_memory(server.pid)
        finally:
            server.terminate()
            server.wait(5)


def _until_answered(url: str) -> None:
    for _ in range(400):
        try:
            _get(url)
        except OSError:
            time.sleep(0.02)
        else:
            return
    raise TimeoutError(f"No answer from {url}.")


def _get(url: str) -> bytes:
    with urllib.request.urlopen(url, timeout=20) as response:
        body: bytes = response.read()
    return body


def _report_memory(pid: int) -> None:
    """Print the server's resident memory where the system tells it."""
    status = Path(f"/proc/{pid}/status")
    if not status.exists():
        print(json.dumps({"name": "server memory", "note": "not told by this system"}))
        return
    kib = next(int(line.split()[1]) for line in status.read_text().splitlines() if line.startswith("VmRSS"))
    print(json.dumps({"name": "server memory after use", "mib": round(kib / 1024, 1), "goal_mib": 130}))


def main() -> None:
    """Run every benchmark."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--engine-only", action="store_true", help="leave the server out")
    options = parser.parse_args()
    print(json.dumps({"name": "machine", "python": sys.version.split()[0], "cores": os.cpu_count()}))
    home = household.read((data_dir() / "example.json").read_text(encoding="utf-8"))
    engine_lines(home)
    sky_lines(home)
    bench_lines(home)
    if not options.engine_only:
        server_lines()


if __name__ == "__main__":
    main()
