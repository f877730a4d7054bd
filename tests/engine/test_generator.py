"""A generator: its rules, its fuel, the cold rule and quiet hours, against hand calculation and limits."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from engine.balance.backup import Backup
from engine.balance.planned import Plan, PlannedGeneration, Run
from engine.balance.step import State, plant
from engine.balance.trajectory import Trajectory, run
from engine.errors import InputError
from engine.house import household
from tests.engine.plants import IDEAL, bank, generator, inverter

IDLE_W = 40.0
STORE_WH = 16 * 280 * 3.2
"""Household H's bank of ideal cells."""


def followed(
    soc: float,
    load_w: float,
    hours: int,
    chemistry: object = IDEAL,
    sun_w: float = 0.0,
    from_hour: int = 0,
    until_ended: bool = False,
    bank_changes: dict[str, object] | None = None,
    **changes: object,
) -> Trajectory:
    p = plant(bank(chemistry, **(bank_changes or {})), inverter(), 400.0)  # type: ignore[arg-type]
    series = [sun_w] * hours, [load_w] * hours, [0.0] * hours
    return run(p, State(soc), *series, generator=generator(**changes), from_hour=from_hour, until_ended=until_ended)


def test_starts_and_stops_where_the_hand_calculation_says() -> None:
    week = followed(0.8, 300.0, 14, stop_soc=0.79)
    generation = week.generation
    assert generation is not None
    # 30 % of 14.336 kWh at 300 / 0.93 + 40 W
    until_start_h = 0.3 * STORE_WH / (300 / 0.93 + IDLE_W)
    # its charger's 2000 W less the inverter's idle draw
    expected_h = 0.29 * STORE_WH / (2000 - IDLE_W)
    assert generation.starts_h == pytest.approx((until_start_h,), abs=1e-6)
    assert generation.run_h == pytest.approx(expected_h, abs=1e-6)
    (started_h, low), (stopped_h, high) = generation.switched
    assert (started_h, low, high) == pytest.approx((until_start_h, 0.5, 0.79), abs=1e-6)
    assert stopped_h == pytest.approx(until_start_h + expected_h, abs=1e-6)
    # 300 W at the sockets and 2000 / 0.9 W into its charger, on the straight line from 0.4 to 1.2 l/h at 3000 W
    given_w = 300 + 2000 / 0.9
    assert generation.litres == pytest.approx((0.4 + 0.8 * given_w / 3000) * expected_h, abs=1e-6)
    assert week.totals.generator_kwh == pytest.approx(given_w * expected_h / 1000, abs=1e-6)
    assert week.totals.charger_loss_kwh == pytest.approx((2000 / 0.9 - 2000) * expected_h / 1000, abs=1e-6)


def test_carries_the_sockets_first_and_charges_with_the_rest() -> None:
    week = followed(0.45, 2800.0, 1)
    # 200 W are left of its 3000: 180 W after its charger, of which the inverter's idle takes 40
    assert (week.soc[-1] - 0.45) * STORE_WH == pytest.approx(180 - IDLE_W, rel=1e-6)
    assert week.totals.served_kwh == pytest.approx(2.8)


def test_what_it_cannot_carry_the_inverter_adds() -> None:
    week = followed(0.45, 3500.0, 1)
    assert week.totals.served_kwh == pytest.approx(3.5)
    assert week.totals.generator_kwh == pytest.approx(3.0)
    assert (0.45 - week.soc[-1]) * STORE_WH == pytest.approx(500 / 0.93 + IDLE_W, rel=1e-6)


def test_does_not_run_in_quiet_hours() -> None:
    # it would be due at once; quiet from 22 to 7, asked from 20 o'clock on
    night = followed(0.45, 1500.0, 12, from_hour=20, quiet_from_h=22, quiet_to_h=7)
    assert night.generation is not None
    ran = night.generation.burnt[:, 0]
    assert np.all(ran[2:11] == 0.0)
    assert ran[0] > 0.0
    assert ran[11] > 0.0
    assert night.generation.starts_h == pytest.approx((0.0, 11.0))


def test_a_trajectory_begins_at_midnight_unless_it_is_said() -> None:
    p = plant(bank(IDEAL), inverter(), 400.0)
    series = [0.0] * 3, [1500.0] * 3, [0.0] * 3
    night = run(p, State(0.45), *series, generator=generator(quiet_from_h=0, quiet_to_h=1))
    assert night.generation is not None
    assert night.generation.burnt[:, 0] == pytest.approx([0.0, 1.0, 1.0])


