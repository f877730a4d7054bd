"""Stops, checks and their remedies: each appears when it should and goes when it is mended."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from typing import Any

import pytest

from engine.answers.answer import Notice
from engine.answers.charging_current import clear_day_w
from engine.answers.commissioning import commissioning
from engine.answers.notices import household_notices, running_notices
from engine.cells import catalogue
from engine.cells.chemistry import at, capacity_share
from engine.errors import InputError
from engine.house import household
from engine.paths import data_dir
from tests.engine.test_household import document


def notices(found: dict[str, Any]) -> dict[str, Notice]:
    return {notice.code: notice for notice in household_notices(household.read(found), 11)}


def sodium(**changes: object) -> dict[str, Any]:
    found = document()
    found["banks"][0] |= {
        "chemistry": "sodium_layered",
        "hold": False,
        "board": {"cell_low_v": 1.5, "cell_high_v": 4.1, "current_limit_a": 200},
        **changes,
    }
    return found


def applied(found: dict[str, Any], notice: Notice) -> dict[str, Any]:
    """Do what the notice's remedy says, as the page would."""
    (remedy,) = notice.remedies
    mended = copy.deepcopy(found)
    things = mended["sun"]["arrays"] if remedy.section == "arrays" else mended[remedy.section]
    thing = next(one for one in things if one["id"] == remedy.item_id)
    for name, value in remedy.values.items():
        place, last = (thing["values"], name.removeprefix("values.")) if name.startswith("values.") else (thing, name)
        place[last] = value
    return mended


def test_household_h_has_nothing_to_mind() -> None:
    assert notices(document()) == {}


def test_a_stop_of_a_bank_that_is_joined_to_nothing_is_one_check_where_the_running_house_is_told_of() -> None:
    changed = document()
    boxed = sodium(board=None)["banks"][0] | {"id": "boxed", "name": "Boxed bank", "inverter": ""}
    changed["banks"].append(boxed)
    home = household.read(changed)
    assert [one.code for one in household_notices(home, 11) if one.level == "stop"] == ["no-board"]
    (one,) = running_notices(home, 11)
    assert (one.level, one.code, one.page) == ("check", "idle-bank-stop", "banks")
    assert "Boxed bank" in one.text


def test_a_stop_of_a_bank_that_runs_stays_a_stop() -> None:
    home = household.read(sodium(board=None))
    assert running_notices(home, 11) == household_notices(home, 11)


def test_no_board_is_a_stop_for_lithium_and_sodium_but_not_for_lead() -> None:
    bare = sodium(board=None)
    assert notices(bare)["no-board"].level == "stop"
    bare["banks"][0] |= {"chemistry": "lfp", "inverter": ""}
    assert notices(bare)["no-board"].level == "stop"
    bare["banks"][0] |= {"chemistry": "lead_sealed", "series": 24}
    assert "no-board" not in notices(bare)


def test_charge_volts_above_the_inverter_are_a_stop_that_its_remedy_cures() -> None:
    # Design notes, product.md story 7: sodium-ion 16 in series is 63.2 V full against 60 V.
    full = sodium()
    stop = notices(full)["over-inverter"]
    assert stop.level == "stop"
    assert "63.2 V" in stop.text
    assert "60 V" in stop.text
    mended = applied(full, stop)
    assert "over-inverter" not in notices(mended)
    assert mended["banks"][0]["charge_v"] * 16 <= 60.0


def test_pack_that_crosses_60_volts_is_a_check() -> None:
    assert notices(sodium(charge_v=3.7))["over-60-v"].level == "check"
    assert "over-60-v" not in notices(sodium(series=15, charge_v=3.7))


MENDED: dict[str, Callable[[], dict[str, Any]]] = {
    "series-parallel": lambda: _with(document(), "banks", series=1, parallel=16),
    "reserve-under-cutoff": lambda: sodium(series=15, reserve_soc=0.02),
    "azimuth": lambda: _array(document(), azimuth_deg=0.0),
    "large-reserve": lambda: _with(document(), "banks", reserve_soc=0.82),
    "share-for-percent": lambda: _with(document(), "banks", reserve_soc=0.008),
    "large-array": lambda: _array(document(), kwp=1200.0),
    "board-below-charge": lambda: sodium(
        series=14, board={"cell_low_v": 1.5, "cell_high_v": 3.9, "current_limit_a": 99}
    ),
}


