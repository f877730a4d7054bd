"""Banks on one bus keep their energy, their windows and Kirchhoff's laws, whatever stands on the bus."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from engine.balance.bus_plant import BusPlant, BusState, bus_plant
from engine.balance.bus_run import bus_run
from engine.balance.sharing import bus_step
from engine.house.bus import at_volts, shared_by_current, shared_by_power
from tests.engine.test_bus import INVERTER, LFP, NMC, SODIUM

BANKS = (LFP, SODIUM, NMC)
amps = st.floats(0.0, 300.0)


Spec = tuple[int, float, float, float, float]
specs = st.lists(
    st.tuples(
        st.integers(0, 2), st.floats(60.0, 600.0), st.floats(0.05, 0.4), st.floats(-3.0, 30.0), st.floats(0.0, 1.0)
    ),
    min_size=2,
    max_size=3,
)


def bus(spec: list[Spec], holds: bool, mean_w: float) -> tuple[BusPlant, BusState]:
    """Banks in any size and state: which of the three, label Ah, reserve, cell temperature, part of its window."""
    banks, socs = [], []
    for place, (which, ah, reserve, cell_c, part) in enumerate(spec):
        one = dataclasses.replace(
            BANKS[which], id=f"b{place}", label_ah=ah, reserve_soc=reserve, cell_c=cell_c, hold=holds
        )
        banks.append(one)
        socs.append(reserve + part * (0.98 - reserve))
    return bus_plant(banks, INVERTER, mean_w), BusState(tuple(socs))


@settings(max_examples=60, deadline=None)
@given(
    emf=st.lists(st.floats(40.0, 60.0), min_size=2, max_size=5),
    ohm=st.lists(st.floats(0.002, 0.2), min_size=5, max_size=5),
    low=st.lists(amps, min_size=5, max_size=5),
    high=st.lists(amps, min_size=5, max_size=5),
    share=st.floats(0.0, 1.0),
    eased=st.sampled_from([1.0, 0.4]),
)
def test_a_bus_current_is_divided_within_the_limits(
    emf: list[float], ohm: list[float], low: list[float], high: list[float], share: float, eased: float
) -> None:
    k = len(emf)
    least, most = [-a for a in low[:k]], high[:k]
    bus_a = (sum(least) + (sum(most) - sum(least)) * share) * 0.999
    if not sum(least) < bus_a < sum(most):
        return
    giving = [eased * r for r in ohm[:k]]
    shared = shared_by_current(emf, ohm[:k], least, most, bus_a, giving)
    assert sum(shared.amps) == pytest.approx(bus_a, abs=1e-6)
    for e, r, out, floor, top, current in zip(emf, ohm[:k], giving, least, most, shared.amps, strict=True):
        own = out if shared.volts < e else r
        assert current == pytest.approx(min(max((shared.volts - e) / own, floor), top), abs=1e-6)
    by_power = shared_by_power(emf, ohm[:k], least, most, bus_a * shared.volts, giving)
    if by_power is not None:
        assert by_power.volts * sum(by_power.amps) == pytest.approx(bus_a * shared.volts, abs=1e-6)


@settings(max_examples=150, deadline=None)
@given(
    emf=st.lists(st.floats(20.0, 60.0), min_size=1, max_size=4),
    ohm=st.lists(st.floats(0.002, 0.5), min_size=4, max_size=4),
    low=st.lists(st.sampled_from([0.0, 20.0, 50.0, 200.0]), min_size=4, max_size=4),
    high=st.lists(st.sampled_from([0.0, 50.0, 100.0]), min_size=4, max_size=4),
    asked_w=st.floats(-8000.0, -10.0),
    eased=st.sampled_from([1.0, 0.4]),
)
def test_a_power_is_met_at_the_highest_volts_that_give_it_or_at_none(
    emf: list[float], ohm: list[float], low: list[float], high: list[float], asked_w: float, eased: float
) -> None:
    network = emf, ohm[: len(emf)], [-a for a in low[: len(emf)]], high[: len(emf)]
    giving = [eased * r for r in network[1]]
    found = shared_by_power(*network, asked_w, giving)
    volts = np.linspace(0.0, 60.0, 6001)
    taken_w = np.array([v * sum(at_volts(*network, v, giving).amps) for v in volts.tolist()])
    if found is None:
        assert taken_w.min() > asked_w
    else:
        assert found.volts * sum(found.amps) == pytest.approx(asked_w, abs=1e-3)
        assert (taken_w[volts > found.volts + 1e-6] > asked_w).all()


@settings(max_examples=60, deadline=None)
@given(
    spec=specs,
    holds=st.booleans(),
    mean_w=st.floats(50.0, 1500.0),
    sun_w=st.floats(0.0, 6000.0),
    ac_w=st.floats(0.0, 6000.0),
)
@example(
    spec=[(0, 60.0, 0.125, 0.0, 0.5), (1, 60.0, 0.375, 0.0, 1e-5)], holds=False, mean_w=50.0, sun_w=0.0, ac_w=577.0
)  # the second begins to give late in a step, and has next to nothing
def test_in_every_step_the_banks_sum_to_the_bus_and_stay_in_their_windows(
    spec: list[Spec], holds: bool, mean_w: float, sun_w: float, ac_w: float
) -> None:
    b, state = bus(spec, holds, mean_w)
    left_h = 3.0
    for _ in range(400):
        after, flow, split = bus_step(b, state, sun_w, ac_w, 0.0, left_h)
        into_wh = flow.sun_wh - flow.served_wh - flow.inverter_loss_wh
        assert sum(split.into_wh) == pytest.approx(into_wh, abs=1e-6)
        assert sum(split.amps) * split.volts * flow.hours == pytest.approx(into_wh, abs=1e-6)
        for p, was, soc in zip(b.plants, state.socs, after.socs, strict=True):
            assert min(p.floor_soc, was) - 1e-6 <= soc <= max(p.top_soc, was) + 1e-6
        state, left_h = after, left_h - flow.hours
        if left_h <= 1e-9:
            return
    raise AssertionError("Three hours did not end in 400 steps.")


@settings(max_examples=25, deadline=None)
@given(spec=specs, holds=st.booleans(), seed=st.integers(0, 1000))
def test_energy_balances_within_a_tenth_of_a_percent(spec: list[Spec], holds: bool, seed: int) -> None:
    b, state = bus(spec, holds, 400.0)
    rng = np.random.default_rng(seed)
    hours = np.arange(72)
    sun = rng.uniform(0, 5000) * np.clip(np.sin((hours % 24 - 6) / 12 * np.pi), 0.0, None)
    loads = rng.uniform(0, 2500, hours.size)
    done = bus_run(b, state, sun.tolist(), loads.tolist(), [0.0] * hours.size)
    assert abs(done.totals.balance_error_share) < 1e-3


def test_three_banks_of_three_chemistries_keep_their_energy_over_a_year() -> None:
    hours = np.arange(365 * 24)
    bright = np.repeat(np.random.default_rng(7).gamma(1.2, 0.45, 365), 24)
    sun = 4500.0 * bright * np.clip(np.sin((hours % 24 - 6) / 12 * np.pi), 0.0, None)
    loads = 300.0 + 700.0 * (hours % 24 == 12) + 250.0 * (hours % 24 > 17)
    b = bus_plant(BANKS, INVERTER, 420.0)
    done = bus_run(b, BusState((0.6, 0.6, 0.6)), sun.tolist(), loads.tolist(), [0.0] * hours.size)
    assert abs(done.totals.balance_error_share) < 1e-3
    assert done.parted is not None
    gone = done.parted.into_wh.sum(axis=1)
    flows = done.sun_wh - done.served_wh - done.totals.inverter_loss_kwh * 1000.0 / hours.size
    assert gone.sum() == pytest.approx(flows.sum(), abs=1.0)
    assert (np.diff(done.parted.soc, axis=0) != 0.0).any(axis=0).all()
