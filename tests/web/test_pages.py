"""The pages that describe the household: shown, changed, refused with everything kept, undone."""

from __future__ import annotations

from typing import Any

import pytest

from tests.conftest import Client, form_of, soup

EVERY_PAGE = ["/loads", "/loads?edit=van", "/loads?add=water", "/banks", "/sun", "/inverter", "/files"]


@pytest.mark.parametrize("path", EVERY_PAGE)
def test_every_page_answers_without_a_script(client: Client, path: str) -> None:
    response = client.get(path)
    page = soup(response)
    assert response.status_code == 200
    assert len(page.find_all("h1")) == 1
    assert not page.find_all(style=True)
    assert not [script for script in page.find_all("script") if not script.get("src")]
    assert not page.find_all("style")


@pytest.mark.parametrize("path", EVERY_PAGE)
def test_every_page_is_fit_to_be_read_aloud(client: Client, path: str) -> None:
    page = soup(client.get(path))
    ids = [tag["id"] for tag in page.find_all(id=True)]
    assert len(ids) == len(set(ids))
    labels = {label.get("for") for label in page.find_all("label")}
    for control in page.find_all(["input", "select", "textarea"]):
        if control.get("type") != "hidden":
            assert control.get("id") in labels or control.find_parent("label"), control
    for tag in page.find_all(attrs={"aria-describedby": True}):
        assert set(tag["aria-describedby"].split()) <= set(ids)
    for link in page.find_all("a", href=True):
        if link["href"].startswith("#"):
            assert link["href"][1:] in ids


@pytest.mark.parametrize("path", EVERY_PAGE)
def test_nothing_is_fetched_from_elsewhere(client: Client, path: str) -> None:
    page = soup(client.get(path))
    for tag in page.find_all(["script", "link", "img"]):
        address = tag.get("src") or tag.get("href")
        assert address.startswith("/static/")
        assert client.get(address).status_code == 200


@pytest.mark.parametrize("path", EVERY_PAGE)
def test_this_page_is_marked_in_the_list(client: Client, path: str) -> None:
    current = soup(client.get(path)).find_all("a", attrs={"aria-current": "page"})
    assert {link["href"] for link in current} == {path.split("?", maxsplit=1)[0]}


@pytest.mark.parametrize(
    ("path", "form_id", "action"),
    [
        ("/banks", "bank-store-form", "/banks"),
        ("/inverter", "inverter-main-form", "/inverter"),
        ("/loads?edit=van", "load-van-form", "/loads"),
        ("/sun", "site-form", "/sun/site"),
        ("/sun", "seen-form", "/sun/seen"),
        ("/sun", "array-barn-form", "/sun/arrays"),
    ],
)
def test_saving_a_form_as_it_stands_changes_nothing(client: Client, path: str, form_id: str, action: str) -> None:
    client.post("/files/rename", {"revision": "1", "name": "Test croft", "note": "one save, so that all is spelt out"})
    before = client.app.app.state.store.current()
    sent = form_of(soup(client.get(path)), form_id)
    response = client.post(action, sent)
    assert response.status_code == 303
    after = client.app.app.state.store.current()
    assert after.revision == before.revision
    assert _close(_whole(after.document), _whole(before.document))


def _whole(document: dict[str, Any]) -> dict[str, Any]:
    """The document with every default spelt out, as the engine writes it."""
    from engine.house import household

    return household.write(household.read(document))


def _close(one: Any, other: Any) -> bool:
    """Equal, numbers to nine digits."""
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(_close(one[k], other[k]) for k in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(_close, one, other))
    return one == (pytest.approx(other, rel=1e-9) if isinstance(other, float) else other)


NEW_BANK = {
    "revision": "1",
    "item_id": "",
    "name": "Sodium bank",
    "chemistry": "sodium_layered",
    "series": "13",
    "parallel": "1",
    "label_ah": "200,5",
    "tested_ah": "",
    "cell_c": "-3",
    "inverter": "",
    "top_soc": "90",
    "reserve_soc": "",
    "top_v": "",
    "reserve_v": "",
    "charge_v": "3,9",
    "hold": "usual",
    "charge_limit_a": "",
    "board": "1",
    "board.cell_low_v": "2",
    "board.cell_high_v": "4",
    "board.charge_min_c": "-10",
    "board.current_limit_a": "150",
}


