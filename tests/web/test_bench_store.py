"""Plans of a bench are kept beside a household and go with it; the files of its tests are in test_kept_files."""

from __future__ import annotations

from webapp import bench_store
from webapp.store import Store


def test_plans_go_with_their_household(store: Store, house: int) -> None:
    bench_store.keep_plan(store, house, {"question": "hold"}, {"hours": 3})
    store.delete(house)
    store.undelete(house)
    assert bench_store.plans(store, house)
    with store.transaction() as db:
        db.execute("DELETE FROM households WHERE id = ?", (house,))
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
