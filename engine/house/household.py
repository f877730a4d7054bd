"""The household: one document that holds everything a person describes, with a format version.

`read` takes the JSON of the document, refuses unknown fields by name and gathers every fault it finds
in the householder's words; `write` gives the same JSON back. Only here does the engine use pydantic.
"""

from __future__ import annotations

import dataclasses
import json
from collections import Counter
from dataclasses import dataclass, field
from typing import Any, ClassVar

from pydantic import TypeAdapter, ValidationError

from engine.errors import InputError, NewerFormat
from engine.fields import Quantity, quantities
from engine.house.bank import Bank, Board
from engine.house.bounds import refuse_endless, refuse_long
from engine.house.bus import MOST_BANKS
from engine.house.generator import Generator
from engine.house.inverter import Inverter
from engine.house.loads import Load
from engine.house.prices import Prices
from engine.house.units import Units
from engine.house.wiring import Leg, Wiring
from engine.sky.site import Array, Site, Sun

FORMAT = 1
LONGEST_NAME = 200
LONGEST_NOTE = 5000
MOST_THINGS = {"inverters": 40, "banks": 40, "loads": 200, "generators": 40, "sun.arrays": 40}
"""Things of a kind in one household (judgement): each array costs 2 MB and more in an answer over thirty years."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """One inverter with its bank, the panels and the generator that charge it and the loads it carries.

    `beside` are further banks on the same DC bus.
    """

    bank: Bank
    inverter: Inverter
    arrays: tuple[Array, ...]
    loads: tuple[Load, ...]
    generator: Generator | None = None
    beside: tuple[Bank, ...] = ()

    @property
    def banks(self) -> tuple[Bank, ...]:
        """Every bank on the bus."""
        return (self.bank, *self.beside)

    @property
    def name(self) -> str:
        """The names of its banks."""
        *most, last = (bank.name for bank in self.banks)
        return f"{', '.join(most)} and {last}" if most else last

    @property
    def apart(self) -> tuple[Supply, ...]:
        """Each bank as if it were alone on the inverter, with all of its loads, panels and generator."""
        return tuple(dataclasses.replace(self, bank=bank, beside=()) for bank in self.banks)

    def on_standard_clock(self, ahead_h: float) -> Supply:
        """Return the same, its generator quiet by standard time, `ahead_h` [h] behind the clock on the wall."""
        generator = None if self.generator is None else self.generator.on_standard_clock(ahead_h)
        return dataclasses.replace(self, generator=generator)


@dataclass(frozen=True, slots=True, kw_only=True)
class Household:
    """Everything a householder describes."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    name: str
    site: Site
    sun: Sun = field(default_factory=Sun)
    inverters: tuple[Inverter, ...] = ()
    banks: tuple[Bank, ...] = ()
    loads: tuple[Load, ...] = ()
    generators: tuple[Generator, ...] = ()
    prices: Prices = field(default_factory=Prices)
    units: Units = field(default_factory=Units)
    note: str = ""
    example: bool = False
    format: int = FORMAT

    def __post_init__(self) -> None:
        for field_name, text, most in (("name", self.name, LONGEST_NAME), ("note", self.note, LONGEST_NOTE)):
            if len(text) > most:
                raise InputError(field_name, f"The {field_name} may have {most:,} characters; it has {len(text):,}.")
        _refuse_crowds(self)
        known = {inverter.id for inverter in self.inverters}
        for section in ("inverters", "banks", "loads", "generators"):
            _refuse_twins(section, [thing.id for thing in getattr(self, section)])
        _refuse_twins("sun.arrays", [array.id for array in self.sun.arrays])
        joined: Counter[str] = Counter()
        for index, bank in enumerate(self.banks):
            if not bank.inverter:
                continue
            _refuse_stranger(f"banks.{index}.inverter", bank.name, bank.inverter, known)
            joined[bank.inverter] += 1
            if joined[bank.inverter] > MOST_BANKS:
                raise InputError(
                    f"banks.{index}.inverter",
                    f"One inverter may have {MOST_BANKS} banks on its bus; {bank.name} would be one more. Enter like "
                    "strings as one bank with strings in parallel.",
                )
        named = [(f"loads.{index}", load.name, load.inverter) for index, load in enumerate(self.loads)]
        named += [(f"sun.arrays.{index}", array.name, array.inverter) for index, array in enumerate(self.sun.arrays)]
        named += [(f"generators.{index}", one.name, one.inverter) for index, one in enumerate(self.generators)]
        for place, name, inverter in named:
            if inverter:
                _refuse_stranger(f"{place}.inverter", name, inverter, known)
        _refuse_second_generators(self.generators, self.first_inverter)

    @property
    def south(self) -> bool:
        """Whether the household lies south of the equator."""
        return self.site.latitude_deg < 0

    @property
    def first_inverter(self) -> str:
        """Id of the inverter that takes what names none: the first with a bank, else the first; empty if none."""
        joined = {bank.inverter for bank in self.banks}
        ids = [inverter.id for inverter in self.inverters]
        return next((one for one in ids if one in joined), ids[0] if ids else "")

    def supplies(self) -> tuple[Supply, ...]:
        """Return one supply for each inverter that has a bank, in the order of the inverters.

        Loads, arrays and generators that name no inverter belong to the first that has a bank. A generator beside
        several banks on one bus is in no supply: it is not worked out.
        """
        first = self.first_inverter
        generators = {one.inverter or first: one for one in self.generators}
        by_inverter: dict[str, list[Bank]] = {}
        for bank in self.banks:
            by_inverter.setdefault(bank.inverter, []).append(bank)
        return tuple(
            Supply(
                bank=by_inverter[inverter.id][0],
                beside=tuple(by_inverter[inverter.id][1:]),
                inverter=inverter,
                arrays=tuple(a for a in self.sun.arrays if (a.inverter or first) == inverter.id),
                loads=tuple(x for x in self.loads if (x.inverter or first) == inverter.id),
                generator=generators.get(inverter.id) if len(by_inverter[inverter.id]) == 1 else None,
            )
            for inverter in self.inverters
            if inverter.id in by_inverter
        )

    def with_bank_alone(self, bank_id: str) -> Household:
        """Return the household with every other bank taken off the bus of one."""
        bus = next(bank.inverter for bank in self.banks if bank.id == bank_id)
        banks = (
            bank if bank.id == bank_id or bank.inverter != bus else dataclasses.replace(bank, inverter="")
            for bank in self.banks
        )
        return dataclasses.replace(self, banks=tuple(banks))


