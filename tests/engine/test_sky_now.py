"""Sky now: today's energy, the hours gained or lost, and what is said of a reading that is none."""

from __future__ import annotations

import copy
import dataclasses
from datetime import datetime
from typing import Any

import pytest

from engine.answers.autonomy import autonomy
from engine.answers.sky_now import panel_w_from_amps, sky_now
from engine.answers.sky_parts import Found, SkyNow
from engine.errors import Unreachable
from engine.house import household
from engine.house.household import Household
from engine.sky.days import parse_sky
from engine.sky.moment import expected_w, moment
from engine.sky.reading import Shown
from engine.sky.rest_of_day import rest_of_day
from tests.conftest import SMALL_HOUSE

AT = datetime(2026, 11, 25, 10, 40)
CHARGES = {"store": 0.4}


def house(**sun: Any) -> Household:
    document = copy.deepcopy(SMALL_HOUSE)
    document["sun"].update(sun)
    return household.read(document)


def display(home: Household, kc: float, at: datetime = AT) -> Shown:
    """What the first array shows under a sky."""
    arrays = home.sun.arrays[:1]
    return Shown(arrays=arrays, panel_w=float(expected_w(home.site, home.sun, arrays, moment(home.site, at), [kc])[0]))


def asked(
    home: Household, kc: float, sky: str = "dark,dark,dull,dull,bright", at: datetime = AT, **more: Any
) -> SkyNow:
    days = parse_sky(sky, home.site, home.sun, at.month, 10)
    return sky_now(home, [display(home, kc, at)], at, days, more.pop("charges", CHARGES), **more)


def found(answer: SkyNow) -> Found:
    assert answer.found is not None
    return answer.found


def codes(answer: SkyNow) -> set[str]:
    return {one.code for one in answer.notices}


def test_the_days_handed_to_today_give_the_hours_that_were_told() -> None:
    home = house()
    for kc in (0.08, 0.2, 0.45, 0.9):
        told = found(asked(home, kc))
        (bank,) = told.banks
        days = parse_sky(told.day_sky, home.site, home.sun, AT.month, 10)
        answer = autonomy(home, CHARGES, days, AT)
        assert answer.hours_to_reserve is not None
        assert bank.after_h == pytest.approx(answer.hours_to_reserve, abs=0.05)


def test_the_sky_that_was_assumed_gains_nothing() -> None:
    home = house()
    first = found(asked(home, 0.3))
    again = found(asked(home, 0.3, sky=first.day_sky))
    assert again.banks[0].gained_h == pytest.approx(0.0, abs=0.05)
    assert again.assumed_rest_kwh == pytest.approx(again.rest.kwh, rel=0.01)


def test_a_brighter_sky_never_means_less_energy_or_fewer_hours() -> None:
    home = house()
    answers = [found(asked(home, kc)) for kc in (0.05, 0.1, 0.2, 0.4, 0.7, 1.0)]
    rests = [one.rest.kwh for one in answers]
    hours = [one.banks[0].after_h for one in answers]
    assert rests == sorted(rests)
    assert None not in hours
    assert hours == sorted(hours)  # type: ignore[type-var]
    assert all(one.rest.low_kwh <= one.rest.kwh <= one.rest.high_kwh for one in answers)


def test_the_range_of_hours_holds_the_hours() -> None:
    (bank,) = found(asked(house(), 0.3)).banks
    assert bank.after_low_h is not None
    assert bank.after_h is not None
    assert bank.after_low_h <= bank.after_h
    assert bank.after_high_h is None or bank.after_h <= bank.after_high_h


def test_until_now_and_the_rest_make_the_day() -> None:
    home = house()
    counted = found(asked(home, 0.3, made_kwh=1.25))
    assert counted.so_far_counted
    assert counted.today.kwh == pytest.approx(1.25 + counted.rest.kwh)
    told = found(asked(home, 0.3))
    assert not told.so_far_counted
    assert told.today.kwh == pytest.approx(told.hours.now_w.sum() / 1000.0)
    # What this very sky would have given since dawn is read back as this sky.
    same = found(asked(home, 0.3, made_kwh=told.so_far_kwh))
    assert same.so_far_kc == pytest.approx(0.3, abs=0.01)


