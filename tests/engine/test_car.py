"""May I charge the car: by hand on constant volts, and each kind of answer once."""

from __future__ import annotations

import copy
import dataclasses
import json
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine.answers.car import car_answer
from engine.answers.car_parts import CAREFUL, CAUTIOUS, LIKELY, NO, PART, WAIT, YES, CarAnswer, car_of, plain_car
from engine.answers.coming import Coming, coming
from engine.balance.trajectory import Trajectory
from engine.errors import InputError, Unreachable
from engine.house import household
from engine.house.household import Household
from engine.sky.days import Sky, parse_sky

HOUSE = Path(__file__).parent.parent / "households" / "h.json"
VAN = {"id": "van", "name": "Van", "kind": "car",
       "values": {"distance_km": 20.0, "kwh_per_100km": 18.0, "charge_efficiency": 0.9, "charger_kw": 2.0}}  # fmt: skip
STORE_WH = 16 * 3.2 * 280
DRAWN_W = 40.0 + 300.0 / 0.93
LATE = datetime(2026, 11, 25, 23, 0)
EVENING = datetime(2026, 6, 3, 20, 0)
BRIGHT = "bright,bright,bright"


def house_h(**changes: Any) -> Household:
    document = copy.deepcopy(json.loads(HOUSE.read_text(encoding="utf-8")))
    document["loads"].append(VAN)
    return household.read({**document, **changes})


def with_loads(home: Household, *, base_w: float = 300.0, side: str = "ac", **van: float) -> Household:
    """The household with another steady draw, and with other values of its car."""
    base, car = home.loads
    return dataclasses.replace(
        home,
        loads=(
            dataclasses.replace(base, values={"power_w": base_w}),
            dataclasses.replace(car, measured=side, values={**car.values, **van}),
        ),
    )


def asked(
    home: Household, soc: float, sky: str, at: datetime, *, km: float = 20.0, risk: str = LIKELY, days: int = 1
) -> CarAnswer:
    car = next((car_of(load) for load in home.loads if load.kind == "car"), None) or plain_car({})
    return car_answer(home, car, {"bank": soc}, days_of(home, sky, at, days), at, km=km, risk=risk)


def days_of(home: Household, sky: str, at: datetime, days: int) -> Sky:
    return parse_sky(sky, home.site, home.sun, at.month, days)


def bare(home: Household, soc: float, sky: str, at: datetime, days: int) -> Coming:
    """The days without the car, put together from a household that has none."""
    alone = dataclasses.replace(home, loads=home.loads[:1])
    return coming(alone, {"bank": soc}, days_of(alone, sky, at, days), at)[1][0]


def charged_from(one: Coming, start_h: float, kwh: float, charger_w: float = 2000.0) -> tuple[Trajectory, int]:
    """The days with the charger on from a whole hour until the energy is in, and the edge at which it is."""
    ac_w, hour, left_wh = one.given.ac_w.copy(), round(start_h), kwh * 1000.0
    while left_wh > 1e-6:
        taken_wh = min(charger_w, left_wh)
        ac_w[hour] += taken_wh
        left_wh, hour = left_wh - taken_wh, hour + 1
    return one.run(dataclasses.replace(one.given, ac_w=ac_w)), hour


def codes(answer: CarAnswer) -> list[str]:
    return [notice.code for notice in answer.notices]


@pytest.mark.parametrize("soc", [0.9, 0.95, 0.87])
def test_without_sun_what_may_go_in_is_what_the_loads_leave_above_the_reserve(soc: float) -> None:
    # from 23 o'clock to the midnight after the next day: 25 hours of the loads, then down to the reserve
    answer = asked(house_h(), soc, "none", LATE)
    left_wh = (soc - 0.2) * STORE_WH - 25.0 * DRAWN_W
    assert answer.horizon_h == pytest.approx(25.0)
    assert 0.0 <= left_wh * 0.93 / 1000.0 - answer.most_kwh < 0.1 + 1e-9
    assert answer.most_km == pytest.approx(answer.most_kwh * 0.9 / 0.18)


@pytest.mark.parametrize("soc", [0.5, 0.6, 0.7])
def test_where_the_sun_comes_only_the_loads_until_it_carries_them_count(soc: float) -> None:
    # the lowest of store above reserve, less loads, plus sun, hour by hour until the bank is charged again
    answer = asked(house_h(), soc, "bright,bright", EVENING, days=2)
    assert answer.with_car.refill_h is not None
    net_wh = np.cumsum(bare(house_h(), soc, "bright,bright", EVENING, 2).given.sun_w - DRAWN_W)
    left_wh = (soc - 0.2) * STORE_WH + net_wh[: int(answer.with_car.refill_h)].min()
    assert left_wh < (soc - 0.2) * STORE_WH - 5.0 * DRAWN_W
    assert 0.0 <= left_wh * 0.93 / 1000.0 - answer.most_kwh < 0.1 + 1e-9


