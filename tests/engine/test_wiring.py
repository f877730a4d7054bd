"""Wiring: currents, drops, fuses and short circuits against sums done by hand on household H."""

from __future__ import annotations

import copy
import dataclasses
import json
from pathlib import Path
from typing import Any

import pytest

from engine.answers.charging import charging
from engine.answers.charging_current import clear_day_w
from engine.answers.notices import household_notices
from engine.answers.wiring import BankAnswer, WiringAnswer, wiring
from engine.cells import catalogue
from engine.cells.chemistry import at, table
from engine.errors import InputError, Unreachable
from engine.house.household import Household, read, write
from engine.house.wiring import awg_mm2, awg_name, leg_ohm

HOUSEHOLDS = Path(__file__).parents[1] / "households"
H = json.loads((HOUSEHOLDS / "h.json").read_text(encoding="utf-8"))
MONTH = 11
FULL_A = (5000 / 0.93 + 40) / 44
"""5 kW at 93 % and 40 W idle, over a cut-off of 44 V: 123.1 A."""
GOOD = {"length_m": 2.0, "area_mm2": 50.0, "carries_a": 160.0, "fuse_a": 160.0, "fuse_v": 80.0, "breaking_ka": 20.0}
"""A cable and fuse that suit it, its cells' short being 18.25 kA."""


def document(main: dict[str, Any] | None = None, **bank: Any) -> dict[str, Any]:
    """Household H with a cut-off of 44 V; `main` is laid over `GOOD`."""
    house = copy.deepcopy(H)
    house["inverters"][0].update(dc_min_v=44.0, restart_v=46.0)
    house["banks"][0].update(bank)
    if main is not None:
        wired = house["banks"][0].setdefault("wiring", {})
        house["banks"][0]["wiring"] = {"cell_mohm": 0.2, **(wired or {}), "main": {**GOOD, **main}}
    return house


def asked(house: dict[str, Any]) -> tuple[WiringAnswer, BankAnswer]:
    answer = wiring(read(house), MONTH)
    return answer, answer.banks[0]


def codes(answer: WiringAnswer, level: str) -> set[str]:
    return {one.code for one in answer.notices if one.level == level}


def test_the_highest_current_is_read_at_the_cut_off_not_at_nominal_volts() -> None:
    _, bank = asked(document())
    assert round(bank.wiring.discharge_a, 1) == 123.1
    assert round(FULL_A, 1) == 123.1
    assert round(bank.wiring.drawn_w / (16 * 3.2), 1) == 105.8


def test_the_current_at_the_cut_off_that_is_to_be_set_is_said_and_checked() -> None:
    """LFP cells and a board of 2.5 V: to be set are 2.6 V x 16 = 41.6 V, 5416 W over it 130.2 A instead of 123.1."""
    house = document(main={"fuse_a": 125.0, "carries_a": 125.0})
    house["inverters"][0]["lowest_v"] = 40.0
    answer, bank = asked(house)
    assert bank.wiring.advised_v == pytest.approx(41.6)
    assert bank.wiring.advised_a == pytest.approx((5000 / 0.93 + 40) / 41.6)
    assert round(bank.wiring.ruling_a, 1) == 123.1
    said = [one.text for one in answer.notices if one.code == "wiring-lower-cutoff"]
    assert len(said) == 2
    assert all("up to 130.2 A flow" in text for text in said)
    house["banks"][0]["wiring"]["main"] |= {"fuse_a": 140.0, "carries_a": 140.0}
    assert "wiring-lower-cutoff" not in codes(asked(house)[0], "check")
    house["inverters"][0]["dc_min_v"] = 41.6
    assert asked(house)[1].wiring.advised_v is None