def test_quiet_hours_end_a_run_before_its_shortest_time() -> None:
    night = followed(0.49, 300.0, 4, from_hour=21, quiet_from_h=22, quiet_to_h=7, least_run_h=3.0)
    assert night.generation is not None
    assert night.generation.run_h == pytest.approx(1.0)


def test_quiet_time_begins_and_ends_inside_the_hour() -> None:
    # it would be due at once; quiet from half past ten to half past six, asked from 20 o'clock on
    night = followed(0.45, 1500.0, 12, from_hour=20, quiet_from_h=22.5, quiet_to_h=6.5, stop_soc=1.0)
    assert night.generation is not None
    assert night.generation.burnt[:, 0] == pytest.approx([1, 1, 0.5, *[0] * 7, 0.5, 1])
    assert night.generation.starts_h == pytest.approx((0.0, 10.5))
    assert [at for at, _ in night.generation.switched] == pytest.approx([0.0, 2.5, 10.5])
    # from 1500 W at the sockets: half an hour on the engine's 1350 W after its charger, half on the bank
    gained_wh = 0.5 * (1350 - IDLE_W) - 0.5 * (1500 / 0.93 + IDLE_W)
    assert (night.soc[3] - night.soc[2]) * STORE_WH == pytest.approx(gained_wh, rel=1e-6)
    assert night.totals.balance_error_share == pytest.approx(0.0, abs=1e-9)


def test_an_hour_cut_at_the_half_is_two_half_hours() -> None:
    rules = generator(quiet_from_h=22.5, quiet_to_h=7)
    p = plant(bank("lfp"), inverter(), 400.0)
    whole, halves = Backup(p, rules), Backup(p, rules)
    kept = {"elapsed_h": 0.0, "hour_of_day": 22, "until_short": False}
    powers = 100.0, 900.0, 50.0
    ended, _ = whole.hour(State(0.45), *powers, 1.0, **kept)  # type: ignore[arg-type]
    loud = Backup(p, generator())
    middle, _ = loud.hour(State(0.45), *powers, 0.5, **kept)  # type: ignore[arg-type]
    last, _ = halves.hour(middle, *powers, 0.5, **(kept | {"elapsed_h": 0.5}))  # type: ignore[arg-type]
    assert ended == last
    assert whole.generation().run_h == loud.generation().run_h == pytest.approx(0.5)
    assert halves.generation().run_h == 0.0


@pytest.mark.parametrize(
    ("first_h", "ran_h"),
    # what is left of the hour from 22 to 23, and of it before half past ten
    [(1.0, 0.5), (0.75, 0.25), (0.5, 0.0), (0.2, 0.0)],
)
def test_quiet_time_begins_inside_an_hour_already_begun(first_h: float, ran_h: float) -> None:
    p = plant(bank(IDEAL), inverter(), 400.0)
    rules = generator(quiet_from_h=22.5, quiet_to_h=7)
    night = run(p, State(0.45), [0.0], [1500.0], [0.0], first_h=first_h, generator=rules, from_hour=22)
    assert night.generation is not None
    assert night.generation.run_h == pytest.approx(ran_h)
    assert night.hours[-1] == first_h


def test_quiet_time_all_within_one_hour_is_kept() -> None:
    noon = followed(0.45, 1500.0, 1, from_hour=12, quiet_from_h=12, quiet_to_h=12.5)
    assert noon.generation is not None
    assert noon.generation.starts_h == pytest.approx((0.5,))
    assert noon.generation.run_h == pytest.approx(0.5)
    assert generator(quiet_from_h=12, quiet_to_h=12.5).quiet_hours == 0.5


def test_whole_quiet_hours_never_cut_an_hour() -> None:
    rules = generator(quiet_from_h=22, quiet_to_h=7)
    for hour in range(24):
        for length_h in (1.0, 0.7, 0.1 + 0.2, 1e-6):
            assert rules.stretches(hour, length_h) == ((length_h, rules.is_quiet(hour)),)


