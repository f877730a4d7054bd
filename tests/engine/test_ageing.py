"""Ageing: the published formulas by hand, what must rise and fall, limits, and where nothing more is told."""

from __future__ import annotations

import dataclasses
import re
from itertools import pairwise
from math import exp

import pytest

from engine.cells import catalogue
from engine.cells.ageing import COLDEST_C, LEAST_SHARE, MOST_YEARS, Use, ageing_of, life_years, share_left
from engine.cells.chemistry import soc_at_ocv
from engine.errors import InputError
from tests.engine.plants import IDEAL

IDS = sorted(catalogue.names())
MILD = Use(cell_c=20, mean_soc=0.6, depth=0.4, cycles_a_year=30, c_rate=0.1)
STILL = dataclasses.replace(MILD, cell_c=25, cycles_a_year=0)


def left(id: str, years: float, use: Use = MILD, **changes: float) -> float:
    return share_left(catalogue.load(id), years, dataclasses.replace(use, **changes)).likely


# Constants of Naumann 2018 and 2020 and of Schmalstieg 2014 as public code cites them; the sums by a pocket calculator.
def test_lfp_is_naumanns_sum_of_roots() -> None:
    # 1.2571e-5 (2.8575 0.2^3 + 0.60225) sqrt(315,576,000 s) = 0.13960
    assert 1 - left("lfp", 10, STILL, mean_soc=0.7) == pytest.approx(0.13960, abs=5e-6)
    # (0.0630 0.5 + 0.0971) (4.0253 0.2^3 + 1.0923) sqrt(1000) = 4.573 %
    cycled = left("lfp", 10, STILL, mean_soc=0.7, depth=0.8, cycles_a_year=100, c_rate=0.5)
    assert left("lfp", 10, STILL, mean_soc=0.7) - cycled == pytest.approx(0.04573, abs=5e-6)
    # exp(-17126 / 8.3145 (1 / 308.15 - 1 / 298.15)) = 1.2513
    warm, mild = (1 - left("lfp", 10, STILL, cell_c=degrees) for degrees in (35, 25))
    assert warm / mild == pytest.approx(1.2513, abs=5e-5)


def test_nmc_is_schmalstiegs_sum_and_his_cell_is_the_low_share() -> None:
    cell = catalogue.load("nmc")
    use = dataclasses.replace(STILL, mean_soc=soc_at_ocv(cell, 3.7), depth=0.6)
    # (7.543 3.7 - 23.75) 1e6 exp(-6976 / 298.15) 3652.5^0.75
    by_time = 0.1347
    # (7.348e-3 (3.7 - 3.667)^2 + 7.6e-4 + 4.081e-3 0.6) sqrt(2 2.05 1000)
    by_cycles = 0.2060
    still = share_left(cell, 10, use)
    cycled = share_left(cell, 10, dataclasses.replace(use, cycles_a_year=100))
    assert 1 - still.low == pytest.approx(by_time, abs=5e-5)
    assert still.low - cycled.low == pytest.approx(by_cycles, abs=5e-5)
    # what newer cells lost of it: 0.43
    assert 1 - still.likely == pytest.approx(0.43 * by_time, abs=5e-5)


@pytest.mark.parametrize("id", ["sodium_layered", "lead_flooded", "lead_sealed", "lead_gel"])
def test_typical_lives_are_those_their_source_tells(id: str) -> None:
    text = ageing_of(catalogue.load(id)).source.text
    years, cycles = {
        "sodium_layered": (10, 3000),
        "lead_flooded": (7.5, 275),
        "lead_sealed": (6, 350),
        "lead_gel": (7, 425),
    }[id]
    assert f"after {years:g} years at 25 °C without use, or after {cycles:,} full equivalent cycles of half" in text
    assert left(id, years, STILL) == pytest.approx(0.8)
    # twice as fast for each 10 K: after half the years at 35 °C, and by the root of two at 30 °C
    assert left(id, years / 2, STILL, cell_c=35) == pytest.approx(0.8)
    assert 1 - left(id, years, STILL, cell_c=30) == pytest.approx(0.2 * 2**0.5)
    # by time and by cycles half each: at the end after half the years
    assert left(id, years / 2, STILL, depth=0.5, cycles_a_year=cycles / years) == pytest.approx(0.8)


@pytest.mark.parametrize("id", ["sodium_layered", "lead_flooded", "lead_sealed", "lead_gel"])
def test_the_wear_of_a_cycle_of_typical_lives_grows_with_its_depth_to_the_power_of_three_tenths(id: str) -> None:
    # the usual form of a cycle life: N proportional to depth^-(1 + 0.3) cycles, so each ampere-hour wears as depth^0.3
    hard = dataclasses.replace(STILL, cycles_a_year=100)
    by_cycles = [left(id, 1, STILL) - left(id, 1, hard, depth=depth) for depth in (0.2, 0.5, 0.8)]
    assert by_cycles[2] / by_cycles[0] == pytest.approx(4**0.3)
    assert by_cycles[1] / by_cycles[0] == pytest.approx(2.5**0.3)


