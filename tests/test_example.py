"""The example notebook says what its cells print, and uses public names alone.

`python -m tests.test_example` runs it and writes what it printed into it.
"""

from __future__ import annotations

import ast
import io
import json
import os
import subprocess
import sys
from contextlib import chdir, redirect_stdout
from pathlib import Path
from typing import Any

import pytest

import engine
from engine.house import household
from webapp import bench_example

EXAMPLES = Path(__file__).resolve().parents[1] / "examples"
NOTEBOOK = EXAMPLES / "engine.ipynb"


def read() -> dict[str, Any]:
    """The notebook as it is saved."""
    saved: dict[str, Any] = json.loads(NOTEBOOK.read_text(encoding="utf-8"))
    return saved


def cells() -> list[dict[str, Any]]:
    """Its cells of code."""
    return [cell for cell in read()["cells"] if cell["cell_type"] == "code"]


def ran(sources: list[str]) -> list[str]:
    """What each source prints, run one after the other beside the example's files."""
    names: dict[str, Any] = {"__name__": "__main__"}
    printed = []
    with chdir(EXAMPLES):
        for number, source in enumerate(sources, 1):
            with redirect_stdout(io.StringIO()) as said:
                exec(compile(source, f"cell {number}", "exec"), names)
            printed.append(said.getvalue())
    return printed


def saved_text(cell: dict[str, Any]) -> str:
    """What a cell printed when it was saved."""
    return "".join("".join(output["text"]) for output in cell["outputs"])


def test_every_cell_prints_what_is_saved_under_it() -> None:
    asked = cells()
    assert len(asked) >= 5
    assert ran(["".join(cell["source"]) for cell in asked]) == [saved_text(cell) for cell in asked]
    assert all(output["name"] == "stdout" for cell in asked for output in cell["outputs"])
    assert [cell["execution_count"] for cell in asked] == list(range(1, len(asked) + 1))


def test_it_uses_public_names_alone_and_names_no_machine() -> None:
    source = "\n".join("".join(cell["source"]) for cell in cells())
    used = {
        node.attr
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "engine"
    }
    assert used >= {"read_household", "how_long", "size_bank", "read_bench_log", "rainy_week"}
    assert used <= set(engine.__all__)
    imported = {
        alias.name for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Import) for alias in node.names
    }
    assert imported == {"engine", "pandas"}
    whole = NOTEBOOK.read_text(encoding="utf-8")
    assert os.path.expanduser("~") not in whole
    assert set(read()["metadata"]) == {"kernelspec", "language_info"}


def test_its_household_is_a_whole_document_and_its_log_is_the_made_up_one() -> None:
    document = (EXAMPLES / "household.json").read_bytes()
    home = engine.read_household(document)
    assert engine.read_household(engine.write_household(home)) == home
    assert (EXAMPLES / "made-up-log.csv").read_bytes() == bench_example.log()


def test_public_names_are_those_of_their_module_and_each_says_what_it_is() -> None:
    import engine.public as public

    assert engine.__all__ == sorted(public.__all__)
    assert engine.read_household is household.read
    for name in engine.__all__:
        assert len(getattr(engine, name).__doc__) > 30, name
    with pytest.raises(AttributeError, match="no attribute 'sizing_of'"):
        engine.sizing_of  # noqa: B018


def test_importing_the_engine_loads_nothing_until_a_name_is_asked_for() -> None:
    code = "import sys, engine; before = 'numpy' in sys.modules; engine.Sky; print(before, 'numpy' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], cwd=EXAMPLES.parent, capture_output=True, text=True, check=True)
    assert run.stdout.split() == ["False", "True"]


def write() -> None:
    """Run the notebook and save what it printed."""
    whole = read()
    asked = [cell for cell in whole["cells"] if cell["cell_type"] == "code"]
    printed = ran(["".join(cell["source"]) for cell in asked])
    for number, (cell, text) in enumerate(zip(asked, printed, strict=True), 1):
        stream = {"name": "stdout", "output_type": "stream", "text": text.splitlines(keepends=True)}
        cell |= {"execution_count": number, "outputs": [stream] if text else []}
    NOTEBOOK.write_text(json.dumps(whole, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    write()
