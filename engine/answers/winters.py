"""How often the lights go out: many winters at once, for every size of panels and bank.

The days are made years of the place or the whole years of a measured series. Sizes are usable kWh at the bank's
terminals, at the mean draw of one month; self-discharge and one efficiency for all charges are counted, the charge's
own limits are not: `confirming` tries a size with the full cell model.
Not modelled: loads that go with the weather, a generator, ageing (`lasting` has it), rarer winters than these years.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from math import ceil

import numpy as np

from engine.answers.answer import Assumption, Notice, Worked, assumptions_of
from engine.answers.coming import LEAST_MEAN_W
from engine.answers.risks import Risk, risks
from engine.answers.scaling import scale_for
from engine.answers.winters_limits import Limit, limits_of
from engine.answers.winters_map import OWN, Line, Map, columns_of, map_of, within
from engine.answers.winters_notices import winters_notices
from engine.answers.winters_years import Winter, band_of_bank, band_of_spells, drawn_anew, years_of
from engine.balance.depths import outings
from engine.balance.equivalent import Equivalent, equivalent
from engine.balance.forcing import mean_dc_w
from engine.balance.step import plant
from engine.balance.winters import Winters, winters
from engine.errors import Unreachable
from engine.house.household import Household, Supply
from engine.house.sizes import MOST_STRINGS, usable_kwh, with_strings
from engine.quantities import HOURS_PER_DAY
from engine.sky.series import KcSeries

USUAL_SHARE = 0.01
"""Load unserved that the last risk allows where nothing is asked (choice)."""
LEAST_STRINGS = 0.01
_ROUNDS = 4
_ROUNDS_OF_A_SIZE, _NEAR_SHARE = 30, 1e-6
_MOST_ROWS = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class RiskSize:
    """The smallest bank for one risk with the household's own panels; all None where none that can be built is enough.

    `spells` is how many dark spells the risk allows over all years; `low_kwh` and `high_kwh` are the 5th and 95th
    percentile over years drawn anew, None for a share unserved; no years drawn anew hold a deeper spell than these, so
    “never” has no upper end.
    """

    risk: Risk
    spells: int
    bank_kwh: float | None
    low_kwh: float | None
    high_kwh: float | None
    label_kwh: float | None
    strings: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BankRow:
    """A bank of whole strings over all years; `given_kwh_a_year` is what it gives itself, beside the sun."""

    strings: int
    usable_kwh: float
    label_kwh: float
    dark_spells: int
    dark_winters: int
    short_kwh_a_year: float
    short_share: float
    given_kwh_a_year: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ManyWinters:
    """The answer; `years` winters stand behind every count.

    Attributes
    ----------
    own : BankRow
        The bank as it stands; `own_low_spells` and `own_high_spells` are its dark spells over years drawn anew.
    load_kwh_a_year, sun_kwh_a_year : float
        Drawn from the bus, and given to it by the own panels.
    most_kwh : float
        Usable kWh of the largest bank that can be built.
    limits : tuple of Limit
        What real cells do that these counts leave out: why a size found here is tried with the full cell model.
    sizes : tuple of RiskSize
        With the own panels, the rarest risk first.
    rows : tuple of BankRow
        Banks of whole strings around these sizes.
    """

    bank_id: str
    bank_name: str
    chemistry: str
    month: int
    basis: str
    title: str
    years: int
    filled_days: int
    own_kwp: float
    own: BankRow
    own_low_spells: float
    own_high_spells: float
    load_kwh_a_year: float
    sun_kwh_a_year: float
    mean_draw_w: float
    charge_efficiency: float
    leak_w_per_kwh: float
    most_kwh: float
    limits: tuple[Limit, ...]
    sizes: tuple[RiskSize, ...]
    rows: tuple[BankRow, ...]
    winters: tuple[Winter, ...]
    map: Map
    worked: tuple[Worked, ...]
    notices: tuple[Notice, ...]
    assumptions: tuple[Assumption, ...]

    @property
    def refills(self) -> bool:
        """Whether the own panels fill any bank again within a year, so that dark spells can be counted."""
        return self.map.refilled_from <= OWN


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A supply on the winters of a series: what both this answer and its confirmation start from."""

    supply: Supply
    hours: Winters
    found: Equivalent
    allowed: tuple[Risk, ...]
    most_kwh: float

    @property
    def near(self) -> Risk:
        """The risk at whose bank the efficiency is read and the leak is exact: 1 year in 10 where years allow it."""
        return self.allowed[1]

    def kwh(self, strings: float) -> float:
        """Usable kWh of so many strings."""
        return usable_kwh(self.supply.bank, self.supply.inverter, strings, self.found.power_w)

    def strings_for(self, bank_kwh: float) -> float:
        """Strings, not rounded, that give so many usable kWh; `MOST_STRINGS` where more would be needed."""
        if bank_kwh <= 0.0:
            return LEAST_STRINGS
        return scale_for(self.kwh, bank_kwh, MOST_STRINGS) or MOST_STRINGS

    def exact_kwh(self, risk: Risk, near_kwh: float, times: float = 1.0) -> float:
        """Return the smallest bank for a risk, its own leak counted exactly [kWh]; infinite where `near_kwh` is.

        Parameters
        ----------
        near_kwh : float
            Where to begin [kWh].
        times : float
            Panels in times of the own.
        """
        if not np.isfinite(near_kwh):
            return near_kwh
        years, load_kwh, kwh = self.hours.years.size, self.hours.load_kwh, near_kwh
        for _ in range(_ROUNDS_OF_A_SIZE):
            kwh, before = risk.bank_kwh(self.found.spectrum(times, kwh), years, load_kwh), kwh
            if abs(kwh - before) <= _NEAR_SHARE * before:
                break
        return kwh * (1.0 + 2.0 * _NEAR_SHARE)


