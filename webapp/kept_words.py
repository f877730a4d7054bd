"""Words that lists of kept files share, and the order of what a reading found; times on the household's clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from engine.text.finding import Finding

LEVEL_ORDER = ("stop", "check", "note")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One file in the list; `thing` is what one of its kind is called in short."""

    id: int
    name: str
    what: str
    day: str
    thing: str

    @property
    def label(self) -> str:
        """What tells it from others of its name, read aloud."""
        return f"{self.name}, {self.thing} {self.id}, brought {self.day}"


def day(moment: datetime, zone: str) -> str:
    """Write the day and time of a moment on the household's clock.

    Examples
    --------
    >>> from datetime import UTC
    >>> day(datetime(2026, 11, 25, 17, 30, tzinfo=UTC), "Europe/Dublin")
    '25 Nov 2026, 17:30'
    """
    there = moment.astimezone(ZoneInfo(zone))
    return f"{there.day} {there:%b %Y, %H:%M}"


def sorted_findings(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return findings, the gravest first, none twice."""
    return tuple(sorted(dict.fromkeys(findings), key=lambda one: LEVEL_ORDER.index(one.level)))
