"""The inverter's idle draw by two readings of a night with everything off, and how good they are.

Watts are drawn from the bus with nothing on: the inverter's own and whatever else stays on the battery side (board,
monitor, a solar charger by night). Moments are local standard time.
Not modelled: a sleep mode that comes and goes, losses of the cells at so small a current, a zero that drifts.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import Assumption, Notice, Worked
from engine.answers.measuring import COVER, Lasts, Measured, combined, lasting_h, measured, plain
from engine.answers.measuring_changes import lasts, with_idle
from engine.answers.measuring_idle_words import SPOKEN_H, believed, idle_assumptions, idle_notices, idle_worked
from engine.answers.measuring_readings import (
    METERS,
    MOST_DAYS,
    USUAL_STEP,
    Readings,
    drawn_w_of,
    mean_v,
    parts_of,
    refuse,
    waited_h,
)
from engine.errors import InputError, Unreachable
from engine.fields import quantities
from engine.house.household import Household, Supply
from engine.house.inverter import Inverter
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sky.moment import sun_up_h

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wait:
    """One meter with its usual display: its error after a night, and how long to wait for `AIM_W`; None: never."""

    meter: str
    step: float
    after_night_w: float
    wait_h: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class IdleDraw:
    """The answer; without readings only how long to wait with which meter.

    Attributes
    ----------
    rated_w : float
        What the inverter can give [W].
    drawn_w, left_w : float
        Mean power drawn from the bus, and what of it was left on [W].
    without_h : float or None
        How long a full bank would last through dull days with no idle draw at all [h]; None past them, or untold.
    night_h : float
        Hours without sun about the moment asked [h].
    wait_h : float or None
        How long between readings for `AIM_W` with this meter [h]; None where it never comes.
    curve_h, curve_w : (n,) arrays
        Hours between readings [h] and the error on either side then [W], of the meter asked about.
    """

    bank_id: str
    name: str
    inverter_id: str
    inverter_name: str
    now_w: float
    rated_w: float
    meter: str
    readings: Readings | None
    sun_up_h: float
    drawn_w: float | None
    left_w: float
    result: Measured | None
    lasts: Lasts | None
    without_h: float | None
    waits: tuple[Wait, ...]
    wait_h: float | None
    night_h: float
    curve_h: Floats
    curve_w: Floats
    notices: tuple[Notice, ...]
    worked: tuple[Worked, ...]
    assumptions: tuple[Assumption, ...]

    @property
    def kwh_per_day(self) -> float | None:
        """What it takes in a day [kWh]; None where the readings tell of none."""
        return (
            None if self.result is None or self.result.value <= 0.0 else self.result.value * HOURS_PER_DAY / WH_PER_KWH
        )

    @property
    def to_use_w(self) -> float | None:
        """The value to be written into the household [W]; None where the readings are not fit for it."""
        if self.result is None or self.readings is None or not believed(self.result, self.rated_w):
            return None
        lit = self.sun_up_h >= SPOKEN_H and not self.readings.dark
        return None if lit else round(self.result.value, 1)


def idle_draw(
    household: Household, supply: Supply, at: datetime, meter: str = "percent", readings: Readings | None = None
) -> IdleDraw:
    """Work out the idle draw from two readings, or how long to wait between them.

    Parameters
    ----------
    supply : Supply
        The inverter and its bank, or the banks on its bus.
    at : datetime
        Now, local standard time: what the bank then lasts is counted from here.

    Raises
    ------
    InputError
        If the readings contradict each other, or this meter cannot tell it.
    """
    if meter == "percent" and supply.beside:
        raise InputError(
            "meter",
            f"{supply.name} share one bus: the % of one monitor does not tell what the other gave. Read the Ah, kWh or "
            "watts of a shunt that the current of all of them passes through.",
        )
    night_h = _night_h(household, at)
    up_h = 0.0
    if readings is not None:
        refuse(supply, readings)
        up_h = sun_up_h(household.site, readings.began, readings.ended)
    inverter = supply.inverter
    drawn_w = None if readings is None else drawn_w_of(supply, readings)
    left_w = 0.0 if readings is None else inverter.dc_w(readings.left_on_w) - inverter.idle_w
    result = None
    if readings is not None and drawn_w is not None:
        result = _result(supply, readings, drawn_w, left_w)
    guess_w = drawn_w if drawn_w is not None and drawn_w > 0.0 else inverter.idle_w
    err = partial(parts_of, supply, readings or _usual(meter, at), guess_w, left_w)
    wait_h = waited_h(err(1.0))
    curve_h = np.linspace(1.0, _chart_end_h(wait_h, None if readings is None else readings.hours), 60)
    return IdleDraw(
        bank_id=supply.bank.id,
        name=supply.name,
        inverter_id=inverter.id,
        inverter_name=inverter.name,
        now_w=inverter.idle_w,
        rated_w=inverter.rated_w,
        meter=meter,
        readings=readings,
        sun_up_h=up_h,
        drawn_w=drawn_w,
        left_w=left_w,
        result=result,
        lasts=None
        if result is None
        else lasts(
            household, supply.bank.id, at, result, lambda watts: with_idle(household, inverter.id, _most(watts))
        ),
        without_h=None if result is None else _without_h(household, supply, at),
        waits=tuple(_wait(supply, one, at, night_h) for one in METERS if not (one == "percent" and supply.beside)),
        wait_h=wait_h,
        night_h=night_h,
        curve_h=curve_h,
        curve_w=np.array([COVER * combined(err(float(hours))) for hours in curve_h]),
        notices=()
        if readings is None
        else idle_notices(inverter, result, up_h, readings.dark, readings.hours, night_h),
        worked=() if readings is None or drawn_w is None else _worked(supply, readings, drawn_w, left_w),
        assumptions=idle_assumptions(meter, readings, supply.bank),
    )


def _without_h(household: Household, supply: Supply, at: datetime) -> float | None:
    try:
        return lasting_h(with_idle(household, supply.inverter.id, 0.0), supply.bank.id, at)
    except (Unreachable, InputError):
        return None


def _most(watts: float) -> float:
    """A draw that the household's field takes."""
    return min(max(watts, 0.0), quantities(Inverter)["idle_w"].high)


