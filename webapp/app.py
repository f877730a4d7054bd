"""The application: its pages, its static files, its error pages and the guard round it all."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime
from http import HTTPStatus
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response

from engine.errors import InputError, NewerFormat
from webapp import __version__, store
from webapp.addresses import Sharing, own_names
from webapp.autosave import Autosaves
from webapp.door import Door
from webapp.guard import Guard, TooLarge, longest_said
from webapp.hosts import Hosts
from webapp.jobs import Jobs
from webapp.pages import (
    banks,
    car,
    card,
    care,
    cell_tests,
    charge,
    cold,
    commissioning,
    dark,
    devices,
    everything,
    files,
    finding,
    inverter,
    loads,
    log,
    log_compared,
    log_learn,
    measure,
    method,
    off,
    prices,
    promises,
    records,
    run,
    sheet,
    sign_in,
    size,
    sky,
    spares,
    spells,
    sun,
    today,
    tried,
    units,
    week,
    winters,
    wiring,
)
from webapp.paths import static_dir
from webapp.render import environment, error_page, render, sentence_as_read
from webapp.sign_in import SignIn
from webapp.sign_in_limits import Tries
from webapp.slow_body import TOO_SLOW, TooSlow
from webapp.store_schema import StoreFault
from webapp.wished_units import WishedUnits

PAGES = (
    today,
    off,
    run,
    spares,
    car,
    cold,
    sky,
    size,
    winters,
    week,
    spells,
    charge,
    loads,
    banks,
    sun,
    inverter,
    prices,
    units,
    care,
    cell_tests,
    records,
    log,
    measure,
    promises,
    dark,
    wiring,
    commissioning,
    sheet,
    card,
    finding,
    files,
    devices,
    method,
)
"""Page modules in the order of the list of pages; each has `PAGE` and `router`."""

Clock = Callable[[], datetime]


def utc_now() -> datetime:
    """Return the time now, aware, in UTC."""
    return datetime.now(UTC)


def create_app(
    data_dir: Path,
    household_file: Path | None = None,
    clock: Clock = utc_now,
    *,
    sharing: Sharing | None = None,
    more_hosts: frozenset[str] = frozenset(),
    clock_s: Callable[[], float] = time.monotonic,
) -> Guard:
    """Build the app over a data folder.

    Parameters
    ----------
    data_dir : Path
        Folder of the store; made if missing.
    household_file : Path, optional
        A household document to open: a copy is imported, the file is never written.
    clock : callable
        Returns the time now as an aware datetime; the only clock of the app.
    sharing : Sharing, optional
        How other devices of the network find it; without, it answers this machine only.
    more_hosts : frozenset of str
        Host names it answers to beside those of this machine.
    clock_s : callable
        Returns seconds that never run backwards: for waits between wrong pass phrases.

    Returns
    -------
    Guard
        The ASGI application; the FastAPI app inside it is its `app`.

    Raises
    ------
    InputError
        If `household_file` is no household, or the pass phrase that is kept cannot be read.
    """
    app = FastAPI(title="Greyspell", version=__version__, openapi_url=None, docs_url=None, redoc_url=None)
    app.state.clock = clock
    app.state.env = environment()
    app.state.nav = tuple(module.PAGE for module in PAGES)
    app.state.store = store.Store(data_dir, clock)
    app.state.jobs = Jobs()
    app.state.autosaves = Autosaves()
    app.state.sharing = sharing

    def refusal(status: int, heading: str, sentence: str) -> Response:
        return error_page(app.state.env, app.state.nav, status, heading, sentence)

    try:
        everything.clear(data_dir)
        app.state.store.begin(household_file)
        app.state.door = Door(SignIn(data_dir, clock), Tries(clock_s), refusal)
    except InputError:
        app.state.store.close()
        raise
    for module in (*PAGES, everything, log_compared, log_learn, tried, sign_in):
        app.router.routes.extend(module.router.routes)  # shared by all apps: include_router would read each anew
    app.mount("/static", StaticFiles(directory=static_dir()))
    app.add_api_route("/", start, methods=["GET"])
    app.add_api_route("/health", health, methods=["GET"])
    app.add_api_route("/favicon.ico", favicon, methods=["GET"])
    app.add_exception_handler(HTTPException, http_fault)
    app.add_exception_handler(RequestValidationError, bad_request)
    app.add_exception_handler(InputError, bad_input)
    app.add_exception_handler(NewerFormat, only_kept)
    app.add_exception_handler(StoreFault, not_kept)
    app.add_exception_handler(TooLarge, too_large)
    app.add_exception_handler(TooSlow, too_slow)
    app.add_exception_handler(Exception, our_fault)
    app.add_middleware(WishedUnits, store=app.state.store)

    def close() -> None:
        app.state.jobs.close()
        app.state.store.close()

    hosts = Hosts(names=more_hosts | frozenset(own_names() if sharing else ()), lan=sharing is not None)
    return Guard(app, refusal, close, hosts, app.state.door)


def start(request: Request) -> RedirectResponse:
    """Send the bare address to the first page of the list."""
    return RedirectResponse(request.app.state.nav[0].path, HTTPStatus.SEE_OTHER)


def health() -> JSONResponse:
    """Say that Greyspell answers here, for a second start that looks for the first."""
    return JSONResponse({"greyspell": __version__})


def favicon() -> RedirectResponse:
    """Send browsers that ask for the old name to the icon."""
    return RedirectResponse("/static/favicon.svg", HTTPStatus.MOVED_PERMANENTLY)


def _fault(request: Request, status: int, heading: str, sentence: str) -> Response:
    """Answer a fault as JSON, as one sentence for htmx, or as a page."""
    if request.url.path.endswith(".json"):
        return JSONResponse({"error": sentence}, status)
    sentence = sentence_as_read(sentence)
    if "HX-Request" in request.headers:
        return PlainTextResponse(sentence, status)
    return error_page(request.app.state.env, request.app.state.nav, status, heading, sentence)


async def http_fault(request: Request, fault: Exception) -> Response:
    """Answer an unknown page, what a page does not find, or a method that it does not have."""
    assert isinstance(fault, HTTPException)
    if fault.status_code == HTTPStatus.NOT_FOUND:
        nothing = f"There is nothing at {request.url.path}. The list of pages is on every page."
        said = nothing if fault.detail == HTTPStatus.NOT_FOUND.phrase else fault.detail
        return _fault(request, 404, "No such page", said)
    return _fault(request, fault.status_code, "That cannot be done here", f"{fault.detail}; nothing was changed.")


async def bad_request(request: Request, fault: Exception) -> Response:
    """Answer a request that a page cannot read at all."""
    return _fault(
        request, 422, "That could not be read", "Something in the address or the form is not what the page expects."
    )


async def bad_input(request: Request, fault: Exception) -> Response:
    """Answer an input that the engine refused and no form could show beside its field."""
    assert isinstance(fault, InputError)
    return _fault(request, 422, "Please mend this first", " ".join(e.message for e in fault.every()))


async def only_kept(request: Request, fault: Exception) -> Response:
    """Answer where the open household is one that only a newer program reads: it is kept, another may be opened."""
    assert isinstance(fault, NewerFormat)
    if request.url.path.endswith(".json") or "HX-Request" in request.headers:
        return _fault(request, 422, "", fault.message)
    households = request.app.state.store.households()
    return render(request, "newer.html", status=422, sentence=fault.message, households=households)


async def not_kept(request: Request, fault: Exception) -> Response:
    """Answer what cannot be read or kept just now."""
    assert isinstance(fault, StoreFault)
    return _fault(request, fault.status, "The data folder needs you", fault.message)


async def too_large(request: Request, fault: Exception) -> Response:
    """Answer a body that went over the limit."""
    return _fault(request, 413, *longest_said(request.url.path))


async def too_slow(request: Request, fault: Exception) -> Response:
    """Answer a body that did not come in time."""
    return _fault(request, HTTPStatus.REQUEST_TIMEOUT, *TOO_SLOW)


async def our_fault(request: Request, fault: Exception) -> HTMLResponse | Response:
    """Answer a fault of our own; what was typed stays in the browser."""
    return _fault(
        request,
        500,
        "Something went wrong here",
        "This is a fault in Greyspell, not in what you typed; your household is as last saved. "
        "Go back to the page before: what you typed is still there.",
    )