def test_the_headline_is_the_middle_of_what_came_after_such_an_hour() -> None:
    home = house()
    for kc in (0.2, 0.4, 1.0):
        told = found(asked(home, kc))
        middle = rest_of_day(told.reading.usual_kc)[1]
        as_if = found(asked(home, middle))
        assert told.rest.kwh == pytest.approx(as_if.rest_unchanged_kwh, rel=0.01)
    assert found(asked(home, 0.2)).rest.kwh > found(asked(home, 0.2)).rest_unchanged_kwh
    # 0 W may be snow or a charger that is off: nothing is promised beyond the sky of now.
    days = parse_sky("dark", home.site, home.sun, 11, 10)
    none = found(sky_now(home, [Shown(arrays=home.sun.arrays, panel_w=0.0)], AT, days, CHARGES))
    assert none.rest.kwh == none.rest_unchanged_kwh


def test_the_hours_of_the_chart_part_at_the_reading() -> None:
    hours = found(asked(house(), 0.3)).hours
    assert hours.low_w[: AT.hour] == pytest.approx(hours.now_w[: AT.hour])
    assert hours.high_w[: AT.hour] == pytest.approx(hours.now_w[: AT.hour])
    gone = AT.hour
    assert (hours.low_w[gone:15] < hours.now_w[gone:15]).all()
    assert (hours.high_w[gone:15] > hours.now_w[gone:15]).all()


def test_the_words_of_the_table_are_the_households_own() -> None:
    plain = {one.word: one for one in asked(house(), 0.3).what_if}
    home = house(dull_day_kwh=1.2, dull_day_month=12)
    own = {one.word: one for one in asked(home, 0.3).what_if}
    dull_kc = parse_sky("dull", home.site, home.sun, 11).kc[0]
    assert own["dull"].kc == dull_kc != plain["dull"].kc
    assert (own["dull"].own, plain["dull"].own, own["bright"].own) == (True, False, False)
    kcs = [one.kc for one in asked(home, 0.3).what_if]
    assert kcs == sorted(kcs)


@pytest.mark.parametrize("sky", ["oceanic_3d_1in10", "made_3d_1in10", "dark,dull"])
def test_the_days_after_a_spell_are_handed_to_today_too(sky: str) -> None:
    home = house()
    told = found(asked(home, 0.2, sky=sky))
    days = parse_sky(told.day_sky, home.site, home.sun, AT.month, 10)
    assert days.kc[1:10] == pytest.approx(parse_sky(sky, home.site, home.sun, AT.month, 10).kc[1:10], abs=0.001)


def test_half_an_hour_later_half_of_the_hour_is_gone() -> None:
    home = house()
    ten, half, eleven = (
        asked(home, 0.3, at=datetime(2026, 11, 25, *when)).what_if[1].rest_kwh for when in ((10, 0), (10, 30), (11, 0))
    )
    assert half == pytest.approx((ten + eleven) / 2.0)
    assert ten > eleven


def test_amps_count_what_the_charger_loses() -> None:
    # 20 A at 51.2 V are 1024 W into the bank, of 1024 / 0.95 = 1077.9 W of the panels.
    assert panel_w_from_amps(20.0, 51.2, 0.95) == pytest.approx(1077.9, abs=0.05)


