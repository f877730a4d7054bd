"""What a log of daily kWh teaches: clear days, the dullest week, the months, and what is to be said about each.

kWh of all panels, DC before the solar charger. Each lesson is a change of `Sun` with the days it rests on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.sky import climate as climates
from engine.sky.averages import DAYS_IN_MONTH
from engine.sky.log import LEAST_DAYS_OF_MONTH, Log
from engine.sky.series import Floats
from engine.sky.site import Sun
from engine.text.finding import Finding

DULL_DAYS = 7
"""Days in a row of the dullest week: a single day may be a fault, a week is a spell (choice)."""
CLEAR_DAYS_SHARE = 0.1
"""Of a log's days count as clear (choice). Where 1 is right, the tenth reaches 0.95 to 1.07 of the modelled clear day
from year to year at three stations and in two typical years, and 1.22 in one of the Po valley, whose air the model
takes for hazier than it is; where skies are darker still it reads low."""
BRIGHT_SCALE = 1.05
"""Above this, clear days may be brighter than ours because the air is clearer, not the panels stronger (choice)."""
LEAST_CLEAR_DAYS = 6
LEAST_LOG_YEARS = 3
"""Whole years from which the middle one is taken for the dullest week (choice)."""
LEAST_DAYS_OF_YEAR = 300
STRONGEST_SHARES, BELIEVED_SHARES = (0.4, 1.3), (0.05, 3.0)
"""Clear days of a log over modelled ones: outside the first it is asked, outside the second not believed (choice)."""
HELD_BACK_SHARE = 0.8
"""Bright months whose best days reach less than this of the dark months' best are held back by a full bank (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesson:
    """One thing a record teaches: the fields of `Sun` it would set, and on how many days it rests.

    Attributes
    ----------
    id : str
        ``clear_day``, ``dull_day`` or ``monthly_kwh``.
    title, text : str
        What it is, and what was found, in a sentence.
    days : int
        Days of the record it rests on.
    changes : mapping
        Names and values of fields of `Sun`, as a household's document keeps them.
    check : str
        What to ask oneself before it is used; empty where there is nothing.
    """

    id: str
    title: str
    text: str
    days: int
    changes: Mapping[str, Any]
    check: str = ""


def lessons_of(log: Log, sun: Sun) -> tuple[Lesson, ...]:
    """Return what a log teaches; what it has too few days for is left out."""
    found = (_clear_day(log), _dull_week(log), _months(log, sun))
    return tuple(one for one in found if one is not None)


def findings_of(log: Log) -> tuple[Finding, ...]:
    """Return what is to be said about a log."""
    return (*_strength(log), *_gave_nothing(log), *_held_back(log), *_no_dark_season(log), _SAFE_SIDE)


def strength_of(log: Log) -> tuple[int, float]:
    """Return how many the clearest days of a log are, and how much of the modelled clear day they reach at least."""
    share = log.clear_share[np.isfinite(log.clear_share)]
    days = int(share.size * CLEAR_DAYS_SHARE)
    return days, float(np.quantile(share, 1.0 - CLEAR_DAYS_SHARE)) if days else 1.0


def _clear_day(log: Log) -> Lesson | None:
    """How strong clear days are: what the clearest tenth of the days reaches of the modelled clear day."""
    days, scale = strength_of(log)
    if days < LEAST_CLEAR_DAYS:
        return None
    month = int(np.argmax(log.clear_by_month_kwh)) + 1
    kwh = _figures(scale * log.clear_by_month_kwh[month - 1])
    with_dull = (
        " Take the dullest week with it: clearer air does not make dull days brighter." if scale > BRIGHT_SCALE else ""
    )
    return Lesson(
        id="clear_day",
        title="Its clear days",
        text=f"Its {days} clearest days, a tenth of all, give at least {scale:.2f} times what these panels should on a "
        f"clear day. A clear day in {climates.MONTH_NAMES[month - 1]} is {kwh:g} kWh so.{with_dull}",
        days=days,
        changes={"clear_day_kwh": kwh, "clear_day_month": month},
    )


