"""The settings of a bank in words: a row for each thing to set, with what is set now and room to write on paper."""

from __future__ import annotations

from dataclasses import dataclass

from engine.answers.answer import Remedy
from engine.answers.commissioning import BankSettings, Commissioning
from engine.answers.commissioning_parts import ToSet
from webapp.render import NO_BREAK, figures, fixed
from webapp.words import in_sentence, listed, number

CELL_DIGITS, PACK_DIGITS = 2, 1
LONG_MIN = 120.0
"""From so many minutes on a hold is told in hours and minutes (choice)."""
APART_V = 0.05
"""Set volts that differ by less are the same on an inverter's display."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingRow:
    """One row: what, to what value, the same per cell, what is set now, whether these differ, and why.

    `take` is the change of the inverter that a button makes where what is set now was only proposed once.
    """

    label: str
    value: str
    per_cell: str
    now: str
    differs: bool
    why: str
    take: Remedy | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsCard:
    """One bank's settings."""

    bank_id: str
    title: str
    about: str
    rows: tuple[SettingRow, ...]


def cards(answer: Commissioning) -> tuple[SettingsCard, ...]:
    """Return the tables of every bank."""
    return tuple(
        SettingsCard(
            bank_id=bank.bank_id,
            title=bank.bank_name,
            about=_about(bank),
            rows=tuple(row(one, bank.inverter_id) for one in bank.rows),
        )
        for bank in answer.banks
    )


def _about(bank: BankSettings) -> str:
    if bank.series is None:
        return f"Set once for all of them, on charger and {in_sentence(bank.inverter_name)}"
    return f"{bank.chemistry}, {bank.series} cells in series, on {in_sentence(bank.inverter_name)}"


def row(one: ToSet, inverter_id: str = "") -> SettingRow:
    """Write one setting; what nobody typed does not differ but was proposed, and the new proposal can be taken."""
    differs = _differs(one)
    return SettingRow(
        label=one.label,
        value=_value(one),
        per_cell="" if one.cell_v is None else f"{fixed(one.cell_v, CELL_DIGITS)}{NO_BREAK}V",
        now=_now(one),
        differs=differs,
        take=_take(one, inverter_id) if differs and one.proposed_as and inverter_id else None,
        why=f"{one.why[:1].upper()}{one.why[1:]}.",
    )


def _take(one: ToSet, inverter_id: str) -> Remedy | None:
    """The change that takes what is proposed now, as the display of the inverter has it."""
    if one.pack_v is None:
        return None
    volts = round(one.pack_v, PACK_DIGITS)
    label = f"Take {fixed(volts, PACK_DIGITS)} V for {in_sentence(one.label)}"
    return Remedy(label=label, section="inverters", item_id=inverter_id, values={one.proposed_as: volts})


def _value(one: ToSet) -> str:
    if one.pack_v is not None:
        return f"{fixed(one.pack_v, PACK_DIGITS)}{NO_BREAK}V"
    if one.value is None:
        return "–"
    if one.unit == "min" and one.value >= LONG_MIN:
        return f"{one.value // 60:.0f}{NO_BREAK}h {one.value % 60 // 1:.0f}{NO_BREAK}min"
    return f"{_plain(one.value, one.unit)}{NO_BREAK}{one.unit}" if one.value or one.unit != "min" else "none"


def _plain(value: float, unit: str) -> str:
    return figures(value, 2) if unit == "A" and value < 100.0 else fixed(value)


def _now(one: ToSet) -> str:
    if one.now is None:
        return ""
    if one.unit:
        return f"{_plain(one.now, one.unit)}{NO_BREAK}{one.unit}"
    return f"{fixed(one.now, PACK_DIGITS)}{NO_BREAK}V"


def _differs(one: ToSet) -> bool:
    """Whether what is set now is another value; a current only where it is above the highest, a coldest where below."""
    if one.now is None:
        return False
    if one.pack_v is None:
        return one.value is not None and (one.value - one.now if one.unit == "°C" else one.now - one.value) > 1e-9
    return abs(one.now - one.pack_v) > APART_V


def sentence(answer: Commissioning) -> str:
    """Say what stands in the way, or that nothing found does."""
    stops = [bank for bank in answer.banks if any(notice.level == "stop" for notice in bank.notices)]
    if stops:
        named = listed([in_sentence(bank.bank_name) for bank in stops])
        return f"Do not switch on {named} yet: something contradicts its cells, its board or its inverter."
    if any(notice.level == "stop" for notice in answer.notices):
        return "Do not switch on anything yet: the house as it stands has a stop."
    return f"Nothing found stands against these settings of {_banks(answer.banks)}."


def _banks(banks: tuple[BankSettings, ...]) -> str:
    each = [bank for bank in banks if bank.series is not None]
    return in_sentence(each[0].bank_name) if len(each) == 1 else f"{number(len(each))} banks"


def differing(answer: Commissioning) -> str:
    """Say what is set otherwise now; empty where nothing is."""
    found = []
    for bank in answer.banks:
        labels = [one.label for one in bank.rows if _differs(one) and not one.proposed_as]
        found += [f"of {in_sentence(bank.bank_name)}: {listed(labels)}"] if labels else []
    return f"Set otherwise now, {'; '.join(found)}." if found else ""
