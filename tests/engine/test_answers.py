"""The answers: the two households done by hand, agreement inside an answer, and what must never fall."""

from __future__ import annotations

import dataclasses
import json
from datetime import datetime
from typing import Any

import numpy as np
import pytest

from engine.answers.answer import supply_of
from engine.answers.autonomy import Autonomy, autonomy
from engine.answers.comparing import COLD_CODE, Comparison, comparing
from engine.answers.sheet import sheet
from engine.answers.sizing import Sizing, sizing
from engine.cells import catalogue
from engine.errors import InputError, Unreachable
from engine.house import household
from engine.house.household import Household
from engine.paths import data_dir
from engine.sky.averages import average_day_kc
from engine.sky.days import owner_dull_day, parse_sky
from tests.engine.test_household import document

EVENING = datetime(2026, 11, 25, 18, 0)


def house(name: str = "h", **bank: object) -> Household:
    found = document(name)
    found["banks"][0] |= bank
    return household.read(found)


def example() -> Household:
    return household.read((data_dir() / "example.json").read_text(encoding="utf-8"))


def lasts(home: Household, soc: float = 0.8, sky: str = "none", at: datetime = EVENING) -> Autonomy:
    first = home.supplies()[0].bank.id
    return autonomy(home, {first: soc}, parse_sky(sky, home.site, home.sun, at.month, 14), at)


def test_household_h_lasts_23_7_hours() -> None:
    # Design notes, product.md story 2: 8.602 kWh / (300 / 0.93 + 40) W = 23.7 h.
    answer = lasts(house())
    assert answer.hours_to_reserve == pytest.approx(23.7, abs=0.05)
    assert answer.ended_by == "reserve"
    assert answer.ends_at == datetime(2026, 11, 26, 17, 43, 23, 786477)


def test_a_load_measured_at_the_battery_side_loses_the_inverter_once() -> None:
    # 60 % of 14.336 kWh are 8.602: at (300 + 40) W 25.30 h, the losses being inside the 300; entered with them, at
    # 300 / 0.93 W, the same load lasts as long as the 300 W at the sockets do.
    found = document("h")
    (one,) = found["loads"]
    one |= {"measured": "battery"}
    assert lasts(household.read(found)).hours_to_reserve == pytest.approx(25.30, abs=0.005)
    one["values"] = {"power_w": 300.0 / 0.93}
    assert lasts(household.read(found)).hours_to_reserve == pytest.approx(lasts(house()).hours_to_reserve, rel=1e-9)


def test_real_cells_differ_and_the_worked_lines_say_by_which_losses() -> None:
    real = lasts(house(chemistry="lfp", hold=True))
    assert real.hours_to_reserve is not None
    assert real.hours_to_reserve != pytest.approx(23.7, abs=0.05)
    lines = {line.label: line.value for line in real.banks[0].worked}
    assert lines["Lost inside the cells"] > 0.0
    drawn = lines["Taken from the bank"] + lines["Sun put in until then"] - lines["Lost inside the cells"]
    assert lines["Drawn by the loads and the inverter"] == pytest.approx(drawn)
    assert lines["Hours"] == pytest.approx(drawn * 1000 / lines["Mean draw"], rel=1e-3)


@pytest.mark.parametrize("sky", ["none", "dark,dull,dark", "kc:.2,.1,.3", "oceanic_7d_1in10"])
def test_hours_range_curve_and_clock_agree(sky: str) -> None:
    answer = lasts(example(), soc=0.8, sky=sky)
    bank = answer.banks[0]
    assert answer.hours_to_reserve is not None
    assert answer.ends_at is not None
    assert answer.low_hours is not None
    assert answer.high_hours is not None
    assert answer.low_hours <= answer.hours_to_reserve <= answer.high_hours
    assert (answer.ends_at - answer.at).total_seconds() / 3600 == pytest.approx(answer.hours_to_reserve, abs=1e-6)
    crossing = np.interp(answer.hours_to_reserve, bank.times_h, bank.soc)
    assert crossing == pytest.approx(bank.reserve_soc, abs=1e-6)
    assert bank.soc[bank.times_h < answer.hours_to_reserve - 1].min() > bank.reserve_soc


