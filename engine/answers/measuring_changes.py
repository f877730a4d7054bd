"""A household with one number of it as it was measured: another idle draw, another capacity, another dull day."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from datetime import datetime

from engine.answers.measuring import Lasts, Measured, lasting_h
from engine.errors import InputError, Unreachable
from engine.house.household import Household


def with_idle(household: Household, inverter_id: str, idle_w: float) -> Household:
    """The household with another idle draw of an inverter [W]."""
    inverters = tuple(
        dataclasses.replace(one, idle_w=idle_w) if one.id == inverter_id else one for one in household.inverters
    )
    return dataclasses.replace(household, inverters=inverters)


def with_tested(household: Household, bank_id: str, tested_ah: float) -> Household:
    """The household with another tested capacity of one cell of a bank, as at 25 degC [Ah]."""
    banks = tuple(
        dataclasses.replace(bank, tested_ah=tested_ah, tested_c=None) if bank.id == bank_id else bank
        for bank in household.banks
    )
    return dataclasses.replace(household, banks=banks)


def with_dull_day(household: Household, kwh: float, month: int) -> Household:
    """The household with another dull day of its own [kWh]."""
    sun = dataclasses.replace(household.sun, dull_day_kwh=kwh, dull_day_month=month)
    return dataclasses.replace(household, sun=sun)


def lasts(
    household: Household, bank_id: str, at: datetime, result: Measured, changed: Callable[[float], Household]
) -> Lasts | None:
    """Return how long the bank lasts now and with a result; None where the household gives no answer.

    Parameters
    ----------
    changed : callable
        Takes a value in the result's unit and returns the household with it.
    """

    def hours(value: float) -> float | None:
        return lasting_h(changed(value), bank_id, at)

    try:
        return Lasts(
            now=lasting_h(household, bank_id, at),
            then=hours(result.value),
            low=hours(result.low),
            high=hours(result.high),
        )
    except (Unreachable, InputError):
        return None
