"""What lead-acid cells ask of their keeper: acid that freezes, water that charging splits, air that carries gas off.

Density is relative to water at 25 degC, charge a share of tested Ah, temperatures degC, water g, air m3/h.
Not modelled: acid that lies in layers, gas at other volts and temperatures than those of the table, recombination.
"""

from __future__ import annotations

import numpy as np

DENSITY_AT_SOC = ((0.0, 1.120), (0.25, 1.160), (0.5, 1.190), (0.75, 1.225), (1.0, 1.265))
"""Density of the acid by charge, full at 1.265 (published: middle of the ranges of a battery maker's support page, read
there; sealed cells hold stronger acid, which freezes later)."""
FREEZES_AT_F = ((1.05, 27.0), (1.1, 18.0), (1.15, 5.0), (1.2, -17.0), (1.225, -35.0), (1.265, -75.0))
"""Freezing point by density [degF] (published: an owner's manual of a vehicle maker, read there)."""
LEAD_C, LEAD_V_PER_C = 25.0, 0.004
"""Temperature that charge volts are stated for [degC], and what they change for each degree and cell [V] (typical, from
memory)."""
FARADAY_C_PER_MOL = 96485.0
WATER_G_PER_MOL = 18.015
"""Both constants are published and of common knowledge."""
ELECTRONS_PER_WATER = 2.0
SECONDS_PER_HOUR = 3600.0
AIR_FACTOR = 0.05
"""Air for each cell, mA/Ah and Ah, x 1e-3 [m3/Ah] (published: EN 50272-2, read second-hand): 24 times dilution to
4 % x 0.42e-3 m3 of hydrogen an Ah x a safety factor of 5."""
OPENING_CM2_PER_M3_H = 28.0
"""Free area of inlet and of outlet each for natural air (published: EN 50272-2, read second-hand)."""
GAS_SAFETY = 5.0
"""Safety factor within the gassing currents, for old and faulty cells (published: the same, read second-hand)."""
UNLIMITED_GAS_MA_PER_AH = 60.0
"""Gassing current of vented cells above 2.40 V (published: EN 50272-3, read second-hand: 6 A for 100 Ah)."""


def lead_cell_v(cell_v: float, temperature_c: float) -> float:
    """Return what charge volts stated for `LEAD_C` should be at another cell temperature [V per cell].

    Examples
    --------
    >>> round(lead_cell_v(2.4, 5.0), 3), lead_cell_v(2.4, 25.0)
    (2.48, 2.4)
    """
    return cell_v - LEAD_V_PER_C * (temperature_c - LEAD_C)


def density(soc: float) -> float:
    """Return the density of the acid at a charge [-], linear between the table's points, held at its ends.

    Examples
    --------
    >>> density(1.0), round(density(0.625), 4)
    (1.265, 1.2075)
    """
    charges, densities = zip(*DENSITY_AT_SOC, strict=True)
    return float(np.interp(soc, charges, densities))


def freezes_at_c(soc: float) -> float:
    """Return the temperature at which the acid begins to freeze at a charge [degC].

    Examples
    --------
    >>> round(freezes_at_c(1.0), 1), round(freezes_at_c(0.0), 1)
    (-59.4, -10.7)
    """
    densities, fahrenheit = zip(*FREEZES_AT_F, strict=True)
    return (float(np.interp(density(soc), densities, fahrenheit)) - 32.0) / 1.8


def water_g_per_ah() -> float:
    """Return the water that one Ah of overcharge splits in one cell [g]: half a molecule for each electron."""
    return WATER_G_PER_MOL / (ELECTRONS_PER_WATER * FARADAY_C_PER_MOL) * SECONDS_PER_HOUR


def water_g(cells: int, gas_ma_per_ah: float, ah: float, hours: float) -> float:
    """Return the water that `cells` in series lose while a gassing current flows [g].

    Parameters
    ----------
    gas_ma_per_ah : float
        Gassing current for each Ah [mA/Ah].
    ah : float
        Capacity of all strings together [Ah].
    hours : float
        How long it flows [h].
    """
    return cells * gas_ma_per_ah * 1e-3 * ah * hours * water_g_per_ah()


def air_m3_h(cells: int, gas_ma_per_ah: float, ah: float) -> float:
    """Return the air that carries the hydrogen of `cells` in series off [m3/h].

    Parameters
    ----------
    gas_ma_per_ah : float
        Gassing current of the table, its safety factor in it [mA/Ah].
    ah : float
        Rated capacity of all strings together [Ah].
    """
    return AIR_FACTOR * cells * gas_ma_per_ah * ah * 1e-3


def opening_cm2(air: float) -> float:
    """Return the free area of inlet and of outlet, each, through which that air goes by itself [cm2]."""
    return OPENING_CM2_PER_M3_H * air