def _with(found: dict[str, Any], section: str, **changes: object) -> dict[str, Any]:
    found[section][0] |= changes
    return found


def _array(found: dict[str, Any], **changes: object) -> dict[str, Any]:
    found["sun"]["arrays"][0] |= changes
    return found


@pytest.mark.parametrize("code", MENDED)
def test_check_is_mended_by_its_remedy(code: str) -> None:
    odd = MENDED[code]()
    notice = notices(odd)[code]
    assert notice.level == "check"
    assert notice.page
    assert code not in notices(applied(odd, notice))


def test_a_remedy_that_would_be_refused_or_bring_a_stop_is_not_offered() -> None:
    # The other way round its nominal volts would fit, but charged it would stand above 60 V.
    swapped = _with(document(), "banks", chemistry="nmc", series=1, parallel=16)
    swapped["banks"][0]["board"] = {"cell_low_v": 3.0, "cell_high_v": 4.2, "current_limit_a": 2000}
    notice = notices(swapped)["series-parallel"]
    assert notice.remedies == ()
    hopeless = _with(document(), "banks", chemistry="nmc", series=26, charge_v=4.1)
    hopeless["banks"][0]["board"] = {"cell_low_v": 3.0, "cell_high_v": 4.2, "current_limit_a": 2000}
    assert notices(hopeless)["over-inverter"].remedies == ()


def test_energy_on_the_label_is_held_against_its_ampere_hours() -> None:
    # 16 cells of 3.2 V and 280 Ah are 14.336 kWh, twice that in two strings (checked by hand).
    for series, parallel, kwh in ((16, 1, 14.3), (16, 1, 14.0), (16, 2, 28.7)):
        fit = _with(document(), "banks", series=series, parallel=parallel, label_ah=280.0, stated_kwh=kwh)
        assert "stated-kwh" not in notices(fit)
    odd = _with(document(), "banks", series=16, parallel=2, label_ah=280.0, stated_kwh=14.3)
    notice = notices(odd)["stated-kwh"]
    assert "are 28.7 kWh; its label says 14.3 kWh" in notice.text
    forget, take = notice.remedies
    assert forget.values == {"stated_kwh": None}
    assert take.values == {"label_ah": pytest.approx(139.6, abs=0.05)}  # 14,300 / (2 x 16 x 3.2)
    for remedy in (forget, take):
        mended = copy.deepcopy(odd)
        mended["banks"][0] |= remedy.values
        assert "stated-kwh" not in notices(mended)


def lead(**changes: object) -> dict[str, Any]:
    found = document()
    return _with(
        found, "banks", chemistry="lead_sealed", series=24, board=None, charge_v=2.4, reserve_soc=0.5, **changes
    )


def test_ampere_hours_of_lead_acid_ask_for_their_hours() -> None:
    notice = notices(lead(label_ah=200))["label-hours"]
    # Peukert in its rated-hour form, k = 1.1 of sealed lead-acid: 300 W at the sockets draw 362.6 W, 0.0378 of the
    # 9.6 kWh an hour, slower than in 20 hours and faster than in 100: (0.0378 x 100)^(1 - 1.1) = 0.876, 12 % less.
    assert catalogue.load("lead_sealed").peukert_k == 1.1
    assert "if the label says C100, your mean load gets 12 % less" in notice.text
    assert [remedy.values["rated_h"] for remedy in notice.remedies] == [10.0, 20.0, 100.0]
    for remedy in notice.remedies:
        assert "label-hours" not in notices(lead(label_ah=200, **remedy.values))
    assert "label-hours" not in notices(lead(label_ah=200, tested_ah=180))
    assert "label-hours" not in notices(_with(document(), "banks", label_ah=200))


