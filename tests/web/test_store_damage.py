"""A damaged file is kept and the last good copy brought back; a full disk and a closed folder are sentences."""

from __future__ import annotations

import errno
import random
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from engine.errors import InputError
from tests.conftest import Client, Clock, form_of, soup
from webapp import bench_store, store_copies, store_mending, store_schema
from webapp.app import create_app
from webapp.store import Store
from webapp.store_schema import FILE_NAME, StoreFault

SEED = 20261126
NOTES = 6


def filled(folder: Path, clock: Clock, document: dict[str, Any]) -> list[tuple[int, str]]:
    """Fill a data folder with versions, a cell test and a good copy; return every version's revision and hash."""
    one = Store(folder, clock)
    saved = one.create(document, "made")
    for number in range(NOTES):
        saved = one.save(saved.household_id, saved.revision, {**document, "note": f"{number} " * 400}, "noted")
    bench_store.add(one, saved.household_id, "cell 7", "log", b"time,volts\n" * 3000, {})
    one.close()
    Store(folder, clock).close()
    again = Store(folder, clock)
    kept = [(version.revision, version.hash) for version in again.versions(saved.household_id)]
    again.close()
    return kept


def filled_and_saved_after(folder: Path, clock: Clock, document: dict[str, Any]) -> None:
    """Fill a data folder, and save once more after its good copy was made."""
    filled(folder, clock, document)
    clock.now += timedelta(hours=1)
    one = Store(folder, clock)
    one.save(1, 7, {**document, "note": "after the copy"}, "noted")
    one.close()


def copies(folder: Path) -> list[str]:
    return [one.name for one in folder.glob(f"{FILE_NAME}.copy.*")]


def test_a_start_keeps_one_good_copy_a_day_and_the_last_three(
    tmp_path: Path, clock: Clock, small_house: dict[str, Any]
) -> None:
    filled(tmp_path, clock, small_house)
    assert copies(tmp_path) == [f"{FILE_NAME}.copy.20261125T173000Z"]
    for _ in range(5):
        clock.now += timedelta(hours=20)
        Store(tmp_path, clock).close()
    days = sorted(name.split(".copy.")[1][:8] for name in copies(tmp_path))
    assert days == ["20261127", "20261128", "20261129"]


def test_a_copy_is_made_while_running_once_a_day_has_gone(store: Store, house: int, clock: Clock) -> None:
    first = store.current()
    second = store.save(house, first.revision, {**first.document, "note": "a"}, "noted")
    clock.now += timedelta(hours=23)
    store.save(house, second.revision, {**first.document, "note": "b"}, "noted")
    assert len(copies(store.folder)) == 1
    clock.now += timedelta(hours=1)
    store.save(house, 3, {**first.document, "note": "c"}, "noted")
    newest = store_copies.copies(store.folder)[0]
    assert store_copies.made_at(newest) == clock.now
    with closing(sqlite3.connect(newest)) as db:
        assert db.execute("SELECT max(revision) FROM versions").fetchone() == (4,)


def _cut(where: float) -> Callable[[bytes], bytes]:
    return lambda content: content[: int(len(content) * where)]


@pytest.mark.parametrize(
    "harm",
    [
        _cut(0.0),
        _cut(0.01),
        _cut(0.5),
        _cut(0.97),
        lambda content: b"This is no database. " * 500,
        lambda content: content[:4096] + bytes(4096) + content[8192:],
    ],
)
def test_a_damaged_file_is_kept_and_the_good_copy_comes_back(
    tmp_path: Path, clock: Clock, small_house: dict[str, Any], harm: Callable[[bytes], bytes]
) -> None:
    kept = filled(tmp_path, clock, small_house)
    path = tmp_path / FILE_NAME
    harmed = harm(path.read_bytes())
    path.write_bytes(harmed)
    clock.now += timedelta(hours=3)
    client = Client(create_app(tmp_path, None, clock))
    page = soup(client.get("/files")).get_text(" ", strip=True)
    client.close()
    assert f"kept as {FILE_NAME}.damaged.20261125T203000Z" in page
    assert "good copy of 25 Nov 2026, 17:30 UTC was brought back" in page
    assert (tmp_path / f"{FILE_NAME}.damaged.20261125T203000Z").read_bytes() == harmed
    after = Store(tmp_path, clock)
    assert [(one.revision, one.hash) for one in after.versions(1)] == kept
    assert bench_store.content(after, 1) == b"time,volts\n" * 3000
    assert after.said == ()
    after.close()


