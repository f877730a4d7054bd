"""Inverter and generator: span of volts, cut-off and restart, losses; what an engine gives, burns, and when it runs."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.notices import household_notices
from engine.errors import InputError
from engine.fields import quantities
from engine.house.generator import Generator
from engine.house.household import Household
from engine.house.inverter import FULL_LOAD_EFFICIENCY, PROPOSED, Inverter, losses_from_full_load, suggested_losses
from webapp.editing import Sent, Shelf, Typed, change_thing, local_now, opened, remove_thing
from webapp.forms import Card, Field, Group, Values, filled, number_field, number_fields, text_of
from webapp.inverter_volts import USUAL, usual_volts
from webapp.numbers import number
from webapp.parts import with_values
from webapp.render import Page, render
from webapp.standing import feeding, next_step
from webapp.store import Document

PAGE = Page("Describe", "Inverter and generator", "/inverter", "What both can give, and their volts")
router = APIRouter()

LOSSES = ("k1", "k2")
GENERATOR_WORDS = ("name", "inverter", "by_itself")
SAME_LOSS = 1e-9
PERCENT_DIGITS = 5
"""Digits of an efficiency as a share that a person would have typed: thousandths of a percent."""


USUAL_EFFICIENCY, USUAL_EFFICIENCY_SOURCE = suggested_losses(1.0)["efficiency"]
USUAL_EFFICIENCY_WORDS = f"the value taken where none is typed ({USUAL_EFFICIENCY_SOURCE.kind})"
"""What is said of it where it stands; the document does not tell it from the same number as typed."""
BELOW_PEAK_POINTS = 3
"""How far the efficiency at full power lies below the peak [percent points] (typical, from memory: 2 to 4)."""
EFFICIENCY_HINT = (
    "At rated power, from its data sheet. Only a peak or “max” efficiency there: type "
    f"{BELOW_PEAK_POINTS} less, so {94 - BELOW_PEAK_POINTS} for 94 % (typical, from memory: 2 to 4 less). Left empty, "
    f"with the losses below empty too: {USUAL_EFFICIENCY * 100:g} % ({USUAL_EFFICIENCY_SOURCE.kind}). Idle is counted "
    "apart and not taken off twice. For one efficiency at every power see “Losses one by one”"
)
VOLTS = ("dc_min_v", "restart_v", "dc_max_v", "lowest_v", "absorb_max_v", "charge_limit_a")
GENERATOR_RULE = {
    "start_soc": (0.4, "Of tested Ah, as the bank monitor shows it. 40 % is usual (typical, from memory)"),
    "stop_soc": (0.8, "The last tenth charges slowly and burns much. 80 % is usual (typical, from memory)"),
}
"""When it runs, in a new form: share of tested Ah, and what is said of it."""


def _full_load(inverter: Inverter) -> float | None:
    """The full-load efficiency if it alone gives this inverter's losses, else None."""
    efficiency = round(inverter.efficiency(inverter.rated_w), PERCENT_DIGITS)
    k1, k2 = losses_from_full_load(efficiency, inverter.idle_w, inverter.rated_w)
    same = abs(k1 - inverter.k1) < SAME_LOSS and abs(k2 - inverter.k2) < SAME_LOSS
    return efficiency if same else None


def _typed_volts(name: str, sent: Typed, inverter: Inverter | None) -> float | None:
    """Volts as just typed, as they stand where the form was not sent; None for what is no number."""
    if name not in sent:
        return None if inverter is None else getattr(inverter, name)
    try:
        return number(sent[name], quantities(Inverter)[name], optional=True)
    except InputError:
        return None


