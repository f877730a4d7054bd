"""Where a description stands: the first thing that is missing, and what its answers leave out because of it.

Shared by the pages that describe the household and the pages that ask of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from urllib.parse import quote

from engine.answers.answer import Notice
from engine.house.bank import Bank
from engine.house.bus import clash_sentence
from engine.house.household import Household
from webapp.forms import Field
from webapp.store import example_document


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What to do next, in words that follow “Next:”, where, and what may be said behind it."""

    label: str
    path: str
    aside: str = ""


@lru_cache(maxsize=1)
def _example_place() -> tuple[float, float]:
    site = example_document()["site"]
    return site["latitude_deg"], site["longitude_deg"]


def place_is_the_examples(house: Household) -> bool:
    """Tell whether a household of one's own still stands where the example does."""
    return not house.example and (house.site.latitude_deg, house.site.longitude_deg) == _example_place()


def bank_to_join(house: Household) -> str:
    """Return the id of the first bank where there are banks and an inverter but none is joined, else nothing."""
    return house.banks[0].id if house.banks and house.inverters and not house.supplies() else ""


def bank_in_use(house: Household) -> Bank | None:
    """Return the first bank that is joined to an inverter, else the first one; None where there is none."""
    return next((bank for bank in house.banks if bank.inverter), house.banks[0] if house.banks else None)


def feeding(house: Household, label: str, stored: str = "") -> Field:
    """Ask for the inverter of a load, of panels or of a generator: the only one stands there once, by its own name."""
    ids = ("", *(one.id for one in house.inverters))
    choices = (("", "The first inverter"), *((one.id, one.name) for one in house.inverters))
    if len(house.inverters) == 1 and stored in ids:
        choices = ((stored, house.inverters[0].name),)
    return Field(name="inverter", label=label, kind="choice", choices=choices, known=ids)


def next_step(house: Household) -> Step:
    """Return the first thing that an answer still lacks; where it lacks nothing, asking it."""
    unjoined = bank_to_join(house)
    if not house.banks:
        return Step(label="enter your first bank", path="/banks#add-bank")
    if not house.inverters:
        return Step(label="enter the inverter", path="/inverter#add-inverter")
    if unjoined:
        path = f"/banks?edit={quote(unjoined)}#bank-{quote(unjoined)}"
        return Step(label=f"join {house.banks[0].name} to an inverter", path=path)
    if any(supply.beside and clash_sentence(supply.banks, supply.inverter) for supply in house.supplies()):
        return Step(label="take apart the banks that must not be joined", path="/banks#notices")
    if not any(supply.loads for supply in house.supplies()):
        return Step(label="enter your first load", path="/loads#add-load")
    if place_is_the_examples(house):
        return Step(label="enter where your house stands", path="/sun#site")
    if not house.sun.arrays:
        return Step(label="enter your panels", path="/sun#add-array", aside="or ask Today without any sun")
    return Step(label="ask Today", path="/today")


def standing_notices(house: Household) -> tuple[Notice, ...]:
    """Return what every answer leaves out while the place and the panels are not the household's own."""
    found = []
    if place_is_the_examples(house):
        text = "The place is still the example's: enter yours on Sun."
        found.append(Notice(level="check", code="place", page="sun", text=text))
    if not house.sun.arrays:
        text = "No panels are entered: the answer counts no sun."
        found.append(Notice(level="note", code="no-panels", page="sun", text=text))
    return tuple(found)
