"""Whatever is typed, in whatever field or file, is answered in words: never by a fault of ours, and never not at all.

A small share of it runs with the plain tests. `GREYSPELL_FUZZ_CASES=5000` runs as many cases of queries, forms and
documents together and prints the slowest answers.
"""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests.conftest import Clock
from tests.web.fuzzing import Fuzzed, Target, bent, documents, opened, text_of_document, typed

CASES = int(os.environ.get("GREYSPELL_FUZZ_CASES", "0"))
LONG = CASES > 0
SHARES = {"query": 0.4, "form": 0.4, "document": 0.2}
PLAIN = {"query": 60, "form": 80, "document": 20}
SHOWN = 12


def of(kind: str) -> settings:
    """Every fault is collected and none shrunk: the answers of one app follow one another."""
    return settings(
        max_examples=int(CASES * SHARES[kind]) if LONG else PLAIN[kind],
        deadline=None,
        derandomize=not LONG,
        database=None,
        phases=(Phase.generate,),
        suppress_health_check=list(HealthCheck),
    )


@pytest.fixture(scope="module")
def fuzzed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Fuzzed]:
    """An app with one thing of every kind."""
    one = opened(tmp_path_factory.mktemp("fuzz"), Clock())
    yield one
    one.client.close()


def told(fuzzed: Fuzzed, kind: str) -> None:
    """Say what the long run came to, and fail where any answer was a fault of ours."""
    found, fuzzed.faults = fuzzed.faults, []
    if LONG:
        slowest = "\n".join(f"{seconds:6.2f} s  {what[:400]}" for seconds, what in sorted(fuzzed.seconds)[:-SHOWN:-1])
        print(f"\n{kind}: {len(fuzzed.seconds)} answers {fuzzed.statuses}\n{slowest}")
    fuzzed.seconds, fuzzed.statuses = [], {}
    faults = {one.told.strip().splitlines()[-1][:200] if one.told else "": one for one in found}
    assert not faults, "\n\n".join(f"{one.status} {one.what}\n{one.told}" for one in faults.values())


def test_every_page_is_found_with_what_can_be_asked_of_it(fuzzed: Fuzzed) -> None:
    asked = {(one.method, one.path): one for one in fuzzed.targets if one.usual}
    for path, name in (("/today", "charge"), ("/today.json", "charge"), ("/size", "days"), ("/charge.csv", "bank")):
        assert any(name in dict(one.usual) for one in fuzzed.targets if one.path == path), path
    for path in ("/banks", "/loads", "/inverter", "/sun/site", "/sun/arrays", "/prices", "/wiring", "/files/rename"):
        assert ("POST", path) in asked, path


def test_no_query_is_answered_by_a_fault(fuzzed: Fuzzed) -> None:
    targets = [one for one in fuzzed.targets if one.method == "GET"]
    _run(fuzzed, targets, "query")


def test_no_form_is_answered_by_a_fault(fuzzed: Fuzzed) -> None:
    targets = [one for one in fuzzed.targets if one.method == "POST"]
    _run(fuzzed, targets, "form")


def _run(fuzzed: Fuzzed, targets: list[Target], kind: str) -> None:
    store = fuzzed.client.store
    home = store.current()

    @of(kind)
    @given(data=st.data())
    def run(data: st.DataObject) -> None:
        target = data.draw(st.sampled_from(targets))
        now = store.current()
        if target.method == "POST" and now.household_id != home.household_id:
            store.undelete(home.household_id)
            store.open(home.household_id)
            now = store.current()
        pairs = data.draw(typed(target))
        if data.draw(st.integers(0, 9)):
            current = {"revision": str(now.revision), "household": str(now.household_id)}
            pairs = [(name, current.get(name, text)) for name, text in pairs]
        fuzzed.send(target, pairs)
        if target.path.endswith("/delete"):
            fuzzed.ask("POST", target.path.replace("/delete", "/undelete"))
        if target.method == "POST" and store.current().revision != now.revision:
            page = data.draw(st.sampled_from(PAGES))
            fuzzed.ask("GET", page)
            latest = store.current()
            store.save(latest.household_id, latest.revision, home.document, "as it was")

    run()
    told(fuzzed, kind)


PAGES = (
    *["/today", "/off", "/run", "/spares", "/car", "/cold", "/sky", "/size", "/week", "/spells", "/charge"],
    *["/charge.csv", "/loads", "/banks", "/sun", "/inverter", "/prices", "/care", "/cell-tests", "/records"],
    *["/wiring", "/commissioning", "/sheet", "/card", "/files", "/today.json", "/sheet.json"],
)
"""Pages to look at a changed household with; Winters takes a second a household and has its turn in the queries."""


def test_no_document_is_answered_by_a_fault(fuzzed: Fuzzed) -> None:
    stock = documents()

    @of("document")
    @given(data=st.data())
    def run(data: st.DataObject) -> None:
        content = text_of_document(data.draw(bent(stock)))
        response = fuzzed.ask("POST", "/files/upload", files={"file": ("bent.json", content, "application/json")})
        if response is None or response.status_code != 303:
            return
        for page in data.draw(st.lists(st.sampled_from(PAGES), min_size=2, max_size=3, unique=True)):
            found = fuzzed.ask("GET", page)
            if found is not None and found.status_code >= 500:
                fuzzed.faults[-1].what += f" of {content.decode()[:3000]}"

    run()
    told(fuzzed, "document")
