"""What looks odd about a load, and what to know about it: notes, never refusals.

Each note is a code, a sentence, and where one change would mend it that change. Power is W, energy
kWh. The thresholds are judgements (assumed) unless a source is named beside them.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple, TypedDict

from engine.errors import InputError
from engine.house.load import Load, daily_kwh, highest_w
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH

PUMP_BAND_KWH = (2.0, 12.0)
"""Usual day of a pool pump [kWh]: the United States EPA (2013) quotes 1,500 kWh a year for a typical
pump, Home Energy magazine up to 10.5 kWh a day for an old one."""
LEGIONELLA_C = 60.0
"""Tank temperature below which guidance on legionella asks for care (typical, from memory)."""
LEAST_MOTOR_W = 10.0
LEAST_STEADY_W = 2.0
MOST_STEADY_W = 1500.0
MOST_HOUSE_KWH = 60.0
LARGE_LOAD_KWH = 24.0
DAYS_PER_MONTH = 30.0
MEASURED_SLIPS = "Check that its log was read in the right unit, and that no other load is in it, too."


class Mend(TypedDict):
    """One click that mends a slip: its label, and new values by field, such as ``values.power_w``."""

    label: str
    values: dict[str, float | str]


class Note(NamedTuple):
    """A code for tests and pages, a sentence for people, and the change that would mend it."""

    code: str
    text: str
    remedy: Mend | None


def notes(load: Load, rated_w: float | None = None, others_kwh: float | None = None) -> tuple[Note, ...]:
    """Look for slips of the unit and unusual numbers in one load.

    Parameters
    ----------
    rated_w : float, optional
        Continuous power of the inverter that feeds it [W].
    others_kwh : float, optional
        What all other loads take on the same day [kWh].

    Returns
    -------
    tuple of Note
        In the order in which they should be read; empty if nothing is odd.
    """
    kwh = daily_kwh(load, load.months[0])
    found = [
        _kw_typed_as_w(load),
        _wh_typed_as_w(load),
        _month_typed_as_day(load),
        _over_inverter(load, rated_w),
        _over_the_rest(load, kwh, others_kwh),
        _pump_energy(load, kwh),
        _legionella(load),
    ]
    return tuple(note for note in found if note is not None)


def slowed_pump_kwh(power_w: float, run_h: float, speed: float = 0.5) -> float:
    """Energy a day for the same water at a lower speed of the pump, running longer [kWh].

    Parameters
    ----------
    power_w, run_h : float
        Power [W] and hours a day [h] at full speed.
    speed : float
        Share of full speed [-], above 0.

    Notes
    -----
    Affinity laws: flow goes with the speed and power with its cube, so energy for the same water goes
    with its square. A lower limit: static head and motor losses are left out.

    Examples
    --------
    >>> slowed_pump_kwh(1600.0, 5.0)
    2.0
    """
    return power_w * speed**3 * (run_h / speed) / WH_PER_KWH


def _mend(load: Load, label: str, name: str, value: float) -> Mend | None:
    """Offer a new value, unless the load could not be with it."""
    try:
        replace(load, values={**load.values, name: value})
    except InputError:
        return None
    return {"label": label, "values": {f"values.{name}": value}}


def _kw_typed_as_w(load: Load) -> Note | None:
    least = {"steady": LEAST_STEADY_W, "pump": LEAST_MOTOR_W, "timed": LEAST_MOTOR_W, "house": LEAST_MOTOR_W}
    name = "base_w" if load.kind == "house" else "power_w"
    typed = load.values.get(name, 0.0)
    if not 0.0 < typed < least.get(load.kind, 0.0):
        return None
    return Note(
        "kw-typed-as-w",
        f"{load.name}: {typed:g} W is very little. If {typed:g} kW was meant, that is {typed * WH_PER_KWH:,.0f} W.",
        _mend(load, f"Use {typed * WH_PER_KWH:,.0f} W", name, typed * WH_PER_KWH),
    )


def _wh_typed_as_w(load: Load) -> Note | None:
    power_w = load.values.get("power_w", 0.0)
    if load.kind != "steady" or power_w <= MOST_STEADY_W:
        return None
    return Note(
        "wh-typed-as-w",
        f"{load.name}: {power_w:,.0f} W day and night is {daily_kwh(load, load.months[0]):,.0f} kWh a day. "
        f"If it is {power_w:,.0f} Wh a day, that is {power_w / HOURS_PER_DAY:,.0f} W.",
        _mend(load, f"Use {power_w / HOURS_PER_DAY:,.0f} W", "power_w", power_w / HOURS_PER_DAY),
    )


def _month_typed_as_day(load: Load) -> Note | None:
    typed = load.values.get("daily_kwh", 0.0)
    if load.kind != "house" or typed <= MOST_HOUSE_KWH:
        return None
    return Note(
        "month-typed-as-day",
        f"{load.name}: {typed:g} kWh a day is a great deal for a house. "
        f"If it is for a month, that is {typed / DAYS_PER_MONTH:.3g} kWh a day.",
        _mend(load, f"Use {typed / DAYS_PER_MONTH:.3g} kWh a day", "daily_kwh", typed / DAYS_PER_MONTH),
    )


def _over_inverter(load: Load, rated_w: float | None) -> Note | None:
    peak_w = running_w(load)
    if rated_w is None or load.measured != "ac" or peak_w <= rated_w:
        return None
    when = "while it runs" if load.profile is None else "in an hour’s mean"
    return Note(
        "over-inverter",
        f"{load.name} takes up to {peak_w:,.0f} W {when}, more than the {rated_w:,.0f} W its inverter can give.",
        None,
    )


def running_w(load: Load) -> float:
    """Power while it runs [W]; highest hourly mean of a house on a mid-winter day, of a measured load on any day."""
    meaning, values = load.meaning, load.filled()
    if meaning.running:
        scale = WH_PER_KWH if meaning.fields[meaning.running].quantity.unit == "kW" else 1.0
        return values[meaning.running] * scale
    return highest_w(load) if meaning.hourly is None else float(meaning.hourly(values, 1).max())


def _over_the_rest(load: Load, kwh: float, others_kwh: float | None) -> Note | None:
    if others_kwh is None or kwh <= max(others_kwh, LARGE_LOAD_KWH):
        return None
    return Note(
        "over-the-rest",
        f"{load.name} takes {kwh:.3g} kWh a day, more than all other loads together ({others_kwh:.3g} kWh). "
        + ("Check that its power is in the unit shown beside the field." if load.profile is None else MEASURED_SLIPS),
        None,
    )


def _pump_energy(load: Load, kwh: float) -> Note | None:
    low, high = PUMP_BAND_KWH
    if load.kind != "pump" or low <= kwh <= high:
        return None
    values = load.filled()
    text = f"{load.name}: {kwh:.3g} kWh a day is unusual; most pool pumps take {low:g} to {high:g} kWh."
    if kwh > high and values["run_h"] <= HOURS_PER_DAY / 2:
        slow = slowed_pump_kwh(values["power_w"], values["run_h"])
        text += f" At half speed for twice the hours the same water takes about {slow:.2g} kWh."
    return Note("pump-energy", text, None)


def _legionella(load: Load) -> Note | None:
    if load.kind != "water" or load.filled()["hot_c"] >= LEGIONELLA_C:
        return None
    return Note(
        "legionella",
        f"{load.name}: legionella can grow in a tank kept below {LEGIONELLA_C:g} °C; hotter water scalds, "
        "so fit a mixing valve before the taps. Follow the guidance that applies where you live.",
        _mend(load, f"Use {LEGIONELLA_C:g} °C", "hot_c", LEGIONELLA_C),
    )
