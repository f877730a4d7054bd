"""Fixtures: a household of a few things, the app over a temporary folder, and a client for it.

The client is synchronous over httpx's ASGI transport, which runs in a loop of its own thread: the
browser tests' Playwright keeps a loop in the main thread, where no second one may run.
"""

from __future__ import annotations

import copy
import gc
import json
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
from anyio.from_thread import start_blocking_portal
from bs4 import BeautifulSoup
from hypothesis import settings

from webapp.app import create_app

settings.register_profile("same", derandomize=True)
settings.register_profile("new", derandomize=False)
settings.load_profile("same")  # a change is judged by the cases that were there before it; new ones are sought by hand

NOW = datetime(2026, 11, 25, 17, 30, tzinfo=UTC)
ORIGIN = "http://127.0.0.1:8437"
SMALL_HOUSE: dict[str, Any] = {
    "format": 1,
    "name": "Test croft",
    "note": "",
    "example": False,
    "site": {"latitude_deg": 52.1, "longitude_deg": -9.9, "time_zone": "Europe/Dublin", "climate": "oceanic_west"},
    "sun": {"arrays": [{"id": "barn", "name": "Barn roof", "kwp": 6.2, "tilt_deg": 35.0, "azimuth_deg": 170.0}]},
    "inverters": [
        {
            "id": "main",
            "name": "Byre inverter",
            "dc_min_v": 42.0,
            "dc_max_v": 60.0,
            "restart_v": 48.0,
            "rated_w": 6000.0,
            "idle_w": 38.0,
            "k1": 0.02,
            "k2": 0.04,
        }
    ],
    "banks": [
        {
            "id": "store",
            "name": "Store-room bank",
            "chemistry": "lfp",
            "inverter": "main",
            "series": 16,
            "parallel": 2,
            "label_ah": 280.0,
            "cell_c": 12.0,
            "reserve_soc": 0.15,
            "board": {"cell_low_v": 2.6, "cell_high_v": 3.6, "charge_min_c": 2.0, "current_limit_a": 200.0},
        }
    ],
    "loads": [
        {"id": "cold", "name": "Cold room", "kind": "steady", "never_off": True, "values": {"power_w": 140.0}},
        {"id": "van", "name": "Works van", "kind": "car", "can_shed": True, "values": {"distance_km": 30.0}},
    ],
}


class Clock:
    """A clock that stands still until a test moves it."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        return self.now


class Client:
    """Asks the app as a browser on the same page would; never follows a redirect by itself.

    A browser on this machine, unless it is said from which address and with which page open it asks. One that a plain
    http address of a network gave a page to sends no Sec-Fetch-Site, only the Origin.
    """

    def __init__(self, app: Any, origin: str = ORIGIN, address: str = "127.0.0.1") -> None:
        self.app = app
        self._stack = ExitStack()
        self._portal = self._stack.enter_context(start_blocking_portal())
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False, client=(address, 50000))
        said = {"Sec-Fetch-Site": "same-origin"} if origin == ORIGIN else {"Origin": origin}
        self._http = httpx.AsyncClient(transport=transport, base_url=origin, headers=said)

    def request(self, method: str, path: str, **options: Any) -> httpx.Response:
        """Send one request."""

        async def send() -> httpx.Response:
            return await self._http.request(method, path, **options)

        return self._portal.call(send)

    def get(self, path: str, **options: Any) -> httpx.Response:
        """GET one page."""
        return self.request("GET", path, **options)

    def post(self, path: str, data: dict[str, Any] | None = None, **options: Any) -> httpx.Response:
        """POST one form."""
        return self.request("POST", path, data=data, **options)

    @property
    def store(self) -> Any:
        """The app's store."""
        return self.app.app.state.store

    def document(self) -> dict[str, Any]:
        """The open household as it is saved now."""
        document: dict[str, Any] = self.store.current().document
        return document

    def leave(self) -> None:
        """Stop the loop; the app stays open for others."""
        self._portal.call(self._http.aclose)
        self._stack.close()

    def close(self) -> None:
        """Stop the loop and close the store."""
        self.leave()
        self.app.close()


def pytest_collection() -> None:
    """Collect no garbage while all that tests are made of comes in: a third of the time of that."""
    gc.disable()


def pytest_collection_finish() -> None:
    """Collect garbage seldom, and never look again at all that is imported: a sixth of the time of tests of pages."""
    gc.enable()
    gc.set_threshold(100_000, 50, 50)
    gc.collect()
    gc.freeze()


def soup(response: httpx.Response) -> BeautifulSoup:
    """Parse the page of a response."""
    return BeautifulSoup(response.text, "lxml")


def chosen(select: Any) -> str:
    """Return what a browser would send for a list where nothing is chosen anew."""
    option = select.find("option", selected=True) or select.find("option")
    return "" if option is None else str(option.get("value", option.get_text(strip=True)))


def form_of(page: BeautifulSoup, form_id: str) -> dict[str, str]:
    """Return what the browser would send for a form if nothing were changed."""
    form = page.find("form", id=form_id)
    assert form is not None, form_id
    sent: dict[str, str] = {}
    for control in form.find_all(["input", "select"]):
        name = control.get("name")
        if control.name == "select":
            sent[name] = chosen(control)
        elif control.get("type") != "checkbox":
            sent[name] = control.get("value", "")
        elif control.has_attr("checked"):
            sent[name] = f"{sent[name]},{control['value']}" if name in sent else control["value"]
    return sent


@pytest.fixture
def clock() -> Clock:
    """The app's clock."""
    return Clock()


@pytest.fixture
def small_house() -> dict[str, Any]:
    """A household document of its own for the test to change."""
    return copy.deepcopy(SMALL_HOUSE)


@pytest.fixture
def house_file(tmp_path: Path, small_house: dict[str, Any]) -> Path:
    """The small household as a file."""
    path = tmp_path / "croft.json"
    path.write_text(json.dumps(small_house), encoding="utf-8")
    return path


@pytest.fixture
def client(tmp_path: Path, house_file: Path, clock: Clock) -> Iterator[Client]:
    """A client of the app with the small household open."""
    one = Client(create_app(tmp_path / "data", house_file, clock))
    yield one
    one.close()


@pytest.fixture
def example(tmp_path: Path, clock: Clock) -> Iterator[Client]:
    """The app as at first start, with the example open."""
    one = Client(create_app(tmp_path, clock=clock))
    yield one
    one.close()
