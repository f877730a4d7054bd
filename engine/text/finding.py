"""What reading or judging a file has to say: one finding, by level."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something a test's reader should know; `level` is stop, check or note, `code` names it for tests."""

    level: str
    code: str
    text: str
