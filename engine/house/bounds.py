"""How much a household document may hold, seen before it is read: a fault of each of a million entries helps nobody.

Without these bounds two megabytes of empty brackets take 45 s and 6 GB to be refused one by one (measured).
"""

from __future__ import annotations

from typing import Any

from engine.errors import InputError

MOST_BYTES = 4 * 1024**2
MOST_ENTRIES, MOST_VALUES = 1_000, 60_000
"""Bytes of its text, entries of one list or part, values in all (judgement: forty banks with measured cells of 200
points each hold about 45,000; a measured load holds some 330)."""


def refuse_long(text: str | bytes) -> None:
    """Refuse a text that is longer than any household.

    Raises
    ------
    InputError
        On the field ``document``.
    """
    if len(text) > MOST_BYTES:
        raise InputError(
            "document",
            f"This is no household: its text is {len(text) / 1024**2:.1f} MB long; the most that is read is "
            f"{MOST_BYTES // 1024**2} MB.",
        )


def refuse_endless(document: Any) -> None:
    """Refuse a document with more in it than any household has.

    Parameters
    ----------
    document : object
        As JSON gives it.

    Raises
    ------
    InputError
        Naming the list that is too long, or how many values there are.

    Examples
    --------
    >>> refuse_endless({"loads": [{}] * 1001})
    Traceback (most recent call last):
    ...
    engine.errors.InputError: “loads” has 1,001 entries; a household may have 1,000 in one list.
    """
    waiting, seen = [("the document", document)], 0
    while waiting:
        name, part = waiting.pop()
        if not isinstance(part, dict | list | tuple):
            continue
        seen += len(part)
        if len(part) > MOST_ENTRIES:
            raise InputError(
                name if name.isidentifier() else "document",
                f"“{name[:80]}” has {len(part):,} entries; a household may have {MOST_ENTRIES:,} in one list.",
            )
        if seen > MOST_VALUES:
            raise InputError(
                "document", f"This is no household: it holds more than {MOST_VALUES:,} values, the most that are read."
            )
        named = part.items() if isinstance(part, dict) else ((name, one) for one in part)
        waiting.extend((str(key), one) for key, one in named)