def test_a_charger_at_the_battery_side_loses_nothing_in_the_inverter() -> None:
    answer = asked(with_loads(house_h(), side="battery"), 0.9, "none", LATE)
    left_wh = 0.7 * STORE_WH - 25.0 * DRAWN_W
    assert 0.0 <= left_wh / 1000.0 - answer.most_kwh < 0.1 + 1e-9


def test_kilometres_are_what_charging_keeps_of_the_energy() -> None:
    car = plain_car({"kwh_per_100km": 18.0, "charge_efficiency": 0.9, "charger_kw": 3.6})
    assert car.kwh(50.0) == pytest.approx(10.0)
    assert car.km(10.0) == pytest.approx(50.0)
    assert car.charger_w == 3600.0
    assert car.assumed == ()
    assert set(plain_car({}).assumed) == {"kwh_per_100km", "charge_efficiency", "charger_kw"}


@pytest.mark.parametrize(
    ("soc", "km", "verdict"),
    [(0.9, 20.0, YES), (0.55, 400.0, PART), (0.24, 20.0, WAIT)],
)
def test_every_kind_of_answer_but_no_is_found_before_a_bright_day(soc: float, km: float, verdict: str) -> None:
    answer = asked(house_h(), soc, BRIGHT, EVENING, km=km, days=3)
    assert answer.verdict == verdict
    assert (answer.start_h == 0.0) == (verdict == YES)
    assert (0.0 < answer.part_kwh < answer.kwh) == (verdict == PART)
    assert answer.with_car.lowest_soc >= answer.floor_soc - 1e-9


def test_it_is_no_where_the_bank_just_carries_the_loads_themselves() -> None:
    # 72 Wh above 25 hours of the loads is not one step of a tenth of a kWh
    answer = asked(house_h(), 0.2 + (25.0 * DRAWN_W + 72.0) / STORE_WH, "none", LATE)
    assert (answer.verdict, answer.most_kwh, answer.start_h, answer.starts) == (NO, 0.0, None, ())
    assert answer.without.short_at is None
    assert answer.refused_by == "reserve"
    assert "never-refilled" in codes(answer)


def test_a_step_more_than_the_most_breaks_the_reserve() -> None:
    home = house_h()
    answer = asked(home, 0.9, "none", LATE)
    more_km = answer.car.km(answer.most_kwh + 0.1)
    assert asked(home, 0.9, "none", LATE, km=answer.most_km).verdict == YES
    refused = asked(home, 0.9, "none", LATE, km=more_km)
    assert refused.verdict == PART
    assert refused.part_kwh == pytest.approx(answer.most_kwh)
    assert refused.refused_by == "reserve"


@pytest.mark.parametrize(("soc", "km"), [(0.24, 20.0), (0.24, 25.0), (0.5, 60.0)])
def test_each_later_start_sees_the_bank_charged_again(soc: float, km: float) -> None:
    answer = asked(house_h(), soc, BRIGHT, EVENING, km=km, days=3)
    one = bare(house_h(), soc, BRIGHT, EVENING, 3)
    assert answer.starts
    for start in answer.starts:
        assert start.start_h > 0.0
        run, done = charged_from(one, start.start_h, answer.kwh)
        again = next(edge for edge in range(done, run.soc.size) if run.charged[edge] and run.spare_wh[edge - 1] > 0.0)
        assert run.soc[round(start.start_h) : again + 1].min() >= 0.2 - 1e-9
        assert start.lowest_soc == pytest.approx(run.soc.min())
        assert start.hours == pytest.approx(answer.kwh / 2.0)
    assert answer.starts[0].earliest
    # the sun of a bright day is enough for a start that costs the lowest charge nothing
    assert answer.starts[-1].gentlest
    assert answer.starts[-1].lowest_soc == pytest.approx(answer.without.soc.min(), abs=1e-4)


@pytest.mark.parametrize(("side", "hours"), [("ac", 4.0 / 1.5), ("battery", 4.0 / 7.4)])
def test_a_charge_the_inverter_holds_back_lasts_its_energy_over_what_the_loads_leave(side: str, hours: float) -> None:
    # 2,000 W of the inverter less 500 W of the loads: 20 km, 4 kWh, take 2 h 40 min; past the inverter, 7.4 kW
    home = with_loads(house_h(), base_w=500.0, side=side, charger_kw=7.4)
    home = dataclasses.replace(home, inverters=(dataclasses.replace(home.inverters[0], rated_w=2000.0),))
    answer = asked(home, 0.9, BRIGHT, datetime(2026, 6, 3, 8), days=3)
    assert answer.kwh == pytest.approx(4.0)
    assert answer.starts
    for start in answer.starts:
        assert start.hours == pytest.approx(hours)
        assert (start.end_at - start.start_at).total_seconds() == pytest.approx(3600.0 * hours)


