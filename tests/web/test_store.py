"""Households are kept, versioned, never silently overwritten, and opened again."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from engine.errors import InputError
from tests.conftest import Clock
from webapp import store as store_module
from webapp import store_file, store_schema
from webapp.store import Conflict, Store


@pytest.fixture
def store(tmp_path: Path, clock: Clock) -> Iterator[Store]:
    one = Store(tmp_path / "data", clock)
    yield one
    one.close()


def test_a_save_is_one_new_version_with_what_and_when(store: Store, small_house: dict[str, Any], clock: Clock) -> None:
    first = store.create(small_house, "made")
    clock.now += timedelta(minutes=5)
    small_house["name"] = "Renamed"
    second = store.save(first.household_id, first.revision, small_house, "named Renamed")
    assert (second.revision, second.what, second.saved_at) == (2, "named Renamed", clock.now)
    assert store.current() == second
    assert [v.revision for v in store.versions(first.household_id)] == [2, 1]


def test_a_save_over_a_newer_version_is_refused_and_nothing_lost(store: Store, small_house: dict[str, Any]) -> None:
    first = store.create(small_house, "made")
    newer = store.save(first.household_id, 1, {**small_house, "name": "by the phone"}, "phone")
    with pytest.raises(Conflict) as fault:
        store.save(first.household_id, 1, {**small_house, "name": "by the desktop"}, "desktop")
    assert fault.value.newer == newer
    assert store.current() == newer


def test_undo_restores_as_a_new_version(store: Store, small_house: dict[str, Any]) -> None:
    first = store.create(small_house, "made")
    second = store.save(first.household_id, 1, {**small_house, "name": "worse"}, "worse")
    third = store.restore(first.household_id, 1, second.revision, "undid: worse")
    assert third.revision == 3
    assert third.hash == first.hash
    assert store.restore(first.household_id, 2, 3, "redid").hash == second.hash


def test_all_is_there_after_a_restart(tmp_path: Path, clock: Clock, small_house: dict[str, Any]) -> None:
    before = Store(tmp_path / "data", clock)
    kept = before.create(small_house, "made")
    before.create({**small_house, "name": "other"}, "made")
    before.open(kept.household_id)
    before.close()
    after = Store(tmp_path / "data", clock)
    assert after.current() == kept
    assert len(after.households()) == 2
    after.close()


def test_delete_can_be_undone(store: Store, small_house: dict[str, Any]) -> None:
    kept = store.create(small_house, "made")
    other = store.create({**small_house, "name": "other"}, "made")
    store.delete(other.household_id)
    assert store.current() == kept
    assert [s.name for s in store.households(deleted=True)] == ["other"]
    assert store.undelete(other.household_id) == other
    assert store.current() == kept
    assert {s.name for s in store.households()} == {kept.name, "other"}


def test_a_file_is_copied_never_written_and_reopened(store: Store, house_file: Path) -> None:
    text = house_file.read_bytes()
    first = store.begin(house_file)
    store.save(first.household_id, 1, {**first.document, "name": "changed here"}, "renamed")
    again = store.begin(house_file)
    assert again.household_id == first.household_id
    assert again.name == "changed here"
    assert len(store.households()) == 1
    assert house_file.read_bytes() == text
    house_file.write_text(json.dumps({**json.loads(text), "name": "another text"}), encoding="utf-8")
    assert store.begin(house_file).household_id != first.household_id


def test_a_bad_file_is_refused_by_field(store: Store, house_file: Path, small_house: dict[str, Any]) -> None:
    small_house["banks"][0]["colour"] = "green"
    house_file.write_text(json.dumps(small_house), encoding="utf-8")
    with pytest.raises(InputError, match="colour"):
        store.begin(house_file)
    assert store.households() == []


def test_first_start_opens_the_marked_example(store: Store) -> None:
    saved = store.begin(None)
    assert saved.example
    assert saved.document["banks"]
    assert store.begin(None) == saved


def test_versions_are_thinned_to_the_last_and_one_a_day(
    store: Store, small_house: dict[str, Any], clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store_module, "KEPT_VERSIONS", 4)
    saved = store.create(small_house, "made")
    for number in range(2, 13):
        clock.now += timedelta(hours=8)
        saved = store.save(saved.household_id, saved.revision, {**small_house, "note": str(number)}, "more")
    kept = store.versions(saved.household_id)
    assert [v.revision for v in kept[:4]] == [12, 11, 10, 9]
    days = [v.saved_at.date() for v in kept[4:]]
    assert days == sorted(set(days), reverse=True)
    assert kept[-1].saved_at.date().isoformat() == "2026-11-25"
    last_of_its_day = {v.revision for v in kept[4:]}
    assert last_of_its_day == {1, 4, 7}


def test_many_threads_save_one_after_another(store: Store, small_house: dict[str, Any]) -> None:
    first = store.create(small_house, "made")

    def try_once(number: int) -> bool:
        try:
            store.save(first.household_id, store.latest(first.household_id).revision, small_house, str(number))
        except Conflict:
            return False
        return True

    with ThreadPoolExecutor(8) as pool:
        saved = sum(pool.map(try_once, range(60)))
    assert store.current().revision == 1 + saved
    assert saved >= 1


def test_two_saves_at_once_make_one_daily_copy_and_no_alarm(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    at_it, go_on = threading.Event(), threading.Event()
    made: list[str] = []

    def slowly(db: sqlite3.Connection, folder: Path, now: datetime) -> None:
        made.append(threading.current_thread().name)
        at_it.set()
        assert go_on.wait(20)

    monkeypatch.setattr(store_file, "copy_due", lambda folder, now: True)
    monkeypatch.setattr(store_file, "keep_copy", slowly)
    first = threading.Thread(target=store.copy_if_due, name="first")
    first.start()
    assert at_it.wait(20)
    second = threading.Thread(target=store.copy_if_due, name="second")
    second.start()
    second.join(20)
    waits = second.is_alive()
    go_on.set()
    for one in (first, second):
        one.join(20)
    assert not waits
    assert made == ["first"]
    assert store.said == ()
    store.copy_if_due()
    assert len(made) == 2


def test_a_file_of_a_newer_program_is_not_touched(tmp_path: Path, clock: Clock) -> None:
    Store(tmp_path, clock).close()
    db = sqlite3.connect(tmp_path / store_schema.FILE_NAME)
    db.execute("PRAGMA user_version = 99")
    db.close()
    with pytest.raises(InputError, match="newer Greyspell"):
        Store(tmp_path, clock)


def test_a_migration_keeps_a_copy_of_what_was(
    tmp_path: Path, clock: Clock, small_house: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    old = Store(tmp_path, clock)
    old.create(small_house, "made")
    old.close()
    more = (*store_schema.MIGRATIONS, "CREATE TABLE later (x);")
    monkeypatch.setattr(store_schema, "MIGRATIONS", more)
    new = Store(tmp_path, clock)
    assert new.current().name == "Test croft"
    new.close()
    copies = list(tmp_path.glob(f"{store_schema.FILE_NAME}.schema{len(more) - 1}.*"))
    assert len(copies) == 1
    kept = sqlite3.connect(copies[0])
    assert kept.execute("SELECT count(*) FROM versions").fetchone() == (1,)
    kept.close()
