"""An inverter refuses what cannot be, and its losses add up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from engine.errors import InputError
from engine.fields import quantities
from engine.house.inverter import Inverter, losses_from_full_load, suggested_losses

H = Inverter(
    id="main",
    name="Inverter",
    dc_min_v=40.0,
    dc_max_v=60.0,
    restart_v=44.0,
    rated_w=5000.0,
    idle_w=40.0,
    k1=1 / 0.93 - 1,
    k2=0.0,
)


def test_a_plain_inverter_draws_load_over_efficiency_plus_idle():
    assert H.dc_w(300.0) == pytest.approx(300.0 / 0.93 + 40.0, rel=1e-12)
    assert H.ac_w(300.0 / 0.93 + 40.0) == pytest.approx(300.0, rel=1e-12)


def test_nothing_reaches_the_sockets_below_the_idle_draw():
    assert H.dc_w(0.0) == 40.0
    assert H.ac_w(40.0) == 0.0
    assert H.ac_w(10.0) == 0.0
    assert H.efficiency(0.0) == 0.0


def test_a_series_of_loads_gives_the_same_as_each_alone():
    inverter = replace(H, k2=0.03)
    loads_w = np.array([0.0, 150.0, 4000.0])
    assert inverter.dc_w(loads_w).tolist() == [inverter.dc_w(load_w) for load_w in loads_w.tolist()]


def test_the_idle_draw_costs_most_at_a_small_load():
    inverter = replace(H, idle_w=50.0, k1=0.02, k2=0.04)
    # (50 + 1.02 x + 0.04 x^2 / 5000) worked by hand at 100 W and 1000 W
    assert inverter.efficiency(100.0) == pytest.approx(100.0 / 152.08)
    assert inverter.efficiency(1000.0) == pytest.approx(1000.0 / 1078.0)


def test_full_load_efficiency_splits_into_the_two_losses():
    k1, k2 = losses_from_full_load(0.94, 30.0, 5000.0)
    assert k1 == 0.02
    assert k2 == pytest.approx(1 / 0.94 - 0.006 - 1.02, abs=1e-15)


def test_a_very_good_inverter_has_no_loss_left_for_the_square():
    k1, k2 = losses_from_full_load(0.99, 25.0, 5000.0)
    assert k2 == 0.0
    assert k1 == pytest.approx(1 / 0.99 - 1.005, abs=1e-15)


@pytest.mark.parametrize(
    ("numbers", "field", "words"),
    [
        ((0.99, 100.0, 5000.0), "efficiency", "an idle draw of 100 W of 5000 W alone leaves 98.0 %"),
        ((0.2, 10.0, 5000.0), "efficiency", "from 50 to 100 %; got 20"),
        ((94.0, 10.0, 5000.0), "efficiency", "from 50 to 100 %; got 9400"),
        ((float("nan"), 10.0, 5000.0), "efficiency", "from 50 to 100 %; got nan"),
        ((0.94, -1.0, 5000.0), "idle_w", "Idle draw must be"),
        ((0.94, 10.0, 0.0), "rated_w", "Continuous power must be"),
    ],
)
def test_an_impossible_full_load_efficiency_is_refused(numbers, field, words):
    with pytest.raises(InputError, match=words) as refusal:
        losses_from_full_load(*numbers)
    assert refusal.value.field == field


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"dc_max_v": 40.0}, "dc_max_v", "above the low-voltage cut-off, 40 V; got 40 V"),
        ({"restart_v": 40.0}, "restart_v", "above the low-voltage cut-off, 40 V.*got 40 V"),
        ({"restart_v": 61.0}, "restart_v", "at most the highest DC volts, 60 V; got 61 V"),
        ({"rated_w": float("nan")}, "rated_w", "Continuous power must be a number"),
        ({"idle_w": -1.0}, "idle_w", "from 0 to 5,000 W; got -1"),
        ({"k2": -0.01}, "k2", "got -0.01"),
        ({"charge_limit_a": 0.0}, "charge_limit_a", "Highest charging current"),
    ],
)
def test_an_impossible_inverter_is_refused_in_words(change, field, words):
    with pytest.raises(InputError, match=words) as refusal:
        replace(H, **change)
    assert refusal.value.field == field


def test_every_fault_of_an_inverter_is_told_at_once():
    with pytest.raises(InputError) as refusal:
        replace(H, idle_w=-1.0, rated_w=0.0)
    assert {fault.field for fault in refusal.value.every()} == {"idle_w", "rated_w"}


def test_every_number_says_where_to_find_it():
    assert all(meaning.label and meaning.hint for meaning in quantities(Inverter).values())


def test_suggested_losses_say_where_they_are_from_and_make_an_inverter():
    offered = suggested_losses(5000.0)
    idle_w, idle_source = offered["idle_w"]
    efficiency, efficiency_source = offered["efficiency"]
    assert idle_w == pytest.approx(31.5)
    assert (idle_source.kind, efficiency_source.kind) == ("published", "typical, from memory")
    k1, k2 = losses_from_full_load(efficiency, idle_w, 5000.0)
    assert replace(H, idle_w=idle_w, k1=k1, k2=k2).efficiency(5000.0) == pytest.approx(efficiency, rel=1e-12)