def fitted(household: Household, supply: Supply, series: KcSeries, month: int, share: float = USUAL_SHARE) -> Fitted:
    """Put a supply on the winters of a series.

    Raises
    ------
    Unreachable
        If there are no panels, no load, too few whole years or nothing usable in the bank's window.
    """
    if not supply.arrays:
        raise Unreachable("There are no panels on this bank, and without sun every bank runs empty: enter them on Sun.")
    if not supply.loads:
        raise Unreachable("There is no load on this bank: enter what it is to carry on Loads.")
    power_w = max(mean_dc_w(household, supply, month), LEAST_MEAN_W)
    if plant(with_strings(supply.bank, 1), supply.inverter, power_w).charge_c_max <= 0.0:
        raise Unreachable(
            f"{supply.bank.name} may not be charged at {supply.bank.cell_c:g} °C: its cells or board forbid it, and "
            "no winter is ridden out so. Warm the cells, or enter the temperature they are kept at on Banks."
        )
    most_kwh = usable_kwh(supply.bank, supply.inverter, MOST_STRINGS, power_w)
    if most_kwh <= 0.0:
        raise Unreachable(
            f"{supply.bank.name} has nothing between its charge setting and where it ends: no size of it is of use."
        )
    hours = winters(household, supply, series)
    if hours.load_kwh <= 0.0:
        raise Unreachable("There is no load on this bank in any month: enter what it is to carry on Loads.")
    allowed = risks(hours.years.size, share)
    if len(allowed) < 3:
        raise Unreachable(
            f"{hours.title} has {hours.years.size} whole years: too few to say how often a bank runs empty."
        )
    found = equivalent(supply, hours, power_w, supply.bank.parallel)
    draft = Fitted(supply=supply, hours=hours, found=found, allowed=allowed, most_kwh=most_kwh)
    for _ in range(_ROUNDS):
        spells = draft.near.spells(hours.years.size)
        near_kwh = found.leaking(1.0, spells).bank_for_spells(spells)
        if near_kwh <= 0.0:
            break
        found = equivalent(supply, hours, power_w, draft.strings_for(min(near_kwh, most_kwh)))
    return Fitted(supply=supply, hours=hours, found=found, allowed=allowed, most_kwh=most_kwh)


