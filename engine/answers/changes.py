"""What differs between two versions of a household, in words: thing, field, before and after.

The fields are those of `inputs`, with the labels and units they are declared with; a thing is known by its name, so one
that was renamed is one removed and one added.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from engine.answers.inputs import Row, Section, sections
from engine.house.household import Household


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One field that differs, both values as people read them; empty where the field was not there."""

    thing: str
    label: str
    before: str
    after: str
    unit: str = ""

    @property
    def sentence(self) -> str:
        """The change as one line.

        Examples
        --------
        >>> Change(thing="Store-room bank", label="Capacity", before="280", after="304", unit="Ah").sentence
        'Store-room bank: capacity 280 → 304 Ah'
        >>> Change(thing="Tank", label="Water up to", before="60", after="", unit="°C").sentence
        'Tank: water up to 60 °C → empty'
        """
        if not self.label:
            return f"{self.thing} {'added' if self.after else 'removed'}"
        label = self.label[:1].lower() + self.label[1:] if self.label[1:2].islower() else self.label
        unit = f" {self.unit}" if self.unit else ""
        after = f"{self.after}{unit}" if self.after else "empty"
        before = (self.before if self.after else f"{self.before}{unit}") if self.before else "empty"
        return f"{self.thing}: {label} {before} → {after}"


def changes(before: Household, after: Household) -> tuple[Change, ...]:
    """Return every field that differs, thing by thing; a thing that came or went is one line."""
    return (*_named(before, after), *_of_things(_by_title(before), _by_title(after)))


def _named(before: Household, after: Household) -> Iterator[Change]:
    for label, old, new in (("Name", before.name, after.name), ("Note", before.note, after.note)):
        if old != new:
            yield Change(thing="The household", label=label, before=_short(old), after=_short(new))


def _by_title(house: Household) -> dict[tuple[str, int], Section]:
    """Sections by title; several of one title are told apart by their order."""
    found: dict[tuple[str, int], Section] = {}
    for section in sections(house):
        number = sum(title == section.title for title, _ in found)
        found[section.title, number] = section
    return found


def _of_things(old: dict[tuple[str, int], Section], new: dict[tuple[str, int], Section]) -> Iterator[Change]:
    for key in dict.fromkeys((*old, *new)):
        if key not in new:
            yield Change(thing=key[0], label="", before=key[0], after="")
        elif key not in old:
            yield Change(thing=key[0], label="", before="", after=key[0])
        else:
            yield from _of_rows(key[0], _by_label(old[key]), _by_label(new[key]))


def _by_label(section: Section) -> dict[tuple[str, int], Row]:
    found: dict[tuple[str, int], Row] = {}
    for row in section.rows:
        number = sum(label == row.label for label, _ in found)
        found[row.label, number] = row
    return found


def _of_rows(thing: str, old: dict[tuple[str, int], Row], new: dict[tuple[str, int], Row]) -> Iterator[Change]:
    for key in dict.fromkeys((*old, *new)):
        was, now = old.get(key), new.get(key)
        before, after = _text(was), _text(now)
        if before != after:
            unit = next((row.unit for row in (now, was) if row is not None), "")
            yield Change(thing=thing, label=key[0], before=before, after=after, unit=unit)


def _text(row: Row | None) -> str:
    if row is None:
        return ""
    return row.value if isinstance(row.value, str) else f"{row.value:.6g}"


def _short(text: str) -> str:
    return f"“{text[:60]}{'…' if len(text) > 60 else ''}”" if text else ""
