"""What is vendored is what VENDORED.md says, and draws what the Python package describes."""

from __future__ import annotations

import hashlib
import re
import tomllib
from pathlib import Path

import pytest
from plotly.offline import get_plotlyjs_version

from webapp.paths import static_dir

VENDOR = static_dir() / "vendor"
ROOT = Path(__file__).resolve().parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
ROW = re.compile(r"^\| (\S+\.js) \| (\S+) \| (\S+) \| (\S+) \((LICENSE-\S+)\) \| ([0-9a-f]{64}) \|$", re.MULTILINE)
ROWS = ROW.findall((VENDOR / "VENDORED.md").read_text(encoding="utf-8"))


def test_every_vendored_script_is_listed() -> None:
    assert {row[0] for row in ROWS} == {path.name for path in VENDOR.glob("*.js")}
    assert len(ROWS) == 2


@pytest.mark.parametrize(("name", "package", "version", "spdx", "licence", "sha256"), ROWS)
def test_hash_version_and_licence_hold(
    name: str, package: str, version: str, spdx: str, licence: str, sha256: str
) -> None:
    content = (VENDOR / name).read_bytes()
    assert hashlib.sha256(content).hexdigest() == sha256
    assert version in name
    assert version.encode() in content
    assert (VENDOR / licence).stat().st_size > 500
    assert {"0BSD": "Zero-Clause BSD", "MIT": "MIT License"}[spdx] in (VENDOR / licence).read_text(encoding="utf-8")
    assert spdx in PROJECT["license"].split(" AND ")


def test_the_licences_of_the_data_are_named_and_go_with_the_package() -> None:
    named = {"BSD-3-Clause": "BSD 3-Clause License", "CC-BY-4.0": "CC BY 4.0"}
    texts = {name: (ROOT / name).read_text(encoding="utf-8") for name in ("data/SOURCES.md", "data/climate/NOTICE.md")}
    assert texts.keys() <= set(PROJECT["license-files"])
    for spdx, words in named.items():
        assert spdx in PROJECT["license"].split(" AND ")
        assert any(words in text for text in texts.values())


def test_plotly_script_is_the_version_of_the_python_package() -> None:
    version = next(row[2] for row in ROWS if "plotly" in row[1])
    assert version == get_plotlyjs_version()