def many_winters(
    household: Household, supply: Supply, series: KcSeries, month: int, share: float = USUAL_SHARE
) -> ManyWinters:
    """Try every size of panels and bank on the winters of a series.

    Parameters
    ----------
    supply : Supply
        The bank whose cells, window and inverter are taken, with the panels and loads on it.
    series : KcSeries
        Clearness of days in a row, made or measured.
    month : int
        Month whose mean draw decides what of a label is usable, 1..12.
    share : float
        Load unserved that the last risk allows [-], above 0.

    Raises
    ------
    Unreachable
        If there are no panels, no load, too few whole years or nothing usable in the bank's window.
    """
    return many_winters_of(household, fitted(household, supply, series, month, share), month)


def many_winters_of(household: Household, fit: Fitted, month: int) -> ManyWinters:
    """Try every size of panels and bank on winters that a supply was put on before, as `many_winters`."""
    supply, hours, found, years = fit.supply, fit.hours, fit.found, fit.hours.years.size
    own_kwh, own_kwp = fit.kwh(supply.bank.parallel), sum(array.kwp for array in supply.arrays)
    columns = columns_of(found, fit.near)
    cycles = found.spectrum(1.0, own_kwh)
    low_spells, high_spells = band_of_spells(drawn_anew(hours, cycles), cycles, own_kwh)
    told = map_of(found, columns, fit.allowed, own_kwp, own_kwh, fit.most_kwh)
    told = dataclasses.replace(told, lines=tuple(_exact_at_own(fit, line) for line in told.lines))
    sizes = tuple(_size(fit, line.risk, line.bank_kwh[OWN]) for line in told.lines)
    return ManyWinters(
        bank_id=supply.bank.id,
        bank_name=supply.bank.name,
        chemistry=supply.bank.cell.name,
        month=month,
        basis=hours.basis,
        title=hours.title,
        years=years,
        filled_days=hours.filled_days,
        own_kwp=own_kwp,
        own=bank_row(fit, supply.bank.parallel),
        own_low_spells=low_spells,
        own_high_spells=high_spells,
        load_kwh_a_year=hours.load_kwh / years,
        sun_kwh_a_year=hours.sun_kwh / years,
        mean_draw_w=found.power_w,
        charge_efficiency=found.bank.charge_efficiency,
        leak_w_per_kwh=found.leak_w_per_kwh,
        most_kwh=fit.most_kwh,
        limits=limits_of(supply, hours, found.power_w),
        sizes=sizes,
        rows=tuple(bank_row(fit, strings) for strings in _strings_shown(supply.bank.parallel, sizes)),
        winters=years_of(hours, columns[OWN], cycles, own_kwh),
        map=told,
        worked=_worked(fit, own_kwh),
        notices=winters_notices(household, supply, hours, month),
        assumptions=(*_assumptions(fit), *assumptions_of(household, (supply.bank.cell,))),
    )


def _exact_at_own(fit: Fitted, line: Line) -> Line:
    """The line with its bank on the own panels worked out exactly, as the rows of whole strings are."""
    near_kwh = line.bank_kwh[OWN]
    if not near_kwh:
        return line
    exact_kwh = within(fit.exact_kwh(line.risk, near_kwh), fit.most_kwh)
    return dataclasses.replace(line, bank_kwh=(*line.bank_kwh[:OWN], exact_kwh, *line.bank_kwh[OWN + 1 :]))