def _refuse_crowds(household: Household) -> None:
    """Refuse more things of a kind than answers are worked out for."""
    for section, most in MOST_THINGS.items():
        count = len(household.sun.arrays if section == "sun.arrays" else getattr(household, section))
        if count > most:
            raise InputError(section, f"A household may have {most} {section.rpartition('.')[2]}; this has {count:,}.")


def _refuse_twins(section: str, ids: list[str]) -> None:
    for index, one in enumerate(ids):
        if not one:
            raise InputError(f"{section}.{index}.id", f"Each of {section} needs an id; number {index + 1} has none.")
        if one in ids[:index]:
            raise InputError(f"{section}.{index}.id", f"Two of {section} have the id “{one}”; each needs its own.")


def _refuse_second_generators(generators: tuple[Generator, ...], first: str) -> None:
    """Refuse two generators on one inverter; one that names none is on the first."""
    taken: dict[str, str] = {}
    for index, one in enumerate(generators):
        inverter = one.inverter or first
        if inverter in taken:
            raise InputError(
                f"generators.{index}.inverter",
                f"{one.name} is joined to an inverter that already has {taken[inverter]}. Two generators on one "
                "inverter are not worked out: enter the one you would run.",
            )
        taken[inverter] = one.name


def _refuse_stranger(field: str, name: str, inverter: str, known: set[str]) -> None:
    if inverter not in known:
        has = ", ".join(sorted(known)) or "none"
        raise InputError(field, f"{name} names the inverter “{inverter}”, which is not listed; there is: {has}.")