def test_no_sun_is_the_shortest_and_more_sun_never_shortens() -> None:
    # The definition itself is checked in tests/published/test_autonomy_published.py.
    hours = [
        lasts(example(), sky=sky).hours_to_reserve or np.inf
        for sky in ("none", "dark,dark", "dull,dull", "bright,bright")
    ]
    assert hours == sorted(hours)


def test_a_bank_that_never_runs_out_says_none() -> None:
    idle = document()
    idle["loads"][0]["values"] = {"power_w": 5.0}
    idle["inverters"][0]["idle_w"] = 2.0
    answer = lasts(household.read(idle), sky="bright,bright")
    assert answer.hours_to_reserve is None
    assert answer.ends_at is None
    assert answer.levers == ()
    assert answer.horizon_h > 24 * 12


def test_after_sunset_the_days_begin_tomorrow() -> None:
    assert lasts(example(), sky="dark,dull").sky_days[0][0].day == 26
    assert lasts(example(), sky="dark,dull", at=datetime(2026, 11, 25, 9, 0)).sky_days[0][0].day == 25


def test_each_sheddable_load_is_worth_exactly_its_hours() -> None:
    home = example()
    answer = lasts(home, soc=0.9, sky="dark,dark,dull")
    assert answer.hours_to_reserve is not None
    listed = {lever.load_id: lever for lever in answer.levers if lever.load_id}
    assert set(listed) == {"borehole", "tank", "van"}
    without = dataclasses.replace(home, loads=tuple(load for load in home.loads if load.id != "van"))
    gained = (lasts(without, soc=0.9, sky="dark,dark,dull").hours_to_reserve or 0.0) - answer.hours_to_reserve
    assert listed["van"].gained_h == pytest.approx(gained)
    gains = [lever.gained_h for lever in answer.levers if lever.gained_h is not None]
    assert gains == sorted(gains, reverse=True)


def test_what_is_never_off_lasts_longer_alone() -> None:
    home = example()
    (alone,) = [lever for lever in lasts(home, sky="none").levers if lever.name.startswith("Everything off")]
    vital = dataclasses.replace(home, loads=tuple(load for load in home.loads if load.never_off))
    gained = (lasts(vital, sky="none").hours_to_reserve or 0.0) - (lasts(home, sky="none").hours_to_reserve or 0.0)
    assert alone.gained_h == pytest.approx(gained)


def test_reserve_lever_is_what_a_lower_reserve_gives_and_never_under_the_usual_one() -> None:
    cold = house(chemistry="lfp", cell_c=-8.0, reserve_soc=0.25)
    (lower,) = [lever for lever in lasts(cold).levers if lever.name.startswith("Reserve")]
    reached = house(chemistry="lfp", cell_c=-8.0, reserve_soc=0.15)
    gained = (lasts(reached).hours_to_reserve or 0.0) - (lasts(cold).hours_to_reserve or 0.0)
    assert lower.gained_h == pytest.approx(gained)
    for careful in (house(chemistry="lfp", reserve_soc=0.1), house(chemistry="lfp", reserve_v=3.1)):
        assert not [lever for lever in lasts(careful).levers if lever.name.startswith("Reserve")]


@pytest.mark.parametrize("sky", ["bright,bright,bright", "dull,bright,dark"])
@pytest.mark.parametrize("azimuth_deg", [90.0, 180.0, 270.0])
def test_range_holds_the_answer_even_for_panels_that_face_away(sky: str, azimuth_deg: float) -> None:
    steep = document()
    steep["sun"]["arrays"][0] |= {"tilt_deg": 60.0, "azimuth_deg": azimuth_deg}
    answer = lasts(household.read(steep), 0.5, sky, datetime(2026, 6, 15, 5, 0))
    hours = answer.hours_to_reserve or np.inf
    assert (answer.low_hours or np.inf) <= hours <= (answer.high_hours or np.inf)


