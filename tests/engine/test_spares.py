"""Spare banks: the first current by hand, hours that a division gives, when it matters, and what forbids it."""

from __future__ import annotations

import csv
import dataclasses
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from engine.answers.coming import Coming, coming, soonest
from engine.answers.spares import Spares, spares
from engine.answers.spares_joining import LEADS_MOHM, Joining, Leads, joining
from engine.answers.spares_sources import UNDER_LIMIT, Means
from engine.errors import InputError
from engine.house import household
from engine.house.bank import Bank, Board
from engine.house.household import Household
from engine.house.wiring import Wiring
from engine.paths import data_dir
from engine.sky.days import parse_sky
from tests.engine.plants import IDEAL, SERIES, bank, inverter

EVENING = datetime(2026, 11, 25, 18, 0)
HOUSEHOLDS = Path(__file__).resolve().parents[1] / "households"
NO_CELLS = Leads(cell_mohm={})


def raw_curve(name: str, column: str, soc: float) -> float:
    """A shipped curve read without the engine: straight lines between the rows of its file."""
    with (data_dir() / "curves" / f"{name}.csv").open(encoding="utf-8") as text:
        rows = list(csv.DictReader(line for line in text if not line.startswith("#")))
    return float(np.interp(soc, [float(row["soc"]) for row in rows], [float(row[column]) for row in rows]))


def clipped(spare: Bank, spare_soc: float, low: Bank, low_soc: float, leads: Leads = NO_CELLS) -> Joining:
    return joining(spare, spare_soc, low, low_soc, inverter(), leads)


def sodium(bank_id: str, **changes: object) -> Bank:
    """Sixteen 100 Ah sodium-ion cells at 25 degC."""
    plain = bank("sodium_layered", id=bank_id, name=bank_id.capitalize(), series=16, label_ah=100.0, cell_c=25.0)
    return dataclasses.replace(plain, **changes)  # type: ignore[arg-type]


def home(*more: Bank, **changes: object) -> Household:
    """Household H: constant volts, no resistance, 300 W; with further banks."""
    house = household.read((HOUSEHOLDS / "h.json").read_text(encoding="utf-8"))
    first = dataclasses.replace(house.banks[0], **changes)  # type: ignore[arg-type]
    return dataclasses.replace(house, banks=(first, *more))


def light(*more: Bank) -> Household:
    """Household H with a load that bright days carry."""
    house = home(*more)
    return dataclasses.replace(house, loads=(dataclasses.replace(house.loads[0], values={"power_w": 50.0}),))


def ideal(bank_id: str, **changes: object) -> Bank:
    """A spare of household H's own cells, joined to nothing."""
    plain = bank(IDEAL, id=bank_id, name=bank_id.capitalize(), inverter="", series=16, cell_c=25.0, reserve_soc=0.2)
    return dataclasses.replace(plain, **changes)  # type: ignore[arg-type]


def days(house: Household, charges: dict[str, float], sky: str = "none") -> tuple[Coming, ...]:
    said = parse_sky(sky, house.site, house.sun, EVENING.month, 10)
    return coming(house, charges, said, EVENING)[1]


def asked(house: Household, charges: dict[str, float], loose: dict[str, float], sky: str = "none") -> Spares:
    found = days(house, charges, sky)
    return spares(found, soonest(found), loose)


def example() -> Household:
    return household.read((data_dir() / "example.json").read_text(encoding="utf-8"))


def test_the_worked_case_two_sodium_ion_packs_at_30_and_60_percent() -> None:
    found = clipped(
        sodium("spare"), 0.6, sodium("low"), 0.3, Leads(leads_mohm=4.0, cell_mohm={"spare": 1.44, "low": 1.44})
    )
    apart_v = 16 * (raw_curve("sodium_layered", "ocv_v", 0.6) - raw_curve("sodium_layered", "ocv_v", 0.3))
    assert found.difference_v == pytest.approx(apart_v, rel=1e-9)
    assert found.ohm == pytest.approx(0.05008, rel=1e-12)
    assert found.amps == pytest.approx(apart_v / 0.05008, rel=1e-9)
    assert 129.0 < found.amps < 130.5
    assert found.level == "stop"
    assert not found.at_least


