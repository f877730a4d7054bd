"""A counted discharge: what was said of it, and the Ah of the whole bank that fit it.

What was counted is divided by the span of charge it was drawn over. Cold and a fast draw keep a part at the bottom, as
`engine.cells.chemistry.capacity_share` says. Volts are of the whole pack, current A, energy kWh, charges shares.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

from engine.answers.measuring import plain
from engine.cells.chemistry import arrays, capacity_share, energy_at, first_crossing, table
from engine.cells.chemistry import at as read_at
from engine.cells.curve import soc_at_cutoff
from engine.errors import InputError
from engine.fields import check, quantity
from engine.house.bank import Bank, cutoff_cell_v
from engine.house.inverter import Inverter
from engine.quantities import WH_PER_KWH

COUNTED = ("ah", "kwh", "sockets")
"""What was counted: Ah or kWh by a shunt at the bank, or kWh at the sockets."""
STARTS = ("held", "as_set")
"""From where: held until the current fell, or as this bank's charger ends it."""
STOPS = ("cutoff", "volts", "rested", "percent")
"""Where it was stopped: the cut-off, volts under load, volts after a rest, or % left on the monitor."""
_ROUNDS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """One discharge as it was counted.

    `step` and `accuracy_share` are what is usual where None; `end_v` goes with a stop by volts or rested volts,
    `left_soc` with one by the monitor's %.
    """

    unit: str = "ah"
    amount: float = quantity("Counted", "", 0.01, 1_000_000)
    hours: float = quantity("Hours it took", "h", 0.2, 1000)
    cell_c: float = quantity("Cells at", "°C", -40, 60, hint="In the middle of the discharge, between the cells")
    start: str = "held"
    stop: str = "cutoff"
    end_v: float | None = quantity("Pack volts at the end", "V", 0.5, 1500, default=None, optional=True)
    left_soc: float | None = quantity("Left on the monitor", "%", 0.0, 0.95, default=None, optional=True, percent=True)
    step: float | None = quantity("Steps of the counter", "", 0.0, 1000, default=None, optional=True)
    accuracy_share: float | None = quantity(
        "Counter off by up to", "%", 0.0, 0.2, default=None, optional=True, percent=True
    )

    def __post_init__(self) -> None:
        check(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What a result is worked out from, each to be changed a little by itself.

    `stop_v` is added to the volts of the stop [V per cell], `stop_soc` and `start_soc` to the charges [-];
    `resistance`, `kept`, `idle` and `losses` multiply the resistance, what cold and rate keep, and the inverter's own.
    """

    amount: float
    cell_c: float
    start_soc: float = 0.0
    stop_soc: float = 0.0
    stop_v: float = 0.0
    resistance: float = 1.0
    kept: float = 1.0
    idle: float = 1.0
    losses: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One working out: Ah of the whole bank, both ends [-], Ah drawn, mean volts [V], rate [1/h], energy drawn."""

    ah: float
    start_soc: float
    end_soc: float
    reach_soc: float
    drawn_ah: float
    mean_v: float
    c_rate: float
    dc_kwh: float | None


def start_soc(bank: Bank, start: str) -> float:
    """Return the charge a discharge begins at [-]: held to the tail current at the daily volts, or as it is set."""
    if start == "as_set":
        return bank.top_reached_soc
    return dataclasses.replace(bank, hold=True, top_soc=1.0).top_reached_soc


def stop_cell_v(bank: Bank, inverter: Inverter | None, counted: Counted) -> float | None:
    """Return the volts per cell at which it was stopped under load [V]; None where no volts under load stopped it."""
    if counted.stop == "cutoff":
        assert inverter is not None
        return cutoff_cell_v(bank, inverter)
    return counted.end_v / bank.series if counted.stop == "volts" and counted.end_v is not None else None


def lowest_cell_v(bank: Bank) -> float:
    """Return the lowest volts per cell a bank may be taken to, by its chemistry and its board [V]."""
    return max(bank.cell.v_low, bank.board.cell_low_v if bank.board else 0.0)


def cutoff_guards(bank: Bank, inverter: Inverter) -> bool:
    """Whether the cut-off ends a discharge before the cells are taken too low."""
    return cutoff_cell_v(bank, inverter) >= lowest_cell_v(bank) - 1e-9


def ended_cell_v(bank: Bank, inverter: Inverter | None, counted: Counted) -> float | None:
    """Return the volts per cell it was taken to, under load or rested [V]; None where only a % tells."""
    if counted.stop == "rested" and counted.end_v is not None:
        return counted.end_v / bank.series
    return stop_cell_v(bank, inverter, counted)


def worked_out(bank: Bank, inverter: Inverter | None, counted: Counted, given: Given) -> Found:
    """Return the Ah of the whole bank that fit what was counted: current and ends depend on them, so it goes round."""
    cell, cells = bank.cell, table(bank.cell, given.cell_c)
    dc_kwh = _dc_kwh(inverter, counted, given)
    high = start_soc(bank, counted.start) + given.start_soc
    under_v = stop_cell_v(bank, inverter, counted)
    ah, rate, low, reach, drawn_ah, mean_v = bank.ah, 0.0, 0.0, 0.0, 0.0, bank.series * cell.v_nominal
    for _ in range(_ROUNDS):
        drawn_ah = given.amount if dc_kwh is None else dc_kwh * WH_PER_KWH / mean_v
        rate = drawn_ah / counted.hours / ah
        reach = given.kept * (1.0 - capacity_share(cell, given.cell_c, rate))
        low = _end_soc(bank, counted, given, under_v, rate, reach)
        span = max(high - low, 0.01)
        middle_r = read_at(cells.r_drawn, (high + low) / 2.0)
        ocv_v = (energy_at(cells, high) - energy_at(cells, low)) / span if high - low >= 0.01 else cell.v_nominal
        mean_v = bank.series * max(ocv_v - given.resistance * rate * middle_r, cell.v_low / 2.0)
        after = drawn_ah / span
        if abs(after - ah) < 1e-9 * ah:
            break
        ah = 0.5 * (ah + after)
    return Found(
        ah=ah,
        start_soc=high,
        end_soc=low,
        reach_soc=reach,
        drawn_ah=drawn_ah,
        mean_v=mean_v,
        c_rate=rate,
        dc_kwh=dc_kwh,
    )


def _dc_kwh(inverter: Inverter | None, counted: Counted, given: Given) -> float | None:
    """Energy drawn from the bank [kWh]; None where Ah were counted."""
    if counted.unit == "ah":
        return None
    if counted.unit == "kwh":
        return given.amount
    assert inverter is not None
    mean_w = given.amount * WH_PER_KWH / counted.hours
    idle_w = inverter.idle_w
    lost_w = inverter.dc_w(mean_w) - idle_w - mean_w
    return (mean_w + given.idle * idle_w + given.losses * lost_w) * counted.hours / WH_PER_KWH


def _end_soc(bank: Bank, counted: Counted, given: Given, under_v: float | None, rate: float, reach: float) -> float:
    """Where the discharge ended [-]."""
    if under_v is not None:
        by_volts = soc_at_cutoff(bank.cell, under_v + given.stop_v, given.resistance * rate, given.cell_c)
        return max(by_volts, reach)
    if counted.stop == "rested":
        assert counted.end_v is not None
        cell_v = counted.end_v / bank.series + given.stop_v
        return first_crossing(arrays(bank.cell, given.cell_c).ocv_v, cell_v)
    assert counted.left_soc is not None
    return counted.left_soc + given.stop_soc


def refuse_volts(bank: Bank, field: str, label: str, volts_v: float) -> None:
    """Refuse volts that this pack cannot have: a fifth below its lowest is left to one taken too low (judgement)."""
    cell = bank.cell
    low_v, high_v = bank.series * 0.8 * cell.v_low, bank.series * cell.v_max
    if not low_v <= volts_v <= high_v:
        raise InputError(
            field,
            f"{label} must be from {low_v:.4g} to {high_v:.4g} V for {bank.series} cells of {cell.name}; got "
            f"{volts_v:g} V. The pack’s volts are asked, not one cell’s.",
        )


def refuse(bank: Bank, inverter: Inverter | None, counted: Counted) -> None:
    """Refuse a discharge that lacks what its way of counting or its stop needs, or has what cannot be.

    Raises
    ------
    InputError
        On the field that is missing or outside its limits.
    """
    cell = bank.cell
    if inverter is None and counted.unit == "sockets":
        raise InputError(
            "unit", f"{bank.name} is joined to no inverter here, so kWh at sockets cannot be brought to the bank."
        )
    if inverter is None and counted.stop == "cutoff":
        raise InputError("stop", f"{bank.name} is joined to no inverter here: say at which volts you stopped.")
    if counted.stop in ("volts", "rested") and counted.end_v is None:
        raise InputError("end_v", "Pack volts at the end are missing: they say where you stopped.")
    if counted.stop == "percent" and counted.left_soc is None:
        raise InputError("left_soc", "Left on the monitor is missing: it says where you stopped.")
    if counted.end_v is not None and counted.stop in ("volts", "rested"):
        refuse_volts(bank, "end_v", "Pack volts at the end", counted.end_v)
    if not cell.discharge_min_c <= counted.cell_c <= cell.discharge_max_c:
        raise InputError(
            "cell_c",
            f"{cell.name} may be discharged from {cell.discharge_min_c:g} to {cell.discharge_max_c:g} °C; "
            f"got {counted.cell_c:g} °C.",
        )
    if counted.unit == "sockets" and inverter is not None:
        mean_w = counted.amount * WH_PER_KWH / counted.hours
        if mean_w > 1.5 * inverter.rated_w:
            raise InputError(
                "amount",
                f"{plain(counted.amount, 6)} kWh in {counted.hours:g} hours are {mean_w:,.0f} W, more than "
                f"{inverter.name} can give ({inverter.rated_w:,.0f} W): look over both.",
            )
