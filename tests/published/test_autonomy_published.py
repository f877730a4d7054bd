"""Autonomy as the standards define it.

AS/NZS 4509.2:2010, as quoted at gses.com.au/oversized-pv-array-and-battery-days (read): autonomy is the number
of days of operation without energy input from generators before exceeding the design maximum depth of discharge.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.balance.step import State, plant
from engine.balance.trajectory import run
from engine.house.bank import delivered
from tests.engine.plants import SERIES, bank, inverter


@pytest.mark.parametrize("chemistry", SERIES)
@pytest.mark.parametrize("load_w", [200.0, 1200.0])
def test_no_sun_autonomy_is_usable_energy_over_load(chemistry: str, load_w: float) -> None:
    # The definition, exactly: usable kWh between the charge now and the reserve, over the steady DC load. The
    # tolerance is the trajectory's own step (half a percent is what it promises; a tenth of that is met).
    drawn_w = inverter().dc_w(load_w)
    pack = bank(chemistry, cell_c=20, reserve_soc=0.4)
    p = plant(pack, inverter(), drawn_w)
    p_still = run(p, State(0.9), [0.0] * 3000, [load_w] * 3000, [0.0] * 3000, until_ended=True)
    leak_share = pack.cell.self_discharge_per_month / (24 * 365.25 / 12) * (p_still.ended_h or 0.0) / 0.5
    usable_kwh, _ = delivered(pack, 0.9, p.floor_soc, drawn_w)
    assert p_still.ended_by == "reserve"
    assert p_still.ended_h == pytest.approx(usable_kwh * 1000 / drawn_w, rel=5e-4 + leak_share)


@pytest.mark.parametrize("sun_w", [0.0, 50.0, 150.0])
def test_any_sun_makes_it_at_least_that(sun_w: float) -> None:
    # Same page: even on cloudy days some irradiation remains.
    p = plant(bank("lfp"), inverter(), 600.0)
    dark = run(p, State(0.9), [0.0] * 500, [500.0] * 500, [0.0] * 500, until_ended=True).ended_h
    lit = run(p, State(0.9), [sun_w] * 500, [500.0] * 500, [0.0] * 500, until_ended=True).ended_h
    assert (lit or np.inf) >= (dark or 0.0)
