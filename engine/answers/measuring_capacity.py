"""A bank's capacity by one counted discharge: the Ah of one cell as the curve means them, and how good they are.

A discharge that ran to its end is brought to 25 degC and the stated rate by the same numbers that every other answer
takes. Errors follow from a small change of each input (JCGM 100:2008, 5.1.3, note 2).
Not modelled: Ah that leak while it is counted, cells that differ within a string (the weakest one ends it, and it is
its Ah that are found), a board that draws past the shunt.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from engine.answers.answer import Assumption, Notice, Worked
from engine.answers.measuring import Lasts, Measured, Part, measured, of_limits, of_step
from engine.answers.measuring_capacity_words import believed, capacity_assumptions, capacity_notices, capacity_worked
from engine.answers.measuring_changes import lasts, with_tested
from engine.answers.measuring_discharge import Counted, Found, Given, refuse, worked_out
from engine.errors import InputError
from engine.fields import quantities
from engine.house.bank import Bank
from engine.house.charge_scales import UNSURE_CELL_V
from engine.house.household import Household
from engine.house.inverter import Inverter

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
        """Ah of one cell to be written into the bank; None where a stop stands or it cannot be what cells hold."""
        meaning = quantities(Bank)["tested_ah"]
        value = float(f"{self.result.value:.4g}")
        stopped = any(notice.level == "stop" for notice in self.notices)
        fits = believed(self.of_label) and meaning.low <= value <= meaning.high
        return value if fits and not stopped else None


def capacity(household: Household, bank: Bank, inverter: Inverter | None, counted: Counted, at: datetime) -> Capacity:
    """Work out a bank's capacity from one counted discharge, as at 25 degC whatever it was tested at before.

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
    refuse(bank, inverter, counted)
    bank = dataclasses.replace(bank, tested_c=None)
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


class _Input(NamedTuple):
    """An input that is not known well: what it is, how well, and what is given instead where it is off by so much."""

    label: str
    how: str
    changed: Callable[[float], Given]
    u: float


def _parts(bank: Bank, inverter: Inverter | None, counted: Counted, given: Given) -> tuple[Part, ...]:
    """The sources of error, each as Ah of one cell: half of what the result moves between both ends of an input."""
    found = []
    for one in (*_counter(counted, given), *_cells(counted, given), _stop(counted, given), *_losses(counted, given)):
        low, high = (worked_out(bank, inverter, counted, one.changed(x)).ah / bank.parallel for x in (-one.u, one.u))
        found.append(Part(label=one.label, how=one.how, u=abs(high - low) / 2.0))
    return tuple(found)


def _counter(counted: Counted, given: Given) -> tuple[_Input, ...]:
    accuracy = USUAL_ACCURACY_SHARE[counted.unit] if counted.accuracy_share is None else counted.accuracy_share
    step = USUAL_STEP[counted.unit] if counted.step is None else counted.step
    return (
        _Input(
            "The counter",
            f"{accuracy * 100:g} % either way",
            lambda x: dataclasses.replace(given, amount=given.amount * (1.0 + x)),
            of_limits(accuracy),
        ),
        _Input(
            "Its last digit",
            f"steps of {step:g}, read at both ends",
            lambda x: dataclasses.replace(given, amount=max(given.amount + x, 1e-9)),
            2.0**0.5 * of_step(step),
        ),
    )


def _cells(counted: Counted, given: Given) -> tuple[_Input, ...]:
    start = START_SOC[counted.start]
    return (
        _Input(
            "How full it was at the start",
            "a point either way" if start == 0.01 else f"{start * 100:g} points either way",
            lambda x: dataclasses.replace(given, start_soc=x),
            of_limits(start),
        ),
        _Input(
            "Temperature of the cells",
            f"{TEMPERATURE_C:g} °C either way",
            lambda x: dataclasses.replace(given, cell_c=given.cell_c + x),
            of_limits(TEMPERATURE_C),
        ),
        _Input(
            "Resistance of these cells",
            f"{RESISTANCE_SHARE * 100:g} % either way",
            lambda x: dataclasses.replace(given, resistance=1.0 + x),
            of_limits(RESISTANCE_SHARE),
        ),
        _Input(
            "What cold and rate keep back",
            f"{CORRECTION_SHARE * 100:g} % of it either way",
            lambda x: dataclasses.replace(given, kept=1.0 + x),
            of_limits(CORRECTION_SHARE),
        ),
    )


def _stop(counted: Counted, given: Given) -> _Input:
    if counted.stop == "percent":
        return _Input(
            "The monitor’s % at the end",
            f"{MONITOR_SOC * 100:g} points either way",
            lambda x: dataclasses.replace(given, stop_soc=x),
            of_limits(MONITOR_SOC),
        )
    return _Input(
        "Volts at the end",
        f"{UNSURE_CELL_V * 1000:g} mV a cell either way",
        lambda x: dataclasses.replace(given, stop_v=x),
        of_limits(UNSURE_CELL_V),
    )


def _losses(counted: Counted, given: Given) -> tuple[_Input, ...]:
    """What the inverter takes, where it was counted at the sockets."""
    if counted.unit != "sockets":
        return ()
    return (
        _Input(
            "The inverter’s idle draw",
            f"{IDLE_SHARE * 100:g} % either way",
            lambda x: dataclasses.replace(given, idle=1.0 + x),
            of_limits(IDLE_SHARE),
        ),
        _Input(
            "Its other losses",
            f"{LOSSES_SHARE * 100:g} % either way",
            lambda x: dataclasses.replace(given, losses=1.0 + x),
            of_limits(LOSSES_SHARE),
        ),
    )
