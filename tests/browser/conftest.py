"""A real browser on a real server: skipped where no Chromium is found, required where the environment says so.

Set GREYSPELL_REQUIRE_BROWSER=1 to turn the skip into a failure. A page fails its test on any
console error and on any request that would leave this machine. Chromium reports the 422 of an
incomplete live question as a failed resource; that line alone is expected.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

ROOT = Path(__file__).resolve().parents[2]
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
REQUIRED = os.environ.get("GREYSPELL_REQUIRE_BROWSER") == "1"
INCOMPLETE_QUESTION = "the server responded with a status of 422"
Opener = Callable[..., Page]


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
        one = playwright.chromium.launch(executable_path=CHROMIUM, args=options)
        yield one
        one.close()


def _started(folder: Path, household: Path | None = None) -> subprocess.Popen[str]:
    """Start a server over a data folder, perhaps with a household."""
    command = [sys.executable, "-m", "webapp", "--no-browser", "--port", "0", "--data-dir", str(folder)]
    command += ["--household", str(household)] if household else []
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)


@pytest.fixture(scope="session")
def first_starts(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[], subprocess.Popen[str]]]:
    """Hand out servers as at first start, each over a folder of its own; the next one starts while this one is used."""
    waiting = [_started(tmp_path_factory.mktemp("data"))]

    def take() -> subprocess.Popen[str]:
        waiting.append(_started(tmp_path_factory.mktemp("data")))
        return waiting.pop(0)

    yield take
    for server in waiting:
        with server:
            server.terminate()


@pytest.fixture
def serve(tmp_path: Path, first_starts: Callable[[], subprocess.Popen[str]]) -> Iterator[Callable[..., str]]:
    """Start a server over a new data folder, perhaps with a household; returns its address without a slash."""
    with ExitStack() as stack:

        def start(household: Path | None = None) -> str:
            server = first_starts() if household is None else _started(tmp_path / "data", household)
            stack.enter_context(server)
            stack.callback(server.terminate)
            assert server.stdout is not None
            line = server.stdout.readline()
            assert line.startswith("Greyspell is at http://"), line
            return line.removeprefix("Greyspell is at ").strip().rstrip("/")

        yield start


@pytest.fixture
def site(serve: Callable[..., str]) -> str:
    """A server as at first start, with the example open."""
    return serve()


@pytest.fixture
def open_page(browser: Browser, serve: Callable[..., str]) -> Iterator[Opener]:
    """Open pages with the options of a browser context; at the end of the test all must have been quiet and local.

    They are closed before the servers stop: a page that still asks how far a trial is must not find nobody there.
    `may_log` is a text that a line of the console may contain, where the test provokes it.
    """
    faults: list[str] = []
    expected = [INCOMPLETE_QUESTION]
    contexts: list[BrowserContext] = []

    def watch(page: Page) -> None:
        page.on("pageerror", lambda error: faults.append(f"page error: {error}"))
        page.on("console", lambda said: said.type in ("error", "warning") and faults.append(f"console: {said.text}"))
        page.on("request", lambda asked: _is_local(asked.url) or faults.append(f"request to {asked.url}"))

    def opened(address: str, may_log: str = "", **options: object) -> Page:
        expected.extend([may_log] if may_log else [])
        context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}, **options})  # type: ignore[arg-type]
        contexts.append(context)
        context.on("page", watch)
        page = context.new_page()
        page.goto(address)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert [fault for fault in faults if not any(text in fault for text in expected)] == []


def _is_local(url: str) -> bool:
    return url.startswith(("http://127.0.0.1:", "http://localhost:", "data:", "blob:http://127.0.0.1:"))


@pytest.fixture
def page(open_page: Opener, site: str) -> Page:
    """The start page of the example on a desktop."""
    return open_page(site)
