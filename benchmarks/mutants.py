"""Break the code in many small ways and see whether the tests notice: by hand, in a copy of the checkout.

    python -m benchmarks.mutants --take 60 --tests "tests/engine/test_wiring.py" engine/answers/notices_wiring.py ...

A mutant changes one thing: a comparison, an operator, a number, a condition. It is killed if the tests fail (or
cannot end in time) with it. Those that survive are printed, to be read: some change nothing that matters.
"""

from __future__ import annotations

import argparse
import ast
import copy
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

COMPARED = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
COUNTED = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}
JOINED = {ast.And: ast.Or, ast.Or: ast.And}
LONGEST_S = 300


def mutants(tree: ast.Module) -> Iterator[tuple[int, str, ast.Module]]:
    """Yield line, what was changed, and the changed tree."""
    for place, node in enumerate(ast.walk(tree)):
        for what, change in _changes(node):
            changed = copy.deepcopy(tree)
            change(next(one for at, one in enumerate(ast.walk(changed)) if at == place))
            yield getattr(node, "lineno", 0), what, changed


def _changes(node: Any) -> Iterator[tuple[str, Callable[[Any], object]]]:
    if isinstance(node, ast.Compare) and type(node.ops[0]) in COMPARED:
        new = COMPARED[type(node.ops[0])]
        yield f"{type(node.ops[0]).__name__} to {new.__name__}", lambda one: one.ops.__setitem__(0, new())
    elif isinstance(node, ast.BinOp) and type(node.op) in COUNTED:
        other = COUNTED[type(node.op)]
        yield f"{type(node.op).__name__} to {other.__name__}", lambda one: setattr(one, "op", other())
    elif isinstance(node, ast.BoolOp):
        joined = JOINED[type(node.op)]
        yield f"{type(node.op).__name__} to {joined.__name__}", lambda one: setattr(one, "op", joined())
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
        value: Any = node.value
        yield f"{value} to {value * 2 + 1}", lambda one: setattr(one, "value", value * 2 + 1)
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("min", "max"):
        swapped = "max" if node.func.id == "min" else "min"
        yield f"{node.func.id} to {swapped}", lambda one: setattr(one.func, "id", swapped)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield "not taken away", lambda one: setattr(one, "op", ast.UAdd())


def main() -> None:
    """Take a sample of mutants of the given files and run the given tests on each."""
    parser = argparse.ArgumentParser(description="See whether the tests notice small faults.")
    parser.add_argument("files", nargs="+")
    parser.add_argument("--tests", required=True, help="what pytest is given, several parted by spaces")
    parser.add_argument("--take", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    every = [(name, *found) for name in asked.files for found in mutants(ast.parse(Path(name).read_text("utf-8")))]
    taken = random.Random(asked.seed).sample(every, min(asked.take, len(every)))
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "checkout"
        shutil.copytree(".", root, ignore=shutil.ignore_patterns(".git", ".venv", "*.egg-info", "__pycache__"))
        survived = [f"{name}:{line} {what}" for name, line, what, tree in taken if not _killed(root, name, tree, asked)]
    print(f"{len(taken) - len(survived)} of {len(taken)} mutants killed (of {len(every)} that could be made)")
    print(*survived, sep="\n")


def _killed(root: Path, name: str, tree: ast.Module, asked: argparse.Namespace) -> bool:
    path = root / name
    before = path.read_text("utf-8")
    path.write_text(ast.unparse(tree), "utf-8")
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *asked.tests.split()]
    try:
        done = subprocess.run(command, cwd=root, capture_output=True, timeout=LONGEST_S, check=False)
    except subprocess.TimeoutExpired:
        return True
    finally:
        path.write_text(before, "utf-8")
    return done.returncode == 1


if __name__ == "__main__":
    main()
