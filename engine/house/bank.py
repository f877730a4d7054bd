"""A bank of cells: its window, its limits, and what of its label reaches the sockets.

Energy is kWh at the bank's terminals unless the name says otherwise; state of charge is a fraction of
tested Ah; volts are per cell where the name says `cell_v`, otherwise of the whole pack.
Not modelled: differences between the cells of one string (the weakest cell ends the string, so give
the tested Ah of the weakest), heat made by the current, ageing.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from engine.cells import catalogue, curve
from engine.cells.chemistry import TABLE_C, CellTable, Chemistry, arrays, at, capacity_share, energy_at, table
from engine.cells.cold_limits import COLD_C, FULL_C, coldest_stated
from engine.cells.lead_acid import lead_cell_v
from engine.errors import InputError
from engine.fields import check, quantity
from engine.house.inverter import Inverter
from engine.house.own_cell import with_own
from engine.house.wiring import Wiring
from engine.quantities import WH_PER_KWH

MEAN_CHARGE_C = 0.1
"""Charge current assumed, in C, where the bank states no limit (assumed: ten hours from empty to full)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A protection board: it opens when one cell or the current leaves these limits."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    cell_low_v: float = quantity("Board: lowest cell volts", "V", 0.5, 3.6, hint="Where the board stops discharge")
    cell_high_v: float = quantity("Board: highest cell volts", "V", 1.5, 4.5, hint="Where the board stops charge")
    charge_min_c: float | None = quantity(
        "Board: no charge below",
        "°C",
        -40,
        30,
        default=None,
        optional=True,
        hint="Its low-temperature cut-off; empty if it has none or you do not know",
    )
    current_limit_a: float = quantity("Board: highest current", "A", 1, 5000, hint="For the whole bank")
    contactor: bool = False
    balance_v: float | None = quantity(
        "Balancer starts at",
        "V per cell",
        0.5,
        4.5,
        default=None,
        optional=True,
        hint="Cell volts at which the board begins to even the cells out; empty if it has none or you do not know",
    )
    balance_a: float | None = quantity(
        "Balancer bleeds",
        "A",
        0.001,
        50,
        default=None,
        optional=True,
        hint="Current it takes from a high cell, from the board’s sheet",
    )

    def __post_init__(self) -> None:
        check(self)
        if not self.cell_low_v < self.cell_high_v:
            raise InputError(
                "cell_high_v",
                f"Board: highest cell volts must be above its lowest, {self.cell_low_v:g} V; "
                f"got {self.cell_high_v:g} V.",
            )
        if self.balance_v is not None and not self.cell_low_v < self.balance_v <= self.cell_high_v:
            raise InputError(
                "balance_v",
                f"Balancer starts at must be above the board’s lowest cell volts, {self.cell_low_v:g} V, and at most "
                f"its highest, {self.cell_high_v:g} V; got {self.balance_v:g} V.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Bank:
    """One bank: cells in series and parallel, the window to use of them, and what guards them."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    id: str
    name: str
    chemistry: str | Chemistry
    inverter: str = ""
    series: int = quantity("Cells in series", "cells", 1, 400, whole=True, hint="Pack volts come from these")
    parallel: int = quantity("Strings in parallel", "strings", 1, 200, default=1, whole=True)
    label_ah: float = quantity("Label capacity of one cell", "Ah", 0.1, 20_000, hint="As printed")
    tested_ah: float | None = quantity(
        "Tested capacity of one cell",
        "Ah",
        0.1,
        20_000,
        default=None,
        optional=True,
        hint="Your own test of the weakest cell; empty if never tested",
    )
    tested_c: float | None = quantity(
        "Tested at",
        "°C",
        -40,
        60,
        default=None,
        optional=True,
        hint="Cell temperature in that test, so that cold is not taken off twice; warmer cells count as tested. Empty: "
        "25 °C",
    )
    rated_h: float | None = quantity(
        "Hours of the rated discharge",
        "hours",
        0.5,
        200,
        default=None,
        optional=True,
        hint="Lead-acid alone, as printed: C20 is 20 hours, C100 is 100; of your own test the hours it took. Empty: 20",
    )
    stated_kwh: float | None = quantity(
        "Energy on the label of the whole bank",
        "kWh",
        0.01,
        20_000,
        default=None,
        optional=True,
        hint="If it says one: only to check the ampere-hours and the cells above",
    )
    cell_c: float = quantity(
        "Cell temperature", "°C", -40, 60, default=20.0, hint="Between the cells; the room’s if you have no other"
    )
    charge_v: float | None = quantity(
        "Charge ends at",
        "V per cell",
        1.0,
        4.5,
        default=None,
        optional=True,
        hint="Empty: usual for the chemistry",
    )
    hold: bool = False
    top_soc: float = quantity("Charge up to", "%", 0.1, 1.0, default=1.0, percent=True, hint="Of tested Ah")
    top_v: float | None = quantity(
        "Or charge up to, in volts",
        "V per cell",
        1.0,
        4.5,
        default=None,
        optional=True,
        hint="Goes before the %",
    )
    reserve_soc: float = quantity("Keep in reserve", "%", 0.0, 0.95, default=0.2, percent=True, hint="Of tested Ah")
    reserve_v: float | None = quantity(
        "Or stop at, in volts",
        "V per cell",
        0.5,
        4.5,
        default=None,
        optional=True,
        hint="Under your mean load",
    )
    charge_limit_a: float | None = quantity(
        "Highest charge current",
        "A",
        0.5,
        5000,
        default=None,
        optional=True,
        hint="For the whole bank, of its cells (the inverter has its own): their sheet times the strings. Empty: what "
        "the chemistry takes (typical)",
    )
    cold_charge_a: float | None = quantity(
        "Charge current at 0 °C",
        "A",
        0,
        5000,
        default=None,
        optional=True,
        hint="For the whole bank, from the cells’ sheet; where charging starts above 0 °C, the current there. It rises "
        "on a line to the highest at 10 °C. Empty: 0.1C is counted, or none below 10 °C where nobody states "
        "how cold such cells may be charged, as for sodium-ion; for lead-acid the highest at any temperature",
    )
    cell_spread_mv: float | None = quantity(
        "Highest cell above the mean",
        "mV",
        0,
        1000,
        default=None,
        optional=True,
        hint="Read on the board’s app at the end of a charge",
    )
    charge_efficiency: float | None = quantity(
        "Ampere-hours given back",
        "%",
        0.5,
        1.0,
        default=None,
        percent=True,
        optional=True,
        hint="Of those put in, by your own meter; empty: usual for the chemistry",
    )
    self_discharge_per_month: float | None = quantity(
        "Self-discharge a month",
        "%",
        0.0,
        1.0,
        default=None,
        percent=True,
        optional=True,
        hint="With the board’s own draw, by your own meter; empty: usual for the chemistry",
    )
    board: Board | None = None
    own_fuse: bool = False
    own_disconnect: bool = False
    wiring: Wiring | None = None

    def __post_init__(self) -> None:
        check(self)
        if self.reserve_v is None and self.top_v is None and not self.reserve_soc < self.top_soc:
            raise InputError(
                "reserve_soc",
                f"Keep in reserve must be below Charge up to, {self.top_soc * 100:g} %; "
                f"got {self.reserve_soc * 100:g} %.",
            )
        highest_v = self.cell.v_max
        for name, label in (("charge_v", "Charge ends at"), ("top_v", "Charge up to, in volts,")):
            volts = getattr(self, name)
            if volts is not None and not self.cell.v_low < volts <= highest_v:
                raise InputError(
                    name,
                    f"{label} must be above {self.cell.v_low:g} and at most {highest_v:g} V per cell "
                    f"for {self.cell.name}; got {volts:g} V per cell. Pack volts are divided by {self.series} cells.",
                )

    @property
    def cell(self) -> Chemistry:
        """The chemistry itself, looked up in the catalogue where only its id is stored, with the bank's own numbers."""
        cell = catalogue.load(self.chemistry) if isinstance(self.chemistry, str) else self.chemistry
        tested_c = None if self.tested_ah is None or self.tested_c == TABLE_C else self.tested_c
        own = (self.rated_h, self.charge_efficiency, self.self_discharge_per_month, tested_c)
        return cell if own == (None,) * len(own) else with_own(cell, *own)

    @property
    def table(self) -> CellTable:
        """The cell's curves at this bank's temperature."""
        return table(self.cell, self.cell_c)

    @property
    def ah(self) -> float:
        """Tested Ah of the whole bank (label Ah where no test is given)."""
        return (self.tested_ah if self.tested_ah is not None else self.label_ah) * self.parallel

    @property
    def label_kwh(self) -> float:
        """Label Ah x nominal volts of the whole bank [kWh]."""
        return self.series * self.parallel * self.label_ah * self.cell.v_nominal / WH_PER_KWH

    @property
    def full_v(self) -> float:
        """Volts of the whole pack with full cells [V]; of cold lead-acid those that its charge rises to."""
        return self.here_cell_v(self.cell.v_full) * self.series

    def here_cell_v(self, cell_v: float) -> float:
        """Volts per cell that a charge comes to where the cells are: those of lead-acid rise in the cold."""
        return max(cell_v, lead_cell_v(cell_v, self.cell_c)) if self.cell.vents_hydrogen else cell_v

    @property
    def charge_end_cell_v(self) -> float:
        """Volts per cell at which charging ends: the window's volts or the charge setting, whichever is lower."""
        setting = self.charge_v if self.charge_v is not None else self.cell.v_charge
        return setting if self.top_v is None else min(setting, self.top_v)

    @property
    def charge_c(self) -> float:
        """Charge current the settings are read at [C]: the bank's limit, else `MEAN_CHARGE_C`."""
        wanted = MEAN_CHARGE_C if self.charge_limit_a is None else self.charge_limit_a / self.ah
        return min(wanted, self.cell.charge_c_max)

    @property
    def charge_min_c(self) -> float:
        """Lowest cell temperature at which a charge is counted, by chemistry and board [degC].

        Where nobody has stated the chemistry's, none below `FULL_C`, or `COLD_C` where a current there is typed.
        """
        allowed_c = self.cell.charge_min_c
        if not coldest_stated(self.cell):
            allowed_c = max(allowed_c, FULL_C if self.cold_charge_a is None else COLD_C)
        stops_c = None if self.board is None else self.board.charge_min_c
        return allowed_c if stops_c is None else max(allowed_c, stops_c)

    @property
    def top_reached_soc(self) -> float:
        """State of charge at which charging ends, by volts and by the window."""
        if self.hold:
            by_volts = curve.soc_with_hold(self.cell, self.charge_end_cell_v, temperature_c=self.cell_c)
        else:
            by_volts = curve.soc_without_hold(self.cell, self.charge_end_cell_v, self.charge_c, self.cell_c)
        return by_volts if self.top_v is not None else min(by_volts, self.top_soc)

    def stored_kwh(self, low_soc: float, high_soc: float) -> float:
        """Energy at open-circuit volts between two states of charge [kWh]."""
        gained_v = energy_at(self.table, high_soc) - energy_at(self.table, low_soc)
        return self.series * self.ah * gained_v / WH_PER_KWH


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """Where discharge ends, and the first limit that ends it there."""

    soc: float
    ends_by: str
    reserve_soc: float
    reach_soc: float
    cutoff_soc: float


def c_rate(bank: Bank, power_w: float) -> float:
    """Discharge current in C that `power_w` [W, > 0] asks of the bank at its nominal volts."""
    return power_w / (bank.series * bank.cell.v_nominal * bank.ah)


def cutoff_cell_v(bank: Bank, inverter: Inverter) -> float:
    """Lowest volts per cell under load: the inverter's cut-off or the board's, whichever is higher [V]."""
    by_inverter = inverter.dc_min_v / bank.series
    return by_inverter if bank.board is None else max(by_inverter, bank.board.cell_low_v)


def floor(bank: Bank, inverter: Inverter, mean_dc_w: float) -> Floor:
    """Find where a steady discharge ends: the reserve, cold and rate, or the cut-off under load.

    Parameters
    ----------
    mean_dc_w : float
        Mean power drawn from the bank [W].
    """
    rate = c_rate(bank, mean_dc_w)
    if bank.reserve_v is None:
        reserve = bank.reserve_soc
    else:
        reserve = curve.soc_at_cutoff(bank.cell, bank.reserve_v, rate, bank.cell_c)
    reach = 1.0 - capacity_share(bank.cell, bank.cell_c, rate)
    cutoff = curve.soc_at_cutoff(bank.cell, cutoff_cell_v(bank, inverter), rate, bank.cell_c)
    by_board = bank.board is not None and bank.board.cell_low_v * bank.series >= inverter.dc_min_v
    limits = ((reserve, "reserve"), (reach, "cold or rate"), (cutoff, "board" if by_board else "inverter"))
    soc, ends_by = max(limits, key=lambda pair: pair[0])
    return Floor(soc=soc, ends_by=ends_by, reserve_soc=reserve, reach_soc=reach, cutoff_soc=cutoff)


def delivered(bank: Bank, high_soc: float, low_soc: float, power_w: float) -> tuple[float, float]:
    """Discharge at constant power between two states of charge.

    Parameters
    ----------
    high_soc, low_soc : float
        Start and end [-].
    power_w : float
        Power at the bank's terminals [W], > 0.

    Returns
    -------
    (kwh, hours) : tuple of float
        Energy at the terminals [kWh] and how long it lasts [h].
    """
    if not high_soc > low_soc:
        return 0.0, 0.0
    edges = np.linspace(low_soc, high_soc, 401)
    middle = (edges[1:] + edges[:-1]) / 2.0
    cells = arrays(bank.cell, bank.cell_c)
    ocv_v, r_v = (np.interp(middle, cells.soc, values) for values in (cells.ocv_v, cells.r_drawn))
    per_ah_w = power_w / (bank.series * bank.ah)
    root = np.sqrt(np.maximum(ocv_v**2 - 4.0 * r_v * per_ah_w, 0.0))
    rate = 2.0 * per_ah_w / (ocv_v + root)
    hours = float(np.sum(np.diff(edges) / rate))
    return power_w * hours / WH_PER_KWH, hours


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A bank's window both ways: in state of charge [-] and in volts per cell [V].

    The top is the charge setting, or the volts that would stop at the share it is charged up to (held, or at the
    bank’s charge current); the bottom is read under a mean load.
    `top_by_volts` is false where the cell is so flat there that a held voltage does not decide the charge.
    """

    top_soc: float
    top_v: float
    top_by_volts: bool
    reserve_soc: float
    reserve_v: float


def window(bank: Bank, mean_dc_w: float) -> Window:
    """Convert a bank's window both ways through its usable-capacity curve at its own currents.

    Parameters
    ----------
    mean_dc_w : float
        Mean power drawn from the bank [W].
    """
    top = bank.top_reached_soc
    rate = c_rate(bank, mean_dc_w)
    reserve = (
        bank.reserve_soc
        if bank.reserve_v is None
        else curve.soc_at_cutoff(bank.cell, bank.reserve_v, rate, bank.cell_c)
    )
    sagged_v = at(bank.table.ocv_v, reserve) - rate * at(bank.table.r_fast, reserve)
    capped = top < dataclasses.replace(bank, top_soc=1.0).top_reached_soc
    if capped:
        top_v = curve.volts_for_soc(bank.cell, top, bank.charge_c, bank.hold, bank.cell_c)
    else:
        top_v = bank.charge_end_cell_v
    return Window(
        top_soc=top,
        top_v=top_v,
        top_by_volts=not bank.hold or curve.controllable(bank.cell, top_v, bank.cell_c),
        reserve_soc=reserve,
        reserve_v=sagged_v if bank.reserve_v is None else bank.reserve_v,
    )