def test_what_hangs_on_the_bus_beside_the_inverter_is_carried_too() -> None:
    """220 W more while it runs, a quarter of an hour on a day in July: 220 / 44 V = 5 A more."""
    house = document()
    pump = {"id": "pump", "name": "Pump", "kind": "timed", "measured": "battery", "months": [7]}
    house["loads"].append({**pump, "values": {"power_w": 220.0, "start_h": 9.0, "run_h": 0.25}})
    _, bank = asked(house)
    assert bank.wiring.beside_w == pytest.approx(220.0)
    assert bank.wiring.discharge_a == pytest.approx(FULL_A + 5.0)
    assert bank.worked[0].value == pytest.approx(5000 / 0.93 + 40 + 220)
    house["loads"][-1]["measured"] = "ac"
    assert asked(house)[1].wiring.discharge_a == pytest.approx(FULL_A)


def test_a_fuse_must_break_the_volts_of_equalising_in_the_cold() -> None:
    """24 flooded cells at 0 °C: their equalising volts and 25 K × 4 mV more, each."""
    house = document({}, chemistry="lead_flooded", series=24, cell_c=0.0, board=None)
    _, bank = asked(house)
    volts = catalogue.load("lead_flooded").equalise_v
    assert volts is not None
    assert bank.wiring.highest_v == pytest.approx(24 * (volts + 0.1))
    warm = document({}, chemistry="lead_flooded", series=24, cell_c=25.0, board=None)
    assert asked(warm)[1].wiring.highest_v == pytest.approx(24 * volts)


def test_a_board_that_opens_earlier_sets_the_lowest_volts() -> None:
    house = document()
    house["banks"][0]["board"]["cell_low_v"] = 2.9
    _, bank = asked(house)
    assert bank.wiring.lowest_by == "board"
    assert bank.wiring.discharge_a == pytest.approx((5000 / 0.93 + 40) / (2.9 * 16))


def test_what_charges_it_is_added_up_and_the_higher_current_rules() -> None:
    house = document()
    house["inverters"][0]["charge_limit_a"] = 90.0
    house["generators"] = [
        {"id": "g", "name": "Engine", "rated_w": 4000, "charger_w": 2200, "full_l_per_h": 2, "idle_l_per_h": 0.5,
         "start_soc": 0.3, "stop_soc": 0.8}
    ]  # fmt: skip
    _, bank = asked(house)
    assert bank.wiring.charge_a == pytest.approx(90 + 2200 / 44)
    assert bank.wiring.ruling_a == pytest.approx(140)
    assert bank.wiring.ruled_by == "charge"


def test_the_drop_and_the_cut_off_are_those_of_discharge_where_the_chargers_give_more() -> None:
    """By hand, 3 m of 50 mm² at 70 °C and 21 V: (3000 W / 0.86 + 18) / 21 V = 155 A drop 0.384 V, 1.8 %: within 2 %.

    Its panels could give 4800 W / 21 V = 229 A: that heats the cable and the fuse, but cuts nothing off.
    """
    house = json.loads((HOUSEHOLDS / "flooded_24v.json").read_text(encoding="utf-8"))
    house["inverters"][0].pop("charge_limit_a")
    answer, bank = asked(house)
    run = bank.wiring.main
    assert run is not None
    ohm = 1.7241e-8 * (1 + 0.00393 * 50) * 6.0 / 50e-6
    assert run.current_a == pytest.approx(4800 / 21)
    assert run.drop_v == pytest.approx(ohm * bank.wiring.discharge_a)
    assert bank.wiring.discharge_a == pytest.approx(155, abs=1)
    assert bank.wiring.total_share == pytest.approx(0.018, abs=0.0006)
    assert run.lost_w == pytest.approx(ohm * (4800 / 21) ** 2)
    assert "wiring-drop" not in codes(answer, "check")
    assert "wiring-cable-thin" in codes(answer, "stop")
    blows = next(one.text for one in answer.notices if one.code == "wiring-fuse-blows")
    assert "228.6 A in charge, by what the panels are rated" in blows
    assert "full load" not in blows
    drops = {size.name: size.keeps for size in bank.wiring.sizes}
    assert drops["50 mm²"]
    house["inverters"][0]["charge_limit_a"] = 80.0
    again = asked(house)[1].wiring
    assert (again.total_drop_v, again.main.drop_v) == (bank.wiring.total_drop_v, run.drop_v)  # type: ignore[union-attr]


