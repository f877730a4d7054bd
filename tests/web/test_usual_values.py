"""What a person without the manual leaves empty is proposed, said where it is from, and said again when it is taken."""

from __future__ import annotations

import re

import pytest

from tests.conftest import Client, form_of, soup
from tests.web.test_first_hour import INVERTER, add_bank, saved, text

VOLTS = ("dc_min_v", "restart_v")


@pytest.fixture
def own(client: Client) -> Client:
    """A household of one's own, empty."""
    client.post("/files/new", {})
    return client


def hint(client: Client, field: str) -> str:
    return text(soup(client.get("/inverter")).select_one(f"#{field}-hint"))


def what_was_saved(client: Client) -> str:
    return text(soup(client.get("/inverter")).select_one("#saved p"))


def test_cut_off_and_restart_left_empty_are_those_that_commissioning_proposes(own: Client) -> None:
    add_bank(own)
    assert "Left empty:" in hint(own, "add-inverter-dc_min_v")
    saved(own, "/inverter", "add-inverter-form", **INVERTER | dict.fromkeys(VOLTS, "") | {"lowest_v": "40"})
    inverter = own.document()["inverters"][0]
    assert own.document()["banks"][0]["inverter"] == inverter["id"]
    said = what_was_saved(own)
    assert f"low-voltage cut-off {inverter['dc_min_v']:g} V" in said
    assert f"restart volts {inverter['restart_v']:g} V" in said
    rows = soup(own.get("/commissioning")).select("table.commission tbody tr")
    proposed = {text(row.th): text(row.select_one("[data-label='whole bank']")) for row in rows}
    assert proposed["Low cut-off"] == f"{inverter['dc_min_v']:.1f} V"
    assert proposed["Restart"] == f"{inverter['restart_v']:.1f} V"


@pytest.mark.parametrize(
    ("highest", "lowest", "taken"), [("16", "", (10.5, 12.5)), ("58", "", (42.0, 50.0)), ("60", "44", (44.0, 50.0))]
)
def test_without_a_bank_they_are_usual_ones_for_the_nominal_volts(
    own: Client, highest: str, lowest: str, taken: tuple[float, float]
) -> None:
    assert "typical, from memory" in hint(own, "add-inverter-dc_min_v")
    saved(
        own,
        "/inverter",
        "add-inverter-form",
        **INVERTER | dict.fromkeys(VOLTS, "") | {"dc_max_v": highest, "lowest_v": lowest},
    )
    inverter = own.document()["inverters"][0]
    assert (inverter["dc_min_v"], inverter["restart_v"]) == taken
    assert "taken for what was left empty" in what_was_saved(own)


def spaced(client: Client) -> str:
    figures = soup(client.get("/inverter")).select_one("#inverter-inverter .figures")
    assert figures is not None
    return " ".join(figures.get_text(" ").split())


def test_an_efficiency_left_empty_is_the_usual_one_and_its_hint_says_what_a_peak_is_worth(own: Client) -> None:
    assert "91 for 94 %" in hint(own, "add-inverter-efficiency")
    saved(own, "/inverter", "add-inverter-form", **INVERTER | {"efficiency": ""})
    shown = form_of(soup(own.get("/inverter")), "inverter-inverter-form")
    assert float(shown["efficiency"]) == pytest.approx(94)


def test_a_generator_begins_with_usual_charges_and_what_is_needed_is_marked(own: Client) -> None:
    page = soup(own.get("/inverter"))
    form = form_of(page, "add-generator-form")
    assert (form["start_soc"], form["stop_soc"]) == ("40", "80")
    marked = {field["name"] for field in page.select("#add-generator-form [aria-required]")}
    assert marked == {"rated_w", "charger_w", "full_l_per_h", "idle_l_per_h"}
    for name in marked:
        assert "needed" in text(page.select_one(f"label[for='add-generator-{name}']"))
    needed = {"rated_w": "4000", "charger_w": "2000", "full_l_per_h": "2", "idle_l_per_h": "0.6"}
    add_bank(own)
    saved(own, "/inverter", "add-inverter-form", **INVERTER)
    saved(own, "/inverter/generator", "add-generator-form", "/inverter", **needed)
    assert own.document()["generators"][0]["start_soc"] == pytest.approx(0.4)


def test_an_efficiency_left_empty_is_not_said_to_be_typed(own: Client) -> None:
    add_bank(own)
    saved(own, "/inverter", "add-inverter-form", **INVERTER | {"efficiency": ""})
    assert "94 % at full power, the value taken where none is typed (typical, from memory);" in spaced(own)
    saved(own, "/inverter", "inverter-inverter-form", efficiency="93.5")
    assert "93.5 % at full power, as typed;" in spaced(own)


def test_the_highest_charging_current_that_was_typed_is_shown(own: Client) -> None:
    add_bank(own)
    saved(own, "/inverter", "add-inverter-form", **INVERTER)
    assert "Charges with at most" not in spaced(own)
    saved(own, "/inverter", "inverter-inverter-form", charge_limit_a="62.5")
    assert "Charges with at most 62.5 A its solar charger, as typed" in spaced(own)


def test_volts_that_nobody_typed_are_not_said_to_differ_and_the_new_ones_are_taken_by_one_click(own: Client) -> None:
    """The proposal is kept for what it is, through saves of other fields, until somebody types."""
    add_bank(own)
    saved(own, "/inverter", "add-inverter-form", **INVERTER | dict.fromkeys(VOLTS, "") | {"lowest_v": "40"})
    assert own.document()["inverters"][0]["proposed"] == ["dc_min_v", "restart_v"]
    bank = own.document()["banks"][0]["id"]
    saved(own, "/banks", f"bank-{bank}-form", reserve_soc="35")
    saved(own, "/inverter", "inverter-inverter-form", idle_w="33")
    assert own.document()["inverters"][0]["proposed"] == ["dc_min_v", "restart_v"]
    page = soup(own.get("/commissioning"))
    rows = {text(row.th): row for row in page.select("table.commission tbody tr")}
    now = text(rows["Restart"].select_one("[data-label='set now']"))
    assert "proposed for the bank as it was then, not typed" in now
    assert "differs" not in now
    assert not re.search(r"Set otherwise now, [^.]*Restart", text(page))
    new_v = float(text(rows["Restart"].select_one("[data-label='whole bank']")).split()[0])
    assert new_v != own.document()["inverters"][0]["restart_v"]
    form = rows["Restart"].select_one("form[action='/apply']")
    assert form is not None
    own.post("/apply", {one["name"]: one["value"] for one in form.select("input")})
    assert own.document()["inverters"][0]["restart_v"] == new_v
    again = soup(own.get("/commissioning")).select("table.commission tbody tr form[action='/apply']")
    assert not [one for one in again if "restart" in text(one).lower()]
    saved(own, "/inverter", "inverter-inverter-form", restart_v=str(new_v + 1))
    assert own.document()["inverters"][0]["proposed"] == ["dc_min_v"]
    page = soup(own.get("/commissioning"))
    said = re.search(r"Set otherwise now, [^.]*Restart", text(page))
    assert said is not None
