"""Columns as they are written to the quantities of a log: means in W over each row, signs, sums of pairs, beliefs."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from engine.meter.clock import standard_offset_h
from engine.meter.counting import across_midnight, came_in
from engine.meter.formats import (
    CELSIUS,
    CHARGES,
    COUNTED,
    CURRENTS,
    DISCHARGING,
    ENERGIES,
    OFFSET,
    PAIRS,
    POWERS,
    SHARES,
    VOLTS,
    WALL,
    Reading,
)
from engine.meter.log import QUANTITIES
from engine.meter.rows import Rows, plausible
from engine.text.finding import Finding
from engine.text.meanings import EVER, INTERVAL, OF_DAY

Floats = NDArray[np.float64]

HOUR_S = 3600.0
BELIEVABLE = {
    "yield_w": (-500.0, 100e3),
    "load_w": (-500.0, 100e3),
    "load_dc_w": (-500.0, 100e3),
    "bank_w": (-100e3, 100e3),
    "bank_a": (-2000.0, 2000.0),
    "bank_v": (1.0, 1000.0),
    "charge": (-0.01, 1.1),
    "cell_c": (-50.0, 90.0),
    "generator_w": (-100e3, 100e3),
}
"""What a house's meter can show (judgement); beyond it a number is a fault of the meter."""
_PLAIN = {"yield": "yield_w", "load": "load_w", "load_dc": "load_dc_w", "generator": "generator_w"}
_WORDS = {"yield_w": "yield", "load_w": "load at the sockets", "load_dc_w": "load at the battery side"}
_WORDS |= {"bank_w": "bank power", "bank_a": "bank current", "bank_v": "bank volts", "charge": "charge"}
_WORDS |= {"cell_c": "cell temperature", "generator_w": "generator or grid"}


def quantities(rows: Rows, reading: Reading, zone: ZoneInfo) -> tuple[dict[str, Floats], tuple[Finding, ...]]:
    """Return the columns of a log by the keys of `engine.meter.log.QUANTITIES`, and what is said of them."""
    clocks_s = _clocks_s(rows, reading, zone)
    findings: list[Finding] = []
    rates = {}
    for key in rows.values:
        rates[key], said = _rate(rows, reading, key, clocks_s)
        findings += said
    found = _levels(rates, reading)
    volts = found.get("bank_v")
    for key, name in _PLAIN.items():
        if key in rates and not (_is_current(reading, key) and volts is None):
            found[name] = rates[key] * volts if volts is not None and _is_current(reading, key) else rates[key]
    for key, name in (("bank", "bank_w"), ("current", "bank_a")):
        if (flow := _flow(rates, reading, key)) is not None:
            found[name] = flow
    if "bank_w" not in found and "bank_a" in found and volts is not None:
        found["bank_w"] = found["bank_a"] * volts
    return _believed({key: found[key] for key in QUANTITIES if key in found}, findings)


def _clocks_s(rows: Rows, reading: Reading, zone: ZoneInfo) -> tuple[Floats, ...]:
    """Times on the clocks whose midnight a counter of the day may know: the file's own before that on the wall."""
    if reading.clock == WALL:
        return (rows.stamp_s + _wall_offset_s(rows, zone),)
    own_s = rows.stamp_s + _own_offset_s(rows, reading, zone)
    return (own_s, rows.stamp_s + _wall_offset_s(rows, zone)) if OF_DAY in reading.totals.values() else (own_s,)


def _own_offset_s(rows: Rows, reading: Reading, zone: ZoneInfo) -> float:
    if reading.clock == OFFSET and not reading.zone_written:
        return reading.utc_offset_h * HOUR_S
    year = int(str(np.datetime64(int(rows.stamp_s[0]), "s"))[:4])
    return standard_offset_h(zone, year) * HOUR_S


def _wall_offset_s(rows: Rows, zone: ZoneInfo) -> Floats:
    hours, which = np.unique(np.floor(rows.stamp_s / HOUR_S), return_inverse=True)
    return np.array([_offset_s(hour * HOUR_S, zone) for hour in hours])[which]


def _offset_s(utc_s: float, zone: ZoneInfo) -> float:
    return (datetime.fromtimestamp(utc_s, tz=zone).utcoffset() or timedelta()).total_seconds()


