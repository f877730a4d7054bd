"""What one cell does: its volts against its charge, its losses, its limits, and where each is from.

State of charge s is a fraction of the tested ampere-hours: 0 where `v_low` is reached in the discharge
that tested them at 25 degC (slow for the simulated curves, 0.5C for the measured one), 1 where the cell
is held at `v_full` down to `tail_c`. A faster discharge ends above 0: see `capacity_share`. Current into
the cell is positive and the terminal voltage is OCV(s) + c R(s), c in C-rate and R in volts per C-rate.
`r_slow` serves hours (charging, taper, hourly losses), `r_fast` minutes (sag under a peak); what a discharge meets
over hours is `r_drawn`, which is `r_slow` in all but lead-acid. Volts per cell, degC, shares as fractions.
Not modelled: hysteresis, heat of the cell itself, ageing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from engine.cells.pchip import pchip
from engine.errors import InputError
from engine.fields import check, quantities, quantity
from engine.sources import Source

Array = NDArray[np.float64]

STEPS = 1000
"""Steps of a `CellTable`: s = k / STEPS."""
TABLE_C = 25.0
"""Cell temperature at which curves and label ampere-hours hold [degC]."""
Pairs = tuple[tuple[float, float], ...]
"""(degC, factor), the temperatures rising."""
LEAST_SHARE = 0.01
"""Floor of `capacity_share`: a bank so cold or so loaded that the tables end still divides."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chemistry:
    """One kind of cell; an entry of the catalogue, or written out in a household.

    The curve (`soc`, `ocv_v`, `r_slow_v_per_c`, `r_fast_v_per_c`) holds at 25 degC. The pairs of
    `capacity_temperature` and `resistance_temperature` are (degC, factor), linear between, held
    outside. `equalise_v` is None where cells must not be equalised, `waters` whether water is topped up; the gassing
    currents are those that air is reckoned by, None where none are stated. `sources` is keyed by field name, or by
    several separated by spaces.
    """

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    id: str
    name: str
    soc: tuple[float, ...]
    ocv_v: tuple[float, ...]
    r_slow_v_per_c: tuple[float, ...]
    r_fast_v_per_c: tuple[float, ...]
    v_nominal: float = quantity("Nominal cell volts", "V", 0.5, 6)
    v_low: float = quantity("Empty cell volts", "V", 0.1, 6)
    v_full: float = quantity("Full cell volts", "V", 0.5, 6)
    v_charge: float = quantity("Daily charge volts per cell", "V", 0.5, 6)
    v_max: float = quantity("Highest cell volts", "V", 0.5, 6)
    v_float: float | None = quantity("Float volts per cell", "V", 0.5, 6, default=None, optional=True)
    holds: bool = True
    tail_c: float = quantity("Current that ends a hold", "C", 0.001, 1, default=0.08)
    coulombic_efficiency: tuple[float, ...] | float = 1.0
    charge_min_c: float = quantity("Coldest charging", "°C", -60, 60, default=0.0)
    charge_max_c: float = quantity("Warmest charging", "°C", -20, 100, default=45.0)
    discharge_min_c: float = quantity("Coldest discharging", "°C", -60, 60, default=-20.0)
    discharge_max_c: float = quantity("Warmest discharging", "°C", -20, 100, default=60.0)
    charge_c_max: float = quantity("Highest charge current", "C", 0.01, 100, default=0.5)
    discharge_c_max: float = quantity("Highest discharge current", "C", 0.01, 100, default=1.0)
    capacity_temperature: tuple[tuple[float, float], ...] = ((25.0, 1.0),)
    resistance_temperature: tuple[tuple[float, float], ...] = ((25.0, 1.0),)
    rate_loss_per_c: float = quantity("Capacity lost per C", "", 0, 0.5, default=0.0)
    peukert_k: float = quantity("Peukert exponent", "", 1, 2, default=1.0)
    rated_h: float = quantity("Hours of the rated discharge", "h", 0.5, 200, default=20.0)
    acceptance_tau_h: float | None = quantity("Charge acceptance time", "h", 0.01, 100, default=None, optional=True)
    self_discharge_per_month: float = quantity("Self-discharge a month", "%", 0, 1, default=0.0, percent=True)
    reserve_soc: float = quantity("Reserve", "%", 0, 0.95, default=0.0, percent=True)
    reserve_reason: str = ""
    needs_board: bool = True
    vents_hydrogen: bool = False
    equalise_v: float | None = quantity("Equalising volts per cell", "V", 0.5, 6, default=None, optional=True)
    waters: bool = False
    gas_float_ma_per_ah: float | None = quantity(
        "Gassing current at float", "mA/Ah", 0, 200, default=None, optional=True
    )
    gas_boost_ma_per_ah: float | None = quantity(
        "Gassing current at charge", "mA/Ah", 0, 200, default=None, optional=True
    )
    series_step: int = quantity("Cells in one block", "cells", 1, 24, default=1, whole=True)
    life: str = ""
    sources: dict[str, Source] = field(default_factory=dict)

    def __post_init__(self) -> None:
        check(self)
        _check_curve(self)
        _check_volts(self)
        for name in ("capacity_temperature", "resistance_temperature"):
            _check_pairs(name, getattr(self, name))

    def __hash__(self) -> int:
        """Hash the name and the curve: enough to key a cache, and cheap."""
        return hash((self.id, self.ocv_v, self.r_slow_v_per_c))

    @property
    def base_id(self) -> str:
        """Id of the catalogue's chemistry that a measured one is of: what stands before a slash; else its own."""
        return self.id.partition("/")[0]

    @property
    def cold_known_c(self) -> float:
        """Coldest cell temperature of which its capacity is known; that one is used for all that are colder [degC]."""
        return self.capacity_temperature[0][0]

    def source_of(self, name: str) -> Source | None:
        """Return where field `name` is from, or None if nothing is said."""
        return next((source for key, source in self.sources.items() if name in key.split()), None)


