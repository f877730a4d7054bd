"""Many clients at once on a server of its own: faults, how long they wait, memory, and Today beside a long upload.

The first rounds ask again as soon as they are answered, which no person does: Python answers on one core, so they wait
for one another. In the last each looks at a page for a while first, as people do. Queries vary, most of them
without end, so that few are answered from what was kept of the same question.
"""

from __future__ import annotations

import itertools
import random
import statistics
import threading
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from benchmarks.server_lines import fetched, resident_mib, served, with_file
from benchmarks.timing import seconds, tell, tell_at_most

CLIENTS = 8
LOOK_S = 1.0
"""How long a client of the last round looks at a page on average [s] (choice)."""
P99_MS, GROWTH_SHARE, BESIDE_UPLOAD = 500.0, 0.05, 2.0
"""Goals: what 99 of 100 waits stay below [ms], growth of memory in the second round, Today's time beside an upload."""
UPLOAD_DAYS, UPLOAD_STEP_MIN = 9 * 365, 5
"""Days and step of the sun record that is brought: 34 MB of text."""
ASKED = (
    "today?charge={charge}",
    "today.json?charge={charge}",
    "off?charge={charge}",
    "size?days={days}&month={month}",
    "size.json?days={days}&month={month}",
    "week?month={month}",
    "week.json?month={month}",
    "charge?minutes={minutes}",
    "spells?days={spell}",
    "sheet?charge={charge}&days={days}",
)
"""Pages that are asked, each with a value that varies."""


SPELL_DAYS = (3, 7, 14)
"""Lengths that Dull spells offers [days]."""


@dataclass(slots=True)
class Waits:
    """What the clients of one round met."""

    ms: list[float] = field(default_factory=list)
    by_page: dict[str, list[float]] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)


def load_lines(round_s: float) -> None:
    """Run the rounds, each of so many seconds, and the upload."""
    with served() as (base, pid):
        for path in queries(0, len(ASKED)):
            fetched(f"{base}/{path}")
        before_mib = resident_mib(pid)
        first = asked_by_clients(base, round_s, 0.0, 1)
        after_mib = resident_mib(pid)
        _tell_waits("asking at once again", first, None)
        second = asked_by_clients(base, round_s, 0.0, 2)
        _tell_waits("asking at once again, second round", second, None)
        _tell_memory(before_mib, after_mib, resident_mib(pid))
        _tell_waits(f"looking for {LOOK_S:g} s between", asked_by_clients(base, round_s, LOOK_S, 3), P99_MS)
        _upload_lines(base)


def queries(seed: int, count: int | None = None) -> Iterator[str]:
    """Yield addresses, every page in turn, with values drawn for each."""
    draw = random.Random(seed)
    order = itertools.cycle(draw.sample(ASKED, len(ASKED))) if count is None else iter(ASKED[:count])
    for path in order:
        yield path.format(
            charge=round(draw.uniform(30, 100), 2),
            days=draw.randint(1, 7),
            spell=draw.choice(SPELL_DAYS),
            month=draw.randint(1, 12),
            minutes=round(draw.uniform(20, 200), 1),
        )


