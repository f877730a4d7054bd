"""A bank's capacity by one discharge that was counted: the Ah of one cell as the curve means them, and how good they are.

What was counted is divided by the span of charge it was drawn over: from where the charge ended down to where the
discharge was stopped, both shares of tested Ah as `engine.cells` means them (25 degC, the curve's own rate). Cold and a
fast draw keep a part at the bottom (`capacity_share`), so a discharge that ran to its end is brought to 25 degC and the
stated rate by the same numbers that every other answer takes. Errors follow from a small change of each input.
Volts are of the whole pack, current A, energy kWh. Not modelled: Ah that leak while it is counted, cells that differ
within a string (the weakest one ends it, and it is its Ah that are found), a board that draws past the shunt.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from engine.answers.answer import Assumption, Notice, Worked
from engine.answers.measuring import Lasts, Measured, Part, measured, of_limits, of_step
from engine.answers.measuring_capacity_words import capacity_assumptions, capacity_notices, capacity_worked
from engine.answers.measuring_changes import lasts, with_tested
from engine.cells.chemistry import arrays, capacity_share, energy_at, first_crossing, table
from engine.cells.chemistry import at as read_at
from engine.cells.curve import soc_at_cutoff
from engine.errors import InputError
from engine.fields import check, quantities, quantity
from engine.house.bank import Bank, cutoff_cell_v
from engine.house.charge_scales import UNSURE_CELL_V
from engine.house.household import Household
from engine.house.inverter import Inverter
from engine.quantities import WH_PER_KWH

COUNTED = ("ah", "kwh", "sockets")
"""What was counted: Ah or kWh by a shunt at the bank, or kWh at the sockets."""
STARTS = ("held", "as_set")
"""From where: held until the current fell, or as this bank's charger ends it."""
STOPS = ("cutoff", "volts", "rested", "percent")
"""Where it was stopped: the cut-off, volts under load, volts after a rest, or % left on the monitor."""
USUAL_ACCURACY_SHARE = {"ah": 0.01, "kwh": 0.01, "sockets": 0.02}
"""How far off the counter is: a shunt, an energy meter in a socket (typical, from memory)."""
USUAL_STEP = {"ah": 0.1, "kwh": 0.1, "sockets": 0.1}
START_SOC = {"held": 0.01, "as_set": 0.03}
"""How far from what the curve says the start may be [-] (judgement)."""
MONITOR_SOC = 0.03
"""How far off a monitor's % is at the stop (judgement: it was set at full, and counts with its own error)."""
RESISTANCE_SHARE = 0.3
"""How far off the resistance of the chemistry is for these cells (judgement)."""
TEMPERATURE_C = 3.0
"""How far the cells may be from the temperature typed [degC] (judgement: a probe sits on one cell)."""
CORRECTION_SHARE = 0.3
"""How far off what cold and rate keep at the bottom is, of it (judgement: the tables are typical, from memory)."""
IDLE_SHARE, LOSSES_SHARE = 0.3, 0.2
"""How far off the idle draw and the other losses of the inverter are, of each (judgement)."""
LEAST_SPAN_SOC = 0.2
"""A discharge over less of the charge than this tells too little (judgement)."""
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

    `stop_v` is added to the volts of the stop [V per cell], `stop_soc` and `start_soc` to the charges [-]; `resistance`,
    `kept`, `idle` and `losses` multiply the resistance, what cold and rate keep, and the inverter's own.
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
    """One working out: Ah of the whole bank [Ah], both ends [-], Ah drawn [Ah], mean volts [V], rate [1/h] and losses."""

    ah: float
    start_soc: float
    end_soc: float
    reach_soc: float
    drawn_ah: float
    mean_v: float
    c_rate: float
    dc_kwh: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Capacity:
    """The answer: the tested Ah of one cell with their interval, and what they rest on.

    Attributes
    ----------
    result : Measured
        Ah of one cell, as Banks takes them.
    found : Found
        The working out, of the whole bank.
    lasts : Lasts or None
        What it does to how long a full bank lasts; None where the bank is joined to no inverter.
    """

    bank_id: str
    name: str
    label_ah: float
    parallel: int
    counted: Counted
    result: Measured
    found: Found
    lasts: Lasts | None
    notices: tuple[Notice, ...]
    worked: tuple[Worked, ...]
    assumptions: tuple[Assumption, ...]

    @property
    def of_label(self) -> float:
        """The result over the label [-]."""
        return self.result.value / self.label_ah

    @property
    def to_use_ah(self) -> float | None:
        """Ah of one cell to be written into the bank; None where it is beyond what the field takes or a stop stands."""
        meaning = quantities(Bank)["tested_ah"]
        value = float(f"{self.result.value:.4g}")
        stopped = any(notice.level == "stop" for notice in self.notices)
        return None if stopped or not meaning.low <= value <= meaning.high else value


