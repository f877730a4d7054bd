"""Anything at all, typed into every form and query that the app has, and documents bent out of shape.

What there is to be asked is found from the app itself: its routes, and the forms and links of the pages they show. A
new page or field is in here by itself.
"""

from __future__ import annotations

import copy
import faulthandler
import itertools
import json
import re
import time
import traceback
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import httpx
from bs4 import Tag
from hypothesis import strategies as st

from engine.fields import Quantity, quantities
from engine.house.household import _PARTS
from engine.house.load_kinds import KINDS
from tests.conftest import SMALL_HOUSE, Client, Clock, chosen, soup
from tests.web.bringing import CELL_TESTS, LOG, RECORDS
from tests.web.meter_files import meter_csv
from tests.web.sun_files import kc_of_years, roof_log
from webapp.app import create_app
from webapp.store import example_document

HOUSEHOLDS = Path(__file__).resolve().parent.parent / "households"
HUNG_S = 60.0
"""After so long without an answer the run ends with what every thread was doing; no speed is judged by it."""
CELLS = "cell;Ah;mOhm\n" + "".join(f"Z{n};{230 + n * 7 % 11};0.2{n % 3}\n" for n in range(1, 17))
EXTENSION = re.compile(r"(\.json|\.csv|/alone\.html)$")


@dataclass(frozen=True)
class Target:
    """One thing to ask: a method, a path, and what its form or its links hold where nothing is changed."""

    method: str
    path: str
    usual: tuple[tuple[str, str], ...] = ()
    multipart: bool = False


@dataclass
class Asked:
    """One answer that must not be: what was asked, the status, and where it failed."""

    what: str
    status: int
    told: str


class Heard:
    """The app, with the last fault that it answered as one of its own kept."""

    def __init__(self, inner: Any) -> None:
        self.inner, self.app, self.fault = inner, inner.app, ""

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        try:
            await self.inner(scope, receive, send)
        except Exception:
            self.fault = traceback.format_exc()
            raise

    def close(self) -> None:
        """Close the app."""
        self.inner.close()


@dataclass
class Fuzzed:
    """An app with a household, a cell test and a sun record, what can be asked of it, and what went wrong."""

    client: Client
    heard: Heard
    targets: list[Target] = field(default_factory=list)
    faults: list[Asked] = field(default_factory=list)
    seconds: list[tuple[float, str]] = field(default_factory=list)
    statuses: dict[int, int] = field(default_factory=dict)

    def ask(self, method: str, path: str, **sent: Any) -> httpx.Response | None:
        """Send one request; note a fault of our own, and how long the answer took."""
        what = f"{method} {path} {str(sent)[:1500]}"
        faulthandler.dump_traceback_later(HUNG_S, exit=True)
        begun = time.perf_counter()
        try:
            response = self.client.request(method, path, **sent)
        except httpx.InvalidURL:
            return None
        finally:
            faulthandler.cancel_dump_traceback_later()
        self.seconds.append((time.perf_counter() - begun, what))
        self.statuses[response.status_code] = self.statuses.get(response.status_code, 0) + 1
        if response.status_code >= 500:
            self.faults.append(Asked(what, response.status_code, self.heard.fault[-1500:]))
        return response

    def send(self, target: Target, pairs: list[tuple[str, str]]) -> None:
        """Ask a target with some names and values."""
        if target.method == "GET":
            self.ask("GET", target.path, params=pairs)
        elif target.multipart:
            self.ask("POST", target.path, files=[(name, (None, text)) for name, text in pairs] or {"none": (None, "")})
        else:
            body = "&".join(str(httpx.QueryParams([pair])) for pair in pairs)
            self.ask("POST", target.path, content=body, headers={"Content-Type": "application/x-www-form-urlencoded"})


def routes(listed: Any) -> Iterator[tuple[str, str]]:
    """Method and path of every route, those of included routers too."""
    for route in listed:
        if hasattr(route, "effective_candidates"):
            yield from routes(route.effective_candidates())
        elif getattr(route, "methods", None):
            yield from ((method, route.path) for method in sorted(route.methods))


