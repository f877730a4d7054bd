"""Why it went dark: the true cause of nights made by the hourly run is found, and the measurement named picks it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine.answers.dark import Dark, dark
from engine.answers.dark_causes import COLD, DRIFT, EMPTY, IDLE, OVERLOAD, SAG, UNFULL, UNSEEN, WEAK
from engine.answers.dark_measure import picked
from engine.answers.dark_night import Body, goes_dark
from engine.answers.dark_seen import AFTER, BEFORE, LOW, Seen
from engine.answers.dark_seen import OVERLOAD as SAID_OVERLOAD
from engine.answers.dark_weights import shares_of
from engine.balance.step import State, plant
from engine.balance.trajectory import run
from engine.cells.chemistry import at
from engine.errors import InputError, Unreachable
from engine.house.household import Household, read
from tests.engine.dark_nights import EVENING, EVENING_W, NIGHT_H, SHAPES, Fault, Made, household, made
from tests.engine.plants import bank, inverter

H = Path(__file__).resolve().parent.parent / "households" / "h.json"
DAY_H = timedelta(hours=30)
FAULTS = {
    EMPTY: Fault(full_before=DAY_H),
    DRIFT: Fault(offset=0.15, full_before=timedelta(days=35)),
    SAG: Fault(resistance=1.6, load_w=4200.0, full_before=DAY_H),
    UNSEEN: Fault(hidden_w=60.0, hidden_before_h=96.0, full_before=timedelta(hours=96)),
    WEAK: Fault(capacity=0.8, full_before=DAY_H),
    COLD: Fault(cell_c=-12.0, full_before=DAY_H),
    UNFULL: Fault(offset=0.2, full_before=timedelta(hours=20)),
}
HIGH_CUT_V = {"lfp": 50.4, "sodium_layered": 42.0, "lead_sealed": 46.8}
"""Cut-offs of the nights with sag: where an inverter is set so high, a kettle ends a bank that has charge left."""
EVERY = [(chemistry, cause) for chemistry in SHAPES for cause in FAULTS]


@lru_cache
def night(chemistry: str, cause: str) -> tuple[Household, Made, Dark]:
    house = household(chemistry, HIGH_CUT_V[chemistry] if cause == SAG else None)
    of = made(house, FAULTS[cause])
    return house, of, dark(house, house.supplies()[0], of.seen)


def truly_read(house: Household, of: Made, fault: Fault, code: str) -> float:
    """What an instrument would read on the bank as it really is, by the hourly run and the cell's table alone."""
    p, inverter = of.plant, house.inverters[0]
    ah = p.series_ah / p.series
    if code == "rest":
        return p.series * at(p.cells.ocv_v, of.true_soc)
    if code == "clamp":
        return (inverter.idle_w + fault.hidden_w) / (p.series * house.banks[0].cell.v_nominal)
    if code == "cells_c":
        return fault.cell_c
    if code == "counted_in":
        back = float(np.mean(p.cells.coulombic[round(of.true_soc * 1000) :]))
        return (1.0 - of.true_soc) * ah / back
    if code == "counted_out":
        hours = 400
        whole = run(p, State(1.0), [0.0] * hours, [EVENING_W] * hours, [0.0] * hours, until_ended=True)
        return (1.0 - float(whole.soc[-1])) * ah
    if code == "top_up":
        return fault.offset * house.banks[0].ah if fault.full_before == timedelta(hours=20) else 0.0
    if code == "again":
        return float(run(p, State(0.98), [0.0], [fault.load_w], [0.0], until_ended=True).ended_h == 0.0)
    assert code == "kettle"
    w = inverter.dc_w(2000.0)
    c = w / (p.series_ah * (at(p.cells.ocv_v, 0.6) - 0.5 * w / p.series_ah * at(p.cells.r_drawn, 0.6) / 3.0))
    return p.series * c * at(p.cells.r_fast, 0.6)


@pytest.mark.parametrize(("chemistry", "cause"), EVERY)
def test_the_true_cause_is_among_the_first_two(chemistry: str, cause: str) -> None:
    _, _, answer = night(chemistry, cause)
    assert cause in [one.code for one in answer.causes[:2]]
    assert sum(one.weight for one in answer.causes) == pytest.approx(1.0)


