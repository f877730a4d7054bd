"""Sun: the year at a glance, arrays with all their fields, own months, what own numbers change, and bad entries."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from typing import Any, ClassVar

import pytest
from bs4 import BeautifulSoup

from engine.house import household
from engine.sky.glance import month_yields
from tests.conftest import Client, form_of, soup
from webapp.panel_words import own_words
from webapp.records_use import standing
from webapp.render import figures

Opener = Callable[[str | dict[str, Any] | None], Client]


def words(page: BeautifulSoup, selector: str) -> str:
    found = page.select_one(selector)
    assert found is not None, selector
    return " ".join(found.get_text().split())


def two_roofs(small_house: dict[str, Any], **sun: Any) -> dict[str, Any]:
    """The small household with a second roof and what is given of its sun."""
    house = copy.deepcopy(small_house)
    shed = {"id": "shed", "name": "Shed", "kwp": 2.0, "tilt_deg": 10.0, "azimuth_deg": 265.0}
    house["sun"] = {"arrays": [house["sun"]["arrays"][0], shed], **sun}
    return house


def sent(client: Client, form_id: str, **changes: str) -> dict[str, str]:
    return form_of(soup(client.get("/sun")), form_id) | changes


class TestYear:
    def test_the_sentence_is_the_darkest_months_and_the_same_as_the_json(
        self, client_of: Opener, small_house: dict[str, Any]
    ) -> None:
        client = client_of(two_roofs(small_house))
        year = client.get("/sun.json").json()
        page = soup(client.get("/sun"))
        darkest = min(year["months"], key=lambda one: one["average_kwh"])
        assert year["darkest"] == darkest
        assert darkest["month"] == 12
        said = words(page, "#year .sentence")
        average, dull = (f"{figures(darkest[name])} kWh" for name in ("average_kwh", "dull_kwh"))
        assert said == f"An average December day gives {average}, a dull one {dull}."
        total = sum(one["year_kwh"] for one in year["arrays"])
        assert f"an average year {total:,.0f}".replace(",", " ") in words(page, "#year .range")

    def test_the_chart_has_its_numbers_in_a_table(self, client: Client) -> None:
        page = soup(client.get("/sun"))
        figure = json.loads(page.select_one("#year-chart-plot")["data-figure"])
        assert [trace["name"] for trace in figure["data"]] == ["bright day", "average", "dull day"]
        rows = page.select("#year-chart table tbody tr")
        assert len(rows) == 12
        year = client.get("/sun.json").json()
        for trace, name in zip(figure["data"], ("bright_kwh", "average_kwh", "dull_kwh"), strict=True):
            assert trace["y"] == pytest.approx([one[name] for one in year["months"]], abs=0.0006)
            assert len({trace["line"]["dash"] for trace in figure["data"]}) == 3

    def test_each_array_is_listed_with_what_its_limit_costs(
        self, client_of: Opener, small_house: dict[str, Any]
    ) -> None:
        house = two_roofs(small_house)
        house["sun"]["arrays"][0]["charger_limit_w"] = 2500
        table = words(soup(client_of(house).get("/sun")), "table.arrays")
        assert "Barn roof" in table
        assert "Shed" in table
        assert "its charger’s limit costs" in table

    def test_it_leads_to_the_pages_beside_it(self, client: Client) -> None:
        page = soup(client.get("/sun"))
        known = {link["href"] for link in page.select("nav a")}
        leads = {link["href"] for link in page.select("#year .asking a")}
        assert leads == {"/spells", "/sky", "/records"}
        assert leads <= known

    def test_without_panels_there_is_no_year_and_the_json_says_why(
        self, client_of: Opener, small_house: dict[str, Any]
    ) -> None:
        house = copy.deepcopy(small_house) | {"sun": {"arrays": []}}
        client = client_of(house)
        assert soup(client.get("/sun")).select_one("#year") is None
        response = client.get("/sun.json")
        assert response.status_code == 422
        assert "There are no panels yet" in response.json()["errors"]["arrays"]

    def test_a_polar_night_is_nothing_and_said(self, client_of: Opener, small_house: dict[str, Any]) -> None:
        house = two_roofs(small_house)
        house["site"] = {
            "latitude_deg": 78.2,
            "longitude_deg": 15.6,
            "time_zone": "Arctic/Longyearbyen",
            "climate": "world",
        }
        page = soup(client_of(house).get("/sun"))
        december = page.select("#year-chart table tbody tr")[11]
        assert [cell.get_text() for cell in december.select("td")] == ["0", "0", "0", "0"]
        assert "the sun does not rise" in page.get_text()
        assert "Beyond 55° from the equator" in page.get_text()

    def test_a_clear_day_that_chargers_cannot_pass_is_said_and_nothing_breaks(
        self, client_of: Opener, small_house: dict[str, Any]
    ) -> None:
        house = two_roofs(small_house, clear_day_kwh=200.0, clear_day_month=6)
        for array in house["sun"]["arrays"]:
            array["charger_limit_w"] = 2000
        client = client_of(house)
        page = client.get("/sun")
        assert page.status_code == 200
        assert "pass at most" in page.text
        assert client.get("/sun.json").status_code == 422


class TestEffect:
    def test_nothing_of_ones_own_has_no_effect_to_show(self, client: Client) -> None:
        page = soup(client.get("/sun"))
        assert page.select_one("#effect") is None
        assert client.get("/sun.json").json()["effect"] is None

    def test_own_numbers_stand_with_and_without(self, client_of: Opener, small_house: dict[str, Any]) -> None:
        months = [None] * 11 + [93.0]
        client = client_of(two_roofs(small_house, clear_day_kwh=40, clear_day_month=6, monthly_kwh=months))
        effect = client.get("/sun.json").json()["effect"]
        assert effect["months"][5]["clear_kwh"][1] == pytest.approx(40.0)
        assert effect["months"][11]["average_kwh"][1] == pytest.approx(3.0)
        assert effect["months"][11]["average_kwh"][0] != pytest.approx(3.0, rel=0.01)
        page = soup(client.get("/sun"))
        assert "your clear day and the kWh of a month" in page.get_text()
        assert len(page.select("table.effect tbody tr")) == 12


ALL = {"winter_tilt_deg": "65", "losses": "20", "charger_limit_w": "4000", "start_w": "60"}
"""The folded fields of an array, as typed."""


class TestArrayForm:
    def test_every_field_is_kept_and_shown_again(self, client: Client) -> None:
        assert client.post("/sun/arrays", sent(client, "array-barn-form", **ALL)).status_code == 303
        barn = client.document()["sun"]["arrays"][0]
        assert barn["winter_tilt_deg"] == 65
        assert barn["losses"] == pytest.approx(0.2)
        assert barn["charger_limit_w"] == 4000
        assert barn["start_w"] == 60
        again = sent(client, "array-barn-form")
        assert {name: again[name] for name in ALL} == ALL
        header = words(soup(client.get("/sun")), "#array-barn header p")
        assert "tilted 35°, 65° from October to March, facing south (170°), to the midday sun" in header
        assert header.endswith("its charger passes at most 4 000 W; starts at 60 W; losses 20 %")

    def test_emptied_fields_are_as_if_never_typed(self, client: Client) -> None:
        client.post("/sun/arrays", sent(client, "array-barn-form", **ALL))
        client.post("/sun/arrays", sent(client, "array-barn-form", **dict.fromkeys(ALL, "")))
        barn = client.document()["sun"]["arrays"][0]
        assert [barn[name] for name in ALL] == [None] * 4

    def test_a_start_above_the_limit_is_refused_at_its_field_with_everything_kept(self, client: Client) -> None:
        typed = sent(client, "array-barn-form", **ALL | {"start_w": "5000"})
        response = client.post("/sun/arrays", typed)
        assert response.status_code == 422
        page = soup(response)
        assert "starts at 5000 W and passes at most 4000 W" in words(page, "#array-barn-start_w-error")
        assert form_of(page, "array-barn-form")["winter_tilt_deg"] == "65"
        fold = page.select_one("#array-barn-start_w").find_parent("details")
        assert fold.has_attr("open")

    @pytest.mark.parametrize(
        ("latitude_deg", "azimuth_deg", "said"),
        [
            (52.0, 170.0, "facing south (170°), to the midday sun"),
            (52.0, 10.0, "facing north (10°), away from the midday sun"),
            (52.0, 90.0, "facing east (90°), to the morning sun"),
            (-35.0, 355.0, "facing north (355°), to the midday sun"),
            (-35.0, 270.0, "facing west (270°), to the evening sun"),
            (-35.0, 180.0, "facing south (180°), away from the midday sun"),
            (5.0, 180.0, "facing south (180°)"),
        ],
    )
    def test_directions_are_words_of_the_hemisphere(
        self, client_of: Opener, small_house: dict[str, Any], latitude_deg: float, azimuth_deg: float, said: str
    ) -> None:
        house = copy.deepcopy(small_house)
        house["site"] |= {"latitude_deg": latitude_deg, "climate": "world"}
        house["sun"]["arrays"][0]["azimuth_deg"] = azimuth_deg
        assert words(soup(client_of(house).get("/sun")), "#array-barn header p").endswith(said)

    def test_a_new_array_faces_the_midday_sun_of_its_hemisphere(
        self, client_of: Opener, small_house: dict[str, Any]
    ) -> None:
        house = copy.deepcopy(small_house)
        assert sent(client_of(house), "add-array-form")["azimuth_deg"] == "180"
        house["site"] |= {"latitude_deg": -35.0}
        client = client_of(house)
        assert sent(client, "add-array-form")["azimuth_deg"] == "0"
        assert "The midday sun stands in the north here" in client.get("/sun").text


class TestMonths:
    def test_kwh_of_some_months_are_kept_and_the_rest_stay_empty(self, client: Client) -> None:
        typed = sent(client, "seen-form", monthly_kwh_1="93", monthly_kwh_12="70,5")
        assert client.post("/sun/seen", typed).status_code == 303
        assert client.document()["sun"]["monthly_kwh"] == [93.0] + [None] * 10 + [70.5]
        assert client.get("/sun.json").json()["months"][0]["average_kwh"] == pytest.approx(3.0)
        assert sent(client, "seen-form")["monthly_kwh_12"] == "70.5"
        client.post("/sun/seen", sent(client, "seen-form", monthly_kwh_1="", monthly_kwh_12=""))
        assert client.document()["sun"]["monthly_kwh"] is None

    def test_a_month_out_of_range_is_refused_at_its_field(self, client: Client) -> None:
        response = client.post("/sun/seen", sent(client, "seen-form", monthly_kwh_3="-4", monthly_kwh_4="410"))
        assert response.status_code == 422
        page = soup(response)
        said = words(page, "#seen-monthly_kwh_3-error")
        assert "Panel energy in March must be a number from 0 to 10 000 000 kWh; got -4." in said
        assert form_of(page, "seen-form")["monthly_kwh_4"] == "410"
        assert page.select_one("#seen-monthly_kwh_3").find_parent("details").has_attr("open")

    def test_clearness_is_typed_for_all_months_or_none(self, client: Client) -> None:
        some = {f"monthly_kc_{n}": "0.5" for n in range(1, 11)}
        response = client.post("/sun/seen", sent(client, "seen-form", **some))
        assert response.status_code == 422
        assert "for all twelve months or for none; November and December are empty" in words(
            soup(response), "#seen-monthly_kc_11-error"
        )
        every = {f"monthly_kc_{n}": "0.5" for n in range(1, 13)}
        assert client.post("/sun/seen", sent(client, "seen-form", **every)).status_code == 303
        assert client.document()["sun"]["monthly_kc"] == [0.5] * 12

    def test_clearness_changed_by_hand_is_no_longer_the_files(
        self, client_of: Opener, small_house: dict[str, Any]
    ) -> None:
        client = client_of(two_roofs(small_house, monthly_kc=[0.5] * 12, sky_file="station.csv"))
        assert "from “station.csv”" in client.get("/sun").text
        client.post("/sun/seen", sent(client, "seen-form"))
        assert client.document()["sun"]["sky_file"] == "station.csv"
        client.post("/sun/seen", sent(client, "seen-form", monthly_kc_1="0.4"))
        assert client.document()["sun"]["sky_file"] == ""

    def test_months_brighter_than_clear_days_and_darker_than_any_are_questioned(
        self, client_of: Opener, small_house: dict[str, Any]
    ) -> None:
        page = client_of(two_roofs(small_house, monthly_kwh=[9000.0] * 2 + [None] * 9 + [1.0])).get("/sun")
        text = " ".join(soup(page).get_text().split())
        assert "Your kWh of January and February are more than these panels give with nothing but clear days" in text
        assert "Your kWh of December are less than the darkest sky gives" in text


class TestDaysPutAside:
    """A day that the panels cannot have given is not called the owner's own where answers leave it out."""

    IMPOSSIBLE: ClassVar[dict[str, Any]] = {"dull_day_kwh": 400.0, "dull_day_month": 12}

    def test_a_dull_day_put_aside_is_no_number_of_the_owners(
        self, client_of: Opener, small_house: dict[str, Any]
    ) -> None:
        client = client_of(two_roofs(small_house, **self.IMPOSSIBLE))
        page = soup(client.get("/sun"))
        assert "The usual dull day is taken instead" in page.get_text()
        assert "what is your own" not in page.get_text()
        assert page.select_one("#effect") is None
        assert "set right by" not in soup(client.get("/today?charge=80")).get_text()
        standing = words(soup(client.get("/records")), "#standing")
        assert "A dull day: the 400 kWh you typed are not used, as these panels cannot have given it." in standing
        assert "your own" not in standing

    def test_beside_a_clear_day_that_serves_only_that_is_named(
        self, client_of: Opener, small_house: dict[str, Any]
    ) -> None:
        client = client_of(two_roofs(small_house, clear_day_kwh=40.0, clear_day_month=6, **self.IMPOSSIBLE))
        took = " ".join(soup(client.get("/today?charge=80")).get_text().split())
        assert "set right by your clear day" in took
        assert "your dull day" not in took
        assert "Without and with your clear day;" in words(soup(client.get("/sun")), "#year")

    def test_without_its_month_a_dull_day_is_the_owners_where_panels_can_give_it(
        self, client_of: Opener, small_house: dict[str, Any]
    ) -> None:
        house = household.read(two_roofs(small_house, dull_day_kwh=18.0))
        used = [month for month in range(1, 13) if "dull" in own_words(house.site, house.sun, (month,))]
        can = [one.month for one in month_yields(house.site, house.sun) if one.dull_kwh == pytest.approx(18.0)]
        assert used == can
        assert 0 < len(used) < 12
        assert own_words(house.site, house.sun) == "your dull day"
        said = words(soup(client_of(two_roofs(small_house, dull_day_kwh=18.0)).get("/records")), "#standing")
        assert "A dull day: 18 kWh, your own, but not used in January" in said

    def test_a_clear_day_that_chargers_cannot_pass_is_not_called_used(self, small_house: dict[str, Any]) -> None:
        typed = two_roofs(small_house, clear_day_kwh=200.0, clear_day_month=6)
        for array in typed["sun"]["arrays"]:
            array["charger_limit_w"] = 2000
        house = household.read(typed)
        assert own_words(house.site, house.sun) == ""
        (said,) = standing(house.site, house.sun)
        assert said == "A clear day: the 200 kWh you typed are not used, as these panels cannot have given it."

    def test_without_its_month_a_clear_day_tells_nothing_of_a_month_without_sun(
        self, small_house: dict[str, Any]
    ) -> None:
        typed = two_roofs(small_house, clear_day_kwh=3.0)
        typed["site"] |= {"latitude_deg": 78.2, "longitude_deg": 15.6, "time_zone": "Arctic/Longyearbyen"}
        typed["site"]["climate"] = "world"
        house = household.read(typed)
        assert own_words(house.site, house.sun, (12,)) == ""
        assert own_words(house.site, house.sun, (6,)) == "your clear day"

    def test_without_panels_there_is_nothing_to_set_right(self, small_house: dict[str, Any]) -> None:
        house = household.read(
            two_roofs(small_house, clear_day_kwh=40.0, dull_day_kwh=3.0)
            | {"sun": {"arrays": [], "clear_day_kwh": 40.0, "dull_day_kwh": 3.0}}
        )
        assert own_words(house.site, house.sun) == ""
        assert all("there are no panels yet" in one for one in standing(house.site, house.sun))


