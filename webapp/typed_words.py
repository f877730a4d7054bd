"""What people typed that a page may show: names, notes and file names, which are never turned into other units."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from engine.house.units import Units
from webapp.as_shown import AsShown
from webapp.store import Saved, Store

_FILES = "SELECT name FROM cell_tests UNION SELECT name FROM sky_files UNION SELECT name FROM meter_files"


def typed_words(store: Store, saved: Saved, units: Units) -> list[str]:
    """Return what was typed in a household, and its files' names, so far as turning it would change it."""
    words = AsShown(units)
    every = {*_texts(saved.document), *(str(row["name"]) for row in store.rows(_FILES))}
    return [text for text in every if words.text(text) != text]


def _texts(part: Any) -> Iterator[str]:
    if isinstance(part, str):
        yield part
    for one in part.values() if isinstance(part, dict) else part if isinstance(part, list) else ():
        yield from _texts(one)
