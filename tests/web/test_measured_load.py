"""A measured load on Loads: shown as it was measured, changed around its profile, never made by hand."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest

from engine.house.household import read
from engine.house.loads import hourly_w
from tests.conftest import Client, form_of, soup
from tests.web.conftest import Opener

FORM = "load-seen-form"
EDIT = "/loads?edit=seen"
PROFILE: dict[str, Any] = {
    "month_w": [[100.0 * month + 10.0 * hour for hour in range(24)] for month in range(1, 13)],
    "weekday_share": [0.9, 0.9, 0.9, 0.9, 0.9, 1.0, 1.5],
    "days": 419,
    "title": "the <b>hall</b> meter",
}
"""January: 24 × 100 W and 10 W × (0 + 1 + … + 23 = 276) are 5,160 Wh; each month 2,400 Wh more, December 31.56 kWh."""


@pytest.fixture
def client(client_of: Opener, small_house: dict[str, Any]) -> Client:
    small_house["loads"].append({"id": "seen", "name": "Seen", "kind": "measured", "profile": copy.deepcopy(PROFILE)})
    return client_of(small_house)


def seen(client: Client) -> dict[str, Any]:
    found: dict[str, Any] = client.document()["loads"][2]
    return found


def post(client: Client, **typed: str) -> Any:
    return client.post(EDIT, form_of(soup(client.get(EDIT)), FORM) | typed)


def test_saving_its_form_keeps_what_was_measured(client: Client) -> None:
    typed = {"name": "The whole house", "months": "1,2", "can_shed": "1", "values.scale": "1.2"}
    assert post(client, **typed).status_code == 303
    assert seen(client)["profile"] == PROFILE
    assert seen(client)["name"] == "The whole house"
    assert seen(client)["values"] == {"scale": 1.2}
    assert seen(client)["months"] == [1, 2]
    assert seen(client)["can_shed"] is True
    (*_, load) = read(json.dumps(client.document())).loads
    assert hourly_w(load, 2)[1] == pytest.approx(1.2 * 210.0)


def test_leaving_a_field_keeps_it_and_undo_goes_before(client: Client) -> None:
    before = client.document()
    for scale in ("1.1", "1.3"):
        assert post(client, left="page-a", **{"values.scale": scale}).status_code == 303
    assert seen(client)["profile"] == PROFILE
    assert seen(client)["values"] == {"scale": 1.3}
    assert client.post("/undo", {"revision": "3", "back": "/loads"}).status_code == 303
    assert client.document() == before


def test_removed_by_mistake_it_comes_back_whole(client: Client) -> None:
    before = client.document()
    form = next(one for one in soup(client.get(EDIT)).select("form") if one.get("action") == "/loads/remove")
    sent = {one["name"]: one["value"] for one in form.select("input")}
    assert client.post("/loads/remove", sent).status_code == 303
    assert len(client.document()["loads"]) == 2
    assert client.post("/undo", {"revision": "2", "back": "/loads"}).status_code == 303
    assert client.document() == before


def test_its_page_shows_the_numbers_that_were_measured(client: Client) -> None:
    post(client, **{"values.scale": "2"})
    page = soup(client.get(EDIT))
    shown = page.find(id="measured")
    words = " ".join(shown.get_text(" ").split())
    assert "takes 31.6 kWh on a mean day of December and 5.16 kWh on one of January" in words
    assert "From the <b>hall</b> meter; it rests on 419 whole days" in words
    months = {row.th.get_text(): row.td.get_text() for row in shown.select("table.months tbody tr")}
    assert months["January"] == "5.16"
    assert months["February"] == "7.56"
    assert len(months) == 12
    week = {row.th.get_text(): row.td.get_text() for row in shown.select("table.week tbody tr")}
    assert week["Monday"].startswith("90")
    assert week["Sunday"].startswith("150")
    last = [cell.get_text() for cell in shown.select("table.hours tbody tr")[-1].select("td")]
    assert last[0] == "330"
    figure = json.loads(shown.find(attrs={"data-figure": True})["data-figure"])
    drawn = {trace["name"]: trace["y"] for trace in figure["data"]}
    assert len(drawn) == 12
    assert drawn["January"] == [*PROFILE["month_w"][0], 330.0]
    assert [note["text"] for note in figure["layout"]["annotations"]] == ["December", "January"]
    # What the house takes is in the table of loads, times two: in November 29.16 kWh.
    assert page.find(id="load-seen").select("td")[0].get_text() == "58.32"


def test_it_is_not_offered_where_loads_are_added_and_says_where_it_comes_from(client: Client) -> None:
    page = soup(client.get("/loads?add=measured"))
    assert page.find(id="add-load-form") is None
    assert not page.select(".kinds a[href*=measured]")
    hint = page.find(id="add-load").find_all("p")[-1]
    assert "it comes from Log" in hint.get_text()
    assert hint.find("a")["href"] == "/log"


def test_a_form_made_up_by_hand_makes_none(client: Client) -> None:
    sent = form_of(soup(client.get("/loads?add=steady")), "add-load-form") | {"kind": "measured"}
    answer = client.post("/loads?add=measured", sent)
    assert answer.status_code == 422
    assert "is a measured load without its profile" in soup(answer).find(class_="summary").get_text()
    assert len(client.document()["loads"]) == 3


def test_it_cannot_be_turned_into_another_kind(client: Client) -> None:
    before = client.document()
    answer = post(client, kind="steady")
    assert answer.status_code == 422
    assert "only a load of the kind “Measured” may have a profile" in soup(answer).find(class_="summary").get_text()
    assert client.document() == before


def test_a_refused_number_keeps_what_was_typed_and_what_was_measured(client: Client) -> None:
    answer = post(client, name="All of it", **{"values.scale": "11"})
    assert answer.status_code == 422
    page = soup(answer)
    assert "Times what was measured must be a number from 0 to 10; got 11" in page.find(class_="summary").get_text()
    assert form_of(page, FORM)["name"] == "All of it"
    assert page.find(id="measured") is not None


def test_a_copy_of_the_file_holds_it(client: Client) -> None:
    copied = client.get("/files/household.json")
    assert copied.status_code == 200
    assert copied.json()["loads"][2]["profile"] == PROFILE


@pytest.mark.parametrize("path", ["/today", "/off", "/size", "/week", "/card", "/car", "/winters", "/sheet"])
def test_every_answer_takes_it(client: Client, path: str) -> None:
    assert client.get(path).status_code == 200
