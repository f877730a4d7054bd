"""A time zone as people write it: area and city in any case, a city alone, a name of old, or letters of a clock.

A household keeps what it has; only what is typed anew is read here. Whole names of old that stand for one place are
taken as it (published: the file `backward` of the IANA time zone database). Letters such as EST name a clock without
its summer time, or several places: they are asked back (which places: typical, from memory).
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from zoneinfo import available_timezones

from engine.errors import InputError

AREAS = (
    "Africa", "America", "Antarctica", "Arctic", "Asia", "Atlantic", "Australia", "Europe", "Indian", "Pacific"
)  # fmt: skip
"""Zones are offered by area and city alone: US/Central and its like are older names of some of them."""
OF_NO_PLACE = ("UTC", "Etc/")
"""Clocks of no place that may be typed as they are."""
MOST_OFFERED = 8
LIKE = 0.8
"""How alike a misspelt city must be to be offered, as `difflib` counts it (judgement)."""

_OLD = {
    "US/Alaska": "America/Anchorage",
    "US/Aleutian": "America/Adak",
    "US/Arizona": "America/Phoenix",
    "US/Central": "America/Chicago",
    "US/East-Indiana": "America/Indiana/Indianapolis",
    "US/Eastern": "America/New_York",
    "US/Hawaii": "Pacific/Honolulu",
    "US/Indiana-Starke": "America/Indiana/Knox",
    "US/Michigan": "America/Detroit",
    "US/Mountain": "America/Denver",
    "US/Pacific": "America/Los_Angeles",
    "US/Samoa": "Pacific/Pago_Pago",
    "Canada/Atlantic": "America/Halifax",
    "Canada/Central": "America/Winnipeg",
    "Canada/Eastern": "America/Toronto",
    "Canada/Mountain": "America/Edmonton",
    "Canada/Newfoundland": "America/St_Johns",
    "Canada/Pacific": "America/Vancouver",
    "Canada/Saskatchewan": "America/Regina",
    "Canada/Yukon": "America/Whitehorse",
    "Brazil/Acre": "America/Rio_Branco",
    "Brazil/DeNoronha": "America/Noronha",
    "Brazil/East": "America/Sao_Paulo",
    "Brazil/West": "America/Manaus",
    "Chile/Continental": "America/Santiago",
    "Chile/EasterIsland": "Pacific/Easter",
    "Mexico/BajaNorte": "America/Tijuana",
    "Mexico/BajaSur": "America/Mazatlan",
    "Mexico/General": "America/Mexico_City",
    "EST5EDT": "America/New_York",
    "CST6CDT": "America/Chicago",
    "MST7MDT": "America/Denver",
    "PST8PDT": "America/Los_Angeles",
    "Cuba": "America/Havana",
    "Egypt": "Africa/Cairo",
    "Eire": "Europe/Dublin",
    "GB": "Europe/London",
    "GB-Eire": "Europe/London",
    "Hongkong": "Asia/Hong_Kong",
    "Iceland": "Atlantic/Reykjavik",
    "Iran": "Asia/Tehran",
    "Israel": "Asia/Jerusalem",
    "Jamaica": "America/Jamaica",
    "Japan": "Asia/Tokyo",
    "Kwajalein": "Pacific/Kwajalein",
    "Libya": "Africa/Tripoli",
    "Navajo": "America/Denver",
    "NZ": "Pacific/Auckland",
    "NZ-CHAT": "Pacific/Chatham",
    "Poland": "Europe/Warsaw",
    "Portugal": "Europe/Lisbon",
    "PRC": "Asia/Shanghai",
    "ROC": "Asia/Taipei",
    "ROK": "Asia/Seoul",
    "Singapore": "Asia/Singapore",
    "Turkey": "Europe/Istanbul",
    "W-SU": "Europe/Moscow",
}
_LETTERS: dict[str, tuple[str, ...]] = {
    "est edt et eastern easterntime": ("America/New_York", "America/Toronto", "America/Panama"),
    "cst cdt ct central centraltime": ("America/Chicago", "America/Winnipeg", "America/Regina"),
    "mst mdt mt mountain mountaintime": ("America/Denver", "America/Edmonton", "America/Phoenix"),
    "pst pdt pt pacifictime": ("America/Los_Angeles", "America/Vancouver", "America/Tijuana"),
    "hst": ("Pacific/Honolulu",),
    "akst akdt": ("America/Anchorage",),
    "ast adt": ("America/Halifax", "America/Puerto_Rico"),
    "nst ndt": ("America/St_Johns",),
    "cet cest met mest": ("Europe/Berlin", "Europe/Paris", "Europe/Madrid", "Europe/Rome", "Africa/Algiers"),
    "eet eest": ("Europe/Athens", "Europe/Helsinki", "Europe/Bucharest", "Africa/Tripoli"),
    "wet west": ("Europe/Lisbon", "Atlantic/Canary"),
    "gmt gmt0 greenwich bst": ("Europe/London", "Europe/Dublin", "Europe/Lisbon", "Africa/Accra"),
    "ist": ("Asia/Kolkata", "Europe/Dublin", "Asia/Jerusalem"),
    "aest aedt": ("Australia/Sydney", "Australia/Brisbane", "Australia/Hobart"),
    "acst acdt": ("Australia/Adelaide", "Australia/Darwin"),
    "awst": ("Australia/Perth",),
    "nzst nzdt": ("Pacific/Auckland",),
    "jst": ("Asia/Tokyo",),
    "pht": ("Asia/Manila",),
    "sast": ("Africa/Johannesburg",),
    "cat": ("Africa/Harare", "Africa/Lusaka"),
    "eat": ("Africa/Nairobi", "Africa/Kampala"),
    "wat": ("Africa/Lagos",),
}


@lru_cache(maxsize=1)
def zones() -> tuple[str, ...]:
    """Return every zone of an area and a city, by name."""
    return tuple(sorted(zone for zone in available_timezones() if zone.partition("/")[0] in AREAS and "/" in zone))


@lru_cache(maxsize=1)
def _in_use() -> frozenset[str]:
    """The names in use now, one for each place; others are older spellings of them."""
    text = resources.files("tzdata").joinpath("zoneinfo/zone.tab").read_text(encoding="utf-8")
    return frozenset(line.split("\t")[2] for line in text.splitlines() if line and not line.startswith("#"))


def _plain(text: str) -> str:
    """Letters and digits in small, without accents, and what parts area and city."""
    bare = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9/]", "", bare.lower())


def zone_of(text: str) -> str:
    """Return the zone that a text names.

    Raises
    ------
    InputError
        If it names none, several, or a clock without a place; the sentence says which may be meant.

    Examples
    --------
    >>> zone_of("new york"), zone_of("europe / lisbon"), zone_of("US/Central"), zone_of("São Paulo"), zone_of("UTC")
    ('America/New_York', 'Europe/Lisbon', 'America/Chicago', 'America/Sao_Paulo', 'UTC')
    """
    if text.startswith(OF_NO_PLACE) and text in available_timezones():
        return text
    named = _named(text)
    if len(named) == 1:
        return named[0]
    offered = zones_meant(text)
    choose = f"type the one whose clock you keep: {_or(offered)}"
    if named:
        said = f"Time zone “{text}” is said of several places; {choose}."
    elif _letters(text):
        said = f"Time zone “{text}” names a clock but no place, and so no summer time; {choose}."
    elif offered:
        said = f"Time zone “{text}” is not known. Was {_or(offered)} meant?"
    else:
        said = (
            f"Time zone “{text}” is not known: zones go by large cities. Type one near you that keeps the same clock, "
            "as America/Chicago, Europe/Amsterdam or Asia/Manila."
        )
    raise InputError("time_zone", said)


def zones_meant(text: str) -> tuple[str, ...]:
    """Return the zones that a refused text may have meant, each to be taken by one click.

    Examples
    --------
    >>> zones_meant("EST"), zones_meant("york"), zones_meant("Amsterdm"), zones_meant("")
    (('America/New_York', 'America/Toronto', 'America/Panama'), ('America/New_York',), ('Europe/Amsterdam',), ())
    """
    typed = _plain(text)
    if not typed:
        return ()
    found = _named(text) or _letters(text)
    if not found:
        begins = re.compile(rf"(?:^|[/_]){re.escape(re.sub(r'[^a-z0-9/]+', '_', text.strip().lower()))}")
        found = tuple(zone for zone in zones() if zone in _in_use() and begins.search(zone.lower()))
    if not found:
        cities = {_plain(zone.rpartition("/")[2]): zone for zone in zones() if zone in _in_use()}
        found = tuple(cities[one] for one in difflib.get_close_matches(typed.rpartition("/")[2], cities, 3, LIKE))
    return found[:MOST_OFFERED]


def _or(names: Sequence[str]) -> str:
    return " or ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))


def _letters(text: str) -> tuple[str, ...]:
    typed = _plain(text)
    return next((places for names, places in _LETTERS.items() if typed in names.split(" ")), ())


def _named(text: str) -> tuple[str, ...]:
    """Zones whose whole name, or whose city, the text is; the one in use where others are older spellings of it."""
    typed = _plain(text)
    old = [zone for name, zone in _OLD.items() if _plain(name) == typed]
    if old or not typed:
        return tuple(old)
    whole = [zone for zone in zones() if _plain(zone) == typed]
    found = whole or [zone for zone in zones() if _plain(zone).endswith(f"/{typed}")]
    in_use = [zone for zone in found if zone in _in_use()]
    return tuple(in_use if in_use and not whole else found)