def test_what_the_same_chargers_could_give_says_at_which_volts() -> None:
    """The charge is read at a clear noon and rested at the reserve, the cable at the panels' rating and the lowest."""
    house = json.loads((HOUSEHOLDS / "flooded_24v.json").read_text(encoding="utf-8"))
    house["inverters"][0].pop("charge_limit_a")
    home = read(house)
    charge = charging(home, home.banks[0], home.inverters[0], cell_v=2.4, hold=True, month=6)
    text = next(one.text for one in charge.notices if one.code == "over-charge-current")
    bank = home.banks[0]
    rested_v = 12 * at(bank.table.ocv_v, bank.reserve_soc)
    given_a = float(clear_day_w(home, home.inverters[0], 6).max()) / rested_v
    assert f"can give {given_a:.1f} A at {rested_v:.1f} V, down at its reserve, which is above" in text
    over = next(one.text for one in asked(house)[0].notices if one.code == "wiring-charge-over-bank")
    assert "about 229 A, by what the panels are rated over 21 V, the lowest" in over


def test_an_unknown_charger_is_said_and_its_panels_rating_counted() -> None:
    answer, bank = asked(document())
    assert bank.wiring.charge_a is None
    assert bank.wiring.charge_rough_a == pytest.approx(4000 / 44)
    assert "wiring-charge-unknown" in codes(answer, "check")
    assert any("all chargers" in text for text in bank.questions)


def test_without_panels_and_generator_nothing_charges_it() -> None:
    house = document()
    house["sun"]["arrays"] = []
    _, bank = asked(house)
    assert bank.wiring.charge_a == 0.0


def test_strings_share_evenly_and_one_drops_out() -> None:
    _, bank = asked(document(parallel=3))
    assert bank.wiring.even_a == pytest.approx(FULL_A / 3)
    assert bank.wiring.one_out_a == pytest.approx(FULL_A / 2)
    _, two = asked(document(parallel=2))
    assert two.wiring.one_out_a == pytest.approx(FULL_A)


def test_the_drop_of_both_conductors_by_hand() -> None:
    house = document({"length_m": 2.0, "area_mm2": 35.0})
    house["banks"][0]["wiring"]["conductor_c"] = 20.0
    _, bank = asked(house)
    ohm = 1.7241e-8 * 4.0 / 35e-6
    assert bank.wiring.main is not None
    assert bank.wiring.main.drop_v == pytest.approx(ohm * FULL_A)
    assert bank.wiring.main.drop_share == pytest.approx(ohm * FULL_A / 44)
    assert bank.wiring.main.lost_w == pytest.approx(ohm * FULL_A**2)
    assert leg_ohm(2.0, 35.0, 120.0) == pytest.approx(ohm * 1.393)


def test_the_cable_of_a_string_is_added_at_its_even_share() -> None:
    house = document({}, parallel=2)
    house["banks"][0]["wiring"]["string"] = {**GOOD, "length_m": 1.0, "area_mm2": 25.0}
    _, bank = asked(house)
    main_v, string_v = leg_ohm(2.0, 50.0, 70.0) * FULL_A, leg_ohm(1.0, 25.0, 70.0) * FULL_A / 2
    assert bank.wiring.total_drop_v == pytest.approx(main_v + string_v)
    assert bank.wiring.string is not None
    assert bank.wiring.string.current_a == pytest.approx(FULL_A)


def test_the_table_keeps_what_its_longest_run_allows() -> None:
    _, bank = asked(document({}))
    names = [size.name for size in bank.wiring.sizes]
    assert {"1.5 mm²", "240 mm²", "AWG 14", "AWG 4/0"} <= set(names)
    for size in bank.wiring.sizes:
        assert size.keeps == (size.longest_m >= 2.0), size.name
        drop_v = leg_ohm(size.longest_m, size.area_mm2, 70.0) * FULL_A
        assert drop_v == pytest.approx(0.02 * 44)
    assert {size.keeps for size in bank.wiring.sizes} == {True, False}


