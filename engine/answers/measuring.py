"""What a measurement at home is worth: its errors put together, and what its result does to how long the bank lasts.

An error enters as a standard uncertainty u in the unit of the result; they add in squares, and the interval is the
result and `COVER` times their sum on either side: right about 19 times in 20. Errors are taken as independent of each
other. Not modelled: slips of the pen, and meters that drift through the night.

References
----------
JCGM 100:2008, Evaluation of measurement data: Guide to the expression of uncertainty in measurement (GUM): limits
without more known are a rectangle, u = half width / sqrt(3) (4.3.7); the last digit of a display, u = step / sqrt(12)
(F.2.2.1); sums in squares (5.1.2), sensitivities by a small change of each input (5.1.3, note 2); twice u for about
95 % (6.3.3); Student's t for few readings (G.3, table G.2) and the freedom of a sum (G.4.1).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from engine.answers.coming import coming
from engine.house.household import Household
from engine.sky.days import parse_sky

COVER = 2.0
"""Standard uncertainties on either side of a result: about 19 in 20 (JCGM 100:2008, 6.3.3)."""
SURE = "19 times in 20"
DULL_DAYS = 30
"""Dull days in a row that a full bank is followed through (choice)."""
_T95 = (
    *(12.71, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26, 2.23),
    *(2.20, 2.18, 2.16, 2.14, 2.13, 2.12, 2.11, 2.10, 2.09, 2.09),
)
"""Student's t of 95 % for 1 to 20 degrees of freedom (JCGM 100:2008, table G.2; published)."""
_T95_MORE = ((25, 2.06), (30, 2.04), (35, 2.03), (40, 2.02), (50, 2.01), (100, 1.984), (math.inf, 1.960))


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One source of error: what it is, how far off it may be in words, and its standard uncertainty in the result.

    `falls` where it gets smaller in step with the hours between two readings.
    """

    label: str
    how: str
    u: float
    falls: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A result with its interval, in the unit of the field it would be used for.

    Attributes
    ----------
    value, half : float
        The result, and what it may be off on either side, `SURE`.
    now : float or None
        What the household's description says now.
    parts : tuple of Part
        Sources of error, the largest first.
    """

    value: float
    half: float
    now: float | None
    unit: str
    parts: tuple[Part, ...]

    @property
    def low(self) -> float:
        """Lower end, never below nothing."""
        return max(self.value - self.half, 0.0)

    @property
    def high(self) -> float:
        """Upper end."""
        return self.value + self.half

    @property
    def agrees(self) -> bool:
        """Whether what is described now lies within the interval."""
        return self.now is not None and self.low <= self.now <= self.high


@dataclass(frozen=True, slots=True, kw_only=True)
class Lasts:
    """Hours a full bank lasts through dull days; None past `DULL_DAYS`.

    `now` as described, `then` with the result, `low` and `high` with the ends of its interval.
    """

    now: float | None
    then: float | None
    low: float | None
    high: float | None


def of_step(step: float) -> float:
    """Return the standard uncertainty of one reading of a display that moves in steps.

    Examples
    --------
    >>> round(of_step(1.0), 4)
    0.2887
    """
    return step / math.sqrt(12.0)


def of_limits(half: float) -> float:
    """Return the standard uncertainty of something known only to lie within `half` on either side.

    Examples
    --------
    >>> round(of_limits(1.0), 4)
    0.5774
    """
    return half / math.sqrt(3.0)


def combined(parts: Iterable[Part]) -> float:
    """Return the standard uncertainty of all parts together.

    Examples
    --------
    >>> combined([Part(label="a", how="", u=3.0), Part(label="b", how="", u=4.0)])
    5.0
    """
    return math.sqrt(sum(part.u * part.u for part in parts))


def t95(freedom: float) -> float:
    """Return Student's t for 95 %, that of the next smaller tabled degrees of freedom.

    Examples
    --------
    >>> t95(1), t95(4.7), t95(28), t95(math.inf)
    (12.71, 2.78, 2.06, 1.96)
    """
    if freedom < len(_T95) + 1:
        return _T95[max(int(freedom), 1) - 1]
    below = [t for degrees, t in _T95_MORE if degrees <= freedom]
    return below[-1] if below else _T95[-1]


def plain(number: float, count: int = 3) -> str:
    """Write a number with `count` significant figures for a sentence, never as a power of ten.

    Examples
    --------
    >>> plain(14.336), plain(168700.0), plain(-10.0), plain(0.0)
    ('14.3', '168,700', '−10', '0')
    """
    magnitude = math.floor(math.log10(abs(number))) if number else 0
    text = f"{number:,.{max(count - 1 - magnitude, 0)}f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text).replace("-", "−")


def measured(value: float, parts: Sequence[Part], now: float | None, unit: str, cover: float = COVER) -> Measured:
    """Return a result with the interval that its parts of error come to; parts of no size are left out."""
    return Measured(
        value=value,
        half=cover * combined(parts),
        now=now,
        unit=unit,
        parts=tuple(sorted((part for part in parts if part.u > 0.0), key=lambda part: -part.u)),
    )


def lasting_h(household: Household, bank_id: str, at: datetime, word: str = "dull") -> float | None:
    """Return how long a bank lasts from full through days of one word [h]; None beyond `DULL_DAYS`.

    Parameters
    ----------
    at : datetime
        The moment it is full, local standard time.
    word : str
        A word of `engine.sky.days.WORDS`, or ``none`` for no sun.

    Raises
    ------
    Unreachable
        If no bank is joined to an inverter, or banks share a bus that must not.
    """
    text = "none" if word == "none" else ",".join([word] * DULL_DAYS)
    sky = parse_sky(text, household.site, household.sun, at.month, DULL_DAYS)
    _, found = coming(household, {}, sky, at)
    one = next(one for one in found if bank_id in [bank.id for bank in one.supply.banks])
    return one.run(until_ended=True).ended_h
