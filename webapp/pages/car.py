"""Car and water: may I charge the car today, when best, and what a full bank leaves over for hot water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.car import MOST_KM, car_answer
from engine.answers.car_parts import CAR_FIELDS, CAREFUL, CAUTIOUS, LIKELY, Car, CarAnswer, car_of, plain_car
from engine.answers.surplus import Tank, tank_of
from engine.errors import Unreachable
from engine.fields import Quantity
from engine.house.household import Household
from engine.house.loads import KINDS, Load
from webapp.car_view import car_view, on_the_clock
from webapp.dull_days import month_notice
from webapp.facts import lines
from webapp.forms import Field, Parsed, number_field, parse, text_of
from webapp.going_on import asking, merged, notices_of, on_query
from webapp.inputs import inputs_used
from webapp.now_question import AT
from webapp.now_question import Question as Moment
from webapp.now_question import read_question as read_now
from webapp.problems import problems
from webapp.questions import (
    Blocked,
    asked,
    bank_field,
    first_step,
    json_reply,
    tiles,
    to_standard,
)
from webapp.render import Page, is_partial, render

PAGE = Page("Ask", "Car and water", "/car", "How much may go into car and hot water?")
router = APIRouter()

KM = Quantity(label="Kilometres wanted", unit="km", low=10.0, high=MOST_KM)
RISK = Field(
    name="risk",
    label="How careful",
    kind="choice",
    choices=(
        (LIKELY, "Likely: the days as said"),
        (CAUTIOUS, "Cautious: darker, more used"),
        (CAREFUL, "Most careful: dull years too"),
    ),
    default=CAUTIOUS,
    hint="Cautious: each day as dark as its word allows, the loads a tenth more. Most careful: days nobody said as in "
    "dull years, too",
)
LITRES = KINDS["water"].fields["tank_litres"]
NOW_C = Quantity(label="Tank now", unit="°C", low=1.0, high=95.0, hint="On its thermometer, in the middle of the tank")
USUAL_NOW_C = 45.0
"""A tank that some hot water was drawn from (assumed)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Today's question with the car, the distance and the tank; `whole` households keep a car that is switched off."""

    now: Moment
    fields: tuple[Field, ...]
    form: Parsed[dict[str, Any]]
    cars: tuple[Load, ...]
    tanks: tuple[Load, ...]

    @property
    def house(self) -> Household:
        """The household with the reserves of the question, without what is switched off."""
        return self.now.house


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer; `within` asks for the short one inside Today."""
    question = read_question(request)
    errors, typed = question.form.errors, question.now.typed
    if errors and is_partial(request):
        return problems(request, errors, question.fields)
    within = bool(request.query_params.get("within"))
    wanted = not within or bool(question.cars) or "km" in typed
    answer, blocked = (None, None) if errors or not wanted else worked_out(question, brief=within)
    asked_for = asking(request, question.now, question.form, question.fields) | {
        "fields": {one.name: one for one in question.fields},
        "more_open": _more_is_open(question),
        "blocked": blocked,
        "answer": answer,
    }
    shown = {} if answer is None else _shown(question, answer)
    return render(request, "car.html", "answer", status=422 if errors else 200, **(asked_for | shown))


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded, with times on the household's clock."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: worked_out(question))


def read_question(request: Request) -> Question:
    """Read the query over the open household; faults are in the form's errors."""
    typed = asked(request)
    base = read_now(request, typed)
    cars = tuple(load for load in base.whole.loads if load.kind == "car")
    tanks = tuple(load for load in base.house.loads if load.kind == "water")
    fields = (
        *_choice("car", "Car", cars),
        *(() if cars or len(base.supplies) < 2 else bank_field(base.supplies)),
        number_field("km", KM, default=_usual_km(cars, typed)),
        RISK,
        *(() if cars else tuple(_car_field(name) for name in CAR_FIELDS)),
        *_choice("tank", "Tank", tanks),
        *_tank_fields(tanks, typed),
    )
    form: Parsed[dict[str, Any]] = parse(fields, typed, build=lambda values: values)
    errors = {**base.form.errors, **form.errors}
    return Question(now=base, fields=fields, form=merged(base, form, errors), cars=cars, tanks=tanks)


def _choice(name: str, label: str, loads: tuple[Load, ...]) -> tuple[Field, ...]:
    """The choice of one of several loads."""
    if len(loads) < 2:
        return ()
    choices = tuple((load.id, load.name) for load in loads)
    return (Field(name=name, label=label, kind="choice", choices=choices, default=choices[0][0]),)