def test_snow_neither_moves_the_typed_days_nor_melts_overnight() -> None:
    snowed = json.loads((data_dir() / "example.json").read_text(encoding="utf-8"))
    snowed["sun"]["covered_days"] = 1
    home = household.read(snowed)
    morning = lasts(home, 1.0, "bright,bright", datetime(2026, 12, 10, 7, 0))
    assert morning.sky_days[0][0].day == 10
    evening = autonomy(home, {}, parse_sky("bright,dark", home.site, home.sun, 12, 14), datetime(2026, 12, 10, 18, 0))
    bank = evening.banks[0]
    tomorrow = (bank.times_h > 12.0) & (bank.times_h < 24.0)
    assert np.all(np.diff(bank.soc[tomorrow]) <= 1e-12)


def test_two_banks_answer_for_themselves_and_the_soonest_leads() -> None:
    two = document()
    two["inverters"].append({**two["inverters"][0], "id": "shed", "name": "Shed"})
    two["banks"].append({**two["banks"][0], "id": "b2", "name": "Shed bank", "inverter": "shed"})
    two["loads"].append({"id": "saw", "name": "Saw", "kind": "steady", "inverter": "shed", "values": {"power_w": 700}})
    home = household.read(two)
    both = autonomy(home, {"bank": 0.8, "b2": 0.6}, parse_sky("none", home.site, home.sun, 11, 14), EVENING)
    assert both.bank_id == "b2"
    assert [bank.hours for bank in both.banks] == pytest.approx([23.7, 0.4 * 14336 / (700 / 0.93 + 40)], abs=0.05)


@pytest.mark.parametrize("charges", [{"bank": 1.2}, {"bank": -0.1}, {"bank": float("nan")}, {"other": 0.5}])
def test_bad_charge_is_refused(charges: dict[str, float]) -> None:
    home = house()
    with pytest.raises(InputError) as fault:
        autonomy(home, charges, parse_sky("none", home.site, home.sun, 11, 14), EVENING)
    assert fault.value.field == "charge"


@pytest.mark.parametrize(
    ("change", "words"), [({"banks": []}, "Banks"), ({"banks": [], "inverters": [], "loads": []}, "Banks")]
)
def test_empty_household_says_what_to_enter_first(change: dict[str, Any], words: str) -> None:
    empty = household.read({**document(), **change})
    with pytest.raises(Unreachable, match=words):
        supply_of(empty, None)


@pytest.mark.parametrize("month", [1, 4, 7, 12])
def test_story_5_needs_four_strings(month: int) -> None:
    # Design notes, product.md story 5: 3 x (12 / 0.93 + 0.96 - 3 x 0.95) = 33.0 kWh; / 0.7 = 47.2; / 14.336 -> 4.
    home = house("story5")
    answer = sizing(home, home.supplies()[0], 3, month, owner_dull_day(home.site, home.sun, month))
    assert answer.usable_kwh == pytest.approx(33.0, abs=0.05)
    assert answer.label_kwh == pytest.approx(47.2, abs=0.05)
    assert answer.strings == 4
    assert answer.at_sockets_kwh == pytest.approx(answer.usable_kwh * 12 / (12 / 0.93 + 0.96))


@pytest.mark.parametrize("risk", ["1in1", "1in5", "1in10"])
@pytest.mark.parametrize("month", [1, 11, 12])
def test_more_days_never_need_less_and_the_own_bank_lies_between_its_rows(risk: str, month: int) -> None:
    home = household.read((data_dir() / "example.json").read_text(encoding="utf-8"))
    sky = parse_sky(f"made_7d_{risk}", home.site, home.sun, month)
    answer = sizing(home, home.supplies()[0], 7, month, sky)
    needed_kwh = [0.0, *(row.usable_kwh for row in answer.rows)]
    assert needed_kwh == sorted(needed_kwh)
    assert answer.own_days is not None
    whole = min(int(answer.own_days), 7)
    assert needed_kwh[whole] <= answer.own_usable_kwh + 1e-9
    if whole < 7:
        assert answer.own_usable_kwh <= needed_kwh[whole + 1] + 1e-9


