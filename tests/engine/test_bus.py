"""Banks on one DC bus: who carries what, and who must not be there."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from datetime import datetime

import numpy as np
import pytest

from engine.answers.autonomy import autonomy
from engine.answers.notices_bus import bus_notices
from engine.balance.bus_plant import BusPlant, BusState, bus_plant, cell, limits
from engine.balance.bus_run import bus_hour, bus_run
from engine.balance.sharing import bus_step, restarts
from engine.balance.step import MAX_SOC_STEP, State, plant
from engine.balance.trajectory import run
from engine.cells.chemistry import Chemistry, table
from engine.errors import InputError
from engine.house import household
from engine.house.bank import Bank, Board
from engine.house.bus import (
    MOST_BANKS,
    clash_sentence,
    clashes,
    common_end_v,
    overlap_v,
    shared_by_current,
    shared_by_power,
)
from engine.house.inverter import Inverter
from engine.sky.days import parse_sky
from tests.engine.test_cells import LINE
from tests.engine.test_household import document

WIDE = 1e6
INVERTER = Inverter(
    id="i", name="House inverter", dc_min_v=42, dc_max_v=62, restart_v=46, rated_w=6000, idle_w=30, k1=0.02, k2=0.03
)


def guarded(name: str, chemistry: str | Chemistry, series: int, ah: float, **changed: object) -> Bank:
    """A bank that has its own fuse, disconnect and board."""
    short = name.split(maxsplit=1)[0].lower()
    bank = Bank(id=short, name=name, chemistry=chemistry, series=series, label_ah=ah, cell_c=20.0)
    cell = bank.cell
    board = Board(cell_low_v=cell.v_low, cell_high_v=cell.v_max, charge_min_c=cell.charge_min_c, current_limit_a=300)
    guards = {"board": board, "own_fuse": True, "own_disconnect": True}
    return dataclasses.replace(bank, **{**guards, **changed})


LFP = guarded("LFP bank", "lfp", 16, 280.0)
SODIUM = guarded("Sodium-ion bank", "sodium_layered", 16, 210.0, charge_v=3.45, hold=True)
NMC = guarded("NMC bank", "nmc", 14, 150.0, charge_v=3.94)
LEAD = Bank(id="lead", name="Lead-acid bank", chemistry="lead_sealed", series=24, label_ah=400.0)


def amps_of(emf: Sequence[float], ohm: Sequence[float], bus_a: float) -> list[float]:
    """Millman's theorem as printed: U = (sum(E/R) + I) / sum(1/R), then Ohm's law for each source."""
    volts = (sum(e / r for e, r in zip(emf, ohm, strict=True)) + bus_a) / sum(1.0 / r for r in ohm)
    return [(volts - e) / r for e, r in zip(emf, ohm, strict=True)]


@pytest.mark.parametrize("bus_a", [-180.0, -20.0, 0.0, 60.0])
def test_two_unlike_banks_share_as_millmans_theorem_says(bus_a: float) -> None:
    # J. Millman, A Useful Network Theorem, Proc. IRE 28 (1940), 413-417; volts and resistances are given, not measured.
    emf, ohm = [53.1, 51.4], [0.018, 0.041]
    shared = shared_by_current(emf, ohm, [-WIDE] * 2, [WIDE] * 2, bus_a)
    assert shared.amps == pytest.approx(amps_of(emf, ohm, bus_a), abs=1e-6)
    assert sum(shared.amps) == pytest.approx(bus_a, abs=1e-6)


def test_a_textbook_circuit_of_two_sources_and_a_load() -> None:
    # Kirchhoff's laws by hand: 12 V behind 1 ohm and 6 V behind 2 ohm feed 2 ohm. U (1 + 1/2 + 1/2) = 12 + 3, so
    # U = 7.5 V; the load takes 3.75 A, the sources give 4.5 and -0.75 A.
    shared = shared_by_power([12.0, 6.0], [1.0, 2.0], [-WIDE] * 2, [WIDE] * 2, -7.5 * 3.75)
    assert shared is not None
    assert shared.volts == pytest.approx(7.5, abs=1e-9)
    assert shared.amps == pytest.approx((-4.5, 0.75), abs=1e-9)


@pytest.mark.parametrize("bus_a", [-180.0, -60.0, -20.0, 0.0, 60.0, 180.0])
def test_banks_that_resist_a_charge_more_than_a_discharge_share_as_millman_says_of_what_each_does(bus_a: float) -> None:
    # The theorem with, for each bank, the resistance of what it turns out to do: the only such current.
    emf, taking, giving = [53.1, 51.4, 52.0], [0.09, 0.041, 0.06], [0.018, 0.041, 0.02]
    shared = shared_by_current(emf, taking, [-WIDE] * 3, [WIDE] * 3, bus_a, giving)
    ohm = [r if current > 0.0 else out for r, out, current in zip(taking, giving, shared.amps, strict=True)]
    assert shared.amps == pytest.approx(amps_of(emf, ohm, bus_a), abs=1e-6)
    by_power = shared_by_power(emf, taking, [-WIDE] * 3, [WIDE] * 3, bus_a * shared.volts, giving)
    assert by_power is not None
    assert by_power.amps == pytest.approx(shared.amps, abs=1e-6)


def test_a_full_lead_acid_bank_beside_another_gives_by_the_resistance_of_a_discharge() -> None:
    # Two banks of one kind at one charge are one bank of their size: hours as those of the step.
    lead = dataclasses.replace(LEAD, own_fuse=True, own_disconnect=True, label_ah=100.0, reserve_soc=0.5, cell_c=10.0)
    flooded = dataclasses.replace(lead, chemistry="lead_flooded")
    free = dataclasses.replace(INVERTER, dc_min_v=42.0, restart_v=46.0, idle_w=0.0, k1=0.0, k2=0.0)
    b = bus_plant([flooded, dataclasses.replace(flooded, id="other")], free, 3000.0)
    one = plant(dataclasses.replace(flooded, label_ah=200.0), free, 3000.0)
    for soc in (0.8, 0.95, 1.0):
        state, _, _ = bus_hour(b, BusState((soc, soc)), 0.0, 3000.0, 0.0)
        alone = run(one, State(soc), [0.0], [3000.0], [0.0])
        assert state.socs == pytest.approx([float(alone.soc[-1])] * 2, abs=2e-3)
        assert state.socs[0] < soc - 0.2


def test_a_bank_at_its_limit_is_a_fixed_current_beside_the_rest() -> None:
    emf, ohm = [53.0, 53.0, 52.0], [0.01, 0.02, 0.02]
    shared = shared_by_current(emf, ohm, [-40.0, -WIDE, -WIDE], [WIDE] * 3, -120.0)
    assert shared.amps[0] == -40.0
    assert shared.amps[1:] == pytest.approx(amps_of(emf[1:], ohm[1:], -80.0), abs=1e-9)


def test_limits_on_both_sides_do_not_keep_it_from_settling() -> None:
    """A bank that may give nothing beside one that may take little: only the third carries the load."""
    shared = shared_by_power([50.8, 47.7], [0.0096, 0.0168], [0.0, -210.0], [140.0, 105.0], -652.25)
    assert shared is not None
    assert shared.amps[0] == 0.0
    assert shared.amps[1] * shared.volts == pytest.approx(-652.25)


def test_power_beyond_what_the_banks_can_give_is_never_found_elsewhere() -> None:
    # By hand: the first gives most at its limit of 200 A and 48 - 20 = 28 V, 5,600 W; the second there (31 - 28) / 0.5
    # = 6 A more, 168 W. 5,768 W are the most of both, and at 101 V, where nothing flows, nothing is given either.
    network = [48.0, 31.0], [0.1, 0.5], [-200.0, -20.0], [0.0, 0.0]
    most = shared_by_power(*network, -5768.0)
    assert most is not None
    assert (most.volts, *most.amps) == pytest.approx((28.0, -200.0, -6.0))
    assert shared_by_power(*network, -6000.0) is None


def test_of_two_volts_that_give_a_power_the_higher_is_taken() -> None:
    # The second takes nothing. The first alone gives 1,000 W from 54 V through 0.1 ohm at V with V (54 - V) = 100:
    # V = 27 + sqrt(729 - 100) = 52.08 V. At low volts both would give as much once more.
    found = shared_by_power([54.0, 20.0], [0.1, 0.01], [-400.0, -400.0], [0.0, 0.0], -1000.0)
    assert found is not None
    assert (found.volts, found.amps[1]) == pytest.approx((52.0799, 0.0), abs=1e-4)
    # The first alone at its limit: 100 A at 52 - 2 = 50 V are 5,000 W. With 11.4 A of the second 44.9 V give as much.
    found = shared_by_power([52.0, 45.0], [0.02, 0.01], [-100.0, -50.0], [0.0, 0.0], -5000.0)
    assert found is not None
    assert (found.volts, *found.amps) == pytest.approx((50.0, -100.0, 0.0))


def test_what_the_banks_cannot_give_is_told() -> None:
    assert shared_by_power([50.0, 50.0], [0.01] * 2, [-10.0] * 2, [10.0] * 2, -2000.0) is None
    assert shared_by_power([50.0, 50.0], [0.5] * 2, [-WIDE] * 2, [WIDE] * 2, -5000.0) is None
    with pytest.raises(ArithmeticError, match="-25 A"):
        shared_by_current([50.0, 50.0], [0.01] * 2, [-10.0] * 2, [10.0] * 2, -25.0)


def test_twins_on_one_bus_are_one_bank_of_twice_the_size() -> None:
    """What `engine.balance.trajectory` says of one bank with two strings, the bus says of two banks with one."""
    hours = np.arange(96)
    sun = 2500.0 * np.clip(np.sin((hours % 24 - 7) / 10 * np.pi), 0.0, None)
    ac = np.where(hours % 24 > 17, 900.0, 350.0)
    twins = bus_plant((LFP, LFP), INVERTER, 450.0)
    together = bus_run(twins, BusState((0.6, 0.6)), sun.tolist(), ac.tolist(), [0.0] * 96)
    board = dataclasses.replace(LFP.board, current_limit_a=600)
    one = plant(dataclasses.replace(LFP, parallel=2, board=board), INVERTER, 450.0)
    alone = run(one, State(0.6), sun.tolist(), ac.tolist(), [0.0] * 96)
    # Both step finely enough to agree within 0.1 points of charge; the two steppers share no code for currents.
    assert together.soc == pytest.approx(alone.soc, abs=0.001)
    assert together.parted is not None
    assert together.parted.soc[:, 0] == pytest.approx(together.parted.soc[:, 1], abs=1e-9)


def test_sums_equal_the_bus_current_in_every_step() -> None:
    b = bus_plant((LFP, SODIUM), INVERTER, 450.0)
    state = BusState((0.8, 0.6))
    for ac_w in (300.0, 2000.0, 4500.0):
        _, flow, split = bus_step(b, state, 0.0, ac_w, 0.0, 0.1)
        drawn_w = INVERTER.dc_w(ac_w)
        assert sum(split.amps) * split.volts == pytest.approx(-drawn_w, rel=1e-9)
        assert sum(split.into_wh) == pytest.approx(-drawn_w * flow.hours, rel=1e-9)


def test_lfp_carries_most_of_the_load_beside_sodium_ion_of_equal_charge() -> None:
    """Equal charge is not equal volts: joined at 95 %, current flows between them though no load asks for it."""
    b = bus_plant((LFP, SODIUM), INVERTER, 450.0)
    _, _, split = bus_step(b, BusState((0.95, 0.95)), 0.0, 0.0, 0.0, 0.02)
    assert split.amps[0] == pytest.approx(-split.amps[1], abs=2.0)
    assert abs(split.amps[1]) > 50.0


def test_a_cold_bank_keeps_the_charger_from_all() -> None:
    frozen = dataclasses.replace(LFP, cell_c=-5.0)
    b = bus_plant((frozen, SODIUM), INVERTER, 450.0)
    after, flow, _ = bus_step(b, BusState((0.5, 0.5)), 3000.0, 0.0, 0.0, 1.0)
    assert flow.spare_wh == pytest.approx((3000.0 - INVERTER.idle_w) * flow.hours, rel=1e-6)
    assert after.socs[0] <= 0.5


def test_a_bank_at_its_reserve_gives_no_more_and_the_other_goes_on() -> None:
    low = dataclasses.replace(LFP, reserve_soc=0.5)
    b = bus_plant((low, SODIUM), INVERTER, 500.0)
    done = bus_run(b, BusState((0.52, 0.6)), [0.0] * 48, [400.0] * 48, [0.0] * 48, until_ended=True)
    assert done.parted is not None
    assert done.parted.at_floor_h[0] is not None
    assert done.ended_h is not None
    assert done.ended_h > done.parted.at_floor_h[0]
    assert done.parted.soc[:, 0].min() > 0.49


def test_one_charger_has_one_setting() -> None:
    b = bus_plant((LFP, SODIUM), INVERTER, 450.0)
    assert b.end_v == pytest.approx(common_end_v((LFP, SODIUM))) == pytest.approx(55.2)
    sunny = bus_run(b, BusState((0.7, 0.5)), [5000.0] * 40, [0.0] * 40, [0.0] * 40)
    assert sunny.parted is not None
    assert sunny.parted.soc[-1, 0] > 0.97
    assert sunny.parted.soc[-1, 1] < 0.9


def codes(*banks: Bank, inverter: Inverter = INVERTER) -> set[str]:
    return {clash.code for clash in clashes(banks, inverter)}


def test_unlike_banks_may_share_only_where_all_four_conditions_hold() -> None:
    """Each of the four, broken alone, is a clash of its own; together they hold for LFP beside sodium-ion."""
    assert codes(LFP, SODIUM) == set()
    assert codes(LFP, dataclasses.replace(SODIUM, charge_v=3.9)) == {"bus-above-bank"}
    assert codes(LFP, SODIUM, inverter=dataclasses.replace(INVERTER, dc_min_v=38.0)) == {"bus-under-bank"}
    for missing in ({"own_fuse": False}, {"own_disconnect": False}, {"board": None}):
        assert codes(LFP, dataclasses.replace(SODIUM, **missing)) == {"bus-unguarded"}
    warm = dataclasses.replace(LFP.board, charge_min_c=-20.0)
    assert codes(dataclasses.replace(LFP, board=warm), SODIUM) == {"bus-cold"}


def test_lead_acid_beside_lfp_is_refused_with_the_volts_they_have_in_common() -> None:
    said = clash_sentence((LFP, LEAD), INVERTER)
    low, high = overlap_v((LFP, LEAD))
    assert "may not share" in said
    assert "Lead-acid bank has no fuse or disconnect or protection board of its own" in said
    assert f"{low:.1f} to {high:.1f} V" in said


def test_twins_need_no_more_than_a_check() -> None:
    twin = dataclasses.replace(LFP, id="twin", own_fuse=False)
    assert clash_sentence((LFP, twin), INVERTER) == ""


def house_of(*banks: Bank) -> household.Household:
    home = household.read(document())
    inverter = dataclasses.replace(INVERTER, id=home.inverters[0].id)
    joined = tuple(dataclasses.replace(bank, inverter=inverter.id) for bank in banks)
    return dataclasses.replace(home, banks=joined, inverters=(inverter,))


def test_a_household_may_join_several_banks_to_one_inverter() -> None:
    home = house_of(LFP, SODIUM)
    (supply,) = household.read(household.write(home)).supplies()
    assert [bank.name for bank in supply.banks] == ["LFP bank", "Sodium-ion bank"]
    assert supply.name == "LFP bank and Sodium-ion bank"
    assert [one.bank.name for one in supply.apart] == ["LFP bank", "Sodium-ion bank"]


def test_more_banks_than_a_bus_may_have_are_refused() -> None:
    many = tuple(dataclasses.replace(LFP, id=f"b{k}") for k in range(MOST_BANKS + 1))
    with pytest.raises(InputError, match=f"may have {MOST_BANKS} banks"):
        house_of(*many)


def notice_codes(*banks: Bank) -> dict[str, str]:
    return {notice.code: notice.level for notice in bus_notices(house_of(*banks))}


def test_notices_of_a_shared_bus() -> None:
    assert notice_codes(LFP) == {}
    assert notice_codes(LFP, LEAD) == {"bus-clash": "stop"}
    assert notice_codes(LFP, SODIUM) == {"bus-joining": "check", "bus-apart": "note"}
    twin = dataclasses.replace(LFP, id="twin", charge_v=3.5, own_fuse=False)
    assert notice_codes(LFP, twin) == {
        "bus-settings": "check",
        "bus-no-fuse": "check",
        "bus-joining": "check",
        "bus-apart": "note",
    }


def test_two_banks_without_any_resistance_share_and_last_twice_as_long() -> None:
    # 60 % of 2 x 14.336 kWh at (300 / 0.93 + 40) W: 47.45 h.
    found = document("h")
    (one,) = found["banks"]
    found["banks"] = [one | {"id": name, "own_fuse": True, "own_disconnect": True} for name in ("first", "second")]
    home = household.read(found)
    asked = {bank.id: 0.8 for bank in home.banks}
    answer = autonomy(home, asked, parse_sky("none", home.site, home.sun, 11, 14), datetime(2026, 11, 25, 18))
    assert answer.hours_to_reserve == pytest.approx(47.45, abs=0.005)


def lines(*sizes_ah: float, r_slow: float = 0.5) -> BusPlant:
    """Banks of 14 cells whose volts rise by 1 V from empty to full behind 0.5 V per C, on an inverter of no draw."""
    line = dataclasses.replace(LINE, r_slow_v_per_c=(r_slow, r_slow))
    banks = [guarded(f"b{k} bank", line, 14, ah, reserve_soc=0.0) for k, ah in enumerate(sizes_ah)]
    free = dataclasses.replace(INVERTER, dc_min_v=38.0, restart_v=39.0, idle_w=0.0, k1=0.0, k2=0.0)
    return bus_plant(banks, free, 100.0)


@pytest.mark.parametrize("sizes_ah", [(100.0, 100.0), (50.0, 200.0), (200.0, 100.0)])
def test_two_banks_joined_at_unlike_charge_come_together_by_an_exponential(sizes_ah: tuple[float, float]) -> None:
    # Kirchhoff: n (s1 - s2) x 1 V = I (R1 + R2) with R = n x 0.5 V / Ah, and Ah ds/dt = I: the difference falls as
    # exp(-t / 0.5 h) whatever the sizes, no charge is lost, and what heats the resistances is what the two lose.
    b = lines(*sizes_ah)
    one, other = sizes_ah
    apart = 0.3
    done = bus_run(b, BusState((0.7, 0.7 - apart)), [0.0] * 3, [0.0] * 3, [0.0] * 3)
    assert done.parted is not None
    socs = done.parted.soc
    falls = apart * np.exp(-np.arange(4) / 0.5)
    assert socs[:, 0] - socs[:, 1] == pytest.approx(falls, abs=0.003)
    assert socs @ sizes_ah == pytest.approx(np.full(4, 0.7 * one + (0.7 - apart) * other), rel=1e-9)
    heat_kwh = 14 * 0.5 * one * other / (one + other) * (apart**2 - falls[-1] ** 2) / 1000
    assert done.totals.cell_loss_kwh == pytest.approx(heat_kwh, rel=0.01)
    assert done.totals.stored_change_kwh == pytest.approx(-heat_kwh, rel=0.01)
    assert done.parted.into_wh.sum(axis=1) == pytest.approx(np.zeros(3), abs=1e-6)


def test_a_bus_of_three_gives_a_load_by_their_resistances_at_equal_charge() -> None:
    # Equal volts behind R proportional to 1 / Ah: currents as the sizes; the load's power at the bus by hand:
    # U = E - I R with E = 14 x 3.5 V and R = 14 x 0.5 V / 350 Ah, U I = 700 W
    b = lines(50.0, 100.0, 200.0)
    _, flow, split = bus_step(b, BusState((0.5,) * 3), 0.0, 700.0, 0.0, 1e-3)
    ohm = 14 * 0.5 / 350
    volts = 24.5 + (24.5**2 - 700.0 * ohm) ** 0.5
    assert split.volts == pytest.approx(volts, rel=1e-4)
    assert split.amps == pytest.approx([-700.0 / volts * part for part in (1 / 7, 2 / 7, 4 / 7)], rel=1e-4)
    assert flow.cell_loss_wh == pytest.approx((700.0 / volts) ** 2 * ohm * 1e-3, rel=1e-3)


def test_weights_of_a_bus_are_the_shares_of_its_energy() -> None:
    b = lines(50.0, 150.0)
    assert b.weights == pytest.approx((0.25, 0.75))
    unlike = bus_plant((LFP, SODIUM, NMC), INVERTER, 450.0).weights
    kwh = [bank.label_kwh for bank in (LFP, SODIUM, NMC)]
    assert unlike == pytest.approx([one / sum(kwh) for one in kwh])
    assert b.soc_of((1.0, 0.2)) == pytest.approx(0.25 + 0.15)
    assert b.floor_soc == pytest.approx(0.25 * b.plants[0].floor_soc + 0.75 * b.plants[1].floor_soc)
    assert b.top_soc == pytest.approx(0.25 * b.plants[0].top_soc + 0.75 * b.plants[1].top_soc)


@pytest.mark.parametrize(
    ("sun_w", "ac_w", "dc_w", "served"),
    # at its reserve the bus gives nothing: 60 W of the sun are left above the idle draw, in the ratio of both loads
    [(90.0, 100.0, 20.0, 0.5), (90.0, 0.0, 240.0, 0.25), (20.0, 100.0, 20.0, 0.0), (90.0, 240.0, 0.0, 0.25)],
)
def test_the_sun_alone_serves_the_same_share_of_both_loads(
    sun_w: float, ac_w: float, dc_w: float, served: float
) -> None:
    plain = dataclasses.replace(INVERTER, k1=0.0, k2=0.0)
    cold = [dataclasses.replace(one, cell_c=-5.0) for one in (LFP, SODIUM)]
    b = bus_plant(cold, plain, 450.0)
    state = BusState(tuple(p.floor_soc for p in b.plants))
    after, flow, _ = bus_step(b, state, sun_w, ac_w, dc_w, 0.5)
    assert flow.served_wh == pytest.approx(served * (ac_w + dc_w) * flow.hours)
    assert flow.served_wh + flow.unserved_wh == pytest.approx((ac_w + dc_w) * flow.hours)
    if served:
        assert flow.sun_wh == pytest.approx(sun_w * flow.hours)
        assert flow.inverter_loss_wh == pytest.approx(30.0 * flow.hours)
        assert after.socs == state.socs
        assert after.on
    assert flow.limit == b.plants[0].floor_name


SUNNY = [0.0] * 8 + [2500.0] * 8 + [0.0] * 8
TWIN_DAYS: dict[str, tuple[dict[str, object], dict[str, object], float, list[float], list[float]]] = {
    # changes to the bank, to the inverter, charge at the start, sun, load
    "to its reserve": ({}, {}, 0.5, [0.0] * 24, [900.0] * 24),
    "past its reserve into the sun": ({}, {}, 0.35, SUNNY, [700.0] * 24),
    "to the cut-off and back": ({"reserve_soc": 0.0}, {"dc_min_v": 51.0, "restart_v": 53.0}, 0.4, SUNNY, [900.0] * 24),
    "filled without a hold": ({"hold": False, "charge_v": 3.45}, {}, 0.7, [0.0] * 4 + [6000.0] * 8, [200.0] * 12),
    "filled and held": ({"hold": True, "charge_v": 3.45}, {}, 0.7, [0.0] * 4 + [6000.0] * 8, [200.0] * 12),
    "to the top of its window": ({"top_soc": 0.8}, {}, 0.6, [4000.0] * 6, [200.0] * 6),
    "by the charger's current": ({}, {"charge_limit_a": 20.0}, 0.4, [6000.0] * 6, [200.0] * 6),
    "by its own current": ({"charge_limit_a": 15.0}, {}, 0.4, [6000.0] * 6, [200.0] * 6),
    "held after its own current": (
        {"hold": True, "charge_v": 3.4, "charge_limit_a": 70.0},
        {},
        0.8,
        [9000.0] * 8,
        [200.0] * 8,
    ),
    "too cold to be charged": ({"cell_c": -5.0}, {}, 0.6, [3000.0] * 6, [200.0] * 6),
    "more than the inverter gives": ({}, {"rated_w": 500.0}, 0.6, [0.0] * 3 + [3000.0] * 3, [800.0] * 6),
    "over its current": ({"current_a": 10.0}, {}, 0.8, [0.0] * 3 + [400.0] * 3, [300.0, 900.0, 900.0] * 2),
    "in steps of a half-empty bank": ({"reserve_soc": 0.0}, {"dc_min_v": 38.0}, 0.06, [0.0] * 6, [300.0] * 6),
}


@pytest.mark.parametrize("name", TWIN_DAYS)
@pytest.mark.parametrize("until_ended", [False, True])
def test_twins_do_what_one_bank_of_twice_the_size_does(name: str, until_ended: bool) -> None:
    """Energies, limits and ends against `engine.balance.trajectory`, whose steps share no code for currents."""
    of_bank, of_inverter, soc, sun_w, ac_w = TWIN_DAYS[name]
    current_a = of_bank.get("current_a", 300.0)
    changes = {key: value for key, value in of_bank.items() if key != "current_a"}
    board = dataclasses.replace(LFP.board, current_limit_a=current_a)
    one = dataclasses.replace(LFP, board=board, **changes)  # type: ignore[arg-type]
    limit = {"charge_limit_a": 2 * changes["charge_limit_a"]} if "charge_limit_a" in changes else {}  # type: ignore[operator]
    double = dataclasses.replace(board, current_limit_a=2 * current_a)  # type: ignore[operator]
    large = dataclasses.replace(one, parallel=2, board=double, **limit)
    unit = dataclasses.replace(INVERTER, **of_inverter)  # type: ignore[arg-type]
    dc_w = [30.0] * len(sun_w)
    ask = {"first_h": 0.6, "until_ended": until_ended}
    both = bus_run(bus_plant((one, one), unit, 450.0), BusState((soc, soc)), sun_w, ac_w, dc_w, **ask)  # type: ignore[arg-type]
    alone = run(plant(large, unit, 450.0), State(soc), sun_w, ac_w, dc_w, **ask)  # type: ignore[arg-type]
    assert (both.ended_h is None) == (alone.ended_h is None)
    assert both.ended_h == (None if alone.ended_h is None else pytest.approx(alone.ended_h, abs=0.03))
    assert both.ended_by == alone.ended_by
    assert both.limits == alone.limits
    assert both.hours == pytest.approx(alone.hours, abs=0.03)
    assert both.soc == pytest.approx(alone.soc, abs=0.003)
    assert both.charged.tolist() == alone.charged.tolist()
    turnover_kwh = max(alone.totals.served_kwh, alone.totals.sun_kwh)
    for field in dataclasses.fields(alone.totals):
        expected = getattr(alone.totals, field.name)
        assert getattr(both.totals, field.name) == pytest.approx(expected, rel=0.02, abs=0.006 * turnover_kwh), (
            field.name
        )
    assert abs(both.totals.balance_error_share) < 2e-4
    for week in (both, alone):
        for series in ("sun_wh", "spare_wh", "served_wh", "unserved_wh"):
            total_kwh = getattr(week.totals, series.replace("_wh", "_kwh"))
            assert getattr(week, series).sum() / 1000 == pytest.approx(total_kwh, abs=1e-9)


def test_a_bank_that_is_charged_takes_nothing_and_the_other_all() -> None:
    b = lines(100.0, 100.0)
    b = dataclasses.replace(b, plants=(dataclasses.replace(b.plants[0], top_soc=0.5), b.plants[1]))
    # 1400 W lift the emptier one from 48.3 V to 50.2 V, above the 49 V at which the charged one rests
    _, flow, split = bus_step(b, BusState((0.5, 0.45)), 1400.0, 0.0, 0.0, 0.01)
    assert split.amps[0] == 0.0
    assert split.volts == pytest.approx((48.3 + (48.3**2 + 4 * 0.07 * 1400.0) ** 0.5) / 2, rel=1e-3)
    assert (flow.sun_wh, flow.spare_wh) == pytest.approx((1400.0 * flow.hours, 0.0), abs=1e-9)
    assert split.into_wh == pytest.approx((0.0, 1400.0 * flow.hours))
    both = BusState(tuple(p.top_soc for p in b.plants))
    _, flow, split = bus_step(b, both, 500.0, 0.0, 0.0, 0.5)
    assert split.amps == pytest.approx((0.0, 0.0), abs=1e-9)
    assert (flow.sun_wh, flow.spare_wh) == pytest.approx((0.0, 500.0 * flow.hours))


def test_banks_that_take_less_than_an_ampere_take_that() -> None:
    b = lines(100.0, 100.0)
    b = dataclasses.replace(b, plants=tuple(dataclasses.replace(p, charge_c_max=0.005) for p in b.plants))
    _, flow, split = bus_step(b, BusState((0.5, 0.5)), 1400.0, 0.0, 0.0, 0.1)
    assert split.amps == pytest.approx((0.5, 0.5), rel=1e-3)
    # 49 V at rest and 0.07 ohm x 0.5 A
    assert flow.sun_wh == pytest.approx(49.035 * 1.0 * flow.hours, rel=1e-3)
    assert flow.sun_wh + flow.spare_wh == pytest.approx(1400.0 * flow.hours)


def test_a_bus_at_rest_steps_by_the_half_hour_and_a_stiff_one_in_shorter_steps() -> None:
    calm = lines(100.0, 200.0)
    assert bus_step(calm, BusState((0.5, 0.5)), 0.0, 0.0, 0.0, 1.0)[1].hours == 0.5
    assert bus_step(calm, BusState((0.5, 0.5)), 0.0, 0.0, 0.0, 0.2)[1].hours == 0.2
    # 1 V from empty to full behind 0.05 V per C: 2 x 0.05 h, half an hour being ten of its time constants
    stiff = lines(100.0, 200.0, r_slow=0.05)
    assert bus_step(stiff, BusState((0.5, 0.5)), 0.0, 0.0, 0.0, 1.0)[1].hours == pytest.approx(0.1)
    stiffest = lines(100.0, 200.0, r_slow=0.005)
    assert bus_step(stiffest, BusState((0.5, 0.5)), 0.0, 0.0, 0.0, 1.0)[1].hours == pytest.approx(0.05)


@pytest.mark.parametrize("soc", [0.0, 0.00025, 0.3333, 0.5, 0.9999, 1.0])
def test_the_cell_of_a_bus_is_read_on_its_line(soc: float) -> None:
    cells = table(dataclasses.replace(LINE, r_slow_v_per_c=(0.5, 0.7)))
    assert cell(cells, soc) == pytest.approx((3.0 + soc, 1.0, 0.5 + 0.2 * soc, 0.5 + 0.2 * soc))
    lead = table(dataclasses.replace(LINE, r_slow_v_per_c=(0.5, 0.7), acceptance_tau_h=2.0))
    assert cell(lead, soc) == pytest.approx((3.0 + soc, 1.0, 0.5 + 0.2 * soc, 0.5))


def test_a_bank_gives_and_takes_within_its_limits_alone() -> None:
    b = lines(100.0, 200.0)
    limited = dataclasses.replace(b.plants[0], charge_c_max=0.4, discharge_c_max=0.7, floor_soc=0.2, top_soc=0.9)
    slow = dataclasses.replace(limited, acceptance_tau_h=2.0)
    pair = dataclasses.replace(b, plants=(limited, slow))
    # 100 Ah at 0.7C and 0.4C; a charge acceptance of two hours takes (1 - s) / 2 of its 100 Ah where that is less
    assert limits(pair, (0.5, 0.5)) == (pytest.approx([-70.0, -70.0]), pytest.approx([40.0, 25.0]))
    assert limits(pair, (0.5, 0.1)) == (pytest.approx([-70.0, 0.0]), pytest.approx([40.0, 40.0]))
    assert limits(pair, (0.2, 0.9)) == (pytest.approx([0.0, -70.0]), pytest.approx([40.0, 0.0]))


@pytest.mark.parametrize(("sun_w", "on"), [(0.0, False), (1400.0, True)])
def test_a_bus_comes_back_at_its_restart_volts(sun_w: float, on: bool) -> None:
    # 14 x 3.5 V = 49 V at rest; 1400 W into 100 Ah lift it by 14 x 0.5 c with c (3.5 + 0.5 c) = 0.5: to 49.97 V
    b = dataclasses.replace(lines(100.0, 100.0), restart_v=49.9)
    assert restarts(b, BusState((0.5, 0.5), on=False), sun_w) is on
    assert restarts(dataclasses.replace(b, restart_v=48.99), BusState((0.5, 0.5), on=False), 0.0)
    assert not restarts(dataclasses.replace(b, restart_v=49.99), BusState((0.5, 0.5), on=False), sun_w)


def test_a_bus_too_cold_to_be_charged_comes_back_by_rested_volts_alone() -> None:
    cold = dataclasses.replace(LFP, cell_c=-5.0, reserve_soc=0.0)
    high = dataclasses.replace(INVERTER, dc_min_v=50, restart_v=53)
    b = bus_plant([cold, dataclasses.replace(cold, id="other")], high, 400.0)
    assert b.end_v > 53.0
    assert [restarts(b, BusState((soc, soc), on=False), 5.0) for soc in (0.2, 0.99)] == [False, True]
    hours = bus_run(b, BusState((0.2, 0.2), on=False), [5.0] * 4, [300.0] * 4, [0.0] * 4)
    assert hours.served_wh.tolist() == [0.0] * 4


@pytest.mark.parametrize(
    ("socs", "ac_w"),
    [((0.9886449655914413, 0.9027090328928693), 3493.0), ((0.39250760629491976,), 851.3183982633685)],
)
def test_an_hour_at_the_current_limits_of_its_boards_ends(socs: tuple[float, ...], ac_w: float) -> None:
    def limited(bank: Bank, limit_a: float) -> Bank:
        assert bank.board is not None
        return dataclasses.replace(bank, label_ah=100.0, board=dataclasses.replace(bank.board, current_limit_a=limit_a))

    b = bus_plant([limited(LFP, 50.0), limited(SODIUM, 20.0)][-len(socs) :], INVERTER, 400.0)
    _, flows, splits = bus_hour(b, BusState(socs), 0.0, ac_w, 0.0)
    assert sum(flow.hours for flow in flows) == pytest.approx(1.0)
    assert "current" in {flow.limit for flow in flows}
    for flow, split in zip(flows, splits, strict=True):
        assert sum(split.into_wh) == pytest.approx(flow.sun_wh - flow.served_wh - flow.inverter_loss_wh, abs=1e-6)


def test_stiff_banks_far_apart_come_together() -> None:
    def stiff(ah: float, name: str) -> Bank:
        none = (0.0,) * len(NMC.cell.r_slow_v_per_c)
        cells = dataclasses.replace(NMC.cell, r_slow_v_per_c=none, r_fast_v_per_c=none)
        return dataclasses.replace(NMC, id=name, chemistry=cells, label_ah=ah)

    b = bus_plant([stiff(100.0, "one"), stiff(200.0, "other")], INVERTER, 400.0)
    state, _, _ = bus_hour(b, BusState((1.0, 0.44661961209210815)), 0.0, 0.0, 0.0)
    assert abs(state.socs[0] - state.socs[1]) < MAX_SOC_STEP


def test_a_board_that_opens_above_the_reserve_is_the_floor() -> None:
    # at rest 3 + s: a board that opens at 3.4 V does so near 0.4, the sag of 0.2 V per C of 100 W over 9.8 kWh above it
    b = lines(100.0, 100.0)
    board = dataclasses.replace(LFP.board, cell_low_v=3.4, cell_high_v=4.1)
    guarded_bank = guarded("b bank", LINE, 14, 100.0, reserve_soc=0.2, board=board)
    free = dataclasses.replace(INVERTER, dc_min_v=38.0, restart_v=39.0)
    opened = bus_plant([guarded_bank, guarded_bank], free, 98.0)
    # each carries 49 W: 49 / (14 x 3.5 x 100) = 0.01C
    assert [p.floor_soc for p in opened.plants] == pytest.approx([0.402] * 2, abs=1e-6)
    assert {p.floor_name for p in opened.plants} == {"board"}
    assert {p.floor_name for p in b.plants} == {"reserve"}


def test_each_bank_tells_when_it_first_came_to_its_floor() -> None:
    b = lines(100.0, 100.0, 100.0)
    low = tuple(dataclasses.replace(p, floor_soc=floor) for p, floor in zip(b.plants, (0.5, 0.4, 0.1), strict=True))
    b = dataclasses.replace(b, plants=low)
    # all at 0.5; the first is there already, the others give 686 W, 7 A each: 0.1 in 1.43 hours
    done = bus_run(b, BusState((0.5,) * 3), [0.0] * 3, [686.0] * 3, [0.0] * 3, first_h=0.5)
    assert done.parted is not None
    assert done.parted.at_floor_h == (0.0, 1.5, None)
    assert done.parted.soc[:, 0].tolist() == [0.5] * 4
    assert done.parted.soc[-1, 1] == pytest.approx(0.4, abs=1e-5)
    assert done.parted.into_wh.sum(axis=1) == pytest.approx([-343.0, -686.0, -686.0])
