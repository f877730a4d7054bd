"""Money: hand sums from typed prices, and nothing where no price was typed."""

from __future__ import annotations

import dataclasses

import pytest

from engine.answers.costs import bank_cost, fuel_cost, panels_price, replacement_years
from engine.answers.inputs import sections
from engine.cells.ageing import Life
from engine.house.household import Household
from engine.house.prices import Prices
from engine.sky.site import Site
from tests.engine.plants import generator

TYPED = Prices(currency="kr", bank_per_kwh=1000, panels_per_kwp=5000, fuel_per_litre=20)
LIFE = Life(low=5.0, likely=10.0, high=15.0, beyond=False)


def test_a_bank_costs_what_its_label_does() -> None:
    cost = bank_cost(TYPED, label_kwh=20, usable_kwh=16, kwh_a_year=800, life=LIFE)
    assert cost.price == 20_000
    assert cost.per_usable_kwh == 20_000 / 16
    per_kwh = cost.per_delivered_kwh
    assert per_kwh is not None
    # 20,000 over 800 kWh a year for 15, 10 and 5 years
    assert (per_kwh.low, per_kwh.likely, per_kwh.high) == pytest.approx((20 / 12, 2.5, 5.0))
    assert (cost.replacements.long, cost.replacements.likely) == ((15.0,), (10.0,))
    assert cost.replacements.short == (5.0, 10.0, 15.0)
    assert not cost.lives_held


def test_nothing_is_worked_out_of_a_price_that_was_not_typed() -> None:
    cost = bank_cost(Prices(), label_kwh=20, usable_kwh=16, kwh_a_year=800, life=LIFE)
    assert (cost.price, cost.per_usable_kwh, cost.per_delivered_kwh) == (None, None, None)
    assert cost.replacements.likely == (10.0,)
    assert panels_price(Prices(bank_per_kwh=1000), 4) is None
    burnt = fuel_cost(Prices(bank_per_kwh=1000), generator(), 100, 300, 0.9)
    assert burnt is not None
    assert burnt.price_a_year is None
    assert burnt.litres_a_year > 0


def test_a_bank_given_for_nothing_and_one_that_gives_nothing() -> None:
    free = bank_cost(Prices(bank_per_kwh=0), label_kwh=20, usable_kwh=16, kwh_a_year=800, life=LIFE)
    assert free.price == free.per_usable_kwh == 0
    idle = bank_cost(TYPED, label_kwh=20, usable_kwh=0, kwh_a_year=0, life=LIFE)
    assert idle.price == 20_000
    assert (idle.per_usable_kwh, idle.per_delivered_kwh) == (None, None)


def test_a_life_that_was_held_is_said() -> None:
    held = bank_cost(TYPED, 20, 16, 800, dataclasses.replace(LIFE, high=20.0, beyond=True))
    assert held.lives_held
    assert held.replacements.long == ()


@pytest.mark.parametrize(
    ("life", "years"), [(20.0, ()), (19.9, (19.9,)), (10.0, (10.0,)), (4.0, (4.0, 8.0, 12.0, 16.0)), (0.0, ())]
)
def test_replacements_fall_before_twenty_years_are_over(life: float, years: tuple[float, ...]) -> None:
    assert replacement_years(life) == pytest.approx(years)


def test_panels_cost_by_their_kwp() -> None:
    assert panels_price(TYPED, 4.5) == 22_500


def test_fuel_is_burnt_at_the_power_it_runs_at() -> None:
    burnt = fuel_cost(TYPED, generator(), unserved_kwh_a_year=100, load_w=300, charge_efficiency=0.95)
    assert burnt is not None
    # it carries 300 W and puts 2000 W into the bank, which takes 2000 / 0.9 W: 2522 W; 300 + 1900 W are made good
    assert burnt.power_w == pytest.approx(300 + 2000 / 0.9)
    assert burnt.run_h_a_year == pytest.approx(100_000 / 2200)
    # 0.4 + 0.8 2522.2 / 3000 = 1.07259 l an hour
    assert burnt.litres_a_year == pytest.approx(1.07259 * 100_000 / 2200, rel=1e-5)
    assert burnt.served_kwh_per_litre == pytest.approx(2.2 / 1.07259, rel=1e-5)
    assert burnt.price_a_year == pytest.approx(20 * burnt.litres_a_year)


def test_fuel_without_a_charger_without_need_and_without_anything_to_give() -> None:
    carrying = fuel_cost(TYPED, generator(charger_w=0), 100, 300, 0.95)
    charging = fuel_cost(TYPED, generator(), 100, 300, 0.95)
    assert carrying is not None
    assert charging is not None
    assert carrying.power_w == 300
    assert carrying.litres_a_year > 2 * charging.litres_a_year
    none_needed = fuel_cost(TYPED, generator(), 0, 300, 0.95)
    assert none_needed is not None
    assert (none_needed.litres_a_year, none_needed.price_a_year) == (0, 0)
    assert fuel_cost(TYPED, generator(charger_w=0), 100, 0, 0.95) is None


def test_it_gives_no_more_than_its_rating() -> None:
    full = fuel_cost(TYPED, generator(), 100, 5000, 0.95)
    assert full is not None
    assert full.power_w == 3000
    assert full.served_kwh_per_litre == pytest.approx(3 / 1.2)


def test_prices_stand_on_the_sheet_where_they_were_typed() -> None:
    site = Site(latitude_deg=52, longitude_deg=-8, time_zone="Europe/Dublin")
    plain = Household(name="H", site=site)
    assert not [one for one in sections(plain) if one.title.startswith("Prices")]
    (found,) = [one for one in sections(dataclasses.replace(plain, prices=TYPED)) if one.title == "Prices, in kr"]
    assert [row.value for row in found.rows] == [1000, 5000, 20]
