"""Loads: what the household uses, when, and what of it may wait or be switched off."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.notices import household_notices
from engine.house.household import Household
from engine.house.load_kinds import CLOCK, CLOCK_OF_BOTH, KINDS, LoadField
from engine.house.loads import SIDES, Load, daily_kwh
from engine.quantities import HOURS_PER_DAY
from webapp.editing import Sent, Shelf, Typed, change_thing, local_now, opened, remove_thing
from webapp.forms import MONTHS, Card, Field, Group, Values, filled, number_field, shown_text_of, text_of
from webapp.load_view import profile_view
from webapp.render import Page, render
from webapp.standing import feeding, next_step
from webapp.store import Document
from webapp.units import chosen

PAGE = Page("Describe", "Loads", "/loads", "What uses energy, how much and when")
router = APIRouter()

VALUE = "values."
FIRST_KINDS = ("house", "steady", "timed")
"""Kinds that most households need, offered before the others."""
LEARNED = "measured"
"""The kind that a meter's log makes and no form does."""
OFFERED = {kind: KINDS[kind] for kind in (*FIRST_KINDS, *(k for k in KINDS if k not in (*FIRST_KINDS, LEARNED)))}
ANYTHING = "timed"
NAMELESS = {ANYTHING: "Borehole pump", "runs": "Washing machine"}
"""Kinds that do not say what a load is, each with a name as an example."""
FINE_TOTAL_KWH = 100.0
"""Below this total the kWh of the table carry two decimals, from it on one."""
EVERY_MONTH = ",".join(str(month) for month in range(1, 13))
FLAGS = {"can_wait": "can wait", "can_shed": "can be switched off", "never_off": "never off"}
TICKS = {
    "can_wait": ("It can wait for another day", "Washing, car, pool: it is done later, and its energy is needed then"),
    "can_shed": (
        "It can be switched off to save energy",
        "Television, heating pad, fountain: it is done without, and its energy is not needed later",
    ),
    "never_off": ("It must never go off", "Freezer, medical device, alarm"),
}


def _kind_field(house: Household, name: str, field: LoadField) -> Field:
    """One of a kind's own numbers; left empty it takes the kind's default, which the hint names."""
    told = field.quantity.hint
    if told == CLOCK and house.site.summer_time:
        told = CLOCK_OF_BOTH
    stand_in = f"{text_of(field.default, field.quantity)} {field.quantity.unit}".strip()
    if field.quantity.clock and chosen().clock == "12":
        stand_in = shown_text_of(field.default, field.quantity)
    if field.at_most is not None:
        stand_in += ", or half the day’s mean power if that is less"
    hint = f"{told}. Left empty: {stand_in} ({field.source.kind})".removeprefix(". ")
    return number_field(f"{VALUE}{name}", field.quantity, optional=True, hint=hint)


def _name_field(kind: str) -> Field:
    """The name of a load; that of the kind where the kind says what it is."""
    if kind in NAMELESS:
        return Field(name="name", label="Name", kind="text", hint=f"Such as {NAMELESS[kind]}")
    return Field(name="name", label="Name", kind="text", default=KINDS[kind].name)


def _groups(house: Household, kind: str, stored: str = "") -> tuple[Group, ...]:
    meaning = KINDS[kind]
    sides = tuple((side, text.capitalize()) for side, text in SIDES.items())
    months = tuple((str(number), name) for number, name in enumerate(MONTHS, 1))
    return (
        Group(
            legend=meaning.name,
            hint=meaning.hint,
            fields=(
                Field(name="kind", label="Kind", kind="hidden", default=kind),
                _name_field(kind),
                *(_kind_field(house, name, field) for name, field in meaning.fields.items()),
            ),
        ),
        Group(
            legend="When, and may it wait?",
            fields=(
                *(Field(name=n, label=label, kind="tick", hint=hint) for n, (label, hint) in TICKS.items()),
                Field(
                    name="months", label="Months in which it runs", kind="months", choices=months, default=EVERY_MONTH
                ),
            ),
        ),
        Group(
            legend="Where it was measured, what feeds it",
            folded=True,
            hint="At the sockets, the inverter’s losses are added; at the battery side they are in it already.",
            fields=(
                Field(name="measured", label="Measured", kind="choice", choices=sides, default="ac"),
                feeding(house, "Fed by", stored),
            ),
        ),
    )


