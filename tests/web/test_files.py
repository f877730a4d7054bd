"""Taking households in and out, and bringing versions back."""

from __future__ import annotations

import json
from typing import Any

import pytest

from engine.errors import InputError
from tests.conftest import SMALL_HOUSE, Client, form_of, soup
from tests.web.conftest import Opener
from webapp import store
from webapp.pages.files import LONGEST_NAME, free_name

BANK = {"id": "x", "name": "x", "chemistry": "lfp", "series": 16, "label_ah": 280}
SITE = {"latitude_deg": 50, "longitude_deg": 0, "time_zone": "UTC", "climate": "oceanic_west"}


def upload(client: Client, content: bytes, name: str = "croft.json") -> Any:
    """Send a file as the form does."""
    return client.post("/files/upload", files={"file": (name, content, "application/json")})


def test_a_download_taken_in_again_is_the_same_household(client: Client) -> None:
    response = client.get("/files/household.json")
    assert response.headers["Content-Disposition"] == 'attachment; filename="test-croft.json"'
    assert json.loads(response.content) == client.document()
    before = client.document()
    assert upload(client, response.content).status_code == 303
    assert client.document() == before | {"name": "Test croft (2)"}
    assert len(client.store.households()) == 2


def test_what_was_taken_in_is_said_where_it_lands(client: Client) -> None:
    content = client.get("/files/household.json").content
    landed = upload(client, content).headers["Location"]
    assert landed.startswith("/files")
    page = soup(client.get(landed))
    said = page.select_one("[role=status]")
    assert said is not None
    assert "Taken in as “Test croft (2)”" in said.get_text()
    assert "taken in as Test croft (2), from croft.json" in page.select_one(".saved").get_text()  # type: ignore[union-attr]
    upload(client, content)
    assert client.document()["name"] == "Test croft (3)"


def test_no_two_households_get_one_name(client: Client) -> None:
    for _ in range(2):
        client.post("/files/new", {})
        client.post("/files/example", {})
    first = str(client.store.households()[0].household_id)
    for _ in range(2):
        client.post("/files/duplicate", {"household": first})
    names = [saved.name for saved in client.store.households()]
    assert "My household (2)" in names
    assert len(names) == len(set(names))


def test_a_long_name_stays_within_its_length() -> None:
    long = "x" * LONGEST_NAME
    assert free_name(long, [long]) == "x" * (LONGEST_NAME - 5) + " (2)"


def test_after_deleting_the_open_one_ones_own_opens_before_the_example(client: Client) -> None:
    client.post("/files/example", {})
    client.post("/files/delete", {"household": str(client.store.households()[0].household_id)})
    client.post("/files/new", {})
    own = client.store.current()
    client.post("/files/new", {})
    client.post("/files/delete", {"household": str(client.store.current().household_id)})
    assert client.store.current() == own


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"colour": "green"}, "colour"),
        ({"banks": [BANK | {"wheels": 4}]}, "wheels"),
        ({"site": SITE | {"latitude_deg": 91}}, "Latitude must be a number from -90 to 90 degrees; got 91."),
        ({"format": 99}, "made by a newer Greyspell"),
        ({"name": None}, "name"),
        ({"loads": [{"id": "x", "name": "x", "kind": "rocket"}]}, "rocket"),
    ],
)
def test_a_bad_household_is_refused_by_name_and_nothing_is_lost(
    client: Client, small_house: dict[str, Any], change: dict[str, Any], says: str
) -> None:
    before = client.store.current()
    response = upload(client, json.dumps(small_house | change).encode())
    assert response.status_code == 422
    summary = soup(response).find(class_="summary")
    assert summary is not None
    assert says in summary.get_text()
    assert "nothing was changed" in summary.get_text()
    assert client.store.current() == before
    assert len(client.store.households()) == 1


@pytest.mark.parametrize("content", [b"", b"not json", b"[1, 2]", b"\xff\xfe\x00", b'{"name": NaN}', b"{" * 50_000])
def test_what_is_no_household_is_refused(client: Client, content: bytes) -> None:
    response = upload(client, content)
    assert response.status_code == 422
    assert len(client.store.households()) == 1