@pytest.mark.parametrize("id", IDS)
def test_the_range_is_as_wide_as_its_words_say(id: str) -> None:
    model = ageing_of(catalogue.load(id))
    numbers = [float(number) for number in re.findall(r"(\d\.\d) (?:to|times)", model.spread)]
    share = share_left(catalogue.load(id), 1, MILD)
    factors = [(1 - bound) / (1 - share.likely) for bound in (share.high, share.low)]
    assert factors == pytest.approx([numbers[0], numbers[-1]], abs=0.05)


def test_judged_numbers_stand_as_they_were_judged() -> None:
    """Regression pin: nothing outside decides the factors from memory and the wide guess."""
    judged = {id: (ageing_of(catalogue.load(id)).least, ageing_of(catalogue.load(id)).most) for id in IDS}
    lead = (0.7, 1.8)
    assert judged == {
        "sodium_layered": (0.5, 2.5),
        "lfp": (0.6, 1.8),
        "nmc": (0.6, pytest.approx(2.3, abs=0.05)),
        "lead_flooded": lead,
        "lead_sealed": lead,
        "lead_gel": lead,
    }
    guess = ageing_of(IDEAL)
    assert (guess.least, guess.most) == (0.4, 3.0)
    assert "after 8 years at 25 °C without use, or after 1,000 full" in guess.source.text
    assert (MOST_YEARS, LEAST_SHARE, COLDEST_C) == (20.0, 0.6, 10.0)


def test_nmc_volts_beyond_those_that_were_tested_count_as_the_last_that_were() -> None:
    # Schmalstieg's cell rested at 3.33 V empty and 4.16 V full
    cell = catalogue.load("nmc")
    at_end = [1 - left("nmc", 5, STILL, mean_soc=soc) for soc in (0.0, 1.0)]
    beyond = dataclasses.replace(cell, ocv_v=tuple(3.2 + (v - cell.ocv_v[0]) * 1.2 for v in cell.ocv_v), v_max=4.5)
    wide = [1 - share_left(beyond, 5, dataclasses.replace(STILL, mean_soc=soc)).likely for soc in (0.0, 1.0)]
    assert beyond.ocv_v[0] < 3.33
    assert beyond.ocv_v[-1] > 4.16
    # (7.543 V - 23.75) 1e6 exp(-6976 / 298.15) 1826.25^0.75, times 0.43
    expected = [0.43 * (7.543 * v - 23.75) * 1e6 * exp(-6976 / 298.15) * 1826.25**0.75 for v in (3.33, 4.16)]
    assert wide == pytest.approx(expected)
    assert at_end[0] >= wide[0] - 1e-12
    assert at_end[1] <= wide[1] + 1e-12


@pytest.mark.parametrize("id", IDS)
def test_new_cells_have_all_their_capacity(id: str) -> None:
    new = share_left(catalogue.load(id), 0, MILD)
    assert (new.low, new.likely, new.high, new.beyond) == (1, 1, 1, False)


@pytest.mark.parametrize("id", IDS)
@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("cell_c", (10, 20, 30)),
        ("cycles_a_year", (0, 10, 40)),
        ("depth", (0.1, 0.4, 0.9)),
        ("mean_soc", (0.4, 0.6, 0.9)),
    ],
)
def test_warmth_use_depth_and_charge_never_spare_it(id: str, name: str, values: tuple[float, ...]) -> None:
    shares = [left(id, 2, **{name: value}) for value in values]
    assert shares == sorted(shares, reverse=True)
    flat = name == "mean_soc" and id not in {"lfp", "nmc"}
    assert flat == (shares[0] == shares[-1])


@pytest.mark.parametrize("id", IDS)
def test_years_only_take_and_the_range_holds_the_likely(id: str) -> None:
    shares = [share_left(catalogue.load(id), years, MILD) for years in (0.5, 1, 2, 4, 8, 16)]
    for before, after in pairwise(shares):
        assert after.likely <= before.likely
    assert shares[1].low < shares[1].likely < shares[1].high < 1


@pytest.mark.parametrize("id", IDS)
def test_life_is_where_the_share_is_left(id: str) -> None:
    cell, use = catalogue.load(id), dataclasses.replace(MILD, cell_c=25, cycles_a_year=100)
    life = life_years(cell, use, 0.8)
    assert 0 < life.low < life.likely < life.high <= MOST_YEARS
    assert share_left(cell, life.low, use).low == pytest.approx(0.8)
    assert share_left(cell, life.likely, use).likely == pytest.approx(0.8)
    assert life_years(cell, use, 0.7).likely > life.likely


