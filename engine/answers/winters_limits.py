"""What real cells do that the depth spectrum leaves out, by name, and from which size on it no longer matters."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.balance.step import plant
from engine.balance.winters import Winters
from engine.house.household import Supply
from engine.house.sizes import usable_kwh, with_strings

LEAST_SPARED_SHARE = 0.98
"""Share of the hours' energy that a limit of power must let through not to matter (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One of them; `below_kwh` is the usable size under which it acts, None where it acts at every size."""

    code: str
    text: str
    below_kwh: float | None = None


def limits_of(supply: Supply, hours: Winters, power_w: float, times: float = 1.0) -> tuple[Limit, ...]:
    """Return what keeps these cells from being a bank of constant efficiency, the gravest first.

    Parameters
    ----------
    power_w : float
        Mean draw at which usable kWh are read [W].
    times : float
        Panels in times of the own.
    """
    one = with_strings(supply.bank, 1)
    p = plant(one, supply.inverter, power_w)
    string_w = one.series * one.ah * one.cell.v_nominal
    each_kwh = usable_kwh(supply.bank, supply.inverter, 1, power_w)
    over_w = hours.limited_sun_w(times) - hours.drawn_w
    found = []
    if p.acceptance_tau_h is not None:
        found.append(Limit(code="acceptance", text="These cells take charge ever more slowly as they fill."))
    if not p.holds:
        found.append(Limit(code="no-hold", text="Without a hold the charge ends sooner the stronger the sun is."))
    for code, what, watts, rate in (
        ("charge-current", "charging current", over_w, p.charge_c_max),
        ("discharge-current", "discharging current", -over_w, p.discharge_c_max),
    ):
        strings = _passing_w(np.maximum(watts, 0.0)) / (rate * string_w)
        found.append(
            Limit(
                code=code,
                text=f"Below this size the cells’ highest {what} binds.",
                below_kwh=strings * each_kwh,
            )
        )
    found.append(Limit(code="by-charge", text="Losses go with the charge, and a cut-off waits for its restart volts."))
    return tuple(found)


def _passing_w(watts: np.ndarray) -> float:
    """The limit of power that lets `LEAST_SPARED_SHARE` of the energy through [W]."""
    low, high, whole = 0.0, float(watts.max()), float(watts.sum())
    for _ in range(30):
        middle = 0.5 * (low + high)
        if np.minimum(watts, middle).sum() >= LEAST_SPARED_SHARE * whole:
            high = middle
        else:
            low = middle
    return high
