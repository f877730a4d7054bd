"""What to mind before a car is charged from the bank, and what the answer rests on though nobody measured it."""

from __future__ import annotations

from collections.abc import Iterator

from engine.answers.answer import Assumption, Notice, gravest_first
from engine.answers.autonomy import LOAD_SPREAD_SHARE
from engine.answers.car_parts import CAREFUL, LIKELY, NO, CarAnswer
from engine.answers.surplus import Surplus
from engine.house.load_notes import LEGIONELLA_C
from engine.house.loads import KINDS

SCALD_C = 60.0
"""Water of this temperature scalds within seconds (typical, from memory)."""


def car_notices(answer: CarAnswer) -> tuple[Notice, ...]:
    """Return what to mind about an answer, checks before notes."""
    return gravest_first((*_car(answer), *(() if answer.surplus is None else _water(answer.surplus))))


def _car(answer: CarAnswer) -> Iterator[Notice]:
    car = answer.car
    if answer.over_rated_w > 0.0:
        yield Notice(
            level="check",
            code="car-over-rated",
            text=f"{car.name} at {car.charger_kw:g} kW and the other loads of those hours come to "
            f"{answer.over_rated_w:,.0f} W more than the inverter gives. It is worked out with the charger held back "
            "to what is left; yours may not hold back by itself. Set it lower, or switch other loads off meanwhile.",
        )
    if answer.without.short_at is not None:
        yield Notice(
            level="check",
            code="short-without-car",
            text=f"Even without the car {answer.bank_name} does not carry these days at this risk. Today says how long "
            "it lasts and what to switch off.",
        )
    elif answer.with_car.refill_h is None:
        yield Notice(
            level="check",
            code="never-refilled",
            text=f"{answer.bank_name} is not charged again within these days, so only what is left at their end is "
            "known. What comes after them is not looked at.",
        )
    if answer.generator:
        yield Notice(
            level="note",
            code="generator-left-out",
            text=f"{answer.generator} is not counted here: the answer is for sun and bank alone.",
        )
    if answer.own_day_kwh > 0.0:
        yield Notice(
            level="note",
            code="own-times-out",
            page="loads",
            text=f"The times of {car.name} on Loads, {answer.own_day_kwh:.2g} kWh a day, are left out of these days: "
            "this page decides about the car.",
        )
    if answer.verdict == NO and answer.without.short_at is None and answer.refused_by == "current":
        yield Notice(
            level="note",
            code="current",
            text="What stops it is the current that the bank may give, not its charge: a charger set lower may do.",
        )


def _water(found: Surplus) -> Iterator[Notice]:
    tank = found.tank
    warmest_c = max([tank.now_c, *(day.reached_c for day in found.days)])
    if tank.now_c < LEGIONELLA_C and warmest_c < LEGIONELLA_C:
        yield Notice(
            level="check",
            code="tank-cool",
            text=f"{tank.name} stays below {LEGIONELLA_C:g} °C on these days by surplus alone. Water kept lukewarm for "
            "days can breed legionella: keep its own heating, and follow the guidance for your place.",
        )
    if tank.hot_c >= SCALD_C:
        yield Notice(
            level="check",
            code="tank-scald",
            text=f"Water from {tank.name} at {tank.hot_c:g} °C scalds within seconds: a mixing valve belongs behind "
            "it, and more so where surplus heats it at odd hours.",
        )


def car_assumptions(answer: CarAnswer) -> tuple[Assumption, ...]:
    """Return what an answer took for the car, the risk and the tank without a measurement."""
    found = [*_defaults(answer)]
    if answer.risk != LIKELY:
        found.append(
            Assumption(
                name="Loads heavier than described",
                value=f"{LOAD_SPREAD_SHARE * 100:g} %",
                kind="assumed",
                source="the cautious side of Today’s range: a tenth more, on days as dark as their word allows",
            )
        )
    if answer.risk == CAREFUL:
        found.append(
            Assumption(
                name="Days that nobody said",
                value="dullest tenth",
                kind="simulated from published parameters",
                source="the same days of the calendar in the years behind the question; an answer must hold on them "
                "and on the cautious days",
            )
        )
    if answer.surplus is not None and answer.surplus.tank.litres_assumed:
        found.append(
            Assumption(
                name=f"{answer.surplus.tank.name}: what the tank holds",
                value=f"{answer.surplus.tank.litres:g} litres",
                kind="typical, from memory",
                source="tanks of a small household hold 150 to 300 litres",
            )
        )
    return tuple(found)


def _defaults(answer: CarAnswer) -> Iterator[Assumption]:
    """The car's values that are those of its kind."""
    fields = KINDS["car"].fields
    for name in answer.car.assumed:
        one, value = fields[name], getattr(answer.car, name)
        yield Assumption(
            name=f"Car: {one.quantity.label.lower()}",
            value=f"{value * one.quantity.scale:g} {one.quantity.unit}".strip(),
            kind=one.source.kind,
            source=one.source.text,
        )
