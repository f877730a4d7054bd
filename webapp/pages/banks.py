"""Banks: the cells, the window to use of them, how they are charged, and what guards them."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.notices import household_notices
from engine.answers.sheet import bank_steps
from engine.cells import catalogue
from engine.cells.chemistry import Chemistry
from engine.fields import quantities
from engine.house.bank import Bank, Board
from engine.house.household import Household, Supply
from webapp.editing import Sent, Shelf, Typed, change_thing, local_now, opened, remove_thing
from webapp.forms import Card, Field, Group, Values, filled, number_field, number_fields
from webapp.render import Page, render
from webapp.store import Document

PAGE = Page("Describe", "Banks", "/banks")
router = APIRouter()

INLINE = "inline"
"""Choice that keeps a chemistry written out in the document."""
HOLDS = (
    ("usual", "As usual for the chemistry"),
    ("no", "Stop as soon as the volts are reached"),
    ("yes", "Hold the volts until the current falls"),
)
BOARD = "board."


def _groups(house: Household, bank: Bank | None) -> tuple[Group, ...]:
    meanings = quantities(Bank)
    own = (
        ((INLINE, f"{bank.chemistry.name} (written out in this household)"),)
        if bank and isinstance(bank.chemistry, Chemistry)
        else ()
    )
    joined = (("", "Listed, not joined"), *((i.id, f"Joined to {i.name}") for i in house.inverters))
    kinds = (*own, *catalogue.names().items())
    cells = (
        Field(name="name", label="Name", kind="text", default="Bank", hint="How you call it: “store-room bank”"),
        Field(
            name="chemistry",
            label="Chemistry",
            kind="choice",
            choices=kinds,
            optional=not bank,
        ),
        *number_fields(Bank, "series", "parallel", "label_ah", "tested_ah", "cell_c"),
        Field(
            name="inverter",
            label="Inverter",
            kind="choice",
            choices=joined,
            default=house.inverters[0].id if house.inverters and not house.banks else "",
            hint="One bank an inverter; banks on one DC bus are not worked out",
        ),
    )
    window = (
        *number_fields(Bank, "top_soc"),
        number_field("reserve_soc", meanings["reserve_soc"], optional=bank is None, hint=_reserve_hint(bank)),
        *number_fields(Bank, "top_v", "reserve_v"),
    )
    charging = (
        *number_fields(Bank, "charge_v"),
        Field(name="hold", label="At the end of the charge", kind="choice", choices=HOLDS, default="usual"),
        *number_fields(Bank, "charge_limit_a"),
    )
    board = (
        Field(name="board", label="A protection board is fitted", kind="tick"),
        *(number_field(f"{BOARD}{n}", q, optional=True) for n, q in quantities(Board).items()),
        Field(name=f"{BOARD}contactor", label="It opens a contactor", kind="tick"),
    )
    return (
        Group(legend="The cells", fields=cells),
        Group(
            legend="The window to use",
            fields=window,
            hint="In % of tested Ah, or in volts per cell as your settings have it; volts go before percent.",
            folded=True,
        ),
        Group(legend="Charging", fields=charging, folded=True),
        Group(
            legend="Protection board",
            fields=board,
            hint="Lithium and sodium-ion cells must not be used without one. Its limits are in its app or data sheet.",
            folded=True,
        ),
    )


def _reserve_hint(bank: Bank | None) -> str:
    return (
        "Of tested Ah; empty: usual for the chemistry" if bank is None else bank.cell.reserve_reason or "Of tested Ah"
    )


def _stored(bank: Bank) -> Values:
    """A bank's values by the names of the form."""
    values: Values = {name: getattr(bank, name) for name in (*quantities(Bank), "name", "inverter")}
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
    cell = catalogue.load(thing["chemistry"]) if isinstance(thing["chemistry"], str) else None
    if values["hold"] == "usual":
        thing["hold"] = cell.holds if cell else bool(old.get("hold", False))
    else:
        thing["hold"] = values["hold"] == "yes"
    if values["reserve_soc"] is None and cell is not None:
        thing["reserve_soc"] = cell.reserve_soc
    thing["board"] = {n: v for n, v in board.items() if v is not None} if values["board"] else None
    return thing


def _view(house: Household, bank: Bank, supply: Supply | None, month: int) -> dict[str, Any]:
    """What a bank's card says of it, and its form."""
    rows = bank_steps(house, supply, month).steps if supply is not None else ()
    return {"bank": bank, "supply": supply, "rows": rows, "card": _card(house, bank.id, {})}


def _show(request: Request, changed: Card | None = None, status: int = 200) -> Response:
    _, house = opened(request)
    month = local_now(request, house).month
    supplies = {supply.bank.id: supply for supply in house.supplies()}
    views = [_view(house, bank, supplies.get(bank.id), month) for bank in house.banks]
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
        inverters=house.inverters,
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


@router.post(f"{PAGE.path}/remove")
def remove(request: Request, sent: Sent) -> Response:
    """Remove a bank."""
    return remove_thing(request, SHELF, sent)
