"""The charge of a bank: story 7, hand checks on a straight cell, and what no voltage can do."""

from __future__ import annotations

import dataclasses
import json
import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from engine.answers.charging import Charging, charging
from engine.answers.notices import household_notices
from engine.errors import InputError
from engine.house.bank import Board
from engine.house.household import Household, read, write
from tests.engine.plants import bank
from tests.engine.test_span import LINE

HOUSEHOLDS = Path(__file__).parent.parent / "households"
STORY_7 = read((HOUSEHOLDS / "story7.json").read_text(encoding="utf-8"))


NMC_BOARD = {"cell_low_v": 3.0, "cell_high_v": 4.2, "current_limit_a": 200.0}


def house(chemistry: str = "sodium_layered", inverter: dict[str, Any] | None = None, **changes: Any) -> Household:
    """Story 7's household with another bank or inverter."""
    document = write(STORY_7)
    one = bank(chemistry, board=None) if chemistry != "sodium_layered" else STORY_7.banks[0]
    board = None if not one.cell.needs_board else Board(cell_low_v=2.5, cell_high_v=3.65, current_limit_a=200)
    if chemistry != "sodium_layered":
        one = dataclasses.replace(one, board=board)
        document["banks"][0] = write(dataclasses.replace(STORY_7, banks=(one,)))["banks"][0]
    document["banks"][0] |= changes
    document["inverters"][0] |= inverter or {}
    return read(document)


def ask(found: Household, **question: Any) -> Charging:
    one = found.banks[0]
    asked = {"cell_v": one.charge_end_cell_v, "hold": one.hold, "month": 6} | question
    return charging(found, one, found.inverters[0], **asked)


def codes(answer: Charging) -> dict[str, str]:
    return {notice.code: notice.level for notice in answer.notices}


def setting(answer: Charging, key: str) -> Any:
    return next(one for one in answer.settings if one.key == key)


def test_story_7_full_is_a_stop_and_the_lower_setting_cures_it() -> None:
    # Design notes, product.md story 7: sodium-ion 16 in series, 63.2 V full against 60 V; pack V = V/cell x 16.
    full = ask(STORY_7)
    stop = next(notice for notice in full.notices if notice.level == "stop")
    assert stop.code == "over-inverter"
    assert "63.2 V" in stop.text
    assert full.pack_v == pytest.approx(63.2)
    values = stop.remedies[0].values
    mended = ask(house(**values))
    assert mended.pack_v <= 60.0
    assert "stop" not in codes(mended).values()
    assert codes(mended)["full-over-inverter"] == "check"
    shares = mended.span
    assert shares is not None
    assert shares.below_share > 0.0
    assert shares.above_share > 0.0
    assert shares.below_share + shares.inside_share + shares.above_share == pytest.approx(1.0)
    assert mended.best_series is not None
    assert mended.best_series.series == 15


def test_story_7_a_lower_limit_never_takes_from_the_usable_share() -> None:
    usable = [ask(house(inverter={"dc_min_v": v, "lowest_v": None})).span for v in (47.0, 44.0, 42.0, 40.0, 30.0)]
    shares = [one.inside_share for one in usable if one is not None]
    assert all(wider >= narrower for narrower, wider in pairwise(shares))
    assert shares[3] > shares[1]
    now = ask(STORY_7).span
    assert now is not None
    assert now.inside_share + (now.lowered_gain_share or 0.0) == pytest.approx(shares[3])


def test_story_7_the_hold_changes_the_charge_reached() -> None:
    held, bare = ask(STORY_7, cell_v=3.7), ask(STORY_7, cell_v=3.7, hold=False)
    assert held.reached.soc > bare.reached.soc
    assert held.reached.kwh > bare.reached.kwh
    assert (held.held, held.no_hold) == (bare.held, bare.no_hold)
    assert held.hold_worth.gain_soc == pytest.approx(held.held.soc - held.no_hold.soc)
    assert held.hold_worth.gain_kwh == pytest.approx(held.held.kwh - held.no_hold.kwh)