def test_without_a_typed_resistance_the_curves_own_is_taken_and_the_current_is_the_least() -> None:
    found = clipped(sodium("spare"), 0.6, sodium("low"), 0.3)
    cells_ohm = 16 * sum(raw_curve("sodium_layered", "r_fast_v_per_c", soc) / 100.0 for soc in (0.3, 0.6))
    assert found.ohm == pytest.approx(cells_ohm + LEADS_MOHM * 1e-3, rel=1e-9)
    assert found.at_least
    instant = {one: 0.5 * raw_curve("sodium_layered", "r_fast_v_per_c", 0.6) / 100.0 * 1e3 for one in ("spare", "low")}
    assert clipped(sodium("spare"), 0.6, sodium("low"), 0.3, Leads(cell_mohm=instant)).amps > found.amps


def test_twice_the_strings_half_the_ohms_and_half_the_current_in_each() -> None:
    one = clipped(sodium("spare"), 0.6, sodium("low"), 0.3)
    two = clipped(sodium("spare", parallel=2), 0.6, sodium("low", parallel=2), 0.3)
    assert two.ohm - two.leads_ohm == pytest.approx((one.ohm - one.leads_ohm) / 2.0)
    (string,) = [limit for limit in two.limits if limit.each_string and limit.taking]
    assert string.amps == pytest.approx(two.amps / 2.0)
    assert string.most_a == pytest.approx(50.0)


def test_the_current_flows_into_the_lower_bank_whichever_is_the_spare() -> None:
    down, up = clipped(sodium("spare"), 0.6, sodium("low"), 0.3), clipped(sodium("spare"), 0.3, sodium("low"), 0.6)
    assert (down.giver, down.taker) == ("Spare", "Low")
    assert (up.giver, up.taker) == ("Low", "Spare")
    assert up.amps == pytest.approx(down.amps)


def test_at_equal_charge_nothing_flows_and_it_is_a_check_still() -> None:
    found = clipped(sodium("spare"), 0.5, sodium("low"), 0.5)
    assert found.amps == 0.0
    assert found.level == "check"


def test_a_stated_limit_alone_makes_it_a_stop() -> None:
    low, typed = sodium("low", board=None), Leads(cell_mohm={"spare": 1.44, "low": 1.44})
    free = clipped(sodium("spare"), 0.31, low, 0.3, typed)
    assert free.level == "check"
    assert free.amps > 2.0
    assert clipped(sodium("spare"), 0.31, dataclasses.replace(low, charge_limit_a=2.0), 0.3, typed).level == "stop"


@pytest.mark.parametrize("known", [set(), {"spare"}, {"low"}, {"spare", "low"}])
def test_the_least_current_that_flows_is_never_within_anything(known: set[str]) -> None:
    """Cells of 0.2 mΩ let far more flow than their curve of minutes does: until both are known it is a stop."""
    found = clipped(sodium("spare"), 0.31, sodium("low"), 0.3, Leads(cell_mohm=dict.fromkeys(known, 0.2)))
    assert not any(limit.passed for limit in found.limits)
    assert (found.at_least, found.unsure) == (len(known) < 2, len(known) < 2)
    assert found.level == ("check" if len(known) == 2 else "stop")


def test_the_resistance_in_the_wiring_of_a_bank_is_the_one_of_its_cells() -> None:
    """16 × 0.2 mΩ each, and 4 mΩ of leads."""
    spare, low = (sodium(name, wiring=Wiring(cell_mohm=0.2)) for name in ("spare", "low"))
    found = clipped(spare, 0.31, low, 0.3)
    assert found.ohm == pytest.approx(2 * 16 * 0.2e-3 + 4e-3)
    assert not found.at_least
    assert clipped(spare, 0.31, low, 0.3, Leads(cell_mohm={"low": 0.7})).ohm == pytest.approx(16 * 0.9e-3 + 4e-3)


