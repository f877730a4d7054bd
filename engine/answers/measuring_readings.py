"""Two readings of a meter at night: what was drawn between them, what may be wrong with it, and how long to wait.

Moments are local standard time, charges shares of tested Ah, currents A, power W from the bank.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from engine.answers.measuring import COVER, Part, combined, of_limits, of_step, plain
from engine.answers.measuring_discharge import refuse_volts
from engine.cells.chemistry import at as read_at
from engine.cells.chemistry import energy_at
from engine.errors import InputError
from engine.house.bank import Bank
from engine.house.household import Supply
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH

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


def unit_wh(bank: Bank, meter: str, volts_v: float) -> float:
    """Return what one unit of a counter is worth [Wh]; of watts and amps, one for an hour."""
    return {"percent": bank.ah * volts_v, "ah": volts_v, "kwh": WH_PER_KWH, "watts": 1.0, "amps": volts_v}[meter]


def mean_v(supply: Supply, readings: Readings) -> tuple[float, float]:
    """Return the pack's mean volts between the readings [V], and how far off they may be [-]."""
    if readings.volts_v is not None:
        return readings.volts_v, VOLTS_TYPED_SHARE
    bank = supply.bank
    if readings.meter == "percent" and readings.first > readings.second:
        drawn_v = energy_at(bank.table, readings.first) - energy_at(bank.table, readings.second)
        return bank.series * drawn_v / (readings.first - readings.second), VOLTS_BY_CURVE_SHARE
    return bank.series * read_at(bank.table.ocv_v, HALF_SOC), VOLTS_BY_CURVE_SHARE


def drawn_w_of(supply: Supply, readings: Readings) -> float:
    """Return the mean power drawn from the bus between the readings [W]."""
    volts_v, _ = mean_v(supply, readings)
    unit = unit_wh(supply.bank, readings.meter, volts_v)
    if readings.meter in ("watts", "amps"):
        return unit * abs(readings.first + readings.second) / 2.0
    return unit * abs(readings.second - readings.first) / readings.hours


def parts_of(supply: Supply, readings: Readings, drawn_w: float, left_w: float, hours: float) -> tuple[Part, ...]:
    """The sources of error of a draw read over some hours, each as W."""
    meter = readings.meter
    volts_v, volts_share = mean_v(supply, readings)
    unit = unit_wh(supply.bank, meter, volts_v)
    step = USUAL_STEP[meter] if readings.step is None else readings.step
    share = USUAL_ACCURACY_SHARE[meter] if readings.accuracy_share is None else readings.accuracy_share
    zero_a = USUAL_ZERO_A if readings.zero_a is None else readings.zero_a
    shown = meter in ("watts", "amps")
    spread_w = unit * abs(readings.first - readings.second) / 2.0 if shown else 0.0
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


def refuse(supply: Supply, readings: Readings) -> None:
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
    if readings.volts_v is not None:
        refuse_volts(supply.bank, "volts_v", "Volts of the bank", readings.volts_v)
    _refuse_signs(readings)
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
            f"The display did not move in {hours:.3g} hours: that only says that less than {plain(most_w)} W were "
            "drawn. Wait longer, or read what moves in finer steps.",
        )
    if meter != "percent" and rose < 0.0 and not (readings.first <= 0.0 and readings.second <= 0.0):
        raise InputError(
            "second",
            f"A counter of what was taken out only rises; this fell from {plain(readings.first, 10)} to "
            f"{plain(readings.second, 10)}. Was it set back, or did the sun or a charger put some in?",
        )


def _refuse_signs(readings: Readings) -> None:
    """Refuse readings whose signs say that one flowed into the bank: a draw goes away from nothing, on one side."""
    first, second, meter = readings.first, readings.second, readings.meter
    if meter == "percent":
        return
    moved = f"From {plain(first, 10)} to {plain(second, 10)}"
    unit = {"ah": "Ah", "kwh": "kWh", "watts": "W", "amps": "A"}[meter]
    if first * second < 0.0:
        raise InputError(
            "second",
            f"{moved} {unit} the sign changes: by one of them the current goes into the bank. "
            "Look at the signs again; where something was put in, read on another night.",
        )
    if meter in ("ah", "kwh") and first < second <= 0.0:
        raise InputError(
            "second",
            f"{moved} {unit} the counter went towards nothing: that was put into the bank. Ah "
            "taken out go further below nothing; look at the signs again, or read on another night.",
        )