def test_hours_of_the_label_act_on_what_can_be_drawn() -> None:
    # 200 Ah of C10 at 40 A, a fifth of it: (40 x 10 / 200)^(1 - 1.1) = 0.933; of C100: 20^-0.1 = 0.741.
    banks = {h: household.read(lead(label_ah=200, rated_h=h)).banks[0] for h in (10.0, 20.0, 100.0)}
    share = {h: capacity_share(bank.cell, 25.0, 0.2) for h, bank in banks.items()}
    assert share[10.0] == pytest.approx(0.933, abs=0.0005)
    assert share[100.0] == pytest.approx(0.741, abs=0.0005)
    assert share[20.0] == capacity_share(catalogue.load("lead_sealed"), 25.0, 0.2)
    assert (
        household.read(_with(document(), "banks", rated_h=100.0)).banks[0].cell
        == household.read(document()).banks[0].cell
    )


def test_other_checks_appear() -> None:
    assert "tested-ah" in notices(_with(document(), "banks", tested_ah=140))
    assert "too-cold-to-charge" in notices(_with(document(), "banks", cell_c=-3))
    assert "restart-above-charge" in notices(_with(document(), "inverters", restart_v=59))
    assert "charger-over-bank" in notices(_with(document(), "inverters", charge_limit_a=300))
    assert "over-rated" in notices(_with(document(), "loads", values={"power_w": 5600}))
    assert notices(_with(document(), "banks", series=30))["outside-inverter"].level == "stop"


def test_a_load_without_a_bank_is_a_stop() -> None:
    stranded = document()
    stranded["inverters"].append({**stranded["inverters"][0], "id": "spare", "name": "Spare"})
    stranded["loads"][0]["inverter"] = "spare"
    stranded["sun"]["arrays"][0]["inverter"] = "spare"
    found = notices(stranded)
    assert found["load-without-bank"].level == "stop"
    assert found["panels-without-bank"].level == "check"


def test_a_board_that_would_open_is_told() -> None:
    weak = document()
    weak["banks"][0]["board"]["current_limit_a"] = 30.0
    assert notices(weak)["board-below-inverter"].level == "check"
    weak["loads"][0]["values"] = {"power_w": 3000.0}
    assert notices(weak)["board-opens"].level == "stop"
    weak["banks"][0]["board"]["current_limit_a"] = 200.0
    assert "board-opens" not in notices(weak)


def test_a_cell_written_out_needs_a_board_unless_it_says_otherwise() -> None:
    bare = document()
    bare["banks"][0]["board"] = None
    assert notices(bare)["no-board"].level == "stop"


def _lead(**changes: object) -> dict[str, Any]:
    """24 flooded cells; 2.45 V at 25 °C are 2.55 V at 0 °C, 61.2 V."""
    found = sodium(chemistry="lead_flooded", series=24, hold=True, board=None, **changes)
    found["inverters"][0]["dc_max_v"] = 66.0
    return found


def _board(**changes: float | None) -> dict[str, Any]:
    found = sodium(series=14, charge_v=3.9)
    found["banks"][0]["board"] |= changes
    return found


def _sun(**changes: object) -> dict[str, Any]:
    found = document()
    found["sun"] |= changes
    return found


def _site(**changes: object) -> dict[str, Any]:
    found = document()
    found["site"] |= changes
    return found


