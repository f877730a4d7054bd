"""Prices: typed, kept, refused in words, and what stands on them in Winters; nothing where none is typed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.conftest import Client, form_of, soup
from tests.web.test_size import words
from webapp.winters_tables import money

Opener = Callable[[dict[str, Any]], Client]
TYPED = {"currency": "€", "bank_per_kwh": "200", "panels_per_kwp": "900", "fuel_per_litre": "1.8"}


def saved(client: Client, **typed: str) -> Any:
    return client.post("/prices", form_of(soup(client.get("/prices")), "prices-form") | typed)


def test_prices_are_kept_and_give_costs(client: Client) -> None:
    assert "nothing is made up" in words(soup(client.get("/winters")), "#answer")
    response = saved(client, **TYPED)
    assert response.status_code == 303
    assert client.document()["prices"] == {
        "currency": "€", "bank_per_kwh": 200.0, "panels_per_kwp": 900.0, "fuel_per_litre": 1.8
    }  # fmt: skip
    told = client.get("/winters.json").json()
    own = next(row for row in told["lasting"]["rows"] if row["strings"] == told["winters"]["own"]["strings"])
    label_kwh = told["winters"]["own"]["label_kwh"]
    assert own["cost"]["price"] == pytest.approx(200.0 * label_kwh)
    assert own["cost"]["per_usable_kwh"] == pytest.approx(200.0 * label_kwh / told["winters"]["own"]["usable_kwh"])
    page = soup(client.get("/winters"))
    assert money(200.0 * label_kwh, TYPED["currency"]) in page.get_text()
    assert "cheapest" in str(page.select_one("#map-plot")["data-figure"])  # type: ignore[index]


def test_cheapest_pair_is_on_its_line_and_no_other_pair_is_cheaper(client: Client) -> None:
    saved(client, **TYPED)
    told = client.get("/winters.json").json()
    winters, share = told["winters"], told["winters"]["own"]["label_kwh"] / told["winters"]["own"]["usable_kwh"]
    assert len(told["lasting"]["cheapest"]) == len(winters["map"]["lines"])
    for one, line in zip(told["lasting"]["cheapest"], winters["map"]["lines"], strict=True):
        prices = [
            900.0 * max(kwp - winters["own_kwp"], 0.0) + 200.0 * share * kwh
            for kwp, kwh in zip(winters["map"]["kwp"], line["bank_kwh"], strict=True)
            if kwh is not None
        ]
        assert one["price"] == pytest.approx(min(prices))
        assert one["bank_kwh"] in line["bank_kwh"]


def test_a_bank_that_is_to_last_is_larger_and_wears_with_the_years(client: Client) -> None:
    new, old = (client.get(f"/winters.json?age={age}").json()["lasting"] for age in (0, 10))
    for fresh, aged in zip(new["lines"], old["lines"], strict=True):
        pairs = [pair for pair in zip(fresh["bank_kwh"], aged["bank_kwh"], strict=True) if None not in pair and pair[0]]
        assert pairs
        assert all(later > now for now, later in pairs)
    for row in new["rows"]:
        likely = [left["likely"] for left in row["left"]]
        assert likely[0] == 1.0
        assert likely == sorted(likely, reverse=True)
        assert all(left["low"] <= left["likely"] <= left["high"] for left in row["left"])
    assert "likely still enough at 10 years" in soup(client.get("/winters?age=10")).get_text()


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"currency": "euros"}, "at most 4 characters"),
        ({"bank_per_kwh": "-3"}, "Price of a bank"),
        ({"fuel_per_litre": "cheap"}, "Price of fuel"),
    ],
)
def test_bad_prices_are_refused_and_kept(client: Client, typed: dict[str, str], said: str) -> None:
    response = saved(client, **(TYPED | typed))
    assert response.status_code == 422
    page = soup(response)
    assert said in words(page, ".summary")
    for name, text in (TYPED | typed).items():
        field = page.find("input", attrs={"name": name})
        assert field is not None
        assert field["value"] == text
    assert client.document()["prices"]["fuel_per_litre"] is None


def test_a_generator_has_its_fuel_beside_the_banks(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["generators"] = [
        {
            "id": "old", "name": "Old set", "inverter": "main", "rated_w": 3000.0, "charger_w": 2000.0,
            "full_l_per_h": 1.4, "idle_l_per_h": 0.5, "start_soc": 0.3, "stop_soc": 0.8,
        }
    ]  # fmt: skip
    client = client_of(small_house)
    row = client.get("/winters.json").json()["lasting"]["rows"][0]
    assert row["fuel"]["litres_a_year"] > 0.0
    assert row["fuel"]["price_a_year"] is None
    assert "litres a year" in soup(client.get("/winters")).get_text()


@pytest.mark.parametrize("text", ["AUD 400", "400 AUD", "AUD400"])
def test_a_currency_beside_a_price_is_taken_as_the_households(client: Client, text: str) -> None:
    assert saved(client, bank_per_kwh=text).status_code == 303
    assert client.document()["prices"]["currency"] == "AUD"
    assert client.document()["prices"]["bank_per_kwh"] == 400.0
    refused = saved(client, fuel_per_litre="2 €")
    assert refused.status_code == 422
    said = words(soup(refused), ".summary")
    assert "“2 €” carries “€”, which this field does not take; type the number alone." in said
    assert saved(client, fuel_per_litre="2 l").status_code == 422
    assert client.document()["prices"]["fuel_per_litre"] is None
