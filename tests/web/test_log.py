"""The log of a house's own meter: brought, looked over, read, joined, refused, deleted and brought back."""

from __future__ import annotations

import csv
import io
import re
import threading
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from engine.meter.clock import standard_offset_h
from engine.meter.log import MeterLog, joined
from engine.meter.reading import guess, read
from tests.conftest import Client, form_of, soup
from tests.web.bringing import LOG, text_of
from tests.web.meter_files import A_DAY, BEGIN, meter_csv, on_the_wall, table
from webapp import meter_store
from webapp.downloads import BYTE_ORDER_MARK
from webapp.log_charts import kwh_figure
from webapp.log_days import days_of
from webapp.pages import log_file

HTMX = {"HX-Request": "true", "HX-Request-Type": "partial"}
LONG_S = 60.0
HOUR = timedelta(hours=1)


def told(client: Client, address: str) -> str:
    """The words of a page, its narrow spaces as plain ones."""
    response = client.get(address)
    assert response.status_code == 200
    return text_of(soup(response)).replace("\u202f", " ")


def data(client: Client, address: str) -> Any:
    response = client.get(f"{address}.json")
    assert response.status_code == 200
    return response.json()


def errors_of(response: Any) -> dict[str, str]:
    """The sentences of the summary by the field they lead to, each said at the field as well."""
    page = soup(response)
    found = {}
    for line in page.select(".summary li"):
        link = line.find("a")
        name = str(link["href"])[1:] if link else ""
        found[name] = line.get_text()
        if name:
            assert page.find(id=f"{name}-error").get_text() == line.get_text()  # type: ignore[union-attr]
            assert page.find(id=name)["aria-invalid"] == "true"  # type: ignore[index]
    return found


def test_a_file_is_brought_looked_over_accepted_and_told(client: Client) -> None:
    before = client.document()
    address = LOG.draft_at(client, meter_csv(10), "shed.csv")
    draft = told(client, address)
    assert "Each column has our guess beside it" in draft
    assert "“Load total [kWh]” never falls: is it a total that counts up all the time?" in draft
    assert "begin at 15 Jan 2024, 00:00, one in 5 minutes, and hold yield, load at the sockets and volts" in draft
    sent = form_of(soup(client.get(address)), "read-form")
    assert sent["column_2"] == "load:kWh"
    assert sent["totals.load"] == "ever"
    assert client.get(f"{address}.json").status_code == 404
    assert data(client, "/log")["rows"] == 0
    assert client.post(f"{address}/read", sent | {"act": "read"}).headers["Location"] == address
    page = told(client, address)
    assert "10 days of yield, load at the sockets and volts of the bank, from 15 Jan 2024 to 24 Jan 2024." in page
    assert "All of its 2 880 rows are new." in page
    assert "Without rows between nothing" in page
    found = data(client, address)
    # 500 W all day are 12 kWh; half a sine of 3 kW over twelve hours is 3 kW x 12 h x 2/pi.
    assert found["kwh"]["load"] == pytest.approx([12.0] * 10)
    assert found["kwh"]["yield"] == pytest.approx([36.0 * 2.0 / np.pi] * 10, rel=1e-3)
    assert found["dates"][0] == "2024-01-15"
    assert data(client, "/log")["kwh"] == found["kwh"]
    assert "229 (10 days) 120 (10 days)" in page
    assert client.document() == before


def test_the_table_to_save_holds_the_days_that_are_told(client: Client) -> None:
    address = LOG.read_so(client, meter_csv(3))
    for path in (address, "/log"):
        response = client.get(f"{path}.csv")
        header, *rows = csv.reader(io.StringIO(response.text.removeprefix(BYTE_ORDER_MARK)))
        assert header == ["date", "yield kWh", "load at the sockets kWh"]
        assert [row[0] for row in rows] == ["2024-01-15", "2024-01-16", "2024-01-17"]
        assert [float(row[2]) for row in rows] == data(client, path)["kwh"]["load"]


def test_semicolons_and_decimal_commas(client: Client) -> None:
    plain = LOG.read_so(client, meter_csv(2), "plain.csv")
    other = LOG.read_so(client, meter_csv(2, sep=";"), "other.csv")
    assert data(client, other)["kwh"] == data(client, plain)["kwh"]
    assert data(client, other)["begin_s"] == data(client, plain)["begin_s"] == BEGIN.replace(tzinfo=UTC).timestamp()


