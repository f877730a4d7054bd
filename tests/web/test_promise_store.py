"""The rows of the promise book: kept, replaced, told by later charges and by a log, deleted, bounded."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from engine.errors import InputError
from engine.meter.log import MeterLog
from tests.conftest import NOW, Clock
from tests.web.promise_books import asked, keep_book, note, promise
from webapp import meter_store, promise_store
from webapp.promise_log import score_by_log
from webapp.store import Store

DAY = timedelta(days=1)


def test_an_answer_comes_back_as_it_was_kept(store: Store, house: int) -> None:
    promise_store.keep(store, house, [note(NOW)])
    (kept,) = promise_store.answers(store, house)
    assert (kept.asked_at, kept.asked, kept.promise, kept.came) == (NOW, asked(), promise(), None)
    assert promise_store.find(store, house, kept.id) == kept
    with pytest.raises(InputError, match="no kept answer"):
        promise_store.find(store, house + 1, kept.id)


def test_the_same_question_within_the_hour_takes_its_place_another_bank_does_not(store: Store, house: int) -> None:
    promise_store.keep(store, house, [note(NOW), note(NOW, "barn")])
    promise_store.keep(store, house, [note(NOW + timedelta(minutes=50), soc=0.68)])
    assert [(one.bank_id, one.asked["soc"]) for one in promise_store.answers(store, house)] == [
        ("store", 0.68),
        ("barn", 0.7),
    ]
    promise_store.keep(store, house, [note(NOW + timedelta(minutes=120), soc=0.66)])
    assert len(promise_store.answers(store, house)) == 3


@pytest.mark.parametrize(("hours", "kept"), [(0.2, 1), (3.0, 1), (19.0, 1), (24.0, 2)])
def test_a_charge_typed_once_more_is_taken_as_the_same_reading(
    store: Store, house: int, hours: float, kept: int
) -> None:
    promise_store.keep(store, house, [note(NOW)])
    later = NOW + timedelta(hours=hours)
    promise_store.keep(store, house, [note(later)])
    found = promise_store.answers(store, house)
    assert len(found) == kept
    assert found[0].asked_at == (NOW if hours in (3.0, 19.0) else later)
    if kept == 1:
        assert found[0].came is None
        promise_store.keep(store, house, [note(later)], anew=True)
        assert promise_store.answers(store, house)[0].asked_at == later


def test_a_later_charge_scores_the_answers_before_it_and_the_nearest_to_a_day_stays(store: Store, house: int) -> None:
    promise_store.keep(store, house, [note(NOW)])
    for hours, soc in ((2.0, 0.69), (12.0, 0.46), (23.0, 0.40), (47.0, 0.30)):
        promise_store.keep(store, house, [note(NOW + timedelta(hours=hours), soc=soc)])
    kept = promise_store.answers(store, house)[-1]
    assert kept.came is not None
    assert (kept.came["soc"], kept.came["how"]) == (0.40, "asked")
    score = kept.score()
    assert score is not None
    # 10 points below the likely 50 %, in a range of 5: twice its width.
    assert (score.within, score.ratio, score.error_soc) == (False, pytest.approx(2.0), pytest.approx(-0.1))


def test_a_bank_that_grew_is_another_one_and_begins_a_book_of_its_own(store: Store, house: int) -> None:
    keep_book(store, house, NOW - 90 * DAY, [0.30] * 20, ah=560.0)
    assert promise_store.factors(store, house)["store"] > 1.0
    promise_store.keep(store, house, [note(NOW, ah=560.0)])
    promise_store.keep(store, house, [note(NOW + DAY, ah=840.0)])
    assert [one.came for one in promise_store.answers(store, house)[:2]] == [None, None]
    assert promise_store.factors(store, house)["store"] > 1.0
    keep_book(store, house, NOW + 3 * DAY, [0.50], ah=840.0)
    assert promise_store.factors(store, house) == {}
    # An own capacity test moves it by a few percent: the same bank.
    keep_book(store, house, NOW + 9 * DAY, [0.30] * 20, ah=810.0)
    assert (
        promise_store.calibrations(store, house)["store"].counted == 22
    )  # the one of the day after the change among them


def test_what_a_person_typed_stands_against_later_charges(store: Store, house: int) -> None:
    promise_store.keep(store, house, [note(NOW)])
    (kept,) = promise_store.answers(store, house)
    assert promise_store.take(store, kept, "charge", NOW + timedelta(hours=5), 0.5, "typed")
    promise_store.keep(store, house, [note(NOW + DAY, soc=0.4)])
    assert promise_store.answers(store, house)[-1].came["how"] == "typed"  # type: ignore[index]


def test_loads_switched_off_in_between_or_a_generator_leave_it_open(store: Store, house: int) -> None:
    promise_store.keep(store, house, [note(NOW), note(NOW, "barn", generator=True)])
    promise_store.keep(store, house, [note(NOW + timedelta(hours=4), soc=0.6, off=["van"])])
    promise_store.keep(store, house, [note(NOW + DAY, soc=0.48, off=["van"]), note(NOW + DAY, "barn", soc=0.48)])
    came = {(one.bank_id, one.asked_at): one.came for one in promise_store.answers(store, house)}
    # The first is told after four hours, before anything was off; what came after that tells only of the second.
    assert came["store", NOW]["at"] == (NOW + timedelta(hours=4)).isoformat()  # type: ignore[index]
    assert came["store", NOW + timedelta(hours=4)]["soc"] == 0.48  # type: ignore[index]
    assert came["barn", NOW] is None


def test_what_does_not_tell_is_not_kept(store: Store, house: int) -> None:
    promise_store.keep(store, house, [note(NOW)])
    (kept,) = promise_store.answers(store, house)
    assert not promise_store.take(store, kept, "charge", NOW + timedelta(hours=1), 0.5, "typed")
    assert promise_store.answers(store, house)[0].came is None


def test_left_out_is_not_scored_and_can_be_opened_again(store: Store, house: int) -> None:
    keep_book(store, house, NOW, [0.5])
    (kept,) = promise_store.answers(store, house)
    promise_store.leave_out(store, kept)
    assert promise_store.answers(store, house)[0].score() is None
    assert promise_store.calibrations(store, house) == {}
    promise_store.open_again(store, kept)
    assert promise_store.answers(store, house)[0].came is None


def test_deleted_answers_come_back_for_a_day_and_go_after_it(store: Store, house: int, clock: Clock) -> None:
    keep_book(store, house, NOW - 9 * DAY, [0.5, 0.5, None])
    first = promise_store.answers(store, house)[-1]
    promise_store.delete(store, house, first.id)
    assert len(promise_store.answers(store, house)) == 2
    assert promise_store.calibrations(store, house)["store"].counted == 1
    promise_store.delete(store, house)
    assert promise_store.answers(store, house) == []
    promise_store.undelete(store, house)
    assert len(promise_store.answers(store, house)) == 3
    promise_store.delete(store, house, first.id)
    clock.now = NOW + 2 * DAY
    promise_store.keep(store, house, [note(NOW + 2 * DAY)])
    assert promise_store.deleted_count(store, house) == 0
    assert len(promise_store.answers(store, house)) == 3


def test_the_oldest_go_beyond_the_bound(store: Store, house: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(promise_store, "MOST_KEPT", 3)
    keep_book(store, house, NOW, [0.5] * 5)
    assert [one.asked_at for one in promise_store.answers(store, house)] == [NOW + 3 * n * DAY for n in (4, 3, 2)]


def test_answers_of_other_banks_or_deleted_ones_take_no_place_of_those_that_tell(
    store: Store, house: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(promise_store, "TOLD_ROWS", 12)
    keep_book(store, house, NOW, [0.5] * 12)
    keep_book(store, house, NOW + 60 * DAY, [0.5] * 12, bank_id="barn")
    for kept in promise_store.answers(store, house)[:3]:
        promise_store.delete(store, house, kept.id)
    assert {name: one.counted for name, one in promise_store.calibrations(store, house).items()} == {
        "store": 12,
        "barn": 9,
    }


def test_a_household_has_its_own_book_and_its_own_say(store: Store, house: int) -> None:
    other = store.create(store.latest(house).document | {"name": "Other"}, "made").household_id
    keep_book(store, house, NOW, [0.3] * 12)
    assert promise_store.answers(store, other) == []
    promise_store.keep(store, other, [note(NOW)])
    assert (len(promise_store.answers(store, other)), len(promise_store.answers(store, house))) == (1, 12)
    assert promise_store.factors(store, house) == {"store": 4.0}
    promise_store.allow(store, other, promise_store.WIDEN, False)
    assert promise_store.factors(store, house) == {"store": 4.0}
    promise_store.allow(store, house, promise_store.WIDEN, False)
    assert promise_store.factors(store, house) == {}
    store.delete(house)
    assert len(promise_store.answers(store, house)) == 12
    with store.transaction() as db:
        db.execute("DELETE FROM households WHERE id = ?", (house,))
    assert promise_store.answers(store, house) == []


def test_a_meters_log_scores_at_the_mark_nearest_to_a_day(store: Store, house: int, clock: Clock) -> None:
    promise_store.keep(store, house, [note(NOW), note(NOW, "barn", generator=True), note(NOW, "shed", banks=2)])
    assert score_by_log(store, house) == 0
    hours = np.arange(60.0)
    clock.now = NOW + 3 * DAY
    file = meter_store.add(store, house, "log", "table", b"kept", {})
    start_s = NOW.timestamp() + 3600.0 * hours
    log = MeterLog(start_s=start_s, step_s=np.full(60, 3600.0), values={"charge": 0.7 - 0.01 * hours})
    meter_store.accept(store, file.id, "table", {}, log)
    assert score_by_log(store, house) == 1
    came = {one.bank_id: one.came for one in promise_store.answers(store, house)}
    assert came["barn"] is None
    assert came["shed"] is None
    assert came["store"] is not None
    assert (came["store"]["at"], came["store"]["how"]) == ((NOW + DAY).isoformat(), "log")
    assert came["store"]["soc"] == pytest.approx(0.46)
    assert score_by_log(store, house) == 0