def test_no_file_chosen_is_said_at_the_field_of_the_whole_page(client: Client) -> None:
    response = client.post("/files/upload", files={"other": ("x", b"x")})
    page = soup(response)
    assert response.status_code == 422
    summary, field, beside = (page.select_one(one) for one in (".summary", "#file", "#file-error"))
    assert summary is not None
    assert field is not None
    assert beside is not None
    assert "There is one thing to mend" in summary.get_text()
    assert "No file was chosen" in beside.get_text()
    assert field["aria-invalid"] == "true"
    assert "Test croft" in page.header.get_text()  # type: ignore[union-attr]
    assert page.find(id="name")


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"not json", "This is no household file: it is no JSON text (line 1)."),
        (b'{"name":\n ,}', "This is no household file: it is no JSON text (line 2)."),
        (b"\xff\xfe\x00", "This is no household file: it is no JSON text."),
        (b"[" * 200_000, "This is no household file: it is no JSON text."),
        (b"[1, 2]", "This is no household file: its JSON holds no object at the top."),
    ],
)
def test_a_wrong_file_is_one_thing_to_mend_in_one_sentence(client: Client, content: bytes, says: str) -> None:
    page = soup(upload(client, content))
    summary = page.select_one(".summary")
    assert summary is not None
    assert "There is one thing to mend" in summary.get_text()
    assert [item.get_text() for item in summary.find_all("li")] == [says]


def test_open_duplicate_delete_and_bring_back(client: Client) -> None:
    first = client.store.current()
    client.post("/files/duplicate", {"household": str(first.household_id)})
    copy = client.store.current()
    assert copy.name == "Test croft (copy)"
    client.post("/files/open", {"household": str(first.household_id)})
    assert client.store.current() == first
    assert client.post("/files/delete", {"household": str(copy.household_id)}).headers["Location"] == "/files#deleted"
    page = soup(client.get("/files"))
    deleted = page.find(id="deleted")
    assert deleted is not None
    assert "Test croft (copy)" in deleted.get_text()
    client.post("/files/undelete", {"household": str(copy.household_id)})
    assert client.store.current() == first
    assert "Test croft (copy)" in [one.name for one in client.store.households()]


@pytest.mark.parametrize("path", ["/files/open", "/files/duplicate"])
@pytest.mark.parametrize("number", ["99", "x", ""])
def test_a_household_that_is_not_there(client: Client, path: str, number: str) -> None:
    assert client.post(path, {"household": number}).status_code == 422


def test_a_version_can_be_restored(client: Client) -> None:
    client.post("/files/rename", {"revision": "1", "name": "Second", "note": ""})
    client.post("/files/rename", {"revision": "2", "name": "Third", "note": "of three"})
    page = soup(client.get("/files"))
    assert page.find("button", attrs={"aria-label": "Restore version 1"})
    assert client.post("/files/version", {"revision": "3", "version": "1"}).status_code == 303
    assert client.document()["name"] == "Test croft"
    assert client.store.current().what == "version 1 restored"
    assert client.post("/files/version", {"revision": "3", "version": "2"}).status_code == 409
    assert client.post("/files/version", {"revision": "4", "version": "77"}).status_code == 422


def test_the_example_can_be_brought_back_and_is_marked(client: Client) -> None:
    assert client.post("/files/example", {}).status_code == 303
    page = soup(client.get("/loads"))
    head = page.find("header")
    assert head is not None
    assert "example" in head.get_text()


def test_a_new_household_is_not_called_an_example_and_says_its_place_is_borrowed(client: Client) -> None:
    client.post("/files/example", {})
    client.post("/files/new", {})
    assert client.document()["example"] is False
    assert "The place is still the example's" in soup(client.get("/sun")).get_text()


def test_the_data_folder_is_shown(client: Client) -> None:
    assert str(client.store.folder) in client.get("/files").text


@pytest.mark.parametrize("name", ["", "   ", "x" * 81])
def test_a_name_must_have_a_length(client: Client, name: str) -> None:
    response = client.post("/files/rename", {"revision": "1", "name": name, "note": ""})
    assert response.status_code == 422
    assert "1 to 80 characters" in response.text


def _named(response: Any) -> tuple[str, str]:
    """Name and note as the page shows them, read as a browser reads them."""
    page = soup(response)
    name, note = page.find("input", id="name"), page.find("textarea", id="note")
    assert name is not None
    assert note is not None
    return str(name["value"]), note.get_text().removeprefix("\n")


