"""Build a wheel, install it in an environment of its own, and ask it for a page from an empty folder."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import urllib.request
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def run(*command: str | Path, cwd: Path = ROOT) -> None:
    """Run a command that must succeed."""
    subprocess.run([str(part) for part in command], cwd=cwd, check=True)


def main() -> None:
    """Build, install, start, ask, stop."""
    with tempfile.TemporaryDirectory() as name:
        room = Path(name)
        run(sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", room, ROOT)
        (wheel,) = room.glob("greyspell-*.whl")
        run(sys.executable, "-m", "venv", room / "venv")
        python = room / "venv" / "bin" / "python"
        run(python, "-m", "pip", "install", "-q", "-c", ROOT / "constraints.txt", wheel)
        command = [python.with_name("greyspell"), "--no-browser", "--port", "0", "--data-dir", room / "data"]
        with subprocess.Popen(command, cwd=room, stdout=subprocess.PIPE, text=True) as server:
            assert server.stdout is not None
            address = server.stdout.readline().strip().removeprefix("Greyspell is at ")
            try:
                for path in ("", "banks", "sun", "static/app.css", "static/vendor/LICENSE-htmx.txt"):
                    with urllib.request.urlopen(address + path) as answer:
                        print(answer.status, f"/{path}", len(answer.read()), "bytes")
            finally:
                server.terminate()
        print(f"{wheel.name}: {wheel.stat().st_size // 1024} kB")


if __name__ == "__main__":
    main()
