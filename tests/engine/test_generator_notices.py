"""What is said about a generator that its bank, its engine or its loads do not fit."""

from __future__ import annotations

import dataclasses

import pytest

from engine.answers.notices import household_notices
from engine.errors import InputError
from engine.house.bank import Bank
from engine.house.generator import Generator
from engine.house.household import Household, read, write
from engine.house.loads import Load
from engine.sky.site import Site
from tests.engine.plants import bank, generator, inverter

SITE = Site(latitude_deg=52.1, longitude_deg=-9.9, time_zone="Europe/Dublin")
GOOD = generator(start_soc=0.4, stop_soc=0.8)


def house(one: Generator, store: Bank | None = None, load_w: float = 200.0) -> Household:
    load = Load(id="load", name="Load", kind="steady", values={"power_w": load_w})
    return Household(
        name="House",
        site=SITE,
        inverters=(inverter(),),
        banks=(store or bank("lfp"),),
        loads=(load,),
        generators=(one,),
    )


def codes(household: Household) -> set[str]:
    return {one.code for one in household_notices(household, 12) if one.code.startswith("generator")}


def test_one_that_fits_is_not_spoken_of() -> None:
    assert codes(house(GOOD)) == set()


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"start_soc": 0.1}, "generator-starts-late"),
        ({"stop_soc": 1.0}, "generator-stops-late"),
        ({"charger_w": 2900}, "generator-charger-over-engine"),
        ({"rated_w": 20000, "full_l_per_h": 8.0, "charger_w": 16000}, "generator-charger-over-bank"),
        ({"rated_w": 150, "charger_w": 100}, "generator-overloaded"),
    ],
)
def test_each_misfit_has_its_notice(changes: dict[str, object], code: str) -> None:
    assert codes(house(dataclasses.replace(GOOD, **changes))) == {code}  # type: ignore[arg-type]


def test_sun_and_generator_together_above_what_the_bank_takes() -> None:
    both = dataclasses.replace(
        house(GOOD, bank("lfp", charge_limit_a=100.0)), inverters=(inverter(charge_limit_a=80.0),)
    )
    # 2000 W / 51.2 V = 39 A beside 80 A, of 100 A
    assert codes(both) == {"generator-and-sun-over-bank"}
    assert codes(dataclasses.replace(both, inverters=(inverter(charge_limit_a=60.0),))) == set()


def test_a_cold_bank_is_told_that_it_charges_nothing() -> None:
    cold = codes(house(GOOD, bank("lfp", cell_c=-5.0)))
    assert cold == {"generator-cold", "generator-charger-over-bank"}  # 0.1C once they take any


def test_a_start_where_the_bank_is_charged_already() -> None:
    low = bank("lfp", top_v=3.32, hold=False)
    never = dataclasses.replace(GOOD, start_soc=0.94, stop_soc=1.0)
    assert low.top_reached_soc < 0.94
    assert "generator-starts-full" in codes(house(never, low))


def test_a_document_holds_it_and_gives_it_back() -> None:
    described = house(GOOD)
    assert read(write(described)) == described
    assert described.supplies()[0].generator == GOOD
    with pytest.raises(
        InputError, match="Continuous power must be a number from 50 to 1,000,000 W; got “much”"
    ) as fault:
        read({**write(described), "generators": [{**write(described)["generators"][0], "rated_w": "much"}]})
    assert fault.value.field == "generators.0.rated_w"
