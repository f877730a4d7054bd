"""What a column of a meter's file is, by its name, in English, German and Dutch; and the unit it names."""

from __future__ import annotations

import re

from engine.meter.formats import (
    CELSIUS,
    CHARGES,
    CURRENTS,
    ENERGIES,
    FAHRENHEIT,
    POWERS,
    SHARES,
    VOLTS,
    meanings_by_key,
)

_UNIT = re.compile(
    r"(?<![a-zäöü])(mwh|kwh|wh|kw|w|mah|ah|ma|a|mv|v|°\s?c|deg ?c|degc|°\s?f|deg ?f|degf|%)(?![a-zäöü0-9])"
)
_BARE_TEMPERATURE = re.compile(r"[\[(]\s?([cf])\s?[\])]")
_SPELT = {unit.lower(): unit for unit in (*POWERS, *ENERGIES, *CURRENTS, *CHARGES, *VOLTS)} | {"%": "%"}
_BANK = ("batt", "bank", "akku", "accu", "speicher", "shunt")
_IN = ("charg", "laden", "ladung", "lade", "geladen", "einspeich", "opgeladen", " in ", "into", "hinein")
_OUT = ("discharg", "entlad", "ontlad", " out ", "aus dem", "uit de", "from batt", "from bank")
_YIELD = ("yield", "ertrag", "opbrengst", "solar", "panel", "produ", "erzeug", " pv ", "zonne", "module", "opwek")
_LOAD = ("load", "consum", "verbrauch", "verbruik", "usage", "house", "haus", "huis", "last", "demand", "belasting")
_DC = (" dc ", "inverter", "wechselrichter", "omvormer", "battery side", "batterieseite", "accuzijde")
_OTHER_SIDE = ("generator", "grid", "netz", "aggregat", "aggregaat", "bezug", "mains", " net ", "netstroom")
_CHARGE = ("soc", "state of charge", "ladezustand", "ladestand", "laadtoestand", "laadniveau", "füllstand")
_TEMPERATURE = ("temp",)
_VOLTS = ("volt", "spannung", "spanning")
_CURRENT = ("current", "strom ", "stroom ", "amps", "ampere")
_NOT = ("min ", "max ", "peak", "spitze", "price", "preis", "prijs", "error",
        "cell volt", "zellspannung", "celspanning",
        "outdoor", "ambient", "außen", "buiten", "specific", "spezif")  # fmt: skip
_DAYS = ("today", "heute", "vandaag", "daily", "tages", "dag")
_EVER = ("total", "counter", "zähler", "teller", "meterstand", "gesamt", "totaal", "lifetime", "cumul")


def unit_in(text: str) -> str:
    """Return the unit that a name tells; empty if none.

    Examples
    --------
    >>> [unit_in(text) for text in ("PV [kWh]", "Strom (A)", "Temp °C", "soc_%", "bank_v", "Temp (F)", "Load")]
    ['kWh', 'A', '°C', '%', 'V', '°F', '']
    """
    lower = text.lower().replace("_", " ")
    if bare := _BARE_TEMPERATURE.search(lower):
        return CELSIUS if bare[1] == "c" else FAHRENHEIT
    found = [one[1] for one in _UNIT.finditer(lower)]
    if not found:
        return ""
    if found[-1][-1] in "cf" and found[-1][0] in "°d":
        return CELSIUS if found[-1][-1] == "c" else FAHRENHEIT
    return _SPELT.get(found[-1], "")


def meaning_of(name: str) -> str:
    """Return the key of what a column of this name is; empty where the name does not tell.

    Examples
    --------
    >>> [meaning_of(name) for name in ("PV yield [kWh]", "Batterieleistung (W)", "Ladezustand (%)", "Verbruik [kWh]")]
    ['yield', 'bank', 'charge', 'load']
    >>> [meaning_of(name) for name in ("Battery discharged [kWh]", "Akkustrom [A]", "Spanning accu [V]", "Netz (W)")]
    ['bank_out', 'current', 'volts', 'generator']
    >>> meaning_of("Load at the sockets [W]")
    'load'
    """
    lower = f" {re.sub(r'[^a-zäöüß%°]+', ' ', name.lower().replace('socket', ''))} "
    unit = unit_in(name)
    if _any(lower, _NOT):
        return ""
    key = _by_unit(lower, unit)
    return key if key and (not unit or unit in meanings_by_key()[key].units) else ""


def _by_unit(lower: str, unit: str) -> str:
    if unit in SHARES or _any(lower, _CHARGE):
        return "charge" if _any(lower, (*_CHARGE, *_BANK, *_IN)) else ""
    if unit in (CELSIUS, FAHRENHEIT) or _any(lower, _TEMPERATURE):
        return "cell"
    if unit in VOLTS or (not unit and _any(lower, _VOLTS)):
        return "" if _any(lower, (*_YIELD, *_OTHER_SIDE, *_LOAD)) else "volts"
    amperes = unit in CURRENTS or unit in CHARGES or (not unit and _any(lower, _CURRENT))
    return _flow(lower, amperes=amperes)


def _flow(lower: str, *, amperes: bool) -> str:
    bank = "current" if amperes else "bank"
    if _any(lower, _OUT):
        return f"{bank}_out"
    if _any(lower, _YIELD):
        return "yield"
    if _any(lower, _OTHER_SIDE) and not _any(lower, _BANK):
        return "generator"
    if _any(lower, _IN):
        return f"{bank}_in"
    if _any(lower, _BANK):
        return bank
    if _any(lower, _LOAD):
        return "load_dc" if amperes or _any(lower, _DC) else "load"
    if _any(lower, _DC):
        return "load_dc"
    return bank if amperes else ""


def counts_in(name: str) -> str:
    """Return how a name says its energy counts: ``day``, ``ever`` or nothing.

    Examples
    --------
    >>> [counts_in(name) for name in ("PV today [kWh]", "Zählerstand [kWh]", "PV [kWh]")]
    ['day', 'ever', '']
    """
    lower = name.lower()
    return "day" if _any(lower, _DAYS) else "ever" if _any(lower, _EVER) else ""


def _any(text: str, parts: tuple[str, ...]) -> bool:
    return any(part in text for part in parts)
