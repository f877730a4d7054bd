"""Files that were brought to a household, as rows beside it: packed, with the choices by which they are read.

Reading again is always possible, and nothing derived is kept. A file begins as a draft and counts once its reading was
accepted. A deleted one can be brought back for a day; drafts are kept as long. A deleted household keeps its rows, as
it can be brought back; only with its own row in the database they go. The choices are JSON that nothing here reads;
times are UTC.
"""

from __future__ import annotations

import json
import sqlite3
import unicodedata
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from engine.errors import InputError
from webapp.store import Store
from webapp.store_schema import in_words

KEPT_FOR = timedelta(days=1)
"""How long a draft, or a deleted file, is kept at least; removed at the next upload after that."""
PACKED = 1
"""Level of zlib: a log of numbers shrinks to a quarter at once, and no more for waiting."""
LONGEST_NAME = 80
UNNAMED = "A file"

_HEAD = "id, household_id, name, kind, choices, accepted, made_at, deleted_at"


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptFile:
    """One file without its bytes."""

    id: int
    household_id: int
    name: str
    kind: str
    choices: dict[str, Any]
    accepted: bool
    made_at: datetime
    deleted: bool


def _nothing(db: sqlite3.Connection) -> None:
    """Write nothing beside."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FileTable:
    """One table of files of the store, and what one of them is called."""

    table: str
    thing: str

    def add(
        self, store: Store, household_id: int, name: str, kind: str, content: bytes, choices: dict[str, Any]
    ) -> KeptFile:
        """Keep a file as a draft; drafts and deleted files that have lain for a day go.

        Parameters
        ----------
        household_id : int
            Whose file it is.
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
            db.execute(
                f"DELETE FROM {self.table} WHERE (NOT accepted AND made_at < ?) OR deleted_at < ?", (before, before)
            )
            made = db.execute(
                f"INSERT INTO {self.table} (household_id, name, kind, content, choices, accepted, made_at) "
                "VALUES (?, ?, ?, ?, ?, 0, ?)",
                (household_id, name, kind, packed, json.dumps(choices), now.isoformat()),
            ).lastrowid
        assert made is not None
        return self.find(store, household_id, made)

    def accepted(self, store: Store, household_id: int) -> list[KeptFile]:
        """Return the accepted files of a household, the newest first."""
        return self._those(store, household_id, "accepted AND deleted_at IS NULL")

    def drafts(self, store: Store, household_id: int) -> list[KeptFile]:
        """Return what was uploaded and not yet accepted, the newest first."""
        return self._those(store, household_id, "NOT accepted AND deleted_at IS NULL")

    def deleted(self, store: Store, household_id: int) -> list[KeptFile]:
        """Return the files and drafts that were deleted, the newest first."""
        return self._those(store, household_id, "deleted_at IS NOT NULL")

    def find(self, store: Store, household_id: int, file_id: int) -> KeptFile:
        """Return one file of a household, deleted ones too.

        Raises
        ------
        InputError
            If this household has no such file.
        """
        rows = store.rows(
            f"SELECT {_HEAD} FROM {self.table} WHERE household_id = ? AND id = ?", household_id, min(file_id, 2**62)
        )
        if not rows:
            raise InputError(
                "file", f"There is no {self.thing} number {file_id} in this household; it may be long deleted."
            )
        return _file(rows[0])

    def content(self, store: Store, file_id: int) -> bytes:
        """Return a file as it was brought."""
        packed = store.rows(f"SELECT content FROM {self.table} WHERE id = ?", file_id)[0]["content"]
        try:
            return zlib.decompress(packed)
        except zlib.error as fault:
            raise in_words(sqlite3.DatabaseError(str(fault)), store.folder) from fault

    def accept(
        self,
        store: Store,
        file_id: int,
        kind: str,
        choices: dict[str, Any],
        also: Callable[[sqlite3.Connection], None] = _nothing,
    ) -> None:
        """Keep how a file is to be read; from now on it counts.

        Parameters
        ----------
        kind : str
            What the file is.
        choices : dict
            How it is read.
        also : callable, optional
            Writes what has to be written in the same piece.
        """
        with store.transaction() as db:
            also(db)
            self._write(db, "kind = ?, choices = ?, accepted = 1", kind, json.dumps(choices), file_id)

    def rename(self, store: Store, file_id: int, name: str) -> None:
        """Give a file another name, without the characters in it that cannot be seen.

        Raises
        ------
        InputError
            If the name is empty or too long.
        """
        name = plain_name(name)
        if not 1 <= len(name) <= LONGEST_NAME:
            raise InputError("name", f"The name must be 1 to {LONGEST_NAME} characters long; got {len(name)}.")
        self._set(store, "name = ?", name, file_id)

    def delete(self, store: Store, file_id: int) -> None:
        """Mark a file as deleted; `undelete` brings it back."""
        self._set(store, "deleted_at = ?", store.clock().isoformat(), file_id)

    def undelete(self, store: Store, file_id: int) -> None:
        """Bring a deleted file back."""
        self._set(store, "deleted_at = NULL", file_id)

    def _those(self, store: Store, household_id: int, which: str) -> list[KeptFile]:
        rows = store.rows(
            f"SELECT {_HEAD} FROM {self.table} WHERE household_id = ? AND {which} ORDER BY id DESC", household_id
        )
        return [_file(row) for row in rows]

    def _set(self, store: Store, what: str, *values: object) -> None:
        with store.transaction() as db:
            self._write(db, what, *values)

    def _write(self, db: sqlite3.Connection, what: str, *values: object) -> None:
        db.execute(f"UPDATE {self.table} SET {what} WHERE id = ?", values)


def plain_name(name: str) -> str:
    r"""Return a name without control and format characters (Unicode Cc, Cf), which hide or turn round what is read.

    Examples
    --------
    >>> plain_name(" cell\t7\u202e \u200b")
    'cell 7'
    """
    instead = {"Cc": " ", "Cf": ""}
    return " ".join("".join(instead.get(unicodedata.category(one), one) for one in name).split())


def _file(row: sqlite3.Row) -> KeptFile:
    return KeptFile(
        id=row["id"],
        household_id=row["household_id"],
        name=row["name"],
        kind=row["kind"],
        choices=json.loads(row["choices"]),
        accepted=bool(row["accepted"]),
        made_at=datetime.fromisoformat(row["made_at"]),
        deleted=row["deleted_at"] is not None,
    )
