"""The page that holds a log against the model: its numbers are those of its JSON, and no log is no fault."""

from __future__ import annotations

import csv
import io
from typing import Any

import numpy as np
import pytest

from engine.meter.log import MeterLog
from engine.sky.series import dates_of, days_of_year
from engine.sky.sun import clear_day_kwh_m2
from tests.conftest import Client, soup
from tests.engine.checked_logs import DAYS, FIRST, Truth, changed, document, truth
from tests.web.bringing import LOG, RECORDS, text_of
from tests.web.conftest import Opener
from tests.web.meter_files import meter_csv
from webapp import meter_store
from webapp.downloads import BYTE_ORDER_MARK

PATH = "/log/compared"
HTMX = {"HX-Request": "true", "HX-Request-Type": "partial"}


def kept(client: Client, log: MeterLog) -> None:
    """A meter's file brought and accepted."""
    store, house = client.store, client.store.current().household_id
    file_id = meter_store.add(store, house, "meter", "table", b"rows", {}).id
    meter_store.accept(store, file_id, "table", {"columns": {}}, log)


def radiation(found: Truth) -> str:
    days = dates_of(FIRST, DAYS)
    kwh = found.sky.kc * clear_day_kwh_m2(found.house.site, days_of_year(days))
    return "date;global radiation [J/cm2]\n" + "".join(
        f"{day};{one * 360.0:.2f}\n" for day, one in zip(days, kwh, strict=True)
    )


@pytest.fixture
def with_log(client_of: Opener) -> Client:
    """A house whose panels give a tenth less and whose sockets draw 60 W more than it says."""
    client = client_of(document(6.0, 16))
    found = truth(times=0.9, idle_w=60.0, kwp=6.0)
    kept(client, changed(found.log, load_dc_w=None))
    return client


def words(client: Client, query: str = "") -> str:
    response = client.get(f"{PATH}{query}")
    assert response.status_code == 200
    return text_of(soup(response)).replace("\u202f", " ")


def data(client: Client, query: str = "") -> Any:
    response = client.get(f"{PATH}.json{query}")
    assert response.status_code == 200, response.text
    return response.json()


def test_without_a_log_it_says_what_to_bring_and_where(client: Client) -> None:
    response = client.get(PATH)
    assert response.status_code == 200
    page = soup(response)
    assert len(page.select("h1")) == 1
    assert "There is no log yet" in text_of(page)
    assert page.select_one('main a.button[href="/log"]') is not None
    assert "no log yet" in client.get(f"{PATH}.json").json()["errors"]["household"]
    assert len(client.get(f"{PATH}.csv").text.splitlines()) == 1


def test_the_page_says_the_numbers_of_its_json(with_log: Client) -> None:
    text, answer = words(with_log), data(with_log)
    load = answer["loads"][0]
    assert f"Over {answer['yields']['errors']['days']} days the panels gave" in text
    assert f"{answer['charge']['mean_error_soc'] * 100:.1f} points" in text
    more = load["errors"]["bias_share"] * 100
    assert f"the house drew {more:.0f} % more than its loads say" in text
    assert f"{load['always_on_w']:.0f} W" in text
    for hour in load["hours"]:
        assert f"{hour['hour']:02}:00 {hour['measured_w']:,.0f}".replace(",", " ") in text
    for month in answer["yields"]["months"]:
        assert f"{month['days']} {month['measured_kwh']:.1f} {month['clear_kwh']:.1f}" in text
    assert [cause["code"] for cause in answer["causes"]] == ["idle"]
    for cause in answer["causes"]:
        assert cause["title"] in text
        assert cause["tells"] in text
    for said in answer["left_out"]:
        assert said in text
    assert len(soup(with_log.get(PATH)).select("h1")) == 1


def test_every_day_stands_in_the_table_as_in_the_json(with_log: Client) -> None:
    rows = list(csv.reader(io.StringIO(with_log.get(f"{PATH}.csv").text.removeprefix(BYTE_ORDER_MARK))))
    each = data(with_log)["each"]
    assert len(rows) == DAYS + 1 == len(each) + 1
    for row, day in zip(rows[1:], each, strict=True):
        assert row[0] == day["day"]
        assert float(row[1]) == day["yield_kwh"]
        assert (float(row[8]) if row[8] else None) == (None if day["monitor"] is None else day["monitor"] * 100.0)


def test_a_record_of_radiation_with_these_dates_tells_the_panels_from_the_weather(with_log: Client) -> None:
    assert data(with_log)["yields"]["reference"] == "average days"
    assert "a record of radiation" in words(with_log)
    RECORDS.read_so(with_log, radiation(truth(times=0.9, idle_w=60.0, kwp=6.0)), "field.csv")
    answer = data(with_log)
    assert answer["yields"]["reference"] == "same day"
    # the record scales its days to its own clear ones and is printed to a hundredth of a J/cm2
    assert answer["yields"]["errors"]["bias_share"] == pytest.approx(-0.1, abs=0.01)
    assert "10 % less" in words(with_log) or "9 % less" in words(with_log)
    assert data(with_log, "?skies=average")["yields"]["reference"] == "average days"


def test_a_period_is_chosen_and_wrong_ones_are_refused_with_what_was_typed(with_log: Client) -> None:
    answer = data(with_log, "?from=2025-03-10&to=2025-03-20")
    assert (answer["first"], answer["last"], len(answer["each"])) == ("2025-03-10", "2025-03-20", 11)
    for query, said in (
        ("?from=spring", "From must be a day such as 2025-03-01 or 1 March 2025; got “spring”."),
        ("?to=2031-01-01", "To must be a day of the log, from 2025-03-01 to 2025-04-29; got 2031-01-01."),
        ("?from=2025-04-02&to=2025-04-01", "To must not be before From, 2025-04-02; got 2025-04-01."),
        ("?skies=file-99", "Yield held against cannot be “file-99”"),
    ):
        response = with_log.get(f"{PATH}{query}")
        assert response.status_code == 422
        page = soup(response)
        assert said in page.select_one(".summary").get_text()  # type: ignore[union-attr]
        assert len(page.select("h1")) == 1
        live = with_log.get(f"{PATH}{query}", headers=HTMX)
        assert live.status_code == 422
        assert said in live.text
        assert with_log.get(f"{PATH}.json{query}").status_code == 422
    kept_text = soup(with_log.get(f"{PATH}?from=spring")).select_one("#from")
    assert kept_text is not None
    assert kept_text["value"] == "spring"


def test_a_house_without_a_joined_bank_says_the_first_step(client_of: Opener) -> None:
    paper = document(6.0, 16)
    paper["banks"] = []
    client = client_of(paper)
    kept(client, truth().log)
    assert "no bank yet" in words(client)
    assert soup(client.get(PATH)).select_one('main a.button[href="/banks"]') is not None


def test_a_log_of_nearly_nothing_is_answered(client: Client) -> None:
    """One row of volts: no day, no picture, and no fault."""
    row = MeterLog(start_s=np.array([1.7e9]), step_s=np.array([60.0]), values={"bank_v": np.array([52.0])})
    kept(client, row)
    assert "no whole day" in words(client)
    assert data(client)["each"]


def test_log_leads_there_and_method_says_how(client: Client) -> None:
    LOG.read_so(client, meter_csv(3))
    assert "Over 3 days" in words(client)
    assert soup(client.get("/log")).select_one(f'main a[href="{PATH}"]') is not None
    assert soup(client.get("/method")).select_one("section#compared .formula") is not None
