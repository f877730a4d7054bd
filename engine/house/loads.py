"""The loads of a household together; what other rooms need of loads is imported from here.

Power is W by hour of local standard time, as in `engine.house.load`.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from engine.house.load import SIDES, Load, daily_kwh, highest_w, hourly_w
from engine.house.load_kinds import KINDS, LoadField, LoadKind
from engine.house.load_notes import Note, notes
from engine.house.load_shapes import Hours
from engine.quantities import HOURS_PER_DAY
from engine.sources import Source

__all__ = [
    "KINDS",
    "SIDES",
    "Load",
    "LoadField",
    "LoadKind",
    "Note",
    "assumed_values",
    "daily_kwh",
    "highest_w",
    "hourly_w",
    "notes",
    "total",
]


def total(
    loads: Iterable[Load],
    month: int,
    side: str,
    south: bool = False,
    weekday: int | None = None,
    ahead_h: float = 0.0,
) -> Hours:
    """Add up the loads that were measured on one side.

    Parameters
    ----------
    side : str
        ``ac`` or ``battery``, as in `Load.measured`.
    weekday : int, optional
        Day of the week, as in `hourly_w`; the mean day of the month where the date is not known.
    ahead_h : float
        By how much the clock on the wall is ahead of standard time, as in `hourly_w` [h].

    Returns
    -------
    (24,) array
        Mean of each hour [W].
    """
    mine = [hourly_w(load, month, south, weekday, ahead_h) for load in loads if load.measured == side]
    return np.sum(mine, axis=0) if mine else np.zeros(HOURS_PER_DAY)


def assumed_values(load: Load) -> tuple[tuple[str, float, str, Source], ...]:
    """List the numbers of a load that nobody typed: label, value as people read it, unit, source.

    Examples
    --------
    >>> label, value, unit, source = assumed_values(Load(id="a", name="Alarm", kind="steady"))[0]
    >>> label, value, unit, source.kind
    ('Power', 25.0, 'W', 'typical, from memory')
    """
    return tuple(
        (field.quantity.label, load.filled()[name] * field.quantity.scale, field.quantity.unit, field.source)
        for name, field in load.meaning.fields.items()
        if name not in load.values
    )
