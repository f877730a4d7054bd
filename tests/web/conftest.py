"""Clients of other households than the small one, and a store without an app."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import Client, Clock
from webapp.app import create_app
from webapp.store import Store

HOUSEHOLDS = Path(__file__).resolve().parent.parent / "households"
Opener = Callable[[str | dict[str, Any] | None], Client]


@pytest.fixture
def client_of(tmp_path: Path, clock: Clock) -> Iterator[Opener]:
    """Open a household: by its name in tests/households, as a document, or the example where None is given."""
    with ExitStack() as stack:

        def opened(household: str | dict[str, Any] | None) -> Client:
            path: Path | None = None
            if isinstance(household, str):
                path = HOUSEHOLDS / household
            elif household is not None:
                path = tmp_path / "household.json"
                path.write_text(json.dumps(household), encoding="utf-8")
            client = Client(create_app(tmp_path / "other", path, clock))
            stack.callback(client.close)
            return client

        yield opened


@pytest.fixture
def store(tmp_path: Path, clock: Clock) -> Iterator[Store]:
    """A store of its own."""
    one = Store(tmp_path / "data", clock)
    yield one
    one.close()


@pytest.fixture
def house(store: Store, small_house: dict[str, Any]) -> int:
    """The number of the small household in that store."""
    return store.create(small_house, "made").household_id
