"""The sheet in words and tables: everything that stands on it beside the engine's own figures.

Sentences are made here from the same answers that the JSON gives; nothing is worked out a second time.
Times are on the household's clock.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import groupby

import numpy as np

from engine.answers.answer import Assumption
from engine.answers.autonomy import BankAutonomy
from engine.answers.inputs import Row, months_from
from engine.answers.riding import Riding
from engine.answers.sheet import Standard
from engine.answers.winters import BankRow
from engine.cells import catalogue
from engine.house.bank import Bank
from engine.house.household import Household, Supply
from engine.house.load_kinds import CLOCK_LABELS
from engine.house.loads import daily_kwh
from engine.quantities import WH_PER_KWH
from webapp import facts
from webapp.chart_parts import Figure
from webapp.inputs import bank_text, generator_text
from webapp.panel_words import stands
from webapp.questions import civil_times, to_standard
from webapp.render import NO_BREAK, fixed
from webapp.units import chosen, with_12_hours
from webapp.words import MONTHS, counted, in_sentence, listed, number, weekday

CURVE_HOURS = (0, 6, 12, 18)
"""Hours of the day at which the sheet prints the charge."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One thing the sheet takes for granted: what, its value, kind and source."""

    what: str
    value: str
    kind: str
    source: str


def fingerprint(text: str) -> str:
    """Return eight characters that change when the household's document does (of its SHA-256)."""
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def date_and_time(moment: datetime) -> str:
    """Write a moment in full, for a document.

    Examples
    --------
    >>> date_and_time(datetime(2026, 11, 5, 8, 4))
    '5 November 2026, 08:04'
    """
    return f"{moment.day} {MONTHS[moment.month - 1]} {moment.year}, {moment:%H:%M}"


def in_words(house: Household, supplies: Sequence[Supply], month: int) -> list[str]:
    """Tell the household in a few sentences: place and panels, banks, inverters and use."""
    site = house.site
    north = f"{abs(site.latitude_deg):g}° {'south' if site.south else 'north'}"
    east = f"{abs(site.longitude_deg):g}° {'west' if site.longitude_deg < 0 else 'east'}"
    sky = months_from(site, house.sun)
    told = [f"{house.name} stands at {north}, {east}; its sky: {sky[:1].lower()}{sky[1:]}."]
    told.append(_panels(house))
    told += [_supply(house, supply, month) for supply in supplies]
    on = {supply.inverter.id: supply for supply in supplies}
    told += [
        f"{one.name} stands beside {listed([in_sentence(bank.name) for bank in _joined(house, beside)])}: "
        f"{generator_text(one)}."
        for one in house.generators
        if (beside := on.get(one.inverter or house.first_inverter)) is not None
    ]
    idle = [bank for bank in house.banks if not bank.inverter]
    told += [
        f"{bank.name} is listed and not joined: {bank_text(bank)}; label {fixed(bank.label_kwh, 1)}{NO_BREAK}kWh."
        for bank in idle
    ]
    return told


def _panels(house: Household) -> str:
    arrays = house.sun.arrays
    if not arrays:
        return "It has no panels."
    each = [f"{one.name} {one.kwp:g}{NO_BREAK}kWp, {stands(one, south=house.south)}" for one in arrays]
    return f"It has {sum(a.kwp for a in arrays):g}{NO_BREAK}kWp of panels: {listed(each)}."


def _supply(house: Household, supply: Supply, month: int) -> str:
    inverter = supply.inverter
    banks = listed(
        [f"{b.name} ({bank_text(b)}; label {fixed(b.label_kwh, 1)}{NO_BREAK}kWh)" for b in _joined(house, supply)]
    )
    feed = "together feed" if len(_joined(house, supply)) > 1 else "feeds"
    kwh = sum(daily_kwh(load, month, house.south) for load in supply.loads)
    return (
        f"{banks} {feed} the house through "
        f"{in_sentence(inverter.name)} of {inverter.rated_w / WH_PER_KWH:g}{NO_BREAK}kW, which takes "
        f"{inverter.idle_w:g}{NO_BREAK}W itself. Its {number(len(supply.loads))} loads take "
        f"{kwh:.3g}{NO_BREAK}kWh a day in {MONTHS[month - 1]}."
    )


def _joined(house: Household, supply: Supply) -> tuple[Bank, ...]:
    """Every bank on the bus of a supply, also where it is taken as if one stood alone."""
    return tuple(bank for bank in house.banks if bank.inverter == supply.inverter.id)


