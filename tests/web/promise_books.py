"""Books of answers made for tests: each a straight promise, some of them outside their range."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from engine.answers.promises import Promise
from webapp import promise_store
from webapp.promise_store import Note
from webapp.store import Store

LOW, LIKELY, HIGH = 0.45, 0.50, 0.55


def asked(**more: Any) -> dict[str, Any]:
    """What a question says beside its promise."""
    usual = {"bank": "Store-room bank", "banks": 1, "soc": 0.7, "off": [], "generator": False, "sky": "As typed"}
    return usual | {"fan": False, "dawn_h": 14.0, "hash": "0" * 12, "query": "charge=70"} | more


def promise(widened: float = 1.0) -> Promise:
    """50 % from the first hour on, 5 points either way, for two days."""
    return Promise(
        hours=None,
        low_hours=None,
        high_hours=None,
        floor_soc=0.1,
        low_soc=(LOW,) * 49,
        likely_soc=(LIKELY,) * 49,
        high_soc=(HIGH,) * 49,
        widened=widened,
    )


def note(asked_at: datetime, bank_id: str = "store", widened: float = 1.0, **more: Any) -> Note:
    """An answer of a moment."""
    return Note(bank_id=bank_id, asked_at=asked_at, asked=asked(**more), promise=promise(widened))


def keep_book(store: Store, household_id: int, first: datetime, came: list[float | None], **more: Any) -> None:
    """Keep an answer every third day from `first` on, with the charge that came a day later, None where nothing did."""
    for place, soc in enumerate(came):
        asked_at = first + timedelta(days=3 * place)
        promise_store.keep(store, household_id, [note(asked_at, **more)], anew=True)
        if soc is not None:
            kept = promise_store.answers(store, household_id)[0]
            assert promise_store.take(store, kept, "charge", asked_at + timedelta(days=1), soc, "typed")