def test_sizes_never_fall_with_the_days_and_the_built_bank_holds() -> None:
    for home in (
        house("story5"),
        example(),
        house("story5", chemistry="sodium_layered", series=15, top_soc=1.0, hold=False),
    ):
        answer = sizing(home, home.supplies()[0], 7, 12, parse_sky("dark", home.site, home.sun, 12))
        for name in ("usable_kwh", "label_kwh", "strings", "at_sockets_kwh"):
            values = [getattr(row, name) for row in answer.rows]
            assert values == sorted(values)
        for row in answer.rows:
            assert row.unserved_kwh < 0.001
            assert row.lowest_soc >= answer.floor_soc - 0.01
            assert row.built_kwh >= row.usable_kwh * (1 - 1e-9)


@pytest.mark.parametrize("month", [4, 12])
def test_each_lever_of_a_size_is_what_the_size_becomes(month: int) -> None:
    def size_of(panels: float = 1.0, idle: float = 1.0, less_w: float = 0.0) -> Sizing:
        changed = document("story5")
        changed["banks"][0] |= {"chemistry": "lfp", "top_soc": 1.0}
        changed["sun"]["arrays"][0]["kwp"] *= panels
        changed["sun"]["dull_day_kwh"] = None
        changed["inverters"][0]["idle_w"] *= idle
        changed["loads"][0]["values"]["power_w"] -= less_w
        home = household.read(changed)
        return sizing(home, home.supplies()[0], 3, month, parse_sky("dull,dark", home.site, home.sun, month))

    whole = size_of()
    saved = {lever.name: lever.label_kwh for lever in whole.levers}
    for name, changed in (
        ("Half as many panels again", size_of(panels=1.5)),
        ("No idle draw of the inverter", size_of(idle=0.0)),
        ("1 kWh a day less at the sockets", size_of(less_w=1000 / 24)),
    ):
        assert saved[name] == pytest.approx(whole.label_kwh - changed.label_kwh, rel=1e-6)
        assert changed.label_kwh < whole.label_kwh


@pytest.mark.parametrize(
    ("sockets_w", "battery_w", "name", "less_kwh"),
    [
        (0.0, 300.0, "1 kWh a day less at the sockets", 1.0),
        (100.0, 300.0, "1 kWh a day less at the sockets", 1.0),
        (20.0, 0.0, "All the loads off", 0.48),
        (0.0, 20.0, "All the loads off", 0.48),
    ],
)
def test_a_kwh_less_is_taken_off_both_sides_and_never_more_than_there_is(
    sockets_w: float, battery_w: float, name: str, less_kwh: float
) -> None:
    """Each side gives up the same share of what it takes; 20 W are 0.48 kWh a day, and no more can be saved."""

    def size_of(left_share: float) -> Sizing:
        changed = document("story5")
        changed["sun"]["dull_day_kwh"] = None
        sides = (("ac", sockets_w * left_share), ("battery", battery_w * left_share))
        changed["loads"] = [
            {"id": side, "name": side, "kind": "steady", "measured": side, "values": {"power_w": watts}}
            for side, watts in sides
        ]
        home = household.read(changed)
        return sizing(home, home.supplies()[0], 3, 12, parse_sky("none", home.site, home.sun, 12))

    whole = size_of(1.0)
    lever = next(one for one in whole.levers if one.name == name)
    assert lever.kwh_per_day == pytest.approx(less_kwh)
    left_share = 1.0 - less_kwh / (0.024 * (sockets_w + battery_w))
    less = size_of(max(left_share, 1e-9))
    assert lever.label_kwh == pytest.approx(whole.label_kwh - less.label_kwh, rel=1e-4)
    assert less.label_kwh < whole.label_kwh


def test_the_loads_that_wait_are_a_lever_worth_the_size_without_them() -> None:
    def size_of(*, never_off: bool, removed: bool = False) -> Sizing:
        changed = document("story5")
        pump = {"id": "pump", "name": "Pump", "kind": "timed", "values": {"power_w": 900, "start_h": 9, "run_h": 3}}
        loads = [] if removed else [pump | ({"never_off": True} if never_off else {"can_wait": True})]
        changed["loads"] = [load | {"can_wait": False, "can_shed": False} for load in changed["loads"]] + loads
        home = household.read(changed)
        return sizing(home, home.supplies()[0], 3, 12, parse_sky("dull", home.site, home.sun, 12))

    whole, without = size_of(never_off=False), size_of(never_off=False, removed=True)
    (lever,) = [one for one in whole.levers if one.name.startswith("Pump off, or waiting")]
    assert lever.kwh_per_day == pytest.approx(2.7)
    assert lever.label_kwh == pytest.approx(whole.label_kwh - without.label_kwh)
    assert not [one for one in size_of(never_off=True).levers if "waiting" in one.name]


