"""What stands beside the ranking of why it went dark: what to do meanwhile, the sums, and what nobody measured."""

from __future__ import annotations

from datetime import datetime, timedelta

from engine.answers.answer import Assumption, Notice, Worked, assumptions_of
from engine.answers.dark_causes import (
    COLD_C,
    DRIFT_PER_WEEK_SOC,
    DRIFT_SOC,
    IDLE_FACTOR,
    IDLE_MIDDLE_W,
    SAG_FACTOR,
    SAG_MIDDLE,
    UNFULL_SOC,
    UNKNOWN_WEEKS,
    WEAK_SHARE,
    drift_width,
    since_full_h,
)
from engine.answers.dark_night import GoesDark, Night
from engine.answers.dark_seen import BOARD, NOTHING, Seen
from engine.answers.dark_weights import READING_SOC
from engine.answers.measuring_idle_words import SPOKEN_H
from engine.house.household import Household, Supply
from engine.sky.moment import sun_up_h

LAST_LIGHT_H = 1.0
"""Hours before the dark in which the sun is looked for where nobody read the charge in the evening (choice)."""


def dark_notices(household: Household, supply: Supply, seen: Seen, start_at: datetime) -> tuple[Notice, ...]:
    """What must be minded before the power is put on again, and what the night was run without.

    Parameters
    ----------
    start_at : datetime
        Where the night begins, local standard time.
    """
    bank, found = supply.bank, []
    if seen.cell_c < bank.charge_min_c:
        found.append(
            Notice(
                level="stop",
                code="too-cold-to-charge",
                text=f"Do not charge {bank.name} now: its cells are at {seen.cell_c:g} °C and may be charged from "
                f"{bank.charge_min_c:g} °C on. What the sun gave them on a day as cold did not go in either.",
            )
        )
    if seen.told in (BOARD, NOTHING) and bank.cell.needs_board:
        found.append(
            Notice(
                level="stop",
                code="board-open",
                text=f"If the board of {bank.name} has opened, a cell or a current was past its limit: do not bridge "
                "it, and do not put the bank on again before the lowest cell has been read.",
            )
        )
    if seen.load_w > supply.inverter.rated_w:
        found.append(
            Notice(
                level="check",
                code="over-the-inverter",
                text=f"{seen.load_w:g} W is more than {supply.inverter.name} is rated for, {supply.inverter.rated_w:g} "
                "W: an inverter may then switch off with a full bank, too.",
            )
        )
    found.extend(_sun_notices(household, seen, start_at))
    return tuple(found)


def _sun_notices(household: Household, seen: Seen, start_at: datetime) -> list[Notice]:
    """Say so where the sun was up; where nobody read the charge in the evening only the last hour counts."""
    began = seen.at - timedelta(hours=LAST_LIGHT_H) if seen.evening_at is None else start_at
    up_h = sun_up_h(household.site, began, seen.at)
    if up_h < SPOKEN_H:
        return []
    whole = seen.evening_at is not None
    since = "from the reading of the evening until it went dark" if whole else "in the hour before it went dark"
    return [
        Notice(
            level="check",
            code="sun-up",
            text=f"The sun was up for {up_h:.1f} h {since}, and this runs it as a night without sun. What panels gave "
            "then is left out: look whether the moments are right, or take the ranking with doubt.",
        )
    ]


def dark_worked(night: Night, base: GoesDark) -> tuple[Worked, ...]:
    """The draw, the volts it leaves at the charge shown, and the charge at which the bank as entered goes dark."""
    bank, inverter, seen = night.bank, night.inverter, night.seen
    cell = night.loaded(seen.soc, night.power_w)
    lines = [
        ("Drawn from the bank just then", "the load with the inverter’s losses and idle", night.power_w, "W"),
        ("Drawn on the mean of the evening", "the same", night.mean_w, "W"),
        ("Current just then", f"{cell.rate_c:.4g} C of {bank.ah:g} Ah", cell.rate_c * bank.ah, "A"),
        (
            "Rested pack volts at the charge shown",
            f"{bank.series} × {cell.ocv_v:.4g} V at {seen.soc * 100:g} %",
            bank.series * cell.ocv_v,
            "V",
        ),
        (
            "Taken off by the current",
            f"{bank.series} × {cell.sag_v:.4g} V, the resistance of the cells alone",
            bank.series * cell.sag_v,
            "V",
        ),
        (
            "Pack volts under the load",
            f"rested − taken off; the cut-off is {inverter.dc_min_v:g} V",
            bank.series * (cell.ocv_v - cell.sag_v),
            "V",
        ),
        ("As entered, it goes dark under that load at", f"ended by {base.limit}", base.soc * 100.0, "%"),
        (
            "and under the evening’s mean at",
            "cells as told",
            night.goes_dark(night.mean_w).soc * 100.0,
            "%",
        ),
        ("Charge in the evening", _evening_how(night), night.start_soc * 100.0, "%"),
        (
            "Points that the loads take from then on",
            f"over {night.hours:.4g} h",
            night.expected_drop * 100.0,
            "points",
        ),
        ("Width of the monitor’s drift", _drift_how(night), drift_width(night) * 100.0, "points"),
    ]
    return tuple(Worked(label=label, how=how, value=value, unit=unit) for label, how, value, unit in lines)


def dark_assumptions(household: Household, supply: Supply) -> tuple[Assumption, ...]:
    """The widths of the priors, then what the cells and loads rest on."""
    widths = (
        ("The charge shown against the model", f"± {READING_SOC * 100:g} points", "display, load and curve together"),
        (
            "A monitor’s drift",
            f"± {DRIFT_SOC * 100:g} points and {DRIFT_PER_WEEK_SOC * 100:g} more for each week since it last showed "
            f"full; {UNKNOWN_WEEKS:g} weeks where nobody said",
            "1 to 5 points a week are told of shunts",
        ),
        (
            "Resistance of cables, joints and age",
            f"{SAG_MIDDLE:g} times that of the cells, within a factor of {SAG_FACTOR:g}",
            "two of three lie within it",
        ),
        ("A draw nobody knows of", f"{IDLE_MIDDLE_W:g} W, within a factor of {IDLE_FACTOR:g}", "two of three"),
        ("Cells colder than told", f"within {COLD_C:g} °C", "a thermometer beside them, not between"),
        ("Capacity that is not there", f"within {WEAK_SHARE * 100:g} %", "or one string of several"),
        (
            "Short of full when called full",
            f"within {UNFULL_SOC * 100:g} points of what the charge settings leave",
            "two of three",
        ),
    )
    own = tuple(
        Assumption(name=name, value=value, kind="assumed", source=f"a judgement: {why}") for name, value, why in widths
    )
    return own + assumptions_of(household, (supply.bank.cell,))


def _evening_how(night: Night) -> str:
    if night.seen.evening_soc is not None:
        return "as read"
    return f"nobody read it: what the loads lead on from, {night.start_at:%H:%M} standard time"


def _drift_how(night: Night) -> str:
    hours = since_full_h(night)
    weeks = UNKNOWN_WEEKS if hours is None else hours / 168.0
    since = f"{weeks:.3g} weeks since full" if hours is not None else f"{weeks:g} weeks since full, a guess"
    return f"{DRIFT_SOC * 100:g} + {DRIFT_PER_WEEK_SOC * 100:g} × {since}"