_CURVE_WORDS = {
    "soc": "State of charge",
    "ocv_v": "Rested volts",
    "r_slow_v_per_c": "Resistance over hours",
    "r_fast_v_per_c": "Resistance over minutes",
    "holds": "Held at its charge end",
    "waters": "Water is topped up",
    "coulombic_efficiency": "Ampere-hours given back",
    "capacity_temperature": "Capacity against temperature",
    "resistance_temperature": "Resistance against temperature",
}


def field_label(name: str) -> str:
    """Return what a field of a cell is called.

    Examples
    --------
    >>> field_label("v_nominal"), field_label("ocv_v")
    ('Nominal cell volts', 'Rested volts')
    """
    meaning = quantities(Chemistry).get(name)
    return meaning.label if meaning else _CURVE_WORDS[name]


_HIGHEST = {"ocv_v": 6.0, "r_slow_v_per_c": 50.0, "r_fast_v_per_c": 50.0, "coulombic_efficiency": 1.0}
_LEAST_GAP = 1e-4


def _check_curve(cell: Chemistry) -> None:
    """Refuse a curve that is ragged, falls or does not span 0..1."""
    rows = len(cell.soc)
    lists: dict[str, Sequence[float]] = {
        "ocv_v": cell.ocv_v,
        "r_slow_v_per_c": cell.r_slow_v_per_c,
        "r_fast_v_per_c": cell.r_fast_v_per_c,
    }
    if isinstance(cell.coulombic_efficiency, tuple):
        lists["coulombic_efficiency"] = cell.coulombic_efficiency
    gaps = [after - before for before, after in pairwise(cell.soc)]
    if rows < 2 or cell.soc[0] != 0 or cell.soc[-1] != 1 or not all(gap >= _LEAST_GAP for gap in gaps):
        raise InputError(
            "soc", "The charges of a cell curve must rise from 0 to 1 in two or more rows, 0.0001 or more apart."
        )
    for name, values in lists.items():
        if len(values) != rows:
            raise InputError(name, f"A cell curve needs one {name} for each of its {rows} rows; got {len(values)}.")
        if not all(0 <= v <= _HIGHEST[name] for v in values):
            raise InputError(name, f"Every {name} of a cell curve must be a number from 0 to {_HIGHEST[name]:g}.")
    if not _rising(cell.ocv_v):
        raise InputError("ocv_v", "The rested volts of a cell curve must not fall as the charge rises.")
    efficiency = cell.coulombic_efficiency
    if not all(0.05 <= e <= 1 for e in (efficiency if isinstance(efficiency, tuple) else (efficiency,))):
        raise InputError("coulombic_efficiency", "The charge efficiency must be from 5 to 100 %.")


