"""Sun records are kept beside a household, apart from its cell tests, outlive a restart, and go with it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from engine.errors import InputError
from tests.conftest import Clock
from webapp import bench_store, sky_store
from webapp import store as store_module
from webapp.store import Store

DAYS = b"date,kWh\n" + b"2025-01-01,1.5\n" * 1000


@pytest.fixture
def store(tmp_path: Path, clock: Clock) -> Iterator[Store]:
    one = Store(tmp_path / "data", clock)
    yield one
    one.close()


@pytest.fixture
def house(store: Store, small_house: dict[str, Any]) -> int:
    """The number of a household."""
    return store.create(small_house, "made").household_id


def test_a_record_comes_back_byte_for_byte_and_lies_packed(store: Store, house: int) -> None:
    draft = sky_store.add(store, house, "roof", "yield", DAYS, {"unit": "kWh"})
    assert sky_store.content(store, draft.id) == DAYS
    assert store.rows("SELECT length(content) AS bytes FROM sky_files")[0]["bytes"] < len(DAYS) / 4
    assert draft.choices == {"unit": "kWh"}


def test_records_and_cell_tests_do_not_meet(store: Store, house: int) -> None:
    record = sky_store.add(store, house, "roof", "yield", DAYS, {})
    test = bench_store.add(store, house, "cell 7", "log", b"x", {})
    assert record.id == test.id
    sky_store.accept(store, record.id, "radiation", {"unit": "J/cm2"})
    assert bench_store.accepted(store, house) == []
    (kept,) = sky_store.accepted(store, house)
    assert (kept.kind, kept.choices) == ("radiation", {"unit": "J/cm2"})
    bench_store.delete(store, test.id)
    assert not sky_store.find(store, house, record.id).deleted


def test_drafts_and_deleted_records_of_yesterday_go_at_the_next_upload(store: Store, house: int, clock: Clock) -> None:
    draft = sky_store.add(store, house, "forgotten", "yield", DAYS, {})
    gone = sky_store.add(store, house, "deleted", "yield", DAYS, {})
    kept = sky_store.add(store, house, "kept", "yield", DAYS, {})
    for one in (gone, kept):
        sky_store.accept(store, one.id, "yield", {})
    sky_store.delete(store, gone.id)
    clock.now += timedelta(hours=25)
    sky_store.add(store, house, "today", "yield", DAYS, {})
    for one in (draft, gone):
        with pytest.raises(InputError, match="no sun record number"):
            sky_store.find(store, house, one.id)
    assert [one.name for one in sky_store.accepted(store, house)] == ["kept"]


def test_delete_can_be_undone(store: Store, house: int) -> None:
    one = sky_store.add(store, house, "roof", "yield", DAYS, {})
    sky_store.accept(store, one.id, "yield", {})
    sky_store.delete(store, one.id)
    assert sky_store.accepted(store, house) == []
    assert [gone.name for gone in sky_store.deleted(store, house)] == ["roof"]
    sky_store.undelete(store, one.id)
    assert [back.name for back in sky_store.accepted(store, house)] == ["roof"]


def test_a_record_of_another_household_is_not_found(store: Store, house: int, small_house: dict[str, Any]) -> None:
    one = sky_store.add(store, house, "roof", "yield", DAYS, {})
    other = store.create({**small_house, "name": "other"}, "made").household_id
    with pytest.raises(InputError, match="no sun record number"):
        sky_store.find(store, other, one.id)


def test_records_go_with_their_household(store: Store, house: int) -> None:
    sky_store.add(store, house, "roof", "yield", DAYS, {})
    store.delete(house)
    assert sky_store.drafts(store, house)
    with store.transaction() as db:
        db.execute("DELETE FROM households WHERE id = ?", (house,))
    assert sky_store.drafts(store, house) == []


def test_a_store_of_the_second_schema_is_taken_along(
    tmp_path: Path, clock: Clock, small_house: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    every = store_module.MIGRATIONS
    monkeypatch.setattr(store_module, "MIGRATIONS", every[:2])
    old = Store(tmp_path / "old", clock)
    house = old.create(small_house, "made").household_id
    test = bench_store.add(old, house, "cell 7", "log", b"volts", {})
    old.close()
    monkeypatch.setattr(store_module, "MIGRATIONS", every)
    new = Store(tmp_path / "old", clock)
    assert bench_store.content(new, test.id) == b"volts"
    record = sky_store.add(new, house, "roof", "yield", DAYS, {})
    new.close()
    again = Store(tmp_path / "old", clock)
    assert sky_store.content(again, record.id) == DAYS
    again.close()
    (copy,) = (tmp_path / "old").glob("*.schema2.*")
    kept = sqlite3.connect(copy)
    assert kept.execute("SELECT count(*) FROM sqlite_master WHERE name = 'sky_files'").fetchone() == (0,)
    kept.close()
