"""What the parts of “measured against predicted” share: errors of days, worst days, likely causes and their words.

An error is measured less predicted, so that a positive one means more was measured. Energies are kWh a day, charges
shares. A cause is a judgement by a rule whose threshold stands beside it; it is never more than likely.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from engine.quantities import HOURS_PER_DAY

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

UNKNOWN, WEATHER, ABOVE, COVERED, FULL, SHADE = "unknown", "weather", "above", "covered", "full", "shade"
IDLE, OFF, CAPACITY, DRIFT, UNSEEN, UNIT = "idle", "off", "capacity", "drift", "unseen", "unit"
TITLES = {
    COVERED: "Likely covered panels (snow, if it was cold) or a charger that was off",
    FULL: "Likely a full bank that held the panels back",
    SHADE: "Likely shade",
    ABOVE: "More than a clear day gives",
    WEATHER: "The weather alone may do it",
    IDLE: "Likely a steady draw the loads do not have",
    OFF: "Likely an inverter that was off",
    CAPACITY: "Likely a bank that holds less than entered",
    DRIFT: "Likely a monitor that counts wrongly",
    UNSEEN: "Likely a draw that no meter saw",
    UNIT: "Likely a wrong unit or column of the log",
    UNKNOWN: "Nothing here tells why",
}
TELLS = {
    COVERED: "A look at the panels on such a morning, or the charger’s own record of faults.",
    FULL: "A large load switched on at noon: if the bank holds the panels back, they give more at once.",
    SHADE: "A look at the panels at that time of day, for a tree, a chimney or a pole that shades even one of them.",
    ABOVE: "One clear day’s kWh typed on Sun; or a meter that counts more than these panels.",
    WEATHER: "A record of radiation that has these dates, brought on Sun records.",
    IDLE: "The meter on a quiet night with one thing after another switched off; the inverter’s own draw last.",
    OFF: "The inverter’s own record of stops, and the charge of the bank that day.",
    CAPACITY: "A test of the bank from full to the reserve with the ampere-hours counted, or its weakest cell on Cell "
    "tests.",
    DRIFT: "The monitor’s reading at rest with nothing drawing: it should show no current; and its capacity.",
    UNSEEN: "A clamp meter on the bank’s cable at night against what the inverter says it draws.",
    UNIT: "The file on Log, opened with “Read it another way”: are its numbers W or kW, Wh or kWh?",
    UNKNOWN: "A note of what was done that day.",
}
"""What would tell whether a cause is the right one."""
_THOUSANDFOLD, _THOUSANDTH = (100.0, 1e4), (1e-4, 0.01)
"""Measured for predicted, as a wrong unit makes it in a house whose true yield or draw is between a tenth of the
model’s and ten times it (judgement)."""
WORST = 5
"""Worst days of each kind that are named (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """Measured days against predicted ones.

    Attributes
    ----------
    measured_kwh, model_kwh : float
        Means of the days that count [kWh a day].
    mean_error_kwh : float
        Mean of the errors without their sign [kWh a day].
    bias_kwh, bias_share : float
        Mean error [kWh a day], and of the predicted mean [-]; the share is None where nothing was predicted.
    """

    days: int
    measured_kwh: float
    model_kwh: float
    mean_error_kwh: float
    bias_kwh: float
    bias_share: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstDay:
    """One of the worst days of a kind: ``yield`` and ``load`` in kWh, ``charge`` as shares; `why` is what was seen."""

    kind: str
    day: date
    measured: float
    model: float
    cause: str
    why: str

    @property
    def error(self) -> float:
        """Measured less predicted."""
        return self.measured - self.model


@dataclass(frozen=True, slots=True, kw_only=True)
class Likely:
    """A cause that the log points to as a whole: on how many days, what was seen, and what would tell."""

    code: str
    title: str
    days: int
    why: str
    tells: str


def likely(code: str, days: int, why: str) -> Likely:
    """Return a cause with its title and what would tell."""
    return Likely(code=code, title=TITLES[code], days=days, why=why, tells=TELLS[code])


def errors(measured_kwh: Floats, model_kwh: Floats) -> Errors | None:
    """Return the errors over the days on which both are known; None where there is none.

    Examples
    --------
    >>> found = errors(np.array([1.0, np.nan, 3.0]), np.array([2.0, 2.0, 2.0]))
    >>> found.days, found.mean_error_kwh, found.bias_kwh
    (2, 1.0, 0.0)
    """
    both = np.isfinite(measured_kwh) & np.isfinite(model_kwh)
    if not both.any():
        return None
    measured, model = measured_kwh[both], model_kwh[both]
    bias, mean = float((measured - model).mean()), float(model.mean())
    return Errors(
        days=int(both.sum()),
        measured_kwh=float(measured.mean()),
        model_kwh=mean,
        mean_error_kwh=float(np.abs(measured - model).mean()),
        bias_kwh=bias,
        bias_share=bias / mean if mean > 0.0 else None,
    )


def unit_cause(what: str, found: Errors | None) -> Likely | None:
    """Return whether a whole log is out by about a thousand, as with W for kW; no day of it points to anything else."""
    if found is None or found.model_kwh <= 0.0 or found.measured_kwh <= 0.0:
        return None
    times = found.measured_kwh / found.model_kwh
    if not any(low <= times <= high for low, high in (_THOUSANDFOLD, _THOUSANDTH)):
        return None
    many = f"{times:.0f} times" if times > 1.0 else f"1/{1.0 / times:.0f} of"
    return likely(UNIT, found.days, f"{what} is {many} what the model says; nothing else is looked for in it.")


def worst_days(error: Floats, least: Floats) -> list[int]:
    """Return the places of the worst errors, the worst first, that are at least as large as `least`."""
    size = np.where(np.isfinite(error), np.abs(error), -1.0)
    order = np.argsort(-size, kind="stable")
    return [int(place) for place in order[:WORST] if size[place] > 0.0 and size[place] >= least[place]]


def known(value: float) -> float | None:
    """Return a plain number, or None for one that is not known."""
    return float(value) if np.isfinite(value) else None


def spans(there: Flags) -> list[tuple[int, int]]:
    """Return where true values in a row begin and end, the end not counted.

    Examples
    --------
    >>> spans(np.array([False, True, True, False, True]))
    [(1, 3), (4, 5)]
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], there, [False]]).astype(np.int8)))
    return [(int(begin), int(end)) for begin, end in zip(edges[::2], edges[1::2], strict=True)]


def filled(hours: Floats, longest: int) -> Floats:
    """Fill holes of at most `longest` hours in a row by a straight line between their neighbours.

    Examples
    --------
    >>> filled(np.array([1.0, np.nan, 3.0, np.nan, np.nan, 3.0]), 1).tolist()
    [1.0, 2.0, 3.0, nan, nan, 3.0]
    """
    found, there = hours.copy(), np.isfinite(hours)
    for begin, end in spans(~there):
        if begin > 0 and end < hours.size and end - begin <= longest:
            found[begin:end] = np.interp(np.arange(begin, end), (begin - 1, end), (hours[begin - 1], hours[end]))
    return found


def months_of(dates: NDArray[np.datetime64]) -> NDArray[np.int64]:
    """Return the month, 1 to 12, of each date."""
    return np.asarray(dates.astype("datetime64[M]").astype(np.int64) % 12 + 1)


def day_of(dates: NDArray[np.datetime64], place: int) -> date:
    """Return one date as the calendar writes it."""
    found: date = dates[place].astype(object)
    return found


def by_day(hours: Floats) -> Floats:
    """Return hours in a row as (days, 24)."""
    return hours.reshape(-1, HOURS_PER_DAY)


def percent(share: float) -> str:
    """Write a share in whole percent for a sentence.

    Examples
    --------
    >>> percent(0.174)
    '17 %'
    """
    return f"{share * 100:.0f} %"
