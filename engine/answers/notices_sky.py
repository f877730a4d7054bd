"""What is odd about place, panels and the days the owner has seen."""

from __future__ import annotations

from collections.abc import Iterator
from math import asin, cos, radians, sin, sqrt

from engine.answers.answer import Notice, Remedy
from engine.errors import InputError
from engine.house.household import Household
from engine.sky import climate as climates
from engine.sky.averages import kc_for_kwh
from engine.sky.sun import clear_day_scale

FAR_KM = 1000.0
"""Beyond this a climate's representative place says little about the house (judgement)."""
LARGE_KWP = 100.0
USUAL_SCALE = (0.5, 1.3)
"""A typed clear day outside these times the modelled one is more likely a slip than a roof (judgement)."""
MOST_CLOCK_HOURS = 3.0
BRIGHT_KC = 0.7
EARTH_KM = 6371.0


def sky_notices(household: Household) -> Iterator[Notice]:
    """Every notice about place, panels and typed days."""
    for array in household.sun.arrays:
        yield from _azimuth(household, array.id)
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
    here = climates.load(site.climate)
    far_km = _apart_km(site.latitude_deg, site.longitude_deg, here.latitude_deg, here.longitude_deg)
    if sun.arrays and sun.monthly_kc is None and sun.dull_day_kwh is None and far_km > FAR_KM:
        yield Notice(
            level="check",
            code="climate-far",
            page="sun",
            text=f"The sky is that of {here.place}, about {round(far_km, -2):,.0f} km away: a rough stand-in. "
            "Type what "
            "your panels give on a clear and on a dull day, or choose the sky that is most like yours.",
        )


def _apart_km(latitude: float, longitude: float, other_latitude: float, other_longitude: float) -> float:
    """Great-circle distance between two places, degrees in [km] (haversine)."""
    up, other_up = radians(latitude), radians(other_latitude)
    half = sin((up - other_up) / 2) ** 2
    half += cos(up) * cos(other_up) * sin(radians(longitude - other_longitude) / 2) ** 2
    return 2.0 * EARTH_KM * asin(min(1.0, sqrt(half)))


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
            text=f"Your dull day of {sun.dull_day_kwh:g} kWh is as bright as a clear one then. Was it another day?",
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
