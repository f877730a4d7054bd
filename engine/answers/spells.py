"""How dull the worst days at a place are, how often they come and in which months, and what helps against them.

The worst N days of a year by what these panels give, from the made years of the place, the owner's own file, or a
station of one climate. kWh are DC of all panels, before the solar charger, unless a name says in the bank. Not
modelled: snow, rarer years than 1 in 10, a forecast.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from engine.answers.answer import Assumption, Notice, Worked, assumptions_of
from engine.answers.notices_sky import sky_notices
from engine.answers.spell_windows import FILE, MADE, SpellRow, made_rows, measured_rows, own_rows
from engine.balance.forcing import mean_dc_w
from engine.errors import InputError
from engine.house.household import Household
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sky import climate as climates
from engine.sky.averages import average_day_kwh
from engine.sky.facing import Facing, facings, own_facings
from engine.sky.made import made_kwh, made_spells, made_years
from engine.sky.season import worst_by_month
from engine.sky.site import Site, Sun
from engine.sky.spells import RISK_YEARS, WINDOW_DAYS, Runs, SpellTable, kwh_spells, spell_table

_RANK_PERCENT = {1: 50.0, 5: 20.0, 10: 10.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthOfYear:
    """One month, kWh a day: the average day and the month's own worst days, also behind the charger, and the load.

    `load_kwh` is what the loads draw from the banks, inverters' losses and idle included; None without a joined bank.
    """

    month: int
    average_kwh: float
    worst_kwh: float
    in_bank_kwh: float
    worst_in_bank_kwh: float
    load_kwh: float | None

    @property
    def covered_share(self) -> float | None:
        """How much of the load the average day's sun carries [-]; None without a load."""
        return self.in_bank_kwh / self.load_kwh if self.load_kwh else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spells:
    """The answer; what stands under `runs`, `months` and `year` is of the made years whatever the windows are of.

    Attributes
    ----------
    rows : tuple of SpellRow
        Every window that the skies asked for give, by days, then by risk.
    asked : SpellRow
        The one the question is about.
    average_kwh : float
        What all panels give on an average day of the month in which `asked` falls.
    months : tuple of 12 int
        In how many of the made years the worst `asked.days` days fell in each month.
    made_gives_any : bool
        Whether those worst days of the made years give anything in any year; if not, `months` says little.
    runs : tuple of Runs
        Days in a row below a clearness.
    below_load : Runs or None
        Days in a row that give less than a day's load of the hardest month needs.
    hardest_month : int
        The month whose average day carries the smallest share of its load; of the least sun where there is no load.
    facing, own_facing : tuple of Facing
        What tilt and direction are worth in the month of `asked`, on a day as dull as it is.
    """

    basis: str
    source: str
    years: int
    made_years: int
    rows: tuple[SpellRow, ...]
    asked: SpellRow
    average_kwh: float
    months: tuple[int, ...]
    made_gives_any: bool
    runs: tuple[Runs, ...]
    below_load: Runs | None
    year: tuple[MonthOfYear, ...]
    hardest_month: int
    facing: tuple[Facing, ...]
    own_facing: tuple[Facing, ...]
    worked: tuple[Worked, ...]
    notices: tuple[Notice, ...]
    assumptions: tuple[Assumption, ...]


def bases(sun: Sun) -> tuple[str, ...]:
    """Return what the windows may be of: made years, the own file where it has spells, each climate's stations."""
    own = (FILE,) if sun.spells else ()
    measured = dict.fromkeys(preset.climate for preset in climates.presets().values())
    return (MADE, *own, *measured)


def spells(household: Household, basis: str = MADE, days: int = 7, risk_years: int = 10) -> Spells:
    """Work out the dull spells of a household's place.

    Parameters
    ----------
    basis : str
        One of `bases`.
    days : int
        Length of the window asked about [days]; the nearest there is.
    risk_years : int
        1 for a typical year, 5 or 10 for the worst of so many; the rarest there is, up to that.

    Raises
    ------
    InputError
        If there are no such skies, days or risk.
    """
    site, sun = household.site, household.sun
    _refuse("basis", "Skies", basis, bases(sun))
    _refuse("days", "Days in a row", days, WINDOW_DAYS)
    _refuse("risk", "How often", risk_years, RISK_YEARS)
    made = made_spells(site, sun)
    rows = _rows(site, sun, basis, made)
    asked = _nearest(rows, days, risk_years)
    year = _year(household, asked)
    hardest = min(year, key=lambda one: one.average_kwh if one.covered_share is None else one.covered_share)
    return Spells(
        basis=basis,
        source=asked.source,
        years=asked.years,
        made_years=made.years,
        rows=rows,
        asked=asked,
        average_kwh=year[asked.month - 1].average_kwh,
        months=made.months(asked.days),
        made_gives_any=any(window.mean > 0.0 for window in made.worst if window.days == asked.days),
        runs=_clearness(site, sun).runs,
        below_load=_below(household, hardest.load_kwh),
        year=year,
        hardest_month=hardest.month,
        facing=facings(site, sun, asked.window_kc, asked.month),
        own_facing=own_facings(site, sun, asked.window_kc, asked.month) if sun.arrays else (),
        worked=_worked(asked, year[asked.month - 1].average_kwh),
        notices=(*_notices(asked, days, risk_years), *_under_snow(sun), *sky_notices(household)),
        assumptions=(*_assumptions(basis, asked, made), *assumptions_of(household, ())),
    )