def test_flipped_bits_are_found_or_harmless(tmp_path: Path, clock: Clock, small_house: dict[str, Any]) -> None:
    kept = filled(tmp_path, clock, small_house)
    whole = (tmp_path / FILE_NAME).read_bytes()
    chance = random.Random(SEED)
    refused: list[tuple[int, str]] = []
    for number in range(60):
        in_header, in_document = range(100), range(whole.index(b"3 3 3 3"), whole.index(b"3 3 3 3") + 700)
        at = chance.choice((in_header, in_document, range(len(whole)))[number % 3])
        harmed = bytearray(whole)
        harmed[at] ^= 1 << chance.randrange(8)
        remains = [one for one in tmp_path.iterdir() if ".damaged." in one.name or one.name.endswith(("-wal", "-shm"))]
        for one in remains:
            one.unlink()
        (tmp_path / FILE_NAME).write_bytes(harmed)
        try:
            after = Store(tmp_path, clock)
        except InputError as fault:
            refused.append((at, fault.message))
            continue
        assert after.said or at not in in_document
        assert bool(after.said) == any(".damaged." in one.name for one in tmp_path.iterdir())
        assert [(one.revision, one.hash) for one in after.versions(1)] == kept, at
        assert bench_store.content(after, 1) == b"time,volts\n" * 3000
        assert after.current().document["banks"] == small_house["banks"]
        after.close()
    assert all(60 <= at < 64 and "newer Greyspell" in said for at, said in refused)


def test_saves_after_the_copy_are_read_out_of_the_damaged_file(
    tmp_path: Path, clock: Clock, small_house: dict[str, Any]
) -> None:
    filled_and_saved_after(tmp_path, clock, small_house)
    path = tmp_path / FILE_NAME
    content = bytearray(path.read_bytes())
    at = content.index(b"cell 7")
    content[at + 200 : at + 240] = bytes(40)
    path.write_bytes(content)
    after = Store(tmp_path, clock)
    assert "1 later save was read out" in after.said[0]
    assert after.current().document["note"] == "after the copy"
    after.close()


def test_without_a_copy_the_last_readable_versions_are_read_out(
    tmp_path: Path, clock: Clock, small_house: dict[str, Any]
) -> None:
    kept = filled(tmp_path, clock, small_house)
    for name in copies(tmp_path):
        (tmp_path / name).unlink()
    path = tmp_path / FILE_NAME
    content = bytearray(path.read_bytes())
    at = content.index(b"cell 7")
    content[at + 200 : at + 240] = bytes(40)
    path.write_bytes(content)
    after = Store(tmp_path, clock)
    assert "no good copy" in after.said[0]
    assert after.current().hash == kept[0][1]
    after.close()


def test_without_a_copy_and_nothing_to_read_it_starts_anew_beside_the_damaged_file(
    tmp_path: Path, clock: Clock
) -> None:
    (tmp_path / FILE_NAME).write_bytes(b"no database at all" * 300)
    after = Store(tmp_path, clock)
    assert "starts anew beside it" in after.said[0]
    assert after.begin(None).example
    assert len(list(tmp_path.glob("*.damaged.*"))) == 1
    after.close()


def test_a_damaged_copy_is_passed_over(tmp_path: Path, clock: Clock, small_house: dict[str, Any]) -> None:
    filled(tmp_path, clock, small_house)
    clock.now += timedelta(days=1)
    Store(tmp_path, clock).close()
    newest = store_copies.copies(tmp_path)[0]
    newest.write_bytes(newest.read_bytes()[:9000])
    (tmp_path / FILE_NAME).write_bytes(b"gone")
    after = Store(tmp_path, clock)
    assert "good copy of 25 Nov 2026, 17:30 UTC" in after.said[0]
    after.close()


