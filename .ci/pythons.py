"""Find the Pythons of this machine that Greyspell says it runs on: the lowest and the newest are tried."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
NAME = re.compile(r"python3\.(\d+)")
TELL = "import sys, venv; print(sys.version_info.minor, sys.implementation.name, sys.version.split()[0])"


def least() -> int:
    """The N of the 3.N that pyproject.toml asks for."""
    asked = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["requires-python"]
    return int(asked.removeprefix(">=3."))


def folders() -> list[Path]:
    """Where Pythons may lie: PATH, and what pyenv installed, whose shims on PATH do not start all of it."""
    pyenv = Path(os.environ.get("PYENV_ROOT") or Path.home() / ".pyenv")
    listed = [Path(name) for name in os.environ.get("PATH", "").split(os.pathsep) if name]
    return [*listed, *sorted(pyenv.glob("versions/*/bin"))]


def found() -> dict[int, Path]:
    """Each CPython 3.N that starts, by its N; this one first, then the first on PATH."""
    here = {sys.version_info.minor: Path(sys.executable)}
    for folder in folders():
        for path in sorted(folder.glob("python3.*")):
            named = NAME.fullmatch(path.name)
            if named and int(named[1]) >= least() and int(named[1]) not in here and starts(path, int(named[1])):
                here[int(named[1])] = path
    return dict(sorted(here.items()))


def starts(path: Path, minor: int) -> bool:
    """Whether it runs, is CPython 3.N, is no trial version, and can make an environment."""
    try:
        told = subprocess.run([path, "-c", TELL], capture_output=True, text=True, timeout=60, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return False
    return told.returncode == 0 and re.fullmatch(rf"{minor} cpython 3\.{minor}\.\d+", told.stdout.strip()) is not None


def to_try() -> list[Path]:
    """The lowest and the newest; one where there is no other, which is said."""
    here = found()
    print("Pythons here:", ", ".join(f"3.{minor}" for minor in here))
    if max(here) == least():
        print(f"NOT TRIED on any newer Python: this machine has none above 3.{least()}.")
    return [here[minor] for minor in sorted({min(here), max(here)})]