@pytest.mark.parametrize("hours", [(22, 7), (22.0, 7.0), (22.5, 7), (0, 0)])
def test_quiet_hours_are_written_as_they_were_read(hours: tuple[float, float]) -> None:
    house = json.loads((Path(__file__).parent.parent / "households" / "h.json").read_text(encoding="utf-8"))
    stored = {"id": "g", "name": "G", "rated_w": 3000, "charger_w": 2000, "full_l_per_h": 1.2, "idle_l_per_h": 0.4}
    stored |= {"start_soc": 0.5, "stop_soc": 0.8, "quiet_from_h": hours[0], "quiet_to_h": hours[1]}
    (written,) = household.write(household.read({**house, "generators": [stored]}))["generators"]
    expected = [int(hour) if hour == int(hour) else hour for hour in hours]
    assert json.dumps([written["quiet_from_h"], written["quiet_to_h"]]) == json.dumps(expected)


def test_runs_no_shorter_than_its_shortest_run() -> None:
    week = followed(0.5, 300.0, 6, stop_soc=0.55, least_run_h=2.0)
    assert week.generation is not None
    assert week.generation.run_h == pytest.approx(2.0)
    assert week.soc.max() > 0.6


def test_below_freezing_it_carries_loads_and_does_not_charge_lithium() -> None:
    cold = followed(0.45, 300.0, 24, chemistry="lfp", bank_changes={"cell_c": -2.0})
    warm = followed(0.45, 300.0, 24, chemistry="lfp", bank_changes={"cell_c": 2.0})
    assert np.all(np.diff(cold.soc) <= 0.0)
    assert cold.totals.unserved_kwh == 0.0
    assert cold.totals.served_kwh == pytest.approx(7.2)
    assert cold.generation is not None
    assert cold.generation.run_h == pytest.approx(24.0)
    assert warm.soc.max() > 0.7


def test_charging_keeps_to_the_limits_of_cells_and_bank() -> None:
    week = followed(0.3, 0.0, 1, bank_changes={"charge_limit_a": 20.0})
    assert (week.soc[-1] - 0.3) * 280 == pytest.approx(20.0, rel=1e-6)


def test_the_solar_chargers_limit_is_not_the_generators() -> None:
    p = plant(bank(IDEAL), inverter(charge_limit_a=10.0), 400.0)
    week = run(p, State(0.3), [5000.0], [0.0], [0.0], generator=generator())
    # 10 A at 51.2 V from the sun, 2000 W from the generator, less idle
    assert (week.soc[-1] - 0.3) * STORE_WH == pytest.approx(512 + 2000 - IDLE_W, rel=1e-6)
    assert week.totals.sun_kwh == pytest.approx(0.512)


def test_the_sun_is_taken_before_fuel() -> None:
    lit = followed(0.45, 300.0, 1, sun_w=1000.0)
    assert lit.totals.sun_kwh == pytest.approx(1.0)
    assert lit.totals.spare_kwh == pytest.approx(0.0, abs=1e-12)


def test_a_start_under_the_reserve_is_made_at_the_reserve() -> None:
    week = followed(0.3, 500.0, 48, start_soc=0.05, until_ended=True)
    assert week.ended_h is None
    assert week.generation is not None
    # the reserve of 20 % is a tenth below the start
    assert week.generation.starts_h[0] == pytest.approx(0.1 * STORE_WH / (500 / 0.93 + IDLE_W), abs=1e-6)


def test_a_start_lifted_to_the_reserve_lifts_the_stop_by_five_points_above_it() -> None:
    week = followed(0.3, 500.0, 8, start_soc=0.05, stop_soc=0.1)
    assert week.generation is not None
    (_, low), (_, high), *_ = week.generation.switched
    assert (low, high) == pytest.approx((0.2, 0.25), abs=1e-6)


def test_a_cut_off_inverter_starts_it() -> None:
    cut = run(
        plant(bank("lfp", reserve_soc=0.0), inverter(dc_min_v=51.5, restart_v=53.0), 400.0),
        State(0.5),
        [0.0] * 24,
        [400.0] * 24,
        [0.0] * 24,
        generator=generator(start_soc=0.0, stop_soc=0.9),
    )
    assert cut.totals.unserved_kwh == 0.0
    assert cut.generation is not None
    assert cut.generation.run_h > 0.0
    assert cut.soc.max() > 0.85


