"""Everything goes out as one file and comes back whole; a version says what changed."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.conftest import Client, form_of, soup


def bring(client: Client, content: bytes) -> int:
    answer = client.request("POST", "/files/everything", files={"file": ("all.sqlite3", content)})
    return answer.status_code


def rename(client: Client, name: str) -> None:
    client.post("/files/rename", {"revision": str(client.store.current().revision), "name": name, "note": ""})


def test_everything_comes_back_and_what_stood_is_kept(client: Client) -> None:
    rename(client, "First")
    file = client.get("/files/everything.sqlite3").content
    rename(client, "Second")
    assert bring(client, file) == 303
    assert (client.store.current().name, client.store.current().revision) == ("First", 2)
    before = next(client.store.folder.glob("*.before.*"))
    assert bring(client, before.read_bytes()) == 303
    assert client.store.current().name == "Second"


@pytest.mark.parametrize(
    "script",
    [
        "CREATE TRIGGER t AFTER INSERT ON versions BEGIN DELETE FROM households; END",
        "CREATE VIEW v AS SELECT 1",
        "UPDATE versions SET document = '{}'",
        "PRAGMA user_version = 99",
    ],
)
def test_a_file_that_is_not_ours_or_was_changed_is_refused(client: Client, tmp_path: Path, script: str) -> None:
    path = tmp_path / "brought.sqlite3"
    path.write_bytes(client.get("/files/everything.sqlite3").content)
    with closing(sqlite3.connect(path)) as db:
        db.execute(script)
        db.commit()
    before = client.store.current()
    assert bring(client, path.read_bytes()) == 422
    assert bring(client, b"no database") == 422
    assert client.store.current() == before


def test_a_version_says_which_fields_changed_and_what_restoring_it_would_change(client: Client) -> None:
    page = soup(client.get("/banks?edit=store"))
    form = next(one["id"] for one in page.find_all("form", id=True) if "store" in one["id"])
    assert client.post("/banks", form_of(page, form) | {"label_ah": "304"}).status_code == 303
    lines = [line.get_text() for line in soup(client.get("/files")).select("details li")]
    assert any(line.startswith("Store-room bank: ") and line.endswith(" 280 → 304 Ah") for line in lines)
    assert any(line.startswith("Store-room bank: ") and line.endswith(" 304 → 280 Ah") for line in lines)
