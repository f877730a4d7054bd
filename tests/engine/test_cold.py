"""Cold cells: the current they may take, what that refuses, and what a heater costs, against sums done by hand."""

from __future__ import annotations

import dataclasses
import json
from datetime import datetime
from math import exp

import numpy as np
import pytest

from engine.answers.charging_current import current_limits
from engine.answers.cold import Cold, cold, lifted, refused_kwh
from engine.answers.cold_bank import cold_banks, cold_matters
from engine.answers.coming import Coming, coming
from engine.answers.heating import Heater, heated, usual_aim_c, usual_mass_kg, usual_power_w
from engine.answers.notices import household_notices
from engine.balance.bus_plant import bus_plant
from engine.balance.step import State, plant
from engine.balance.trajectory import run
from engine.balance.warmed import heated_run, warmed_run
from engine.errors import InputError
from engine.house import household
from engine.house.bank import Bank
from engine.house.cold import allowed_charge_c, full_charge_c, full_from_c
from engine.house.household import Household
from engine.house.sizes import with_strings
from engine.sky.days import Sky, parse_sky
from tests.conftest import SMALL_HOUSE
from tests.engine.plants import IDEAL, bank, inverter

EVENING = datetime(2026, 11, 25, 18, 0)
BOX = Heater(to_c=10.0, ambient_c=-3.0, mass_kg=200.0, loss_w_per_k=2.0, power_w=400.0)


def house(*, board_from_c: float = 0.0, **changes: object) -> Household:
    document = json.loads(json.dumps(SMALL_HOUSE))
    document["banks"][0].update(changes)
    document["banks"][0]["board"]["charge_min_c"] = board_from_c
    return household.read(document)


def sky_of(home: Household, text: str = "bright,bright,bright") -> Sky:
    return parse_sky(text, home.site, home.sun, 11, 5)


def days(home: Household, text: str = "bright,bright,bright", soc: float = 0.4) -> Coming:
    return coming(home, {"store": soc}, sky_of(home, text), EVENING)[1][0]


def answer(home: Household, heater: Heater | None = None) -> Cold:
    return cold(days(home), sky_of(home), heater)


def lfp(**changes: object) -> Bank:
    """One string of 280 Ah, 0.5C or 140 A when warm, its board charging from 0 °C."""
    return bank("lfp", **changes)


@pytest.mark.parametrize(
    ("cell_c", "amps"), [(-0.1, 0.0), (0.0, 14.0), (5.0, 77.0), (7.5, 108.5), (10.0, 140.0), (45.0, 140.0), (45.1, 0.0)]
)
def test_the_limit_is_a_line_from_0_to_10_degrees(cell_c: float, amps: float) -> None:
    """14 A at 0 °C and 140 A at 10 °C: half way 14 + 126 / 2 = 77, at 7.5 °C 14 + 126 × 0.75 = 108.5."""
    assert allowed_charge_c(lfp(cold_charge_a=14.0), cell_c) * 280 == pytest.approx(amps)


def test_a_board_that_starts_later_moves_the_start_of_the_line() -> None:
    """From 4 °C: 14 A there, and at 7 °C half way of the six degrees to 10: 77 A."""
    guarded = lfp(cold_charge_a=14.0)
    assert guarded.board is not None
    later = dataclasses.replace(guarded, board=dataclasses.replace(guarded.board, charge_min_c=4.0))
    assert [allowed_charge_c(later, c) * 280 for c in (3.9, 4.0, 7.0, 10.0)] == pytest.approx([0.0, 14.0, 77.0, 140.0])


def test_cells_that_charge_below_freezing_take_less_and_less_there() -> None:
    hardy = bank(dataclasses.replace(IDEAL, charge_min_c=-20.0, needs_board=False), cold_charge_a=28.0, board=None)
    assert [allowed_charge_c(hardy, c) * 280 for c in (-20.1, -20.0, -10.0, 0.0)] == pytest.approx([0, 0, 14, 28])


