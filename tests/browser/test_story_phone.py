"""The phone in the kitchen: it signs in once over the home network, and nobody else gets in or changes anything.

Chromium says nothing of where a request comes from (Sec-Fetch-Site) at a plain http address of a network, so what is
tested there is what really goes over one: the machine's own address, or, where it has none, a second one of loopback,
which is no name of loopback and so counts as another device.
"""

from __future__ import annotations

import re
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Error, Page, expect

from tests.browser.conftest import CHROMIUM
from tests.browser.looking import NARROW, fits
from tests.web.starting import started
from webapp.addresses import own_addresses

PHRASE = "five words of our own"
OTHER = next(iter(own_addresses()), "127.0.0.2" if sys.platform == "linux" else "")
pytestmark = pytest.mark.skipif(not OTHER, reason="this machine has no address but loopback")
Contexts = Callable[..., BrowserContext]


@contextmanager
def shared(folder: Path, *more: str) -> Iterator[int]:
    """A server that other devices may ask; gives its port."""
    phrase = folder.with_name("phrase.txt")
    phrase.write_text(PHRASE, encoding="utf-8")
    options = more or ("--port", "0")
    with started(folder, "--lan", "--pass-phrase-file", str(phrase), *options) as (server, address):
        yield int(address.rstrip("/").rpartition(":")[2])
        server.terminate()


@pytest.fixture
def contexts(browser: Browser) -> Iterator[Contexts]:
    """Devices, each with cookies of its own; none may ask anything of another address than those of this machine."""
    strangers: list[str] = []
    ours = re.compile(rf"(http://({re.escape(OTHER)}|127\.0\.0\.1|rebound\.example):\d+/|data:|blob:|about:)")
    with ExitStack() as stack:

        def one(**options: object) -> BrowserContext:
            context = browser.new_context(**{"viewport": NARROW, **options})  # type: ignore[arg-type]
            stack.callback(context.close)
            context.on("request", lambda asked: ours.match(asked.url) or strangers.append(asked.url))
            return context

        yield one
    assert strangers == []


def sign_in(page: Page, phrase: str = PHRASE) -> None:
    page.get_by_label("Pass phrase").fill(phrase)
    page.get_by_role("button", name="Sign in").click()


@pytest.mark.parametrize("scripts", [True, False])
def test_a_phone_signs_in_once_and_stays_so_after_a_restart(tmp_path: Path, contexts: Contexts, scripts: bool) -> None:
    page = contexts(java_script_enabled=scripts).new_page()
    folder = tmp_path / "kept"
    with shared(folder) as port:
        site = f"http://{OTHER}:{port}"
        page.goto(f"{site}/loads?edit=van")
        expect(page).to_have_url(re.compile(r"/sign-in\?to="))
        sign_in(page, "five words of theirs")
        expect(page.get_by_role("alert").filter(has_text="not the pass phrase")).to_be_visible()
        page.goto(f"{site}/loads")
        sign_in(page)
        expect(page).to_have_url(f"{site}/loads")
        expect(page.get_by_role("heading", name="Loads", exact=True)).to_be_visible()
    with shared(folder, "--port", str(port)):
        page.goto(f"{site}/banks")
        expect(page).to_have_url(f"{site}/banks")
        page.goto(f"{site}/devices")
        page.get_by_role("button", name="Sign out here").click()
        page.goto(f"{site}/banks")
        expect(page).to_have_url(re.compile(r"/sign-in\?to=%2Fbanks$"))


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_pages_about_it_fit_a_phone_with_targets_for_a_thumb(
    tmp_path: Path, contexts: Contexts, scheme: str
) -> None:
    page = contexts(color_scheme=scheme).new_page()
    with shared(tmp_path / "kept") as port:
        page.goto(f"http://{OTHER}:{port}/devices")
        for heading in ("Sign in", "Other devices"):
            expect(page.get_by_role("heading", name=heading, level=1)).to_be_visible()
            fits(page)
            if heading == "Sign in":
                sign_in(page)
        expect(page.get_by_role("img", name=f"QR picture of http://{OTHER}:{port}/")).to_be_visible(
            visible=OTHER in own_addresses()
        )


def test_a_page_that_was_open_when_the_sign_in_ended_says_so_and_keeps_what_was_typed(
    tmp_path: Path, contexts: Contexts
) -> None:
    context = contexts()
    page = context.new_page()
    with shared(tmp_path / "kept") as port:
        page.goto(f"http://{OTHER}:{port}/today?charge=80")
        sign_in(page)
        expect(page.locator("#charge")).to_have_value("80")
        context.clear_cookies()
        page.locator("#charge").fill("61")
        expect(page.locator("#trouble")).to_contain_text("not signed in")
        expect(page.locator("#charge")).to_have_value("61")


