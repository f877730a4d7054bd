"""Clients of other households than the small one."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import Client, Clock
from webapp.app import create_app

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