def test_a_load_beyond_the_inverter_does_not_ask_for_more_bank() -> None:
    over = document("story5")
    over["loads"].append({"id": "saw", "name": "Saw", "kind": "timed", "values": {"power_w": 5200, "run_h": 1}})
    home = household.read(over)
    answer = sizing(home, home.supplies()[0], 3, 12, parse_sky("dark", home.site, home.sun, 12))
    assert answer.strings <= 6
    assert answer.rows[2].unserved_kwh > 0.5


def test_short_panels_are_said_in_kwh_a_day() -> None:
    home = house("story5")
    winter, summer = (
        sizing(home, home.supplies()[0], 3, month, parse_sky("dull", home.site, home.sun, month)) for month in (12, 6)
    )
    assert winter.panels_short_kwh == pytest.approx(winter.daily_load_kwh - winter.average_yield_kwh)
    assert winter.useful_limit_kwh == 0.0
    assert winter.useful_limit_days == 1
    assert winter.rows[0].recovery_days is None
    assert summer.panels_short_kwh >= 0.0
    big = document("story5")
    big["sun"]["arrays"][0]["kwp"] = 20.0
    sunny = household.read(big)
    found = sizing(sunny, sunny.supplies()[0], 3, 6, parse_sky("dark", sunny.site, sunny.sun, 6))
    assert found.panels_short_kwh == 0.0
    days = [row.recovery_days for row in found.rows]
    assert None not in days
    assert days == sorted(days)  # type: ignore[type-var]


@pytest.mark.parametrize(
    ("days", "month", "field"), [(0, 6, "days"), (8, 6, "days"), (3, 0, "month"), (3, 13, "month")]
)
def test_bad_size_question_is_refused(days: int, month: int, field: str) -> None:
    home = house("story5")
    with pytest.raises(InputError) as fault:
        sizing(home, home.supplies()[0], days, month, parse_sky("dull", home.site, home.sun, 6))
    assert fault.value.field == field


def test_brighter_days_at_the_end_never_make_the_bank_smaller() -> None:
    home = example()
    answer = sizing(home, home.supplies()[0], 5, 6, parse_sky("dark,dull,bright", home.site, home.sun, 6))
    sizes = [row.usable_kwh for row in answer.rows]
    assert sizes == sorted(sizes)
    assert sizes[0] > 0.0
    assert all(row.unserved_kwh < 0.001 for row in answer.rows)


def test_each_number_of_days_takes_the_worst_run_of_the_spell() -> None:
    home = example()
    spell = parse_sky("kc:.5,.4,.1,.2,.6,.5,.4", home.site, home.sun, 12)
    answers = [sizing(home, home.supplies()[0], days, 12, spell) for days in range(1, 8)]
    assert len({tuple(row.usable_kwh for row in answer.rows) for answer in answers}) == 1
    sizes = [answer.usable_kwh for answer in answers]
    assert sizes == sorted(sizes)
    one = sizing(home, home.supplies()[0], 1, 12, parse_sky("kc:.1", home.site, home.sun, 12))
    assert sizes[0] == pytest.approx(one.usable_kwh)


def test_rows_stop_where_no_size_can_do_it() -> None:
    small = json.loads((data_dir() / "example.json").read_text(encoding="utf-8"))
    small["banks"][0] |= {"label_ah": 20, "tested_ah": 20, "parallel": 1}
    home = household.read(small)
    dark = parse_sky("dark", home.site, home.sun, 12)
    answer = sizing(home, home.supplies()[0], 2, 12, dark)
    assert 2 <= len(answer.rows) < 7
    with pytest.raises(Unreachable, match="200 strings"):
        sizing(home, home.supplies()[0], 7, 12, dark)


