"""A household read from the text of a version, the last few kept at hand."""

from __future__ import annotations

from functools import lru_cache

from engine.house import household
from engine.house.household import Household


@lru_cache(maxsize=32)
def household_of(text: str) -> Household:
    """Return a household as read from the text of a version."""
    return household.read(text)
