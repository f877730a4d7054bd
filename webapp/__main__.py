"""Start Greyspell: python -m webapp [--household FILE] [--port N] [--no-browser] [--data-dir DIR] [--lan].

--version says which Greyspell this is and starts nothing.

The socket is bound before anything is printed or opened, so the address that is shown is the address
that answers. A port that was asked for and is busy is an error; the usual one moves on to the next few.
A second start with the same data folder finds the first and opens that. Only with --lan does any other device get an
answer, and then only one that knows the pass phrase.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import signal
import socket
import sys
import threading
import webbrowser
from collections.abc import Sequence
from pathlib import Path
from types import FrameType
from typing import Any

from webapp import __version__
from webapp.addresses import Sharing
from webapp.first_phrase import VARIABLE, NoPhrase, agree
from webapp.hosts import allowed
from webapp.memory import give_back
from webapp.one_start import HOST, Running, first, forget, note, running, sole

EVERYWHERE = "0.0.0.0"
"""Every IPv4 address of this machine."""
USUAL_PORT = 8437
PORTS_TRIED = 10
BACKLOG = 128
SWITCH_S = 0.001
"""Pages get a turn beside a long trial this often (choice): Today took 0.3 s at Python’s own 0.005, 0.1 s at this."""
PLAIN_HTTP = (
    "Plain http: share in your own home network only. To stop sharing, stop Greyspell and start it without --lan."
)


class StartError(Exception):
    """Why Greyspell cannot start, as a sentence."""


def arguments(argv: Sequence[str] | None = None) -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(prog="greyspell", description="How long a home's battery bank lasts off the grid.")
    parser.add_argument("--version", action="version", version=f"greyspell {__version__}")
    parser.add_argument(
        "--household", type=Path, metavar="FILE", help="open a copy of this household; FILE is never written"
    )
    parser.add_argument(
        "--port", type=int, metavar="N", help=f"port to use (usual: {USUAL_PORT} or one of the next few)"
    )
    parser.add_argument("--data-dir", type=Path, metavar="DIR", help="folder for everything that is saved")
    parser.add_argument("--no-browser", action="store_true", help="only print the address")
    parser.add_argument(
        "--lan", action="store_true", help="let other devices of your home network in, with a pass phrase (plain http)"
    )
    parser.add_argument(
        "--pass-phrase-file", type=Path, metavar="FILE", help=f"read the pass phrase of --lan here (or from {VARIABLE})"
    )
    parser.add_argument(
        "--allow-host",
        action="append",
        default=[],
        metavar="NAME",
        help="answer to this host name too; may be repeated",
    )
    return parser.parse_args(argv)


def bind(port: int | None, host: str = HOST) -> socket.socket:
    """Listen at the port asked for, or at the first free one of the usual few.

    Raises
    ------
    StartError
        If it is busy or not allowed.
    """
    wanted = (port,) if port is not None else tuple(range(USUAL_PORT, USUAL_PORT + PORTS_TRIED))
    for one in wanted:
        if not 0 <= one <= 65535:
            raise StartError(f"The port must be from 0 to 65535; got {one}.")
        made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name == "posix":
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        else:
            made.setsockopt(socket.SOL_SOCKET, getattr(socket, "SO_EXCLUSIVEADDRUSE"), 1)  # noqa: B009
        try:
            made.bind((host, one))
            made.listen(BACKLOG)
        except OSError as fault:
            made.close()
            reason = fault.strerror
        else:
            return made
    if port is None:
        raise StartError(f"Ports {wanted[0]} to {wanted[-1]} are all busy; give another with --port.")
    raise StartError(f"Port {port} cannot be used ({reason}); give another with --port, or none.")


def show(found: Running, no_browser: bool) -> None:
    """Print the address and open it; where other devices may ask, theirs as well."""
    print(f"Greyspell is at {found.address}", flush=True)
    if found.lan:
        sharing = Sharing(port=found.port)
        print("On other devices of this network:", *sharing.links() or ["(no address found)"])
        print("By name, where the network knows it:", *sharing.named_links() or ["(this machine has none)"])
        print(PLAIN_HTTP, flush=True)
    if not no_browser:
        threading.Thread(target=webbrowser.open, args=(found.address,), daemon=True).start()


def _interrupt(signum: int, frame: FrameType | None) -> None:
    """Let a polite stop end like Ctrl-C, so that what is open gets closed."""
    raise KeyboardInterrupt


def serve(options: argparse.Namespace, folder: Path) -> None:
    """Bind, build the app, say where it is and serve until stopped."""
    more_hosts = _more_hosts(options)
    if options.lan:
        _agree(options, folder)
    with bind(options.port, EVERYWHERE if options.lan else HOST) as listening:
        import uvicorn

        from webapp.app import create_app
        from webapp.connections import Connection
        from webapp.stopping import Server

        signal.signal(signal.SIGTERM, _interrupt)
        sys.setswitchinterval(SWITCH_S)
        give_back()
        here = Running(port=listening.getsockname()[1], lan=options.lan)
        sharing = Sharing(port=here.port) if here.lan else None
        app = create_app(folder, options.household, sharing=sharing, more_hosts=more_hosts)
        inner: Any = app.app
        for sentence in inner.state.store.said:
            print(sentence, file=sys.stderr)
        config = uvicorn.Config(
            app, http=Connection, ws="none", lifespan="off", log_level="error", server_header=False,
            proxy_headers=False,
        )  # fmt: skip
        try:
            note(folder, here)
            show(here, options.no_browser)
            Server(config, lambda: forget(folder)).run(sockets=[listening])
        finally:
            forget(folder)
            app.close()


def _more_hosts(options: argparse.Namespace) -> frozenset[str]:
    if options.pass_phrase_file is not None and not options.lan:
        raise StartError("--pass-phrase-file goes with --lan: without it no other device gets an answer.")
    try:
        return allowed(options.allow_host)
    except ValueError as fault:
        raise StartError(str(fault)) from None


def _agree(options: argparse.Namespace, folder: Path) -> None:
    """See that there is a pass phrase before anybody can ask."""
    from webapp.app import utc_now
    from webapp.sign_in import SignIn

    try:
        agree(SignIn(folder, utc_now), options.pass_phrase_file)
    except NoPhrase as fault:
        raise StartError(str(fault)) from None


def join(found: Running, options: argparse.Namespace, folder: Path) -> None:
    """Open the Greyspell that runs already, if it is what was asked for."""
    if options.port is not None or options.household is not None:
        raise StartError(
            f"Greyspell already runs at {found.address} with the data folder {folder}. Stop it, or give --data-dir."
        )
    if options.lan and not found.lan:
        raise StartError(f"Greyspell already runs at {found.address} without --lan. Stop it, then start with --lan.")
    show(found, options.no_browser)


def start(options: argparse.Namespace, folder: Path) -> None:
    """Serve, unless another Greyspell serves this data folder already."""
    with sole(folder) as alone:
        found = running(folder) if alone else first(folder)
        if found is not None:
            join(found, options, folder)
        elif alone:
            serve(options, folder)
        else:
            raise StartError(
                f"Another Greyspell holds the data folder {folder} but does not answer. Stop it, or give --data-dir."
            )


def main(argv: Sequence[str] | None = None) -> int:
    """Start Greyspell, or open the one that runs already."""
    options = arguments(argv)
    from platformdirs import user_data_path

    from engine.errors import InputError

    folder: Path = options.data_dir or user_data_path("greyspell", appauthor=False)
    try:
        with contextlib.suppress(KeyboardInterrupt):
            start(options, folder)
    except (StartError, InputError) as fault:
        print(f"Greyspell did not start. {fault}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
