"""Saves made by leaving a field: the several of one form, on a page opened once, are one version.

Undo then goes before the first of them. What was saved last is remembered in the process alone; after a restart the
next save is a version of its own.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from webapp.store import Document, Saved, Store, digest

LEFT = "left"
"""Field by which a page says that it was not the button that saved; its value is of that one opened page."""
TOGETHER = timedelta(minutes=10)
"""Saves after the first one that still belong to it."""
REMEMBERED = 64
"""Households whose last save is remembered, at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """The opened page and the form whose field was left; `page` is empty where the button saved."""

    page: str
    form: str


@dataclass(frozen=True, slots=True)
class _Last:
    left: Left
    revision: int
    first_at: datetime
    since: int

    def goes_on(self, saved: Saved, left: Left, now: datetime) -> bool:
        """Whether a save of `left` on top of `saved` belongs to this one."""
        return self.left == left and self.revision == saved.revision and now - self.first_at <= TOGETHER


@dataclass(slots=True)
class Autosaves:
    """The last save of each household that was made by leaving a field.

    `alone` is held while one is made and remembered: a page that is left sends all its forms at once.
    """

    alone: threading.RLock = field(default_factory=threading.RLock)
    _last: dict[int, _Last] = field(default_factory=dict)

    def forget(self) -> None:
        """Remember nothing: what was kept was replaced."""
        with self.alone:
            self._last.clear()

    def own(self, saved: Saved, page: str, revision: int | None) -> bool:
        """Whether all that was saved since a revision came from this one opened page, as when it is left in haste."""
        with self.alone:
            last = self._last.get(saved.household_id)
        if last is None or revision is None or not page or last.left.page != page:
            return False
        return last.revision == saved.revision and last.since <= revision <= last.revision

    def save(self, store: Store, saved: Saved, document: Document, what: str, left: Left) -> Saved:
        """Save a document on top of `saved`; by leaving a field, nothing new is no version.

        Returns
        -------
        Saved
            The version that was made, or stands.

        Raises
        ------
        Conflict, StoreFault
            As the store has them.
        """
        if not left.page:
            return store.save(saved.household_id, saved.revision, document, what)
        if digest(document) == saved.hash:
            return saved
        with self.alone:
            return self._save_and_remember(store, saved, document, what, left)

    def _save_and_remember(self, store: Store, saved: Saved, document: Document, what: str, left: Left) -> Saved:
        now = store.clock()
        last = self._last.get(saved.household_id)
        goes_on = last is not None and last.goes_on(saved, left, now)
        made = store.save(saved.household_id, saved.revision, document, what, instead=goes_on)
        self._last.pop(saved.household_id, None)
        while len(self._last) >= REMEMBERED:
            self._last.pop(next(iter(self._last)))
        first_at = last.first_at if last is not None and goes_on else now
        ours = last is not None and last.left.page == left.page and last.revision == saved.revision
        since = last.since if last is not None and ours else saved.revision
        self._last[saved.household_id] = _Last(left, made.revision, first_at, since)
        return made
