"""The question of the moment, carried by the links of the menu from page to page, with when its charge was typed.

Nothing is kept for it, neither here nor in the browser: all of it stands in the address.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import datetime
from urllib.parse import parse_qsl, urlencode

PAGES = frozenset({"/today", "/off", "/run", "/spares", "/car", "/cold", "/care", "/sheet"})
"""Pages that go on from a charge typed on any of them."""
FIRST = "first"
"""Name of the date, as ISO writes it, of the first day that was said."""
GOES_ON = ("charge", "reserve", "at", "sky", "skies", FIRST, "kwh", "off")
"""What of the question goes on to other pages: names that begin so."""
TOLD = "told"
"""When the charge was typed, and as what, so that a charge that was typed anew is known for one."""
_UNITS = {"ah": "Ah", "volts": "V"}
"""What follows a number by the scale it was read on, where that is not %."""

Pairs = Sequence[tuple[str, str]]


def carried(path: str, query: str, now: datetime) -> str:
    """Return the query that the links of the menu take along; empty where no charge was typed.

    Parameters
    ----------
    now : datetime
        On the household's clock.

    Examples
    --------
    >>> carried("/today", "charge=60&at=now&kwh=3", datetime(2026, 11, 25, 14, 48))
    'charge=60&at=now&kwh=3&told=2026-11-25T14:48~60'
    >>> carried("/off", "charge=60&told=2026-11-25T09:00~60", datetime(2026, 11, 25, 14, 48))
    'charge=60&told=2026-11-25T09:00~60'
    >>> carried("/today", "sky=dark", datetime(2026, 11, 25, 14, 48)), carried("/loads", "charge=60", datetime.min)
    ('', '')
    """
    pairs = parse_qsl(query, keep_blank_values=True)
    said = _as_said(pairs)
    if path not in PAGES or not said:
        return ""
    told = _told(pairs)
    when = told if told is not None else now
    goes_on = [(name, text) for name, text in pairs if name.startswith(GOES_ON)]
    return urlencode([*goes_on, (TOLD, f"{when:%Y-%m-%dT%H:%M}~{said}")], safe=",:~")


def told_words(query: str) -> str:
    """Say which charge a page took along and when it was typed; empty where it was typed on this very page.

    Examples
    --------
    >>> told_words("charge=60&told=2026-11-25T09:00~60"), told_words("charge=61&told=2026-11-25T09:00~60")
    ('With the charge typed at 09:00 on 25 Nov: 60 %.', '')
    """
    pairs = parse_qsl(query, keep_blank_values=True)
    when = _told(pairs)
    if when is None:
        return ""
    scales = dict(pairs)
    shown = [
        _with_unit(text, _UNITS.get(scales.get(name.replace("charge", "charge_as", 1), ""), "%"))
        for name, text in _charges(pairs)
    ]
    return f"With the charge typed at {when:%H:%M} on {when.day} {when:%b}: {' and '.join(shown)}."


def _with_unit(text: str, unit: str) -> str:
    """A charge with its unit behind, typed or not.

    Examples
    --------
    >>> _with_unit("60", "%"), _with_unit("60 % ", "%"), _with_unit("130ah", "Ah")
    ('60 %', '60 %', '130 Ah')
    """
    return f"{re.sub(rf'{unit}$', '', text.strip(), flags=re.IGNORECASE).strip()} {unit}"


def _charges(pairs: Pairs) -> Iterable[tuple[str, str]]:
    return ((name, text) for name, text in pairs if name.startswith("charge") and not name.startswith("charge_as"))


def _as_said(pairs: Pairs) -> str:
    """Every charge as it stands in the address."""
    texts = [text for _, text in _charges(pairs)]
    return ";".join(texts) if any(text.strip() for text in texts) else ""


def _told(pairs: Pairs) -> datetime | None:
    """When the charges were typed; None where they are not those that were typed then."""
    when, _, said = dict(pairs).get(TOLD, "").partition("~")
    if not said or said != _as_said(pairs):
        return None
    try:
        return datetime.strptime(when, "%Y-%m-%dT%H:%M")
    except ValueError:
        return None
