"""A catalogue's cell with what the household itself measured of it: ampere-hours given back, and self-discharge.

Not modelled: ampere-hours given back that change with the charge, where the household's own number is taken.
"""

from __future__ import annotations

import dataclasses
from functools import lru_cache

from engine.cells.chemistry import Chemistry
from engine.sources import Source

OWN = Source(kind="measured", text="Of this bank, by the household’s own meter.")


@lru_cache(maxsize=64)
def with_own(cell: Chemistry, coulombic_efficiency: float | None, self_discharge_per_month: float | None) -> Chemistry:
    """Return a cell with the numbers that are not None in place of its own.

    Parameters
    ----------
    coulombic_efficiency : float or None
        Ampere-hours given back of those put in, the same at any charge [-].
    self_discharge_per_month : float or None
        Share of the tested ampere-hours lost in a month [-].

    Examples
    --------
    >>> from engine.cells import catalogue
    >>> own = with_own(catalogue.load("lfp"), 0.99, None)
    >>> own.coulombic_efficiency, own.self_discharge_per_month, own.source_of("coulombic_efficiency").kind
    (0.99, 0.02, 'measured')
    """
    if coulombic_efficiency is None and self_discharge_per_month is None:
        return cell
    efficiency = cell.coulombic_efficiency if coulombic_efficiency is None else coulombic_efficiency
    leak = cell.self_discharge_per_month if self_discharge_per_month is None else self_discharge_per_month
    given = {"coulombic_efficiency": coulombic_efficiency, "self_discharge_per_month": self_discharge_per_month}
    own = [name for name, value in given.items() if value is not None]
    kept = {key: source for key, source in cell.sources.items() if key not in own}
    return dataclasses.replace(
        cell,
        coulombic_efficiency=efficiency,
        self_discharge_per_month=leak,
        sources={**dict.fromkeys(own, OWN), **kept},
    )
