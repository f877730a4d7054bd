"""Every table for a spreadsheet: no typed text is run as a formula, numbers stay numbers, and names come back."""

from __future__ import annotations

import csv
import io
import json

import pytest

from engine.bench import files
from tests.conftest import Client
from tests.web.bringing import CELL_TESTS, LOG, RECORDS
from tests.web.conftest import Opener
from tests.web.fuzzing import CELLS, real_path, routes
from tests.web.meter_files import meter_csv
from tests.web.sun_files import kc_of_years, roof_log
from tests.web.test_escaping import strings_of
from webapp.downloads import BYTE_ORDER_MARK, FORMULA_SIGNS, csv_text
from webapp.pages.cell_tests import PAGE
from webapp.store import example_document

SIGNS = ("=", "+", "-", "@")
FORMULA = "1+cmd|' /C calc'!A0"


def is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def tables(client: Client, kept: list[str]) -> dict[str, list[list[str]]]:
    """Every table that the app offers, by its address."""
    found = {}
    for method, path in routes(client.app.app.routes):
        if method == "GET" and path.endswith(".csv"):
            real = real_path(path, kept)
            response = client.get(real)
            assert response.status_code == 200, real
            found[real] = list(csv.reader(io.StringIO(response.text.removeprefix(BYTE_ORDER_MARK))))
    return found


@pytest.mark.parametrize("sign", SIGNS)
def test_no_table_holds_what_a_spreadsheet_runs(client_of: Opener, sign: str) -> None:
    document = example_document()
    for part in ("banks", "inverters", "loads"):
        for one in document[part]:
            one["name"] = sign + FORMULA
    client = client_of(document)
    cells = CELLS.replace("Z", f"{sign}Z")
    kept = [
        CELL_TESTS.read_so(client, cells, f"{sign}x.csv", chemistry="lfp", label_ah="280"),
        RECORDS.read_so(client, roof_log(kc_of_years(1)), f"{sign}x.csv"),
        LOG.read_so(client, meter_csv(2), f"{sign}x.csv"),
    ]
    found = tables(client, kept)
    assert {f"{kept[0]}.csv", f"{kept[2]}.csv", "/log.csv", "/charge.csv"} <= found.keys()
    for path, rows in found.items():
        if path == f"{PAGE.path}/example.csv":
            continue
        for cell in (cell for row in rows for cell in row):
            assert is_number(cell) or not cell.lstrip(" ").startswith(FORMULA_SIGNS), (path, cell)
    assert any(cell.startswith(f"'{sign}Z") for row in found[f"{kept[0]}.csv"] for cell in row)


def test_numbers_stay_numbers() -> None:
    text = csv_text(["a", "b"], [[-0.5, -3], [1e-9, None]])
    assert list(csv.reader(io.StringIO(text.removeprefix(BYTE_ORDER_MARK)))) == [
        ["a", "b"],
        ["-0.5", "-3"],
        ["1e-09", ""],
    ]


@pytest.mark.parametrize("sign", SIGNS)
def test_names_of_cells_come_back_from_a_table_as_they_were(sign: str) -> None:
    names = [f"{sign}Z{n}" for n in range(8)] + ["'quoted", "plain"]
    content = csv_text(["cell", "Ah"], [[name, 230.5 + n] for n, name in enumerate(names)]).encode()
    assert [cell.name for cell in files.read_cells(content, files.guess(content))] == names


def test_a_household_comes_back_from_its_file_as_it_was(client_of: Opener) -> None:
    document = example_document()
    for n, part in enumerate(("banks", "inverters", "loads")):
        for one in document[part]:
            one["name"] = SIGNS[n] + FORMULA
    document["name"] = "=1+1"
    client = client_of(document)
    before = client.document()
    content = client.get("/files/household.json").content
    assert client.post("/files/upload", files={"file": ("=x.json", content)}).status_code == 303
    after = client.document()
    assert after | {"name": ""} == before | {"name": ""}
    assert after["name"] == "=1+1 (2)"
    assert json.loads(content) == before
    assert "=1+1" in strings_of(before)
