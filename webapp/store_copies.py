"""Good copies of the store's file, and bringing a file to this schema on a copy of it.

A copy is made with SQLite's own backup, looked over, and only then takes its place: one a day, the last three days
kept, and the last three from before everything was replaced.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

from engine.errors import InputError
from webapp import store_schema
from webapp.store_schema import (
    FILE_NAME,
    StoreFault,
    fault_in,
    in_words,
    newer_sentence,
    only_read,
    passing,
    schema_of,
)

KEPT_COPIES = 3
COPY_EVERY = timedelta(days=1)
"""A copy older than this is followed by a new one after the next save (choice: a day of typing is the most to lose)."""
STAMP = "%Y%m%dT%H%M%S"
SIDE_FILES = ("-wal", "-shm", "-journal")


def copies(folder: Path, kind: str = "copy") -> list[Path]:
    """Return the daily copies of a data folder, or those from before everything was replaced; the newest first."""
    return sorted(folder.glob(f"{FILE_NAME}.{kind}.????????T??????Z"), reverse=True)


def made_at(copy: Path) -> datetime:
    """Return when a copy was made, as its name says."""
    return datetime.strptime(copy.name.rsplit(".", 1)[-1], f"{STAMP}Z").replace(tzinfo=UTC)


def keep_copy(db: sqlite3.Connection, folder: Path, now: datetime) -> Path:
    """Make a good copy; it takes the place of an older one of the same day, and the last three are kept.

    Raises
    ------
    StoreFault
        If what was copied is damaged, or there is no room for it; the older copies stay.
    """
    made = folder / f"{FILE_NAME}.copy.{now.astimezone(UTC):{STAMP}}Z"
    making = folder / f"{FILE_NAME}.making"
    try:
        write_copy(db, making)
        fault = fault_of(making)
        if fault:
            raise StoreFault(
                f"The file in the folder {folder} is damaged ({fault}). Stop Greyspell and start it again: it keeps "
                "the file and brings the last good copy back.",
                503,
            )
        os.replace(making, made)
    except sqlite3.Error as error:
        raise (_not_made(folder, str(error)) if passing(error) else in_words(error, folder)) from error
    except OSError as error:
        raise _not_made(folder, error.strerror or str(error)) from error
    finally:
        with contextlib.suppress(OSError):
            remove(making)
    others = [copy for copy in copies(folder) if copy != made]
    same_day = [copy for copy in others if made_at(copy).date() == made_at(made).date()]
    for old in (*same_day, *[copy for copy in others if copy not in same_day][KEPT_COPIES - 1 :]):
        old.unlink()
    return made


def _not_made(folder: Path, why: str) -> StoreFault:
    """Say that there is no copy of today, which takes nothing from the saves."""
    return StoreFault(
        f"The daily copy could not be made in the folder {folder} ({why}). Your saves are kept, and so are the older "
        "copies: make room on that disk and see that Greyspell may write there; the next save tries again.",
        503,
    )


def copy_due(folder: Path, now: datetime) -> bool:
    """Tell whether the newest copy is older than a day."""
    kept = copies(folder)
    return not kept or now - made_at(kept[0]) >= COPY_EVERY


def keep_before(db: sqlite3.Connection, folder: Path, now: datetime) -> Path:
    """Keep what stands before all of it is replaced; the last three such copies stay."""
    made, making = _before(folder, now), folder / f"{FILE_NAME}.before-making"
    while made.exists():
        now += timedelta(seconds=1)
        made = _before(folder, now)
    try:
        write_copy(db, making)
        os.replace(making, made)
    finally:
        with contextlib.suppress(OSError):
            remove(making)
    for old in copies(folder, "before")[KEPT_COPIES:]:
        old.unlink()
    return made


def _before(folder: Path, now: datetime) -> Path:
    return folder / f"{FILE_NAME}.before.{now.astimezone(UTC):{STAMP}}Z"


def take_in(path: Path) -> None:
    """Look over a file that is to replace everything, and bring it to this schema.

    Raises
    ------
    InputError
        If it is damaged, not ours, or of a newer schema.
    """
    fault = fault_of(path)
    if fault:
        raise InputError("all", f"This is no whole file of Greyspell ({fault}); nothing was changed.")
    with only_read(path) as db:
        if not schema_of(db):
            raise InputError("all", "This file holds nothing of Greyspell; nothing was changed.")
    migrate(path, None)


def write_copy(db: sqlite3.Connection, path: Path) -> None:
    """Write all that a file holds into a new one of a single piece."""
    remove(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as copy:
        db.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")


def remove(path: Path) -> None:
    """Remove a file of SQLite with what may lie beside it."""
    for end in ("", *SIDE_FILES):
        path.with_name(path.name + end).unlink(missing_ok=True)


def free_path(path: Path) -> Path:
    """Return a path that nothing has yet, with a number behind it where it is taken."""
    numbered = (path.with_name(f"{path.name}-{number}") for number in range(2, 1000))
    return path if not path.exists() else next(one for one in numbered if not one.exists())


def fault_of(path: Path) -> str:
    """Say what is wrong with a file, in a few words; empty if it is whole.

    Raises
    ------
    sqlite3.Error
        If it could not be looked into just now (`store_schema.passing`).
    """
    if not path.exists() or not path.stat().st_size:
        return "it is empty"
    try:
        with only_read(path) as db:
            fault = fault_in(db)
            if fault:
                return fault
            schema = schema_of(db)
            length = db.execute("PRAGMA page_count").fetchone()[0] * db.execute("PRAGMA page_size").fetchone()[0]
    except sqlite3.Error as error:
        if passing(error):
            raise
        return f"SQLite says: {error}"
    log = path.with_name(f"{path.name}-wal")
    if path.stat().st_size < length and not (log.exists() and log.stat().st_size):
        return "its end is missing"
    if schema > len(store_schema.MIGRATIONS):
        raise InputError("data_dir", newer_sentence(path, schema))
    return ""


def migrate(path: Path, now: datetime | None) -> None:
    """Bring a file to this schema: on a copy, which takes its place only when every script has run.

    With `now`, the file as it was is kept beside it.
    """
    schema, scripts = 0, store_schema.MIGRATIONS
    if path.exists():
        with only_read(path) as db:
            schema = schema_of(db)
    if schema >= len(scripts):
        return
    making = path.with_name(f"{FILE_NAME}.making")
    remove(making)
    if schema:
        with only_read(path) as db:
            write_copy(db, making)
    with closing(sqlite3.connect(making, isolation_level=None)) as db:
        db.executescript(f"BEGIN; {' '.join(scripts[schema:])} PRAGMA user_version = {len(scripts)}; COMMIT;")
    if schema:
        _close_wal(path)
    if schema and now is not None:
        with only_read(path) as db:
            write_copy(db, path.with_name(f"{FILE_NAME}.schema{schema}.{now.astimezone(UTC):{STAMP}}"))
        old = sorted(path.parent.glob(f"{FILE_NAME}.schema*"), key=lambda one: one.stat().st_mtime)
        for one in old[:-KEPT_COPIES]:
            one.unlink()
    os.replace(making, path)


def _close_wal(path: Path) -> None:
    """Bring what lies in the log beside a file into it, so that no log of an old file meets a new one."""
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA journal_mode = DELETE")