def test_add_a_bank_then_undo_then_redo(client: Client) -> None:
    response = client.post("/banks", NEW_BANK)
    assert response.status_code == 303
    assert response.headers["Location"] == "/banks#bank-sodium-bank"
    bank = client.document()["banks"][1]
    assert (bank["label_ah"], bank["charge_v"], bank["top_soc"]) == (200.5, 3.9, 0.9)
    assert bank["board"]["charge_min_c"] == -10
    page = soup(client.get("/banks"))
    assert page.find(id="bank-sodium-bank")
    saved = page.find(class_="saved")
    assert saved is not None
    assert "Saved 17:30: Sodium bank added" in saved.get_text()
    client.post("/undo", {"revision": "2", "back": "/banks"})
    assert len(client.document()["banks"]) == 1
    assert client.store.current().what == "undid: Sodium bank added"
    client.post("/undo", {"revision": "3", "back": "/banks"})
    assert len(client.document()["banks"]) == 2
    assert client.store.current().what == "redid: Sodium bank added"


def test_a_bank_of_no_stated_reserve_takes_the_chemistrys(client: Client) -> None:
    from engine.cells import catalogue

    client.post("/banks", NEW_BANK)
    assert client.document()["banks"][1]["reserve_soc"] == catalogue.load("sodium_layered").reserve_soc


def test_two_faults_are_listed_linked_and_everything_typed_is_kept(client: Client) -> None:
    sent = NEW_BANK | {"series": "many", "label_ah": "1,234", "name": "Mine"}
    response = client.post("/banks", sent)
    page = soup(response)
    assert response.status_code == 422
    assert page.title is not None
    assert page.title.get_text().startswith("Error: ")
    summary = page.find(class_="summary")
    assert summary is not None
    assert summary.has_attr("data-focus")
    links = {link["href"]: link.get_text() for link in summary.find_all("a")}
    assert set(links) == {"#add-bank-series", "#add-bank-label_ah"}
    for target, sentence in links.items():
        control = page.find(id=target[1:])
        assert control is not None
        assert control["aria-invalid"] == "true"
        beside = page.find(id=f"{target[1:]}-error")
        assert beside is not None
        assert beside.get_text() == sentence
    kept = form_of(page, "add-bank-form")
    assert {name: kept[name] for name in sent} == sent
    assert client.store.current().revision == 1


def test_a_fault_in_a_folded_part_unfolds_it(client: Client) -> None:
    page = soup(client.post("/banks", NEW_BANK | {"board.cell_low_v": "4.2"}))
    control = page.find(id="add-bank-board.cell_low_v")
    assert control is not None
    assert all(fold.has_attr("open") for fold in control.find_parents("details"))


@pytest.mark.parametrize(
    ("path", "sent", "says"),
    [
        ("/banks", NEW_BANK | {"board.cell_high_v": "1.9"}, "Board: highest cell volts must be above its lowest, 2 V"),
        ("/banks", NEW_BANK | {"reserve_soc": "95", "top_soc": "50"}, "Keep in reserve must be below"),
        ("/banks", NEW_BANK | {"inverter": "other"}, "Joined to cannot be “other”"),
        ("/banks", NEW_BANK | {"board.current_limit_a": ""}, "highest current"),
        ("/banks", NEW_BANK | {"name": ""}, "Name is missing"),
        ("/banks", NEW_BANK | {"cell_c": "1e9"}, "from -40 to 60 °C; got 1e+09"),
        ("/sun/site", {"latitude_deg": "91"}, "Latitude must be a number from -90 to 90 degrees; got 91."),
        ("/sun/site", {"time_zone": "Mars/Base"}, "Time zone “Mars/Base” is not known"),
        ("/inverter", {"restart_v": "30"}, "Restart volts must be above the low-voltage cut-off"),
        (
            "/loads?edit=van",
            {"values.distance_km": "-3"},
            "Distance driven must be a number from 0 to 1\u202f000 km a day; got -3.",
        ),
        ("/loads?edit=van", {"can_shed": "1", "never_off": "1"}, "never off"),
        ("/loads?edit=van", {"months": ""}, "Months must be from 1 to 12"),
    ],
)
def test_refusals_name_field_value_limit_and_unit(client: Client, path: str, sent: dict[str, str], says: str) -> None:
    shown = {"/sun/site": ("/sun", "site-form"), "/inverter": ("/inverter", "inverter-main-form")}
    if path in shown:
        sent = form_of(soup(client.get(shown[path][0])), shown[path][1]) | sent
    elif path.startswith("/loads"):
        sent = form_of(soup(client.get(path)), "load-van-form") | sent
    response = client.post(path, sent)
    assert response.status_code == 422
    page = soup(response)
    summary = page.find(class_="summary")
    assert summary is not None
    assert says in summary.get_text()
    assert client.store.current().revision == 1


