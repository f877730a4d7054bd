"""Build what is released, a wheel and an sdist, and try both as a stranger would: installed, in an empty folder.

Built from a copy of what git has, so that nothing left over in a checkout decides what is in. The wheel made from the
sdist must hold the same files, and the sdist what a distributor needs to run the tests.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from collections.abc import Iterable
from concurrent.futures import Executor, ThreadPoolExecutor
from pathlib import Path

from pythons import ROOT, to_try

IN_NO_SDIST = (".ci/", ".gitignore")
"""What git has and a distributor does not need: it checks the checkout itself."""
SMOKE = Path(__file__).with_name("smoke.py")


def run(*command: str | Path, cwd: Path = ROOT) -> str:
    """What a command that must succeed said; shown where it did not succeed."""
    done = subprocess.run([str(part) for part in command], cwd=cwd, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{' '.join(map(str, command))}\n{done.stdout}\n{done.stderr}")
    return done.stdout + done.stderr


def tracked() -> list[str]:
    """Every file that git has or would add."""
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    return sorted(name for name in listed.split("\0") if name and (ROOT / name).is_file())


def copied(names: Iterable[str], to: Path) -> Path:
    """A copy of those files alone."""
    for name in names:
        (to / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(ROOT / name, to / name)
    return to


def held(wheel: Path) -> dict[str, str]:
    """Each file of a wheel with the hash of what it holds."""
    with zipfile.ZipFile(wheel) as packed:
        return {name: hashlib.sha256(packed.read(name)).hexdigest() for name in packed.namelist()}


def made(kind: str, source: Path, folder: Path) -> Path:
    """A wheel or an sdist, made in an environment that has what pyproject.toml asks for and nothing else."""
    said = run(sys.executable, "-m", "build", f"--{kind}", "--outdir", folder, source)
    assert "Deprecat" not in said, said
    (package,) = folder.glob("greyspell-*")
    return package


def built(names: list[str], room: Path, hands: Executor) -> tuple[Path, Path]:
    """The wheel, and the wheel made from the sdist: both hold the same, and the sdist what git has."""
    wheel = hands.submit(made, "wheel", copied(names, room / "one"), room / "wheel")
    sdist = made("sdist", copied(names, room / "another"), room / "sdist")
    same_as_git(sdist, names)
    with tarfile.open(sdist) as packed:
        packed.extractall(room / "unpacked", filter="data")
    (unpacked,) = (room / "unpacked").iterdir()
    again = made("wheel", unpacked, room / "again")
    here, there = held(wheel.result()), held(again)
    assert here == there, sorted(here.items() ^ there.items())
    for path in (wheel.result(), sdist):
        print(f"{path.name}: {path.stat().st_size // 1024} kB")
    return wheel.result(), again


def same_as_git(sdist: Path, names: list[str]) -> None:
    """The sdist holds everything that git has, but what is for the checkout alone."""
    with tarfile.open(sdist) as packed:
        inside = {member.name.partition("/")[2] for member in packed.getmembers() if member.isfile()}
    wanted = {name for name in names if not name.startswith(IN_NO_SDIST)}
    assert wanted <= inside, sorted(wanted - inside)
    more = {name for name in inside - wanted if not name.startswith("greyspell.egg-info/")}
    assert more == {"PKG-INFO", "setup.cfg"}, sorted(more)


def tried(python: Path, package: Path, room: Path) -> None:
    """Install a package in an environment of its own and ask it for everything, from an empty folder."""
    run(python, "-m", "venv", "--without-pip", room / "venv")
    own = room / "venv" / "bin" / "python"
    pip = [sys.executable, "-m", "pip", "--python", own, "install", "-q", "--no-compile", "--disable-pip-version-check"]
    run(*pip, "-c", ROOT / "constraints.txt", package)
    (room / "empty").mkdir()
    print(f"{room.name}:\n{run(own, '-I', SMOKE, cwd=room / 'empty')}", end="")


def main() -> None:
    """Build, compare, install, ask: the wheel on the newest Python, the one made from the sdist on the lowest."""
    names = tracked()
    with tempfile.TemporaryDirectory() as name, ThreadPoolExecutor(2) as hands:
        room = Path(name)
        wheel, from_sdist = built(names, room, hands)
        pythons = to_try()
        lowest = hands.submit(tried, pythons[0], from_sdist, room / "from the sdist")
        tried(pythons[-1], wheel, room / "from the checkout")
        lowest.result()


if __name__ == "__main__":
    main()
