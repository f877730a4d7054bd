"""Nights made with one thing wrong, by the hourly run alone, and the household that knows nothing of it.

The truth is another bank or another draw in `engine.balance.trajectory`; what a person would have seen of it (the hour,
the monitor's charge) is counted here by hand. Nothing of the answer is used.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from engine.answers.dark_seen import Seen
from engine.balance.step import Plant, State, plant
from engine.balance.trajectory import run
from engine.cells import catalogue
from engine.house.bank import Bank
from engine.house.household import Household, read

EVENING = datetime(2026, 11, 25, 18, 0)
EVENING_W = 350.0
NIGHT_H = 7
SHAPES = {
    "lfp": {"series": 16, "label_ah": 280.0, "hold": True},
    "sodium_layered": {"series": 15, "label_ah": 300.0, "hold": False, "charge_v": 3.9},
    "lead_sealed": {"series": 24, "label_ah": 400.0, "hold": True},
}
"""Three kinds of cells in packs for 48 V."""


def household(chemistry: str, high_cut_v: float | None = None, **changes: Any) -> Household:
    """A household of one bank, without a board so that the inverter ends the night."""
    bank = {"id": "bank", "name": "Bank", "inverter": "main", "chemistry": chemistry, "cell_c": 20.0}
    cut_v, top_v = {"sodium_layered": (30.0, 62.0), "lead_sealed": (43.2, 62.0), "lfp": (44.8, 60.0)}[chemistry]
    cut_v = cut_v if high_cut_v is None else high_cut_v
    inverter = {"id": "main", "name": "Inverter", "dc_min_v": cut_v, "dc_max_v": top_v, "restart_v": cut_v + 2.0}
    return read(
        {
            "format": 1,
            "name": "House",
            "site": {"latitude_deg": 52.0, "longitude_deg": -8.0, "time_zone": "Europe/Dublin"},
            "inverters": [inverter | {"rated_w": 5000.0, "idle_w": 40.0, "k1": 0.02, "k2": 0.03}],
            "banks": [bank | SHAPES[chemistry] | {"reserve_soc": 0.2} | changes],
            "loads": [{"id": "all", "name": "All", "kind": "steady", "values": {"power_w": EVENING_W}}],
        }
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """What is wrong: offset of the monitor, factors, an unseen draw, cells' temperature, and the load at last."""

    offset: float = 0.0
    resistance: float = 1.0
    capacity: float = 1.0
    hidden_w: float = 0.0
    hidden_before_h: float = 0.0
    cell_c: float = 20.0
    load_w: float = EVENING_W
    full_before: timedelta | None = None


def truly(house: Household, fault: Fault) -> Plant:
    """The bank as it really is."""
    inverter = house.inverters[0]
    bank = dataclasses.replace(
        house.banks[0],
        tested_ah=house.banks[0].label_ah * fault.capacity,
        chemistry=_resisting(house.banks[0], fault.resistance),
        cell_c=fault.cell_c,
        reserve_soc=0.0,
    )
    return plant(bank, inverter, inverter.dc_w(EVENING_W))


def _resisting(bank: Bank, factor: float) -> Any:
    cell = catalogue.load(str(bank.chemistry))
    slow, fast = (tuple(r * factor for r in rs) for rs in (cell.r_slow_v_per_c, cell.r_fast_v_per_c))
    return dataclasses.replace(cell, id=f"{cell.id}/x{factor:g}", r_slow_v_per_c=slow, r_fast_v_per_c=fast)


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A night as made: what was seen, and the truth behind it."""

    seen: Seen
    true_soc: float
    plant: Plant


def made(house: Household, fault: Fault, *, told_c: float | None = None, evening: bool = True) -> Made:
    """Make the night: the evening's loads for some hours, then the last load until it goes dark."""
    p = truly(house, fault)
    loads = [EVENING_W] * NIGHT_H + [fault.load_w] * 48
    none, draws = [0.0] * len(loads), [fault.hidden_w] * len(loads)
    start = _start(p, loads, draws)
    found = run(p, State(start), none, loads, draws, until_ended=True)
    assert found.ended_h is not None
    end, hours = float(found.soc[-1]), found.ended_h
    series_ah = house.banks[0].series * house.banks[0].label_ah
    volts = float(p.cells.ocv_v[round(1000 * (start + end) / 2)])
    unseen = fault.hidden_w / (series_ah * volts)
    monitor_start = 1.0 - (1.0 - start) * fault.capacity + fault.offset + unseen * fault.hidden_before_h
    counted = (start - end) * fault.capacity - unseen * hours
    at = EVENING + timedelta(hours=hours)
    seen = Seen(
        at=at,
        soc=min(monitor_start - counted, 1.0),
        load_w=fault.load_w,
        cell_c=fault.cell_c if told_c is None else told_c,
        evening_w=EVENING_W,
        evening_at=EVENING if evening else None,
        evening_soc=min(monitor_start, 1.0) if evening else None,
        full_at=None if fault.full_before is None else EVENING - fault.full_before,
    )
    return Made(seen=seen, true_soc=end, plant=p)


def _start(p: Plant, loads: list[float], draws: list[float]) -> float:
    """A charge in the evening from which it ends soon after the last load is switched on.

    A last load that is no more than the evening's ends it by itself; one that is more is switched on two points below
    the charge at which the bank would still have carried it.
    """
    low, high = 0.0, 1.0
    peak = loads[-1] > loads[0]
    for _ in range(24):
        middle = 0.5 * (low + high)
        if peak:
            early = _ended_h(p, middle, loads[-1:], draws[-1:]) == 0.0
        else:
            ended_h = _ended_h(p, middle, loads, draws)
            early = ended_h is not None and ended_h < NIGHT_H
        low, high = (middle, high) if early else (low, middle)
    if not peak:
        return high
    wanted, low, high = high - 0.02, 0.0, 1.0
    for _ in range(24):
        middle = 0.5 * (low + high)
        left = run(p, State(middle), [0.0] * NIGHT_H, loads[:NIGHT_H], draws[:NIGHT_H]).soc[-1]
        low, high = (middle, high) if left < wanted else (low, middle)
    return high


def _ended_h(p: Plant, start: float, loads: list[float], draws: list[float]) -> float | None:
    return run(p, State(start), [0.0] * len(loads), loads, draws, until_ended=True).ended_h
