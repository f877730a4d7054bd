"""Sun records are kept apart from cell tests; all else that files have in common is in test_kept_files."""

from __future__ import annotations

from webapp import bench_store, sky_store
from webapp.store import Store


def test_records_and_cell_tests_do_not_meet(store: Store, house: int) -> None:
    record = sky_store.add(store, house, "roof", "yield", b"date,kWh\n2025-01-01,1.5\n", {})
    test = bench_store.add(store, house, "cell 7", "log", b"x", {})
    assert record.id == test.id
    sky_store.accept(store, record.id, "radiation", {"unit": "J/cm2"})
    assert bench_store.accepted(store, house) == []
    (kept,) = sky_store.accepted(store, house)
    assert (kept.kind, kept.choices) == ("radiation", {"unit": "J/cm2"})
    bench_store.delete(store, test.id)
    assert not sky_store.find(store, house, record.id).deleted
