"""Imports go one way, the engine is free of the web, and every module and package has its place.

The layers stand once, in the import-linter contract of pyproject.toml; here they are held against the
order of the architecture, and checked without import-linter so that the light test command sees it.
"""

from __future__ import annotations

import ast
import tomllib
from itertools import pairwise
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]
LAYERS = [{part.strip() for part in layer.split("|")} for layer in SETTINGS["importlinter"]["contracts"][0]["layers"]]
"""From the top down; what stands in one layer does not import its siblings."""
ARCHITECTURE = (
    {"webapp.pages"},
    {"webapp.forms", "webapp.charts", "webapp.render", "webapp.store"},
    {"engine.answers"},
    {"engine.balance"},
    {"engine.house"},
    {"engine.cells", "engine.sky"},
    {"engine.quantities"},
    {"engine.fields"},
    {"engine.errors"},
)
NOT_IN_ENGINE = {"webapp", "fastapi", "starlette", "jinja2", "plotly", "sqlite3", "uvicorn", "time"}
OURS = sorted(path for room in ("engine", "webapp") for path in (ROOT / room).rglob("*.py"))


def module_of(path: Path) -> str:
    """The dotted name of a file."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def imported(path: Path) -> set[str]:
    """Every module a file imports, with `from` names spelt out."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path} imports relatively"
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def place_of(module: str) -> tuple[int, str] | None:
    """The number of a module's layer from the top and the name it is listed under."""
    for number, layer in enumerate(LAYERS):
        for name in layer:
            if module == name or module.startswith(f"{name}."):
                return number, name
    return None


def test_the_layers_keep_the_order_of_the_architecture() -> None:
    places = [[place_of(name) for name in group] for group in ARCHITECTURE]
    assert all(place is not None for group in places for place in group)
    for upper, lower in pairwise(places):
        assert max(place[0] for place in upper if place) < min(place[0] for place in lower if place)


@pytest.mark.parametrize("path", OURS, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_module_has_a_layer_and_imports_only_downward(path: Path) -> None:
    own = place_of(module_of(path))
    if path.name == "__init__.py" and own is None:
        assert len(path.relative_to(ROOT).parts) == 2
        return
    assert own is not None, f"{module_of(path)} stands in no layer of pyproject.toml"
    for name in imported(path):
        other = place_of(name)
        if other is not None:
            assert other[0] > own[0] or other == own, f"{module_of(path)} imports {name}"


@pytest.mark.parametrize("path", [p for p in OURS if p.is_relative_to(ROOT / "engine")], ids=lambda p: p.stem)
def test_the_engine_knows_no_web_no_database_and_no_clock(path: Path) -> None:
    roots = {name.split(".")[0] for name in imported(path)}
    assert not roots & NOT_IN_ENGINE
    text = path.read_text(encoding="utf-8")
    assert ".now(" not in text
    assert ".today(" not in text
    if "pydantic" in roots:
        assert path.name == "household.py"


def test_every_package_ships() -> None:
    listed = set(SETTINGS["setuptools"]["packages"])
    folders = {module_of(path) for path in OURS if path.name == "__init__.py"}
    assert listed == folders | {"engine.data", "webapp.static", "webapp.templates"}
