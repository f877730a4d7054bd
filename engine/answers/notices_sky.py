"""What is odd about place, panels and the days the owner has seen."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from engine.answers.answer import Notice, Remedy
from engine.answers.notices_records import record_notices
from engine.errors import InputError
from engine.house.household import Household
from engine.quantities import WH_PER_KWH, mean_day_of_year
from engine.sky import climate as climates
from engine.sky import world
from engine.sky.averages import kc_for_kwh, own_months
from engine.sky.days import WORDS
from engine.sky.site import Array, Site, Sun
from engine.sky.sun import array_kwh, clear_day_scale, sunless_months

FAR_KM = 1000.0
"""Beyond this a climate's representative place says little about the house (judgement)."""
LARGE_KWP = 100.0
LATE_START_SHARE = 0.1
"""A start above this share of the panels' power is more likely a slip (judgement; usual is 10 W per kWp)."""
USUAL_SCALE = (0.5, 1.3)
"""A typed clear day outside these times the modelled one is more likely a slip than a roof (judgement)."""
MOST_CLOCK_HOURS = 3.0
CUT_SHARE = 0.05
"""A clear day that loses more than this to the chargers' limits says little of the panels (judgement)."""
BRIGHT_KC = WORDS["dull"][2]


def sky_notices(household: Household) -> Iterator[Notice]:
    """Every notice about place, panels and typed days."""
    for array in household.sun.arrays:
        yield from _azimuth(household, array.id)
        yield from _late_start(array)
        if array.kwp > LARGE_KWP:
            yield Notice(
                level="check",
                code="large-array",
                page="sun",
                text=f"{array.name} has {array.kwp:,.0f} kWp, the panels of a factory. Were watts typed for kilowatts?",
                remedies=(
                    Remedy(
                        label=f"Make it {array.kwp / 1000:g} kWp",
                        section="arrays",
                        item_id=array.id,
                        values={"kwp": array.kwp / 1000},
                    ),
                ),
            )
    yield from _place(household)
    yield from _typed_days(household)
    yield from record_notices(household)


def _late_start(array: Array) -> Iterator[Notice]:
    if array.start_w is None or array.start_w < LATE_START_SHARE * array.kwp * WH_PER_KWH:
        return
    yield Notice(
        level="check",
        code="charger-starts-late",
        page="sun",
        text=f"The solar charger of {array.name} is said to start at {array.start_w:,.0f} W of {array.kwp:g} kWp: "
        "below that it counts as giving nothing, which leaves next to no dull days. Was its limit meant?",
    )


def _place(household: Household) -> Iterator[Notice]:
    site, sun = household.site, household.sun
    apart_h = abs((site.longitude_deg / 15.0 - site.utc_offset_h + 12.0) % 24.0 - 12.0)
    if apart_h > MOST_CLOCK_HOURS:
        yield Notice(
            level="check",
            code="clock-and-longitude",
            page="sun",
            text=f"Longitude {site.longitude_deg:g}° and the clock of {site.time_zone} are {apart_h:.0f} hours "
            "apart: the "
            "sun would stand high at the wrong hour. Is the sign of the longitude right? West is negative.",
        )
    dark = sunless_months(site)
    if sun.arrays and dark:
        yield Notice(
            level="note",
            code="polar-night",
            page="sun",
            text=f"In the middle of {_listed([climates.MONTH_NAMES[month - 1] for month in dark])} the sun does "
            "not rise at this place: the panels give nothing then, under any sky.",
        )
    if sun.arrays and not all(own_months(sun)):
        if site.climate == world.WORLD:
            yield from _table(site)
        elif not (any(own_months(sun)) or sun.dull_day_kwh):
            yield from _elsewhere(site)


def _listed(names: Sequence[str]) -> str:
    """Join names as a sentence does."""
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last


def _table(site: Site) -> Iterator[Notice]:
    """The months of the place are those of the world table."""
    cell = world.nearest(site.latitude_deg, site.longitude_deg)
    if cell.far:
        yield Notice(
            level="check",
            code="sky-far",
            page="sun",
            text=f"The nearest place in the world table is {round(cell.apart_km, -1):,.0f} km away, so how clear the "
            "months are is a guess, the mean of all land at this latitude. Is the place right? South and west are "
            "negative. If it is, type what your panels give on a clear and on a dull day.",
        )
        return
    yield Notice(
        level="note",
        code="sky-rough",
        page="sun",
        text="How clear the months are is worked out for this place from a world table. Where it could be checked, it "
        f"was a rough estimate: {world.ROUGH}. Your own kWh of every month, or a file of years, are better.",
    )


