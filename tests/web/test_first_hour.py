"""The way from an empty household to a first answer: what comes next, what is joined, what is still borrowed."""

from __future__ import annotations

from typing import Any

import pytest
from bs4 import BeautifulSoup, Tag

from engine.cells import catalogue
from engine.house import household
from tests.conftest import Client, form_of, soup
from tests.web.conftest import Opener
from webapp.standing import standing_notices

DESCRIBE = ("/banks", "/inverter", "/loads", "/sun", "/files")
INVERTER = {
    "name": "Inverter",
    "rated_w": "5000",
    "idle_w": "30",
    "efficiency": "93.5",
    "dc_min_v": "42",
    "restart_v": "48",
    "dc_max_v": "60",
}


def text(tag: Tag | BeautifulSoup | None) -> str:
    """The words of a tag, spaces made plain."""
    assert tag is not None
    return " ".join(tag.get_text().split())


def next_link(client: Client, path: str = "/banks") -> tuple[str, str]:
    """The words and the address of the line that says what comes next."""
    line = soup(client.get(path)).select_one(".saved .next")
    assert line is not None
    link = line.a
    assert link is not None
    return text(line), str(link["href"])


def saved(client: Client, path: str, form_id: str, page: str = "", **typed: str) -> None:
    """Save a form as the browser sends it with some fields typed."""
    response = client.post(path, form_of(soup(client.get(page or path)), form_id) | typed)
    assert response.status_code == 303, text(soup(response).select_one(".summary"))


def add_bank(client: Client, chemistry: str = "lfp", **typed: str) -> dict[str, Any]:
    """Add a bank with nothing typed but what has no default; return it as stored."""
    needed = {"chemistry": chemistry, "series": "16", "label_ah": "280", "board.current_limit_a": "200"}
    saved(client, "/banks", "add-bank-form", **needed | typed)
    return dict(client.document()["banks"][-1])


def test_each_save_names_the_first_thing_missing_until_today_can_be_asked(client: Client) -> None:
    client.post("/files/example", {})
    client.post("/files/new", {})
    assert next_link(client) == ("Next: enter your first bank", "/banks#add-bank")
    add_bank(client)
    assert next_link(client) == ("Next: enter the inverter", "/inverter#add-inverter")
    saved(client, "/inverter", "add-inverter-form", **INVERTER)
    assert next_link(client, "/inverter") == ("Next: enter your first load", "/loads#add-load")
    saved(client, "/loads?add=house", "add-load-form")
    assert next_link(client, "/loads") == (
        "Next: enter where your house stands, or add another load",
        "/sun#site",
    )
    place = {"latitude_deg": "52", "longitude_deg": "5", "time_zone": "Europe/Amsterdam"}
    saved(client, "/sun/site", "site-form", "/sun", **place, climate="temperate_maritime")
    words, address = next_link(client, "/sun")
    assert address == "/sun#add-array"
    assert "or ask Today without any sun" in words
    saved(client, "/sun/arrays", "add-array-form", "/sun", kwp="4", tilt_deg="30")
    for page in DESCRIBE:
        beside = ", or add another load" if page == "/loads" else ""
        assert next_link(client, page) == (f"Next: ask Today{beside}", "/today")


def test_an_inverter_takes_the_only_bank_in_the_same_save_and_says_so(client: Client) -> None:
    client.post("/files/new", {})
    add_bank(client, name="Barn bank")
    saved(client, "/inverter", "add-inverter-form", **INVERTER)
    assert client.document()["banks"][0]["inverter"] == "inverter"
    assert client.store.current().what == "Inverter added, Barn bank joined to it"
    client.post("/undo", {"revision": "3", "back": "/inverter"})
    assert client.document()["inverters"] == []
    assert client.document()["banks"][0]["inverter"] == ""


def test_a_saved_inverter_takes_the_only_bank_too(client: Client) -> None:
    saved(client, "/banks", "bank-store-form", inverter="")
    saved(client, "/inverter", "inverter-main-form")
    assert client.document()["banks"][0]["inverter"] == "main"
    assert client.store.current().what == "Byre inverter changed, Store-room bank joined to it"
    saved(client, "/inverter", "inverter-main-form", idle_w="39")
    assert client.store.current().what == "Byre inverter changed"


