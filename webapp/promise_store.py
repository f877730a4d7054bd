"""The promise book of a household: every answer given with a time, as rows beside it, and what came of it.

An answer is kept with the range that it promised (`engine.answers.promises`), not with the household: of that only the
check sum of the version. A charge that is typed later tells of the answers before it. A deleted answer can be brought
back for a day; of each household the newest `MOST_KEPT` are kept. Times are UTC.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

from engine.answers.promise_book import Calibration, Spanned, calibration
from engine.answers.promises import LAST_H, Came, Promise, Score, better, read, scored, written
from engine.errors import InputError
from webapp.kept_files import KEPT_FOR
from webapp.store import Store

MOST_KEPT = 2000
"""Answers kept of a household, the newest (choice): five a day for a year; each takes about 1.5 kB."""
TOLD_ROWS = 240
"""So many of a bank’s newest scored answers say how wide its range must be: four for each that may count (choice)."""
WITHIN = timedelta(hours=1)
"""A question asked again within this takes the place of the one before (choice)."""
SAME_READING = timedelta(minutes=15), timedelta(hours=20)
"""The charge of the last answer, typed again between these: taken as the same reading, its page opened once more."""
SAME_BANK_SHARE = 0.1
"""A bank whose ampere-hours differ by more than this is another one, with a percent of its own (judgement)."""
KEEP, WIDEN = "keep", "widen"
OUT = "out"
"""Kind of what came of an answer that a person leaves out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """An answer to be kept: `asked` says the question, as `Kept` has it."""

    bank_id: str
    asked_at: datetime
    asked: dict[str, Any]
    promise: Promise


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """One kept answer.

    `asked` holds bank (its name), banks (how many are joined), ah (tested, of those of its supply), soc, off (ids of
    loads), generator (whether one is joined), sky, fan, dawn_h, hash and query; `came` kind, at, soc and how (typed,
    asked or log), or is None.
    """

    id: int
    bank_id: str
    asked_at: datetime
    asked: dict[str, Any]
    promise: Promise
    came: dict[str, Any] | None
    deleted: bool

    def what_came(self) -> Came | None:
        """What came of it, in hours from the question; None where nothing is known or it is left out."""
        if self.came is None or self.came["kind"] == OUT:
            return None
        return came_of(self, self.came["kind"], datetime.fromisoformat(self.came["at"]), self.came["soc"])

    def score(self) -> Score | None:
        """How it came out; None where that is not known."""
        came = self.what_came()
        return None if came is None else scored(self.promise, came)

    def spanned(self) -> Spanned | None:
        """Its score with the time it was about."""
        score = self.score()
        if score is None:
            return None
        asked_s = self.asked_at.timestamp()
        return Spanned(asked_s=asked_s, came_s=asked_s + score.after_h * 3600.0, score=score)


def came_of(kept: Kept, kind: str, moment: datetime, soc: float | None) -> Came:
    """Return what came at a moment as hours after the question."""
    return Came(kind=kind, after_h=(moment - kept.asked_at).total_seconds() / 3600.0, soc=soc)


# -- whether answers are kept, and ranges widened


def allowed(store: Store, household_id: int, what: str) -> bool:
    """Tell whether a household's answers are kept (`KEEP`), or its ranges widened (`WIDEN`); both unless it said no."""
    return not store.rows("SELECT 1 FROM settings WHERE name = ? AND value = '0'", _setting(household_id, what))


def allow(store: Store, household_id: int, what: str, yes: bool) -> None:
    """Keep answers or not, widen ranges or not."""
    with store.transaction() as db:
        db.execute("INSERT OR REPLACE INTO settings VALUES (?, ?)", (_setting(household_id, what), str(int(yes))))


def _setting(household_id: int, what: str) -> str:
    return f"promises {household_id} {what}"


# -- reading


def answers(store: Store, household_id: int) -> list[Kept]:
    """Return the kept answers of a household, the newest first."""
    rows = store.rows("SELECT * FROM promises WHERE household_id = ? ORDER BY asked_at DESC, id DESC", household_id)
    return [kept for kept in map(_kept, rows) if not kept.deleted]


def deleted_count(store: Store, household_id: int) -> int:
    """Return how many answers of a household are deleted and can be brought back."""
    sql = "SELECT count(*) FROM promises WHERE household_id = ? AND json_extract(asked, '$.deleted_at') IS NOT NULL"
    found: int = store.rows(sql, household_id)[0][0]
    return found


