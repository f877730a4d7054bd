"""What the pages of cell tests, of sun records and of a log do alike: refuse, keep, rename, delete and bring back."""

from __future__ import annotations

import inspect
import re
from datetime import timedelta
from typing import Any

import pytest
from bs4 import BeautifulSoup

from tests.conftest import Client, Clock, form_of, soup
from tests.web.bringing import CELL_TESTS, LOG, RECORDS, Pages, text_of
from tests.web.meter_files import meter_csv
from tests.web.sun_files import kc_of_years, roof_log
from webapp.pages import bench_plan, cell_test, cell_tests, log, log_file, record, records

CONTENT = {
    CELL_TESTS: "cell;Ah;mOhm\n" + "".join(f"Z{n};{230 + n * 7 % 11};0.2{n % 3}\n" for n in range(1, 17)),
    RECORDS: roof_log(kc_of_years(1)),
    LOG: meter_csv(2),
}
SHORT = {CELL_TESTS: "test", RECORDS: "record", LOG: "file"}
USED = (CELL_TESTS, RECORDS)
"""Those of which something is written into the household."""
of_every_kind = pytest.mark.parametrize("pages", CONTENT, ids=lambda pages: pages.path.strip("/"))

REFUSED = {
    "empty": (b"", "empty"),
    "binary": (bytes(range(256)) * 40, "not a text file"),
    "workbook": (b"PK\x03\x04" + b"\0" * 500, "save it as CSV"),
    "no numbers": (b"one,two\nthree,four\nfive,six\n", "no rows of numbers"),
}


@of_every_kind
@pytest.mark.parametrize("kind", REFUSED)
def test_what_cannot_be_read_gets_one_sentence_on_the_same_page_and_changes_nothing(
    client: Client, pages: Pages, kind: str
) -> None:
    content, says = REFUSED[kind]
    before = pages.counted(client)
    response = pages.bring(client, content)
    page = soup(response)
    assert response.status_code == 422
    (line,) = page.select(".summary li")
    assert says in line.get_text()
    assert page.find(id="pasted")
    assert pages.counted(client) == before


@of_every_kind
def test_pasted_rows_are_kept_when_they_are_refused(client: Client, pages: Pages) -> None:
    response = client.post(pages.path, files={"pasted": (None, "no numbers here\nnor here\n"), "file": ("", b"")})
    field = soup(response).find(id="pasted")
    assert response.status_code == 422
    assert field is not None
    assert field.get_text().strip() == "no numbers here\nnor here"
    assert field["aria-invalid"] == "true"


@of_every_kind
def test_pasted_rows_are_read_as_a_file_is(client: Client, pages: Pages) -> None:
    response = client.post(pages.path, files={"pasted": (None, CONTENT[pages]), "file": ("", b"")})
    assert response.status_code == 303
    assert form_of(soup(client.get(response.headers["Location"])), "read-form")


@of_every_kind
@pytest.mark.parametrize(
    ("sent", "says"),
    [
        ({"pasted": (None, "  ")}, "Nothing was brought"),
        ({"pasted": (None, "1,2\n"), "file": ("a.csv", b"1,2\n")}, "bring one of the two"),
    ],
)
def test_nothing_or_two_things_brought(client: Client, pages: Pages, sent: dict[str, Any], says: str) -> None:
    response = client.post(pages.path, files=sent)
    assert response.status_code == 422
    assert says in soup(response).select_one(".summary").get_text()  # type: ignore[union-attr]


@of_every_kind
def test_a_body_that_is_no_upload_is_refused_unread(client: Client, pages: Pages) -> None:
    before = pages.counted(client)
    for kind in ("application/x-www-form-urlencoded", "text/csv", "multipart/form-dat"):
        response = client.post(pages.path, headers={"Content-Type": kind}, content=b"pasted=" + b"1%2C2%0A" * 1000)
        assert response.status_code == 415
        assert "A file is sent as multipart/form-data" in text_of(soup(response))
    assert pages.counted(client) == before


@of_every_kind
def test_rename_delete_and_bring_back(client: Client, pages: Pages) -> None:
    address = pages.read_so(client, CONTENT[pages])
    assert client.post(f"{address}/rename", {"name": "Shelf of sixteen"}).status_code == 303
    refused = client.post(f"{address}/rename", {"name": " "})
    assert refused.status_code == 422
    assert "1 to 80 characters" in refused.text
    assert "Shelf of sixteen" in text_of(soup(client.get(pages.path)))
    assert client.post(f"{address}/delete", {}).headers["Location"] == f"{pages.path}#deleted"
    gone = soup(client.get(pages.path))
    undo = re.compile(f"^Undo deleting Shelf of sixteen, {SHORT[pages]} 1, brought ")
    assert gone.find("button", attrs={"aria-label": undo})
    assert client.post(f"{address}/undelete", {}).headers["Location"] == address
    assert soup(client.get(pages.path)).select(f'a[href="{address}"]')


def _bring_form(page: BeautifulSoup) -> dict[str, str]:
    """The hidden fields of the form that brings a file."""
    form = page.find("form", enctype="multipart/form-data")
    assert form is not None
    return {str(one["name"]): str(one["value"]) for one in form.find_all("input", type="hidden")}


