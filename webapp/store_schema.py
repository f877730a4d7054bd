"""The tables of the store, one script a schema version, and whether a file is ours and whole.

A page of SQLite carries no checksum of its own, so `fault_in` looks further than `PRAGMA integrity_check`: every
version must fit its hash, every packed file its own check sum, every time and every JSON text must read. What it
cannot see is a flipped letter in a few words kept beside them, such as what a version is called.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path

from engine.errors import InputError

FILE_NAME = "greyspell.sqlite3"
LONGEST_FILE_BYTES = 64 * 1024**2 + 1
"""No file that was brought is longer unpacked (`guard.MAX_BODY_BYTES`); one that is, is none of ours."""
LONGEST_ROWS_BYTES = 128 * 1024**2
"""No meter's rows are longer unpacked: a million rows of ten columns and two times take 96 MB."""

MIGRATIONS = (
    """
    CREATE TABLE households (
        id INTEGER PRIMARY KEY,
        source_hash TEXT,
        deleted_at TEXT
    );
    CREATE TABLE versions (
        household_id INTEGER NOT NULL REFERENCES households (id) ON DELETE CASCADE,
        revision INTEGER NOT NULL,
        document TEXT NOT NULL,
        hash TEXT NOT NULL,
        saved_at TEXT NOT NULL,
        what TEXT NOT NULL,
        PRIMARY KEY (household_id, revision)
    ) WITHOUT ROWID;
    CREATE TABLE settings (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
    """,
    """
    CREATE TABLE cell_tests (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        household_id INTEGER NOT NULL REFERENCES households (id) ON DELETE CASCADE,
        name TEXT NOT NULL,
        kind TEXT NOT NULL,
        content BLOB NOT NULL,
        choices TEXT NOT NULL,
        accepted INTEGER NOT NULL,
        made_at TEXT NOT NULL,
        deleted_at TEXT
    );
    CREATE INDEX cell_tests_of ON cell_tests (household_id);
    CREATE TABLE bench_plans (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        household_id INTEGER NOT NULL REFERENCES households (id) ON DELETE CASCADE,
        asked TEXT NOT NULL,
        forecast TEXT NOT NULL,
        made_at TEXT NOT NULL
    );
    CREATE INDEX bench_plans_of ON bench_plans (household_id);
    """,
    """
    CREATE TABLE sky_files (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        household_id INTEGER NOT NULL REFERENCES households (id) ON DELETE CASCADE,
        name TEXT NOT NULL,
        kind TEXT NOT NULL,
        content BLOB NOT NULL,
        choices TEXT NOT NULL,
        accepted INTEGER NOT NULL,
        made_at TEXT NOT NULL,
        deleted_at TEXT
    );
    CREATE INDEX sky_files_of ON sky_files (household_id);
    """,
    """
    CREATE TABLE meter_files (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        household_id INTEGER NOT NULL REFERENCES households (id) ON DELETE CASCADE,
        name TEXT NOT NULL,
        kind TEXT NOT NULL,
        content BLOB NOT NULL,
        choices TEXT NOT NULL,
        accepted INTEGER NOT NULL,
        made_at TEXT NOT NULL,
        deleted_at TEXT
    );
    CREATE INDEX meter_files_of ON meter_files (household_id);
    CREATE TABLE meter_rows (
        file_id INTEGER PRIMARY KEY REFERENCES meter_files (id) ON DELETE CASCADE,
        content BLOB NOT NULL
    );
    CREATE TABLE promises (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        household_id INTEGER NOT NULL REFERENCES households (id) ON DELETE CASCADE,
        bank_id TEXT NOT NULL,
        asked_at TEXT NOT NULL,
        asked TEXT NOT NULL,
        promised TEXT NOT NULL,
        came TEXT,
        came_at TEXT
    );
    CREATE INDEX promises_of ON promises (household_id);
    """,
)
"""One script a schema version; `user_version` counts those that have run."""


_PASSING = (
    sqlite3.SQLITE_BUSY,
    sqlite3.SQLITE_LOCKED,
    sqlite3.SQLITE_PROTOCOL,
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_NOMEM,
    sqlite3.SQLITE_FULL,
)
"""Primary codes of SQLite that a whole file may give, too; the lowest byte of every further code."""


class StoreFault(InputError):
    """Why nothing can be read or kept just now, as a sentence with the remedy; `status` is the HTTP status."""

    def __init__(self, message: str, status: int) -> None:
        super().__init__("", message)
        self.status = status


def in_words(fault: sqlite3.Error, folder: Path) -> StoreFault:
    """Say what SQLite could not do, and what to do about it.

    Examples
    --------
    >>> in_words(sqlite3.OperationalError("database or disk is full"), Path("data")).status
    507
    """
    said = str(fault)
    if "full" in said:
        return StoreFault(
            f"Nothing was saved: the disk of the folder {folder} is full. What you typed is still here: make room on "
            "that disk and save again.",
            507,
        )
    if "readonly" in said or "unable to open" in said:
        return StoreFault(
            f"Nothing was saved: Greyspell may not write in the folder {folder}. What you typed is still here: let it "
            "write there, start it again and save again; or start it with another folder by --data-dir.",
            503,
        )
    if "locked" in said:
        return StoreFault(
            f"Nothing was saved: another program holds the file in the folder {folder}. What you typed is still here: "
            "close that program and save again.",
            503,
        )
    if "disk I/O" in said:
        return StoreFault(
            f"Nothing was saved: the disk of the folder {folder} does not read or write as it should ({said}). What "
            "you typed is still here: look at that disk and at its plug, and save again.",
            503,
        )
    return StoreFault(
        f"The file in the folder {folder} cannot be read as it should ({said}); it may be damaged. Stop Greyspell and "
        "start it again: it looks the file over, keeps it, and brings the last good copy back.",
        503,
    )