def _dull_week(log: Log) -> Lesson | None:
    """The seven days in a row, each of them known and lit, that gave least: of a typical year where there are years."""
    kwh = np.where(log.lit, log.kwh, np.nan)
    means = np.lib.stride_tricks.sliding_window_view(kwh, DULL_DAYS).mean(axis=1) if kwh.size >= DULL_DAYS else kwh[:0]
    if not np.nan_to_num(means).any():
        return None
    worst = _worst_of_years(means, log.year[: means.size])
    start = worst[(len(worst) - 1) // 2] if len(worst) >= LEAST_LOG_YEARS else int(np.nanargmin(means))
    of = f"of its {len(worst)} years, by the middle one" if len(worst) >= LEAST_LOG_YEARS else "of the log"
    mean_kwh, last = _figures(float(means[start])), log.dates[start + DULL_DAYS - 1].item()
    if not mean_kwh > 0.0:
        return None
    return Lesson(
        id="dull_day",
        title="Its dullest week",
        text=f"The dullest {DULL_DAYS} days in a row {of}, ended on {last.day} {climates.MONTH_NAMES[last.month - 1]} "
        f"{last.year} and gave {mean_kwh:g} kWh a day. Used, that is your dull day.",
        days=DULL_DAYS,
        changes={"dull_day_kwh": mean_kwh, "dull_day_month": int(log.month[start + DULL_DAYS // 2])},
        check=_without_the_darkest(log),
    )


def _without_the_darkest(log: Log) -> str:
    """Which months a log knows, where the one whose clear day gives least is not among them."""
    days = [int((log.known & (log.month == month)).sum()) for month in range(1, 13)]
    darkest = int(np.argmin(log.clear_by_month_kwh))
    if days[darkest] >= LEAST_DAYS_OF_MONTH:
        return ""
    whole = [name for name, n in zip(climates.MONTH_NAMES, days, strict=True) if n >= LEAST_DAYS_OF_MONTH]
    knows = f"knows {_listed(whole)}" if whole else "knows no whole month"
    return f"The log {knows}, not {climates.MONTH_NAMES[darkest]}, when clear days give least: expect duller weeks."


def _worst_of_years(means: Floats, years: NDArray[np.int64]) -> list[int]:
    """Where each whole year's least mean begins, the least of all first."""
    known = np.isfinite(means)
    whole = [year for year in np.unique(years) if known[years == year].sum() >= LEAST_DAYS_OF_YEAR]
    worst = [int(np.flatnonzero(years == year)[np.nanargmin(means[years == year])]) for year in whole]
    return sorted(worst, key=lambda start: float(means[start]))


def _months(log: Log, sun: Sun) -> Lesson | None:
    """The kWh of each month that has days enough, over all years of the log."""
    months = log.dates.astype("datetime64[M]")
    means: dict[int, list[float]] = {}
    days = 0
    for one in np.unique(months[log.known]):
        there = log.known & (months == one)
        if there.sum() >= LEAST_DAYS_OF_MONTH:
            means.setdefault(int(log.month[there][0]), []).append(float(log.kwh[there].mean()))
            days += int(there.sum())
    if not means:
        return None
    kwh = list(sun.monthly_kwh or (None,) * 12)
    for month, daily in means.items():
        kwh[month - 1] = _figures(float(np.mean(daily)) * DAYS_IN_MONTH[month - 1])
    missing = [climates.MONTH_NAMES[n] for n in range(12) if n + 1 not in means]
    stay = f" Too few days in {_listed(missing)}: left as before." if missing else ""
    return Lesson(
        id="monthly_kwh",
        title="Its months",
        text=f"What {len(means)} of the 12 months gave, from {days} days.{stay}",
        days=days,
        changes={"monthly_kwh": tuple(kwh)},
    )


def _strength(log: Log) -> Iterator[Finding]:
    """Clear days that no such panels give: another unit, or other panels than those described."""
    telling = log.known & (log.clear_kwh > 0.0)
    if telling.sum() < LEAST_CLEAR_DAYS:
        return
    scale = float(np.quantile(log.kwh[telling] / log.clear_kwh[telling], 1.0 - CLEAR_DAYS_SHARE))
    if STRONGEST_SHARES[0] <= scale <= STRONGEST_SHARES[1]:
        return
    believed = BELIEVED_SHARES[0] <= scale <= BELIEVED_SHARES[1]
    yield Finding(
        level="check" if believed else "stop",
        code="log-strength",
        text=f"Its clear days reach {_figures(scale):g} times what these panels should give: is the unit of the file "
        "right, does it count all the panels, and are all of them described on Sun?",
    )


def _gave_nothing(log: Log) -> Iterator[Finding]:
    nothing = int((log.known & ~log.lit).sum())
    if nothing:
        yield Finding(
            level="check",
            code="log-nothing",
            text=f"{nothing} of its days show next to nothing: panels off or covered, or nothing written down. They "
            "are left out of its clear days and its dullest week; in the months they count as they stand. Days that "
            "were only not written down are better left empty in the file.",
        )


def _held_back(log: Log) -> Iterator[Finding]:
    """Best days of the bright months that stay well below those of the dark ones."""
    by_light = np.argsort(log.clear_by_month_kwh) + 1
    dark, bright = (log.clear_share[np.isin(log.month, half)] for half in (by_light[:6], by_light[6:]))
    if min(np.isfinite(dark).sum(), np.isfinite(bright).sum()) < LEAST_DAYS_OF_MONTH:
        return
    of_dark, of_bright = (float(np.nanquantile(half, 1.0 - CLEAR_DAYS_SHARE)) for half in (dark, bright))
    if of_bright < HELD_BACK_SHARE * of_dark:
        yield Finding(
            level="check",
            code="log-held-back",
            text=f"The best days of its bright months reach {of_bright:.2f} of a clear day, those of its dark months "
            f"{of_dark:.2f}: in the bright ones the bank was probably full. Their kWh say what you used, not what the "
            "sun gave.",
        )


def _no_dark_season(log: Log) -> Iterator[Finding]:
    """Whether the month that gives least is in the log at all."""
    darkest = int(np.argmin(log.clear_by_month_kwh)) + 1
    if int((log.known & (log.month == darkest)).sum()) < LEAST_DAYS_OF_MONTH:
        yield Finding(
            level="check",
            code="log-no-dark-season",
            text=f"The log has no whole {climates.MONTH_NAMES[darkest - 1]}, when a clear day gives least: its dullest "
            "week may be far from your worst.",
        )


_SAFE_SIDE = Finding(
    level="note",
    code="log-full-bank",
    text="A full bank holds the panels back, so days and months with a full bank read lower than the sun was. Answers "
    "made from them err on the safe side.",
)


def _figures(kwh: float) -> float:
    """Three figures: no log is better than that."""
    return float(f"{kwh:.3g}")


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
