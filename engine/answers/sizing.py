"""How big a bank for N dull days: usable and label kWh, cells, what the panels are short, days to recover.

Energy is kWh; usable is DC at the bank's terminals. The size is N x (daily DC load - daily DC yield), the
spell beginning at sunrise with the bank charged as set; hour by hour where some hours give more than they
take. A trajectory with the full cell model then runs the found bank through the spell and the average days
after it.
Not modelled: the chance of a spell (only its length and light), ageing before the spell.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import ceil

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import KEPT_ANSWERS, Assumption, Lever, Notice, Worked, assumptions_of
from engine.answers.notices import running_notices
from engine.answers.scaling import scale_for
from engine.answers.sizing_days import Days, days_of
from engine.balance.forcing import drawn_hours, mean_day_hours
from engine.balance.step import State, plant
from engine.balance.trajectory import Trajectory, run
from engine.errors import InputError, Unreachable
from engine.house.bank import floor
from engine.house.household import Household, Supply
from engine.house.loads import daily_kwh
from engine.house.sizes import MOST_STRINGS, usable_kwh, with_strings
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sky.days import Sky

Floats = NDArray[np.float64]

MOST_DAYS = 7
RECOVERY_DAYS = 14
"""A bank that ordinary days do not refill within a fortnight is called larger than these panels can use (judgement)."""
LEAST_LEVER_KWH = 0.05
"""Loads that wait are told of from so much a day on [kWh] (choice)."""
MOST_NAMED = 3
"""And by their names up to so many (choice)."""
_LONGEST_RECOVERY_DAYS = 28
_MORE_STRINGS = 8
_BY_HOURS = "deepest point of the spell, hour by hour from a full bank: some of its hours give more than they take"


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeRow:
    """The bank for one number of days, which carries the worst runs of fewer days, too, and how it came through them.

    `hardest_days` is the length of the run that asks for most, `days` or less; `label_kwh` is what that takes of cells
    of any size, `whole_label_kwh` the label of the whole strings. `lowest_soc` is the lowest of the runs.
    `strings_by_kwh` are the strings that the energy alone asks for; where there are more, `more_by` is the limit that
    one string less met hour by hour (as `Trajectory.ended_by`), or ``fewer days`` where the row above asks for them.
    A row of no strings is one of days on which the sun carries the load hour by hour.
    """

    days: int
    hardest_days: int
    usable_kwh: float
    at_sockets_kwh: float
    label_kwh: float
    strings: int
    whole_label_kwh: float
    built_kwh: float
    lowest_soc: float
    unserved_kwh: float
    recovery_days: float | None
    strings_by_kwh: int
    more_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizing:
    """The answer for the days asked, and the row of each of 1 to 7 days."""

    bank_id: str
    bank_name: str
    chemistry: str
    month: int
    days: int
    usable_kwh: float
    at_sockets_kwh: float
    label_kwh: float
    strings: int
    whole_label_kwh: float
    hardest_days: int
    series: int
    own_strings: int
    own_usable_kwh: float
    own_days: float | None
    usable_share: float
    daily_load_kwh: float
    daily_sockets_kwh: float
    dull_yield_kwh: float
    average_yield_kwh: float
    panels_short_kwh: float
    useful_limit_kwh: float
    useful_limit_days: int | None
    top_soc: float
    floor_soc: float
    sky_basis: str
    sky_title: str
    rows: tuple[SizeRow, ...]
    levers: tuple[Lever, ...]
    worked: tuple[Worked, ...]
    notices: tuple[Notice, ...]
    assumptions: tuple[Assumption, ...]


@lru_cache(maxsize=KEPT_ANSWERS)
def sizing(
    household: Household, supply: Supply, days: int, month: int, sky: Sky, by_days: tuple[Sky, ...] = ()
) -> Sizing:
    """Size a supply's bank for a number of dull days in a month.

    Parameters
    ----------
    supply : Supply
        The bank whose cells, window and inverter are taken; its number of strings is what is asked.
    days : int
        Days to ride out, 1..7.
    month : int
        Month of the spell, 1..12.
    sky : Sky
        The dull days in their order; for each number of days the worst run of them is taken, and days beyond
        the list are its mean day.
    by_days : tuple of Sky
        Days of their own for each number from 1 to `MOST_DAYS`, that of `days` being `sky`; empty: `sky` for all.

    Raises
    ------
    InputError
        If `days` or `month` is outside its range.
    Unreachable
        If there is no load, no bank is asked for, or the bank's window is empty under its load.
    """
    sky = dataclasses.replace(sky, title=_title(sky))
    for field, value, most in (("days", days, MOST_DAYS), ("month", month, 12)):
        if not 1 <= value <= most:
            raise InputError(field, f"{field.capitalize()} must be a whole number from 1 to {most}; got {value}.")
    energies, rows = _sized(household, supply, month, by_days or (sky,) * MOST_DAYS)
    if energies.load_kwh <= 0.0:
        raise Unreachable("There is no load on this bank in that month: enter what it is to carry on Loads.")
    asked = rows[days - 1] if days <= len(rows) else _row(supply, energies, days, rows)
    if not asked.strings:
        raise Unreachable("On such days the sun carries this load hour by hour: no bank is asked for.")
    end = floor(with_strings(supply.bank, 1), supply.inverter, energies.mean_dc_w / asked.strings)
    own_usable_kwh = _usable_kwh(supply, supply.bank.parallel, energies.mean_dc_w)
    surplus_kwh = energies.average_kwh - energies.load_kwh
    slow = [row.days for row in rows if row.recovery_days is None or row.recovery_days > RECOVERY_DAYS]
    return Sizing(
        bank_id=supply.bank.id,
        bank_name=supply.bank.name,
        chemistry=supply.bank.cell.name,
        month=month,
        days=days,
        usable_kwh=asked.usable_kwh,
        at_sockets_kwh=asked.at_sockets_kwh,
        label_kwh=asked.label_kwh,
        strings=asked.strings,
        whole_label_kwh=asked.whole_label_kwh,
        hardest_days=asked.hardest_days,
        series=supply.bank.series,
        own_strings=supply.bank.parallel,
        own_usable_kwh=own_usable_kwh,
        own_days=_own_days(energies, own_usable_kwh, _carried_days(rows, supply.bank.parallel)),
        usable_share=asked.usable_kwh / asked.label_kwh,
        daily_load_kwh=energies.load_kwh,
        daily_sockets_kwh=energies.sockets_kwh,
        dull_yield_kwh=energies.spell_kwh(days) / days,
        average_yield_kwh=energies.average_kwh,
        panels_short_kwh=max(-surplus_kwh, 0.0),
        useful_limit_kwh=max(surplus_kwh, 0.0) * RECOVERY_DAYS,
        useful_limit_days=slow[0] if slow else None,
        top_soc=supply.bank.top_reached_soc,
        floor_soc=end.soc,
        sky_basis=sky.basis,
        sky_title=sky.title,
        rows=rows,
        levers=(*_levers(energies, supply, days, asked), *_waiting(household, supply, month, energies, asked)),
        worked=_worked(energies, days, asked),
        notices=(*running_notices(household, month), *_not_counted(supply)),
        assumptions=assumptions_of(household, (supply.bank.cell,), sky),
    )


def _title(sky: Sky) -> str:
    """What the days are called: one that was chosen or typed is taken for each of them."""
    if sky.basis != "typed" or sky.listed_days != 1 or len(sky.kc) != 1:
        return sky.title
    return f"Every day {sky.labels[0]}" if sky.labels[0] else "Every day like the one typed"


def _not_counted(supply: Supply) -> tuple[Notice, ...]:
    """That a generator does nothing in a size."""
    if supply.generator is None:
        return ()
    text = f"{supply.generator.name} is not counted: the sizes here carry the days alone. A smaller bank with it costs "
    text += "fuel and hours of running, which Rainy week shows."
    return (Notice(level="note", code="generator-not-counted", page="week", text=text),)


@lru_cache(maxsize=KEPT_ANSWERS)
def _sized(
    household: Household, supply: Supply, month: int, skies: tuple[Sky, ...]
) -> tuple[Days, tuple[SizeRow, ...]]:
    """The daily energies and the rows of 1 to 7 days, as far as a size can do it: the same whatever number is asked."""
    energies, rows = days_of(household, supply, month, skies), list[SizeRow]()
    try:
        while energies.load_kwh > 0.0 and len(rows) < MOST_DAYS:
            rows.append(_row(supply, energies, len(rows) + 1, rows))
    except Unreachable:
        pass
    return energies, tuple(rows)


def _usable_kwh(supply: Supply, strings: float, power_w: float) -> float:
    return usable_kwh(supply.bank, supply.inverter, strings, power_w)


def _strings_for(supply: Supply, needed_kwh: float, power_w: float) -> float:
    """Strings, not rounded, that give `needed_kwh` at a mean draw of `power_w`.

    Raises
    ------
    Unreachable
        If even `MOST_STRINGS` strings do not give it.
    """
    found = scale_for(lambda strings: _usable_kwh(supply, strings, power_w), needed_kwh, MOST_STRINGS)
    if found is None:
        raise Unreachable(
            f"Even {MOST_STRINGS} strings of {supply.bank.name} would not give the {needed_kwh:.1f} kWh asked: "
            "check its charge setting against its reserve and the inverter’s cut-off, and the size of a cell."
        )
    return found


def _row(supply: Supply, energies: Days, days: int, shorter: Sequence[SizeRow]) -> SizeRow:
    """The bank for so many days, no smaller than the last of the rows for fewer."""
    hardest = energies.hardest_days(days)
    needed_kwh = energies.deepest_kwh(hardest)
    if needed_kwh <= 0.0:
        return _no_bank(supply, days)
    exact = _strings_for(supply, needed_kwh, energies.mean_dc_w)
    by_kwh = max(ceil(exact - 1e-6), 1)
    least = max([by_kwh, *(row.strings for row in shorter[-1:])])
    strings, spell, met = _confirmed(supply, energies, days, least)
    runs = [spell] if hardest == days else [spell, _spell(supply, energies, hardest, strings)]
    return SizeRow(
        days=days,
        hardest_days=hardest,
        usable_kwh=needed_kwh,
        at_sockets_kwh=needed_kwh * energies.sockets_kwh / energies.load_kwh,
        label_kwh=with_strings(supply.bank, 1).label_kwh * exact,
        strings=strings,
        whole_label_kwh=with_strings(supply.bank, strings).label_kwh,
        built_kwh=_usable_kwh(supply, strings, energies.mean_dc_w),
        lowest_soc=min(float(one.soc.min()) for one in runs),
        unserved_kwh=max(one.totals.unserved_kwh for one in runs),
        recovery_days=_longest([_recovery_days(supply, energies, strings, float(one.soc[-1])) for one in runs]),
        strings_by_kwh=by_kwh,
        more_by="" if strings == by_kwh else met or "fewer days",
    )


def _no_bank(supply: Supply, days: int) -> SizeRow:
    """The row of days on which the sun carries the load hour by hour."""
    return SizeRow(
        days=days,
        hardest_days=days,
        usable_kwh=0.0,
        at_sockets_kwh=0.0,
        label_kwh=0.0,
        strings=0,
        whole_label_kwh=0.0,
        built_kwh=0.0,
        lowest_soc=supply.bank.top_reached_soc,
        unserved_kwh=0.0,
        recovery_days=0.0,
        strings_by_kwh=0,
        more_by="",
    )


def _longest(recovery_days: Sequence[float | None]) -> float | None:
    """The longest of some recoveries; None, which is over four weeks, is longer than any."""
    known = [days for days in recovery_days if days is not None]
    return max(known) if len(known) == len(recovery_days) else None


def _confirmed(supply: Supply, energies: Days, days: int, least: int) -> tuple[int, Trajectory, str]:
    """The fewest strings that leave nothing unserved hour by hour, their spell, and the limit that one less met.

    `least` where more do not help.
    """
    first = _spell(supply, energies, days, least)
    if first.ended_h is None:
        return least, first, ""
    met = first.ended_by
    for strings in range(least + 1, min(2 * least + _MORE_STRINGS, MOST_STRINGS) + 1):
        spell = _spell(supply, energies, days, strings)
        if spell.ended_h is None:
            return strings, spell, met
        met = spell.ended_by
    return least, first, ""


def _spell(supply: Supply, energies: Days, days: int, strings: int) -> Trajectory:
    """Run the built bank, charged as set, through the spell from sunrise to the sunrise after it."""
    bank = with_strings(supply.bank, strings)
    p = plant(bank, supply.inverter, energies.mean_dc_w)
    powers = energies.sun_w(days), *(energies.from_sunrise(w, days) for w in (energies.ac_w, energies.dc_w))
    return run(p, State(bank.top_reached_soc), *(watts.tolist() for watts in powers))


def _recovery_days(supply: Supply, energies: Days, strings: int, soc: float) -> float | None:
    """Ordinary days until the built bank is as full as its setting fills it; None if that takes over four weeks."""
    if energies.average_kwh <= energies.load_kwh:
        return None
    bank = with_strings(supply.bank, strings)
    p = plant(bank, supply.inverter, energies.mean_dc_w)
    day = [np.roll(w, -energies.sunrise_h).tolist() for w in (energies.average_w, energies.ac_w, energies.dc_w)]
    state: State | None = State(soc)
    for gone in range(_LONGEST_RECOVERY_DAYS):
        assert state is not None
        ordinary = run(p, state, *day)
        again_h = ordinary.full_again_h()
        if again_h is not None:
            return gone + again_h / HOURS_PER_DAY
        state = ordinary.end
    return None


def _own_days(energies: Days, usable_kwh: float, most_days: int) -> float | None:
    """Days that the bank as it stands would carry, between the rows and at most `most_days` where that is less than
    all rows; None if such days do not empty it.
    """
    lengths = range(1, MOST_DAYS + 1)
    needed_kwh = [0.0, *(energies.needed_kwh(length) for length in lengths)]
    if usable_kwh < needed_kwh[-1]:
        by_kwh = float(np.interp(usable_kwh, needed_kwh, [0, *lengths]))
        return min(by_kwh, float(most_days)) if by_kwh >= most_days + 1 else by_kwh
    if most_days < MOST_DAYS:
        return float(most_days)
    last_kwh = needed_kwh[-1] - needed_kwh[-2]
    return MOST_DAYS + (usable_kwh - needed_kwh[-1]) / last_kwh if last_kwh > 0.0 else None


def _carried_days(rows: Sequence[SizeRow], own_strings: int) -> int:
    """Days that so many strings carry hour by hour, as far as the rows tell."""
    return next((row.days - 1 for row in rows if row.strings > own_strings), MOST_DAYS)


def _levers(energies: Days, supply: Supply, days: int, asked: SizeRow) -> tuple[Lever, ...]:
    """What more panels or less use would take off the label [kWh], each sized anew."""
    inverter = supply.inverter
    less_kwh = min(1.0, energies.sockets_kwh)
    left_share = 1.0 - less_kwh / energies.sockets_kwh
    less_w = drawn_hours(inverter, left_share * energies.ac_w, left_share * energies.dc_w)
    quiet = dataclasses.replace(inverter, idle_w=0.0)
    changes = (
        (
            "Half as many panels again",
            0.5 * energies.spell_kwh(days) / days,
            energies.with_panels(1.5),
        ),
        (
            "1 kWh a day less at the sockets" if left_share > 0.0 else "All the loads off",
            less_kwh,
            energies.drawing(less_w),
        ),
        (
            "No idle draw of the inverter",
            inverter.idle_w * HOURS_PER_DAY / WH_PER_KWH,
            energies.drawing(drawn_hours(quiet, energies.ac_w, energies.dc_w)),
        ),
    )
    return tuple(
        Lever(name=name, gained_h=None, kwh_per_day=kwh, label_kwh=asked.label_kwh - _label_kwh(supply, changed, days))
        for name, kwh, changed in changes
    )


def _waiting(household: Household, supply: Supply, month: int, energies: Days, asked: SizeRow) -> Iterator[Lever]:
    """What it takes off the label if the loads that may be off or wait for another day do so through the dull days."""
    waiting = [load for load in supply.loads if (load.can_shed or load.can_wait) and not load.never_off]
    rest = tuple(load for load in supply.loads if load not in waiting)
    ac_w, dc_w = mean_day_hours(household, dataclasses.replace(supply, loads=rest), month)
    less_kwh = energies.sockets_kwh - float(ac_w.sum() + dc_w.sum()) / WH_PER_KWH
    if less_kwh < LEAST_LEVER_KWH:
        return
    changed = energies.drawing(drawn_hours(supply.inverter, ac_w, dc_w))
    running = [load.name for load in waiting if daily_kwh(load, month, household.south) > 0.0]
    names = f"The {len(running)} loads" if len(running) > MOST_NAMED else ", ".join(running)
    yield Lever(
        name=f"{names} off, or waiting, in those days",
        gained_h=None,
        kwh_per_day=less_kwh,
        label_kwh=asked.label_kwh - _label_kwh(supply, changed, asked.days),
    )


def _label_kwh(supply: Supply, energies: Days, days: int) -> float:
    """Label kWh for a spell; 0 where none is needed."""
    needed_kwh = energies.needed_kwh(days)
    if needed_kwh <= 0.0:
        return 0.0
    return with_strings(supply.bank, 1).label_kwh * _strings_for(supply, needed_kwh, energies.mean_dc_w)


def _worked(energies: Days, days: int, asked: SizeRow) -> tuple[Worked, ...]:
    by_sum_kwh = days * energies.load_kwh - energies.spell_kwh(days)
    alike = abs(by_sum_kwh - asked.usable_kwh) < 0.005 * asked.usable_kwh
    lines = (
        ("Load of a day, DC", "sockets, inverter’s losses and idle", energies.load_kwh, "kWh"),
        (
            "Yield of a dull day, DC",
            "panels × charger, mean of the spell",
            energies.spell_kwh(days) / days,
            "kWh",
        ),
        ("Usable", f"{days} × (load − yield)" if alike else _BY_HOURS, asked.usable_kwh, "kWh"),
        (
            "Share of the label that is usable",
            "usable ÷ label, from the bank’s own window and losses",
            asked.usable_kwh / asked.label_kwh,
            "",
        ),
        ("Label", "usable ÷ that share", asked.label_kwh, "kWh"),
        ("Strings", "label ÷ label of one string, rounded up", float(asked.strings), "strings"),
    )
    return tuple(Worked(label=label, how=how, value=value, unit=unit) for label, how, value, unit in lines)
