"""Constants with their source, and the only conversions in the engine.

Energy is Wh or kWh, power W, angles degrees, temperature degC.
"""

from __future__ import annotations

HOURS_PER_DAY = 24
DAYS_PER_WEEK = 7
DAYS_PER_YEAR = 365.25
HOURS_PER_MONTH = HOURS_PER_DAY * DAYS_PER_YEAR / 12.0
WH_PER_KWH = 1000.0
WATER_KWH_PER_LITRE_K = 4.186 / 3600.0
"""Heat capacity of 1 kg of water, 4.186 kJ/(kg K) (15 degC calorie; any handbook of physics)."""


def celsius_from_fahrenheit(degrees_f: float) -> float:
    """Convert a temperature in degF to degC (definition)."""
    return (degrees_f - 32.0) / 1.8


def mean_day_of_year(month: int) -> int:
    """Return the day of the year whose sun is the month's average (Klein 1977).

    The list is printed in Duffie and Beckman, Solar Engineering of Thermal Processes, Table 1.6.1.
    """
    return (17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344)[month - 1]
