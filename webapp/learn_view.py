"""What the page Learn shows of a log: cards of numbers, rounded for reading, and what using one would set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from engine.answers.learning import Change, Learning, Lesson, Missing, taught
from engine.errors import InputError
from engine.fields import Quantity, quantities
from engine.house.bank import Bank
from engine.house.household import Household, write
from engine.house.inverter import Inverter
from engine.json_answer import plain_data
from engine.sky.site import Sun
from webapp.parts import things, with_values
from webapp.records_words import on
from webapp.render import NO_BREAK, figures, fixed
from webapp.store import Document
from webapp.words import MONTHS, counted

_KINDS: Mapping[str, type] = {"sun": Sun, "inverters": Inverter, "banks": Bank}
_PAGES = {"sun": "/sun", "inverters": "/inverter", "banks": "/banks", "loads": "/loads"}
_WHERE = {"sun": "Sun", "inverters": "Inverter", "banks": "Banks", "loads": "Loads"}
_EMPTIED = ("sun", "banks")
"""Parts whose fields may be empty again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One lesson as the page shows it.

    Attributes
    ----------
    tiles : tuple of (str, str, str)
        What, its number, and what that rests on.
    sets : tuple of (str, str)
        What using it would set, and to what.
    held : bool
        Whether the household has it already.
    outs : bool
        Whether it can be taken out again.
    """

    id: str
    title: str
    text: str
    tiles: tuple[tuple[str, str, str], ...]
    effect: str
    how: str
    caveats: tuple[str, ...]
    sets: tuple[tuple[str, str], ...]
    where: tuple[str, str]
    held: bool
    outs: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnView:
    """The page."""

    sentence: Markup
    range: str
    cards: tuple[Card, ...]
    missing: tuple[Missing, ...]


def learn_view(found: Learning, house: Household) -> LearnView:
    """Return what the page shows of what a log teaches a household."""
    cards = tuple(_card(one, house) for one in found.lessons)
    apart = sum(not (one.fits or card.held) for one, card in zip(found.lessons, cards, strict=True))
    if not cards:
        sentence = Markup("Your log teaches <strong>nothing yet</strong>; below stands what is missing.")
    elif not apart:
        sentence = Markup("Your log teaches <strong>{}</strong>, and the household has them all.").format(
            counted(len(cards), "number")
        )
    else:
        verb = "is" if apart == 1 else "are"
        sentence = Markup("Your log teaches <strong>{}</strong>; {} of them {} not what the household has.").format(
            counted(len(cards), "number"), apart, verb
        )
    return LearnView(
        sentence=sentence,
        range=f"From {on(found.first)} to {on(found.last)}, {counted(found.days, 'day')} with rows. Nothing of it "
        "counts before you say so.",
        cards=cards,
        missing=found.missing,
    )


def _card(one: Lesson, house: Household) -> Card:
    part = one.changes[0].part if one.changes else ""
    held = bool(one.changes) and all(_holds(house, change) for change in one.changes)
    return Card(
        id=one.id,
        title=one.title,
        text=one.text,
        tiles=(
            ("Found", _number(one.value, one.unit), f"{_span(one)}, {one.sure * 100:.0f}{NO_BREAK}%"),
            ("The household has", _number(one.now, one.unit), _beside(one, held=held)),
            ("It rests on", _rests(one), "of your log"),
        ),
        effect=_effect(one, held=held),
        how=one.how,
        caveats=one.caveats,
        sets=tuple(line for change in one.changes for line in _sets(change)),
        where=(_PAGES.get(part, ""), _WHERE.get(part, "")),
        held=held,
        outs=held and part in _EMPTIED and _may_be_empty(one.changes),
    )


def _number(value: float | None, unit: str) -> str:
    if value is None:
        return "none"
    if unit.startswith("share"):
        return f"{fixed(value * 100.0, 1)}{NO_BREAK}%{unit.removeprefix('share')}"
    return f"{figures(value, 3)}{NO_BREAK}{unit}"


def _span(one: Lesson) -> str:
    if one.unit.startswith("share"):
        return f"{fixed(one.low * 100.0, 1)} to {fixed(one.high * 100.0, 1)}{NO_BREAK}%"
    return f"{figures(one.low, 3)} to {figures(one.high, 3)}{NO_BREAK}{one.unit}"


def _beside(one: Lesson, *, held: bool) -> str:
    if held:
        return "this number, in use"
    if one.now is None:
        return "no number of its own"
    return "within what was found" if one.fits else "outside of what was found"


def _rests(one: Lesson) -> str:
    return counted(one.days, "discharge" if one.id == "capacity" else "day")


def _effect(one: Lesson, *, held: bool) -> str:
    if one.effect is None or held:
        return ""
    before, after = (f"{figures(value, 3)}" for value in (one.effect.before, one.effect.after))
    moves = f"stays at {before}" if before == after else f"goes from {before} to {after}"
    return f"{one.effect.label}: {moves}{NO_BREAK}{one.effect.unit}."


def _meaning(change: Change, name: str) -> Quantity | None:
    return quantities(_KINDS[change.part]).get(name)


def _sets(change: Change) -> list[tuple[str, str]]:
    """What a change sets, in the words of the forms."""
    if change.part == "loads":
        return [("Loads at the sockets", "one measured load in their place")]
    lines = []
    for name, value in change.fields.items():
        meaning = _meaning(change, name)
        if name == "monthly_kwh":
            kwh = [f"{MONTHS[m]} {figures(one, 3)}" for m, one in enumerate(value) if one is not None]
            lines.append(("kWh of the months", ", ".join(kwh)))
        elif meaning is not None and meaning.whole and name.endswith("_month"):
            lines.append((meaning.label, MONTHS[int(value) - 1]))
        elif meaning is not None:
            lines.append((meaning.label, f"{figures(value * meaning.scale, 4)}{NO_BREAK}{meaning.unit}"))
    return lines


def _may_be_empty(changes: tuple[Change, ...]) -> bool:
    names = [(change, name) for change in changes for name in change.fields]
    found = [_meaning(change, name) for change, name in names]
    return all(meaning is None or meaning.optional for meaning in found)


def _holds(house: Household, change: Change) -> bool:
    """Whether a household has what a change would set."""
    if change.part == "loads":
        profile = change.fields["profile"]
        return any(load.profile == profile for load in house.loads)
    things_of: tuple[Any, ...] = (house.sun,) if change.part == "sun" else getattr(house, change.part)
    thing = next((one for one in things_of if change.part == "sun" or one.id == change.id), None)
    return thing is not None and all(plain_data(getattr(thing, n)) == plain_data(v) for n, v in change.fields.items())


def used(document: Document, house: Household, lesson: Lesson) -> Document:
    """Return the document of a household with a lesson used; what it does not touch stays as it is written there.

    Raises
    ------
    InputError
        If the household cannot take it.
    """
    for change in lesson.changes:
        if change.part != "loads":
            document = with_values(document, change.part, change.id, plain_data(change.fields))
            continue
        written = write(taught(house, lesson))["loads"]
        old = {load["id"]: load for load in things(document, "loads")}
        kept = {load.id for load in house.loads if load in taught(house, lesson).loads}
        document = {**document, "loads": [old[one["id"]] if one["id"] in kept else one for one in written]}
    return document


def taken_out(document: Document, house: Household, lesson: Lesson) -> Document:
    """Return the document with the fields of a lesson empty again.

    Raises
    ------
    InputError
        If the household does not hold it, or its fields cannot be empty.
    """
    if not _card(lesson, house).outs:
        raise InputError("", "The household does not hold this any more; nothing is to be taken out.")
    for change in lesson.changes:
        document = with_values(document, change.part, change.id, dict.fromkeys(change.fields))
    return document
