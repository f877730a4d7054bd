"""A load as a meter measured it: a mean day of each month, hour by hour, and how the days of a week differ from it.

Power is W by hour of local standard time, on the side the load was measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from engine.errors import InputError
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH

MOST_W = 100_000.0
MOST_SHARE = 5.0
MONTHS, WEEKDAYS = 12, 7
MOST_DAYS, LONGEST_TITLE = 36_600, 200
"""A century of days; characters of a title (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """Mean days of a measured load.

    Attributes
    ----------
    month_w : (12, 24) tuple of tuples
        Mean power of each hour on the mean day of each month of the calendar, January first [W].
    weekday_share : (7,) tuple
        Energy of a day of the week over the mean day's, Monday first [-]; their mean is 1.
    days : int
        Whole days it rests on.
    title : str
        Which log it is from, and between which dates.
    """

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    month_w: tuple[tuple[float, ...], ...]
    weekday_share: tuple[float, ...] = (1.0,) * WEEKDAYS
    days: int = 0
    title: str = ""

    def __post_init__(self) -> None:
        if len(self.month_w) != MONTHS or any(len(day) != HOURS_PER_DAY for day in self.month_w):
            raise InputError("month_w", f"A measured load needs {MONTHS} months of {HOURS_PER_DAY} hours.")
        for number, day in enumerate(self.month_w, 1):
            for watts in day:
                if not 0.0 <= watts <= MOST_W:
                    raise InputError(
                        "month_w",
                        f"A measured load must be from 0 to {MOST_W:,.0f} W in every hour; got {watts:g} W in month "
                        f"{number}.",
                    )
        if not 0 <= self.days <= MOST_DAYS:
            raise InputError("days", f"A measured load may rest on 0 to {MOST_DAYS:,} days; got {self.days:,}.")
        if len(self.title) > LONGEST_TITLE:
            raise InputError(
                "title",
                f"The title of what was measured may have {LONGEST_TITLE} characters; it has {len(self.title):,}.",
            )
        shares = self.weekday_share
        if len(shares) != WEEKDAYS or not all(0.0 <= one <= MOST_SHARE for one in shares):
            raise InputError("weekday_share", f"The days of the week need {WEEKDAYS} shares from 0 to {MOST_SHARE:g}.")
        if abs(sum(shares) / WEEKDAYS - 1.0) > 1e-3:
            raise InputError(
                "weekday_share",
                f"The shares of the days of the week must have a mean of 1; theirs is {sum(shares) / WEEKDAYS:.4g}.",
            )

    def share_of(self, weekday: int) -> float:
        """Energy of a day of the week over that of the mean day [-]; 0 is Monday.

        The shares are divided by their mean, so that rounded ones add up to a week, too.

        Examples
        --------
        >>> even = Profile(month_w=((100.0,) * 24,) * 12, weekday_share=(0.8,) * 5 + (1.5,) * 2)
        >>> even.share_of(0), even.share_of(6)
        (0.8, 1.5)
        """
        return self.weekday_share[weekday] * WEEKDAYS / sum(self.weekday_share)

    def daily_kwh(self) -> tuple[float, ...]:
        """Energy of the mean day of each month, January first, (12,) [kWh]."""
        return tuple(sum(day) / WH_PER_KWH for day in self.month_w)