def test_a_later_device_is_told_and_loses_nothing(client: Client) -> None:
    client.post("/banks", NEW_BANK)
    late = form_of(soup(client.get("/inverter")), "inverter-main-form") | {"revision": "1", "idle_w": "55"}
    response = client.post("/inverter", late)
    page = soup(response)
    assert response.status_code == 409
    assert "Sodium bank added" in page.find(class_="summary").get_text()  # type: ignore[union-attr]
    again = form_of(page, "inverter-main-form")
    assert again["idle_w"] == "55"
    assert again["revision"] == "2"
    assert client.post("/inverter", again).status_code == 303
    assert client.document()["inverters"][0]["idle_w"] == 55
    assert len(client.document()["banks"]) == 2


def test_both_sides_of_a_conflict_are_shown_and_either_may_be_kept(client: Client) -> None:
    opened = form_of(soup(client.get("/inverter")), "inverter-main-form")
    client.post("/inverter", opened | {"idle_w": "70", "name": "Other name"})
    client.post("/banks", NEW_BANK | {"revision": "2"})
    page = soup(client.post("/inverter", opened | {"idle_w": "55"}))
    shown = page.select_one("section.meanwhile")
    assert shown is not None
    rows = [[cell.get_text() for cell in row.select("th, td")] for row in shown.select("tbody tr")]
    assert ["Idle draw, W", "55", "70"] in rows
    assert ["Name", opened["name"], "Other name"] in rows
    assert len(rows) == 2
    assert any("Sodium bank added" in line.get_text() for line in shown.select("li"))
    assert shown.select_one("a.press")["href"].startswith("/inverter")  # type: ignore[index]
    button = shown.find("button")
    assert button is not None
    assert client.post("/inverter", form_of(page, str(button["form"]))).status_code == 303
    kept = client.document()
    assert (kept["inverters"][0]["idle_w"], kept["inverters"][0]["name"]) == (55, opened["name"])
    assert len(kept["banks"]) == 2


def test_prices_are_held_side_by_side_too(client: Client) -> None:
    opened = form_of(soup(client.get("/prices")), "prices-form")
    client.post("/prices", opened | {"bank_per_kwh": "200"})
    shown = soup(client.post("/prices", opened | {"bank_per_kwh": "150"})).select_one("section.meanwhile")
    assert shown is not None
    assert [[cell.get_text() for cell in row.select("td")] for row in shown.select("tbody tr")] == [["150", "200"]]


def test_of_another_household_nothing_is_held_side_by_side(client: Client) -> None:
    opened = form_of(soup(client.get("/prices")), "prices-form")
    client.post("/files/new", {})
    page = soup(client.post("/prices", opened | {"bank_per_kwh": "150"}))
    assert "of another household" in page.get_text()
    assert page.select_one("section.meanwhile") is None


def test_removing_an_inverter_leaves_its_bank_listed(client: Client) -> None:
    assert client.post("/inverter/remove", {"revision": "1", "item_id": "main"}).status_code == 303
    assert client.document()["inverters"] == []
    assert client.document()["banks"][0]["inverter"] == ""


@pytest.mark.parametrize(
    ("path", "section"), [("/banks/remove", "store"), ("/loads/remove", "van"), ("/sun/arrays/remove", "barn")]
)
def test_remove_and_undo(client: Client, path: str, section: str) -> None:
    before = client.document()
    client.post(path, {"revision": "1", "item_id": section})
    assert client.document() != before
    client.post("/undo", {"revision": "2", "back": "/files"})
    assert client.document() == before


def test_removing_what_is_gone_says_so(client: Client) -> None:
    response = client.post("/banks/remove", {"revision": "1", "item_id": "gone"})
    assert response.status_code == 422
    assert "no longer in the household" in response.text


def test_full_load_efficiency_stands_for_both_losses(client: Client) -> None:
    sent = form_of(soup(client.get("/inverter")), "inverter-main-form")
    client.post("/inverter", sent | {"efficiency": "94", "idle_w": "30", "rated_w": "5000"})
    inverter = client.document()["inverters"][0]
    # Conversion stated in the design: k1 = 0.02, k2 = 1/eff - idle/rated - 1 - k1.
    assert inverter["k1"] == pytest.approx(0.02)
    assert inverter["k2"] == pytest.approx(1 / 0.94 - 30 / 5000 - 1 - 0.02)
    shown = form_of(soup(client.get("/inverter")), "inverter-main-form")
    assert float(shown["efficiency"]) == pytest.approx(94)


