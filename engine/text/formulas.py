"""Texts that a spreadsheet would run as a formula, and the apostrophe that keeps them texts."""

from __future__ import annotations

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
"""A text that begins with one of these is run as a formula by spreadsheets."""


def unguarded(text: str) -> str:
    """Return a text without the apostrophe that was put before it for a spreadsheet.

    Examples
    --------
    >>> unguarded("'=Z1"), unguarded("'plain")
    ('=Z1', "'plain")
    """
    guarded = text.startswith("'") and text.lstrip(" '").startswith(FORMULA_SIGNS)
    return text[1:] if guarded else text