def test_a_counter_that_was_set_back_is_said_and_nothing_of_it_is_lost(client: Client) -> None:
    address = LOG.read_so(client, meter_csv(4, reset=500))
    (said,) = data(client, address)["findings"]
    assert (said["level"], said["code"]) == ("check", "counter_reset")
    assert "“Load total [kWh]” was set back once" in told(client, address)
    # The row in which it was set back: its new reading, 0 kWh, is what is known to have come since.
    assert sum(data(client, address)["kwh"]["load"]) == pytest.approx(48.0 - 500.0 / 12e3, abs=1e-6)


def test_a_file_that_reaches_over_another_adds_only_what_is_new(client: Client) -> None:
    first = LOG.read_so(client, meter_csv(20), "January.csv")
    second = LOG.read_so(client, meter_csv(35, first=15 * A_DAY), "February.csv")
    assert "It adds 8 640 rows; 1 440 were there already." in told(client, second)
    assert "All of its 5 760 rows are new." in told(client, first)
    assert (data(client, first)["added"], data(client, second)["added"]) == (5760, 8640)
    whole = data(client, "/log")
    assert whole["rows"] == 50 * A_DAY == 5760 + 8640
    assert whole["gaps"] == []
    assert whole["kwh"]["load"] == pytest.approx([12.0] * 50)
    again = LOG.read_so(client, meter_csv(2), "again.csv")
    assert "It adds no row: all 576 were there already" in told(client, again)
    assert data(client, "/log")["kwh"] == whole["kwh"]


def test_a_day_half_over_in_the_first_file_is_whole_with_the_second(client: Client) -> None:
    files = [(range(1, 16), {15: 2.3}), (range(5, 29), {15: 8.0})]
    for days, own in files:
        columns = ([f"2026-06-{n:02}" for n in days], [f"{own.get(n, 10.0)}" for n in days])
        address = LOG.read_so(client, table(("Date", "PV [kWh]"), columns), f"to {days[-1]} June.csv")
    assert "It adds 13 rows; 11 were there already." in told(client, address)
    assert data(client, "/log")["kwh"]["yield"] == pytest.approx([10.0] * 14 + [8.0] + [10.0] * 13)


def test_what_a_person_chose_is_remembered_for_the_next_file_of_the_same_columns(client: Client) -> None:
    chosen = {"column_1": "load:W", "column_2": "generator:kWh", "column_3": "", "totals.generator": "ever"}
    chosen |= {"ends": "end", "clock": "standard"}
    LOG.read_so(client, meter_csv(2), "first.csv", **chosen)
    address = LOG.draft_at(client, meter_csv(2, first=2 * A_DAY), "next.csv")
    page = soup(client.get(address))
    assert "Read as “first” was, because its columns have the same names." in text_of(page)
    assert not page.select(".note.check")
    sent = form_of(page, "read-form")
    assert {name: sent[name] for name in chosen} == chosen
    assert client.post(f"{address}/read", sent | {"act": "read"}).status_code == 303
    assert data(client, address)["known"] == ["load_w", "generator_w"]
    other = LOG.draft_at(client, meter_csv(2).replace("Battery", "Bank"))
    assert "Each column has our guess beside it" in told(client, other)
    unfit = LOG.draft_at(client, re.sub(r"(\d{4})-(\d\d)-(\d\d)", r"\3.\2.\1", meter_csv(2)))
    assert "Each column has our guess beside it" in told(client, unfit)


def test_load_at_the_battery_side_stays_there(client: Client) -> None:
    volts = np.full(A_DAY, 50.0)
    columns = ([f"{BEGIN:%Y-%m-%d} {n // 12:02d}:{n % 12 * 5:02d}" for n in range(A_DAY)], ["10.0"] * A_DAY, volts)
    content = table(("Time", "DC load [A]", "Battery [V]"), (columns[0], columns[1], [f"{v}" for v in volts]))
    address = LOG.draft_at(client, content)
    sent = form_of(soup(client.get(address)), "read-form")
    assert sent["column_1"] == "load_dc:A"
    assert client.post(f"{address}/read", sent | {"act": "read"}).status_code == 303
    assert "load at the battery side and volts of the bank" in told(client, address)
    assert data(client, address)["kwh"] == {"load_dc": [pytest.approx(10.0 * 50.0 * 24.0 / 1000.0)]}


