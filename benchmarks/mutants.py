"""Break the code in many small ways and see whether the tests notice: by hand; needs `coverage` and a system with fork.

    python -m benchmarks.mutants --take 300 --seed 1 engine/cells engine/balance
    python -m benchmarks.mutants --take 60 --tests "tests/engine/test_wiring.py" engine/answers/notices_wiring.py ...

A mutant changes one thing: a comparison, an operator, a number, a condition. It is killed if the tests fail (or
cannot end in time) with it. Those that survive are printed, to be read: some change nothing that matters, and
`equivalent.toml` says which and why.
Without `--tests` each mutant meets the tests that run its line, quickest first (`benchmarks.reached`). No file is
changed: the mutant is put in where Python imports the module, in a process of its own.
"""

from __future__ import annotations

import argparse
import ast
import importlib.abc
import importlib.machinery
import os
import random
import signal
import sys
import time
import tomllib
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from benchmarks.reached import OPTIONS, Reach, reach, test_files

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
EQUIVALENT = Path(__file__).with_name("equivalent.toml")
LONGEST_S = 90.0
"""And ten times what its tests took by themselves, `--most-s` at most; beyond that a mutant counts as killed."""
FIRST_IMPORTED = ("bs4", "fastapi", "hypothesis", "numpy", "pydantic")
"""What nothing is changed in, imported once for all."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change: file, place among the nodes of its tree and number among those of the node; where, what, its line.

    `called` says that it lies in a function, not in what an import alone runs.
    """

    name: str
    place: int
    number: int
    line: int
    column: int
    what: str
    text: str
    called: bool

    @property
    def key(self) -> tuple[str, str, int, str]:
        """What it is known by, wherever its line stands."""
        return self.name, self.text, self.column, self.what

    def tree(self) -> ast.Module:
        """The changed module."""
        changed = ast.parse(Path(self.name).read_text("utf-8"))
        node = next(one for at, one in enumerate(ast.walk(changed)) if at == self.place)
        list(_changes(node))[self.number][1](node)
        return ast.fix_missing_locations(changed)


def mutants(name: str) -> Iterator[Mutant]:
    """Yield every mutant that can be made of a file."""
    text = Path(name).read_text("utf-8")
    lines, tree = text.splitlines(), ast.parse(text)
    called = {inner for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) for inner in _within(node)}
    for place, node in enumerate(ast.walk(tree)):
        for number, (what, _) in enumerate(_changes(node)):
            line, column = getattr(node, "lineno", 0), getattr(node, "col_offset", 0)
            own = lines[line - 1]
            shift = len(own) - len(own.lstrip())
            yield Mutant(name, place, number, line, column - shift, what, own.strip(), node in called)


def _within(function: ast.FunctionDef) -> Iterator[ast.AST]:
    for statement in function.body:
        yield from ast.walk(statement)


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


