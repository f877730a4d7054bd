"""The dull days a question may be asked about: what there is to choose from, and reading what was chosen.

Spells out of the household's own file come first, then those measured under the climate it chose, then those made from
the monthly means of its place. Ids and typed days are those of `engine.sky.days.parse_sky`.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence

from engine.answers.answer import Notice, Remedy
from engine.answers.sizing import MOST_DAYS
from engine.errors import InputError
from engine.house.household import Household
from engine.quantities import mean_day_of_year
from engine.sky import climate as climates
from engine.sky.averages import average_day_kc
from engine.sky.days import MADE_SPELLS, SEASON, Sky, owner_dull_day, parse_sky
from engine.sky.site import Site, Sun
from engine.sky.spells import KEPT_DAYS, WINDOW_DAYS
from engine.sky.sun import clear_day_kwh_m2
from engine.text.dates import written_date
from webapp.words import MONTHS

OWN_DAY = "own"
"""Value of `sky` that asks for the owner's own dull day."""
USUAL = "usual"
"""Value of `sky` that asks for the worst days of 1 year in 10, the window that fits the days asked."""
USUAL_CHOICE = (USUAL, "Worst days of 1 year in 10 here")
SEASON_NAME = "Not said: as in other years"
LONGEST_SKY = 4000
_SPELL = re.compile(r".*_(\d+)d_1in(\d+)")
MOVED_SOUTH = "moved by half a year for the south"


def spell_choices(site: Site, sun: Sun, sky: str, extra: Sequence[tuple[str, str]] = ()) -> tuple[tuple[str, str], ...]:
    """Return what the days may be chosen from; days that are none of these are kept as typed."""
    own = () if sun.dull_day_kwh is None else ((OWN_DAY, f"Like your own dull day, {sun.dull_day_kwh:g} kWh"),)
    file = tuple((one.id, _worst(one.id, "your file")) for one in sun.spells)
    measured = tuple((key, _measured(one)) for key, one in climates.presets().items() if one.climate == site.climate)
    made = tuple((key, _made(key)) for key, (days, _) in MADE_SPELLS.items() if days in KEPT_DAYS)
    choices = (*extra, *own, *file, *measured, *made, ("none", "No sun at all"))
    if sky in dict(choices) or len(sky) > LONGEST_SKY:
        return choices
    return (*choices, (sky, _unlisted(sky)))


def _measured(preset: climates.Preset) -> str:
    return _worst(preset.id, preset.station.split(",")[0])


def _made(spell_id: str) -> str:
    return _worst(spell_id, "made here")


def _worst(spell_id: str, whence: str) -> str:
    """What a spell is called where a phone must show it whole; its answer names it at length."""
    days, risk = _SPELL.fullmatch(spell_id).groups()  # type: ignore[union-attr]
    return f"Worst {days} days, {'typical' if risk == '1' else f'1 in {risk}'}: {whence}"


def _unlisted(sky: str) -> str:
    if sky == SEASON:
        return SEASON_NAME
    if sky in climates.presets():
        return f"{_measured(climates.presets()[sky])}, another climate"
    if sky in MADE_SPELLS:
        return _made(sky)
    return f"As typed: {sky if len(sky) < 40 else sky[:38] + '…'}"


def month_notice(site: Site, sky: Sky, month: int, remedy: bool) -> tuple[Notice, ...]:
    """Say where a measured spell is of another month: a check if that one is darker, else a note."""
    if sky.month is None or sky.month == month:
        return ()
    theirs, ours = MONTHS[sky.month - 1], MONTHS[month - 1]
    moved = f" ({MOVED_SOUTH})" if MOVED_SOUTH in sky.title else ""
    clear = clear_day_kwh_m2(site, [mean_day_of_year(sky.month), mean_day_of_year(month)])
    if clear[1] <= clear[0]:
        text = (
            f"These dull days belong to {theirs}{moved}; here they lie on the shorter days of {ours}: the careful side."
        )
        return (Notice(level="note", code="spell-of-another-month", text=text),)
    asked = "you ask about" if remedy else "they are laid in"
    back = Remedy(label=f"Ask about {theirs}", query={"month": str(sky.month)})
    return (
        Notice(
            level="check",
            code="spell-of-another-month",
            text=f"These dull days belong to {theirs}{moved}; {asked} {ours}. "
            f"Their clearness is laid on the sun of {ours}: the days are as long as in {ours}, the clouds are those of "
            f"{theirs}. {theirs} itself is darker.",
            remedies=(back,) if remedy else (),
        ),
    )