def find(store: Store, household_id: int, promise_id: int) -> Kept:
    """Return one kept answer of a household, deleted ones too.

    Raises
    ------
    InputError
        On ``answer`` if this household has no such answer.
    """
    rows = store.rows(
        "SELECT * FROM promises WHERE household_id = ? AND id = ?", household_id, max(min(promise_id, 2**62), 0)
    )
    if not rows:
        raise InputError("answer", f"There is no kept answer number {promise_id} in this household; choose another.")
    return _kept(rows[0])


def last(store: Store, household_id: int, bank_id: str) -> Kept | None:
    """Return the newest kept answer about a bank."""
    rows = store.rows(
        "SELECT * FROM promises WHERE household_id = ? AND bank_id = ? ORDER BY id DESC LIMIT 1", household_id, bank_id
    )
    found = [kept for kept in map(_kept, rows) if not kept.deleted]
    return found[0] if found else None


def calibrations(store: Store, household_id: int) -> dict[str, Calibration]:
    """Return what the newest scored answers say of each bank's range, by its id; kept until something is written."""
    return _calibrations(store, household_id, store.changes)


@lru_cache(maxsize=4)
def _calibrations(store: Store, household_id: int, _changes: int) -> dict[str, Calibration]:
    rows = store.rows(
        "SELECT * FROM (SELECT *, row_number() OVER (PARTITION BY bank_id ORDER BY id DESC) AS place FROM promises "
        "WHERE household_id = ? AND came IS NOT NULL AND json_extract(asked, '$.deleted_at') IS NULL) WHERE place <= ? "
        "ORDER BY id DESC",
        household_id,
        TOLD_ROWS,
    )
    return calibrated(map(_kept, rows))


def factors(store: Store, household_id: int) -> dict[str, float]:
    """Return how many times as wide each bank's range is to be, by its id, where it is and may be widened."""
    if not allowed(store, household_id, WIDEN):
        return {}
    found = calibrations(store, household_id)
    return {bank_id: one.factor for bank_id, one in found.items() if one.factor > 1.0}


def calibrated(kept: Iterable[Kept]) -> dict[str, Calibration]:
    """Return what kept answers, the newest first, say of each bank's range as large as it is now, by its id."""
    by_bank: dict[str, list[Spanned]] = {}
    newest: dict[str, Kept] = {}
    for one in kept:
        spanned = one.spanned()
        if spanned is not None and same_bank(newest.setdefault(one.bank_id, one).asked, one.asked):
            by_bank.setdefault(one.bank_id, []).append(spanned)
    return {bank_id: calibration(spanned) for bank_id, spanned in by_bank.items()}


# -- writing