def leave_untried(app: Any) -> None:
    """Let pages show that a size is being tried while none is: each trial takes a processor half a minute."""
    app.state.jobs.close()
    app.state.jobs.wait = lambda job, seconds: None


def opened(folder: Path, clock: Clock) -> Fuzzed:
    """Build the app with one thing of every kind in it, and find what can be asked."""
    heard = Heard(create_app(folder, None, clock))
    fuzzed = Fuzzed(Client(heard), heard)
    heard.app.state.store.create(odd_example(), "made odd")
    one = fuzzed.client
    kept = [
        CELL_TESTS.read_so(one, CELLS, chemistry="lfp", label_ah="280"),
        RECORDS.read_so(one, roof_log(kc_of_years(1))),
        LOG.read_so(one, meter_csv(2)),
    ]
    drafts = [
        CELL_TESTS.draft_at(one, CELLS),
        RECORDS.draft_at(one, roof_log(kc_of_years(1))),
        LOG.draft_at(one, meter_csv(2)),
    ]
    leave_untried(heard.app)
    fuzzed.targets = _targets(fuzzed.client, kept, drafts)
    return fuzzed


def odd_example() -> dict[str, Any]:
    """The example with slips in it that pages offer to mend by one click."""
    document = example_document()
    document["sun"]["arrays"][0] |= {"azimuth_deg": 350.0, "kwp": 5000.0}
    document["banks"][0] |= {"reserve_soc": 0.008, "tested_ah": None}
    engine = {"id": "genny", "name": "Genny", "rated_w": 5000.0, "charger_w": 2500.0}
    document["generators"] = [engine | {"full_l_per_h": 2.0, "idle_l_per_h": 0.6, "start_soc": 0.3, "stop_soc": 0.8}]
    return document


def _targets(client: Client, kept: list[str], drafts: list[str]) -> list[Target]:
    known = list(routes(client.app.app.routes))
    paths = {path for path in (real_path(path, kept) for method, path in known if method == "GET") if path}
    shown = [*sorted(paths), *drafts, *(f"/loads?add={kind}" for kind in KINDS), "/banks?edit=bank"]
    found = _of_pages(client, shown, paths)
    for target in [one for one in found.values() if one.method == "GET"]:
        for path in paths:
            if path != target.path and EXTENSION.sub("", path) == target.path:
                found["GET", path, tuple(name for name, _ in target.usual)] = Target("GET", path, target.usual)
    reached = {(method, path) for method, path, _ in found}
    for method, path in known:
        real = real_path(path, kept)
        if real and (method, real) not in reached:
            found[method, real, ()] = Target(method, real)
    return [found[key] for key in sorted(found)]


Found = dict[tuple[str, str, tuple[str, ...]], Target]


def _of_pages(client: Client, shown: list[str], paths: set[str]) -> Found:
    """What the forms and links of pages ask."""
    found: Found = {}
    by_link: dict[str, dict[str, str]] = {}
    for path in shown:
        response = client.get(path)
        if "html" not in response.headers.get("Content-Type", ""):
            continue
        page = soup(response)
        for target in (_of_form(form, path) for form in page.find_all("form")):
            found[target.method, target.path, tuple(name for name, _ in target.usual)] = target
        for parts in (urlsplit(str(link["href"])) for link in page.find_all("a", href=True)):
            if parts.path in paths and parts.query:
                by_link.setdefault(parts.path, {}).update(parse_qsl(parts.query))
    for path, usual in by_link.items():
        found["GET", path, ("by link",)] = Target("GET", path, tuple(usual.items()))
    return found


def real_path(path: str, kept: list[str]) -> str:
    """A route's path with the number of a kept file in it."""
    if "{" not in path:
        return path
    mine = next((address for address in kept if path.startswith(address.rsplit("/", 1)[0])), "")
    return path.replace("{file_id:number}", mine.rsplit("/", 1)[1]) if mine else ""


def _of_form(form: Tag, path: str) -> Target:
    usual: list[tuple[str, str]] = []
    for control in form.find_all(["input", "select", "textarea", "button"]):
        name = control.get("name")
        if not name or control.get("type") == "file":
            continue
        if control.name == "select":
            usual.append((str(name), chosen(control)))
        elif control.name == "textarea":
            usual.append((str(name), control.get_text()))
        else:
            usual.append((str(name), str(control.get("value", ""))))
    return Target(
        str(form.get("method", "get")).upper(),
        urlsplit(str(form.get("action") or path)).path,
        tuple(usual),
        "multipart" in str(form.get("enctype", "")),
    )


