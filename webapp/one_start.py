"""One Greyspell for one data folder: a lock that ends with its process, and a note of where the first one answers.

The lock is the system's own on an open file, so nothing stale is left behind by a crash. Two starts at the same moment
ask for it before they look for each other: one gets it, the other waits until the first answers.
"""

from __future__ import annotations

import contextlib
import errno
import http.client
import json
import os
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from engine.errors import InputError

HOST = "127.0.0.1"
LOCK_FILE = "greyspell.lock"
RUNNING_FILE = "running.json"
PING_TIMEOUT_S = 1.0
FIRST_ANSWERS_S = 20.0
"""So long a second start waits for the first to answer (judgement): it may only just have begun on a slow machine."""
AGAIN_S = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """The Greyspell that serves a data folder: its address on this machine, and whether other devices may ask it."""

    port: int
    lan: bool

    @property
    def address(self) -> str:
        """Its start page."""
        return f"http://{HOST}:{self.port}/"


@contextlib.contextmanager
def sole(folder: Path) -> Iterator[bool]:
    """Hold the lock of a data folder as long as this lasts; False where somebody else has it.

    A folder that is there and not to be written needs no lock: whoever opens it only reads.

    Raises
    ------
    InputError
        If there is no such folder and none can be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        file = (folder / LOCK_FILE).open("ab")
    except OSError as fault:
        if folder.is_dir() and fault.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
            yield True
            return
        raise InputError(
            "data_dir", f"The data folder {folder} cannot be used: {fault.strerror}. Give another with --data-dir."
        ) from None
    with file:
        yield _locked(file.fileno())


def _locked(number: int) -> bool:
    """Lock an open file, which its closing undoes; False where another process did."""
    try:
        if sys.platform == "win32":
            import msvcrt

            os.lseek(number, 0, os.SEEK_SET)
            msvcrt.locking(number, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def note(folder: Path, here: Running) -> None:
    """Write down where this one answers, where it can be written."""
    text = json.dumps({"port": here.port, "lan": here.lan, "pid": os.getpid()})
    with contextlib.suppress(OSError):
        (folder / RUNNING_FILE).write_text(text, encoding="utf-8")


def forget(folder: Path) -> None:
    """Take the note away, with the one that it is about."""
    with contextlib.suppress(OSError):
        (folder / RUNNING_FILE).unlink(missing_ok=True)


def running(folder: Path) -> Running | None:
    """Return the Greyspell that already serves this data folder, if it answers."""
    try:
        kept = json.loads((folder / RUNNING_FILE).read_text(encoding="utf-8"))
        found = Running(port=int(kept["port"]), lan=bool(kept.get("lan", False)))
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    ping = http.client.HTTPConnection(HOST, found.port, timeout=PING_TIMEOUT_S)
    try:
        ping.request("GET", "/health")
        answer = json.loads(ping.getresponse().read())
    except (OSError, ValueError, http.client.HTTPException):
        return None
    finally:
        ping.close()
    return found if isinstance(answer, dict) and "greyspell" in answer else None


def first(folder: Path) -> Running | None:
    """Wait until the one that holds the lock answers; None if it does not in time."""
    ends_s = time.monotonic() + FIRST_ANSWERS_S
    while (found := running(folder)) is None and time.monotonic() < ends_s:
        time.sleep(AGAIN_S)
    return found
