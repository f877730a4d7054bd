"""A charge setting in words, figures, tables and charts, all from the same answer.

Volts per cell and of the pack always stand together; percent are of tested Ah, kWh stored at rest volts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from markupsafe import Markup

from engine.answers.answer import Notice
from engine.answers.charging import Charging, CurveRow
from engine.answers.charging_parts import Balancing
from engine.answers.charging_targets import Narrow
from engine.house.bank import Bank
from engine.house.household import Household, Supply
from engine.house.inverter import Inverter
from engine.house.span import Span
from webapp import charging_charts
from webapp.charging_charts import Reached
from webapp.charging_tables import (
    EPS_V,
    SpanRow,
    bars,
    flat_stretches,
    limits,
    shares,
    span_rows,
    stop_words,
    volts,
    whole_percents,
)
from webapp.chart_parts import Figure
from webapp.facts import lines, tidy
from webapp.inputs import Input, bank_text, inputs_used
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.words import energy, in_sentence

NOTHING_SOC = 0.0005
"""A hold worth less is told as nothing: it would print as 0.0 points."""
EVERY = 5
"""Of the rows 0.01 V apart, the table on the page shows each fifth; the file has all."""
TALL_FIGURES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetRow:
    """One wanted share: volts without and with a hold as (what, why), and what to count."""

    share: str
    no_hold: tuple[str, str]
    hold: tuple[str, str]
    count: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeView:
    """A charge setting as the page, the file and paper show it."""

    sentence: Markup
    filled_basis: str
    hold: str
    hold_kwh: str
    hold_basis: str
    left: str
    apart: str
    load: str
    figure: Figure
    caption: str
    basis: str
    rows: tuple[CurveRow, ...]
    line_names: tuple[str, str, str]
    targets: tuple[TargetRow, ...]
    span: tuple[str, ...]
    span_figure: Figure | None
    span_rows: tuple[SpanRow, ...]
    narrow: str
    balancer: str
    stops: tuple[Notice, ...]
    checks: tuple[Notice, ...]
    notes: tuple[Notice, ...]
    proof: list[tuple[str, list[tuple[str, str, str]]]]
    inputs: tuple[Input, ...]
    cautions: tuple[str, ...]
    to_set: dict[str, Any]
    saved_as: str
    as_set: bool


def charge_view(house: Household, bank: Bank, inverter: Inverter | None, answer: Charging) -> ChargeView:
    """Return the view of a charge setting."""
    by_level = {level: tuple(n for n in answer.notices if n.level == level) for level in ("stop", "check", "note")}
    rows = span_rows(answer.series_spans, answer.series, 0 if answer.best_series is None else answer.best_series.series)
    return ChargeView(
        sentence=sentence(answer),
        filled_basis=filled_basis(answer),
        hold=hold_sentence(answer),
        hold_kwh=figures(answer.hold_worth.gain_kwh) if answer.hold_worth.gain_soc >= NOTHING_SOC else "0",
        hold_basis=_hold_basis(answer),
        left=answer.hold_worth.words,
        apart=apart_sentence(bank, answer),
        load=_kw(answer.power_w),
        figure=_reached_figure(answer),
        caption=f"Charge reached by {in_sentence(answer.bank_name)}, over the volts at which the charge ends",
        basis=f"From empty, {answer.cell_c:g} °C, at {figures(answer.charge_a, TALL_FIGURES)} A "
        f"({answer.charge_c:.2g}C), {answer.charge_from}",
        rows=tuple(row for place, row in enumerate(answer.rows) if place % EVERY == 0),
        line_names=line_names(answer),
        targets=tuple(
            TargetRow(
                share=percent(one.soc),
                no_hold=stop_words(one.no_hold),
                hold=stop_words(one.hold),
                count=f"{figures(one.count_ah, TALL_FIGURES)}{NO_BREAK}Ah kept, {figures(one.put_in_ah, TALL_FIGURES)}"
                f"{NO_BREAK}Ah put in",
            )
            for one in answer.targets
        ),
        span=() if answer.span is None else span_sentences(answer, answer.span),
        span_figure=None
        if answer.span is None or inverter is None
        else charging_charts.span(bars(rows), limits(answer.span, inverter.charge_max_v)),
        span_rows=rows,
        narrow="" if answer.narrow is None else narrow_sentence(answer.narrow),
        balancer="" if answer.balancing is None else balancer_sentence(answer.balancing, hold=answer.hold),
        stops=by_level["stop"],
        checks=by_level["check"],
        notes=by_level["note"],
        proof=[("", lines(answer.worked))],
        inputs=_inputs(house, bank, inverter, answer.month),
        cautions=("dc", "hydrogen" if bank.cell.vents_hydrogen else "lithium", "unlisted", "check"),
        to_set=values_to_set(bank, answer),
        saved_as=f"{bank.name}: charge ends at {answer.cell_v:g} V per cell, {'held' if answer.hold else 'not held'}",
        as_set=abs(bank.charge_end_cell_v - answer.cell_v) < EPS_V and bank.hold == answer.hold,
    )


def without_remedies(view: ChargeView) -> ChargeView:
    """Return the view with nothing that can be pressed, for a file of its own."""
    return replace(view, stops=_plain(view.stops), checks=_plain(view.checks), notes=_plain(view.notes))


def _plain(notices: tuple[Notice, ...]) -> tuple[Notice, ...]:
    return tuple(replace(one, remedies=()) for one in notices)


def sentence(answer: Charging) -> Markup:
    """Say what the asked charge reaches."""
    return Markup(
        "Ended at {} V per cell, <strong>{} V for the pack</strong>, {}, {} is filled to <strong>{}: {}</strong>."
    ).format(
        fixed(answer.cell_v, 2),
        fixed(answer.pack_v, 1),
        "and held there" if answer.hold else "without a hold",
        in_sentence(answer.bank_name),
        percent(answer.reached.soc),
        energy(answer.reached.kwh),
    )


def filled_basis(answer: Charging) -> str:
    """Say what the charge reached is a share of, and at which current other pages count another one."""
    told = f"of {figures(answer.ah, 3)}{NO_BREAK}Ah, from empty, at {figures(answer.charge_a, 3)}{NO_BREAK}A, cells at "
    told += f"{fixed(answer.cell_c)}{NO_BREAK}°C"
    counted = answer.counted
    if percent(counted.soc) == percent(answer.reached.soc):
        return told
    mean_a = figures(counted.charge_c * answer.ah, 3)
    return f"{told}; Banks and Today count {percent(counted.soc, 1)}, at the {mean_a}{NO_BREAK}A of a day’s mean"


def hold_sentence(answer: Charging) -> str:
    """Say what the hold adds or would add, and how long it takes."""
    worth = answer.hold_worth
    until = f"until the current has fallen to {figures(worth.tail_a)} A, {worth.tail_c:.2g}C,"
    if answer.hold_h is not None:
        until = f"of {minutes(answer.hold_h * 60.0)}"
    if worth.gain_soc < NOTHING_SOC:
        would = "adds" if answer.hold else "would add"
        return f"A hold {until} {would} nothing that can be told."
    points = f"{fixed(worth.gain_soc * 100.0, 1)} points, {energy(worth.gain_kwh)}"
    if answer.hold:
        taken = "" if answer.hold_h is not None else f" and takes {minutes(worth.minutes)}"
        return f"The hold {until} adds {points}{taken}; without it the bank is filled to {percent(worth.from_soc)}."
    taken = "" if answer.hold_h is not None else f" and take {minutes(worth.minutes)}"
    return f"A hold {until} would add {points}{taken}."


def apart_sentence(bank: Bank, answer: Charging) -> str:
    """Say so where the pack is set against an inverter that it is not joined to."""
    if not answer.inverter_id or answer.inverter_id == bank.inverter:
        return ""
    return (
        f"{answer.bank_name} is not joined to {answer.inverter_name}: this is how it would stand on it, with the "
        "panels and loads that are on it now."
    )


def _hold_basis(answer: Charging) -> str:
    """What the figure of the hold rests on: points, time and tail."""
    worth = answer.hold_worth
    if worth.gain_soc < NOTHING_SOC:
        return f"the current is down to {figures(worth.tail_a)} A when the volts are reached"
    return (
        f"{fixed(worth.gain_soc * 100.0, 1)} points in {minutes(worth.minutes)}, to a tail of "
        f"{figures(worth.tail_a)} A ({worth.tail_c:.2g}C)"
    )


def minutes(count: float) -> str:
    """Write minutes, from two hours on as hours.

    Examples
    --------
    >>> minutes(0.4), minutes(1.2), minutes(14.3), minutes(192.0)
    ('less than a minute', '1 minute', '14 minutes', '3.2 hours')
    """
    if count < 1.0:
        return "less than a minute"
    if count >= 120.0:
        return f"{tidy(count / 60.0, 2)} hours"
    return f"{round(count)} minute{'' if round(count) == 1 else 's'}"


def line_names(answer: Charging) -> tuple[str, str, str]:
    """Return what the three lines are called in tables."""
    return (
        f"held to {answer.tail_c:.2g}C",
        f"not held, at this bank’s {figures(answer.charge_a, TALL_FIGURES)} A ({answer.charge_c:.2g}C)",
        f"not held, at the bench’s {answer.bench_c:g}C",
    )


def span_sentences(answer: Charging, span: Span) -> tuple[str, ...]:
    """Say what lies below, inside and above the window, how the pack sags, and what a lower cut-off gives."""
    parts = shares(span)
    lower = span.setting_cell_v < answer.cell_v - EPS_V
    setting = f"the {'lower ' if lower else ''}setting of {span.setting_v:.1f} V"
    if lower:
        setting += f" that {answer.inverter_name} allows"
    said = [
        f"With {span.series} in series the pack goes from {span.empty_v:.1f} V empty to {span.full_v:.1f} V full. "
        f"{parts.below} % of its charge lies below the {span.cutoff_v:g} V cut-off under {_kw(answer.power_w)}, "
        f"{parts.inside} % inside, {energy(span.usable_kwh)}, and {parts.above} % above {setting}.",
        _sag(answer, span),
    ]
    if span.lowest_v is not None and span.lowered_gain_share is not None:
        gain = span.lowered_gain_share
        below, inside, _ = whole_percents((span.below_share - gain, span.inside_share + gain, span.above_share))
        said.append(
            f"{answer.inverter_name} can be set down to {span.lowest_v:g} V. With the cut-off there {below} % would "
            f"lie below {span.lowest_v:g} V and {inside} % inside, as far as cells and board allow it."
        )
    return tuple(said)


def _sag(answer: Charging, span: Span) -> str:
    load = f"{_kw(answer.power_w)} ({answer.power_from})"
    if span.sag_half_v is None:
        return f"Half full it cannot give {load} at all."
    low = (
        "there it can no longer give that" if span.sag_low_v is None else f"near the cut-off by {span.sag_low_v:.1f} V"
    )
    return f"Under {load} the pack sags by {span.sag_half_v:.1f} V half full, {low}."


def _kw(power_w: float) -> str:
    return f"{figures(power_w / 1000.0)}{NO_BREAK}kW"


def narrow_sentence(narrow: Narrow) -> str:
    """Say what a narrow window leaves and costs, and where its ends are found."""
    low, high = narrow.low, narrow.high
    bottom = f"{narrow.low_count_ah:.0f} Ah left by count" if low.cell_v is None else volts(low.cell_v, low.pack_v)
    stop = high.no_hold if high.no_hold.cell_v is not None else high.hold
    how = "without a hold" if stop is high.no_hold else "held"
    top = f"{high.count_ah:.0f} Ah by count" if stop.cell_v is None else f"{volts(stop.cell_v, stop.pack_v)} {how}"
    return (
        f"From {percent(narrow.low_soc)} to {percent(narrow.high_soc)} leaves {energy(narrow.usable_kwh)} of the "
        f"{energy(narrow.widest_kwh)} between {percent(narrow.widest_low_soc)} and {percent(narrow.widest_high_soc)} "
        f"that cells, inverter and load allow: it costs {energy(narrow.cost_kwh)}, {percent(narrow.cost_share)}. "
        f"Its lower end is {bottom}{' under that load' if low.cell_v is not None else ''}; its upper end {top}."
    )


def balancer_sentence(balancing: Balancing, *, hold: bool) -> str:
    """Say whether the balancer ever starts, and how long it works."""
    start = f"The board’s balancer starts at {balancing.start_v:g} V per cell"
    if not balancing.reached:
        return f"{start}, above this setting: it never works."
    worked, other = balancing.no_hold_min, balancing.hold_min
    takes = balancing.hold_ah if hold else balancing.no_hold_ah
    bled = "" if takes is None else f" and takes {tidy(takes, 2)} Ah from a high cell meanwhile"
    if hold:
        return f"{start}: it works {minutes(other)} of every full charge{bled}; without the hold {minutes(worked)}."
    return f"{start}: it works {minutes(worked)} of every full charge{bled}; with a hold {minutes(other)}."


def values_to_set(bank: Bank, answer: Charging) -> dict[str, Any]:
    """Return what “Set this on the bank” saves; volts that would end the charge sooner are cleared."""
    values: dict[str, Any] = {"charge_v": round(answer.cell_v, 4), "hold": answer.hold}
    return values if bank.top_v is None else {**values, "top_v": None}


def _reached_figure(answer: Charging) -> Figure:
    styles = charging_charts.hold_styles()
    names = line_names(answer)
    short = ("held", f"not held, {answer.charge_c:.2g}C", f"not held, {answer.bench_c:g}C")
    shortest = ("held", "not held", "bench")
    columns = (
        [row.hold_soc for row in answer.rows],
        [row.no_hold_soc for row in answer.rows],
        [row.bench_no_hold_soc for row in answer.rows],
    )
    told = [row.controllable for row in answer.rows]
    return charging_charts.reached(
        [row.cell_v for row in answer.rows],
        [
            Reached(
                name=name,
                short=label,
                shortest=word,
                percent=tuple(soc * 100.0 if known else None for soc, known in zip(column, told, strict=True)),
                style=style,
            )
            for name, label, word, column, style in zip(names, short, shortest, columns, styles, strict=True)
        ],
        answer.cell_v,
        answer.reached.soc * 100.0,
        flat_stretches(answer.rows),
    )


def _inputs(house: Household, bank: Bank, inverter: Inverter | None, month: int) -> tuple[Input, ...]:
    if inverter is None:
        return (Input(label=bank.name, text=bank_text(bank), path="/banks"),)
    joined = [
        alone
        for one in house.supplies()
        for alone in one.apart
        if alone.bank.id == bank.id and alone.inverter.id == inverter.id
    ]
    supply = joined[0] if joined else Supply(bank=bank, inverter=inverter, arrays=(), loads=())
    return inputs_used(house, (supply,), month)
