"""Who may ask, and what every response carries."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import anyio
import pytest
from anyio.from_thread import start_blocking_portal

from tests.conftest import Client, Clock, soup
from webapp.app import create_app
from webapp.guard import MAX_BODY_BYTES
from webapp.slow_body import Patience

CSP = (
    "default-src 'none'; script-src 'self'; connect-src 'self'; form-action 'self'; font-src 'self'; "
    "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; frame-ancestors 'none'; base-uri 'none'"
)
EVERY_RESPONSE = {
    "Content-Security-Policy": CSP,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
LAN = "192.168.1.4:8437"


Opener = Callable[..., Client]


@pytest.fixture
def client_of_hosts(tmp_path: Path, house_file: Path, clock: Clock) -> Iterator[Opener]:
    """The app as started with other hosts."""
    with ExitStack() as stack:

        def opened(**options: Any) -> Client:
            client = Client(create_app(tmp_path / "hosts", house_file, clock, **options))
            stack.callback(client.close)
            return client

        yield opened


@pytest.fixture
def broken(client: Client) -> Client:
    """The same app with a page that fails."""

    def fail() -> None:
        raise RuntimeError("on purpose")

    client.app.app.add_api_route("/broken", fail, methods=["GET"])
    return client


@pytest.mark.parametrize(
    ("path", "options", "status"),
    [
        ("/loads", {}, 200),
        ("/", {}, 303),
        ("/health", {}, 200),
        ("/static/app.css", {}, 200),
        ("/nothing", {}, 404),
        ("/static/nothing.css", {}, 404),
        ("/broken", {}, 500),
        ("/loads", {"headers": {"Host": "rebound.example"}}, 403),
        ("/loads", {"headers": {"X-Forwarded-For": "192.168.1.9"}}, 303),
        ("/today.json", {"headers": {"X-Forwarded-For": "192.168.1.9"}}, 401),
        ("/files/upload", {"method": "POST", "headers": {"Content-Length": "99999999999"}}, 413),
        ("/today", {"method": "DELETE"}, 405),
    ],
)
def test_security_headers_on_every_response(broken: Client, path: str, options: dict[str, object], status: int) -> None:
    response = broken.request(**{"method": "GET", "path": path, **options})
    assert response.status_code == status
    for name, value in EVERY_RESPONSE.items():
        assert response.headers[name] == value, name
    off = response.headers["Permissions-Policy"].split(", ")
    assert all(part.endswith("=()") for part in off)
    assert {"camera=()", "microphone=()", "geolocation=()", "payment=()", "usb=()"} <= set(off)


@pytest.mark.parametrize("path", ["/loads", "/files/household.json", "/nothing", "/health", "/static/nothing.css?v=1"])
def test_nothing_of_the_household_is_kept_by_a_browser(client: Client, path: str) -> None:
    assert client.get(path).headers["Cache-Control"] == "no-store"


def test_our_own_files_are_kept_by_their_digest(client: Client) -> None:
    link = soup(client.get("/loads")).find("link", rel="stylesheet")
    assert link is not None
    assert "immutable" in client.get(link["href"]).headers["Cache-Control"]
    assert client.get("/static/app.css").headers["Cache-Control"] == "no-store"


def test_error_pages_have_our_look(broken: Client) -> None:
    for path in ("/nothing", "/broken"):
        page = soup(broken.get(path))
        assert page.find("nav", attrs={"aria-label": "Pages"})
        assert page.h1 is not None


def test_a_fault_of_ours_is_one_sentence_for_htmx(broken: Client) -> None:
    response = broken.get("/broken", headers={"HX-Request": "true"})
    assert response.status_code == 500
    assert response.headers["Content-Type"].startswith("text/plain")
    assert "fault in Greyspell" in response.text


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:9999", "localhost:8437", "LOCALHOST", "[::1]:8437"])
def test_own_hosts_are_answered(client: Client, host: str) -> None:
    assert client.get("/loads", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "rebound.example", "127.0.0.1.rebound.example:8437", LAN, "", "127.0.0.1:80@rebound.example", "127.0.0.1:port",
        "localhost.rebound.example", "[::1].rebound.example", "localhost\t", "0.0.0.0:8437", "localhost:8437, other",
    ],
)  # fmt: skip
def test_foreign_host_is_refused_by_name_with_the_remedy(client: Client, host: str) -> None:
    response = client.get("/loads", headers={"Host": host})
    assert response.status_code == 403
    assert f"“{host or 'no host'}”" in response.text
    assert "http://127.0.0.1" in response.text


def test_a_refused_name_is_told_the_option_that_allows_it(client: Client, client_of_hosts: Opener) -> None:
    said = client.get("/loads", headers={"Host": "croft.example:8437"}).text
    assert "python -m webapp --allow-host croft.example" in said
    allowed = client_of_hosts(more_hosts=frozenset({"croft.example"}))
    assert allowed.get("/loads", headers={"Host": "Croft.Example:8437"}).status_code == 303  # to sign in
    assert allowed.get("/loads", headers={"Host": "other.example"}).status_code == 403


def test_what_is_refused_is_shown_as_text(client: Client) -> None:
    said = client.get("/loads", headers={"Host": "<script>alert(1)</script>"})
    assert said.status_code == 403
    assert "<script>alert" not in said.text
    assert "&lt;script&gt;" in said.text


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "cross-site", "Origin": "http://127.0.0.1:8437"},
        {"Sec-Fetch-Site": None, "Origin": "http://elsewhere.example"},
        {"Sec-Fetch-Site": None, "Origin": "null"},
        {"Sec-Fetch-Site": None, "Origin": "http://127.0.0.1:9999"},
        {"Sec-Fetch-Site": None, "Origin": "http://127.0.0.1"},
        {"Sec-Fetch-Site": None, "Origin": "https://127.0.0.1:8437"},
        {"Sec-Fetch-Site": None, "Origin": "http://localhost:8437"},
        {"Sec-Fetch-Site": None, "Origin": "http://127.0.0.1:8437.elsewhere.example"},
        {"Sec-Fetch-Site": None},
    ],
)
def test_a_change_from_elsewhere_is_refused(client: Client, headers: dict[str, str | None]) -> None:
    before = client.store.current()
    if headers["Sec-Fetch-Site"] is None:
        client._http.headers.pop("Sec-Fetch-Site")
        headers = {name: value for name, value in headers.items() if value is not None}
    response = client.post("/files/new", {}, headers=headers)
    assert response.status_code == 403
    assert client.store.current() == before


@pytest.mark.parametrize("headers", [{}, {"Sec-Fetch-Site": "none"}])
def test_a_change_from_our_own_page_is_taken(client: Client, headers: dict[str, str]) -> None:
    assert client.post("/files/new", {}, headers=headers).status_code == 303


def test_an_old_browser_is_known_by_its_origin(client: Client) -> None:
    client._http.headers.pop("Sec-Fetch-Site")
    for host in ("127.0.0.1:8437", "localhost:8437"):
        response = client.post("/files/new", {}, headers={"Host": host, "Origin": f"http://{host}"})
        assert response.status_code == 303


def test_a_body_that_says_it_is_too_large_is_refused_unread(client: Client) -> None:
    response = client.post("/files/upload", headers={"Content-Length": str(MAX_BODY_BYTES + 1)})
    assert response.status_code == 413
    assert "64 MB" in response.text


def test_a_body_that_turns_out_too_large_is_refused(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("webapp.guard.MAX_BODY_BYTES", 1000)

    async def endless():  # type: ignore[no-untyped-def]
        for _ in range(10):
            yield b"name=" + b"x" * 495

    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    response = client.request("POST", "/loads", content=endless(), headers=kind)
    assert response.status_code == 413
    assert "nothing was changed" in response.text


@pytest.mark.parametrize("size", [10, 100_000])
def test_a_body_that_does_not_come_is_given_up(client: Client, monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    monkeypatch.setattr("webapp.slow_body.WAIT_S", 0.05)

    async def stuck():  # type: ignore[no-untyped-def]
        yield b"name=" + b"x" * size
        await anyio.sleep_forever()

    before = client.store.current()
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    response = client.request("POST", "/files/rename", content=stuck(), headers=kind)
    assert response.status_code == 408
    assert "did not come in time" in response.text
    assert response.headers["Connection"] == "close"
    assert response.headers["X-Frame-Options"] == "DENY"
    assert client.store.current() == before


def test_more_of_a_body_buys_more_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """One megabyte that came doubles the time that is waited; a byte buys none."""
    monkeypatch.setattr("webapp.slow_body.WAIT_S", 1.0)

    def waits(first: bytes) -> list[float]:
        allowed: list[float] = []

        async def told(coming: Any, left_s: float) -> Any:
            allowed.append(left_s)
            return await coming

        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": first, "more_body": True}

        monkeypatch.setattr("webapp.slow_body.asyncio.wait_for", told)
        patience = Patience(receive, pending=True)

        async def twice() -> None:
            await patience()
            await patience()

        with start_blocking_portal() as portal:
            portal.call(twice)
        return allowed

    assert waits(b"x" * 1_000_000)[1] == pytest.approx(2.0, abs=0.5)
    assert waits(b"x")[1] <= 1.0 + 1e-6
