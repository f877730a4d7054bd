"""What years of use leave of a cell's first capacity: by time (calendar) and by charge moved (cycles), added.

Published fits for LFP and NMC, shares typical from memory for the rest. Years, degC, C-rate (1/h), shares as
fractions; a full equivalent cycle is the first capacity drawn once and put back once. The likely share is the model
(NMC's scaled to newer cells), the low and the high one its loss times factors that are judgement: no two makes of a
chemistry age alike.
Every fit is tests of one make over one to three years, carried on: nothing is told beyond `MOST_YEARS` or below
`LEAST_SHARE`, where cells may fail suddenly.
Not modelled: resistance that grows (the window shrinks under load), charging in the cold, cells that drift apart,
lead-acid that is not filled for weeks, temperature that swings (give its mean, or more where summers are hot).

References
----------
M. Naumann, M. Schimpe, P. Keil, H. C. Hesse, A. Jossen, J. Energy Storage 17 (2018) 153-169: LFP, calendar.
M. Naumann, F. B. Spingler, A. Jossen, J. Power Sources 451 (2020) 227666: LFP, cycles.
J. Schmalstieg, S. Käbitz, M. Ecker, D. U. Sauer, J. Power Sources 257 (2014) 325-334: NMC, both.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, log, sqrt

from engine.cells.chemistry import Chemistry, ocv_at
from engine.errors import InputError
from engine.fields import check, quantity
from engine.quantities import HOURS_PER_DAY
from engine.sources import Source

MOST_YEARS = 20.0
"""Years after which nothing more is told (judgement: six to ten times as long as the tests)."""
LEAST_SHARE = 0.6
"""Share of the first capacity below which nothing is told (judgement: no fit holds past the bend of a worn cell)."""
COLDEST_C = 10.0
"""Colder is not counted as slower ageing (judgement: charging in the cold wears cells in another way)."""

_ZERO_K = 273.15
_DAYS_PER_YEAR = 365.25
_SECONDS_PER_YEAR = _DAYS_PER_YEAR * HOURS_PER_DAY * 3600.0
_HALVINGS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """How cells are kept and used, the same all years."""

    cell_c: float = quantity("Mean cell temperature", "°C", -40, 70)
    mean_soc: float = quantity("Mean charge", "%", 0, 1, percent=True)
    depth: float = quantity("Usual depth of a cycle", "%", 0, 1, percent=True)
    cycles_a_year: float = quantity("Full equivalent cycles", "a year", 0, 5000)
    c_rate: float = quantity("Mean current while cycling", "C", 0, 5)

    def __post_init__(self) -> None:
        check(self)

    @property
    def counted_c(self) -> float:
        """Cell temperature that the models take [degC]."""
        return max(self.cell_c, COLDEST_C)


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """Shares of the first capacity [-]; `beyond` where one was held at `LEAST_SHARE` or the years at `MOST_YEARS`."""

    low: float
    likely: float
    high: float
    beyond: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """Years until a share is left; `beyond` where one of them is `MOST_YEARS` or more."""

    low: float
    likely: float
    high: float
    beyond: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Ageing:
    """How one chemistry ages.

    Attributes
    ----------
    loss : callable
        (cell, years, use) -> likely share lost [-], not falling with years.
    least, most : float
        Factors on the loss for the high and the low share [-].
    source : Source
        Of the likely loss; `spread` says where the factors are from, `tested` what it was tried on.
    """

    loss: Callable[[Chemistry, float, Use], float]
    least: float
    most: float
    source: Source
    spread: str
    tested: str


def share_left(chemistry: Chemistry, years: float, use: Use) -> Left:
    """Return what is left of the first capacity after years of use.

    Parameters
    ----------
    chemistry : Chemistry
    years : float
        >= 0; held at `MOST_YEARS`.
    use : Use

    Returns
    -------
    Left
        Shares [-], none below `LEAST_SHARE`.

    Raises
    ------
    InputError
        If `years` is below 0 or no number.
    """
    if not years >= 0.0:
        raise InputError("years", f"Years of use must be a number from 0 years; got {years:g}.")
    model = ageing_of(chemistry)
    loss = model.loss(chemistry, min(years, MOST_YEARS), use)
    low, likely, high = (1.0 - factor * loss for factor in (model.most, 1.0, model.least))
    return Left(
        low=max(low, LEAST_SHARE),
        likely=max(likely, LEAST_SHARE),
        high=max(high, LEAST_SHARE),
        beyond=years > MOST_YEARS or low < LEAST_SHARE,
    )


def life_years(chemistry: Chemistry, use: Use, end_share: float = 0.8) -> Life:
    """Return the years until `end_share` of the first capacity is left.

    Parameters
    ----------
    end_share : float
        From `LEAST_SHARE` to 0.99 [-]; 0.8 is what makers and standards call the end.

    Returns
    -------
    Life
        Years, none above `MOST_YEARS`.

    Raises
    ------
    InputError
        If `end_share` is outside its limits.
    """
    if not LEAST_SHARE <= end_share <= 0.99:
        raise InputError(
            "end_share",
            f"The share at the end of life must be from {LEAST_SHARE * 100:g} to 99 %; got {end_share * 100:g} %.",
        )
    model = ageing_of(chemistry)
    low, likely, high = (
        _years_to(lambda years: model.loss(chemistry, years, use), (1.0 - end_share) / factor)
        for factor in (model.most, 1.0, model.least)
    )
    return Life(low=low, likely=likely, high=high, beyond=high >= MOST_YEARS)


def ageing_of(chemistry: Chemistry) -> Ageing:
    """Return the ageing of a chemistry; one that was measured ages like the catalogue's that it is of."""
    return _MODELS.get(chemistry.base_id, _OTHER)