def test_a_bank_that_is_not_held_is_full_when_its_charger_says_so() -> None:
    plenty = document("story5")
    plenty["banks"][0] |= {"chemistry": "sodium_layered", "series": 15, "hold": False, "label_ah": 100, "top_soc": 1.0}
    plenty["sun"]["arrays"][0]["kwp"] = 14.0
    home = household.read(plenty)
    answer = sizing(home, home.supplies()[0], 3, 6, parse_sky("dark", home.site, home.sun, 6))
    assert answer.useful_limit_days is None
    assert all(row.recovery_days is not None and row.recovery_days < 14 for row in answer.rows)


def test_no_bank_is_asked_for_where_the_sun_never_sets() -> None:
    polar = document("story5")
    polar["site"] |= {"latitude_deg": 78.0, "longitude_deg": 16.0, "time_zone": "Arctic/Longyearbyen"}
    polar["sun"] = {"arrays": [{"id": "a", "name": "A", "kwp": 400.0, "tilt_deg": 0, "azimuth_deg": 180}]}
    home = household.read(polar)
    with pytest.raises(Unreachable, match="no bank is asked for"):
        sizing(home, home.supplies()[0], 3, 6, parse_sky("bright", home.site, home.sun, 6))


def test_week_runs_on_the_households_own_measured_cell() -> None:
    # A cell as LFP's, but of three times the resistance, in a bank that is not even joined: LFP's row loses more.
    home = example()
    week = parse_sky("dark,dull,dull,dark,dull,bright,bright", home.site, home.sun, 12, 7)
    lfp = catalogue.load("lfp")
    thrice = tuple(3 * r for r in lfp.r_slow_v_per_c)
    mine = dataclasses.replace(lfp, id="lfp/test-4", name="LFP, your test", r_slow_v_per_c=thrice)
    bank = dataclasses.replace(home.banks[1], id="mine", chemistry=mine, board=None)
    own = dataclasses.replace(home, banks=(*home.banks, bank))
    before, after = (
        {one.chemistry: one for one in comparing(h, h.supplies()[0], week, datetime(2026, 12, 1)).contenders}
        for h in (home, own)
    )
    assert after["lfp"].name == "LFP, your test"
    assert after["lfp"].losses_kwh > before["lfp"].losses_kwh
    assert after["nmc"].losses_kwh == before["nmc"].losses_kwh


@pytest.mark.parametrize("basis", ["label", "usable"])
def test_week_compares_four_chemistries_on_equal_terms(basis: str) -> None:
    home = example()
    week = parse_sky("oceanic_7d_1in10", home.site, home.sun, 12, 14)
    answer = comparing(home, home.supplies()[0], week, datetime(2026, 12, 1), basis)
    assert {c.chemistry for c in answer.contenders} == {"sodium_layered", "lfp", "nmc", "lead_sealed"}
    terms = [getattr(c, f"{basis}_kwh") for c in answer.contenders]
    assert terms == pytest.approx([terms[0]] * 4, rel=1e-6)
    for one in answer.contenders:
        assert abs(one.balance_error_share) < 1e-3
        assert one.served_kwh + one.unserved_kwh == pytest.approx(answer.demand_kwh)
        assert one.sun_kwh == pytest.approx(one.served_kwh + one.losses_kwh + one.stored_change_kwh, rel=1e-3)
        assert one.charge_v * one.series <= home.inverters[0].dc_max_v + 1e-9
        assert one.lowest_soc == one.soc.min()
    unserved = [c.unserved_kwh for c in answer.contenders]
    assert unserved == sorted(unserved)


def cold_week(cell_c: float, stated_a: float | None, basis: str = "label") -> Comparison:
    """The example's week with all cells at one temperature, and what is stated of its sodium-ion bank in the cold."""
    home = example()
    sealed, sodium = home.banks[:2]
    banks = (
        dataclasses.replace(sealed, cell_c=cell_c),
        dataclasses.replace(sodium, cell_c=cell_c, cold_charge_a=stated_a),
    )
    home = dataclasses.replace(home, banks=banks)
    week = parse_sky("dark,dull,dull,dark,dull,bright,bright", home.site, home.sun, 12, 7)
    return comparing(home, home.supplies()[0], week, datetime(2026, 12, 1), basis)


