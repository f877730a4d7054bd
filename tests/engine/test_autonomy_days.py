"""Days of autonomy: its own worked lines, printed sums, and what days without sun must give."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.answers.autonomy_days import Steps, as_dark_days, autonomy_days, steps_of
from engine.answers.winters import fitted
from engine.house.bank import delivered
from engine.house.sizes import with_strings
from tests.engine.plants import IDEAL, bank
from tests.engine.test_winters import DECEMBER, example, fit_of, ideal, series_of

shares = st.floats(0.1, 1.0)


@given(st.integers(1, 14), st.floats(0.5, 60.0), shares, shares, shares, st.floats(1.0, 1.5))
def test_rule_is_its_worked_lines(
    days: int, daily_kwh: float, depth: float, cold: float, end: float, margin: float
) -> None:
    steps = Steps(
        days=days, daily_kwh=daily_kwh, depth_share=depth, cold_share=cold, end_of_life_share=end, margin=margin
    )
    values = [line.value for line in steps.worked()]
    assert values[0] == pytest.approx(days * daily_kwh)
    for value, before, factor in zip(values[1:], values, (1 / depth, 1 / cold, 1 / end, margin), strict=False):
        assert value == pytest.approx(before * factor)
    assert values[-1] == steps.label_kwh


def test_a_day_of_15750_watt_hours_at_half_depth_and_15_percent_margin() -> None:
    # solarforu.ca, “Led Acid Batteries”, read in a stored copy: 15,750 Wh at 48 V, depth 50 %, losses 15 %: 754.4 Ah
    # from 328 Ah, which it rounds down from 328.1.
    steps = Steps(days=1, daily_kwh=15.75, depth_share=0.5, cold_share=1.0, end_of_life_share=1.0, margin=1.15)
    assert steps.label_kwh * 1000 / 48 == pytest.approx(754.4, abs=0.3)


def test_without_sun_the_days_are_usable_energy_over_load() -> None:
    # Autonomy as AS/NZS 4509.2:2010 defines it: days before the design depth is passed, without a generator.
    ideal_bank = bank(IDEAL, reserve_soc=0.2, board=None)
    power_w = 500.0
    steps = dataclasses.replace(steps_of(ideal_bank, power_w, 3.0), end_of_life_share=1.0, margin=1.0)
    built = with_strings(ideal_bank, steps.label_kwh / ideal_bank.label_kwh * ideal_bank.parallel)
    kwh, hours = delivered(built, built.top_reached_soc, 0.2, power_w)
    assert hours / 24 == pytest.approx(3.0, rel=1e-6)
    assert kwh == pytest.approx(steps.dark_kwh)


@given(st.integers(1, 21), st.floats(0.1, 50.0))
def test_constant_sun_counts_for_no_dark_day_and_dark_days_for_themselves(days: int, daily_kwh: float) -> None:
    # Equivalent no-sun days of NASA POWER, their two ends.
    assert as_dark_days(np.full(60, daily_kwh), days) == pytest.approx(0.0, abs=1e-9)
    dark = np.full(400, daily_kwh)
    dark[100 : 100 + days] = 0.0
    assert as_dark_days(dark, days) == pytest.approx(days)


@pytest.mark.parametrize("days", [1, 3, 7])
def test_rule_stands_beside_the_winters_with_its_reasons(days: int) -> None:
    told = autonomy_days(fit_of(example(), 30), days)
    assert told.worked[-1].value == told.steps.label_kwh
    assert told.longest_away_days > 60
    assert "season" in told.reasons[0]
    assert told.winters_label_kwh is not None
    assert told.winters_label_kwh > 10 * told.steps.label_kwh / days
    assert 0.0 < told.dullest_as_dark_days < days


def test_with_panels_enough_the_rule_can_ask_for_more_than_the_winters() -> None:
    home = ideal()
    arrays = tuple(dataclasses.replace(array, kwp=40.0) for array in home.sun.arrays)
    rich = dataclasses.replace(home, sun=dataclasses.replace(home.sun, arrays=arrays, dull_day_kwh=None))
    told = autonomy_days(fitted(rich, rich.supplies()[0], series_of(rich, 10), DECEMBER), 5)
    assert told.winters_label_kwh is not None
    assert told.winters_label_kwh < told.steps.label_kwh
    assert not any("season" in reason for reason in told.reasons)