def test_the_hour_that_comes_twice_is_counted_twice(client: Client) -> None:
    rows = 3 * A_DAY
    times = on_the_wall(datetime(2024, 10, 26, tzinfo=UTC), rows, "Europe/Dublin")
    assert len(set(times)) == rows - 12
    address = LOG.read_so(client, table(("Time", "Load [W]"), (times, ["1000"] * rows)))
    found = data(client, address)
    assert found["rows"] == rows
    assert [one["code"] for one in found["findings"]] == ["doubled_hour"]
    assert found["end_s"] - found["begin_s"] == 3 * 86400.0
    assert "The clock went back in autumn" in told(client, address)


def test_the_bank_is_told_in_both_directions_with_the_charge_that_was_shown(client: Client) -> None:
    times = [f"{BEGIN:%Y-%m-%d} {n // 12:02d}:{n % 12 * 5:02d}" for n in range(A_DAY)]
    flow = np.where(np.arange(A_DAY) % 2, 300.0, -100.0)
    columns = (times, [f"{one}" for one in flow], [f"{40 + n / 12.0:.1f}" for n in range(A_DAY)])
    address = LOG.draft_at(client, table(("Time", "Bank power [W]", "SOC [%]"), columns))
    page = soup(client.get(address))
    assert "is a positive number charging or discharging?" in text_of(page)
    sent = form_of(page, "read-form") | {"act": "read", "signs.bank": "discharging"}
    assert client.post(f"{address}/read", sent).status_code == 303
    found = data(client, address)
    # Every other row: 300 W and 100 W, half of a day each.
    assert found["kwh"] == {"bank_in": [pytest.approx(1.2)], "bank_out": [pytest.approx(3.6)]}
    hours = [np.mean([40 + (12 * hour + n) / 12.0 for n in range(12)]) for hour in range(24)]
    assert found["charge"]["lowest"] == [pytest.approx(min(hours) / 100.0, abs=1e-3)]
    assert found["charge"]["highest"] == [pytest.approx(max(hours) / 100.0, abs=1e-3)]
    assert soup(client.get(address)).select("#charge-plot[data-figure]")


def test_a_refused_choice_stays_as_chosen_with_its_sentence_and_changes_nothing(client: Client) -> None:
    address = LOG.draft_at(client, meter_csv(2))
    usual = form_of(soup(client.get(address)), "read-form") | {"act": "read"}
    before = LOG.counted(client)
    for change, field, says in (
        ({"column_3": "load:W"}, "column_3", "Another column is read as this already"),
        ({"utc_offset_h": "19"}, "utc_offset_h", "14"),
        ({"column_1": "yield:A", "column_3": ""}, "", "volts of the bank are needed"),
        ({"column_0": "date:d.m.y"}, "column_0", "no date that can be read"),
        ({"column_0": ""}, "", "Date has no column yet"),
        ({"column_1": "", "column_2": "", "column_3": ""}, "", "choose yield, load or the bank"),
        ({"column_3": "bank_in:W"}, "", "one way of the bank without the other"),
        ({"column_3": "volts:W"}, "column_3", "Volts of the bank must be in one of V, mV"),
        ({"totals.load": "weekly"}, "totals.load", "cannot be “weekly”"),
    ):
        response = client.post(f"{address}/read", usual | change)
        assert response.status_code == 422, change
        errors = errors_of(response)
        assert says in errors[field], (change, errors)
        again = form_of(soup(response), "read-form")
        for name, text in change.items():
            if text not in ("weekly", "volts:W"):
                assert again[name] == text, change
        assert LOG.counted(client) == before
    assert data(client, "/log")["rows"] == 0


def test_reading_again_as_it_cannot_be_leaves_the_log_as_it_is(client: Client) -> None:
    address = LOG.read_so(client, meter_csv(2))
    before = data(client, address)
    sent = form_of(soup(client.get(f"{address}?read")), "read-form") | {"act": "read", "column_0": "date:m/d/y"}
    assert client.post(f"{address}/read", sent).status_code == 422
    assert data(client, address) == before == data(client, address)
    assert client.post(f"{address}/read", sent | {"column_0": "date:y-m-d", "column_1": ""}).status_code == 303
    assert data(client, address)["known"] == ["load_w", "bank_v"]
    assert "yield" not in data(client, "/log")["kwh"]


def test_an_energy_chosen_anew_is_asked_about_before_it_is_read(client: Client) -> None:
    content = meter_csv(3).replace("Load total [kWh]", "x17")
    address = LOG.draft_at(client, content)
    sent = form_of(soup(client.get(address)), "read-form") | {"act": "read", "column_2": "load:kWh"}
    assert "totals.load" not in sent
    response = client.post(f"{address}/read", sent)
    assert response.status_code == 200
    assert "“x17” never falls: is it a total that counts up all the time?" in text_of(soup(response))
    seen = form_of(soup(response), "read-form")
    assert seen["totals.load"] == "ever"
    assert client.post(f"{address}/read", seen | {"act": "read"}).status_code == 303
    assert data(client, address)["kwh"]["load"] == pytest.approx([12.0] * 3)


