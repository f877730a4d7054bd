"""A made-up log to try the page with: six summer weeks of the open household by our own model, with noise and faults.

Nobody measured it; its first line and its column names say so. One row an hour: power of all panels and load at the
sockets [W], charge of the bank [%]. The days are those of a made year. Not modelled: rows that a meter loses.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from engine.answers.coming import Coming, coming
from engine.house.household import Household
from engine.quantities import HOURS_PER_DAY
from engine.sky.days import Sky
from engine.sky.made import made_years
from engine.sky.series import dates_of
from webapp.questions import to_civil

Floats = NDArray[np.float64]

NAME = "made-up-house-log.csv"
SHOWN_NAME = "Made-up log"
MARK = "made up"
DAYS = 42
MORE_LOAD, LESS_SUN = 1.15, 0.92
"""What this house does otherwise than it is described (invented): the page is to find it."""
DAY_SPREAD, HOUR_SPREAD, METER_SPREAD = 0.10, 0.25, 0.01
"""Standard deviation of a day's and of an hour's load and of what the meters show, as shares (invented)."""
FIRST_SOC = 0.8
_SEED = 42
HEAD = (
    f"# Made up by Greyspell: {DAYS} days of this household as described, with {MORE_LOAD - 1:.0%} more load, "
    f"{1 - LESS_SUN:.0%} less sun and noise. Nobody measured it."
)


def is_made_up(header: Iterable[str]) -> bool:
    """Whether the columns of a file are those of a made-up log."""
    return any(MARK in name.lower() for name in header)


def log(house: Household, today: date) -> bytes:
    """Return the log of the last summer before `today` as delimited text.

    Raises
    ------
    Unreachable
        If no bank is joined to an inverter.
    """
    start = datetime.combine(_first_day(today, house.south), datetime.min.time())
    sky = _sky(house, start.date())
    _, found = coming(house, {bank.id: FIRST_SOC for supply in house.supplies() for bank in supply.banks}, sky, start)
    chance = np.random.default_rng(_SEED)
    runs = [_lived(one, chance) for one in found]
    sun_w, load_w = (np.sum([run[k] for run in runs], axis=0) for k in (0, 1))
    columns = [f"PV yield, {MARK} [W]", f"Load at the sockets, {MARK} [W]"]
    values = [sun_w, load_w]
    if len(runs) == 1:
        columns.append(f"State of charge, {MARK} [%]")
        values.append(runs[0][2])
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["Time", *columns])
    for hour, row in enumerate(np.stack(values, axis=1).tolist()):
        when = to_civil(house.site, start + timedelta(hours=hour))
        writer.writerow([when.isoformat(sep=" ", timespec="minutes"), *(f"{value:.1f}" for value in row)])
    return f"{HEAD}\n{text.getvalue()}".encode()


def _first_day(today: date, south: bool) -> date:
    """The first of `DAYS` days that end with the last summer: few houses go dark in it, so that the loads are seen."""
    end = date(today.year, 3 if south else 9, 1)
    return (end if end <= today else end.replace(year=end.year - 1)) - timedelta(days=DAYS)


def _sky(house: Household, first: date) -> Sky:
    """The days of a made year that have these dates."""
    series = made_years(house.site, house.sun)
    days = dates_of(series.first, series.kc.size)
    month_days = np.char.partition(days.astype(str), "-")[:, 2]
    begin = int(np.flatnonzero(month_days == f"{first:%m-%d}")[1])
    kc = np.nan_to_num(series.kc[begin : begin + DAYS])
    title = series.title
    return Sky(kc=kc, labels=("",) * DAYS, basis="made", title=title, low_kc=kc, high_kc=kc, listed_days=DAYS)


def _lived(one: Coming, chance: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """What the meters of a supply show of its days: power of the panels and load [W], charge [%], (24 DAYS,) each."""
    hours = one.given.first(DAYS * HOURS_PER_DAY)
    each_day = np.repeat(1.0 + DAY_SPREAD * chance.standard_normal(DAYS), HOURS_PER_DAY)
    each_hour = np.exp(HOUR_SPREAD * chance.standard_normal(each_day.size) - 0.5 * HOUR_SPREAD**2)
    more = MORE_LOAD * np.maximum(each_day, 0.1) * each_hour
    rated_w = one.supply.inverter.rated_w
    lived = replace(
        hours, sun_w=LESS_SUN * hours.sun_w, ac_w=np.minimum(more * hours.ac_w, rated_w), dc_w=more * hours.dc_w
    )
    run = one.run(lived)
    asked_wh = run.served_wh + run.unserved_wh
    served = np.divide(run.served_wh, asked_wh, out=np.ones_like(asked_wh), where=asked_wh > 0.0)

    def shown(true: Floats) -> Floats:
        return np.asarray(np.maximum(true * (1.0 + METER_SPREAD * chance.standard_normal(true.size)), 0.0))

    charge = np.round(100.0 * 0.5 * (run.soc[:-1] + run.soc[1:]), 0)
    return shown(run.sun_wh), shown(lived.ac_w * served), charge