def test_a_cold_current_that_nobody_entered_is_counted_as_a_tenth_of_c() -> None:
    """28 A of 280 Ah at 0 °C, 140 A from 10 °C on, (28 + 140) / 2 at 5 °C; lead-acid does not plate."""
    assert [allowed_charge_c(lfp(), c) * 280 for c in (0.0, 5.0, 10.0)] == pytest.approx([28.0, 84.0, 140.0])
    assert allowed_charge_c(lfp(), 0.0) == allowed_charge_c(lfp(cold_charge_a=28.0), 0.0)
    lead = bank("lead_flooded")
    assert allowed_charge_c(lead, 0.0) == full_charge_c(lead)


def test_the_lowest_of_cells_bank_and_board_is_the_whole_current() -> None:
    assert full_charge_c(lfp()) == 0.5
    assert full_charge_c(lfp(charge_limit_a=56.0)) == pytest.approx(0.2)
    assert full_from_c(lfp(charge_limit_a=56.0, cold_charge_a=60.0)) == 0.0
    assert allowed_charge_c(lfp(charge_limit_a=56.0, cold_charge_a=60.0), 1.0) == pytest.approx(0.2)


def test_a_field_that_does_not_bite_changes_no_bit() -> None:
    """At 10 °C and warmer, or at the whole current, every limit and every hour is the same as left empty."""
    sun_w, load_w = [0.0] * 8 + [3000.0] * 8 + [0.0] * 8, [300.0] * 24
    for cell_c in (-5.0, 3.0, 12.0, 50.0):
        plain = plant(lfp(cell_c=cell_c), inverter(), 400.0)
        whole = plant(lfp(cell_c=cell_c, cold_charge_a=140.0), inverter(), 400.0)
        assert (plain == whole) is (cell_c != 3.0)
        assert whole.charge_c_max == (0.0 if cell_c in (-5.0, 50.0) else 0.5)
    warm = [plant(lfp(cell_c=12.0, cold_charge_a=amps), inverter(), 400.0) for amps in (None, 5.0)]
    one, other = (run(p, State(0.4), sun_w, load_w, [0.0] * 24) for p in warm)
    assert np.array_equal(one.soc, other.soc)
    assert one.totals == other.totals


def test_plant_bus_and_other_sizes_take_the_same_limit() -> None:
    cool = lfp(cell_c=5.0, cold_charge_a=14.0)
    assert plant(cool, inverter(), 400.0).charge_c_max == pytest.approx(77 / 280)
    shared = bus_plant((cool, lfp(cell_c=20.0, id="b")), inverter(), 400.0)
    assert [p.charge_c_max for p in shared.plants] == pytest.approx([77 / 280, 0.5])
    double = with_strings(cool, 2)
    assert double.cold_charge_a == 28.0
    assert allowed_charge_c(double, 5.0) == pytest.approx(allowed_charge_c(cool, 5.0))


def test_what_cold_refuses_is_what_the_warm_current_takes_more() -> None:
    """560 Ah held to 5.6 A at 0 °C: the charge left out is the sun of two runs apart, and the charge shows it."""
    home = house(cell_c=0.0, cold_charge_a=5.6)
    one = days(home)
    warm = one.changed(dataclasses.replace(one.supply, bank=dataclasses.replace(one.supply.bank, cold_charge_a=None)))
    expected = warm.run().totals.sun_kwh - one.run().totals.sun_kwh
    assert expected > 1.0
    found = answer(home)
    assert found.refused_kwh == refused_kwh(one) == pytest.approx(expected, abs=1e-9)
    assert found.soc_warm[-1] > found.soc[-1]


def test_a_warm_bank_is_refused_nothing_and_too_hot_is_not_cold() -> None:
    for cell_c in (20.0, 50.0):
        one = days(house(cell_c=cell_c, cold_charge_a=5.6))
        assert refused_kwh(one) == 0.0
        assert lifted(one).plant == one.plant


def test_below_the_coldest_charge_all_that_would_go_in_is_refused() -> None:
    frozen = answer(house(cell_c=-4.0))
    assert frozen.banks[0].too_cold
    assert frozen.banks[0].now.charge_a == 0.0
    assert frozen.soc.max() <= 0.4
    assert frozen.refused_kwh > 5.0
    assert frozen.lost_h is None or frozen.lost_h > 0.0


