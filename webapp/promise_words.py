"""The promise book in sentences: how often the range held, whether that is chance, and why it was made wider."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from engine.answers.promise_book import CLAIM_SHARE, LEAST_SCORED, MOST_WIDE, Calibration
from engine.answers.promises import Score
from webapp.render import NO_BREAK, fixed
from webapp.words import counted, number

LEAST_BIAS_PER_DAY = 0.005
"""A steady error below half a point a day is not told (choice)."""
TENTHS = number(round(CLAIM_SHARE * 10.0))
"""What the range is meant to hold, of ten."""


def too_narrow(one: Calibration) -> Markup:
    """Say by how much a range was made wider and why, with the way to the book."""
    outside = one.below + one.above
    most = " It would have to be wider still: something described here is wrong." if one.capped else ""
    return Markup(
        "The range is <strong>{} times as wide</strong> as the model’s own, because {} of your last {} answers fell "
        'outside it.{} <a class="press" href="/promises">The promise book, and how to switch this off</a>'
    ).format(fixed(one.factor, 1), outside, one.counted, most)


def sentence(scores: Sequence[Score]) -> Markup:
    """Say how many answers came within the range that they were given with."""
    if not scores:
        return Markup("No answer is <strong>scored</strong> yet.")
    held = sum(score.within for score in scores)
    of = "answer" if len(scores) == 1 else "answers"
    return Markup("Of {} {} <strong>{}</strong> came within the range; it is meant to hold {} of ten.").format(
        len(scores), of, held or "none", TENTHS
    )


def judged(one: Calibration, widening: bool) -> str:
    """Say whether what came can be chance, and what follows from it."""
    if one.counted < LEAST_SCORED:
        return (
            f"{counted(one.counted, 'answer')} {'counts' if one.counted == 1 else 'count'} so far; from "
            f"{number(LEAST_SCORED)} on it is said whether the range is too narrow."
        )
    may = f"{fixed(one.low_share * 100.0)} to {fixed(one.high_share * 100.0)} of 100"
    meant = f"the {fixed(one.claim_share * 100.0)} it is meant to hold"
    head = f"Of the newest {one.counted} that count the model’s own range held {one.within}"
    if one.overconfident:
        follows = (
            f"Today shows it {fixed(one.factor, 1)} times as wide."
            if widening
            else "You have switched the wider range off, so Today shows the model’s own."
        )
        most = f" More than {MOST_WIDE:g} times is never taken; it would have to be." if one.capped and widening else ""
        return f"{head}: it may hold {may}, fewer than {meant}. It is too narrow. {follows}{most}"
    if one.low_share > one.claim_share:
        return f"{head}: it may hold {may}, more than {meant}. It is left as wide: a range is never made narrower."
    return f"{head}: it may hold {may}, which fits {meant}."


def bias(one: Calibration) -> tuple[str, str]:
    """Return the steady error in points a day, and what it may mean."""
    if one.bias_per_day is None:
        return "–", "no charge is known yet"
    points = one.bias_per_day * 100.0
    shown = f"{'+' if points > 0.0 else ''}{fixed(points, 1)}"
    if abs(one.bias_per_day) < LEAST_BIAS_PER_DAY:
        return shown, "points of charge a day; no steady error"
    if points < 0.0:
        return shown, "points of charge a day: the house drew more, or the sun gave less, than described"
    return shown, "points of charge a day: the house drew less, or the sun gave more, than described"


def verdict(score: Score, widened: float = 1.0) -> str:
    """Say how one answer came out, against its range as it was shown: `widened` times the model's own."""
    if score.within:
        return "within" if score.ratio <= 1.0 else "within the wider range"
    side = "below" if score.side < 0 else "above"
    low, likely, high = score.low_soc, score.likely_soc, score.high_soc
    if score.error_soc is None or low is None or likely is None or high is None:
        return "sooner than the range" if score.side < 0 else "later than the range"
    by = abs(score.error_soc) - widened * (likely - low if score.side < 0 else high - likely)
    return f"{side} it by {fixed(abs(by) * 100.0, 1)}{NO_BREAK}points"
