"""May I charge the car: by hand on constant volts, and each kind of answer once."""

from __future__ import annotations

import copy
import dataclasses
import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from engine.answers.car import car_answer
from engine.answers.car_parts import CAREFUL, CAUTIOUS, LIKELY, NO, PART, WAIT, YES, CarAnswer, car_of, plain_car
from engine.answers.coming import coming
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


def house_h(**changes: Any) -> Household:
    document = copy.deepcopy(json.loads(HOUSE.read_text(encoding="utf-8")))
    document["loads"].append(VAN)
    return household.read({**document, **changes})


def asked(
    home: Household, soc: float, sky: str, at: datetime, *, km: float = 20.0, risk: str = LIKELY, days: int = 1
) -> CarAnswer:
    car = next((car_of(load) for load in home.loads if load.kind == "car"), None) or plain_car({})
    return car_answer(home, car, {"bank": soc}, days_of(home, sky, at, days), at, km=km, risk=risk)


def days_of(home: Household, sky: str, at: datetime, days: int) -> Sky:
    return parse_sky(sky, home.site, home.sun, at.month, days)


@pytest.mark.parametrize("soc", [0.9, 0.95, 0.87])
def test_without_sun_what_may_go_in_is_what_the_loads_leave_above_the_reserve(soc: float) -> None:
    # from 23 o'clock to the midnight after the next day: 25 hours of the loads, then down to the reserve
    answer = asked(house_h(), soc, "none", LATE)
    left_wh = (soc - 0.2) * STORE_WH - 25.0 * DRAWN_W
    assert answer.horizon_h == pytest.approx(25.0)
    assert 0.0 <= left_wh * 0.93 / 1000.0 - answer.most_kwh < 0.1 + 1e-9
    assert answer.most_km == pytest.approx(answer.most_kwh * 0.9 / 0.18)


def test_kilometres_are_what_charging_keeps_of_the_energy() -> None:
    car = plain_car({"kwh_per_100km": 18.0, "charge_efficiency": 0.9, "charger_kw": 3.6})
    assert car.kwh(50.0) == pytest.approx(10.0)
    assert car.km(10.0) == pytest.approx(50.0)
    assert car.charger_w == 3600.0
    assert car.assumed == ()
    assert set(plain_car({}).assumed) == {"kwh_per_100km", "charge_efficiency", "charger_kw"}


@pytest.mark.parametrize(
    ("soc", "sky", "km", "verdict"),
    [
        (0.9, "bright,bright,bright", 20.0, YES),
        (0.55, "bright,bright,bright", 400.0, PART),
        (0.24, "bright,bright,bright", 20.0, WAIT),
        (0.21, "dark,dark,dark", 20.0, NO),
    ],
)
def test_every_kind_of_answer_is_found(soc: float, sky: str, km: float, verdict: str) -> None:
    home = house_h()
    at = EVENING if verdict != NO else datetime(2026, 12, 3, 20, 0)
    answer = asked(home, soc, sky, at, km=km, days=3)
    assert answer.verdict == verdict
    if verdict == WAIT:
        assert answer.most_kwh < 0.2
        assert answer.start_h is not None
        assert 4.0 <= (at.hour + answer.start_h) % 24.0 <= 21.0
        assert answer.with_car.refill_h is not None
        assert answer.with_car.refill_h > answer.start_h
    if verdict == PART:
        assert 0.0 < answer.part_kwh < answer.kwh
        assert answer.with_car.lowest_soc >= answer.floor_soc - 1e-9
    if verdict == NO:
        assert answer.start_h is None


def test_a_step_more_than_the_most_breaks_the_reserve() -> None:
    home = house_h()
    answer = asked(home, 0.9, "none", LATE)
    more_km = answer.car.km(answer.most_kwh + 0.1)
    assert asked(home, 0.9, "none", LATE, km=answer.most_km).verdict == YES
    refused = asked(home, 0.9, "none", LATE, km=more_km)
    assert refused.verdict != YES
    assert refused.refused_by == "reserve"


def test_its_own_times_on_loads_are_left_out_first() -> None:
    home = house_h()
    hungry = dataclasses.replace(home.loads[1], values={**home.loads[1].values, "distance_km": 80.0})
    other = dataclasses.replace(home, loads=(home.loads[0], hungry))
    at = datetime(2026, 6, 3, 12, 0)
    light, heavy = (asked(each, 0.8, "bright,bright", at, days=2) for each in (home, other))
    assert heavy.own_day_kwh == pytest.approx(4.0 * light.own_day_kwh)
    assert heavy.most_kwh == light.most_kwh
    assert [notice.code for notice in heavy.notices if notice.code == "own-times-out"]


def test_more_care_never_allows_more() -> None:
    home = house_h()
    most = [
        asked(home, 0.8, "bright,bright", EVENING, risk=risk, days=6).most_kwh for risk in (LIKELY, CAUTIOUS, CAREFUL)
    ]
    assert most == sorted(most, reverse=True)
    assert most[0] > most[1] > 0.0


def test_a_charger_beyond_the_inverter_is_told() -> None:
    home = house_h()
    strong = dataclasses.replace(home.loads[1], values={**home.loads[1].values, "charger_kw": 7.0})
    answer = asked(dataclasses.replace(home, loads=(home.loads[0], strong)), 0.9, "bright,bright", EVENING, days=2)
    assert answer.over_rated_w == pytest.approx(7000.0 + 300.0 - 5000.0)
    assert "car-over-rated" in [notice.code for notice in answer.notices]
    assert "car-over-rated" not in [n.code for n in asked(home, 0.9, "bright,bright", EVENING, days=2).notices]


def test_the_days_without_the_car_are_those_of_the_supply() -> None:
    home = house_h()
    answer = asked(home, 0.7, "dull,dull", EVENING, days=2)
    bare = dataclasses.replace(home, loads=home.loads[:1])
    _, (one,) = coming(bare, {"bank": 0.7}, days_of(bare, "dull,dull", EVENING, 2), EVENING)
    assert answer.without.soc == pytest.approx(one.run().soc)


def test_what_cannot_be_answered_is_refused() -> None:
    home = house_h()
    with pytest.raises(InputError, match="from 0 to 100 %; got 120 %"):
        asked(home, 1.2, "bright", EVENING)
    with pytest.raises(Unreachable):
        asked(dataclasses.replace(home, banks=()), 0.5, "bright", EVENING)