class TestNoHours:
    """Where there is no bank, no panel or no sun."""

    def test_without_a_bank_there_is_still_a_sky(self) -> None:
        home = dataclasses.replace(house(), banks=())
        answer = asked(home, 0.3, charges={})
        assert found(answer).reading.kc == pytest.approx(0.3, abs=0.005)
        assert found(answer).banks == ()
        assert "no bank yet" in found(answer).no_hours

    def test_without_panels_there_is_none(self) -> None:
        home = house(arrays=[])
        with pytest.raises(Unreachable, match="no panels yet"):
            sky_now(home, [], AT, parse_sky("dark", home.site, home.sun, 11, 10), {})

    def test_at_night_there_is_none(self) -> None:
        home = house()
        answer = sky_now(
            home,
            [display(home, 0.5)],
            datetime(2026, 11, 25, 20, 0),
            parse_sky("dark", home.site, home.sun, 11, 10),
            {},
        )
        assert answer.found is None
        assert answer.what_if == ()
        assert answer.readable_from is not None

    def test_once_todays_sun_is_over_for_today_no_hours_are_gained(self) -> None:
        tropics = dataclasses.replace(
            house(), site=dataclasses.replace(house().site, latitude_deg=0.0, time_zone="UTC")
        )
        at = datetime(2026, 3, 20, 18, 20)
        assert moment(tropics.site, at).height_deg > 5.0
        days = parse_sky("dark,dark,dull", tropics.site, tropics.sun, 3, 10)
        first = autonomy(tropics, CHARGES, days, at).sky_days[0][0]
        answer = asked(tropics, 0.5, at=at)
        if first != at.date():
            assert found(answer).assumed_kc is None
            assert found(answer).banks[0].gained_h == 0.0
        else:
            assert found(answer).assumed_kc == pytest.approx(0.1)


class TestNotices:
    """What a reading cannot tell is said."""

    def test_a_full_bank_holds_the_panels_back(self) -> None:
        home = house()
        top = home.banks[0].top_reached_soc
        answer = asked(home, 0.3, charges={"store": top})
        assert found(answer).reading.bound == "least"
        assert "held-back" in codes(answer)
        assert "held-back" in codes(asked(home, 0.3, held=True))
        assert "held-back" not in codes(asked(home, 0.3, charges={}))

    def test_a_nearly_full_bank_may(self) -> None:
        assert "nearly-full" in codes(asked(house(), 0.3, charges={"store": 0.93}))
        assert "nearly-full" not in codes(asked(house(), 0.3, charges={"store": 0.5}))

    def test_too_much_and_nothing(self) -> None:
        home = house()
        days = parse_sky("dark", home.site, home.sun, 11, 10)
        much = sky_now(home, [Shown(arrays=home.sun.arrays, panel_w=6000.0)], AT, days, CHARGES)
        assert "above-clear" in codes(much)
        none = sky_now(home, [Shown(arrays=home.sun.arrays, panel_w=0.0)], AT, days, CHARGES)
        assert "nothing-shown" in codes(none)
        assert found(none).reading.bound == "most"

    def test_covered_panels_that_give_power_are_not_covered(self) -> None:
        home = house(covered_days=3)
        answer = asked(home, 0.5)
        assert "not-covered" in codes(answer)
        free = found(asked(house(), 0.5))
        assert found(answer).rest.kwh == pytest.approx(free.rest.kwh)
        assert found(answer).banks[0].after_h == pytest.approx(free.banks[0].after_h)

    def test_displays_that_fit_no_one_sky(self) -> None:
        second = {"id": "shed", "name": "Shed", "kwp": 3.0, "tilt_deg": 35.0, "azimuth_deg": 170.0}
        home = house(arrays=[*SMALL_HOUSE["sun"]["arrays"], second])
        barn, shed = home.sun.arrays
        days = parse_sky("dark", home.site, home.sun, 11, 10)
        displays = [Shown(arrays=(barn,), panel_w=900.0), Shown(arrays=(shed,), panel_w=20.0)]
        told = sky_now(home, displays, AT, days, CHARGES)
        assert codes(told) == {"contradiction"}
        assert told.found is None
        bright, dim = told.apart
        assert bright.kc > 0.5 > 0.1 > dim.kc
        dark = [Shown(arrays=(barn,), panel_w=0.0), Shown(arrays=(shed,), panel_w=120.0)]
        assert codes(sky_now(home, dark, AT, days, CHARGES)) == {"contradiction"}