@contextmanager
def only_read(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a file so that nothing in it can change."""
    with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, isolation_level=None)) as db:
        db.row_factory = sqlite3.Row
        db.execute("PRAGMA trusted_schema = OFF")
        yield db


def schema_of(db: sqlite3.Connection) -> int:
    """Return how many of the scripts have run in a file."""
    number: int = db.execute("PRAGMA user_version").fetchone()[0]
    return number


def fault_in(db: sqlite3.Connection) -> str:
    """Say why a file is damaged or not ours, in a few words; empty if it is whole.

    A file of a newer schema is not looked into.

    Raises
    ------
    sqlite3.Error
        If it could not be looked into just now (`passing`).
    """
    try:
        if schema_of(db) > len(MIGRATIONS):
            return ""
        found = db.execute("PRAGMA integrity_check(1)").fetchone()[0]
        if found != "ok":
            return "SQLite finds its pages in disorder"
        if _tables(db) != _tables_of(schema_of(db)):
            return "its tables are not those of Greyspell"
        return _unreadable(db)
    except (sqlite3.Error, UnicodeDecodeError, OverflowError) as fault:
        if passing(fault):
            raise
        return f"SQLite says: {fault}"


def passing(fault: Exception) -> bool:
    """Tell whether what SQLite could not do says nothing of the file: it is held, or its disk does not answer."""
    code = getattr(fault, "sqlite_errorcode", None)
    return code is not None and code & 0xFF in _PASSING


def _tables(db: sqlite3.Connection) -> list[tuple[str, str, str]]:
    """Every table, index, view and trigger with the text that made it."""
    rows = db.execute("SELECT type, name, coalesce(sql, '') FROM sqlite_master ORDER BY type, name").fetchall()
    return [tuple(row) for row in rows]


def _tables_of(schema: int) -> list[tuple[str, str, str]]:
    with closing(sqlite3.connect(":memory:")) as db:
        for script in MIGRATIONS[:schema]:
            db.executescript(script)
        return _tables(db)


def _unreadable(db: sqlite3.Connection) -> str:
    """Look over every row that carries a check of its own."""
    names = {name for kind, name, _ in _tables(db) if kind == "table"}
    if not names:
        return ""
    for row in db.execute("SELECT revision, document, hash, saved_at FROM versions"):
        if not fits(row[1], row[2], row[3]):
            return f"version {row[0]} does not fit its own check sum"
    for table in sorted(names & {"cell_tests", "sky_files", "meter_files"}):
        for row in db.execute(f"SELECT name, content, choices, made_at FROM {table}"):
            if not _whole(row[1], row[2], row[3]):
                return f"the file “{row[0]}” does not fit its own check sum"
    for table, columns, reads, said in _FURTHER:
        rows = db.execute(f"SELECT {columns} FROM {table}") if table in names else ()
        if not all(reads(*row) for row in rows):
            return said
    return ""


def fits(document: object, digest: object, saved_at: object) -> bool:
    """Tell whether a version is what was saved: its text fits its hash, and its time reads."""
    if not isinstance(document, str):
        return False
    return hashlib.sha256(document.encode()).hexdigest() == digest and _time(saved_at)


def _whole(content: object, choices: object, made_at: object) -> bool:
    return _unpacks(content, LONGEST_FILE_BYTES) and _json(choices) and _time(made_at)


def _unpacks(content: object, most_bytes: int) -> bool:
    reader = zlib.decompressobj()
    try:
        reader.decompress(content, most_bytes)  # type: ignore[arg-type]
    except (zlib.error, TypeError):
        return False
    return reader.eof


def _json(text: object) -> bool:
    try:
        json.loads(text)  # type: ignore[arg-type]
    except (ValueError, TypeError, RecursionError):
        return False
    return True


def _time(text: object) -> bool:
    try:
        return datetime.fromisoformat(text).tzinfo is not None  # type: ignore[arg-type]
    except (ValueError, TypeError):
        return False


_FURTHER: tuple[tuple[str, str, Callable[..., bool], str], ...] = (
    (
        "bench_plans",
        "asked, forecast, made_at",
        lambda asked, forecast, made_at: _json(asked) and _json(forecast) and _time(made_at),
        "a bench plan cannot be read",
    ),
    (
        "meter_rows",
        "content",
        lambda content: _unpacks(content, LONGEST_ROWS_BYTES),
        "the rows of a meter file do not fit their own check sum",
    ),
    (
        "promises",
        "asked, promised, coalesce(came, 'null'), asked_at",
        lambda asked, promised, came, asked_at: all(map(_json, (asked, promised, came))) and _time(asked_at),
        "a kept answer cannot be read",
    ),
)
"""Tables whose rows say themselves whether they are whole: columns to look at, the look, and what is said."""


def newer_sentence(path: Path, schema: int) -> str:
    """Say that a file is of a newer program."""
    return (
        f"The file {path} was written by a newer Greyspell (schema {schema}; this one knows "
        f"{len(MIGRATIONS)}). Nothing was changed: start the newer version."
    )