def test_lift_and_hold_by_hand() -> None:
    """200 kg × 1000 J/(kg K) × 13 K = 2.6 MJ = 0.7222 kWh; 13 K × 2 W/K = 26 W."""
    assert BOX.lift_kwh(-3.0) == pytest.approx(2.6e6 / 3.6e6)
    assert BOX.hold_w == 26.0
    assert usual_power_w(BOX.lift_kwh(-3.0), BOX.hold_w) == 270.0


def test_the_mass_is_the_label_over_the_wh_of_a_kilogram() -> None:
    """16 × 280 Ah × 3.2 V = 14.336 kWh; at 150 Wh/kg 95.57 kg. Lead: 24 × 280 × 2.0 = 13.44 kWh at 30, 448 kg."""
    assert usual_mass_kg(lfp()) == pytest.approx(14336 / 150)
    assert usual_mass_kg(bank("lead_flooded")) == pytest.approx(13440 / 30)


def test_the_usual_aim_is_the_whole_current_and_some_room() -> None:
    assert usual_aim_c(lfp(cold_charge_a=140.0)) == 5.0
    assert usual_aim_c(lfp()) == 10.0
    assert usual_aim_c(lfp(cold_charge_a=14.0)) == 10.0
    assert usual_aim_c(bank("lead_flooded")) == -10.0


def test_the_heater_warms_as_a_lump_in_a_box_does() -> None:
    """One lump: T(t) = T_a + P/UA + (T_0 − T_a − P/UA) exp(−UA t / C), then held at its aim with UA ΔT."""
    found = heated(days(house(cell_c=-3.0)), BOX)
    on = np.flatnonzero(found.heater_w)
    first = int(on[0])
    ends = -3.0 + 200.0 * (1.0 - exp(-2.0 * 3600.0 / 200_000.0))
    assert found.heater_w[first] == 400.0
    assert found.cell_c[first + 1] == pytest.approx(ends)
    held = np.flatnonzero(np.isclose(found.cell_c[:-1], 10.0) & np.isclose(found.cell_c[1:], 10.0))
    assert held.size > 2
    assert found.heater_w[held] == pytest.approx(26.0)
    assert found.cell_c.max() <= 10.0 + 1e-9
    assert found.spent_kwh == pytest.approx(found.heater_w.sum() / 1000.0)
    assert found.spent_kwh >= found.lift_kwh


def test_the_heat_put_in_is_what_warms_the_cells_and_what_the_box_loses() -> None:
    """Over a first morning from the entered temperature: with no loss, heater energy is C ΔT exactly."""
    tight = dataclasses.replace(BOX, loss_w_per_k=0.0)
    found = heated(days(house(cell_c=-3.0)), tight)
    assert found.spent_kwh == pytest.approx(found.lift_kwh)
    assert found.cell_c[-1] == pytest.approx(10.0)


def test_a_bank_at_its_reserve_warms_no_cells_before_the_sun() -> None:
    one = days(house(cell_c=-3.0), soc=0.15)
    found = heated(one, BOX)
    nothing_left = (one.given.sun_w <= 0.0) & (found.soc[:-1] <= 0.15)
    assert found.heater_w[nothing_left] == pytest.approx(0.0)
    sunrise = int(np.flatnonzero(one.given.sun_w)[0])
    assert nothing_left[:sunrise].all()
    assert found.cell_c[: sunrise + 1] == pytest.approx(-3.0)
    assert found.heater_w[sunrise:].max() > 100.0
    fuller = heated(days(house(cell_c=-3.0), soc=0.4), BOX)
    assert fuller.cell_c[sunrise] > 0.0


class Always:
    """A box whose heater asks for one power in every hour, and what it was given."""

    def __init__(self, power_w: float) -> None:
        self.power_w, self.given_wh = power_w, 0.0

    def asked_w(self, index: int, hours: float) -> float:
        return self.power_w

    def charge_c(self, hours: float, given_w: float) -> float:
        return 0.3 if given_w > 0.0 else 0.1

    def warm(self, hours: float, given_w: float) -> None:
        self.given_wh += hours * given_w