@pytest.mark.parametrize(
    ("code", "level", "odd"),
    [
        ("board-outside-cell", "stop", lambda: _board(cell_high_v=4.4)),
        ("board-outside-cell", "stop", lambda: _board(cell_low_v=0.6)),
        ("board-charges-frozen", "stop", lambda: _with(_board(charge_min_c=-40.0), "banks", cell_c=-5)),
        ("board-charges-frozen", "stop", lambda: _with(_board(charge_min_c=None), "banks", cell_c=-25)),
        ("board-charges-below-cells", "check", lambda: _board(charge_min_c=-30.0)),
        ("over-60-v", "check", lambda: _with(sodium(series=15, charge_v=4.1), "inverters", dc_max_v=64.0)),
        ("over-60-v", "check", lambda: _lead(charge_v=2.45, cell_c=0.0)),
        ("too-hot-to-charge", "check", lambda: _with(sodium(series=14), "banks", cell_c=50)),
        ("too-cold-to-discharge", "check", lambda: _with(sodium(series=14), "banks", cell_c=-25)),
        ("empty-window", "stop", lambda: sodium(series=14, charge_v=2.6, reserve_soc=0.5)),
        ("clear-day-month", "check", lambda: _sun(clear_day_kwh=18.0)),
        ("clear-day-scale", "check", lambda: _sun(clear_day_kwh=180.0, clear_day_month=6)),
        ("dull-day-month", "check", lambda: _sun(clear_day_kwh=18.0, clear_day_month=6, dull_day_kwh=2.0)),
        ("dull-day-impossible", "check", lambda: _sun(dull_day_kwh=30.0, dull_day_month=12)),
        ("charger-starts-late", "check", lambda: _array(document(), start_w=900.0)),
        ("dull-day-bright", "check", lambda: _sun(dull_day_kwh=20.0, dull_day_month=6)),
        ("clock-and-longitude", "check", lambda: _site(longitude_deg=100.0)),
        (
            "climate-far",
            "check",
            lambda: _site(latitude_deg=-34.0, longitude_deg=19.0, time_zone="Africa/Johannesburg"),
        ),
        ("sky-rough", "note", lambda: _site(climate="world")),
        ("sky-far", "check", lambda: _site(climate="world", latitude_deg=-45.0, longitude_deg=-9.9)),
        ("polar-night", "note", lambda: _site(latitude_deg=70.0)),
    ],
)
def test_danger_or_slip_is_told(code: str, level: str, odd: Callable[[], dict[str, Any]]) -> None:
    assert code not in notices(document())
    assert notices(odd())[code].level == level


def test_a_far_climate_is_mended_by_the_sky_of_the_place() -> None:
    far = _site(latitude_deg=-34.0, longitude_deg=19.0, time_zone="Africa/Johannesburg")
    (remedy,) = notices(far)["climate-far"].remedies
    assert (remedy.section, remedy.values) == ("site", {"climate": "world"})
    far["site"]["climate"] = "world"
    assert "climate-far" not in notices(far)


def test_what_the_owner_saw_goes_before_any_table() -> None:
    seen = _site(climate="world")
    seen["sun"]["dull_day_kwh"] = 2.0
    seen["sun"]["dull_day_month"] = 11
    assert "sky-rough" in notices(seen)
    seen["sun"]["monthly_kwh"] = [400.0] * 12
    assert "sky-rough" not in notices(seen)


def test_a_month_below_the_own_dull_day_has_lost_a_digit() -> None:
    # A December of 11 kWh for 110 beside a dull day of 0.5 kWh: 0.35 a day, though above the darkest sky.
    slip = document()
    slip["sun"] |= {"dull_day_kwh": 0.5, "dull_day_month": 12, "monthly_kwh": [*[None] * 11, 110.0]}
    assert "months-below-dull-day" not in notices(slip)
    slip["sun"]["monthly_kwh"][11] = 11.0
    told = notices(slip)
    assert "December" in told["months-below-dull-day"].text
    assert "months-too-dark" not in told


def test_a_clear_day_cut_off_by_its_charger_says_little() -> None:
    cut = document()
    cut["sun"] |= {"clear_day_kwh": 10.0, "clear_day_month": 6}
    assert "clear-day-cut-off" not in notices(cut)
    cut["sun"]["arrays"][0]["charger_limit_w"] = 400.0 * cut["sun"]["arrays"][0]["kwp"]
    assert notices(cut)["clear-day-cut-off"].level == "check"
    cut["sun"]["clear_day_month"] = None
    assert "clear-day-cut-off" not in notices(cut)


def test_the_polar_night_names_its_months() -> None:
    north, south = (notices(_site(latitude_deg=latitude))["polar-night"].text for latitude in (70.0, -70.0))
    assert "December and January" in north or "January and December" in north
    assert "June" in south


def test_a_south_facing_array_is_odd_only_in_the_south() -> None:
    south = document()
    south["site"]["latitude_deg"] = -34.0
    assert "azimuth" in notices(south)
    south["sun"]["arrays"][0]["azimuth_deg"] = 0.0
    assert "azimuth" not in notices(south)


def test_stops_come_first() -> None:
    levels = [notice.level for notice in household_notices(household.read(sodium(board=None, cell_c=-5)), 1)]
    assert levels[0] == "stop"
    assert levels == sorted(levels, key=["stop", "check", "note"].index)