@pytest.mark.parametrize(("chemistry", "cause"), [pair for pair in EVERY if pair[1] != EMPTY])
def test_the_measurement_named_picks_the_true_cause(chemistry: str, cause: str) -> None:
    """Or says that nothing decides, and then only where the second cause needs next to nothing."""
    house, of, answer = night(chemistry, cause)
    deciding = answer.deciding
    if deciding is None:
        assert answer.first.code == cause
        return
    found = picked(deciding, truly_read(house, of, FAULTS[cause], deciding.code))
    assert cause in found
    assert set(found) != set(answer.leading)


@pytest.mark.parametrize(("chemistry", "cause"), [pair for pair in EVERY if pair[1] != EMPTY])
def test_what_the_true_cause_says_is_what_would_be_read(chemistry: str, cause: str) -> None:
    """Every measurement, on the bank as it is: within twice what it is good to and what the cause leaves open."""
    house, of, answer = night(chemistry, cause)
    for one in answer.measurements:
        said = next(of_cause for of_cause in one.expected if of_cause.code == cause)
        read_off = truly_read(house, of, FAULTS[cause], one.code)
        assert abs(said.reading - read_off) <= 2.0 * (one.error**2 + said.spread**2) ** 0.5, one.code


@pytest.mark.parametrize("chemistry", SHAPES)
def test_a_night_without_fault_is_called_so(chemistry: str) -> None:
    _, _, answer = night(chemistry, EMPTY)
    assert answer.usual
    assert answer.first.code == EMPTY
    assert answer.deciding is None


@pytest.mark.parametrize(
    ("cause", "truth", "within"),
    [(DRIFT, 0.15, 0.005), (WEAK, 0.2, 0.01), (UNFULL, 0.2, 0.01), (UNSEEN, 60.0, 20.0)],
)
@pytest.mark.parametrize("chemistry", SHAPES)
def test_what_the_true_cause_needs_is_what_was_wrong(chemistry: str, cause: str, truth: float, within: float) -> None:
    """The unseen draw is counted at the volts of one night; four days of it lie at others (a third is allowed)."""
    _, of, answer = night(chemistry, cause)
    found = next(one for one in answer.causes if one.code == cause)
    assert found.needed == pytest.approx(truth, abs=within)
    assert found.true_soc == pytest.approx(of.true_soc, abs=0.01)


@pytest.mark.parametrize(("chemistry", "cause"), [pair for pair in EVERY if pair[1] not in (EMPTY, SAG)])
def test_the_rerun_ends_when_it_went_dark(chemistry: str, cause: str) -> None:
    _, _, answer = night(chemistry, cause)
    found = next(one for one in answer.causes if one.code == cause)
    assert found.rerun is not None
    assert found.rerun.ended_h == pytest.approx(answer.night_h, abs=0.5)
    assert all(after <= before + 1e-9 for before, after in pairwise(found.rerun.soc))


@pytest.mark.parametrize("chemistry", ["lead_flooded", "lead_sealed", "lead_gel"])
def test_a_full_lead_acid_bank_goes_dark_where_the_step_ends_it(chemistry: str) -> None:
    pack, hungry_w = bank(chemistry, label_ah=200.0, cell_c=10.0, reserve_soc=0.0), 3500.0
    cut = inverter(dc_min_v=43.2, idle_w=0.0, k1=0.0, k2=0.0)
    found = goes_dark(pack, cut, hungry_w, hungry_w, Body(cell_c=10.0))
    ended = run(plant(pack, cut, hungry_w), State(1.0), [0.0] * 9, [hungry_w] * 9, [0.0] * 9, until_ended=True)
    assert found.soc < 0.9
    assert found.soc == pytest.approx(float(ended.soc[-1]), abs=2e-3)


def hand(load_w: float, soc: float = 0.2, **more: Any) -> Dark:
    """Household H with resistance: 3.2 V at any charge, 0.4 V per C, cut off at 48 V, which is 3.0 V a cell."""
    house = read(H.read_bytes())
    cell = dataclasses.replace(house.banks[0].cell, r_slow_v_per_c=(0.4, 0.4), r_fast_v_per_c=(0.4, 0.4))
    inverter = dataclasses.replace(house.inverters[0], dc_min_v=48.0, restart_v=50.0)
    bank = dataclasses.replace(house.banks[0], chemistry=cell)
    house = dataclasses.replace(house, banks=(bank,), inverters=(inverter,))
    seen = Seen(at=datetime(2026, 11, 25, 23, 0), soc=soc, load_w=load_w, cell_c=25.0, **more)
    return dark(house, house.supplies()[0], seen)


