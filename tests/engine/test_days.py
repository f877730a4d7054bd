"""Days to come: every way to write them, what they mean, and the spells shipped."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from engine.errors import InputError
from engine.quantities import mean_day_of_year
from engine.sky import climate as climates
from engine.sky.averages import average_day_kc, average_day_kwh, kc_for_kwh, mean_kc
from engine.sky.days import MADE_SPELLS, WORDS, equivalent_dark_days, extend, owner_dull_day, parse_sky
from engine.sky.made import made_spells
from engine.sky.site import Array, OwnSpell, Site, Sun
from engine.sky.sun import array_hours, yield_kwh

HERE = Site(latitude_deg=52.0, longitude_deg=5.0, time_zone="Europe/Amsterdam", climate="temperate_maritime")
THERE = Site(latitude_deg=-42.0, longitude_deg=147.0, time_zone="Australia/Hobart", climate="temperate_maritime")
SUN = Sun(arrays=(Array(id="roof", name="Roof", kwp=5.0, tilt_deg=35.0, azimuth_deg=180.0),))


class TestParse:
    def test_none_is_no_sun_for_as_long_as_asked(self) -> None:
        sky = parse_sky("none", HERE, SUN, 1, 5)
        assert sky.kc.tolist() == [0.0] * 5
        assert sky.basis == "none"
        assert sky.listed_days == 5

    def test_words_stand_for_a_range(self) -> None:
        sky = parse_sky(" dark, dull,bright ", HERE, SUN, 1)
        assert sky.labels == ("dark", "dull", "bright")
        assert sky.kc.tolist() == [0.10, 0.30, 0.95]
        assert sky.low_kc.tolist() == [0.05, 0.17, 0.70]
        assert sky.high_kc.tolist() == [0.17, 0.50, 1.05]
        assert sky.basis == "typed"

    def test_numbers_mean_themselves(self) -> None:
        sky = parse_sky("kc:.1,0.2, 1.1", HERE, SUN, 1)
        assert sky.kc.tolist() == [0.1, 0.2, 1.1]
        assert sky.low_kc.tolist() == sky.high_kc.tolist() == sky.kc.tolist()

    def test_oktas_are_cloud_cover(self) -> None:
        sky = parse_sky("oktas:8,4,0", HERE, SUN, 1)
        assert sky.kc == pytest.approx([0.25, 0.9290, 1.0], abs=1e-4)

    def test_a_measured_spell_brings_the_days_after_it(self) -> None:
        preset = climates.presets()["maritime_7d_1in10"]
        sky = parse_sky("maritime_7d_1in10", HERE, SUN, 12)
        assert tuple(sky.kc) == preset.kc + preset.next4
        assert sky.listed_days == 7
        assert sky.basis == "measured elsewhere"
        assert sky.month == 12
        assert "Worst week of 1 year in 10" in sky.title
        assert "Hupsel" in sky.title

    def test_a_borrowed_spell_says_so(self) -> None:
        assert "shape borrowed" in parse_sky("monsoon_7d_1in5", HERE, SUN, 7).title

    def test_further_days_are_the_months_average_and_are_told(self) -> None:
        sky = parse_sky("dark,dark", HERE, SUN, 1, 5)
        assert sky.kc[2:].tolist() == [average_day_kc(HERE, SUN, 1)] * 3
        assert sky.labels == ("dark", "dark", "", "", "")
        assert sky.listed_days == 2
        assert sky.title == "2 days as typed, then 3 days average for the month"

    def test_a_list_is_never_cut(self) -> None:
        assert len(parse_sky("dark,dark,dull", HERE, SUN, 1, 2).kc) == 3

    @pytest.mark.parametrize(
        ("text", "sentence"),
        [
            ("", "A day is missing"),
            ("dark,,dull", "A day is missing"),
            ("dark,sunny", "“sunny” is not a day"),
            ("maritime_9d_1in1", "“maritime_9d_1in1” is not a day"),
            ("made_9d_1in1", "“made_9d_1in1” is not a day"),
            ("made_7d_1in50", "“made_7d_1in50” is not a day"),
            ("own_7d_1in10", "“own_7d_1in10” is not a spell of your own file. There is: none yet"),
            ("kwh:", "must be numbers"),
            ("kwh:-1", "from 0 to 100000; got -1"),
            ("kwh:0.4,400", "A day cannot be 400 kWh: these panels give at most .* on any day in January"),
            ("ampere:5", "“ampere:5” is not a day"),
            ("kc:", "must be numbers"),
            ("kc:.1;.2", "must be numbers"),
            ("kc:.1,1.2", "from 0 to 1.1; got 1.2"),
            ("kc:nan", "from 0 to 1.1; got nan"),
            ("oktas:9", "from 0 to 8; got 9"),
            ("kc:" + ",".join(["1"] * 367), "at most 366; got 367"),
            (",".join(["dark"] * 367), "at most 366; got 367"),
        ],
    )
    def test_what_cannot_be_read_is_refused_in_words(self, text: str, sentence: str) -> None:
        with pytest.raises(InputError, match=sentence) as caught:
            parse_sky(text, HERE, SUN, 1)
        assert caught.value.field == "sky"

    def test_too_many_days_are_refused(self) -> None:
        with pytest.raises(InputError, match="at most 366; got 367"):
            parse_sky("dark", HERE, SUN, 1, 367)


class TestMadeForThePlace:
    def test_a_made_spell_brings_the_days_after_it_and_says_what_it_is(self) -> None:
        spell = made_spells(HERE, SUN).spell(7, 10)
        assert spell is not None
        sky = parse_sky("made_7d_1in10", HERE, SUN, 12)
        assert tuple(sky.kc) == spell.window.kc + spell.window.after_kc
        assert (sky.basis, sky.listed_days, sky.month) == ("made", 7, spell.window.month)
        assert sky.title == (
            "Worst week of 1 year in 10, and the 7 days after it (30 years made from the months of Temperate maritime)"
        )
        assert (sky.spell_id, sky.spell_title) == ("made_7d_1in10", "Worst week of 1 year in 10")

    def test_average_days_follow_where_more_are_asked(self) -> None:
        sky = parse_sky("made_3d_1in1", HERE, SUN, 12, 20)
        assert sky.listed_days == 3
        assert sky.kc[10:].tolist() == [average_day_kc(HERE, SUN, 12)] * 10
        assert sky.title.endswith(", then 10 days average for the month")

    @pytest.mark.parametrize("site", [HERE, THERE])
    def test_every_length_and_risk_is_there_and_falls_in_the_dark_season(self, site: Site) -> None:
        north_facing = dataclasses.replace(SUN.arrays[0], azimuth_deg=0.0 if site.south else 180.0)
        sun = Sun(arrays=(north_facing,))
        for name, (days, _) in MADE_SPELLS.items():
            sky = parse_sky(name, site, sun, 1)
            assert sky.listed_days == days
            if days >= 3:
                assert sky.month in ((5, 6, 7, 8) if site.south else (11, 12, 1, 2))

    def test_without_panels_the_dullest_days_are_taken(self) -> None:
        assert parse_sky("made_7d_1in10", HERE, Sun(), 12).kc[:7].mean() == pytest.approx(
            made_spells(HERE, Sun()).spell(7, 10).window.mean  # type: ignore[union-attr]
        )


class TestOutOfTheOwnersFile:
    KEPT = OwnSpell(
        id="own_3d_1in5",
        title="Worst three days of 1 year in 5",
        kc=(0.1, 0.2, 0.15),
        after_kc=(0.6, 0.4),
        month=11,
        ended="2019-11-23",
        years=8,
    )

    def test_its_days_come_in_their_order_with_those_after(self) -> None:
        sky = parse_sky("own_3d_1in5", HERE, dataclasses.replace(SUN, spells=(self.KEPT,)), 12)
        assert sky.kc.tolist() == [0.1, 0.2, 0.15, 0.6, 0.4]
        assert (sky.basis, sky.listed_days, sky.month) == ("own file", 3, 11)
        assert sky.title == (
            "Worst three days of 1 year in 5, and the 2 days after it (your file, 8 years, ended 23 November 2019)"
        )

    def test_one_that_is_not_there_is_refused_with_those_that_are(self) -> None:
        with pytest.raises(InputError, match=r"own_3d_1in10.* is not a spell of your own file\. There is: own_3d_1in5"):
            parse_sky("own_3d_1in10", HERE, dataclasses.replace(SUN, spells=(self.KEPT,)), 12)


class TestKilowattHours:
    @pytest.mark.parametrize("month", [1, 6])
    def test_the_panels_give_what_was_typed(self, month: int) -> None:
        owned = dataclasses.replace(SUN, clear_day_kwh=30.0, clear_day_month=6)
        sky = parse_sky("kwh:0.5, 2,0,3.25", HERE, owned, month)
        days = np.full(4, mean_day_of_year(month))
        assert yield_kwh(HERE, owned, sky.kc, days) == pytest.approx([0.5, 2.0, 0.0, 3.25], abs=1e-6)
        assert (sky.basis, sky.title) == ("typed", "4 days by the kWh of the panels")

    def test_without_panels_there_are_none_to_be_had(self) -> None:
        with pytest.raises(InputError, match="at most 0 kWh"):
            parse_sky("kwh:1", HERE, Sun(), 6)

    def test_a_polar_night_gives_none(self) -> None:
        svalbard = Site(latitude_deg=78.0, longitude_deg=15.0, time_zone="UTC", climate="temperate_maritime")
        assert yield_kwh(svalbard, SUN, parse_sky("kwh:0", svalbard, SUN, 12).kc, [346]).tolist() == [0.0]
        with pytest.raises(InputError, match="at most 0 kWh on any day in December"):
            parse_sky("kwh:0.1", svalbard, SUN, 12)


class TestOwnersDullDay:
    def test_it_is_none_where_nothing_is_typed(self) -> None:
        assert owner_dull_day(HERE, SUN, 1) is None

    @pytest.mark.parametrize(("kwh", "month"), [(0.3, 12), (1.5, 12), (2.0, 6), (20.0, 6)])
    def test_its_kwh_come_back_to_a_milliwatt_hour(self, kwh: float, month: int) -> None:
        owned = dataclasses.replace(SUN, dull_day_kwh=kwh, dull_day_month=month, clear_day_kwh=30.0, clear_day_month=6)
        sky = owner_dull_day(HERE, owned, 3, 2)
        assert sky is not None
        assert sky.basis == "owner's dull day"
        assert sky.labels == ("dull", "dull")
        watts = array_hours(HERE, owned, sky.kc[:1], [mean_day_of_year(month)])["roof"]
        assert watts.sum() / 1000.0 == pytest.approx(kwh, abs=1e-6)

    def test_without_a_month_it_holds_for_the_month_asked_about(self) -> None:
        owned = dataclasses.replace(SUN, dull_day_kwh=1.0)
        for month in (1, 6):
            sky = parse_sky("dull", HERE, owned, month)
            given = yield_kwh(HERE, owned, sky.kc, [mean_day_of_year(month)])
            assert given == pytest.approx([1.0], abs=1e-6)

    def test_the_word_dull_then_means_his_own_and_dark_is_no_brighter(self) -> None:
        owned = dataclasses.replace(SUN, dull_day_kwh=0.8, dull_day_month=6)
        sky = parse_sky("dull,dark,bright", HERE, owned, 6)
        assert sky.kc[0] == sky.low_kc[0] == sky.high_kc[0] < WORDS["dark"][1]
        assert sky.kc[1] == sky.kc[0]
        assert sky.kc[2] == WORDS["bright"][1]

    def test_more_than_any_sky_gives_is_refused(self) -> None:
        with pytest.raises(InputError, match=r"Dull day cannot be 50 kWh: .* in December") as caught:
            owner_dull_day(HERE, dataclasses.replace(SUN, dull_day_kwh=50.0), 12)
        assert caught.value.field == "sun.dull_day_kwh"
        with pytest.raises(InputError, match="at most 0 kWh"):
            kc_for_kwh(HERE, Sun(), 1.0, 6)


class TestMonths:
    def test_the_owners_monthly_values_go_before_the_climates(self) -> None:
        own = tuple(0.3 + 0.01 * month for month in range(12))
        assert mean_kc(HERE, dataclasses.replace(SUN, monthly_kc=own), 3) == own[2]
        assert mean_kc(HERE, SUN, 3) == climates.load("temperate_maritime").monthly_kc[2]

    def test_the_average_day_gives_what_its_dull_and_bright_days_give(self) -> None:
        for month in (1, 4, 7, 10):
            day = mean_day_of_year(month)
            kc = average_day_kc(HERE, SUN, month)
            assert yield_kwh(HERE, SUN, [kc], [day])[0] == pytest.approx(average_day_kwh(HERE, SUN, month))

    def test_panels_tilted_for_winter_make_the_most_of_its_few_clear_days(self) -> None:
        steep = Sun(arrays=(Array(id="a", name="A", kwp=5, tilt_deg=70, azimuth_deg=180),))
        flat = Sun(arrays=(Array(id="a", name="A", kwp=5, tilt_deg=0, azimuth_deg=180),))
        assert average_day_kc(HERE, steep, 12) > 1.15 * mean_kc(HERE, steep, 12)
        assert average_day_kc(HERE, flat, 12) == pytest.approx(mean_kc(HERE, flat, 12), rel=0.1)

    def test_without_panels_the_average_day_is_the_mean(self) -> None:
        assert average_day_kc(HERE, Sun(), 5) == mean_kc(HERE, Sun(), 5)

    def test_the_other_hemisphere_is_half_a_year_away(self) -> None:
        assert mean_kc(THERE, SUN, 7) == mean_kc(HERE, SUN, 1)
        assert parse_sky("maritime_7d_1in10", THERE, SUN, 6).month == 6
        assert parse_sky("maritime_3d_1in10", THERE, SUN, 6).month == 7


class TestShippedData:
    IDS = ("continental", "humid_tropics", "monsoon", "oceanic_west", "subtropical", "temperate_maritime")

    def test_there_are_six_climates_with_a_source_for_every_number(self) -> None:
        assert tuple(climates.names()) == self.IDS
        for key in self.IDS:
            climate = climates.load(key)
            assert len(climate.monthly_kc) == 12
            assert all(0.3 < kc <= 1.0 for kc in climate.monthly_kc)
            assert climate.source.kind
            assert climate.source.text

    def test_every_climate_has_three_lengths_at_three_risks(self) -> None:
        listed = climates.presets().values()
        for key in self.IDS:
            named = {preset.id.split("_", 1)[1] for preset in listed if preset.climate == key}
            assert named == {f"{days}d_1in{risk}" for days in (3, 7, 14) for risk in (1, 5, 10)}

    def test_each_spell_holds_together(self) -> None:
        for preset in climates.presets().values():
            assert len(preset.kc) == preset.days
            assert len(preset.next4) == (0 if preset.shape_borrowed else 4)
            assert all(0.0 < kc <= climates.KC_MAX for kc in preset.kc + preset.next4)
            assert np.mean(preset.kc) == pytest.approx(preset.mean_kc, abs=0.0006)
            assert preset.source
            assert preset.kind.startswith("measured elsewhere")
            assert preset.shape_borrowed == preset.kind.endswith("mean only")

    def test_rarer_is_darker_and_longer_is_brighter(self) -> None:
        # One in 10 of some twenty years is known to +-0.02, and each window was ranked by its own station.
        means = {preset.id: preset.mean_kc for preset in climates.presets().values()}
        for short in {name.split("_")[0] for name in means}:
            for days in (3, 7, 14):
                risks = [means[f"{short}_{days}d_1in{risk}"] for risk in (1, 5, 10)]
                assert risks[0] > risks[1]
                assert risks[1] > risks[2] - 0.02
            for risk in (1, 5, 10):
                lengths = [means[f"{short}_{days}d_1in{risk}"] for days in (3, 7, 14)]
                assert lengths == sorted(lengths)


class TestEquivalentDarkDays:
    def test_constant_sun_is_worth_none(self) -> None:
        assert equivalent_dark_days([4.0] * 30, 4.0, 7) == pytest.approx(0.0)

    def test_fully_dark_days_count_themselves(self) -> None:
        assert equivalent_dark_days([4.0] * 9 + [0.0] * 3 + [4.0] * 9, 4.0, 3) == pytest.approx(3.0)
        assert equivalent_dark_days([4.0] * 9 + [0.0] * 3 + [4.0] * 9, 4.0, 7) == pytest.approx(3.0)

    @pytest.mark.parametrize(("mean", "window"), [(0.0, 1), (float("nan"), 1), (1.0, 0), (1.0, 4)])
    def test_a_window_longer_than_the_series_or_no_mean_is_refused(self, mean: float, window: int) -> None:
        with pytest.raises(InputError, match="from 1 to 3 days"):
            equivalent_dark_days([1.0, 1.0, 1.0], mean, window)


def test_extend_leaves_a_long_sky_alone() -> None:
    sky = parse_sky("dark,dull", HERE, SUN, 1)
    assert extend(sky, 0.5, 2) is sky
    assert extend(sky, 0.5, 3).title.endswith("then one day average for the month")


def test_an_impossible_dull_day_of_the_owners_falls_back_to_the_word() -> None:
    greedy = dataclasses.replace(SUN, dull_day_kwh=500.0, dull_day_month=12)
    assert parse_sky("dull", HERE, greedy, 12).kc.tolist() == [WORDS["dull"][1]]
    assert owner_dull_day(HERE, Sun(dull_day_kwh=3.0), 12) is None
