"""Many documents over the cores here or over a Dask cluster: lines in the order of the files, few in memory at once.

Files are read here, one by one as there is room; a cluster's workers need this Greyspell, not the files.
"""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import closing
from multiprocessing import get_context
from typing import Any, Protocol

from engine.asking.document import Document, Line, answered, failed, opened
from engine.asking.questions import Asked
from engine.fields import Quantity

AHEAD = 4
"""Documents read and sent ahead for each core (choice): none waits for work, and few are held."""
CONNECT_S = 10.0
"""How long a scheduler, and then its first worker, may take to answer [s] (choice)."""

PROCESSES = Quantity(label="Processes", unit="", low=1, high=512, whole=True)


class Halted(Exception):
    """Why the rest of the documents cannot be answered, as a sentence."""


class Promise(Protocol):
    """What a pool or a cluster gives for a document it has not answered yet."""

    def result(self) -> Line:
        """Wait for the line."""


def cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def on_cores(asked: Asked, files: Sequence[str], processes: int) -> Generator[Line, None, None]:
    """Answer on the cores of this machine.

    Raises
    ------
    Halted
        If one of the processes is ended from outside, as where memory runs out.
    """
    if min(processes, len(files)) <= 1:
        yield from (answered(asked, opened(file)) for file in files)
        return
    with ProcessPoolExecutor(min(processes, len(files)), get_context("spawn"), _leave_ctrl_c) as pool:
        try:
            for _, promise in in_order(lambda one: pool.submit(answered, asked, one), files, AHEAD * processes):
                yield promise.result()
        except BrokenProcessPool:
            raise Halted(
                "One of the processes was ended, perhaps for want of memory; the rest is not answered."
            ) from None
        finally:
            pool.shutdown(cancel_futures=True)


def on_cluster(asked: Asked, files: Sequence[str], address: str) -> Generator[Line, None, None]:
    """Answer on the Dask cluster whose scheduler is at `address`.

    Raises
    ------
    Halted
        If Dask is not installed, no scheduler or no worker answers within `CONNECT_S`, or the cluster gives up.
    """
    try:
        from distributed import Client, KilledWorker
    except ImportError:
        raise Halted("A cluster needs Dask, which is not installed: pip install 'greyspell[cluster]'.") from None
    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as fault:
        raise Halted(f"No Dask scheduler answers at {address} within {CONNECT_S:g} s: {fault}") from None
    with closing(client):
        ahead = AHEAD * _workers_cores(client, address)
        try:
            for file, promise in in_order(lambda one: client.submit(answered, asked, one, pure=False), files, ahead):
                try:
                    yield promise.result()
                except KilledWorker:
                    yield failed(file, "Each worker that took this household was ended before it had answered.")
        except Exception as fault:
            raise Halted(
                f"The cluster at {address} gave up, and the rest is not answered: {_first_line(fault)} "
                "Has each worker the same Greyspell?"
            ) from None


def _first_line(fault: Exception) -> str:
    """Return the name of a fault and the first line of what it says."""
    return f"{type(fault).__name__}: {fault}".partition("\n")[0]


def _workers_cores(client: Any, address: str) -> int:
    """Wait for the first worker, and return how many documents can be worked on at once."""
    try:
        client.wait_for_workers(1, timeout=CONNECT_S)
    except TimeoutError:
        raise Halted(f"The scheduler at {address} has no worker.") from None
    return int(sum(client.nthreads().values()))


def in_order(submit: Callable[[Document], Promise], files: Iterable[str], ahead: int) -> Iterator[tuple[str, Promise]]:
    """Hand out documents, at most `ahead` before the first of them is waited for; return them in their order."""
    waiting: deque[tuple[str, Promise]] = deque()
    for file in files:
        waiting.append((file, submit(opened(file))))
        if len(waiting) >= ahead:
            yield waiting.popleft()
    yield from waiting


def _leave_ctrl_c() -> None:
    """In a process of the pool: leave Ctrl-C to the one that started it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
