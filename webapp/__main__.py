"""Start Greyspell: python -m webapp [--household FILE] [--port N] [--no-browser] [--data-dir DIR].

The socket is bound before anything is printed or opened, so the address that is shown is the address
that answers. A port that was asked for and is busy is an error; the usual one moves on to the next few.
A second start with the same data folder finds the first and opens that.
"""

from __future__ import annotations

import argparse
import contextlib
import http.client
import json
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

HOST = "127.0.0.1"
USUAL_PORT = 8437
PORTS_TRIED = 10
RUNNING_FILE = "running.json"
PING_TIMEOUT_S = 1.0
STOP_TIMEOUT_S = 1
BACKLOG = 128
SWITCH_S = 0.001
"""Pages get a turn beside a long trial this often (choice): Today took 0.3 s at Python’s own 0.005, 0.1 s at this."""


class StartError(Exception):
    """Why Greyspell cannot start, as a sentence."""


def arguments(argv: Sequence[str] | None = None) -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(prog="greyspell", description="How long a home's battery bank lasts off the grid.")
    parser.add_argument(
        "--household", type=Path, metavar="FILE", help="open a copy of this household; FILE is never written"
    )
    parser.add_argument(
        "--port", type=int, metavar="N", help=f"port to use (usual: {USUAL_PORT} or one of the next few)"
    )
    parser.add_argument("--data-dir", type=Path, metavar="DIR", help="folder for everything that is saved")
    parser.add_argument("--no-browser", action="store_true", help="only print the address")
    return parser.parse_args(argv)


def bind(port: int | None) -> socket.socket:
    """Bind the port asked for, or the first free one of the usual few.

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
        try:
            made.bind((HOST, one))
        except OSError as fault:
            made.close()
            reason = fault.strerror
        else:
            return made
    if port is None:
        raise StartError(f"Ports {wanted[0]} to {wanted[-1]} are all busy; give another with --port.")
    raise StartError(f"Port {port} cannot be used ({reason}); give another with --port, or none.")


def running_address(folder: Path) -> str | None:
    """Return the address of a Greyspell that already serves this data folder, if it answers."""
    try:
        port = int(json.loads((folder / RUNNING_FILE).read_text(encoding="utf-8"))["port"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    ping = http.client.HTTPConnection(HOST, port, timeout=PING_TIMEOUT_S)
    try:
        ping.request("GET", "/health")
        answer = json.loads(ping.getresponse().read())
    except (OSError, ValueError, http.client.HTTPException):
        return None
    finally:
        ping.close()
    ours = isinstance(answer, dict) and "greyspell" in answer
    return f"http://{HOST}:{port}/" if ours else None


def show(address: str, no_browser: bool) -> None:
    """Print the address and open it."""
    print(f"Greyspell is at {address}", flush=True)
    if not no_browser:
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


def _interrupt(signum: int, frame: FrameType | None) -> None:
    """Let a polite stop end like Ctrl-C, so that what is open gets closed."""
    raise KeyboardInterrupt


def serve(options: argparse.Namespace, folder: Path) -> None:
    """Bind, build the app, say where it is and serve until stopped."""
    with bind(options.port) as listening:
        import uvicorn

        from webapp.app import create_app

        sys.setswitchinterval(SWITCH_S)
        app = create_app(folder, options.household)
        port = listening.getsockname()[1]
        note = folder / RUNNING_FILE
        with contextlib.suppress(OSError):
            note.write_text(json.dumps({"port": port, "pid": os.getpid()}), encoding="utf-8")
        inner: Any = app.app
        for sentence in inner.state.store.said:
            print(sentence, file=sys.stderr)
        config = uvicorn.Config(
            app, log_level="warning", server_header=False, lifespan="off", timeout_graceful_shutdown=STOP_TIMEOUT_S
        )
        listening.listen(BACKLOG)
        signal.signal(signal.SIGTERM, _interrupt)
        try:
            with contextlib.suppress(KeyboardInterrupt):
                show(f"http://{HOST}:{port}/", options.no_browser)
                uvicorn.Server(config).run(sockets=[listening])
        finally:
            with contextlib.suppress(OSError):
                note.unlink(missing_ok=True)
            app.close()


def main(argv: Sequence[str] | None = None) -> int:
    """Start Greyspell, or open the one that runs already."""
    options = arguments(argv)
    from platformdirs import user_data_path

    folder: Path = options.data_dir or user_data_path("greyspell", appauthor=False)
    from engine.errors import InputError

    try:
        found = running_address(folder)
        if found is not None and options.port is None and options.household is None:
            show(found, options.no_browser)
            return 0
        if found is not None:
            raise StartError(
                f"Greyspell already runs at {found} with the data folder {folder}. Stop it, or give --data-dir."
            )
        serve(options, folder)
    except (StartError, InputError) as fault:
        print(f"Greyspell did not start. {fault}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
