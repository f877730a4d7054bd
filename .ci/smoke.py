"""Ask an installed Greyspell for everything a stranger tries first; run by the environment it was installed in.

    ENVIRONMENT/bin/python -I smoke.py

The folder it is run in is empty and is not a checkout. Every warning of the programs it starts is an error.
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import urllib.error
import urllib.parse
import urllib.request
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from html.parser import HTMLParser
from importlib.metadata import distribution
from pathlib import Path
from typing import Any

HERE = Path.cwd()
BIN = Path(sys.executable).parent
STRICT = {**os.environ, "PYTHONWARNINGS": "error", "PYTHONPATH": "", "PYTHONUTF8": "1", "PYTHONTZPATH": ""}
"""The system's own time zones are hidden as well: a small machine has none."""
LEAST_PAGES = 30
HOUSE = {
    "format": 1,
    "name": "Smoke house",
    "site": {"latitude_deg": 52.1, "longitude_deg": -9.9, "time_zone": "Europe/Dublin", "climate": "oceanic_west"},
    "sun": {"arrays": [{"id": "roof", "name": "Roof", "kwp": 4.0, "tilt_deg": 35.0, "azimuth_deg": 180.0}]},
    "inverters": [
        {
            "id": "main",
            "name": "Inverter",
            "dc_min_v": 42.0,
            "dc_max_v": 60.0,
            "restart_v": 48.0,
            "rated_w": 5000.0,
            "idle_w": 30.0,
            "k1": 0.02,
            "k2": 0.04,
        }
    ],
    "banks": [
        {
            "id": "bank",
            "name": "Bank",
            "chemistry": "lfp",
            "inverter": "main",
            "series": 16,
            "parallel": 1,
            "label_ah": 280.0,
            "cell_c": 15.0,
            "reserve_soc": 0.2,
        }
    ],
    "loads": [{"id": "all", "name": "Everything", "kind": "steady", "values": {"power_w": 300.0}}],
}
WEAKEST_AH = 270.0
LOG_HOLDS_AH = 1.42
"""What the cell of the made-up log holds, as `webapp/bench_example.py` says."""
CELLS = "Cell,Capacity [Ah],Resistance [mOhm]\n" + "".join(f"C{n},{270 + n % 7}.0,0.2{n % 5}\n" for n in range(1, 17))


class Links(HTMLParser):
    """The addresses of one page: links of its menus, and files it loads."""

    def __init__(self) -> None:
        super().__init__()
        self.links: list[str] = []
        self.files: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = dict(attrs)
        if tag == "a" and (to := held.get("href") or "").startswith("/"):
            self.links.append(to)
        for name in ("src", "href", "data-plotly"):
            if tag != "a" and (to := held.get(name) or "").startswith("/static/"):
                self.files.append(to)


class Browser:
    """Asks one running server, as a page of its own would."""

    def __init__(self, address: str) -> None:
        self.address = address.rstrip("/")

    def get(self, path: str) -> bytes:
        """The body of a page that must answer 200."""
        return self._ask(urllib.request.Request(self.address + path))[1]

    def post(self, path: str, fields: dict[str, str], file: tuple[str, str] | None = None) -> tuple[str, bytes]:
        """Send a form, and the page it leads to with its address."""
        mark = uuid.uuid4().hex
        parts = [f'--{mark}\r\nContent-Disposition: form-data; name="{k}"\r\n\r\n{v}\r\n' for k, v in fields.items()]
        if file is not None:
            head = f'Content-Disposition: form-data; name="file"; filename="{file[0]}"\r\nContent-Type: text/plain'
            parts.append(f"--{mark}\r\n{head}\r\n\r\n{file[1]}\r\n")
        sent = "".join([*parts, f"--{mark}--\r\n"]).encode()
        heads = {"Content-Type": f"multipart/form-data; boundary={mark}", "Sec-Fetch-Site": "same-origin"}
        return self._ask(urllib.request.Request(self.address + path, data=sent, headers=heads))

    def _ask(self, request: urllib.request.Request) -> tuple[str, bytes]:
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:
                assert answer.status == 200, (request.full_url, answer.status)
                return answer.url.removeprefix(self.address), answer.read()
        except urllib.error.HTTPError as fault:
            raise AssertionError((request.full_url, fault.code, fault.read()[:2000])) from None


@contextmanager
def started(folder: Path) -> Iterator[Browser]:
    """A server over a data folder, which must end by a polite signal without a word."""
    line = [BIN / "greyspell", "--no-browser", "--port", "0", "--data-dir", folder]
    pipes = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    with subprocess.Popen(line, env=STRICT, text=True, **pipes) as server:
        try:
            said = server.stdout.readline()
            assert said.startswith("Greyspell is at http://127.0.0.1:"), (said, server.stderr.read())
            yield Browser(said.split()[-1])
            server.send_signal(signal.SIGTERM)
            _, errors = server.communicate(timeout=30)
            assert (server.returncode, errors) == (0, ""), (server.returncode, errors)
        finally:
            if server.poll() is None:
                server.kill()