def test_what_suits_it_is_no_stop_and_no_permission() -> None:
    answer, bank = asked(document({}))
    assert not [code for code in codes(answer, "stop") if code.startswith("wiring")]
    assert bank.stops == ()
    assert set(bank.checks) == {"wiring-charge-unknown"}
    assert not any("approved" in one.text.lower() for one in answer.notices)


@pytest.mark.parametrize(
    ("change", "code", "level"),
    [
        ({"carries_a": 123.0}, "wiring-cable-thin", "stop"),
        ({"fuse_a": 161.0}, "wiring-fuse-over-cable", "stop"),
        ({"fuse_a": None}, "wiring-no-fuse", "stop"),
        ({"fuse_v": 58.3}, "wiring-fuse-volts", "stop"),
        ({"breaking_ka": 18.2}, "wiring-breaking", "stop"),
        ({"carries_a": None}, "wiring-carries-unknown", "check"),
        ({"fuse_a": 123.0}, "wiring-fuse-blows", "check"),
        ({"fuse_a": 153.8}, "wiring-fuse-close", "check"),
        ({"fuse_v": None}, "wiring-fuse-volts-unknown", "check"),
        ({"breaking_ka": None}, "wiring-breaking-unknown", "check"),
        ({"length_m": 9.0}, "wiring-drop", "check"),
    ],
)
def test_each_fault_is_said_and_only_where_it_is(change: dict[str, Any], code: str, level: str) -> None:
    assert code not in codes(asked(document({}))[0], level)
    assert code in codes(asked(document(change))[0], level)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"carries_a": 160.0}, "wiring-fuse-over-cable"),
        ({"fuse_v": 58.4}, "wiring-fuse-volts"),
        ({"breaking_ka": 18.25}, "wiring-breaking"),
    ],
)
def test_just_enough_is_enough(change: dict[str, Any], code: str) -> None:
    assert code not in codes(asked(document(change))[0], "stop")


@pytest.mark.parametrize(("fuse_a", "close"), [(FULL_A, True), (1.249 * FULL_A, True), (1.251 * FULL_A, False)])
def test_a_fuse_within_a_quarter_of_the_current_is_close(fuse_a: float, close: bool) -> None:
    found = codes(asked(document({"fuse_a": fuse_a}))[0], "check")
    assert ("wiring-fuse-close" in found) == close
    assert "wiring-fuse-blows" not in found


def test_a_short_is_summed_over_strings_and_over_the_banks_of_the_bus() -> None:
    _, one = asked(document({}))
    assert one.wiring.fault.string_a == pytest.approx(3.65 / 0.0002)
    _, three = asked(document({}, parallel=3))
    assert three.wiring.fault.bus_a == pytest.approx(3 * 3.65 / 0.0002)
    house = document({}, parallel=3)
    house["banks"].append(house["banks"][0] | {"id": "b", "name": "Second", "parallel": 1, "wiring": {"fault_ka": 7.0}})
    _, both = asked(house)
    assert both.wiring.fault.bus_a == pytest.approx(3 * 3.65 / 0.0002 + 7000)
    house["banks"][1]["wiring"] = None
    answer, half = asked(house)
    assert half.wiring.fault.bus_a is None
    assert half.wiring.fault.known_a == pytest.approx(3 * 3.65 / 0.0002)
    assert "wiring-breaking-unknown" in codes(answer, "check")


def test_of_a_stated_and_a_worked_out_short_the_higher_counts() -> None:
    for stated_ka, counts_a in ((10.0, 18_250.0), (25.0, 25_000.0)):
        house = document({})
        house["banks"][0]["wiring"]["fault_ka"] = stated_ka
        assert asked(house)[1].wiring.fault.string_a == pytest.approx(counts_a)