@pytest.mark.parametrize("cut_v", [40.0, 50.5])
@pytest.mark.parametrize("soc", [0.2, 0.21, 0.25, 0.45])
def test_the_heat_is_what_was_served_of_the_heater(cut_v: float, soc: float) -> None:
    # without other loads all that is served is the heater; some of these end at the reserve, some at the cut-off
    sun_w, none = [0.0] * 5 + [30.0, 90.0, 350.0, 900.0, 200.0] + [0.0] * 6, [0.0] * 16
    box = Always(400.0)
    p = plant(lfp(), inverter(dc_min_v=cut_v, restart_v=cut_v + 1.0), 400.0)
    ran = heated_run(p, State(soc), sun_w, none, none, box, first_h=0.25)
    assert 0.0 < box.given_wh < 400.0 * 15.25
    assert ran.served_kwh == pytest.approx(box.given_wh / 1000.0)
    left_kwh = ran.sun_kwh - ran.served_kwh - ran.loss_kwh - ran.stored_change_kwh
    assert abs(left_kwh) < 1e-3 * ran.served_kwh


def test_a_heater_pays_where_no_charge_goes_in_and_not_where_all_does() -> None:
    frozen = answer(house(cell_c=-3.0), BOX).heated
    assert frozen is not None
    assert frozen.worth
    assert frozen.won_kwh > frozen.spent_kwh
    mild = answer(house(cell_c=6.0), dataclasses.replace(BOX, ambient_c=6.0)).heated
    assert mild is not None
    assert not mild.worth
    assert mild.net_kwh < 0.0


def test_no_sun_to_spare_is_nothing_to_heat_for() -> None:
    home = house(cell_c=-3.0)
    one = coming(home, {"store": 0.9}, parse_sky("none", home.site, home.sun, 11, 5), EVENING)[1][0]
    found = heated(one, BOX)
    assert found.heated_days == 0
    assert found.spent_kwh == 0.0
    assert not found.worth


@pytest.mark.parametrize(
    ("changes", "field", "said"),
    [({"power_w": 20.0}, "heater_w", "above the 26 W"), ({"ambient_c": 4.0}, "ambient_c", "not be warmer than")],
)
def test_a_heater_that_cannot_be_is_refused_by_name(changes: dict[str, float], field: str, said: str) -> None:
    with pytest.raises(InputError, match=said) as refused:
        heated(days(house(cell_c=-3.0)), dataclasses.replace(BOX, **changes))
    assert refused.value.field == field


def test_hours_with_one_limit_are_the_plain_run() -> None:
    p = plant(lfp(cell_c=5.0, cold_charge_a=14.0), inverter(), 400.0)
    sun_w, load_w = [2500.0 if 9 <= k % 24 < 16 else 0.0 for k in range(72)], [350.0] * 72
    plain = run(p, State(0.5), sun_w, load_w, [0.0] * 72, first_h=0.25)
    same = warmed_run(p, State(0.5), sun_w, load_w, [0.0] * 72, [p.charge_c_max] * 72, first_h=0.25)
    assert np.array_equal(plain.soc, same.soc)
    assert (plain.totals.sun_kwh, plain.totals.served_kwh) == (same.sun_kwh, same.served_kwh)
    assert plain.ended_h == same.ended_h


def test_what_matters_is_no_charge_less_charge_or_less_that_is_usable() -> None:
    """LFP keeps 0.885 + 0.115 × T / 25 of its capacity: 0.977 at 20 °C, 0.954 at 15 °C, which is 97.6 % of it.

    Of a reserve of 10 % or more the 4.6 % that 15 °C keeps are no part of what is used; without one they are.
    """
    assert cold_matters(house(cell_c=-2.0), 11)
    assert not cold_matters(house(cell_c=15.0), 11)
    assert cold_matters(house(cell_c=15.0, reserve_soc=0.0), 11)
    assert not cold_matters(house(cell_c=16.5, reserve_soc=0.0), 11)
    home = house(cell_c=15.0)
    (found,) = cold_banks(home, home.supplies()[0], 11)
    assert found.now.capacity_share == pytest.approx((0.885 + 0.115 * 15 / 25) / (0.885 + 0.115 * 20 / 25))
    assert not found.held_back


