"""What an answer of Sky now rests on: its steps by hand, and what nobody measured here."""

from __future__ import annotations

from collections.abc import Iterator

from engine.answers.answer import Assumption, Worked, assumptions_of
from engine.answers.sky_parts import Found
from engine.house.household import Household
from engine.sky.reading import READING_SPREAD_SHARE
from engine.sky.rest_of_day import rest_source


def worked_lines(found: Found) -> Iterator[Worked]:
    """What a display shows, what skies would show, and today's energy, line by line."""
    reading = found.reading
    for one in found.displays:
        yield Worked(label=f"{one.name}: panels give", how="as shown, before the charger", value=one.shown_w, unit="W")
        yield Worked(
            label=f"{one.name}: under a clear sky now", how="place, time, tilt, direction", value=one.clear_w, unit="W"
        )
        yield Worked(
            label=f"{one.name}: under the sky found",
            how=f"{reading.kc * 100:.3g} % of a clear sky, {reading.diffuse_share * 100:.3g} % of it from all over",
            value=one.found_w,
            unit="W",
        )
    yield Worked(
        label="Rest of today if the sky stays so",
        how="the same share of a clear day, hour by hour",
        value=found.rest_unchanged_kwh,
        unit="kWh",
    )
    if reading.bound != "most":
        how = "the middle of what came after such hours, hour by hour"
        yield Worked(label="Rest of today, likely", how=how, value=found.rest.kwh, unit="kWh")
    how = "as counted" if found.so_far_counted else "as if it had been so since dawn"
    yield Worked(label="Until now", how=how, value=found.so_far_kwh, unit="kWh")
    yield Worked(label="Today in all", how="until now + rest of today, as above", value=found.today.kwh, unit="kWh")


def reading_assumptions(household: Household) -> tuple[Assumption, ...]:
    """Return what a reading of the sky rests on that nobody measured at the house."""
    source = rest_source()
    return (
        Assumption(name="Rest of the day", value="middle; eight of ten days", kind=source.kind, source=source.text),
        Assumption(
            name="Display, cold cells and low light",
            value=f"± {READING_SPREAD_SHARE * 100:g} %",
            kind="assumed",
            source="cold cells give 4 to 8 % more, low light 4 to 8 % less",
        ),
        *assumptions_of(household, ()),
    )
