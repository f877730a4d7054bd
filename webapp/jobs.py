"""Work that takes seconds, done beside the pages, with its progress to be asked for.

One piece of work runs at a time; the same question asked twice is one piece. What nobody asks after for a minute stops
at its next step. Nothing outlives the process.
"""

from __future__ import annotations

import logging
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass, field
from queue import SimpleQueue
from threading import Event, Lock, Thread

from engine.errors import Unreachable

KEPT = 16
"""Pieces of work remembered, done or not."""
IDLE_S = 60.0
CLOSE_S = 1.0
"""So long a close waits for the step at hand; its thread does not hold the process after that."""
Work = Callable[[], Iterator[object]]


@dataclass(slots=True)
class Job:
    """One piece of work: the last thing it gave, whether that is its result, and why there is none.

    `ended` is set when nothing more comes of it, be it done or stopped.
    """

    asked_s: float
    last: object | None = None
    done: bool = False
    refused: str = ""
    stopped: bool = False
    ended: Event = field(default_factory=Event)

    def stop(self) -> None:
        """End it at its next step; whoever waits for it need not."""
        self.stopped = True
        self.ended.set()


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
        self._turns: SimpleQueue[tuple[Job, Work] | None] = SimpleQueue()
        self._worker = Thread(target=self._take_turns, name="jobs", daemon=True)

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
                self._turns.put((job, work))
                if self._worker.ident is None:
                    self._worker.start()
            job.asked_s = self._clock()
            self._jobs.move_to_end(question)
            while len(self._jobs) > KEPT:
                self._jobs.popitem(last=False)[1].stop()
            return job

    def close(self) -> None:
        """Stop what runs at its next step, and wait a little for that."""
        with self._lock:
            for job in self._jobs.values():
                job.stop()
        self._turns.put(None)
        if self._worker.ident is not None:
            self._worker.join(CLOSE_S)

    def _take_turns(self) -> None:
        while (turn := self._turns.get()) is not None:
            self._run(*turn)

    def _run(self, job: Job, work: Work) -> None:
        try:
            if self._left_alone(job):
                return
            for step in work():
                job.last = step
                if self._left_alone(job):
                    return
        except Unreachable as fault:
            job.refused = str(fault)
        except Exception:
            logging.getLogger(__name__).exception("Work beside the pages failed.")
            job.refused = "This could not be worked out: a fault of ours, not of what you typed."
        job.done = True
        job.ended.set()

    def _left_alone(self, job: Job) -> bool:
        """Whether to leave off: it was stopped, or nobody asked after it for too long."""
        with self._lock:
            if self._clock() - job.asked_s > IDLE_S:
                job.stop()
            return job.stopped
