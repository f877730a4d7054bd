"""The worst days in a row: how dull they are, how often they come, in which months, and what comes after.

From a series of daily kc or kWh: for each year its least mean over N days in a row; over the years the median (a
typical year), the 20th percentile (1 year in 5) and the 10th (1 year in 10), each only where there are years enough.
kc is a day's horizontal radiation over that of a clear day. Not modelled: rarer years than the series can tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from engine.sky.series import Floats, KcSeries, dates_of
from engine.sky.site import OwnSpell, Site, Sun
from engine.sky.years import daily_kwh, year_of_day

WINDOW_DAYS = (1, 2, 3, 5, 7, 10, 14)
RISK_YEARS = (1, 5, 10)
"""Once in so many years; 1 is a typical year."""
LEAST_YEARS = {1: 3, 5: 5, 10: 10}
"""Whole years a series must have for each risk (judgement)."""
LEAST_DAYS = 356
"""Days with a value that make a whole year; gaps of up to `LONGEST_GAP_DAYS` are filled between their neighbours."""
LONGEST_GAP_DAYS = 3
AFTER_DAYS = 7
"""Days kept after a window: what ends a bank is often the next spell, before it is full again."""
KEPT_DAYS = (3, 7, 14)
RUN_DAYS = (2, 3, 5, 7, 10, 14)
DULL_KC = (0.17, 0.30, 0.50)
"""Limits of the runs: below the first a day is dark, below the last dull, as in `days.WORDS` (judgement)."""
_PERCENTILES = {1: 50, 5: 20, 10: 10}
_LENGTHS = {1: "day", 2: "two days", 3: "three days", 5: "five days", 7: "week", 14: "two weeks"}
_ROUNDING = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Days in a row, in the order they came, the days after them, and the year they are counted to.

    `mean` is kc [-] or kWh a day, as the table's `quantity` says; `kc` and `after_kc` are clearness in both.
    """

    days: int
    year: int
    first: date
    mean: float
    kc: tuple[float, ...]
    after_kc: tuple[float, ...]

    @property
    def last(self) -> date:
        """Last day of the window."""
        return self.first + timedelta(days=self.days - 1)

    @property
    def month(self) -> int:
        """Month of its middle day, 1 to 12."""
        return (self.first + timedelta(days=(self.days - 1) // 2)).month


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """The worst N days of 1 year in so many: their mean, and the window of the series that shows them.

    `window` is the brightest of the years' worst windows that is no brighter than `mean`.
    """

    days: int
    risk_years: int
    mean: float
    window: Window


@dataclass(frozen=True, slots=True, kw_only=True)
class Runs:
    """Days in a row that are all below a limit [kc or kWh a day].

    Attributes
    ----------
    days_share : float
        Share of all days that are below.
    longest_days : dict of int to float
        Longest run of a year [days]: in a typical year (1), passed in 1 year of 5 and of 10, where years are enough.
    longest_ever_days : int
        Longest of the series [days].
    a_year : dict of int to float
        Runs of at least so many days [1/year].
    """

    below: float
    days_share: float
    longest_days: dict[int, float]
    longest_ever_days: int
    a_year: dict[int, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class SpellTable:
    """The dull spells of a series.

    Attributes
    ----------
    quantity : str
        ``kc`` [-] or ``kwh`` [kWh a day of all panels].
    basis, title : str
        As the series': ``measured`` or ``made``, and what it is.
    years : int
        Whole years behind the numbers.
    spells : tuple of Spell
        By days, then by risk; a risk for which there are not years enough is left out.
    worst : tuple of Window
        The worst window of every year, by days, then by year.
    runs : tuple of Runs
        One for each limit asked for.
    """

    quantity: str
    basis: str
    title: str
    years: int
    spells: tuple[Spell, ...]
    worst: tuple[Window, ...]
    runs: tuple[Runs, ...]

    def spell(self, days: int, risk_years: int) -> Spell | None:
        """Return the worst `days` days of 1 year in `risk_years`, or None where there are not years enough."""
        return next((one for one in self.spells if (one.days, one.risk_years) == (days, risk_years)), None)

    def months(self, days: int) -> tuple[int, ...]:
        """Return how many years had their worst `days` days in each month, January first."""
        found = [window.month for window in self.worst if window.days == days]
        return tuple(found.count(month) for month in range(1, 13))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Days:
    """Days in a row: kc, the values that are ranked, the year of each, and whether that year is whole."""

    first: date
    kc: Floats
    values: Floats
    year: NDArray[np.int64]
    whole: NDArray[np.bool_]

    @property
    def years(self) -> NDArray[np.int64]:
        """The whole years."""
        return np.unique(self.year[self.whole])


def spell_table(series: KcSeries, latitude_deg: float, below: Sequence[float] = DULL_KC) -> SpellTable:
    """Return the dull spells of a series by kc.

    Parameters
    ----------
    latitude_deg : float
        Of the place [deg]; it decides where a year of dull days begins.
    below : sequence of float
        Limits of the runs [kc].

    Examples
    --------
    >>> import numpy as np
    >>> year = np.where(np.arange(365) < 3, 0.2, 0.8)
    >>> four = KcSeries(first=date(2001, 1, 1), kc=np.tile(year, 4), basis="made", title="four alike")
    >>> round(spell_table(four, 0.0).spell(5, 1).mean, 2)
    0.44
    """
    kc = filled(series.kc)
    return _table("kc", series, _counted(series.first, kc, kc, latitude_deg), below)


def yield_spells(site: Site, sun: Sun, series: KcSeries, below: Sequence[float] = ()) -> SpellTable:
    """Return the spells in which all panels give least, by kWh a day, DC before the solar charger.

    Parameters
    ----------
    below : sequence of float
        Limits of the runs [kWh a day].
    """
    return kwh_spells(series, daily_kwh(site, sun, series), site.latitude_deg, below)


def kwh_spells(series: KcSeries, kwh: Floats, latitude_deg: float, below: Sequence[float] = ()) -> SpellTable:
    """Return the same spells from what the panels give on each day of a series [kWh] (n,), already worked out."""
    return _table("kwh", series, _counted(series.first, filled(series.kc), filled(kwh), latitude_deg), below)


def own_spells(series: KcSeries, latitude_deg: float) -> tuple[OwnSpell, ...]:
    """Return the worst 3, 7 and 14 days of a measured series as a household keeps them: ``own_7d_1in10`` and so on.

    Those for which the series has not years enough are left out; kc is rounded to three decimals.
    """
    table = spell_table(series, latitude_deg, ())
    return tuple(_kept(spell, table.years) for spell in table.spells if spell.days in KEPT_DAYS)


def spell_title(days: int, risk_years: int) -> str:
    """Return what the worst days of 1 year in so many are called.

    Examples
    --------
    >>> spell_title(7, 10), spell_title(10, 1)
    ('Worst week of 1 year in 10', 'Worst 10 days of a typical year')
    """
    often = "a typical year" if risk_years == 1 else f"1 year in {risk_years}"
    return f"Worst {_LENGTHS.get(days, f'{days} days')} of {often}"


def filled(daily: Floats) -> Floats:
    """Return the series with gaps of up to `LONGEST_GAP_DAYS` days between two known days filled on a straight line."""
    known = np.flatnonzero(np.isfinite(daily))
    whole = daily.copy()
    for left, right in pairwise(known):
        if 1 < right - left <= LONGEST_GAP_DAYS + 1:
            whole[left : right + 1] = np.linspace(daily[left], daily[right], right - left + 1)
    return whole


def _counted(first: date, kc: Floats, values: Floats, latitude_deg: float) -> _Days:
    year = year_of_day(dates_of(first, kc.size), latitude_deg)
    numbers, place = np.unique(year, return_inverse=True)
    known = np.bincount(place, weights=np.isfinite(kc), minlength=numbers.size)
    return _Days(first=first, kc=kc, values=values, year=year, whole=(known >= LEAST_DAYS)[place])


def _table(quantity: str, series: KcSeries, days: _Days, below: Sequence[float]) -> SpellTable:
    years = int(days.years.size)
    worst = {length: _worst(days, length) for length in WINDOW_DAYS}
    enough = [risk for risk in RISK_YEARS if years >= LEAST_YEARS[risk]]
    return SpellTable(
        quantity=quantity,
        basis=series.basis,
        title=series.title,
        years=years,
        spells=tuple(_spell(worst[length], risk) for length in WINDOW_DAYS for risk in enough),
        worst=tuple(window for length in WINDOW_DAYS for window in worst[length]),
        runs=tuple(_runs(days, limit, enough) for limit in below) if years else (),
    )


def _worst(days: _Days, length: int) -> tuple[Window, ...]:
    """The window of least mean of each whole year, counted to the year of its last day."""
    if days.values.size < length:
        return ()
    means = np.full(days.values.size, np.inf)
    ending = np.convolve(days.values, np.full(length, 1.0 / length), mode="valid")
    means[length - 1 :] = np.where(np.isfinite(ending), ending, np.inf)
    ends = (np.flatnonzero(days.year == year) for year in days.years)
    return tuple(_window(days, int(mine[np.argmin(means[mine])]), length, means) for mine in ends)


def _window(days: _Days, end: int, length: int, means: Floats) -> Window:
    after = days.kc[end + 1 : end + 1 + AFTER_DAYS]
    unknown = np.flatnonzero(~np.isfinite(after))
    start = end + 1 - length
    return Window(
        days=length,
        year=int(days.year[end]),
        first=days.first + timedelta(days=start),
        mean=float(means[end]),
        kc=tuple(days.kc[start : end + 1].tolist()),
        after_kc=tuple(after[: unknown[0] if unknown.size else None].tolist()),
    )


def _spell(worst: Sequence[Window], risk_years: int) -> Spell:
    mean = float(np.percentile([window.mean for window in worst], _PERCENTILES[risk_years]))
    shown = max((window for window in worst if window.mean <= mean + _ROUNDING), key=lambda window: window.mean)
    return Spell(days=shown.days, risk_years=risk_years, mean=mean, window=shown)


def _runs(days: _Days, below: float, risks: Sequence[int]) -> Runs:
    dull = (days.values < below) & days.whole
    edges = np.flatnonzero(np.diff(dull.astype(np.int8), prepend=0, append=0))
    starts, lengths = edges[::2], edges[1::2] - edges[::2]
    longest = [int(lengths[days.year[starts] == year].max(initial=0)) for year in days.years]
    return Runs(
        below=below,
        days_share=float(dull.sum() / days.whole.sum()),
        longest_days={risk: float(np.percentile(longest, 100 - _PERCENTILES[risk])) for risk in risks},
        longest_ever_days=max(longest),
        a_year={least: float((lengths >= least).sum() / len(longest)) for least in RUN_DAYS},
    )


def _kept(spell: Spell, years: int) -> OwnSpell:
    window = spell.window
    return OwnSpell(
        id=f"own_{spell.days}d_1in{spell.risk_years}",
        title=spell_title(spell.days, spell.risk_years),
        kc=tuple(round(kc, 3) for kc in window.kc),
        after_kc=tuple(round(kc, 3) for kc in window.after_kc),
        month=window.month,
        ended=window.last.isoformat(),
        years=years,
    )
