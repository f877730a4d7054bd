"""What each of several banks on one bus does until the answer ends: what it gives, when it is empty, what it forgoes.

Energy is kWh at the bus, charge a share of tested Ah, moments local standard time.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import clock
from engine.answers.coming import Coming
from engine.balance.bus_plant import BusPlant, BusState, on_the_bus
from engine.balance.trajectory import Trajectory
from engine.house.bank import Bank, delivered, floor
from engine.quantities import WH_PER_KWH

Floats = NDArray[np.float64]

IDLE_SHARE = 0.05
"""A bank that gives less than this part of what its size would give sits idle (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BusPart:
    """One bank's part of a bus until the answer ends.

    Attributes
    ----------
    given_kwh, given_share : float
        What it gave to the bus, and its share of what all gave.
    top_soc, alone_soc : float
        Charge the bus fills it to, and the charge its own setting would.
    forgone_kwh : float
        Energy between the two: what the narrower window costs.
    sits_idle : bool
        Whether it gives next to nothing while the others work.
    at_floor_at : datetime or None
        When it reaches its floor and the others go on without it.
    soc : (n,) array
        Its charge at the hours of the whole run.
    """

    bank_id: str
    name: str
    start_soc: float
    floor_soc: float
    top_soc: float
    alone_soc: float
    forgone_kwh: float
    given_kwh: float
    given_share: float
    sits_idle: bool
    at_floor_at: datetime | None
    soc: Floats


def bus_parts(one: Coming, ended: Trajectory, whole: Trajectory) -> tuple[BusPart, ...]:
    """Return the part of each bank on a shared bus; none where a bank stands alone.

    Parameters
    ----------
    ended, whole : Trajectory
        The days until load is first short, and all of them.
    """
    if not isinstance(one.plant, BusPlant):
        return ()
    assert isinstance(one.start, BusState)
    assert ended.parted is not None
    assert whole.parted is not None
    given_kwh = -np.minimum(ended.parted.into_wh, 0.0).sum(axis=0) / WH_PER_KWH
    all_kwh = float(given_kwh.sum())
    found = []
    for k, (bank, same) in enumerate(zip(one.supply.banks, on_the_bus(one.supply.banks), strict=True)):
        share = float(given_kwh[k]) / all_kwh if all_kwh > 0.0 else 0.0
        found.append(
            BusPart(
                bank_id=bank.id,
                name=bank.name,
                start_soc=one.start.socs[k],
                floor_soc=one.plant.plants[k].floor_soc,
                top_soc=same.top_reached_soc,
                alone_soc=bank.top_reached_soc,
                forgone_kwh=_between_kwh(bank, same.top_reached_soc, bank.top_reached_soc),
                given_kwh=float(given_kwh[k]),
                given_share=share,
                sits_idle=all_kwh > 0.0 and share < IDLE_SHARE * one.plant.weights[k],
                at_floor_at=clock(one.at, ended.parted.at_floor_h[k]),
                soc=whole.parted.soc[:, k],
            )
        )
    return tuple(found)


def _between_kwh(bank: Bank, low_soc: float, high_soc: float) -> float:
    return max(bank.stored_kwh(low_soc, high_soc), 0.0)


def reach_kwh(one: Coming) -> tuple[float, float]:
    """Energy at the terminals that the mean load can draw from the charge now [kWh], and down to which charge [-].

    It ends at the first limit that a steady mean draw meets, the cut-off included, as the usable kWh of Banks do.
    """
    if one.mean_w <= 0.0:
        return 0.0, one.plant.floor_soc
    if isinstance(one.plant, BusPlant):
        assert isinstance(one.start, BusState)
        draws_w = [one.mean_w * share for share in one.plant.weights]
        banks = list(zip(one.supply.banks, one.start.socs, one.plant.plants, draws_w, strict=True))
        lows = tuple(max(p.floor_soc, floor(bank, one.plant.inverter, w).soc) for bank, _, p, w in banks)
        kwh = sum(delivered(bank, soc, low, w)[0] for (bank, soc, _, w), low in zip(banks, lows, strict=True))
        return kwh, one.plant.soc_of(lows)
    bank, (_, start) = one.supply.bank, one.single
    low = floor(bank, one.supply.inverter, one.mean_w).soc
    return delivered(bank, start.soc, low, one.mean_w)[0], low
