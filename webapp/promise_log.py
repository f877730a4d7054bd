"""Answers of the promise book scored by the household's own meter: its charge at their marks.

A log has one charge and does not say of which bank; where several are joined it tells nothing of any.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from engine.answers.promise_log import seen_in
from engine.answers.promises import best_that_tells, marks
from engine.meter.log import MeterLog
from webapp import meter_store, promise_store
from webapp.promise_store import Kept
from webapp.store import Store


def waiting(store: Store, household_id: int, kept: list[Kept]) -> list[Kept]:
    """Return the answers without anything that came, as far as a meter file brought later may tell of them."""
    brought = [one.made_at for one in meter_store.accepted(store, household_id)]
    newest = max(brought, default=None)
    return [] if newest is None else [one for one in kept if _may_be_told(one, newest)]


def _may_be_told(one: Kept, newest: datetime) -> bool:
    return one.came is None and one.asked_at < newest and one.asked.get("banks", 1) == 1


def score_by_log(store: Store, household_id: int) -> int:
    """Keep what the meter files say came of answers, and return of how many."""
    kept = promise_store.answers(store, household_id)
    wanted = waiting(store, household_id, kept)
    if not wanted:
        return 0
    log = meter_store.whole(store, household_id).log
    return sum(_scored(store, one, kept, log) for one in wanted)


def _scored(store: Store, one: Kept, kept: list[Kept], log: MeterLog) -> bool:
    asked = one.asked
    seen = seen_in(log, one.asked_at.timestamp(), marks(asked["dawn_h"]), generator=asked["generator"])
    found = best_that_tells(one.promise, seen)
    if found is None:
        return False
    came, _ = found
    moment = one.asked_at + timedelta(hours=came.after_h)
    others = [other for other in kept if other.bank_id == one.bank_id]
    if not promise_store.told_by(one, others, moment):
        return False
    return promise_store.take(store, one, came.kind, moment, came.soc, "log")
