"""Many winters at once, against the trajectory of the same hours, against itself and its limits."""

from __future__ import annotations

import dataclasses
import json
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from engine.answers.autonomy_days import autonomy_days
from engine.answers.comparing import best_bank
from engine.answers.confirming import NEAR_SHARE, Confirmed, Progress, _trial, confirming
from engine.answers.winters import Fitted, fitted, many_winters
from engine.answers.winters_map import OWN, TWICE
from engine.answers.winters_years import band_of_bank, drawn_anew
from engine.balance.forcing import load_hours, sun_hours
from engine.balance.step import Plant, State, plant
from engine.balance.trajectory import Trajectory, run
from engine.balance.winters import Winters, whole_years, winters
from engine.cells import catalogue
from engine.errors import Unreachable
from engine.house.household import Household, Supply, read
from engine.house.sizes import with_strings
from engine.paths import data_dir
from engine.sky.made import made_years
from engine.sky.series import KcSeries

HOUSEHOLDS = Path(__file__).parents[1] / "households"
DECEMBER = 12


@lru_cache
def example() -> Household:
    return read((data_dir() / "example.json").read_text(encoding="utf-8"))


@lru_cache
def ideal() -> Household:
    """A household whose cells are flat and without loss, on an inverter without loss."""
    document = json.loads((HOUSEHOLDS / "story5.json").read_text(encoding="utf-8"))
    document["inverters"][0] |= {"idle_w": 0.0, "k1": 0.0, "k2": 0.0}
    return read(json.dumps(document))


def series_of(household: Household, years: int) -> KcSeries:
    return made_years(household.site, household.sun, years)


def fit_of(household: Household, years: int = 10) -> Fitted:
    return fitted(household, household.supplies()[0], series_of(household, years), DECEMBER)


def dark_spells(path: Trajectory) -> int:
    """Times in which load goes unserved for want of charge, a charged bank between two."""
    spells, dark = 0, False
    for limit, charged in zip(path.limits, path.charged[1:].tolist(), strict=True):
        short = limit not in {"", "overload"}
        spells += short and not dark
        dark = (dark or short) and not charged
    return spells


def test_hours_of_winters_are_those_of_any_other_answer() -> None:
    home = example()
    supply, series = home.supplies()[0], series_of(home, 3)
    hours = winters(home, supply, series)
    assert hours.years.size == 3
    assert hours.sun_w.size == hours.drawn_w.size == hours.month.size * 24
    day = 200
    start = datetime.combine(series.first, datetime.min.time()) + timedelta(days=day)
    span = slice(day * 24, (day + 5) * 24)
    free = dataclasses.replace(home, sun=dataclasses.replace(home.sun, covered_days=0))
    assert hours.sun_w[span] == pytest.approx(sun_hours(free, supply, start, series.kc[day : day + 5]))
    for mine, other in zip(hours.loads(day, day + 5), load_hours(home, supply, start, 5), strict=True):
        assert mine == pytest.approx(other)


def test_only_whole_years_count_and_unknown_days_get_the_mean_of_their_month() -> None:
    home = example()
    series = series_of(home, 4)
    kc = series.kc.copy()
    kc[400:460] = np.nan
    kc[800:805] = np.nan
    hours = winters(home, home.supplies()[0], dataclasses.replace(series, kc=kc))
    assert hours.years.tolist() == [2001, 2003, 2004]
    assert whole_years(dataclasses.replace(series, kc=kc), home.site.latitude_deg) == 3
    assert whole_years(dataclasses.replace(series, kc=series.kc * np.nan), home.site.latitude_deg) == 0
    assert hours.filled_days == 5
    whole = winters(home, home.supplies()[0], series)
    assert hours.sun_w[: 365 * 24] == pytest.approx(whole.sun_w[: 365 * 24])