def test_of_two_banks_none_is_joined_unasked(client: Client, small_house: dict[str, Any]) -> None:
    bank = small_house["banks"][0] | {"inverter": ""}
    client.store.create(small_house | {"banks": [bank, bank | {"id": "other"}]}, "made")
    saved(client, "/inverter", "inverter-main-form")
    assert [one["inverter"] for one in client.document()["banks"]] == ["", ""]


def test_a_bank_is_joined_to_the_only_free_inverter(client: Client, small_house: dict[str, Any]) -> None:
    spare = small_house["inverters"][0] | {"id": "spare", "name": "Spare"}
    client.store.create(small_house | {"inverters": [*small_house["inverters"], spare]}, "made")
    assert add_bank(client)["inverter"] == "spare"


@pytest.mark.parametrize("path", ["/banks", "/banks?edit=store"])
def test_a_bank_to_join_lands_with_its_form_open(client: Client, path: str) -> None:
    saved(client, "/banks", "bank-store-form", inverter="")
    assert next_link(client) == ("Next: join Store-room bank to an inverter", "/banks?edit=store#bank-store")
    form = soup(client.get(path)).find(id="bank-store-form")
    assert form is not None
    assert form.find_parent("details").has_attr("open")  # type: ignore[union-attr]


def test_forms_of_joined_banks_stay_folded(client: Client) -> None:
    form = soup(client.get("/banks")).find(id="bank-store-form")
    assert form is not None
    assert not form.find_parent("details").has_attr("open")  # type: ignore[union-attr]


# -- the place


def codes(document: dict[str, Any]) -> list[tuple[str, str]]:
    """Level and code of what stands open in a household."""
    return [(notice.level, notice.code) for notice in standing_notices(household.read(document))]


def test_the_examples_place_is_a_check_and_no_panels_a_note(client: Client) -> None:
    assert codes(client.document()) == []
    client.post("/files/example", {})
    assert codes(client.document()) == []
    client.post("/files/new", {})
    assert codes(client.document()) == [("check", "place"), ("note", "no-panels")]
    page = text(soup(client.get("/sun")))
    assert "The place is still the example's: enter yours on Sun." in page
    assert "No panels are entered: the answer counts no sun." in page


def test_the_form_of_a_borrowed_place_is_empty_and_says_whose_it_is(client: Client) -> None:
    client.post("/files/example", {})
    client.post("/files/new", {})
    page = soup(client.get("/sun"))
    form = form_of(page, "site-form")
    places = ("latitude_deg", "longitude_deg", "time_zone", "climate")
    assert [form[name] for name in places] == ["", "", "", "world"]
    assert "54.2°, −8.6°, Europe/Dublin, Oceanic west coast (Ireland)" in text(page.find(id="site"))
    response = client.post("/sun/site", form | {"latitude_deg": "14"})
    assert response.status_code == 422
    links = {link["href"] for link in soup(response).select(".summary a")}
    assert links == {"#site-longitude_deg", "#site-time_zone"}


def test_a_household_started_from_ones_own_keeps_ones_own_place(client: Client) -> None:
    client.post("/files/new", {})
    assert form_of(soup(client.get("/sun")), "site-form")["latitude_deg"] == "52.1"


