"""Panels and what their owner knows of them, in words: the same on Sun, on the sheet and under every answer."""

from __future__ import annotations

from collections.abc import Sequence

from engine.sky.own_days import MONTHS, clear_day_serves, dull_day_serves
from engine.sky.site import Array, Site, Sun
from webapp.render import NO_BREAK, fixed
from webapp.words import facing, listed

FLAT_DEG = 5.0
"""Panels as flat as this face nowhere in particular."""
BESIDE_DEG = 60.0
"""Up to this from the midday sun's side, panels face it; from 120 degrees on they face away."""
TROPIC_DEG = 23.44
"""Between the tropics the midday sun stands north for part of the year and south for the rest."""


def own_words(site: Site, sun: Sun, months: Sequence[int] = MONTHS) -> str:
    """Say which numbers of the owner's own stand behind answers about some months; empty where there is none.

    A clear or a dull day that these panels cannot have given is put aside, and is none of them.
    """
    parts = []
    if any(clear_day_serves(site, sun, month) for month in months):
        parts.append("your clear day")
    if any(dull_day_serves(site, sun, month) for month in months):
        parts.append("your dull day")
    if sun.monthly_kwh:
        count = sum(one is not None for one in sun.monthly_kwh)
        parts.append(f"the kWh of {'a month' if count == 1 else f'{count} months'}")
    if sun.monthly_kc:
        parts.append(f"the clearness of the months{f' from “{sun.sky_file}”' if sun.sky_file else ''}")
    return listed(parts) if parts else ""


def stands(array: Array, *, south: bool) -> str:
    """Say how an array is tilted and which way it faces."""
    if array.tilt_deg <= FLAT_DEG and (array.winter_tilt_deg or 0.0) <= FLAT_DEG:
        return "lying flat"
    seasons = "April to September" if south else "October to March"
    winter = "" if array.winter_tilt_deg is None else f", {array.winter_tilt_deg:g}° from {seasons}"
    return f"tilted {array.tilt_deg:g}°{winter}, facing {facing(array.azimuth_deg)}"


def faces(array: Array, site: Site) -> str:
    """Say how an array stands, in words for its hemisphere."""
    stood = stands(array, south=site.south)
    return stood if stood == "lying flat" else f"{stood} ({fixed(array.azimuth_deg)}°){_toward(array, site)}"


def _toward(array: Array, site: Site) -> str:
    """Whether an array looks to the midday sun, the morning's or the evening's; nothing between the tropics."""
    if abs(site.latitude_deg) < TROPIC_DEG:
        return ""
    from_midday_deg = (array.azimuth_deg - (0.0 if site.south else 180.0) + 180.0) % 360.0 - 180.0
    if abs(from_midday_deg) <= BESIDE_DEG:
        return ", to the midday sun"
    if abs(from_midday_deg) >= 180.0 - BESIDE_DEG:
        return ", away from the midday sun"
    return ", to the morning sun" if 0.0 < array.azimuth_deg % 360.0 < 180.0 else ", to the evening sun"


def charger_words(array: Array) -> str:
    """Say what is known of an array's charger and losses; empty where all is as assumed."""
    parts = []
    if array.charger_limit_w is not None:
        parts.append(f"its charger passes at most {fixed(array.charger_limit_w)}{NO_BREAK}W")
    if array.start_w is not None:
        parts.append(f"starts at {fixed(array.start_w)}{NO_BREAK}W")
    if array.losses is not None:
        parts.append(f"losses {fixed(array.losses * 100)}{NO_BREAK}%")
    return "; ".join(parts)