def _check_volts(cell: Chemistry) -> None:
    """Refuse cell volts in an impossible order."""
    if not cell.v_low < cell.v_nominal < cell.v_full <= cell.v_max:
        raise InputError(
            "v_low",
            "The cell volts must rise from empty over nominal to full, with full not above the highest; "
            f"got {cell.v_low:g}, {cell.v_nominal:g}, {cell.v_full:g} and {cell.v_max:g} V.",
        )
    if cell.v_float is not None and not cell.v_low < cell.v_float <= cell.v_max:
        raise InputError(
            "v_float",
            f"The float volts must lie above {cell.v_low:g} and at most at {cell.v_max:g} V per cell; "
            f"got {cell.v_float:g} V.",
        )
    if cell.equalise_v is not None and not cell.v_charge <= cell.equalise_v:
        raise InputError(
            "equalise_v",
            f"The equalising volts must be at least the daily charge volts, {cell.v_charge:g} V per cell; "
            f"got {cell.equalise_v:g} V.",
        )
    if not cell.v_low < cell.v_charge <= cell.v_max:
        raise InputError(
            "v_charge",
            f"The daily charge volts must lie above {cell.v_low:g} and at most at {cell.v_max:g} V per cell; "
            f"got {cell.v_charge:g} V.",
        )


def _check_pairs(name: str, pairs: tuple[tuple[float, float], ...]) -> None:
    """Refuse a temperature table that is empty, out of order or not above 0."""
    sane = all(-100 <= t <= 150 and 0 < f <= 1000 for t, f in pairs)
    if not pairs or not sane or not _rising([t for t, _ in pairs], strictly=True):
        raise InputError(
            name, f"The table {name} needs rising temperatures, each with a factor above 0 and up to 1000."
        )


def _rising(values: Sequence[float], strictly: bool = False) -> bool:
    """Whether `values` never fall (or always rise)."""
    return all(b > a if strictly else b >= a for a, b in pairwise(values))


@dataclass(frozen=True, slots=True, kw_only=True)
class CellTable:
    """A cell at one temperature on s = 0, 1/STEPS, ..., 1: plain lists for a scalar loop.

    `energy_v` is the integral of the OCV over s from empty [V]: watt-hours stored are ampere-hours
    times it. `r_slow`, `r_drawn` and `r_fast` are in volts per C-rate.
    """

    ocv_v: list[float]
    energy_v: list[float]
    r_slow: list[float]
    r_drawn: list[float]
    r_fast: list[float]
    coulombic: list[float]