def _years_to(loss: Callable[[float], float], lost: float) -> float:
    """Years until a rising loss reaches `lost`, at most `MOST_YEARS`."""
    low, high = 0.0, MOST_YEARS
    if loss(high) < lost:
        return MOST_YEARS
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        low, high = (low, middle) if loss(middle) >= lost else (middle, high)
    return high


LFP_K, LFP_EA, LFP_REFERENCE_C = 1.2571e-5, 17126.0, 25.0
LFP_SOC = 2.8575, 0.60225
LFP_C_RATE = 0.0630, 0.0971
LFP_DEPTH = 4.0253, 1.0923
"""Naumann 2018 (1/sqrt(s), J/mol) and 2020 (percent for each root of a full equivalent cycle)."""
_GAS = 8.314462618
"""Molar gas constant [J/(mol K)] (SI)."""


def lfp_loss(_: Chemistry, years: float, use: Use) -> float:
    """Share lost [-] after Naumann: roots of time and of cycles."""
    warmth = exp(-LFP_EA / _GAS * (1.0 / (use.counted_c + _ZERO_K) - 1.0 / (LFP_REFERENCE_C + _ZERO_K)))
    charge = LFP_SOC[0] * (use.mean_soc - 0.5) ** 3 + LFP_SOC[1]
    by_time = LFP_K * warmth * charge * sqrt(years * _SECONDS_PER_YEAR)
    depth = LFP_DEPTH[0] * (use.depth - 0.6) ** 3 + LFP_DEPTH[1]
    percent = (LFP_C_RATE[0] * use.c_rate + LFP_C_RATE[1]) * depth * sqrt(use.cycles_a_year * years)
    return by_time + percent / 100.0


NMC_CALENDAR = 7.543e6, 23.75e6, 6976.0
NMC_CYCLE = 7.348e-3, 3.667, 7.6e-4, 4.081e-3
"""Schmalstieg 2014: V and K to a share for each day^0.75; V and depth to a share for each root of an Ah moved."""
NMC_AH = 2.05
"""His cell [Ah]; the Ah moved are those of charge and discharge."""
NMC_TESTED_V = 3.33, 4.16
"""Rested volts of his cell from empty to full, beyond which a mean is held."""
NMC_NEWER = 0.43
"""What a car's cell of about 2020 lost of that, by two public fits (0.425 and 0.43) of the same form to its tests."""


def nmc_loss(cell: Chemistry, years: float, use: Use) -> float:
    """Share lost [-] after Schmalstieg, scaled to newer cells; his mean volts are the rested ones of `cell` here."""
    volts = min(max(ocv_at(cell, use.mean_soc), NMC_TESTED_V[0]), NMC_TESTED_V[1])
    rise, zero, kelvin = NMC_CALENDAR
    aged: float = (years * _DAYS_PER_YEAR) ** 0.75
    by_time = (rise * volts - zero) * exp(-kelvin / (use.counted_c + _ZERO_K)) * aged
    square, middle_v, least, deep = NMC_CYCLE
    moved_ah = 2.0 * NMC_AH * use.cycles_a_year * years
    by_cycles = (square * (volts - middle_v) ** 2 + least + deep * use.depth) * sqrt(moved_ah)
    return NMC_NEWER * (by_time + by_cycles)