def _under_snow(sun: Sun) -> tuple[Notice, ...]:
    if not sun.covered_days:
        return ()
    text = (
        f"Snow is not in these numbers: the {sun.covered_days} days that the panels are covered count on Today, Bank "
        "size and Rainy week."
    )
    return (Notice(level="note", code="snow-not-counted", text=text),)


def _refuse(field: str, label: str, value: object, allowed: tuple[object, ...]) -> None:
    if value not in allowed:
        raise InputError(field, f"{label} must be one of {', '.join(map(str, allowed))}; got “{value}”.")


def _rows(site: Site, sun: Sun, basis: str, made: SpellTable) -> tuple[SpellRow, ...]:
    month = _month_of_least(site, sun)
    if basis == MADE:
        return made_rows(made, _clearness(site, sun), month)
    return own_rows(site, sun, month) if basis == FILE else measured_rows(site, sun, basis, month)


def _month_of_least(site: Site, sun: Sun) -> int:
    """The month whose average day gives these panels least; without panels, the one of the shortest day."""
    if not sun.arrays:
        return 6 if site.south else 12
    return min(range(1, 13), key=lambda month: average_day_kwh(site, sun, month))


@lru_cache(maxsize=32)
def _clearness(site: Site, sun: Sun) -> SpellTable:
    return spell_table(made_years(site, sun), site.latitude_deg)


def _nearest(rows: tuple[SpellRow, ...], days: int, risk_years: int) -> SpellRow:
    """The row of the nearest length, the longer of two, and of the rarest year up to the one asked for."""
    length = min({row.days for row in rows}, key=lambda n: (abs(n - days), -n))
    there = [row for row in rows if row.days == length]
    return max((row for row in there if row.risk_years <= risk_years), key=lambda row: row.risk_years, default=there[0])


def _year(household: Household, asked: SpellRow) -> tuple[MonthOfYear, ...]:
    site, sun = household.site, household.sun
    worst: tuple[float, ...] = (0.0,) * 12
    if sun.arrays:
        first, kwh = made_years(site, sun).first, made_kwh(site, sun)
        worst = worst_by_month(first, kwh, asked.days, _RANK_PERCENT[asked.risk_years])
    supplies = household.supplies()

    def load_kwh(month: int) -> float | None:
        watts = sum(mean_dc_w(household, supply, month) for supply in supplies)
        return watts * HOURS_PER_DAY / WH_PER_KWH if supplies else None

    averages = [average_day_kwh(site, sun, month) if sun.arrays else 0.0 for month in range(1, 13)]
    return tuple(
        MonthOfYear(
            month=month,
            average_kwh=average,
            worst_kwh=worst[month - 1],
            in_bank_kwh=average * sun.charger_efficiency,
            worst_in_bank_kwh=worst[month - 1] * sun.charger_efficiency,
            load_kwh=load_kwh(month),
        )
        for month, average in enumerate(averages, 1)
    )


def _below(household: Household, load_kwh: float | None) -> Runs | None:
    """Days in a row on which the panels put less into the bank than a load draws; None without panels or load."""
    site, sun = household.site, household.sun
    if not (load_kwh and sun.arrays):
        return None
    series, kwh = made_years(site, sun), made_kwh(site, sun)
    return kwh_spells(series, kwh, site.latitude_deg, (load_kwh / sun.charger_efficiency,)).runs[0]


def _notices(asked: SpellRow, days: int, risk_years: int) -> list[Notice]:
    found = []
    if asked.days != days:
        text = f"These skies have no worst {days} days of their own: the answer is about {asked.days} days."
        found.append(Notice(level="note", code="other-days", text=text))
    if asked.risk_years != risk_years:
        told = "a typical year" if asked.risk_years == 1 else f"1 year in {asked.risk_years}"
        text = f"{asked.years} years are too few to tell 1 year in {risk_years}: the answer is about {told}."
        found.append(Notice(level="check", code="too-few-years", text=text))
    if asked.shape_borrowed:
        text = "Only the mean of these days was measured under this sky; their order is borrowed from another station."
        found.append(Notice(level="note", code="shape-borrowed", text=text))
    return found


def _worked(asked: SpellRow, average_kwh: float) -> tuple[Worked, ...]:
    month = climates.MONTH_NAMES[asked.month - 1]
    lines = [Worked(label="Clearness", how="mean of these days; a clear day is 1", value=asked.window_kc, unit="")]
    if asked.kwh is None:
        return tuple(lines)
    lines += [
        Worked(label="A day of the spell", how="all panels, before the solar charger", value=asked.kwh, unit="kWh"),
        Worked(label="An average day", how=f"of {month}, dull and bright days mixed", value=average_kwh, unit="kWh"),
        Worked(
            label="Missing",
            how=f"{asked.days} × (average day − day of the spell)",
            value=asked.days * (average_kwh - asked.kwh),
            unit="kWh",
        ),
    ]
    return tuple(lines)


def _assumptions(basis: str, asked: SpellRow, made: SpellTable) -> tuple[Assumption, ...]:
    """Where the windows and the made years are from, as far as the household did not measure them."""
    of_made = Assumption(
        name="Dull spells made for this place",
        value=f"{made.years} years",
        kind="published",
        source="from the twelve monthly means alone: V. A. Graham, K. G. T. Hollands and T. E. Unny, Solar Energy 40 "
        "(1988) 83-92, on the distribution of days by P. Bendt, M. Collares-Pereira and A. Rabl, Solar Energy 27 "
        "(1981) 1-5; nothing measured at the place",
    )
    if basis in (MADE, FILE):
        return (of_made,)
    days = f"{asked.days} days"
    return (Assumption(name="Days asked about", value=days, kind="measured elsewhere", source=asked.source), of_made)
