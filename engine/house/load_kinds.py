"""The kinds of load a household may have: what is asked of each, what is assumed, how it runs.

Power is W, energy kWh of electricity, times are hours of the clock on the wall, temperatures degC. A
default is used where nothing was typed and carries its source, so that the sheet can list it.
A measured load has its hours in a profile (`engine.house.load_profile`) instead of a rule.
Not modelled: start-up surges, cycling within an hour.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from engine.fields import Quantity
from engine.house.load_shapes import Hours, Values, by_clock_w, by_run_w, car_w, house_w, steady_w, water_w
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sources import Source

CLOCK = "By the clock on the wall"
CLOCK_OF_BOTH = "By the clock on the wall, in winter and in summer"
"""The same where there is summer time."""
PLATE = "On its type plate, or from a plug-in energy meter"


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadField:
    """One number of a kind of load, the value used when none is typed, and where that is from."""

    quantity: Quantity
    default: float
    source: Source
    at_most: Callable[[Values], float] | None = None
    """Highest value the default may stand for, from the other values."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadKind:
    """One kind of load: its name, its fields, and its 24 hourly means [W] from their values.

    `hourly` takes every field's value and the month as in the north (1 is mid-winter); None where a measured profile
    says the hours. `running` names the field that holds its power while it runs (W or kW): cables and the inverter must
    carry that, however short it runs; empty where the highest hourly mean is the best that is known.
    """

    name: str
    hint: str
    fields: Mapping[str, LoadField]
    hourly: Callable[[Values, int], Hours] | None
    running: str = ""


def _half_the_day_w(values: Values) -> float:
    """Half of a house's daily energy, spread evenly [W]."""
    return 0.5 * values["daily_kwh"] * WH_PER_KWH / HOURS_PER_DAY


def _typical(text: str) -> Source:
    return Source(kind="typical, from memory", text=text)


def _assumed(text: str) -> Source:
    return Source(kind="assumed", text=text)


def _field(
    label: str,
    unit: str,
    low: float,
    high: float,
    default: float,
    source: Source,
    hint: str,
    *,
    percent: bool = False,
) -> LoadField:
    meaning = Quantity(label=label, unit=unit, low=low, high=high, hint=hint, percent=percent)
    return LoadField(quantity=meaning, default=default, source=source)


def _power(
    default: float,
    source: Source,
    hint: str = PLATE,
    label: str = "Power",
    at_most: Callable[[Values], float] | None = None,
) -> LoadField:
    return dataclasses.replace(_field(label, "W", 0, 100_000, default, source, hint), at_most=at_most)


def _mean_power(default: float, source: Source, hint: str) -> LoadField:
    found = _power(default, source, hint)
    return dataclasses.replace(found, quantity=dataclasses.replace(found.quantity, mean=True))


def _start(default: float, why: str, label: str = "Starts at") -> LoadField:
    found = _field(label, "h", 0, 24, default, _assumed(why), CLOCK)
    return dataclasses.replace(found, quantity=dataclasses.replace(found.quantity, clock=True))


def _run(default: float, source: Source, hint: str) -> LoadField:
    return _field("Runs for", "h a day", 0, 24, default, source, hint)


_SUN_HOURS = "placed in the hours with most sun"

