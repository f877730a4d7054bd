"""Files are kept beside a household, whatever they are of: packed, over restarts, and gone with it."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from engine.errors import InputError
from tests.conftest import Clock
from webapp import bench_store, kept_files, meter_store, sky_store, store_schema
from webapp.kept_files import FileTable
from webapp.store import Store

LOG = b"time,volts,amps\n" + b"0,3.2,1.5\n" * 1000
TABLES = (bench_store.FILES, sky_store.FILES, meter_store.FILES)
"""In the order in which the schema came to hold them: the first with its second version, and so on."""


@pytest.fixture(params=TABLES, ids=[one.table for one in TABLES])
def files(request: pytest.FixtureRequest) -> FileTable:
    """Each table of files in turn."""
    table: FileTable = request.param
    return table


def test_a_file_comes_back_byte_for_byte_and_lies_packed(store: Store, house: int, files: FileTable) -> None:
    draft = files.add(store, house, "cell 7", "log", LOG, {"series": 1})
    assert files.content(store, draft.id) == LOG
    packed = store.rows(f"SELECT length(content) AS bytes FROM {files.table}")[0]["bytes"]
    assert packed < len(LOG) / 4
    assert draft.choices == {"series": 1}


def test_a_draft_does_not_count_until_it_is_accepted(store: Store, house: int, files: FileTable) -> None:
    draft = files.add(store, house, "cell 7", "log", LOG, {})
    assert files.accepted(store, house) == []
    assert [one.id for one in files.drafts(store, house)] == [draft.id]
    files.accept(store, draft.id, "table", {"tail_a": 0.1})
    assert files.drafts(store, house) == []
    (kept,) = files.accepted(store, house)
    assert (kept.kind, kept.choices, kept.accepted) == ("table", {"tail_a": 0.1}, True)


def test_all_is_there_after_a_restart(
    tmp_path: Path, clock: Clock, small_house: dict[str, Any], files: FileTable
) -> None:
    before = Store(tmp_path / "other", clock)
    house = before.create(small_house, "made").household_id
    draft = files.add(before, house, "cell 7", "log", LOG, {})
    files.accept(before, draft.id, "log", {"label_ah": 1.3})
    kept = files.accepted(before, house)
    before.close()
    after = Store(tmp_path / "other", clock)
    assert files.accepted(after, house) == kept
    assert files.content(after, draft.id) == LOG
    after.close()


def test_drafts_and_deleted_files_of_yesterday_go_at_the_next_upload(
    store: Store, house: int, clock: Clock, files: FileTable
) -> None:
    draft = files.add(store, house, "forgotten", "log", LOG, {})
    deleted = files.add(store, house, "deleted", "log", LOG, {})
    kept = files.add(store, house, "kept", "log", LOG, {})
    for one in (deleted, kept):
        files.accept(store, one.id, "log", {})
    files.delete(store, deleted.id)
    clock.now += timedelta(hours=23)
    files.add(store, house, "same day", "log", LOG, {})
    assert files.find(store, house, draft.id).name == "forgotten"
    clock.now += timedelta(hours=2)
    files.add(store, house, "next day", "log", LOG, {})
    for gone in (draft, deleted):
        with pytest.raises(InputError, match=f"no {files.thing} number"):
            files.find(store, house, gone.id)
    assert [one.name for one in files.accepted(store, house)] == ["kept"]
    assert [one.name for one in files.drafts(store, house)] == ["next day", "same day"]


def test_delete_can_be_undone(store: Store, house: int, files: FileTable) -> None:
    one = files.add(store, house, "cell 7", "log", LOG, {})
    files.accept(store, one.id, "log", {})
    files.delete(store, one.id)
    assert files.accepted(store, house) == []
    assert [gone.name for gone in files.deleted(store, house)] == ["cell 7"]
    files.undelete(store, one.id)
    assert [back.name for back in files.accepted(store, house)] == ["cell 7"]


def test_a_deleted_draft_can_be_brought_back_as_a_draft(store: Store, house: int, files: FileTable) -> None:
    one = files.add(store, house, "cell 7", "log", LOG, {})
    files.delete(store, one.id)
    assert [gone.name for gone in files.deleted(store, house)] == ["cell 7"]
    files.undelete(store, one.id)
    assert [back.name for back in files.drafts(store, house)] == ["cell 7"]


@pytest.mark.parametrize("unseen", ["\u202e", "\u200b", "\x07", "\r\n", "\x1b"])
def test_a_name_holds_nothing_that_cannot_be_seen(store: Store, house: int, files: FileTable, unseen: str) -> None:
    one = files.add(store, house, f"{unseen}cell 7{unseen}", "log", LOG, {})
    assert one.name == "cell 7"
    files.rename(store, one.id, f"cell 8{unseen}")
    assert files.find(store, house, one.id).name == "cell 8"
    with pytest.raises(InputError, match="1 to 80 characters"):
        files.rename(store, one.id, unseen)
    assert files.add(store, house, unseen, "log", LOG, {}).name == kept_files.UNNAMED


@pytest.mark.parametrize("name", ["", "x" * 81])
def test_a_name_must_have_a_length(store: Store, house: int, files: FileTable, name: str) -> None:
    one = files.add(store, house, "cell 7", "log", LOG, {})
    with pytest.raises(InputError, match="1 to 80 characters"):
        files.rename(store, one.id, name)
    files.rename(store, one.id, "cell 8")
    assert files.find(store, house, one.id).name == "cell 8"


def test_a_file_of_another_household_is_not_found(
    store: Store, house: int, small_house: dict[str, Any], files: FileTable
) -> None:
    one = files.add(store, house, "cell 7", "log", LOG, {})
    other = store.create({**small_house, "name": "other"}, "made").household_id
    with pytest.raises(InputError, match=f"no {files.thing} number"):
        files.find(store, other, one.id)
    with pytest.raises(InputError, match=f"no {files.thing} number"):
        files.find(store, house, 10**30)


def test_files_go_with_their_household(store: Store, house: int, files: FileTable) -> None:
    files.add(store, house, "cell 7", "log", LOG, {})
    store.delete(house)
    assert files.drafts(store, house)
    store.undelete(house)
    assert files.drafts(store, house)
    with store.transaction() as db:
        db.execute("DELETE FROM households WHERE id = ?", (house,))
    assert files.drafts(store, house) == []


@pytest.mark.parametrize("schema", range(1, len(TABLES) + 1))
def test_a_store_of_an_earlier_schema_is_taken_along(
    tmp_path: Path, clock: Clock, small_house: dict[str, Any], monkeypatch: pytest.MonkeyPatch, schema: int
) -> None:
    every = store_schema.MIGRATIONS
    monkeypatch.setattr(store_schema, "MIGRATIONS", every[:schema])
    old = Store(tmp_path / "old", clock)
    house = old.create(small_house, "made").household_id
    before = [(files, files.add(old, house, "cell 7", "log", b"volts", {})) for files in TABLES[: schema - 1]]
    old.close()
    monkeypatch.setattr(store_schema, "MIGRATIONS", every)
    new = Store(tmp_path / "old", clock)
    assert new.current().name == "Test croft"
    assert all(files.content(new, kept.id) == b"volts" for files, kept in before)
    added = TABLES[schema - 1]
    file = added.add(new, house, "roof", "log", LOG, {})
    new.close()
    again = Store(tmp_path / "old", clock)
    assert added.content(again, file.id) == LOG
    again.close()
    (copy,) = (tmp_path / "old").glob(f"*.schema{schema}.*")
    kept = sqlite3.connect(copy)
    found = kept.execute("SELECT count(*) FROM sqlite_master WHERE name = ?", (added.table,)).fetchone()
    assert found == (0,)
    kept.close()
