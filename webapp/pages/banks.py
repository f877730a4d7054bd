"""Banks: the cells, the window to use of them, how they are charged, and what guards them."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.charging import charging
from engine.answers.notices import household_notices
from engine.answers.sheet import bank_steps
from engine.balance.bus_plant import on_the_bus
from engine.balance.forcing import mean_dc_w
from engine.cells import catalogue
from engine.cells.chemistry import Chemistry
from engine.cells.cold_limits import FULL_C, coldest_stated
from engine.fields import quantities
from engine.house.bank import Bank, Board, window
from engine.house.bus import clash_sentence
from engine.house.cold import UNSTATED_C, cold_limit_stated
from engine.house.household import Household, Supply
from webapp.commissioning_view import APART_V
from webapp.editing import Sent, Shelf, Typed, change_thing, local_now, opened, remove_thing, save
from webapp.forms import Card, Field, Group, Values, filled, number_field, number_fields
from webapp.parts import things, with_values
from webapp.render import Page, figures, render
from webapp.standing import bank_to_join, next_step
from webapp.store import Document

PAGE = Page("Describe", "Banks", "/banks", "Your cells, their number, board and charging current")
router = APIRouter()

INLINE = "inline"
"""Choice that keeps a chemistry written out in the document."""
HOLDS = (
    ("usual", "As usual for the chemistry"),
    ("no", "Stop once the volts are reached"),
    ("yes", "Hold until the current falls"),
)
BOARD = "board."
BOARD_HINTS = {
    "current_limit_a": "For the whole bank; the one number that must be typed",
    "cell_low_v": "Where the board stops discharge. Empty: usual for the chemistry; your board’s sheet rules",
    "cell_high_v": "Where the board stops charge. Empty: usual for the chemistry; your board’s sheet rules",
    "charge_min_c": "Its low-temperature cut-off. Empty: it has none, or not known",
    "balance_v": "Cell volts at which it begins to even the cells out. Empty: none, or not known",
    "balance_a": "Current it takes from a high cell, from its sheet. Empty: not known",
}
"""What is said of a board's numbers, in the order of the form."""
BOARD_LIMITS = {"cell_low_v": "v_low", "cell_high_v": "v_max"}
"""Which of the chemistry's volts stand in where the board's are left empty."""
OWN_GUARDS = {
    "own_fuse": ("A DC fuse of its own", "Close to this bank, rated to break its short-circuit current"),
    "own_disconnect": ("A DC disconnect of its own", "Takes this bank alone off the bus"),
}
"""What a bank on a shared bus needs for itself, by field."""
NO_LOAD_W = 1.0
AT_SOCKETS = "Usable at the sockets"
"""Last line of the engine's step-down where there is a load to reach the sockets."""


def _groups(house: Household, bank: Bank | None) -> tuple[Group, ...]:
    """The form of a bank, what is folded away last."""
    groups = (_cells(house, bank), _window(bank), _charging(bank), _board_form(bank), _beside_others())
    return tuple(sorted(groups, key=lambda group: group.folded))


def _cells(house: Household, bank: Bank | None) -> Group:
    own = (
        ((INLINE, f"{bank.chemistry.name} (written out in this household)"),)
        if bank and isinstance(bank.chemistry, Chemistry)
        else ()
    )
    joined = (("", "None: listed only"), *((i.id, i.name) for i in house.inverters))
    taken = {one.inverter for one in house.banks}
    free = [i.id for i in house.inverters if i.id not in taken]
    fields = (
        Field(name="name", label="Name", kind="text", default="Bank", hint="How you call it: “store-room bank”"),
        Field(
            name="chemistry",
            label="Chemistry",
            kind="choice",
            choices=(*own, *catalogue.names().items()),
            optional=not bank,
        ),
        *number_fields(Bank, "series", "parallel", "label_ah", "tested_ah", "tested_c", "rated_h", "stated_kwh"),
        *number_fields(Bank, "cell_c", "charge_limit_a"),
        Field(
            name="inverter",
            label="Joined to",
            kind="choice",
            choices=joined,
            default=free[0] if len(free) == 1 or (free and not house.banks) else "",
            hint="Several banks may be joined to one inverter: they then share its DC bus",
        ),
    )
    return Group(legend="The cells", fields=fields)


def _window(bank: Bank | None) -> Group:
    fields = (
        *number_fields(Bank, "top_soc"),
        number_field("reserve_soc", quantities(Bank)["reserve_soc"], optional=True, hint=_reserve_hint(bank)),
        *number_fields(Bank, "top_v", "reserve_v"),
    )
    hint = "In % of tested Ah, or in volts per cell as your settings have it; volts go before percent."
    return Group(legend="The window to use", fields=fields, hint=hint, folded=True)


