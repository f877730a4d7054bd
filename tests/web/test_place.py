"""The place on Sun: typed or filled from a list of regions, any latitude, and what its sky rests on."""

from __future__ import annotations

import pytest

from engine.sky.regions import regions
from engine.sky.world import ROUGH
from tests.conftest import Client, form_of, soup


def text(found: object) -> str:
    return " ".join(found.get_text(" ").split())  # type: ignore[attr-defined]


def settled(client: Client, **place: str) -> None:
    """Save a place through the form, as a person would."""
    sent = form_of(soup(client.get("/sun")), "site-form") | {"climate": "world"} | place
    assert client.post("/sun/site", sent).status_code == 303


class TestRegions:
    def test_the_list_is_a_plain_form_that_leads_to_the_form_of_the_place(self, client: Client) -> None:
        form = soup(client.get("/sun")).find("form", id="regions-form")
        assert form is not None
        assert (form["method"], form["action"]) == ("get", "/sun#site")
        offered = [option["value"] for option in form.find_all("option")]
        assert offered == ["", *(one.name for part in regions().values() for one in part)]

    def test_picking_one_fills_the_form_and_saves_nothing(self, client: Client) -> None:
        before = client.document()
        page = soup(client.get("/sun", params={"region": "Tasmania"}))
        form = form_of(page, "site-form")
        assert [form[name] for name in ("latitude_deg", "longitude_deg", "time_zone", "climate")] == [
            "-42.3",
            "147",
            "Australia/Hobart",
            "world",
        ]
        assert "Filled with the middle of: Tasmania. Nothing is saved yet" in text(page.find(id="site"))
        assert client.document() == before
        assert client.post("/sun/site", form).status_code == 303
        assert client.document()["site"] == {
            "latitude_deg": -42.3,
            "longitude_deg": 147.0,
            "time_zone": "Australia/Hobart",
            "climate": "world",
        }

    def test_the_one_picked_stays_chosen(self, client: Client) -> None:
        page = soup(client.get("/sun", params={"region": "Peru, coast"}))
        assert form_of(page, "regions-form")["region"] == "Peru, coast"

    @pytest.mark.parametrize("name", ["Atlantis", "", "<b>"])
    def test_a_region_that_is_not_there_changes_nothing(self, client: Client, name: str) -> None:
        found = client.get("/sun", params={"region": name})
        assert found.status_code == 200
        assert form_of(soup(found), "site-form")["latitude_deg"] == "52.1"


def test_the_sky_of_the_world_table_says_that_it_is_rough(client: Client) -> None:
    settled(client, latitude_deg="-33", longitude_deg="19", time_zone="Africa/Johannesburg")
    page = text(soup(client.get("/sun")))
    assert f"a rough estimate: {ROUGH}" in page
    assert "For this place, by a world table" in page
    assert client.get("/sheet").status_code == 200


def test_in_the_polar_night_the_panels_give_nothing_and_the_page_says_so(client: Client) -> None:
    settled(client, latitude_deg="70", longitude_deg="20", time_zone="Europe/Oslo")
    page = soup(client.get("/sun"))
    assert "In the middle of January and December the sun does not rise at this place" in text(page)
    december = next(row for row in page.select("table.months tbody tr") if text(row).startswith("Dec"))
    assert {text(cell) for cell in december.find_all("td")} == {"0"}
    today = client.get("/today", params={"sky": "kc:1,1", "soc": "80"})
    assert today.status_code == 200


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [
        ("0", "-78.5", "America/Guayaquil"),
        ("-54.8", "-68.3", "America/Argentina/Ushuaia"),
        ("-17.8", "-179.9", "Pacific/Fiji"),
        ("64.8", "-147.7", "America/Anchorage"),
        ("-90", "0", "UTC"),
    ],
)
def test_any_place_has_a_year_of_panels(client: Client, latitude: str, longitude: str, zone: str) -> None:
    settled(client, latitude_deg=latitude, longitude_deg=longitude, time_zone=zone)
    rows = soup(client.get("/sun")).select("table.months tbody tr")
    assert len(rows) == 12
    bright = [float(text(row.find_all("td")[0])) for row in rows]
    assert max(bright) > 1.0
    assert all(value >= 0.0 for value in bright)


class TestOneTrueSentence:
    def test_a_place_not_entered_yet_is_saved_by_its_button_and_its_borrowed_sentence_goes_then(
        self, client: Client
    ) -> None:
        client.post("/files/example", {})
        client.post("/files/new", {})
        form = soup(client.get("/sun")).find("form", id="site-form")
        assert form is not None
        assert "the answers stand where the example does" in text(form)
        assert not form.has_attr("data-autosave")
        assert "saved as you leave" not in text(form)
        settled(client, latitude_deg="45", longitude_deg="-94", time_zone="America/Chicago")
        form = soup(client.get("/sun")).find("form", id="site-form")
        assert form is not None
        assert "the answers stand where the example does" not in text(form)
        assert form.has_attr("data-autosave")

    def test_a_region_that_is_filled_in_says_one_thing_about_saving(self, client: Client) -> None:
        part = text(soup(client.get("/sun", params={"region": "Tasmania"})).find(id="site"))
        assert part.lower().count("saved") == 1
        assert "press “Save the place”" in part

    def test_the_time_zone_has_a_list(self, client: Client) -> None:
        page = soup(client.get("/sun"))
        listed = {one["value"] for one in page.select("#site-time_zone-list option")}
        assert {"America/Chicago", "Europe/Lisbon", "Australia/Hobart"} <= listed
        assert not {"US/Central", "Canada/Central", "Brazil/East", "Mexico/General"} & listed
        assert "Central time of the United States is America/Chicago" in text(page)
        assert page.select_one("#site-time_zone[list='site-time_zone-list']") is not None
