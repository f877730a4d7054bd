"""Charge as another display tells it: the same answer, its name, its limits, and volts that cannot tell."""

from __future__ import annotations

from typing import Any

import pytest

from tests.conftest import Client, soup
from tests.web.conftest import Opener

DAYS = "sky=none&at=2026-11-25%2018:00"


def bank(client: Client, query: str) -> dict[str, Any]:
    found: dict[str, Any] = client.get(f"/today.json?{query}&{DAYS}").json()["banks"][0]
    return found


def test_each_scale_gives_the_same_answer(client: Client) -> None:
    plain = bank(client, "charge=60")
    scales = plain["charges"][0]["scales"]
    typed = {
        "inverter": scales["inverter"] * 100.0,
        "usable": scales["usable"] * 100.0,
        "ah": scales["ah_out"],
    }
    for scale, value in typed.items():
        other = bank(client, f"charge={value}&charge_as={scale}")
        assert other["start_soc"] == pytest.approx(0.6, abs=1e-9)
        assert other["hours"] == pytest.approx(plain["hours"])


def test_the_answer_says_it_on_the_other_scales(client: Client) -> None:
    page = soup(client.get(f"/today?charge=60&{DAYS}"))
    said = " ".join(page.select_one(".scales").get_text().split())  # type: ignore[union-attr]
    assert said.startswith("60 % on the bank monitor is")
    assert "of what is usable" in said
    assert "Ah out" in said


def test_rested_volts_of_a_flat_curve_are_a_check_and_widen_the_range(client: Client) -> None:
    page = soup(client.get(f"/today?charge=52.3&charge_as=volts&{DAYS}"))
    checks = [note.get_text() for note in page.select(".note") if note.get_text().strip().startswith("Check")]
    assert any("volts" in check and "%" in check for check in checks)
    found = bank(client, "charge=52.3&charge_as=volts")
    (charge,) = found["charges"]
    assert charge["high_soc"] - charge["low_soc"] > 0.1
    plain = bank(client, f"charge={found['start_soc'] * 100}")
    assert found["high_hours"] - found["low_hours"] > plain["high_hours"] - plain["low_hours"]


def test_rested_volts_of_sodium_ion_tell_it(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"][0] |= {
        "chemistry": "sodium_layered",
        "board": {**small_house["banks"][0]["board"], "cell_low_v": 1.5, "cell_high_v": 4.1},
    }
    client = client_of(small_house)
    rested_v = bank(client, "charge=60")["charges"][0]["scales"]["rested_v"]
    assert bank(client, f"charge={rested_v}&charge_as=volts")["start_soc"] == pytest.approx(0.6, abs=0.02)


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("charge=600&charge_as=ah", "from 0 to 560 Ah; got 600."),
        ("charge=12&charge_as=volts", "V; got 12."),
        ("charge=101&charge_as=usable", "from 0 to 100 %; got 101."),
        ("charge=60&charge_as=guess", "Read as"),
    ],
)
def test_limits_follow_the_scale_and_what_was_typed_stays(client: Client, query: str, said: str) -> None:
    refused = client.get(f"/today?{query}&{DAYS}")
    assert refused.status_code == 422
    page = soup(refused)
    assert said in page.get_text()
    assert page.select_one("#charge")["value"] == query.split("&")[0].removeprefix("charge=")  # type: ignore[index]
