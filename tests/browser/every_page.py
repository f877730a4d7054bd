"""Every page of the app in every state that its routes, links and forms lead to, given to a browser.

What there is, is found from the app itself, as `tests/web/fuzzing.py` finds what may be asked: a new page, link or form
is in here by itself. A page is worked out once, in this process; the browser is given what came.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlencode, urljoin, urlsplit

import httpx
from bs4 import Tag

from tests.conftest import NOW, ORIGIN, Client, Clock, chosen, soup
from tests.web.bringing import CELL_TESTS, LOG, RECORDS
from tests.web.fuzzing import CELLS, EXTENSION, leave_untried, odd_example, real_path, routes
from tests.web.meter_files import meter_csv
from tests.web.promise_books import keep_book
from tests.web.sun_files import kc_of_years, roof_log
from webapp.addresses import Sharing
from webapp.app import create_app
from webapp.sign_in import SignIn

OWN, PHONE_OF_IT = "http://localhost:8437", "http://192.168.1.4:8437"
NONSENSE = "many"
LOOKING_AT = "/static/looking-at-pages.js"
"""Where the browser finds what looks at a page: a file that came is compiled once for all pages."""
CARRIED = {"reserve", "off", "sky", "bank", "at", "month", "risk", "times"}
"""What an address carries along for the next page: a page looks the same with and without."""
ASKED = (
    "/sky?read_all=240&at=2026-11-25+12:00",
    "/measure/idle?first=98&began=2026-11-24+22:00&second=96&ended=2026-11-25+06:00&left_on=5&bank=old",
    "/measure/capacity?unit=ah&amount=200&hours=10&start=held&end=cutoff&end_v=46&cell_c=12&bank=old",
    "/measure/dull?day_1=2026-11-20&kwh_1=0.8",
)
"""What a person would type where the pages themselves link to no answer."""


@dataclass(frozen=True)
class Shown:
    """One page in one state: where it is, and what came."""

    url: str
    status: int
    html: str

    @property
    def path(self) -> str:
        """The page's address on its site."""
        return urlsplit(self.url).path


@dataclass
class Site:
    """One app as one device sees it, and what it has shown."""

    client: Client
    origin: str
    shown: dict[tuple[object, ...], Shown] = field(default_factory=dict)

    def show(self, address: str, state: str = "") -> Shown | None:
        """Ask a page once in each state: its path, the names asked with it, what is to add, and what `state` tells."""
        parts = urlsplit(address)
        asked = dict(parse_qsl(parts.query, keep_blank_values=True))
        key = (re.sub(r"\d+", "n", parts.path), *sorted(set(asked) - CARRIED), asked.get("add"), state)
        if key in self.shown or EXTENSION.search(parts.path):
            return None
        return self._take(key, address, self.client.get(address))

    def follow(self, shown: Shown) -> Iterator[Shown]:
        """Show what a page links to, and what its forms show where they are given nonsense."""
        page = soup_of(shown)
        for link in page.select("main a[href]"):
            address = urljoin(shown.url, str(link["href"])).removeprefix(self.origin)
            if address.startswith("/") and urlsplit(address).query:
                yield from filter(None, [self.show(urlsplit(address)._replace(fragment="").geturl())])
        for form in page.select("main form"):
            yield from filter(None, [self._refused(form, urlsplit(shown.url).path)])

    def _refused(self, form: Tag, path: str) -> Shown | None:
        typed = {str(one["name"]) for one in form.select("input[type=text][name]:not([type=hidden]), textarea[name]")}
        typed |= {str(one["name"]) for one in form.select("input:not([type])[name]")}
        sent = {str(one["name"]): str(one.get("value", "")) for one in form.select("input[type=hidden][name]")}
        sent |= {str(one["name"]): chosen(one) for one in form.select("select[name]")}
        sent |= dict.fromkeys(sorted(typed), NONSENSE)
        action = str(form.get("action") or path).partition("#")[0]
        key = ("refused", re.sub(r"\d+", "n", action), form.get("method"), *sorted(set(sent) - CARRIED))
        if not typed or key in self.shown:
            return None
        if str(form.get("method", "get")).lower() == "get":
            address = f"{action}?{urlencode(sent)}"
            return self._take(key, address, self.client.get(address))
        files = {"file": ("", b"")} if form.get("enctype") else None
        answer = self.client.post(action, sent, files=files)
        return self._take(key, f"{action}?refused={len(self.shown)}", answer)

    def _take(self, key: tuple[object, ...], address: str, answer: httpx.Response) -> Shown | None:
        if "html" not in answer.headers.get("Content-Type", "") or answer.is_redirect:
            return None
        shown = Shown(self.origin + address, answer.status_code, answer.text)
        self.shown[key] = shown
        return shown


def soup_of(shown: Shown) -> Any:
    """Parse a page that was shown."""
    return soup(httpx.Response(200, text=shown.html))


