"""Which test runs which line of the engine, and how long it takes: for `benchmarks.mutants`, by `coverage`.

Run in pytest (`-p benchmarks.reached`), this module tells `coverage` which test is running and empties what rooms below
the sky keep, so that a line counts for every test that needs it and not only for the first one.
"""

from __future__ import annotations

import functools
import json
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import coverage
import hypothesis
import pytest

FOLDERS = ("tests/engine", "tests/properties", "tests/published")
OPTIONS = ("-q", "-p", "no:cacheprovider", "-p", "benchmarks.reached", "--noconftest", "--hypothesis-profile", "few")
"""Of every run here: the tests of the engine need nothing of the app, and few examples will do."""
_SECONDS = "GREYSPELL_TEST_SECONDS"
_EMPTIED = ("engine.answers.", "engine.balance.", "engine.cells.", "engine.house.")
_took: dict[str, float] = {}
hypothesis.settings.register_profile("few", max_examples=15, derandomize=True, deadline=None)


@dataclass(frozen=True, slots=True)
class Reach:
    """`lines`: by file and line the tests that run it, none for lines of an import; `seconds`: what each test took."""

    lines: dict[str, dict[int, list[str]]]
    seconds: dict[str, float]

    def tests(self, name: str, line: int | None) -> list[str]:
        """Return the tests that run a line, quickest first; without one those that run any, then those beside them."""
        by_line = self.lines.get(name, {})
        if line in by_line:
            return sorted(by_line[line], key=self._order)
        some = {test for tests in by_line.values() for test in tests}
        files = {test.partition("::")[0] for test in some}
        beside = {test for test in self.seconds if test.partition("::")[0] in files} - some
        return sorted(some, key=self._order) + sorted(beside, key=self._order)

    def _order(self, test: str) -> tuple[float, str]:
        return self.seconds.get(test, 0.0), test


def test_files(names: Iterable[str]) -> list[str]:
    """Return the test files that import from the rooms of some files, themselves or by a helper beside them."""
    rooms = {"engine." + Path(name).parts[1] for name in names}
    wanted = re.compile(r"\b(" + "|".join(map(re.escape, sorted(rooms))) + r")\b")
    every = [path for folder in FOLDERS for path in sorted(Path(folder).glob("*.py"))]
    helpers = [path for path in every if not path.name.startswith("test_") and wanted.search(path.read_text("utf-8"))]
    either = re.compile("|".join([wanted.pattern, *(rf"\b{path.stem}\b" for path in helpers)]))
    return [p.as_posix() for p in every if p.name.startswith("test_") and either.search(p.read_text("utf-8"))]


def reach(kept: Path, files: Iterable[str]) -> Reach:
    """Return what tests reach: as kept of the same engine and test file, else run under `coverage` and kept."""
    known = json.loads(kept.read_text("utf-8")) if kept.exists() else {}
    engine = "".join(path.read_text("utf-8") for path in sorted(Path("engine").rglob("*.py")))
    stamps = {file: sha256((engine + Path(file).read_text("utf-8")).encode()).hexdigest() for file in files}
    stale = [file for file, stamp in stamps.items() if known.get(file, {}).get("stamp") != stamp]
    if stale:
        known |= {file: {**found, "stamp": stamps[file]} for file, found in _measured(stale).items()}
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_text(json.dumps(known), "utf-8")
    lines: dict[str, dict[int, list[str]]] = {}
    seconds: dict[str, float] = {}
    for file in files:
        seconds |= known[file]["seconds"]
        for name, line, test in known[file]["reached"]:
            lines.setdefault(name, {}).setdefault(line, []).append(test)
    return Reach(lines, seconds)


def _measured(files: list[str]) -> dict[str, dict[str, object]]:
    with tempfile.TemporaryDirectory() as folder:
        data, noted = Path(folder) / "coverage", Path(folder) / "seconds.json"
        command = [sys.executable, "-m", "coverage", "run", f"--data-file={data}", "--include=engine/*", "-m", "pytest"]
        subprocess.run([*command, *OPTIONS, *files], env=os.environ | {_SECONDS: str(noted)}, check=True)
        found = coverage.CoverageData(str(data))
        found.read()
        seconds = json.loads(noted.read_text("utf-8"))
        reached = [
            (Path(path).relative_to(Path.cwd()).as_posix(), line, test)
            for path in found.measured_files()
            for line, tests in found.contexts_by_lineno(path).items()
            for test in filter(None, tests)
        ]
    return {
        file: {
            "seconds": {test: took for test, took in seconds.items() if test.startswith(f"{file}::")},
            "reached": [one for one in reached if one[2].startswith(f"{file}::")],
        }
        for file in files
    }


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Count what runs from here for this test, with nothing kept from the one before."""
    for name, module in list(sys.modules.items()):
        if name.startswith(_EMPTIED):
            for value in vars(module).values():
                if isinstance(value, functools._lru_cache_wrapper):
                    value.cache_clear()
    if (running := coverage.Coverage.current()) is not None:
        running.switch_context(item.nodeid)


def pytest_runtest_teardown() -> None:
    """Count what runs from here for no test."""
    if (running := coverage.Coverage.current()) is not None:
        running.switch_context("")


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Note how long a test took, its fixtures included."""
    _took[report.nodeid] = _took.get(report.nodeid, 0.0) + report.duration


def pytest_sessionfinish() -> None:
    """Write down how long the tests took."""
    if _SECONDS in os.environ:
        Path(os.environ[_SECONDS]).write_text(json.dumps(_took), "utf-8")
