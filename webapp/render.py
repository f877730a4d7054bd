"""A page whole, a named block of it, or the same answer as JSON.

Numbers are rounded here and in the templates, nowhere else; JSON is not rounded.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import astuple, dataclass
from datetime import datetime
from functools import cache, lru_cache
from typing import Any
from urllib.parse import parse_qsl, urlencode
from zoneinfo import ZoneInfo

import jinja2
from fastapi import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from engine.json_answer import json_text, plain_data
from engine.text.dates import clock_hour
from webapp import __version__
from webapp.as_shown import AsShown, grouped
from webapp.as_shown_page import PageAsShown, to_turn
from webapp.carried import GOES_ON, PAGES, carried, told_words
from webapp.paths import static_dir, templates_dir
from webapp.store import Saved
from webapp.typed_words import typed_words
from webapp.units import chosen, other_measures

GROUPS = ("Ask", "Describe", "Check", "Find", "")
"""The groups of the list of pages, in the order of thought; the empty one is the corner."""
NO_BREAK = "\u00a0"


@dataclass(frozen=True, slots=True)
class Page:
    """Where a page stands in the list of pages, and in a few words what it answers or takes."""

    group: str
    title: str
    path: str
    answers: str


@lru_cache
def asset(name: str) -> str:
    """Return the address of a static file, changing when the file does."""
    digest = hashlib.sha256((static_dir() / name).read_bytes()).hexdigest()
    return f"/static/{name}?v={digest[:10]}"


def fixed(number: float | None, digits: int = 0) -> str:
    """Write a number with `digits` decimals and a true minus; a dash for None.

    Examples
    --------
    >>> fixed(12.345, 1), fixed(-0.04, 1), fixed(None)
    ('12.3', '0.0', '–')
    """
    if number is None:
        return "–"
    text = f"{number:,.{digits}f}"
    if not float(text.replace(",", "")):
        text = text.lstrip("-")
    return text.replace(",", "\u202f").replace("-", "−")


def figures(number: float | None, count: int = 2) -> str:
    """Write a number with `count` significant figures, never fewer than its whole part.

    Examples
    --------
    >>> figures(0.4567), figures(9.81), figures(47.2, 3), figures(1234.5)
    ('0.46', '9.8', '47.2', '1\u202f234')
    """
    if number is None:
        return "–"
    if not number:
        return "0"
    magnitude = math.floor(math.log10(abs(number)) + 1e-12)
    return fixed(number, max(0, count - 1 - magnitude))


def percent(share: float | None, digits: int = 0) -> str:
    """Write a share as percent with its sign.

    Examples
    --------
    >>> percent(0.155, 1)
    '15.5\xa0%'
    """
    return f"{fixed(None if share is None else share * 100, digits)}{NO_BREAK}%"


def singular(text: str) -> str:
    """Write one thing as one.

    Examples
    --------
    >>> singular("1 cells"), singular("11 cells"), singular("0.1 days"), singular("1 h")
    ('1 cell', '11 cells', '0.1 days', '1 h')
    """
    return _ONE_OF.sub(r"\1", text)


_ONE_OF = re.compile(r"(?<![\d.,])(1\s(?:cell|day|hour|string))s\b")


def mark_of(saved: Saved) -> str:
    """Return a few letters of a version's hash: numbers alone are alike in two files of everything."""
    return saved.hash[:12]


SHOWN_IN = "shown_in"
"""Field by which a form that is kept says in which units it was shown: another tab may change them meanwhile."""


def shown_in() -> str:
    """Write the units of the request for that field."""
    return ",".join(astuple(chosen()))


def saved_at(saved: Saved, now: datetime) -> str:
    """Write when a version was saved, on the household's own clock; the day only if it is not today."""
    zone = ZoneInfo(saved.document["site"]["time_zone"])
    there, today = saved.saved_at.astimezone(zone), now.astimezone(zone)
    return f"{there:%H:%M}" if there.date() == today.date() else f"{there.day} {there:%b %Y, %H:%M}"


def merged_query(query: str, changes: Mapping[str, object]) -> str:
    """Return a query string with some of its values changed.

    Examples
    --------
    >>> merged_query("charge=0.8&days=3", {"charge": 80})
    'charge=80&days=3'
    """
    return urlencode(dict(parse_qsl(query, keep_blank_values=True)) | {k: str(v) for k, v in changes.items()})


