"""Dull spells in words, figures, tables and charts, all from the same numbers.

Clearness is told as percent of a clear day's light; kWh are a day's, of all panels, before the solar charger.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from markupsafe import Markup

from engine.answers.spell_windows import FILE, MADE, SpellRow
from engine.answers.spells import Spells
from engine.house.household import Household
from engine.sky import climate as climates
from engine.sky.averages import own_months
from engine.sky.site import Sun
from engine.sky.spells import RISK_YEARS, Runs
from engine.sky.sun import sunless_months
from engine.sky.world import ROUGH
from webapp import spells_charts as charts
from webapp.chart_parts import Figure
from webapp.facing_view import FacingView, facing_view
from webapp.questions import Tile, mark_of
from webapp.render import NO_BREAK, figures, fixed, percent
from webapp.spells_charts import Rows, styled, table_rows
from webapp.words import MONTHS, energy

OFTEN = {1: "a typical year", 5: "1 year in 5", 10: "1 year in 10"}
LENGTHS = {1: "day", 2: "two days", 3: "three days", 5: "five days", 7: "week", 10: "ten days", 14: "two weeks"}
ASKING = (("Today", "/today"), ("Bank size", "/size"), ("Rainy week", "/week"))
MOST_SIZE_DAYS = 7
RUN_DAYS = (3, 7)
MADE_ROUGH = (
    f"A rough estimate where it could be checked: {ROUGH}. Months of your own, or a file, are worth more than any "
    "model."
)
MADE_OF_OWN = (
    "Checked at three stations, such spells gave on average 2 to 21 % less than the real ones; single ones gave more."
)
_PARTS = (
    (0.9, "about as much as"), (0.7, "three quarters of"), (0.58, "two thirds of"), (0.42, "half of"),
    (0.29, "a third of"), (0.225, "a quarter of"), (0.183, "a fifth of"), (0.155, "a sixth of"),
    (0.134, "a seventh of"), (0.118, "an eighth of"), (0.105, "a ninth of"), (0.085, "a tenth of"),
    (0.058, "a fifteenth of"), (0.04, "a twentieth of"),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowRow:
    """One length of window: kWh a day and clearness for each risk (None where not known), and where to ask on."""

    name: str
    cells: tuple[tuple[str, str] | None, ...]
    links: tuple[tuple[str, str], ...]
    asked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SpellsView:
    """An answer as the page shows it."""

    sentence: Markup
    basis: str
    tiles: tuple[Tile, ...]
    links: tuple[tuple[str, str], ...]
    often: tuple[str, ...]
    windows: tuple[WindowRow, ...]
    worst: Figure
    worst_rows: Rows
    months_sentence: str
    months: Figure
    runs: Rows
    load_sentence: str
    load_heads: tuple[str, ...]
    load: Figure
    load_rows: Rows
    facing: FacingView


def spells_view(answer: Spells, house: Household) -> SpellsView:
    """Return the view of an answer."""
    load_heads, load_columns = _load_columns(answer)
    risks = tuple(risk for risk in RISK_YEARS if any(row.risk_years == risk for row in answer.rows))
    has_kwh = answer.asked.kwh is not None
    lines = styled(*_worst_columns(answer.rows, risks))
    return SpellsView(
        sentence=sentence(answer, sunless_months(house.site)),
        basis=basis_words(answer, house.sun),
        tiles=day_tiles(answer.asked),
        links=asking(answer.asked),
        often=tuple(OFTEN[risk].capitalize() for risk in risks),
        windows=_windows(answer, risks),
        worst=charts.worst(lines, "kWh a day" if has_kwh else "% of a clear day"),
        worst_rows=table_rows(lines, lambda days: f"{days:g}", 2 if has_kwh else 0),
        months_sentence=months_sentence(answer),
        months=charts.months(answer.months, answer.made_years),
        runs=_runs_rows(answer),
        load_sentence=load_sentence(answer),
        load_heads=load_heads,
        load=charts.by_month(styled(load_heads, range(1, 13), load_columns)),
        load_rows=table_rows(styled(load_heads, range(1, 13), load_columns), lambda month: MONTHS[int(month) - 1], 1),
        facing=facing_view(answer),
    )


def length(days: int) -> str:
    """Name a number of days in a row as it stands after “the worst”."""
    return LENGTHS[days]


def part_words(share: float) -> str:
    """Say what part of something a share is, roughly, with its “of”.

    Examples
    --------
    >>> part_words(0.26), part_words(0.16), part_words(0.01), part_words(1.2)
    ('a quarter of', 'a sixth of', 'hardly anything of', 'about as much as')
    """
    return next((words for least, words in _PARTS if share >= least), "hardly anything of")


def sentence(answer: Spells, sunless: Sequence[int] = ()) -> Markup:
    """Say what the days asked about give, and what part of an average day that is; why, where it is nothing."""
    one = answer.asked
    worst, give = f"the worst {length(one.days)} of {OFTEN[one.risk_years]}", _verb(one.days)
    place = "At your place" if answer.basis in (MADE, FILE) else f"Under the sky of {_elsewhere(answer)}"
    month = MONTHS[one.month - 1]
    if one.kwh is None:
        lets = "let" if give == "give" else "lets"
        return Markup("{} {} {} through <strong>{} a clear day’s</strong> light.").format(
            place, worst, lets, part_words(one.window_kc)
        )
    if not one.kwh or not answer.average_kwh:
        why = "it is too dark for a solar charger to start" if one.month not in sunless else "the sun does not rise"
        return Markup("{} {} {} <strong>nothing</strong>: in {} {}.").format(place, worst, give, month, why)
    kwh = f"{energy(one.kwh)}{'' if one.days == 1 else ' a day'}"
    part = part_words(one.kwh / answer.average_kwh)
    return Markup("{} {} {} <strong>{}</strong>, {} an average {} day.").format(place, worst, give, kwh, part, month)


def _verb(days: int) -> str:
    return "give" if length(days).endswith("s") else "gives"


def _elsewhere(answer: Spells) -> str:
    return climates.names()[answer.basis]


def basis_words(answer: Spells, sun: Sun) -> str:
    """Say where the days asked about are from, and how far to trust them."""
    one = answer.asked
    if answer.basis == MADE:
        mine = own_months(sun)
        own = all(mine[(one.month - 1 + step) % 12] for step in (-1, 0, 1))
        return f"Not measured: {one.source}, from their twelve means alone. {MADE_OF_OWN if own else MADE_ROUGH}"
    least = "when these panels get least" if one.kwh is not None else "the shortest days"
    laid = f"These days are laid on the sun of {MONTHS[one.month - 1]}, {least}: the careful side."
    if answer.basis == FILE:
        return f"Measured: {one.source}, {one.years} years; the days came in {MONTHS[one.came_month - 1]}. {laid}"
    return f"Measured at {one.source}. {laid}"


def day_tiles(row: SpellRow) -> tuple[Tile, ...]:
    """Return the strip of the window's days and of those after it."""
    told = [(str(day), kc) for day, kc in enumerate(row.day_kc, 1)]
    told += [(f"+{day}", kc) for day, kc in enumerate(row.after_kc, 1)]
    return tuple(Tile(day=day, mark=mark_of(kc), word=f"{kc * 100:.0f} %", share=True) for day, kc in told)


