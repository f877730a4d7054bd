"""What was read from a house's meter lies beside its files, and all files are one log; test_kept_files has the rest."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine.errors import InputError
from engine.meter.log import MeterLog
from tests.conftest import Clock
from webapp import meter_store
from webapp.store import Store

DAY = 1440


def minutes(first: int, count: int, *, watts: float = 100.0, key: str = "load_w") -> MeterLog:
    """Rows of a minute each, of which the second is not known."""
    values = np.full(count, watts)
    values[1] = np.nan
    start_s = 60.0 * np.arange(first, first + count)
    return MeterLog(start_s=start_s, step_s=np.full(count, 60.0), values={key: values})


def taken(store: Store, house: int, log: MeterLog, name: str = "meter") -> int:
    """A file brought and accepted."""
    file_id = meter_store.add(store, house, name, "table", b"rows", {}).id
    meter_store.accept(store, file_id, "table", {"columns": {}}, log)
    return file_id


def test_rows_come_back_to_the_last_digit_and_over_a_restart(
    tmp_path: Path, clock: Clock, small_house: dict[str, Any]
) -> None:
    chance = np.random.default_rng(7)
    values = {key: chance.normal(0.0, 1e3, 500) for key in ("load_w", "yield_w", "bank_v")}
    values["bank_v"][3:9] = np.nan
    log = MeterLog(start_s=1.7e9 + np.arange(500.0) / 4.0, step_s=np.full(500, 0.25), values=values)
    before = Store(tmp_path / "other", clock)
    house = before.create(small_house, "made").household_id
    file_id = taken(before, house, log)
    before.close()
    after = Store(tmp_path / "other", clock)
    for found in (meter_store.rows(after, file_id), meter_store.whole(after, house).log):
        np.testing.assert_array_equal(found.start_s, log.start_s)
        np.testing.assert_array_equal(found.step_s, log.step_s)
        assert sorted(found.values) == sorted(values)
        for key, column in values.items():
            np.testing.assert_array_equal(found.values[key], column)
    after.close()


def test_the_file_brought_first_goes_before_and_a_later_one_adds_what_is_new(store: Store, house: int) -> None:
    assert meter_store.whole(store, house).log.rows == 0
    first = taken(store, house, minutes(0, 2 * DAY, watts=100.0))
    assert meter_store.whole(store, house).added == {first: 2 * DAY}
    second = taken(store, house, minutes(DAY, 2 * DAY, watts=200.0))
    third = taken(store, house, minutes(0, DAY, watts=51.0, key="bank_v"))
    whole = meter_store.whole(store, house)
    assert whole.added == {first: 2 * DAY, second: DAY, third: 0}
    assert whole.log.rows == 3 * DAY
    # The last row of the first may have been half over; the second has rows before and after it.
    load_w = whole.log.values["load_w"]
    assert load_w[[0, 2 * DAY - 2, 2 * DAY - 1, 2 * DAY]].tolist() == [100.0, 100.0, 200.0, 200.0]
    assert np.isfinite(whole.log.values["bank_v"]).sum() == DAY - 1


def test_a_deleted_file_counts_for_nothing_until_it_is_back(store: Store, house: int) -> None:
    first = taken(store, house, minutes(0, DAY))
    second = taken(store, house, minutes(DAY // 2, DAY, watts=200.0))
    before = meter_store.whole(store, house)
    assert meter_store.whole(store, house) is before
    meter_store.delete(store, first)
    alone = meter_store.whole(store, house)
    assert (alone.log.rows, alone.added) == (DAY, {second: DAY})
    meter_store.undelete(store, first)
    again = meter_store.whole(store, house)
    assert again.added == before.added
    np.testing.assert_array_equal(again.log.values["load_w"], before.log.values["load_w"])


def test_reading_again_takes_the_place_of_the_rows_even_where_choices_and_length_are_the_same(
    store: Store, house: int
) -> None:
    file_id = taken(store, house, minutes(0, DAY, watts=100.0))
    meter_store.whole(store, house)
    meter_store.accept(store, file_id, "table", {"columns": {}}, minutes(0, DAY, watts=200.0))
    assert meter_store.whole(store, house).log.values["load_w"][0] == 200.0
    assert store.rows("SELECT count(*) AS n FROM meter_rows")[0]["n"] == 1


def test_households_and_drafts_do_not_meet(store: Store, house: int, small_house: dict[str, Any]) -> None:
    taken(store, house, minutes(0, DAY))
    meter_store.add(store, house, "draft", "table", b"rows", {})
    other = store.create({**small_house, "name": "other"}, "made").household_id
    assert meter_store.whole(store, house).log.rows == DAY
    assert meter_store.whole(store, other).log.rows == 0


def test_a_file_that_was_not_read_says_so(store: Store, house: int) -> None:
    draft = meter_store.add(store, house, "draft", "table", b"rows", {})
    for file_id in (draft.id, 10**30):
        with pytest.raises(InputError, match="read it again"):
            meter_store.rows(store, file_id)


def test_more_rows_than_a_start_would_look_over_are_refused_and_nothing_is_kept(
    store: Store, house: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(meter_store, "LONGEST_ROWS_BYTES", 24 * DAY)
    draft = meter_store.add(store, house, "draft", "table", b"rows", {})
    with pytest.raises(InputError, match="1,441 rows; with so many columns at most 1,440 are kept"):
        meter_store.accept(store, draft.id, "table", {}, minutes(0, DAY + 1))
    assert not meter_store.find(store, house, draft.id).accepted
    assert store.rows("SELECT count(*) AS n FROM meter_rows")[0]["n"] == 0


def test_rows_go_with_their_file_and_it_with_its_household(store: Store, house: int) -> None:
    taken(store, house, minutes(0, DAY))
    store.delete(house)
    assert meter_store.whole(store, house).log.rows == DAY
    with store.transaction() as db:
        db.execute("DELETE FROM households WHERE id = ?", (house,))
    assert store.rows("SELECT count(*) AS n FROM meter_rows")[0]["n"] == 0
    assert meter_store.whole(store, house).log.rows == 0


def test_rows_and_how_they_were_read_are_kept_together_or_not_at_all(store: Store, house: int) -> None:
    file_id = taken(store, house, minutes(0, DAY))
    before = meter_store.find(store, house, file_id)
    with pytest.raises(TypeError):
        meter_store.accept(store, file_id, "table", {"no": object()}, minutes(0, 2 * DAY))
    assert meter_store.rows(store, file_id).rows == DAY
    assert meter_store.find(store, house, file_id) == before
