"""Whether anybody has stated how cold a chemistry may be charged, and the temperatures such a statement is made at."""

from __future__ import annotations

from engine.cells import catalogue
from engine.cells.chemistry import Chemistry

COLD_C = 0.0
"""Temperature that `Bank.cold_charge_a` is the limit at [degC], where charging starts no higher (by its label)."""
FULL_C = 10.0
"""From here on the whole limit is allowed [degC] (judgement: makers' sheets step between 5 and 15 degC; type less)."""


def coldest_stated(cell: Chemistry) -> bool:
    """Whether the coldest charge of a chemistry has a source that is no mere assumption.

    A cell of the household's own without a source goes by the catalogue's that it is of.
    """
    source = cell.source_of("charge_min_c")
    if source is None and cell.base_id in catalogue.names():
        source = catalogue.load(cell.base_id).source_of("charge_min_c")
    return source is None or source.kind != "assumed"
