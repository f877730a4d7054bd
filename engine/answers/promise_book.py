"""What a book of scored answers says of the range: how often it held, whether that can be chance, how wide it must be.

The range is meant to hold eight of ten: its days run from the dullest tenth of many years to the brightest, and loads a
tenth up and down stand at its ends; days typed in words it is taken of as well (judgement). One answer counts where its
time, from the question to what came, overlaps no other that counts: two questions of one evening are scored by the
same night. Not modelled: that nights which follow each other are alike in weather and habits, so that chance reaches a
little further than the interval says; nor that the book is looked at after every answer: of 300 simulated books whose
range held eight of ten, 3 of 100 were called too narrow at one time, 13 of 100 at some time in their first sixty.

References
----------
C. J. Clopper and E. S. Pearson, "The use of confidence or fiducial limits illustrated in the case of the binomial",
Biometrika 26 (1934) 404-413.
V. Vovk, A. Gammerman and G. Shafer, Algorithmic Learning in a Random World, Springer 2005, and J. Lei et al.,
"Distribution-free predictive inference for regression", JASA 113 (2018) 1094-1111: the quantile of the scores of a
calibration set, with n + 1 for n, holds a new one of the same kind with at least the chance claimed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from engine.answers.promises import Score
from engine.errors import InputError
from engine.quantities import HOURS_PER_DAY

CLAIM_SHARE = 0.8
"""Answers that the range is meant to hold (its tenths at either end; of typed days a judgement)."""
SURE_SHARE = 0.9
"""Of the interval round the share that held; above it lie 5 in 100 (choice)."""
LEAST_SCORED = 10
"""Fewer answers than this never widen a range (choice)."""
NEWEST = 60
"""So many of the newest that count say how wide: what was mended before is forgotten (choice)."""
MOST_WIDE = 4.0
"""No range is made wider than so many times (choice): past it the household as described is what is wrong."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spanned:
    """A score with the time that it was about [s since 1970, universal time]."""

    asked_s: float
    came_s: float
    score: Score


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """What the newest scored answers of one bank say of its range.

    Attributes
    ----------
    counted, within, below, above : int
        Answers that count, those within the model's own range, and those outside it by side.
    claim_share : float
        What the range is meant to hold.
    low_share, high_share : float
        Interval of the share that it holds (`SURE_SHARE`).
    bias_per_day : float or None
        Charge that came less the likely one, over the days between [1/day]; None where no charge is known.
    overconfident : bool
        Whether there are enough, and fewer held than chance allows.
    factor : float
        How many times as wide the range is to be; 1 where it is not overconfident.
    capped : bool
        Whether it would have to be wider still.
    """

    counted: int
    within: int
    below: int
    above: int
    claim_share: float
    low_share: float
    high_share: float
    bias_per_day: float | None
    overconfident: bool
    factor: float
    capped: bool


def calibration(spanned: Sequence[Spanned]) -> Calibration:
    """Say what scored answers of one bank show; the newest `NEWEST` of those that count."""
    counted = [spanned[place].score for place in counts(spanned)][-NEWEST:]
    outside = [score for score in counted if score.ratio > 1.0]
    within = len(counted) - len(outside)
    low, high = interval(within, len(counted), SURE_SHARE)
    overconfident = len(counted) >= LEAST_SCORED and high < CLAIM_SHARE
    wanted = conformal([score.ratio for score in counted], CLAIM_SHARE) if overconfident else 1.0
    return Calibration(
        counted=len(counted),
        within=within,
        below=sum(score.side < 0 for score in outside),
        above=sum(score.side > 0 for score in outside),
        claim_share=CLAIM_SHARE,
        low_share=low,
        high_share=high,
        bias_per_day=_bias_per_day(counted),
        overconfident=overconfident,
        factor=min(max(wanted, 1.0), MOST_WIDE),
        capped=wanted > MOST_WIDE,
    )


def counts(spanned: Sequence[Spanned]) -> tuple[int, ...]:
    """Return the places of the answers that count, in the order they came: the most that overlap none other.

    Of several that what came scored at once the one asked last counts.

    Examples
    --------
    >>> nothing = Score(after_h=3.0, ratio=0.0, side=0, within=True, error_soc=0.0)
    >>> counts([Spanned(asked_s=a, came_s=b, score=nothing) for a, b in ((0, 9), (1, 9), (5, 20), (9, 30))])
    (1, 3)
    """
    order = sorted(range(len(spanned)), key=lambda place: (spanned[place].came_s, -spanned[place].asked_s))
    chosen: list[int] = []
    for place in order:
        if not chosen or spanned[place].asked_s >= spanned[chosen[-1]].came_s:
            chosen.append(place)
    return tuple(chosen)


def conformal(ratios: Sequence[float], claim_share: float) -> float:
    """Return the factor by which a range must be as wide to hold a new answer with the chance claimed.

    Parameters
    ----------
    ratios : sequence of float
        How far answers came from the likely one, in widths of their range.

    Returns
    -------
    float
        The ceil((n + 1) claim)-th smallest; infinite where there are too few to say.

    Examples
    --------
    >>> conformal([0.5, 3.0, 1.0, 2.0], 0.8), conformal([1.0, 2.0], 0.8)
    (3.0, inf)
    """
    place = math.ceil((len(ratios) + 1) * claim_share - 1e-9)
    return sorted(ratios)[place - 1] if place <= len(ratios) else math.inf


def interval(hits: int, tries: int, sure_share: float) -> tuple[float, float]:
    """Return Clopper and Pearson's interval of a share of which `hits` of `tries` were seen.

    Raises
    ------
    InputError
        If there are more hits than tries.

    Examples
    --------
    >>> tuple(round(share, 3) for share in interval(10, 10, 0.95))
    (0.692, 1.0)
    """
    if not 0 <= hits <= tries:
        raise InputError("hits", f"Hits must be from 0 to the {tries} tries, got {hits}.")
    tail = (1.0 - sure_share) / 2.0
    low = 0.0 if hits == 0 else _root(lambda share: 1.0 - at_most(hits - 1, tries, share) - tail)
    high = 1.0 if hits == tries else _root(lambda share: tail - at_most(hits, tries, share))
    return low, high


def at_most(hits: int, tries: int, share: float) -> float:
    """Return the chance of no more than `hits` of `tries`, each with the chance `share`.

    Examples
    --------
    >>> at_most(1, 2, 0.5), at_most(2, 2, 0.5)
    (0.75, 1.0)
    """
    return math.fsum(math.comb(tries, n) * share**n * (1.0 - share) ** (tries - n) for n in range(hits + 1))


def _root(rising: Callable[[float], float]) -> float:
    """Where a rising function of a share is nothing, by halving."""
    low, high = 0.0, 1.0
    for _ in range(50):
        middle = (low + high) / 2.0
        low, high = (low, middle) if rising(middle) > 0.0 else (middle, high)
    return (low + high) / 2.0


def _bias_per_day(counted: Sequence[Score]) -> float | None:
    """The steady error a day that fits best, in squares; a later answer weighs more."""
    known = [(score.error_soc, score.after_h / HOURS_PER_DAY) for score in counted if score.error_soc is not None]
    squares = math.fsum(days * days for _, days in known)
    return math.fsum(error * days for error, days in known) / squares if squares else None