def _volts_fields(house: Household, inverter: Inverter | None, sent: Typed, month: int) -> tuple[Field, ...]:
    """The span of volts; cut-off and restart may be left empty where somebody can say what is usual."""
    highest_v, lowest_v = (_typed_volts(name, sent, inverter) for name in ("dc_max_v", "lowest_v"))
    usual = usual_volts(house, inverter, highest_v, lowest_v, month)
    found = []
    for one in number_fields(Inverter, *VOLTS):
        stand_in = {"dc_min_v": usual.cutoff_v, "restart_v": usual.restart_v}.get(one.name)
        if stand_in is not None:
            hint = f"{one.hint}. Left empty: {text_of(stand_in)} V, {usual.source}; set the same on the inverter"
            one = replace(one, hint=hint, stand_in=stand_in)
        elif one.name in ("dc_min_v", "restart_v") and inverter is None and not usual.source:
            empty = f"cut-off and restart of {USUAL}" if one.name == "dc_min_v" else "as said at the cut-off"
            one = replace(one, hint=f"{one.hint}. Left empty: {empty}", optional=True)
        found.append(one)
    return tuple(found)


def _card(house: Household, item_id: str, sent: Typed, month: int = 1) -> Card:
    inverter = next((i for i in house.inverters if i.id == item_id), None)
    meanings = quantities(Inverter)
    groups = (
        Group(
            legend="What it is",
            fields=(
                Field(name="name", label="Name", kind="text", default="Inverter"),
                *number_fields(Inverter, "rated_w", "idle_w"),
                number_field("efficiency", FULL_LOAD_EFFICIENCY, optional=True, hint=EFFICIENCY_HINT),
            ),
        ),
        Group(
            legend="Its span of battery volts",
            fields=_volts_fields(house, inverter, sent, month),
            hint="Volts of the whole pack at the inverter’s battery terminals.",
        ),
        Group(
            legend="Losses one by one",
            fields=tuple(number_field(name, meanings[name], optional=True) for name in LOSSES),
            hint="Draw = idle + (1 + first) × power + second × power² ÷ rated power; where no efficiency is typed. For "
            "one and the same efficiency at every power the first is 1 ÷ efficiency − 1 and the second is 0: "
            "93 % gives 0.0753 and 0.",
            folded=True,
        ),
    )
    values: Values = {}
    if inverter is not None:
        values = {name: getattr(inverter, name) for name in (*meanings, "name")}
        values["efficiency"] = _full_load(inverter)
    return Card(
        id=inverter.id if inverter else "",
        prefix=f"inverter-{inverter.id}-" if inverter else "add-inverter-",
        groups=groups,
        form=filled([f for group in groups for f in group.fields], values),
        button="Save this inverter" if inverter else "Add this inverter",
    )


def _generator_card(house: Household, item_id: str, sent: Typed) -> Card:
    one = next((g for g in house.generators if g.id == item_id), None)
    groups = (
        Group(
            legend="What it is",
            fields=(
                Field(name="name", label="Name", kind="text", default="Generator"),
                *number_fields(Generator, "rated_w", "charger_w", "charger_efficiency"),
                feeding(house, "Feeds the house of", one.inverter if one else ""),
            ),
            hint="While it runs it carries the sockets first and charges the bank with the rest.",
        ),
        Group(legend="What it burns", fields=number_fields(Generator, "full_l_per_h", "idle_l_per_h")),
        Group(
            legend="When it runs",
            fields=(
                *(
                    number_field(name, quantities(Generator)[name], default=default, hint=hint)
                    for name, (default, hint) in GENERATOR_RULE.items()
                ),
                *number_fields(Generator, "least_run_h", "quiet_from_h", "quiet_to_h"),
                Field(name="by_itself", label="It starts by itself", kind="tick"),
            ),
            hint="It also starts where the bank reaches its reserve or is cut off. Quiet hours come before all else.",
        ),
    )
    values = {name: getattr(one, name) for name in (*quantities(Generator), *GENERATOR_WORDS)} if one else {}
    return Card(
        id=one.id if one else "",
        prefix=f"generator-{one.id}-" if one else "add-generator-",
        groups=groups,
        form=filled([f for group in groups for f in group.fields], values),
        button="Save this generator" if one else "Add this generator",
    )


