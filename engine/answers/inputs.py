"""Every input of a household as rows for paper: what it is called, its value, its unit, where it is from.

Values are as people read them (percent, not fractions). The document cannot tell what was typed from what the form
filled in, so an origin is said only where it is known: a load's usual value, what is worked out, the catalogue, a file.
Left out: an optional number that is empty; the numbers of cells, which stand with the assumptions.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from engine.fields import Quantity, quantities, whole_if_so
from engine.house.bank import Bank
from engine.house.generator import Generator
from engine.house.household import Household
from engine.house.inverter import FULL_LOAD_EFFICIENCY, LINEAR_LOSS, Inverter
from engine.house.load_profile import Profile
from engine.house.loads import SIDES, Load
from engine.house.prices import Prices
from engine.house.units import Units
from engine.sky import local
from engine.sky.climate import MONTH_NAMES
from engine.sky.site import Array, Site, Sun
from engine.text.dates import clock_hour


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One input: what it is called, its value as people read it, its unit, and where it is from."""

    label: str
    value: str | float
    unit: str = ""
    origin: str = ""


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
        Section(title="Panels", rows=_rows(household.sun)),
        *_monthly(household.sun),
        *_spells(household.sun),
        *(_array(array, fed_by) for array in household.sun.arrays),
        *(_inverter(inverter) for inverter in household.inverters),
        *(section for bank in household.banks for section in (_bank(bank, names), *_wiring(bank))),
        *(_load(load, fed_by) for load in household.loads),
        *(_generator(generator, fed_by) for generator in household.generators),
        *_prices(household.prices),
        _units(household.units),
    )


def _units(units: Units) -> Section:
    """In what the household reads; its numbers here are in the engine's own."""
    return Section(title="Units to read in", rows=tuple(Row(label=label, value=text) for label, text in units.rows))


def months_from(site: Site, sun: Sun) -> str:
    """Say whose months count: the owner's kWh, else the owner's clearness, else the sky chosen for the place.

    Examples
    --------
    >>> site = Site(latitude_deg=52.0, longitude_deg=5.0, time_zone="Europe/Amsterdam")
    >>> months_from(site, Sun(monthly_kc=(0.5,) * 12, sky_file="hill.csv"))
    'the household’s own clearness of the months, from “hill.csv”'
    """
    kwh = sun.monthly_kwh if sun.monthly_kwh and sun.arrays else (None,) * 12
    own = [name for name, value in zip(MONTH_NAMES, kwh, strict=True) if value is not None]
    file = f", from “{sun.sky_file}”" if sun.sky_file else ""
    others = f"the household’s own clearness of the months{file}" if sun.monthly_kc else local.sky_name(site)
    if not own:
        return others
    if len(own) == 12:
        return "the household’s own kWh of all twelve months"
    return f"the household’s own kWh of {', '.join(own)}; the other months: {others[:1].lower()}{others[1:]}"


def _place(household: Household) -> Section:
    site = household.site
    rows = (
        *_rows(site),
        Row(label="Time zone", value=site.time_zone),
        Row(label="Sky chosen for it", value=local.sky_name(site)),
        Row(label="What its months go by", value=months_from(site, household.sun)),
    )
    return Section(title="Place", rows=rows)


def _monthly(sun: Sun) -> tuple[Section, ...]:
    """The household's own kWh and clearness, month by month; a month left empty is left out."""
    kinds = (
        ("The months’ kWh, all panels", "kWh", sun.monthly_kwh, ""),
        ("The months’ clearness, mean kc", "", _each(sun.monthly_kc), f"from “{sun.sky_file}”" if sun.sky_file else ""),
    )
    return tuple(
        Section(
            title=title,
            rows=tuple(
                Row(label=name, value=value, unit=unit, origin=origin)
                for name, value in zip(MONTH_NAMES, values, strict=True)
                if value is not None
            ),
        )
        for title, unit, values, origin in kinds
        if values is not None and any(value is not None for value in values)
    )


def _spells(sun: Sun) -> tuple[Section, ...]:
    """The household's own dull spells, from its file."""
    file = f" from “{sun.sky_file}”" if sun.sky_file else ""
    return tuple(
        Section(
            title=f"Own dull spell{file}: {spell.title}",
            rows=(
                Row(label="Ended", value=spell.ended),
                *_rows(spell),
                Row(label="Its days, kc", value=", ".join(_each(spell.kc) or ())),
                Row(label="The days after, kc", value=", ".join(_each(spell.after_kc) or ()) or "none"),
            ),
        )
        for spell in sun.spells
    )


def _each(values: tuple[float, ...] | None) -> tuple[str, ...] | None:
    return None if values is None else tuple(f"{value:.2f}" for value in values)


def _array(array: Array, fed_by: Mapping[str, str]) -> Section:
    return Section(title=array.name, rows=(*_rows(array), Row(label="Charges through", value=fed_by[array.inverter])))


def _inverter(inverter: Inverter) -> Section:
    """Its figures; loss factors as the form works them out stand as worked out from the efficiency beside them."""
    usual = inverter.k1 == LINEAR_LOSS
    origins = dict.fromkeys(("k1", "k2"), "worked out from the full-load efficiency") if usual else {}
    origins |= dict.fromkeys(inverter.proposed, "proposed for the bank as it was then, not typed")
    full_load = Row(
        label=FULL_LOAD_EFFICIENCY.label,
        value=inverter.efficiency(inverter.rated_w) * FULL_LOAD_EFFICIENCY.scale,
        unit=FULL_LOAD_EFFICIENCY.unit,
        origin="" if usual else "from the losses",
    )
    return Section(title=inverter.name, rows=(full_load, *_rows(inverter, origins)))