def asking(row: SpellRow) -> tuple[tuple[str, str], ...]:
    """Return the pages that can be asked with these days, each with its address."""
    sky = {"sky": row.sky}
    month = {"month": str(row.month)}
    days = {"days": str(min(row.days, MOST_SIZE_DAYS))}
    queries: dict[str, dict[str, str]] = {"/today": sky, "/size": sky | days | month, "/week": sky | month}
    return tuple((title, f"{path}?{urlencode(queries[path])}") for title, path in ASKING)


def _windows(answer: Spells, risks: Sequence[int]) -> tuple[WindowRow, ...]:
    found = {(row.days, row.risk_years): row for row in answer.rows}
    lengths = sorted({row.days for row in answer.rows})
    linked = answer.asked.risk_years
    return tuple(
        WindowRow(
            name=length(days).capitalize(),
            cells=tuple(_cell(found.get((days, risk))) for risk in risks),
            links=asking(found[days, linked]) if (days, linked) in found else (),
            asked=days == answer.asked.days,
        )
        for days in lengths
    )


def _cell(row: SpellRow | None) -> tuple[str, str] | None:
    if row is None:
        return None
    clear = f"{percent(row.kc)} of a clear day"
    return (clear, "") if row.kwh is None else (f"{figures(row.kwh)}{NO_BREAK}kWh", clear)