END_LOSS = 0.2
"""Loss at the end of life that typical lives are told for [-]."""
TYPICAL_DEPTH, DEPTH_POWER = 0.5, 0.3
"""Depth that typical cycles are told for, and how the wear of one full equivalent cycle grows with its depth."""
DOUBLING_K = 10.0
"""Warmth that doubles ageing by time [K], from `TYPICAL_C` (rule of thumb)."""
TYPICAL_C = 25.0


def typical_loss(years_alone: float, cycles_alone: float) -> Callable[[Chemistry, float, Use], float]:
    """Loss in proportion to time and to cycles.

    Parameters
    ----------
    years_alone : float
        Years to the end of life at `TYPICAL_C` by time alone.
    cycles_alone : float
        Full equivalent cycles to it at `TYPICAL_DEPTH` by cycles alone.
    """

    def loss(_: Chemistry, years: float, use: Use) -> float:
        by_time = years / years_alone * exp(log(2.0) * (use.counted_c - TYPICAL_C) / DOUBLING_K)
        by_cycles: float = use.cycles_a_year * years / cycles_alone * (use.depth / TYPICAL_DEPTH) ** DEPTH_POWER
        return END_LOSS * (by_time + by_cycles)

    return loss


def _typical(years_alone: float, cycles_alone: float, least: float, most: float, text: str) -> Ageing:
    """Ageing from memory: its words say the two lives it goes by."""
    return Ageing(
        loss=typical_loss(years_alone, cycles_alone),
        least=least,
        most=most,
        source=Source(
            kind="typical, from memory",
            text=f"80 % left after {years_alone:g} years at {TYPICAL_C:g} °C without use, or after {cycles_alone:,.0f} "
            f"full equivalent cycles of half the charge; twice as fast for each {DOUBLING_K:g} K of warmth. {text}",
        ),
        spread=f"{least:g} to {most:g} times that loss, by judgement",
        tested="no series of tests stands behind it",
    )


_MODELS = {
    "lfp": Ageing(
        loss=lfp_loss,
        least=0.6,
        most=1.8,
        source=Source(
            kind="published",
            text="M. Naumann and others, J. Energy Storage 17 (2018) 153 (time) and J. Power Sources 451 (2020) 227666 "
            "(cycles); their constants were read in public code that cites them, not in the papers.",
        ),
        spread="0.6 to 1.8 times that loss, by judgement: one small cell of good make was tested",
        tested="about two and a half years of tests at 0 to 60 °C, cycles at 25 and 40 °C (from memory)",
    ),
    "nmc": Ageing(
        loss=nmc_loss,
        least=0.6,
        most=1.0 / NMC_NEWER,
        source=Source(
            kind="published",
            text="J. Schmalstieg and others, J. Power Sources 257 (2014) 325, times 0.43, what newer cells lost of it; "
            "both were read in public code that cites them, not in the papers.",
        ),
        spread="0.6 times that loss, by judgement, to 2.3 times: the small cell of about 2010 that the paper tested",
        tested="about a year and a half of tests at 35 to 65 °C, cycles at 35 °C and 1C (from memory): cooler and "
        "slower is carried on",
    ),
    "sodium_layered": _typical(
        10.0, 3000.0, 0.5, 2.5, "Makers claim a few thousand cycles; hardly any home has had them for years."
    ),
    "lead_flooded": _typical(
        7.5, 275.0, 0.7, 1.8, "With watering and a full charge every week; without them half of that or less."
    ),
    "lead_sealed": _typical(6.0, 350.0, 0.7, 1.8, "Filled every week and never left empty; else half of that or less."),
    "lead_gel": _typical(7.0, 425.0, 0.7, 1.8, "Filled every week and never charged too high; else half or less."),
}
_OTHER = _typical(8.0, 1000.0, 0.4, 3.0, "Nothing is known of this chemistry’s ageing here: a wide guess.")
