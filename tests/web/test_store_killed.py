"""A server that is killed at any moment loses no save that it has acknowledged."""

from __future__ import annotations

import http.client
import os
import random
import sqlite3
import threading
from contextlib import closing
from pathlib import Path
from urllib.parse import urlencode, urlsplit

import pytest

from tests.web.test_start import get, started
from webapp.store_schema import FILE_NAME

SAVES = 1000
ROUNDS = 8
SEED = 20261126


class Saver(threading.Thread):
    """A device that saves one change after another, each of its own name and price, until the server is gone."""

    def __init__(
        self, address: str, name: str, saved: list[str], enough: threading.Event, wanted: int, revision: int
    ) -> None:
        super().__init__(name=name)
        self.host = urlsplit(address).netloc
        self.saved = saved
        self.enough = enough
        self.wanted = wanted
        self.revision = revision

    def run(self) -> None:
        ask = http.client.HTTPConnection(self.host, timeout=30)
        try:
            for number in range(100_000):
                while not self._save(ask, f"{self.name}-{number}"):
                    pass
                if len(self.saved) >= self.wanted:
                    self.enough.set()
        except (OSError, http.client.HTTPException):
            self.enough.set()
        finally:
            ask.close()

    def _save(self, ask: http.client.HTTPConnection, what: str) -> bool:
        """Save a change on top of the version that is known; where that is old, the next one may stand."""
        price = f"{self.revision / 1000 + (self.name.endswith('phone')) / 2000}"
        change = {"section": "prices", "value.fuel_per_litre": price, "value.currency": '"€"', "back": "/prices"}
        body = urlencode({"revision": self.revision, "what": what, **change})
        head = {"Content-Type": "application/x-www-form-urlencoded", "Sec-Fetch-Site": "same-origin"}
        ask.request("POST", "/apply", body, head)
        answer = ask.getresponse()
        answer.read()
        assert answer.status in (303, 409)
        self.revision += 1
        if answer.status == 303:
            self.saved.append(what)
        return answer.status == 303


def kept(folder: Path) -> dict[str, int]:
    """Read the revision of every kept change as another program would, with the log; the file must be whole."""
    with closing(sqlite3.connect(folder / FILE_NAME)) as db:
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return dict(db.execute("SELECT what, revision FROM versions").fetchall())


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL as on POSIX")
def test_no_acknowledged_save_is_lost_when_the_server_is_killed(tmp_path: Path, house_file: Path) -> None:
    """Two devices, 1,000 saves, killed eight times; fewer saves a round than the 200 versions that are always kept."""
    folder = tmp_path / "Größe und Höhe – données"
    chance, total, newest = random.Random(SEED), 0, 1
    for number in range(ROUNDS):
        saved: list[str] = []
        enough = threading.Event()
        wanted = SAVES // ROUNDS + chance.randrange(40)
        more = ("--household", str(house_file)) if number == 0 else ()
        with started(folder, "--port", "0", *more) as (server, address):
            devices = [Saver(address, f"{number}-{one}", saved, enough, wanted, newest) for one in ("desk", "phone")]
            for device in devices:
                device.start()
            enough.wait()
            server.kill()
            for device in devices:
                device.join()
            server.wait()
        assert wanted <= len(saved) < 200
        assert set(saved) <= set(kept(folder))
        newest = max(kept(folder).values())
        total += len(saved)
    assert total >= SAVES
    assert newest >= total + 1
    with started(folder, "--port", "0") as (_, address):
        assert get(address, "/health")[0] == 200
