"""Files of a known format: where the weather year EPW, the typical year TMY3 and PVGIS write radiation and time.

EPW: one row an hour, hours 1 to 24 of local standard time, global horizontal radiation in the 14th column [Wh/m2 of
the hour]. TMY3: two lines of header, hours that end at 1:00 to 24:00. PVGIS: universal time; radiation on the level
where a typical year was asked for, or a slope of 0.

References
----------
EnergyPlus, Auxiliary Programs: EnergyPlus Weather File (EPW) Data Dictionary. S. Wilcox and W. Marion, Users Manual
for TMY3 Data Sets, NREL/TP-581-43156 (2008). PVGIS, Joint Research Centre of the European Commission: user manual.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from math import nan

from engine.errors import InputError
from engine.sky.files.formats import Reading
from engine.sky.files.names import MOST_DEG, place_in
from engine.text import delimited
from engine.text.layouts import Layout
from engine.text.plain_text import FIELD, encoding_of
from engine.text.sample import Floats, head_lines, once_through, pieced_together, times_of
from engine.text.time_units import CLOCK, COMPACT, FARTHEST_H, HOUR_FROM_1, OF_MONTH, Places

_EPW_COLUMNS = 35
_EPW_NAMES = ("Year", "Month", "Day", "Hour", "Minute") + ("",) * 8 + ("Global horizontal radiation",)
_TYPICAL_WORDS = re.compile(r"\b(?:tmy|iwec|try\b|cwec|wyec|ctz|rmy|typical)", re.IGNORECASE)
_SPREAD = 2000
_LONGEST_LINE = 10_000
"""Letters of a first line that are read (choice): more than any such file has there."""
_PVGIS_ROW = re.compile(r"\d{8}:\d{4},|\s*$")
_NOT_TYPICAL = (
    "The file calls itself a typical year, and holds rows of more than one year: they are taken as those of real years."
)


def known(content: bytes) -> Reading | None:
    """Return how a file of a known format is read; None where it is none.

    Raises
    ------
    InputError
        On the field ``file`` if the format is known and the file is cut short, or holds what is not radiation on the
        level.
    """
    encoding = encoding_of(content)
    lines = head_lines(content, encoding)
    if lines[0].upper().startswith("LOCATION,"):
        return _epw(content, encoding, lines)
    if len(lines) > 1 and lines[1].lower().lstrip('"').startswith("date (mm/dd/yyyy)"):
        return _tmy3(content, encoding, lines)
    at = _pvgis_header(lines)
    return None if at is None else _pvgis(content, encoding, lines, at)


def _epw(content: bytes, encoding: str, lines: Sequence[str]) -> Reading:
    first = next((at for at, line in enumerate(lines) if re.match(r"\d{4},\s*\d", line)), None)
    place = _cells(lines[0])
    if first is None or len(place) < 9:
        raise _cut_short("EPW")
    names = _EPW_NAMES + ("",) * (_EPW_COLUMNS - len(_EPW_NAMES))
    layout = _layout(encoding, names, first)
    columns: Places = {"year": (0, ""), "month": (1, ""), "day": (2, OF_MONTH), "time": (3, HOUR_FROM_1)}
    rows_an_hour = next((line.split(",")[2:3] for line in lines if line.upper().startswith("DATA PERIODS")), ["1"])
    parts = rows_an_hour != ["1"]
    if parts:
        columns["minute"] = (4, "")
    columns["value"] = (13, "Wh/m2")
    remarks = [line for line in lines[1:first] if line.upper().startswith("COMMENTS")]
    told = any(_TYPICAL_WORDS.search(line) for line in (place[4], *remarks))
    times_s = _times(content, layout, columns)
    once = once_through(times_s)
    utc_offset_h, latitude_deg, longitude_deg = _whereabouts("EPW", place[8], place[6], place[7])
    return Reading(
        kind="epw",
        layout=layout,
        columns=columns,
        ends=parts,
        typical=(told and once) or pieced_together(times_s),
        utc_offset_h=utc_offset_h,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        notes=(_NOT_TYPICAL,) if told and not once else (),
    )


def _tmy3(content: bytes, encoding: str, lines: Sequence[str]) -> Reading:
    place, names = (_cells(line) for line in lines[:2])
    at = next((at for at, name in enumerate(names) if name.strip().upper().startswith("GHI (")), None)
    if at is None or len(place) < 6 or len(lines) < 3:
        raise _cut_short("TMY3")
    if at < 2:
        raise InputError(FIELD, "This TMY3 file has no column of the time of day between its date and its radiation.")
    layout = _layout(encoding, names, 2)
    columns: Places = {"date": (0, "m/d/y"), "time": (1, CLOCK), "value": (at, "W/m2")}
    utc_offset_h, latitude_deg, longitude_deg = _whereabouts("TMY3", *place[3:6])
    return Reading(
        kind="tmy3",
        layout=layout,
        columns=columns,
        ends=True,
        typical=pieced_together(_times(content, layout, columns)),
        utc_offset_h=utc_offset_h,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
    )


def _pvgis_header(lines: Sequence[str]) -> int | None:
    """The line of the column names of a PVGIS series."""
    for at, line in enumerate(lines[:60]):
        first, *others = (name.strip() for name in line.split(","))
        named = first in {"time", "time(UTC)"} and {"G(h)", "G(i)", "Gb(i)", "P", "H_sun"} & set(others)
        if named and _PVGIS_ROW.match("".join(lines[at + 1 : at + 2])):
            return at
    return None


def _pvgis(content: bytes, encoding: str, lines: Sequence[str], at: int) -> Reading:
    names = lines[at].split(",")
    layout = _layout(encoding, names, at + 1)
    values, notes = _pvgis_values(names, lines[:at])
    columns: Places = {"date": (0, COMPACT), **values}
    latitude_deg, longitude_deg = place_in(lines[:at])
    return Reading(
        kind="pvgis",
        layout=layout,
        columns=columns,
        utc_offset_h=0.0,
        typical="month,year" in lines[:at] or pieced_together(_times(content, layout, columns)),
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        notes=notes,
    )


def _pvgis_values(names: Sequence[str], above: Sequence[str]) -> tuple[Places, tuple[str, ...]]:
    """The columns of radiation on the level; of the panels' power where there are none."""
    if "G(h)" in names:
        return {"value": (names.index("G(h)"), "W/m2")}, ()
    slope_deg = _slope_deg(above)
    parts = ["G(i)"] if "G(i)" in names else [name for name in ("Gb(i)", "Gd(i)", "Gr(i)") if name in names]
    if slope_deg == 0.0 and parts:
        keys = ("value", "value_2", "value_3")
        return {key: (names.index(name), "W/m2") for key, name in zip(keys, parts, strict=False)}, ()
    if "P" not in names:
        plane = "a plane that follows the sun" if slope_deg is None else f"panels tilted by {slope_deg:g}°"
        raise InputError(
            FIELD,
            f"This PVGIS series is radiation on {plane}: radiation on the level is needed. "
            "Ask PVGIS for the same series with a slope of 0°, and bring that.",
        )
    peak = next((line.partition(":")[2].strip() for line in above if line.startswith("Nominal power")), "")
    of = f" for panels of {peak} kWp" if peak else ""
    note = (
        f"PVGIS worked this yield out{of} from satellite images: it is not "
        "what your panels gave and teaches nothing of them."
    )
    return {"value": (names.index("P"), "W")}, (note,)


