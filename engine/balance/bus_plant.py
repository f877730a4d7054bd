"""Banks on one DC bus with every limit worked out once, and the network they make of volts and resistances.

Currents are A with charging positive, volts of whole packs. One charger has one setting: the bus is charged to the
lowest of the banks' end volts, and held there only where every bank is held. While one bank is too cold to be charged,
none is. A bank at its floor gives no more, as if its own disconnect had opened.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import NamedTuple

from engine.balance.step import Plant, plant
from engine.cells import curve
from engine.cells.chemistry import STEPS, CellTable
from engine.house.bank import Bank, c_rate
from engine.house.bus import common_end_v
from engine.house.inverter import Inverter

LEAST_OHM = 1e-6
"""Of a bank with its leads on a bus: cells written down without any resistance still share a current (choice)."""
AT_SOC = 1e-6
"""Charge this close to a limit is at it [-]."""
Amounts = list[float]


class BusState(NamedTuple):
    """What a step starts from: each bank's charge, inverter on, charge ended by volts without a hold."""

    socs: tuple[float, ...]
    on: bool = True
    full: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BusPlant:
    """Banks on one bus and their inverter, with every limit worked out once.

    `weights` are each bank's share of the energy of all, so that a charge of the whole bus can be said.
    """

    plants: tuple[Plant, ...]
    weights: tuple[float, ...]
    inverter: Inverter
    end_v: float
    holds: bool
    cut_v: float
    restart_v: float
    sun_a_max: float

    @property
    def floor_soc(self) -> float:
        """Charge of the whole bus at which every bank is at its floor."""
        return self.soc_of(tuple(p.floor_soc for p in self.plants))

    @property
    def top_soc(self) -> float:
        """Charge of the whole bus at which every bank is charged."""
        return self.soc_of(tuple(p.top_soc for p in self.plants))

    def soc_of(self, socs: Sequence[float]) -> float:
        """Charge of the whole bus [-]."""
        return sum(weight * soc for weight, soc in zip(self.weights, socs, strict=True))


def on_the_bus(banks: Sequence[Bank]) -> tuple[Bank, ...]:
    """Return banks as one charger charges them: all to the lowest of their settings, held only if every one is."""
    end_v, holds = common_end_v(banks), all(bank.hold for bank in banks)
    return tuple(dataclasses.replace(bank, charge_v=end_v / bank.series, hold=holds) for bank in banks)


def bus_plant(banks: Sequence[Bank], inverter: Inverter, mean_dc_w: float) -> BusPlant:
    """Work out the limits of banks on one bus once.

    Parameters
    ----------
    mean_dc_w : float
        Mean power drawn from all of them [W]; each bank's limits are read at its share by energy.
    """
    sizes = [bank.series * bank.ah * bank.cell.v_nominal for bank in banks]
    weights = tuple(size / sum(sizes) for size in sizes)
    same = on_the_bus(banks)
    plants = [_guarded(bank, inverter, mean_dc_w * share) for bank, share in zip(same, weights, strict=True)]
    if any(p.charge_c_max <= 0.0 for p in plants):
        plants = [dataclasses.replace(p, charge_c_max=0.0) for p in plants]
    return BusPlant(
        plants=tuple(plants),
        weights=weights,
        inverter=inverter,
        end_v=common_end_v(banks),
        holds=same[0].hold,
        cut_v=inverter.dc_min_v,
        restart_v=inverter.restart_v,
        sun_a_max=inf if inverter.charge_limit_a is None else inverter.charge_limit_a,
    )


def _guarded(bank: Bank, inverter: Inverter, mean_dc_w: float) -> Plant:
    """A bank's limits, its floor not under where its own board opens."""
    p = plant(bank, inverter, mean_dc_w)
    if bank.board is None:
        return p
    open_soc = curve.soc_at_cutoff(bank.cell, bank.board.cell_low_v, c_rate(bank, mean_dc_w), bank.cell_c)
    return p if open_soc <= p.floor_soc else dataclasses.replace(p, floor_soc=open_soc, floor_name="board")


def limits(b: BusPlant, socs: Sequence[float]) -> tuple[Amounts, Amounts]:
    """Most each bank may give (negative) and take [A]."""
    low, high = [], []
    for p, soc in zip(b.plants, socs, strict=True):
        ah = p.series_ah / p.series
        rate = p.charge_c_max if p.acceptance_tau_h is None else min(p.charge_c_max, (1.0 - soc) / p.acceptance_tau_h)
        low.append(-p.discharge_c_max * ah if soc > p.floor_soc + AT_SOC else 0.0)
        high.append(rate * ah if soc < p.top_soc - AT_SOC else 0.0)
    return low, high


def pack_ohm(p: Plant, cell_v_per_c: float) -> float:
    """Resistance of a whole bank [ohm] from that of a cell [V per C-rate]."""
    return max(p.series * p.series * cell_v_per_c / p.series_ah, LEAST_OHM)


def network(
    b: BusPlant, socs: Sequence[float], middles: Sequence[float], dt: float
) -> tuple[Amounts, Amounts, Amounts]:
    """Volts of each bank as a step of `dt` sees them, and its resistance while it takes and while it gives.

    Its OCV leans with the charge of half the step.
    """
    emf, ohm, giving_ohm = [], [], []
    for p, soc, middle in zip(b.plants, socs, middles, strict=True):
        ocv, slope, r_slow, r_drawn = cell(p.cells, middle)
        emf.append(p.series * (ocv + slope * (soc - middle)))
        ohm.append(pack_ohm(p, r_slow + 0.5 * slope * dt))
        giving_ohm.append(pack_ohm(p, r_drawn + 0.5 * slope * dt))
    return emf, ohm, giving_ohm


def cell(cells: CellTable, soc: float) -> tuple[float, float, float, float]:
    """OCV [V], its slope [V per unit of charge] and both slow resistances, in and out [V per C], at a charge."""
    k = min(max(int(soc * STEPS), 0), STEPS - 1)
    part = min(max(soc * STEPS - k, 0.0), 1.0)
    ocv, r_slow, r_drawn = cells.ocv_v, cells.r_slow, cells.r_drawn
    rise = ocv[k + 1] - ocv[k]
    slow, drawn = (r[k] + part * (r[k + 1] - r[k]) for r in (r_slow, r_drawn))
    return ocv[k] + part * rise, rise * STEPS, slow, drawn