@lru_cache(maxsize=256)
def table(cell: Chemistry, temperature_c: float = 25.0) -> CellTable:
    """Tabulate `cell` at one cell temperature.

    Parameters
    ----------
    cell : Chemistry
    temperature_c : float
        Cell temperature [degC]; acts on the resistances.

    Returns
    -------
    CellTable
        Cached: the same object for the same arguments. Do not write to its lists.
    """
    s = np.arange(STEPS + 1) / STEPS
    soc = np.array(cell.soc)
    ocv = pchip(soc, np.array(cell.ocv_v), s)
    energy = np.concatenate(([0.0], np.cumsum((ocv[1:] + ocv[:-1]) / (2 * STEPS))))
    factor = interpolated(cell.resistance_temperature, temperature_c)
    slow = factor * np.interp(s, soc, cell.r_slow_v_per_c)
    return CellTable(
        ocv_v=ocv.tolist(),
        energy_v=energy.tolist(),
        r_slow=slow.tolist(),
        r_drawn=_drawn(cell, slow).tolist(),
        r_fast=(factor * np.interp(s, soc, cell.r_fast_v_per_c)).tolist(),
        coulombic=np.interp(s, soc, np.broadcast_to(cell.coulombic_efficiency, soc.shape)).tolist(),
    )


def _drawn(cell: Chemistry, slow: Array) -> Array:
    """Resistance over hours that a discharge meets: that of a charge, but where a cell accepts charge slowly.

    Notes
    -----
    What rises towards full in lead-acid is the resistance to being charged. It counts here as the least met from
    empty up, so that a fuller cell never sags more.

    References
    ----------
    J. B. Copetti, E. Lorenzo, F. Chenlo, A General Battery Model for PV System Simulation, Prog. Photovoltaics 1
    (1993) 283, from memory, for the form alone: the resistance of its discharge falls with the charge all the way up,
    and only that of its charge rises towards full.
    """
    return slow if cell.acceptance_tau_h is None else np.minimum.accumulate(slow)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CellArrays:
    """The lists of a `CellTable` as (STEPS + 1,) arrays not to be written to, and their charges `soc` [-]."""

    soc: Array
    ocv_v: Array
    r_slow: Array
    r_drawn: Array
    r_fast: Array
    coulombic: Array


@lru_cache(maxsize=64)
def arrays(cell: Chemistry, temperature_c: float = 25.0) -> CellArrays:
    """Return `table` as arrays, kept because making them of lists takes longer than most of what is done with them."""
    lines = table(cell, temperature_c)
    made = [
        np.linspace(0.0, 1.0, STEPS + 1),
        *(np.array(v) for v in (lines.ocv_v, lines.r_slow, lines.r_drawn, lines.r_fast, lines.coulombic)),
    ]
    for one in made:
        one.flags.writeable = False
    soc, ocv_v, r_slow, r_drawn, r_fast, coulombic = made
    return CellArrays(soc=soc, ocv_v=ocv_v, r_slow=r_slow, r_drawn=r_drawn, r_fast=r_fast, coulombic=coulombic)


def interpolated(pairs: tuple[tuple[float, float], ...], temperature_c: float) -> float:
    """Return the factor of a (degC, factor) table at `temperature_c`, held at its ends."""
    degrees, factors = zip(*pairs, strict=True)
    return float(np.interp(temperature_c, degrees, factors))


def at(values: list[float], s: float) -> float:
    """Read one list of a `CellTable` at charge `s`, linear between its points, held at its ends."""
    place = s * STEPS
    if place <= 0.0:
        return values[0]
    k = int(place)
    if k >= STEPS:
        return values[STEPS]
    below = values[k]
    return below + (place - k) * (values[k + 1] - below)