def capacity(household: Household, bank: Bank, inverter: Inverter | None, counted: Counted, at: datetime) -> Capacity:
    """Work out a bank's capacity from one counted discharge.

    Parameters
    ----------
    inverter : Inverter or None
        The one it was discharged through; None for a bank joined to none, of which only a shunt tells.
    at : datetime
        Now, local standard time: what the bank then lasts is counted from here.

    Raises
    ------
    InputError
        If something that this way of counting needs is missing, or the discharge tells nothing.
    """
    _refuse(bank, inverter, counted)
    given = Given(amount=counted.amount, cell_c=counted.cell_c)
    found = worked_out(bank, inverter, counted, given)
    span = found.start_soc - found.end_soc
    if span < LEAST_SPAN_SOC:
        raise InputError(
            "amount",
            f"By the curve of {bank.cell.name} this discharge covers {max(span, 0.0) * 100:.0f} % of the charge; under "
            f"{LEAST_SPAN_SOC * 100:g} % it tells too little. Draw more before you stop.",
        )
    parts = _parts(bank, inverter, counted, given)
    now_ah = bank.ah / bank.parallel
    result = measured(found.ah / bank.parallel, parts, now_ah, "Ah")
    joined = any(bank.id == one.id for supply in household.supplies() for one in supply.banks)
    field = quantities(Bank)["tested_ah"]
    return Capacity(
        bank_id=bank.id,
        name=bank.name,
        label_ah=bank.label_ah,
        parallel=bank.parallel,
        counted=counted,
        result=result,
        found=found,
        lasts=lasts(
            household,
            bank.id,
            at,
            result,
            lambda ah: with_tested(household, bank.id, min(max(ah, field.low), field.high)),
        )
        if joined
        else None,
        notices=capacity_notices(bank, inverter, counted, found, result),
        worked=capacity_worked(bank, inverter, counted, found),
        assumptions=capacity_assumptions(bank, counted, inverter),
    )


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


def worked_out(bank: Bank, inverter: Inverter | None, counted: Counted, given: Given) -> Found:
    """Return the Ah of the whole bank that fit what was counted: current and ends depend on them, so it goes round."""
    cell, cells = bank.cell, table(bank.cell, given.cell_c)
    dc_kwh = _dc_kwh(inverter, counted, given)
    high = min(max(start_soc(bank, counted.start) + given.start_soc, 0.0), 1.0)
    under_v = stop_cell_v(bank, inverter, counted)
    ah, rate, low, reach, drawn_ah, mean_v = bank.ah, 0.0, 0.0, 0.0, 0.0, bank.series * cell.v_nominal
    for _ in range(_ROUNDS):
        drawn_ah = given.amount if dc_kwh is None else dc_kwh * WH_PER_KWH / mean_v
        rate = drawn_ah / counted.hours / ah
        reach = given.kept * (1.0 - capacity_share(cell, given.cell_c, rate))
        low = _end_soc(bank, counted, given, under_v, rate, reach)
        span = max(high - low, 0.01)
        middle_r = read_at(cells.r_slow, (high + low) / 2.0)
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
    return min(max(counted.left_soc + given.stop_soc, 0.0), 1.0)


