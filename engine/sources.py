"""Where a number comes from: its kind and the words that say so."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from engine.errors import InputError

SOURCE_KINDS = (
    "measured",
    "simulated from published parameters",
    "published",
    "typical, from memory",
    "assumed",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a number is from: one of `SOURCE_KINDS`, and in words."""

    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}

    kind: str
    text: str

    def __post_init__(self) -> None:
        if self.kind not in SOURCE_KINDS:
            raise InputError("kind", f"The kind of a source is one of {', '.join(SOURCE_KINDS)}; got “{self.kind}”.")