def _thing(values: Values, old: Document, sent: Typed | None = None) -> Document:
    thing = {**old, **values, "proposed": _proposed(values, old, sent or {})}
    efficiency = thing.pop("efficiency")
    if efficiency is None and all(values[name] is None for name in LOSSES):
        efficiency = USUAL_EFFICIENCY
    if efficiency is not None:
        thing["k1"], thing["k2"] = losses_from_full_load(efficiency, values["idle_w"], values["rated_w"])
    return thing


def _proposed(values: Values, old: Document, sent: Typed) -> list[str]:
    """Volts that nobody typed: left empty now, or left as they were proposed before."""
    still = [name for name in old.get("proposed", ()) if values[name] == old.get(name)]
    return [name for name in PROPOSED if name in still or not sent.get(name, "typed").strip()]


def _join_lone_bank(document: Document, inverter_id: str) -> tuple[Document, str]:
    """Join the only bank to the inverter being saved where it is joined to none."""
    banks = document.get("banks", [])
    if len(banks) != 1 or banks[0].get("inverter"):
        return document, ""
    joined = with_values(document, "banks", banks[0]["id"], {"inverter": inverter_id})
    return joined, f", {banks[0]['name']} joined to it"


def _show(request: Request, changed: Card | None = None, status: int = 200) -> Response:
    _, house = opened(request)
    month = local_now(request, house).month
    adding, adding_generator = _card(house, "", {}, month), _generator_card(house, "", {})
    cards = [_card(house, one.id, {}, month) for one in house.inverters]
    engines = [_generator_card(house, one.id, {}) for one in house.generators]
    shown = {card.prefix: card for card in (adding, adding_generator, *cards, *engines)}
    if changed is not None:
        shown[changed.prefix] = changed
    cards, engines = ([shown[card.prefix] for card in some] for some in (cards, engines))
    joined = {supply.inverter.id: supply.name for supply in house.supplies()}
    notices = household_notices(house, month)
    return render(
        request,
        "inverter.html",
        status=status,
        step=next_step(house),
        views=[(one, _full_load(one), card) for one, card in zip(house.inverters, cards, strict=True)],
        adding=shown[adding.prefix],
        engines=list(zip(house.generators, engines, strict=True)),
        adding_generator=shown[adding_generator.prefix],
        fed={one.id: one.name for one in house.inverters},
        changed=changed,
        joined=joined,
        usual=USUAL_EFFICIENCY,
        usual_source=USUAL_EFFICIENCY_WORDS,
        warnings=[notice for notice in notices if notice.page == "inverter"],
    )


SHELF = Shelf(
    section="inverters",
    path=PAGE.path,
    anchor="inverter",
    card=_card,
    thing=_thing,
    show=_show,
    also=_join_lone_bank,
)
GENERATORS = Shelf(
    section="generators",
    path=PAGE.path,
    anchor="generator",
    card=_generator_card,
    thing=lambda values, old: {**old, **values},
    show=_show,
)


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the inverters."""
    return _show(request)


@router.post(PAGE.path)
def change(request: Request, sent: Sent) -> Response:
    """Add an inverter or save a changed one."""
    month = local_now(request, opened(request)[1]).month
    shelf = replace(SHELF, card=partial(_card, month=month), thing=partial(_thing, sent=sent))
    return change_thing(request, shelf, sent)


@router.post(f"{PAGE.path}/remove")
def remove(request: Request, sent: Sent) -> Response:
    """Remove an inverter; banks joined to it are then listed only."""
    return remove_thing(request, SHELF, sent)


@router.post(f"{PAGE.path}/generator")
def change_generator(request: Request, sent: Sent) -> Response:
    """Add a generator or save a changed one."""
    return change_thing(request, GENERATORS, sent)


@router.post(f"{PAGE.path}/generator/remove")
def remove_generator(request: Request, sent: Sent) -> Response:
    """Remove a generator; undo brings it back."""
    return remove_thing(request, GENERATORS, sent)