def test_sag_by_hand() -> None:
    """3,000 W: (40 + 1.0752688 × 3,000) ÷ (16 × 280 × 3.0 V) = 0.24299 C; 0.2 ÷ (0.4 × 0.24299) = 2.0577."""
    answer = hand(3000.0)
    found = next(one for one in answer.causes if one.code == SAG)
    current = (40.0 + 3000.0 * 1.0752688172) / (16 * 280 * 3.0)
    assert current == pytest.approx(0.24299, abs=5e-6)
    assert found.needed == pytest.approx(0.2 / (0.4 * current), rel=1e-3) == pytest.approx(2.0577, rel=1e-3)
    assert answer.expected_soc == 0.0


def test_a_load_past_what_the_volts_bear_needs_no_other_cause() -> None:
    """6,720 W from the bus is where 3.2 V falls to 3.0 V: 0.5 C × 0.4 V. Above it even a full bank goes dark."""
    house_w = (6720.0 - 40.0) / 1.0752688172
    for factor, ends in ((0.99, 0.0), (1.01, 1.0)):
        answer = hand_with_rating(house_w * factor)
        assert answer.expected_soc == ends


def hand_with_rating(load_w: float) -> Dark:
    house = read(H.read_bytes())
    cell = dataclasses.replace(house.banks[0].cell, r_slow_v_per_c=(0.4, 0.4), r_fast_v_per_c=(0.4, 0.4))
    inverter = dataclasses.replace(house.inverters[0], dc_min_v=48.0, restart_v=50.0, rated_w=10_000.0)
    house = dataclasses.replace(
        house, banks=(dataclasses.replace(house.banks[0], chemistry=cell),), inverters=(inverter,)
    )
    seen = Seen(at=datetime(2026, 11, 25, 23, 0), soc=0.2, load_w=load_w, cell_c=25.0)
    return dark(house, house.supplies()[0], seen)


def weight(answer: Dark, code: str) -> float:
    return next(one.weight for one in answer.causes if one.code == code)


def changed(chemistry: str, cause: str, **more: Any) -> Dark:
    house, of, _ = night(chemistry, cause)
    return dark(house, house.supplies()[0], dataclasses.replace(of.seen, **more))


def test_a_longer_time_since_full_speaks_for_drift() -> None:
    found = [weight(changed("lfp", DRIFT, full_at=EVENING - timedelta(days=days)), DRIFT) for days in (3, 10, 30)]
    assert found == sorted(found)
    assert found[-1] > 3 * found[0]


def test_a_higher_charge_shown_needs_more_drift_point_by_point() -> None:
    none = {"evening_at": None, "evening_soc": None}
    needed = [
        next(one.needed for one in changed("lfp", DRIFT, soc=soc, **none).causes if one.code == DRIFT)
        for soc in (0.2, 0.3, 0.4)
    ]
    assert np.diff([value for value in needed if value is not None]) == pytest.approx([0.1, 0.1], abs=1e-6)


@pytest.mark.parametrize(
    "change", [lambda k: {"load_w": 500.0 + 900.0 * k}, lambda k: {"cell_c": 20.0 - 8.0 * k}], ids=["load", "cold"]
)
def test_more_load_and_more_cold_end_it_at_a_higher_charge(change: Callable[[int], dict[str, float]]) -> None:
    found = [changed("lfp", EMPTY, **change(k)).expected_soc for k in range(4)]
    assert found == sorted(found)
    assert found[-1] > found[0]


def test_what_the_inverter_said_counts() -> None:
    low, over = (weight(changed("lfp", SAG, told=told), OVERLOAD) for told in (LOW, SAID_OVERLOAD))
    assert over > 5 * low


def test_more_than_the_inverter_bears_is_overload() -> None:
    answer = changed("lfp", SAG, load_w=6500.0, told=SAID_OVERLOAD)
    assert answer.first.code == OVERLOAD
    assert "over-the-inverter" in [notice.code for notice in answer.notices]