def test_nothing_is_told_beyond_what_the_fits_hold_for() -> None:
    lfp, lead = catalogue.load("lfp"), catalogue.load("lead_sealed")
    assert share_left(lfp, 50, MILD) == dataclasses.replace(share_left(lfp, MOST_YEARS, MILD), beyond=True)
    worn = share_left(lead, 15, MILD)
    assert (worn.low, worn.likely, worn.beyond) == (LEAST_SHARE, LEAST_SHARE, True)
    rest = life_years(lfp, dataclasses.replace(MILD, cycles_a_year=0), 0.6)
    assert (rest.high, rest.beyond) == (MOST_YEARS, True)
    assert left("lfp", 5, cell_c=-10) == left("lfp", 5, cell_c=10) < 1


def test_measured_cells_age_as_their_chemistry_and_unknown_ones_by_a_wide_guess() -> None:
    nmc = catalogue.load("nmc")
    assert ageing_of(dataclasses.replace(nmc, id="nmc/my-test")) is ageing_of(nmc)
    guess, lfp = share_left(IDEAL, 3, MILD), share_left(catalogue.load("lfp"), 3, MILD)
    assert guess.high - guess.low > lfp.high - lfp.low
    assert ageing_of(IDEAL).source.kind == "typical, from memory"


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"cell_c": 90}, "cell_c", ("Mean cell temperature", "70 °C", "got 90")),
        ({"mean_soc": 1.2}, "mean_soc", ("Mean charge", "0 to 100 %", "got 120")),
        ({"cycles_a_year": -1}, "cycles_a_year", ("Full equivalent cycles", "got -1")),
    ],
)
def test_use_outside_its_limits_is_refused(changes: dict[str, float], field: str, words: tuple[str, ...]) -> None:
    with pytest.raises(InputError) as fault:
        dataclasses.replace(MILD, **changes)
    assert fault.value.field == field
    assert all(word in fault.value.message for word in words)


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [("cell_c", -40, 70), ("mean_soc", 0, 1), ("depth", 0, 1), ("cycles_a_year", 0, 5000), ("c_rate", 0, 5)],
)
def test_use_is_refused_beyond_its_limits_and_not_at_them(name: str, low: float, high: float) -> None:
    """Regression pin of the limits that the refusing sentences name."""
    for value in (low, high):
        assert getattr(dataclasses.replace(MILD, **{name: value}), name) == value
    for value in (low - 0.01, high + 0.01):
        with pytest.raises(InputError, match="must be a number from"):
            dataclasses.replace(MILD, **{name: value})


def test_the_last_year_and_the_ends_of_a_life_may_be_asked_for() -> None:
    lfp = catalogue.load("lfp")
    rest = dataclasses.replace(MILD, cycles_a_year=0, cell_c=10)
    assert not share_left(lfp, MOST_YEARS, rest).beyond
    assert share_left(lfp, MOST_YEARS + 0.01, rest).beyond
    busy = dataclasses.replace(MILD, cycles_a_year=600, cell_c=35)
    assert life_years(lfp, busy, 0.99).high < life_years(lfp, busy, LEAST_SHARE).low < MOST_YEARS
    for share in (0.991, 0.599):
        with pytest.raises(InputError, match=f"got {share * 100:g} %") as fault:
            life_years(lfp, MILD, share)
        assert fault.value.field == "end_share"
    with pytest.raises(InputError) as fault:
        share_left(lfp, -0.01, MILD)
    assert fault.value.field == "years"


def test_a_low_share_at_its_floor_is_told_as_beyond() -> None:
    # lead: (years / 6) x 0.2 of it by time, times 1.8: 0.36 after 6 years and 0.42 after 7
    sealed = catalogue.load("lead_sealed")
    assert not share_left(sealed, 6, STILL).beyond
    worn = share_left(sealed, 7, STILL)
    assert (worn.low, worn.beyond) == (LEAST_SHARE, True)
    assert worn.likely == pytest.approx(1 - 0.2 * 7 / 6)
    life = life_years(sealed, STILL)
    # 0.2 of it lost: at 1.8 and at 0.7 times the loss after 6 / 1.8 and 6 / 0.7 years
    assert (life.low, life.likely, life.high) == pytest.approx((6 / 1.8, 6.0, 6 / 0.7), rel=1e-9)
    assert not life.beyond


def test_years_and_end_shares_outside_their_limits_are_refused() -> None:
    lfp = catalogue.load("lfp")
    for years in (-1.0, float("nan")):
        with pytest.raises(InputError, match="Years of use"):
            share_left(lfp, years, MILD)
    with pytest.raises(InputError, match="60 to 99 %; got 50 %"):
        life_years(lfp, MILD, 0.5)
