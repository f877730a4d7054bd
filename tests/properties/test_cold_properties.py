"""Colder cells never take more current, cold never gives energy, and the balance closes with every limit."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from engine.answers.cold import lifted, refused_kwh
from engine.answers.cold_bank import at_temperature
from engine.answers.heating import Heater, heated
from engine.balance.step import State, plant
from engine.balance.trajectory import run
from engine.balance.warmed import warmed_run
from engine.house.cold import allowed_charge_c, full_charge_c
from tests.engine.plants import SERIES, bank, inverter
from tests.engine.test_cold import days, house

chemistries = st.sampled_from(sorted(SERIES))
cold_a = st.none() | st.floats(0.0, 300.0)
temperature = st.floats(-25.0, 40.0)
day = st.lists(st.floats(0.0, 4000.0), min_size=24, max_size=24)


@settings(max_examples=200, deadline=None)
@given(chemistries, cold_a, st.floats(-10.0, 12.0), temperature, temperature)
def test_colder_never_takes_more_current(
    chemistry: str, amps: float | None, board_c: float, one_c: float, other_c: float
) -> None:
    plain = bank(chemistry, cold_charge_a=amps)
    board = plain.board and dataclasses.replace(plain.board, charge_min_c=board_c)
    guarded = dataclasses.replace(plain, board=board)
    colder, warmer = sorted((one_c, other_c))
    assert 0.0 <= allowed_charge_c(guarded, colder) <= allowed_charge_c(guarded, warmer) + 1e-12
    assert allowed_charge_c(guarded, warmer) <= full_charge_c(guarded)
    if colder < guarded.charge_min_c:
        assert allowed_charge_c(guarded, colder) == 0.0


@settings(max_examples=60, deadline=None)
@given(chemistries, temperature, temperature, st.floats(100.0, 2000.0))
def test_colder_never_holds_more_capacity(chemistry: str, one_c: float, other_c: float, drawn_w: float) -> None:
    colder, warmer = (at_temperature(bank(chemistry), inverter(), drawn_w, c) for c in sorted((one_c, other_c)))
    assert colder.capacity_share <= warmer.capacity_share + 1e-12
    assert colder.charge_a <= warmer.charge_a + 1e-9


@settings(max_examples=60, deadline=None)
@given(chemistries, st.floats(0.0, 1.0), day, day, st.floats(0.0, 80.0), st.floats(-10.0, 12.0))
def test_energy_is_conserved_with_the_limit(
    chemistry: str, soc: float, sun_w: list[float], load_w: list[float], amps: float, cell_c: float
) -> None:
    p = plant(bank(chemistry, cold_charge_a=amps, cell_c=cell_c), inverter(), 400.0)
    week = run(p, State(soc), sun_w, load_w, [0.0] * 24)
    assert abs(week.totals.balance_error_share) < 1e-3
    assert week.totals.served_kwh + week.totals.unserved_kwh == pytest.approx(sum(load_w) / 1000, abs=1e-6)
    assert week.totals.sun_kwh + week.totals.spare_kwh == pytest.approx(sum(sun_w) / 1000, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.0, 1.0), day, day, st.lists(st.floats(0.0, 0.5), min_size=24, max_size=24))
def test_energy_is_conserved_while_the_limit_moves(
    soc: float, sun_w: list[float], load_w: list[float], limits_c: list[float]
) -> None:
    p = plant(bank("lfp", cell_c=3.0), inverter(), 400.0)
    found = warmed_run(p, State(soc), sun_w, load_w, [50.0] * 24, limits_c)
    turnover = max(found.sun_kwh, found.served_kwh, abs(found.stored_change_kwh), 1e-12)
    left = found.sun_kwh - found.served_kwh - found.loss_kwh - found.stored_change_kwh
    assert abs(left) / turnover < 1e-3


@settings(max_examples=30, deadline=None)
@given(st.floats(-6.0, 14.0), st.floats(0.0, 60.0), st.floats(0.15, 1.0), st.sampled_from(["bright", "dull,bright"]))
def test_cold_never_gives_energy_and_less_current_refuses_no_less(
    cell_c: float, amps: float, soc: float, text: str
) -> None:
    """Cells that are held at their end volts: a lower limit never takes more sun, before anything is cut at nothing."""
    home = house(cell_c=cell_c, cold_charge_a=amps, hold=True)
    one = days(home, text, soc)
    assert lifted(one).run().totals.sun_kwh >= one.run().totals.sun_kwh - 1e-3
    less = days(house(cell_c=cell_c, cold_charge_a=amps / 2.0, hold=True), text, soc)
    assert refused_kwh(less) >= refused_kwh(one) - 1e-3 >= -1e-3


@settings(max_examples=25, deadline=None)
@given(st.floats(-10.0, 4.0), st.floats(5.5, 25.0), st.floats(0.0, 5.0), st.floats(5.0, 500.0), st.floats(300.0, 900.0))
@example(0.0, 6.0, 2.220446049250313e-16, 8.0, 300.0)
@example(0.0, 6.0, 5e-324, 8.0, 300.0)
def test_a_heater_stays_between_its_aim_and_the_cold(
    cell_c: float, to_c: float, loss: float, mass_kg: float, power_w: float
) -> None:
    heater = Heater(to_c=to_c, ambient_c=cell_c, mass_kg=mass_kg, loss_w_per_k=loss, power_w=power_w)
    found = heated(days(house(cell_c=cell_c)), heater)
    assert found.cell_c.min() >= cell_c
    assert found.cell_c.max() <= to_c + 1e-9
    assert 0.0 <= found.heater_w.min() <= found.heater_w.max() <= power_w
    warmed = mass_kg * 1000.0 * (found.cell_c[-1] - cell_c) / 3.6e6
    assert found.spent_kwh >= warmed - 1e-9
