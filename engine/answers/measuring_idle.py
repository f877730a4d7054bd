"""The inverter's idle draw by two readings of a night with everything off, and how good they are.

Watts are drawn from the bus with nothing on: the inverter's own and whatever else stays on the battery side (board,
monitor, a solar charger by night). Moments are local standard time, charges shares of tested Ah, currents A.
Not modelled: a sleep mode that comes and goes, losses of the cells at so small a current, a zero that drifts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import Assumption, Notice, Worked
from engine.answers.measuring import COVER, Lasts, Measured, Part, combined, measured, of_limits, of_step
from engine.answers.measuring_changes import lasts, with_idle
from engine.answers.measuring_idle_words import idle_assumptions, idle_notices, idle_worked
from engine.cells.chemistry import at as read_at
from engine.cells.chemistry import energy_at
from engine.errors import InputError
from engine.fields import quantities
from engine.house.bank import Bank
from engine.house.household import Household, Supply
from engine.house.inverter import Inverter
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sky.moment import sun_up_h

Floats = NDArray[np.float64]

METERS = ("percent", "ah", "kwh", "watts", "amps")
"""What may be read: charge, Ah and kWh counted out, and watts and amps as shown at both times."""
USUAL_STEP = {"percent": 0.01, "ah": 0.1, "kwh": 0.1, "watts": 1.0, "amps": 0.1}
"""Last digit of the display, in the unit of the engine (typical, from memory)."""
USUAL_ACCURACY_SHARE = {"percent": 0.03, "ah": 0.01, "kwh": 0.01, "watts": 0.01, "amps": 0.01}
"""How far off a shunt counts (typical, from memory); a charge in % besides rests on the Ah the monitor is set to."""
USUAL_ZERO_A = 0.05
"""Current a shunt shows, or does not, where none flows (typical, from memory: 0.01 % of a shunt of 500 A)."""
VOLTS_TYPED_SHARE, VOLTS_BY_CURVE_SHARE = 0.005, 0.03
"""How far off the mean volts of the night may be: typed ones, and those of the curve (judgement)."""
LEFT_ON_SHARE = 0.1
"""How far off the watts of what stayed on may be (judgement)."""
MINUTE_H = 1.0 / 60.0
AIM_W = 5.0
"""An error of the idle draw that is good enough to plan with (choice)."""
LEAST_H, MOST_DAYS = 0.5, 14
"""Shortest and longest time between two readings (judgement)."""
HALF_SOC = 0.5
"""Charge whose rested volts are taken where none are typed (choice)."""
UP_H = 0.1
"""Sun for less than that between the readings is not spoken of: the model's own horizon (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Two readings of one meter, as they were read; `first` and `second` in its unit, % as shares.

    `step`, `accuracy_share` and `zero_a` are what is usual where None, `volts_v` those of the curve; `left_on_w` is at
    the sockets. `dark` says that the panels were switched off.
    """

    meter: str
    first: float
    second: float
    began: datetime
    ended: datetime
    step: float | None = None
    accuracy_share: float | None = None
    zero_a: float | None = None
    volts_v: float | None = None
    left_on_w: float = 0.0
    dark: bool = False

    @property
    def hours(self) -> float:
        """Time between them [h]."""
        return (self.ended - self.began).total_seconds() / 3600.0


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
    drawn_w, left_w : float
        Mean power drawn from the bus, and what of it was left on [W].
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
    meter: str
    readings: Readings | None
    sun_up_h: float
    drawn_w: float | None
    left_w: float
    result: Measured | None
    lasts: Lasts | None
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
        """What it takes in a day [kWh]."""
        return None if self.result is None else self.result.value * HOURS_PER_DAY / WH_PER_KWH

    @property
    def to_use_w(self) -> float | None:
        """The value to be written into the household [W]; None where the readings are not fit for it."""
        if self.result is None or self.readings is None or self.result.value <= 0.0:
            return None
        lit = self.sun_up_h >= UP_H and not self.readings.dark
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
        _refuse(supply, readings)
        up_h = sun_up_h(household.site, readings.began, readings.ended)
    inverter = supply.inverter
    drawn_w = None if readings is None else _drawn_w(supply, readings)
    left_w = 0.0 if readings is None else inverter.dc_w(readings.left_on_w) - inverter.idle_w
    result = None
    if readings is not None and drawn_w is not None:
        result = _result(supply, readings, drawn_w, left_w)
    guess_w = drawn_w if drawn_w is not None and drawn_w > 0.0 else inverter.idle_w
    err = partial(_parts, supply, readings or _usual(meter, at), guess_w, left_w)
    wait_h = waited_h(err(1.0))
    curve_h = np.linspace(1.0, _chart_end_h(wait_h, None if readings is None else readings.hours), 60)
    return IdleDraw(
        bank_id=supply.bank.id,
        name=supply.name,
        inverter_id=inverter.id,
        inverter_name=inverter.name,
        now_w=inverter.idle_w,
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
        waits=tuple(_wait(supply, one, at, night_h) for one in METERS if not (one == "percent" and supply.beside)),
        wait_h=wait_h,
        night_h=night_h,
        curve_h=curve_h,
        curve_w=np.array([COVER * combined(err(float(hours))) for hours in curve_h]),
        notices=()
        if readings is None
        else idle_notices(inverter, result, up_h, readings.dark, readings.hours, night_h),
        worked=() if readings is None or drawn_w is None else _worked(supply, readings, drawn_w, left_w),
        assumptions=idle_assumptions(
            meter, readings, USUAL_STEP[meter], USUAL_ACCURACY_SHARE[meter], USUAL_ZERO_A, supply.bank
        ),
    )


def _most(watts: float) -> float:
    """A draw that the household's field takes."""
    return min(watts, quantities(Inverter)["idle_w"].high)


