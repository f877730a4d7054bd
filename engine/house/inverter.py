"""What an inverter draws from the bank for what it gives at the sockets.

Power is W on both sides, volts are of the whole pack at the inverter's DC terminals, efficiencies are
fractions. The draw is `idle_w + (1 + k1) ac_w + k2 ac_w^2 / rated_w`: a steady draw whenever the
inverter is on, a loss in step with the power, and a loss that grows with its square.
Not modelled: a sleep mode, the change of losses with DC volts or temperature, overload and start-up surges.

References
----------
A. P. Dobos, PVWatts Version 5 Manual, NREL/TP-6A20-62641 (2014): its inverter curve has this form.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar, TypeVar

import numpy as np
from numpy.typing import NDArray

from engine.errors import InputError
from engine.fields import Quantity, check, quantities, quantity
from engine.sources import Source

Power = TypeVar("Power", float, NDArray[np.float64])

LINEAR_LOSS = 0.02
"""Loss in step with the power, used where only the full-load efficiency is known (typical, from memory;
the fit to the PVWatts version 5 curve gives 0.018)."""

FULL_LOAD_EFFICIENCY = Quantity(
    label="Full-load efficiency",
    unit="%",
    low=0.5,
    high=1.0,
    percent=True,
    hint="In the inverter's data sheet: efficiency at rated power, not the peak efficiency",
)
"""What a form asks for in place of the two loss factors."""


PROPOSED = ("dc_min_v", "restart_v")
"""Volts that are proposed where somebody cannot find them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Inverter:
    """An inverter: the pack volts it works in, what it can give and what it loses.

    `proposed` names those of `PROPOSED` that nobody typed: they were proposed for the bank as it was then.
    """

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    id: str
    name: str
    dc_min_v: float = quantity(
        "Low-voltage cut-off",
        "V",
        5,
        1000,
        hint="Pack volts under load at which it switches off: “low battery cut-off” in its menu",
    )
    dc_max_v: float = quantity(
        "Highest DC volts", "V", 6, 1500, hint="Top of the battery voltage range in its data sheet"
    )
    restart_v: float = quantity(
        "Restart volts",
        "V",
        5,
        1500,
        hint="Pack volts at which it switches on again: “restart” or “reconnect” in its menu",
    )
    rated_w: float = quantity(
        "Continuous power",
        "W",
        10,
        1_000_000,
        hint="The continuous watts on its type plate, not the surge figure",
    )
    idle_w: float = quantity(
        "Idle draw",
        "W",
        0,
        5000,
        hint="“No-load consumption” in its data sheet; or the battery meter with every load switched off",
    )
    k1: float = quantity(
        "Loss in step with power",
        "W per W",
        0,
        1,
        hint="Worked out from the full-load efficiency in the data sheet",
    )
    k2: float = quantity(
        "Loss with the square of power",
        "W per W",
        0,
        1,
        hint="Worked out from the full-load efficiency in the data sheet",
    )
    charge_limit_a: float | None = quantity(
        "Highest charging current",
        "A",
        0.5,
        5000,
        default=None,
        optional=True,
        hint="Highest battery current of its solar charger, from its data sheet; empty if there is no limit",
    )
    absorb_max_v: float | None = quantity(
        "Highest charge setting",
        "V",
        5,
        1500,
        default=None,
        optional=True,
        hint="Highest absorption volts its charger can be set to; empty if up to its highest DC volts",
    )
    lowest_v: float | None = quantity(
        "Lowest DC volts",
        "V",
        5,
        1000,
        default=None,
        optional=True,
        hint="Bottom of the battery voltage range in its data sheet: how low the cut-off may be set",
    )

    proposed: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check(self)
        if unknown := [name for name in self.proposed if name not in PROPOSED]:
            text = f"Proposed volts must be among {', '.join(PROPOSED)}; got “{unknown[0]}”."
            raise InputError("proposed", text)
        if not self.dc_min_v < self.dc_max_v:
            raise InputError(
                "dc_max_v",
                f"Highest DC volts must be above the low-voltage cut-off, {self.dc_min_v:g} V; "
                f"got {self.dc_max_v:g} V.",
            )
        if not self.dc_min_v < self.restart_v <= self.dc_max_v:
            raise InputError(
                "restart_v",
                f"Restart volts must be above the low-voltage cut-off, {self.dc_min_v:g} V, and at most "
                f"the highest DC volts, {self.dc_max_v:g} V; got {self.restart_v:g} V.",
            )
        if self.absorb_max_v is not None and not self.dc_min_v < self.absorb_max_v <= self.dc_max_v:
            raise InputError(
                "absorb_max_v",
                f"Highest charge setting must be above the low-voltage cut-off, {self.dc_min_v:g} V, and at most "
                f"the highest DC volts, {self.dc_max_v:g} V; got {self.absorb_max_v:g} V.",
            )
        if self.lowest_v is not None and not self.lowest_v <= self.dc_min_v:
            raise InputError(
                "lowest_v",
                f"Lowest DC volts must be at most the low-voltage cut-off, {self.dc_min_v:g} V; "
                f"got {self.lowest_v:g} V.",
            )

    @property
    def charge_max_v(self) -> float:
        """Highest pack volts its charger can be set to: its highest charge setting, else its highest DC volts [V]."""
        return self.dc_max_v if self.absorb_max_v is None else self.absorb_max_v

    def dc_w(self, ac_w: Power) -> Power:
        """Power drawn from the bank [W] while `ac_w` [W, >= 0, number or array] is given at the sockets."""
        return self.idle_w + (1.0 + self.k1) * ac_w + self.k2 * ac_w * ac_w / self.rated_w

    def ac_w(self, dc_w: float) -> float:
        """Power at the sockets [W] when `dc_w` [W] is drawn from the bank; 0 when that is below idle."""
        spare_w = dc_w - self.idle_w
        if spare_w <= 0.0:
            return 0.0
        slope = 1.0 + self.k1
        return 2.0 * spare_w / (slope + math.sqrt(slope * slope + 4.0 * self.k2 * spare_w / self.rated_w))

    def efficiency(self, ac_w: float) -> float:
        """Share of the power drawn from the bank that reaches the sockets at `ac_w` [W]; 0 at no load."""
        return ac_w / self.dc_w(ac_w) if ac_w > 0.0 else 0.0


