"""How a kept file is read: what the choices of every kind of file have alike, and how they are stored."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Any, Self


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptChoices:
    """The kind of a file, its columns and its decimal sign.

    `columns` gives for each meaning the place of its column and its unit; an empty `decimal` is the file's own.
    """

    kind: str
    columns: dict[str, tuple[int, str]] = field(default_factory=dict)
    decimal: str = ""

    def stored(self) -> dict[str, Any]:
        """Return it as JSON holds it."""
        return dataclasses.asdict(self)

    @classmethod
    def of(cls, stored: dict[str, Any]) -> Self:
        """Read it from what `stored` gave."""
        columns = {key: (int(place), str(unit)) for key, (place, unit) in stored["columns"].items()}
        return cls(**(stored | {"columns": columns}))
