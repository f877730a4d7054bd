"""What no request may do, over a real connection: smuggle a header, leave its folder, or sit there for ever."""

from __future__ import annotations

import asyncio
import re
import socket
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import Client, Clock
from tests.web.bringing import CELL_TESTS, RECORDS
from tests.web.starting import LONG_S, served, spoken
from tests.web.test_guard import EVERY_RESPONSE
from tests.web.test_kept_pages import CONTENT
from webapp.app import create_app
from webapp.paths import static_dir

SMUGGLED = "x\r\nX-Smuggled: 1\r\n\r\n<script>alert(1)</script>"


@pytest.fixture
def port(tmp_path: Path, house_file: Path, clock: Clock) -> Iterator[int]:
    """A server with the small household open."""
    app = create_app(tmp_path / "data", house_file, clock)
    with served(app) as at:
        yield at
    app.close()


def head(came: bytes) -> tuple[int, list[str]]:
    """Status and header lines of an answer."""
    lines = came.partition(b"\r\n\r\n")[0].decode("latin-1").split("\r\n")
    return int(lines[0].split()[1]), [line.lower() for line in lines[1:]]


def ask(port: int, path: str, *headers: bytes, host: bytes | None = None) -> tuple[int, list[str]]:
    """GET a path exactly as it is written."""
    named = b"Host: " + (host if host is not None else b"127.0.0.1:%d" % port)
    lines = (b"GET " + path.encode("latin-1") + b" HTTP/1.1", named, *headers, b"Connection: close", b"", b"")
    return head(spoken(port, b"\r\n".join(lines)))


def assert_headed(lines: list[str]) -> None:
    """Every header of ours is there, and none that somebody smuggled in."""
    for name, value in EVERY_RESPONSE.items():
        assert f"{name}: {value}".lower() in lines
    assert not [line for line in lines if line.startswith(("x-smuggled", "set-cookie"))]


@pytest.mark.parametrize(
    ("host", "status"),
    [
        (b"evil.example\r\n X-Smuggled: 1", 403),
        (b"evil.example\nX-Smuggled: 1", 403),
        (b"127.0.0.1\rX-Smuggled: 1", 400),
        (b"127.0.0.1\x00evil.example", 400),
        (b"127.0.0.1\r\nHost: evil.example", 400),
        (b"127.0.0.1\x0bX-Smuggled: 1", 400),
        (b"evil\xff.example", 403),
    ],
)
def test_no_host_smuggles_a_header(port: int, host: bytes, status: int) -> None:
    found, lines = ask(port, "/loads", host=host)
    assert found == status
    assert_headed(lines)


@pytest.mark.parametrize(
    "path",
    [
        "/x%0d%0aX-Smuggled:%201",
        "/loads%0d%0aX-Smuggled:%201/",
        "/loads/%0d%0aX-Smuggled:%201",
        "/loads?edit=%0d%0aX-Smuggled:%201",
        "/static/app.css%0d%0aX-Smuggled:%201",
        "/sign-in?to=/%0d%0aX-Smuggled:%201",
        "/sign-in?to=//elsewhere.example/",
        "//elsewhere.example/",
        "/%5celsewhere.example/",
        "/today.json?charge=%0d%0aX-Smuggled:%201",
        "/x\xe9",
        "http://elsewhere.example/loads",
    ],
)
def test_no_path_smuggles_a_header_or_leads_elsewhere(port: int, path: str) -> None:
    status, lines = ask(port, path)
    assert status in (200, 303, 307, 400, 404, 422)
    assert_headed(lines)
    for line in lines:
        if line.startswith("location: "):
            assert re.match(rf"location: (http://127\.0\.0\.1:{port})?/(?![/\\])", line), line


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.css", "/static/../webapp/app.py", "/static/%2e%2e/webapp/app.py",
        "/static/%2e%2e%2fwebapp/app.py",
        "/static/..%5cwebapp%5capp.py", "/static/..%2f..%2f..%2f..%2fetc%2fpasswd", "/static//etc/passwd",
        "/static/%2fetc%2fpasswd", "/static/C:%5cWindows%5cwin.ini", "/static/app.css%00.png", "/static/%00",
        "/static/",
        "/static/vendor", "/static/__init__.py", "/cell-tests/..%2f1", "/cell-tests/%2e%2e", "/records/1%00",
        "/records/-1",
        "/cell-tests/99999999999999999999999999",
    ],
)  # fmt: skip
def test_no_path_leaves_its_folder(port: int, path: str) -> None:
    status, lines = ask(port, path)
    assert status in (400, 404)
    assert_headed(lines)


def test_a_link_out_of_the_static_folder_is_not_followed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, house_file: Path, clock: Clock
) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("secret", encoding="utf-8")
    inside = tmp_path / "static"
    inside.mkdir()
    for file in static_dir().iterdir():
        (inside / file.name).symlink_to(file)
    (inside / "out.txt").symlink_to(secret)
    monkeypatch.setattr("webapp.app.static_dir", lambda: inside)
    client = Client(create_app(tmp_path / "data", house_file, clock))
    assert client.get("/static/out.txt").status_code == 404
    client.close()


