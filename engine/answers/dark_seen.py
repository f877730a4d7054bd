"""What a person saw on the night it went dark: moment, charge shown, load, cells, and what else is remembered.

Moments are local standard time, the load is W at the sockets, charges are what the bank monitor showed, a share of
tested Ah.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from engine.errors import InputError
from engine.fields import check, quantity

LONGEST_EVENING_H = 24.0
"""A charge of the evening that is older than this says nothing of the night (choice)."""
SHORTEST_EVENING_H = 0.5
"""Nor one that is nearly that of the dark itself (choice)."""
FULL_SOC = 0.95
"""A bank that showed full after the evening's reading cannot have shown less than this then, without sun (choice)."""
BEFORE, AFTER = "before", "after"
"""When the pack volts were read: under the load just before, or some minutes after, with nothing drawn."""
LOW, BOARD, OVERLOAD, NOTHING = "low", "board", "overload", "nothing"
TOLD = (LOW, BOARD, OVERLOAD, NOTHING)
"""What was found: the inverter said low volts, the board had opened, the inverter said overload, nothing was shown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """The night as it was seen.

    Attributes
    ----------
    at : datetime
        When it went dark.
    evening_at : datetime or None
        When `evening_soc` was read.
    full_at : datetime or None
        When the monitor last showed full.
    volts_when, told : str
        `BEFORE` or `AFTER`; one of `TOLD` or empty.
    """

    at: datetime
    soc: float = quantity("The monitor showed", "%", 0.0, 1.0, percent=True, hint="When it went dark")
    load_w: float = quantity(
        "Running just then", "W", 0, 1_000_000, hint="At the sockets, everything together: kettle, pump, fridge"
    )
    cell_c: float = quantity("Cell temperature that night", "°C", -40, 60, hint="Between the cells, not the room")
    evening_w: float | None = quantity(
        "Mean load of the evening",
        "W",
        0,
        1_000_000,
        default=None,
        optional=True,
        hint="At the sockets. Empty: the hours of your loads",
    )
    evening_at: datetime | None = None
    evening_soc: float | None = quantity(
        "The monitor showed in the evening", "%", 0.0, 1.0, default=None, optional=True, percent=True
    )
    full_at: datetime | None = None
    volts_v: float | None = quantity(
        "Pack volts", "V", 1, 1500, default=None, optional=True, hint="If you read them just before, or after"
    )
    volts_when: str = BEFORE
    told: str = ""

    def __post_init__(self) -> None:
        check(self)
        if self.full_at is not None and not self.full_at < self.at:
            raise InputError("full_at", "Last full must be before it went dark.")
        if self.volts_when not in (BEFORE, AFTER):
            raise InputError("volts_when", f"Read must be {BEFORE} or {AFTER}; got “{self.volts_when}”.")
        if self.told and self.told not in TOLD:
            raise InputError("told", f"What was found must be one of {', '.join(TOLD)}; got “{self.told}”.")
        self._check_evening()

    def _check_evening(self) -> None:
        """Refuse half of a reading of the evening, and one that no night without sun can lead on from."""
        if self.evening_at is None and self.evening_soc is None:
            return
        if self.evening_at is None:
            raise InputError("evening_at", "Say when the charge of the evening was read, or leave it empty, too.")
        if self.evening_soc is None:
            raise InputError("evening_soc", "Say what the monitor showed in the evening, or leave its time empty, too.")
        hours = (self.at - self.evening_at).total_seconds() / 3600.0
        if not SHORTEST_EVENING_H <= hours <= LONGEST_EVENING_H:
            raise InputError(
                "evening_at",
                f"The reading of the evening must be from {SHORTEST_EVENING_H:g} to {LONGEST_EVENING_H:g} hours before "
                f"it went dark; got {hours:.1f} hours.",
            )
        if self.evening_soc < self.soc:
            raise InputError(
                "evening_soc",
                f"The charge of the evening must be at least that shown when it went dark, {self.soc * 100:g} %: "
                f"without sun it cannot rise; got {self.evening_soc * 100:g} %.",
            )
        if self.full_at is not None and self.full_at > self.evening_at and self.evening_soc < FULL_SOC:
            later = (self.full_at - self.evening_at).total_seconds() / 3600.0
            raise InputError(
                "full_at",
                f"Last full must not be after the reading of the evening, which was {self.evening_soc * 100:g} %: "
                f"without sun the charge cannot rise from there; got {later:.1f} hours after it.",
            )
