"""Households and their versions in one SQLite file.

A save is one transaction and one new version, and only on top of the version it was made from: a
second device that saves later gets `Conflict`, never a silent overwrite. Undo is restoring a version.
The document is kept as JSON text and never read here; times are UTC. What else a household has (cell tests and
bench plans: `bench_store`; sun records: `sky_store`) are rows of their own, outside its versions.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from engine.errors import InputError
from engine.house import household
from engine.paths import data_dir
from webapp.store_file import NEWEST, StoreFile

KEPT_VERSIONS = 200
"""So many last versions are kept, and the last one of every day before them."""

Document = dict[str, Any]


class Conflict(Exception):
    """The household was saved elsewhere since the form was opened; `newer` is what stands now."""

    def __init__(self, newer: Saved) -> None:
        super().__init__(f"saved elsewhere as revision {newer.revision}")
        self.newer = newer


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """One version of one household."""

    household_id: int
    revision: int
    text: str
    hash: str
    saved_at: datetime
    what: str

    @property
    def document(self) -> Document:
        """The household's JSON document."""
        document: Document = json.loads(self.text)
        return document

    @property
    def name(self) -> str:
        """The household's name."""
        return str(self.document.get("name", ""))

    @property
    def example(self) -> bool:
        """Whether this is the shipped example."""
        return bool(self.document.get("example", False))


def canonical(document: Document) -> str:
    """Return the one text of a document that its hash is taken of."""
    return json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def digest(document: Document) -> str:
    """Return the hash of a document."""
    return hashlib.sha256(canonical(document).encode()).hexdigest()


def example_document() -> Document:
    """Return the shipped example household."""
    return household.write(household.read((data_dir() / "example.json").read_bytes()))