def test_answers_and_sheet_say_which_panels_and_whose_numbers_they_took(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    house = two_roofs(small_house, clear_day_kwh=40, clear_day_month=6, monthly_kwh=[None] * 11 + [93.0])
    house["sun"]["arrays"][0] |= {"winter_tilt_deg": 65, "charger_limit_w": 4000}
    client = client_of(house)
    took = " ".join(soup(client.get("/today?charge=80")).get_text().split())
    assert "Barn roof 6.2 kWp, tilt 35°, in winter 65°, direction 170°, its charger passes at most 4 000 W" in took
    assert "set right by your clear day and the kWh of a month" in took
    sheet = " ".join(soup(client.get("/sheet")).get_text().split())
    assert "Barn roof 6.2 kWp, tilted 35°, 65° from October to March, facing south" in sheet


def test_what_was_read_behind_the_charger_or_at_the_sockets_is_worked_back_once_and_said(client: Client) -> None:
    form = "seen-form"
    client.post("/sun/seen", sent(client, form, clear_day_kwh="20", clear_day_month="6"))
    charger = client.document()["sun"]["charger_efficiency"]
    answer = client.post("/sun/seen", sent(client, form, dull_day_kwh="3", dull_day_month="12", read_at="charger"))
    assert answer.status_code == 303
    sun = client.document()["sun"]
    assert sun["clear_day_kwh"] == 20.0
    assert sun["dull_day_kwh"] == pytest.approx(3.0 / charger, abs=5e-4)
    said = client.store.current().what
    assert said.startswith("what the panels give changed: 3.00 kWh read after the charger kept as 3.")
    inverter = household.read(client.document()).inverters[0]
    share = charger * inverter.efficiency(inverter.rated_w / 2)
    client.post("/sun/seen", sent(client, form, monthly_kwh_1="70", read_at="sockets"))
    now = client.document()["sun"]
    assert now["monthly_kwh"][0] == pytest.approx(70.0 / share, abs=5e-4)
    assert (now["clear_day_kwh"], now["dull_day_kwh"]) == (sun["clear_day_kwh"], sun["dull_day_kwh"])
    assert sent(client, form)["read_at"] == "panels"


def test_what_was_read_at_the_sockets_needs_an_inverter(client_of: Any, small_house: dict[str, Any]) -> None:
    small_house["inverters"] = []
    small_house["banks"][0]["inverter"] = ""
    client = client_of(small_house)
    response = client.post("/sun/seen", sent(client, "seen-form", dull_day_kwh="3", read_at="sockets"))
    assert response.status_code == 422
    assert "needs an inverter" in words(soup(response), "#seen-read_at-error")
    assert form_of(soup(response), "seen-form")["dull_day_kwh"] == "3"


def test_what_is_saved_already_is_not_worked_back_unasked_and_the_way_is_said(client: Client) -> None:
    client.post("/sun/seen", sent(client, "seen-form", dull_day_kwh="3", dull_day_month="12"))
    before = client.document()
    response = client.post("/sun/seen", sent(client, "seen-form", read_at="charger"))
    assert response.status_code == 422
    worked = 3.0 / before["sun"]["charger_efficiency"]
    assert f"3.00 kWh read after the charger are {figures(worked, 3)} kWh before it" in words(
        soup(response), "#seen-read_at-error"
    )
    assert client.document() == before
