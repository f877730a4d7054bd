"""Bench files brought, looked over, read, and used in a bank: nothing lost on the way, nothing changed by a refusal."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from engine.bench import analysis
from engine.bench.cycles import BenchResult
from engine.bench.records import BenchLog
from engine.text.finding import Finding
from tests.conftest import Client, Clock, form_of, soup
from tests.engine.bench_logs import Leg, rest, run
from tests.web.bringing import CELL_TESTS, text_of
from tests.web.conftest import Opener
from webapp import bench_example
from webapp.bench_words import believable
from webapp.guard import MAX_BODY_BYTES

CELLS = "Zelle;Kapazität Ah;Innenwiderstand mOhm\n" + "".join(
    f"Z{number};{230 + number * 7 % 11},{number % 10};0,{20 + number % 3}\n" for number in range(1, 17)
)
"""Sixteen invented cells; Z11 holds least: 230 + 77 mod 11 = 230, and 0.1."""
WEAKEST, WEAKEST_AH = "Z11", 230.1
# Check values, common practice, no source: a sodium-ion cell of 1.3 Ah; charged at 0.65 A, held to 0.1 A.
TABLE = (
    "Charge voltage [V];No hold [mAh];With hold [mAh]\n"
    "2,0;1;4\n2,4;79;125\n2,8;250;290\n3,0;560;606\n3,6;1052;1105\n3,8;1212;1245\n3,95;1272;1315\n"
)
BANK = {"chemistry": "sodium_layered", "reserve_soc": 0.1, "label_ah": 1.5, "parallel": 1, "board": None}
BOARD = {"cell_low_v": 1.6, "cell_high_v": 4.0, "charge_min_c": 2.0, "current_limit_a": 200.0}

bring, draft_at, read_so, counted = CELL_TESTS.bring, CELL_TESTS.draft_at, CELL_TESTS.read_so, CELL_TESTS.counted


@pytest.fixture
def sodium(client_of: Opener, small_house: dict[str, Any]) -> Client:
    """A client of the small household with a bank of small sodium-ion cells."""
    small_house["banks"][0] |= BANK | {"board": BOARD}
    return client_of(small_house)


def test_the_empty_page_says_what_to_bring_and_offers_a_made_up_log(client: Client) -> None:
    page = soup(client.get("/cell-tests"))
    assert "a log of a single charge and discharge" in page.select_one(".empty").get_text()  # type: ignore[union-attr]
    assert page.find("button", string="Try it with a made-up log")
    response = client.get("/cell-tests/example.csv")
    assert response.text.splitlines()[0].startswith("# Made up from Greyspell's own cell model")
    assert client.post("/cell-tests/example", {}).headers["Location"] == "/cell-tests/1"


def test_a_list_of_cells_from_file_to_bank_and_back(client: Client) -> None:
    address = read_so(client, CELLS)
    page = soup(client.get(address))
    said = page.select_one(".sentence")
    assert said is not None
    assert f"The weakest of 16 cells is “{WEAKEST}” with 230" in said.get_text().replace("\u00a0", " ")
    grouping = client.get(f"{address}.json").json()["result"]["grouping"]
    assert grouping["even"]["string_ah"] == WEAKEST_AH
    before = client.get("/today.json?charge=60&sky=none").json()
    revision = str(client.store.current().revision)
    response = client.post(f"{address}/use", {"revision": revision, "bank": "store"})
    assert response.status_code == 303
    assert client.document()["banks"][0]["tested_ah"] == pytest.approx(WEAKEST_AH)
    assert client.get("/today.json?charge=60&sky=none").json() != before
    landed = soup(client.get(response.headers["Location"].split("#")[0]))
    assert landed.select_one('#use a[href="/charge?bank=store"]')
    assert landed.select_one('#use a[href="/today"]')
    client.post("/undo", {"revision": str(client.store.current().revision), "back": address})
    assert client.get("/today.json?charge=60&sky=none").json() == before


def test_two_side_by_side_hold_the_smallest_group(client: Client) -> None:
    address = read_so(client, CELLS, series="8", parallel="2")
    grouping = client.get(f"{address}.json").json()["result"]["grouping"]
    sums = [sum(cell["ah"] for cell in group["cells"]) for group in grouping["even"]["groups"]]
    assert grouping["even"]["string_ah"] == pytest.approx(min(sums))
    client.post(f"{address}/use", {"revision": "1", "bank": "store"})
    assert client.document()["banks"][0]["tested_ah"] == pytest.approx(min(sums) / 2)


def test_one_column_is_refused_and_changes_nothing(client: Client) -> None:
    before = counted(client)
    response = bring(client, "volts\n" + "3.2\n" * 50)
    assert response.status_code == 422
    (line,) = soup(response).select(".summary li")
    assert "only one column" in line.get_text()
    assert counted(client) == before


def test_text_in_the_middle_is_refused_or_said_and_never_read_over(sodium: Client) -> None:
    lines = bench_example.log().decode().splitlines()
    lines[400:700] = ["the tester was switched off here"] * 300
    response = bring(sodium, "\n".join(lines).encode())
    if response.status_code == 303:
        address = response.headers["Location"]
        sent = form_of(soup(sodium.get(address)), "read-form") | {"act": "read"}
        response = sodium.post(f"{address}/read", sent)
    assert response.status_code == 422
    assert len(soup(response).select(".summary li")) == 1
    assert counted(sodium)[1] == 0


def test_a_paste_longer_than_a_form_part_usually_may_be(client: Client) -> None:
    rows = "time s,V,A\n" + "".join(f"{n},3.2{n % 10},1.5\n" for n in range(90_000))
    assert len(rows) > 1024**2
    assert client.post("/cell-tests", files={"pasted": (None, rows)}).status_code == 303


def test_a_file_of_80_megabytes_is_refused_unread(client: Client) -> None:
    before = counted(client)
    response = client.post("/cell-tests", headers={"Content-Length": str(80 * 1024**2)})
    assert response.status_code == 413
    assert f"up to {MAX_BODY_BYTES // 1024**2} MB here; nothing was changed" in response.text
    assert counted(client) == before


def test_a_table_becomes_percent_of_the_full_charge(sodium: Client) -> None:
    address = read_so(sodium, TABLE, charge_a="0,65", tail_a="0.1", label_ah="1,3")
    page = text_of(soup(sodium.get(address)))
    # Check values, common practice, no source: 1315 mAh is 100 %, 560 / 606 is 42.6 / 46.1, 1212 / 1245 is 92.2 / 94.7.
    for said in ("42.6 %", "46.1 %", "92.2 %", "94.7 %"):
        assert said in page
    assert "There is nothing below 2.0 V." in page
    assert "four times" not in page
    cell = sodium.get(f"{address}.json").json()["result"]["cell"]
    assert cell["full_ah"] == pytest.approx(1.315)
    assert cell["method"].startswith("a table of charge ends at 0.65 A")


def test_currents_of_the_bench_are_in_amperes_and_in_c_of_the_label(sodium: Client) -> None:
    # 0.65 A of a cell of 1.3 Ah is 0.5C, 0.1 A is 0.077C.
    address = read_so(sodium, TABLE, charge_a="0,65", tail_a="0.1", label_ah="1,3")
    page = text_of(soup(sodium.get(address)))
    assert "at the bench’s 0.65 A (0.5C)" in page
    assert "held there to 0.10 A (0.077C)" in page


def test_a_banks_current_is_the_one_of_charge_volts(sodium: Client) -> None:
    address = read_so(sodium, TABLE, charge_a="0,65", tail_a="0.1", label_ah="1,3")
    bank = sodium.document()["banks"][0]
    rate = sodium.get(f"/charge.json?bank={bank['id']}").json()["charge_c"]
    assert f"at the {rate:.2g}C of" in text_of(soup(sodium.get(address)))
    assert rate != pytest.approx(0.1, abs=0.002), "panels decide, not the usual tenth"


def test_a_log_becomes_a_banks_own_chemistry(sodium: Client) -> None:
    address = read_so(sodium, bench_example.log(), label_ah="1.5")
    page = soup(sodium.get(address))
    assert "This cell gave 1.42 Ah, 95 % of its label, at 22 °C." in text_of(page)
    assert {plot["id"] for plot in page.select(".plot")} == {"usable-plot", "time-plot", "charge-discharge-plot"}
    response = sodium.post(f"{address}/use", {"revision": "1", "bank": "store"})
    assert response.status_code == 303
    bank = sodium.document()["banks"][0]
    assert bank["chemistry"]["id"] == "sodium_layered/test-1"
    assert bank["tested_ah"] == pytest.approx(bench_example.HELD_AH, rel=0.005)
    assert "your test" in text_of(soup(sodium.get("/banks")))


def test_the_temperature_of_a_test_goes_along_into_the_bank(sodium: Client) -> None:
    logged = read_so(sodium, bench_example.log(), label_ah="1.5")
    assert "Cells at 22 °C in this test, by its own column" in text_of(soup(sodium.get(logged)))
    sodium.post(f"{logged}/use", {"revision": "1", "bank": "store"})
    assert sodium.document()["banks"][0]["tested_c"] == pytest.approx(22.0, abs=1.0)
    typed = read_so(sodium, bench_example.log(), label_ah="1.5", test_c="8")
    assert "Cells at 8 °C in this test, as you typed" in text_of(soup(sodium.get(typed)))
    sodium.post(f"{typed}/use", {"revision": "2", "bank": "store"})
    assert sodium.document()["banks"][0]["tested_c"] == 8.0
    listed = read_so(sodium, "cell;Ah\n" + "".join(f"Z{number};1,4{number % 7}5\n" for number in range(16)))
    assert "since nothing says" in text_of(soup(sodium.get(listed)))
    sodium.post(f"{listed}/use", {"revision": "3", "bank": "store"})
    assert sodium.document()["banks"][0]["tested_c"] == 25.0
    assert "Tested at" in text_of(soup(sodium.get("/banks?edit=store")))


def test_a_log_of_another_size_of_cell_gives_its_curve_alone(client_of: Opener, small_house: dict[str, Any]) -> None:
    small_house["banks"][0] |= BANK | {"board": BOARD, "label_ah": 210.0, "tested_ah": 206.0}
    client = client_of(small_house)
    address = read_so(client, bench_example.log())
    assert "Store-room bank: curve alone" in text_of(soup(client.get(address)))
    client.post(f"{address}/use", {"revision": "1", "bank": "store"})
    bank = client.document()["banks"][0]
    assert bank["tested_ah"] == 206.0
    assert bank["chemistry"]["id"] == "sodium_layered/test-1"


def test_a_log_and_a_list_are_both_used_on_one_bank(sodium: Client) -> None:
    log = read_so(sodium, bench_example.log())
    small = "cell;Ah\n" + "".join(f"Z{number};1,4{number % 7}5\n" for number in range(16))
    cells = read_so(sodium, small)
    sodium.post(f"{log}/use", {"revision": "1", "bank": "store"})
    sodium.post(f"{cells}/use", {"revision": "2", "bank": "store"})
    bank = sodium.document()["banks"][0]
    string_ah = sodium.get(f"{cells}.json").json()["result"]["grouping"]["even"]["string_ah"]
    assert bank["chemistry"]["id"] == "sodium_layered/test-1"
    assert bank["tested_ah"] == pytest.approx(string_ah)


LEAD = {"chemistry": "lead_sealed", "reserve_soc": 0.5, "label_ah": 800.0, "series": 12, "parallel": 1, "board": None}


@pytest.fixture
def lead(client_of: Opener, small_house: dict[str, Any]) -> Client:
    """A client of the small household with a lead-acid bank of 800 Ah."""
    small_house["banks"][0] |= LEAD
    return client_of(small_house)


def test_the_kind_of_cell_is_chosen_by_the_volts_of_the_log(lead: Client) -> None:
    page = soup(lead.get(draft_at(lead, bench_example.log())))
    assert form_of(page, "read-form")["chemistry"] == "sodium_layered"
    hint = text_of(page)
    assert "a cell lie within the limits of Sodium-ion (layered oxide)." in hint
    page = soup(lead.get(draft_at(lead, TABLE)))
    assert form_of(page, "read-form")["chemistry"] == "sodium_layered"


def test_a_log_of_a_whole_pack_keeps_the_banks_kind_and_asks_for_its_cells(sodium: Client) -> None:
    lines = bench_example.log().decode().splitlines()
    rows = [line.split(",") for line in lines[2:]]
    pack = "\n".join([lines[1], *(",".join((t, f"{8 * float(v):.3f}", *rest)) for t, v, *rest in rows)])
    page = soup(sodium.get(draft_at(sodium, pack)))
    assert form_of(page, "read-form")["chemistry"] == "sodium_layered"
    assert "more than any one cell: say below how many are in series" in text_of(page)
    address = read_so(sodium, pack, series="8", label_ah="1.5")
    assert sodium.get(f"{address}.json").json()["foreign"] is None
    assert sodium.post(f"{address}/use", {"revision": "1", "bank": "store"}).status_code == 303


def test_a_log_beyond_the_volts_of_its_chemistry_is_stopped_and_used_only_when_asked_for(lead: Client) -> None:
    address = read_so(lead, bench_example.log(), chemistry="lead_sealed")
    page = text_of(soup(lead.get(address)))
    assert "3.95 V is beyond what Lead-acid, sealed ever stands at, 2.45 V: is this its log" in page
    assert "Believable: no, because the volts are not those of the kind of cell it is read as" in page
    before = lead.document()
    sent = {"revision": "1", "bank": "store"}
    response = lead.post(f"{address}/use", sent)
    assert response.status_code == 422
    assert lead.document() == before
    sure = soup(response).select_one("#use button[name=sure]")
    assert sure is not None
    assert lead.post(f"{address}/use", sent | {"sure": str(sure["value"])}).status_code == 303
    assert lead.document()["banks"][0]["tested_ah"] < 2.0


def test_ampere_hours_that_cannot_be_the_banks_are_asked_about_with_both_numbers(sodium: Client) -> None:
    address = read_so(sodium, CELLS)
    sent = {"revision": "1", "bank": "store"}
    response = sodium.post(f"{address}/use", sent)
    assert response.status_code == 422
    said = text_of(soup(response))
    assert "This test found 230 Ah a cell" in said
    assert "says 1.50 Ah" in said
    assert sodium.document()["banks"][0]["label_ah"] == 1.5
    assert sodium.post(f"{address}/use", sent | {"sure": "another"}).status_code == 422
    assert sodium.post(f"{address}/use", sent | {"sure": "store"}).status_code == 303


def test_a_discharge_that_stopped_halfway_is_no_capacity_unless_it_is_asked_for(sodium: Client) -> None:
    """0.65 A from a full cell of 1.3 Ah down to 2.65 V: about three quarters of it, within what a label believes."""
    log, _ = run((rest(600), Leg("discharge", 0.65, 2.65), rest(1800)), start_soc=1.0)
    rows = zip(log.time_s[::10], log.voltage_v[::10], log.current_a[::10], strict=True)
    half = "Time [s],Voltage [V],Current [A]\n" + "".join(f"{t},{v},{i}\n" for t, v, i in rows)
    address = read_so(sodium, half, label_ah="1.3")
    assert "Its ampere-hours are not the capacity" in text_of(soup(sodium.get(address)))
    sent = {"revision": "1", "bank": "store"}
    response = sodium.post(f"{address}/use", sent)
    assert response.status_code == 422
    assert "no sign of empty" in text_of(soup(response))
    assert sodium.document()["banks"][0].get("tested_ah") is None
    assert sodium.post(f"{address}/use", sent | {"sure": "store"}).status_code == 303
    assert 0.9 < sodium.document()["banks"][0]["tested_ah"] < 1.0


def test_a_test_of_other_cells_is_refused_to_a_bank_in_words(client: Client) -> None:
    address = read_so(client, bench_example.log(), chemistry="sodium_layered")
    before = client.document()
    response = client.post(f"{address}/use", {"revision": "1", "bank": "store"})
    assert response.status_code == 422
    assert "this test was read as Sodium-ion" in soup(response).select_one(".summary").get_text()  # type: ignore[union-attr]
    assert client.document() == before


@pytest.mark.parametrize(("revision", "bank", "status"), [("7", "store", 409), ("1", "no-such", 422)])
def test_a_use_that_cannot_be_saved_says_why(client: Client, revision: str, bank: str, status: int) -> None:
    address = read_so(client, CELLS)
    before = client.document()
    response = client.post(f"{address}/use", {"revision": revision, "bank": bank})
    assert response.status_code == status
    assert len(soup(response).select(".summary li")) == 1
    assert client.document() == before


def test_what_stands_against_the_choices_is_said_at_its_field_and_all_is_kept(client: Client) -> None:
    address = draft_at(client, bench_example.log())
    sent = form_of(soup(client.get(address)), "read-form")
    twice = sent | {"column_3": sent["column_1"], "series": "many", "label_ah": "1,234", "act": "read"}
    response = client.post(f"{address}/read", twice)
    page = soup(response)
    assert response.status_code == 422
    assert len(page.select(".summary li")) == 3
    assert form_of(page, "read-form") == {name: text for name, text in twice.items() if name != "act"}
    assert page.title is not None
    assert page.title.get_text().startswith("Error: ")
    assert counted(client)[1] == 0


def test_another_kind_shows_its_own_choices_and_keeps_nothing(client: Client) -> None:
    address = draft_at(client, bench_example.log())
    sent = form_of(soup(client.get(address)), "read-form") | {"kind": "cells"}
    page = soup(client.post(f"{address}/read", sent))
    assert form_of(page, "read-form")["was_kind"] == "cells"
    assert page.find(id="parallel")
    assert not page.select(".summary")
    assert form_of(soup(client.get(address)), "read-form")["kind"] == "log"


def test_reading_again_with_other_choices_changes_the_result(sodium: Client) -> None:
    address = read_so(sodium, bench_example.log())
    page = soup(sodium.get(f"{address}?read"))
    sent = form_of(page, "read-form") | {"label_ah": "2,84", "act": "read"}
    assert sodium.post(f"{address}/read", sent).status_code == 303
    assert "50 % of its label" in text_of(soup(sodium.get(address)))


def test_the_table_of_a_test_belongs_to_its_household(client: Client) -> None:
    address = read_so(client, CELLS)
    client.post("/files/new", {})
    response = client.get(f"{address}.csv")
    assert response.status_code == 404
    assert "in this household; it may be long deleted" in response.text


def test_a_table_to_take_along_runs_no_formula(client: Client) -> None:
    address = read_so(client, CELLS.replace("Z7;", "=1+1;"))
    response = client.get(f"{address}.csv")
    assert response.headers["Content-Type"].startswith("text/csv")
    rows = list(csv.reader(io.StringIO(response.text.removeprefix("\ufeff"))))
    assert len(rows) == 17
    assert "'=1+1" in {row[0] for row in rows}


def test_the_curve_to_take_along_rises(sodium: Client) -> None:
    address = read_so(sodium, bench_example.log())
    rows = list(csv.reader(io.StringIO(sodium.get(f"{address}.csv").text.removeprefix("\ufeff"))))[1:]
    for column in (0, 1, 2, 3):
        values = [float(row[column]) for row in rows]
        assert values == sorted(values)
    assert all(float(row[2]) >= float(row[1]) for row in rows)


@pytest.mark.parametrize("question", ["volts_for_share", "hold_worth", "balancer", "capacity", "whole_curve"])
def test_every_question_has_a_plan_shorter_than_the_sweep(client: Client, question: str) -> None:
    asked = f"question={question}&chemistry=sodium_layered&label_ah=1.3&cells=1"
    plan = client.get(f"/cell-tests/plan.json?{asked}").json()
    page = soup(client.get(f"/cell-tests/plan?{asked}"))
    assert plan["hours"] < plan["sweep"]["hours"] / 2
    assert len(page.select(".plansteps tbody tr")) == len(plan["steps"])
    assert len(page.select(".forecast tbody tr")) == len(plan["forecasts"])


def test_a_slip_in_the_question_of_a_plan_is_said_at_its_field(client: Client) -> None:
    response = client.get("/cell-tests/plan?label_ah=280&charge_a=9000")
    assert response.status_code == 422
    assert soup(response).find(id="charge_a-error")


def test_a_kept_plan_is_scored_by_the_test_that_follows(sodium: Client) -> None:
    asked = {"question": "whole_curve", "chemistry": "sodium_layered", "label_ah": "1,5", "charge_a": "0,71"}
    asked |= {"discharge_a": "0,71", "tail_a": "0,12", "wanted": "80", "cells": "1"}
    response = sodium.post("/cell-tests/plan/keep", asked)
    assert response.status_code == 303
    assert "Kept." in text_of(soup(sodium.get(response.headers["Location"])))
    address = read_so(sodium, bench_example.log())
    page = text_of(soup(sodium.get(address)))
    # The log is made from the very curve the forecast is read from, so every share must lie inside its bar.
    assert "6 of 6 results lie inside the forecast’s bar" in page
    sodium.post("/cell-tests/plan/drop", {"plan": "1"})
    assert "forecast’s bar" not in text_of(soup(sodium.get(address)))


PLAN = {"question": "capacity", "chemistry": "sodium_layered", "label_ah": "1,5", "wanted": "80", "cells": "1"}


def test_a_plan_is_not_scored_by_cells_of_another_size(sodium: Client) -> None:
    sodium.post("/cell-tests/plan/keep", PLAN | {"label_ah": "210"})
    assert "forecast’s bar" not in text_of(soup(sodium.get(read_so(sodium, bench_example.log()))))


def test_a_plan_is_not_scored_by_a_test_brought_before_it(sodium: Client, clock: Clock) -> None:
    address = read_so(sodium, bench_example.log())
    clock.now += timedelta(hours=1)
    sodium.post("/cell-tests/plan/keep", PLAN)
    assert "forecast’s bar" not in text_of(soup(sodium.get(address)))
    assert "forecast’s bar" in text_of(soup(sodium.get(read_so(sodium, bench_example.log()))))


def test_every_page_is_fit_to_be_read_aloud(sodium: Client) -> None:
    tests = [read_so(sodium, bench_example.log()), read_so(sodium, TABLE, charge_a="0.65", tail_a="0.1")]
    tests.append(read_so(sodium, CELLS))
    paths = ["/cell-tests", "/cell-tests/plan", *tests, *(f"{one}?read" for one in tests)]
    for path in paths:
        page = soup(sodium.get(path))
        assert len(page.find_all("h1")) == 1, path
        assert not page.find_all(style=True)
        ids = [tag["id"] for tag in page.find_all(id=True)]
        assert len(ids) == len(set(ids)), path
        labels = {label.get("for") for label in page.find_all("label")}
        for control in page.find_all(["input", "select", "textarea"]):
            assert control.get("type") == "hidden" or control.get("id") in labels or control.find_parent("label"), path
        for tag in page.find_all(attrs={"aria-describedby": True}):
            assert set(tag["aria-describedby"].split()) <= set(ids), path
        current = {link["href"] for link in page.find_all("a", attrs={"aria-current": "page"})}
        assert current == {"/cell-tests"}, path
        for plot in page.select("[data-figure]"):
            assert json.loads(str(plot["data-figure"]))["data"]


def test_a_long_log_stays_small_on_the_page(sodium: Client) -> None:
    rows = bench_example.log().decode().splitlines()
    many = [rows[1]]
    for place in range(2, len(rows) - 1):
        here, there = ([float(x) for x in rows[k].split(",")] for k in (place, place + 1))
        many += [
            ",".join(f"{a + (b - a) * part / 40:.5f}" for a, b in zip(here, there, strict=True)) for part in range(40)
        ]
    address = read_so(sodium, "\n".join(many))
    assert len(many) > 35_000
    assert len(sodium.get(address).content) < 250_000


@pytest.mark.parametrize("column", ["column_²", f"column_{'9' * 5000}", "column_999999999"])
def test_a_column_that_cannot_be_is_left_out_or_refused(client: Client, column: str) -> None:
    address = read_so(client, CELLS)
    assert client.post(f"{address}/read", {"act": "read", "kind": "cells", column: "capacity:Ah"}).status_code == 422


def test_what_was_never_accepted_or_is_deleted_has_no_table_to_take_along(client: Client) -> None:
    address = draft_at(client, CELLS)
    assert "is not read yet" in client.get(f"{address}.csv").text
    client.post(f"{address}/delete", {})
    response = client.get(f"{address}.csv")
    assert response.status_code == 404
    assert "is deleted; bring it back from the list of cell tests first" in response.text


@pytest.mark.parametrize("content", [CELLS.encode(), bench_example.log()])
def test_a_bank_is_said_to_have_what_a_test_found_only_while_it_has_it(sodium: Client, content: bytes) -> None:
    address = read_so(sodium, content)
    used = f"{address}?used=store&bank=store"
    assert "now has what this test found" not in text_of(soup(sodium.get(used)))
    assert sodium.post(f"{address}/use", {"revision": "1", "bank": "store", "sure": "store"}).status_code == 303
    assert "now has what this test found" in text_of(soup(sodium.get(used)))
    sodium.post("/undo", {"revision": "2", "back": address})
    assert "now has what this test found" not in text_of(soup(sodium.get(used)))


def test_a_bank_that_the_test_cannot_be_used_in_is_not_listed_and_it_says_why(
    client_of: Opener, small_house: dict[str, Any]
) -> None:
    first = small_house["banks"][0]
    small_house["banks"].append(
        {**first, "id": "sealed", "name": "Sealed bank", "inverter": ""} | BANK | {"board": BOARD}
    )
    client = client_of(small_house)
    page = soup(client.get(read_so(client, bench_example.log(), chemistry="sodium_layered")))
    assert [option["value"] for option in page.select("#bank option")] == ["sealed"]
    assert f"{first['name']} is not listed: it is described as " in text_of(page)
    page = soup(client.get(read_so(client, bench_example.log(), chemistry="nmc")))
    assert not page.select("#bank")
    assert text_of(page).count("is not listed") == 2
    page = soup(client.get(read_so(client, CELLS, chemistry="lfp")))
    assert len(page.select("#bank option")) == 1
    assert text_of(page).count("is not listed") == 1


BROKEN = "the tester was switched off here"


@pytest.mark.parametrize(
    "content", [CELLS.encode(), TABLE.encode(), bench_example.log()], ids=["cells", "table", "log"]
)
def test_text_in_the_middle_is_said_before_and_after_it_is_read(sodium: Client, content: bytes) -> None:
    lines = content.decode().splitlines()
    lines.insert(6, BROKEN)
    text = "\n".join(lines)
    said = "rows could not be read and was left out: line 7."
    page = soup(sodium.get(draft_at(sodium, text)))
    (note,) = page.select(".note.check")
    assert note.get_text().startswith("Check 1 of ")
    assert said in note.get_text()
    assert said in text_of(soup(sodium.get(read_so(sodium, text, charge_a="0.65", tail_a="0.1"))))
    assert not soup(sodium.get(draft_at(sodium, content))).select(".note.check")


def test_text_over_a_third_of_the_middle_is_said_on_the_draft_and_once_where_it_is_refused(sodium: Client) -> None:
    lines = bench_example.log().decode().splitlines()
    lines[400:700] = [BROKEN] * 300
    address = draft_at(sodium, "\n".join(lines))
    page = soup(sodium.get(address))
    assert "300 of 938 rows could not be read" in page.select_one(".note.check").get_text()  # type: ignore[union-attr]
    refused = soup(sodium.post(f"{address}/read", form_of(page, "read-form") | {"act": "read"}))
    assert len(refused.select(".summary li")) == 1
    assert not refused.select(".note.check")


def test_nothing_typed_is_lost_when_the_kind_is_changed_or_looked_at_again(client: Client) -> None:
    address = draft_at(client, bench_example.log())
    log = form_of(soup(client.get(address)), "read-form")
    log |= {
        "label_ah": "1,3x",
        "series": "2",
        "chemistry": "nmc",
        "column_3": "",
        "current_sign": "flip",
        "decimal": ",",
    }
    again = form_of(soup(client.post(f"{address}/read", log | {"act": "look"})), "read-form")
    assert again == log
    sent, seen = again, {}
    for kind, typed in (("table", {"charge_a": "0,6"}), ("cells", {"parallel": "four"}), ("table", {}), ("log", {})):
        page = soup(client.post(f"{address}/read", sent | {"kind": kind, "act": "look"}))
        assert not page.select(".summary")
        sent = form_of(page, "read-form")
        seen[kind] = dict(sent)
        sent |= typed
    assert seen["cells"]["series"] != "2"
    assert (seen["table"]["charge_a"], seen["table"]["label_ah"], seen["table"]["chemistry"]) == ("0,6", "1,3x", "nmc")
    assert log.items() <= seen["log"].items()
    page = soup(client.post(f"{address}/read", sent | {"kind": "cells", "act": "look"}))
    assert form_of(page, "read-form")["parallel"] == "four"


def test_groups_show_no_residue_of_floating_point(client: Client) -> None:
    even = "cell;Ah\n" + "".join(f"Z{n};{ah}\n" for n, ah in enumerate(["1.1", "2.2", "1.5", "1.8", "1.2", "2.1"]))
    address = read_so(client, even, series="3", parallel="2")
    found = client.get(f"{address}.json").json()["result"]["grouping"]["even"]
    assert [group["over_ah"] for group in found["groups"]] == [0.0] * 3
    assert found["imbalance_ah"] == 0.0
    cells = soup(client.get(address)).find_all("td", attrs={"data-label": "beyond the smallest, Ah"})
    assert {cell.get_text() for cell in cells} == {"0.0000"}


def test_a_file_is_worked_out_once_when_it_is_accepted(sodium: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    worked_out = []
    real = analysis.analyse

    def counting(log: BenchLog, *rest: Any) -> BenchResult:
        worked_out.append(log)
        return real(log, *rest)

    monkeypatch.setattr(analysis, "analyse", counting)
    sodium.get(read_so(sodium, bench_example.log()))
    assert len(worked_out) == 1


def test_the_twin_of_a_log_says_why_it_has_no_curve_and_how_it_was_read(sodium: Client) -> None:
    lines = bench_example.log().decode().splitlines()
    rows = [line for line in lines[2:] if float(line.split(",")[2]) < 0]
    address = read_so(sodium, "\n".join([lines[1], *rows]), label_ah="1.5", current_sign="as written")
    found = sodium.get(f"{address}.json").json()
    assert found["cell"] is None
    assert found["why_no_cell"] in text_of(soup(sodium.get(address)))
    assert len(found["why_no_cell"]) > 20
    assert found["base"] == "sodium_layered"
    assert (found["choices"]["label_ah"], found["choices"]["kind"]) == (1.5, "log")


def test_tests_of_one_name_are_told_apart_when_read_aloud(client: Client) -> None:
    for _ in range(2):
        read_so(client, CELLS)
        draft_at(client, CELLS)
    client.post("/cell-tests/1/delete", {})
    client.post("/cell-tests/2/delete", {})
    page = soup(client.get("/cell-tests"))
    labels = [tag["aria-label"] for tag in page.select(".rows a, .rows button")]
    assert len(labels) == len(set(labels)) == 6
    for tag in page.select(".rows a"):
        assert str(tag["aria-label"]).startswith(f"{tag.get_text()}, ")


def test_kept_is_said_only_until_the_question_is_another(client: Client) -> None:
    page = soup(client.get("/cell-tests/plan?kept=1"))
    assert page.select_one("#answer .note[role=status]")
    live = client.get("/cell-tests/plan?label_ah=90", headers={"HX-Request": "true"})
    assert "Kept." not in live.text


def test_a_bar_of_a_plan_has_two_figures(client: Client) -> None:
    asked = "question=whole_curve&chemistry=sodium_layered&label_ah=280&cells=16"
    page = soup(client.get(f"/cell-tests/plan?{asked}"))
    bars = [
        str(cell.get_text()).partition("\u00a0")[0]
        for label in ("now uncertain by", "after the test by")
        for cell in page.find_all("td", attrs={"data-label": label})
    ]
    assert len(bars) > 8
    for bar in bars:
        digits = bar.replace(".", "").lstrip("0").replace("–", "")
        assert len(digits) <= 2 or float(bar) >= 100, bar


@pytest.mark.parametrize(
    ("degrees_c", "said"),
    [
        (12, "Believable: yes for cells at 12 °C, because the discharge reached empty"),
        (22, "Believable: yes, because the discharge reached empty"),
        (-2, "Believable: no, because it was charged below 0 °C"),
    ],
)
def test_a_clean_test_of_cool_cells_is_believable_at_their_temperature(
    sodium: Client, degrees_c: int, said: str
) -> None:
    log = bench_example.log().decode().replace(",22.0\n", f",{degrees_c:.1f}\n")
    assert said in text_of(soup(sodium.get(read_so(sodium, log, label_ah="1.5"))))


def test_one_line_says_whether_a_log_is_believable_and_why() -> None:
    cycle = SimpleNamespace(discharge_ah=196.7, charge_ah=201.7, coulombic_efficiency=0.975)
    found = {
        code: Finding(level=level, code=code, text="")
        for level, code in (("note", "charge_without_hold"), ("check", "rows_sparse"), ("stop", "too_hot"))
    }
    good = believable(cycle, [found["charge_without_hold"]])  # type: ignore[arg-type]
    assert good.startswith("yes, because the discharge reached empty, 97.5\u00a0% of the ampere-hours came back")
    assert good.endswith("charged further, the cell may give more.")
    bad = believable(cycle, [found["rows_sparse"], found["too_hot"]])  # type: ignore[arg-type]
    assert bad == "no, because the rows lie too far apart and the cell grew too hot."
    assert believable(cycle, [found["rows_sparse"]]).startswith("not as it stands, because")  # type: ignore[arg-type]
    other = Finding(level="check", code="resistance_borrowed", text="")
    both = believable(cycle, [found["rows_sparse"], other])  # type: ignore[arg-type]
    assert both == (
        "not as it stands, because the rows lie too far apart. What else speaks against it stands among the stops and "
        "checks of this page."
    )
    alone = believable(cycle, [other])  # type: ignore[arg-type]
    assert alone == "not as it stands. What speaks against it stands among the stops and checks of this page."
    half = SimpleNamespace(discharge_ah=196.7, charge_ah=None, coulombic_efficiency=None)
    assert believable(half, []).startswith("only in part")  # type: ignore[arg-type]


def first_drawn_then_charged() -> str:
    """A log of an LFP cell that was full: drawn down to empty, then charged; seconds, volts, amperes."""
    log, _ = run(
        (rest(600), Leg("discharge", 56.0, 2.5), rest(1800), Leg("charge", 56.0, 3.6), rest(1200)),
        cell="lfp",
        size_ah=290.0,
        start_soc=0.999,
        dt_s=10.0,
    )
    rows = zip(log.time_s, log.voltage_v, log.current_a, strict=True)
    return "time_s,voltage_v,current_a\n" + "".join(f"{s:.0f},{v:.4f},{a:.2f}\n" for s, v, a in rows)


def test_a_log_that_begins_with_the_discharge_tells_one_story(sodium: Client) -> None:
    """The headline, the table of cycles and what a bank is offered speak of the same two numbers."""
    address = read_so(sodium, first_drawn_then_charged(), chemistry="lfp", label_ah="280")
    page = soup(sodium.get(address))
    words = " ".join(page.get_text(" ").split())
    rows = [[cell.get_text() for cell in row.find_all("td")] for row in page.select("table.cycles tbody tr")]
    drawn, put = rows[0][2], rows[1][0]
    assert drawn != "–"
    headline = page.h1.get_text()
    assert f"gave {float(drawn):.0f}\u00a0Ah, 103\u00a0% of its label, down to empty" in headline
    assert f"then took {float(put):.0f}\u00a0Ah" in headline
    assert "nothing was drawn" not in words
    assert f"Cycle 1 drew {drawn} Ah down to empty" in words
    assert f"Cycle 2 put {put} Ah back in" in words
    full = re.search(r"full charge by it is ([\d.]+) Ah", words)
    assert full is not None
    assert float(put) * 0.97 < float(full[1]) <= float(put)


def test_no_two_rows_of_the_curve_have_the_same_volts(sodium: Client) -> None:
    page = soup(sodium.get(read_so(sodium, first_drawn_then_charged(), chemistry="lfp", label_ah="280")))
    volts = [row.th.get_text() for row in page.select("table.curve tbody tr")]
    assert len(volts) > 5
    assert len(set(volts)) == len(volts)