def test_losses_typed_one_by_one_are_kept_as_typed(client: Client) -> None:
    sent = form_of(soup(client.get("/inverter")), "inverter-main-form")
    assert client.post("/inverter", sent | {"efficiency": "", "k1": "0.0753", "k2": "0"}).status_code == 303
    inverter = client.document()["inverters"][0]
    assert (inverter["k1"], inverter["k2"]) == (0.0753, 0)
    shown = form_of(soup(client.get("/inverter")), "inverter-main-form")
    assert (shown["efficiency"], shown["k1"]) == ("", "0.0753")


def test_every_kind_of_load_that_can_be_typed_is_added_with_nothing_but_a_name(client: Client) -> None:
    from engine.house.load_kinds import KINDS

    for number, kind in enumerate((one for one in KINDS if one != "measured"), 1):
        sent = form_of(soup(client.get(f"/loads?add={kind}")), "add-load-form")
        response = client.post(f"/loads?add={kind}", sent | {"name": f"Load {number}", "revision": str(number)})
        assert response.status_code == 303, kind
        assert client.document()["loads"][-1]["kind"] == kind


def test_an_empty_household_names_the_first_thing_to_enter(client: Client) -> None:
    assert client.post("/files/new", {}).headers["Location"] == "/banks"
    page = soup(client.get("/banks"))
    empty = page.find(class_="empty")
    assert empty is not None
    assert "chemistry" in empty.get_text()
    for path in ("/loads", "/sun", "/inverter", "/files"):
        assert client.get(path).status_code == 200
    assert client.post("/banks", NEW_BANK).status_code == 303


def test_a_remedy_is_one_click(client: Client, small_house: dict[str, Any]) -> None:
    small_house["sun"]["arrays"][0] |= {"azimuth_deg": 350.0}
    client.store.create(small_house, "made")
    page = soup(client.get("/sun"))
    form = page.find("form", action="/apply")
    assert form is not None
    sent = {control["name"]: control["value"] for control in form.find_all("input")}
    response = client.post("/apply", sent)
    assert response.status_code == 303
    assert response.headers["Location"] == "/sun"
    assert client.document()["sun"]["arrays"][0]["azimuth_deg"] == 170
    assert not soup(client.get("/sun")).find("form", action="/apply")


@pytest.mark.parametrize(
    "changes",
    [
        {"section": "secrets"},
        {"item_id": "gone"},
        {"value.series": "abc"},
        {"value.series": "0"},
        {"value.nothing": "1"},
    ],
)
def test_a_remedy_that_does_not_fit_changes_nothing(client: Client, changes: dict[str, str]) -> None:
    sent = {"revision": "1", "section": "banks", "item_id": "store", "value.series": "8", "back": "/banks"}
    response = client.post("/apply", sent | changes)
    assert response.status_code == 422
    assert client.store.current().revision == 1


@pytest.mark.parametrize("back", ["//elsewhere.example/", "https://elsewhere.example/", "/\\elsewhere.example", ""])
def test_the_way_back_stays_here(client: Client, back: str) -> None:
    sent = {"revision": "1", "section": "banks", "item_id": "store", "value.cell_c": "8", "back": back}
    assert client.post("/apply", sent).headers["Location"] == "/files"


@pytest.mark.parametrize(
    ("path", "words"),
    [
        (
            "/banks",
            [
                "thousands of amperes",
                "arcs",
                "hydrogen",
                "below 0 °C",
                "normally not a listed product",
                "not an approval",
            ],
        ),
        ("/inverter", ["licensed electrician", "carbon monoxide", "changeover switch", "not an approval"]),
        ("/loads", ["licensed electrician", "scalds", "not an approval", "Local codes"]),
        ("/sun", ["cannot be switched off", "not an approval"]),
    ],
)
def test_cautions_stand_where_they_belong(client: Client, path: str, words: list[str]) -> None:
    section = soup(client.get(path)).find(class_="cautions")
    assert section is not None
    for word in words:
        assert word in section.get_text()


def test_what_is_typed_is_escaped(client: Client) -> None:
    client.post("/files/rename", {"revision": "1", "name": '<b>Croft</b> & "co"', "note": ""})
    response = client.get("/files")
    assert "<b>Croft</b>" not in response.text
    assert "&lt;b&gt;Croft" in response.text