# -- what is typed


def _known() -> dict[str, Quantity]:
    found: dict[str, Quantity] = {}
    for kind in _PARTS.values():
        found |= quantities(kind)
    for load in KINDS.values():
        found |= {name: one.quantity for name, one in load.fields.items()}
    return found


KNOWN = _known()
"""Every declared number of a household, by the name of its field."""

NUMBERS = st.one_of(
    st.integers(-10, 400).map(str),
    st.integers().map(str),
    st.floats(allow_nan=True, allow_infinity=True).map(repr),
    st.floats(-1e6, 1e6).map(lambda x: f"{x:.2f}".replace(".", ",")),
    st.floats(0, 1).map(lambda x: f"{x:.3f}"),
    st.sampled_from(
        [
            "nan",
            "NaN",
            "-nan",
            "inf",
            "-inf",
            "Infinity",
            "1e308",
            "1e309",
            "-1e308",
            "1e-320",
            "0",
            "-0",
            "0.0",
            "1,234",
            "1.234",
            "1.234,5",
            "1,234.5",
            "０．８",
            "８０",
            "²",
            "½",
            "Ⅷ",
            "1_000",
            "0x10",
            "1e5",
            "+5",
            "−5",
            "--5",
            "1e",
            "1e400",
            "5e-324",
            "80%",
            "80",
            "%",
            "5kW",
            "5",
            "kW",
            "12",
            "V",
            "24:00",
            "24:01",
            "25:61",
            "99:99",
            "1/2",
            "1",
            "000",
            "1",
            "000",
        ]
    ),
    st.just("9" * 5000),
    st.just("1" + "0" * 400),
)
DATES = st.sampled_from(
    [
        "0001-01-01",
        "9999-12-31",
        "2000-01-01",
        "2100-12-31T23:59",
        "2026-02-30",
        "2026-11-25T25:00",
        "-2026-01-01",
        "2026-11-26T00:00+14:00",
        "2000-01-01T00:00+23:59",
        "2100-12-31T23:59-23:59",
        "1999-12-31",
        "10000-01-01",
        "now",
        "today",
        "24:00",
        "00:00",
        "2026-W48-3",
        "20261125",
    ]
)
WORDS = st.sampled_from(
    [
        *[
            "",
            " ",
            ",",
            ",,,,",
            "none",
            "dark",
            "days",
            "usual",
            "season",
            "kwh:",
            "kwh:1,2,3",
            "kwh:nan",
            "spell:1",
            "x,y",
        ],
        *["dark," * 400, "kwh:" + "1," * 400, "1,2,3,4,5,6,7,8,9,10,11,12,13", "true", "null", "[]", "{}", "1"],
        *["../../etc/passwd", "//elsewhere.example", "javascript:alert(1)", "lfp", "own", "world", "UTC", "../UTC"],
    ]
)
MARKUP = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "{{7*7}}",
    "${7*7}",
    "%s%n%d",
    "'; DROP TABLE x",
]
TEXTS = st.one_of(
    st.text(max_size=40),
    st.text(st.characters(min_codepoint=0, max_codepoint=31), min_size=1, max_size=10),
    st.sampled_from(
        [*MARKUP, "x" * 10_000, "é" * 10_000, "\ud800".encode("utf-8", "replace").decode(), "\x00", "\u202e"]
    ),
    st.sampled_from(['{"a": [1]}', "[" * 5000, '{"a":' * 2000, '"x"', "1e999", "NaN", "-Infinity", "[[1]]", "{"]),
)
ANYTHING = st.one_of(NUMBERS, WORDS, DATES, TEXTS)


