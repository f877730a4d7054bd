"""Time the answers and the year trajectory inside one process."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from benchmarks.timing import report
from engine.answers.autonomy import autonomy
from engine.answers.comparing import comparing
from engine.answers.sizing import sizing
from engine.balance.forcing import forcing, mean_dc_w
from engine.balance.step import State, plant
from engine.balance.trajectory import run
from engine.house.household import Household
from engine.sky.days import parse_sky

START = datetime(2026, 12, 1)


def engine_lines(home: Household) -> None:
    """Time what a person asks of a few days, and a year of one bank and of three."""
    supply = home.supplies()[0]
    week = parse_sky("kc:.37,.46,.18,.13,.17,.29,.43", home.site, home.sun, 12, 7)
    report("rainy week x 4 chemistries", lambda: comparing(home, supply, week, START), 16.0)
    coming = parse_sky("dark,dark,dull,dull,bright", home.site, home.sun, 12, 14)
    report("hours left with range and levers", lambda: autonomy(home, {supply.bank.id: 0.8}, coming, START))
    report("size for 1 to 7 days", lambda: sizing(home, supply, 3, 12, coming))
    rng = np.random.default_rng(1)
    year = forcing(home, supply, datetime(2026, 1, 1), rng.uniform(0.1, 1.0, 365)).lists()
    p = plant(supply.bank, supply.inverter, mean_dc_w(home, supply, 12))
    report("year trajectory, one bank", lambda: run(p, State(0.9), *year), 150.0)
    report("year trajectory, three banks", lambda: [run(p, State(soc), *year) for soc in (0.9, 0.7, 0.5)], 600.0)