def test_a_banks_window_stands_in_volts_too(client: Client) -> None:
    line = soup(client.get("/banks")).select_one(".window")
    assert line is not None
    assert "V held" in line.get_text() or "V without a hold" in line.get_text()
    assert "under your mean load" in line.get_text()


def test_balancer_spread_and_the_inverters_limits_are_saved_and_shown_again(client: Client) -> None:
    bank = {"charge_v": "3,45", "cell_spread_mv": "40", "board.balance_v": "3,4", "board.balance_a": "0,2"}
    response = client.post("/banks", form_of(soup(client.get("/banks")), "bank-store-form") | bank)
    assert response.status_code == 303
    sent = form_of(soup(client.get("/inverter")), "inverter-main-form") | {"lowest_v": "40", "absorb_max_v": "58,4"}
    assert client.post("/inverter", sent).status_code == 303
    saved = client.document()
    board = saved["banks"][0]["board"]
    assert (saved["banks"][0]["cell_spread_mv"], board["balance_v"], board["balance_a"]) == (40, 3.4, 0.2)
    assert (saved["inverters"][0]["lowest_v"], saved["inverters"][0]["absorb_max_v"]) == (40, 58.4)
    assert form_of(soup(client.get("/banks")), "bank-store-form")["board.balance_v"] == "3.4"
    assert form_of(soup(client.get("/inverter")), "inverter-main-form")["absorb_max_v"] == "58.4"


@pytest.mark.parametrize("path", ["/banks", "/loads?edit=van", "/sun", "/inverter", "/files", "/charge?volts=3.4"])
def test_what_saves_says_which_version_of_which_household_it_changes(client: Client, path: str) -> None:
    client.post("/files/rename", {"revision": "1", "name": "Test croft", "note": "saved, so that there is an undo"})
    forms = [form for form in soup(client.get(path)).select("form") if form.select_one("[name=revision]")]
    assert forms
    for form in forms:
        base = {str(field["name"]): field["value"] for field in form.select("[name=household], [name=revision]")}
        assert base == {"household": str(client.store.current().household_id), "revision": "2"}


@pytest.mark.parametrize(
    ("path", "form_id", "faulty"),
    [
        ("/banks", "bank-store-form", {}),
        ("/banks", "bank-store-form", {"label_ah": "many"}),
        ("/sun", "site-form", {"latitude_deg": "north"}),
    ],
)
def test_a_form_of_another_household_saves_nothing_and_loses_nothing(
    client: Client, path: str, form_id: str, faulty: dict[str, str]
) -> None:
    page = soup(client.get(path))
    sent = form_of(page, form_id) | faulty
    client.post("/files/duplicate", {"household": sent["household"]})
    other = client.store.current()
    assert (other.household_id != int(sent["household"]), str(other.revision)) == (True, sent["revision"])
    response = client.post(str(page.find("form", id=form_id)["action"]), sent)  # type: ignore[index]
    assert response.status_code == 409
    assert "of another household" in soup(response).find(class_="summary").get_text()  # type: ignore[union-attr]
    assert client.store.current() == other
    assert client.store.latest(int(sent["household"])).revision == 1


@pytest.mark.parametrize("endless", ["²", "9" * 5000])
@pytest.mark.parametrize(
    ("path", "name", "status"),
    [
        ("/files/rename", "revision", 409),
        ("/files/rename", "household", 409),
        ("/files/open", "household", 422),
        ("/files/version", "version", 422),
        ("/cell-tests/plan/drop", "plan", 303),
    ],
)
def test_what_only_looks_like_a_number_is_no_fault_of_ours(
    client: Client, path: str, name: str, status: int, endless: str
) -> None:
    sent = {"revision": "1", "name": "Croft", "note": ""} | {name: endless}
    assert client.post(path, sent).status_code == status


@pytest.mark.parametrize("path", ["/banks?add=1", "/banks"])
def test_who_enters_a_bank_is_asked_for_its_charge_current_with_nothing_to_unfold(client: Client, path: str) -> None:
    fields = soup(client.get(path)).select("[name=charge_limit_a]")
    assert fields
    for field in fields:
        group = field.find_parent(["fieldset", "details"])
        assert group is not None
        assert (group.name, group.legend.get_text()) == ("fieldset", "The cells")  # type: ignore[union-attr]
        assert "chemistry takes" in field.find_parent(class_="field").get_text()