def _bank(bank: Bank, names: Mapping[str, str]) -> Section:
    charge_v = Row(
        label="Charge ends at",
        value=bank.charge_end_cell_v,
        unit="V per cell",
        origin="usual for the chemistry" if bank.top_v is None else "",
    )
    rows = (
        Row(
            label="Cells",
            value=bank.cell.name,
            origin="catalogue" if isinstance(bank.chemistry, str) else "the household’s own",
        ),
        Row(label="Joined to", value=names[bank.inverter] if bank.inverter else "not joined"),
        *_rows(bank),
        *((charge_v,) if bank.charge_v is None else ()),
        _yes("Hold at the end of charge", bank.hold),
        _yes("A DC fuse of its own", bank.own_fuse),
        _yes("A DC disconnect of its own", bank.own_disconnect),
        *_board(bank),
    )
    return Section(title=bank.name, rows=rows)


def _board(bank: Bank) -> tuple[Row, ...]:
    if bank.board is None:
        return (Row(label="Protection board", value="none"),)
    return (*_rows(bank.board), _yes("Board: opens a contactor", bank.board.contactor))


def _wiring(bank: Bank) -> tuple[Section, ...]:
    """A bank's cables and fuses, where they are described."""
    wired = bank.wiring
    if wired is None:
        return ()
    legs = (("main cable", wired.main), ("cable of each string", wired.string))
    return (
        Section(title=f"{bank.name}: wiring", rows=_rows(wired)),
        *(Section(title=f"{bank.name}: {name}", rows=_rows(leg)) for name, leg in legs if leg is not None),
    )


def _load(load: Load, fed_by: Mapping[str, str]) -> Section:
    marks = {"can wait": load.can_wait, "can be switched off": load.can_shed, "never off": load.never_off}
    numbers = (
        _row(field.quantity, load.filled()[name], "" if name in load.values else field.source.kind)
        for name, field in load.meaning.fields.items()
    )
    rows = (
        Row(label="Kind", value=load.meaning.name),
        Row(label="Measured", value=SIDES[load.measured]),
        Row(label="Fed by", value=fed_by[load.inverter]),
        *numbers,
        *_profile(load.profile),
        Row(label="Months", value=_months(load.months)),
        Row(label="When the bank is low", value=", ".join(m for m, is_so in marks.items() if is_so) or "stays on"),
    )
    return Section(title=load.name, rows=rows)


def _profile(profile: Profile | None) -> tuple[Row, ...]:
    """What was measured of a load: its days by month and by day of the week, not each of their hours."""
    if profile is None:
        return ()
    highest_w = max(max(day) for day in profile.month_w)
    return (
        Row(label="Measured by", value=profile.title or "not said"),
        Row(label="Whole days it rests on", value=profile.days),
        Row(label="Mean days measured, January first", value=_listed(profile.daily_kwh()), unit="kWh a day"),
        Row(label="Highest hour of the mean days", value=highest_w, unit="W"),
        Row(
            label="Days of the week, Monday first",
            value=_listed(tuple(100.0 * share for share in profile.weekday_share)),
            unit="% of the mean day",
        ),
    )


def _listed(values: tuple[float, ...]) -> str:
    return ", ".join(f"{value:.4g}" for value in values)


def _generator(generator: Generator, fed_by: Mapping[str, str]) -> Section:
    rows = (
        Row(label="Joined to", value=fed_by[generator.inverter]),
        *_rows(generator),
        _yes("Starts by itself", generator.by_itself),
    )
    return Section(title=generator.name, rows=rows)


def _prices(prices: Prices) -> tuple[Section, ...]:
    """The prices that were typed; none at all is no section."""
    if not prices.known:
        return ()
    return (Section(title=f"Prices, in {prices.currency or 'your currency'}", rows=_rows(prices)),)


def _yes(label: str, is_so: bool) -> Row:
    return Row(label=label, value="yes" if is_so else "no")


def _months(months: tuple[int, ...]) -> str:
    return "all year" if len(months) == 12 else ", ".join(MONTH_NAMES[month - 1] for month in months)


def _rows(thing: Any, origins: Mapping[str, str] | None = None) -> tuple[Row, ...]:
    """The declared quantities of a dataclass; an empty optional one is left out, a month goes by its name."""
    known = origins or {}
    return tuple(
        Row(label=meaning.label, value=MONTH_NAMES[value - 1])
        if meaning.whole and name.endswith("month")
        else _row(meaning, value, known.get(name, ""))
        for name, meaning in quantities(type(thing)).items()
        if (value := getattr(thing, name)) is not None
    )


def _row(meaning: Quantity, value: float, origin: str) -> Row:
    shown = _clock(value) if meaning.halves else value * meaning.scale
    return Row(label=meaning.label, value=shown, unit=meaning.unit, origin=origin)


def _clock(hour: float) -> str | float:
    """An hour of the day: a whole one as a number, any other as a time of the clock."""
    return clock_hour(hour) if hour % 1 else whole_if_so(hour)
