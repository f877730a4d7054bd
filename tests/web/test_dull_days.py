"""What days may be chosen on the pages that ask: out of the own file, measured elsewhere, made for the place, typed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from engine.answers.spell_windows import measured_rows
from engine.errors import InputError
from engine.house import household
from engine.house.household import Household
from tests.conftest import Client, soup
from webapp.dull_days import read_sky, spell_choices, usual_dull_days, usual_spell

Opener = Callable[[str | dict[str, Any] | None], Client]

KEPT = {
    "id": "own_7d_1in10",
    "title": "Worst week of 1 year in 10",
    "kc": [0.1, 0.2, 0.1, 0.3, 0.1, 0.2, 0.1],
    "after_kc": [0.6, 0.4],
    "month": 1,
    "ended": "2019-01-23",
    "years": 12,
}

LONGEST_ON_A_PHONE = 35
"""Letters that a select of 360 pixels shows beside its arrow, at 16 pixels each about 8 wide."""


def with_file(small_house: dict[str, Any]) -> Household:
    small_house["sun"]["spells"] = [KEPT]
    return household.read(small_house)


def anywhere(small_house: dict[str, Any]) -> Household:
    small_house["site"]["climate"] = "world"
    return household.read(small_house)


def test_the_own_file_goes_before_a_station_and_a_station_before_made_days(small_house: dict[str, Any]) -> None:
    home = household.read(small_house)
    assert usual_spell(home.site, home.sun, 7) == "oceanic_7d_1in10"
    home = with_file(small_house)
    assert usual_spell(home.site, home.sun, 7) == "own_7d_1in10"
    assert usual_spell(home.site, home.sun, 3) == "oceanic_3d_1in10"
    home = anywhere(small_house)
    assert usual_spell(home.site, home.sun, 3) == "made_3d_1in10"


@pytest.mark.parametrize(("kwh", "chosen"), [(1.0, "own"), (65.0, "usual")])
def test_a_dull_day_that_is_brighter_than_the_average_is_not_asked_for(
    small_house: dict[str, Any], kwh: float, chosen: str
) -> None:
    small_house["sun"]["dull_day_kwh"], small_house["sun"]["dull_day_month"] = kwh, 6
    small_house["sun"]["arrays"][0]["kwp"] = 12.8
    assert usual_dull_days(household.read(small_house), 12) == chosen


def test_the_choices_say_where_the_days_are_from(small_house: dict[str, Any]) -> None:
    home = with_file(small_house)
    choices = dict(spell_choices(home.site, home.sun, "none"))
    assert choices["own_7d_1in10"] == "Worst 7 days, 1 in 10: your file"
    assert choices["oceanic_7d_1in5"] == "Worst 7 days, 1 in 5: Valentia"
    assert choices["made_14d_1in1"] == "Worst 14 days, typical: made here"
    assert list(choices)[-1] == "none"
    assert max(map(len, choices.values())) <= LONGEST_ON_A_PHONE


def test_a_place_without_a_climate_has_no_station(small_house: dict[str, Any]) -> None:
    home = anywhere(small_house)
    choices = [key for key, _ in spell_choices(home.site, home.sun, "none")]
    assert choices == [f"made_{days}d_1in{risk}" for days in (3, 7, 14) for risk in (1, 5, 10)] + ["none"]


@pytest.mark.parametrize(
    ("sky", "text"),
    [
        ("made_10d_1in5", "Worst 10 days, 1 in 5: made here"),
        ("monsoon_7d_1in5", "another climate"),
        ("kwh:1,2", "As typed: kwh:1,2"),
    ],
)
def test_days_that_are_not_listed_stay_chosen(small_house: dict[str, Any], sky: str, text: str) -> None:
    home = household.read(small_house)
    assert text in dict(spell_choices(home.site, home.sun, sky))[sky]


@pytest.mark.parametrize("page", ["/today", "/size", "/week"])
@pytest.mark.parametrize("sky", ["made_7d_1in10", "kwh:1.5,0.5,2"])
def test_the_pages_that_ask_take_them(client: Client, page: str, sky: str) -> None:
    response = client.get(page, params={"sky": sky, "month": 12} if page != "/today" else {"sky": sky})
    assert response.status_code == 200
    assert client.get(f"{page}.json", params={"sky": sky}).json()["sky_basis"] == (
        "made" if sky.startswith("made") else "typed"
    )


def test_made_days_are_never_called_the_owners_or_measured(client: Client) -> None:
    for page, words in (
        ("/today", "made for your place, not measured"),
        ("/week", "made for your place, not measured"),
    ):
        assert words in soup(client.get(page, params={"sky": "made_7d_1in10"})).get_text()
    size = soup(client.get("/size?sky=made_3d_1in10&days=3")).get_text()
    assert "Three of the worst days of 1 year in 10" in size


def test_the_assumptions_say_that_they_are_made(client: Client) -> None:
    listed = client.get("/size.json?sky=made_3d_1in10&days=3").json()["assumptions"]
    (days,) = [one for one in listed if one["name"] == "Days to come"]
    assert days["kind"] == "made"
    assert "published model" in days["source"]


def test_the_own_file_is_told_as_such(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"]["spells"] = [KEPT]
    page = soup(client_of(small_house).get("/week?sky=own_7d_1in10")).get_text()
    assert "out of your own file" in page
    assert "your file, 12 years, ended 23 January 2019" in page


@pytest.mark.parametrize("latitude_deg", [53.0, -35.0])
def test_titles_write_their_dates_as_people_do(small_house: dict[str, Any], latitude_deg: float) -> None:
    small_house["site"]["latitude_deg"] = latitude_deg
    home = household.read(small_house)
    # data/presets.json: the window of this id ended on 2008-01-20 at Valentia
    title = read_sky("oceanic_3d_1in1", home, 1).title
    moved = ", moved by half a year for the south" if latitude_deg < 0 else ""
    assert f"(Valentia, Ireland, ended 20 January 2008{moved})" in title
    rows = measured_rows(home.site, home.sun, "oceanic_west", 1)
    assert (
        next(one for one in rows if one.sky == "oceanic_3d_1in1").source == "Valentia, Ireland, ended 20 January 2008"
    )


def test_a_spell_of_no_file_is_refused_at_the_field(client: Client) -> None:
    response = client.get("/week?sky=own_7d_1in10")
    assert response.status_code == 422
    assert "is not a spell of your own file" in soup(response).get_text()


def test_an_impossible_clear_day_is_told_where_made_days_need_the_panels(small_house: dict[str, Any]) -> None:
    small_house["sun"] |= {"clear_day_kwh": 20.0, "clear_day_month": 12}
    small_house["site"]["latitude_deg"] = 80.0
    home = household.read(small_house)
    with pytest.raises(InputError, match="Mend it on Sun") as caught:
        read_sky("made_7d_1in10", home, 6)
    assert caught.value.field == "sky"