def straight(**changes: Any) -> Household:
    changed = {"series": 15, "label_ah": 100, "cell_c": 25, "cell_spread_mv": None, "board": None, **changes}
    one = bank(LINE, **changed)
    return dataclasses.replace(STORY_7, banks=(dataclasses.replace(one, inverter="main"),))


def test_a_straight_cell_by_hand() -> None:
    # Rested 2 + 2 s, 0.5 V per C: at 40 A of 100 Ah to 3.6 V stops at s = 0.7, held to 0.05C at 0.7875, held to rest
    # at 0.8; at the bench's 0.5C at 0.675. Mean rested volts from empty to s: 2 + s. Time: tests/engine/test_span.py.
    answer = ask(straight(), cell_v=3.6, hold=True, tail_c=0.05, charge_a=40.0)
    assert answer.no_hold.soc == pytest.approx(0.7)
    assert answer.held.soc == pytest.approx(0.7875)
    assert answer.bench_no_hold.soc == pytest.approx(0.675)
    assert answer.held.kwh == pytest.approx(15 * 100 * 0.7875 * 2.7875 / 1000)
    worth = answer.hold_worth
    assert worth.gain_ah == pytest.approx(8.75)
    assert worth.minutes == pytest.approx(60 * 0.519860, rel=1e-5)
    assert worth.slow_soc == pytest.approx(0.0075)
    assert worth.rest_soc == pytest.approx(0.0125)
    assert (answer.charge_c, answer.charge_limit) == (0.4, "typed")
    # 80 %: rested 3.6 V, + 0.4 x 0.5 without a hold, + 0.05 x 0.5 with one.
    eighty = answer.targets[0]
    assert (eighty.no_hold.cell_v, eighty.hold.cell_v) == (pytest.approx(3.8), pytest.approx(3.625))
    assert eighty.no_hold.pack_v == pytest.approx(57.0)
    assert eighty.count_ah == pytest.approx(80.0)
    # 100 % without a hold would take 4 + 0.4 x 0.5 = 4.2 V, 63 V of the pack.
    assert answer.targets[2].no_hold.cell_v is None
    assert "would take 4.20 V per cell" in answer.targets[2].no_hold.reason


def test_a_hold_of_hours_goes_before_its_tail() -> None:
    short = ask(straight(), cell_v=3.6, hold=True, charge_a=40.0, hold_h=0.25)
    # A quarter of an hour: 0.4C / e, tests/engine/test_span.py.
    assert short.hold_worth.tail_c == pytest.approx(0.4 / 2.718282, abs=1e-4)
    assert short.reached.soc == pytest.approx(short.hold_worth.to_soc)
    assert short.hold_worth.minutes == pytest.approx(15.0)
    long = ask(straight(), cell_v=3.6, hold=True, charge_a=40.0, hold_h=5.0)
    assert short.reached.soc < long.reached.soc <= 0.8
    assert ask(straight(), cell_v=3.6, hold=True, charge_a=40.0, hold_h=0.0).reached.soc == pytest.approx(0.7)


def test_a_hold_at_a_low_current_is_worth_nothing_by_definition() -> None:
    slow = ask(straight(), cell_v=3.6, hold=True, tail_c=0.08, charge_a=8.0).hold_worth
    assert (slow.gain_soc, slow.minutes) == (0.0, 0.0)
    assert "worth nothing by definition" in slow.words
    tenth = ask(STORY_7, cell_v=3.7, charge_a=20.0).hold_worth
    # Design notes, battery.md 2: sodium-ion, under 1 point at 0.1C.
    assert 0.0 < tenth.gain_soc < 0.01
    assert "worth next to nothing" in tenth.words


def test_the_hold_of_sodium_at_the_bench_is_worth_a_few_points() -> None:
    # Design notes, battery.md 2: 4-8 points at 0.5C with the half-gap resistance.
    answer = ask(house(charge_v=3.7), charge_a=100.0)
    assert 0.04 <= answer.hold_worth.gain_soc <= 0.08