def _elsewhere(site: Site) -> Iterator[Notice]:
    """The months are those of a climate whose place may lie far off."""
    here = climates.load(site.climate)
    there = np.array([here.latitude_deg]), np.array([here.longitude_deg])
    far_km = float(world.apart_km(site.latitude_deg, site.longitude_deg, *there)[0])
    if far_km > FAR_KM:
        yield Notice(
            level="check",
            code="climate-far",
            page="sun",
            text=f"The sky is that of {here.place}, about {round(far_km, -2):,.0f} km away: a rough stand-in. Take the "
            "sky that is worked out for your place, or type what your panels give on a clear and on a dull day.",
            remedies=(Remedy(label="Work it out for this place", section="site", values={"climate": world.WORLD}),),
        )


def _typed_days(household: Household) -> Iterator[Notice]:
    site, sun = household.site, household.sun
    if sun.clear_day_kwh is not None and sun.clear_day_month is None:
        yield Notice(
            level="check",
            code="clear-day-month",
            page="sun",
            text=f"Your clear day of {sun.clear_day_kwh:g} kWh has no month, so it is taken as one of whatever "
            "month is "
            "asked about. A June day and a December day differ several times over: choose its month.",
        )
    if sun.dull_day_kwh is not None and sun.dull_day_month is None and sun.clear_day_kwh is not None:
        yield Notice(
            level="check",
            code="dull-day-month",
            page="sun",
            text=f"Your dull day of {sun.dull_day_kwh:g} kWh has no month, so it is taken as one of whatever month is "
            "asked about. Choose its month.",
        )
    yield from _impossible_dull_day(household)
    if sun.clear_day_kwh is None or sun.clear_day_month is None or not sun.arrays:
        return
    try:
        scale = clear_day_scale(site, sun, sun.clear_day_month)
    except InputError:
        return
    if not USUAL_SCALE[0] <= scale <= USUAL_SCALE[1]:
        yield Notice(
            level="check",
            code="clear-day-scale",
            page="sun",
            text=f"Your clear day of {sun.clear_day_kwh:g} kWh is {scale:.2g} times what these panels should "
            "give then. "
            "Were panels added since, or was it another day or another unit?",
        )
    yield from _cut_off(household, sun.clear_day_month)


def _cut_off(household: Household, month: int) -> Iterator[Notice]:
    """The solar chargers held the panels back on the owner's clear day."""
    site, sun = household.site, replace(household.sun, clear_day_kwh=None)
    passed, free = (_clear_day_kwh(site, sun, month, limited=limited) for limited in (True, False))
    if passed >= (1.0 - CUT_SHARE) * free:
        return
    yield Notice(
        level="check",
        code="clear-day-cut-off",
        page="sun",
        text=f"On a clear day in {climates.MONTH_NAMES[month - 1]} the limits of the solar chargers cut off "
        f"{(1.0 - passed / free) * 100:.0f} % of what these panels give, so your clear day says little about them: "
        "they are taken as stronger by no more than its kWh show. A clear day of a darker month says more.",
    )


def _clear_day_kwh(site: Site, sun: Sun, month: int, *, limited: bool) -> float:
    given = array_kwh(site, sun, [1.0], [mean_day_of_year(month)], limited=limited)
    return float(sum(kwh[0] for kwh in given.values()))


def _impossible_dull_day(household: Household) -> Iterator[Notice]:
    """A dull day that no sky could give in its month, or in the darkest one where it has none."""
    site, sun = household.site, household.sun
    if sun.dull_day_kwh is None or not sun.arrays:
        return
    month = sun.dull_day_month or (6 if site.south else 12)
    try:
        kc = kc_for_kwh(site, sun, sun.dull_day_kwh, month)
    except InputError as fault:
        text = f"{fault.message} The usual dull day is taken instead; mend it on Sun."
        yield Notice(level="check", code="dull-day-impossible", page="sun", text=text)
        return
    if kc > BRIGHT_KC:
        yield Notice(
            level="check",
            code="dull-day-bright",
            page="sun",
            text=f"Your dull day of {sun.dull_day_kwh:g} kWh has {kc * 100:.0f} % of a clear day’s light then: no dull "
            "day. Was it another day? Bank size takes it for one unless it is brighter than the average.",
        )


def _azimuth(household: Household, array_id: str) -> Iterator[Notice]:
    array = next(a for a in household.sun.arrays if a.id == array_id)
    toward_pole_deg = 180.0 if household.south else 0.0
    apart = abs((array.azimuth_deg - toward_pole_deg + 180.0) % 360.0 - 180.0)
    if apart < 60.0 and array.tilt_deg >= 15.0:
        where = "south" if household.south else "north"
        turned = (array.azimuth_deg + 180.0) % 360.0
        yield Notice(
            level="check",
            code="azimuth",
            page="sun",
            text=f"{array.name} faces {where}, away from the sun ({array.azimuth_deg:g}° clockwise from north). "
            "Some papers count from south instead.",
            remedies=(
                Remedy(
                    label=f"Turn it to {turned:g}°",
                    section="arrays",
                    item_id=array.id,
                    values={"azimuth_deg": turned},
                ),
            ),
        )
