"""Leaving a field saves its form: several saves of one opened page are one version, and undo goes before the first."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor, wait
from datetime import timedelta
from typing import Any

import pytest

from tests.conftest import Client, Clock, form_of, soup
from webapp import editing
from webapp.forms import Card

FORM = "bank-store-form"


def left(client: Client, page: str = "page-a", form: str = FORM, path: str = "/banks", **typed: str) -> Any:
    """Leave a field of a form that was opened now."""
    sent = form_of(soup(client.get(path)), form)
    action = {"/banks": "/banks", "/prices": "/prices", "/loads?edit=cold": "/loads?edit=cold"}[path]
    return client.post(action, sent | typed | ({"left": page} if page else {}))


def kept(client: Client) -> list[tuple[int, str]]:
    saved = client.store.current()
    return [(one.revision, one.what) for one in client.store.versions(saved.household_id)]


def bank(client: Client) -> dict[str, Any]:
    found: dict[str, Any] = client.document()["banks"][0]
    return found


def test_several_saves_of_one_opened_form_are_one_version_and_undo_goes_before_them(
    client: Client, clock: Clock
) -> None:
    before = bank(client)
    for cell_c in ("11", "10", "9"):
        assert left(client, cell_c=cell_c).status_code == 303
        clock.now += timedelta(minutes=2)
    assert [revision for revision, _ in kept(client)] == [4, 1]
    assert bank(client)["cell_c"] == 9.0
    assert client.post("/undo", {"revision": "4", "back": "/banks"}).status_code == 303
    assert bank(client) == before
    assert client.post("/undo", {"revision": "5", "back": "/banks"}).status_code == 303
    assert bank(client)["cell_c"] == 9.0


@pytest.mark.parametrize(
    ("second", "later_min"),
    [
        ({"page": "page-b", "cell_c": "9"}, 1),
        ({"page": "", "cell_c": "9"}, 1),
        ({"path": "/loads?edit=cold", "form": "load-cold-form", "values.power_w": "141"}, 1),
        ({"cell_c": "9"}, 11),
    ],
    ids=["opened anew", "by the button", "another form", "later than ten minutes"],
)
def test_what_does_not_belong_together_is_a_version_of_its_own(
    client: Client, clock: Clock, second: dict[str, str], later_min: int
) -> None:
    left(client, cell_c="10")
    clock.now += timedelta(minutes=later_min)
    assert left(client, **second).status_code == 303
    assert [revision for revision, _ in kept(client)] == [3, 2, 1]


def test_a_save_after_an_undo_leaves_the_undone_to_be_brought_back(client: Client) -> None:
    left(client, cell_c="10")
    client.post("/undo", {"revision": "2", "back": "/banks"})
    left(client, cell_c="8")
    assert [revision for revision, _ in kept(client)] == [4, 3, 2, 1]


def test_another_device_between_two_saves_is_never_given_up(client: Client) -> None:
    left(client, page="page-a", cell_c="10")
    left(client, page="page-b", cell_c="7")
    left(client, page="page-a", cell_c="6")
    assert [revision for revision, _ in kept(client)] == [4, 3, 2, 1]


def test_nothing_new_is_no_version(client: Client) -> None:
    left(client, cell_c="10")
    assert left(client, cell_c="10").status_code == 303
    assert [revision for revision, _ in kept(client)] == [2, 1]


def test_what_cannot_be_read_is_not_saved_and_said_at_its_field(client: Client) -> None:
    answer = left(client, cell_c="1,234")
    assert answer.status_code == 422
    assert soup(answer).find(id="bank-store-cell_c-error")
    assert [revision for revision, _ in kept(client)] == [1]


def test_a_field_left_on_an_older_version_is_refused_and_both_sides_are_shown(client: Client) -> None:
    old = form_of(soup(client.get("/banks")), FORM)
    left(client, page="page-b", cell_c="7")
    answer = client.post("/banks", old | {"cell_c": "6", "left": "page-a"})
    assert answer.status_code == 409
    assert soup(answer).find(class_="meanwhile")
    assert bank(client)["cell_c"] == 7.0


def test_only_what_is_kept_already_saves_itself(client: Client) -> None:
    page = soup(client.get("/banks"))
    assert page.find(id=FORM).has_attr("data-autosave")
    assert not page.find(id="add-bank-form").has_attr("data-autosave")
    assert soup(client.get("/prices")).find("form", attrs={"data-autosave": True})


def test_a_field_left_in_haste_after_another_of_its_page_is_kept_and_never_over_another_device(client: Client) -> None:
    opened = form_of(soup(client.get("/banks")), FORM) | {"left": "page-a"}
    assert client.post("/banks", opened | {"cell_c": "10"}).status_code == 303
    assert client.post("/banks", opened | {"cell_c": "10", "label_ah": "300"}).status_code == 303
    assert (bank(client)["cell_c"], bank(client)["label_ah"]) == (10.0, 300.0)
    assert client.post("/banks", opened | {"left": "page-b", "cell_c": "8"}).status_code == 409
    left(client, page="page-b", cell_c="7")
    assert client.post("/banks", opened | {"cell_c": "6"}).status_code == 409
    assert bank(client)["cell_c"] == 7.0


ROUNDS = 12


def test_two_forms_of_one_page_left_at_once_are_both_kept(client: Client) -> None:
    """As `pagehide` sends them; without being told of one another one of the two was refused in four rounds of ten."""
    with ThreadPoolExecutor(2) as pool:
        for number in range(ROUNDS):
            page = f"page-{number}"
            of_bank = form_of(soup(client.get("/banks")), FORM) | {"left": page, "label_ah": str(200 + number)}
            of_inverter = form_of(soup(client.get("/inverter")), "inverter-main-form")
            of_inverter |= {"left": page, "idle_w": str(20 + number)}
            both = (("/banks", of_bank), ("/inverter", of_inverter))
            answers = [pool.submit(client.post, path, sent) for path, sent in both]
            assert [one.result().status_code for one in answers] == [303, 303], number
            assert (bank(client)["label_ah"], client.document()["inverters"][0]["idle_w"]) == (
                200 + number,
                20 + number,
            )


def test_a_form_that_comes_while_another_of_its_page_is_being_kept_is_kept_after_it(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = form_of(soup(client.get("/banks")), FORM) | {"left": "page-a", "label_ah": "300"}
    second = form_of(soup(client.get("/inverter")), "inverter-main-form") | {"left": "page-a", "idle_w": "55"}
    with ThreadPoolExecutor(1) as pool:
        answers: list[Any] = []

        def once_written() -> None:
            """The first is on the disk, and who made it is not remembered yet."""
            if not answers:
                answers.append(pool.submit(client.post, "/inverter", second))
                wait(answers, timeout=0.5)

        monkeypatch.setattr(client.store, "copy_if_due", once_written)
        assert client.post("/banks", first).status_code == 303
        assert answers[0].result().status_code == 303
    assert (bank(client)["label_ah"], client.document()["inverters"][0]["idle_w"]) == (300, 55)


def test_two_things_of_one_list_left_at_once_are_both_kept(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    cold = form_of(soup(client.get("/loads?edit=cold")), "load-cold-form") | {"left": "a", "values.power_w": "150"}
    van = form_of(soup(client.get("/loads?edit=van")), "load-van-form") | {"left": "a", "values.distance_km": "40"}
    read_as, sent = editing._read_as, []

    def between(card: Card) -> str:
        """The second is kept after the first was read, and before it is written."""
        if not sent:
            sent.append("van")
            assert client.post("/loads?edit=van", van).status_code == 303
        return read_as(card)

    monkeypatch.setattr(editing, "_read_as", between)
    with ThreadPoolExecutor(1) as pool:
        assert pool.submit(client.post, "/loads?edit=cold", cold).result().status_code == 303
    values = {one["id"]: one["values"] for one in client.document()["loads"]}
    assert (values["cold"]["power_w"], values["van"]["distance_km"]) == (150, 40)


def test_the_page_is_told_which_version_it_made(client: Client) -> None:
    made = left(client, cell_c="10").headers["Location"]
    assert made == f"/banks?kept=2-{client.store.current().hash[:12]}#bank-store"
    assert left(client, page="", cell_c="9").headers["Location"] == "/banks#bank-store"


def test_a_page_left_open_while_everything_is_replaced_changes_nothing(client: Client) -> None:
    file = client.get("/files/everything.sqlite3").content
    left(client, cell_c="10")
    opened = form_of(soup(client.get("/banks")), FORM)
    client.post("/files/everything", files={"file": ("all.sqlite3", file)})
    left(client, page="page-b", cell_c="3")
    before = kept(client)
    assert before[0][0] == int(opened["revision"])
    for sent in (opened | {"cell_c": "6"}, opened | {"cell_c": "6", "left": "page-a"}):
        assert client.post("/banks", sent).status_code == 409
    assert kept(client) == before


def test_a_save_returns_what_it_made_although_another_device_saves_at_once(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = client.store
    first = store.current()

    def between() -> None:
        monkeypatch.undo()
        store.save(first.household_id, 2, {**first.document, "note": "theirs"}, "theirs")

    monkeypatch.setattr(store, "copy_if_due", between)
    assert store.save(first.household_id, 1, {**first.document, "note": "mine"}, "mine").revision == 2
