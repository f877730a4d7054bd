"""Loads run when they say, take what they say, and refuse what cannot be."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import TypeAdapter, ValidationError

from engine.errors import InputError
from engine.house.load_kinds import KINDS
from engine.house.load_notes import slowed_pump_kwh
from engine.house.load_profile import Profile
from engine.house.loads import Load, assumed_values, daily_kwh, hourly_w, notes, total


def load(kind: str, *, name: str = "It", **given: object) -> Load:
    """A load whose fields are given beside its kind; unit-suffixed ones are its values."""
    if kind == "measured":
        given.setdefault("profile", Profile(month_w=((100.0,) * 24,) * 12))
    own = {key: given.pop(key) for key in tuple(given) if key in Load.__dataclass_fields__}
    return Load(id="x", name=name, kind=kind, values=given, **own)


def codes(found) -> list[str]:
    return [note.code for note in found]


# Hours ----------------------------------------------------------------------------------------


def test_a_steady_load_runs_in_every_hour():
    assert hourly_w(load("steady", power_w=300.0), month=1).tolist() == [300.0] * 24


def test_part_hours_are_counted():
    w = hourly_w(load("timed", power_w=800.0, run_h=1.5, start_h=10.25), month=1)
    assert {hour: w[hour] for hour in np.flatnonzero(w)} == {10: 600.0, 11: 600.0}


def test_a_window_past_midnight_goes_on_in_the_morning():
    w = hourly_w(load("pump", power_w=1000.0, run_h=4.0, start_h=22.5), month=1)
    assert {hour: w[hour] for hour in np.flatnonzero(w)} == {
        0: 1000.0,
        1: 1000.0,
        2: 500.0,
        22: 500.0,
        23: 1000.0,
    }


def test_a_start_at_24_is_midnight():
    late = hourly_w(load("timed", power_w=1.0, run_h=3.0, start_h=24.0), month=1)
    early = hourly_w(load("timed", power_w=1.0, run_h=3.0, start_h=0.0), month=1)
    assert late.tolist() == early.tolist()


def test_a_load_rests_outside_its_months():
    pool = load("pump", months=(6, 7, 8))
    assert daily_kwh(pool, 7) > 0.0
    assert hourly_w(pool, 5).tolist() == [0.0] * 24


def test_months_are_of_the_calendar_in_the_south_too():
    pool = load("pump", months=(12, 1, 2))
    assert daily_kwh(pool, 1, south=True) > 0.0
    assert daily_kwh(pool, 7, south=True) == 0.0


# Kinds ----------------------------------------------------------------------------------------


def test_a_house_takes_its_energy_and_never_less_than_its_base():
    w = hourly_w(load("house", daily_kwh=10.0, base_w=200.0), month=4)
    assert w.sum() == pytest.approx(10_000.0, rel=1e-12)
    assert w.min() > 200.0


def test_a_house_that_is_all_base_is_flat():
    w = hourly_w(load("house", daily_kwh=4.8, base_w=200.0), month=4)
    assert w == pytest.approx(np.full(24, 200.0), abs=1e-9)


def test_midsummer_in_the_south_is_midwinter_in_the_north():
    house = load("house")
    assert hourly_w(house, 1, south=True).tolist() == hourly_w(house, 7).tolist()
    assert hourly_w(house, 1).tolist() != hourly_w(house, 7).tolist()


def test_a_winter_evening_peaks_earlier_than_a_summer_evening():
    house = load("house")
    assert np.argmax(hourly_w(house, 1)) < np.argmax(hourly_w(house, 7))


def test_hot_water_without_a_timer_is_spread_over_the_day():
    # 150 x 4.186/3600 x 45 + 1.5 = 9.34875 kWh, worked by hand
    w = hourly_w(load("water"), month=1)
    assert w == pytest.approx(np.full(24, 9348.75 / 24), rel=1e-12)


def test_hot_water_on_a_timer_runs_at_its_power_until_the_heat_is_in():
    w = hourly_w(load("water", start_h=10.0, run_h=5.0, heater_kw=3.0), month=1)
    assert w[10:14].tolist() == pytest.approx([3000.0, 3000.0, 3000.0, 348.75])
    assert w.sum() == pytest.approx(9348.75)


def test_a_heat_pump_takes_the_heat_over_its_cop():
    assert daily_kwh(load("water", cop=3.0), 1) == pytest.approx(9.34875 / 3.0)


def test_a_car_takes_its_distance_through_the_charger():
    # 35 km x 18 kWh/100 km / 0.9 = 7 kWh; 7 / 2.3 = 3.043 h from 23:00
    w = hourly_w(load("car", start_h=23.0), month=1)
    assert w.sum() == pytest.approx(7000.0)
    assert w[[23, 0, 1]].tolist() == pytest.approx([2300.0, 2300.0, 2300.0])
    assert w[2] == pytest.approx(100.0)


def test_loads_add_up_by_the_side_they_were_measured_on():
    loads = [
        load("steady", power_w=10.0),
        load("steady", power_w=5.0),
        load("steady", power_w=3.0, measured="battery"),
    ]
    assert total(loads, 1, "ac").tolist() == [15.0] * 24
    assert total(loads, 1, "battery").tolist() == [3.0] * 24
    assert total([], 1, "ac").tolist() == [0.0] * 24


# Refusals -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "given", "field", "words"),
    [
        ("teapot", {}, "kind", "cannot be “teapot”; there is: house, steady"),
        ("steady", {"measured": "panel"}, "measured", "ac or battery; got “panel”"),
        ("steady", {"months": ()}, "months", "got none"),
        ("steady", {"months": (1, 13)}, "months", "got 1, 13"),
        ("steady", {"months": (1, 1)}, "months", "each once"),
        ("steady", {"watts": 5.0}, "values.watts", "“watts” is not known for always on; it has: power_w"),
        ("steady", {"power_w": -1.0}, "values.power_w", "Power must be a number from 0 to 100,000 W; got -1"),
        ("steady", {"power_w": float("nan")}, "values.power_w", "got nan"),
        ("steady", {"power_w": 1e9}, "values.power_w", "got 1e\\+09"),
        ("timed", {"run_h": 25.0}, "values.run_h", "from 0 to 24 h a day; got 25"),
        ("car", {"charge_efficiency": 90.0}, "values.charge_efficiency", "from 50 to 100 %; got 9000"),
        (
            "house",
            {"daily_kwh": 3.0, "base_w": 200},
            "values.base_w",
            "200 W, takes 4.8 kWh a day.*3 kWh.*at most 125 W",
        ),
        ("water", {"hot_c": 20.0, "cold_c": 25.0}, "values.hot_c", "above the cold water's 25 °C; got 20 °C"),
        (
            "water",
            {"run_h": 2.0},
            "values.heater_kw",
            "needs 9.35 kWh a day, but 3 kW gives only 6 kWh in 2 hours",
        ),
        ("car", {"distance_km": 500.0}, "values.charger_kw", "needs 100 kWh a day.*at least 4.17 kW"),
    ],
)
def test_an_impossible_load_is_refused_in_words(kind, given, field, words):
    with pytest.raises(InputError, match=words) as refusal:
        load(kind, **given)
    assert refusal.value.field == field


@pytest.mark.parametrize(("flag", "words"), [("can_shed", "switched off to save energy"), ("can_wait", "wait")])
def test_what_is_never_off_can_neither_be_shed_nor_wait(flag, words):
    with pytest.raises(InputError, match=f"Freezer is marked never off, so it cannot also .*{words}") as refusal:
        load("steady", name="Freezer", never_off=True, **{flag: True})
    assert refusal.value.field == flag


def test_every_fault_of_a_load_is_told_at_once():
    with pytest.raises(InputError) as refusal:
        load("pump", measured="panel", power_w=-1.0, run_h=30.0)
    assert [fault.field for fault in refusal.value.every()] == ["measured", "values.power_w", "values.run_h"]


# Documents and sources --------------------------------------------------------------------------


def test_a_load_survives_its_document():
    adapter = TypeAdapter(Load)
    car = load("car", months=(1, 2), can_wait=True, distance_km=60.0)
    assert adapter.validate_json(adapter.dump_json(car)) == car


def test_equal_loads_count_as_one_in_a_set():
    assert len({load("car", distance_km=60.0), load("car", distance_km=60.0), load("car", distance_km=61.0)}) == 2


def test_an_unknown_field_of_a_document_is_refused():
    with pytest.raises(ValidationError, match="colour"):
        TypeAdapter(Load).validate_python({"id": "x", "name": "It", "kind": "steady", "colour": "red"})


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_explains_its_fields_and_stands_on_its_defaults(kind):
    meaning = KINDS[kind]
    assert meaning.name
    assert meaning.hint
    for field in meaning.fields.values():
        assert field.quantity.label
        assert field.quantity.hint
        assert field.source.text
        assert field.quantity.refuse(field.default) is None
    assert daily_kwh(load(kind), 1) > 0.0
    assert notes(load(kind)) == ()


def test_only_numbers_nobody_typed_are_listed_as_assumed():
    listed = {
        label: (value, unit, source.kind) for label, value, unit, source in assumed_values(load("car", start_h=9.0))
    }
    assert listed["Kept while charging"] == (90.0, "%", "typical, from memory")
    assert listed["Distance driven"] == (35.0, "km a day", "typical, from memory")
    assert "Starts at" not in listed
    everything = {name: field.default for name, field in KINDS["car"].fields.items()}
    assert assumed_values(load("car", **everything)) == ()


# Notes ----------------------------------------------------------------------------------------


def test_kilowatts_typed_as_watts_are_noticed_and_mended():
    (note,) = notes(load("timed", name="Kettle", power_w=2.0, run_h=1.0))
    assert note.code == "kw-typed-as-w"
    assert "If 2 kW was meant, that is 2,000 W" in note.text
    assert note.remedy == {"label": "Use 2,000 W", "values": {"values.power_w": 2000.0}}
    assert notes(load("timed", name="Kettle", power_w=2000.0, run_h=1.0)) == ()


def test_a_daily_energy_typed_as_power_is_noticed():
    (note,) = notes(load("steady", name="Cold room", power_w=2400.0))
    assert note.code == "wh-typed-as-w"
    assert "58 kWh a day" in note.text
    assert note.remedy is not None
    assert note.remedy["values"] == {"values.power_w": 100.0}


def test_a_monthly_bill_typed_as_a_day_is_noticed():
    (note,) = notes(load("house", daily_kwh=300.0))
    assert (note.code, note.remedy and note.remedy["values"]) == (
        "month-typed-as-day",
        {"values.daily_kwh": 10.0},
    )


def test_no_remedy_is_offered_that_would_be_refused():
    # A thirtieth of 90 kWh is 3 kWh, less than the base of 200 W takes.
    (note,) = notes(load("house", daily_kwh=90.0, base_w=200.0))
    assert (note.code, note.remedy) == ("month-typed-as-day", None)


def test_a_load_above_its_inverter_is_noticed():
    kettle = load("timed", name="Kettle", power_w=3000.0, run_h=0.1)
    assert codes(notes(kettle, rated_w=2000.0)) == ["over-inverter"]
    assert notes(kettle, rated_w=3000.0) == ()
    assert codes(notes(load("car", charger_kw=7.4), rated_w=5000.0)) == ["over-inverter"]
    assert codes(notes(load("house", daily_kwh=50.0), rated_w=2000.0)) == ["over-inverter"]
    assert notes(load("timed", power_w=3000.0, measured="battery"), rated_w=2000.0) == ()


def test_a_load_above_all_others_together_is_noticed_only_if_large():
    heater = load("timed", power_w=5000.0, run_h=8.0)
    assert codes(notes(heater, others_kwh=12.0)) == ["over-the-rest"]
    assert notes(heater, others_kwh=45.0) == ()
    assert notes(load("timed", power_w=1000.0, run_h=8.0), others_kwh=2.0) == ()


@pytest.mark.parametrize(
    ("power_w", "run_h", "odd"),
    [(1100.0, 8.0, False), (250.0, 12.0, False), (2000.0, 7.0, True), (100.0, 5.0, True)],
)
def test_an_unusual_pool_pump_is_noticed(power_w, run_h, odd):
    assert codes(notes(load("pump", power_w=power_w, run_h=run_h))) == ["pump-energy"] * odd


def test_a_hungry_pool_pump_is_told_what_half_speed_takes():
    (note,) = notes(load("pump", power_w=2000.0, run_h=8.0))
    assert "At half speed for twice the hours the same water takes about 4 kWh" in note.text
    (note,) = notes(load("pump", power_w=1000.0, run_h=20.0))
    assert "half speed" not in note.text


def test_pump_energy_falls_with_the_square_of_speed():
    assert slowed_pump_kwh(1000.0, 4.0, speed=1.0) == 4.0
    assert slowed_pump_kwh(1000.0, 4.0) == 1.0


def test_a_cool_tank_is_cautioned():
    (note,) = notes(load("water", hot_c=50.0))
    assert note.code == "legionella"
    assert "scalds" in note.text
    assert "where you live" in note.text
    assert note.remedy is not None
    assert note.remedy["values"] == {"values.hot_c": 60.0}


def test_a_small_house_is_not_refused_for_a_value_nobody_typed() -> None:
    small = Load(id="h", name="Hut", kind="house", values={"daily_kwh": 2.5})
    assert daily_kwh(small, 6) == pytest.approx(2.5)
    assert small.filled()["base_w"] == pytest.approx(0.5 * 2500 / 24)
    (assumed,) = [value for label, value, _, _ in assumed_values(small) if label == "Always-on part of it"]
    assert assumed == pytest.approx(0.5 * 2500 / 24)
    with pytest.raises(InputError, match="Always-on part"):
        Load(id="h", name="Hut", kind="house", values={"daily_kwh": 2.5, "base_w": 200.0})


# Runs a week ----------------------------------------------------------------------------------


def test_runs_a_week_are_the_energy_of_a_run_times_runs_over_seven_in_their_hours():
    wash = load("runs", run_kwh=0.9, runs=4.0, start_h=9.5, end_h=16.0)
    assert daily_kwh(wash, 1) == pytest.approx(0.9 * 4 / 7)
    hours = hourly_w(wash, 1)
    assert hours[:9].sum() + hours[16:].sum() == 0.0
    assert hours[9] == pytest.approx(hours[10] / 2)
    night = hourly_w(load("runs", start_h=22.0, end_h=2.0), 1)
    assert (night > 0.0).tolist() == [n in (22, 23, 0, 1) for n in range(24)]
    assert hourly_w(load("runs", start_h=7.0, end_h=7.0), 1) == pytest.approx(np.full(24, 0.9 * 4 / 7 / 24 * 1000))


def test_the_running_power_of_a_run_counts_against_the_inverter_though_the_mean_day_is_small():
    wash = load("runs", run_kwh=0.9, runs=4.0, power_w=2300.0)
    assert [one.code for one in notes(wash, rated_w=2000.0)] == ["over-inverter"]
    assert notes(wash, rated_w=2400.0) == ()


def test_more_runs_than_their_hours_hold_are_refused():
    with pytest.raises(InputError, match="A mean day of its runs needs 10 kWh a day"):
        load("runs", run_kwh=5.0, runs=14.0, power_w=2000.0, start_h=9.0, end_h=12.0)


def test_hot_water_takes_the_kwh_that_are_known_before_litres_and_degrees():
    """An energy a day is itself, at any hour and whatever the tank; 0 works it out again."""
    values = {"daily_kwh": 4.2, "litres": 300.0, "cop": 3.0}
    load = Load(id="tank", name="Tank", kind="water", values=values)
    assert daily_kwh(load, 1) == pytest.approx(4.2)
    timed = Load(id="tank", name="Tank", kind="water", values=values | {"start_h": 10.0, "run_h": 4.0})
    assert daily_kwh(timed, 1) == pytest.approx(4.2)
    by_litres = Load(id="tank", name="Tank", kind="water", values={"litres": 300.0, "cop": 3.0})
    zero = Load(id="tank", name="Tank", kind="water", values=values | {"daily_kwh": 0.0})
    assert daily_kwh(zero, 1) == pytest.approx(daily_kwh(by_litres, 1))
    assert daily_kwh(zero, 1) != pytest.approx(4.2)