def _usual(meter: str, at: datetime) -> Readings:
    return Readings(meter=meter, first=0.0, second=0.0, began=at, ended=at)


def _night_h(household: Household, at: datetime) -> float:
    noon = at.replace(hour=12, minute=0, second=0, microsecond=0, tzinfo=None)
    return HOURS_PER_DAY - sun_up_h(household.site, noon, noon + timedelta(days=1))


def _wait(supply: Supply, meter: str, at: datetime, night_h: float) -> Wait:
    err = partial(parts_of, supply, _usual(meter, at), supply.inverter.idle_w, 0.0)
    return Wait(
        meter=meter,
        step=USUAL_STEP[meter],
        after_night_w=COVER * combined(err(max(night_h, 1.0))),
        wait_h=waited_h(err(1.0)),
    )


def _chart_end_h(wait_h: float | None, hours: float | None) -> float:
    """Where the chart of the error over hours ends [h] (choice): past the wait and the reading, within three days."""
    return min(max(24.0, 1.3 * (wait_h or 0.0), 1.3 * (hours or 0.0)), 24.0 * MOST_DAYS)


def _result(supply: Supply, readings: Readings, drawn_w: float, left_w: float) -> Measured:
    parts = parts_of(supply, readings, drawn_w, left_w, readings.hours)
    value = drawn_w - left_w
    if value + COVER * combined(parts) < 0.0:
        raise InputError(
            "left_on_w",
            f"What was left on takes {plain(left_w, 4)} W from the bank; the readings tell of {plain(drawn_w, 4)} W "
            "in all. One of them is wrong.",
        )
    highest = quantities(Inverter)["idle_w"].high
    if value > highest:
        raise InputError(
            "second",
            f"These readings tell of {plain(value, 4)} W, beyond any idle draw: at most {highest:,.0f} W are taken.",
        )
    return measured(value, parts, supply.inverter.idle_w, "W")


def _worked(supply: Supply, readings: Readings, drawn_w: float, left_w: float) -> tuple[Worked, ...]:
    volts_v, _ = mean_v(supply, readings)
    return idle_worked(supply.bank, supply.inverter, readings, volts_v, drawn_w, left_w)