def test_its_charging_brings_a_cut_off_inverter_back_at_once() -> None:
    # rested at 52.3 V the bank would not restart it at 52.4 V; with the charger's current it does
    p = plant(bank("lfp"), inverter(restart_v=52.4), 400.0)
    series = [0.0], [300.0], [100.0]
    assert run(p, State(0.6, on=False), *series).totals.served_kwh == 0.0
    hour = run(p, State(0.6, on=False), *series, generator=generator(start_soc=0.2))
    assert hour.totals.unserved_kwh == 0.0
    weak = run(p, State(0.6, on=False), *series, generator=generator(start_soc=0.2, charger_w=5))
    assert weak.totals.unserved_kwh == pytest.approx(0.1)


def test_stops_where_charging_ends_before_its_stop_charge() -> None:
    week = followed(0.45, 100.0, 12, chemistry="lfp", bank_changes={"top_v": 3.32, "hold": False}, stop_soc=1.0)
    assert week.generation is not None
    assert 0.0 < week.generation.run_h < 6.0
    assert week.soc.max() < 0.99


def test_carries_a_bank_too_cold_to_give_anything() -> None:
    frozen = followed(0.9, 300.0, 4, chemistry="lfp", bank_changes={"cell_c": -40.0})
    assert frozen.totals.unserved_kwh == 0.0
    assert frozen.generation is not None
    assert len(frozen.generation.starts_h) == 1


def test_without_a_charger_it_only_carries() -> None:
    week = followed(0.5, 300.0, 5, charger_w=0)
    assert week.generation is not None
    assert week.generation.run_h == pytest.approx(5.0)
    assert (0.5 - week.soc[-1]) * STORE_WH == pytest.approx(5 * IDLE_W, rel=1e-6)


def test_a_generator_that_is_never_due_changes_nothing() -> None:
    p = plant(bank("lfp"), inverter(), 400.0)
    series = [200.0] * 30, [300.0] * 30, [0.0] * 30
    plain = run(p, State(0.95), *series)
    beside = run(p, State(0.95), *series, generator=generator(start_soc=0.3))
    assert plain.soc.tolist() == beside.soc.tolist()
    assert beside.generation is not None
    assert beside.generation.starts_h == ()
    assert beside.generation.litres == 0.0


@pytest.mark.parametrize(
    ("changes", "field", "said"),
    [
        (
            {"stop_soc": 0.52},
            "stop_soc",
            "Stop at a charge of must be at least 5 points above the start, 50 %; got 52 %.",
        ),
        ({"idle_l_per_h": 2.0}, "idle_l_per_h", "at most that at full load, 1.2 l/h; got 2 l/h."),
        ({"quiet_from_h": 0, "quiet_to_h": 24}, "quiet_to_h", "leave no hour"),
        ({"quiet_from_h": 22.25}, "quiet_from_h", "a whole or half hour from 0 to 24 o’clock; got 22.25."),
        ({"rated_w": float("nan")}, "rated_w", "Continuous power must be a number"),
        ({"charger_w": -1.0}, "charger_w", "from 0 to 1,000,000 W; got -1."),
    ],
)
def test_refuses_what_cannot_be(changes: dict[str, object], field: str, said: str) -> None:
    with pytest.raises(InputError, match=said.replace(".", r"\.")) as refusal:
        generator(**changes)
    assert refusal.value.field == field


def test_a_litre_gives_no_more_than_it_holds() -> None:
    # Diesel holds about 10 kWh a litre (from memory): 5 kW out of 0.2 l/h would be 25.
    with pytest.raises(InputError, match=r"at least 0\.5 l/h for 5,000 W.*got 0\.2 l/h"):
        generator(rated_w=5000, full_l_per_h=0.2, idle_l_per_h=0.1)