def told(*command: str | Path) -> str:
    """What a command that must succeed prints."""
    run = subprocess.run(command, env=STRICT, capture_output=True, text=True, timeout=300, check=False)
    assert run.returncode == 0, (command, run.stdout, run.stderr)
    return run.stdout.strip()


def metadata() -> str:
    """The version, after the licences were found in and beside the metadata."""
    installed = distribution("greyspell")
    head = installed.metadata
    assert "MIT" in head["License-Expression"], head["License-Expression"]
    listed = head.get_all("License-File")
    texts = {str(path).partition(".dist-info/licenses/")[2]: path for path in installed.files or ()}
    for name in ("LICENSE", "data/SOURCES.md", "data/climate/NOTICE.md", "static/vendor/VENDORED.md"):
        assert name in listed, (name, listed)
    assert sum(name.startswith("static/vendor/LICENSE-") for name in listed) >= 2, listed
    assert all(texts[name].locate().stat().st_size > 500 for name in listed)
    root = Path(installed.locate_file(""))
    for name in ("engine/data/SOURCES.md", "engine/data/climate/NOTICE.md", "webapp/static/vendor/VENDORED.md"):
        assert (root / name).is_file(), name
    for name in ("engine", "webapp"):
        where = told(sys.executable, "-I", "-c", f"import {name}; print({name}.__file__)")
        assert Path(where).is_relative_to(root), where
    return installed.version


def commands(version: str) -> None:
    """Both ways to start say their version, and the engine answers for a file."""
    assert told(BIN / "greyspell", "--version") == f"greyspell {version}"
    assert told(sys.executable, "-m", "webapp", "--version") == f"greyspell {version}"
    file = HERE / "house.json"
    file.write_text(json.dumps(HOUSE), encoding="utf-8")
    line = json.loads(told(sys.executable, "-m", "engine", "ask", "size", file, "--processes", "1"))
    assert line["file"] == str(file), line
    assert line["answer"]["sizes"], line


def pages(browser: Browser) -> None:
    """Every page of the menu, and each static file by the name that pages give it."""
    first = Links()
    first.feed(browser.get("/").decode())
    links = sorted({re.split("[?#]", link)[0] for link in first.links})
    assert len(links) >= LEAST_PAGES, links
    files = set(first.files)
    for link in links:
        page = Links()
        page.feed(browser.get(link).decode())
        files |= set(page.files)
    for file in files:
        assert re.fullmatch(r"/static/[\w./-]+\?v=[0-9a-f]{10}", file), file
        assert len(browser.get(file)) > 100, file
    assert any("plotly" in file for file in files), files
    assert any("htmx" in file for file in files), files
    print(f"  {len(links)} pages of the menu and {len(files)} static files answer")


def uploads(browser: Browser) -> None:
    """A household, a list of cells up to the string they make, and a log up to what the cell held."""
    _, body = browser.post("/files/upload", {}, ("house.json", json.dumps(HOUSE)))
    assert HOUSE["name"] in body.decode()
    assert brought(browser, CELLS)["result"]["grouping"]["even"]["string_ah"] == WEAKEST_AH
    log = browser.get("/cell-tests/example.csv").decode()
    held_ah = brought(browser, log, chemistry="sodium_layered")["cell"]["full_ah"]
    assert abs(held_ah - LOG_HOLDS_AH) < 0.02 * LOG_HOLDS_AH, held_ah


def brought(browser: Browser, content: str, **choices: str) -> dict[str, Any]:
    """What a file tells that is brought to Cell tests and read as the page guesses, but for some choices."""
    address, body = browser.post("/cell-tests", {"pasted": ""}, ("brought.csv", content))
    assert re.fullmatch(r"/cell-tests/\d+", address), address
    form = body.decode().partition('id="read-form"')[2].partition("</form>")[0]
    sent = dict(re.findall(r'<input[^>]* name="([^"]+)"[^>]*? value="([^"]*)"', form))
    for name, options in re.findall(r'<select[^>]* name="([^"]+)"[^>]*>(.*?)</select>', form, re.DOTALL):
        sent[name] = re.findall(r'value="([^"]*)" selected', options)[0]
    browser.post(f"{address}/read", sent | choices | {"act": "read"})
    return json.loads(browser.get(f"{address}.json"))


def answers(browser: Browser) -> None:
    """The sheet and a size, both of the household that was brought."""
    assert HOUSE["name"] in browser.get("/sheet").decode()
    size = json.loads(browser.get("/size.json?days=3&month=12"))
    assert size["days"] == 3, size
    assert size["strings"] >= 1, size


def main() -> None:
    """Ask for everything; the first thing that is wrong ends it."""
    assert not any(HERE.iterdir()), "the folder must be empty"
    version = metadata()
    commands(version)
    with started(HERE / "data") as browser:
        pages(browser)
        uploads(browser)
        pages(browser)
        answers(browser)
    print(f"  greyspell {version} works on Python {sys.version.split()[0]}")


if __name__ == "__main__":
    main()
