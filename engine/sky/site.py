"""Where the house stands and what stands on its roof: the householder's description, checked.

Angles are degrees (azimuth clockwise from north), energy kWh, DC at the panels' side of the solar
charger unless the name says otherwise. Not modelled: shade by time of day (state it in the losses).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import ClassVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from engine.errors import InputError
from engine.fields import Quantity, check, quantity
from engine.sky import climate as climates
from engine.sky import world

SYSTEM_LOSSES_SHARE = 0.114
"""Soiling 2 %, shading 3, mismatch 2, wiring 2, connections 0.5, light-induced 1.5, nameplate 1, together.

A. P. Dobos, PVWatts Version 5 Manual, NREL/TP-6A20-62641 (2014), table of losses, without its availability
of 3 %: an outage is not a loss of every day. Published.
"""
_YEAR_OF_RULES = 2025
LONGEST_TEXT = 200
MOST_SPELL_DAYS = 366
MONTH_KWH = Quantity(
    label="Panel energy",
    unit="kWh",
    low=0.0,
    high=10_000_000.0,
    optional=True,
)
"""All panels, the whole month, DC before the solar charger."""
MONTH_KC = Quantity(label="Mean kc", unit="", low=0.01, high=climates.KC_MAX)
"""A month's mean of the days' radiation over that of a clear day."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Where the house stands, which clock it keeps, and which skies are like its own."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    latitude_deg: float = quantity("Latitude", "degrees", -90, 90, hint="South is negative, or 33.4 S")
    longitude_deg: float = quantity("Longitude", "degrees", -180, 180, hint="West is negative, or 94 W")
    time_zone: str
    climate: str = world.WORLD

    def __post_init__(self) -> None:
        check(self)
        _zone(self.time_zone)
        if self.climate not in climates.skies():
            has = ", ".join(climates.skies())
            raise InputError("climate", f"Climate “{self.climate}” is not known; there is: {has}.")

    @property
    def utc_offset_h(self) -> float:
        """Offset of local standard time (no summer time) from UTC [h], by the rules of 2025."""
        return min(_offsets_h(self.time_zone))

    @property
    def summer_time(self) -> bool:
        """Whether the clock on the wall has summer time, by the rules of 2025."""
        return len(set(_offsets_h(self.time_zone))) > 1

    def clock_ahead_h(self, day: date) -> float:
        """Return by how much the clock on the wall is ahead of standard time at noon of a day, by that day's rules [h].

        Examples
        --------
        >>> home = Site(latitude_deg=52, longitude_deg=5, time_zone="Europe/Amsterdam")
        >>> home.clock_ahead_h(date(2026, 3, 28)), home.clock_ahead_h(date(2026, 3, 29))
        (0.0, 1.0)
        """
        return _clock_ahead_h(self.time_zone, day)

    def usual_ahead_h(self, month: int) -> float:
        """Return the same for the middle of a month of any year, by the rules of 2025 [h]."""
        return self.clock_ahead_h(date(_YEAR_OF_RULES, month, 15))

    @property
    def usual_year_ahead_h(self) -> tuple[float, ...]:
        """The same for each day of any year, 1 January first, by the rules of 2025, (366,) [h]."""
        first = date(_YEAR_OF_RULES, 1, 1)
        return tuple(self.clock_ahead_h(first + timedelta(days=k)) for k in range(366))

    @property
    def south(self) -> bool:
        """Whether the site lies south of the equator."""
        return self.latitude_deg < 0


@lru_cache(maxsize=4096)
def _clock_ahead_h(time_zone: str, day: date) -> float:
    offset = datetime(day.year, day.month, day.day, 12, tzinfo=_zone(time_zone)).utcoffset()
    assert offset is not None
    return offset.total_seconds() / 3600.0 - min(_offsets_h(time_zone))


