"""Where templates and static files lie: beside the packages in a checkout, inside `webapp` in a wheel."""

from __future__ import annotations

from pathlib import Path

_HERE = Path(__file__).resolve().parent


def _room(name: str) -> Path:
    inside = _HERE / name
    return inside if inside.is_dir() else _HERE.parent / name


def templates_dir() -> Path:
    """Return the folder of the page templates."""
    return _room("templates")


def static_dir() -> Path:
    """Return the folder of style sheets, scripts and the icon."""
    return _room("static")