_ADAPTER = TypeAdapter(Household)
_PARTS: dict[str, type] = {
    "banks": Bank,
    "board": Board,
    "generators": Generator,
    "inverters": Inverter,
    "arrays": Array,
    "prices": Prices,
    "site": Site,
    "sun": Sun,
    "units": Units,
    "wiring": Wiring,
    "main": Leg,
    "string": Leg,
}


def read(document: str | bytes | dict[str, Any]) -> Household:
    """Read a household from its JSON document.

    Parameters
    ----------
    document : str, bytes or dict
        The JSON text, or the same already parsed.

    Raises
    ------
    InputError
        Naming the first faulty field; every further fault is in its `others`.
    """
    if isinstance(document, str | bytes):
        refuse_long(document)
    try:
        data = json.loads(document, parse_constant=_refuse_constant) if isinstance(document, str | bytes) else document
        json.dumps(data, ensure_ascii=False).encode()
    except (ValueError, RecursionError, OverflowError, TypeError) as fault:
        where = f" (line {fault.lineno})" if isinstance(fault, json.JSONDecodeError) else ""
        raise InputError("document", f"This is not a household: it is no JSON text{where}.") from None
    if not isinstance(data, dict):
        raise InputError("document", "This is not a household: its JSON holds no object at the top.")
    refuse_endless(data)
    version = data.get("format", FORMAT)
    if not isinstance(version, int) or version < 1:
        raise InputError("format", f"The format must be a whole number from 1 to {FORMAT}; got {version!r}.")
    if version > FORMAT:
        raise NewerFormat(
            "format",
            f"This household has format {version}, made by a newer Greyspell; this one reads up to {FORMAT}. "
            "Nothing was changed: open it with the newer version.",
        )
    try:
        return _ADAPTER.validate_python(data)
    except (RecursionError, OverflowError):
        raise InputError("document", "This is not a household: it holds a number beyond all measure.") from None
    except ValidationError as fault:
        details = fault.errors()
        meant = [detail for detail in details if not _other_kind(detail)] or details
        found = [e for detail in meant for e in _in_words(detail)]
        raise InputError(found[0].field, found[0].message, tuple(found[1:])) from None


def write(household: Household) -> dict[str, Any]:
    """Return the JSON document of a household; `read` gives the same household back."""
    document: dict[str, Any] = _ADAPTER.dump_python(household, mode="json")
    return document


def _refuse_constant(name: str) -> float:
    raise ValueError(f"{name} is no number")


def _other_kind(detail: Any) -> bool:
    """Whether a fault is about the kind of chemistry, an id or a cell written out, that was not meant."""
    last = detail["loc"][-1] if detail["loc"] else ""
    return (last == "str" and isinstance(detail["input"], dict)) or detail["type"] == "dataclass_type"


def _in_words(detail: Any) -> list[InputError]:
    """Turn one pydantic fault into our own sentences."""
    where = [str(part) for part in detail["loc"] if part not in {"str", "Chemistry", "function-after"}]
    cause = detail.get("ctx", {}).get("error")
    if isinstance(cause, InputError):
        return list(cause.under(".".join(where)).every() if where else cause.every())
    field = ".".join(where)
    got = detail["input"]
    kind = detail["type"]
    if kind in {"unexpected_keyword_argument", "extra_forbidden"}:
        return [
            InputError(
                field,
                f"The field “{field}” is not known in a household of format {FORMAT}; remove or rename it.",
            )
        ]
    if kind == "missing":
        return [InputError(field, f"{_label(where)} is missing.")]
    meaning = _meaning(where)
    if meaning is not None and (text := meaning.refuse(got if not isinstance(got, dict | list) else str(got))):
        return [InputError(field, text)]
    shown = repr(got) if len(repr(got)) < 60 else type(got).__name__
    return [InputError(field, f"{_label(where)} cannot be {shown}: {detail['msg'].lower()}.")]


def _meaning(where: list[str]) -> Quantity | None:
    """Find the declared quantity at a place such as banks.0.board.cell_low_v."""
    named = [part for part in where[:-1] if part in _PARTS]
    return quantities(_PARTS[named[-1]]).get(where[-1]) if named else None


def _label(where: list[str]) -> str:
    meaning = _meaning(where)
    return meaning.label if meaning else f"The field “{'.'.join(where)}”"