def test_planned_runs_begin_and_end_when_they_are_said_to_and_are_told_one_by_one() -> None:
    # full enough and quiet by its rules: a plan does not ask; 300 W at the sockets throughout
    rules = generator(start_soc=0.1, stop_soc=0.2, least_run_h=5.0, quiet_from_h=0, quiet_to_h=12.0)
    runs = (Run(1.5, 1.25), Run(4.0, 0.5))
    p = plant(bank(IDEAL), inverter(), 400.0)
    week = run(
        p, State(0.6), [0.0] * 6, [300.0] * 6, [0.0] * 6, generator=Plan(generator=rules, runs=runs), from_hour=12
    )
    done = week.generation
    assert isinstance(done, PlannedGeneration)
    drawn, gained = (300 / 0.93 + IDLE_W) / STORE_WH, (2000 - IDLE_W) / STORE_WH
    given_w = 300 + 2000 / 0.9
    one, other = done.runs
    low = 0.6 - 1.5 * drawn
    assert (one.start_h, one.hours) == pytest.approx((1.5, 1.25))
    assert (one.start_soc, one.end_soc) == pytest.approx((low, low + 1.25 * gained))
    assert (one.given_wh, one.loss_wh) == pytest.approx((1.25 * given_w, 1.25 * 2000 * (1 / 0.9 - 1)))
    assert one.litres == pytest.approx(1.25 * (0.4 + 0.8 * given_w / 3000))
    assert (other.start_h, other.hours) == pytest.approx((4.0, 0.5))
    low = one.end_soc - 1.25 * drawn
    assert (other.start_soc, other.end_soc) == pytest.approx((low, low + 0.5 * gained))
    assert (other.given_wh, other.loss_wh) == pytest.approx((0.5 * given_w, 0.5 * 2000 * (1 / 0.9 - 1)))
    assert done.burnt[:, 0] == pytest.approx([0.0, 0.5, 0.75, 0.0, 0.5, 0.0])
    assert done.burnt[:, 3].sum() == pytest.approx(done.litres) == pytest.approx(one.litres + other.litres)
    assert done.starts_h == pytest.approx((1.5, 4.0))
    assert [at for at, _ in done.switched] == pytest.approx([1.5, 2.75, 4.0, 4.5])
    assert [soc for _, soc in done.switched] == pytest.approx([one.start_soc, one.end_soc, *other[2:4]])


def test_a_plan_of_no_runs_never_starts_it_and_no_plan_leaves_it_to_its_rules() -> None:
    p = plant(bank(IDEAL), inverter(), 400.0)
    series = [0.0] * 12, [1500.0] * 12, [0.0] * 12
    none = run(p, State(0.6), *series, generator=Plan(generator=generator(), runs=()))
    assert none.generation is not None
    assert none.generation.run_h == 0.0
    plain = run(p, State(0.6), *series, generator=generator())
    same = run(p, State(0.6), *series, generator=Plan(generator=generator()))
    assert isinstance(same.generation, PlannedGeneration)
    assert plain.generation is not None
    assert same.soc.tolist() == plain.soc.tolist()
    assert same.generation.switched == plain.generation.switched
    assert tuple(one.start_h for one in same.generation.runs) == plain.generation.starts_h
    assert sum(one.hours for one in same.generation.runs) == pytest.approx(plain.generation.run_h)
    assert sum(one.litres for one in same.generation.runs) == pytest.approx(plain.generation.litres)


def test_a_planned_run_past_the_shortfall_is_not_reached() -> None:
    p = plant(bank(IDEAL), inverter(), 400.0)
    # 10 % above the reserve at 1500 / 0.93 + 40 W: over within the hour, before the run at its last quarter
    plan = Plan(generator=generator(), runs=(Run(0.9, 1.0),))
    week = run(p, State(0.3), [0.0] * 3, [1500.0] * 3, [0.0] * 3, generator=plan, until_ended=True)
    assert week.ended_h == pytest.approx(0.1 * STORE_WH / (1500 / 0.93 + IDLE_W))
    assert isinstance(week.generation, PlannedGeneration)
    assert week.generation.runs == ()
    reached = Plan(generator=generator(), runs=(Run(0.75, 2.25),))
    assert run(p, State(0.3), [0.0] * 3, [1500.0] * 3, [0.0] * 3, generator=reached, until_ended=True).ended_h is None


def test_its_shortest_run_goes_on_past_the_stop_charge_and_then_it_stops() -> None:
    # from half a charge, 5 % by 2000 W less idle: 0.37 h, or the two hours of the shortest run
    for least_h, ran_h in ((2.0, 2.0), (0.1, 0.05 * STORE_WH / (2000 - IDLE_W))):
        week = followed(0.5, 300.0, 5, stop_soc=0.55, least_run_h=least_h)
        assert week.generation is not None
        (started, _), (stopped, high), *_ = week.generation.switched
        assert (started, stopped) == pytest.approx((0.0, ran_h), abs=1e-6)
        assert high == pytest.approx(0.5 + ran_h * (2000 - IDLE_W) / STORE_WH, abs=1e-6)
