"""A record on its way into the household: what it would set there, and what that changes.

Each use sets some fields of the document's `sun`; taken out, these are empty, whatever stood there before the use.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from engine.errors import InputError
from engine.house.household import Household
from engine.json_answer import plain_data
from engine.sky import local
from engine.sky.own import Effect, effect, taught
from engine.sky.own_days import MONTHS as OWN_MONTHS
from engine.sky.own_days import clear_day_serves, dull_day_serves
from engine.sky.site import Site, Sun
from webapp.records_checks import brighter_day, checks_of_radiation, spells_put_aside
from webapp.records_effect import Week, reach, week_of
from webapp.records_reading import Report
from webapp.words import MONTHS, listed

SKY_FIELDS = ("monthly_kc", "spells", "sky_file")


def unset(*names: str) -> dict[str, Any]:
    """Return fields of the document's `sun` as they are where nobody typed them.

    Examples
    --------
    >>> unset("monthly_kc", "spells", "sky_file")
    {'monthly_kc': None, 'spells': [], 'sky_file': ''}
    """
    defaults = {one.name: one.default for one in dataclasses.fields(Sun)}
    return {name: plain_data(defaults[name]) for name in names}


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """One thing a record can set in the household.

    Attributes
    ----------
    values : dict
        Fields of the document's `sun` and what they would be.
    held : bool
        Whether they are so already, by whatever name of the file.
    effect : Effect or None
        What it changes in every month; None where there is nothing to compare, and then `trouble` says why.
    week : tuple of Week
        The dull week that Rainy week begins with, before and after, laid on the darkest month of the effect; empty
        where dull spells stay as they are.
    check : str
        What to ask oneself before it is used; empty where there is nothing.
    reach : str
        Where it is held: which answers follow it.
    """

    id: str
    title: str
    text: str
    values: dict[str, Any]
    held: bool
    effect: Effect | None = None
    week: tuple[Week, ...] = ()
    trouble: str = ""
    check: str = ""
    reach: str = ""


def uses(found: Report, house: Household, name: str) -> tuple[Use, ...]:
    """Return what a record can set in a household."""
    if found.series.quantity == "radiation":
        return _of_radiation(found, house, name)
    lessons = found.log.lessons if found.log else ()
    taken = []
    for one in lessons:
        use = _use(house, one.id, one.title, one.text, dict(one.changes), taught(house.sun, one))
        check = " ".join(
            part for part in (brighter_day(house.sun, use.effect) if use.id == "dull_day" else "", one.check) if part
        )
        taken.append(dataclasses.replace(use, check=check))
    return (*taken, *_own_spells(found, house, name))


def _of_radiation(found: Report, house: Household, name: str) -> tuple[Use, ...]:
    """Its averages and its dull spells together, as one sky: both of one file, never of two."""
    if not any(found.monthly_kc):
        return ()
    now = house.sun.monthly_kc or local.monthly_kc(house.site)
    kc = tuple(our if own is None else round(own, 4) for own, our in zip(found.monthly_kc, now, strict=True))
    missing = [MONTHS[n] for n, own in enumerate(found.monthly_kc) if own is None]
    parts = ["Sets how clear your months are"]
    parts += [f" ({', '.join(missing)} stay as they are: too few days)"] if missing else []
    parts += [" and gives the questions the dull spells of this file to choose from." if found.spells else "."]
    then = dataclasses.replace(house.sun, monthly_kc=kc, spells=found.spells, sky_file=name)
    values = {"monthly_kc": list(kc), "spells": plain_data(found.spells), "sky_file": name}
    title = "Its months and its dull spells" if found.spells else "Its months"
    use = _use(house, "sky", title, "".join(parts), values, then)
    return (dataclasses.replace(use, check=checks_of_radiation(found, house, then)),)


def _own_spells(found: Report, house: Household, name: str) -> tuple[Use, ...]:
    """The dull spells of the panels' own days; clearness that came from another file goes with that file's spells."""
    if not found.spells:
        return ()
    sun = house.sun
    from_other = sun.monthly_kc is not None and sun.sky_file not in ("", name)
    values: dict[str, Any] = {"spells": plain_data(found.spells), "sky_file": name}
    then = dataclasses.replace(sun, spells=found.spells, sky_file=name)
    text = "Gives the questions the dull spells of your own panels to choose from."
    if from_other:
        values, then = values | unset("monthly_kc"), dataclasses.replace(then, monthly_kc=None)
        text += f" The clearness of the months and the dull spells that came from “{sun.sky_file}” go."
    use = _use(house, "spells", "Its dull spells", text, values, then)
    return (dataclasses.replace(use, check=spells_put_aside(sun, then)),)


def _use(house: Household, use_id: str, title: str, text: str, values: dict[str, Any], then: Sun) -> Use:
    told = {name: value for name, value in values.items() if name != "sky_file"}
    held = all(plain_data(getattr(house.sun, name)) == plain_data(value) for name, value in told.items())
    found = Use(id=use_id, title=title, text=text, values=values, held=held)
    try:
        changed = effect(house.site, house.sun, then)
        of_week = (house.sun, then) if "spells" in values else ()
        month = changed.darkest.month
        week = tuple(week_of(house.site, sun, month) for sun in of_week)
        reached = reach(house, use_id, month) if held else ""
        return dataclasses.replace(found, effect=changed, week=week, reach=reached)
    except InputError as fault:
        return dataclasses.replace(found, trouble=fault.message)


def standing(site: Site, sun: Sun) -> tuple[str, ...]:
    """Say what of a household's sky is its own now, and what is put aside though it was typed."""
    said = []
    if sun.sky_file:
        parts = (("how clear the months are", sun.monthly_kc), ("dull spells to choose from", sun.spells))
        what = [part for part, there in parts if there]
        said.append(f"From “{sun.sky_file}”: {' and '.join(what)}.")
    elif sun.monthly_kc is not None:
        said.append("How clear the months are: as typed on Sun.")
    if sun.monthly_kwh is not None:
        said.append("What the panels give on average: your own kWh of the months.")
    for name, kwh, serves in (
        ("clear", sun.clear_day_kwh, clear_day_serves),
        ("dull", sun.dull_day_kwh, dull_day_serves),
    ):
        if kwh is not None:
            said.append(_of_day(name, kwh, [month for month in OWN_MONTHS if serves(site, sun, month)], sun))
    return tuple(said)


def _of_day(name: str, kwh: float, served: Sequence[int], sun: Sun) -> str:
    """Say in which months a day of the owner's own is what answers take."""
    if not served:
        why = "these panels cannot have given it" if sun.arrays else "there are no panels yet"
        return f"A {name} day: the {kwh:g} kWh you typed are not used, as {why}."
    missing = [MONTHS[month - 1] for month in OWN_MONTHS if month not in served]
    if not missing:
        return f"A {name} day: {kwh:g} kWh, your own."
    return f"A {name} day: {kwh:g} kWh, your own, but not used in {listed(missing)}: these panels cannot give it then."