def asked_by_clients(base: str, round_s: float, look_s: float, seed: int) -> Waits:
    """Let the clients ask for so many seconds; between two pages each looks for up to twice `look_s`."""
    waits, end_s = Waits(), time.monotonic() + round_s

    def client(number: int) -> None:
        pause = random.Random(seed * CLIENTS + number)
        for path in queries(seed * CLIENTS + number):
            time.sleep(pause.uniform(0.0, 2.0 * look_s))
            if time.monotonic() >= end_s:
                return
            _ask(base, path, waits)

    threads = [threading.Thread(target=client, args=(number,)) for number in range(CLIENTS)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    return waits


def _ask(base: str, path: str, waits: Waits) -> None:
    try:
        ms = seconds(lambda: fetched(f"{base}/{path}")) * 1000.0
    except OSError as fault:
        waits.faults.append(f"{path}: {fault}")
        return
    waits.ms.append(ms)
    waits.by_page.setdefault(path.partition("?")[0], []).append(ms)


def _tell_waits(name: str, waits: Waits, goal_ms: float | None) -> None:
    tell(f"{CLIENTS} clients {name}: faults", len(waits.faults), "faults", 0, not waits.faults, first=waits.faults[:1])
    p50, p99 = (float(np.percentile(waits.ms, share)) for share in (50, 99))
    pages = {page: round(statistics.median(ms)) for page, ms in sorted(waits.by_page.items())}
    tell_at_most(f"{CLIENTS} clients {name}: p50", p50, "ms", None, asked=len(waits.ms), median_by_page=pages)
    tell_at_most(f"{CLIENTS} clients {name}: p99", p99, "ms", goal_ms)


def _tell_memory(before: float | None, after: float | None, later: float | None) -> None:
    """Print memory before and after the first round, and how much more a second like it leaves."""
    name = "server memory before clients; after a round"
    if before is None or after is None or later is None:
        tell(name, None, "MiB", note="not told by this system")
        return
    tell(name, [round(before, 1), round(after, 1)], "MiB")
    growth = round(later / after - 1.0, 3)
    tell("server memory, growth in a second round", growth, "-", GROWTH_SHARE, growth <= GROWTH_SHARE)


def _upload_lines(base: str) -> None:
    """Time Today by itself and while a long sun record is brought and read, again and again until it is."""
    body, kind = sun_record()
    alone = [_today_s(base) for _ in range(21)]
    faults: list[str] = []
    upload = threading.Thread(target=_bring, args=(base, body, kind, faults))
    upload.start()
    beside = []
    while upload.is_alive():
        beside.append(_today_s(base))
    upload.join()
    tell("upload: faults", len(faults), "faults", 0, not faults, first=faults[:1])
    medians_ms = [round(statistics.median(times) * 1000.0, 1) for times in (alone, beside)]
    ratio = medians_ms[1] / medians_ms[0]
    more = {"alone_ms": medians_ms[0], "beside_ms": medians_ms[1], "asked": len(beside), "mb": round(len(body) / 1e6)}
    tell_at_most("Today beside an upload, over Today alone", ratio, "times", BESIDE_UPLOAD, 2, **more)


def _today_s(base: str) -> float:
    return seconds(lambda: fetched(f"{base}/today?charge={random.uniform(30, 100):.2f}"))


def sun_record() -> tuple[bytes, str]:
    """Return a form with an invented log of sunshine every few minutes, and its kind."""
    steps = np.arange(UPLOAD_DAYS * 24 * 60 // UPLOAD_STEP_MIN)
    times = np.datetime64("2010-01-01T00:00") + steps * np.timedelta64(UPLOAD_STEP_MIN, "m")
    of_day = steps * UPLOAD_STEP_MIN / 60.0 % 24.0
    shares = np.random.default_rng(5).uniform(0.1, 1.0, UPLOAD_DAYS).repeat(24 * 60 // UPLOAD_STEP_MIN)
    watts = (700.0 * np.maximum(np.cos((of_day - 12.0) * np.pi / 12.0), 0.0) * shares).round().astype(int)
    text = "\n".join(
        f"{when},{power},{power}.0,0.00,1013.2" for when, power in zip(times.astype(str), watts, strict=True)
    )
    head = "time,global radiation W/m2,copy W/m2,rain mm,pressure hPa\n"
    return with_file(f"{head}{text}\n".encode(), "roof.csv")


def _bring(base: str, body: bytes, kind: str, faults: list[str]) -> None:
    headers = {"Content-Type": kind, "Sec-Fetch-Site": "same-origin"}
    request = urllib.request.Request(f"{base}/records", body, headers)
    try:
        with urllib.request.urlopen(request, timeout=300) as draft:
            draft.read()
    except OSError as fault:
        faults.append(str(fault))
