"""Names that are markup: shown as text on every page; none becomes an element or breaks an attribute."""

from __future__ import annotations

import html
import json
from collections.abc import Iterator
from typing import Any

import pytest
from bs4 import BeautifulSoup

from tests.conftest import Client
from tests.web.bringing import CELL_TESTS, LOG, RECORDS
from tests.web.conftest import Opener
from tests.web.fuzzing import CELLS, leave_untried, real_path, routes
from tests.web.meter_files import meter_csv
from tests.web.sun_files import kc_of_years, roof_log
from webapp.store import example_document

MARK = "x9q"
NAME = f"</script><img src={MARK} onerror=1>\"'&{MARK}<b>"


def named_so(value: Any) -> Any:
    """The same document with every name in it replaced."""
    if isinstance(value, dict):
        return {key: NAME if key == "name" and isinstance(one, str) else named_so(one) for key, one in value.items()}
    return [named_so(one) for one in value] if isinstance(value, list) else value


@pytest.fixture
def hostile(client_of: Opener) -> tuple[Client, list[str]]:
    document = named_so(example_document())
    document["note"] = NAME
    document["generators"] = [
        {"id": "genny", "name": NAME, "rated_w": 5000.0, "charger_w": 2500.0}
        | {"full_l_per_h": 2.0, "idle_l_per_h": 0.6, "start_soc": 0.3, "stop_soc": 0.8}
    ]
    client = client_of(document)
    file_name = NAME.replace("/", "")
    cells = CELLS.replace("Z", f"<b><img src={MARK}>Z")
    kept = [
        CELL_TESTS.read_so(client, cells, file_name, chemistry="lfp", label_ah="280"),
        RECORDS.read_so(client, roof_log(kc_of_years(1)), file_name),
        LOG.read_so(client, meter_csv(2).replace("PV", f"<b><img src={MARK}>PV"), file_name),
    ]
    leave_untried(client.app.app)
    return client, kept


def strings_of(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, (dict, list)):
        for one in value.values() if isinstance(value, dict) else value:
            yield from strings_of(one)


def faults_of(page: BeautifulSoup) -> Iterator[str]:
    """What of the name became more than text."""
    for element in page.find_all(True):
        for name, value in element.attrs.items():
            if MARK in name or name.startswith("on"):
                yield f"attribute {name} of {element.name}"
            if element.name == "img" and MARK in str(value):
                yield f"image {value}"
    for script in page.find_all("script"):
        if script.get("type") != "application/json" and f"<img src={MARK}" in script.get_text():
            yield "a script holds the name"


def drawn(page: BeautifulSoup) -> Iterator[str]:
    """Every text of a chart with the name in it."""
    for element in page.find_all(True):
        for name, value in element.attrs.items():
            if name.startswith("data-") and MARK in str(value) and str(value).lstrip()[:1] in "{[":
                yield from (one for one in strings_of(json.loads(str(value))) if MARK in one)
    for script in page.find_all("script", type="application/json"):
        yield from (one for one in strings_of(json.loads(script.get_text())) if MARK in one)


def test_a_name_of_markup_is_text_on_every_page(hostile: tuple[Client, list[str]]) -> None:
    client, kept = hostile
    paths = {real_path(path, kept) for method, path in routes(client.app.app.routes) if method == "GET"} - {""}
    shown, charts = 0, 0
    for path in sorted(paths):
        response = client.get(path)
        if "html" not in response.headers.get("Content-Type", ""):
            continue
        assert response.status_code < 500, path
        page = BeautifulSoup(response.text, "html.parser")  # which mends nothing
        assert list(faults_of(page)) == [], path
        shown += MARK in page.get_text()
        for text in drawn(page):
            charts += 1
            assert "<" not in text, (path, text)
            assert html.unescape(text).count(f"<img src={MARK}>") == 1, (path, text)
    assert shown > 15
    assert charts > 3, "no chart holds a name"