def test_what_is_missing_between_is_said_and_a_day_without_rows_is_unknown(client: Client) -> None:
    lines = meter_csv(5).splitlines()
    content = "\n".join([*lines[: 1 + 2 * A_DAY], *lines[1 + 3 * A_DAY :]]) + "\n"
    address = LOG.read_so(client, content)
    assert "Without rows between 1 gap of 24 h from 17 Jan 2024, 00:00" in told(client, address)
    found = data(client, address)
    assert found["kwh"]["yield"][2] is None
    assert found["gaps"] == [{"begin_s": datetime(2024, 1, 17, tzinfo=UTC).timestamp(), "length_h": 24.0}]
    assert "(4 days)" in told(client, address)


def test_a_deleted_file_takes_its_rows_out_of_the_log_until_it_is_brought_back(client: Client) -> None:
    first = LOG.read_so(client, meter_csv(2), "one.csv")
    LOG.read_so(client, meter_csv(3, first=A_DAY), "two.csv")
    before = client.get("/log.json").text
    client.post(f"{first}/delete", {})
    assert data(client, "/log")["rows"] == 3 * A_DAY
    assert "It is deleted and counts for nothing" in told(client, first)
    client.post(f"{first}/undelete", {})
    assert client.get("/log.json").text == before


def test_a_house_that_moved_is_told_by_which_clock_a_file_was_read(client: Client) -> None:
    address = LOG.read_so(client, meter_csv(2))
    document = client.document()
    document["site"]["time_zone"] = "Europe/Helsinki"
    saved = client.store.current()
    client.store.save(saved.household_id, saved.revision, document, "moved")
    assert "read by the clock of Europe/Dublin; the house’s is now that of Europe/Helsinki" in told(client, address)
    assert client.get("/log.json").json()["begin_s"] == BEGIN.replace(tzinfo=UTC).timestamp()


def test_everything_as_one_file_brings_files_and_rows_back(client: Client) -> None:
    address = LOG.read_so(client, meter_csv(2), "one.csv")
    before = client.get("/log.json").text
    file = client.get("/files/everything.sqlite3").content
    LOG.read_so(client, meter_csv(4), "two.csv")
    client.post(f"{address}/delete", {})
    answer = client.request("POST", "/files/everything", files={"file": ("all.sqlite3", file)})
    assert answer.status_code == 303
    assert client.get("/log.json").text == before
    assert "All of its 576 rows are new." in told(client, address)


def test_a_deleted_household_comes_back_with_its_log(client: Client) -> None:
    LOG.read_so(client, meter_csv(2))
    before, own = client.get("/log.json").text, client.store.current().household_id
    client.post("/files/new", {})
    assert data(client, "/log")["rows"] == 0
    client.store.delete(own)
    client.store.open(client.store.undelete(own).household_id)
    assert client.get("/log.json").text == before


# -- long files, beside the pages


@pytest.fixture
def held(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Event]:
    """Every file is a long one, and its reading stands still before it begins until it is let go."""
    go, plain = threading.Event(), log_file.taking

    def waiting(*asked: Any) -> Iterator[object]:
        assert go.wait(LONG_S)
        yield from plain(*asked)

    monkeypatch.setattr(log_file, "AT_ONCE_BYTES", 0)
    monkeypatch.setattr(log_file, "taking", waiting)
    yield go
    go.set()


def begun(client: Client, **choices: str) -> tuple[str, str]:
    """A file whose reading was begun: its address, and that of its progress."""
    address = LOG.draft_at(client, meter_csv(2))
    sent = form_of(soup(client.get(address)), "read-form") | choices | {"act": "read"}
    where = client.post(f"{address}/read", sent).headers["Location"]
    assert where.startswith(f"{address}/reading?")
    return address, where


def ended(client: Client) -> None:
    """Wait for what is read beside the pages."""
    jobs = client.app.app.state.jobs
    for job in list(jobs._jobs.values()):
        jobs.wait(job, LONG_S)
        assert job.done


