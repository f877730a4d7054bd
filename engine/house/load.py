"""One load: what a householder says of it, the hours it runs in and how much it takes.

Power is W, energy kWh, by hour of local standard time; what a load says of its own times is by the clock on the wall.
A load measured at the sockets (`ac`) still has the inverter's losses to come; one measured at the battery side has them
inside already, or runs on DC. A measured load has the mean day of each month and, where the date of a day is known, its
day of the week; all other loads are the same every day of a month. Not modelled: chance from day to day.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from engine.errors import InputError
from engine.house.load_kinds import KINDS, LoadKind
from engine.house.load_profile import Profile
from engine.house.load_shapes import Hours, on_standard_clock
from engine.quantities import DAYS_PER_WEEK, HOURS_PER_DAY, WH_PER_KWH

MONTHS = tuple(range(1, 13))
SIDES = {"ac": "at the sockets", "battery": "at the battery side"}
"""Where a load may have been measured, and how that reads."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """One load: its kind and numbers, when it runs, and whether it may wait or be switched off.

    `values` holds what was typed; a field left out takes its kind's default. `inverter` is the id of
    the inverter that feeds it, empty for the first. `profile` is what was measured of a load of that kind, and of no
    other.
    """

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    id: str
    name: str
    kind: str
    measured: str = "ac"
    inverter: str = ""
    months: tuple[int, ...] = MONTHS
    can_wait: bool = False
    can_shed: bool = False
    never_off: bool = False
    values: dict[str, float] = dataclasses.field(default_factory=dict, hash=False)
    profile: Profile | None = None

    def __post_init__(self) -> None:
        faults = [*_faulty_words(self), *_faulty_values(self)]
        if faults:
            raise InputError(faults[0].field, faults[0].message, tuple(faults[1:]))
        _mean_day_w(self, 1, south=False)

    @property
    def meaning(self) -> LoadKind:
        """What is asked of this kind of load and how it runs."""
        return KINDS[self.kind]

    def filled(self) -> dict[str, float]:
        """Every field of the kind by name: as typed, else its default."""
        fields = self.meaning.fields
        found = {name: self.values.get(name, field.default) for name, field in fields.items()}
        for name, field in fields.items():
            if name not in self.values and field.at_most is not None:
                found[name] = min(field.default, field.at_most(found))
        return found


def hourly_w(load: Load, month: int, south: bool = False, weekday: int | None = None, ahead_h: float = 0.0) -> Hours:
    """Mean power of a load in each hour of a day.

    Parameters
    ----------
    month : int
        Month of the calendar, 1 to 12.
    south : bool
        Whether the household lies south of the equator, where July is mid-winter. A measured month is the calendar's
        already and is not moved.
    weekday : int, optional
        Day of the week, 0 is Monday, where the date is known; the mean day of the month where not. Only a measured load
        differs by it; over a whole week it takes seven mean days.
    ahead_h : float
        By how much the clock on the wall is ahead of standard time that day [h]. A measured load is in hours of
        standard time already and is not moved.

    Returns
    -------
    (24,) array
        Mean of the hours 0-1 .. 23-24 of local standard time [W]; all 0 outside the load's months.

    Examples
    --------
    >>> pump = Load(id="p", name="Pump", kind="timed", values={"power_w": 800, "run_h": 1.5, "start_h": 11})
    >>> hourly_w(pump, month=6)[10:14]
    array([  0., 800., 400.,   0.])
    """
    if month not in load.months:
        return np.zeros(HOURS_PER_DAY)
    mean_w = _mean_day_w(load, month, south)
    if load.profile is None:
        return on_standard_clock(mean_w, ahead_h) if ahead_h else mean_w
    return mean_w if weekday is None else load.profile.share_of(weekday) * mean_w


def _mean_day_w(load: Load, month: int, south: bool) -> Hours:
    """The mean day of a month, whether the load runs in it or not, by the clock on the wall; (24,) [W].

    Of a measured load by standard time.
    """
    if load.profile is not None:
        return load.filled()["scale"] * np.array(load.profile.month_w[month - 1], dtype=np.float64)
    assert load.meaning.hourly is not None
    return load.meaning.hourly(load.filled(), (month + 5) % 12 + 1 if south else month)


def highest_w(load: Load) -> float:
    """Highest hourly mean of a load in any month it runs in and on any day of the week [W]."""
    days = [(month, weekday) for month in load.months for weekday in range(DAYS_PER_WEEK)]
    return max(float(hourly_w(load, month, weekday=weekday).max()) for month, weekday in days)


def daily_kwh(load: Load, month: int, south: bool = False) -> float:
    """Energy of a load on the mean day of a month, on the side it was measured [kWh]."""
    return float(hourly_w(load, month, south).sum()) / WH_PER_KWH


def _faulty_words(load: Load) -> list[InputError]:
    """Faults of everything but the numbers."""
    faults = []
    if load.kind not in KINDS:
        faults.append(InputError("kind", f"Kind of load cannot be “{load.kind}”; there is: {', '.join(KINDS)}."))
    elif (load.profile is None) != (load.meaning.hourly is not None):
        faults.append(_faulty_profile(load))
    if load.measured not in SIDES:
        faults.append(InputError("measured", f"Measured must be ac or battery; got “{load.measured}”."))
    if not load.months or not set(load.months) <= set(MONTHS) or len(set(load.months)) < len(load.months):
        shown = ", ".join(f"{month}" for month in load.months) or "none"
        faults.append(InputError("months", f"Months must be from 1 to 12, each once and at least one; got {shown}."))
    for flag, act in (("can_shed", "be switched off to save energy"), ("can_wait", "wait for another day")):
        if load.never_off and getattr(load, flag):
            faults.append(
                InputError(
                    flag,
                    f"{load.name or 'This load'} is marked never off, so it cannot also {act}. Untick one.",
                )
            )
    return faults


def _faulty_profile(load: Load) -> InputError:
    """A measured load without what was measured, or the reverse."""
    name = load.name or "This load"
    if load.profile is None:
        return InputError(
            "profile",
            f"{name} is a measured load without its profile, the mean days that were measured; it cannot be typed.",
        )
    return InputError(
        "profile",
        f"{name} is “{load.meaning.name}”; only a load of the kind “{KINDS['measured'].name}” may have a profile.",
    )


def _faulty_values(load: Load) -> list[InputError]:
    """Faults of the numbers, each under its own field."""
    if load.kind not in KINDS:
        return []
    fields = load.meaning.fields
    faults = [
        InputError(
            f"values.{name}",
            f"The field “{name}” is not known for {load.meaning.name.lower()}; it has: {', '.join(fields)}.",
        )
        for name in load.values
        if name not in fields
    ]
    return faults + [
        InputError(f"values.{name}", text)
        for name, value in load.values.items()
        if name in fields and (text := fields[name].quantity.refuse(value)) is not None
    ]
