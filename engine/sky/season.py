"""How dull the days of each month may be: its worst days in a row, year by year.

Kept apart from the worst of the whole year, which always fall in the darkest season. kWh are those of the series
handed in. Not modelled: a spell that reaches over the end of a month counts where its middle lies.
"""

from __future__ import annotations

from datetime import date

import numpy as np

from engine.sky.series import Floats, dates_of

MONTHS_IN_YEAR = 12


def worst_by_month(first: date, daily: Floats, days: int, rank_percent: float) -> tuple[float, ...]:
    """Return each month's worst mean of so many days in a row, the percentile of the years asked for.

    Parameters
    ----------
    first : date
        Of the first day; the days follow one another without a gap.
    daily : (n,) array
        One number a day, for example kWh; of every month of the year at least once.
    days : int
        Length of the windows [days].
    rank_percent : float
        Percentile over the years [%]: 50 for a typical year, 10 for 1 year in 10.

    Returns
    -------
    tuple of 12 float
        January first.

    Examples
    --------
    >>> year = np.where(np.arange(365) < 31, 1.0, 2.0)
    >>> [round(worst, 2) for worst in worst_by_month(date(2001, 1, 1), np.tile(year, 2), 3, 50.0)[:3]]
    [1.0, 1.67, 2.0]
    """
    means = np.convolve(daily, np.full(days, 1.0 / days), mode="valid")
    middles = dates_of(first, daily.size)[(days - 1) // 2 :][: means.size]
    months = middles.astype("datetime64[M]").astype(np.int64)
    starts = np.flatnonzero(np.diff(months, prepend=months[0] - 1))
    least = np.minimum.reduceat(means, starts)
    of_year = months[starts] % MONTHS_IN_YEAR
    return tuple(float(np.percentile(least[of_year == month], rank_percent)) for month in range(MONTHS_IN_YEAR))