def test_a_chemistry_that_nobody_vouches_for_in_the_cold_is_said_not_to_be_charged() -> None:
    told = [notice.text for notice in cold_week(9.0, None).notices if notice.code == COLD_CODE]
    assert any("Sodium-ion" in text and "not charged at all here, for nobody has stated" in text for text in told)
    assert not any("Lead-acid" in text for text in told)
    assert not [notice for notice in cold_week(11.0, None).notices if notice.code == COLD_CODE]


@pytest.mark.parametrize("basis", ["label", "usable"])
def test_what_is_stated_of_an_own_bank_in_the_cold_counts_in_the_week(basis: str) -> None:
    unstated, stated, warm = (
        next(one for one in answer.contenders if one.chemistry == "sodium_layered")
        for answer in (cold_week(9.0, None, basis), cold_week(9.0, 160.0, basis), cold_week(10.0, None, basis))
    )
    assert unstated.sun_kwh < stated.sun_kwh
    # one degree apart, and as much current: the same but for a degree's capacity
    assert stated.unserved_kwh == pytest.approx(warm.unserved_kwh, rel=0.1)


@pytest.mark.parametrize("basis", ["label", "usable"])
def test_a_stated_current_keeps_its_share_of_the_label(basis: str) -> None:
    told = [notice.text for notice in cold_week(0.0, 21.0, basis).notices if notice.code == COLD_CODE]
    # 21 A of the example's 4 strings of 210 Ah are 0.025C
    assert any("Sodium-ion" in text and "at most 0.025C here" in text for text in told)


@pytest.mark.parametrize(("sky", "days"), [("none", 7.0), ("average", 0.0)])
def test_a_spell_is_worth_its_days_without_sun(sky: str, days: float) -> None:
    # NASA POWER, Solar Storage System Design (read): running sums; constant sun is worth 0, p dark days p. The week
    # of the solstice, whose days are alike within half a percent: 7 x 0.005 < 0.05.
    home = example()
    kc = average_day_kc(home.site, home.sun, 12)
    spell = parse_sky("kc:" + ",".join([str(kc)] * 7) if sky == "average" else sky, home.site, home.sun, 12, 7)
    answer = comparing(home, home.supplies()[0], spell, datetime(2026, 12, 18))
    assert answer.dark_days == pytest.approx(days, abs=0.05)


def test_larger_label_never_leaves_more_unserved() -> None:
    small, large = example(), example()
    bank = large.banks[0]
    large = dataclasses.replace(large, banks=(dataclasses.replace(bank, parallel=bank.parallel * 2), *large.banks[1:]))
    week = parse_sky("oceanic_7d_1in10", small.site, small.sun, 12, 14)
    found = [
        {c.chemistry: c.unserved_kwh for c in comparing(h, h.supplies()[0], week, datetime(2026, 12, 1)).contenders}
        for h in (small, large)
    ]
    assert all(found[1][key] <= found[0][key] + 1e-9 for key in found[0])


def test_sheet_holds_every_input_and_the_same_answers() -> None:
    home = example()
    sky = parse_sky("dark,dull,bright", home.site, home.sun, 11, 14)
    paper = sheet(home, EVENING, {"old": 0.8}, sky, sky, sky, 3)
    assert paper.autonomy.hours_to_reserve == lasts(home, 0.8, "dark,dull,bright").hours_to_reserve
    titles = [section.title for section in paper.sections]
    for thing in (*home.banks, *home.inverters, *home.loads, *home.sun.arrays):
        assert thing.name in titles
    text = json.dumps(dataclasses.asdict(paper.sections[0]))
    assert "54.2" in text
    assert "Europe/Dublin" in text
    assert all(item.kind and item.source for item in paper.assumptions)
    assert paper.steps[0].steps[0].left_kwh == pytest.approx(home.banks[0].label_kwh)
