"""What is odd about a reading of the sky, and what it cannot tell."""

from __future__ import annotations

from collections.abc import Iterator

from engine.answers.answer import Notice
from engine.answers.sky_parts import FULL_WITHIN_SOC, Found
from engine.house.household import Household
from engine.sky.climate import KC_MAX
from engine.sky.days import WORDS
from engine.sky.reading import POOR_FIT_SHARE, SkyReading

NEARLY_FULL_SOC = 0.85
"""From here on a bank may be held at its end volts (judgement)."""


def apart_notice() -> Notice:
    """Return what may be the matter where displays contradict each other."""
    return Notice(
        level="check",
        code="contradiction",
        text="No one sky gives what these displays show together. Shade, snow or a fault on some of the panels, a "
        "charger that is off or holds back, or a slip of the unit? Leave out the reading that is wrong, and the other "
        "tells the sky.",
    )


def reading_notices(household: Household, full: tuple[str, ...], found: Found) -> Iterator[Notice]:
    """Every notice about a reading; `full` names the banks that are full."""
    yield from _more_than_clear(found)
    yield from _not_the_sky_alone(found.reading, full)
    yield from _several_skies(found)
    days = household.sun.covered_days
    if days and _shown_w(found) > 0.0:
        yield Notice(
            level="note",
            code="not-covered",
            page="sun",
            text=f"The panels are set as covered for {days} days on Sun, but they give power: with this "
            "reading they are taken as free.",
        )
    yield from _nearly_full(household, found)


def _shown_w(found: Found) -> float:
    return sum(one.shown_w for one in found.displays)


def _more_than_clear(found: Found) -> Iterator[Notice]:
    """Displays above what a clear sky gives, now or over the day."""
    reading, shown = found.reading, _shown_w(found)
    clear = sum(one.clear_w for one in found.displays)
    if reading.why == "above":
        yield Notice(
            level="check",
            code="above-clear",
            page="sun",
            text=f"{shown:,.0f} W is more than these panels give under a clear sky now ({clear:,.0f} W), so the "
            "brightest is taken. Edges of clouds do that for minutes. If it stays so, look at the unit and the field "
            "here, or at the panels and the clear day on Sun.",
        )
    if found.so_far_kc is not None and found.so_far_kc >= KC_MAX:
        yield Notice(
            level="check",
            code="made-too-much",
            text=f"{found.so_far_kwh:g} kWh so far today is more than these panels give by now under a clear sky. Is "
            "it the counter of today, and not of the month or of all their years?",
        )


def _not_the_sky_alone(reading: SkyReading, full: tuple[str, ...]) -> Iterator[Notice]:
    """What else than the sky may hold the displays where they are."""
    if reading.why == "limit":
        yield Notice(
            level="note",
            code="at-limit",
            text="The solar charger is at its limit, so the sky may be brighter than what is read off it.",
        )
    if reading.why == "held":
        who = f"{full[0]} is full" if full else "The bank is full or held at its end volts"
        yield Notice(
            level="note",
            code="held-back",
            text=f"{who}, so the panels could give more than the charger takes. The sky is at least this bright; for a "
            "true reading switch on a load that is large enough, or read it before the bank is full.",
        )
    if reading.why == "nothing":
        yield Notice(
            level="check",
            code="nothing-shown",
            text="0 W in daylight: a very dark sky, snow or a cover on the panels, a full bank, or a charger that is "
            "switched off. Only the first is a reading.",
        )


def _several_skies(found: Found) -> Iterator[Notice]:
    """Two skies that show the same, or displays that fit none."""
    reading = found.reading
    if reading.other_kc is not None:
        yield Notice(
            level="check",
            code="two-skies",
            text="The sun is behind or beside these panels now, so two skies show the same: "
            f"{reading.kc * 100:.0f} % or {reading.other_kc * 100:.0f} % of a clear one. The darker is taken. If "
            "things throw a sharp shadow, it is the brighter.",
        )
    if len(found.displays) > 1 and reading.unexplained_share > POOR_FIT_SHARE and reading.why != "above":
        yield Notice(
            level="check",
            code="no-one-sky",
            text=f"The displays do not fit one sky: {reading.unexplained_share * 100:.0f} % is left over. Shade or "
            "snow on some panels, two units mixed up, or one charger that holds back?",
        )


def _nearly_full(household: Household, found: Found) -> Iterator[Notice]:
    """A bank that may be held at its end volts though nobody said so; not under a sky that leaves no doubt."""
    tops = {bank.id: bank.top_reached_soc for supply in household.supplies() for bank in supply.banks}
    if found.reading.why == "held" or found.reading.kc >= WORDS["bright"][0]:
        return
    for bank in found.banks:
        if NEARLY_FULL_SOC <= bank.start_soc < tops[bank.bank_id] - FULL_WITHIN_SOC:
            yield Notice(
                level="note",
                code="nearly-full",
                text=f"{bank.name} is at {bank.start_soc * 100:.0f} %. Where the charger holds it at its end volts, it "
                "takes less than the panels could give: if so, tick that it is holding back.",
            )
