"""The one SQLite file that everything is kept in: opened, written in one piece, copied, and replaced as a whole."""

from __future__ import annotations

import contextlib
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from engine.house import household
from webapp.store_copies import copy_due, keep_before, keep_copy, take_in, write_copy
from webapp.store_mending import prepare
from webapp.store_schema import StoreFault, in_words, only_read, passing

NEWEST = """versions v JOIN households h ON h.id = v.household_id
    WHERE v.revision = (SELECT max(revision) FROM versions WHERE household_id = h.id)"""
"""The newest version of every household."""


class StoreFile:
    """The file in a data folder; safe to use from the threads of the server.

    Parameters
    ----------
    folder : Path
        Data folder, made if missing.
    clock : callable
        Returns the time now, aware.
    """

    def __init__(self, folder: Path, clock: Callable[[], datetime]) -> None:
        self.folder = folder
        self.clock = clock
        self._lock = threading.RLock()
        self._copying = threading.Lock()
        self._not_copied = ""
        self._start = prepare(folder, clock())
        self.path = self._start.path
        self.read_only = self._start.read_only
        self._db = sqlite3.connect(
            self.path.absolute().as_uri(), uri=True, isolation_level=None, check_same_thread=False
        )
        self._db.row_factory = sqlite3.Row
        self._db.execute("PRAGMA foreign_keys = ON")
        self._db.execute("PRAGMA journal_mode = WAL")
        self._db.execute("PRAGMA synchronous = FULL")
        if self.read_only:
            self._db.execute("PRAGMA query_only = ON")
        elif self.rows("SELECT 1 FROM households LIMIT 1"):
            self._copy()

    @property
    def said(self) -> tuple[str, ...]:
        """What has to be said of the file: damage that was mended, a folder not to be written, a copy not made."""
        return (*self._start.said, *([self._not_copied] if self._not_copied else []))

    @property
    def changes(self) -> int:
        """How many rows were written since the file was opened: what was read before the last of them may be old."""
        return self._db.total_changes

    def close(self) -> None:
        """Close the file."""
        self._db.close()
        if self._start.borrowed is not None:
            self._start.borrowed.cleanup()

    def copy_if_due(self) -> None:
        """Keep a good copy where the newest is older than a day."""
        if not self._copying.acquire(blocking=False):
            return
        try:
            if copy_due(self.folder, self.clock()):
                self._copy()
        finally:
            self._copying.release()

    def _copy(self) -> None:
        """Keep a good copy; where that cannot be, every page says so until one is made, and the saves go on."""
        try:
            keep_copy(self._db, self.folder, self.clock())
            self._not_copied = ""
        except StoreFault as fault:
            self._not_copied = fault.message

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """Write in one piece, one thread at a time: all of it, or nothing where it fails.

        What it wrote is on the disk when it ends (`synchronous = FULL`: in WAL mode, NORMAL may lose the last
        saves when the power fails).

        Raises
        ------
        StoreFault
            If the disk is full, the folder is not to be written or the file is damaged.
        """
        with self._lock:
            try:
                self._db.execute("BEGIN IMMEDIATE")
                yield self._db
                self._db.execute("COMMIT")
            except BaseException as fault:
                with contextlib.suppress(sqlite3.Error):
                    if self._db.in_transaction:
                        self._db.execute("ROLLBACK")
                if isinstance(fault, sqlite3.Error):
                    raise in_words(fault, self.folder) from fault
                raise

    def rows(self, sql: str, *values: object) -> list[sqlite3.Row]:
        """Read rows.

        Raises
        ------
        StoreFault
            If the file cannot be read.
        """
        with self._lock:
            try:
                return self._db.execute(sql, values).fetchall()
            except sqlite3.Error as fault:
                raise in_words(fault, self.folder) from fault

    def write_all(self, path: Path) -> None:
        """Write everything into a file of its own.

        Raises
        ------
        StoreFault
            If there is no room for it, or what is kept cannot be read.
        """
        with self._lock, _said(_NO_COPY, path.parent.parent):
            write_copy(self._db, path)

    def replace_all(self, path: Path) -> Path:
        """Put everything of another file in the place of everything here, in one transaction.

        Parameters
        ----------
        path : Path
            A file that may be changed: it is looked over and brought to this schema first.

        Returns
        -------
        Path
            The copy of what stood before.

        Raises
        ------
        StoreFault
            If there is no room for it, or it may not be written here; nothing was changed.
        InputError
            If it is damaged, not ours, of a newer schema, or holds a household that cannot be read.
        """
        with _said(_NOT_TAKEN_IN, path.parent.parent):
            take_in(path)
            with only_read(path) as other:
                for row in other.execute(f"SELECT v.document FROM {NEWEST}"):
                    household.read(row[0])
        with self._lock:
            with _said(_NOT_TAKEN_IN, self.folder):
                before = keep_before(self._db, self.folder, self.clock())
                self._db.execute("ATTACH ? AS other", (f"{path.absolute().as_uri()}?mode=ro",))
            try:
                with self.transaction() as db:
                    _copy_rows(db)
            finally:
                self._db.execute("DETACH other")
        return before


_NO_COPY = "The file of everything could not be made"
_NOT_TAKEN_IN = "The file could not be put in the place of what is kept"


@contextmanager
def _said(what: str, folder: Path) -> Iterator[None]:
    """Turn what SQLite or the disk refused while a whole file is copied into a sentence with the remedy."""
    try:
        yield
    except (sqlite3.Error, OSError) as fault:
        if isinstance(fault, sqlite3.Error) and not passing(fault):
            raise in_words(fault, folder) from fault
        raise StoreFault(
            f"{what} ({getattr(fault, 'strerror', None) or fault}). Nothing was changed: make room on the disk of the "
            f"folder {folder}, which needs to hold it once more for a moment, see that Greyspell may write there, and "
            "try again.",
            507,
        ) from fault


def _copy_rows(db: sqlite3.Connection) -> None:
    """Replace the rows of every table by those of the attached file, whose tables are the same."""
    names = [row[0] for row in db.execute("SELECT name FROM main.sqlite_master WHERE type = 'table' ORDER BY rowid")]
    tables = sorted((name for name in names if not name.startswith("sqlite_")), key=lambda name: name != "households")
    for name in reversed(tables):
        db.execute(f"DELETE FROM main.{name}")
    for name in tables:
        db.execute(f"INSERT INTO main.{name} SELECT * FROM other.{name}")