def _offsets_h(time_zone: str) -> list[float]:
    """Offsets from UTC in January and in July [h]."""
    zone = _zone(time_zone)
    offsets = (datetime(_YEAR_OF_RULES, month, 15, 12, tzinfo=zone).utcoffset() for month in (1, 7))
    return [offset.total_seconds() / 3600.0 for offset in offsets if offset is not None]


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
    kwp: float = quantity("Panel power", "kWp", 0.01, 10_000, hint="Sum of the labels of these panels, or 10 x 430 W")
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
        if self.start_w is not None and self.charger_limit_w is not None and self.start_w >= self.charger_limit_w:
            raise InputError(
                "start_w",
                f"{self.name} would give nothing: its solar charger starts at {self.start_w:g} W and passes at most "
                f"{self.charger_limit_w:g} W.",
            )

    def tilt_in(self, month: int, *, south: bool) -> float:
        """Return the tilt of a month [deg]; winter is October to March, south of the equator April to September.

        Examples
        --------
        >>> roof = Array(id="a", name="a", kwp=1, tilt_deg=20, azimuth_deg=180, winter_tilt_deg=60)
        >>> roof.tilt_in(12, south=False), roof.tilt_in(12, south=True)
        (60, 20)
        """
        winter = (month >= 10 or month <= 3) != south
        return self.winter_tilt_deg if winter and self.winter_tilt_deg is not None else self.tilt_deg


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnSpell:
    """A run of dull days out of the owner's own file, in the order they came, and the days after it.

    Of a log of the panels: `log_strength`, its clear days over the modelled ones, and `log_clear_kwh`, a clear day of
    the spell's month by the panels as described then, both without chargers; None for spells of radiation.
    """

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    id: str
    title: str
    kc: tuple[float, ...]
    after_kc: tuple[float, ...] = ()
    month: int = quantity("Month of the spell", "", 1, 12, whole=True)
    ended: str
    years: int = quantity("Years behind the spell", "years", 1, 1000, whole=True)
    log_strength: float | None = quantity("Strength of the log", "", 0.0, 1e6, default=None, optional=True)
    log_clear_kwh: float | None = quantity(
        "Clear day of the log’s panels", "kWh", 0.0, 1e7, default=None, optional=True
    )

    def __post_init__(self) -> None:
        check(self)
        for name, text in (("id", self.id), ("title", self.title), ("ended", self.ended)):
            if not 0 < len(text) <= LONGEST_TEXT:
                raise InputError(name, f"The {name} of a spell must have 1 to {LONGEST_TEXT} characters.")
        if not 1 <= len(self.kc) <= MOST_SPELL_DAYS or len(self.after_kc) > MOST_SPELL_DAYS:
            raise InputError("kc", f"A spell must have 1 to {MOST_SPELL_DAYS} days, and as many after it.")
        strange = [kc for kc in (*self.kc, *self.after_kc) if not 0.0 <= kc <= climates.KC_MAX]
        if strange:
            raise InputError(
                "kc", f"Each kc of a spell must be from 0 to {climates.KC_MAX:g}; “{self.title}” has {strange[0]:g}."
            )


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
        _check_months("monthly_kc", self.monthly_kc, MONTH_KC)
        _check_months("monthly_kwh", self.monthly_kwh, MONTH_KWH)
        ids = [spell.id for spell in self.spells]
        twins = [one for index, one in enumerate(ids) if one in ids[:index]]
        if twins:
            raise InputError("spells", f"Two dull spells have the id “{twins[0]}”; each needs its own.")
        if len(self.sky_file) > LONGEST_TEXT:
            raise InputError("sky_file", f"The name of the sun file may have {LONGEST_TEXT} characters.")


def _check_months(name: str, values: tuple[float | None, ...] | None, meaning: Quantity) -> None:
    if values is None:
        return
    if len(values) != 12:
        raise InputError(name, f"{meaning.label} must be 12 numbers, January first; got {len(values)}.")
    for month, value in zip(climates.MONTH_NAMES, values, strict=True):
        refusal = replace(meaning, label=f"{meaning.label} in {month}").refuse(value)
        if refusal is not None:
            raise InputError(name, refusal)