def risk_sentence(answer: Riding | None) -> str:
    """Say how often the bank asked for, and the own one, would have run empty; nothing where it was not counted."""
    if answer is None:
        return ""
    winters = f"of {number(answer.years)} {'measured' if answer.basis == 'measured' else 'made'} winters"
    strings = counted(answer.asked.strings, "string")
    asked = f"Its risk: {strings} would have run empty {_emptied(answer.asked)} {winters}"
    if answer.own.strings == answer.asked.strings:
        return f"{asked}; that is the bank as it stands."
    return f"{asked}; the bank as it stands, {counted(answer.own.strings, 'string')}, {_emptied(answer.own)}."


def _emptied(row: BankRow) -> str:
    if not row.dark_spells:
        return "in none"
    return f"{counted(row.dark_spells, 'time')}, in {number(row.dark_winters)}"


def by_region(standards: Iterable[Standard]) -> list[tuple[str, list[Standard]]]:
    """Group standards by where they rule."""
    return [(region, list(each)) for region, each in groupby(standards, key=lambda one: one.region)]


def curve_table(house: Household, bank: BankAutonomy, at: datetime) -> tuple[list[str], list[tuple[str, list[str]]]]:
    """Return the charge of a bank at four hours of each day [%]: the days, and a row for each hour.

    Parameters
    ----------
    at : datetime
        The moment asked about, on the household's clock.

    Returns
    -------
    (days, rows) : tuple
        Names of the days that have any of these hours; hour and its charges, empty before the start and after the end.
    """
    times = civil_times(house.site, to_standard(house.site, at), bank.times_h.tolist())
    first, last = times[0], times[-1]
    seconds = np.array([(time - first).total_seconds() for time in times])
    midnights = [
        datetime.combine(first.date() + timedelta(days=day), datetime.min.time())
        for day in range((last - timedelta(seconds=1)).toordinal() - first.toordinal() + 1)
    ]

    def told(moment: datetime) -> str:
        inside = first <= moment <= last
        return fixed(100.0 * float(np.interp((moment - first).total_seconds(), seconds, bank.soc))) if inside else ""

    midnights = [day for day in midnights if any(told(day + timedelta(hours=hour)) for hour in CURVE_HOURS)]
    rows = [(f"{hour:02d}:00", [told(day + timedelta(hours=hour)) for day in midnights]) for hour in CURVE_HOURS]
    return [f"{weekday(day.date())[:3]} {day.day}" for day in midnights], rows


def on_paper(figure: Figure, height: int) -> Figure:
    """Return a figure with a height of its own [px], for a document."""
    return {**figure, "layout": {**figure["layout"], "height": height}}


def assumption_groups(house: Household, assumptions: Iterable[Assumption]) -> list[tuple[str, list[Entry]]]:
    """Group what is taken for granted by its subject, cells with their values."""
    cells = [bank.cell for bank in house.banks] + [catalogue.load(key) for key in catalogue.COMPARED]
    known = facts.titled(cells)
    grouped: dict[str, list[Entry]] = {}
    for one in assumptions:
        subject, _, name = one.name.partition(": ")
        fact = known.get(one.name)
        entry = Entry(
            what=fact.text if fact else (name or subject)[:1].upper() + (name or subject)[1:],
            value="" if fact else one.value,
            kind=one.kind,
            source=one.source,
        )
        grouped.setdefault(subject if name else "Days and panels", []).append(entry)
    return list(grouped.items())


def input_cells(row: Row) -> tuple[str, str, str, str]:
    """Return an input in words: what it is called, its value, its unit and where it is from."""
    row = clocked(row)
    value = row.value if isinstance(row.value, str) else facts.plain_number(row.value)
    return row.label, value, row.unit, row.origin


def clocked(row: Row) -> Row:
    """Return an input that is a time of the day as the household reads its clock."""
    if row.label not in CLOCK_LABELS or row.unit != "h" or isinstance(row.value, str) or chosen().clock != "12":
        return row
    minutes = round(row.value * 60.0)
    return replace(row, value=with_12_hours(minutes // 60, minutes % 60), unit="")


def cautions(house: Household) -> tuple[str, ...]:
    """Return the cautions that belong to this household, by their key in the cautions' template."""
    cells = [bank.cell for bank in house.banks]
    named = " ".join([house.note, *(i.name for i in house.inverters), *(load.name for load in house.loads)]).lower()
    kinds = {load.kind for load in house.loads}
    asked = (
        ("mains", True),
        ("dc", True),
        ("panels", bool(house.sun.arrays)),
        ("hydrogen", any(cell.vents_hydrogen for cell in cells)),
        ("lithium", any(cell.needs_board for cell in cells)),
        ("fire", True),
        ("lifting", True),
        ("unlisted", True),
        ("generator", bool(house.generators) or "generator" in named or "genset" in named),
        ("water", "water" in kinds),
        ("pool", "pump" in kinds),
        ("check", True),
    )
    return tuple(key for key, belongs in asked if belongs)