def test_each_bank_of_a_bus_must_carry_all_of_it() -> None:
    house = document()
    house["banks"].append(house["banks"][0] | {"id": "b", "name": "Second"})
    answer, _ = asked(house)
    assert [round(one.wiring.ruling_a, 1) for one in answer.banks] == [123.1, 123.1]
    assert len({one.text for one in answer.notices}) == len(answer.notices)


def test_a_board_on_a_shared_bus_that_opens_below_full_power_is_said() -> None:
    house = document()
    house["banks"].append(house["banks"][0] | {"id": "b", "name": "Second"})
    assert "board-below-inverter" not in codes(asked(house)[0], "check")
    house["banks"][1]["board"] = house["banks"][1]["board"] | {"current_limit_a": 120.0}
    (said,) = [one.text for one in asked(house)[0].notices if one.code == "board-below-inverter"]
    assert said.startswith("Second: at full power Inverter draws up to 123 A")


@pytest.mark.parametrize("name", ["lfp", "sodium_layered", "lead_sealed"])
def test_the_curves_resistances_never_reach_the_short(name: str) -> None:
    cell = catalogue.load(name)
    worse = dataclasses.replace(
        cell,
        r_slow_v_per_c=tuple(min(1000.0 * r, 49.0) for r in cell.r_slow_v_per_c),
        r_fast_v_per_c=tuple(min(1000.0 * r, 49.0) for r in cell.r_fast_v_per_c),
    )
    house = read(document({}))
    found = []
    for one in (cell, worse):
        bank = dataclasses.replace(house.banks[0], chemistry=one, board=None)
        found.append(wiring(dataclasses.replace(house, banks=(bank,)), MONTH).banks[0].wiring)
    assert max(table(worse, 25.0).r_fast) > 10 * max(table(cell, 25.0).r_fast)
    assert found[0].fault == found[1].fault
    assert found[0].fault.string_a == pytest.approx(cell.v_max / 0.0002)


def test_cells_that_give_less_than_the_inverter_draws() -> None:
    answer, bank = asked(document(label_ah=100.0))
    assert bank.wiring.cells_a == 100.0
    assert "wiring-over-cells" in codes(answer, "check")
    assert "wiring-over-cells" not in codes(asked(document())[0], "check")


def test_notices_of_other_pages_stand_here_once() -> None:
    house = document(charge_limit_a=50.0)
    house["inverters"][0]["charge_limit_a"] = 90.0
    house["banks"][0]["board"]["current_limit_a"] = 110.0
    answer, _ = asked(house)
    said = [one.code for one in answer.notices]
    assert said.count("charger-over-bank") == 1
    assert said.count("board-below-inverter") == 1
    assert "wiring-charge-over-bank" not in said


def test_stops_of_the_wiring_stand_on_every_page_and_only_where_it_is_entered() -> None:
    plain = read(document())
    assert not [one for one in household_notices(plain, MONTH) if one.page == "wiring"]
    faulty = read(document({"carries_a": 100.0, "fuse_a": 125.0, "breaking_ka": 2.0}))
    found = {(one.code, one.level) for one in household_notices(faulty, MONTH) if one.page == "wiring"}
    assert found == {("wiring-cable-thin", "stop"), ("wiring-fuse-over-cable", "stop"), ("wiring-breaking", "stop")}


def test_a_bank_without_wiring_is_asked_for_it_with_its_current_answered() -> None:
    answer, bank = asked(document())
    assert "wiring-not-entered" in codes(answer, "check")
    assert "123.1 A" in bank.questions[0]
    assert bank.wiring.main is None
    assert all(size.drop_v is None and size.longest_m > 0 for size in bank.wiring.sizes)


def test_strings_whose_cables_are_not_entered_are_said() -> None:
    assert "wiring-strings-not-entered" in codes(asked(document({}, parallel=2))[0], "check")
    assert "wiring-strings-not-entered" not in codes(asked(document({}))[0], "check")


