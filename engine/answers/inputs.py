"""Every input of a household as rows for paper: what it is called, its value, its unit, where it is from.

Values are as people read them (percent, not fractions). A value that equals what the form offers counts as
usual, not as typed.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from engine.fields import Quantity, quantities
from engine.house.bank import Bank
from engine.house.generator import Generator
from engine.house.household import Household
from engine.house.inverter import Inverter
from engine.house.loads import SIDES, Load
from engine.sky import local
from engine.sky.site import Array

USUAL = "usual value"


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One input: what it is called, its value as people read it, its unit, and where it is from."""

    label: str
    value: str | float
    unit: str = ""
    origin: str = "chosen"


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """The inputs of one thing in the house."""

    title: str
    rows: tuple[Row, ...]


def sections(household: Household) -> tuple[Section, ...]:
    """Every input of the household, thing by thing."""
    names = {inverter.id: inverter.name for inverter in household.inverters}
    fed_by = {"": names.get(household.first_inverter, "none"), **names}
    return (
        _place(household),
        Section(title="Panels", rows=(*_rows(household.sun), *_monthly(household))),
        *(_array(array, fed_by) for array in household.sun.arrays),
        *(_inverter(inverter) for inverter in household.inverters),
        *(_bank(bank, names) for bank in household.banks),
        *(_load(load, fed_by) for load in household.loads),
        *(_generator(generator, fed_by) for generator in household.generators),
    )


def _place(household: Household) -> Section:
    site = household.site
    rows = (
        *_rows(site),
        Row(label="Time zone", value=site.time_zone, origin="typed"),
        Row(label="How clear its months are", value=local.sky_name(site)),
    )
    return Section(title="Place", rows=rows)


def _monthly(household: Household) -> tuple[Row, ...]:
    """The household's own clearness of the months, where it is typed."""
    own = household.sun.monthly_kc
    if own is None:
        return ()
    return (Row(label="Clearness of the months", value=", ".join(f"{kc:.2f}" for kc in own), origin="typed"),)


def _array(array: Array, fed_by: Mapping[str, str]) -> Section:
    return Section(title=array.name, rows=(*_rows(array), Row(label="Charges through", value=fed_by[array.inverter])))


def _inverter(inverter: Inverter) -> Section:
    """Its typed figures; the two loss terms are those of the efficiency beside them."""
    full_load = Row(
        label="Efficiency at full power",
        value=inverter.efficiency(inverter.rated_w) * 100.0,
        unit="%",
        origin="from the losses",
    )
    return Section(title=inverter.name, rows=(*_rows(inverter), full_load))


def _bank(bank: Bank, names: Mapping[str, str]) -> Section:
    charge_v = Row(
        label="Charge ends at",
        value=bank.charge_end_cell_v,
        unit="V per cell",
        origin="usual for the chemistry" if bank.charge_v is None and bank.top_v is None else "typed",
    )
    rows = (
        Row(
            label="Cells",
            value=bank.cell.name,
            origin="catalogue" if isinstance(bank.chemistry, str) else "the household's own",
        ),
        Row(label="Joined to", value=names[bank.inverter] if bank.inverter else "not joined"),
        *_rows(dataclasses.replace(bank, charge_v=None)),
        charge_v,
        _yes("Hold at the end of charge", bank.hold),
        *_board(bank),
    )
    return Section(title=bank.name, rows=rows)


def _board(bank: Bank) -> tuple[Row, ...]:
    if bank.board is None:
        return (Row(label="Protection board", value="none"),)
    return (*_rows(bank.board), _yes("Board: opens a contactor", bank.board.contactor))


def _load(load: Load, fed_by: Mapping[str, str]) -> Section:
    marks = {"can wait": load.can_wait, "can be switched off": load.can_shed, "never off": load.never_off}
    numbers = (
        _row(field.quantity, load.filled()[name], "typed" if name in load.values else field.source.kind)
        for name, field in load.meaning.fields.items()
    )
    rows = (
        Row(label="Kind", value=load.meaning.name),
        Row(label="Measured", value=SIDES[load.measured]),
        Row(label="Fed by", value=fed_by[load.inverter]),
        *numbers,
        Row(label="Months", value="all year" if len(load.months) == 12 else ", ".join(map(str, load.months))),
        Row(label="When the bank is low", value=", ".join(m for m, is_so in marks.items() if is_so) or "stays on"),
    )
    return Section(title=load.name, rows=rows)


def _generator(generator: Generator, fed_by: Mapping[str, str]) -> Section:
    rows = (
        Row(label="Joined to", value=fed_by[generator.inverter]),
        *_rows(generator),
        _yes("Starts by itself", generator.by_itself),
    )
    return Section(title=generator.name, rows=rows)


def _yes(label: str, is_so: bool) -> Row:
    return Row(label=label, value="yes" if is_so else "no")


def _rows(thing: Any) -> tuple[Row, ...]:
    """The declared quantities of a dataclass; an empty optional one is left out."""
    usual = {field.name: field.default for field in dataclasses.fields(thing)}
    return tuple(
        _row(meaning, value, USUAL if value == usual[name] else "typed")
        for name, meaning in quantities(type(thing)).items()
        if (value := getattr(thing, name)) is not None
    )


def _row(meaning: Quantity, value: float, origin: str) -> Row:
    return Row(label=meaning.label, value=value * meaning.scale, unit=meaning.unit, origin=origin)
