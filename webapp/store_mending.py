"""What a start does with a file that is damaged, missing, old, or not to be written.

A damaged file is never thrown away: it is put aside under a name of its own, the newest good copy takes its place, and
versions saved after the copy are read out of the damaged file where they still fit their check sums.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import tempfile
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from webapp.store_copies import SIDE_FILES, STAMP, copies, fault_of, free_path, made_at, migrate, remove, write_copy
from webapp.store_schema import FILE_NAME, StoreFault, fits, in_words, only_read, passing


@dataclass(slots=True)
class Start:
    """What a start found: the file to open, whether it may be written, and what has to be said of it."""

    path: Path
    read_only: bool = False
    said: list[str] = field(default_factory=list)
    borrowed: tempfile.TemporaryDirectory[str] | None = None


def prepare(folder: Path, now: datetime) -> Start:
    """Make the file of a data folder sound and of this schema, or say why it is only read.

    Raises
    ------
    StoreFault
        If the folder can be neither written nor read.
    InputError
        If the file is of a newer schema.
    """
    path = folder / FILE_NAME
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if not writable(path):
            return _borrowed(path)
        start = Start(path)
        _mend(start, now)
        migrate(path, now)
        return start
    except sqlite3.Error as fault:
        raise (_in_the_way(fault, folder) if passing(fault) else in_words(fault, folder)) from fault
    except OSError as fault:
        raise StoreFault(
            f"The data folder {folder} cannot be used ({fault.strerror}). Nothing was changed: mend that, or start "
            "with another folder by --data-dir.",
            503,
        ) from fault


def _in_the_way(fault: sqlite3.Error, folder: Path) -> StoreFault:
    """Say why the file cannot be opened just now, which says nothing of the file itself."""
    if "locked" in str(fault):
        why = "another program holds its file. Nothing was changed: close that program and start Greyspell again"
    else:
        why = (
            f"SQLite says: {fault}. Nothing was changed: look at that folder and its disk and start Greyspell again, "
            "or start it with another folder by --data-dir"
        )
    return StoreFault(f"The data folder {folder} cannot be opened just now: {why}.", 503)


def writable(path: Path) -> bool:
    """Tell whether the folder and its file may be written."""
    return os.access(path.parent, os.W_OK) and (not path.exists() or os.access(path, os.W_OK))


def _borrowed(path: Path) -> Start:
    """Open a file that may not be written from a copy that is thrown away, with the last saves beside it."""
    borrowed = tempfile.TemporaryDirectory(prefix="greyspell-")
    for name in (FILE_NAME, f"{FILE_NAME}-wal"):
        if path.with_name(name).exists():
            shutil.copyfile(path.with_name(name), Path(borrowed.name) / name)
    copy = Path(borrowed.name) / FILE_NAME
    fault = fault_of(copy)
    if fault:
        borrowed.cleanup()
        raise StoreFault(
            f"Greyspell may not write in the folder {path.parent}, and there is nothing in it that could be opened "
            f"only to be read ({fault}). Let Greyspell write there, or start it with another folder by --data-dir.",
            503,
        )
    migrate(copy, None)
    said = (
        f"Greyspell may not write in the folder {path.parent}: everything is shown as last saved, and nothing can be "
        "saved. Let it write there and start it again."
    )
    return Start(copy, read_only=True, said=[said], borrowed=borrowed)


def _mend(start: Start, now: datetime) -> None:
    """Put a damaged file aside and bring the last good copy back."""
    path = start.path
    kept = copies(path.parent)
    empty = not path.exists() or not path.stat().st_size
    if empty and not kept:
        remove(path)
        return
    fault = fault_of(path)
    if not fault:
        return
    good = next((copy for copy in kept if not fault_of(copy)), None)
    aside = None if not path.exists() else _put_aside(path, now)
    remove(path)
    if good is not None:
        with only_read(good) as db:
            write_copy(db, path.with_name(f"{FILE_NAME}.making"))
        os.replace(path.with_name(f"{FILE_NAME}.making"), path)
    migrate(path, now)
    found = _salvage(path, aside, whole=good is None) if aside is not None else 0
    start.said.append(_mended(path.parent, fault, aside, good, found))


def _put_aside(path: Path, now: datetime) -> Path:
    aside = free_path(path.with_name(f"{FILE_NAME}.damaged.{now.astimezone(UTC):{STAMP}}Z"))
    os.replace(path, aside)
    for end in SIDE_FILES:
        with contextlib.suppress(FileNotFoundError):
            os.replace(path.with_name(path.name + end), aside.with_name(aside.name + end))
    return aside


def _mended(folder: Path, fault: str, aside: Path | None, good: Path | None, found: int) -> str:
    """Say what was damaged, what stands now, and what may be missing."""
    if aside is None:
        first = f"The file {FILE_NAME} was missing in the folder {folder}."
    else:
        first = (
            f"The file of everything that is kept was damaged ({fault}); it is kept as {aside.name} in the folder "
            f"{folder}."
        )
    if good is not None:
        when = made_at(good)
        then = f" The good copy of {when.day} {when:%b %Y, %H:%M} UTC was brought back"
        then += (
            f", and {found} later save{'s were' if found > 1 else ' was'} read out of the damaged file" if found else ""
        )
        return f"{first}{then}. What else was saved after that copy may be missing: look the household over."
    if found:
        return (
            f"{first} There was no good copy. The last readable version of each household was read out of the damaged "
            f"file, {found} in all; earlier versions, cell tests, plans and sun records are missing here."
        )
    return f"{first} There was no good copy and nothing in it could be read, so Greyspell starts anew beside it."


def _salvage(path: Path, aside: Path, *, whole: bool) -> int:
    """Read versions out of a damaged file: the newest of each household, or those that follow what stands."""
    found = _readable(aside)
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        newest = dict(db.execute("SELECT household_id, max(revision) FROM versions GROUP BY household_id").fetchall())
        if whole:
            last = {row[0]: row for row in sorted(found)}
            rows = [(home, 1, *rest) for home, _, *rest in last.values()]
            db.executemany("INSERT INTO households (id) VALUES (?)", [(row[0],) for row in rows])
        else:
            rows = []
            for row in sorted(found):
                if row[0] in newest and row[1] == newest[row[0]] + 1:
                    rows.append(row)
                    newest[row[0]] += 1
        db.executemany("INSERT INTO versions VALUES (?, ?, ?, ?, ?, ?)", rows)
    return len(rows)


def _readable(path: Path) -> set[tuple[int, int, str, str, str, str]]:
    """Every version of a damaged file that can be reached from either end and fits its check sum."""
    found: set[tuple[int, int, str, str, str, str]] = set()
    for order in ("", " ORDER BY household_id DESC, revision DESC"):
        with contextlib.suppress(sqlite3.Error, UnicodeDecodeError, OverflowError), only_read(path) as db:
            for row in db.execute(f"SELECT * FROM versions{order}"):
                home, revision, document, digest, at, what = tuple(row)[:6]
                known = isinstance(home, int) and isinstance(revision, int) and isinstance(what, str)
                if known and home > 0 and revision > 0 and fits(document, digest, at):
                    found.add((home, revision, document, digest, at, what))
    return found
