"""Cell tests and plans are kept beside a household, outlive a restart, and go with it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from engine.errors import InputError
from tests.conftest import Clock
from webapp import bench_store, kept_files
from webapp import store as store_module
from webapp.store import Store

LOG = b"time,volts,amps\n" + b"0,3.2,1.5\n" * 1000


@pytest.fixture
def store(tmp_path: Path, clock: Clock) -> Iterator[Store]:
    one = Store(tmp_path / "data", clock)
    yield one
    one.close()


@pytest.fixture
def house(store: Store, small_house: dict[str, Any]) -> int:
    """The number of a household."""
    return store.create(small_house, "made").household_id


def test_a_file_comes_back_byte_for_byte_and_lies_packed(store: Store, house: int) -> None:
    draft = bench_store.add(store, house, "cell 7", "log", LOG, {"series": 1})
    assert bench_store.content(store, draft.id) == LOG
    packed = store.rows("SELECT length(content) AS bytes FROM cell_tests")[0]["bytes"]
    assert packed < len(LOG) / 4
    assert draft.choices == {"series": 1}


def test_a_draft_is_no_test_until_it_is_accepted(store: Store, house: int) -> None:
    draft = bench_store.add(store, house, "cell 7", "log", LOG, {})
    assert bench_store.accepted(store, house) == []
    assert [one.id for one in bench_store.drafts(store, house)] == [draft.id]
    bench_store.accept(store, draft.id, "table", {"tail_a": 0.1})
    assert bench_store.drafts(store, house) == []
    (kept,) = bench_store.accepted(store, house)
    assert (kept.kind, kept.choices, kept.accepted) == ("table", {"tail_a": 0.1}, True)


def test_all_is_there_after_a_restart(tmp_path: Path, clock: Clock, small_house: dict[str, Any]) -> None:
    before = Store(tmp_path / "other", clock)
    house = before.create(small_house, "made").household_id
    draft = bench_store.add(before, house, "cell 7", "log", LOG, {})
    bench_store.accept(before, draft.id, "log", {"label_ah": 1.3})
    kept = bench_store.accepted(before, house)
    before.close()
    after = Store(tmp_path / "other", clock)
    assert bench_store.accepted(after, house) == kept
    assert bench_store.content(after, draft.id) == LOG
    after.close()


def test_drafts_and_deleted_tests_of_yesterday_go_at_the_next_upload(store: Store, house: int, clock: Clock) -> None:
    draft = bench_store.add(store, house, "forgotten", "log", LOG, {})
    deleted = bench_store.add(store, house, "deleted", "log", LOG, {})
    kept = bench_store.add(store, house, "kept", "log", LOG, {})
    for one in (deleted, kept):
        bench_store.accept(store, one.id, "log", {})
    bench_store.delete(store, deleted.id)
    clock.now += timedelta(hours=23)
    bench_store.add(store, house, "same day", "log", LOG, {})
    assert bench_store.find(store, house, draft.id).name == "forgotten"
    clock.now += timedelta(hours=2)
    bench_store.add(store, house, "next day", "log", LOG, {})
    for gone in (draft, deleted):
        with pytest.raises(InputError, match="no cell test number"):
            bench_store.find(store, house, gone.id)
    assert [one.name for one in bench_store.accepted(store, house)] == ["kept"]
    assert [one.name for one in bench_store.drafts(store, house)] == ["next day", "same day"]


def test_delete_can_be_undone(store: Store, house: int) -> None:
    one = bench_store.add(store, house, "cell 7", "log", LOG, {})
    bench_store.accept(store, one.id, "log", {})
    bench_store.delete(store, one.id)
    assert bench_store.accepted(store, house) == []
    assert [gone.name for gone in bench_store.deleted(store, house)] == ["cell 7"]
    bench_store.undelete(store, one.id)
    assert [back.name for back in bench_store.accepted(store, house)] == ["cell 7"]


def test_a_deleted_draft_can_be_brought_back_as_a_draft(store: Store, house: int) -> None:
    one = bench_store.add(store, house, "cell 7", "log", LOG, {})
    bench_store.delete(store, one.id)
    assert [gone.name for gone in bench_store.deleted(store, house)] == ["cell 7"]
    bench_store.undelete(store, one.id)
    assert [back.name for back in bench_store.drafts(store, house)] == ["cell 7"]


@pytest.mark.parametrize("unseen", ["\u202e", "\u200b", "\x07", "\r\n", "\x1b"])
def test_a_name_holds_nothing_that_cannot_be_seen(store: Store, house: int, unseen: str) -> None:
    one = bench_store.add(store, house, f"{unseen}cell 7{unseen}", "log", LOG, {})
    assert one.name == "cell 7"
    bench_store.rename(store, one.id, f"cell 8{unseen}")
    assert bench_store.find(store, house, one.id).name == "cell 8"
    with pytest.raises(InputError, match="1 to 80 characters"):
        bench_store.rename(store, one.id, unseen)
    assert bench_store.add(store, house, unseen, "log", LOG, {}).name == kept_files.UNNAMED


@pytest.mark.parametrize("name", ["", "x" * 81])
def test_a_name_must_have_a_length(store: Store, house: int, name: str) -> None:
    one = bench_store.add(store, house, "cell 7", "log", LOG, {})
    with pytest.raises(InputError, match="1 to 80 characters"):
        bench_store.rename(store, one.id, name)
    bench_store.rename(store, one.id, "cell 8")
    assert bench_store.find(store, house, one.id).name == "cell 8"


def test_a_test_of_another_household_is_not_found(store: Store, house: int, small_house: dict[str, Any]) -> None:
    one = bench_store.add(store, house, "cell 7", "log", LOG, {})
    other = store.create({**small_house, "name": "other"}, "made").household_id
    with pytest.raises(InputError):
        bench_store.find(store, other, one.id)
    with pytest.raises(InputError):
        bench_store.find(store, house, 10**30)


def test_rows_go_with_their_household(store: Store, house: int) -> None:
    bench_store.add(store, house, "cell 7", "log", LOG, {})
    bench_store.keep_plan(store, house, {"question": "hold"}, {"hours": 3})
    store.delete(house)
    assert bench_store.drafts(store, house)
    store.undelete(house)
    assert bench_store.drafts(store, house)
    with store.transaction() as db:
        db.execute("DELETE FROM households WHERE id = ?", (house,))
    assert bench_store.drafts(store, house) == []
    assert bench_store.plans(store, house) == []


def test_the_same_plan_is_kept_once(store: Store, house: int) -> None:
    first = bench_store.keep_plan(store, house, {"question": "hold", "label_ah": "1.3"}, {"points": 2.0})
    bench_store.keep_plan(store, house, {"question": "volts"}, {"points": 1.0})
    again = bench_store.keep_plan(store, house, {"label_ah": "1.3", "question": "hold"}, {"points": 3.0})
    assert [plan.forecast for plan in bench_store.plans(store, house)] == [{"points": 3.0}, {"points": 1.0}]
    bench_store.drop_plan(store, house, first.id)
    assert len(bench_store.plans(store, house)) == 2
    bench_store.drop_plan(store, house, again.id)
    assert [plan.asked for plan in bench_store.plans(store, house)] == [{"question": "volts"}]


def test_a_store_of_the_first_schema_is_taken_along(
    tmp_path: Path, clock: Clock, small_house: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    every = store_module.MIGRATIONS
    monkeypatch.setattr(store_module, "MIGRATIONS", every[:1])
    old = Store(tmp_path / "old", clock)
    house = old.create(small_house, "made").household_id
    old.close()
    monkeypatch.setattr(store_module, "MIGRATIONS", every)
    new = Store(tmp_path / "old", clock)
    assert new.current().name == "Test croft"
    bench_store.add(new, house, "cell 7", "log", LOG, {})
    new.close()
    (copy,) = (tmp_path / "old").glob("*.schema1.*")
    kept = sqlite3.connect(copy)
    assert kept.execute("SELECT count(*) FROM sqlite_master WHERE name = 'cell_tests'").fetchone() == (0,)
    kept.close()