def losses_from_full_load(efficiency: float, idle_w: float, rated_w: float) -> tuple[float, float]:
    """Work out both loss factors from the full-load efficiency in a data sheet.

    Parameters
    ----------
    efficiency : float
        Sockets over battery at rated power [-], idle draw included.
    idle_w : float
        Draw at no load [W].
    rated_w : float
        Continuous power [W].

    Returns
    -------
    (k1, k2) : tuple of float
        Factors of `Inverter` [-] that give exactly this efficiency at rated power.

    Raises
    ------
    InputError
        If a number is outside its limits, or the idle draw alone costs more than the efficiency allows.

    Notes
    -----
    k1 is `LINEAR_LOSS`, or all of the loss where less than that is left beside the idle draw.

    Examples
    --------
    >>> k1, k2 = losses_from_full_load(0.94, idle_w=30.0, rated_w=5000.0)
    >>> round(k1, 4), round(k2, 4)
    (0.02, 0.0378)
    """
    asked = quantities(Inverter)
    for field, meaning, value in (
        ("efficiency", FULL_LOAD_EFFICIENCY, efficiency),
        ("idle_w", asked["idle_w"], idle_w),
        ("rated_w", asked["rated_w"], rated_w),
    ):
        if (text := meaning.refuse(value)) is not None:
            raise InputError(field, text)
    loss = 1.0 / efficiency - 1.0 - idle_w / rated_w
    if not loss >= 0.0:
        raise InputError(
            "efficiency",
            f"Full-load efficiency cannot be {efficiency * 100:g} %: an idle draw of {idle_w:g} W of "
            f"{rated_w:g} W alone leaves {100 / (1 + idle_w / rated_w):.1f} %.",
        )
    k1 = min(LINEAR_LOSS, loss)
    return k1, loss - k1


def suggested_losses(rated_w: float) -> dict[str, tuple[float, Source]]:
    """Offer an idle draw [W] and a full-load efficiency [-] to a person who has no data sheet.

    Returns
    -------
    dict
        Value and source under ``idle_w`` and ``efficiency``.
    """
    idle = Source(
        kind="published",
        text="0.63 % of rated power, from the PVWatts version 5 inverter curve (NREL/TP-6A20-62641, 2014)",
    )
    full = Source(kind="typical, from memory", text="battery inverters of 12 to 48 V at rated power")
    return {"idle_w": (0.0063 * rated_w, idle), "efficiency": (0.94, full)}
