"""Who may ask, and what every response carries."""

from __future__ import annotations

import pytest

from tests.conftest import Client, soup
from webapp.guard import MAX_BODY_BYTES

CSP = (
    "default-src 'none'; script-src 'self'; connect-src 'self'; form-action 'self'; font-src 'self'; "
    "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; frame-ancestors 'none'; base-uri 'none'"
)
OURS = {"Sec-Fetch-Site": "same-origin"}


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
    ],
)
def test_security_headers_on_every_response(broken: Client, path: str, options: dict[str, object], status: int) -> None:
    response = broken.get(path, **options)
    assert response.status_code == status
    assert response.headers["Content-Security-Policy"] == CSP
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    assert response.headers["Referrer-Policy"] == "no-referrer"


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


@pytest.mark.parametrize("host", ["rebound.example", "127.0.0.1.rebound.example:8437", "192.168.1.4:8437", ""])
def test_foreign_host_is_refused_by_name_with_the_remedy(client: Client, host: str) -> None:
    response = client.get("/loads", headers={"Host": host})
    assert response.status_code == 403
    assert f"“{host or 'no host'}”" in response.text
    assert "http://127.0.0.1" in response.text


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "cross-site", "Origin": "http://127.0.0.1:8437"},
        {"Sec-Fetch-Site": None, "Origin": "http://elsewhere.example"},
        {"Sec-Fetch-Site": None, "Origin": "null"},
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
    response = client.post("/files/new", {}, headers={"Origin": "http://localhost:8437"})
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
