"""What every answer carries besides its figures: notices, assumptions, levers and worked lines.

Page, JSON, sheet and tests read the same objects. Numbers here are not rounded; the texts of notices
are sentences for the householder.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from engine.cells.chemistry import Chemistry, field_label
from engine.errors import Unreachable
from engine.fields import quantities
from engine.house.generator import CHARGER_EFFICIENCY, CHARGER_SOURCE, Generator
from engine.house.household import Household, Supply
from engine.house.loads import assumed_values
from engine.sky import local, world
from engine.sky.days import GUESSED, Sky
from engine.sky.world import ROUGH

KEPT_ANSWERS = 16
"""Answers of each question that are kept at hand; an answer is never changed once it is made."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """One click that mends what a notice found: new values for a part of the household, or for the question."""

    label: str
    section: str = ""
    item_id: str = ""
    values: Mapping[str, float | str | None] = field(default_factory=dict)
    query: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """Something to mind: `level` is stop, check or note; `page` is where it is mended."""

    level: str
    code: str
    text: str
    page: str = ""
    remedies: tuple[Remedy, ...] = ()


def gravest_first(notices: Iterable[Notice]) -> tuple[Notice, ...]:
    """Return stops, then checks, then notes, each in the order they were found."""
    return tuple(sorted(notices, key=lambda notice: ("stop", "check", "note").index(notice.level)))


def said_once(notices: Iterable[Notice]) -> tuple[Notice, ...]:
    """Return notices gravest first, each sentence once and at its gravest."""
    found: dict[str, Notice] = {}
    for notice in gravest_first(notices):
        found.setdefault(notice.text, notice)
    return tuple(found.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumption:
    """A number the answer rests on that the household did not measure, with its source and kind."""

    name: str
    value: str
    kind: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Lever:
    """A change and what it is worth: hours gained or label kWh saved, and the kWh a day behind it.

    `off` is set where the change is made already: a load that is switched off, worth the hours it would cost again.
    """

    name: str
    gained_h: float | None
    kwh_per_day: float | None = None
    label_kwh: float | None = None
    load_id: str = ""
    off: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """One line of a calculation that can be followed with a pocket calculator."""

    label: str
    how: str
    value: float
    unit: str


def supplies_of(household: Household) -> tuple[Supply, ...]:
    """The household's supplies.

    Raises
    ------
    Unreachable
        If no bank is joined to an inverter, saying what to enter first.
    """
    found = household.supplies()
    if found:
        return found
    if not household.banks:
        raise Unreachable("There is no bank yet: enter the cells you have on Banks, then the inverter they feed.")
    if not household.inverters:
        raise Unreachable("There is no inverter yet: enter it on Inverter, then join a bank to it on Banks.")
    raise Unreachable("No bank is joined to an inverter: choose its inverter on Banks.")


def supply_of(household: Household, bank_id: str | None) -> Supply:
    """The supply of a bank as if it were alone on its inverter, the first one where none is named.

    Raises
    ------
    Unreachable
        If the household has no such bank joined to an inverter.
    """
    found = tuple(alone for supply in supplies_of(household) for alone in supply.apart)
    if not bank_id:
        return found[0]
    for supply in found:
        if supply.bank.id == bank_id:
            return supply
    raise Unreachable(f"No bank “{bank_id}” is joined to an inverter; there is: {', '.join(s.bank.id for s in found)}.")


def clock(start: datetime, hours: float | None) -> datetime | None:
    """The moment `hours` after `start`; None where there is none."""
    return None if hours is None else start + timedelta(hours=hours)


def assumptions_of(household: Household, cells: Iterable[Chemistry], sky: Sky | None = None) -> tuple[Assumption, ...]:
    """Cell data, load values and sky that stand in an answer though nobody measured them here."""
    found: dict[str, Assumption] = {}
    for cell in cells:
        for item in _cell_assumptions(cell):
            found[item.name] = item
    for load in household.loads:
        for label, value, unit, source in assumed_values(load):
            title = f"{load.name}: {label.lower()}"
            found[title] = Assumption(
                name=title, value=f"{value:g} {unit}".strip(), kind=source.kind, source=source.text
            )
    if household.sun.arrays:
        for item in _sun_assumptions(household, sky):
            found[item.name] = item
    for generator in household.generators:
        for item in _generator_assumptions(generator):
            found[item.name] = item
    return tuple(found.values())


def cell_title(cell: Chemistry, names: str) -> str:
    """What an assumption about a cell is called: the cell and its fields in words, those of one source together."""
    first, *rest = (field_label(name) for name in names.split())
    return f"{cell.name}: {', '.join([first, *(label[:1].lower() + label[1:] for label in rest)])}"


def _cell_assumptions(cell: Chemistry) -> list[Assumption]:
    return [
        Assumption(name=cell_title(cell, names), value=_values(cell, names), kind=source.kind, source=source.text)
        for names, source in cell.sources.items()
    ]


def _values(cell: Chemistry, names: str) -> str:
    """The single numbers among some fields of a cell, as people read them."""
    known = quantities(Chemistry)
    numbers = [(known[name], getattr(cell, name)) for name in names.split() if name in known]
    return ", ".join(f"{v * meaning.scale:g} {meaning.unit}".strip() for meaning, v in numbers if v is not None)


def _generator_assumptions(generator: Generator) -> list[Assumption]:
    straight = Assumption(
        name=f"{generator.name}: fuel between no load and full load",
        value="",
        kind="typical, from memory",
        source="a straight line, as engine textbooks draw it (Willans line)",
    )
    if generator.charger_efficiency != CHARGER_EFFICIENCY:
        return [straight]
    return [
        Assumption(
            name=f"{generator.name}: efficiency of its charger",
            value=f"{CHARGER_EFFICIENCY * 100:g} %",
            kind=CHARGER_SOURCE.kind,
            source=CHARGER_SOURCE.text,
        ),
        straight,
    ]


def _sun_assumptions(household: Household, sky: Sky | None) -> list[Assumption]:
    months, clear = local.sky_source(household.site), world.CLEAR_SOURCE
    found = [Assumption(name="How bright clear days are", value="", kind=clear.kind, source=clear.text)]
    own = household.sun
    if not (own.monthly_kc or (own.monthly_kwh and None not in own.monthly_kwh)):
        name = f"How clear the months are: {local.sky_name(household.site)}"
        found.insert(0, Assumption(name=name, value="", kind=months.kind, source=months.text))
    if household.sun.clear_day_kwh is None:
        found.append(
            Assumption(
                name="Panels: yield",
                value="",
                kind="published",
                source="worked out from place, tilt and direction (Haurwitz, Erbs, Perez, PVWatts); "
                "type one clear day's kWh on Sun to set it right",
            )
        )
    if sky is not None:
        found.append(Assumption(name="Days to come", value=sky.title, kind=sky.basis, source=_BASIS[sky.basis]))
    return found


_BASIS = {
    "typed": "a judgement by eye: what dark, dull and bright mean is a middle of a range",
    GUESSED: "nobody has said yet what the coming days are like: set them as you see them",
    "made season": "nobody has said yet what the coming days are like: these days of years made for the place from "
    "twelve monthly means, by a published model, not a forecast",
    "measured season": "nobody has said yet what the coming days are like: these days of the years of your sun record, "
    "not a forecast",
    "measured elsewhere": "measured at a station of this climate, not at your roof",
    "made": "made from twelve monthly means by a published model, a little too dull where the means are right; from "
    f"the world table a rough estimate: {ROUGH}",
    "own file": "the worst days of the file brought on Sun records",
    "owner's dull day": "your own dull day",
    "none": "no sun at all is assumed",
}
