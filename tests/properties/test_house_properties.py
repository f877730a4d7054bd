"""What must hold for any load and any inverter."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from engine.errors import InputError
from engine.fields import quantities
from engine.house.inverter import LINEAR_LOSS, Inverter, losses_from_full_load
from engine.house.load_profile import Profile
from engine.house.load_shapes import house_shape, window_w
from engine.house.loads import KINDS, Load, daily_kwh, hourly_w, total

MONTHS = st.integers(1, 12)
POWER_W = st.floats(0.0, 20_000.0)
HOURS = st.floats(0.0, 24.0)


def within(kind: str, name: str) -> st.SearchStrategy[float]:
    """Any value a kind of load takes in one field."""
    asked = KINDS[kind].fields[name].quantity
    return st.floats(asked.low, asked.high)


def any_values(kind: str) -> st.SearchStrategy[dict[str, float]]:
    return st.fixed_dictionaries({}, optional={name: within(kind, name) for name in KINDS[kind].fields})


@st.composite
def profiles(draw: st.DrawFn) -> Profile:
    """Any profile: its days are one day times a factor for each month."""
    day_w = draw(st.lists(st.floats(0.0, 10_000.0), min_size=24, max_size=24))
    times = draw(st.lists(st.floats(0.0, 10.0), min_size=12, max_size=12))
    return Profile(month_w=tuple(tuple(watts * each for watts in day_w) for each in times))


@st.composite
def loads(draw: st.DrawFn, kind: str | None = None) -> Load:
    """Any load that is not refused."""
    kind = kind or draw(st.sampled_from(sorted(KINDS)))
    months = draw(st.sets(MONTHS, min_size=1))
    try:
        return Load(
            id="x",
            name="It",
            kind=kind,
            months=tuple(sorted(months)),
            values=draw(any_values(kind)),
            profile=draw(profiles()) if kind == "measured" else None,
        )
    except InputError:
        assume(False)
        raise


@st.composite
def inverters(draw: st.DrawFn) -> Inverter:
    asked = quantities(Inverter)
    rated_w = draw(st.floats(100.0, 50_000.0))
    losses = {name: draw(st.floats(asked[name].low, asked[name].high)) for name in ("k1", "k2")}
    idle_w = draw(st.floats(0.0, 500.0))
    return Inverter(id="x", name="It", dc_min_v=40, dc_max_v=60, restart_v=44, rated_w=rated_w, idle_w=idle_w, **losses)


# Loads ----------------------------------------------------------------------------------------


@given(power_w=POWER_W, start_h=HOURS, run_h=HOURS)
def test_a_window_holds_its_energy_wherever_it_starts(power_w, start_h, run_h):
    w = window_w(power_w, start_h, run_h)
    assert w.shape == (24,)
    assert w.sum() == pytest.approx(power_w * run_h, rel=1e-9, abs=1e-6)
    assert np.all((w >= 0.0) & (w <= power_w * (1.0 + 1e-12)))


@given(power_w=POWER_W, start=st.integers(0, 23), run_h=HOURS)
def test_a_later_start_only_turns_the_day(power_w, start, run_h):
    turned = np.roll(window_w(power_w, 0.0, run_h), start)
    assert window_w(power_w, float(start), run_h) == pytest.approx(turned, rel=1e-9, abs=1e-6)


@given(load=loads("house"), south=st.booleans())
def test_a_house_takes_the_energy_declared(load, south):
    assert daily_kwh(load, load.months[0], south) == pytest.approx(load.filled()["daily_kwh"], rel=1e-9, abs=1e-9)


@given(load=loads("timed"))
def test_a_timed_load_takes_power_by_hours(load):
    v = load.filled()
    assert daily_kwh(load, load.months[0]) == pytest.approx(v["power_w"] * v["run_h"] / 1000.0, rel=1e-9, abs=1e-9)


@given(load=loads("water"))
def test_hot_water_takes_its_heat_over_the_cop_or_what_is_known_of_it(load):
    v = load.filled()
    if v["daily_kwh"]:
        assert daily_kwh(load, load.months[0]) == pytest.approx(v["daily_kwh"], rel=1e-9)
        return
    heat_kwh = v["litres"] * 4.186 / 3600.0 * (v["hot_c"] - v["cold_c"]) + v["standing_kwh"]
    assert daily_kwh(load, load.months[0]) == pytest.approx(heat_kwh / v["cop"], rel=1e-9, abs=1e-9)


@given(load=loads("water"))
def test_a_heater_keeps_to_its_power_and_its_window(load):
    v = load.filled()
    w = hourly_w(load, load.months[0])
    assert w.max() <= v["heater_kw"] * 1000.0 * (1.0 + 1e-9)
    if v["run_h"]:
        assert not np.any(w[window_w(1.0, v["start_h"], v["run_h"]) == 0.0] > 1e-6 * v["heater_kw"])


@given(load=loads("car"))
def test_a_car_takes_its_distance(load):
    v = load.filled()
    wanted_kwh = v["distance_km"] / 100.0 * v["kwh_per_100km"] / v["charge_efficiency"]
    assert daily_kwh(load, load.months[0]) == pytest.approx(wanted_kwh, rel=1e-9, abs=1e-9)
    assert hourly_w(load, load.months[0]).max() <= v["charger_kw"] * 1000.0 * (1.0 + 1e-9)


@given(load=loads(), month=MONTHS, south=st.booleans())
def test_any_load_is_finite_and_rests_outside_its_months(load, month, south):
    w = hourly_w(load, month, south)
    assert w.shape == (24,)
    assert np.all(np.isfinite(w) & (w >= 0.0))
    if month not in load.months:
        assert not w.any()


@given(several=st.lists(loads(), max_size=4), month=MONTHS)
def test_the_total_is_the_sum_of_its_loads(several, month):
    each = sum(daily_kwh(load, month) for load in several)
    assert total(several, month, "ac").sum() / 1000.0 == pytest.approx(each, rel=1e-9, abs=1e-9)


@given(month=MONTHS)
def test_a_house_shape_sums_to_one_and_is_the_same_on_both_sides_of_midsummer(month):
    assert house_shape(month).sum() == pytest.approx(1.0, rel=1e-12)
    assert house_shape(month) == pytest.approx(house_shape((13 - month) % 12 + 1), rel=1e-9)


# Inverter -------------------------------------------------------------------------------------


@given(inverter=inverters(), share=st.floats(0.0, 1.0))
def test_what_is_drawn_gives_back_what_was_asked(inverter, share):
    ac_w = share * inverter.rated_w
    assert inverter.ac_w(inverter.dc_w(ac_w)) == pytest.approx(ac_w, rel=1e-9, abs=1e-9 * inverter.rated_w)


@given(inverter=inverters(), shares=st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)))
def test_more_load_never_draws_less_and_nothing_is_free(inverter, shares):
    low_w, high_w = (share * inverter.rated_w for share in sorted(shares))
    assert inverter.dc_w(low_w) <= inverter.dc_w(high_w)
    assert inverter.dc_w(high_w) >= high_w
    assert 0.0 <= inverter.efficiency(high_w) <= 1.0


@given(efficiency=st.floats(0.5, 1.0), idle_share=st.floats(0.0, 0.05), rated_w=st.floats(100.0, 50_000.0))
def test_losses_give_back_the_full_load_efficiency(efficiency, idle_share, rated_w):
    idle_w = idle_share * rated_w
    try:
        k1, k2 = losses_from_full_load(efficiency, idle_w, rated_w)
    except InputError:
        assert efficiency * (1.0 + idle_share) > 1.0 - 1e-12
        return
    inverter = Inverter(
        id="x",
        name="It",
        dc_min_v=40,
        dc_max_v=60,
        restart_v=44,
        rated_w=rated_w,
        idle_w=idle_w,
        k1=k1,
        k2=k2,
    )
    assert 0.0 <= k1 <= LINEAR_LOSS
    assert k2 >= 0.0
    assert inverter.efficiency(rated_w) == pytest.approx(efficiency, rel=1e-12)
