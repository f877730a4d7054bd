"""A real browser on a real server: skipped where no Chromium is found, required where the environment says so.

Set GREYSPELL_REQUIRE_BROWSER=1 to turn the skip into a failure. A page fails its test on any
console error and on any request that would leave this machine. Chromium reports the 422 of an
incomplete live question as a failed resource; that line alone is expected.
"""

from __future__ import annotations

import os
import re
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from urllib.parse import urljoin

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright
from starlette.types import Receive, Scope, Send

from tests.web.starting import LONG_S, served
from webapp.app import create_app
from webapp.guard import Guard

CHROMIUM = next(
    filter(None, map(shutil.which, ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome"))), None
)
REQUIRED = os.environ.get("GREYSPELL_REQUIRE_BROWSER") == "1"
INCOMPLETE_QUESTION = "the server responded with a status of 422"
LOCAL = re.compile(r"(blob:)?http://(127\.0\.0\.1|localhost|site\d\.localhost):|data:")
NO_OPTIMISER = "--js-flags=--no-maglev --no-opt"
"""Without the compilers that make scripts faster in the end: no page of a test lives so long, and they take a seventh
of Chromium's time."""
Opener = Callable[..., Page]
expect.set_options(timeout=30_000)  # no test measures time: a busy machine may take seconds to answer


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark every test of this folder, and leave it out where there is no browser and none is required."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)
            if CHROMIUM is None and not REQUIRED:
                item.add_marker(pytest.mark.skip(reason="no Chromium on this machine: browser tests left out"))


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Chromium without a window."""
    assert CHROMIUM is not None, "GREYSPELL_REQUIRE_BROWSER=1, but there is no Chromium on the path"
    with sync_playwright() as playwright:
        options = ["--no-sandbox"] if getattr(os, "geteuid", lambda: 1)() == 0 else []
        ways = ["--process-per-site", NO_OPTIMISER, *options]
        one = playwright.chromium.launch(executable_path=CHROMIUM, args=ways)
        yield one
        one.close()


@pytest.fixture(scope="session")
def contexts(browser: Browser) -> dict[str, BrowserContext]:
    """Browser contexts by their options, kept with what they compiled: no test uses one that it has open already.

    The first page of each stays open, so that its process does too: half of Chromium's time was spent to begin anew.
    """
    return {}


class Stage:
    """Where the app of the test at hand answers: one server for all, as what a context compiled is of its address."""

    def __init__(self) -> None:
        self.address = ""
        self._app: Guard | None = None
        self._asked = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the app of the test at hand answer."""
        assert self._app is not None
        self._asked += 1
        try:
            await self._app(scope, receive, send)
        finally:
            self._asked -= 1

    @contextmanager
    def showing(self, app: Guard) -> Iterator[None]:
        """Let one app answer; at the end its last answers are waited for, its trials are not."""
        assert self._app is None
        self._app = app
        try:
            yield
        finally:
            app.app.state.jobs.close()
            ends_s = time.monotonic() + LONG_S
            while self._asked and time.monotonic() < ends_s:
                time.sleep(0.005)
            self._app = None
            app.close()
        assert not self._asked, f"a request was not answered within {LONG_S} s"


@pytest.fixture(scope="session")
def stage() -> Iterator[Stage]:
    """The server of all tests."""
    one = Stage()
    with served(one, log_level="warning") as port:
        one.address = f"http://127.0.0.1:{port}"
        yield one


@pytest.fixture
def serve(tmp_path: Path, stage: Stage) -> Iterator[Callable[..., str]]:
    """Serve a new data folder, perhaps with a household, instead of any other; returns the address without a slash."""
    with ExitStack() as stack:

        def start(household: Path | None = None) -> str:
            stack.enter_context(stage.showing(create_app(tmp_path / "data", household)))
            return stage.address

        yield start


@pytest.fixture
def site(serve: Callable[..., str]) -> str:
    """A server as at first start, with the example open."""
    return serve()


@pytest.fixture
def open_page(browser: Browser, contexts: dict[str, BrowserContext], serve: Callable[..., str]) -> Iterator[Opener]:
    """Open pages with the options of a browser context; at the end of the test all must have been quiet and local.

    They are closed before the servers stop: a page that still asks how far a trial is must not find nobody there.
    `may_log` is a text that a line of the console may contain, where the test provokes it.
    """
    faults: list[str] = []
    expected = [INCOMPLETE_QUESTION]
    used: list[BrowserContext] = []
    own: list[BrowserContext] = []

    def watched(page: Page) -> None:
        watch(page, faults)

    def context_with(options: dict[str, object], address: str) -> BrowserContext:
        name = repr(sorted(options.items()))
        found = contexts.get(name)
        if found is None or found in used:
            found = browser.new_context(**{"viewport": {"width": 1280, "height": 900}, **options})  # type: ignore[arg-type]
            found.new_page().goto(urljoin(address, "/static/favicon.svg"))
        (own if contexts.setdefault(name, found) is not found else used).append(found)
        return found

    def opened(address: str, may_log: str = "", **options: object) -> Page:
        expected.extend([may_log] if may_log else [])
        context = context_with(options, address)
        context.on("page", watched)
        page = context.new_page()
        page.goto(address)
        return page

    yield opened
    with ExitStack() as closing:
        for context in own:
            closing.callback(context.close)
        for context in used:
            context.remove_listener("page", watched)
            closing.callback(context.clear_cookies)
            for page in context.pages[1:]:
                closing.callback(page.close)
                closing.callback(page.wait_for_load_state)  # closed while still coming, one was waited for without end
    assert [fault for fault in faults if not any(text in fault for text in expected)] == []


def watch(page: Page, faults: list[str]) -> None:
    """Note every error of a page's scripts, complaint in its console, and request that would leave this machine."""
    page.on("pageerror", lambda error: faults.append(f"page error: {error}"))
    page.on("console", lambda said: said.type in ("error", "warning") and faults.append(f"console: {said.text}"))
    page.on("request", lambda asked: LOCAL.match(asked.url) or faults.append(f"request to {asked.url}"))


@pytest.fixture
def page(open_page: Opener, site: str) -> Page:
    """The start page of the example on a desktop."""
    return open_page(site)
