"""The care of the cells in words, figures and tables. Times are on the household's clock."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from engine.answers.care import Care
from engine.answers.care_bank import BankCare, ColdLimit, LeadCare
from engine.answers.care_full import FullCharge, FullRun
from engine.cells.cold_limits import FULL_C
from engine.cells.lead_acid import GAS_SAFETY
from engine.sky.site import Site
from webapp.care_words import Reminder, reminders
from webapp.cold_words import amps, degrees
from webapp.generator_view import litres
from webapp.questions import to_civil
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.words import counted, duration, energy, in_sentence, short_date, stamp

NOT_STATED = "not stated: ask the maker"
_WHEN = {"now": "now", "lowest": "lowest in these days", "reserve": "at the reserve"}
_NOW_H = 1.0 / 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CareCard:
    """One bank: its figures, what it asks (what, comes to, how), the hours of each day, and its reminders."""

    name: str
    figures: tuple[tuple[str, str, str], ...]
    rows: tuple[tuple[str, str, str], ...]
    days: tuple[tuple[str, str, str], ...]
    reminders: tuple[Reminder, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CareView:
    """The answer as page and paper show it."""

    sentence: Markup
    range: str
    banks: tuple[CareCard, ...]
    together: str


def on_the_clock(answer: Care, site: Site) -> Care:
    """Return the answer with its moments on the household's clock, aware."""
    banks = tuple(_bank_on_the_clock(bank, site) for bank in answer.banks)
    return dataclasses.replace(answer, at=to_civil(site, answer.at), banks=banks)


def _bank_on_the_clock(bank: BankCare, site: Site) -> BankCare:
    if bank.lead is None:
        return bank
    full, run = bank.lead.full, bank.lead.full.run
    moved = dataclasses.replace(
        full,
        full_at=None if full.full_at is None else to_civil(site, full.full_at),
        run=None if run is None else dataclasses.replace(run, start_at=to_civil(site, run.start_at)),
    )
    return dataclasses.replace(bank, lead=dataclasses.replace(bank.lead, full=moved))


def care_context(answer: Care) -> dict[str, Any]:
    """Return all that the template _care_answer.html takes, of an answer that is on the household's clock."""
    return {"care": care_view(answer)}


def care_view(answer: Care) -> CareView:
    """Return the view of an answer that is on the household's clock."""
    clauses = [_clause(bank) for bank in answer.banks]
    said = Markup("; ").join(clauses)
    several = (
        len([bank for bank in answer.banks if bank.lead is not None]) > 1
        and answer.air_m3_h is not None
        and answer.air_cm2 is not None
    )
    return CareView(
        sentence=said[:1].upper() + said[1:] + ".",
        range=" ".join(filter(None, (_fills(bank, len(answer.banks) > 1) for bank in answer.banks))),
        banks=tuple(_card(bank) for bank in answer.banks),
        together=_together(answer) if several else "",
    )


def _together(answer: Care) -> str:
    return (
        f"All lead-acid banks together, while they are charged: {_air(answer.air_m3_h or 0.0)} of air, "
        f"{_opening(answer.air_cm2 or 0.0)} of free opening low down for the inlet and as much high up for the outlet."
    )


def _clause(bank: BankCare) -> Markup:
    name = in_sentence(bank.name)
    if bank.lead is not None:
        return _lead_clause(name, bank.lead.full, bank.told)
    assert bank.cold is not None
    if not bank.cold.stated:
        return Markup("the cold limit of {} is <strong>{}</strong>").format(name, NOT_STATED)
    if bank.cold.now_a is None:
        return Markup("how {} may be charged at {} is <strong>{}</strong>").format(
            name, degrees(bank.cell_c), NOT_STATED
        )
    limit = "no charge" if not bank.cold.now_a else f"up to {amps(bank.cold.now_a)}"
    return Markup("at {} {} may be charged with <strong>{}</strong>").format(degrees(bank.cell_c), name, limit)


