"""An answer as JSON, unrounded: the pages' and the command line's come from here."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any


def plain_data(value: Any) -> Any:
    """Turn an answer (dataclasses, tuples, arrays, times) into what JSON can hold.

    Examples
    --------
    >>> plain_data((1, date(2026, 11, 25)))
    [1, '2026-11-25']
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain_data(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain_data(item) for key, item in value.items()}
    if isinstance(value, datetime | date):
        return value.isoformat()
    if hasattr(value, "tolist"):
        return plain_data(value.tolist())
    if isinstance(value, tuple | list | set | frozenset):
        return [plain_data(item) for item in value]
    return value


def json_text(answer: Any) -> str:
    """Write an answer as one line of JSON.

    Raises
    ------
    ValueError
        If it holds a number that is none, or one without end.

    Examples
    --------
    >>> json_text({"strings": 4, "reach": (0.1, None)})
    '{"strings":4,"reach":[0.1,null]}'
    """
    return json.dumps(plain_data(answer), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