@pytest.mark.parametrize("strings", [1, 3, 6])
def test_flat_cells_through_the_full_model_give_what_the_spectrum_gives(strings: int) -> None:
    fit = fit_of(ideal(), 5)
    kwh = fit.kwh(strings)
    cycles = fit.found.spectrum(1.0, kwh)
    bank, hours = with_strings(fit.supply.bank, strings), fit.hours
    ac_w, dc_w = hours.loads(0, hours.month.size)
    p = plant(bank, fit.supply.inverter, fit.found.power_w)
    path = run(p, State(bank.top_reached_soc), hours.sun_w.tolist(), ac_w.tolist(), dc_w.tolist())
    spells = dark_spells(path)
    assert fit.found.bank.charge_efficiency == pytest.approx(1.0)
    assert float(cycles.short_kwh(kwh)) == pytest.approx(path.totals.unserved_kwh, rel=1e-6)
    assert int(cycles.dark_spells(kwh)) == spells > 5


def test_a_size_tried_on_flat_cells_is_the_size_of_the_spectrum() -> None:
    fit = fit_of(ideal())
    *steps, last = confirming(fit, fit.near, times=4.0)
    assert isinstance(last, Confirmed)
    assert last.confirmed_kwh == pytest.approx(last.spectrum_kwh, rel=0.005)
    assert all(isinstance(one, Progress) for one in steps)


@pytest.mark.parametrize(("risk_id", "times"), [("1in10", 2.0), ("never", 1.0), ("share", 1.0), ("1in5", 3.0)])
def test_progress_is_told_between_the_spans_of_one_size_and_never_falls(risk_id: str, times: float) -> None:
    fit = fit_of(example(), 10)
    risk = next(one for one in fit.allowed if one.id == risk_id)
    *steps, last = confirming(fit, risk, times)
    assert isinstance(last, Confirmed)
    told = [one for one in steps if isinstance(one, Progress)]
    done = [one.done_share for one in told]
    assert done == sorted(done)
    assert (done[0], done[-1]) == (0.0, 1.0)
    by_size = [[one.done_share for one in told if one.sizes_tried == tried] for tried in range(told[-1].sizes_tried)]
    longest = max(by_size, key=len)
    assert len(longest) >= last.spells_run > 1
    assert all(after > before for before, after in pairwise(longest))
    assert told[-1].high_kwh == last.confirmed_kwh
    assert told[-1].high_kwh - told[-1].low_kwh < 0.01 * last.spectrum_kwh


def test_a_size_tried_span_by_span_is_the_smallest_that_all_spans_at_once_allow() -> None:
    """Each span is run here by itself and its dark spells added up, with no progress in between."""
    fit = fit_of(example(), 10)
    *_, last = confirming(fit, fit.near, 2.0)
    assert isinstance(last, Confirmed)
    trial = _trial(fit, fit.near, 2.0)
    each = with_strings(fit.supply.bank, 1).label_kwh

    def spells(strings: float) -> int:
        bank = with_strings(fit.supply.bank, strings)
        p = plant(bank, fit.supply.inverter, fit.found.power_w)
        return sum(dark_spells(_path(fit, p, bank.top_reached_soc, 2.0, span)) for span in trial.spans)

    strings = last.confirmed_label_kwh / each
    assert spells(strings) <= trial.spells < spells(strings - NEAR_SHARE * trial.first)


