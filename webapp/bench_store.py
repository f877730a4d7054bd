"""Cell tests and bench plans of the households, as rows beside them.

A test is the bytes of a bench file as it was brought, packed, with the choices by which they are read: reading
again is always possible, and nothing derived is kept. It begins as a draft and counts once its reading was
accepted. A deleted one can be brought back for a day; drafts are kept as long. A deleted household keeps its rows, as
it can be brought back; only with its own row in the database they go. The choices and the forecast are JSON that
nothing here reads; times are UTC.
"""

from __future__ import annotations

import json
import sqlite3
import unicodedata
import zlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from engine.errors import InputError
from webapp.store import Store

KEPT_FOR = timedelta(days=1)
"""How long a draft, or a deleted test, is kept at least; removed at the next upload after that."""
PACKED = 1
"""Level of zlib: a log of numbers shrinks to a quarter at once, and no more for waiting."""
LONGEST_NAME = 80
UNNAMED = "A file"

_HEAD = "id, household_id, name, kind, choices, accepted, made_at, deleted_at"


@dataclass(frozen=True, slots=True, kw_only=True)
class CellTest:
    """One test without its bytes."""

    id: int
    household_id: int
    name: str
    kind: str
    choices: dict[str, Any]
    accepted: bool
    made_at: datetime
    deleted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPlan:
    """A bench plan as it was asked for, with what it forecast then."""

    id: int
    household_id: int
    asked: dict[str, Any]
    forecast: dict[str, Any]
    made_at: datetime


def add(store: Store, household_id: int, name: str, kind: str, content: bytes, choices: dict[str, Any]) -> CellTest:
    """Keep a file as a draft; drafts and deleted tests that have lain for a day go.

    Parameters
    ----------
    household_id : int
        Whose test it is.
    kind : str
        What the file seems to be.
    content : bytes
        The file.
    choices : dict
        How it is read.
    """
    packed = zlib.compress(content, PACKED)
    name = plain_name(name)[:LONGEST_NAME] or UNNAMED
    now = store.clock()
    with store.transaction() as db:
        before = (now - KEPT_FOR).isoformat()
        db.execute("DELETE FROM cell_tests WHERE (NOT accepted AND made_at < ?) OR deleted_at < ?", (before, before))
        made = db.execute(
            "INSERT INTO cell_tests (household_id, name, kind, content, choices, accepted, made_at) "
            "VALUES (?, ?, ?, ?, ?, 0, ?)",
            (household_id, name, kind, packed, json.dumps(choices), now.isoformat()),
        ).lastrowid
    assert made is not None
    return find(store, household_id, made)


def accepted(store: Store, household_id: int) -> list[CellTest]:
    """Return the accepted tests of a household, the newest first."""
    return _those(store, household_id, "accepted AND deleted_at IS NULL")


def drafts(store: Store, household_id: int) -> list[CellTest]:
    """Return what was uploaded and not yet accepted, the newest first."""
    return _those(store, household_id, "NOT accepted AND deleted_at IS NULL")


def deleted(store: Store, household_id: int) -> list[CellTest]:
    """Return the tests and drafts that were deleted, the newest first."""
    return _those(store, household_id, "deleted_at IS NOT NULL")


def find(store: Store, household_id: int, test_id: int) -> CellTest:
    """Return one test of a household, deleted ones too.

    Raises
    ------
    InputError
        If this household has no such test.
    """
    rows = store.rows(
        f"SELECT {_HEAD} FROM cell_tests WHERE household_id = ? AND id = ?", household_id, min(test_id, 2**62)
    )
    if not rows:
        raise InputError("test", f"There is no cell test number {test_id} in this household; it may be long deleted.")
    return _test(rows[0])


def content(store: Store, test_id: int) -> bytes:
    """Return the file of a test, as it was brought."""
    packed = store.rows("SELECT content FROM cell_tests WHERE id = ?", test_id)[0]["content"]
    return zlib.decompress(packed)


def accept(store: Store, test_id: int, kind: str, choices: dict[str, Any]) -> None:
    """Keep how a file is to be read; from now on it counts as a test."""
    _set(store, "kind = ?, choices = ?, accepted = 1", kind, json.dumps(choices), test_id)


def rename(store: Store, test_id: int, name: str) -> None:
    """Give a test another name, without the characters in it that cannot be seen.

    Raises
    ------
    InputError
        If the name is empty or too long.
    """
    name = plain_name(name)
    if not 1 <= len(name) <= LONGEST_NAME:
        raise InputError("name", f"The name must be 1 to {LONGEST_NAME} characters long; got {len(name)}.")
    _set(store, "name = ?", name, test_id)


def delete(store: Store, test_id: int) -> None:
    """Mark a test as deleted; `undelete` brings it back."""
    _set(store, "deleted_at = ?", store.clock().isoformat(), test_id)


def undelete(store: Store, test_id: int) -> None:
    """Bring a deleted test back."""
    _set(store, "deleted_at = NULL", test_id)


def keep_plan(store: Store, household_id: int, asked: dict[str, Any], forecast: dict[str, Any]) -> KeptPlan:
    """Keep a plan with its forecast; the same question again takes the place of the older plan."""
    with store.transaction() as db:
        text = json.dumps(asked, sort_keys=True)
        db.execute("DELETE FROM bench_plans WHERE household_id = ? AND asked = ?", (household_id, text))
        db.execute(
            "INSERT INTO bench_plans (household_id, asked, forecast, made_at) VALUES (?, ?, ?, ?)",
            (household_id, text, json.dumps(forecast), store.clock().isoformat()),
        )
    return plans(store, household_id)[0]


def plans(store: Store, household_id: int) -> list[KeptPlan]:
    """Return the kept plans of a household, the newest first."""
    rows = store.rows("SELECT * FROM bench_plans WHERE household_id = ? ORDER BY id DESC", household_id)
    return [
        KeptPlan(
            id=row["id"],
            household_id=row["household_id"],
            asked=json.loads(row["asked"]),
            forecast=json.loads(row["forecast"]),
            made_at=datetime.fromisoformat(row["made_at"]),
        )
        for row in rows
    ]


def drop_plan(store: Store, household_id: int, plan_id: int) -> None:
    """Throw a kept plan away; asking again makes the same one."""
    with store.transaction() as db:
        db.execute("DELETE FROM bench_plans WHERE household_id = ? AND id = ?", (household_id, min(plan_id, 2**62)))


def plain_name(name: str) -> str:
    r"""Return a name without control and format characters (Unicode Cc, Cf), which hide or turn round what is read.

    Examples
    --------
    >>> plain_name(" cell\t7\u202e \u200b")
    'cell 7'
    """
    instead = {"Cc": " ", "Cf": ""}
    return " ".join("".join(instead.get(unicodedata.category(one), one) for one in name).split())


def _those(store: Store, household_id: int, which: str) -> list[CellTest]:
    rows = store.rows(
        f"SELECT {_HEAD} FROM cell_tests WHERE household_id = ? AND {which} ORDER BY id DESC", household_id
    )
    return [_test(row) for row in rows]


def _set(store: Store, what: str, *values: object) -> None:
    with store.transaction() as db:
        db.execute(f"UPDATE cell_tests SET {what} WHERE id = ?", values)


def _test(row: sqlite3.Row) -> CellTest:
    return CellTest(
        id=row["id"],
        household_id=row["household_id"],
        name=row["name"],
        kind=row["kind"],
        choices=json.loads(row["choices"]),
        accepted=bool(row["accepted"]),
        made_at=datetime.fromisoformat(row["made_at"]),
        deleted=row["deleted_at"] is not None,
    )
