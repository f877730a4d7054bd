"""Starting a real server as a person does, and asking it."""

from __future__ import annotations

import http.client
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import uvicorn

from webapp.connections import Connection

ROOT = Path(__file__).resolve().parents[2]
LONG_S = 60
"""Longer than any of this takes; no test measures time."""


@contextmanager
def started(
    folder: Path, *more: str, root: Path = ROOT, command: Sequence[str] = ("-m", "webapp"), **environment: str
) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A real server over a data folder, and the address it printed."""
    line = [sys.executable, *command, "--no-browser", "--data-dir", str(folder), *more]
    given = {**os.environ, "PYTHONPATH": str(root), "PYTHONUTF8": "1", **environment}
    pipes: dict[str, Any] = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    with subprocess.Popen(line, cwd=root, env=given, text=True, **pipes) as server:
        assert server.stdout is not None
        try:
            yield server, server.stdout.readline().strip().removeprefix("Greyspell is at ")
        finally:
            if server.poll() is None:
                server.kill()


def get(address: str, path: str) -> tuple[int, bytes]:
    """Ask a running server for a page."""
    ask = http.client.HTTPConnection(address.removeprefix("http://").rstrip("/"), timeout=20)
    ask.request("GET", path)
    answer = ask.getresponse()
    status, body = answer.status, answer.read()
    ask.close()
    return status, body


@contextmanager
def served(app: Any, log_level: str = "critical") -> Iterator[int]:
    """Serve an app in this process, with the connections of a real start; gives its port."""
    server = uvicorn.Server(
        uvicorn.Config(
            app, port=0, http=Connection, ws="none", lifespan="off", log_level=log_level, proxy_headers=False
        )
    )
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        assert thread.is_alive()
        time.sleep(0.005)
    try:
        yield server.servers[0].sockets[0].getsockname()[1]
    finally:
        server.should_exit = True
        thread.join()


def spoken(port: int, sent: bytes, host: str = "127.0.0.1") -> bytes:
    """Send bytes over a connection of their own, and return everything that comes until it is closed."""
    with socket.create_connection((host, port), timeout=LONG_S) as line:
        line.sendall(sent)
        came = b""
        while more := line.recv(65536):
            came += more
    return came
