"""Spares: the page, its block inside Today, its JSON, its empty states, and what is refused."""

from __future__ import annotations

import re
from typing import Any

import pytest

from tests.conftest import Client, soup
from tests.web.conftest import Opener

ASK = "charge=80&spare_new=20&sky=bright,dark&at=2026-11-25%2018:00"


@pytest.fixture
def example(client_of: Opener) -> Client:
    return client_of(None)


@pytest.fixture
def twins(client_of: Opener, small_house: dict[str, Any]) -> Client:
    """The small household with a second bank like its own, joined to nothing."""
    spare = small_house["banks"][0] | {"id": "shed", "name": "Shed bank", "inverter": ""}
    return client_of(small_house | {"banks": [*small_house["banks"], spare]})


def answer(client: Client, query: str = ASK) -> Any:
    return soup(client.get(f"/spares?{query}")).select_one("#answer")


def test_the_sentence_names_the_spare_and_the_best_start(example: Client) -> None:
    sentence = answer(example).select_one("h1").get_text()
    assert "from the sodium-ion bank after dark, from Thu 26 Nov, 16:00" in sentence
    assert "gains" in sentence


def test_the_page_shows_the_numbers_of_its_json(example: Client) -> None:
    told = example.get(f"/spares.json?{ASK}").json()
    (spare,) = told["spares"]
    best = spare["moves"][0]
    row = answer(example).select("table tbody tr")[0]
    assert row.th.get_text() == spare["name"]
    assert row.select("td")[-1].get_text() == f"+ {best['gained_h']:.1f}"
    assert best["taken_kwh"] == pytest.approx(
        best["into_kwh"] + best["device_loss_kwh"] + best["cell_loss_kwh"], rel=1e-3
    )
    assert f"at least {spare['joining']['amps']:.0f}" in answer(example).get_text()


def test_more_in_the_spare_lasts_longer(example: Client) -> None:
    lasts = [
        example.get(f"/spares.json?{ASK.replace('spare_new=20', f'spare_new={percent}')}").json()["spares"][0]["moves"]
        for percent in (20, 60)
    ]
    assert lasts[0][0]["gained_h"] < lasts[1][0]["gained_h"]


def test_unlike_banks_are_a_stop_above_the_answer(example: Client) -> None:
    found = answer(example)
    stop = found.select_one(".note.stop")
    assert "Never clip Sodium-ion bank and Sealed bank together" in stop.get_text()
    assert found.find_all(["h1", "div"]).index(stop) < found.find_all(["h1", "div"]).index(found.h1)
    assert "Never join banks with bare leads" in found.select_one(".cautions").get_text()


def test_like_banks_at_like_charge_are_a_check_and_equal_volts_no_equal_charge(twins: Client) -> None:
    found = answer(twins, "charge=50&spare_shed=50&sky=dull")
    assert not [note for note in found.select(".note.stop") if "clip" in note.get_text()]
    assert "it is no permission" in found.get_text()
    said = re.search(r"may hold anything from (\d+) to (\d+)\s%", found.get_text())
    assert said is not None
    low, high = (int(one) for one in said.groups())
    assert low <= 50 <= high
    assert high - low >= 5


def test_a_typed_resistance_takes_away_the_least(twins: Client) -> None:
    query = "charge=30&spare_shed=90&sky=dull"
    assert "at least" in answer(twins, query).select("table.stacked")[-1].tbody.get_text()
    typed = (
        answer(twins, f"{query}&cell_mohm_store=0.5&cell_mohm_shed=0.5").select("table.stacked")[-1].tbody.get_text()
    )
    assert "at least" not in typed
    assert "about" in typed


def test_a_charge_left_empty_is_called_a_guess(example: Client) -> None:
    guess = answer(example, ASK.replace("spare_new=20", "spare_new="))
    assert "50\u00a0%, a guess" in guess.get_text()
    assert "Nobody said the charge of Sodium-ion bank" in guess.get_text()
    assert "a guess" not in answer(example).get_text()


def test_a_bank_too_cold_moves_nothing_and_says_stop(client_of: Opener, small_house: dict[str, Any]) -> None:
    (store,) = small_house["banks"]
    cold = client_of(
        small_house | {"banks": [store | {"cell_c": 1.0}, store | {"id": "shed", "name": "Shed", "inverter": ""}]}
    )
    found = answer(cold, "charge=30&sky=none&at=2026-11-25%2018:00")
    assert "No spare can charge the store-room bank" in found.h1.get_text()
    assert any("takes no charge at 1 °C" in note.get_text() for note in found.select(".note.stop"))


def test_a_household_without_a_spare_is_told_what_one_is(client: Client) -> None:
    found = answer(client, "")
    assert "There is no spare bank" in found.get_text()
    assert found.select_one("a.button")["href"] == "/banks"


def test_a_household_without_a_bank_is_told_what_to_enter(client_of: Opener, small_house: dict[str, Any]) -> None:
    assert "Enter your first bank" in answer(client_of(small_house | {"banks": [], "loads": []}), "").get_text()


