"""A counted discharge in words: what full means, what to do, what it came to and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from engine.answers.measuring_capacity import Capacity
from engine.answers.measuring_capacity_words import LEAD_SOC
from engine.answers.measuring_discharge import cutoff_guards, lowest_cell_v
from engine.cells.chemistry import TABLE_C
from engine.house.bank import Bank, cutoff_cell_v, delivered
from engine.house.inverter import Inverter
from webapp import measure_chart
from webapp.forms import Field, Parsed, Values
from webapp.measure_chart import Interval
from webapp.measure_view import (
    Chart,
    Key,
    MeasureView,
    Table,
    Use,
    against,
    give_or_take,
    lasts_sentence,
    paper_rows,
    parts_table,
    span,
)
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.words import duration, in_sentence, listed, mid_sentence

EASY_C = 0.1
"""Current of the load that is proposed, in C: ten hours from full to empty (choice: little heat, a day's attention)."""
UNIT_NAMES = {"ah": "Ah by the bank’s shunt", "kwh": "kWh by the bank’s shunt", "sockets": "kWh at the sockets"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the page asks about: a bank, its inverter if it has one, and which others share its bus."""

    bank: Bank
    inverter: Inverter | None
    beside: tuple[str, ...]
    missing: tuple[str, ...]


def capacity_view(
    answer: Capacity | None, asked: Asked, fields: tuple[Field, ...], form: Parsed[Values]
) -> MeasureView:
    """Return the view of an answer, or what to do before there is one."""
    result = None if answer is None else answer.result
    cell = asked.bank.cell
    return MeasureView(
        sentence=_sentence(answer, asked.bank),
        ranges=tuple(text for text in _ranges(answer, asked) if text),
        keys=() if answer is None else _keys(answer),
        steps=steps(asked),
        chart=None if answer is None else _chart(answer, asked.bank),
        tables=(_plan(asked),),
        parts=None if result is None else parts_table(result.parts, "Ah"),
        use=None if answer is None else _use(answer, asked.bank),
        no_use="This discharge is not fit to be used." if answer is not None and answer.to_use_ah is None else "",
        paper=paper_rows(fields, form),
        cautions=(
            "dc",
            *(("lithium", "fire") if cell.needs_board else ()),
            *(("hydrogen",) if cell.vents_hydrogen else ()),
            "generator",
            "check",
        ),
        tables_first=answer is None,
    )


def _sentence(answer: Capacity | None, bank: Bank) -> Markup:
    name = in_sentence(bank.name)
    if answer is None:
        return Markup("<strong>One discharge that is counted</strong> tells what {} really holds.").format(name)
    value, half = give_or_take(answer.result)
    return Markup(
        "One cell of {} holds <strong>{}</strong>, give or take <strong>{}</strong>: {} of its label."
    ).format(name, value, half, percent(answer.of_label))


def _ranges(answer: Capacity | None, asked: Asked) -> tuple[str, ...]:
    if answer is None:
        still = f"Still to be typed: {listed([mid_sentence(name) for name in asked.missing])}." if asked.missing else ""
        return still, "Until then answers take " + (
            "the label." if asked.bank.tested_ah is None else f"{asked.bank.tested_ah:g} Ah, as tested before."
        )
    return against(answer.result, "Banks"), lasts_sentence(answer.lasts, in_sentence(answer.name))


def _keys(answer: Capacity) -> tuple[Key, ...]:
    found = answer.found
    whole = f"{figures(found.ah, 3)}{NO_BREAK}Ah"
    strings = f"{answer.parallel} strings in parallel" if answer.parallel > 1 else "one string"
    return (
        Key(name="One cell", value=give_or_take(answer.result)[0], basis=span(answer.result)),
        Key(name="The whole bank", value=whole, basis=f"{strings}, at 25 °C and a slow draw"),
        Key(
            name="Drawn",
            value=f"{figures(found.drawn_ah, 3)}{NO_BREAK}Ah",
            basis=f"from {percent(found.start_soc)} to {percent(found.end_soc)}, at {figures(found.c_rate)}C",
        ),
    )


def _chart(answer: Capacity, bank: Bank) -> Chart:
    rows = [Interval(name="label", value=bank.label_ah)]
    if bank.tested_ah is not None:
        rows.append(Interval(name="as on Banks", value=bank.tested_ah))
    rows.append(Interval(name="this discharge", value=answer.result.value, half=answer.result.half))
    return Chart(
        id="capacities",
        caption="What one cell holds",
        figure=measure_chart.intervals(rows, "Ah"),
        basis="at 25 °C and a slow draw, with the error on either side",
        table=Table(
            caption="",
            columns=("What", "Ah", "give or take, Ah"),
            rows=tuple((row.name, figures(row.value, 3), figures(row.half) if row.half else "–") for row in rows),
        ),
    )


def end_soc(bank: Bank) -> float:
    """Where the page proposes to stop [-]: lead-acid at half, others near the bottom that the cut-off guards."""
    return LEAD_SOC if bank.cell.acceptance_tau_h is not None else 0.05


def _plan(asked: Asked) -> Table:
    """How long a discharge takes at some steady loads."""
    bank, rows = asked.bank, []
    volts_v = bank.series * bank.cell.v_nominal
    for rate in (0.05, EASY_C, 0.2):
        watts = rate * bank.ah * volts_v
        if (asked.inverter is not None and watts > asked.inverter.rated_w) or rate > bank.cell.discharge_c_max:
            continue
        _, hours = delivered(bank, bank.top_reached_soc, end_soc(bank), watts)
        rows.append((f"{fixed(watts)}{NO_BREAK}W", f"{figures(rate * bank.ah, 3)}{NO_BREAK}A", duration(hours)))
    return Table(
        caption=f"How long it takes, down to {percent(end_soc(bank))} of what Banks says",
        columns=("Steady draw from the bank", "that is about", "takes"),
        rows=tuple(rows),
    )


def steps(asked: Asked) -> tuple[str, ...]:
    """What to do, step by step, for this bank."""
    bank, cell = asked.bank, asked.bank.cell
    end_v = bank.charge_end_cell_v * bank.series
    lead = cell.acceptance_tau_h is not None
    full = (
        f"{end_v:.1f} V ({bank.charge_end_cell_v:g} V per cell) held until the current has fallen below "
        f"{figures(cell.tail_c * bank.ah)} A"
    )
    share = "share" if len(asked.beside) > 1 else "shares"
    alone = (
        (
            f"{listed(asked.beside)} {share} the bus: only with them disconnected do kWh tell this bank. Separate "
            "them with everything off and no current flowing, at a switch made for DC, or leave it to someone "
            "qualified; or take the Ah of a shunt in this bank’s own lead.",
        )
        if asked.beside
        else ()
    )
    return (
        "Choose a day with cells at 15 to 30 °C and somebody at home all through. The house is dark at the end: who "
        "depends on power, for breathing, for medicine, for water or heat, must have another supply before you begin. "
        "Have a generator or the grid ready to charge with, and do not leave it alone overnight.",
        *alone,
        f"Charge it full: {full}. {_rest(lead)}",
        "Keep the sun out while it is counted: switch the panels off after dark at their own switch, or begin in the "
        "evening; pull no connector that carries current.",
        "Set the counters to nothing, or write them down. Write down the time, the volts and the cells’ temperature.",
        "Switch on one steady load that you can watch: an electric heater well clear of everything, or the house "
        f"itself. How long some loads take stands on this page.{_rated(bank) if lead else ''}",
        *_stop(asked, lead),
        "At the stop write down the time, the counter, the volts under the load, and the temperature. "
        "Switch the load off.",
        *(("Let it rest four hours or longer and read the volts again.",) if lead else ()),
        "Charge it again at once: an empty bank left standing takes harm, lead-acid within a day.",
    )


def _rated(bank: Bank) -> str:
    """At which current the Ah of a lead-acid label hold."""
    hours = bank.cell.rated_h
    return (
        f" Best is the label’s own current, {figures(bank.ah / hours, 3)}{NO_BREAK}A for Ah stated at {hours:g} hours: "
        "a faster draw gives less, and is brought back by Peukert’s law, from memory."
    )


def _rest(lead: bool) -> str:
    return (
        "Flooded and sealed lead-acid needs the whole absorption, hours long; then let it rest an hour."
        if lead
        else "If your charger does not hold, say “as this bank’s charger ends it” below."
    )


def _stop(asked: Asked, lead: bool) -> tuple[str, ...]:
    bank, inverter = asked.bank, asked.inverter
    lowest = lowest_cell_v(bank) * bank.series
    never = f"Never below {lowest:.1f} V ({lowest / bank.series:.2f} V per cell), whatever the counter says."
    if lead:
        return (f"Stop when about half is drawn, {figures(LEAD_SOC * bank.ah)} Ah. {never}",)
    cut, late = "", ""
    if inverter is not None and not cutoff_guards(bank, inverter):
        late = "Do not leave it to the cut-off: as it stands here it comes too late for these cells; set it higher. "
    elif inverter is not None:
        cut_v = cutoff_cell_v(bank, inverter) * bank.series
        cut = f"let the cut-off end it ({cut_v:.1f} V here: inverter or board, whichever is higher), or "
    return (
        f"Near the end the volts fall fast: stay beside it. {late}Then {cut}stop by hand at volts or a % you "
        f"choose. {never}",
    )


def _use(answer: Capacity, bank: Bank) -> Use | None:
    ah = answer.to_use_ah
    if ah is None:
        return None
    return Use(
        section="banks",
        item_id=bank.id,
        values={"tested_ah": ah, "tested_c": TABLE_C},
        label=f"Use {ah:g}{NO_BREAK}Ah as the tested capacity of one cell",
        what=f"{bank.name}: capacity measured, {ah:g} Ah a cell",
        told=f"{ah:g}{NO_BREAK}Ah stand on Banks as the tested capacity of one cell.",
        held=bank.tested_ah is not None and abs(bank.tested_ah - ah) < 1e-6 and bank.tested_c in (None, TABLE_C),
    )
