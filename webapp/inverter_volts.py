"""Cut-off and restart for who cannot find them: what Commissioning proposes for the bank, else usual ones."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from engine.answers.charging import charging
from engine.house.bank import Bank
from engine.house.household import Household
from engine.house.inverter import Inverter

CUTOFF_PER_12_V = 10.5
"""Usual cut-off for each 12 V of nominal volts [V] (typical, from memory)."""
RESTART_PER_12_V = 12.5
"""Usual restart for each 12 V of nominal volts [V] (typical, from memory)."""
NOMINAL_V = {12.0: 20.0, 24.0: 40.0, 48.0: 80.0}
"""Nominal volts, and up to which highest DC volts an inverter is taken for one of them (typical, from memory)."""
USUAL = (
    f"{CUTOFF_PER_12_V:g} and {RESTART_PER_12_V:g} V for each 12 V of nominal volts (typical, from memory), "
    f"so {4 * CUTOFF_PER_12_V:g} and {4 * RESTART_PER_12_V:g} V at 48 V"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualVolts:
    """Pack volts to be taken where nothing is typed, and where they are from; None where nobody can say."""

    cutoff_v: float | None
    restart_v: float | None
    source: str


def usual_volts(
    house: Household, inverter: Inverter | None, highest_v: float | None, lowest_v: float | None, month: int
) -> UsualVolts:
    """Return cut-off and restart for an inverter, of a household's or a new one.

    Parameters
    ----------
    inverter : Inverter or None
        None for one that is being added: the only bank is then joined to it.
    highest_v, lowest_v : float or None
        Its span of DC volts as typed [V], where it is.
    month : int
        Month of the loads, 1..12.
    """
    banks = _banks(house, inverter)
    if banks:
        proposed = [_proposed(house, bank, month) for bank in banks]
        cutoff_v = max((cut for cut, _ in proposed if cut is not None), default=None)
        restart_v = max((restart for _, restart in proposed if restart is not None), default=None)
        names = " and ".join(bank.name for bank in banks)
        return _within(cutoff_v, restart_v, f"as Commissioning proposes for {names}", lowest_v)
    nominal_v = next((volts for volts, most in NOMINAL_V.items() if highest_v is not None and highest_v <= most), None)
    if nominal_v is None:
        return UsualVolts(cutoff_v=None, restart_v=None, source="")
    times = nominal_v / 12.0
    source = f"usual for {nominal_v:g} V nominal (typical, from memory)"
    return _within(CUTOFF_PER_12_V * times, RESTART_PER_12_V * times, source, lowest_v)


def _within(cutoff_v: float | None, restart_v: float | None, source: str, lowest_v: float | None) -> UsualVolts:
    """The same with a cut-off that the inverter can be set to."""
    if cutoff_v is not None and lowest_v is not None:
        cutoff_v = max(cutoff_v, lowest_v)
    return UsualVolts(cutoff_v=_tenths(cutoff_v), restart_v=_tenths(restart_v), source=source)


def _tenths(volts: float | None) -> float | None:
    return None if volts is None else round(volts, 1)


def _banks(house: Household, inverter: Inverter | None) -> tuple[Bank, ...]:
    if inverter is not None:
        return tuple(bank for bank in house.banks if bank.inverter == inverter.id)
    return house.banks if len(house.banks) == 1 and not house.banks[0].inverter else ()


def _proposed(house: Household, bank: Bank, month: int) -> tuple[float | None, float | None]:
    """Cut-off and restart of one bank, by its cells and its board [V of the pack]."""
    answer = charging(house, bank, None, cell_v=bank.charge_end_cell_v, hold=bank.hold, month=month)
    found: Mapping[str, float | None] = {one.key: one.pack_v for one in answer.settings}
    return found["cutoff"], found["restart"]