def test_a_save_after_the_sign_in_ended_is_sent_again_once_signed_in(tmp_path: Path, contexts: Contexts) -> None:
    context = contexts()
    page = context.new_page()
    with shared(tmp_path / "kept") as port:
        page.goto(f"http://{OTHER}:{port}/prices")
        sign_in(page)
        page.get_by_label("Currency").fill("FONE")
        context.clear_cookies()
        page.get_by_role("button", name="Save prices").click()
        expect(page.get_by_role("heading", name="Please sign in first")).to_be_visible()
        beside = context.new_page()
        beside.goto(f"http://{OTHER}:{port}/")
        sign_in(beside)
        expect(beside).to_have_url(re.compile("/today$"))
        page.reload()
        expect(page.get_by_label("Currency")).to_have_value("FONE")


def test_a_name_that_was_pointed_here_is_refused_with_the_remedy(tmp_path: Path, browser: Browser) -> None:
    rules = ["--no-sandbox", "--host-resolver-rules=MAP rebound.example 127.0.0.1"]
    rebound = browser.browser_type.launch(executable_path=CHROMIUM, args=rules)
    with shared(tmp_path / "kept") as port:
        page = rebound.new_page()
        answer = page.goto(f"http://rebound.example:{port}/loads")
        assert answer is not None
        assert answer.status == 403
        expect(page.locator("main")).to_contain_text("“rebound.example:")
        expect(page.locator("main")).to_contain_text("python -m webapp --lan --allow-host rebound.example")
        rebound.close()


@contextmanager
def attacker(target: str) -> Iterator[int]:
    """A page on another port that sends a form to `target` as soon as it is opened; gives its port."""

    class Page(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            html = f'<form method="post" action="{target}"></form><script>document.forms[0].submit()</script>'
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(html.encode())

        def log_message(self, format: str, *args: object) -> None:
            """Say nothing."""

    with ThreadingHTTPServer(("0.0.0.0", 0), Page) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield server.server_address[1]
        server.shutdown()
        thread.join()


@pytest.mark.parametrize("at", ["127.0.0.1", OTHER])
def test_a_form_of_another_page_changes_nothing(tmp_path: Path, contexts: Contexts, at: str) -> None:
    page = contexts().new_page()
    with shared(tmp_path / "kept") as port:
        site = f"http://{at}:{port}"
        page.goto(f"{site}/files")
        if at == OTHER:
            sign_in(page)
        rows = page.get_by_role("button", name=re.compile("^Delete "))
        expect(rows).to_have_count(1)
        with attacker(f"{site}/files/new") as other_port:
            with page.expect_response(f"{site}/files/new") as refused:
                page.goto(f"http://{at}:{other_port}/")
            assert refused.value.status == 403
            assert refused.value.request.method == "POST"
            expect(page.get_by_role("heading", name="Not from this page")).to_be_visible()
        page.goto(f"{site}/files")
        expect(rows).to_have_count(1)
        page.get_by_role("button", name="Start my own").click()
        expect(page).to_have_url(f"{site}/banks")
        page.goto(f"{site}/files")
        expect(rows).to_have_count(2)


def test_of_two_devices_the_later_save_is_warned_and_nothing_is_lost(tmp_path: Path, contexts: Contexts) -> None:
    with shared(tmp_path / "kept") as port:
        home, phone = contexts().new_page(), contexts().new_page()
        phone.goto(f"http://{OTHER}:{port}/prices")
        sign_in(phone)
        home.goto(f"http://127.0.0.1:{port}/prices")
        for page, currency, status in ((home, "HOME", 303), (phone, "FONE", 409)):
            page.get_by_label("Currency").fill(currency)
            with page.expect_response(lambda answer: answer.request.method == "POST") as saved:
                page.get_by_role("button", name="Save prices").click()
            assert saved.value.status == status
        expect(phone.locator("main")).to_contain_text("saved")
        assert 'value="FONE"' in phone.content()
        home.reload()
        expect(home.get_by_label("Currency")).to_have_value("HOME")


def test_without_lan_no_phone_gets_an_answer(site: str, contexts: Contexts) -> None:
    page = contexts().new_page()
    answer = page.goto(f"{site}/devices")
    assert answer is not None
    assert answer.status == 200
    with pytest.raises(Error, match="ERR_CONNECTION_REFUSED"):
        page.goto(site.replace("127.0.0.1", OTHER))