KINDS: Mapping[str, LoadKind] = {
    "house": LoadKind(
        name="House in general",
        hint="Lighting, cooking, washing, screens: all that has no row of its own. Leave out what does.",
        fields={
            "daily_kwh": _field(
                "Energy",
                "kWh a day",
                0,
                1000,
                9.0,
                _typical("a household of 3,000 to 3,600 kWh a year without heating, hot water or car"),
                "Difference of two meter readings over the days between them; or the yearly bill over 365",
            ),
            "base_w": _power(
                200.0,
                _typical("fridge, freezer, router and stand-by of a household: 150 to 250 W"),
                "What the meter shows at night with everyone asleep; it is part of the energy above",
                label="Always-on part of it",
                at_most=_half_the_day_w,
            ),
        },
        hourly=house_w,
    ),
    "steady": LoadKind(
        name="Always on",
        hint="Fridge, freezer, router, cameras, alarm, medical device: its mean power.",
        fields={
            "power_w": _mean_power(
                25.0,
                _typical("a router, a telephone base and a few chargers"),
                "In W, or as its label or a plug-in energy meter has it: 185 kWh/year, 0.51 kWh/day",
            ),
        },
        hourly=steady_w,
        running="power_w",
    ),
    "pump": LoadKind(
        name="Pool pump",
        hint="Filter pump of a pool. A borehole or pressure pump is entered as “Anything by the clock”.",
        fields={
            "power_w": _power(1100.0, _typical("single-speed pool pumps take 1.1 to 2.5 kW")),
            "run_h": _run(8.0, _typical("about one turnover of the water a day"), "From its timer"),
            "start_h": _start(9.0, _SUN_HOURS),
            "least_run_h": dataclasses.replace(
                _field(
                    "Least it must run",
                    "h a day",
                    0,
                    24,
                    2.0,
                    _assumed("a short circulation that keeps a cool pool from turning for some days"),
                    "However dull it is; ask who looks after the water. 0 if it may stand still",
                ),
                at_most=lambda values: values["run_h"],
            ),
        },
        hourly=by_clock_w,
        running="power_w",
    ),
    "water": LoadKind(
        name="Hot water",
        hint="A tank with an immersion heater or a heat pump. Its kWh a day, if you know them, are enough.",
        fields={
            "daily_kwh": _field(
                "Electricity a day, if you know it",
                "kWh a day",
                0,
                200,
                0.0,
                _assumed("not known: worked out from the water drawn, how hot it is and the tank’s loss"),
                "From a plug-in energy meter, or the kWh a year of its label ÷ 365; it goes before the water drawn, "
                "its temperatures, the standing loss and the COP, which count where it is 0 or empty",
            ),
            "litres": _field(
                "Hot water drawn",
                "litres a day",
                0,
                10_000,
                150.0,
                _typical("about 50 litres a person a day, three people"),
                "Count 30 to 50 litres for each person; a bath takes about 100 litres",
            ),
            "hot_c": _field(
                "Tank temperature",
                "°C",
                20,
                95,
                60.0,
                _typical("usual setting of a storage tank"),
                "On the tank's thermostat",
            ),
            "cold_c": _field(
                "Cold water comes in at",
                "°C",
                0,
                40,
                15.0,
                _typical("yearly mean of mains water in mild climates; colder in winter"),
                "Hold a thermometer under the running cold tap",
            ),
            "tank_litres": _field(
                "The tank holds",
                "litres",
                10,
                10_000,
                200.0,
                _typical("tanks of a small household hold 150 to 300 litres"),
                "On its type plate; Car and water warms it by sun that is left over",
            ),
            "standing_kwh": _field(
                "Tank's standing loss",
                "kWh a day",
                0,
                20,
                1.5,
                _typical("insulated tank of 150 to 200 litres"),
                "On the tank's energy label or in its data sheet, often as kWh per 24 h",
            ),
            "cop": _field(
                "Heat out for each kWh in (COP)",
                "",
                0.5,
                8,
                1.0,
                _assumed("an immersion heater, which turns each kWh into one kWh of heat"),
                "1 for an immersion heater; a heat pump's data sheet gives its COP, often 2.5 to 3.5",
            ),
            "heater_kw": _field(
                "Electric power of the heater",
                "kW",
                0.05,
                100,
                3.0,
                _typical("usual immersion heater"),
                "On its type plate; for a heat pump the electric power it takes, not the heat it gives",
            ),
            "start_h": _start(10.0, _SUN_HOURS),
            "run_h": _run(
                0.0,
                _assumed("no timer: the thermostat heats whenever the tank cools"),
                "Length of the timer's window; 0 if it has none and may heat at any hour",
            ),
        },
        hourly=water_w,
        running="heater_kw",
    ),
    "car": LoadKind(
        name="Electric car",
        hint="Charging at home for a usual day's driving.",
        fields={
            "distance_km": _field(
                "Distance driven",
                "km a day",
                0,
                1000,
                35.0,
                _typical("about 13,000 km a year"),
                "Difference of two readings of the odometer over the days between them",
            ),
            "kwh_per_100km": _field(
                "Car's use",
                "kWh per 100 km",
                5,
                100,
                18.0,
                _typical("14 to 25 kWh per 100 km by car, season and style"),
                "On the car's display, as the mean of the last weeks",
            ),
            "charge_efficiency": _field(
                "Kept while charging",
                "%",
                0.5,
                1.0,
                0.9,
                _typical("the car's display reads about 10 % less than the wall"),
                "kWh on the car's display ÷ kWh on a meter at the charger, × 100",
                percent=True,
            ),
            "charger_kw": _field(
                "Charger power",
                "kW",
                0.5,
                350,
                2.3,
                _typical("10 A at 230 V from a socket"),
                "On the charger's type plate, or amps × volts ÷ 1,000 as set in the car",
            ),
            "start_h": _start(10.0, _SUN_HOURS),
        },
        hourly=car_w,
        running="charger_kw",
    ),
    "timed": LoadKind(
        name="Anything by the clock",
        hint="Any other load: its power, how long it runs each day, and when it starts. Two blocks a day are two rows.",
        fields={
            "power_w": _power(500.0, _assumed("a stand-in until you type your own")),
            "run_h": _run(
                2.0,
                _assumed("a stand-in until you type your own"),
                "From its timer, or counted on a usual day",
            ),
            "start_h": _start(12.0, _SUN_HOURS),
        },
        hourly=by_clock_w,
        running="power_w",
    ),
    "runs": LoadKind(
        name="So many runs a week",
        hint="Washing machine, dishwasher, dryer, bread oven: energy of one run, and how many runs a week.",
        fields={
            "run_kwh": _field(
                "Energy of one run",
                "kWh",
                0,
                100,
                0.9,
                _typical("a washing machine or dishwasher takes 0.5 to 1.2 kWh a run"),
                "On its energy label as kWh a cycle; kWh for 100 cycles ÷ 100",
            ),
            "runs": _field(
                "Runs",
                "a week",
                0,
                200,
                4.0,
                _typical("a household of two or three"),
                "Counted over some weeks; halves too, 0.5 is one in two weeks",
            ),
            "power_w": _power(
                2000.0,
                _typical("the heater of a washing machine or dishwasher takes 1.8 to 2.4 kW"),
                "On its type plate: the most it takes while it runs. The mean day does not show it",
            ),
            "start_h": _start(9.0, _SUN_HOURS, "Earliest start"),
            "end_h": _start(17.0, _SUN_HOURS, "Done by"),
        },
        hourly=by_run_w,
        running="power_w",
    ),
    "measured": LoadKind(
        name="Measured",
        hint="What a meter saw, hour by hour, learned from its log. Whatever it holds needs no row of its own.",
        fields={
            "scale": _field(
                "Times what was measured",
                "",
                0,
                10,
                1.0,
                _assumed("use goes on as it was measured"),
                "1.2 for a fifth more in every hour, 0.9 for a tenth less",
            ),
        },
        hourly=None,
    ),
}
"""Every kind of load by its id, in the order in which forms offer them."""

CLOCK_LABELS = tuple(
    sorted({one.quantity.label for kind in KINDS.values() for one in kind.fields.values() if one.quantity.clock})
)
"""What the fields of a time of the day are called."""
