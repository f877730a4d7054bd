"""Parts of many winters on days added up by hand: hours, one efficiency, a leak that grows with the bank."""

from __future__ import annotations

import dataclasses
from datetime import date
from math import inf

import numpy as np
import pytest
from numpy.typing import NDArray

from engine.balance import equivalent as equivalents
from engine.balance.depths import Constant, Spectrum, longest_away_h, spectrum
from engine.balance.equivalent import Equivalent
from engine.balance.leaking import leaking, own_leak_kwh
from engine.balance.winters import Winters, _whole, _with_means, whole_years, winters
from engine.errors import Unreachable
from engine.house.household import read
from engine.sky.series import KcSeries
from engine.sky.spells import LEAST_DAYS
from tests.engine.test_household import document

DAYS = 3


def hours(limit_w: float = inf) -> Winters:
    """Three days, the last in another month and year: 600 W of sun at noon and one o'clock, 100 W drawn throughout."""
    day = np.zeros(24)
    day[12:14] = 600.0
    ac_w, dc_w = np.zeros((12, 24)), np.zeros((12, 24))
    ac_w[0], ac_w[1], dc_w[1] = 50.0, 70.0, 5.0
    return Winters(
        sun_w=np.tile(day, DAYS),
        drawn_w=np.full(24 * DAYS, 100.0),
        month=np.array([0, 0, 1]),
        year=np.array([2001, 2001, 2002]),
        kind=np.array([0, 0, 1]),
        ac_w=ac_w,
        dc_w=dc_w,
        sun_limit_w=limit_w,
        filled_days=0,
        basis="made",
        title="by hand",
    )


def test_sums_of_all_hours() -> None:
    told = hours()
    assert told.years.tolist() == [2001, 2002]
    assert told.load_kwh == pytest.approx(3 * 2.4)
    assert told.sun_kwh == pytest.approx(3 * 1.2)
    assert told.sockets_kwh == pytest.approx(2 * 1.2 + 1.8)
    # the two bright hours need nothing beyond the sun
    assert told.beyond_sun_kwh == pytest.approx(3 * 2.2)


def test_the_limit_of_current_holds_for_any_number_of_panels() -> None:
    assert hours(500.0).sun_kwh == pytest.approx(3 * 1.0)
    assert hours(500.0).limited_sun_w(0.5).max() == 300.0
    assert hours(500.0).limited_sun_w(2.0).max() == 500.0
    assert hours().limited_sun_w(2.0).max() == 1200.0
    assert hours(60.0).beyond_sun_kwh == pytest.approx(3 * (2.4 - 0.12))


def test_an_hour_and_its_end_are_of_the_year_of_their_day() -> None:
    # the end of the last hour of the second day is midnight, and still of its year
    assert hours().year_of(np.array([0, 1, 47, 48, 49, 72])).tolist() == [2001, 2001, 2001, 2001, 2002, 2002]


def test_loads_are_those_of_the_kinds_of_the_days() -> None:
    ac_w, dc_w = hours().loads(1, 3)
    assert ac_w.tolist() == [50.0] * 24 + [70.0] * 24
    assert dc_w.tolist() == [0.0] * 24 + [5.0] * 24


def test_a_year_is_whole_from_so_many_known_days_on() -> None:
    year = np.repeat([2001, 2002], 365)
    known = np.ones(730, dtype=bool)
    known[: 365 - LEAST_DAYS] = False
    assert _whole(known, year).all()
    known[365 - LEAST_DAYS] = False
    assert _whole(known, year).tolist() == (year == 2002).tolist()


def test_an_unknown_day_gets_the_mean_of_the_known_days_of_its_month() -> None:
    kc = np.array([0.2, np.nan, 0.6, 0.9, np.nan, np.nan])
    month = np.array([0, 0, 0, 1, 1, 2])
    assert _with_means(kc, month).tolist() == pytest.approx([0.2, 0.4, 0.6, 0.9, 0.9, 0.0])


def found(**changes: object) -> Equivalent:
    plain = Equivalent(winters=hours(), power_w=100.0, bank=Constant(charge_efficiency=0.9), leak_w_per_kwh=0.0)
    return dataclasses.replace(plain, **changes)  # type: ignore[arg-type]


