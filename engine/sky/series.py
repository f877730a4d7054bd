"""Days in a row, one number each: the shape in which measured and made skies are handed on.

Days follow the calendar without a gap; a day that is not known is NaN. Radiation is kWh/m2 on the level, yield is
kWh of all panels, DC before the solar charger; kc is the day's radiation over that of a clear day.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from engine.text.finding import Finding

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DailySeries:
    """What a file says, day by day.

    Attributes
    ----------
    quantity : str
        ``radiation`` [kWh/m2 on the level] or ``yield`` [kWh of the panels].
    first : date
        Day of the first value.
    values : (n,) array
        One number a day; NaN where it is not known.
    typical : bool
        Whether the year is put together from months of different years, so that it says nothing of dull spells.
    latitude_deg, longitude_deg : float or None
        Where it was measured, if the file says so.
    noon_h : float or None
        Hour of the house's standard time about which the file's light lies, if it has hours.
    """

    quantity: str
    first: date
    values: Floats
    typical: bool = False
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    findings: tuple[Finding, ...] = ()
    noon_h: float | None = None

    @property
    def last(self) -> date:
        """Day of the last value."""
        return self.first + timedelta(days=self.values.size - 1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KcSeries:
    """Clearness of days in a row (n,), NaN where not known; `basis` is ``measured`` or ``made``."""

    first: date
    kc: Floats
    basis: str
    title: str


def dates_of(first: date, days: int) -> NDArray[np.datetime64]:
    """Return the `days` dates that begin with `first`."""
    return np.datetime64(first, "D") + np.arange(days)


def days_of_year(dates: NDArray[np.datetime64]) -> NDArray[np.int64]:
    """Return the day of the year of each date, 1 January being 1.

    Examples
    --------
    >>> days_of_year(dates_of(date(2024, 12, 30), 3)).tolist()
    [365, 366, 1]
    """
    return np.asarray((dates - dates.astype("datetime64[Y]")).astype(np.int64) + 1)