def test_the_charge_current_names_what_limits_it() -> None:
    sun = ask(STORY_7)
    assert sun.charge_limit == "panels"
    noon_w = sun.charge_a * sun.pack_v
    # 4 kWp: no more than the label, and at a clear noon of June not less than half of it.
    assert 2000 < noon_w < 4000
    assert "clear noon" in sun.charge_from
    assert ask(STORY_7, month=12).charge_a < sun.charge_a
    assert ask(house(inverter={"charge_limit_a": 20.0})).charge_limit == "inverter"
    capped = ask(house(charge_limit_a=15.0))
    assert (capped.charge_a, capped.charge_limit) == (15.0, "bank")
    assert ask(house(label_ah=50.0)).charge_limit == "cell"
    small = write(STORY_7)["banks"][0]["board"] | {"current_limit_a": 12.0}
    assert ask(house(board=small)).charge_limit == "board"
    snowed = dataclasses.replace(STORY_7, sun=dataclasses.replace(STORY_7.sun, covered_days=10))
    assert ask(snowed).charge_a == sun.charge_a


def test_a_bank_on_no_inverter_is_answered_from_its_cells_and_board() -> None:
    lone = house(inverter=None)
    answer = charging(lone, lone.banks[0], None, cell_v=3.95, hold=False, month=6)
    assert (answer.span, answer.series_spans, answer.best_series) == (None, (), None)
    assert (answer.charge_c, answer.charge_limit) == (pytest.approx(0.1), "assumed")
    assert "stop" not in codes(answer).values()
    assert setting(answer, "cutoff").cell_v == pytest.approx(1.6, abs=0.1 / 16)
    assert {one.name for one in answer.assumptions} >= {"Charge current", "Load"}
    assert not any(one.name.startswith("Always on") for one in answer.assumptions)
    json.dumps(dataclasses.asdict(answer))


def test_lfp_is_not_controllable_by_voltage_below_its_top() -> None:
    # Design notes, battery.md 2: a hold at 3.30 V gives 70 %, at 3.34 V 97 %: a voltage does not stop it at 80 %.
    answer = ask(house("lfp", reserve_soc=0.1, cell_spread_mv=0.0))
    for one in answer.targets[:2]:
        for stop in (one.hold, one.no_hold):
            assert (stop.cell_v, stop.pack_v) == (None, None)
            assert stop.reason.startswith("not controllable by voltage; count ampere-hours")
    assert answer.targets[0].count_ah == pytest.approx(224.0)
    assert answer.targets[0].put_in_ah > 224.0
    assert answer.targets[2].hold.cell_v == pytest.approx(3.65, abs=0.001)
    assert answer.controllable
    flat = ask(house("lfp", reserve_soc=0.1), cell_v=3.3, hold=True)
    assert not flat.controllable
    assert codes(flat)["volts-do-not-decide"] == "check"
    assert any(not row.controllable for row in flat.rows)
    assert setting(answer, "again").cell_v is None
    assert "count ampere-hours" in setting(answer, "again").why


def test_the_own_count_stands_in_the_table_as_it_is_asked() -> None:
    answer = ask(STORY_7, cell_v=3.55)
    own = next(one for one in answer.series_spans if one.series == 16)
    assert own == answer.span
    assert own.setting_cell_v == 3.55
    other = next(one for one in answer.series_spans if one.series == 15)
    assert other.setting_cell_v == 3.95


def test_volts_that_a_charger_cannot_set_so_exactly_are_not_offered() -> None:
    # At 0.5C LFP meets 3.364 V at 80 % and again at 90 %: 0.01 V decides between them, so no volts stop it there.
    answer = ask(house("lfp", reserve_soc=0.1), charge_a=140.0)
    for one in answer.targets[:2]:
        assert one.no_hold.cell_v is None
        assert "0.01 V more or less" in one.no_hold.reason
    sodium = ask(house(series=15), charge_a=140.0)
    assert all(one.no_hold.cell_v is not None for one in sodium.targets[:2])


def test_nothing_above_board_and_highest_cell_is_offered() -> None:
    # Board 3.65 V, highest cell 100 mV above the mean: 3.55 V at most, so no 100 % and no lever beyond it.
    answer = ask(house("lfp", reserve_soc=0.1, cell_spread_mv=100.0), cell_v=3.4)
    assert answer.targets[2].hold.cell_v is None
    assert "3.65 V" in answer.targets[2].hold.reason
    ends = [one.name for one in answer.levers if one.name.startswith("End the charge")]
    assert all("3.55 V" in name for name in ends)