def test_assumptions_say_their_kind_and_the_typed_goes_without() -> None:
    house = document({})
    house["banks"][0]["wiring"].update(drop_share=0.03, conductor_c=90.0)
    names = {one.name for one in asked(house)[0].assumptions}
    usual = {one.name: one.kind for one in asked(document({}))[0].assumptions}
    assert usual["Wanted highest voltage drop"] == usual["Copper temperature"] == "typical, from memory"
    assert usual["Copper: resistivity at 20 °C"] == "published"
    assert not names & {"Wanted highest voltage drop", "Copper temperature"}


def test_no_bank_on_an_inverter_says_what_to_do() -> None:
    house = document()
    house["banks"] = []
    with pytest.raises(Unreachable, match="Banks"):
        wiring(read(house), MONTH)


def test_old_documents_read_as_before_and_new_ones_come_back() -> None:
    old = read(H)
    assert old.banks[0].wiring is None
    new = read(document({}))
    assert isinstance(new, Household)
    assert read(write(new)) == new


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"length_m": 0.0}, "Length one way must be a number from 0.05 to 200 m; got 0."),
        ({"area_mm2": "thick"}, "Copper cross-section must be a number from 0.2 to 2,000 mm²; got “thick”."),
        ({"breaking_ka": -1}, "The fuse breaks up to must be a number from 0.05 to 1,000 kA; got -1."),
        ({"colour": "red"}, "The field “banks.0.wiring.main.colour” is not known"),
    ],
)
def test_faults_of_the_document_are_said_in_words(change: dict[str, Any], sentence: str) -> None:
    with pytest.raises(InputError, match=r".") as fault:
        read(document(change))
    assert fault.value.message.startswith(sentence)
    assert fault.value.field.startswith("banks.0.wiring.main.")


@pytest.mark.parametrize(("text", "area"), [("2/0", 67.431), ("00", 67.431), ("awg 10", 5.261), ("#4", 21.151)])
def test_awg_as_people_write_it(text: str, area: float) -> None:
    assert awg_mm2(text) == area


@pytest.mark.parametrize("text", ["5/0", "0/2", "41", "", "4 mm", "-1", "2/0/0"])
def test_no_awg_size(text: str) -> None:
    with pytest.raises(InputError, match="AWG size must be"):
        awg_mm2(text)


def test_a_stored_awg_size_is_known_again() -> None:
    assert [awg_name(awg_mm2(name)) for name in ("14", "1", "4/0")] == ["14", "1", "4/0"]


@pytest.mark.parametrize(
    ("change", "asked_for"),
    [
        ({"carries_a": None}, "How much may the cable we have carry"),
        ({"fuse_a": None}, "Which DC fuse guards that cable"),
        ({"fuse_v": None}, "Is our fuse made for"),
        ({"breaking_ka": None}, "How many kA does our fuse break"),
    ],
)
def test_what_is_not_known_is_asked_of_the_electrician_and_nothing_else(change: dict[str, Any], asked_for: str) -> None:
    known, unknown = asked(document({}))[1].questions, asked(document(change))[1].questions
    assert not any(one.startswith(asked_for) for one in known)
    assert [one for one in unknown if one not in known and one.startswith(asked_for)]


def test_a_fault_says_which_cable_it_is_of() -> None:
    house = document({}, parallel=2)
    house["banks"][0]["wiring"]["string"] = {**GOOD, "fuse_a": None}
    text = {one.code: one.text for one in asked(house)[0].notices}
    assert "Bank: the cable of each string has no fuse" in text["wiring-no-fuse"]
    main = {one.code: one.text for one in asked(document({"fuse_a": None}))[0].notices}
    assert "Bank: the main cable has no fuse" in main["wiring-no-fuse"]


