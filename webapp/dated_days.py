"""Days said one by one stay with their dates: a question carries the date of the first, and is read from there.

Once that day is over, or another moment is asked about, days that lie before it are dropped and days that nobody said
are the usual ones.
"""

from __future__ import annotations

from datetime import date, timedelta

from engine.errors import InputError
from engine.sky.days import SEASON, WORDS
from webapp.words import weekday

USUAL_WORD = "usual"
"""A day among typed ones that nobody said."""
LOOKED_AHEAD_DAYS = 10
"""Days said that begin later than this are none of the answer's."""
_KINDS = {"kwh": " kWh", "kc": " of a clear day", "oktas": " oktas"}
"""Ways to list days by numbers, and what follows each number in words."""


def day_list(text: str) -> tuple[str, list[str]] | None:
    """Return how days are listed, such as ``kwh:``, and what is said of each; None of a spell that has a name.

    Examples
    --------
    >>> day_list("dark,,dull"), day_list("kwh:1.5,2"), day_list("made_3d_1in10")
    (('', ['dark', '', 'dull']), ('kwh:', ['1.5', '2']), None)
    """
    kind, colon, rest = text.strip().partition(":")
    if colon and kind in _KINDS:
        return f"{kind}:", [one.strip() for one in rest.split(",")]
    words = ["" if one.strip() in (SEASON, USUAL_WORD) else one.strip() for one in text.split(",")]
    return ("", words) if text.strip() and set(words) <= {*WORDS, ""} else None


def read_first(text: str, otherwise: date) -> date:
    """Read the date of the first day that was said; `otherwise` where the question carries none.

    Raises
    ------
    InputError
        On the field ``sky``.
    """
    try:
        return date.fromisoformat(text) if text else otherwise
    except ValueError:
        raise InputError("sky", f"The date of the first day must be like {otherwise}; got “{text}”.") from None


def moved(text: str, was: date, now: date) -> str:
    """Return the days of a question that begins on another date, each still on its own.

    Parameters
    ----------
    was, now : date
        The date that the first day was said for, and that of the first day asked about.

    Examples
    --------
    >>> friday, saturday = date(2026, 11, 27), date(2026, 11, 28)
    >>> moved("dark,dull,dull", friday, saturday), moved("dark,dull", saturday, friday)
    ('dull,dull', 'usual,dark,dull')
    >>> moved("kwh:1.5,2", saturday, friday), moved("dark", friday, saturday), moved("none", friday, saturday)
    ('kwh:usual,1.5,2', 'season', 'none')
    """
    days, found = (now - was).days, day_list(text)
    if found is None or not days:
        return text
    kind, words = found
    kept = words[days:] if days > 0 else [USUAL_WORD] * min(-days, LOOKED_AHEAD_DAYS) + words
    if -days >= LOOKED_AHEAD_DAYS or not set(kept) - {"", USUAL_WORD}:
        return SEASON
    return kind + ",".join(kept)


def days_in_words(text: str, first: date) -> str:
    """Write days that were said with their weekdays; empty of a spell that has a name.

    Examples
    --------
    >>> days_in_words("dark,,dull", date(2026, 11, 27)), days_in_words("kwh:1.5", date(2026, 11, 27))
    ('Fri dark, Sat usual, Sun dull', 'Fri 1.5 kWh')
    """
    kind, words = day_list(text) or ("", [])
    if not set(words) - {""}:
        return ""
    behind = _KINDS.get(kind.rstrip(":"), "")
    named = [
        f"{weekday(first + timedelta(days=n))[:3]} {word + behind if word not in ('', USUAL_WORD) else USUAL_WORD}"
        for n, word in enumerate(words)
    ]
    return ", ".join(named)