def test_net_energy_is_what_is_left_after_load_and_leak() -> None:
    # 500 W over are 450 W after the efficiency; a bank of 10 kWh that leaks 2 W each draws 20 W more
    net = found().net_kwh(1.0, 10.0)
    assert (net[11], net[12]) == pytest.approx((-0.1, 0.45))
    leaky = found(leak_w_per_kwh=2.0).net_kwh(1.0, 10.0)
    assert (leaky[11], leaky[12]) == pytest.approx((-0.12, 0.9 * 0.48))
    twice = found().net_kwh(2.0, 0.0)
    assert twice[12] == pytest.approx(0.9 * 1.1)


def test_more_panels_fill_the_bank_again_sooner() -> None:
    # each day is 2.2 kWh short and gains 0.9: never full again
    assert found().longest_away_days(1.0) == pytest.approx(DAYS)
    # three times the panels put in 1.53 kWh an hour: of the 23 hours after two o'clock the last one still ends short
    assert found().longest_away_days(3.0) == pytest.approx(23 / 24)
    assert found().longest_away_days(10.0) == pytest.approx(22 / 24)


def test_a_bank_that_is_never_drawn_on_is_never_away_from_full() -> None:
    assert longest_away_h(np.array([1.0, 0.0, 2.0])) == 0
    assert longest_away_h(np.array([1.0, -1.0, 2.0])) == 1


def test_only_the_whole_years_of_a_series_are_kept() -> None:
    home = read(document("h"))
    (supply,) = home.supplies()
    # from new year on: what is left of the year of dull days that began the summer before, a whole one and a part
    series = KcSeries(first=date(2001, 1, 1), kc=np.full(800, 0.4), basis="made", title="by hand")
    kept = winters(home, supply, series)
    assert kept.years.size == whole_years(series, home.site.latitude_deg) == 1
    assert kept.month.size == 365
    assert kept.filled_days == 0
    # 300 W at the sockets throughout, at 93 % and with the idle draw
    assert kept.load_kwh == pytest.approx(365 * 24 * (300 / 0.93 + 40) / 1000)
    assert kept.sockets_kwh == pytest.approx(365 * 7.2)
    with pytest.raises(Unreachable, match="No year of these days is whole"):
        winters(home, supply, dataclasses.replace(series, kc=series.kc[:300]))


