"""A bank: its window both ways, its floor, its step-down, and packs of 12, 24 and 48 V."""

from __future__ import annotations

import dataclasses

import pytest

from engine.balance.step import State, plant
from engine.balance.trajectory import run
from engine.cells import catalogue, curve
from engine.errors import InputError
from engine.house.bank import Bank, Board, c_rate, delivered, floor, window
from engine.house.step_down import step_down
from tests.engine.plants import IDEAL, SERIES, bank, inverter


def test_step_down_of_household_h_by_hand() -> None:
    # 14.336 kWh label; 20 % kept back; no losses in the cells; sockets get 300 of every 300 / 0.93 + 40 W.
    drawn_w = 300 / 0.93 + 40
    lines = {line.label: line.left_kwh for line in step_down(bank(IDEAL), inverter(), 300.0, drawn_w)}
    assert lines["Label"] == pytest.approx(14.336)
    assert lines["Reserve"] == pytest.approx(0.8 * 14.336)
    assert lines["Lost inside the cells"] == pytest.approx(0.8 * 14.336)
    assert lines["Usable at the sockets"] == pytest.approx(0.8 * 14.336 * 300 / drawn_w)


@pytest.mark.parametrize("chemistry", SERIES)
def test_step_down_adds_up_and_only_real_volts_may_rise(chemistry: str) -> None:
    steps = step_down(bank(chemistry, tested_ah=262, cell_c=4), inverter(), 400.0, 480.0)
    left = steps[0].left_kwh
    for line in steps[1:]:
        left += line.change_kwh
        assert left == pytest.approx(line.left_kwh)
        assert line.change_kwh <= 1e-9 or line.label == "Real volts"
        assert line.why


@pytest.mark.parametrize("chemistry", ["sodium_layered", "nmc"])
@pytest.mark.parametrize("hold", [True, False])
def test_window_in_percent_and_in_volts_say_the_same(chemistry: str, hold: bool) -> None:
    by_share = bank(chemistry, hold=hold, top_soc=0.8)
    volts = curve.volts_for_soc(by_share.cell, 0.8, by_share.charge_c, hold, by_share.cell_c)
    by_volts = bank(chemistry, hold=hold, top_v=volts)
    assert by_volts.top_reached_soc == pytest.approx(by_share.top_reached_soc, abs=1e-3)
    rate = c_rate(by_share, 500.0)
    cut_v = next(v / 1000 for v in range(1500, 4000) if curve.soc_at_cutoff(by_share.cell, v / 1000, rate) >= 0.3)
    assert floor(bank(chemistry, reserve_v=cut_v), inverter(dc_min_v=10), 500.0).reserve_soc == pytest.approx(
        0.3, abs=0.005
    )


def test_volts_outrank_percent() -> None:
    both = bank("sodium_layered", top_soc=0.5, top_v=3.8)
    assert both.top_reached_soc > 0.8


@pytest.mark.parametrize("chemistry", ["lead_flooded", "lead_sealed", "lead_gel"])
def test_hours_of_a_full_lead_acid_bank_are_those_of_the_step(chemistry: str) -> None:
    # two ways to the same hours: a sum over the charge at one power, and steps in time
    pack, power_w = bank(chemistry, label_ah=200.0, reserve_soc=0.5), 3000.0
    free = inverter(dc_min_v=10.0, idle_w=0.0, k1=0.0, k2=0.0)
    p = dataclasses.replace(plant(pack, free, 1.0), discharge_c_max=5.0, self_discharge_per_h=0.0)
    stepped = run(p, State(1.0), [0.0] * 9, [power_w] * 9, [0.0] * 9, until_ended=True)
    assert delivered(pack, 1.0, 0.5, power_w)[1] == pytest.approx(stepped.ended_h, rel=2e-3)


def test_constant_discharge_gives_the_same_energy_as_ohm() -> None:
    # A flat cell of 3.2 V and R at c: V = 3.2 - c R, so hours = ds / c and energy = V x Ah x ds.
    flat = dataclasses.replace(IDEAL, id="flat", r_slow_v_per_c=(0.5, 0.5), r_fast_v_per_c=(0.5, 0.5))
    pack = bank(flat)
    rate = 0.2
    power_w = (3.2 - rate * 0.5) * rate * 16 * 280
    kwh, hours = delivered(pack, 0.9, 0.4, power_w)
    assert hours == pytest.approx(0.5 / rate, rel=1e-6)
    assert kwh == pytest.approx((3.2 - rate * 0.5) * 16 * 280 * 0.5 / 1000, rel=1e-6)


