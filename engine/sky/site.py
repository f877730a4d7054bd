"""Where the house stands and what stands on its roof: the householder's description, checked.

Angles are degrees (azimuth clockwise from north), energy kWh, DC at the panels' side of the solar
charger unless the name says otherwise. Not modelled: shade by time of day (state it in the losses).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from engine.errors import InputError
from engine.fields import check, quantity
from engine.sky import climate as climates

SYSTEM_LOSSES_SHARE = 0.114
"""Soiling 2 %, shading 3, mismatch 2, wiring 2, connections 0.5, light-induced 1.5, nameplate 1, together.

A. P. Dobos, PVWatts Version 5 Manual, NREL/TP-6A20-62641 (2014), table of losses, without its availability
of 3 %: an outage is not a loss of every day. Published.
"""
_YEAR_OF_RULES = 2025


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Where the house stands, which clock it keeps, and which skies are like its own."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    latitude_deg: float = quantity("Latitude", "degrees", -90, 90, hint="South is negative")
    longitude_deg: float = quantity("Longitude", "degrees", -180, 180, hint="West is negative")
    time_zone: str
    climate: str

    def __post_init__(self) -> None:
        check(self)
        _zone(self.time_zone)
        if self.climate not in climates.names():
            has = ", ".join(climates.names())
            raise InputError("climate", f"Climate “{self.climate}” is not known; there is: {has}.")

    @property
    def utc_offset_h(self) -> float:
        """Offset of local standard time (no summer time) from UTC [h], by the rules of 2025."""
        zone = _zone(self.time_zone)
        offsets = (datetime(_YEAR_OF_RULES, month, 15, 12, tzinfo=zone).utcoffset() for month in (1, 7))
        return min(offset.total_seconds() for offset in offsets if offset is not None) / 3600.0

    @property
    def south(self) -> bool:
        """Whether the site lies south of the equator."""
        return self.latitude_deg < 0


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError, TypeError):
        raise InputError(
            "time_zone", f"Time zone “{name}” is not known; write it like Europe/Amsterdam or Asia/Manila."
        ) from None


@dataclass(frozen=True, slots=True, kw_only=True)
class Array:
    """Panels of one tilt and one direction."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    id: str
    name: str
    kwp: float = quantity("Panel power", "kWp", 0.01, 10_000, hint="Sum of the labels of these panels")
    tilt_deg: float = quantity("Tilt", "degrees", 0, 90, hint="0 flat, 90 upright")
    azimuth_deg: float = quantity("Direction", "degrees", 0, 360, hint="Clockwise from north: 90 east, 180 south")
    inverter: str = ""
    winter_tilt_deg: float | None = quantity(
        "Winter tilt",
        "degrees",
        0,
        90,
        default=None,
        optional=True,
        hint="If you set them steeper for the darker half of the year (October to March north of the equator)",
    )
    losses: float | None = quantity(
        "Losses of these panels",
        "%",
        0.0,
        0.9,
        default=None,
        percent=True,
        optional=True,
        hint="Shade of a tree or chimney, say; empty for the losses of all panels",
    )
    charger_limit_w: float | None = quantity(
        "Most its solar charger passes",
        "W",
        10,
        10_000_000,
        default=None,
        optional=True,
        hint="Its highest panel power in the data sheet, or highest current × bank volts; empty if there is no limit",
    )
    start_w: float | None = quantity(
        "Its solar charger starts at",
        "W",
        0,
        100_000,
        default=None,
        optional=True,
        hint="Panel power below which it gives nothing; empty for 10 W per kWp",
    )

    def __post_init__(self) -> None:
        check(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnSpell:
    """A run of dull days out of the owner's own file, in the order they came, and the days after it."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    id: str
    title: str
    kc: tuple[float, ...]
    after_kc: tuple[float, ...] = ()
    month: int
    ended: str
    years: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Sun:
    """The panels, what is lost on the way, and what the owner has seen them give."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    arrays: tuple[Array, ...] = ()
    charger_efficiency: float = quantity(
        "Solar charger efficiency",
        "%",
        0.5,
        1.0,
        default=0.95,
        percent=True,
        hint="From panels to bank terminals",
    )
    system_losses: float = quantity(
        "Panel losses",
        "%",
        0.0,
        0.9,
        default=SYSTEM_LOSSES_SHARE,
        percent=True,
        hint="Dirt, shade, wiring; not used to scale a clear day you typed",
    )
    clear_day_kwh: float | None = quantity(
        "Clear day", "kWh", 0.001, 1_000_000, default=None, optional=True, hint="All panels on one clear day"
    )
    clear_day_month: int | None = quantity(
        "Month of that clear day", "", 1, 12, default=None, optional=True, whole=True
    )
    dull_day_kwh: float | None = quantity(
        "Dull day", "kWh", 0.001, 1_000_000, default=None, optional=True, hint="All panels on one dull day"
    )
    dull_day_month: int | None = quantity("Month of that dull day", "", 1, 12, default=None, optional=True, whole=True)
    covered_days: int = quantity(
        "Days the panels are covered",
        "days",
        0,
        60,
        default=0,
        whole=True,
        hint="Snow at the start of a spell",
    )
    monthly_kc: tuple[float, ...] | None = None
    monthly_kwh: tuple[float | None, ...] | None = None
    spells: tuple[OwnSpell, ...] = ()
    sky_file: str = ""

    def __post_init__(self) -> None:
        check(self)
        kc = self.monthly_kc
        if kc is not None and not (len(kc) == 12 and all(0.0 < share <= 1.1 for share in kc)):
            raise InputError(
                "monthly_kc",
                f"Monthly kc must be 12 numbers above 0 and up to 1.1, January first; got {list(kc)}.",
            )
