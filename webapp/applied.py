"""A remedy carried out on a page that only asks: its address says which version it made, and the page says so once."""

from __future__ import annotations

from urllib.parse import parse_qsl, urlencode

APPLIED = "applied"
"""Number of the version that a remedy made."""
PAGE = "/today"
"""The page that says so."""


def with_applied(back: str, opened_from: str) -> str:
    """Return the address to go back to, with the version that follows the one a form was opened from.

    Examples
    --------
    >>> with_applied("/today?charge=60&applied=3", "7"), with_applied("/today", "7"), with_applied("/banks", "7")
    ('/today?charge=60&applied=8', '/today?applied=8', '/banks')
    """
    path, _, query = back.partition("?")
    if path != PAGE or not opened_from.isdecimal():
        return back
    pairs = [pair for pair in parse_qsl(query, keep_blank_values=True) if pair[0] != APPLIED]
    return f"{path}?{urlencode([*pairs, (APPLIED, int(opened_from) + 1)], safe=',:~')}"
