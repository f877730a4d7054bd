"""How often a bank may run empty: never in these years, once in ten, five or every year, or a share unserved."""

from __future__ import annotations

from dataclasses import dataclass

from engine.balance.depths import Spectrum
from engine.balance.leaking import Leaking
from engine.fields import Quantity
from engine.sky.spells import LEAST_YEARS


@dataclass(frozen=True, slots=True, kw_only=True)
class Risk:
    """What is allowed: `years` between two dark spells (0: none at all), or a share of the load unserved [-]."""

    id: str
    years: int = 0
    share: float | None = None

    def spells(self, years: int) -> int:
        """Return how many dark spells are allowed in a number of years."""
        return years // self.years if self.years else 0

    def bank_kwh(self, cycles: Spectrum | Leaking, years: int, load_kwh: float) -> float:
        """Return the smallest bank for it [kWh] over so many years and this load."""
        if self.share is not None:
            return cycles.bank_for_short(self.share * load_kwh)
        return cycles.bank_for_spells(self.spells(years))


NEVER = "never"
SHARE = "share"
SHARE_FIELD = Quantity(
    label="Load that may go unserved", unit="%", low=0.0001, high=0.5, percent=True, hint="For the last line of the map"
)


def risks(years: int, share: float) -> tuple[Risk, ...]:
    """Return the risks that a number of years can tell, the rarest first."""
    often = (Risk(id=f"1in{n}", years=n) for n in sorted(LEAST_YEARS, reverse=True) if years >= LEAST_YEARS[n])
    return (Risk(id=NEVER), *often, Risk(id=SHARE, share=share))
