"""What an answer about charging the car is made of: the car, the risk, what was asked, and the answer itself.

Energies are kWh at the charger's plug (what the house gives, not what the car's display shows), hours count from the
moment asked about, moments are local standard time, charge is a share of tested Ah.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import Assumption, Notice, Worked
from engine.answers.surplus import Surplus
from engine.house.loads import KINDS, Load
from engine.quantities import WH_PER_KWH

Floats = NDArray[np.float64]

LIKELY, CAUTIOUS, CAREFUL = "likely", "cautious", "careful"
"""The days as said; their darker reading with heavier loads; that, and the dullest tenth of years for days unsaid."""
YES, PART, WAIT, NO = "yes", "part", "wait", "no"
"""From the best answer to the worst."""
CAR_FIELDS = ("kwh_per_100km", "charge_efficiency", "charger_kw")
"""What has to be known of a car, by the names of its kind of load."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Car:
    """A car to be charged: what it uses, what charging keeps, and how fast it charges.

    `load_id` is the load it is described by, empty where there is none; `day_km` its usual day.
    """

    name: str
    kwh_per_100km: float
    charge_efficiency: float
    charger_kw: float
    day_km: float
    side: str = "ac"
    load_id: str = ""
    assumed: tuple[str, ...] = field(default=())

    @property
    def charger_w(self) -> float:
        """Power of the charger [W]."""
        return self.charger_kw * WH_PER_KWH

    def kwh(self, km: float) -> float:
        """Energy into the charger for a distance [kWh].

        Examples
        --------
        >>> plain_car({"kwh_per_100km": 18.0, "charge_efficiency": 0.9}).kwh(40.0)
        8.0
        """
        return km * self.kwh_per_100km / 100.0 / self.charge_efficiency

    def km(self, kwh: float) -> float:
        """Distance that an energy into the charger is good for [km]."""
        return kwh * self.charge_efficiency * 100.0 / self.kwh_per_100km


def car_of(load: Load) -> Car:
    """Return the car that a load of that kind describes."""
    filled = load.filled()
    return Car(
        name=load.name,
        day_km=filled["distance_km"],
        side=load.measured,
        load_id=load.id,
        kwh_per_100km=filled["kwh_per_100km"],
        charge_efficiency=filled["charge_efficiency"],
        charger_kw=filled["charger_kw"],
    )


def plain_car(values: Mapping[str, float | None]) -> Car:
    """Return a car of which some values were typed; the others are those of its kind."""
    kind = KINDS["car"].fields
    typed = {name: value for name, value in values.items() if value is not None}
    whole = {name: kind[name].default for name in CAR_FIELDS} | typed
    return Car(
        name="The car",
        day_km=kind["distance_km"].default,
        assumed=tuple(name for name in CAR_FIELDS if name not in typed),
        kwh_per_100km=whole["kwh_per_100km"],
        charge_efficiency=whole["charge_efficiency"],
        charger_kw=whole["charger_kw"],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One distance and its answer: `start_h` is when all of it may begin, None where there is no such hour."""

    km: float
    kwh: float
    verdict: str
    start_h: float | None
    start_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """A time to begin charging: how long it then takes and the lowest charge of the days with it."""

    start_h: float
    hours: float
    start_at: datetime
    end_at: datetime
    lowest_soc: float
    earliest: bool
    gentlest: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """The charge of a run: when it is lowest, when the bank is next charged, and where load was short.

    `lowest_soc` is that of the hours up to the refill of the bank with the car, or of all days where there is none.
    """

    times_h: Floats
    soc: Floats
    lowest_soc: float
    lowest_at: datetime
    refill_h: float | None
    refill_at: datetime | None
    short_at: datetime | None
    short_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CarAnswer:
    """What the car may take now and later.

    `most_kwh` and `most_km` are the most that may go in from now on without a break, rounded down; `limit_km` tells
    that no more was looked at. `part_kwh` goes in now where the answer is a part. `with_car` is the run of the answer:
    what may go in, when it may; `refused` is when the wanted energy from now on would leave load short, and by what.
    `generator` is the name of one that is left out.
    """

    at: datetime
    horizon_h: float
    bank_id: str
    bank_name: str
    car: Car
    risk: str
    km: float
    kwh: float
    verdict: str
    most_kwh: float
    most_km: float
    limit_km: bool
    part_kwh: float
    part_km: float
    start_h: float | None
    start_at: datetime | None
    refused_at: datetime | None
    refused_by: str
    starts: tuple[Start, ...]
    rows: tuple[Asked, ...]
    start_soc: float
    floor_soc: float
    own_day_kwh: float
    generator: str
    without: Course
    with_car: Course
    charging_w: Floats
    over_rated_w: float
    surplus: Surplus | None
    sky_basis: str
    sky_title: str
    sky_days: tuple[tuple[date, str, float], ...]
    notices: tuple[Notice, ...]
    assumptions: tuple[Assumption, ...]
    worked: tuple[Worked, ...]
