"""A house's own meter files, as rows beside the households (`kept_files`), and what was read from each.

What was read is kept beside the file: a year of minutes takes seconds to read, and every question of the log asks for
it. It is one line of JSON that names the columns, then each column as it lies in memory, packed together. Reading a
file again takes the place of its rows; a deleted file keeps them and counts for nothing until it is brought back.
"""

from __future__ import annotations

import json
import sqlite3
import threading
import zlib
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from engine.errors import InputError
from engine.meter.log import QUANTITIES, MeterLog, joined, no_rows
from webapp.kept_files import PACKED, FileTable, KeptFile
from webapp.store import Store
from webapp.store_schema import LONGEST_ROWS_BYTES, in_words

MeterFile = KeptFile

FILES = FileTable(table="meter_files", thing="meter file")
add, find, content = FILES.add, FILES.find, FILES.content
accepted, drafts, deleted = FILES.accepted, FILES.drafts, FILES.deleted
rename, delete, undelete = FILES.rename, FILES.delete, FILES.undelete

REMEMBERED = 2
"""Logs kept in memory, one a household; a year of minutes with six quantities takes 34 MB."""
_FLOAT, _FLOAT_BYTES = "<f8", 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, weakref_slot=True)
class Whole:
    """What a household's files say together.

    Attributes
    ----------
    log : MeterLog
        The rows of all its files, the file brought first before the others; without rows where there is none.
    added : dict of int to int
        By the number of a file, how many rows it added to those before it.
    """

    log: MeterLog
    added: dict[int, int]


def accept(store: Store, file_id: int, kind: str, choices: dict[str, Any], log: MeterLog) -> None:
    """Keep how a file is to be read and what was read so, both or neither; from now on it counts.

    Raises
    ------
    InputError
        On ``file`` if it is more than the store takes.
    """
    packed = _packed(log)
    FILES.accept(store, file_id, kind, choices, lambda db: _put(db, file_id, packed))
    _REMEMBERED.forget(store)


def rows(store: Store, file_id: int) -> MeterLog:
    """Return what was read from a file.

    Raises
    ------
    InputError
        On ``file`` if nothing was read from it yet.
    """
    found = store.rows("SELECT content FROM meter_rows WHERE file_id = ?", min(file_id, 2**62))
    if not found:
        raise InputError("file", "Nothing is kept of what this file says: read it again.")
    try:
        return _unpacked(found[0]["content"])
    except (zlib.error, ValueError, KeyError) as fault:
        raise in_words(sqlite3.DatabaseError(str(fault)), store.folder) from fault


def whole(store: Store, household_id: int) -> Whole:
    """Return what the accepted files of a household say together; from memory where nothing changed since."""
    return _REMEMBERED.whole(store, household_id)


def _put(db: sqlite3.Connection, file_id: int, packed: bytes) -> None:
    db.execute("INSERT OR REPLACE INTO meter_rows (file_id, content) VALUES (?, ?)", (file_id, packed))


def _packed(log: MeterLog) -> bytes:
    kept = [key for key in QUANTITIES if key in log.values]
    head = _at_a_multiple(json.dumps({"rows": log.rows, "columns": kept}).encode())
    columns = (log.start_s, log.step_s, *(log.values[key] for key in kept))
    if len(head) + sum(column.nbytes for column in columns) > LONGEST_ROWS_BYTES:
        most = LONGEST_ROWS_BYTES // (8 * len(columns))
        raise InputError("file", f"The file has {log.rows:,} rows; with so many columns at most {most:,} are kept.")
    packer = zlib.compressobj(PACKED)
    parts = [packer.compress(head)]
    parts += [packer.compress(np.ascontiguousarray(column, dtype=_FLOAT).data) for column in columns]
    return b"".join((*parts, packer.flush()))


def _at_a_multiple(head: bytes) -> bytes:
    """The head as a line so long that numbers after it lie where numbers do."""
    return head + b" " * (-(len(head) + 1) % _FLOAT_BYTES) + b"\n"


def _unpacked(packed: bytes) -> MeterLog:
    whole = zlib.decompressobj().decompress(packed, LONGEST_ROWS_BYTES)
    end = whole.index(b"\n") + 1
    head = json.loads(whole[:end])
    count, names = int(head["rows"]), ("start_s", "step_s", *map(str, head["columns"]))
    if len(whole) != end + _FLOAT_BYTES * count * len(names):
        raise ValueError(f"{len(names)} columns of {count} rows expected")
    table = np.frombuffer(whole, dtype=_FLOAT, offset=end).reshape(len(names), count)
    start_s, step_s, *values = table.astype(np.float64, copy=False)
    return MeterLog(start_s=start_s, step_s=step_s, values=dict(zip(names[2:], values, strict=True)))


def _together(store: Store, file_ids: list[int]) -> Whole:
    log, added = no_rows(), {}
    for file_id in file_ids:
        one = rows(store, file_id)
        log, added[file_id] = joined(log, one) if log.rows else (one, one.rows)
    return Whole(log=log, added=added)


_State = tuple[tuple[int, str, int, str], ...]


@dataclass(slots=True)
class _Memory:
    """The wholes asked for last, by their store and household, with the files they were made of."""

    known: OrderedDict[tuple[str, int], tuple[_State, Whole]] = field(default_factory=OrderedDict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def whole(self, store: Store, household_id: int) -> Whole:
        """Return a whole as its files stand now; one thread at a time, since each holds a log or two."""
        name = (str(store.path), household_id)
        with self.lock:
            state = _state(store, household_id)
            before, found = self.known.pop(name, ((), None))
            if found is None or before != state:
                del found
                found = _together(store, [file_id for file_id, *_ in state])
            self.known[name] = (state, found)
            while len(self.known) > REMEMBERED:
                self.known.popitem(last=False)
            return found

    def forget(self, store: Store) -> None:
        """Forget every whole of a store: rows of one of its files were replaced."""
        with self.lock:
            for name in [one for one in self.known if one[0] == str(store.path)]:
                del self.known[name]


_REMEMBERED = _Memory()


def _state(store: Store, household_id: int) -> _State:
    """Number, moment, length of what was read, and choices of each file that counts, the one brought first before all.

    Two readings of one file by the same choices are the same rows.
    """
    found = store.rows(
        "SELECT f.id AS id, f.made_at AS made_at, length(r.content) AS length, f.choices AS choices FROM meter_files f "
        "JOIN meter_rows r ON r.file_id = f.id "
        "WHERE f.household_id = ? AND f.accepted AND f.deleted_at IS NULL ORDER BY f.id",
        household_id,
    )
    return tuple((row["id"], row["made_at"], row["length"], row["choices"]) for row in found)