def test_no_start_is_told_that_the_days_do_not_make_good_again() -> None:
    # 100 W and dull June days: the third one just fills the bank, but not after the car has taken four kWh
    home, dull = with_loads(house_h(), base_w=100.0), ",".join(["dull"] * 5)
    short, long = (asked(home, 0.3, dull[: 5 * days - 1], EVENING, days=days) for days in (3, 5))
    assert short.without.refill_h is not None
    assert (short.verdict, short.start_h) == (NO, None)
    run, done = charged_from(bare(home, 0.3, dull[:14], EVENING, 3), 59.0, short.kwh)
    assert run.ended_h is None
    assert not run.charged[done:].any()
    assert long.verdict == WAIT


def test_the_rest_of_a_part_comes_after_the_part() -> None:
    answer = asked(house_h(), 0.55, BRIGHT, EVENING, km=60.0, days=3)
    assert (answer.verdict, answer.part_kwh) == (PART, 1.3)
    assert answer.start_h is not None
    hours = np.flatnonzero(answer.charging_w > 0.0)
    assert answer.charging_w.sum() / 1000.0 == pytest.approx(answer.kwh)
    assert answer.charging_w[: int(answer.start_h)].sum() / 1000.0 == pytest.approx(1.3)
    assert hours[0] == 0
    assert answer.start_h in hours


def test_its_own_times_on_loads_are_left_out_first() -> None:
    home = house_h()
    hungry = with_loads(home, distance_km=80.0)
    without = dataclasses.replace(home, loads=home.loads[:1])
    noon = datetime(2026, 6, 3, 12, 0)
    light, heavy, plain = (asked(each, 0.8, "dull,dull", noon, days=2) for each in (home, hungry, without))
    assert heavy.own_day_kwh == pytest.approx(4.0 * light.own_day_kwh) == pytest.approx(16.0)
    assert heavy.without.soc == pytest.approx(bare(home, 0.8, "dull,dull", noon, 2).run().soc)
    assert heavy.most_kwh == light.most_kwh
    assert "own-times-out" in codes(heavy)
    assert "own-times-out" not in codes(plain)


def test_more_care_never_allows_more() -> None:
    home = house_h()
    most = [
        asked(home, 0.8, "bright,bright", EVENING, risk=risk, days=6).most_kwh for risk in (LIKELY, CAUTIOUS, CAREFUL)
    ]
    assert most == sorted(most, reverse=True)
    assert most[0] > most[1] > 0.0


def test_the_cautious_loads_are_a_tenth_more() -> None:
    answer = asked(house_h(), 0.95, "none", LATE, risk=CAUTIOUS)
    left_wh = 0.75 * STORE_WH - 25.0 * (40.0 + 330.0 / 0.93)
    assert 0.0 <= left_wh * 0.93 / 1000.0 - answer.most_kwh < 0.1 + 1e-9


def test_a_charger_beyond_the_inverter_is_told_and_held_back() -> None:
    home = house_h()
    answer = asked(with_loads(home, charger_kw=7.0), 0.9, "bright,bright", EVENING, km=30.0, days=2)
    assert answer.over_rated_w == pytest.approx(7000.0 + 300.0 - 5000.0)
    assert answer.charging_w[:2] == pytest.approx([4700.0, 1300.0])
    assert "car-over-rated" in codes(answer)
    assert "car-over-rated" not in codes(asked(home, 0.9, "bright,bright", EVENING, days=2))


def test_what_cannot_be_answered_is_refused() -> None:
    home = house_h()
    with pytest.raises(InputError, match="from 0 to 100 %; got 120 %"):
        asked(home, 1.2, "bright", EVENING)
    with pytest.raises(Unreachable):
        asked(dataclasses.replace(home, banks=()), 0.5, "bright", EVENING)


def test_with_and_without_the_car_are_told_of_the_same_hours() -> None:
    answer = asked(house_h(), 0.6, "bright,bright", EVENING, days=2, km=20)
    refill_h = answer.with_car.refill_h
    assert refill_h is not None
    same = answer.without.times_h <= refill_h + 1e-9
    assert answer.without.lowest_soc == pytest.approx(answer.without.soc[same].min())
    assert answer.without.lowest_soc >= answer.with_car.lowest_soc - 1e-9