def _card(house: Household, item_id: str, sent: Typed) -> Card:
    load = next((one for one in house.loads if one.id == item_id), None)
    kind = load.kind if load else sent.get("kind", "")
    groups = _groups(house, kind if kind in KINDS else ANYTHING, load.inverter if load else "")
    fields = [f for group in groups for f in group.fields]
    values: Values = {}
    if load is not None:
        names = (*FLAGS, "kind", "name", "months", "measured", "inverter")
        values = {name: getattr(load, name) for name in names}
        values |= {f"{VALUE}{name}": value for name, value in load.values.items()}
    return Card(
        id=load.id if load else "",
        prefix=f"load-{load.id}-" if load else "add-load-",
        groups=groups,
        form=filled(fields, values),
        button="Save this load" if load else "Add this load",
        cancel=PAGE.path,
    )


def _thing(values: Values, old: Document) -> Document:
    typed = {name.removeprefix(VALUE): value for name, value in values.items() if name.startswith(VALUE)}
    thing = {**old, **{name: value for name, value in values.items() if not name.startswith(VALUE)}}
    thing["values"] = {name: value for name, value in typed.items() if value is not None}
    thing["months"] = list(values["months"])
    return thing


def _hours(load: Load) -> str:
    """When a load runs, by the clock on the wall; empty where it has no clock."""
    values = load.filled()
    start_h, run_h, end_h = (values.get(name) for name in ("start_h", "run_h", "end_h"))
    if start_h is None or run_h == 0.0:
        return ""
    if end_h is None:
        end_h = None if run_h is None else (start_h + run_h) % HOURS_PER_DAY
    return f"from {_time(start_h)}" if end_h is None else f"{_time(start_h)} to {_time(end_h)}"


def _time(hour: float) -> str:
    minutes = round(hour * 60.0)
    return f"{minutes // 60:02}:{minutes % 60:02}"


def _row(house: Household, load: Load, month: int) -> dict[str, Any]:
    """What the table says of a load."""
    marks = [text for flag, text in FLAGS.items() if getattr(load, flag)]
    if len(load.months) < len(MONTHS):
        marks.insert(0, ", ".join(MONTHS[m - 1] for m in sorted(load.months)))
    if hours := _hours(load):
        marks.insert(0, hours)
    if load.measured != "ac":
        marks.append(f"measured {SIDES[load.measured]}")
    return {"load": load, "kwh": daily_kwh(load, month, house.south), "marks": marks, "kind": load.meaning.name}


def _show(request: Request, changed: Card | None = None, status: int = 200) -> Response:
    _, house = opened(request)
    month = local_now(request, house).month
    edited, kind = request.query_params.get("edit", ""), request.query_params.get("add", "")
    if changed is None and any(load.id == edited for load in house.loads):
        changed = _card(house, edited, {})
    elif changed is None and kind in OFFERED:
        changed = _card(house, "", {"kind": kind})
    rows = [_row(house, load, month) for load in house.loads]
    digits = 2 if sum(row["kwh"] for row in rows) < FINE_TOTAL_KWH else 1
    notices = household_notices(house, month)
    profile = next((load.profile for load in house.loads if changed and load.id == changed.id), None)
    return render(
        request,
        "loads.html",
        status=status,
        rows=rows,
        step=next_step(house),
        digits=digits,
        total_kwh=sum(round(row["kwh"], digits) for row in rows),
        month=MONTHS[month - 1],
        kinds=OFFERED,
        kind=next((load.kind for load in house.loads if changed and load.id == changed.id), kind),
        changed=changed,
        measured=None if profile is None else profile_view(profile),
        learned=KINDS[LEARNED],
        warnings=[notice for notice in notices if notice.page == "loads"],
    )


def _show_sent(request: Request, changed: Card | None, status: int) -> Response:
    return _show(request, changed, status)


SHELF = Shelf(section="loads", path=PAGE.path, anchor="load", card=_card, thing=_thing, show=_show_sent)


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the loads; `?edit=` opens one of them, `?add=` a new one of a kind."""
    return _show(request)


@router.post(PAGE.path)
def change(request: Request, sent: Sent) -> Response:
    """Add a load or save a changed one."""
    return change_thing(request, SHELF, sent)


@router.post(f"{PAGE.path}/remove")
def remove(request: Request, sent: Sent) -> Response:
    """Remove a load."""
    return remove_thing(request, SHELF, sent)
