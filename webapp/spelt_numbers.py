"""What a place, a direction and a row of panels are called: words and products that stand for one number."""

from __future__ import annotations

import re
from collections.abc import Callable

from engine.errors import InputError
from engine.fields import Quantity

_POINTS = ("n", "nne", "ne", "ene", "e", "ese", "se", "sse", "s", "ssw", "sw", "wsw", "w", "wnw", "nw", "nnw")
"""The points of the compass, clockwise from north."""
_WHOLE_TURN_DEG = 360.0
_SIDES = {90.0: ("n", "s"), 180.0: ("e", "w")}
"""Letters of the positive and the negative side, by how far a latitude or a longitude goes."""
_WORDS = (("north", "n"), ("east", "e"), ("south", "s"), ("west", "w"))
_TIMES = re.compile(r"(\d{1,4})\s*[x×*]\s*(\d.*)", re.IGNORECASE)

Read = Callable[[str, Quantity], float]


def spelt_out(typed: str, meaning: Quantity, read: Read) -> float | None:
    """Return the number that a text stands for in a field of panels, rated hours, a direction or a place; else None.

    Parameters
    ----------
    read : callable
        Reads a plain number of the field.

    Examples
    --------
    >>> tilted = Quantity(label="Direction", unit="degrees", low=0, high=360)
    >>> spelt_out("south-west", tilted, lambda text, _: float(text)), spelt_out("225", tilted, lambda text, _: 0.0)
    (225.0, None)
    >>> spelt_out("due South", tilted, lambda text, _: 0.0)
    180.0
    >>> spelt_out("94° W", Quantity(label="Longitude", unit="degrees", low=-180, high=180), lambda text, _: float(text))
    -94.0
    """
    if meaning.unit == "kWp":
        found = _TIMES.fullmatch(typed)
        return None if found is None else _round(int(found[1]) * read(found[2], meaning))
    if meaning.unit == "hours":
        return _rated_hours(typed, meaning, read)
    if meaning.unit != "degrees":
        return None
    if (meaning.low, meaning.high) == (0.0, _WHOLE_TURN_DEG):
        return _compass_deg(typed)
    sides = _SIDES.get(meaning.high) if meaning.low == -meaning.high else None
    return None if sides is None else _on_a_side(typed, meaning, sides, read)


def _rated_hours(typed: str, meaning: Quantity, read: Read) -> float | None:
    """Hours of a rated discharge as a cell has them printed: C10 and C/10 are ten, and so is 0.1C.

    Examples
    --------
    >>> hours = Quantity(label="Rated for", unit="hours", low=0.5, high=200)
    >>> [_rated_hours(text, hours, lambda part, _: float(part)) for text in ("C10", "c/20", "0.1C", "10")]
    [10.0, 20.0, 10.0, None]
    """
    if found := re.fullmatch(r"c\s*/?\s*(\d.*)", typed, re.IGNORECASE):
        return read(found[1], meaning)
    if found := re.fullmatch(r"([\d.,]+)\s*c", typed, re.IGNORECASE):
        rate = read(found[1], meaning)
        return _round(1.0 / rate) if rate > 0.0 else None
    return None


def _round(number: float) -> float:
    """Clean of the last digits of a product."""
    return round(number, 10)


def _letters(text: str) -> str:
    text = text.lower()
    for word, letter in _WORDS:
        text = text.replace(word, letter)
    return re.sub(r"[\s\-]", "", text)


def _compass_deg(typed: str) -> float | None:
    letters = _letters(re.sub(r"^\s*due\s+", "", typed, flags=re.IGNORECASE))
    return _POINTS.index(letters) * _WHOLE_TURN_DEG / len(_POINTS) if letters in _POINTS else None


def _on_a_side(typed: str, meaning: Quantity, sides: tuple[str, str], read: Read) -> float | None:
    """A latitude or longitude with the letter of its side before or behind; a sign beside it is refused."""
    found = re.fullmatch(r"([a-z]+)?\s*([^a-z]+?)\s*([a-z]+)?", typed, re.IGNORECASE)
    letters = [] if found is None else [_letters(part) for part in (found[1], found[3]) if part]
    if found is None or len(letters) != 1 or letters[0] not in sides:
        return None
    number = read(found[2].rstrip("°").strip(), meaning)
    if number < 0.0:
        raise InputError("", f"{meaning.label}: “{typed}” has a minus and a letter of its side; type one of them.")
    return number if letters[0] == sides[0] else -number