def test_a_frozen_bank_is_not_to_be_charged_from_a_spare() -> None:
    """At 10 % the acid freezes at −13 °C, at 40 % far below."""
    low = bank("lead_flooded", id="low", name="Low", series=24, cell_c=-14.0)
    spare = dataclasses.replace(low, id="spare", name="Spare")
    assert clipped(spare, 0.6, low, 0.1).too_cold
    assert not clipped(spare, 0.6, low, 0.4).too_cold


@pytest.mark.parametrize("changes", [{"series": 15}, {"chemistry": "lfp"}])
def test_unlike_banks_are_a_stop_even_where_little_would_flow(changes: dict[str, object]) -> None:
    spare = dataclasses.replace(sodium("spare"), **changes)  # type: ignore[arg-type]
    found = clipped(spare, 0.5, sodium("low"), 0.5, Leads(leads_mohm=1000.0, cell_mohm={}))
    assert found.unlike
    assert found.level == "stop"
    assert found.even_soc is None


def test_a_bank_too_cold_to_be_charged_is_a_stop_though_the_current_is_small() -> None:
    board = Board(cell_low_v=1.5, cell_high_v=4.1, charge_min_c=5, current_limit_a=300)
    found = clipped(sodium("spare"), 0.301, sodium("low", cell_c=3.0, board=board), 0.3)
    assert found.too_cold
    assert found.level == "stop"


def test_on_a_flat_curve_equal_volts_leave_the_charge_open() -> None:
    lfp = bank("lfp", id="low")
    spare = dataclasses.replace(lfp, id="spare")
    found = clipped(spare, 0.5, lfp, 0.5).even_soc
    assert found is not None
    low, high = found
    at_v = raw_curve("lfp", "ocv_v", 0.5)
    for soc in (low, high):
        assert abs(raw_curve("lfp", "ocv_v", soc) - at_v) * SERIES["lfp"] <= 0.05 + 0.01
    steep = clipped(sodium("spare"), 0.6, sodium("low"), 0.6).even_soc
    assert steep is not None
    assert high - low > 5.0 * (steep[1] - steep[0])
    assert low < 0.5 < high


def test_hours_gained_are_the_kilowatt_hours_moved_over_the_load() -> None:
    """Constant volts, no resistance, no sun: everything is a product or a division."""
    found = asked(home(ideal("shed")), {"bank": 0.4}, {"shed": 0.5})
    kwh = 16 * 3.2 * 280 / 1000.0
    out, load_kw = 0.3 * kwh, (300 * 1.07526881720430107 + 40) / 1000.0
    best = found.best
    assert best is not None
    assert found.hours == pytest.approx(0.2 * kwh / load_kw, rel=1e-6)
    assert best.taken_kwh == pytest.approx(out, rel=1e-6)
    assert best.into_kwh == pytest.approx(0.9 * out, rel=1e-6)
    assert best.lost_kwh == pytest.approx(0.1 * out, rel=1e-6)
    assert best.ran_h == pytest.approx(0.9 * out / 0.5, rel=1e-6)
    assert best.gained_h == pytest.approx(0.9 * out / load_kw, rel=1e-3)
    assert best.spare_soc == pytest.approx(0.2, abs=1e-6)


def test_a_stronger_and_better_device_is_quicker_and_gains_more() -> None:
    found = days(home(ideal("shed")), {"bank": 0.4})
    slow, quick = (
        spares(found, found[0], {"shed": 0.5}, Means(power_w=w, efficiency=e)).best
        for w, e in ((500, 0.9), (1000, 0.95))
    )
    assert slow is not None
    assert quick is not None
    assert quick.ran_h < slow.ran_h
    assert quick.gained_h == pytest.approx(slow.gained_h * 0.95 / 0.9, rel=2e-3)  # type: ignore[operator]