@pytest.mark.parametrize(
    ("name", "note", "status"),
    [
        ("Barn", "Ours", 409),
        ("", "Ours", 422),
        ("x" * 81, "\nOurs", 422),
        ("Barn", "n" * 5001, 422),
        ("Barn", "a", 503),
    ],
    ids=["saved elsewhere", "no name", "a long name", "a long note", "not to be written"],
)
def test_a_refused_name_and_note_stay_as_typed(client: Client, name: str, note: str, status: int) -> None:
    if status == 409:
        prices = form_of(soup(client.get("/prices")), "prices-form")
        assert client.post("/prices", prices | {"bank_per_kwh": "200"}).status_code == 303
    if status == 503:
        client.store._db.execute("PRAGMA query_only = ON")
    answer = client.post("/files/rename", {"household": "1", "revision": "1", "name": name, "note": note})
    assert answer.status_code == status
    assert _named(answer) == (name, note)
    assert _named(client.get("/files")) == ("Test croft", "")


@pytest.mark.parametrize("length", [81, 200])
def test_a_household_that_came_with_a_long_name_can_be_given_a_note(client_of: Opener, length: int) -> None:
    client = client_of({**SMALL_HOUSE, "name": "n" * length})
    sent = {"revision": "1", "name": "n" * length, "note": "Ours"}
    assert client.post("/files/rename", sent).status_code == 303
    assert client.document()["note"] == "Ours"
    assert client.post("/files/rename", sent | {"revision": "2", "name": "m" * length}).status_code == 422


@pytest.mark.parametrize("path", ["/undo", "/files/version"])
def test_a_version_of_another_household_is_not_brought_back(client: Client, path: str) -> None:
    first = client.store.current().household_id
    client.post("/files/duplicate", {"household": str(first)})
    client.post("/files/rename", {"revision": "1", "name": "Renamed", "note": ""})
    before = client.store.current()
    sent = {"household": str(first), "revision": "2", "version": "1", "back": "/banks?add"}
    response = client.post(path, sent)
    assert response.status_code == 409
    assert "“Renamed” was opened elsewhere" in soup(response).get_text()
    assert bool(soup(response).select("main a[href='/banks?add']")) == (path == "/undo")
    assert client.store.current() == before


def test_a_household_of_a_newer_program_is_kept_never_written_and_no_dead_end(client: Client) -> None:
    mine = client.store.current().household_id
    newer = {**client.document(), "name": "Newer house", "format": 99, "shiny": True}
    kept = client.store.create({**client.document(), "name": "Newer house"}, "from a newer program")
    with client.store.transaction() as db:
        text = (store.canonical(newer), store.digest(newer), kept.household_id)
        db.execute("UPDATE versions SET document = ?, hash = ? WHERE household_id = ?", text)
    kept = client.store.latest(kept.household_id)
    for path in ("/today", "/files", "/banks"):
        reply = client.get(path)
        assert reply.status_code == 422
        assert "made by a newer Greyspell" in reply.text
        assert "Newer house is kept, and not read" in reply.text
    assert "made by a newer Greyspell" in client.get("/today.json").json()["error"]
    assert json.loads(client.get("/files/household.json").text) == newer
    for path, sent in (
        ("/files/rename", {"name": "x", "note": ""}),
        ("/undo", {}),
        ("/apply", {"section": "site", "value.latitude_deg": "1"}),
    ):
        client.post(path, {"revision": "1", **sent})
    assert client.store.latest(kept.household_id) == kept
    opened = soup(client.get("/files")).find("button", attrs={"aria-label": "Open Test croft"})
    assert opened is not None
    assert client.post("/files/open", {"household": str(mine)}).status_code == 303
    assert client.get("/files").status_code == 200


def test_a_copy_of_the_longest_name_is_still_a_household_that_can_be_read(client: Client) -> None:
    client.store.create({**client.document(), "name": "x" * 200}, "made")
    assert client.post("/files/duplicate", {"household": str(client.store.current().household_id)}).status_code == 303
    assert client.store.current().name.removesuffix(" (copy)").strip("x") == ""
    assert client.get("/files").status_code == 200


def test_what_could_not_be_read_again_is_never_kept(client: Client) -> None:
    before = client.store.current()
    bad = {**before.document, "name": "x" * 201}
    with pytest.raises(InputError, match="200"):
        client.store.create(bad, "made")
    with pytest.raises(InputError, match="200"):
        client.store.save(before.household_id, before.revision, bad, "made")
    assert client.store.households() == [before]


def test_ones_own_is_read_in_the_units_of_the_household_that_was_open(client: Client) -> None:
    wished = {"temperature": "f", "wire": "awg", "length": "ft", "clock": "12"}
    client.post("/units", form_of(soup(client.get("/units")), "units-form") | wished)
    client.post("/files/new", {})
    units = client.document()["units"]
    assert units.items() >= wished.items()
    assert units["volume"] == "l"
    assert "°F" in soup(client.get("/banks")).get_text()