class EveryPage:
    """The sites, their pages, and a server that gives them to a browser."""

    def __init__(self, folder: Path, looking: str) -> None:
        with ExitStack() as self._stack:
            self.sites = [self._full(folder / "full"), self._own(folder / "own"), self._phone(folder / "phone")]
            self.pages = {one.url: one for site in self.sites for one in site.shown.values()}
            self._asked: dict[tuple[str, str], tuple[int, str, bytes]] = {}
            self._looking = 200, "text/javascript; charset=utf-8", looking.encode()
            self._names: dict[str, tuple[str, str]] = {}
            self._hosts: dict[str, Site] = {}
            self._stack.enter_context(contextmanager(self._serve)())
            self._stack = self._stack.pop_all()

    def close(self) -> None:
        """Close the apps."""
        self._stack.close()

    def _app(self, folder: Path, **more: Any) -> Any:
        folder.mkdir()
        app = create_app(folder, None, Clock(), **more)
        self._stack.callback(app.close)
        return app

    def _client(self, app: Any, origin: str, address: str = "127.0.0.1") -> Client:
        client = Client(app, origin, address)
        self._stack.callback(client.leave)
        return client

    def _full(self, folder: Path) -> Site:
        """The example with slips in it, a file of each kind read and another not yet, and a book of answers."""
        client = self._client(self._app(folder), ORIGIN)
        household = client.store.create(odd_example(), "made odd")
        keep_book(client.store, household.household_id, NOW, [0.5, None, 0.3, 0.5])
        known = {"chemistry": "lfp", "label_ah": "280"}
        files = ((CELL_TESTS, CELLS), (RECORDS, roof_log(kc_of_years(1))), (LOG, meter_csv(2)))
        kept = [pages.read_so(client, text, **(known if pages is CELL_TESTS else {})) for pages, text in files]
        drafts = [pages.draft_at(client, text, "not yet read.csv") for pages, text in files]
        leave_untried(client.app.app)
        site = Site(client, ORIGIN)
        addresses = [real_path(path, kept) for method, path in routes(client.app.app.routes) if method == "GET"]
        begun = [site.show(one) for one in [*filter(None, addresses), *ASKED, "/nothing-here"]]
        begun += [site.show(one, "draft") for one in drafts]
        to_edit = []
        for more in (more for one in filter(None, begun) for more in site.follow(one)):
            if "add=" in more.url:
                list(site.follow(more))
            to_edit += [more] if "edit=" in more.url else []
        for one in to_edit:  # by now the household has another name, so these forms are of a version that is old
            list(site.follow(one))
        assert {404, 409, 422} <= {one.status for one in site.shown.values()}
        assert all(begun[-len(drafts) :])
        assert {f"{pages.path}/n/read" for pages, _ in files} <= {key[1] for key in site.shown if key[0] == "refused"}
        return site

    def _own(self, folder: Path) -> Site:
        """A household of one's own, with nothing in it yet."""
        client = self._client(self._app(folder), OWN)
        assert client.post("/files/new", {}).status_code == 303
        site = Site(client, OWN)
        for page in client.app.app.state.nav:
            site.show(page.path)
        return site

    def _phone(self, folder: Path) -> Site:
        """A phone of the home that has not signed in yet, and what it is told when it gets the pass phrase wrong."""
        app = self._app(folder, sharing=Sharing(port=8437))
        SignIn(folder, Clock()).set_phrase("five words of our own")
        site = Site(self._client(app, PHONE_OF_IT, "192.168.1.9"), PHONE_OF_IT)
        phone = site.show("/sign-in")
        assert phone
        wrong = site.client.post("/sign-in", {"phrase": NONSENSE, "to": "/"})
        site.shown["wrong",] = Shown(f"{PHONE_OF_IT}/sign-in?wrong", wrong.status_code, wrong.text)
        return site

    def address(self, shown: Shown) -> str:
        """Where a browser finds a page: each site has a name of its own for this machine."""
        return shown.url.replace(*self._names[urlsplit(shown.url).netloc])

    def _serve(self) -> Iterator[None]:
        """Serve what was shown, and what its scripts ask for, on this machine."""
        server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(self))
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        for place, site in enumerate(self.sites):
            here = f"site{place}.localhost:{server.server_port}"
            self._names[urlsplit(site.origin).netloc] = (site.origin, f"http://{here}")
            self._hosts[here] = site
        yield
        server.shutdown()
        thread.join()
        server.server_close()

    def answer(self, host: str, address: str, asked: dict[str, str]) -> tuple[int, str, bytes]:
        """Return status, kind and content of what a browser asks for."""
        if address == LOOKING_AT:
            return self._looking
        site = self._hosts[host]
        shown = self.pages.get(site.origin + address)
        if shown and not asked:
            return shown.status, "text/html; charset=utf-8", shown.html.encode()
        if (host, address) not in self._asked:
            answer = site.client.get(address, headers=asked)
            self._asked[host, address] = answer.status_code, answer.headers["Content-Type"], answer.content
        return self._asked[host, address]


def _handler(every: EveryPage) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            asked = {name: value for name, value in self.headers.items() if name.lower().startswith("hx-")}
            status, kind, content = every.answer(self.headers["Host"], self.path, asked)
            self.send_response(status)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(content)))
            self.send_header("Cache-Control", "max-age=600" if self.path.startswith("/static/") else "no-store")
            self.end_headers()
            self.wfile.write(content)

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    return Handler