def test_before_a_bright_day_the_room_in_the_bank_decides() -> None:
    """Moved now, it displaces the sun of tomorrow; moved after that, it is all gained."""
    found = asked(example(), {"old": 0.8}, {"new": 0.2}, "bright,dark")
    (spare,) = found.spares
    moves = {move.name: move for move in spare.moves}
    assert spare.matters
    assert spare.moves[0].name == "dark"
    assert moves["now"].displaced_kwh > 1.0
    assert moves["dark"].displaced_kwh == pytest.approx(0.0, abs=0.02)
    assert moves["dark"].gained_h > 3.0 * moves["now"].gained_h  # type: ignore[operator]
    assert moves["late"].ends_h <= found.hours  # type: ignore[operator]


def test_in_the_dark_it_does_not_matter_when_and_now_is_told() -> None:
    found = asked(home(ideal("shed")), {"bank": 0.6}, {"shed": 0.3})
    (spare,) = found.spares
    assert not spare.matters
    assert spare.moves[0].name == "now"
    assert {move.name for move in spare.moves} == {"now", "late"}


def test_a_full_bank_makes_the_device_wait_and_wastes_nothing_of_the_spare() -> None:
    found = asked(example(), {"old": 1.0}, {"new": 0.9}, "bright,bright,dark,dark")
    now = next(move for move in found.spares[0].moves if move.name == "now")
    assert now.ends_h is not None
    assert now.ends_h - now.ran_h > 2.0
    assert now.taken_kwh == pytest.approx(now.into_kwh + now.lost_kwh, rel=2e-3)


def test_the_spare_that_gains_most_is_first_and_of_equals_the_one_that_loses_less() -> None:
    ranked = asked(home(ideal("less"), ideal("more")), {"bank": 0.4}, {"less": 0.3, "more": 0.6}).spares
    assert [spare.bank_id for spare in ranked] == ["more", "less"]
    leaky = dataclasses.replace(IDEAL, id="leaky", self_discharge_per_month=0.5)
    never = asked(light(ideal("leaky", chemistry=leaky), ideal("tight")), {"bank": 0.99}, {}, "bright").spares
    assert never[0].best is not None
    assert never[0].best.gained_h == never[1].best.gained_h == 0.0  # type: ignore[union-attr]
    assert [spare.bank_id for spare in never] == ["tight", "leaky"]


def test_a_spare_on_another_inverter_goes_on_feeding_its_own_loads() -> None:
    house = household.read((HOUSEHOLDS / "three_banks.json").read_text(encoding="utf-8"))
    found = asked(house, {"house": 0.9, "shed": 0.6, "mill": 0.65}, {}, "dark,dark,dull")
    assert found.bank_id == "mill"
    by_id = {spare.bank_id: spare for spare in found.spares}
    assert set(by_id) == {"house", "shed"}
    shed = by_id["shed"]
    assert shed.joined_to == "Shed inverter"
    assert shed.best is not None
    assert shed.own_h is not None
    assert shed.best.own_h is not None
    assert shed.best.own_h < shed.own_h
    assert shed.best.taken_kwh == pytest.approx(shed.best.into_kwh / 0.9)


def test_several_banks_on_one_bus_are_charged_too_but_nothing_is_clipped_to_them() -> None:
    house = home(ideal("second", chemistry="lfp", inverter="main"), ideal("shed"), chemistry="lfp")
    found = asked(house, {"bank": 0.4, "second": 0.4}, {"shed": 0.5})
    (spare,) = found.spares
    assert spare.joining is None
    load_kw = (300 * 1.07526881720430107 + 40) / 1000.0
    best = spare.best
    assert best is not None
    assert 0.97 * best.into_kwh / load_kw < best.gained_h < 1.001 * best.into_kwh / load_kw  # type: ignore[operator]


@pytest.mark.parametrize(
    ("low", "spare", "soc", "why"),
    [
        ({"cell_c": -2.0}, {}, 0.5, "bank cold"),
        ({"cold_charge_a": 0.0, "cell_c": 0.0}, {}, 0.5, "bank cold"),
        ({}, {"cell_c": -30.0}, 0.5, "spare cold"),
        ({}, {"series": 1}, 0.5, "volts"),
        ({}, {}, 0.15, "empty"),
        ({}, {"chemistry": "lfp", "board": None}, 0.5, "stop"),
    ],
)
def test_what_forbids_it_moves_nothing(low: dict[str, object], spare: dict[str, object], soc: float, why: str) -> None:
    found = asked(home(ideal("shed", **spare), **low), {"bank": 0.4}, {"shed": soc})
    (one,) = found.spares
    assert one.hindrance == why
    assert one.moves == ()
    assert found.best is None
    assert np.array_equal(found.soc, found.soc_then)


