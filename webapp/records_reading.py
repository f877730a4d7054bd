"""A sun record with the choices by which it is read, and what comes of it at a house.

The choices are kept with the file, so that the same bytes always give the same days; what they mean for the house
follows its place and panels and is worked out anew when asked for. Nothing here knows a page. What reads files is
loaded with the first file, so that a start need not wait for it.
"""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from engine.errors import InputError
from engine.house.household import Household
from engine.sky.believable import fit_for_averages, fit_for_spells, judge, kc_series, monthly_kc, without_zeros
from engine.sky.files.formats import Reading
from engine.sky.own import LogReading, as_strong_as, kc_of_log, read_log
from engine.sky.own_spells import read_by
from engine.sky.series import DailySeries, KcSeries
from engine.sky.site import OwnSpell, Site, Sun
from engine.sky.spells import LEAST_DAYS, LEAST_YEARS, SpellTable, own_spells, spell_table
from engine.text.finding import Finding
from engine.text.meanings import INTERVAL
from webapp import sky_store
from webapp.kept_choices import KeptChoices
from webapp.kept_words import sorted_findings
from webapp.sky_store import SkyFile
from webapp.store import Store

LEAST_LOG_DAYS = LEAST_YEARS[1] * LEAST_DAYS
"""Days of a log from which it can have dull spells of its own."""
REMEMBERED = 4
"""Series and results kept at hand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices(KeptChoices):
    """How a file is read; `utc_offset_h` is None for the house's own standard time."""

    totals: str = INTERVAL
    utc_offset_h: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What a record tells a house.

    `monthly_kc` are the means of its clearness, `table` and `spells` its dull spells; they are None or empty where the
    record is not fit for them, and so is `kc`, its days. `log` is what a record of the panels' own days teaches, and
    `why` says why it cannot.
    """

    series: DailySeries
    findings: tuple[Finding, ...]
    monthly_kc: tuple[float | None, ...] = ()
    table: SpellTable | None = None
    kc: KcSeries | None = None
    spells: tuple[OwnSpell, ...] = ()
    log: LogReading | None = None
    why: str = ""


def guessed(content: bytes) -> Reading:
    """Return how a file would be read.

    Raises
    ------
    InputError
        If it holds no rows of numbers.
    """
    from engine.sky.files import reading

    return reading.guess(content)


def first_choices(reading: Reading) -> dict[str, Any]:
    """Return the choices a new record begins with: our guess."""
    return Choices(
        kind=reading.kind,
        columns=dict(reading.columns),
        totals=reading.totals,
        utc_offset_h=reading.utc_offset_h,
    ).stored()


def reading_of(content: bytes, choices: Choices) -> Reading:
    """Return how the file is read by these choices."""
    from engine.sky.files import reading

    return reading.with_choices(
        reading.guess(content),
        columns=choices.columns,
        totals=choices.totals,
        utc_offset_h=choices.utc_offset_h,
        decimal=choices.decimal or None,
    )


def first_rows(content: bytes, reading_: Reading, rows: int) -> tuple[tuple[str, ...], ...]:
    """Return the first rows of a file as they are written."""
    from engine.sky.files import reading

    return reading.preview(content, reading_, rows)


def series_by(store: Store, file_id: int, choices: Choices, site: Site) -> DailySeries:
    """Return the days of a kept file by some choices, and remember them.

    Raises
    ------
    InputError
        If it cannot be read by these choices.
    """
    return _series(store, file_id, json.dumps(choices.stored(), sort_keys=True), site.utc_offset_h)


def against(series: DailySeries, house: Household) -> tuple[Finding, ...]:
    """Return what stands against the days of a file as they are read, or is to be checked first."""
    found = sorted_findings((*series.findings, *judge(series, house.site), *_of_panels(series, house)))
    return tuple(one for one in found if one.level == "check" or not fit_for_averages((one,)))


def _of_panels(series: DailySeries, house: Household) -> tuple[Finding, ...]:
    """What is to be said of days that panels gave, where it can be told."""
    try:
        return read_log(series, house.site, house.sun).findings if series.quantity == "yield" else ()
    except InputError:
        return ()


def report(store: Store, kept: SkyFile, house: Household) -> Report:
    """Return what a kept file tells a house.

    Raises
    ------
    InputError
        If it cannot be read by its choices any more.
    """
    return _report(series_by(store, kept.id, Choices.of(kept.choices), house.site), house.site, house.sun)


@lru_cache(maxsize=REMEMBERED)
def _series(store: Store, file_id: int, choices: str, utc_offset_h: float) -> DailySeries:
    from engine.sky.files import reading

    content, chosen = sky_store.content(store, file_id), Choices.of(json.loads(choices))
    return reading.read(content, reading_of(content, chosen), utc_offset_h)


@lru_cache(maxsize=REMEMBERED)
def _report(series: DailySeries, site: Site, sun: Sun) -> Report:
    if series.quantity == "yield":
        return _log_report(series, site, sun)
    findings = sorted_findings((*series.findings, *judge(series, site)))
    averages, spells = fit_for_averages(findings), fit_for_spells(findings)
    series, _ = without_zeros(series, site)
    kc = kc_series(series, site)
    found = Report(series=series, findings=findings, monthly_kc=monthly_kc(kc) if averages else ())
    return _with_spells(found, kc, site) if spells else found


def _log_report(series: DailySeries, site: Site, sun: Sun) -> Report:
    """What days of the panels' own tell; their spells need panels to be read by, and no finding against them."""
    findings = sorted_findings((*series.findings, *judge(series, site)))
    known = int(np.isfinite(series.values).sum())
    found = Report(series=series, findings=findings)
    if not fit_for_averages(findings):
        return found
    try:
        log = read_log(series, site, sun)
    except InputError as fault:
        return dataclasses.replace(found, why=fault.message)
    found = dataclasses.replace(found, findings=sorted_findings((*findings, *log.findings)))
    if not fit_for_averages(log.findings):
        return found
    found = dataclasses.replace(found, log=log)
    return _with_own_spells(found, site, _panels(sun)) if known >= LEAST_LOG_DAYS else found


def _with_own_spells(found: Report, site: Site, panels: Sun) -> Report:
    """Its spells, read by panels as strong as the log says, whatever clear day is typed."""
    strong = as_strong_as(found.series, site, panels)
    found = _with_spells(found, _kc_of_log(found.series, site, strong), site)
    return dataclasses.replace(found, spells=read_by(found.spells, site, strong))


def _panels(sun: Sun) -> Sun:
    """The sun without what says nothing of what the panels give under a known sky."""
    return dataclasses.replace(
        sun, dull_day_kwh=None, dull_day_month=None, monthly_kc=None, monthly_kwh=None, spells=(), sky_file=""
    )


@lru_cache(maxsize=REMEMBERED)
def _kc_of_log(series: DailySeries, site: Site, panels: Sun) -> KcSeries:
    return kc_of_log(series, site, panels, "your own log")


def _with_spells(found: Report, kc: KcSeries, site: Site) -> Report:
    table = spell_table(kc, site.latitude_deg)
    return dataclasses.replace(found, table=table, kc=kc, spells=own_spells(kc, site.latitude_deg))