def test_no_cut_off_below_cells_and_board_is_offered() -> None:
    # NMC, 14 in series, 3.0 V empty, board 3.0 V: 14 x 3.1 = 43.4 V whatever the inverter can be set to.
    answer = ask(house("nmc", series=14, inverter={"lowest_v": 32.0, "dc_min_v": 44.0}, board=NMC_BOARD))
    assert answer.span.lowest_v == pytest.approx(43.4)
    assert not any("32 V" in one.name for one in answer.levers)
    under = ask(house("nmc", series=14, inverter={"lowest_v": 32.0, "dc_min_v": 32.0}, board=NMC_BOARD))
    assert codes(under)["cutoff-under-cells"] == "check"


def test_panels_that_can_give_more_than_the_bank_takes_are_a_stop() -> None:
    answer = ask(house(charge_limit_a=5.0))
    assert answer.charge_a == 5.0
    assert codes(answer)["over-charge-current"] == "stop"
    # The charger's own limit throttles; and of several limits the gravest decides.
    assert "over-charge-current" not in codes(ask(house(inverter={"charge_limit_a": 4.0}, charge_limit_a=5.0)))
    assert codes(ask(STORY_7, charge_a=2000.0))["over-charge-current"] == "stop"


def test_lead_acid_rows_are_not_called_flat_where_acceptance_begins() -> None:
    # Their columns begin with a step, from nothing to what the current is accepted up to.
    answer = ask(house("lead_sealed", series=24, charge_v=2.4, hold=True))
    assert all(row.controllable for row in answer.rows)
    lfp = ask(house("lfp", reserve_soc=0.1), charge_a=140.0)
    # 73 and 95 % at 3.36 and 3.37 V without a hold at 0.5C: no row there is a plain number.
    assert not any(row.controllable for row in lfp.rows if 3.355 < row.cell_v < 3.375)


def test_hot_lead_acid_is_told_to_charge_lower() -> None:
    # 2.40 V less 4 mV a degree over 20 degrees: 2.32 V.
    hot = ask(house("lead_sealed", series=24, charge_v=2.4, hold=True, cell_c=45.0))
    assert any(one.code == "lead-temperature" and "2.32 V per cell" in one.text for one in hot.notices)
    cool = ask(house("lead_sealed", series=24, charge_v=2.4, hold=True, cell_c=24.0))
    assert "lead-temperature" not in codes(cool)


def test_float_is_never_above_the_end_of_charge() -> None:
    low = ask(house("lead_sealed", series=24, charge_v=2.2, hold=True))
    assert setting(low, "float").cell_v == 2.2


def test_lead_acid_is_decided_by_what_it_accepts() -> None:
    # 1 - c tau with tau = 2 h of the data file: at 28 A of 280 Ah 80 %, held to 0.01C 98 %.
    answer = ask(house("lead_flooded", series=24, charge_v=2.4, hold=True), charge_a=28.0)
    assert answer.no_hold.soc == pytest.approx(0.8)
    assert answer.held.soc == pytest.approx(0.98)
    assert all(one.hold.cell_v is None and "accept" in one.hold.reason for one in answer.targets)
    assert setting(answer, "float").cell_v == 2.25
    assert codes(answer)["hydrogen"] == "check"
    assert codes(ask(house("lead_flooded", series=24, charge_v=2.4, hold=True), month=12))["hold-over-sun"] == "check"


def test_the_same_volts_say_the_same_charges_for_every_target() -> None:
    # 80 and 90 % of LFP come at volts that print alike: what they may mean is then alike too.
    reasons = [found for one in ask(house("lfp")).targets for found in (one.no_hold.reason, one.hold.reason)]
    told = [re.search(r"from (\S+ to \S+) V the charge goes from (.+)", reason) for reason in reasons]
    pairs = [found.groups() for found in told if found is not None]
    assert len(pairs) > len(dict(pairs))
    assert set(pairs) == set(dict(pairs).items())


