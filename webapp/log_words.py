"""Words for what a house's own meter tells, that its pages share."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, tzinfo

from engine.meter.log import QUANTITIES
from webapp.kept_files import KeptFile
from webapp.kept_words import Row, day
from webapp.words import listed

COLUMN_WORDS = {
    "yield": "yield",
    "load": "load at the sockets",
    "load_dc": "load at the battery side",
    "bank": "power of the bank",
    "bank_in": "power of the bank",
    "bank_out": "power of the bank",
    "current": "current of the bank",
    "current_in": "current of the bank",
    "current_out": "current of the bank",
    "volts": "volts of the bank",
    "charge": "charge the monitor showed",
    "cell": "cell temperature",
    "generator": "generator or grid",
}
"""What a column of a file is, in short, by the keys of `engine.meter.formats.MEANINGS`."""
WORDS = {
    "yield_w": "yield",
    "load_w": "load at the sockets",
    "load_dc_w": "load at the battery side",
    "bank_w": "power of the bank",
    "bank_a": "current of the bank",
    "bank_v": "volts of the bank",
    "charge": "charge the monitor showed",
    "cell_c": "cell temperature",
    "generator_w": "generator or grid",
}
UNITS = {"yield_w": "W", "load_w": "W", "load_dc_w": "W", "bank_w": "W", "bank_a": "A", "bank_v": "V"}
UNITS |= {"charge": "%", "cell_c": "°C", "generator_w": "W"}
assert WORDS.keys() == UNITS.keys() == QUANTITIES.keys()
_STEPS = ((86400.0, "day"), (3600.0, "hour"), (60.0, "minute"), (1.0, "second"))


def row(kept: KeptFile, zone: str) -> Row:
    """Return a meter's file as the list shows it."""
    what = quantities(COLUMN_WORDS[key] for key in kept.choices["choices"]["columns"] if key in COLUMN_WORDS)
    named = what[0].upper() + what[1:]
    return Row(id=kept.id, name=kept.name, what=named, day=day(kept.made_at, zone), thing="file")


def quantities(words: Iterable[str]) -> str:
    """Write what a file holds, each once.

    Examples
    --------
    >>> quantities(["yield", "power of the bank", "power of the bank"]), quantities([])
    ('yield and power of the bank', 'a table of which no column is known')
    """
    once = list(dict.fromkeys(words))
    return listed(once) if once else "a table of which no column is known"


def every(step_s: float) -> str:
    """Write how far rows are apart.

    Examples
    --------
    >>> every(60.0), every(300.0), every(3600.0), every(90.0), every(0.5)
    ('one a minute', 'one in 5 minutes', 'one an hour', 'one in 90 seconds', 'several a second')
    """
    if step_s < 0.95:
        return "several a second"
    for size_s, name in _STEPS:
        count = round(step_s / size_s)
        if count >= 1 and abs(step_s - count * size_s) < 0.01 * size_s:
            article = "an" if name == "hour" else "a"
            return f"one {article} {name}" if count == 1 else f"one in {count} {name}s"
    return f"one in {step_s:.0f} seconds"


def moment(utc_s: float, zone: tzinfo) -> str:
    """Write a time on a clock.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> moment(1705276800.0, ZoneInfo("Europe/Berlin"))
    '15 Jan 2024, 01:00'
    """
    there = datetime.fromtimestamp(utc_s, tz=UTC).astimezone(zone)
    return f"{there.day} {there:%b %Y, %H:%M}"
