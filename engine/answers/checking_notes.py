"""What a check of a log left out, and the lines of it that can be followed with a pocket calculator."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from engine.answers.answer import Worked
from engine.answers.checking_charge import ChargeCheck
from engine.answers.checking_load import SIDES, LoadCheck
from engine.answers.checking_yield import YieldCheck
from engine.house.household import Household
from engine.meter.hours import LEAST_KNOWN, MeterHours
from engine.quantities import HOURS_PER_DAY

_WHAT = {"yield_w": "what the panels gave", "load_w": "the draw at the sockets", "load_dc_w": "the inverter’s draw"}
_REFERENCE = {"same day": "the very days", "average days": "the average day of each month"}
_SIDE = {"sockets": "at the sockets", "battery": "at the battery side"}
_NONE = 1e-9
"""What two sums of the same numbers may differ by; it is told as none."""


def notes_of(
    household: Household, hours: MeterHours, yields: YieldCheck | None, loads: Sequence[LoadCheck]
) -> tuple[str, ...]:
    """Say which days and columns do not count, and what the model does not have."""
    found = []
    for key, what in _WHAT.items():
        column = hours.values.get(key)
        if column is None or not np.isfinite(column).any():
            continue
        missing = int(np.isnan(hours.daily_kwh(key)).sum())
        if missing:
            found.append(
                f"{missing} of {hours.days} days do not count for {what}: less than {LEAST_KNOWN * HOURS_PER_DAY:.0f} "
                "of their hours are known."
            )
    if yields is None:
        why = "there are no panels on Sun" if not household.sun.arrays else "the log does not have it"
        found.append(f"The yield was not compared: {why}.")
    if not any(key in hours.values for key in SIDES):
        found.append("The draw was not compared: the log does not have it.")
    elif not loads:
        found.append("The draw was not compared: the house has no loads measured on the side of the log’s.")
    found += [
        f"Of the draw {_SIDE[one.side]} the log has rows of many hours: its days are compared, and nothing is said of "
        "hours of the day, of nights or of what is always on."
        for one in loads
        if not any(hour.days for hour in one.hours)
    ]
    if household.sun.covered_days:
        found.append("Covered days entered on Sun are not predicted here: the panels are taken as free.")
    return tuple(found)


def worked_of(yields: YieldCheck | None, loads: Sequence[LoadCheck], charge: ChargeCheck | None) -> tuple[Worked, ...]:
    """Return the lines that lead to the figures."""
    found: list[Worked] = []

    def line(label: str, how: str, value: float, unit: str) -> None:
        found.append(Worked(label=label, how=how, value=value if abs(value) > _NONE else 0.0, unit=unit))

    if yields is not None:
        e = yields.told
        line("The panels gave", f"mean of {e.days} days of the log", e.measured_kwh, "kWh a day")
        line("The model says", f"of {_REFERENCE[yields.reference]}, at the battery side", e.model_kwh, "kWh a day")
        if e.bias_share is not None:
            line("Difference", "measured ÷ model − 1", e.bias_share * 100.0, "%")
        line("A day is out by", "mean of the differences without their sign", e.mean_error_kwh, "kWh")
    for one in loads:
        e, where = one.errors, _SIDE[one.side]
        line(f"The house drew {where}", f"mean of {e.days} days of the log", e.measured_kwh, "kWh a day")
        line(f"Its loads say {where}", "mean of the same days, by their months", e.model_kwh, "kWh a day")
        line(f"Difference {where}", "measured − model", e.bias_kwh, "kWh a day")
    if charge is not None:
        how = f"{charge.days} days of {charge.runs} runs, at the hour of the lowest charge"
        line("The monitor against the run", f"monitor − run, mean of {how}", charge.bias_soc * 100.0, "points of %")
        line("It is out by", "mean of the differences without their sign", charge.mean_error_soc * 100.0, "points of %")
        how = "least squares through the start of each run"
        line("It drifts by", how, charge.drift_per_day * 100.0, "points of % a day")
    return tuple(found)
