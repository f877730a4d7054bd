"""A real bank as the depth spectrum takes it: one efficiency and a steady leak, at a given size.

Sizes are usable kWh at the terminals at the mean draw, as the pages give them; so what is drawn counts in full, and
what is lost both ways stands in the charge efficiency.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.balance.depths import Constant, Spectrum, longest_away_h, net_kwh, spectrum
from engine.balance.leaking import Leaking, leaking
from engine.balance.winters import Winters
from engine.house.household import Supply
from engine.house.sizes import charge_efficiency, usable_kwh, with_strings
from engine.quantities import HOURS_PER_DAY, HOURS_PER_MONTH, WH_PER_KWH

Floats = NDArray[np.float64]

LONGEST_AWAY_DAYS = 366
"""A bank that is not full again within a year has no winters to count (judgement)."""


LEAST_W = 1.0
"""Taken where years of hours never draw on the bank at all [W] (judgement): its loss then matters to no answer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Equivalent:
    """One supply's cells over many years, as a bank of one efficiency and a leak.

    Attributes
    ----------
    power_w : float
        Mean draw at which usable kWh are read [W].
    bank : Constant
        Efficiency of a bank of `strings`.
    leak_w_per_kwh : float
        Self-discharge for each usable kWh [W].
    """

    winters: Winters
    power_w: float
    bank: Constant
    leak_w_per_kwh: float

    def spectrum(self, times: float, bank_kwh: float) -> Spectrum:
        """Return the drawdown cycles with so many times the panels and the leak of a bank of a size [kWh]."""
        return spectrum(self.net_kwh(times, bank_kwh))

    def net_kwh(self, times: float, bank_kwh: float) -> Floats:
        """Return the net energy of each hour [kWh], as `spectrum` takes it."""
        drawn_w = self.winters.drawn_w + self.leak_w_per_kwh * bank_kwh
        return net_kwh(self.winters.limited_sun_w(times), drawn_w, self.bank)

    def longest_away_days(self, times: float) -> float:
        """Return the longest time that a bank of any size stays short of full with so many times the panels [days]."""
        return longest_away_h(self.net_kwh(times, 0.0)) / HOURS_PER_DAY

    def refills(self, times: float) -> bool:
        """Whether so many times the panels fill any bank again within a year, so that its winters can be counted."""
        return self.longest_away_days(times) <= LONGEST_AWAY_DAYS

    def leaking(self, times: float, spells: int) -> Leaking:
        """Return the cycles of banks of any size, exact near the one that runs empty at most `spells` times."""
        tight = self.spectrum(times, 0.0)
        near_kwh = max(tight.bank_for_spells(spells), 1.0)
        leaky = self.spectrum(times, near_kwh) if self.leak_w_per_kwh else tight
        return leaking(tight, leaky, near_kwh)


def equivalent(supply: Supply, winters: Winters, power_w: float, strings: float) -> Equivalent:
    """Take a supply's cells as a bank of one efficiency, that of a number of strings under these years' powers.

    Charging and discharging powers are means weighted by themselves, because loss goes with their square.
    """
    over_w = winters.limited_sun_w(1.0) - winters.drawn_w
    bank = with_strings(supply.bank, strings)
    efficiency = charge_efficiency(bank, supply.inverter, _weighted_w(over_w), max(_weighted_w(-over_w), LEAST_W))
    one = with_strings(supply.bank, 1)
    leak_w = one.cell.self_discharge_per_month / HOURS_PER_MONTH * one.stored_kwh(0.0, 1.0) * WH_PER_KWH
    each_kwh = usable_kwh(supply.bank, supply.inverter, strings, power_w) / strings
    return Equivalent(
        winters=winters,
        power_w=power_w,
        bank=Constant(charge_efficiency=efficiency),
        leak_w_per_kwh=leak_w / each_kwh,
    )


def _weighted_w(power_w: Floats) -> float:
    """Mean of the powers above 0, weighted by themselves [W]."""
    positive = np.maximum(power_w, 0.0)
    return float((positive**2).sum() / max(positive.sum(), 1e-9))