def _lead_clause(name: str, full: FullCharge, told: bool) -> Markup:
    if full.full_at_h is not None and full.full_at_h < _NOW_H:
        return Markup("{} is <strong>{}</strong>").format(name, "full now" if told else "taken as full now")
    since = "" if full.days_since is None else f" was last full {_ago(full.days_since)}, and the sun"
    if full.full_at is None:
        if since:
            return Markup("{}{} <strong>does not fill it</strong> in these days").format(name, since)
        return Markup("the sun <strong>does not fill</strong> {} in these days").format(name)
    when = stamp(full.full_at)
    if since:
        return Markup("{}{} fills it <strong>by {}</strong>").format(name, since, when)
    return Markup("the sun fills {} <strong>by {}</strong>").format(name, when)


def _ago(days: int) -> str:
    return "today" if not days else f"{counted(days, 'day')} ago"


def _fills(bank: BankCare, named: bool) -> str:
    """What it takes to fill a lead-acid bank that the sun does not fill in time."""
    if bank.lead is None or not bank.lead.full.run_due:
        return ""
    full = bank.lead.full
    of = f" {in_sentence(bank.name)}" if named else " it"
    last = duration(full.finish_h)
    need = f"To fill{of} takes {energy(full.missing_kwh)} at its terminals and, for the last part, {last}."
    return f"{need} {_run(full.run)}" if full.run is not None else need


def _run(run: FullRun) -> str:
    when = "now" if run.start_h < _NOW_H else stamp(run.start_at)
    spent = f"{duration(run.hours)}, {energy(run.given_kwh)} and {litres(run.litres)}"
    name = in_sentence(run.generator)
    if run.reaches:
        return f"A run of {name} just for that, from {when}, takes {spent} with what sun there is."
    return (
        f"No hours in which {name} may run are long enough in the next three days: from {when} it reaches "
        f"{percent(run.end_soc)} with {spent}."
    )


def _card(bank: BankCare) -> CareCard:
    lead = bank.lead
    if lead is None:
        assert bank.cold is not None
        return CareCard(
            name=bank.name,
            figures=_cold_figures(bank, bank.cold),
            rows=_cold_rows(bank.cold),
            days=(),
            reminders=reminders(bank),
        )
    return CareCard(
        name=bank.name,
        figures=_lead_figures(lead),
        rows=(*_volts(bank, lead), *_freezing(lead), *_gas(lead)),
        days=_days(lead.full),
        reminders=reminders(bank),
    )


def _lead_figures(lead: LeadCare) -> tuple[tuple[str, str, str], ...]:
    full = lead.full
    since = "not told" if full.days_since is None else _ago(full.days_since)
    due = "lead-acid wants it once a week or so" + ("" if full.due_on is None else f": by {short_date(full.due_on)}")
    if full.full_at is None or full.full_at_h is None:
        filled = "not in these days"
    else:
        filled = "now" if full.full_at_h < _NOW_H else stamp(full.full_at)
    top = (
        f"the last part, from {percent(full.finish_from_soc)} on, takes {duration(full.finish_h)} whatever the current"
    )
    hours = f"{fixed(full.absorb_h)}{NO_BREAK}h" if full.absorb_h else "none"
    most = f"{fixed(full.best_day_h)}{NO_BREAK}h"
    best = f"; the best day gives {most}, those at full counted" if full.best_day_h else ""
    return (
        ("Last full", since, f"{due} (typical, from memory)"),
        ("Full by the sun", filled, top),
        (
            "At absorption volts",
            hours,
            f"in which the sun can hold it there in these days{best}",
        ),
    )


def _cold_figures(bank: BankCare, cold: ColdLimit) -> tuple[tuple[str, str, str], ...]:
    now = NOT_STATED if cold.now_a is None else amps(cold.now_a)
    if not cold.stated and cold.now_a is not None:
        basis = f"cells at {degrees(bank.cell_c)}; below {degrees(FULL_C)} {NOT_STATED}"
    else:
        basis = f"cells at {degrees(bank.cell_c)}; {amps(cold.full_a)} when warm, lowest limit of cells, bank and board"
    return (("Charge at most", now, basis),)