def test_of_a_bank_that_is_empty_already_the_energy_is_told(example: Client) -> None:
    found = answer(example, "charge=45&spare_new=60&power_w=100&sky=none&at=2026-11-25%2018:00")
    assert re.search(r"No spare makes the sealed bank last longer, but .* carries \S+\skWh more", found.h1.get_text())
    assert "down to its reserve or a cut-off already" in found.select_one(".range").get_text()


def test_without_loads_and_panels_it_answers_and_says_so(client_of: Opener, small_house: dict[str, Any]) -> None:
    spare = small_house["banks"][0] | {"id": "shed", "name": "Shed bank", "inverter": ""}
    bare = small_house | {"banks": [*small_house["banks"], spare], "loads": [], "sun": {"arrays": []}}
    text = answer(client_of(bare), "charge=20&at=2026-11-25%2018:00").get_text()
    assert "carries no load yet" in text
    assert "No panels are entered" in text
    assert "gains" in text


def test_banks_on_other_inverters_are_spares_and_one_may_choose(client_of: Opener) -> None:
    three = client_of("three_banks.json")
    ask = "charge=90&charge_shed=60&charge_mill=65&sky=dark,dark,dull&at=2026-11-25%2018:00"
    page = soup(three.get(f"/spares?{ask}"))
    assert page.select_one("#bank option[selected]")["value"] == "mill"
    assert len(page.select("#answer table.stacked")[0].select("tbody tr")) == 2
    assert "With its own loads the house bank" in page.select_one("#answer").get_text()
    assert "charge the shed bank" in answer(three, f"{ask}&bank=shed").h1.get_text().lower()


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("spare_new=120", "Charge of Sodium-ion bank must be a number from 0 to 100 %; got 120"),
        ("power_w=5", "Charger or converter gives must be a number from 10 to 20\u202f000 W; got 5"),
        ("efficiency=0", "Its efficiency must be a number from 30 to 100 %; got 0"),
        ("leads_mohm=0", "Leads and contacts must be a number from 0.1 to 1\u202f000 mΩ; got 0"),
        ("cell_mohm_new=soon", "One cell of Sodium-ion bank must be a number from 0.01 to 1\u202f000 mΩ"),
        ("charge=180", "Charge now must be a number from 0 to 100 %"),
    ],
)
def test_what_is_wrong_is_said_and_kept(example: Client, query: str, said: str) -> None:
    name, text = query.split("=")
    refused = example.get(f"/spares?{'&'.join(part for part in ASK.split('&') if not part.startswith(name))}&{query}")
    assert refused.status_code == 422
    page = soup(refused)
    assert said in page.get_text()
    assert page.select_one(f"[name={name}]")["value"] == text
    kept = "20" if name != "spare_new" else text
    assert page.select_one("[name=spare_new]")["value"] == kept


def test_a_spare_that_is_not_there_is_refused_by_name(example: Client) -> None:
    refused = example.get("/spares.json?spare_barn=50")
    assert refused.status_code == 422
    assert "spare_barn" in refused.json()["errors"]


def test_a_share_typed_for_percent_is_asked_about(example: Client) -> None:
    assert "Was 60 % meant?" in answer(example, ASK.replace("spare_new=20", "spare_new=0.6")).get_text()


def test_the_block_inside_today_is_short_and_leads_here(example: Client) -> None:
    brief = soup(example.get(f"/spares?within=today&{ASK}")).select_one("#brief")
    assert brief is not None
    assert brief.a["href"].startswith("/spares?charge=80")
    assert "within" not in brief.a["href"]
    assert "guess" not in brief.get_text()
    guessed = soup(example.get(f"/spares?within=today&{ASK.replace('&spare_new=20', '')}")).select_one("#brief")
    assert guessed is not None
    assert "The 50 % in the sodium-ion bank are a guess: type what it holds." in guessed.get_text().replace(
        "\u00a0", " "
    )
    assert len(brief.get_text()) < 300


def test_what_is_switched_off_on_today_is_off_here(example: Client) -> None:
    before, after = (example.get(f"/spares.json?{ASK}{off}").json()["hours"] for off in ("", "&off=guests"))
    assert after > before
    assert soup(example.get(f"/spares?{ASK}&off=guests")).select_one("input[name=off]")["value"] == "guests"


def test_the_proof_can_be_followed_by_hand(example: Client) -> None:
    told = example.get(f"/spares.json?{ASK}").json()
    by_label = {line["label"]: line["value"] for line in told["worked"]}
    assert by_label["It lasts with the spare"] - by_label["It lasts as it is"] == pytest.approx(by_label["Gained"])
    assert by_label["The device loses"] == pytest.approx(by_label["It gives"] * (1 / 0.9 - 1))
    text = answer(example).select_one(".proof").get_text()
    assert "Sodium-ion bank clipped to Sealed bank" in text
    assert "joined to nothing" in text
    assert "Leads and contacts" in text
