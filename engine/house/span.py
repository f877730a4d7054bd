"""A pack's span of volts against its inverter's DC window, for this number of cells in series and for others.

Shares are of tested Ah, s from 0 to 1: what lies below the low cut-off under the load, inside, and above the
volts the charge may reach. They sum to 1. A pack whose full volts exceed the inverter's highest is a *stop*, not a
lost share: the shares are then those under the lower charge setting that keeps within.
Volts are of the whole pack where the name does not say `cell_v`. Not modelled: differences between cells, the
reach lost to cold or to a fast discharge (`bank.floor` has it), overshoot of a charger.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from engine.cells import curve
from engine.cells.chemistry import at, first_crossing
from engine.house.bank import Bank
from engine.house.inverter import Inverter

TIE_SHARE = 0.01
"""Series counts this close in usable share count as equal; the one you have wins (engineering choice)."""
NEIGHBOURS = 2
"""Series counts shown to either side, in blocks of the chemistry."""
HALF_SOC = 0.5
BOARD_MARGIN_V = 0.1
"""The inverter switches off this far above the board's lowest cell, before the board has to [V per cell] (assumed)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How the bank is charged: volts per cell, hold or none, the current and the tail in C."""

    cell_v: float
    hold: bool
    charge_c: float
    tail_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """One series count on the inverter; `stop` where its full volts exceed the inverter's highest."""

    series: int
    label_kwh: float
    empty_v: float
    full_v: float
    highest_v: float
    cutoff_v: float
    stop: bool
    setting_cell_v: float
    setting_v: float
    setting_limit: str
    """What decides the setting: ``setting`` itself, ``cell``, ``charge setting`` (the charger's), ``highest volts``."""
    below_share: float
    inside_share: float
    above_share: float
    usable_kwh: float
    sag_half_v: float | None
    sag_low_v: float | None
    lowest_v: float | None
    lowered_gain_share: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesChoice:
    """The series count that suits the window best, and why."""

    series: int
    reason: str


def span(bank: Bank, inverter: Inverter, power_w: float, way: Way) -> Span:
    """Set a pack's span of volts against the inverter's window.

    Parameters
    ----------
    bank : Bank
        Its series count is the one judged.
    inverter : Inverter
        It need not be the one the bank is joined to.
    power_w : float
        Power drawn from the bank at the cut-off and for the sag [W], > 0.
    way : Way
        How the bank is charged; its volts are lowered to what the inverter allows.

    Returns
    -------
    Span
    """
    cell, n = bank.cell, bank.series
    setting_cell_v = min(way.cell_v, inverter.charge_max_v / n, cell.v_max)
    top = _top(bank, setting_cell_v, way)
    low = cutoff_soc(bank, inverter.dc_min_v, power_w)
    below, above = low, 1.0 - max(top, low)
    inside = 1.0 - below - above
    lowest_v = lowest_cutoff_v(bank, inverter)
    lowest = None if lowest_v is None else cutoff_soc(bank, lowest_v, power_w)
    return Span(
        series=n,
        label_kwh=bank.label_kwh,
        empty_v=cell.v_low * n,
        full_v=bank.full_v,
        highest_v=inverter.dc_max_v,
        cutoff_v=inverter.dc_min_v,
        stop=over_highest(bank, inverter),
        setting_cell_v=setting_cell_v,
        setting_v=setting_cell_v * n,
        setting_limit=_limit(bank, inverter, way.cell_v),
        below_share=below,
        inside_share=inside,
        above_share=above,
        usable_kwh=bank.stored_kwh(low, max(top, low)),
        sag_half_v=sag_v(bank, HALF_SOC, power_w),
        sag_low_v=sag_v(bank, low, power_w),
        lowest_v=lowest_v,
        lowered_gain_share=None if lowest is None else max(0.0, max(top, lowest) - lowest - inside),
    )


def over_highest(bank: Bank, inverter: Inverter) -> bool:
    """Whether the pack, full, stands above the highest volts of the inverter: only a charge setting keeps it within."""
    return bank.full_v > inverter.dc_max_v + 1e-9


def other_counts(bank: Bank, inverter: Inverter, power_w: float, way: Way) -> tuple[Span, ...]:
    """The same cells, a few fewer and a few more in series, each string of the same Ah: so the label kWh change.

    Every count, the bank's own included, is charged to the cell's daily volts or to those of `way`, whichever are
    higher, as far as the inverter allows: a setting lowered for this pack would hide what another count can do.
    """
    step = bank.cell.series_step
    wish = dataclasses.replace(way, cell_v=max(way.cell_v, bank.cell.v_charge))
    counts = [bank.series + k * step for k in range(-NEIGHBOURS, NEIGHBOURS + 1)]
    banks = [dataclasses.replace(bank, series=n) for n in counts if 0 < n <= _MOST_SERIES]
    return tuple(span(one, inverter, power_w, wish) for one in banks)