def test_a_long_file_is_read_beside_the_pages_and_its_progress_shown(client: Client, held: threading.Event) -> None:
    address, where = begun(client)
    page = soup(client.get(where))
    assert page.find("progress")["value"] == "0"  # type: ignore[index]
    assert page.select_one(f'a[href="{where}"]').get_text() == "Look again"  # type: ignore[union-attr]
    assert page.select_one("[hx-get]")["hx-get"] == where  # type: ignore[index]
    part = client.get(where, headers=HTMX)
    assert part.text.lstrip().startswith('<div id="reading"')
    assert told(client, "/today")
    assert not LOG.files.accepted(client.store, client.store.current().household_id)
    held.set()
    ended(client)
    part = client.get(where, headers=HTMX)
    assert (part.status_code, part.headers["HX-Redirect"]) == (200, where)
    assert client.get(where).headers["Location"] == address
    assert "All of its 576 rows are new." in told(client, address)


def test_a_long_file_that_cannot_be_read_comes_back_as_it_was_chosen(client: Client, held: threading.Event) -> None:
    held.set()
    address, where = begun(client, column_0="date:m/d/y")
    ended(client)
    before = LOG.counted(client)
    response = client.get(where)
    assert response.status_code == 422
    assert "no date that can be read" in errors_of(response)["column_0"]
    assert form_of(soup(response), "read-form")["column_0"] == "date:m/d/y"
    assert LOG.counted(client) == before
    assert soup(client.get(address)).find(id="read-form")


def test_a_reading_that_nobody_knows_of_comes_back_as_it_was_chosen(client: Client) -> None:
    address = LOG.draft_at(client, meter_csv(2))
    assert client.get(f"{address}/reading").headers["Location"] == address
    response = client.get(f"{address}/reading?column_0=date:y-m-d&column_1=load:W&ends=end")
    assert response.status_code == 422
    assert errors_of(response)[""] == log_file.LEFT_OFF
    sent = form_of(soup(response), "read-form")
    assert (sent["column_1"], sent["ends"]) == ("load:W", "end")


def test_the_same_choices_read_a_file_again(client: Client, held: threading.Event) -> None:
    held.set()
    address, where = begun(client)
    ended(client)
    store = client.store
    one_row = meter_store.rows(store, 1).between(0.0, BEGIN.replace(tzinfo=UTC).timestamp() + 1)
    kept = meter_store.find(store, store.current().household_id, 1)
    meter_store.accept(store, kept.id, kept.kind, kept.choices, one_row)
    assert data(client, "/log")["rows"] == 1
    sent = form_of(soup(client.get(f"{address}?read")), "read-form") | {"act": "read"}
    assert client.post(f"{address}/read", sent).headers["Location"] == where
    ended(client)
    assert data(client, "/log")["rows"] == 576


def test_a_file_of_volts_alone_has_days_but_no_energies(client: Client) -> None:
    lines = [f"{time:%Y-%m-%d %H:%M}" for time in (BEGIN + HOUR * n for n in range(48))]
    address = LOG.read_so(client, table(("Time", "Battery [V]"), (lines, ["51.2"] * 48)))
    assert "2 days of volts of the bank, from 15 Jan 2024 to 16 Jan 2024." in told(client, address)
    told(client, "/log")
    told(client, "/log/compared")
    assert data(client, "/log")["dates"] == ["2024-01-15", "2024-01-16"]


def hourly(first: datetime, hours: int, watts: float = 1000.0) -> MeterLog:
    """A log of a steady load from a moment on, hour by hour."""
    start_s = first.timestamp() + 3600.0 * np.arange(hours)
    return MeterLog(start_s=start_s, step_s=np.full(hours, 3600.0), values={"load_w": np.full(hours, watts)})


def test_days_are_cut_by_the_clock_on_the_wall() -> None:
    """Nine summer days of Auckland, whose standard time is an hour behind: nine days of 24 kWh, not ten."""
    zone = ZoneInfo("Pacific/Auckland")
    days = days_of(hourly(datetime(2026, 11, 18, tzinfo=zone), 216), 12.0, zone, 3)
    assert (len(days.dates), str(days.dates[0]), str(days.dates[-1])) == (9, "2026-11-18", "2026-11-26")
    assert days.kwh["load_w"].tolist() == pytest.approx([24.0] * 9)


