"""Files of a house's own meter or shunt, read into a log.

`guess` says how we would read a file and what we would ask; `with_choices` puts in what a person said instead; `read`
reads. Powers are means over each row, W; into the bank is positive.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Generator, Mapping
from zoneinfo import ZoneInfo

import numpy as np

from engine.errors import InputError
from engine.meter import guess as guessing
from engine.meter.formats import (
    CHARGES,
    CHARGING,
    CLOCKS,
    COUNTED,
    CURRENTS,
    PAIRS,
    SIGNED,
    SIGNS,
    Reading,
    meanings_by_key,
)
from engine.meter.log import MeterLog
from engine.meter.quantities import quantities
from engine.meter.rows import rows_in_steps
from engine.text import delimited
from engine.text.choosing import checked_columns, with_decimal
from engine.text.finding import Finding
from engine.text.meanings import INTERVAL, TIME_KEYS, TOTALS
from engine.text.plain_text import FIELD
from engine.text.sample import Sample, head_lines, sample_of, times_of
from engine.text.steps import RowsRead, finished
from engine.text.time_units import FARTHEST_H, Doubt, Places
from engine.text.times import tells_the_day, without_day

_HEAD_ROWS = 200


def guess(content: bytes) -> Reading:
    """Return how a file would be read, and what is in doubt.

    Raises
    ------
    InputError
        On the field ``file`` if it holds no rows of numbers.

    Examples
    --------
    >>> content = b"Time;Battery power [W];Battery [V]\\n30.01.2024 10:00;-250;51,2\\n30.01.2024 10:01;90;51,3\\n"
    >>> reading = guess(content)
    >>> reading.columns["bank"], reading.columns["volts"], reading.signs
    ((1, 'W'), (2, 'V'), {'bank': 'charging'})
    """
    if content.lstrip()[:1] in (b"{", b"["):
        raise InputError(FIELD, "This is JSON: save the same rows as CSV, and bring that.")
    return guessing.table(sample_of(content, delimited.sniff(content)))


def preview(content: bytes, reading: Reading, rows: int = 8) -> tuple[tuple[str, ...], ...]:
    """Return the first rows under the header as they are written, one text a column."""
    return delimited.preview(content, reading.layout, rows)


def with_choices(
    reading: Reading,
    *,
    columns: Mapping[str, tuple[int, str]] | None = None,
    totals: Mapping[str, str] | None = None,
    signs: Mapping[str, str] | None = None,
    clock: str | None = None,
    utc_offset_h: float | None = None,
    ends: bool | None = None,
    decimal: str | None = None,
) -> Reading:
    """Return the reading as a person would have it; questions about what they changed are gone.

    Parameters
    ----------
    columns : mapping of str to (int, str), optional
        Column, from 0, and unit of each of `formats.MEANINGS` that has one; what is not named has none.
    totals, signs : mapping of str to str, optional
        By key of a column, one of `formats.TOTALS` or `formats.SIGNS`; what is not named stays.
    clock : str, optional
        One of `formats.CLOCKS`.
    utc_offset_h : float, optional
        Offset of the file's clock from universal time [h], where the clock is an offset.
    ends : bool, optional
        Whether a row's time is its end.
    decimal : str, optional
        ``.`` or ``,``.

    Raises
    ------
    InputError
        Naming the choice that cannot be.
    """
    layout = with_decimal(reading.layout, reading.sample, decimal)
    chosen = reading.columns if columns is None else checked_columns(layout, columns, meanings_by_key())
    new = {key for key, place in chosen.items() if reading.columns.get(key) != place}
    new_totals, new_signs, doubts = _ways_of_new(dataclasses.replace(reading, layout=layout), chosen, new)
    known_totals, known_signs = {**reading.totals, **new_totals}, {**reading.signs, **new_signs}
    kept_totals = {key: known_totals.get(key, INTERVAL) for key, (_, unit) in chosen.items() if unit in COUNTED}
    kept_signs = {key: known_signs.get(key, CHARGING) for key in SIGNED if key in chosen}
    counts = kept_totals | _one_of(totals or {}, TOTALS, kept_totals, "totals")
    ways = kept_signs | _one_of(signs or {}, SIGNS, kept_signs, "signs")
    kept_clock = clock or reading.clock
    if kept_clock not in CLOCKS:
        raise InputError("clock", f"The clock is one of {', '.join(CLOCKS)}; got “{kept_clock}”.")
    offset_h = reading.utc_offset_h if utc_offset_h is None else utc_offset_h
    if not -FARTHEST_H <= offset_h <= FARTHEST_H:
        raise InputError("utc_offset_h", f"Offset from universal time must be from -14 to 14 hours; got {offset_h:g}.")
    same_date = chosen.get("date") == reading.columns.get("date")
    same_clock = (kept_clock, offset_h) == (reading.clock, reading.utc_offset_h)
    said = {f"totals.{key}" for key in totals or {}} | {f"signs.{key}" for key in signs or {}}
    settled = said | new | {f"totals.{key}" for key in new} | {f"signs.{key}" for key in new}
    settled |= {"clock"} if clock else set()
    settled |= {"decimal"} if layout is not reading.layout else set()
    return dataclasses.replace(
        reading,
        layout=layout,
        columns=chosen,
        totals=counts,
        signs=ways,
        clock=kept_clock,
        utc_offset_h=offset_h,
        zone_written=reading.zone_written and same_date and same_clock,
        ends=reading.ends if ends is None else ends,
        asked=(
            *((key, text) for key, text in reading.asked if key not in settled and _stands(key, chosen)),
            *((key, text) for key, text in doubts if key not in said),
        ),
    )


def _ways_of_new(
    reading: Reading, chosen: Places, new: Collection[str]
) -> tuple[dict[str, str], dict[str, str], list[Doubt]]:
    """How columns that were not read so before count and point, by their numbers."""
    if all(key in TIME_KEYS for key in new):
        return {}, {}, []
    sample = Sample(layout=reading.layout, above=(), first=(), spread=reading.sample)
    zoned = reading.zone_written and chosen.get("date") == reading.columns.get("date")
    time_s = times_of(sample.spread, reading.layout, chosen, zoned=zoned) if tells_the_day(chosen) else np.zeros(0)
    return guessing.ways(sample, chosen, new, time_s)


def _stands(key: str, chosen: Places) -> bool:
    """Whether a question still has the column it is about."""
    about = key.rpartition(".")[2] if key.startswith(("totals.", "signs.")) else ""
    return not about or about in chosen


def _one_of(wanted: Mapping[str, str], known: Mapping[str, str], kept: Mapping[str, str], field: str) -> dict[str, str]:
    labels = meanings_by_key()
    for key, one in wanted.items():
        label = labels[key].label if key in labels else key
        if one not in known:
            raise InputError(f"{field}.{key}", f"{label} must be one of {', '.join(known)}; got “{one}”.")
        if key not in kept and (field != "totals" or one != INTERVAL):
            raise InputError(f"{field}.{key}", f"{label} has no column that “{one}” could be said of.")
    return {key: one for key, one in wanted.items() if key in kept}


def read(content: bytes, reading: Reading, zone: ZoneInfo) -> tuple[MeterLog, tuple[Finding, ...]]:
    """Read a file.

    Parameters
    ----------
    zone : ZoneInfo
        The house's.

    Returns
    -------
    MeterLog
    tuple of Finding
        What was left out, filled or doubted.

    Raises
    ------
    InputError
        If there is no column of time or none of a quantity, or hardly a row can be read.

    Examples
    --------
    >>> content = b"Time;Battery power [W]\\n30.01.2024 10:00;-250\\n30.01.2024 10:01;90\\n"
    >>> log, findings = read(content, guess(content), ZoneInfo("Europe/Berlin"))
    >>> log.values["bank_w"].tolist(), log.step_s.tolist(), findings
    ([-250.0, 90.0], [60.0, 60.0], ())
    """
    return finished(read_in_steps(content, reading, zone))


def read_in_steps(
    content: bytes, reading: Reading, zone: ZoneInfo
) -> Generator[RowsRead, None, tuple[MeterLog, tuple[Finding, ...]]]:
    """Do as `read`, and say on the way how many rows are read: a year of minutes takes seconds."""
    check(reading)
    rows, findings = yield from rows_in_steps(content, reading, zone)
    values, said = quantities(rows, reading, zone)
    if not any(np.isfinite(column).any() for column in values.values()):
        every = " ".join(one.text for one in said)
        raise InputError("file", f"Read so, no row of it says anything: are columns and units right? {every}".strip())
    return MeterLog(start_s=rows.start_s, step_s=rows.step_s, values=values), findings + said


def read_head(content: bytes, reading: Reading, zone: ZoneInfo) -> MeterLog:
    """Read the first rows alone, to show what comes of them before all are read.

    Raises
    ------
    InputError
        As `read`.
    """
    lines = head_lines(content, reading.layout.encoding)[: reading.layout.first_row + _HEAD_ROWS]
    head = ("\n".join(lines) + "\n").encode()
    plain = dataclasses.replace(reading.layout, encoding="utf-8")
    return read(head, dataclasses.replace(reading, layout=plain), zone)[0]


def check(reading: Reading) -> None:
    """Refuse a reading that lacks a column it needs, before the file is read.

    Raises
    ------
    InputError
        Naming each choice that is missing.
    """
    has = reading.columns
    faults = without_day(has)
    if all(key in TIME_KEYS for key in has):
        faults.append(InputError("yield", "No column is chosen yet: choose yield, load or the bank, and its unit."))
    labels = meanings_by_key()
    for one, other in (*PAIRS.values(), *(pair[::-1] for pair in PAIRS.values())):
        if one in has and other not in has and one.partition("_")[0] not in has:
            text = f"{labels[other].label} has no column yet: one way of the bank without the other says little."
            faults.append(InputError(other, text))
    for key in ("yield", "load_dc"):
        if key in has and has[key][1] in (*CURRENTS, *CHARGES) and "volts" not in has:
            text = (
                f"{labels[key].label} is in {has[key][1]}: volts of the bank are needed beside it, and have no column."
            )
            faults.append(InputError("volts", text))
    if faults:
        raise InputError(faults[0].field, faults[0].message, tuple(faults[1:]))