@of_every_kind
@pytest.mark.parametrize("as_file", [True, False], ids=["file", "pasted"])
def test_a_page_left_open_brings_nothing_into_another_household(client: Client, pages: Pages, as_file: bool) -> None:
    opened = _bring_form(soup(client.get(pages.path)))
    assert client.post("/files/duplicate", {"household": "1"}).status_code == 303
    before = pages.counted(client)
    brought = {"file": ("brought.csv", CONTENT[pages]), "pasted": (None, "")}
    pasted = {"file": ("", b""), "pasted": (None, CONTENT[pages])}
    texts = {name: (None, text) for name, text in opened.items()}
    answer = client.post(pages.path, files=(brought if as_file else pasted) | texts)
    assert answer.status_code == 422
    assert "“Test croft (copy)” was opened elsewhere after this page" in text_of(soup(answer))
    assert pages.counted(client) == before
    if not as_file:
        area = soup(answer).find("textarea", id="pasted")
        assert area is not None
        assert area.get_text().strip() == CONTENT[pages].strip()
    again = {name: (None, text) for name, text in _bring_form(soup(answer)).items()}
    assert client.post(pages.path, files=brought | again).status_code == 303


def _hidden(client: Client, path: str, action: str) -> dict[str, str]:
    """What a button of a page sends."""
    form = soup(client.get(path)).find("form", action=action)
    assert form is not None
    return {str(one["name"]): str(one["value"]) for one in form.find_all("input", type="hidden")}


@pytest.mark.parametrize(
    ("page", "action", "table"),
    [
        ("/cell-tests", "/cell-tests/example", "cell_tests"),
        ("/log", "/log/example", "meter_files"),
        ("/cell-tests/plan", "/cell-tests/plan/keep", "bench_plans"),
        ("/cell-tests/plan", "/cell-tests/plan/drop", "bench_plans"),
    ],
)
def test_a_button_of_a_page_left_open_keeps_nothing_in_another_household(
    client: Client, page: str, action: str, table: str
) -> None:
    def count() -> int:
        found: int = client.store.rows(f"SELECT count(*) AS n FROM {table}")[0]["n"]
        return found

    if action.endswith("drop"):
        assert client.post("/cell-tests/plan/keep", _hidden(client, page, "/cell-tests/plan/keep")).status_code == 303
    opened, before = _hidden(client, page, action), count()
    client.post("/files/duplicate", {"household": "1"})
    refused = client.post(action, opened)
    assert refused.status_code == 422
    assert "was opened elsewhere after this page" in refused.text
    assert count() == before
    client.post("/files/open", {"household": "1"})
    assert client.post(action, opened).status_code == 303
    assert count() == before + (-1 if action.endswith("drop") else 1)


@of_every_kind
def test_a_file_belongs_to_its_household(client: Client, pages: Pages) -> None:
    address = pages.read_so(client, CONTENT[pages])
    client.post("/files/new", {})
    for path in (address, f"{address}.json", f"{pages.path}/99"):
        response = client.get(path)
        assert response.status_code == 404
        assert "in this household; it may be long deleted" in response.text
    for act in ("read", "rename", "delete", "undelete", "use"):
        assert client.post(f"{address}/{act}", {"kind": "cells", "name": "mine"}).status_code == 404
    assert not soup(client.get(pages.path)).select(f'a[href="{address}"]')


@of_every_kind
def test_what_was_never_accepted_or_is_deleted_tells_nothing_and_changes_nothing(client: Client, pages: Pages) -> None:
    draft = pages.draft_at(client, CONTENT[pages])
    before, use = client.document(), {"revision": "1", "bank": "store", "use": "clear_day"}

    def all_refused(address: str, says: str) -> None:
        for response in (
            client.get(f"{address}.json"),
            client.post(f"{address}/rename", {"name": "other"}),
            *([client.post(f"{address}/use", use)] if pages in USED else []),
        ):
            assert response.status_code == 404
            assert says in response.text
        assert client.document() == before

    all_refused(draft, "is not read yet")
    assert soup(client.get(draft)).find(id="read-form")
    read = pages.read_so(client, CONTENT[pages])
    for address in (draft, read):
        client.post(f"{address}/delete", {})
        all_refused(address, "is deleted; bring it back from the list of")
    assert client.get(draft).status_code == client.get(f"{read}?read").status_code == 404
    assert client.post(f"{draft}/read", {"act": "read", "kind": "cells"}).status_code == 404
    assert not soup(client.get(read)).select("#use form")
    client.post(f"{draft}/undelete", {})
    assert soup(client.get(draft)).find(id="read-form")


@of_every_kind
def test_a_draft_of_yesterday_is_gone(client: Client, clock: Clock, pages: Pages) -> None:
    address = pages.draft_at(client, CONTENT[pages])
    clock.now += timedelta(hours=25)
    pages.draft_at(client, CONTENT[pages])
    assert client.get(address).status_code == 404


@of_every_kind
@pytest.mark.parametrize("number", ["9" * 5000, "9" * 25, "%C2%B2"])
def test_an_endless_number_is_no_address(client: Client, pages: Pages, number: str) -> None:
    for path in (number, f"{number}.json", f"{number}.csv"):
        assert client.get(f"{pages.path}/{path}").status_code == 404
    assert client.post(f"{pages.path}/{number}/delete").status_code == 404


def test_files_are_taken_apart_off_the_event_loop() -> None:
    for page in (cell_tests, cell_test, bench_plan, records, record, log, log_file):
        for route in page.router.routes:
            if hasattr(route, "endpoint"):
                assert not inspect.iscoroutinefunction(route.endpoint), route