def _size(fit: Fitted, risk: Risk, size: float | None) -> RiskSize:
    spells = risk.spells(fit.hours.years.size)
    if size is None:
        return RiskSize(
            risk=risk, spells=spells, bank_kwh=None, low_kwh=None, high_kwh=None, label_kwh=None, strings=None
        )
    strings = fit.strings_for(size)
    low_kwh = high_kwh = None
    if risk.share is None:
        cycles = fit.found.spectrum(1.0, size)
        low_kwh, high_kwh = band_of_bank(drawn_anew(fit.hours, cycles), cycles, spells)
        high_kwh = None if spells == 0 else high_kwh
    return RiskSize(
        risk=risk,
        spells=spells,
        bank_kwh=size,
        low_kwh=low_kwh,
        high_kwh=high_kwh,
        label_kwh=with_strings(fit.supply.bank, strings).label_kwh,
        strings=max(ceil(strings - 1e-6), 1),
    )


def _strings_shown(own: int, sizes: tuple[RiskSize, ...]) -> tuple[int, ...]:
    """Whole strings for the rows: the own ones, those of each risk, and steps between."""
    asked = {own, *(size.strings for size in sizes if size.strings is not None)}
    most = max(asked)
    steps = max(ceil(most / (_MOST_ROWS - 1)), 1)
    return tuple(sorted(asked | set(range(steps, most + 1, steps))))[: 2 * _MOST_ROWS]


def bank_row(fit: Fitted, strings: int) -> BankRow:
    """Count the dark spells of a bank of whole strings, with its own leak."""
    kwh, hours = fit.kwh(strings), fit.hours
    years, cycles = hours.years.size, fit.found.spectrum(1.0, kwh)
    dark = int(cycles.dark_spells(kwh))
    short_kwh = float(cycles.short_kwh(kwh))
    return BankRow(
        strings=strings,
        usable_kwh=kwh,
        label_kwh=with_strings(fit.supply.bank, strings).label_kwh,
        dark_spells=dark,
        dark_winters=np.unique(hours.year_of(cycles.lowest_h[:dark])).size,
        short_kwh_a_year=short_kwh / years,
        short_share=short_kwh / hours.load_kwh,
        given_kwh_a_year=max(hours.beyond_sun_kwh - short_kwh, 0.0) / years,
    )


def _assumptions(fit: Fitted) -> tuple[Assumption, ...]:
    hours, found = fit.hours, fit.found
    measured = hours.basis == "measured"
    days = Assumption(
        name="Days behind the counts",
        value=hours.title,
        kind="measured" if measured else "simulated from published parameters",
        source="whole years of the file"
        if measured
        else "made from monthly means by a published process of first order",
    )
    given_back = Assumption(
        name="Given back of what is charged",
        value=f"{found.bank.charge_efficiency * 100:.1f} %",
        kind="assumed",
        source="one figure for all sizes, worked out from the cells’ curve, window and resistance at these powers",
    )
    leak = Assumption(
        name="Self-discharge, as a steady load",
        value=f"{found.leak_w_per_kwh * HOURS_PER_DAY:.1f} Wh a day for each usable kWh",
        kind="assumed",
        source="the chemistry’s own share a month",
    )
    return (days, given_back, leak)


def _worked(fit: Fitted, own_kwh: float) -> tuple[Worked, ...]:
    """The deepest time away from full of the own panels and bank's leak, as a sum [kWh]."""
    hours, found = fit.hours, fit.found
    net = found.net_kwh(1.0, own_kwh)
    one = max(outings(net), key=lambda away: away.depth_kwh, default=None)
    if one is None:
        return ()
    to_bottom = net[one.begin_h : one.lowest_h]
    year = int(hours.year_of(np.array([one.lowest_h]))[0])
    winter = f"that began in {year}" if hours.basis == "measured" else f"{year - int(hours.years[0]) + 1}"
    lines = (
        (
            f"Drawn beyond the sun until the bottom of winter {winter}",
            "hours with more load than sun, your bank’s self-discharge among the load",
            -float(to_bottom[to_bottom < 0].sum()),
        ),
        ("Put back on the way", "surplus × what is given back of a charge", float(to_bottom[to_bottom > 0].sum())),
        ("Deepest spell with your bank’s self-discharge; a larger bank leaks more", "drawn − put back", one.depth_kwh),
    )
    return tuple(Worked(label=label, how=how, value=value, unit="kWh") for label, how, value in lines)