def test_targets_read_back_at_their_volts() -> None:
    answer = ask(house(series=15))
    for one in answer.targets[:2]:
        for stop, hold in ((one.no_hold, False), (one.hold, True)):
            assert stop.cell_v is not None
            assert stop.pack_v == pytest.approx(stop.cell_v * 15)
            again = ask(house(series=15), cell_v=stop.cell_v, hold=hold, charge_a=answer.charge_a)
            assert again.reached.soc == pytest.approx(one.soc, abs=0.002)


def test_rows_are_the_curve_at_three_readings() -> None:
    answer = ask(STORY_7, charge_a=20.0)
    assert (answer.rows[0].cell_v, answer.rows[-1].cell_v) == (pytest.approx(1.5), pytest.approx(4.1))
    for row in answer.rows:
        assert row.bench_no_hold_soc <= row.no_hold_soc <= row.hold_soc <= 1.0
        assert row.pack_v == pytest.approx(row.cell_v * 16)
    at_setting = next(row for row in answer.rows if abs(row.cell_v - 3.7) < 1e-6)
    again = ask(STORY_7, cell_v=3.7, charge_a=20.0)
    assert (at_setting.no_hold_soc, at_setting.hold_soc) == pytest.approx((again.no_hold.soc, again.held.soc))


def test_settings_agree_with_the_inverters_window_and_the_board() -> None:
    answer = ask(house(charge_v=3.75))
    cutoff, restart, end = (setting(answer, key) for key in ("cutoff", "restart", "end"))
    assert (cutoff.pack_v, cutoff.now_pack_v) == (pytest.approx(40.0), 44.0)
    assert cutoff.pack_v < restart.pack_v < end.pack_v
    assert setting(answer, "float").cell_v is None
    unknown = ask(house(inverter={"lowest_v": None}))
    assert setting(unknown, "cutoff").pack_v == pytest.approx(44.0)
    assert "enter its lowest DC volts" in setting(unknown, "cutoff").why
    high = write(STORY_7)["banks"][0]["board"] | {"cell_low_v": 2.8}
    by_board = setting(ask(house(board=high)), "cutoff")
    assert by_board.pack_v == pytest.approx(2.9 * 16, abs=0.1)
    assert by_board.pack_v >= 2.9 * 16 - 1e-9
    assert "board" in by_board.why


BOARD = write(STORY_7)["banks"][0]["board"]
LOW = {"dc_min_v": 40.0}
STOPS: dict[str, Household] = {
    "over-inverter": house(),
    "over-charge-setting": house(charge_v=3.7, inverter={"absorb_max_v": 58.0}),
    "board-below-charge": house(series=14, inverter=LOW, board={**BOARD, "cell_high_v": 3.9}),
    "highest-cell-over-board": house(series=14, inverter=LOW, cell_spread_mv=80.0, board={**BOARD, "cell_high_v": 4.0}),
    "highest-cell-over-max": house(series=14, inverter=LOW, charge_v=4.08, cell_spread_mv=80.0),
}


@pytest.mark.parametrize("code", STOPS)
def test_a_setting_too_high_is_a_stop_that_one_click_cures(code: str) -> None:
    answer = ask(STOPS[code])
    assert codes(answer)[code] == "stop"
    remedy = next(notice for notice in answer.notices if notice.code == code).remedies[0]
    assert (remedy.section, remedy.item_id) == ("banks", "bank")
    document = write(STOPS[code])
    document["banks"][0] |= remedy.values
    mended = ask(read(document))
    assert "stop" not in codes(mended).values()


def test_a_spread_without_a_board_is_held_against_the_cells_own_limit() -> None:
    # 2.42 V + 50 mV is above the 2.45 V of the data file; 2.45 - 0.05 is not.
    answer = ask(house("lead_flooded", series=24, charge_v=2.42, hold=True, cell_spread_mv=50.0))
    stop = next(notice for notice in answer.notices if notice.code == "highest-cell-over-max")
    assert stop.remedies[0].values["charge_v"] == pytest.approx(2.40)