def _cold_rows(cold: ColdLimit) -> tuple[tuple[str, str, str], ...]:
    if not cold.stated:
        how = "no other chemistry’s limit stands in for it"
    elif cold.entered:
        how = "on a line from the current entered for 0 °C"
    elif not cold.counted:
        how = "the whole current, for none is entered for the cold; the cells’ sheet may say less"
    else:
        how = "from 0.1C at 0 °C up to the whole current when warm, for none is entered; the cells’ sheet rules"
    return tuple(
        (
            f"At {degrees(cell_c)}",
            NOT_STATED if limit is None else amps(limit),
            how if limit is None or cell_c < FULL_C else "warm",
        )
        for cell_c, limit in cold.rows
    )


def _volts(bank: BankCare, lead: LeadCare) -> tuple[tuple[str, str, str], ...]:
    volts = lead.volts
    per_cell = (
        f"{volts.here_cell_v:.2f}{NO_BREAK}V per cell; set to {volts.set_cell_v:.2f} for 25{NO_BREAK}°C, "
        f"usual {volts.usual_cell_v:.2f}, at most {volts.highest_cell_v:.2f}"
    )
    rows = [(f"Absorption at {degrees(bank.cell_c)}", _pack(volts.here_pack_v), per_cell)]
    if volts.float_here_pack_v is not None and volts.float_cell_v is not None:
        rows.append(
            (
                f"Float at {degrees(bank.cell_c)}",
                _pack(volts.float_here_pack_v),
                f"{volts.float_cell_v:.2f}{NO_BREAK}V per cell at 25{NO_BREAK}°C",
            )
        )
    if lead.equalise is not None:
        fits = "the inverter bears it" if lead.equalise.fits else "above what the inverter bears"
        how = f"{fits}: {lead.equalise.inverter} ends at {lead.equalise.inverter_max_v:g}{NO_BREAK}V"
        rows.append((f"Equalising at {degrees(bank.cell_c)}", _pack(lead.equalise.here_pack_v), how))
    return tuple(rows)


def _freezing(lead: LeadCare) -> tuple[tuple[str, str, str], ...]:
    return tuple(
        (
            f"Acid freezes, {_WHEN[point.when]}",
            degrees(float(round(point.freezes_c))),
            f"at {percent(point.soc)}, density {point.density:.3f}",
        )
        for point in lead.freezing
    )


def _gas(lead: LeadCare) -> tuple[tuple[str, str, str], ...]:
    air = lead.air
    if air is None:
        return (("Air", NOT_STATED, "how much gas the cells make is not known"),)
    openings = "free opening {} for inlet and outlet each"
    rows = [
        ("Air on float", _air(air.float_m3_h), "so that hydrogen stays far below what can explode"),
        ("Air while charged", _air(air.boost_m3_h), openings.format(_opening(air.boost_cm2))),
    ]
    if air.equalise_m3_h is not None and air.equalise_cm2 is not None:
        rows.append(("Air while equalised", _air(air.equalise_m3_h), openings.format(_opening(air.equalise_cm2))))
    if lead.water is not None:
        rows.append(
            (
                "Water in these days",
                f"{figures(lead.water.low_g)}{NO_BREAK}g",
                f"up to {figures(lead.water.high_g)}{NO_BREAK}g with the factor of {GAS_SAFETY:g} for old cells",
            )
        )
    return tuple(rows)


def _days(full: FullCharge) -> tuple[tuple[str, str, str], ...]:
    """Days with any hours at the top."""
    return tuple(
        (short_date(day.on), fixed(day.absorb_h, 1), fixed(day.full_h, 1))
        for day in full.days
        if day.absorb_h + day.full_h > 0.0
    )


def _pack(volts: float) -> str:
    return f"{fixed(volts, 1)}{NO_BREAK}V"


def _air(m3_h: float) -> str:
    return f"{figures(m3_h)}{NO_BREAK}m³/h"


def _opening(cm2: float) -> str:
    return f"{fixed(cm2)}{NO_BREAK}cm²"
