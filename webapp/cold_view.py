"""What cold takes from a bank and what a heater wins back, in words, tables and charts."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from engine.answers.cold import Cold
from engine.answers.cold_bank import ROOM_C, AtTemperature, ColdBank
from engine.answers.heating import Heated
from engine.sky.site import Site
from webapp import car_chart, cold_chart
from webapp.chart_parts import Curve, Figure
from webapp.cold_chart import Over
from webapp.cold_words import LEAST_TOLD_KWH, WARM_FIRST, amps, beyond_known, degrees, holds, takes
from webapp.questions import civil_times, to_standard
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.words import duration, energy, in_sentence, listed, short_date, stamp

LEAST_LOST_H = 0.1
"""Hours lost that are worth a sentence (choice)."""
SAME_SHARE = 0.01
"""Usable energy that differs by less is told as the same (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BankCard:
    """One bank: its figures, its chart over temperatures and the table of it."""

    name: str
    takes: str
    takes_basis: str
    holds: str
    holds_basis: str
    figure: Figure
    numbers: tuple[tuple[str, str, str, str], ...]
    rows: tuple[tuple[bool, str, str, str, str], ...]
    kept_below: str
    beyond: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ColdView:
    """The answer as the page shows it."""

    sentence: Markup
    range: str
    brief: str
    refused: str
    refused_basis: str
    banks: tuple[BankCard, ...]
    heater: Markup
    heater_rows: tuple[tuple[str, str, str], ...]
    heater_basis: str
    figure: Figure | None
    numbers: tuple[tuple[str, tuple[str, ...]], ...]
    columns: tuple[str, ...]
    span: str


def cold_view(
    answer: Cold, temperatures: tuple[tuple[AtTemperature, ...], ...], site: Site, *, of_several: bool = False
) -> ColdView:
    """Return the view of an answer that is on the household's clock.

    Parameters
    ----------
    temperatures : tuple
        The points of each bank's chart, in the order of the answer's banks.
    of_several : bool
        Whether the household has others on inverters of their own, so that beside their answers it must be named.
    """
    figure, columns, numbers, span = _charge_chart(answer, site)
    return ColdView(
        sentence=sentence(answer),
        range=_range(answer),
        brief=_brief(answer, of_several),
        refused=energy(answer.refused_kwh) if answer.refused_kwh >= LEAST_TOLD_KWH else "none",
        refused_basis=f"in the next {duration(answer.days_h)}; sun that warm cells would take",
        banks=tuple(_card(bank, points) for bank, points in zip(answer.banks, temperatures, strict=True)),
        heater=_heater(answer),
        heater_rows=() if answer.heated is None else _heater_rows(answer, answer.heated),
        heater_basis="" if answer.heated is None else _heater_basis(answer.heated),
        figure=figure,
        columns=columns,
        numbers=numbers,
        span=span,
    )


def sentence(answer: Cold) -> Markup:
    """Say what the cells take and what cold refuses in these days."""
    refused = answer.refused_kwh >= LEAST_TOLD_KWH
    amount = Markup("cold refuses <strong>{}</strong> in these days").format(energy(answer.refused_kwh))
    if len(answer.banks) > 1:
        none = Markup("cold <strong>refuses nothing</strong> in these days")
        return Markup("Of {}, {}.").format(answer.name, amount if refused else none)
    (bank,) = answer.banks
    at, name = degrees(bank.now.cell_c), in_sentence(bank.name)
    if not takes(bank):
        return Markup("At {} {} takes its whole charge: <strong>cold refuses nothing</strong>.").format(at, name)
    rest = amount if refused else Markup("which <strong>costs nothing</strong> in these days")
    return Markup("At {} {} <strong>{}</strong>; {}.").format(at, name, takes(bank), rest)


def _range(answer: Cold) -> str:
    first = f"{WARM_FIRST} " if any(bank.too_cold for bank in answer.banks) else ""
    parts = [f"{in_sentence(bank.name)} {holds(bank)}" for bank in answer.banks]
    told = listed(parts)
    return f"{first}{told[:1].upper()}{told[1:]}. {_lasts(answer)}"


def _lasts(answer: Cold) -> str:
    if answer.hours is None:
        return "It lasts beyond these days."
    as_is = f"It lasts {duration(answer.hours)}"
    if answer.lost_h is None:
        return f"{as_is}; were its cells warm to charge, beyond these days."
    if answer.lost_h < LEAST_LOST_H or answer.hours_warm is None:
        return f"{as_is}, as long as if its cells were warm to charge."
    return f"{as_is}; were its cells warm to charge, {duration(answer.hours_warm)}."


def _brief(answer: Cold, of_several: bool) -> str:
    """What Today says of it beside its own line: what cold costs in these days, and whether to heat."""
    name = in_sentence(answer.name)
    if answer.refused_kwh < LEAST_TOLD_KWH:
        return f"Cold refuses no charge of {name} in these days."
    whose, it = (f" of {name}", name) if of_several else ("", "it")
    if answer.hours is None or (answer.lost_h is not None and answer.lost_h < LEAST_LOST_H):
        costs = "and costs no hours"
    else:
        costs = f"and with warm cells {it} would last " + (
            "beyond these days" if answer.lost_h is None else f"{duration(answer.lost_h)} longer"
        )
    refused = f"Cold refuses {energy(answer.refused_kwh)}{whose} in these days, {costs}."
    return f"{refused} {_heater(answer).striptags()}".strip()


def _card(bank: ColdBank, points: tuple[AtTemperature, ...]) -> BankCard:
    full = f"of {amps(bank.full_a)} when warm"
    share = percent(bank.charge_share)
    whole = (
        "the whole of it" if not bank.held_back else f"{share} {full}; all of it from {degrees(bank.full_from_c)} on"
    )
    return BankCard(
        name=bank.name,
        takes=amps(bank.now.charge_a),
        takes_basis=f"at {degrees(bank.now.cell_c)}, {whole}; none below {degrees(bank.charge_min_c)}",
        holds=f"{percent(bank.now.capacity_share)}{' or less' if bank.beyond_known else ''}",
        holds_basis=_usable(bank),
        figure=_temperatures(bank, points),
        numbers=tuple(_shares(row, bank) for row in _with_now(bank)),
        rows=tuple(_row(row, bank) for row in _with_now(bank)),
        kept_below=_kept_below(bank),
        beyond=beyond_known(bank, _with_now(bank)[0].cell_c),
    )


def _usable(bank: ColdBank) -> str:
    """What the lost capacity comes to in usable energy, or that it lies below what is used anyhow."""
    now, warm = (f"{fixed(kwh, 1)}{NO_BREAK}kWh" for kwh in (bank.now.usable_kwh, bank.warm_kwh))
    told = f"of its {degrees(ROOM_C)} capacity at its mean draw; {now} usable from full, {warm} at {degrees(ROOM_C)}"
    hidden = _hidden(bank.now, bank)
    return f"{told}: what cold keeps lies below its reserve" if hidden else told


def _hidden(row: AtTemperature, bank: ColdBank) -> bool:
    """Whether cold takes capacity there and no usable energy."""
    return row.capacity_share < 1.0 and row.usable_kwh > (1.0 - SAME_SHARE) * bank.warm_kwh


def _kept_below(bank: ColdBank) -> str:
    """Say below the table why its kWh hardly fall where its capacity does; empty where no row is so."""
    cold = [row for row in _with_now(bank) if row.cell_c < ROOM_C and _hidden(row, bank)]
    if not cold:
        return ""
    return (
        f"From {degrees(cold[0].cell_c)} on, what cold keeps of the capacity lies below the reserve of {bank.name}, "
        "which you leave in anyway: the usable kWh stay, and what is kept back shrinks."
    )


def _with_now(bank: ColdBank) -> tuple[AtTemperature, ...]:
    """The rows of the table with the bank's own temperature among them."""
    others = [row for row in bank.rows if abs(row.cell_c - bank.now.cell_c) > 1e-9]
    return tuple(sorted([*others, bank.now], key=lambda row: row.cell_c))


def _row(row: AtTemperature, bank: ColdBank) -> tuple[bool, str, str, str, str]:
    return (
        row is bank.now,
        degrees(row.cell_c),
        figures(row.charge_a, 3),
        f"{_or_less(row, bank)}{fixed(row.capacity_share * 100.0)}",
        f"{_or_less(row, bank)}{fixed(row.usable_kwh, 1)}",
    )


def _shares(row: AtTemperature, bank: ColdBank) -> tuple[str, str, str, str]:
    """What the chart draws at a temperature [%]."""
    current, capacity, usable = row.charge_a / bank.full_a, row.capacity_share, _of_warm(row.usable_kwh, bank)
    less = _or_less(row, bank)
    return (
        degrees(row.cell_c),
        fixed(current * 100.0),
        f"{less}{fixed(capacity * 100.0)}",
        f"{less}{fixed(usable * 100.0)}",
    )


def _or_less(row: AtTemperature, bank: ColdBank) -> str:
    """Mark what is beyond anything known of the capacity; nothing is marked where nothing is given."""
    return f"under{NO_BREAK}" if row.cell_c < bank.known_from_c and row.capacity_share > 0.0 else ""


def _of_warm(kwh: float, bank: ColdBank) -> float:
    return kwh / bank.warm_kwh if bank.warm_kwh > 0.0 else 0.0


def _temperatures(bank: ColdBank, points: tuple[AtTemperature, ...]) -> Figure:
    usable = [_of_warm(point.usable_kwh, bank) * 100.0 for point in points]
    lines = (
        Over(name="charge", percent=tuple(point.charge_a / bank.full_a * 100.0 for point in points)),
        Over(name="capacity", percent=tuple(point.capacity_share * 100.0 for point in points)),
        Over(name="usable", percent=tuple(usable)),
    )
    at = [point.cell_c for point in points]
    return cold_chart.temperatures(at, lines, bank.now.cell_c, bank.charge_min_c, "no charge")


def _heater(answer: Cold) -> Markup:
    """Whether a heater is worth its energy in these days; empty where there is nothing to warm."""
    found = answer.heated
    if found is None:
        return Markup("")
    if not found.heated_days:
        return Markup("These days have no sun to spare, so there is <strong>nothing to heat for</strong>.")
    took = f"it takes {energy(found.spent_kwh)}"
    if not found.worth:
        return Markup("A heater is <strong>not worth it</strong> in these days: {} and leaves {}.").format(
            took, "no more to use" if found.net_kwh > -LEAST_TOLD_KWH else f"{energy(-found.net_kwh)} less to use"
        )
    if _sooner(answer, found):
        return _runs_out_sooner(answer, found)
    return Markup("A heater <strong>is worth it</strong> in these days: {} and leaves {} more to use.").format(
        took, energy(found.net_kwh)
    )


def _sooner(answer: Cold, found: Heated) -> bool:
    """Whether the bank runs out sooner with the heater than without it."""
    if found.hours is None:
        return False
    return answer.hours is None or found.hours < answer.hours - LEAST_LOST_H


def _runs_out_sooner(answer: Cold, found: Heated) -> Markup:
    """Say of a heater that leaves more to use in the end what it costs before."""
    assert found.hours is not None
    without = "beyond these days without it" if answer.hours is None else f"{duration(answer.hours)} without it"
    return Markup(
        "With a heater it <strong>runs out sooner</strong>: it lasts {}, {}. In all these days the heater takes {} and "
        "leaves {} more to use."
    ).format(duration(found.hours), without, energy(found.spent_kwh), energy(found.net_kwh))


def _heater_rows(answer: Cold, found: Heated) -> tuple[tuple[str, str, str], ...]:
    heater, from_c = found.heater, answer.banks[0].now.cell_c
    lasts = "beyond these days" if found.hours is None else duration(found.hours)
    as_is = "beyond these days" if answer.hours is None else duration(answer.hours)
    return (
        (
            "To lift the cells once",
            energy(found.lift_kwh),
            f"{figures(heater.mass_kg, 3)}{NO_BREAK}kg from {degrees(from_c)} to {degrees(heater.to_c)}",
        ),
        (
            "To hold them for a day’s charge",
            energy(found.hold_kwh_per_day),
            f"{figures(heater.hold_w)}{NO_BREAK}W for {duration(found.sun_h_per_day)} with sun to spare",
        ),
        (
            "The heater in these days",
            energy(found.spent_kwh),
            f"from the bus on {found.heated_days} of them, hour by hour, cooling by night",
        ),
        ("More sun taken", energy(found.won_kwh), "than without it, what the heater takes in it"),
        ("Left of that", energy(found.net_kwh), "more served or in the cells at the end, the heater taken off"),
        ("It lasts", lasts, f"as it is, {as_is}"),
    )


def _heater_basis(found: Heated) -> str:
    return (
        f"{found.heater.power_w:g}{NO_BREAK}W from the battery side, started in time before each day’s sun to spare "
        "and held to its end. Not counted: heat made by the current, cores that warm later than the sides (wait for "
        "them), and the capacity that warm cells have back."
    )


def _charge_chart(
    answer: Cold, site: Site
) -> tuple[Figure | None, tuple[str, ...], tuple[tuple[str, tuple[str, ...]], ...], str]:
    """The charge as it is and with warm cells, where these differ; with its numbers and days."""
    times = civil_times(site, to_standard(site, answer.at), answer.times_h.tolist())
    span = f"{short_date(times[0].date())} to {short_date(times[-1].date())}"
    if answer.refused_kwh < LEAST_TOLD_KWH:
        return None, (), (), span
    as_is = Curve(name="as it is", times=times, percent=tuple((answer.soc * 100.0).tolist()))
    warm = Curve(name="warm cells", times=times, percent=tuple((answer.soc_warm * 100.0).tolist()))
    figure = car_chart.charge(as_is, warm, answer.floor_soc * 100.0, f"lowest to use {percent(answer.floor_soc)}")
    numbers = tuple(
        (stamp(time), (f"{a:.1f}", f"{b:.1f}")) for time, a, b in zip(times, as_is.percent, warm.percent, strict=True)
    )
    return figure, ("as it is, %", "warm cells, %"), numbers, span
