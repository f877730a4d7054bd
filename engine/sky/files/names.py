"""What a column of a table of sunshine is, by its name and by what the lines above the table say of it.

Names are looked for in English, German and Dutch. Not modelled: radiation on a tilted plane and direct or diffuse
radiation, which are passed over.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from engine.sky.files.formats import RADIATION_KWH_M2, YIELD_KWH

_UNIT = re.compile(
    r"(?<![a-z0-9])(kw-?hr?|wh|mwh|mj|kj|j|kw|w)(?:[ ./*·]*(?:per |pro )?(c?m)[ \^*]*-?(?:2|sq)(?![0-9]))?(?![a-z0-9])"
)
_SPELT = {"kw-h": "kWh", "kw-hr": "kWh", "kwhr": "kWh", "kwh": "kWh", "wh": "Wh", "mwh": "MWh"}
_SPELT |= {"mj": "MJ", "kj": "kJ", "j": "J", "kw": "kW", "w": "W"}
_RADIATION = ("ghi", "global", "irradi", "radiat", "solar", "strahl", "straling", "insolat", "glorad", "srad", "sw_dwn")
_YIELD = ("yield", "ertrag", "opbrengst", "produc", "produkt", "generat", "erzeug", "panel", "harvest")
_RADIATION_WORDS = ("rad", "irrad", "ghi")
_YIELD_WORDS = ("pv", "kwh", "energy", "energie", "power", "leistung", "total", "today", "solar")
_VAGUE = ("kwh", "energy", "energie", "power", "leistung", "total", "today")
"""Words that a bank, a grid or a house may have as well."""
_BEST = ("ghi", "global", "g(h)", "allsky_sfc_sw_dwn", "yield", "ertrag")
_PER_PEAK = re.compile(r"(?:/|per|pro|_)\s*kwp")
_NOT = (
    "clear", "direct", "diffus", "beam", "normal", "tilt", "inclin", "g(i)", "extrater", "toa_", "longw", "infra",
    "lw_", "temp", "wind", "humid", "cloud", "press", "rain", "sunshine", "uncert", "consum", "verbr", "batter",
    "zenith", "specific", "spezif", "einspeis", "entlad", "ontlad", "gebruik", "netz",
    "bezug",
)  # fmt: skip
_NOT_WORDS = (
    "dni", "dhi", "etr", "etrn", "load", "import", "export", "grid", "feed", "soc", "flag", "source", "index",
    "price", "cost", "volts", "voltage", "amps", "current", "hours", "charge", "charged",
    "discharge", "discharged", "charging", "discharging", "laden", "geladen", "ladung", "max", "maximum", "peak",
    "house", "home", "haus", "huis", "usage", "used", "demand", "boiler", "heating", "ev", "loads",
)  # fmt: skip
_MODELS = re.compile(r"nasa/power|merra|era-?5|reanalys", re.IGNORECASE)
_PLACES = {
    key: re.compile(
        rf"\b{key}[a-z]*+(?:\s*+\([^)]{{0,40}}+\))?(?:\s*+[:=,;]\s*+|\s++)([-+]?\d+(?:\.\d+)?)", re.IGNORECASE
    )
    for key in ("latitude", "longitude")
}
MOST_DEG = {"latitude": 90.0, "longitude": 180.0}


def unit_in(text: str) -> str:
    """Return the unit of radiation or yield that a text names; empty if none.

    Examples
    --------
    >>> [unit_in(text) for text in ("GHI (W/m^2)", "yield_kWh", "Global radiation in J/cm2", "kW-hr/m^2/day", "MJ m-2")]
    ['W/m2', 'kWh', 'J/cm2', 'kWh/m2', 'MJ/m2']
    >>> unit_in("glorad: Global Radiation (J/cm sq.)"), unit_in("srad MJ"), unit_in("Wind")
    ('J/cm2', 'MJ/m2', '')
    """
    found = [
        f"{_SPELT[one[1]]}/{one[2]}2" if one[2] else _SPELT[one[1]]
        for one in _UNIT.finditer(text.lower().replace("²", "2"))
    ]
    found = [f"{unit}/m2" if unit in ("MJ", "kJ") else unit for unit in found]
    known = [unit for unit in found if unit in RADIATION_KWH_M2 or unit in YIELD_KWH]
    return next((unit for unit in known if unit in RADIATION_KWH_M2), known[0] if known else "")


def described(name: str, above: Sequence[str]) -> str:
    """Return a column's name with the line above the table that explains it, if there is one.

    Examples
    --------
    >>> described("Q", ["# Q    = Global radiation (in J/cm2)", "# QX = nothing"])
    'Q Global radiation (in J/cm2)'
    """
    if not name:
        return ""
    pattern = re.compile(rf"[#\s\"]*{re.escape(name)}\s*(?:[:=-]\s*|\s{{2,}}|\t)(.*)", re.IGNORECASE)
    return next((f"{name} {found[1].strip()}" for line in above if (found := pattern.match(line))), name)


def value_score(text: str) -> float:
    """Return how likely a column of this name and explanation is radiation on the level, or yield; 0 not at all.

    Examples
    --------
    >>> value_score("GHI (W/m^2)") > value_score("Solar radiation") > value_score("Clearsky GHI")
    True
    """
    if barred(text):
        return 0.0
    lower = text.lower()
    named = [word for word in _words(lower) if word in (*_YIELD_WORDS, *_RADIATION_WORDS)]
    named += [part for part in (*_RADIATION, *_YIELD) if part in lower]
    plain = any(word not in _VAGUE for word in named)
    best = any(part in lower for part in _BEST)
    return 2.0 * bool(unit_in(text)) + (2.0 if plain else 1.0 if named else 0.0) + 1.0 * best


def barred(text: str) -> bool:
    """Whether a name speaks of what is neither radiation on the level nor what the panels gave.

    Examples
    --------
    >>> [barred(text) for text in ("Specific yield (kWh/kWp)", "Discharge (kWh)", "Max PV power (W)", "PV (kWh)")]
    [True, True, True, False]
    """
    lower = text.lower()
    other = any(part in lower for part in _NOT) or any(word in _NOT_WORDS for word in _words(lower))
    return other or bool(_PER_PEAK.search(lower))


def _words(lower: str) -> list[str]:
    return re.split(r"[^a-zäöü]+", lower)


def says_yield(text: str) -> bool:
    """Whether a name without a unit speaks of what panels gave rather than of radiation."""
    lower = text.lower()
    words = _words(lower)
    radiation = any(part in lower for part in _RADIATION if part != "solar")
    radiation |= any(word in _RADIATION_WORDS for word in words)
    return not radiation and (any(part in lower for part in _YIELD) or any(word in _YIELD_WORDS for word in words))


def says_power(text: str) -> bool:
    """Whether a name without a unit speaks of power."""
    return any(part in text.lower() for part in ("power", "leistung", "vermogen"))


def modelled(above: Sequence[str]) -> bool:
    """Whether the lines above a table say that it comes from a weather model or a satellite's grid."""
    return any(_MODELS.search(line) for line in above)


def place_in(above: Sequence[str]) -> tuple[float | None, float | None]:
    """Return the latitude and longitude that the lines above a table name [deg]; None for one that is nowhere on Earth.

    Examples
    --------
    >>> place_in(["Location: Latitude  45.5   Longitude -8.25"]), place_in(["Latitude,Longitude"])
    ((45.5, -8.25), (None, None))
    """
    latitude, longitude = (_degrees_in(above, key) for key in _PLACES)
    return latitude, longitude


def _degrees_in(above: Sequence[str], key: str) -> float | None:
    hits = (_PLACES[key].search(line) for line in above)
    degrees = next((float(hit[1]) for hit in hits if hit), None)
    return degrees if degrees is not None and abs(degrees) <= MOST_DEG[key] else None