def test_what_of_the_breaking_is_not_known_is_named() -> None:
    def said(house: dict[str, Any]) -> str:
        return next(one.text for one in asked(house)[0].notices if one.code == "wiring-breaking-unknown")

    fuse, cells, both = document({"breaking_ka": None}), document({}), document({"breaking_ka": None})
    for house in (cells, both):
        house["banks"][0]["wiring"]["cell_mohm"] = None
    assert "what its fuse can break is not known" in said(fuse)
    assert "main cable: the short-circuit current of every bank on the bus is not known" in said(cells)
    assert "what its fuse can break and the short-circuit current" in said(both)


@pytest.mark.parametrize(
    ("part", "name", "outside", "sentence"),
    [
        ("main", "carries_a", 0.4, "0.5"),
        ("main", "carries_a", 10_001.0, "10,000"),
        ("main", "breaking_ka", 1001.0, "1,000"),
        ("", "conductor_c", -41.0, "40"),
    ],
)
def test_a_value_outside_its_limits_is_refused_with_the_limit(
    part: str, name: str, outside: float, sentence: str
) -> None:
    house = document({})
    wired = house["banks"][0]["wiring"]
    (wired[part] if part else wired)[name] = outside
    with pytest.raises(InputError, match=sentence):
        read(house)


def test_a_string_left_alone_opens_its_own_board_and_that_is_said() -> None:
    """Two strings of 150 A each, 300 A in all: 123.1 A are carried by one alone; with 110 A each they are not."""
    for board_a, is_said in ((300.0, False), (2 * FULL_A + 0.1, False), (220.0, True), (120.0, False)):
        house = document(parallel=2)
        house["banks"][0]["board"]["current_limit_a"] = board_a
        said = [one.text for one in asked(house)[0].notices if one.code == "wiring-string-board"]
        assert bool(said) == is_said, board_a
    house["banks"][0]["board"]["current_limit_a"] = 220.0
    (text,) = [one.text for one in asked(house)[0].notices if one.code == "wiring-string-board"]
    assert "the other carries up to 123.1 A" in text
    assert "of 110 A (220 A ÷ 2)" in text
    assert "the bank would go dark" in text
    house["banks"][0]["parallel"] = 1
    assert "wiring-string-board" not in codes(asked(house)[0], "check")


def test_a_strings_board_that_opens_in_charge_alone_ends_the_charging() -> None:
    house = document(parallel=2)
    house["banks"][0]["board"]["current_limit_a"] = 260.0
    house["inverters"][0]["charge_limit_a"] = 140.0
    (text,) = [one.text for one in asked(house)[0].notices if one.code == "wiring-string-board"]
    assert "140.0 A" in text
    assert "nothing more would be charged" in text


def test_behind_a_boards_cut_off_the_cables_own_drop_is_counted() -> None:
    """4 × 2.5 V at the bank; 2,000 W ask I (10 − R I) = 2,240 W, at most 2,240 W over the inverter's own 9 V."""
    house = document({"length_m": 3.0, "area_mm2": 50.0, "carries_a": 230.0, "fuse_a": 230.0}, series=4)
    house["inverters"][0].update(dc_min_v=9.0, restart_v=11.0, dc_max_v=16.0, rated_w=2000.0, idle_w=89.46)
    house["banks"][0]["board"]["cell_low_v"] = 2.5
    house["sun"]["arrays"] = []
    answer, one = asked(house)
    drawn_w, ohm = one.wiring.drawn_w, one.wiring.main.ohm  # type: ignore[union-attr]
    assert drawn_w == pytest.approx(2240.0, abs=0.1)
    amps = one.wiring.discharge_a
    assert amps * (10.0 - ohm * amps) == pytest.approx(drawn_w)
    assert round(amps, 1) == 238.0
    assert {"wiring-cable-thin"} <= codes(answer, "stop")
    house["banks"][0]["wiring"]["main"]["length_m"] = 30.0
    assert asked(house)[1].wiring.discharge_a == pytest.approx(drawn_w / 9.0)
    house["inverters"][0].update(dc_min_v=10.0)
    assert asked(house)[1].wiring.discharge_a == pytest.approx(drawn_w / 10.0)