@pytest.mark.parametrize(("days", "refills"), [(366.0, True), (366.1, False)])
def test_a_bank_short_of_full_for_more_than_a_year_has_no_winters(
    days: float, refills: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(equivalents, "longest_away_h", lambda _: days * 24)
    assert found().refills(1.0) is refills


def test_without_a_leak_both_spectra_are_one_and_with_it_the_second_is_of_the_size_asked_for() -> None:
    tight = found().leaking(1.0, 0)
    assert tight.leaky is tight.tight
    assert tight.leaks_kwh == tight.tight.bank_for_spells(0) == tight.bank_for_spells(0)
    with_leak = found(leak_w_per_kwh=2.0).leaking(1.0, 0)
    assert with_leak.leaks_kwh == with_leak.tight.bank_for_spells(0)
    assert with_leak.tight.depth_kwh.tolist() == tight.tight.depth_kwh.tolist()
    expected = found(leak_w_per_kwh=2.0).spectrum(1.0, with_leak.leaks_kwh)
    assert with_leak.leaky.depth_kwh.tolist() == expected.depth_kwh.tolist()
    # a bank that is never short still has a size that leaks
    assert found(leak_w_per_kwh=2.0).leaking(1.0, 99).leaks_kwh == 1.0


def test_powers_are_weighted_by_themselves_and_those_below_nothing_left_out() -> None:
    # (100^2 + 300^2) / 400
    assert equivalents._weighted_w(np.array([100.0, -900.0, 300.0, 0.0])) == pytest.approx(250.0)
    assert equivalents._weighted_w(np.array([-5.0, 0.0])) == 0.0


def test_the_size_that_a_spell_just_empties_with_its_own_leak() -> None:
    # x = 10 + x (12 - 10) / 20; none where the leak eats any bank, as it is where a spell is no deeper with leak
    sizes = own_leak_kwh(np.array([10.0, 10.0, 10.0, 10.0]), np.array([12.0, 30.0, 29.0, 9.0]), 20.0)
    assert sizes.tolist() == pytest.approx([10 / 0.9, inf, 200.0, 10.0])


def stepped(net: NDArray[np.float64], bank_kwh: float) -> tuple[float, int]:
    """What a full bank fails to give in these hours, and how often it runs empty, full between two times."""
    drawn = short = 0.0
    spells, dark = 0, False
    for kwh in net.tolist():
        drawn = max(drawn - kwh, 0.0)
        dark = dark and drawn > 0.0
        if drawn > bank_kwh:
            short, drawn = short + drawn - bank_kwh, bank_kwh
            spells, dark = spells + (not dark), True
    return short, spells


def pair(leaks_kwh: float, leak: float) -> tuple[NDArray[np.float64], Spectrum, Spectrum]:
    rng = np.random.default_rng(3)
    net = rng.uniform(-1.0, 1.3, 600)
    return net, spectrum(net), spectrum(net - leak * leaks_kwh)


@pytest.mark.parametrize("leaks_kwh", [2.0, 5.0])
def test_a_leaking_bank_is_what_stepping_gives_at_the_size_that_leaks_and_without_leak(leaks_kwh: float) -> None:
    leak = 0.004
    net, tight, leaky = pair(leaks_kwh, leak)
    both = leaking(tight, leaky, leaks_kwh)
    short_kwh, _ = stepped(net - leak * leaks_kwh, leaks_kwh)
    assert both.short_kwh(np.array([leaks_kwh]))[0] == pytest.approx(short_kwh)
    assert both.short_kwh(np.array([1e-9]))[0] == pytest.approx(stepped(net, 1e-9)[0])
    assert both.short_kwh(np.array([1e6]))[0] == 0.0
    alone = leaking(tight, tight, leaks_kwh)
    for kwh in (0.5, 1.5, 4.0):
        short_kwh, spells = stepped(net, kwh)
        assert alone.short_kwh(np.array([kwh]))[0] == pytest.approx(short_kwh)
        assert alone.dark_spells(np.array([kwh]))[0] == spells
        assert alone.bank_for_short(short_kwh) == pytest.approx(kwh)
        assert alone.dark_spells(np.array([alone.bank_for_spells(spells)]))[0] <= spells
    # the deepest spell alone is short of a bank between its depth and the next, and of none at its own depth
    between = (alone.depth_kwh[0] + alone.depth_kwh[1]) / 2
    assert alone.bank_for_short(alone.depth_kwh[0] - between) == pytest.approx(between)
    assert alone.bank_for_short(0.0) == pytest.approx(alone.depth_kwh[0])


def test_between_its_two_spectra_what_a_leaking_bank_fails_to_give_is_on_their_line() -> None:
    leaks_kwh = 4.0
    _, tight, leaky = pair(leaks_kwh, 0.004)
    both = leaking(tight, leaky, leaks_kwh)
    for kwh in (1.0, 3.0):
        without, with_leak = float(tight.short_kwh(kwh)), float(leaky.short_kwh(kwh))
        expected = without + kwh / leaks_kwh * (with_leak - without)
        assert both.short_kwh(np.array([kwh]))[0] == pytest.approx(expected)
        assert both.bank_for_short(expected) == pytest.approx(kwh)
    assert both.depth_kwh.tolist() == sorted(both.depth_kwh.tolist(), reverse=True)
    assert both.bank_for_spells(both.depth_kwh.size) == 0.0
    assert both.bank_for_spells(both.depth_kwh.size - 1) == both.depth_kwh[-1] > 0.0


def test_a_leak_that_eats_any_bank_leaves_no_size() -> None:
    net = np.array([-1.0] * 10)
    both = leaking(spectrum(net), spectrum(net - 2.0), 2.0)
    assert both.bank_for_spells(0) == inf
    assert both.bank_for_short(0.5) == inf


@pytest.mark.parametrize("strings", [1.0, 2.0, 5.0])
def test_a_bank_without_loss_leaks_what_its_cells_say_of_each_usable_kwh(strings: float) -> None:
    # Household H: 280 Ah of 51.2 V without any loss, 20 % kept back; 5 % a month of 30.4375 days, of all of it
    changed = document("h")
    changed["banks"][0]["chemistry"]["self_discharge_per_month"] = 0.05
    (supply,) = read(changed).supplies()
    one = equivalents.equivalent(supply, hours(), 100.0, strings)
    assert one.bank.charge_efficiency == pytest.approx(1.0)
    assert one.leak_w_per_kwh == pytest.approx(0.05 * 14336 / (30.4375 * 24) / (0.8 * 14.336))
    (tight,) = read(document("h")).supplies()
    assert equivalents.equivalent(tight, hours(), 100.0, strings).leak_w_per_kwh == 0.0
