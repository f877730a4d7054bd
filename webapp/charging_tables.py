"""The tables of Charge volts, on the page and as files: shares that sum to 100, volts that can be set.

Volts per cell to a hundredth, pack volts to a tenth, as chargers are set; whole percent.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from engine.answers.charging import Charging, CurveRow
from engine.answers.charging_targets import COUNT, Stop
from engine.house.span import Span
from webapp.charging_charts import FLAT_WORDS, Bar
from webapp.downloads import Cell
from webapp.render import NO_BREAK, fixed

CELL_DIGITS = 2
PACK_DIGITS = 1
EPS_V = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Shares:
    """What lies below, inside and above the window, in whole percent that sum to 100."""

    below: int
    inside: int
    above: int

    @property
    def words(self) -> str:
        """The three in words."""
        return f"{self.below} % below, {self.inside} % inside, {self.above} % above"


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanRow:
    """One series count of the table: its span, shares, and what is said of it."""

    span: Span
    shares: Shares
    own: bool
    best: bool
    verdict: str


def whole_percents(parts: Sequence[float]) -> tuple[int, ...]:
    """Round shares that sum to 1 to whole percent that sum to 100, the largest remainders up.

    Examples
    --------
    >>> whole_percents((0.124, 0.745, 0.131)), whole_percents((1.0, 0.0, 0.0))
    ((12, 75, 13), (100, 0, 0))
    """
    exact = [part * 100.0 for part in parts]
    whole = [int(value + 1e-9) for value in exact]
    by_rest = sorted(range(len(parts)), key=lambda place: whole[place] - exact[place])
    for place in by_rest[: 100 - sum(whole)]:
        whole[place] += 1
    return tuple(whole)


def shares(span: Span) -> Shares:
    """Return the shares of a span in whole percent."""
    below, inside, above = whole_percents((span.below_share, span.inside_share, span.above_share))
    return Shares(below=below, inside=inside, above=above)


def span_rows(spans: Iterable[Span], own: int, best: int) -> tuple[SpanRow, ...]:
    """Return the rows of the table of series counts."""
    return tuple(
        SpanRow(
            span=one,
            shares=shares(one),
            own=one.series == own,
            best=one.series == best,
            verdict=_verdict(one, one.series == own),
        )
        for one in spans
    )


def _verdict(one: Span, own: bool) -> str:
    if one.stop:
        return (
            f"Stop: full it stands at {one.full_v:.1f} V, above {one.highest_v:g} V; only while every charger keeps to "
            f"{one.setting_v:.1f} V"
        )
    limits = {
        "setting": "charged as set" if own else f"charged to {one.setting_cell_v:.2f} V per cell",
        "cell": "charged to the cell’s highest",
        "charge setting": "charged to the charger’s highest setting",
        "highest volts": "charged to the inverter’s highest",
    }
    return limits[one.setting_limit]


def bars(rows: Iterable[SpanRow]) -> tuple[Bar, ...]:
    """Return the bars of the drawing of series counts."""
    return tuple(_bar(row) for row in rows)


def _bar(row: SpanRow) -> Bar:
    one, parts = row.span, row.shares
    low = min(max(one.empty_v, one.cutoff_v), one.full_v)
    top = max(min(one.setting_v, one.full_v), low)
    if not parts.inside:
        low = top = one.full_v if parts.below > parts.above else one.empty_v
    mark = "Stop: " if one.stop else ""
    yours = ", yours" if row.own else ""
    return Bar(
        words=f"{mark}{one.series} in series{yours}: {parts.words}",
        short_words=f"{mark}{one.series}{yours}: {parts.below} % below, {parts.inside} in, {parts.above} above",
        empty_v=one.empty_v,
        full_v=one.full_v,
        low_v=low,
        top_v=top,
    )


def limits(span: Span, charge_max_v: float) -> tuple[tuple[float, str], ...]:
    """Return the volts of the inverter that the drawing marks, each with its words."""
    found = ((span.cutoff_v, f"cut-off<br>{span.cutoff_v:g} V"), (span.highest_v, f"highest<br>{span.highest_v:g} V"))
    if charge_max_v < span.highest_v:
        return (*found, (charge_max_v, f"charges to<br>{charge_max_v:g} V"))
    return found


def volts(cell_v: float | None, pack_v: float | None) -> str:
    """Write volts per cell and of the pack.

    Examples
    --------
    >>> volts(3.75, 60.0), volts(None, None)
    ('3.75\\xa0V per cell, 60.0\\xa0V', '–')
    """
    if cell_v is None or pack_v is None:
        return "–"
    return f"{fixed(cell_v, CELL_DIGITS)}{NO_BREAK}V per cell, {fixed(pack_v, PACK_DIGITS)}{NO_BREAK}V"


def stop_words(stop: Stop) -> tuple[str, str]:
    """Return the volts that stop a charge, or that none do, and the reason."""
    if stop.cell_v is not None:
        return volts(stop.cell_v, stop.pack_v), ""
    if stop.reason.startswith(COUNT):
        return "Not controllable by voltage; count ampere-hours", stop.reason.removeprefix(f"{COUNT}: ")
    return "Out of reach", stop.reason


CSV_HEADER = (
    "End of charge, V per cell",
    "Pack, V",
    "Held, % of tested Ah",
    "Not held, % of tested Ah",
    "Not held at the bench current, % of tested Ah",
    "Charge current of the bank, A",
    "Hold ends at, C",
    "Bench current, C",
    "To mind",
)


def curve_csv(answer: Charging, charge_max_v: float | None) -> list[list[Cell]]:
    """Return the charge reached at every end voltage as rows of a file; percent left empty where volts do not tell it.

    Parameters
    ----------
    charge_max_v : float or None
        Highest pack volts the inverter can charge to [V].
    """
    return [_csv_row(row, answer, charge_max_v) for row in answer.rows]


def _csv_row(row: CurveRow, answer: Charging, charge_max_v: float | None) -> list[Cell]:
    told: list[Cell] = [
        round(soc * 100.0, 1) if row.controllable else None
        for soc in (row.hold_soc, row.no_hold_soc, row.bench_no_hold_soc)
    ]
    mind = [] if row.controllable else [FLAT_WORDS]
    if charge_max_v is not None and row.pack_v > charge_max_v + EPS_V:
        mind.append(f"stop: above the {charge_max_v:g} V that {answer.inverter_name} allows")
    currents: list[Cell] = [round(answer.charge_a, 2), round(answer.tail_c, 4), answer.bench_c]
    return [round(row.cell_v, 2), round(row.pack_v, 2), *told, *currents, "; ".join(mind)]


def flat_stretches(rows: Sequence[CurveRow]) -> tuple[tuple[float, float], ...]:
    """Return the stretches of end volts, from and to [V per cell], in which a voltage does not decide the charge."""
    runs = [list(run) for told, run in groupby(rows, key=lambda row: row.controllable) if not told]
    return tuple((run[0].cell_v, run[-1].cell_v) for run in runs)