class _PutIn(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Imports one module as a changed tree, even where pytest would load it for its doctests."""

    def __init__(self, name: str, tree: ast.Module) -> None:
        self._module = name.removesuffix(".py").replace("/", ".")
        self._path = str(Path(name).resolve())
        self._tree = tree

    def pytest_configure(self) -> None:
        sys.meta_path.insert(0, self)

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        if fullname != self._module:
            return None
        spec = importlib.machinery.ModuleSpec(fullname, self, origin=self._path)
        spec.has_location = True
        return spec

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self._tree, self._path, "exec"), vars(module))


def _tried(mutant: Mutant | None, tests: Sequence[str]) -> int:
    """In a process of its own: run the tests with the mutant; what pytest ends with."""
    os.setsid()
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in range(3):
        os.dup2(nowhere, stream)
    sys.path.insert(0, str(Path.cwd()))
    plugins = [] if mutant is None else [_PutIn(mutant.name, mutant.tree())]
    return int(pytest.main(["-x", *OPTIONS, "-W", "ignore::pytest.PytestAssertRewriteWarning", *tests], plugins))


def _fates(asked: Sequence[tuple[Mutant | None, list[str], float]], workers: int) -> Iterator[tuple[int, str]]:
    """Yield which of the mutants (with its tests and the longest they may take) came to what end, as they end."""
    waiting, running = list(enumerate(asked))[::-1], dict[int, tuple[int, float]]()
    while waiting or running:
        while waiting and len(running) < workers:
            index, (mutant, tests, longest_s) = waiting.pop()
            child = os.fork()
            if not child:
                code = 99
                try:
                    code = _tried(mutant, tests)
                finally:
                    os._exit(code)
            running[child] = index, time.monotonic() + longest_s
        for child, (index, last) in list(running.items()):
            ended, status = os.waitpid(child, os.WNOHANG)
            late = not ended and time.monotonic() > last
            if late:
                os.killpg(child, signal.SIGKILL)
                os.waitpid(child, 0)
            if ended or late:
                del running[child]
                yield index, "late" if late else "survived" if status == 0 else "killed"
        time.sleep(0.05)


def _asked_for(mutant: Mutant, known: Reach | None, asked: argparse.Namespace) -> tuple[Mutant, list[str], float]:
    """A mutant with its tests, the quickest that take no longer together than may be, and the longest they may take."""
    if known is None:
        return mutant, asked.tests.split(), LONGEST_S + 10.0 * asked.most_s
    chosen = known.tests(mutant.name, mutant.line if mutant.called else None)
    spent = list(accumulate(known.seconds[test] for test in chosen))
    chosen = chosen[: bisect_right(spent, asked.most_s)]
    return mutant, chosen, LONGEST_S + 10.0 * min(asked.most_s, spent[-1] if spent else 0.0)


def _explained() -> set[tuple[str, str, int, str]]:
    """Mutants that change nothing that anybody could see, each with its reason in the file."""
    listed = tomllib.loads(EQUIVALENT.read_text("utf-8"))["mutant"]
    return {(one["file"], one["text"], one["column"], one["what"]) for one in listed}


def _files(names: Sequence[str]) -> list[str]:
    """The files asked for, those of a folder by name."""
    return [file.as_posix() for name in map(Path, names) for file in (sorted(name.glob("*.py")) or [name])]


def main() -> None:
    """Take a sample of mutants of the given files and run the tests on each."""
    parser = argparse.ArgumentParser(description="See whether the tests notice small faults.")
    parser.add_argument("files", nargs="+", help="files or folders of the engine")
    parser.add_argument("--tests", default="", help="what pytest is given, several parted by spaces; else by line")
    parser.add_argument("--among", nargs="*", help="test files to choose from; else all that import from these rooms")
    parser.add_argument("--kept", type=Path, default=Path("build/reached.json"), help="where it is kept what tests run")
    parser.add_argument("--take", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--most-s", type=float, default=60.0, help="seconds of tests that a mutant may meet")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only", type=Path, help="those that survived in an earlier output, in place of a sample")
    asked = parser.parse_args()
    files = _files(asked.files)
    known = None if asked.tests else reach(asked.kept, [*(asked.among or test_files(files)), *files])
    every = [mutant for name in files for mutant in mutants(name)]
    if asked.only:
        earlier = asked.only.read_text("utf-8").splitlines()
        taken = [one for one in every if f"survived: {_said(one)}" in earlier]
    else:
        taken = random.Random(asked.seed).sample(every, min(asked.take, len(every)))
    for name in FIRST_IMPORTED:
        __import__(name)
    plans = [_asked_for(one, known, asked) for one in taken]
    unharmed = sorted({test for _, tests, _ in plans for test in tests})
    if [fate for _, fate in _fates([(None, unharmed, 1e6)], 1)] != ["survived"]:
        raise SystemExit("The tests fail without any mutant.")
    sys.dont_write_bytecode = True
    explained = _explained()
    fates: dict[Mutant, str] = {}
    for index, fate in _fates(plans, asked.workers):
        one = taken[index]
        fates[one] = "equivalent" if fate == "survived" and one.key in explained else fate
        if fate != "killed":
            print(f"{fates[one]}: {_said(one)}", flush=True)
        if len(fates) % 20 == 0:
            print(f"{len(fates)} of {len(taken)}", file=sys.stderr, flush=True)
    _print_table(fates, len(every))


def _said(one: Mutant) -> str:
    return f"{one.name} column {one.column} {one.what} | {one.text}"


def _print_table(fates: dict[Mutant, str], every: int) -> None:
    kinds = ("killed", "late", "survived", "equivalent")
    for name in [*sorted({one.name for one in fates}), ""]:
        counts = Counter(fate for one, fate in fates.items() if one.name.startswith(name))
        print(f"{name or 'all':32} taken {counts.total():4}", *(f"{kind} {counts[kind]:4}" for kind in kinds))
    found = sum(fate in ("killed", "late") for fate in fates.values())
    told = len(fates) - sum(fate == "equivalent" for fate in fates.values())
    print(f"{found} of {len(fates)} mutants killed, {found / len(fates):.1%} (of {every} that could be made);")
    print(f"{found / told:.1%} of the {told} that are not said to change nothing")


if __name__ == "__main__":
    main()