def _is_current(reading: Reading, key: str) -> bool:
    return reading.columns[key][1] in (*CURRENTS, *CHARGES)


def _rate(rows: Rows, reading: Reading, key: str, clocks_s: tuple[Floats, ...]) -> tuple[Floats, list[Finding]]:
    """A column as written to W or A over each row; a level stays as it is."""
    at, unit = reading.columns[key]
    column = plausible(rows.values[key])
    if unit not in COUNTED:
        return column * (POWERS | CURRENTS).get(unit, 1.0), []
    counts = reading.totals.get(key, INTERVAL)
    local_s = max(clocks_s, key=lambda one_s: across_midnight(column, one_s))
    came = came_in(column, local_s, counts, ends=reading.ends)
    amount = came.amount * (ENERGIES | CHARGES)[unit]
    if counts != INTERVAL:
        amount = np.where(_whole(rows, ends=reading.ends), amount, np.nan)
    return amount * HOUR_S / rows.step_s, _said(came.resets, came.unknown, came.spikes, reading.layout.name(at), counts)


def _whole(rows: Rows, *, ends: bool) -> NDArray[np.bool_]:
    """Which rows last from one reading of a counter to the next: those beside a gap do not."""
    until = np.diff(rows.stamp_s)
    own = rows.step_s[1:] if ends else rows.step_s[:-1]
    met = np.abs(until - own) < 0.5
    return np.concatenate(([False], met) if ends else (met, [False]))


def _said(resets: int, unknown: int, spikes: int, name: str, counts: str) -> list[Finding]:
    findings = []
    if resets:
        many = "once" if resets == 1 else f"{resets:,} times"
        text = f"“{name}” was set back {many}: the new reading is what came since"
        text += f", but for {unknown:,} too large for one row, which are taken as unknown." if unknown else "."
        findings.append(Finding(level="check", code="counter_reset", text=text))
    if counts != EVER and unknown:
        many = "1 time" if unknown == 1 else f"{unknown:,} times"
        text = f"“{name}” began again {many} since its last reading: what came just before is unknown."
        findings.append(Finding(level="note", code="day_ends", text=text))
    if spikes:
        many = "1 rise" if spikes == 1 else f"{spikes:,} rises"
        text = f"“{name}” has {many} far beyond all others, which are taken as unknown."
        findings.append(Finding(level="check", code="counter_jump", text=text))
    return findings


def _levels(rates: dict[str, Floats], reading: Reading) -> dict[str, Floats]:
    found = {}
    if "volts" in rates:
        found["bank_v"] = rates["volts"] * VOLTS[reading.columns["volts"][1]]
    if "charge" in rates:
        found["charge"] = rates["charge"] * SHARES[reading.columns["charge"][1]]
    if "cell" in rates:
        celsius = reading.columns["cell"][1] == CELSIUS
        found["cell_c"] = rates["cell"] if celsius else (rates["cell"] - 32.0) / 1.8
    return found


def _flow(rates: dict[str, Floats], reading: Reading, key: str) -> Floats | None:
    """What flows into the bank, of a signed column, or of one in and one out."""
    if key in rates:
        return -rates[key] if reading.signs.get(key) == DISCHARGING else rates[key]
    into, out = (rates.get(one) for one in PAIRS[key])
    if into is None or out is None:
        return None
    return into - np.abs(out)


def _inside(key: str, column: Floats) -> NDArray[np.bool_]:
    low, high = BELIEVABLE[key]
    return (column >= low) & (column <= high)


def _believed(found: dict[str, Floats], findings: list[Finding]) -> tuple[dict[str, Floats], tuple[Finding, ...]]:
    """Columns without what no house's meter shows, each said."""
    believed = {}
    for key, column in found.items():
        inside = _inside(key, column)
        count = int((np.isfinite(column) & ~inside).sum())
        believed[key] = np.where(inside, column, np.nan)
        if count:
            low, high = BELIEVABLE[key]
            many = "1 value" if count == 1 else f"{count:,} values"
            unit = {"w": "W", "a": "A", "v": "V", "c": "°C"}.get(key.rpartition("_")[2], "as a share")
            text = (
                f"{many} of {_WORDS[key]} beyond belief, not from {low:,g} to {high:,g} {unit}, and taken as unknown."
            )
            findings.append(Finding(level="check", code="spikes", text=text))
    return believed, tuple(findings)