def test_floor_names_the_limit_that_comes_first() -> None:
    high_cut = inverter(dc_min_v=46, restart_v=50)
    assert floor(bank("sodium_layered", reserve_soc=0.05), high_cut, 500.0).ends_by == "inverter"
    assert floor(bank("lfp"), inverter(), 500.0).ends_by == "reserve"
    assert (
        floor(bank("lead_sealed", reserve_soc=0.05, cell_c=-10), inverter(dc_min_v=30), 500.0).ends_by == "cold or rate"
    )
    strict = Board(cell_low_v=3.0, cell_high_v=3.65, current_limit_a=200)
    assert floor(bank("lfp", reserve_soc=0.0, board=strict), inverter(), 500.0).ends_by == "board"


@pytest.mark.parametrize(
    ("chemistry", "series", "window_v"),
    [
        ("sodium_layered", 3, (8, 16)),
        ("sodium_layered", 4, (8, 17)),
        ("sodium_layered", 8, (20, 33)),
        ("lfp", 4, (10, 16)),
        ("lfp", 8, (20, 32)),
        ("lfp", 16, (40, 60)),
        ("lead_sealed", 6, (10, 16)),
        ("lead_flooded", 12, (20, 32)),
        ("lead_sealed", 24, (40, 60)),
    ],
)
def test_packs_of_12_24_and_48_volts_work(chemistry: str, series: int, window_v: tuple[float, float]) -> None:
    low_v, high_v = window_v
    small = inverter(dc_min_v=low_v, dc_max_v=high_v, restart_v=low_v + 1)
    pack = bank(chemistry, series=series)
    end = floor(pack, small, 100.0)
    kwh, hours = delivered(pack, pack.top_reached_soc, end.soc, 100.0)
    assert 0.3 < kwh / pack.label_kwh < 1.0
    assert hours == pytest.approx(kwh * 10, rel=1e-9)
    assert pack.charge_end_cell_v * series <= high_v


def test_four_sodium_cells_span_6_to_15_8_volts() -> None:
    # Design notes, battery.md section 4: 4 in series spans 6.0 to 15.8 V (1.5 and 3.95 V per cell).
    cell = catalogue.load("sodium_layered")
    assert (round(4 * cell.v_low, 1), round(4 * cell.v_full, 1)) == (6.0, 15.8)


def test_pack_volts_typed_per_cell_are_refused_with_the_reason() -> None:
    with pytest.raises(InputError, match=r"4\.5 V per cell|divided by 16 cells"):
        bank("lfp", charge_v=55.2)


def test_reserve_above_the_top_is_refused() -> None:
    with pytest.raises(InputError, match="below Charge up to"):
        Bank(id="b", name="B", chemistry="lfp", series=16, label_ah=100, reserve_soc=0.8, top_soc=0.7)


def test_without_a_load_the_list_ends_at_the_terminals() -> None:
    steps = step_down(bank("lfp"), inverter(), 0.0, 40.0)
    assert steps[-1].label == "Lost inside the cells"
    assert steps[-1].left_kwh > 10.0


@pytest.mark.parametrize("hold", [True, False])
def test_window_says_in_volts_what_it_says_in_percent(hold: bool) -> None:
    share = window(bank("sodium_layered", hold=hold, top_soc=0.8, reserve_soc=0.3), 500.0)
    volts = bank("sodium_layered", hold=hold, top_v=share.top_v, reserve_v=share.reserve_v)
    again = window(volts, 500.0)
    assert again.top_soc == pytest.approx(0.8, abs=1e-3)
    assert again.reserve_soc == pytest.approx(0.3, abs=1e-3)
    assert share.top_by_volts


@pytest.mark.parametrize("chemistry", SERIES)
def test_window_that_is_not_capped_ends_at_the_charge_setting(chemistry: str) -> None:
    pack = bank(chemistry)
    assert window(pack, 500.0).top_v == pack.charge_end_cell_v


def test_a_flat_cell_held_cannot_be_stopped_by_volts() -> None:
    assert not window(bank("lfp", hold=True, top_soc=0.8), 500.0).top_by_volts
    assert window(bank("nmc", hold=True, top_soc=0.8), 500.0).top_by_volts


@pytest.mark.parametrize("soc", [0.00037, 0.2, 0.31415, 0.99991, 1.0])
def test_stored_energy_of_a_straight_line_is_its_integral(soc: float) -> None:
    # OCV = 3 + s volts: the integral from empty is 3 s + s^2 / 2, also between the points of the table.
    line = dataclasses.replace(IDEAL, id="line", ocv_v=(3.0, 4.0), v_full=4.0, v_max=4.0, v_charge=4.0)
    pack = bank(line)
    assert pack.stored_kwh(0.0, soc) == pytest.approx(16 * 280 * (3.0 * soc + soc * soc / 2.0) / 1000, rel=1e-9)
