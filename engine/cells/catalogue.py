"""The chemistries that ship: `data/chemistries/<id>.toml` with `data/curves/<id>.csv`.

A new chemistry is one file of each; nothing here names one except the four that are compared.
"""

from __future__ import annotations

import csv
import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any

from engine.cells.chemistry import Chemistry
from engine.errors import InputError
from engine.paths import data_dir
from engine.sources import Source

COMPARED = ("sodium_layered", "lfp", "nmc", "lead_sealed")
"""The four chemistries of a comparison, in the order they are shown."""
CURVE = ("soc", "ocv_v", "r_slow_v_per_c", "r_fast_v_per_c")


@lru_cache(maxsize=1)
def names() -> dict[str, str]:
    """Return the name of every chemistry in the catalogue by its id."""
    return {path.stem: tomllib.loads(path.read_text("utf-8"))["name"] for path in _files()}


@lru_cache(maxsize=64)
def load(id: str) -> Chemistry:
    """Return one chemistry of the catalogue.

    Raises
    ------
    InputError
        If the catalogue has no such chemistry; the sentence lists those it has.
    """
    if id not in names():
        known = ", ".join(names())
        raise InputError("chemistry", f"The chemistry “{id}” is not in the catalogue; it has: {known}.")
    text = (data_dir() / "chemistries" / f"{id}.toml").read_text("utf-8")
    fields: dict[str, Any] = {key: _frozen(value) for key, value in tomllib.loads(text).items()}
    fields["sources"] = {key: Source(**value) for key, value in fields["sources"].items()}
    fields |= _curve(data_dir() / "curves" / f"{id}.csv")
    return Chemistry(id=id, **fields)


def _files() -> list[Path]:
    """Every chemistry file, by name."""
    return sorted((data_dir() / "chemistries").glob("*.toml"))


def _frozen(value: Any) -> Any:
    """Turn the lists of TOML into tuples."""
    return tuple(_frozen(v) for v in value) if isinstance(value, list) else value


def _curve(path: Path) -> dict[str, tuple[float, ...]]:
    """Read the columns of one curve file; lines that start with # say where it is from."""
    lines = [line for line in path.read_text("utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    columns = [*CURVE, *(c for c in rows[0] if c == "coulombic_efficiency")]
    return {column: tuple(float(row[column]) for row in rows) for column in columns}
