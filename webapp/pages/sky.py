"""Sky now: what the solar chargers show at this moment, the sky that it tells, and what today will still bring."""

from __future__ import annotations

import dataclasses
import re
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.sky_now import panel_w_from_amps, sky_now
from engine.answers.sky_parts import SkyNow
from engine.errors import InputError, Unreachable
from engine.fields import Quantity
from engine.house.household import Household
from engine.quantities import WH_PER_KWH
from engine.sky.reading import Shown
from webapp.dull_days import SEASON_NAME, spell_choices
from webapp.facts import lines
from webapp.forms import Field, Parsed, number_field, parse
from webapp.inputs import inputs_used
from webapp.now_question import AT, USUAL_SKY
from webapp.now_question import Question as Moment
from webapp.now_question import read_question as read_now
from webapp.numbers import number
from webapp.problems import problems
from webapp.promise_notes import factors_of
from webapp.questions import (
    Blocked,
    asked,
    json_reply,
    plain_query,
    share_checks,
    strange_readings,
    tiles,
    to_standard,
)
from webapp.render import Page, is_partial, render
from webapp.sky_view import on_the_clock, sky_name, sky_view
from webapp.standing import standing_notices

PAGE = Page("Ask", "Sky now", "/sky", "Which sky is it, by the solar charger’s display?")
router = APIRouter()

