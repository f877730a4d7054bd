"""The parts of a household's document, found, added, changed and taken out; nothing here is saved."""

from __future__ import annotations

import copy
import re
import unicodedata
from collections.abc import Mapping
from typing import Any

from engine.errors import InputError
from webapp.store import Document

SECTIONS = {
    "banks": ("banks",),
    "inverters": ("inverters",),
    "generators": ("generators",),
    "loads": ("loads",),
    "arrays": ("sun", "arrays"),
}
"""Where the lists of things stand in the document."""
SINGLES = ("site", "sun", "prices", "units")


def things(document: Document, section: str) -> list[Document]:
    """Return one of the document's lists, made if missing, to be changed in place."""
    *outer, last = SECTIONS[section]
    for name in outer:
        document = document.setdefault(name, {})
    found: list[Document] = document.setdefault(last, [])
    return found


def position(document: Document, section: str, item_id: str) -> int:
    """Return where a thing stands in its list.

    Raises
    ------
    InputError
        If it is not there, for example because another window removed it.
    """
    for index, thing in enumerate(things(document, section)):
        if thing.get("id") == item_id:
            return index
    raise InputError("", f"“{item_id}” is no longer in the household; it was removed meanwhile.")


def new_id(name: str, section: str, document: Document) -> str:
    """Make an id from a name that no other thing of its list has.

    Examples
    --------
    >>> new_id("Store-room bank", "banks", {"banks": [{"id": "store-room-bank"}]})
    'store-room-bank-2'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    stem = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:40] or section.rstrip("s")
    taken = {thing.get("id") for thing in things(document, section)}
    free = (f"{stem}-{n}" for n in range(2, len(taken) + 3))
    return stem if stem not in taken else next(one for one in free if one not in taken)


def put(document: Document, section: str, thing: Document) -> Document:
    """Return the document with a thing changed, or added where its id is new."""
    document = copy.deepcopy(document)
    rows = things(document, section)
    at = next((i for i, old in enumerate(rows) if old.get("id") == thing["id"]), None)
    if at is None:
        rows.append(thing)
    else:
        rows[at] = thing
    return document


def without(document: Document, section: str, item_id: str) -> Document:
    """Return the document without a thing; what was joined to a removed inverter is joined to none."""
    document = copy.deepcopy(document)
    del things(document, section)[position(document, section, item_id)]
    if section == "inverters":
        for other in ("banks", "loads", "arrays", "generators"):
            for thing in things(document, other):
                if thing.get("inverter") == item_id:
                    thing["inverter"] = ""
    return document


def with_values(document: Document, section: str, item_id: str, values: Mapping[str, Any]) -> Document:
    """Return the document with some fields of a thing (or of the site or the sun) set; dots go deeper."""
    document = copy.deepcopy(document)
    if section in SINGLES:
        target = document.setdefault(section, {})
    elif section in SECTIONS:
        target = things(document, section)[position(document, section, item_id)]
    else:
        raise InputError("section", f"There is no part “{section}” in a household.")
    for name, value in values.items():
        *outer, last = name.split(".")
        place = target
        for part in outer:
            place = place.setdefault(part, {})
            if not isinstance(place, dict):
                raise InputError(name, f"“{name[:80]}” is no part of {section}.")
        place[last] = value
    return document
