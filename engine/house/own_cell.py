"""A cell with what a household knows of its own: the hours and warmth its Ah are for, what it gives back, its leak.

Not modelled: ampere-hours given back that change with the charge, where the household's own number is taken.
"""

from __future__ import annotations

import dataclasses
from functools import lru_cache

from engine.cells.chemistry import Chemistry, Pairs, interpolated
from engine.sources import Source

TYPED = Source(kind="published", text="The hours on the bank’s label or of its test, as typed.")
OWN = Source(kind="measured", text="Of this bank, by the household’s own meter.")
_SOURCES = {"rated_h": TYPED, "coulombic_efficiency": OWN, "self_discharge_per_month": OWN}


@lru_cache(maxsize=64)
def with_own(
    cell: Chemistry,
    rated_h: float | None = None,
    coulombic_efficiency: float | None = None,
    self_discharge_per_month: float | None = None,
    tested_c: float | None = None,
) -> Chemistry:
    """Return a cell with the numbers that are not None in place of its own.

    Parameters
    ----------
    rated_h : float or None
        Hours from full to empty at the current the ampere-hours were stated or tested for [h]; left as they are where
        they do not act.
    coulombic_efficiency : float or None
        Ampere-hours given back of those put in, the same at any charge [-].
    self_discharge_per_month : float or None
        Share of the tested ampere-hours lost in a month [-].
    tested_c : float or None
        Cell temperature at which the ampere-hours were tested [degC], where that is not `TABLE_C`: what cold keeps back
        is then counted from there.

    Examples
    --------
    >>> from engine.cells import catalogue
    >>> own = with_own(catalogue.load("lfp"), 10.0, 0.99)
    >>> own.rated_h, own.coulombic_efficiency, own.source_of("coulombic_efficiency").kind
    (2, 0.99, 'measured')
    """
    numbers = {
        "rated_h": None if cell.peukert_k == 1.0 else rated_h,
        "coulombic_efficiency": coulombic_efficiency,
        "self_discharge_per_month": self_discharge_per_month,
        "capacity_temperature": None if tested_c is None else from_test(cell.capacity_temperature, tested_c),
    }
    own = {name: value for name, value in numbers.items() if value is not None}
    said = {name: _SOURCES[name] for name in own if name in _SOURCES}
    others = ((" ".join(name for name in key.split() if name not in said), one) for key, one in cell.sources.items())
    sources = said | {key: source for key, source in others if key}
    return dataclasses.replace(cell, sources=sources, **own) if own else cell  # type: ignore[arg-type]


def from_test(pairs: Pairs, tested_c: float) -> Pairs:
    """Return a table of capacity against temperature with 1 at that of a test [degC], and no more when warmer.

    Examples
    --------
    >>> from_test(((0.0, 0.8), (25.0, 1.0)), 12.5)
    ((0.0, 0.888888888888889), (12.5, 1.0))
    """
    there = interpolated(pairs, tested_c)
    return (*((c, min(factor / there, 1.0)) for c, factor in pairs if c < tested_c), (tested_c, 1.0))