UNITS = (("w", "watts of the panels (W)"), ("kw", "kilowatts of the panels (kW)"), ("a", "amps into the bank (A)"))
SHOWS = Field(
    name="shows",
    label="The display shows",
    kind="choice",
    choices=UNITS,
    default="w",
    hint="Amps out of the solar charger, not the bank monitor’s. Or write the unit behind a reading",
)
MOST_WATTS = 10_000_000.0
VOLTS = Quantity(label="Bank volts", unit="V", low=5.0, high=1000.0, optional=True, hint="Needed with amps only")
MADE = Quantity(
    label="Made so far today",
    unit="kWh",
    low=0.0,
    high=1_000_000.0,
    optional=True,
    hint="All panels, where a counter tells",
)
CHARGE_HINT = "For the hours left; empty: from full"
HELD = Field(name="held", label="Charger holding back", kind="tick", hint="Bank full, absorption or float")
TOGETHER = "read_all"
_UNIT = re.compile(r"[^\W\d_]+\s*$")
_SIZES = {"w": ("W", 1.0), "kw": ("kW", WH_PER_KWH), "a": ("A", 1.0)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Today's question with what the displays show."""

    today: Moment
    fields: tuple[Field, ...]
    form: Parsed[dict[str, Any]]
    displays: tuple[Shown, ...]
    factors: dict[str, float]

    @property
    def house(self) -> Household:
        """The household with the reserves of the question."""
        return self.today.house


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer."""
    question = read_question(request)
    errors = question.form.errors
    if errors and is_partial(request):
        return problems(request, errors, question.fields)
    answer, blocked = (None, None) if errors else worked_out(question)
    house, sky = question.house, question.today.sky_text
    return render(
        request,
        "sky.html",
        "answer",
        status=422 if errors else 200,
        form=question.form,
        readings=[one for one in question.fields if one.name.startswith("read_")],
        fields={one.name: one for one in question.fields},
        charges=[
            one if one.kind == "choice" else dataclasses.replace(one, hint=CHARGE_HINT)
            for one in question.today.fields
            if one.name.startswith("charge")
        ],
        at=AT,
        more_open=_more_is_open(question),
        kept={name: text for name, text in question.today.typed.items() if name.startswith("reserve")},
        query=plain_query(question.today.typed),
        sky_choices=spell_choices(house.site, house.sun, sky, ((USUAL_SKY, USUAL_NAME),)),
        sky_chosen=sky,
        blocked=blocked,
        answer=answer,
        **({} if answer is None else _shown(question, answer)),
    )


USUAL_NAME = SEASON_NAME


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded, with times on the household's clock."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: worked_out(question))


def read_question(request: Request) -> Question:
    """Read the query over the open household; faults are in the form's errors."""
    typed = asked(request)
    base = read_now(request, {name: text for name, text in typed.items() if not _left_empty(name, text)})
    house = base.house
    fields = (
        *_reading_fields(house),
        SHOWS,
        number_field("volts", VOLTS),
        number_field("made", MADE),
        HELD,
    )
    form: Parsed[dict[str, Any]] = parse(fields, typed, build=lambda values: values)
    errors = {**base.form.errors, **form.errors, **strange_readings(typed, list(form.raw))}
    displays = _displays(house, form, errors)
    charges = {one.name: typed.get(one.name, "") for one in base.fields if one.name.startswith("charge")}
    merged = Parsed(raw={**base.form.raw, **charges, **form.raw}, value=None if errors else form.value, errors=errors)
    return Question(today=base, fields=fields, form=merged, displays=displays, factors=factors_of(request))


def _left_empty(name: str, text: str) -> bool:
    """A charge that nobody typed: a bank called full would be one that holds its panels back."""
    return name.startswith("charge") and not text.strip()


def worked_out(question: Question) -> tuple[SkyNow | None, Blocked | None]:
    """Return the answer on the household's clock, or why there is none."""
    base, values = question.today, question.form.value
    assert base.sky is not None
    assert values is not None
    at = to_standard(base.house.site, base.moment)
    try:
        answer = sky_now(
            base.house,
            question.displays,
            at,
            base.sky,
            base.charges,
            made_kwh=values["made"],
            held=values["held"],
            factors=question.factors,
        )
    except Unreachable as fault:
        return None, Blocked(sentence=str(fault), path="/sun", label="Enter your panels")
    return on_the_clock(answer, base.house.site), None


def _reading_fields(house: Household) -> tuple[Field, ...]:
    arrays = house.sun.arrays
    each = tuple(Field(name=f"read_{one.id}", label=one.name, kind="text", optional=True) for one in arrays)
    if len(each) < 2:
        return each
    return (*each, Field(name=TOGETHER, label="Or all together", kind="text", optional=True))


def _displays(house: Household, form: Parsed[dict[str, Any]], errors: dict[str, str]) -> tuple[Shown, ...]:
    """What the displays show, in W of the panels; faults are put at their fields."""
    volts = (form.value or {}).get("volts")
    found: dict[str, float] = {}
    for name, text in form.raw.items():
        if name.startswith("read_") and text.strip():
            try:
                found[name] = _watts(text, name, house, form, volts)
            except InputError as fault:
                errors.setdefault(fault.field or name, fault.message)
    if TOGETHER in found:
        if len(found) > 1:
            errors.setdefault(TOGETHER, "Type the reading of each, or one of all together, not both.")
        return (Shown(arrays=house.sun.arrays, panel_w=found[TOGETHER]),)
    return tuple(
        Shown(arrays=(one,), panel_w=found[f"read_{one.id}"]) for one in house.sun.arrays if f"read_{one.id}" in found
    )


def _watts(text: str, name: str, house: Household, form: Parsed[dict[str, Any]], volts: float | None) -> float:
    """Read one display: a number in the unit chosen, or in the one written behind it."""
    label = next((one.name for one in house.sun.arrays if f"read_{one.id}" == name), "All together")
    written = _UNIT.search(text)
    named = written[0].strip() if written and written.start() else ""
    if named and named.lower() not in _SIZES:
        raise InputError(
            name, f"{label}: “{text.strip()}” carries “{named}”; type it in watts (W), kilowatts (kW) or amps (A)."
        )
    code = named.lower() or form.raw["shows"]
    unit, watts = _SIZES.get(code, _SIZES["w"])
    value = number(text, Quantity(label=label, unit=unit, low=0.0, high=MOST_WATTS / watts))
    assert value is not None
    if code != "a":
        return value * watts
    if volts is None:
        raise InputError("volts", "Amps need the bank’s volts beside them: type the volts that the display shows.")
    return panel_w_from_amps(value, volts, house.sun.charger_efficiency)


def _more_is_open(question: Question) -> bool:
    """Whether anything in the folded part of the form was set, or is to be mended."""
    raw, errors = question.form.raw, question.form.errors
    return not question.today.guessed or bool(
        raw["made"] or raw["held"] or raw["at"] != AT.default or {"made", "at", "sky"} & set(errors)
    )


FOR_TODAY = ("charge", "reserve", "at", "skies", "off")


def _for_today(question: Question, answer: SkyNow) -> str:
    """The question of Today with the sky of now as its first day."""
    typed = {name: text for name, text in question.today.typed.items() if name.startswith(FOR_TODAY)}
    return plain_query(typed | ({"sky": answer.found.day_sky} if answer.found else {}))


def _shown(question: Question, answer: SkyNow) -> dict[str, Any]:
    base = question.today
    return {
        "view": sky_view(answer, base.house.site, guessed=base.guessed),
        "notices": (
            *share_checks(base.fields, base.form),
            *(one for one in standing_notices(base.house) if one.code != "no-panels"),
            *answer.notices,
        ),
        "skies": [(sky_name(one), one) for one in answer.what_if],
        "tiles": () if answer.found is None else tiles(answer.found.days),
        "today_query": _for_today(question, answer),
        "proof": [("", lines(answer.worked))],
        "inputs": inputs_used(base.house, base.supplies, answer.at.month),
    }