def test_the_days_on_which_the_clock_is_changed_keep_their_energy() -> None:
    """In Dublin 29 March 2026 has 23 hours and 25 October 25, at 1 kW."""
    zone = ZoneInfo("Europe/Dublin")
    for first, changed, kwh in (
        (date(2026, 3, 26), date(2026, 3, 29), 23.0),
        (date(2026, 10, 22), date(2026, 10, 25), 25.0),
    ):
        begin = datetime(first.year, first.month, first.day, tzinfo=zone)
        days = days_of(hourly(begin, round(24 * 6 + kwh)), 0.0, zone, 3)
        assert len(days.dates) == 7
        told = dict(zip(days.dates, days.kwh["load_w"].tolist(), strict=True))
        assert told.pop(changed) == pytest.approx(kwh)
        assert list(told.values()) == pytest.approx([24.0] * 6)


@pytest.mark.parametrize("zone", ["Europe/Berlin", "Europe/Dublin", "America/Denver", "Pacific/Auckland"])
@pytest.mark.parametrize("first", [date(2026, 6, 1), date(2026, 3, 1), date(2026, 10, 10), date(2026, 12, 20)])
def test_a_file_of_dates_shows_its_own_numbers_in_summer_and_as_the_clock_changes(zone: str, first: date) -> None:
    dates = [first + timedelta(days=n) for n in range(40)]
    kwh = [9.0, 10.0, 8.0, 9.0] * 10
    content = table(("Date", "PV [kWh]"), ([f"{one}" for one in dates], [f"{one}" for one in kwh])).encode()
    house = ZoneInfo(zone)
    log, _ = read(content, guess(content), house)
    days = days_of(log, standard_offset_h(house, 2026), house, 3)
    assert list(days.dates) == dates
    assert days.kwh["yield_w"].tolist() == pytest.approx(kwh)
    assert days.first.rows[0][0] == f"{first.day} {first:%b %Y}, 00:00"


def test_a_file_of_dates_is_told_from_midnight_to_midnight(client: Client) -> None:
    dates = [f"2026-06-{n:02}" for n in range(1, 29)]
    kwh = [9.0, 10.0, 8.0, 9.0] * 7
    content = table(("Date", "PV [kWh]"), (dates, [f"{one}" for one in kwh]))
    draft = LOG.draft_at(client, content)
    assert "its rows begin at 1 Jun 2026, 00:00" in told(client, draft)
    address = LOG.read_so(client, content, "again.csv")
    for path in (address, "/log"):
        assert "The first begins 1 Jun 2026, 00:00 The last ends 29 Jun 2026, 00:00" in told(client, path)
        assert data(client, path)["dates"] == dates
        assert data(client, path)["kwh"]["yield"] == pytest.approx(kwh)


def test_a_date_that_is_missing_is_said_from_its_own_midnight(client: Client) -> None:
    dates = [f"2026-06-{n:02}" for n in range(1, 29) if n not in (8, 9)]
    address = LOG.read_so(client, table(("Date", "PV [kWh]"), (dates, ["9", "10"] * 13)))
    page = told(client, address)
    assert "1 gap of 48 h from 8 Jun 2026, 00:00" in page
    assert "1 gap of 48.0 hours in all, first from 2026-06-08 00:00" in page


def test_dates_before_hours_in_one_log_keep_their_days() -> None:
    """Ten days of 12 kWh as dates, then five of 1 kW by the hour from the midnight on the wall."""
    zone = ZoneInfo("Europe/Berlin")
    start_s = datetime(2026, 6, 1, tzinfo=UTC).timestamp() - 3600.0 + 86400.0 * np.arange(10)
    dated = MeterLog(start_s=start_s, step_s=np.full(10, 86400.0), values={"load_w": np.full(10, 500.0)})
    whole, _ = joined(dated, hourly(datetime(2026, 6, 11, tzinfo=zone), 120))
    days = days_of(whole, 1.0, zone, 3)
    assert [str(days.dates[0]), str(days.dates[-1])] == ["2026-06-01", "2026-06-15"]
    # Of the last date one hour is cut off, which both files have, and taken as that hour of the days around.
    assert days.kwh["load_w"][:9].tolist() == pytest.approx([12.0] * 9)
    assert days.kwh["load_w"][9] == pytest.approx(12.0, abs=0.5)
    assert days.kwh["load_w"][11:].tolist() == pytest.approx([24.0] * 4)


def test_a_short_log_is_ticked_by_days_and_a_long_one_by_months() -> None:
    zone = ZoneInfo("UTC")
    for count, ticks in ((9, "%-d %b"), (200, "%b %y")):
        figure = kwh_figure(days_of(hourly(datetime(2026, 3, 1, tzinfo=zone), 24 * count), 0.0, zone, 3), slice(None))
        assert figure is not None
        assert figure["narrow"]["xaxis"]["tickformat"] == ticks