def _slope_deg(above: Sequence[str]) -> float | None:
    found = (re.match(r"Slope:\s*(-?\d+(?:\.\d+)?)", line) for line in above)
    return next((float(one[1]) for one in found if one), None)


def _layout(encoding: str, names: Sequence[str], first_row: int) -> Layout:
    return Layout(
        encoding=encoding, delimiter=",", decimal=".", header=tuple(names), first_row=first_row, columns=len(names)
    )


def _times(content: bytes, layout: Layout, columns: Places) -> Floats:
    """Times of rows from all over the file."""
    return times_of(delimited.spread(content, layout, _SPREAD), layout, columns)


def _cells(line: str) -> list[str]:
    return next(csv.reader([line[:_LONGEST_LINE]]))


def _whereabouts(kind: str, zone: str, latitude: str, longitude: str) -> tuple[float, float, float]:
    """Offset of the clock from universal time [h], latitude and longitude [deg]."""
    return (
        _number(zone, f"The time zone of the {kind}", FARTHEST_H),
        _number(latitude, f"The latitude of the {kind}", MOST_DEG["latitude"]),
        _number(longitude, f"The longitude of the {kind}", MOST_DEG["longitude"]),
    )


def _number(text: str, label: str, most: float) -> float:
    try:
        number = float(text)
    except ValueError:
        number = nan
    if not abs(number) <= most:
        raise InputError(FIELD, f"{label} must be a number from {-most:g} to {most:g}; got “{text.strip()[:40]}”.")
    return number


def _cut_short(kind: str) -> InputError:
    return InputError(FIELD, f"This {kind} file is cut short: it holds its first lines, and no rows under them.")