def test_checks_of_the_engine_for_sun_stand_on_sun_with_their_remedies(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    from engine.answers.answer import Notice, Remedy
    from webapp.pages import sun

    mend = Remedy(label="Take that of the North Sea", section="site", values={"climate": "temperate_maritime"})
    far = Notice(level="check", code="climate-far", page="sun", text="1,900 km away.", remedies=(mend,))
    monkeypatch.setattr(sun, "household_notices", lambda house, month: (far,))
    page = soup(client.get("/sun"))
    assert "1 900 km away." in text(page)
    form = page.find("form", action="/apply")
    assert form is not None
    client.post("/apply", {control["name"]: control["value"] for control in form.find_all("input")})
    assert client.document()["site"]["climate"] == "temperate_maritime"


# -- the protection board and the reserve


@pytest.mark.parametrize("chemistry", ["lfp", "nmc", "sodium_layered"])
def test_a_board_needs_only_its_current(client: Client, chemistry: str) -> None:
    cell = catalogue.load(chemistry)
    board = add_bank(client, chemistry)["board"]
    assert board == {
        "cell_low_v": cell.v_low,
        "cell_high_v": cell.v_max,
        "current_limit_a": 200,
        "contactor": False,
    }


def test_a_lead_bank_has_no_board_until_one_is_described(client: Client) -> None:
    assert add_bank(client, "lead_sealed", **{"board.current_limit_a": ""})["board"] is None
    assert add_bank(client, "lead_sealed")["board"]["current_limit_a"] == 200


@pytest.mark.parametrize(("chemistry", "seen"), [("lfp", True), ("lead_sealed", False)])
def test_the_board_is_folded_only_where_none_is_needed(
    client: Client, small_house: dict[str, Any], chemistry: str, seen: bool
) -> None:
    small_house["banks"][0] |= {"chemistry": chemistry, "board": None, "series": 24 if chemistry != "lfp" else 16}
    client.store.create(small_house, "made")
    page = soup(client.get("/banks"))
    for prefix, visible in (("add-bank-", True), ("bank-store-", seen)):
        tick = page.find(id=f"{prefix}board")
        assert tick is not None
        assert (tick.find_parent(class_="part").name == "fieldset") is visible  # type: ignore[union-attr]
    assert page.find(id="add-bank-board").has_attr("checked")  # type: ignore[union-attr]
    assert not page.find(id="bank-store-board").has_attr("checked")  # type: ignore[union-attr]


def test_the_card_shows_the_board_in_one_line(client: Client) -> None:
    card = text(soup(client.get("/banks")).find(id="bank-store"))
    assert "Protection board: 2.60 to 3.60 V per cell, no charge below 2 °C, 200 A at most." in card


@pytest.mark.parametrize("written_out", [False, True])
def test_an_emptied_reserve_is_the_chemistrys(client: Client, small_house: dict[str, Any], written_out: bool) -> None:
    if written_out:
        cell = {"id": "mine", "name": "Mine", "v_nominal": 3.2, "v_low": 2.5, "v_full": 3.6, "v_charge": 3.5}
        cell |= {"v_max": 3.65, "soc": [0, 1], "ocv_v": [2.5, 3.4], "reserve_soc": 0.22, "needs_board": True}
        cell |= {"r_slow_v_per_c": [0.1, 0.1], "r_fast_v_per_c": [0.05, 0.05]}
        small_house["banks"][0]["chemistry"] = cell
        client.store.create(household.write(household.read(small_house)), "made")
    saved(client, "/banks", "bank-store-form", reserve_soc="")
    expected = 0.22 if written_out else catalogue.load("lfp").reserve_soc
    assert client.document()["banks"][0]["reserve_soc"] == expected


# -- what the cards and tables say


def test_without_a_load_the_card_stops_at_the_terminals(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    from engine.answers.sheet import bank_steps
    from webapp.pages import banks

    full = bank_steps

    def cut(house: Any, supply: Any, month: int) -> Any:
        found = full(house, supply, month)
        return type(found)(bank_id=found.bank_id, name=found.name, steps=found.steps[:-1])

    assert "at the sockets, 12 °C, your mean load" in text(soup(client.get("/banks")).find(id="bank-store"))
    monkeypatch.setattr(banks, "bank_steps", cut)
    card = soup(client.get("/banks")).find(id="bank-store")
    assert "at its terminals; enter loads to see what reaches the sockets" in text(card)
    assert "From the label to the terminals" in text(card)
    assert "to the sockets, step" not in text(card)


def number(cell: Tag) -> float:
    """A printed number."""
    return float(text(cell).replace("−", "-").replace("+", "").replace("\u202f", "") or 0)


@pytest.mark.parametrize(("label_ah", "digits"), [("280", 1), ("80", 2)])
def test_the_printed_column_of_the_way_to_the_sockets_adds_up(client: Client, label_ah: str, digits: int) -> None:
    saved(client, "/banks", "bank-store-form", label_ah=label_ah, parallel="1")
    rows = [row.find_all("td") for row in soup(client.get("/banks")).select("table.steps tbody tr")]
    left = number(rows[0][1])
    for change, shown in rows[1:]:
        left = round(left + number(change), digits)
        assert number(shown) == left
        assert {len(text(cell).split(".")[1]) for cell in (change, shown)} == {digits}


def test_the_card_shows_the_full_load_efficiency_as_typed(client: Client) -> None:
    saved(client, "/inverter", "inverter-main-form", efficiency="93.55")
    card = text(soup(client.get("/inverter")).select_one("#inverter-main .figures"))
    assert "93.55 %" in card
    assert "at full power, as typed" in card


def test_one_efficiency_at_every_power_can_be_entered_as_the_hint_says(client: Client) -> None:
    saved(client, "/inverter", "inverter-main-form", efficiency="", k1="0.0753", k2="0", idle_w="0")
    page = soup(client.get("/inverter"))
    assert "1 ÷ efficiency − 1" in text(page)
    assert "93.0 %at full power; 93 % at a tenth" in text(page.select_one("#inverter-main .figures"))


def test_the_kwh_of_the_loads_add_up_to_their_total(client: Client) -> None:
    for _ in range(2):
        saved(client, "/loads?add=steady", "add-load-form", **{"values.power_w": "21"})
    cells = soup(client.get("/loads")).select("table.loads tbody tr > td:nth-child(2)")
    *rows, total = (number(cell) for cell in cells)
    assert total == pytest.approx(sum(rows), abs=1e-9)
    assert rows[-1] == 0.5
    assert text(cells[2]) == "0.50"


def test_a_load_by_the_clock_is_named_by_its_owner(client: Client) -> None:
    page = soup(client.get("/loads?add=timed"))
    assert form_of(page, "add-load-form")["name"] == ""
    assert text(page.find(id="add-load-name-hint")) == "Such as Borehole pump"
    assert form_of(soup(client.get("/loads?add=water")), "add-load-form")["name"] == "Hot water"


def test_every_kind_is_offered_once_the_common_ones_first(client: Client) -> None:
    from engine.house.load_kinds import KINDS

    offered = [link["href"].split("=")[1].split("#")[0] for link in soup(client.get("/loads")).select(".kinds a")]
    assert sorted(offered) == sorted(set(KINDS) - {"measured"})
    assert offered[:3] == ["house", "steady", "timed"]


def test_pages_that_ask_say_what_still_stands_as_in_the_example(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"]["arrays"] = []
    client = client_of(small_house)
    for path in ("/today?sky=dark", "/size?sky=dark", "/week?sky=dark"):
        notes = [note.get_text() for note in soup(client.get(path)).select(".note")]
        assert any("No panels are entered" in text for text in notes), path


def test_pages_that_ask_open_even_with_an_impossible_dull_day(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["sun"] |= {"dull_day_kwh": 5000.0, "dull_day_month": 12}
    client = client_of(small_house)
    for path in ("/today", "/size", "/week", "/sheet"):
        response = client.get(path)
        assert response.status_code == 200, path
        assert "The usual dull day is taken instead" in response.text, path


def test_an_always_on_part_left_empty_says_what_it_stands_for(client: Client) -> None:
    page = soup(client.get("/loads?add=house"))
    assert "200 W, or half the day’s mean power if that is less" in " ".join(page.get_text().split())


def test_after_a_load_another_is_offered_beside_the_next_step(client: Client) -> None:
    next_line = soup(client.get("/loads")).select_one("#saved .next")
    assert next_line is not None
    assert [link["href"] for link in next_line.select("a")] == ["/today", "#add-load"]
    assert text(next_line).endswith("or add another load")
    assert "add another load" not in text(soup(client.get("/banks")).select_one("#saved .next"))


def test_the_folded_menu_begins_with_starting_ones_own_while_the_example_is_open(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    first = soup(client_of(None).get("/today")).select_one(".menu nav a")
    assert first is not None
    assert (text(first), first["href"]) == ("Start my own household", "/files")
    own = soup(client_of(small_house).get("/today")).select_one(".menu nav a")
    assert own is not None
    assert own["href"] != "/files"