def value_for(name: str) -> st.SearchStrategy[str]:
    """Anything, and for a declared number its ends and what lies between them too."""
    meaning = KNOWN.get(name.rsplit(".", 1)[-1])
    if meaning is None:
        return ANYTHING
    low, high = meaning.low * meaning.scale, meaning.high * meaning.scale
    inside = st.floats(low, high).map(lambda x: f"{x:.0f}" if meaning.whole else f"{x:.6g}")
    return st.one_of(ANYTHING, inside, st.sampled_from([f"{low:g}", f"{high:g}"]), inside)


@st.composite
def typed(draw: st.DrawFn, target: Target) -> list[tuple[str, str]]:
    """Return names and values for a target: as its page has them, with a few of them changed, left out or repeated."""
    pairs = list(target.usual)
    for _ in range(draw(st.integers(1, 4))):
        how = draw(st.sampled_from(["change"] * 8 + ["drop", "repeat", "stranger", "every"]))
        if how == "stranger" or not pairs:
            pairs.append((draw(st.one_of(st.sampled_from(sorted(KNOWN)), TEXTS)), draw(ANYTHING)))
            continue
        at = draw(st.integers(0, len(pairs) - 1))
        name = pairs[at][0]
        if how == "drop":
            del pairs[at]
        elif how == "repeat":
            pairs += [(name, draw(value_for(name)))] * draw(st.sampled_from([1, 2, 50]))
        elif how == "every" and len(pairs) < 60:
            pairs = [(one, draw(value_for(one))) for one, _ in pairs]
        else:
            pairs[at] = (name, draw(value_for(name)))
    return pairs


# -- documents


def documents() -> list[dict[str, Any]]:
    """The households to bend: the example and those of the tests."""
    stored = [json.loads(path.read_text(encoding="utf-8")) for path in sorted(HOUSEHOLDS.glob("*.json"))]
    return [copy.deepcopy(SMALL_HOUSE), example_document(), *stored]


MOST_PLACES = 5_000
"""Places of a document that are looked at: thousands of things within thousands, each deepened, fill any memory."""
JSON_VALUES = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(-(10**400), 10**400),
        st.integers(-10, 400),
        st.floats(allow_nan=False, allow_infinity=False),
        TEXTS,
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


def places(value: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in a document."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for name, one in inner:
        yield (*at, name)
        yield from places(one, (*at, name))


def deep(value: Any, layers: int) -> Any:
    """Return a value within so many lists."""
    for _ in range(layers):
        value = [value]
    return value


@st.composite
def bent(draw: st.DrawFn, stock: list[dict[str, Any]]) -> dict[str, Any]:
    """Return a household with values replaced by extreme ones or by anything, things left out, repeated or deepened."""
    document = copy.deepcopy(draw(st.sampled_from(stock)))
    most = draw(st.sampled_from([1, 1, 2, 3, 8, 25]))
    only_in_range = draw(st.booleans())
    ways = ["replace", "replace", "remove", "deepen", "many", "none"]
    for _ in range(draw(st.integers(1, most))):
        every = list(itertools.islice(places(document), MOST_PLACES))
        if only_in_range:
            every = [at for at in every if at[-1] in KNOWN] or every
        if not every:
            break
        *outer, last = draw(st.sampled_from(every))
        holder: Any = document
        for part in outer:
            holder = holder[part]
        meaning = KNOWN.get(str(last))
        if only_in_range and meaning is not None:
            value: Any = draw(
                st.one_of(st.sampled_from([meaning.low, meaning.high]), st.floats(meaning.low, meaning.high))
            )
            holder[last] = int(value) if meaning.whole else value
            continue
        how = draw(st.sampled_from(ways))
        if how == "many":
            ways.remove(how)  # many of many fill the memory of this test, and say nothing of the app
        if how == "remove":
            del holder[last]
        elif how == "deepen":
            holder[last] = deep(holder[last], draw(st.sampled_from([1, 50, 300])))
        elif how in ("many", "none") and isinstance(holder[last], list) and holder[last]:
            one = holder[last][0]
            count = 1100 if how == "many" else 0
            holder[last] = [{**one, "id": f"n{n}"} if isinstance(one, dict) else one for n in range(count)]
        else:
            holder[last] = draw(JSON_VALUES)
    return document


def text_of_document(document: dict[str, Any]) -> bytes:
    """Return a document as a file; what cannot be said in UTF-8 is escaped."""
    return json.dumps(document).encode()