def _path(fit: Fitted, p: Plant, top_soc: float, times: float, span: tuple[int, int]) -> Trajectory:
    ac_w, dc_w = fit.hours.loads(span[0] // 24, span[1] // 24)
    return run(p, State(top_soc), (times * fit.hours.sun_w[slice(*span)]).tolist(), ac_w.tolist(), dc_w.tolist())


def test_a_bracket_that_is_widened_takes_no_progress_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """With ends so near that the size lies outside them, upwards and downwards, it is found as well."""
    fit = fit_of(example(), 10)
    *_, usual = confirming(fit, fit.near, 2.0)
    assert isinstance(usual, Confirmed)
    for low, high in ((0.5, 0.6), (1.5, 1.6)):
        monkeypatch.setattr("engine.answers.confirming._LOW", low)
        monkeypatch.setattr("engine.answers.confirming._HIGH", high)
        *steps, last = confirming(fit, fit.near, 2.0)
        assert isinstance(last, Confirmed)
        assert last.confirmed_kwh == pytest.approx(usual.confirmed_kwh, rel=2 * NEAR_SHARE)
        done = [one.done_share for one in steps if isinstance(one, Progress)]
        assert done == sorted(done)
        assert done[-1] == 1.0


def test_the_band_of_a_bank_is_that_of_each_set_of_years_counted_by_hand() -> None:
    fit = fit_of(example(), 10)
    cycles = fit.found.spectrum(1.0, 40.0)
    times = drawn_anew(fit.hours, cycles)
    for spells in (0, 2, 10**6):
        asked = []
        for one in times:
            repeated = np.repeat(cycles.depth_kwh, one)
            asked.append(repeated[spells] if repeated.size > spells else 0.0)
        assert band_of_bank(times, cycles, spells) == tuple(np.percentile(asked, (5, 95)))


@pytest.mark.parametrize("times", [1.0, 2.0])
@pytest.mark.parametrize("chemistry", ["lfp", "nmc"])
def test_sizes_of_the_example_hold_within_five_percent_in_the_full_cell_model(chemistry: str, times: float) -> None:
    home = example()
    supply = home.supplies()[0]
    bank = best_bank(catalogue.load(chemistry), supply.bank, supply.inverter, 640.0)
    assert bank is not None
    fit = fitted(home, dataclasses.replace(supply, bank=bank), series_of(home, 30), DECEMBER)
    *_, last = confirming(fit, fit.near, times)
    assert isinstance(last, Confirmed)
    assert abs(last.difference_share) < 0.05
    assert last.spells_run > 5


@pytest.mark.parametrize("times", [1.0, 1.7, 3.0])
def test_a_leak_read_between_two_spectra_is_near_that_of_each_size_itself(times: float) -> None:
    fit = fit_of(example(), 30)
    columns = fit.found.leaking(times, 3)
    for kwh in (20.0, 60.0, 150.0, 400.0):
        itself = fit.found.spectrum(times, kwh)
        short_kwh = float(itself.short_kwh(kwh))
        assert float(columns.short_kwh(np.array([kwh]))[0]) == pytest.approx(short_kwh, rel=0.03, abs=10.0)
        spells = int(itself.dark_spells(kwh))
        assert int(columns.dark_spells(np.array([kwh]))[0]) == pytest.approx(spells, rel=0.05, abs=2)
    near_kwh = columns.bank_for_spells(3)
    assert int(fit.found.spectrum(times, near_kwh * 1.001).dark_spells(near_kwh * 1.001)) <= 3
    assert int(fit.found.spectrum(times, near_kwh * 0.99).dark_spells(near_kwh * 0.99)) > 3


def test_more_panels_and_more_bank_never_leave_more_dark() -> None:
    """Loss of load falls with array and with storage: the axes of Lorenzo's reliability map (2003, from memory)."""
    told = many_winters(example(), example().supplies()[0], series_of(example(), 10), DECEMBER).map
    short = np.array(told.short_share)
    assert np.all(np.diff(short, axis=0) <= 1e-9)
    assert np.all(np.diff(short, axis=1) <= 1e-9)
    assert short.max() > 0.05 > short.min()
    for line in told.lines:
        sizes = [np.inf if kwh is None else kwh for kwh in line.bank_kwh]
        if line.risk.id in ("never", "share"):
            assert all(after <= before * (1 + 1e-9) for before, after in pairwise(sizes))
    for rare, often in pairwise(told.lines[:4]):
        pairs = zip(rare.bank_kwh, often.bank_kwh, strict=True)
        assert all(a is None or (b is not None and b <= a) for a, b in pairs)


def test_answer_agrees_with_itself() -> None:
    home = example()
    told = many_winters(home, home.supplies()[0], series_of(home, 30), DECEMBER)
    assert sum(winter.dark_spells for winter in told.winters) == told.own.dark_spells
    assert sum(winter.short_kwh for winter in told.winters) == pytest.approx(told.own.short_kwh_a_year * 30)
    assert sum(winter.dark_spells > 0 for winter in told.winters) == told.own.dark_winters
    assert told.own_low_spells <= told.own.dark_spells <= told.own_high_spells
    for size, line in zip(told.sizes, told.map.lines, strict=True):
        assert size.bank_kwh == line.bank_kwh[OWN]
        assert size.spells > 0 or size.high_kwh is None
        if size.low_kwh is not None and size.high_kwh is not None:
            assert size.low_kwh <= size.bank_kwh <= size.high_kwh * (1 + 1e-5)
    # Sizes are read between two spectra by rank, winters each by itself: alike to a percent.
    assert max(winter.needed_kwh or 0.0 for winter in told.winters) == pytest.approx(told.sizes[0].bank_kwh, rel=0.01)
    dark = [winter.dark_spells > 0 for winter in told.winters]
    assert dark == [(winter.needed_kwh or 0.0) > told.own.usable_kwh for winter in told.winters]
    by_strings = {row.strings: row for row in told.rows}
    for size in told.sizes[:4]:
        assert by_strings[size.strings].dark_spells <= size.spells
    assert told.map.lines[1].bank_kwh[TWICE] < 0.5 * told.sizes[1].bank_kwh
    assert told.own.given_kwh_a_year + told.own.short_kwh_a_year < told.load_kwh_a_year
    drawn, back, deepest = (line.value for line in told.worked)
    assert drawn - back == pytest.approx(deepest)


def changed(household: Household, **parts: object) -> tuple[Household, Supply]:
    supply = household.supplies()[0]
    return household, dataclasses.replace(supply, **parts)


@pytest.mark.parametrize(
    ("parts", "words"),
    [({"arrays": ()}, "no panels"), ({"loads": ()}, "no load")],
)
def test_what_cannot_be_asked_is_said(parts: dict[str, object], words: str) -> None:
    home, supply = changed(example(), **parts)
    with pytest.raises(Unreachable, match=words):
        many_winters(home, supply, series_of(home, 5), DECEMBER)


def summer_house(power_w: float) -> Household:
    """A house that draws at the battery side from April to September, with an inverter that idles at nothing."""
    document = json.loads((HOUSEHOLDS / "story5.json").read_text(encoding="utf-8"))
    document["inverters"][0] |= {"idle_w": 0.0}
    load = {"id": "dc", "name": "Cabin", "kind": "steady", "measured": "battery", "months": [4, 5, 6, 7, 8, 9]}
    document["loads"] = [load | {"values": {"power_w": power_w}}]
    return read(json.dumps(document))


def test_winters_of_a_house_that_draws_nothing_in_its_darkest_month_are_counted() -> None:
    """April to September are 183 days: at 40 W they take 175.7 kWh a year, and the sun of summer carries them."""
    home = summer_house(40.0)
    told = many_winters(home, home.supplies()[0], series_of(home, 5), DECEMBER)
    assert told.load_kwh_a_year == pytest.approx(183 * 24 * 0.04)
    in_june = many_winters(home, home.supplies()[0], series_of(home, 5), 6)
    assert told.own.dark_spells == in_june.own.dark_spells
    assert told.own.usable_kwh == pytest.approx(in_june.own.usable_kwh, rel=0.01)


def test_winters_of_a_house_that_never_draws_say_so() -> None:
    home = summer_house(0.0)
    with pytest.raises(Unreachable, match="no load on this bank in any month"):
        many_winters(home, home.supplies()[0], series_of(home, 5), DECEMBER)


def test_two_winters_are_too_few_and_cold_lithium_rides_out_none() -> None:
    home = example()
    with pytest.raises(Unreachable, match="too few"):
        many_winters(home, home.supplies()[0], series_of(home, 2), DECEMBER)
    cold = best_bank(catalogue.load("lfp"), home.supplies()[0].bank, home.supplies()[0].inverter, 640.0)
    assert cold is not None
    _, supply = changed(home, bank=dataclasses.replace(cold, cell_c=-3.0))
    with pytest.raises(Unreachable, match="may not be charged at -3 °C"):
        many_winters(home, supply, series_of(home, 5), DECEMBER)


def test_winters_of_the_south_are_those_of_the_calendar() -> None:
    home = example()
    south = dataclasses.replace(home, site=dataclasses.replace(home.site, latitude_deg=-38.0, longitude_deg=145.0))
    hours: Winters = winters(south, south.supplies()[0], series_of(south, 3))
    assert hours.month[0] == 0
    assert hours.year[0] == 2001
    told = many_winters(south, south.supplies()[0], series_of(south, 10), 6)
    assert {winter.month for winter in told.winters} <= {4, 5, 6, 7, 8, 9}


def with_panels(times: float) -> Household:
    home = example()
    arrays = tuple(dataclasses.replace(array, kwp=array.kwp * times) for array in home.sun.arrays)
    return dataclasses.replace(home, sun=dataclasses.replace(home.sun, arrays=arrays))


@pytest.mark.parametrize("times", [0.02, 0.1])
def test_hopeless_panels_have_no_size_on_any_page(times: float) -> None:
    home = with_panels(times)
    supply, series = home.supplies()[0], series_of(home, 10)
    told = many_winters(home, supply, series, DECEMBER)
    assert not told.refills
    assert all(size.bank_kwh is None for size in told.sizes)
    fit = fitted(home, supply, series, DECEMBER)
    assert autonomy_days(fit, 3).winters_label_kwh is None
    with pytest.raises(Unreachable, match="full again within a year"):
        next(confirming(fit, fit.near))


@pytest.mark.parametrize("changes", [{"latitude_deg": -35.0, "longitude_deg": 149.0}, {"charge_limit_a": 60.0}])
def test_a_size_keeps_its_risk_in_the_row_of_its_strings(changes: dict[str, float]) -> None:
    home = example()
    if "latitude_deg" in changes:
        home = dataclasses.replace(home, site=dataclasses.replace(home.site, **changes, climate="world"))
    supply = home.supplies()[0]
    if "charge_limit_a" in changes:
        supply = dataclasses.replace(supply, inverter=dataclasses.replace(supply.inverter, **changes))
    told = many_winters(home, supply, series_of(home, 30), 6 if home.south else DECEMBER)
    rows = {row.strings: row for row in told.rows}
    for size in told.sizes:
        if size.strings is not None and size.risk.share is None:
            assert rows[size.strings].dark_spells <= size.spells


def test_a_size_tried_keeps_its_risk_in_one_run_through_all_winters() -> None:
    fit = fit_of(example(), 10)
    *_, last = confirming(fit, fit.near, 2.0)
    assert isinstance(last, Confirmed)
    bank = with_strings(fit.supply.bank, last.confirmed_label_kwh / with_strings(fit.supply.bank, 1).label_kwh)
    p = plant(bank, fit.supply.inverter, fit.found.power_w)
    ac_w, dc_w = fit.hours.loads(0, fit.hours.month.size)
    path = run(p, State(bank.top_reached_soc), (2.0 * fit.hours.sun_w).tolist(), ac_w.tolist(), dc_w.tolist())
    spells = dark_spells(path)
    assert spells <= last.risk.spells(10)


def test_a_trial_never_asks_for_more_strings_than_can_be_built(monkeypatch: pytest.MonkeyPatch) -> None:
    fit = fit_of(example(), 10)
    monkeypatch.setattr("engine.answers.confirming.MOST_STRINGS", 20)
    with pytest.raises(Unreachable, match="Even 20 strings"):
        list(confirming(fit, fit.near, 1.0))
