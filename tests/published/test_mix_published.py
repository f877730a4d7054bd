"""The days a month is made of, against the closed form printed for the same distribution."""

from __future__ import annotations

import math

import numpy as np
import pytest

from engine.sky.mix import LEAST_KT, day_mix, highest_kt, steepness


@pytest.mark.parametrize("mean_kt", [0.3, 0.4, 0.5, 0.6])
def test_steepness_against_herzogs_closed_form(mean_kt: float) -> None:
    # Herzog's closed form in Duffie and Beckman, Solar Engineering of Thermal Processes, section 2.9 (from memory):
    # gamma = -1.498 + (1.184 xi - 27.182 exp(-1.5 xi)) / (Kmax - Kmin). It is a fit: within about 2 % of the exact
    # root for mean Kt 0.3 to 0.65, or 0.05 where the root passes through 0 near 0.39.
    most = highest_kt(mean_kt)
    xi = (most - LEAST_KT) / (most - mean_kt)
    herzog = -1.498 + (1.184 * xi - 27.182 * math.exp(-1.5 * xi)) / (most - LEAST_KT)
    assert steepness(mean_kt, LEAST_KT, most) == pytest.approx(herzog, rel=0.025, abs=0.05)


@pytest.mark.parametrize("mean_kt", [0.12, 0.25, 0.391, 0.55, 0.7])
def test_the_days_have_the_mean_they_are_made_for(mean_kt: float) -> None:
    # Definition. Twenty days stand for the whole distribution: the middle of each twentieth, so within 0.002.
    days = day_mix(mean_kt)
    assert days.mean() == pytest.approx(mean_kt, abs=0.002)
    assert day_mix(mean_kt, n=5000).mean() == pytest.approx(mean_kt, abs=2e-6)
    assert np.all(np.diff(days) > 0.0)
    assert days[0] > LEAST_KT
    assert days[-1] < highest_kt(mean_kt)


def test_clearest_day_of_a_month() -> None:
    # Hollands and Huget 1983 as printed in the design notes: 0.6313 + 0.267 K - 11.9 (K - 0.75)^8; at K = 0.75 by hand.
    assert highest_kt(0.75) == pytest.approx(0.6313 + 0.267 * 0.75, abs=1e-12)