def test_no_name_smuggles_a_header_into_a_download(client: Client) -> None:
    document = client.document()
    document["name"] = SMUGGLED
    document["banks"][0]["name"] = SMUGGLED
    made = client.store.create(document, "named badly")
    assert made.name == SMUGGLED
    paths = ["/files/household.json", "/charge.csv", "/charge/alone.html", "/charge.json"]
    for pages in (CELL_TESTS, RECORDS):
        address = pages.read_so(client, CONTENT[pages], name="brought.csv")
        client.post(f"{address}/rename", {"name": SMUGGLED})
        paths += [f"{address}.json", *([f"{address}.csv"] if pages is CELL_TESTS else [])]
    with served(client.app) as port:
        answers = [(path, *ask(port, path)) for path in paths]
    for path, status, lines in answers:
        assert status == 200, path
        assert_headed(lines)
        kept = [line for line in lines if line.startswith("content-disposition")]
        assert path.endswith(".json") or kept
        for line in kept:
            assert re.fullmatch(r'content-disposition: attachment; filename="[a-z0-9-]+\.(csv|html|json)"', line)


@pytest.mark.parametrize(
    "name", ['a"; filename="b.exe', "..\\..\\x.csv", "../../x.csv", "a\r\nX-Smuggled: 1.csv", "\x00.csv"]
)
def test_no_file_name_that_is_brought_gets_further_than_a_label(client: Client, name: str) -> None:
    response = CELL_TESTS.bring(client, CONTENT[CELL_TESTS], name)
    assert response.status_code in (303, 400, 422)
    assert "x-smuggled" not in response.headers
    for answer in (client.get("/cell-tests"), client.get(response.headers.get("Location", "/cell-tests"))):
        assert answer.status_code == 200
        assert "x-smuggled" not in answer.headers


@pytest.mark.parametrize(
    "back", ["//elsewhere.example", "/\\elsewhere.example", "https://elsewhere.example", "/x\r\nX-Smuggled: 1"]
)
def test_undo_leads_nowhere_else(client: Client, back: str) -> None:
    client.post("/files/rename", {**_based(client), "name": "Another croft", "note": ""})
    sent = {**_based(client), "back": back}
    response = client.post("/undo", sent)
    assert response.status_code == 303
    assert re.match(r"/(?![/\\])", response.headers["Location"])
    assert "x-smuggled" not in response.headers


def _based(client: Client) -> dict[str, str]:
    saved = client.store.current()
    return {"household": str(saved.household_id), "revision": str(saved.revision)}


@pytest.mark.parametrize(
    "sent", [b"NONSENSE\r\n\r\n", b"GET / FTP\r\n\r\n", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" * 9]
)
def test_what_is_no_http_is_told_so_with_the_headers_of_every_answer(port: int, sent: bytes) -> None:
    status, lines = head(spoken(port, sent))
    assert status == 400
    assert_headed(lines)
    assert "connection: close" in lines


@pytest.mark.parametrize("sent", [b"", b"GET /loads HTTP/1.1\r\nHost: 127.0.0.1\r\nX: "])
def test_a_head_that_does_not_come_is_given_up(port: int, sent: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("webapp.connections.HEAD_S", 0.05)
    assert spoken(port, sent) == b""


def test_nor_one_of_a_second_request(port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("webapp.connections.HEAD_S", 0.05)
    with socket.create_connection(("127.0.0.1", port), timeout=LONG_S) as line:
        line.sendall(b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        assert line.recv(65536).startswith(b"HTTP/1.1 200")
        line.sendall(b"GET /he")
        while line.recv(65536):
            pass


def test_an_answer_that_takes_longer_than_its_head_is_still_given(
    tmp_path: Path, house_file: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("webapp.connections.HEAD_S", 0.02)

    async def slow(scope: Any, receive: Any, send: Any) -> None:
        await asyncio.sleep(0.2)
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"late"})

    with served(slow) as port:
        assert spoken(port, b"GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n").endswith(b"late\r\n0\r\n\r\n")


def test_a_body_that_does_not_come_ends_the_connection(port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("webapp.slow_body.WAIT_S", 0.05)
    lines = [
        b"POST /files/rename HTTP/1.1", b"Host: 127.0.0.1:%d" % port, b"Sec-Fetch-Site: same-origin",
        b"Content-Type: application/x-www-form-urlencoded", b"Content-Length: 1000", b"", b"name=",
    ]  # fmt: skip
    status, headers = head(spoken(port, b"\r\n".join(lines)))
    assert status == 408
    assert_headed(headers)
    assert "connection: close" in headers


def test_a_refused_request_does_not_hold_its_connection_by_its_body(port: int) -> None:
    lines = [b"POST /files/rename HTTP/1.1", b"Host: elsewhere.example", b"Content-Length: 1000", b"", b"name="]
    status, headers = head(spoken(port, b"\r\n".join(lines)))
    assert status == 403
    assert "connection: close" in headers


HEALTH = b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"


def answered(line: socket.socket) -> bool:
    """Ask over a connection; one that is turned away gets no answer."""
    try:
        line.sendall(HEALTH)
        came = b""
        while not came.endswith(b"}") and (more := line.recv(65536)):
            came += more
        return came.startswith(b"HTTP/1.1 200")
    except ConnectionError:
        return False


@pytest.mark.parametrize("limit", ["MOST_EACH", "MOST"])
def test_other_devices_cannot_hold_all_connections(port: int, monkeypatch: pytest.MonkeyPatch, limit: str) -> None:
    monkeypatch.setattr("webapp.connections.is_loopback_address", lambda address: False)
    monkeypatch.setattr(f"webapp.connections.{limit}", 2)
    with ExitStack() as stack:

        def connected() -> socket.socket:
            return stack.enter_context(socket.create_connection(("127.0.0.1", port), timeout=LONG_S))

        held = [connected() for _ in range(2)]
        assert all(answered(line) for line in held)
        assert not answered(connected())
        monkeypatch.setattr("webapp.connections.is_loopback_address", lambda address: True)
        assert answered(connected())
        assert all(answered(line) for line in held)