def _charging(bank: Bank | None) -> Group:
    meaning = quantities(Bank)["cold_charge_a"]
    fields = (
        *number_fields(Bank, "charge_v"),
        Field(name="hold", label="At the end of the charge", kind="choice", choices=HOLDS, default="usual"),
        number_field("cold_charge_a", meaning, hint=meaning.hint if bank is None else _cold_hint(bank, meaning.hint)),
        *number_fields(Bank, "cell_spread_mv"),
        *number_fields(Bank, "charge_efficiency", "self_discharge_per_month"),
    )
    return Group(legend="Charging", fields=fields, folded=True)


def _cold_hint(bank: Bank, hint: str) -> str:
    """What the field says, its end being what is counted for these cells where it is empty."""
    told = hint.partition("Empty:")[0]
    if not bank.cell.needs_board:
        return f"{told}Empty: lead-acid takes the highest at any temperature"
    if not coldest_stated(bank.cell):
        return f"{told}Empty: none is counted below {FULL_C:g} °C, as nobody states it for {bank.cell.name}"
    return f"{told}Empty: {UNSTATED_C:g}C is counted, {figures(UNSTATED_C * bank.ah)} A"


def _board_form(bank: Bank | None) -> Group:
    fields = (
        Field(name="board", label="A protection board is fitted", kind="tick", default="1"),
        *(
            number_field(f"{BOARD}{name}", quantities(Board)[name], optional=True, hint=hint)
            for name, hint in BOARD_HINTS.items()
        ),
        Field(
            name=f"{BOARD}contactor",
            label="It opens a contactor",
            kind="tick",
            hint="A contactor is a power relay the board opens, for currents it cannot break itself",
        ),
    )
    return Group(
        legend="Protection board",
        fields=fields,
        hint="Lithium and sodium-ion cells must not be used without one: type at least its highest current, from "
        "its app or data sheet. Lead-acid banks have none: leave the numbers empty.",
        folded=bank is not None and bank.board is None and not bank.cell.needs_board,
    )


def _beside_others() -> Group:
    fields = tuple(Field(name=name, label=label, kind="tick", hint=hint) for name, (label, hint) in OWN_GUARDS.items())
    hint = "Banks that share one DC bus each need a fuse and a disconnect of their own."
    return Group(legend="Beside other banks", fields=fields, hint=hint, folded=True)


def _reserve_hint(bank: Bank | None) -> str:
    hint = "Of tested Ah; empty: usual for the chemistry"
    if bank is None:
        return hint
    return f"{hint}, {bank.cell.reserve_soc * 100:g} %. {bank.cell.reserve_reason}".strip()


def _stored(bank: Bank) -> Values:
    """A bank's values by the names of the form."""
    values: Values = {name: getattr(bank, name) for name in (*quantities(Bank), *OWN_GUARDS, "name", "inverter")}
    values["chemistry"] = bank.chemistry if isinstance(bank.chemistry, str) else INLINE
    values["hold"] = "yes" if bank.hold else "no"
    values["board"] = bank.board is not None
    if bank.board is not None:
        names = (*quantities(Board), "contactor")
        values |= {f"{BOARD}{name}": getattr(bank.board, name) for name in names}
    return values


def _card(house: Household, item_id: str, sent: Typed) -> Card:
    bank = next((b for b in house.banks if b.id == item_id), None)
    groups = _groups(house, bank)
    fields = tuple(f for group in groups for f in group.fields)
    return Card(
        id=bank.id if bank else "",
        prefix=f"bank-{bank.id}-" if bank else "add-bank-",
        groups=groups,
        form=filled(fields, _stored(bank) if bank else {}),
        button="Save this bank" if bank else "Add this bank",
    )


def _thing(values: Values, old: Document) -> Document:
    board = {name.removeprefix(BOARD): values[name] for name in values if name.startswith(BOARD)}
    thing = {**old, **{name: value for name, value in values.items() if not name.startswith(BOARD)}}
    if values["chemistry"] == INLINE:
        thing["chemistry"] = old["chemistry"]
    usual = _usual(thing["chemistry"])
    thing["hold"] = usual("holds") if values["hold"] == "usual" else values["hold"] == "yes"
    if values["reserve_soc"] is None:
        thing["reserve_soc"] = usual("reserve_soc")
    thing["board"] = _board(board, usual) if values["board"] else None
    return thing


def _usual(chemistry: str | Document) -> Callable[[str], Any]:
    """Look a chemistry's values up by name, in the catalogue or as written out in the household."""
    if isinstance(chemistry, str):
        return partial(getattr, catalogue.load(chemistry))
    return chemistry.__getitem__


def _board(typed: Values, usual: Callable[[str], Any]) -> Document | None:
    """The board, its volts the chemistry's where left empty; none where the cell needs none and none is described."""
    stated = {name: value for name, value in typed.items() if value is not None}
    if not usual("needs_board") and not any(name != "contactor" or value for name, value in stated.items()):
        return None
    return {name: usual(volts) for name, volts in BOARD_LIMITS.items()} | stated