def test_example_household_has_no_stop() -> None:
    example = json.loads((data_dir() / "example.json").read_text(encoding="utf-8"))
    assert [n for n in notices(example).values() if n.level == "stop"] == []


def test_a_charge_current_above_the_cells_is_the_same_stop_on_every_page() -> None:
    """4.8 kWp and no limit on the charger: more than 0.15C of 570 Ah, 85.4 A, at a clear noon of December."""
    found = document("flooded_24v")
    found["inverters"][0].pop("charge_limit_a")
    home = household.read(found)
    (stop,) = (one for one in household_notices(home, 12) if one.code == "over-charge-current")
    assert (stop.level, stop.page) == ("stop", "banks")
    assert "the cells, at most 0.15C (85.4 A)" in stop.text
    told = commissioning(home, home.supplies(), 12)
    assert [one.text for one in told.notices if one.code == "over-charge-current"] == [stop.text]
    found["inverters"][0]["charge_limit_a"] = 80.0
    limited = household.read(found)
    assert "over-charge-current" not in [one.code for one in household_notices(limited, 12)]


def test_a_clear_day_that_cannot_be_hides_no_stop_of_the_charge_current() -> None:
    """The chargers of 4.8 kWp pass no 200 kWh on a day of December: the stop is that of a house that typed none."""
    found = document("flooded_24v")
    found["inverters"][0].pop("charge_limit_a")
    for array in found["sun"]["arrays"]:
        array["charger_limit_w"] = 4000.0
    untyped = notices(found)["over-charge-current"]
    found["sun"] |= {"clear_day_kwh": 200.0, "clear_day_month": 12}
    home = household.read(found)
    with pytest.raises(InputError, match="Clear day cannot be 200 kWh"):
        clear_day_w(home, home.inverters[0], 11)
    assert untyped.level == "stop"
    assert notices(found)["over-charge-current"].text == untyped.text


def test_a_cut_off_above_the_pack_says_how_low_it_may_be_set_and_offers_that() -> None:
    found = sodium(series=14)
    found["inverters"][0] |= {"dc_min_v": 45.0, "restart_v": 50.0, "lowest_v": 40.0}
    found = _with(found, "banks", charge_v=3.95, top_v=None)
    found["inverters"][0]["dc_max_v"] = 60.0
    stop = notices(found)["outside-inverter"]
    assert "may be set down to 40 V" in stop.text
    mended = applied(found, stop)
    assert mended["inverters"][0]["dc_min_v"] == 40.0
    assert "outside-inverter" not in notices(mended)
    found["inverters"][0]["lowest_v"] = None
    unsaid = notices(found)["outside-inverter"]
    assert unsaid.remedies == ()
    assert f"may be set down to {14 * (1.5 + 0.1):g} V" in unsaid.text


def test_lead_acid_at_its_own_temperature_stays_under_60_v() -> None:
    assert "over-60-v" not in notices(_lead(charge_v=2.4, cell_c=25.0))


@pytest.mark.parametrize("board_c", [None, -40.0])
def test_the_acid_of_lead_is_no_lithium_that_a_board_must_guard(board_c: float | None) -> None:
    cold = _lead(cell_c=-20.0)
    cold["banks"][0]["board"] = {"cell_low_v": 1.7, "cell_high_v": 2.6, "current_limit_a": 200, "charge_min_c": board_c}
    assert "board-charges-frozen" not in notices(cold)


def test_the_panels_at_noon_are_held_against_the_bank_where_its_volts_are_lowest() -> None:
    """The same watts are more amperes at the reserve than at the end of the charge: there it is a stop first."""
    home = document()
    one = household.read(home)
    noon_w = float(clear_day_w(one, one.inverters[0], 11).max())
    rested_v = 16 * at(one.banks[0].table.ocv_v, one.banks[0].reserve_soc)
    assert noon_w / rested_v > noon_w / (16 * one.banks[0].charge_end_cell_v)
    for more, stops in ((0.5, False), (-0.5, True)):
        limited = _with(document(), "banks", charge_limit_a=noon_w / rested_v + more)
        assert ("over-charge-current" in notices(limited)) is stops
