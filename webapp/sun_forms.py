"""The forms of the panels and of what the owner has seen them give, on Sun."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from engine.errors import InputError
from engine.fields import Quantity, quantities
from engine.house.household import Household
from engine.sky.site import MONTH_KC, MONTH_KWH, Array, Site, Sun
from webapp import read_at
from webapp.forms import MONTHS, Card, Field, Group, Values, filled, number_field, number_fields, text_of
from webapp.panel_words import TROPIC_DEG
from webapp.standing import feeding
from webapp.words import MONTHS as MONTH_NAMES

SEEN_MONTHS = (("", "Any month"), *((str(number), name) for number, name in enumerate(MONTHS, 1)))
MONTH_CHOICES = ("clear_day_month", "dull_day_month")
MONTHLY: dict[str, Quantity] = {"monthly_kwh": MONTH_KWH, "monthly_kc": MONTH_KC}
CHARGER_FIELDS = ("winter_tilt_deg", "losses", "charger_limit_w", "start_w")


def midday_side(site: Site) -> str:
    """Say where the midday sun stands at a place.

    Examples
    --------
    >>> from types import SimpleNamespace as place
    >>> midday_side(place(latitude_deg=-35.0)), midday_side(place(latitude_deg=10.0))
    ('in the north', 'in the north in June and in the south in December')
    """
    if abs(site.latitude_deg) < TROPIC_DEG:
        return "in the north in June and in the south in December"
    return "in the north" if site.latitude_deg < 0 else "in the south"


def array_card(house: Household, item_id: str) -> Card:
    """Return the form of an array; of a new one where the id is unknown."""
    array = next((one for one in house.sun.arrays if one.id == item_id), None)
    kwp, tilt, azimuth = number_fields(Array, "kwp", "tilt_deg", "azimuth_deg")
    toward_sun = "0 (or 360) north" if house.south else "180 south"
    fields = (
        Field(name="name", label="Name", kind="text", default="Roof"),
        kwp,
        tilt,
        replace(
            azimuth,
            default=text_of(0.0 if house.south else 180.0),
            hint=f"Clockwise from north: 90 east, {toward_sun}, 270 west; or a word, south-west. The midday sun stands "
            f"{midday_side(house.site)} here",
        ),
        feeding(house, "Feeds the bank of", array.inverter if array else ""),
    )
    seasons = "October to March" if not house.south else "April to September"
    winter, *charger = number_fields(Array, *CHARGER_FIELDS)
    more = (
        replace(winter, hint=f"If you set them steeper for the darker half of the year, {seasons} here"),
        *charger,
    )
    groups = (
        Group(legend=array.name if array else "Panels of one tilt and direction", fields=fields),
        Group(legend="Winter tilt, losses and charger of these panels", fields=more, folded=True),
    )
    names = (*quantities(Array), "name", "inverter")
    return Card(
        id=array.id if array else "",
        prefix=f"array-{array.id}-" if array else "add-array-",
        groups=groups,
        form=filled((*fields, *more), {name: getattr(array, name) for name in names} if array else {}),
        button="Save these panels" if array else "Add these panels",
    )


def seen_card(house: Household) -> Card:
    """Return the form of what the owner has seen the panels give."""
    sun = house.sun
    days = (
        *number_fields(Sun, "clear_day_kwh"),
        _month_field("clear_day_month"),
        *number_fields(Sun, "dull_day_kwh"),
        _month_field("dull_day_month"),
        read_at.FIELD,
    )
    groups = (
        Group(
            legend="What you have seen them give",
            fields=days,
            hint="kWh of one day, all panels. They are kept as before the solar charger; two days of your own beat any "
            "model.",
        ),
        Group(
            legend="kWh of whole months, if you know them",
            fields=_month_fields("monthly_kwh"),
            narrow=True,
            hint="All panels, before the solar charger, the mean of the years you have. Leave empty what you do not "
            "know. A full bank holds the panels back: such a month reads low, and answers err on the safe side.",
            folded=True,
        ),
        Group(
            legend="Clearness of the months, if you know it",
            fields=_month_fields("monthly_kc"),
            narrow=True,
            hint="Mean of the days’ radiation on the level over that of a clear day, all twelve or none."
            + (f" Those here are from “{sun.sky_file}”." if sun.sky_file and sun.monthly_kc else ""),
            folded=True,
        ),
        Group(legend="Snow", fields=number_fields(Sun, "covered_days"), hint="Panels under snow give nothing."),
        Group(
            legend="What is lost on the way",
            fields=number_fields(Sun, "system_losses", "charger_efficiency"),
            folded=True,
        ),
    )
    values = {name: getattr(sun, name) for name in quantities(Sun)}
    for name in MONTHLY:
        values |= {_month_name(name, n): one for n, one in enumerate(getattr(sun, name) or ())}
    fields = [one for group in groups for one in group.fields]
    return Card(
        id="seen",
        prefix="seen-",
        groups=groups,
        form=filled(fields, values),
        button="Save what you have seen",
        by_button=True,
    )


def worked_back(values: Values, house: Household) -> tuple[Values, str]:
    """Return what was seen as it was before the solar charger, and what was done for that in words."""
    stored: Values = {"clear_day_kwh": house.sun.clear_day_kwh, "dull_day_kwh": house.sun.dull_day_kwh}
    stored |= {_month_name("monthly_kwh", n): one for n, one in enumerate(house.sun.monthly_kwh or (None,) * 12)}
    return read_at.worked_back(house, values, stored, tuple(stored))


def seen_values(values: Values, sun: Sun) -> Values:
    """Return the fields of the document's `sun` that the form of what was seen sets.

    Raises
    ------
    InputError
        If some months of the clearness are typed and others not.
    """
    found = {name: value for name, value in values.items() if name in quantities(Sun)}
    found |= {name: int(found[name]) if found[name] else None for name in MONTH_CHOICES}
    kwh = [values[_month_name("monthly_kwh", n)] for n in range(12)]
    kc = [values[_month_name("monthly_kc", n)] for n in range(12)]
    _refuse_some_only(kc)
    found["monthly_kwh"] = kwh if _any(kwh) else None
    found["monthly_kc"] = kc if _any(kc) else None
    if not sun.spells and found["monthly_kc"] != (list(sun.monthly_kc) if sun.monthly_kc else None):
        found["sky_file"] = ""
    return found


def _refuse_some_only(kc: Sequence[float | None]) -> None:
    missing = [n for n, one in enumerate(kc) if one is None]
    if 0 < len(missing) < len(kc):
        names = [MONTH_NAMES[n] for n in missing]
        listed = f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0]
        raise InputError(
            _month_name("monthly_kc", missing[0]),
            f"Mean kc must be typed for all twelve months or for none; {listed} {'is' if len(names) == 1 else 'are'} "
            "empty.",
        )


def _any(values: Sequence[Any]) -> bool:
    return any(one is not None for one in values)


def _month_name(name: str, index: int) -> str:
    return f"{name}_{index + 1}"


def _month_fields(name: str) -> tuple[Field, ...]:
    meaning = MONTHLY[name]
    said = tuple(replace(meaning, label=f"{meaning.label} in {month}") for month in MONTH_NAMES)
    return tuple(
        replace(number_field(_month_name(name, n), one, optional=True), label=label)
        for n, (label, one) in enumerate(zip(MONTHS, said, strict=True))
    )


def _month_field(name: str) -> Field:
    return Field(name=name, label=quantities(Sun)[name].label, kind="choice", choices=SEEN_MONTHS)