def test_rested_volts_tell_sag_from_drift() -> None:
    """Sag leaves the charge that was shown in the cells, drift does not: volts after the dark say which."""
    _, of, _ = night("sodium_layered", SAG)
    cells, p = of.plant.cells, of.plant
    full = {"volts_v": p.series * at(cells.ocv_v, of.seen.soc), "volts_when": AFTER}
    empty = {"volts_v": p.series * at(cells.ocv_v, of.seen.soc - 0.15), "volts_when": AFTER}
    loads = {"load_w": EVENING_W}
    assert weight(changed("sodium_layered", SAG, **full), SAG) > weight(changed("sodium_layered", SAG, **empty), SAG)
    assert weight(changed("sodium_layered", SAG, **empty, **loads), DRIFT) > 0.0


def test_more_counted_than_the_loads_take_is_a_hidden_draw() -> None:
    """300 W beside the evening's 350 for seven hours: 2.1 kWh that the monitor counted and no load asked for."""
    _, of, _ = night("lfp", EMPTY)
    more = 300.0 * NIGHT_H / (16 * 280 * 3.25)
    start = of.seen.evening_soc or 0.0
    answer = changed("lfp", EMPTY, evening_soc=start + more)
    found = next(one for one in answer.causes if one.code == IDLE)
    assert found.needed == pytest.approx(300.0, rel=0.1)
    assert weight(answer, IDLE) > 5 * weight(night("lfp", EMPTY)[2], IDLE)


def test_one_string_of_several_gone_is_counted_for() -> None:
    """Half of two strings missing is likelier than half of the capacity of one."""
    one = household("lfp")
    two = household("lfp", label_ah=140.0, parallel=2)
    seen = made(one, Fault(capacity=0.5, full_before=DAY_H), evening=False).seen
    alone, strings = (weight(dark(house, house.supplies()[0], seen), WEAK) for house in (one, two))
    assert strings > alone
    assert strings > 0.5


def test_a_cause_that_cannot_do_it_says_how_far_it_goes() -> None:
    """The ideal cell has the same capacity in any cold, so no temperature makes the night."""
    answer = hand(300.0, 0.4)
    found = next(one for one in answer.causes if one.code == COLD)
    if found.needed is not None:
        assert 25.0 - found.needed <= -20.0
    assert found.fits == "cannot"


def test_banks_that_share_a_bus_are_refused_in_words() -> None:
    house = household("lfp")
    second = dataclasses.replace(house.banks[0], id="second", name="Second")
    house = dataclasses.replace(house, banks=(house.banks[0], second))
    with pytest.raises(Unreachable, match="share one bus"):
        dark(house, house.supplies()[0], Seen(at=EVENING, soc=0.2, load_w=300.0, cell_c=10.0))


@pytest.mark.parametrize(
    ("field", "more"),
    [
        ("soc", {"soc": 1.2}),
        ("full_at", {"full_at": EVENING + timedelta(hours=1)}),
        ("evening_soc", {"evening_at": EVENING - timedelta(hours=5)}),
        ("evening_at", {"evening_soc": 0.5}),
        ("evening_at", {"evening_soc": 0.5, "evening_at": EVENING - timedelta(hours=30)}),
        ("evening_soc", {"evening_soc": 0.1, "evening_at": EVENING - timedelta(hours=5)}),
        (
            "full_at",
            {
                "evening_soc": 0.4,
                "evening_at": EVENING - timedelta(hours=5),
                "full_at": EVENING - timedelta(hours=2),
            },
        ),
        ("told", {"told": "smoke"}),
        ("volts_when", {"volts_when": "later"}),
    ],
)
def test_what_cannot_have_been_seen_is_refused(field: str, more: dict[str, Any]) -> None:
    with pytest.raises(InputError) as fault:
        Seen(**{"at": EVENING, "soc": 0.2, "load_w": 300.0, "cell_c": 10.0, "volts_when": BEFORE} | more)
    assert fault.value.field == field


@pytest.mark.parametrize("cause", FAULTS)
def test_lead_acid_is_never_emptied_to_measure_it(cause: str) -> None:
    """As when its capacity is tested, which stops at half."""
    offered = {chemistry: [one.code for one in night(chemistry, cause)[2].measurements] for chemistry in SHAPES}
    assert "counted_out" not in offered["lead_sealed"]
    assert "counted_out" in offered["lfp"]
    assert "counted_in" in offered["lead_sealed"]


