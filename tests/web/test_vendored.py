"""What is vendored is what VENDORED.md says, and draws what the Python package describes."""

from __future__ import annotations

import hashlib
import re

import pytest
from plotly.offline import get_plotlyjs_version

from webapp.paths import static_dir

VENDOR = static_dir() / "vendor"
ROW = re.compile(r"^\| (\S+\.js) \| (\S+) \| (\S+) \| .*\((LICENSE-\S+)\) \| ([0-9a-f]{64}) \|$", re.MULTILINE)
ROWS = ROW.findall((VENDOR / "VENDORED.md").read_text(encoding="utf-8"))


def test_every_vendored_script_is_listed() -> None:
    assert {row[0] for row in ROWS} == {path.name for path in VENDOR.glob("*.js")}
    assert len(ROWS) == 2


@pytest.mark.parametrize(("name", "package", "version", "licence", "sha256"), ROWS)
def test_hash_version_and_licence_hold(name: str, package: str, version: str, licence: str, sha256: str) -> None:
    content = (VENDOR / name).read_bytes()
    assert hashlib.sha256(content).hexdigest() == sha256
    assert version in name
    assert version.encode() in content
    assert (VENDOR / licence).stat().st_size > 500


def test_plotly_script_is_the_version_of_the_python_package() -> None:
    version = next(row[2] for row in ROWS if "plotly" in row[1])
    assert version == get_plotlyjs_version()
