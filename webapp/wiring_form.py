"""The form of a bank's wiring: the main cable, that of each string, its cells, and what is wanted.

A cross-section is typed in mm² or as an AWG size and kept in mm².
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

from engine.errors import InputError
from engine.fields import Quantity, quantities
from engine.house.bank import Bank
from engine.house.wiring import AWG_NAMES, Leg, Wiring, awg_mm2, awg_name
from webapp.forms import Card, Field, Group, Values, filled, number_field, number_fields
from webapp.store import Document
from webapp.units import chosen

MAIN, STRING = "main", "string"
LEGS = {
    MAIN: ("The main cable", "From the bank to the inverter, plus and minus alike."),
    STRING: ("The cable of each string", "From one string to where the strings meet, plus and minus alike."),
}
AWG = "awg"
AREA_HINT = "As printed on the cable; copper. Or type its AWG size instead"
ONE_HINT = "Copper: “4” or “2/0”, or square millimetres with their unit, “35 mm²”"
AWG_HINT = "“4” or “2/0”; empty where mm² are typed"


def wiring_card(bank: Bank) -> Card:
    """Return the form of a bank's wiring, filled with what is stored."""
    places = (MAIN, STRING) if bank.parallel > 1 else (MAIN,)
    cells = number_fields(Wiring, "cell_mohm", "fault_ka")
    wanted = number_fields(Wiring, "drop_share", "conductor_c")
    groups = (
        *(Group(legend=LEGS[place][0], hint=LEGS[place][1], fields=_leg_fields(place)) for place in places),
        Group(
            legend="Its cells in a short",
            fields=cells,
            hint="From the maker’s sheet. One of the two is enough; with both, the higher current counts.",
        ),
        Group(legend="What is wanted", fields=wanted),
    )
    fields = tuple(one for group in groups for one in group.fields)
    return Card(
        id=bank.id,
        prefix=f"wiring-{bank.id}-",
        groups=groups,
        form=filled(fields, _stored(bank.wiring)),
        button=f"Save the wiring of {bank.name}",
    )


def _leg_fields(place: str) -> tuple[Field, ...]:
    meanings = {name: _named(place, meaning) for name, meaning in quantities(Leg).items()}
    hints = {"area_mm2": ONE_HINT if _one_field() else AREA_HINT}
    fields = [
        number_field(f"{place}.{name}", meaning, optional=True, hint=hints.get(name, ""))
        for name, meaning in meanings.items()
    ]
    size = Field(
        name=f"{place}.{AWG}",
        label=_of(place, "Or its AWG size"),
        kind="text",
        suggestions=AWG_NAMES,
        hint=AWG_HINT,
        optional=True,
    )
    return (*fields[:2], *(() if _one_field() else (size,)), *fields[2:])


def _one_field() -> bool:
    """Whether the cross-section is typed in one field, as where AWG sizes are read: it takes either."""
    return chosen().wire == "awg"


def _named(place: str, meaning: Quantity) -> Quantity:
    return dataclasses.replace(meaning, label=_of(place, meaning.label))


def _of(place: str, label: str) -> str:
    """The label of a field, that of a string's cable told apart."""
    return label if place == MAIN else f"String: {label[:1].lower()}{label[1:]}"


def _stored(wiring: Wiring | None) -> Values:
    """The values of the form; a size that is an AWG one stands as that."""
    if wiring is None:
        return {}
    values: Values = {name: getattr(wiring, name) for name in quantities(Wiring)}
    for place in LEGS:
        leg = getattr(wiring, place)
        if leg is None:
            continue
        values |= {f"{place}.{name}": getattr(leg, name) for name in quantities(Leg)}
        if (size := awg_name(leg.area_mm2)) and not _one_field():
            values |= {f"{place}.area_mm2": None, f"{place}.{AWG}": size}
    return values


def in_the_fields_of_now(sent: Mapping[str, str]) -> dict[str, str]:
    """What a form sent, an AWG size with its unit where one field takes both, which another tab may have chosen since.

    Examples
    --------
    >>> in_the_fields_of_now({"main.area_mm2": "", "main.awg": "4"})
    {'main.area_mm2': '', 'main.awg': '4'}
    """
    sizes = {place: sent.get(f"{place}.{AWG}", "").strip() for place in LEGS} if _one_field() else {}
    alone = {place: size for place, size in sizes.items() if size and not sent.get(f"{place}.area_mm2", "").strip()}
    return {**sent, **{f"{place}.area_mm2": f"AWG {_bare(size)}" for place, size in alone.items()}}


def _bare(size: str) -> str:
    """An AWG size without the letters and the sign that people write beside it."""
    return size.upper().replace("AWG", "").strip("# ")


def wiring_of(values: Values, old: Document | None) -> Document:
    """Make the document's wiring of what was typed; the cable of a string that was not asked stays as it was.

    Raises
    ------
    InputError
        For a cable of which only a part is typed, a size typed twice, or no AWG size.
    """
    asked = {place: _leg(place, values) for place in LEGS if f"{place}.length_m" in values}
    faults = [fault for found in asked.values() if isinstance(found, InputError) for fault in found.every()]
    if faults:
        raise InputError(faults[0].field, faults[0].message, tuple(faults[1:]))
    return {**(old or {}), **{name: values[name] for name in quantities(Wiring)}, **asked}


def _leg(place: str, values: Values) -> Document | InputError | None:
    """One cable as typed; None where nothing is."""
    typed = {name: values[f"{place}.{name}"] for name in quantities(Leg)}
    size = values.get(f"{place}.{AWG}", "").strip()
    if not size and all(value is None for value in typed.values()):
        return None
    faults = []
    if typed["length_m"] is None:
        faults.append(_missing(place, "length_m"))
    if size and typed["area_mm2"] is not None:
        text = f"{_of(place, 'Copper cross-section')}: type mm² or an AWG size, not both."
        faults.append(InputError(f"{place}.{AWG}", text))
    elif size:
        try:
            typed["area_mm2"] = awg_mm2(size)
        except InputError as fault:
            faults.append(InputError(f"{place}.{AWG}", fault.message))
    elif typed["area_mm2"] is None:
        faults.append(_missing(place, "area_mm2"))
    return InputError(faults[0].field, faults[0].message, tuple(faults[1:])) if faults else typed


def _missing(place: str, name: str) -> InputError:
    meaning = _named(place, quantities(Leg)[name])
    return InputError(f"{place}.{name}", dataclasses.replace(meaning, optional=False).refuse(None) or "")