def _worst_columns(
    rows: Sequence[SpellRow], risks: Sequence[int]
) -> tuple[tuple[str, ...], list[int], list[list[float]]]:
    lengths = sorted({row.days for row in rows})
    found = {(row.days, row.risk_years): row for row in rows}

    def told(row: SpellRow) -> float:
        return row.kc * 100.0 if row.kwh is None else row.kwh

    columns = [[told(found[days, risk]) for days in lengths] for risk in risks]
    return tuple(OFTEN[risk] for risk in risks), lengths, columns


def months_sentence(answer: Spells) -> str:
    """Say in which months the worst days fall."""
    if not answer.made_gives_any:
        return "Every year has such days without any sun, one as bad as the next: the chart counts the first of them."
    ranked = sorted(((count, month) for month, count in enumerate(answer.months, 1) if count), reverse=True)
    worst = f"worst {length(answer.asked.days)}"
    count, month = ranked[0]
    told = f"In {count} of {answer.made_years} made years the {worst} lay in {MONTHS[month - 1]}"
    if len(ranked) == 1:
        return f"{told}."
    count, month = ranked[1]
    return f"{told}, in {count} in {MONTHS[month - 1]}."


def _runs_rows(answer: Spells) -> Rows:
    rows = [(f"Less than {percent(runs.below)} of a clear day", _runs_cells(runs)) for runs in answer.runs]
    if answer.below_load is not None:
        month = MONTHS[answer.hardest_month - 1]
        rows.append((f"Less sun than the loads of {month} draw", _runs_cells(answer.below_load)))
    return tuple(rows)


def _runs_cells(runs: Runs) -> tuple[str, ...]:
    longest = [fixed(runs.longest_days[risk]) if risk in runs.longest_days else "–" for risk in RISK_YEARS]
    return (
        percent(runs.days_share),
        *longest,
        str(runs.longest_ever_days),
        *(figures(runs.a_year[days]) for days in RUN_DAYS),
    )


def load_sentence(answer: Spells) -> str:
    """Say which month is hardest, and how much of its load the sun carries."""
    one = answer.year[answer.hardest_month - 1]
    month = MONTHS[one.month - 1]
    if one.load_kwh is None:
        return (
            f"{month} is the month of least sun: {energy(one.in_bank_kwh)} a day into a bank. No bank carries a load."
        )
    share = one.covered_share
    if share is None:
        return (
            f"{month} is the month of least sun: {energy(one.in_bank_kwh)} a day into the bank. Nothing draws from it."
        )
    told = (
        f"{month} is the hardest month: an average day puts {energy(one.in_bank_kwh)} into the bank, and the loads "
        f"draw {energy(one.load_kwh)} from it"
    )
    if share < 1.0:
        return f"{told}. The sun alone carries {percent(share)} of it: the rest is for a generator, or for less load."
    return f"{told}. The sun carries it on an average day; the bank is for the dull ones."


def _load_columns(answer: Spells) -> tuple[tuple[str, ...], list[list[float]]]:
    into = [one.in_bank_kwh for one in answer.year]
    worst = [one.worst_in_bank_kwh for one in answer.year]
    heads = ["average day", f"worst {length(answer.asked.days)}"]
    columns = [into, worst]
    loads = [one.load_kwh for one in answer.year if one.load_kwh is not None]
    if loads:
        heads.append("the loads")
        columns.append(loads)
    return tuple(heads), columns
