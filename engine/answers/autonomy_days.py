"""Days of autonomy, the rule of thumb: so many days without sun, divided and multiplied step by step, each one seen.

Days x a day's load, over the depth that may be used, over what cold and rate leave, over what is left at the end of
life, times a margin: kWh on the label. Beside it stands what the winters ask for, and why the two differ. The steps
are those of IEEE Std 1013 as remembered, which takes the larger of depth and end of life where this takes both; no
printed example of that standard was at hand.
Not modelled: any sun in those days, which is the point of the rule.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import Worked
from engine.answers.winters import Fitted
from engine.cells.chemistry import capacity_share
from engine.house.bank import Bank, c_rate
from engine.quantities import DAYS_PER_YEAR, HOURS_PER_DAY, WH_PER_KWH

Floats = NDArray[np.float64]

END_OF_LIFE_SHARE = 0.8
"""Share of the first capacity at which a bank is called worn out (common in IEEE battery practices; from memory)."""
MARGIN = 1.1
"""For what was forgotten and what will be added (10 to 25 % in IEEE battery practices; from memory)."""
LONG_DAYS = 21
"""Short of full for longer than this is called a season, no dull spell [days]; our own choice."""
_LONG_YEARS = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """The factors of the rule: shares [-] but for the load of a day [kWh, DC] and the days."""

    days: float
    daily_kwh: float
    depth_share: float
    cold_share: float
    end_of_life_share: float = END_OF_LIFE_SHARE
    margin: float = MARGIN

    @property
    def dark_kwh(self) -> float:
        """What the days take without any sun [kWh, DC]."""
        return self.days * self.daily_kwh

    @property
    def label_kwh(self) -> float:
        """Capacity asked for [kWh]."""
        return self.dark_kwh / (self.depth_share * self.cold_share * self.end_of_life_share) * self.margin

    def worked(self) -> tuple[Worked, ...]:
        """Return the rule line by line; the last is `label_kwh`."""
        by_depth = self.dark_kwh / self.depth_share
        by_cold = by_depth / self.cold_share
        aged = by_cold / self.end_of_life_share
        lines = (
            ("Days without sun", f"{self.days:g} × {self.daily_kwh:.2f} kWh a day", self.dark_kwh),
            ("By the depth that may be used", f"÷ {self.depth_share:.3f}, charge setting to reserve", by_depth),
            ("By cold and rate", f"÷ {self.cold_share:.3f}, what the cells give at their temperature", by_cold),
            ("By the end of life", f"÷ {self.end_of_life_share:.2f}, still enough when worn", aged),
            ("With the margin", f"× {self.margin:.2f}", self.label_kwh),
        )
        return tuple(Worked(label=label, how=how, value=value, unit="kWh") for label, how, value in lines)


@dataclass(frozen=True, slots=True, kw_only=True)
class AutonomyDays:
    """The rule beside the winters.

    Attributes
    ----------
    winters_label_kwh, winters_days : float or None
        Label kWh that the near risk of the winters asks for, and as many days' load as its usable kWh; None where none
        that can be built is enough.
    dullest_as_dark_days : float
        The dullest run of so many days in these winters, in days without sun: (n x mean - least) / mean of the yield.
    longest_away_days : float
        The longest time that a bank of any size stays short of full on these panels [days].
    reasons : tuple of str
        Why the two differ, what weighs most first.
    """

    steps: Steps
    winters_label_kwh: float | None
    winters_days: float | None
    dullest_as_dark_days: float
    longest_away_days: float
    reasons: tuple[str, ...]
    worked: tuple[Worked, ...]


def autonomy_days(fit: Fitted, days: int) -> AutonomyDays:
    """Size by days of autonomy beside the winters of `fit`.

    Parameters
    ----------
    days : int
        Days without sun, 1 or more.
    """
    bank, hours = fit.supply.bank, fit.hours
    steps = steps_of(bank, fit.found.power_w, days)
    years = hours.years.size
    near_kwh = fit.near.bank_kwh(fit.found.leaking(1.0, fit.near.spells(years)), years, hours.load_kwh)
    near_kwh = fit.exact_kwh(fit.near, near_kwh) if near_kwh > 0.0 else near_kwh
    within = near_kwh <= fit.most_kwh and fit.found.refills(1.0)
    each_label_kwh = bank.label_kwh / bank.parallel
    label_kwh = fit.strings_for(near_kwh) * each_label_kwh if within and near_kwh > 0.0 else None
    away = fit.found.longest_away_days(1.0)
    daily_kwh = hours.limited_sun_w(1.0).reshape(-1, HOURS_PER_DAY).sum(axis=1) / WH_PER_KWH
    dark_days = as_dark_days(daily_kwh, days)
    return AutonomyDays(
        steps=steps,
        winters_label_kwh=label_kwh,
        winters_days=near_kwh / steps.daily_kwh if within else None,
        dullest_as_dark_days=dark_days,
        longest_away_days=away,
        reasons=_reasons(steps, label_kwh, dark_days, away),
        worked=steps.worked(),
    )


def steps_of(bank: Bank, power_w: float, days: float) -> Steps:
    """Return the factors for a bank at a mean draw [W]."""
    tested = 1.0 if bank.tested_ah is None else bank.tested_ah / bank.label_ah
    reserve = bank.reserve_soc if bank.reserve_v is None else 0.0
    return Steps(
        days=days,
        daily_kwh=power_w * HOURS_PER_DAY / WH_PER_KWH,
        depth_share=max(bank.top_reached_soc - reserve, 0.01) * tested,
        cold_share=capacity_share(bank.cell, bank.cell_c, c_rate(bank, power_w)),
    )


def as_dark_days(daily_kwh: Floats, days: int) -> float:
    """Return how many days without sun the dullest run of `days` days counts for.

    References
    ----------
    Equivalent no-sun days of NASA POWER, (n x mean - least running sum) / mean; from memory.

    Examples
    --------
    >>> as_dark_days(np.full(30, 2.0), 3), as_dark_days(np.array([3.0, 0.0, 0.0, 3.0]), 2)
    (0.0, 2.0)
    """
    mean = float(daily_kwh.mean())
    if mean <= 0.0:
        return float(days)
    sums = np.convolve(daily_kwh, np.ones(days), mode="valid")
    return (days * mean - float(sums.min())) / mean


def days_on_end(days: float) -> str:
    """Say for how long something went on, in years where days are too many to picture.

    Examples
    --------
    >>> days_on_end(28.0), days_on_end(10907.0)
    ('for up to 28 days on end', 'for up to 30 years on end')
    """
    years = days / DAYS_PER_YEAR
    return f"for up to {days:.0f} days on end" if years < _LONG_YEARS else f"for up to {years:.0f} years on end"


def _reasons(steps: Steps, label_kwh: float | None, dark_days: float, away_days: float) -> tuple[str, ...]:
    """Why the rule and the winters differ."""
    found = []
    if away_days > LONG_DAYS:
        found.append(
            f"The panels leave the bank short of full {days_on_end(away_days)}: that is a season, not a "
            f"spell of {steps.days:g} days, and only the winters see it."
        )
    elif label_kwh is not None and label_kwh > steps.label_kwh:
        found.append(
            "Dull spells here come again before the bank is full: together they ask for more than one of them."
        )
    if dark_days < 0.95 * steps.days:
        found.append(
            f"The rule takes {steps.days:g} days without any sun; the dullest {steps.days:g} of these winters count "
            f"for {dark_days:.1f}."
        )
    worn = steps.margin / steps.end_of_life_share
    found.append(
        f"The rule buys a bank {worn:.2f} times as large for its last years and a margin; the winters are for the bank "
        "as it is now."
    )
    return tuple(found)