def _view(house: Household, bank: Bank, supply: Supply | None, month: int) -> dict[str, Any]:
    """What a bank's card says of it, and its form."""
    rows = bank_steps(house, supply, month).steps if supply is not None else ()
    drawn_w = max(mean_dc_w(house, supply, month), 1.0) if supply is not None else NO_LOAD_W
    return {
        "bank": bank,
        "supply": supply,
        "rows": rows,
        "at_sockets": bool(rows) and rows[-1].label == AT_SOCKETS,
        "on_bus": _on_bus(house, bank),
        "window": window(bank, drawn_w),
        "instead": _instead(house) if supply is None else (),
        "card": _card(house, bank.id, {}),
    }


def _instead(house: Household) -> tuple[tuple[str, str], ...]:
    """The inverters that carry other banks, each with the words of a button that puts this one in their place."""
    found = []
    for supply in house.supplies():
        names = " and ".join(one.name for one in supply.banks)
        found.append((supply.inverter.id, f"Use this one instead of {names}"))
    return tuple(found)


def _set_for_another(house: Household, bank: Bank, supply: Supply | None, month: int) -> tuple[str, ...]:
    """Cut-off and restart of the inverter that are not what Charge volts proposes for the bank now joined to it."""
    if supply is None:
        return ()
    inverter = supply.inverter
    answer = charging(house, bank, inverter, cell_v=bank.charge_end_cell_v, hold=bank.hold, month=month)
    proposed = {one.key: one.pack_v for one in answer.settings}
    found = []
    for what, key, set_v in (("cut-off", "cutoff", inverter.dc_min_v), ("restart", "restart", inverter.restart_v)):
        volts = proposed[key]
        if volts is None:
            found.append(f"{what} {set_v:.1f} V, and none fits {bank.name}")
        elif abs(set_v - volts) >= APART_V:
            found.append(f"{what} {set_v:.1f} V, where Charge volts proposes {volts:.1f} V for {bank.name}")
    return tuple(found)


def _swapped(document: Document, bank_id: str, inverter_id: str) -> Document:
    """The document with one bank joined to an inverter, and those that were joined to it to none."""
    for other in things(document, "banks"):
        if other.get("inverter") == inverter_id:
            document = with_values(document, "banks", other["id"], {"inverter": ""})
    return with_values(document, "banks", bank_id, {"inverter": inverter_id})


def _on_bus(house: Household, bank: Bank) -> Bank | None:
    """A bank as the bus it shares charges it; None where it shares none or may not be joined to it."""
    for supply in house.supplies():
        if supply.beside and bank in supply.banks and not clash_sentence(supply.banks, supply.inverter):
            return on_the_bus(supply.banks)[supply.banks.index(bank)]
    return None


def _show(request: Request, changed: Card | None = None, status: int = 200) -> Response:
    _, house = opened(request)
    month = local_now(request, house).month
    supplies = {alone.bank.id: alone for supply in house.supplies() for alone in supply.apart}
    views = [_view(house, bank, supplies.get(bank.id), month) for bank in house.banks]
    swapped = next((bank for bank in house.banks if bank.id == request.query_params.get("swapped")), None)
    settings = _set_for_another(house, swapped, supplies.get(swapped.id), month) if swapped is not None else ()
    for view in views:
        if changed is not None and changed.id == view["bank"].id:
            view["card"] = changed
    return render(
        request,
        "banks.html",
        status=status,
        views=views,
        adding=changed if changed is not None and not changed.id else _card(house, "", {}),
        changed=changed,
        open_id=changed.id if changed is not None else request.query_params.get("edit", "") or bank_to_join(house),
        step=next_step(house),
        swapped=swapped,
        settings=settings,
        inverters=house.inverters,
        cold_unstated=frozenset(bank.id for bank in house.banks if not cold_limit_stated(bank)),
        warnings=[notice for notice in household_notices(house, month) if notice.page == "banks"],
    )


SHELF = Shelf(section="banks", path=PAGE.path, anchor="bank", card=_card, thing=_thing, show=_show)


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the banks."""
    return _show(request)


@router.post(PAGE.path)
def change(request: Request, sent: Sent) -> Response:
    """Add a bank or save a changed one."""
    return change_thing(request, SHELF, sent)


@router.post(f"{PAGE.path}/instead")
def instead(request: Request, sent: Sent) -> Response:
    """Join a bank in place of those that an inverter carries now; they stay listed."""
    house = opened(request)[1]
    bank_id, inverter_id = sent.get("item_id", ""), sent.get("inverter", "")
    names = {one.id: one.name for one in house.banks}
    parked = " and ".join(one.name for one in house.banks if inverter_id and one.inverter == inverter_id)
    return save(
        request,
        sent,
        lambda document: _swapped(document, bank_id, inverter_id),
        f"{names.get(bank_id, bank_id)} in use instead of {parked or 'none'}",
        f"{PAGE.path}?{urlencode({'swapped': bank_id})}#{SHELF.anchor}-{bank_id}",
        lambda errors, status: _show(request, _card(house, bank_id, {}).refused(errors), status),
    )


@router.post(f"{PAGE.path}/remove")
def remove(request: Request, sent: Sent) -> Response:
    """Remove a bank."""
    return remove_thing(request, SHELF, sent)
