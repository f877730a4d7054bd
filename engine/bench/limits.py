"""Of which kind of cell a bench file's volts can be: the chemistries of the catalogue whose limits hold them.

Volts of one cell. Not modelled: a sag or a rise that rows from all over the file do not show.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from engine.bench.columns import VOLTS
from engine.bench.cycles import BenchResult
from engine.bench.measured_build import OVER_V
from engine.cells import catalogue
from engine.cells.chemistry import Chemistry
from engine.text.finding import Finding

if TYPE_CHECKING:
    from engine.bench.rows import Reading

PACK_V = 5.0
"""No single cell of any chemistry shipped here reaches this."""
FOREIGN = "volts_of_another_cell"
_COLD_LEAD_V = 0.15
"""What a charger adds for lead-acid at 30 K below 25 degC, 5 mV per K (typical, from memory) [V]."""
_COLUMNS = {"log": "voltage", "table": "volts"}


@dataclass(frozen=True, slots=True)
class Span:
    """Lowest and highest volts of one cell in a file."""

    low_v: float
    high_v: float

    @property
    def of_pack(self) -> bool:
        """Whether they are more than any one cell has."""
        return self.high_v > PACK_V


def span_of(reading: Reading, series: int = 1) -> Span | None:
    """Return the volts per cell of rows from all over a log or a table; None where no column has them.

    Parameters
    ----------
    reading : Reading
    series : int
        Cells in series behind the measured volts, >= 1.
    """
    place = reading.columns.get(_COLUMNS.get(reading.kind, ""))
    if place is None:
        return None
    at, unit = place
    volts = reading.sample.values(at) * VOLTS[unit] / max(series, 1)
    volts = volts[np.isfinite(volts) & (volts > 0)]
    return Span(float(volts.min()), float(volts.max())) if len(volts) else None


def highest_v(cell: Chemistry) -> float:
    """Return the highest volts a cell is ever held at: its limit, or where it may be equalised, that [V]."""
    return max(cell.v_max, cell.equalise_v or 0.0)


def fitting(span: Span, high_alone: bool = False) -> tuple[str, ...]:
    """Return the ids of the catalogue's chemistries whose limits hold these volts, the closest limits first.

    Parameters
    ----------
    span : Span
    high_alone : bool
        Whether the lowest volts say nothing, as in a table of charge ends.
    """
    cells = [catalogue.load(id) for id in catalogue.names()]
    held = [
        cell
        for cell in cells
        if (high_alone or cell.v_low - OVER_V <= span.low_v) and cell.v_low < span.high_v <= _most_v(cell)
    ]
    return tuple(cell.id for cell in sorted(held, key=lambda cell: abs(highest_v(cell) - span.high_v)))


def outside(result: BenchResult, cell: Chemistry) -> Finding | None:
    """Say that a log's volts leave the limits of the chemistry it was read as; None where they do not.

    Volts that are more than any one cell has are another question, asked by `quality`.
    """
    high_v = float(result.voltage_v.max())
    if high_v > PACK_V:
        return None
    if high_v > _most_v(cell):
        return _stop(f"{high_v:.2f} V is beyond what {cell.name} ever stands at, {highest_v(cell):.2f} V")
    middle_v = float(np.median(result.voltage_v))
    if high_v < cell.v_low or middle_v < cell.v_low - OVER_V:
        half = f"Half of its rows lie at {middle_v:.2f} V or less"
        return _stop(f"{half}, and {cell.name} is empty at {cell.v_low:.2f} V")
    return None


def _stop(text: str) -> Finding:
    ask = "is this its log, and of one cell? Read it another way before you use anything of it."
    return Finding(level="stop", code=FOREIGN, text=f"{text}: {ask}")


def _most_v(cell: Chemistry) -> float:
    """Above this the volts of a log are no cell's of this kind [V]."""
    return highest_v(cell) + OVER_V + (_COLD_LEAD_V if cell.acceptance_tau_h is not None else 0.0)