def same_bank(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Tell whether two questions were about a bank of much the same size; those that do not say it are."""
    mine, theirs = one.get("ah"), other.get("ah")
    if mine is None or theirs is None:
        return True
    return bool(abs(mine - theirs) <= SAME_BANK_SHARE * max(mine, theirs))


def same_reading(before: Kept | None, note: Note) -> bool:
    """Tell whether an answer's charge seems to be the last one once more, not one read anew."""
    if before is None or before.asked["soc"] != note.asked["soc"]:
        return False
    soonest, latest = SAME_READING
    return soonest < note.asked_at - before.asked_at < latest


def keep(store: Store, household_id: int, notes: Sequence[Note], anew: bool = False) -> None:
    """Keep answers, and score those before them by the charges they were asked with.

    Parameters
    ----------
    notes : sequence of Note
        Each takes the place of one about its bank that was asked less than an hour before.
    anew : bool
        Whether the charges are known to be read just now; else one that seems to be the last once more is left out.
    """
    with store.transaction() as db:
        for note in notes:
            if anew or not same_reading(last(store, household_id, note.bank_id), note):
                _keep(db, store, household_id, note)
        db.execute(
            "DELETE FROM promises WHERE household_id = :house AND (json_extract(asked, '$.deleted_at') < :before OR id "
            "NOT IN (SELECT id FROM promises WHERE household_id = :house ORDER BY id DESC LIMIT :most))",
            {"house": household_id, "before": (store.clock() - KEPT_FOR).isoformat(), "most": MOST_KEPT},
        )


def _keep(db: sqlite3.Connection, store: Store, household_id: int, note: Note) -> None:
    since = (note.asked_at - WITHIN).isoformat()
    db.execute(
        "DELETE FROM promises WHERE household_id = ? AND bank_id = ? AND asked_at > ? AND asked_at <= ? "
        "AND came IS NULL",
        (household_id, note.bank_id, since, note.asked_at.isoformat()),
    )
    mine = _lately(store, household_id, note)
    for one in mine:
        if _may_tell(one, note.asked_at) and told_by(one, mine, note.asked_at):
            _take(db, store, one, {"kind": "charge", "at": note.asked_at, "soc": note.asked["soc"], "how": "asked"})
    db.execute(
        "INSERT INTO promises (household_id, bank_id, asked_at, asked, promised) VALUES (?, ?, ?, ?, ?)",
        (
            household_id,
            note.bank_id,
            note.asked_at.isoformat(),
            json.dumps(note.asked),
            json.dumps(written(note.promise), separators=(",", ":")),
        ),
    )


def _may_tell(kept: Kept, moment: datetime) -> bool:
    """Whether a charge typed for a later question scores an answer better than what is known of it."""
    if kept.asked["generator"] or (kept.came is not None and kept.came["how"] != "asked"):
        return False
    known = kept.what_came()
    return known is None or better(came_of(kept, "charge", moment, None).after_h, known.after_h)


def _lately(store: Store, household_id: int, note: Note) -> list[Kept]:
    """The answers about a bank that its charge may still tell of."""
    rows = store.rows(
        "SELECT * FROM promises WHERE household_id = ? AND bank_id = ? AND asked_at >= ?",
        household_id,
        note.bank_id,
        (note.asked_at - timedelta(hours=LAST_H)).isoformat(),
    )
    return [kept for kept in map(_kept, rows) if not kept.deleted and same_bank(kept.asked, note.asked)]


def told_by(kept: Kept, others: Iterable[Kept], moment: datetime) -> bool:
    """Tell whether nothing that is known stands between an answer and a moment: no loads switched off or on since."""
    off = set(kept.asked["off"])
    return all(set(one.asked["off"]) == off for one in others if kept.asked_at < one.asked_at < moment)


def _take(db: sqlite3.Connection, store: Store, kept: Kept, came: dict[str, Any]) -> bool:
    """Keep what came of an answer, if it tells."""
    if scored(kept.promise, came_of(kept, came["kind"], came["at"], came["soc"])) is None:
        return False
    text = json.dumps(came | {"at": came["at"].isoformat()})
    db.execute("UPDATE promises SET came = ?, came_at = ? WHERE id = ?", (text, store.clock().isoformat(), kept.id))
    return True


def take(store: Store, kept: Kept, kind: str, moment: datetime, soc: float | None, how: str) -> bool:
    """Keep what came of an answer, in the place of what was known; False where it does not tell."""
    with store.transaction() as db:
        return _take(db, store, kept, {"kind": kind, "at": moment, "soc": soc, "how": how})


def leave_out(store: Store, kept: Kept) -> None:
    """Keep that an answer cannot be scored, because something else happened."""
    _set(store, kept, json.dumps({"kind": OUT, "how": "typed"}))


def open_again(store: Store, kept: Kept) -> None:
    """Forget what came of an answer."""
    _set(store, kept, None)


def _set(store: Store, kept: Kept, came: str | None) -> None:
    with store.transaction() as db:
        db.execute(
            "UPDATE promises SET came = ?, came_at = ? WHERE id = ?",
            (came, None if came is None else store.clock().isoformat(), kept.id),
        )


def delete(store: Store, household_id: int, promise_id: int | None = None) -> None:
    """Mark one answer, or all of a household, as deleted; `undelete` brings them back."""
    now = store.clock().isoformat()
    with store.transaction() as db:
        db.execute(
            "UPDATE promises SET asked = json_set(asked, '$.deleted_at', ?) WHERE household_id = ? "
            "AND json_extract(asked, '$.deleted_at') IS NULL AND (? IS NULL OR id = ?)",
            (now, household_id, promise_id, promise_id),
        )


def undelete(store: Store, household_id: int, promise_id: int | None = None) -> None:
    """Bring one deleted answer, or all of them, back."""
    with store.transaction() as db:
        db.execute(
            "UPDATE promises SET asked = json_remove(asked, '$.deleted_at') WHERE household_id = ? "
            "AND (? IS NULL OR id = ?)",
            (household_id, promise_id, promise_id),
        )


def _kept(row: sqlite3.Row) -> Kept:
    asked = json.loads(row["asked"])
    return Kept(
        id=row["id"],
        bank_id=row["bank_id"],
        asked_at=datetime.fromisoformat(row["asked_at"]),
        asked=asked,
        promise=read(json.loads(row["promised"])),
        came=None if row["came"] is None else json.loads(row["came"]),
        deleted="deleted_at" in asked,
    )