def test_the_asked_volts_are_answered_whatever_window_the_bank_keeps() -> None:
    windowed = house(top_v=3.4, reserve_soc=0.3, top_soc=0.2)
    assert ask(windowed, cell_v=3.7).reached == ask(STORY_7, cell_v=3.7).reached
    assert codes(ask(windowed, cell_v=3.95))["over-inverter"] == "stop"


def test_above_the_cell_itself_is_a_stop() -> None:
    answer = ask(house(series=14), cell_v=4.3)
    assert codes(answer)["over-cell"] == "stop"
    assert answer.cell_v == 4.1


def test_the_household_says_the_same_of_the_setting_it_keeps() -> None:
    for code in ("over-charge-setting", "highest-cell-over-max", "highest-cell-over-board"):
        found = {notice.code: notice for notice in household_notices(STOPS[code], 6)}
        assert code in found
        assert found[code].remedies


def test_the_highest_cell_stands_above_the_mean_by_the_entered_spread() -> None:
    assert ask(house(charge_v=3.75)).highest_cell_v == pytest.approx(3.79)
    assert ask(house(cell_spread_mv=None)).highest_cell_v is None


def test_the_balancer_works_while_the_volts_are_above_its_start() -> None:
    never = ask(house(charge_v=3.75))
    assert never.balancing is not None
    assert not never.balancing.reached
    assert codes(never)["balancer-never-starts"] == "check"
    # A straight cell at 0.4C: above 3.5 V from s = 0.65 to the end at 0.7: 0.05 / 0.4 h; the hold adds its minutes.
    board = Board(cell_low_v=1.9, cell_high_v=4.2, current_limit_a=100, balance_v=3.5, balance_a=0.2)
    answer = ask(straight(board=board), cell_v=3.6, hold=True, tail_c=0.05, charge_a=40.0)
    assert answer.balancing is not None
    assert answer.balancing.no_hold_min == pytest.approx(7.5)
    assert answer.balancing.hold_min == pytest.approx(7.5 + answer.hold_worth.minutes)
    assert answer.balancing.hold_ah == pytest.approx(0.2 * answer.balancing.hold_min / 60)
    assert ask(house(series=14)).balancing is not None
    assert ask(house(series=14, board={**BOARD, "balance_v": None})).balancing is None


def test_a_narrow_window_costs_what_it_leaves_out() -> None:
    answer = ask(house(series=15, inverter={"dc_min_v": 20.0, "lowest_v": None}), low_soc=0.2, high_soc=0.8)
    narrow = answer.narrow
    assert narrow is not None
    assert narrow.usable_kwh < narrow.widest_kwh
    assert narrow.cost_kwh == pytest.approx(narrow.widest_kwh - narrow.usable_kwh)
    # 40 of 100 points left out, the lower ones at lower volts: near 40 % of the energy.
    assert narrow.cost_share == pytest.approx(0.4, abs=0.03)
    assert narrow.low.cell_v is not None
    assert narrow.high.no_hold.cell_v is not None
    assert (narrow.low_count_ah, narrow.high.count_ah) == (pytest.approx(40.0), pytest.approx(160.0))
    whole = ask(house(series=15), low_soc=0.0, high_soc=1.0).narrow
    assert whole is not None
    assert whole.cost_kwh == pytest.approx(0.0, abs=1e-9)
    assert ask(STORY_7).narrow is None
    assert codes(ask(STORY_7, low_soc=0.1, high_soc=0.9))["window-under-cutoff"] == "check"
    assert codes(ask(house(charge_v=3.4), high_soc=0.9))["window-over-charge"] == "check"


def test_cold_cells_and_too_much_current_are_said() -> None:
    assert codes(ask(house(cell_c=-5.0, cold_charge_a=10.0)))["too-cold-to-charge"] == "check"
    assert codes(ask(STORY_7, charge_a=150.0))["over-charge-current"] == "stop"
    assert "over-charge-current" not in codes(ask(STORY_7, charge_a=90.0))


def test_worked_lines_can_be_followed() -> None:
    answer = ask(house(charge_v=3.7), cell_v=3.7)
    lines = {line.label: line for line in answer.worked}
    assert lines["Pack volts"].value == pytest.approx(3.7 * 16)
    assert lines["Charge current in C"].value == pytest.approx(lines["Charge current"].value / 200)
    shares = [lines[name].value for name in ("Below the cut-off", "Inside the window", "Above the setting")]
    assert sum(shares) == pytest.approx(100.0)
    assert lines["Stored from empty"].value == pytest.approx(answer.reached.kwh)