class Store(StoreFile):
    """The households in a data folder; safe to use from the threads of the server."""

    # -- which household is open

    def begin(self, household_file: Path | None) -> Saved:
        """Open what a start should show: the given file, else the last one open, else the example."""
        if household_file is not None:
            return self.import_file(household_file)
        if not self.households():
            return self.create(example_document(), "the example, as shipped")
        return self.current()

    def current(self) -> Saved:
        """Return the newest version of the open household; if it is gone, of one's own that was saved last."""
        row = self.rows("SELECT value FROM settings WHERE name = 'open'")
        known = {saved.household_id: saved for saved in self.households()}
        chosen = row[0]["value"] if row else ""
        named = [saved for saved in known.values() if str(saved.household_id) == chosen]
        if named:
            return named[0]
        if not known:
            return self.create(example_document(), "the example, as shipped")
        last = max(known.values(), key=lambda saved: (not saved.example, saved.saved_at))
        return last if self.read_only else self.open(last.household_id)

    def open(self, household_id: int) -> Saved:
        """Make a household the open one."""
        saved = self.latest(household_id)
        with self.transaction() as db:
            db.execute("INSERT OR REPLACE INTO settings VALUES ('open', ?)", (str(household_id),))
        return saved

    def import_file(self, path: Path) -> Saved:
        """Open a copy of a household document; the same text again reopens the same copy.

        Raises
        ------
        InputError
            If the file cannot be read or is no household.
        """
        try:
            content = path.read_bytes()
        except OSError as fault:
            raise InputError("household", f"The household file {path} cannot be read: {fault.strerror}.") from None
        document = household.write(household.read(content))
        source = digest(document)
        found = self.rows("SELECT id FROM households WHERE source_hash = ? AND deleted_at IS NULL", source)
        if found:
            return self.open(found[0]["id"])
        return self.create(document, f"opened from {path.name}", source)

    # -- reading

    def households(self, deleted: bool = False) -> list[Saved]:
        """Return the newest version of every household, or of every deleted one."""
        rows = self.rows(
            f"SELECT v.* FROM {NEWEST} AND h.deleted_at IS {'NOT NULL' if deleted else 'NULL'} ORDER BY h.id"
        )
        return [_saved(row) for row in rows]

    def latest(self, household_id: int) -> Saved:
        """Return the newest version of one household."""
        rows = self.rows("SELECT * FROM versions WHERE household_id = ? ORDER BY revision DESC LIMIT 1", household_id)
        if not rows:
            raise InputError("household", f"There is no household number {household_id}; it may be long deleted.")
        return _saved(rows[0])

    def versions(self, household_id: int, most: int = -1) -> list[Saved]:
        """Return the kept versions of a household, the newest first; at most so many where `most` is not negative."""
        rows = self.rows(
            "SELECT * FROM versions WHERE household_id = ? ORDER BY revision DESC LIMIT ?", household_id, most
        )
        return [_saved(row) for row in rows]

    def version(self, household_id: int, revision: int) -> Saved:
        """Return one version of a household."""
        rows = self.rows("SELECT * FROM versions WHERE household_id = ? AND revision = ?", household_id, revision)
        if not rows:
            raise InputError("revision", f"Version {revision} of this household is no longer kept.")
        return _saved(rows[0])

    def before(self, household_id: int, revision: int) -> Saved:
        """Return the kept version that came before one."""
        rows = self.rows(
            "SELECT max(revision) AS found FROM versions WHERE household_id = ? AND revision < ?",
            household_id,
            revision,
        )
        return self.version(household_id, rows[0]["found"] or 0)

    # -- writing

    def create(self, document: Document, what: str, source_hash: str | None = None) -> Saved:
        """Add a household and open it.

        Raises
        ------
        InputError
            If it could not be read again as it is kept.
        """
        household.read(canonical(document))
        with self.transaction() as db:
            made = db.execute("INSERT INTO households (source_hash) VALUES (?)", (source_hash,)).lastrowid
            assert made is not None
            self._insert(db, made, 1, document, what)
        return self.open(made)

    def save(
        self, household_id: int, base_revision: int, document: Document, what: str, instead: bool = False
    ) -> Saved:
        """Write a new version on top of `base_revision`.

        Parameters
        ----------
        base_revision : int
            The version the change was made from.
        what : str
            What was changed, in a few words; shown beside the undo button.
        instead : bool
            Whether the version it was made from is given up for the new one: undo then goes before both.

        Raises
        ------
        Conflict
            If a newer version stands.
        InputError
            If it could not be read again as it is kept.
        """
        household.read(canonical(document))
        with self.transaction() as db:
            newest = self.latest(household_id)
            if newest.revision != base_revision:
                raise Conflict(newest)
            self._insert(db, household_id, base_revision + 1, document, what)
            if instead:
                db.execute(
                    "DELETE FROM versions WHERE household_id = ? AND revision = ?", (household_id, base_revision)
                )
            self._thin_out(db, household_id)
            made = self.latest(household_id)
        self.copy_if_due()
        return made

    def restore(self, household_id: int, revision: int, base_revision: int, what: str) -> Saved:
        """Bring an earlier version back as a new one.

        Raises
        ------
        Conflict
            If a newer version than `base_revision` stands.
        """
        return self.save(household_id, base_revision, self.version(household_id, revision).document, what)

    def delete(self, household_id: int) -> None:
        """Mark a household as deleted; `undelete` brings it back."""
        with self.transaction() as db:
            db.execute("UPDATE households SET deleted_at = ? WHERE id = ?", (self.clock().isoformat(), household_id))

    def undelete(self, household_id: int) -> Saved:
        """Bring a deleted household back; the open one stays open."""
        with self.transaction() as db:
            db.execute("UPDATE households SET deleted_at = NULL WHERE id = ?", (household_id,))
        return self.latest(household_id)

    def _insert(self, db: sqlite3.Connection, household_id: int, revision: int, document: Document, what: str) -> None:
        db.execute(
            "INSERT INTO versions VALUES (?, ?, ?, ?, ?, ?)",
            (household_id, revision, canonical(document), digest(document), self.clock().isoformat(), what),
        )

    def _thin_out(self, db: sqlite3.Connection, household_id: int) -> None:
        db.execute(
            """DELETE FROM versions WHERE household_id = :household
            AND revision <= (SELECT max(revision) FROM versions WHERE household_id = :household) - :kept
            AND revision NOT IN (SELECT max(revision) FROM versions WHERE household_id = :household
                                 GROUP BY substr(saved_at, 1, 10))""",
            {"household": household_id, "kept": KEPT_VERSIONS},
        )


def _saved(row: sqlite3.Row) -> Saved:
    return Saved(
        household_id=row["household_id"],
        revision=row["revision"],
        text=row["document"],
        hash=row["hash"],
        saved_at=datetime.fromisoformat(row["saved_at"]),
        what=row["what"],
    )
