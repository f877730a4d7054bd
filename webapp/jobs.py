"""Work that takes seconds, done beside the pages, with its progress to be asked for.

One piece of work runs at a time; the same question asked twice is one piece. What nobody asks after for a minute stops
at its next step. Nothing outlives the process.
"""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from threading import Lock

from engine.errors import Unreachable

KEPT = 16
"""Pieces of work remembered, done or not."""
IDLE_S = 60.0
Work = Callable[[], Iterator[object]]


@dataclass(slots=True)
class Job:
    """One piece of work: the last thing it gave, whether that is its result, and why there is none."""

    asked_s: float
    last: object | None = None
    done: bool = False
    refused: str = ""
    stopped: bool = False


class Jobs:
    """Pieces of work by their question.

    Parameters
    ----------
    clock : callable
        Returns seconds that never run backwards.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._jobs: OrderedDict[Hashable, Job] = OrderedDict()
        self._lock = Lock()
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="jobs")

    def ask(self, question: Hashable, work: Work) -> Job:
        """Return how far a question's work is, and begin it if nobody did.

        Parameters
        ----------
        question : hashable
            What makes two pieces of work the same.
        work : callable
            Gives its progress step by step and its result last; `Unreachable` is kept as a sentence.
        """
        with self._lock:
            job = self._jobs.get(question)
            if job is None or job.stopped:
                job = self._jobs[question] = Job(asked_s=self._clock())
                self._pool.submit(self._run, job, work)
            job.asked_s = self._clock()
            self._jobs.move_to_end(question)
            while len(self._jobs) > KEPT:
                self._jobs.popitem(last=False)[1].stopped = True
            return job

    def close(self) -> None:
        """Stop what runs at its next step, and wait for that."""
        with self._lock:
            for job in self._jobs.values():
                job.stopped = True
        self._pool.shutdown(cancel_futures=True)

    def _run(self, job: Job, work: Work) -> None:
        try:
            for step in work():
                job.last = step
                if job.stopped or self._clock() - job.asked_s > IDLE_S:
                    job.stopped = True
                    return
        except Unreachable as fault:
            job.refused = str(fault)
        except BaseException:
            job.refused = "This could not be worked out: a fault of ours, not of what you typed."
            raise
        finally:
            job.done = not job.stopped