def test_it_is_turned_down_to_what_the_spare_may_give() -> None:
    board = Board(cell_low_v=2.5, cell_high_v=3.65, charge_min_c=0, current_limit_a=5)
    (one,) = asked(home(ideal("shed", board=board)), {"bank": 0.4}, {"shed": 0.5}).spares
    assert one.power_w == pytest.approx(UNDER_LIMIT * 5 * 16 * 3.2 * 0.9)
    assert one.best is not None
    assert one.best.spare_soc == pytest.approx(0.2, abs=1e-3)


def test_a_full_spare_of_lead_acid_is_not_turned_down_for_how_hard_it_is_to_charge() -> None:
    # At 0.5C, the most its cells give, its volts sag deepest at its reserve: the least resistance of the rows up to
    # there, not that of the last row.
    shed = bank("lead_flooded", id="shed", name="Shed", inverter="", label_ah=20.0, reserve_soc=0.5)
    (one,) = asked(home(shed), {"bank": 0.4}, {"shed": 1.0}).spares
    least = min(raw_curve("lead_flooded", "r_slow_v_per_c", row / 10) for row in range(6))
    sagged_v = raw_curve("lead_flooded", "ocv_v", 0.5) - 0.5 * least
    assert one.power_w == pytest.approx(UNDER_LIMIT * 20 * 24 * 0.5 * sagged_v * 0.9, rel=1e-3)


def test_a_bank_that_lasts_past_the_days_gains_nothing() -> None:
    found = asked(light(ideal("shed")), {"bank": 0.9}, {"shed": 0.5}, "bright")
    assert found.hours is None
    assert found.best is not None
    assert found.best.gained_h == 0.0


def test_into_a_bank_that_is_empty_already_the_kilowatt_hours_count() -> None:
    """Without sun all that arrives is load carried, but for the inverter's losses and its draw, for whole hours."""
    house = home(ideal("shed"))
    weak = Means(power_w=200)
    found = days(house, {"bank": 0.2})
    best = spares(found, found[0], {"shed": 0.5}, weak).best
    assert best is not None
    assert best.gained_h == 0.0
    whole_h = np.ceil(best.ran_h)
    assert best.served_more_kwh == pytest.approx((0.2 * best.ran_h - 0.04 * whole_h) / 1.07526881720430107, rel=1e-6)


def test_a_charge_nobody_said_is_half_and_marked_a_guess() -> None:
    (guess,) = asked(home(ideal("shed")), {"bank": 0.4}, {}).spares
    (said,) = asked(home(ideal("shed")), {"bank": 0.4}, {"shed": 0.5}).spares
    assert guess.guessed
    assert not said.guessed
    assert guess.best is not None
    assert said.best is not None
    assert guess.best.gained_h == said.best.gained_h


@pytest.mark.parametrize(("loose", "said"), [({"barn": 0.5}, "No bank “barn”"), ({"shed": 1.2}, "Charge of Shed must")])
def test_a_charge_that_cannot_be_is_refused(loose: dict[str, float], said: str) -> None:
    with pytest.raises(InputError, match=said) as refused:
        asked(home(ideal("shed")), {"bank": 0.4}, loose)
    assert refused.value.field == f"spare_{next(iter(loose))}"


def test_the_darker_reading_of_the_days_lasts_no_longer() -> None:
    found = asked(example(), {"old": 0.9}, {"new": 0.5}, "dark,dull,dull,bright")
    darker, brighter = found.readings
    assert darker.with_it_h <= brighter.with_it_h  # type: ignore[operator]


def test_household_h_has_no_spare() -> None:
    assert asked(home(), {"bank": 0.4}, {}).spares == ()