def test_notices_of_cold() -> None:
    def codes(home: Household) -> dict[str, str]:
        return {notice.code: notice.level for notice in household_notices(home, 11)}

    assert codes(house(cell_c=-5.0, board_from_c=-20.0))["board-charges-frozen"] == "stop"
    assert "board-charges-frozen" not in codes(house(cell_c=-5.0))
    bare = house(cell_c=-5.0)
    alone = dataclasses.replace(bare, banks=(dataclasses.replace(bare.banks[0], board=None),))
    assert codes(alone)["board-charges-frozen"] == "stop"
    assert codes(house(cell_c=3.0, cold_charge_a=20.0))["charger-over-cold"] == "check"
    assert "charger-over-cold" not in codes(house(cell_c=12.0, cold_charge_a=20.0))


@pytest.mark.parametrize(("cell_c", "beyond"), [(-10.0, False), (-10.5, True), (-19.0, True), (-21.0, False)])
def test_a_bank_colder_than_its_table_says_so_and_what_is_used(cell_c: float, beyond: bool) -> None:
    """The table of LFP ends at -10 °C with 80 %; below -20 °C it may not be discharged at all: that is said instead."""
    home = house(cell_c=cell_c)
    told = {notice.code: notice.text for notice in household_notices(home, 11)}
    (found,) = cold_banks(home, home.supplies()[0], 11)
    assert found.beyond_known is beyond
    assert ("colder-than-known" in told) is beyond
    if beyond:
        assert "below -10 °C" in told["colder-than-known"]
        assert "80 % of its ampere-hours" in told["colder-than-known"]
    assert ("too-cold-to-discharge" in told) is (cell_c < -20.0)


def test_the_document_keeps_the_field() -> None:
    home = house(cold_charge_a=42.5)
    assert household.read(household.write(home)) == home
    with pytest.raises(InputError, match="Charge current at 0 °C must be a number from 0 to 5,000 A"):
        house(cold_charge_a=-1.0)


@pytest.mark.parametrize(
    ("cell_c", "cold_a", "taken_a"),
    [(5.0, None, 0.0), (-5.0, None, 0.0), (12.0, None, 100.0), (5.0, 20.0, 60.0), (-5.0, 20.0, 0.0)],
)
def test_no_charge_is_counted_where_nobody_has_stated_how_cold_it_may_be(
    cell_c: float, cold_a: float | None, taken_a: float
) -> None:
    """Layered sodium of 200 Ah, 0.5C when warm; 20 A at 0 °C and 100 A at 10 °C are 60 A at 5 °C."""
    sodium = bank("sodium_layered", series=15, label_ah=200.0, cell_c=cell_c, cold_charge_a=cold_a)
    guarded = lfp().board
    assert guarded is not None
    board = dataclasses.replace(guarded, cell_low_v=1.5, cell_high_v=4.0, charge_min_c=-20.0)
    sodium = dataclasses.replace(sodium, board=board)
    assert allowed_charge_c(sodium, cell_c) * 200.0 == pytest.approx(taken_a)
    assert plant(sodium, inverter(), 300.0).charge_c_max * 200.0 == pytest.approx(taken_a)


def test_a_charger_is_held_to_no_more_by_colder_cells() -> None:
    """56 A at 0 °C for 560 Ah (0.1C): colder cells take none, and no more than these once they take any."""
    found = []
    for cell_c in (12.0, 5.0, 2.0, 0.0, -0.1, -5.0, -20.0):
        cold = lfp(label_ah=560.0, cell_c=cell_c)
        cold = dataclasses.replace(cold, board=dataclasses.replace(cold.board, charge_min_c=0.0))  # type: ignore[type-var]
        found.append(min(current_limits(cold, None))[0])
    assert found == sorted(found, reverse=True)
    assert found[-4:] == pytest.approx([56.0] * 4)
