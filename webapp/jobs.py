"""Work that takes seconds, done beside the pages, with its progress to be asked for.

One piece of work runs at a time, since it is Python throughout and two would only halve each other's speed; the same
question asked twice is one piece. Between two steps it is seen whether it goes on:

- What nobody asked after for `ASIDE_S` lets a question go first that somebody does ask after, and goes on from where it
  was when its turn comes again: nothing is lost by it, so the time may be short. A page asks every 0.7 s, and its
  answer may take a second beside other work.
- What nobody asked after for `IDLE_S` stops: who reads without scripts presses “Look again” by hand, and may take that
  long. Until then it goes on where nothing else waits.

Whoever waits for a piece of work asks after it all the while. Nothing outlives the process.
"""

from __future__ import annotations

import logging
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass, field
from threading import Condition, Event, Thread

from engine.errors import Unreachable

KEPT = 16
"""Pieces of work remembered, done or not."""
ASIDE_S = 2.5
IDLE_S = 60.0
CLOSE_S = 1.0
"""So long a close waits for the step at hand; its thread does not hold the process after that."""
Work = Callable[[], Iterator[object]]


@dataclass(slots=True)
class Job:
    """One piece of work: the last thing it gave, whether that is its result, and why there is none.

    `ended` is set when nothing more comes of it, be it done or stopped; `waiting` is how many wait for that.
    """

    asked_s: float
    last: object | None = None
    done: bool = False
    refused: str = ""
    stopped: bool = False
    waiting: int = 0
    ended: Event = field(default_factory=Event)

    def stop(self) -> None:
        """End it at its next step; whoever waits for it need not."""
        self.stopped = True
        self.ended.set()


@dataclass(slots=True)
class _Turn:
    """A piece of work that is not done: how to begin it, and its steps once it is begun."""

    job: Job
    work: Work
    steps: Iterator[object] | None = None


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
        self._turns: list[_Turn] = []
        self._changed = Condition()
        self._closed = False
        self._worker = Thread(target=self._take_turns, name="jobs", daemon=True)

    def find(self, question: Hashable) -> Job | None:
        """Return how far a question's work is, which counts as asking after it; None where there is none."""
        with self._changed:
            job = self._jobs.get(question)
            if job is None or job.stopped:
                return None
            job.asked_s = self._clock()
            self._jobs.move_to_end(question)
            return job

    def ask(self, question: Hashable, work: Work, *, anew: bool = False) -> Job:
        """Return how far a question's work is, and begin it if nobody did.

        Parameters
        ----------
        question : hashable
            What makes two pieces of work the same.
        work : callable
            Gives its progress step by step and its result last; `Unreachable` is kept as a sentence.
        anew : bool
            Whether work that is done is done once more, because it changes something.
        """
        with self._changed:
            job = self._jobs.get(question)
            if job is None or job.stopped or (anew and job.done):
                job = self._jobs[question] = Job(asked_s=self._clock())
                self._turns.append(_Turn(job, work))
                self._changed.notify()
                if self._worker.ident is None:
                    self._worker.start()
            job.asked_s = self._clock()
            self._jobs.move_to_end(question)
            while len(self._jobs) > KEPT:
                self._jobs.popitem(last=False)[1].stop()
            return job

    def wait(self, job: Job, seconds: float) -> None:
        """Wait until nothing more comes of a piece of work, or so long; it counts as asked after until then."""
        with self._changed:
            job.waiting += 1
        job.ended.wait(seconds)
        with self._changed:
            job.waiting -= 1
            job.asked_s = self._clock()

    def close(self) -> None:
        """Stop what runs at its next step, and wait a little for that."""
        with self._changed:
            for job in self._jobs.values():
                job.stop()
            self._closed = True
            self._changed.notify()
        if self._worker.ident is not None:
            self._worker.join(CLOSE_S)

    def _take_turns(self) -> None:
        while (turn := self._next()) is not None:
            self._run(turn)

    def _next(self) -> _Turn | None:
        """The first that somebody asks after, else the first; None at the close."""
        with self._changed:
            while not self._turns and not self._closed:
                self._changed.wait()
            if self._closed:
                return None
            turn = next((one for one in self._turns if self._asked_after(one.job)), self._turns[0])
            self._turns.remove(turn)
            return turn

    def _run(self, turn: _Turn) -> None:
        """Go on with a piece of work until it is done, stopped or set aside."""
        job = turn.job
        try:
            if self._left_alone(job):
                return
            turn.steps = turn.work() if turn.steps is None else turn.steps
            for step in turn.steps:
                job.last = step
                if self._left_alone(job) or self._set_aside(turn):
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
        with self._changed:
            if not self._asked_after(job, IDLE_S):
                job.stop()
            return job.stopped

    def _set_aside(self, turn: _Turn) -> bool:
        """Whether another goes first: nobody asks after this one, and somebody after that."""
        with self._changed:
            aside = not self._asked_after(turn.job) and any(self._asked_after(one.job) for one in self._turns)
            if aside:
                self._turns.append(turn)
            return aside

    def _asked_after(self, job: Job, within_s: float = ASIDE_S) -> bool:
        return job.waiting > 0 or self._clock() - job.asked_s <= within_s
