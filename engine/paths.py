"""Where the shipped data lies: beside the packages in a checkout, inside `engine` in a wheel."""

from __future__ import annotations

from pathlib import Path

_HERE = Path(__file__).resolve().parent


def data_dir() -> Path:
    """Return the folder that holds the shipped data."""
    inside = _HERE / "data"
    return inside if inside.is_dir() else _HERE.parent / "data"
