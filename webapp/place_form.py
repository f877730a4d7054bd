"""The form of the place, on Sun: typed, or filled from a short list of regions."""

from __future__ import annotations

from engine.fields import quantities
from engine.house.household import Household
from engine.sky import climate as climates
from engine.sky import local
from engine.sky.regions import Region
from engine.sky.site import Site
from engine.sky.world import WORLD
from webapp.forms import Card, Field, Group, filled, number_fields
from webapp.render import fixed
from webapp.standing import place_is_the_examples
from webapp.zone_words import zone_of, zones, zones_meant


def site_card(house: Household, region: Region | None = None) -> Card:
    """Return the form of the place; empty while the place is the example's, so that none of it is kept unread.

    Empty or filled from a region it is saved by its button alone: as long as it is not complete, leaving one field
    blames no other.

    Parameters
    ----------
    region : Region or None
        Where one was picked, the form is filled with it instead of what is stored.
    """
    borrowed = place_is_the_examples(house)
    fields = (
        *number_fields(Site, "latitude_deg", "longitude_deg"),
        Field(
            name="time_zone",
            label="Time zone",
            kind="text",
            suggestions=zones(),
            reads=zone_of,
            offers=zones_meant,
            known=() if borrowed else (house.site.time_zone,),
            hint="As area and city, such as Europe/Lisbon, or the city alone; Central time of the United States is "
            "America/Chicago. Type a few letters of a city and choose",
        ),
        Field(
            name="climate",
            label="How clear its months are",
            kind="choice",
            choices=tuple(climates.skies().items()),
            default=WORLD,
            hint="A climate of the list if yours is like it. Your own records go before either",
        ),
    )
    group = Group(legend="Where the house stands", fields=fields, hint=_hint(house, region, borrowed))
    return Card(
        id="site",
        prefix="site-",
        groups=(group,),
        form=filled(fields, _values(house.site, region, borrowed)),
        button="Save the place",
        by_button=borrowed or region is not None,
    )


def _values(site: Site, region: Region | None, borrowed: bool) -> dict[str, object]:
    if region is not None:
        return {name: getattr(region, name) for name in (*quantities(Site), "time_zone")}
    return {} if borrowed else {name: getattr(site, name) for name in (*quantities(Site), "time_zone", "climate")}


def _hint(house: Household, region: Region | None, borrowed: bool) -> str:
    if region is not None:
        return (
            f"Filled with the middle of: {region.name}. Nothing is saved yet: mend it if you know your place better, "
            "then press “Save the place”."
        )
    if not borrowed:
        return ""
    site = house.site
    return (
        f"Until you enter your own, the answers stand where the example does: {fixed(site.latitude_deg, 1)}°, "
        f"{fixed(site.longitude_deg, 1)}°, {site.time_zone}, {local.sky_name(site)}."
    )