@cache
def environment() -> jinja2.Environment:
    """Return the template environment, one for all apps: escaped, and strict about names that are missing."""
    env = jinja2.Environment(
        loader=jinja2.FileSystemLoader(templates_dir()),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.policies["json.dumps_kwargs"] = {"allow_nan": False, "separators": (",", ":")}
    env.filters |= {
        "fixed": fixed,
        "figures": figures,
        "percent": percent,
        "plain": plain_data,
        "singular": singular,
        "clock_hour": clock_hour,
        "grouped": grouped,
        "saved_at": saved_at,
        "mark_of": mark_of,
    }
    env.globals |= {
        "asset": asset,
        "version": __version__,
        "groups": GROUPS,
        "goes_on": GOES_ON,
        "merged_query": merged_query,
        "other_measures": other_measures,
        "shown_in": shown_in,
    }
    env.globals |= {"ui": env.get_template("_field.html").module, "chart": env.get_template("_chart.html").module}
    return env


def is_partial(request: Request) -> bool:
    """Tell whether htmx asked for a part of the page."""
    return request.headers.get("HX-Request-Type") == "partial"


def render(
    request: Request, template: str, block: str | None = None, *, status: int = 200, **context: Any
) -> HTMLResponse:
    """Return `template` whole, or only its `block` when htmx asked for a part.

    Parameters
    ----------
    request : Request
        The request being answered; the open household is read from its app.
    template : str
        File name of the page.
    block : str, optional
        Name of the block that live answers swap.
    status : int
        HTTP status.
    **context : Any
        What the template needs beside the frame's own names.
    """
    state = request.app.state
    saved = getattr(request.state, "saved", None) or state.store.current()
    page = state.env.get_template(template)
    names = {
        "nav": state.nav,
        "here": request.url.path,
        "query": request.url.query,
        "now_utc": state.clock(),
        "said": state.store.said,
        "meanwhile": getattr(request.state, "meanwhile", None),
        "saved": saved,
        "carried": _carried(request, saved),
        "carries": PAGES,
        "told_words": told_words(request.url.query),
        **context,
    }
    if block is not None and is_partial(request):
        html = "".join(page.blocks[block](page.new_context(names)))
    else:
        html = page.render(names)
    html = as_read(request, html, names["saved"])
    return HTMLResponse(html, status, headers={"Vary": "HX-Request-Type", "Cache-Control": "no-store"})


def as_read(request: Request, html: str, saved: Saved) -> str:
    """Return markup in the units of the household, its large numbers in groups of three."""
    units = chosen()
    if not to_turn(html, units):
        return html
    return PageAsShown(units, typed_words(request.app.state.store, saved, units)).page(html)


def sentence_as_read(sentence: str) -> str:
    """Return a sentence that stands on no page in the units of the household."""
    return AsShown(chosen()).text(sentence)


def _carried(request: Request, saved: Saved) -> str:
    """What the links of the menu take along of the question that is asked."""
    if "charge" not in request.url.query or request.url.path not in PAGES:
        return ""
    zone = ZoneInfo(saved.document["site"]["time_zone"])
    return carried(request.url.path, request.url.query, request.app.state.clock().astimezone(zone))


def error_page(env: jinja2.Environment, nav: Iterable[Page], status: int, heading: str, sentence: str) -> HTMLResponse:
    """Return a page in our look that says what went wrong, needing neither household nor request."""
    html = env.get_template("error.html").render(
        nav=nav,
        here="",
        saved=None,
        carried="",
        carries=PAGES,
        heading=heading,
        sentence=grouped(sentence),
        status=status,
    )
    return HTMLResponse(html, status, headers={"Cache-Control": "no-store"})


def json_answer(answer: Any, status: int = 200) -> Response:
    """Return an answer as JSON, unrounded."""
    return Response(json_text(answer), status, {"Cache-Control": "no-store"}, media_type="application/json")


def json_errors(errors: Mapping[str, str]) -> Response:
    """Return what to mend as JSON (422): field name to sentence."""
    return JSONResponse({"errors": dict(errors)}, 422, headers={"Cache-Control": "no-store"})