def test_levers_gain_the_hours_they_promise() -> None:
    answer = ask(house(charge_v=3.7, hold=False))
    found = {one.name: one.gained_h for one in answer.levers}
    assert {"Set the cut-off to 40 V", "Hold the volts to 0.08C"} <= found.keys()
    assert all(hours is not None and hours > 0.0 for hours in found.values())


@pytest.mark.parametrize(
    ("field", "question", "words"),
    [
        ("cell_v", {"cell_v": 1.4}, "above the empty volts of Sodium-ion (layered oxide), 1.5 V per cell"),
        ("cell_v", {"cell_v": 63.2}, "Charge ends at must be a number from 1 to 4.5 V per cell; got 63.2"),
        ("tail_c", {"tail_c": 0.0}, "Hold until the current falls to"),
        ("hold_h", {"hold_h": 100.0}, "Or hold for"),
        ("charge_a", {"charge_a": 0.0}, "Charge current"),
        ("bench_c", {"bench_c": 0.0}, "Bench current"),
        ("power_w", {"power_w": 0.0}, "Load must be"),
        ("low_soc", {"low_soc": 1.2}, "Window from"),
        ("high_soc", {"low_soc": 0.8, "high_soc": 0.2}, "Window to must be above Window from, 80 %; got 20 %"),
    ],
)
def test_what_cannot_be_is_refused(field: str, question: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError) as fault:
        ask(STORY_7, **question)
    assert fault.value.field == field
    assert words in fault.value.message


@pytest.mark.parametrize(
    ("section", "changes", "field"),
    [
        ("inverters", {"absorb_max_v": 61.0}, "inverters.0.absorb_max_v"),
        ("inverters", {"absorb_max_v": 43.0}, "inverters.0.absorb_max_v"),
        ("inverters", {"lowest_v": 44.5}, "inverters.0.lowest_v"),
        ("banks", {"cell_spread_mv": -1.0}, "banks.0.cell_spread_mv"),
        ("banks", {"board": {**BOARD, "balance_v": 4.2}}, "banks.0.board.balance_v"),
        ("banks", {"board": {**BOARD, "balance_a": 0.0}}, "banks.0.board.balance_a"),
    ],
)
def test_the_new_fields_refuse_what_cannot_be(section: str, changes: dict[str, Any], field: str) -> None:
    document = write(STORY_7)
    document[section][0] |= changes
    with pytest.raises(InputError) as fault:
        read(document)
    assert fault.value.field == field


@pytest.mark.parametrize(("dc_max_v", "stops"), [(58.0, True), (61.0, False)])
def test_cold_lead_acid_above_the_inverter_is_a_stop_and_never_called_inside(dc_max_v: float, stops: bool) -> None:
    """At 0 °C 2.40 V are 2.50 V, 60.0 V for 24 cells."""
    cold = house(
        "lead_flooded", series=24, charge_v=2.4, hold=True, cell_c=0.0, board=None, inverter={"dc_max_v": dc_max_v}
    )
    answer = ask(cold)
    assert (codes(answer).get("compensated-over-inverter") == "stop") is stops
    assert answer.span is not None
    assert answer.span.full_v == pytest.approx(60.0)
    assert answer.span.stop is stops
    assert answer.best_series is not None
    assert ("exceeds 58 V when full" in answer.best_series.reason) is stops
    assert ("inside 61 V" in answer.best_series.reason) is not stops


def test_acid_that_freezes_at_the_reserve_is_a_stop_here_too() -> None:
    """At 62.5 % the acid freezes at −30.2 °C (tests/engine/test_care.py)."""
    for cell_c, level in ((-35.0, "stop"), (-26.0, None)):
        cold = house("lead_flooded", series=24, hold=True, cell_c=cell_c, board=None, reserve_soc=0.625)
        assert codes(ask(cold)).get("acid-freezes") == level
