"""A measured load runs as its profile says: by the month of the calendar, by the hour, by the day of the week."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.answers.coming import coming
from engine.answers.shedding import sheddable
from engine.balance.forcing import load_hours, mean_day_hours, mean_dc_w
from engine.balance.winters import winters
from engine.errors import InputError
from engine.house import household
from engine.house.household import Household
from engine.house.load_notes import running_w
from engine.house.load_profile import LONGEST_TITLE, MOST_DAYS, Profile
from engine.house.loads import Load, daily_kwh, hourly_w, notes, total
from engine.sky.days import parse_sky
from tests.engine.test_answers import EVENING, house, lasts
from tests.engine.test_winters import example, series_of

DAY_W = tuple(100.0 + 10.0 * hour for hour in range(24))
"""100 W at midnight and 10 W more in each hour: 5,160 Wh in all, 330 W in the last hour (by hand)."""
MONTH_W = tuple(tuple(watts * month for watts in DAY_W) for month in range(1, 13))
WEEK = (0.9, 0.9, 0.9, 0.9, 0.9, 1.0, 1.5)
"""Their sum is 7."""
MONDAY = datetime(2026, 6, 1)


def profile(**given: object) -> Profile:
    return Profile(**{"month_w": MONTH_W, "weekday_share": WEEK, "days": 400, "title": "Meter"} | given)


def load(**given: object) -> Load:
    return Load(**{"id": "m", "name": "The house", "kind": "measured", "profile": profile()} | given)


def with_loads(*loads: Load, latitude_deg: float = 52.0) -> Household:
    here = house()
    return replace(here, site=replace(here.site, latitude_deg=latitude_deg), loads=loads)


def test_a_day_is_the_mean_day_of_its_month():
    assert hourly_w(load(), 1).tolist() == list(DAY_W)
    assert daily_kwh(load(), 1) == pytest.approx(5.16)
    assert daily_kwh(load(), 12) == pytest.approx(12 * 5.16)


def test_a_measured_month_is_the_calendars_in_the_south_too():
    assert hourly_w(load(), 1, south=True).tolist() == list(DAY_W)
    south = with_loads(load(), latitude_deg=-35.0)
    assert mean_day_hours(south, south.supplies()[0], 7)[0].tolist() == list(MONTH_W[6])


def test_it_takes_nothing_outside_its_months():
    summer = load(months=(6, 7))
    assert hourly_w(summer, 5).tolist() == [0.0] * 24
    assert hourly_w(summer, 5, weekday=6).tolist() == [0.0] * 24
    assert daily_kwh(summer, 6) == pytest.approx(6 * 5.16)


def test_more_or_less_of_it_is_so_many_times_every_hour():
    assert hourly_w(load(values={"scale": 1.2}), 1)[[0, 23]] == pytest.approx([120.0, 396.0])
    assert not hourly_w(load(values={"scale": 0.0}), 1).any()


def test_a_day_whose_date_is_known_goes_by_its_day_of_the_week():
    assert hourly_w(load(), 1, weekday=6)[[0, 23]] == pytest.approx([150.0, 495.0])
    house = with_loads(load())
    ac_w, dc_w = load_hours(house, house.supplies()[0], MONDAY, 8)
    days = ac_w.reshape(8, 24)
    assert days[:, 0] == pytest.approx([540.0, 540.0, 540.0, 540.0, 540.0, 600.0, 900.0, 540.0])
    assert days[6] == pytest.approx([900.0 + 90.0 * hour for hour in range(24)])
    assert not dc_w.any()


def test_a_measured_load_of_the_battery_side_stays_there():
    house = with_loads(load(measured="battery"))
    ac_w, dc_w = load_hours(house, house.supplies()[0], MONDAY, 1)
    assert not ac_w.any()
    assert dc_w[0] == pytest.approx(540.0)
    assert total(house.loads, 6, "battery", weekday=6)[0] == pytest.approx(900.0)


def test_days_go_over_from_month_to_month_each_by_its_own_date():
    house = with_loads(load())
    ac_w, _ = load_hours(house, house.supplies()[0], datetime(2026, 5, 31), 2)  # a Sunday of May, a Monday of June
    assert ac_w.reshape(2, 24)[:, 0] == pytest.approx([750.0, 540.0])


@given(
    parts=st.lists(st.floats(0.0, 4.0), min_size=7, max_size=7).filter(lambda shares: sum(shares) > 2.0),
    off=st.floats(-9e-4, 9e-4),
    start=st.integers(0, 400),
)
def test_any_whole_week_within_a_month_takes_seven_mean_days(parts, off, start):
    shares = tuple(part * 7.0 * (1.0 + off) / sum(parts) for part in parts)
    if max(shares) > 5.0:
        return
    flat = profile(month_w=(DAY_W,) * 12, weekday_share=shares)
    house = with_loads(load(profile=flat))
    ac_w, _ = load_hours(house, house.supplies()[0], MONDAY + timedelta(days=start), 7)
    assert ac_w.reshape(7, 24).mean(axis=0) == pytest.approx(DAY_W, rel=1e-9)


def test_where_no_date_is_known_it_is_the_mean_day():
    even, uneven = with_loads(load(profile=profile(weekday_share=(1.0,) * 7))), with_loads(load())
    assert mean_dc_w(even, even.supplies()[0], 6) == mean_dc_w(uneven, uneven.supplies()[0], 6)
    for one in (even, uneven):
        assert mean_day_hours(one, one.supplies()[0], 6)[0].tolist() == list(MONTH_W[5])


def test_thirty_winters_go_by_mean_days():
    home = example()
    uneven, even = (replace(home, loads=(load(profile=one),)) for one in (profile(), profile(weekday_share=(1.0,) * 7)))
    series = series_of(home, 2)
    drawn = [winters(one, one.supplies()[0], series) for one in (uneven, even)]
    assert drawn[0].drawn_w.tolist() == drawn[1].drawn_w.tolist()
    for of_month, each in zip(drawn[0].month, drawn[0].ac_w[drawn[0].kind], strict=True):
        assert each.tolist() == list(MONTH_W[of_month])


def test_today_with_it_is_today_with_loads_by_rule_that_take_the_same_hours():
    rules = (
        Load(id="f", name="Fridge", kind="steady", values={"power_w": 180.0}),
        Load(id="w", name="Washing", kind="timed", values={"power_w": 900.0, "run_h": 2.5, "start_h": 19.0}),
    )
    day_w = tuple(float(watts) for watts in total(rules, 11, "ac"))
    # From 25 November 2026, a Wednesday, into Thursday: halved, and doubled again by their shares of the week.
    halved = tuple(watts / 2.0 for watts in day_w)
    twice = profile(month_w=(halved,) * 12, weekday_share=(0.0, 1.0, 2.0, 2.0, 0.0, 1.0, 1.0))
    by_rule, measured = lasts(with_loads(*rules)), lasts(with_loads(load(profile=twice)))
    assert by_rule.at == EVENING
    assert by_rule.hours_to_reserve is not None
    assert by_rule.hours_to_reserve < 30.0
    assert measured.hours_to_reserve == pytest.approx(by_rule.hours_to_reserve, rel=1e-9)
    other_day = lasts(with_loads(load(profile=twice)), at=datetime(2026, 11, 28, 18, 0))
    assert other_day.hours_to_reserve != pytest.approx(by_rule.hours_to_reserve, rel=0.2)


def test_energy_a_day_that_is_told_is_the_mean_days():
    answer = lasts(with_loads(load(can_shed=True, profile=profile(month_w=(DAY_W,) * 12))))
    assert answer.banks[0].load_kwh_per_day == pytest.approx(5.16)
    (lever,) = [one for one in answer.banks[0].levers if one.load_id == "m"]
    assert lever.kwh_per_day == pytest.approx(5.16)


@pytest.mark.parametrize("may", [False, True])
def test_it_is_switched_off_as_one_and_only_where_that_was_ticked(may):
    home = with_loads(load(can_shed=may), Load(id="f", name="Fridge", kind="steady"))
    sky = parse_sky("none", home.site, home.sun, EVENING.month, 14)
    one = coming(home, {"bank": 0.8}, sky, EVENING)[1][0]
    assert [row.id for row in sheddable(one)] == (["m"] if may else [])


def test_loads_by_rule_know_no_day_of_the_week():
    fridge = Load(id="f", name="Fridge", kind="steady")
    assert hourly_w(fridge, 1, weekday=6).tolist() == hourly_w(fridge, 1).tolist()
    house = with_loads(fridge, load())
    alone, both = with_loads(fridge), load_hours(house, house.supplies()[0], MONDAY, 7)[0]
    measured = with_loads(load())
    each = (load_hours(one, one.supplies()[0], MONDAY, 7)[0] for one in (alone, measured))
    assert both == pytest.approx(sum(each))


def test_its_highest_hour_is_that_of_any_month_it_runs_in_on_its_heaviest_day():
    assert running_w(load(months=(1, 2, 3))) == pytest.approx(330.0 * 3 * 1.5)
    assert running_w(load(months=(1,), values={"scale": 2.0})) == pytest.approx(330.0 * 1.5 * 2.0)


def test_notes_of_it_speak_of_its_log():
    (over,) = notes(load(), rated_w=5000.0)
    assert over.code == "over-inverter"
    assert over.text == "The house takes up to 5,940 W in an hour’s mean, more than the 5,000 W its inverter can give."
    assert notes(load(), rated_w=6000.0) == ()
    (rest,) = notes(load(months=(12,)), others_kwh=1.0)
    assert rest.code == "over-the-rest"
    assert "Check that its log was read in the right unit" in rest.text
    assert "field" not in rest.text


# What is refused -------------------------------------------------------------------------------


def test_a_measured_load_needs_what_was_measured_and_no_other_kind_has_it():
    with pytest.raises(InputError, match="The house is a measured load without its profile") as fault:
        load(profile=None)
    assert fault.value.field == "profile"
    with pytest.raises(InputError, match="“Always on”; only a load of the kind “Measured” may have") as fault:
        load(kind="steady")
    assert fault.value.field == "profile"
    with pytest.raises(InputError, match="Times what was measured must be a number from 0 to 10; got 11"):
        load(values={"scale": 11.0})


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("month_w", MONTH_W[:11], "needs 12 months of 24 hours"),
        ("month_w", (*MONTH_W[:11], DAY_W[:23]), "needs 12 months of 24 hours"),
        ("month_w", (*MONTH_W[:11], (*DAY_W[:23], -1.0)), "got -1 W in month 12"),
        ("month_w", (*MONTH_W[:11], (*DAY_W[:23], float("nan"))), "got nan W in month 12"),
        ("weekday_share", WEEK[:6], "need 7 shares from 0 to 5"),
        ("weekday_share", (0.0,) * 6 + (7.0,), "need 7 shares from 0 to 5"),
        ("weekday_share", (1.1,) * 7, "must have a mean of 1; theirs is 1.1"),
        ("days", -1, "may rest on 0 to 36,600 days; got -1"),
        ("days", MOST_DAYS + 1, "may rest on 0 to 36,600 days; got 36,601"),
        ("title", "x" * (LONGEST_TITLE + 1), "may have 200 characters; it has 201"),
    ],
)
def test_a_profile_that_cannot_be_is_refused_in_words_and_in_its_place(field, value, sentence):
    with pytest.raises(InputError, match=sentence) as fault:
        profile(**{field: value})
    assert fault.value.field == field
    document = household.write(with_loads(load()))
    document["loads"][0]["profile"][field] = value
    with pytest.raises(InputError, match=sentence) as fault:
        household.read(document)
    assert fault.value.field == f"loads.0.profile.{field}"


# The document ----------------------------------------------------------------------------------


def test_it_comes_back_from_the_document_as_it_was():
    house = with_loads(load(values={"scale": 1.1}), Load(id="f", name="Fridge", kind="steady"))
    document = household.write(house)
    assert document["loads"][1]["profile"] is None
    assert household.read(document) == house
    hash(household.read(document))


def test_documents_from_before_are_read_as_they_were():
    document = household.write(with_loads(Load(id="f", name="Fridge", kind="steady")))
    del document["loads"][0]["profile"]
    assert household.read(document).loads[0].profile is None


def test_an_unknown_field_of_it_is_refused_by_name():
    document = household.write(with_loads(load()))
    document["loads"][0]["profile"]["colour"] = 1
    with pytest.raises(InputError, match=r"“loads\.0\.profile\.colour” is not known"):
        household.read(document)
    document = household.write(with_loads(load()))
    document["loads"][0]["profile"]["month_w"][3][4] = "much"
    with pytest.raises(InputError, match=r"“loads\.0\.profile\.month_w\.3\.4” cannot be 'much'"):
        household.read(document)


def test_as_many_as_fit_a_household_are_read():
    many = tuple(load(id=f"m{number}") for number in range(150))
    house = with_loads(*many)
    assert len(household.read(household.write(house)).loads) == 150