def _usual(meter: str, at: datetime) -> Readings:
    return Readings(meter=meter, first=0.0, second=0.0, began=at, ended=at)


def _night_h(household: Household, at: datetime) -> float:
    noon = at.replace(hour=12, minute=0, second=0, microsecond=0, tzinfo=None)
    return HOURS_PER_DAY - sun_up_h(household.site, noon, noon + timedelta(days=1))


def _wait(supply: Supply, meter: str, at: datetime, night_h: float) -> Wait:
    err = partial(_parts, supply, _usual(meter, at), supply.inverter.idle_w, 0.0)
    return Wait(
        meter=meter,
        step=USUAL_STEP[meter],
        after_night_w=COVER * combined(err(max(night_h, 1.0))),
        wait_h=waited_h(err(1.0)),
    )


def waited_h(after_one_hour: Sequence[Part], aim_w: float = AIM_W) -> float | None:
    """Return the hours between readings after which the error is within `aim_w`; None if what does not fall is more.

    Parameters
    ----------
    after_one_hour : sequence of Part
        The parts of error after one hour; those that fall do so as one over the hours.
    """
    fixed = combined(part for part in after_one_hour if not part.falls)
    falling = combined(part for part in after_one_hour if part.falls)
    left = (aim_w / COVER) ** 2 - fixed**2
    return falling / math.sqrt(left) if left > 0.0 else None


def _chart_end_h(wait_h: float | None, hours: float | None) -> float:
    """Where the chart of the error over hours ends [h] (choice): past the wait and the reading, within three days."""
    return min(max(24.0, 1.3 * (wait_h or 0.0), 1.3 * (hours or 0.0)), 24.0 * MOST_DAYS)


def mean_v(supply: Supply, readings: Readings) -> tuple[float, float]:
    """Return the pack's mean volts between the readings [V], and how far off they may be [-]."""
    if readings.volts_v is not None:
        return readings.volts_v, VOLTS_TYPED_SHARE
    bank = supply.bank
    if readings.meter == "percent" and readings.first > readings.second:
        drawn_v = energy_at(bank.table, readings.first) - energy_at(bank.table, readings.second)
        return bank.series * drawn_v / (readings.first - readings.second), VOLTS_BY_CURVE_SHARE
    return bank.series * read_at(bank.table.ocv_v, HALF_SOC), VOLTS_BY_CURVE_SHARE


def unit_wh(bank: Bank, meter: str, volts_v: float) -> float:
    """Return what one unit of a counter is worth [Wh]; of watts and amps, one for an hour."""
    return {"percent": bank.ah * volts_v, "ah": volts_v, "kwh": WH_PER_KWH, "watts": 1.0, "amps": volts_v}[meter]


def _drawn_w(supply: Supply, readings: Readings) -> float:
    volts_v, _ = mean_v(supply, readings)
    unit = unit_wh(supply.bank, readings.meter, volts_v)
    if readings.meter in ("watts", "amps"):
        return unit * (abs(readings.first) + abs(readings.second)) / 2.0
    return unit * abs(readings.second - readings.first) / readings.hours


