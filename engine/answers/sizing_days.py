"""The days a size rests on: what a dull spell and ordinary days bring and take, and how deep they draw a bank.

Powers are W at the bank's terminals, hours run from midnight unless said otherwise.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from engine.balance.forcing import drawn_hours, mean_day_hours, sun_hours
from engine.house.household import Household, Supply
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH, mean_day_of_year
from engine.sky.averages import average_day_kc
from engine.sky.days import Sky

Floats = NDArray[np.float64]

_YEAR = 2001


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """Dull days in their order, (m, 24), and their mean day, (24,) [W]."""

    listed_w: Floats
    usual_w: Floats

    def run_w(self, days: int) -> Floats:
        """Their worst run of so many days, (days, 24); days beyond the list are its mean day."""
        listed = len(self.listed_w)
        if days > listed:
            return np.vstack([self.listed_w, np.tile(self.usual_w, (days - listed, 1))])
        sums = np.convolve(self.listed_w.sum(axis=1), np.ones(days), mode="valid")
        first = int(np.argmin(sums))
        return self.listed_w[first : first + days].copy()


@dataclass(frozen=True, slots=True, kw_only=True)
class Days:
    """The daily energies a size rests on [kWh] and the hours behind them [W], from midnight.

    `spells` are the dull days that a run of 1 to `sizing.MOST_DAYS` days is taken from.
    """

    load_kwh: float
    sockets_kwh: float
    average_kwh: float
    mean_dc_w: float
    sunrise_h: int
    covered_days: int
    ac_w: Floats
    dc_w: Floats
    drawn_w: Floats
    spells: tuple[Spell, ...]
    average_w: Floats

    def spell_w(self, days: int) -> Floats:
        """Hours of the worst run of so many days [W], (24 days,)."""
        spell = self.spells[days - 1].run_w(days)
        spell[: self.covered_days] = 0.0
        return spell.ravel()

    def sun_w(self, days: int) -> Floats:
        """Hours of that run from its first sunrise to the sunrise after it [W], (24 days,)."""
        return np.append(self.spell_w(days), self.average_w)[self.sunrise_h :][: days * HOURS_PER_DAY]

    def from_sunrise(self, day_w: Floats, days: int) -> Floats:
        """Hours of so many equal days, (24,), over the same time [W], (24 days,)."""
        return np.tile(day_w, days + 1)[self.sunrise_h :][: days * HOURS_PER_DAY]

    def spell_kwh(self, days: int) -> float:
        """Energy of that run [kWh]."""
        return float(self.spell_w(days).sum()) / WH_PER_KWH

    def needed_kwh(self, days: int) -> float:
        """Deepest the bank is drawn below full on the worst run of so many days, or on a shorter one [kWh].

        Longer runs may hold the darkest days less close together; a bank for them must survive the shorter ones too.
        """
        return self.deepest_kwh(self.hardest_days(days))

    def hardest_days(self, days: int) -> int:
        """Length of the run of at most so many days that draws a bank deepest [days]; the longest of equals."""
        return max(range(1, days + 1), key=lambda length: (self.deepest_kwh(length), length))

    def deepest_kwh(self, days: int) -> float:
        """Deepest the bank is drawn below full on a run from sunrise to sunrise [kWh], at the terminals.

        On days that each end lower than they began this is the sum of load less yield; on brighter ones it is the
        deepest night.
        """
        sun_w, drawn_w = self.sun_w(days), self.from_sunrise(self.drawn_w, days)
        depth_wh = deepest_wh = 0.0
        for short_wh in (drawn_w - sun_w).tolist():
            depth_wh = max(depth_wh + short_wh, 0.0)
            deepest_wh = max(deepest_wh, depth_wh)
        return deepest_wh / WH_PER_KWH

    def with_panels(self, times: float) -> Days:
        """The same days on so many times the panels."""
        spells = tuple(Spell(listed_w=times * one.listed_w, usual_w=times * one.usual_w) for one in self.spells)
        return dataclasses.replace(self, spells=spells, average_w=times * self.average_w)

    def drawing(self, drawn_w: Floats) -> Days:
        """The same days with another draw in each hour of the day, (24,) [W]."""
        return dataclasses.replace(self, drawn_w=drawn_w, mean_dc_w=float(drawn_w.mean()))


def days_of(household: Household, supply: Supply, month: int, skies: Sequence[Sky]) -> Days:
    """Daily energies on the month's average day (the sun's, Klein's) for spell and ordinary days."""
    start = datetime(_YEAR, 1, 1) + timedelta(days=mean_day_of_year(month) - 1)
    bare = dataclasses.replace(household, sun=dataclasses.replace(household.sun, covered_days=0))

    def day_w(kc: float) -> Floats:
        return sun_hours(bare, supply, start, np.array([kc]))

    def spell(sky: Sky) -> Spell:
        listed_kc = sky.kc[: sky.listed_days]
        listed_w = np.array([day_w(float(kc)) for kc in listed_kc])
        return Spell(listed_w=listed_w, usual_w=day_w(float(np.mean(listed_kc))))

    of_sky = {id(sky): spell(sky) for sky in skies}
    average_w = day_w(average_day_kc(household.site, household.sun, month))
    ac_w, dc_w = mean_day_hours(household, supply, month)
    drawn_w = drawn_hours(supply.inverter, ac_w, dc_w)
    lit = np.flatnonzero(day_w(1.0) > 0.0)
    sockets_kwh = float(ac_w.sum() + dc_w.sum()) / WH_PER_KWH
    return Days(
        load_kwh=float(drawn_w.sum()) / WH_PER_KWH if sockets_kwh > 0.0 else 0.0,
        sockets_kwh=sockets_kwh,
        average_kwh=float(average_w.sum()) / WH_PER_KWH,
        mean_dc_w=float(drawn_w.mean()),
        sunrise_h=int(lit[0]) if lit.size else 0,
        covered_days=household.sun.covered_days,
        ac_w=ac_w,
        dc_w=dc_w,
        drawn_w=drawn_w,
        spells=tuple(of_sky[id(sky)] for sky in skies),
        average_w=average_w,
    )