def volts_at(cells: CellTable, s: float, drawn: bool = False) -> tuple[float, float, float]:
    """Return rested volts [V] and both resistances, slow and fast [V per C-rate], at charge `s`: `at` of each at once.

    Parameters
    ----------
    drawn : bool
        Whether the slow one is that of a discharge.

    Examples
    --------
    >>> volts, flat = [2.0, *[3.0] * STEPS], [0.4] * (STEPS + 1)
    >>> fast = [0.2] * (STEPS + 1)
    >>> line = CellTable(ocv_v=volts, energy_v=[], r_slow=flat, r_drawn=flat, r_fast=fast, coulombic=[])
    >>> volts_at(line, 0.00025), volts_at(line, 7.0)
    ((2.25, 0.4, 0.2), (3.0, 0.4, 0.2))
    """
    place = s * STEPS
    ocv_v, r_slow, r_fast = cells.ocv_v, cells.r_drawn if drawn else cells.r_slow, cells.r_fast
    if place <= 0.0:
        return ocv_v[0], r_slow[0], r_fast[0]
    k = int(place)
    if k >= STEPS:
        return ocv_v[STEPS], r_slow[STEPS], r_fast[STEPS]
    part = place - k
    volts, slow, fast = ocv_v[k], r_slow[k], r_fast[k]
    return (
        volts + part * (ocv_v[k + 1] - volts),
        slow + part * (r_slow[k + 1] - slow),
        fast + part * (r_fast[k + 1] - fast),
    )


def energy_at(cells: CellTable, s: float) -> float:
    """Integral of the OCV from empty to charge `s` [V], exact for the table's lines between its points."""
    place = min(max(s, 0.0), 1.0) * STEPS
    k = min(int(place), STEPS - 1)
    part = place - k
    mean_v = cells.ocv_v[k] + 0.5 * part * (cells.ocv_v[k + 1] - cells.ocv_v[k])
    return cells.energy_v[k] + part * mean_v / STEPS


def ocv_at(cell: Chemistry, s: float) -> float:
    """Return the rested voltage [V per cell] at charge `s`."""
    return at(table(cell).ocv_v, s)


def r_slow_at(cell: Chemistry, s: float, temperature_c: float = 25.0) -> float:
    """Return the resistance that hours see [V per C-rate] at charge `s`."""
    return at(table(cell, temperature_c).r_slow, s)


def r_fast_at(cell: Chemistry, s: float, temperature_c: float = 25.0) -> float:
    """Return the resistance that minutes see [V per C-rate] at charge `s`."""
    return at(table(cell, temperature_c).r_fast, s)


def soc_at_ocv(cell: Chemistry, volts: float) -> float:
    """Return the charge at which the rested voltage is `volts` [V per cell], 0 or 1 outside.

    Where the curve is flat the lowest such charge is returned.
    """
    return first_crossing(np.array(table(cell).ocv_v), volts)


def first_crossing(rising_v: Array, volts: float) -> float:
    """Return the lowest s at which a non-falling (STEPS + 1,) curve reaches `volts`; 0 or 1 outside."""
    k = int(np.searchsorted(rising_v, volts, side="left"))
    if k == 0:
        return 0.0
    if k > STEPS:
        return 1.0
    below, above = float(rising_v[k - 1]), float(rising_v[k])
    return (k - 1 + (volts - below) / (above - below)) / STEPS


def capacity_share(cell: Chemistry, temperature_c: float, c_rate: float = 0.0) -> float:
    """Return the share of the tested ampere-hours that can be drawn; the rest stays at the bottom of s.

    Parameters
    ----------
    cell : Chemistry
    temperature_c : float
        Cell temperature [degC].
    c_rate : float
        Mean discharge current as a multiple of the tested ampere-hours [1/h], >= 0.

    Returns
    -------
    float
        Above 0, at most 1 [-]: warmth is never counted as more than was tested.

    Notes
    -----
    Temperature table, times Peukert in its rated-hour form (the capacity at current I is
    C (C / (I H))^(k - 1)), times what the chemistry loses per C. The last counts from a slow test: a
    cell tested at 0.5C is rated low by half of it, on the safe side.
    """
    cold = interpolated(cell.capacity_temperature, temperature_c)
    peukert: float = max(c_rate * cell.rated_h, 1.0) ** (1.0 - cell.peukert_k)
    share = cold * peukert * (1.0 - cell.rate_loss_per_c * c_rate)
    return min(max(share, LEAST_SHARE), 1.0)
