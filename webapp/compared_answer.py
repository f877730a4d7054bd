"""The answer of measured against predicted, kept at hand while a person looks at it; and the sky of the very days."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from functools import lru_cache

import numpy as np

from engine.answers.checking import Checking, checking
from engine.errors import InputError
from engine.house.household import Household
from engine.meter.hours import days_of
from engine.meter.log import MeterLog
from engine.sky.believable import fit_for_averages, kc_series
from engine.sky.series import DailySeries, KcSeries
from engine.sky.site import Site
from webapp import questions, records_reading, sky_store
from webapp.forms import Field
from webapp.skies import FILE
from webapp.store import Store

AVERAGE = "average"
_ANSWERS = 2
"""Each holds its log: the one looked at and the one before."""


@lru_cache(maxsize=_ANSWERS)
def compared(
    household: Household, log: MeterLog, kc: KcSeries | None, first: date | None, last: date | None
) -> Checking:
    """Return a log held against the model, remembered.

    Raises
    ------
    InputError, Unreachable
        As `engine.answers.checking.checking`.
    """
    return checking(household, log, kc, first, last)


def skies_field(store: Store, household_id: int, house: Household, log: MeterLog) -> Field:
    """Return the choice of what the yield is held against; a record that covers the log comes first."""
    records = sky_store.accepted(store, household_id)
    covering = [one for one in records if _covers(sky_of(store, household_id, house, f"{FILE}{one.id}"), log, house)]
    choices = (
        *((f"{FILE}{one.id}", f"The very days: {one.name}") for one in covering),
        (AVERAGE, "Average days of the months"),
    )
    return Field(name="skies", label="Yield held against", kind="choice", choices=choices, default=choices[0][0])


def sky_of(store: Store, household_id: int, house: Household, skies: str) -> KcSeries | None:
    """Return the sky of the days by a record of radiation; None where it has none that may be believed."""
    if not skies.startswith(FILE):
        return None
    kept = sky_store.find(store, household_id, int(skies.removeprefix(FILE)))
    try:
        report = records_reading.report(store, kept, house)
    except InputError:
        return None
    if report.series.quantity != "radiation" or report.series.typical:
        return None
    if report.kc is not None:
        return report.kc
    return _kc(report.series, house.site) if fit_for_averages(report.findings) else None


@lru_cache(maxsize=_ANSWERS)
def _kc(series: DailySeries, site: Site) -> KcSeries:
    return kc_series(series, site)


def _covers(kc: KcSeries | None, log: MeterLog, house: Household) -> bool:
    """Whether the sky of any day of the log is known."""
    if kc is None or not log.rows:
        return False
    first, last = span_of(log, house)
    begin = (first - kc.first).days
    return bool(np.isfinite(kc.kc[max(begin, 0) : max(begin + (last - first).days + 1, 0)]).any())


def span_of(log: MeterLog, house: Household) -> tuple[date, date]:
    """Return the first and the last day of a log, in the house’s standard time."""
    first, days = days_of(log, house.site.utc_offset_h)
    return first, first + timedelta(days=days - 1)


def date_fields(first: date, last: date) -> Sequence[Field]:
    """Return the fields of the days looked at; empty means from the first, or to the last, of the log."""
    return (
        Field(name="from", label="From", kind="text", optional=True, hint=f"Empty: {first}, where the log begins"),
        Field(name="to", label="To", kind="text", optional=True, hint=f"Empty: {last}, where it ends"),
    )


def read_day(name: str, label: str, text: str, first: date, last: date) -> date | None:
    """Read a day of the log.

    Raises
    ------
    InputError
        On the field, if it is no date or one outside the log.
    """
    if not text.strip():
        return None
    found = questions.read_day(text, name, label, first)
    if not first <= found <= last:
        raise InputError(name, f"{label} must be a day of the log, from {first} to {last}; got {found}.")
    return found
