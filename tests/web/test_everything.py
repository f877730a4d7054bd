"""Everything goes out as one file and comes back whole; a version says what changed."""

from __future__ import annotations

import errno
import random
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.conftest import Client, Clock, form_of, soup
from webapp import sky_store, store_copies, store_file
from webapp.app import create_app
from webapp.guard import MAX_BODY_BYTES, MAX_EVERYTHING_BYTES


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


def test_what_is_longer_than_any_other_file_goes_out_and_comes_back(client: Client) -> None:
    store, house = client.store, client.store.current().household_id
    contents = [random.Random(n).randbytes(34 * 1024**2) for n in range(2)]
    kept = [sky_store.add(store, house, f"Record {n}", "table", content, {}) for n, content in enumerate(contents)]
    file = client.get("/files/everything.sqlite3").content
    assert len(file) > MAX_BODY_BYTES
    for one in kept:
        sky_store.delete(store, one.id)
    rename(client, "Later")
    assert bring(client, file) == 303
    assert client.store.current().name == "Test croft"
    back = sky_store.drafts(store, house)
    assert [sky_store.content(store, one.id) for one in reversed(back)] == contents
    assert not list(store.folder.glob(".greyspell-everything-*"))


def test_a_full_disk_is_a_sentence_and_nothing_is_left(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    file = client.get("/files/everything.sqlite3").content
    before = client.store.current()
    monkeypatch.setattr("webapp.pages.everything.shutil.copyfileobj", full)
    answer = client.post("/files/everything", files={"file": ("all.sqlite3", file)})
    assert answer.status_code == 507
    assert "Make room on that disk" in answer.text
    assert client.store.current() == before
    assert not list(client.store.folder.glob(".greyspell-everything-*"))


def _full(*_: object, **__: object) -> None:
    fault = sqlite3.OperationalError("database or disk is full")
    fault.sqlite_errorcode = sqlite3.SQLITE_FULL
    raise fault


def _names(client: Client) -> list[str]:
    return sorted(one.name for one in client.store.folder.iterdir())


def test_a_file_of_everything_that_finds_no_room_is_a_sentence_and_leaves_nothing(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    rename(client, "First")
    before = _names(client)

    def half(db: sqlite3.Connection, path: Path) -> None:
        path.write_bytes(b"half of it")
        _full()

    monkeypatch.setattr(store_file, "write_copy", half)
    answer = client.get("/files/everything.sqlite3")
    assert answer.status_code == 507
    assert "The file of everything could not be made" in soup(answer).get_text()
    assert "fault in Greyspell" not in soup(answer).get_text()
    assert _names(client) == before


@pytest.mark.parametrize("where", ["take_in", "write_copy"])
def test_putting_back_that_finds_no_room_changes_nothing_says_so_and_leaves_nothing(
    client: Client, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    rename(client, "First")
    file = client.get("/files/everything.sqlite3").content
    rename(client, "Second")
    before = _names(client)

    def half(db: sqlite3.Connection, path: Path) -> None:
        path.write_bytes(b"half of it")
        _full()

    if where == "take_in":
        monkeypatch.setattr(store_file, "take_in", _full)
    else:
        monkeypatch.setattr(store_copies, "write_copy", half)
    answer = client.post("/files/everything", files={"file": ("all.sqlite3", file)})
    assert answer.status_code == 507
    assert "Nothing was changed: make room on the disk" in soup(answer).get_text()
    assert client.store.current().name == "Second"
    assert _names(client) == before
    monkeypatch.undo()
    assert bring(client, file) == 303
    assert client.store.current().name == "First"


def test_what_a_killed_server_left_of_a_file_goes_at_the_next_start(tmp_path: Path, clock: Clock) -> None:
    left = tmp_path / "data" / ".greyspell-everything-x1"
    left.mkdir(parents=True)
    (left / "greyspell.sqlite3").write_bytes(b"half")
    Client(create_app(tmp_path / "data", None, clock)).close()
    assert not left.exists()


def test_the_longest_file_of_everything_is_said_in_its_refusal(client: Client) -> None:
    headers = {"Content-Length": str(MAX_EVERYTHING_BYTES + 1)}
    answer = client.post("/files/everything", headers=headers)
    assert answer.status_code == 413
    assert "up to 1\u202f024 MB here" in answer.text


def test_put_back_twice_within_a_second_keeps_what_stood_before_both(client: Client) -> None:
    file = client.get("/files/everything.sqlite3").content
    rename(client, "Years of work")
    assert (bring(client, file), bring(client, file)) == (303, 303)
    kept = sorted(client.store.folder.glob("*.before.*"))
    assert len(kept) == 2
    assert bring(client, kept[0].read_bytes()) == 303
    assert client.store.current().name == "Years of work"


def test_a_file_without_anything_of_ours_replaces_nothing(client: Client, tmp_path: Path) -> None:
    path = tmp_path / "empty.sqlite3"
    with closing(sqlite3.connect(path)) as db:
        db.execute("VACUUM")
    before = client.store.current()
    assert bring(client, path.read_bytes()) == 422
    assert client.store.current() == before


def test_a_folder_of_the_person_with_a_like_name_stays(tmp_path: Path, clock: Clock) -> None:
    mine = tmp_path / "data" / ".greyspell-everything-photos" / "a.jpg"
    mine.parent.mkdir(parents=True)
    mine.write_bytes(b"mine")
    Client(create_app(tmp_path / "data", None, clock)).close()
    assert mine.read_bytes() == b"mine"