def best(spans: Sequence[Span], own: int) -> SeriesChoice:
    """Choose the series count with the largest usable share; one that is a stop only where no other leaves any.

    Parameters
    ----------
    spans : sequence of Span
        The counts to choose from, at least one.
    own : int
        The count in use: it wins where it is within `TIE_SHARE` of the best.
    """
    safe = [one for one in spans if not one.stop and one.inside_share > 0.0]
    among = safe or list(spans)
    most = max(among, key=lambda one: one.inside_share)
    kept = next((one for one in among if one.series == own and one.inside_share >= most.inside_share - TIE_SHARE), most)
    if kept.inside_share <= 0.0:
        return SeriesChoice(series=kept.series, reason="None of these counts leaves anything to use in this window.")
    return SeriesChoice(series=kept.series, reason=_reason(kept, most, spans, bool(safe)))


def least_cutoff_cell_v(bank: Bank) -> tuple[float, str]:
    """Lowest cut-off that cells and board allow [V per cell], and which of them decides."""
    limits = [(bank.cell.v_low, f"the empty volts of {bank.cell.name}")]
    if bank.board is not None:
        words = (
            f"{BOARD_MARGIN_V:g} V per cell above the board’s {bank.board.cell_low_v:g} V, so that the inverter "
            "switches off before the board opens"
        )
        limits.append((bank.board.cell_low_v + BOARD_MARGIN_V, words))
    return max(limits, key=lambda one: one[0])


def lowest_cutoff_v(bank: Bank, inverter: Inverter) -> float | None:
    """Lowest pack volts the cut-off may be set to by inverter, cells and board; None where its lowest is not known."""
    if inverter.lowest_v is None:
        return None
    return max(inverter.lowest_v, least_cutoff_cell_v(bank)[0] * bank.series)


def cutoff_soc(bank: Bank, cutoff_v: float, power_w: float) -> float:
    """Charge at which a steady `power_w` [W] pulls the pack down to `cutoff_v` [V], or can be given no longer."""
    ocv, r_v = np.array(bank.table.ocv_v), np.array(bank.table.r_fast)
    under_root = ocv * ocv - 4.0 * r_v * power_w / (bank.series * bank.ah)
    volts = np.where(under_root < 0.0, 0.0, (ocv + np.sqrt(np.maximum(under_root, 0.0))) / 2.0)
    lowest_yet = np.minimum.accumulate(volts[::-1])[::-1]
    return first_crossing(lowest_yet, cutoff_v / bank.series)


def sag_v(bank: Bank, soc: float, power_w: float) -> float | None:
    """Volts by which the pack sags under `power_w` [W] at a charge, over minutes; None if it cannot give that much."""
    ocv, r_v = at(bank.table.ocv_v, soc), at(bank.table.r_fast, soc)
    under_root = ocv * ocv - 4.0 * r_v * power_w / (bank.series * bank.ah)
    return None if under_root < 0.0 else bank.series * (ocv - sqrt(under_root)) / 2.0


_MOST_SERIES = 400


def _limit(bank: Bank, inverter: Inverter, cell_v: float) -> str:
    """What decides how high the pack may be charged when `cell_v` [V per cell] is asked for."""
    allowed_v = inverter.charge_max_v / bank.series
    if cell_v <= min(allowed_v, bank.cell.v_max):
        return "setting"
    if bank.cell.v_max < allowed_v:
        return "cell"
    return "charge setting" if inverter.charge_max_v < inverter.dc_max_v else "highest volts"


def _top(bank: Bank, cell_v: float, way: Way) -> float:
    """Charge reached at `cell_v` [V per cell] the way the bank is charged."""
    reached = curve.soc_without_hold(bank.cell, cell_v, way.charge_c, bank.cell_c)
    return max(reached, curve.soc_with_hold(bank.cell, cell_v, way.tail_c, bank.cell_c)) if way.hold else reached


def _reason(kept: Span, most: Span, spans: Sequence[Span], safe: bool) -> str:
    share = f"{kept.inside_share * 100:.0f} %"
    if not safe:
        which = "Every count here" if all(one.stop for one in spans) else "Every count here that leaves anything to use"
        return (
            f"{which} exceeds {kept.highest_v:g} V when full. {kept.series} in series would leave the most to "
            f"use, {share}, and only while every charger keeps to {kept.setting_v:.1f} V."
        )
    text = f"{kept.series} in series charged to {kept.setting_v:.1f} V leave {share} to use, and full they stand at "
    text += f"{kept.full_v:.1f} V, inside {kept.highest_v:g} V."
    if kept is not most:
        text += f" {most.series} would leave {most.inside_share * 100:.0f} %, too little more to count."
    stopped = [one for one in spans if one.stop and one.inside_share > kept.inside_share]
    if stopped:
        names = " and ".join(str(one.series) for one in stopped)
        text += f" {names} would leave more, but full they exceed {kept.highest_v:g} V: only a charge setting keeps "
        text += "them within."
    return text
