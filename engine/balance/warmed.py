"""A bank through a series of hours whose charge limit changes from hour to hour, as a heater warms its cells.

Energies are kWh. Only the limit of charge current changes: the cells' resistance and capacity stay those of the
entered temperature, which is on the safe side.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from engine.balance.step import Plant, State
from engine.balance.trajectory import Book, Floats, hour, leaked_in
from engine.cells.chemistry import energy_at
from engine.quantities import WH_PER_KWH


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmedRun:
    """What the hours came to.

    Attributes
    ----------
    soc : (n + 1,) array
        State of charge at each edge [-].
    sun_kwh, served_kwh, loss_kwh, stored_change_kwh : float
        Taken from the charger, served (a heater too), lost in cells and inverter, more in the cells than at the start.
    ended_h : float or None
        When load first went unserved for want of charge [h]; None if it never did.
    """

    soc: Floats
    sun_kwh: float
    served_kwh: float
    loss_kwh: float
    stored_change_kwh: float
    ended_h: float | None


def warmed_run(
    p: Plant,
    start: State,
    sun_w: Sequence[float],
    ac_w: Sequence[float],
    dc_w: Sequence[float],
    charge_c: Sequence[float],
    *,
    first_h: float = 1.0,
) -> WarmedRun:
    """Run a bank through a series of hours, each with its own charge limit.

    Parameters
    ----------
    sun_w, ac_w, dc_w : (n,) sequences
        As for `trajectory.run` [W].
    charge_c : (n,) sequence
        Highest charge current of each hour [C].
    first_h : float
        Length of the first interval [h], 0..1.
    """
    state, book, soc = start, Book(until_ended=False), [start.soc]
    for index, limit_c in enumerate(charge_c):
        length_h = first_h if index == 0 else 1.0
        now = dataclasses.replace(p, charge_c_max=limit_c)
        leaked, leaked_wh = leaked_in(now, state.soc, length_h)
        state = State(state.soc - leaked, state.on, state.full)
        state, flows = hour(now, state, sun_w[index], ac_w[index], dc_w[index], length_h)
        book.enter(flows, leaked_wh, length_h)
        soc.append(state.soc)
    sums = book.series().sum(axis=0) / WH_PER_KWH
    change_wh = p.series_ah * (energy_at(p.cells, state.soc) - energy_at(p.cells, start.soc))
    return WarmedRun(
        soc=np.array(soc),
        sun_kwh=float(sums[0]),
        served_kwh=float(sums[2]),
        loss_kwh=float(sums[4] + sums[5]),
        stored_change_kwh=change_wh / WH_PER_KWH,
        ended_h=book.ended_h,
    )
