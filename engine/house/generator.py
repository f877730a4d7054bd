"""A generator with a charger: what it gives, what it burns, and when it may run.

Power is W at its sockets except `charger_w`, which is W into the bank; fuel is litres an hour, on a straight line
between no load and full load (the Willans line of engine textbooks, from memory); charges are shares of tested Ah;
its quiet hours are by the clock on the wall, 22.5 for 22:30, until `on_standard_clock` turns them.
Not modelled: warming up, starting surges, wear, height and heat, how much fuel is at hand.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Annotated, Any, ClassVar

from engine.errors import InputError
from engine.fields import check, quantity, whole_if_so
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sources import Source

LEAST_RISE_SOC = 0.05
"""A stop must lie this far above the start, or the engine would start and stop without end (judgement)."""

CHARGER_EFFICIENCY = 0.9
CHARGER_SOURCE = Source(kind="typical, from memory", text="battery chargers fed with AC, 0.85 to 0.95")


MOST_KWH_PER_LITRE = 10.0
"""Heat in a litre of diesel, petrol holds less (typical, from memory): no engine gives more than a litre holds."""

_SLIVER_H = 1e-9
"""A part of an hour shorter than this is none."""


class _WrittenPlain:
    """Writes a whole hour into the document as the whole number it always was there: 22, not 22.0."""

    def __get_pydantic_core_schema__(self, source: Any, handler: Callable[[Any], dict[str, Any]]) -> dict[str, Any]:
        return {**handler(source), "serialization": {"type": "function-plain", "function": whole_if_so}}


@dataclass(frozen=True, slots=True, kw_only=True)
class Generator:
    """A generator that carries the sockets of one inverter and charges its bank with the rest."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    id: str
    name: str
    inverter: str = ""
    by_itself: bool = False
    rated_w: float = quantity(
        "Continuous power",
        "W",
        50,
        1_000_000,
        hint="The continuous watts on its type plate, not the peak; small petrol sets 1,000 to 3,000 (typical, from "
        "memory)",
    )
    charger_w: float = quantity(
        "Its charger gives",
        "W",
        0,
        1_000_000,
        hint="Into the bank: charging amps × pack volts; 0 if it charges nothing. Often a third to two thirds of the "
        "continuous power (typical, from memory)",
    )
    charger_efficiency: float = quantity(
        "Efficiency of that charger",
        "%",
        0.3,
        1.0,
        default=CHARGER_EFFICIENCY,
        percent=True,
        hint="From its data sheet; 90 % is a usual value",
    )
    full_l_per_h: float = quantity(
        "Fuel at full load",
        "l/h",
        0,
        1000,
        hint="From its data sheet; or fill up, run it loaded, let it cool, fill up again. A small petrol set burns "
        "about 0.45 to 0.6 l/h for each kW, diesel 0.3 to 0.4 l/h (typical, from memory)",
    )
    idle_l_per_h: float = quantity(
        "Fuel at no load",
        "l/h",
        0,
        1000,
        hint="Running with nothing switched on; often a quarter to a third of full (typical, from memory)",
    )
    start_soc: float = quantity(
        "Start at a charge of", "%", 0.0, 0.95, percent=True, hint="Of tested Ah, as the bank monitor shows it"
    )
    stop_soc: float = quantity(
        "Stop at a charge of", "%", 0.05, 1.0, percent=True, hint="The last tenth charges slowly and burns much"
    )
    least_run_h: float = quantity(
        "Shortest run", "h", 0, 24, default=0.5, hint="An engine that never gets warm does not last"
    )
    quiet_from_h: Annotated[float, _WrittenPlain()] = quantity(
        "Quiet from",
        "o’clock",
        0,
        24,
        default=0,
        halves=True,
        clock=True,
        hint="It may not run from then on, by the clock on the wall; 22:30 or 22.5",
    )
    quiet_to_h: Annotated[float, _WrittenPlain()] = quantity(
        "Quiet until",
        "o’clock",
        0,
        24,
        default=0,
        halves=True,
        clock=True,
        hint="The same time in both: it may always run",
    )

    def __post_init__(self) -> None:
        check(self)
        if self.stop_soc < self.start_soc + LEAST_RISE_SOC - 1e-9:
            raise InputError(
                "stop_soc",
                f"Stop at a charge of must be at least {LEAST_RISE_SOC * 100:g} points above the start, "
                f"{self.start_soc * 100:g} %; got {self.stop_soc * 100:g} %.",
            )
        if self.rated_w > MOST_KWH_PER_LITRE * WH_PER_KWH * self.full_l_per_h:
            raise InputError(
                "full_l_per_h",
                f"Fuel at full load must be at least {self.rated_w / WH_PER_KWH / MOST_KWH_PER_LITRE:.2g} l/h for "
                f"{self.rated_w:,.0f} W, as a litre holds about {MOST_KWH_PER_LITRE:g} kWh; "
                f"got {self.full_l_per_h:g} l/h.",
            )
        if self.idle_l_per_h > self.full_l_per_h:
            raise InputError(
                "idle_l_per_h",
                f"Fuel at no load must be at most that at full load, {self.full_l_per_h:g} l/h; "
                f"got {self.idle_l_per_h:g} l/h.",
            )
        if self.quiet_hours >= HOURS_PER_DAY:
            raise InputError("quiet_to_h", "Quiet hours from 0 to 24 o’clock leave no hour in which it may run.")

    @property
    def quiet_hours(self) -> float:
        """Hours of a day in which it may not run."""
        if self.quiet_from_h <= self.quiet_to_h:
            return self.quiet_to_h - self.quiet_from_h
        return HOURS_PER_DAY - self.quiet_from_h + self.quiet_to_h

    def on_standard_clock(self, ahead_h: float) -> Generator:
        """Return the same generator with its quiet hours by standard time, in which the engine steps.

        Parameters
        ----------
        ahead_h : float
            By how much the clock on the wall is ahead of standard time [h].

        Examples
        --------
        >>> night = Generator(id="g", name="G", rated_w=2000, charger_w=1000, full_l_per_h=1, idle_l_per_h=0.3,
        ...     start_soc=0.3, stop_soc=0.8, quiet_from_h=22, quiet_to_h=0.5)
        >>> summer = night.on_standard_clock(1.0)
        >>> summer.quiet_from_h, summer.quiet_to_h, summer.quiet_hours
        (21.0, 23.5, 2.5)
        """
        return replace(
            self,
            quiet_from_h=(self.quiet_from_h - ahead_h) % HOURS_PER_DAY,
            quiet_to_h=(self.quiet_to_h - ahead_h) % HOURS_PER_DAY,
        )

    def is_quiet(self, hour: float) -> bool:
        """Whether it may not run at a moment of the day, `hour` from 0 to under 24 [h].

        Examples
        --------
        >>> night = Generator(id="g", name="G", rated_w=2000, charger_w=1000, full_l_per_h=1, idle_l_per_h=0.3,
        ...     start_soc=0.3, stop_soc=0.8, quiet_from_h=22, quiet_to_h=7)
        >>> [hour for hour in range(24) if night.is_quiet(hour)], night.quiet_hours
        ([0, 1, 2, 3, 4, 5, 6, 22, 23], 9)
        """
        if self.quiet_from_h <= self.quiet_to_h:
            return self.quiet_from_h <= hour < self.quiet_to_h
        return not self.quiet_to_h <= hour < self.quiet_from_h

    def stretches(self, hour: int, hours: float) -> tuple[tuple[float, bool], ...]:
        """Cut the last `hours` [h] of an hour of the day, 0..23, where quiet time begins or ends inside it.

        Returns
        -------
        tuple of (float, bool)
            Length [h] of each part and whether it is quiet, in order.

        Examples
        --------
        >>> late = Generator(id="g", name="G", rated_w=2000, charger_w=1000, full_l_per_h=1, idle_l_per_h=0.3,
        ...     start_soc=0.3, stop_soc=0.8, quiet_from_h=22.5, quiet_to_h=7)
        >>> late.stretches(22, 1.0), late.stretches(22, 0.75), late.stretches(6, 1.0)
        (((0.5, False), (0.5, True)), ((0.25, False), (0.5, True)), ((1.0, True),))
        """
        end_h = hour + 1
        turns = sorted({self.quiet_from_h, self.quiet_to_h} if self.quiet_hours else ())
        cuts_h = [end_h - turn for turn in turns if hour < turn < end_h and end_h - turn < hours - _SLIVER_H]
        found, left_h = [], hours
        for after_h in (*cuts_h, 0.0):
            found.append((left_h - after_h, self.is_quiet(end_h - 0.5 * (left_h + after_h))))
            left_h = after_h
        return tuple(found)

    def litres(self, given_wh: float, hours: float) -> float:
        """Fuel burnt [l] while `given_wh` [Wh] is given in `hours` [h] of running.

        Examples
        --------
        >>> small = Generator(id="g", name="G", rated_w=2000, charger_w=1000, full_l_per_h=1.2, idle_l_per_h=0.4,
        ...     start_soc=0.3, stop_soc=0.8)
        >>> small.litres(0.0, 2.0), small.litres(4000.0, 2.0), round(small.litres(2000.0, 2.0), 6)
        (0.8, 2.4, 1.6)
        """
        return self.idle_l_per_h * hours + (self.full_l_per_h - self.idle_l_per_h) * given_wh / self.rated_w

    def charging_w(self, carried_w: float) -> float:
        """Most its charger can put into the bank [W] beside `carried_w` [W] at the sockets."""
        return min(self.charger_w, (self.rated_w - carried_w) * self.charger_efficiency)