def read_sky(text: str, house: Household, month: int, days: int = 0) -> Sky:
    """Read the days of a question, the owner's own dull day among them.

    Parameters
    ----------
    text : str
        As `engine.sky.days.parse_sky`, or ``own``.
    month : int
        Month asked about, 1 to 12.
    days : int
        Days wanted; after the listed ones come average days, after ``own`` more of the same.

    Raises
    ------
    InputError
        With the sentence that says what may be written.
    """
    if len(text) > LONGEST_SKY:
        raise InputError("sky", f"The days must be at most {LONGEST_SKY} characters long; got {len(text)}.")
    try:
        if text != OWN_DAY:
            return _told_south(parse_sky(text, house.site, house.sun, month, days), house.site)
        sky = owner_dull_day(house.site, house.sun, month, max(days, 1))
    except InputError as fault:
        if fault.field.startswith("sun."):
            raise InputError("sky", f"{fault.message} Mend it on Sun, or choose other days.") from None
        raise
    if sky is None:
        raise InputError("sky", "There is no dull day of your own yet: type its kWh on Sun, or choose other days.")
    return sky


def _told_south(sky: Sky, site: Site) -> Sky:
    """The sky with its title saying that a measured spell is moved by half a year."""
    preset = climates.presets().get(sky.spell_id)
    if preset is None or preset.month_at(south=site.south) == preset.month:
        return sky
    ended = f"ended {written_date(preset.end)}"
    return dataclasses.replace(sky, title=sky.title.replace(ended, f"{ended}, {MOVED_SOUTH}", 1))


def chosen_spell(text: str, site: Site, sun: Sun, days: int) -> str:
    """Return the text of a spell with ``usual`` resolved by the number of days asked."""
    return usual_spell(site, sun, days) if text == USUAL else text


def usual_dull_days(house: Household, month: int) -> str:
    """Return the dull days of a size where none are asked for: your own if duller than average, else the usual."""
    if house.sun.dull_day_kwh is None:
        return USUAL
    try:
        own = read_sky(OWN_DAY, house, month)
    except InputError:
        return USUAL
    return OWN_DAY if own.kc[0] < average_day_kc(house.site, house.sun, month) else USUAL


def skies_by_days(text: str, house: Household, month: int) -> tuple[Sky, ...]:
    """Return the days of ``usual`` for a size of 1 to 7 days, each its own window; none where other days are asked.

    So the row of a number of days is the same whatever number is asked.
    """
    if text != USUAL:
        return ()
    texts = [usual_spell(house.site, house.sun, days) for days in range(1, MOST_DAYS + 1)]
    read = {one: read_sky(one, house, month) for one in set(texts)}
    return tuple(read[one] for one in texts)


def usual_spell(site: Site, sun: Sun, days: int) -> str:
    """Return the id of the worst days of 1 year in 10, the window that fits `days`.

    Out of the owner's own file where it has years enough; else measured under the climate chosen, both of 3 or 7 days;
    else made for the place, of as many days or the next more.
    """
    window = 3 if days <= 3 else 7
    own = next((one.id for one in sun.spells if one.id == f"own_{window}d_1in10"), None)
    measured = (
        key
        for key, preset in climates.presets().items()
        if preset.climate == site.climate and preset.days == window and key.endswith("_1in10")
    )
    made = next(length for length in WINDOW_DAYS if length >= days)
    return own or next(measured, f"made_{made}d_1in10")