def test_a_file_that_another_program_holds_is_left_as_it_is(
    tmp_path: Path, clock: Clock, small_house: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    filled_and_saved_after(tmp_path, clock, small_house)
    connect = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", partial(connect, timeout=0.05))
    with closing(connect(tmp_path / FILE_NAME, isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE")
        other.execute("BEGIN EXCLUSIVE")
        before = {one.name: one.read_bytes() for one in tmp_path.iterdir()}
        with pytest.raises(StoreFault, match="another program holds its file") as refused:
            Store(tmp_path, clock)
        assert refused.value.status == 503
        assert {one.name: one.read_bytes() for one in tmp_path.iterdir()} == before
    after = Store(tmp_path, clock)
    assert (after.said, after.current().revision) == ((), 8)
    after.close()


@pytest.mark.parametrize("code", [sqlite3.SQLITE_IOERR_READ, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_BUSY_RECOVERY])
@pytest.mark.parametrize("of_a_copy", [False, True])
def test_a_disk_that_does_not_answer_at_the_start_is_no_damage(
    tmp_path: Path,
    clock: Clock,
    small_house: dict[str, Any],
    monkeypatch: pytest.MonkeyPatch,
    code: int,
    of_a_copy: bool,
) -> None:
    filled(tmp_path, clock, small_house)
    if of_a_copy:
        (tmp_path / FILE_NAME).write_bytes(b"gone")
    before = {one.name: one.read_bytes() for one in tmp_path.iterdir()}
    only_read = store_copies.only_read

    @contextmanager
    def failing(path: Path) -> Iterator[sqlite3.Connection]:
        if (".copy." in path.name) == of_a_copy:
            fault = sqlite3.OperationalError("as made up")
            fault.sqlite_errorcode = code
            raise fault
        with only_read(path) as db:
            yield db

    monkeypatch.setattr(store_copies, "only_read", failing)
    with pytest.raises(StoreFault, match="Nothing was changed"):
        Store(tmp_path, clock)
    assert {one.name: one.read_bytes() for one in tmp_path.iterdir()} == before


def test_a_migration_that_fails_leaves_the_file_as_it_was(
    tmp_path: Path, clock: Clock, small_house: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    filled(tmp_path, clock, small_house)
    before = (tmp_path / FILE_NAME).read_bytes()
    every = store_schema.MIGRATIONS
    monkeypatch.setattr(store_schema, "MIGRATIONS", (*every, "CREATE TABLE later (x); DELETE FROM no_such_table;"))
    with pytest.raises(StoreFault):
        Store(tmp_path, clock)
    assert (tmp_path / FILE_NAME).read_bytes() == before
    monkeypatch.setattr(store_schema, "MIGRATIONS", every)
    after = Store(tmp_path, clock)
    assert (after.said, after.current().name) == ((), "Test croft")
    after.close()


def test_a_full_disk_is_a_sentence_and_keeps_what_was_typed(client: Client) -> None:
    db = client.store._db
    db.execute(f"PRAGMA max_page_count = {db.execute('PRAGMA page_count').fetchone()[0]}")
    sent = form_of(soup(client.get("/prices")), "prices-form") | {"currency": "€", "bank_per_kwh": "321"}
    before = client.store.current()
    answers = []
    for _ in range(20):
        answers.append(client.post("/prices", sent))
        if answers[-1].status_code == 507:
            break
        sent["revision"] = str(int(sent["revision"]) + 1)
    page = soup(answers[-1])
    assert answers[-1].status_code == 507
    assert "the disk of the folder" in page.get_text()
    assert "make room" in page.get_text()
    assert page.find(id="prices-bank_per_kwh")["value"] == "321"
    assert client.store.current().revision == before.revision + len(answers) - 1


@pytest.mark.parametrize(
    "fault", [sqlite3.OperationalError("database or disk is full"), OSError(errno.ENOSPC, "No space left on device")]
)
def test_a_daily_copy_that_finds_no_room_takes_nothing_from_a_save_and_is_said_until_one_is_made(
    client: Client, clock: Clock, monkeypatch: pytest.MonkeyPatch, fault: Exception
) -> None:
    if isinstance(fault, sqlite3.Error):
        fault.sqlite_errorcode = sqlite3.SQLITE_FULL

    def full(db: sqlite3.Connection, path: Path) -> None:
        raise fault

    def priced(price: str) -> str:
        sent = form_of(soup(client.get("/prices")), "prices-form") | {"currency": "€", "bank_per_kwh": price}
        assert client.post("/prices", sent).status_code == 303
        assert client.document()["prices"]["bank_per_kwh"] == float(price)
        return soup(client.get("/prices")).get_text(" ", strip=True)

    clock.now += timedelta(days=2)
    before = copies(client.store.folder)
    with monkeypatch.context() as patched:
        patched.setattr(store_copies, "write_copy", full)
        page = priced("321")
        assert "The daily copy could not be made" in page
        assert "Your saves are kept" in page
        assert "Nothing was saved" not in page
        assert priced("322").count("The daily copy could not be made") == 1
        assert copies(client.store.folder) == before
    assert "daily copy" not in priced("323")
    assert len(copies(client.store.folder)) == len(before) + 1


def test_a_folder_closed_while_running_is_a_sentence_and_keeps_what_was_typed(client: Client) -> None:
    client.store._db.execute("PRAGMA query_only = ON")
    sent = form_of(soup(client.get("/prices")), "prices-form") | {"currency": "€", "bank_per_kwh": "321"}
    answer = client.post("/prices", sent)
    assert answer.status_code == 503
    assert "may not write in the folder" in soup(answer).get_text()
    assert soup(answer).find(id="prices-bank_per_kwh")["value"] == "321"
    assert client.store.current().revision == 1
    deleted = client.post("/files/delete", {"household": "1"})
    assert deleted.status_code == 503
    assert "may not write in the folder" in soup(deleted).get_text()


def test_a_folder_not_to_be_written_is_opened_only_to_be_read(
    tmp_path: Path, clock: Clock, small_house: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    filled(tmp_path, clock, small_house)
    before = {one.name: one.read_bytes() for one in tmp_path.iterdir()}
    monkeypatch.setattr(store_mending, "writable", lambda path: False)
    client = Client(create_app(tmp_path, None, clock))
    for path in ("/banks", "/files", "/today"):
        assert "nothing can be saved. Let it write there" in soup(client.get(path)).get_text()
    sent = form_of(soup(client.get("/prices")), "prices-form") | {"currency": "€"}
    assert client.post("/prices", sent).status_code == 503
    client.close()
    assert {one.name: one.read_bytes() for one in tmp_path.iterdir()} == before


def test_damage_that_shows_while_running_is_a_sentence(client: Client) -> None:
    client.store._db.close()
    path = client.store.path
    content = bytearray(path.read_bytes())
    content[4096:] = bytes(len(content) - 4096)
    path.write_bytes(content)
    client.store._db = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    client.store._db.row_factory = sqlite3.Row
    answer = client.get("/banks")
    assert answer.status_code == 503
    assert "it may be damaged" in soup(answer).get_text()
    assert "brings the last good copy back" in soup(answer).get_text()