def _usual_km(cars: tuple[Load, ...], typed: Any) -> float:
    """The usual day of the car, within what may be asked."""
    chosen = next((car for car in cars if car.id == typed.get("car")), cars[0] if cars else None)
    usual = KINDS["car"].fields["distance_km"].default if chosen is None else chosen.filled()["distance_km"]
    return float(min(max(usual, KM.low), KM.high))


def _car_field(name: str) -> Field:
    """A value of a car that no load describes, with its kind's default and where that is from."""
    one = KINDS["car"].fields[name]
    hint = f"{one.quantity.hint}. Empty: {text_of(one.default, one.quantity)} {one.quantity.unit}, {one.source.text}"
    return number_field(name, one.quantity, optional=True, hint=hint)


def _tank_fields(tanks: tuple[Load, ...], typed: Any) -> tuple[Field, ...]:
    if not tanks:
        return ()
    tank = _chosen(tanks, typed.get("tank"))
    own = "as entered on Loads" if "tank_litres" in tank.values else f"{LITRES.source.kind}; enter yours on Loads"
    litres = tank.filled()["tank_litres"]
    return (
        number_field("tank_litres", LITRES.quantity, default=litres, hint=f"For this answer only; {litres:g} is {own}"),
        number_field("tank_c", NOW_C, default=USUAL_NOW_C),
    )


def worked_out(question: Question, *, brief: bool = False) -> tuple[CarAnswer | None, Blocked | None]:
    """Return the answer on the household's clock, or why there is none."""
    base, values = question.now, question.form.value
    assert base.sky is not None
    assert values is not None
    at = to_standard(base.house.site, base.moment)
    try:
        answer = car_answer(
            base.house,
            _car(question, values),
            base.charges
            if values["risk"] == LIKELY
            else dict(base.charges) | {one: low for one, (low, _) in base.spans.items()},
            base.sky,
            at,
            km=values["km"],
            risk=values["risk"],
            tank=_tank(question, values),
            bank_id=_bank_id(question, values),
            brief=brief,
        )
    except Unreachable as fault:
        return None, first_step(base.house, str(fault))
    return on_the_clock(answer, base.house.site), None


def _bank_id(question: Question, values: dict[str, Any]) -> str:
    """The bank to charge from: that of the car's inverter, also where the car is switched off; else the one chosen."""
    if not question.cars:
        return str(values.get("bank", ""))
    load = _chosen(question.cars, values.get("car"))
    inverter = load.inverter or question.now.whole.first_inverter
    return next((one.bank.id for one in question.now.supplies if one.inverter.id == inverter), "")


def _chosen(loads: tuple[Load, ...], wanted: str | None) -> Load:
    return next((one for one in loads if one.id == wanted), loads[0])


def _car(question: Question, values: dict[str, Any]) -> Car:
    if not question.cars:
        return plain_car({name: values[name] for name in CAR_FIELDS})
    return car_of(_chosen(question.cars, values.get("car")))


def _tank(question: Question, values: dict[str, Any]) -> Tank | None:
    if not question.tanks:
        return None
    load = _chosen(question.tanks, values.get("tank"))
    assumed = "tank_litres" not in load.values and values["tank_litres"] == LITRES.default
    return tank_of(load, values["tank_litres"], values["tank_c"], litres_assumed=assumed)


def _more_is_open(question: Question) -> bool:
    """Whether anything in the folded part of the form was set, or is to be mended."""
    raw, errors = question.form.raw, question.form.errors
    names = {"at", "sky", "tank", "tank_litres", "tank_c"}
    changed = any(raw[one.name] != one.default for one in question.fields if one.name in names)
    return not question.now.guessed or changed or raw["at"] != AT.default or bool(names & set(errors))


def _shown(question: Question, answer: CarAnswer) -> dict[str, Any]:
    base = question.now
    assert base.sky is not None
    month = answer.at.month
    own = (*month_notice(base.house.site, base.sky, month, remedy=False), *answer.notices)
    fed = tuple(one for one in base.supplies if one.bank.id == answer.bank_id)
    return {
        "view": car_view(answer, base.house.site),
        "notices": notices_of(base, month, own),
        "tiles": tiles(answer.sky_days),
        "today_query": on_query(base),
        "proof": [("", lines(answer.worked))],
        "inputs": inputs_used(base.house, fed, month),
        "no_car": not question.cars,
    }