def loads_asked(load_w: float, **changes: Any) -> dict[str, float]:
    """Loads that the measurements ask for, by their codes [W]."""
    house = household("lfp", **changes)
    seen = Seen(at=EVENING + timedelta(hours=5), soc=0.3, load_w=load_w, cell_c=15.0)
    return {one.code: one.load_w for one in dark(house, house.supplies()[0], seen).measurements if one.load_w > 0.0}


def test_no_more_load_is_asked_for_than_inverter_and_board_bear() -> None:
    """5,000 W by the inverter; 40 A at 16 × 3.2 V is 2,048 W from the bank, less than 2,000 W at the sockets draw."""
    assert loads_asked(5000.0)["again"] == 5000.0
    assert "again" not in loads_asked(5001.0)
    board = {"cell_low_v": 2.6, "cell_high_v": 3.6, "charge_min_c": 2.0, "current_limit_a": 40.0}
    assert loads_asked(1900.0, board=board)["again"] == 1900.0
    assert "again" not in loads_asked(2000.0, board=board)
    assert loads_asked(2000.0, board=board)["kettle"] == pytest.approx(1024.0)


def test_volts_that_no_pack_has_are_refused() -> None:
    """2.5 V a cell less a tenth, and 3.615 V, its rested volts when full, and a tenth: 36.0 and 63.6 V."""
    for volts_v, allowed in ((12.0, False), (35.9, False), (36.1, True), (63.5, True), (63.7, False), (300.0, False)):
        if allowed:
            assert changed("lfp", DRIFT, volts_v=volts_v).causes
            continue
        with pytest.raises(InputError, match="16 cells in series") as fault:
            changed("lfp", DRIFT, volts_v=volts_v)
        assert fault.value.field == "volts_v"


@pytest.mark.parametrize("when", [AFTER, BEFORE])
def test_volts_far_from_every_cause_do_not_make_them_alike(when: str) -> None:
    """60 V is 50 and more standard errors from anything here: nothing fits, and the weights still differ."""
    answer = changed("lfp", DRIFT, volts_v=60.0, volts_when=when)
    weights = [one.weight for one in answer.causes]
    assert sum(weights) == pytest.approx(1.0)
    assert weights[0] > 2.0 * weights[2]
    assert {one.fits for one in answer.causes} == {"cannot"}


def test_shares_by_hand() -> None:
    """e to the −2,000 is no number any more; a quarter and three quarters are."""
    assert shares_of([-2000.0, -2000.0 + np.log(3.0), -np.inf]) == pytest.approx((0.25, 0.75, 0.0))
    assert shares_of([-np.inf, -np.inf]) == (0.0, 0.0)


def test_full_just_after_an_evening_at_full_is_no_contradiction() -> None:
    evening: dict[str, Any] = {"evening_at": EVENING - timedelta(hours=5), "evening_soc": 0.99}
    Seen(at=EVENING, soc=0.2, load_w=300.0, cell_c=10.0, full_at=EVENING - timedelta(hours=4.5), **evening)


@pytest.mark.parametrize(
    ("at", "evening_at", "lit"),
    [
        (datetime(2026, 6, 20, 14, 0), None, True),
        (datetime(2026, 6, 20, 2, 0), None, False),
        (datetime(2026, 11, 25, 23, 0), None, False),
        (datetime(2026, 11, 25, 23, 0), datetime(2026, 11, 25, 18, 0), False),
        (datetime(2026, 11, 25, 23, 0), datetime(2026, 11, 25, 8, 0), True),
        (datetime(2026, 6, 20, 14, 0), datetime(2026, 6, 19, 23, 0), True),
    ],
)
def test_a_night_with_sun_in_it_is_said_to_be_none(at: datetime, evening_at: datetime | None, lit: bool) -> None:
    """At 52° north the sun is up from about half past three to half past eight in June, from 8 to 16 in November."""
    house = household("lfp")
    evening: dict[str, Any] = {} if evening_at is None else {"evening_at": evening_at, "evening_soc": 0.5}
    answer = dark(house, house.supplies()[0], Seen(at=at, soc=0.2, load_w=300.0, cell_c=15.0, **evening))
    assert ("sun-up" in [one.code for one in answer.notices]) == lit
