"""Signing in on another device: who must, what a wrong pass phrase gets, how long a right one lasts."""

from __future__ import annotations

import errno
import hashlib
import hmac
import json
import os
import stat
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import httpx
import pytest

from engine.errors import InputError
from tests.conftest import Client, Clock, soup
from webapp.addresses import Sharing
from webapp.app import create_app
from webapp.door import AT_ONCE_S
from webapp.sign_in import FILE_NAME, LASTS_S, SHORTEST, Cost, SignIn
from webapp.sign_in_limits import (
    FIRST_WAIT_S,
    FORGOTTEN_S,
    FREE_ALL,
    FREE_EACH,
    LONGEST_ALL_S,
    LONGEST_EACH_S,
    REMEMBERED,
    Tries,
)

LAN = "http://192.168.1.4:8437"
PHONE = "192.168.1.9"
PHRASE = "five words of our own"
CHEAP = Cost(n=2, r=1, p=1)
Device = Callable[..., Client]


class Hand:
    """Seconds that are moved by hand."""

    now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def seconds() -> Hand:
    return Hand()


@pytest.fixture(autouse=True)
def cheap(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hashing that takes no time; what the usual one costs is tested by itself."""
    monkeypatch.setattr(SignIn.__init__, "__defaults__", (CHEAP,))


@pytest.fixture
def device(tmp_path: Path, house_file: Path, clock: Clock, seconds: Hand) -> Iterator[Device]:
    """Open the same data folder, shared, as another device sees it (or the machine itself, by `address`)."""
    folder = tmp_path / "shared"
    folder.mkdir()
    SignIn(folder, clock).set_phrase(PHRASE)
    with ExitStack() as stack:
        app = create_app(folder, house_file, clock, sharing=Sharing(port=8437), clock_s=seconds)
        stack.callback(app.close)

        def opened(address: str = PHONE, base: str = LAN, app: Any = app) -> Client:
            client = Client(app, base, address)
            stack.callback(client.leave)
            return client

        yield opened


def knock(client: Client, phrase: str = PHRASE, to: str = "/") -> httpx.Response:
    return client.post("/sign-in", {"phrase": phrase, "to": to})


def test_the_machine_itself_needs_no_pass_phrase(device: Device) -> None:
    for base in ("http://127.0.0.1:8437", "http://localhost:8437", "http://[::1]:8437"):
        assert device("127.0.0.1", base).get("/loads").status_code == 200


@pytest.mark.parametrize(
    ("address", "base", "headers"),
    [
        (PHONE, LAN, {}),
        (PHONE, LAN, {"Host": "localhost"}),
        (PHONE, LAN, {"Host": "127.0.0.1:8437"}),
        (PHONE, LAN, {"Host": "localhost", "X-Forwarded-For": "127.0.0.1"}),
        ("127.0.0.1", LAN, {}),
        ("127.0.0.1", "http://127.0.0.1:8437", {"X-Forwarded-For": PHONE}),
        ("127.0.0.1", "http://127.0.0.1:8437", {"Forwarded": "for=192.168.1.9"}),
        ("fe80::1%eth0", LAN, {"Host": "[::1]"}),
        ("", LAN, {"Host": "localhost"}),
    ],
)
def test_everybody_else_does_whatever_they_say(
    device: Device, address: str, base: str, headers: dict[str, str]
) -> None:
    response = device(address, base).get("/loads?edit=van", headers=headers)
    assert response.status_code == 303
    assert response.headers["Location"] == "/sign-in?to=%2Floads%3Fedit%3Dvan"


@pytest.mark.parametrize(
    "path",
    [
        "/health",
        "/nothing",
        "/files/household.json",
        "/today.json",
        "/devices",
        "/",
        "/sign-in/x",
        "/staticx",
        "//static/",
    ],
)
def test_nothing_is_told_before(device: Device, path: str) -> None:
    response = device().get(path)
    assert response.status_code in (303, 401)
    assert "croft" not in response.text.lower()
    assert "Location" not in response.headers or response.headers["Location"].startswith("/sign-in?to=%2F")


def test_scripts_are_told_in_a_sentence(device: Device) -> None:
    phone = device()
    answer = phone.get("/today.json")
    assert answer.status_code == 401
    assert "not signed in" in answer.json()["error"]
    live = phone.get("/today", headers={"HX-Request": "true"})
    assert (live.status_code, live.headers["Content-Type"]) == (401, "text/plain; charset=utf-8")
    assert "what you typed is still there" in live.text
    form = phone.post("/files/new", {})
    assert form.status_code == 401
    assert soup(form).h1.text == "Please sign in first"  # type: ignore[union-attr]
    for one in (answer, live, form):
        assert one.headers["X-Frame-Options"] == "DENY"
        assert one.headers["Cache-Control"] == "no-store"


def test_the_page_to_sign_in_tells_nothing_and_works_without_a_script(device: Device) -> None:
    response = device().get("/sign-in?to=/banks")
    page = soup(response)
    assert response.status_code == 200
    assert "croft" not in response.text.lower()
    assert page.find("input", type="password", id="phrase")
    assert page.find("label", attrs={"for": "phrase"})
    assert page.find("input", attrs={"name": "to"})["value"] == "/banks"  # type: ignore[index]
    assert "plain http" in response.text
    for link in page.find_all(["link", "script"]):
        assert device().get(link.get("href") or link.get("src")).status_code == 200


@pytest.mark.parametrize(
    "phrase", ["", "five words of our owm", "Five words of our own", PHRASE[:-1], PHRASE + "x", "x" * 5000]
)
def test_a_wrong_pass_phrase_is_refused_in_a_sentence(device: Device, phrase: str) -> None:
    phone = device()
    response = knock(phone, phrase)
    assert response.status_code == 401
    assert "not the pass phrase" in response.text
    assert "Set-Cookie" not in response.headers
    assert not phrase or phrase not in response.text
    assert phone.get("/loads").status_code == 303


@pytest.mark.parametrize(
    ("to", "there"),
    [
        ("/banks?x=1", "/banks?x=1"),
        ("//elsewhere.example/", "/"),
        ("https://elsewhere.example/", "/"),
        ("/\\elsewhere.example", "/"),
        ("/\t/elsewhere.example", "/"),
        ("/x\r\nSet-Cookie: a=b", "/"),
        ("javascript:alert(1)", "/"),
        ("/sign-out", "/"),
        ("/é", "/"),
    ],
)
def test_the_right_one_goes_on_to_where_one_wanted(device: Device, to: str, there: str) -> None:
    phone = device()
    response = knock(phone, to=to)
    assert (response.status_code, response.headers["Location"]) == (303, there)
    cookie = response.headers["Set-Cookie"].lower()
    assert {"httponly", "path=/", "samesite=lax", f"max-age={LASTS_S}"} <= set(cookie.split("; "))
    assert "secure" not in cookie
    assert phone.get("/loads").status_code == 200
    assert phone.get("/sign-in?to=/banks").headers["Location"] == "/banks"


def test_a_change_is_taken_from_a_device_that_signed_in_and_from_no_page_elsewhere(device: Device) -> None:
    phone = device()
    knock(phone)
    assert phone.post("/files/new", {}).status_code == 303
    for origin in ("http://192.168.1.4:9999", "http://elsewhere.example", "null", "http://127.0.0.1:8437"):
        assert phone.post("/files/new", {}, headers={"Origin": origin}).status_code == 403
    assert knock(device(base="http://elsewhere.example")).status_code == 403


def test_the_cookie_survives_a_restart_but_not_its_year(
    device: Device, tmp_path: Path, clock: Clock, seconds: Hand
) -> None:
    phone = device()
    knock(phone)
    again = create_app(tmp_path / "shared", None, clock, sharing=Sharing(port=8437), clock_s=seconds)
    later = device(app=again)
    later._http.cookies = phone._http.cookies
    assert later.get("/loads").status_code == 200
    clock.now += timedelta(seconds=LASTS_S - 1)
    assert later.get("/loads").status_code == 200
    clock.now += timedelta(seconds=2)
    assert later.get("/loads").status_code == 303
    again.close()


@pytest.mark.parametrize("change", ["flip", "cut", "later", "other key", "empty", "nonsense", "not ascii"])
def test_a_cookie_that_is_not_ours_opens_nothing(device: Device, tmp_path: Path, change: str) -> None:
    token = knock(device()).cookies["greyspell"]
    made_at, nonce, signed = token.split(".")
    other_key = hmac.new(b"", f"greyspell {made_at}.{nonce}".encode(), "sha256").hexdigest()
    forged = {
        "flip": f"{made_at}.{nonce}.{'0' if signed[0] != '0' else '1'}{signed[1:]}",
        "cut": token[:-1],
        "later": f"{int(made_at) + 1}.{nonce}.{signed}",
        "other key": f"{made_at}.{nonce}.{other_key}",
        "empty": "",
        "nonsense": "..",
        "not ascii": token.replace(".", "\u00b7"),
    }[change]
    headers = {"Cookie": f"greyspell={forged}".encode("latin-1")}
    assert device().get("/loads", headers=headers).status_code == 303
    assert device().get("/loads", headers={"Cookie": f"other=a; greyspell={token}; =; b"}).status_code == 200


def test_signing_out_here_and_everywhere(device: Device) -> None:
    one, two = device(), device("192.168.1.10")
    knock(one)
    knock(two)
    assert one.post("/sign-out", {}).headers["Location"].startswith("/sign-in")
    assert one.get("/loads").status_code == 303
    assert two.get("/loads").status_code == 200
    knock(one)
    assert two.post("/sign-out/all", {}).status_code == 303
    for client in (one, two):
        assert client.get("/loads").status_code == 303
    assert device("127.0.0.1", "http://127.0.0.1:8437").get("/loads").status_code == 200


def test_another_pass_phrase_signs_everybody_out_and_is_set_only_at_the_machine(device: Device) -> None:
    phone, home = device(), device("127.0.0.1", "http://127.0.0.1:8437")
    knock(phone)
    new = {"phrase": "quite another phrase", "again": "quite another phrase"}
    assert phone.post("/devices/phrase", new).status_code == 403
    assert phone.get("/loads").status_code == 200
    assert home.post("/devices/phrase", new).status_code == 303
    assert phone.get("/loads").status_code == 303
    assert knock(phone).status_code == 401
    assert knock(phone, "quite another phrase").status_code == 303


@pytest.mark.parametrize(
    ("phrase", "again", "said"),
    [
        ("short", "short", "12 to 200 characters long, such as five words of your own; got 5."),
        ("x" * 201, "x" * 201, "got 201."),
        ("quite another phrase", "quite another phrasf", "not the same"),
    ],
)
def test_a_pass_phrase_that_will_not_do(device: Device, phrase: str, again: str, said: str) -> None:
    home = device("127.0.0.1", "http://127.0.0.1:8437")
    response = home.post("/devices/phrase", {"phrase": phrase, "again": again})
    assert response.status_code == 422
    assert said in response.text
    assert phrase not in response.text.replace(said, "")
    assert knock(device()).status_code == 303


@pytest.mark.parametrize(("code", "status", "remedy"), [(errno.ENOSPC, 507, "make room"), (errno.EACCES, 503, "write")])
@pytest.mark.parametrize("path", ["/sign-out/all", "/devices/phrase"])
def test_what_cannot_be_written_leaves_every_device_signed_in_and_says_so(
    device: Device, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, path: str, code: int, status: int, remedy: str
) -> None:
    phone, machine = device(), device(address="127.0.0.1", base="http://127.0.0.1:8437")
    assert knock(phone).status_code == 303
    token = phone._http.cookies.get("greyspell")
    before = sorted(one.name for one in (tmp_path / "shared").iterdir())

    def refused(_: int) -> None:
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os, "fsync", refused)
    sent = {"phrase": "another five words of our own", "again": "another five words of our own"}
    answer = machine.post(path, sent, headers={"Sec-Fetch-Site": "same-origin"})
    said = soup(answer).get_text(" ", strip=True)
    assert answer.status_code == status
    assert "every device that was signed in still is" in said
    assert remedy in said
    assert "fault in Greyspell" not in said
    assert machine.app.app.state.door.sign_in.holds(token)
    assert SignIn(tmp_path / "shared", Clock()).holds(token)
    assert sorted(one.name for one in (tmp_path / "shared").iterdir()) == before


def test_where_none_is_set_nobody_gets_in(tmp_path: Path, house_file: Path, clock: Clock, device: Device) -> None:
    app = create_app(tmp_path / "bare", house_file, clock, more_hosts=frozenset({"croft.example"}))
    visitor = device("127.0.0.1", "http://croft.example", app)
    assert visitor.get("/loads").status_code == 303
    assert "No pass phrase is set" in visitor.get("/sign-in").text
    assert knock(visitor, "").status_code == 403
    assert visitor.get("/loads", headers={"Cookie": f"greyspell=1.{'0' * 32}.{'0' * 64}"}).status_code == 303
    app.close()


def test_a_long_form_is_not_read_from_a_stranger(device: Device) -> None:
    phone = device()
    assert knock(phone, "x" * 9000).status_code == 413
    sent = phone.request("POST", "/sign-in", files={"phrase": ("a.txt", b"x")})
    assert sent.status_code == 413


def test_a_body_that_says_its_length_twice_over_is_not_read(device: Device) -> None:
    phone, form = device(), f"phrase={PHRASE.replace(' ', '+')}"
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    both = kind | {"Transfer-Encoding": "chunked", "Content-Length": f"{len(form)}"}
    assert phone.request("POST", "/sign-in", content=form, headers=both).status_code == 413
    assert phone.request("POST", "/sign-in", content=form, headers=kind).status_code == 303


# -- what is kept


def test_only_a_hash_is_kept_and_only_for_its_owner(tmp_path: Path, clock: Clock) -> None:
    SignIn(tmp_path, clock).set_phrase(PHRASE)
    text = (tmp_path / FILE_NAME).read_text(encoding="utf-8")
    assert PHRASE not in text
    assert sorted(json.loads(text)) == ["hash", "key", "n", "p", "r", "salt"]
    assert [path.name for path in tmp_path.iterdir()] == [FILE_NAME]
    if os.name == "posix":
        assert stat.S_IMODE((tmp_path / FILE_NAME).stat().st_mode) == 0o600


def test_salt_and_key_differ_each_time(tmp_path: Path, clock: Clock) -> None:
    kept = []
    for _ in range(2):
        SignIn(tmp_path, clock).set_phrase(PHRASE)
        kept.append(json.loads((tmp_path / FILE_NAME).read_text(encoding="utf-8")))
    assert all(kept[0][name] != kept[1][name] for name in ("salt", "hash", "key"))


def test_the_hash_is_that_of_rfc_7914(tmp_path: Path, clock: Clock) -> None:
    # RFC 7914, section 12: scrypt("pleaseletmein", "SodiumChloride", N=16384, r=8, p=1), 64 bytes
    published = (
        "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
        "d5432955613f0fcf62d49705242a9af9e61e85dc0d651e40dfcf017b45575887"
    )
    kept = {"n": 16384, "r": 8, "p": 1, "salt": b"SodiumChloride".hex(), "hash": published, "key": "0" * 64}
    (tmp_path / FILE_NAME).write_text(json.dumps(kept), encoding="utf-8")
    assert SignIn(tmp_path, clock).is_phrase("pleaseletmein")
    assert not SignIn(tmp_path, clock).is_phrase("pleaseletmeim")


def test_the_usual_cost_is_the_published_one_and_works_here(tmp_path: Path, clock: Clock) -> None:
    # OWASP, Password Storage Cheat Sheet: scrypt with N=2^15 (32 MiB), r=8, p=3
    sign_in = SignIn(tmp_path, clock, Cost())
    sign_in.set_phrase(PHRASE)
    kept = json.loads((tmp_path / FILE_NAME).read_text(encoding="utf-8"))
    assert (kept["n"], kept["r"], kept["p"]) == (32768, 8, 3)
    salt = bytes.fromhex(kept["salt"])
    assert len(salt) >= 16
    beside = hashlib.scrypt(PHRASE.encode(), salt=salt, n=32768, r=8, p=3, maxmem=2**26, dklen=32)
    assert beside.hex() == kept["hash"]


def test_a_phrase_is_known_however_a_keyboard_writes_it(tmp_path: Path, clock: Clock) -> None:
    sign_in = SignIn(tmp_path, clock)
    sign_in.set_phrase("caf\u00e9 by the old byre")
    assert sign_in.is_phrase(" cafe\u0301 by the old byre\n")
    with pytest.raises(InputError, match=f"{SHORTEST} to 200 characters"):
        sign_in.set_phrase("  short      ")


def test_a_file_that_is_no_text_or_cannot_be_opened_ends_the_start_in_a_sentence(tmp_path: Path, clock: Clock) -> None:
    (tmp_path / FILE_NAME).write_bytes(b"\xff\xfe{}")
    with pytest.raises(InputError, match="Delete it and set the pass phrase again"):
        SignIn(tmp_path, clock)
    (tmp_path / FILE_NAME).unlink()
    (tmp_path / FILE_NAME).mkdir()  # opened by nobody, not even by root
    with pytest.raises(InputError, match="cannot be opened"):
        SignIn(tmp_path, clock)


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"n": 2, "r": 1, "p": 1, "salt": "x", "hash": "", "key": ""}'])
def test_a_broken_file_lets_nobody_in_and_says_what_to_do(tmp_path: Path, clock: Clock, text: str) -> None:
    (tmp_path / FILE_NAME).write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="Delete it and set the pass phrase again"):
        create_app(tmp_path, None, clock)


# -- how often


def test_the_waits_double_and_are_said_in_seconds(device: Device, seconds: Hand) -> None:
    phone = device()
    for _ in range(FREE_EACH - 1):
        assert "next try" not in knock(phone, "wrong").text
    assert "The next try is taken in 5 seconds." in knock(phone, "wrong").text
    held = knock(phone)
    assert held.status_code == 429
    assert held.headers["Retry-After"] == "5"
    assert "the next is taken in 5 seconds" in held.text
    seconds.now_s += 4.5
    assert "in 1 second." in knock(phone).text
    seconds.now_s += 0.5
    assert "in 10 seconds" in knock(phone, "wrong").text
    seconds.now_s += 10
    assert knock(phone).status_code == 303


def test_a_device_that_knows_it_gets_in_beside_one_that_guesses(device: Device) -> None:
    guesser = device("192.168.1.66")
    for _ in range(FREE_EACH + 3):
        knock(guesser, "wrong")
    assert knock(guesser).status_code == 429
    assert knock(device()).status_code == 303


def test_waits_grow_to_a_limit_and_are_forgotten_after_a_day(seconds: Hand) -> None:
    tries = Tries(seconds)
    waits = []
    for _ in range(40):
        tries.went_wrong(PHONE)
        waits.append(tries.wait_s(PHONE))
        seconds.now_s += waits[-1]
    assert waits[: FREE_EACH - 1] == [0.0] * (FREE_EACH - 1)
    grown = waits[FREE_EACH - 1 :]
    assert grown[0] == FIRST_WAIT_S
    assert all(later == min(2 * sooner, LONGEST_EACH_S) for sooner, later in pairwise(grown))
    assert grown[-1] == LONGEST_EACH_S
    seconds.now_s += FORGOTTEN_S + 1
    tries.went_wrong(PHONE)
    assert tries.wait_s(PHONE) == 0.0


def test_many_addresses_wait_together_and_take_no_more_memory(seconds: Hand) -> None:
    tries = Tries(seconds)
    for number in range(10 * REMEMBERED):
        tries.went_wrong(f"10.0.{number // 250}.{number % 250}")
    assert len(tries._each) == REMEMBERED
    assert tries.wait_s("10.9.9.9") == LONGEST_ALL_S
    fresh = Tries(seconds)
    for number in range(FREE_ALL - 1):
        fresh.went_wrong(f"10.0.0.{number}")
    assert fresh.wait_s("10.9.9.9") == 0.0
    fresh.went_wrong("10.0.1.1")
    assert fresh.wait_s("10.9.9.9") == FIRST_WAIT_S


def test_one_device_has_one_network_of_version_six(seconds: Hand) -> None:
    tries = Tries(seconds)
    for number in range(FREE_EACH):
        tries.went_wrong(f"2001:db8::{number:x}")
    assert tries.wait_s("2001:db8::ffff") == FIRST_WAIT_S
    assert tries.wait_s("2001:db8:0:1::1") == 0.0


def test_only_one_try_is_looked_at_at_a_time(device: Device) -> None:
    door = device().app.app.state.door
    with door._one_at_a_time:
        busy = door.knock(PHRASE, PHONE)
    assert (busy.seen, busy.right, busy.wait_s) == (False, False, AT_ONCE_S)
    assert door.knock(PHRASE, PHONE).right
