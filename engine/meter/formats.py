"""What a meter's file may hold: its columns, their units, how each energy counts, and which clock it keeps.

Nothing here reads a file, nor loads what does.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

from engine.text.layouts import Layout
from engine.text.meanings import TIME_MEANINGS, Meaning, by_key
from engine.text.time_units import Doubt, Places

POWERS = {"W": 1.0, "kW": 1e3}
"""Units of power and their factor to W."""
ENERGIES = {"kWh": 1e3, "Wh": 1.0, "MWh": 1e6}
"""Units of energy and their factor to Wh."""
CURRENTS = {"A": 1.0, "mA": 1e-3}
"""Units of current and their factor to A."""
CHARGES = {"Ah": 1.0, "mAh": 1e-3}
"""Units of charge and their factor to Ah."""
VOLTS = {"V": 1.0, "mV": 1e-3}
SHARES = {"%": 0.01, "share": 1.0}
CELSIUS, FAHRENHEIT = "°C", "°F"
COUNTED = (*ENERGIES, *CHARGES)
"""Units that may count up."""

CHARGING, DISCHARGING = "charging", "discharging"
SIGNS = {CHARGING: "Positive is charging", DISCHARGING: "Positive is discharging"}
WALL, STANDARD, OFFSET = "wall", "standard", "offset"
CLOCKS = {
    WALL: "The clock on the wall, with summer time",
    STANDARD: "Standard time all year",
    OFFSET: "A fixed offset from universal time",
}


_WORK = (*POWERS, *ENERGIES)
_AT_BATTERY = (*_WORK, *CURRENTS, *CHARGES)
MEANINGS = (
    *TIME_MEANINGS,
    Meaning(key="yield", label="Yield of the panels", units=_AT_BATTERY),
    Meaning(key="load", label="Load at the sockets", units=_WORK),
    Meaning(key="load_dc", label="Load at the battery side", units=_AT_BATTERY),
    Meaning(key="bank", label="Into and out of the bank, with a sign", units=_WORK),
    Meaning(key="bank_in", label="Into the bank, in a column of its own", units=_WORK),
    Meaning(key="bank_out", label="Out of the bank, in a column of its own", units=_WORK),
    Meaning(key="current", label="Current of the bank, with a sign", units=(*CURRENTS, *CHARGES)),
    Meaning(key="current_in", label="Current into the bank, in a column of its own", units=(*CURRENTS, *CHARGES)),
    Meaning(key="current_out", label="Current out of the bank, in a column of its own", units=(*CURRENTS, *CHARGES)),
    Meaning(key="volts", label="Volts of the bank", units=tuple(VOLTS)),
    Meaning(key="charge", label="Charge the monitor showed", units=tuple(SHARES)),
    Meaning(key="cell", label="Temperature of the cells", units=(CELSIUS, FAHRENHEIT)),
    Meaning(key="generator", label="Generator or grid", units=_WORK),
)
SIGNED = ("bank", "current")
PAIRS = {"bank": ("bank_in", "bank_out"), "current": ("current_in", "current_out")}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How a meter's file is read.

    Attributes
    ----------
    columns : dict of str to (int, str)
        Column, from 0, and unit of each of `MEANINGS` that has one.
    totals : mapping of str to str
        One of `TOTALS` for each column in one of the units `COUNTED`.
    signs : mapping of str to str
        One of `SIGNS` for each of `SIGNED` that has a column.
    clock : str
        One of `CLOCKS`.
    utc_offset_h : float
        Offset of the file's clock from universal time, where `clock` is an offset [h].
    zone_written : bool
        Whether each date says its own offset; then the file's clock is universal time.
    ends : bool
        Whether a row's time is the end of what it counts.
    asked : tuple of (str, str)
        What is in doubt: the key of a column, ``totals.KEY``, ``signs.KEY``, ``clock`` or ``decimal``; the question.
    """

    layout: Layout
    columns: Places
    totals: Mapping[str, str] = dataclasses.field(default_factory=dict)
    signs: Mapping[str, str] = dataclasses.field(default_factory=dict)
    clock: str = WALL
    utc_offset_h: float = 0.0
    zone_written: bool = False
    ends: bool = False
    asked: tuple[Doubt, ...] = ()
    sample: tuple[tuple[str, ...], ...] = dataclasses.field(default=(), repr=False, compare=False)

    @property
    def doubts(self) -> tuple[str, ...]:
        """What we would ask, in sentences."""
        return tuple(text for _, text in self.asked)


def meanings_by_key() -> Mapping[str, Meaning]:
    """Return every meaning by its key."""
    return by_key(MEANINGS)