def _result(supply: Supply, readings: Readings, drawn_w: float, left_w: float) -> Measured:
    parts = _parts(supply, readings, drawn_w, left_w, readings.hours)
    value = drawn_w - left_w
    if value + COVER * combined(parts) < 0.0:
        raise InputError(
            "left_on_w",
            f"What was left on takes {left_w:.4g} W from the bank; the readings tell of {drawn_w:.4g} W in all. One of "
            "them is wrong.",
        )
    highest = quantities(Inverter)["idle_w"].high
    if value > highest:
        raise InputError(
            "second", f"These readings tell of {value:.4g} W, beyond any idle draw: at most {highest:,.0f} W are taken."
        )
    return measured(value, parts, supply.inverter.idle_w, "W")


def _parts(supply: Supply, readings: Readings, drawn_w: float, left_w: float, hours: float) -> tuple[Part, ...]:
    """The sources of error of a draw read over some hours, each as W."""
    meter = readings.meter
    volts_v, volts_share = mean_v(supply, readings)
    unit = unit_wh(supply.bank, meter, volts_v)
    step = USUAL_STEP[meter] if readings.step is None else readings.step
    share = USUAL_ACCURACY_SHARE[meter] if readings.accuracy_share is None else readings.accuracy_share
    zero_a = USUAL_ZERO_A if readings.zero_a is None else readings.zero_a
    shown = meter in ("watts", "amps")
    spread_w = unit * abs(abs(readings.first) - abs(readings.second)) / 2.0 if shown else 0.0
    by_volts = meter in ("percent", "ah", "amps")
    last = f"steps of {step * (100.0 if meter == 'percent' else 1.0):g}, read twice"
    display = unit * of_step(step)
    return (
        Part(
            label="The display’s last digit",
            how=last,
            u=display / math.sqrt(2.0) if shown else math.sqrt(2.0) * display / hours,
            falls=not shown,
        ),
        Part(label="The two looks differ", how="the mean lies between them", u=of_limits(spread_w)),
        Part(
            label="The minute of each reading",
            how="half a minute either way, twice",
            u=0.0 if shown else drawn_w * math.sqrt(2.0) * of_step(MINUTE_H) / hours,
            falls=True,
        ),
        Part(
            label="What the meter is off by", how=f"{share * 100:g} % of what it counted", u=of_limits(share * drawn_w)
        ),
        Part(label="The shunt’s zero", how=f"{zero_a:g} A × {volts_v:.4g} V", u=of_limits(zero_a * volts_v)),
        Part(
            label="The bank’s mean volts",
            how=f"{volts_share * 100:g} % of {volts_v:.4g} V",
            u=of_limits(volts_share * drawn_w) if by_volts else 0.0,
        ),
        Part(label="What was left on", how=f"{LEFT_ON_SHARE * 100:g} % of it", u=of_limits(LEFT_ON_SHARE * left_w)),
    )


def _refuse(supply: Supply, readings: Readings) -> None:
    """Refuse readings that contradict each other."""
    hours, meter = readings.hours, readings.meter
    if hours <= 0.0:
        raise InputError("ended", "The second reading must be later than the first; give the day with the time.")
    if hours < LEAST_H:
        raise InputError(
            "ended", f"Between the readings must lie half an hour or more; these are {hours * 60:.0f} minutes apart."
        )
    if hours > MOST_DAYS * HOURS_PER_DAY:
        raise InputError("ended", f"Between the readings may lie {MOST_DAYS} days; these are {hours / 24:.0f} apart.")
    if meter in ("watts", "amps"):
        return
    rose = readings.second - readings.first
    if meter == "percent" and rose > 0.0:
        raise InputError(
            "second",
            f"The charge rose from {readings.first * 100:g} to {readings.second * 100:g} %: the sun, a generator or a "
            "charger put some in. Read after sunset and again before sunrise, or switch the panels off.",
        )
    if rose == 0.0:
        step = USUAL_STEP[meter] if readings.step is None else readings.step
        most_w = unit_wh(supply.bank, meter, mean_v(supply, readings)[0]) * step / hours
        raise InputError(
            "second",
            f"The display did not move in {hours:.3g} hours: that only says that less than {most_w:.3g} W were drawn. "
            "Wait longer, or read what moves in finer steps.",
        )
    if meter != "percent" and rose < 0.0 and not (readings.first <= 0.0 and readings.second <= 0.0):
        raise InputError(
            "second",
            f"A counter of what was taken out only rises; this fell from {readings.first:g} to {readings.second:g}. "
            "Was it set back, or did the sun or a charger put some in?",
        )


def _worked(supply: Supply, readings: Readings, drawn_w: float, left_w: float) -> tuple[Worked, ...]:
    volts_v, _ = mean_v(supply, readings)
    return idle_worked(supply.bank, supply.inverter, readings, volts_v, drawn_w, left_w)