def _parts(bank: Bank, inverter: Inverter | None, counted: Counted, given: Given) -> tuple[Part, ...]:
    """The sources of error, each as Ah of one cell: half of what the result moves between both ends of an input."""
    accuracy = USUAL_ACCURACY_SHARE[counted.unit] if counted.accuracy_share is None else counted.accuracy_share
    step = USUAL_STEP[counted.unit] if counted.step is None else counted.step
    start, volts = START_SOC[counted.start], f"{UNSURE_CELL_V * 1000:g} mV a cell either way"
    limits: list[tuple[str, str, Callable[[float], Given], float]] = [
        (
            "The counter",
            f"{accuracy * 100:g} % either way",
            lambda x: dataclasses.replace(given, amount=given.amount * (1.0 + x)),
            of_limits(accuracy),
        ),
        (
            "Its last digit",
            f"steps of {step:g}, read at both ends",
            lambda x: dataclasses.replace(given, amount=max(given.amount + x, 1e-9)),
            2.0**0.5 * of_step(step),
        ),
        (
            "How full it was at the start",
            f"{start * 100:g} points either way",
            lambda x: dataclasses.replace(given, start_soc=x),
            of_limits(start),
        ),
        (
            "Temperature of the cells",
            f"{TEMPERATURE_C:g} °C either way",
            lambda x: dataclasses.replace(given, cell_c=given.cell_c + x),
            of_limits(TEMPERATURE_C),
        ),
        (
            "Resistance of these cells",
            f"{RESISTANCE_SHARE * 100:g} % either way",
            lambda x: dataclasses.replace(given, resistance=1.0 + x),
            of_limits(RESISTANCE_SHARE),
        ),
        (
            "What cold and rate keep back",
            f"{CORRECTION_SHARE * 100:g} % of it either way",
            lambda x: dataclasses.replace(given, kept=1.0 + x),
            of_limits(CORRECTION_SHARE),
        ),
    ]
    if counted.stop == "percent":
        limits.append(
            (
                "The monitor’s % at the end",
                f"{MONITOR_SOC * 100:g} points either way",
                lambda x: dataclasses.replace(given, stop_soc=x),
                of_limits(MONITOR_SOC),
            )
        )
    else:
        limits.append(
            ("Volts at the end", volts, lambda x: dataclasses.replace(given, stop_v=x), of_limits(UNSURE_CELL_V))
        )
    if counted.unit == "sockets":
        limits += [
            (
                "The inverter’s idle draw",
                f"{IDLE_SHARE * 100:g} % either way",
                lambda x: dataclasses.replace(given, idle=1.0 + x),
                of_limits(IDLE_SHARE),
            ),
            (
                "Its other losses",
                f"{LOSSES_SHARE * 100:g} % either way",
                lambda x: dataclasses.replace(given, losses=1.0 + x),
                of_limits(LOSSES_SHARE),
            ),
        ]
    found = []
    for label, how, changed, u in limits:
        ends = [worked_out(bank, inverter, counted, changed(x)).ah / bank.parallel for x in (-u, u)]
        found.append(Part(label=label, how=how, u=abs(ends[1] - ends[0]) / 2.0))
    return tuple(found)


def _refuse(bank: Bank, inverter: Inverter | None, counted: Counted) -> None:
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
        low_v, high_v = bank.series * 0.8 * cell.v_low, bank.series * cell.v_max
        if not low_v <= counted.end_v <= high_v:
            raise InputError(
                "end_v",
                f"Pack volts at the end must be from {low_v:.4g} to {high_v:.4g} V for {bank.series} cells of "
                f"{cell.name}; got {counted.end_v:g} V. The pack’s volts are asked, not one cell’s.",
            )
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
                f"{counted.amount:g} kWh in {counted.hours:g} hours are {mean_w:,.0f} W, more than {inverter.name} can "
                f"give ({inverter.rated_w:,.0f} W): look over both.",
            )
